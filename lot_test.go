package evenstand

import (
	"slices"
	"testing"
)

func TestIsLot(t *testing.T) {
	for _, tt := range []struct {
		noted, planned string
		want           bool
	}{
		{"A123", "a123", true},
		{"hybrid 44-10 lot A123", "A123", true},
		{"44-10 A123", "44 10", true},
		{"A1234", "A123", false},
		{"123 A", "A 123", false},
		{"A123", "", false},
		{"", "A123", false},
	} {
		if got := IsLot(tt.noted, tt.planned); got != tt.want {
			t.Errorf("%q is %q: %v, want %v", tt.noted, tt.planned, got, tt.want)
		}
	}
}

func TestPlannedFor(t *testing.T) {
	plans := []Plan{{Lot: "any"}, {Rows: Rows{1, 2}, Lot: "rows"}, {Field: "North", Lot: "field"}, {Field: "North", Lot: "field too"}, {Field: "North", Rows: Rows{1}, Lot: "both"}}
	for _, tt := range []struct {
		field string
		row   int
		want  []string
	}{
		{"north", 1, []string{"both"}},
		{"north", 2, []string{"field", "field too"}},
		{"river", 2, []string{"rows"}},
		{"river", 3, []string{"any"}},
	} {
		if got := PlannedFor(plans, tt.field, tt.row); !slices.Equal(got, tt.want) {
			t.Errorf("%s, row %d: %v, want %v", tt.field, tt.row, got, tt.want)
		}
	}
	if got := PlannedFor(nil, "north", 1); len(got) != 0 {
		t.Errorf("without a plan: %v", got)
	}
}

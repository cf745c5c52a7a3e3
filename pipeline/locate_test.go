package pipeline

import (
	"slices"
	"testing"

	"evenstand"
)

// A finding lies in the field of its first pass; passes of another field say
// which, since numbers begin anew there.
func TestLocate(t *testing.T) {
	const hour = 3600 * evenstand.Second
	s := &settler{}
	s.survey_.last = 4 * hour
	for i, x := range []struct {
		field  string
		number int
	}{{"north place", 1}, {"north place", 2}, {"river place", 1}, {evenstand.Unassigned, 1}} {
		s.passes = append(s.passes, evenstand.Pass{Field: x.field, Number: x.number, Start: evenstand.Micros(i) * hour, End: evenstand.Micros(i)*hour + hour/2})
	}
	for _, tt := range []struct {
		name  string
		f     evenstand.Finding
		field string
		want  []evenstand.PassRef
	}{
		{"in one field", evenstand.Finding{Since: 1, Until: new(hour + 1)}, "north place", []evenstand.PassRef{{Number: 1}, {Number: 2}}},
		{"in two", evenstand.Finding{Since: hour, Until: new(2*hour + 1)}, "north place", []evenstand.PassRef{{Number: 2}, {Number: 1, Field: "river place"}}},
		{"in the second alone", evenstand.Finding{Since: 2 * hour, Until: new(2*hour + 1)}, "river place", []evenstand.PassRef{{Number: 1}}},
		{"and out of it", evenstand.Finding{Since: 2 * hour}, "river place", []evenstand.PassRef{{Number: 1}, {Number: 1, Field: evenstand.Unassigned}}},
	} {
		s.locate(&tt.f)
		if tt.f.Field != tt.field || !slices.Equal(tt.f.Passes, tt.want) {
			t.Errorf("%s: %q %v, want %q %v", tt.name, tt.f.Field, tt.f.Passes, tt.field, tt.want)
		}
	}
}

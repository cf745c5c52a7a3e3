package book

import (
	"math"
	"strings"
	"testing"

	"evenstand"
)

// What people enter of products and plans is read, and written as it is read.
func TestProductsAndPlans(t *testing.T) {
	const head = "book = 1\nname = \"x\"\nzone = \"UTC\"\nunits = \"us\"\n"
	s, err := parseSettings([]byte(head + `
[[product]]
name = "insecticide"
applied = "granular"
pass = "8.7lb/ac"
season = "10kg/ha"
[[product]]
name = "starter"
applied = "liquid"
season = "5gal/ac"
[[plan]]
field = "north place"
rows = "1-8"
lot = "A123"
[[plan]]
lot = "B77"
`))
	if err != nil {
		t.Fatal(err)
	}
	near := func(got, want float64) bool { return math.Abs(got-want) < 1e-6*want }
	p := s.Products
	if len(p) != 2 || p[0].Applied != evenstand.AppliedGranular || !near(p[0].Pass, 8.7*evenstand.Pound/evenstand.Acre) || !near(p[0].Season, 10/evenstand.Hectare) ||
		!math.IsNaN(p[1].Pass) || !near(p[1].Season, 5*evenstand.Gallon/evenstand.Acre) {
		t.Errorf("products %+v", p)
	}
	if l := s.Plans; len(l) != 2 || l[0].Field != "north place" || l[0].Rows.String() != "1-8" || l[0].Lot != "A123" || len(l[1].Rows) != 0 || l[1].Lot != "B77" {
		t.Errorf("plans %+v", l)
	}
	again, err := parseSettings(formatSettings(s))
	if err != nil {
		t.Fatal(err)
	}
	for i := range p {
		if q := again.Products[i]; q.Name != p[i].Name || q.Applied != p[i].Applied || !near(q.Season, p[i].Season) {
			t.Errorf("written and read: %+v, want %+v", q, p[i])
		}
	}
	if string(formatSettings(again)) != string(formatSettings(s)) {
		t.Error("settings change when they are written and read")
	}
	for _, tt := range []struct{ text, want string }{
		{"[[product]]\nname = \"x\"\napplied = \"dust\"\npass = \"8lb/ac\"", "liquid or granular"},
		{"[[product]]\nname = \"x\"\napplied = \"liquid\"\npass = \"8lb/ac\"", "unit does not fit"},
		{"[[product]]\nname = \"x\"\napplied = \"granular\"", "write pass or season"},
		{"[[product]]\napplied = \"granular\"\npass = \"8lb/ac\"", "no name"},
		{"[[plan]]\nfield = \"x\"", "no lot"},
		{"[[plan]]\nlot = \"x\"\nrows = \"a\"", "the plan of x"},
	} {
		if _, err := parseSettings([]byte(head + tt.text)); err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%q: %v, want %q in it", tt.text, err, tt.want)
		}
	}
}

package paper_test

import (
	"slices"
	"strings"
	"testing"

	"evenstand/core/paper"
)

// elementsOf gives what a source asks for.
func elementsOf(document, source string) (out []string) {
	for _, a := range paper.Standard().Asks {
		if a.Document == document && strings.Contains(a.Source, source) {
			out = append(out, a.Element)
		}
	}
	slices.Sort(out)
	return out
}

// What the texts ask for, as they are quoted in the reference: 7 CFR Part 110 (until
// 2025: product, EPA number, amount, place, size, crop, date, applicator and
// certification, within 14 days, for 2 years), 40 CFR 171.303(b)(7) and 40 CFR
// 170.311(b).
func TestElementsOfTheTexts(t *testing.T) {
	for _, tt := range []struct {
		document, source string
		want             []string
	}{
		{"applications", "7 CFR Part 110", []string{"applicator", "area", "certification", "crop", "date", "epa_number", "field", "legal", "product", "total"}},
		{"applications", "40 CFR 171.303(b)(7), by", []string{"applicator", "area", "crop", "customer", "date", "epa_number", "field", "product", "start", "total", "uncertified"}},
		{"posting", "40 CFR 170.311(b)", []string{"active_ingredients", "crop", "date", "end", "epa_number", "field", "product", "rei", "sds", "start"}},
	} {
		if got := elementsOf(tt.document, tt.source); !slices.Equal(got, tt.want) {
			t.Errorf("%s: %v, want %v", tt.source, got, tt.want)
		}
	}
}

// Every line says where it is from and how sure that is; what was rescinded is called
// no duty; every element has a name.
func TestEveryAskHasItsSource(t *testing.T) {
	r := paper.Standard()
	for i := range r.Asks {
		a := &r.Asks[i]
		if a.Source == "" || a.Status == "" || r.Name(a.Element) == nil {
			t.Errorf("%+v", a)
		}
		if strings.Contains(a.Source, "Part 110") && (a.Who != "good practice" || !strings.Contains(a.Source, "rescinded")) {
			t.Errorf("called a duty: %+v", a)
		}
		if err := r.Sound(a); err != nil {
			t.Errorf("%+v: %v", a, err)
		}
	}
	bad := paper.Ask{Document: "applications", Element: "no such", Who: "x", Applies: "any", Source: "x"}
	if r.Sound(&bad) == nil {
		t.Error("an element that nobody knows is taken")
	}
}

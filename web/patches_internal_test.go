package web

import (
	"math"
	"testing"

	"evenstand"
	"evenstand/book"
	"evenstand/core/advise"
)

// The place of a piece lies in it, or on its outline where it is bent around
// nothing.
func TestWithin(t *testing.T) {
	square := [][2]float64{{0, 0}, {2, 0}, {2, 2}, {0, 2}}
	for _, tt := range []struct {
		name     string
		rings    [][][2]float64
		lat, lon float64
		ok       bool
	}{
		{"a square", [][][2]float64{square}, 1, 1, true},
		{"the same the other way round", [][][2]float64{{{0, 0}, {0, 2}, {2, 2}, {2, 0}}}, 1, 1, true},
		{"a hole in its middle", [][][2]float64{square, {{0.5, 0.5}, {0.5, 1.5}, {1.5, 1.5}, {1.5, 0.5}}}, 0, 0, true},
		{"an angle", [][][2]float64{{{0, 0}, {10, 0}, {10, 1}, {1, 1}, {1, 10}, {0, 10}}}, 1, 1, true},
		{"nothing", nil, 0, 0, false},
		{"a line", [][][2]float64{{{0, 0}, {1, 0}}}, 0, 0, false},
		{"no area", [][][2]float64{{{3, 4}, {5, 4}, {4, 4}}}, 4, 3, true},
	} {
		lat, lon, ok := within(&book.Patch{Rings: tt.rings})
		if ok != tt.ok || tt.name != "a hole in its middle" && math.Hypot(lat-tt.lat, lon-tt.lon) > 1e-9 {
			t.Errorf("%s: %g %g %v", tt.name, lat, lon, ok)
		}
		if tt.name == "a hole in its middle" && (lat != 0 && lat != 2 || lon != 0 && lon != 2) {
			t.Errorf("%s: %g %g is in the hole", tt.name, lat, lon)
		}
	}
}

// The piece of a finding is not ground that is still to be planted, which is
// larger.
func TestHead(t *testing.T) {
	g := book.FieldGround{
		Gaps:     []book.Patch{{Area: 70000, Length: 700, Width: 100}, {Area: 200, Length: 254, Width: 0.8, Strip: true}, {Area: 90, Length: 69, Width: 1.3, Border: 0.5}, {Area: 40, Length: 20, Width: 2}},
		Overlaps: []book.Patch{{Area: 900, Passes: []string{"monday", "friday"}}, {Area: 30, Passes: []string{"monday", "monday too"}}, {Area: 20}},
	}
	of := func(kind string, evidence ...evenstand.Evidence) *evenstand.Finding {
		return &evenstand.Finding{Kind: kind, Evidence: evidence}
	}
	again := func(keys []string) bool { return len(keys) == 2 && keys[1] == "friday" }
	for _, tt := range []struct {
		f    *evenstand.Finding
		want *book.Patch
	}{
		{of(evenstand.KindUnplantedLeft), &g.Gaps[1]},
		{of(evenstand.KindCoverGap, evenstand.Evidence{Name: "ground missed in small pieces", Value: 120}), &g.Gaps[3]},
		{of(evenstand.KindOverlap), &g.Overlaps[1]},
		{of(evenstand.KindGuessRow), nil},
		{of(evenstand.KindRowSkips), nil},
	} {
		if p, _ := head(tt.f, &g, again); p != tt.want {
			t.Errorf("%s: %+v, want %+v", tt.f.Kind, p, tt.want)
		}
	}
	if p, _ := head(of(evenstand.KindOverlap), &book.FieldGround{}, again); p != nil {
		t.Errorf("%+v of none", p)
	}
}

// An amount never says less than nothing nor more than there is, and its interval
// only where it shows.
func TestAmount(t *testing.T) {
	v := advise.Voice{Units: evenstand.Metric}
	if a := area(v, 100, 300, 250, "x"); a.Low != 0 || a.High != 250 || a.Says != "0.01 ha" || a.Give != "give or take 0.03 ha" {
		t.Errorf("%+v", a)
	}
	if a := area(v, 1e6, 1e3, math.NaN(), "x"); a.Low != 999e3 || a.High != 1001e3 || a.Give != "" {
		t.Errorf("%+v", a)
	}
	if a := area(v, math.NaN(), 1, 1, "x"); a.Says != "" || !math.IsNaN(float64(a.Low)) {
		t.Errorf("%+v", a)
	}
}

// The largest pieces are sent, the first in any case; of the others is said how
// many and how large they are together.
func TestLargest(t *testing.T) {
	v := advise.Voice{Units: evenstand.Metric}
	var all []PatchFeature
	for i := range 9 {
		all = append(all, PatchFeature{Properties: Patch{Kind: []string{kindLeft, kindTwice}[i%2], Field: []string{"home", "hill"}[i/6], Area: evenstand.Number(9000 - 1000*i)}, points: 100})
	}
	for _, tt := range []struct {
		in                 patchesIn
		most, sent, more   int
		left, twice        string
		firstKind, firstOn string
	}{
		{patchesIn{}, 900, 9, 0, "2.5 ha in 5 pieces", "2 ha in 4 pieces", kindLeft, "home"},
		{patchesIn{}, 399, 3, 6, "2.5 ha in 5 pieces", "2 ha in 4 pieces", kindLeft, "home"},
		{patchesIn{}, 1, 1, 8, "2.5 ha in 5 pieces", "2 ha in 4 pieces", kindLeft, "home"},
		{patchesIn{Kind: kindTwice}, 200, 2, 2, "", "2 ha in 4 pieces", kindTwice, "home"},
		{patchesIn{Field: "hill"}, 900, 3, 0, "0.4 ha in 2 pieces", "0.2 ha in one piece", kindLeft, "hill"},
		{patchesIn{Field: "river"}, 900, 0, 0, "none that is seen", "none that is seen", "", ""},
	} {
		out := largest(v, all, &tt.in, tt.most)
		says := map[string]string{}
		for _, x := range out.Sums {
			says[x.Kind] = x.Says
		}
		if len(out.Features) != tt.sent || out.More != tt.more || says[kindLeft] != tt.left || says[kindTwice] != tt.twice {
			t.Errorf("%+v, %d corners: %d sent, %d more, %v", tt.in, tt.most, len(out.Features), out.More, says)
		}
		if tt.sent > 0 && (out.Features[0].Properties.Kind != tt.firstKind || out.Features[0].Properties.Field != tt.firstOn) {
			t.Errorf("%+v: first is %+v", tt.in, out.Features[0].Properties)
		}
	}
}

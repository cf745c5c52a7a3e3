package web

import (
	"testing"

	"evenstand"
)

// Fields that lie side by side are shown together; of those miles apart the one of
// the head finding, else of the last pass.
func TestGroundOpens(t *testing.T) {
	at := func(x, y float64) *box { return &box{x, y, x + 1, y + 1} }
	pass := func(field string, start evenstand.Micros) groundPass {
		return groundPass{pass: &evenstand.Pass{Field: field, Start: start}, nodes: []node{{}}}
	}
	g := &season{days: []*groundDay{{passes: []groundPass{pass("home", 1), pass("river", 3), pass("hill", 2)}}}}
	for _, tt := range []struct {
		name  string
		of    map[string]*box
		found []GroundFinding
		want  string
	}{
		{"one field", map[string]*box{"home": at(0, 0)}, nil, ""},
		{"side by side", map[string]*box{"home": at(0, 0), "river": at(1.2, 0), "hill": at(0, 1.1)}, []GroundFinding{{Field: "hill"}}, ""},
		{"far apart, a finding", map[string]*box{"home": at(0, 0), "river": at(9, 8), "hill": at(3, 4)}, []GroundFinding{{Field: "hill"}, {Field: "home"}}, "hill"},
		{"far apart, none", map[string]*box{"home": at(0, 0), "river": at(9, 8), "hill": at(3, 4)}, nil, "river"},
	} {
		e := extent{all: noBox(), of: tt.of}
		for _, b := range tt.of {
			e.all.join(*b)
		}
		want := e.all
		if tt.want != "" {
			want = *tt.of[tt.want]
		}
		if b, on := e.opens(g, &GroundFilter{}, tt.found); on != tt.want || b != want {
			t.Errorf("%s: opens on %q, %v; want %q, %v", tt.name, on, b, tt.want, want)
		}
	}
}

package ground

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func TestThin(t *testing.T) {
	for _, tt := range []struct {
		name string
		in   []Point
		off  float64
		want []Point
	}{
		{"nothing", nil, 1, nil},
		{"two", []Point{{0, 0}, {1, 1}}, 1, []Point{{0, 0}, {1, 1}}},
		{"straight", []Point{{0, 0}, {1, 0}, {2, 0}, {9, 0}}, 0.1, []Point{{0, 0}, {9, 0}}},
		{"a corner stays", []Point{{0, 0}, {5, 0.01}, {10, 0}, {10, 5}, {10, 10}}, 0.1, []Point{{0, 0}, {10, 0}, {10, 10}}},
		{"back the same way", []Point{{0, 0}, {10, 0}, {0, 0}}, 0.1, []Point{{0, 0}, {10, 0}, {0, 0}}},
	} {
		if got := Thin(tt.in, tt.off); !slices.Equal(got, tt.want) {
			t.Errorf("%s: %v, want %v", tt.name, got, tt.want)
		}
	}
}

// No point left out lies farther off than was asked, and the ends stay.
func TestThinHolds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := rapid.Float64Range(-50, 50)
		var ps []Point
		for range rapid.IntRange(2, 60).Draw(t, "n") {
			ps = append(ps, Point{c.Draw(t, "e"), c.Draw(t, "n")})
		}
		off := rapid.Float64Range(0, 20).Draw(t, "off")
		got := Thin(ps, off)
		if got[0] != ps[0] || got[len(got)-1] != ps[len(ps)-1] {
			t.Fatal("an end was left out")
		}
		k := 0 // the piece that p was left out of
		for _, p := range ps[1:] {
			if d := math.Sqrt(distance2(got[k], got[min(k+1, len(got)-1)], p)); d > off+1e-9 {
				t.Fatalf("%v lies %g off, asked %g", p, d, off)
			}
			if k+1 < len(got) && p == got[k+1] {
				k++
			}
		}
	})
}

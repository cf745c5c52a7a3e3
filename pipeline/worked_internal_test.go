package pipeline

import (
	"slices"
	"testing"
)

// A count of a second tells by its share of what was due where ground begins
// and ends: at 2 m/s half a count is a metre.
func TestSpans(t *testing.T) {
	type add struct {
		s0, s1 int32
		part   float64
	}
	for _, tt := range []struct {
		name string
		adds []add
		want []span
	}{
		{"whole", []add{{0, 2000, 1}, {2000, 4000, 1}}, []span{{0, 4000}}},
		{"begins within a second", []add{{0, 2000, 0}, {2000, 4000, 0.25}, {4000, 6000, 1}}, []span{{3500, 6000}}},
		{"ends within a second", []add{{0, 2000, 1}, {2000, 4000, 0.5}, {4000, 6000, 0}}, []span{{0, 3000}}},
		{"skips in the midst are no end", []add{{0, 2000, 1}, {2000, 4000, 0.6}, {4000, 6000, 1}}, []span{{0, 6000}}},
		{"a hole", []add{{0, 2000, 1}, {2000, 4000, 0}, {4000, 6000, 1}}, []span{{0, 2000}, {4000, 6000}}},
		{"a silent box", []add{{0, 2000, 1}, {9000, 11000, 1}}, []span{{0, 2000}, {9000, 11000}}},
		{"ends with the pass", []add{{0, 2000, 1}, {2000, 4000, 0.5}}, []span{{0, 3000}}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			var s spans
			s.reset()
			for _, a := range tt.adds {
				s.add(a.s0, a.s1, a.part)
			}
			s.cut()
			if !slices.Equal(s.of, tt.want) {
				t.Errorf("%v, want %v", s.of, tt.want)
			}
		})
	}
}

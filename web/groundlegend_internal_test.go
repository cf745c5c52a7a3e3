package web

import (
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

func TestClassEnds(t *testing.T) {
	for _, c := range []struct {
		low, high float64
		signed    bool
		want      []float64
	}{
		{0, 4, false, []float64{0, 0.5, 1, 1.5, 2, 2.5, 3, 3.5, 4}},
		{0, 16, false, []float64{0, 2, 4, 6, 8, 10, 12, 14, 16}},
		{29500, 34400, false, []float64{29000, 30000, 31000, 32000, 33000, 34000, 35000}},
		{-30, 120, true, []float64{-150, -100, -50, 0, 50, 100, 150}},
		{0.1, 0.3, false, []float64{0.1, 0.125, 0.15, 0.175, 0.2, 0.225, 0.25, 0.275, 0.3}},
		{5, 5, false, []float64{5, 5.2, 5.4, 5.6, 5.8, 6}},
	} {
		if d := cmp.Diff(c.want, classEnds(c.low, c.high, c.signed)); d != "" {
			t.Errorf("%g to %g: (-want +got):\n%s", c.low, c.high, d)
		}
	}
}

// Whatever the values, the classes hold them, rise, and are no more than the
// page has colours for; signed ones have zero in the middle.
func TestClassEndsHold(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		low := rapid.Float64Range(-1e4, 1e5).Draw(t, "low")
		high := low + math.Pow(10, rapid.Float64Range(-2, 5).Draw(t, "log width"))
		signed := rapid.Bool().Draw(t, "signed")
		ends := classEnds(low, high, signed)
		n := len(ends) - 1
		if n < 1 || n > mostClasses {
			t.Fatalf("%d classes", n)
		}
		if slack := 1e-6 * (high - low); ends[0] > low+slack || ends[n] < high-slack {
			t.Fatalf("%v does not hold %g to %g", ends, low, high)
		}
		for i := range n {
			if ends[i+1] <= ends[i] {
				t.Fatalf("%v does not rise", ends)
			}
		}
		if signed && (n%2 != 0 || ends[n/2] != 0) {
			t.Fatalf("%v: zero is not in the middle", ends)
		}
	})
}

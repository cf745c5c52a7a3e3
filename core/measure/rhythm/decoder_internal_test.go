package rhythm

import (
	"math"
	"testing"
)

// The exact dynamic programme over all place numbers 0..30 and steps 0..5
// (NumPy) on 19 seed phases with fixed phase and scatter; case
// "decoder-viterbi" of the check values kept outside the project.
func TestDecoderAgainstExactProgramme(t *testing.T) {
	u := []float64{0.0, 0.987, 1.606, 2.895, 4.871, 6.033, 7.078, 7.315, 8.092, 9.05, 11.918, 13.41, 13.883, 15.022, 17.013, 18.078, 18.116, 19.122, 20.237}
	want := []int{1, 1, 1, 2, 1, 1, 0, 1, 1, 3, 1, 1, 1, 2, 1, 0, 1, 1}
	const wantScore = -2.69321656174858

	d := New()
	d.fixed = true
	d.sigma2 = 0.13 * 0.13
	var got []Decision
	prev := 0.0
	total := 0.0
	for i, x := range u {
		got = d.Seed(x-prev, int32(i), got)
		prev = x
	}
	got = d.Break(got)
	if len(got) != len(u) {
		t.Fatalf("%d decisions for %d seeds", len(got), len(u))
	}
	var k int64
	for i, m := range want {
		dec := got[i+1]
		g := dec.Missing + 1
		if dec.Double {
			g = 0
		}
		if g != m {
			t.Errorf("seed %d: %d places on, want %d", i+1, g, m)
		}
		k += int64(m)
		if dec.K != k {
			t.Errorf("seed %d: place %d, want %d", i+1, dec.K, k)
		}
		// The score of the path, by the formula of the check value.
		e := u[i+1] - u[0] - float64(k)
		total += lnPrior(m) + math.Log((1-wide)*math.Exp(-e*e/(2*0.13*0.13))/0.13+wide*math.Exp(-e*e/(2*wideSD*wideSD))/wideSD)
	}
	if math.Abs(total-wantScore) > 1e-9 {
		t.Errorf("score %.12f, want %.12f", total, wantScore)
	}
}

package stat

import (
	"math"
	"math/rand/v2"
	"testing"
)

// noisy makes shares of 17 seeds, some of which are missed, at a rate that
// wanders.
func noisy(r *rand.Rand, n int) []float64 {
	out := make([]float64, n)
	rate := 0.02
	for i := range out {
		rate = math.Max(0.005, rate+0.0004*r.NormFloat64())
		for range 17 {
			if r.Float64() < rate {
				out[i] += 1.0 / 17
			}
		}
	}
	return out
}

func TestWindow(t *testing.T) {
	for seed := range uint64(20) {
		for _, w := range []int{1, 2, 3, 5, 8, 12, 20} {
			r := rand.New(rand.NewPCG(seed, uint64(w)))
			var win Window
			for range 8 { // rows
				x := noisy(r, 600)
				var s Series
				for i := w - 1; i < len(x); i++ {
					sum := 0.0
					for _, v := range x[i-w+1 : i+1] {
						sum += v
					}
					win.Add(&s, sum/float64(w))
				}
			}
			if got := win.Steps(); got != float64(w) {
				t.Errorf("seed %d: a mean of %d values is told as %v", seed, w, got)
			}
		}
		for _, a := range []float64{0.15, 0.3, 0.5} {
			r := rand.New(rand.NewPCG(seed, 77))
			var win Window
			for range 8 {
				var s Series
				v := 0.02
				for _, x := range noisy(r, 1200) {
					v += a * (x - v)
					win.Add(&s, v)
				}
			}
			want := (2 - a) / a
			if got := win.Steps(); !(got < 2*want && got > want/2) {
				t.Errorf("seed %d: smoothing by %v is told as %v, want about %.1f", seed, a, got, want)
			}
		}
	}
}

// What does not tell a window is not given one.
func TestWindowUnknown(t *testing.T) {
	var w Window
	var s Series
	if !math.IsNaN(w.Steps()) {
		t.Error("nothing gives a window")
	}
	for range 5000 {
		w.Add(&s, 0.5)
	}
	if !math.IsNaN(w.Steps()) {
		t.Error("a constant gives a window")
	}
	w, s = Window{}, Series{}
	r := rand.New(rand.NewPCG(1, 2))
	x := 0.0
	for range 5000 { // a walk has steps that are independent
		x += r.NormFloat64()
		w.Add(&s, x)
	}
	if got := w.Steps(); !math.IsNaN(got) {
		t.Errorf("a random walk gives a window of %v", got)
	}
}

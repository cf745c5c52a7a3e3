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
			win = Window{}
			for range 8 { // logged in hundredths of a percent
				var s Series
				v := 0.02
				for _, x := range noisy(r, 1200) {
					v += a * (x - v)
					win.Add(&s, math.Round(v*10000)/10000)
				}
			}
			if got := win.Steps(); !math.IsNaN(got) && !(got < 2*want && got > want/2) {
				t.Errorf("seed %d: smoothing by %v, rounded, is told as %v, want about %.1f", seed, a, got, want)
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
}

// What changes slowly by itself is not taken for smoothed, however few values
// there are: a walk, whose steps are independent, and autoregressions, whose
// steps are those of exponential smoothing.
func TestWindowSlowChange(t *testing.T) {
	for _, n := range []int{501, 1000, 4000} {
		for name, of := range map[string]func(x float64) float64{
			"about nothing": func(x float64) float64 { return x },
			"above nothing": func(x float64) float64 { return 20 + x },
			"a share":       func(x float64) float64 { return 0.02 * math.Exp(x/4) },
			"clamped":       func(x float64) float64 { return math.Max(0, 2+x) },
			"in hundredths": func(x float64) float64 { return math.Round(2*math.Exp(x/4)) / 100 },
		} {
			for _, phi := range []float64{1, 0.98, 0.95, 0.9, 0.8, 0.7, 0.5} {
				told := 0
				for seed := range uint64(40) {
					r := rand.New(rand.NewPCG(seed, 7))
					var w Window
					var s Series
					x := 0.0
					for range n {
						x = phi*x + r.NormFloat64()
						w.Add(&s, of(x))
					}
					if got := w.Steps(); got > 1 {
						told++
					}
				}
				if told > 0 {
					t.Errorf("%s, %d values of an autoregression of %g give a window in %d of 40", name, n, phi, told)
				}
			}
		}
	}
}

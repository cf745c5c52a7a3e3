package stat_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"evenstand/core/stat"
)

// wave is a sine with noise of an autoregression, and a phase that wanders.
func wave(rnd *rand.Rand, n int, step, hz, size, sd, rho, wander float64) []float64 {
	x, e, phase := make([]float64, n), rnd.NormFloat64(), 2*math.Pi*rnd.Float64()
	for i := range x {
		e = rho*e + math.Sqrt(1-rho*rho)*rnd.NormFloat64()
		phase += 2*math.Pi*hz*step + wander*math.Sqrt(step)*rnd.NormFloat64()
		x[i] = size*math.Sin(phase) + sd*e
	}
	return x
}

// By hand: a sine of 0.45 Hz and 3 either way is one, and another series of
// half of it, a quarter late, has a gain of -0.5i.
func TestSwingsOfASine(t *testing.T) {
	x, y := make([]float64, 512), make([]float64, 512)
	rnd := rand.New(rand.NewPCG(1, 2))
	for i := range x {
		at := 2 * math.Pi * 0.45 * 0.2 * float64(i)
		x[i] = 100 + 3*math.Sin(at) + 0.1*rnd.NormFloat64() + 0.01*float64(i)
		y[i] = 1.5 * math.Sin(at-math.Pi/2)
	}
	s := stat.Swings(x, 0.2, 0.1, 2)
	if math.Abs(s.Hz-0.45) > 0.002 || math.Abs(s.Size-3) > 0.05 || s.P > 1e-9 {
		t.Errorf("%.4f Hz, size %.3f, p %g", s.Hz, s.Size, s.P)
	}
	if g := s.Gain(y); math.Abs(real(g)) > 0.01 || math.Abs(imag(g)+0.5) > 0.01 {
		t.Errorf("gain %v", g)
	}
	if g := s.Gain(x); math.Abs(real(g)-1) > 1e-9 {
		t.Errorf("gain beside itself %v", g)
	}
}

// Methods f: noise of SD 20 lb and a correlation of 0.7 at 5 Hz has a peak of
// p < 1e-4 in at most 7 windows of ten thousand; a sine of 15 lb at 0.45 Hz has
// one of p < 1e-5 in 94 of 100.
func TestSwingsPower(t *testing.T) {
	rnd := rand.New(rand.NewPCG(3, 4))
	const windows = 3000
	for _, rho := range []float64{0, 0.7, 0.98} {
		loose, tight := 0, 0
		for range windows {
			s := stat.Swings(wave(rnd, 512, 0.2, 0, 0, 20, rho, 0), 0.2, 0.1, 2)
			if s.P < 1e-4 {
				loose++
			}
			if s.P < 1e-5 {
				tight++
			}
		}
		t.Logf("correlation %.2f: p < 1e-4 in %d of %d windows of noise, < 1e-5 in %d", rho, loose, windows, tight)
		if loose > 4 || tight > 2 {
			t.Errorf("correlation %.2f: %d and %d of %d windows of noise", rho, loose, tight, windows)
		}
	}
	for _, tt := range []struct{ size, least float64 }{{10, 0}, {15, 0.7}, {25, 0.99}} {
		found, right := 0, 0
		for range 300 {
			s := stat.Swings(wave(rnd, 512, 0.2, 0.45, tt.size, 20, 0.7, 0.1), 0.2, 0.1, 2)
			if s.P < 1e-5 {
				found++
				if math.Abs(s.Hz-0.45) < 0.02 {
					right++
				}
			}
		}
		t.Logf("size %.0f: found %d of 300, frequency right %d", tt.size, found, right)
		if float64(found) < 300*tt.least || float64(right) < 0.9*float64(found) {
			t.Errorf("size %.0f: found %d of 300, frequency right %d", tt.size, found, right)
		}
	}
}

func TestSwingsOfNothing(t *testing.T) {
	for _, x := range [][]float64{nil, make([]float64, 512), make([]float64, 100), {math.NaN(), 31: 0}} {
		if s := stat.Swings(x, 0.2, 0.1, 2); s.P != 1 {
			t.Errorf("%d values: %+v", len(x), s)
		}
	}
}

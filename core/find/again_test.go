package find_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"evenstand"
)

// ground is what a row of scatter plants between two times, in m2: 25 places of
// 0.165 m a second, 385 s of every 410.
func ground(from, to float64) float64 {
	n := 0.0
	for x := from; x < to; x++ {
		if math.Mod(x, 410) < 385 {
			n++
		}
	}
	return n * 25 * 0.165 * 0.762
}

// charged is the ground that a finding charges; it may be off by what two
// blocks of 200 seeds a row and part cover at either end.
func charged(t *testing.T, f evenstand.Finding, want float64, parts int) {
	t.Helper()
	if len(f.Harm) != 1 {
		t.Fatalf("rows %v: harm %+v", f.Rows, f.Harm)
	}
	slack := float64(parts) * 2 * 400 * 0.165 * 0.762
	if got := float64(f.Harm[0].Area); math.Abs(got-want) > slack {
		t.Errorf("%s rows %v: %.0f m2 charged, want %.0f", f.Kind, f.Rows, got, want)
	}
}

// A row that scatters, is healthy for five minutes and scatters again is one
// finding, nothing suspected is left beside it, and the healthy ground is not
// charged.
func TestBounceAgain(t *testing.T) {
	fs := scatter(12, 2400, 70, func(r int, _ int64, x float64, rnd *rand.Rand) float64 {
		sd := 0.12
		if r == 3 && (x >= 900 && x < 1200 || x >= 1500 && x < 1900) {
			sd *= 1.6
		}
		return sd * rnd.NormFloat64()
	})
	if len(fs) != 1 || fs[0].Kind != evenstand.KindRowBounce || fs[0].Stage != evenstand.Raised || fs[0].Until == nil {
		show(t, fs)
		t.Fatalf("%d findings, want one that has ended", len(fs))
	}
	charged(t, fs[0], ground(900, 1200)+ground(1500, 1900), 2)
}

func uneven(size float64, on func(r int, x float64) bool) []evenstand.Finding {
	return scatter(12, 2600, 70, func(r int, k int64, x float64, rnd *rand.Rand) float64 {
		v := 0.12 * rnd.NormFloat64()
		if on(r, x) {
			s := size
			if x < 1400 {
				s = 0.15
			}
			v += s * math.Sin(2*math.Pi*float64(k%40)/40)
		}
		return v
	})
}

// A drive that runs evenly for five minutes between is one finding, however
// weak the wave is that comes back.
func TestDriveAgain(t *testing.T) {
	for _, size := range []float64{0.05, 0.07, 0.15} {
		fs := uneven(size, func(r int, x float64) bool { return r == 3 && (x >= 600 && x < 1200 || x >= 1500 && x < 2400) })
		if len(fs) != 1 || fs[0].Kind != evenstand.KindRowDrive || fs[0].Stage != evenstand.Raised {
			show(t, fs)
			t.Fatalf("%g: %d findings, want one", size, len(fs))
		}
		charged(t, fs[0], ground(600, 1200)+ground(1500, 2400), 2)
		if fs[0].Until == nil || math.Abs((*fs[0].Until-at(2400)).Seconds()) > 60 {
			t.Errorf("%g: ends at %v, want %v", size, fs[0].Until, at(2400))
		}
	}
}

// Of two rows on one shaft each is charged while it runs unevenly; when both
// were well, one that comes back is a finding of its own, and both are the same
// as before.
func TestDrivesSharedByRow(t *testing.T) {
	ended := func(f evenstand.Finding, x float64) {
		t.Helper()
		if f.Until == nil || math.Abs((*f.Until-at(x)).Seconds()) > 60 {
			t.Errorf("rows %v: ends at %v, want %v", f.Rows, f.Until, at(x))
		}
	}
	both := evenstand.Rows{3, 4}
	fs := uneven(0.15, func(r int, x float64) bool { return x >= 600 && (r == 3 && x < 2000 || r == 4 && x < 1200) })
	if len(fs) != 1 || !slices.Equal(fs[0].Rows, both) {
		show(t, fs)
		t.Fatal("one row is well first: want one finding of both")
	}
	charged(t, fs[0], ground(600, 2000)+ground(600, 1200), 2)
	ended(fs[0], 2000)

	fs = uneven(0.15, func(r int, x float64) bool {
		return (r == 3 || r == 4) && x >= 600 && x < 1000 || r == 3 && x >= 1500 && x < 2000
	})
	if len(fs) != 2 || !slices.Equal(fs[0].Rows, both) || !slices.Equal(fs[1].Rows, evenstand.Rows{3}) {
		show(t, fs)
		t.Fatal("one comes back: want a finding of both and one of row 3")
	}
	charged(t, fs[0], 2*ground(600, 1000), 2)
	ended(fs[0], 1000)
	charged(t, fs[1], ground(1500, 2000), 1)
	ended(fs[1], 2000)

	fs = uneven(0.15, func(r int, x float64) bool {
		return (r == 3 || r == 4) && (x >= 600 && x < 1000 || x >= 1500 && x < 2000)
	})
	if len(fs) != 1 || !slices.Equal(fs[0].Rows, both) {
		show(t, fs)
		t.Fatal("both come back: want one finding")
	}
	charged(t, fs[0], 2*ground(600, 1000)+2*ground(1500, 2000), 4)
	ended(fs[0], 2000)
}

package find_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"evenstand"
)

// Methods, "Detectable": a wave of 0.05 place for 1,500 places is found, on
// the right row, with how often it comes and how large it is. A scatter of 0.12
// place is that of the measurements.
func TestRowDrive(t *testing.T) {
	const start, end = 900.0, 960.0 // 1,500 places of 25 a second
	for i, waves := range []int{1, 2, 4, 7, 1, 4} {
		row := 2 + i
		fs := scatter(12, 1500, uint64(90+i), func(r int, k int64, t float64, rnd *rand.Rand) float64 {
			x := 0.12 * rnd.NormFloat64()
			if r == row && t >= start && t < end {
				x += 0.05 * math.Sin(2*math.Pi*float64(waves)*float64(k)/40+1)
			}
			return x
		})
		got := only(fs, evenstand.KindRowDrive)
		if len(got) != 1 || len(got[0].Rows) != 1 || got[0].Rows[0] != row {
			show(t, fs)
			t.Fatalf("%d waves: %d findings, want one on row %d", waves, len(got), row)
		}
		f := got[0]
		if n := evidence(f, "waves a turn of the disc"); int(n) != waves {
			t.Errorf("%d waves: found as %g", waves, float64(n))
		}
		if x := float64(evidence(f, "size of the wave")); math.Abs(x-0.05) > 0.015 {
			t.Errorf("%d waves: %.3f place large, want 0.05", waves, x)
		}
		if d := math.Abs((f.Since - at(start)).Seconds()); d > 30 {
			t.Errorf("%d waves: begins %.0f s off", waves, d)
		}
		if f.Until == nil || math.Abs((*f.Until-at(end)).Seconds()) > 60 {
			t.Errorf("%d waves: ends at %v, want %v", waves, f.Until, at(end))
		}
		want := evenstand.CauseCoupling
		if waves > 2 {
			want = evenstand.CauseChain
		}
		if f.Causes[0].Cause != want {
			t.Errorf("%d waves: first cause %s, want %s", waves, f.Causes[0].Cause, want)
		}
	}
}

// Two hours of twelve healthy rows whose offsets wander slowly, as clocks and
// speed make them, and whose discs are drilled to a hundredth of a place, hold
// no waves; a row that scatters more is no drive.
func TestHealthyDrives(t *testing.T) {
	var wander [13]float64
	fs := scatter(12, 7200, 17, func(r int, k int64, t float64, rnd *rand.Rand) float64 {
		wander[r] = ou(wander[r], 1, 20, rnd.NormFloat64())
		x := 0.12*rnd.NormFloat64() + 0.04*wander[r] + 0.006*math.Sin(2*math.Pi*float64(k)/40+float64(r))
		if r == 4 && t > 3000 && t < 4000 {
			x *= 1.8
		}
		return x
	})
	if got := only(fs, evenstand.KindRowDrive); len(got) > 0 {
		show(t, got)
		t.Errorf("%d findings on healthy rows", len(got))
	}
	if got := only(fs, evenstand.KindRowBounce); len(got) != 1 || got[0].Rows[0] != 4 {
		show(t, got)
		t.Errorf("the row that scatters was not found as such")
	}
}

// Rows on one shaft whose drives begin to run unevenly together are one
// finding, and the waves are no bounce.
func TestDrivesOnOneShaft(t *testing.T) {
	fs := scatter(12, 1500, 23, func(r int, k int64, t float64, rnd *rand.Rand) float64 {
		x := 0.12 * rnd.NormFloat64()
		if r >= 3 && r <= 6 && t >= 700 {
			x += 0.2 * math.Sin(2*math.Pi*2*float64(k)/40+float64(r))
		}
		return x
	})
	got := raised(fs)
	if len(got) != 1 || got[0].Kind != evenstand.KindRowDrive || len(got[0].Rows) != 4 {
		show(t, got)
		t.Errorf("want one finding of rows 3 to 6")
	}
}

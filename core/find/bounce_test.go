package find_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"evenstand"
	"evenstand/core/find"
)

// scatter feeds an engine with seeds that all stand alone in their places, off
// by what off says, 25 a second and row, in passes of 385 s.
func scatter(rows int, seconds float64, seed uint64, off func(row int, k int64, t float64, rnd *rand.Rand) float64) []evenstand.Finding {
	e := find.New(config(rows))
	rnd := rand.New(rand.NewPCG(seed, 3))
	for r := range rows {
		e.Target(r+1, 1/(0.165*0.762), t0)
	}
	down := false
	var k int64
	for s := range int(seconds) {
		planting := s%410 < 385
		if planting != down {
			if down = planting; down {
				e.Lower(at(float64(s)))
			} else {
				e.Lift(at(float64(s)))
			}
		}
		if planting {
			for i := range 25 {
				t := float64(s) + (float64(i)+0.5)/25
				k++
				for r := 1; r <= rows; r++ {
					e.Seed(r, at(t))
					e.Place(r, &find.Place{T: at(t), K: k, First: s%410 == 0 && i == 0, Off: float32(off(r, k, t, rnd)), Sigma: 0.12, Readable: true})
				}
			}
		}
		e.Tick(at(float64(s+1)), find.Bar{Planting: planting, Speed: 4.125, Way: 4.125 * float64(s)})
	}
	return e.Finish(at(seconds))
}

func only(fs []evenstand.Finding, kind string) (out []evenstand.Finding) {
	for _, f := range raised(fs) {
		if f.Kind == kind {
			out = append(out, f)
		}
	}
	return out
}

// Methods, "Detectable": 1.6 times the scatter for 5,000 places is found, on
// the right row, with the beginning and the size. All rows scatter more on
// rough ground; that is nobody's fault.
func TestRowBounce(t *testing.T) {
	const start, rough, end = 900.0, 300.0, 1110.0 // 5,000 places of 25 a second
	for i := range 6 {
		row := 3 + i
		fs := scatter(12, 1600, uint64(70+i), func(r int, _ int64, t float64, rnd *rand.Rand) float64 {
			sd := 0.12
			if math.Mod(t, 600) > rough {
				sd *= 1.4
			}
			if r == row && t >= start && t < end {
				sd *= 1.6
			}
			return sd * rnd.NormFloat64()
		})
		got := only(fs, evenstand.KindRowBounce)
		if len(got) != 1 || len(got[0].Rows) != 1 || got[0].Rows[0] != row {
			show(t, fs)
			t.Fatalf("run %d: %d findings, want one on row %d", i, len(got), row)
		}
		f := got[0]
		if d := math.Abs((f.Since - at(start)).Seconds()); d > 20 {
			t.Errorf("run %d: begins %.0f s off", i, d)
		}
		if f.Until == nil || math.Abs((*f.Until-at(end)).Seconds()) > 20 {
			t.Errorf("run %d: ends at %v, want %v", i, f.Until, at(end))
		}
		x := float64(evidence(f, "times its peers"))
		if math.Abs(x-1.6) > 0.08 {
			t.Errorf("run %d: %.2f times its peers, want 1.6", i, x)
		}
		if f.Causes[0].Cause != evenstand.CauseTubeWorn {
			t.Errorf("run %d: first cause %s", i, f.Causes[0].Cause)
		}
		// It is drawn as it last was, not as the row is since.
		if c := f.Chart; len(c.Mark) != 1 || c.Mark[0] != row-1 || !(c.Value[row-1] > 1.25*c.Band.Mid) {
			t.Errorf("run %d: the chart has row %d at %.3f, its peers at %.3f", i, row, float64(c.Value[row-1]), float64(c.Band.Mid))
		}
	}
}

// Rows that scatter 15 % more or less than their peers for ever are healthy,
// and a patch of a few seconds on one row is no worn part.
func TestBounceLeavesHealthyRowsAlone(t *testing.T) {
	fs := scatter(12, 7200, 7, func(r int, _ int64, t float64, rnd *rand.Rand) float64 {
		sd := 0.12 * math.Exp(0.15*math.Sin(float64(r)))
		if math.Mod(t, 700) < 6 && r == 1+int(t/700)%12 {
			sd *= 3
		}
		return sd * rnd.NormFloat64()
	})
	if got := only(fs, evenstand.KindRowBounce); len(got) > 0 {
		show(t, got)
		t.Errorf("%d findings on healthy rows", len(got))
	}
}

// A disc that lets a quarter of its seeds go late delays seeds only (agronomy,
// F16): the third moment tells it from a tube.
func TestLateReleaseIsToldFromTube(t *testing.T) {
	fs := scatter(12, 1500, 11, func(r int, _ int64, t float64, rnd *rand.Rand) float64 {
		x := 0.12 * rnd.NormFloat64()
		if r == 5 && t > 700 && rnd.Float64() < 0.25 {
			x += 0.25 * rnd.ExpFloat64()
		}
		return x
	})
	got := only(fs, evenstand.KindRowBounce)
	if len(got) != 1 || got[0].Causes[0].Cause != evenstand.CauseRelease {
		show(t, fs)
		t.Errorf("want one finding with the late release first")
	}
}

func evidence(f evenstand.Finding, name string) evenstand.Number {
	for _, e := range f.Evidence {
		if e.Name == name {
			return e.Value
		}
	}
	return evenstand.Unknown
}

package find_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"evenstand"
	"evenstand/core/find"
)

// fieldOf feeds an engine with passes of 40 stretches side by side: bad soil
// spaces worse by 3 points and is driven 12 % slower, the driver's own speed
// wanders by sd, and slope is how much CV a m/s costs.
func fieldOf(passes int, slope, sd float64, seed uint64) (*find.Engine, []evenstand.Finding) {
	e := find.New(config(12))
	rnd := rand.New(rand.NewPCG(seed, 5))
	haste := 0.0
	for p := range passes {
		var xs []find.Strip
		between := 0.01 * rnd.NormFloat64() // passes differ as a whole
		for k := range 40 {
			at := k
			if p%2 == 1 {
				at = 39 - k
			}
			e, n := 12.2*float64(p), 15*float64(at)
			bad := math.Sin(n/70+e/90) > 0.2
			haste = ou(haste, 15, 60, rnd.NormFloat64())
			v := 4 * (1 + sd*haste)
			cv := 0.16
			if bad {
				v *= 0.88
				cv += 0.03
			}
			x := find.Strip{T: at0(p, k), E: e, N: n, Length: 15, Speed: v, SpeedSD: 0.05, End: k < 2 || k > 37}
			for range 12 {
				c := cv + slope*(v-4) + between
				x.Rows = append(x.Rows, find.StripRow{Way: 15, Seeds: 91, Target: 0.165, CV: c * (1 + rnd.NormFloat64()/math.Sqrt(2*85)), Gaps: 85})
			}
			xs = append(xs, x)
		}
		e.Strips(xs, at0(p, 40))
	}
	return e, e.Finish(at0(passes, 0))
}

func at0(pass, stretch int) evenstand.Micros { return at(200*float64(pass) + 4*float64(stretch)) }

// Methods g: with place and pass taken out the slope is right although bad soil
// is driven slower, which turns the plain slope's sign; 1.6 points for each mph
// were the truth there, and the 90 % interval held it in 0.92 of the runs.
func TestSpeedSpacing(t *testing.T) {
	const want = 0.016 / 0.44704 // CV a m/s
	held := 0
	const runs = 30
	for i := range runs {
		_, fs := fieldOf(20, want, 0.06, uint64(200+i))
		got := only(fs, evenstand.KindSpeedSpacing)
		if len(got) != 1 || len(got[0].Rows) != 12 {
			t.Fatalf("run %d: %d findings, want one of all rows", i, len(got))
		}
		s := got[0].Evidence[0]
		if math.Abs(float64(s.Value)-want*0.45) > 0.004 {
			t.Errorf("run %d: %.4f a unit, want %.4f", i, float64(s.Value), want*0.45)
		}
		if float64(s.Low) <= want*0.45 && want*0.45 <= float64(s.High) {
			held++
		}
	}
	// 90 % of 30 within three standard errors of a binomial.
	if held < 22 {
		t.Errorf("the 90 %% interval held the truth in %d of %d runs", held, runs)
	}
}

// Soil that is bad and driven slower is no effect of speed; and where speed
// hardly varied nothing is said, with the reason.
func TestSpeedAndSoil(t *testing.T) {
	for i := range 10 {
		if _, fs := fieldOf(30, 0, 0.06, uint64(300+i)); len(only(fs, evenstand.KindSpeedSpacing)) > 0 {
			t.Errorf("run %d: soil was taken for speed", i)
		}
	}
	e, fs := fieldOf(20, 0.036, 0.012, 400)
	if len(only(fs, evenstand.KindSpeedSpacing)) > 0 || e.SpeedRefused() != "speed did not vary enough" {
		t.Errorf("a steady speed: %d findings, refused %q", len(fs), e.SpeedRefused())
	}
	if e, _ := fieldOf(5, 0.036, 0.06, 401); e.SpeedRefused() != "fewer than 8 passes lay beside one another" {
		t.Errorf("five passes: refused %q", e.SpeedRefused())
	}
	if e := find.New(config(12)); e.SpeedRefused() != "needs seed times" {
		t.Errorf("no seed times: refused %q", e.SpeedRefused())
	}
}

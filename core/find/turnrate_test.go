package find_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"evenstand"
	"evenstand/core/find"
)

// arcs feeds passes of 30 stretches at a radius, by turns to the right and to
// the left; share is how much of the curve's error is left in each pass. A row
// at y covers 1 - yκ of the middle's ground and, uncompensated, gets the
// middle's seeds: target/(1 - yκ), the relation R20.
func arcs(passes int, radius float64, share func(pass int) float64, seed uint64) []evenstand.Finding {
	const rows = 12
	e := find.New(config(rows))
	rnd := rand.New(rand.NewPCG(seed, 9))
	for r := range rows {
		e.Target(r+1, 1/(0.165*0.762), t0)
	}
	for p := range passes {
		kappa := 1 / radius
		if p%2 == 1 {
			kappa = -kappa
		}
		var xs []find.Strip
		for k := range 30 {
			x := find.Strip{T: at0(p, k), E: 12 * float64(p), N: 15 * float64(k), Length: 15, Turn: 15 * kappa, Speed: 4, SpeedSD: 0.05, End: k < 2 || k > 27}
			for r := range rows {
				y := (float64(r) - 5.5) * 0.762
				way := 15 * (1 - y*kappa)
				n := way / 0.165 * math.Pow(1/(1-y*kappa), share(p))
				x.Rows = append(x.Rows, find.StripRow{Way: way, Target: 0.165, Seeds: math.Round(n * (1 + 0.013*rnd.NormFloat64())), CV: math.NaN()})
			}
			xs = append(xs, x)
		}
		e.Strips(xs, at0(p, 30))
	}
	return e.Finish(at0(passes, 0))
}

// The strength at which it is found was measured here: on arcs of 200 m, where
// the outermost of 12 rows is off by 2 %, within three passes of 450 m.
func TestTurnRate(t *testing.T) {
	for i, tt := range []struct {
		share float64
		cause string
	}{{1, evenstand.CauseTurnOff}, {2, evenstand.CauseRowOrder}, {-2, evenstand.CauseCard}} {
		fs := arcs(14, 200, func(p int) float64 {
			if p >= 4 && p < 10 {
				return tt.share
			}
			return 0
		}, uint64(500+i))
		got := only(fs, evenstand.KindTurnRate)
		if len(got) != 1 || len(got[0].Rows) != 12 {
			show(t, fs)
			t.Fatalf("share %g: %d findings, want one of all rows", tt.share, len(got))
		}
		f := got[0]
		if s := f.Evidence[0]; math.Abs(float64(s.Value)-tt.share) > 0.25 || float64(s.Low) > tt.share || float64(s.High) < tt.share {
			t.Errorf("share %g: found %g (%g to %g)", tt.share, float64(s.Value), float64(s.Low), float64(s.High))
		}
		if f.Since != at0(4, 0) || f.Until == nil || *f.Until != at0(10, 0) {
			t.Errorf("share %g: from %v to %v, want passes 5 to 10", tt.share, f.Since, f.Until)
		}
		if f.Alarm > at0(6, 30) {
			t.Errorf("share %g: alarm after more than three passes", tt.share)
		}
		if f.Causes[0].Cause != tt.cause {
			t.Errorf("share %g: first cause %s, want %s", tt.share, f.Causes[0].Cause, tt.cause)
		}
	}
}

// Compensated rows on tight arcs, and rows that lack it on the straight, give
// nothing.
func TestTurnRateCalm(t *testing.T) {
	for i, fs := range [][]evenstand.Finding{
		arcs(40, 60, func(int) float64 { return 0 }, 600),
		arcs(40, 20000, func(int) float64 { return 1 }, 601),
	} {
		if got := only(fs, evenstand.KindTurnRate); len(got) > 0 {
			show(t, got)
			t.Errorf("case %d: %d findings", i, len(got))
		}
	}
}

package find_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"evenstand"
	"evenstand/core/find"
)

// bend feeds passes of 30 stretches at a radius, by turns to the right and to
// the left. A row at y covers 1 - yκ of
// the middle's ground; give says how many times the middle's seeds it gets
// there, by how much of the middle's ground it covers.
type bend struct {
	passes   int
	radius   float64
	straight int  // stretches of a pass
	right    bool // every curve turns right
	give     func(pass, k, row int, way float64) float64
	seed     uint64
}

// off is what a row gets of which a share of the curve's error is left:
// uncompensated it gets the middle's seeds, the relation R20.
func off(share, way float64) float64 { return math.Pow(way, 1-share) }

func (b bend) run() []evenstand.Finding {
	const rows = 12
	e := find.New(config(rows))
	rnd := rand.New(rand.NewPCG(b.seed, 9))
	for r := range rows {
		e.Target(r+1, 1/(0.165*0.762), t0)
	}
	for p := range b.passes {
		var xs []find.Strip
		for k := range 30 {
			kappa := 1 / b.radius
			switch {
			case k < b.straight:
				kappa = 0
			case p%2 == 1 && !b.right:
				kappa = -kappa
			}
			x := find.Strip{T: at0(p, k), E: 12 * float64(p), N: 15 * float64(k), Length: 15, Turn: 15 * kappa, Speed: 4, SpeedSD: 0.05, End: k < 2 || k > 27}
			for r := range rows {
				y := (float64(r) - 5.5) * 0.762
				way := 1 - y*kappa
				n := 15 / 0.165 * b.give(p, k, r, way)
				x.Rows = append(x.Rows, find.StripRow{Way: 15 * way, Target: 0.165, Seeds: math.Round(n * (1 + 0.013*rnd.NormFloat64())), CV: math.NaN()})
			}
			xs = append(xs, x)
		}
		e.Strips(xs, at0(p, 30))
	}
	return e.Finish(at0(b.passes, 0))
}

// The strength at which it is found was measured here: on arcs of 200 m, where
// the outermost of 12 rows is off by 2 %, within three passes of 450 m.
func TestTurnRate(t *testing.T) {
	for i, tt := range []struct {
		name     string
		share    float64
		straight int
		right    bool
		cause    string
		give     func(way float64) float64
	}{
		{"not compensated", 1, 0, false, evenstand.CauseTurnOff, func(way float64) float64 { return off(1, way) }},
		{"the wrong way round", 2, 0, false, evenstand.CauseRowOrder, func(way float64) float64 { return 2 - way }},
		{"one hand, with straights", 1, 10, true, evenstand.CauseTurnOff, func(way float64) float64 { return off(1, way) }},
	} {
		fs := bend{passes: 14, radius: 200, straight: tt.straight, right: tt.right, seed: uint64(500 + i), give: func(p, k, _ int, way float64) float64 {
			if p >= 4 && p < 10 {
				return tt.give(way)
			}
			return way
		}}.run()
		got := only(fs, evenstand.KindTurnRate)
		if len(got) != 1 || len(got[0].Rows) != 12 {
			show(t, fs)
			t.Fatalf("%s: %d findings, want one of all rows", tt.name, len(got))
		}
		f := got[0]
		if s := f.Evidence[0]; math.Abs(float64(s.Value)-tt.share) > 0.25 || float64(s.Low) > tt.share || float64(s.High) < tt.share {
			t.Errorf("%s: found %g (%g to %g), want %g", tt.name, float64(s.Value), float64(s.Low), float64(s.High), tt.share)
		}
		if d := (f.Since - at0(4, 0)).Seconds(); math.Abs(d) > 120 || f.Until == nil || math.Abs((*f.Until-at0(10, 0)).Seconds()) > 120 {
			t.Errorf("%s: from %v to %v, want passes 5 to 10", tt.name, f.Since, f.Until)
		}
		if f.SinceLow > at0(4, 0) || f.SinceHigh < at0(4, 0) {
			t.Errorf("%s: since %v to %v, want pass 5 in it", tt.name, f.SinceLow, f.SinceHigh)
		}
		if f.Alarm > at0(6, 30) {
			t.Errorf("%s: alarm after more than three passes", tt.name)
		}
		if f.Causes[0].Cause != tt.cause {
			t.Errorf("%s: first cause %s, want %s", tt.name, f.Causes[0].Cause, tt.cause)
		}
	}
}

// A card whose rows run the other way than the planter's takes the way of each
// row for that of its mirror image. A planter that compensates then looks as if
// it did so the wrong way round; one that does not looks as it is.
func TestTurnRateMirroredCard(t *testing.T) {
	for _, tt := range []struct {
		name        string
		compensated bool
		share       float64
	}{{"compensated", true, 2}, {"not compensated", false, 1}} {
		fs := bend{passes: 8, radius: 150, seed: 520, give: func(_, _, _ int, way float64) float64 {
			if tt.compensated {
				return 2 - way // the true row is at -y
			}
			return 1
		}}.run()
		got := only(fs, evenstand.KindTurnRate)
		if len(got) != 1 {
			show(t, fs)
			t.Fatalf("%s: %d findings, want one", tt.name, len(got))
		}
		if s := float64(got[0].Evidence[0].Value); math.Abs(s-tt.share) > 0.25 {
			t.Errorf("%s: slope %g, want %g", tt.name, s, tt.share)
		}
		odds := 0.0
		for _, c := range got[0].Causes {
			if c.Cause == evenstand.CauseCard {
				odds = c.Probability
			}
		}
		if odds > 0.2 != tt.compensated {
			t.Errorf("%s: the card with odds of %g", tt.name, odds)
		}
	}
}

// Compensated rows on tight arcs, rows that lack it on the straight, and rows
// or a side that plant less for a reason of their own give nothing, also where
// every curve turns the same way.
func TestTurnRateCalm(t *testing.T) {
	full := func(_, _, _ int, way float64) float64 { return way }
	for i, tt := range []struct {
		name string
		b    bend
	}{
		{"compensated", bend{passes: 40, radius: 60, give: full}},
		{"straight", bend{passes: 40, radius: 20000, give: func(int, int, int, float64) float64 { return 1 }}},
		{"an outer row short", bend{passes: 40, radius: 80, right: true, give: func(p, _, r int, way float64) float64 {
			if r == 0 && p > 5 {
				return 0.77 * way
			}
			return way
		}}},
		{"a side short, one hand", bend{passes: 40, radius: 80, right: true, give: func(p, _, r int, way float64) float64 {
			if r < 6 && p > 5 {
				return 0.93 * way
			}
			return way
		}}},
		{"a side short, one hand, with straights", bend{passes: 40, radius: 80, right: true, straight: 12, give: func(p, _, r int, way float64) float64 {
			if r < 6 && p > 5 {
				return 0.93 * way
			}
			return way
		}}},
		{"a side short, both hands", bend{passes: 40, radius: 80, give: func(p, _, r int, way float64) float64 {
			if r < 6 && p > 5 {
				return 0.93 * way
			}
			return way
		}}},
	} {
		tt.b.seed = uint64(600 + i)
		if got := only(tt.b.run(), evenstand.KindTurnRate); len(got) > 0 {
			show(t, got)
			t.Errorf("%s: %d findings", tt.name, len(got))
		}
	}
}

// A heading that is wrong at the end of a stretch bends it one way and the next
// one back, and the rows' rates with them; that is no curve.
func TestTurnRateHeading(t *testing.T) {
	const rows = 12
	e := find.New(config(rows))
	rnd := rand.New(rand.NewPCG(620, 9))
	for r := range rows {
		e.Target(r+1, 1/(0.165*0.762), t0)
	}
	for p := range 40 {
		var xs []find.Strip
		psi := 0.0
		for k := range 30 {
			next := 0.03 * rnd.NormFloat64()
			x := find.Strip{T: at0(p, k), N: 15 * float64(k), Length: 15, Turn: next - psi, Speed: 4, SpeedSD: 0.05, End: k < 2 || k > 27}
			psi = next
			for r := range rows {
				y := (float64(r) - 5.5) * 0.762
				x.Rows = append(x.Rows, find.StripRow{Way: 15 - y*x.Turn, Target: 0.165, Seeds: math.Round(15 / 0.165 * (1 + 0.013*rnd.NormFloat64())), CV: math.NaN()})
			}
			xs = append(xs, x)
		}
		e.Strips(xs, at0(p, 30))
	}
	if got := only(e.Finish(at0(40, 0)), evenstand.KindTurnRate); len(got) > 0 {
		show(t, got)
		t.Errorf("%d findings", len(got))
	}
}

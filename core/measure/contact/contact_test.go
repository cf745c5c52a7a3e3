package contact_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"evenstand/core/measure/contact"

	"pgregory.net/rapid"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.4f, want %.4f within %g", what, got, want, tol)
	}
}

// By hand, Wilson at 90 % (z 1.6449) of 4 in 100: middle (0.04 + z²/200)/(1 +
// z²/100) = 0.05211, half sqrt(0.04*0.96/100 + z²/40000)*z/(1 + z²/100) =
// 0.03421. With rho 0.5 the 300 readings are worth 100.
func TestShare(t *testing.T) {
	p, lo, hi := contact.Share(4, 100, 0, 0.90)
	near(t, "share", p, 0.04, 1e-12)
	near(t, "low", lo, 0.01790, 2e-4)
	near(t, "high", hi, 0.08632, 2e-4)
	p, lo2, hi2 := contact.Share(12, 300, 0.5, 0.90)
	near(t, "share of correlated readings", p, 0.04, 1e-12)
	near(t, "low of correlated readings", lo2, lo, 1e-9)
	near(t, "high of correlated readings", hi2, hi, 1e-9)
	if p, lo, hi := contact.Share(0, 0, 0, 0.9); !math.IsNaN(p) || lo != 0 || hi != 1 {
		t.Errorf("nothing counted gives %g, %g, %g", p, lo, hi)
	}
}

// methods, f: the interval of nominal 90 % covered 0.91 of 0/1 series.
func TestShareCovers(t *testing.T) {
	rnd := rand.New(rand.NewPCG(7401, 1))
	const p, rho, n, runs = 0.04, 0.4, 600, 2000
	inside := 0
	for range runs {
		// A chain whose states keep with chance rho, else are drawn anew: its
		// correlation is rho.
		x, y, square, same, before := rnd.Float64() < p, 0.0, 0.0, 0.0, math.NaN()
		for range n {
			if rnd.Float64() >= rho {
				x = rnd.Float64() < p
			}
			v := 0.0
			if x {
				v = 1
			}
			y += v
			square += (v - p) * (v - p)
			if before == before {
				same += (v - p) * (before - p)
			}
			before = v
		}
		r := 0.0
		if square > 0 {
			r = same / square
		}
		if _, lo, hi := contact.Share(y, n, r, 0.90); lo <= p && p <= hi {
			inside++
		}
	}
	if c := float64(inside) / runs; c < 0.86 || c > 0.95 {
		t.Errorf("covered %.3f, want about 0.90", c)
	}
}

// loads draws as methods, f does: normal with a heavy lower tail of 8 %, and
// cut off at nothing as a load cell does.
func loads(rnd *rand.Rand, n int, mean, sd float64, cut bool) *contact.Loads {
	h := &contact.Loads{}
	for range n {
		x := mean + sd*rnd.NormFloat64()
		if rnd.Float64() < 0.08 {
			x -= sd * 1.6 * rnd.ExpFloat64()
		}
		if cut || x > 0 {
			h.Add(math.Max(0, x))
		} else {
			h.Add(0)
		}
	}
	return h
}

func TestLoads(t *testing.T) {
	h := &contact.Loads{}
	for i := range 1000 {
		h.Add(float64(i) + 0.5) // evenly from 0 to 1000
	}
	near(t, "first percentile", h.Quantile(0.01), 10, 1)
	near(t, "median", h.Quantile(0.5), 500, 1)
	near(t, "mean", h.Mean(), 500, 1)
	near(t, "scatter", h.SD(), 1000/math.Sqrt(12), 1)
}

// By hand, loads evenly from 0 to 1000 N and a change d of force between -100
// and 90 that leaves the ends alone: off (90 - d)/1000, excess over 700 N
// (300 + d)²/2000. With c 5 and 0.01: J = 5(90-d)/1000 + 0.01(300+d)²/2000,
// least where -0.005 + 0.00001(300+d) = 0, d = 200: beyond 90 nothing is off
// any more, so the least lies at 90.
func TestChange(t *testing.T) {
	h := &contact.Loads{}
	for i := range 1000 {
		h.Add(float64(i) + 0.5)
	}
	c := contact.Cost{Off: 5, Heavy: 0.01, Least: 90, Most: 700}
	near(t, "cost at no change", c.At(h, 0, 0), 5*0.09+0.01*300*300/2000, 0.01)
	near(t, "cost at 60", c.At(h, 60, 0), 5*0.03+0.01*360*360/2000, 0.01)
	best, low, high := contact.Change(h, []contact.Cost{c}, 0)
	near(t, "best change at the end", best, 90, 15)
	if low > best || high < best {
		t.Errorf("change %g (%g to %g)", best, low, high)
	}
	// With c 5 and 0.02 the least lies where -0.005 + 0.00002(300+d) = 0: d = -50.
	best, low, high = contact.Change(h, []contact.Cost{{Off: 5, Heavy: 0.02, Least: 90, Most: 700}}, 0)
	near(t, "best change", best, -50, 20)
	// Flat: 0.00001 d² = 0.0292, d = 54.
	near(t, "from", low, -104, 20)
	near(t, "to", high, 4, 20)
	if b, _, _ := contact.Change(&contact.Loads{}, []contact.Cost{c}, 0); !math.IsNaN(b) {
		t.Errorf("no loads give %g", b)
	}
}

// Light ground wants force off and heavy ground wants it on; a cell that shows
// nothing under nothing does not hide how much.
func TestWhole(t *testing.T) {
	rnd := rand.New(rand.NewPCG(7402, 1))
	shape := loads(rnd, 40000, 1500, 140, false)
	sound, poor := loads(rnd, 4000, 800, 140, false), loads(rnd, 4000, 250, 140, true)
	if sound.Whole(shape) != sound {
		t.Error("sound loads are not cut off and want no other tail")
	}
	cost := []contact.Cost{{Off: 4.3, Heavy: 0.0005, Least: 90, Most: 760}}
	a, _, _ := contact.Change(sound, cost, 0)
	b, _, _ := contact.Change(poor.Whole(shape), cost, 0)
	near(t, "poor ground wants what sound ground wants and 550 N more", b-a, 550, 60)
}

func TestZones(t *testing.T) {
	rnd := rand.New(rand.NewPCG(7403, 1))
	var s contact.Needs
	for range 3000 { // simulator.md, section 2: 30, 45 and 25 % of the ground
		need := 800.0
		switch u := rnd.Float64(); {
		case u > 0.75:
			need = 1500
		case u > 0.30:
			need = 1150
		}
		s.Add(need+60*rnd.NormFloat64(), 1)
	}
	limits := s.Zones(3)
	if len(limits) != 3 {
		t.Fatalf("%d zones of %v", len(limits), limits)
	}
	near(t, "first limit", limits[1], 975, 40)
	near(t, "second limit", limits[2], 1325, 40)
	if contact.Zone(limits, 800) != 0 || contact.Zone(limits, 1100) != 1 || contact.Zone(limits, 1600) != 2 {
		t.Error("needs lie in other zones")
	}
	near(t, "middle", s.Middle(), 1150, 75)
	var one contact.Needs
	for range 3000 {
		one.Add(1000+60*rnd.NormFloat64(), 1)
	}
	if l := one.Zones(3); len(l) != 1 {
		t.Errorf("ground that is all alike has zones %v", l)
	}
	if l := (&contact.Needs{}).Zones(3); len(l) != 1 {
		t.Errorf("no ground has zones %v", l)
	}
}

func TestShareProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := float64(rapid.IntRange(1, 5000).Draw(t, "n"))
		y := math.Floor(n * rapid.Float64Range(0, 1).Draw(t, "share"))
		rho := rapid.Float64Range(-1, 1).Draw(t, "rho")
		p, lo, hi := contact.Share(y, n, rho, 0.9)
		if !(lo <= p+1e-12 && p <= hi+1e-12 && lo >= 0 && hi <= 1) {
			t.Fatalf("%g in %g to %g", p, lo, hi)
		}
		_, lo2, hi2 := contact.Share(2*y, 2*n, rho, 0.9)
		if hi2-lo2 > hi-lo+1e-12 {
			t.Fatalf("twice the readings widen the interval: %g, %g", hi-lo, hi2-lo2)
		}
	})
}

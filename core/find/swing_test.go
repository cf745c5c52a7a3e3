package find_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"evenstand"
	"evenstand/core/find"
)

// pressed feeds an engine with row force as methods, f, models it: noise of SD
// 20 lb with a correlation of 0.7 from reading to reading at 5 Hz, on passes of
// 250 s.
type pressed struct {
	rows   int
	hours  float64
	seed   uint64
	hz     float64                          // readings a second
	swing  func(row int, t float64) float64 // N added to force and load
	rock   func(row int, t float64) float64 // N that the ground needs more; the force follows it by 0.6 s
	noLoad bool
}

func (w pressed) run() []evenstand.Finding {
	e := find.New(config(w.rows))
	rnd := rand.New(rand.NewPCG(w.seed, 11))
	const sd = 20 * evenstand.PoundForce
	noise, follows := make([]float64, w.rows), make([]float64, w.rows)
	steps := int(w.hz)
	rho := math.Pow(0.7, 5/w.hz)
	down, way := false, 0.0
	for s := range int(w.hours * 3600) {
		t := float64(s)
		planting := math.Mod(t, 275) < 250
		if planting != down {
			if down = planting; down {
				e.Lower(at(t))
			} else {
				e.Lift(at(t))
			}
		}
		if planting {
			way += fast
			for k := range steps {
				t := t + float64(k)/w.hz
				for r := range w.rows {
					noise[r] = rho*noise[r] + math.Sqrt(1-rho*rho)*rnd.NormFloat64()
					force, load := 1300+sd*noise[r], 550+150*rnd.NormFloat64()+sd*noise[r]
					if w.swing != nil {
						x := w.swing(r+1, t)
						force, load = force+x, load+x
					}
					if w.rock != nil {
						x := w.rock(r+1, t)
						follows[r] += (1 - math.Exp(-1/w.hz/0.6)) * (x - follows[r])
						force, load = force+follows[r], load+follows[r]-x
					}
					e.Force(r+1, at(t), math.Round(force))
					if !w.noLoad {
						e.Load(r+1, at(t), math.Round(math.Max(0, load)))
					}
				}
			}
		}
		e.Tick(at(t+1), find.Bar{Planting: planting, Speed: fast, Way: way})
	}
	return e.Finish(at(w.hours * 3600))
}

func sine(hz, size float64) func(float64) float64 {
	return func(t float64) float64 { return size * math.Sin(2*math.Pi*hz*t) }
}

// Methods, f: 25 lb at 0.45 Hz is in every window; a finding is three of four.
func TestForceHunting(t *testing.T) {
	wave := sine(0.45, 25*evenstand.PoundForce)
	f := one(t, pressed{rows: 16, hours: 1.2, seed: 1, hz: 5, swing: func(row int, t float64) float64 {
		if row == 5 && t >= 1650 {
			return wave(t)
		}
		return 0
	}}.run(), evenstand.KindForceHunting, evenstand.Rows{5}, evenstand.CauseForceRow)
	if d := (f.Since - t0).Seconds() - 1650; math.Abs(d) > 110 {
		t.Errorf("begins %.0f s after it did", d)
	}
	if x := float64(figure(t, f, "force swings either way by").Value); math.Abs(x/evenstand.PoundForce-25) > 4 {
		t.Errorf("swings by %.0f lb", x/evenstand.PoundForce)
	}
	if x := float64(figure(t, f, "a swing takes").Value); math.Abs(x-1/0.45) > 0.1 {
		t.Errorf("takes %.2f s", x)
	}

	// All rows, each at a time of its own, are one finding, which ends.
	f = one(t, pressed{rows: 16, hours: 1.2, seed: 2, hz: 5, swing: func(row int, t float64) float64 {
		if t >= 1100 && t < 2750 {
			return wave(t + 7.3*float64(row))
		}
		return 0
	}}.run(), evenstand.KindForceHunting, sixteen(), evenstand.CauseForceGain)
	if f.Until == nil || math.Abs((*f.Until-t0).Seconds()-2750) > 150 {
		t.Errorf("ends %v", f.Until)
	}

	// So they are when each row has a pace of its own.
	one(t, pressed{rows: 16, hours: 1, seed: 3, hz: 5, swing: func(row int, t float64) float64 {
		return sine(0.4+0.02*float64(row), 150)(t)
	}}.run(), evenstand.KindForceHunting, sixteen(), evenstand.CauseForceGain)
}

// Ground that rocks the rows moves load first, and force a quarter late.
func TestForceFollowsGround(t *testing.T) {
	if fs := raised(pressed{rows: 16, hours: 1, seed: 4, hz: 5, rock: func(row int, t float64) float64 {
		return sine(0.4, 400)(t)
	}}.run()); slices.ContainsFunc(fs, func(f evenstand.Finding) bool { return f.Kind == evenstand.KindForceHunting }) {
		t.Errorf("%d findings on ground that rocks", len(fs))
	}
}

// Without a load nobody knows which of the two it is: it stays suspected. At a
// reading a second swings under half of one are seen, and it says how often it
// looks.
func TestForceLogs(t *testing.T) {
	all := func(hz float64) func(int, float64) float64 {
		return func(_ int, t float64) float64 { return sine(hz, 200)(t) }
	}
	fs := pressed{rows: 16, hours: 1, seed: 5, hz: 5, noLoad: true, swing: all(0.45)}.run()
	if len(raised(fs)) != 0 || len(fs) != 1 || fs[0].Kind != evenstand.KindForceHunting {
		t.Errorf("without loads: %d findings, %d raised", len(fs), len(raised(fs)))
	}
	f := one(t, pressed{rows: 16, hours: 1.3, seed: 6, hz: 1, swing: all(0.3)}.run(), evenstand.KindForceHunting, sixteen(), evenstand.CauseForceGain)
	if x := float64(figure(t, f, "readings a second").Value); math.Abs(x-1) > 0.02 {
		t.Errorf("%.2f readings a second", x)
	}
}

// Methods, "False-alarm budget": 0.05 in ten hours for what is spectral.
func TestForceCalm(t *testing.T) {
	days := uint64(6)
	if testing.Short() {
		days = 1
	}
	for seed := range days {
		for _, hz := range []float64{1, 5} {
			if fs := (pressed{rows: 16, hours: 10, seed: 20 + seed, hz: hz}).run(); len(fs) > 0 {
				t.Errorf("seed %d, %g Hz: %d findings in ten hours of noise, %s", seed, hz, len(fs), fs[0].Kind)
			}
		}
	}
}

// Power on the world of methods, f, within twenty minutes of planting.
func TestForcePower(t *testing.T) {
	if testing.Short() {
		t.Skip("whole days")
	}
	for _, tt := range []struct{ pounds, least float64 }{{10, 0}, {15, 0.85}, {20, 1}} {
		found := 0.0
		const rows = 48
		for row := range rows / 16 {
			for _, f := range (pressed{rows: 48, hours: 0.4, seed: 40 + uint64(row), hz: 5, swing: func(r int, t float64) float64 {
				if r%3 == row { // not most of them, and each at a pace of its own
					return sine(0.3+0.03*float64(r/3), tt.pounds*evenstand.PoundForce)(t)
				}
				return 0
			}}).run() {
				if f.Kind == evenstand.KindForceHunting {
					found += float64(len(f.Rows))
				}
			}
		}
		t.Logf("%.0f lb on one row of 20 lb of noise: %.0f of %d", tt.pounds, found, rows)
		if found < tt.least*rows {
			t.Errorf("%.0f lb: %.0f of %d found", tt.pounds, found, rows)
		}
	}
}

// poured feeds an engine with liquid whose rate, and the speed, are said.
type poured struct {
	hours  float64
	seed   uint64
	speed  func(t float64) float64         // m/s
	flow   func(t, v, way float64) float64 // of what is asked for
	halt   func(t float64) bool            // it stands
	target func(t float64) float64         // of the usual, every minute
	only   bool                            // no meter of the machine, rows' alone
}

func (w poured) run() []evenstand.Finding {
	const rows = 16
	cfg := config(rows)
	for range rows {
		cfg.Starter = append(cfg.Starter, true)
	}
	e := find.New(cfg)
	rnd := rand.New(rand.NewPCG(w.seed, 13))
	noise := make([]float64, rows)
	target := perM2
	e.LiquidTarget(t0, target)
	down, way := false, 0.0
	for s := range int(w.hours * 3600) {
		t := float64(s)
		planting := math.Mod(t, 275) < 250
		if w.target != nil && s%60 == 0 {
			target = perM2 * w.target(t)
			e.LiquidTarget(at(t), target)
		}
		if w.halt != nil && w.halt(t) {
			planting = false
		}
		if planting != down {
			if down = planting; down {
				e.Lower(at(t))
			} else {
				e.Lift(at(t))
			}
		}
		v := fast
		if w.speed != nil {
			v = w.speed(t)
		}
		if planting {
			way += v
			x := w.flow(t, v, way)
			if !w.only {
				e.LiquidRate(at(t), target*x*(1+0.007*rnd.NormFloat64()))
			}
			for r := range rows {
				noise[r] = 0.5*noise[r] + math.Sqrt(0.75)*rnd.NormFloat64()
				e.Flow(r+1, at(t), target*v*0.762*x*(1+0.05*noise[r]))
			}
		}
		e.Tick(at(t+1), find.Bar{Planting: planting, Speed: v, Way: way})
	}
	return e.Finish(at(w.hours * 3600))
}

// varied is a speed that wanders by 5 % over a quarter of an hour and by 3 %
// over a minute.
func varied(t float64) float64 {
	return fast * (1 + 0.05*math.Sqrt2*math.Sin(t/140) + 0.03*math.Sqrt2*math.Sin(t/11))
}

// Agronomy F58: a fixed time, its mean right; at 4 m/s and 0.25 Hz strips of 16 m.
func TestFlowHunting(t *testing.T) {
	for _, only := range []bool{false, true} {
		f := one(t, poured{hours: 1.5, seed: 1, only: only, speed: varied, flow: func(t, v, way float64) float64 {
			if t < 1700 {
				return 1
			}
			return 1 + sine(0.25, 0.1)(t)
		}}.run(), evenstand.KindFlowHunting, sixteen(), evenstand.CauseFlowGain)
		if d := (f.Since - t0).Seconds() - 1700; math.Abs(d) > 70 {
			t.Errorf("begins %.0f s after it did", d)
		}
		if x := float64(figure(t, f, "from thick to thick").Value); math.Abs(x-16) > 1 {
			t.Errorf("strips of %.1f m", x)
		}
		if x := float64(figure(t, f, "liquid over its target").Value); math.Abs(x-1) > 0.01 {
			t.Errorf("mean of %.3f", x)
		}
		if x := figure(t, f, "its pace goes with the speed"); x.Low > 0 || x.High < 0 || x.High > 0.7 {
			t.Errorf("pace %+v", x)
		}
		if len(f.Harm) != 0 {
			t.Error("a swing about the right mean has a harm")
		}
	}
	// F18: a fixed distance.
	f := one(t, poured{hours: 1.5, seed: 2, speed: varied, flow: func(t, v, way float64) float64 {
		return 1 + 0.1*math.Sin(2*math.Pi*way/16)
	}}.run(), evenstand.KindFlowHunting, sixteen(), evenstand.CausePumpDrive)
	if x := figure(t, f, "its pace goes with the speed"); x.Low > 1 || x.High < 1 || x.Low < 0.3 {
		t.Errorf("pace %+v", x)
	}
}

// A driver whose speed swings takes the flow along, late; noise has no peak.
func TestFlowCalm(t *testing.T) {
	swung := func(t float64) float64 { return fast * (1 + sine(0.15, 0.06)(t)) }
	if fs := raised(poured{hours: 1.5, seed: 3, speed: swung, flow: func(t, v, way float64) float64 { return swung(t-1.2) / v }}.run()); len(fs) > 0 {
		t.Errorf("a driver who hunts: %s", fs[0].Kind)
	}
	days := uint64(10)
	if testing.Short() {
		days = 2
	}
	for seed := range days {
		if fs := raised(poured{hours: 10, seed: 30 + seed, speed: varied, flow: func(t, v, way float64) float64 { return 1 }}.run()); len(fs) > 0 {
			t.Errorf("seed %d: %s in ten hours of noise", seed, fs[0].Kind)
		}
	}
}

// Power of flow-hunting in half an hour of planting, by what is logged.
func TestFlowPower(t *testing.T) {
	if testing.Short() {
		t.Skip("whole days")
	}
	for _, tt := range []struct{ size, least float64 }{{0.02, 0}, {0.03, 0.8}, {0.04, 1}} {
		for _, only := range []bool{false, true} {
			found := 0
			for seed := range uint64(20) {
				hz := 0.1 + 0.016*float64(seed)
				found += len(raised(poured{hours: 0.5, seed: 60 + seed, only: only, speed: varied, flow: func(t, v, way float64) float64 { return 1 + sine(hz, tt.size)(t) }}.run()))
			}
			t.Logf("%.0f %% either way, rows' meters alone %v: %d of 20", 100*tt.size, only, found)
			if float64(found) < 20*tt.least {
				t.Errorf("%.0f %%: %d of 20 found", 100*tt.size, found)
			}
		}
	}
}

func limited(limit float64) func(t, v, way float64) float64 {
	return func(t, v, way float64) float64 {
		if t < 1700 {
			return 1
		}
		return math.Min(1, limit/v)
	}
}

// Agronomy F55: flat above a speed. What is short of it by one part at every
// speed is the rate; where the speed never changes nobody can tell.
func TestPumpLimit(t *testing.T) {
	for _, only := range []bool{false, true} {
		w := poured{hours: 1.5, seed: 4, only: only, speed: varied, flow: limited(3.7)}
		f := one(t, w.run(), evenstand.KindPumpLimit, sixteen(), evenstand.CausePumpWorn)
		if d := (f.Since - t0).Seconds() - 1700; math.Abs(d) > 120 {
			t.Errorf("begins %.0f s after it did", d)
		}
		if x := float64(figure(t, f, "keeps up with").Value); math.Abs(x-3.7) > 0.05 {
			t.Errorf("keeps up with %.2f m/s", x)
		}
		// What is missing, by hand over the seconds of planting.
		missing := 0.0
		for s := 1700; s < int(w.hours*3600); s++ {
			if x := float64(s); math.Mod(x, 275) < 250 {
				missing += (1 - limited(3.7)(x, varied(x), 0)) * varied(x) * 0.762 * 16
			}
		}
		if h := f.Harm; len(h) != 1 || h[0].Kind != evenstand.MissedStarter || math.Abs(float64(h[0].Amount.Mid)/missing-1) > 0.1 {
			t.Errorf("harm %+v, want %.0f m2", h, missing)
		}
	}
	part := func(t, v, way float64) float64 {
		if t < 1700 {
			return 1
		}
		return 0.92
	}
	one(t, poured{hours: 1.5, seed: 5, speed: varied, flow: part}.run(), evenstand.KindLiquidRateOff, sixteen(), evenstand.CausePump)
	one(t, poured{hours: 1.5, seed: 6, flow: limited(3.7)}.run(), evenstand.KindLiquidRateOff, sixteen(), evenstand.CausePump)

	// The speed is steady at first: what was the rate is the pump once it varies.
	one(t, poured{hours: 1.5, seed: 7, speed: func(t float64) float64 {
		if t < 2800 {
			return fast
		}
		return varied(t)
	}, flow: limited(3.6)}.run(), evenstand.KindPumpLimit, sixteen(), evenstand.CausePumpWorn)
}

// It is the flow that a pump limits: by the targets of a map it shows at one
// speed too.
func TestPumpLimitByTarget(t *testing.T) {
	target := func(t float64) float64 { return 1 + 0.1*math.Sin(t/100) }
	f := one(t, poured{hours: 1.5, seed: 10, target: target, flow: func(t, v, way float64) float64 {
		return math.Min(1, 0.95*fast/(v*target(t-math.Mod(t, 60))))
	}}.run(), evenstand.KindPumpLimit, sixteen(), evenstand.CausePumpWorn)
	if x := f.Harm; len(x) != 1 || x[0].Amount.Mid <= 0 {
		t.Errorf("harm %+v", x)
	}
}

// A screen fills and is cleaned at the fill; a pump outlasts it.
func TestPumpOrStrainer(t *testing.T) {
	halt := func(t float64) bool { return t >= 4000 && t < 4500 }
	f := one(t, poured{hours: 2, seed: 8, speed: varied, halt: halt, flow: func(t, v, way float64) float64 {
		if t >= 4000 {
			return 1
		}
		return math.Min(1, math.Max(3.3, 4.6-math.Max(0, t-1000)/2000)/v)
	}}.run(), evenstand.KindPumpLimit, sixteen(), evenstand.CauseStrainer)
	if f.Until == nil || math.Abs((*f.Until-t0).Seconds()-4000) > 60 || f.Causes[0].Probability < 0.9 {
		t.Errorf("ends %v, %v", f.Until, f.Causes)
	}
	f = one(t, poured{hours: 2, seed: 9, speed: varied, halt: halt, flow: limited(3.7)}.run(), evenstand.KindPumpLimit, sixteen(), evenstand.CausePumpWorn)
	if f.Until != nil || f.Causes[0].Probability < 0.85 {
		t.Errorf("ends %v, %v", f.Until, f.Causes)
	}
}

// Power of pump-limit in ten minutes of planting that falls short now and then.
func TestPumpPower(t *testing.T) {
	if testing.Short() {
		t.Skip("whole days")
	}
	for _, tt := range []struct{ limit, least float64 }{{0.98, 0}, {0.95, 0.8}, {0.9, 1}} {
		found, other := 0, 0
		for seed := range uint64(20) {
			for _, f := range raised(poured{hours: 1.0, seed: 80 + seed, speed: func(t float64) float64 { return varied(t + 300*float64(seed)) }, flow: limited(tt.limit * fast)}.run()) {
				if f.Kind == evenstand.KindPumpLimit {
					found++
				} else {
					other++
				}
			}
		}
		t.Logf("keeps up to %.0f %% of the speed: %d of 20, %d of another kind", 100*tt.limit, found, other)
		if float64(found) < 20*tt.least || other > 0 {
			t.Errorf("%.0f %%: %d of 20 found, %d of another kind", 100*tt.limit, found, other)
		}
	}
}

package find_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"evenstand"
	"evenstand/core/find"
)

// tank feeds an engine with the flow of rows as methods, q, models it: a row a
// second, noise 5 % with a correlation of 0.5 from second to second, healthy
// rows 1.5 % apart. The machine's meter shows its rate beside it.
type tank struct {
	rows  int
	hours float64
	seed  uint64
	row   func(row int, t float64) float64 // factor on a row's flow
	whole func(t float64) (meter, true float64)
	off   func(row int, t float64) bool
	only  bool // the machine's rate alone is logged
	plain int  // rows 1 to plain get a liquid that is no starter
}

const (
	perM2 = 47e-7 // 47 L/ha in m3/m2
	fast  = 4.0   // m/s
)

func (w tank) run() []evenstand.Finding {
	cfg := config(w.rows)
	for r := range w.rows {
		cfg.Starter = append(cfg.Starter, r >= w.plain)
	}
	e := find.New(cfg)
	rnd := rand.New(rand.NewPCG(w.seed, 7))
	factor, noise := make([]float64, w.rows), make([]float64, w.rows)
	for r := range factor {
		factor[r] = 1 + 0.015*rnd.NormFloat64()
	}
	e.LiquidTarget(t0, perM2)
	down, way := false, 0.0
	for s := range int(w.hours * 3600) {
		t := float64(s)
		planting := math.Mod(t, 410) < 385
		if planting != down {
			down = planting
			if down {
				e.Lower(at(t))
			} else {
				e.Lift(at(t))
			}
		}
		if planting {
			way += fast
			meter, whole := 1.0, 1.0
			if w.whole != nil {
				meter, whole = w.whole(t)
			}
			e.LiquidRate(at(t), perM2*meter*(1+0.007*rnd.NormFloat64()))
			for r := range w.rows {
				noise[r] = 0.5*noise[r] + math.Sqrt(0.75)*rnd.NormFloat64()
				f := perM2 * fast * 0.762 * factor[r] * whole * (1 + 0.05*noise[r])
				if w.row != nil {
					f *= w.row(r+1, t)
				}
				if w.off != nil {
					on := !w.off(r+1, t)
					e.Enabled(r+1, on, at(t))
					if !on {
						f = 0
					}
				}
				if !w.only {
					e.Flow(r+1, at(t), f)
				}
			}
		}
		e.Tick(at(t+1), find.Bar{Planting: planting, Speed: fast, Way: way})
	}
	return e.Finish(at(w.hours * 3600))
}

func one(t *testing.T, fs []evenstand.Finding, kind string, rows evenstand.Rows, cause string) evenstand.Finding {
	t.Helper()
	fs = raised(fs)
	if len(fs) != 1 || fs[0].Kind != kind || !slices.Equal(fs[0].Rows, rows) {
		for _, f := range fs {
			t.Logf("%s rows %v since %v", f.Kind, f.Rows, f.Since-t0)
		}
		t.Fatalf("%d findings, want one of %s on rows %v", len(fs), kind, rows)
	}
	if got := fs[0].Causes[0].Cause; got != cause {
		t.Errorf("first cause %q, want %q", got, cause)
	}
	return fs[0]
}

func since(x float64) func(row int, t float64) float64 {
	return func(row int, t float64) float64 {
		if row == 5 && t >= 4000 {
			return x
		}
		return 1
	}
}

// methods, q: −10 % is found in 30 s (90 %: 40), and h 14 for a ten-hour day
// adds some; "Detectable" asks for it after 2 min.
func TestLiquidRow(t *testing.T) {
	for _, tt := range []struct {
		times float64
		kind  string
		cause string
	}{
		{0.9, evenstand.KindLiquidRowLow, evenstand.CauseOrificePlugged},
		{0.4, evenstand.KindLiquidRowLow, evenstand.CauseOrificePlugged},
		{0, evenstand.KindLiquidRowLow, evenstand.CauseOrificePlugged},
		{1.1, evenstand.KindLiquidRowHigh, evenstand.CauseLiquidHose},
	} {
		for seed := range uint64(4) {
			f := one(t, tank{rows: 16, hours: 2, seed: seed, row: since(tt.times)}.run(), tt.kind, evenstand.Rows{5}, tt.cause)
			if d := (f.Alarm - at(4000)).Seconds(); d < 0 || d > 120 {
				t.Errorf("times %g, seed %d: alarm after %.0f s, want within 120", tt.times, seed, d)
			}
			if d := math.Abs((f.Since - at(4000)).Seconds()); d > 30 {
				t.Errorf("times %g, seed %d: start is %.0f s off", tt.times, seed, d)
			}
			if e := f.Evidence[0]; tt.times > 0 && (float64(e.Low) > tt.times*1.05 || float64(e.High) < tt.times*0.95) {
				t.Errorf("times %g: said %v (%v to %v)", tt.times, e.Value, e.Low, e.High)
			}
			if low := tt.kind == evenstand.KindLiquidRowLow; low != (len(f.Harm) == 1) {
				t.Errorf("%s: harm %+v", tt.kind, f.Harm)
			}
		}
	}
}

// What takes no liquid while it lasts: F54 is there since set-up; rows that
// change together are one finding; a row switched off is none; trouble that is
// over ends.
func TestLiquidRows(t *testing.T) {
	fromStart := tank{rows: 16, hours: 1, row: func(row int, _ float64) float64 {
		if row == 9 {
			return 0.8
		}
		return 1
	}}
	one(t, fromStart.run(), evenstand.KindLiquidRowLow, evenstand.Rows{9}, evenstand.CauseOrificeSize)
	section := tank{rows: 16, hours: 2, row: func(row int, t float64) float64 {
		if row <= 4 && t >= 4000 {
			return 0.7
		}
		return 1
	}}
	one(t, section.run(), evenstand.KindLiquidRowLow, evenstand.Rows{1, 2, 3, 4}, evenstand.CauseOrificePlugged)
	off := tank{rows: 16, hours: 1, off: func(row int, t float64) bool { return row > 12 && math.Mod(t, 410) > 300 }}
	for _, f := range raised(off.run()) {
		if f.Kind != evenstand.KindRowLeftOff {
			t.Errorf("rows that were switched off: %s rows %v", f.Kind, f.Rows)
		}
	}
	over := tank{rows: 16, hours: 2, row: func(row int, t float64) float64 {
		if row == 2 && t >= 4000 && t < 5000 {
			return 0.6
		}
		return 1
	}}
	f := one(t, over.run(), evenstand.KindLiquidRowLow, evenstand.Rows{2}, evenstand.CauseOrificePlugged)
	if f.Until == nil || math.Abs((*f.Until-at(5000)).Seconds()) > 60 {
		t.Errorf("ends %v, want about %v", f.Until, at(5000))
	}
}

// "Detectable": the whole machine 4 % off for 5 min; which meter shows it
// tells the cause (F55, F57).
func TestLiquidRate(t *testing.T) {
	all := make(evenstand.Rows, 16)
	for i := range all {
		all[i] = i + 1
	}
	for _, tt := range []struct {
		name        string
		meter, true float64
		cause       string
	}{
		{"the pump does not keep up", 0.955, 0.955, evenstand.CausePump},
		{"the valve lets too much through", 1.06, 1.06, evenstand.CauseLiquidControl},
		{"the meter reads too little", 1, 1.045, evenstand.CauseFlowMeter},
	} {
		t.Run(tt.name, func(t *testing.T) {
			f := one(t, tank{rows: 16, hours: 2, whole: func(t float64) (float64, float64) {
				if t >= 4000 {
					return tt.meter, tt.true
				}
				return 1, 1
			}}.run(), evenstand.KindLiquidRateOff, all, tt.cause)
			if d := (f.Alarm - at(4000)).Seconds(); d < 0 || d > 330 {
				t.Errorf("alarm after %.0f s, want within 5 min and a stop", d)
			}
			if (len(f.Harm) == 1) != (tt.true < 1) {
				t.Errorf("harm %+v", f.Harm)
			}
		})
	}
	alone := tank{rows: 16, hours: 2, only: true, whole: func(t float64) (float64, float64) { return 0.93, 0.93 }}
	one(t, alone.run(), evenstand.KindLiquidRateOff, all, evenstand.CausePump)
}

// A nozzle that was plugged from the start and is cleaned after 50 minutes: the
// finding ends with it, and the row, which is right now, is not said to get too
// much.
func TestLiquidFromStartEnds(t *testing.T) {
	for _, x := range []float64{0.6, 1.5} {
		kind := evenstand.KindLiquidRowLow
		if x > 1 {
			kind = evenstand.KindLiquidRowHigh
		}
		f := one(t, tank{rows: 12, hours: 2, seed: 1, row: func(row int, t float64) float64 {
			if row == 5 && t < 3000 {
				return x
			}
			return 1
		}}.run(), kind, evenstand.Rows{5}, evenstand.CauseOrificeSize)
		if f.Until == nil || math.Abs((*f.Until-at(3000)).Seconds()) > 60 {
			t.Errorf("times %g: ends %v, want about %v", x, f.Until, at(3000))
		}
	}
	// What comes after it is measured from the row's new level.
	fs := raised(tank{rows: 12, hours: 2, seed: 1, row: func(row int, t float64) float64 {
		switch {
		case row != 5 || t >= 3000 && t < 5000:
			return 1
		case t < 3000:
			return 0.6
		}
		return 0.8
	}}.run())
	if len(fs) != 2 || fs[1].Kind != evenstand.KindLiquidRowLow || math.Abs((fs[1].Since-at(5000)).Seconds()) > 60 {
		show(t, fs)
		t.Errorf("want a second finding since %v", at(5000))
	}
}

// A plug that lets go for a minute: the ground is charged once, a row stands
// once in its finding, and the minute is not charged.
func TestLiquidAgainCountsOnce(t *testing.T) {
	plugged := func(gap float64, rows ...int) []evenstand.Finding {
		return tank{rows: 12, hours: 2, seed: 1, row: func(row int, t float64) float64 {
			open := row == rows[len(rows)-1] && t >= 5000 && t < 5000+gap
			if slices.Contains(rows, row) && t >= 4000 && t < 6000 && !open {
				return 0.4
			}
			return 1
		}}.run()
	}
	area := func(fs []evenstand.Finding, rows ...int) float64 {
		t.Helper()
		f := one(t, fs, evenstand.KindLiquidRowLow, rows, evenstand.CauseOrificePlugged)
		if len(f.Harm) != 1 {
			t.Fatalf("harm %+v", f.Harm)
		}
		return float64(f.Harm[0].Area)
	}
	const minute = 60 * fast * 0.762 // m2 of a row
	whole := area(plugged(0, 5), 5)
	if got := area(plugged(60, 5), 5); math.Abs(got-(whole-minute)) > minute/2 {
		t.Errorf("%.0f m2 with a minute's gap, want %.0f", got, whole-minute)
	}
	if got := area(plugged(60, 5, 7), 5, 7); math.Abs(got-(2*whole-minute)) > minute/2 {
		t.Errorf("%.0f m2 of two rows of which one had a gap, want %.0f", got, 2*whole-minute)
	}
}

// The starter that a whole machine lacks is charged on the rows that have one.
func TestLiquidRateStarterByRow(t *testing.T) {
	harm := func(plain int) []evenstand.Harm {
		fs := tank{rows: 12, hours: 2, plain: plain, whole: func(t float64) (float64, float64) {
			if t >= 4000 {
				return 0.93, 0.93
			}
			return 1, 1
		}}.run()
		for _, f := range raised(fs) {
			if f.Kind == evenstand.KindLiquidRateOff {
				return f.Harm
			}
		}
		t.Fatal("not found")
		return nil
	}
	all, half := harm(0), harm(6)
	if len(all) != 1 || len(half) != 1 {
		t.Fatalf("harm %+v and %+v", all, half)
	}
	if x := float64(half[0].Area / all[0].Area); math.Abs(x-0.5) > 1e-6 {
		t.Errorf("half of the rows have a starter and are charged %.3f of the ground", x)
	}
	if none := harm(12); len(none) != 0 {
		t.Errorf("no starter, but %+v", none)
	}
}

func TestLiquidCalm(t *testing.T) {
	days := uint64(2)
	if *long {
		days = 40
	}
	for seed := range days {
		for _, f := range raised(tank{rows: 16, hours: 10, seed: 100 + seed}.run()) {
			t.Errorf("day %d: %s rows %v since %v", seed, f.Kind, f.Rows, f.Since-t0)
		}
	}
}

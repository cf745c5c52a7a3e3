package effect_test

import (
	"math/rand/v2"
	"strings"
	"testing"

	"evenstand"
	"evenstand/core/advise"
	"evenstand/core/measure/group"
	"evenstand/core/try"
	"evenstand/core/try/effect"
)

// One hand movement that two boxes log, or that shows in what the lever drives, is
// one intervention and is told.
func TestOneHand(t *testing.T) {
	w := world{rows: 24, passes: 10, steps: 40, path: 1, rho: 0.95, row: 0.6, rowRho: 0.5, effect: -0.4}
	p := w.panel(rand.New(rand.NewPCG(7001, 1)), func(step, row int) bool { return step >= 200 && row <= 8 })
	at := w.time(200)
	half := evenstand.Rows{1, 2, 3, 4, 5, 6, 7, 8}
	change := func(lever string, rows evenstand.Rows, late evenstand.Micros, note int64, source string) try.Change {
		return try.Change{Lever: lever, T: at + late, Early: at + late, Late: at + late, Rows: rows, From: 100, To: 120, Note: note, Source: source}
	}
	for _, tt := range []struct {
		name string
		all  []try.Change
		kept string
		says string
	}{
		{"two boxes", []try.Change{change("gauge_wheel_load_target", half, 0, 0, "a"), change("gauge_wheel_load_target", half, second, 0, "b")}, "gauge_wheel_load_target", ""},
		{"fan and vacuum", []try.Change{change("fan_speed", nil, 0, 0, "a"), change("vacuum", nil, 9*second, 0, "a")}, "vacuum", ", and fan speed with it: "},
		{"a note of the fan", []try.Change{change("fan_speed", nil, 0, 3, "a"), change("vacuum", nil, 9*second, 0, "a")}, "fan_speed", ", and vacuum with it: "},
		{"target and force", []try.Change{change("gauge_wheel_load_target", half, 0, 0, "a"), change("applied_force", half[1:], 5*second, 0, "a")}, "gauge_wheel_load_target", " with it: "},
		{"mode and force", []try.Change{change(try.ForceMode, half, 0, 2, ""), change("applied_force", half, 5*second, 0, "a")}, try.ForceMode, " with it: "},
	} {
		told := 0
		for _, f := range effect.NewDay(p, tt.all).Effects() {
			switch {
			case f.Change.Lever == tt.kept:
				if told++; f.Why != effect.None {
					t.Errorf("%s: %d", tt.name, f.Why)
				}
				if say := effect.Say([]effect.Found{f}, advise.Voice{}); !strings.Contains(say, tt.says) {
					t.Errorf("%s: %s", tt.name, say)
				}
			case f.Why != effect.Drives || len(f.With) != 1 || f.With[0].Lever != tt.kept:
				t.Errorf("%s: %+v", tt.name, f)
			}
		}
		if told != 1 {
			t.Errorf("%s: told %d times", tt.name, told)
		}
	}
	// Other rows than those of the lever: two interventions.
	all := []try.Change{change("gauge_wheel_load_target", half, 0, 0, "a"), change("applied_force", nil, 5*second, 0, "a")}
	for _, f := range effect.NewDay(p, all).Effects() {
		if f.Why != effect.Mixed {
			t.Errorf("%s: %d", f.Change.Lever, f.Why)
		}
	}
}

// Turns weigh on the ends of the bar: a change after the headland, on half of the
// rows, is not told by it.
func TestHeadland(t *testing.T) {
	m, _ := group.ByID("load")
	called, n := 0, 0
	for seed := range 60 {
		rnd := rand.New(rand.NewPCG(uint64(seed), 3))
		p := try.NewPanel("p", "2026-05-02", 12, 0.762, []group.Measure{m})
		for pass := range 30 {
			var ss []evenstand.Stretch
			for k := range 40 {
				for r := range 12 {
					s := evenstand.Stretch{Pass: int32(pass), Row: int16(r + 1), K: int32(k), T: evenstand.Micros(pass*300+k*7) * second, Way: 15, Grade: evenstand.GradeA}
					v := 0.6 * rnd.NormFloat64()
					if pass >= 2 && pass < 5 {
						v += 0.1 * float64(r)
					}
					s.Load.Add(v)
					ss = append(ss, s)
				}
			}
			p.Add(&evenstand.Pass{Index: int32(pass), Start: evenstand.Micros(pass*300) * second, Field: "n", Headland: pass >= 2 && pass < 5}, ss)
		}
		for _, pass := range []int{2, 5} {
			at := evenstand.Micros(pass*300-10) * second
			c := try.Change{Lever: "vacuum", T: at, Early: at, Late: at, From: 1, To: 2, Rows: evenstand.Rows{1, 2, 3, 4, 5, 6}}
			if f := effect.Of(p, &c, []try.Change{c})[0]; f.Why == effect.None {
				if n++; f.Low > 0 || f.High < 0 {
					called++
				}
			}
		}
	}
	if n != 120 || called > 24 {
		t.Errorf("called %d of %d", called, n)
	}
}

// A row that breaks is no effect of the setting: it is left out, by what is known of
// it or by how far it is from the others.
func TestRowThatBreaks(t *testing.T) {
	w := world{rows: 16, passes: 20, steps: 40, path: 1, rho: 0.95, row: 0.6, rowRho: 0.5, effect: 20}
	at := w.time(400)
	for _, tt := range []struct {
		name    string
		changed int
		broken  int
		known   bool
	}{{"of three changed", 3, 3, false}, {"of two changed, known", 2, 2, true}, {"of eight changed", 8, 3, false}, {"of those that were not", 8, 12, false}, {"of three, known", 3, 12, true}} {
		called, out := 0, 0
		const days = 60
		for seed := range days {
			p := w.panel(rand.New(rand.NewPCG(uint64(seed), 5)), func(step, row int) bool { return row == tt.broken && step >= 410 })
			c := try.Change{Lever: "x", T: at, Early: at, Late: at, From: 1, To: 2, Rows: upTo(tt.changed)}
			var known []effect.Trouble
			if tt.known {
				known = []effect.Trouble{{Row: tt.broken, From: w.time(410), To: w.time(800)}}
			}
			f := effect.NewDay(p, []try.Change{c}, known...).Effects()[0]
			if f.Why == effect.None && (f.Low > 0 || f.High < 0) {
				called++
			}
			if len(f.Out) == 1 && f.Out[0] == tt.broken {
				out++
			}
		}
		if called > days/5 || out < days*9/10 {
			t.Errorf("%s: called %d, left out %d of %d", tt.name, called, out, days)
		}
	}
	f := effect.Found{Effect: try.Effect{Change: try.Change{Lever: "vacuum"}, Measure: "load", Value: 1, SE: 1, DF: 9, Low: -1, High: 1}, Out: evenstand.Rows{3}}
	if say := effect.Say([]effect.Found{f}, advise.Voice{}); !strings.HasSuffix(say, " Row 3 left out: something else was wrong with it.") {
		t.Error(say)
	}
}

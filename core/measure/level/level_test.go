package level_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"evenstand"
	"evenstand/core/measure/level"
)

const second = evenstand.Second

func same(t evenstand.Micros) evenstand.Micros { return t }

// day gives passes of four minutes with turns of forty seconds between.
func day(hours float64) (work []level.Span) {
	for t := evenstand.Micros(0); t.Seconds() < hours*3600; t += 280 * second {
		work = append(work, level.Span{From: t, To: t + 240*second})
	}
	return work
}

// logged is a level once a second, while the planter works or always.
func logged(hours, noise, wander float64, always bool, of func(t float64) float64) *level.Log {
	g := rand.New(rand.NewPCG(7, 1))
	l := &level.Log{}
	ou := 0.0
	for i := range int(hours * 3600) {
		ou += (-ou)/30 + wander*math.Sqrt(2.0/30)*g.NormFloat64()
		if !always && i%280 >= 240 {
			continue
		}
		l.Add(evenstand.Micros(i)*second, of(float64(i))+ou+noise*g.NormFloat64())
	}
	return l
}

func TestSteps(t *testing.T) {
	psi := 6894.757
	cleaner, _ := level.RuleOf(evenstand.CleanerPressure)
	vacuum, _ := level.RuleOf(evenstand.Vacuum)
	force, _ := level.RuleOf(evenstand.AppliedForce)
	at := func(times []float64, levels []float64) func(float64) float64 {
		return func(t float64) float64 {
			v := levels[0]
			for i, x := range times {
				if t >= x {
					v = levels[i+1]
				}
			}
			return v
		}
	}
	for _, x := range []struct {
		name   string
		rule   level.Rule
		log    *level.Log
		steps  []float64 // s
		within float64
	}{
		{"none", cleaner, logged(8, 1e3, 0, false, func(float64) float64 { return 20 * psi }), nil, 0},
		{"two", cleaner, logged(8, 1e3, 0, false, at([]float64{4000, 9000}, []float64{20 * psi, 24 * psi, 20 * psi})), []float64{4000, 9000}, 10},
		{"in a turn", cleaner, logged(8, 1e3, 0, false, at([]float64{2780}, []float64{20 * psi, 24 * psi})), []float64{2780}, 40},
		{"in a turn, logged always", cleaner, logged(8, 1e3, 0, true, at([]float64{2780}, []float64{20 * psi, 24 * psi})), []float64{2780}, 10},
		{"back and forth by pass", cleaner, logged(8, 1e3, 0, false, at([]float64{2780, 3060, 3340}, []float64{20 * psi, 24 * psi, 20 * psi, 24 * psi})), []float64{2780, 3060, 3340}, 40},
		{"too short", cleaner, logged(8, 1e3, 0, false, at([]float64{4000, 4040}, []float64{20 * psi, 24 * psi, 20 * psi})), nil, 0},
		{"too little", cleaner, logged(8, 1e3, 0, false, at([]float64{4000}, []float64{20 * psi, 20.8 * psi})), nil, 0},
		{"a ramp", cleaner, logged(8, 1e3, 0, false, func(t float64) float64 { return 20*psi + t }), nil, 0},
		{"wanders", vacuum, logged(10, 30, 80, true, func(float64) float64 { return 5000 }), nil, 0},
		{"wanders, and is set", vacuum, logged(10, 30, 80, true, at([]float64{9000}, []float64{5000, 4300})), []float64{9000}, 30},
		{"the fan stops", vacuum, logged(10, 30, 80, true, at([]float64{9000, 9300}, []float64{5000, 0, 5000})), nil, 0},
		{"leaks slowly", vacuum, logged(10, 30, 80, true, func(t float64) float64 { return 5000 - 1500*math.Max(0, math.Min(1, (t-9000)/1200)) }), nil, 0},
		{"fixed force", force, logged(8, 1, 0, false, at([]float64{9000}, []float64{600, 800})), []float64{9000}, 10},
		{"automatic force", force, logged(8, 10, 150, false, func(t float64) float64 { return 900 + 200*math.Sin(t/300) }), nil, 0},
	} {
		t.Run(x.name, func(t *testing.T) {
			got := x.log.Steps(x.rule, day(10), same)
			if len(got) != len(x.steps) {
				t.Fatalf("%d steps, want %d: %+v", len(got), len(x.steps), got)
			}
			for i, s := range got {
				if d := math.Abs(s.T.Seconds() - x.steps[i]); d > x.within || s.Early > s.T || s.T > s.Late || s.Early.Seconds() > x.steps[i]+5 || s.Late.Seconds() < x.steps[i]-5 {
					t.Errorf("step %d at %.0f s (%.0f to %.0f), want %.0f", i, s.T.Seconds(), s.Early.Seconds(), s.Late.Seconds(), x.steps[i])
				}
			}
		})
	}
}

// Speed is a setting where a whole pass and more was driven at another one.
func TestPasses(t *testing.T) {
	r, _ := level.RuleOf(evenstand.GroundSpeed)
	drive := func(of func(pass int, t float64) float64) *level.Log {
		g := rand.New(rand.NewPCG(7, 2))
		l := &level.Log{}
		ou := 0.0
		for i := range 8 * 3600 {
			ou += -ou/12 + 0.12*math.Sqrt(2.0/12)*g.NormFloat64()
			v := of(i/280, float64(i)) + ou
			if i%280 >= 240 {
				v = 1.8
			}
			l.Add(evenstand.Micros(i)*second, v)
		}
		return l
	}
	for _, x := range []struct {
		name  string
		log   *level.Log
		steps []float64
	}{
		{"steady", drive(func(int, float64) float64 { return 4 }), nil},
		{"slower from a time on", drive(func(_ int, t float64) float64 {
			if t >= 9000 {
				return 3.3
			}
			return 4
		}), []float64{9000}},
		{"one pass slower", drive(func(p int, _ float64) float64 {
			if p == 30 {
				return 3.3
			}
			return 4
		}), []float64{8400, 8680}},
		{"halts", drive(func(p int, t float64) float64 {
			if int(t)%280 > 100 && int(t)%280 < 130 {
				return 0
			}
			return 4
		}), nil},
		{"rough half of a pass", drive(func(p int, t float64) float64 {
			if p%3 == 0 && int(t)%280 > 200 {
				return 3.2
			}
			return 4
		}), nil},
	} {
		t.Run(x.name, func(t *testing.T) {
			got := x.log.Passes(r, day(10), same)
			if len(got) != len(x.steps) {
				t.Fatalf("%d steps, want %d: %+v", len(got), len(x.steps), got)
			}
			for i, s := range got {
				if math.Abs(s.T.Seconds()-x.steps[i]) > 45 || math.Abs(math.Abs(s.To-s.Was)-0.7) > 0.1 {
					t.Errorf("%+v, want %.0f", s, x.steps[i])
				}
			}
		})
	}
}

// Too little is told nothing of.
func TestShortLogs(t *testing.T) {
	r, _ := level.RuleOf(evenstand.CleanerPressure)
	l := &level.Log{}
	if got := l.Steps(r, day(1), same); got != nil {
		t.Error(got)
	}
	l.Add(5, math.NaN())
	l.Add(10*second, 1)
	l.Add(3*second, 1)
	if got := append(l.Steps(r, day(1), same), l.Passes(r, nil, same)...); got != nil || l.Len() != 1 {
		t.Error(got, l.Len())
	}
	if _, ok := level.RuleOf(evenstand.SeedCount); ok {
		t.Error("a count of seeds is a level")
	}
}

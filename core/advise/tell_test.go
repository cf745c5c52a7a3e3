package advise

import (
	"math"
	"strings"
	"testing"

	"evenstand"
)

func TestTell(t *testing.T) {
	nan := math.NaN()
	h := func(q evenstand.Quantity, s evenstand.Scope, step, average float64) evenstand.Holding {
		return evenstand.Holding{Quantity: q, Scope: s, Parts: 1, N: 1000, Step: step, Average: average}
	}
	row, machine := evenstand.ScopeRow, evenstand.ScopeMachine
	for _, tt := range []struct {
		name  string
		log   Log
		says  []string
		never []string
	}{
		{"seed times", Log{Seeds: 100}, []string{"every seed"}, []string{"cannot", "switch"}},
		{
			"a row a second, averaged",
			Log{Holds: []evenstand.Holding{h(evenstand.SeedCount, row, 1, nan), h(evenstand.SkipFraction, row, 1, 5)}},
			[]string{"which row skips, doubles, stops or is left off", "cannot tell single cells", "means over about 5 s", "seed by seed", "averaging to the shortest"},
			[]string{"Let it log the seeds"},
		},
		{
			"percentages alone",
			Log{Holds: []evenstand.Holding{h(evenstand.SkipFraction, row, 1, 0)}},
			[]string{"Let it log the seeds of each row too"},
			[]string{"means over"},
		},
		{
			"a row every ten seconds",
			Log{Holds: []evenstand.Holding{h(evenstand.SkipFraction, row, 10, 0)}},
			[]string{"badly over a long stretch", "every 10 s", "once a second"},
			[]string{"single cells"},
		},
		{
			"by section",
			Log{Holds: []evenstand.Holding{h(evenstand.SeedRate, evenstand.ScopeSection, 1, nan)}},
			[]string{"each section", "cannot tell which row", "log by row"},
			nil,
		},
		{
			"down force",
			Log{Holds: []evenstand.Holding{h(evenstand.AppliedForce, machine, 1, nan)}},
			[]string{"which force was applied", "whether the wheels stayed on the ground"},
			nil,
		},
		{"flow by row", Log{Holds: []evenstand.Holding{h(evenstand.LiquidFlow, row, 1, nan)}}, []string{"the liquid of each row"}, []string{"cannot"}},
		{
			"liquid rates by row, no flow",
			Log{Holds: []evenstand.Holding{h(evenstand.LiquidRate, machine, 1, nan), h(evenstand.LiquidRate, row, 1, nan)}},
			[]string{"the liquid rate of the whole planter", "cannot tell whether single rows get less liquid"},
			[]string{"the liquid of each row"},
		},
		{"liquid by section", Log{Holds: []evenstand.Holding{h(evenstand.LiquidRate, evenstand.ScopeSection, 1, nan)}}, []string{"cannot tell whether single rows get less liquid"}, []string{"the liquid of each section"}},
		{"liquid by tank", Log{Holds: []evenstand.Holding{h(evenstand.LiquidRate, evenstand.ScopeTank, 1, nan)}}, []string{"the liquid rate of the whole planter"}, nil},
		{"a place a second", Log{Fixes: 100, FixStep: 1}, []string{"where everything was, once a second", "five places a second"}, nil},
		{"five places a second", Log{Fixes: 100, FixStep: 0.2}, []string{"where everything was."}, []string{"receiver's output"}},
		{"nothing", Log{Holds: []evenstand.Holding{h(evenstand.Raw, machine, 1, nan)}}, []string{"cannot tell anything"}, nil},
	} {
		line := Tell(tt.log).Line()
		for _, s := range tt.says {
			if !strings.Contains(line, s) {
				t.Errorf("%s: want %q in %q", tt.name, s, line)
			}
		}
		for _, s := range tt.never {
			if strings.Contains(line, s) {
				t.Errorf("%s: %q in %q", tt.name, s, line)
			}
		}
	}
}

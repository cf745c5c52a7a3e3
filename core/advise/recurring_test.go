package advise_test

import (
	"strings"
	"testing"

	"evenstand"
	"evenstand/core/advise"
)

func TestTurnsAndUpsets(t *testing.T) {
	end := at(15, 5)
	upsets := []evenstand.Evidence{ev("times it came", 7, ""), ev("planting time between", 246, "s"), ev("seeds missed each time", 61, "")}
	for _, tt := range []struct {
		name string
		v    advise.Voice
		f    evenstand.Finding
		want string
		do   string // in the advice
		say  string // in what cannot be said
	}{
		{
			"what comes back", us,
			evenstand.Finding{Kind: "recurring-upset", Rows: evenstand.Rows{6}, Since: at(9, 40), Causes: causes(evenstand.CauseLoose, 0.7), Evidence: upsets},
			"Row 6 keeps having passing trouble since 9:40 am, 7 times, every 4.1 min of planting or so, some 61 seeds each: likely a loose part of the row (2 to 1).",
			"shake the row's tube", "swap its sensor",
		},
		{
			"what came back", metric,
			evenstand.Finding{Kind: "recurring-upset", Rows: evenstand.Rows{6}, Since: at(14, 40), Until: &end, Evidence: upsets},
			"Row 6 kept having passing trouble from 14:40 to 15:05, 7 times, every 4.1 min of planting or so, some 61 seeds each.",
			"At the next stop shake", "swap its sensor",
		},
		{
			"no compensation", us,
			evenstand.Finding{
				Kind: "turn-rate", Rows: evenstand.Rows{1, 2, 3, 4}, Since: at(9, 40), Causes: causes(evenstand.CauseTurnOff, 0.92),
				Evidence: []evenstand.Evidence{ev("share of the curve's error that is left", 0.98, ""), ev("too thick inside", 1.026, ""), ev("too thin outside", 0.975, "")},
			},
			"On curves the inner rows plant too thick and the outer ones too thin since 9:40 am, by 2.6% and 2.5% on average: almost certainly no turn compensation (12 to 1).",
			"turn compensation on", "what the ground holds on the curves",
		},
		{
			"the rows reversed", us,
			evenstand.Finding{
				Kind: "turn-rate", Rows: evenstand.Rows{1, 2, 3, 4}, Since: at(9, 40), Causes: causes(evenstand.CauseRowOrder, 0.56),
				Evidence: []evenstand.Evidence{ev("share of the curve's error that is left", 1.97, "")},
			},
			"On curves the inner rows plant too thick and the outer ones too thin since 9:40 am: perhaps the row order or offsets in the box, reversed.",
			"order of the rows", "whether the box or the planter card",
		},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if got := advise.Sentence(&tt.f, tt.v); got != tt.want {
				t.Errorf("got  %s\nwant %s", got, tt.want)
			}
			advise.Fill(&tt.f, tt.v)
			if !strings.Contains(tt.f.Advice.Do, tt.do) {
				t.Errorf("advice %q lacks %q", tt.f.Advice.Do, tt.do)
			}
			if got := strings.Join(tt.f.Say, " "); !strings.Contains(got, tt.say) {
				t.Errorf("%q lacks %q", got, tt.say)
			}
			if row := len(tt.f.Rows) == 1; row != (len(tt.f.Advice.Cautions) > 0) {
				t.Errorf("cautions %q", tt.f.Advice.Cautions)
			}
		})
	}
}

package advise_test

import (
	"strings"
	"testing"

	"evenstand"
	"evenstand/core/advise"
)

func TestClockSentence(t *testing.T) {
	one := evenstand.Evidence{Name: "clock of planter controller", Value: -3.26, Unit: "s"}
	two := evenstand.Evidence{Name: "clock of seed monitor", Value: -18000, Unit: "s"}
	wrong := []evenstand.Evidence{{Name: "clock of seed monitor", Value: 3608, Unit: "s"}, {Name: "said of the clock of seed monitor", Value: 3600, Unit: "s"}}
	for _, tt := range []struct {
		ev   []evenstand.Evidence
		want string
	}{
		{[]evenstand.Evidence{one}, "The clock of the planter controller is 3.3 s slow, and nobody said so; its times are put right here"},
		{wrong, "The clock of the seed monitor is 1 h 00 min 08 s fast instead of 1 h 00 min 00 s fast, which is what was said of it and is used; findings by this box may be wrong"},
		{append([]evenstand.Evidence{one}, wrong...), "The clocks of some boxes are off: the planter controller 3.3 s slow, which nobody said and is put right here; the seed monitor 1 h 00 min 08 s fast instead of 1 h 00 min 00 s fast, which is what was said and is used; findings by that box may be wrong"},
		{[]evenstand.Evidence{one, two}, "The clocks of some boxes are off, and nobody said so: the planter controller 3.3 s slow and the seed monitor 5 h 00 min slow; their times are put right here"},
	} {
		f := evenstand.Finding{Kind: evenstand.KindClockOff, Stage: evenstand.Raised, Evidence: tt.ev, Causes: []evenstand.Cause{{Cause: evenstand.CauseClock, Probability: 0.97}}}
		advise.Fill(&f, advise.Voice{})
		if !strings.HasPrefix(f.Sentence, tt.want+": ") {
			t.Errorf("sentence %q, want %q", f.Sentence, tt.want)
		}
		if f.When != evenstand.Tonight || !strings.Contains(f.Advice.Do, "breakfast") || len(f.Advice.Cautions) > 0 {
			t.Errorf("when %s, advice %q with cautions %q: want a word for breakfast", f.When, f.Advice.Do, f.Advice.Cautions)
		}
	}
}

// By hand: 18,000 s are five hours, 5,400 s ninety minutes, 3,608 s an hour and
// eight seconds.
func TestOffset(t *testing.T) {
	for _, c := range []struct {
		off      float64
		decimals int
		want     string
	}{
		{0.004, 2, "right"},
		{-1.5, 2, "1.50 s slow"},
		{3.26, 1, "3.3 s fast"},
		{-18000, 2, "5 h 00 min 00 s slow"},
		{3608, 2, "1 h 00 min 08 s fast"},
		{3599.7, 2, "1 h 00 min 00 s fast"},
		{700, 1, "12 min fast"},
		{5400, 1, "1 h 30 min fast"},
	} {
		if got := advise.Offset(c.off, c.decimals); got != c.want {
			t.Errorf("%g s: %q, want %q", c.off, got, c.want)
		}
	}
}

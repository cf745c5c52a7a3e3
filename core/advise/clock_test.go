package advise_test

import (
	"strings"
	"testing"

	"evenstand"
	"evenstand/core/advise"
)

func TestClockSentence(t *testing.T) {
	box := func(name string, off float64) evenstand.Evidence {
		return evenstand.Evidence{Name: name, Value: evenstand.Number(off), Unit: "s"}
	}
	one, two := box("clock of planter controller", -3.26), box("clock of seed monitor", -18003.98)
	wrong := []evenstand.Evidence{box("clock of row monitor", 2.5), box("said of the clock of row monitor", 0)}
	over := []evenstand.Evidence{box("clock of fan", 0.04), box("said, and not used, of the clock of fan", 3600)}
	off := []evenstand.Evidence{box("clock of a", 3600.1), box("said, and not used, of the clock of a", 0), box("clock of b", 3604), box("said, and not used, of the clock of b", 4)}
	set := []evenstand.Evidence{one, box("settings of the clock of planter controller", 1)}
	join := func(parts ...[]evenstand.Evidence) (all []evenstand.Evidence) {
		for _, p := range parts {
			all = append(all, p...)
		}
		return all
	}
	for _, tt := range []struct {
		ev   []evenstand.Evidence
		when evenstand.When
		want string
		do   string
	}{
		{[]evenstand.Evidence{one}, evenstand.Tonight, "The clock of the planter controller is 3.3 s slow, and nobody said so; its times are put right here", "Of the planter controller it was clock_offset_s = -3.26."},
		{[]evenstand.Evidence{one, two}, evenstand.Tonight, "The clocks of some boxes are off: the planter controller 3.3 s slow and the seed monitor 5 h 00 min slow, and nobody said so; their times are put right here", "and of the seed monitor it was clock_offset_s = -18003.98."},
		{set, evenstand.Tonight, "The clock of the planter controller is 3.3 s slow", "The clock of the planter controller was set during the day, so no one offset is right for it."},
		{wrong, evenstand.Now, "The clock of the row monitor is 2.50 s fast instead of right, as was said of it and is used, so findings that rest on its times may be wrong", "clock_offset_s = 2.50."},
		{over, evenstand.Tonight, "The clock of the fan is 0.04 s fast instead of 1 h 00 min 00 s fast, as was said of it; the log is believed, and its times are put right here", "clock_offset_s = 0.04."},
		{off, evenstand.Tonight, "The clocks of some boxes are off: the a 1 h 00 min 00 s fast instead of right and the b 1 h 00 min 04 s fast instead of 4.00 s fast, as was said of them; the logs are believed, and their times are put right here; all are off by as much, so it may be the receiver's clock that is wrong", "clock_offset_s"},
		{join([]evenstand.Evidence{one}, wrong, over), evenstand.Now, "The clock of the row monitor is 2.50 s fast instead of right, as was said of it and is used, so findings that rest on its times may be wrong; the clock of the fan is 0.04 s fast instead of 1 h 00 min 00 s fast, as was said of it; the log is believed, and its times are put right here; the clock of the planter controller is 3.3 s slow, and nobody said so; its times are put right here", "clock_offset_s"},
	} {
		cause := evenstand.CauseClock
		if len(tt.ev) > 2 || len(tt.ev) == 2 && tt.ev[1].Name != two.Name {
			cause = evenstand.CauseClockSaid
		}
		f := evenstand.Finding{Kind: evenstand.KindClockOff, Stage: evenstand.Raised, Evidence: tt.ev, Causes: []evenstand.Cause{{Cause: cause, Probability: 0.97}}}
		advise.Fill(&f, advise.Voice{})
		if !strings.HasPrefix(f.Sentence, tt.want) {
			t.Errorf("sentence %q, want %q", f.Sentence, tt.want)
		}
		if f.When != tt.when || !strings.Contains(f.Advice.Do, tt.do) || len(f.Advice.Cautions) > 0 {
			t.Errorf("%q: when %s, advice %q with cautions %q: want %s and %q", f.Sentence, f.When, f.Advice.Do, f.Advice.Cautions, tt.when, tt.do)
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

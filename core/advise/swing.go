package advise

import (
	"math"

	"evenstand"
)

// swings says that force or liquid swings about what it is to be.
func (v Voice) swings(f *evenstand.Finding, since string) string {
	every := ""
	if t, ok := Figure(f, "a swing takes"); ok {
		every = " every " + Digits(t) + " s"
	}
	if f.Kind == evenstand.KindForceHunting {
		who := "The force of " + lower(Rows(f.Rows))
		for _, e := range f.Evidence {
			if e.Name == "rows that swing" && 2*e.Value > e.N && e.N > 2 {
				who = "The force of all rows"
			}
		}
		s := who + verb(f, " swings", " swings", " swung")
		if x, ok := Figure(f, "force swings either way by"); ok {
			s += " by " + v.Load(x) + " either way"
		}
		return s + every + since
	}
	s := "Liquid swings"
	if f.Until != nil {
		s = "Liquid swung"
	}
	if x, ok := Figure(f, "liquid swings either way by"); ok {
		s += " by " + v.Percent(x) + " either way"
	}
	s += every + since
	if x, ok := Figure(f, "from thick to thick"); ok {
		s += ", in strips of " + v.Length(x)
	}
	if x, ok := Figure(f, "liquid over its target"); ok && math.Abs(x-1) < 0.02 {
		s += "; its mean " + verb(f, "is", "is", "was") + " right"
	}
	return s
}

// pumpLimit says up to which speed the liquid keeps up.
func (v Voice) pumpLimit(f *evenstand.Finding, since string) string {
	does, than := "keeps up", " only to "
	if f.Until != nil {
		does = "kept up"
	}
	s := "The liquid " + does
	if x, ok := Figure(f, "keeps up with"); ok {
		s += than + v.Speed(x)
	} else {
		s += " to some speed only"
	}
	s += since
	if was, ok := Figure(f, "kept up at first with"); ok {
		s += ", at first to " + v.Speed(was)
	}
	if x, ok := Figure(f, "liquid over its target above that"); ok && x < 1 {
		s += ", and " + verb(f, "is", "is", "was") + " " + v.Percent(1-x) + " short above it"
	}
	return s
}

// swingSay lists what cannot be said of a swing or a limit.
func swingSay(f *evenstand.Finding, say func(what, why, check string)) {
	switch f.Kind {
	case evenstand.KindForceHunting:
		if x, ok := Figure(f, "readings a second"); ok && x < 2.5 {
			say("how fast it truly swings", "the log has "+Digits(math.Round(x))+" reading a second, which shows swings under "+Digits(x/2)+" a second only and faster ones as slow ones", "switch the force's log to five readings a second")
		}
		if _, ok := Figure(f, "of the swing that the load makes at once"); !ok {
			say("whether the force swings by itself or follows the ground", "no load on the gauge wheels is logged", "set the row to one force for a pass, and look whether the ground still rocks it")
		}
		say("how deep the seed lies where the force is low", "no depth is logged", "dig ten seeds along a few steps of the row, and compare their depth")
	case evenstand.KindFlowHunting:
		if _, ok := Figure(f, "its pace goes with the speed"); !ok {
			say("whether it keeps to the time or to the distance", "the speed hardly changed", "drive two passes a quarter slower: the same seconds are the valve, the same distance is the pump's drive")
		}
		say("what the strips get", "the meters smooth what they log", "look for stripes of that length in the young crop")
	case evenstand.KindPumpLimit:
		if f.Until == nil {
			say("whether the strainer or the pump is at its end", "the log knows the flow alone", "clean the strainer at the next stop: a flow that is right again was the strainer, one that is not is the pump")
		}
	}
}

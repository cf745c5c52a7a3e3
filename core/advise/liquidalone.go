package advise

import "evenstand"

// alone says that liquid ran by itself, or seed did.
func (v Voice) alone(f *evenstand.Finding, since string) string {
	figure := func(name string) float64 {
		x, _ := Figure(f, name)
		return x
	}
	times := func(name, one, many string) string {
		if n := figure(name); n >= 1.5 {
			return " at " + Digits(n) + " " + many
		}
		return " at one " + one
	}
	switch f.Kind {
	case evenstand.KindSeedWithoutLiquid:
		s := "Seed falls and no liquid runs" + since
		if f.Until != nil {
			s = "Seed fell and no liquid ran" + since
		}
		return s + ", " + Span(figure("planted without liquid")) + " of planting"
	case evenstand.KindPuddle:
		return v.Volume(figure("ran while the planter stood")) + " of liquid ran out while the planter stood," + times("at stops", "stop", "stops") + since
	}
	return v.Volume(figure("ran while the planter was lifted")) + " of liquid ran out while the planter was lifted," + times("at turns", "turn", "turns") + since
}

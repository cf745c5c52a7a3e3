package score

import (
	"evenstand"
	"evenstand/sim"
)

// work counts the time in which the planter was at work. Where it stood for
// more than standing between two passes, nothing was planted that could tell
// on which side of the halt a fault began, so the halt is no error of a start.
type work []halt

type halt struct{ from, to evenstand.Micros }

// standing is the longest turn or short stop that still counts as work.
const standing = 120 * evenstand.Second

func workOf(passes []sim.PassTruth) (w work) {
	for i := 1; i < len(passes); i++ {
		if h := (halt{passes[i-1].End, passes[i].Start}); h.to-h.from > standing {
			w = append(w, h)
		}
	}
	return w
}

// between is the time at work between two instants, without sign.
func (w work) between(a, b evenstand.Micros) evenstand.Micros {
	if a > b {
		a, b = b, a
	}
	d := b - a
	for _, h := range w {
		d -= max(0, min(b, h.to)-max(a, h.from))
	}
	return d
}

// slack is how far a finding's start may lie from the fault's.
func (w work) slack(t *sim.Fault) evenstand.Micros {
	if t.Kind == evenstand.KindRefillSoon { // said by a chance of one in twenty, and the sooner the less is known
		return 45 * 60 * evenstand.Second
	}
	return max(120*evenstand.Second, w.between(t.From, t.To)/4)
}

// near tells whether an instant lies in a fault's time or no further from it
// than a start may.
func (w work) near(at evenstand.Micros, t *sim.Fault) bool {
	return at >= t.From && at <= t.To || min(w.between(at, t.From), w.between(at, t.To)) <= w.slack(t)
}

func (w work) distance(f *evenstand.Finding, t *sim.Fault) evenstand.Micros {
	return w.between(f.Since, t.From)
}

func (w work) fits(f *evenstand.Finding, t *sim.Fault) bool {
	return evenstand.Family(f.Kind) == evenstand.Family(t.Kind) && overlap(f.Rows, t.Rows) >= 0.5 && w.distance(f, t) <= w.slack(t)
}

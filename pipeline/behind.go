package pipeline

import (
	"fmt"
	"math"

	"evenstand"
	"evenstand/core/align"
)

// Limits of what is made of the ends of passes (judged).
const (
	behindUse  = 1.0  // m, half-width beyond which the distance is not used
	latencySD  = 0.05 // s by which places may be late by a clock that was declared
	shortestOf = 0.5  // m, of hitch to seed line
)

// liftTimes says how well the moments of lifting are known.
type liftTimes struct {
	late, sd float64 // s, and the standard error; NaN not known
}

// liftTimes looks at the first stream that logs the lifting of the planter.
func (s *settler) liftTimes() liftTimes {
	for i := range s.heard {
		h := &s.heard[i]
		if len(h.edges) == 0 {
			continue
		}
		x := liftTimes{h.stateEvery() / 2, h.stateLate()}
		if h.changes() { // it looks at its switch some times a second
			x.late = changesSD
		}
		c := &s.timings[i].said
		src, home := &s.day.Streams[i].Source, &s.day.Streams[max(s.survey_.track, 0)].Source
		switch {
		case src.Clock != "" && src.Clock == home.Clock:
			x.sd = math.Hypot(x.sd, latencySD)
		case c.From == ClockEstimated: // against the places, however late these are
			x.sd = math.Hypot(x.sd, float64(c.Error)/half90)
		case c.From == ClockDeclared:
			x.sd = math.Hypot(x.sd, latencySD)
			if e := float64(c.Error); !math.IsNaN(e) {
				x.sd = math.Hypot(x.sd, e/half90)
			}
		default:
			x.late, x.sd = math.NaN(), math.NaN()
		}
		return x
	}
	return liftTimes{math.NaN(), math.NaN()}
}

// tellBehind tells by the ends of passes how far the seed line lies behind the
// antenna. Where the card lacks one of the two lengths, or both of a mounted
// planter, it is filled in and the standard error in m is given; 0 leaves all
// as it is. What the card says goes before.
func (s *settler) tellBehind(down []align.Interval, basis string) (sd float64) {
	g := &s.card.Geometry
	if s.survey_.track < 0 {
		return 0
	}
	b := Behind{Source: s.day.Streams[s.survey_.track].Source.Name, Distance: evenstand.Unknown, Error: evenstand.Unknown, Card: evenstand.Number(g.AntennaToHitch + g.HitchToRowLine)}
	defer func() { s.res.Behind = b }()
	if basis != align.ByLift || math.IsNaN(s.lifts.sd) {
		return 0
	}
	x := align.FindBehind(s.track, down, align.BehindOptions{Width: float64(s.card.Rows) * s.card.RowSpacing, Late: s.lifts.late, LateSD: s.lifts.sd})
	if math.IsNaN(x.Distance) {
		return 0
	}
	b.Distance, b.Error, b.Ends = evenstand.Number(x.Distance), evenstand.Number(half90*x.SE), x.Ends
	if !math.IsNaN(float64(b.Card)) || half90*x.SE > behindUse {
		return 0
	}
	a, l := g.AntennaToHitch, g.HitchToRowLine
	switch {
	case g.Hitch == evenstand.HitchUnknown:
		s.note("By %d pass ends, lifted one way and lowered the other, the seed line lies %s behind the receiver, to within %s. Write on the planter card whether the planter is trailed or mounted, and that is used.", b.Ends, length(x.Distance), length(half90*x.SE))
		return 0
	case g.Hitch == evenstand.Mounted:
		// Of one body only the sum matters.
		if math.IsNaN(l) {
			l = 0
			if !math.IsNaN(a) {
				l = x.Distance - a
			}
		}
		a = x.Distance - l
	case math.IsNaN(a) && math.IsNaN(l):
		// In curves it matters which is which.
		s.note("By %d pass ends, lifted one way and lowered the other, the seed line lies %s behind the receiver, to within %s. Measure how far the receiver is ahead of the hitch point and write antenna_to_hitch_m on the planter card: the rest is then told by the passes. Cards are in metres.", b.Ends, length(x.Distance), length(half90*x.SE))
		return 0
	case math.IsNaN(l):
		if l = x.Distance - a; l < shortestOf {
			return 0
		}
	default:
		a = x.Distance - l
	}
	g.AntennaToHitch, g.HitchToRowLine = a, l
	b.Used = true
	s.note("The planter card does not say how far the seed line lies behind the receiver. By %d pass ends, lifted one way and lowered the other, it is %s, to within %s; that is used. Give both lengths on the card to have places to the centimetre.", b.Ends, length(x.Distance), length(half90*x.SE))
	return x.SE
}

// length writes metres for people who may think in feet: a note knows no units.
func length(m float64) string { return fmt.Sprintf("%.1f m (%.0f ft)", m, m/0.3048) }

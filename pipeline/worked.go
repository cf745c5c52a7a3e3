package pipeline

import (
	"cmp"
	"math"
	"slices"

	"evenstand"
)

// What ground counts as worked in one go (judged).
const (
	workedHole  = 2.0  // m without seed from which on ground counts as not worked
	workedSpots = 10.0 // the same in target spacings: a few skips in a row are no ground
	endSilence  = 10 * evenstand.Second
	strayRun    = 0.5 // m: a shorter run of seeds amid none is a few pulses of dust
	// Rows that begin and end within so many metres of each other are one piece:
	// about a seat of the first seeds by seed times, a reading by the second.
	sideBySide       = 0.35
	sideBySideCounts = 1.5
)

// spans are the pieces of a pass that a row worked, in mm from its start.
type spans struct {
	of   []span
	part float64 // of the last piece that was added, the share worked; it is cut when nothing follows
	s0   int32   // where that piece began
}

type span struct{ s0, s1 int32 }

func (s *spans) reset() { s.of, s.part = s.of[:0], 1 }

// add takes a reading's way, of which so much was worked: the whole of it amid
// worked ground, the later part where it begins, the earlier where it ends.
func (s *spans) add(s0, s1 int32, part float64) {
	n := len(s.of)
	if part <= 0 || s1 <= s0 {
		s.cut()
		return
	}
	if n > 0 && s0 <= s.of[n-1].s1+500 {
		s.of[n-1].s1 = s1
	} else {
		s.cut()
		begin := s1 - int32(math.Round(min(1, part)*float64(s1-s0)))
		s.of = append(s.of, span{begin, s1})
		part = 1
	}
	s.part, s.s0 = min(1, part), s0
}

// cut ends the last piece where its last reading was worked no more.
func (s *spans) cut() {
	if n := len(s.of); n > 0 && s.part < 1 {
		last := &s.of[n-1]
		last.s1 = max(last.s0, s.s0+int32(math.Round(s.part*float64(last.s1-s.s0))))
	}
	s.part = 1
}

// switched is a row's state from a moment on.
type switched struct {
	t  evenstand.Micros
	on bool
}

// worked gives the ground that the open pass worked, rows that go together in
// one piece, by what was applied, row and place.
func (s *settler) worked(p *evenstand.Pass) []evenstand.Worked {
	end := int32(math.Round((p.S1 - p.S0) * 1000))
	if end <= 0 {
		return nil
	}
	sown := s.sown()
	s.hushed(p)
	s.workedOut = s.workedOut[:0]
	for _, what := range []evenstand.Applied{evenstand.AppliedSeed, evenstand.AppliedLiquid, evenstand.AppliedGranular} {
		from := len(s.workedOut)
		for _, r := range s.rows {
			grade := evenstand.GradeB
			var own []span
			switch what {
			case evenstand.AppliedLiquid:
				r.wet.cut()
				own = r.wet.of
			case evenstand.AppliedGranular:
				r.dry.cut()
				own = r.dry.of
			default:
				own, grade = s.sownBy(r, p, sown, end)
			}
			for _, v := range own {
				v.s0, v.s1 = max(0, v.s0), min(end, v.s1)
				if v.s1 > v.s0 {
					s.join(from, evenstand.Worked{Pass: p.Index, From: int16(r.n), To: int16(r.n), S0: v.s0, S1: v.s1, Applied: what, Grade: grade})
				}
			}
		}
		slices.SortFunc(s.workedOut[from:], func(a, b evenstand.Worked) int { return cmp.Or(cmp.Compare(a.From, b.From), cmp.Compare(a.S0, b.S0)) })
	}
	return s.workedOut
}

// join adds a row's piece to the one of the row beside it that begins and ends
// where it does, else by itself.
func (s *settler) join(from int, w evenstand.Worked) {
	near := sideBySide
	if w.Grade != evenstand.GradeA {
		near = sideBySideCounts
	}
	within := func(a, b int32) bool { return math.Abs(float64(a-b)) <= near*1000 }
	for i := from; i < len(s.workedOut); i++ {
		o := &s.workedOut[i]
		if o.To == w.From-1 && o.Grade == w.Grade && within(o.S0, w.S0) && within(o.S1, w.S1) && s.besides(int(o.To), int(w.From)) {
			n := int32(o.To - o.From + 1)
			o.S0, o.S1 = (o.S0*n+w.S0)/(n+1), (o.S1*n+w.S1)/(n+1)
			o.To = w.To
			return
		}
	}
	s.workedOut = append(s.workedOut, w)
}

// besides tells whether two rows lie beside one another on the bar.
func (s *settler) besides(a, b int) bool {
	d := math.Abs(s.card.Y(a) - s.card.Y(b))
	return math.IsNaN(d) || math.IsNaN(s.card.RowSpacing) || d <= 1.5*s.card.RowSpacing
}

// sownBy gives the ground that a row sowed: by its seeds, by its counts, or,
// where no row logs either, by what was switched on.
func (s *settler) sownBy(r *rowState, p *evenstand.Pass, sown bool, end int32) ([]span, evenstand.Grade) {
	switch {
	case r.hasSeeds:
		return s.bySeeds(r, end), evenstand.GradeA
	case r.counted > 0:
		r.sown.cut()
		return r.sown.of, evenstand.GradeB
	case sown:
		return nil, evenstand.GradeB
	}
	return s.bySwitch(r, p), evenstand.GradeC
}

// hushed notes where in the pass the boxes that log its seeds were silent: for
// longer than a source may be, or at an end of the pass for so long that no
// switching explains it.
func (s *settler) hushed(p *evenstand.Pass) {
	s.silence = s.silence[:0]
	at := func(t evenstand.Micros) int32 {
		way, _ := s.switches.Way(min(max(t, p.Start), p.End))
		return int32(math.Round((way - p.S0) * 1000))
	}
	add := func(from, to evenstand.Micros) {
		if to <= p.Start || from >= p.End {
			return
		}
		if (from <= p.Start || to >= p.End) && min(to, p.End)-max(from, p.Start) < endSilence {
			return
		}
		s.silence = append(s.silence, span{at(from), at(to)})
	}
	for i := range s.survey_.seeds {
		if !s.survey_.seeds[i].used() {
			continue
		}
		v := &s.survey_.sources[i]
		for _, g := range v.gaps {
			add(g.From, g.To)
		}
		if v.n > 0 && v.last > p.Start && p.End-v.last > gapLeast { // it may go on
			add(v.last, p.End+evenstand.Second)
		}
	}
}

// bySeeds gives the runs of a row's seeds. Where its box was silent and nothing
// says that the row was off, the ground between counts as sown.
func (s *settler) bySeeds(r *rowState, end int32) []span {
	r.spans = r.spans[:0]
	half := int32(0)
	hole := workedHole
	if x, _ := r.spacing(); x > 0 {
		half = int32(math.Round(500 * x))
		hole = max(hole, workedSpots*x)
	}
	for i := range r.seeds {
		at := r.seeds[i].S
		n := len(r.spans)
		if n > 0 && (float64(at-r.spans[n-1].s1) <= hole*1000 || s.silent(r, r.spans[n-1].s1, at)) {
			r.spans[n-1].s1 = max(r.spans[n-1].s1, at)
			continue
		}
		r.spans = append(r.spans, span{at, at})
	}
	keep := r.spans[:0]
	for _, v := range r.spans {
		if v.s1-v.s0 >= int32(1000*strayRun) { // pulses of dust are no ground
			keep = append(keep, span{v.s0 - half, v.s1 + half})
		}
	}
	if n := len(keep); n > 0 {
		if s.silent(r, 0, keep[0].s0) {
			keep[0].s0 = 0
		}
		if s.silent(r, keep[n-1].s1, end) {
			keep[n-1].s1 = end
		}
	}
	r.spans = keep
	return r.spans
}

// silent tells whether the box of a row's seeds was silent over most of what
// lies between two places, and the row not off there.
func (s *settler) silent(r *rowState, s0, s1 int32) bool {
	deaf := int32(0)
	for _, v := range s.silence {
		deaf += max(0, min(v.s1, s1)-max(v.s0, s0))
	}
	if 2*deaf <= s1-s0 {
		return false
	}
	off := float32(0)
	for k := s0 / stretchMM; k <= s1/stretchMM && int(k) < len(r.str); k++ {
		off += r.str[k].Off
	}
	return off < 0.5*float32(s1-s0)/1000
}

// bySwitch gives the parts of a pass on which the row was on.
func (s *settler) bySwitch(r *rowState, p *evenstand.Pass) []span {
	r.spans = r.spans[:0]
	at := func(t evenstand.Micros) int32 {
		way, _ := s.switches.Way(t)
		return int32(math.Round((way - p.S0) * 1000))
	}
	on, from := r.wasOn, int32(0)
	for _, c := range r.states {
		if c.t <= p.Start || c.t >= p.End || c.on == on {
			on = c.on
			continue
		}
		if on {
			r.spans = append(r.spans, span{from, at(c.t)})
		}
		on, from = c.on, at(c.t)
	}
	if on {
		r.spans = append(r.spans, span{from, at(p.End)})
	}
	return r.spans
}

// switchRow notes whether a row is on: enabled, and not said to be idle.
func (r *rowState) switchRow(t evenstand.Micros) {
	on := r.enabled && r.working != 0
	if n := len(r.states); n > 0 && r.states[n-1].on == on || n == 0 && r.wasOn == on {
		return
	}
	r.states = append(r.states, switched{t, on})
}

// flowed notes that an element's product flowed, or did not, since its last
// reading.
func (s *settler) flowed(x evenstand.Reading, p *evenstand.Pass) {
	key := flowKey{x.Element, x.Quantity}
	last, seen := s.flows[key]
	if s.flows == nil {
		s.flows = map[flowKey]evenstand.Micros{}
	}
	s.flows[key] = x.T
	if !seen || x.T <= last || x.T-last > stateStale || last < p.Start {
		return
	}
	a, _ := s.switches.Way(last)
	b, _ := s.switches.Way(x.T)
	part := 0.0
	if x.Value > 0 {
		part = 1
	}
	for _, n := range s.rowsOf(x.Element) {
		r := s.rows[n-1]
		to := &r.wet
		if x.Quantity == evenstand.GranularRate {
			to = &r.dry
		}
		share := part
		if !r.enabled {
			share = 0
		}
		to.add(int32(math.Round((a-p.S0)*1000)), int32(math.Round((b-p.S0)*1000)), share)
	}
}

type flowKey struct {
	of   evenstand.Element
	what evenstand.Quantity
}

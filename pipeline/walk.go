package pipeline

import (
	"math"
	"slices"

	"evenstand"
	"evenstand/core/align"
	"evenstand/core/find"
	"evenstand/core/measure/rhythm"
	"evenstand/core/measure/seedspacing"
)

// A segment of the rhythm ends at a gap longer than both of these.
const (
	segmentTime   = 3 * evenstand.Second / 2
	segmentPlaces = 12.0
	stretchMM     = int32(1000 * evenstand.StretchLength)
	passTail      = 1 * evenstand.Second // seeds this long after the lift still belong to the pass
	passCloses    = 2 * evenstand.Second // a pass is done this long after the lift, or when the next begins
	stateStale    = 5 * evenstand.Second // a rate that is older says nothing
	gapLeast      = 5 * evenstand.Second // a source is silent
)

// walk goes through the day's events in order of time, a second at a time.
func (s *settler) walk() error {
	seeds := merge(func(x *evenstand.Seed) evenstand.Micros { return x.T })
	readings := merge(func(x *evenstand.Reading) evenstand.Micros { return x.T })
	fixes := merge(func(x *evenstand.Fix) evenstand.Micros { return x.T })
	defer func() { fixes.close(); seeds.close(); readings.close() }()
	if i := s.survey_.track; i >= 0 {
		fixes.add(i, shifted(s.day.Streams[i].Fixes, s.timings[i], s.day.From, s.cut, func(x *evenstand.Fix) *evenstand.Micros { return &x.T }))
		s.fixesTo = func(t evenstand.Micros) error {
			for {
				f, k, err := fixes.peek()
				if f == nil || err != nil || f.T >= t {
					return err
				}
				s.engine.Fix(i, *f)
				fixes.take(k, 1)
			}
		}
	}
	for i := range s.day.Streams {
		st := &s.day.Streams[i]
		tm := &s.timings[i]
		if st.Seeds != nil {
			seeds.add(i, shifted(st.Seeds, *tm, s.day.From, s.cut, func(x *evenstand.Seed) *evenstand.Micros { return &x.T }))
		}
		if st.Readings != nil {
			readings.add(i, shifted(st.Readings, *tm, s.day.From, s.cut, func(x *evenstand.Reading) *evenstand.Micros { return &x.T }))
		}
	}
	if s.survey_.first == evenstand.NoTime {
		return nil
	}
	if err := s.writeTrack(); err != nil {
		return err
	}
	if err := s.hearEntries(); err != nil {
		return err
	}
	s.next = s.survey_.first/evenstand.Second*evenstand.Second + evenstand.Second
	for {
		sd, si, err := seeds.peek()
		if err != nil {
			return err
		}
		rd, ri, err := readings.peek()
		if err != nil {
			return err
		}
		if rd != nil && (sd == nil || rd.T <= sd.T) {
			if err := s.takeReading(rd, readings.stream(ri)); err != nil {
				return err
			}
			readings.take(ri, 1)
			continue
		}
		if sd == nil {
			break
		}
		end := seeds.after(si)
		if rd != nil {
			end = min(end, rd.T)
		}
		n, err := s.takeSeeds(seeds.lent(si), end, seeds.stream(si))
		if err != nil {
			return err
		}
		seeds.take(si, n)
	}
	for done := false; !done; s.next += evenstand.Second {
		if err := s.tick(s.next); err != nil {
			return err
		}
		done = s.cur >= len(s.passes) && s.next > s.survey_.last
	}
	if len(s.keep) > 0 {
		return s.out.Readings(s.keep)
	}
	return nil
}

// The steps of the walk. The settled pass is driven by the day's streams,
// merged; the live pass by the feed (live.go).

// until lets the stages decide at each full second up to t.
func (s *settler) until(t evenstand.Micros) error {
	for t >= s.next {
		if err := s.tick(s.next); err != nil {
			return err
		}
		if t > s.next+10*evenstand.Second && s.idle(t) {
			s.next = t / evenstand.Second * evenstand.Second
		}
		s.next += evenstand.Second
	}
	return nil
}

// takeReading takes the next event when it is a reading.
func (s *settler) takeReading(x *evenstand.Reading, stream int) error {
	if err := s.until(x.T); err != nil {
		return err
	}
	s.seeSource(stream, x.T)
	if err := s.advance(x.T); err != nil {
		return err
	}
	if err := s.reading(*x); err != nil {
		return err
	}
	if s.out == nil {
		return nil
	}
	if s.keep == nil {
		s.keep = make([]evenstand.Reading, 0, 4096)
	}
	s.keep = append(s.keep, *x)
	if len(s.keep) == cap(s.keep) {
		if err := s.out.Readings(s.keep); err != nil {
			return err
		}
		s.keep = s.keep[:0]
	}
	return nil
}

// takeSeed takes the next event when it is a seed.
func (s *settler) takeSeed(x *evenstand.Seed, stream int) error {
	if err := s.until(x.T); err != nil {
		return err
	}
	s.seeSource(stream, x.T)
	if err := s.advance(x.T); err != nil {
		return err
	}
	s.seed(*x, stream)
	return nil
}

// takeSeeds takes the next events when they are seeds of one stream: the first
// of xs, and those after it before anything else is due, and before end. It
// gives how many it took.
func (s *settler) takeSeeds(xs []evenstand.Seed, end evenstand.Micros, stream int) (n int, err error) {
	if err := s.takeSeed(&xs[0], stream); err != nil {
		return 0, err
	}
	end = min(end, s.next, s.closes())
	if s.cur < len(s.passes) && xs[0].T < s.passes[s.cur].Start {
		end = min(end, s.passes[s.cur].Start)
	}
	n = 1
	if n < len(xs) && xs[n].T < end { // the first may have begun a pass
		s.engine.Heard(stream, xs[n].T)
	}
	for n < len(xs) && xs[n].T < end {
		s.seed(xs[n], stream)
		n++
	}
	if n > 1 { // within a second no source falls silent
		s.seeSource(stream, xs[n-1].T)
		s.survey_.sources[stream].n += int64(n - 2)
	}
	return n, nil
}

// shifted puts a stream on the one clock and leaves out what belongs to the
// day before or the day after.
func shifted[T any](read func(func([]T) bool) error, tm timing, from, to evenstand.Micros, at func(*T) *evenstand.Micros) func(func([]T) bool) error {
	return func(yield func([]T) bool) error {
		var buf []T
		tm.restart()
		return read(func(b []T) bool {
			if len(b) > 0 && tm.right() && *at(&b[0]) >= from && *at(&b[len(b)-1]) < to {
				return yield(b) // in order, so all of it belongs here
			}
			buf = append(buf[:0], b...)
			keep := buf[:0]
			for i := range buf {
				t := at(&buf[i])
				*t = tm.at(*t)
				if *t >= from && *t < to {
					keep = append(keep, buf[i])
				}
			}
			return len(keep) == 0 || yield(keep)
		})
	}
}

// idle tells whether nothing has to be decided before t.
func (s *settler) idle(t evenstand.Micros) bool {
	return s.cur >= len(s.passes) || s.passes[s.cur].Start > t
}

// seeSource notes holes in a source's log while the planter planted.
func (s *settler) seeSource(i int, t evenstand.Micros) {
	s.engine.Heard(i, t)
	v := &s.survey_.sources[i]
	if v.n > 0 && t-v.last > gapLeast {
		s.noteGap(v, t)
	}
	v.last = max(v.last, t)
	v.n++
}

// advance ends the passes that are over at t. What comes from the next one's
// start on is the next one's: a turn parts passes without a lift.
func (s *settler) advance(t evenstand.Micros) error {
	for s.cur < len(s.passes) && t >= s.closes() {
		s.counts()
		if err := s.endPass(); err != nil {
			return err
		}
	}
	return nil
}

// closes gives when the pass that time has reached is over.
func (s *settler) closes() evenstand.Micros {
	switch {
	case s.cur >= len(s.passes):
		return math.MaxInt64
	case s.cur+1 < len(s.passes):
		return min(s.passes[s.cur].End+passCloses, s.passes[s.cur+1].Start)
	}
	return s.passes[s.cur].End + passCloses
}

// goesOn tells whether the next pass begins where pass i ends, without a lift.
func (s *settler) goesOn(i int) bool {
	return i >= 0 && i+1 < len(s.passes) && s.passes[i+1].Start <= s.passes[i].End
}

// noteGap notes the hole from a source's last word to t when the planter
// planted meanwhile for longer than a source may be silent.
func (s *settler) noteGap(v *sourceSeen, t evenstand.Micros) {
	planted := evenstand.Micros(0)
	first := s.cur // passes that lie within the hole have been reached meanwhile
	for first > 0 && s.passes[first-1].End > v.last {
		first--
	}
	for j := first; j < len(s.passes); j++ {
		p := &s.passes[j]
		if p.Start >= t {
			break
		}
		planted += s.moved(max(p.Start, v.last), min(p.End, t))
	}
	if planted > gapLeast+s.doubt {
		v.gaps = append(v.gaps, Gap{From: v.last, To: t, Planted: evenstand.Number(planted.Seconds())})
	}
}

// moved is how long of a time the bar moved: a planter that stands in the
// ground plants nothing.
func (s *settler) moved(from, to evenstand.Micros) (sum evenstand.Micros) {
	const stands = 0.3 // m/s (judged)
	p := s.path
	i, _ := slices.BinarySearch(p.T, from)
	for ; i+1 < len(p.T) && p.T[i] < to; i++ {
		if p.V[i] > stands {
			sum += min(p.T[i+1], to) - p.T[i]
		}
	}
	return sum
}

// endGaps closes the day: a box that logged all along and then fell silent
// while the planter went on has a hole to the end.
func (s *settler) endGaps() {
	const regular = 100 // words from which a source counts as one that logs all along
	for i := range s.survey_.sources {
		v := &s.survey_.sources[i]
		if n := len(s.passes); n > 0 && v.n >= regular && s.passes[n-1].End-v.last > gapLeast {
			s.noteGap(v, s.passes[n-1].End)
		}
	}
}

// trackGaps notes where the receiver was silent for longer than least while
// seeds fell.
func (v *surveyed) trackGaps(least evenstand.Micros) {
	if v.track < 0 || len(v.fixes) == 0 {
		return
	}
	for j := range v.seeds {
		sd := &v.seeds[j]
		if !sd.used() {
			continue
		}
		usual := sd.usual()
		hole := func(from, to evenstand.Micros) {
			if to-from <= least {
				return
			}
			fell := evenstand.Micros(0)
			for i := max(0, int((from-sd.from)/binWidth)); i < len(sd.bins) && sd.from+evenstand.Micros(i)*binWidth < to; i++ {
				if 4*int(sd.bins[i]) > usual { // fewer are stray pulses
					fell += binWidth
				}
			}
			if fell > least {
				v.sources[v.track].gaps = append(v.sources[v.track].gaps, Gap{From: from, To: to, Planted: evenstand.Number(fell.Seconds())})
			}
		}
		for i := 1; i < len(v.fixes); i++ {
			hole(v.fixes[i-1].T, v.fixes[i].T)
		}
		if n := len(sd.bins); n > 0 {
			hole(v.fixes[len(v.fixes)-1].T, sd.from+evenstand.Micros(n)*binWidth)
		}
		return
	}
}

// passAt gives the pass that covers a moment, nil for none. Time moves on.
func (s *settler) passAt(t evenstand.Micros) *evenstand.Pass {
	if s.cur >= len(s.passes) {
		return nil
	}
	p := &s.passes[s.cur]
	if t < p.Start || t > p.End+passTail {
		return nil
	}
	return p
}

// seed takes one seed of a stream.
func (s *settler) seed(x evenstand.Seed, stream int) {
	if int(x.Row) > len(s.rows) || x.Row < 1 || !s.uses(s.rows[x.Row-1], stream, x.T) {
		return
	}
	p := s.passAt(x.T)
	if p == nil {
		s.engine.Stray(x.T)
		return
	}
	r := s.rows[x.Row-1]
	s.begin(p)
	if r.lastT == x.T {
		return // the same record twice
	}
	if r.stream != stream {
		if r.hasSeeds {
			s.breakRow(r)
		}
		r.stream = stream
		r.setClock(s.clocks[stream])
	}
	d := s.here.Row(x.T, r.y)
	u := s.driven.Row(x.T-r.lagT, r.y)
	land, _ := s.landing.Way(x.T + s.fall)
	blind := s.live == nil && (s.here.Gap() || s.driven.Gap())
	if blind { // how far the row went between two seeds nobody knows
		s.breakRow(r)
	}

	xref, own := r.spacing()
	gap := int32(-1)
	class := evenstand.NoClass
	step := 0.0
	hole := 0 // places since the last seed of the pass that the rhythm does not reach over
	if r.inSeg {
		way := d - r.lastD
		if own && way > 0 {
			s.own = true
			r.own.add(way)
		}
		if xref > 0 {
			step = max(0, u-r.lastU) / xref
		}
		long := x.T-r.lastT > segmentTime && (math.IsNaN(xref) || way > segmentPlaces*xref)
		if !long {
			gap = int32(max(0, nearest(way*1000)))
			if xref > 0 {
				class = seedspacing.Classify(way, xref)
			}
		}
		if long || step >= rhythm.MaxStep+0.5 {
			s.breakRow(r)
			hole, step = max(0, int(math.Round(step))-1), 0
		}
	}
	r.hasSeeds = true
	r.seedAt = x.T
	tag := r.seedBase + int32(len(r.seeds))
	place := int32(nearest((land - p.S0) * 1000))
	r.seeds = room(r.seeds, 1)[:len(r.seeds)+1]
	ps := &r.seeds[len(r.seeds)-1] // field by field: what is written small and copied large waits
	ps.T, ps.Row, ps.S, ps.Gap, ps.Class = x.T, x.Row, place, gap, class
	ps.Missing, ps.Double, ps.Cell, ps.Off = 0, false, -1, evenstand.NoOff
	s.stretchSeed(r, place/stretchMM, gap, class, xref)
	s.engine.Seed(r.n, x.T)
	r.lastT, r.lastD, r.lastU = x.T, d, u
	if blind {
		return
	}
	if r.clock.refuse != "" || math.IsNaN(xref) {
		s.gapOnly(r, gap, xref, x.T)
		r.inSeg = true
		return
	}
	if !r.inSeg {
		r.hole = hole
	}
	r.out = r.dec.Seed(step, tag, r.out[:0])
	r.inSeg = true
	for i := range r.out {
		s.settleSeed(r, &r.out[i])
	}
}

// nearest rounds halves away from zero, for what an int64 holds. It is quicker
// than math.Round, which every seed would call thrice.
func nearest(x float64) int64 {
	if x < 0 {
		return int64(x - 0.5)
	}
	return int64(x + 0.5)
}

// gapOnly counts by gaps alone where the rhythm may not be read: rates of
// spacing skips and doubles, no cells.
func (s *settler) gapOnly(r *rowState, gap int32, xref float64, t evenstand.Micros) {
	if gap < 0 || math.IsNaN(xref) {
		return
	}
	q := float64(gap) / 1000 / xref
	p := &find.Place{T: t}
	if q <= 0.5 {
		p.Double = true
	} else {
		p.Missing = max(0, int(math.Ceil(q-0.5))-1)
	}
	st := r.stretch(r.seeds[len(r.seeds)-1].S / stretchMM)
	s.dueTo(st, p.Missing, p.Double)
	s.engine.PlaceByGap(r.n, p)
}

// settleSeed takes over what the decoder settled.
func (s *settler) settleSeed(r *rowState, dec *rhythm.Decision) {
	ps := &r.seeds[dec.Tag-r.seedBase]
	readable := r.dec.Sigma() <= rhythm.Unreadable
	if dec.First {
		s.engine.Place(r.n, &find.Place{T: ps.T, K: dec.K, Missing: r.hole, First: true, Readable: readable})
		r.hole = 0
		if r.cells > 0 {
			ps.Cell = int16(find.CellOf(dec.K, r.cells))
		}
		return
	}
	ps.Missing = uint8(min(255, dec.Missing))
	ps.Double = dec.Double
	ps.Off = int16(max(-32000, min(32000, nearest(float64(dec.Off)*1000))))
	if r.cells > 0 && readable {
		ps.Cell = int16(find.CellOf(dec.K, r.cells))
	}
	st := r.stretch(ps.S / stretchMM)
	st.Metered = true
	s.dueTo(st, dec.Missing, dec.Double)
	p := &find.Place{T: ps.T, K: dec.K, Missing: dec.Missing, Double: dec.Double, Off: dec.Off, Sigma: float32(r.dec.Sigma()), Readable: readable, Own: math.IsNaN(r.xref)}
	if readable {
		s.engine.Place(r.n, p)
	} else {
		s.engine.PlaceByGap(r.n, p)
	}
}

func (s *settler) dueTo(st *evenstand.Stretch, missing int, double bool) {
	if double {
		st.Doubles++
		return
	}
	st.Due += float32(missing + 1)
	st.Skips += float32(missing)
}

// breakRow ends the row's segment.
func (s *settler) breakRow(r *rowState) {
	r.out = r.dec.Break(r.out[:0])
	for i := range r.out {
		s.settleSeed(r, &r.out[i])
	}
	r.inSeg = false
}

// begin opens the pass that time has reached.
func (s *settler) begin(p *evenstand.Pass) {
	if s.open {
		return
	}
	s.open = true
	s.plan(p)
	for _, r := range s.rows {
		r.inSeg, r.hasSeeds, r.hasCount, r.counted = false, false, false, 0
		r.seeds, r.seedBase = r.seeds[:0], 0
		r.str, r.strBase = r.str[:0], 0
		r.products.reset()
		r.sown.reset()
		r.wet.reset()
		r.dry.reset()
		if n := len(r.states); n > 0 {
			r.wasOn, r.states = r.states[n-1].on, r.states[:0]
		}
		if r.stream >= 0 {
			r.setClock(s.clocks[r.stream]) // the live pass learns them
		}
	}
	if !s.lowered {
		s.lowered = true
		s.engine.Lower(p.Start)
	}
}

// tick lets the stages decide at t.
func (s *settler) tick(t evenstand.Micros) error {
	if s.tickN&63 == 0 {
		if err := s.ctx.Err(); err != nil {
			return err
		}
	}
	s.tickN++
	if s.live != nil {
		s.live.carry(t)
		s.live.hearFixes(t)
	} else if s.fixesTo != nil {
		if err := s.fixesTo(t); err != nil {
			return err
		}
	}
	if err := s.advance(t); err != nil {
		return err
	}
	s.hearNotes(t)
	var bar find.Bar
	s.pose = s.machine.At(t)
	if math.IsNaN(s.pose.S) {
		s.pose = align.Pose{} // no position yet
	}
	s.planting = false
	if s.cur < len(s.passes) {
		p := &s.passes[s.cur]
		if t >= p.Start {
			s.begin(p)
		}
		if t >= p.Start && t <= p.End {
			s.planting = s.pose.V > 0.5
			bar = find.Bar{Planting: s.planting, Speed: s.pose.V, Way: s.pose.S}
		} else if t > p.End && s.lowered {
			s.lowered = false
			s.engine.Lift(p.End)
		}
		if s.planting {
			s.atTick(p, t)
		}
	}
	if bar.Way == 0 {
		bar.Way = s.pose.S
	}
	bar.Rolling = s.pose.V
	s.counts()
	s.engine.Tick(t, bar)
	if s.live != nil {
		s.live.ticked()
	}
	return nil
}

// atTick adds what is known by the second to the stretches.
func (s *settler) atTick(p *evenstand.Pass, t evenstand.Micros) {
	k := int32((s.pose.S - p.S0) / evenstand.StretchLength)
	if k < 0 {
		return
	}
	for _, r := range s.rows {
		st := r.stretch(k)
		v := s.pose.V * (1 - s.pose.Kappa*r.y)
		st.Speed.Add(v)
		if !r.enabled {
			st.Off += float32(s.pose.V)
		}
		if r.clock.refuse == "" && r.hasSeeds && !math.IsNaN(r.xref) && !(s.live == nil && math.IsNaN(s.pose.SD)) {
			s.engine.Ratio(r.n, 1/r.dec.Scale())
		}
	}
}

// trackEvery is the time between the points of the track that is kept, s.
const trackEvery = 0.2

// writeTrack hands the bar's path over.
func (s *settler) writeTrack() error {
	buf := make([]evenstand.TrackPoint, 0, 4096)
	for p := range s.path.Points(trackEvery, s.passes) {
		if p.T < s.day.From || p.T >= s.cut {
			continue
		}
		if buf = append(buf, p); len(buf) == cap(buf) {
			if err := s.out.Track(buf); err != nil {
				return err
			}
			buf = buf[:0]
		}
	}
	if len(buf) == 0 {
		return nil
	}
	return s.out.Track(buf)
}

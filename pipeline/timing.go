package pipeline

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"evenstand"
	"evenstand/core/advise"
	"evenstand/core/align"
	"evenstand/core/align/clock"
	"evenstand/core/find"
	"evenstand/core/ground"
)

// Limits of what an estimate of a clock is good for. The lag is judged: a seed
// that falls freely takes 0.15 to 0.3 s from the disc to the sensor (0.1 to
// 0.45 m), one that is carried down hardly any, and drives answer within a
// tenth.
const (
	half90     = 1.645
	clockError = 0.3   // s, half-width beyond which an estimate is of no use (judged)
	lagUsual   = 0.23  // s by which seeds follow the speed
	lagSD      = 0.075 // s
	saidApart  = 0.3   // s by which what was said and what the logs show may differ
	saidSlip   = 5.0   // s from which on it is a slip, where nobody says how sure it is (judged)
)

// timing puts the times of one stream on the receiver's clock.
type timing struct {
	fits []clock.Fit      // in order of the box's time; none: as it stands
	last evenstand.Micros // time does not go back where a clock was set
	said Clock
	// against is how far the logs show the clock to be from what was said of
	// it, in s; 0 when they do not.
	against float64
}

// declare takes over what people or the log itself say.
func (m *timing) declare(src *evenstand.Source) {
	nan := evenstand.Unknown
	m.last = evenstand.NoTime
	m.said = Clock{Offset: nan, Error: nan, From: ClockUnknown, At: evenstand.NoTime, Drift: nan, DriftError: nan}
	if !math.IsNaN(src.ClockOffset) {
		m.said.Offset, m.said.Error, m.said.From = evenstand.Number(src.ClockOffset), evenstand.Number(src.ClockError), ClockDeclared
		m.fits = []clock.Fit{{Offset: src.ClockOffset}}
	}
}

// estimate takes over what the logs say.
func (m *timing) estimate(fits []clock.Fit) {
	m.fits = fits
	f := longest(fits)
	c := &m.said
	c.Offset, c.Error, c.From, c.At = evenstand.Number(f.Offset), evenstand.Number(half90*f.SE), ClockEstimated, f.At
	c.Drift, c.DriftError = evenstand.Number(1e6*f.Drift), evenstand.Number(half90*1e6*f.DriftSE)
	if len(fits) > 1 {
		for _, f := range fits {
			c.Set = append(c.Set, ClockSet{f.From, f.To, f.At, evenstand.Number(f.Offset), evenstand.Number(half90 * f.SE), evenstand.Number(1e6 * f.Drift)})
		}
	}
}

// longest gives the fit that covers most of the day.
func longest(fits []clock.Fit) clock.Fit {
	best := fits[0]
	for _, f := range fits[1:] {
		if f.To-f.From > best.To-best.From {
			best = f
		}
	}
	return best
}

// right tells whether times stand as they are.
func (m *timing) right() bool {
	return len(m.fits) == 0 || len(m.fits) == 1 && m.fits[0].Offset == 0 && m.fits[0].Drift == 0
}

// restart makes ready for the beginning of the stream.
func (m *timing) restart() { m.last = evenstand.NoTime }

// until gives the box's time at which a fit gives over to the next one.
func (m *timing) until(k int) evenstand.Micros {
	return m.fits[k].To + (m.fits[k+1].From-m.fits[k].To)/2
}

// lost gives the holes, on the receiver's clock, that a clock leaves which is
// set back: the box writes the same times twice, and one of each is used.
func (m *timing) lost() (holes [][2]evenstand.Micros) {
	for k := 0; k+1 < len(m.fits); k++ {
		t := m.until(k)
		from, to := t-evenstand.FromSeconds(m.fits[k].Off(t)), t-evenstand.FromSeconds(m.fits[k+1].Off(t))
		if to > from {
			holes = append(holes, [2]evenstand.Micros{from, to})
		}
	}
	return holes
}

// at puts a time on the receiver's clock. Times must come in order.
func (m *timing) at(t evenstand.Micros) evenstand.Micros {
	switch {
	case len(m.fits) == 0:
		return t
	case len(m.fits) == 1 && m.fits[0].Drift == 0:
		return t - evenstand.FromSeconds(m.fits[0].Offset)
	}
	// A fit begins and ends well inside of what it holds for. A clock that was
	// set forward leaves a hole between two, one of the seconds that it was set
	// by; in the middle of it the one gives over to the other.
	k := 0
	for k+1 < len(m.fits) && t >= m.until(k) {
		k++
	}
	t -= evenstand.FromSeconds(m.fits[k].Off(t))
	if len(m.fits) > 1 {
		t = max(t, m.last)
		m.last = t
	}
	return t
}

// heard is what of a stream follows the speed of the ground, by its own clock.
type heard struct {
	speed clock.Series
	bins  []seedBin    // seeds of all rows by quarter seconds, almost in order
	count clock.Series // seeds of all rows by reading
	edges []clock.Edge
	down  int8 // 1 down, -1 lifted, 0 not known
	state clock.Series
}

func (h *heard) reading(r evenstand.Reading) {
	switch r.Quantity {
	case evenstand.GroundSpeed:
		if r.Element.Scope == evenstand.ScopeMachine {
			h.speed.Add(r.T, math.Abs(r.Value))
		}
	case evenstand.SeedCount:
		if r.Element.Scope == evenstand.ScopeRow {
			if n := len(h.count.T); n > 0 && r.T-h.count.T[n-1] < evenstand.Second/10 {
				h.count.V[n-1] += r.Value
			} else {
				h.count.Add(r.T, r.Value)
			}
		}
	case evenstand.ImplementLifted:
		if r.Element.Scope != evenstand.ScopeMachine || math.IsNaN(r.Value) {
			return
		}
		down := int8(1)
		if r.Value >= 0.5 {
			down = -1
		}
		if h.down != 0 && down != h.down {
			h.edges = append(h.edges, clock.Edge{T: r.T, Down: down > 0})
		}
		h.down = down
		h.state.Add(r.T, 0)
	}
}

// stateEvery gives the seconds between the states that a box logs, which is how
// late it may see the planter lifted; 0 for one that logs when they change,
// which is not late.
func (h *heard) stateEvery() float64 {
	if h.changes() {
		return 0
	}
	return h.state.Every()
}

// stateLate gives the standard error in s of how late a box is that logs its
// states when they change.
func (h *heard) stateLate() float64 {
	if h.changes() {
		return changesSD
	}
	return 0
}

// changesSD is by how many seconds a box that logs its states when they change
// may be late (judged).
const changesSD = 0.1

// changes tells whether a box logs its states when they change, and maybe now
// and then in between: most changes then cut short the time since the state
// before them, or that to the next.
func (h *heard) changes() bool {
	if 2*len(h.edges) > len(h.state.T) {
		return true
	}
	short, every := 0, h.state.Every()
	i := 0
	for _, e := range h.edges {
		for i < len(h.state.T) && h.state.T[i] < e.T {
			i++
		}
		cut := func(a, b int) bool {
			return a >= 0 && b < len(h.state.T) && (h.state.T[b]-h.state.T[a]).Seconds() < 0.6*every
		}
		if cut(i-1, i) || cut(i, i+1) {
			short++
		}
	}
	return 2*short > len(h.edges)
}

// seedBin is how many seeds fell in a quarter of a second.
type seedBin struct {
	k int64
	n int32
}

func (h *heard) seed(x evenstand.Seed) {
	k := int64(x.T / binWidth)
	if n := len(h.bins); n > 0 && h.bins[n-1].k == k {
		h.bins[n-1].n++
		return
	}
	h.bins = append(h.bins, seedBin{k, 1})
}

// flow gives the seeds of all rows by quarter seconds, zeros included.
func (h *heard) flow() (s clock.Series) {
	if len(h.bins) < 100 {
		return s
	}
	lo, hi := h.bins[0].k, h.bins[0].k
	for _, b := range h.bins {
		lo, hi = min(lo, b.k), max(hi, b.k)
	}
	if hi-lo > 4*40*3600 {
		return s
	}
	n := make([]int32, hi-lo+1)
	s = clock.NewSeries(len(n))
	for _, b := range h.bins {
		n[b.k-lo] += b.n
	}
	for i, x := range n {
		s.Add(evenstand.Micros(lo+int64(i))*binWidth+binWidth/2, float64(x))
	}
	return s
}

// counts gives the seeds counted by reading; each stands for the time since the
// one before.
func (h *heard) counts() (s clock.Series) {
	every := h.count.Every()
	if !(every < 2.5) {
		return s
	}
	for i, t := range h.count.T {
		s.Add(t-evenstand.FromSeconds(every/2), h.count.V[i])
	}
	return s
}

// group is the streams that share one clock.
type group struct {
	streams []int
	name    string
	said    bool
	fits    []clock.Fit
}

// setClocks tells the clocks by the logs: against the speed of the receiver's
// places each box's speed, else its seeds, else the lifting of the planter
// against a box that is known. What nobody has declared and the logs tell
// clearly is set right; what was declared is only held against them. True when
// any time has changed.
func (s *settler) setClocks() bool {
	v := &s.survey_
	if v.track < 0 {
		return false
	}
	home := &s.day.Streams[v.track].Source
	if t := &s.timings[v.track].said; t.From == ClockUnknown {
		t.From = ClockReceiver
	}
	speed := placesSpeed(v.fixes, s.track.Frame)
	if len(speed.T) < 60 {
		return false
	}
	var groups []*group
	by := map[string]*group{}
	for i := range s.day.Streams {
		src := &s.day.Streams[i].Source
		if i == v.track || src.Clock != "" && src.Clock == home.Clock {
			continue
		}
		g := by[src.Clock]
		if src.Clock == "" || g == nil {
			g = &group{name: src.Name}
			groups = append(groups, g)
			if src.Clock != "" {
				g.name = src.Clock
				by[src.Clock] = g
			}
		}
		g.streams = append(g.streams, i)
		g.said = g.said || !math.IsNaN(src.ClockOffset)
	}
	ref := clock.NewReference(speed)
	for _, g := range groups {
		g.fits = s.byReceiver(ref, g)
	}
	s.byEdges(groups, speed.T[0], speed.T[len(speed.T)-1])
	changed := false
	for _, g := range groups {
		if len(g.fits) == 0 {
			continue
		}
		if g.said && !s.compareSaid(g) {
			continue
		}
		for _, i := range g.streams {
			s.timings[i].estimate(g.fits)
			changed = true
		}
		if !g.said {
			s.noteSet(g)
			s.boxes = append(s.boxes, s.boxClock(g, math.NaN()))
		}
	}
	s.stops = standsOf(s.track)
	return changed
}

// boxClock is what the last that is told of a group's clock says, beside what
// was said of it (NaN nothing).
func (s *settler) boxClock(g *group, said float64) find.BoxClock {
	f := g.fits[len(g.fits)-1]
	box, _, _ := strings.Cut(g.name, "/")
	first := len(g.fits) - 1 // from which on it has been off
	from := 0.0
	if !math.IsNaN(said) {
		from = said
	}
	for first > 0 && math.Abs(g.fits[first-1].Offset-from) >= saidApart {
		first--
	}
	b := find.BoxClock{
		Box: box, Offset: f.Offset, Error: half90 * f.SE, Said: said, Parts: len(g.fits),
		From: g.fits[first].From - evenstand.FromSeconds(g.fits[first].Offset), To: f.To - evenstand.FromSeconds(f.Offset),
	}
	for _, i := range g.streams {
		if x := s.day.Streams[i].Source.Grade; x != evenstand.NoGrade && (b.Grade == evenstand.NoGrade || x < b.Grade) {
			b.Grade = x
		}
	}
	return b
}

// standsOf gives when the tractor came to a stand of five seconds at least.
func standsOf(tr *align.Track) (at []evenstand.Micros) {
	const slow, least = 0.25, 5 * evenstand.Second // m/s
	from, said := evenstand.NoTime, false
	for i, t := range tr.T {
		if math.Hypot(tr.VE[i], tr.VN[i]) > slow {
			from, said = evenstand.NoTime, false
			continue
		}
		if from == evenstand.NoTime {
			from = t
		}
		if !said && t-from >= least {
			at, said = append(at, from), true
		}
	}
	return at
}

// placesSpeed gives the speed of the receiver by its own places, from one to
// another a third of a second later at least. The smoothed track is not used:
// where the tractor brakes hard it is late, and that is where clocks show. Each
// step is taken along the way of the six seconds around it, so that a receiver
// that stands does not seem to move.
func placesSpeed(fixes []evenstand.Fix, frame ground.Frame) (s clock.Series) {
	const least = evenstand.Second / 3
	const around = 3 * evenstand.Second
	type place struct {
		t    evenstand.Micros
		e, n float64
	}
	ps := make([]place, 0, len(fixes))
	for _, f := range fixes {
		bad := math.IsNaN(f.Lat) || math.IsNaN(f.Lon) || math.Abs(f.Lat) < 1e-6 && math.Abs(f.Lon) < 1e-6
		if bad || f.Kind == evenstand.FixNone {
			continue
		}
		e, n := frame.ToLocal(f.Lat, f.Lon)
		ps = append(ps, place{f.T, e, n})
	}
	s = clock.NewSeries(len(ps))
	slices.SortStableFunc(ps, func(a, b place) int { return cmp.Compare(a.t, b.t) })
	a, b, j := 0, 0, 0
	for i := range ps {
		for j < len(ps) && ps[j].t-ps[i].t < least {
			j++
		}
		if j == len(ps) {
			break
		}
		dt := ps[j].t - ps[i].t
		if dt > 5*evenstand.Second/2 {
			continue
		}
		mid := ps[i].t + dt/2
		for ps[a].t < mid-around {
			a++
		}
		for b+1 < len(ps) && ps[b+1].t <= mid+around {
			b++
		}
		ue, un := ps[b].e-ps[a].e, ps[b].n-ps[a].n
		if u := math.Hypot(ue, un); u > 0 {
			v := ((ps[j].e-ps[i].e)*ue + (ps[j].n-ps[i].n)*un) / (u * dt.Seconds())
			if math.Abs(v) < 20 {
				s.Add(mid, v)
			}
		}
	}
	return s
}

// byReceiver compares what a group logs with the speed of the receiver's
// places, the best of it first.
func (s *settler) byReceiver(ref *clock.Reference, g *group) []clock.Fit {
	opt := clock.Options{Zones: true}
	// What was said is held against the logs around what was said.
	by := s.declaredOf(g)
	for _, i := range g.streams {
		fits := ref.Pair(earlier(s.heard[i].speed, by), opt)
		if fits = useful(later(fits, by)); fits != nil {
			return fits
		}
	}
	for _, i := range g.streams {
		for _, flow := range []clock.Series{s.heard[i].flow(), s.heard[i].counts()} {
			fits := later(ref.Follow(earlier(flow, by), opt), by)
			for k := range fits {
				fits[k].Offset -= lagUsual
				fits[k].SE = math.Hypot(fits[k].SE, lagSD)
			}
			if fits = useful(fits); fits != nil {
				return fits
			}
		}
	}
	return nil
}

// declaredOf is the offset in s that somebody put on a group's clock, 0 for
// none.
func (s *settler) declaredOf(g *group) float64 {
	for _, i := range g.streams {
		if o := s.day.Streams[i].Source.ClockOffset; !math.IsNaN(o) {
			return o
		}
	}
	return 0
}

// edgesEarlier takes an offset in s out of the times of edges.
func edgesEarlier(es []clock.Edge, by float64) []clock.Edge {
	if by == 0 {
		return es
	}
	out := slices.Clone(es)
	for i := range out {
		out[i].T -= evenstand.FromSeconds(by)
	}
	return out
}

// earlier takes an offset in s out of the times of a series.
func earlier(x clock.Series, by float64) clock.Series {
	if by == 0 {
		return x
	}
	out := clock.Series{T: make([]evenstand.Micros, len(x.T)), V: x.V}
	for i, t := range x.T {
		out.T[i] = t - evenstand.FromSeconds(by)
	}
	return out
}

// later puts an offset in s that was taken out of a series into what is told
// of its clock.
func later(fits []clock.Fit, by float64) []clock.Fit {
	d := evenstand.FromSeconds(by)
	for k := range fits {
		f := &fits[k]
		f.From, f.To, f.At, f.Offset = f.From+d, f.To+d, f.At+d, f.Offset+by
	}
	return fits
}

// useful gives the fits when each is good enough.
func useful(fits []clock.Fit) []clock.Fit {
	for _, f := range fits {
		if !(half90*f.SE <= clockError) {
			return nil
		}
	}
	return fits
}

// byEdges tells the clocks that have neither speed nor seeds by the lifting of
// the planter, over the boxes that log it too. from and to are those of the
// receiver's places.
func (s *settler) byEdges(groups []*group, from, to evenstand.Micros) {
	edges := func(g *group) (*heard, bool) {
		for _, i := range g.streams {
			if h := &s.heard[i]; len(h.edges) > 0 {
				return h, true
			}
		}
		return nil, false
	}
	// Boxes are compared by what is known of them: only what is left may be large.
	known := make([]float64, len(groups))
	for k, g := range groups {
		if len(g.fits) == 1 {
			known[k] = g.fits[0].Offset
		} else {
			known[k] = s.declaredOf(g)
		}
	}
	var links []clock.Link
	var at evenstand.Micros
	// Moments are put on the receiver's clock: hours between the clocks are no time
	// in which they drift.
	for k, g := range groups {
		if len(g.fits) == 1 {
			f := g.fits[0]
			f.At -= evenstand.FromSeconds(f.Offset)
			links = append(links, clock.Link{A: 0, B: k + 1, Fit: f})
			at = f.At
		}
	}
	missing := false
	for k, g := range groups {
		a, ok := edges(g)
		if !ok || len(g.fits) > 1 {
			continue
		}
		for j := k + 1; j < len(groups); j++ {
			b, ok := edges(groups[j])
			if !ok || len(groups[j].fits) > 1 || len(g.fits) > 0 && len(groups[j].fits) > 0 {
				continue
			}
			if fits := clock.Edges(edgesEarlier(a.edges, known[k]), edgesEarlier(b.edges, known[j]), a.stateEvery(), b.stateEvery(), clock.Options{Zones: true}); len(fits) == 1 {
				if len(g.fits) == 1 || g.said {
					fits[0].At -= evenstand.FromSeconds(fits[0].Offset)
				}
				fits[0].Offset += known[j] - known[k]
				fits[0].SE = math.Hypot(fits[0].SE, math.Hypot(a.stateLate(), b.stateLate()))
				links = append(links, clock.Link{A: k + 1, B: j + 1, Fit: fits[0]})
				missing = true
			}
		}
	}
	if !missing || at == 0 {
		return
	}
	for k, f := range clock.Graph(len(groups)+1, links, at) {
		if k > 0 && len(groups[k-1].fits) == 0 && !math.IsNaN(f.Offset) {
			d := evenstand.FromSeconds(f.Offset) // spans are by the box's clock
			f.From, f.To, f.At = from+d, to+d, f.At+d
			groups[k-1].fits = useful([]clock.Fit{f})
		}
	}
}

// compareSaid holds what was said of a clock against the logs. It tells whether
// the logs are believed: a clock that is seconds off what somebody wrote down,
// without saying how sure that is, is a slip of the pen.
func (s *settler) compareSaid(g *group) (overruled bool) {
	f := longest(g.fits)
	sure := slices.ContainsFunc(g.streams, func(i int) bool { return !math.IsNaN(s.day.Streams[i].Source.ClockError) })
	for _, i := range g.streams {
		src := &s.day.Streams[i].Source
		if math.IsNaN(src.ClockOffset) {
			continue
		}
		d := f.Offset - src.ClockOffset
		e := half90 * f.SE
		if !math.IsNaN(src.ClockError) {
			e = math.Hypot(e, src.ClockError)
		}
		if math.Abs(d) <= saidApart+3*e {
			continue
		}
		over := !sure && math.Abs(d) >= saidSlip
		used := "What was said is used: correct or take out what was said, in the logbook or as clock_offset_s in its source.toml."
		if over {
			overruled = true
			used = "What the logs show is used: correct or take out what was said, in the logbook or as clock_offset_s in its source.toml, or say how sure it is."
		} else {
			s.doubt = max(s.doubt, evenstand.FromSeconds(math.Abs(d)))
		}
		s.timings[i].against = d
		b := s.boxClock(g, src.ClockOffset)
		b.Offset, b.Error, b.Overruled = f.Offset, e, over
		s.boxes = slices.DeleteFunc(s.boxes, func(o find.BoxClock) bool { return o.Box == b.Box })
		s.boxes = append(s.boxes, b)
		s.note("The clock of %s is said to be %s; beside the receiver it looks %s to within %.2f s. %s", src.Name, advise.Offset(src.ClockOffset, 2), advise.Offset(f.Offset, 2), half90*f.SE, used)
	}
	return overruled
}

// noteSet says what was done with a clock that nobody has declared.
func (s *settler) noteSet(g *group) {
	if len(g.fits) > 1 {
		var parts []string
		for _, f := range g.fits {
			parts = append(parts, advise.Offset(f.Offset, 2))
		}
		s.note("The clock of %s was set during the day: by the receiver it was %s. Its times are put right; those within two minutes of the setting are doubtful.", g.name, strings.Join(parts, ", then "))
		return
	}
	f := g.fits[0]
	if math.Abs(f.Offset) < saidApart {
		return
	}
	why := ""
	switch q := math.Round(f.Offset/900) * 900; {
	case q != 0 && math.Abs(f.Offset-q) < 120:
		why = ", as a box does that writes local time for UTC"
	case math.Abs(f.Offset-leapSeconds) < half90*f.SE:
		why = ", as a box does that counts GPS time without leap seconds"
	}
	s.note("The clock of %s is %s by the receiver, to within %.2f s%s. Its times are put right.", g.name, advise.Offset(f.Offset, 2), half90*f.SE, why)
}

// leapSeconds is GPS time less UTC since 2017-01-01 (IERS Bulletin C).
const leapSeconds = 18.0

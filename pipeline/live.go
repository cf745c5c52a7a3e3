package pipeline

import (
	"context"
	"fmt"
	"math"
	"slices"

	"evenstand"
	"evenstand/core/align"
	"evenstand/core/align/clock"
	"evenstand/core/find"
	"evenstand/core/ground"
)

// Hold is how long the live pass keeps events back so that the fixes that
// follow them can say where they were, and so that boxes that are a little
// late still come in order. What it finds is raised that much later than the
// evidence came in.
const Hold = evenstand.Second / 2

// pathKept is how much of the path the live pass keeps: a pass of usual length.
const pathKept = 600 * evenstand.Second

// Live is the live pass over one machine-day: the steps of the settled pass,
// driven by a feed. It knows what has come so far and nothing else. Clocks are
// those that the sources declare, or else what arrives and the seeds tell; the
// lag of the seeds is learnt as the day goes on; the track is filtered, and passes open and close when lift,
// work states or seeds say so. Memory does not grow with the day, but for a
// line a pass and a finding.
//
// Hand in what comes with Fix, Seed and Reading, and say with Now how far time
// has come. It is for one goroutine.
type Live struct {
	s       settler
	track   *align.Causal
	down    *align.DownWatch
	turn    align.TurnWatch
	cursor  *align.Cursor
	watch   *find.Watcher
	regions []*ground.Region
	numbers map[string]int // passes by field

	queue   []event
	head    int
	now     evenstand.Micros
	at      evenstand.Micros // time up to which path and passes were carried
	rolled  evenstand.Micros // when the bar last rolled
	fixes   []fixSeen        // by stream
	heard   []heardFix       // not handed to the engine yet
	weighed evenstand.Micros // when the streams of fixes were last compared
	lags    []lagSums        // by stream
	apart   []int            // by stream: words in a row that came at another time than they say
	ahead   []int            // by stream: words of what was still to come
	target  evenstand.Reading
	out     []find.Change
	checks  checks
}

// event is a seed or a reading that is kept back.
type event struct {
	t       evenstand.Micros
	stream  int
	seed    evenstand.Seed // Row 0: a reading
	reading evenstand.Reading
}

// heardFix is a fix of which the engine does not know yet.
type heardFix struct {
	stream int
	track  bool // of the receiver that is followed
	fix    evenstand.Fix
}

// fixSeen counts a stream's fixes since streams were last compared.
type fixSeen struct {
	n    int
	last evenstand.Micros
}

const (
	clockApart = 1.0 // s by which a clock may seem wrong by what arrives (judged: nets and boxes are that late)
	clockSure  = 20  // words in a row after which a clock is told, or was set

	// aheadMost is how far a word may be ahead of its time: what is ahead is
	// kept back until then (judged: Now may be said a second or two late).
	aheadMost = 5 * evenstand.Second

	fixWeigh  = 60 * evenstand.Second // between comparisons of receivers
	fixSilent = 5 * evenstand.Second  // after which another receiver is taken
	notEnded  = evenstand.Micros(math.MaxInt64 / 2)
)

// NewLive starts a machine-day. Of day.Streams only the sources are looked at:
// their order, clocks and cards.
func NewLive(ctx context.Context, day Day) (*Live, error) {
	l := &Live{now: evenstand.NoTime, at: evenstand.NoTime, numbers: map[string]int{}}
	l.s = settler{ctx: ctx, day: day, card: day.Card, live: l, next: evenstand.NoTime}
	s := &l.s
	var err error
	if s.midnight, err = nextDay(day.Date, day.Zone); err != nil {
		return nil, err
	}
	for i := range day.Streams {
		if c := day.Streams[i].Source.Card; c != nil {
			s.card = mergeCard(s.card, *c)
		}
	}
	s.clipCard()
	n := len(day.Streams)
	s.survey_.track, s.survey_.first, s.survey_.last = -1, evenstand.NoTime, evenstand.NoTime
	s.survey_.sources = make([]sourceSeen, n)
	s.clocks = make([]seedClock, n)
	s.timings = make([]timing, n)
	for i := range s.timings {
		s.timings[i].declare(&day.Streams[i].Source)
	}
	l.fixes, l.lags = make([]fixSeen, n), make([]lagSums, n)
	for i := range l.lags {
		l.lags[i].drifts = s.timings[i].said.From == ClockUnknown
	}
	l.apart, l.ahead = make([]int, n), make([]int, n)
	l.track = align.NewCausal(s.card.Geometry, align.DefaultSmooth(), align.DefaultPath())
	l.down = align.NewDownWatch(s.card.Rows)
	s.path = l.track.Path()
	l.cursor = s.path.Cursor()
	s.start()
	s.noted = slices.Clone(day.Lots)
	l.watch = s.engine.Watch()
	if day.Settings != nil {
		l.checks.boxes = day.Settings()
	}
	return l, nil
}

// comes puts a time on the one clock, and tells whether it is this day's.
func (l *Live) comes(stream int, t *evenstand.Micros, fix bool) bool {
	if fix {
		*t = l.s.timings[stream].at(*t)
	} else {
		*t = l.arrived(stream, *t)
	}
	if *t < l.s.day.From || *t >= l.s.midnight && !l.overMidnight() {
		return false
	}
	if l.s.next == evenstand.NoTime {
		l.s.next = *t/evenstand.Second*evenstand.Second + evenstand.Second
		l.s.survey_.first = *t
	}
	l.s.survey_.last = max(l.s.survey_.last, *t)
	return true
}

// arrived puts the time of a word on the one clock. It tells the clock of a
// box of which nobody has said anything by when its words arrive: one that
// writes local time for UTC, or was never set. What is left of the offset is
// learnt with the lag of the seeds. A word is taken as of when it came while
// the clock is not told yet, and when it claims to be of what is still to come.
func (l *Live) arrived(stream int, t evenstand.Micros) evenstand.Micros {
	s := &l.s
	m := &s.timings[stream]
	if l.now == evenstand.NoTime {
		return m.at(t)
	}
	v := s.survey_.track
	switch {
	case m.said.From != ClockUnknown:
	case l.home(stream): // what it seemed to be before there were fixes is of no use
		m.fits = nil
	case math.Abs((m.at(t) - l.now).Seconds()) <= clockApart:
		l.apart[stream] = 0
	default:
		if l.apart[stream]++; l.apart[stream] < clockSure {
			if len(m.fits) == 0 {
				return l.now
			}
			break
		}
		l.apart[stream] = 0
		for _, i := range l.tell(stream, (t - l.now).Seconds()) {
			l.lags[i].blocks = nil // they were of another clock
		}
	}
	t = m.at(t)
	latest := l.now // the receiver may be ahead of whoever calls Now
	if v >= 0 {
		latest = max(latest, l.fixes[v].last)
	}
	if t <= latest+aheadMost {
		return t
	}
	if l.ahead[stream]++; l.ahead[stream] >= clockSure {
		m.against = (t - latest).Seconds()
	}
	return latest + evenstand.Micros(l.ahead[stream]%int(feedStep)) // in the order in which they come
}

// home tells whether a stream is on the receiver's clock.
func (l *Live) home(stream int) bool {
	v := l.s.survey_.track
	return v >= 0 && l.same(stream, v)
}

// same tells whether two streams are on one clock.
func (l *Live) same(a, b int) bool {
	c := l.s.day.Streams[a].Source.Clock
	return a == b || c != "" && c == l.s.day.Streams[b].Source.Clock
}

// tell takes the clock of a stream of which nobody has said anything to be off
// by so many s, and gives the streams that are on it.
func (l *Live) tell(stream int, offset float64) (on []int) {
	for i := range l.s.timings {
		if m := &l.s.timings[i]; m.said.From == ClockUnknown && l.same(i, stream) {
			m.fits = []clock.Fit{{Offset: offset}}
			on = append(on, i)
		}
	}
	return on
}

// retell puts the clocks of which nobody has said anything right by their
// seeds, as the settled pass does: what no drive explains of the time by which
// these follow the speed is the clock's, which drifts.
func (l *Live) retell() {
	for i := range l.lags {
		if !l.lags[i].drifts || l.home(i) {
			continue
		}
		lag, half, ok := l.lags[i].fit(l.at)
		by := lag - lagUsual
		if !ok || half > lagErrorMost || math.Abs(by) < lagSD {
			continue
		}
		offset := by
		if f := l.s.timings[i].fits; len(f) > 0 {
			offset += f[0].Offset
		}
		on := l.tell(i, offset)
		for _, j := range on {
			l.lags[j].shift(by)
		}
		kept := l.queue[l.head:]
		for j := range kept {
			if e := &kept[j]; slices.Contains(on, e.stream) {
				e.t -= evenstand.FromSeconds(by)
				e.seed.T, e.reading.T = e.t, e.t
			}
		}
		slices.SortStableFunc(kept, func(a, b event) int {
			switch {
			case a.after(&b):
				return 1
			case b.after(&a):
				return -1
			}
			return 0
		})
	}
}

// Notes says what the live pass had to make of what came.
func (l *Live) Notes() (notes []string) {
	for i, n := range l.ahead {
		if n > 0 {
			notes = append(notes, fmt.Sprintf("%d words of %s bear times more than %.0f s after they came. They are taken as of when they came: correct clock_offset_s in its source.toml.", n, l.s.day.Streams[i].Source.Name, aheadMost.Seconds()))
		}
	}
	return notes
}

// overMidnight tells whether a pass is open that began before midnight.
func (l *Live) overMidnight() bool {
	s := &l.s
	return s.cur < len(s.passes)
}

// Fix takes a position of the receiver.
func (l *Live) Fix(stream int, f evenstand.Fix) {
	if !l.comes(stream, &f.T, true) {
		return
	}
	v := &l.s.survey_
	l.fixes[stream].n++
	l.fixes[stream].last = f.T
	switch {
	case v.track < 0:
		v.track, l.weighed = stream, f.T
	case stream == v.track:
	case f.T-l.fixes[v.track].last > fixSilent:
		v.track = stream
	}
	if f.T-l.weighed >= fixWeigh { // of two receivers the one that says more
		for i := range l.fixes {
			if 2*l.fixes[i].n > 3*l.fixes[v.track].n {
				v.track = i
			}
		}
		for i := range l.fixes {
			l.fixes[i].n = 0
		}
		l.weighed = f.T
	}
	if stream == v.track {
		l.track.Fix(f)
	}
	l.heard = append(l.heard, heardFix{stream, stream == v.track, f})
}

// hearFixes hands the fixes before t to the engine, as the settled pass does.
func (l *Live) hearFixes(t evenstand.Micros) {
	keep := l.heard[:0]
	for _, h := range l.heard {
		switch {
		case h.fix.T >= t:
			keep = append(keep, h)
		case h.track:
			l.s.engine.Fix(h.stream, h.fix)
		default:
			l.s.engine.Heard(h.stream, h.fix.T)
		}
	}
	l.heard = keep
}

// Seed takes a seed that a row's sensor saw.
func (l *Live) Seed(stream int, x evenstand.Seed) {
	if l.comes(stream, &x.T, false) && x.Row >= 1 {
		l.grow(int(x.Row))
		l.push(event{t: x.T, stream: stream, seed: x})
	}
}

// Reading takes a reading.
func (l *Live) Reading(stream int, x evenstand.Reading) {
	if !l.comes(stream, &x.T, false) {
		return
	}
	if x.Element.Scope == evenstand.ScopeRow && x.Quantity != evenstand.Raw {
		l.grow(int(x.Element.N))
	}
	l.push(event{t: x.T, stream: stream, reading: x})
}

// Entry takes a line of a journal, which is of when it came at the latest.
func (l *Live) Entry(stream int, x evenstand.Entry) {
	s := &l.s
	x.T = s.timings[stream].at(x.T)
	if x.What == "fix" || x.What == "setting" {
		l.done(&x)
	}
	if !s.heeds(&x) {
		return
	}
	i := len(s.noted)
	for i > 0 && s.noted[i-1].T > x.T {
		i--
	}
	s.noted = slices.Insert(s.noted, i, x)
}

// push keeps an event back in order of time; of one time readings come before
// seeds, and streams in their order.
func (l *Live) push(e event) {
	if l.head > 0 && len(l.queue) == cap(l.queue) {
		l.queue = l.queue[:copy(l.queue, l.queue[l.head:])]
		l.head = 0
	}
	i := len(l.queue)
	for i > l.head && l.queue[i-1].after(&e) {
		i--
	}
	l.queue = slices.Insert(l.queue, i, e)
}

func (a *event) after(b *event) bool {
	if a.t != b.t {
		return a.t > b.t
	}
	if x, y := a.seed.Row > 0, b.seed.Row > 0; x != y {
		return x
	}
	return a.stream > b.stream
}

// Now says that everything before t has come, and gives what changed.
func (l *Live) Now(t evenstand.Micros) ([]find.Change, error) {
	l.now = max(l.now, t)
	return l.decide(l.now - Hold)
}

// End takes what was kept back: the feed has ended.
func (l *Live) End() ([]find.Change, error) {
	if l.s.next == evenstand.NoTime {
		return nil, nil
	}
	return l.decide(l.s.survey_.last + 3*evenstand.Second)
}

// decide takes the events before t and decides at the full seconds up to it.
func (l *Live) decide(t evenstand.Micros) ([]find.Change, error) {
	l.out = l.out[:0]
	s := &l.s
	if s.next == evenstand.NoTime {
		return nil, nil
	}
	for l.head < len(l.queue) && l.queue[l.head].t < t {
		e := &l.queue[l.head]
		l.head++
		if err := s.until(e.t); err != nil {
			return l.out, err
		}
		l.carry(e.t)
		var err error
		if e.seed.Row > 0 {
			l.lags[e.stream].seed(e.t)
			l.down.Seed(e.seed)
			err = s.takeSeed(&e.seed, e.stream)
		} else {
			l.down.Reading(e.reading)
			if l.checks.boxes != nil {
				l.checks.boxes.Reading(e.stream, &e.reading)
			}
			err = s.takeReading(&e.reading, e.stream)
		}
		if err != nil {
			return l.out, err
		}
	}
	err := s.until(t)
	return l.out, err
}

// ticked looks at what the engine decided.
func (l *Live) ticked() {
	for _, r := range l.s.rows {
		r.trim()
	}
	was := l.watch.Look()
	l.follow(was)
	l.out = append(l.out, l.locate(was)...)
	l.giveSlices(l.at)
	l.out = append(l.out, l.locate(l.checked(l.at))...)
}

func (l *Live) locate(cs []find.Change) []find.Change {
	for i := range cs {
		l.s.locate(&cs[i].Finding)
	}
	return cs
}

// Standing gives the findings that stand raised, ended ones included, with
// their numbers.
func (l *Live) Standing() ([]evenstand.Finding, []int) {
	fs, ns := l.watch.Standing()
	for i := range fs {
		l.s.locate(&fs[i])
	}
	return fs, ns
}

// Card gives the planter card as the sources have filled it.
func (l *Live) Card() evenstand.Card { return l.s.card }

// grow makes room for a row when the card does not say how many there are.
func (l *Live) grow(n int) {
	s := &l.s
	if s.day.Card.Rows > 0 || n <= len(s.rows) || n > evenstand.MaxRows {
		return
	}
	s.card.Rows, s.rowLists = n, nil
	for i := len(s.rows) + 1; i <= n; i++ {
		s.rows = append(s.rows, newRowState(i, &s.card))
		s.sideOf = append(s.sideOf, -1)
	}
	for _, r := range s.rows {
		if r.y = s.card.Y(r.n); math.IsNaN(r.y) {
			r.y = 0
		}
	}
	if l.target.Quantity == evenstand.SeedRateTarget { // told to the machine before
		for _, r := range s.rows {
			s.setTarget(r, l.target.Value, l.target.T)
		}
	}
}

// carry brings path and passes up to t.
func (l *Live) carry(t evenstand.Micros) {
	if l.at != evenstand.NoTime && t <= l.at {
		return
	}
	l.at = t
	l.track.Until(t)
	l.track.Forget(t - pathKept)
	s := &l.s
	pose := l.cursor.At(t)
	passing, rolls := pose.Passing()
	still := func(since evenstand.Micros) bool {
		if since < t-pathKept {
			return false
		}
		return align.Stood(l.cursor.At(since), pose)
	}
	down, since, _ := l.down.At(t, still)
	var last *evenstand.Pass // not handed over yet
	if s.cur < len(s.passes) {
		last = &s.passes[len(s.passes)-1]
	}
	switch {
	case last != nil && last.End == notEnded && !down:
		end := min(since, t)
		if !rolls && l.rolled > last.Start {
			end = min(end, l.rolled+1)
		}
		last.End = max(end, last.Start+1)
		last.S1 = pose.S
	case last != nil && last.End == notEnded:
		if rolls && l.turn.Turned(pose) {
			last.End, last.S1 = t, pose.S
			l.open(t, pose)
		}
	case down && last != nil && since-last.End <= passCloses: // a short lift parts nothing
		last.End = notEnded
		if s.open && !s.lowered {
			s.lowered = true
			s.engine.Lower(t)
		}
	case down && passing && t < s.midnight:
		from := since
		if n := len(s.passes); n > 0 {
			from = max(from, s.passes[n-1].End)
		}
		start := s.path.Rolling(from, t)
		l.open(start, l.cursor.At(start))
	}
	if rolls {
		l.rolled = t
	}
	for i := range l.lags {
		l.lags[i].learn(l, t)
	}
}

// whole tells whether all of a pass that is over is still kept.
func (l *Live) whole(p *evenstand.Pass) bool {
	t := l.s.path.T
	return len(t) > 0 && t[0] <= p.Start && !slices.ContainsFunc(l.s.rows, func(r *rowState) bool { return r.strBase > 0 })
}

// open begins a pass.
func (l *Live) open(start evenstand.Micros, pose align.Pose) {
	s := &l.s
	if l.regions == nil && len(s.day.Fields) > 0 {
		for _, f := range s.day.Fields {
			l.regions = append(l.regions, ground.NewRegion(s.path.Frame, f))
		}
	}
	p := evenstand.Pass{
		Index: int32(len(s.passes)), Planter: s.day.Planter, Key: s.day.Planter + "/" + start.Time().Format("20060102T150405Z"),
		Start: start, End: notEnded, S0: pose.S, S1: pose.S, Heading: math.NaN(), PosError: math.NaN(), Field: evenstand.Unassigned,
	}
	for _, r := range l.regions {
		if r.Contains(pose.E, pose.N) {
			p.Field = r.Name
			break
		}
	}
	l.numbers[p.Field]++
	p.Number = l.numbers[p.Field]
	s.passes = append(s.passes, p)
	l.turn.Reset()
	l.retell()
	for i := range s.clocks { // also of streams of which no seed has come yet
		s.clocks[i] = s.judgeClock(i)
	}
	s.res.Notes = s.res.Notes[:0] // the settled pass says them
}

// inPass tells whether a quarter second that begins at t lies well inside a
// pass, as estimateLag wants it.
func (l *Live) inPass(t evenstand.Micros) bool {
	for i := len(l.s.passes) - 1; i >= 0; i-- {
		p := &l.s.passes[i]
		if t >= p.Start+3*evenstand.Second/2 {
			return t < p.End-2*evenstand.Second
		}
	}
	return false
}

// seedLag gives by how much the seeds of a stream follow the speed: over the
// whole day, or in the live pass over what has come of it.
func (s *settler) seedLag(i int) (lag, half float64, ok bool) {
	if s.live != nil {
		return s.live.lags[i].fit(s.live.at)
	}
	return s.estimateLag(&s.survey_.seeds[i])
}

// lagBins is how many quarter seconds are kept until their lag can be learnt
// from: more than lagHigh and the second that the speed is looked at after.
const lagBins = 40

// lagSums learns the lag of one stream's seeds: the sums of estimateLag, a
// quarter second at a time. The lag of a clock that drifts changes with time:
// then they are summed by blocks, of which the last ones are kept.
type lagSums struct {
	bins       [lagBins]uint16
	seen       int64 // index of the newest quarter second
	done       int64 // of the next to learn from
	drifts     bool  // nobody has said that its clock runs with the receiver's
	blocks     []lagBlock
	then, late *align.Cursor
}

// lagBlock is the sums over some quarter seconds.
type lagBlock struct {
	n      int
	at     float64 // s, sum of their times since the first
	first  evenstand.Micros
	by     float64 // s, by which the clock has been put right since
	yy     float64
	xx, xy [lagCount]float64
}

// Of a clock that drifts the blocks of some three quarters of an hour of
// planting are kept. Quartz is within 50 ppm (methods k).
const (
	lagBlockSize = 200 // quarter seconds in which the speed changes: about a pass
	lagBlocks    = 12
	driftSD      = 50e-6
	driftStep    = 10e-6
	driftMost    = 150e-6
)

// lagCount is the number of lags looked at.
const lagCount = (lagHigh-lagLow)/lagStep + 1

// seed counts a seed.
func (v *lagSums) seed(t evenstand.Micros) {
	k := int64(t / binWidth)
	v.reach(k)
	if k > v.seen-lagBins && v.bins[k%lagBins] < math.MaxUint16 {
		v.bins[k%lagBins]++
	}
}

// reach makes room for the quarter second k.
func (v *lagSums) reach(k int64) {
	if v.seen == 0 || k-v.seen > lagBins {
		v.bins, v.seen, v.done = [lagBins]uint16{}, k, k
	}
	for v.seen < k {
		v.seen++
		v.bins[v.seen%lagBins] = 0
	}
}

// learn takes the quarter seconds of which enough of the path is known at t.
func (v *lagSums) learn(l *Live, t evenstand.Micros) {
	if v.seen == 0 {
		return
	}
	const settled = 4 * evenstand.Second // lagLow before, and a second to see the speed change
	w := binWidth.Seconds()
	for ; v.done < v.seen && evenstand.Micros(v.done)*binWidth+settled < t; v.done++ {
		if v.done <= v.seen-lagBins {
			continue
		}
		from := evenstand.Micros(v.done) * binWidth
		if !l.inPass(from) {
			continue
		}
		if v.then == nil {
			v.then, v.late = l.s.path.Cursor(), l.s.path.Cursor()
		}
		a, b := v.then.At(from-evenstand.Second), v.late.At(from+evenstand.Second)
		if !a.OK || !b.OK || math.Abs(b.V-a.V) <= lagMoves {
			continue
		}
		y := float64(v.bins[v.done%lagBins])
		k := v.block(from)
		k.n++
		k.at += (from - k.first).Seconds()
		k.yy += y * y
		for j := range k.xx {
			lag := lagLow + float64(j)*lagStep
			later, _ := v.late.Way(from + evenstand.FromSeconds(w-lag))
			now, _ := v.then.Way(from - evenstand.FromSeconds(lag))
			x := later - now
			k.xx[j] += x * x
			k.xy[j] += x * y
		}
	}
}

// block is the block that a quarter second belongs to.
func (v *lagSums) block(t evenstand.Micros) *lagBlock {
	n := len(v.blocks)
	if n > 0 && !(v.drifts && v.blocks[n-1].n >= lagBlockSize) {
		return &v.blocks[n-1]
	}
	if n == lagBlocks {
		v.blocks = slices.Delete(v.blocks, 0, 1)
	}
	v.blocks = append(v.blocks, lagBlock{first: t})
	return &v.blocks[len(v.blocks)-1]
}

// fit gives the lag at t that fits best so far. Of the drifts of a clock that
// may drift the one is taken that fits best beside what clocks usually do.
func (v *lagSums) fit(t evenstand.Micros) (lag, half float64, ok bool) {
	n := 0
	for i := range v.blocks {
		n += v.blocks[i].n
	}
	if n < lagLeast {
		return 0, math.Inf(1), false
	}
	most := 0
	if v.drifts {
		most = int(math.Round(driftMost / driftStep))
	}
	var fits [][]float64
	least := math.Inf(1)
	for d := -most; d <= most; d++ {
		sse := v.errors(float64(d)*driftStep, t)
		if sse == nil {
			return 0, math.Inf(1), false
		}
		fits = append(fits, sse)
		least = math.Min(least, slices.Min(sse))
	}
	best, at := math.Inf(1), 0
	for i, sse := range fits {
		d := float64(i-most) * driftStep
		// As bestLag has it: 2 for quarter seconds that are not independent.
		if c := slices.Min(sse)/(2*2*least/float64(n)) + 0.5*(d/driftSD)*(d/driftSD); c < best {
			best, at = c, i
		}
	}
	return bestLag(fits[at], n)
}

// shift says that the clock is put right by so many s.
func (v *lagSums) shift(by float64) {
	for i := range v.blocks {
		v.blocks[i].by += by
	}
}

// errors gives the squared error of each lag at t for a clock of a drift; nil
// when the machine has not moved.
func (v *lagSums) errors(drift float64, t evenstand.Micros) []float64 {
	sse := make([]float64, lagCount)
	for j := range sse {
		var xx, xy, yy float64
		for i := range v.blocks {
			k := &v.blocks[i]
			age := (t - k.first).Seconds() - k.at/float64(k.n)
			// Between two lags, and no further than they go.
			x := math.Min(lagCount-1, math.Max(0, float64(j)+(k.by-drift*age)/lagStep))
			lo := min(int(x), lagCount-2)
			f := x - float64(lo)
			xx += (1-f)*k.xx[lo] + f*k.xx[lo+1]
			xy += (1-f)*k.xy[lo] + f*k.xy[lo+1]
			yy += k.yy
		}
		if xx == 0 {
			return nil
		}
		sse[j] = yy - xy*xy/xx
	}
	return sse
}

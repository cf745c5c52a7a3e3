package level

import (
	"cmp"
	"math"
	"slices"

	"evenstand"
)

// binWidth is how long one mean of a log is. Judgement: shorter than any setting
// holds, longer than the noise of a reading.
const binWidth = 5 * evenstand.Second

// Log is a level as it was logged.
type Log struct{ bins []bin }

type bin struct {
	at  int64 // of binWidth
	sum float64
	n   int32
}

// Add takes the next reading, in order of time or nearly.
func (l *Log) Add(t evenstand.Micros, v float64) {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return
	}
	at := int64(t / binWidth)
	if k := len(l.bins) - 1; k >= 0 && l.bins[k].at >= at {
		for ; k > 0 && l.bins[k].at > at; k-- {
		}
		if l.bins[k].at == at {
			l.bins[k].sum += v
			l.bins[k].n++
		}
		return // what comes out of order into no bin is one reading of many
	}
	l.bins = append(l.bins, bin{at, v, 1})
}

// Len is how many means there are.
func (l *Log) Len() int { return len(l.bins) }

// Span is a time of work: a pass.
type Span struct{ From, To evenstand.Micros }

// Step is a change from one level to another.
type Step struct {
	T           evenstand.Micros // when the new level was there first
	Early, Late evenstand.Micros // nothing between them tells of it
	Was, To     float64
}

// Rule says what counts as a step of a quantity, in its unit. Numbers are
// judgement: what people set on purpose.
type Rule struct {
	Least float64 // the least change
	Part  float64 // and as a part of the level
	Calm  float64 // most scatter within a level; 0: any
	Stops bool    // it falls when its drive stops, which is no setting
}

// RuleOf gives the rule of a quantity; false where none is known.
func RuleOf(q evenstand.Quantity) (Rule, bool) {
	switch q {
	case evenstand.CleanerPressure, evenstand.CloserPressure:
		return Rule{Least: 1e4, Part: 0.05}, true // 1.5 psi
	case evenstand.Vacuum:
		return Rule{Least: 200, Part: 0.03, Stops: true}, true // 0.8 in of water
	case evenstand.FanSpeed:
		return Rule{Least: 1, Part: 0.02, Stops: true}, true // 60 rpm
	case evenstand.HydraulicPressure:
		return Rule{Least: 3e5, Part: 0.05, Stops: true}, true // 44 psi
	case evenstand.AppliedForce:
		// Automatic force is never so calm over a minute of work.
		return Rule{Least: 35, Part: 0.03, Calm: 12}, true // 8 lbf
	case evenstand.GroundSpeed:
		return Rule{Least: 0.2, Part: 0.05}, true // 0.45 mph
	}
	return Rule{}, false
}

const (
	settles   = 8 * evenstand.Second // after lowering in which a level comes in, and …
	leaves    = 3 * evenstand.Second // … before lifting. Judgement
	timesDay  = 6.0                  // a step stands out by so much from how the differences of the day scatter
	timesHere = 4.0                  // and from the scatter on either side
	fewest    = 6                    // means on either side
	strays    = 0.12                 // most of the means on a side that are nearer to the other
	stopped   = 0.4                  // a level below this part of the other is that of a drive that stopped
)

// windows are how long a level is looked at before and after, of work: the first
// is how long it must hold.
var windows = [...]evenstand.Micros{60 * evenstand.Second, 180 * evenstand.Second, 600 * evenstand.Second}

// point is a mean at work.
type point struct {
	t evenstand.Micros // its middle, on the one clock
	v float64
}

// working gives the means while the planter worked, on the one clock.
func (l *Log) working(work []Span, clock func(evenstand.Micros) evenstand.Micros) (out []point, dt evenstand.Micros) {
	k := 0
	var gaps []evenstand.Micros
	for _, b := range l.bins {
		t := clock(evenstand.Micros(b.at)*binWidth + binWidth/2)
		for k < len(work) && t >= work[k].To-leaves {
			k++
		}
		if k == len(work) {
			break
		}
		if t < work[k].From+settles {
			continue
		}
		if n := len(out); n > 0 {
			gaps = append(gaps, t-out[n-1].t)
		}
		out = append(out, point{t, b.sum / float64(b.n)})
	}
	if len(gaps) == 0 {
		return out, binWidth
	}
	slices.Sort(gaps)
	return out, max(binWidth, gaps[len(gaps)/2])
}

type candidate struct {
	i    int
	size float64
	step Step
}

// Steps tells when the level was set anew. Work is in order of time; clock takes
// the box's clock to the one of work.
func (l *Log) Steps(r Rule, work []Span, clock func(evenstand.Micros) evenstand.Micros) []Step {
	x, dt := l.working(work, clock)
	if len(x) < 2*fewest {
		return nil
	}
	sum := make([]float64, len(x)+1)
	for i := range x {
		sum[i+1] = sum[i] + x[i].v
	}
	// Short windows first: what they tell is not told again by longer ones, in
	// which it lies.
	var took []candidate
	for _, window := range windows {
		w := max(fewest, int((window+dt-1)/dt))
		if len(x) < 2*w+1 {
			break
		}
		d := func(i int) float64 { // across the mean at i, which may be in between
			return (sum[i+1+w] - sum[i+1] - sum[i] + sum[i-w]) / float64(w)
		}
		var size []float64
		for i := w; i+1+w <= len(x); i += max(1, w/3) {
			size = append(size, math.Abs(d(i)))
		}
		noise := median(size) / 0.6745
		var all []candidate
		for i := w; i+1+w <= len(x); i++ {
			least := math.Max(math.Max(r.Least, r.Part*math.Abs(sum[i]-sum[i-w])/float64(w)), timesDay*noise)
			if math.Abs(d(i)) < 0.9*least {
				continue
			}
			if step, ok := r.look(x, i, w, least); ok {
				all = append(all, candidate{i, math.Abs(d(i)), step})
			}
		}
		// The difference is most where the step is.
		slices.SortStableFunc(all, func(a, b candidate) int { return cmp.Compare(b.size, a.size) })
		for _, c := range all {
			if !slices.ContainsFunc(took, func(o candidate) bool { return max(c.i-o.i, o.i-c.i) <= w }) {
				took = append(took, c)
			}
		}
	}
	slices.SortFunc(took, func(a, b candidate) int { return cmp.Compare(a.i, b.i) })
	var out []Step
	for _, c := range took {
		// The longer it was steady, the better the levels are known.
		for _, window := range windows[1:] {
			w := int((window + dt - 1) / dt)
			if c.i < w || c.i+1+w > len(x) {
				break
			}
			s, ok := r.look(x, c.i, w, c.size/2)
			if !ok {
				break
			}
			c.step.Was, c.step.To = s.Was, s.To
		}
		l.pin(&c.step, clock)
		out = append(out, c.step)
	}
	return out
}

// look takes a close look at a place: robust levels, their scatter, and whether
// they were steady.
func (r *Rule) look(x []point, i, w int, least float64) (Step, bool) {
	left, right := values(x[i-w:i]), values(x[i+1:i+1+w])
	was, to := median(left), median(right)
	step := math.Abs(to - was)
	if step < least {
		return Step{}, false
	}
	scatter := math.Max(around(left, was), around(right, to))
	if step < timesHere*scatter || r.Calm > 0 && scatter > r.Calm {
		return Step{}, false
	}
	if r.Stops && math.Min(math.Abs(was), math.Abs(to)) < stopped*math.Max(math.Abs(was), math.Abs(to)) {
		return Step{}, false
	}
	for s, side := range [][]point{x[i-w : i], x[i+1 : i+1+w]} {
		own, other := was, to
		if s == 1 {
			own, other = to, was
		}
		stray := 0
		for _, p := range side {
			if math.Abs(p.v-other) < math.Abs(p.v-own) {
				stray++
			}
		}
		if float64(stray) > strays*float64(w) {
			return Step{}, false // it did not hold
		}
		if math.Abs(median(values(side[:w/2]))-median(values(side[w-w/2:]))) > step/4 {
			return Step{}, false // a ramp, or another step
		}
	}
	// The mean in between is of the side that it is nearer to.
	early, late := x[i-1].t, x[i].t
	if math.Abs(x[i].v-was) < math.Abs(x[i].v-to) {
		early, late = x[i].t, x[i+1].t
	}
	return Step{late, early, late, was, to}, true
}

// pin narrows the time of a step that was made while the planter was lifted by
// what was logged meanwhile.
func (l *Log) pin(s *Step, clock func(evenstand.Micros) evenstand.Micros) {
	middle := (s.Was + s.To) / 2
	up := s.To > s.Was
	for _, b := range l.bins {
		t := clock(evenstand.Micros(b.at)*binWidth + binWidth/2)
		if t <= s.Early || t > s.Late {
			continue
		}
		v := b.sum / float64(b.n)
		if math.Abs(v-s.To) > math.Abs(s.To-s.Was) && math.Abs(v-s.Was) > math.Abs(s.To-s.Was) {
			continue // neither: it stands while lifted
		}
		if (v > middle) == up {
			s.T, s.Late = t, t
			break
		}
		s.Early = t
	}
	s.Early -= binWidth / 2
	s.Late += binWidth / 2
	s.T = max(s.Early, s.T-binWidth/2)
}

func values(x []point) []float64 {
	out := make([]float64, len(x))
	for i := range x {
		out[i] = x[i].v
	}
	return out
}

// median gives the middle value; it leaves the slice sorted.
func median(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	slices.Sort(v)
	n := len(v)
	return (v[(n-1)/2] + v[n/2]) / 2
}

// around gives the scatter of values about a level, as an SD.
func around(v []float64, at float64) float64 {
	d := make([]float64, len(v))
	for i := range v {
		d[i] = math.Abs(v[i] - at)
	}
	return median(d) / 0.6745
}

const (
	shortPass  = 40 * evenstand.Second // a pass shorter than this at speed tells no speed. Judgement
	timesSpeed = 5.0                   // the passes' own scatter
)

// Passes tells when a speed was changed for a whole pass and more.
func (l *Log) Passes(r Rule, work []Span, clock func(evenstand.Micros) evenstand.Micros) []Step {
	x, _ := l.working(work, clock)
	usual := median(values(x))
	x = slices.DeleteFunc(x, func(p point) bool { return p.v < usual/2 }) // it stands, or begins to
	type pass struct {
		from, to int // points
		v        float64
	}
	var ps []pass
	for i := 0; i < len(x); {
		k, _ := slices.BinarySearchFunc(work, x[i].t, func(s Span, t evenstand.Micros) int { return cmp.Compare(s.To, t) })
		j := i
		for j < len(x) && k < len(work) && x[j].t <= work[k].To {
			j++
		}
		if j == i {
			i++
			continue
		}
		if time := evenstand.Micros(j-i) * binWidth; time >= shortPass {
			ps = append(ps, pass{i, j, median(values(x[i:j]))})
		}
		i = j
	}
	if len(ps) < 4 {
		return nil
	}
	var d []float64
	for i := 1; i < len(ps); i++ {
		d = append(d, math.Abs(ps[i].v-ps[i-1].v))
	}
	noise := median(d) / 0.6745 / math.Sqrt2
	var long []float64
	for _, p := range ps {
		long = append(long, float64(p.to-p.from))
	}
	usualLong := median(long)
	// A short pass tells its speed less well.
	scatter := func(p pass) float64 { return noise * math.Max(1, math.Sqrt(usualLong/float64(p.to-p.from))) }
	var out []Step
	since := 0 // first pass of the level that holds
	for i := 1; i < len(ps); i++ {
		// What holds now: up to the last five passes of it.
		var of []float64
		for k := max(since, i-5); k < i; k++ {
			of = append(of, ps[k].v)
		}
		level := median(of)
		least := math.Max(math.Max(r.Least, r.Part*level), timesSpeed*math.Hypot(scatter(ps[i]), noise/math.Sqrt(float64(len(of)))))
		to := ps[i]
		if math.Abs(to.v-level) < least {
			continue
		}
		// A short one stands for a speed only if the next is driven at it too.
		if float64(to.to-to.from) < usualLong/2 && (i+1 >= len(ps) || math.Abs(ps[i+1].v-to.v) > least/2) {
			continue
		}
		// A pass on which it was changed lies between: the next one says to what.
		next := i
		if i+1 < len(ps) && (ps[i+1].v-level)*(to.v-level) > 0 && math.Abs(ps[i+1].v-level) > math.Abs(to.v-level)+least/2 {
			next = i + 1
		}
		s := Step{Was: level, To: ps[next].v}
		a, b := ps[i-1].from, ps[next].to
		at := split(x[a:b], s.Was, s.To) + a
		s.Early, s.Late = x[max(at-1, 0)].t, x[at].t
		s.T = s.Late
		l.pin(&s, clock)
		out = append(out, s)
		since = next
		i = next
	}
	return out
}

// split gives where a series falls best into two levels: the first point of the
// second.
func split(x []point, was, to float64) int {
	low, high := min(was, to), max(was, to)
	clip := func(v float64) float64 { return max(low, min(high, v)) }
	// The sum of how much nearer points are to the level before them.
	best, at, sum := math.Inf(-1), 1, 0.0
	for i := 1; i < len(x); i++ {
		v := clip(x[i-1].v)
		if sum += math.Abs(v-to) - math.Abs(v-was); sum > best {
			best, at = sum, i
		}
	}
	return at
}

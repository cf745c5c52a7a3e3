package clock

import (
	"math"
	"slices"

	"evenstand"
)

// Limits of the search, from the methods document, section k, unless judged.
const (
	around     = 120.0                   // s looked at on either side
	zoneStep   = 900 * evenstand.Second  // zones differ by quarter hours
	zoneMost   = 14 * 3600 / 900         // of which there are so many on either side
	apart      = 5.0                     // s between two optima that are not one (judged)
	beat       = 20.0                    // by which the best must beat the second: twice the log of the likelihood
	driftSD    = 50e-6                   // s/s, of the prior on the drift
	driftMost  = 400e-6                  // s/s beyond which it is no clock (judged)
	chunk      = 1800 * evenstand.Second // in which a clock is looked at by itself (judged)
	jumpLeast  = 0.25                    // s by which a clock that was set differs (judged)
	oneHertz   = 1.4                     // inflation of the error when both series have a value a second
	little     = 480                     // grid steps in common, below which nothing is said: two minutes (judged)
	leastFit   = 0.30                    // share of the wobble that must be in common to begin with (judged)
	stamps     = 0.0003                  // s, standard error by stamps in whole milliseconds, 1/√12 of one
	leastAtAll = 0.05                    // the same where two are lined up and only in parts compared (judged)
)

// Fit is the offset of one clock against another over a span of the log.
type Fit struct {
	From, To evenstand.Micros // span that it rests on, by the box's clock
	At       evenstand.Micros // when Offset held, by the box's clock
	Offset   float64          // s, logged minus true
	Drift    float64          // s/s by which the offset grows
	SE       float64          // s, of Offset at At
	DriftSE  float64          // s/s
	Cov      float64          // s·s/s, of the two
	Share    float64          // of the variance of the one series that the other explains
}

// Off gives the offset in s at a moment of the box's clock.
func (f *Fit) Off(t evenstand.Micros) float64 { return f.Offset + f.Drift*(t-f.At).Seconds() }

// ErrorAt gives the standard error of Off in s.
func (f *Fit) ErrorAt(t evenstand.Micros) float64 {
	x := (t - f.At).Seconds()
	return math.Sqrt(math.Max(0, f.SE*f.SE+2*x*f.Cov+x*x*f.DriftSE*f.DriftSE))
}

// Options say how two series are compared.
type Options struct {
	// Zones also looks at clocks that are up to two hours off, or whole quarter
	// hours.
	Zones bool
	// mask tells of a moment of the box's clock, and of the offset so far in s,
	// whether the two may be compared there; nil compares all. Before it is
	// settled the offset may be half a second wrong.
	mask mask
}

type mask func(t evenstand.Micros, off float64, settled bool) bool

// Pair gives the offset of the clock that box was logged by against the clock
// of ref: one fit, or several in order of time where the clock was set
// meanwhile. nil when the two do not tell, or tell two things.
func Pair(ref, box Series, opt Options) []Fit { return NewReference(ref).Pair(box, opt) }

// Reference is a series that several boxes are compared with.
type Reference struct {
	clean Series
	grid  *grid // nil: too short or too slow to tell a clock
}

// NewReference readies a series.
func NewReference(s Series) *Reference {
	s = s.Clean()
	return &Reference{s, smooth(s)}
}

// Pair gives the offset of the clock that box was logged by against the
// reference's.
func (r *Reference) Pair(box Series, opt Options) []Fit {
	if r.grid == nil {
		return nil
	}
	y := smooth(box.Clean())
	if y == nil {
		return nil
	}
	return pair(r.grid, y, opt)
}

func pair(x, y *grid, opt Options) []Fit {
	shift, clear, parts := coarse(x, y, opt.Zones)
	if !clear && !parts {
		return nil
	}
	p := &pairing{x: x, y: y, mask: opt.mask, inflate: 1, alone: !clear}
	if x.every > 0.8 && y.every > 0.8 {
		p.inflate = oneHertz
	}
	var fits []Fit
	spans := p.spans(shift)
	for i := 0; i < len(spans); i++ {
		s := spans[i]
		f, ok := p.refine(s.from, s.to, s.off, driftSD, false)
		if !ok || math.Abs(f.Drift) >= driftMost {
			continue
		}
		// What half an hour made look like a setting need not be one.
		if n := len(fits); n > 0 {
			l := fits[n-1]
			cut := l.To/2 + f.From/2
			if d := math.Abs(f.Off(cut) - l.Off(cut)); d < math.Max(jumpLeast, stray*math.Hypot(f.ErrorAt(cut), l.ErrorAt(cut))) {
				was := spans[i-1]
				if f, ok := p.refine(was.from, s.to, (l.Offset+f.Offset)/2, driftSD, false); ok && math.Abs(f.Drift) < driftMost {
					fits[n-1] = f
					spans[i].from = was.from
					continue
				}
			}
		}
		fits = append(fits, f)
	}
	return fits
}

// likelihood is twice the log of the likelihood ratio that two high-passed
// series follow one another when the second is late by lag of its steps,
// against that they do not. spread is the number of values that count as one.
func likelihood(x, y highPassed, from, to int, lag int64, spread float64) (s score) {
	o := y.first - lag - x.first // index into x of y's entry 0
	a, b := max(from, int(-o)), min(to, len(x.v)-int(o))
	if b <= a {
		return s
	}
	xs, ms := x.v[int64(a)+o:int64(b)+o], x.m[int64(a)+o:int64(b)+o]
	ys, ns := y.v[a:b], y.m[a:b]
	var n, sx, sy, sxx, syy, sxy float64
	for i, u := range xs {
		m, v, k := ms[i], ys[i], ns[i]
		n += m * k
		sx += u * k
		sy += v * m
		sxx += u * u * k
		syy += v * v * m
		sxy += u * v
	}
	if n < 30 {
		return s
	}
	cov, vx, vy := sxy-sx*sy/n, sxx-sx*sx/n, syy-sy*sy/n
	if !(cov > 0) || !(vx > 0) || !(vy > 0) {
		return s
	}
	s.n, s.r2 = n/spread, math.Min(cov*cov/(vx*vy), 0.9999)
	s.l = -s.n * math.Log(1-s.r2)
	return s
}

// score is how well two series fit at one shift.
type score struct {
	n, r2 float64 // values in common that count as one each, share of the variance in common
	l     float64 // twice the log of the likelihood ratio
}

// over gives by how much a score beats another over as many values: a shift
// that leaves more in common is not better for that.
func (s score) over(o score) float64 {
	if o.l == 0 {
		return s.l
	}
	return math.Min(s.n, o.n) * (math.Log(1-o.r2) - math.Log(1-s.r2))
}

// coarse finds the offset in s, to a quarter of a second, at which the two fit
// best, whether it stands out, and if not whether a part of the log may still
// stand out by itself: a clock that was set fits at two.
func coarse(x, y *grid, zones bool) (off float64, clear, parts bool) {
	const stride = 4 // a value a second
	// The same grid, thinned to a value a second in each of its four phases,
	// serves shifts of a quarter of a second.
	ys := y.highPass(stride)
	var xs [stride]highPassed
	sums := x.sums()
	for k := range xs {
		xs[k] = sums.highPass(int64(k), stride)
	}
	n := int64(around / dt)
	search := func(zone int64, every int64, from, to int) (ls []score) {
		for lag := zone - n; lag <= zone+n; lag += every { // in steps of the grid
			// y at i fits x at i - lag: x moved later by the phase.
			q := floorDiv(lag, stride)
			ls = append(ls, likelihood(xs[lag-q*stride], ys, from, to, q, spread/stride))
		}
		return ls
	}
	// A shift a second finds the optima, since what is smoothed changes over
	// some seconds; the best is then looked at more closely.
	const coarsely = stride
	all := len(ys.v)
	ls := search(0, coarsely, 0, all)
	best, by := optima(ls, int(apart))
	zone := int64(0)
	if zones && ls[best].r2 < 0.9 {
		// Coarsely, since the smoothed speed changes over some seconds, and on
		// three hours in the middle, which tell zones apart as well as the day.
		const skip, hours = 8, 3 * 3600
		from := max(0, all/2-hours/2)
		to := min(all, from+hours)
		type peak struct {
			at int64
			l  float64
		}
		// Boxes of one planter log the same work: what has little in common at a
		// shift fits there by chance.
		least := math.Min(known(xs[0].m), known(ys.m[from:to])) / (spread / stride) / 2
		var peaks []peak
		top := peak{}
		for _, z := range zonesApart() {
			p := peak{}
			for i, s := range search(z, skip, from, to) {
				if s.l > p.l && s.n >= least {
					p = peak{z - n + int64(i)*skip, s.l}
				}
			}
			peaks = append(peaks, p)
			if p.l > top.l {
				top = p
			}
		}
		for _, p := range peaks { // windows that meet at an optimum share it
			if d := p.at - top.at; (d > n/4 || d < -n/4) && top.l-p.l < beat {
				return 0, false, false
			}
		}
		if top.at < -n || top.at > n {
			zone = top.at
			ls = search(zone, coarsely, 0, all)
			best, by = optima(ls, int(apart))
		}
	}
	at, top := zone+int64(best)*coarsely-n, ls[best]
	off = float64(at) * dt
	for lag := at - coarsely + 1; lag < at+coarsely; lag++ {
		q := floorDiv(lag, stride)
		if s := likelihood(xs[lag-q*stride], ys, 0, all, q, spread/stride); s.l > top.l {
			top, off = s, float64(lag)*dt
		}
	}
	return off, by >= beat && ls[best].r2 >= leastFit, ls[best].l >= beat
}

// known counts the values of a mask.
func known(mask []float64) (n float64) {
	for _, m := range mask {
		n += m
	}
	return n
}

// zonesApart gives the middles, in steps of the grid, of the windows in which a
// clock is looked for that is far off: all within two hours, in which people set
// clocks wrong (judged), and the quarter hours by which zones differ.
func zonesApart() (zs []int64) {
	const wide = 2 * 3600
	n := int64(around / dt)
	for z := -int64(wide / dt); z <= int64(wide/dt); z += 2 * n {
		zs = append(zs, z)
	}
	q := int64(zoneStep / step)
	for z := int64(-zoneMost); z <= zoneMost; z++ {
		if z*q < zs[0]-n || z*q > -zs[0]+n {
			zs = append(zs, z*q)
		}
	}
	return zs
}

// optima gives where the best is, and by how much it beats the best of the
// other local optima that are so far away from it.
func optima(ls []score, far int) (best int, by float64) {
	for i := range ls {
		if ls[i].l > ls[best].l {
			best = i
		}
	}
	by = ls[best].l
	for i, s := range ls {
		if i > best-far && i < best+far || s.l == 0 {
			continue
		}
		left, right := i == 0 || ls[i-1].r2 <= s.r2, i == len(ls)-1 || ls[i+1].r2 <= s.r2
		if left && right {
			by = math.Min(by, ls[best].over(s))
		}
	}
	return best, by
}

// pairing is two smoothed series in comparison.
type pairing struct {
	x, y    *grid
	thin    highPassed // of x, a value a second
	mask    mask
	inflate float64
	alone   bool // nothing is known of the whole: each part must stand out by itself
}

// span is a part of the box's log, in steps of its grid, with one offset in s.
type span struct {
	from, to int
	off      float64
}

// spans parts the box's log where its clock was set. Each half hour is looked
// at by itself; it follows the whole unless it says something else clearly.
func (p *pairing) spans(off float64) []span {
	type look struct {
		span
		se float64
	}
	var looks []look
	n := int(chunk / step)
	for from := 0; from < len(p.y.v); from += n {
		to := min(from+n, len(p.y.v))
		if f, ok := p.part(from, to, off); ok {
			looks = append(looks, look{span{from, to, f.Offset}, f.SE})
		}
	}
	if len(looks) == 0 {
		if p.alone {
			return nil
		}
		return []span{{0, len(p.y.v), off}}
	}
	// What drifts does so evenly.
	var slopes []float64
	for i := 1; i < len(looks); i++ {
		slopes = append(slopes, (looks[i].off-looks[i-1].off)/float64(looks[i].from-looks[i-1].from))
	}
	slope := 0.0
	if len(slopes) > 0 {
		slices.Sort(slopes)
		slope = slopes[len(slopes)/2]
		if most := driftMost * dt; math.Abs(slope) > most {
			slope = math.Copysign(most, slope)
		}
	}
	var groups [][]look
	for i, l := range looks {
		if i > 0 {
			k := looks[i-1]
			d := l.off - k.off - slope*float64(l.from-k.from)
			if math.Abs(d) <= math.Max(jumpLeast, 6*math.Hypot(l.se, k.se)) {
				groups[len(groups)-1] = append(groups[len(groups)-1], l)
				continue
			}
		}
		groups = append(groups, []look{l})
	}
	// A half hour in which the clock was set lies between what was before and
	// what came after.
	for i := 1; i+1 < len(groups); i++ {
		a, m, b := groups[i-1][len(groups[i-1])-1].off, groups[i][0].off, groups[i+1][0].off
		if len(groups[i]) == 1 && (len(groups[i-1]) > 1 || len(groups[i+1]) > 1) && (m-a)*(b-m) > 0 {
			groups = slices.Delete(groups, i, i+1)
			i--
		}
	}
	var out []span
	for i, g := range groups {
		s := span{g[0].from, g[len(g)-1].to, 0}
		for _, l := range g {
			s.off += l.off / float64(len(g))
		}
		if i > 0 {
			last := groups[i-1][len(groups[i-1])-1]
			cut := p.change(last.from, g[0].to, last.off, g[0].off)
			out[i-1].to, s.from = cut, cut
		}
		out = append(out, s)
	}
	out[0].from, out[len(out)-1].to = 0, len(p.y.v)
	return out
}

// part looks at one half hour: near the offset of the whole, or where it
// clearly fits better.
func (p *pairing) part(from, to int, off float64) (Fit, bool) {
	const stride = 4
	count := 0
	for _, v := range p.y.v[from:to] {
		if !math.IsNaN(v) {
			count++
		}
	}
	if count < little {
		return Fit{}, false
	}
	part := grid{p.y.first + int64(from), p.y.v[from:to], p.y.every}
	if p.thin.v == nil {
		p.thin = p.x.highPass(stride)
	}
	ys, xs := part.highPass(stride), p.thin
	base := int64(math.Round(off / (stride * dt)))
	n := int64(around)
	ls := make([]score, 2*n+1)
	for i := range ls {
		ls[i] = likelihood(xs, ys, 0, len(ys.v), base+int64(i)-n, spread/stride)
	}
	best, by := optima(ls, int(apart))
	at := int(n)
	for i := at - 3; i <= int(n)+3; i++ {
		if ls[i].l > ls[at].l {
			at = i
		}
	}
	clear := by > beat && ls[best].r2 > leastFit
	switch {
	case clear && (p.alone || ls[best].over(ls[at]) > beat):
		at = best
	case p.alone:
		return Fit{}, false
	}
	if ls[at].l < beat/2 {
		return Fit{}, false
	}
	f, ok := p.refine(from, to, float64(base+int64(at)-n)*stride*dt, 1e-9, true)
	if !ok || math.Abs(f.Offset-float64(base+int64(at)-n)*stride*dt) > 3 {
		return Fit{}, false
	}
	return f, f.SE < 0.3
}

// change finds where the clock was set: up to there the first offset fits
// better, from there on the second.
func (p *pairing) change(from, to int, a, b float64) int {
	best, sum, at := 0.0, 0.0, from
	gain, base := p.level(from, to, a)
	for i := from; i < to; i++ {
		y := p.y.v[i]
		if math.IsNaN(y) {
			continue
		}
		u, _, ok1 := p.x.at(p.y.first, i, a)
		w, _, ok2 := p.x.at(p.y.first, i, b)
		if !ok1 || !ok2 {
			continue
		}
		ra, rb := y-base-gain*u, y-base-gain*w
		sum += ra*ra - rb*rb
		if sum < best {
			best, at = sum, i+1
		}
	}
	return p.inHole(at, b-a)
}

// nearHole is how far from where the speeds tell that a clock was set the hole
// may lie that the setting left (judged: they tell it to a minute or two).
const nearHole = 120.0 // s

// inHole moves the place where a clock was set forward by so many seconds into
// the middle of the hole of about that length that the setting left in the
// box's times, where there is one near.
func (p *pairing) inHole(at int, by float64) int {
	if by <= hole {
		return at
	}
	y := p.y.v
	length := int(by / dt)
	most := length + 4*edge + int(2*seldom/dt) // with what is taken out beside a hole, and a value missing
	found, far := at, int(nearHole/dt)+1
	for i := max(1, at-length-2*far); i < min(len(y), at+far); {
		if !math.IsNaN(y[i]) {
			i++
			continue
		}
		j := i
		for j < len(y) && math.IsNaN(y[j]) {
			j++
		}
		d := max(i-at, at-j, 0)
		if n := j - i; n >= length && n <= most && d < far && j < len(y) {
			found, far = i+n/2, d
		}
		i = j
	}
	return found
}

// level gives gain and base of y over x at an offset.
func (p *pairing) level(from, to int, off float64) (gain, base float64) {
	var n, sx, sy, sxx, sxy float64
	for i := from; i < to; i++ {
		y := p.y.v[i]
		u, _, ok := p.x.at(p.y.first, i, off)
		if math.IsNaN(y) || !ok {
			continue
		}
		n++
		sx += u
		sy += y
		sxx += u * u
		sxy += u * y
	}
	if v := sxx - sx*sx/n; n > 2 && v > 0 {
		gain = (sxy - sx*sy/n) / v
		return gain, (sy - gain*sx) / n
	}
	return 1, 0
}

// at gives value and slope per s of the grid at entry i of a grid that begins
// at first, off seconds earlier: a cubic through four entries.
func (g *grid) at(first int64, i int, off float64) (v, slope float64, ok bool) {
	z := float64(first-g.first+int64(i)) - off/dt
	k := int(math.Floor(z))
	if k < 1 || k+2 >= len(g.v) {
		return 0, 0, false
	}
	u := z - float64(k)
	a, b, c, d := g.v[k-1], g.v[k], g.v[k+1], g.v[k+2]
	m0, m1 := (c-a)/2, (d-b)/2
	e, f := 3*(c-b)-2*m0-m1, 2*(b-c)+m0+m1
	v = b + u*(m0+u*(e+u*f))
	if math.IsNaN(v) {
		return 0, 0, false
	}
	return v, (m0 + u*(2*e+u*3*f)) / dt, true
}

// obs is one place in time at which the two are compared.
type obs struct {
	y, x, slope, s float64 // s from the middle of the span
	w              float64 // weight: one over the variance
}

// Limits of refine (judged).
const (
	thinned = 4    // values of the grid of which one is compared
	loose   = 0.3  // s by which an edge may be off while the offset is being found
	outside = 4.0  // standard deviations beyond which a value does not count
	block   = 60.0 // s that vouch for one another, and not for those beside them

	flat, steep           = 0.05, 0.2 // m/s², below and above which the speed hardly changes, and does
	flatLeast, steepLeast = 30, 10    // values of either kind from which noise and edges are told
)

// refine finds offset and drift by Gauss-Newton steps from off: the box's
// series, a value a second of it since it is smooth, as a straight function of
// the other's, shifted.
//
// What is left over has two parts. One is noise of the speed. The other is an
// error in time of every edge by itself: a box that logs once a second does not
// tell when between two values a tractor stopped. It grows with the slope, so
// that the edges, which tell the time, are worth less than the noise alone would
// have them, and one that broke off between two values is a stray. The errors of
// an edge hang together; the stated error is therefore taken from how much the
// answer changes when a minute is left out (jackknife; Efron and Stein, Annals
// of Statistics 9(3), 1981, 586-596), where that is more than by the noise. A
// quick look goes by the noise alone, and so do the weights of seeds, which are
// compared at few edges and those chosen.
func (p *pairing) refine(from, to int, off, driftSD float64, quick bool) (Fit, bool) {
	first, last := -1, -1
	for i := from; i < to; i++ {
		if !math.IsNaN(p.y.v[i]) {
			if first < 0 {
				first = i
			}
			last = i
		}
	}
	if last-first < little/2 {
		return Fit{}, false
	}
	mid := (first + last) / 2
	when := func(i int) evenstand.Micros { return evenstand.Micros(p.y.first+int64(i)) * step }
	os := make([]obs, 0, (last-first)/thinned+1)
	start, drift := off, 0.0
	var l left // says nothing yet
	gain, base := 1.0, 0.0
	var cov [2][2]float64
	var share float64
	for round := range 16 {
		os = os[:0]
		for i := first; i <= last; i += thinned {
			y := p.y.v[i]
			if math.IsNaN(y) {
				continue
			}
			s := float64(i-mid) * dt
			o := off + drift*s
			x, slope, ok := p.x.at(p.y.first, i, o)
			if !ok || p.mask != nil && !p.mask(when(i), o, round > 2) {
				continue
			}
			if round > 0 && math.Abs(y-base-gain*x) > l.limit(gain*slope) {
				continue
			}
			os = append(os, obs{y, x, slope, s, 1 / l.variance(gain*slope)})
		}
		if len(os) < little/2/thinned {
			return Fit{}, false
		}
		// Gain and base first, then offset and drift with all four together.
		var n, sx, sy, sxx, sxy, syy float64
		for _, o := range os {
			n += o.w
			sx += o.w * o.x
			sy += o.w * o.y
			sxx += o.w * o.x * o.x
			sxy += o.w * o.x * o.y
			syy += o.w * o.y * o.y
		}
		vx, vy, vxy := sxx-sx*sx/n, syy-sy*sy/n, sxy-sx*sy/n
		if !(vx > 0) || !(vxy > 0) {
			return Fit{}, false
		}
		gain = vxy / vx
		base = (sy - gain*sx) / n
		share = vxy * vxy / (vx * vy)
		// Squares of what is left over are those of the variance by which they
		// were weighted.
		var a [4][5]float64
		ss := 0.0
		for _, o := range os {
			e, j := o.against(gain, base)
			ss += o.w * e * e
			add(&a, j, o.w, e)
		}
		noise := math.Max(ss/float64(len(os)), 1e-12) * spread / thinned
		a[3][3] += noise / (driftSD * driftSD)
		a[3][4] -= drift * noise / (driftSD * driftSD)
		inv, sol, ok := solve4(a)
		if !ok {
			return Fit{}, false
		}
		do, dd := sol[2], sol[3]
		if most := 1.0; math.Abs(do) > most {
			do = math.Copysign(most, do)
		}
		off += do
		drift += dd
		l = leftOver(os, gain, base, do, quick || round < 3 || p.mask != nil)
		if round > 4 && math.Abs(do) < 1e-4 && math.Abs(dd)*float64(last-first)*dt < 1e-4 || round == 15 {
			k := noise * p.inflate * p.inflate
			cov = [2][2]float64{{inv[2][2] * k, inv[2][3] * k}, {inv[3][2] * k, inv[3][3] * k}}
			if !quick {
				widen(&cov, jackknife(os, gain, base, a))
			}
			if math.IsInf(cov[0][0], 1) || math.IsInf(cov[1][1], 1) { // all of it hangs on one minute
				return Fit{}, false
			}
			break
		}
	}
	if math.Abs(off-start) > apart {
		return Fit{}, false
	}
	return Fit{
		From: when(first), To: when(last), At: when(mid), Offset: off, Drift: drift,
		SE: math.Hypot(math.Sqrt(cov[0][0]), stamps), DriftSE: math.Sqrt(cov[1][1]), Cov: cov[0][1], Share: share,
	}, share >= leastAtAll
}

// against gives what is left over, and how it changes with base, gain, offset
// and drift.
func (o *obs) against(gain, base float64) (e float64, j [4]float64) {
	return o.y - base - gain*o.x, [4]float64{1, o.x, -gain * o.slope, -gain * o.slope * o.s}
}

// add adds a value to the normal equations.
func add(a *[4][5]float64, j [4]float64, w, e float64) {
	for r := range 4 {
		for c := range 4 {
			a[r][c] += w * j[r] * j[c]
		}
		a[r][4] += w * j[r] * e
	}
}

// left is what is left over: the variance of the noise, and that in s² of an
// edge's error in time.
type left struct {
	noise, edge float64
	open        bool // the offset is still being found
}

func (l *left) variance(slope float64) float64 {
	if l.open || l.noise == 0 {
		return 1
	}
	return l.noise + l.edge*slope*slope
}

// limit is what may be left over of a value that counts.
func (l *left) limit(slope float64) float64 {
	if l.open {
		return outside*math.Sqrt(l.noise) + loose*math.Abs(slope)
	}
	return outside * math.Sqrt(l.variance(slope))
}

// leftOver tells the two parts apart, after a step of the offset by do. Half
// of the edges may be strays.
func leftOver(os []obs, gain, base, do float64, open bool) left {
	l := left{open: open}
	ss := 0.0
	for _, o := range os {
		e, _ := o.against(gain, base)
		ss += e * e
	}
	all := math.Max(ss/float64(len(os)), 1e-12)
	if open {
		l.noise = all
		return l
	}
	// Where the speed hardly changes there is nothing but noise.
	n, flats := 0, 0.0
	for _, o := range os {
		if math.Abs(gain*o.slope) < flat {
			e, _ := o.against(gain, base)
			flats += e * e
			n++
		}
	}
	l.noise = all
	if n >= flatLeast {
		l.noise = math.Max(flats/float64(n), 1e-12)
	}
	var shifts []float64
	for _, o := range os {
		if q := gain * o.slope; math.Abs(q) >= steep {
			e, _ := o.against(gain, base)
			shifts = append(shifts, math.Abs(e/q+do))
		}
	}
	if len(shifts) < steepLeast {
		return l
	}
	slices.Sort(shifts)
	sd := shifts[len(shifts)/2] / 0.6745
	l.edge = sd * sd
	return l
}

// jackknife gives the covariance of offset and drift by leaving out one block
// after the other.
func jackknife(os []obs, gain, base float64, a [4][5]float64) (cov [2][2]float64) {
	n := 0.0
	for i := 0; i < len(os); {
		less := a
		at := math.Floor(os[i].s / block)
		var g [4][5]float64
		for ; i < len(os) && math.Floor(os[i].s/block) == at; i++ {
			e, j := os[i].against(gain, base)
			add(&g, j, os[i].w, e)
		}
		for r := range 4 {
			for c := range 4 {
				less[r][c] -= g[r][c]
			}
			less[r][4] = -g[r][4]
		}
		n++
		_, d, ok := solve4(less)
		if !ok { // all of it hangs on this block
			return [2][2]float64{{math.Inf(1), 0}, {0, math.Inf(1)}}
		}
		cov[0][0] += d[2] * d[2]
		cov[1][1] += d[3] * d[3]
		cov[0][1] += d[2] * d[3]
	}
	for r := range 2 {
		cov[r][r] *= (n - 1) / n
	}
	return cov
}

// widen makes variances as large as others, where these are larger.
func widen(cov *[2][2]float64, by [2][2]float64) {
	for r := range 2 {
		if k := by[r][r] / cov[r][r]; k > 1 {
			cov[r][r] *= k
			cov[0][1] *= math.Sqrt(k)
			cov[1][0] *= math.Sqrt(k)
		}
	}
}

// solve4 solves four equations by elimination and gives the inverse as well.
func solve4(a [4][5]float64) (inv [4][4]float64, sol [4]float64, ok bool) {
	var m [4][9]float64
	var scale [4]float64
	for r := range 4 {
		scale[r] = math.Sqrt(a[r][r])
		if !(scale[r] > 0) {
			return inv, sol, false
		}
	}
	for r := range 4 {
		for c := range 4 {
			m[r][c] = a[r][c] / (scale[r] * scale[c])
		}
		m[r][4] = a[r][4] / scale[r]
		m[r][5+r] = 1
	}
	for k := range 4 {
		p := k
		for r := k + 1; r < 4; r++ {
			if math.Abs(m[r][k]) > math.Abs(m[p][k]) {
				p = r
			}
		}
		m[k], m[p] = m[p], m[k]
		if math.Abs(m[k][k]) < 1e-12 {
			return inv, sol, false
		}
		d := m[k][k]
		for c := range 9 {
			m[k][c] /= d
		}
		for r := range 4 {
			if r == k {
				continue
			}
			f := m[r][k]
			for c := range 9 {
				m[r][c] -= f * m[k][c]
			}
		}
	}
	for r := range 4 {
		sol[r] = m[r][4] / scale[r]
		for c := range 4 {
			inv[r][c] = m[r][5+c] / (scale[r] * scale[c])
		}
	}
	return inv, sol, true
}

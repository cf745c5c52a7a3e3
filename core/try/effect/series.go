package effect

import (
	"cmp"
	"math"
	"slices"

	"evenstand/core/measure/group"
	"evenstand/core/stat"
	"evenstand/core/try"
)

// series is what all rows did together, step by step, and how its noise holds on.
type series struct {
	ready bool
	y     []float64 // NaN: not told
	// slope is how much of what the same place told on a pass before this one
	// tells again.
	slope float64
	// left is the noise of what that leaves, whole that of the series as it is.
	left, whole noise
}

// noise is an autoregression of order one with SD 1 plus white noise: what a step
// keeps of the one before, and the white part as a share of the other.
type noise struct{ rho, white float64 }

// common gives the series of a measure.
func (d *Day) common(m int) *series {
	s := &d.line[m]
	if s.ready {
		return s
	}
	s.ready = true
	p := d.p
	s.y = make([]float64, len(p.Steps))
	ns := make([]float64, len(p.Steps))
	most := 0.0
	for i := range s.y {
		var all group.Part
		for r := 1; r <= p.Rows; r++ {
			all.Add(p.Part(m, i, r))
		}
		s.y[i] = math.NaN()
		if p.Steps[i].Headland {
			continue
		}
		if v, ok := p.Measures[m].Value(all); ok {
			s.y[i], ns[i] = v, all.N
			most = max(most, all.N)
		}
	}
	for i := range s.y {
		if ns[i] < 0.3*most { // half a stretch at the end of a pass
			s.y[i] = math.NaN()
		}
	}
	if d.near == nil {
		d.near = d.neighbours()
	}
	s.slope = d.slope(s.y)
	s.whole = d.memory(s, 0)
	s.left = s.whole
	if s.slope > 0 {
		s.left = d.memory(s, s.slope)
	}
	return s
}

// clear tells whether no change was under way between two steps, both with them.
func (d *Day) clear(a, b int) bool {
	if a > b {
		a, b = b, a
	}
	return int(d.first[a]) > b
}

// neighbours finds for each step the nearest one on a pass before, in the same
// field and beside it.
func (d *Day) neighbours() []int32 {
	p := d.p
	out := make([]int32, len(p.Steps))
	spacing := p.Spacing
	if !(spacing > 0) {
		spacing = 0.76 // rows of 30 in, where nobody said
	}
	reach := max(20, 1.6*spacing*float64(p.Rows))
	type cell struct{ e, n int32 }
	at := func(s *try.Step) cell {
		return cell{int32(math.Floor(s.East / reach)), int32(math.Floor(s.North / reach))}
	}
	grid := map[cell][]int32{}
	done := 0
	for i := range p.Steps {
		s := &p.Steps[i]
		for ; done < i && p.Steps[done].Pass < s.Pass; done++ {
			if o := &p.Steps[done]; !math.IsNaN(o.East) && !o.Headland {
				c := at(o)
				grid[c] = append(grid[c], int32(done))
			}
		}
		out[i] = -1
		if math.IsNaN(s.East) || s.Headland {
			continue
		}
		best := reach
		c := at(s)
		for e := c.e - 1; e <= c.e+1; e++ {
			for n := c.n - 1; n <= c.n+1; n++ {
				for _, k := range grid[cell{e, n}] {
					o := &p.Steps[k]
					if dist := math.Hypot(o.East-s.East, o.North-s.North); o.Field == s.Field && (dist < best || dist == best && k > out[i]) {
						best, out[i] = dist, k
					}
				}
			}
		}
	}
	return out
}

// apart is over how many steps a slope is learnt: what an effect is told by.
const apart = 10

// slope regresses what a step is over another near it on the same of the places
// beside them, where nothing was changed.
func (d *Day) slope(y []float64) float64 {
	xx, xy, n := 0.0, 0.0, 0
	for i := apart; i < len(y); i++ {
		k := i - apart
		a, b := d.near[i], d.near[k]
		if a < 0 || b < 0 || d.p.Steps[i].Field != d.p.Steps[k].Field {
			continue
		}
		dy, dx := y[i]-y[k], y[a]-y[b]
		if math.IsNaN(dy) || math.IsNaN(dx) || !d.clear(k, i) || !d.clear(int(min(a, b)), int(max(a, b))) {
			continue
		}
		xx, xy, n = xx+dx*dx, xy+dx*dy, n+1
	}
	if n < 60 || !(xx > 0) {
		return 0
	}
	return min(1, max(0, xy/xx))
}

// memory fits the noise to how steps differ at several distances.
func (d *Day) memory(s *series, slope float64) noise {
	lags := []int{1, 2, 3, 5, 8, 12, 18, 26}
	g := make([]float64, len(lags))
	w := make([]float64, len(lags))
	y := s.y
	for j, lag := range lags {
		for i := lag; i < len(y); i++ {
			k := i - lag
			v := y[i] - y[k]
			if math.IsNaN(v) || d.p.Steps[i].Field != d.p.Steps[k].Field || !d.clear(k, i) {
				continue
			}
			if a, b := d.near[i], d.near[k]; slope > 0 && a >= 0 && b >= 0 && d.clear(int(min(a, b)), int(max(a, b))) {
				if z := y[a] - y[b]; !math.IsNaN(z) {
					v -= slope * z
				}
			}
			g[j] += v * v / 2
			w[j]++
		}
		if w[j] > 0 {
			g[j] /= w[j]
			w[j] /= float64(lag) // far ones overlap
		}
	}
	best, out := math.Inf(1), noise{0.9, 1}
	for _, rho := range []float64{0, 0.3, 0.5, 0.7, 0.8, 0.85, 0.9, 0.93, 0.95, 0.965, 0.98, 0.99} {
		// g = white + of·(1 − rho^lag), both at least 0, by weighted least squares
		// on what each is expected to be.
		var s11, s12, s22, b1, b2 float64
		for j, lag := range lags {
			if !(w[j] > 0) || !(g[j] > 0) {
				continue
			}
			x := 1 - math.Pow(rho, float64(lag))
			k := w[j] / (g[j] * g[j])
			s11, s12, s22 = s11+k, s12+k*x, s22+k*x*x
			b1, b2 = b1+k*g[j], b2+k*x*g[j]
		}
		for _, fit := range fits(s11, s12, s22, b1, b2) {
			cost := 0.0
			for j, lag := range lags {
				if !(w[j] > 0) || !(g[j] > 0) {
					continue
				}
				e := g[j] - fit[0] - fit[1]*(1-math.Pow(rho, float64(lag)))
				cost += w[j] * e * e / (g[j] * g[j])
			}
			if cost < best && fit[1] > 0 {
				best, out = cost, noise{rho, min(100, fit[0]/fit[1])}
			}
		}
	}
	return out
}

// fits gives the least-squares fits with both parts at least 0.
func fits(s11, s12, s22, b1, b2 float64) [][2]float64 {
	var out [][2]float64
	if det := s11*s22 - s12*s12; det > 1e-9*s11*s22 {
		a, b := (b1*s22-b2*s12)/det, (b2*s11-b1*s12)/det
		if a >= 0 && b >= 0 {
			return [][2]float64{{a, b}}
		}
	}
	if s22 > 0 {
		out = append(out, [2]float64{0, b2 / s22})
	}
	return out
}

// line is a stretch of a series to which a step of its level is fitted.
type line struct {
	steps []int
	x     []float64 // 0 before, 1 after
}

// jump fits y = a + effect·x (+ drift·t) with the noise of the series, less what the
// places beside tell where asked for, and gives the effect with its variance up to a
// factor that all jumps of the series share.
func (d *Day) jump(s *series, l *line, drift, places bool) (value, v float64, ok bool) {
	slope, kind := 0.0, s.whole
	if places {
		slope, kind = s.slope, s.left
	}
	var f filter
	f.noise = kind
	var a [4][4]float64 // products of whitened columns: y, 1, x, t
	t0, t1 := l.steps[0], l.steps[len(l.steps)-1]
	for i, t := range l.steps {
		var c [4]float64
		c[0] = s.y[t]
		if places {
			c[0] -= slope * s.y[d.near[t]]
		}
		c[1], c[2] = 1, l.x[i]
		if drift {
			c[3] = (2*float64(t) - float64(t0+t1)) / float64(t1-t0)
		}
		gap := 0
		if i > 0 {
			gap = t - l.steps[i-1]
		}
		f.add(&c, gap)
		for j := range a {
			for k := range a {
				a[j][k] += c[j] * c[k]
			}
		}
	}
	// Sweep the constant and the drift out.
	sweep := func(k int) bool {
		if !(a[k][k] > 1e-12) {
			return false
		}
		for i := range a {
			if i == k {
				continue
			}
			r := a[i][k] / a[k][k]
			for j := range a {
				if j != k {
					a[i][j] -= r * a[k][j]
				}
			}
		}
		for i := range a {
			if i != k {
				a[i][k], a[k][i] = 0, 0
			}
		}
		return true
	}
	if !sweep(1) || drift && !sweep(3) || !(a[2][2] > 1e-12) {
		return 0, 0, false
	}
	return a[0][2] / a[2][2], 1 / a[2][2], true
}

// filter whitens columns one step after the other (Kalman 1960): an
// autoregression seen through white noise.
type filter struct {
	noise
	begun bool
	p     float64    // variance of the state before the step is seen
	m     [4]float64 // its mean, by column
	keep  float64    // rho to the power of the last gap
	gap   int
}

func (f *filter) add(c *[4]float64, gap int) {
	if !f.begun {
		f.begun, f.p, f.gap = true, 1, -1
	} else {
		if gap != f.gap {
			f.gap, f.keep = gap, math.Pow(f.rho, float64(gap))
		}
		f.p = f.keep*f.keep*f.p + 1 - f.keep*f.keep
		for i := range f.m {
			f.m[i] *= f.keep
		}
	}
	s := f.p + f.white + 1e-9
	k := f.p / s
	r := 1 / math.Sqrt(s)
	for i := range c {
		e := c[i] - f.m[i]
		f.m[i] += k * e
		c[i] = e * r
	}
	f.p *= 1 - k
}

// once tells the effect of one change of all rows by what they did near it.
func (d *Day) once(w window, m int, f *Found) {
	f.Design = try.AllRows
	s := d.common(m)
	l, places := (*line)(nil), false
	if s.slope > 0 {
		l = d.about(s, w.first, w.before, w.after, w.last+1, true)
		places = l != nil
	}
	if l == nil {
		if l = d.about(s, w.first, w.before, w.after, w.last+1, false); l == nil {
			f.Why = Silent
			return
		}
	}
	value, v, ok := d.jump(s, l, false, places)
	if !ok {
		f.Why = Silent
		return
	}
	first, last := l.steps[0], l.steps[len(l.steps)-1]
	nb := 0
	for l.x[nb] == 0 {
		nb++
	}
	f.Before, f.Changed, f.Steps = level0(s, l.steps[:nb]), d.p.Rows, min(nb, len(l.steps)-nb)
	f.From, f.To = d.p.Steps[first].T, d.p.Steps[last].T
	gap, span := w.after-w.before, last+1-first
	stride := gap + 20
	ps := d.placebos(s, span, stride, func(t int) *line {
		at := t + w.before - first
		return d.about(s, t, at, at+gap, t+span, places)
	}, false, places)
	value, se, df := against(float64(first), value, v, ps, false)
	if len(ps) < ranked { // as many as share no stretch
		df = max(min(df, 3), df*float64(stride)/float64(span))
	}
	f.finish(value, se, df)
}

// about gives the line of the steps about a break: up to a side's most of those from
// lo to before and from after to hi that tell, nil where there are too few. With
// places those only beside which the ground was told before the break and without
// another change in between.
func (d *Day) about(s *series, lo, before, after, hi int, places bool) *line {
	tells := func(t int) bool {
		if math.IsNaN(s.y[t]) {
			return false
		}
		if !places {
			return true
		}
		k := int(d.near[t])
		return k >= 0 && k < before && !math.IsNaN(s.y[k]) && (k >= lo || d.clear(k, lo))
	}
	l := &line{}
	for t := before - 1; t >= lo && len(l.steps) < side; t-- {
		if tells(t) {
			l.steps = append(l.steps, t)
		}
	}
	slices.Reverse(l.steps)
	nb := len(l.steps)
	for t := after; t < hi && len(l.steps)-nb < side; t++ {
		if tells(t) {
			l.steps = append(l.steps, t)
		}
	}
	if nb < least || len(l.steps)-nb < least {
		return nil
	}
	l.x = make([]float64, len(l.steps))
	for i := nb; i < len(l.x); i++ {
		l.x[i] = 1
	}
	return l
}

func told(s *series, from, to int) []int {
	var out []int
	for i := from; i < to; i++ {
		if !math.IsNaN(s.y[i]) {
			out = append(out, i)
		}
	}
	return out
}

func level0(s *series, steps []int) float64 {
	sum := 0.0
	for _, i := range steps {
		sum += s.y[i]
	}
	return sum / float64(len(steps))
}

// placebo is an estimate at a moment when nothing was changed.
type placebo struct{ at, value, v float64 }

// placebos makes the same estimate at moments when nothing was changed.
func (d *Day) placebos(s *series, span, stride int, at func(int) *line, drift, places bool) (out []placebo) {
	p := d.p
	for t := 0; t+span <= len(p.Steps); {
		if p.Steps[t].Field != p.Steps[t+span-1].Field {
			t += 5
			continue
		}
		if hit := d.touched(t, t+span-1); hit > 0 {
			t = max(t+1, hit)
			continue
		}
		if l := at(t); l != nil {
			if value, v, ok := d.jump(s, l, drift, places); ok {
				out = append(out, placebo{float64(t), value, v})
			}
		}
		t += stride
	}
	return out
}

// touched gives the first step after the changes that touch a range, 0 none.
func (d *Day) touched(from, to int) (hit int) {
	for i := range d.changes {
		c := &d.changes[i]
		if d.untouched(c.Early) <= to && d.settled(c.Late) > from {
			hit = max(hit, d.settled(c.Late))
		}
	}
	return hit
}

// against holds an estimate against what comes out where nothing was changed: a
// steady drift of the day shows there too and is taken off, as far as the
// placebos tell it, with its own error.
func against(at, value, v float64, ps []placebo, drift bool) (out, se, df float64) {
	terms := 1
	if len(ps) > nearest { // morning is unlike afternoon
		slices.SortStableFunc(ps, func(a, b placebo) int { return cmp.Compare(math.Abs(a.at-at), math.Abs(b.at-at)) })
		ps = ps[:nearest]
	}
	switch {
	case len(ps) < 3:
		return value, math.NaN(), 0
	case drift:
		terms = 0 // it is in the estimate already
	case len(ps) >= 10:
		terms = 2
	}
	var a [2][2]float64
	var b [2]float64
	for _, p := range ps {
		x := [2]float64{1, (p.at - at) / 1000}
		for i := range x {
			b[i] += x[i] * p.value / p.v
			for j := range x {
				a[i][j] += x[i] * x[j] / p.v
			}
		}
	}
	var c [2]float64 // the fit; only its value at the change is wanted, and its variance
	lever := 0.0
	switch terms {
	case 1:
		c[0], lever = b[0]/a[0][0], 1/a[0][0]
	case 2:
		det := a[0][0]*a[1][1] - a[0][1]*a[0][1]
		if !(det > 1e-9*a[0][0]*a[1][1]) {
			return value, math.NaN(), 0
		}
		c[0], c[1] = (b[0]*a[1][1]-b[1]*a[0][1])/det, (b[1]*a[0][0]-b[0]*a[0][1])/det
		lever = a[1][1] / det
	}
	dd := 0.0
	off := make([]float64, 0, len(ps))
	for _, p := range ps {
		e := p.value - c[0] - c[1]*(p.at-at)/1000
		dd += e * e / p.v
		off = append(off, math.Abs(e)/math.Sqrt(p.v))
	}
	df = float64(len(ps) - terms)
	scale := math.Sqrt(dd / df)
	if n := float64(len(ps)); n >= ranked {
		// Where the ground changes at sharp borders few placebos are far off and most
		// near nothing: the one in ten that is furthest off says more than the mean
		// square, whatever they are like. Each shares with its neighbours, so that 0.7
		// of them count.
		slices.Sort(off)
		scale = stat.QuantileSorted(off, min(1, level*(0.7*n+1)/(0.7*n))) * math.Sqrt(n/df) / quantile(df)
	}
	return value - c[0], scale * math.Sqrt(v+lever), df
}

const (
	// ranked is how many placebos tell by their ranks. Judgement.
	ranked = 25
	// nearest is how many placebos are looked at, the nearest in time: some three
	// hours. Judgement.
	nearest = 60
)

// run is a back and forth of all rows: the changes of one lever between the same
// two settings.
type run struct {
	members []int // of Day.changes
}

// alike tells whether two settings are the same.
func alike(a, b float64, sa, sb string) bool {
	if sa != "" || sb != "" {
		return sa == sb
	}
	return math.Abs(a-b) <= 1e-6*max(math.Abs(a), math.Abs(b))
}

// group gives the back and forth that a change belongs to, nil when there is
// none, and whether it begins it.
func (d *Day) group(i int) (*run, bool) {
	chain := func(from, step int) []int {
		var out []int
		last := from
		for j := from + step; j >= 0 && j < len(d.changes); j += step {
			if d.under[j] >= 0 {
				continue
			}
			o, l := &d.changes[j], &d.changes[last]
			if o.Lever != l.Lever {
				return out // another setting in between
			}
			a, b := l, o
			if step < 0 {
				a, b = o, l
			}
			if len(o.Rows) > 0 || !alike(a.To, b.From, a.ToState, b.FromState) || !alike(a.From, b.To, a.FromState, b.ToState) {
				return out
			}
			from, to := d.settled(a.Late), d.untouched(b.Early)
			if to-from < least || to-from > 6*side || !d.oneField(from, to) {
				return out
			}
			out = append(out, j)
			last = j
		}
		return out
	}
	back, on := chain(i, -1), chain(i, 1)
	if len(back)+1+len(on) < 3 {
		return nil, false
	}
	r := &run{}
	for k := len(back) - 1; k >= 0; k-- {
		r.members = append(r.members, back[k])
	}
	r.members = append(append(r.members, i), on...)
	return r, len(back) == 0
}

// pace gives how far apart placebos of a back and forth stand so that they hardly
// tell the same, and the share of the degrees of freedom that is left then.
func pace(state []int) (stride int, loss float64) {
	x := make([]float64, len(state))
	sum, n := 0.0, 0.0
	for _, s := range state {
		if s >= 0 {
			sum, n = sum+float64(s), n+1
		}
	}
	for i, s := range state {
		if s >= 0 {
			x[i] = float64(s) - sum/n
		}
	}
	alike := func(shift int) (r2 float64) {
		a, b := 0.0, 0.0
		for i := range x {
			a += x[i] * x[i]
			if i+shift < len(x) {
				b += x[i] * x[i+shift]
			}
		}
		return b * b / (a * a)
	}
	best := math.Inf(1)
	for s := len(state) / 3; s <= len(state)*2/3; s++ {
		r2 := 0.0
		for k := s; k < len(state); k += s {
			r2 += alike(k)
		}
		if r2 < best-0.01 {
			best, stride = r2, s
		}
	}
	return max(1, stride), 1 / (1 + 2*best)
}

func (d *Day) oneField(from, to int) bool {
	return from < to && to <= len(d.p.Steps) && d.p.Steps[from].Field == d.p.Steps[to-1].Field
}

// switchback tells the effect of a back and forth by all of its changes, a steady
// drift taken out.
func (d *Day) switchback(r *run, m int, f *Found) {
	f.Design = try.Switchback
	s := d.common(m)
	first, last := r.members[0], r.members[len(r.members)-1]
	wf, why := d.window(first)
	if why != None {
		f.Why = why
		return
	}
	wl, why := d.window(last)
	if why != None {
		f.Why = why
		return
	}
	// Which setting each step was planted with.
	from, to := max(wf.first, wf.before-side), min(wl.last, wl.after+side-1)
	state := make([]int, to+1-from)
	for i := range state {
		t := from + i
		state[i] = 0
		for k, j := range r.members {
			c := &d.changes[j]
			if t >= d.untouched(c.Early) && t < d.settled(c.Late) {
				state[i] = -1
				break
			}
			if t >= d.settled(c.Late) {
				state[i] = (k + 1) % 2
			}
		}
	}
	shift := func(t int) *line {
		l := &line{}
		var n [2]int
		for i, x := range state {
			if x < 0 || math.IsNaN(s.y[t+i]) {
				continue
			}
			l.steps, l.x = append(l.steps, t+i), append(l.x, float64(x))
			n[x]++
		}
		if n[0] < least || n[1] < least {
			return nil
		}
		return l
	}
	l := shift(from)
	if l == nil {
		f.Why = Silent
		return
	}
	value, v, ok := d.jump(s, l, true, false)
	if !ok {
		f.Why = Silent
		return
	}
	var n [2]int
	sum := 0.0
	for i, t := range l.steps {
		n[int(l.x[i])]++
		if l.x[i] == 0 {
			sum += s.y[t]
		}
	}
	f.Before, f.Changed, f.Steps = sum/float64(n[0]), d.p.Rows, min(n[0], n[1])
	f.From, f.To = d.p.Steps[l.steps[0]].T, d.p.Steps[l.steps[len(l.steps)-1]].T
	stride, loss := pace(state)
	value, se, df := against(float64(from), value, v, d.placebos(s, len(state), stride, shift, true, false), true)
	f.finish(value, se, df*loss)
}

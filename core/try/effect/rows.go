package effect

import (
	"math"
	"slices"

	"evenstand"
	"evenstand/core/measure/group"
	"evenstand/core/stat"
	"evenstand/core/try"
)

// rows tells an effect by changed rows against unchanged ones on the same
// stretches: soil, zone and hour are those of both. The row is the unit.
func (d *Day) rows(w window, m int, f *Found) {
	f.Design = try.HalfRows
	f.Out = d.troubled(&w)
	if len(w.changed) < 1 || len(w.control) < 3 {
		f.Why = Lonely
		return
	}
	before, after := d.tells(w.first, w.before, w.control, m), d.tells(w.after, w.last+1, w.control, m)
	if len(before) > side {
		before = before[len(before)-side:]
	}
	if len(after) > side {
		after = after[:side]
	}
	if len(before) < least || len(after) < least {
		f.Why = Silent
		return
	}
	e, ok := d.contrast(w, before, after, m)
	if !ok {
		f.Why = Silent
		return
	}
	f.Out = append(f.Out, e.out...)
	slices.Sort(f.Out)
	f.Before, f.Changed, f.Control, f.Steps = e.before, e.changed, e.control, min(len(before), len(after))
	f.From, f.To = d.p.Steps[before[0]].T, d.p.Steps[after[len(after)-1]].T
	k, kdf := d.lateral(w, len(before), len(after), m)
	f.finish(e.value, math.Sqrt(e.v*k), 1/(1/e.df+1/kdf))
}

// troubled takes the rows out of a window with which something was wrong within it.
// What befell most of the changed rows may be what the change did and stays.
func (d *Day) troubled(w *window) (out evenstand.Rows) {
	from, to := d.p.Steps[w.first].T, d.p.Steps[w.last].T
	bad := func(r int) bool {
		return slices.ContainsFunc(d.trouble, func(t Trouble) bool { return t.Row == r && t.From <= to && t.To >= from })
	}
	var changed, control []int
	for _, r := range w.changed {
		if !bad(r) {
			changed = append(changed, r)
		}
	}
	for _, r := range w.control {
		if !bad(r) {
			control = append(control, r)
		}
	}
	if 2*len(changed) < len(w.changed) {
		changed = w.changed
	}
	if 2*len(control) < len(w.control) {
		control = w.control
	}
	for r := 1; r <= d.p.Rows; r++ {
		if slices.Contains(w.changed, r) && !slices.Contains(changed, r) || slices.Contains(w.control, r) && !slices.Contains(control, r) {
			out = append(out, r)
		}
	}
	w.changed, w.control = changed, control
	return out
}

// wrong is how often a sound row may be left out as faulty, over all rows of a
// contrast: one that breaks is far beyond it.
const wrong = 0.001

// faulty takes rows out that came to differ from all others of their kind, as if
// they had broken: it would stand for the setting. Each is held against the others
// alone (the deleted residual, Cook and Weisberg 1982, from memory), the worst
// first; where its kind has few rows, the spread of the other kind counts too. Half
// of a kind at least and as many as are needed stay.
func faulty(q, scale *[2][]float64, rows *[2][]int) (out []int) {
	least := [2]int{max(2, (len(q[0])+1)/2), max(3, (len(q[1])+1)/2)}
	sum := func(x []float64, but int) (n, s, v float64) {
		for i, y := range x {
			if i != but {
				n, s = n+1, s+y
			}
		}
		for i, y := range x {
			if i != but {
				v += (y - s/n) * (y - s/n)
			}
		}
		return n, s, v
	}
	for len(out) < 3 {
		best, kind, at, tries := 1.0, -1, -1, 0.0
		for k := range q {
			if len(q[k]) <= least[k] {
				continue
			}
			tries += float64(len(q[k]))
			for i := range q[k] {
				n, s, v := sum(q[k], i)
				df := n - 1
				if len(q[k]) < 6 {
					own, other := meanOf(scale[k]), meanOf(scale[1-k])
					if !(own > 0) || !(other > 0) {
						own, other = 1, 1
					}
					if no, _, vo := sum(q[1-k], -1); no >= 2 {
						v, df = v+vo*own/other, df+no-1
					}
				}
				sd := math.Sqrt(v / df * (1 + 1/n))
				if !(sd > 0) {
					continue
				}
				if p := stat.StudentTail((q[k][i]-s/n)/sd, df); p < best {
					best, kind, at = p, k, i
				}
			}
		}
		if kind < 0 || best*tries >= wrong {
			break
		}
		out = append(out, rows[kind][at])
		q[kind], scale[kind], rows[kind] = slices.Delete(q[kind], at, at+1), slices.Delete(scale[kind], at, at+1), slices.Delete(rows[kind], at, at+1)
	}
	return out
}

// tells gives the steps of a range, headlands apart, on which half of the rows told a
// measure.
func (d *Day) tells(from, to int, rows []int, m int) []int {
	var out []int
	for s := from; s < to; s++ {
		if d.p.Steps[s].Headland {
			continue
		}
		n := 0
		for _, r := range rows {
			if d.p.Part(m, s, r).N > 0 {
				n++
			}
		}
		if 2*n >= len(rows) && n >= 2 {
			out = append(out, s)
		}
	}
	return out
}

// contrast is a difference of differences.
type contrast struct {
	value, v, df     float64
	before           float64
	changed, control int
	out              []int // rows left out
}

// contrast compares how rows came to differ from the unchanged ones between two
// sets of steps.
func (d *Day) contrast(w window, before, after []int, m int) (e contrast, ok bool) {
	p := d.p
	type sum struct{ n, s float64 }
	of := make([][2]sum, p.Rows+1)
	steps := make([][2]int, p.Rows+1)
	var level [2]sum
	for k, set := range [2][]int{before, after} {
		for _, s := range set {
			var c sum
			for _, r := range w.control {
				if v, n := p.Value(m, s, r); n > 0 {
					c.n, c.s = c.n+n, c.s+n*v
				}
			}
			if !(c.n > 0) {
				continue
			}
			mid := c.s / c.n
			for _, rows := range [2][]int{w.changed, w.control} {
				for _, r := range rows {
					if v, n := p.Value(m, s, r); n > 0 {
						x := &of[r][k]
						x.n, x.s = x.n+n, x.s+n*(v-mid)
						steps[r][k]++
					}
				}
			}
			for _, r := range w.changed {
				if v, n := p.Value(m, s, r); n > 0 {
					level[k].n, level[k].s = level[k].n+n, level[k].s+n*v
				}
			}
		}
	}
	// What chance alone gives sets rows of unlike counts and shares on one scale.
	var q, scale [2][]float64
	var kept [2][]int
	welch := len(w.changed) >= 5 && len(w.control) >= 5
	for k, rows := range [2][]int{w.changed, w.control} {
		var parts [2]group.Part
		if !welch {
			parts = [2]group.Part{d.pooled(rows, before, m), d.pooled(rows, after, m)}
		}
		for _, r := range rows {
			if 2*steps[r][0] < len(before) || 2*steps[r][1] < len(after) {
				continue
			}
			kept[k] = append(kept[k], r)
			q[k] = append(q[k], of[r][1].s/of[r][1].n-of[r][0].s/of[r][0].n)
			v := d.chance(m, parts[0], of[r][0].n) + d.chance(m, parts[1], of[r][1].n)
			scale[k] = append(scale[k], v)
		}
	}
	e.out = faulty(&q, &scale, &kept)
	e.changed, e.control = len(q[0]), len(q[1])
	if e.changed < 1 || e.control < 3 {
		return e, false
	}
	e.before = level[0].s / level[0].n
	a, b := meanOf(q[0]), meanOf(q[1])
	e.value = a - b
	sa, sb := meanOf(scale[0]), meanOf(scale[1])
	if !(sa > 0) || !(sb > 0) {
		sa, sb = 1, 1
	}
	na, nb := float64(e.changed), float64(e.control)
	va, vb := squares(q[0], a), squares(q[1], b)
	if e.changed >= 5 && e.control >= 5 {
		w := stat.WelchT(q[0], q[1])
		e.v, e.df = w.SE*w.SE, w.DF
	} else {
		e.df = na + nb - 2
		phi := (va/sa + vb/sb) / e.df
		e.v = phi * (sa/na + sb/nb)
	}
	return e, e.v > 0
}

// pooled sums a measure of rows over steps.
func (d *Day) pooled(rows, steps []int, m int) (all group.Part) {
	for _, s := range steps {
		for _, r := range rows {
			all.Add(d.p.Part(m, s, r))
		}
	}
	return all
}

// chance gives the variance that chance alone gives n cases at the level of all; 0
// where the measure has none.
func (d *Day) chance(m int, all group.Part, n float64) float64 {
	if !(all.N > 0) || !(n > 0) {
		return 0
	}
	k := n / all.N
	low, high, ok := d.p.Measures[m].Chance(group.Part{N: n, S: all.S * k, Q: all.Q * k})
	if !ok {
		return 0
	}
	h := (high - low) / 2
	return h * h
}

// lateral is how much more than chance between rows the changed rows come to
// differ from the others where nothing was changed: ground that varies across the
// bar makes neighbours alike. It gives a factor on the variance and the degrees of
// freedom of that; 1 and +Inf where there are too few such moments in the day.
func (d *Day) lateral(w window, before, after, m int) (factor, df float64) {
	const (
		few = 4 // placebos that are needed
		// Placebos that rows without neighbours count for: where neighbours are alike
		// hardly any, or intervals hold too seldom on ground with sharp borders.
		weak, alike = 4, 1
	)
	p := d.p
	gap := w.after - w.before
	var touch []int
	for i := range d.changes {
		c := &d.changes[i]
		if slices.ContainsFunc(w.changed, c.On) || slices.ContainsFunc(w.control, c.On) {
			touch = append(touch, i)
		}
	}
	n, dd, vv, ratio, dfs := 0.0, 0.0, 0.0, 0.0, 0.0
	for first := 0; first+before+gap+after <= len(p.Steps); {
		mid := first + before
		next := mid + gap
		end := next + after
		if p.Steps[first].Field != p.Steps[end-1].Field {
			first += 10
			continue
		}
		hit := 0
		for _, i := range touch {
			if from, to := d.untouched(d.changes[i].Early), d.settled(d.changes[i].Late); from < end && to > first {
				hit = max(hit, to)
			}
		}
		if hit > 0 {
			first = max(hit, first+1)
			continue
		}
		b, a := d.tells(first, mid, w.control, m), d.tells(next, end, w.control, m)
		if 2*len(b) >= before && 2*len(a) >= after && len(b) >= least && len(a) >= least {
			if e, ok := d.contrast(w, b, a, m); ok {
				q := e.value * e.value
				n, dd, vv, ratio, dfs = n+1, dd+q, vv+e.v, ratio+q/e.v, dfs+e.df
			}
		}
		first += (end - first) / 2
	}
	if n < few || !(vv > 0) {
		return 1, math.Inf(1)
	}
	k := dd / vv
	if f := dfs / n; f >= 8 { // the mean of t², which is f/(f−2) by chance
		k = ratio / n * (f - 2) / f
	}
	w0 := float64(weak)
	if k > 1 {
		w0 = alike
	}
	return (w0 + n*k) / (w0 + n), float64(weak) + 0.8*n // each shares with the next
}

func meanOf(x []float64) float64 {
	s := 0.0
	for _, v := range x {
		s += v
	}
	return s / float64(len(x))
}

func squares(x []float64, mean float64) float64 {
	s := 0.0
	for _, v := range x {
		s += (v - mean) * (v - mean)
	}
	return s
}

package trial

import (
	"fmt"
	"math"
	"slices"

	"evenstand/core/stat"
)

// Class is rows that differ from others by where they run.
type Class uint8

// The classes.
const (
	Plain Class = iota
	Track       // in a wheel track
	Wing        // outermost
)

// String names a class for a sentence: "in a wheel track".
func (c Class) String() string {
	switch c {
	case Track:
		return "in a wheel track"
	case Wing:
		return "at the end of the bar"
	}
	return "elsewhere"
}

// least is how many rows of a class without the part make it a class of its own
// (methods, j).
const least = 3

// Rows is what a trial by rows is reckoned from.
type Rows struct {
	Class  []Class // by row
	Arms   Arms
	Blocks []Block
	// Zones is how many zones the blocks are of; 1 or 0: not parted.
	Zones int
	// Also says of a row what else of it changed in the time, and Has what else it
	// carries that most rows do not, which matters where it is held against other
	// rows only; empty: nothing. Nil: nothing is known.
	Also, Has []string
}

// Out is rows that were kept out, and why.
type Out struct {
	Rows []int // from 1
	Why  string
}

// Result is what a trial tells by one measure.
type Result struct {
	Estimate
	How     How
	With    []int // rows that carried the part and count, from 1
	Without []int // rows that never did and count
	Out     []Out
	Zones   []Estimate // by zone, drawn towards the whole; nil: not parted
	Row     []RowPeriod
	Band    []Band // by period: the rows without
	// Drift is how much a row differs from one period to the next by itself, or
	// between rows where there is no before, and Pass how much a pass adds to
	// that: variances of a difference, NaN unknown. Passes is how many there were
	// of each.
	Drift, Pass float64
	Passes      float64
	// Lone tells that one row of an arm is all there is, without its own history:
	// nothing tells the part from the row.
	Lone bool
	// Mixed is what else the rows carry that cannot be told from the part.
	Mixed []string
}

// RowPeriod is what one row did in one period.
type RowPeriod struct {
	Row, Period int
	With        float64 // 1, 0, NaN
	Value       float64 // the measure, beside the rows of the period
	Low, High   float64 // 90 % interval by its own passes
	N           float64 // passes
	Counts      bool
}

// Band is the middle 90 % of rows without the part in a period.
type Band struct{ Low, Mid, High float64 }

// Judge reckons a trial by rows.
func (t *Rows) Judge() Result {
	periods := 0
	if len(t.Arms) > 0 {
		periods = len(t.Arms[0])
	}
	m := rowMeans(t.Blocks, len(t.Arms), periods, all)
	out := Result{Estimate: noEstimate, How: Nothing, Drift: math.NaN(), Pass: math.NaN()}
	keep := t.classes(&m, &out)
	if t.apart(keep, t.Also, &out) && !t.within(&m, keep) {
		t.apart(keep, t.Has, &out)
	}
	t.faulty(&m, keep, &out)
	c := t.design(&m, keep, &out)
	out.Row, out.Band = t.show(&m, keep)
	if c == nil {
		return out
	}
	e, ok := c.fit(m.u)
	if !ok {
		out.How = Nothing
		return out
	}
	out.Estimate = e.estimate
	out.Drift, out.Pass, out.Passes = e.drift, e.pass, c.passes
	if t.Zones > 1 && len(out.With) >= 2 && len(out.Without) >= 2 {
		out.Zones = t.byZone(c, &m, out.Estimate)
	}
	return out
}

// classes says which rows count: those of a class that few rows without the part
// belong to only when as many of it carry the part as not.
func (t *Rows) classes(m *means, out *Result) []bool {
	keep := make([]bool, len(t.Arms))
	for _, class := range []Class{Plain, Track, Wing} {
		var rows, with []int
		free := 0
		balance := make(map[string]int)
		for r, a := range t.Arms {
			if t.Class[r] != class || !some(m.u[r]) {
				continue
			}
			rows = append(rows, r+1)
			balance[pattern(a)]++
			switch {
			case ever(a, 1):
				with = append(with, r+1)
			case ever(a, 0):
				free++
			}
		}
		switch {
		case class == Plain || len(with) == 0 && free >= 2 || free >= least:
		case len(with) > 0 && even(balance):
		default:
			if len(rows) > 0 {
				why := fmt.Sprintf("too few of its kind (%s) to be held against", class)
				if len(with) == 0 {
					why = fmt.Sprintf("alone of its kind (%s)", class)
				}
				out.Out = append(out.Out, Out{rows, why})
			}
			continue
		}
		for _, r := range rows {
			keep[r-1] = true
		}
	}
	return keep
}

// apart keeps out rows of which something else differs too, unless that leaves no
// rows with the part or none without: then nothing tells the two apart, which the
// caller says. It gives false when that is so.
func (t *Rows) apart(keep []bool, why []string, out *Result) bool {
	if why == nil {
		return true
	}
	with, without := 0, 0
	for r, a := range t.Arms {
		switch {
		case !keep[r] || why[r] != "":
		case ever(a, 1):
			with++
		case ever(a, 0):
			without++
		}
	}
	gone := map[string][]int{}
	var order []string
	for r := range keep {
		if keep[r] && why[r] != "" {
			if gone[why[r]] == nil {
				order = append(order, why[r])
			}
			gone[why[r]] = append(gone[why[r]], r+1)
		}
	}
	if len(order) > 0 && (with == 0 || without == 0) {
		out.Mixed = order
		return false
	}
	for _, w := range order {
		out.Out = append(out.Out, Out{gone[w], w})
		for _, r := range gone[w] {
			keep[r-1] = false
		}
	}
	return true
}

// wrong is how often a sound row among those without may be kept out as faulty,
// over all rows and periods of a trial: a blocked cell is far beyond it.
const wrong = 0.001

// faulty keeps out rows without the part that are far from all others of their
// kind, by where they stand or by how they change: one bad row would hide what the
// rest tell. Each is held against the others alone (the deleted residual, Cook and
// Weisberg 1982, from memory), the worst first.
func (t *Rows) faulty(m *means, keep []bool, out *Result) {
	within := t.within(m, keep)
	var bad []int
	for {
		worst, row := 1.0, -1
		tries := 0.0
		for _, class := range []Class{Plain, Track, Wing} {
			for k := range m.mid {
				var rows []int
				var xs []float64
				for r, a := range t.Arms {
					if !keep[r] || t.Class[r] != class || ever(a, 1) || !ever(a, 0) || math.IsNaN(m.u[r][k]) {
						continue
					}
					x := m.u[r][k]
					if within {
						x -= mean(m.u[r])
					}
					rows, xs = append(rows, r), append(xs, x)
				}
				if len(xs) < 5 {
					continue
				}
				tries += float64(len(xs))
				for i := range xs {
					if p := apartFrom(xs, i); p < worst {
						worst, row = p, rows[i]
					}
				}
			}
		}
		if row < 0 || worst*tries >= wrong || len(bad) == 3 {
			break
		}
		keep[row] = false
		bad = append(bad, row+1)
	}
	if len(bad) > 0 {
		slices.Sort(bad)
		out.Out = append(out.Out, Out{bad, "far from all other rows by this measure, as if something were wrong with them"})
	}
}

// apartFrom gives the chance that one of some values lies so far from the others.
func apartFrom(xs []float64, one int) float64 {
	n, s, q := 0.0, 0.0, 0.0
	for i, x := range xs {
		if i != one {
			n, s = n+1, s+x
		}
	}
	for i, x := range xs {
		if i != one {
			q += (x - s/n) * (x - s/n)
		}
	}
	sd := math.Sqrt(q / (n - 1) * (1 + 1/n))
	if !(sd > 0) {
		return 1
	}
	return stat.StudentTail((xs[one]-s/n)/sd, n-1)
}

// mean is that of the values that are known.
func mean(xs []float64) float64 {
	s, n := 0.0, 0.0
	for _, x := range xs {
		if !math.IsNaN(x) {
			s, n = s+x, n+1
		}
	}
	return s / n
}

// within tells whether a row that counts changed parts.
func (t *Rows) within(m *means, keep []bool) bool {
	for r, a := range t.Arms {
		was := math.NaN()
		for k, x := range a {
			if !keep[r] || math.IsNaN(x) || math.IsNaN(m.u[r][k]) {
				continue
			}
			if !math.IsNaN(was) && x != was {
				return true
			}
			was = x
		}
	}
	return false
}

// even tells whether a class is matched: as many rows of each way through the
// trial, of at least two ways.
func even(balance map[string]int) bool {
	n := 0
	for _, k := range balance {
		if n > 0 && k != n {
			return false
		}
		n = k
	}
	return len(balance) >= 2
}

func some(xs []float64) bool {
	for _, x := range xs {
		if !math.IsNaN(x) {
			return true
		}
	}
	return false
}

func ever(a []float64, x float64) bool {
	for _, v := range a {
		if v == x {
			return true
		}
	}
	return false
}

// pattern writes a row's way through the periods.
func pattern(a []float64) string {
	b := make([]byte, len(a))
	for i, x := range a {
		switch {
		case math.IsNaN(x):
			b[i] = '-'
		case x > 0:
			b[i] = '1'
		default:
			b[i] = '0'
		}
	}
	return string(b)
}

// contrast is a linear way to the effect: weights on rows and periods.
type contrast struct {
	rows    []int       // from 0
	periods []int       // that count
	g       [][]float64 // by place in rows and periods: what a value counts; 0 sum over rows of a class
	xx      float64
	group   []int // of each row: its class and way, by number
	groups  int
	n       [][]float64
	s2, df2 float64
	passes  float64
}

// design picks the best way that the data allow and the rows that count in it.
func (t *Rows) design(m *means, keep []bool, out *Result) *contrast {
	within := false
	up, down := 0, 0
	for r, a := range t.Arms {
		if !keep[r] {
			continue
		}
		was := math.NaN()
		for k, x := range a {
			if math.IsNaN(x) || math.IsNaN(m.u[r][k]) {
				continue
			}
			if x > was {
				up++
				within = true
			} else if x < was {
				down++
				within = true
			}
			was = x
		}
	}
	out.How = Beside
	switch {
	case up > 0 && down > 0:
		out.How = Swap
	case within:
		out.How = Fitted
	}
	c := &contrast{s2: m.s2, df2: m.df}
	// Rows without a before of their own tell nothing in a trial within rows.
	for r, a := range t.Arms {
		if !keep[r] {
			continue
		}
		seen, way := 0, 0.0
		for k, x := range a {
			if !math.IsNaN(x) && !math.IsNaN(m.u[r][k]) {
				seen++
				way += x
			}
		}
		if seen == 0 || within && seen < 2 {
			continue
		}
		c.rows = append(c.rows, r)
		if way > 0 {
			out.With = append(out.With, r+1)
		} else {
			out.Without = append(out.Without, r+1)
		}
	}
	// Periods in which all of these rows tell; a row that lacks one that the
	// others have is left out, unless it is most of them.
	for k := range periodsOf(t.Arms) {
		n := 0
		for _, r := range c.rows {
			if !math.IsNaN(m.u[r][k]) && !math.IsNaN(t.Arms[r][k]) {
				n++
			}
		}
		if 2*n > len(c.rows) {
			c.periods = append(c.periods, k)
		}
	}
	full := c.rows[:0]
	var lacking []int
	for _, r := range c.rows {
		lacks := false
		for _, k := range c.periods {
			lacks = lacks || math.IsNaN(m.u[r][k]) || math.IsNaN(t.Arms[r][k])
		}
		if lacks {
			lacking = append(lacking, r+1)
			continue
		}
		full = append(full, r)
	}
	c.rows = full
	if len(lacking) > 0 {
		out.Out = append(out.Out, Out{lacking, "not planted in all of the time that is compared"})
		out.With, out.Without = less(out.With, lacking), less(out.Without, lacking)
	}
	if len(out.With) == 0 || len(out.With) == len(c.rows) && out.How == Beside {
		out.How = Nothing
		return nil
	}
	out.Lone = out.How == Beside && (len(out.With) < 2 || len(out.Without) < 2)
	c.solve(t, m, within)
	if !(c.xx > 1e-9) {
		out.How = Nothing
		return nil
	}
	return c
}

func periodsOf(a Arms) []struct{} {
	if len(a) == 0 {
		return nil
	}
	return make([]struct{}, len(a[0]))
}

func less(rows, without []int) []int {
	out := rows[:0]
	for _, r := range rows {
		if !has(without, r) {
			out = append(out, r)
		}
	}
	return out
}

func has(rows []int, r int) bool {
	for _, x := range rows {
		if x == r {
			return true
		}
	}
	return false
}

// solve takes rows and the periods of a class out of the arms; what is left
// weighs each value. Values that rest on few passes count less, by how much of
// a row's difference its passes make.
func (c *contrast) solve(t *Rows, m *means, within bool) {
	at := func(v [][]float64) [][]float64 {
		x := make([][]float64, len(c.rows))
		for i, r := range c.rows {
			x[i] = make([]float64, len(c.periods))
			for j, k := range c.periods {
				x[i][j] = v[r][k]
			}
		}
		return x
	}
	c.n = at(m.n)
	names := map[string]int{}
	c.group = make([]int, len(c.rows))
	class := make([]int, len(c.rows))
	x := at(t.Arms)
	for i, r := range c.rows {
		class[i] = int(t.Class[r])
		name := fmt.Sprint(class[i], pattern(x[i]))
		if _, ok := names[name]; !ok {
			names[name] = len(names)
		}
		c.group[i] = names[name]
	}
	c.groups = len(names)
	few := math.Inf(1)
	for i := range c.n {
		for j := range c.n[i] {
			few = math.Min(few, c.n[i][j])
		}
	}
	w := make([][]float64, len(c.rows))
	for i := range w {
		w[i] = make([]float64, len(c.periods))
		for j := range w[i] {
			w[i][j] = 1
		}
	}
	c.weigh(x, w, class, within)
	// Once the size of the drift is known, values of fewer passes are weighed down.
	if e, ok := c.fit(m.u); ok && c.s2 > 0 {
		cell := math.Max(0, e.drift/2)
		if !within {
			cell = math.Max(0, e.drift)
		}
		for i := range w {
			for j := range w[i] {
				w[i][j] = 1 / (cell + c.s2/c.n[i][j] + 1e-300)
			}
		}
		scale := w[0][0]
		for i := range w {
			for j := range w[i] {
				w[i][j] /= scale
			}
		}
		c.weigh(x, w, class, within)
	}
	s := 0.0
	for i := range c.n {
		for j := range c.n[i] {
			s += 1 / c.n[i][j]
		}
	}
	c.passes = float64(len(c.n)*len(c.periods)) / s
}

// weigh makes the contrast of the arms by weights.
func (c *contrast) weigh(arms, w [][]float64, class []int, within bool) {
	x := make([][]float64, len(arms))
	for i := range x {
		x[i] = append([]float64(nil), arms[i]...)
	}
	for range 500 {
		moved := 0.0
		take := func(s, n float64, set func(d float64)) {
			if n > 0 {
				d := s / n
				moved = math.Max(moved, math.Abs(d))
				set(d)
			}
		}
		for k := range 3 {
			for j := range c.periods {
				s, n := 0.0, 0.0
				for i := range x {
					if class[i] == k {
						s, n = s+w[i][j]*x[i][j], n+w[i][j]
					}
				}
				take(s, n, func(d float64) {
					for i := range x {
						if class[i] == k {
							x[i][j] -= d
						}
					}
				})
			}
		}
		if within {
			for i := range x {
				s, n := 0.0, 0.0
				for j := range x[i] {
					s, n = s+w[i][j]*x[i][j], n+w[i][j]
				}
				take(s, n, func(d float64) {
					for j := range x[i] {
						x[i][j] -= d
					}
				})
			}
		}
		if moved < 1e-14 {
			break
		}
	}
	c.g, c.xx = x, 0
	for i := range x {
		for j := range x[i] {
			x[i][j] *= w[i][j]
			c.xx += x[i][j] * arms[i][j]
		}
	}
}

// fitted is what a contrast gives.
type fitted struct {
	estimate    Estimate
	drift, pass float64
}

// fit gives the effect on a response by rows and periods. Its variance is that
// which rows of one class and way through the trial show among themselves: rows
// without the part first of all, and rows with it where there are two and more
// of a kind.
func (c *contrast) fit(u [][]float64) (fitted, bool) {
	K := len(c.periods)
	v := 0.0
	mean := make([][]float64, c.groups)
	size := make([]float64, c.groups)
	for g := range mean {
		mean[g] = make([]float64, K)
	}
	for i, r := range c.rows {
		size[c.group[i]]++
		for j, k := range c.periods {
			if math.IsNaN(u[r][k]) {
				return fitted{}, false
			}
			v += c.g[i][j] * u[r][k]
			mean[c.group[i]][j] += u[r][k]
		}
	}
	df := 0.0
	for g := range mean {
		for j := range mean[g] {
			mean[g][j] /= size[g]
		}
		df += size[g] - 1
	}
	if df < 1 {
		return fitted{}, false
	}
	// omega is how rows differ over the periods, short of what is theirs alone.
	omega := square(K)
	thin := make([]float64, K) // mean of 1/passes of the rows that omega is of
	for i, r := range c.rows {
		g := c.group[i]
		if size[g] < 2 {
			continue
		}
		share := (size[g] - 1) / size[g] / df
		for j, k := range c.periods {
			thin[j] += share / c.n[i][j]
			for h, l := range c.periods {
				omega[j][h] += (u[r][k] - mean[g][j]) * (u[r][l] - mean[g][h]) / df
			}
		}
	}
	form := square(K) // sum over rows of what their values count, squared
	more := 0.0       // of a row's passes beyond those of the rows that omega is of
	ordinary := 0.0
	for i := range c.rows {
		for j := range K {
			ordinary += c.g[i][j] * c.g[i][j] * thin[j]
			more += c.g[i][j] * c.g[i][j] * (1/c.n[i][j] - thin[j])
			for h := range K {
				form[j][h] += c.g[i][j] * c.g[i][h]
			}
		}
	}
	a, two := 0.0, 0.0 // trace of omega form, and of its square
	of := square(K)
	for j := range K {
		for h := range K {
			for l := range K {
				of[j][h] += omega[j][l] * form[l][h]
			}
		}
		a += of[j][j]
	}
	for j := range K {
		for h := range K {
			two += of[j][h] * of[h][j]
		}
	}
	dfa := df
	if two > 0 {
		dfa = df * a * a / two
	}
	b := 0.0
	if c.s2 > 0 && math.Abs(more) > 1e-12*ordinary {
		b = more * c.s2
	}
	total := a + b
	if least := 0.1 * a; total < least {
		total = least
	}
	if !(total > 0) {
		return fitted{}, false
	}
	d := dfa
	if b != 0 && c.df2 > 0 { // Satterthwaite 1946
		d = total * total / (a*a/dfa + b*b/c.df2)
	}
	f := fitted{estimate: estimate(v/c.xx, math.Sqrt(total)/c.xx, d)}
	// A difference of a row has twice the variance of a value within rows.
	norm, twice := 0.0, 1.0
	for j := range K {
		norm += form[j][j]
	}
	if K > 1 {
		twice = 2
	}
	per := twice * a / norm
	f.pass = twice * c.s2
	f.drift = per - f.pass*ordinary/norm
	return f, true
}

func square(n int) [][]float64 {
	s := make([][]float64, n)
	for i := range s {
		s[i] = make([]float64, n)
	}
	return s
}

// byZone gives the effect by zone: what a zone differs from the whole is drawn
// towards nothing by a prior SD of half the main effect (methods, j).
func (t *Rows) byZone(c *contrast, m *means, main Estimate) []Estimate {
	out := make([]Estimate, t.Zones)
	prior := main.Value * main.Value / 4
	for z := range out {
		out[z] = noEstimate
		zm := rowMeans(t.Blocks, len(t.Arms), len(t.Arms[0]), z)
		diff := table(len(t.Arms), len(t.Arms[0]))
		for r := range diff {
			for k := range diff[r] {
				diff[r][k] = zm.u[r][k] - m.u[r][k]
			}
		}
		own := *c
		own.s2 = math.NaN()
		e, ok := own.fit(diff)
		if !ok || !e.estimate.Known() {
			continue
		}
		v := e.estimate.SE * e.estimate.SE
		keep := prior / (prior + v)
		out[z] = estimate(main.Value+keep*e.estimate.Value, math.Sqrt(main.SE*main.SE+keep*v), math.Min(main.DF, e.estimate.DF))
	}
	return out
}

// show gives what rows did, for looking at.
func (t *Rows) show(m *means, keep []bool) ([]RowPeriod, []Band) {
	var rows []RowPeriod
	bands := make([]Band, len(m.mid))
	for k := range m.mid {
		var free []float64
		for r := range m.u {
			if math.IsNaN(m.u[r][k]) {
				continue
			}
			v := m.mid[k] + m.u[r][k]
			p := RowPeriod{Row: r + 1, Period: k, With: t.Arms[r][k], Value: v, Low: math.NaN(), High: math.NaN(), N: m.n[r][k], Counts: keep[r]}
			if m.s2 > 0 && m.df >= 1 {
				e := estimate(v, math.Sqrt(m.s2/m.n[r][k]), m.df)
				p.Low, p.High = e.Low, e.High
			}
			rows = append(rows, p)
			if t.Arms[r][k] == 0 && keep[r] {
				free = append(free, v)
			}
		}
		bands[k] = band(free)
	}
	return rows, bands
}

// band is where nine of ten rows lie by mean and SD of these.
func band(xs []float64) Band {
	nan := math.NaN()
	if len(xs) < 3 {
		return Band{nan, nan, nan}
	}
	m, s := 0.0, 0.0
	for _, x := range xs {
		m += x
	}
	m /= float64(len(xs))
	for _, x := range xs {
		s += (x - m) * (x - m)
	}
	d := 1.6448536 * math.Sqrt(s/float64(len(xs)-1))
	return Band{m - d, m, m + d}
}

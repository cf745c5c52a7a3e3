package find

import (
	"math"

	"evenstand"
	"evenstand/core/stat"
)

// Vacuum that falls makes all rows of its side skip more at the same time.
// The group is tested before its rows, so that eight rows are one finding.
const (
	vacMean     = 5 * evenstand.Second // readings are averaged over this
	vacMemory   = 360                  // means of memory: half an hour
	vacWarm     = 18
	vacSlack    = 0.5  // of a CUSUM on the means, in SDs
	vacAlarm    = 12.0 // in-control run length about 1e6 means
	vacDrop     = 0.08 // least relative drop that matters
	vacFloorPa  = 20.0 // half of the usual display step of 50 Pa, rounded down
	sideTest    = 300  // s of planting between group tests
	sideAlarmP  = 1e-5
	sideHoldP   = 1e-3
	sideRatio   = 1.25
	vacSkipZ    = 4.5
	machineZ    = 5.0
	vacSettle   = 90 * evenstand.Second
	vacBackDrop = 0.02
	vacDoubt    = 20 * evenstand.Second // to which the moment of a fall is known
)

// side is a vacuum group.
type side struct {
	name   string
	rows   evenstand.Rows
	vacuum vacuumWatch
	p      [numKinds]float64 // of the last group test
	effect [numKinds]float64
	cse    *caseFile
}

func newSide(name string, rows evenstand.Rows) *side {
	s := &side{name: name, rows: rows}
	for k := range s.p {
		s.p[k] = 1
	}
	return s
}

// apart tells whether the sides must not be compared at present.
func (s *side) apart(kind int) bool {
	return s.p[kind] < sideHoldP || (kind == kindSkips && (s.vacuum.active || (s.cse != nil && s.cse.open())))
}

// vacCase is what a low-vacuum finding rests on.
type vacCase struct {
	before, after stat2
	byGauge       bool // the gauge fell; else only the rows say so
	machine       bool
}

// stat2 is a mean that is being formed.
type stat2 struct{ sum, n float64 }

func (s *stat2) add(x float64) { s.sum += x; s.n++ }
func (s stat2) mean() float64 {
	if s.n == 0 {
		return math.NaN()
	}
	return s.sum / s.n
}

type vacuumWatch struct {
	sum, n   float64
	from     evenstand.Micros
	ref, dev float64
	seen     int
	c        float64
	zeroAt   evenstand.Micros
	active   bool
	since    evenstand.Micros
	back     int
	backAt   evenstand.Micros
	now      float64
	after    stat2
	ring     [256]vacMeanAt // late means, to tell when it fell
	k        int
}

type vacMeanAt struct {
	t evenstand.Micros
	m float64
}

// late is the vacuum over the last minutes of planting.
func (w *vacuumWatch) late() float64 { return w.mid(36) }

// mid is the mean of the last means.
func (w *vacuumWatch) mid(n int) float64 {
	n = min(w.k, n)
	sum := 0.0
	for j := 1; j <= n; j++ {
		sum += w.ring[(w.k-j)%len(w.ring)].m
	}
	return sum / math.Max(1, float64(n))
}

// onset is the mean with which the fall most probably began: the largest sum
// of what speaks for the present level against the one before.
func (w *vacuumWatch) onset(s float64) evenstand.Micros {
	n := min(w.k, 128)
	level := 0.0
	for j := 1; j <= min(n, 3); j++ {
		level += w.ring[(w.k-j)%len(w.ring)].m / float64(min(n, 3))
	}
	d := (w.ref - level) / s
	sum, best, at := 0.0, math.Inf(-1), w.zeroAt
	for j := 1; j <= n; j++ {
		v := w.ring[(w.k-j)%len(w.ring)]
		sum += d * ((w.ref-v.m)/s - d/2)
		if sum > best {
			best, at = sum, v.t
		}
	}
	return at
}

// ramp is when a fall began that came on slowly: the start of the line from the
// level before down to the present one that fits best, if it fits clearly
// better than a step at since does; else since.
func (w *vacuumWatch) ramp(since evenstand.Micros) evenstand.Micros {
	n := min(w.k, len(w.ring))
	back := func(j int) vacMeanAt { return w.ring[(w.k-j)%len(w.ring)] }
	level := w.mid(6)
	step := 0.0
	for j := 1; j <= n; j++ {
		v, at := back(j), w.ref
		if v.t >= since {
			at = level
		}
		step += (v.m - at) * (v.m - at)
	}
	best, at := 0.8*step, since
	before := make([]float64, n+2) // squares against the level before, from j on
	for j := n; j >= 1; j-- {
		v := back(j)
		before[j] = before[j+1] + (v.m-w.ref)*(v.m-w.ref)
	}
	for a := 6; a <= n; a++ {
		sq := before[a+1]
		for j := 1; j <= a && sq < best; j++ {
			d := back(j).m - (level + (w.ref-level)*float64(j-1)/float64(a-1))
			sq += d * d
		}
		if sq < best && back(a).t < since {
			best, at = sq, back(a).t
		}
	}
	return at
}

// reading takes a value while planting.
func (w *vacuumWatch) reading(t evenstand.Micros, pa float64) {
	if w.n > 0 && t-w.from >= vacMean {
		w.mean(w.from, w.sum/w.n)
		w.sum, w.n = 0, 0
	}
	if w.n == 0 {
		w.from = t
	}
	w.sum += pa
	w.n++
}

func (w *vacuumWatch) mean(t evenstand.Micros, m float64) {
	w.now = m
	w.ring[w.k%len(w.ring)] = vacMeanAt{t, m}
	w.k++
	if w.seen == 0 {
		w.ref, w.dev = m, vacFloorPa
	}
	s := math.Max(vacFloorPa, math.Max(w.dev*1.2533, 0.004*w.ref))
	if w.seen >= vacWarm {
		z := (w.ref - m) / s
		if w.c == 0 {
			w.zeroAt = t
		}
		w.c = math.Max(0, w.c+math.Min(z, 8)-vacSlack)
		if w.c > 40 {
			w.c = 40
		}
		if !w.active && w.c >= vacAlarm && m < (1-vacDrop)*w.ref && w.mid(6) < (1-vacDrop)*w.ref {
			w.active, w.since, w.back = true, w.onset(s), 0
			w.after = stat2{}
		}
	}
	if w.active {
		if m > (1-vacBackDrop)*w.ref || w.mid(36) > (1-vacDrop/2)*w.ref {
			if w.back == 0 {
				w.backAt = t
			}
			w.back++
		} else {
			w.back = 0
			w.after.add(m)
		}
		if w.back >= 12 {
			w.active, w.c = false, 0
		}
		return
	}
	g := 1 / math.Min(vacMemory, float64(w.seen+1))
	if w.c >= vacAlarm/2 { // it may be falling; but a reference that is too high must not stay so for ever
		g /= 8
	}
	w.ref += g * (m - w.ref)
	if w.c < vacAlarm/2 {
		w.dev += math.Max(g, 1.0/vacMemory) * (math.Abs(m-w.ref) - w.dev)
	}
	w.seen++
}

func (e *Engine) tickVacuum(t evenstand.Micros) {
	e.tickAll(t)
	for _, s := range e.gauges {
		e.tickSide(s, t)
	}
	if e.bar.Planting {
		e.sideSec++
		if e.sideSec >= sideTest {
			e.sideSec = 0
			e.testSides(t)
		}
	}
}

// allDown tells whether the gauges of all sides have fallen, since when, and
// what they showed before: the sum of all sides is the machine's gauge where it
// has none of its own.
func (e *Engine) allDown() (down bool, since evenstand.Micros, before, now float64) {
	n := 0.0
	for _, s := range e.sides {
		if s.vacuum.seen == 0 {
			continue
		}
		if !s.vacuum.active {
			return false, 0, 0, 0
		}
		n++
		since = max(since, s.vacuum.since)
		before += s.vacuum.ref
		now += s.vacuum.now
	}
	if n < 2 {
		return false, 0, 0, 0
	}
	return true, since, before / n, now / n
}

// tickAll raises the fall of all sides together, which no side can be told
// from by the other.
func (e *Engine) tickAll(t evenstand.Micros) {
	down, since, before, now := e.allDown()
	m := e.machine
	if m.cse != nil && m.cse.open() {
		if m.vacuum.seen == 0 && !down {
			m.cse.until = t
			for _, s := range e.sides {
				if s.vacuum.backAt > m.cse.onset {
					m.cse.until = min(m.cse.until, s.vacuum.backAt)
				}
			}
			e.endSide(m)
		} else if down {
			m.cse.vac.after.add(now)
		}
		return
	}
	if !down || t-since < vacSettle {
		return
	}
	rows := e.allRows()
	obs, exp, _, _ := e.sinceAndBefore(rows, since)
	if exp < 5 {
		return
	}
	z := (obs - exp) / math.Sqrt(phi*exp+0.1*0.1*exp*exp)
	if z < machineZ || obs < sideRatio*exp {
		return
	}
	c := e.openSide(m, rows, e.afterHalt(since, vacDoubt), t)
	c.vac.byGauge, c.vac.machine, c.vac.before = true, true, stat2{before, 1}
	e.explain(c)
}

func (e *Engine) tickSide(s *side, t evenstand.Micros) {
	if m := e.machine.cse; s != e.machine && m != nil && m.open() {
		return // it is said of the whole machine
	}
	w := &s.vacuum
	if s.cse != nil && s.cse.open() {
		if !s.cse.vac.byGauge && w.active && w.back == 0 {
			s.cse.vac.byGauge, s.cse.vac.before = true, stat2{w.ref, 1}
			e.raise(s.cse)
		}
		if s.cse.vac.byGauge && !w.active && w.seen > 0 {
			s.cse.until = w.backAt
			e.endSide(s)
		}
		return
	}
	if !w.active || t-w.since < vacSettle || w.back > 0 {
		return
	}
	rows := s.rows
	if s == e.machine {
		if len(e.sides) >= 2 {
			allDown := true
			for _, o := range e.sides {
				allDown = allDown && (o.vacuum.seen == 0 || o.vacuum.active)
			}
			if !allDown {
				return
			}
		}
		rows = e.allRows()
	}
	obs, exp, oObs, oExp := e.sinceAndBefore(rows, w.since)
	if exp < 5 {
		return
	}
	need, f, varF := machineZ, 1.0, 0.1*0.1
	if oExp > 5 && s != e.machine {
		need, f = vacSkipZ, oObs/oExp
		varF = phi / math.Max(1, oObs)
	}
	z := (obs - f*exp) / math.Sqrt(phi*f*exp+varF*f*f*exp*exp)
	if z < need || obs < sideRatio*f*exp {
		return
	}
	since := max(w.since, w.onset(math.Max(vacFloorPa, w.dev*1.2533)))
	c := e.openSide(s, rows, e.afterHalt(w.ramp(since), vacDoubt), t)
	c.vac.byGauge = true
	c.vac.machine = s == e.machine
	c.vac.before = stat2{w.ref, 1}
}

func (e *Engine) allRows() evenstand.Rows {
	all := make(evenstand.Rows, len(e.rows))
	for i := range all {
		all[i] = i + 1
	}
	return all
}

// sinceAndBefore sums skips since a time on the rows and on the others, and
// what they would have been at each row's own earlier rate.
func (e *Engine) sinceAndBefore(rows evenstand.Rows, since evenstand.Micros) (obs, exp, oObs, oExp float64) {
	for _, r := range e.rows {
		w := &r.rates[kindSkips]
		var y, n, yb, nb float64
		for j := range min(w.count, rateRing) {
			b := w.back(j)
			if e.common.covers(b.t0, b.t1) || (b.t0 < r.sideGap.to && b.t1 > r.sideGap.from) {
				continue
			}
			if b.t0 >= since {
				y += b.y
				n += b.n
			} else if b.t1 < since {
				yb += b.y
				nb += b.n
			}
		}
		if nb < 30*batchA || n == 0 {
			continue
		}
		rate := (yb + 0.5) / nb
		if rows.Has(r.n) {
			obs += y
			exp += rate * n
		} else if e.anyOpen(r.n, evenstand.KindRowSkips, evenstand.KindStarvedRow) == nil {
			oObs += y
			oExp += rate * n
		}
	}
	return
}

func (e *Engine) openSide(s *side, rows evenstand.Rows, since, t evenstand.Micros) *caseFile {
	list := make([]int, 0, len(rows))
	for _, n := range rows {
		if n <= len(e.rows) {
			list = append(list, n)
		}
	}
	// A side that falls again within minutes is the same finding.
	if old := s.cse; old != nil && since-old.until < rateReopen {
		old.until = evenstand.NoTime
		return old
	}
	grade := evenstand.GradeA
	for _, n := range list {
		if g := e.rows[n-1].grade; g > grade {
			grade = g
		}
	}
	c := e.add(&caseFile{
		kind: evenstand.KindLowVacuum, rows: list, side: s, raised: true, onset: since,
		onsetLow: since - 30*evenstand.Second, onsetHigh: since + 60*evenstand.Second, alarm: t, grade: grade, vac: &vacCase{},
	})
	s.cse = c
	for _, n := range list {
		w := &e.rows[n-1].rates[kindSkips]
		for j := min(w.count, rateRing) - 1; j >= 0; j-- {
			if b := w.back(j); b.t0 >= since {
				c.sum.add(b.n, b.y, e.otherLevel(s, e.rows[n-1], b.t1, b.p)*b.n)
			}
		}
		w.doubt = -1
		w.det.Reset()
	}
	c.sum.varExp = 0.08 * 0.08
	e.explain(c)
	return c
}

// otherLevel is what a row of a side in trouble would miss without it: the
// other rows' level times its own ratio, else its own past.
func (e *Engine) otherLevel(s *side, r *row, t evenstand.Micros, fallback float64) float64 {
	ps := &e.peers[kindSkips]
	vals := make([]float64, 0, 64)
	for i := range ps.rows {
		o := e.rows[i]
		if (s != nil && s.rows.Has(o.n)) || o.rates[kindSkips].busy() {
			continue
		}
		if y, n := ps.rows[i].sum(t-600*evenstand.Second, t+judgeDelayB, peerUse); n > 0 {
			vals = append(vals, y/(n*o.rates[kindSkips].rel))
		}
	}
	if s == nil || s == e.machine || len(vals) < 3 {
		w := &r.rates[kindSkips]
		y, n := 0.0, 0.0
		for j := range min(w.count, rateRing) {
			if b := w.back(j); s != nil && s.cse != nil && b.t1 < s.cse.onset {
				y += b.y
				n += b.n
			}
		}
		if n > 0 {
			r.pastLevel = (y + 0.5) / n
		}
		if r.pastLevel > 0 {
			return r.pastLevel
		}
		return fallback
	}
	return math.Max(rateFloor, stat.TrimmedMean(vals, min(2, (len(vals)-1)/3))) * r.rates[kindSkips].rel
}

func (e *Engine) endSide(s *side) {
	for k := range s.p {
		s.p[k] = 1
	}
	for _, n := range s.cse.rows {
		w := &e.rows[n-1].rates[kindSkips]
		w.reset()
	}
	// The others' late batches would be of another time than this side's.
	for _, r := range e.rows {
		r.sideGap = span{s.cse.onset - 60*evenstand.Second, s.cse.until + 60*evenstand.Second}
	}
}

// sideBatch keeps each row's sums for the group test.
func (e *Engine) sideBatch(r *row, b batch) {
	if e.anyOpen(r.n, evenstand.KindLowVacuum, evenstand.KindRowSkips, evenstand.KindStarvedRow, evenstand.KindRowStopped) != nil {
		return
	}
	if w := &r.rates[kindSkips]; w.count > 0 {
		w.ring[(w.count-1)%rateRing].counted = true
	}
	r.sideN += b.n
	r.sideY += b.y[kindSkips]
}

// testSides compares the changes of two sides: the last ten and thirty
// minutes against all before, row by row, with a pooled t.
func (e *Engine) testSides(t evenstand.Micros) {
	if len(e.sides) < 2 {
		return
	}
	for _, s := range e.sides {
		if s.cse != nil && s.cse.open() {
			if !s.cse.vac.byGauge {
				p, eff := e.sideP(s, 150, true)
				if p > 0.01 || eff < 0.1 {
					s.cse.until = t - 600*evenstand.Second
					e.endSide(s)
				}
			}
			return
		}
	}
	for _, s := range e.sides {
		best, eff, width := 1.0, 0.0, 0
		for _, w := range []int{150, 450} {
			if p, d := e.sideP(s, w, false); p < best {
				best, eff, width = p, d, w
			}
		}
		s.p[kindSkips], s.effect[kindSkips] = best, eff
		if best < sideAlarmP && eff > math.Log(1.15) {
			since := e.batchesBack(s.rows, width)
			c := e.openSide(s, s.rows, since, t)
			// A gauge that stands as it did speaks against it: not for the worklist.
			if s.vacuum.seen > vacWarm && s.vacuum.late() > (1-vacDrop/2)*s.vacuum.ref {
				c.raised = false
			}
			c.onsetLow = since - 1200*evenstand.Second
			c.onsetHigh = t
			if s.vacuum.seen > vacWarm {
				c.vac.before, c.vac.after = stat2{s.vacuum.ref, 1}, stat2{s.vacuum.now, 1}
			}
			return
		}
	}
}

// sideP gives the two-sided p of the side's change against the others, and its
// size as a difference of logs. With now it looks at the very last batches,
// else at the last that belong to the rows' usual state.
func (e *Engine) sideP(s *side, width int, now bool) (p, effect float64) {
	var in, out []float64
	for _, r := range e.rows {
		w := &r.rates[kindSkips]
		use := width
		if r.grade != evenstand.GradeA {
			use = width / int(batchB/batchA)
		}
		if w.count < use+30 {
			continue
		}
		var y, n, yc, nc float64
		for j, left := 0, use; left > 0 && j < min(w.count, rateRing); j++ {
			b := w.back(j)
			if !now && (!b.counted || (b.t0 < r.sideGap.to && b.t1 > r.sideGap.from)) {
				continue
			}
			if b.counted {
				yc += b.y
				nc += b.n
			}
			y += b.y
			n += b.n
			left--
		}
		yb, nb := r.sideY-yc, r.sideN-nc
		if nb < 30*batchA {
			continue
		}
		d := math.Log((y+0.5)/n) - math.Log((yb+0.5)/nb)
		if s.rows.Has(r.n) {
			in = append(in, d)
		} else {
			out = append(out, d)
		}
	}
	if len(in) < 3 || len(out) < 3 {
		return 1, 0
	}
	t := stat.PooledT(in, out)
	return t.P, t.Effect
}

// batchesBack is the middle row's time so many batches ago.
func (e *Engine) batchesBack(rows evenstand.Rows, width int) evenstand.Micros {
	var at []float64
	for _, n := range rows {
		if n > len(e.rows) {
			continue
		}
		r := e.rows[n-1]
		use := width
		if r.grade != evenstand.GradeA {
			use = width / int(batchB/batchA)
		}
		if r.rates[kindSkips].count > 0 {
			at = append(at, float64(r.rates[kindSkips].back(use-1).t0))
		}
	}
	if len(at) == 0 {
		return e.now
	}
	return evenstand.Micros(stat.Median(at))
}

// groupHold tells whether a row's case must wait until its side is decided.
func (e *Engine) groupHold(r *row, kind int, c *caseFile) bool {
	if kind != kindSkips {
		return false
	}
	for _, s := range e.gauges {
		if s != e.machine && !s.rows.Has(r.n) {
			continue
		}
		if s.cse != nil && s.cse.open() {
			continue // rows are compared within their side then
		}
		if s.vacuum.active || s.p[kind] < sideHoldP {
			return true
		}
	}
	return false
}

// settleHeld raises or drops what waited for its side.
func (e *Engine) settleHeld(t evenstand.Micros) {
	for _, c := range e.cases {
		if !c.held || c.dropped {
			continue
		}
		r := e.rows[c.rows[0]-1]
		kind := c.sumKind()
		if e.groupHold(r, kind, c) && t-c.alarm < 20*60*evenstand.Second {
			continue
		}
		c.held = false
		if low := e.anyOpen(r.n, evenstand.KindLowVacuum); low != nil && covers(low, c) {
			c.dropped = true
			e.release(c)
			continue
		}
		e.raise(c)
		e.explain(c)
	}
}

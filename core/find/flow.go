package find

import (
	"math"

	"evenstand"
	"evenstand/core/stat"
)

// What goes on beside the seed, liquid or granules, by row against the middle
// row, and of the whole machine against what is asked for, in means over ten
// seconds of planting (methods, q). A row is compared with its own past relative to its peers, since orifices
// and meters differ a little for ever; one that is far off from the first
// minutes on is compared with its peers alone.
const (
	flowWindow  = 10  // s of planting
	flowSettle  = 6   // s after the lowering until lines and loop have settled (judgement)
	flowWarm    = 12  // means before a row is judged
	flowMemory  = 180 // means of memory: half an hour
	flowSlack   = 0.75
	flowAlarm   = 14.0 // for a ten-hour day (methods, q)
	flowFloor   = 0.01 // least SD of a mean
	flowLeast   = 0.04 // least lasting deviation that matters, as a log
	flowLevel   = 0.08 // deviation of a row from its peers from the start
	flowSpread  = 5.0  // times the rows' own spread
	flowClip    = 8.0
	flowHealed  = 0.45 // of the deviation: under it a mean counts as healthy
	flowBackFor = 4
	flowSame    = 30 * evenstand.Second // rows that change together are one finding
	flowNone    = -3.0                  // log of a flow that has stopped: 5 % of the peers'
	flowAgain   = 10 * 60 * evenstand.Second

	wholeSmall   = 0.02
	wholeRaise   = 0.03
	wholeWindows = 20 // windows beyond wholeSmall on one side before it is raised
	wholeCalm    = 3
	wholeBackFor = 6
	wholeHealed  = 0.4
	wholeChange  = 15 * evenstand.Second // after a change of target
)

// product is what is followed: liquid, or granules.
type product struct {
	low, high, off string // kinds of finding: about rows, either way, and about the whole machine
	byArea         bool   // rows say what they put on the ground, not what flows
	every          bool   // the ground of every row counts, not only of those with a starter
}

// flowWatch is what is kept of a product.
type flowWatch struct {
	product
	sec     int
	settled int // s of planting since the lowering
	rows    []flowRow
	dev     float64 // mean distance of a mean from its row's own, pooled over rows
	same    float64 // the same of neighbouring products, for their correlation
	square  float64
	n       float64

	target  float64 // by m2; NaN unknown
	changed evenstand.Micros
	said    rowFlow // the machine's own word, last
	rate    stat2   // the same, this window
	way     float64
	whole   wholeWatch
}

// flowRow is one row's part of it.
type flowRow struct {
	sum      stat2 // this window, as it is logged
	group    int   // the first row of the section that speaks for it; 0 it speaks for itself
	ref      float64
	seen     int
	up, down stat.GaussianCusum
	late     [128]vacMeanAt
	k        int
	last     float64 // deviation before, for the correlation
	first    evenstand.Micros
	cse      *caseFile
	back     int
	backAt   evenstand.Micros
	tail     stat2
	ended    *caseFile
	from     evenstand.Micros // end of the row's part in ended: what lies before is counted already
}

// flowCase is what a finding about rows' flow rests on.
type flowCase struct {
	of        *flowWatch
	dev       stat2 // log of the flow over the peers' while it lasts
	scatter   float64
	fromStart bool
	base      float64 // log of what was usual for the row
	high      bool
	area      float64 // m2 of the rows that count while it lasted
}

// wholeWatch follows the machine's rate over its target.
type wholeWatch struct {
	run, calm, back int
	sign            float64
	since, backAt   evenstand.Micros
	first           evenstand.Micros
	vals            [wholeWindows]float64
	planted, sinceA float64 // m2 of the rows that count
	backA           float64
	windowA         float64
	cse             *caseFile
	own, rows       stat2 // of late: by the machine's meter, by the rows' meters
}

// wholeCase is what a finding about all of a product rests on.
type wholeCase struct {
	of        *flowWatch
	ratio     evenstand.Moments
	tail      evenstand.Moments
	meter     stat2 // ratio by the machine's own meter; empty: it logs no rate
	rows      stat2 // and by the rows' meters
	area      float64
	fromStart bool
}

func (w *flowWatch) init(p product) {
	w.product = p
	w.target, w.changed, w.whole.first = math.NaN(), evenstand.NoTime, evenstand.NoTime
}

// row gives what is kept of a row.
func (w *flowWatch) row(n int) *flowRow {
	for len(w.rows) < n {
		w.rows = append(w.rows, flowRow{up: stat.GaussianCusum{K: flowSlack}, down: stat.GaussianCusum{K: flowSlack}, from: evenstand.NoTime})
	}
	return &w.rows[n-1]
}

// take takes what is logged of a row.
func (w *flowWatch) take(n int, x float64) {
	if r := w.row(n); x >= 0 && w.settled >= flowSettle {
		r.sum.add(x)
	}
}

// takeRate takes what the machine's own meter says goes on, by m2.
func (w *flowWatch) takeRate(rate float64) {
	if rate >= 0 && w.settled >= flowSettle {
		w.rate.add(rate)
	}
}

// takeTarget takes what is asked for, by m2.
func (w *flowWatch) takeTarget(t evenstand.Micros, rate float64) {
	if !(math.Abs(w.target-rate) <= 0.001*rate) {
		if !math.IsNaN(w.target) {
			w.changed = t
		}
		w.target = rate
	}
}

// due is what a row's log shows where it puts on what is asked for.
func (w *flowWatch) due(speed, spacing float64) float64 {
	if w.byArea {
		return w.target
	}
	return w.target * speed * spacing
}

// counts tells whether the ground of a row counts.
func (e *Engine) counts(w *flowWatch, n int) bool { return w.every || e.starter(n) }

// groundOf is the ground in m2 that a row has planted in some windows; 0 where
// it does not count.
func (e *Engine) groundOf(w *flowWatch, n int, windows float64) float64 {
	if !e.counts(w, n) {
		return 0
	}
	return windows * flowWindow * e.bar.Speed * e.cfg.Spacing
}

// tickFlow judges a product once in ten seconds of planting, if it is to be
// judged at all.
func (e *Engine) tickFlow(w *flowWatch, t evenstand.Micros, judge bool) {
	if !e.bar.Planting || !e.pass.down {
		w.settled = 0
		w.clear()
		return
	}
	if len(w.rows) == 0 && w.rate.n == 0 && w.settled > flowSettle {
		return
	}
	w.settled++
	if w.settled <= flowSettle || e.bar.Speed < 1 {
		w.clear()
		return
	}
	on := 0.0
	for _, r := range e.rows {
		if r.enabled && e.counts(w, r.n) {
			on++
		}
	}
	w.whole.planted += e.bar.Speed * e.cfg.Spacing * on
	w.way += e.bar.Speed
	w.sec++
	if w.sec < flowWindow {
		return
	}
	speed := w.way / flowWindow
	if judge {
		e.judgeRows(w, t)
		e.judgeWhole(w, t, speed)
	}
	w.clear()
}

// clear begins a window.
func (w *flowWatch) clear() {
	w.sec, w.way, w.rate = 0, 0, stat2{}
	w.whole.windowA = w.whole.planted
	for i := range w.rows {
		w.rows[i].sum = stat2{}
	}
}

// sd is the scatter of a ten-second mean about its row's own level, widened by
// the correlation of neighbouring means.
func (w *flowWatch) sd() float64 {
	s := 1.2533 * w.dev
	if w.square > 0 {
		rho := math.Max(0, math.Min(0.8, w.same/w.square))
		s *= math.Sqrt((1 + rho) / (1 - rho))
	}
	return math.Max(flowFloor, s)
}

// judgeRows takes the window's means of the rows.
func (e *Engine) judgeRows(w *flowWatch, t evenstand.Micros) {
	most := 0.0
	for i := range w.rows {
		most = math.Max(most, w.rows[i].sum.n)
	}
	var flows []float64
	fresh := func(i int) bool {
		return i < len(e.rows) && e.rows[i].enabled && w.rows[i].sum.n > 0 && 2*w.rows[i].sum.n >= most
	}
	least := 4
	for i := range w.rows {
		if g := w.rows[i].group; g > 0 {
			least = 3 // sections
		}
		if g := w.rows[i].group; fresh(i) && (g == 0 || g == i+1) {
			flows = append(flows, w.rows[i].sum.mean())
		}
	}
	mid := stat.Median(flows)
	if len(flows) < least || !(mid > 0) {
		return
	}
	from := t - flowWindow*evenstand.Second
	for i := range w.rows {
		if fresh(i) {
			x := math.Max(flowNone, math.Log(math.Max(1e-9, w.rows[i].sum.mean()/mid)))
			e.judgeFlow(w, i+1, from, t, x)
		}
	}
}

// judgeFlow takes the log of one row's flow over its peers', of the ten seconds
// from a time on.
func (e *Engine) judgeFlow(w *flowWatch, n int, from, t evenstand.Micros, x float64) {
	r := &w.rows[n-1]
	if r.seen == 0 {
		r.ref, r.first = x, from
	}
	r.late[r.k%len(r.late)] = vacMeanAt{from, x}
	r.k++
	if r.cse != nil && !r.cse.open() {
		r.cse = nil
	}
	if c := r.cse; c != nil {
		f := c.flow
		dev := f.dev.mean() - f.base
		if math.Abs(x-f.base) < flowHealed*math.Abs(dev) || (x-f.base)*dev < 0 {
			if r.back == 0 {
				r.backAt, r.tail = from, stat2{}
			}
			r.back++
			r.tail.add(x)
			if r.back >= flowBackFor {
				e.endFlow(w, n, r.backAt)
			}
			return
		}
		if r.back > 0 {
			f.dev.sum += r.tail.sum
			f.dev.n += r.tail.n
			r.back = 0
		}
		f.dev.add(x)
		f.area += e.groundOf(w, n, 1)
		return
	}
	s := w.sd() * math.Sqrt(1+1/math.Max(1, float64(r.seen)))
	if r.seen >= flowWarm {
		z := math.Max(-flowClip, math.Min(flowClip, (x-r.ref)/s))
		up, down := r.up.Add(z), r.down.Add(-z)
		if c := math.Max(up, down); c >= flowAlarm {
			at := r.onset(s)
			dev := r.since(at)
			if math.Abs(dev.mean()-r.ref) >= flowLeast {
				e.openFlow(w, n, at, t, dev, r.ref, false)
				return
			}
		}
	}
	if r.seen == flowWarm || r.seen == 2*flowWarm {
		if math.Abs(r.ref) > math.Max(flowLevel, flowSpread*w.spread()) {
			e.openFlow(w, n, r.first, t, r.since(r.first), 0, true)
			return
		}
	}
	g := 1 / math.Min(flowMemory, float64(r.seen+1))
	if math.Max(r.up.C, r.down.C) >= flowAlarm/2 { // it may be changing; but a wrong reference must not stay for ever
		g /= 8
	}
	d := x - r.ref
	r.ref += g * d
	if r.seen >= 3 {
		a := 1 / math.Min(1000, w.n+1)
		w.n++
		if w.n == 1 {
			w.dev = 0.02
		}
		if math.Abs(d) < 6*math.Max(flowFloor, w.dev) {
			w.dev += a * (math.Abs(d) - w.dev)
			w.same += a * (d*r.last - w.same)
			w.square += a * (d*d - w.square)
		}
	}
	r.last = math.Max(-0.2, math.Min(0.2, d))
	r.seen++
}

// onset is the mean with which the change most probably began.
func (r *flowRow) onset(s float64) evenstand.Micros {
	n := min(r.k, len(r.late))
	level := 0.0
	for j := 1; j <= min(n, 3); j++ {
		level += r.late[(r.k-j)%len(r.late)].m / float64(min(n, 3))
	}
	d := (level - r.ref) / s
	sum, best, at := 0.0, math.Inf(-1), r.late[(r.k-1)%len(r.late)].t
	for j := 1; j <= n; j++ {
		v := r.late[(r.k-j)%len(r.late)]
		if r.counted(v.t) {
			break
		}
		sum += d * ((v.m-r.ref)/s - d/2)
		if sum > best {
			best, at = sum, v.t
		}
	}
	return at
}

// grade is that of what is logged of the row.
func (r *flowRow) grade() evenstand.Grade {
	if r.group > 0 {
		return evenstand.GradeC
	}
	return evenstand.GradeB
}

// counted tells whether a mean lies before the end of the row's last part in a
// finding, which holds it already.
func (r *flowRow) counted(t evenstand.Micros) bool { return r.from != evenstand.NoTime && t < r.from }

// since sums the means that are remembered from a time on and that no finding
// holds.
func (r *flowRow) since(t evenstand.Micros) (s stat2) {
	for j := 1; j <= min(r.k, len(r.late)); j++ {
		if v := r.late[(r.k-j)%len(r.late)]; v.t >= t && !r.counted(v.t) {
			s.add(v.m)
		}
	}
	return s
}

// spread is how far healthy rows lie apart: from the middle of their levels.
func (w *flowWatch) spread() float64 {
	var at []float64
	for i := range w.rows {
		if w.rows[i].seen > 0 {
			at = append(at, w.rows[i].ref)
		}
	}
	return stat.MAD(at)
}

// openFlow raises a row's change; rows that change together are one finding,
// and so is a row whose trouble comes back.
func (e *Engine) openFlow(w *flowWatch, n int, since, t evenstand.Micros, dev stat2, base float64, fromStart bool) {
	kind, high := w.low, dev.mean() > base
	if high {
		kind = w.high
	}
	r := &w.rows[n-1]
	r.up.C, r.down.C, r.back = 0, 0, 0
	area := e.groundOf(w, n, dev.n)
	// A finding of several rows that are all healed stays over: the others did
	// not come back.
	if old := r.ended; old != nil && !old.dropped && old.kind == kind && old.flow.high == high && (len(old.rows) == 1 || old.open()) && since-r.from < flowAgain {
		old.until = evenstand.NoTime
		old.flow.dev.sum += dev.sum
		old.flow.dev.n += dev.n
		old.flow.area += area
		r.cse = old
		return
	}
	onset := e.afterHalt(since, flowSame)
	for _, c := range e.cases {
		if c.flow != nil && c.kind == kind && c.flow.high == high && c.open() && absT(c.onset-onset) <= flowSame && c.flow.fromStart == fromStart {
			if !c.hasRow(n) {
				c.rows = append(c.rows, n)
				sortRows(c.rows)
			}
			c.flow.dev.sum += dev.sum
			c.flow.dev.n += dev.n
			c.flow.area += area
			r.cse = c
			return
		}
	}
	r.cse = e.add(&caseFile{
		kind: kind, rows: []int{n}, raised: true, onset: onset, onsetLow: onset - flowWindow*evenstand.Second, onsetHigh: onset + flowWindow*evenstand.Second,
		alarm: t, grade: r.grade(),
		flow: &flowCase{of: w, dev: dev, scatter: w.sd(), fromStart: fromStart, base: base, high: high, area: area},
	})
	r.ended = nil
}

// endFlow ends a row's part in its finding, and the finding with the last row.
func (e *Engine) endFlow(w *flowWatch, n int, at evenstand.Micros) {
	r := &w.rows[n-1]
	c := r.cse
	r.cse, r.back = nil, 0
	r.ended, r.from = c, at
	if c.flow.fromStart { // its level was the fault's: it learns anew
		r.ref, r.seen = 0, 0
	}
	for i := range w.rows {
		if w.rows[i].cse == c {
			return // the others are still off
		}
	}
	c.until = at
}

func sortRows(rows []int) {
	for i := 1; i < len(rows); i++ {
		for j := i; j > 0 && rows[j] < rows[j-1]; j-- {
			rows[j], rows[j-1] = rows[j-1], rows[j]
		}
	}
}

// judgeWhole holds the machine's rate against its target: by its own meter,
// and where that stands right by the sum of the rows' meters.
func (e *Engine) judgeWhole(w *flowWatch, t evenstand.Micros, speed float64) {
	x := &w.whole
	if w == &e.liquid && e.pump.known() {
		x.run, x.calm = 0, 0
		return
	}
	if !(w.target > 0) || (w.changed != evenstand.NoTime && t-w.changed < wholeChange) {
		return
	}
	own, byRows := math.NaN(), math.NaN()
	if w.rate.n >= 3 {
		own = w.rate.mean() / w.target
	}
	var every, sound stat2 // rows, and those of them that no finding is about
	for i := range w.rows {
		if r := &w.rows[i]; i < len(e.rows) && e.rows[i].enabled && r.sum.n >= 3 {
			every.add(r.sum.mean())
			if r.cse == nil && math.Max(r.up.C, r.down.C) < flowAlarm/2 {
				sound.add(r.sum.mean())
			}
		}
	}
	on := 0
	for _, r := range e.rows {
		if r.enabled {
			on++
		}
	}
	// A meter that counts the whole width shows less while rows are off.
	if own < 1 && on > 0 && on < len(e.rows) {
		own = min(1, own*float64(len(e.rows))/float64(on))
	}
	if every.n >= 4 && 5*int(every.n) >= 4*on && speed > 0 {
		due := w.due(speed, e.cfg.Spacing)
		byRows = every.mean() / due
		// A row that gets less takes the sum down, or, where the total is held,
		// the others up: neither is the machine's.
		if a, b := byRows-1, sound.mean()/due-1; every.n > sound.n && sound.n > 0 {
			switch {
			case a*b <= 0:
				byRows = 1
			case math.Abs(b) < math.Abs(a):
				byRows = 1 + b
			}
		}
	}
	if w.byArea && !math.IsNaN(byRows) { // the machine's rate is the rows' mean, with those that are off in it
		own = nan
	}
	dev := own - 1
	if math.IsNaN(own) || (math.Abs(dev) < wholeSmall && !math.IsNaN(byRows)) {
		dev = byRows - 1
	}
	if math.IsNaN(dev) {
		return
	}
	if x.first == evenstand.NoTime {
		x.first = t
	}
	note := func(c *wholeCase) {
		if !math.IsNaN(own) {
			c.meter.add(own)
		}
		if !math.IsNaN(byRows) {
			c.rows.add(byRows)
		}
	}
	from := t - flowWindow*evenstand.Second
	if c := x.cse; c != nil && c.open() {
		if math.Abs(dev) < math.Max(0.015, wholeHealed*math.Abs(c.whole.ratio.Mean()-1)) {
			if x.back == 0 {
				x.backAt, x.backA = from, x.windowA
			}
			c.whole.tail.Add(1 + dev)
			if x.back++; x.back >= wholeBackFor {
				c.until, c.whole.area = x.backAt, x.backA-x.sinceA
				x.cse, x.run, x.back = nil, 0, 0
			}
			return
		}
		c.whole.ratio.Merge(c.whole.tail)
		c.whole.ratio.Add(1 + dev)
		c.whole.tail, x.back = evenstand.Moments{}, 0
		c.whole.area = x.planted - x.sinceA
		note(c.whole)
		return
	}
	if math.Abs(dev) < wholeSmall || (x.run > 0 && dev*x.sign < 0) {
		if x.calm++; x.calm >= wholeCalm || x.run == 0 {
			x.run = 0
		}
		if x.run == 0 && math.Abs(dev) < wholeSmall {
			return
		}
	} else {
		x.calm = 0
	}
	if x.run == 0 {
		x.since, x.sign, x.sinceA = from, math.Copysign(1, dev), x.windowA
		x.own, x.rows = stat2{}, stat2{}
	}
	x.vals[x.run%wholeWindows] = dev
	x.run++
	if !math.IsNaN(own) {
		x.own.add(own)
	}
	if !math.IsNaN(byRows) {
		x.rows.add(byRows)
	}
	if x.run < wholeWindows || math.Abs(stat.Median(x.vals[:])) < wholeRaise {
		return
	}
	if w == &e.liquid && e.pump.odds >= pumpLean && x.run < 3*wholeWindows { // it may be a limit of the pump
		return
	}
	c := e.add(&caseFile{
		kind: w.off, rows: e.allRows(), raised: true, onset: e.afterHalt(x.since, flowSame), onsetLow: x.since - 30*evenstand.Second,
		onsetHigh: x.since + 30*evenstand.Second, alarm: t, grade: evenstand.GradeC, whole: &wholeCase{of: w, meter: x.own, rows: x.rows},
	})
	for _, v := range x.vals {
		c.whole.ratio.Add(1 + v)
	}
	c.whole.area, c.whole.fromStart = x.planted-x.sinceA, x.since-x.first < 180*evenstand.Second
	x.cse, x.back = c, 0
}

// flowChart draws each row's late flow over the middle row's.
func (e *Engine) flowChart(c *caseFile) *evenstand.Chart {
	w := c.flow.of
	what := "liquid"
	if w == &e.granular {
		what = "granules"
	}
	ch := &evenstand.Chart{Title: what + " by row over the middle row, last ten minutes of planting", X: "row", Y: "flow over the peers'", Unit: "fraction"}
	var vals []float64
	for i := range w.rows {
		r := &w.rows[i]
		var s stat2
		for j := 1; j <= min(r.k, 60); j++ {
			s.add(r.late[(r.k-j)%len(r.late)].m)
		}
		v, half := nan, nan
		if s.n > 0 {
			v, half = math.Exp(s.mean()), 1.645*w.sd()/math.Sqrt(s.n)
		}
		ch.At = append(ch.At, num(float64(i+1)))
		ch.Value = append(ch.Value, num(v))
		ch.Low = append(ch.Low, num(v*math.Exp(-half)))
		ch.High = append(ch.High, num(v*math.Exp(half)))
		if inList(c.rows, i+1) {
			ch.Mark = append(ch.Mark, i)
		} else if s.n > 0 {
			vals = append(vals, v)
		}
	}
	ch.Band = band(vals)
	return ch
}

// reportFlow says what a row's part of a product rests on.
func (e *Engine) reportFlow(c *caseFile, f *evenstand.Finding) {
	x := c.flow
	n := math.Max(1, x.dev.n)
	s := 1.645 * x.scatter / math.Sqrt(n)
	m := x.dev.mean()
	name := "flow over its peers'"
	if x.of.byArea {
		name = "granules over its peers'"
	}
	f.Evidence = []evenstand.Evidence{ev(name, math.Exp(m), math.Exp(m-s), math.Exp(m+s), x.dev.n, "")}
	if !x.fromStart {
		f.Evidence = append(f.Evidence, ev(name+" before", math.Exp(x.base), nan, nan, nan, ""))
	}
	if x.of == &e.granular {
		e.reportGranules(c, f, m)
	} else {
		e.reportLiquid(c, f, m, s)
	}
	f.Chart = e.chart(c)
}

// meterRight tells whether the machine's own meter shows nothing.
func (x *wholeCase) meterRight() bool {
	return x.meter.n > 0 && math.Abs(x.meter.mean()-1) < wholeSmall
}

// reportWhole says what the finding about all of a product rests on.
func (e *Engine) reportWhole(c *caseFile, f *evenstand.Finding) {
	x := c.whole
	m := x.ratio.Mean()
	se := x.ratio.SD() / math.Sqrt(math.Max(1, x.ratio.N/3))
	if math.IsNaN(se) {
		se = 0.005
	}
	name := "liquid over its target"
	if x.of == &e.granular {
		name = "granules over their target"
	}
	f.Evidence = []evenstand.Evidence{ev(name, m, m-1.645*se-0.002, m+1.645*se+0.002, x.ratio.N, "")}
	if x.meter.n > 0 {
		f.Evidence = append(f.Evidence, ev("by the machine's own meter", x.meter.mean(), nan, nan, x.meter.n, ""))
	}
	if x.rows.n > 0 {
		f.Evidence = append(f.Evidence, ev("by the rows' meters", x.rows.mean(), nan, nan, x.rows.n, ""))
	}
	if x.of == &e.granular {
		e.reportGranulesWhole(c, f, m)
		return
	}
	e.reportLiquidWhole(c, f, m, se)
}

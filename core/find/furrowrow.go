package find

import (
	"math"

	"evenstand"
	"evenstand/core/stat"
)

// One row whose furrow leaves its neighbours' has a cause of its own: a closing
// wheel, a firmer, its cleaner (F40, F41, F44). Moisture and temperature are
// held against the neighbours' in means of five seconds, on the side that the row
// is more like, and summed up against the row's own past (methods d). Trash is
// told by the second: a row that holds twice what its neighbours hold, and more,
// drags it. Last year's combine rows hold half as much again and do not
// (simulator.md, section 2). Trash in bursts of metres, or with a row that is
// lifted or dry as well, is a cleaner that is plugged or rides (F42); load that is
// low without trash is not (F32), nor is a patch that all rows go through (F36).
const (
	furrowRowAlarm = 14.0
	furrowRowSlack = 0.75
	furrowRowClip  = 8.0
	furrowRowWarm  = 24
	furrowRowPast  = 360 // windows: half an hour
	furrowRowStays = 12  // windows that it must have been there
	furrowRowBack  = 6   // windows of being right
	furrowRowCalm  = 24  // of no burst
	furrowRowAgain = 15 * 60 * evenstand.Second
	highTimes      = 1.8  // times the neighbours' trash,
	highMore       = 0.05 // and so much more of the slot: the row drags it (judgement)
	highBorne      = 0.25 // seconds of a window in which it may by chance
	highAlarm      = 12.0 // seconds beyond that
	burstLeft      = 0.4  // of it that is left between bursts, at most
	liftedLoad     = 50.0 // N of load lost with it that say that the row is lifted
)

// By what is logged: the scatter that is there at least, and what matters on a
// row (judgement, no source).
var furrowRowSays = [furrowAll]struct{ floor, least float64 }{
	furrowDry:   {0.004, 0.015},
	furrowCold:  {0.1, 0.7},
	furrowDirty: {0.015, 0},
	furrowPress: {2000, math.Inf(1)},
}

// furrowRow is one row's furrow.
type furrowRow struct {
	window, block [furrowAll]stat2
	own           [furrowAll]bool
	second        float64 // the trash of this second, NaN none
	drag          drag    // in this window
	c             float64 // cumulative sum of seconds in which it drags
	since         evenstand.Micros
	high          bool // the second before was in one
	shift         [furrowAll]flowRow
	lasting       [furrowAll]float64 // what its sensor shows over the middle row's, of late
	lastingN      [furrowAll]float64
	late          [128]dragAt
	k             int
	calm          int
}

// drag is what a row drags: seconds in which it does, and in all, the trash over
// its neighbours' in these and in the others, and how often it began.
type drag struct{ hi, secs, more, left, bursts float64 }

func (d *drag) add(o drag) {
	d.hi, d.secs, d.more, d.left, d.bursts = d.hi+o.hi, d.secs+o.secs, d.more+o.more, d.left+o.left, d.bursts+o.bursts
}

// steady tells whether it drags all the time, more or less.
func (d *drag) steady() bool {
	rest := d.secs - d.hi
	return rest < 0.1*d.secs || d.left/rest > burstLeft*d.more/math.Max(1, d.hi)
}

// dragAt is what a row dragged in a window.
type dragAt struct {
	t evenstand.Micros
	drag
}

func newFurrowRow() furrowRow {
	r := furrowRow{second: math.NaN()}
	for of := range r.shift {
		r.shift[of].down = stat.GaussianCusum{K: furrowRowSlack}
	}
	return r
}

// furrowRowCase is what a finding about one row's furrow rests on.
type furrowRowCase struct {
	of     int
	dev    [furrowAll]stat2 // from its neighbours', beyond what is usual for the row
	load   stat2            // the same of its load, N
	drag   drag
	way    float64
	lastHi evenstand.Micros
}

// furrowSecond holds each row's trash of the second against its neighbours'.
func (e *Engine) furrowSecond() {
	w := &e.furrow
	at := func(i int) (float64, bool) {
		r := &w.rows[i]
		return r.second - r.lasting[furrowDirty], r.own[furrowDirty] && !math.IsNaN(r.second)
	}
	for i := range w.rows {
		x, ok := e.furrowBeside(i, at)
		if !ok {
			continue
		}
		r := &w.rows[i]
		own := r.second - r.lasting[furrowDirty]
		high := own > highTimes*math.Max(0, own-x)+highMore
		r.drag.secs++
		if high {
			r.drag.hi++
			r.drag.more += x
			if !r.high {
				r.drag.bursts++
			}
		} else {
			r.drag.left += x - r.shift[furrowDirty].ref
		}
		r.high = high
	}
	for i := range w.rows {
		w.rows[i].second = math.NaN()
	}
}

// furrowBeside gives a row's value less its neighbours', by the side that it is
// more like; rows with trouble of their own are passed over.
func (e *Engine) furrowBeside(i int, at func(int) (float64, bool)) (x float64, ok bool) {
	w := &e.furrow
	v, ok := at(i)
	if !ok || i >= len(e.rows) || !e.rows[i].enabled {
		return 0, false
	}
	x = math.Inf(1)
	for _, step := range []int{-1, 1} {
		var s stat2
		for j := i + step; j >= 0 && j < len(w.rows) && j < len(e.rows) && s.n < 2 && absInt(j-i) <= 3; j += step {
			if y, ok := at(j); ok && e.rows[j].enabled && !w.rows[j].troubled() {
				s.add(y)
			}
		}
		if s.n > 0 && math.Abs(v-s.mean()) < math.Abs(x) {
			x = v - s.mean()
		}
	}
	return x, !math.IsInf(x, 0)
}

// judgeFurrows holds each row's window against its neighbours'.
func (e *Engine) judgeFurrows(t evenstand.Micros) {
	w := &e.furrow
	from := t - furrowWindow*evenstand.Second
	var x, middle [furrowAll]float64
	for of := range middle {
		e.few = e.few[:0]
		for i := range w.rows {
			if r := &w.rows[i]; r.own[of] && r.window[of].n > 0 {
				e.few = append(e.few, r.window[of].mean())
			}
		}
		middle[of] = stat.Median(e.few)
	}
	for i := range w.rows {
		r := &w.rows[i]
		any := false
		for of := range x {
			x[of] = math.NaN()
			if v, ok := e.furrowBeside(i, func(j int) (float64, bool) {
				q := &w.rows[j]
				return q.window[of].mean() - q.lasting[of], q.own[of] && q.window[of].n > 0
			}); ok {
				x[of], any = v, true
			}
		}
		if !any {
			continue
		}
		r.late[r.k%len(r.late)] = dragAt{from, r.drag}
		r.k++
		e.judgeFurrowRow(i+1, from, t, x)
	}
	for i := range w.rows {
		r := &w.rows[i]
		if r.troubled() {
			continue
		}
		for of := range middle {
			if r.own[of] && r.window[of].n > 0 && !math.IsNaN(middle[of]) {
				r.lastingN[of]++
				r.lasting[of] += (r.window[of].mean() - middle[of] - r.lasting[of]) / math.Min(furrowRowPast, r.lastingN[of])
			}
		}
	}
}

// furrowRank is which trouble says more of one row's cause: trash goes before
// moisture, and moisture before temperature.
var furrowRank = [furrowAll]int{furrowDry: 1, furrowDirty: 2}

// furrowSign is 1 where more is bad.
func furrowSign(of int) float64 {
	if of == furrowPress {
		return -1
	}
	return furrowSays[of].sign
}

func (e *Engine) judgeFurrowRow(n int, from, t evenstand.Micros, x [furrowAll]float64) {
	w := &e.furrow
	r := &w.rows[n-1]
	var open *caseFile
	for of := range r.shift {
		if c := r.shift[of].cse; c != nil && c.open() {
			open = c
		}
	}
	for of := range x {
		q := &r.shift[of]
		if math.IsNaN(x[of]) {
			continue
		}
		if q.seen == 0 {
			q.ref, q.first = x[of], from
		}
		q.late[q.k%len(q.late)] = vacMeanAt{from, x[of]}
		q.k++
	}
	if open != nil {
		e.goOnFurrow(n, open, from, x)
	}
	if !math.IsNaN(x[furrowDirty]) {
		if r.c <= 0 {
			r.since = from
		}
		r.c = math.Min(3*highAlarm, math.Max(0, r.c+r.drag.hi-highBorne))
		if r.c >= highAlarm && (open == nil || open.trouble.of != furrowDirty) && e.openFurrow(n, furrowDirty, r.since, t) {
			return
		}
	}
	for of := range x {
		q := &r.shift[of]
		if math.IsNaN(x[of]) || open != nil && furrowRank[of] <= furrowRank[open.trouble.of] {
			continue
		}
		s := e.furrowScatter(of) * math.Sqrt(1+1/math.Max(1, float64(q.seen)))
		if q.seen >= furrowRowWarm {
			z := furrowSign(of) * (x[of] - q.ref) / s
			if c := q.down.Add(math.Max(-furrowRowClip, math.Min(furrowRowClip, z))); c >= furrowRowAlarm {
				q.down.C = math.Min(c, 3*furrowRowAlarm)
				if of < furrowDirty && e.openFurrow(n, of, q.onset(s), t) {
					return
				}
			}
		}
		if open != nil {
			continue
		}
		g := 1 / math.Min(furrowRowPast, float64(q.seen+1))
		if q.down.C >= furrowRowAlarm/2 {
			g /= 8
		}
		d := x[of] - q.ref
		q.ref += g * d
		if q.seen >= 3 && math.Abs(d) < 6*math.Max(furrowRowSays[of].floor, w.dev[of]) {
			w.devN[of]++
			w.dev[of] += 1 / math.Min(4000, w.devN[of]+20) * (math.Abs(d) - w.dev[of])
		}
		q.seen++
	}
}

// furrowScatter is how much a healthy row's window wanders about its usual
// difference to its neighbours.
func (e *Engine) furrowScatter(of int) float64 {
	return math.Max(furrowRowSays[of].floor, 1.2533*e.furrow.dev[of])
}

// goOnFurrow takes a window to a finding, and ends it once the row has been like
// its neighbours again.
func (e *Engine) goOnFurrow(n int, c *caseFile, from evenstand.Micros, x [furrowAll]float64) {
	r := &e.furrow.rows[n-1]
	f := c.trouble
	q := &r.shift[f.of]
	late := &r.late[(r.k-1)%len(r.late)]
	if c.kind == evenstand.KindCleanerUpset {
		if late.hi > 0 {
			f.lastHi, r.calm = late.t, 0
		} else if r.calm++; r.calm >= furrowRowCalm {
			c.until = f.lastHi + furrowWindow*evenstand.Second
			q.ended, q.cse, q.down.C, r.calm = c, nil, 0, 0
			return
		}
	} else if d := furrowSign(f.of) * (x[f.of] - q.ref); !math.IsNaN(d) {
		if d < loadHealed*math.Abs(f.dev[f.of].mean()) {
			if q.back == 0 {
				q.backAt = from
			}
			if q.back++; q.back >= furrowRowBack {
				c.until = q.backAt
				q.ended, q.cse, q.down.C, q.back = c, nil, 0, 0
			}
			return
		}
		q.back = 0
	}
	e.takeFurrow(n, f, r.k-1)
}

// takeFurrow adds the window k of a row to a finding.
func (e *Engine) takeFurrow(n int, f *furrowRowCase, k int) {
	r := &e.furrow.rows[n-1]
	b := &r.late[k%len(r.late)]
	f.drag.add(b.drag)
	f.way += furrowWindow * e.bar.Speed
	if b.hi > 0 {
		f.lastHi = b.t
	}
	for of := range f.dev {
		q := &r.shift[of]
		for j := 1; j <= min(q.k, len(q.late)); j++ {
			if v := &q.late[(q.k-j)%len(q.late)]; v.t == b.t {
				f.dev[of].add(v.m - q.ref)
				break
			} else if v.t < b.t {
				break
			}
		}
	}
	if n <= len(e.load.rows) {
		l := &e.load.rows[n-1]
		for j := 1; j <= min(l.k, len(l.late)); j++ {
			if v := &l.late[(l.k-j)%len(l.late)]; v.t <= b.t {
				if b.t-v.t < loadWindow*evenstand.Second && l.seen > 0 && l.logged {
					f.load.add(v.m - l.ref)
				}
				break
			}
		}
	}
}

// leaves tells whether the row seems to leave its neighbours.
func (r *furrowRow) leaves(of int) bool {
	if of == furrowDirty {
		return r.c >= highAlarm/2
	}
	return r.shift[of].down.C >= furrowRowAlarm/2
}

// troubled tells whether the row leaves its neighbours in anything, so that it is
// no measure for them.
func (r *furrowRow) troubled() bool {
	for of := range furrowKinds {
		if c := r.shift[of].cse; c != nil && c.open() || r.shift[of].down.C >= furrowRowAlarm && of != furrowDirty {
			return true
		}
	}
	return r.c >= highAlarm
}

// openFurrow raises a row whose furrow left its neighbours', once it has lasted
// and matters.
func (e *Engine) openFurrow(n, of int, since, t evenstand.Micros) bool {
	w := &e.furrow
	r := &w.rows[n-1]
	away := 0 // rows that leave: where many do, the ground does it
	for i := range w.rows {
		if w.rows[i].leaves(of) {
			away++
		}
	}
	if away > max(2, len(w.rows)/4) {
		return false
	}
	f := &furrowRowCase{of: of}
	windows := 0
	for k := max(0, r.k-len(r.late)); k < r.k; k++ {
		if r.late[k%len(r.late)].t >= since {
			e.takeFurrow(n, f, k)
			windows++
		}
	}
	says := furrowRowSays[of]
	if windows < furrowRowStays || of != furrowDirty && furrowSign(of)*f.dev[of].mean() < says.least {
		return false
	}
	kind := furrowSays[of].kind
	switch of {
	case furrowDirty:
		lifted := f.load.n >= 6 && f.load.mean() < -liftedLoad
		dry := r.leaves(furrowDry) || r.shift[furrowDry].cse != nil && r.shift[furrowDry].cse.open()
		if !f.drag.steady() || lifted || dry {
			kind = evenstand.KindCleanerUpset
		}
	case furrowDry:
		if r.leaves(furrowDirty) {
			return false
		}
	case furrowCold:
		if r.leaves(furrowDirty) || r.leaves(furrowDry) {
			return false
		}
	}
	onset := e.afterHalt(since, flowSame)
	for o := range r.shift { // one finding for one row's trouble
		q := &r.shift[o]
		if c := q.cse; c != nil && c.open() {
			onset = min(onset, c.onset)
			e.dropFurrow(c)
			q.cse = nil
		}
		q.down.C, q.back = 0, 0
	}
	r.calm, r.c = 0, 0
	if n <= len(e.load.rows) && kind == evenstand.KindCleanerUpset {
		if c := e.load.rows[n-1].cse; c != nil && c.open() && c.onset >= onset-2*60*evenstand.Second {
			e.dropFurrow(c)
			e.load.rows[n-1].cse = nil
		}
	}
	q := &r.shift[of]
	if old := q.ended; old != nil && since-old.until < furrowRowAgain {
		old.until = evenstand.NoTime
		old.trouble.add(f)
		q.cse = old
		return true
	}
	q.cse = e.add(&caseFile{
		kind: kind, rows: []int{n}, raised: true, onset: onset, onsetLow: onset - furrowWindow*evenstand.Second, onsetHigh: onset + furrowWindow*evenstand.Second,
		alarm: t, grade: evenstand.GradeB, trouble: f,
	})
	return true
}

func (f *furrowRowCase) add(o *furrowRowCase) {
	for of := range f.dev {
		f.dev[of].sum, f.dev[of].n = f.dev[of].sum+o.dev[of].sum, f.dev[of].n+o.dev[of].n
	}
	f.load.sum, f.load.n = f.load.sum+o.load.sum, f.load.n+o.load.n
	f.drag.add(o.drag)
	f.way, f.lastHi = f.way+o.way, o.lastHi
}

// dropFurrow takes back a case that another one explains.
func (e *Engine) dropFurrow(c *caseFile) {
	c.dropped, e.littered = true, true
}

// reportFurrowRow says what a finding about one row's furrow rests on.
func (e *Engine) reportFurrowRow(c *caseFile, f *evenstand.Finding) {
	x := c.trouble
	add := func(name string, v, half, n float64, unit string) {
		lo, hi := nan, nan
		if half > 0 {
			lo, hi = v-half, v+half
		}
		f.Evidence = append(f.Evidence, ev(name, v, lo, hi, n, unit))
	}
	// The windows of a row follow one another: a third of them count.
	half := func(of int) float64 {
		return 1.645 * e.furrowScatter(of) / math.Sqrt(math.Max(1, x.dev[of].n/3))
	}
	dry, warm, trash := -x.dev[furrowDry].mean(), x.dev[furrowCold].mean(), x.dev[furrowDirty].mean()
	if c.kind == evenstand.KindCleanerUpset {
		add("bursts of trash", x.drag.bursts, 0, nan, "")
		add("in bursts", x.drag.hi/math.Max(1, x.drag.secs), 0, x.drag.secs, "fraction")
		add("trash in a burst over its peers'", x.drag.more/math.Max(1, x.drag.hi), 0, x.drag.hi, "fraction")
	}
	say := func(of int) {
		if x.dev[of].n == 0 {
			return
		}
		switch of {
		case furrowDry:
			add("seed-zone moisture below its peers'", dry, half(of), x.dev[of].n, "fraction")
		case furrowCold:
			add("seed-zone temperature over its peers'", warm, half(of), x.dev[of].n, "K")
		case furrowDirty:
			add("trash in the slot over its peers'", trash, half(of), x.dev[of].n, "fraction")
		}
	}
	say(x.of)
	for of := range furrowKinds {
		if of != x.of {
			say(of)
		}
	}
	if x.load.n > 0 {
		add("load below its neighbours'", -x.load.mean(), 0, x.load.n, "N")
	}
	pressed := x.dev[furrowPress]
	if pressed.n > 0 {
		add("row-cleaner pressure below its peers'", -pressed.mean()/1000, 0, pressed.n, "kPa")
	}
	air := pressed.n > 0 && -pressed.mean() > 4*e.furrowScatter(furrowPress)
	add("way of the row", x.way, 0, nan, "m")
	// Prior odds of the trade (agronomy F36, F40, F41, F42, F44), weighed by what
	// else changed. Judgement, no published odds.
	odds := func(cs ...evenstand.Cause) { f.Causes = normalise(cs...) }
	of := func(cause string, p float64) evenstand.Cause {
		return evenstand.Cause{Cause: cause, Probability: p}
	}
	switch {
	case c.kind == evenstand.KindCleanerUpset && air:
		odds(of(evenstand.CauseCleanerAir, 0.75), of(evenstand.CauseCleanerPlugged, 0.22))
	case c.kind == evenstand.KindCleanerUpset:
		odds(of(evenstand.CauseCleanerPlugged, 0.85), of(evenstand.CauseCleanerAir, 0.10), of(evenstand.CauseOpenerWorn, 0.03))
	case c.kind == evenstand.KindDirtyFurrow && air:
		odds(of(evenstand.CauseCleanerAir, 0.85), of(evenstand.CauseCleanerLight, 0.08), of(evenstand.CauseHairpin, 0.04))
	case c.kind == evenstand.KindDirtyFurrow:
		odds(of(evenstand.CauseCleanerLight, 0.62), of(evenstand.CauseHairpin, 0.22), of(evenstand.CauseCleanerAir, 0.12))
	case c.kind == evenstand.KindColdFurrow:
		odds(of(evenstand.CauseCleanerLight, 0.50), of(evenstand.CauseClosing, 0.35), of(evenstand.CauseDepth, 0.10))
	case trash < -0.02:
		odds(of(evenstand.CauseCleanerDeep, 0.75), of(evenstand.CauseClosing, 0.13), of(evenstand.CauseFirmer, 0.08))
	case math.Abs(warm) > 0.4:
		odds(of(evenstand.CauseClosing, 0.80), of(evenstand.CauseFirmer, 0.10), of(evenstand.CauseCleanerDeep, 0.05))
	default:
		odds(of(evenstand.CauseFirmer, 0.50), of(evenstand.CauseClosing, 0.35), of(evenstand.CauseDepth, 0.08), of(evenstand.CauseCleanerDeep, 0.04))
	}
	if c.kind == evenstand.KindDirtyFurrow {
		e.residue(f, x.way*e.cfg.Spacing, 1, 0.1)
	}
	f.Chart = e.chart(c)
}

// furrowChart draws each row's late difference to its neighbours.
func (e *Engine) furrowChart(c *caseFile) *evenstand.Chart {
	of := c.trouble.of
	ch := &evenstand.Chart{
		Title: [...]string{"seed-zone moisture", "seed-zone temperature", "trash in the slot"}[of] + " over its neighbours', by row, last ten minutes of planting",
		X:     "row", Y: "over its neighbours'", Unit: [...]string{"fraction", "K", "fraction"}[of],
	}
	var vals []float64
	for i := range e.furrow.rows {
		q := &e.furrow.rows[i].shift[of]
		var s stat2
		for j := 1; j <= min(q.k, 120); j++ {
			s.add(q.late[(q.k-j)%len(q.late)].m)
		}
		v := s.mean()
		ch.At, ch.Value = append(ch.At, num(float64(i+1))), append(ch.Value, num(v))
		if inList(c.rows, i+1) {
			ch.Mark = append(ch.Mark, i)
		} else if s.n > 0 {
			vals = append(vals, v)
		}
	}
	ch.Band = band(vals)
	return ch
}

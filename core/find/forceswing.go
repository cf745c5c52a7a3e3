package find

import (
	"math"

	"evenstand"
	"evenstand/core/stat"
)

// Row force that swings without need: a peak in the force's spectrum that the
// load answers to at once. Where it is the ground that swings the force comes
// after the load, a quarter late, and is no finding (F34, F31).
const (
	forceSpan  = 100.0 // s of a window, about
	forceLeast = 64    // readings in one
	forceMost  = 1024
	forceLow   = 0.1 // Hz (methods, f)
	forceHigh  = 2.0
	forceSize  = 30.0 // N either way that matter (judgement)
	forceGain  = 0.5  // of the force's swing that the load makes with it
	forceAll   = 0.6  // of the rows, from which on it is all of them
)

// forceWatch follows the forces.
type forceWatch struct{ rows []forceRow }

type forceRow struct {
	swingRun
	force, load []float64 // readings since the window began; a load that is not known is NaN
	from, at    evenstand.Micros
	was         float64 // the last load, and its time
	wasAt       evenstand.Micros
	step        float64 // s between the readings of the last window
}

func (w *forceWatch) row(n int) *forceRow {
	for len(w.rows) < n {
		w.rows = append(w.rows, forceRow{was: math.NaN(), wasAt: evenstand.NoTime})
	}
	return &w.rows[n-1]
}

func (w *forceWatch) force(n int, t evenstand.Micros, force float64) {
	r := w.row(n)
	if len(r.force) > 1 {
		gap, step := (t - r.at).Seconds(), (r.at-r.from).Seconds()/float64(len(r.force)-1)
		if gap > 2.5*step || gap > 3 { // a hole: it begins anew
			r.clear()
		}
	}
	if len(r.force) == forceMost {
		return
	}
	if len(r.force) == 0 {
		r.from = t
	}
	r.at = t
	load := math.NaN()
	switch k := len(r.load); {
	case r.wasAt == t: // a box may write either first
		load = r.was
	case k > 0 && math.IsNaN(r.load[k-1]) && r.at-r.wasAt < 2*evenstand.Second: // loads come at other times
		r.load[k-1] = r.was
	}
	r.force, r.load = append(r.force, force), append(r.load, load)
}

func (w *forceWatch) load(n int, t evenstand.Micros, load float64) {
	if n > len(w.rows) {
		return
	}
	r := &w.rows[n-1]
	r.was, r.wasAt = load, t
	if k := len(r.load); k > 0 && r.at == t {
		r.load[k-1] = load
	}
}

func (r *forceRow) clear() { r.force, r.load = r.force[:0], r.load[:0] }

func (e *Engine) tickForce(t evenstand.Micros) {
	w := &e.force
	if len(w.rows) == 0 {
		return
	}
	on := e.bar.Planting && e.pass.down && e.bar.Speed >= 1
	for i := range w.rows {
		r := &w.rows[i]
		n := len(r.force)
		if n < forceLeast/2 {
			if !on {
				r.clear()
			}
			continue
		}
		r.step = (r.at - r.from).Seconds() / float64(n-1)
		want := forceLeast
		for want < forceMost && float64(want)*r.step < forceSpan {
			want *= 2
		}
		switch {
		case n >= want:
			e.judgeForce(i+1, want, true)
			r.clear()
		case !on:
			if n >= want/2 { // what is left of a pass can show it, not deny it
				e.judgeForce(i+1, want/2, false)
			}
			r.clear()
		}
	}
}

// judgeForce takes a window of readings of a row.
func (e *Engine) judgeForce(n, size int, whole bool) {
	r := &e.force.rows[n-1]
	x, y := r.force[len(r.force)-size:], r.load[len(r.load)-size:]
	s := stat.Swings(x, r.step, forceLow, math.Min(forceHigh, 0.5/r.step))
	win := swingWindow{from: r.at - evenstand.FromSeconds(r.step*float64(size)), to: r.at, hz: s.Hz, size: s.Size, gain: math.NaN()}
	if fill(y) {
		win.gain = real(s.Gain(y))
	}
	// Loads that nobody logs cannot deny it.
	win.hit = s.P < swingSure && s.Size >= forceSize && !(win.gain < forceGain)
	if !whole && !win.hit {
		return
	}
	r.add(win)
	if r.cse != nil && !r.cse.open() {
		r.cse = nil
	}
	if c := r.cse; c != nil {
		switch {
		case win.hit:
			c.swing.add(win, r.step)
		case r.missed >= swingOver:
			e.endForce(n)
		}
		return
	}
	hits := r.hits()
	if !win.hit || len(hits) < swingHits {
		return
	}
	e.openForce(n, hits)
}

// fill puts the value before in place of the few that are not known; false where
// they are more than a tenth.
func fill(y []float64) bool {
	missing, was := 0, math.NaN()
	for _, v := range y {
		if math.IsNaN(v) {
			missing++
		} else if math.IsNaN(was) {
			was = v
		}
	}
	if 10*missing > len(y) {
		return false
	}
	for i, v := range y {
		if math.IsNaN(v) {
			y[i] = was
		}
		was = y[i]
	}
	return true
}

// openForce raises a row's swing; rows that swing together are one finding.
func (e *Engine) openForce(n int, hits []swingWindow) {
	r := &e.force.rows[n-1]
	hz := 0.0
	told := true
	for _, h := range hits {
		hz += h.hz / float64(len(hits))
		told = told && !math.IsNaN(h.gain)
	}
	from := hits[0].from
	c := r.ended
	if c == nil || c.dropped || from-c.until >= swingAgain && !c.open() || math.Abs(c.swing.hz.mean()-hz) > swingAlike*hz {
		c = nil
	}
	for _, o := range e.cases {
		if c == nil && o.kind == evenstand.KindForceHunting && o.open() && absT(o.onset-from) <= swingJoins && math.Abs(o.swing.hz.mean()-hz) <= swingOne*hz {
			c = o
		}
	}
	if c == nil {
		onset := e.afterHalt(from, flowSame)
		c = e.add(&caseFile{
			kind: evenstand.KindForceHunting, rows: []int{n}, raised: told, onset: onset, onsetLow: onset - evenstand.FromSeconds(forceSpan), onsetHigh: onset + evenstand.FromSeconds(forceSpan/2),
			alarm: e.now, grade: evenstand.GradeB, swing: &swingCase{told: told},
		})
	}
	c.until = evenstand.NoTime
	if from < c.onset {
		c.onset = e.afterHalt(from, flowSame)
	}
	for _, h := range hits {
		c.swing.add(h, r.step)
	}
	if told && !c.raised {
		e.raise(c)
		c.swing.told = true
	}
	r.cse = c
	if !c.hasRow(n) {
		c.rows = append(c.rows, n)
		sortRows(c.rows)
	}
	e.joinForce(c)
}

// joinForce makes one finding of those of most rows, begun about together,
// whatever pace each row has.
func (e *Engine) joinForce(c *caseFile) {
	w := &e.force
	measured, rows := 0.0, 0.0
	near := func(o *caseFile) bool {
		return o != nil && o.open() && absT(o.onset-c.onset) <= swingJoins
	}
	for i := range w.rows {
		if w.rows[i].k == 0 || i >= len(e.rows) || !e.rows[i].enabled {
			continue
		}
		measured++
		if near(w.rows[i].cse) {
			rows++
		}
	}
	c.swing.measured = measured
	if measured < 3 || rows <= forceAll*measured {
		c.swing.rows = math.Max(c.swing.rows, float64(min(len(c.rows), int(measured))))
		return
	}
	for i := range w.rows {
		if o := w.rows[i].cse; near(o) && o != c {
			o.dropped = true
			c.swing.join(o.swing)
			c.onset, c.onsetLow, c.alarm, c.raised = min(c.onset, o.onset), min(c.onsetLow, o.onsetLow), min(c.alarm, o.alarm), c.raised || o.raised
			for k := range w.rows {
				if w.rows[k].cse == o {
					w.rows[k].cse = c
				}
			}
		}
	}
	c.swing.rows = math.Max(c.swing.rows, rows)
	c.rows = e.allRows()
}

// endForce ends a row's part in its finding, and the finding with the last row.
func (e *Engine) endForce(n int) {
	r := &e.force.rows[n-1]
	c := r.cse
	r.cse, r.ended = nil, c
	until := evenstand.NoTime
	for i := range e.force.rows {
		o := &e.force.rows[i]
		if o.cse == c {
			return
		}
		if o.ended == c {
			if t := o.last(); t != evenstand.NoTime && (until == evenstand.NoTime || t > until) {
				until = t
			}
		}
	}
	if until == evenstand.NoTime {
		until = r.late[(r.k-swingOver)%swingOf].from
	}
	c.until = until
}

// reportForce says what a finding about swinging force rests on.
func (e *Engine) reportForce(c *caseFile, f *evenstand.Finding) {
	x := c.swing
	f.Evidence = []evenstand.Evidence{
		ev("force swings either way by", x.size.mean(), nan, nan, x.windows, "N"),
		ev("a swing takes", 1/x.hz.mean(), nan, nan, nan, "s"),
		ev("readings a second", 1/x.step.mean(), nan, nan, nan, ""),
		ev("rows that swing", x.rows, nan, nan, x.measured, ""),
	}
	if x.gain.n > 0 {
		f.Evidence = append(f.Evidence, ev("of the swing that the load makes at once", x.gain.mean(), nan, nan, x.gain.n, ""))
	}
	// Prior odds of the trade (agronomy F34): all rows in one to three seconds is
	// gain, one row its own actuator. Judgement, no published odds.
	gain, actuator, air := 0.05, 0.80, 0.12
	if len(c.rows) > 1 {
		gain, actuator, air = 0.30, 0.20, 0.45
	}
	if len(c.rows) == len(e.rows) && len(e.rows) > 1 {
		gain, actuator, air = 0.86, 0.01, 0.10
		if t := 1 / x.hz.mean(); x.step.mean() < 0.3 && (t < 0.8 || t > 4) {
			gain, air = 0.6, 0.3
		}
	}
	f.Causes = normalise(evenstand.Cause{Cause: evenstand.CauseForceGain, Probability: gain}, evenstand.Cause{Cause: evenstand.CauseForceRow, Probability: actuator},
		evenstand.Cause{Cause: evenstand.CauseForceAir, Probability: air})
}

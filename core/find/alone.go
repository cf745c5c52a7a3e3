package find

import (
	"math"
	"slices"

	"evenstand"
)

// Liquid and seed go together: what runs while the bar is up is spilt, what runs
// while the planter stands makes a puddle, and seed that falls while nothing
// runs has no starter. What is usual is the flow of late while planting.
const (
	aloneUsual  = 600  // s of planting over which the usual flow is remembered
	aloneWarm   = 60   // s of planting before anything is judged
	aloneStale  = 3    // s after which a flow that was not said again counts as none
	drySettle   = 6    // s after the lowering in which lines and pump come up (judgement)
	dryShare    = 0.05 // of the usual: less is none
	dryAlarm    = 10   // s of planting without any
	wetShare    = 0.2  // of the usual: more runs while lifted
	wetAfter    = 3    // s after lifting in which valves close (judgement)
	wetAlarm    = 4    // s of it
	puddleShare = 0.02 // of the usual: more runs while it stands
	puddleAfter = 3    // s of standing in which valves close
	puddleAlarm = 4    // s of it
	puddleV     = 0.15 // m/s: slower is standing
	aloneClear  = 3    // stops, or turns, without it after which it is over
)

// aloneWatch follows all of the liquid, whether the planter plants or not.
type aloneWatch struct {
	rows   []rowFlow
	whole  rowFlow
	usual  float64 // m3/s
	warm   float64 // s of planting with liquid
	speed  float64
	down   int // s of planting since the lowering
	lifted int // s since the lifting
	stood  int // s of standing
	dry    spell
	wet    spell
	puddle spell
}

// rowFlow is the last word of a row, or of all, with the time between words.
type rowFlow struct {
	t     evenstand.Micros
	v     float64
	every evenstand.Micros // 0: not known yet
}

// aloneSlowest is the longest time between words for which one stands.
const aloneSlowest = 15 * evenstand.Second

// say takes a word.
func (r *rowFlow) say(t evenstand.Micros, v float64) {
	if d := t - r.t; r.t != evenstand.NoTime && r.t != 0 && d > 0 && d <= aloneSlowest {
		r.every = d
	}
	r.t, r.v = t, v
}

// fresh tells whether the last word still stands: a slow log says less often.
func (r *rowFlow) fresh(t evenstand.Micros) bool {
	return r.t != evenstand.NoTime && r.t != 0 && t-r.t <= max(aloneStale*evenstand.Second, r.every*3/2)
}

// spell is one of the three troubles.
type spell struct {
	s     int // seconds of it in a row
	since evenstand.Micros
	last  evenstand.Micros
	clear int     // times that it could have been there and was not, since
	seen  bool    // it was there in this stop or turn
	ran   float64 // m3 of this run, before it is raised
	area  float64
	cse   *caseFile
}

// aloneCase is what such a finding rests on.
type aloneCase struct {
	volume  float64 // m3 that ran
	area    float64 // m2 planted without
	seconds float64
	times   float64 // stops or turns
	usual   float64
}

// FlowEver takes the flow of a row, or with 0 of the whole machine, in m3/s,
// whatever the planter does, with its speed in m/s.
func (e *Engine) FlowEver(n int, t evenstand.Micros, flow, speed float64) {
	if !(flow >= 0) {
		return
	}
	w := &e.alone
	w.speed = speed
	if n == 0 {
		w.whole.say(t, flow)
		return
	}
	for len(w.rows) < n {
		w.rows = append(w.rows, rowFlow{t: evenstand.NoTime})
	}
	w.rows[n-1].say(t, flow)
}

// spoke tells whether a box said anything in the last second or so.
func (w *aloneWatch) spoke(t evenstand.Micros) bool {
	const late = 3 * evenstand.Second / 2
	return t-w.whole.t <= late || slices.ContainsFunc(w.rows, func(r rowFlow) bool { return r.t != evenstand.NoTime && t-r.t <= late })
}

// flow is what all of it comes to; false when no box says anything of late.
func (w *aloneWatch) flow(t evenstand.Micros) (sum float64, ok bool) {
	if w.whole.fresh(t) {
		return w.whole.v, true
	}
	for i := range w.rows {
		if r := &w.rows[i]; r.fresh(t) {
			sum, ok = sum+r.v, true
		}
	}
	return sum, ok
}

func (e *Engine) tickAlone(t evenstand.Micros) {
	w := &e.alone
	if len(w.rows) == 0 && w.whole.t == 0 {
		return
	}
	flow, told := w.flow(t)
	planting := e.bar.Planting && e.pass.down
	switch {
	case planting:
		w.down++
		w.lifted, w.stood = 0, 0
	case told && w.speed < puddleV:
		w.stood++
	default:
		w.lifted++
		w.stood = 0
	}
	if !e.pass.down {
		w.down = 0
	}
	warm := w.warm >= aloneWarm
	if planting && told && w.down > drySettle && flow > dryShare*w.usual {
		w.warm++
		w.usual += (flow - w.usual) / math.Min(w.warm, aloneUsual)
	}
	if !warm || !told {
		return
	}
	// Seed without liquid: rows drop, nothing runs.
	switch {
	case planting && w.down > drySettle && e.bar.Speed > 1:
		e.spell(&w.dry, t, flow < dryShare*w.usual, dryAlarm, evenstand.KindSeedWithoutLiquid, 0, e.dryArea())
	}
	// A puddle while it stands, down or lifted; spilt while it is lifted and goes.
	switch {
	case w.stood > puddleAfter:
		e.spell(&w.puddle, t, flow > puddleShare*w.usual, puddleAlarm, evenstand.KindPuddle, flow, 0)
	case planting && w.stood == 0:
		w.puddle.over()
	}
	switch {
	case !e.pass.down && w.stood == 0 && w.lifted > wetAfter && w.speed > 0.3:
		e.spell(&w.wet, t, flow > wetShare*w.usual, wetAlarm, evenstand.KindLiquidWithoutSeed, flow, 0)
	case planting:
		w.wet.over()
	}
}

// dryArea is the ground planted in a second by rows whose liquid is a starter.
func (e *Engine) dryArea() float64 {
	n := 0.0
	for _, r := range e.rows {
		if r.enabled && e.starter(r.n) {
			n++
		}
	}
	return n * e.bar.Speed * e.cfg.Spacing
}

// over closes a stop or a turn: without the trouble in it, it counts as clear.
func (s *spell) over() {
	if s.s == 0 && !s.seen {
		return
	}
	s.s, s.ran, s.area = 0, 0, 0
	s.seen = false
}

// spell takes one second in which the trouble could be there.
func (e *Engine) spell(s *spell, t evenstand.Micros, is bool, alarm int, kind string, flow, area float64) {
	if s.cse != nil && (!s.cse.open() || s.cse.dropped) {
		s.cse = nil
	}
	if !is {
		s.s, s.ran, s.area = 0, 0, 0
		if c := s.cse; c != nil {
			if s.clear++; s.clear >= 10*aloneClear { // seconds in which it was not
				c.until = s.last
				s.cse = nil
			}
		}
		return
	}
	if s.s == 0 {
		s.since = t - evenstand.Second
	}
	s.s++
	s.last, s.clear = t, 0
	if c := s.cse; c != nil {
		if !s.seen {
			c.alone.times++
		}
		s.seen = true
		c.alone.volume += flow
		c.alone.area += area
		c.alone.seconds++
		return
	}
	s.ran, s.area = s.ran+flow, s.area+area
	if s.s < alarm {
		return
	}
	onset := s.since
	if kind == evenstand.KindSeedWithoutLiquid {
		onset = e.afterHalt(onset, flowSame)
	}
	s.cse = e.add(&caseFile{
		kind: kind, rows: e.allRows(), raised: true, onset: onset, onsetLow: onset - 2*evenstand.Second, onsetHigh: onset + 2*evenstand.Second,
		alarm: t, grade: evenstand.GradeC, alone: &aloneCase{volume: s.ran, area: s.area, seconds: float64(s.s), times: 1, usual: e.alone.usual},
	})
	s.seen = true
}

// noneRuns tells whether nothing runs while the planter plants.
func (w *aloneWatch) noneRuns() bool { return w.dry.cse != nil && w.dry.cse.open() || w.dry.s > 0 }

// reportAlone says what such a finding rests on.
func (e *Engine) reportAlone(c *caseFile, f *evenstand.Finding) {
	x := c.alone
	switch c.kind {
	case evenstand.KindSeedWithoutLiquid:
		f.Evidence = []evenstand.Evidence{ev("planted without liquid", x.seconds, nan, nan, nan, "s")}
		f.Causes = normalise(
			evenstand.Cause{Cause: evenstand.CauseLiquidOff, Probability: 0.5},
			evenstand.Cause{Cause: evenstand.CauseLiquidEmpty, Probability: 0.3},
			evenstand.Cause{Cause: evenstand.CausePump, Probability: 0.2},
		)
		if rows := e.starterRows(c.rows); len(rows) > 0 {
			f.Harm = []evenstand.Harm{e.shortOf(rows, 0, 0, x.area)}
		}
	case evenstand.KindPuddle:
		f.Evidence = []evenstand.Evidence{
			ev("ran while the planter stood", x.volume, nan, nan, nan, "m3"), ev("for", x.seconds, nan, nan, nan, "s"), ev("at stops", x.times, nan, nan, nan, ""),
		}
		f.Causes = normalise(evenstand.Cause{Cause: evenstand.CauseCheckValve, Probability: 0.55}, evenstand.Cause{Cause: evenstand.CauseValveLate, Probability: 0.4})
	default:
		f.Evidence = []evenstand.Evidence{
			ev("ran while the planter was lifted", x.volume, nan, nan, nan, "m3"), ev("for", x.seconds, nan, nan, nan, "s"), ev("at turns", x.times, nan, nan, nan, ""),
		}
		f.Causes = normalise(evenstand.Cause{Cause: evenstand.CauseValveLate, Probability: 0.7}, evenstand.Cause{Cause: evenstand.CauseCheckValve, Probability: 0.25})
	}
}

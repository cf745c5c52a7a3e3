package find

import (
	"math"

	"evenstand"
	"evenstand/core/stat"
)

// Liquid that swings about the rate that is asked for: a peak in the rate's
// spectrum, once a second, that the speed does not have. Its pace tells a valve
// that is set too fast (a fixed time: F58) from a part of a pump's drive that
// runs along with the wheels (a fixed distance: F18).
const (
	swingWindowN = 64   // s of planting
	flowLow      = 0.08 // Hz
	flowHigh     = 0.45
	flowSize     = 0.02 // either way, of the rate
	flowBySpeed  = 0.5  // of its swing that the speed makes: it follows the driver
	paceLeast    = 0.01 // error of the log of a window's pace, at the least
	paceTold     = 0.35 // standard error of the slope up to which it tells
)

// flowSwing follows the rate of the whole machine.
type flowSwing struct {
	swingRun
	rate, flow stat2 // since the last tick
	xs, vs     []float64
	missing    int
	from       evenstand.Micros
}

func (w *flowSwing) clear() {
	w.xs, w.vs, w.missing = w.xs[:0], w.vs[:0], 0
	w.rate, w.flow = stat2{}, stat2{}
}

func (e *Engine) tickFlowSwing(t evenstand.Micros) {
	w := &e.flowSwing
	l := &e.liquid
	if !e.bar.Planting || !e.pass.down || e.bar.Speed < 1 || l.settled <= flowSettle || e.alone.noneRuns() {
		w.clear()
		return
	}
	x := math.NaN()
	switch {
	case w.rate.n > 0:
		x = w.rate.mean()
	case w.flow.n > 0 && e.cfg.Spacing > 0:
		x = w.flow.mean() / (e.bar.Speed * e.cfg.Spacing)
	}
	w.rate, w.flow = stat2{}, stat2{}
	if math.IsNaN(x) {
		if len(w.xs) == 0 {
			return
		}
		if w.missing++; 10*w.missing > swingWindowN {
			w.clear()
			return
		}
		x = w.xs[len(w.xs)-1]
	}
	if len(w.xs) == 0 {
		w.from = t - evenstand.Second
	}
	w.xs, w.vs = append(w.xs, x), append(w.vs, e.bar.Speed)
	if len(w.xs) < swingWindowN {
		return
	}
	e.judgeFlowSwing(t)
	w.clear()
}

func mean(xs []float64) float64 {
	s := 0.0
	for _, x := range xs {
		s += x
	}
	return s / float64(len(xs))
}

// judgeFlowSwing takes a window of a value a second.
func (e *Engine) judgeFlowSwing(t evenstand.Micros) {
	w := &e.flowSwing
	m, v := mean(w.xs), mean(w.vs)
	if !(m > 0) {
		return
	}
	for i := range w.xs {
		w.xs[i] /= m
		w.vs[i] /= v
	}
	s := stat.Swings(w.xs, 1, flowLow, flowHigh)
	win := swingWindow{from: w.from, to: t, hz: s.Hz, size: s.Size}
	g := s.Gain(w.vs)
	win.gain = math.Hypot(real(g), imag(g))
	win.hit = s.P < swingSure && s.Size >= flowSize && !(win.gain >= flowBySpeed)
	w.add(win)
	if w.cse != nil && !w.cse.open() {
		w.cse = nil
	}
	note := func(c *swingCase) {
		c.add(win, 1)
		c.pace.add(math.Log(v), math.Log(win.hz))
		c.speed.add(v)
		if e.liquid.target > 0 {
			c.mean.add(m / e.liquid.target)
		}
	}
	if c := w.cse; c != nil {
		switch {
		case win.hit:
			note(c.swing)
		case w.missed >= swingOver:
			c.until, w.cse, w.ended = w.last(), nil, c
			if c.until == evenstand.NoTime {
				c.until = win.from
			}
		}
		return
	}
	hits := w.hits()
	if !win.hit || len(hits) < swingHits {
		return
	}
	if old := w.ended; old != nil && !old.dropped && hits[0].from-old.until < swingAgain && math.Abs(old.swing.hz.mean()-win.hz) <= swingAlike*win.hz {
		old.until, w.cse = evenstand.NoTime, old
		note(old.swing)
		return
	}
	onset := e.afterHalt(hits[0].from, flowSame)
	c := &swingCase{}
	for _, h := range hits[:len(hits)-1] {
		c.add(h, 1)
	}
	note(c)
	w.cse = e.add(&caseFile{
		kind: evenstand.KindFlowHunting, rows: e.allRows(), raised: true, onset: onset, onsetLow: onset - swingWindowN*evenstand.Second, onsetHigh: onset + swingWindowN/2*evenstand.Second,
		alarm: t, grade: evenstand.GradeC, swing: c,
	})
	w.ended = nil
}

// reportFlowSwing says what a finding about swinging liquid rests on.
func (e *Engine) reportFlowSwing(c *caseFile, f *evenstand.Finding) {
	x := c.swing
	v := x.speed.mean()
	f.Evidence = []evenstand.Evidence{
		ev("liquid swings either way by", x.size.mean(), nan, nan, x.windows, "fraction"),
		ev("a swing takes", 1/x.hz.mean(), nan, nan, nan, "s"),
		ev("from thick to thick", v/x.hz.mean(), nan, nan, nan, "m"),
	}
	if x.mean.n > 0 {
		f.Evidence = append(f.Evidence, ev("liquid over its target", x.mean.mean(), nan, nan, nan, ""))
	}
	// Prior odds of the trade (agronomy F56, F58, F18), weighed by whether the
	// pace keeps to the time or to the distance. Judgement, no published odds.
	valve, air, drive := 0.80, 0.10, 0.06
	if slope, se := x.pace.slope(paceLeast); se <= paceTold {
		f.Evidence = append(f.Evidence, ev("its pace goes with the speed", slope, slope-1.645*se, slope+1.645*se, x.pace.n, ""))
		like := func(want float64) float64 {
			d := (slope - want) / math.Hypot(se, 0.15)
			return math.Exp(-d*d/2) + 0.01
		}
		valve *= like(0)
		air *= like(0)
		drive *= like(1)
	}
	f.Causes = normalise(evenstand.Cause{Cause: evenstand.CauseFlowGain, Probability: valve}, evenstand.Cause{Cause: evenstand.CauseLiquidAir, Probability: air},
		evenstand.Cause{Cause: evenstand.CausePumpDrive, Probability: drive})
}

package find

import (
	"math"

	"evenstand"
	"evenstand/core/stat"
)

// The whole machine drops more or fewer seeds than asked: places due by the
// disc's rhythm (or counted seeds) over places due by the target, the middle
// row of all that are heard, in windows of ten seconds.
const (
	rateWindow  = 10 // s of planting
	rateSmall   = 0.015
	rateRaise   = 0.0225
	rateWindows = 30 // windows beyond rateSmall on one side before it is raised
	rateCalm    = 3  // windows in a row without a deviation that end a run
	rateBack    = 0.010
	rateHealed  = 0.4 // of the deviation: under it a window counts as healthy
	rateBackFor = 12
	rateLate    = 6                     // first windows in which the ratio is still on its way
	rateSettle  = 30 * evenstand.Second // after a change of target
)

type rateWatch struct {
	sec     int
	changed evenstand.Micros
	run     int // windows beyond, on one side
	sign    float64
	since   evenstand.Micros
	sum     float64
	vals    [rateWindows]float64
	calm    int
	back    int
	backAt  evenstand.Micros
	planted float64          // m² since the morning, rows that are heard, on and not stopped
	sinceA  float64          // planted at since,
	windowA float64          // at the start of the window,
	backA   float64          // and at backAt
	first   evenstand.Micros // first window of the day
	cse     *caseFile
	speed   stat2 // logged speed over the receiver's, of late
}

type rateCase struct {
	ratio     evenstand.Moments
	tail      evenstand.Moments // of windows in which it may have been over
	area      float64           // NaN unknown
	speed     float64           // logged speed over the receiver's; NaN unknown
	fromStart bool
}

func (w *rateWatch) init() { w.changed, w.first = evenstand.NoTime, evenstand.NoTime }

func (w *rateWatch) targetChanged(t evenstand.Micros) { w.changed = t }

// Ratio takes what a row does over what it is asked: 1 is right. NaN unknown.
func (e *Engine) Ratio(n int, ratio float64) { e.row(n).rateWay = ratio }

// SpeedRatio takes the speed that the machine logs over the receiver's.
func (e *Engine) SpeedRatio(x float64) {
	const g = 1.0 / 120
	if e.rate.speed.n == 0 {
		e.rate.speed = stat2{x, 1}
		return
	}
	e.rate.speed.sum += g * (x - e.rate.speed.sum)
}

func (e *Engine) tickRate(t evenstand.Micros) {
	w := &e.rate
	if !e.bar.Planting {
		return
	}
	if w.sec == 0 {
		w.windowA = w.planted
	}
	for _, r := range e.rows {
		if r.heard() && r.enabled && !(r.stop.cse != nil && r.stop.cse.open()) {
			w.planted += e.bar.Speed * e.cfg.Spacing
		}
	}
	if c := w.cse; c != nil && c.open() {
		c.rate.area = w.planted - w.sinceA
	}
	w.sec++
	if w.sec < rateWindow {
		return
	}
	w.sec = 0
	var vals []float64
	heard := 0
	for _, r := range e.rows {
		if r.heard() {
			heard++
		}
		if r.rateWay > 0 && r.enabled && !(r.stop.cse != nil && r.stop.cse.open()) {
			vals = append(vals, r.rateWay)
		}
	}
	if len(vals) == 0 || 2*len(vals) < heard {
		return
	}
	if w.changed != evenstand.NoTime && t-w.changed < rateSettle {
		return
	}
	if w.first == evenstand.NoTime {
		w.first = t
	}
	dev := stat.Median(vals) - 1
	if c := w.cse; c != nil && c.open() {
		if math.Abs(dev) < math.Max(rateBack, rateHealed*math.Abs(c.rate.ratio.Mean()-1)) {
			c.rate.tail.Add(1 + dev)
			if w.back == 0 {
				w.backAt, w.backA = t-rateWindow*evenstand.Second, w.windowA
			}
			w.back++
			if w.back >= rateBackFor {
				c.until, c.rate.area = w.backAt, w.backA-w.sinceA
				w.cse, w.run = nil, 0
			}
		} else {
			c.rate.ratio.Merge(c.rate.tail)
			c.rate.ratio.Add(1 + dev)
			c.rate.tail, w.back = evenstand.Moments{}, 0
		}
		return
	}
	if math.Abs(dev) < rateSmall || (w.run > 0 && dev*w.sign < 0) {
		// A window or two of noise do not end a run.
		if w.calm++; w.calm >= rateCalm || w.run == 0 {
			w.run = 0
		}
		if w.run == 0 && math.Abs(dev) < rateSmall {
			return
		}
	} else {
		w.calm = 0
	}
	if w.run == 0 {
		w.since, w.sum, w.sign = t-rateWindow*evenstand.Second, 0, math.Copysign(1, dev)
		w.sinceA = w.windowA
	}
	w.vals[w.run%rateWindows] = dev
	w.run++
	w.sum += dev
	if w.run < rateWindows || math.Abs(stat.Median(w.vals[:])) < rateRaise {
		return
	}
	rows := make([]int, 0, heard)
	grade := evenstand.GradeA
	for _, r := range e.rows {
		if !r.heard() {
			continue
		}
		rows = append(rows, r.n)
		grade = max(grade, r.grade)
	}
	c := e.add(&caseFile{
		kind: evenstand.KindRateOff, rows: rows, raised: true, onset: w.since, onsetLow: w.since - 30*evenstand.Second,
		onsetHigh: w.since + 30*evenstand.Second, alarm: t, grade: grade, rate: &rateCase{speed: math.NaN()},
	})
	c.rate.fromStart = w.since-w.first < 180*evenstand.Second
	if w.speed.n > 0 {
		c.rate.speed = w.speed.sum
	}
	for j := range rateWindows - rateLate {
		c.rate.ratio.Add(1 + w.vals[(w.run-1-j)%rateWindows])
	}
	c.rate.area = w.planted - w.sinceA
	w.cse, w.back = c, 0
}

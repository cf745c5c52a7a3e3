package find

import (
	"math"

	"evenstand"
)

// A pump that cannot keep up: above some speed the flow is flat, below it the
// rate is right (F55). In means over five seconds of planting the flow is held
// against both: one that stays where it is when the speed changes, and one that
// is short of what is asked for by one part at every speed, which is another
// trouble (liquid-rate-off). Where the speed does not change nobody can tell, and
// it is the other.
const (
	pumpWindow = 5    // s of planting
	pumpShort  = 0.03 // of what is asked for, that matters
	pumpSound  = 0.015
	pumpKeep   = 240 // windows: twenty minutes
	pumpLeast  = 12  // short ones among them
	pumpOdds   = 8.0 // nats for the flat flow
	pumpLean   = 3.0 // from which on the other finding waits
	pumpAlike  = 1.5 // by which neighbouring windows say the same again
	pumpError  = 0.01
	pumpFits   = 0.025 // SD of the flat flow about its line, relative, at most
	pumpSteady = 0.15  // m/s by which the speed changes in a window whose flow comes late
	pumpBefore = 6     // windows that kept up above the limit: it began after them
	pumpOver   = 4     // that keep up: it is over
	pumpAbove  = 1.03  // times the limit: well above it
	pumpFill   = 4 * 60 * evenstand.Second
	pumpAgain  = 15 * 60 * evenstand.Second
)

// pumpSpans are how many windows of late are held against both: five minutes, and
// less.
var pumpSpans = [...]int{60, 36, 20}

// pumpWatch follows what the pump delivers.
type pumpWatch struct {
	sec        int
	speed      stat2
	from, to   float64 // the speed at either end of this window
	rate, flow stat2
	late       [pumpKeep]pumpPoint
	k          int
	odds       float64
	first      evenstand.Micros // of the day with liquid
	cse, ended *caseFile
	sound      int
	soundAt    evenstand.Micros
	shortAt    evenstand.Micros
	planted    float64 // m2 of the rows with a starter, all of it
	target     float64 // for which speeds are, m3/m2; 0 none yet
}

// pumpPoint is a window: the speed, and the one for which the flow suffices.
type pumpPoint struct {
	t    evenstand.Micros // beginning
	v, y float64
	area float64 // m2 of the rows with a starter
	all  float64 // and that of the day until then
}

func (p pumpPoint) short() bool { return p.y < (1-pumpShort)*p.v }

// pumpCase is what a finding about a pump's limit rests on.
type pumpCase struct {
	odds         float64
	was          stat2   // its limit in the first minutes, m/s
	limit        float64 // of late
	ratio        stat2   // flow over what is asked for, where it falls short
	short, all   float64 // s
	lacks, area  float64 // m2 with a starter in windows: part doses added up to whole ones, and all
	from, to     float64 // m2 with a starter planted in the day, when it began and at present
	fills        int     // halts as long as a fill that it outlasted
	outlasted    evenstand.Micros
	recovered    bool // after a halt
	fromStart    bool
	windowsShort float64
}

func (w *pumpWatch) clear() {
	w.sec, w.speed, w.rate, w.flow = 0, stat2{}, stat2{}, stat2{}
}

func (e *Engine) tickPump(t evenstand.Micros) {
	w, l := &e.pump, &e.liquid
	if e.bar.Planting && e.pass.down {
		w.planted += e.dryArea()
	}
	if !e.bar.Planting || !e.pass.down || e.bar.Speed < 1 || l.settled <= flowSettle || !(l.target > 0) || e.alone.noneRuns() ||
		l.changed != evenstand.NoTime && t-l.changed < wholeChange {
		w.clear()
		return
	}
	if w.target != l.target {
		w.ask(l.target)
	}
	if w.sec == 0 {
		w.from = e.bar.Speed
	}
	w.to = e.bar.Speed
	w.speed.add(e.bar.Speed)
	if w.sec++; w.sec < pumpWindow {
		return
	}
	defer w.clear()
	for _, r := range e.rows {
		if !r.enabled { // less is asked of the pump, and meters of the whole width show less
			return
		}
	}
	if math.Abs(w.to-w.from) > pumpSteady {
		return
	}
	p := pumpPoint{t: t - pumpWindow*evenstand.Second, v: w.speed.mean(), area: e.dryArea() * pumpWindow, all: w.planted}
	switch {
	case w.rate.n >= 3:
		p.y = w.rate.mean() / l.target * p.v
	case w.flow.n >= 3 && e.cfg.Spacing > 0:
		p.y = w.flow.mean() / (l.target * e.cfg.Spacing)
	default:
		return
	}
	e.judgePump(p, t)
}

// ask turns the speeds that are known into those at which a new target asks for
// as much: it is the flow that a pump limits.
func (w *pumpWatch) ask(target float64) {
	if w.target > 0 {
		x := w.target / target
		for i := range w.late {
			w.late[i].v *= x
			w.late[i].y *= x
		}
		if w.cse != nil && w.cse.open() {
			w.cse.pump.limit *= x
			w.cse.pump.was.sum *= x
		}
	}
	w.target = target
}

// judgePump takes a window.
func (e *Engine) judgePump(p pumpPoint, t evenstand.Micros) {
	w := &e.pump
	if w.first == 0 {
		w.first = p.t
	}
	w.late[w.k%pumpKeep] = p
	w.k++
	if w.cse != nil && !w.cse.open() {
		w.cse = nil
	}
	if w.cse != nil {
		e.goOnPump(p)
		return
	}
	w.odds = 0
	fits, level := false, 0.0
	for _, n := range pumpSpans { // a limit that came in a halt has nothing to do with what lay before
		odds, limit, ok := w.weigh(min(w.k, n))
		if odds > w.odds {
			w.odds, level, fits = odds, limit, ok
		}
	}
	if w.odds >= pumpOdds && fits && p.short() {
		e.openPump(level, t)
	}
}

// weigh holds the last n windows against a flat flow and an even part, from the
// first short one on. Both may creep. It gives the odds in nats, the limit of
// late, and whether it fits the windows.
func (w *pumpWatch) weigh(n int) (odds, limit float64, fits bool) {
	begin, short := 0, 0 // windows back to the first short one
	for j := n; j >= 1; j-- {
		if w.late[(w.k-j)%pumpKeep].short() {
			if short++; begin == 0 {
				begin = j
			}
		}
	}
	if short < pumpLeast {
		return 0, 0, false
	}
	var level, part regression
	for j := begin; j >= 1; j-- {
		q := w.late[(w.k-j)%pumpKeep]
		if q.short() {
			level.add(float64(-j), q.y)
		}
		part.add(float64(-j), q.y/q.v)
	}
	var flat, even, v stat2
	for j := begin; j >= 1; j-- {
		q := w.late[(w.k-j)%pumpKeep]
		a, b := q.y-math.Min(q.v, level.at(float64(-j))), q.y-part.at(float64(-j))*q.v
		flat.add(a * a)
		even.add(b * b)
		v.add(q.v)
	}
	s2 := math.Max(pumpError*v.mean()*pumpError*v.mean(), math.Min(flat.mean(), even.mean()))
	return (even.sum - flat.sum) / (2 * s2) / pumpAlike, level.at(-1), math.Sqrt(flat.mean()) <= pumpFits*v.mean()
}

// openPump raises a limit, and takes back what was said of the same trouble.
func (e *Engine) openPump(limit float64, t evenstand.Micros) {
	w := &e.pump
	begin, sound := 1, 0
	for j := 1; j <= min(w.k, pumpKeep); j++ {
		switch q := w.late[(w.k-j)%pumpKeep]; {
		case q.short():
			begin, sound = j, 0
		case q.v > pumpAbove*limit && q.y > (1-pumpSound)*q.v:
			sound++
		}
		if sound >= pumpBefore {
			break
		}
	}
	since := w.late[(w.k-begin)%pumpKeep].t
	c := &pumpCase{odds: w.odds, limit: limit, fromStart: since-w.first < 300*evenstand.Second}
	if x := e.liquid.whole.cse; x != nil && x.open() && x.whole.ratio.Mean() < 1 {
		x.dropped = true
		since = min(since, x.onset)
	} else if x != nil && x.open() { // too much until now, which a limit ends
		x.until = since
	}
	w.sound = 0
	if old := w.ended; old != nil && !old.dropped && since-old.until < pumpAgain && !old.pump.recovered {
		old.until, w.cse = evenstand.NoTime, old
	} else {
		onset := e.afterHalt(since, flowSame)
		w.cse = e.add(&caseFile{
			kind: evenstand.KindPumpLimit, rows: e.allRows(), raised: true, onset: onset, onsetLow: onset - 60*evenstand.Second, onsetHigh: onset + 60*evenstand.Second,
			alarm: t, grade: evenstand.GradeC, pump: c,
		})
	}
	e.liquid.whole.cse, e.liquid.whole.run = nil, 0
	for j := begin; j >= 1; j-- {
		w.cse.pump.note(w.late[(w.k-j)%pumpKeep])
	}
	w.shortAt = t
}

// note adds a window to the sums of a finding.
func (c *pumpCase) note(p pumpPoint) {
	if c.all == 0 {
		c.from = p.all - p.area
	}
	c.area, c.to = c.area+p.area, p.all
	c.all += pumpWindow
	if !p.short() {
		return
	}
	if c.was.n < pumpLeast {
		c.was.add(p.y)
	}
	c.windowsShort++
	c.limit += (p.y - c.limit) / math.Min(c.windowsShort, pumpLeast)
	c.short += pumpWindow
	c.ratio.add(p.y / p.v)
	c.lacks += p.area * (1 - p.y/p.v)
}

// goOnPump takes a window while a limit is known.
func (e *Engine) goOnPump(p pumpPoint) {
	w := &e.pump
	c := w.cse.pump
	if p.v > pumpAbove*c.limit && p.y > (1-pumpSound)*p.v {
		if w.sound == 0 {
			w.soundAt = p.t
		}
		if w.sound++; w.sound >= pumpOver {
			for _, h := range e.halts {
				if h.to >= w.shortAt && h.from <= w.soundAt {
					c.recovered = true
				}
			}
			w.cse.until = w.soundAt
			if c.recovered { // at the halt
				w.cse.until = w.shortAt
			}
			w.ended, w.cse, w.odds = w.cse, nil, 0
			w.k = 0
		}
		return
	}
	w.sound = 0
	if p.short() {
		w.shortAt = p.t + pumpWindow*evenstand.Second
		for _, h := range e.halts {
			if h.to-h.from >= pumpFill && h.from > w.cse.onset && h.from > c.outlasted {
				c.fills++
				c.outlasted = h.from
			}
		}
	}
	c.note(p)
}

// known tells whether a limit of the pump is a finding already: then it is not
// the rate that is off.
func (w *pumpWatch) known() bool { return w.cse != nil && w.cse.open() }

// reportPump says what a finding about a pump's limit rests on.
func (e *Engine) reportPump(c *caseFile, f *evenstand.Finding) {
	x := c.pump
	m := x.ratio.mean()
	was := x.was.mean()
	fell := 1 - x.limit/was
	// The meter is known to 1 % (judgement).
	f.Evidence = []evenstand.Evidence{ev("keeps up with", x.limit, x.limit*0.99, x.limit*1.01, x.windowsShort, "m/s")}
	if fell > 0.02 {
		f.Evidence = append(f.Evidence, ev("kept up at first with", was, nan, nan, nan, "m/s"))
	}
	f.Evidence = append(f.Evidence,
		ev("liquid over its target above that", m, nan, nan, x.windowsShort, "fraction"),
		ev("share of the planting that falls short", x.short/math.Max(1, x.all), nan, nan, nan, "fraction"),
		ev("odds for a limit", math.Exp(math.Min(x.odds, 690)), nan, nan, nan, ""))
	// Prior odds of the trade (agronomy F55), weighed by how it goes on: a screen
	// fills over acres and is right again once it was cleaned, a pump stays as it
	// is for the day. Judgement, no published odds.
	strainer, worn := 0.50, 0.42
	switch {
	case x.recovered:
		strainer, worn = 0.95, 0.03
	case x.fills > 0: // a fill is when screens are cleaned
		worn *= 12
	case fell >= 0.03:
		strainer *= 4
	case x.all >= 15*60 && math.Abs(fell) < 0.015:
		worn *= 4
	case x.fromStart:
		worn *= 2
	}
	f.Causes = normalise(evenstand.Cause{Cause: evenstand.CauseStrainer, Probability: strainer}, evenstand.Cause{Cause: evenstand.CausePumpWorn, Probability: worn},
		evenstand.Cause{Cause: evenstand.CauseLiquidAir, Probability: 0.04})
	if rows := e.starterRows(c.rows); len(rows) > 0 && x.area > 0 {
		// What lies between the windows, at the ends of passes and where the speed
		// changes, goes short as much.
		f.Harm = []evenstand.Harm{e.shortOf(rows, 1-x.lacks/x.area, 0.005, x.to-x.from)}
	}
}

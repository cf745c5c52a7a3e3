package find

import (
	"math"

	"evenstand"
	"evenstand/core/stat"
)

// On a curve the outer rows go further than the inner ones. A planter whose
// rows all drop at the speed of the middle plants target/(1 - y κ) there
// (R20): too thick inside, too thin outside, and right on the straight. So the
// error of a row's rate, ln, is held against how much less ground it covers
// than the middle, ln (methods l): a slope of 0 is compensated, 1 is not
// compensated, 2 is compensated the wrong way round. A planter card whose rows
// run the other way than the box's gives 2 as well: the two cannot be told
// apart by the seeds. What is compensated by more than half is not looked for.
//
// Each row is held against its own level on the straight of late, so that a row
// or a side that plants less is no curve; curves of both hands must say so, or
// curves of one hand with straights between them that teach that level anew. Rows are clipped (Huber 1964, Ann.
// Math. Stat. 35:73-101): one row far off is trouble of its own.
const (
	turnPhi      = 4.0  // over-dispersion of stretches: judgement
	turnNoise    = 0.02 // SD of ln rate between rows on a stretch, to begin with
	turnQuiet    = 0.01 // least of it: 90 seeds of which one in a hundred is missed
	turnClip     = 2.5  // SDs
	turnAlarm    = 20.0 // nats
	turnHand     = 4.0  // nats that curves of either hand must give
	turnHeal     = 12.0
	turnBegun    = 1.5                   // nats up to which it may not have begun
	turnFar      = 0.1                   // of ln rate beside the line: left out of the slope
	turnShift    = 0.004                 // of ln way: rows that plant too thick or too thin
	turnStraight = 0.01                  // rad over a stretch: less is straight,
	turnBent     = 0.02                  // and more a curve, if the stretches beside it bend the same way
	turnTight    = 0.75                  // rad over a stretch: more is a turn of the machine
	turnLearn    = 8                     // straight stretches over which a row's own level is remembered
	turnLost     = 0.015                 // of ln rate: rows whose rhythm may get lost on the curve
	turnEdge     = 60 * evenstand.Second // to which trouble of a row that is lost there is told
)

// turnSlopes are what is tried.
var turnSlopes = [...]float64{1, 2}

// turnFit sums squares and products about the mean.
type turnFit struct{ a, b float64 }

// turnSums is what curves showed since an onset.
type turnSums struct {
	turnFit
	pass       turnFit // of the present pass, not yet in what follows
	aa, ab, bb float64 // Σ over passes of their squares and products
	passes     float64
	area       float64    // m2 planted
	part, over [2]float64 // m2 too thick and too thin, and with how much less way, ln
	tight      float64    // rad a metre, most
	far        []float64  // by row: most of ln way
}

// passed closes the present pass.
func (s *turnSums) passed() {
	if p := s.pass; p.a > 0 {
		s.passes++
		s.aa, s.ab, s.bb = s.aa+p.a*p.a, s.ab+p.a*p.b, s.bb+p.b*p.b
	}
	s.pass = turnFit{}
}

func (s turnSums) clone() turnSums {
	s.far = append([]float64(nil), s.far...)
	return s
}

// turnWatch follows the rate on curves.
type turnWatch struct {
	noise    float64   // variance of ln rate between rows on a stretch
	own      []float64 // by row: ln rate against the others on the straight
	straight int       // stretches that own has learnt from

	c    [len(turnSlopes)]float64
	hand [len(turnSlopes)][2]float64 // nats by the hand of the curve
	know [len(turnSlopes)]int        // straight when it began
	sums [len(turnSlopes)]turnSums
	from [len(turnSlopes)]evenstand.Micros
	last [len(turnSlopes)]evenstand.Micros // curve on which nothing was seen

	heal  float64
	healT evenstand.Micros
	kept  turnSums
	cse   *caseFile
}

type turnCase struct {
	turnSums
	at int // of turnSlopes
}

// turnStrip is one stretch as the watch sees it.
type turnStrip struct {
	n         []int // row, from 0
	x, y, way []float64
	res       []float64
}

// turnPass takes the stretches of a pass that is over at t.
func (e *Engine) turnPass(xs []Strip, t evenstand.Micros) {
	w := &e.turn
	if w.noise == 0 {
		w.noise = turnNoise * turnNoise
	}
	var s turnStrip
	first, last := evenstand.NoTime, evenstand.NoTime // curves of this pass
	for i := range xs {
		x := &xs[i]
		curve := bent(xs, i)
		if curve {
			if first == evenstand.NoTime {
				first = x.T
			}
			last = x.T
		}
		if x.End || math.Abs(x.Turn) > turnTight || !s.take(x, w) {
			continue
		}
		if math.Abs(x.Turn) < turnStraight {
			w.learn(&s)
		}
		e.turnStrip(x, &s, curve, t)
	}
	for i := range w.sums {
		w.sums[i].passed()
	}
	if c := w.cse; c != nil {
		c.turn.passed()
		w.kept.passed()
		if first != evenstand.NoTime {
			e.dropLost(c, max(c.onset, first), last)
		}
		if !c.open() {
			w.cse = nil
		}
	}
}

// bent tells whether a stretch is on a curve. A heading that is wrong turns the
// rows' ways about the middle, and their rates with them, just as a curve does
// that is not compensated: but what bends one way by an error bends back at
// once, so the stretches beside it must bend the same way.
func bent(xs []Strip, i int) bool {
	if i == 0 || i == len(xs)-1 || math.Abs(xs[i].Turn) < turnBent {
		return false
	}
	for _, j := range [...]int{i - 1, i + 1} {
		if !(xs[j].Turn*xs[i].Turn > 0) || math.Abs(xs[j].Turn) < math.Abs(xs[i].Turn)/2 {
			return false
		}
	}
	return true
}

// take reads the rows of a stretch; false when too few of them tell.
func (s *turnStrip) take(x *Strip, w *turnWatch) bool {
	s.n, s.x, s.y, s.way = s.n[:0], s.x[:0], s.y[:0], s.way[:0]
	for n, r := range x.Rows {
		if r.Off == 0 && r.Way > 1 && r.Seeds > 0 && r.Target > 0 {
			own := 0.0
			if n < len(w.own) {
				own = w.own[n]
			}
			s.n = append(s.n, n)
			s.x = append(s.x, -math.Log(r.Way/x.Length))
			s.y = append(s.y, math.Log(r.Seeds*r.Target/r.Way)-own)
			s.way = append(s.way, r.Way)
		}
	}
	return len(s.y) >= bouncePeers && 2*len(s.y) >= len(x.Rows)
}

// beside puts into res how far each row is from the line of a slope through
// the middle row of them.
func (s *turnStrip) beside(slope float64) {
	s.res = s.res[:0]
	for i := range s.y {
		s.res = append(s.res, s.y[i]-slope*s.x[i])
	}
	mid := stat.Median(s.res)
	for i := range s.res {
		s.res[i] -= mid
	}
}

// learn takes a straight stretch.
func (w *turnWatch) learn(s *turnStrip) {
	for len(w.own) < s.n[len(s.n)-1]+1 {
		w.own = append(w.own, 0)
	}
	s.beside(0)
	w.straight++
	g := 1 / math.Min(turnLearn, float64(w.straight+1))
	for i, n := range s.n {
		w.own[n] += g * math.Max(-turnFar, math.Min(turnFar, s.res[i]))
	}
}

// scatter learns how rows differ beside the slope that fits a stretch best.
func (w *turnWatch) scatter(s *turnStrip, slope float64) {
	s.beside(slope)
	for i := range s.res {
		s.res[i] = math.Abs(s.res[i])
	}
	sd := 1.4826 * stat.Median(s.res)
	w.noise = math.Max(turnQuiet*turnQuiet, w.noise+(sd*sd-w.noise)/500)
}

// loss is what the rows of a stretch lie beside a slope, clipped, in nats.
func (w *turnWatch) loss(s *turnStrip, slope float64) float64 {
	s.beside(slope)
	sd, sum := math.Sqrt(w.noise), 0.0
	for _, r := range s.res {
		if z := math.Abs(r) / sd; z > turnClip {
			sum += turnClip*z - turnClip*turnClip/2
		} else {
			sum += z * z / 2
		}
	}
	return sum / turnPhi
}

// add takes a stretch into the sums, by the slope that is tried.
func (w *turnSums) add(e *Engine, x *Strip, s *turnStrip, curve bool, slope float64) {
	s.beside(slope)
	mx, my, n := 0.0, 0.0, 0.0
	for i := range s.y {
		w.area += s.way[i] * e.cfg.Spacing
		if math.Abs(s.res[i]) < turnFar {
			mx, my, n = mx+s.x[i], my+s.y[i], n+1
		}
	}
	if !curve || n < bouncePeers {
		return
	}
	mx, my = mx/n, my/n
	for len(w.far) < len(x.Rows) {
		w.far = append(w.far, 0)
	}
	for i := range s.y {
		d := s.x[i] - mx
		w.far[s.n[i]] = math.Max(w.far[s.n[i]], math.Abs(d))
		if math.Abs(s.res[i]) >= turnFar {
			continue
		}
		a, b := d*d, d*(s.y[i]-my)
		w.a, w.b = w.a+a, w.b+b
		w.pass.a, w.pass.b = w.pass.a+a, w.pass.b+b
		if math.Abs(d) > turnShift {
			k := 0
			if d < 0 {
				k = 1
			}
			area := s.way[i] * e.cfg.Spacing
			w.part[k] += area
			w.over[k] += area * d
		}
	}
	w.tight = math.Max(w.tight, math.Abs(x.Turn)/x.Length)
}

// turnStrip weighs one stretch.
func (e *Engine) turnStrip(x *Strip, s *turnStrip, curve bool, t evenstand.Micros) {
	w := &e.turn
	even, fits := 0.0, 0.0
	if curve {
		even = w.loss(s, 0)
		least := even
		for _, slope := range turnSlopes {
			if l := w.loss(s, slope); l < least {
				least, fits = l, slope
			}
		}
	}
	defer w.scatter(s, fits)
	nats := func(slope float64) float64 { // for the slope, against none
		if !curve {
			return 0
		}
		return even - w.loss(s, slope)
	}
	if c := w.cse; c != nil {
		if !c.open() {
			return // over in this pass: what follows is looked at with the next
		}
		slope := turnSlopes[c.turn.at]
		if w.heal == 0 {
			w.healT, w.kept = x.T, c.turn.clone()
		}
		w.heal = math.Max(0, w.heal-nats(slope))
		c.turn.add(e, x, s, curve, slope)
		if w.heal >= turnHeal {
			c.turn.turnSums = w.kept
			c.over(max(c.onset, w.healT))
			w.heal = 0
			clear(w.c[:])
		}
		return
	}
	best := 0
	for i, slope := range turnSlopes {
		d := nats(slope)
		if w.c[i] <= turnBegun {
			w.sums[i], w.hand[i], w.from[i], w.know[i] = turnSums{}, [2]float64{}, x.T, w.straight
		}
		w.c[i] = math.Max(0, w.c[i]+d)
		k := 0
		if x.Turn < 0 {
			k = 1
		}
		w.hand[i][k] += d
		w.sums[i].add(e, x, s, curve, slope)
		if curve && w.c[i] == 0 {
			w.last[i] = x.T
		}
		if w.c[i] > w.c[best] {
			best = i
		}
	}
	if w.c[best] < turnAlarm || w.straight-w.know[best] < turnLearn && math.Min(w.hand[best][0], w.hand[best][1]) < turnHand {
		return
	}
	var rows []int
	grade := evenstand.GradeA
	for _, r := range e.rows {
		rows = append(rows, r.n)
		grade = max(grade, r.grade)
	}
	// Between two curves nothing tells when it began.
	on, low := w.from[best], w.from[best]
	if w.last[best] > 0 {
		low = w.last[best]
	}
	w.heal = 0
	w.cse = e.add(&caseFile{
		kind: evenstand.KindTurnRate, rows: rows, onset: on, onsetLow: low, onsetHigh: on + turnEdge/2, alarm: t, grade: grade,
		fromStart: w.last[best] == 0, turn: &turnCase{turnSums: w.sums[best], at: best},
	})
	e.raise(w.cse)
	e.dropLost(w.cse, on, x.T)
}

// dropLost drops what was said of the tubes and sensors of outer rows on curves
// while these ran at another rate than their ground asked for: their rhythm is
// lost there, and that is all it was. What began on the straight stays.
func (e *Engine) dropLost(c *caseFile, from, to evenstand.Micros) {
	slope := turnSlopes[c.turn.at]
	for _, o := range e.cases {
		if o.dropped || o.onset < from-turnEdge || o.onset > to+turnEdge || o.kind != evenstand.KindSensorDoubt && o.kind != evenstand.KindRowBounce {
			continue
		}
		n := o.rows[0]
		if n > len(c.turn.far) || slope*c.turn.far[n-1] < turnLost {
			continue
		}
		o.dropped = true
		e.release(o)
		if b := &e.row(n).bounce; b.cse == o {
			b.cse, b.c = nil, 0
		}
	}
}

func (e *Engine) reportTurn(c *caseFile, f *evenstand.Finding) {
	s := c.turn
	s.passed()
	b := s.b / s.a
	// By passes, and no better than the stretches' own noise.
	v := e.turn.noise * turnPhi / s.a
	if s.passes > 1 {
		v = math.Max(v, (s.bb-2*b*s.ab+b*b*s.aa)/(s.a*s.a)*s.passes/(s.passes-1))
	}
	half := 1.645 * math.Sqrt(v)
	f.Evidence = []evenstand.Evidence{
		ev("share of the curve's error that is left", b, b-half, b+half, s.passes, ""),
		ev("radius of the tightest curve", 1/s.tight, nan, nan, nan, "m"),
	}
	names := [2]string{"too thick inside", "too thin outside"}
	for k, a := range s.part {
		if a <= 0 {
			continue
		}
		at := func(b float64) float64 { return math.Exp(b * s.over[k] / a) }
		lo, hi := at(b-half), at(b+half)
		f.Evidence = append(f.Evidence, ev(names[k], at(b), math.Min(lo, hi), math.Max(lo, hi), nan, ""))
		f.Harm = append(f.Harm, evenstand.Harm{
			Kind: evenstand.RateError, Amount: amount(a, 0.03*a), Area: num(s.area), Target: num(e.target(c.rows)),
			Ratio: num(at(b)), Share: num(a / s.area), Crop: e.cropOf(c.rows),
		})
	}
	// Judgement, no published odds. A slope of 2 is the row order of the box or
	// of the card; a box that turns the wrong way is the rarer to last.
	off, box, card := 0.93, 0.03, 0.02
	if s.at > 0 {
		off, box, card = 0.04, 0.55, 0.38
	}
	f.Causes = normalise(evenstand.Cause{Cause: evenstand.CauseTurnOff, Probability: off}, evenstand.Cause{Cause: evenstand.CauseRowOrder, Probability: box}, evenstand.Cause{Cause: evenstand.CauseCard, Probability: card})
}

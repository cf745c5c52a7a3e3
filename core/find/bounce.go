package find

import (
	"math"

	"evenstand"
	"evenstand/core/stat"
)

// A row can meter right and still space its seeds badly: a worn tube, worn arms
// or a disc that lets go late scatter them about their places (methods a and
// the table "Detectable": 1.6 times the scatter for 5,000 places). Each row's
// scatter is held against the median of its peers at the same time, since speed
// and ground scatter the seeds of all rows alike.
const (
	offBatch    = 100  // offsets a batch
	offClip     = 0.5  // places; what lies further belongs to another place
	offMost     = 1e4  // batches that are summed at most
	bouncePeers = 4    // other rows with a scatter of their own, at least
	bounceSD    = 0.10 // of ln scatter of a healthy batch: 0.07 by 100 offsets, the rest judged
	bounceStep  = 2.5  // most that a batch counts for, so that a rough patch is no worn part
	bounceSeen  = 12.0
	bounceRaise = 28.0 // a dozen batches and more
	bounceHeal  = 20.0
)

// healthyRows is how much further than their peers' the seeds of a healthy row
// may scatter for ever: judgement, after the 10 to 20 % by which healthy rows
// differ in what they skip (methods, lesson 2).
var healthyRows = math.Log(1.25)

// offsets sums how far seeds lay from their places.
type offsets struct {
	n, s1, s2, s3 float64
	t0, t1        evenstand.Micros
}

// spread gives the variance about the mean and the third moment.
func (o *offsets) spread() (v, m3 float64) {
	m := o.s1 / o.n
	v = o.s2/o.n - m*m
	return v, o.s3/o.n - 3*m*o.s2/o.n + 2*m*m*m
}

// bounceWatch follows the scatter of one row.
type bounceWatch struct {
	held    float64 // offset of the last seed, until it is known to be alone in its place
	holds   bool
	heldAt  evenstand.Micros
	batch   offsets
	pending []offsets // finished, not yet judged
	late    [5]float64
	lateT   evenstand.Micros
	k       int
	c       float64 // evidence for more scatter than healthy rows have
	sum     spreadSum
	heal    float64
	healT   evenstand.Micros
	before  spreadSum // the case's sums when it began to heal
	cse     *caseFile
	prev    *caseFile
}

// spreadSum is what the batches since an onset show.
type spreadSum struct {
	n, own, peers, m3 float64 // batches, sums of variances and of third moments
	places            int64   // the row's place counter when it began
	at                evenstand.Micros
}

// spreadCase is the evidence of a case of row-bounce.
type spreadCase struct {
	spreadSum
	end  int64            // the row's place counter when it was last seen
	idle int64            // places between, over which it had ended for a while
	last *evenstand.Chart // as it was when it began to heal
}

// seed takes the offset of a seed that a rhythm was read for.
func (w *bounceWatch) seed(p *Place) {
	if p.First || p.Double || p.Sigma <= 0 {
		w.holds = false // two pulses in one place: which of them is the seed nobody knows
		return
	}
	if w.holds {
		w.add(w.held, w.heldAt)
	}
	// Behind a hole the drive's own errors add up.
	w.holds = p.Missing == 0
	w.held, w.heldAt = float64(p.Off), p.T
}

func (w *bounceWatch) add(e float64, t evenstand.Micros) {
	b := &w.batch
	if b.n == 0 {
		b.t0 = t
	}
	e = max(-offClip, min(offClip, e))
	b.n++
	b.s1 += e
	b.s2 += e * e
	b.s3 += e * e * e
	b.t1 = t
	if b.n >= offBatch {
		w.pending = append(w.pending, *b)
		*b = offsets{}
	}
}

// recent is the row's variance over its last batches; NaN before there are any
// or when they are old.
func (w *bounceWatch) recent(now evenstand.Micros) float64 {
	n := min(w.k, len(w.late))
	if n < 2 || now-w.lateT > 60*evenstand.Second {
		return math.NaN()
	}
	sum := 0.0
	for _, v := range w.late[:n] {
		sum += v
	}
	return sum / float64(n)
}

// tickBounce judges the batches that were finished since the last tick.
func (e *Engine) tickBounce(t evenstand.Micros) {
	for _, r := range e.rows {
		w := &r.bounce
		if r.sensor.trial != nil || e.dusty(r) { // pulses that are no seeds scatter most
			w.pending = w.pending[:0]
		}
		for i := range w.pending {
			v, _ := w.pending[i].spread()
			w.late[w.k%len(w.late)] = v
			w.k++
			w.lateT = w.pending[i].t1
		}
	}
	vs := e.few
	defer func() { e.few = vs[:0] }()
	for _, r := range e.rows {
		w := &r.bounce
		if len(w.pending) == 0 {
			continue
		}
		vs = vs[:0]
		for _, o := range e.rows {
			if v := o.bounce.recent(t); o != r && !math.IsNaN(v) {
				vs = append(vs, v)
			}
		}
		if len(vs) >= bouncePeers {
			peer := stat.Median(vs)
			for _, b := range w.pending {
				w.judge(e, r, b, peer, t)
			}
		}
		w.pending = w.pending[:0]
	}
}

// judge weighs one batch of a row against its peers.
func (w *bounceWatch) judge(e *Engine, r *row, b offsets, peer float64, t evenstand.Micros) {
	v, m3 := b.spread()
	v = math.Max(1e-6, v-r.drive.ripples) // waves of the drive are a finding of their own
	d := 0.5 * math.Log(math.Max(v, 1e-6)/math.Max(peer, 1e-6))
	step := func(x float64) float64 { return math.Max(-bounceStep, math.Min(bounceStep, x/bounceSD)) }
	sum := func(s *spreadSum) {
		if s.n < offMost {
			s.n++
			s.own += v
			s.peers += peer
			s.m3 += m3
		}
	}
	if c := w.cse; c != nil && c.raised {
		half := 0.5 * c.spread.lnTimes()
		if w.heal == 0 {
			w.healT, w.before = b.t0, c.spread.spreadSum
			c.spread.end = r.places
		}
		was := w.heal
		w.heal = math.Max(0, was+step(half-d))
		if was == 0 && w.heal > 0 {
			c.spread.last = e.bounceChart(c)
		}
		sum(&c.spread.spreadSum)
		if w.heal == 0 {
			c.spread.end = r.places
		}
		if w.heal >= bounceHeal {
			c.spread.spreadSum = w.before
			c.over(w.healT)
			w.prev, w.cse, w.c, w.heal = c, nil, 0, 0
		}
		return
	}
	if w.c == 0 {
		w.sum = spreadSum{places: r.places - offBatch, at: b.t0}
	}
	w.c = math.Max(0, w.c+step(d-healthyRows))
	if w.c == 0 {
		if w.cse != nil { // was suspected only, and passed
			w.cse.dropped, e.littered = true, true
			w.cse = nil
		}
		return
	}
	sum(&w.sum)
	switch {
	case w.c >= bounceRaise:
		e.bounceFound(r, t, true)
	case w.c >= bounceSeen && w.cse == nil:
		e.bounceFound(r, t, false)
	}
}

// unpaired takes out of a row's batch what bounce alone reads into it: a seed
// that is thrown into its neighbour's place leaves a place without a seed and
// one with two, so skips and doubles come in pairs. Skips that the disc made
// stand alone and stay.
func (e *Engine) unpaired(r *row, b batch) batch {
	if r.bounce.c < bounceSeen && (r.bounce.cse == nil || !r.bounce.cse.raised) {
		return b
	}
	usual := e.level(kindDoubles, r, b)
	if math.IsNaN(usual) {
		return b
	}
	pairs := math.Min(b.y[kindSkips], b.y[kindDoubles]) - usual*b.n
	if pairs > 0 {
		b.y[kindSkips] -= pairs
		b.y[kindDoubles] -= pairs
	}
	return b
}

// lnTimes is the ln of the row's scatter over its peers'.
func (s *spreadSum) lnTimes() float64 { return 0.5 * math.Log(s.own/s.peers) }

// bounceFound opens a case, or takes up one that had ended a while ago.
func (e *Engine) bounceFound(r *row, t evenstand.Micros, raise bool) {
	w := &r.bounce
	on := e.afterHalt(w.sum.at, rateDoubt)
	if p := w.prev; raise && p != nil && !p.dropped && on-p.until < rateReopen {
		if c := w.cse; c != nil && c != p { // suspected so far
			c.dropped, e.littered = true, true
		}
		p.until, w.cse, w.heal = evenstand.NoTime, p, 0
		p.spread.idle += max(0, w.sum.places-p.spread.end)
		s := &p.spread.spreadSum
		s.n, s.own, s.peers, s.m3 = s.n+w.sum.n, s.own+w.sum.own, s.peers+w.sum.peers, s.m3+w.sum.m3
		p.spread.end = r.places
		return
	}
	w.heal = 0
	if c := w.cse; c != nil { // suspected so far
		if raise {
			c.spread.spreadSum, c.spread.end = w.sum, r.places
			c.onset, c.onsetLow, c.onsetHigh = on, on-2*rateDoubt, on+2*rateDoubt
			e.raise(c)
		}
		return
	}
	c := e.add(&caseFile{
		kind: evenstand.KindRowBounce, rows: []int{r.n}, onset: on, onsetLow: on - 2*rateDoubt, onsetHigh: on + 2*rateDoubt,
		alarm: t, grade: evenstand.GradeA, spread: &spreadCase{spreadSum: w.sum, end: r.places},
	})
	w.cse = c
	if raise {
		e.raise(c)
	}
}

func (e *Engine) reportBounce(c *caseFile, f *evenstand.Finding) {
	s := c.spread
	own, peers := math.Sqrt(s.own/s.n), math.Sqrt(s.peers/s.n)
	n := s.n * offBatch
	// The SD of n offsets is known to 1/√(2n), and no better than bounceSD a
	// batch allows.
	rel := 1.645 * bounceSD / math.Sqrt(s.n)
	places := float64(s.end - s.places - s.idle)
	skew := s.m3 / s.n / math.Pow(own, 3)
	f.Evidence = []evenstand.Evidence{
		ev("scatter about its places", own, own*(1-rel), own*(1+rel), n, "places"),
		ev("scatter of its peers", peers, peers*(1-rel), peers*(1+rel), n, "places"),
		ev("times its peers", own/peers, own/peers*(1-rel), own/peers*(1+rel), nan, ""),
		ev("lean towards late seeds", skew, skew-1.645*math.Sqrt(15/n), skew+1.645*math.Sqrt(15/n), n, ""),
	}
	// Prior odds of the trade (agronomy: F25, F37, F16, F27; judgement). A disc
	// that lets go late only ever delays a seed: the third moment tells. The
	// limits lie between what simulated rows showed: 0.05 at most for a tube, 0.6
	// and more for a late release.
	tube, arms, late, sensor := 0.62, 0.22, 0.12, 0.04
	switch {
	case skew > 0.4:
		late *= 100
	case skew > 0.2:
		late *= 5
	default:
		late *= 0.1
	}
	f.Causes = normalise(
		evenstand.Cause{Cause: evenstand.CauseTubeWorn, Probability: tube}, evenstand.Cause{Cause: evenstand.CauseArms, Probability: arms},
		evenstand.Cause{Cause: evenstand.CauseRelease, Probability: late}, evenstand.Cause{Cause: evenstand.CauseSensor, Probability: sensor},
	)
	f.Harm = []evenstand.Harm{e.uneven(c.rows, places, 2*(own*own-peers*peers))}
	f.Chart = e.chart(c)
}

// usualSD is the SD of plant spacing in m of a planter that spaces well: 2 in.,
// at which R4's older line begins and R10's trial at 4 mph stood (1.97 in.).
const usualSD = 2 * 0.0254

// uneven is the harm of seeds whose gaps vary by so many squared places more
// than healthy ones do, over places of each row.
func (e *Engine) uneven(rows []int, places, more float64) evenstand.Harm {
	target := e.target(rows)
	x := 1 / (target * e.cfg.Spacing)
	area := places / target
	return evenstand.Harm{
		Kind: evenstand.Uneven, Amount: amount(area, 0.02*area), Area: num(area), Target: num(target),
		Ratio: evenstand.Unknown, Share: 1, Crop: e.cropOf(rows),
		SD: num(math.Sqrt(usualSD*usualSD + math.Max(0, more)*x*x)), Usual: usualSD,
	}
}

// bounceChart draws each row's scatter of late.
func (e *Engine) bounceChart(c *caseFile) *evenstand.Chart {
	if ch := c.spread.last; !c.open() && ch != nil {
		ch.Title = "scatter of the seeds about their places by row, when it was last there"
		return ch
	}
	ch := &evenstand.Chart{Title: "scatter of the seeds about their places by row, last minute", X: "row", Y: "SD of the offset", Unit: "places"}
	var peers []float64
	for _, r := range e.rows {
		v := r.bounce.recent(r.bounce.lateT)
		sd := math.Sqrt(v)
		rel := 1.645 * bounceSD / math.Sqrt(float64(len(r.bounce.late)))
		ch.At = append(ch.At, num(float64(r.n)))
		ch.Value = append(ch.Value, num(sd))
		ch.Low = append(ch.Low, num(sd*(1-rel)))
		ch.High = append(ch.High, num(sd*(1+rel)))
		if c.hasRow(r.n) {
			ch.Mark = append(ch.Mark, r.n-1)
		} else if !math.IsNaN(sd) {
			peers = append(peers, sd)
		}
	}
	if len(peers) >= 3 {
		ch.Band = &evenstand.Range{Low: num(stat.Quantile(peers, 0.1)), Mid: num(stat.Median(peers)), High: num(stat.Quantile(peers, 0.9))}
	}
	return ch
}

package find

import (
	"math"

	"evenstand"
	"evenstand/core/stat"
)

// Rates of skips and doubles are watched in batches of about a hundred places,
// each row against its peers times its own lasting ratio to them: rates wander
// with soil and speed, and a baseline of the row's own past raised hundreds of
// false alarms a day on a healthy simulated machine.
const (
	batchA      = 100.0 // places a batch at grade A
	batchB      = 400.0 // at grade B: smoothed seconds must not count as independent
	phi         = 1.8   // over-dispersion of batches
	rateFloor   = 0.002
	rowMemory   = 900 // batches over which a row's ratio to its peers is remembered
	rowWarm     = 60  // batches before a row is tested
	rowLearn    = 300 // batches in which the ratio is learnt whatever the detector says
	judgeDelayA = 6 * evenstand.Second
	judgeDelayB = 25 * evenstand.Second
	healAlarm   = 12.0                       // quasi-nats for being healthy again, against half-way
	rateEarly   = 8.0                        // more quasi-nats asked while a row's own ratio is young
	refineAfter = 240                        // batches after the alarm at which the onset is looked at for the last time,
	refineTwice = 180                        // and for the first time, when so many are still to come
	rateDoubt   = 45 * evenstand.Second      // to which the beginning of a shift is known at best
	rateSure    = 1.8                        // times the expected at which a shift is raised at once
	rateConfirm = 1.3                        // times the expected that the batches after the alarm must show otherwise
	rateReopen  = 20 * 60 * evenstand.Second // a rate that comes back is the same finding
	rockOdds    = 3.0                        // ln 20: odds at which rock or part is decided
	rockLeast   = 400                        // places before any verdict
	rockMost    = 6400
)

// rateAlarm is the e-detector's threshold in quasi-nats, ratePhi the
// over-dispersion it divides by at rateUsual: doubles are half as many, so the
// wandering of their rate shows half as much in a batch.
var (
	rateAlarm = [numKinds]float64{kindSkips: 20, kindDoubles: 16}
	ratePhi   = [numKinds]float64{kindSkips: phi, kindDoubles: 1.4}
	rateUsual = [numKinds]float64{kindSkips: 0.012, kindDoubles: 0.006}
)

// calm is what a batch counts where all rows are worse than usual together. A
// row wanders against its peers in proportion to their rate, so the variance of
// a batch of mean m grows as m + (τm)², and its over-dispersion with m: ratePhi
// holds at rateUsual.
func calm(kind int, p float64) float64 {
	phi := ratePhi[kind]
	return phi / (1 + (phi-1)*math.Max(1, p/rateUsual[kind]))
}

// batchCount is a batch being filled.
type batchCount struct {
	n, seeds, skips, doubles float64
	t0                       evenstand.Micros
}

// batch is a finished one.
type batch struct {
	t0, t1  evenstand.Micros
	n       float64
	y       [numKinds]float64
	end     int64 // the row's place counter at its end
	grade   evenstand.Grade
	excused bool // all rows had trouble together
}

// peers keeps the last batches of every row, to say what the peers do.
type peers struct {
	rows  []peerRow
	skew  float64 // mean over trimmed mean of the peers' rates, slow
	looks int
}

type peerRow struct {
	y, n [peerKeep]float64
	t1   [peerKeep]evenstand.Micros
	k    int
}

const (
	peerKeep = 12
	peerUse  = 5
)

func (p *peers) post(row int, b batch, kind int) {
	for len(p.rows) < row {
		p.rows = append(p.rows, peerRow{})
	}
	r := &p.rows[row-1]
	i := r.k % peerKeep
	r.y[i], r.n[i], r.t1[i] = b.y[kind], b.n, b.t1
	r.k++
}

// sum gives the misses and places of a row's late batches that ended in
// (from, to]; at most use of them.
func (r *peerRow) sum(from, to evenstand.Micros, use int) (y, n float64) {
	for j := 1; j <= min(r.k, peerKeep) && use > 0; j++ {
		i := (r.k - j) % peerKeep
		if r.t1[i] > to {
			continue
		}
		if r.t1[i] <= from {
			break
		}
		y += r.y[i]
		n += r.n[i]
		use--
	}
	return y, n
}

// rateWatchRow watches one kind of rate on one row.
type rateWatchRow struct {
	det    *stat.EDetector
	rel    float64 // the row's lasting ratio to its peers
	n      int     // batches that rel has learnt from
	ring   [rateRing]rateBatch
	count  int
	doubt  int64 // place counter from which rock or part is being weighed; -1 not
	alarm  evenstand.Micros
	cse    *caseFile
	refine int // batches until the onset is looked at again
	heal   float64
	spoilt evenstand.Micros // when something else last moved the rate
	healT  evenstand.Micros
	memory [12]relAt // of rel, one every five minutes
	kept   int
}

type relAt struct {
	t   evenstand.Micros
	rel float64
}

// keep remembers the row's ratio from time to time.
func (w *rateWatchRow) keep(t evenstand.Micros) {
	if w.kept > 0 && t-w.memory[(w.kept-1)%len(w.memory)].t < 300*evenstand.Second {
		return
	}
	w.memory[w.kept%len(w.memory)] = relAt{t, w.rel}
	w.kept++
}

const rateRing = 480

type rateBatch struct {
	t0, t1  evenstand.Micros
	y, n    float64
	p, rel  float64 // expected share from the peers and the row's ratio; that ratio
	end     int64
	counted bool // in the row's sums for the group test
}

func (w *rateWatchRow) init(kind int) {
	w.det = stat.NewEDetector(stat.Upward, ratePhi[kind])
	w.rel, w.doubt = 1, -1
}

func (w *rateWatchRow) reset() {
	w.det.Reset()
	w.doubt = -1
}

func (e *Engine) closeBatch(r *row, t evenstand.Micros) {
	c := &r.batch
	b := batch{t0: c.t0, t1: t, n: c.n, end: r.places, grade: r.grade}
	if b.t0 == 0 {
		b.t0 = t
	}
	b.y = [numKinds]float64{kindSkips: c.skips, kindDoubles: c.doubles}
	*c = batchCount{t0: t}
	for k := range e.peers {
		e.peers[k].post(r.n, b, k)
	}
	r.pending = append(r.pending, b)
}

// judgeBatches judges the batches that are old enough for the peers' to be in.
func (e *Engine) judgeBatches(t evenstand.Micros) {
	for _, r := range e.rows {
		for len(r.pending) > 0 {
			delay := judgeDelayA
			if r.pending[0].grade != evenstand.GradeA {
				delay = judgeDelayB
			}
			if r.pending[0].t1+delay > t {
				break
			}
			e.judge(r, r.pending[0])
			r.pending = append(r.pending[:0], r.pending[1:]...)
		}
	}
}

func (e *Engine) judgeAll(evenstand.Micros) {
	for _, r := range e.rows {
		for _, b := range r.pending {
			e.judge(r, b)
		}
		r.pending = r.pending[:0]
	}
}

// level is what the healthy peers of a row do at a time: the trimmed mean of
// their rates over their own ratios, two rows dropped at each end.
func (e *Engine) level(kind int, r *row, b batch) float64 {
	ps := &e.peers[kind]
	own := e.ownSide(r, kind)
	vals := make([]float64, 0, 64)
	from, to := b.t1-600*evenstand.Second, b.t1+judgeDelayB
	for i := range ps.rows {
		o := e.rows[i]
		if o == r || (own != nil && !own.Has(o.n)) || o.rates[kind].busy() {
			continue
		}
		if y, n := ps.rows[i].sum(from, to, peerUse); n > 0 {
			vals = append(vals, y/(n*o.rates[kind].rel))
		}
	}
	if len(vals) < 3 {
		vals = vals[:0]
		for i := range ps.rows {
			o := e.rows[i]
			if o == r {
				continue
			}
			if y, n := ps.rows[i].sum(from, to, peerUse); n > 0 {
				vals = append(vals, y/(n*o.rates[kind].rel))
			}
		}
	}
	if len(vals) == 0 {
		return math.NaN()
	}
	drop := 2
	if len(vals) < 8 {
		drop = (len(vals) - 1) / 4
	}
	// Few counts are skewed: their trimmed mean lies below their mean, and rows
	// that learn their ratio against it would creep up while others stand still.
	mid, mean := stat.TrimmedMean(vals, drop), stat.TrimmedMean(vals, 0)
	if mid > 0 {
		q := math.Min(1.3, mean/mid)
		ps.skew += (q - ps.skew) / math.Min(2000, float64(ps.looks+1))
		ps.looks++
		if ps.looks > 200 {
			mid *= math.Min(1.15, math.Max(1, ps.skew))
		}
	}
	return math.Max(rateFloor, mid)
}

// ownSide gives the row's own side when the sides must not be compared.
func (e *Engine) ownSide(r *row, kind int) evenstand.Rows {
	for _, s := range e.sides {
		if s.rows.Has(r.n) && len(s.rows) >= 4 {
			for _, o := range e.sides {
				if o.apart(kind) {
					return s.rows
				}
			}
		}
	}
	return nil
}

// atOnce is what the peers did in the very time of the batch, for trouble that
// hits all rows together.
func (e *Engine) atOnce(kind int, r *row, b batch) float64 {
	vals := make([]float64, 0, 64)
	for i := range e.peers[kind].rows {
		if e.rows[i] == r {
			continue
		}
		pr := &e.peers[kind].rows[i]
		if y, n := pr.sum(b.t0, b.t1+6*evenstand.Second, 2); n > 0 {
			vals = append(vals, y/n)
		}
	}
	if len(vals) < 3 {
		return 0
	}
	return stat.TrimmedMean(vals, (len(vals)-1)/4)
}

func (w *rateWatchRow) busy() bool { return w.doubt >= 0 || (w.cse != nil && w.cse.open()) }

func (e *Engine) judge(r *row, b batch) {
	if r.blurred() {
		for k := range r.rates {
			r.rates[k].spoilt = b.t1
		}
	}
	if r.sigma > 0 {
		if r.usual == 0 {
			r.usual = float64(r.sigma)
		}
		if s := float64(r.sigma); s < 1.15*r.usual {
			r.usual += (s - r.usual) / rowMemory
		} else {
			r.usual += (s - r.usual) / (10 * rowMemory)
		}
	}
	b = e.unpaired(r, b)
	for kind := range numKinds {
		e.judgeKind(r, kind, b)
	}
	e.sensorBatch(r, b)
	e.hour.add(e, r, b)
	e.sideBatch(r, b)
}

func (e *Engine) judgeKind(r *row, kind int, b batch) {
	w := &r.rates[kind]
	level := e.level(kind, r, b)
	if math.IsNaN(level) {
		return
	}
	p := math.Min(0.5, math.Max(rateFloor/2, level*w.rel))
	y := b.y[kind]
	if y > 3*p*b.n+4 {
		if all := e.atOnce(kind, r, b); all > 3*level {
			p = math.Min(0.9, math.Max(p, all*w.rel))
			b.excused = true
		}
	}
	if e.common.covers(b.t0, b.t1) {
		b.excused = true
	}
	if e.anyDuring(r.n, b.t0, b.t1, evenstand.KindSensorDoubt) { // what was logged is not what happened
		b.excused = true
		w.spoilt = b.t1
		w.reset()
	}
	w.ring[w.count%rateRing] = rateBatch{t0: b.t0, t1: b.t1, y: y, n: b.n, p: p, rel: w.rel, end: b.end}
	w.count++

	for _, c := range e.cases { // running sums of what is open on this row
		if c.open() && c.sumKind() == kind && c.hasRow(r.n) {
			if c.side != nil {
				c.count(b.n, y, e.otherLevel(c.side, r, b.t1, p)*b.n)
			} else if c.alarm != e.now {
				c.count(b.n, y, p*b.n)
			}
		}
	}
	if b.excused {
		return
	}
	if w.cse != nil && w.cse.open() {
		if w.refine > 0 {
			if w.refine--; w.refine == 0 || w.refine == refineTwice/perBatch(b) {
				e.refineOnset(r, kind, w.cse)
			}
			if w.cse == nil { // looked at again, it was another's
				return
			}
		}
		w.healing(e, r, b, y, p, kind)
		return
	}
	s := math.Inf(-1)
	if kind == kindSkips && e.anyOpen(r.n, evenstand.KindStarvedRow, evenstand.KindRowStopped, evenstand.KindRowLeftOff) != nil {
		w.reset()
		return
	}
	if w.n >= rowWarm/perBatch(b) {
		c := calm(kind, p)
		s = w.det.Add(c*y, c*b.n, p)
	}
	if w.doubt >= 0 {
		e.rockOrPart(r, kind, b)
		return
	}
	need := rateAlarm[kind] + rateEarly*math.Exp(-float64(w.n*perBatch(b))/300)
	if kind == kindSkips && e.anyOpen(r.n, evenstand.KindLowVacuum) != nil {
		need *= 2 // where a whole side skips, its rows differ more than healthy ones
	}
	if s >= need {
		w.doubt = w.onset().end - int64(w.onset().n)
		w.alarm = b.t1
		e.rockOrPart(r, kind, b)
		return
	}
	if !(s > rateAlarm[kind]/3) || w.n*perBatch(b) < rowLearn {
		g := 1 / math.Min(rowMemory/float64(perBatch(b)), 30+float64(w.n))
		w.rel += g * (y/(level*b.n) - w.rel)
		w.rel = math.Min(4, math.Max(0.25, w.rel))
		w.n++
		w.keep(b.t1)
	}
}

// perBatch is how many batches of grade A one batch stands for.
func perBatch(b batch) int {
	return max(1, int(b.n/batchA+0.5))
}

// onset is the batch with which the shift most probably began.
func (w *rateWatchRow) onset() rateBatch {
	m, _, _ := w.det.Onset()
	return w.back(m)
}

func (w *rateWatchRow) back(n int) rateBatch {
	n = min(max(n, 0), min(w.count, rateRing)-1)
	return w.ring[(w.count-1-n)%rateRing]
}

// doubtOf is how well the beginning of a shift is known at best: four batches.
func (w *rateWatchRow) doubtOf() evenstand.Micros {
	b := w.back(0)
	if d := 4 * (b.t1 - b.t0); d > rateDoubt {
		return min(d, 3*rateDoubt)
	}
	return rateDoubt
}

// began is when batch n back began. One that reaches over a halt is taken to
// have begun behind it.
func (w *rateWatchRow) began(n int) evenstand.Micros {
	b := w.back(n)
	if n > 0 {
		next := w.back(n - 1)
		if d := next.t1 - next.t0; b.t1-b.t0 > 3*d {
			return b.t1 - d
		}
	}
	return b.t0
}

func (e *Engine) events(r *row, kind int, from, to int64) float64 {
	if kind == kindDoubles {
		return float64(r.dblAt.since(from, to))
	}
	return float64(r.missAt.since(from, to))
}

// rockOrPart weighs one lasting rate against a burst that passed.
func (e *Engine) rockOrPart(r *row, kind int, b batch) {
	w := &r.rates[kind]
	n := float64(b.end - w.doubt)
	if n < rockLeast {
		return
	}
	base := math.Min(0.4, b.p(w))
	var odds float64
	if r.grade == evenstand.GradeA && r.missAt.n < 1<<40 {
		miss := e.events(r, kind, w.doubt, b.end)
		var bursts []stat.Burst
		for _, l := range stat.BurstLengths {
			bursts = append(bursts, stat.Burst{Length: l, Misses: e.events(r, kind, w.doubt, w.doubt+int64(l))})
		}
		odds = stat.RockOrPart(n, miss, base, bursts).LogOdds
	} else {
		// Counts by the second: bursts of one batch or more.
		var miss, at float64
		var bursts []stat.Burst
		for j := min(w.count, rateRing) - 1; j >= 0; j-- {
			rb := w.back(j)
			if rb.end <= w.doubt {
				continue
			}
			miss += rb.y
			at += rb.n
			if len(bursts) < 3 {
				bursts = append(bursts, stat.Burst{Length: at, Misses: miss})
			}
		}
		odds = stat.RockOrPart(at, miss, base, bursts).LogOdds
		n = at
		if len(bursts) < 3 && n < 4*batchB {
			return
		}
	}
	if math.Abs(odds) < rockOdds && n < rockMost {
		return
	}
	first, early, late := w.det.Onset()
	on, lo, hi := e.afterHalt(w.began(first), w.doubtOf()), w.began(early), w.back(late).t1
	doubt := w.doubt
	w.doubt = -1
	if odds <= 0 {
		miss := 0.0
		for j := min(w.count, rateRing) - 1; j >= 0; j-- {
			if rb := w.back(j); rb.end > doubt {
				miss += math.Max(0, rb.y-rb.p*rb.n)
			}
		}
		w.det.Reset()
		e.upset(r, kind, upset{row: r.n, from: on, to: b.t1, misses: miss, places: n, grade: b.grade, run: r.missAt.onEnd(doubt, b.end)})
		return
	}
	if kind == kindDoubles && e.dusty(r) {
		w.det.Reset()
		w.spoilt = b.t1
		return
	}
	if r.blurred() { // seeds scatter so much that the rhythm cannot be counted
		w.det.Reset()
		w.spoilt = b.t1
		return
	}
	id := evenstand.KindRowSkips
	if kind == kindDoubles {
		id = evenstand.KindRowDoubles
	}
	if old := e.lastRate(r, id); old != nil && on-old.until < rateReopen {
		old.until = evenstand.NoTime
		w.cse, w.heal = old, 0
		for j := min(w.count, rateRing) - 1; j >= 0; j-- {
			if rb := w.back(j); rb.t0 >= on {
				old.sum.add(rb.n, rb.y, rb.p*rb.n)
			}
		}
		old.weak, old.waiting = false, false
		if !old.raised && !old.held { // it came back: that is confirmation enough
			e.raiseRate(r, kind, old)
		}
		return
	}
	c := e.add(&caseFile{kind: id, rows: []int{r.n}, onset: on, onsetLow: lo, onsetHigh: hi, alarm: w.alarm, grade: r.grade})
	c.alarm = b.t1
	w.cse = c
	w.heal = 0
	w.refine = max(1, refineAfter/perBatch(b))
	e.startSum(r, kind, c)
	// A small shift may be the ground: it is raised when the batches after the
	// alarm say so too.
	if c.sum.got < rateSure*c.sum.expected {
		c.weak, c.waiting = true, true
		return
	}
	e.raiseRate(r, kind, c)
}

// lastRate is the row's last ended case of a kind.
func (e *Engine) lastRate(r *row, kind string) *caseFile {
	for i := len(e.cases) - 1; i >= 0; i-- {
		if c := e.cases[i]; c.kind == kind && !c.dropped && len(c.rows) == 1 && c.rows[0] == r.n {
			if c.until == evenstand.NoTime {
				return nil
			}
			return c
		}
	}
	return nil
}

func (b batch) p(w *rateWatchRow) float64 { return w.back(0).p }

// blurred tells whether the row's seeds scatter clearly more than they used to
// and so much that misses are read into them: the spacing is off, the metering
// may be right.
func (r *row) blurred() bool {
	return r.sigma > 0.165 && float64(r.sigma) > 1.2*r.usual && r.usual > 0
}

// refineOnset looks again for the batch with which a rate changed, now that
// the ratio is known better: the largest backward sum of its log likelihood.
func (e *Engine) refineOnset(r *row, kind int, c *caseFile) {
	w := &r.rates[kind]
	var got, exp float64 // since the alarm: they confirm the shift
	for j := range min(w.count, rateRing) {
		if b := w.back(j); b.t1 > c.alarm {
			got += b.y
			exp += b.p * b.n
		}
	}
	at := w.shifted(kind, c.onset)
	if at < 0 {
		return
	}
	on := e.afterHalt(w.began(at), w.doubtOf())
	if on > c.alarm {
		return
	}
	c.onset = on
	c.onsetLow, c.onsetHigh = min(c.onsetLow, on), max(c.onsetHigh, on)
	e.startSum(r, kind, c)
	c.weak = c.weak && got < rateConfirm*exp
	if !c.weak && c.waiting {
		c.waiting = false
		e.confirmRate(r, kind, c)
	}
}

// shifted gives how many batches ago the rate most probably changed, seen from
// a first guess of when: the largest backward sum of the log likelihood of the
// ratio since then. Negative when nothing speaks for a change.
func (w *rateWatchRow) shifted(kind int, on evenstand.Micros) int {
	at := -1
	for { // the ratio from the onset on, the onset from the ratio
		var y, x float64
		for j := range min(w.count, rateRing) {
			if b := w.back(j); b.t1 > on && !w.healed(b) {
				y += b.y
				x += b.p * b.n
			}
		}
		ratio := math.Max(1.2, (y+0.5)/(x+0.5))
		sum, best, was := 0.0, 0.0, at
		for j := range min(w.count, rateRing) {
			b := w.back(j)
			if w.healed(b) {
				continue
			}
			sum += (b.y*math.Log(ratio) - b.p*b.n*(ratio-1)) / ratePhi[kind]
			if sum > best {
				best, at = sum, j
			}
		}
		if at < 0 {
			return at
		}
		if at == was {
			return at
		}
		if on = w.began(at); was >= 0 {
			return at
		}
	}
}

// healed tells whether a batch came after the open case may have been over.
func (w *rateWatchRow) healed(b rateBatch) bool { return w.heal > 0 && b.t0 >= w.healT }

// startSum fills a case's sum with what the ring still holds since its onset.
func (e *Engine) startSum(r *row, kind int, c *caseFile) {
	w := &r.rates[kind]
	c.sum, c.tail = excess{}, excess{}
	for j := min(w.count, rateRing) - 1; j >= 0; j-- {
		rb := w.back(j)
		if rb.t1 <= c.onset {
			continue
		}
		c.sum.add(rb.n, rb.y, rb.p*rb.n)
		if w.cse == c && w.healed(rb) { // it is taken back when the case is over
			c.tail.add(rb.n, rb.y, rb.p*rb.n)
		}
	}
	if w.heal == 0 {
		c.was = c.sum.got / math.Max(1, c.sum.places)
	}
	n := math.Max(float64(w.n), 30)
	c.sum.varExp = phi / (0.012 * batchA * n) // the row's own ratio is known no better
}

// healing notices that a row is as its peers again.
func (w *rateWatchRow) healing(e *Engine, r *row, b batch, y, p float64, kind int) {
	c := w.cse
	// Half-way between the fault and health: a lucky stretch is no cure. How bad
	// it was is taken from when it was clearly there: healthy batches would
	// thin it.
	was := math.Max(c.was, c.sum.got/math.Max(1, c.sum.places))
	q := math.Sqrt(p * math.Min(0.9, math.Max(1.5*p, was)))
	step := (y*math.Log(p/q) + (b.n-y)*math.Log((1-p)/(1-q))) / phi
	if w.heal == 0 {
		w.healT, c.tail = b.t0, excess{}
		c.tail.add(b.n, y, p*b.n)
	}
	w.heal = math.Max(0, w.heal+step)
	if w.heal >= healAlarm {
		c.over(w.healT)
		if c.waiting { // over before it was sure
			c.waiting = false
			if c.sum.got >= rateSure*c.sum.expected {
				e.confirmRate(r, kind, c)
			}
		}
		w.cse = nil
		w.det.Reset()
	}
}

// confirmRate raises a case that waited for more batches, unless its whole side
// fell off meanwhile: then what came after says nothing of the row.
func (e *Engine) confirmRate(r *row, kind int, c *caseFile) {
	for _, o := range e.cases {
		if kind == kindSkips && o.kind == evenstand.KindLowVacuum && !o.dropped && o.hasRow(r.n) && o.alarm > c.alarm && overlap(o, c) {
			c.dropped = true
			e.release(c)
			return
		}
	}
	e.raiseRate(r, kind, c)
}

// raiseRate puts a rate case on the worklist unless something else explains it.
func (e *Engine) raiseRate(r *row, kind int, c *caseFile) {
	if e.groupHold(r, kind, c) {
		c.held = true
		return
	}
	e.raise(c)
	e.explain(c)
}

func (c *caseFile) hasRow(n int) bool {
	for _, r := range c.rows {
		if r == n {
			return true
		}
	}
	return false
}

// sumKind tells which rate a case sums; -1 none.
func (c *caseFile) sumKind() int {
	switch c.kind {
	case evenstand.KindRowSkips, evenstand.KindStarvedRow, evenstand.KindLowVacuum:
		return kindSkips
	case evenstand.KindRowDoubles:
		return kindDoubles
	}
	return -1
}

// explain lets a new case take over what it explains, or drops it when an
// older one explains it: one finding for one cause.
func (e *Engine) explain(n *caseFile) {
	for _, o := range e.cases {
		if o == n || o.dropped || !overlap(o, n) {
			continue
		}
		over, under := rank(o), rank(n)
		switch {
		case over > under && covers(o, n):
			n.dropped = true
			e.release(n)
			return
		case under > over && covers(n, o):
			o.dropped = true
			e.release(o)
		}
	}
}

// rank orders the kinds by how much they say about a row's missing seeds.
func rank(c *caseFile) int {
	switch c.kind {
	case evenstand.KindLowVacuum:
		if c.vac.machine {
			return 6
		}
		return 5
	case evenstand.KindRowStopped, evenstand.KindRowLeftOff:
		return 4
	case evenstand.KindSensorDoubt:
		if !c.doubt.dust {
			return 4
		}
	case evenstand.KindBlockedCell:
		return 3
	case evenstand.KindStarvedRow, evenstand.KindRecurringUpset:
		return 2
	case evenstand.KindRowSkips:
		return 1
	}
	return 0
}

// covers tells whether the stronger case can be what the weaker one saw.
func covers(strong, weak *caseFile) bool {
	if rank(weak) == 0 || rank(weak) == rank(strong) {
		return false
	}
	switch strong.kind {
	case evenstand.KindBlockedCell:
		if weak.kind == evenstand.KindRecurringUpset {
			return false
		}
	case evenstand.KindSensorDoubt: // what one is blind to looks like skips of any kind
		return weak.kind != evenstand.KindLowVacuum && weak.onset > strong.onset-2*rateDoubt
	case evenstand.KindRowStopped, evenstand.KindRowLeftOff:
		// Places that were not planted are not read, so they look like no cell.
		if weak.kind != evenstand.KindRowSkips && weak.kind != evenstand.KindStarvedRow {
			return false
		}
	case evenstand.KindLowVacuum:
		if weak.kind == evenstand.KindLowVacuum {
			break
		}
		// A row that is worse than its side has a trouble of its own. One that
		// was found while the side was already known is compared with its side.
		if weak.kind != evenstand.KindRowSkips || weak.alarm > strong.alarm || weak.ratio() > 2*strong.ratio() {
			return false
		}
	}
	// The weaker one must not be much older than what is to explain it.
	return weak.onset > strong.onset-10*60*evenstand.Second
}

func overlap(a, b *caseFile) bool {
	rows := false
	for _, r := range a.rows {
		rows = rows || b.hasRow(r)
	}
	if !rows {
		return false
	}
	endA, endB := a.until, b.until
	if endA == evenstand.NoTime {
		endA = math.MaxInt64
	}
	if endB == evenstand.NoTime {
		endB = math.MaxInt64
	}
	return a.onset <= endB && b.onset <= endA
}

// ratio is what was counted over what was expected.
func (c *caseFile) ratio() float64 { return (c.sum.got + 0.5) / (c.sum.expected + 0.5) }

// release frees the rows' watches from a case that was dropped.
func (e *Engine) release(c *caseFile) {
	e.littered = true
	for _, n := range c.rows {
		r := e.row(n)
		for i := range r.cells.cell {
			if r.cells.cell[i].named == c {
				r.cells.cell[i].named = nil
			}
		}
		if r.starved.cse == c {
			r.starved.cse, r.starved.c = nil, 0
		}
		if r.off.cse == c {
			r.off.cse = nil
		}
	}
	if c.side != nil && c.side.cse == c {
		c.side.cse = nil
	}
	k := c.sumKind()
	if k < 0 {
		return
	}
	for _, n := range c.rows {
		w := &e.row(n).rates[k]
		if w.cse == c {
			w.cse = nil
			w.det.Reset()
		}
	}
}

// sweep forgets the cases that were dropped.
func (e *Engine) sweep() {
	if !e.littered {
		return
	}
	e.littered = false
	keep := e.cases[:0]
	for _, c := range e.cases {
		if !c.dropped {
			keep = append(keep, c)
		}
	}
	clear(e.cases[len(keep):])
	e.cases = keep
}

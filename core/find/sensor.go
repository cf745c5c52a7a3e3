package find

import (
	"math"
	"slices"

	"evenstand"
	"evenstand/core/stat"
)

// A sensor that is not to be believed. Two signs are read, both from seed
// times alone. Dust: extra pulses come far more often than the row usually has
// them, and lie anywhere in their place, while the second seed of a real double
// follows the first closely. Drop-outs: a third of the row's seeds is gone from
// one moment to the next and, if it ends, is back as suddenly; meters and seed
// fail by degrees.
const (
	pulseRing    = 64                     // late extra pulses remembered
	pulseLeast   = 20                     // before anything is said (methods, "Detectable")
	pulseRatio   = 3.0                    // times the usual rate of extra pulses
	pulseNats    = 25.0                   // log odds of that rate against the usual one
	dustSure     = 5.0                    // log odds of dust against doubles at which it is decided
	dustWait     = 20 * evenstand.Second  // in which a rhythm that is lost shows itself
	paceMoved    = 0.005                  // of the rows' common pace, at which their rhythm is being found anew,
	paceMemory   = 30.0                   // against that of so many seconds,
	paceSettles  = 120 * evenstand.Second // and as long after
	pulseFloor   = 0.004                  // extra pulses a place that any row has, at least
	pulseCeiling = 0.02                   // and that a row may be taken to have usually, at most
	pulseMemory  = 600.0                  // batches over which the usual rate is remembered
	pulseBeside  = 4                      // rows that a row is compared with
	pulseSlack   = 12                     // places by which they may be ahead or behind
	dustHeal     = 10.0                   // nats for being healthy again
	dustBefore   = 600 * evenstand.Second
	shareBins    = 40 // of the posterior of the share of dust

	lostUsual  = 0.12 // share missed that may still be metering,
	lostSharp  = 0.35 // and one that is far from it
	lostNats   = 12.0 // to notice that a row loses so much
	lostBack   = 36.0 // and that it is back: a loose plug lets some twenty seeds on end through
	lostShare  = 0.25 // least share lost in all; 0.30 is demanded, and seeds seen late blur it
	lostTime   = 45.0 // s of planting
	lostFirst  = 75   // places from the start in which a sharp loss is there in full
	lostBefore = 0.10 // share missed before, at most
	lostMost   = 0.97 // more is a stop

	realToSensor = 5.0 // odds of skips that are real, before any sign speaks for the sensor (methods e, judged)
)

// pulse is an extra pulse of late.
type pulse struct {
	t     evenstand.Micros
	place int64
	bin   int // of how it lies to the pulse before it
}

type sensorWatch struct {
	ring    [pulseRing]pulse
	n       int
	usual   float64 // extra pulses a place
	known   int     // batches that usual has learnt from
	dust    *caseFile
	trial   *doubtCase // dust or doubles: being weighed
	trialAt lostAt     // since when
	real    bool       // they are doubles
	heal    float64
	healT   evenstand.Micros

	c         float64 // nats for a great loss
	from      lostAt  // where they began
	first     [2]int  // places, and missed, of the first lostFirst from there
	places    int
	missed    int
	back      float64 // nats for being back
	backAt    lostAt
	backCount [2]int // places, and missed, since then
	lost      *caseFile
}

type lostAt struct {
	t evenstand.Micros
	p int64
}

// doubtCase is a sensor that is doubted.
type doubtCase struct {
	dust     bool
	pulses   float64 // extra ones
	odds     float64 // log odds of dust against second seeds, by how they lie
	ratio    float64 // most times the usual rate
	places   float64
	like     [shareBins]float64 // log likelihood by share of dust
	missed   float64
	beginsAt bool // with sharp ends: it began,
	endsAt   bool // and ended, from one moment to the next
}

// pulseLaw is how an extra pulse lies to the one before it in its place: by the
// way between them, and by whether the first comes before its time.
type pulseLaw [2 * pulseBins]float64

const (
	pulseBins  = 12
	pulseStep  = 0.05  // places
	pulseEarly = -0.15 // places before its own at which the first of two is early
	pulsePrior = 100.0 // pulses that what is known beforehand counts for
	pulseDusty = 0.2   // share of dust, or of what lies like it, among the usual ones
	pulseMost  = 4000.0
)

func pulseBin(first, second float64) int {
	i := min(pulseBins-1, max(0, int((second-first)/pulseStep)))
	if first < pulseEarly {
		i += pulseBins
	}
	return i
}

// dustLaw is how the pulses of dust lie, which fall at any time, and usualLaw
// the extra pulses of healthy rows, second seeds for the most part, as the
// decoder of the rhythm hands them over: from 6,689 and 127,547 pulses of
// simulated days (development seeds 7505 and 7506, 4 m/s, 40 cells). The second
// is only where a machine starts from; it learns its own.
var dustLaw = pulseLaw{
	0.0159, 0.0212, 0.0791, 0.0830, 0.0781, 0.0632, 0.0436, 0.0384, 0.0313, 0.0223, 0.0162, 0.0079,
	0.0018, 0.0043, 0.0226, 0.0371, 0.0407, 0.0483, 0.0535, 0.0542, 0.0483, 0.0477, 0.0381, 0.1032,
}

var usualLaw = pulseLaw{
	0.0497, 0.0681, 0.1291, 0.1197, 0.0956, 0.0732, 0.0527, 0.0390, 0.0276, 0.0171, 0.0103, 0.0064,
	0.0030, 0.0073, 0.0218, 0.0295, 0.0323, 0.0327, 0.0321, 0.0306, 0.0267, 0.0231, 0.0188, 0.0538,
}

// pulseKeep learns how the extra pulses of this machine's rows usually lie:
// second seeds, and the little dust and the misreadings that all rows have.
type pulseKeep struct {
	seen pulseLaw
	n    float64

	pace float64          // of all rows over what was asked, slow; 0 unknown
	lost evenstand.Micros // until when the rhythm is not to be trusted
}

// tickSensor notices when the pace of all rows changes, as by another setting:
// until the decoders have found the new one they read doubles into it.
func (e *Engine) tickSensor(t evenstand.Micros) {
	if !e.bar.Planting {
		return
	}
	vals := make([]float64, 0, 64)
	for _, r := range e.rows {
		if r.rateWay > 0 && r.enabled {
			vals = append(vals, r.rateWay)
		}
	}
	if len(vals) == 0 {
		return
	}
	k := &e.pulses
	m := stat.Median(vals)
	if k.pace == 0 {
		k.pace = m
	}
	if math.Abs(m/k.pace-1) > paceMoved {
		e.paceLost(t)
	}
	k.pace += (m - k.pace) / paceMemory
}

// paceLost says that from t on the decoders have to find their pace again: what
// is being weighed of dust is dropped.
func (e *Engine) paceLost(t evenstand.Micros) {
	e.pulses.lost = t + paceSettles
	for _, r := range e.rows {
		r.sensor.trial, r.sensor.n = nil, 0
	}
}

func (k *pulseKeep) learn(bin int) {
	if k.n >= pulseMost {
		for i := range k.seen {
			k.seen[i] /= 2
		}
		k.n /= 2
	}
	k.seen[bin]++
	k.n++
}

// second is the density of a second seed in its bin: what is usual less the
// dust in it.
func (k *pulseKeep) second(bin int) float64 {
	u := (k.seen[bin] + pulsePrior*usualLaw[bin]) / (k.n + pulsePrior)
	return math.Max(0.15*u, u-pulseDusty*dustLaw[bin]) / (1 - pulseDusty)
}

// extra takes an extra pulse: the offsets of the pulse before it in its place
// and its own.
func (w *sensorWatch) extra(e *Engine, r *row, t evenstand.Micros, first, second float32) {
	p := pulse{t: t, place: r.places, bin: pulseBin(float64(first), float64(second))}
	if w.n > 0 && w.back64(0).place == p.place {
		return // the planter stands: what falls is no more a place, and all lies alike
	}
	w.ring[w.n%pulseRing] = p
	w.n++
	if c := w.dust; c != nil && c.open() {
		c.doubt.take(e, p)
		return
	}
	if e.pulses.lost > t {
		w.trial, w.n = nil, 0
		return
	}
	usual := w.expected(e)
	if w.trial != nil {
		w.trial.take(e, p)
		e.weighDust(r, usual)
		return
	}
	if w.n < 5 || float64(r.places-w.back64(4).place)*pulseRatio*usual > 5 {
		e.pulses.learn(p.bin)
	}
	for _, m := range [...]int{pulseLeast, 32, pulseRing} {
		if w.n < m {
			return
		}
		n := max(1, r.places-w.back64(m-1).place)
		k, x := float64(m), float64(n)*usual
		if tooMany(k, x) && tooMany(k, math.Max(x, float64(n)*e.beside(r, n))) {
			w.tryDust(e, usual)
			e.weighDust(r, usual)
			return
		}
	}
}

// tooMany tells whether k pulses are far more than the x that were expected.
func tooMany(k, x float64) bool {
	return k > pulseRatio*x && k*math.Log(k/x)-k+x > pulseNats
}

// beside is how many extra pulses a place the rows next to r have given over
// its last n places: the second fewest of four. Where the place is not known as
// well as usual (the speed changes fast and the clock of the seeds is off, the
// bar swings and a row lies far out) the decoders of all rows read doubles into
// their seeds, those of neighbours about as many. No sensor does that.
func (e *Engine) beside(r *row, n int64) float64 {
	n += pulseSlack
	var at [pulseBeside]float64
	k := 0
	for d := 1; d < len(e.rows) && k < len(at); d++ {
		for _, i := range [...]int{r.n - 1 - d, r.n - 1 + d} {
			if i < 0 || i >= len(e.rows) || k == len(at) {
				continue
			}
			if o := e.rows[i]; o.enabled && o.grade == evenstand.GradeA {
				at[k] = float64(o.dblAt.since(o.places-n, o.places)) / float64(n)
				k++
			}
		}
	}
	if k == 0 {
		return 0
	}
	slices.Sort(at[:k])
	return at[(k-1)/2]
}

// tryDust begins to weigh dust against doubles, from where the backward sum of
// the log odds of the present rate against the usual one is largest.
func (w *sensorWatch) tryDust(e *Engine, usual float64) {
	n := min(w.n, pulseRing)
	k := float64(pulseLeast) / math.Max(1, float64(w.back64(0).place-w.back64(pulseLeast-1).place)) / usual
	sum, best, at := 0.0, 0.0, pulseLeast-1
	for j := range n - 1 {
		sum += math.Log(k) - (k-1)*usual*float64(w.back64(j).place-w.back64(j+1).place)
		if sum > best {
			best, at = sum, j+1
		}
	}
	w.trial, w.heal, w.real = &doubtCase{dust: true, beginsAt: true}, 0, false
	w.trialAt = lostAt{w.back64(at).t, w.back64(at).place}
	for j := at; j >= 0; j-- {
		w.trial.take(e, *w.back64(j))
	}
}

// weighDust decides once it is sure. How they lie tells a fifth of a nat a
// pulse; a rate that is many times the usual one is dust rather than doubles,
// which a singulator makes several times as many, not thirty (judgement).
func (e *Engine) weighDust(r *row, usual float64) {
	w := &r.sensor
	switch odds := w.dustOdds(e, r, usual); {
	case odds >= dustSure && !w.real && w.back64(0).t-w.trialAt.t >= dustWait:
		e.openDust(r)
	case odds <= -dustSure:
		w.real = true
	}
}

func (w *sensorWatch) dustOdds(e *Engine, r *row, usual float64) float64 {
	d := w.trial
	n := max(1, r.places-w.trialAt.p)
	d.ratio = math.Max(d.ratio, d.pulses/float64(n)/math.Max(usual, e.beside(r, n)))
	return d.odds + math.Min(4, math.Max(-2, 2.5*math.Log(d.ratio/8)))
}

// back64 is the n-th extra pulse back.
func (w *sensorWatch) back64(n int) *pulse { return &w.ring[(w.n-1-n)%pulseRing] }

// expected is how many extra pulses a place the row usually has.
func (w *sensorWatch) expected(e *Engine) float64 {
	if w.known >= rowWarm {
		return math.Min(pulseCeiling, math.Max(pulseFloor, w.usual))
	}
	var us []float64
	for _, o := range e.rows {
		if o.sensor.known >= 10 {
			us = append(us, o.sensor.usual)
		}
	}
	if len(us) < 3 {
		return pulseCeiling
	}
	return math.Min(pulseCeiling, math.Max(pulseFloor, stat.Median(us)))
}

// take adds a pulse to what is known of a case.
func (d *doubtCase) take(e *Engine, p pulse) {
	dust, second := dustLaw[p.bin], e.pulses.second(p.bin)
	for i := range d.like {
		s := (float64(i) + 0.5) / shareBins
		d.like[i] += math.Log(s*dust + (1-s)*second)
	}
	d.odds += math.Log(dust / second)
	d.pulses++
}

// share is the posterior of the share of dust among the extra pulses under a
// flat prior, with its 90 % interval (methods e).
func (d *doubtCase) share() (mean, low, high float64) {
	best := math.Inf(-1)
	for _, l := range d.like {
		best = math.Max(best, l)
	}
	var w [shareBins]float64
	sum := 0.0
	for i, l := range d.like {
		w[i] = math.Exp(l - best)
		sum += w[i]
	}
	at := 0.0
	low, high = nan, nan
	for i := range w {
		s := (float64(i) + 0.5) / shareBins
		w[i] /= sum
		mean += s * w[i]
		at += w[i]
		if math.IsNaN(low) && at >= 0.05 {
			low = s
		}
		if math.IsNaN(high) && at >= 0.95 {
			high = s
		}
	}
	return mean, low, high
}

// openDust opens the case that was being weighed.
func (e *Engine) openDust(r *row) *caseFile {
	w := &r.sensor
	d := w.trial
	if e.pulsesCommon(w.trialAt.t) {
		return nil
	}
	w.trial = nil
	d.places = float64(r.places - w.trialAt.p)
	since := e.afterHalt(w.trialAt.t, 5*evenstand.Second)
	c := e.doubtAgain(r, true, since)
	if c == nil {
		c = e.add(&caseFile{
			kind: evenstand.KindSensorDoubt, rows: []int{r.n}, raised: true, onset: since, onsetLow: since - 5*evenstand.Second, onsetHigh: since + evenstand.Second,
			alarm: w.back64(0).t, grade: evenstand.GradeA, doubt: d,
		})
	} else {
		o := c.doubt
		o.pulses, o.places, o.odds, o.endsAt = o.pulses+d.pulses, o.places+d.places, o.odds+d.odds, false
		for i := range o.like {
			o.like[i] += d.like[i]
		}
	}
	w.dust, w.heal = c, 0
	e.noDoubles(r, c)
	return c
}

// pulsesCommon tells whether a quarter of the rows give extra pulses from the
// same moment on. No sensor does that: the way that places are counted by was
// wrong, and what is being weighed is dropped.
func (e *Engine) pulsesCommon(t evenstand.Micros) bool {
	n := 0
	near := func(o evenstand.Micros) bool { return absT(o-t) <= dustWait }
	for _, r := range e.rows {
		w := &r.sensor
		if w.trial != nil && near(w.trialAt.t) || w.dust != nil && near(w.dust.onset) {
			n++
		}
	}
	if n < max(3, len(e.rows)/4) {
		return false
	}
	for _, r := range e.rows {
		w := &r.sensor
		if w.dust != nil && near(w.dust.onset) {
			w.dust.dropped, e.littered = true, true
			w.dust = nil
		}
	}
	e.paceLost(e.now)
	return true
}

// doubtAgain finds the row's case of the same sort that ended lately and opens
// it again: dust that comes and goes is one finding.
func (e *Engine) doubtAgain(r *row, dust bool, since evenstand.Micros) *caseFile {
	for i := len(e.cases) - 1; i >= 0; i-- {
		c := e.cases[i]
		if c.doubt != nil && !c.dropped && c.doubt.dust == dust && c.hasRow(r.n) && c.until != evenstand.NoTime && since-c.until < rateReopen {
			c.until = evenstand.NoTime
			return c
		}
	}
	return nil
}

// noDoubles drops the doubles that dust was taken for.
func (e *Engine) noDoubles(r *row, by *caseFile) {
	for _, c := range e.cases {
		if c.kind == evenstand.KindRowDoubles && !c.dropped && c.hasRow(r.n) && c.onset > by.onset-dustBefore && (c.until == evenstand.NoTime || c.until > by.onset) {
			c.dropped = true
			e.release(c)
		}
	}
	d := &r.rates[kindDoubles]
	d.reset()
	d.spoilt = e.now
}

// sensorBatch learns the usual rate of extra pulses, and ends dust.
func (e *Engine) sensorBatch(r *row, b batch) {
	w := &r.sensor
	if b.grade != evenstand.GradeA || b.n <= 0 {
		return
	}
	y := b.y[kindDoubles]
	d := w.trial
	if c := w.dust; c != nil && c.open() {
		d = c.doubt
		d.places += b.n
		r.rates[kindDoubles].spoilt = b.t1
	}
	usual := w.expected(e)
	if d == nil {
		if y < 3*usual*b.n+4 {
			w.known++
			w.usual += (math.Min(y/b.n, pulseCeiling) - w.usual) / math.Min(pulseMemory, float64(w.known))
		}
		return
	}
	rate := math.Max(3*usual, d.pulses/math.Max(b.n, d.places))
	if d == w.trial {
		rate = math.Max(3*usual, d.pulses/math.Max(b.n, float64(r.places-w.trialAt.p)))
	}
	mid := math.Sqrt(usual * rate)
	if w.heal == 0 {
		w.healT = b.t0
	}
	w.heal = math.Max(0, w.heal+y*math.Log(usual/mid)+b.n*(mid-usual))
	if w.heal < dustHeal {
		return
	}
	if d == w.trial { // it was over before it was sure
		if w.real || w.dustOdds(e, r, usual) < dustSure/2 {
			w.trial, w.n = nil, 0
			return
		}
		if e.openDust(r) == nil {
			return
		}
	}
	c := w.dust
	c.until = max(w.healT, c.onset)
	c.doubt.endsAt = true
	w.dust, w.n, w.heal = nil, 0, 0
}

// dusty tells whether dust is counted for seeds on the row, now or of late.
func (e *Engine) dusty(r *row) bool {
	return e.anyDuring(r.n, e.now-120*evenstand.Second, e.now, evenstand.KindSensorDoubt)
}

// blind tells whether the row loses so many places that runs of them say
// nothing about its seed.
func (w *sensorWatch) blind() bool { return w.lost != nil && w.lost.open() }

// lostStep is what a place that was hit or missed says for a great loss, nats.
var lostStep = [2]float64{math.Log((1 - lostSharp) / (1 - lostUsual)), math.Log(lostSharp / lostUsual)}

// place walks one place on: whether it was missed.
func (w *sensorWatch) place(e *Engine, r *row, missed bool, t evenstand.Micros) {
	if c := w.lost; c != nil && c.open() {
		w.losing(e, r, c, missed, t)
		return
	}
	step := lostStep[0]
	if missed {
		step = lostStep[1]
	}
	if w.c == 0 {
		if !missed {
			return
		}
		if r.ownMiss > lostBefore {
			return
		}
		w.from, w.places, w.missed, w.first = lostAt{t, r.places}, 0, 0, [2]int{}
	}
	w.places++
	if missed {
		w.missed++
	}
	if w.places <= lostFirst {
		w.first = [2]int{w.places, w.missed}
	}
	w.c = min(3*lostNats, max(0, w.c+step))
	if w.c >= lostNats && w.places > lostFirst && float64(w.places)*e.placeTime(r) >= lostTime {
		e.openLost(r, t)
	}
}

// openLost opens the case of a great loss that began sharply.
func (e *Engine) openLost(r *row, t evenstand.Micros) {
	w := &r.sensor
	share := float64(w.missed) / float64(w.places)
	if share < lostShare || share > lostMost {
		return
	}
	if at := float64(w.first[1]) / float64(w.first[0]); at < 0.6*share || e.common.covers(w.from.t-2*evenstand.Second, w.from.t+2*evenstand.Second) || e.placeOff(w.from.t) {
		w.c = 0 // it came by degrees, on all rows, or the place jumped
		return
	}
	w.from.t = e.afterHalt(w.from.t, 5*evenstand.Second)
	c := e.doubtAgain(r, false, w.from.t)
	if c == nil {
		c = e.add(&caseFile{
			kind: evenstand.KindSensorDoubt, rows: []int{r.n}, raised: true, onset: w.from.t, onsetLow: w.from.t - 3*evenstand.Second, onsetHigh: w.from.t + 3*evenstand.Second,
			alarm: t, grade: evenstand.GradeA, doubt: &doubtCase{beginsAt: true},
		})
	}
	c.doubt.endsAt = false
	c.doubt.places += float64(w.places)
	c.doubt.missed += float64(w.missed)
	w.lost, w.back = c, 0
	e.explain(c)
}

// losing follows an open case of great loss until the seeds are back.
func (w *sensorWatch) losing(e *Engine, r *row, c *caseFile, missed bool, t evenstand.Micros) {
	d := c.doubt
	d.places++
	share := d.missed / d.places
	low, high := math.Max(0.01, math.Min(lostBefore, share/4)), math.Min(0.95, share)
	step := math.Log((1 - low) / (1 - high))
	if missed {
		d.missed++
		step = math.Log(low / high)
	}
	if w.back == 0 {
		w.backAt, w.backCount = lostAt{t, r.places}, [2]int{}
	}
	w.backCount[0]++
	if missed {
		w.backCount[1]++
	}
	w.back = math.Max(0, w.back+step)
	if w.back >= lostBack {
		c.until = w.backAt.t
		d.places -= float64(w.backCount[0])
		d.missed -= float64(w.backCount[1])
		d.endsAt = true
		w.lost, w.c, w.back = nil, 0, 0
		r.starved.c = 0
	}
}

// reportDoubt fills the finding of a doubted sensor. Odds are judged: the signs
// count ten to one each at most, since they are not independent.
func (e *Engine) reportDoubt(c *caseFile, f *evenstand.Finding) {
	d := c.doubt
	if d.dust {
		m, lo, hi := d.share()
		f.Evidence = []evenstand.Evidence{
			ev("extra pulses", d.pulses, nan, nan, d.places, ""),
			ev("share of dust among them", m, lo, hi, d.pulses, "fraction"),
		}
		sensor := math.Min(0.97, math.Max(0.5, m))
		f.Causes = []evenstand.Cause{{Cause: evenstand.CauseSensor, Probability: sensor}}
		if rest := 0.97 - sensor; rest >= 0.005 {
			f.Causes = append(f.Causes, evenstand.Cause{Cause: evenstand.CauseSingulator, Probability: rest})
		}
		return
	}
	y, n := stat.Effective(d.missed, math.Max(1, d.places), phi)
	lo, hi := stat.Jeffreys(y, n, 0.90)
	f.Evidence = []evenstand.Evidence{ev("share of seeds not seen", d.missed/math.Max(1, d.places), lo, hi, d.places, "fraction")}
	odds := 1.0 / 5 * 10 // it began from one moment to the next
	if d.endsAt {
		odds *= 10 // and ended so
	}
	rest := 1 / (1 + odds)
	f.Causes = normalise(
		evenstand.Cause{Cause: evenstand.CauseSensor, Probability: 1 - rest}, evenstand.Cause{Cause: evenstand.CauseBridging, Probability: 0.4 * rest},
		evenstand.Cause{Cause: evenstand.CauseDrive, Probability: 0.3 * rest}, evenstand.Cause{Cause: evenstand.CauseSeal, Probability: 0.3 * rest})
}

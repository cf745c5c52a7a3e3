package find

import (
	"math"

	"evenstand"
)

// A starved row misses in runs of three and more: seed does not reach the
// disc. Single skips among them say nothing, so only runs are counted, one at
// most in 400 places so that one stone counts once.
const (
	runLeast   = 3
	runPause   = 400
	runAlarm   = 12.0 // nats
	runExtra   = 3e-4 // runs a place that count as starved, beyond the row's own
	runFloor   = 2e-5
	runEndNats = 9.0
	runDoubt   = 60 * evenstand.Second // between two runs at the start
	runMost    = 100                   // places; what is longer is a stop or a switch, not a run

	runTogether = 1 * evenstand.Second // runs of rows side by side that are one,
	runBeside   = 2                    // rows to each side that are looked at,
	runShared   = 2                    // and misses on end that are a run there
)

type starvedWatch struct {
	c     float64
	since int64 // places since the last run that counted
	count int64 // places since the chain began
	first evenstand.Micros
	last  evenstand.Micros
	runs  int
	all   int              // runs of the day
	saw   evenstand.Micros // the last run, of two and more
	wait  runAt            // a run that is held against those of the rows beside
	at    [32]runAt        // late runs that counted
	k     int
	holes [16]hole // late ones
	held  int
	cse   *caseFile
	prev  *caseFile // the last one that ended
}

// runAt is a run of misses: when, the row's place counter, and how many.
type runAt struct {
	t evenstand.Micros
	p int64
	n int
}

// hole is a run of misses so long that the rhythm broke over it.
type hole struct {
	t evenstand.Micros
	n int
}

// hole takes a run of misses over which the rhythm broke. It stands in no batch
// of the row's rates, so it is summed here, unless it belongs to a stop.
func (w *starvedWatch) hole(r *row, n int, t evenstand.Micros, e *Engine) {
	if n < runLeast || n > runMost || e.anyDuring(r.n, t-10*evenstand.Second, t, evenstand.KindRowStopped, evenstand.KindRowLeftOff) {
		return
	}
	w.holes[w.held%len(w.holes)] = hole{t, n}
	w.held++
	if c := w.cse; c != nil && c.open() {
		c.sum.add(float64(n), float64(n), r.ownMiss*float64(n))
	}
	w.run(r, n, t, e)
}

// onset is the run with which the starving began: by the Poisson likelihood of
// its rate from there on against the row's own, the earliest that is nearly as
// likely as the best, since starving comes on slowly.
func (w *starvedWatch) onset(q0 float64, now int64) evenstand.Micros {
	n := min(w.k, len(w.at))
	like := make([]float64, n)
	best, at := math.Inf(-1), w.first
	for j := 2; j < n; j++ { // runs after the one that is tried
		r := w.at[(w.k-1-j)%len(w.at)]
		k, x := float64(j), q0*float64(max(1, now-r.p))
		if k > x { // fewer than healthy is no starving
			like[j] = k*math.Log(k/x) - k + x
		}
		best = math.Max(best, like[j])
	}
	for j := 2; j < n; j++ {
		if like[j] >= best-runNear {
			at = w.at[(w.k-1-j)%len(w.at)].t
		}
	}
	return at
}

// runNear is how many nats under the best a beginning is nearly as likely.
const runNear = 0.5

type runCase struct {
	runs    int
	places  float64
	longest int
}

func (w *starvedWatch) init() { w.since = runPause }

func (w *starvedWatch) rates(r *row) (q0, q1 float64) {
	q0 = math.Max(runFloor, 4*r.ownMiss*r.ownMiss*r.ownMiss)
	return q0, q0 + runExtra
}

// place walks one place on.
func (w *starvedWatch) place() {
	w.since++
	if w.c > 0 {
		w.count++
		w.c -= runExtra
		if w.c <= 0 {
			w.c = 0
		}
	}
}

// run takes a run of misses.
func (w *starvedWatch) run(r *row, n int, t evenstand.Micros, e *Engine) {
	if n >= runShared {
		w.saw = t
	}
	if n < runLeast {
		return
	}
	w.all++
	if w.cse != nil && w.cse.open() {
		w.cse.runs.runs++
		w.cse.runs.longest = max(w.cse.runs.longest, n)
		w.cse.tail = excess{}
		w.last = t
	}
	if e.anyOpen(r.n, evenstand.KindRecurringUpset) != nil { // its bursts have runs
		w.c = 0
		return
	}
	if w.since < runPause || e.common.n > 0 || r.sensor.blind() {
		return
	}
	w.since = 0
	w.wait = runAt{t, r.places, n}
}

// shared tells whether a row beside missed on end at the same time. Seed that
// does not reach one disc has nothing to do with the next; that of a place that
// is not known as well as usual has: live, where a wide bar swings, the rows at
// its end are read wrong together.
func (e *Engine) shared(r *row, t evenstand.Micros) bool {
	for i := max(0, r.n-1-runBeside); i < min(len(e.rows), r.n+runBeside); i++ {
		if o := e.rows[i]; o != r && absT(o.starved.saw-t) <= runTogether {
			return true
		}
	}
	return false
}

// counts takes a run that is the row's own.
func (w *starvedWatch) counts(e *Engine, r *row, x runAt) {
	if w.c == 0 {
		w.first, w.count, w.runs = x.t, 0, 0
	}
	w.runs++
	w.last = x.t
	w.at[w.k%len(w.at)] = x
	w.k++
	q0, q1 := w.rates(r)
	w.c += math.Log(q1 / q0)
	if w.c >= runAlarm && w.runs >= 3 && (w.cse == nil || !w.cse.open()) {
		on := e.afterHalt(w.onset(q0, r.places), runDoubt)
		if p := w.prev; p != nil && !p.dropped && on-p.until < rateReopen {
			p.until, w.cse = evenstand.NoTime, p // a bridge that comes and goes is one finding
			p.runs.runs += w.runs
			return
		}
		w.cse = e.add(&caseFile{
			kind: evenstand.KindStarvedRow, rows: []int{r.n}, raised: true, onset: on,
			onsetLow: on - 5*60*evenstand.Second, onsetHigh: x.t, alarm: e.now, grade: evenstand.GradeA,
			runs: &runCase{runs: w.runs, places: float64(w.count), longest: x.n},
		})
		r.rates[kindSkips].forget(on)
		e.startSum(r, kindSkips, w.cse)
		for _, h := range w.holes[:min(w.held, len(w.holes))] {
			if h.t > on {
				w.cse.sum.add(float64(h.n), float64(h.n), r.ownMiss*float64(h.n))
			}
		}
		e.explain(w.cse)
	}
}

// forgetBack is how long before its first sure run starving may already have
// raised what a row was taken to miss when healthy: it comes on over a quarter
// of an hour (common practice, no source).
const forgetBack = 15 * 60 * evenstand.Second

// forget takes the row's ratio to its peers back to what it was before a
// trouble that came on slowly, in what is expected of it since and from now on.
func (w *rateWatchRow) forget(onset evenstand.Micros) {
	rel := w.rel
	for i := range min(w.kept, len(w.memory)) { // the latest of before, else the earliest
		m := w.memory[(w.kept-1-i)%len(w.memory)]
		rel = m.rel
		if m.t <= onset-forgetBack {
			break
		}
	}

	if rel >= w.rel {
		return
	}
	for j := range min(w.count, rateRing) {
		if b := &w.ring[(w.count-1-j)%rateRing]; b.t1 > onset {
			b.p *= rel / b.rel
			b.rel = rel
		}
	}
	w.rel = rel
}

// tick counts the run that waits, and ends the case when the runs stop.
func (w *starvedWatch) tick(e *Engine, r *row, t evenstand.Micros) {
	if x := w.wait; x.n > 0 && t-x.t >= 2*runTogether {
		w.wait = runAt{}
		if e.common.n == 0 && !e.shared(r, x.t) {
			w.counts(e, r, x)
		}
	}
	c := w.cse
	if c == nil || !c.open() {
		return
	}
	rate := float64(c.runs.runs) / math.Max(1, float64(r.places-c.runs0(r)))
	if float64(w.since)*rate > runEndNats && w.since > 6000 {
		c.over(w.last)
		w.c = 0
		w.cse, w.prev = nil, c
		r.rates[kindSkips].reset()
	}
}

// runs0 is the place counter at which the case began.
func (c *caseFile) runs0(r *row) int64 {
	return r.places - int64(c.sum.places)
}

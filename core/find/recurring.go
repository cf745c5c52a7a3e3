package find

import (
	"math"

	"evenstand"
)

// A burst that is over is an upset and stays aside: stones come by chance, on
// any row. A row to which they come again and again has something that comes
// and goes: a loose part, a plug. Upsets of a row are held against a Poisson law
// whose rate is that of the other rows in the same time, or what stony ground
// gives, whichever is more; so a stony patch, which upsets them all, is no row's
// trouble. The likelihood ratio is looked at back to each of its late upsets.
const (
	// recurStony is upsets an hour of planting and row on stony ground: 0.4
	// stones a hectare (simulator.md, the table of the world) over 1.1 ha of a
	// row of 30 in at 4 m/s.
	recurStony  = 0.5
	recurLeast  = 4
	recurMost   = 16                    // upsets that are looked back on
	recurAlarm  = 9.0                   // nats
	recurHeal   = 8.0                   // upsets that should have come and did not,
	recurQuiet  = 900.0                 // and s of planting without any
	recurShared = 10 * evenstand.Second // upsets of three rows so close together are none of theirs
	recurRun    = 4.0                   // misses on end, on average: more is a row that starves
	recurAgain  = 2 * 3600 * evenstand.Second
	recurLower  = 10 * evenstand.Second  // soon after a lowering
	recurShort  = 120 * evenstand.Second // of a rate that may have been a burst,
	recurBack   = 3.0                    // so many of the times between them before the first
	recurChart  = 60                     // upsets that a chart shows
)

// recurWatch keeps what places upsets in time.
type recurWatch struct {
	planted float64             // s of planting
	lowered [4]evenstand.Micros // late lowerings
	k       int
}

// recurCase is what a row's upsets come to.
type recurCase struct {
	upsets      int
	misses, sq  float64 // sums of what each lost, and of its square
	first, last float64 // s of planting
	from, till  int64   // the row's place counter at the first and the last
	lowering    int     // of them soon after a lowering
	at, size    []float64
}

// take adds an upset.
func (c *recurCase) take(u *upset) {
	if c.upsets == 0 {
		c.first, c.from = u.planted, u.end-int64(u.places)
	}
	c.upsets++
	c.misses += u.misses
	c.sq += u.misses * u.misses
	c.last, c.till = u.planted, u.end
	if u.lowering {
		c.lowering++
	}
	if len(c.at) < recurChart {
		c.at = append(c.at, (u.planted-c.first)/60)
		c.size = append(c.size, u.misses)
	}
}

// every is the mean planting time between two of them, s.
func (c *recurCase) every() float64 { return (c.last - c.first) / float64(c.upsets-1) }

// lower notes a lowering.
func (w *recurWatch) lower(t evenstand.Micros) {
	w.lowered[w.k%len(w.lowered)] = t
	w.k++
}

// upset keeps a burst that is over, and looks whether the row has too many.
func (e *Engine) upset(r *row, kind int, u upset) {
	w := &e.recur
	u.planted, u.end = w.planted, r.places
	for _, t := range w.lowered[:min(w.k, len(w.lowered))] {
		u.lowering = u.lowering || u.from >= t-recurLower/2 && u.from <= t+recurLower
	}
	u.counts = kind == kindSkips && !(u.run > recurRun)
	e.upsets = append(e.upsets, u)
	if u.counts {
		e.weighUpsets(r)
	}
}

// ownUpset tells whether an upset is the row's own: no other trouble of the row
// is behind it, and no two other rows had theirs at the same moment.
func (e *Engine) ownUpset(u *upset) bool {
	if !u.counts || e.anyDuring(u.row, u.from-rateDoubt, u.to, evenstand.KindStarvedRow, evenstand.KindRowStopped, evenstand.KindRowLeftOff, evenstand.KindRowSkips, evenstand.KindSensorDoubt, evenstand.KindLowVacuum) {
		return false
	}
	others := 0
	for i := range e.upsets {
		if o := &e.upsets[i]; o.row != u.row && o.counts && absT(o.from-u.from) < recurShared {
			others++
		}
	}
	return others < 2 && !e.common.covers(u.from, u.from+recurShared)
}

// weighUpsets weighs the row's last upset with those before it.
func (e *Engine) weighUpsets(r *row) {
	var mine []*upset // from the last one back
	for i := len(e.upsets) - 1; i >= 0 && len(mine) < recurMost; i-- {
		u := &e.upsets[i]
		if u.row != r.n || u.of != nil && !u.of.dropped && !u.of.open() {
			continue
		}
		if e.ownUpset(u) {
			mine = append(mine, u)
		}
	}
	if len(mine) == 0 || mine[0] != e.lastUpset(r) {
		return
	}
	if c := e.anyOpen(r.n, evenstand.KindRecurringUpset); c != nil {
		c.recur.take(mine[0])
		mine[0].of = c
		e.absorb(c)
		return
	}
	best, at := 0.0, 0
	for m := recurLeast; m <= len(mine); m++ {
		// The first of them only opens the time in which the others came.
		from, k := mine[m-1].planted, float64(m-1)
		x := e.usualUpsets(r, from) * math.Max(1, e.recur.planted-from)
		if nats := k*math.Log(k/x) - k + x; k > x && nats > best {
			best, at = nats, m
		}
	}
	if best < recurAlarm {
		return
	}
	mine = mine[:at]
	first := mine[at-1]
	var c *caseFile
	for i := len(e.cases) - 1; i >= 0 && c == nil; i-- { // one that was quiet for a while
		if o := e.cases[i]; o.recur != nil && !o.dropped && o.hasRow(r.n) && first.from-o.until < recurAgain {
			c = o
			c.until = evenstand.NoTime
		}
	}
	if c == nil {
		c = e.add(&caseFile{
			kind: evenstand.KindRecurringUpset, rows: []int{r.n}, onset: first.from, onsetLow: first.from - evenstand.FromSeconds(e.recur.planted-first.planted)/evenstand.Micros(at-1),
			onsetHigh: first.from + recurShared, alarm: e.now, grade: r.grade, recur: &recurCase{},
		})
	}
	for i := at - 1; i >= 0; i-- {
		c.recur.take(mine[i])
		mine[i].of = c
		c.grade = max(c.grade, mine[i].grade)
	}
	e.absorb(c)
	e.raise(c)
	e.explain(c)
}

// absorb takes over the short rates of skips on the row that are over: bursts,
// each of which was taken for a lasting part before it was known to come back.
func (e *Engine) absorb(c *caseFile) {
	x := c.recur
	before := evenstand.FromSeconds(recurBack * x.every())
	for _, o := range e.cases {
		if o.kind != evenstand.KindRowSkips || o.dropped || o.open() || !o.hasRow(c.rows[0]) || o.onset < c.onset-before || o.until-o.onset > recurShort {
			continue
		}
		o.dropped = true
		e.release(o)
		lost := math.Max(0, o.sum.got-o.sum.expected)
		x.upsets++
		x.misses += lost
		x.sq += lost * lost
		if o.onset < c.onset {
			x.first -= (c.onset - o.onset).Seconds()
			c.onset, c.onsetLow = o.onset, min(c.onsetLow, o.onset-(c.onset-c.onsetLow))
			c.onsetHigh = o.onset + recurShared
		}
	}
}

// lastUpset is the row's latest upset of those that count.
func (e *Engine) lastUpset(r *row) *upset {
	for i := len(e.upsets) - 1; i >= 0; i-- {
		if u := &e.upsets[i]; u.row == r.n && u.counts {
			return u
		}
	}
	return nil
}

// usualUpsets is how many upsets a second of planting a row has that nothing is
// wrong with: as many as the other rows since a time, and one more to be safe.
func (e *Engine) usualUpsets(r *row, from float64) float64 {
	others := 1.0
	for i := len(e.upsets) - 1; i >= 0 && e.upsets[i].planted >= from; i-- {
		if u := &e.upsets[i]; u.row != r.n && (u.of == nil || u.of.dropped) {
			others++
		}
	}
	span := math.Max(1, e.recur.planted-from) * math.Max(1, float64(len(e.rows)-1))
	return math.Max(recurStony/3600, others/span)
}

// tickRecur ends what has not come back for long.
func (e *Engine) tickRecur() {
	if e.bar.Planting {
		e.recur.planted++
	}
	for _, c := range e.cases {
		if c.recur == nil || !c.open() {
			continue
		}
		quiet := e.recur.planted - c.recur.last
		if quiet < recurQuiet || quiet < recurHeal*c.recur.every() {
			continue
		}
		for i := len(e.upsets) - 1; i >= 0; i-- {
			if u := &e.upsets[i]; u.of == c {
				c.over(u.to)
				break
			}
		}
	}
}

func (e *Engine) reportRecur(c *caseFile, f *evenstand.Finding) {
	x := c.recur
	n := float64(x.upsets)
	mean := x.misses / n
	half := 1.645 * math.Sqrt(math.Max(0, x.sq/n-mean*mean)/n)
	f.Evidence = []evenstand.Evidence{
		ev("times it came", n, nan, nan, nan, ""),
		ev("planting time between", x.every(), nan, nan, n-1, "s"),
		ev("seeds missed each time", mean, mean-half, mean+half, n, ""),
		ev("of them soon after a lowering", float64(x.lowering), nan, nan, n, ""),
	}
	// Judgement, no published odds. Counts by the second do not tell a burst from
	// a run, so that a row that starves looks the same.
	loose, plug, drive, feed := 0.52, 0.20, 0.16, 0.03
	if c.grade != evenstand.GradeA {
		loose, plug, drive, feed = 0.42, 0.18, 0.14, 0.20
	}
	f.Causes = normalise(evenstand.Cause{Cause: evenstand.CauseLoose, Probability: loose}, evenstand.Cause{Cause: evenstand.CauseSensor, Probability: plug}, evenstand.Cause{Cause: evenstand.CauseDrive, Probability: drive}, evenstand.Cause{Cause: evenstand.CauseBridging, Probability: feed}, evenstand.Cause{Cause: evenstand.CauseRock, Probability: 0.06})
	till := x.till
	if c.open() {
		till = e.row(c.rows[0]).places
	}
	places := math.Max(x.misses, float64(till-x.from))
	f.Harm = []evenstand.Harm{e.harm(c, evenstand.MissingSeeds, x.misses, math.Sqrt(phi*math.Max(1, x.misses)), places)}
	ch := &evenstand.Chart{Title: "seeds missed each time", X: "minutes of planting since the first", Y: "seeds missed"}
	for i := range x.at {
		ch.At = append(ch.At, num(x.at[i]))
		ch.Value = append(ch.Value, num(x.size[i]))
	}
	f.Chart = ch
}

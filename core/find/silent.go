package find

import (
	"math"
	"slices"

	"evenstand"
)

// A box that logs all along and says nothing for five seconds and more while
// the planter plants and others go on has stopped logging (methods,
// "Detectable"). What it did not log is no skip and no stop.
const (
	silentLeast  = 5.0                      // s of planting
	silentNews   = 3 * evenstand.Second / 2 // within which a box that logs all along speaks
	silentOthers = 3 * evenstand.Second     // within which another box must have spoken
	silentTicks  = 60                       // s of planting before a box is known
	silentShare  = 0.7                      // of its seconds in which one that logs all along speaks
	silentMemory = 600.0                    // s over which that is remembered
	silentMerge  = 15 * 60 * evenstand.Second
	silentOnce   = 3 * evenstand.Second // boxes that fall silent within it have one cause
	silentStrays = 4                    // seeds a row and second outside of any pass that say that the planter plants
	silentLate   = 60.0                 // s after the lowering by which a box may be late, at most
)

// sourceWatch follows the words of one box.
type sourceWatch struct {
	first evenstand.Micros // first word; 0 none yet
	last  evenstand.Micros // last word
	ticks int              // s of planting since its first word
	share float64          // of these in which it spoke
	quiet float64          // s of planting since its last word
	late  float64          // s from the lowering to its first word, as a rule
	since evenstand.Micros // lowering of the pass in which it last spoke
	holes [][2]evenstand.Micros
	cse   *caseFile
}

// ClockSet says that source i has no times from one instant to another because
// its clock was set back: what it logged then bears times that came before, so
// this is no silence. It must be said before the time comes.
func (e *Engine) ClockSet(i int, from, to evenstand.Micros) {
	w := e.source(i)
	w.holes = append(w.holes, [2]evenstand.Micros{from, to})
}

// ClockDoubt says that some box's times may be off by so many seconds. Whether
// the planter plants, and whether others go on, is told by the times of several
// boxes, so no box is said to be silent for less than that more.
func (e *Engine) ClockDoubt(seconds float64) { e.clockDoubt = math.Max(e.clockDoubt, seconds) }

// told tells whether nothing that was logged from one instant to another was
// lost to a clock that was set back.
func (w *sourceWatch) told(from, to evenstand.Micros) bool {
	return !slices.ContainsFunc(w.holes, func(h [2]evenstand.Micros) bool { return from < h[1]+silentNews && to > h[0]-silentNews })
}

// silentCase is one silence of one box or more.
type silentCase struct {
	sources []int
	seconds float64 // of planting
	times   int
}

func (e *Engine) source(i int) *sourceWatch {
	for len(e.sources) <= i {
		e.sources = append(e.sources, sourceWatch{})
	}
	return &e.sources[i]
}

// Heard says that source i, by its place in Config.Sources, logged something
// for t.
func (e *Engine) Heard(i int, t evenstand.Micros) {
	w := e.source(i)
	if t <= w.last {
		return
	}
	if e.pass.down && w.since < e.pass.since {
		d := math.Min(silentLate, (t - e.pass.since).Seconds())
		if w.cse == nil && (w.last > 0 || d < silentLate/4) {
			w.late = math.Max(d, 0.9*w.late+0.1*d)
		}
		w.since = e.pass.since
	}
	if c := w.cse; c != nil {
		e.speaks(i, t)
	} else if w.regular() && w.since > 0 && w.last >= e.pass.since && e.pass.down && e.bar.Planting && (t-w.last).Seconds() >= silentLeast+e.clockDoubt && w.told(w.last, t) && w.quiet+silentNews.Seconds()+1 >= silentLeast+e.clockDoubt && e.othersSpeak(i, t) {
		w.quiet = (t - w.last).Seconds() // so short that no tick saw it in full; it was no halt
		e.fallsSilent(i, t)
		e.speaks(i, t)
	}
	if w.first == 0 {
		w.first = t
	}
	w.last, w.quiet = t, 0
}

// regular tells whether the box logs all along while the planter plants.
func (w *sourceWatch) regular() bool { return w.ticks >= silentTicks && w.share >= silentShare }

// othersSpeak tells whether another box has spoken of late.
func (e *Engine) othersSpeak(i int, t evenstand.Micros) bool {
	for j := range e.sources {
		if j != i && e.sources[j].last > 0 && t-e.sources[j].last <= silentOthers {
			return true
		}
	}
	return false
}

// Stray says that a seed fell at t outside of any pass: many of them say that
// the planter plants though the box that tells so is silent.
func (e *Engine) Stray(evenstand.Micros) { e.strays++ }

func (e *Engine) tickSilent(t evenstand.Micros) {
	strays := e.strays
	e.strays = 0
	if !(e.bar.Planting && e.pass.down) && strays < silentStrays*len(e.rows) {
		return
	}
	for i := range e.sources {
		w := &e.sources[i]
		if w.last == 0 {
			continue
		}
		if !w.told(t, t) && w.cse == nil {
			w.quiet = 0
			continue
		}
		if t-w.last > silentNews {
			w.quiet++
		}
		limit := silentLeast + e.clockDoubt
		if e.pass.down && w.last < e.pass.since { // late at the start of a pass, as it is as a rule
			limit += 2*w.late + 1
		}
		if w.quiet < silentLeast {
			said := 0.0
			if t-w.last <= silentNews {
				said = 1
			}
			w.ticks++
			w.share += (said - w.share) / math.Min(silentMemory, float64(w.ticks))
		}
		switch {
		case w.cse != nil:
			if w.cse.silent.sources[0] == i {
				w.cse.silent.seconds++
			}
			if c := w.cse; e.replaced(c) {
				c.dropped, e.littered = true, true
				for j := range e.sources {
					if e.sources[j].cse == c {
						e.sources[j] = sourceWatch{holes: e.sources[j].holes} // it is another box's turn
					}
				}
			}
		case w.quiet >= limit && w.regular() && e.othersSpeak(i, t):
			e.fallsSilent(i, t)
		}
	}
}

// replaced tells whether another box has taken the place of those that are
// silent: one that had said nothing before, and logs all along since.
func (e *Engine) replaced(c *caseFile) bool {
	for j := range e.sources {
		if o := &e.sources[j]; o.cse == nil && o.first > c.onset && o.regular() {
			return true
		}
	}
	return false
}

// fallsSilent opens a silence, or joins it to one that has the same cause.
func (e *Engine) fallsSilent(i int, t evenstand.Micros) {
	w := e.source(i)
	for j := len(e.cases) - 1; j >= 0; j-- {
		c := e.cases[j]
		if c.silent == nil || c.dropped {
			continue
		}
		switch {
		case c.open() && absT(c.onset-w.last) <= silentOnce:
			c.silent.sources = append(c.silent.sources, i)
			w.cse = c
			return
		case !c.open() && len(c.silent.sources) == 1 && c.silent.sources[0] == i && w.last-c.until < silentMerge:
			c.until = evenstand.NoTime // a plug that comes and goes is one finding
			c.silent.seconds += w.quiet
			c.silent.times++
			w.cse = c
			return
		}
	}
	for j := range e.sources {
		if e.sources[j].cse != nil {
			return // whether the planter plants is known the less while a box is silent
		}
	}
	c := e.add(&caseFile{
		kind: evenstand.KindSourceSilent, raised: true, onset: w.last, onsetLow: w.last, onsetHigh: w.last + evenstand.Second,
		alarm: t, grade: evenstand.GradeB, silent: &silentCase{sources: []int{i}, seconds: w.quiet, times: 1},
	})
	for _, r := range e.rows {
		c.rows = append(c.rows, r.n)
	}
	w.cse = c
}

// speaks ends the silence of a box; a finding of several ends with the last.
func (e *Engine) speaks(i int, t evenstand.Micros) {
	w := e.source(i)
	c := w.cse
	w.cse = nil
	for j := range e.sources {
		if e.sources[j].cse == c {
			return
		}
	}
	c.until = t
	for j := range e.sources {
		e.sources[j].quiet = 0
	}
}

func (e *Engine) sourceName(i int) string {
	if i < len(e.cfg.Sources) {
		return e.cfg.Sources[i]
	}
	return "a box"
}

func (e *Engine) reportSilent(c *caseFile, f *evenstand.Finding) {
	s := c.silent
	said := map[string]bool{} // a box may log several files
	for _, i := range slices.Sorted(slices.Values(s.sources)) {
		if said[e.sourceName(i)] {
			continue
		}
		said[e.sourceName(i)] = true
		f.Evidence = append(f.Evidence, ev("silence of "+e.sourceName(i), s.seconds, s.seconds-1, s.seconds+1, nan, "s"))
	}
	if s.times > 1 {
		f.Evidence = append(f.Evidence, ev("silences", float64(s.times), nan, nan, nan, ""))
	}
	// A contact that shakes comes back by itself (agronomy, F64 and F65); what
	// stays away may as well be switched off or full. Judgement.
	plug, log := 0.55, 0.40
	if c.until != evenstand.NoTime && s.seconds < 600 {
		plug, log = 0.82, 0.13
	}
	f.Causes = normalise(evenstand.Cause{Cause: evenstand.CausePlug, Probability: plug}, evenstand.Cause{Cause: evenstand.CauseLogOff, Probability: log})
}

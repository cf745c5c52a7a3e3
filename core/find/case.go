package find

import "evenstand"

// caseFile is one fault being followed.
type caseFile struct {
	kind      string
	rows      []int
	side      *side
	raised    bool
	dropped   bool // explained by another case
	held      bool // waits for a group effect to be decided
	onset     evenstand.Micros
	onsetLow  evenstand.Micros
	onsetHigh evenstand.Micros
	alarm     evenstand.Micros
	until     evenstand.Micros // NoTime while it lasts
	fromStart bool             // it was there before anything could be compared
	grade     evenstand.Grade

	chart *evenstand.Chart // as it was when it ended
	drawn bool

	cell     *cellCase
	sum      excess  // skips or doubles beyond what the row would have without it
	tail     excess  // of that, what came since it may have been over
	was      float64 // the rate when it was last clearly there
	stop     *stopCase
	off      *offCase
	rate     *rateCase
	vac      *vacCase
	runs     *runCase
	doubt    *doubtCase
	silent   *silentCase
	position *positionCase

	spread *spreadCase
	drive  *driveCase
	speed  *speedCase
	turn   *turnCase
	recur  *recurCase

	flow    *flowCase
	alone   *aloneCase
	tank    *tankCase
	contact *contactCase
	press   *pressCase
	furrow  *furrowCase
	trouble *furrowRowCase
	slot    *slotCase
	whole   *wholeCase
	pump    *pumpCase
	swing   *swingCase
	lot     *lotCase

	lead  *caseFile   // whose finding this is a part of
	parts []*caseFile // that are one finding with this one

	weak, waiting bool // a small shift that waits for more batches
	hourly        bool // found by the hourly tests
	level         bool // by the level test: worse than healthy rows are
}

// raise puts a case on the worklist; its alarm is when that was.
func (e *Engine) raise(c *caseFile) {
	if !c.raised {
		c.raised, c.alarm = true, e.now
	}
}

func (c *caseFile) open() bool { return !c.dropped && c.until == evenstand.NoTime }

// excess sums what a row missed beyond its healthy share.
type excess struct {
	places   float64 // places due since the onset
	got      float64 // skips or doubles
	expected float64
	varExp   float64 // squared relative error of expected, largest seen
}

func (x *excess) add(n, y, exp float64) {
	x.places += n
	x.got += y
	x.expected += exp
}

// count adds a batch to the sums of a case.
func (c *caseFile) count(n, y, exp float64) {
	c.sum.add(n, y, exp)
	c.tail.add(n, y, exp)
}

// over ends a case and takes back what was added after its end.
func (c *caseFile) over(until evenstand.Micros) {
	c.until = until
	c.sum.add(-c.tail.places, -c.tail.got, -c.tail.expected)
	c.tail = excess{}
}

// anyOpen tells whether one of the kinds is open on the row.
func (e *Engine) anyOpen(row int, kinds ...string) *caseFile {
	for i := len(e.cases) - 1; i >= 0; i-- {
		c := e.cases[i]
		if !c.open() {
			continue
		}
		for _, k := range kinds {
			if c.kind == k {
				for _, r := range c.rows {
					if r == row {
						return c
					}
				}
			}
		}
	}
	return nil
}

// anyDuring tells whether one of the kinds touched the row between two times.
func (e *Engine) anyDuring(row int, from, to evenstand.Micros, kinds ...string) bool {
	for _, c := range e.cases {
		if c.dropped || c.onset > to || (c.until != evenstand.NoTime && c.until < from) || !c.hasRow(row) {
			continue
		}
		for _, k := range kinds {
			if c.kind == k {
				return true
			}
		}
	}
	return false
}

func (e *Engine) add(c *caseFile) *caseFile {
	c.until = evenstand.NoTime
	e.cases = append(e.cases, c)
	return c
}

// upset is trouble that passed, kept aside.
type upset struct {
	row      int
	from, to evenstand.Micros
	misses   float64
	places   float64
	grade    evenstand.Grade
	run      float64   // misses on end, on average; 0 unknown
	planted  float64   // s of planting when it was known
	end      int64     // the row's place counter then
	lowering bool      // it came soon after a lowering
	counts   bool      // skips that are no runs
	of       *caseFile // what comes back
}

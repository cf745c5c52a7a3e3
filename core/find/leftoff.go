package find

import (
	"math"
	"slices"

	"evenstand"
)

// A row that is switched off while its peers plant, for longer than sections
// need at headlands and point rows.
const (
	leftOffWay = 30.0 // m
	leftOffOn  = 20.0 // m planted in between: less, such as none over a fill, and it was never on
)

type offWatch struct {
	since evenstand.Micros
	way   float64
	on    float64 // m planted since it was off
	cse   *caseFile
	was   *caseFile // that ended when it was switched on
}

type offCase struct {
	way  float64 // m, summed over the rows
	area float64
}

func (e *Engine) tickOff(t evenstand.Micros) {
	way := e.bar.Way - e.offWay
	e.offWay = e.bar.Way
	if way < 0 || way > 50 || !e.pass.down || !e.bar.Planting {
		way = 0
	}
	on := 0
	for _, r := range e.rows {
		if r.enabled {
			on++
		}
	}
	most := float64(on) >= 0.5*float64(len(e.rows))
	e.endOff(t, way)
	for _, r := range e.rows {
		o := &r.off
		if r.enabled {
			continue
		}
		if way <= 0 || !most {
			continue
		}
		if o.way == 0 {
			o.since = t - evenstand.Second
		}
		on := o.on
		o.way += way
		o.on = 0
		if o.cse != nil {
			o.cse.off.add(e, way)
			continue
		}
		if o.way < leftOffWay {
			continue
		}
		// Rows switched off together are one finding, and so are rows that are
		// switched on for a turn only; of several that were off before, all must
		// be off again.
		var c *caseFile
		for _, x := range e.cases {
			if x.kind == evenstand.KindRowLeftOff && !x.open() && !x.dropped && x.hasRow(r.n) && e.allOff(x.rows) &&
				(o.since-x.until < stopMerge || on < leftOffOn && o.was == x) {
				x.until = evenstand.NoTime
				for _, n := range x.rows {
					again := &e.row(n).off
					again.cse = x
					x.off.add(e, again.way)
				}
				break
			}
		}
		if o.cse != nil {
			continue
		}
		for _, x := range e.cases {
			if x.kind == evenstand.KindRowLeftOff && x.open() && absT(x.onset-o.since) <= 3*evenstand.Second {
				c = x
			}
		}
		if c == nil {
			c = e.add(&caseFile{
				kind: evenstand.KindRowLeftOff, raised: true, onset: o.since, onsetLow: o.since - evenstand.Second,
				onsetHigh: o.since + evenstand.Second, alarm: t, grade: max(r.grade, evenstand.GradeA), off: &offCase{},
			})
			if r.grade == evenstand.NoGrade {
				c.grade = e.bestGrade()
			}
		}
		c.rows = append(c.rows, r.n)
		c.off.add(e, o.way)
		o.cse = c
		e.explain(c)
	}
}

// allOff tells whether all of some rows are switched off.
func (e *Engine) allOff(rows []int) bool {
	for _, n := range rows {
		if r := e.row(n); r.enabled || r.off.cse != nil {
			return false
		}
	}
	return true
}

// endOff ends what is switched on again. Of a finding of several rows those
// that come back leave it as a finding of their own that has ended; the others
// stay.
func (e *Engine) endOff(t evenstand.Micros, way float64) {
	back := map[*caseFile][]*row{}
	for _, r := range e.rows {
		if !r.enabled {
			continue
		}
		if c := r.off.cse; c != nil && c.open() {
			back[c] = append(back[c], r)
			continue
		}
		if r.off.on += way; r.off.on > leftOffOn {
			r.off = offWatch{on: r.off.on}
		}
	}
	for _, c := range e.cases {
		rows := back[c]
		if len(rows) == 0 {
			continue
		}
		over := c
		if len(rows) < len(c.rows) {
			left := *c
			left.off = &offCase{}
			left.rows = nil
			for _, r := range rows {
				left.rows = append(left.rows, r.n)
				left.off.add(e, r.off.way)
				c.off.add(e, -r.off.way)
				c.rows = slices.DeleteFunc(c.rows, func(n int) bool { return n == r.n })
			}
			over = e.add(&left)
			over.until = t
		} else {
			c.until = t
		}
		for _, r := range rows {
			r.off = offWatch{was: over}
		}
	}
}

func (o *offCase) add(e *Engine, way float64) {
	o.way += way
	if !math.IsNaN(e.cfg.Spacing) {
		o.area += way * e.cfg.Spacing
	}
}

func absT(t evenstand.Micros) evenstand.Micros {
	if t < 0 {
		return -t
	}
	return t
}

package find

import (
	"math"
	"slices"
	"strings"

	"evenstand"
)

// What people write of the seed in the boxes is held against what was planned,
// and a change of lot is the first thing to ask of rows that change with it
// (agronomy F09). All of this is judgement.
const (
	lotAlarm  = 10                      // s of planting with another lot than the planned
	lotSame   = 120 * evenstand.Second  // rows that begin together are one finding
	lotBefore = 180 * evenstand.Second  // by which a shift's beginning may lie before the fill that brought it
	lotAfter  = 900 * evenstand.Second  // and behind the note
	lotFill   = 1800 * evenstand.Second // from a fill to the note of its lot
	lotShare  = 0.5                     // of the rows with the lot that must shift
	lotOthers = 0.2                     // of the other rows that may shift at the same time
	lotKeep   = 64                      // changes that are remembered
)

type lotWatch struct {
	rows    []lotRow
	changes []lotChange
	fill    evenstand.Micros // last one that was written down
}

// lotRow is what is known of the seed in a row's box.
type lotRow struct {
	lot     string
	planned []string
	wrong   int // s of planting with another than the planned
	since   evenstand.Micros
	area    float64
	cse     *caseFile
}

// lotChange is a fill with another lot than before.
type lotChange struct {
	t    evenstand.Micros // as it was written down
	from evenstand.Micros // since when the planter stood
	lot  string
	rows []int
	fill bool // a fill or a long stop goes with it

	planted evenstand.Micros // since when it is planted; 0 not yet
}

// lotCase is what a finding about a lot rests on.
type lotCase struct {
	lot, planned string
	area         float64
	fill         bool
}

func (e *Engine) lotRow(n int) *lotRow {
	for len(e.lots.rows) < n {
		e.lots.rows = append(e.lots.rows, lotRow{})
	}
	return &e.lots.rows[n-1]
}

// Planned says which lots or hybrids a row is to get where it plants from now
// on; empty: nobody said.
func (e *Engine) Planned(n int, lots []string) { e.lotRow(n).planned = lots }

// Lot says that somebody wrote down at t which seed is in the boxes of rows;
// without rows in all of them.
func (e *Engine) Lot(rows []int, t evenstand.Micros, lot string) {
	if lot = strings.TrimSpace(lot); lot == "" {
		return
	}
	if len(rows) == 0 {
		rows = e.allRows()
	}
	c := lotChange{t: t, from: t, lot: lot}
	for _, n := range rows {
		if n < 1 || n > e.cfg.Rows {
			continue
		}
		r := e.lotRow(n)
		if r.lot != "" && !strings.EqualFold(r.lot, lot) {
			c.rows = append(c.rows, n)
		}
		if !strings.EqualFold(r.lot, lot) {
			r.wrong, r.area = 0, 0
		}
		r.lot = lot
	}
	if len(c.rows) == 0 {
		return
	}
	c.from, c.fill = e.fillAt(t)
	if len(e.lots.changes) == lotKeep {
		e.lots.changes = slices.Delete(e.lots.changes, 0, 1)
	}
	e.lots.changes = append(e.lots.changes, c)
}

// Refilled says that somebody wrote down a fill.
func (e *Engine) Refilled(t evenstand.Micros) { e.lots.fill = t }

// fillAt finds the fill or the long stop that goes with a note at t: since when
// the planter stood.
func (e *Engine) fillAt(t evenstand.Micros) (from evenstand.Micros, ok bool) {
	from = t
	if e.stood != 0 && t-e.stood >= fillLeast/2 && e.stood < t {
		return e.stood, true
	}
	for _, h := range e.halts {
		if h.to-h.from >= fillLeast && h.from <= t && t-h.to <= lotFill {
			from, ok = h.from, true
		}
	}
	if f := e.lots.fill; !ok && f != 0 && f <= t && t-f <= lotFill {
		from, ok = f, true
	}
	return from, ok
}

func (e *Engine) tickLots(t evenstand.Micros) {
	if len(e.lots.rows) == 0 || !e.bar.Planting || !e.pass.down {
		return
	}
	for i := range e.lots.changes {
		if x := &e.lots.changes[i]; x.planted == 0 {
			x.planted = max(x.from, t-evenstand.Second)
			if !x.fill {
				x.planted = x.t
			}
			x.planted = e.afterHalt(x.planted, flowSame)
		}
	}
	for i := range e.lots.rows {
		r := &e.lots.rows[i]
		if i >= len(e.rows) || !e.rows[i].enabled {
			continue
		}
		if r.cse != nil && !r.cse.open() {
			r.cse = nil
		}
		wrong := r.lot != "" && len(r.planned) > 0 && !slices.ContainsFunc(r.planned, func(p string) bool { return evenstand.IsLot(r.lot, p) })
		if c := r.cse; c != nil && (!wrong || c.lot.lot != r.lot || c.lot.planned != strings.Join(r.planned, " or ")) {
			r.cse, r.wrong = nil, 0
			if !slices.ContainsFunc(e.lots.rows, func(o lotRow) bool { return o.cse == c }) {
				c.until = t
			}
		}
		if !wrong {
			r.wrong, r.area = 0, 0
			continue
		}
		ground := e.bar.Speed * e.cfg.Spacing
		if r.cse != nil {
			r.cse.lot.area += ground
			continue
		}
		if r.wrong == 0 {
			r.since, r.area = t-evenstand.Second, 0
		}
		r.area += ground
		if r.wrong++; r.wrong >= lotAlarm {
			e.openLot(i+1, t)
		}
	}
	e.joinLots()
}

// openLot raises a row with another lot; rows that have it together are one
// finding.
func (e *Engine) openLot(n int, t evenstand.Micros) {
	r := e.lotRow(n)
	planned := strings.Join(r.planned, " or ")
	for _, c := range e.cases {
		if c.lot != nil && c.open() && c.lot.lot == r.lot && c.lot.planned == planned && absT(c.onset-r.since) <= lotSame {
			c.rows = append(c.rows, n)
			sortRows(c.rows)
			c.lot.area += r.area
			r.cse = c
			return
		}
	}
	_, fill := e.fillAt(r.since)
	for _, c := range e.lots.changes {
		if c.lot == r.lot && slices.Contains(c.rows, n) {
			fill = fill || c.fill
		}
	}
	r.cse = e.add(&caseFile{
		kind: evenstand.KindLotMismatch, rows: []int{n}, raised: true, onset: r.since, onsetLow: r.since - lotBefore, onsetHigh: r.since + evenstand.Second,
		alarm: t, grade: evenstand.GradeD, lot: &lotCase{lot: r.lot, planned: planned, area: r.area, fill: fill},
	})
}

// shifts tells whether a case is a shift of a rate that a change of lot may have
// brought.
func (c *caseFile) shifts(x *lotChange) bool {
	return (c.kind == evenstand.KindRowSkips || c.kind == evenstand.KindRowDoubles) && !c.dropped && c.onset >= x.from-lotBefore && c.onset <= x.t+lotAfter
}

// lotOf finds the change of lot that explains a case: its rows got it, most of
// the rows that got it shifted with it, and hardly any other. rows are those that
// did.
func (e *Engine) lotOf(c *caseFile) (x *lotChange, rows []int) {
	for i := range e.lots.changes {
		x := &e.lots.changes[i]
		if !c.shifts(x) || !slices.Contains(x.rows, c.rows[0]) {
			continue
		}
		rows, others := []int(nil), 0
		for _, o := range e.cases {
			switch {
			case o.kind != c.kind || !o.shifts(x) || len(o.rows) != 1 || slices.Contains(rows, o.rows[0]):
			case slices.Contains(x.rows, o.rows[0]):
				rows = append(rows, o.rows[0])
			default:
				others++
			}
		}
		rest := e.cfg.Rows - len(x.rows)
		if float64(len(rows)) < lotShare*float64(len(x.rows)) || rest > 0 && float64(others) > lotOthers*float64(rest) {
			continue
		}
		sortRows(rows)
		return x, rows
	}
	return nil, nil
}

// joinLots makes one finding of the rows that a change of lot shifted together.
func (e *Engine) joinLots() {
	if len(e.lots.changes) == 0 {
		return
	}
	for _, c := range e.cases {
		if c.lead != nil && c.lead.dropped {
			c.lead = nil
		}
		if c.dropped || !c.raised || c.lead != nil || len(c.parts) > 0 || c.sumKind() < 0 || c.side != nil || len(c.rows) != 1 {
			continue
		}
		x, _ := e.lotOf(c)
		if x == nil {
			continue
		}
		for _, o := range e.cases {
			if o == c || o.kind != c.kind || o.dropped || !o.raised || o.lead != nil || len(o.rows) != 1 {
				continue
			}
			if y, _ := e.lotOf(o); y == x && (len(o.parts) > 0 || o.alarm < c.alarm || o.alarm == c.alarm && o.rows[0] < c.rows[0]) {
				c.lead, o.parts = o, append(o.parts, c)
				break
			}
		}
	}
}

// together gives a case with those that are one finding with it.
func (c *caseFile) together() *caseFile {
	parts := slices.DeleteFunc(slices.Clone(c.parts), func(p *caseFile) bool { return p.dropped })
	if len(parts) == 0 {
		return c
	}
	all := *c
	all.rows, all.chart, all.drawn = slices.Clone(c.rows), nil, false
	for _, p := range parts {
		if !all.hasRow(p.rows[0]) {
			all.rows = append(all.rows, p.rows[0])
		}
		all.sum.add(p.sum.places, p.sum.got, p.sum.expected)
		all.sum.varExp = math.Max(all.sum.varExp, p.sum.varExp)
		all.onset, all.onsetLow, all.onsetHigh = min(all.onset, p.onset), min(all.onsetLow, p.onsetLow), max(all.onsetHigh, p.onsetHigh)
		switch {
		case p.until == evenstand.NoTime || all.until == evenstand.NoTime:
			all.until = evenstand.NoTime
		default:
			all.until = max(all.until, p.until)
		}
	}
	sortRows(all.rows)
	return &all
}

// lotOfSide finds the change of lot that explains why a whole side skips while
// its gauge stands: just the rows of the side got it.
func (e *Engine) lotOfSide(c *caseFile) *lotChange {
	for i := range e.lots.changes {
		x := &e.lots.changes[i]
		if !c.vac.byGauge && slices.Equal(x.rows, c.rows) && x.t >= c.onsetLow-lotBefore && x.from <= c.onsetHigh {
			return x
		}
	}
	return nil
}

// lotWeight is how likely the lot is beside all other causes of a shift on rows
// that got it: the more rows shifted together, the more. Judgement, no published
// odds.
func (e *Engine) lotWeight(c *caseFile) float64 {
	if c.vac != nil {
		if e.lotOfSide(c) != nil {
			return 0.85
		}
		return 0
	}
	x, rows := e.lotOf(c)
	switch {
	case x == nil:
		return 0
	case len(rows) >= 3:
		return 0.93
	case len(rows) == 2:
		return 0.85
	}
	return 0.6
}

// withLot puts the lot among the causes, at its weight.
func (e *Engine) withLot(c *caseFile, f *evenstand.Finding) {
	w := e.lotWeight(c)
	if w == 0 {
		return
	}
	for i := range f.Causes {
		f.Causes[i].Probability *= 1 - w
	}
	f.Causes = append(f.Causes, evenstand.Cause{Cause: evenstand.CauseLot, Probability: 0.97 * w})
	slices.SortStableFunc(f.Causes, func(a, b evenstand.Cause) int {
		switch {
		case a.Probability > b.Probability:
			return -1
		case a.Probability < b.Probability:
			return 1
		}
		return 0
	})
	x, rows := e.lotOf(c)
	if c.vac != nil {
		x, rows = e.lotOfSide(c), c.rows
	}
	if len(rows) > 1 && x.planted != 0 { // all of them since the fill
		f.Since, f.SinceLow, f.SinceHigh = x.planted, min(f.SinceLow, x.planted), x.planted
	}
	f.Evidence = append(f.Evidence, ev("rows that shifted with lot "+x.lot, float64(len(rows)), nan, nan, float64(len(x.rows)), ""))
}

// reportLot says what a finding about a lot rests on. What was filled by mistake
// goes with a fill, and the more so when these rows drop otherwise since.
// Judgement, no published odds.
func (e *Engine) reportLot(c *caseFile, f *evenstand.Finding) {
	x := c.lot
	f.Evidence = []evenstand.Evidence{ev("planted with lot "+x.lot+", planned "+x.planned, x.area, nan, nan, float64(len(c.rows)), "m2")}
	wrong, note := 0.55, 0.42
	if x.fill {
		wrong, note = 0.80, 0.17
	}
	shifted := map[int]bool{}
	for i := range e.lots.changes {
		y := &e.lots.changes[i]
		if y.lot != x.lot {
			continue
		}
		for _, o := range e.cases {
			if o.shifts(y) && o.raised && c.hasRow(o.rows[0]) {
				shifted[o.rows[0]] = true
			}
		}
	}
	if n := len(shifted); n > 0 {
		f.Evidence = append(f.Evidence, ev("rows that shifted with lot "+x.lot, float64(n), nan, nan, float64(len(c.rows)), ""))
		if 2*n >= len(c.rows) {
			wrong, note = 0.92, 0.05
		}
	}
	f.Causes = normalise(evenstand.Cause{Cause: evenstand.CauseWrongFill, Probability: wrong}, evenstand.Cause{Cause: evenstand.CauseLotNote, Probability: note})
}

package effect

import (
	"math"
	"slices"

	"evenstand"
	"evenstand/core/stat"
	"evenstand/core/try"
)

const (
	// side is how many stretches before and after a change are looked at, and
	// settle how many after it are left out (methods document, section h).
	side   = 40
	settle = 5
	// least is the fewest stretches on a side that an effect rests on: 120 m.
	// Judgement, no source.
	least = 8
	// level of the intervals.
	level = 0.90
)

// Names of the measures that effects are asked of, in the order in which they are
// told (core/measure/group).
var Names = []string{"skips", "doubles", "spacing", "load", "wheel-off", "moisture", "trash", "temperature", "population", "liquid", "granular"}

// Why says why there is no effect.
type Why uint8

// The reasons.
const (
	None    Why = iota
	Short       // too little was planted on one side, in one field, without another change
	Mixed       // another setting was changed on the same rows at the same time
	Silent      // nothing told the measure
	Lonely      // too few rows were left as they were
	Again       // part of a back and forth that is told under its first change
	Unmoved     // a speed that did not vary enough
)

// Found is what came of a change: its effect on a measure, or why there is none.
type Found struct {
	try.Effect
	Why Why
	// From and To are the time of the stretches that it rests on.
	From, To evenstand.Micros
}

// Day is a machine-day with its changes, ready to be asked.
type Day struct {
	p       *try.Panel
	changes []try.Change
	line    []series // by measure
	first   []int32  // of each step the first one from it on at which a change is under way
	near    []int32  // of each step the one at the same place on a pass before, -1 none
}

// NewDay takes a panel and all changes of its planter.
func NewDay(p *try.Panel, all []try.Change) *Day {
	d := &Day{p: p, line: make([]series, len(p.Measures))}
	if len(p.Steps) == 0 {
		return d
	}
	d.changes = slices.Clone(all)
	try.SortChanges(d.changes)
	for i := range d.changes {
		c := &d.changes[i]
		c.Early, c.Late = min(c.Early, c.T), max(c.Late, c.T)
		if len(c.Rows) > 0 && d.whole(c) {
			c.Rows = nil
		}
	}
	d.first = make([]int32, len(p.Steps))
	for i := range d.first {
		d.first[i] = int32(len(p.Steps))
	}
	for i := range d.changes {
		from, to := d.untouched(d.changes[i].Early), d.settled(d.changes[i].Late)
		for k := range to {
			d.first[k] = min(d.first[k], int32(from))
		}
	}
	return d
}

// whole tells whether a change is of all rows.
func (d *Day) whole(c *try.Change) bool {
	for r := 1; r <= d.p.Rows; r++ {
		if !c.On(r) {
			return false
		}
	}
	return true
}

// Of gives what one change did to each measure of the panel. All are all changes
// of the planter, with this one among them.
func Of(p *try.Panel, c *try.Change, all []try.Change) []Found {
	d := NewDay(p, all)
	for i := range d.changes {
		if o := &d.changes[i]; o.Lever == c.Lever && o.T == c.T && o.Note == c.Note && slices.Equal(o.Rows, c.Rows) {
			return d.of(i)
		}
	}
	d = NewDay(p, append(slices.Clone(all), *c))
	for i := range d.changes {
		if o := &d.changes[i]; o.Lever == c.Lever && o.T == c.T {
			return d.of(i)
		}
	}
	return nil
}

// Effects gives what the changes of the day did, change by change, each by the
// measures of the panel.
func (d *Day) Effects() []Found {
	var out []Found
	if len(d.p.Steps) == 0 {
		return nil
	}
	from, to := d.p.Steps[0].T, d.p.Steps[len(d.p.Steps)-1].T
	for i := range d.changes {
		if c := &d.changes[i]; c.T >= from && c.T <= to {
			out = append(out, d.of(i)...)
		}
	}
	return out
}

func (d *Day) of(i int) []Found {
	c := &d.changes[i]
	out := make([]Found, len(d.p.Measures))
	for m := range out {
		out[m] = Found{Effect: try.Effect{Change: *c, Measure: d.p.Measures[m].ID, Before: math.NaN(), Value: math.NaN(), Low: math.NaN(), High: math.NaN()}}
	}
	fail := func(w Why) []Found {
		for m := range out {
			out[m].Why = w
		}
		return out
	}
	if len(d.p.Steps) == 0 {
		return fail(Short)
	}
	if len(c.Rows) == 0 {
		if g, first := d.group(i); g != nil {
			if !first {
				return fail(Again)
			}
			for m := range out {
				d.switchback(g, m, &out[m])
			}
			return out
		}
	}
	w, why := d.window(i)
	if why != None {
		return fail(why)
	}
	for m := range out {
		f := &out[m]
		f.From, f.To = d.p.Steps[w.first].T, d.p.Steps[w.last].T
		if len(c.Rows) > 0 {
			d.rows(w, m, f)
		} else {
			d.once(w, m, f)
		}
	}
	return out
}

// window is what may be looked at about a change: steps first to before−1 and
// after to last, on rows of two kinds.
type window struct {
	change                     int
	first, before, after, last int
	changed, control           []int
}

// window finds it: in one field, not across another change of rows that are
// looked at.
func (d *Day) window(i int) (window, Why) {
	c, p := &d.changes[i], d.p
	w := window{change: i}
	w.before = d.untouched(c.Early)
	w.after = d.settled(c.Late)
	if w.before == 0 || w.after >= len(p.Steps) {
		return w, Short
	}
	field := p.Steps[w.before-1].Field
	if p.Steps[w.after].Field != field {
		return w, Short
	}
	for r := 1; r <= p.Rows; r++ {
		if c.On(r) {
			w.changed = append(w.changed, r)
		} else {
			w.control = append(w.control, r)
		}
	}
	// The furthest that may be looked at: other changes at once take their rows
	// out, others end it.
	lo, hi := 0, len(p.Steps)
	for j := range d.changes {
		o := &d.changes[j]
		if j == i {
			continue
		}
		from, to := d.untouched(o.Early), d.settled(o.Late)
		if from <= w.after && to >= w.before { // at once
			if slices.ContainsFunc(w.changed, o.On) {
				return w, Mixed
			}
			w.control = slices.DeleteFunc(w.control, o.On)
			continue
		}
		if !slices.ContainsFunc(w.changed, o.On) && !slices.ContainsFunc(w.control, o.On) {
			continue
		}
		if to < w.before {
			lo = max(lo, to)
		} else {
			hi = min(hi, from)
		}
	}
	w.first = w.before
	for n := 0; n < reach && w.first > lo && p.Steps[w.first-1].Field == field; n++ {
		w.first--
	}
	w.last = w.after
	for n := 1; n < reach && w.last+1 < hi && p.Steps[w.last+1].Field == field; n++ {
		w.last++
	}
	if w.before-w.first < least || w.last+1-w.after < least {
		return w, Short
	}
	return w, None
}

// reach is how far steps are looked for that tell: some tell nothing.
const reach = 2 * side

// untouched gives the number of steps that were over at a time: the last one
// before may still lie across it and is left out.
func (d *Day) untouched(t evenstand.Micros) int { return max(0, d.p.At(t)-1) }

// settled gives the first step from which a change that had taken effect at a
// time counts.
func (d *Day) settled(t evenstand.Micros) int { return min(len(d.p.Steps), d.p.At(t)+settle) }

// finish sets the interval.
func (f *Found) finish(value, se, df float64) {
	// What never varies is not measured but set.
	if !(se > 1e-9*math.Abs(f.Before)) || math.IsNaN(value) || !(df >= 1) {
		f.Why = Silent
		return
	}
	f.Value, f.SE, f.DF = value, se, df
	t := quantile(df)
	f.Low, f.High = value-t*se, value+t*se
}

// quantile is Student's of the level, two-sided.
func quantile(df float64) float64 {
	if df > 1e6 {
		return stat.NormalQuantile(1 - (1-level)/2)
	}
	return stat.StudentQuantile(1-(1-level)/2, df)
}

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
	Drives      // follows from another lever that was changed with it and is told under that
)

// Found is what came of a change: its effect on a measure, or why there is none.
type Found struct {
	try.Effect
	Why Why
	// With are the changes that came with it: of what its lever drives, or, where Why
	// is Drives, the one that it is told under.
	With []try.Change
	// Out are the rows that were left out, as something else was wrong with them.
	Out evenstand.Rows
	// From and To are the time of the stretches that it rests on.
	From, To evenstand.Micros
}

// Trouble is a time in which something was wrong with a row.
type Trouble struct {
	Row      int
	From, To evenstand.Micros
}

// Day is a machine-day with its changes, ready to be asked.
type Day struct {
	p       *try.Panel
	trouble []Trouble
	changes []try.Change
	under   []int    // of each change the one that it is told under, -1 none
	line    []series // by measure
	first   []int32  // of each step the first one from it on at which a change is under way
	near    []int32  // of each step the one at the same place on a pass before, -1 none
}

// NewDay takes a panel, all changes of its planter, and when which rows were in
// trouble.
func NewDay(p *try.Panel, all []try.Change, trouble ...Trouble) *Day {
	d := &Day{p: p, line: make([]series, len(p.Measures)), trouble: trouble}
	if len(p.Steps) == 0 {
		return d
	}
	d.changes = slices.Clone(all)
	for i := range d.changes {
		if c := &d.changes[i]; len(c.Rows) > 0 && d.whole(c) {
			c.Rows = nil
		}
	}
	d.changes = try.Once(d.changes)
	d.drives()
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

// driven gives what a lever drives: it changes with it, by nobody's hand.
func driven(lever, by string) bool {
	switch lever {
	case evenstand.FanSpeed.String():
		return by == evenstand.Vacuum.String()
	case evenstand.AppliedForce.String():
		return by == evenstand.GaugeWheelLoadTarget.String() || by == try.ForceMode
	}
	return false
}

// driveTime is how far apart a lever and what it drives are seen to change: levels
// are seen in means. Judgement.
const driveTime = 20 * evenstand.Second

// drives finds what changed with another lever that drives it, on its rows. It is
// told under the one that a person wrote down, else under the one that is set.
func (d *Day) drives() {
	d.under = make([]int, len(d.changes))
	for i := range d.under {
		d.under[i] = -1
	}
	for i := range d.changes {
		for j := range d.changes {
			a, b := &d.changes[i], &d.changes[j] // a is what b drives
			if !driven(a.Lever, b.Lever) || !a.Together(b, driveTime) || d.under[i] >= 0 || d.under[j] >= 0 {
				continue
			}
			kept, told := j, i
			if a.Note > 0 && b.Note == 0 {
				kept, told = i, j
			}
			if k, t := &d.changes[kept], &d.changes[told]; len(k.Rows) > 0 && (len(t.Rows) == 0 || slices.ContainsFunc(t.Rows, func(r int) bool { return !k.On(r) })) {
				continue
			}
			d.under[told] = kept
		}
	}
	for i, k := range d.under {
		if k >= 0 {
			o, c := &d.changes[i], &d.changes[k]
			c.Early, c.Late = min(c.Early, o.Early), max(c.Late, o.Late)
		}
	}
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
	if k := d.under[i]; k >= 0 {
		for m := range out {
			out[m].With = []try.Change{d.changes[k]}
		}
		return fail(Drives)
	}
	for j, k := range d.under {
		if k == i {
			for m := range out {
				out[m].With = append(out[m].With, d.changes[j])
			}
		}
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
		if j == i || d.under[j] == i {
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
	// Headlands tell nothing: turns weigh on the ends of the bar.
	before, after := 0, 0
	for w.first = w.before; before < reach && w.first > lo && p.Steps[w.first-1].Field == field; {
		if w.first--; !p.Steps[w.first].Headland {
			before++
		}
	}
	end := w.after
	for ; after < reach && end < hi && p.Steps[end].Field == field; end++ {
		if !p.Steps[end].Headland {
			after++
		}
	}
	w.last = max(w.after, end-1)
	if before < least || after < least {
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

package try

import (
	"math"
	"slices"

	"evenstand"
)

const (
	// atOnce is how far apart two tellings of one change lie by one clock, byTwo by
	// the clocks of two boxes. Judgement.
	atOnce = 5 * evenstand.Second
	byTwo  = 60 * evenstand.Second
	// asSaid is by what part two tellings of one amount differ. Judgement.
	asSaid = 0.1
)

// Once gives changes in order of time, each once: two boxes log one target, and
// people write down what a box has too. What tells the time best gives time and
// amounts.
func Once(all []Change) []Change {
	out := make([]Change, 0, len(all))
	for i := range all {
		c := all[i]
		c.Early, c.Late = min(c.Early, c.T), max(c.Late, c.T)
		if n := slices.IndexFunc(out, func(o Change) bool { return o.same(&c) }); n >= 0 {
			out[n] = out[n].with(c)
			continue
		}
		out = append(out, c)
	}
	SortChanges(out)
	return out
}

// Together tells whether two changes may have been made at one time, their clocks
// being off by some time.
func (c *Change) Together(o *Change, off evenstand.Micros) bool {
	return c.Early <= o.Late+off && o.Early <= c.Late+off
}

// same tells whether two are tellings of one change.
func (c *Change) same(o *Change) bool {
	off := atOnce
	if c.Source != o.Source && c.Source != "" && o.Source != "" {
		off = byTwo
	}
	if c.Lever != o.Lever || !c.Together(o, off) {
		return false
	}
	// Who writes by hand often leaves the rows out.
	if !slices.Equal(c.Rows, o.Rows) && !(len(c.Rows) == 0 && c.Source == "") && !(len(o.Rows) == 0 && o.Source == "") {
		return false
	}
	if c.ToState != "" || o.ToState != "" {
		return c.ToState == o.ToState && (c.FromState == "" || o.FromState == "" || c.FromState == o.FromState)
	}
	if math.IsNaN(c.To) || math.IsNaN(o.To) {
		return false
	}
	// Two changes that follow one another are none.
	near := math.Inf(1)
	for _, x := range [2]*Change{c, o} {
		if x.Number() {
			near = min(near, math.Abs(x.To-x.From)/2)
		}
	}
	if c.Number() && o.Number() {
		return math.Abs(c.To-o.To) <= near && math.Abs(c.From-o.From) <= near
	}
	return math.Abs(c.To-o.To) <= min(near, asSaid*math.Abs(c.To))
}

// with puts two tellings of one change together.
func (c Change) with(o Change) Change {
	unsaid := c.Unsaid && o.Unsaid
	if o.Late-o.Early < c.Late-c.Early || o.Late-o.Early == c.Late-c.Early && c.Source == "" && o.Source != "" {
		c, o = o, c
	}
	if c.Source != "" && o.Source != "" && c.Source != o.Source && c.Late-c.Early == o.Late-o.Early {
		// Neither clock is the better one.
		c.T, c.Early, c.Late = min(c.T, o.T), min(c.Early, o.Early), max(c.Late, o.Late)
	}
	if len(c.Rows) == 0 {
		c.Rows = o.Rows
	}
	if math.IsNaN(c.From) {
		c.From = o.From
	}
	if c.FromState == "" {
		c.FromState = o.FromState
	}
	c.Note, c.Unsaid = max(c.Note, o.Note), unsaid
	if c.Source == "" {
		c.Source = o.Source
	}
	return c
}

package effect

import (
	"slices"

	"evenstand"
	"evenstand/core/try"
)

// Beyond tells what Verdict would call an effect if nothing were x.
func (f *Found) Beyond(x float64) int { return f.beyond(x) }

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
	best, apart := -1, evenstand.Micros(0)
	for i := range d.changes {
		if o := &d.changes[i]; o.Lever == c.Lever {
			if a := max(o.T-c.T, c.T-o.T); best < 0 || a < apart {
				best, apart = i, a
			}
		}
	}
	if best < 0 {
		return nil
	}
	return d.of(best)
}

package try

import (
	"cmp"
	"math"
	"slices"

	"evenstand"
)

// Levers that have no quantity of the registry.
const (
	Depth     = "depth"
	ForceMode = "force_mode"
)

// Change is one change of a lever.
type Change struct {
	Lever string
	// T is when it was made, Late when it had taken effect at the latest; a note
	// by hand may be a minute and more off, so that nothing between Early and Late
	// tells of it.
	T, Early, Late evenstand.Micros
	Rows           evenstand.Rows // empty: all
	// From and To are in the registry's unit, depth in m; NaN where it is not a
	// number or was not said.
	From, To float64
	// FromState and ToState are the names of states, where the lever has those
	// instead of numbers: automatic, fixed, off.
	FromState, ToState string
	Note               int64  // of the journal, 0: none
	Source             string // the box that logged it; empty: by hand
	Side               string // left or right, where its rows are those of that side
	// Unsaid tells that a box measured it and nobody wrote it down as set: it may
	// have come by itself.
	Unsaid bool
}

// On tells whether the change is of a row.
func (c *Change) On(row int) bool { return len(c.Rows) == 0 || slices.Contains(c.Rows, row) }

// Number tells whether both ends are known numbers.
func (c *Change) Number() bool { return !math.IsNaN(c.From) && !math.IsNaN(c.To) }

// SortChanges orders by time, then lever.
func SortChanges(cs []Change) {
	slices.SortStableFunc(cs, func(a, b Change) int { return cmp.Or(cmp.Compare(a.T, b.T), cmp.Compare(a.Lever, b.Lever)) })
}

// Settings is how a lever stood on the rows of a planter through the changes of
// a time: Value gives it.
type Settings struct {
	lever   string
	changes []Change // of the lever, in order of time
}

// Follow takes the changes of one lever out of all.
func Follow(lever string, all []Change) Settings {
	s := Settings{lever: lever}
	for i := range all {
		if all[i].Lever == lever {
			s.changes = append(s.changes, all[i])
		}
	}
	SortChanges(s.changes)
	return s
}

// Value gives the lever's value on a row at a time: what the last change before
// set, or what the next one says it was; NaN unknown. Between Early and Late of
// a change it is unknown.
func (s *Settings) Value(row int, t evenstand.Micros) float64 {
	v := math.NaN()
	for i := range s.changes {
		c := &s.changes[i]
		if !c.On(row) {
			continue
		}
		switch {
		case t >= c.Late:
			v = c.To
		case t >= c.Early:
			return math.NaN()
		default:
			if math.IsNaN(v) {
				v = c.From
			}
			return v
		}
	}
	return v
}

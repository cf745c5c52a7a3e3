package find

import (
	"slices"

	"evenstand"
)

// What became of a finding since the last look.
const (
	ChangeRaised  = "raised"
	ChangeChanged = "changed" // its rows, its kind or its beginning are others now, or it goes on
	ChangeEnded   = "ended"
	ChangeTaken   = "taken back" // something else explains it
	ChangeChecked = "check-back" // what is known of what was done about it
)

// Change is what became of a finding.
type Change struct {
	What    string
	N       int              // the finding's number in the order of raising, from 1
	At      evenstand.Micros // the tick
	Finding evenstand.Finding
}

// Watcher looks at an engine after its ticks and tells what changed: what a
// live screen shows. It keeps a line for each finding that was raised.
type Watcher struct {
	e     *Engine
	known []*shown
	by    map[*caseFile]*shown
}

// shown is a case as it was last told.
type shown struct {
	c     *caseFile
	n     int
	gone  bool
	kind  string
	other evenstand.Micros // since when the kind would be another; NoTime it would not
	rows  []int
	since evenstand.Micros
	until evenstand.Micros
}

// sinceMoves is by how much a beginning must move to be told again: a person
// does not look at half minutes.
const sinceMoves = 30 * evenstand.Second

// kindHolds is how long a cell must look like the other kind to be told so.
const kindHolds = 60 * evenstand.Second

// Watch gives a watcher.
func (e *Engine) Watch() *Watcher { return &Watcher{e: e, by: map[*caseFile]*shown{}} }

// Look tells what changed since the last look, at most one change a finding.
func (w *Watcher) Look() []Change {
	var out []Change
	tell := func(what string, k *shown) {
		f, ok := w.e.report(k.c, w.e.now)
		if !ok {
			return
		}
		c := k.c.together()
		k.kind, k.rows, k.since, k.until = f.Kind, slices.Clone(c.rows), c.onset, c.until
		out = append(out, Change{what, k.n, w.e.now, f})
	}
	for _, k := range w.known {
		switch c := k.c.together(); {
		case k.gone:
		case c.dropped || c.lead != nil:
			k.gone = true
			tell(ChangeTaken, k)
		case c.until != evenstand.NoTime && k.until == evenstand.NoTime:
			tell(ChangeEnded, k)
		case c.until == evenstand.NoTime && k.until != evenstand.NoTime,
			absT(c.onset-k.since) > sinceMoves, !slices.Equal(c.rows, k.rows),
			w.relabelled(k):
			tell(ChangeChanged, k)
		}
	}
	for _, c := range w.e.cases {
		if !c.raised || c.dropped || c.lead != nil || w.by[c] != nil {
			continue
		}
		k := &shown{c: c, n: len(w.known) + 1, other: evenstand.NoTime}
		w.known, w.by[c] = append(w.known, k), k
		tell(ChangeRaised, k)
	}
	return out
}

// relabelled tells whether a cell has for a while been of another kind than was
// told.
func (w *Watcher) relabelled(k *shown) bool {
	if k.c.cell == nil || !k.c.open() || k.c.cell.kind() == k.kind {
		k.other = evenstand.NoTime
		return false
	}
	if k.other == evenstand.NoTime {
		k.other = w.e.now
	}
	return w.e.now-k.other >= kindHolds
}

// Standing gives the findings that have been raised and not been taken back,
// ended ones included, in order of raising, each with its number.
func (w *Watcher) Standing() (fs []evenstand.Finding, numbers []int) {
	for _, k := range w.known {
		if k.gone || k.c.dropped || k.c.lead != nil {
			continue
		}
		if f, ok := w.e.report(k.c, w.e.now); ok {
			fs, numbers = append(fs, f), append(numbers, k.n)
		}
	}
	return fs, numbers
}

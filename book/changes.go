package book

import (
	"cmp"
	"context"
	"math"
	"slices"

	"evenstand"
	"evenstand/core/record"
	"evenstand/core/try"
)

const (
	// byHand and byBox are how far the time of a change may be off that a person
	// wrote down or a box logged (methods document, section h).
	byHand = 60 * evenstand.Second
	byBox  = 2 * evenstand.Second
	// sameChange is how far apart a note and a box's line may lie that are of one
	// change. Judgement.
	sameChange = 180 * evenstand.Second
)

// Changes gives the changes of settings of a planter, in order of time: what
// people wrote down and what boxes logged. What both tell of is there once, with
// the box's time.
func (b *Book) Changes(ctx context.Context, planter string) ([]try.Change, error) {
	lines, err := b.Journal(ctx)
	if err != nil {
		return nil, err
	}
	days, err := b.Days(ctx)
	if err != nil {
		return nil, err
	}
	var all []try.Change
	for i := range days {
		if days[i].Planter != planter {
			continue
		}
		boxes, _, err := b.BoxJournal(ctx, days[i].Day)
		if err != nil {
			return nil, err
		}
		for k := range boxes {
			if l := &boxes[k]; l.Planter == planter {
				c, ok := l.change()
				if ok && !slices.ContainsFunc(all, func(o try.Change) bool { return o.Source != c.Source && twice(&o, &c) && covers(o.Rows, c.Rows) }) {
					all = append(all, c)
				}
			}
		}
	}
	slices.SortStableFunc(all, func(x, y try.Change) int { return cmp.Compare(x.T, y.T) })
	logged := len(all)
	for i := range lines {
		l := &lines[i]
		if l.TakenBack || l.Planter != "" && l.Planter != planter {
			continue
		}
		c, ok := change(&l.Entry, byHand)
		if !ok {
			continue
		}
		c.Note = l.ID
		if box := slices.IndexFunc(all[:logged], func(o try.Change) bool { return o.Note == 0 && twice(&o, &c) }); box >= 0 {
			all[box].Note = c.Note
			continue
		}
		all = append(all, c)
	}
	try.SortChanges(all)
	// What it was before is what the last change set, where nobody said.
	for i := range all {
		c := &all[i]
		if !math.IsNaN(c.From) || c.FromState != "" {
			continue
		}
		for k := i - 1; k >= 0; k-- {
			if o := &all[k]; o.Lever == c.Lever && covers(o.Rows, c.Rows) {
				c.From, c.FromState = o.To, o.ToState
				break
			} else if o.Lever == c.Lever {
				break // of some of its rows
			}
		}
	}
	return slices.DeleteFunc(all, func(c try.Change) bool {
		return c.From == c.To && c.FromState == c.ToState
	}), nil
}

// covers tells whether a change of some rows set all of others.
func covers(rows, of evenstand.Rows) bool {
	if len(rows) == 0 {
		return true
	}
	return len(of) > 0 && !slices.ContainsFunc(of, func(r int) bool { return !slices.Contains(rows, r) })
}

// twice tells whether a note is of a change that a box logged.
func twice(box, note *try.Change) bool {
	return box.Lever == note.Lever && box.ToState == note.ToState && math.Abs(float64(box.T-note.T)) <= float64(sameChange) &&
		(math.IsNaN(box.To) && math.IsNaN(note.To) || math.Abs(box.To-note.To) <= 0.03*math.Abs(note.To))
}

// change reads a line of a journal as a change of a setting.
func change(e *evenstand.Entry, off evenstand.Micros) (try.Change, bool) {
	s, ok := record.SettingOf(e)
	if !ok {
		return try.Change{}, false
	}
	return try.Change{Lever: s.Lever, T: s.T, Early: s.T - off, Late: s.T + off, Rows: s.Rows, From: s.Was, To: s.To, FromState: s.StateWas, ToState: s.State}, true
}

// change reads a box's line as a change of a setting: a target that was changed,
// unless it follows a map, or a setting of its journal.
func (l *BoxLine) change() (c try.Change, ok bool) {
	rows, err := evenstand.ParseRows(l.Rows)
	if err != nil {
		return c, false
	}
	switch l.What {
	case "target":
		if l.Times > 0 || l.Note != "" { // a map, or a section of which nobody says the rows
			return c, false
		}
		c = try.Change{Lever: l.Quantity, T: l.T, Early: l.T - byBox, Late: l.T + byBox, Rows: rows, From: float64(l.Was), To: float64(l.Value)}
		ok = true
	case "setting":
		c, ok = change(&evenstand.Entry{T: l.T, What: l.What, Rows: rows, Value: float64(l.Value), Unit: l.Unit, Note: l.Note}, byBox)
	}
	c.Source = l.Source
	return c, ok
}

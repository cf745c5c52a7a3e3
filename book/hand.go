package book

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"evenstand"
	"evenstand/core/record"
)

// PlanterNamed gives the planter that a note is of: the one that was named, or
// the only one. While the book knows none it is the name as it is, or empty: the
// one that comes.
func (b *Book) PlanterNamed(ctx context.Context, name string) (string, error) {
	all, err := b.Planters(ctx)
	switch {
	case err != nil:
		return "", err
	case name == "" && len(all) == 1:
		return all[0], nil
	case len(all) == 0:
		return name, nil
	case name == "":
		return "", fmt.Errorf("%w: which planter is it of? The logbook has: %s", ErrUnknown, strings.Join(all, ", "))
	case !slices.Contains(all, name):
		return "", fmt.Errorf("%w: there is no planter %q. The logbook has: %s", ErrUnknown, name, strings.Join(all, ", "))
	}
	return name, nil
}

// ReadNote understands a note as it was typed, now, and writes nothing. The card
// of the day on which it was done names the rows.
func (b *Book) ReadNote(planter, text, at, rows, what string, now evenstand.Micros) (record.Note, error) {
	nc := record.NoteContext{Now: now, Zone: b.Zone(), Units: b.Settings().Units}
	var n record.Note
	day := evenstand.DayOf(now, nc.Zone)
	for range 2 {
		var err error
		if nc.Card, err = b.Card(planter, day); err != nil {
			return n, err
		}
		if n, err = record.ParseNote(text, at, rows, what, nc); err != nil {
			return n, err
		}
		done := evenstand.DayOf(n.Entries[0].T, nc.Zone)
		if done == day {
			break
		}
		day = done
	}
	if planter == "" {
		n.Supposed = append(n.Supposed, "The logbook knows no planter yet: the note is kept, and is of the planter whose card or log comes first. Which rows there are is not checked.")
	}
	return n, nil
}

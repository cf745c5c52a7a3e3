package book

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"evenstand"
	"evenstand/core/advise"
	"evenstand/core/record"
)

// WhichPlanter is the error of a note that could be of several planters, or is
// of one that the book does not know.
type WhichPlanter struct {
	Named string // empty: none was
	Have  []string
}

// Error asks, with the planters that there are.
func (e *WhichPlanter) Error() string {
	have := " The logbook has: " + strings.Join(e.Have, ", ")
	if e.Named == "" {
		return "which planter is it of?" + have
	}
	return fmt.Sprintf("there is no planter %q.", e.Named) + have
}

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
		return "", &WhichPlanter{"", all}
	case !slices.Contains(all, name):
		return "", &WhichPlanter{name, all}
	}
	return name, nil
}

// ReadNote understands a note as it was typed, now, and writes nothing. The card
// of the day on which it was done names the rows.
func (b *Book) ReadNote(planter, text, at, rows, what string, now evenstand.Micros) (record.Note, error) {
	return b.readNote(planter, text, at, rows, what, now, nil)
}

// ReadEdit understands what is to stand in the place of a note, and writes
// nothing: what its text leaves out of time and rows stays. Without a text the
// lines stay as they are but for the time, the rows and the amount (NaN: as it is)
// that are said.
func (b *Book) ReadEdit(ctx context.Context, id int64, text, at, rows, what string, amount float64, now evenstand.Micros) (n record.Note, words string, err error) {
	was, err := b.heldNote(ctx, id)
	if err != nil {
		return n, "", err
	}
	planter, first := was[0].Planter, &was[0].Entry
	if text == "" && !math.IsNaN(amount) {
		if text = record.Retype(first, amount); text == "" || len(was) > 1 {
			return n, "", errors.New("that note has no amount, or several: say it anew in words")
		}
		if rows == "" { // a dig and a count want them beside the text
			if rows = first.Rows.String(); rows == "" {
				rows = "all"
			}
		}
		what = first.What
	}
	if text != "" {
		n, err = b.readNote(planter, text, at, rows, what, now, first)
		return n, text, err
	}
	if at+rows == "" {
		return n, "", errors.New("what is to change? Say the note anew, or another time or other rows")
	}
	// A remark has a time and rows beside it, and words that are left as they are.
	said, err := b.readNote(planter, "remark", at, rows, "remark", now, first)
	if err != nil {
		return n, "", err
	}
	n.Area = math.NaN()
	for i := range was {
		e := was[i].Entry
		if at != "" {
			e.T = said.Entries[0].T
		}
		if rows != "" {
			e.Rows = said.Entries[0].Rows
		}
		n.Entries = append(n.Entries, e)
	}
	return n, was[0].Words, nil
}

func (b *Book) readNote(planter, text, at, rows, what string, now evenstand.Micros, of *evenstand.Entry) (record.Note, error) {
	nc := record.NoteContext{Now: now, Zone: b.Zone(), Units: b.Settings().Units, Of: of}
	var n record.Note
	day := evenstand.DayOf(now, nc.Zone)
	if of != nil {
		day = evenstand.DayOf(of.T, nc.Zone)
	}
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
	if per := n.Entries[0].Value / n.Area; !math.IsNaN(per) {
		v := advise.Voice{Zone: nc.Zone, Units: nc.Units}
		n.Supposed = append([]string{"That is a stand of " + strings.Replace(v.Rate(per), "seeds", "plants", 1) + " at this row spacing."}, n.Supposed...)
	}
	if planter == "" {
		n.Supposed = append(n.Supposed, "The logbook knows no planter yet: the note is kept, and is of the planter whose card or log comes first. Which rows there are is not checked.")
	}
	return n, nil
}

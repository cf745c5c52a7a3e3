package book

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"slices"

	"evenstand"
)

// JournalLine is a line of the journal that people wrote, as the ledger holds
// it.
type JournalLine struct {
	ID        int64            // of the note; several lines of one note share it
	At        evenstand.Micros // when it was written
	Planter   string
	Entry     evenstand.Entry
	Words     string // as they were typed; empty: it was not typed
	TakenBack bool
}

// AddEntry records a journal line of a planter. The days that it touches are
// made again by the next Read.
func (b *Book) AddEntry(ctx context.Context, planter string, e evenstand.Entry) error {
	_, err := b.AddNote(ctx, planter, []evenstand.Entry{e}, "")
	return err
}

// AddNote records the lines of one note with the words as they were typed, all
// or none; it gives the note's number. An empty planter is the one that the
// logbook comes to know. Counts, and digs with a number, stand in the table of
// counts as well.
func (b *Book) AddNote(ctx context.Context, planter string, lines []evenstand.Entry, words string) (id int64, err error) {
	err = inTx(ctx, b.db, func(tx *sql.Tx) error {
		now := b.now()
		var first any
		for i := range lines {
			e := &lines[i]
			var value any
			if !math.IsNaN(e.Value) {
				value = e.Value
			}
			res, err := tx.ExecContext(ctx, "INSERT INTO journal (at, planter, t_us, what, rows, value, unit, note, words, part_of) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
				now, planter, int64(e.T), e.What, e.Rows.String(), value, e.Unit, e.Note, words, first)
			if err != nil {
				return err
			}
			line, err := res.LastInsertId()
			if err != nil {
				return err
			}
			if first == nil {
				id, first = line, line
			}
			if e.What != "count" && e.What != "dig" || value == nil {
				continue
			}
			if _, err := tx.ExecContext(ctx, "INSERT INTO counts (at, planter, field, t_us, rows, what, value, unit, note, journal) VALUES (?, ?, '', ?, ?, ?, ?, ?, ?, ?)",
				now, planter, int64(e.T), e.Rows.String(), e.What, value, e.Unit, e.Note, line); err != nil {
				return err
			}
		}
		return nil
	})
	return id, ledgerError(b.path(ledgerName), err)
}

// TakeBack takes back a note with all its lines, which it gives; 0 is the last
// one that holds. The lines stay in the ledger, and that they were taken back is
// a line of its own for each. The days that they touch are made again by the
// next Read.
func (b *Book) TakeBack(ctx context.Context, id int64) ([]JournalLine, error) {
	lines, err := b.Journal(ctx)
	if err != nil {
		return nil, err
	}
	if id == 0 {
		for _, l := range lines {
			if !l.TakenBack {
				id = l.ID
			}
		}
		if id == 0 {
			return nil, &Error{"the journal", errors.New("nothing is written that could be taken back"), "evenstand note lists it"}
		}
	}
	lines = slices.DeleteFunc(lines, func(l JournalLine) bool { return l.ID != id })
	name := fmt.Sprintf("note %d", id)
	switch {
	case len(lines) == 0:
		return nil, &Error{name, fmt.Errorf("%w: there is no such note", ErrUnknown), "evenstand note lists them with their numbers"}
	case lines[0].TakenBack:
		return nil, &Error{name, errors.New("it is taken back already"), "evenstand note lists those that hold"}
	}
	err = inTx(ctx, b.db, func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, "INSERT INTO taken_back (journal, at) SELECT id, ? FROM journal WHERE coalesce(part_of, id) = ?", b.now(), id)
		return err
	})
	for i := range lines {
		lines[i].TakenBack = true
	}
	return lines, ledgerError(b.path(ledgerName), err)
}

// Journal gives the lines that people wrote, in the order of writing, those
// that were taken back too.
func (b *Book) Journal(ctx context.Context) ([]JournalLine, error) {
	lines, err := b.journal(ctx, "ORDER BY id")
	return lines, ledgerError(b.path(ledgerName), err)
}

func (b *Book) journal(ctx context.Context, order string) ([]JournalLine, error) {
	rows, err := b.db.QueryContext(ctx, `SELECT coalesce(part_of, id), j.at, planter, t_us, what, rows, value, unit, note, words, t.journal IS NOT NULL
		FROM journal j LEFT JOIN taken_back t ON t.journal = j.id `+order)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var lines []JournalLine
	for rows.Next() {
		var list string
		var value *float64
		l := JournalLine{Entry: evenstand.Entry{Value: math.NaN()}}
		e := &l.Entry
		if err := rows.Scan(&l.ID, &l.At, &l.Planter, &e.T, &e.What, &list, &value, &e.Unit, &e.Note, &l.Words, &l.TakenBack); err != nil {
			return nil, err
		}
		if value != nil {
			e.Value = *value
		}
		if e.Rows, err = evenstand.ParseRows(list); err != nil {
			return nil, err
		}
		lines = append(lines, l)
	}
	return lines, rows.Err()
}

// handEntries gives the lines of the journal that hold, by planter, in time
// order.
func (b *Book) handEntries(ctx context.Context) (map[string][]evenstand.Entry, error) {
	lines, err := b.journal(ctx, "ORDER BY t_us, id")
	if err != nil {
		return nil, err
	}
	by := map[string][]evenstand.Entry{}
	for _, l := range lines {
		if !l.TakenBack {
			by[l.Planter] = append(by[l.Planter], l.Entry)
		}
	}
	return by, nil
}

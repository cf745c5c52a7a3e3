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
	ID        int64
	At        evenstand.Micros // when it was written
	Planter   string
	Entry     evenstand.Entry
	Words     string // as they were typed; empty: it was not typed
	TakenBack bool
}

// AddEntry records a journal line of a planter. The days that it touches are
// made again by the next Read.
func (b *Book) AddEntry(ctx context.Context, planter string, e evenstand.Entry) error {
	_, err := b.AddNote(ctx, planter, e, "")
	return err
}

// AddNote is AddEntry with the words as they were typed; it gives the line's
// number. Counts, and digs with a number, stand in the table of counts as well.
func (b *Book) AddNote(ctx context.Context, planter string, e evenstand.Entry, words string) (id int64, err error) {
	var value any
	if !math.IsNaN(e.Value) {
		value = e.Value
	}
	err = inTx(ctx, b.db, func(tx *sql.Tx) error {
		now := b.now()
		res, err := tx.ExecContext(ctx, "INSERT INTO journal (at, planter, t_us, what, rows, value, unit, note, words) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
			now, planter, int64(e.T), e.What, e.Rows.String(), value, e.Unit, e.Note, words)
		if err != nil {
			return err
		}
		if id, err = res.LastInsertId(); err != nil {
			return err
		}
		if e.What != "count" && e.What != "dig" || value == nil {
			return nil
		}
		_, err = tx.ExecContext(ctx, "INSERT INTO counts (at, planter, field, t_us, rows, what, value, unit, note, journal) VALUES (?, ?, '', ?, ?, ?, ?, ?, ?, ?)",
			now, planter, int64(e.T), e.Rows.String(), e.What, value, e.Unit, e.Note, id)
		return err
	})
	return id, ledgerError(b.path(ledgerName), err)
}

// TakeBack takes back a line of the journal; 0 is the last one that holds. The
// line stays in the ledger, and that it was taken back is a line of its own. The
// days that it touches are made again by the next Read.
func (b *Book) TakeBack(ctx context.Context, id int64) (JournalLine, error) {
	lines, err := b.Journal(ctx)
	if err != nil {
		return JournalLine{}, err
	}
	i := slices.IndexFunc(lines, func(l JournalLine) bool { return l.ID == id })
	if id == 0 {
		for i = len(lines) - 1; i >= 0 && lines[i].TakenBack; i-- {
		}
		if i < 0 {
			return JournalLine{}, &Error{"the journal", errors.New("nothing is written that could be taken back"), "evenstand note lists it"}
		}
	}
	name := fmt.Sprintf("note %d", id)
	switch {
	case i < 0:
		return JournalLine{}, &Error{name, fmt.Errorf("%w: there is no such note", ErrUnknown), "evenstand note lists them with their numbers"}
	case lines[i].TakenBack:
		return JournalLine{}, &Error{name, errors.New("it is taken back already"), "evenstand note lists those that hold"}
	}
	err = inTx(ctx, b.db, func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, "INSERT INTO taken_back (journal, at) VALUES (?, ?)", lines[i].ID, b.now())
		return err
	})
	lines[i].TakenBack = true
	return lines[i], ledgerError(b.path(ledgerName), err)
}

// Journal gives the lines that people wrote, in the order of writing, those
// that were taken back too.
func (b *Book) Journal(ctx context.Context) ([]JournalLine, error) {
	lines, err := b.journal(ctx, "ORDER BY id")
	return lines, ledgerError(b.path(ledgerName), err)
}

func (b *Book) journal(ctx context.Context, order string) ([]JournalLine, error) {
	rows, err := b.db.QueryContext(ctx, `SELECT id, j.at, planter, t_us, what, rows, value, unit, note, words, t.journal IS NOT NULL
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

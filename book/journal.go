package book

import (
	"cmp"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"maps"
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
	Edits     int // times that it was corrected
}

// ErrSameNote is the error of a correction that changes nothing, ErrTakenBack that
// of one of a note that holds no more.
var (
	ErrSameNote  = errors.New("it says that already")
	ErrTakenBack = errors.New("it is taken back already")
)

// NoteVersion is a note as it stood from a time on.
type NoteVersion struct {
	At    evenstand.Micros
	Lines []JournalLine
}

// AddNote records the lines of one note with the words as they were typed, all
// or none; it gives the note's number. An empty planter is the one that the
// logbook comes to know. Counts, and digs with a number, stand in the table of
// counts as well.
func (b *Book) AddNote(ctx context.Context, planter string, lines []evenstand.Entry, words string) (id int64, err error) {
	err = inTx(ctx, b.db, func(tx *sql.Tx) error {
		id, err = b.putLines(ctx, tx, planter, lines, words, 0)
		return err
	})
	return id, ledgerError(b.path(ledgerName), err)
}

// putLines writes the lines of a note, or of a later version of one.
func (b *Book) putLines(ctx context.Context, tx *sql.Tx, planter string, lines []evenstand.Entry, words string, editOf int64) (id int64, err error) {
	now := b.now()
	var first, of any
	if editOf > 0 {
		of = editOf
	}
	for i := range lines {
		e := &lines[i]
		var value any
		if !math.IsNaN(e.Value) {
			value = e.Value
		}
		res, err := tx.ExecContext(ctx, "INSERT INTO journal (at, planter, t_us, what, rows, value, unit, note, words, part_of, edit_of) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
			now, planter, int64(e.T), e.What, e.Rows.String(), value, e.Unit, e.Note, words, first, of)
		if err != nil {
			return 0, err
		}
		line, err := res.LastInsertId()
		if err != nil {
			return 0, err
		}
		if first == nil {
			id, first = line, line
		}
		if e.What != "count" && e.What != "dig" || value == nil {
			continue
		}
		if _, err := tx.ExecContext(ctx, "INSERT INTO counts (at, planter, field, t_us, rows, what, value, unit, note, journal) VALUES (?, ?, '', ?, ?, ?, ?, ?, ?, ?)",
			now, planter, int64(e.T), e.Rows.String(), e.What, value, e.Unit, e.Note, line); err != nil {
			return 0, err
		}
	}
	return id, nil
}

// TakeBack takes back a note with all its lines, which it gives; 0 is the last
// one that holds. The lines stay in the ledger, and that they were taken back is
// a line of its own for each. The days that they touch are made again by the
// next Read.
func (b *Book) TakeBack(ctx context.Context, id int64) (lines []JournalLine, err error) {
	err = inTx(ctx, b.db, func(tx *sql.Tx) error {
		all, err := journalOf(ctx, tx)
		if err != nil {
			return err
		}
		if id == 0 {
			for _, l := range all {
				if !l.TakenBack {
					id = l.ID
				}
			}
			if id == 0 {
				return &Error{"the journal", errors.New("nothing is written that could be taken back"), "evenstand note lists it"}
			}
		}
		if lines, err = held(all, id, "evenstand note lists those that hold"); err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, "INSERT INTO taken_back (journal, at) SELECT id, ? FROM journal WHERE coalesce(edit_of, part_of, id) = ? AND id NOT IN (SELECT journal FROM taken_back)", b.now(), id)
		return err
	})
	if err != nil {
		return nil, ledgerError(b.path(ledgerName), err)
	}
	for i := range lines {
		lines[i].TakenBack = true
	}
	return lines, nil
}

// Journal gives the lines that people wrote as they stand, in the order of
// writing, those that were taken back too.
func (b *Book) Journal(ctx context.Context) ([]JournalLine, error) {
	lines, err := b.journal(ctx)
	return lines, ledgerError(b.path(ledgerName), err)
}

// EditNote puts lines in the place of those of a note, with the words as they were
// typed; its number stays. The lines before stay in the ledger (NoteHistory). The
// days that either touch are made again by the next Read.
func (b *Book) EditNote(ctx context.Context, id int64, lines []evenstand.Entry, words string) error {
	err := inTx(ctx, b.db, func(tx *sql.Tx) error {
		all, err := journalOf(ctx, tx)
		if err != nil {
			return err
		}
		was, err := held(all, id, "Write it down anew")
		if err != nil {
			return err
		}
		same := len(was) == len(lines) && was[0].Words == words
		for i := range lines {
			if same {
				x, y := &was[i].Entry, &lines[i]
				same = x.T == y.T && x.What == y.What && slices.Equal(x.Rows, y.Rows) && x.Unit == y.Unit && x.Note == y.Note && (x.Value == y.Value || math.IsNaN(x.Value) && math.IsNaN(y.Value))
			}
		}
		if same {
			return &Error{fmt.Sprintf("note %d", id), ErrSameNote, "Nothing was written"}
		}
		_, err = b.putLines(ctx, tx, was[0].Planter, lines, words, id)
		return err
	})
	return ledgerError(b.path(ledgerName), err)
}

// heldNote gives the lines of a note that holds.
func (b *Book) heldNote(ctx context.Context, id int64) ([]JournalLine, error) {
	all, err := b.Journal(ctx)
	if err != nil {
		return nil, err
	}
	return held(all, id, "Write it down anew")
}

// held gives the lines of a note that holds, else says what to do.
func held(all []JournalLine, id int64, instead string) ([]JournalLine, error) {
	lines := slices.DeleteFunc(all, func(l JournalLine) bool { return l.ID != id })
	name := fmt.Sprintf("note %d", id)
	switch {
	case len(lines) == 0:
		return nil, &Error{name, fmt.Errorf("%w: there is no such note", ErrUnknown), "evenstand note lists them with their numbers"}
	case lines[0].TakenBack:
		return nil, &Error{name, ErrTakenBack, instead}
	}
	return lines, nil
}

// NoteHistory gives a note as it stood, the first writing first, the present one
// last.
func (b *Book) NoteHistory(ctx context.Context, id int64) ([]NoteVersion, error) {
	all, err := versions(ctx, b.db)
	if err != nil {
		return nil, ledgerError(b.path(ledgerName), err)
	}
	if all[id] == nil {
		return nil, &Error{fmt.Sprintf("note %d", id), fmt.Errorf("%w: there is no such note", ErrUnknown), "evenstand note lists them with their numbers"}
	}
	return all[id], nil
}

// journal gives the lines as they stand, by number of the note.
func (b *Book) journal(ctx context.Context) ([]JournalLine, error) {
	key, err := b.standKey(ctx)
	if err != nil {
		return nil, err
	}
	if lines, ok := b.kept.journal.get(key.journal()); ok {
		return lines, nil
	}
	lines, err := journalOf(ctx, b.db)
	if err == nil {
		b.kept.journal.put(key.journal(), lines)
	}
	return lines, err
}

// asker is the ledger, or a transaction on it.
type asker interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
}

func journalOf(ctx context.Context, db asker) ([]JournalLine, error) {
	all, err := versions(ctx, db)
	if err != nil {
		return nil, err
	}
	var out []JournalLine
	for _, id := range slices.Sorted(maps.Keys(all)) {
		of := all[id]
		lines := of[len(of)-1].Lines
		for i := range lines {
			lines[i].Edits = len(of) - 1
		}
		out = append(out, lines...)
	}
	return out, nil
}

// versions gives all that people wrote, by number of the note.
func versions(ctx context.Context, db asker) (map[int64][]NoteVersion, error) {
	rows, err := db.QueryContext(ctx, `SELECT coalesce(edit_of, part_of, id), part_of IS NULL, j.at, planter, t_us, what, rows, value, unit, note, words, t.journal IS NOT NULL
		FROM journal j LEFT JOIN taken_back t ON t.journal = j.id ORDER BY id`)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	all := map[int64][]NoteVersion{}
	for rows.Next() {
		var list string
		var begins bool
		var value *float64
		l := JournalLine{Entry: evenstand.Entry{Value: math.NaN()}}
		e := &l.Entry
		if err := rows.Scan(&l.ID, &begins, &l.At, &l.Planter, &e.T, &e.What, &list, &value, &e.Unit, &e.Note, &l.Words, &l.TakenBack); err != nil {
			return nil, err
		}
		if value != nil {
			e.Value = *value
		}
		if e.Rows, err = evenstand.ParseRows(list); err != nil {
			return nil, err
		}
		if begins {
			all[l.ID] = append(all[l.ID], NoteVersion{At: l.At})
		}
		of := all[l.ID]
		if len(of) == 0 {
			return nil, fmt.Errorf("%w: a part of note %d without its beginning", ErrCorrupt, l.ID)
		}
		of[len(of)-1].Lines = append(of[len(of)-1].Lines, l)
	}
	return all, rows.Err()
}

// handEntries gives the lines of the journal that hold, by planter, in time
// order.
func (b *Book) handEntries(ctx context.Context) (map[string][]evenstand.Entry, error) {
	lines, err := b.journal(ctx)
	if err != nil {
		return nil, err
	}
	slices.SortStableFunc(lines, func(x, y JournalLine) int { return cmp.Compare(x.Entry.T, y.Entry.T) })
	by := map[string][]evenstand.Entry{}
	for _, l := range lines {
		if !l.TakenBack {
			by[l.Planter] = append(by[l.Planter], l.Entry)
		}
	}
	return by, nil
}

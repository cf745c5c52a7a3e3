package book

import (
	"context"
	"database/sql"
	"fmt"
	"slices"

	"evenstand"
	"evenstand/core/record"
)

// assignIDs gives the findings of a machine-day their ids: those that the
// ledger knows for the same trouble, else new ones, which go into the ledger.
func (b *Book) assignIDs(ctx context.Context, planter string, day evenstand.Day, fs []evenstand.Finding) error {
	for i := range fs {
		f := &fs[i]
		f.Planter, f.Day = planter, day
		if f.Family == "" {
			f.Family = evenstand.Family(f.Kind)
		}
	}
	return inTx(ctx, b.db, func(tx *sql.Tx) error {
		old, err := knownIDs(ctx, tx, planter, day)
		if err != nil {
			return err
		}
		// What stands in the ledger exactly so keeps its id whatever else might
		// claim it; so a rebuild gives the same ids.
		var rest []evenstand.Finding
		var at []int
		free := slices.Clone(old)
		for i := range fs {
			if k := slices.IndexFunc(free, func(o evenstand.Finding) bool { return equalIn(&o, &fs[i]) }); k >= 0 {
				fs[i].ID = free[k].ID
				free = slices.Delete(free, k, k+1)
				continue
			}
			fs[i].ID = ""
			rest, at = append(rest, fs[i]), append(at, i)
		}
		ids := record.Keep(free, rest)
		for k, i := range at {
			fs[i].ID = ids[k]
		}
		taken := map[string]bool{}
		for i := range fs {
			f := &fs[i]
			for n := 2; taken[f.ID]; n++ { // two with the same lead row and alarm
				g := *f
				g.Family = fmt.Sprintf("%s %d", f.Family, n)
				f.ID = record.IDOf(&g)
			}
			taken[f.ID] = true
			if err := noteID(ctx, tx, old, f); err != nil {
				return err
			}
		}
		return nil
	})
}

// knownIDs gives what each id of a machine-day last stood for, in the order
// in which they were given out.
func knownIDs(ctx context.Context, tx *sql.Tx, planter string, day evenstand.Day) ([]evenstand.Finding, error) {
	rows, err := tx.QueryContext(ctx, "SELECT id, family, kind, rows, since_us, until_us, alarm_us FROM finding_ids WHERE planter = ? AND day = ? ORDER BY seq", planter, string(day))
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var fs []evenstand.Finding
	at := map[string]int{}
	for rows.Next() {
		f := evenstand.Finding{Planter: planter, Day: day}
		var list string
		var until *int64
		if err := rows.Scan(&f.ID, &f.Family, &f.Kind, &list, &f.Since, &until, &f.Alarm); err != nil {
			return nil, err
		}
		if f.Rows, err = evenstand.ParseRows(list); err != nil {
			return nil, err
		}
		if until != nil {
			u := evenstand.Micros(*until)
			f.Until = &u
		}
		if i, ok := at[f.ID]; ok {
			fs[i] = f
			continue
		}
		at[f.ID] = len(fs)
		fs = append(fs, f)
	}
	return fs, rows.Err()
}

// equalIn tells whether two findings are the same in all that the ledger notes.
func equalIn(a, b *evenstand.Finding) bool {
	return a.Family == b.Family && a.Kind == b.Kind && slices.Equal(a.Rows, b.Rows) && a.Since == b.Since && a.Alarm == b.Alarm &&
		(a.Until == nil) == (b.Until == nil) && (a.Until == nil || *a.Until == *b.Until)
}

// noteID appends what an id stands for now, when that is new.
func noteID(ctx context.Context, tx *sql.Tx, old []evenstand.Finding, f *evenstand.Finding) error {
	for i := range old {
		if old[i].ID == f.ID && equalIn(&old[i], f) {
			return nil
		}
	}
	var until any
	if f.Until != nil {
		until = int64(*f.Until)
	}
	_, err := tx.ExecContext(ctx, "INSERT INTO finding_ids (id, planter, day, family, kind, rows, since_us, until_us, alarm_us) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
		f.ID, f.Planter, string(f.Day), f.Family, f.Kind, f.Rows.String(), int64(f.Since), until, int64(f.Alarm))
	return err
}

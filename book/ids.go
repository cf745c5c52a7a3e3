package book

import (
	"context"
	"database/sql"

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
		lead := 0
		if len(f.Rows) > 0 {
			lead = f.Rows[0]
		}
		f.ID = record.ID(planter, day, f.Family, lead, f.Alarm)
	}
	return inTx(ctx, b.db, func(tx *sql.Tx) error {
		old, err := knownIDs(ctx, tx, planter, day)
		if err != nil {
			return err
		}
		ids := record.Keep(old, fs)
		taken := map[string]bool{}
		for i := range fs {
			f := &fs[i]
			if i < len(ids) && ids[i] != "" {
				f.ID = ids[i]
			}
			for n := 2; taken[f.ID]; n++ { // two with the same lead row and alarm
				lead := 0
				if len(f.Rows) > 0 {
					lead = f.Rows[0]
				}
				f.ID = record.ID(planter, day, f.Family, lead+n<<16, f.Alarm)
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

// noteID appends what an id stands for now, when that is new.
func noteID(ctx context.Context, tx *sql.Tx, old []evenstand.Finding, f *evenstand.Finding) error {
	for i := range old {
		o := &old[i]
		if o.ID == f.ID && o.Family == f.Family && o.Kind == f.Kind && o.Rows.String() == f.Rows.String() && o.Since == f.Since && o.Alarm == f.Alarm &&
			(o.Until == nil) == (f.Until == nil) && (o.Until == nil || *o.Until == *f.Until) {
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

package recipe

import (
	"context"
	"io/fs"

	"evenstand/format/table"
)

// sampleRows is how many rows a guess looks at.
const sampleRows = 400

// Take reads the head of a table for guessing. Doubts about how the file is
// written come with it.
func Take(ctx context.Context, in fs.FS, ref table.Ref, d table.Dialect) (Sample, error) {
	rows, err := table.Open(ctx, in, ref, d)
	if err != nil {
		return Sample{}, err
	}
	defer rows.Close()
	s := Sample{Kind: ref.Kind, Sheet: ref.Sheet, Dialect: rows.Dialect(), Doubts: rows.Doubts()}
	for len(s.Rows) < sampleRows && rows.Next() {
		s.Rows = append(s.Rows, keep(rows.Row()))
	}
	s.Columns = append(s.Columns, rows.Columns()...)
	if len(s.Rows) == 0 && rows.Err() != nil {
		return s, rows.Err()
	}
	return s, nil
}

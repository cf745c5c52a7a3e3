package table

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"

	"evenstand"
	"evenstand/format/unused"
)

// Error says where a table could not be read, and what to do.
type Error struct {
	File   string
	Line   int   // from 1; 0 when lines mean nothing
	Offset int64 // byte from 0; -1 unknown
	Err    error // what was wrong in the input
	Do     string
}

// Error gives the place, what was wrong and what to do.
func (e *Error) Error() string {
	at := e.File
	switch {
	case e.Line > 0:
		at += fmt.Sprintf(", line %d", e.Line)
	case e.Offset >= 0:
		at += fmt.Sprintf(", byte %d", e.Offset)
	}
	s := fmt.Sprintf("%s: %v", at, e.Err)
	if e.Do != "" {
		s += ". " + e.Do
	}
	return s
}

// Unwrap gives what was wrong.
func (e *Error) Unwrap() error { return e.Err }

// Rows is an open table. Next moves to the next row that can be read; what it
// passes over is told by Unused.
type Rows struct {
	ctx  context.Context
	c    container
	file io.Closer
	err  error
}

// container is a table in one kind of file. What row gives is lent.
type container interface {
	dialect() Dialect
	doubts() []string
	columns() []Column
	next() (bool, error)
	row() []Cell
	place() Place
	unused() []evenstand.Unused
	bytes() int64
	close() error
}

// Open opens a table that List named. What is zero in d is found out from the
// first rows; of d only the lines of header and units count for a workbook,
// and nothing for other containers.
func Open(ctx context.Context, in fs.FS, ref Ref, d Dialect) (*Rows, error) {
	if len(ref.Files) == 0 {
		return nil, errors.New("a table without a file")
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	r := &Rows{ctx: ctx}
	k, err := keeper(in, ref)
	if err != nil {
		return nil, err
	}
	if ref.Inside != "" {
		if in, r.file, err = openedArchive(in, ref.Files[0]); err != nil {
			return nil, err
		}
	}
	switch ref.Kind {
	case Text:
		r.c, err = openText(ctx, in, ref, d)
	case Shapefile:
		r.c, err = openShapefile(ctx, in, ref)
	case GeoJSON:
		r.c, err = openGeoJSON(ctx, in, ref)
	case Workbook:
		r.c, err = openWorkbook(ctx, k, in, ref, d)
	case Parquet:
		r.c, err = openParquet(ctx, in, ref)
	default:
		err = &Error{File: ref.Files[0], Offset: -1, Err: fmt.Errorf("a table of kind %q is not known", ref.Kind)}
	}
	if err != nil {
		if r.file != nil {
			r.file.Close()
		}
		if ctx.Err() != nil { // what a reader that was called off says tells nothing of the file
			err = ctx.Err()
		}
		return nil, err
	}
	return r, nil
}

// Dialect is how the table is written, with what was found out. Of containers
// other than text only the lines of header and units are told.
func (r *Rows) Dialect() Dialect { return r.c.dialect() }

// Columns gives the columns in the order of the cells. A container that tells
// its columns only as it goes (GeoJSON) has those of its first rows.
func (r *Rows) Columns() []Column { return r.c.columns() }

// Doubts are what a person should answer about how the table is written.
func (r *Rows) Doubts() []string { return r.c.doubts() }

// Next goes to the next row; false at the end and on an error.
func (r *Rows) Next() bool {
	if r.err != nil {
		return false
	}
	ok, err := r.c.next()
	if err != nil {
		if r.err = err; r.ctx.Err() != nil {
			r.err = r.ctx.Err()
		}
		return false
	}
	return ok
}

// Row gives the cells of the row, one for each column, lent until Next.
func (r *Rows) Row() []Cell { return r.c.row() }

// Place says where the row stands.
func (r *Rows) Place() Place { return r.c.place() }

// Err gives the error that ended the reading; nil at a proper end.
func (r *Rows) Err() error { return r.err }

// Unused tells what was passed over so far, by reason, in the order in which
// the reasons were met.
func (r *Rows) Unused() []evenstand.Unused { return r.c.unused() }

// Bytes is how much of the input was read so far.
func (r *Rows) Bytes() int64 { return r.c.bytes() }

// Close closes the files.
func (r *Rows) Close() error {
	err := r.c.close()
	if r.file != nil {
		err = errors.Join(err, r.file.Close())
	}
	return err
}

// name gives the path of a table's first file, within an archive too.
func (r Ref) name() string {
	if r.Inside != "" {
		return r.Files[0] + "/" + r.Inside
	}
	return r.Files[0]
}

// String names the table within its input: the path, and the sheet of a
// workbook behind it.
func (r Ref) String() string {
	if len(r.Files) == 0 {
		return ""
	}
	if r.Sheet != "" {
		return r.name() + ", sheet " + r.Sheet
	}
	return r.name()
}

// reason is one way in which something cannot be used.
type reason = unused.Reason

package table

import (
	"context"
	"errors"
	"io"
	"io/fs"
)

// Kept is an input whose archive and workbook stay open from one table in them
// to the next, so that their directories are read once. List and Open know it.
// It is for one goroutine at a time.
type Kept struct {
	fs.FS
	zip  *lent[fs.FS]
	book *lent[*book]
}

// Keep makes a Kept of an input. Close it when its tables are closed.
func Keep(in fs.FS) *Kept { return &Kept{FS: in} }

// Close closes what was kept.
func (k *Kept) Close() error { return k.leave("", "") }

// leave gives up what a table of another archive or workbook does not need.
func (k *Kept) leave(zip, book string) (err error) {
	if k.book != nil && k.book.name != book {
		err = k.book.Close()
		k.book = nil
	}
	if k.zip != nil && k.zip.name != zip {
		err = errors.Join(err, k.zip.Close())
		k.zip = nil
	}
	return err
}

// lent is something open that has several users, and is closed by the last.
type lent[T any] struct {
	name   string
	it     T
	closer io.Closer
	users  int
}

// Close ends one use.
func (l *lent[T]) Close() error {
	if l.users--; l.users > 0 {
		return nil
	}
	return l.closer.Close()
}

// borrow gives what lies at a place of a Kept, opened unless it is.
func borrow[T any](at **lent[T], name string, open func() (T, io.Closer, error)) (it T, closer io.Closer, err error) {
	if l := *at; l != nil && l.name == name {
		l.users++
		return l.it, l, nil
	}
	if it, closer, err = open(); err != nil {
		return it, nil, err
	}
	if *at != nil {
		if err := (*at).Close(); err != nil {
			closer.Close()
			return it, nil, err
		}
	}
	l := &lent[T]{name: name, it: it, closer: closer, users: 2} // it is kept, and used
	*at = l
	return it, l, nil
}

// keeper gives the Kept that an input is, nil when it is none, with what is
// open of other tables given up.
func keeper(in fs.FS, ref Ref) (*Kept, error) {
	k, ok := in.(*Kept)
	if !ok {
		return nil, nil
	}
	zip, book := "", ""
	if ref.Inside != "" {
		zip = ref.Files[0]
	}
	if ref.Kind == Workbook {
		book = ref.name()
	}
	if err := k.leave(zip, book); err != nil {
		return nil, &Error{File: ref.name(), Offset: -1, Err: plainReason(err), Do: openAgain}
	}
	return k, nil
}

// openedArchive opens a zip of an input, or finds it open.
func openedArchive(in fs.FS, name string) (fs.FS, io.Closer, error) {
	k, ok := in.(*Kept)
	if !ok {
		return openArchive(in, name)
	}
	return borrow(&k.zip, name, func() (fs.FS, io.Closer, error) { return openArchive(k.FS, name) })
}

// workbook opens the workbook of a table, or finds it open; k is nil where
// nothing is kept, and in is where the workbook lies, within an archive too.
func workbook(ctx context.Context, k *Kept, in fs.FS, ref Ref) (*book, io.Closer, error) {
	open := func() (*book, io.Closer, error) {
		b, err := openBook(ctx, in, ref)
		if err != nil {
			return nil, nil, err
		}
		return b, b.closer, nil
	}
	if k == nil {
		return open()
	}
	return borrow(&k.book, ref.name(), open)
}

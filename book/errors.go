package book

import (
	"errors"
	"path/filepath"
	"strings"
)

// What can be wrong with a book as a whole. Errors of this package wrap one of
// these where it applies; test with errors.Is.
var (
	ErrInUse   = errors.New("the logbook is in use by another program")
	ErrNewer   = errors.New("the logbook was written by a newer version of this program")
	ErrNotBook = errors.New("this folder is not a logbook")
	ErrExists  = errors.New("there is something here already")
	ErrCorrupt = errors.New("the logbook is damaged")
	ErrUnknown = errors.New("the logbook does not know it")
)

// Error says what is wrong with which file and what the person can do.
type Error struct {
	Path string // the file or folder; empty: it lies in what was asked for
	Err  error  // what was wrong
	Hint string // what to do next, a whole sentence
}

// Error gives the whole sentence: where, what, what to do. What names the file
// itself, with a line, is not given the name twice.
func (e *Error) Error() string {
	what := e.Err.Error()
	where := ""
	if e.Path != "" {
		where = e.Path + ": "
	}
	if base := filepath.Base(e.Path); e.Path != "" && (strings.HasPrefix(what, base+", ") || strings.HasPrefix(what, base+": ")) {
		where = e.Path
		what = strings.TrimPrefix(what, base)
	}
	if e.Hint == "" {
		return where + what
	}
	if !strings.HasSuffix(what, ".") && !strings.HasSuffix(what, "?") {
		what += "."
	}
	return where + what + " " + e.Hint
}

// Unwrap gives what was wrong.
func (e *Error) Unwrap() error { return e.Err }

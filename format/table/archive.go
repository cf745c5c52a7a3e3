package table

import (
	"errors"
	"fmt"
	"io"
	"io/fs"

	"evenstand/format/archive"
)

// openArchive opens a zip that lies in an input as a folder, within the usual
// bounds. The closer closes the zip.
func openArchive(in fs.FS, name string) (fs.FS, io.Closer, error) {
	fail := func(do, format string, args ...any) (fs.FS, io.Closer, error) {
		return nil, nil, &Error{File: name, Offset: -1, Err: fmt.Errorf(format, args...), Do: do}
	}
	at, size, closer, err := section(in, name)
	if err != nil {
		return fail(openAgain, "%w", err)
	}
	z, err := archive.Open(at, size, archive.Usual())
	if err != nil {
		closer.Close()
		if refused := (*archive.Refused)(nil); errors.As(err, &refused) {
			return fail(archive.Do+".", "%w", err)
		}
		return fail(again, "no zip archive that can be read: %w", err)
	}
	return z, closer, nil
}

package table

import (
	"archive/zip"
	"errors"
	"fmt"
	"io"
	"io/fs"

	"evenstand/format/unused"
)

// What an archive may hold: so many files, and so many bytes unpacked for each
// packed one beyond the first that are free. A text of numbers packs to a tenth
// and one of constant columns to a hundredth; deflate gives no more than 1032.
// Chosen well beyond real logs; no source.
const (
	archiveFiles   = 20_000
	archiveFree    = 64 << 20
	archivePerByte = 200
)

// openArchive opens a zip that lies in an input as a folder. What its directory
// states is held against its bytes before anything is unpacked, and no file
// unpacks to more than is stated. The closer closes the zip.
func openArchive(in fs.FS, name string) (fs.FS, io.Closer, error) {
	fail := func(do, format string, args ...any) (fs.FS, io.Closer, error) {
		return nil, nil, &Error{File: name, Offset: -1, Err: fmt.Errorf(format, args...), Do: do}
	}
	at, size, closer, err := section(in, name)
	if err != nil {
		return fail(openAgain, "%w", err)
	}
	z, err := zip.NewReader(at, size)
	if err != nil && !errors.Is(err, zip.ErrInsecurePath) {
		closer.Close()
		return fail(again, "no zip archive that can be read: %w", err)
	}
	const unpack = "Unpack it, if you trust where it comes from, and send the files."
	if len(z.File) > archiveFiles {
		closer.Close()
		return fail(unpack, "the archive holds %d files, more than the %d that are read", len(z.File), archiveFiles)
	}
	most := archiveFree + archivePerByte*uint64(size)
	left := most
	for _, f := range z.File {
		if f.UncompressedSize64 > left {
			closer.Close()
			return fail(unpack, "the archive of %d bytes is said to unpack to more than %d, at %s", size, most, unused.Show([]byte(f.Name)))
		}
		left -= f.UncompressedSize64
	}
	return z, closer, nil
}

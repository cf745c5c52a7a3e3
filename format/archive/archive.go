// Package archive opens zips that strangers made: what a zip states is held
// against its bytes before anything of it is unpacked, so that a small one
// cannot fill memory, the disk or the day.
package archive

import (
	"archive/zip"
	"errors"
	"fmt"
	"io"
	"path"
	"strings"
)

// Limits are what a zip may hold.
type Limits struct {
	Files   int    // entries, folders too
	Total   uint64 // bytes of all files, unpacked
	File    uint64 // bytes of one file, unpacked
	Free    uint64 // bytes unpacked that are not held against the packed ones,
	PerByte uint64 // and bytes unpacked for each packed one beyond them
}

// Usual is what is let through. A text of numbers packs to a tenth and one of
// constant columns to a hundredth; deflate gives no more than 1032 (RFC 1951:
// 258 bytes for two bits). A season's sticks are some gigabytes. Chosen well
// beyond real logs; no source.
func Usual() Limits {
	return Limits{Files: 20_000, Total: 64 << 30, File: 16 << 30, Free: 64 << 20, PerByte: 200}
}

// The list of files at a zip's end is read into memory, some hundred bytes an
// entry, and a folder for every part of a name. So its length is bounded before
// it is read (46 bytes an entry, its name, times and rights: 300 in all are
// plenty), and the length and depth of names: 4096 bytes are what the longest
// path of a common system takes.
const (
	listBytes = 300
	nameBytes = 4096
	nameDepth = 64
)

// A Refused error says why a zip is not unpacked though it can be read.
type Refused struct{ Why string }

// Error says why.
func (r *Refused) Error() string { return r.Why }

// Do says what to do about a refused zip.
const Do = "Unpack it yourself, if you trust where it comes from, and bring the files or the folder"

// Open opens a zip of size bytes. The error is a *Refused when it is beyond the
// limits, and else of a zip that cannot be read. Names that lead out of the
// folder are no error: the file system of the reader shows them within it.
func Open(r io.ReaderAt, size int64, l Limits) (*zip.Reader, error) {
	refuse := func(format string, args ...any) (*zip.Reader, error) {
		return nil, &Refused{fmt.Sprintf(format, args...)}
	}
	list := &budget{r: r, left: int64(l.Files)*listBytes + 256<<10} // the end of the list is looked for in the last 64 KB
	z, err := zip.NewReader(list, size)
	if list.spent {
		return refuse("the zip's list of files is longer than that of %d files", l.Files)
	}
	if err != nil && !errors.Is(err, zip.ErrInsecurePath) {
		return nil, err
	}
	list.off = true
	if len(z.File) > l.Files {
		return refuse("the zip holds %d files, more than the %d that are read", len(z.File), l.Files)
	}
	most := min(l.Free+l.PerByte*uint64(size), l.Total)
	var packed, unpacked uint64
	names := make(map[string]bool, len(z.File))
	for _, f := range z.File {
		if len(f.Name) > nameBytes || strings.Count(f.Name, "/")+strings.Count(f.Name, `\`) > nameDepth {
			return refuse("the zip holds names that are longer or deeper than those of any system")
		}
		if f.UncompressedSize64 > l.File {
			return refuse("a file of the zip is said to unpack to more than %s: %s", bytes(l.File), printable(f.Name))
		}
		if f.CompressedSize64 > uint64(size)-min(packed, uint64(size)) {
			return refuse("the files of the zip are said to take more room packed than it has: some share the same bytes")
		}
		if f.UncompressedSize64 > most-unpacked {
			return refuse("the zip of %s is said to unpack to more than %s, at %s", bytes(uint64(size)), bytes(most), printable(f.Name))
		}
		packed += f.CompressedSize64
		unpacked += f.UncompressedSize64
		name := inside(f.Name)
		if names[name] {
			return refuse("the zip holds two files of the name %s", printable(name))
		}
		names[name] = true
	}
	return z, nil // a file that unpacks to more than is stated ends in an error of the reader
}

// inside is the place of a name within the folder, as the reader's file system
// shows it.
func inside(name string) string {
	return strings.TrimPrefix(path.Clean("/"+strings.ReplaceAll(name, `\`, "/")), "/")
}

// budget lets so many bytes be read and then no more, until it is off.
type budget struct {
	r          io.ReaderAt
	left       int64
	spent, off bool
}

// ReadAt reads while there is some left.
func (b *budget) ReadAt(p []byte, at int64) (int, error) {
	if b.off {
		return b.r.ReadAt(p, at)
	}
	if b.left -= int64(len(p)); b.left < 0 {
		b.spent = true
		return 0, io.ErrUnexpectedEOF
	}
	return b.r.ReadAt(p, at)
}

// bytes writes a number of bytes.
func bytes(n uint64) string {
	switch {
	case n >= 10<<30:
		return fmt.Sprintf("%d GB", n>>30)
	case n >= 10<<20:
		return fmt.Sprintf("%d MB", n>>20)
	case n >= 10<<10:
		return fmt.Sprintf("%d KB", n>>10)
	}
	return fmt.Sprintf("%d bytes", n)
}

// printable writes a name so that it can stand in a sentence.
func printable(name string) string {
	if len(name) > 80 {
		name = name[:80]
	}
	return strings.Trim(fmt.Sprintf("%q", name), `"`)
}

package files

import (
	"context"
	"errors"
	"io/fs"
	"strings"

	"evenstand"
)

// Walk names the regular files of an input in the order of their paths, without
// those that operating systems left there, and gives the folders that cannot be
// looked into. The error is the context's, or that of the input as a whole.
func Walk(ctx context.Context, in fs.FS, take func(name string)) (shut []evenstand.Unused, err error) {
	err = fs.WalkDir(in, ".", func(name string, d fs.DirEntry, err error) error {
		switch {
		case ctx.Err() != nil:
			return ctx.Err()
		case err != nil && name == ".":
			return err
		case name != "." && leftover(d.Name()):
			if d.IsDir() {
				return fs.SkipDir
			}
		case err != nil:
			shut = append(shut, evenstand.Unused{File: name, Offset: -1, Count: 1, Of: "files", Why: Reason(err), Do: "Check that the file or folder may be read."})
			if d.IsDir() {
				return fs.SkipDir
			}
		case d.Type().IsRegular():
			take(name)
		}
		return nil
	})
	return shut, err
}

// Reason says why a file cannot be read, without its name and the call.
func Reason(err error) string {
	var pe *fs.PathError
	if errors.As(err, &pe) {
		err = pe.Err
	}
	return "it cannot be read: " + err.Error()
}

// Leftover tells the paths of files that operating systems leave lying about:
// side files, thumbnails, what was thrown away.
func Leftover(name string) bool {
	for part := range strings.SplitSeq(name, "/") {
		if leftover(part) {
			return true
		}
	}
	return false
}

func leftover(part string) bool {
	return strings.HasPrefix(part, ".") || strings.EqualFold(part, "Thumbs.db") || strings.EqualFold(part, "desktop.ini") ||
		strings.EqualFold(part, "__MACOSX") || strings.EqualFold(part, "System Volume Information") || strings.EqualFold(part, "$RECYCLE.BIN")
}

package files

import (
	"context"
	"errors"
	"io/fs"
	"path"
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

// strange are kinds of files that no box writes as a log, by the ending of their
// names.
var strange = map[string]string{
	"jpg": "a picture", "jpeg": "a picture", "png": "a picture", "heic": "a picture", "heif": "a picture", "gif": "a picture", "bmp": "a picture", "webp": "a picture", "dng": "a picture",
	"mp4": "a film", "mov": "a film", "avi": "a film", "mkv": "a film", "3gp": "a film", "webm": "a film",
	"m4a": "a sound", "mp3": "a sound", "wav": "a sound", "ogg": "a sound", "aac": "a sound",
	"pdf": "a printed page", "doc": "a letter", "docx": "a letter", "odt": "a letter", "rtf": "a letter", "ppt": "slides", "pptx": "slides", "html": "a web page", "htm": "a web page",
}

// Strange says of a file that nothing reads why, and what to do: whole sentences
// but for the first letter and the stop of why.
func Strange(name string) (why, do string) {
	kind := strange[strings.TrimPrefix(strings.ToLower(path.Ext(name)), ".")]
	switch kind {
	case "":
		return "it is in no format that this program reads", "Export it from the box as task data, or write it in the plain layout."
	case "a printed page", "a letter", "slides", "a web page":
		return "it is " + kind + ", made to be looked at and not to be read as a log", "Export the same from the box as task data or as a table (CSV); type what was set or filled into the journal."
	}
	return "it is " + kind + ", and no log can be read from one", "Type what it shows into the journal: what was set, filled, dug or fixed, and when."
}

package table

import (
	"bytes"
	"context"
	"errors"
	"io"
	"io/fs"
	"path"
	"slices"
	"strings"

	"evenstand"
)

// textNames are the endings of files that may be separated text.
var textNames = []string{".csv", ".tsv", ".txt", ".tab", ".asc", ".dat", ".log", ""}

// tableNames are those of them that say so themselves.
var tableNames = []string{".csv", ".tsv", ".tab"}

// List names the tables of an input, in the order of their paths. Files are
// known by their content; of text only those that end like a table or like a
// log are looked at. Claimed are all files that belong to a table.
func List(ctx context.Context, in fs.FS) (refs []Ref, claimed []string, unused []evenstand.Unused, err error) {
	err = fs.WalkDir(in, ".", func(name string, d fs.DirEntry, err error) error {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err != nil {
			unused = append(unused, evenstand.Unused{File: name, Offset: -1, Count: 1, Of: "files", Why: plainReason(err).Error(), Do: "Check that the file or folder may be read."})
			if d != nil && d.IsDir() {
				return fs.SkipDir
			}
			return nil
		}
		if d.IsDir() || strings.HasPrefix(path.Base(name), ".") {
			return nil
		}
		if info, err := d.Info(); err == nil && !info.Mode().IsRegular() {
			return nil
		}
		ext := strings.ToLower(path.Ext(name))
		if !slices.Contains(textNames, ext) {
			return nil
		}
		switch ok, why := isText(in, name); {
		case ok:
			refs = append(refs, Ref{Kind: Text, Files: []string{name}})
			claimed = append(claimed, name)
		case why != "" && slices.Contains(tableNames, ext):
			unused = append(unused, evenstand.Unused{File: name, Offset: -1, Count: 1, Of: "files", Why: why, Do: "A table has a line of names and lines of values under it. Export it again."})
		}
		return nil
	})
	if err != nil {
		return nil, nil, unused, err
	}
	return refs, claimed, unused, nil
}

// isText tells whether a file's head looks like a table with a separator, and
// else why not, where it could have been one.
func isText(in fs.FS, name string) (ok bool, why string) {
	f, err := in.Open(name)
	if err != nil {
		return false, plainReason(err).Error()
	}
	defer f.Close()
	head := make([]byte, 16<<10)
	n, err := io.ReadFull(f, head)
	if err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF) {
		return false, plainReason(err).Error()
	}
	head = head[:n]
	switch lead := bytes.TrimLeft(bytes.TrimPrefix(head, bom), " \r\n\t"); {
	case len(lead) == 0:
		return false, "the file is empty"
	case bytes.HasPrefix(lead, []byte("PK")), bytes.HasPrefix(lead, []byte("PAR1")),
		lead[0] == '<' || lead[0] == '{' || lead[0] == '$' || lead[0] == '(':
		return false, "" // an archive, markup, or a log of another kind
	}
	enc := encoding(head)
	if bytes.IndexByte(head, 0) >= 0 && !strings.HasPrefix(enc, "utf-16") {
		return false, "it is no text"
	}
	switch d, _ := Look(head); {
	case d.Separator == 0:
		return false, "no separator parts its lines into columns"
	case d.Header < 0:
		return false, "it has no line of names over its columns"
	}
	return true, ""
}

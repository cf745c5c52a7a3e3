package table

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path"
	"slices"
	"strings"

	"evenstand"
	"evenstand/format/files"
)

// textNames are the endings of files that may be separated text.
var textNames = []string{".csv", ".tsv", ".txt", ".tab", ".asc", ".dat", ".log", ""}

// tableNames are those of them that say so themselves.
var tableNames = []string{".csv", ".tsv", ".tab"}

// List names the tables of an input, in the order of their paths. Files are
// known by their content; of text only those that end like a table or like a
// log are looked at. Claimed are all files that belong to a table.
// What lies in a zip within the input is listed too, but not in a zip in that.
func List(ctx context.Context, in fs.FS) (refs []Ref, claimed []string, unused []evenstand.Unused, err error) {
	refs, claimed, unused, err = list(ctx, in, "")
	slices.SortStableFunc(refs, func(a, b Ref) int { return strings.Compare(a.name(), b.name()) })
	slices.Sort(claimed)
	return refs, slices.Compact(claimed), unused, err
}

// list is List of an input, or of a zip that is named.
func list(ctx context.Context, in fs.FS, within string) (refs []Ref, claimed []string, unused []evenstand.Unused, err error) {
	var names []string
	left := func(name, why, do string) {
		unused = append(unused, evenstand.Unused{File: name, Offset: -1, Count: 1, Of: "files", Why: why, Do: do})
	}
	unused, err = files.Walk(ctx, in, func(name string) { names = append(names, name) })
	if err != nil {
		return nil, nil, nil, err
	}
	for _, parts := range shapefileParts(names) {
		if what := shapesOf(in, parts[0]); what != "" { // a boundary, say
			left(parts[0], "it holds "+what+" and no points", "Export points, if it is a table: one place for each row of values.")
			continue
		}
		refs = append(refs, Ref{Kind: Shapefile, Files: parts})
		claimed = append(claimed, parts...)
	}
	for _, name := range names {
		if ctx.Err() != nil {
			return nil, nil, unused, ctx.Err()
		}
		ext := strings.ToLower(path.Ext(name))
		switch ext {
		case ".zip":
			if within != "" {
				continue
			}
			inner, closer, err := openedArchive(in, name)
			if err != nil {
				do := again
				if e := (*Error)(nil); errors.As(err, &e) && e.Do != "" {
					do = e.Do
				}
				left(name, reasonOf(err), do)
				continue
			}
			rs, _, us, err := list(ctx, inner, name)
			closer.Close()
			if err != nil {
				return nil, nil, unused, err
			}
			for _, r := range rs {
				refs = append(refs, Ref{Kind: r.Kind, Files: []string{name}, Sheet: r.Sheet, Inside: r.Files[0]})
			}
			if len(rs) > 0 {
				claimed = append(claimed, name)
				for _, u := range us {
					u.File = name + "/" + u.File
					unused = append(unused, u)
				}
			}
			continue
		case ".xlsx", ".xlsm":
			ref := Ref{Kind: Workbook, Files: []string{name}}
			k, err := keeper(in, ref)
			if err != nil {
				left(name, reasonOf(err), openAgain)
				continue
			}
			b, closer, err := workbook(ctx, k, in, ref)
			if ctx.Err() != nil {
				return nil, nil, unused, ctx.Err()
			}
			if err != nil {
				left(name, reasonOf(err), again)
				continue
			}
			for _, s := range b.sheets {
				refs = append(refs, Ref{Kind: Workbook, Files: []string{name}, Sheet: s.name})
			}
			if n := b.listed - len(b.sheets); n > 0 {
				unused = append(unused, evenstand.Unused{
					File: name, Offset: -1, Count: int64(n), Of: "sheets",
					Why: fmt.Sprintf("the same part as another sheet, or beyond the first %d", maxSheets), Do: "Spread them over several workbooks, if they are wanted.",
				})
			}
			if err := closer.Close(); err != nil {
				left(name, plainReason(err).Error(), openAgain)
				continue
			}
			claimed = append(claimed, name)
			continue
		case ".parquet", ".geoparquet", ".json", ".geojson", ".geojsonl", ".geojsons", ".ndjson":
			kind, why := sniff(in, name)
			switch {
			case kind != "":
				refs = append(refs, Ref{Kind: kind, Files: []string{name}})
				claimed = append(claimed, name)
			case why != "" && ext != ".json" && ext != ".ndjson":
				left(name, why, again)
			}
			continue
		}
		if ext == ".xls" || ext == ".ods" {
			left(name, "it is a workbook in a form that is not read", "Save it as .xlsx, or as CSV.")
			continue
		}
		if !slices.Contains(textNames, ext) {
			continue
		}
		switch ok, why := isText(in, name); {
		case ok:
			refs = append(refs, Ref{Kind: Text, Files: []string{name}})
			claimed = append(claimed, name)
		case why == onlyHeader && slices.Contains(tableNames, ext):
			left(name, why, "Nothing to do if the box had logged nothing; else export it again.")
		case why != "" && slices.Contains(tableNames, ext):
			left(name, why, "A table has a line of names and lines of values under it. Export it again.")
		}
	}
	return refs, claimed, unused, nil
}

// onlyHeader is why a text with one line is no table.
const onlyHeader = "it has one line, the names of columns perhaps, and nothing under it"

// aloneInIt tells whether a text is one line with several fields.
func aloneInIt(head []byte) bool {
	ls, _ := cut(append(bytes.TrimPrefix(bytes.Clone(head), bom), '\n'))
	n := 0
	for _, l := range ls {
		if len(trim(l)) > 0 {
			n++
		}
	}
	if n != 1 {
		return false
	}
	for _, sep := range []byte{'\t', ';', '|', ','} {
		if fields(ls[0], sep) > 1 {
			return true
		}
	}
	return false
}

// reasonOf says what was wrong without the file's name.
func reasonOf(err error) string {
	var e *Error
	if errors.As(err, &e) {
		return e.Err.Error()
	}
	return plainReason(err).Error()
}

// sniff tells Parquet and GeoJSON by the first bytes, and else why it is
// neither.
func sniff(in fs.FS, name string) (Kind, string) {
	f, err := in.Open(name)
	if err != nil {
		return "", plainReason(err).Error()
	}
	defer f.Close()
	head := make([]byte, 16<<10)
	n, err := io.ReadFull(f, head)
	head = head[:n]
	switch {
	case err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF):
		return "", plainReason(err).Error()
	case n == 0:
		return "", "the file is empty"
	case bytes.HasPrefix(head, []byte("PAR1")):
		return Parquet, ""
	case isGeoJSON(head):
		if !bytes.Contains(head, []byte(`Point"`)) && (bytes.Contains(head, []byte(`Polygon"`)) || bytes.Contains(head, []byte(`LineString"`))) {
			return "", "" // a boundary, which is no table
		}
		return GeoJSON, ""
	}
	return "", "it is not what its name says"
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
	case d.Separator == 0 && aloneInIt(head):
		return false, onlyHeader
	case d.Separator == 0:
		return false, "no separator parts its lines into columns"
	case d.Header < 0:
		return false, "it has no line of names over its columns"
	}
	return true, ""
}

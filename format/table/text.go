package table

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"evenstand/format/lines"

	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
	"golang.org/x/text/transform"
)

// counter counts the bytes of a file that were read, and ends when its context
// does.
type counter struct {
	ctx context.Context
	r   io.Reader
	n   int64
}

func (c *counter) Read(p []byte) (int, error) {
	if err := c.ctx.Err(); err != nil {
		return 0, err
	}
	n, err := c.r.Read(p)
	c.n += int64(n)
	return n, err
}

// text is a table with a separator.
type text struct {
	told
	open    fs.File
	count   *counter
	l       *lines.Cutter
	end     byte   // of a line
	head    []byte // the header as written, to know it again
	fields  [][]byte
	scratch []byte
	latin   []byte
}

var (
	badFields = reason{Why: "a line has another number of fields than the header", Do: "Check the separator and the decimal sign; the line may also be cut short."}
	badQuote  = reason{Why: "a quote is not closed, or text stands behind it", Do: `Close it, or write "" for a quote inside a quoted text.`}
	badCut    = reason{Why: "the last line has no line end and may be cut short", Do: "If it is whole, end the file with a line break and read it again."}
	badLetter = reason{Why: "a line is no UTF-8; its letters were read as Windows-1252", Do: "Nothing to do, unless names or remarks look wrong; then save the file as UTF-8."}
	badRemark = reason{Why: "a line that begins with # and has not the fields of a row: a remark", Do: "Nothing to do, unless it was to be a row."}
	badLong   = reason{Why: "a line is longer than 256 KB", Do: "Check that the file is the text that its name says."}
)

func openText(ctx context.Context, in fs.FS, ref Ref, d Dialect) (container, error) {
	fail := func(line int, err error, do string) error { return &Error{ref.name(), line, -1, err, do} }
	f, err := in.Open(ref.path())
	if err != nil {
		return nil, fail(0, plainReason(err), "Check that the file may be read.")
	}
	t := &text{told: newTold(ctx, ref), open: f, count: &counter{ctx: ctx, r: f}, end: '\n'}
	t.l = lines.New(ctx, t.count, nil)
	close := func(err error) (container, error) {
		t.close()
		return nil, err
	}
	head := t.l.Head(headSize)
	if t.l.Err() != nil {
		return close(fail(0, t.l.Err(), "Check that the file may be read."))
	}
	seen, doubts := Look(head)
	t.d = merge(d, seen)
	if d.Separator == 0 && d.Encoding == "" {
		t.asked = doubts
	}
	if len(head) == 0 {
		return close(fail(0, errors.New("the file is empty"), ""))
	}
	if err := t.decode(ctx); err != nil {
		return close(fail(0, err, "Save it as CSV in UTF-8."))
	}
	if d := t.l.Head(headSize); bytes.IndexByte(d, '\n') < 0 && bytes.IndexByte(d, '\r') >= 0 {
		t.end = '\r'
		t.l.EndWith(t.end)
	}
	if err := t.header(ref.name()); err != nil {
		return close(err)
	}
	return t, nil
}

// plainReason takes the call and the name off an error of a file.
func plainReason(err error) error {
	var pe *fs.PathError
	if errors.As(err, &pe) {
		return pe.Err
	}
	return err
}

// merge takes what was said, and what was seen where nothing was.
func merge(said, seen Dialect) Dialect {
	if said.Encoding != "" {
		seen.Encoding = said.Encoding
	}
	if said.Separator != 0 {
		seen.Separator = said.Separator
	}
	if said.Decimal != 0 {
		seen.Decimal = said.Decimal
	}
	if said.Header != 0 {
		seen.Header = said.Header
	}
	if said.Units != 0 {
		seen.Units = said.Units
	}
	return seen
}

// decode puts what turns the encoding into UTF-8 in front of the lines.
func (t *text) decode(ctx context.Context) error {
	dec, err := decoder(t.d.Encoding)
	if err != nil {
		return err
	}
	rest, all := t.l.Rest()
	rest = slices.Clone(rest)
	if dec == nil {
		rest = bytes.TrimPrefix(rest, bom)
	}
	r := io.Reader(bytes.NewReader(rest))
	if !all {
		r = io.MultiReader(r, t.count)
	}
	if dec != nil {
		r = transform.NewReader(r, dec)
	}
	t.l.Close()
	t.l = lines.New(ctx, r, nil)
	return nil
}

var bom = []byte("\xef\xbb\xbf")

// decoder gives what turns an encoding into UTF-8, nil for UTF-8 itself.
func decoder(encoding string) (transform.Transformer, error) {
	switch encoding {
	case "utf-8", "":
		return nil, nil
	case "utf-16le":
		return unicode.UTF16(unicode.LittleEndian, unicode.UseBOM).NewDecoder(), nil
	case "utf-16be":
		return unicode.UTF16(unicode.BigEndian, unicode.UseBOM).NewDecoder(), nil
	case "latin-1":
		return charmap.Windows1252.NewDecoder(), nil
	}
	return nil, fmt.Errorf("the encoding %q is not known", encoding)
}

// header reads up to the first row.
func (t *text) header(name string) error {
	var names, units [][]byte
	fail := func(line int, why string) error {
		return &Error{name, line, -1, errors.New(why), "Check the line of the header and the separator in the recipe, or export the table again."}
	}
	last := max(t.d.Header, t.d.Units)
	for t.l.After() < last {
		line, got := t.l.Next()
		if got == lines.None {
			if t.l.Err() != nil {
				return fail(t.l.After(), t.l.Err().Error())
			}
			return fail(t.l.After(), "the file ends before its header")
		}
		if got == lines.Cut {
			return fail(t.l.After(), "the file ends within its header")
		}
		if got == lines.Long {
			return fail(t.l.Line(), "a line of the header is longer than 256 KB")
		}
		if n := t.l.Line(); n == t.d.Header || n == t.d.Units {
			fields, how, _ := split(line, t.d.Separator, nil, new([]byte))
			if how != fine {
				return fail(t.l.Line(), "a quote of the header is not closed")
			}
			own := make([][]byte, len(fields))
			for i, f := range fields {
				own[i] = slices.Clone(f)
			}
			if n == t.d.Header {
				names, t.head = own, slices.Clone(line)
			} else {
				units = own
			}
		}
	}
	if t.d.Header < 0 { // as many columns as the first line has fields
		head := t.l.Head(headSize)
		line, _, _ := bytes.Cut(head, []byte{t.end})
		fields, _, _ := split(lines.Chop(line), t.d.Separator, nil, new([]byte))
		for range fields {
			names = append(names, nil)
		}
	}
	if n := len(names); n > 1 && len(names[n-1]) == 0 && t.d.Header > 0 { // a separator at the end of each line
		line, _, _ := bytes.Cut(t.l.Head(headSize), []byte{t.end})
		if fields, how, _ := split(lines.Chop(line), t.d.Separator, nil, new([]byte)); how != fine || len(fields) < n || len(fields[n-1]) == 0 {
			names = names[:n-1]
		}
	}
	if len(names) < 2 {
		return fail(max(1, t.d.Header), "the header has fewer than two columns")
	}
	t.cols = named(names, units)
	t.cells = make([]Cell, len(t.cols))
	return nil
}

// named makes columns of a header and its units; names are made unlike.
func named(names, units [][]byte) []Column {
	cols := make([]Column, len(names))
	seen := map[string]int{}
	for i, n := range names {
		s := strings.ToValidUTF8(string(n), "\uFFFD")
		if i == 0 {
			s = strings.TrimLeft(s, "# ")
		}
		s = strings.Join(strings.Fields(s), " ")
		if s == "" {
			s = "column " + strconv.Itoa(i+1)
		}
		if seen[s]++; seen[s] > 1 {
			s += " (" + strconv.Itoa(seen[s]) + ")"
		}
		cols[i] = Column{Name: s, Type: Words}
		if i < len(units) {
			cols[i].Unit = strings.Trim(strings.ToValidUTF8(string(units[i]), "\uFFFD"), "[]() ")
		}
	}
	return cols
}

func (t *text) bytes() int64 { return t.count.n }

func (t *text) close() error {
	t.l.Close()
	return t.open.Close()
}

func (t *text) next() (bool, error) {
	for {
		line, got := t.l.Next()
		if got == lines.None {
			if err := t.l.Err(); err != nil && t.ctx.Err() == nil {
				return false, &Error{t.file, t.l.After() + 1, -1, plainReason(err), again}
			}
			return false, t.l.Err()
		}
		at := Place{Line: t.l.Line(), Offset: t.l.Start()}
		if t.d.Encoding != "utf-8" {
			at.Offset = -1 // bytes of the text as decoded
		}
		switch {
		case got == lines.Long:
			t.rep.Add(&badLong, "", at.Line, at.Offset)
			continue
		case len(line) == 0 || len(trim(line)) == 0:
			continue
		case len(line) == len(t.head) && bytes.Equal(line, t.head):
			continue // the header once more
		}
		var how splitting
		var high bool
		t.fields, how, high = split(line, t.d.Separator, t.fields, &t.scratch)
		if line[0] == '#' && (how != fine || !t.asMany(len(t.fields))) {
			t.rep.Add(&badRemark, "", at.Line, at.Offset)
			continue
		}
		if how == opened && got == lines.Whole {
			if line, got = t.l.More(line, t.d.Separator); got == lines.Whole {
				t.fields, how, high = split(line, t.d.Separator, t.fields, &t.scratch)
			}
		}
		if got == lines.Cut {
			t.rep.Add(&badCut, "", at.Line, at.Offset)
			continue
		}
		if how != fine {
			t.rep.Add(&badQuote, "", at.Line, at.Offset)
			continue
		}
		fs := t.fields
		if n := len(fs); n == len(t.cols)+1 && len(fs[n-1]) == 0 {
			fs = fs[:n-1]
		}
		if len(fs) != len(t.cols) {
			t.rep.Add(&badFields, "", at.Line, at.Offset)
			continue
		}
		if high && !utf8.Valid(line) {
			t.rep.Add(&badLetter, "", at.Line, at.Offset)
			t.letters(line, fs)
		}
		for i, f := range fs {
			if len(f) == 0 {
				t.cells[i] = Cell{}
				continue
			}
			t.cells[i] = Cell{Type: Words, Text: f}
		}
		t.at = at
		return true, nil
	}
}

// asMany tells whether a line with so many fields may be a row: one more than
// columns stands for a separator at its end.
func (t *text) asMany(fields int) bool {
	return fields == len(t.cols) || fields == len(t.cols)+1 && len(t.fields[fields-1]) == 0
}

// letters turns the fields of a line that are no UTF-8, in a text that was
// taken for it, from Windows-1252.
func (t *text) letters(line []byte, fields [][]byte) {
	if most := 3 * len(line); cap(t.latin) < most { // as many bytes as a letter takes at most
		t.latin = make([]byte, 0, most)
	}
	out := t.latin[:0]
	for i, f := range fields {
		if utf8.Valid(f) {
			continue
		}
		at := len(out)
		for _, c := range f {
			out = utf8.AppendRune(out, charmap.Windows1252.DecodeByte(c))
		}
		fields[i] = out[at:len(out):len(out)]
	}
}

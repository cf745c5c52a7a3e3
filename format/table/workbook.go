package table

import (
	"archive/zip"
	"bufio"
	"bytes"
	"context"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"path"
	"slices"
	"strconv"
	"strings"

	"evenstand"
)

// Workbooks of ECMA-376 (Office Open XML), read as a stream: the sheet is never
// in memory, only the texts that its cells share.

const (
	sharedFree  = 16 << 20 // bytes of shared texts, unpacked,
	sharedTimes = 100      // and more for each packed byte: they are unlike, so they pack little
	sharedMost  = 64 << 20 // bytes of shared texts in memory, with their places
	maxPart     = 16 << 20 // bytes of workbook, styles and the like
	maxSheets   = 255      // that are read: none but a made-up one has more; no source
	maxSheetCol = 16384    // columns of a sheet (ECMA-376)
	headRows    = 60       // rows among which the header is looked for
)

// book is an open workbook.
type book struct {
	z      *zip.Reader
	size   int64
	closer io.Closer
	sheets []sheetRef       // no part twice
	listed int              // sheets of the workbook, with those that are not read
	date0  evenstand.Micros // of day 0, as if in UTC
	dates  []bool           // by style: the number is a date or time
	shared texts
	loaded bool  // the shared texts are
	bad    error // why they cannot be
}

// texts are many texts in one piece.
type texts struct {
	all  []byte
	ends []uint32
}

var errTexts = fmt.Errorf("the texts that its cells share take more than %d MB", sharedMost>>20)

func (t *texts) add(b []byte) error {
	if len(t.all)+len(b)+4*len(t.ends) > sharedMost {
		return errTexts
	}
	t.all = append(t.all, b...)
	t.ends = append(t.ends, uint32(len(t.all)))
	return nil
}

// at gives a text; it is lent.
func (t *texts) at(i int) []byte {
	if i < 0 || i >= len(t.ends) {
		return nil
	}
	from := uint32(0)
	if i > 0 {
		from = t.ends[i-1]
	}
	return t.all[from:t.ends[i]:t.ends[i]]
}

type sheetRef struct{ name, part string }

// The serial day 0 is December 30, 1899 in most workbooks, since they count
// February 29, 1900; with date1904 it is January 1, 1904 (ECMA-376, 18.17.4.1).
const (
	day1899 = -2_209_161_600 * evenstand.Second
	day1904 = -2_082_844_800 * evenstand.Second
)

func openBook(ctx context.Context, in fs.FS, ref Ref) (*book, error) {
	fail := func(err error, do string) error { return &Error{ref.name(), 0, -1, err, do} }
	at, size, closer, err := section(in, ref.path())
	if err != nil {
		return nil, fail(err, openAgain)
	}
	z, err := zip.NewReader(at, size)
	if err != nil {
		closer.Close()
		return nil, fail(errors.New("it is no whole workbook: "+strings.TrimPrefix(err.Error(), "zip: ")), again)
	}
	b := &book{z: z, size: size, closer: closer, date0: day1899}
	if err := b.index(ctx); err != nil {
		closer.Close()
		return nil, fail(err, again)
	}
	return b, nil
}

// part opens a part of the archive, of at most so many bytes; it ends when the
// context does.
func (b *book) part(ctx context.Context, name string, most int64) (io.ReadCloser, error) {
	name = strings.TrimPrefix(name, "/")
	for _, f := range b.z.File {
		if !strings.EqualFold(strings.ReplaceAll(f.Name, `\`, "/"), name) {
			continue
		}
		r, err := f.Open()
		if err != nil {
			return nil, fmt.Errorf("its part %s cannot be read: %w", name, err)
		}
		return struct {
			io.Reader
			io.Closer
		}{&bounded{&counter{ctx: ctx, r: r}, most, name}, r}, nil
	}
	return nil, fmt.Errorf("its part %s is missing: %w", name, fs.ErrNotExist)
}

// bounded ends a part that unpacks to more than it may.
type bounded struct {
	r    io.Reader
	left int64
	name string
}

func (b *bounded) Read(p []byte) (int, error) {
	if b.left <= 0 {
		return 0, fmt.Errorf("its part %s unpacks to more than any workbook needs", b.name)
	}
	n, err := b.r.Read(p[:min(int64(len(p)), b.left)])
	b.left -= int64(n)
	return n, err
}

// each calls do for every start of an element of a part.
func (b *book) each(ctx context.Context, part string, most int64, do func(d *xml.Decoder, e xml.StartElement) error) error {
	r, err := b.part(ctx, part, most)
	if err != nil {
		return err
	}
	defer r.Close()
	d := xml.NewDecoder(bufio.NewReaderSize(r, 64<<10))
	for {
		t, err := d.Token()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return fmt.Errorf("its part %s is damaged: %w", part, err)
		}
		if e, ok := t.(xml.StartElement); ok {
			if err := do(d, e); err != nil {
				return err
			}
		}
	}
}

func attr(e xml.StartElement, name string) string {
	for _, a := range e.Attr {
		if a.Name.Local == name {
			return a.Value
		}
	}
	return ""
}

// index reads what the workbook says of its sheets and styles.
func (b *book) index(ctx context.Context) error {
	targets := map[string]string{}
	met := map[string]bool{}
	if err := b.each(ctx, "xl/_rels/workbook.xml.rels", maxPart, func(_ *xml.Decoder, e xml.StartElement) error {
		if e.Name.Local == "Relationship" {
			t := attr(e, "Target")
			if strings.HasPrefix(t, "/") {
				t = t[1:]
			} else {
				t = path.Join("xl", t)
			}
			targets[attr(e, "Id")] = t
		}
		return nil
	}); err != nil {
		return err
	}
	if err := b.each(ctx, "xl/workbook.xml", maxPart, func(_ *xml.Decoder, e xml.StartElement) error {
		switch e.Name.Local {
		case "workbookPr":
			if v := attr(e, "date1904"); v == "1" || v == "true" {
				b.date0 = day1904
			}
		case "sheet":
			id := ""
			for _, a := range e.Attr { // r:id, where sheetId is another thing
				if a.Name.Local == "id" {
					id = a.Value
				}
			}
			if t := targets[id]; t != "" && strings.Contains(strings.ToLower(t), "worksheets/") {
				if b.listed++; !met[strings.ToLower(t)] && len(b.sheets) < maxSheets {
					b.sheets = append(b.sheets, sheetRef{attr(e, "name"), t})
					met[strings.ToLower(t)] = true
				}
			}
		}
		return nil
	}); err != nil {
		return err
	}
	if len(b.sheets) == 0 {
		return errors.New("it has no sheets")
	}
	own := map[int]bool{} // number formats of the workbook that are dates
	inXfs := false
	err := b.each(ctx, "xl/styles.xml", maxPart, func(_ *xml.Decoder, e xml.StartElement) error {
		switch e.Name.Local {
		case "numFmt":
			if id, err := strconv.Atoi(attr(e, "numFmtId")); err == nil {
				own[id] = isDateFormat(attr(e, "formatCode"))
			}
		case "cellStyleXfs", "dxfs", "cellStyles":
			inXfs = false
		case "cellXfs":
			inXfs = true
		case "xf":
			if !inXfs || len(b.dates) > 1<<16 {
				break
			}
			id, _ := strconv.Atoi(attr(e, "numFmtId"))
			is, known := own[id]
			// Built-in formats of dates and times (ECMA-376, 18.8.30).
			b.dates = append(b.dates, known && is || !known && (id >= 14 && id <= 22 || id >= 45 && id <= 47))
		}
		return nil
	})
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return nil
}

// isDateFormat tells whether a number format writes dates or times.
func isDateFormat(code string) bool {
	quoted, bracket := false, false
	for i := 0; i < len(code); i++ {
		switch c := code[i]; {
		case c == '"':
			quoted = !quoted
		case quoted:
		case c == '\\' || c == '_' || c == '*':
			i++
		case c == '[':
			bracket = true
			if i+1 < len(code) && strings.ContainsRune("hHmMsS", rune(code[i+1])) {
				return true // elapsed time
			}
		case c == ']':
			bracket = false
		case bracket:
		case strings.ContainsRune("yYmMdDhHsS", rune(c)):
			return true
		}
	}
	return false
}

// load loads the shared texts, once.
func (b *book) load(ctx context.Context) error {
	if !b.loaded {
		b.shared = texts{}
		b.bad = b.loadTexts(ctx)
		b.loaded = ctx.Err() == nil
	}
	return b.bad
}

func (b *book) loadTexts(ctx context.Context) error {
	const name = "xl/sharedStrings.xml"
	most := int64(sharedFree)
	for _, f := range b.z.File {
		if strings.EqualFold(strings.ReplaceAll(f.Name, `\`, "/"), name) {
			most += sharedTimes * int64(min(f.CompressedSize64, uint64(b.size)))
		}
	}
	r, err := b.part(ctx, name, most)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	defer r.Close()
	m := newMarkup(r)
	var cur []byte
	phonetic := 0
	for {
		err := m.next()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return fmt.Errorf("its part %s is damaged: %w", name, err)
		}
		switch string(m.name) {
		case "si":
			if m.end || m.self {
				if err := b.shared.add(bytes.TrimSpace(cur)); err != nil {
					return err
				}
			}
			cur = cur[:0]
		case "rPh": // how a text is spoken
			switch {
			case m.self:
			case m.end:
				phonetic--
			default:
				phonetic++
			}
		case "t":
			if m.end && phonetic == 0 {
				cur = append(cur, m.text...)
			}
		}
	}
}

var badBeyond = reason{Why: "a cell right of the last column that has a name", Do: "Give its column a name, if it is wanted.", Of: "cells"}

// sheet is an open sheet.
type sheet struct {
	told
	b     *book
	book  io.Closer
	r     io.ReadCloser
	count counter
	m     *markup
	queue []sheetRow
	last  int // number of the row read last
	wide  int // cells of the widest row so far
	lent  []Cell
	end   bool
	err   error
	text  []byte
}

type sheetRow struct {
	n     int
	cells []Cell
}

func openWorkbook(ctx context.Context, k *Kept, in fs.FS, ref Ref, d Dialect) (container, error) {
	s := &sheet{told: newTold(ctx, ref)}
	var err error
	if s.b, s.book, err = workbook(ctx, k, in, ref); err != nil {
		return nil, err
	}
	if err = s.open(ref, d); err != nil {
		s.close()
		return nil, err
	}
	return s, nil
}

func (s *sheet) open(ref Ref, d Dialect) error {
	i := 0
	if ref.Sheet != "" {
		i = slices.IndexFunc(s.b.sheets, func(x sheetRef) bool { return x.name == ref.Sheet })
		if i < 0 {
			return s.fail(-1, "Name one of its sheets.", "it has no sheet %q", ref.Sheet)
		}
	}
	if err := s.b.load(s.ctx); err != nil {
		do := again
		if errors.Is(err, errTexts) {
			do = "Save its sheets as CSV, and read those."
		}
		return s.fail(-1, do, "%w", err)
	}
	r, err := s.b.part(s.ctx, s.b.sheets[i].part, math.MaxInt64)
	if err != nil {
		return s.fail(-1, again, "%w", err)
	}
	s.r = r
	s.count = counter{ctx: s.ctx, r: r}
	s.m = newMarkup(&s.count)
	for len(s.queue) < headRows {
		row, ok := s.read()
		if !ok {
			break
		}
		s.queue = append(s.queue, row)
	}
	if len(s.queue) == 0 {
		if s.err != nil {
			return s.err
		}
		return s.fail(-1, "", "the sheet %q is empty", s.b.sheets[i].name)
	}
	return s.header(d)
}

// header finds the line of names: the first row with two texts and more that
// has more texts than numbers, unless it is said.
func (s *sheet) header(d Dialect) error {
	texts := func(r sheetRow) (t, n int) {
		for _, c := range r.cells {
			switch c.Type {
			case Empty:
			case Words:
				if isData(c.Text) {
					n++
				} else {
					t++
				}
			default:
				n++
			}
		}
		return t, n
	}
	at := -1
	most := 0
	for _, r := range s.queue {
		t, n := texts(r)
		most = max(most, t+n)
	}
	for i, r := range s.queue {
		t, n := texts(r)
		if d.Header == r.n || d.Header == 0 && t >= 2 && t > n && 2*(t+n) >= most {
			at = i
			break
		}
	}
	s.told.d = Dialect{Header: d.Header, Units: d.Units}
	if d.Header < 0 || at < 0 && d.Header == 0 {
		s.told.d.Header, s.told.d.Units = -1, -1
		wide := 0
		for _, r := range s.queue {
			wide = max(wide, len(r.cells))
		}
		s.cols = named(make([][]byte, wide), nil)
	} else if at < 0 {
		return s.fail(-1, "Check the line of the header in the recipe.", "line %d, which should be the header, is empty", d.Header)
	} else {
		head := s.queue[at]
		s.told.d.Header, s.told.d.Units = head.n, -1
		names := make([][]byte, len(head.cells))
		for i := range head.cells {
			names[i] = []byte(words(&head.cells[i]))
		}
		for len(names) > 0 && len(names[len(names)-1]) == 0 {
			names = names[:len(names)-1]
		}
		rest := s.queue[at+1:]
		var units [][]byte
		if len(rest) > 1 && (d.Units == rest[0].n || d.Units == 0 && unitsRow(rest[0], rest[1:])) {
			s.told.d.Units = rest[0].n
			for i := range rest[0].cells {
				units = append(units, []byte(words(&rest[0].cells[i])))
			}
			rest = rest[1:]
		}
		s.cols = named(names, units)
		s.queue = rest
	}
	if len(s.cols) < 2 {
		return s.fail(-1, "A table has a line of names and lines of values under it.", "it has fewer than two columns")
	}
	for i := range s.queue {
		r := &s.queue[i]
		n := min(len(r.cells), len(s.cols))
		for _, c := range r.cells[n:] {
			if c.Type != Empty {
				s.rep.Add(&badBeyond, "", r.n, -1)
			}
		}
		r.cells = r.cells[:n]
	}
	s.queue = slices.DeleteFunc(s.queue, func(r sheetRow) bool {
		return !slices.ContainsFunc(r.cells, func(c Cell) bool { return c.Type != Empty })
	})
	for i := range s.cols {
		s.cols[i].Type = Empty
		for _, r := range s.queue {
			if i < len(r.cells) && r.cells[i].Type != Empty {
				s.cols[i].Type = r.cells[i].Type
				break
			}
		}
	}
	return nil
}

// unitsRow tells whether a row under the header names units.
func unitsRow(r sheetRow, below []sheetRow) bool {
	texts, cols := 0, 0
	for i, c := range r.cells {
		data := 0
		for _, b := range below {
			if i < len(b.cells) && b.cells[i].Type != Empty && b.cells[i].Type != Words {
				data++
			}
		}
		if data == 0 {
			continue
		}
		cols++
		switch {
		case c.Type == Words && len(c.Text) <= 16 && !isData(c.Text):
			texts++
		case c.Type != Empty:
			return false
		}
	}
	return cols > 0 && 2*texts >= cols
}

// words writes a cell of a header.
func words(c *Cell) string {
	switch c.Type {
	case Words:
		return string(c.Text)
	case Number:
		return strconv.FormatFloat(c.Num, 'g', -1, 64)
	}
	return ""
}

// read gives the next row with a cell in it.
func (s *sheet) read() (row sheetRow, ok bool) {
	if s.end {
		return row, false
	}
	stop := func(err error) (sheetRow, bool) {
		s.end = true
		if err != nil {
			s.err = s.fail(-1, again, "after row %d: %w", s.last, err)
		}
		return sheetRow{}, false
	}
	var kind []byte
	style, col, cell := -1, -1, false
	var cells []Cell
	most := maxSheetCol
	if s.cols != nil {
		most = len(s.cols)
	}
	for {
		err := s.m.next()
		if errors.Is(err, io.EOF) {
			return stop(errors.New("the sheet is cut short"))
		}
		if err != nil {
			return stop(fmt.Errorf("the sheet is damaged: %w", err))
		}
		switch string(s.m.name) {
		case "row":
			if s.m.end || s.m.self {
				col = -1
				if s.cols != nil {
					s.lent = cells
				}
				if len(cells) > 0 {
					row.cells = cells
					return row, true
				}
				continue
			}
			row.n = s.last + 1
			if n, err := strconv.Atoi(string(s.m.get("r"))); err == nil {
				row.n = n
			}
			s.last = row.n
			if s.cols != nil { // behind the head a row is only lent
				cells = s.lent[:0]
			} else {
				cells = make([]Cell, 0, s.wide)
			}
		case "c":
			if s.m.end {
				c := s.cell(kind, style)
				switch {
				case !cell || c.Type == Empty || col < 0:
				case col >= most:
					if s.cols != nil {
						s.rep.Add(&badBeyond, "", row.n, -1)
					}
				default:
					if from := len(cells); from <= col {
						cells = slices.Grow(cells, col+1-from)[:col+1]
						clear(cells[from:])
					}
					cells[col] = c
					s.wide = max(s.wide, len(cells))
				}
				cell = false
				continue
			}
			if at := columnOf(s.m.get("r")); at >= 0 {
				col = at
			} else {
				col++
			}
			if s.m.self {
				continue
			}
			kind, style, cell = append(kind[:0], s.m.get("t")...), -1, true
			if v, err := strconv.Atoi(string(s.m.get("s"))); err == nil {
				style = v
			}
			s.text = s.text[:0]
		case "v", "t":
			if s.m.end && cell {
				if len(s.text)+len(s.m.text) > maxMarkup {
					return stop(errMarkup)
				}
				s.text = append(s.text, s.m.text...)
			}
		case "f": // the formula that gave the value
		case "sheetData":
			if s.m.end || s.m.self {
				return stop(nil)
			}
		}
	}
}

// columnOf reads the letters of a cell's name, -1 without.
func columnOf(name []byte) int {
	n := 0
	for i := 0; i < len(name) && i < 4; i++ {
		c := name[i] &^ 0x20
		if c < 'A' || c > 'Z' {
			break
		}
		n = n*26 + int(c-'A') + 1
	}
	return n - 1
}

// cell makes a cell of what was read.
func (s *sheet) cell(kind []byte, style int) Cell {
	text := string(bytes.TrimSpace(s.text))
	if text == "" {
		return Cell{}
	}
	switch string(kind) {
	case "s":
		i, err := strconv.Atoi(text)
		b := s.b.shared.at(i)
		if err != nil || len(b) == 0 {
			return Cell{}
		}
		return Cell{Type: Words, Text: b}
	case "str", "inlineStr":
		return Cell{Type: Words, Text: []byte(text)}
	case "b":
		if text == "1" {
			return Cell{Type: Flag, Num: 1}
		}
		return Cell{Type: Flag}
	case "e":
		return Cell{}
	case "d": // a date as text (ISO 8601)
		return Cell{Type: Words, Text: []byte(text)}
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return Cell{Type: Words, Text: []byte(text)}
	}
	if style >= 0 && style < len(s.b.dates) && s.b.dates[style] && v >= 0 && v < 2_958_466 { // up to the year 9999
		// Spreadsheets keep days as float64, so a time is good to some 10 µs:
		// to the millisecond it is what was meant.
		ms := math.Round(v * 86_400_000)
		if v < 1 {
			return Cell{Type: Local, T: evenstand.Micros(ms) * 1000} // a time of day
		}
		return Cell{Type: Local, T: s.b.date0 + evenstand.Micros(ms)*1000}
	}
	return Cell{Type: Number, Num: v}
}

func (s *sheet) next() (bool, error) {
	if err := s.each(); err != nil {
		return false, err
	}
	var r sheetRow
	if len(s.queue) > 0 {
		r, s.queue = s.queue[0], s.queue[1:]
	} else {
		var ok bool
		if r, ok = s.read(); !ok {
			return false, s.err
		}
	}
	s.at = Place{Line: r.n, Offset: -1}
	s.clear()
	copy(s.cells, r.cells)
	return true, nil
}

func (s *sheet) bytes() int64 { return s.count.n }

func (s *sheet) close() error {
	var err error
	if s.r != nil {
		err = s.r.Close()
	}
	return errors.Join(err, s.book.Close())
}

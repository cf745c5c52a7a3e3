package table

import (
	"bufio"
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"path"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"evenstand"
	"evenstand/format/unused"

	"golang.org/x/text/encoding/charmap"
)

// A shapefile is three files and more: .shp has the points, .dbf a row of
// values for each, in the same order; .prj says the coordinate system and .cpg
// the encoding of the texts. Sources: ESRI Shapefile Technical Description,
// July 1998; dBASE III and IV table file structure.

const (
	shpHeader  = 100  // bytes
	shpMost    = 1024 // bytes of a record that may be a point; larger ones are no points
	dbfHeader  = 32
	dbfMost    = 64 << 10 // bytes of a row: its length has two bytes
	smallParts = 64 << 10 // bytes of a .prj or .cpg at most
)

// isShapefile tells by its head whether a file is the .shp of a shapefile.
func isShapefile(head []byte) bool {
	return len(head) >= 36 && binary.BigEndian.Uint32(head) == 9994 && binary.LittleEndian.Uint32(head[28:]) == 1000
}

// shapefileParts groups the files of shapefiles: of each .shp the parts of the
// same name in the same folder, whatever the case, the .shp first. Other files
// are left out.
func shapefileParts(names []string) [][]string {
	key := func(name string) string { return strings.ToLower(strings.TrimSuffix(name, path.Ext(name))) }
	at := map[string]int{}
	var out [][]string
	for _, n := range names {
		if strings.EqualFold(path.Ext(n), ".shp") {
			if _, ok := at[key(n)]; !ok {
				at[key(n)] = len(out)
				out = append(out, []string{n})
			}
		}
	}
	for _, n := range names {
		switch strings.ToLower(path.Ext(n)) {
		case ".dbf", ".prj", ".cpg", ".shx":
			if i, ok := at[key(n)]; ok {
				out[i] = append(out[i], n)
			}
		}
	}
	return out
}

// shapesOf says what a shapefile holds that is no point; empty for points, and
// where it cannot be told.
func shapesOf(in fs.FS, name string) string {
	f, err := in.Open(name)
	if err != nil {
		return ""
	}
	defer f.Close()
	var head [36]byte
	if _, err := io.ReadFull(f, head[:]); err != nil || !isShapefile(head[:]) {
		return ""
	}
	switch kind := binary.LittleEndian.Uint32(head[32:]); kind {
	case 3, 13, 23, 5, 15, 25, 31:
		return shapeName(kind)
	}
	return ""
}

// shapes is an open shapefile.
type shapes struct {
	told
	files  []io.Closer
	points *bufio.Reader
	shp    counter
	ahead  int64 // byte of the .shp that is read next
	frame  frame
	geo    geometry
	values *dbf // nil without one
	buf    [shpMost]byte
}

var (
	badShpCut   = reason{Why: "the last point is cut short", Do: again, Of: "records"}
	badShpMore  = reason{Why: "a point without a row of values in %s: its values are empty", Do: "Copy or export all files of the shapefile again.", Of: "records"}
	badDbfMore  = reason{Why: "a row of values in %s without a point", Do: "Copy or export all files of the shapefile again.", Of: "records"}
	badDbfGone  = reason{Why: "a row that is marked as deleted", Do: "Nothing to do, unless it was deleted by mistake.", Of: "records"}
	badDbfNum   = reason{Why: "a value that is no number, such as %s", Do: "Nothing to do, unless there are many.", Of: "values"}
	badDbfDate  = reason{Why: "a value that is no date, such as %s", Do: "Nothing to do, unless there are many.", Of: "values"}
	badDbfFlag  = reason{Why: "a value that is neither yes nor no, such as %s", Do: "Nothing to do, unless there are many.", Of: "values"}
	badDbfKind  = reason{Why: "the column %s, which is of a type that is not read", Do: "Export it as text or as a number.", Of: "columns", Each: true}
	badPrj      = reason{Why: "%s is empty; the places look like degrees and are taken as WGS 84", Do: "Send the .prj file again if they are not.", Of: "files"}
	badShpNoDbf = reason{Why: "the .dbf file with the values is not there: points alone", Do: "Send all files of the shapefile: .shp, .dbf, .prj.", Of: "files"}
)

func openShapefile(ctx context.Context, in fs.FS, ref Ref) (container, error) {
	s := &shapes{told: newTold(ctx, ref)}
	s.at = Place{Offset: -1}
	files := ref.Files
	if ref.Inside != "" { // the parts lie beside one another
		files = []string{ref.Inside}
		if entries, err := fs.ReadDir(in, path.Dir(ref.Inside)); err == nil {
			var all []string
			for _, e := range entries {
				all = append(all, path.Join(path.Dir(ref.Inside), e.Name()))
			}
			for _, parts := range shapefileParts(all) {
				if parts[0] == ref.Inside {
					files = parts
				}
			}
		}
	}
	if err := s.open(in, files); err != nil {
		s.close()
		return nil, err
	}
	return s, nil
}

// open opens the parts.
func (s *shapes) open(in fs.FS, files []string) error {
	part := func(ext string) string {
		for _, f := range files {
			if strings.EqualFold(path.Ext(f), ext) {
				return f
			}
		}
		return ""
	}
	small := func(name string) (string, error) {
		if name == "" {
			return "", nil
		}
		f, err := in.Open(name)
		if err != nil {
			return "", &Error{name, 0, -1, plainReason(err), openAgain}
		}
		defer f.Close()
		b, err := io.ReadAll(io.LimitReader(f, smallParts))
		if err != nil {
			return "", &Error{name, 0, -1, plainReason(err), openAgain}
		}
		return string(b), nil
	}
	name := part(".shp")
	if name == "" {
		return s.fail(-1, "Send all files of the shapefile: .shp, .dbf, .prj.", "the .shp file is not there")
	}
	f, err := in.Open(name)
	if err != nil {
		return s.fail(-1, openAgain, "%w", plainReason(err))
	}
	s.files = append(s.files, f)
	s.shp = counter{ctx: s.ctx, r: f}
	s.points = bufio.NewReaderSize(&s.shp, 64<<10)
	head := s.buf[:shpHeader]
	if _, err := io.ReadFull(s.points, head); err != nil {
		return s.fail(-1, again, "the .shp file ends within its header")
	}
	if !isShapefile(head) {
		return s.fail(0, again, "the file is no shapefile")
	}
	s.ahead = shpHeader
	kind := binary.LittleEndian.Uint32(head[32:])
	height := false
	switch kind {
	case 0, 1, 8, 21, 28:
	case 11, 18:
		height = true
	default:
		return s.fail(32, "Export points: one place for each row of values.", "it holds %s and no points", shapeName(kind))
	}
	prj, err := small(part(".prj"))
	if err != nil {
		return err
	}
	if strings.TrimSpace(prj) != "" {
		if s.frame, err = wktFrame(prj); err != nil {
			return s.fail(-1, inWGS84, "by %s %w", part(".prj"), err)
		}
		if s.frame.doubt != "" {
			s.asked = append(s.asked, s.frame.doubt)
		}
	} else {
		for i, most := range []float64{180, 90, 180, 90} {
			if v := math.Float64frombits(binary.LittleEndian.Uint64(head[36+8*i:])); !(math.Abs(v) <= most) {
				return s.fail(-1, "Send the .prj file too, or export it in WGS 84 (EPSG:4326).", "the .prj file with the coordinate system is not there, and the places are no degrees (%.10g)", v)
			}
		}
		if name := part(".prj"); name != "" {
			s.rep.Add(&badPrj, name, 0, -1)
		}
		s.asked = append(s.asked, "The .prj file with the coordinate system is not there. The places look like degrees and are taken as WGS 84.")
	}
	cpg, err := small(part(".cpg"))
	if err != nil {
		return err
	}
	if name := part(".dbf"); name != "" {
		f, err := in.Open(name)
		if err != nil {
			return &Error{name, 0, -1, plainReason(err), openAgain}
		}
		s.files = append(s.files, f)
		if s.values, err = newDbf(s.ctx, f, name, cpg); err != nil {
			return err
		}
		s.cols = append(s.cols, s.values.cols...)
		for _, bad := range s.values.left {
			s.rep.Add(&badDbfKind, bad, 0, -1)
		}
		if s.values.doubt != "" {
			s.asked = append(s.asked, s.values.doubt)
		}
	} else {
		s.rep.Add(&badShpNoDbf, "", 0, -1)
	}
	s.geo = s.addGeometry(height)
	return nil
}

func shapeName(kind uint32) string {
	switch kind {
	case 3, 13, 23:
		return "lines"
	case 5, 15, 25:
		return "areas"
	case 31:
		return "patches of a surface"
	}
	return fmt.Sprintf("shapes of the unknown kind %d", kind)
}

func (s *shapes) next() (bool, error) {
	for {
		if err := s.each(); err != nil {
			return false, err
		}
		var head [12]byte
		n, err := io.ReadFull(s.points, head[:8])
		if err != nil && err != io.EOF && err != io.ErrUnexpectedEOF {
			return false, s.fail(s.ahead, openAgain, "%w", plainReason(err))
		}
		s.at = Place{Line: s.at.Line + 1, Offset: s.ahead}
		if n < 8 {
			if n > 0 {
				s.add(&badShpCut, "")
			}
			return false, s.rest()
		}
		size := 2 * int64(int32(binary.BigEndian.Uint32(head[4:])))
		if size < 4 {
			return false, s.fail(s.ahead, again, "record %d is said to be %d bytes long", s.at.Line, size)
		}
		s.ahead += 8 + size
		body := s.buf[:min(size, shpMost)]
		_, err = io.ReadFull(s.points, body)
		if err == nil && size > shpMost {
			_, err = io.CopyN(io.Discard, s.points, size-shpMost)
		}
		if err != nil && err != io.EOF && err != io.ErrUnexpectedEOF {
			return false, s.fail(s.at.Offset, openAgain, "%w", plainReason(err))
		} else if err != nil {
			s.add(&badShpCut, "")
			return false, s.rest()
		}
		s.clear()
		there := false
		if s.values != nil {
			var gone bool
			if there, gone, err = s.values.row(s); err != nil {
				return false, err
			}
			if gone {
				s.add(&badDbfGone, "")
				continue
			}
			if !there {
				s.add(&badShpMore, s.values.name)
			}
		}
		x, y, z, what := point(body)
		switch {
		case what != "":
			s.add(&badShape, what)
			continue
		case !math.IsNaN(x):
			s.set(s.geo, s.frame, x, y, z)
		}
		return true, nil
	}
}

// rest counts the rows of values that have no point.
func (s *shapes) rest() error {
	if s.values == nil {
		return nil
	}
	for {
		there, gone, err := s.values.row(nil)
		if err != nil || !there && !gone {
			return err
		}
		if !gone {
			s.add(&badDbfMore, s.values.name)
		}
		if err := s.each(); err != nil {
			return err
		}
		s.at.Line++
	}
}

// point takes the content of a record apart: a point, or a group of points
// with one in it. x is NaN for a shape that is empty; what tells what else it
// is. A measure (M) is not used.
func point(b []byte) (x, y, z float64, what string) {
	none := math.NaN()
	float := func(at int) float64 { return math.Float64frombits(binary.LittleEndian.Uint64(b[at:])) }
	kind := binary.LittleEndian.Uint32(b)
	at := 4
	switch kind {
	case 0:
		return none, none, none, ""
	case 8, 18, 28:
		if len(b) < 40 {
			return none, none, none, "a group of points that is cut short"
		}
		switch n := binary.LittleEndian.Uint32(b[36:]); n {
		case 0:
			return none, none, none, ""
		case 1:
			at = 40
		default:
			return none, none, none, "a group of several points"
		}
	case 1, 11, 21:
	default:
		return none, none, none, shapeName(kind)
	}
	if len(b) < at+16 {
		return none, none, none, "a point that is cut short"
	}
	x, y, z = float(at), float(at+8), none
	switch {
	case kind == 11 && len(b) >= 28:
		z = float(20)
	case kind == 18 && len(b) >= at+40: // after the range of heights
		z = float(at + 32)
	}
	if z < -1e38 { // says "no data"
		z = none
	}
	return x, y, z, ""
}

func (s *shapes) bytes() int64 {
	n := s.shp.n
	if s.values != nil {
		n += s.values.count.n
	}
	return n
}

func (s *shapes) close() error {
	var errs []error
	for _, f := range s.files {
		errs = append(errs, f.Close())
	}
	s.files = nil
	return errors.Join(errs...)
}

// dbf is a dBASE table.
type dbf struct {
	name   string
	count  counter
	r      *bufio.Reader
	cols   []Column
	fields []dbfField
	left   []string // columns that are left out
	doubt  string
	chars  *charmap.Charmap // nil: UTF-8
	either bool             // nothing says which: UTF-8 where it is, else chars
	buf    []byte
	text   []byte
	said   int64 // rows that the header says and that are still to come
	at     int64
	ended  bool
}

type dbfField struct {
	kind     byte
	from, to int
}

// dbfLanguages are the language bytes of tables whose texts are not in Windows
// 1252. Source: dBASE language driver identifiers.
var dbfLanguages = map[byte]*charmap.Charmap{
	0x01: charmap.CodePage437, 0x02: charmap.CodePage850, 0x64: charmap.CodePage852, 0x65: charmap.CodePage866,
	0xC8: charmap.Windows1250, 0xC9: charmap.Windows1251, 0xCA: charmap.Windows1254, 0xCB: charmap.Windows1253,
}

func newDbf(ctx context.Context, f io.Reader, name, cpg string) (*dbf, error) {
	d := &dbf{name: name, count: counter{ctx: ctx, r: f}}
	d.r = bufio.NewReaderSize(&d.count, 64<<10)
	fail := func(at int64, format string, args ...any) error {
		return &Error{name, 0, at, fmt.Errorf(format, args...), again}
	}
	var head [dbfHeader]byte
	if _, err := io.ReadFull(d.r, head[:]); err != nil {
		return nil, fail(-1, "the table ends within its header")
	}
	d.said = int64(binary.LittleEndian.Uint32(head[4:]))
	size, width := int(binary.LittleEndian.Uint16(head[8:])), int(binary.LittleEndian.Uint16(head[10:]))
	if size <= dbfHeader || width < 1 {
		return nil, fail(8, "its header is said to be %d bytes long and its rows %d", size, width)
	}
	rest := make([]byte, size-dbfHeader)
	if _, err := io.ReadFull(d.r, rest); err != nil {
		return nil, fail(-1, "the table ends within its header")
	}
	d.at = int64(size)
	d.encoding(cpg, head[29])
	from := 1
	for at := 0; at+dbfHeader <= len(rest) && rest[at] != '\r'; at += dbfHeader {
		b := rest[at : at+dbfHeader]
		raw, _, _ := bytes.Cut(b[:11], []byte{0})
		c := Column{Name: string(d.decode(bytes.TrimSpace(raw)))}
		kind, n := b[11], int(b[16])
		if kind == 'C' {
			n += int(b[17]) << 8 // long texts, as some writers have them
		}
		if from+n > width {
			return nil, fail(int64(dbfHeader+at), "column %s ends at byte %d of rows of %d", unused.Show(raw), from+n, width)
		}
		field := dbfField{kind, from, from + n}
		from += n
		switch kind {
		case 'N', 'F':
			c.Type = Number
		case 'C':
			c.Type = Words
		case 'D':
			c.Type = Local
		case 'L':
			c.Type = Flag
		default:
			d.left = append(d.left, unused.Show([]byte(c.Name)))
			continue
		}
		d.cols, d.fields = append(d.cols, c), append(d.fields, field)
	}
	d.buf = make([]byte, width)
	return d, nil
}

// encoding finds out how the texts are written.
func (d *dbf) encoding(cpg string, language byte) {
	switch c := plainWord(cpg); {
	case c == "utf8" || c == "65001":
	case c == "1252" || c == "ansi1252" || c == "cp1252" || c == "windows1252" || c == "iso88591" || c == "88591":
		d.chars = charmap.Windows1252
	case c != "":
		d.chars = charmap.Windows1252
		if other := dbfLanguages[language]; other != nil {
			d.chars = other
			return
		}
		d.doubt = fmt.Sprintf("The texts are in the encoding %s, which is not known; letters beyond ASCII may be wrong.", unused.Show([]byte(strings.TrimSpace(cpg))))
	default:
		d.chars = charmap.Windows1252
		if other := dbfLanguages[language]; other != nil {
			d.chars = other
		} else {
			d.either = language == 0
		}
	}
}

// decode gives a text in UTF-8, lent until the row's end.
func (d *dbf) decode(b []byte) []byte {
	if ascii(b) || (d.chars == nil || d.either) && utf8.Valid(b) {
		return b
	}
	chars := d.chars
	if chars == nil {
		chars = charmap.Windows1252 // it was said to be UTF-8 and is not
	}
	from := len(d.text)
	for _, c := range b {
		d.text = utf8.AppendRune(d.text, chars.DecodeByte(c))
	}
	return slices.Clip(d.text[from:])
}

// row reads the next row into the cells of s; there: one is there, gone: it is
// marked as deleted.
func (d *dbf) row(s *shapes) (there, gone bool, err error) {
	if d.ended || d.said == 0 {
		return false, false, nil
	}
	n, err := io.ReadFull(d.r, d.buf)
	switch {
	case err == io.EOF || err == io.ErrUnexpectedEOF:
		d.ended = true
		if n == 0 || d.buf[0] == 0x1a {
			return false, false, nil
		}
		return false, false, &Error{d.name, 0, d.at, errors.New("the table is cut short"), again}
	case err != nil:
		return false, false, &Error{d.name, 0, d.at, plainReason(err), openAgain}
	}
	d.at += int64(n)
	d.said--
	if d.buf[0] == '*' {
		return true, true, nil
	}
	if s == nil {
		return true, false, nil
	}
	d.text = d.text[:0]
	for i, f := range d.fields {
		s.cells[i] = d.cell(s, f.kind, d.buf[f.from:f.to])
	}
	return true, false, nil
}

func (d *dbf) cell(s *shapes, kind byte, b []byte) Cell {
	b = bytes.TrimRight(b, " \x00")
	if kind != 'C' {
		b = bytes.TrimLeft(b, " \x00")
	}
	if len(b) == 0 {
		return Cell{}
	}
	switch kind {
	case 'C':
		return Cell{Type: Words, Text: d.decode(b)}
	case 'D':
		if string(b) == "00000000" {
			return Cell{}
		}
		t, err := time.Parse("20060102", string(b))
		if err != nil {
			s.add(&badDbfDate, unused.Show(b))
			return Cell{}
		}
		return Cell{Type: Local, T: evenstand.FromTime(t)}
	case 'L':
		switch b[0] {
		case 'T', 't', 'Y', 'y', '1':
			return Cell{Type: Flag, Num: 1}
		case 'F', 'f', 'N', 'n', '0':
			return Cell{Type: Flag}
		case '?':
			return Cell{}
		}
		s.add(&badDbfFlag, unused.Show(b))
		return Cell{}
	}
	if b[0] == '*' { // too wide for its column when it was written
		s.add(&badDbfNum, unused.Show(b))
		return Cell{}
	}
	v, err := strconv.ParseFloat(string(b), 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		s.add(&badDbfNum, unused.Show(b))
		return Cell{}
	}
	return Cell{Type: Number, Num: v}
}

package table

import (
	"archive/zip"
	"bufio"
	"bytes"
	"encoding/binary"
	"encoding/json"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"evenstand"

	"github.com/parquet-go/parquet-go"
	"github.com/peterstace/simplefeatures/geom"
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
	"golang.org/x/text/transform"
)

// Writer writes one table. Rows are written as they come; a shapefile and the
// geometry of others are taken from the columns LongitudeColumn, LatitudeColumn
// and HeightColumn, or from one of type Shape.
type Writer struct {
	cols  []Column
	geo   geometry
	shape int // column of shapes, -1 none
	out   rowWriter
}

// rowWriter writes the rows of one kind of file.
type rowWriter interface {
	row(cells []Cell) error
	close() error
}

// NewWriter makes the files of a table, named after base with the endings of
// its kind. Of d the separator, the decimal sign and the encoding are used, for
// text only; what is zero is a comma, a point and UTF-8.
func NewWriter(kind Kind, create func(name string) (io.WriteCloser, error), base string, columns []Column, d Dialect) (*Writer, error) {
	w := &Writer{cols: columns, geo: geometry{-1, -1, -1}, shape: -1}
	for i, c := range columns {
		if c.Type == Shape {
			w.shape = i
		}
		switch c.Name {
		case LongitudeColumn:
			w.geo.lon = i
		case LatitudeColumn:
			w.geo.lat = i
		case HeightColumn:
			w.geo.height = i
		}
	}
	if (kind == GeoJSON || kind == Shapefile) && w.shape < 0 && (w.geo.lon < 0 || w.geo.lat < 0) {
		return nil, fmt.Errorf("a %s needs the columns %q and %q, or one of shapes", kind, LongitudeColumn, LatitudeColumn)
	}
	if w.shape >= 0 && w.geo.lon >= 0 {
		return nil, errors.New("a table has points or shapes, not both")
	}
	var err error
	switch kind {
	case Text:
		w.out, err = writeText(create, base, columns, d)
	case Workbook:
		w.out, err = writeWorkbook(create, base, columns)
	case Parquet:
		w.out, err = writeParquet(create, base, w)
	case GeoJSON:
		w.out, err = writeGeoJSON(create, base, w)
	case Shapefile:
		w.out, err = writeShapefile(create, base, w)
	default:
		err = fmt.Errorf("a table of kind %q is not known", kind)
	}
	return w, err
}

// Row writes one row, a cell for each column.
func (w *Writer) Row(cells []Cell) error {
	if len(cells) != len(w.cols) {
		return fmt.Errorf("%d cells for %d columns", len(cells), len(w.cols))
	}
	return w.out.row(cells)
}

// Close ends the files.
func (w *Writer) Close() error { return w.out.close() }

// isGeometry tells whether a column is part of the geometry.
func (w *Writer) isGeometry(i int) bool {
	return i == w.geo.lon || i == w.geo.lat || i == w.geo.height || i == w.shape
}

// located tells whether rows have a place.
func (w *Writer) located() bool { return w.geo.lon >= 0 || w.shape >= 0 }

// at gives the point of a row; ok: there is one.
func (w *Writer) at(cells []Cell) (x, y, z float64, ok bool) {
	z = math.NaN()
	if w.geo.lon < 0 || w.geo.lat < 0 {
		return 0, 0, z, false
	}
	if cells[w.geo.lon].Type != Number || cells[w.geo.lat].Type != Number {
		return 0, 0, z, false
	}
	if w.geo.height >= 0 && cells[w.geo.height].Type == Number {
		z = cells[w.geo.height].Num
	}
	return cells[w.geo.lon].Num, cells[w.geo.lat].Num, z, true
}

// stamp writes a moment, or the date and time of a wall clock.
func stamp(c *Cell) string {
	s := c.T.Time().Format("2006-01-02T15:04:05.000000")
	if c.Type == Instant {
		return s + "Z"
	}
	return s
}

type textWriter struct {
	file    io.Closer
	enc     io.WriteCloser // nil: none
	b       *bufio.Writer
	sep     byte
	decimal byte
	line    []byte
}

func writeText(create func(string) (io.WriteCloser, error), base string, cols []Column, d Dialect) (rowWriter, error) {
	t := &textWriter{sep: d.Separator, decimal: d.Decimal}
	if t.sep == 0 {
		t.sep = ','
	}
	if t.decimal == 0 {
		t.decimal = '.'
	}
	name := base + ".csv"
	if t.sep == '\t' {
		name = base + ".tsv"
	}
	f, err := create(name)
	if err != nil {
		return nil, err
	}
	t.file = f
	out := io.Writer(f)
	switch d.Encoding {
	case "", "utf-8":
	case "latin-1":
		t.enc = transform.NewWriter(f, charmap.Windows1252.NewEncoder())
	case "utf-16le":
		t.enc = transform.NewWriter(f, unicode.UTF16(unicode.LittleEndian, unicode.UseBOM).NewEncoder())
	case "utf-16be":
		t.enc = transform.NewWriter(f, unicode.UTF16(unicode.BigEndian, unicode.UseBOM).NewEncoder())
	default:
		return nil, errors.Join(fmt.Errorf("the encoding %q is not known", d.Encoding), f.Close())
	}
	if t.enc != nil {
		out = t.enc
	}
	t.b = bufio.NewWriterSize(out, 64<<10)
	names := make([]Cell, len(cols))
	for i, c := range cols {
		names[i] = Cell{Type: Words, Text: []byte(c.Name)}
	}
	return t, t.row(names)
}

func (t *textWriter) row(cells []Cell) error {
	b := t.line[:0]
	for i := range cells {
		if i > 0 {
			b = append(b, t.sep)
		}
		c := &cells[i]
		at := len(b)
		switch c.Type {
		case Words:
			b = append(b, c.Text...)
		case Shape:
			g, err := geom.UnmarshalWKB(c.Text)
			if err != nil {
				return err
			}
			b = g.AppendWKT(b)
		case Number, Flag:
			b = strconv.AppendFloat(b, c.Num, 'f', -1, 64)
			if t.decimal != '.' {
				if p := bytes.IndexByte(b[at:], '.'); p >= 0 {
					b[at+p] = t.decimal
				}
			}
		case Instant, Local:
			b = append(b, stamp(c)...)
		}
		if f := b[at:]; bytes.IndexByte(f, t.sep) >= 0 || bytes.ContainsAny(f, "\"\r\n") || len(f) > 0 && (f[0] == ' ' || f[0] == '#' || f[len(f)-1] == ' ') {
			quoted := strings.ReplaceAll(string(f), `"`, `""`)
			b = append(b[:at], '"')
			b = append(b, quoted...)
			b = append(b, '"')
		}
	}
	t.line = append(b, '\n')
	_, err := t.b.Write(t.line)
	return err
}

func (t *textWriter) close() error {
	err := t.b.Flush()
	if t.enc != nil {
		err = errors.Join(err, t.enc.Close())
	}
	return errors.Join(err, t.file.Close())
}

type geoJSONWriter struct {
	w    *Writer
	file io.Closer
	b    *bufio.Writer
	n    int
}

func writeGeoJSON(create func(string) (io.WriteCloser, error), base string, w *Writer) (rowWriter, error) {
	f, err := create(base + ".geojson")
	if err != nil {
		return nil, err
	}
	g := &geoJSONWriter{w: w, file: f, b: bufio.NewWriterSize(f, 64<<10)}
	if _, err = g.b.WriteString(`{"type":"FeatureCollection","features":[`); err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return g, nil
}

func (g *geoJSONWriter) row(cells []Cell) error {
	b := []byte{}
	if g.n > 0 {
		b = append(b, ',')
	}
	g.n++
	b = append(b, "\n"+`{"type":"Feature","geometry":`...)
	if x, y, z, ok := g.w.at(cells); ok {
		b = fmt.Appendf(b, `{"type":"Point","coordinates":[%s,%s`, strconv.FormatFloat(x, 'f', -1, 64), strconv.FormatFloat(y, 'f', -1, 64))
		if !math.IsNaN(z) {
			b = fmt.Appendf(b, ",%s", strconv.FormatFloat(z, 'f', -1, 64))
		}
		b = append(b, "]}"...)
	} else if k := g.w.shape; k >= 0 && cells[k].Type == Shape {
		shape, err := geom.UnmarshalWKB(cells[k].Text)
		if err != nil {
			return err
		}
		text, err := shape.MarshalJSON()
		if err != nil {
			return err
		}
		b = append(b, text...)
	} else {
		b = append(b, "null"...)
	}
	b = append(b, `,"properties":{`...)
	first := true
	for i := range cells {
		if g.w.isGeometry(i) {
			continue
		}
		if !first {
			b = append(b, ',')
		}
		first = false
		key, err := json.Marshal(g.w.cols[i].Name)
		if err != nil {
			return err
		}
		b = append(append(b, key...), ':')
		var v any
		switch c := &cells[i]; c.Type {
		case Words:
			v = string(c.Text)
		case Number:
			v = c.Num
		case Flag:
			v = c.Num != 0
		case Instant, Local:
			v = stamp(c)
		}
		text, err := json.Marshal(v)
		if err != nil {
			return err
		}
		b = append(b, text...)
	}
	b = append(b, "}}"...)
	_, err := g.b.Write(b)
	return err
}

func (g *geoJSONWriter) close() error {
	_, err := g.b.WriteString("\n]}\n")
	return errors.Join(err, g.b.Flush(), g.file.Close())
}

type workbookWriter struct {
	file io.Closer
	z    *zip.Writer
	b    *bufio.Writer
	n    int
}

// The parts of the smallest workbook there is (ECMA-376): one sheet, one style
// for dates with their time.
var workbookParts = []struct{ name, text string }{
	{"[Content_Types].xml", `<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"><Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/><Default Extension="xml" ContentType="application/xml"/><Override PartName="/xl/workbook.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"/><Override PartName="/xl/styles.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.styles+xml"/><Override PartName="/xl/worksheets/sheet1.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.worksheet+xml"/></Types>`},
	{"_rels/.rels", `<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/officeDocument" Target="xl/workbook.xml"/></Relationships>`},
	{"xl/_rels/workbook.xml.rels", `<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/worksheet" Target="worksheets/sheet1.xml"/><Relationship Id="rId2" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/styles" Target="styles.xml"/></Relationships>`},
	{"xl/styles.xml", `<styleSheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><numFmts count="1"><numFmt numFmtId="164" formatCode="yyyy\-mm\-dd hh:mm:ss.000"/></numFmts><fonts count="1"><font/></fonts><fills count="1"><fill/></fills><borders count="1"><border/></borders><cellStyleXfs count="1"><xf/></cellStyleXfs><cellXfs count="2"><xf numFmtId="0"/><xf numFmtId="164" applyNumberFormat="1"/></cellXfs></styleSheet>`},
	{"xl/workbook.xml", `<workbook xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships"><sheets><sheet name="log" sheetId="1" r:id="rId1"/></sheets></workbook>`},
}

const xmlHead = `<?xml version="1.0" encoding="UTF-8" standalone="yes"?>` + "\n"

func writeWorkbook(create func(string) (io.WriteCloser, error), base string, cols []Column) (rowWriter, error) {
	f, err := create(base + ".xlsx")
	if err != nil {
		return nil, err
	}
	w := &workbookWriter{file: f, z: zip.NewWriter(f)}
	for _, p := range workbookParts {
		out, err := w.z.Create(p.name)
		if err == nil {
			_, err = io.WriteString(out, xmlHead+p.text)
		}
		if err != nil {
			return nil, errors.Join(err, f.Close())
		}
	}
	out, err := w.z.Create("xl/worksheets/sheet1.xml")
	if err != nil {
		return nil, errors.Join(err, f.Close())
	}
	w.b = bufio.NewWriterSize(out, 64<<10)
	if _, err := w.b.WriteString(xmlHead + `<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>`); err != nil {
		return nil, err
	}
	names := make([]Cell, len(cols))
	for i, c := range cols {
		names[i] = Cell{Type: Words, Text: []byte(c.Name)}
	}
	return w, w.row(names)
}

// letters names a column of a sheet: A, B, …, AA.
func letters(i int) string {
	s := ""
	for i++; i > 0; i = (i - 1) / 26 {
		s = string(rune('A'+(i-1)%26)) + s
	}
	return s
}

func (w *workbookWriter) row(cells []Cell) error {
	w.n++
	b := fmt.Appendf(nil, `<row r="%d">`, w.n)
	for i := range cells {
		c := &cells[i]
		at := letters(i) + strconv.Itoa(w.n)
		switch c.Type {
		case Words:
			var esc bytes.Buffer
			if err := xml.EscapeText(&esc, c.Text); err != nil {
				return err
			}
			b = fmt.Appendf(b, `<c r="%s" t="inlineStr"><is><t xml:space="preserve">%s</t></is></c>`, at, esc.Bytes())
		case Number:
			b = fmt.Appendf(b, `<c r="%s"><v>%s</v></c>`, at, strconv.FormatFloat(c.Num, 'g', -1, 64))
		case Flag:
			b = fmt.Appendf(b, `<c r="%s" t="b"><v>%d</v></c>`, at, int(c.Num))
		case Instant, Local:
			days := float64(c.T-day1899) / float64(86400*evenstand.Second)
			b = fmt.Appendf(b, `<c r="%s" s="1"><v>%s</v></c>`, at, strconv.FormatFloat(days, 'f', 12, 64))
		}
	}
	b = append(b, "</row>\n"...)
	_, err := w.b.Write(b)
	return err
}

func (w *workbookWriter) close() error {
	_, err := w.b.WriteString(`</sheetData></worksheet>`)
	return errors.Join(err, w.b.Flush(), w.z.Close(), w.file.Close())
}

type parquetWriter struct {
	w     *Writer
	file  io.Closer
	p     *parquet.GenericWriter[any]
	at    []int // column of the file for each of ours, -1 the geometry's
	geo   int   // column of the geometry, -1 none
	rows  []parquet.Row
	block []parquet.Value // of the rows, used again for each group
	bytes []byte          // of their words and shapes, likewise
	width int
	point []byte
	kinds []string
	box   [4]float64
}

// kept gives a copy that lasts until the rows are flushed.
func (p *parquetWriter) kept(b []byte) []byte {
	if len(p.bytes)+len(b) > cap(p.bytes) { // rows before hold on to the old block
		p.bytes = make([]byte, 0, max(1<<20, len(b)))
	}
	at := len(p.bytes)
	p.bytes = append(p.bytes, b...)
	return p.bytes[at:len(p.bytes):len(p.bytes)]
}

// parquetGroup is how many rows are one row group.
const parquetGroup = 50_000

func writeParquet(create func(string) (io.WriteCloser, error), base string, w *Writer) (rowWriter, error) {
	f, err := create(base + ".parquet")
	if err != nil {
		return nil, err
	}
	g := parquet.Group{}
	var names []string
	for i, c := range w.cols {
		if w.located() && w.isGeometry(i) {
			continue
		}
		var n parquet.Node
		switch c.Type {
		case Number:
			n = parquet.Leaf(parquet.DoubleType)
		case Flag:
			n = parquet.Leaf(parquet.BooleanType)
		case Instant:
			n = parquet.Timestamp(parquet.Microsecond)
		case Local:
			n = parquet.TimestampAdjusted(parquet.Microsecond, false)
		default:
			n = parquet.Encoded(parquet.String(), &parquet.RLEDictionary)
		}
		g[c.Name] = parquet.Optional(n)
		names = append(names, c.Name)
	}
	options := []parquet.WriterOption{parquet.CreatedBy("evenstand", "", ""), parquet.Compression(&parquet.Zstd)}
	const geometryName = "geometry"
	if w.located() {
		g[geometryName] = parquet.Optional(parquet.Leaf(parquet.ByteArrayType))
		names = append(names, geometryName)
	}
	slices.Sort(names) // the library orders a group by name
	p := &parquetWriter{w: w, file: f, box: nowhere, geo: slices.Index(names, geometryName), width: len(names)}
	if !w.located() {
		p.geo = -1
	}
	for i, c := range w.cols {
		p.at = append(p.at, -1)
		if !w.located() || !w.isGeometry(i) {
			p.at[i] = slices.Index(names, c.Name)
		}
	}
	p.p = parquet.NewGenericWriter[any](f, append(options, parquet.NewSchema("table", g))...)
	return p, nil
}

func (p *parquetWriter) row(cells []Cell) error {
	if p.block == nil {
		p.block = make([]parquet.Value, parquetGroup*p.width)
	}
	row := parquet.Row(p.block[len(p.rows)*p.width:][:p.width:p.width])
	for i := range row {
		row[i] = parquet.NullValue().Level(0, 0, i)
	}
	for i := range cells {
		c, k := &cells[i], p.at[i]
		if k < 0 || c.Type == Empty {
			continue
		}
		var v parquet.Value
		switch p.w.cols[i].Type {
		case Number:
			v = parquet.DoubleValue(c.Num)
		case Flag:
			v = parquet.BooleanValue(c.Num != 0)
		case Instant, Local:
			v = parquet.Int64Value(int64(c.T))
		default:
			v = parquet.ByteArrayValue(p.kept(c.Text))
		}
		row[k] = v.Level(0, 1, k)
	}
	if p.geo >= 0 {
		if x, y, z, ok := p.w.at(cells); ok {
			kind := uint32(1)
			b := append(p.point[:0], 1, 0, 0, 0, 0)
			if !math.IsNaN(z) {
				kind = 1001
			}
			binary.LittleEndian.PutUint32(b[1:], kind)
			b = binary.LittleEndian.AppendUint64(b, math.Float64bits(x))
			b = binary.LittleEndian.AppendUint64(b, math.Float64bits(y))
			if !math.IsNaN(z) {
				b = binary.LittleEndian.AppendUint64(b, math.Float64bits(z))
			}
			p.point = b
			row[p.geo] = parquet.ByteArrayValue(p.kept(b)).Level(0, 1, p.geo)
			p.seen("Point"+map[bool]string{true: " Z"}[kind == 1001], [4]float64{x, y, x, y})
		} else if k := p.w.shape; k >= 0 && cells[k].Type == Shape {
			shape, err := geom.UnmarshalWKB(cells[k].Text)
			if err != nil {
				return err
			}
			row[p.geo] = parquet.ByteArrayValue(p.kept(cells[k].Text)).Level(0, 1, p.geo)
			p.seen(shape.Type().String(), boxOf(shape))
		}
	}
	p.rows = append(p.rows, row)
	if len(p.rows) < parquetGroup {
		return nil
	}
	return p.flush()
}

func (p *parquetWriter) flush() error {
	if len(p.rows) == 0 {
		return nil
	}
	_, err := p.p.WriteRows(p.rows)
	p.rows, p.bytes = p.rows[:0], p.bytes[:0]
	return errors.Join(err, p.p.Flush())
}

// seen takes in what kinds of geometry there are, and where.
func (p *parquetWriter) seen(kind string, box [4]float64) {
	if !slices.Contains(p.kinds, kind) {
		p.kinds = append(p.kinds, kind)
	}
	p.box = hull(p.box, box)
}

func (p *parquetWriter) close() error {
	if p.geo >= 0 { // GeoParquet 1.1.0: no CRS is longitude and latitude of WGS 84
		slices.Sort(p.kinds)
		column := map[string]any{"encoding": "WKB", "geometry_types": append([]string{}, p.kinds...)}
		if len(p.kinds) > 0 {
			column["bbox"] = p.box[:]
		}
		text, err := json.Marshal(map[string]any{"version": "1.1.0", "primary_column": "geometry", "columns": map[string]any{"geometry": column}})
		if err != nil {
			return errors.Join(err, p.p.Close(), p.file.Close())
		}
		p.p.SetKeyValueMetadata("geo", string(text))
	}
	return errors.Join(p.flush(), p.p.Close(), p.file.Close())
}

type shapeWriter struct {
	w      *Writer
	create func(string) (io.WriteCloser, error)
	base   string
	fields []dbfOut
	shp    []byte
	shx    []byte
	dbf    []byte
	n      uint32
	kind   uint32 // of all its shapes
	box    [4]float64
}

// Types of shapes, of which a file has one (ESRI 1998).
const (
	shapePoint = 1
	shapeLine  = 3
	shapeArea  = 5
)

// shapeMost is how large a part may become, bytes. It is held in memory until it is
// closed, since its length stands at its beginning; the format's own limit is ten
// times as much.
const shapeMost = 200 << 20

// nowhere is the box of nothing: west, south, east, north.
var nowhere = [4]float64{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}

func hull(a, b [4]float64) [4]float64 {
	return [4]float64{math.Min(a[0], b[0]), math.Min(a[1], b[1]), math.Max(a[2], b[2]), math.Max(a[3], b[3])}
}

func boxOf(g geom.Geometry) [4]float64 {
	low, high, ok := g.Envelope().MinMaxXYs()
	if !ok {
		return nowhere
	}
	return [4]float64{low.X, low.Y, high.X, high.Y}
}

// parts writes lines or areas as a record: type, box, parts, points. Outer rings
// run clockwise, holes the other way (ESRI 1998), which is the other way round than
// in GeoJSON.
func (s *shapeWriter) parts(g geom.Geometry) ([]byte, error) {
	var seqs []geom.Sequence
	kind := uint32(shapeLine)
	rings := func(p geom.Polygon) {
		for _, r := range p.ForceCW().DumpRings() {
			seqs = append(seqs, r.Coordinates())
		}
	}
	switch g.Type() {
	case geom.TypeLineString:
		seqs = append(seqs, g.MustAsLineString().Coordinates())
	case geom.TypeMultiLineString:
		for _, l := range g.MustAsMultiLineString().Dump() {
			seqs = append(seqs, l.Coordinates())
		}
	case geom.TypePolygon:
		kind = shapeArea
		rings(g.MustAsPolygon())
	case geom.TypeMultiPolygon:
		kind = shapeArea
		for _, p := range g.MustAsMultiPolygon().Dump() {
			rings(p)
		}
	default:
		return nil, fmt.Errorf("a shapefile has no place for a %s here", g.Type())
	}
	if s.kind != 0 && s.kind != kind {
		return nil, errors.New("a shapefile holds lines or areas, not both; write GeoJSON or Parquet")
	}
	s.kind = kind
	points := 0
	for _, q := range seqs {
		points += q.Length()
	}
	b := binary.LittleEndian.AppendUint32(nil, kind)
	for _, v := range boxOf(g) {
		b = binary.LittleEndian.AppendUint64(b, math.Float64bits(v))
	}
	b = binary.LittleEndian.AppendUint32(b, uint32(len(seqs)))
	b = binary.LittleEndian.AppendUint32(b, uint32(points))
	at := 0
	for _, q := range seqs {
		b = binary.LittleEndian.AppendUint32(b, uint32(at))
		at += q.Length()
	}
	for _, q := range seqs {
		for i := range q.Length() {
			p := q.GetXY(i)
			b = binary.LittleEndian.AppendUint64(b, math.Float64bits(p.X))
			b = binary.LittleEndian.AppendUint64(b, math.Float64bits(p.Y))
		}
	}
	return b, nil
}

// dbfOut is a column of the dBASE table.
type dbfOut struct {
	col  int
	name string
	kind byte
	size int
	dec  int
}

func writeShapefile(create func(string) (io.WriteCloser, error), base string, w *Writer) (rowWriter, error) {
	s := &shapeWriter{w: w, create: create, base: base, box: nowhere}
	used := map[string]bool{}
	for i, c := range w.cols {
		if w.isGeometry(i) {
			continue
		}
		f := dbfOut{col: i, name: c.Name, kind: 'C', size: 40}
		if c.Width > 0 {
			f.size = min(c.Width, 254)
		}
		switch c.Type {
		case Number:
			f.kind, f.size, f.dec = 'N', 24, 9
		case Flag:
			f.kind, f.size = 'L', 1
		case Instant, Local:
			f.size = 27
		}
		for n := 0; ; n++ { // names have ten bytes
			short := strings.ToValidUTF8(f.name[:min(len(f.name), 10)], "")
			if n > 0 {
				tail := strconv.Itoa(n)
				short = strings.ToValidUTF8(f.name[:min(len(f.name), 10-len(tail))], "") + tail
			}
			if !used[short] {
				f.name, used[short] = short, true
				break
			}
		}
		s.fields = append(s.fields, f)
	}
	if len(s.fields) == 0 {
		return nil, errors.New("a shapefile needs a column beside its geometry")
	}
	return s, nil
}

func (s *shapeWriter) row(cells []Cell) error {
	s.n++
	content := []byte{0, 0, 0, 0} // a shape that is empty
	if x, y, _, ok := s.w.at(cells); ok {
		content = binary.LittleEndian.AppendUint32(nil, 1)
		content = binary.LittleEndian.AppendUint64(content, math.Float64bits(x))
		content = binary.LittleEndian.AppendUint64(content, math.Float64bits(y))
		s.box = hull(s.box, [4]float64{x, y, x, y})
		s.kind = shapePoint
	} else if k := s.w.shape; k >= 0 && cells[k].Type == Shape {
		shape, err := geom.UnmarshalWKB(cells[k].Text)
		if err != nil {
			return err
		}
		if content, err = s.parts(shape); err != nil {
			return err
		}
		s.box = hull(s.box, boxOf(shape))
	}
	s.shx = binary.BigEndian.AppendUint32(s.shx, uint32(shpHeader+len(s.shp))/2)
	s.shx = binary.BigEndian.AppendUint32(s.shx, uint32(len(content))/2)
	s.shp = binary.BigEndian.AppendUint32(s.shp, s.n)
	s.shp = binary.BigEndian.AppendUint32(s.shp, uint32(len(content))/2)
	s.shp = append(s.shp, content...)
	s.dbf = append(s.dbf, ' ')
	for _, f := range s.fields {
		c := &cells[f.col]
		text := ""
		switch {
		case c.Type == Empty:
		case f.kind == 'N' && c.Type == Number:
			text = strconv.FormatFloat(c.Num, 'f', f.dec, 64)
			text = strings.Repeat(" ", max(0, f.size-len(text))) + text
		case f.kind == 'L':
			text = "F"
			if c.Num != 0 {
				text = "T"
			}
		case c.Type == Words:
			text = string(c.Text)
		case c.Type == Instant || c.Type == Local:
			text = stamp(c)
		}
		if len(text) > f.size {
			if f.kind != 'C' {
				text = ""
			}
			text = strings.ToValidUTF8(text[:min(len(text), f.size)], "")
		}
		s.dbf = append(s.dbf, text...)
		s.dbf = append(s.dbf, strings.Repeat(" ", f.size-len(text))...)
	}
	if len(s.shp) > shapeMost || len(s.dbf) > shapeMost {
		return fmt.Errorf("a shapefile has no room for more than %d rows of this; write Parquet or CSV, or fewer days", s.n-1)
	}
	return nil
}

// wgs84 is the coordinate system of what is written.
const wgs84 = `GEOGCS["GCS_WGS_1984",DATUM["D_WGS_1984",SPHEROID["WGS_1984",6378137.0,298.257223563]],PRIMEM["Greenwich",0.0],UNIT["Degree",0.0174532925199433]]`

func (s *shapeWriter) close() error {
	head := func(content int) []byte {
		b := make([]byte, shpHeader)
		binary.BigEndian.PutUint32(b, 9994)
		binary.BigEndian.PutUint32(b[24:], uint32(shpHeader+content)/2)
		binary.LittleEndian.PutUint32(b[28:], 1000)
		binary.LittleEndian.PutUint32(b[32:], max(s.kind, shapePoint))
		for i, v := range s.box {
			if math.IsInf(v, 0) {
				v = 0
			}
			binary.LittleEndian.PutUint64(b[36+8*i:], math.Float64bits(v))
		}
		return b
	}
	width := 1
	for _, f := range s.fields {
		width += f.size
	}
	d := make([]byte, dbfHeader)
	d[0], d[1], d[2], d[3] = 3, 126, 1, 1 // a date must stand there, and no clock is looked at
	binary.LittleEndian.PutUint32(d[4:], s.n)
	binary.LittleEndian.PutUint16(d[8:], uint16(dbfHeader*(len(s.fields)+1)+1))
	binary.LittleEndian.PutUint16(d[10:], uint16(width))
	for _, f := range s.fields {
		b := make([]byte, dbfHeader)
		copy(b[:11], f.name)
		b[11], b[16], b[17] = f.kind, byte(f.size), byte(f.dec)
		d = append(d, b...)
	}
	d = append(d, '\r')
	var errs []error
	for _, p := range []struct {
		ext  string
		data [][]byte // one behind the other
	}{
		{".shp", [][]byte{head(len(s.shp)), s.shp}},
		{".shx", [][]byte{head(len(s.shx)), s.shx}},
		{".dbf", [][]byte{d, s.dbf, {0x1a}}},
		{".prj", [][]byte{[]byte(wgs84)}},
		{".cpg", [][]byte{[]byte("UTF-8")}},
	} {
		f, err := s.create(s.base + p.ext)
		if err != nil {
			return errors.Join(append(errs, err)...)
		}
		for _, part := range p.data {
			_, err := f.Write(part)
			errs = append(errs, err)
		}
		errs = append(errs, f.Close())
	}
	return errors.Join(errs...)
}

package table

import (
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"slices"

	"evenstand"
	"evenstand/format/column"
	"evenstand/format/unused"
)

// columns of a Parquet file, a row group at a time. Points of GeoParquet (1.x,
// well-known binary) become the columns of a geometry.

type parquetFile struct {
	told
	closer io.Closer
	size   int64
	f      *column.File
	plan   []parquetColumn
	geo    geometry
	frame  frame
	group  int // that is loaded
	row_   int // of the group, the next
	rows   int // of the group
	done   int64
}

// parquetColumn is one column of the file.
type parquetColumn struct {
	column.Described
	to       int // cell; -1: the geometry
	nums     []float64
	ints     []int64
	texts    []string
	geometry bool
}

var (
	badNested = reason{Why: "the column %s, which is nested or of a type that is not read", Do: "Export it as text or as a number.", Of: "columns", Each: true}
	badWKB    = reason{Why: "a geometry that cannot be read", Do: "Export points as WKB.", Of: "records"}
)

// What a row group may hold of cells by what the file takes, since a column
// without values takes a few bytes and a whole group is held in memory. Chosen
// well beyond real tables; no source.
const (
	cellsFree    = 4 << 20
	cellsPerByte = 64
)

// absentText marks a text that the file does not hold.
const absentText = "\x00absent"

func openParquet(ctx context.Context, in fs.FS, ref Ref) (container, error) {
	p := &parquetFile{told: newTold(ctx, ref), group: -1, geo: geometry{-1, -1, -1}}
	at, size, closer, err := section(in, ref.path())
	if err != nil {
		return nil, p.fail(-1, openAgain, "%w", err)
	}
	p.closer, p.size = closer, size
	if p.f, err = column.OpenAt(at, size, p.file); err != nil {
		closer.Close()
		return nil, &Error{p.file, 0, -1, errors.Unwrap(err), again}
	}
	if err := p.columns_(); err != nil {
		closer.Close()
		return nil, err
	}
	return p, nil
}

// geoMeta is what GeoParquet says of its columns (GeoParquet 1.1, metadata
// "geo").
type geoMeta struct {
	Primary string `json:"primary_column"`
	Columns map[string]struct {
		Encoding string          `json:"encoding"`
		CRS      json.RawMessage `json:"crs"`
	} `json:"columns"`
}

func (p *parquetFile) columns_() error {
	var geo geoMeta
	if text, ok := p.f.Meta("geo"); ok {
		if json.Unmarshal([]byte(text), &geo) != nil {
			geo = geoMeta{}
		}
	}
	if c, ok := geo.Columns[geo.Primary]; ok && len(c.CRS) > 0 && string(c.CRS) != "null" {
		var crs struct {
			Name string `json:"name"`
			ID   struct {
				Authority string `json:"authority"`
				Code      any    `json:"code"`
			} `json:"id"`
		}
		name := ""
		if json.Unmarshal(c.CRS, &crs) == nil {
			name = fmt.Sprintf("%s:%v", crs.ID.Authority, crs.ID.Code)
			if crs.ID.Authority == "" {
				name = crs.Name
			}
		}
		f, err := namedFrame(name)
		if err != nil {
			return p.fail(-1, inWGS84, "%w", err)
		}
		p.frame = f
		if f.doubt != "" {
			p.asked = append(p.asked, f.doubt)
		}
	}
	for _, d := range p.f.Describe() {
		c := parquetColumn{Described: d, to: -1}
		if d.Name == geo.Primary && (d.Kind == column.Binary || d.Kind == column.Texts) {
			if e := geo.Columns[d.Name].Encoding; e != "WKB" && e != "" {
				p.rep.Add(&badNested, unused.Show([]byte(d.Name)), 0, -1)
				continue
			}
			c.geometry = true
			p.plan = append(p.plan, c)
			continue
		}
		kind := Empty
		switch d.Kind {
		case column.Floats, column.Integers, column.Decimals:
			kind = Number
		case column.Booleans:
			kind = Flag
		case column.Texts, column.Binary:
			kind = Words
		case column.Instant:
			kind = Instant
		case column.Local, column.Days:
			kind = Local
		default:
			p.rep.Add(&badNested, unused.Show([]byte(d.Name)), 0, -1)
			continue
		}
		c.to = len(p.cols)
		p.cols = append(p.cols, Column{Name: d.Name, Type: kind})
		p.plan = append(p.plan, c)
	}
	if slices.ContainsFunc(p.plan, func(c parquetColumn) bool { return c.geometry }) {
		p.geo = p.addGeometry(true)
	}
	return nil
}

// load reads the next row group that has rows; false after the last.
func (p *parquetFile) load() (bool, error) {
	for {
		p.group++
		if p.group >= p.f.Groups() {
			p.done = p.size
			return false, nil
		}
		p.rows, p.row_ = int(p.f.GroupRows(p.group)), 0
		if p.rows == 0 {
			continue
		}
		if cells := int64(p.rows) * int64(len(p.plan)); cells > cellsFree+cellsPerByte*p.size {
			return false, p.fail(-1, "Have the file written with smaller row groups.", "row group %d is said to hold %d rows of %d columns, in a file of %d bytes", p.group, p.rows, len(p.plan), p.size)
		}
		for i := range p.plan {
			c := &p.plan[i]
			var err error
			switch c.Kind {
			case column.Floats, column.Integers:
				c.nums, err = column.Values(p.f, p.group, c.Name, c.nums[:0], math.NaN())
			case column.Texts, column.Binary, column.Decimals:
				c.texts, err = column.Strings(p.f, p.group, c.Name, c.texts[:0], absentText)
			default:
				c.ints, err = column.Values(p.f, p.group, c.Name, c.ints[:0], int64(math.MinInt64))
			}
			if err != nil {
				return false, &Error{p.file, 0, -1, err, again}
			}
			if p.ctx.Err() != nil {
				return false, p.ctx.Err()
			}
		}
		p.done = p.size * int64(p.group) / int64(p.f.Groups())
		return true, nil
	}
}

func (p *parquetFile) next() (bool, error) {
	if err := p.each(); err != nil {
		return false, err
	}
	if p.group < 0 || p.row_ >= p.rows {
		if ok, err := p.load(); !ok {
			return false, err
		}
	}
	p.at = Place{Line: p.at.Line + 1, Offset: -1}
	p.clear()
	k := p.row_
	p.row_++
	for i := range p.plan {
		c := &p.plan[i]
		switch c.Kind {
		case column.Floats:
			if v := c.nums[k]; !math.IsNaN(v) && !math.IsInf(v, 0) {
				p.cells[c.to] = Cell{Type: Number, Num: v}
			}
		case column.Integers:
			if v := c.nums[k]; !math.IsNaN(v) {
				p.cells[c.to] = number(c, v)
			}
		case column.Texts, column.Binary:
			v := c.texts[k]
			if v == absentText || v == "" {
				continue
			}
			if c.geometry {
				p.point([]byte(v))
				continue
			}
			p.cells[c.to] = Cell{Type: Words, Text: []byte(v)}
		case column.Decimals:
			if v := c.texts[k]; v != absentText && v != "" {
				p.cells[c.to] = Cell{Type: Number, Num: decimal(v, c.Scale)}
			}
		default:
			v := c.ints[k]
			if v == math.MinInt64 {
				continue
			}
			p.cells[c.to] = whole(c, v)
		}
	}
	return true, nil
}

// whole makes a cell of a state, a time or a day.
func whole(c *parquetColumn, v int64) Cell {
	switch c.Kind {
	case column.Booleans:
		return Cell{Type: Flag, Num: float64(v)}
	case column.Instant, column.Local:
		kind := Instant
		if c.Kind == column.Local {
			kind = Local
		}
		if c.Unit >= 1e3 {
			if most := math.MaxInt64 / (c.Unit / 1e3); v > most || v < -most {
				return Cell{}
			}
			return Cell{Type: kind, T: evenstand.Micros(v * (c.Unit / 1e3))}
		}
		return Cell{Type: kind, T: evenstand.Micros(v / 1e3)}
	case column.Days:
		if v > 1e6 || v < -1e6 {
			return Cell{}
		}
		return Cell{Type: Local, T: evenstand.Micros(v) * 86400 * evenstand.Second}
	}
	return Cell{}
}

// number makes a cell of an integer, which is read as if it had a sign.
func number(c *parquetColumn, v float64) Cell {
	if v < 0 && c.Unsigned > 0 {
		v += math.Ldexp(1, c.Unsigned)
	}
	return Cell{Type: Number, Num: v / math.Pow10(c.Scale)}
}

// decimal reads a number of big-endian bytes in two's complement.
func decimal(b string, scale int) float64 {
	n, below := 0.0, b[0] >= 0x80
	for i := range len(b) {
		c := b[i]
		if below {
			c = ^c
		}
		n = n*256 + float64(c)
	}
	if below {
		n = -n - 1
	}
	return n / math.Pow10(scale)
}

// point reads well-known binary (ISO 19125 and its forms with height).
func (p *parquetFile) point(b []byte) {
	if len(b) < 5 || b[0] > 1 {
		p.add(&badWKB, "")
		return
	}
	var order binary.ByteOrder = binary.BigEndian
	if b[0] == 1 {
		order = binary.LittleEndian
	}
	kind := order.Uint32(b[1:])
	at := 5
	height := kind&0x80000000 != 0 || kind/1000%10 == 1 || kind/1000%10 == 3
	if kind&0x20000000 != 0 { // a number of the system in front
		at += 4
	}
	if k := kind & 0xffff % 1000; k != 1 {
		p.add(&badShape, wkbName(k))
		return
	}
	if len(b) < at+16 || height && len(b) < at+24 {
		p.add(&badWKB, "")
		return
	}
	float := func(at int) float64 { return math.Float64frombits(order.Uint64(b[at:])) }
	x, y, z := float(at), float(at+8), math.NaN()
	if height {
		z = float(at + 16)
	}
	if math.IsNaN(x) && math.IsNaN(y) {
		return // POINT EMPTY
	}
	p.set(p.geo, p.frame, x, y, z)
}

func wkbName(k uint32) string {
	names := []string{"a geometry", "a point", "a line", "an area", "a group of several points", "a group of lines", "a group of areas"}
	if int(k) < len(names) {
		return names[k]
	}
	return "a geometry of another kind"
}

func (p *parquetFile) bytes() int64 { return p.done }

func (p *parquetFile) close() error { return p.closer.Close() }

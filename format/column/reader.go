package column

import (
	"fmt"
	"io"
	"os"
	"slices"
	"unsafe"

	"github.com/parquet-go/parquet-go"
	"github.com/parquet-go/parquet-go/deprecated"
	"github.com/parquet-go/parquet-go/format"
)

// source is what a file is read from.
type source interface {
	io.ReaderAt
	io.Closer
	Name() string
}

// File is an open Parquet file.
type File struct {
	f      source
	pq     *parquet.File
	leaves map[string]leaf // columns that hold values and lie in no other
}

// leaf is a column that holds values.
type leaf struct {
	name  string
	index int // among all columns that hold values
	kind  format.Type
	width int  // bytes of a value, 0 where they differ
	there byte // definition level of a value that is there
	lists bool // holds more than one value a row
}

// Open opens a Parquet file and reads its footer.
func Open(path string) (*File, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	info, err := f.Stat()
	if err != nil {
		f.Close()
		return nil, err
	}
	pq, leaves, err := openParquet(f, info.Size())
	if err != nil {
		f.Close()
		return nil, fmt.Errorf("%s: not a whole Parquet file: %w", path, err)
	}
	return &File{f, pq, leaves}, nil
}

// at is a source that is no file of its own, under a name for errors.
type at struct {
	io.ReaderAt
	name string
}

func (a at) Name() string { return a.name }
func (at) Close() error   { return nil }

// OpenAt reads the footer of a file of which size bytes can be read from r;
// name stands in errors. Closing it leaves r open.
func OpenAt(r io.ReaderAt, size int64, name string) (*File, error) {
	pq, leaves, err := openParquet(r, size)
	if err != nil {
		return nil, fmt.Errorf("%s: not a whole Parquet file: %w", name, err)
	}
	return &File{at{r, name}, pq, leaves}, nil
}

// Again opens the file anew without reading its footer again: for one that is
// asked many times and whose path never holds anything else. The old one may be
// closed.
func (f *File) Again() (*File, error) {
	g, err := os.Open(f.f.Name())
	if err != nil {
		return nil, err
	}
	info, err := g.Stat()
	if err == nil && info.Size() != f.pq.Size() {
		err = fmt.Errorf("%s has %d bytes and had %d", f.f.Name(), info.Size(), f.pq.Size())
	}
	if err != nil {
		g.Close()
		return nil, err
	}
	return &File{g, f.pq, f.leaves}, nil
}

// Path is what the file was opened by.
func (f *File) Path() string { return f.f.Name() }

// openParquet reads the footer; the library may panic on a damaged one.
func openParquet(f io.ReaderAt, size int64) (pq *parquet.File, leaves map[string]leaf, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("damaged: %v", p)
		}
	}()
	if err := checkFooter(f, size); err != nil {
		return nil, nil, err
	}
	pq, err = parquet.OpenFile(f, size, parquet.SkipBloomFilters(true), parquet.SkipPageIndex(true), parquet.FileReadMode(parquet.ReadModeSync))
	if err != nil {
		return nil, nil, err
	}
	all := leavesOf(pq)
	if err := checkChunks(pq, all); err != nil {
		return nil, nil, err
	}
	leaves = map[string]leaf{}
	for _, c := range pq.Root().Columns() {
		if c.Leaf() {
			leaves[c.Name()] = all[c.Index()]
		}
	}
	return pq, leaves, nil
}

// leavesOf gives the columns that hold values, in their order. The library's
// types are not asked: they panic on what a file may well say.
func leavesOf(pq *parquet.File) []leaf {
	var kinds []*format.SchemaElement
	schema := pq.Metadata().Schema
	for i := range schema {
		if schema[i].Type.Valid {
			kinds = append(kinds, &schema[i])
		}
	}
	var all []leaf
	var walk func(c *parquet.Column)
	walk = func(c *parquet.Column) {
		for _, child := range c.Columns() {
			walk(child)
		}
		if !c.Leaf() {
			return
		}
		l := leaf{name: c.Name(), index: len(all), there: byte(c.MaxDefinitionLevel()), lists: c.MaxRepetitionLevel() > 0, kind: kinds[len(all)].Type.V}
		switch l.kind {
		case format.Boolean:
			l.width = 1
		case format.Int32, format.Float:
			l.width = 4
		case format.Int64, format.Double:
			l.width = 8
		case format.FixedLenByteArray:
			l.width = int(kinds[len(all)].TypeLength.V)
		}
		all = append(all, l)
	}
	walk(pq.Root())
	return all
}

// Close closes the file.
func (f *File) Close() error { return f.f.Close() }

// Rows gives the number of rows.
func (f *File) Rows() int64 { return f.pq.NumRows() }

// Groups gives the number of row groups.
func (f *File) Groups() int { return len(f.pq.RowGroups()) }

// GroupRows gives the number of rows of a row group.
func (f *File) GroupRows(g int) int64 { return f.pq.RowGroups()[g].NumRows() }

// Meta gives a value of the footer.
func (f *File) Meta(key string) (string, bool) { return f.pq.Lookup(key) }

// Has tells whether the file has a column of that name.
func (f *File) Has(name string) bool {
	_, ok := f.leaves[name]
	return ok
}

// Number is what a column of numbers can be read as.
type Number interface {
	~int8 | ~uint8 | ~int16 | ~uint16 | ~int32 | ~uint32 | ~int64 | ~float32 | ~float64
}

// Pages reads one column of one row group, a page at a time.
type Pages[V Number] struct {
	r    *pageReader
	none V
	dict []V
	full []V // a page with its nulls
}

// Numbers opens a column of numbers or booleans (0 and 1). none stands where
// the file holds no value.
func Numbers[V Number](f *File, group int, name string, none V) (*Pages[V], error) {
	l, err := f.leaf(name)
	if err != nil {
		return nil, err
	}
	switch l.kind {
	case format.Boolean, format.Int32, format.Int64, format.Float, format.Double:
	default:
		return nil, fmt.Errorf("%s: column %q holds no numbers", f.f.Name(), name)
	}
	r, err := f.read(group, l)
	if err != nil {
		return nil, err
	}
	return &Pages[V]{r: r, none: none}, nil
}

// leaf finds a column that holds one value a row.
func (f *File) leaf(name string) (leaf, error) {
	l, ok := f.leaves[name]
	if !ok {
		return l, fmt.Errorf("%s: no column %q", f.f.Name(), name)
	}
	if l.lists {
		return l, fmt.Errorf("%s: column %q holds lists", f.f.Name(), name)
	}
	return l, nil
}

// Next gives the values of the next page, lent until the next call, and
// io.EOF after the last. What is wrong with a page is a *PageError.
func (p *Pages[V]) Next() (vs []V, err error) {
	defer func() {
		if r := recover(); r != nil { // a decoder of the library may
			vs, err = nil, p.r.wrong("%v", r)
		}
	}()
	page, err := p.r.next()
	if err != nil {
		return nil, err
	}
	vs, err = p.present(&page)
	if err != nil || page.present == page.values {
		return vs, err
	}
	if cap(p.full) < page.values {
		p.full = make([]V, page.values)
	}
	out := p.full[:page.values]
	k := 0
	for i := range out {
		if page.levels != nil && page.levels[i] == p.r.there {
			out[i] = vs[k]
			k++
		} else {
			out[i] = p.none
		}
	}
	return out, nil
}

// Close gives the reader's memory back.
func (p *Pages[V]) Close() error {
	p.r.close()
	return nil
}

// present gives the values that a page holds, without its nulls.
func (p *Pages[V]) present(page *page) ([]V, error) {
	if page.present == 0 {
		return nil, nil
	}
	if !page.refers() {
		return p.convert(page)
	}
	if p.dict == nil && p.r.dict.present > 0 {
		all, err := p.convert(&p.r.dict)
		if err != nil {
			return nil, err
		}
		p.dict = slices.Clone(all)
	}
	refs, err := p.r.indexes(page)
	if err != nil {
		return nil, err
	}
	out := as[V](slotsOf(&p.r.cast, len(refs)*int(unsafe.Sizeof(p.none))))
	for i, k := range refs {
		out[i] = p.dict[k]
	}
	return out, nil
}

// convert decodes a page of values that stand in it themselves.
func (p *Pages[V]) convert(page *page) ([]V, error) {
	b, err := p.r.fixed(page)
	if err != nil {
		return nil, err
	}
	switch p.r.kind {
	case format.Int32:
		return castTo[V](p.r, as[int32](b)), nil
	case format.Int64:
		return castTo[V](p.r, as[int64](b)), nil
	case format.Float:
		return castTo[V](p.r, as[float32](b)), nil
	case format.Double:
		return castTo[V](p.r, as[float64](b)), nil
	}
	return castTo[V](p.r, b), nil // booleans
}

// castTo gives numbers as V.
func castTo[V, S Number](r *pageReader, src []S) []V {
	if same, ok := any(src).([]V); ok {
		return same
	}
	var v V
	out := as[V](slotsOf(&r.cast, len(src)*int(unsafe.Sizeof(v))))
	for i, s := range src {
		out[i] = V(s)
	}
	return out
}

// Described is a column as a file describes it.
type Described struct {
	Name string
	Kind ValueKind
	// Unit is what a count of an Instant or Local is worth in nanoseconds.
	Unit int64
	// Unsigned has the bits of integers without a sign; 0 they have one.
	Unsigned int
	// Scale is how many decimal places Integers and Decimals count.
	Scale int
}

// ValueKind is what a column of a foreign file holds.
type ValueKind uint8

// The kinds.
const (
	Unread   ValueKind = iota // nested, lists, or a type that is not read
	Floats                    // float or double
	Integers                  // of any width, signed
	Booleans
	Texts
	Binary   // bytes that are no text
	Instant  // a count since 1970 in UTC
	Local    // the same of a wall clock
	Days     // since 1970
	Decimals // bytes, to be read with Strings: big-endian, two's complement
)

// Describe lists the columns at the top of the file in their order.
func (f *File) Describe() []Described {
	var elements []*format.SchemaElement // in the order of leaf.index
	schema := f.pq.Metadata().Schema
	for i := range schema {
		if schema[i].Type.Valid {
			elements = append(elements, &schema[i])
		}
	}
	var out []Described
	for _, c := range f.pq.Root().Columns() {
		d := Described{Name: c.Name()}
		if l, ok := f.leaves[d.Name]; ok && !l.lists {
			d.describe(l, elements[l.index])
		}
		out = append(out, d)
	}
	return out
}

// describe tells what a column holds. What converted types mean stands in
// parquet.thrift (ConvertedType), for files before logical types.
func (d *Described) describe(l leaf, e *format.SchemaElement) {
	old := deprecated.ConvertedType(-1)
	if e.ConvertedType.Valid && e.LogicalType.Value == nil {
		old = e.ConvertedType.V
	}
	decimal := old == 5
	if decimal {
		d.Scale = int(e.Scale.V)
	}
	if t, ok := e.LogicalType.Value.(*format.DecimalType); ok {
		decimal, d.Scale = true, int(t.Scale)
	}
	if decimal && (d.Scale < 0 || d.Scale > 38) { // the most that 16 bytes hold
		return
	}
	switch l.kind {
	case format.Float, format.Double:
		d.Kind = Floats
	case format.Boolean:
		d.Kind = Booleans
	case format.ByteArray, format.FixedLenByteArray:
		switch e.LogicalType.Value.(type) {
		case *format.StringType, *format.EnumType, *format.JsonType:
			d.Kind = Texts
			return
		}
		switch {
		case decimal:
			d.Kind = Decimals
		case old == 0 || old == 4 || old == 19: // UTF8, ENUM, JSON
			d.Kind = Texts
		case old < 0 && l.kind == format.ByteArray:
			d.Kind = Binary
		}
	case format.Int32, format.Int64:
		d.integers(e, old, decimal)
	}
}

func (d *Described) integers(e *format.SchemaElement, old deprecated.ConvertedType, decimal bool) {
	d.Kind = Integers
	switch t := e.LogicalType.Value.(type) {
	case nil:
	case *format.TimestampType:
		d.Kind, d.Unit = Local, 1
		if t.IsAdjustedToUTC {
			d.Kind = Instant
		}
		switch t.Unit.Value.(type) {
		case *format.MilliSeconds:
			d.Unit = 1e6
		case *format.MicroSeconds:
			d.Unit = 1e3
		}
		return
	case *format.DateType:
		d.Kind = Days
		return
	case *format.IntType:
		if !t.IsSigned {
			d.Unsigned = int(t.BitWidth)
		}
		return
	case *format.DecimalType:
		return
	default:
		d.Kind = Unread
		return
	}
	switch old {
	case 9: // TIMESTAMP_MILLIS
		d.Kind, d.Unit = Instant, 1e6
	case 10: // TIMESTAMP_MICROS
		d.Kind, d.Unit = Instant, 1e3
	case 6:
		d.Kind = Days
	case 11, 12, 13, 14: // UINT_8 to UINT_64
		d.Unsigned = 8 << (old - 11)
	case 7, 8: // TIME
		d.Kind = Unread
	}
}

// Strings reads a column of texts or bytes of a row group and appends it to
// dst; none stands where the file holds none.
func Strings(f *File, group int, name string, dst []string, none string) ([]string, error) {
	from, n := len(dst), int(f.GroupRows(group))
	if n == 0 {
		return dst, nil
	}
	dst = slices.Grow(dst, n)[:from+n]
	if err := scatterStrings(f, group, name, unsafe.Pointer(&dst[from]), unsafe.Sizeof(none), n, none); err != nil {
		return dst[:from], err
	}
	return dst, nil
}

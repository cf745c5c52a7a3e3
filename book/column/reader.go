package column

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"os"
	"unsafe"

	"github.com/parquet-go/parquet-go"
)

// File is an open Parquet file.
type File struct {
	f  *os.File
	pq *parquet.File
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
	pq, err := openParquet(f, info.Size())
	if err != nil {
		f.Close()
		return nil, fmt.Errorf("%s: not a whole Parquet file: %w", path, err)
	}
	return &File{f, pq}, nil
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
	return &File{g, f.pq}, nil
}

// Path is what the file was opened by.
func (f *File) Path() string { return f.f.Name() }

// pages opens a column of a row group. The footer may be of another opening.
func (f *File) pages(group, column int) parquet.Pages {
	chunk := f.pq.RowGroups()[group].ColumnChunks()[column]
	if c, ok := chunk.(*parquet.FileColumnChunk); ok {
		return c.PagesFrom(f.f)
	}
	return chunk.Pages()
}

// openParquet reads the footer; the library may panic on a damaged one.
func openParquet(f io.ReaderAt, size int64) (pq *parquet.File, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("damaged: %v", p)
		}
	}()
	if err := checkFooter(f, size); err != nil {
		return nil, err
	}
	return parquet.OpenFile(f, size, parquet.SkipBloomFilters(true), parquet.SkipPageIndex(true), parquet.ReadBufferSize(256<<10), parquet.FileReadMode(parquet.ReadModeSync))
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
	_, ok := f.pq.Schema().Lookup(name)
	return ok
}

// Number is what a column of numbers can be read as.
type Number interface {
	~int8 | ~uint8 | ~int16 | ~uint16 | ~int32 | ~uint32 | ~int64 | ~float32 | ~float64
}

// Pages reads one column of one row group, a page at a time.
type Pages[V Number] struct {
	name  string
	pages parquet.Pages
	page  parquet.Page
	none  V
	buf   []V
	dict  []V
	of    parquet.Dictionary // what dict was made of
}

// Numbers opens a column of numbers or booleans (0 and 1). none stands where
// the file holds no value.
func Numbers[V Number](f *File, group int, name string, none V) (*Pages[V], error) {
	leaf, ok := f.pq.Schema().Lookup(name)
	if !ok {
		return nil, fmt.Errorf("%s: no column %q", f.f.Name(), name)
	}
	switch leaf.Node.Type().Kind() {
	case parquet.Boolean, parquet.Int32, parquet.Int64, parquet.Float, parquet.Double:
	default:
		return nil, fmt.Errorf("%s: column %q holds no numbers", f.f.Name(), name)
	}
	if leaf.MaxRepetitionLevel > 0 {
		return nil, fmt.Errorf("%s: column %q holds lists", f.f.Name(), name)
	}
	return &Pages[V]{name: name, pages: f.pages(group, leaf.ColumnIndex), none: none}, nil
}

// Next gives the values of the next page, lent until the next call, and
// io.EOF after the last.
func (p *Pages[V]) Next() (vs []V, err error) {
	defer func() {
		if r := recover(); r != nil { // the library may panic on damaged pages
			vs, err = nil, fmt.Errorf("column %q: damaged page: %v", p.name, r)
		}
	}()
	for {
		if p.page != nil {
			parquet.Release(p.page)
			p.page = nil
		}
		page, err := p.pages.ReadPage()
		if err != nil {
			if errors.Is(err, io.EOF) {
				return nil, io.EOF
			}
			return nil, fmt.Errorf("column %q: %w", p.name, err)
		}
		p.page = page
		if page.NumValues() == 0 {
			continue
		}
		return p.values(page)
	}
}

// Close gives the page and the reader back.
func (p *Pages[V]) Close() error {
	if p.page != nil {
		parquet.Release(p.page)
		p.page = nil
	}
	return p.pages.Close()
}

func (p *Pages[V]) values(page parquet.Page) ([]V, error) {
	n := int(page.NumValues())
	present := n
	nulls := int(page.NumNulls())
	present -= nulls
	vs, err := p.present(page, present)
	if err != nil {
		return nil, err
	}
	if len(vs) < present {
		return nil, fmt.Errorf("column %q: a page holds %d of %d values", p.name, len(vs), present)
	}
	vs = vs[:present]
	if nulls == 0 {
		return vs, nil
	}
	levels := page.DefinitionLevels()
	if len(levels) != n { // only nulls, without levels
		if present != 0 {
			return nil, fmt.Errorf("column %q: a page does not say which values are missing", p.name)
		}
		levels = make([]byte, n)
	}
	most := byte(0)
	for _, l := range levels {
		most = max(most, l)
	}
	if present == 0 {
		most = 255
	}
	out := make([]V, n)
	k := 0
	for i, l := range levels {
		if l == most && k < len(vs) {
			out[i] = vs[k]
			k++
		} else {
			out[i] = p.none
		}
	}
	return out, nil
}

// present gives the values that a page holds, without its nulls.
func (p *Pages[V]) present(page parquet.Page, n int) ([]V, error) {
	if n == 0 {
		return nil, nil
	}
	// On a page coded by a dictionary, Data gives indexes and no error.
	if d := page.Dictionary(); d != nil {
		if p.of != d {
			p.of = d
			all := d.Page()
			vs, err := p.convert(all, d.Len())
			if err != nil {
				return nil, err
			}
			p.dict = append(p.dict[:0], vs...)
		}
		data := page.Data()
		idx := data.Int32()
		if cap(p.buf) < len(idx) {
			p.buf = make([]V, len(idx))
		}
		out := p.buf[:len(idx)]
		for i, k := range idx {
			if uint(k) >= uint(len(p.dict)) {
				return nil, fmt.Errorf("column %q: a page refers to value %d of a dictionary of %d", p.name, k, len(p.dict))
			}
			out[i] = p.dict[k]
		}
		return out, nil
	}
	return p.convert(page, n)
}

func (p *Pages[V]) convert(page parquet.Page, n int) ([]V, error) {
	data := page.Data()
	var v V
	switch page.Type().Kind() {
	case parquet.Int32:
		src := data.Int32()
		if _, same := any(v).(int32); same {
			return *(*[]V)(unsafe.Pointer(&src)), nil
		}
		return castInto(&p.buf, src), nil
	case parquet.Int64:
		src := data.Int64()
		if _, same := any(v).(int64); same {
			return *(*[]V)(unsafe.Pointer(&src)), nil
		}
		return castInto(&p.buf, src), nil
	case parquet.Float:
		src := data.Float()
		if _, same := any(v).(float32); same {
			return *(*[]V)(unsafe.Pointer(&src)), nil
		}
		return castInto(&p.buf, src), nil
	case parquet.Double:
		src := data.Double()
		if _, same := any(v).(float64); same {
			return *(*[]V)(unsafe.Pointer(&src)), nil
		}
		return castInto(&p.buf, src), nil
	case parquet.Boolean:
		bits := data.Boolean()
		if len(bits)*8 < n {
			return nil, fmt.Errorf("column %q: a page of %d bits for %d values", p.name, 8*len(bits), n)
		}
		if cap(p.buf) < n {
			p.buf = make([]V, n)
		}
		out := p.buf[:n]
		if _, bytes := any(v).(uint8); bytes { // eight at a time
			b := unsafe.Slice((*byte)(unsafe.Pointer(unsafe.SliceData(out))), n)
			i := 0
			for ; i+8 <= n; i += 8 {
				binary.LittleEndian.PutUint64(b[i:], spread[bits[i>>3]])
			}
			for ; i < n; i++ {
				b[i] = bits[i>>3] >> (i & 7) & 1
			}
			return out, nil
		}
		for i := range out {
			out[i] = V(bits[i>>3] >> (i & 7) & 1)
		}
		return out, nil
	}
	return nil, fmt.Errorf("column %q holds no numbers", p.name)
}

// spread holds, for each byte, its bits as eight bytes, lowest first.
var spread = func() (t [256]uint64) {
	for i := range t {
		for bit := range 8 {
			t[i] |= uint64(i>>bit&1) << (8 * bit)
		}
	}
	return t
}()

func castInto[V, S Number](buf *[]V, src []S) []V {
	if cap(*buf) < len(src) {
		*buf = make([]V, len(src))
	}
	out := (*buf)[:len(src)]
	for i, s := range src {
		out[i] = V(s)
	}
	return out
}

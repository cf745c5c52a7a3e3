package column

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"io"
	"math/bits"
	"sync"

	"github.com/andybalholm/brotli"
	"github.com/klauspost/compress/gzip"
	"github.com/klauspost/compress/snappy"
	"github.com/klauspost/compress/zstd"
	"github.com/parquet-go/parquet-go/format"
	"github.com/pierrec/lz4/v4"
)

// The library's own pages are not used for reading: it asks for as much memory
// as a page's header, a frame of packed bytes or a delta code states, and has
// no place between unpacking and decoding where that could be looked at. Here
// every length is held against the rows that the group has left, or against
// the bytes that are there, before memory is asked for.

// Sources: Apache Parquet, parquet.thrift (PageHeader), Encodings.md,
// Compression.md.

// What the pages of a column may unpack to by what its rows and its bytes are,
// and what of a header is read at most. Chosen well beyond real tables; no
// source.
const (
	unpackedFree    = 4 << 20
	unpackedPerRow  = 64
	unpackedPerByte = 64
	headerMost      = 1 << 20
	windowSize      = 256 << 10 // bytes read at once
	keptMost        = 8 << 20   // bytes of a buffer that is kept for the next reader
)

// PageError says where in a Parquet file a page cannot be read and why.
type PageError struct {
	File   string
	Group  int    // row group, from 0
	Column string // its name
	Page   int    // of the column in the group, from 0, dictionary and all
	Offset int64  // byte of the file at which the page starts
	Err    error  // what was wrong
}

// Error gives the place and what was wrong, without what to do: that depends on
// where the file comes from.
func (e *PageError) Error() string { return fmt.Sprintf("%s, %s: %v", e.File, e.Place(), e.Err) }

// Place gives the place within the file.
func (e *PageError) Place() string {
	return fmt.Sprintf("row group %d, column %q, page %d at byte %d", e.Group, e.Column, e.Page, e.Offset)
}

// Unwrap gives what was wrong.
func (e *PageError) Unwrap() error { return e.Err }

// pageReader reads the pages of one column of one row group.
type pageReader struct {
	leaf
	file    io.ReaderAt
	place   PageError // of the page at hand
	codec   format.CompressionCodec
	at, end int64 // what of the file is to be read
	left    int64 // values that the pages still hold, with the nulls
	budget  int64 // bytes that they may still unpack to
	dict    page  // the dictionary, without levels; data nil when there is none
	*buffers
}

// page is one page, unpacked. What it points to is lent until the next.
type page struct {
	values  int    // with the nulls
	present int    // without them
	levels  []byte // one a value; nil when all are there, or none
	coding  format.Encoding
	data    []byte
}

// refers tells whether the values are places in the dictionary.
func (p *page) refers() bool { return p.coding == format.RLEDictionary }

// buffers are what a reader works in.
type buffers struct {
	window   []byte // a piece of the file
	from     int64  // where it begins
	unpacked []byte
	levels   []byte
	values   []uint64
	cast     []uint64
}

var bufferPool = sync.Pool{New: func() any { return new(buffers) }}

// room gives a slice of n bytes at the beginning of buf, which grows as need
// be; slack bytes may be written beyond.
func room(buf *[]byte, n, slack int) []byte {
	if cap(*buf) < n+slack {
		*buf = make([]byte, n+slack)
	}
	return (*buf)[:n]
}

// chunkStart gives the byte at which a column of a row group begins: of its
// dictionary, which lies before its values, or of these. One said to lie behind
// them is not there.
func chunkStart(c *format.ColumnMetaData) int64 {
	if c.DictionaryPageOffset != 0 && c.DictionaryPageOffset < c.DataPageOffset {
		return c.DictionaryPageOffset
	}
	return c.DataPageOffset
}

// read opens a column of a row group.
func (f *File) read(group int, l leaf) (*pageReader, error) {
	rg := &f.pq.Metadata().RowGroups[group]
	c := &rg.Columns[l.index].MetaData
	r := &pageReader{
		leaf: l, file: f.f, codec: c.Codec,
		place: PageError{File: f.f.Name(), Group: group, Column: l.name, Page: -1, Offset: chunkStart(c)},
		at:    chunkStart(c), left: rg.NumRows,
		budget: unpackedFree + unpackedPerRow*rg.NumRows + unpackedPerByte*c.TotalCompressedSize,
	}
	r.end = r.at + c.TotalCompressedSize
	if l.kind == format.FixedLenByteArray && l.width < 1 {
		return nil, fmt.Errorf("%s: column %q is said to hold values of %d bytes", f.f.Name(), l.name, l.width)
	}
	r.buffers = bufferPool.Get().(*buffers)
	r.window, r.from = r.window[:0], r.at
	return r, nil
}

// close gives the buffers back.
func (r *pageReader) close() {
	b := r.buffers
	if b == nil {
		return
	}
	r.buffers, r.dict, r.left = nil, page{}, 0
	if cap(b.window)+cap(b.unpacked)+cap(b.levels)+8*cap(b.values)+8*cap(b.cast) <= keptMost {
		bufferPool.Put(b)
	}
}

// wrong makes the error for the page at hand.
func (r *pageReader) wrong(what string, args ...any) error {
	e := r.place
	e.Err = fmt.Errorf(what, args...)
	return &e
}

// fill sees to it that the next n bytes of the column are in the window, as
// far as the column has them, and gives what is in it from there.
func (r *pageReader) fill(n int64) ([]byte, error) {
	n = min(n, r.end-r.at)
	have := r.window[r.at-r.from:]
	if int64(len(have)) >= n {
		return have, nil
	}
	size := int(min(max(n, windowSize), r.end-r.at))
	had := len(have)
	if cap(r.window) < size {
		r.window = make([]byte, size)
		copy(r.window, have)
	} else {
		copy(r.window[:size], have)
		r.window = r.window[:size]
	}
	r.from = r.at
	got, err := r.file.ReadAt(r.window[had:], r.at+int64(had))
	r.window = r.window[:had+got]
	if int64(len(r.window)) < n {
		return r.window, r.wrong("it cannot be read: %w", err)
	}
	return r.window, nil
}

// header is a page's, as far as it matters.
type header struct {
	kind             format.PageType
	unpacked, packed int64 // bytes
	sum              uint32
	values, nulls    int64
	coding           format.Encoding
	levelCoding      format.Encoding
	before, levels   int64 // bytes of levels in a page of version 2, of lists and of nulls
	plain            bool  // version 2, not packed
	body             bool  // says what a page of its kind must
}

// plainDictionary is what older writers name two codings by: of a dictionary
// PLAIN, of a page that refers to it RLE_DICTIONARY.
const plainDictionary format.Encoding = 2

// parse reads a header and gives its length, 0 when it is not one.
func (h *header) parse(b []byte) int {
	s := thrift{b: b}
	*h = header{kind: -1, unpacked: -1, packed: -1, coding: -1}
	number := func(kind byte, to *int64) bool {
		if kind != typeI32 {
			return false
		}
		*to = s.number()
		return true
	}
	coding := func(kind byte, to *format.Encoding, older format.Encoding) bool {
		n := int64(0)
		ok := number(kind, &n)
		if *to = format.Encoding(n); *to == plainDictionary {
			*to = older
		}
		return ok
	}
	s.fields(0, func(id int64, kind byte) bool {
		switch {
		case id == 1 && kind == typeI32:
			h.kind = format.PageType(s.number())
			return true
		case id == 2:
			return number(kind, &h.unpacked)
		case id == 3:
			return number(kind, &h.packed)
		case id == 4 && kind == typeI32:
			h.sum = uint32(s.number())
			return true
		case kind != typeStruct:
			return false
		}
		switch {
		case id == 5 && h.kind == format.DataPage:
			h.body = true
			s.fields(1, func(id int64, kind byte) bool {
				switch id {
				case 1:
					return number(kind, &h.values)
				case 2:
					return coding(kind, &h.coding, format.RLEDictionary)
				case 3:
					return coding(kind, &h.levelCoding, plainDictionary)
				}
				return false
			})
		case id == 7 && h.kind == format.DictionaryPage:
			h.body = true
			s.fields(1, func(id int64, kind byte) bool {
				switch id {
				case 1:
					return number(kind, &h.values)
				case 2:
					return coding(kind, &h.coding, format.Plain)
				}
				return false
			})
		case id == 8 && h.kind == format.DataPageV2:
			h.body = true
			h.levelCoding = format.RLE
			s.fields(1, func(id int64, kind byte) bool {
				switch id {
				case 1:
					return number(kind, &h.values)
				case 2:
					return number(kind, &h.nulls)
				case 4:
					return coding(kind, &h.coding, format.RLEDictionary)
				case 5:
					return number(kind, &h.levels)
				case 6:
					return number(kind, &h.before)
				case 7:
					h.plain = kind == typeFalse
				}
				return false
			})
		default:
			return false
		}
		return true
	})
	if s.bad {
		return 0
	}
	return s.at
}

// next gives the next page of values, and io.EOF after the last.
func (r *pageReader) next() (page, error) {
	for r.left > 0 {
		h, body, err := r.body()
		if err != nil {
			return page{}, err
		}
		switch h.kind {
		case format.DictionaryPage:
			if err := r.dictionary(&h, body); err != nil {
				return page{}, err
			}
		case format.DataPage, format.DataPageV2:
			if h.values < 0 || h.values > r.left {
				return page{}, r.wrong("it is said to hold %d values, where the row group has %d rows left", h.values, r.left)
			}
			p, err := r.page(&h, body)
			if err != nil {
				return page{}, err
			}
			r.left -= h.values
			if p.values > 0 {
				return p, nil
			}
		}
	}
	return page{}, io.EOF
}

// body reads the next page's header and gives it with what follows it, packed.
func (r *pageReader) body() (h header, body []byte, err error) {
	r.place.Page++
	r.place.Offset = r.at
	if r.at >= r.end {
		return h, nil, r.wrong("it is not there: the pages end with %d rows of the group left: %w", r.left, io.ErrUnexpectedEOF)
	}
	b, err := r.fill(512)
	if err != nil {
		return h, nil, err
	}
	n := h.parse(b)
	for tried := int64(len(b)); n == 0 && tried < min(headerMost, r.end-r.at); tried = int64(len(b)) {
		if b, err = r.fill(4 * tried); err != nil {
			return h, nil, err
		}
		n = h.parse(b)
	}
	if n == 0 {
		return h, nil, r.wrong("its header cannot be read")
	}
	r.at += int64(n)
	switch {
	case h.packed < 0 || h.packed > r.end-r.at:
		return h, nil, r.wrong("it is said to take %d bytes, and the column ends after %d", h.packed, r.end-r.at)
	case h.unpacked < 0 || h.unpacked > r.budget:
		return h, nil, r.wrong("it is said to unpack to %d bytes, more than the %d rows that are left would take", h.unpacked, r.left)
	case !h.body && h.kind != format.IndexPage:
		return h, nil, r.wrong("its header does not say what it holds")
	}
	r.budget -= h.unpacked
	if b, err = r.fill(h.packed); err != nil {
		return h, nil, err
	}
	body = b[:h.packed]
	r.at += h.packed
	if h.sum != 0 {
		if sum := crc32.ChecksumIEEE(body); sum != h.sum {
			return h, nil, r.wrong("its checksum is %08x, and its header says %08x", sum, h.sum)
		}
	}
	return h, body, nil
}

// dictionary takes a page of the values that others refer to.
func (r *pageReader) dictionary(h *header, body []byte) error {
	if r.dict.data != nil {
		return r.wrong("it is a second dictionary")
	}
	if h.coding != format.Plain {
		return r.wrong("its dictionary is coded as %v, which is not read; have the file written with plain dictionaries", h.coding)
	}
	data, err := r.unpack(body, h.unpacked)
	if err != nil {
		return err
	}
	least := int64(max(r.width, 1))
	switch r.kind {
	case format.Boolean:
		return r.wrong("it is a dictionary of two states")
	case format.ByteArray:
		least = 4
	}
	if h.values < 0 || h.values > int64(len(data))/least {
		return r.wrong("its dictionary is said to hold %d values, in %d bytes", h.values, len(data))
	}
	n := int(h.values)
	r.dict = page{values: n, present: n, coding: format.Plain, data: append(make([]byte, 0, len(data)+1), data...)}
	return nil
}

// page takes a page of values apart.
func (r *pageReader) page(h *header, body []byte) (p page, err error) {
	n := int(h.values)
	p = page{values: n, present: n, coding: h.coding}
	levels := []byte(nil)
	if h.kind == format.DataPageV2 {
		if h.before < 0 || h.levels < 0 || h.before > int64(len(body)) || h.levels > int64(len(body))-h.before {
			return p, r.wrong("its levels are said to take %d and %d of %d bytes", h.before, h.levels, len(body))
		}
		levels = body[h.before:][:h.levels]
		p.data = body[h.before+h.levels:]
		if !h.plain {
			if p.data, err = r.unpack(p.data, max(0, h.unpacked-h.before-h.levels)); err != nil {
				return p, err
			}
		}
		if r.there > 0 && len(levels) == 0 { // all there, or none
			switch h.nulls {
			case 0:
			case h.values:
				p.present = 0
			default:
				return p, r.wrong("it does not say which %d of %d values are missing", h.nulls, n)
			}
			return p, nil
		}
	} else {
		if p.data, err = r.unpack(body, h.unpacked); err != nil {
			return p, err
		}
		if r.there > 0 {
			size := uint64(0)
			if len(p.data) >= 4 {
				size = uint64(binary.LittleEndian.Uint32(p.data))
			}
			if len(p.data) < 4 || size > uint64(len(p.data)-4) {
				return p, r.wrong("its levels are said to take %d of %d bytes", size, len(p.data))
			}
			levels, p.data = p.data[4:4+size], p.data[4+size:]
		}
	}
	if r.there == 0 {
		return p, nil
	}
	if h.levelCoding != format.RLE {
		return p, r.wrong("its levels are coded as %v, which is not read; have the file written with RLE", h.levelCoding)
	}
	out := room(&r.levels, n, 0)
	if err := runs(out, levels, bits.Len8(r.there)); err != nil {
		return p, r.wrong("its levels: %w", err)
	}
	for _, l := range out {
		if l != r.there {
			p.present--
		}
	}
	if p.present < n {
		p.levels = out
	}
	return p, nil
}

// unpack gives the bytes of a page, of which its header says how many they are
// at most.
func (r *pageReader) unpack(src []byte, size int64) ([]byte, error) {
	if r.codec == format.Uncompressed || len(src) == 0 {
		return src, nil
	}
	dst := room(&r.unpacked, int(size), unpackSlack)
	var err error
	switch r.codec {
	case format.Zstd:
		dst, err = unzstd().DecodeAll(src, dst[:0:size+unpackSlack])
	case format.Snappy:
		var n int
		if n, err = snappy.DecodedLen(src); err == nil && n > len(dst) {
			err = errTooLong
		}
		if err == nil {
			dst, err = snappy.Decode(dst, src)
		}
	case format.Gzip:
		var z *gzip.Reader
		if z, err = gzip.NewReader(bytes.NewReader(src)); err == nil {
			dst, err = readInto(dst, z)
		}
	case format.Brotli:
		dst, err = readInto(dst, brotli.NewReader(bytes.NewReader(src)))
	case format.Lz4Raw:
		var n int
		if n, err = lz4.UncompressBlock(src, dst); err == nil {
			dst = dst[:n]
		}
	default:
		return nil, r.wrong("it is packed with %v, which is not read; have the file written with zstd, snappy or gzip", r.codec)
	}
	if err == nil && int64(len(dst)) > size {
		err = errTooLong
	}
	if err != nil {
		return nil, r.wrong("unpacking it: %w", err)
	}
	return dst, nil
}

var errTooLong = fmt.Errorf("there is more in it than its header says")

// unpackSlack is what zstd may want beyond the end to go at full speed.
const unpackSlack = 64

// unzstd unpacks into no more than the room that it is given.
var unzstd = sync.OnceValue(func() *zstd.Decoder {
	d, err := zstd.NewReader(nil, zstd.WithDecoderConcurrency(0), zstd.WithDecodeAllCapLimit(true))
	if err != nil {
		panic(err) // the options are wrong
	}
	return d
})

// readInto reads what fits into dst, which must be all.
func readInto(dst []byte, z io.Reader) ([]byte, error) {
	n, err := io.ReadFull(z, dst)
	if err == io.EOF || err == io.ErrUnexpectedEOF { // it may be less
		return dst[:n], nil
	}
	if err != nil {
		return nil, err
	}
	var more [1]byte
	if k, err := io.ReadFull(z, more[:]); k > 0 {
		return nil, errTooLong
	} else if err != io.EOF {
		return nil, err
	}
	return dst, nil
}

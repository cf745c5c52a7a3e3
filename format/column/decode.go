package column

import (
	"encoding/binary"
	"fmt"
	"io"
	"math/bits"
	"unsafe"

	"github.com/parquet-go/parquet-go/encoding/bytestreamsplit"
	"github.com/parquet-go/parquet-go/encoding/delta"
	"github.com/parquet-go/parquet-go/format"
)

// fixed gives the values of a page of fixed width side by side, p.present of
// them: little-endian, a boolean as a byte of 0 or 1. They are lent until the
// next page.
func (r *pageReader) fixed(p *page) ([]byte, error) {
	n := p.present
	out := r.slots(n, r.width)
	switch {
	case r.kind == format.Boolean && p.coding == format.Plain:
		if len(p.data) < (n+7)/8 {
			return nil, r.short(p, (n+7)/8)
		}
		bitsToBytes(out, p.data)
	case r.kind == format.Boolean && p.coding == format.RLE:
		if len(p.data) < 4 || uint64(binary.LittleEndian.Uint32(p.data)) > uint64(len(p.data)-4) {
			return nil, r.wrong("its states do not fit into its %d bytes", len(p.data))
		}
		if err := runs(out, p.data[4:][:binary.LittleEndian.Uint32(p.data)], 1); err != nil {
			return nil, r.wrong("its states: %w", err)
		}
	case r.kind == format.Boolean:
		return nil, r.coding(p)
	case p.coding == format.Plain:
		if len(p.data)/r.width < n {
			return nil, r.short(p, n*r.width)
		}
		copy(out, p.data)
	case p.coding == format.ByteStreamSplit:
		if len(p.data)%r.width != 0 || len(p.data)/r.width != n {
			return nil, r.short(p, n*r.width)
		}
		var split bytestreamsplit.Encoding
		var err error
		switch r.kind {
		case format.FixedLenByteArray:
			err = inPlace(out, func(out []byte) ([]byte, error) { return split.DecodeFixedLenByteArray(out, p.data, r.width) })
		case format.Int32, format.Float:
			err = inPlace(as[int32](out), func(out []int32) ([]int32, error) { return split.DecodeInt32(out, p.data) })
		default:
			err = inPlace(as[int64](out), func(out []int64) ([]int64, error) { return split.DecodeInt64(out, p.data) })
		}
		if err != nil {
			return nil, r.wrong("its values: %w", err)
		}
	case p.coding == format.DeltaBinaryPacked && (r.kind == format.Int32 || r.kind == format.Int64):
		if _, err := r.deltas(out, p.data, r.width); err != nil {
			return nil, err
		}
	default:
		return nil, r.coding(p)
	}
	return out, nil
}

// inPlace has a decoder of the library fill out. One may write elsewhere, and
// does where it holds the room to be too small; then what stands in out is old.
func inPlace[V any](out []V, decode func([]V) ([]V, error)) error {
	got, err := decode(out)
	if err == nil && (len(got) != len(out) || unsafe.SliceData(got) != unsafe.SliceData(out)) {
		err = fmt.Errorf("%d of them were decoded, not into the place of %d", len(got), len(out))
	}
	return err
}

// slots gives room for n values of a width, in the place where pages are
// decoded.
func (r *pageReader) slots(n, width int) []byte { return slotsOf(&r.values, n*width) }

// slotsOf gives n bytes, so placed that values of eight bytes may be there.
func slotsOf(buf *[]uint64, n int) []byte {
	if words := (n + 7) / 8; cap(*buf) < words {
		*buf = make([]uint64, words)
	}
	return unsafe.Slice((*byte)(unsafe.Pointer(unsafe.SliceData((*buf)[:cap(*buf)]))), 8*cap(*buf))[:n]
}

// as looks at bytes as at values.
func as[V any](b []byte) []V {
	var v V
	return unsafe.Slice((*V)(unsafe.Pointer(unsafe.SliceData(b))), uintptr(len(b))/unsafe.Sizeof(v))
}

func (r *pageReader) short(p *page, want int) error {
	return r.wrong("it has %d values, which take %d bytes, in %d", p.present, want, len(p.data))
}

func (r *pageReader) coding(p *page) error {
	return r.wrong("its values are %v coded as %v, which is not read; have the file written with a plain coding", r.kind, p.coding)
}

// deltas decodes DELTA_BINARY_PACKED values of four or eight bytes, as many as
// there is room in out, and gives what follows them in src.
func (r *pageReader) deltas(out, src []byte, width int) (rest []byte, err error) {
	n := len(out) / width
	if n == 0 {
		return src, nil
	}
	end, err := deltaEnd(src, n, 8*width)
	if err != nil {
		return nil, r.wrong("its values: %w", err)
	}
	var packed delta.BinaryPackedEncoding
	if width == 4 {
		err = inPlace(as[int32](out), func(out []int32) ([]int32, error) { return packed.DecodeInt32(out, src[:end]) })
	} else {
		err = inPlace(as[int64](out), func(out []int64) ([]int64, error) { return packed.DecodeInt64(out, src[:end]) })
	}
	if err != nil {
		return nil, r.wrong("its values: %w", err)
	}
	return src[end:], nil
}

var errShort = fmt.Errorf("they end early: %w", io.ErrUnexpectedEOF)

// deltaEnd goes over DELTA_BINARY_PACKED values without decoding them and tells
// where they end; there must be n of them, of no more than width bits.
//
// Source: Apache Parquet, Encodings.md, "Delta Encoding".
func deltaEnd(src []byte, n, width int) (int, error) {
	at := 0
	varint := func() uint64 {
		v, k := binary.Uvarint(src[at:])
		if k <= 0 {
			at = len(src) + 1
			return 0
		}
		at += k
		return v
	}
	block := varint()
	if at > len(src) {
		return 0, errShort
	}
	minis := varint()
	if at > len(src) {
		return 0, errShort
	}
	total := varint()
	if at > len(src) {
		return 0, errShort
	}
	varint() // the first value
	if at > len(src) {
		return 0, errShort
	}
	if block == 0 || block%128 != 0 || block > 1<<16 || minis == 0 || block%minis != 0 || block/minis%32 != 0 {
		return 0, fmt.Errorf("blocks of %d in %d parts are not possible", block, minis)
	}
	if total != uint64(n) {
		return 0, fmt.Errorf("they are said to be %d, and the page has %d", total, n)
	}
	each := int(block / minis)
	for left := n - 1; left > 0; {
		varint() // the least step
		if at+int(minis) > len(src) {
			return 0, errShort
		}
		widths := src[at : at+int(minis)]
		at += len(widths)
		for _, w := range widths {
			if left <= 0 {
				break
			}
			if int(w) > width {
				return 0, fmt.Errorf("a step of %d bits in values of %d", w, width)
			}
			if least := (min(each, left)*int(w) + 7) / 8; least > len(src)-at {
				return 0, errShort
			}
			at = min(at+each*int(w)/8, len(src)) // the last may be cut to what is in it
			left -= each
		}
	}
	return at, nil
}

// runs decodes the hybrid of runs and packed bits: levels, states and indexes
// of a dictionary, of width bits. It fills out.
//
// Source: Apache Parquet, Encodings.md, "Run Length Encoding / Bit-Packing
// Hybrid".
func runs[V uint8 | uint32](out []V, src []byte, width int) error {
	for len(out) > 0 {
		head, k := binary.Uvarint(src)
		if k <= 0 {
			return errShort
		}
		src = src[k:]
		if head&1 == 0 { // one value, many times
			size := (width + 7) / 8
			if len(src) < size {
				return errShort
			}
			v := uint32(0)
			for i, b := range src[:size] {
				v |= uint32(b) << (8 * i)
			}
			if bits.Len32(v) > width {
				return fmt.Errorf("a value of %d in %d bits", v, width)
			}
			src = src[size:]
			n := int(min(head>>1, uint64(len(out))))
			run := out[:n]
			for i := range run {
				run[i] = V(v)
			}
			out = out[n:]
			continue
		}
		n := len(out)
		if groups := head >> 1; groups < uint64(n+7)/8 {
			n = 8 * int(groups)
		}
		size := (n*width + 7) / 8
		if len(src) < size {
			return errShort
		}
		unpackBits(out[:n], src[:size], width)
		out = out[n:]
		src = src[min(len(src), (n+7)/8*width):]
	}
	return nil
}

// unpackBits reads values of width bits, the lowest first.
func unpackBits[V uint8 | uint32](out []V, src []byte, width int) {
	mask := uint64(1)<<width - 1
	acc, have, at := uint64(0), 0, 0
	for i := range out {
		for have < width {
			acc |= uint64(src[at]) << have
			at++
			have += 8
		}
		out[i] = V(acc & mask)
		acc >>= width
		have -= width
	}
}

// indexes gives the places in the dictionary that a page's values refer to,
// each of which is there.
func (r *pageReader) indexes(p *page) ([]uint32, error) {
	if p.present == 0 {
		return nil, nil
	}
	if r.dict.data == nil {
		return nil, r.wrong("it refers to a dictionary, and there is none")
	}
	if len(p.data) < 1 || p.data[0] > 32 {
		return nil, r.wrong("its references have no possible width")
	}
	out := as[uint32](r.slots(p.present, 4))
	if err := runs(out, p.data[1:], int(p.data[0])); err != nil {
		return nil, r.wrong("its references: %w", err)
	}
	for _, k := range out {
		if uint64(k) >= uint64(r.dict.values) {
			return nil, r.wrong("it refers to value %d of a dictionary of %d", k, r.dict.values)
		}
	}
	return out, nil
}

// texts hands over the values of a page of texts, one by one, each lent until
// the next.
func (r *pageReader) texts(p *page, each func([]byte)) error {
	n, data := p.present, p.data
	switch {
	case n == 0:
	case r.kind == format.ByteArray && p.coding == format.Plain:
		for range n {
			if len(data) < 4 || uint64(binary.LittleEndian.Uint32(data)) > uint64(len(data)-4) {
				return r.wrong("its texts: %w", errShort)
			}
			size := binary.LittleEndian.Uint32(data)
			each(data[4 : 4+size])
			data = data[4+size:]
		}
	case r.kind == format.FixedLenByteArray && (p.coding == format.Plain || p.coding == format.ByteStreamSplit):
		if len(data)/r.width < n { // before there is room made for them
			return r.short(p, n*r.width)
		}
		all, err := r.fixed(p)
		if err != nil {
			return err
		}
		for i := range n {
			each(all[i*r.width:][:r.width])
		}
	case r.kind == format.ByteArray && p.coding == format.DeltaLengthByteArray:
		lengths := r.slots(n, 4)
		data, err := r.deltas(lengths, data, 4)
		if err != nil {
			return err
		}
		for _, size := range as[int32](lengths) {
			if size < 0 || int(size) > len(data) {
				return r.wrong("its texts: %w", errShort)
			}
			each(data[:size])
			data = data[size:]
		}
	case p.coding == format.DeltaByteArray:
		return r.shared(p, each)
	default:
		return r.coding(p)
	}
	return nil
}

// shared hands over texts of which each begins as the one before it. They may
// be far more than the page's bytes, so they count as unpacked.
func (r *pageReader) shared(p *page, each func([]byte)) error {
	n := p.present
	both := r.slots(n, 8)
	data, err := r.deltas(both[:4*n], p.data, 4)
	if err != nil {
		return err
	}
	if data, err = r.deltas(both[4*n:], data, 4); err != nil {
		return err
	}
	prefixes, lengths := as[int32](both[:4*n]), as[int32](both[4*n:])
	var text []byte
	for i, same := range prefixes {
		size := lengths[i]
		if same < 0 || int(same) > len(text) || size < 0 || int(size) > len(data) {
			return r.wrong("its texts: text %d of %d has an impossible length", i, n)
		}
		text = append(text[:same], data[:size]...)
		data = data[size:]
		if r.budget -= int64(len(text)); r.budget < 0 {
			return r.wrong("its texts are more than the rows that are left would take")
		}
		each(text)
	}
	return nil
}

// bitsToBytes writes each bit as a byte of 0 or 1, the lowest first.
func bitsToBytes(out, bits []byte) {
	i := 0
	for ; i+8 <= len(out); i += 8 { // eight at a time
		binary.LittleEndian.PutUint64(out[i:], spread[bits[i>>3]])
	}
	for ; i < len(out); i++ {
		out[i] = bits[i>>3] >> (i & 7) & 1
	}
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

package column

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
)

// The library believes the lengths that a footer states and asks the system for
// as much memory before it reads on. A damaged one may state hundreds of
// gigabytes, which ends the program, so each length is first held against the
// bytes that are there.

// Sources: Apache Parquet, file format, "Parquet files" (footer, its length in
// four bytes, "PAR1"); Apache Thrift, compact protocol, specification.
const (
	footerTail = 8         // bytes: the footer's length and the mark
	footerMost = 256 << 20 // bytes; a season's day needs some hundred kilobytes
	nested     = 32        // structs and lists within one another; Parquet's are under ten deep
)

var errFooter = errors.New("damaged footer")

// checkFooter tells whether the footer's lengths are ones that it can hold.
func checkFooter(f io.ReaderAt, size int64) error {
	var tail [footerTail]byte
	if size < footerTail+4 {
		return fmt.Errorf("%w: the file has %d bytes", errFooter, size)
	}
	if _, err := f.ReadAt(tail[:], size-footerTail); err != nil {
		return err
	}
	n := int64(binary.LittleEndian.Uint32(tail[:]))
	if string(tail[4:]) != "PAR1" {
		return fmt.Errorf("%w: the file does not end with PAR1", errFooter)
	}
	if n > size-footerTail-4 || n > footerMost {
		return fmt.Errorf("%w: it is said to be %d bytes long, of a file of %d", errFooter, n, size)
	}
	b := make([]byte, n)
	if _, err := f.ReadAt(b, size-footerTail-n); err != nil {
		return err
	}
	s := thriftSkip{b: b}
	s.structure(0)
	if s.bad {
		return fmt.Errorf("%w: a length or a type in it is wrong, at byte %d of %d", errFooter, s.at, n)
	}
	return nil
}

// thriftSkip goes over values of Thrift's compact protocol without keeping
// anything.
type thriftSkip struct {
	b   []byte
	at  int
	bad bool
}

// Types of the compact protocol.
const (
	typeStop, typeTrue, typeFalse, typeByte = 0, 1, 2, 3
	typeI16, typeI32, typeI64, typeDouble   = 4, 5, 6, 7
	typeBinary, typeList, typeSet           = 8, 9, 10
	typeMap, typeStruct                     = 11, 12
)

func (s *thriftSkip) left() int { return len(s.b) - s.at }

// skip passes over n bytes.
func (s *thriftSkip) skip(n uint64) {
	if n > uint64(s.left()) {
		s.bad = true
		return
	}
	s.at += int(n)
}

func (s *thriftSkip) one() byte {
	if s.bad || s.left() < 1 {
		s.bad = true
		return 0
	}
	s.at++
	return s.b[s.at-1]
}

func (s *thriftSkip) varint() uint64 {
	v, n := binary.Uvarint(s.b[s.at:])
	if n <= 0 {
		s.bad = true
		return 0
	}
	s.at += n
	return v
}

// structure passes over a struct.
func (s *thriftSkip) structure(depth int) {
	for !s.bad {
		head := s.one()
		kind := head & 0x0f
		if kind == typeStop {
			return
		}
		if head>>4 == 0 { // the field's number follows
			s.varint()
		}
		if kind != typeTrue && kind != typeFalse { // whose value is the type
			s.value(kind, depth)
		}
	}
}

// value passes over a value of a type.
func (s *thriftSkip) value(kind byte, depth int) {
	if depth > nested {
		s.bad = true
	}
	if s.bad {
		return
	}
	switch kind {
	case typeTrue, typeFalse, typeByte:
		s.skip(1)
	case typeI16, typeI32, typeI64:
		s.varint()
	case typeDouble:
		s.skip(8)
	case typeBinary:
		s.skip(s.varint())
	case typeList, typeSet:
		head := s.one()
		n := uint64(head >> 4)
		if n == 15 {
			n = s.varint()
		}
		s.many(n, depth, head&0x0f)
	case typeMap:
		if n := s.varint(); n > 0 {
			kinds := s.one()
			s.many(n, depth, kinds>>4, kinds&0x0f)
		}
	case typeStruct:
		s.structure(depth + 1)
	default:
		s.bad = true
	}
}

// many passes over n times a value of each kind; each takes a byte at least.
func (s *thriftSkip) many(n uint64, depth int, kinds ...byte) {
	if n > uint64(s.left()) {
		s.bad = true
		return
	}
	for ; n > 0 && !s.bad; n-- {
		for _, k := range kinds {
			s.value(k, depth+1)
		}
	}
}

package column

import "encoding/binary"

// thrift goes over values of Thrift's compact protocol without keeping
// anything. It asks for no memory; bad is set where the bytes end or say what
// cannot be.
//
// Source: Apache Thrift, compact protocol, specification.
type thrift struct {
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

const nested = 32 // structs and lists within one another; Parquet's are under ten deep

func (s *thrift) left() int { return len(s.b) - s.at }

// skip passes over n bytes.
func (s *thrift) skip(n uint64) {
	if n > uint64(s.left()) {
		s.bad = true
		return
	}
	s.at += int(n)
}

func (s *thrift) one() byte {
	if s.bad || s.left() < 1 {
		s.bad = true
		return 0
	}
	s.at++
	return s.b[s.at-1]
}

func (s *thrift) varint() uint64 {
	v, n := binary.Uvarint(s.b[s.at:])
	if n <= 0 {
		s.bad = true
		return 0
	}
	s.at += n
	return v
}

// number gives an integer of 16, 32 or 64 bits.
func (s *thrift) number() int64 {
	v := s.varint()
	return int64(v>>1) ^ -int64(v&1)
}

// fields goes over a struct. take is handed each field's number and type and
// tells whether it has gone over the value; otherwise that is skipped.
func (s *thrift) fields(depth int, take func(id int64, kind byte) bool) {
	id := int64(0)
	for !s.bad {
		head := s.one()
		kind := head & 0x0f
		if kind == typeStop {
			return
		}
		if head>>4 == 0 { // the field's number follows
			id = s.number()
		} else {
			id += int64(head >> 4)
		}
		if take != nil && take(id, kind) || kind == typeTrue || kind == typeFalse { // whose value is the type
			continue
		}
		s.value(kind, depth)
	}
}

// list gives the length and the type of a list; each value takes a byte at
// least.
func (s *thrift) list() (n int, kind byte) {
	head := s.one()
	long := uint64(head >> 4)
	if long == 15 {
		long = s.varint()
	}
	if long > uint64(s.left()) {
		s.bad = true
		return 0, 0
	}
	return int(long), head & 0x0f
}

// value passes over a value of a type.
func (s *thrift) value(kind byte, depth int) {
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
		n, kind := s.list()
		for ; n > 0 && !s.bad; n-- {
			s.value(kind, depth+1)
		}
	case typeMap:
		n := s.varint()
		if n > uint64(s.left()) {
			s.bad = true
			return
		}
		if n == 0 {
			return
		}
		kinds := s.one()
		for ; n > 0 && !s.bad; n-- {
			s.value(kinds>>4, depth+1)
			s.value(kinds&0x0f, depth+1)
		}
	case typeStruct:
		s.fields(depth+1, nil)
	default:
		s.bad = true
	}
}

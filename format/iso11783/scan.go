package iso11783

import (
	"encoding/binary"
	"errors"
	"io"
)

// Value is one raw integer of a record.
type Value struct {
	Column uint8 // index into the header's columns
	Raw    int32
}

// LogRecord is one record of a binary log as it stands there. Fields that the
// header does not put into the record are zero. Values are lent until the next
// call of Next.
type LogRecord struct {
	Offset     int64
	Millis     uint32 // since midnight, the controller's clock
	Date       uint16 // days since 1980-01-01
	North      int32  // 1e-7 degree
	East       int32
	Up         int32  // mm
	Status     uint8  // position status
	PDOP, HDOP uint16 // 0.1
	Sats       uint8
	GPSMillis  uint32 // since midnight UTC
	GPSDate    uint16 // days since 1980-01-01
	Values     []Value
}

// Damage is a piece of a binary log that could not be read.
type Damage struct {
	Offset int64
	Bytes  int64
	Why    string
}

const (
	dayMillis  = 86_400_000
	maxRecord  = 6 + 24 + 1 + 5*255
	lookahead  = 3 * maxRecord
	agree      = 3   // consecutive plausible records that end a search
	farJump    = 400 // days between two records of one log at most; judgement: one season and some
	scanBuffer = 256 << 10
)

// Scanner reads the records of one binary log. It checks that each record is
// plausible (time of day, position, status, columns, date within a day of the
// one before) and, when one is not, looks byte by byte for the next place
// where three records in a row are.
type Scanner struct {
	in      io.Reader
	h       *Header
	rec     LogRecord
	damage  []Damage
	buf     []byte
	pos     int
	end     int
	base    int64 // offset of buf[0] in the log
	eof     bool
	err     error
	date    uint16
	hasDate bool
	started bool
	old     bool
}

// NewScanner reads a log with its header.
func NewScanner(h *Header, in io.Reader) *Scanner {
	return &Scanner{in: in, h: h, buf: make([]byte, scanBuffer)}
}

// Record gives the record that Next found. It is lent until the next call.
func (s *Scanner) Record() *LogRecord { return &s.rec }

// Damage lists what was left out so far.
func (s *Scanner) Damage() []Damage { return s.damage }

// Err gives the error that ended reading, nil at the end of the file.
func (s *Scanner) Err() error { return s.err }

// Offset gives the bytes read so far.
func (s *Scanner) Offset() int64 { return s.base + int64(s.pos) }

// OldLayout tells whether the log holds all fields although its header lists
// fewer, as some controllers before version 3 wrote.
func (s *Scanner) OldLayout() bool { return s.old }

func (s *Scanner) fill(need int) {
	if s.end-s.pos >= need || s.eof {
		return
	}
	copy(s.buf, s.buf[s.pos:s.end])
	s.base += int64(s.pos)
	s.end -= s.pos
	s.pos = 0
	empty := 0
	for s.end < len(s.buf) && !s.eof {
		n, err := s.in.Read(s.buf[s.end:])
		s.end += n
		if n > 0 {
			empty = 0
		} else if empty++; empty > 100 && err == nil {
			err = io.ErrNoProgress
		}
		if err != nil {
			s.eof = true
			if !errors.Is(err, io.EOF) {
				s.err = err
			}
		}
		if s.end >= need && n > 0 && s.end*2 > len(s.buf) {
			return
		}
	}
}

type verdict uint8

const (
	good verdict = iota
	bad
	short // the bytes end inside the record
)

// check says whether a record stands at the start of b, and its size and date.
func check(h *Header, b []byte, date uint16, hasDate bool, slack int) (size int, day uint16, v verdict) {
	p := 0
	if h.Time == InRecord {
		if len(b) < 6 {
			return 0, 0, short
		}
		ms := binary.LittleEndian.Uint32(b)
		day = binary.LittleEndian.Uint16(b[4:])
		if ms >= dayMillis || ms == 0 && day == 0 { // the latter is a file filled up with zeros
			return 0, 0, bad
		}
		if hasDate {
			d := int(day) - int(date)
			if d > slack || d < -slack {
				return 0, 0, bad
			}
		}
		p = 6
	}
	for f, pr := range h.Fields {
		if pr != InRecord {
			continue
		}
		if len(b) < p+fieldSize[f] {
			return 0, 0, short
		}
		switch f {
		case fieldNorth:
			if n := int32(binary.LittleEndian.Uint32(b[p:])); n > 90e7 || n < -90e7 {
				return 0, 0, bad
			}
		case fieldEast:
			if n := int32(binary.LittleEndian.Uint32(b[p:])); n > 180e7 || n < -180e7 {
				return 0, 0, bad
			}
		case fieldStatus:
			if b[p] > 15 {
				return 0, 0, bad
			}
		}
		p += fieldSize[f]
	}
	if len(b) < p+1 {
		return 0, 0, short
	}
	n := int(b[p])
	p++
	size = p + 5*n
	columns := len(h.Columns)
	for i := p; i < size && i < len(b); i += 5 {
		if int(b[i]) >= columns {
			return 0, 0, bad
		}
	}
	if len(b) < size {
		return 0, 0, short
	}
	return size, day, good
}

// run counts plausible records in a row from the start of b, three at most;
// ends tells whether the log ends right behind them, cut whether it ends
// inside the next.
func run(h *Header, b []byte, date uint16, hasDate bool, slack int) (n int, ends, cut bool) {
	for n < agree {
		size, day, v := check(h, b, date, hasDate, slack)
		if v != good {
			return n, len(b) == 0, v == short
		}
		b = b[size:]
		date, hasDate, slack = day, h.Time == InRecord, 1
		n++
	}
	return n, len(b) == 0, false
}

// Next reads the next record; false at the end.
func (s *Scanner) Next() bool {
	for {
		s.fill(lookahead)
		b := s.buf[s.pos:s.end]
		if len(b) == 0 {
			return false
		}
		if !s.started {
			s.start(b)
		}
		size, day, v := check(s.h, b, s.date, s.hasDate, 1)
		if v == good && !s.started {
			if n, ends, cut := run(s.h, b, 0, false, 1); n < agree && !ends && !cut {
				v = bad
			}
		}
		s.started = true
		if v == good {
			s.decode(b, size)
			s.date, s.hasDate = day, s.h.Time == InRecord
			s.pos += size
			return true
		}
		if !s.search(v == short) {
			return false
		}
	}
}

// start picks the layout: what the header says, or all fields when only that
// reads.
func (s *Scanner) start(b []byte) {
	fits := func(h *Header) bool {
		n, ends, cut := run(h, b, 0, false, 1)
		return n == agree || n > 0 && (ends || cut)
	}
	if !fits(s.h) {
		if f := s.h.full(); f.headSize() != s.h.headSize() && fits(f) {
			s.h, s.old = f, true
		}
	}
}

// search goes forward to the next place where records stand and notes what it
// passed over.
func (s *Scanner) search(cut bool) bool {
	from := s.base + int64(s.pos)
	for {
		s.fill(lookahead)
		b := s.buf[s.pos:s.end]
		if len(b) == 0 {
			break
		}
		n, ends, _ := run(s.h, b, s.date, s.hasDate, farJump)
		if n == agree {
			break
		}
		if n > 0 && ends { // the last one or two records: only if they follow the date
			if n, ends, _ := run(s.h, b, s.date, s.hasDate, 1); n > 0 && ends {
				break
			}
		}
		s.pos++
	}
	at := s.base + int64(s.pos)
	found := s.pos < s.end
	if at > from {
		why := "bytes that are no plausible record"
		if !found && cut {
			why = "the log ends inside a record"
		}
		s.damage = append(s.damage, Damage{from, at - from, why})
	}
	if found {
		s.hasDate = false // the next check must not refuse what the search took
	}
	return found
}

// decode reads a record that check found good.
func (s *Scanner) decode(b []byte, size int) {
	r := &s.rec
	r.Offset = s.base + int64(s.pos)
	p := 0
	if s.h.Time == InRecord {
		r.Millis = binary.LittleEndian.Uint32(b)
		r.Date = binary.LittleEndian.Uint16(b[4:])
		p = 6
	}
	f := &s.h.Fields
	if f[fieldNorth] == InRecord {
		r.North = int32(binary.LittleEndian.Uint32(b[p:]))
		p += 4
	}
	if f[fieldEast] == InRecord {
		r.East = int32(binary.LittleEndian.Uint32(b[p:]))
		p += 4
	}
	if f[fieldUp] == InRecord {
		r.Up = int32(binary.LittleEndian.Uint32(b[p:]))
		p += 4
	}
	if f[fieldStatus] == InRecord {
		r.Status = b[p]
		p++
	}
	if f[fieldPDOP] == InRecord {
		r.PDOP = binary.LittleEndian.Uint16(b[p:])
		p += 2
	}
	if f[fieldHDOP] == InRecord {
		r.HDOP = binary.LittleEndian.Uint16(b[p:])
		p += 2
	}
	if f[fieldSats] == InRecord {
		r.Sats = b[p]
		p++
	}
	if f[fieldGPSTime] == InRecord {
		r.GPSMillis = binary.LittleEndian.Uint32(b[p:])
		p += 4
	}
	if f[fieldGPSDate] == InRecord {
		r.GPSDate = binary.LittleEndian.Uint16(b[p:])
		p += 2
	}
	p++
	r.Values = r.Values[:0]
	for ; p < size; p += 5 {
		r.Values = append(r.Values, Value{b[p], int32(binary.LittleEndian.Uint32(b[p+1:]))})
	}
}

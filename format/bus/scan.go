package bus

import (
	"bytes"
	"errors"
	"io"

	"evenstand"
)

// Frame is one data frame with a 29-bit identifier.
type Frame struct {
	ID   uint32
	Bus  uint8 // index of the interface, in the order in which they turn up
	Len  uint8 // bytes of Data that were sent
	Data [8]byte
	T    evenstand.Micros // as it stands on the line, see Scanner.Times; NoTime: none
}

// Group splits the identifier: the number of the parameter group, who sends
// it and to whom (0xFF: everybody). ISO 11783-3.
func (f *Frame) Group() (pgn uint32, from, to uint8) {
	pgn, from, to = f.ID>>8&0x3ffff, uint8(f.ID), 0xff
	if pgn>>8&0xff < 240 {
		to = uint8(pgn)
		pgn &^= 0xff
	}
	return pgn, from, to
}

// kind is what a line turned out to be.
type kind uint8

const (
	isFrame kind = iota
	isNothing
	isShort  // an 11-bit identifier
	isRemote // a remote frame
	isError  // an error frame
	isFD     // a CAN FD frame
	isBad
	numKinds
)

// Times says what the times of a capture are.
type Times uint8

// The styles of times.
const (
	NoTimes  Times = iota
	Absolute       // seconds since 1970
	Dated          // date and time of day in a zone that the line does not name
	Relative       // seconds since the capture began, or since the line before
)

// firstAbsolute is the time from which seconds are counted from 1970 and not
// from the beginning of a capture: ten digits without a leading zero.
const firstAbsolute = 1_000_000_000 * evenstand.Second

// lastTime is the year 2100, after which a time is damage.
const lastTime = 4_102_444_800 * evenstand.Second

// left counts lines of one kind and where the first one was.
type left struct {
	n      int64
	line   int
	offset int64
}

// Scanner reads the frames of a capture in the three styles that candump
// writes: log lines, the screen's lines with or without times, and the old
// ones with the identifier in angle brackets.
//
// Source: the project's reference, live.md section 6, after can-utils.
type Scanner struct {
	in   io.Reader
	buf  []byte
	pos  int
	end  int
	base int64 // offset of buf[0]
	eof  bool
	err  error

	f       Frame
	times   Times
	line    int
	start   int64 // offset of the line
	names   [][]byte
	last    []byte // the interface of the line before
	lastBus uint8
	frames  int64
	left    [numKinds]left
	cut     bool // the last line ends before it should
	day     int64
	dayText [10]byte
}

const (
	scanBuffer = 256 << 10
	maxLine    = 4 << 10
	maxBuses   = 16
)

// NewScanner reads a capture.
func NewScanner(in io.Reader) *Scanner { return &Scanner{in: in, buf: make([]byte, scanBuffer)} }

// Frame gives the frame that Next found. It is lent until the next call.
func (s *Scanner) Frame() *Frame { return &s.f }

// Frames counts the frames so far.
func (s *Scanner) Frames() int64 { return s.frames }

// Line gives the number of the line that Next found, from 1, and the byte at
// which it begins.
func (s *Scanner) Line() (line int, offset int64) { return s.line, s.start }

// Times says what the times of the last frame are.
func (s *Scanner) Times() Times { return s.times }

// Err gives the error that ended reading, nil at the end.
func (s *Scanner) Err() error { return s.err }

// Offset gives the bytes read so far.
func (s *Scanner) Offset() int64 { return s.base + int64(s.pos) }

// Next reads the next frame; false at the end.
func (s *Scanner) Next() bool {
	for {
		line, whole, ok := s.next()
		if !ok {
			return false
		}
		k := s.parse(line)
		if !whole && k != isNothing && (k != isFrame || !s.full(line)) {
			s.cut = true
			return false
		}
		if k == isFrame {
			s.frames++
			return true
		}
		if c := &s.left[k]; c.n == 0 {
			*c = left{1, s.line, s.start}
		} else {
			c.n++
		}
	}
}

// full tells whether a line without an end is whole all the same: eight bytes
// are all that a frame holds, and the screen's lines say how many there are.
func (s *Scanner) full(line []byte) bool {
	return s.f.Len == 8 || bytes.IndexByte(line, '[') >= 0
}

// next gives the next line without its end; whole is false for a last line
// that has no end. A line that is too long to be one counts as bad.
func (s *Scanner) next() (line []byte, whole, ok bool) {
	for {
		if i := bytes.IndexByte(s.buf[s.pos:s.end], '\n'); i >= 0 {
			line = s.buf[s.pos : s.pos+i]
			s.line, s.start = s.line+1, s.base+int64(s.pos)
			s.pos += i + 1
			return line, true, true
		}
		if s.eof {
			if s.pos == s.end {
				return nil, false, false
			}
			line = s.buf[s.pos:s.end]
			s.line, s.start = s.line+1, s.base+int64(s.pos)
			s.pos = s.end
			return line, false, true
		}
		if s.end-s.pos > maxLine {
			s.skip()
			return []byte{'!'}, true, true
		}
		s.fill()
	}
}

// skip passes over a line that is too long.
func (s *Scanner) skip() {
	s.line, s.start = s.line+1, s.base+int64(s.pos)
	for {
		if i := bytes.IndexByte(s.buf[s.pos:s.end], '\n'); i >= 0 {
			s.pos += i + 1
			return
		}
		s.pos = s.end
		if s.eof {
			return
		}
		s.fill()
	}
}

func (s *Scanner) fill() {
	copy(s.buf, s.buf[s.pos:s.end])
	s.base += int64(s.pos)
	s.end -= s.pos
	s.pos = 0
	for range 100 {
		n, err := s.in.Read(s.buf[s.end:])
		s.end += n
		if err != nil {
			s.eof = true
			if !errors.Is(err, io.EOF) {
				s.err = err
			}
			return
		}
		if n > 0 {
			return
		}
	}
	s.eof, s.err = true, io.ErrNoProgress
}

// nibble gives the value of a hexadecimal digit, or 0xFF.
var nibble = func() (t [256]uint8) {
	for i := range t {
		t[i] = 0xff
	}
	for i := range uint8(10) {
		t['0'+i] = i
	}
	for i := range uint8(6) {
		t['a'+i], t['A'+i] = 10+i, 10+i
	}
	return t
}()

const (
	flagError = 0x20000000
	flagMask  = 0x1fffffff
)

// parse reads one line.
func (s *Scanner) parse(b []byte) kind {
	if n := len(b); n > 0 && b[n-1] == '\r' {
		b = b[:n-1]
	}
	if s.line == 1 {
		b = bytes.TrimPrefix(b, []byte("\xef\xbb\xbf"))
	}
	i := 0
	for i < len(b) && b[i] == ' ' {
		i++
	}
	if i == len(b) || b[i] == '#' || b[i] == '\t' {
		return isNothing // empty, a remark, or what an error frame means
	}
	f := &s.f
	f.T = evenstand.NoTime
	s.times = NoTimes
	switch b[i] {
	case '<':
		return s.bracket(b[i:])
	case '(':
		if i = s.time(b, i+1); i < 0 {
			return isBad
		}
		for i < len(b) && b[i] == ' ' {
			i++
		}
	}
	from := i
	for i < len(b) && b[i] != ' ' {
		i++
	}
	if !s.bus(b[from:i]) {
		return isBad
	}
	for i < len(b) && b[i] == ' ' {
		i++
	}
	// candump -x says RX or TX and two flags
	if i+2 < len(b) && (b[i] == 'R' || b[i] == 'T') && b[i+1] == 'X' {
		for range 3 {
			for i < len(b) && b[i] != ' ' {
				i++
			}
			for i < len(b) && b[i] == ' ' {
				i++
			}
		}
	}
	id := uint32(0)
	from = i
	for i < len(b) {
		v := nibble[b[i]]
		if v > 15 {
			break
		}
		id = id<<4 | uint32(v)
		i++
	}
	k := isFrame
	switch i - from {
	case 3:
		k = isShort
	case 8:
		if id&flagError != 0 {
			k = isError
		}
		f.ID = id & flagMask
	default:
		if s.frames == 0 && s.times == NoTimes && !bytes.Contains(b, []byte("[")) { // the old candump begins with a sentence about the interface
			return isNothing
		}
		return isBad
	}
	if i < len(b) && b[i] == '#' {
		return s.packed(b[i+1:], k)
	}
	return s.spaced(b[i:], k)
}

// packed reads what stands behind the # of a log line.
func (s *Scanner) packed(b []byte, k kind) kind {
	if len(b) > 0 && (b[0] == 'R' || b[0] == 'r') {
		return isRemote
	}
	if len(b) > 0 && b[0] == '#' {
		return isFD
	}
	f := &s.f
	if len(b) == 16 { // nearly all
		bad := uint8(0)
		for j := range 8 {
			hi, lo := nibble[b[2*j]], nibble[b[2*j+1]]
			bad |= hi | lo
			f.Data[j] = hi<<4 | lo
		}
		if bad <= 15 {
			f.Len = 8
			return k
		}
	}
	n, i := 0, 0
	for i < len(b) {
		if b[i] == '.' {
			i++
			continue
		}
		hi := nibble[b[i]]
		if hi > 15 {
			break
		}
		if i+1 == len(b) || n == 8 {
			return isBad // half a byte, or too many
		}
		lo := nibble[b[i+1]]
		if lo > 15 {
			return isBad
		}
		f.Data[n] = hi<<4 | lo
		n++
		i += 2
	}
	if i < len(b) && b[i] != '_' && b[i] != ' ' {
		return isBad
	}
	f.Len = uint8(n)
	clear(f.Data[n:])
	return k
}

// spaced reads "[8]  00 FC ..".
func (s *Scanner) spaced(b []byte, k kind) kind {
	i := 0
	for i < len(b) && b[i] == ' ' {
		i++
	}
	if i+2 >= len(b) || b[i] != '[' {
		return isBad
	}
	if b[i+2] != ']' { // two digits: a frame of CAN FD
		if i+3 < len(b) && b[i+3] == ']' {
			return isFD
		}
		return isBad
	}
	n := int(b[i+1]) - '0'
	if n < 0 || n > 8 {
		return isBad
	}
	i += 3
	f := &s.f
	for j := range n {
		for i < len(b) && b[i] == ' ' {
			i++
		}
		if i+1 >= len(b) {
			return isBad
		}
		hi, lo := nibble[b[i]], nibble[b[i+1]]
		if hi|lo > 15 {
			if j == 0 && (b[i] == 'r' || b[i] == 'R') {
				return isRemote
			}
			return isBad
		}
		f.Data[j] = hi<<4 | lo
		i += 2
	}
	for i < len(b) && b[i] == ' ' {
		i++
	}
	if n == 0 && i < len(b) && (b[i] == 'r' || b[i] == 'R') {
		return isRemote
	}
	f.Len = uint8(n)
	clear(f.Data[n:])
	return k
}

// bracket reads "<0x18eeff01> [8] 05 a0 ..".
func (s *Scanner) bracket(b []byte) kind {
	end := bytes.IndexByte(b, '>')
	if end < 4 || b[1] != '0' || b[2]|0x20 != 'x' {
		return isBad
	}
	id := uint32(0)
	for _, c := range b[3:end] {
		v := nibble[c]
		if v > 15 {
			return isBad
		}
		id = id<<4 | uint32(v)
	}
	k := isFrame
	switch {
	case end-3 <= 3:
		k = isShort
	case end-3 != 8:
		return isBad
	case id&flagError != 0:
		k = isError
	}
	s.f.ID, s.f.Bus = id&flagMask, 0
	return s.spaced(b[end+1:], k)
}

// bus finds the index of an interface's name.
func (s *Scanner) bus(name []byte) bool {
	if bytes.Equal(name, s.last) && len(name) > 0 {
		s.f.Bus = s.lastBus
		return true
	}
	if len(name) == 0 || len(name) > 32 {
		return false
	}
	at := -1
	for i, n := range s.names {
		if bytes.Equal(n, name) {
			at = i
		}
	}
	if at < 0 {
		if len(s.names) == maxBuses {
			return false
		}
		at = len(s.names)
		s.names = append(s.names, bytes.Clone(name))
	}
	s.last, s.lastBus = s.names[at], uint8(at)
	s.f.Bus = uint8(at)
	return true
}

// time reads a time up to its bracket and gives the index behind it, -1 when
// it is none.
func (s *Scanner) time(b []byte, i int) int {
	sec, n := int64(0), 0
	for i < len(b) && b[i] >= '0' && b[i] <= '9' && n < 15 {
		sec = sec*10 + int64(b[i]-'0')
		i, n = i+1, n+1
	}
	if n == 4 && i < len(b) && b[i] == '-' {
		return s.dated(b, i-4)
	}
	if n == 0 {
		return -1
	}
	us, i := micros(b, i)
	if i < 0 {
		return -1
	}
	return s.stamp(sec, us, i, Relative)
}

// stamp sets the frame's time.
func (s *Scanner) stamp(sec, us int64, i int, style Times) int {
	if sec > int64(lastTime/evenstand.Second) {
		return -1
	}
	t := evenstand.Micros(sec*1_000_000 + us)
	if style == Relative && t >= firstAbsolute {
		style = Absolute
	}
	s.f.T, s.times = t, style
	return i
}

// micros reads ".123456)", with up to nine digits.
func micros(b []byte, i int) (us int64, next int) {
	if i < len(b) && b[i] == '.' {
		i++
		n := 0
		for ; i < len(b) && b[i] >= '0' && b[i] <= '9'; i++ {
			if n < 6 {
				us = us*10 + int64(b[i]-'0')
			}
			n++
		}
		if n > 9 {
			return 0, -1
		}
		for ; n < 6; n++ {
			us *= 10
		}
	}
	if i >= len(b) || b[i] != ')' {
		return 0, -1
	}
	return us, i + 1
}

// dated reads "2017-08-17 16:12:12.106111)".
func (s *Scanner) dated(b []byte, i int) int {
	const form = "dddd-dd-dd dd:dd:dd"
	if len(b) < i+len(form) {
		return -1
	}
	t := b[i : i+len(form)]
	for j := range len(form) {
		if digit := t[j] >= '0' && t[j] <= '9'; form[j] == 'd' != digit || form[j] != 'd' && t[j] != form[j] {
			return -1
		}
	}
	two := func(j int) int64 { return int64(t[j]-'0')*10 + int64(t[j+1]-'0') }
	if [10]byte(t[:10]) != s.dayText {
		day, ok := dayNumber(100*two(0)+two(2), two(5), two(8))
		if !ok {
			return -1
		}
		s.day = day
		copy(s.dayText[:], t[:10])
	}
	h, m, sec := two(11), two(14), two(17)
	if h > 23 || m > 59 || sec > 60 {
		return -1
	}
	us, next := micros(b, i+len(form))
	if next < 0 {
		return -1
	}
	return s.stamp(s.day*86400+h*3600+m*60+sec, us, next, Dated)
}

// dayNumber counts days since 1970-01-01 (Howard Hinnant, days_from_civil).
func dayNumber(y, m, d int64) (int64, bool) {
	if y < 1970 || y > 2100 || m < 1 || m > 12 || d < 1 || d > 31 {
		return 0, false
	}
	if m <= 2 {
		y--
		m += 12
	}
	era := y / 400
	yoe := y - era*400
	doy := (153*(m-3)+2)/5 + d - 1
	return era*146097 + yoe*365 + yoe/4 - yoe/100 + doy - 719468, true
}

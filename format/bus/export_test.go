package bus

import (
	"bufio"
	"bytes"

	"evenstand"
	"evenstand/format/iso11783"
)

// What the tests look at from outside.

// Message is a whole message of several frames.
type Message struct {
	PGN  uint32
	From uint8
	Data []byte
}

// Transfers gives the messages of the transport protocols in a capture, of all
// groups, and how many were lost.
func Transfers(sc *Scanner) (ms []Message, lost int64) {
	t := newTransport(func(uint32) bool { return true })
	for sc.Next() {
		f := sc.Frame()
		pgn, from, to := f.Group()
		switch pgn {
		case pgnTransfer, pgnTransferData, pgnExtended, pgnExtendedData:
			line, offset := sc.Line()
			if m, ok := t.take(f, pgn, from, to, line, offset); ok {
				ms = append(ms, Message{m.pgn, from, m.buf})
			}
		}
	}
	t.end(sc.Line())
	return ms, t.lost.n
}

// FastPackets gives the fast packets of a group, and how many were lost.
func FastPackets(sc *Scanner, group uint32) (ms []Message, lost int64) {
	p := newFastPackets()
	for sc.Next() {
		pgn, from, _ := sc.Frame().Group()
		if pgn != group {
			continue
		}
		line, offset := sc.Line()
		if b, ok := p.take(sc.Frame(), pgn, from, line, offset); ok {
			ms = append(ms, Message{pgn, from, append([]byte(nil), b...)})
		}
	}
	p.end(sc.Line())
	return ms, p.lost.n
}

// Left counts the lines that are no frames, by kind.
func (s *Scanner) Left() map[string]int64 {
	m := map[string]int64{}
	for k, name := range []string{"", "nothing", "11-bit", "remote", "error", "FD", "bad"} {
		if n := s.left[k].n; n > 0 {
			m[name] = n
		}
	}
	if s.cut {
		m["cut"]++
	}
	return m
}

var (
	Position     = position
	Course       = course
	Speed        = speed
	TimeDate     = timeDate
	SystemTime   = systemTime
	TrueHeading  = trueHeading
	GNSSPosition = gnssPosition
	ProcessData  = processData
	ParsePool    = parsePool
	NameOf       = nameOf
	Deltas       = deltas
)

// Objects counts the objects of a pool.
func (p *pool) Objects() int { return len(p.elements) + len(p.data) }

// Name gives the NAME in a pool, and what the device calls itself.
func (p *pool) Name() (uint64, string) { return p.name, p.words }

// Time gives when it was.
func (g gnss) Time() evenstand.Micros { return g.t }

// Place gives where it was.
func (g gnss) Place() (lat, lon, alt float64) { return g.lat, g.lon, g.alt }

// Quality gives how good it was.
func (g gnss) Quality() (k evenstand.FixKind, sats int16, hdop float64) {
	return g.kind, g.sats, g.hdop
}

// Command and the others give the fields of a process data message.
func (p process) Command() uint8  { return p.command }
func (p process) Element() uint16 { return p.element }
func (p process) DDI() uint16     { return p.ddi }
func (p process) Value() int32    { return p.value }

// Same and Describe are those of the reader.
func (p *pool) Same(o *pool) bool              { return p.same(o) }
func (p *pool) Describe() iso11783.Description { return p.description(p.name) }

// Identifier packs an identifier.
var Identifier = identifier

// Line writes one line of a log.
func Line(t evenstand.Micros, id uint32, data []byte) string {
	var b bytes.Buffer
	w := &Writer{out: bufio.NewWriter(&b), opt: WriterOptions{Interface: "can0"}, now: evenstand.NoTime}
	if err := w.frame(t, id, data); err != nil {
		panic(err)
	}
	if err := w.out.Flush(); err != nil {
		panic(err)
	}
	return b.String()
}

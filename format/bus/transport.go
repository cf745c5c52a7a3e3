package bus

import (
	"bytes"

	"evenstand"
)

// Silences after which a message is given up. TP and ETP: the longest that
// ISO 11783-3 lets either side wait, T2 and T3. Fast packets: from memory, no
// source at hand.
const (
	transferSilence = 1250 * evenstand.Second / 1000
	fastSilence     = 750 * evenstand.Second / 1000
)

// Numbers of the parameter groups that carry longer messages, and of what
// they carry here.
const (
	pgnTransfer     = 0xEC00 // connection management of the transport protocol
	pgnTransferData = 0xEB00
	pgnExtended     = 0xC800 // of the extended one
	pgnExtendedData = 0xC700
)

// transfer is a message on its way from one to another.
type transfer struct {
	pgn     uint32
	size    int
	packets int
	offset  int // extended: packets before those that are counted now
	next    int // packets that are there, from the first on without a gap
	buf     []byte
	last    evenstand.Micros
}

// transport puts the messages of the two transport protocols together as they
// go by between others. It never answers, so it cannot ask for what is
// missing: packets are taken in their order, and where the receiver asks for
// an earlier one they go on from there. What is held grows with the bytes that
// came, whatever size was announced.
type transport struct {
	open map[uint32]*transfer
	want func(pgn uint32) bool
	lost left
}

func newTransport(want func(uint32) bool) *transport {
	return &transport{open: map[uint32]*transfer{}, want: want}
}

// pair names who sends to whom in which protocol.
func pair(bus, from, to uint8, extended bool) uint32 {
	k := uint32(bus)<<16 | uint32(from)<<8 | uint32(to)
	if extended {
		k |= 1 << 24
	}
	return k
}

func le16(b []byte) int { return int(b[0]) | int(b[1])<<8 }

func le24(b []byte) int { return le16(b) | int(b[2])<<16 }

// late tells whether b came so long after a that nobody waits any more.
func late(a, b, silence evenstand.Micros) bool {
	return a != evenstand.NoTime && b != evenstand.NoTime && b-a > silence
}

// take follows one frame of the four groups; a message that is whole comes
// back. It stays with whoever gets it.
func (t *transport) take(f *Frame, pgn uint32, from, to uint8, line int, offset int64) (*transfer, bool) {
	if f.Len < 8 {
		return nil, false
	}
	d := f.Data[:]
	ext := pgn == pgnExtended || pgn == pgnExtendedData
	drop := func(k uint32) {
		if t.open[k] != nil {
			t.lose(line, offset)
			delete(t.open, k)
		}
	}
	if pgn == pgnTransferData || pgn == pgnExtendedData {
		k := pair(f.Bus, from, to, ext)
		m := t.open[k]
		if m == nil {
			return nil, false
		}
		if late(m.last, f.T, transferSilence) {
			drop(k)
			return nil, false
		}
		m.last = f.T
		n := m.offset + int(d[0]) - 1
		if d[0] == 0 || n > m.next || n < 0 {
			return nil, false // after a gap, until the receiver asks again
		}
		if n == m.next {
			m.buf = append(m.buf, d[1:8]...)
			m.next++
		} else {
			copy(m.buf[7*n:], d[1:8])
		}
		if m.next < m.packets {
			return nil, false
		}
		delete(t.open, k)
		m.buf = m.buf[:m.size]
		return m, true
	}
	group := uint32(le24(d[5:]))
	switch d[0] {
	case 16, 32: // request to send, broadcast announce
		if ext {
			break
		}
		k := pair(f.Bus, from, to, false)
		drop(k)
		m := &transfer{pgn: group, size: le16(d[1:]), packets: int(d[3]), last: f.T}
		if t.want(group) && m.size > 8 && m.packets == (m.size+6)/7 {
			t.open[k] = m
		}
	case 20: // extended request to send
		if !ext {
			break
		}
		k := pair(f.Bus, from, to, true)
		drop(k)
		m := &transfer{pgn: group, size: le24(d[1:]) | int(d[4])<<24, last: f.T}
		m.packets = (m.size + 6) / 7
		if t.want(group) && m.size > 1785 && m.packets < 1<<24 {
			t.open[k] = m
		}
	case 17, 21: // clear to send: the receiver is alive
		if m := t.open[pair(f.Bus, to, from, ext)]; m != nil && !late(m.last, f.T, transferSilence) {
			m.last = f.T
		}
	case 22: // data packet offset
		if m := t.open[pair(f.Bus, from, to, ext)]; ext && m != nil && !late(m.last, f.T, transferSilence) {
			m.offset, m.last = le24(d[2:]), f.T
		}
	case 19, 23: // end of message, which was not whole here
		drop(pair(f.Bus, to, from, ext))
	case 255: // abort, by either side, of the message of this group
		for _, k := range []uint32{pair(f.Bus, from, to, ext), pair(f.Bus, to, from, ext)} {
			if m := t.open[k]; m != nil && m.pgn == group {
				drop(k)
			}
		}
	}
	return nil, false
}

func (t *transport) lose(line int, offset int64) {
	if t.lost.n == 0 {
		t.lost = left{0, line, offset}
	}
	t.lost.n++
}

// end counts what is still on its way.
func (t *transport) end(line int, offset int64) {
	for range t.open {
		t.lose(line, offset)
	}
	clear(t.open)
}

// packet is a fast packet on its way.
type packet struct {
	size, next int
	last       evenstand.Micros
	buf        []byte
	whole      bool
}

// fastPackets puts the fast packets of NMEA 2000 together: up to 223 bytes in
// frames whose first byte is a sequence number (3 bits) and a count (5 bits).
type fastPackets struct {
	open map[uint64]*packet
	lost left
}

func newFastPackets() *fastPackets { return &fastPackets{open: map[uint64]*packet{}} }

// take follows one frame; a message that is whole comes back, lent until the
// next call.
func (p *fastPackets) take(f *Frame, pgn uint32, from uint8, line int, offset int64) ([]byte, bool) {
	if f.Len < 2 {
		return nil, false
	}
	lose := func() {
		if p.lost.n == 0 {
			p.lost = left{0, line, offset}
		}
		p.lost.n++
	}
	n := int(f.Data[0] & 31)
	key := uint64(pgn)<<24 | uint64(f.Bus)<<16 | uint64(from)<<8 | uint64(f.Data[0]>>5)
	m := p.open[key]
	if n == 0 {
		if m != nil && m.next > 0 && !m.whole {
			lose()
		}
		if m == nil {
			m = &packet{}
			p.open[key] = m
		}
		m.size, m.next, m.last, m.whole = int(f.Data[1]), 1, f.T, false
		m.buf = append(m.buf[:0], f.Data[2:f.Len]...)
		if m.size == 0 || m.size > 223 {
			m.next = 0
			return nil, false
		}
		return m.done()
	}
	switch {
	case m == nil || m.next == 0:
		if n == 1 { // the first frame is missing
			lose()
		}
		return nil, false
	case n == m.next-1 && bytes.HasSuffix(m.buf, f.Data[1:f.Len]):
		return nil, false // the frame came twice
	case m.whole:
		return nil, false
	case n != m.next || late(m.last, f.T, fastSilence):
		lose()
		m.next = 0
		return nil, false
	}
	m.buf = append(m.buf, f.Data[1:f.Len]...)
	m.next, m.last = m.next+1, f.T
	return m.done()
}

func (m *packet) done() ([]byte, bool) {
	if len(m.buf) < m.size {
		return nil, false
	}
	m.whole = true
	return m.buf[:m.size], true
}

// end counts what is still on its way.
func (p *fastPackets) end(line int, offset int64) {
	for _, m := range p.open {
		if m.next > 0 && !m.whole {
			if p.lost.n == 0 {
				p.lost = left{0, line, offset}
			}
			p.lost.n++
		}
	}
}

package bus

import (
	"bytes"
	"context"
	"io"
	"maps"
	"math"
	"slices"

	"evenstand"
	"evenstand/format/iso11783"
)

// node is an address on one of the capture's buses.
type node uint16

const mostNodes = maxBuses << 8

func nodeOf(bus, address uint8) node { return node(bus)<<8 | node(address) }

func (n node) address() uint8 { return uint8(n) }

// null and everybody are addresses of nobody in particular.
const (
	null      = 0xfe
	everybody = 0xff
)

// valueKey is who says a value of what to whom: bus, source, destination,
// element and identifier.
type valueKey uint64

func keyOf(bus, from, to uint8, p *process) valueKey {
	return valueKey(bus)<<44 | valueKey(from)<<36 | valueKey(to)<<28 | valueKey(p.element&0xfff)<<16 | valueKey(p.ddi)
}

func (k valueKey) from() node          { return nodeOf(uint8(k>>44), uint8(k>>36)) }
func (k valueKey) to() node            { return nodeOf(uint8(k>>44), uint8(k>>28)) }
func (k valueKey) element() uint16     { return uint16(k>>16) & 0xfff }
func (k valueKey) ddi() iso11783.DDI   { return iso11783.DDI(k) }
func (k valueKey) broadcast() bool     { return uint8(k>>28) == everybody }
func (k valueKey) less(o valueKey) int { return int(int64(k) - int64(o)) }

// seen is what a first look tells of one value.
type seen struct {
	n                int64
	first, last, max int32
}

// epoch is a part of the capture in which all addresses and descriptions stay.
type epoch struct {
	frame   int64 // it begins with
	changes []change
	seen    map[valueKey]*seen
}

// change is a new name of an address, or a new description of a name.
type change struct {
	node node
	name uint64
	pool *pool // nil: the address
}

// receiver is what a first look tells of one GNSS receiver.
type receiver struct {
	node   node
	fixed  int64 // 129029 with a solution
	places int64 // 129025 and 129029 with a place
	beats  beats
	late   []evenstand.Micros // 129025 after 129029 of the same place
	ring   [16]ping
	at     int
	place  ping // of the last 129029
}

// ping is a place and when it was said.
type ping struct {
	lat, lon int32
	t        evenstand.Micros
}

// score orders receivers: first those that say when and how they found their
// place, then those that say more.
func (r *receiver) score() int64 {
	s := r.places
	if r.fixed > 0 {
		s += 1 << 40
	}
	return s
}

// counter counts messages by who sent them.
type counter map[node]int64

// best gives the sender of most, the lowest address of equals.
func (c counter) best() (node, int64) {
	at, n := node(0), int64(0)
	for _, k := range slices.Sorted(maps.Keys(c)) {
		if c[k] > n {
			at, n = k, c[k]
		}
	}
	return at, n
}

// survey is what a first look over a capture tells.
type survey struct {
	frames   int64
	times    [4]int64 // frames by style of their times
	delta    bool     // relative times count from the line before
	sum      evenstand.Micros
	nodes    [mostNodes]bool
	senders  int
	names    map[node]uint64 // now
	claimed  map[node]uint64 // as last claimed
	initial  map[node]uint64 // the first name of each
	pools    map[uint64]*pool
	earliest map[uint64]*pool
	tails    left // descriptions of which the end cannot be read
	epochs   []epoch

	controller map[node]int // for and against being the controller
	tasks      int          // times that the controller's task began
	taskOn     bool
	process    int64 // messages

	receivers map[node]*receiver
	speeds    map[uint32]counter
	courses   counter
	headings  counter
	system    map[node]*beats // 126992
	dates     map[node]*beats // 65254
	simulated int64

	transport *transport
	fast      *fastPackets
}

func newSurvey() *survey {
	return &survey{
		names: map[node]uint64{}, claimed: map[node]uint64{}, initial: map[node]uint64{},
		pools: map[uint64]*pool{}, earliest: map[uint64]*pool{}, epochs: []epoch{{}},
		controller: map[node]int{}, receivers: map[node]*receiver{}, speeds: map[uint32]counter{},
		courses: counter{}, headings: counter{}, system: map[node]*beats{}, dates: map[node]*beats{},
		transport: newTransport(func(pgn uint32) bool { return pgn == pgnProcess }), fast: newFastPackets(),
	}
}

// unnamed stands for the name of an address that never claimed one.
func unnamed(n node) uint64 { return math.MaxUint64&^0xffff | uint64(n) }

// change notes a change; a new epoch begins when the present one has values.
func (s *survey) change(c change) {
	e := &s.epochs[len(s.epochs)-1]
	if e.seen != nil {
		s.epochs = append(s.epochs, epoch{frame: s.frames})
		e = &s.epochs[len(s.epochs)-1]
	}
	e.changes = append(e.changes, c)
}

// claim takes an address claim: from here on the address has this name.
func (s *survey) claim(n node, name uint64) {
	if n.address() == null || s.claimed[n] == name {
		return
	}
	_, again := s.claimed[n]
	s.claimed[n] = name
	have, named := s.names[n]
	switch {
	case !named:
		s.initial[n] = name
	case have == name || !again: // the name that its description gave it stays
		return
	default:
		s.change(change{node: n, name: name})
	}
	s.names[n] = name
}

// describe takes a transfer of descriptions.
func (s *survey) describe(n node, b []byte, line int, offset int64) {
	p, rest := parsePool(b)
	if rest > 0 {
		if s.tails.n == 0 {
			s.tails = left{0, line, offset}
		}
		s.tails.n++
	}
	name, named := s.names[n]
	if !named {
		if name = p.name; !p.has {
			name = unnamed(n)
		}
		s.names[n], s.initial[n] = name, name
	}
	old := s.pools[name]
	now := old.with(p)
	switch {
	case old == nil:
		s.pools[name], s.earliest[name] = now, now
	case old.same(now):
	case !old.whole(): // the rest of a description in several transfers
		*old = *now
	default:
		s.pools[name] = now
		s.change(change{name: name, pool: now})
	}
}

// climb is how many of the later times in a head must be greater than those
// before them if they count from the beginning; judgement, between the half of
// differences and the whole of a clock.
const climb = 0.75

// deltas tells by the head of a capture whether its relative times count from
// the line before: a clock's times are greater the later their line, though
// frames may overtake one another, and differences are not. Lines are set
// beside those that stand a half, a quarter, an eighth and a sixteenth of the
// head behind them.
func deltas(head []byte) bool {
	var ts []evenstand.Micros
	for sc := NewScanner(bytes.NewReader(head)); sc.Next(); {
		switch sc.Times() {
		case Relative:
			ts = append(ts, sc.Frame().T)
		case NoTimes:
		default:
			return false
		}
	}
	if len(ts) > 0 {
		ts = ts[1:] // 0 in both
	}
	pairs, later := 0, 0
	for part := 2; part <= 16; part *= 2 {
		d := len(ts) / part
		if d == 0 {
			break
		}
		for i, t := range ts[d:] {
			pairs++
			if t > ts[i] {
				later++
			}
		}
	}
	return float64(later) < climb*float64(pairs)
}

// look goes over a capture once.
func (s *survey) look(ctx context.Context, in io.Reader) error {
	head := make([]byte, 4*headBytes)
	n, _ := io.ReadFull(in, head) // an error comes again
	s.delta = deltas(head[:n])
	sc := NewScanner(io.MultiReader(bytes.NewReader(head[:n]), in))
	for sc.Next() {
		if s.frames&0xfff == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		s.take(sc)
		s.frames++
	}
	s.transport.end(sc.Line())
	s.fast.end(sc.Line())
	return sc.Err()
}

func (s *survey) take(sc *Scanner) {
	f := sc.Frame()
	style := sc.Times()
	s.times[style]++
	if s.delta && style == Relative {
		s.sum += f.T
		f.T = s.sum
	}
	pgn, from, to := f.Group()
	if n := nodeOf(f.Bus, from); !s.nodes[n] {
		s.nodes[n] = true
		s.senders++
	}
	switch pgn {
	case pgnProcess:
		if f.Len == 8 {
			s.processData(f, from, to)
		}
	case pgnTransfer, pgnTransferData, pgnExtended, pgnExtendedData:
		line, offset := sc.Line()
		if m, ok := s.transport.take(f, pgn, from, to, line, offset); ok && len(m.buf) > 1 && m.buf[0] == 0x61 {
			s.controller[nodeOf(f.Bus, from)]--
			if to != everybody {
				s.controller[nodeOf(f.Bus, to)]++
			}
			s.describe(nodeOf(f.Bus, from), m.buf[1:], line, offset)
		}
	case pgnClaim:
		if f.Len == 8 {
			s.claim(nodeOf(f.Bus, from), nameOf(&f.Data))
		}
	case pgnPosition:
		if f.Len == 8 {
			r := s.receiver(nodeOf(f.Bus, from))
			if lat, lon, ok := position(&f.Data); ok && onEarth(lat, lon) {
				r.places++
				r.ping(f)
			}
		}
	case pgnCourse:
		if f.Len == 8 {
			s.courses[nodeOf(f.Bus, from)]++
		}
	case pgnGNSS:
		line, offset := sc.Line()
		b, ok := s.fast.take(f, pgn, from, line, offset)
		if !ok {
			break
		}
		if g, ok := gnssPosition(b); ok {
			s.gnss(f, nodeOf(f.Bus, from), &g)
		}
	case pgnMachine, pgnWheel, pgnGround:
		if f.Len < 8 {
			break
		}
		if _, made, ok := speed(&f.Data, pgn); ok {
			c := s.speeds[pgn]
			if c == nil {
				c = counter{}
				s.speeds[pgn] = c
			}
			c[nodeOf(f.Bus, from)]++
			if made {
				s.simulated++
			}
		}
	case pgnHeading:
		if f.Len == 8 {
			if _, ok := trueHeading(&f.Data); ok {
				s.headings[nodeOf(f.Bus, from)]++
			}
		}
	case pgnTime:
		if f.Len == 8 {
			s.beat(s.system, f, from, systemTime(&f.Data))
		}
	case pgnTimeDate:
		if f.Len == 8 {
			s.beat(s.dates, f, from, timeDate(&f.Data))
		}
	}
}

func (s *survey) beat(of map[node]*beats, f *Frame, from uint8, g evenstand.Micros) {
	if g == evenstand.NoTime {
		return
	}
	n := nodeOf(f.Bus, from)
	if of[n] == nil {
		of[n] = &beats{}
	}
	of[n].add(beat{s.frames, f.T, g})
}

func (s *survey) receiver(n node) *receiver {
	r := s.receivers[n]
	if r == nil {
		r = &receiver{node: n}
		s.receivers[n] = r
	}
	return r
}

// onEarth tells whether a place can be one: 0/0 is what receivers say that
// know none.
func onEarth(lat, lon float64) bool {
	return math.Abs(lat) <= 90 && math.Abs(lon) <= 180 && (lat != 0 || lon != 0)
}

func (s *survey) gnss(f *Frame, n node, g *gnss) {
	r := s.receiver(n)
	if !g.placed || !g.solved || !onEarth(g.lat, g.lon) {
		return
	}
	r.fixed++
	r.places++
	if g.t != evenstand.NoTime {
		r.beats.add(beat{s.frames, f.T, g.t})
	}
	r.place = ping{int32(math.Round(g.lat * 1e7)), int32(math.Round(g.lon * 1e7)), f.T}
	r.compare()
}

// ping notes a rapid place.
func (r *receiver) ping(f *Frame) {
	lat, lon, _ := position(&f.Data)
	r.at = (r.at + 1) % len(r.ring)
	r.ring[r.at] = ping{int32(math.Round(lat * 1e7)), int32(math.Round(lon * 1e7)), f.T}
	if p := &r.place; p.near(&r.ring[r.at]) {
		r.compare()
	}
}

// near tells whether two places are the same but for rounding.
func (p *ping) near(o *ping) bool {
	a, b := int64(p.lat)-int64(o.lat), int64(p.lon)-int64(o.lon)
	return a >= -1 && a <= 1 && b >= -1 && b <= 1
}

// mostLate is how many comparisons of the two messages are kept.
const mostLate = 4096

// compare measures how long after the full message the rapid one says the same
// place. Only while the machine moves is there one such.
func (r *receiver) compare() {
	at := -1
	for i := range r.ring {
		if r.ring[i].t != evenstand.NoTime && r.ring[i].t != 0 && r.place.near(&r.ring[i]) {
			if at >= 0 {
				return
			}
			at = i
		}
	}
	if at < 0 || r.place.t == evenstand.NoTime || len(r.late) >= mostLate {
		return
	}
	if d := r.ring[at].t - r.place.t; span(d, 0) < evenstand.Second {
		r.late = append(r.late, d)
	}
}

// nameOf reads the NAME of an address claim.
func nameOf(d *[8]byte) uint64 {
	return uint64(d[0]) | uint64(d[1])<<8 | uint64(d[2])<<16 | uint64(d[3])<<24 | uint64(d[4])<<32 | uint64(d[5])<<40 | uint64(d[6])<<48 | uint64(d[7])<<56
}

func (s *survey) processData(f *Frame, from, to uint8) {
	p := processData(&f.Data)
	n := nodeOf(f.Bus, from)
	s.process++
	switch p.command {
	case cmdValue, cmdSet:
		e := &s.epochs[len(s.epochs)-1]
		if e.seen == nil {
			e.seen = map[valueKey]*seen{}
		}
		k := keyOf(f.Bus, from, to, &p)
		v := e.seen[k]
		if v == nil {
			v = &seen{first: p.value, max: p.value}
			e.seen[k] = v
		}
		v.n++
		v.last, v.max = p.value, max(v.max, p.value)
		if p.command == cmdSet {
			s.controller[n]++
		}
	case 4, 5, 6, 7, 8: // asks for values at an interval or a threshold
		s.controller[n]++
	case cmdController:
		if f.Data[0] != 0xfe {
			break
		}
		s.controller[n]++
		on := f.Data[4]&1 == 1
		if on && !s.taskOn {
			s.tasks++
		}
		s.taskOn = on
	case cmdClient:
		if f.Data[0] == 0xff {
			s.controller[n]--
		}
	}
}

// controls tells whether an address is the controller's. Where nobody said so,
// it is the one who only gets values.
func (s *survey) controls(n node, gives counter) bool {
	if c := s.controller[n]; c != 0 {
		return c > 0
	}
	return gives[n] == 0
}

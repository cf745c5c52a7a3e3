package bus

import (
	"bufio"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"strconv"

	"evenstand"
	"evenstand/format/iso11783"
)

// WriterOptions describe the bus that a Writer writes.
type WriterOptions struct {
	Version   int             // of the description: 3, or 4 with the extra label; 0 means 4
	Card      evenstand.Card  // Rows must be known; geometry that is NaN is left out
	Log       iso11783.LogSet // speed and heading go in the messages of tractor and receiver
	Latency   float64         // s by which values are late at their time (DDI 143, negated)
	Delay     float64         // s from a place to its message; 0 means 0.1
	Interface string          // empty: can0
	NoPool    bool            // the logger was plugged in after the planter had described itself
	NoTimes   bool            // screen lines without times
}

// Addresses on the bus that is written.
const (
	atReceiver   = 0x1c
	atPlanter    = 0x81
	atTractor    = 0xf0
	atController = 0xf7
)

// NAMEs of controller and receiver: self-configurable, industry group 2
// (agriculture), made up otherwise. Those of tractor and planter stand in their
// descriptions.
const (
	nameController = 0xA00082000000A003
	nameReceiver   = 0xA00083000000A004
)

// frameGap is the time from one frame to the next: a frame of eight bytes takes
// 0.5 to 0.6 ms at 250 kbit/s.
const frameGap = 600

// Writer writes what a logger on the planter's bus would capture, in the form
// of candump -l: address claims, descriptions, values, speed and places. Its
// records are those of task data.
type Writer struct {
	out     *bufio.Writer
	opt     WriterOptions
	c       *iso11783.Collector
	devices []*iso11783.Device
	names   map[*iso11783.Device]uint64
	at      []uint8 // by device
	columns []writerColumn

	begun   bool
	done    bool
	now     evenstand.Micros // of the last frame
	due     []dueFrame       // messages of the receiver on their way
	gnss    evenstand.Micros // when it said all of its place
	all     evenstand.Micros // when all values were given
	status  evenstand.Micros // of the controller
	way     float64          // m
	wayAt   evenstand.Micros
	seq     uint8
	line    []byte
	scratch []byte
}

type writerColumn struct {
	id      uint32
	element uint16
	ddi     iso11783.DDI
}

type dueFrame struct {
	t    evenstand.Micros
	id   uint32
	data [8]byte
}

// NewWriter begins a capture.
func NewWriter(out io.Writer, opt WriterOptions) (*Writer, error) {
	if opt.Version == 0 {
		opt.Version = 4
	}
	if opt.Version != 3 && opt.Version != 4 {
		return nil, fmt.Errorf("a description of version %d: 3 or 4", opt.Version)
	}
	if opt.Card.Rows < 1 || opt.Card.Rows > evenstand.MaxRows {
		return nil, fmt.Errorf("a planter of %d rows: want 1 to %d", opt.Card.Rows, evenstand.MaxRows)
	}
	if opt.Delay == 0 {
		opt.Delay = receiverDelay.Seconds()
	}
	if opt.Interface == "" {
		opt.Interface = "can0"
	}
	w := &Writer{
		out: bufio.NewWriterSize(out, 64<<10), opt: opt, names: map[*iso11783.Device]uint64{},
		gnss: evenstand.NoTime, all: evenstand.NoTime, status: evenstand.NoTime, wayAt: evenstand.NoTime, now: evenstand.NoTime,
	}
	w.c = iso11783.NewCollector(&iso11783.WriterOptions{
		Version: opt.Version, Card: opt.Card, Latency: opt.Latency, Log: opt.Log &^ (iso11783.LogSpeed | iso11783.LogHeading),
	})
	w.devices = w.c.Devices()
	elements := map[string]*iso11783.DeviceElement{}
	from := map[*iso11783.Device]uint8{}
	for i, d := range w.devices {
		name, err := strconv.ParseUint(d.Client, 16, 64)
		if err != nil {
			return nil, fmt.Errorf("NAME %q of %s: %w", d.Client, d.Name, err)
		}
		w.names[d] = name
		w.at = append(w.at, [...]uint8{atTractor, atPlanter}[i])
		from[d] = w.at[i]
		for _, e := range d.Elements {
			elements[e.ID] = e
		}
	}
	for _, c := range w.c.Columns() {
		e := elements[c.Element]
		id := processID(from[e.Device], atController)
		if set, ok := c.DDI.Setpoint(); ok && set == c.DDI {
			id = processID(atController, from[e.Device])
		}
		w.columns = append(w.columns, writerColumn{id, uint16(e.Number), c.DDI})
	}
	return w, nil
}

// identifier packs priority, group, destination and source.
func identifier(priority, pgn uint32, to, from uint8) uint32 {
	id := priority<<26 | pgn<<8 | uint32(from)
	if pgn>>8&0xff < 240 {
		id |= uint32(to) << 8
	}
	return id
}

func processID(from, to uint8) uint32 { return identifier(3, pgnProcess, to, from) }

const hexDigits = "0123456789ABCDEF"

// frame writes one line, at t or as soon after the frame before as the bus
// allows.
func (w *Writer) frame(t evenstand.Micros, id uint32, data []byte) error {
	if w.now != evenstand.NoTime {
		t = max(t, w.now+frameGap)
	}
	w.now = t
	b := w.line[:0]
	if w.opt.NoTimes {
		b = append(b, "  "...)
		b = append(b, w.opt.Interface...)
		b = append(b, "  "...)
		for s := 28; s >= 0; s -= 4 {
			b = append(b, hexDigits[id>>s&15])
		}
		b = append(b, "   ["...)
		b = append(b, byte('0'+len(data)), ']', ' ')
		for _, d := range data {
			b = append(b, ' ', hexDigits[d>>4], hexDigits[d&15])
		}
	} else {
		b = append(b, '(')
		b = appendPadded(b, int64(t/evenstand.Second), 10)
		b = append(b, '.')
		b = appendPadded(b, int64(t%evenstand.Second), 6)
		b = append(b, ") "...)
		b = append(b, w.opt.Interface...)
		b = append(b, ' ')
		for s := 28; s >= 0; s -= 4 {
			b = append(b, hexDigits[id>>s&15])
		}
		b = append(b, '#')
		for _, d := range data {
			b = append(b, hexDigits[d>>4], hexDigits[d&15])
		}
	}
	b = append(b, '\n')
	w.line = b
	_, err := w.out.Write(b)
	return err
}

// appendPadded writes a number with zeros in front.
func appendPadded(b []byte, v int64, digits int) []byte {
	from := len(b)
	b = strconv.AppendInt(b, v, 10)
	for len(b)-from < digits {
		b = append(b, 0)
		copy(b[from+1:], b[from:])
		b[from] = '0'
	}
	return b
}

// said collects the frames of the beginning, of which the time is known only
// when all are there.
type said []dueFrame

func (s *said) add(id uint32, data ...byte) {
	f := dueFrame{id: id}
	copy(f.data[:], data)
	for i := len(data); i < 8; i++ {
		f.data[i] = 0xff
	}
	*s = append(*s, f)
}

func le8(v uint64) []byte { return binary.LittleEndian.AppendUint64(nil, v) }

// begin says what is said when the key is turned on, right before t.
func (w *Writer) begin(t evenstand.Micros) error {
	var s said
	s.add(identifier(6, pgnClaim, everybody, atController), le8(nameController)...)
	s.add(identifier(6, pgnClaim, everybody, atReceiver), le8(nameReceiver)...)
	for i, d := range w.devices {
		s.add(identifier(6, pgnClaim, everybody, w.at[i]), le8(w.names[d])...)
	}
	for i, d := range w.devices {
		from := w.at[i]
		s.add(identifier(7, 65037, everybody, from), 1) // master of a working set of one
		if w.opt.NoPool {
			continue
		}
		p := appendPool([]byte{0x61}, d, w.names[d], w.opt.Version)
		if len(p) <= 8 {
			return fmt.Errorf("%s: a description of %d bytes", d.Name, len(p))
		}
		if len(p) <= 1785 {
			s.transfer(p, from)
		} else {
			s.extended(p, from)
		}
		s.add(processID(atController, from), 0x71, 0)
		s.add(processID(from, atController), 0x81)
		s.add(processID(atController, from), 0x91, 0)
	}
	const gap = 2 * evenstand.Second / 1000
	for i, f := range s {
		if err := w.frame(t-evenstand.Micros(len(s)-i)*gap, f.id, f.data[:]); err != nil {
			return err
		}
	}
	return nil
}

// transfer sends a message by the transport protocol, sixteen packets for each
// clear to send.
func (s *said) transfer(b []byte, from uint8) {
	n := (len(b) + 6) / 7
	there, back := identifier(7, pgnTransfer, atController, from), identifier(7, pgnTransfer, from, atController)
	group := []byte{pgnProcess & 0xff, pgnProcess >> 8 & 0xff, pgnProcess >> 16}
	s.add(there, append([]byte{16, byte(len(b)), byte(len(b) >> 8), byte(n), 0xff}, group...)...)
	for i := range n {
		if i%16 == 0 {
			s.add(back, append([]byte{17, byte(min(16, n-i)), byte(i + 1), 0xff, 0xff}, group...)...)
		}
		s.add(identifier(7, pgnTransferData, atController, from), append([]byte{byte(i + 1)}, b[7*i:min(7*i+7, len(b))]...)...)
	}
	s.add(back, append([]byte{19, byte(len(b)), byte(len(b) >> 8), byte(n), 0xff}, group...)...)
}

// extended sends a message by the extended transport protocol, 255 packets
// for each clear to send.
func (s *said) extended(b []byte, from uint8) {
	n := (len(b) + 6) / 7
	there, back := identifier(7, pgnExtended, atController, from), identifier(7, pgnExtended, from, atController)
	group := []byte{pgnProcess & 0xff, pgnProcess >> 8 & 0xff, pgnProcess >> 16}
	size := binary.LittleEndian.AppendUint32(nil, uint32(len(b)))
	s.add(there, append(append([]byte{20}, size...), group...)...)
	for i := range n {
		if i%255 == 0 {
			k := byte(min(255, n-i))
			s.add(back, append([]byte{21, k, byte(i + 1), byte((i + 1) >> 8), byte((i + 1) >> 16)}, group...)...)
			s.add(there, append([]byte{22, k, byte(i), byte(i >> 8), byte(i >> 16)}, group...)...)
		}
		s.add(identifier(7, pgnExtendedData, atController, from), append([]byte{byte(i%255 + 1)}, b[7*i:min(7*i+7, len(b))]...)...)
	}
	s.add(back, append(append([]byte{23}, size...), group...)...)
}

// Record writes what is said about one instant. Fix.T is the logger's clock.
func (w *Writer) Record(r iso11783.Record) error {
	if w.done {
		return fmt.Errorf("a record after Close")
	}
	t := r.Fix.T
	if t < firstAbsolute || t >= lastTime {
		return fmt.Errorf("a record at %v: captures count from 1970, in ten digits", t)
	}
	if !w.begun {
		w.begun = true
		if err := w.begin(t); err != nil {
			return err
		}
	}
	if err := w.send(t); err != nil {
		return err
	}
	if err := w.speed(t, r.Speed); err != nil {
		return err
	}
	if w.status == evenstand.NoTime || t-w.status >= 2*evenstand.Second {
		w.status = t
		if err := w.frame(t, processID(atController, everybody), []byte{0xfe, 0xff, 0xff, 0xff, 1, 0, 0, 0xff}); err != nil {
			return err
		}
		for _, at := range w.at {
			if err := w.frame(t, processID(at, atController), []byte{0xff, 0xff, 0xff, 0xff, 1, 0, 0, 0}); err != nil {
				return err
			}
		}
	}
	if err := w.values(t, &r); err != nil {
		return err
	}
	w.places(t, &r)
	return nil
}

// values gives what changed, and all of it once a second.
func (w *Writer) values(t evenstand.Micros, r *iso11783.Record) error {
	if w.all == evenstand.NoTime || t-w.all >= evenstand.Second-evenstand.Second/20 {
		w.all = t
		w.c.Restart()
	}
	for _, v := range w.c.Collect(r) {
		c := &w.columns[v.Column]
		d := []byte{cmdValue | byte(c.element)<<4, byte(c.element >> 4), byte(c.ddi), byte(c.ddi >> 8), 0, 0, 0, 0}
		binary.LittleEndian.PutUint32(d[4:], uint32(v.Raw))
		if err := w.frame(t, c.id, d); err != nil {
			return err
		}
	}
	return nil
}

// speed says the speed of the wheels and the one that the machine selects.
func (w *Writer) speed(t evenstand.Micros, v float64) error {
	raw := math.Round(math.Abs(v) * 1000)
	if math.IsNaN(raw) || raw > 0xfaff {
		return nil
	}
	if w.wayAt != evenstand.NoTime && t > w.wayAt {
		w.way += math.Abs(v) * (t - w.wayAt).Seconds()
	}
	w.wayAt = t
	direction := byte(1)
	if v < 0 {
		direction = 0
	}
	d := make([]byte, 8)
	binary.LittleEndian.PutUint16(d, uint16(raw))
	binary.LittleEndian.PutUint32(d[2:], uint32(int64(w.way*1000)))
	d[6], d[7] = 0xff, 0x14|direction // key not off, working
	if err := w.frame(t, identifier(3, pgnWheel, everybody, atTractor), d); err != nil {
		return err
	}
	d[6], d[7] = 0xc0|0x3f, 0x84|direction // from over ground, not limited
	return w.frame(t, identifier(3, pgnMachine, everybody, atTractor), d)
}

// places plans the receiver's messages, which come a little after the place
// that they tell.
func (w *Writer) places(t evenstand.Micros, r *iso11783.Record) {
	utc := r.UTC
	if utc == 0 {
		utc = t
	}
	f := &r.Fix
	if !onEarth(f.Lat, f.Lon) {
		return
	}
	t += evenstand.FromSeconds(w.opt.Delay)
	plan := func(priority, pgn uint32, data []byte) {
		x := dueFrame{t: t, id: identifier(priority, pgn, everybody, atReceiver)}
		copy(x.data[:], data)
		w.due = append(w.due, x)
	}
	d := binary.LittleEndian.AppendUint32(nil, uint32(int32(math.Round(f.Lat*1e7))))
	plan(2, pgnPosition, binary.LittleEndian.AppendUint32(d, uint32(int32(math.Round(f.Lon*1e7)))))
	if !math.IsNaN(f.Heading) || !math.IsNaN(f.Speed) {
		d = []byte{w.seq, 0xfc, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff}
		if !math.IsNaN(f.Heading) {
			binary.LittleEndian.PutUint16(d[2:], uint16(math.Round(math.Mod(f.Heading+360, 360)/radian*1e4)))
		}
		if v := math.Round(f.Speed * 100); v >= 0 && v < 0xfff0 {
			binary.LittleEndian.PutUint16(d[4:], uint16(v))
		}
		plan(2, pgnCourse, d)
	}
	if w.gnss != evenstand.NoTime && utc-w.gnss < evenstand.Second-evenstand.Second/20 {
		return
	}
	w.gnss = utc
	w.seq++
	day, ms := int64(utc)/86_400_000_000, int64(utc)%86_400_000_000/100
	le := binary.LittleEndian
	b := w.scratch[:0]
	b = append(b, w.seq)
	b = le.AppendUint16(b, uint16(day))
	b = le.AppendUint32(b, uint32(ms))
	b = le.AppendUint64(b, uint64(int64(math.Round(f.Lat*1e16))))
	b = le.AppendUint64(b, uint64(int64(math.Round(f.Lon*1e16))))
	alt := int64(math.MaxInt64)
	if !math.IsNaN(f.Alt) {
		alt = int64(math.Round(f.Alt * 1e6))
	}
	b = le.AppendUint64(b, uint64(alt))
	method := byte(15)
	if f.Kind != evenstand.FixUnknown {
		method = byte(f.Kind - evenstand.FixNone)
	}
	b = append(b, method<<4, 0xfc)
	sats := byte(0xff)
	if f.Sats >= 0 && f.Sats < 0xfd {
		sats = byte(f.Sats)
	}
	hdop := int16(math.MaxInt16)
	if v := math.Round(f.HDOP * 100); v > 0 && v < 10000 {
		hdop = int16(v)
	}
	b = append(b, sats)
	b = le.AppendUint16(b, uint16(hdop))
	b = le.AppendUint16(b, math.MaxInt16) // the other dilution is not told
	b = le.AppendUint32(b, math.MaxInt32) // nor the geoid's height
	b = append(b, 0)                      // nor reference stations
	w.scratch = b
	for n := 0; len(b) > 0; n++ {
		x := [8]byte{w.seq<<5 | byte(n), 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff}
		if n == 0 {
			x[1] = byte(len(b))
			b = b[copy(x[2:], b):]
		} else {
			b = b[copy(x[1:], b):]
		}
		plan(3, pgnGNSS, x[:])
	}
	d = []byte{w.seq, 0xf0}
	d = le.AppendUint16(d, uint16(day))
	plan(3, pgnTime, le.AppendUint32(d, uint32(ms)))
}

// send writes the receiver's messages that are due.
func (w *Writer) send(t evenstand.Micros) error {
	n := 0
	for ; n < len(w.due) && w.due[n].t <= t; n++ {
		if err := w.frame(w.due[n].t, w.due[n].id, w.due[n].data[:]); err != nil {
			return err
		}
	}
	w.due = w.due[:copy(w.due, w.due[n:])]
	return nil
}

// Close writes what is left.
func (w *Writer) Close() error {
	if w.done {
		return nil
	}
	w.done = true
	if err := w.send(lastTime); err != nil {
		return err
	}
	return w.out.Flush()
}

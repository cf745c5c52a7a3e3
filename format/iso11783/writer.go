package iso11783

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"time"

	"evenstand"
)

// LogSet says what a Writer logs beside time and position. Row values become
// one column a row.
type LogSet uint32

// What can be logged, with the dictionary's number.
const (
	LogSeedRate       LogSet = 1 << iota // 12, by row
	LogSeedRateTarget                    // 11, by row
	LogBoomTarget                        // 11, for the whole boom
	LogSeedCount                         // 82, running total by row
	LogSeedFlow                          // 47, seeds per second by row
	LogSkips                             // 417, by row
	LogDoubles                           // 419, by row
	LogSingulation                       // 415, by row
	LogForce                             // 427, by row, called gauge-wheel load
	LogWorking                           // 161 and up, a bit pair a row
	LogEnabled                           // 290 and up, a bit pair a row
	LogWorkState                         // 141, for the boom
	LogSpeed                             // 397, tractor
	LogHeading                           // 144, tractor
	LogHitchAngle                        // 466, tractor's connector
	LogLiquidRate                        // 2, for the liquid boom
	LogTanks                             // 72, by tank of the card
)

// State is a switch position in a Record; the zero value says nothing.
type State int8

// The states.
const (
	NotLogged State = iota
	Off
	On
)

// Record is what the box logs at one position. A row slice is by row, row 1
// first; nil or a NaN says nothing and leaves what was logged before. Only
// what WriterOptions.Log names is written.
type Record struct {
	Fix            evenstand.Fix    // time in UTC; HDOP, satellites, height and kind are written when known
	UTC            evenstand.Micros // the receiver's time when the box's clock, Fix.T, is off; 0: the same
	SeedRate       []float64        // seeds/m2
	SeedRateTarget []float64        // seeds/m2
	BoomTarget     float64          // seeds/m2
	SeedCount      []float64        // seeds since the task began
	SeedFlow       []float64        // seeds/s
	Skips          []float64        // fraction of 1
	Doubles        []float64        // fraction of 1
	Singulation    []float64        // fraction of 1
	Force          []float64        // N
	Working        []bool           // the row is at work
	Enabled        []bool           // the row is switched on
	WorkState      State            // of the boom
	Speed          float64          // m/s, negative in reverse
	Heading        float64          // degrees
	HitchAngle     float64          // degrees
	LiquidRate     float64          // m3/m2
	Tanks          []float64        // m3, by tank of the card
}

// WriterOptions describe the set that a Writer writes.
type WriterOptions struct {
	Version       int            // 3 (V3.3) or 4 (V4.3); 0 means 4
	Card          evenstand.Card // Rows must be known; geometry that is NaN is left out
	Log           LogSet
	Task          string        // name of the task
	Customer      string        // empty: none
	Farm          string        // empty: none
	Field         string        // empty: none
	Boundary      [][2]float64  // latitude, longitude of the field's corners; needs Field
	Crop          string        // empty: none
	Product       string        // seed; empty: none
	LiquidProduct string        // empty: none
	Latency       float64       // s by which values are late at their time stamp (DDI 143, negated)
	UTCOffset     time.Duration // controller's clock minus UTC
	NoGPSTime     bool          // leave out GPS UTC time and date
	ZoneInXML     bool          // times in TASKDATA.XML carry UTCOffset
	OffsetsInLog  bool          // offsets and widths only in the log's first record, not in the description
	External      bool          // devices, products and tasks in files of their own
	ColumnsPerLog int           // most columns a log, 1 to 255; 0 means 255
}

// Writer writes task data as a planter's controller logs it.
type Writer struct {
	dir   string
	opt   WriterOptions
	c     *Collector
	logs  []*LogWriter
	names []string // of all logs so far
	sizes []int64
	recs  []LogRecord
	first evenstand.Micros
	end   evenstand.Micros
	n     int64
	done  bool
}

// Value32 is a raw value for a column beyond the 255 of one log.
type Value32 struct {
	Column int
	Raw    int32
}

// NewWriter starts a set in dir, which is made if absent. It refuses a folder
// that already holds task data.
func NewWriter(dir string, opt WriterOptions) (*Writer, error) {
	if opt.Version == 0 {
		opt.Version = 4
	}
	if opt.Version != 3 && opt.Version != 4 {
		return nil, fmt.Errorf("task data version %d: 3 or 4", opt.Version)
	}
	if opt.Card.Rows < 1 || opt.Card.Rows > evenstand.MaxRows {
		return nil, fmt.Errorf("a planter of %d rows: want 1 to %d", opt.Card.Rows, evenstand.MaxRows)
	}
	if opt.ColumnsPerLog <= 0 || opt.ColumnsPerLog > MaxColumns {
		opt.ColumnsPerLog = MaxColumns
	}
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return nil, err
	}
	if _, err := os.Stat(filepath.Join(dir, "TASKDATA.XML")); err == nil {
		return nil, fmt.Errorf("%s already holds task data; give an empty folder", dir)
	}
	w := &Writer{dir: dir, opt: opt, c: NewCollector(&opt), first: evenstand.NoTime, end: evenstand.NoTime}
	if err := w.open(); err != nil {
		return nil, err
	}
	return w, nil
}

// open starts the next parallel logs.
func (w *Writer) open() error {
	per := w.opt.ColumnsPerLog
	count := max(1, (len(w.c.cols)+per-1)/per)
	for i := range count {
		h := &Header{Time: InRecord, Columns: w.c.cols[min(i*per, len(w.c.cols)):min((i+1)*per, len(w.c.cols))]}
		for f := range h.Fields {
			h.Fields[f] = InRecord
		}
		if w.opt.NoGPSTime {
			h.Fields[fieldGPSTime], h.Fields[fieldGPSDate] = Absent, Absent
		}
		name := fmt.Sprintf("TLG%05d", len(w.names)+1)
		l, err := NewLogWriter(w.dir, name, h)
		if err != nil {
			return err
		}
		w.logs = append(w.logs, l)
		w.names = append(w.names, name)
	}
	w.recs = make([]LogRecord, len(w.logs))
	w.c.Restart() // a new log begins with the whole set
	return nil
}

// NextLog ends the present logs and starts the next, as a controller does when
// the task is paused and goes on.
func (w *Writer) NextLog() error {
	if err := w.closeLogs(); err != nil {
		return err
	}
	return w.open()
}

func (w *Writer) closeLogs() error {
	var first error
	for _, l := range w.logs {
		if err := l.Close(); err != nil && first == nil {
			first = err
		}
		w.sizes = append(w.sizes, l.Size())
	}
	w.logs = nil
	return first
}

// epoch1980 is day 0 of task data, 1980-01-01, in days since 1970-01-01.
const epoch1980 = 3652

// dayClock splits an instant into days since 1980 and milliseconds of the day.
func dayClock(t evenstand.Micros, offset time.Duration) (day uint16, ms uint32) {
	m := int64(t)/1000 + offset.Milliseconds()
	d := m / dayMillis
	r := m % dayMillis
	if r < 0 {
		d, r = d-1, r+dayMillis
	}
	return uint16(d - epoch1980), uint32(r)
}

// Record appends one record to every log.
func (w *Writer) Record(r Record) error {
	if w.done {
		return fmt.Errorf("%s: a record after Close", w.dir)
	}
	if r.Fix.T < epoch1980*86400*evenstand.Second {
		return fmt.Errorf("a record at %v: task data counts from 1980-01-01", r.Fix.T)
	}
	if w.first == evenstand.NoTime {
		w.first = r.Fix.T
	}
	w.end = r.Fix.T
	now := w.c.Collect(&r)
	utc := r.UTC
	if utc == 0 {
		utc = r.Fix.T
	}
	for i := range w.recs {
		o := &w.recs[i]
		o.Date, o.Millis = dayClock(r.Fix.T, w.opt.UTCOffset)
		o.GPSDate, o.GPSMillis = dayClock(utc, 0)
		o.North = int32(math.Round(r.Fix.Lat * 1e7))
		o.East = int32(math.Round(r.Fix.Lon * 1e7))
		o.Up, _ = rawOf(r.Fix.Alt, 1e-3)
		o.Status = statusOf(r.Fix.Kind)
		o.PDOP, o.HDOP = math.MaxUint16, math.MaxUint16
		if h, ok := rawOf(r.Fix.HDOP, 0.1); ok && h >= 0 && h < 1000 {
			o.HDOP = uint16(h)
		}
		o.Sats = 255
		if r.Fix.Sats >= 0 && r.Fix.Sats < 255 {
			o.Sats = uint8(r.Fix.Sats)
		}
		o.Values = o.Values[:0]
	}
	for _, v := range now {
		o := &w.recs[v.Column/w.opt.ColumnsPerLog]
		o.Values = append(o.Values, Value{uint8(v.Column % w.opt.ColumnsPerLog), v.Raw})
	}
	for i, l := range w.logs {
		if err := l.Write(&w.recs[i]); err != nil {
			return err
		}
	}
	w.n++
	return nil
}

// statusOf gives the position status of a kind of fix; 15 is not available.
func statusOf(k evenstand.FixKind) uint8 {
	if k == evenstand.FixUnknown || k > evenstand.FixSimulated {
		return 15
	}
	return uint8(k) - 1
}

// rawOf turns a value in the dictionary's unit into its raw integer; false for
// what is not known or does not fit.
func rawOf(v, resolution float64) (int32, bool) {
	r := math.Round(v / resolution)
	if math.IsNaN(r) || r < -math.MaxInt32 || r > math.MaxInt32 {
		return 0, false
	}
	return int32(r), true
}

// Close ends the logs and writes TASKDATA.XML.
func (w *Writer) Close() error {
	if w.done {
		return nil
	}
	w.done = true
	if err := w.closeLogs(); err != nil {
		return err
	}
	return w.writeSet()
}

// xsdTime writes a time of the controller's clock as XML wants it.
func (w *Writer) xsdTime(t evenstand.Micros) string {
	if t == evenstand.NoTime {
		return ""
	}
	s := t.Time().Add(w.opt.UTCOffset).Format("2006-01-02T15:04:05.000")
	if w.opt.ZoneInXML {
		s += t.Time().In(time.FixedZone("", int(w.opt.UTCOffset.Seconds()))).Format("Z07:00")
	}
	return s
}

// Columns gives how many columns the logs hold together.
func (w *Writer) Columns() int { return len(w.c.cols) }

func (w *Writer) writeSet() error {
	o := &w.opt
	root := rootElement(o.Version, "2")
	var ctr, frm, pfd, ctp, cvt, pdt, liq *node
	ref := func(n *node) string { return refOf(n) }
	if o.Customer != "" {
		ctr = el("CTR", "A", "CTR1", "B", designator(o.Customer))
	}
	if o.Farm != "" {
		frm = el("FRM", "A", "FRM1", "B", designator(o.Farm), "I", ref(ctr))
	}
	if o.Product != "" {
		pdt = el("PDT", "A", "PDT1", "B", designator(o.Product))
	}
	if o.LiquidProduct != "" {
		liq = el("PDT", "A", "PDT2", "B", designator(o.LiquidProduct))
	}
	if o.Crop != "" {
		ctp = el("CTP", "A", "CTP1", "B", designator(o.Crop))
		if o.Product != "" {
			cvt = el("CVT", "A", "CVT1", "B", designator(o.Product))
			ctp.add(cvt)
		}
	}
	if o.Field != "" {
		pfd = el("PFD", "A", "PFD1", "C", designator(o.Field), "D", itoa(int(ringArea(o.Boundary))), "E", ref(ctr), "F", ref(frm), "G", ref(ctp), "H", ref(cvt))
		pfd.add(boundary(o.Boundary))
	}
	tsk := el("TSK", "A", "TSK1", "B", designator(o.Task), "C", ref(ctr), "D", ref(frm), "E", ref(pfd), "G", "4")
	start, stop := w.xsdTime(w.first), w.xsdTime(w.end)
	if start != "" {
		tsk.add(el("TIM", "A", start, "B", stop, "D", "4"))
		for _, dvc := range w.c.dev.devices {
			tsk.add(el("DAN", "A", dvc.text("D"), "C", dvc.text("A")).add(el("ASP", "A", start, "B", stop, "D", "4")))
		}
	}
	tsk.add(w.c.dev.connection)
	for _, p := range []*node{pdt, liq} {
		element := w.c.dev.seedBoom
		if p == liq {
			element = w.c.dev.liquidBoom
		}
		if p != nil && element != "" {
			tsk.add(el("PAN", "A", ref(p), "E", element))
		}
	}
	for i, n := range w.names {
		tsk.add(el("TLG", "A", n, "B", strconv.FormatInt(w.sizes[i], 10), "C", "1"))
	}
	if o.External {
		return writeParts(w.dir, root, ctp, ctr, frm, pfd, pdt, liq, tsk, w.c.dev.devices)
	}
	root.add(ctp, ctr).add(w.c.dev.devices...).add(frm, pfd, pdt, liq, tsk)
	return writeXML(w.dir, "TASKDATA.XML", root)
}

func refOf(n *node) string {
	if n == nil {
		return ""
	}
	return n.text("A")
}

func rootElement(version int, origin string) *node {
	return el("ISO11783_TaskData", "VersionMajor", itoa(version), "VersionMinor", "3",
		"ManagementSoftwareManufacturer", "Evenstand", "ManagementSoftwareVersion", "1",
		"TaskControllerManufacturer", "Evenstand", "TaskControllerVersion", "1", "DataTransferOrigin", origin)
}

// writeParts writes each kind of element into a file of its own, as version 4
// allows, and a root that names them.
func writeParts(dir string, root, ctp, ctr, frm, pfd, pdt, liq, tsk *node, devices []*node) error {
	for _, part := range []struct {
		kind  string
		nodes []*node
	}{{"CTP", []*node{ctp}}, {"CTR", []*node{ctr}}, {"DVC", devices}, {"FRM", []*node{frm}}, {"PFD", []*node{pfd}}, {"PDT", []*node{pdt, liq}}, {"TSK", []*node{tsk}}} {
		x := (&node{Name: "XFC"}).add(part.nodes...)
		if len(x.Kids) == 0 {
			continue
		}
		name := part.kind + "00000"
		if err := writeXML(dir, name+".XML", x); err != nil {
			return err
		}
		root.add(el("XFR", "A", name, "B", "1"))
	}
	return writeXML(dir, "TASKDATA.XML", root)
}

// boundary makes the field's outer ring, closed by repeating the first corner.
func boundary(ring [][2]float64) *node {
	if len(ring) < 3 {
		return nil
	}
	lsg := el("LSG", "A", "1")
	for i := 0; i <= len(ring); i++ {
		p := ring[i%len(ring)]
		if i == len(ring) && ring[0] == ring[len(ring)-1] {
			break
		}
		lsg.add(el("PNT", "A", "2", "C", degrees(p[0]), "D", degrees(p[1])))
	}
	return el("PLN", "A", "1").add(lsg)
}

// ringArea is the area in m2 of a ring of latitudes and longitudes on a sphere
// of 6371008.8 m (mean radius of the WGS 84 ellipsoid); good to a percent,
// which is what the attribute is for.
func ringArea(ring [][2]float64) float64 {
	if len(ring) < 3 {
		return 0
	}
	const r = 6371008.8
	c := math.Cos(ring[0][0] * math.Pi / 180)
	sum := 0.0
	for i, p := range ring {
		q := ring[(i+1)%len(ring)]
		x0, y0 := (p[1]-ring[0][1])*c, p[0]-ring[0][0]
		x1, y1 := (q[1]-ring[0][1])*c, q[0]-ring[0][0]
		sum += x0*y1 - x1*y0
	}
	k := r * math.Pi / 180
	return math.Abs(sum) / 2 * k * k
}

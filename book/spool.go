package book

import (
	"bufio"
	"cmp"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"hash"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"time"

	"evenstand"
	"evenstand/core/advise"
)

// What formats hand over is parted by local day and kind into spool files of
// fixed records, so that a day can be streamed, several times if need be,
// without holding it or the season in memory. A spool file that came out of
// order is sorted once, in memory, when its source has been read.

// kind is an index of the four kinds of data.
type kind int

const (
	fixes kind = iota
	seeds
	readings
	entries
	numKinds
)

var kindNames = [numKinds]string{"fixes", "seeds", "readings", "entries"}

// headHours is how far into the next day a pass over midnight may run; a day
// sees that much of the next.
const headHours = 6

// A codec packs one kind of record. recSize is 0 for records of varying size.
type codec[T any] struct {
	size   int
	put    func(b []byte, v *T) []byte // appends
	get    func(b []byte) T            // of size bytes; unused when size is 0
	time   func(*T) evenstand.Micros
	same   func(a, b *T) bool // the same thing said twice
	equal  func(a, b *T) bool // and with the same value
	kind   kind
	reader func(r *bufio.Reader) (T, error) // of records of varying size
}

var fixCodec = &codec[evenstand.Fix]{
	kind: fixes, size: 67,
	put: func(b []byte, f *evenstand.Fix) []byte {
		b = binary.LittleEndian.AppendUint64(b, uint64(f.T))
		for _, v := range [...]float64{f.Lat, f.Lon, f.Alt, f.Speed, f.Heading, f.HDOP} {
			b = binary.LittleEndian.AppendUint64(b, bitsOf(v))
		}
		b = binary.LittleEndian.AppendUint16(b, uint16(f.Sats))
		b = append(b, byte(f.Kind))
		return append(b, 0, 0, 0, 0, 0, 0, 0, 0)
	},
	get: func(b []byte) evenstand.Fix {
		u := func(i int) float64 { return math.Float64frombits(binary.LittleEndian.Uint64(b[i:])) }
		return evenstand.Fix{
			T: evenstand.Micros(binary.LittleEndian.Uint64(b)), Lat: u(8), Lon: u(16), Alt: u(24), Speed: u(32), Heading: u(40), HDOP: u(48),
			Sats: int16(binary.LittleEndian.Uint16(b[56:])), Kind: evenstand.FixKind(b[58]),
		}
	},
	time:  func(f *evenstand.Fix) evenstand.Micros { return f.T },
	same:  func(a, b *evenstand.Fix) bool { return true },
	equal: func(a, b *evenstand.Fix) bool { return a.Lat == b.Lat && a.Lon == b.Lon },
}

var seedCodec = &codec[evenstand.Seed]{
	kind: seeds, size: 10,
	put: func(b []byte, s *evenstand.Seed) []byte {
		b = binary.LittleEndian.AppendUint64(b, uint64(s.T))
		return binary.LittleEndian.AppendUint16(b, uint16(s.Row))
	},
	get: func(b []byte) evenstand.Seed {
		return evenstand.Seed{T: evenstand.Micros(binary.LittleEndian.Uint64(b)), Row: int16(binary.LittleEndian.Uint16(b[8:]))}
	},
	time:  func(s *evenstand.Seed) evenstand.Micros { return s.T },
	same:  func(a, b *evenstand.Seed) bool { return a.Row == b.Row },
	equal: func(a, b *evenstand.Seed) bool { return true },
}

var readingCodec = &codec[evenstand.Reading]{
	kind: readings, size: 23,
	put: func(b []byte, r *evenstand.Reading) []byte {
		b = binary.LittleEndian.AppendUint64(b, uint64(r.T))
		b = binary.LittleEndian.AppendUint64(b, bitsOf(r.Value))
		b = binary.LittleEndian.AppendUint16(b, uint16(r.Quantity))
		b = binary.LittleEndian.AppendUint16(b, r.Code)
		b = append(b, byte(r.Element.Scope))
		return binary.LittleEndian.AppendUint16(b, uint16(r.Element.N))
	},
	get: func(b []byte) evenstand.Reading {
		return evenstand.Reading{
			T: evenstand.Micros(binary.LittleEndian.Uint64(b)), Value: math.Float64frombits(binary.LittleEndian.Uint64(b[8:])),
			Quantity: evenstand.Quantity(binary.LittleEndian.Uint16(b[16:])), Code: binary.LittleEndian.Uint16(b[18:]),
			Element: evenstand.Element{Scope: evenstand.Scope(b[20]), N: int16(binary.LittleEndian.Uint16(b[21:]))},
		}
	},
	time: func(r *evenstand.Reading) evenstand.Micros { return r.T },
	same: func(a, b *evenstand.Reading) bool {
		return a.Quantity == b.Quantity && a.Element == b.Element && a.Code == b.Code
	},
	equal: func(a, b *evenstand.Reading) bool { return a.Value == b.Value },
}

var entryCodec = &codec[evenstand.Entry]{
	kind: entries,
	put: func(b []byte, e *evenstand.Entry) []byte {
		text, err := json.Marshal(entryJSON{e.T, e.What, e.Rows, evenstand.Number(e.Value), e.Unit, e.Note})
		if err != nil {
			panic(err) // plain texts and numbers always can be written
		}
		b = binary.LittleEndian.AppendUint32(b, uint32(len(text)))
		return append(b, text...)
	},
	reader: func(r *bufio.Reader) (evenstand.Entry, error) {
		var n [4]byte
		if _, err := io.ReadFull(r, n[:]); err != nil {
			return evenstand.Entry{}, err
		}
		text := make([]byte, binary.LittleEndian.Uint32(n[:]))
		if _, err := io.ReadFull(r, text); err != nil {
			return evenstand.Entry{}, io.ErrUnexpectedEOF
		}
		var e entryJSON
		err := json.Unmarshal(text, &e)
		return evenstand.Entry{T: e.T, What: e.What, Rows: e.Rows, Value: float64(e.Value), Unit: e.Unit, Note: e.Note}, err
	},
	time: func(e *evenstand.Entry) evenstand.Micros { return e.T },
	same: func(a, b *evenstand.Entry) bool {
		return a.What == b.What && slices.Equal(a.Rows, b.Rows) && a.Note == b.Note && a.Unit == b.Unit && bitsOf(a.Value) == bitsOf(b.Value)
	},
	equal: func(a, b *evenstand.Entry) bool { return true },
}

type entryJSON struct {
	T     evenstand.Micros `json:"t"`
	What  string           `json:"what"`
	Rows  evenstand.Rows   `json:"rows"`
	Value evenstand.Number `json:"value"`
	Unit  string           `json:"unit"`
	Note  string           `json:"note"`
}

// bitsOf gives a float's bits with one form of NaN, so that hashes agree.
func bitsOf(v float64) uint64 {
	if v != v {
		return 0x7ff8000000000001
	}
	return math.Float64bits(v)
}

// group remembers what was said at the present instant.
type group[T any] struct {
	c    *codec[T]
	t    evenstand.Micros
	seen []T
	last map[readingKey]evenstand.Reading // for readings, of which hundreds share an instant
	rows []rowSeeds                       // for seeds, by row
}

// rowSeeds is what a row's sensor saw at one instant. Two seeds may fall
// within the step of a box's clock, so within one run of the log both count;
// what another run says again does not.
type rowSeeds struct {
	t         evenstand.Micros
	run       int32
	kept, now int32 // seeds kept; seeds of this run
}

type readingKey struct {
	q evenstand.Quantity
	e evenstand.Element
	c uint16
}

func newGroup[T any](c *codec[T]) *group[T] {
	return &group[T]{c: c, t: evenstand.NoTime}
}

// add tells whether v is new; and if it is not, whether it says the same.
// Records must come in time order, and those of one instant run by run. A run
// is a part of a log in which time does not go back, or a log of its own.
func (g *group[T]) add(v *T, run int32) (fresh, equal bool) {
	switch x := any(v).(type) {
	case *evenstand.Seed: // the hot one
		if g.rows == nil {
			g.rows = make([]rowSeeds, evenstand.MaxRows+1)
			for i := range g.rows {
				g.rows[i].t = evenstand.NoTime
			}
		}
		r := &g.rows[x.Row]
		if r.t != x.T {
			*r = rowSeeds{t: x.T, run: run, kept: 1, now: 1}
			return true, false
		}
		if r.run != run {
			r.run, r.now = run, 0
		}
		if r.now++; r.now > r.kept {
			r.kept++
			return true, false
		}
		return false, true
	case *evenstand.Reading:
		if g.last == nil {
			g.last = map[readingKey]evenstand.Reading{}
		}
		k := readingKey{x.Quantity, x.Element, x.Code}
		if old, ok := g.last[k]; ok && old.T == x.T {
			return false, old.Value == x.Value
		}
		g.last[k] = *x
		return true, false
	}
	t := g.c.time(v)
	if t != g.t {
		g.t, g.seen = t, g.seen[:0]
	}
	for i := range g.seen {
		if g.c.same(&g.seen[i], v) {
			return false, g.c.equal(&g.seen[i], v)
		}
	}
	g.seen = append(g.seen, *v)
	return true, false
}

// tally counts what was said more than once.
type tally struct {
	twice, conflict int64
	at              evenstand.Micros // the first conflict
}

func (t *tally) add(equal bool, at evenstand.Micros) {
	if equal {
		t.twice++
		return
	}
	if t.conflict == 0 {
		t.at = at
	}
	t.conflict++
}

func (t *tally) merge(o tally) {
	t.twice += o.twice
	if t.conflict == 0 {
		t.at = o.at
	}
	t.conflict += o.conflict
}

// spoolFile is one kind of one day of one source on disk.
type spoolFile[T any] struct {
	c      *codec[T]
	d      *disk
	path   string
	buf    []byte
	head   evenstand.Micros // records before it belong to the head
	group  *group[T]
	last   evenstand.Micros
	sorted bool
	n      int64
	headN  int64
	sum    hash.Hash
	hsum   hash.Hash
	tally  tally
}

const spoolBuffer = 32 << 10

func newSpoolFile[T any](c *codec[T], d *disk, path string, head evenstand.Micros) *spoolFile[T] {
	return &spoolFile[T]{c: c, d: d, path: path, head: head, group: newGroup(c), last: evenstand.NoTime, sorted: true, sum: sha256.New(), hsum: sha256.New()}
}

func (s *spoolFile[T]) add(v *T, run int32) error {
	t := s.c.time(v)
	if s.group == nil { // back on a day that was left
		s.sorted = s.sorted && t > s.last
		s.group = newGroup(s.c)
	}
	if t < s.last {
		s.sorted = false
	}
	s.last = t
	if s.sorted {
		if fresh, equal := s.group.add(v, run); !fresh {
			s.tally.add(equal, t)
			return nil
		}
	}
	s.n++
	from := len(s.buf)
	s.buf = s.c.put(s.buf, v)
	if t < s.head {
		s.headN++
		s.hsum.Write(s.buf[from:])
	}
	if len(s.buf) >= spoolBuffer {
		return s.flush()
	}
	return nil
}

// flush appends the buffer to the file, which is open only for that: a source
// may cover many days.
func (s *spoolFile[T]) flush() error {
	if len(s.buf) == 0 {
		return nil
	}
	s.sum.Write(s.buf)
	err := s.d.append(s.path, s.buf)
	s.buf = s.buf[:0]
	return err
}

// leave gives memory back when the source goes on to another day.
func (s *spoolFile[T]) leave() error {
	err := s.flush()
	s.buf, s.group = nil, nil
	return err
}

// close ends the file, sorts it if need be, and gives its part.
func (s *spoolFile[T]) close() (*part, error) {
	if s.n == 0 {
		return nil, nil
	}
	if err := s.leave(); err != nil {
		return nil, err
	}
	if !s.sorted {
		return s.resort()
	}
	p := &part{N: s.n, Sum: hex.EncodeToString(s.sum.Sum(nil)), HeadN: s.headN}
	if s.headN > 0 {
		p.Head = hex.EncodeToString(s.hsum.Sum(nil))
	}
	return p, nil
}

// resort sorts a spool file in memory and writes it again without what was
// said twice.
func (s *spoolFile[T]) resort() (*part, error) {
	type record struct {
		v   T
		run int32
	}
	all := make([]record, 0, s.n)
	run, last := int32(0), evenstand.NoTime
	err := readSpool(s.c, s.path, func(vs []T) bool {
		for i := range vs {
			t := s.c.time(&vs[i])
			if t < last {
				run++
			}
			last = t
			all = append(all, record{vs[i], run})
		}
		return true
	})
	if err != nil {
		return nil, err
	}
	slices.SortStableFunc(all, func(a, b record) int { return cmp.Compare(s.c.time(&a.v), s.c.time(&b.v)) })
	again := newSpoolFile(s.c, s.d, s.path+".sorted", s.head)
	again.tally = s.tally
	for i := range all {
		if err := again.add(&all[i].v, all[i].run); err != nil {
			return nil, err
		}
	}
	p, err := again.close()
	if err != nil {
		return nil, err
	}
	s.tally = again.tally
	return p, os.Rename(again.path, s.path)
}

// readSpool streams a spool file in batches; they are lent.
func readSpool[T any](c *codec[T], path string, yield func([]T) bool) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	const batch = 4096
	vs := make([]T, 0, batch)
	if c.size == 0 {
		r := bufio.NewReader(f)
		for {
			v, err := c.reader(r)
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				return fmt.Errorf("%s: %w", path, err)
			}
			if vs = append(vs, v); len(vs) == batch {
				if !yield(vs) {
					return nil
				}
				vs = vs[:0]
			}
		}
	} else {
		buf := make([]byte, batch*c.size)
		for {
			n, err := io.ReadFull(f, buf)
			if n%c.size != 0 {
				return fmt.Errorf("%s: %w", path, io.ErrUnexpectedEOF)
			}
			for i := 0; i < n; i += c.size {
				vs = append(vs, c.get(buf[i:i+c.size]))
			}
			if len(vs) > 0 && !yield(vs) {
				return nil
			}
			vs = vs[:0]
			if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
				return nil
			}
			if err != nil {
				return err
			}
		}
	}
	if len(vs) > 0 {
		yield(vs)
	}
	return nil
}

// daySpool is the four files of one day of a source.
type daySpool struct {
	day      evenstand.Day
	from, to evenstand.Micros
	fixes    *spoolFile[evenstand.Fix]
	seeds    *spoolFile[evenstand.Seed]
	readings *spoolFile[evenstand.Reading]
	entries  *spoolFile[evenstand.Entry]
}

func spoolPath(dir string, day evenstand.Day, k kind) string {
	return filepath.Join(dir, string(day)+"."+kindNames[k])
}

// sink takes a format's stream of one source into the spool.
type sink struct {
	d        *disk
	dir      string
	zone     *time.Location
	maxRows  int // rows of the card; 0 unknown
	file     string
	days     map[evenstand.Day]*daySpool
	now      *daySpool // of the record before
	first    evenstand.Micros
	last     evenstand.Micros
	counts   Counts
	holds    holds
	fixPace  evenstand.Pace
	unused   []evenstand.Unused
	notes    []string                     // what a person should know of the source
	bad      map[string]*evenstand.Unused // by what is wrong
	badOrder []string
	progress func(int64)
}

func newSink(d *disk, dir string, zone *time.Location, maxRows int, file string, progress func(int64)) *sink {
	return &sink{
		d: d, dir: dir, zone: zone, maxRows: maxRows, file: file, days: map[evenstand.Day]*daySpool{},
		first: evenstand.NoTime, last: evenstand.NoTime, bad: map[string]*evenstand.Unused{}, progress: progress,
	}
}

// dayOf finds the day of an instant, which is that of the record before but
// for twice a day.
func (s *sink) dayOf(t evenstand.Micros) (*daySpool, error) {
	if s.now != nil {
		if t >= s.now.from && t < s.now.to {
			return s.now, nil
		}
		if err := errors.Join(s.now.fixes.leave(), s.now.seeds.leave(), s.now.readings.leave(), s.now.entries.leave()); err != nil {
			return nil, err
		}
	}
	day := evenstand.DayOf(t, s.zone)
	d := s.days[day]
	if d == nil {
		from, to, head := dayBounds(day, s.zone)
		d = &daySpool{
			day: day, from: from, to: to,
			fixes:    newSpoolFile(fixCodec, s.d, spoolPath(s.dir, day, fixes), head),
			seeds:    newSpoolFile(seedCodec, s.d, spoolPath(s.dir, day, seeds), head),
			readings: newSpoolFile(readingCodec, s.d, spoolPath(s.dir, day, readings), head),
			entries:  newSpoolFile(entryCodec, s.d, spoolPath(s.dir, day, entries), head),
		}
		s.days[day] = d
	}
	s.now = d
	return d, nil
}

// dayBounds gives a local day's begin, end, and the end of its first hours.
func dayBounds(day evenstand.Day, zone *time.Location) (from, to, head evenstand.Micros) {
	t, err := time.ParseInLocation("2006-01-02", string(day), zone)
	if err != nil {
		panic(err) // DayOf writes it so
	}
	from = evenstand.FromTime(t)
	return from, evenstand.FromTime(t.AddDate(0, 0, 1)), from + headHours*3600*evenstand.Second
}

// nextDay gives the day after.
func nextDay(day evenstand.Day) evenstand.Day {
	t, err := time.Parse("2006-01-02", string(day))
	if err != nil {
		panic(err) // DayOf writes it so
	}
	return evenstand.Day(t.AddDate(0, 0, 1).Format("2006-01-02"))
}

// latest is the end of the times that are believed: the year 2100.
const latest = 4_102_444_800 * evenstand.Second

func (s *sink) timed(t evenstand.Micros) bool {
	if t < 0 || t > latest {
		s.reject("a time outside 1970 to 2100", "Set the clock of the box that logged it.")
		return false
	}
	if s.first == evenstand.NoTime || t < s.first {
		s.first = t
	}
	s.last = max(s.last, t)
	return true
}

// reject counts what is not used, by reason.
func (s *sink) reject(why, do string) {
	u := s.bad[why]
	if u == nil {
		u = &evenstand.Unused{File: s.file, Offset: -1, Of: "records", Why: why, Do: do}
		s.bad[why] = u
		s.badOrder = append(s.badOrder, why)
	}
	u.Count++
}

// Fixes takes positions.
func (s *sink) Fixes(fs []evenstand.Fix) error {
	for i := range fs {
		f := &fs[i]
		switch {
		case f.Lat == 0 && f.Lon == 0:
			s.reject("a position at latitude 0, longitude 0: the receiver had none", "Nothing needs doing if it was switching on; else look at the antenna.")
			continue
		case !(f.Lat >= -90 && f.Lat <= 90 && f.Lon >= -180 && f.Lon <= 180):
			s.reject("a position outside the earth's degrees", "Check which column is latitude and which longitude.")
			continue
		}
		if !s.timed(f.T) {
			continue
		}
		d, err := s.dayOf(f.T)
		if err == nil {
			err = d.fixes.add(f, 0)
			s.fixPace.Take(f.T)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// Seeds takes seeds.
func (s *sink) Seeds(ss []evenstand.Seed) error {
	most := int16(evenstand.MaxRows)
	if s.maxRows > 0 {
		most = int16(s.maxRows)
	}
	for i := range ss {
		v := &ss[i]
		if v.Row < 1 || v.Row > most {
			s.rejectRow(int(v.Row))
			continue
		}
		if !s.timed(v.T) {
			continue
		}
		d, err := s.dayOf(v.T)
		if err == nil {
			err = d.seeds.add(v, 0)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

func (s *sink) rejectRow(row int) {
	if s.maxRows > 0 {
		s.reject(fmt.Sprintf("row %d, but the planter card has %d rows", row, s.maxRows), "Correct the card's rows, or the log's row numbers, and read again.")
		return
	}
	s.reject(fmt.Sprintf("row %d: rows count from 1 to %d", row, evenstand.MaxRows), "Correct the log's row numbers and read again.")
}

// Readings takes readings.
func (s *sink) Readings(rs []evenstand.Reading) error {
	for i := range rs {
		r := &rs[i]
		if r.Value != r.Value || math.IsInf(r.Value, 0) {
			s.reject(fmt.Sprintf("%s without a number", r.Quantity), "Nothing needs doing if the box was starting.")
			continue
		}
		if !r.Quantity.Plausible(r.Value) {
			in := r.Quantity.Info()
			s.reject(fmt.Sprintf("%s outside what is possible (%g to %g %s)", in.Label, in.Min, in.Max, in.SI), "Check the unit and the sensor.")
			continue
		}
		if r.Element.Scope == evenstand.ScopeRow && (r.Element.N < 1 || s.maxRows > 0 && int(r.Element.N) > s.maxRows) {
			s.rejectRow(int(r.Element.N))
			continue
		}
		if !s.timed(r.T) {
			continue
		}
		d, err := s.dayOf(r.T)
		if err == nil {
			err = d.readings.add(r, 0)
			s.holds.take(r)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// Entries takes journal lines.
func (s *sink) Entries(es []evenstand.Entry) error {
	for i := range es {
		e := &es[i]
		if !s.timed(e.T) {
			continue
		}
		d, err := s.dayOf(e.T)
		if err == nil {
			err = d.entries.add(e, 0)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// Unused takes what the format itself could not use.
func (s *sink) Unused(u evenstand.Unused) { s.unused = append(s.unused, u) }

// Progress takes how far the reading is.
func (s *sink) Progress(n int64) {
	if s.progress != nil {
		s.progress(n)
	}
}

// close ends all files and gives the days in order.
func (s *sink) close() ([]sourceDay, error) {
	var names []evenstand.Day
	for d := range s.days {
		names = append(names, d)
	}
	slices.Sort(names)
	var days []sourceDay
	var twice [numKinds]tally
	for _, name := range names {
		d := s.days[name]
		sd := sourceDay{Day: name}
		var errs [numKinds]error
		sd.Parts[fixes], errs[fixes] = d.fixes.close()
		sd.Parts[seeds], errs[seeds] = d.seeds.close()
		sd.Parts[readings], errs[readings] = d.readings.close()
		sd.Parts[entries], errs[entries] = d.entries.close()
		if err := errors.Join(errs[:]...); err != nil {
			return nil, err
		}
		for k, p := range sd.Parts {
			if p != nil {
				*s.counts.of(kind(k)) += p.N
			}
		}
		twice[fixes].merge(d.fixes.tally)
		twice[seeds].merge(d.seeds.tally)
		twice[readings].merge(d.readings.tally)
		twice[entries].merge(d.entries.tally)
		days = append(days, sd)
	}
	for k, t := range twice {
		s.unused = append(s.unused, t.unused(s.file, kind(k))...)
		s.notes = append(s.notes, t.notes(kind(k))...)
	}
	for _, why := range s.badOrder {
		s.unused = append(s.unused, *s.bad[why])
	}
	s.days, s.now = nil, nil
	return days, nil
}

// unused says in words what was said again with another value.
func (t tally) unused(file string, k kind) []evenstand.Unused {
	if t.conflict == 0 {
		return nil
	}
	what := map[kind]string{fixes: "a position with the same time", readings: "a reading of the same quantity, element and time"}[k]
	return []evenstand.Unused{{
		File: file, Offset: -1, Count: t.conflict, Of: "records",
		Why: fmt.Sprintf("%s was there before with another value, first at %s: the first is kept", what, t.at), Do: "Look which of the two is right; what was read first counts.",
	}}
}

// notes says how much was said again with the same value: nothing of it is
// lost, so it is no unused input.
func (t tally) notes(k kind) []string {
	if t.twice == 0 {
		return nil
	}
	one := map[kind]string{fixes: "position", seeds: "seed", readings: "reading", entries: "journal line"}[k]
	if t.twice == 1 {
		return []string{"1 " + one + " stands in the log twice and is stored once."}
	}
	return []string{advise.Thousands(t.twice) + " " + one + "s stand in the log more than once and are stored once."}
}

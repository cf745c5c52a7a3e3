package evenstand

import (
	"context"
	"io/fs"
	"math"
)

// Grade says how fine the data of a source is.
type Grade uint8

// The data grades: A seed times, B a row a second or finer, C section or
// machine, D position and notes.
const (
	NoGrade Grade = iota
	GradeA
	GradeB
	GradeC
	GradeD
)

// String gives the letter, or nothing for NoGrade.
func (g Grade) String() string { return [...]string{"", "A", "B", "C", "D"}[g] }

// MarshalText writes the letter.
func (g Grade) MarshalText() ([]byte, error) { return []byte(g.String()), nil }

// UnmarshalText reads the letter; anything else is NoGrade.
func (g *Grade) UnmarshalText(b []byte) error {
	*g = NoGrade
	if len(b) == 1 && b[0] >= 'A' && b[0] <= 'D' {
		*g = GradeA + Grade(b[0]-'A')
	}
	return nil
}

// FixKind is how a position was found.
type FixKind uint8

// Kinds of fix, after the position status of ISO 11783-10.
const (
	FixUnknown FixKind = iota
	FixNone
	FixGNSS
	FixDGNSS
	FixPrecise
	FixRTK
	FixRTKFloat
	FixEstimated
	FixManual
	FixSimulated
)

// Fix is one position of the receiver's antenna, WGS 84.
type Fix struct {
	T        Micros
	Lat, Lon float64 // degrees
	Alt      float64 // m, NaN unknown
	Speed    float64 // m/s as the receiver said, NaN unknown
	Heading  float64 // degrees clockwise from north, NaN unknown
	HDOP     float64 // NaN unknown
	Sats     int16   // -1 unknown
	Kind     FixKind
}

// NewFix is a fix of which only time and place are known.
func NewFix(t Micros, lat, lon float64) Fix {
	nan := math.NaN()
	return Fix{T: t, Lat: lat, Lon: lon, Alt: nan, Speed: nan, Heading: nan, HDOP: nan, Sats: -1}
}

// Seed is one seed that a row's sensor saw.
type Seed struct {
	T   Micros
	Row int16 // 1 at the left
}

// Reading is one measured value in SI.
type Reading struct {
	T        Micros
	Value    float64
	Quantity Quantity
	Element  Element
	Code     uint16 // for Raw: the data dictionary identifier (DDI)
}

// Entry is one line of a journal.
type Entry struct {
	T     Micros
	What  string // setting, refill, fix, remark, count, dig, lot
	Rows  Rows   // empty: the whole machine
	Value float64
	Unit  string
	Note  string
}

// Source is one box's log: what is said of it before and after reading.
type Source struct {
	Name    string   // stable name shown to people, unique within an input
	Format  string   // the format's name
	Files   []string // slash-separated names inside the input, in reading order
	Planter string   // name of the planter it belongs to, if the log says
	Zone    string   // IANA zone of times that carry none; empty: none needed
	Grade   Grade

	ClockOffset float64 // s, logged minus true; NaN unknown
	ClockError  float64 // s, half-width of the 90 % interval; NaN unknown
	Clock       string  // sources with the same non-empty clock share one

	Recipe   string            // of a table: the name of exactly the recipe by which it is read
	Average  float64           // s over which its percentages are averaged; 0 they are not, or nobody knows
	Latency  float64           // s by which values are late, already taken off; NaN unknown
	Card     *Card             // what the log says about the planter; nil nothing
	Products map[string]string // element ("row 3", "machine") to product name
	Notes    []string          // what a person should know, whole sentences
}

// Unused is something of an input that was not used, and what to do about it.
type Unused struct {
	File   string `json:"file"`
	Line   int    `json:"line,omitempty"` // first line, from 1; 0 when lines mean nothing
	Offset int64  `json:"byte"`           // first byte, from 0; -1 unknown
	Count  int64  `json:"count"`          // lines, records or bytes left out
	Of     string `json:"of"`             // what is counted: "lines", "records", "bytes", "files"
	Why    string `json:"why"`            // what was wrong in the input
	Do     string `json:"do,omitempty"`   // what the person can do, a whole sentence
}

// Tally gathers what was not used by reason: the first of each with its place,
// and how many there were. The zero value is ready.
type Tally struct {
	list []Unused
	at   map[string]int
}

// Has tells whether a reason was met, and how many are known.
func (t *Tally) Has(key string) (ok bool, reasons int) {
	_, ok = t.at[key]
	return ok, len(t.list)
}

// Add counts one more for a reason; first is what is told of it, and is asked
// for only once.
func (t *Tally) Add(key string, first func() Unused) {
	i, ok := t.at[key]
	if !ok {
		if t.at == nil {
			t.at = map[string]int{}
		}
		i = len(t.list)
		t.at[key] = i
		t.list = append(t.list, first())
	}
	t.list[i].Count++
}

// List gives the reasons in the order in which they were met.
func (t *Tally) List() []Unused { return t.list }

// Send hands the reasons over.
func (t *Tally) Send(sink Sink) {
	for _, u := range t.list {
		sink.Unused(u)
	}
}

// Sink takes the stream that formats and live feeds hand over. Slices are
// only lent: a sink that keeps them copies. An error stops the reader.
type Sink interface {
	Fixes([]Fix) error
	Seeds([]Seed) error
	Readings([]Reading) error
	Entries([]Entry) error
	Unused(Unused)
	Progress(bytes int64) // bytes of input read since the last call
}

// Format reads one open format. It knows nothing of books or findings.
type Format interface {
	// Name is the format's name as shown to people, such as "task data".
	Name() string
	// Find lists the sources that stand in an input and the files it takes
	// for its own, whether used or not. It reads headers at most.
	Find(ctx context.Context, in fs.FS) (sources []Source, claimed []string, unused []Unused, err error)
	// Read streams one source. What was read before an error is kept. The
	// source comes back with what only reading could tell (grade, card, notes).
	Read(ctx context.Context, in fs.FS, src Source, sink Sink) (Source, error)
}

// Current is implemented by formats that read by what people can change, such
// as recipes: it tells whether the source would be read the same today.
type Current interface {
	Current(src Source) bool
}

// Remembering is implemented by formats that may know several ways to read a
// log: with the sources that an input gave before, each log is read in the way
// in which it was, while there is that way.
type Remembering interface {
	Remember(was []Source) Format
}

// Pace tells how often one part gives one quantity.
type Pace struct {
	last Micros
	n    int64
	sum  Micros
}

// Take notes a value. Steps of more than ten seconds are pauses.
func (p *Pace) Take(t Micros) {
	if step := t - p.last; p.last != 0 && step > 0 && step <= 10*Second {
		p.n++
		p.sum += step
	}
	p.last = t
}

// Seen tells whether a value was noted.
func (p *Pace) Seen() bool { return p.last != 0 }

// Step is the mean time between two values in s, NaN when nothing tells.
func (p *Pace) Step() float64 {
	if p.n == 0 {
		return math.NaN()
	}
	return p.sum.Seconds() / float64(p.n)
}

// rowASecond is the longest mean step that still counts as a row a second, with
// jitter, in s.
const rowASecond = 1.5

// GradeOf tells the data grade of readings of a part: B for rows about once a
// second or finer, C when slower, by section or for the machine, D for tanks.
func GradeOf(e Element, p *Pace) Grade {
	switch {
	case !p.Seen():
		return NoGrade
	case e.Scope == ScopeTank:
		return GradeD
	case e.Scope == ScopeRow && p.Step() <= rowASecond:
		return GradeB
	}
	return GradeC
}

// Better gives the finer of two grades.
func (g Grade) Better(o Grade) Grade {
	if g == NoGrade || o != NoGrade && o < g {
		return o
	}
	return g
}

// Holding is one quantity of one kind of part in a source's log, and how often
// and how smoothed it comes.
type Holding struct {
	Quantity Quantity
	Scope    Scope
	Parts    int     // how many rows, sections, tanks
	N        int64   // readings
	Step     float64 // s between two of one part, NaN unknown
	Average  float64 // s over which the box averages, by the values; 0 it does not, NaN not told
}

// Stream is a source's data of one machine-day, each kind in time order on
// the source's own clock. Each function calls yield with successive batches
// until it returns false; batches are only lent. A nil function has nothing.
type Stream struct {
	Source   Source
	Fixes    func(yield func([]Fix) bool) error
	Seeds    func(yield func([]Seed) bool) error
	Readings func(yield func([]Reading) bool) error
	Entries  func(yield func([]Entry) bool) error
}

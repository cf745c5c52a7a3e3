package plain

import (
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"evenstand"
)

// The names of the files in a folder of the plain layout.
const (
	SeedsFile    = "seeds.csv"
	TrackFile    = "track.csv"
	ReadingsFile = "readings.csv"
	JournalFile  = "journal.csv"
	SourceToml   = "source.toml"
)

// Header lines, without line end.
const (
	seedsHeader    = "time,row"
	trackHeader    = "time,latitude,longitude,altitude_m,speed_m_s,heading_deg,hdop,satellites"
	readingsHeader = "time,quantity,element,value,unit"
	journalHeader  = "time,what,rows,value,unit,note"
)

// Stamp is how times are written.
type Stamp uint8

// The ways to write a time. The first two are seconds since 1970.
const (
	EpochMillis   Stamp = iota // 1777749128.120
	EpochMicros                // 1777749128.120001
	RFC3339Millis              // 2026-05-02T19:12:08.120Z
	RFC3339Micros              // 2026-05-02T19:12:08.120001Z
)

// Options say how a Writer spells what it writes. The zero value is
// milliseconds since 1970, SI units, the shortest digits that read back the
// same.
type Options struct {
	Stamp Stamp
	Zone  *time.Location                // of RFC 3339 times; nil is UTC
	Bare  bool                          // RFC 3339 without the zone: source.toml must then say it
	Units map[evenstand.Quantity]string // unit of a quantity's readings; SI where absent
	// Digits is the number of significant digits of values; 0 writes the
	// shortest text that reads back the same.
	Digits int
}

// Writer writes one folder of the plain layout. Each file is made when its
// first line is written. Rows are written as they are given; a box that counts
// from the right gives them so and says so in source.toml. A Writer is not
// safe for use by several goroutines at once.
type Writer struct {
	create func(name string) (io.WriteCloser, error)
	opt    Options
	unit   []evenstand.Unit // by quantity
	words  map[readingKey]readingWords

	seeds, track, readings, journal *file

	second int64  // of prefix
	prefix []byte // RFC 3339 up to the second
	suffix []byte // its zone
}

type readingKey struct {
	q evenstand.Quantity
	e evenstand.Element
}

type readingWords struct{ before, after string }

type file struct {
	w   io.WriteCloser
	buf []byte
}

const flushAt = 1 << 16

// NewWriter makes a Writer that asks create for each file it needs, by the
// names SeedsFile and so on. A unit that does not fit its quantity is an error.
func NewWriter(create func(name string) (io.WriteCloser, error), opt Options) (*Writer, error) {
	w := &Writer{create: create, opt: opt, words: map[readingKey]readingWords{}, second: math.MinInt64}
	for _, q := range evenstand.Quantities() {
		name, ok := opt.Units[q]
		if !ok {
			name = q.Info().SI
		}
		u, err := evenstand.ParseUnit(name)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", q, err)
		}
		if !q.Accepts(u) {
			return nil, fmt.Errorf("%s cannot be written in %q", q, name)
		}
		w.unit = append(w.unit, u)
	}
	return w, nil
}

// Seeds appends to seeds.csv.
func (w *Writer) Seeds(seeds []evenstand.Seed) error {
	f, err := w.open(&w.seeds, SeedsFile, seedsHeader, len(seeds))
	if err != nil {
		return err
	}
	for _, s := range seeds {
		if f.buf, err = w.appendTime(f.buf, s.T); err != nil {
			return err
		}
		f.buf = append(f.buf, ',')
		f.buf = strconv.AppendInt(f.buf, int64(s.Row), 10)
		f.buf = append(f.buf, '\n')
		if len(f.buf) >= flushAt {
			if err := f.flush(); err != nil {
				return err
			}
		}
	}
	return nil
}

// Fixes appends to track.csv, places to a billionth of a degree (0.1 mm) and
// the rest to a thousandth; what is not known is an empty field.
func (w *Writer) Fixes(fixes []evenstand.Fix) error {
	f, err := w.open(&w.track, TrackFile, trackHeader, len(fixes))
	if err != nil {
		return err
	}
	for _, x := range fixes {
		if f.buf, err = w.appendTime(f.buf, x.T); err != nil {
			return err
		}
		b := append(f.buf, ',')
		b = appendFixed(b, x.Lat, 9)
		b = append(b, ',')
		b = appendFixed(b, x.Lon, 9)
		b = append(b, ',')
		b = appendFixed(b, x.Alt, 3)
		b = append(b, ',')
		b = appendFixed(b, x.Speed, 3)
		b = append(b, ',')
		b = appendFixed(b, x.Heading, 3)
		b = append(b, ',')
		b = appendFixed(b, x.HDOP, 3)
		b = append(b, ',')
		if x.Sats >= 0 {
			b = strconv.AppendInt(b, int64(x.Sats), 10)
		}
		f.buf = append(b, '\n')
		if len(f.buf) >= flushAt {
			if err := f.flush(); err != nil {
				return err
			}
		}
	}
	return nil
}

// Readings appends to readings.csv. A value that is not known (NaN) has no
// line. Raw has no name in the layout and is an error.
func (w *Writer) Readings(readings []evenstand.Reading) error {
	f, err := w.open(&w.readings, ReadingsFile, readingsHeader, len(readings))
	if err != nil {
		return err
	}
	for _, r := range readings {
		if math.IsNaN(r.Value) {
			continue
		}
		k := readingKey{r.Quantity, r.Element}
		words, ok := w.words[k]
		if !ok {
			if r.Quantity == evenstand.Raw || int(r.Quantity) >= len(w.unit) {
				return fmt.Errorf("%s: a number without a name in the registry cannot be written", ReadingsFile)
			}
			words = readingWords{"," + r.Quantity.String() + "," + r.Element.String() + ",", "," + w.unit[r.Quantity].Name + "\n"}
			w.words[k] = words
		}
		if f.buf, err = w.appendTime(f.buf, r.T); err != nil {
			return err
		}
		f.buf = append(f.buf, words.before...)
		f.buf = w.appendValue(f.buf, w.unit[r.Quantity].FromSI(r.Value))
		f.buf = append(f.buf, words.after...)
		if len(f.buf) >= flushAt {
			if err := f.flush(); err != nil {
				return err
			}
		}
	}
	return nil
}

// Entries appends to journal.csv. The value stands in the entry's own unit.
func (w *Writer) Entries(entries []evenstand.Entry) error {
	f, err := w.open(&w.journal, JournalFile, journalHeader, len(entries))
	if err != nil {
		return err
	}
	for _, e := range entries {
		if f.buf, err = w.appendTime(f.buf, e.T); err != nil {
			return err
		}
		b := append(f.buf, ',')
		b = appendField(b, e.What)
		b = append(b, ',')
		b = appendField(b, e.Rows.String())
		b = append(b, ',')
		if !math.IsNaN(e.Value) {
			b = w.appendValue(b, e.Value)
		}
		b = append(b, ',')
		b = appendField(b, e.Unit)
		b = append(b, ',')
		b = appendField(b, e.Note)
		f.buf = append(b, '\n')
		if len(f.buf) >= flushAt {
			if err := f.flush(); err != nil {
				return err
			}
		}
	}
	return nil
}

// Source writes source.toml.
func (w *Writer) Source(s SourceFile) error {
	out, err := w.create(SourceToml)
	if err != nil {
		return err
	}
	_, err = out.Write(WriteSource(s))
	return errors.Join(err, out.Close())
}

// Flush hands everything written so far to the files.
func (w *Writer) Flush() error {
	var errs []error
	for _, f := range []*file{w.seeds, w.track, w.readings, w.journal} {
		if f != nil {
			errs = append(errs, f.flush())
		}
	}
	return errors.Join(errs...)
}

// Close flushes and closes every file that was made.
func (w *Writer) Close() error {
	err := w.Flush()
	for _, f := range []**file{&w.seeds, &w.track, &w.readings, &w.journal} {
		if *f != nil {
			err = errors.Join(err, (*f).w.Close())
			*f = nil
		}
	}
	return err
}

func (w *Writer) open(f **file, name, header string, n int) (*file, error) {
	if *f == nil && n > 0 {
		out, err := w.create(name)
		if err != nil {
			return nil, err
		}
		*f = &file{w: out, buf: make([]byte, 0, flushAt+4096)}
		(*f).buf = append((*f).buf, header...)
		(*f).buf = append((*f).buf, '\n')
	}
	return *f, nil
}

func (f *file) flush() error {
	if len(f.buf) == 0 {
		return nil
	}
	_, err := f.w.Write(f.buf)
	f.buf = f.buf[:0]
	return err
}

func (w *Writer) appendTime(b []byte, t evenstand.Micros) ([]byte, error) {
	decimals := 6
	if w.opt.Stamp == EpochMillis || w.opt.Stamp == RFC3339Millis {
		t, decimals = (t+500)/1000*1000, 3
	}
	if t < 0 || t > lastTime {
		return b, fmt.Errorf("a time that is unknown or outside 1970 to 2100 cannot be written")
	}
	sec, us := int64(t)/1e6, int64(t)%1e6
	if decimals == 3 {
		us /= 1000
	}
	if w.opt.Stamp == EpochMillis || w.opt.Stamp == EpochMicros {
		b = strconv.AppendInt(b, sec, 10)
		b = append(b, '.')
		return appendDigits(b, us, decimals), nil
	}
	if sec != w.second {
		at := time.Unix(sec, 0).UTC()
		if w.opt.Zone != nil {
			at = at.In(w.opt.Zone)
		}
		w.second = sec
		w.prefix = at.AppendFormat(w.prefix[:0], "2006-01-02T15:04:05")
		w.suffix = w.suffix[:0]
		if !w.opt.Bare {
			w.suffix = at.AppendFormat(w.suffix, "Z07:00")
		}
	}
	b = append(b, w.prefix...)
	b = append(b, '.')
	b = appendDigits(b, us, decimals)
	return append(b, w.suffix...), nil
}

func (w *Writer) appendValue(b []byte, v float64) []byte {
	if w.opt.Digits > 0 {
		return strconv.AppendFloat(b, v, 'g', w.opt.Digits, 64)
	}
	return strconv.AppendFloat(b, v, 'g', -1, 64)
}

// appendDigits writes v with leading zeros.
func appendDigits(b []byte, v int64, n int) []byte {
	at := len(b)
	for range n {
		b = append(b, '0')
	}
	for i := at + n - 1; i >= at && v > 0; i-- {
		b[i] = byte('0' + v%10)
		v /= 10
	}
	return b
}

// appendFixed writes v with n decimals, nothing when it is not known.
func appendFixed(b []byte, v float64, n int) []byte {
	scale := powers[n]
	if math.IsNaN(v) {
		return b
	}
	if math.Abs(v)*scale > 1e18 {
		return strconv.AppendFloat(b, v, 'f', n, 64)
	}
	x := int64(math.Round(v * scale))
	if x < 0 {
		b, x = append(b, '-'), -x
	}
	b = strconv.AppendInt(b, x/int64(scale), 10)
	b = append(b, '.')
	return appendDigits(b, x%int64(scale), n)
}

// appendField writes a text, quoted where a comma, a quote, a line end or a
// space at its end asks for it.
func appendField(b []byte, s string) []byte {
	if !strings.ContainsAny(s, ",\"\r\n") && strings.TrimSpace(s) == s {
		return append(b, s...)
	}
	b = append(b, '"')
	b = append(b, strings.ReplaceAll(s, `"`, `""`)...)
	return append(b, '"')
}

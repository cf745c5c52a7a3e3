package plain

import (
	"bytes"
	"fmt"
	"io"
	"io/fs"
	"math"
	"path"
	"strings"
	"time"

	"evenstand"
)

// SourceFile is what a source.toml says of the files beside it.
type SourceFile struct {
	Name        string  // of the box; the folder's name when empty
	Planter     string  // name of the planter card it belongs to
	Zone        string  // IANA zone of times that carry none
	OneClock    bool    // the files beside it share one clock
	ClockOffset float64 // s, logged minus true; NaN unknown
	ClockError  float64 // s, half-width of the 90 % interval; NaN unknown
	CountFrom   string  // what times in seconds count from: 1970 or gps; empty is 1970
	RowsFrom    string  // left or right; empty is left
	Rows        int     // rows of the planter, 0 unknown; needed when they count from the right
	Notes       []string
}

// NewSource is a source.toml that says nothing.
func NewSource() SourceFile {
	return SourceFile{ClockOffset: math.NaN(), ClockError: math.NaN()}
}

var utc = time.UTC

// lastTime is the latest time taken for one: the start of the year 2100.
const lastTime = 4_102_444_800 * evenstand.Second

// powers of ten that are exact in a float64.
var powers = [...]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22}

func trimBOM(b []byte) []byte { return bytes.TrimPrefix(b, []byte("\xef\xbb\xbf")) }

// ReadSource reads a source.toml. What is wrong in it is reported and left
// out; the rest is used. The name of the file only serves to say where.
func ReadSource(name string, data []byte) (SourceFile, []evenstand.Unused) {
	s := NewSource()
	d, t, err := parseDocument(name, data)
	if err != nil {
		return s, []evenstand.Unused{{File: name, Line: err.Line, Offset: -1, Count: 1, Of: "files", Why: err.Err.Error(), Do: err.Hint}}
	}
	s.Name = t.text("name")
	s.Planter = t.text("planter")
	s.OneClock = t.truth("one_clock")
	s.ClockOffset = t.number("clock_offset_s")
	s.ClockError = t.number("clock_error_s")
	if s.ClockError < 0 {
		t.fail("clock_error_s", "", "a clock error is half a width and cannot be under 0")
		s.ClockError = math.NaN()
	}
	s.Rows = t.whole("rows", 1, evenstand.MaxRows)
	s.Notes = t.texts("notes")
	if zone := t.text("zone"); zone != "" {
		if _, err := loadZone(zone); err != nil {
			t.fail("zone", "Write a time zone such as America/Chicago or UTC.", "the time zone %q is not known", zone)
		} else {
			s.Zone = zone
		}
	}
	switch from := strings.ToLower(t.text("count_from")); from {
	case "", "1970", "gps":
		s.CountFrom = from
	default:
		t.fail("count_from", `Write "1970", or "gps" for seconds since January 6, 1980 without leap seconds.`, "count_from = %q is not known", from)
	}
	switch from := strings.ToLower(t.text("rows_from")); from {
	case "", "left", "right":
		s.RowsFrom = from
	default:
		t.fail("rows_from", "Write left or right.", "rows_from = %q is not known", from)
	}
	for _, k := range t.unknown() {
		t.fail(k, "Check its spelling; a source.toml knows one_clock, name, planter, zone, clock_offset_s, clock_error_s, count_from, rows_from, rows and notes.", "the key %s is not known", k)
	}
	if d.err() == nil {
		return s, nil
	}
	var unused []evenstand.Unused
	for _, e := range d.errs {
		unused = append(unused, evenstand.Unused{File: name, Line: e.Line, Offset: -1, Count: 1, Of: "lines", Why: e.Err.Error(), Do: e.Hint})
	}
	return s, unused
}

func loadZone(name string) (*time.Location, error) {
	if name == "Local" || strings.TrimSpace(name) == "" {
		return nil, fmt.Errorf("not the name of a zone")
	}
	return time.LoadLocation(name)
}

// WriteSource writes a source.toml that ReadSource reads back the same.
func WriteSource(s SourceFile) []byte {
	var b []byte
	b = appendKeyText(b, "name", s.Name)
	b = appendKeyText(b, "planter", s.Planter)
	b = appendKeyText(b, "zone", s.Zone)
	if s.OneClock {
		b = append(b, "one_clock = true\n"...)
	}
	b = appendKeyNumber(b, "clock_offset_s", s.ClockOffset)
	b = appendKeyNumber(b, "clock_error_s", s.ClockError)
	b = appendKeyText(b, "count_from", s.CountFrom)
	b = appendKeyText(b, "rows_from", s.RowsFrom)
	b = appendKeyWhole(b, "rows", s.Rows)
	if len(s.Notes) > 0 {
		b = append(b, "notes = ["...)
		for i, n := range s.Notes {
			if i > 0 {
				b = append(b, ", "...)
			}
			b = appendText(b, n)
		}
		b = append(b, "]\n"...)
	}
	return b
}

// Beside reads the source.toml of a folder, for readers of other formats: what
// it says, its name (empty: there is none), and what of it cannot be used.
func Beside(in fs.FS, dir string) (said SourceFile, file string, unused []evenstand.Unused) {
	said = NewSource()
	entries, err := fs.ReadDir(in, dir)
	if err != nil {
		return said, "", nil
	}
	for _, e := range entries {
		if e.IsDir() || !strings.EqualFold(e.Name(), SourceToml) {
			continue
		}
		file = path.Join(dir, e.Name())
		f, err := in.Open(file)
		if err != nil {
			return said, "", nil
		}
		defer f.Close()
		data, err := io.ReadAll(io.LimitReader(f, maxToml+1))
		if err != nil {
			return said, file, []evenstand.Unused{{File: file, Offset: -1, Count: 1, Of: "files", Why: err.Error(), Do: "Check that the file may be read."}}
		}
		said, unused = ReadSource(file, data)
		return said, file, unused
	}
	return said, "", nil
}

package evenstand

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

// Micros is an instant: microseconds since 1970-01-01T00:00:00Z on the clock
// of whoever wrote it. NoTime marks an instant that is not known.
type Micros int64

// NoTime is the instant that is not known.
const NoTime Micros = -1 << 63

// Second is one second in Micros.
const Second Micros = 1_000_000

// FromTime turns a time.Time into Micros, rounding down to the microsecond.
func FromTime(t time.Time) Micros { return Micros(t.UnixMicro()) }

// Time gives the instant in UTC. NoTime gives the zero time.
func (m Micros) Time() time.Time {
	if m == NoTime {
		return time.Time{}
	}
	return time.UnixMicro(int64(m)).UTC()
}

// Seconds gives the instant, or a difference of two, in seconds.
func (m Micros) Seconds() float64 { return float64(m) / 1e6 }

// FromSeconds turns seconds into Micros, rounding to the nearest microsecond.
func FromSeconds(s float64) Micros {
	if s < 0 {
		return -Micros(-s*1e6 + 0.5)
	}
	return Micros(s*1e6 + 0.5)
}

// String gives RFC 3339 in UTC with only the decimals it needs.
func (m Micros) String() string {
	if m == NoTime {
		return "unknown"
	}
	return m.Time().Format("2006-01-02T15:04:05.999999Z")
}

// MarshalText writes RFC 3339 in UTC; an unknown instant is an empty text.
func (m Micros) MarshalText() ([]byte, error) {
	if m == NoTime {
		return nil, nil
	}
	return []byte(m.String()), nil
}

// UnmarshalText reads what MarshalText wrote.
func (m *Micros) UnmarshalText(b []byte) error {
	if len(b) == 0 {
		*m = NoTime
		return nil
	}
	t, err := time.Parse(time.RFC3339Nano, string(b))
	if err != nil {
		return err
	}
	*m = FromTime(t)
	return nil
}

// MarshalJSON writes the same as a JSON text, and null for an unknown instant.
func (m Micros) MarshalJSON() ([]byte, error) {
	if m == NoTime {
		return []byte("null"), nil
	}
	return []byte(`"` + m.String() + `"`), nil
}

// UnmarshalJSON reads what MarshalJSON wrote.
func (m *Micros) UnmarshalJSON(b []byte) error {
	if string(b) == "null" {
		*m = NoTime
		return nil
	}
	text, err := strconv.Unquote(string(b))
	if err != nil {
		return fmt.Errorf("time %s: want a text such as \"2026-05-02T19:12:08Z\", or null", b)
	}
	return m.UnmarshalText([]byte(text))
}

// Day is one local calendar day, written 2026-05-02. The zone that makes it
// local is the logbook's and is carried beside it.
type Day string

// DayOf gives the local day of an instant in a zone.
func DayOf(m Micros, zone *time.Location) Day {
	return Day(m.Time().In(zone).Format("2006-01-02"))
}

// Add gives the day so many days later; the day itself where it is none.
func (d Day) Add(days int) Day {
	t, err := time.Parse(time.DateOnly, string(d))
	if err != nil {
		return d
	}
	return Day(t.AddDate(0, 0, days).Format(time.DateOnly))
}

// Year gives the year of a day: "2026".
func (d Day) Year() string {
	y, _, _ := strings.Cut(string(d), "-")
	return y
}

// Start gives the instant at which the day begins in a zone.
func (d Day) Start(zone *time.Location) (Micros, error) {
	t, err := time.ParseInLocation("2006-01-02", string(d), zone)
	if err != nil {
		return NoTime, fmt.Errorf("day %q: want a date such as 2026-05-02", string(d))
	}
	return FromTime(t), nil
}

// ErrNoZone says that a time has neither a zone nor an offset, so nobody can
// tell which instant it means.
var ErrNoZone = fmt.Errorf("a time without zone")

// ParseTime reads a time as the plain layout writes it: RFC 3339 with zone,
// or seconds since 1970 with decimals. A date and time without zone is read in
// zone when zone is not nil, and is ErrNoZone otherwise.
func ParseTime(s string, zone *time.Location) (Micros, error) {
	s = strings.TrimSpace(s)
	if s == "" {
		return NoTime, fmt.Errorf("no time")
	}
	if len(s) < 5 || s[4] != '-' {
		v, err := parseEpoch(s)
		if err != nil {
			return NoTime, fmt.Errorf("time %q: want RFC 3339 with zone, or seconds since 1970", s)
		}
		return v, nil
	}
	if t, err := time.Parse(time.RFC3339Nano, s); err == nil {
		return checkYear(FromTime(t), s)
	}
	for _, layout := range []string{"2006-01-02T15:04:05.999999999", "2006-01-02 15:04:05.999999999"} {
		loc := zone
		if loc == nil {
			loc = time.UTC
		}
		if t, err := time.ParseInLocation(layout, s, loc); err == nil {
			if zone == nil {
				return NoTime, fmt.Errorf("time %q: %w", s, ErrNoZone)
			}
			return checkYear(FromTime(t), s)
		}
	}
	return NoTime, fmt.Errorf("time %q: want RFC 3339 with zone, or seconds since 1970", s)
}

// parseEpoch reads seconds since 1970 with up to six decimals, exactly.
func parseEpoch(s string) (Micros, error) {
	whole, frac, _ := strings.Cut(s, ".")
	sec, err := strconv.ParseInt(whole, 10, 64)
	if err != nil {
		return NoTime, err
	}
	if sec < 0 || sec > 4_102_444_800 { // year 2100
		return NoTime, fmt.Errorf("out of range")
	}
	us, scale := int64(0), int64(100_000)
	for i := 0; i < len(frac); i++ {
		c := frac[i]
		if c < '0' || c > '9' {
			return NoTime, fmt.Errorf("not a number")
		}
		us += int64(c-'0') * scale
		scale /= 10
	}
	return Micros(sec*1_000_000 + us), nil
}

func checkYear(m Micros, s string) (Micros, error) {
	if m < 0 || m > 4_102_444_800*Second {
		return NoTime, fmt.Errorf("time %q: outside 1970 to 2100", s)
	}
	return m, nil
}

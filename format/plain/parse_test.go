package plain

import (
	"math"
	"strconv"
	"testing"

	"evenstand"

	"pgregory.net/rapid"
)

// The fast ways of reading times and numbers are held against the slow ones
// of the root package and of the standard library.
func FuzzTime(f *testing.F) {
	for _, s := range []string{"1777749128.120001", "0", "4102444800", "4102444800.000001", "2026-05-02T19:12:08.120Z", "2026-05-02T19:12:08+05:30", "2024-02-29T00:00:00Z", "2023-02-29T00:00:00Z", "2026-05-02T19:12:08", "00000000", " +0", "\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00T00:00:00Z"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		var c clock
		b := trim([]byte(s))
		got, err := c.parse(b)
		want, wantErr := evenstand.ParseTime(s, nil)
		if len(b) > 0 && (b[0] == '-' || b[0] == '+') || want < 0 || want > lastTime {
			return // the root takes -0.5
		}
		if (err == nil) != (wantErr == nil) || err == nil && got != want {
			t.Errorf("%q: %v %v, the slow way %v %v", s, got, err, want, wantErr)
		}
	})
}

func FuzzNumber(f *testing.F) {
	for _, s := range []string{"-93.500000001", "0.1", "123456789012345", "1234567890123456", ".5", "5.", ".", "-", "1e3", "+4", "0x1p3", "1_0", "nan", "0.0000000000000000000001"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		got, ok := ParseNumber([]byte(s))
		want, err := strconv.ParseFloat(s, 64)
		if ok && (err != nil || math.Float64bits(got) != math.Float64bits(want)) {
			t.Errorf("%q: %v, strconv %v %v", s, got, want, err)
		}
	})
}

func TestNumberIsNearest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.StringMatching(`-?[0-9]{1,9}(\.[0-9]{0,9})?`).Draw(t, "number")
		got, ok := ParseNumber([]byte(s))
		want, err := strconv.ParseFloat(s, 64)
		if err != nil || !ok || math.Float64bits(got) != math.Float64bits(want) {
			t.Errorf("%s: %v %v, strconv %v", s, got, ok, want)
		}
	})
}

// Every day of 130 years, the leap days among them, against the slow way.
func TestEveryDay(t *testing.T) {
	var c clock
	for day := evenstand.Micros(0); day < lastTime; day += 86400 * evenstand.Second {
		at := day + 45296*evenstand.Second + 789_000 // 12:34:56.789
		got, ok := c.parseRFC3339([]byte(at.String()))
		if !ok || got != at {
			t.Fatalf("%s: %v %v", at, got, ok)
		}
	}
}

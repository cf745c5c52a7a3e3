package recipe

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"evenstand"
	"evenstand/format/table"
)

// The instants are those of the time package for the same wall clock; the
// serial day 45779 is May 2, 2025 (45658 is January 1, 2025, as spreadsheets
// count); 1461874346 s of GPS are 1980-01-06 and so many seconds less 18 leap seconds.
func TestTimes(t *testing.T) {
	const chicago = "America/Chicago"
	at := func(text string) evenstand.Micros {
		x, err := time.Parse(time.RFC3339Nano, text)
		if err != nil {
			t.Fatal(err)
		}
		return evenstand.FromTime(x)
	}
	words := func(s string) *table.Cell { return &table.Cell{Type: table.Words, Text: []byte(s)} }
	num := func(v float64) *table.Cell { return &table.Cell{Type: table.Number, Num: v} }
	local := func(s string) *table.Cell { return &table.Cell{Type: table.Local, T: at(s)} }
	for _, tt := range []struct {
		name        string
		written     Written
		decimal     byte
		zone        string
		date, clock *table.Cell
		want        string // empty: it cannot be read
		why         fault
	}{
		{"year first", YearFirst, '.', chicago, words("2026-05-02 14:12:08.25"), nil, "2026-05-02T19:12:08.25Z", fine},
		{"winter", YearFirst, '.', chicago, words("2026-01-02T14:12:08"), nil, "2026-01-02T20:12:08Z", fine},
		{"with its zone", YearFirst, '.', "", words("2026-05-02T14:12:08+02:00"), nil, "2026-05-02T12:12:08Z", fine},
		{"a short zone", YearFirst, '.', "", words("2026-05-02 14:12:08 -0500"), nil, "2026-05-02T19:12:08Z", fine},
		{"no zone", YearFirst, '.', "", words("2026-05-02 14:12:08"), nil, "", noZone},
		{"digits alone", YearFirst, '.', "UTC", words("20260502 141208"), nil, "2026-05-02T14:12:08Z", fine},
		{"day first, comma", DayFirst, ',', "UTC", words("02.05.2026 14:12:08,120"), nil, "2026-05-02T14:12:08.12Z", fine},
		{"day first, short year", DayFirst, '.', "UTC", words("2/5/26 4:12"), nil, "2026-05-02T04:12:00Z", fine},
		{"month first, pm", MonthFirst, '.', "UTC", words("5/2/2026 2:12:08 PM"), nil, "2026-05-02T14:12:08Z", fine},
		{"midnight and noon", MonthFirst, '.', "UTC", words("5/2/2026 12:00:00 a.m."), nil, "2026-05-02T00:00:00Z", fine},
		{"noon", MonthFirst, '.', "UTC", words("5/2/2026 12:00:00 pm"), nil, "2026-05-02T12:00:00Z", fine},
		{"a month's name", DayFirst, '.', "UTC", words("02-May-2026 14:12:08"), nil, "2026-05-02T14:12:08Z", fine},
		{"another language", DayFirst, '.', "UTC", words("2 août 2026 14:12:08"), nil, "2026-08-02T14:12:08Z", fine},
		{"no such day", DayFirst, '.', "UTC", words("31.04.2026 14:12:08"), nil, "", badTime},
		{"no such hour", DayFirst, '.', "UTC", words("30.04.2026 24:12:08"), nil, "", badTime},
		{"two columns", DayFirst, ',', "UTC", words("02.05.2026"), words("14:12:08,5"), "2026-05-02T14:12:08.5Z", fine},
		{"two columns, one wrong", DayFirst, ',', "UTC", words("02.05.2026"), words("noon"), "", badTime},
		{"seconds", Seconds, '.', "", words("1777749128.120001"), nil, "2026-05-02T19:12:08.120001Z", fine},
		{"seconds, comma", Seconds, ',', "", words("1777749128,12"), nil, "2026-05-02T19:12:08.12Z", fine},
		{"milliseconds", Millis, '.', "", num(1777749128120), nil, "2026-05-02T19:12:08.12Z", fine},
		{"of GPS", GPSSeconds, '.', "", words("1461874346"), nil, "2026-05-03T20:12:08Z", fine},
		{"serial day", SerialDays, '.', "UTC", num(45779.5), nil, "2025-05-02T12:00:00Z", fine},
		{"serial day and time as text", SerialDays, '.', "UTC", words("45779"), words("14:12:08"), "2025-05-02T14:12:08Z", fine},
		{"serial day and part of a day", SerialDays, '.', "UTC", num(45779), num(0.25), "2025-05-02T06:00:00Z", fine},
		{"date of a workbook, part of a day", ByContainer, '.', chicago, local("2026-05-02T00:00:00Z"), &table.Cell{Type: table.Local, T: 14 * 3600 * evenstand.Second}, "2026-05-02T19:00:00Z", fine},
		{"nothing", YearFirst, '.', "UTC", &table.Cell{}, nil, "", noTime},
	} {
		w, err := newWhen(Time{Written: tt.written, Zone: tt.zone}, tt.decimal)
		if err != nil {
			t.Fatal(err)
		}
		for range 2 { // the second reads the date from memory
			got, why := w.read(tt.date, tt.clock)
			if why != tt.why || tt.want != "" && got != at(tt.want) {
				t.Errorf("%s: %v (%d), want %s (%d)", tt.name, got, why, tt.want, tt.why)
			}
		}
	}
}

// What parts the date from the time of day is the same in the first row of a
// day and in those after it, whose date is not read again.
func TestPartsOfTimes(t *testing.T) {
	const noon = 1777723200 * evenstand.Second // May 2, 2026, 12:00 UTC
	for _, sep := range []string{" ", "  ", "   ", "T", ", ", ",", "_", ";", "; ", " _ "} {
		for _, date := range []string{"02.05.2026", "2 May 2026", "02052026"} {
			w, err := newWhen(Time{Written: DayFirst, Zone: "UTC"}, '.')
			if err != nil {
				t.Fatal(err)
			}
			for row := range 3 {
				text := fmt.Sprintf("%s%s12:00:%02d", date, sep, row)
				got, why := w.read(&table.Cell{Type: table.Words, Text: []byte(text)}, nil)
				if want := noon + evenstand.Micros(row)*evenstand.Second; got != want || why != fine {
					t.Errorf("row %d, %q: %v (%d)", row+1, text, got, why)
				}
			}
			if got, why := w.read(&table.Cell{Type: table.Words, Text: []byte(date + strings.TrimRight(sep, " "))}, nil); got != noon-12*3600*evenstand.Second || why != fine {
				t.Errorf("a date alone behind others, %q: %v (%d)", date+sep, got, why)
			}
		}
	}
}

// A log whose date and time are parted by two blanks is guessed and read.
func TestGuessTwoBlanks(t *testing.T) {
	var b strings.Builder
	b.WriteString("Time;Speed (mph)\n")
	for i := range 30 {
		fmt.Fprintf(&b, "2026-05-02  14:00:%02d;5.%d\n", i, i%9)
	}
	p := propose(t, b.String(), nil)
	if p.Err != nil || p.Recipe.Time.Written != YearFirst {
		t.Errorf("%v, %+v", p.Err, p.Recipe.Time)
	}
}

// Signs between thousands stand in groups of three; what does not is no number.
func TestNumbers(t *testing.T) {
	for _, tt := range []struct {
		text    string
		decimal byte
		want    float64
		ok      bool
	}{
		{"1,234.5", '.', 1234.5, true},
		{"12,345,678", '.', 12345678, true},
		{"1.234,5", ',', 1234.5, true},
		{"-0,5", ',', -0.5, true},
		{"1,23.5", '.', 0, false},
		{"1,5", '.', 0, false},
		{"1.5", ',', 0, false},
		{"12.34,5", ',', 0, false},
		{"", '.', 0, false},
		{"1e3", '.', 1000, true},
	} {
		if got, ok := number([]byte(tt.text), tt.decimal); ok != tt.ok || ok && got != tt.want {
			t.Errorf("%q with %c: %v %v, want %v %v", tt.text, tt.decimal, got, ok, tt.want, tt.ok)
		}
	}
}

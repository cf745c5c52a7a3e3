package recipe

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"testing/fstest"

	"evenstand"
	"evenstand/format/formattest"
	"evenstand/format/table"

	"github.com/google/go-cmp/cmp"
)

// monitor is a recipe as a person would write it.
const monitor = `recipe = 1
box = "row monitor"

[file]
kind = "text"
separator = ";"
decimal = ","
columns = ["Datum", "Uhrzeit", "km/h", "R1 Fehl", "R1 Doppel", "R2 Fehl", "R2 Doppel", "oben"]

[time]
column = "Datum"
clock = "Uhrzeit"
written = "day month year"
zone = "America/Chicago"

[rows]
from = "left"

[[value]]
column = "km/h"
quantity = "ground_speed"
element = "machine"
unit = "km/h"

[[value]]
column = "R{n} Fehl"
quantity = "skip_fraction"
element = "row {n}"
unit = "%"

[[value]]
column = "R{n} Doppel"
quantity = "double_fraction"
element = "row {n}"
unit = "%"

[[value]]
column = "oben"
quantity = "implement_lifted"
element = "machine"
unit = ""
yes = ["ja"]
no = ["nein"]
`

func parse(t testing.TB, text string) Recipe {
	t.Helper()
	r, err := Parse("monitor.toml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	return r
}

const monitorFile = `Datum;Uhrzeit;km/h;R1 Fehl;R1 Doppel;R2 Fehl;R2 Doppel;oben
02.05.2026;14:12:08,250;8,2;0,5;1;0;0,4;nein
02.05.2026;14:12:09,250;8,3;;-;1,0;0,4;ja
`

func TestRead(t *testing.T) {
	f := Format{Recipes: []Recipe{parse(t, monitor)}}
	in := fstest.MapFS{"box/day1.csv": {Data: []byte(monitorFile)}, "box/other.csv": {Data: []byte("time,torque\n1,2\n2,3\n")}}
	got, err := formattest.ReadAll(context.Background(), f, in)
	if err != nil {
		t.Fatal(err)
	}
	if len(got.Streams) != 1 || len(got.Unused) != 1 || !strings.Contains(got.Unused[0].Do, "evenstand recipe") {
		t.Fatalf("%d sources, not used %v", len(got.Streams), got.Unused)
	}
	s := got.Streams[0]
	if s.Err != nil || s.Source.Name != "row monitor" || s.Source.Grade != evenstand.GradeB {
		t.Errorf("%+v %v", s.Source, s.Err)
	}
	// 14:12:08.25 in Chicago in summer is 19:12:08.25 UTC.
	at := evenstand.Micros(1777749128_250_000)
	row := evenstand.RowElement
	want := []evenstand.Reading{
		{T: at, Value: 8.2 / 3.6, Quantity: evenstand.GroundSpeed},
		{T: at, Value: 0.005, Quantity: evenstand.SkipFraction, Element: row(1)},
		{T: at, Value: 0, Quantity: evenstand.SkipFraction, Element: row(2)},
		{T: at, Value: 0.01, Quantity: evenstand.DoubleFraction, Element: row(1)},
		{T: at, Value: 0.004, Quantity: evenstand.DoubleFraction, Element: row(2)},
		{T: at, Value: 0, Quantity: evenstand.ImplementLifted},
		{T: at + evenstand.Second, Value: 8.3 / 3.6, Quantity: evenstand.GroundSpeed},
		{T: at + evenstand.Second, Value: 0.01, Quantity: evenstand.SkipFraction, Element: row(2)},
		{T: at + evenstand.Second, Value: 0.004, Quantity: evenstand.DoubleFraction, Element: row(2)},
		{T: at + evenstand.Second, Value: 1, Quantity: evenstand.ImplementLifted},
	}
	near := cmp.Comparer(func(a, b float64) bool { return math.Abs(a-b) < 1e-12 })
	if d := cmp.Diff(want, s.Data.Reading, near); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
}

// Whatever is proposed can be written, read back and used.
func TestProposalsRead(t *testing.T) {
	for _, tt := range headers {
		p := propose(t, tt.file, nil)
		if p.Err != nil {
			continue
		}
		answers := map[string]string{}
		for range 3 { // one answer may open another question
			for _, q := range p.Questions {
				a := q.Proposed
				if a == "" {
					a = q.Options[0].Key
				}
				answers[q.ID] = a
			}
			p = propose(t, tt.file, answers)
		}
		if p.Err != nil || len(p.Questions) > 0 {
			t.Errorf("%s: with all answers given, %v is open, %v", tt.name, p.Questions, p.Err)
			continue
		}
		text := p.Recipe.Marshal()
		back, err := Parse("r.toml", text)
		if err != nil {
			t.Errorf("%s: %v\n%s", tt.name, err, text)
			continue
		}
		if d := cmp.Diff(text, back.Marshal()); d != "" {
			t.Errorf("%s: %s", tt.name, d)
		}
		in := fstest.MapFS{"log.csv": {Data: []byte(tt.file)}}
		got, err := formattest.ReadAll(context.Background(), Format{Recipes: []Recipe{back}}, in)
		if err != nil || len(got.Streams) != 1 {
			t.Errorf("%s: %d sources, %v, %v", tt.name, len(got.Streams), err, got.Unused)
			continue
		}
		if n := got.Streams[0].Data.Counts().Total(); n == 0 || got.Streams[0].Err != nil {
			t.Errorf("%s: %d values, %v, %v\n%s", tt.name, n, got.Streams[0].Err, got.Streams[0].Data.Left, text)
		}
	}
}

func TestRightAndNought(t *testing.T) {
	p := propose(t, headers[13].file, map[string]string{"rows": "right"})
	if p.Recipe.Rows != (Rows{"right", 3, 0}) {
		t.Fatalf("%+v", p.Recipe.Rows)
	}
	in := fstest.MapFS{"log.csv": {Data: []byte(headers[13].file)}}
	got, err := formattest.ReadAll(context.Background(), Format{Recipes: []Recipe{p.Recipe}}, in)
	if err != nil {
		t.Fatal(err)
	}
	// R0 is the rightmost of three, so row 3; 1000 to 1017 are 17 seeds.
	r := got.Streams[0].Data.Reading[0]
	if r.Element != evenstand.RowElement(3) || r.Value != 17 || r.Quantity != evenstand.SeedCount {
		t.Errorf("%+v", r)
	}
}

// speeds is a recipe of a time and one value.
func speeds(t testing.TB, written, quantity, unit, more string) Recipe {
	t.Helper()
	return parse(t, fmt.Sprintf(`recipe = 1
box = "b"
[file]
kind = "text"
columns = ["time", "speed"]
[time]
column = "time"
written = %q
zone = "America/Chicago"
[[value]]
column = "speed"
quantity = %q
element = "machine"
unit = %q
%s
`, written, quantity, unit, more))
}

// one reads the one source of an input.
func one(t testing.TB, in fs.FS, r Recipe) formattest.Stream {
	t.Helper()
	got, err := formattest.ReadAll(context.Background(), Format{Recipes: []Recipe{r}}, in)
	if err != nil || len(got.Streams) != 1 {
		t.Fatalf("%d sources, %v, %v", len(got.Streams), err, got.Unused)
	}
	return got.Streams[0]
}

// Running totals give what came since the row before, however seldom the box
// logs; what is dropped is counted. Counts by hand.
func TestRunningTotals(t *testing.T) {
	type at struct{ t, total int }
	every := func(step, n int) (out []at) {
		for i := range n {
			out = append(out, at{i * step, i * step * 20})
		}
		return out
	}
	for _, tt := range []struct {
		name     string
		log      []at
		readings int
		sum      float64
		left     int64
	}{
		{"each second", every(1, 30), 29, 29 * 20, 0},
		{"each 10 s", every(10, 30), 29, 290 * 20, 0},
		{"each 15 s", every(15, 30), 29, 29 * 15 * 20, 0},
		{"each minute", every(60, 30), 29, 29 * 60 * 20, 0},
		{"two rows", every(60, 2), 1, 60 * 20, 0},
		{"two rows in a day", every(36000, 2), 0, 0, 1},
		{"a pause at the start", []at{{0, 0}, {300, 500}, {301, 520}, {302, 540}}, 2, 40, 1},
		{"a pause in the middle", append(every(1, 10), at{100, 1000}, at{101, 1020}), 10, 200, 1},
		{"a pause without seeds", append(every(1, 10), at{100, 180}, at{101, 200}), 11, 200, 0},
		{"a pause between minutes", append(every(60, 10), at{3600, 99_000}, at{3660, 99_100}), 10, 9*1200 + 100, 1},
		{"a row of minutes is missing", append(every(60, 10), at{660, 13_200}), 10, 13_200, 0},
		{"slower from here on", append(every(1, 10), at{69, 1380}, at{129, 2580}, at{189, 3780}, at{249, 4980}), 10, 180 + 1200, 3},
		{"set back", append(every(1, 5), at{5, 3}, at{6, 23}), 5, 100, 1},
		{"the clock goes back", append(every(1, 5), at{2, 100}, at{3, 120}), 5, 100, 1},
	} {
		t.Run(tt.name, func(t *testing.T) {
			var b strings.Builder
			b.WriteString("time;speed\n")
			for _, x := range tt.log {
				fmt.Fprintf(&b, "%d;%d\n", 1777749128+x.t, x.total)
			}
			s := one(t, fstest.MapFS{"a.csv": {Data: []byte(b.String())}}, speeds(t, "seconds", "seed_count", "", "running_total = true"))
			sum, left := 0.0, int64(0)
			for _, r := range s.Data.Reading {
				sum += r.Value
			}
			for _, u := range s.Data.Left {
				left += u.Count
			}
			if len(s.Data.Reading) != tt.readings || sum != tt.sum || left != tt.left || s.Err != nil {
				t.Errorf("%d readings, %v seeds, not used %v, %v", len(s.Data.Reading), sum, s.Data.Left, s.Err)
			}
		})
	}
}

// Digits behind a third colon are milliseconds where the column has three of
// them, filled up or not, and else a part of a second, which is said where
// nothing tells.
func TestThirdColon(t *testing.T) {
	ms := func(from, step, n int) (out []string) {
		for i := range n {
			out = append(out, fmt.Sprint(from+i*step))
		}
		return out
	}
	for _, tt := range []struct {
		name   string
		behind []string
		want   []float64 // ms of the first
		notes  int
	}{
		{"milliseconds", []string{"45", "145", "7", "999"}, []float64{45, 145, 7, 999}, 0},
		{"filled up", []string{"045", "145", "007"}, []float64{45, 145, 7}, 0},
		{"three digits only further on", append(ms(1, 1, 300), "450"), []float64{1, 2, 3, 4}, 0},
		{"three digits beyond the first rows", append(ms(10, 0, 700), "450"), []float64{100}, 1},
		{"hundredths", []string{"45", "05", "99"}, []float64{450, 50, 990}, 0},
		{"nothing tells", []string{"45", "47", "49"}, []float64{450, 470, 490}, 1},
		{"tenths, or what", []string{"4", "5"}, []float64{400, 500}, 1},
		{"microseconds", []string{"045000", "145000"}, []float64{45, 145}, 0},
	} {
		for _, clock := range []bool{false, true} {
			var b strings.Builder
			r := speeds(t, "year month day", "ground_speed", "km/h", "")
			head, sep := "time;speed", " "
			if clock {
				head, sep = "time;clock;speed", ";"
				r.Time.Clock = "clock"
				r.File.Columns = []string{"time", "clock", "speed"}
			}
			b.WriteString(head + "\n")
			for i, x := range tt.behind {
				fmt.Fprintf(&b, "2026-05-02%s14:%02d:%02d:%s;8\n", sep, 12+i/60, i%60, x)
			}
			s := one(t, fstest.MapFS{"a.csv": {Data: []byte(b.String())}}, r)
			if len(s.Data.Reading) != len(tt.behind) || len(s.Source.Notes) != tt.notes {
				t.Errorf("%s: %d readings, %q", tt.name, len(s.Data.Reading), s.Source.Notes)
				continue
			}
			for i, want := range tt.want {
				const minute = 1777749120 * evenstand.Second // 14:12 in Chicago
				if got := float64(s.Data.Reading[i].T-minute-evenstand.Micros(i)*evenstand.Second) / 1000; got != want {
					t.Errorf("%s, %s: %v ms", tt.name, tt.behind[i], got)
				}
			}
		}
	}
}

// A clock of twelve hours without am or pm is said.
func TestTwelveHours(t *testing.T) {
	for _, tt := range []struct {
		name  string
		clock func(h int) string
		from  int
		say   bool
	}{
		{"12, 1, 2", func(h int) string { return fmt.Sprintf("%d:00:00", (h+11)%12+1) }, 7, true},
		{"with am and pm", func(h int) string {
			return fmt.Sprintf("%d:00:00 %s", (h+11)%12+1, map[bool]string{true: "PM", false: "AM"}[h >= 12])
		}, 7, false},
		{"24", func(h int) string { return fmt.Sprintf("%d:00:00", h) }, 7, false},
		{"a morning", func(h int) string { return fmt.Sprintf("%d:00:00", h) }, 3, false},
	} {
		var b strings.Builder
		b.WriteString("time;speed\n")
		for h := tt.from; h < tt.from+9; h++ {
			fmt.Fprintf(&b, "2026-05-02 %s;8\n", tt.clock(h))
		}
		s := one(t, fstest.MapFS{"a.csv": {Data: []byte(b.String())}}, speeds(t, "year month day", "ground_speed", "km/h", ""))
		said := strings.Contains(strings.Join(s.Source.Notes, " "), "am or pm")
		if said != tt.say || len(s.Data.Reading) != 9 {
			t.Errorf("%s: %d readings, %q", tt.name, len(s.Data.Reading), s.Source.Notes)
		}
	}
}

// Words of a long table that the recipe lacks are said once.
func TestStrangeWords(t *testing.T) {
	r := parse(t, `recipe = 1
box = "b"
[file]
kind = "text"
columns = ["time", "name", "value"]
[time]
column = "time"
written = "seconds"
[long]
name = "name"
value = "value"
[[value]]
word = "speed"
quantity = "ground_speed"
element = "machine"
unit = "km/h"
`)
	var b strings.Builder
	b.WriteString("time,name,value\n")
	for i := range 50 {
		fmt.Fprintf(&b, "%d,speed,8.1\n%d,vacuum left,4.5\n%d,bar %d,1\n", 1777749128+i, 1777749128+i, 1777749128+i, i%9)
	}
	b.WriteString("1777749178,,4\n")
	s := one(t, fstest.MapFS{"a.csv": {Data: []byte(b.String())}}, r)
	want := []string{`Its table has values that its recipe does not speak of, 100 in all: "vacuum left", "bar 0", "bar 1", "bar 2" and 6 more. Say evenstand recipe for it again if they are wanted.`}
	if d := cmp.Diff(want, s.Source.Notes); d != "" || len(s.Data.Reading) != 50 {
		t.Errorf("%d readings: %s", len(s.Data.Reading), d)
	}
	if u := s.Data.Left; len(u) != 1 || u[0].Count != 1 || u[0].Line != 152 {
		t.Errorf("not used: %v", u)
	}
}

// A damaged file takes nothing from the others of its folder.
func TestDamagedNeighbour(t *testing.T) {
	in, r := tableOf(t, table.Parquet, 20_000)
	good := in["box/log.parquet"].Data
	bad := bytes.Clone(good)
	for i := range 2000 {
		bad[len(bad)/3+i] ^= 0x5a
	}
	s := one(t, fstest.MapFS{"d/1.parquet": {Data: bad}, "d/2.parquet": {Data: good}, "d/3.parquet": {Data: bad}, "d/4.parquet": {Data: good}}, r)
	if n := len(s.Data.Reading); n < 2*80_000 {
		t.Errorf("%d readings, want those of two files", n)
	}
	if s.Err == nil || !strings.Contains(s.Err.Error(), "d/1.parquet") || !strings.Contains(s.Err.Error(), "d/3.parquet") {
		t.Errorf("the damaged files are not named: %v", s.Err)
	}
	var e *table.Error
	if !errors.As(s.Err, &e) {
		t.Errorf("no place: %v", s.Err)
	}
}

// Rows may be numbered as #1 (and are no remarks).
func TestRowsWithSign(t *testing.T) {
	r := parse(t, `recipe = 1
box = "b"
[file]
kind = "text"
columns = ["row", "time", "skips"]
[time]
column = "time"
written = "seconds"
[long]
row = "row"
[[value]]
column = "skips"
quantity = "skip_fraction"
element = "row {n}"
unit = "%"
`)
	s := one(t, fstest.MapFS{"a.csv": {Data: []byte("row;time;skips\n#1;1777749128;8\n#2;1777749128;7\n#1;1777749129;6\n#2;1777749129;5\n")}}, r)
	if n := len(s.Data.Reading); n != 4 || s.Data.Reading[1].Element != evenstand.RowElement(2) || len(s.Data.Left) > 0 {
		t.Errorf("%+v, not used %v", s.Data.Reading, s.Data.Left)
	}
}

func TestParseErrors(t *testing.T) {
	for _, tt := range []struct{ from, to, want string }{
		{`unit = "km/h"`, `unit = "psi"`, "monitor.toml, line 19: value 1, \"km/h\": the unit \"psi\" does not fit ground_speed"},
		{`unit = "km/h"`, `unit = "kmh"`, "line 19"},
		{`quantity = "skip_fraction"`, `quantity = "skips"`, "line 25"},
		{`zone = "America/Chicago"`, `zone = "Nowhere"`, "line 14: the time zone \"Nowhere\" is not known"},
		{`written = "day month year"`, `written = "dmy"`, "line 13: times written as \"dmy\" are not known"},
		{`recipe = 1`, `recipe = 9`, "newer"},
		{`box = "row monitor"`, ``, "which box"},
		{`from = "left"`, `from = "right"`, "how many there are"},
		{`column = "R{n} Fehl"`, `column = "R Fehl"`, "nothing tells its row"},
		{`kind = "text"`, `kind = "spread"`, "kind"},
		{`decimal = ","`, `decimals = ","`, "decimals"},
	} {
		_, err := Parse("monitor.toml", []byte(strings.Replace(monitor, tt.from, tt.to, 1)))
		if err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s for %s: %v, want %q", tt.to, tt.from, err, tt.want)
		}
	}
}

func TestFits(t *testing.T) {
	r := parse(t, monitor)
	cols := func(names ...string) []table.Column {
		var out []table.Column
		for _, n := range names {
			out = append(out, table.Column{Name: n})
		}
		return out
	}
	for _, tt := range []struct {
		fits bool
		cs   []table.Column
	}{
		{true, cols("Datum", "Uhrzeit", "km/h", "R1 Fehl", "R1 Doppel", "oben")},                           // fewer rows
		{true, cols("oben", "Datum", "Uhrzeit", "km/h", "R1 Fehl", "R1 Doppel", "R12 Fehl", "R12 Doppel")}, // more, in another order
		{false, cols("Datum", "Uhrzeit", "km/h")},
		{false, cols("Datum", "Uhrzeit", "mph", "R1 Fehl", "R1 Doppel", "oben")},
		{false, cols("Datum", "Uhrzeit", "km/h", "R1 Fehl", "R1 Doppel", "oben", "a", "b", "c", "d", "e", "f", "g")}, // another box
	} {
		if got := r.Fits(table.Text, tt.cs) > 0; got != tt.fits {
			t.Errorf("%v: fits %v", tt.cs, got)
		}
	}
}

func set() formattest.Set {
	var long bytes.Buffer
	long.WriteString(strings.SplitAfter(monitorFile, "\n")[0])
	for i := range 60_000 {
		fmt.Fprintf(&long, "02.05.2026;%02d:%02d:%02d,250;8,2;0,5;1;0;0,4;nein\n", i/3600%24, i/60%60, i%60)
	}
	return formattest.Set{
		Name: "table", FS: fstest.MapFS{"box/day1.csv": {Data: []byte(monitorFile), Mode: 0o644}},
		Want:       map[string]formattest.Counts{"row monitor": {Readings: 10}},
		LastRecord: 10, // a line holds all columns
		Whole: func(_ string, data []byte, n int) bool {
			return n > 0 && data[n-1] == '\n' && bytes.Count(data[:n], []byte("\n")) > 1
		},
		Shuffle: func(_ string, data []byte, r *rand.Rand) []byte {
			lines := bytes.SplitAfter(data, []byte("\n"))
			lines[1], lines[2] = lines[2], lines[1]
			return bytes.Join(lines, nil)
		},
		Long: fstest.MapFS{"box/day1.csv": {Data: long.Bytes(), Mode: 0o644}},
	}
}

func TestSuite(t *testing.T) {
	two := set()
	two.Name = "two days"
	two.FS = fstest.MapFS{
		"box/day1.csv": {Data: []byte(monitorFile), Mode: 0o644},
		"box/day2.csv": {Data: []byte(strings.ReplaceAll(monitorFile, "02.05.", "03.05.")), Mode: 0o644},
	}
	two.Want = map[string]formattest.Counts{"row monitor": {Readings: 20}}
	formattest.Suite(t, Format{Recipes: []Recipe{parse(t, monitor)}}, []formattest.Set{set(), two})
}

func FuzzRead(f *testing.F) {
	f.Add([]byte(monitorFile), []byte(monitor))
	for _, tt := range headers {
		f.Add([]byte(tt.file), []byte(monitor))
	}
	f.Fuzz(func(t *testing.T, file, text []byte) {
		if r, err := Parse("r.toml", text); err == nil {
			if back, err := Parse("r.toml", r.Marshal()); err != nil || !bytes.Equal(back.Marshal(), r.Marshal()) {
				t.Errorf("a recipe is not read back: %v\n%s", err, r.Marshal())
			}
		}
		in := fstest.MapFS{"a.csv": {Data: file}}
		ref := table.Ref{Kind: table.Text, Files: []string{"a.csv"}}
		s, err := Take(context.Background(), in, ref, table.Dialect{})
		if err != nil {
			return
		}
		p := Guess(s, About{Zone: "America/Chicago", Box: "b"}, nil)
		if p.Err != nil {
			return
		}
		answers := map[string]string{}
		for _, q := range p.Questions {
			answers[q.ID] = q.Proposed
			if q.Proposed == "" {
				answers[q.ID] = q.Options[0].Key
			}
		}
		if p = Guess(s, About{Zone: "America/Chicago", Box: "b"}, answers); p.Err != nil || len(p.Questions) > 0 {
			return // some answers open others
		}
		back, err := Parse("r.toml", p.Recipe.Marshal())
		if err != nil {
			t.Fatalf("a proposal cannot be read: %v\n%s", err, p.Recipe.Marshal())
		}
		if _, err := formattest.ReadAll(context.Background(), Format{Recipes: []Recipe{back}}, in); err != nil {
			t.Fatal(err)
		}
	})
}

func BenchmarkRead(b *testing.B) {
	var buf bytes.Buffer
	buf.WriteString("time,row 1,row 2,row 3,row 4\n")
	const lines = 100_000
	for i := range lines {
		fmt.Fprintf(&buf, "2026-05-02T19:%02d:%02d.%03dZ,0.5,0.25,1.25,0\n", i/60000%60, i/1000%60, i%1000)
	}
	r := New()
	r.Box = "b"
	r.File = File{Kind: table.Text, Columns: []string{"time", "row 1"}}
	r.Time = Time{Column: "time", Written: YearFirst}
	r.Values = []Value{{Column: "row {n}", Quantity: evenstand.SkipFraction, Element: "row {n}", Unit: "%", Times: 1}}
	in := fstest.MapFS{"a.csv": {Data: buf.Bytes()}}
	f := Format{Recipes: []Recipe{r}}
	src, _, _, err := f.Find(context.Background(), in)
	if err != nil || len(src) != 1 {
		b.Fatal(err, len(src))
	}
	b.SetBytes(int64(buf.Len()))
	b.ReportAllocs()
	for b.Loop() {
		var s formattest.Tally
		if _, err := f.Read(context.Background(), in, src[0], &s); err != nil || s.Counts.Readings != 4*lines {
			b.Fatal(err, s)
		}
	}
	b.ReportMetric(lines*float64(b.N)/b.Elapsed().Seconds(), "lines/s")
	b.ReportMetric(4*lines*float64(b.N)/b.Elapsed().Seconds(), "values/s")
}

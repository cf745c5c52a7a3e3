package plain_test

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"io/fs"
	"math"
	"math/rand/v2"
	"path"
	"strings"
	"testing"
	"testing/fstest"

	"evenstand"
	"evenstand/format/formattest"
	"evenstand/format/plain"

	"github.com/google/go-cmp/cmp"
	"github.com/pelletier/go-toml/v2"
	"pgregory.net/rapid"
)

func file(lines ...string) *fstest.MapFile {
	return &fstest.MapFile{Data: []byte(strings.Join(lines, "\n") + "\n"), Mode: 0o644}
}

// box is a folder with all that the layout has, spelled in all the ways it
// allows.
func box() fstest.MapFS {
	return fstest.MapFS{
		"north box/seeds.csv": file("time,row",
			"1777749128.120,1", "1777749128.131001,2", "1777749128.2,16", "2026-05-02T19:12:08.300Z,3", "2026-05-02T14:12:08.400-05:00,4"),
		"north box/Track.CSV": {Data: []byte("\xef\xbb\xbfTime, Longitude,latitude,satellites,speed_m_s\r\n" +
			"1777749128,-93.5,42.25,12,2.2\r\n1777749129,-93.500001,42.25,,\r\n"), Mode: 0o644},
		"north box/readings.csv": file("time,quantity,element,value,unit",
			"1777749128,vacuum,left,20,inH2O", "1777749128,gauge_wheel_load,row 7,120,lbf", "1777749128,skip_fraction,row 7,2.5,%",
			"1777749129,seed_count,row 7,13,", `"1777749129","tank_content","tank 1",100,"gal"`, "1777749129,implement_lifted,machine,0,"),
		"north box/journal.csv": file("time,what,rows,value,unit,note",
			`1777749100,setting,1-8,20,inH2O,"vacuum up, wind"`, `1777749200,remark,,,,"he said ""stop"","`, "1777749300,fix,\"1,3,5\",,,", "1777749400,remark,,,,\"two", "lines\""),
		"north box/source.toml": file(`name = "north box"`, `planter = "16-row"`, "one_clock = true", "clock_offset_s = 1.5", "clock_error_s = 0.2", `notes = "Set by hand at breakfast."`),
		"south/seeds.csv":       file("row,time", "1,2026-05-02 14:12:08", "2,2026-05-02T14:12:09.5"),
		"south/source.toml":     file(`zone = "America/Chicago"`, `rows_from = "right"`, "rows = 16"),
	}
}

func shuffleLines(name string, data []byte, r *rand.Rand) []byte {
	if path.Ext(strings.ToLower(name)) != ".csv" || strings.Contains(name, "journal") {
		return nil
	}
	lines := bytes.SplitAfter(data, []byte("\n"))
	body := lines[1 : len(lines)-1]
	r.Shuffle(len(body), func(i, j int) { body[i], body[j] = body[j], body[i] })
	return bytes.Join(lines, nil)
}

// whole: a file of lines ends with a line end outside quotes, a TOML file is
// whole while it parses.
func whole(name string, data []byte, n int) bool {
	if strings.HasSuffix(strings.ToLower(name), ".toml") {
		return toml.Unmarshal(data[:n], &map[string]any{}) == nil
	}
	text := strings.TrimRight(string(data[:n]), "\r\n")
	header := strings.TrimRight(strings.SplitAfter(string(data), "\n")[0], "\r\n")
	return len(text) >= len(header) && data[n-1] == '\n' && bytes.Count(data[:n], []byte(`"`))%2 == 0
}

func TestSuite(t *testing.T) {
	formattest.Suite(t, plain.Format{}, []formattest.Set{{
		Name: "two boxes", FS: box(),
		Want: map[string]formattest.Counts{
			"north box/seeds": {Seeds: 5}, "north box/track": {Fixes: 2}, "north box/readings": {Readings: 6},
			"north box/journal": {Entries: 4}, "south/seeds": {Seeds: 2},
		},
		Context: func(name string) bool { return strings.HasSuffix(name, ".toml") || strings.HasSuffix(name, ".TOML") },
		Whole:   whole,
		Shuffle: shuffleLines,
		Long:    long(t, 200_000),
	}})
}

// store is a folder in memory for a Writer.
type store struct{ m fstest.MapFS }

type storeFile struct {
	bytes.Buffer
	f *fstest.MapFile
}

func (f *storeFile) Close() error { f.f.Data = f.Bytes(); return nil }

func (s store) create(name string) (io.WriteCloser, error) {
	f := &storeFile{f: &fstest.MapFile{Mode: 0o644}}
	s.m[name] = f.f
	return f, nil
}

// long is a folder with n seeds, fixes and readings.
func long(t testing.TB, n int) fs.FS {
	s := store{fstest.MapFS{}}
	write(t, s, plain.Options{}, formattest.Collect{Seed: seeds(n), Fix: fixes(n), Reading: readings(n)})
	return s.m
}

func seeds(n int) []evenstand.Seed {
	out := make([]evenstand.Seed, n)
	for i := range out {
		out[i] = evenstand.Seed{T: 1777749128_000_000 + evenstand.Micros(i)*2000, Row: int16(1 + i%24)}
	}
	return out
}

func fixes(n int) []evenstand.Fix {
	out := make([]evenstand.Fix, n)
	for i := range out {
		f := evenstand.NewFix(1777749128_000_000+evenstand.Micros(i)*100_000, 42.25+float64(i)*1e-7, -93.5)
		f.Alt, f.Speed, f.Heading, f.HDOP, f.Sats = 310.5, 2.25, 90.5, 0.5, 14
		out[i] = f
	}
	return out
}

func readings(n int) []evenstand.Reading {
	out := make([]evenstand.Reading, n)
	for i := range out {
		q := []evenstand.Quantity{evenstand.GaugeWheelLoad, evenstand.AppliedForce, evenstand.SeedCount}[i/24%3]
		out[i] = evenstand.Reading{T: 1777749128_000_000 + evenstand.Micros(i/72)*200_000, Value: float64(i % 777), Quantity: q, Element: evenstand.RowElement(1 + i%24)}
	}
	return out
}

func write(t testing.TB, s store, opt plain.Options, c formattest.Collect) {
	t.Helper()
	w, err := plain.NewWriter(s.create, opt)
	if err != nil {
		t.Fatal(err)
	}
	for _, err := range []error{w.Seeds(c.Seed), w.Fixes(c.Fix), w.Readings(c.Reading), w.Entries(c.Entry), w.Close()} {
		if err != nil {
			t.Fatal(err)
		}
	}
}

func read(t testing.TB, in fs.FS) formattest.Input {
	t.Helper()
	got, err := formattest.ReadAll(context.Background(), plain.Format{}, in)
	if err != nil {
		t.Fatal(err)
	}
	return got
}

// The instant 2026-05-02T19:12:08Z is 1777749128 s after 1970 (56 years of
// 365 days, 14 leap days, 121 days, 19 h 12 min 8 s: 20575 days * 86400 +
// 69128). US Central daylight time is 5 h behind UTC. 20 inH2O are 4981.7782
// Pa (249.08891 Pa each), 120 lbf are 533.78659 N, 100 gal 0.3785411784 m3.
func TestRead(t *testing.T) {
	got := read(t, box())
	if len(got.Unused) > 0 {
		t.Errorf("unused: %+v", got.Unused)
	}
	const t0 = 1777749128_000_000
	want := []formattest.Collect{
		{Seed: []evenstand.Seed{{T: t0 + 120_000, Row: 1}, {T: t0 + 131_001, Row: 2}, {T: t0 + 200_000, Row: 16}, {T: t0 + 300_000, Row: 3}, {T: t0 + 400_000, Row: 4}}},
		{Fix: []evenstand.Fix{
			{T: t0, Lat: 42.25, Lon: -93.5, Alt: math.NaN(), Speed: 2.2, Heading: math.NaN(), HDOP: math.NaN(), Sats: 12},
			{T: t0 + 1_000_000, Lat: 42.25, Lon: -93.500001, Alt: math.NaN(), Speed: math.NaN(), Heading: math.NaN(), HDOP: math.NaN(), Sats: -1},
		}},
		{Reading: []evenstand.Reading{
			{T: t0, Value: 4981.7782, Quantity: evenstand.Vacuum, Element: evenstand.Element{Scope: evenstand.ScopeLeft}},
			{T: t0, Value: 533.7865938, Quantity: evenstand.GaugeWheelLoad, Element: evenstand.RowElement(7)},
			{T: t0, Value: 0.025, Quantity: evenstand.SkipFraction, Element: evenstand.RowElement(7)},
			{T: t0 + 1_000_000, Value: 13, Quantity: evenstand.SeedCount, Element: evenstand.RowElement(7)},
			{T: t0 + 1_000_000, Value: 0.3785411784, Quantity: evenstand.TankContent, Element: evenstand.Element{Scope: evenstand.ScopeTank, N: 1}},
			{T: t0 + 1_000_000, Value: 0, Quantity: evenstand.ImplementLifted},
		}},
		{Entry: []evenstand.Entry{
			{T: 1777749100_000_000, What: "setting", Rows: evenstand.Rows{1, 2, 3, 4, 5, 6, 7, 8}, Value: 20, Unit: "inH2O", Note: "vacuum up, wind"},
			{T: 1777749200_000_000, What: "remark", Value: math.NaN(), Note: `he said "stop",`},
			{T: 1777749300_000_000, What: "fix", Rows: evenstand.Rows{1, 3, 5}, Value: math.NaN()},
			{T: 1777749400_000_000, What: "remark", Value: math.NaN(), Note: "two\nlines"},
		}},
		{Seed: []evenstand.Seed{{T: t0, Row: 16}, {T: t0 + 1_500_000, Row: 15}}},
	}
	for i, w := range want {
		for j := range w.Reading { // to the digits of the comment
			if g := got.Streams[i].Data.Reading; len(g) == len(w.Reading) && math.Abs(g[j].Value-w.Reading[j].Value) <= 1e-9*math.Abs(w.Reading[j].Value) {
				w.Reading[j].Value = g[j].Value
			}
		}
		if d := formattest.DiffData(&w, &got.Streams[i].Data); d != "" {
			t.Errorf("%s (-want +got):\n%s", got.Streams[i].Source.Name, d)
		}
	}
	src := got.Streams[0].Source
	if src.Clock == "" || src.Clock != got.Streams[3].Source.Clock || src.ClockOffset != 1.5 || src.ClockError != 0.2 || src.Planter != "16-row" || src.Grade != evenstand.GradeA || len(src.Notes) != 1 {
		t.Errorf("source %+v", src)
	}
	if south := got.Streams[4].Source; south.Clock != "" || south.Zone != "America/Chicago" || !math.IsNaN(south.ClockOffset) {
		t.Errorf("source %+v", south)
	}
	if g := got.Streams[2].Source.Grade; g != evenstand.GradeC { // one reading a row tells no rhythm
		t.Errorf("grade of readings %v, want C", g)
	}
}

func TestGradeOfReadings(t *testing.T) {
	for _, tt := range []struct {
		element string
		step    int
		want    evenstand.Grade
	}{{"row 3", 1, evenstand.GradeB}, {"row 3", 5, evenstand.GradeC}, {"section 2", 1, evenstand.GradeC}, {"machine", 1, evenstand.GradeC}, {"tank 1", 1, evenstand.GradeD}} {
		q := "seed_count"
		if tt.element == "tank 1" {
			q = "tank_content"
		}
		lines := []string{"time,quantity,element,value,unit"}
		for i := range 10 {
			lines = append(lines, fmt.Sprintf("%d,%s,%s,1,%s", 1777749128+i*tt.step, q, tt.element, map[bool]string{true: "L"}[q == "tank_content"]))
		}
		got := read(t, fstest.MapFS{"readings.csv": file(lines...)})
		if g := got.Streams[0].Source.Grade; g != tt.want {
			t.Errorf("%s every %d s: grade %v, want %v", tt.element, tt.step, g, tt.want)
		}
	}
}

// Each bad line between two good ones: reported with its line and reason, and
// the good ones are used.
func TestBadLines(t *testing.T) {
	const track = "1777749128,42,-93,,,,,\n"
	const reading = "1777749128,vacuum,left,20,inH2O\n"
	const entry = "1777749128,remark,,,,ok\n"
	for _, tt := range []struct{ name, file, line, say string }{
		{"row 0", "seeds", "1777749128,0", "row that is no whole number"},
		{"row 129", "seeds", "1777749128,129", "row that is no whole number"},
		{"row -1", "seeds", "1777749128,-1", "row that is no whole number"},
		{"row 1.5", "seeds", "1777749128,1.5", "row that is no whole number"},
		{"cut", "seeds", "1777749128", "another number"},
		{"too many", "seeds", "1777749128,1,2", "another number of fields"},
		{"no time", "seeds", ",1", "time that cannot be read"},
		{"time of words", "seeds", "noon,1", "time that cannot be read"},
		{"time NaN", "seeds", "NaN,1", "time that cannot be read"},
		{"time before 1970", "seeds", "-0.5,1", "time that cannot be read"},
		{"time after 2100", "seeds", "4102444801,1", "time that cannot be read"},
		{"time in ms", "seeds", "1777749128120,1", "time that cannot be read"},
		{"31 April", "seeds", "2026-04-31T10:00:00Z,1", "time that cannot be read"},
		{"without zone", "seeds", "2026-05-02T19:12:08,1", "time without zone"},
		{"open quote", "seeds", `"1777749128,1`, "quote is not closed"},
		{"quote inside", "seeds", `17777"49128,1`, "quote is not closed"},
		{"nowhere", "track", "1777749128,0,0,,,,,", "0, longitude 0"},
		{"nowhere, finely", "track", "1777749128,0.00000001,-0.00000002,,,,,", "0, longitude 0"},
		{"beyond the pole", "track", "1777749128,-93.5,42,,,,,", "not on the earth"},
		{"beyond the date line", "track", "1777749128,42,193.5,,,,,", "not on the earth"},
		{"latitude NaN", "track", "1777749128,NaN,-93,,,,,", "position that is no number"},
		{"no latitude", "track", "1777749128,,-93,,,,,", "position that is no number"},
		{"hexadecimal", "track", "1777749128,0x1p3,-93,,,,,", "position that is no number"},
		{"quantity", "readings", "1777749128,vacum,left,20,inH2O", `quantity "vacum" is not known`},
		{"element", "readings", "1777749128,vacuum,port,20,inH2O", `element "port" is not known`},
		{"element row 200", "readings", "1777749128,vacuum,row 200,20,inH2O", "row that is no whole number"},
		{"unit", "readings", "1777749128,vacuum,left,20,inHg", `unit "inHg" is not known`},
		{"unit of other kind", "readings", "1777749128,gauge_wheel_load,row 1,20,lb", `fit the quantity: "lb" for gauge_wheel_load`},
		{"percent of a count", "readings", "1777749128,seed_count,row 1,20,%", `fit the quantity: "%" for seed_count`},
		{"no value", "readings", "1777749128,vacuum,left,,inH2O", "value that is no number"},
		{"value NaN", "readings", "1777749128,vacuum,left,nan,inH2O", "value that is no number"},
		{"value inf", "readings", "1777749128,vacuum,left,inf,inH2O", "value that is no number"},
		{"value too large", "readings", "1777749128,vacuum,left,1e999,inH2O", "value that is no number"},
		{"not plausible", "readings", "1777749128,vacuum,left,200,inH2O", "vacuum outside 0 to 120.4 inH2O"},
		{"fraction in percent", "readings", "1777749128,skip_fraction,row 1,2.5,", "skip_fraction outside 0 to 1"},
		{"half a state", "readings", "1777749128,row_enabled,row 1,0.5,", "neither 0 nor 1: row_enabled"},
		{"what", "journal", "1777749128,lunch,,,,", `not known: "lunch"`},
		{"rows", "journal", "1777749128,fix,all,,,", "row list"},
		{"row list beyond", "journal", "1777749128,fix,1-200,,,", "row list"},
		{"journal unit", "journal", "1777749128,refill,,20,bags,", `unit "bags" is not known`},
		{"journal value", "journal", "1777749128,refill,,much,gal,", "value that is no number"},
		{"journal quote", "journal", `1777749128,remark,,,,"never closed`, "quote is not closed"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			good := map[string]string{"seeds": "1777749128,5\n", "track": track, "readings": reading, "journal": entry}[tt.file]
			head := map[string]string{
				"seeds": "time,row", "track": "time,latitude,longitude,altitude_m,speed_m_s,heading_deg,hdop,satellites",
				"readings": "time,quantity,element,value,unit", "journal": "time,what,rows,value,unit,note",
			}[tt.file]
			data, bad := head+"\n"+good+tt.line+"\n"+tt.line+"\n"+good, int64(2)
			if tt.name == "journal quote" { // two would close each other
				data, bad = head+"\n"+good+tt.line+"\n"+good, 1
			}
			got := read(t, fstest.MapFS{tt.file + ".csv": {Data: []byte(data)}})
			s := got.Streams[0]
			if s.Err != nil || s.Data.Counts().Total() != 2 {
				t.Errorf("%+v, error %v, want the two good lines", s.Data.Counts(), s.Err)
			}
			if len(s.Data.Left) != 1 {
				t.Fatalf("unused %+v, want one reason", s.Data.Left)
			}
			u := s.Data.Left[0]
			if !strings.Contains(u.Why, tt.say) || u.Line != 3 || u.Offset != int64(len(head+"\n"+good)) || u.Do == "" || u.File != tt.file+".csv" ||
				u.Count != bad {
				t.Errorf("%+v\nwant line 3 and %q", u, tt.say)
			}
			if tt.name == "without zone" && !strings.Contains(u.Do, "source.toml") {
				t.Errorf("remedy %q does not name source.toml", u.Do)
			}
		})
	}
}

func TestHeaders(t *testing.T) {
	for _, tt := range []struct{ name, data, say string }{
		{"empty", "", "empty"},
		{"blank", "\n\n", "empty"},
		{"no header", "1777749128,1\n", "no header line"},
		{"wrong", "when,row\n1,1\n", "no column time"},
		{"both wrong", "a,b\n1,1\n", "no columns time, row"},
		{"semicolons", "time;row\n1;1\n", "not parted by commas"},
		{"tabs", "time\trow\n1\t1\n", "not parted by commas"},
		{"twice", "time,row,Row\n1,1,1\n", "two columns are named row"},
		{"cut", "time,ro", "within its first line"},
		{"UTF-16", "\xff\xfet\x00i\x00m\x00e\x00,\x00r\x00o\x00w\x00\n\x00", "no UTF-8"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			got := read(t, fstest.MapFS{"seeds.csv": {Data: []byte(tt.data)}})
			if len(got.Streams) != 0 || len(got.Claimed) != 1 || len(got.Unused) != 1 || !strings.Contains(got.Unused[0].Why, tt.say) {
				t.Errorf("%d sources, claimed %v, unused %+v, want %q", len(got.Streams), got.Claimed, got.Unused, tt.say)
			}
		})
	}
	t.Run("unknown columns", func(t *testing.T) {
		got := read(t, fstest.MapFS{"seeds.csv": file("disc,time,row,mass", "1,5,2,0.3", "1,6,2,0.3")})
		if s := got.Streams[0]; len(s.Data.Seed) != 2 || len(s.Data.Left) != 1 || s.Data.Left[0].Count != 2 || !strings.Contains(s.Data.Left[0].Why, `"disc", "mass"`) {
			t.Errorf("%+v", s.Data)
		}
	})
	t.Run("nothing under it", func(t *testing.T) {
		got := read(t, fstest.MapFS{"seeds.csv": file("time,row")})
		if s := got.Streams[0]; len(s.Source.Notes) != 1 || !strings.Contains(s.Source.Notes[0], "nothing under it") {
			t.Errorf("%+v", s.Source)
		}
	})
}

func TestRowsFromTheRight(t *testing.T) {
	in := fstest.MapFS{
		"seeds.csv":    file("time,row", "5,1", "6,4", "7,5"),
		"readings.csv": file("time,quantity,element,value,unit", "5,vacuum,row 1,2,kPa", "5,vacuum,left,2,kPa"),
		"journal.csv":  file("time,what,rows", "5,fix,1-2", "5,remark,"),
		"source.toml":  file(`rows_from = "right"`, "rows = 4"),
	}
	got := read(t, in)
	if d := cmp.Diff([]evenstand.Seed{{T: 5e6, Row: 4}, {T: 6e6, Row: 1}}, got.Streams[0].Data.Seed); d != "" {
		t.Error(d)
	}
	if u := got.Streams[0].Data.Left; len(u) != 1 || !strings.Contains(u[0].Why, "beyond the rows") || u[0].Line != 4 {
		t.Errorf("%+v", u)
	}
	if r := got.Streams[1].Data.Reading; len(r) != 2 || r[0].Element != evenstand.RowElement(4) || r[1].Element.Scope != evenstand.ScopeLeft {
		t.Errorf("%+v", r)
	}
	if e := got.Streams[2].Data.Entry; len(e) != 2 || e[0].Rows.String() != "3-4" {
		t.Errorf("%+v", e)
	}

	in["source.toml"] = file(`rows_from = "right"`)
	got = read(t, in)
	if s := got.Streams[0].Data; len(s.Seed) != 0 || len(s.Left) != 1 || s.Left[0].Count != 3 || !strings.Contains(s.Left[0].Do, "rows = 16") {
		t.Errorf("%+v", s)
	}
	if s := got.Streams[1].Data; len(s.Reading) != 1 || len(s.Left) != 1 {
		t.Errorf("%+v", s)
	}
}

func TestSourceToml(t *testing.T) {
	for _, tt := range []struct {
		name, toml, say string
		line            int
	}{
		{"unknown key", "name = \"a\"\ncolour = 3\n", "colour", 2},
		{"zone", "\nzone = \"Mars/Phobos\"\n", "Mars/Phobos", 2},
		{"zone of the computer", "zone = \"Local\"\n", "Local", 1},
		{"side", "rows_from = \"top\"\n", "top", 1},
		{"offset in words", "clock_offset_s = \"two\"\n", "wants a number", 1},
		{"no TOML", "name = north\n", "", 1},
	} {
		t.Run(tt.name, func(t *testing.T) {
			got := read(t, fstest.MapFS{"a/seeds.csv": file("time,row", "5,1"), "a/source.toml": {Data: []byte(tt.toml)}})
			if len(got.Streams) != 1 || len(got.Streams[0].Data.Seed) != 1 {
				t.Errorf("the seeds are lost: %+v", got)
			}
			if len(got.Unused) != 1 || got.Unused[0].Line != tt.line || !strings.Contains(got.Unused[0].Why, tt.say) || got.Unused[0].File != "a/source.toml" {
				t.Errorf("unused %+v, want line %d and %q", got.Unused, tt.line, tt.say)
			}
		})
	}
}

func TestNames(t *testing.T) {
	s := file("time,row", "5,1")
	got := read(t, fstest.MapFS{
		"seeds.csv": s, "a/SEEDS.CSV": s, "b/deep/Seeds.Csv": s, "c/seeds.csv": s, "c/source.toml": file(`name = "box"`),
		"d/seeds.csv": s, "d/source.toml": file(`name = "box"`), "a/seeds.csv": s, "e/source.toml": file(`name = "alone"`), "a/._seeds.csv": s,
	})
	var names []string
	for _, s := range got.Streams {
		names = append(names, s.Source.Name)
	}
	want := []string{"seeds", "a/seeds", "a/seeds.csv", "b/deep/seeds", "box/seeds", "box (d)/seeds"}
	if d := cmp.Diff(want, names); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
	for _, name := range got.Claimed {
		if name == "e/source.toml" || name == "a/._seeds.csv" {
			t.Errorf("claims %s", name)
		}
	}
}

func TestClockGoesBack(t *testing.T) {
	got := read(t, fstest.MapFS{"seeds.csv": file("time,row", "5,1", "7,1", "6.5,1", "6,1", "8,1")})
	s := got.Streams[0]
	if len(s.Data.Seed) != 5 || len(s.Source.Notes) != 1 || !strings.Contains(s.Source.Notes[0], "2 lines are earlier than the line before, by up to 500ms, first line 4") {
		t.Errorf("%d seeds, notes %q", len(s.Data.Seed), s.Source.Notes)
	}
}

// A file of noise gives a report of bounded size.
func TestManyReasons(t *testing.T) {
	lines := []string{"time,quantity,element,value,unit"}
	for i := range 5000 {
		lines = append(lines, fmt.Sprintf("5,q%d,left,1,", i))
	}
	got := read(t, fstest.MapFS{"readings.csv": file(lines...)})
	n := int64(0)
	for _, u := range got.Streams[0].Data.Left {
		n += u.Count
	}
	if len(got.Streams[0].Data.Left) > 50 || n != 5000 {
		t.Errorf("%d reasons for %d lines", len(got.Streams[0].Data.Left), n)
	}
}

func TestLongLine(t *testing.T) {
	data := "time,row\n5,1\n" + strings.Repeat("x", 1<<20) + "\n6,1\n" + strings.Repeat("y", 300<<10)
	got := read(t, fstest.MapFS{"seeds.csv": {Data: []byte(data)}})
	s := got.Streams[0].Data
	if len(s.Seed) != 2 || len(s.Left) != 1 || s.Left[0].Line != 3 || s.Left[0].Count != 2 {
		t.Errorf("%d seeds, unused %+v", len(s.Seed), s.Left)
	}
}

// What is written is read back: times to the digits of the stamp, places to
// 1e-9 degree, values exactly in SI and to the last digits in other units.
func TestWriteRead(t *testing.T) {
	zone, err := loadZone()
	if err != nil {
		t.Skip("no time zones on this machine")
	}
	rapid.Check(t, func(rt *rapid.T) {
		opt := plain.Options{Stamp: plain.Stamp(rapid.IntRange(0, 3).Draw(rt, "stamp"))}
		if rapid.Bool().Draw(rt, "zone") {
			opt.Zone = zone
		}
		step := evenstand.Micros(1000)
		if opt.Stamp == plain.EpochMicros || opt.Stamp == plain.RFC3339Micros {
			step = 1
		}
		when := rapid.Custom(func(rt *rapid.T) evenstand.Micros {
			return evenstand.Micros(rapid.Int64Range(0, 4_102_444_799_999_999).Draw(rt, "t")) / step * step
		})
		text := rapid.StringMatching(`([a-zé", ]{0,6}[a-z"\n]|)`)
		var c formattest.Collect
		for range rapid.IntRange(0, 20).Draw(rt, "n") {
			c.Seed = append(c.Seed, evenstand.Seed{T: when.Draw(rt, "t"), Row: int16(rapid.IntRange(1, 128).Draw(rt, "row"))})
			f := evenstand.NewFix(when.Draw(rt, "t"), float64(rapid.IntRange(-90e6, 90e6).Draw(rt, "lat"))/1e6, float64(rapid.IntRange(1, 180e6).Draw(rt, "lon"))/1e6)
			if rapid.Bool().Draw(rt, "speed") {
				f.Speed, f.Sats = float64(rapid.IntRange(-5000, 5000).Draw(rt, "speed"))/1000, 9
			}
			c.Fix = append(c.Fix, f)
			q := rapid.SampledFrom(evenstand.Quantities()[1:]).Draw(rt, "quantity")
			in := q.Info()
			v := rapid.Float64Range(in.Min, in.Max).Draw(rt, "value")
			if in.Aggregate == evenstand.State && in.SI == "" {
				v = 1
			}
			c.Reading = append(c.Reading, evenstand.Reading{
				T: when.Draw(rt, "t"), Value: v, Quantity: q,
				Element: evenstand.Element{Scope: evenstand.ScopeSection, N: int16(rapid.IntRange(1, 9).Draw(rt, "n"))},
			})
			e := evenstand.Entry{T: when.Draw(rt, "t"), What: "remark", Rows: someRows(rt, 20), Value: math.NaN(), Note: strings.TrimLeft(text.Draw(rt, "note"), " ")}
			if rapid.Bool().Draw(rt, "value") {
				e.Value, e.Unit = 1.25, "kPa"
			}
			c.Entry = append(c.Entry, e)
		}
		s := store{fstest.MapFS{}}
		write(t, s, opt, c)
		var got formattest.Collect
		for _, s := range read(t, s.m).Streams {
			if s.Err != nil || len(s.Data.Left) > 0 {
				rt.Fatalf("%v %+v", s.Err, s.Data.Left)
			}
			got.Seed, got.Fix = append(got.Seed, s.Data.Seed...), append(got.Fix, s.Data.Fix...)
			got.Reading, got.Entry = append(got.Reading, s.Data.Reading...), append(got.Entry, s.Data.Entry...)
		}
		if d := formattest.DiffData(&c, &got); d != "" {
			rt.Errorf("(-written +read):\n%s", d)
		}
	})
}

func TestWriterUnits(t *testing.T) {
	s := store{fstest.MapFS{}}
	w, err := plain.NewWriter(s.create, plain.Options{Units: map[evenstand.Quantity]string{evenstand.Vacuum: "inH2O", evenstand.SkipFraction: "%"}, Digits: 4})
	if err != nil {
		t.Fatal(err)
	}
	left := evenstand.Element{Scope: evenstand.ScopeLeft}
	w.Readings([]evenstand.Reading{
		{T: 5e6, Value: 4981.7782, Quantity: evenstand.Vacuum, Element: left},
		{T: 5e6, Value: 0.025, Quantity: evenstand.SkipFraction, Element: evenstand.RowElement(3)},
		{T: 5e6, Value: math.NaN(), Quantity: evenstand.Vacuum, Element: left},
	})
	src := plain.NewSource()
	src.Name, src.OneClock, src.ClockOffset, src.Notes = "north", true, -2, []string{"One.", "Two \"2\"."}
	if err := w.Source(src); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	const want = "time,quantity,element,value,unit\n5.000,vacuum,left,20,inH2O\n5.000,skip_fraction,row 3,2.5,%\n"
	if got := string(s.m["readings.csv"].Data); got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
	back, unused := plain.ReadSource("source.toml", s.m["source.toml"].Data)
	if d := cmp.Diff(src, back, nanEqual); d != "" || len(unused) > 0 {
		t.Errorf("%v (-want +got):\n%s", unused, d)
	}
	if _, err := plain.NewWriter(s.create, plain.Options{Units: map[evenstand.Quantity]string{evenstand.Vacuum: "lb"}}); err == nil {
		t.Error("vacuum in pounds is taken")
	}
	if w.Seeds([]evenstand.Seed{{T: evenstand.NoTime, Row: 1}}) == nil {
		t.Error("a seed without time is written")
	}
}

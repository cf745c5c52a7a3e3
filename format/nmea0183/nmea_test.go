package nmea0183

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"testing/fstest"

	"evenstand"
	"evenstand/format/formattest"

	"pgregory.net/rapid"
)

func read(t testing.TB, data string) formattest.Stream {
	t.Helper()
	in, err := formattest.ReadAll(context.Background(), Format{}, fstest.MapFS{"gps/log.txt": {Data: []byte(data)}})
	if err != nil {
		t.Fatal(err)
	}
	if len(in.Streams) != 1 {
		t.Fatalf("%d sources, not used %v", len(in.Streams), in.Unused)
	}
	if in.Streams[0].Err != nil {
		t.Fatal(in.Streams[0].Err)
	}
	return in.Streams[0]
}

// The sentences and their sums are those of reference standards/live.md,
// section 7: the first is printed widely, the others were computed there.
const (
	ggaOld = "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47\r\n"
	ggaNow = "$GPGGA,073052.20,5221.58203,N,00802.07675,E,4,16,0.6,100.0,M,46.6,M,1.0,0001*43\r\n"
	rmcNow = "$GPRMC,073052.20,A,5221.58203,N,00802.07675,E,4.31,083.9,191022,,,R*70\r\n"
	vtgNow = "$GPVTG,083.9,T,,M,4.31,N,7.98,K,R*1C\r\n"
	zdaNow = "$GPZDA,073052.20,19,10,2022,02,00*6E\r\n"
)

func TestReference(t *testing.T) {
	for _, s := range []string{ggaOld, ggaNow, rmcNow, vtgNow, zdaNow} {
		if _, how := frame([]byte(s)); how != whole {
			t.Errorf("the sum of %s is called wrong", s)
		}
		if _, how := frame([]byte(strings.Replace(s, "0", "1", 1))); how != badSum {
			t.Errorf("a wrong sum passes: %s", s)
		}
	}
	f := read(t, ggaNow+rmcNow+vtgNow+zdaNow).Data.Fix
	if len(f) != 1 {
		t.Fatalf("%d fixes", len(f))
	}
	near := func(what string, got, want, within float64) {
		if !(math.Abs(got-want) <= within) {
			t.Errorf("%s %v, want %v", what, got, want)
		}
	}
	near("latitude", f[0].Lat, 52+21.58203/60, 1e-12)
	near("longitude", f[0].Lon, 8+2.07675/60, 1e-12)
	near("speed", f[0].Speed, 4.31*0.514444, 1e-5)
	near("course", f[0].Heading, 83.9, 1e-9)
	near("altitude", f[0].Alt, 100, 0)
	near("hdop", f[0].HDOP, 0.6, 0)
	if f[0].T.String() != "2022-10-19T07:30:52.2Z" || f[0].Kind != evenstand.FixRTK || f[0].Sats != 16 {
		t.Errorf("%+v", f[0])
	}
}

// sum puts the sum behind a sentence.
func sum(body string) string {
	s := byte(0)
	for i := range len(body) {
		s ^= body[i]
	}
	return fmt.Sprintf("$%s*%02X\r\n", body, s)
}

func gga1(hms string) string {
	return sum("GNGGA," + hms + ",4136.0000,N,09330.0000,W,4,16,0.6,260.0,M,,M,,")
}

func rmc1(hms string, status byte, date string) string {
	return sum(fmt.Sprintf("GNRMC,%s,%c,4136.0000,N,09330.0000,W,4.0,90.0,%s,,,A", hms, status, date))
}

func TestDates(t *testing.T) {
	for _, tt := range []struct {
		name, data string
		want       []string
		unused     int64
		note       string
	}{
		{"over midnight", sum("GNZDA,235958.00,02,05,2026,00,00") + gga1("235958.50") + gga1("235959.50") + gga1("000000.50"), []string{"2026-05-02T23:59:58.5Z", "2026-05-02T23:59:59.5Z", "2026-05-03T00:00:00.5Z"}, 0, ""},
		{"the date comes after the first times", gga1("120000.00") + gga1("120001.00") + sum("GNRMC,120002.00,A,4136.0000,N,09330.0000,W,4.0,90.0,020526,,,A"), []string{"2026-05-02T12:00:00Z", "2026-05-02T12:00:01Z", "2026-05-02T12:00:02Z"}, 0, ""},
		{"the date comes after midnight", gga1("235959.00") + sum("GNZDA,000000.00,03,05,2026,00,00") + gga1("000001.00"), []string{"2026-05-02T23:59:59Z", "2026-05-03T00:00:01Z"}, 0, ""},
		{"a sentence of before midnight comes after it", rmc1("235959.60", 'A', "020526") + rmc1("000000.00", 'A', "030526") + gga1("235959.80") + gga1("000000.20") + gga1("000000.40"), []string{"2026-05-02T23:59:59.6Z", "2026-05-03T00:00:00Z", "2026-05-02T23:59:59.8Z", "2026-05-03T00:00:00.2Z", "2026-05-03T00:00:00.4Z"}, 0, "1 times are earlier"},
		{"a date of before midnight comes after it", gga1("000000.20") + rmc1("235959.80", 'A', "020526") + gga1("000000.40"), []string{"2026-05-03T00:00:00.2Z", "2026-05-02T23:59:59.8Z", "2026-05-03T00:00:00.4Z"}, 0, "1 times are earlier"},
		{"continued in the evening", rmc1("010000.00", 'A', "020526") + gga1("220000.00"), []string{"2026-05-02T01:00:00Z", "2026-05-02T22:00:00Z"}, 0, ""},
		{"a date that does not hold good", gga1("140000.00") + rmc1("140000.00", 'V', "220819") + gga1("140000.20") + rmc1("140001.00", 'A', "020526"), []string{"2026-05-02T14:00:00Z", "2026-05-02T14:00:00.2Z", "2026-05-02T14:00:01Z"}, 0, ""},
		{"only dates that do not hold good", gga1("140000.00") + rmc1("140000.00", 'V', "220819"), nil, 1, ""},
		{"a date that jumps", sum("GNZDA,140000.00,22,08,2019,00,00") + gga1("140000.00") + rmc1("140001.00", 'A', "020526"), []string{"2019-08-22T14:00:00Z", "2026-05-02T14:00:01Z"}, 0, "jumps from 2019-08-22 to 2026-05-02. "},
		{"a maker's own sentence", rmc1("140000.00", 'A', "020526") + sum("PGRMC,150000,A,1,N,1,E,1,1,010101,") + gga1("140000.20"), []string{"2026-05-02T14:00:00Z", "2026-05-02T14:00:00.2Z"}, 0, "1 sentences of other kinds"},
		{"no date at all", gga1("120000.00") + gga1("120001.00"), nil, 2, ""},
		{"weeks run over", sum("GNZDA,120000.00,16,09,2006,00,00") + gga1("120000.00"), []string{"2006-09-16T12:00:00Z"}, 0, "1,024 weeks"},
		{"no place", sum("GNZDA,120000.00,02,05,2026,00,00") + sum("GNGGA,120000.00,,,,,0,00,,,M,,M,,") + sum("GNRMC,120001.00,V,,,,,,,020526,,,N") + gga1("120002.00"), []string{"2026-05-02T12:00:02Z"}, 0, "no place at 2 times"},
		{"no sums, a logger's time in front, other sentences", "1777749128.120 $GNRMC,120000.00,A,4136.0000,N,09330.0000,W,4.0,90.0,020526,,,A\n" + sum("GNGSA,A,3,,,,,,,,,,,,,1,1,1"), []string{"2026-05-02T12:00:00Z"}, 0, "no check sum"},
		{"a wrong sum, noise, a cut end", sum("GNZDA,120000.00,02,05,2026,00,00") + strings.Replace(gga1("120000.00"), "260.0", "261.0", 1) + "\x00\xff\x01\n" + gga1("120001.00") + "$GNGGA,120002.00,4136.00", []string{"2026-05-02T12:00:01Z"}, 3, ""},
	} {
		t.Run(tt.name, func(t *testing.T) {
			s := read(t, tt.data)
			var got []string
			for _, f := range s.Data.Fix {
				got = append(got, f.T.String())
			}
			if fmt.Sprint(got) != fmt.Sprint(tt.want) {
				t.Errorf("%v, want %v", got, tt.want)
			}
			n := int64(0)
			for _, u := range s.Data.Left {
				n += u.Count
			}
			if n != tt.unused {
				t.Errorf("not used: %v", s.Data.Left)
			}
			if notes := strings.Join(s.Source.Notes, " "); !strings.Contains(notes, tt.note) {
				t.Errorf("notes %q, want %q", notes, tt.note)
			}
		})
	}
}

// A Mac's side files and what lies in a stick's trash are no logs.
func TestLeftBehind(t *testing.T) {
	log := &fstest.MapFile{Data: []byte(ggaNow + rmcNow)}
	in := fstest.MapFS{"log.nmea": log, "._log.nmea": {Data: []byte("\x00\x05\x16\x07")}, ".Trash-1000/files/log.nmea": log}
	sources, claimed, unused, err := Format{}.Find(t.Context(), in)
	if err != nil || len(sources) != 1 || len(claimed) != 1 || len(unused) != 0 {
		t.Errorf("%v, %v, %v, %v", sources, claimed, unused, err)
	}
}

// What is written is read back: places to 0.2 mm, the rest to its decimals.
func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		at := evenstand.Micros(rapid.Int64Range(1_300_000_000_000, 3_000_000_000_000).Draw(t, "ms")) * 1000
		var want []evenstand.Fix
		for range rapid.IntRange(1, 20).Draw(t, "n") {
			f := evenstand.NewFix(at, rapid.Float64Range(-89.9, -0.1).Draw(t, "lat"), rapid.Float64Range(-179.9, 179.9).Draw(t, "lon"))
			f.Speed, f.Heading, f.Alt = rapid.Float64Range(0, 15).Draw(t, "speed"), rapid.Float64Range(0, 359.9).Draw(t, "course"), rapid.Float64Range(-100, 3000).Draw(t, "alt")
			f.Kind, f.Sats, f.HDOP = evenstand.FixRTK, 17, 0.7
			want = append(want, f)
			at += 200_000
		}
		var b bytes.Buffer
		w := NewWriter(&b)
		if err := w.Fixes(want); err != nil {
			t.Fatal(err)
		}
		if err := w.Flush(); err != nil {
			t.Fatal(err)
		}
		in, err := formattest.ReadAll(context.Background(), Format{}, fstest.MapFS{"a.nmea": {Data: b.Bytes()}})
		if err != nil || len(in.Streams) != 1 {
			t.Fatal(err, len(in.Streams))
		}
		got := in.Streams[0].Data.Fix
		if len(got) != len(want) {
			t.Fatalf("%d of %d fixes, %v\n%s", len(got), len(want), in.Streams[0].Data.Left, b.String())
		}
		for i := range got {
			g, w := got[i], want[i]
			if g.T != w.T || math.Abs(g.Lat-w.Lat) > 1e-9 || math.Abs(g.Lon-w.Lon) > 1e-9 || math.Abs(g.Speed-w.Speed) > 1e-4 || math.Abs(g.Heading-w.Heading) > 0.0051 && math.Abs(g.Heading-w.Heading) < 359 || math.Abs(g.Alt-w.Alt) > 0.0051 || g.Kind != w.Kind || g.Sats != w.Sats {
				t.Fatalf("%+v, want %+v", g, w)
			}
		}
	})
}

func set() formattest.Set {
	var small, long bytes.Buffer
	for i, b := range []*bytes.Buffer{&small, &long} {
		w := NewWriter(b)
		for k := range []int{4, 120_000}[i] {
			f := evenstand.NewFix(evenstand.Micros(1777749128_000_000+200_000*int64(k)), 41.6+float64(k)*1e-6, -93.5)
			f.Speed, f.Heading, f.Kind, f.Sats, f.HDOP = 2.5, 0, evenstand.FixRTK, 16, 0.7
			if err := w.Fixes([]evenstand.Fix{f}); err != nil {
				panic(err)
			}
		}
		if err := w.Flush(); err != nil {
			panic(err)
		}
	}
	return formattest.Set{
		Name: "log", FS: fstest.MapFS{"gps/log.nmea": {Data: small.Bytes(), Mode: 0o644}},
		Want: map[string]formattest.Counts{"gps/log": {Fixes: 4}},
		// A cut after a whole sentence is a shorter log.
		Whole: func(_ string, data []byte, n int) bool {
			tail := bytes.TrimRight(data[:n], "\r\n")
			_, how := frame(tail[bytes.LastIndexByte(tail, '\n')+1:])
			return n > 0 && how == whole
		},
		Shuffle: func(_ string, data []byte, r *rand.Rand) []byte {
			lines := bytes.SplitAfter(data, []byte("\n"))
			lines[0], lines[4], lines[1], lines[5] = lines[4], lines[0], lines[5], lines[1]
			return bytes.Join(lines, nil)
		},
		Long: fstest.MapFS{"gps/log.nmea": {Data: long.Bytes(), Mode: 0o644}},
		// A date that is damaged changes the day of what follows.
		Context: func(string) bool { return true },
	}
}

func TestSuite(t *testing.T) { formattest.Suite(t, Format{}, []formattest.Set{set()}) }

func FuzzLog(f *testing.F) {
	f.Add([]byte(ggaNow + rmcNow + vtgNow + zdaNow))
	f.Add([]byte(ggaOld + "noise\n" + sum("GNHDT,12.0,T")))
	f.Fuzz(func(t *testing.T, data []byte) {
		in, err := formattest.ReadAll(context.Background(), Format{}, fstest.MapFS{"a.nmea": {Data: data}})
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range in.Streams {
			if s.Err != nil {
				t.Fatal(s.Err)
			}
			for _, x := range s.Data.Fix {
				if math.Abs(x.Lat) > 90 || math.Abs(x.Lon) > 180 || math.IsNaN(x.Lat) || math.IsNaN(x.Lon) || x.Speed < 0 || x.Heading < 0 || x.Heading >= 360 {
					t.Fatalf("%+v", x)
				}
			}
		}
	})
}

func BenchmarkRead(b *testing.B) {
	in := set().Long
	data := in.(fstest.MapFS)["gps/log.nmea"].Data
	src, _, _, err := Format{}.Find(context.Background(), in)
	if err != nil || len(src) != 1 {
		b.Fatal(err, len(src))
	}
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		var n formattest.Tally
		if _, err := (Format{}).Read(context.Background(), in, src[0], &n); err != nil || n.Counts.Fixes != 120_000 {
			b.Fatal(err, n)
		}
	}
	b.ReportMetric(float64(bytes.Count(data, []byte("\n")))*float64(b.N)/b.Elapsed().Seconds(), "lines/s")
}

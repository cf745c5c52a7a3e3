package iso11783_test

import (
	"archive/zip"
	"bytes"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"evenstand"
	"evenstand/format/iso11783"

	"pgregory.net/rapid"
)

func card(rows int) evenstand.Card {
	c := evenstand.NewCard()
	c.Name, c.Rows, c.RowSpacing = "the planter", rows, 0.762
	c.Geometry.Hitch = evenstand.Trailed
	c.Geometry.AntennaToHitch, c.Geometry.HitchToRowLine, c.Geometry.AntennaRight = 2.6, 7.1, 0.1
	return c
}

// start is 2026-05-02T15:00:00Z.
var start = evenstand.FromTime(time.Date(2026, 5, 2, 15, 0, 0, 0, time.UTC))

func fixAt(i int, step evenstand.Micros) evenstand.Fix {
	f := evenstand.NewFix(start+evenstand.Micros(i)*step, 41.5+float64(i)*4e-6, -93.5)
	f.HDOP, f.Sats, f.Kind, f.Alt = 0.7, 14, evenstand.FixRTK, 290.25
	return f
}

func fill(n int, v float64) []float64 {
	s := make([]float64, n)
	for i := range s {
		s[i] = v
	}
	return s
}

const everything = iso11783.LogSeedRate | iso11783.LogSeedRateTarget | iso11783.LogBoomTarget | iso11783.LogSeedCount | iso11783.LogSkips |
	iso11783.LogDoubles | iso11783.LogSingulation | iso11783.LogForce | iso11783.LogWorking | iso11783.LogEnabled | iso11783.LogWorkState |
	iso11783.LogSpeed | iso11783.LogHeading | iso11783.LogHitchAngle | iso11783.LogLiquidRate | iso11783.LogTanks

// What is written is read back: the changes of every row, at their time, on
// the right row, whatever the width, version, splitting and clock.
func TestRoundTrip(t *testing.T) {
	root := t.TempDir()
	round := 0
	rapid.Check(t, func(rt *rapid.T) {
		round++
		dir := filepath.Join(root, fmt.Sprint(round))
		rows := rapid.IntRange(1, 48).Draw(rt, "rows")
		opt := iso11783.WriterOptions{
			Version: rapid.SampledFrom([]int{3, 4}).Draw(rt, "version"), Card: card(rows), Log: everything,
			Task: "day", Field: "north 80", Product: "hybrid A", LiquidProduct: "starter", Crop: "corn",
			Latency:       float64(rapid.IntRange(-500, 500).Draw(rt, "latency")) / 1000,
			UTCOffset:     time.Duration(rapid.SampledFrom([]int{-5, 0, 2}).Draw(rt, "offset")) * time.Hour,
			OffsetsInLog:  rapid.Bool().Draw(rt, "offsets in log"),
			External:      rapid.Bool().Draw(rt, "external"),
			ColumnsPerLog: rapid.SampledFrom([]int{0, 7, 60}).Draw(rt, "columns"),
		}
		opt.NoGPSTime = rapid.Bool().Draw(rt, "no gps time")
		opt.ZoneInXML = opt.NoGPSTime
		opt.Card.Tanks = []evenstand.Tank{{Number: 1, Name: "left", Capacity: 1.5}}
		w, err := iso11783.NewWriter(dir, opt)
		if err != nil {
			rt.Fatal(err)
		}
		n := rapid.IntRange(2, 40).Draw(rt, "records")
		step := evenstand.Second / 5
		type change struct {
			t evenstand.Micros
			v float64
		}
		want := make([][]change, rows)
		counts := fill(rows, 0)
		seeds := fill(rows, 0)
		for i := range n {
			rate := make([]float64, rows)
			working := make([]bool, rows)
			for r := range rate {
				rate[r] = float64(rapid.IntRange(0, 12_000).Draw(rt, "rate")) / 1000
				working[r] = rate[r] > 0
				counts[r] += math.Floor(rate[r])
				if i > 0 {
					seeds[r] += math.Floor(rate[r])
				}
				if k := want[r]; len(k) == 0 || k[len(k)-1].v != rate[r] {
					want[r] = append(want[r], change{fixAt(i, step).T, rate[r]})
				}
			}
			state := iso11783.On
			err := w.Record(iso11783.Record{
				Fix: fixAt(i, step), SeedRate: rate, SeedRateTarget: fill(rows, 8.5), BoomTarget: 8.5, SeedCount: counts,
				Skips: fill(rows, 0.0125), Doubles: fill(rows, 0.004), Singulation: fill(rows, 0.98), Force: fill(rows, 512), Working: working, Enabled: working,
				WorkState: state, Speed: 2.2, Heading: 271, HitchAngle: -3.5, LiquidRate: 4.7e-6, Tanks: []float64{1.25},
			})
			if err != nil {
				rt.Fatal(err)
			}
		}
		if err := w.Close(); err != nil {
			rt.Fatal(err)
		}
		src, c, unused := readOne(t, os.DirFS(dir), "")
		if len(unused) > 0 || len(c.unused) > 0 {
			rt.Fatalf("unused %v %v", unused, c.unused)
		}
		if len(c.fixes) != n {
			rt.Fatalf("%d fixes, want %d", len(c.fixes), n)
		}
		for i, f := range c.fixes {
			o := fixAt(i, step)
			if f.T != o.T || math.Abs(f.Lat-o.Lat) > 1e-7 || math.Abs(f.Lon-o.Lon) > 1e-7 || f.Kind != o.Kind || f.Sats != o.Sats || math.Abs(f.HDOP-o.HDOP) > 1e-9 || math.Abs(f.Alt-o.Alt) > 1e-3 {
				rt.Fatalf("fix %d: %+v, want %+v", i, f, o)
			}
		}
		late := evenstand.FromSeconds(opt.Latency)
		for r := range rows {
			el := evenstand.RowElement(r + 1)
			var got []change
			for _, x := range c.values(evenstand.SeedRate, el) {
				if len(got) == 0 || got[len(got)-1].v != math.Round(x.Value*1000)/1000 {
					got = append(got, change{x.T + late, math.Round(x.Value*1000) / 1000})
				}
			}
			if !slices.Equal(got, want[r]) {
				rt.Fatalf("row %d of %d:\n got %v\nwant %v", r+1, rows, got, want[r])
			}
			sum := 0.0
			for _, x := range c.values(evenstand.SeedCount, el) {
				sum += x.Value
			}
			// the last half second may not have been given yet
			if sum > seeds[r]+1e-9 || seeds[r]-sum > 12*6 {
				rt.Fatalf("row %d: %g seeds counted, want %g", r+1, sum, seeds[r])
			}
			for q, v := range map[evenstand.Quantity]float64{evenstand.SkipFraction: 0.0125, evenstand.DoubleFraction: 0.004, evenstand.GaugeWheelLoad: 512, evenstand.SeedRateTarget: 8.5} {
				xs := c.values(q, el)
				if len(xs) == 0 || math.Abs(xs[0].Value-v) > 1e-9 {
					rt.Fatalf("row %d: %v %v, want %g", r+1, q, xs, v)
				}
			}
		}
		m := evenstand.Element{}
		for q, v := range map[evenstand.Quantity]float64{evenstand.GroundSpeed: 2.2, evenstand.HitchAngle: -3.5, evenstand.LiquidRate: 4.7e-6} {
			xs := c.values(q, m)
			if len(xs) == 0 || math.Abs(xs[0].Value-v) > 1e-9 {
				rt.Fatalf("%v %v, want %g", q, xs, v)
			}
		}
		if xs := c.values(evenstand.TankContent, evenstand.Element{Scope: evenstand.ScopeTank, N: 1}); len(xs) == 0 || math.Abs(xs[0].Value-1.25) > 1e-9 {
			rt.Fatalf("tank %v", xs)
		}
		g := src.Card.Geometry
		if src.Card.Rows != rows || src.Card.Name != "the planter" || math.Abs(g.AntennaToHitch-2.6) > 1e-9 || math.Abs(g.HitchToRowLine-7.1) > 1e-9 || math.Abs(g.AntennaRight-0.1) > 1e-9 || g.Hitch != evenstand.Trailed {
			rt.Fatalf("card %+v", src.Card)
		}
		for r := 1; r <= rows; r++ {
			if math.Abs(src.Card.Y(r)-opt.Card.Y(r)) > 0.001 { // millimetres in the file
				rt.Fatalf("row %d at %g, want %g", r, src.Card.Y(r), opt.Card.Y(r))
			}
		}
		if src.Products["machine"] != "hybrid A" && rows > 1 {
			rt.Fatalf("products %v", src.Products)
		}
		if opt.Latency != 0 && math.Abs(src.Latency-opt.Latency) > 1e-9 {
			rt.Fatalf("latency %g, want %g", src.Latency, opt.Latency)
		}
	})
}

// smallSet writes a set of a few rows and records over two parallel logs.
func smallSet(t testing.TB, records int) string {
	t.Helper()
	dir := t.TempDir()
	w, err := iso11783.NewWriter(dir, iso11783.WriterOptions{
		Version: 4, Card: card(4), ColumnsPerLog: 6, Task: "day",
		Log: iso11783.LogSeedRate | iso11783.LogSkips | iso11783.LogWorking,
	})
	if err != nil {
		t.Fatal(err)
	}
	for i := range records {
		if err := w.Record(iso11783.Record{Fix: fixAt(i, evenstand.Second), SeedRate: fill(4, 8+float64(i%7)), Skips: fill(4, 0.01), Working: []bool{true, true, true, true}}); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return dir
}

func load(t testing.TB, dir string) fstest.MapFS {
	t.Helper()
	es, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	m := fstest.MapFS{}
	for _, e := range es {
		b, err := os.ReadFile(filepath.Join(dir, e.Name()))
		if err != nil {
			t.Fatal(err)
		}
		m[e.Name()] = &fstest.MapFile{Data: b}
	}
	return m
}

// readAll reads every source of an input and gives what came and what was
// said about the rest.
func readAll(t testing.TB, in fstest.MapFS) (*catch, []evenstand.Unused) {
	t.Helper()
	sources, _, unused, err := iso11783.Format{}.Find(t.Context(), in)
	if err != nil {
		t.Fatal(err)
	}
	c := &catch{}
	for _, s := range sources {
		s.Zone = "America/Chicago"
		if _, err := (iso11783.Format{}).Read(t.Context(), in, s, c); err != nil {
			t.Fatalf("%s: %v", s.Name, err)
		}
	}
	return c, append(unused, c.unused...)
}

// A set cut at any byte of any file: what was whole is used, nothing is made
// up, and something is said.
func TestCutAtEveryByte(t *testing.T) {
	whole := load(t, smallSet(t, 6))
	full, unused := readAll(t, whole)
	if len(full.fixes) != 6 || len(unused) != 0 {
		t.Fatalf("%d fixes, unused %v", len(full.fixes), unused)
	}
	seen := map[string]bool{}
	for _, r := range full.readings {
		seen[fmt.Sprint(r.Quantity, r.Value)] = true
	}
	for name, f := range whole {
		for cut := range len(f.Data) {
			in := fstest.MapFS{}
			for n, g := range whole {
				in[n] = g
			}
			in[name] = &fstest.MapFile{Data: f.Data[:cut]}
			got, unused := readAll(t, in)
			if len(got.fixes) > 6 {
				t.Fatalf("%s cut at %d: %d fixes of 6", name, cut, len(got.fixes))
			}
			if strings.HasPrefix(name, "TLG") && strings.HasSuffix(name, ".BIN") && len(got.fixes) != 6 {
				t.Fatalf("%s cut at %d: %d fixes; the parallel log holds all 6", name, cut, len(got.fixes))
			}
			for _, r := range got.readings {
				if strings.HasPrefix(name, "TLG") && !seen[fmt.Sprint(r.Quantity, r.Value)] {
					t.Fatalf("%s cut at %d: a reading that is not in the log: %+v", name, cut, r)
				}
			}
			complete := len(bytes.TrimSpace(f.Data)) <= cut
			if len(unused) == 0 && !complete && strings.HasSuffix(name, ".XML") {
				t.Fatalf("%s cut at %d of %d: nothing said", name, cut, len(f.Data))
			}
		}
	}
}

// One count byte too small by one, as the reference met it: five bytes too
// many, and only they are lost.
func TestResynchronise(t *testing.T) {
	in := load(t, smallSet(t, 60))
	h, err := iso11783.ParseHeader("TLG00001.XML", bytes.NewReader(in["TLG00001.XML"].Data))
	if err != nil {
		t.Fatal(err)
	}
	data := in["TLG00001.BIN"].Data
	var offsets []int64
	sc := iso11783.NewScanner(h, bytes.NewReader(data))
	for sc.Next() {
		offsets = append(offsets, sc.Record().Offset)
	}
	if len(offsets) != 60 {
		t.Fatalf("%d records", len(offsets))
	}
	head := 6 + 24 // before the count byte
	t.Run("count too small", func(t *testing.T) {
		bad := bytes.Clone(data)
		bad[offsets[30]+int64(head)]--
		sc := iso11783.NewScanner(h, bytes.NewReader(bad))
		n := 0
		for sc.Next() {
			n++
		}
		d := sc.Damage()
		if n != 60 || len(d) != 1 || d[0].Bytes != 5 {
			t.Errorf("%d records, damage %+v; want 60 and 5 bytes", n, d)
		}
	})
	t.Run("rubbish in the middle", func(t *testing.T) {
		rubbish := bytes.Repeat([]byte{0xa7, 0x13, 0xff}, 333)
		bad := slices.Concat(data[:offsets[20]], rubbish, data[offsets[20]:])
		sc := iso11783.NewScanner(h, bytes.NewReader(bad))
		n := 0
		for sc.Next() {
			n++
		}
		d := sc.Damage()
		if n != 60 || len(d) != 1 || d[0].Offset != offsets[20] || d[0].Bytes != int64(len(rubbish)) {
			t.Errorf("%d records, damage %+v; want 60 and %d bytes at %d", n, d, len(rubbish), offsets[20])
		}
	})
	t.Run("rubbish in front", func(t *testing.T) {
		bad := append([]byte{1, 2, 3, 4, 5, 6, 7}, data...)
		sc := iso11783.NewScanner(h, bytes.NewReader(bad))
		n := 0
		for sc.Next() {
			n++
		}
		if d := sc.Damage(); n != 60 || len(d) != 1 || d[0].Bytes != 7 {
			t.Errorf("%d records, damage %+v", n, d)
		}
	})
	t.Run("zeros at the end", func(t *testing.T) {
		bad := append(bytes.Clone(data), make([]byte, 4096)...)
		sc := iso11783.NewScanner(h, bytes.NewReader(bad))
		n := 0
		for sc.Next() {
			n++
		}
		if d := sc.Damage(); n != 60 || len(d) != 1 || d[0].Bytes != 4096 {
			t.Errorf("%d records, damage %+v; want 60 and the zeros", n, d)
		}
	})
	t.Run("all fields although the head lists fewer", func(t *testing.T) {
		short := *h
		for i := range short.Fields {
			if i > 3 {
				short.Fields[i] = iso11783.Absent
			}
		}
		sc := iso11783.NewScanner(&short, bytes.NewReader(data))
		n := 0
		for sc.Next() {
			n++
		}
		if n != 60 || !sc.OldLayout() || len(sc.Damage()) > 0 {
			t.Errorf("%d records, old layout %v, damage %v", n, sc.OldLayout(), sc.Damage())
		}
	})
	t.Run("through the reader", func(t *testing.T) {
		bad := fstest.MapFS{}
		for n, f := range in {
			bad[n] = f
		}
		b := bytes.Clone(data)
		b[offsets[30]+int64(head)]--
		bad["TLG00001.BIN"] = &fstest.MapFile{Data: b}
		c, unused := readAll(t, bad)
		if len(c.fixes) != 60 || len(unused) != 1 || unused[0].Of != "bytes" || unused[0].Count != 5 || unused[0].File != "TLG00001.BIN" {
			t.Errorf("%d fixes, unused %+v", len(c.fixes), unused)
		}
	})
}

// Some bytes overwritten anywhere in a log: all but the few records around the
// damage are read, as they were.
func TestOverwrittenBytes(t *testing.T) {
	in := load(t, smallSet(t, 60))
	h, err := iso11783.ParseHeader("TLG00001.XML", bytes.NewReader(in["TLG00001.XML"].Data))
	if err != nil {
		t.Fatal(err)
	}
	data := in["TLG00001.BIN"].Data
	read := func(b []byte) map[int64]string {
		m := map[int64]string{}
		for sc := iso11783.NewScanner(h, bytes.NewReader(b)); sc.Next(); {
			m[sc.Record().Offset] = fmt.Sprintf("%+v", *sc.Record())
		}
		return m
	}
	whole := read(data)
	rapid.Check(t, func(rt *rapid.T) {
		at := rapid.IntRange(0, len(data)-1).Draw(rt, "at")
		rubbish := rapid.SliceOfN(rapid.Byte(), 1, 80).Draw(rt, "bytes")
		bad := bytes.Clone(data)
		n := copy(bad[at:], rubbish)
		got := read(bad)
		lost := 0
		for offset, want := range whole {
			touched := offset < int64(at+n) && offset+61 > int64(at) // the longest record here has 61 bytes
			if r, ok := got[offset]; !touched && (!ok || r != want) {
				lost++
			}
		}
		if lost > 4 {
			rt.Fatalf("%d bytes at %d cost %d records beside them", n, at, lost)
		}
	})
}

func TestMissingFiles(t *testing.T) {
	whole := load(t, smallSet(t, 20))
	for _, tt := range []struct {
		gone, why string
		fixes     int
	}{
		{"TLG00001.BIN", "TLG00001.BIN, the log itself, is not there", 20},
		{"TLG00002.XML", "the list of columns, is not there", 20},
		{"TASKDATA.XML", "TASKDATA.XML is not there", 20},
	} {
		in := fstest.MapFS{}
		for n, f := range whole {
			if n != tt.gone {
				in[n] = f
			}
		}
		c, unused := readAll(t, in)
		said := slices.ContainsFunc(unused, func(u evenstand.Unused) bool { return strings.Contains(u.Why, tt.why) && u.Do != "" })
		if len(c.fixes) != tt.fixes || !said {
			t.Errorf("without %s: %d fixes, unused %+v", tt.gone, len(c.fixes), unused)
		}
	}
}

// Two boxes log the same task at the same time: both are kept, apart.
func TestTwoBoxes(t *testing.T) {
	a, b := load(t, smallSet(t, 20)), fstest.MapFS{}
	dir := t.TempDir()
	w, err := iso11783.NewWriter(dir, iso11783.WriterOptions{Card: card(4), Log: iso11783.LogSeedRate})
	if err != nil {
		t.Fatal(err)
	}
	for i := range 20 {
		f := fixAt(i, evenstand.Second)
		f.T += evenstand.Second / 3
		f.Lat += 0.001
		if err := w.Record(iso11783.Record{Fix: f, SeedRate: fill(4, 7)}); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	other := load(t, dir)
	for n, f := range a {
		b[n] = f
	}
	b["TLG00009.XML"], b["TLG00009.BIN"] = other["TLG00001.XML"], other["TLG00001.BIN"]
	b["TASKDATA.XML"] = &fstest.MapFile{Data: bytes.Replace(a["TASKDATA.XML"].Data, []byte("</TSK>"), []byte(`<TLG A="TLG00009" C="1"/></TSK>`), 1)}
	sources, _, unused, err := iso11783.Format{}.Find(t.Context(), b)
	if err != nil || len(sources) != 2 || len(unused) > 0 || sources[1].Name != "task TSK1, box 2" {
		t.Fatalf("sources %+v, unused %v, %v", sources, unused, err)
	}
	for _, s := range sources {
		c := &catch{}
		if _, err := (iso11783.Format{}).Read(t.Context(), b, s, c); err != nil || len(c.fixes) != 20 || len(c.unused) > 0 {
			t.Errorf("%s: %d fixes, %v, %v", s.Name, len(c.fixes), c.unused, err)
		}
	}
}

// A task that was paused: its logs follow each other and are one source.
func TestPausedTask(t *testing.T) {
	dir := t.TempDir()
	w, err := iso11783.NewWriter(dir, iso11783.WriterOptions{Card: card(4), Log: iso11783.LogSeedRate})
	if err != nil {
		t.Fatal(err)
	}
	for i := range 20 {
		f := fixAt(i, evenstand.Second)
		if i >= 10 {
			f.T += 600 * evenstand.Second
		}
		if i == 10 {
			if err := w.NextLog(); err != nil {
				t.Fatal(err)
			}
		}
		if err := w.Record(iso11783.Record{Fix: f, SeedRate: fill(4, 7)}); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	src, c, _ := readOne(t, os.DirFS(dir), "")
	if len(c.fixes) != 20 || len(src.Files) != 5 {
		t.Errorf("%d fixes, files %v", len(c.fixes), src.Files)
	}
	rs := c.values(evenstand.SeedRate, evenstand.RowElement(1))
	for i := 1; i < len(rs); i++ {
		if d := rs[i].T - rs[i-1].T; d > 2*evenstand.Second && d < 500*evenstand.Second {
			t.Errorf("a reading in the pause: %v to %v", rs[i-1].T, rs[i].T)
		}
	}
}

// Values are forgotten when the device is silent or the log pauses; states are
// not.
func TestStale(t *testing.T) {
	dir := t.TempDir()
	w, err := iso11783.NewWriter(dir, iso11783.WriterOptions{Card: card(2), Log: iso11783.LogSeedRate | iso11783.LogSpeed})
	if err != nil {
		t.Fatal(err)
	}
	// the tractor writes all the time, the planter only at second 0
	for i := range 31 {
		r := iso11783.Record{Fix: fixAt(i, evenstand.Second), Speed: 2 + float64(i)/100}
		if i == 0 {
			r.SeedRate = fill(2, 8)
		}
		if err := w.Record(r); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	_, c, _ := readOne(t, os.DirFS(dir), "")
	rs := c.values(evenstand.SeedRate, evenstand.RowElement(1))
	if len(rs) == 0 || rs[len(rs)-1].T != start+5*evenstand.Second {
		t.Errorf("%d rates, the last %v; want the last 5 s after the start", len(rs), rs[max(0, len(rs)-1):])
	}
	if n := len(c.values(evenstand.GroundSpeed, evenstand.Element{})); n != 31 {
		t.Errorf("%d speeds, want 31", n)
	}
}

func TestFixesDropped(t *testing.T) {
	dir := t.TempDir()
	w, err := iso11783.NewWriter(dir, iso11783.WriterOptions{Card: card(2), Log: iso11783.LogSeedRate})
	if err != nil {
		t.Fatal(err)
	}
	for i := range 60 {
		f := fixAt(i, evenstand.Second)
		switch {
		case i < 3:
			f.Lat, f.Lon = 0, 0
		case i == 20:
			f.Lat += 0.5 // away and back
		case i >= 40:
			f.Lon += 12 // another continent, and stays
		}
		if err := w.Record(iso11783.Record{Fix: f, SeedRate: fill(2, 8)}); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	_, c, _ := readOne(t, os.DirFS(dir), "")
	if len(c.fixes) != 56 {
		t.Errorf("%d fixes, want 60 less 3 at 0/0 and one stray", len(c.fixes))
	}
	counts := map[string]int64{}
	for _, u := range c.unused {
		counts[u.Why[:20]] = u.Count
	}
	if len(c.unused) != 3 || counts["their position is 0/"] != 3 || counts["their position jumps"] != 1 || counts["the position jumps f"] != 1 {
		t.Errorf("unused %+v", c.unused)
	}
}

// A box whose clock is 40 s fast beside a receiver that is right: readings and
// fixes come on the receiver's time.
func TestReceiverRightsTheClock(t *testing.T) {
	dir := t.TempDir()
	w, err := iso11783.NewWriter(dir, iso11783.WriterOptions{Card: card(2), Log: iso11783.LogSeedRate})
	if err != nil {
		t.Fatal(err)
	}
	for i := range 30 {
		f := fixAt(i, evenstand.Second)
		r := iso11783.Record{Fix: f, UTC: f.T, SeedRate: fill(2, 8)}
		r.Fix.T += 40 * evenstand.Second
		if err := w.Record(r); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	src, c, _ := readOne(t, os.DirFS(dir), "")
	if c.fixes[0].T != start || c.fixes[29].T != start+29*evenstand.Second || c.readings[0].T != start {
		t.Errorf("from %v to %v, want from %v", c.fixes[0].T, c.fixes[29].T, start)
	}
	if !strings.Contains(strings.Join(src.Notes, " "), "40.0 s off") {
		t.Errorf("notes %q", src.Notes)
	}
}

// GPS dates that count from 1970, as one controller writes (reference,
// section 7: 19284 against 15632 for the same day).
func TestDateFrom1970(t *testing.T) {
	in := load(t, smallSet(t, 5))
	for _, n := range []string{"TLG00001", "TLG00002"} {
		h, err := iso11783.ParseHeader(n, bytes.NewReader(in[n+".XML"].Data))
		if err != nil {
			t.Fatal(err)
		}
		b := bytes.Clone(in[n+".BIN"].Data)
		for sc := iso11783.NewScanner(h, bytes.NewReader(in[n+".BIN"].Data)); sc.Next(); {
			at := sc.Record().Offset + 6 + 22
			day := sc.Record().GPSDate + 3652
			b[at], b[at+1] = byte(day), byte(day>>8)
		}
		in[n+".BIN"] = &fstest.MapFile{Data: b}
	}
	c, _ := readAll(t, in)
	if len(c.fixes) != 5 || c.fixes[0].T != start {
		t.Errorf("%d fixes from %v, want 5 from %v", len(c.fixes), c.fixes[0].T, start)
	}
}

func TestPrescriptionRoundTrip(t *testing.T) {
	root := t.TempDir()
	round := 0
	rapid.Check(t, func(rt *rapid.T) {
		round++
		dir := filepath.Join(root, fmt.Sprint(round))
		g := iso11783.Grid{
			South: 41.5, West: -93.5, CellNorth: 0.0000902618210782717, CellEast: 0.00012,
			Cols: rapid.IntRange(1, 12).Draw(rt, "cols"), Rows: rapid.IntRange(1, 12).Draw(rt, "rows"), Type: rapid.IntRange(1, 2).Draw(rt, "type"),
			Layers: []iso11783.GridLayer{{DDI: 11}, {DDI: 1}},
		}
		for range g.Cols * g.Rows * 2 {
			v := rapid.SampledFrom([]int32{0, 700, 850, 85720}).Draw(rt, "rate")
			g.Values = append(g.Values, v)
		}
		err := iso11783.WritePrescription(dir, iso11783.Prescription{Version: rapid.SampledFrom([]int{3, 4}).Draw(rt, "version"), Task: "make-up", Field: "north 80", Products: []string{"hybrid A", "starter"}, Grid: g})
		if err != nil {
			rt.Fatal(err)
		}
		sets, unused, err := iso11783.Open(t.Context(), os.DirFS(dir))
		if err != nil || len(unused) > 0 || len(sets[0].Unused) > 0 {
			rt.Fatal(err, unused)
		}
		got, err := sets[0].ReadGrid(sets[0].Tasks[0])
		if err != nil {
			rt.Fatal(err)
		}
		if got.Cols != g.Cols || got.Rows != g.Rows || got.CellNorth != g.CellNorth || !slices.Equal(got.Values, g.Values) {
			rt.Fatalf("got %+v", got)
		}
	})
}

// zipOf packs files, with bytes in front of the first entry.
func zipOf(t testing.TB, in fstest.MapFS, front string) []byte {
	t.Helper()
	var b bytes.Buffer
	b.WriteString(front)
	w := zip.NewWriter(&b)
	for _, n := range []string{"TASKDATA.XML", "TLG00001.XML", "TLG00001.BIN", "TLG00002.XML", "TLG00002.BIN"} {
		f, err := w.Create("TASKDATA/" + n)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := f.Write(in[n].Data); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestZip(t *testing.T) {
	in := load(t, smallSet(t, 20))
	for _, front := range []string{"", "some junk that a web page put here\r\n"} {
		b := zipOf(t, in, front)
		z, err := iso11783.OpenZip(bytes.NewReader(b), int64(len(b)))
		if err != nil {
			t.Fatal(err)
		}
		_, c, _ := readOne(t, z, "")
		if len(c.fixes) != 20 {
			t.Errorf("%d fixes, want 20", len(c.fixes))
		}
	}
	// cut off: no directory at the end; the entries before the cut are read
	b := zipOf(t, in, "")
	cut := b[:len(b)-700]
	z, err := iso11783.OpenZip(bytes.NewReader(cut), int64(len(cut)))
	if err != nil {
		t.Fatal(err)
	}
	_, c, _ := readOne(t, z, "")
	if len(c.fixes) != 20 {
		t.Errorf("cut archive: %d fixes, want 20", len(c.fixes))
	}
	if _, err := iso11783.OpenZip(strings.NewReader("no archive"), 10); err == nil {
		t.Error("text was taken for an archive")
	}
}

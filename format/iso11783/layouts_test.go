package iso11783_test

import (
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
)

// logSet writes one log under a hand-made TASKDATA.XML.
func logSet(t *testing.T, task string, h *iso11783.Header, records []iso11783.LogRecord) fstest.MapFS {
	t.Helper()
	dir := t.TempDir()
	w, err := iso11783.NewLogWriter(dir, "TLG00001", h)
	if err != nil {
		t.Fatal(err)
	}
	for i := range records {
		if err := w.Write(&records[i]); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "TaskData.xml"), []byte(task), 0o666); err != nil {
		t.Fatal(err)
	}
	return load(t, dir)
}

const nothing = `<ISO11783_TaskData VersionMajor="4"><TSK A="TSK-1" G="2"><TLG A="TLG00001" C="1"/></TSK></ISO11783_TaskData>`

// day15632 is 2022-10-19 (reference, section 4).
const day15632 = 15632

func records(n int, each func(i int, r *iso11783.LogRecord)) []iso11783.LogRecord {
	rs := make([]iso11783.LogRecord, n)
	for i := range rs {
		rs[i] = iso11783.LogRecord{Millis: 36_000_000 + uint32(i)*1000, Date: day15632, North: 415_000_000 + int32(i)*200, East: -935_000_000, Status: 4}
		each(i, &rs[i])
	}
	return rs
}

// The ways in which the instant of a record is found. 2022-10-19T10:00:00 on
// the controller's clock is 15:00:00 UTC with UTC-5.
func TestClocks(t *testing.T) {
	const want = "2022-10-19T15:00:00Z"
	for _, tt := range []struct {
		name, task, zone string
		gps, date        bool
		each             func(i int, r *iso11783.LogRecord)
		first            string
	}{
		{"receiver's time and date", nothing, "", true, true, func(i int, r *iso11783.LogRecord) {
			r.GPSMillis, r.GPSDate = 54_000_000+uint32(i)*1000, day15632
		}, want},
		{"receiver 1024 weeks early", nothing, "", true, true, func(i int, r *iso11783.LogRecord) {
			r.GPSMillis, r.GPSDate = 54_000_000+uint32(i)*1000, day15632-7168
		}, want},
		{"receiver's time of day only", nothing, "", true, false, func(i int, r *iso11783.LogRecord) {
			r.GPSMillis = 54_000_000 + uint32(i)*1000
		}, want},
		{"receiver's time stands still: the zone is asked for", nothing, "America/Chicago", true, true, func(i int, r *iso11783.LogRecord) {
			r.GPSMillis, r.GPSDate = 1, day15632
		}, want},
		{"the zone of the person", nothing, "America/Chicago", false, false, func(int, *iso11783.LogRecord) {}, want},
		{
			"the list of tasks proves the offset",
			strings.Replace(nothing, "<TLG", `<TIM A="2022-10-19T09:59:57-05:00" D="4"/><TLG`, 1), "", false, false, func(int, *iso11783.LogRecord) {}, want,
		},
		{
			"the list of tasks proves that the clock is UTC",
			strings.Replace(nothing, "<TLG", `<TIM A="2022-10-19T09:59:57Z" D="4"/><TLG`, 1), "", false, false, func(int, *iso11783.LogRecord) {}, "2022-10-19T10:00:00Z",
		},
	} {
		t.Run(tt.name, func(t *testing.T) {
			h := &iso11783.Header{Time: iso11783.InRecord}
			for f := range 4 {
				h.Fields[f] = iso11783.InRecord
			}
			if tt.gps {
				h.Fields[7] = iso11783.InRecord
			}
			if tt.date {
				h.Fields[8] = iso11783.InRecord
			}
			in := logSet(t, tt.task, h, records(30, tt.each))
			src, c, unused := readOne(t, in, tt.zone)
			if len(unused)+len(c.unused) > 0 || len(c.fixes) != 30 || c.fixes[0].T.String() != tt.first {
				t.Errorf("%d fixes from %v, want %s; unused %v %v; notes %v", len(c.fixes), c.fixes[0].T, tt.first, unused, c.unused, src.Notes)
			}
			if src.Grade != evenstand.GradeD {
				t.Errorf("grade %v of a log with positions only, want D", src.Grade)
			}
		})
	}
}

// A clock without zone is read as the one that the caller names, who is named
// in turn; the source's own zone goes before. 10:00 is 15:00 UTC in Chicago
// and 16:00 UTC in Denver, both on summer time in October.
func TestZoneOfTheCaller(t *testing.T) {
	h := &iso11783.Header{Time: iso11783.InRecord}
	for f := range 4 {
		h.Fields[f] = iso11783.InRecord
	}
	in := logSet(t, nothing, h, records(30, func(int, *iso11783.LogRecord) {}))
	f := iso11783.Format{Zone: "America/Denver", Whose: "the logbook's"}
	for _, tt := range []struct{ own, first, note string }{
		{"", "2022-10-19T16:00:00Z", "Its clock has no zone; read as the logbook's, America/Denver."},
		{"America/Chicago", "2022-10-19T15:00:00Z", "Its clock has no zone; read as America/Chicago."},
	} {
		sources, _, _, err := f.Find(t.Context(), in)
		if err != nil || len(sources) != 1 {
			t.Fatalf("%v, %v", sources, err)
		}
		sources[0].Zone = tt.own
		c := &catch{}
		src, err := f.Read(t.Context(), in, sources[0], c)
		if err != nil || len(c.fixes) != 30 || c.fixes[0].T.String() != tt.first || !slices.Contains(src.Notes, tt.note) {
			t.Errorf("own zone %q: %d fixes, notes %q, %v", tt.own, len(c.fixes), src.Notes, err)
		}
		if !math.IsNaN(src.ClockOffset) {
			t.Errorf("own zone %q: offset %v, but nobody knows how far the clock is off", tt.own, src.ClockOffset)
		}
	}
}

// A drill of 20 rows in two sections, as a description and as log columns,
// with a fixed status in the head, a constant column, a bus column and an
// element that nobody describes.
func TestSectionsAndConstants(t *testing.T) {
	const task = `<?xml version="1.0" encoding="ISO-8859-1"?>
<ISO11783_TaskData VersionMajor="3" VersionMinor="3" X_Maker="kept">
 <!-- a comment -->
 <DVC A="DVC-1" B="drill" D="A00884000000A002">
  <DET A="DET-1" B="1" C="1" D="drill" E="0" F="0"/>
  <DET A="DET-2" B="2" C="2" D="boom" E="1" F="1"><DOR A="10"/><DOR A="11"/></DET>
  <DET A="DET-4" B="4" C="4" D="right" E="2" F="2"><DOR A="14"/><DOR A="15"/><DOR A="16"/></DET>
  <DET A="DET-3" B="3" C="4" D="left" E="3" F="2"><DOR A="12"/><DOR A="15"/><DOR A="16"/></DET>
  <DPD A="10" B="000C" C="1" D="9"/><DPD A="11" B="00A1" C="1" D="9"/>
  <DPT A="12" B="0087" C="-1250"/><DPT A="14" B="0087" C="1250"/><DPT A="15" B="0043" C="2500"/><DPT A="16" B="009F" C="10"/>
 </DVC>
 <DVC A="DVC-1" B="drill again"><DET A="DET-1" B="1" C="1" E="0" F="0"/></DVC>
 <TSK A="TSK-1" B="Süd" G="2"><TLG A="TLG00001" C="1"/></TSK>
</ISO11783_TaskData>`
	h := &iso11783.Header{Time: iso11783.InRecord}
	h.Fields[0], h.Fields[1], h.Fields[3] = iso11783.InRecord, iso11783.InRecord, iso11783.Fixed
	h.Values[3] = "1"
	col := func(d iso11783.DDI, e string) iso11783.Column { return iso11783.Column{DDI: d, Element: e, PGN: -1} }
	h.Columns = []iso11783.Column{
		col(161, "DET-2"), col(12, "DET-3"), col(12, "DET-4"),
		{DDI: 397, Element: "DET-1", PGN: -1, Constant: true, Value: 2500},
		{DDI: 57342, Element: "DET-99", PGN: 129026, Start: 16, End: 31},
		col(60001, "DET-99"), col(17, "DET-2"), col(427, "DET-3"),
	}
	rs := records(20, func(i int, r *iso11783.LogRecord) {
		if i == 0 {
			// left on, right off, the rest not installed
			r.Values = []iso11783.Value{{0, int32(uint32(0xfffffff1) & 0x7fffffff)}, {1, 300_000}, {2, 250_000}, {4, 15708}, {5, 77}, {6, 4}, {7, iso11783.Missing}}
		}
		if i == 10 {
			r.Values = []iso11783.Value{{0, -1&^0xf | 0x5}}
		}
	})
	in := logSet(t, task, h, rs)
	src, c, unused := readOne(t, in, "UTC")
	if len(unused) > 0 || src.Name != "task TSK-1" {
		t.Fatalf("unused %v, name %q", unused, src.Name)
	}
	if src.Card.Rows != 20 || math.Abs(src.Card.RowSpacing-0.25) > 1e-9 || len(src.Card.Sections) != 2 || src.Card.Sections[0].Rows.String() != "1-10" || src.Card.Sections[1].Rows.String() != "11-20" {
		t.Fatalf("card %+v", src.Card)
	}
	// section 1 is the left one, which the description lists second
	for n, want := range map[int16]float64{1: 300, 2: 250} {
		xs := c.values(evenstand.SeedRate, evenstand.Element{Scope: evenstand.ScopeSection, N: n})
		if len(xs) == 0 || xs[0].Value != want {
			t.Errorf("section %d: %v, want %g", n, xs, want)
		}
	}
	// bit pairs: 1 for the left section's rows, 0 for the right's, then 1 for both
	for row, want := range map[int][]float64{1: {1}, 10: {1}, 11: {0, 1}, 20: {0, 1}} {
		var got []float64
		for _, r := range c.values(evenstand.RowWorking, evenstand.RowElement(row)) {
			got = append(got, r.Value)
		}
		if !slices.Equal(got, want) {
			t.Errorf("row %d at work: %v, want %v", row, got, want)
		}
	}
	if v := c.values(evenstand.GroundSpeed, evenstand.Element{}); len(v) == 0 || v[0].Value != 2.5 {
		t.Errorf("the constant column: %v", v)
	}
	// 15708e-4 rad is 90 degrees
	if v := c.values(evenstand.Heading, evenstand.Element{}); len(v) == 0 || math.Abs(v[0].Value-90) > 0.01 {
		t.Errorf("course from the bus column: %v", v)
	}
	if src.Grade != evenstand.GradeC {
		t.Errorf("grade %v, want C", src.Grade)
	}
	missing := slices.ContainsFunc(c.unused, func(u evenstand.Unused) bool { return u.Count == 1 && strings.Contains(u.Why, "missing") })
	if !missing {
		t.Errorf("unused %+v, want one missing value", c.unused)
	}
	joined := strings.Join(src.Notes, " ")
	for _, want := range []string{"60001", "DET-99", "where the antenna is", "read as UTC"} {
		if !strings.Contains(joined, want) {
			t.Errorf("notes %q do not speak of %s", joined, want)
		}
	}
	for _, r := range c.readings {
		if r.Quantity == evenstand.Raw && r.Code == 60001 && r.Value != 77 {
			t.Errorf("a maker's own number was changed: %+v", r)
		}
	}
}

// The dictionary's resolutions, each from ddi.csv and one hand calculation.
func TestDictionary(t *testing.T) {
	for _, tt := range []struct {
		ddi  iso11783.DDI
		unit string
		raw  float64
		want float64
	}{
		{12, "/m²", 85720, 85.72}, // reference, section 5
		{1, "mm³/m²", 10000, 100}, // 1 L/ha = 100 mm3/m2 = 10000 raw (section 9)
		{6, "mg/m²", 100, 100},    // 1 kg/ha = 100 mg/m2 = 100 raw
		{417, "ppm", 7960, 7960},
		{466, "°", 64400, 64.4},
	} {
		e, ok := iso11783.Dictionary(tt.ddi)
		if !ok || e.Unit != tt.unit || math.Abs(tt.raw*e.Resolution-tt.want) > 1e-9 {
			t.Errorf("DDI %d: %+v", tt.ddi, e)
		}
	}
	if _, ok := iso11783.Dictionary(60000); ok || !iso11783.DDI(60000).MakerOwn() || iso11783.DDI(57343).MakerOwn() {
		t.Error("60000 is a maker's own number and 57343 is not")
	}
}

func TestWriterRefuses(t *testing.T) {
	dir := t.TempDir()
	if _, err := iso11783.NewWriter(dir, iso11783.WriterOptions{Card: evenstand.NewCard()}); err == nil {
		t.Error("a card without rows")
	}
	if _, err := iso11783.NewWriter(dir, iso11783.WriterOptions{Version: 2, Card: card(2)}); err == nil {
		t.Error("version 2")
	}
	w, err := iso11783.NewWriter(dir, iso11783.WriterOptions{Card: card(2), Log: iso11783.LogSeedRate, Task: strings.Repeat("ü", 50)})
	if err != nil {
		t.Fatal(err)
	}
	if err := w.Record(iso11783.Record{Fix: evenstand.NewFix(0, 1, 1)}); err == nil {
		t.Error("a record in 1970")
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	if err := w.Record(iso11783.Record{Fix: fixAt(0, 1)}); err == nil {
		t.Error("a record after Close")
	}
	if _, err := iso11783.NewWriter(dir, iso11783.WriterOptions{Card: card(2)}); err == nil {
		t.Error("a folder that holds task data")
	}
	b, err := os.ReadFile(filepath.Join(dir, "TASKDATA.XML"))
	if err != nil || !strings.Contains(string(b), `"`+strings.Repeat("ü", 32)+`"`) {
		t.Errorf("the task's name is not cut at 32 characters: %s %v", b, err)
	}
}

func ExampleNewWriter() {
	dir, _ := os.MkdirTemp("", "taskdata")
	defer os.RemoveAll(dir)
	c := evenstand.NewCard()
	c.Rows, c.RowSpacing = 4, 0.762
	w, _ := iso11783.NewWriter(dir, iso11783.WriterOptions{Version: 4, Card: c, Task: "north 80", Log: iso11783.LogSeedRate | iso11783.LogSkips})
	t := evenstand.FromTime(time.Date(2026, 5, 2, 15, 0, 0, 0, time.UTC))
	_ = w.Record(iso11783.Record{Fix: evenstand.NewFix(t, 41.5, -93.5), SeedRate: []float64{8.4, 8.5, 0, 8.5}, Skips: []float64{0, 0.01, 0, 0}})
	_ = w.Close()
	files, _ := filepath.Glob(dir + "/*")
	for _, f := range files {
		fmt.Println(filepath.Base(f))
	}
	// Output:
	// TASKDATA.XML
	// TLG00001.BIN
	// TLG00001.XML
}

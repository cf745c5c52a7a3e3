package iso11783_test

import (
	"math"
	"os"
	"slices"
	"strings"
	"testing"

	"evenstand"
	"evenstand/format/formattest"
	"evenstand/format/iso11783"
)

// Expected values of this file: samples/README.md, "seeder-bench",
// "empty-logs" and "grids".

func TestSeederBench(t *testing.T) {
	in := os.DirFS(formattest.Shared(t, "samples/seeder-bench"))
	sets, _, err := iso11783.Open(t.Context(), in)
	if err != nil {
		t.Fatal(err)
	}
	s := sets[0]
	elements := 0
	for _, d := range s.Devices {
		elements += len(d.Elements)
	}
	if s.Major != 3 || s.Minor != 3 || len(s.Devices) != 18 || elements != 393 || len(s.Tasks) != 2 {
		t.Errorf("V%d.%d, %d devices, %d elements, %d tasks", s.Major, s.Minor, len(s.Devices), elements, len(s.Tasks))
	}
	for _, task := range s.Tasks {
		if g, err := s.ReadGrid(task); err != nil || g.Cols != 14 || g.Rows != 14 || g.Type != 2 {
			t.Errorf("grid of %s: %v", task.ID, err)
		}
	}
	l, err := s.OpenLog("TLG00001")
	if err != nil {
		t.Fatal(err)
	}
	j, err := s.Join([]*iso11783.Log{l})
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	records, values := 0, 0
	var first, last iso11783.JoinedRecord
	ddis := map[int]bool{}
	for j.Next() {
		r := j.Record()
		if records == 0 {
			first = *r
		}
		last = *r
		records++
		values += len(r.Values)
		if r.Status != 4 || r.GPSMillis != 0 {
			t.Fatalf("record %d: status %d, GPS time %d", records, r.Status, r.GPSMillis)
		}
	}
	for _, c := range j.Columns {
		ddis[int(c.DDI)] = true
		if e := s.Element(c.Element); e == nil || e.Device.ID != "DVC-36" {
			t.Errorf("column of %s, want an element of DVC-36", c.Element)
		}
	}
	want := []int{11, 12, 13, 67, 70, 134, 135, 141, 157, 158, 160, 161, 179, 290}
	got := []int{}
	for d := range ddis {
		got = append(got, d)
	}
	slices.Sort(got)
	if l.Size != 14717 || len(j.Columns) != 38 || records != 373 || values != 1153 || !slices.Equal(got, want) {
		t.Errorf("%d bytes, %d columns, %d records, %d values, DDIs %v", l.Size, len(j.Columns), records, values, got)
	}
	// 16:03:17.000 to 16:05:28.400
	if first.Millis != 57_797_000 || last.Millis != 57_928_400 || first.Date != 15632 {
		t.Errorf("day %d, %d to %d ms", first.Date, first.Millis, last.Millis)
	}
}

func TestSeederBenchStream(t *testing.T) {
	in := os.DirFS(formattest.Shared(t, "samples/seeder-bench"))
	sources, _, _, err := iso11783.Format{}.Find(t.Context(), in)
	if err != nil || len(sources) != 1 {
		t.Fatalf("%v, %v", sources, err)
	}
	// the receiver's time is constantly 0: no clock, so somebody must say the zone
	_, err = iso11783.Format{}.Read(t.Context(), in, sources[0], &catch{})
	if err == nil || !strings.Contains(err.Error(), "which zone the cab's clock was set to") {
		t.Fatalf("err = %v, want one that asks for the zone", err)
	}
	src, c, _ := readOne(t, in, "America/Chicago")
	if got := c.fixes[0].T.String(); got != "2022-10-19T21:03:17Z" { // UTC-5 in October
		t.Errorf("first fix at %s", got)
	}
	if len(c.fixes) != 373 {
		t.Errorf("%d fixes, want 373", len(c.fixes))
	}
	jumps := 0
	for _, u := range c.unused {
		if strings.Contains(u.Why, "jumps") {
			jumps++
			if u.Count != 1 {
				t.Errorf("%d jumps, want one", u.Count)
			}
		}
	}
	if jumps != 1 {
		t.Errorf("unused %+v, want the jump before record 16", c.unused)
	}
	if f := c.fixes[16]; math.Abs(f.Lat-41.85) > 0.001 || math.Abs(f.Lon+93.83) > 0.006 {
		t.Errorf("record 16 at %g %g, want 41.85 -93.83", f.Lat, f.Lon)
	}
	if src.Card == nil || src.Card.Rows != 6 || math.Abs(src.Card.RowSpacing-0.75) > 1e-9 || src.Card.Geometry.Hitch != evenstand.Mounted {
		t.Errorf("card %+v", src.Card)
	}
	if !math.IsNaN(src.Card.Geometry.AntennaToHitch) {
		t.Error("no device says where the antenna is, so it must stay unknown")
	}
	if src.Grade != evenstand.GradeC {
		t.Errorf("grade %v, want C: rates of the whole machine only", src.Grade)
	}
	if on := c.values(evenstand.RowWorking, evenstand.RowElement(6)); len(on) == 0 || on[0].Value != 1 { // 0xFFFFF555
		t.Errorf("row 6 at work: %v", on)
	}
}

func TestEmptyLogs(t *testing.T) {
	in := os.DirFS(formattest.Shared(t, "samples/empty-logs"))
	sets, _, err := iso11783.Open(t.Context(), in)
	if err != nil || len(sets) != 1 || len(sets[0].Devices) != 11 || len(sets[0].Tasks) != 4 {
		t.Fatalf("%v, %v", sets, err)
	}
	sources, claimed, unused, err := iso11783.Format{}.Find(t.Context(), in)
	if err != nil || len(sources) != 0 || len(claimed) != 13 {
		t.Errorf("sources %v, claimed %v, err %v", sources, claimed, err)
	}
	if len(unused) != 1 || unused[0].Count != 6 || !strings.Contains(unused[0].Why, "6 empty logs") {
		t.Errorf("unused %+v, want 6 empty logs", unused)
	}
	records := 0
	for i := 1; i <= 6; i++ {
		name := "TLG0000" + string(rune('0'+i))
		l, err := sets[0].OpenLog(name)
		if err != nil {
			t.Fatal(err)
		}
		j, err := sets[0].Join([]*iso11783.Log{l})
		if err != nil {
			t.Fatal(err)
		}
		for j.Next() {
			r := j.Record()
			records++
			// 2015-06-12 is day 12946 since 1980; 12:44:16.000 to 12:59:07.700
			if r.North != 0 || r.East != 0 || r.Status != 0 || r.Date != 12946 || r.Millis < 45_856_000 || r.Millis > 46_747_700 || l.Size != 24 {
				t.Errorf("%s: %+v", name, r)
			}
		}
		j.Close()
	}
	if records != 6 {
		t.Errorf("%d records, want 6", records)
	}
}

func TestGrids(t *testing.T) {
	for _, tt := range []struct {
		name       string
		cols, rows int
		layers     []iso11783.DDI
		refused    string
	}{
		{"Type1", 10, 10, []iso11783.DDI{6}, ""},
		{"Type1_Invalid", 0, 0, nil, "the file has 32"},
		{"Type2", 10, 10, []iso11783.DDI{6, 1, 11}, ""},
		{"Type2_Invalid", 0, 0, nil, "want 2400 bytes, and the file has 1200"},
		{"Type2_ReadValue", 20, 20, []iso11783.DDI{6}, ""},
	} {
		t.Run(tt.name, func(t *testing.T) {
			sets, _, err := iso11783.Open(t.Context(), os.DirFS(formattest.Shared(t, "samples/grids/"+tt.name)))
			if err != nil || len(sets) != 1 {
				t.Fatal(sets, err)
			}
			g, err := sets[0].ReadGrid(sets[0].Tasks[0])
			_, _, unused, findErr := iso11783.Format{}.Find(t.Context(), os.DirFS(formattest.Shared(t, "samples/grids/"+tt.name)))
			said := slices.ContainsFunc(unused, func(u evenstand.Unused) bool { return strings.Contains(u.Why, "prescription is refused") })
			if findErr != nil || said != (tt.refused != "") {
				t.Errorf("unused %+v, %v", unused, findErr)
			}
			if tt.refused != "" {
				if err == nil || !strings.Contains(err.Error(), tt.refused) {
					t.Fatalf("err = %v, want %q", err, tt.refused)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			var ddis []iso11783.DDI
			for _, l := range g.Layers {
				ddis = append(ddis, l.DDI)
			}
			if g.Cols != tt.cols || g.Rows != tt.rows || !slices.Equal(ddis, tt.layers) {
				t.Errorf("%d x %d with layers %v", g.Cols, g.Rows, ddis)
			}
			switch tt.name {
			case "Type1":
				// codes run to 23 and only 0 and 1 are defined: no rate known, never 0
				if slices.Max(g.Codes) != 23 || g.Unknown == 0 {
					t.Errorf("highest code %d, %d cells without zone", slices.Max(g.Codes), g.Unknown)
				}
				for i, c := range g.Codes {
					if v := g.Value(i%10, i/10, 0); (c > 1) != math.IsNaN(v) {
						t.Fatalf("cell %d: code %d gives %g", i, c, v)
					}
				}
			case "Type2_ReadValue":
				// raw 5 in DDI 6 is 5 mg/m2, whatever the presentation shows
				if v := g.Value(0, 0, 0); v != 5 {
					t.Errorf("first cell %g mg/m2, want 5", v)
				}
			}
		})
	}
}

// Several sets in one input, in any case of letters, with a Mac's side files.
func TestSeveralSets(t *testing.T) {
	root := t.TempDir()
	for _, name := range []string{"planter-32row", "seeder-bench"} {
		from := formattest.Shared(t, "samples/"+name)
		to := root + "/cab/2022/" + name + "/a/b/TaskData"
		if err := os.MkdirAll(to, 0o777); err != nil {
			t.Fatal(err)
		}
		es, err := os.ReadDir(from)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range es {
			b, err := os.ReadFile(from + "/" + e.Name())
			if err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(to+"/"+strings.ToLower(e.Name()), b, 0o666); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(to+"/._"+e.Name(), []byte("junk"), 0o666); err != nil {
				t.Fatal(err)
			}
		}
	}
	if err := os.MkdirAll(root+"/__MACOSX/TaskData", 0o777); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(root+"/__MACOSX/TaskData/._TASKDATA.XML", []byte("junk"), 0o666); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(root+"/notes.txt", []byte("mine"), 0o666); err != nil {
		t.Fatal(err)
	}
	sources, claimed, unused, err := iso11783.Format{}.Find(t.Context(), os.DirFS(root))
	if err != nil || len(sources) != 2 || len(unused) != 0 {
		t.Fatalf("%d sources, unused %v, %v", len(sources), unused, err)
	}
	if sources[0].Name != "cab/2022/planter-32row/a/b/TaskData task TSK4" {
		t.Errorf("source %q", sources[0].Name)
	}
	if slices.Contains(claimed, "notes.txt") || len(claimed) != 2*(21+5)+1 {
		t.Errorf("%d claimed: %v", len(claimed), claimed)
	}
	c := &catch{}
	if _, err := (iso11783.Format{}).Read(t.Context(), os.DirFS(root), sources[0], c); err != nil || len(c.fixes) != 3633 {
		t.Errorf("%d fixes, %v", len(c.fixes), err)
	}
}

package iso11783_test

import (
	"archive/zip"
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"io/fs"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"evenstand"
	"evenstand/format/formattest"
	"evenstand/format/iso11783"
)

// secondReader installs the library of testdata/npm into a cache folder
// outside the tree and gives the folder, or skips.
func secondReader(t *testing.T) string {
	t.Helper()
	if testing.Short() {
		t.Skip("comparing with a second reader takes a download; not with -short")
	}
	for _, tool := range []string{"node", "npm"} {
		if _, err := exec.LookPath(tool); err != nil {
			t.Skipf("no %s here, so there is no second reader of task data to compare with", tool)
		}
	}
	lock, err := os.ReadFile("testdata/npm/package-lock.json")
	if err != nil {
		t.Fatal(err)
	}
	cache, err := os.UserCacheDir()
	if err != nil {
		cache = os.TempDir()
	}
	dir := filepath.Join(cache, "evenstand-tests", fmt.Sprintf("npm-%x", sha256.Sum256(lock))[:20])
	copyIn := func(to string) {
		for _, n := range []string{"package.json", "package-lock.json", "read.js"} {
			b, err := os.ReadFile(filepath.Join("testdata/npm", n))
			if err == nil {
				err = os.WriteFile(filepath.Join(to, n), b, 0o666)
			}
			if err != nil {
				t.Fatal(err)
			}
		}
	}
	if _, err := os.Stat(filepath.Join(dir, "node_modules", "isoxml")); err == nil {
		copyIn(dir)
		return dir
	}
	if err := os.MkdirAll(filepath.Dir(dir), 0o777); err != nil {
		t.Fatal(err)
	}
	tmp, err := os.MkdirTemp(filepath.Dir(dir), "npm")
	if err != nil {
		t.Fatal(err)
	}
	defer os.RemoveAll(tmp)
	copyIn(tmp)
	ctx, stop := context.WithTimeout(t.Context(), 4*time.Minute)
	defer stop()
	cmd := exec.CommandContext(ctx, "npm", "ci", "--no-audit", "--no-fund", "--ignore-scripts")
	cmd.Dir = tmp
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Skipf("the npm registry does not give the second reader (%v), so nothing is compared with it: %.300s", err, out)
	}
	if err := os.Rename(tmp, dir); err != nil { // another test run was faster
		if _, err := os.Stat(filepath.Join(dir, "node_modules", "isoxml")); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

type foreign struct {
	Version  int
	Warnings []string
	Elements int
	Tasks    []struct {
		ID   string
		Logs []struct {
			Errors  []string
			Columns int
			Records [][4]json.RawMessage
		}
		Zones []struct {
			Code  int
			Rates [][2]int32
		}
		Grids []struct {
			Columns, Rows, Type int
			Bytes               string
		}
	}
}

// askSecondReader packs a folder under the name TASKDATA and has it read.
func askSecondReader(t *testing.T, reader string, in fs.FS) foreign {
	t.Helper()
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	names, err := fs.Glob(in, "*")
	if err != nil {
		t.Fatal(err)
	}
	for _, n := range names {
		data, err := fs.ReadFile(in, n)
		if err != nil {
			t.Fatal(err)
		}
		f, err := w.Create("TASKDATA/" + n)
		if err == nil {
			_, err = f.Write(data)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "set.zip")
	if err := os.WriteFile(file, b.Bytes(), 0o666); err != nil {
		t.Fatal(err)
	}
	cmd := exec.CommandContext(t.Context(), "node", "read.js", file)
	cmd.Dir = reader
	var errs bytes.Buffer
	cmd.Stderr = &errs
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("the second reader failed: %v %.500s", err, errs.String())
	}
	var f foreign
	if err := json.Unmarshal(out, &f); err != nil {
		t.Fatal(err)
	}
	// it looks for tlg00001.bin and says when a name is in capitals, as the
	// standard writes them
	f.Warnings = slices.DeleteFunc(f.Warnings, func(w string) bool { return strings.HasPrefix(w, "Letter case of filename") })
	return f
}

// sameLogs compares every record and value of every log.
func sameLogs(t *testing.T, in fs.FS, f foreign) (records, values int) {
	t.Helper()
	sets, _, err := iso11783.Open(t.Context(), in)
	if err != nil || len(sets) != 1 {
		t.Fatal(sets, err)
	}
	s := sets[0]
	elements := 0
	for _, d := range s.Devices {
		elements += len(d.Elements)
	}
	if f.Version != s.Major || f.Elements != elements || len(f.Tasks) != len(s.Tasks) {
		t.Errorf("second reader: version %d, %d elements, %d tasks; ours: %d, %d, %d", f.Version, f.Elements, len(f.Tasks), s.Major, elements, len(s.Tasks))
	}
	for k, task := range s.Tasks {
		if f.Tasks[k].ID != task.ID || len(f.Tasks[k].Logs) != len(task.Logs) {
			t.Fatalf("task %s with %d logs; ours %s with %d", f.Tasks[k].ID, len(f.Tasks[k].Logs), task.ID, len(task.Logs))
		}
		for i, name := range task.Logs {
			theirs := f.Tasks[k].Logs[i]
			l, err := s.OpenLog(name)
			if err != nil {
				t.Fatal(err)
			}
			file, err := in.Open(l.BIN)
			if err != nil {
				t.Fatal(err)
			}
			sc := iso11783.NewScanner(l.Header, file)
			n := 0
			for ; sc.Next(); n++ {
				r := sc.Record()
				if n >= len(theirs.Records) {
					t.Fatalf("%s: the second reader has %d records", name, len(theirs.Records))
				}
				rec := theirs.Records[n]
				var at, north, east int64
				vals := map[string]int32{}
				for j, to := range []any{&at, &north, &east, &vals} {
					if err := json.Unmarshal(rec[j], to); err != nil {
						t.Fatal(err)
					}
				}
				ours := (int64(r.Date)+3652)*86_400_000 + int64(r.Millis)
				if at != ours || north != int64(r.North) || east != int64(r.East) {
					t.Fatalf("%s record %d: %d %d %d; ours %d %d %d", name, n, at, north, east, ours, r.North, r.East)
				}
				mine := map[string]int32{}
				for _, v := range r.Values {
					c := l.Header.Columns[v.Column]
					mine[fmt.Sprintf("%04X_%s", uint16(c.DDI), c.Element)] = v.Raw
				}
				if len(mine) != len(vals) {
					t.Fatalf("%s record %d: %d values, ours %d", name, n, len(vals), len(mine))
				}
				for key, v := range mine {
					if got, ok := vals[key]; !ok || got != v {
						t.Fatalf("%s record %d: %s = %d, ours %d", name, n, key, got, v)
					}
				}
				values += len(mine)
			}
			file.Close()
			if n != len(theirs.Records) || len(theirs.Errors) > 0 || theirs.Columns != len(l.Header.Columns) {
				t.Errorf("%s: %d records, %d columns, errors %v; ours %d and %d", name, len(theirs.Records), theirs.Columns, theirs.Errors, n, len(l.Header.Columns))
			}
			records += n
		}
	}
	return records, values
}

func TestSecondReaderOnSample(t *testing.T) {
	in := os.DirFS(formattest.Shared(t, "samples/planter-32row"))
	f := askSecondReader(t, secondReader(t), in)
	records, values := sameLogs(t, in, f)
	if records != 3*3633 || values == 0 {
		t.Errorf("%d records, %d values compared", records, values)
	}
}

func TestSecondReaderOnOurs(t *testing.T) {
	reader := secondReader(t)
	for _, version := range []int{3, 4} {
		t.Run(fmt.Sprint("version ", version), func(t *testing.T) {
			dir := t.TempDir()
			const rows = 48 // over 255 columns, so two parallel logs
			c := card(rows)
			c.Tanks = []evenstand.Tank{{Number: 1, Name: "left", Capacity: 1.5}}
			left, err := evenstand.ParseRows("1-24")
			if err != nil {
				t.Fatal(err)
			}
			right, err := evenstand.ParseRows("25-48")
			if err != nil {
				t.Fatal(err)
			}
			c.Sections = []evenstand.Section{{Number: 1, Rows: left}, {Number: 2, Rows: right}}
			w, err := iso11783.NewWriter(dir, iso11783.WriterOptions{
				Version: version, Card: c, Log: everything, Task: "north 80, first day", Field: "north 80", Farm: "home", Customer: "the farm",
				Boundary: [][2]float64{{41.5, -93.5}, {41.51, -93.5}, {41.51, -93.49}}, Crop: "corn", Product: "hybrid A", LiquidProduct: "starter", Latency: 0.3, External: version == 4,
			})
			if err != nil {
				t.Fatal(err)
			}
			if w.Columns() <= iso11783.MaxColumns {
				t.Fatalf("%d columns", w.Columns())
			}
			for i := range 300 {
				rate := fill(rows, 8.5)
				rate[i%rows] = float64(i%9) / 3
				if err := w.Record(iso11783.Record{
					Fix: fixAt(i, evenstand.Second/5), SeedRate: rate, SeedRateTarget: fill(rows, 8.5), SeedCount: fill(rows, float64(i)), Skips: fill(rows, 0.01), Force: fill(rows, 300+float64(i)),
					Working: make([]bool, rows), WorkState: iso11783.On, Speed: 2, Heading: math.Mod(float64(i), 360), Tanks: []float64{1 - float64(i)*1e-4},
				}); err != nil {
					t.Fatal(err)
				}
			}
			if err := w.Close(); err != nil {
				t.Fatal(err)
			}
			f := askSecondReader(t, reader, os.DirFS(dir))
			if len(f.Warnings) > 0 {
				t.Errorf("the second reader warns: %v", f.Warnings)
			}
			if records, values := sameLogs(t, os.DirFS(dir), f); records != 300*((w.Columns()+254)/255) || values < 300 {
				t.Errorf("%d records, %d values compared", records, values)
			}
		})
	}
}

func TestSecondReaderOnPrescription(t *testing.T) {
	reader := secondReader(t)
	for _, kind := range []int{1, 2} {
		dir := t.TempDir()
		g := iso11783.Grid{
			South: 41.5, West: -93.5, CellNorth: 0.0001, CellEast: 0.00013, Cols: 3, Rows: 2, Type: kind, Layers: []iso11783.GridLayer{{DDI: 11}},
			Values: []int32{800, 850, 0, 850, 900, 800},
		}
		if err := iso11783.WritePrescription(dir, iso11783.Prescription{Task: "make-up", Field: "north 80", Products: []string{"hybrid A"}, Grid: g}); err != nil {
			t.Fatal(err)
		}
		f := askSecondReader(t, reader, os.DirFS(dir))
		if len(f.Warnings) > 0 || len(f.Tasks) != 1 || len(f.Tasks[0].Grids) != 1 {
			t.Fatalf("%+v", f)
		}
		got := f.Tasks[0].Grids[0]
		data, err := base64.StdEncoding.DecodeString(got.Bytes)
		if err != nil {
			t.Fatal(err)
		}
		var want []byte
		for _, v := range g.Values {
			if kind == 2 {
				want = binary.LittleEndian.AppendUint32(want, uint32(v))
			} else { // zones in the order in which their rates first come
				want = append(want, map[int32]byte{800: 1, 850: 2, 0: 3, 900: 4}[v])
			}
		}
		// And the same zones as ours, with the same rates.
		sets, _, err := iso11783.Open(t.Context(), os.DirFS(dir))
		if err != nil || len(sets) != 1 {
			t.Fatal(err)
		}
		ours := sets[0].Tasks[0].Zones
		if len(ours) != len(f.Tasks[0].Zones) || len(ours) < 2 {
			t.Errorf("type %d: %d zones, the second reader has %d", kind, len(ours), len(f.Tasks[0].Zones))
			continue
		}
		for i, z := range f.Tasks[0].Zones {
			if z.Code != ours[i].Code || len(z.Rates) != len(ours[i].Rates) || z.Rates[0] != [2]int32{int32(ours[i].Rates[0].DDI), ours[i].Rates[0].Value} {
				t.Errorf("type %d: zone %+v, the second reader has %+v", kind, ours[i], z)
			}
		}
		if got.Columns != 3 || got.Rows != 2 || got.Type != kind || !bytes.Equal(data, want) {
			t.Errorf("type %d: %+v, want bytes %v", kind, got, want)
		}
	}
}

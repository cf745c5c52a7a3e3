package give_test

import (
	"archive/zip"
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"evenstand"
	"evenstand/book"
	"evenstand/core/ground"
	"evenstand/format/plain"
	"evenstand/give"
	"evenstand/pipeline"
	"evenstand/sim"
)

const morning = `name = "to hand out"
seed = 7202
hours = 1
[planter]
name = "6-row, trailed"
rows = 6
hitch = "trailed"
cells = 40
[output]
grade = "A"
[[field]]
name = "home place"
shape = "rect"
passes = 8
length_m = 300
headlands = 1
at = [41.6, -93.5]
[[fault]]
kind = "blocked-cell"
rows = "3"
`

var dirs []string

func TestMain(m *testing.M) {
	code := m.Run()
	for _, d := range dirs {
		os.RemoveAll(d)
	}
	os.Exit(code)
}

// day is the folder that plant made; empty: not yet.
var day string

// plant makes a logbook of one simulated morning, once, and gives its folder, where
// its truth is too.
func plant() (string, error) {
	if day != "" {
		return day, nil
	}
	dir, err := os.MkdirTemp("", "evenstand-give-")
	if err != nil {
		return "", err
	}
	dirs = append(dirs, dir)
	ctx := context.Background()
	scenario, err := sim.Parse(morning)
	if err != nil {
		return "", err
	}
	if _, err := sim.Run(ctx, scenario, filepath.Join(dir, "day"), nil); err != nil {
		return "", err
	}
	card, err := os.ReadFile(filepath.Join(dir, "day", "card.toml"))
	if err != nil {
		return "", err
	}
	boundary, err := os.ReadFile(filepath.Join(dir, "day", "fields", "home-place.geojson"))
	if err != nil {
		return "", err
	}
	set := evenstand.NewSettings()
	set.Name, set.Zone, set.Price = "spring", "America/Chicago", 4.5/25.4
	if err := book.Create(filepath.Join(dir, "spring"), set, []book.File{{Name: "card.toml", Data: card}}, []book.File{{Name: "home-place.geojson", Data: boundary}}); err != nil {
		return "", err
	}
	b, err := book.Open(filepath.Join(dir, "spring"), book.Options{Derive: pipeline.Settle})
	if err != nil {
		return "", err
	}
	_, err = b.Read(ctx, []string{filepath.Join(dir, "day", "boxes")}, []evenstand.Format{plain.Format{}}, book.ReadOptions{})
	day = dir
	return dir, errors.Join(err, b.Close())
}

func open(t *testing.T) (*book.Book, string) {
	t.Helper()
	dir, err := plant()
	if err != nil {
		t.Fatal(err)
	}
	b, err := book.Open(filepath.Join(dir, "spring"), book.Options{Derive: pipeline.Settle})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.Close() })
	return b, dir
}

// into writes files to a folder.
func into(dir string) func(string) (io.WriteCloser, error) {
	return func(name string) (io.WriteCloser, error) { return os.Create(filepath.Join(dir, name)) }
}

func write(t *testing.T, b *book.Book, what give.What, as give.As, f give.Filter, dir string) give.Made {
	t.Helper()
	m, err := give.Write(t.Context(), b, what, as, f, string(what), into(dir), nil)
	if err != nil && !errors.Is(err, give.ErrEmpty) {
		t.Fatalf("%s as %s: %v", what, as, err)
	}
	return m
}

func readCSV(t *testing.T, file string) (col map[string]int, rows [][]string) {
	t.Helper()
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	all, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	col = map[string]int{}
	for i, name := range all[0] {
		col[name] = i
	}
	return col, all[1:]
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// Seeds lie where they truly do, within what the pass says of its places, and
// every seed of the book is among them.
func TestSeedsLieWhereTheyDo(t *testing.T) {
	b, dir := open(t)
	out := t.TempDir()
	m := write(t, b, give.Seeds, give.CSV, give.Filter{}, out)
	col, rows := readCSV(t, filepath.Join(out, "seeds.csv"))
	days, err := b.Days(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if int64(len(rows)) != m.Rows || m.Rows != days[0].Seeds {
		t.Fatalf("%d lines, told %d, the book has %d seeds", len(rows), m.Rows, days[0].Seeds)
	}
	truth, err := sim.ReadSeeds(filepath.Join(dir, "day"))
	if err != nil {
		t.Fatal(err)
	}
	at := map[[2]int64][]string{}
	for _, r := range rows {
		us, err := evenstand.ParseTime(r[col["time"]], nil)
		if err != nil {
			t.Fatal(err)
		}
		at[[2]int64{int64(us) / 1000, int64(number(t, r[col["row"]]))}] = r
	}
	found, far, worst := 0, 0, 0.0
	for _, s := range truth {
		for ms := int64(s.T)/1000 - 3; ms <= int64(s.T)/1000+3; ms++ {
			r, ok := at[[2]int64{ms, int64(s.Row)}]
			if !ok || r[col["longitude"]] == "" {
				continue
			}
			d, _, _ := ground.Inverse(s.Lat, s.Lon, number(t, r[col["latitude"]]), number(t, r[col["longitude"]]))
			found++
			worst = max(worst, d)
			if d > 0.3 {
				far++
			}
			break
		}
	}
	t.Logf("%d of %d seeds found, the farthest %.2f m off", found, len(truth), worst)
	if found < len(truth)/2 || far > found/100 {
		t.Errorf("%d of %d seeds found, %d more than 0.3 m off, the farthest %.2f m", found, len(truth), far, worst)
	}
}

// Every table in every form has as many rows as it says, and its columns are
// described.
func TestEveryTableInEveryForm(t *testing.T) {
	b, _ := open(t)
	for _, table := range give.Tables() {
		rows := int64(-1)
		for _, as := range give.Ways() {
			out := t.TempDir()
			m := write(t, b, table.What, as, give.Filter{}, out)
			if rows >= 0 && m.Rows != rows {
				t.Errorf("%s: %d rows as %s, %d before", table.What, m.Rows, as, rows)
			}
			rows = m.Rows
			for _, f := range m.Files {
				if info, err := os.Stat(filepath.Join(out, f)); err != nil || info.Size() == 0 {
					t.Errorf("%s as %s: %s: %v", table.What, as, f, err)
				}
			}
			meta, err := os.ReadFile(filepath.Join(out, m.Files[len(m.Files)-1]))
			if err != nil {
				t.Fatal(err)
			}
			var d struct {
				Schema struct {
					Columns []struct {
						Name string `json:"name"`
						Says string `json:"dc:description"`
					} `json:"columns"`
				} `json:"tableSchema"`
			}
			if err := json.Unmarshal(meta, &d); err != nil || len(d.Schema.Columns) == 0 {
				t.Errorf("%s as %s: %v, %s", table.What, as, err, meta)
			}
			for _, c := range d.Schema.Columns {
				if c.Name == "" || c.Says == "" {
					t.Errorf("%s as %s: a column that nobody explains: %+v", table.What, as, c)
				}
				if as == give.Shapefile && len(c.Name) > 10 {
					t.Errorf("%s: %q is too long a name for a shapefile", table.What, c.Name)
				}
			}
			if as == give.CSV {
				col, lines := readCSV(t, filepath.Join(out, string(table.What)+".csv"))
				if int64(len(lines)) != rows || len(col) != len(d.Schema.Columns) {
					t.Errorf("%s: %d lines of %d columns, told %d rows of %d", table.What, len(lines), len(col), rows, len(d.Schema.Columns))
				}
			}
		}
		if rows < 1 && table.What != give.Counts {
			t.Errorf("%s: %d rows", table.What, rows)
		}
	}
}

var features = regexp.MustCompile(`Feature Count: (\d+)`)

// GDAL (OGR) reads what is written: as many features as there are rows, in the
// field.
func TestGDALReads(t *testing.T) {
	if _, err := exec.LookPath("ogrinfo"); err != nil {
		t.Skip("no ogrinfo here (Debian's gdal-bin): what is handed out is not read by GDAL")
	}
	b, _ := open(t)
	for _, tt := range []struct {
		what   give.What
		as     give.As
		file   string
		of     string // geometry
		column string
	}{
		{give.Seeds, give.Shapefile, "seeds.shp", "Point", "gap_m: Real"},
		{give.Stretches, give.GeoJSON, "stretches.geojson", "Point", "single_mm: Real"},
		{give.Passes, give.GeoJSON, "passes.geojson", "Line String", "heading: Real"},
		{give.Passes, give.Shapefile, "passes.shp", "Line String", "heading: Real"},
		{give.Fields, give.GeoJSON, "fields.geojson", "Polygon", "area_m2: Real"},
		{give.Fields, give.Shapefile, "fields.shp", "Polygon", "area_m2: Real"},
		{give.Findings, give.GeoJSON, "findings.geojson", "Point", "kind: String"},
		{give.Readings, give.CSV, "readings.csv", "None", "quantity: String"},
	} {
		out := t.TempDir()
		m := write(t, b, tt.what, tt.as, give.Filter{}, out)
		said, err := exec.Command("ogrinfo", "-so", "-al", filepath.Join(out, tt.file)).CombinedOutput()
		if err != nil {
			t.Fatalf("%s: %v\n%s", tt.file, err, said)
		}
		n := features.FindSubmatch(said)
		if n == nil || string(n[1]) != strconv.FormatInt(m.Rows, 10) {
			t.Errorf("%s: GDAL counts %s, written were %d", tt.file, n, m.Rows)
		}
		for _, want := range []string{"Geometry: " + tt.of, tt.column} {
			if !strings.Contains(string(said), want) {
				t.Errorf("%s: GDAL does not say %q:\n%s", tt.file, want, said)
			}
		}
		if tt.of != "None" && !regexp.MustCompile(`Extent: \(-93\.[45]\d+, 41\.[56]\d+\)`).Match(said) {
			t.Errorf("%s lies elsewhere:\n%s", tt.file, said)
		}
	}
	// The boundary's area by GDAL, on the ellipsoid, is that of the book.
	out := t.TempDir()
	write(t, b, give.Fields, give.Shapefile, give.Filter{}, out)
	said, err := exec.Command("ogrinfo", "-q", "-dialect", "SQLite", "-sql", "SELECT ST_Area(geometry, 1) AS a, area_m2 FROM fields", filepath.Join(out, "fields.shp")).CombinedOutput()
	if err != nil {
		t.Logf("no area by GDAL: %v\n%s", err, said)
		return
	}
	got := regexp.MustCompile(`a \(Real\) = ([0-9.]+)`).FindSubmatch(said)
	want := regexp.MustCompile(`area_m2 \(Real\) = ([0-9.]+)`).FindSubmatch(said)
	if got == nil || want == nil {
		t.Logf("no area by GDAL:\n%s", said)
		return
	}
	if a, w := number(t, string(got[1])), number(t, string(want[1])); math.Abs(a-w) > 1e-4*w {
		t.Errorf("GDAL measures %.1f m2, the book %.1f", a, w)
	}
}

func TestFieldInOneZip(t *testing.T) {
	b, _ := open(t)
	var one, two bytes.Buffer
	made, err := give.Field(t.Context(), b, give.Filter{Field: "home place"}, &one, nil)
	if err != nil || len(made) != len(give.Tables())-1 { // a count is of no field
		t.Fatalf("%v, %+v", err, made)
	}
	if _, err := give.Field(t.Context(), b, give.Filter{Field: "home place"}, &two, nil); err != nil || !bytes.Equal(one.Bytes(), two.Bytes()) {
		t.Errorf("twice is not the same: %v", err)
	}
	z, err := zip.NewReader(bytes.NewReader(one.Bytes()), int64(one.Len()))
	if err != nil {
		t.Fatal(err)
	}
	have := map[string]bool{}
	for _, f := range z.File {
		have[f.Name] = true
	}
	for _, want := range []string{"README.txt", "fields.geojson", "passes.geojson", "stretches.csv", "stretches.csv-metadata.json", "findings.csv", "seeds.parquet", "readings.parquet"} {
		if !have[want] {
			t.Errorf("no %s in %v", want, have)
		}
	}
}

func TestFilterAndRefusals(t *testing.T) {
	b, _ := open(t)
	out := t.TempDir()
	for _, f := range []give.Filter{{Field: "elsewhere"}, {From: "2031-01-01"}, {To: "2001-01-01"}, {Planter: "another"}} {
		if m, err := give.Write(t.Context(), b, give.Seeds, give.CSV, f, "x", into(out), nil); !errors.Is(err, give.ErrEmpty) || m.Rows != 0 {
			t.Errorf("%+v: %d rows, %v", f, m.Rows, err)
		}
	}
	if _, err := give.Write(t.Context(), b, "nothing", give.CSV, give.Filter{}, "x", into(out), nil); err == nil || !strings.Contains(err.Error(), "seeds, stretches") {
		t.Errorf("%v", err)
	}
	if _, err := give.Write(t.Context(), b, give.Seeds, "docx", give.Filter{}, "x", into(out), nil); err == nil || !strings.Contains(err.Error(), "csv, parquet") {
		t.Errorf("%v", err)
	}
	ctx, stop := context.WithCancel(t.Context())
	stop()
	if _, err := give.Write(ctx, b, give.Seeds, give.CSV, give.Filter{}, "x", into(out), nil); !errors.Is(err, context.Canceled) {
		t.Errorf("stopped: %v", err)
	}
	broken := errors.New("the disk is full")
	if _, err := give.Write(t.Context(), b, give.Seeds, give.CSV, give.Filter{}, "x", func(string) (io.WriteCloser, error) { return nil, broken }, nil); !errors.Is(err, broken) {
		t.Errorf("%v", err)
	}
}

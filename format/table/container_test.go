package table

import (
	"archive/zip"
	"bytes"
	"context"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"testing/fstest"

	"evenstand"
	"evenstand/format/formattest"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// disk is a folder in memory.
type disk fstest.MapFS

type diskFile struct {
	bytes.Buffer
	d    disk
	name string
}

func (f *diskFile) Close() error {
	f.d[f.name] = &fstest.MapFile{Data: f.Bytes(), Mode: 0o644}
	return nil
}

func (d disk) create(name string) (io.WriteCloser, error) { return &diskFile{d: d, name: name}, nil }

// readTable reads the one table of an input as texts.
func readTable(t testing.TB, in fs.FS) (cols []Column, out [][]string, rows *Rows) {
	refs, _, unused, err := List(context.Background(), in)
	if err != nil || len(refs) != 1 {
		t.Fatalf("%v, %v, %v", refs, unused, err)
	}
	r, err := Open(context.Background(), in, refs[0], Dialect{})
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	for r.Next() {
		var row []string
		for _, c := range r.Row() {
			row = append(row, spell(&c))
		}
		out = append(out, row)
	}
	if r.Err() != nil {
		t.Fatal(r.Err())
	}
	return r.Columns(), out, r
}

// spell writes a cell so that containers can be compared.
func spell(c *Cell) string {
	switch c.Type {
	case Words:
		return string(c.Text)
	case Number, Flag:
		return fmt.Sprintf("%.9g", c.Num)
	case Instant, Local:
		return strings.TrimSuffix(stamp(c), "Z")
	}
	return ""
}

// by looks a column up.
func by(cols []Column, row []string, name string) string {
	for i, c := range cols {
		if c.Name == name {
			return row[i]
		}
	}
	return "no column " + name
}

var points = []Column{{Name: "time", Type: Instant}, {Name: "speed", Type: Number}, {Name: "remark", Type: Words}, {Name: "up", Type: Flag}, {Name: LongitudeColumn, Type: Number}, {Name: LatitudeColumn, Type: Number}}

func pointRows() [][]Cell {
	var out [][]Cell
	for i := range 5 {
		row := []Cell{
			{Type: Instant, T: evenstand.Micros(1777749128_120_000 + int64(i)*200_000)},
			{Type: Number, Num: 2.5 + float64(i)/8},
			{Type: Words, Text: []byte(fmt.Sprintf("Höhe, \"%d\"", i))},
			{Type: Flag, Num: float64(i % 2)},
			{Type: Number, Num: -93.5 + float64(i)*1e-6},
			{Type: Number, Num: 41.6 + float64(i)*1e-6},
		}
		if i == 3 {
			row[1], row[2] = Cell{}, Cell{}
		}
		out = append(out, row)
	}
	return out
}

func writeAll(t testing.TB, d disk, kind Kind, base string, cols []Column, rows [][]Cell, dialect Dialect) {
	w, err := NewWriter(kind, d.create, base, cols, dialect)
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range rows {
		if err := w.Row(r); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
}

// What is written is read back the same, whatever the container.
func TestContainers(t *testing.T) {
	rows := pointRows()
	for _, kind := range []Kind{Text, Workbook, Parquet, GeoJSON, Shapefile} {
		t.Run(string(kind), func(t *testing.T) {
			d := disk{}
			writeAll(t, d, kind, "log", points, rows, Dialect{Separator: ';', Decimal: ','})
			cols, got, r := readTable(t, fstest.MapFS(d))
			if len(got) != len(rows) || len(r.Unused()) > 0 {
				t.Fatalf("%d rows, not used %v", len(got), r.Unused())
			}
			for i, row := range rows {
				for k, c := range points {
					want, have := spell(&row[k]), by(cols, got[i], c.Name)
					switch {
					case kind == Text && (c.Type == Number || c.Type == Flag):
						have = strings.Replace(have, ",", ".", 1)
						if kind == Text && have != "" {
							var v float64
							fmt.Sscan(have, &v)
							have = fmt.Sprintf("%.9g", v)
						}
					case kind != Parquet && c.Type == Instant:
						have = strings.TrimSuffix(have, "Z")
						want = want[:23] + have[min(len(have), 23):] // a workbook keeps milliseconds
					}
					if want != have {
						t.Errorf("row %d, %s: %q, want %q", i, c.Name, have, want)
					}
				}
			}
		})
	}
}

// Numbers come back to the last digit that the container keeps.
func TestContainersAnyNumbers(t *testing.T) {
	for _, kind := range []Kind{Text, Workbook, Parquet, GeoJSON} {
		rapid.Check(t, func(rt *rapid.T) {
			cols := []Column{{Name: "a", Type: Number}, {Name: "b", Type: Number}, {Name: LongitudeColumn, Type: Number}, {Name: LatitudeColumn, Type: Number}}
			var rows [][]Cell
			for range rapid.IntRange(1, 8).Draw(rt, "n") {
				var r []Cell
				for range 2 {
					r = append(r, Cell{Type: Number, Num: rapid.Float64Range(-1e6, 1e6).Draw(rt, "v")})
				}
				r = append(r, Cell{Type: Number, Num: rapid.Float64Range(-180, 180).Draw(rt, "lon")}, Cell{Type: Number, Num: rapid.Float64Range(-90, 90).Draw(rt, "lat")})
				rows = append(rows, r)
			}
			d := disk{}
			writeAll(t, d, kind, "log", cols, rows, Dialect{})
			c, got, _ := readTable(t, fstest.MapFS(d))
			for i, r := range rows {
				for k := range cols {
					var v float64
					if _, err := fmt.Sscan(by(c, got[i], cols[k].Name), &v); err != nil || math.Abs(v-r[k].Num) > 1e-8*math.Max(1, math.Abs(r[k].Num)) {
						rt.Fatalf("%s: %q, want %v", kind, by(c, got[i], cols[k].Name), r[k].Num)
					}
				}
			}
		})
	}
}

// A damaged file is an error, or fewer rows; never a panic.
func TestContainersDamaged(t *testing.T) {
	for _, kind := range []Kind{Workbook, Parquet, GeoJSON, Shapefile} {
		d := disk{}
		writeAll(t, d, kind, "log", points, pointRows(), Dialect{})
		for name, f := range d {
			for at := 0; at < len(f.Data); at += max(1, len(f.Data)/400) {
				for _, broken := range [][]byte{f.Data[:at], append(append(append([]byte{}, f.Data[:at]...), f.Data[at]^0xff), f.Data[at+1:]...)} {
					in := fstest.MapFS{}
					for n, g := range d {
						in[n] = g
					}
					in[name] = &fstest.MapFile{Data: broken, Mode: 0o644}
					refs, _, unused, err := List(context.Background(), in)
					if err != nil {
						t.Fatal(err)
					}
					for _, ref := range refs {
						r, err := Open(context.Background(), in, ref, Dialect{})
						if err != nil {
							if err.Error() == "" {
								t.Errorf("%s at %d: an error that says nothing", name, at)
							}
							continue
						}
						for r.Next() {
							continue
						}
						r.Close()
					}
					_ = unused
				}
			}
		}
	}
}

// ogr runs GDAL's converter.
func ogr(t *testing.T, args ...string) {
	t.Helper()
	out, err := exec.Command("ogr2ogr", args...).CombinedOutput()
	if err != nil {
		t.Fatalf("ogr2ogr %v: %v\n%s", args, err, out)
	}
}

// What GDAL writes comes in right, in whatever it writes. The values are set
// here, in a CSV with the point as well-known text.
func TestGDALWrites(t *testing.T) {
	if _, err := exec.LookPath("ogr2ogr"); err != nil {
		t.Skip("ogr2ogr of GDAL (Debian's gdal-bin) is not here, so its files are not tested")
	}
	dir := t.TempDir()
	src := filepath.Join(dir, "src.csv")
	var b strings.Builder
	b.WriteString("WKT,stamp,speed,row,remark\n")
	for i := range 4 {
		fmt.Fprintf(&b, "\"POINT (%.7f %.7f)\",2026-05-02T14:12:%02dZ,%.2f,%d,Höhe %d\n", -93.5+float64(i)*1e-5, 41.6+float64(i)*1e-5, 8+i, 2.25+float64(i), i+1, i)
	}
	if err := os.WriteFile(src, []byte(b.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	vrt := filepath.Join(dir, "src.vrt")
	if err := os.WriteFile(vrt, []byte(`<OGRVRTDataSource><OGRVRTLayer name="src"><SrcDataSource>`+src+`</SrcDataSource><GeometryType>wkbPoint</GeometryType><LayerSRS>EPSG:4326</LayerSRS><GeometryField encoding="WKT" field="WKT"/><Field name="stamp" type="String"/><Field name="speed" type="Real"/><Field name="row" type="Integer"/><Field name="remark" type="String"/></OGRVRTLayer></OGRVRTDataSource>`), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct {
		name string
		file string
		args []string
		geo  bool
	}{
		{"CSV", "a.csv", []string{"-f", "CSV", "-lco", "GEOMETRY=AS_XY"}, false},
		{"CSV with semicolons", "a.csv", []string{"-f", "CSV", "-lco", "GEOMETRY=AS_XY", "-lco", "SEPARATOR=SEMICOLON"}, false},
		{"CSV with tabs", "a.csv", []string{"-f", "CSV", "-lco", "GEOMETRY=AS_XY", "-lco", "SEPARATOR=TAB"}, false},
		{"CSV with a byte order mark", "a.csv", []string{"-f", "CSV", "-lco", "GEOMETRY=AS_XY", "-lco", "WRITE_BOM=YES", "-lco", "LINEFORMAT=CRLF"}, false},
		{"GeoJSON", "a.geojson", []string{"-f", "GeoJSON"}, true},
		{"GeoJSON of RFC 7946", "a.geojson", []string{"-f", "GeoJSON", "-lco", "RFC7946=YES"}, true},
		{"GeoJSONSeq", "a.geojsonl", []string{"-f", "GeoJSONSeq"}, true},
		{"GeoJSONSeq with RS", "a.geojsons", []string{"-f", "GeoJSONSeq", "-lco", "RS=YES"}, true},
		{"shapefile", "a.shp", []string{"-f", "ESRI Shapefile", "-lco", "ENCODING=UTF-8"}, true},
		{"shapefile, Latin-1", "a.shp", []string{"-f", "ESRI Shapefile", "-lco", "ENCODING=ISO-8859-1"}, true},
		{"shapefile in UTM 15", "a.shp", []string{"-f", "ESRI Shapefile", "-t_srs", "EPSG:32615", "-lco", "ENCODING=UTF-8"}, true},
		{"shapefile, NAD 83", "a.shp", []string{"-f", "ESRI Shapefile", "-t_srs", "EPSG:4269", "-lco", "ENCODING=UTF-8"}, true},
		{"workbook", "a.xlsx", []string{"-f", "XLSX"}, false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			out := filepath.Join(t.TempDir(), "out")
			if err := os.Mkdir(out, 0o755); err != nil {
				t.Fatal(err)
			}
			ogr(t, append(append([]string{}, tt.args...), filepath.Join(out, tt.file), vrt)...)
			cols, rows, r := readTable(t, os.DirFS(out))
			if len(rows) != 4 || len(r.Unused()) > 0 {
				t.Fatalf("%d rows, not used %v", len(rows), r.Unused())
			}
			for i, row := range rows {
				want := map[string]string{"speed": fmt.Sprintf("%.9g", 2.25+float64(i)), "row": fmt.Sprint(i + 1), "remark": fmt.Sprintf("Höhe %d", i)}
				for name, w := range want {
					have := by(cols, row, name)
					if tt.geo || tt.file == "a.xlsx" {
						if have != w {
							t.Errorf("row %d: %s is %q, want %q", i, name, have, w)
						}
						continue
					}
					var v, x float64
					if _, err := fmt.Sscan(have, &v); err == nil && name != "remark" {
						fmt.Sscan(w, &x)
						if v != x {
							t.Errorf("row %d: %s is %q, want %q", i, name, have, w)
						}
					} else if have != w {
						t.Errorf("row %d: %s is %q, want %q", i, name, have, w)
					}
				}
				lonName, latName := LongitudeColumn, LatitudeColumn
				if !tt.geo {
					lonName, latName = "X", "Y"
				}
				if tt.file == "a.xlsx" {
					continue // GDAL writes no geometry there
				}
				var lon, lat float64
				fmt.Sscan(by(cols, row, lonName), &lon)
				fmt.Sscan(by(cols, row, latName), &lat)
				// A hundred millionth of a degree is a millimetre; GDAL's RFC 7946 writes seven digits.
				if math.Abs(lon-(-93.5+float64(i)*1e-5)) > 1.1e-7 || math.Abs(lat-(41.6+float64(i)*1e-5)) > 1.1e-7 {
					t.Errorf("row %d: %.9f %.9f", i, lon, lat)
				}
			}
		})
	}
}

// GDAL reads what we write.
func TestGDALReads(t *testing.T) {
	if _, err := exec.LookPath("ogr2ogr"); err != nil {
		t.Skip("ogr2ogr of GDAL (Debian's gdal-bin) is not here, so our files are not read by it")
	}
	for _, tt := range []struct {
		kind Kind
		file string
		x, y string
	}{{Text, "log.csv", "", ""}, {GeoJSON, "log.geojson", "", ""}, {Shapefile, "log.shp", "", ""}, {Workbook, "log.xlsx", "", ""}} {
		t.Run(string(tt.kind), func(t *testing.T) {
			dir := t.TempDir()
			create := func(name string) (io.WriteCloser, error) { return os.Create(filepath.Join(dir, name)) }
			w, err := NewWriter(tt.kind, create, "log", points, Dialect{})
			if err != nil {
				t.Fatal(err)
			}
			for _, r := range pointRows() {
				if err := w.Row(r); err != nil {
					t.Fatal(err)
				}
			}
			if err := w.Close(); err != nil {
				t.Fatal(err)
			}
			out := filepath.Join(dir, "back.csv")
			ogr(t, "-f", "CSV", "-lco", "GEOMETRY=AS_XY", out, filepath.Join(dir, tt.file))
			text, err := os.ReadFile(out)
			if err != nil {
				t.Fatal(err)
			}
			lines := strings.Split(strings.TrimSpace(string(text)), "\n")
			if len(lines) != 6 {
				t.Fatalf("%s", text)
			}
			if !strings.Contains(lines[2], "2.625") || !strings.Contains(lines[2], "Höhe, \"\"1\"\"") && !strings.Contains(lines[2], `Höhe, ""1""`) {
				t.Errorf("%s", lines[2])
			}
			if tt.kind == GeoJSON || tt.kind == Shapefile {
				if !strings.HasPrefix(lines[2], "-93.499999,41.600001,") {
					t.Errorf("%s", lines[2])
				}
			}
		})
	}
}

// The figures are those that the samples' README states: five rows of
// countries, whose areas are no points; points 30 10, EMPTY, null, 40 40.
func TestGeoParquetSamples(t *testing.T) {
	dir := formattest.Shared(t, "samples/geoparquet")
	open := func(name string) *Rows {
		r, err := Open(context.Background(), os.DirFS(dir), Ref{Kind: Parquet, Files: []string{name}}, Dialect{})
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { r.Close() })
		return r
	}
	r := open("data-point-encoding_wkb.parquet")
	var got []string
	for r.Next() {
		n := len(r.Row())
		got = append(got, spell(&r.Row()[n-3])+" "+spell(&r.Row()[n-2]))
	}
	if d := cmp.Diff([]string{"30 10", " ", " ", "40 40"}, got); d != "" || r.Err() != nil {
		t.Errorf("%v %s", r.Err(), d)
	}
	r = open("example.parquet")
	n := 0
	for r.Next() {
		n++
	}
	left := int64(0)
	for _, u := range r.Unused() {
		if strings.Contains(u.Why, "area") {
			left += u.Count
		}
	}
	if n != 5 || left != 5 || r.Err() != nil {
		t.Errorf("%d rows, %v, %v", n, r.Unused(), r.Err())
	}
}

func fuzzContainer(f *testing.F, kind Kind, ext string) {
	d := disk{}
	writeAll(f, d, kind, "log", points, pointRows(), Dialect{})
	f.Add(d["log"+ext].Data)
	f.Fuzz(func(t *testing.T, data []byte) {
		in := fstest.MapFS{}
		for n, g := range d {
			in[n] = g
		}
		in["log"+ext] = &fstest.MapFile{Data: data, Mode: 0o644}
		files := []string{"log" + ext}
		if kind == Shapefile {
			files = []string{"log.shp", "log.dbf", "log.prj", "log.cpg"}
		}
		r, err := Open(context.Background(), in, Ref{Kind: kind, Files: files}, Dialect{})
		if err != nil {
			return
		}
		defer r.Close()
		n := len(r.Columns())
		for r.Next() {
			if len(r.Row()) != n {
				t.Fatalf("%d cells for %d columns", len(r.Row()), n)
			}
		}
	})
}

func FuzzWorkbook(f *testing.F)  { fuzzContainer(f, Workbook, ".xlsx") }
func FuzzParquet(f *testing.F)   { fuzzContainer(f, Parquet, ".parquet") }
func FuzzGeoJSON(f *testing.F)   { fuzzContainer(f, GeoJSON, ".geojson") }
func FuzzShapefile(f *testing.F) { fuzzContainer(f, Shapefile, ".shp") }
func FuzzDBF(f *testing.F)       { fuzzContainer(f, Shapefile, ".dbf") }

// A shapefile in a zip that lies among other files is a table too.
func TestZipInside(t *testing.T) {
	d := disk{}
	writeAll(t, d, Shapefile, "log", points, pointRows(), Dialect{})
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for name, f := range d {
		w, err := z.Create("track/" + name)
		if err == nil {
			_, err = w.Write(f.Data)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	_, rows, r := readTable(t, fstest.MapFS{"stick/points.zip": {Data: b.Bytes(), Mode: 0o644}, "stick/photo.jpg": {Data: []byte{0xff, 0xd8}, Mode: 0o644}})
	if len(rows) != 5 || len(r.Unused()) > 0 {
		t.Errorf("%d rows, %v", len(rows), r.Unused())
	}
}

func FuzzMarkup(f *testing.F) {
	f.Add([]byte(`<?xml version="1.0"?><x:row r="1"><c r="A1" t="s"><v>1&amp;2</v></c><!-- a > b --><t><![CDATA[a<b]]></t></x:row>`))
	f.Fuzz(func(t *testing.T, data []byte) {
		m := newMarkup(bytes.NewReader(data))
		for range len(data) + 1 {
			if m.next() != nil {
				return
			}
			if len(m.text) > len(data) || len(m.get("r")) > len(data) {
				t.Fatal("more than there is")
			}
		}
		t.Fatal("more tags than bytes")
	})
}

func TestMarkup(t *testing.T) {
	m := newMarkup(strings.NewReader(`<?xml version="1.0"?><x:row r='1' s = "2"><c t="s"/><v>1 &amp; &#50;&#x33; &unknown; &</v><!-- a > b --><t><![CDATA[a<b]]></t></x:row>`))
	var got []string
	for m.next() == nil {
		got = append(got, fmt.Sprintf("%q %s r=%s s=%s %v %v", m.text, m.name, m.get("r"), m.get("s"), m.end, m.self))
	}
	want := []string{
		`"" row r=1 s=2 false false`, `"" c r= s= false true`, `"" v r= s= false false`, `"1 & 23 &unknown; &" v r= s= true false`,
		`"" t r= s= false false`, `"a<b" t r= s= true false`, `"" row r= s= true false`,
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
}

func BenchmarkWorkbook(b *testing.B) {
	d := disk{}
	var rows [][]Cell
	for range 4000 {
		rows = append(rows, pointRows()...)
	}
	writeAll(b, d, Workbook, "log", points, rows, Dialect{})
	for b.Loop() {
		r, err := Open(context.Background(), fstest.MapFS(d), Ref{Kind: Workbook, Files: []string{"log.xlsx"}}, Dialect{})
		if err != nil {
			b.Fatal(err)
		}
		n := 0
		for r.Next() {
			n++
		}
		if n != len(rows) || r.Err() != nil {
			b.Fatal(n, r.Err())
		}
		r.Close()
	}
	b.ReportMetric(float64(len(rows)*len(points))*float64(b.N)/b.Elapsed().Seconds(), "cells/s")
}

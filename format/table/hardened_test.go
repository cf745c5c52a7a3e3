package table

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"context"
	"errors"
	"fmt"
	"io"
	"runtime/metrics"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/google/go-cmp/cmp"
	"github.com/parquet-go/parquet-go"
)

// Where the header stands, by hand: texts over numbers.
func TestHeader(t *testing.T) {
	for _, tt := range []struct {
		name, text           string
		header, units, doubt int
	}{
		{"rows are named by their numbers", "time,1,2,3,4\n2026-05-02 10:00:00,5,6,7,8\n2026-05-02 10:00:01,5,6,7,8\n", 1, -1, 1},
		{"lines above it filled up with separators", "Operator,Smith,,\nFarm,North,,\ntime,row,speed,note\n1,2,3.5,x\n2,3,4.5,y\n", 3, -1, 0},
		{"the same, with units", "Operator,Smith,\ntime,row,speed\ns,,mph\n1,2,3.5\n2,3,4.5\n3,4,5.5\n", 2, 3, 0},
		{"none", "1,2\n2,3\n3,4\n", -1, -1, 0},
		{"none, and a value missing in the first line", "1,NA,3\n2,3,4\n3,4,5\n", -1, -1, 0},
		{"all of it texts", "what,note\nfix,seal\nfix,brush\n", 1, -1, 0},
		{"a value missing in the first line", "time,load\n1,NaN\n2,4\n3,5\n", 1, -1, 0},
		{"three digits behind a point", "x;y\n1.234;5.678\n1.234;5.679\n", 1, -1, 1},
	} {
		t.Run(tt.name, func(t *testing.T) {
			d, doubts := Look([]byte(tt.text))
			if d.Header != tt.header || d.Units != tt.units || len(doubts) != tt.doubt {
				t.Errorf("header %d, units %d, doubts %q", d.Header, d.Units, doubts)
			}
		})
	}
}

// A text that was taken for UTF-8 by its head holds other letters further on.
func TestLettersFurtherOn(t *testing.T) {
	text := "time,note,x\n" + strings.Repeat("1,abcdefgh,2\n", 8000) + "2,H\xf6he \x80,3\n3,Höhe,4\n"
	r, got := take(t, []byte(text), Dialect{})
	if d := cmp.Diff([][]string{{"2", "Höhe €", "3"}, {"3", "Höhe", "4"}}, got[len(got)-2:]); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
	if u := r.Unused(); len(u) != 1 || u[0].Count != 1 || u[0].Line != 8002 {
		t.Errorf("not used: %v", u)
	}
}

// sheetOf makes a workbook of the text of a sheet, packed as well as can be.
func sheetOf(t *testing.T, sheet string) fstest.MapFS {
	t.Helper()
	d := disk{}
	writeAll(t, d, Workbook, "log", points, pointRows(), Dialect{})
	old, err := zip.NewReader(bytes.NewReader(d["log.xlsx"].Data), int64(len(d["log.xlsx"].Data)))
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	z.RegisterCompressor(zip.Deflate, func(w io.Writer) (io.WriteCloser, error) { return flate.NewWriter(w, 9) })
	for _, f := range old.File {
		w, err := z.Create(f.Name)
		if err != nil {
			t.Fatal(err)
		}
		var r io.Reader = strings.NewReader(sheet)
		if !strings.Contains(f.Name, "worksheets/") {
			if r, err = f.Open(); err != nil {
				t.Fatal(err)
			}
		}
		if _, err := io.Copy(w, r); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return fstest.MapFS{"log.xlsx": {Data: b.Bytes()}}
}

// costs reads a table and gives the bytes that were allocated for it.
func costs(t *testing.T, in fstest.MapFS, ref Ref) (rows int, r *Rows, made uint64, err error) {
	t.Helper()
	m := []metrics.Sample{{Name: "/gc/heap/allocs:bytes"}}
	metrics.Read(m)
	before := m[0].Value.Uint64()
	r, err = Open(context.Background(), in, ref, Dialect{})
	if err == nil {
		for r.Next() {
			rows++
		}
		err = r.Err()
		r.Close()
	}
	metrics.Read(m)
	return rows, r, m[0].Value.Uint64() - before, err
}

// most is what formattest allows a reader: its buffers, and a few hundred
// bytes for each byte of input.
func most(in fstest.MapFS, ref Ref) uint64 { return uint64(64<<20 + 2000*len(in[ref.Files[0]].Data)) }

const names = `<row r="1"><c r="A1" t="str"><v>a</v></c><c r="B1" t="str"><v>b</v></c></row>`

// A cell in the last column of a sheet costs no row of 16,384 cells.
func TestSheetFarRight(t *testing.T) {
	in := sheetOf(t, `<worksheet><sheetData>`+names+strings.Repeat(`<row><c r="A2"><v>1</v></c><c r="XFD2"><v>1</v></c></row>`, 20_000)+`</sheetData></worksheet>`)
	ref := Ref{Kind: Workbook, Files: []string{"log.xlsx"}}
	n, r, made, err := costs(t, in, ref)
	if n != 20_000 || err != nil || made > most(in, ref) {
		t.Errorf("%d rows, %v, %d MB allocated", n, err, made>>20)
	}
	if u := r.Unused(); len(u) != 1 || u[0].Count != 20_000 {
		t.Errorf("not used: %v", u)
	}
}

// A text longer than any cell is an error before it is in memory.
func TestSheetLongText(t *testing.T) {
	long := strings.Repeat("a", 40<<20)
	for _, text := range []string{long, strings.Repeat("a<!-- -->", 4<<20)} {
		in := sheetOf(t, `<worksheet><sheetData>`+names+`<row r="2"><c r="A2" t="str"><v>`+text+`</v></c></row></sheetData></worksheet>`)
		ref := Ref{Kind: Workbook, Files: []string{"log.xlsx"}}
		if n, _, made, err := costs(t, in, ref); n != 0 || err == nil || made > 64<<20 && made > most(in, ref) {
			t.Errorf("%d rows, %v, %d MB allocated", n, err, made>>20)
		}
	}
}

// Rows and cells need no name of their own (ECMA-376, 18.3.1.73 and 18.3.1.4:
// the attribute r is optional).
func TestSheetWithoutPlaces(t *testing.T) {
	in := sheetOf(t, `<worksheet><sheetData><row><c t="str"><v>a</v></c><c t="str"><v>b</v></c></row><row><c><v>1</v></c><c><v>2</v></c></row><row><c><v>3</v></c><c><v>4</v></c></row></sheetData></worksheet>`)
	r, err := Open(context.Background(), in, Ref{Kind: Workbook, Files: []string{"log.xlsx"}}, Dialect{})
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	var got []string
	for r.Next() {
		got = append(got, fmt.Sprint(r.Place().Line, r.Row()[0].Num, r.Row()[1].Num))
	}
	if d := cmp.Diff([]string{"2 1 2", "3 3 4"}, got); d != "" || r.Err() != nil {
		t.Errorf("%v %s", r.Err(), d)
	}
}

// Integers without a sign above half their range, and decimal numbers. The
// bytes of the decimal are nine: -12345 is 2^72 - 12345.
func TestParquetNumbers(t *testing.T) {
	type row struct {
		A uint8   `parquet:"a"`
		B uint16  `parquet:"b"`
		C uint32  `parquet:"c"`
		D uint64  `parquet:"d"`
		E int32   `parquet:"e,decimal(2:9)"`
		F int64   `parquet:"f,decimal(3:18)"`
		G [9]byte `parquet:"g,decimal(2:20)"`
		H int64   `parquet:"h"`
		I *uint32 `parquet:"i,optional"`
	}
	var b bytes.Buffer
	w := parquet.NewGenericWriter[row](&b)
	if _, err := w.Write([]row{{250, 65000, 4_000_000_000, 1 << 63, 12345, -12345, [9]byte{255, 255, 255, 255, 255, 255, 255, 0xcf, 0xc7}, -5, nil}}); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	_, got, r := readTable(t, fstest.MapFS{"log.parquet": {Data: b.Bytes()}})
	if d := cmp.Diff([][]string{{"250", "65000", "4e+09", "9.22337204e+18", "123.45", "-12.345", "-123.45", "-5", ""}}, got); d != "" || len(r.Unused()) > 0 {
		t.Errorf("%v %s", r.Unused(), d)
	}
}

// A file of a few kilobytes that states a million rows without values in each
// of many columns is refused before there is a cell for each.
func TestParquetOfNulls(t *testing.T) {
	const cols, rows = 60, 1 << 20
	g := parquet.Group{}
	row := make(parquet.Row, cols)
	for i := range cols {
		g[fmt.Sprintf("c%03d", i)] = parquet.Optional(parquet.Leaf(parquet.DoubleType))
		row[i] = parquet.Value{}.Level(0, 0, i)
	}
	batch := make([]parquet.Row, 1024)
	for i := range batch {
		batch[i] = row
	}
	var b bytes.Buffer
	w := parquet.NewWriter(&b, parquet.NewSchema("x", g), parquet.Compression(&parquet.Zstd), parquet.MaxRowsPerRowGroup(1<<40), parquet.PageBufferSize(1<<30))
	for range rows / len(batch) {
		if _, err := w.WriteRows(batch); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	in, ref := fstest.MapFS{"log.parquet": {Data: b.Bytes()}}, Ref{Kind: Parquet, Files: []string{"log.parquet"}}
	n, _, made, err := costs(t, in, ref)
	var e *Error
	if n != 0 || !errors.As(err, &e) || e.Do == "" || made > most(in, ref) {
		t.Errorf("%d rows, %v, %d MB allocated", n, err, made>>20)
	}
}

func TestListLeavesAlone(t *testing.T) {
	areas := make([]byte, 100)
	copy(areas, "\x00\x00\x27\x0a")
	areas[28], areas[29], areas[32] = 0xe8, 0x03, 5
	for _, tt := range []struct {
		name, file string
		data       []byte
		say        string
	}{
		{"a boundary in GeoJSON", "north.geojson", []byte(`{"type":"FeatureCollection","features":[{"type":"Feature","properties":{},"geometry":{"type":"Polygon","coordinates":[]}}]}`), ""},
		{"a boundary in a shapefile", "north.shp", areas, "holds areas"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			refs, claimed, unused, err := List(context.Background(), fstest.MapFS{tt.file: {Data: tt.data}})
			if err != nil || len(refs)+len(claimed) > 0 || (tt.say == "") != (len(unused) == 0) || tt.say != "" && !strings.Contains(unused[0].Why, tt.say) {
				t.Errorf("%v, %v, %v, %v", refs, claimed, unused, err)
			}
		})
	}
}

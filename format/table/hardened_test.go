package table

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math/rand/v2"
	"runtime/metrics"
	"strings"
	"testing"
	"testing/fstest"
	"time"

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

// What stands in comments and CDATA is bounded, however it is cut by angles.
func TestSheetOfAngles(t *testing.T) {
	angles := strings.Repeat(">", 64<<20)
	for _, tt := range []struct {
		name, before string
		rows         int
	}{
		{"a comment", "<!--" + angles + "-->", 1},
		{"CDATA", "<![CDATA[" + angles + "]]>", 0},
		{"CDATA in many", strings.Repeat("<![CDATA["+angles[:100]+"]]>", 64<<13), 0},
		{"a comment without end", "<!--" + angles, 0},
	} {
		in := sheetOf(t, `<worksheet>`+tt.before+`<sheetData>`+names+`<row r="2"><c r="A2"><v>1</v></c></row></sheetData></worksheet>`)
		ref := Ref{Kind: Workbook, Files: []string{"log.xlsx"}}
		if n, _, made, err := costs(t, in, ref); n != tt.rows || (err == nil) != (n > 0) || made > 64<<20 {
			t.Errorf("%s: %d rows, %v, %d MB allocated", tt.name, n, err, made>>20)
		}
	}
}

// slowly cancels a context once some of a file was read.
type slowly struct {
	fs.FS
	open   int
	cancel context.CancelFunc
	after  int64
	read   int64
	from   time.Time // of the cancel
}

type slowFile struct {
	fs.File
	s *slowly
}

func (s *slowly) Open(name string) (fs.File, error) {
	f, err := s.FS.Open(name)
	if err != nil {
		return nil, err
	}
	if d, ok := f.(fs.ReadDirFile); ok {
		return d, nil
	}
	s.open++
	return slowFile{f, s}, nil
}

func (f slowFile) Close() error {
	f.s.open--
	return f.File.Close()
}

func (f slowFile) count(n int) {
	if f.s.read += int64(n); f.s.read > f.s.after && f.s.from.IsZero() && f.s.cancel != nil {
		f.s.from = time.Now()
		f.s.cancel()
	}
}

func (f slowFile) Read(p []byte) (int, error) {
	n, err := f.File.Read(p)
	f.count(n)
	return n, err
}

func (f slowFile) ReadAt(p []byte, at int64) (int, error) {
	n, err := f.File.(io.ReaderAt).ReadAt(p, at)
	f.count(n)
	return n, err
}

// A reader that is called off stops, whatever the file holds, and says no more
// than that.
func TestStops(t *testing.T) {
	long := func(what string) string { return strings.Repeat(what, 32<<20/len(what)) }
	for _, tt := range []struct {
		name string
		in   fs.FS
		ref  Ref
	}{
		{"rows without cells", sheetOf(t, `<worksheet><sheetData>`+long("<row/>")+names+`</sheetData></worksheet>`), Ref{Kind: Workbook, Files: []string{"log.xlsx"}}},
		{"a comment", sheetOf(t, `<worksheet><!--`+long(">")+`--><sheetData>`+names+`</sheetData></worksheet>`), Ref{Kind: Workbook, Files: []string{"log.xlsx"}}},
		{"members that nobody knows", fstest.MapFS{"a.geojson": {Data: []byte(`{"type":"FeatureCollection","x":[` + long("1,") + `1],"features":[]}`)}}, Ref{Kind: GeoJSON, Files: []string{"a.geojson"}}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			ctx, cancel := context.WithCancel(context.Background())
			defer cancel()
			s := &slowly{FS: tt.in, cancel: cancel, after: 8_000}
			r, err := Open(ctx, s, tt.ref, Dialect{})
			if err == nil {
				r.Close()
			}
			if took := time.Since(s.from); !errors.Is(err, context.Canceled) || strings.Contains(err.Error(), "again") || took > 2*time.Second {
				t.Errorf("%v, %v after it was called off", err, took)
			}
		})
	}
}

// bookOf makes a workbook of sheets, named by their parts, and shared texts.
func bookOf(t *testing.T, parts []string, shared string) []byte {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	put := func(name, text string) {
		w, err := z.Create(name)
		if err == nil {
			_, err = io.WriteString(w, text)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	var rels, sheets strings.Builder
	done := map[string]bool{}
	for i, p := range parts {
		fmt.Fprintf(&rels, `<Relationship Id="r%d" Target="worksheets/%s.xml"/>`, i, p)
		fmt.Fprintf(&sheets, `<sheet name="s%d" r:id="r%d"/>`, i, i)
		if p = strings.ToLower(p); !done[p] {
			done[p] = true
			put("xl/worksheets/"+p+".xml", `<worksheet><sheetData>`+names+`<row r="2"><c r="A2"><v>1</v></c><c r="B2" t="s"><v>0</v></c></row></sheetData></worksheet>`)
		}
	}
	put("xl/_rels/workbook.xml.rels", `<Relationships>`+rels.String()+`</Relationships>`)
	put("xl/workbook.xml", `<workbook xmlns:r="x"><sheets>`+sheets.String()+`</sheets></workbook>`)
	put("xl/sharedStrings.xml", `<sst>`+shared+`</sst>`)
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// A part is one sheet, however often it is listed, and there are only so many.
func TestManySheets(t *testing.T) {
	for _, tt := range []struct {
		name         string
		part         func(i int) string
		listed, read int
	}{
		{"one part", func(int) string { return "a" }, 5000, 1},
		{"one part, in other letters", func(i int) string { return []string{"a", "A"}[i%2] }, 100, 1},
		{"many parts", func(i int) string { return fmt.Sprint("p", i) }, 300, maxSheets},
		{"some", func(i int) string { return fmt.Sprint("p", i) }, 30, 30},
	} {
		var parts []string
		for i := range tt.listed {
			parts = append(parts, tt.part(i))
		}
		in := fstest.MapFS{"a.xlsx": {Data: bookOf(t, parts, "<si><t>x</t></si>")}}
		refs, _, unused, err := List(context.Background(), in)
		left := int64(0)
		for _, u := range unused {
			left += u.Count
		}
		if len(refs) != tt.read || left != int64(tt.listed-tt.read) || err != nil {
			t.Errorf("%s: %d sheets, not used %v, %v", tt.name, len(refs), unused, err)
		}
	}
}

// The sheets of a workbook and the files of an archive are read without reading
// what they lie in anew for each.
func TestKeep(t *testing.T) {
	rnd := rand.New(rand.NewPCG(1, 2))
	var shared strings.Builder
	for range 20_000 {
		fmt.Fprintf(&shared, "<si><t>%x</t></si>", rnd.Uint64())
	}
	var parts []string
	for i := range 50 {
		parts = append(parts, fmt.Sprint("p", i))
	}
	book := bookOf(t, parts, shared.String())
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for i := range 300 {
		w, err := z.Create(fmt.Sprintf("d%d/a.csv", i))
		if err == nil {
			_, err = io.WriteString(w, "time;speed\n1777749128;8.0\n1777749129;8.0\n")
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	w, err := z.Create("e/book.xlsx")
	if err == nil {
		_, err = w.Write(book)
	}
	if err = errors.Join(err, z.Close()); err != nil {
		t.Fatal(err)
	}
	files := fstest.MapFS{"a.xlsx": {Data: book}, "b.zip": {Data: b.Bytes()}, "c.xlsx": {Data: book}}
	size := int64(0)
	for _, f := range files {
		size += int64(len(f.Data))
	}
	s := &slowly{FS: files}
	kept := Keep(s)
	refs, _, unused, err := List(context.Background(), kept)
	if len(refs) != 450 || err != nil || len(unused) > 0 {
		t.Fatalf("%d tables, %v, %v", len(refs), unused, err)
	}
	for _, ref := range refs {
		for range 2 {
			rows, err := allOf(Open(context.Background(), kept, ref, Dialect{}))
			if want := 2 - len(ref.Sheet[:min(1, len(ref.Sheet))]); len(rows) != want || err != nil {
				t.Fatalf("%s: %d rows, %v", ref, len(rows), err)
			}
		}
	}
	if err := kept.Close(); err != nil || s.open != 0 {
		t.Errorf("%v, %d files are open", err, s.open)
	}
	if s.read > 8*size {
		t.Errorf("%d bytes read of files of %d", s.read, size)
	}
}

// The texts that cells share are bounded in memory, whatever the file's size.
func TestSharedTexts(t *testing.T) {
	var x texts
	long := bytes.Repeat([]byte("a"), 1000)
	var err error
	n := 0
	for ; err == nil && n < 1<<20; n++ {
		err = x.add(fmt.Append(bytes.Clone(long[:n%1000]), n))
	}
	if !errors.Is(err, errTexts) || len(x.all)+4*len(x.ends) > sharedMost+2000 || n < 100_000 {
		t.Errorf("%v after %d texts of %d bytes", err, n, len(x.all))
	}
	for _, i := range []int{0, 1, 77_777} {
		if got := string(x.at(i)); got != string(long[:i%1000])+fmt.Sprint(i) {
			t.Errorf("text %d is %q", i, got)
		}
	}
	if x.at(-1) != nil || x.at(len(x.ends)) != nil {
		t.Error("a text that there is not")
	}
	for n, x = 0, (texts{}); x.add(nil) == nil; n++ { // many that are empty
	}
	if n > sharedMost/4+1 {
		t.Errorf("%d empty texts", n)
	}
}

// Members that nobody knows are passed over without being kept, and a feature
// longer than any point is an error.
func TestGeoJSONBounds(t *testing.T) {
	const point = `{"type":"Feature","geometry":{"type":"Point","coordinates":[1,2]},"properties":{"a":1}}`
	many := func(what string, mb int) string { return strings.Repeat(what, mb<<20/len(what)) }
	var wide strings.Builder
	for i := range 5000 {
		fmt.Fprintf(&wide, `"p%d":1,`, i)
	}
	for _, tt := range []struct {
		name, text string
		rows       int
		want       string // in the error
		left       int64
	}{
		{"a list", `{"type":"FeatureCollection","x":[` + many(`{"a":"b"},`, 24) + `1],"features":[` + point + `]}`, 1, "", 0},
		{"behind the features", `{"type":"FeatureCollection","features":[` + point + `],"x":{"y":[` + many(`1,`, 24) + `1]}}`, 1, "", 0},
		{"a text", `{"type":"FeatureCollection","x":"` + many("a", 24) + `","features":[` + point + `]}`, 1, "", 0},
		{"a name", `{"type":"FeatureCollection","` + many("a", 24) + `":1,"features":[` + point + `]}`, 0, "longer than", 0},
		{"lists in lists", `{"type":"FeatureCollection","x":` + many("[", 24), 0, "cut short", 0},
		{"a feature", `{"type":"FeatureCollection","features":[` + point + `,{"type":"Feature","properties":{"a":"` + many("a", 24) + `"}}]}`, 1, "longer than", 0},
		{"blanks", `{"type":"FeatureCollection","features":[` + point + many(" ", 24) + `,` + point + `]}`, 2, "", 0},
		{"features of 2 MB", `{"type":"FeatureCollection","features":[` + point + strings.Repeat(`,{"type":"Feature","properties":{"a":"`+many("a", 2)+`"}}`, 20) + `]}`, 21, "", 0},
		{"many properties", `{"type":"FeatureCollection","features":[{"type":"Feature","geometry":null,"properties":{` + wide.String() + `"a":1}},` + point + `]}`, 2, "", 5002 - maxProps},
	} {
		t.Run(tt.name, func(t *testing.T) {
			in := fstest.MapFS{"a.geojson": {Data: []byte(tt.text)}}
			r, err := Open(context.Background(), in, Ref{Kind: GeoJSON, Files: []string{"a.geojson"}}, Dialect{})
			n, left := 0, int64(0)
			if err == nil {
				for r.Next() {
					n++
				}
				for _, u := range r.Unused() {
					left += u.Count
				}
				err = r.Err()
				r.Close()
			}
			if n != tt.rows || (err == nil) != (tt.want == "") || err != nil && !strings.Contains(err.Error(), tt.want) || left != tt.left {
				t.Errorf("%d rows, %v, %d left", n, err, left)
			}
			held := uint64(0)
			if tt.name != "features of 2 MB" { // which are read one after the other
				_, _, held, _ = costs(t, in, Ref{Kind: GeoJSON, Files: []string{"a.geojson"}})
			}
			if held > 32<<20 {
				t.Errorf("%d MB allocated for %d", held>>20, len(tt.text)>>20)
			}
		})
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

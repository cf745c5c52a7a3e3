package column_test

import (
	"bytes"
	"encoding/binary"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/parquet-go/parquet-go"
	"pgregory.net/rapid"

	"evenstand/format/column"
)

type row struct {
	A int8    `parquet:"a,delta"`
	B uint8   `parquet:"b,delta"`
	C int16   `parquet:"c,delta"`
	D int32   `parquet:"d,delta"`
	E int64   `parquet:"e,delta"`
	F float32 `parquet:"f,split"`
	G float64 `parquet:"g,split"`
	H bool    `parquet:"h"`
	I string  `parquet:"i,dict"`
}

func write(t testing.TB, groups [][]row) []byte {
	t.Helper()
	var b bytes.Buffer
	w := column.NewWriter[row](&b, "key", "value")
	for _, g := range groups {
		if err := w.Write(g); err != nil {
			t.Fatal(err)
		}
		if err := w.EndGroup(); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func opened(t testing.TB, data []byte) *column.File {
	t.Helper()
	p := filepath.Join(t.TempDir(), "x.parquet")
	if err := os.WriteFile(p, data, 0o644); err != nil {
		t.Fatal(err)
	}
	f, err := column.Open(p)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { f.Close() })
	return f
}

// What is written is read again the same, and written again gives the same
// bytes.
func TestWriteThenRead(t *testing.T) {
	dir := t.TempDir()
	rapid.Check(t, func(rt *rapid.T) {
		one := rapid.Custom(func(rt *rapid.T) row {
			return row{
				rapid.Int8().Draw(rt, "a"), rapid.Uint8().Draw(rt, "b"), rapid.Int16().Draw(rt, "c"), rapid.Int32().Draw(rt, "d"), rapid.Int64().Draw(rt, "e"),
				rapid.Float32().Draw(rt, "f"), rapid.Float64().Draw(rt, "g"), rapid.Bool().Draw(rt, "h"), rapid.StringN(0, 5, 20).Draw(rt, "i"),
			}
		})
		groups := rapid.SliceOfN(rapid.SliceOfN(one, 1, 300), 0, 4).Draw(rt, "groups")
		var b, again bytes.Buffer
		for _, out := range []*bytes.Buffer{&b, &again} {
			w := column.NewWriter[row](out)
			for _, g := range groups {
				if err := w.Write(g); err != nil {
					rt.Fatal(err)
				}
				if err := w.EndGroup(); err != nil {
					rt.Fatal(err)
				}
			}
			if err := w.Close(); err != nil {
				rt.Fatal(err)
			}
			if w.Groups() != len(groups) {
				rt.Fatalf("%d groups, want %d", w.Groups(), len(groups))
			}
		}
		if !bytes.Equal(b.Bytes(), again.Bytes()) {
			rt.Fatal("two writers gave different bytes")
		}
		p := filepath.Join(dir, "x.parquet")
		if err := os.WriteFile(p, b.Bytes(), 0o644); err != nil {
			rt.Fatal(err)
		}
		f, err := column.Open(p)
		if err != nil {
			rt.Fatal(err)
		}
		defer f.Close()
		for g := range groups {
			got, err := column.Rows(f, g, nil, row{})
			if err != nil {
				rt.Fatal(err)
			}
			if diff := cmp.Diff(groups[g], got, cmpopts.EquateNaNs()); diff != "" {
				rt.Fatalf("group %d (-want +got):\n%s", g, diff)
			}
		}
	})
}

// A pass of many pages comes back whole, and columns of other kinds convert.
func TestManyPages(t *testing.T) {
	var rows []row
	for i := range 300_000 {
		rows = append(rows, row{D: int32(i), E: int64(i) * 7, F: float32(i), H: i%3 == 0, I: "x"})
	}
	f := opened(t, write(t, [][]row{rows}))
	if v, ok := f.Meta("key"); !ok || v != "value" {
		t.Errorf("footer says %q", v)
	}
	got, err := column.Rows(f, 0, nil, row{})
	if err != nil {
		t.Fatal(err)
	}
	if !cmp.Equal(rows, got) {
		t.Error("rows differ")
	}
	p, err := column.Numbers[int64](f, 0, "d", 0)
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	n, pages := int64(0), 0
	for {
		vs, err := p.Next()
		if err != nil {
			break
		}
		pages++
		for _, v := range vs {
			if v != n {
				t.Fatalf("%d, want %d", v, n)
			}
			n++
		}
	}
	if n != 300_000 || pages < 2 {
		t.Errorf("%d values in %d pages", n, pages)
	}
	if _, err := column.Numbers[int32](f, 0, "i", 0); err == nil {
		t.Error("text was read as numbers")
	}
	if _, err := column.Numbers[int32](f, 0, "nowhere", 0); err == nil {
		t.Error("a column that is not there was read")
	}
}

// Another writer codes by dictionary, leaves values out and uses other widths.
// On a page coded by a dictionary the library's typed view gives indexes
// instead of values, without an error.
func TestDictionariesNullsAndWidths(t *testing.T) {
	type foreign struct {
		C *int64   `parquet:"c,dict,optional"`
		D int64    `parquet:"d,dict"`
		E *int32   `parquet:"e,optional"`
		F *float64 `parquet:"f,dict,optional"`
		G float32  `parquet:"g,dict"`
		H *bool    `parquet:"h,optional"`
		I *string  `parquet:"i,dict,optional"`
		X string   `parquet:"something_else"`
	}
	ptr := func(v int64) *int64 { return &v }
	i32, f64, yes, text := int32(-9), 2.5, true, "row 7"
	rows := []foreign{
		{ptr(500), 70_000, &i32, &f64, 1.5, &yes, &text, "x"},
		{nil, 70_000, nil, nil, 1.5, nil, nil, "x"},
		{ptr(-3), -5, &i32, &f64, -1, &yes, &text, "y"},
		{ptr(500), 0, nil, &f64, 1.5, nil, &text, "y"},
	}
	var b bytes.Buffer
	w := parquet.NewGenericWriter[foreign](&b)
	if _, err := w.Write(rows); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	none := row{A: 1, B: 2, C: -1, D: -1, E: -1, F: float32(math.NaN()), G: math.NaN(), H: false, I: ""}
	got, err := column.Rows(opened(t, b.Bytes()), 0, nil, none)
	if err != nil {
		t.Fatal(err)
	}
	nan := float32(math.NaN())
	want := []row{
		{1, 2, 500, 70_000, -9, 2.5, 1.5, true, "row 7"},
		{1, 2, -1, 70_000, -1, nan, 1.5, false, ""},
		{1, 2, -3, -5, -9, 2.5, -1, true, "row 7"},
		{1, 2, 500, 0, -1, 2.5, 1.5, false, "row 7"},
	}
	if diff := cmp.Diff(want, got, cmpopts.EquateNaNs()); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}

// A text that the file does not hold is the one of none, whatever stood in the
// rows that are used again, also when the file has every column.
func TestNoTextOverOldOnes(t *testing.T) {
	type optional struct {
		I *string `parquet:"i,optional"`
	}
	type one struct {
		I string `parquet:"i"`
	}
	text := "new"
	for _, version := range []int{1, 2} {
		var b bytes.Buffer
		w := parquet.NewGenericWriter[optional](&b, parquet.DataPageVersion(version))
		if _, err := w.Write([]optional{{nil}, {&text}, {nil}}); err != nil {
			t.Fatal(err)
		}
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		buf := []one{{"old"}, {"old"}, {"old"}}
		got, err := column.Rows(opened(t, b.Bytes()), 0, buf[:0], one{"none"})
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff([]one{{"none"}, {"new"}, {"none"}}, got); diff != "" {
			t.Errorf("pages of version %d (-want +got):\n%s", version, diff)
		}
	}
}

// A footer that states more than it holds gives an error before any memory is
// asked for. The bytes are written by hand after Thrift's compact protocol: the
// version, then a list of 2³¹−1 schema elements; a string of 2³¹−1 bytes; structs
// within structs without end; lists of schema elements and of row groups in
// which nothing is, of a byte each.
func TestFooterLies(t *testing.T) {
	deep := []byte{0x15, 0x02}
	for range 1000 {
		deep = append(deep, 0x1c)
	}
	const empty = 200_000
	many := binary.AppendUvarint(nil, empty)
	for _, tt := range []struct {
		name string
		body []byte
		said int // length of the footer as the file states it; 0 the true one
	}{
		{"list", []byte{0x15, 0x02, 0x19, 0xfc, 0xff, 0xff, 0xff, 0xff, 0x07, 0, 0, 0, 0}, 0},
		{"string", []byte{0x15, 0x02, 0x18, 0xff, 0xff, 0xff, 0xff, 0x07, 'a', 0}, 0},
		{"map", []byte{0x1b, 0xff, 0xff, 0xff, 0xff, 0x07, 0x88, 0, 0}, 0},
		{"depth", deep, 0},
		{"unknown type", []byte{0x1d, 0, 0}, 0},
		{"no end", []byte{0x15, 0x02}, 0},
		{"empty schema elements", append(append([]byte{0x15, 0x02, 0x19, 0xfc}, many...), make([]byte, empty+1)...), 0},
		{"empty row groups", append(append([]byte{0x15, 0x02, 0x39, 0xfc}, many...), make([]byte, empty+1)...), 0},
		{"longer than the file", []byte{0x15, 0x02, 0}, 1 << 30},
	} {
		t.Run(tt.name, func(t *testing.T) {
			b := append([]byte("PAR1"), tt.body...)
			said := uint32(len(tt.body))
			if tt.said > 0 {
				said = uint32(tt.said)
			}
			b = append(binary.LittleEndian.AppendUint32(b, said), "PAR1"...)
			p := filepath.Join(t.TempDir(), "x.parquet")
			if err := os.WriteFile(p, b, 0o644); err != nil {
				t.Fatal(err)
			}
			var before, after runtime.MemStats
			runtime.ReadMemStats(&before)
			_, err := column.Open(p)
			runtime.ReadMemStats(&after)
			if err == nil || !strings.Contains(err.Error(), "damaged footer") {
				t.Errorf("%v, want a damaged footer", err)
			}
			if n := after.TotalAlloc - before.TotalAlloc; n > 1<<20 {
				t.Errorf("%d bytes asked for", n)
			}
		})
	}
}

// Damaged files give an error, never a panic, and ask for no more memory than
// their rows and bytes may take.
func FuzzOpen(f *testing.F) {
	whole := write(f, [][]row{{{A: 1, I: "x"}, {A: 2, G: 3, I: "y"}}, {{A: 3}}})
	f.Add(whole)
	for _, cut := range []int{0, 3, 4, len(whole) / 2, len(whole) - 8, len(whole) - 1} {
		f.Add(whole[:cut])
	}
	for i := 8; i < len(whole); i += 37 {
		d := bytes.Clone(whole)
		d[i] ^= 0x55
		f.Add(d)
	}
	lie := append([]byte("PAR1"), 0x15, 0x02, 0x19, 0xfc, 0xff, 0xff, 0xff, 0xff, 0x07, 0, 0, 0, 0)
	f.Add(append(binary.LittleEndian.AppendUint32(lie, 13), "PAR1"...))
	for _, l := range lies(f) {
		if b := l.file.bytes(f); len(b) < 4096 { // long ones are slow
			f.Add(b)
		}
	}
	for _, s := range sound() {
		f.Add(s.file.bytes(f))
	}
	dir := f.TempDir()
	f.Fuzz(func(t *testing.T, data []byte) {
		p := filepath.Join(dir, "x.parquet")
		if err := os.WriteFile(p, data, 0o644); err != nil {
			t.Fatal(err)
		}
		before := allocated()
		defer func() {
			// Ten columns of three groups, each of which may unpack to 4 MiB and 64
			// bytes for each of its rows and bytes.
			if asked := allocated() - before; asked > uint64(256<<20+2000*len(data)) {
				t.Errorf("%d bytes asked for, of a file of %d", asked, len(data))
			}
		}()
		file, err := column.Open(p)
		if err != nil {
			return
		}
		defer file.Close()
		for g := range min(file.Groups(), 3) {
			if file.GroupRows(g) > 1<<14 {
				return // as many as there may be, and slow
			}
			column.Rows(file, g, nil, row{})
		}
	})
}

func BenchmarkRead(b *testing.B) {
	var rows []row
	for i := range 1 << 20 {
		rows = append(rows, row{C: int16(i >> 15), D: int32(i * 160), E: int64(i) * 80_000})
	}
	f := opened(b, write(b, [][]row{rows}))
	b.SetBytes(1 << 20 * 14)
	for b.Loop() {
		for _, name := range []string{"c", "d"} {
			p, err := column.Numbers[int32](f, 0, name, 0)
			if err != nil {
				b.Fatal(err)
			}
			for {
				if _, err := p.Next(); err != nil {
					break
				}
			}
			p.Close()
		}
	}
	b.ReportMetric(float64(len(rows))*float64(b.N)/b.Elapsed().Seconds(), "seeds/s")
}

// seed has the columns of book's seeds.parquet.
type seed struct {
	Pass    int32 `parquet:"pass,delta"`
	Row     int16 `parquet:"row,delta"`
	S       int32 `parquet:"s_mm,delta"`
	T       int64 `parquet:"t_us,delta"`
	Gap     int32 `parquet:"gap_mm,delta"`
	Class   uint8 `parquet:"class,delta"`
	Missing uint8 `parquet:"missing,delta"`
	Double  bool  `parquet:"double"`
	Cell    int16 `parquet:"cell,delta"`
	Off     int16 `parquet:"off_milli,delta"`
}

// A pass of 24 rows of 5,000 seeds each, as it is fetched for the screen.
func BenchmarkRows(b *testing.B) {
	const rows, seeds = 24, 5000
	rng := rand.New(rand.NewPCG(1, 2))
	var pass []seed
	for r := range rows {
		s, us := int32(0), int64(1e15)
		for i := range seeds {
			x := seed{Pass: 3, Row: int16(r + 1), S: s, T: us, Gap: 160 + int32(30*rng.NormFloat64()), Class: 1, Cell: int16(i % 40), Off: int16(100 * rng.NormFloat64())}
			switch {
			case rng.IntN(50) == 0:
				x.Class, x.Missing, x.Gap = 2, 1, x.Gap+160
			case rng.IntN(50) == 0:
				x.Class, x.Double = 0, true
			}
			s, us = s+x.Gap, us+500*int64(x.Gap)+int64(rng.IntN(200))
			pass = append(pass, x)
		}
	}
	var file bytes.Buffer
	w := column.NewWriter[seed](&file)
	for range 3 {
		if err := w.Write(pass); err != nil {
			b.Fatal(err)
		}
		if err := w.EndGroup(); err != nil {
			b.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		b.Fatal(err)
	}
	f := opened(b, file.Bytes())
	var got []seed
	for b.Loop() {
		var err error
		if got, err = column.Rows(f, 1, got[:0], seed{}); err != nil {
			b.Fatal(err)
		}
	}
	if !slices.Equal(got, pass) {
		b.Fatal("the seeds that were read are not those that were written")
	}
	b.ReportMetric(float64(len(pass))*float64(b.N)/b.Elapsed().Seconds(), "seeds/s")
	b.ReportAllocs()
}

// A file opened again gives the same rows without its footer being read, also
// when it was closed; one that has changed its length is refused.
func TestAgain(t *testing.T) {
	rows := []row{{A: 1, I: "x"}, {A: 2, G: 3, I: "y"}}
	first := opened(t, write(t, [][]row{rows, {{A: 9}}}))
	if err := first.Close(); err != nil {
		t.Fatal(err)
	}
	for range 2 {
		f, err := first.Again()
		if err != nil {
			t.Fatal(err)
		}
		got, err := column.Rows(f, 0, nil, row{})
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(rows, got); diff != "" {
			t.Errorf("(-want +got):\n%s", diff)
		}
		f.Close()
	}
	if err := os.WriteFile(first.Path(), []byte("short"), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := first.Again(); err == nil {
		t.Error("another file is opened by the footer of the first")
	}
}

// A column of numbers read as yes and no: all but 0 is yes, and what is not
// held is as it was said.
func TestNumbersAsBools(t *testing.T) {
	type numbers struct {
		A *int8 `parquet:"a,optional"`
	}
	type bools struct {
		A bool `parquet:"a"`
	}
	var b bytes.Buffer
	w := parquet.NewGenericWriter[numbers](&b)
	for _, v := range []int8{0, 1, 2, -1, 0} {
		if _, err := w.Write([]numbers{{&v}}); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := w.Write([]numbers{{}}); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	f := opened(t, b.Bytes())
	for _, none := range []bool{false, true} {
		got, err := column.Rows(f, 0, nil, bools{none})
		if d := cmp.Diff([]bools{{false}, {true}, {true}, {true}, {false}, {none}}, got); d != "" || err != nil {
			t.Errorf("%v (-want +got):\n%s", err, d)
		}
	}
}

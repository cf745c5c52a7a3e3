package table

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/google/go-cmp/cmp"
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
)

// take opens a text and gives its columns and cells as texts.
func take(t testing.TB, data []byte, d Dialect) (*Rows, [][]string) {
	t.Helper()
	in := fstest.MapFS{"a.csv": {Data: data}}
	r, err := Open(context.Background(), in, Ref{Kind: Text, Files: []string{"a.csv"}}, d)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	out := [][]string{{}}
	for _, c := range r.Columns() {
		name := c.Name
		if c.Unit != "" {
			name += " [" + c.Unit + "]"
		}
		out[0] = append(out[0], name)
	}
	for r.Next() {
		var row []string
		for _, c := range r.Row() {
			row = append(row, string(c.Text))
		}
		out = append(out, row)
	}
	if r.Err() != nil {
		t.Fatal(r.Err())
	}
	return r, out
}

func TestText(t *testing.T) {
	utf16 := func(s string, e unicode.Endianness, b unicode.BOMPolicy) []byte {
		out, err := unicode.UTF16(e, b).NewEncoder().Bytes([]byte(s))
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
	latin := func(s string) []byte {
		out, err := charmap.Windows1252.NewEncoder().Bytes([]byte(s))
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
	german := "Zeit;Geschwindigkeit;Höhe\n2026-05-02 14:12:08;8,2;260,1\n2026-05-02 14:12:09;8,3;260,2\n"
	germanWant := [][]string{{"Zeit", "Geschwindigkeit", "Höhe"}, {"2026-05-02 14:12:08", "8,2", "260,1"}, {"2026-05-02 14:12:09", "8,3", "260,2"}}
	for _, tt := range []struct {
		name   string
		data   []byte
		want   [][]string
		d      Dialect
		doubts int
		unused int64
	}{
		{"comma", []byte("time,speed\n1,2.5\n2,2.6\n"), [][]string{{"time", "speed"}, {"1", "2.5"}, {"2", "2.6"}}, Dialect{"utf-8", ',', '.', 1, -1}, 0, 0},
		{"semicolon and decimal comma", []byte(german), germanWant, Dialect{"utf-8", ';', ',', 1, -1}, 0, 0},
		{"byte order mark, carriage returns", []byte("\xef\xbb\xbf" + strings.ReplaceAll(german, "\n", "\r\n")), germanWant, Dialect{"utf-8", ';', ',', 1, -1}, 0, 0},
		{"carriage returns alone", []byte(strings.ReplaceAll(german, "\n", "\r")), germanWant, Dialect{"utf-8", ';', ',', 1, -1}, 0, 0},
		{"latin-1", latin(german), germanWant, Dialect{"latin-1", ';', ',', 1, -1}, 1, 0},
		{"utf-16 with a mark", utf16(german, unicode.LittleEndian, unicode.UseBOM), germanWant, Dialect{"utf-16le", ';', ',', 1, -1}, 0, 0},
		{"utf-16 without", utf16(german, unicode.LittleEndian, unicode.IgnoreBOM), germanWant, Dialect{"utf-16le", ';', ',', 1, -1}, 0, 0},
		{"utf-16 big endian", utf16(german, unicode.BigEndian, unicode.UseBOM), germanWant, Dialect{"utf-16be", ';', ',', 1, -1}, 0, 0},
		{"tabs", []byte("time\tspeed\n1\t2.5\n2\t2.6\n"), [][]string{{"time", "speed"}, {"1", "2.5"}, {"2", "2.6"}}, Dialect{"utf-8", '\t', '.', 1, -1}, 0, 0},
		{"bars", []byte("time|speed\n1|2.5\n2|2.6\n"), [][]string{{"time", "speed"}, {"1", "2.5"}, {"2", "2.6"}}, Dialect{"utf-8", '|', '.', 1, -1}, 0, 0},
		{"blanks", []byte("time   speed\n1   2.5\n22  2.6\n"), [][]string{{"time", "speed"}, {"1", "2.5"}, {"22", "2.6"}}, Dialect{"utf-8", ' ', '.', 1, -1}, 0, 0},
		{"lines above the header, units under it", []byte("Box: monitor\nSoftware 2.1\n\ntime,speed,row 1\ns,mph,%\n1,2.5,3\n2,2.6,4\n"), [][]string{{"time [s]", "speed [mph]", "row 1 [%]"}, {"1", "2.5", "3"}, {"2", "2.6", "4"}}, Dialect{"utf-8", ',', '.', 4, 5}, 0, 0},
		{"quotes", []byte("time,note,x\n1,\"a, \"\"b\"\"\nc\",2\n2,plain,3\n"), [][]string{{"time", "note", "x"}, {"1", "a, \"b\"\nc", "2"}, {"2", "plain", "3"}}, Dialect{"utf-8", ',', '.', 1, -1}, 0, 0},
		{"the header once more, remarks, empty lines", []byte("time,speed\n1,2.5\n\n# a \"remark\ntime,speed\n2,2.6\n"), [][]string{{"time", "speed"}, {"1", "2.5"}, {"2", "2.6"}}, Dialect{"utf-8", ',', '.', 1, -1}, 0, 1},
		{"rows that begin with the sign of a remark", []byte("# made by a box\nrow;time;x\n#1;1;8\n#2;1;8\n# rows done\n#1;2;9\n"), [][]string{{"row", "time", "x"}, {"#1", "1", "8"}, {"#2", "1", "8"}, {"#1", "2", "9"}}, Dialect{"utf-8", ';', '.', 2, -1}, 0, 1},
		{"a separator at each end", []byte("time;speed;\n1;2.5;\n2;2.6;\n"), [][]string{{"time", "speed"}, {"1", "2.5"}, {"2", "2.6"}}, Dialect{"utf-8", ';', '.', 1, -1}, 0, 0},
		{"a short line, a cut line, an open quote", []byte("time,speed,x\n1,2.5,1\n2\n3,\"2.5,1\n4,2.6,1\n5,2"), [][]string{{"time", "speed", "x"}, {"1", "2.5", "1"}, {"4", "2.6", "1"}}, Dialect{"utf-8", ',', '.', 1, -1}, 0, 3},
		{"twice the same name, and none", []byte("time,x,x,\n1,2,3,4\n1,2,3,4\n"), [][]string{{"time", "x", "x (2)", "column 4"}, {"1", "2", "3", "4"}, {"1", "2", "3", "4"}}, Dialect{"utf-8", ',', '.', 1, -1}, 0, 0},
	} {
		t.Run(tt.name, func(t *testing.T) {
			r, got := take(t, tt.data, Dialect{})
			if d := cmp.Diff(tt.want, got); d != "" {
				t.Errorf("(-want +got):\n%s", d)
			}
			if d := cmp.Diff(tt.d, r.Dialect()); d != "" {
				t.Errorf("dialect (-want +got):\n%s", d)
			}
			if len(r.Doubts()) != tt.doubts {
				t.Errorf("doubts %q", r.Doubts())
			}
			n := int64(0)
			for _, u := range r.Unused() {
				n += u.Count
			}
			if n != tt.unused {
				t.Errorf("not used: %v", r.Unused())
			}
			if r.Bytes() != int64(len(tt.data)) {
				t.Errorf("%d bytes of %d", r.Bytes(), len(tt.data))
			}
		})
	}
}

func TestTextErrors(t *testing.T) {
	for data, want := range map[string]string{
		"":         "empty",
		"time\n1":  "two columns",
		"a,b":      "within its header",
		"a b\nc\n": "",
	} {
		in := fstest.MapFS{"a.csv": {Data: []byte(data)}}
		r, err := Open(context.Background(), in, Ref{Kind: Text, Files: []string{"a.csv"}}, Dialect{Separator: ',', Header: 1})
		if err == nil {
			r.Close()
		}
		var e *Error
		if want != "" && (!errors.As(err, &e) || !strings.Contains(err.Error(), want)) {
			t.Errorf("%q: %v, want %q", data, err, want)
		}
	}
}

func TestListText(t *testing.T) {
	in := fstest.MapFS{
		"b/log.txt":  {Data: []byte("time;x\n1;2\n3;4\n")},
		"a.csv":      {Data: []byte("time,x\n1,2\n3,4\n")},
		"note.txt":   {Data: []byte("Read this first.\nIt is no table.\n")},
		"x.json":     {Data: []byte("{}")},
		"can.log":    {Data: []byte("(1.0) can0 1#00\n(1.0) can0 1#00\n")},
		"binary.dat": {Data: []byte("a,b\x00\x01\n1,2\n")},
	}
	refs, claimed, unused, err := List(context.Background(), in)
	if err != nil || len(unused) > 0 {
		t.Fatal(err, unused)
	}
	if d := cmp.Diff([]string{"a.csv", "b/log.txt"}, claimed); d != "" {
		t.Error(d)
	}
	if len(refs) != 2 || refs[0].Kind != Text {
		t.Errorf("%v", refs)
	}
}

func FuzzText(f *testing.F) {
	f.Add([]byte("time,speed\n1,2.5\n"), byte(0))
	f.Add([]byte("Zeit;x\n1;2,5\n\"a\nb\";3\n"), byte(';'))
	f.Add([]byte("\xff\xfet\x00,\x00x\x00\n\x001\x00,\x002\x00\n\x00"), byte(0))
	f.Fuzz(func(t *testing.T, data []byte, sep byte) {
		d := Dialect{}
		if strings.IndexByte(",;\t| ", sep) >= 0 && sep != 0 {
			d = Dialect{Separator: sep, Header: 1}
		}
		r, err := Open(context.Background(), fstest.MapFS{"a.csv": {Data: data}}, Ref{Kind: Text, Files: []string{"a.csv"}}, d)
		if err != nil {
			return
		}
		defer r.Close()
		n := len(r.Columns())
		if n < 2 {
			t.Errorf("%d columns", n)
		}
		for r.Next() {
			if len(r.Row()) != n {
				t.Fatalf("%d cells for %d columns", len(r.Row()), n)
			}
		}
		for _, u := range r.Unused() {
			if u.Why == "" || u.File == "" || u.Count < 1 {
				t.Errorf("%+v", u)
			}
		}
	})
}

func FuzzLook(f *testing.F) {
	f.Add([]byte("time,speed\n1,2.5\n"))
	f.Add([]byte("a;b\n\n1,5;2,7\n"))
	f.Fuzz(func(t *testing.T, head []byte) {
		d, _ := Look(head)
		if d.Separator != 0 && !bytes.ContainsRune([]byte(",;\t| "), rune(d.Separator)) || d.Decimal != '.' && d.Decimal != ',' || d.Header > lookLines+len(head) {
			t.Errorf("%+v", d)
		}
	})
}

// narrow is a table of a time and a row, wide one of 48 columns.
func narrow() []byte {
	b := []byte("time,row\n")
	for i := range 200_000 {
		b = fmt.Appendf(b, "%d.%03d,%d\n", 1777749128+i/1000, i%1000, 1+i%24)
	}
	return b
}

func BenchmarkText(b *testing.B) {
	data := narrow()
	in := fstest.MapFS{"a.csv": {Data: data}}
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		r, err := Open(context.Background(), in, Ref{Kind: Text, Files: []string{"a.csv"}}, Dialect{})
		if err != nil {
			b.Fatal(err)
		}
		n := 0
		for r.Next() {
			n++
		}
		if n != 200_000 || r.Err() != nil {
			b.Fatal(n, r.Err())
		}
		r.Close()
	}
	b.ReportMetric(200_000*float64(b.N)/b.Elapsed().Seconds(), "lines/s")
}

package table

import (
	"archive/zip"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/google/go-cmp/cmp"

	"evenstand/format/archive"
)

// packed puts the files of a disk into an input's zip, under a folder.
func packed(t testing.TB, d disk, folder string) fs.FS {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for name, f := range d {
		w, err := z.Create(path.Join(folder, name))
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write(f.Data); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return fstest.MapFS{"day.zip": {Data: b.Bytes()}}
}

// allOf reads a table to its end as texts.
func allOf(r *Rows, err error) ([][]string, error) {
	if err != nil {
		return nil, err
	}
	var out [][]string
	for r.Next() {
		var row []string
		for _, c := range r.Row() {
			row = append(row, spell(&c))
		}
		out = append(out, row)
	}
	return out, errors.Join(r.Err(), r.Close())
}

// TestArchive reads what lies in a zip within the input as what lies loose.
func TestArchive(t *testing.T) {
	ctx := context.Background()
	for _, tt := range []struct {
		kind Kind
		ext  string
	}{{Text, ".csv"}, {Workbook, ".xlsx"}, {Parquet, ".parquet"}, {GeoJSON, ".geojson"}, {Shapefile, ".shp"}} {
		t.Run(string(tt.kind), func(t *testing.T) {
			d := disk{}
			writeAll(t, d, tt.kind, "points", points, pointRows(), Dialect{})
			refs, _, _, err := List(ctx, fstest.MapFS(d))
			if err != nil || len(refs) != 1 {
				t.Fatalf("%v, %v", refs, err)
			}
			want, err := allOf(Open(ctx, fstest.MapFS(d), refs[0], Dialect{}))
			if err != nil || len(want) != len(pointRows()) {
				t.Fatalf("%d rows, %v", len(want), err)
			}
			ref := Ref{Kind: tt.kind, Files: []string{"day.zip"}, Inside: "logs/points" + tt.ext, Sheet: refs[0].Sheet}
			got, err := allOf(Open(ctx, packed(t, d, "logs"), ref, Dialect{}))
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(want, got); diff != "" {
				t.Errorf("in a zip (-loose +packed):\n%s", diff)
			}
		})
	}
}

// stated changes the unpacked size that a zip's directory states of its first
// file (APPNOTE.TXT 4.3.12: 24 bytes into the entry).
func stated(z []byte, size uint32) []byte {
	z = bytes.Clone(z)
	at := bytes.Index(z, []byte("PK\x01\x02"))
	for i := range 4 {
		z[at+24+i] = byte(size >> (8 * i))
	}
	return z
}

// TestArchiveBounds: what an archive states or holds beyond bounds is refused,
// and what it understates is not unpacked.
func TestArchiveBounds(t *testing.T) {
	file := func(n int) []byte {
		var b bytes.Buffer
		z := zip.NewWriter(&b)
		for i := range n {
			w, err := z.Create(fmt.Sprintf("%d.csv", i))
			if err != nil {
				t.Fatal(err)
			}
			if n == 1 {
				if _, err := io.WriteString(w, "a,b\n"+strings.Repeat("1,2\n", 1000)); err != nil {
					t.Fatal(err)
				}
			}
		}
		if err := z.Close(); err != nil {
			t.Fatal(err)
		}
		return b.Bytes()
	}
	one := file(1)
	for _, tt := range []struct {
		name string
		zip  []byte
		want string // in the error; empty: 1000 rows
	}{
		{"sound", one, ""},
		{"states 4 GB", stated(one, 1<<32-2), "said to unpack to more than"},
		{"states less than it holds", stated(one, 100), "zip: not a valid zip file"},
		{"too many files", file(archive.Usual().Files + 1), "holds 20001 files"},
		{"cut short", one[:len(one)/2], "no zip archive that can be read"},
		{"empty", nil, "no zip archive that can be read"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			in := fstest.MapFS{"day.zip": {Data: tt.zip}}
			rows, err := allOf(Open(context.Background(), in, Ref{Kind: Text, Files: []string{"day.zip"}, Inside: "0.csv"}, Dialect{}))
			switch {
			case tt.want == "" && (err != nil || len(rows) != 1000):
				t.Errorf("%d rows, %v", len(rows), err)
			case tt.want != "" && (err == nil || !strings.Contains(err.Error(), tt.want) || !strings.Contains(err.Error(), "day.zip")):
				t.Errorf("error %v, want %q and the file in it", err, tt.want)
			}
		})
	}
}

func FuzzArchive(f *testing.F) {
	d := disk{}
	writeAll(f, d, Text, "points", points, pointRows(), Dialect{})
	z, err := fs.ReadFile(packed(f, d, ""), "day.zip")
	if err != nil {
		f.Fatal(err)
	}
	f.Add(z)
	f.Add(z[:len(z)-8])
	f.Fuzz(func(t *testing.T, data []byte) {
		in := fstest.MapFS{"day.zip": {Data: data}}
		_, err := allOf(Open(context.Background(), in, Ref{Kind: Text, Files: []string{"day.zip"}, Inside: "points.csv"}, Dialect{}))
		if err != nil && !strings.Contains(err.Error(), "day.zip") {
			t.Errorf("the error does not name the file: %v", err)
		}
	})
}

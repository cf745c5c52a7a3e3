package archive_test

import (
	"archive/zip"
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"runtime"
	"strings"
	"testing"

	"evenstand/format/archive"
)

// zipped packs files given by name and content, in order.
func zipped(t testing.TB, method uint16, files ...string) []byte {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for i := 0; i < len(files); i += 2 {
		w, err := z.CreateHeader(&zip.FileHeader{Name: files[i], Method: method})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := io.WriteString(w, files[i+1]); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// entries is the begin of every entry of a zip's list of files (APPNOTE.TXT
// 4.3.12: packed size 20 bytes into it, unpacked size 24).
func entries(z []byte) []int {
	var out []int
	for at := 0; ; {
		i := bytes.Index(z[at:], []byte("PK\x01\x02"))
		if i < 0 {
			return out
		}
		out = append(out, at+i)
		at += i + 4
	}
}

// stated changes a size that the list states of every file.
func stated(z []byte, field int, size uint32) []byte {
	z = bytes.Clone(z)
	for _, at := range entries(z) {
		binary.LittleEndian.PutUint32(z[at+field:], size)
	}
	return z
}

func TestOpen(t *testing.T) {
	small := archive.Limits{Files: 100, Total: 1 << 20, File: 1 << 19, Free: 1 << 16, PerByte: 10}
	many := func(n int, name string) []byte {
		files := make([]string, 0, 2*n)
		for i := range n {
			files = append(files, fmt.Sprintf(name, i), "")
		}
		return zipped(t, zip.Store, files...)
	}
	sound := zipped(t, zip.Deflate, "a.csv", "a,b\n1,2\n", "b/c.csv", "x")
	tests := []struct {
		name string
		zip  []byte
		lim  archive.Limits
		want string // in the error; empty: none
		deny bool   // a *Refused
	}{
		{"sound", sound, small, "", false},
		{"sound, usual", sound, archive.Usual(), "", false},
		{"out of the folder", zipped(t, zip.Deflate, "../../x.csv", "1", "/etc/z.csv", "1", "a/../../../w.csv", "1"), small, "", false},
		{"unpacks to much", zipped(t, zip.Deflate, "zeros.csv", strings.Repeat("0", 1<<18)), small, "is said to unpack to more than", true},
		{"unpacks to much, usual", zipped(t, zip.Deflate, "zeros.csv", strings.Repeat("0", 80<<20)), archive.Usual(), "is said to unpack to more than", true},
		{"states 4 GB", stated(sound, 24, 1<<32-2), archive.Usual(), "is said to unpack to more than", true},
		{"one file beyond", stated(sound, 24, 1<<20), small, "a file of the zip is said to unpack to more than 512 KB: a.csv", true},
		{"shared bytes", stated(sound, 20, uint32(len(sound)-10)), small, "some share the same bytes", true},
		{"too many files", many(101, "%d"), small, "the zip holds 101 files, more than the 100", true},
		{"100,000 files", many(100_000, "%d.csv"), archive.Usual(), "the zip holds 100000 files", true},
		{"long list", many(60, strings.Repeat("x", 6000)+"%d"), small, "list of files is longer than", true},
		{"long name", many(1, strings.Repeat("x", 5000)+"%d"), small, "longer or deeper", true},
		{"deep name", many(1, strings.Repeat("d/", 80)+"%d"), small, "longer or deeper", true},
		{"the same twice", zipped(t, zip.Deflate, "a/b.csv", "1", `../a\b.csv`, "2"), small, "two files of the name a/b.csv", true},
		{"cut", sound[:len(sound)/2], small, "not a valid zip file", false},
		{"empty", nil, small, "not a valid zip file", false},
		{"garbage", []byte(strings.Repeat("PK\x05\x06 no zip ", 1000)), small, "not a valid zip file", false},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			z, err := archive.Open(bytes.NewReader(tt.zip), int64(len(tt.zip)), tt.lim)
			switch refused := (*archive.Refused)(nil); {
			case tt.want == "" && err != nil:
				t.Fatal(err)
			case tt.want != "" && (err == nil || !strings.Contains(err.Error(), tt.want)):
				t.Fatalf("error %v, want %q", err, tt.want)
			case tt.deny && !errors.As(err, &refused):
				t.Errorf("%T is no refusal", err)
			}
			if err != nil {
				return
			}
			err = fs.WalkDir(z, ".", func(p string, d fs.DirEntry, err error) error {
				if err != nil || d.IsDir() {
					return err
				}
				if !fs.ValidPath(p) {
					t.Errorf("%q leads out", p)
				}
				_, err = fs.ReadFile(z, p)
				return err
			})
			if err != nil {
				t.Error(err)
			}
		})
	}
}

// TestUnderstated: a file that holds more than is stated is cut with an error.
func TestUnderstated(t *testing.T) {
	data := stated(zipped(t, zip.Deflate, "a.csv", strings.Repeat("1,2\n", 1000)), 24, 100)
	z, err := archive.Open(bytes.NewReader(data), int64(len(data)), archive.Usual())
	if err != nil {
		t.Fatal(err)
	}
	if b, err := fs.ReadFile(z, "a.csv"); err == nil || len(b) > 5000 {
		t.Errorf("%d bytes, %v", len(b), err)
	}
}

// TestListMemory: a list of a million files is given up before it is in memory.
func TestListMemory(t *testing.T) {
	var b bytes.Buffer
	entry := append([]byte("PK\x01\x02"), make([]byte, 42)...)
	for range 1_000_000 {
		b.Write(entry)
	}
	end := append([]byte("PK\x05\x06"), make([]byte, 18)...)
	binary.LittleEndian.PutUint16(end[8:], 1_000_000%65536)
	binary.LittleEndian.PutUint16(end[10:], 1_000_000%65536)
	binary.LittleEndian.PutUint32(end[12:], uint32(b.Len()))
	b.Write(end)
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	_, err := archive.Open(bytes.NewReader(b.Bytes()), int64(b.Len()), archive.Usual())
	runtime.ReadMemStats(&after)
	if refused := (*archive.Refused)(nil); !errors.As(err, &refused) {
		t.Fatalf("error %v", err)
	}
	if got := (after.TotalAlloc - before.TotalAlloc) >> 20; got > 100 {
		t.Errorf("%d MB were taken for a list that is refused", got)
	}
}

func FuzzOpen(f *testing.F) {
	f.Add(zipped(f, zip.Deflate, "a.csv", "a,b\n1,2\n", "../b.csv", "x"))
	f.Add(stated(zipped(f, zip.Deflate, "a.csv", "a"), 24, 1<<30))
	lim := archive.Limits{Files: 10, Total: 1 << 16, File: 1 << 15, Free: 1 << 12, PerByte: 20}
	f.Fuzz(func(t *testing.T, data []byte) {
		z, err := archive.Open(bytes.NewReader(data), int64(len(data)), lim)
		if err != nil {
			return
		}
		var total int64
		for _, e := range z.File {
			r, err := e.Open()
			if err != nil {
				continue
			}
			n, _ := io.Copy(io.Discard, r)
			r.Close()
			total += n
		}
		if total > int64(lim.Total)+64<<10 { // a file that understates itself is noticed in the next piece
			t.Errorf("%d bytes unpacked", total)
		}
	})
}

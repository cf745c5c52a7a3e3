package plain_test

import (
	"io"
	"io/fs"
	"strings"
	"testing"
	"testing/fstest"
	"testing/iotest"

	"evenstand/format/formattest"
	"evenstand/format/plain"

	"github.com/google/go-cmp/cmp"
)

// dribble serves files a few bytes at a time.
type dribble struct{ fs.FS }

type dribbleFile struct {
	fs.File
	r io.Reader
}

func (d dribble) Open(name string) (fs.File, error) {
	f, err := d.FS.Open(name)
	if err == nil && strings.HasSuffix(name, ".csv") {
		f = dribbleFile{f, iotest.OneByteReader(f)}
	}
	return f, err
}

func (d dribbleFile) Read(p []byte) (int, error) { return d.r.Read(p) }

// fuzzFile reads noise under the name of a file and holds it against what no
// input may do: nothing impossible comes out, small reads change nothing, and
// what came out is written and read back the same.
func fuzzFile(f *testing.F, name string, exact bool) {
	for file, data := range box() {
		if strings.EqualFold(file[strings.LastIndex(file, "/")+1:], name) {
			f.Add(data.Data)
			f.Add(data.Data[:len(data.Data)*2/3])
		}
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		in := fstest.MapFS{name: {Data: data}, "source.toml": file(`zone = "UTC"`, `rows_from = "right"`, "rows = 16")}
		got := read(t, in)
		if why := formattest.Sound(got); why != "" {
			t.Fatal(why)
		}
		if err := got.Err(); err != nil {
			t.Fatal(err)
		}
		if len(got.Claimed) != 2 || len(got.Streams)+len(got.Unused) != 1 {
			t.Fatalf("%d sources and %d not used of one file", len(got.Streams), len(got.Unused))
		}
		if d := formattest.Diff(got, read(t, dribble{in})); d != "" {
			t.Fatalf("byte by byte it reads otherwise (-whole +bytes):\n%s", d)
		}
		if !exact || len(got.Streams) == 0 {
			return
		}
		was := &got.Streams[0].Data
		s := store{fstest.MapFS{}}
		write(t, s, plain.Options{Stamp: plain.EpochMicros}, *was)
		again := read(t, s.m)
		if was.Counts().Total() == 0 && len(again.Streams) == 0 {
			return
		}
		if d := formattest.DiffData(was, &again.Streams[0].Data); d != "" {
			t.Fatalf("written and read back (-want +got):\n%s", d)
		}
	})
}

func FuzzSeeds(f *testing.F)    { fuzzFile(f, "seeds.csv", true) }
func FuzzTrack(f *testing.F)    { fuzzFile(f, "track.csv", false) } // written to 1e-9 degree
func FuzzReadings(f *testing.F) { fuzzFile(f, "readings.csv", true) }
func FuzzJournal(f *testing.F)  { fuzzFile(f, "journal.csv", true) }

func FuzzReadSource(f *testing.F) {
	for name, data := range box() {
		if strings.HasSuffix(name, ".toml") {
			f.Add(data.Data)
		}
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		s, unused := plain.ReadSource("source.toml", data)
		for _, u := range unused {
			if u.File == "" || u.Why == "" || u.Count < 1 {
				t.Fatalf("%+v", u)
			}
		}
		again, unused := plain.ReadSource("source.toml", plain.WriteSource(s))
		if d := cmp.Diff(s, again, nanEqual); d != "" || len(unused) > 0 {
			t.Fatalf("%+v (-want +got):\n%s", unused, d)
		}
	})
}

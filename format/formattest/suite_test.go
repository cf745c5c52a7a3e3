package formattest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math/rand/v2"
	"path"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"testing/fstest"
	"time"

	"evenstand"
	"evenstand/format/plain"
)

// broken is a sound reader with one fault.
type broken struct {
	plain.Format
	find func([]evenstand.Source, []string, []evenstand.Unused, error) ([]evenstand.Source, []string, []evenstand.Unused, error)
	ctx  func(context.Context) context.Context
	fs   func(fs.FS) fs.FS
	sink func(evenstand.Sink) evenstand.Sink
	err  func(error) error
}

func (b broken) Find(ctx context.Context, in fs.FS) ([]evenstand.Source, []string, []evenstand.Unused, error) {
	if b.ctx != nil {
		ctx = b.ctx(ctx)
	}
	if b.fs != nil {
		in = b.fs(in)
	}
	s, c, u, err := b.Format.Find(ctx, in)
	if b.find != nil {
		return b.find(s, c, u, err)
	}
	return s, c, u, err
}

func (b broken) Read(ctx context.Context, in fs.FS, src evenstand.Source, sink evenstand.Sink) (evenstand.Source, error) {
	if b.ctx != nil {
		ctx = b.ctx(ctx)
	}
	if b.fs != nil {
		in = b.fs(in)
	}
	if b.sink != nil {
		sink = b.sink(sink)
	}
	src, err := b.Format.Read(ctx, in, src, sink)
	if b.err != nil {
		err = b.err(err)
	}
	return src, err
}

// seedSink changes what becomes of seeds and of what was not used.
type seedSink struct {
	evenstand.Sink
	seeds  func([]evenstand.Seed) error
	silent bool
}

func (s seedSink) Seeds(x []evenstand.Seed) error {
	if s.seeds == nil {
		return s.Sink.Seeds(x)
	}
	return s.seeds(x)
}

func (s seedSink) Unused(u evenstand.Unused) {
	if !s.silent {
		s.Sink.Unused(u)
	}
}

// editFS changes the bytes of files.
type editFS struct {
	fs.FS
	edit func(string, []byte) []byte
}

type editFile struct {
	fs.File
	*bytes.Reader
}

func (f editFile) Read(p []byte) (int, error) { return f.Reader.Read(p) }

func (e editFS) Open(name string) (fs.File, error) {
	f, err := e.FS.Open(name)
	if err != nil || strings.ToLower(path.Ext(name)) != ".csv" {
		return f, err
	}
	data, err := io.ReadAll(f)
	if err != nil {
		return nil, err
	}
	return editFile{f, bytes.NewReader(e.edit(name, data))}, nil
}

// deaf is a testing.TB that keeps to itself that it failed.
type deaf struct {
	testing.TB
	said []string
}

func (d *deaf) Helper()                        {}
func (d *deaf) Log(...any)                     {}
func (d *deaf) Logf(string, ...any)            {}
func (d *deaf) Error(a ...any)                 { d.said = append(d.said, fmt.Sprint(a...)) }
func (d *deaf) Errorf(format string, a ...any) { d.said = append(d.said, fmt.Sprintf(format, a...)) }
func (d *deaf) Fatal(a ...any)                 { d.Error(a...); runtime.Goexit() }
func (d *deaf) Fatalf(format string, a ...any) { d.Errorf(format, a...); runtime.Goexit() }
func (d *deaf) Skip(...any)                    { runtime.Goexit() }

func small() fstest.MapFS {
	return fstest.MapFS{"box/seeds.csv": {Data: []byte("time,row\n1777749128.12,1\n1777749128.25,2\n1777749129,12\n"), Mode: 0o644}}
}

// long is a file of three hundred thousand seeds.
var long = sync.OnceValue(func() []byte {
	b := []byte("time,row\n")
	for i := range 300_000 {
		b = strconv.AppendInt(b, int64(1777749128+i), 10)
		b = append(b, ".5,3\n"...)
	}
	return b
})

func smallSet() Set {
	return Set{
		Name: "small", FS: small(), Want: map[string]Counts{"box/seeds": {Seeds: 3}},
		Whole: func(_ string, data []byte, n int) bool { return n > 8 && data[n-1] == '\n' },
		Shuffle: func(_ string, data []byte, r *rand.Rand) []byte {
			lines := bytes.SplitAfter(data, []byte("\n"))
			r.Shuffle(3, func(i, j int) { lines[1+i], lines[1+j] = lines[1+j], lines[1+i] })
			return bytes.Join(lines, nil)
		},
		Long: fstest.MapFS{"seeds.csv": {Data: long(), Mode: 0o644}},
	}
}

// joined makes one source of all there are; stops: its first error ends it.
type joined struct {
	plain.Format
	stops bool
}

func (j joined) Find(ctx context.Context, in fs.FS) ([]evenstand.Source, []string, []evenstand.Unused, error) {
	all, c, u, err := j.Format.Find(ctx, in)
	if len(all) == 0 {
		return nil, c, u, err
	}
	src := all[0]
	src.Files = c
	return []evenstand.Source{src}, c, u, err
}

func (j joined) Read(ctx context.Context, in fs.FS, src evenstand.Source, sink evenstand.Sink) (evenstand.Source, error) {
	var bad error
	for _, f := range src.Files {
		_, err := j.Format.Read(ctx, in, evenstand.Source{Format: src.Format, Name: src.Name, Files: []string{f}}, sink)
		if bad = errors.Join(bad, err); bad != nil && j.stops {
			break
		}
	}
	return src, bad
}

// check runs one check over a reader and gives what it said.
func check(t *testing.T, name string, f evenstand.Format) []string {
	t.Helper()
	return checkSet(t, name, f, plain.Format{}, smallSet())
}

// checkSet is check over a set, of which a sound reader tells the whole.
func checkSet(t *testing.T, name string, f, sound evenstand.Format, set Set) []string {
	t.Helper()
	files := load(t, set.FS)
	whole, err := ReadAll(context.Background(), sound, files)
	if err != nil {
		t.Fatal(err)
	}
	if name == "counts" { // the only one that looks at the whole as the reader gives it
		whole, _ = ReadAll(context.Background(), f, files)
	}
	d := &deaf{TB: t}
	for _, c := range checks {
		if c.name == name {
			done := make(chan bool)
			go func() {
				defer close(done)
				c.run(&run{Set: set, f: f, files: files, whole: whole}, d)
			}()
			<-done
			return d.said
		}
	}
	t.Fatalf("no check %q", name)
	return nil
}

// The suite passes a sound reader, and each check finds the fault it is for.
func TestSuite(t *testing.T) {
	Suite(t, plain.Format{}, []Set{smallSet()})
}

func TestChecksFindFaults(t *testing.T) {
	n := 0
	var kept []evenstand.Seed
	lines := func(edit func([]byte) []byte) func(fs.FS) fs.FS {
		return func(in fs.FS) fs.FS {
			return editFS{in, func(name string, data []byte) []byte {
				if len(data) == 0 {
					return data
				}
				return edit(data)
			}}
		}
	}
	seeds := func(do func(evenstand.Sink, []evenstand.Seed) error) func(evenstand.Sink) evenstand.Sink {
		return func(s evenstand.Sink) evenstand.Sink {
			return seedSink{Sink: s, seeds: func(x []evenstand.Seed) error { return do(s, x) }}
		}
	}
	for _, tt := range []struct {
		fault, check string
		f            broken
	}{
		{"loses a seed", "counts", broken{sink: seeds(func(s evenstand.Sink, x []evenstand.Seed) error { return s.Seeds(x[1:]) })}},
		{"makes row 0", "counts", broken{sink: seeds(func(s evenstand.Sink, x []evenstand.Seed) error { x[0].Row = 0; return s.Seeds(x) })}},
		{"is silent on empty files", "empty files", broken{find: func(s []evenstand.Source, c []string, _ []evenstand.Unused, err error) ([]evenstand.Source, []string, []evenstand.Unused, error) {
			return s, c, nil, err
		}}},
		{"gives up over one file", "empty files", broken{find: func(s []evenstand.Source, c []string, u []evenstand.Unused, err error) ([]evenstand.Source, []string, []evenstand.Unused, error) {
			if len(u) > 0 {
				err = io.ErrUnexpectedEOF
			}
			return s, c, u, err
		}}},
		{"takes a cut line for whole", "cut", broken{fs: lines(func(b []byte) []byte { return append(bytes.TrimRight(b, "\n"), '\n') })}},
		{"is silent on a cut line", "cut", broken{sink: func(s evenstand.Sink) evenstand.Sink { return seedSink{Sink: s, silent: true} }}},
		{"drops all when cut", "cut", broken{fs: lines(func(b []byte) []byte {
			if b[len(b)-1] != '\n' {
				return append(b[:9], "x\n"...)
			}
			return b
		})}},
		{"drops what goes back", "wrong order", broken{fs: lines(func(b []byte) []byte {
			l := bytes.SplitAfter(b, []byte("\n"))
			slices.SortFunc(l[1:4], bytes.Compare)
			return bytes.Join(l, nil)
		})}},
		{"differs each time", "twice", broken{sink: seeds(func(s evenstand.Sink, x []evenstand.Seed) error {
			n++
			x[0].T += evenstand.Micros(n)
			return s.Seeds(x)
		})}},
		{"names by the file alone", "two folders", broken{find: func(s []evenstand.Source, c []string, u []evenstand.Unused, err error) ([]evenstand.Source, []string, []evenstand.Unused, error) {
			for i := range s {
				s[i].Name = path.Base(s[i].Name)
			}
			return s, c, u, err
		}}},
		{"believes a count", "huge counts", broken{fs: lines(func(b []byte) []byte {
			if bytes.Contains(b, []byte("99999999999999999999")) {
				kept = make([]evenstand.Seed, 8<<20)
			}
			return b
		})}},
		{"takes noise for a row", "flipped bytes", broken{sink: seeds(func(s evenstand.Sink, x []evenstand.Seed) error {
			for i := range x {
				if x[i].Row != 1 && x[i].Row != 2 && x[i].Row != 12 {
					x[i].Row = -1
				}
			}
			return s.Seeds(x)
		})}},
		{"goes on when stopped", "cancelled", broken{ctx: context.WithoutCancel}},
		{"goes on without the sink", "failing sink", broken{sink: seeds(func(s evenstand.Sink, x []evenstand.Seed) error { s.Seeds(x); return nil })}},
		{"hides a failing disk", "failing disk", broken{err: func(error) error { return nil }}},
		{"looks at what it lent", "lent slices", broken{sink: seeds(func(s evenstand.Sink, x []evenstand.Seed) error {
			if err := s.Seeds(x[:1]); err != nil {
				return err
			}
			x[1].T = x[0].T + 130_000
			return s.Seeds(x[1:])
		})}},
		{"needs small letters", "other letters", broken{find: func(s []evenstand.Source, c []string, u []evenstand.Unused, err error) ([]evenstand.Source, []string, []evenstand.Unused, error) {
			s = slices.DeleteFunc(s, func(s evenstand.Source) bool { return s.Files[0] != strings.ToLower(s.Files[0]) })
			return s, c, u, err
		}}},
	} {
		t.Run(tt.fault, func(t *testing.T) {
			start := time.Now()
			if said := check(t, tt.check, tt.f); len(said) == 0 {
				t.Errorf("the check %q finds nothing", tt.check)
			} else {
				t.Logf("%v: %s", time.Since(start), said[0])
			}
		})
	}
	_ = kept
	two := smallSet()
	two.FS = fstest.MapFS{"a/seeds.csv": small()["box/seeds.csv"], "b/seeds.csv": small()["box/seeds.csv"]}
	if said := checkSet(t, "damaged neighbour", joined{}, joined{}, two); len(said) > 0 {
		t.Errorf("damaged neighbour: a sound reader fails: %s", said[0])
	}
	if said := checkSet(t, "damaged neighbour", joined{stops: true}, joined{}, two); len(said) == 0 {
		t.Error("the check \"damaged neighbour\" finds nothing where the first error ends the source")
	}
	for _, c := range checks {
		if said := check(t, c.name, plain.Format{}); len(said) > 0 {
			t.Errorf("%s: a sound reader fails: %s", c.name, said[0])
		}
	}
}

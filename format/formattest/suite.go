package formattest

import (
	"archive/zip"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"math"
	"math/rand/v2"
	"os"
	"path"
	"path/filepath"
	"runtime/metrics"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"evenstand"
)

// Set is one input with what a reader must get out of it. Keep the files
// small, a few thousand bytes: they are cut at each byte.
type Set struct {
	Name string
	FS   fs.FS
	Want map[string]Counts // by source name

	// Context tells which files say how others are to be read, such as a
	// description of the device: when they are damaged the data may change
	// its meaning, and only panics, hangs and silence are held against the
	// reader. Nil: none.
	Context func(file string) bool
	// Whole tells whether the first n bytes of a file are a file of their own
	// that nobody could take for a damaged one, such as lines up to a line
	// end. Nil: a cut is always to be told.
	Whole func(file string, data []byte, n int) bool
	// LastRecord is the most values that the last record of a file holds:
	// with one byte missing a reader may lose as many. 0 stands for 1, and a
	// negative number for any.
	LastRecord int
	// Shuffle puts the records of a file in another order; nil, or a nil
	// result, where the format has no such thing.
	Shuffle func(file string, data []byte, r *rand.Rand) []byte
	// Long is an input of at least a hundred thousand values, to be stopped
	// half way; nil when the format's test has none.
	Long fs.FS
}

// mostCuts is the number of places at which one file is cut.
const mostCuts = 1500

// Suite runs all checks over all sets.
func Suite(t *testing.T, f evenstand.Format, sets []Set) {
	t.Helper()
	t.Run("empty folder", func(t *testing.T) {
		in, err := ReadAll(context.Background(), f, fstest.MapFS{})
		if err != nil || len(in.Streams) > 0 || len(in.Claimed) > 0 {
			t.Errorf("found %d sources and claimed %v in an empty folder, error %v", len(in.Streams), in.Claimed, err)
		}
	})
	t.Run("foreign files", func(t *testing.T) {
		in, err := ReadAll(context.Background(), f, fstest.MapFS{"readme.txt": {Data: []byte("hello")}, "a/picture.jpg": {Data: []byte{0xff, 0xd8}}})
		if err != nil || len(in.Streams) > 0 || len(in.Claimed) > 0 {
			t.Errorf("found %d sources and claimed %v among foreign files, error %v", len(in.Streams), in.Claimed, err)
		}
	})
	for _, s := range sets {
		t.Run(s.Name, func(t *testing.T) {
			r := &run{Set: s, f: f, files: load(t, s.FS)}
			var err error
			if r.whole, err = ReadAll(context.Background(), f, r.files); err != nil {
				t.Fatalf("find: %v", err)
			}
			for _, c := range checks {
				t.Run(c.name, func(t *testing.T) { c.run(r, t) })
			}
		})
	}
}

// checks are what each set goes through.
var checks = []struct {
	name string
	run  func(*run, testing.TB)
}{
	{"counts", (*run).counts},
	{"empty files", (*run).empty},
	{"cut", (*run).cut},
	{"wrong order", (*run).order},
	{"twice", (*run).twice},
	{"two folders", (*run).twoFolders},
	{"huge counts", (*run).huge},
	{"flipped bytes", (*run).flipped},
	{"cancelled", (*run).cancelled},
	{"failing sink", (*run).failingSink},
	{"failing disk", (*run).failingDisk},
	{"damaged neighbour", (*run).neighbour},
	{"lent slices", (*run).lent},
	{"zip", (*run).zip},
	{"folder on disk", (*run).disk},
	{"other letters", (*run).letters},
}

type run struct {
	Set
	f     evenstand.Format
	files fstest.MapFS
	whole Input
}

func load(t testing.TB, in fs.FS) fstest.MapFS {
	t.Helper()
	out := fstest.MapFS{}
	err := fs.WalkDir(in, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := fs.ReadFile(in, name)
		out[name] = &fstest.MapFile{Data: data, Mode: 0o644}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func (r *run) names() []string { return slices.Sorted(maps.Keys(r.files)) }

// with is the input with one file replaced.
func (r *run) with(name string, data []byte) fstest.MapFS {
	m := maps.Clone(r.files)
	m[name] = &fstest.MapFile{Data: data, Mode: 0o644}
	return m
}

func (r *run) context(name string) bool { return r.Context != nil && r.Context(name) }

func (r *run) isWhole(name string, data []byte, n int) bool {
	return r.Whole != nil && r.Whole(name, data, n)
}

// read reads a damaged input and holds it against what no input may do.
func (r *run) read(t testing.TB, what string, in fs.FS) (Input, bool) {
	t.Helper()
	size := int64(0)
	fs.WalkDir(in, ".", func(_ string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			if fi, err := d.Info(); err == nil {
				size += fi.Size()
			}
		}
		return nil
	})
	before := allocated()
	start := time.Now()
	got, err := ReadAll(context.Background(), r.f, in)
	took := time.Since(start)
	made := allocated() - before
	// A reader may take its buffers and a few hundred bytes for each byte of
	// input; a count that it believes without looking takes far more.
	if most := uint64(64<<20 + 2000*size); made > most {
		t.Errorf("%s: %d MB allocated for %d bytes of input", what, made>>20, size)
		return got, false
	}
	if took > 10*time.Second {
		t.Errorf("%s: took %v for %d bytes", what, took, size)
		return got, false
	}
	if err != nil {
		t.Errorf("%s: find gives up over one bad file: %v", what, err)
		return got, false
	}
	if why := Sound(got); why != "" {
		t.Errorf("%s: %s", what, why)
		return got, false
	}
	return got, true
}

// allocated gives the bytes allocated so far, without stopping the world as
// runtime.ReadMemStats does.
func allocated() uint64 {
	m := []metrics.Sample{{Name: "/gc/heap/allocs:bytes"}}
	metrics.Read(m)
	return m[0].Value.Uint64()
}

// Sound says what is impossible in an input: a source without a name of its
// own, a value that cannot be, a report without file or reason. It is empty
// when all is well.
func Sound(in Input) string {
	names := map[string]bool{}
	for _, s := range in.Streams {
		if s.Source.Name == "" || names[s.Source.Name] {
			return fmt.Sprintf("source name %q is empty or stands twice", s.Source.Name)
		}
		names[s.Source.Name] = true
		for _, file := range s.Source.Files {
			if !slices.Contains(in.Claimed, file) {
				return fmt.Sprintf("%s reads %s, which Find did not claim", s.Source.Name, file)
			}
		}
		for _, x := range s.Data.Fix {
			if !(math.Abs(x.Lat) <= 90 && math.Abs(x.Lon) <= 180) || x.Lat == 0 && x.Lon == 0 || x.T == evenstand.NoTime {
				return fmt.Sprintf("fix %+v is nowhere", x)
			}
		}
		for _, x := range s.Data.Seed {
			if x.Row < 1 || x.Row > evenstand.MaxRows || x.T == evenstand.NoTime {
				return fmt.Sprintf("seed %+v cannot be", x)
			}
		}
		for _, x := range s.Data.Reading {
			if !x.Quantity.Plausible(x.Value) || x.T == evenstand.NoTime {
				return fmt.Sprintf("reading %+v of %s is not plausible", x, x.Quantity)
			}
			if x.Element.Scope == evenstand.ScopeRow && (x.Element.N < 1 || x.Element.N > evenstand.MaxRows) {
				return fmt.Sprintf("reading of %s", x.Element)
			}
		}
		for _, x := range s.Data.Entry {
			if x.T == evenstand.NoTime || !slices.IsSorted(x.Rows) || len(x.Rows) > 0 && (x.Rows[0] < 1 || x.Rows[len(x.Rows)-1] > evenstand.MaxRows) {
				return fmt.Sprintf("entry %+v cannot be", x)
			}
		}
	}
	all := slices.Clone(in.Unused)
	for _, s := range in.Streams {
		all = append(all, s.Data.Left...)
	}
	for _, u := range all {
		if u.File == "" || u.Why == "" || u.Count < 1 || u.Of == "" {
			return fmt.Sprintf("unused %+v lacks its file, reason, count or what is counted", u)
		}
	}
	return ""
}

// lost says which value of one input another does not hold, as often; empty
// when it holds them all.
func lost(of, in Input) string {
	held, want := in.lines(), of.lines()
	for _, k := range slices.Sorted(maps.Keys(want)) {
		if held[k] < want[k] {
			return k
		}
	}
	return ""
}

// within says what an input holds that the whole one does not.
func (r *run) within(in Input) string { return lost(in, r.whole) }

func (r *run) counts(t testing.TB) {
	if why := Sound(r.whole); why != "" {
		t.Error(why)
	}
	if err := r.whole.Err(); err != nil {
		t.Error(err)
	}
	got := map[string]Counts{}
	for i := range r.whole.Streams {
		s := &r.whole.Streams[i]
		got[s.Source.Name] = s.Data.Counts()
		if s.Source.Format != r.f.Name() {
			t.Errorf("%s: format %q, want %q", s.Source.Name, s.Source.Format, r.f.Name())
		}
		size := int64(0)
		for _, file := range s.Source.Files {
			if f := r.files[file]; f != nil {
				size += int64(len(f.Data))
			} else {
				t.Errorf("%s: file %s is not in the input", s.Source.Name, file)
			}
		}
		if s.Data.Bytes <= 0 || s.Data.Bytes > 2*size {
			t.Errorf("%s: progress adds up to %d of %d bytes", s.Source.Name, s.Data.Bytes, size)
		}
	}
	if !maps.Equal(got, r.Want) {
		t.Errorf("counts %+v,\nwant %+v", got, r.Want)
	}
}

func (r *run) empty(t testing.TB) {
	for _, name := range r.names() {
		got, ok := r.read(t, name+" empty", r.with(name, nil))
		if ok && slices.Contains(r.whole.Claimed, name) && !got.Told(name) && !r.isWhole(name, r.files[name].Data, 0) {
			t.Errorf("%s is empty and nothing is said", name)
		}
	}
}

func (r *run) cut(t testing.TB) {
	rng := rand.New(rand.NewPCG(1, 2))
	for _, name := range r.names() {
		if !slices.Contains(r.whole.Claimed, name) {
			continue
		}
		data := r.files[name].Data
		before := 0
		for n := 1; n < len(data); n++ {
			// Long files are cut at a sample of places, the ends always.
			if len(data) > mostCuts && n > 200 && n < len(data)-200 && rng.IntN(len(data)) > mostCuts {
				continue
			}
			what := fmt.Sprintf("%s cut at byte %d of %d", name, n, len(data))
			got, ok := r.read(t, what, r.with(name, data[:n]))
			if !ok {
				return
			}
			if !r.isWhole(name, data, n) && !got.Told(name) {
				t.Fatalf("%s: nothing is said", what)
			}
			if r.context(name) {
				continue
			}
			if bad := r.within(got); bad != "" {
				t.Fatalf("%s: gives what the whole file does not hold: %s", what, bad)
			}
			total := got.Total()
			if total < before {
				t.Fatalf("%s: %d values, one byte less gave %d", what, total, before)
			}
			before = total
		}
		if most := max(1, r.LastRecord); r.LastRecord >= 0 && !r.context(name) && before < r.whole.Total()-most {
			t.Errorf("%s without its last byte: %d of %d values, want all but %d", name, before, r.whole.Total(), most)
		}
	}
}

func (r *run) order(t testing.TB) {
	if r.Shuffle == nil {
		t.Skip("the format has no order of records that could be wrong")
	}
	rng := rand.New(rand.NewPCG(3, 4))
	for _, name := range r.names() {
		for range 5 {
			data := r.Shuffle(name, slices.Clone(r.files[name].Data), rng)
			if data == nil || bytes.Equal(data, r.files[name].Data) {
				continue
			}
			got, ok := r.read(t, name+" shuffled", r.with(name, data))
			if !ok {
				return
			}
			if bad := r.within(got); bad != "" || got.Total() != r.whole.Total() {
				t.Errorf("%s shuffled: %d of %d values; foreign: %s", name, got.Total(), r.whole.Total(), bad)
			}
			told := got.Told(name)
			for _, s := range got.Streams {
				told = told || len(s.Source.Notes) > 0
			}
			if !told {
				t.Errorf("%s shuffled: nothing is said", name)
			}
		}
	}
}

func (r *run) twice(t testing.TB) {
	again, err := ReadAll(context.Background(), r.f, r.files)
	if err != nil {
		t.Fatal(err)
	}
	if d := Diff(r.whole, again); d != "" {
		t.Errorf("the second reading differs (-first +second):\n%s", d)
	}
}

func (r *run) twoFolders(t testing.TB) {
	m := fstest.MapFS{}
	for name, f := range r.files {
		m["one/"+name], m["two/"+name] = f, f
	}
	got, ok := r.read(t, "the same input in two folders", m)
	if ok && (len(got.Streams) != 2*len(r.whole.Streams) || got.Total() != 2*r.whole.Total()) {
		t.Errorf("the same input in two folders: %d sources with %d values, want twice %d with %d",
			len(got.Streams), got.Total(), len(r.whole.Streams), r.whole.Total())
	}
}

// huge blows up each number of a text, and each few bytes of anything.
func (r *run) huge(t testing.TB) {
	rng := rand.New(rand.NewPCG(5, 6))
	for _, name := range r.names() {
		data := r.files[name].Data
		try := func(what string, b []byte) bool {
			_, ok := r.read(t, fmt.Sprintf("%s, %s", name, what), r.with(name, b))
			return ok
		}
		for i := 0; i < len(data); i++ {
			if len(data) > 300 && rng.IntN(len(data)) > 300 {
				continue
			}
			for _, fill := range []string{"\xff\xff\xff\x7f", "\xff\xff\xff\xff", "\xff\xff"} {
				b := slices.Clone(data)
				copy(b[i:], fill)
				if !try(fmt.Sprintf("bytes of 255 at %d", i), b) {
					return
				}
			}
			if data[i] >= '0' && data[i] <= '9' {
				for _, num := range []string{"99999999999999999999", "2147483647", "-2147483648", "1e300"} {
					b := slices.Concat(data[:i], []byte(num), data[i+1:])
					if !try(fmt.Sprintf("%s at byte %d", num, i), b) {
						return
					}
				}
			}
		}
	}
}

func (r *run) flipped(t testing.TB) {
	rng := rand.New(rand.NewPCG(7, 8))
	for _, name := range r.names() {
		data := r.files[name].Data
		if len(data) == 0 {
			continue
		}
		for range 300 {
			b := slices.Clone(data)
			for range 1 + rng.IntN(8) {
				b[rng.IntN(len(b))] ^= byte(1 << rng.IntN(8))
			}
			if _, ok := r.read(t, name+" with flipped bits", r.with(name, b)); !ok {
				t.Logf("%q", b)
				return
			}
		}
	}
}

func (r *run) cancelled(t testing.TB) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, _, _, err := r.f.Find(ctx, r.files); !errors.Is(err, context.Canceled) {
		t.Errorf("find with a cancelled context: error %v", err)
	}
	for _, s := range r.whole.Streams {
		var c Collect
		if _, err := r.f.Read(ctx, r.files, s.Source, &c); !errors.Is(err, context.Canceled) || c.Counts().Total() > 0 {
			t.Errorf("%s read with a cancelled context: %d values, error %v", s.Source.Name, c.Counts().Total(), err)
		}
	}
	if r.Long == nil {
		return
	}
	sources, _, _, err := r.f.Find(context.Background(), r.Long)
	if err != nil || len(sources) == 0 {
		t.Fatalf("%d sources in the long input, error %v", len(sources), err)
	}
	for _, src := range sources {
		ctx, cancel := context.WithCancel(context.Background())
		defer cancel()
		var c Collect
		var at time.Time
		c.After = func() error {
			if at.IsZero() {
				at = time.Now()
				cancel()
			}
			return nil
		}
		_, err := r.f.Read(ctx, r.Long, src, &c)
		if !errors.Is(err, context.Canceled) {
			t.Errorf("%s: cancelled after the first values and yet read to the end, %d values, error %v", src.Name, c.Counts().Total(), err)
		}
		if took := time.Since(at); took > time.Second {
			t.Errorf("%s: went on for %v after it was cancelled", src.Name, took)
		}
	}
}

func (r *run) failingSink(t testing.TB) {
	full := errors.New("no room")
	for i := range r.whole.Streams {
		s := &r.whole.Streams[i]
		if s.Data.Counts().Total() == 0 {
			continue
		}
		calls := 0
		c := Collect{After: func() error { calls++; return full }}
		if _, err := r.f.Read(context.Background(), r.files, s.Source, &c); !errors.Is(err, full) || calls != 1 {
			t.Errorf("%s: the sink failed, yet error %v and %d calls", s.Source.Name, err, calls)
		}
	}
}

var errDisk = errors.New("the disk fails")

// brokenFS serves one file up to a byte and then fails.
type brokenFS struct {
	fs.FS
	name string
	at   int
}

type brokenFile struct {
	fs.File
	left int
}

func (b brokenFS) Open(name string) (fs.File, error) {
	f, err := b.FS.Open(name)
	if err == nil && name == b.name {
		f = &brokenFile{f, b.at}
	}
	return f, err
}

func (b *brokenFile) Read(p []byte) (int, error) {
	if b.left <= 0 {
		return 0, errDisk
	}
	n, err := b.File.Read(p[:min(len(p), b.left)])
	b.left -= n
	return n, err
}

func (r *run) failingDisk(t testing.TB) {
	for _, name := range r.names() {
		if !slices.Contains(r.whole.Claimed, name) {
			continue
		}
		size := len(r.files[name].Data)
		for at := 0; at < size; at += max(1, size/100) {
			what := fmt.Sprintf("%s fails at byte %d", name, at)
			got, ok := r.read(t, what, brokenFS{r.files, name, at})
			if !ok {
				return
			}
			if !got.Told(name) {
				t.Fatalf("%s: nothing is said", what)
			}
			if bad := r.within(got); bad != "" && !r.context(name) {
				t.Fatalf("%s: gives what the file does not hold: %s", what, bad)
			}
		}
	}
}

// neighbour damages one of a source's files: what the others give without it
// they give beside it too.
func (r *run) neighbour(t testing.TB) {
	rng := rand.New(rand.NewPCG(9, 10))
	some := false
	for i := range r.whole.Streams {
		files := r.whole.Streams[i].Source.Files
		for _, name := range files {
			data := r.files[name].Data
			if len(files) < 2 || r.context(name) || len(data) == 0 {
				continue
			}
			some = true
			m := maps.Clone(r.files)
			delete(m, name)
			alone, err := ReadAll(context.Background(), r.f, m)
			if err != nil {
				t.Fatal(err)
			}
			noise := slices.Clone(data)
			for k := len(noise) / 3; k < len(noise)*2/3; k++ {
				noise[k] = byte(rng.IntN(256))
			}
			for _, d := range []struct {
				what string
				in   fs.FS
			}{
				{"cut", r.with(name, data[:len(data)/2])},
				{"noise", r.with(name, noise)},
				{"empty", r.with(name, nil)},
			} {
				what := fmt.Sprintf("%s, %s", name, d.what)
				got, ok := r.read(t, what, d.in)
				if !ok {
					return
				}
				if gone := lost(alone, got); gone != "" {
					t.Errorf("%s: another file lost %s", what, gone)
				}
			}
			// A stick that comes loose once the files are found.
			got := Input{Claimed: r.whole.Claimed}
			for _, s := range r.whole.Streams {
				var c Collect
				src, err := r.f.Read(context.Background(), brokenFS{r.files, name, len(data) / 2}, s.Source, &c)
				got.Streams = append(got.Streams, Stream{src, c, err})
			}
			if gone := lost(alone, got); gone != "" {
				t.Errorf("%s fails when it is read: another file lost %s", name, gone)
			}
			if !got.Told(name) {
				t.Errorf("%s fails when it is read: nothing is said", name)
			}
		}
	}
	if !some {
		t.Skip("no source with two files that do not explain each other")
	}
}

func (r *run) lent(t testing.TB) {
	for i := range r.whole.Streams {
		s := &r.whole.Streams[i]
		c := Collect{Scribble: true}
		if _, err := r.f.Read(context.Background(), r.files, s.Source, &c); err != nil {
			t.Error(err)
		}
		if d := DiffData(&s.Data, &c); d != "" {
			t.Errorf("%s: a sink that spoils the lent slices gets other values (-want +got):\n%s", s.Source.Name, d)
		}
	}
}

func (r *run) zip(t testing.TB) {
	var buf bytes.Buffer
	w := zip.NewWriter(&buf)
	for _, name := range r.names() {
		f, err := w.Create(name)
		if err == nil {
			_, err = f.Write(r.files[name].Data)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	in, err := zip.NewReader(bytes.NewReader(buf.Bytes()), int64(buf.Len()))
	if err != nil {
		t.Fatal(err)
	}
	r.equal(t, in)
}

func (r *run) disk(t testing.TB) {
	dir := t.TempDir()
	for name, f := range r.files {
		full := filepath.Join(dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(full), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(full, f.Data, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	r.equal(t, os.DirFS(dir))
}

func (r *run) equal(t testing.TB, in fs.FS) {
	t.Helper()
	got, err := ReadAll(context.Background(), r.f, in)
	if err != nil {
		t.Fatal(err)
	}
	if d := Diff(r.whole, got); d != "" {
		t.Errorf("differs from the folder (-folder +here):\n%s", d)
	}
}

// letters writes the files' names in capitals, then in small letters.
func (r *run) letters(t testing.TB) {
	for _, change := range []func(string) string{strings.ToUpper, strings.ToLower} {
		m := fstest.MapFS{}
		for name, f := range r.files {
			dir, base := path.Split(name)
			m[dir+change(base)] = f
		}
		got, err := ReadAll(context.Background(), r.f, m)
		if err != nil {
			t.Fatal(err)
		}
		if len(got.Streams) != len(r.whole.Streams) {
			t.Errorf("%v: %d sources, want %d", slices.Sorted(maps.Keys(m)), len(got.Streams), len(r.whole.Streams))
			continue
		}
		for i := range got.Streams {
			if d := DiffData(&r.whole.Streams[i].Data, &got.Streams[i].Data); d != "" {
				t.Errorf("%s (-want +got):\n%s", got.Streams[i].Source.Name, d)
			}
		}
	}
}

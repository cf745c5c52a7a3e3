package plain_test

import (
	"bytes"
	"context"
	"io"
	"io/fs"
	"runtime"
	"testing"
	"testing/fstest"
	"time"

	"evenstand"
	"evenstand/format/formattest"
	"evenstand/format/plain"
)

func loadZone() (*time.Location, error) { return time.LoadLocation("America/Chicago") }

// drop is a sink that counts and forgets.
type drop struct{ n int64 }

func (d *drop) Fixes(x []evenstand.Fix) error        { d.n += int64(len(x)); return nil }
func (d *drop) Seeds(x []evenstand.Seed) error       { d.n += int64(len(x)); return nil }
func (d *drop) Readings(x []evenstand.Reading) error { d.n += int64(len(x)); return nil }
func (d *drop) Entries(x []evenstand.Entry) error    { d.n += int64(len(x)); return nil }
func (d *drop) Unused(evenstand.Unused)              {}
func (d *drop) Progress(int64)                       {}

func benchmarkRead(b *testing.B, opt plain.Options, c formattest.Collect) {
	s := store{fstest.MapFS{}}
	write(b, s, opt, c)
	sources, _, _, err := plain.Format{}.Find(context.Background(), s.m)
	if err != nil || len(sources) != 1 {
		b.Fatal(err, len(sources))
	}
	data, _ := fs.ReadFile(s.m, sources[0].Files[0])
	lines := int64(bytes.Count(data, []byte("\n")) - 1)
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		var d drop
		if _, err := (plain.Format{}).Read(context.Background(), s.m, sources[0], &d); err != nil || d.n != lines {
			b.Fatal(err, d.n)
		}
	}
	b.ReportMetric(float64(lines)*float64(b.N)/b.Elapsed().Seconds(), "lines/s")
}

const benchLines = 500_000

func BenchmarkReadSeedsEpoch(b *testing.B) {
	benchmarkRead(b, plain.Options{}, formattest.Collect{Seed: seeds(benchLines)})
}

func BenchmarkReadSeedsRFC3339(b *testing.B) {
	benchmarkRead(b, plain.Options{Stamp: plain.RFC3339Millis}, formattest.Collect{Seed: seeds(benchLines)})
}

func BenchmarkReadReadings(b *testing.B) {
	benchmarkRead(b, plain.Options{}, formattest.Collect{Reading: readings(benchLines)})
}

func BenchmarkReadTrack(b *testing.B) {
	benchmarkRead(b, plain.Options{}, formattest.Collect{Fix: fixes(benchLines)})
}

type nowhere struct{ n int64 }

func (w *nowhere) Write(p []byte) (int, error) { w.n += int64(len(p)); return len(p), nil }
func (w *nowhere) Close() error                { return nil }

func benchmarkWrite(b *testing.B, opt plain.Options, n int, do func(*plain.Writer) error) {
	var out nowhere
	b.ReportAllocs()
	for b.Loop() {
		w, err := plain.NewWriter(func(string) (io.WriteCloser, error) { return &out, nil }, opt)
		if err == nil {
			err = do(w)
		}
		if err == nil {
			err = w.Close()
		}
		if err != nil {
			b.Fatal(err)
		}
	}
	b.SetBytes(out.n / int64(b.N))
	b.ReportMetric(float64(n)*float64(b.N)/b.Elapsed().Seconds(), "lines/s")
}

func BenchmarkWriteSeedsEpoch(b *testing.B) {
	x := seeds(benchLines)
	benchmarkWrite(b, plain.Options{}, len(x), func(w *plain.Writer) error { return w.Seeds(x) })
}

func BenchmarkWriteSeedsRFC3339(b *testing.B) {
	x := seeds(benchLines)
	benchmarkWrite(b, plain.Options{Stamp: plain.RFC3339Millis}, len(x), func(w *plain.Writer) error { return w.Seeds(x) })
}

func BenchmarkWriteReadings(b *testing.B) {
	x := readings(benchLines)
	benchmarkWrite(b, plain.Options{}, len(x), func(w *plain.Writer) error { return w.Readings(x) })
}

// Memory does not grow with the length of a file: twenty times the lines take
// at most a few buffers more in all, while 4 bytes a line would be 760 KB.
func TestMemoryIsFlat(t *testing.T) {
	total := func(n int) (most uint64) {
		in := long(t, n)
		sources, _, _, err := plain.Format{}.Find(context.Background(), in)
		if err != nil || len(sources) != 3 {
			t.Fatal(err, len(sources))
		}
		for _, src := range sources {
			var d drop
			var before, after runtime.MemStats
			runtime.ReadMemStats(&before)
			_, err := plain.Format{}.Read(context.Background(), in, src, &d)
			runtime.ReadMemStats(&after)
			if err != nil || d.n != int64(n) {
				t.Fatal(err, d.n)
			}
			most = max(most, after.TotalAlloc-before.TotalAlloc)
		}
		return most
	}
	total(100) // the buffers are made once
	if few, many := total(10_000), total(200_000); many > few+600<<10 {
		t.Errorf("%d KB for ten thousand lines, %d KB for two hundred thousand", few>>10, many>>10)
	}
}

package book_test

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"runtime/metrics"
	"sync/atomic"
	"testing"
	"time"

	"evenstand"
	"evenstand/book"
	"evenstand/book/booktest"
)

// flat is how much more memory a longer season may take, bytes: far below the 72 MB
// of its seeds.
const flat = 72_000_000 / 6

// peakHeap runs f and gives the most memory that live objects took while it
// ran, as the garbage collector saw them. It is made to look often, so that a
// short run is seen at its worst as well as a long one.
func peakHeap(f func()) uint64 {
	defer debug.SetGCPercent(debug.SetGCPercent(10))
	runtime.GC()
	var most atomic.Uint64
	done := make(chan struct{})
	stopped := make(chan struct{})
	go func() {
		defer close(stopped)
		sample := []metrics.Sample{{Name: "/gc/heap/live:bytes"}}
		for {
			metrics.Read(sample)
			if v := sample[0].Value.Uint64(); v > most.Load() {
				most.Store(v)
			}
			select {
			case <-done:
				return
			case <-time.After(2 * time.Millisecond):
			}
		}
	}()
	f()
	close(done)
	<-stopped
	return most.Load()
}

// TestMemoryIsFlat reads and rebuilds a short season and one that is longer by
// 7.2 million seeds, 72 MB at the ten bytes of a spooled seed. The long one may
// need a sixth of that more: the encoders of zstd come and go in pieces of 4 MB,
// so two runs of the same season differ by up to 8.
func TestMemoryIsFlat(t *testing.T) {
	if testing.Short() {
		t.Skip("it reads and settles eight million seeds")
	}
	if raceOn {
		t.Skip("the race detector holds memory of its own: make proof runs this without it")
	}
	ctx := context.Background()
	formats := []evenstand.Format{booktest.Season{}}
	peak := func(days int) (read, rebuild uint64) {
		dir := filepath.Join(t.TempDir(), "season")
		if err := book.Create(dir, settings(), nil, nil); err != nil {
			t.Fatal(err)
		}
		b, err := book.Open(dir, book.Options{Derive: booktest.Settle})
		if err != nil {
			t.Fatal(err)
		}
		defer b.Close()
		in := filepath.Join(t.TempDir(), "season.gen")
		if err := os.WriteFile(in, fmt.Appendf(nil, "%d 4 24 200 1", days), 0o644); err != nil {
			t.Fatal(err)
		}
		read = peakHeap(func() {
			if _, err := b.Read(ctx, []string{in}, formats, book.ReadOptions{}); err != nil {
				t.Error(err)
			}
		})
		rebuild = peakHeap(func() {
			if _, err := b.Rebuild(ctx, formats, book.ReadOptions{}); err != nil {
				t.Error(err)
			}
		})
		return read, rebuild
	}
	peak(2) // buffers that are kept
	shortRead, shortRebuild := peak(2)
	// How much lies about at the moment of a collection is chance: of three the least.
	longRead, longRebuild := peak(32)
	for range 2 {
		if longRead > shortRead+flat || longRebuild > shortRebuild+flat {
			r, b := peak(32)
			longRead, longRebuild = min(longRead, r), min(longRebuild, b)
		}
	}
	t.Logf("read %d and %d KiB, rebuild %d and %d KiB", shortRead>>10, longRead>>10, shortRebuild>>10, longRebuild>>10)
	for _, m := range []struct {
		what        string
		short, long uint64
	}{{"read", shortRead, longRead}, {"rebuild", shortRebuild, longRebuild}} {
		if m.long > m.short+flat {
			t.Errorf("%s: %d KiB for a short season, %d KiB for one sixteen times as long", m.what, m.short>>10, m.long>>10)
		}
	}
}

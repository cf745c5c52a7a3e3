package cli_test

import (
	"context"
	"crypto/sha256"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// data gives the hash of every file under a logbook's data folder.
func data(t *testing.T, book string) map[string]string {
	t.Helper()
	out := map[string]string{}
	root := filepath.Join(book, "data")
	err := filepath.WalkDir(root, func(p string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := os.ReadFile(p)
		rel, _ := filepath.Rel(root, p)
		out[filepath.ToSlash(rel)] = fmt.Sprintf("%x", sha256.Sum256(b))
		return err
	})
	if err != nil || len(out) == 0 {
		t.Fatalf("%d files under %s: %v", len(out), root, err)
	}
	return out
}

// A log that is played event by event and then settled gives the same bytes as
// the batch (the design's rule for the two passes).
func TestReplaySettlesTheSameBytes(t *testing.T) {
	day, live := simulated(t)
	batch := filepath.Join(t.TempDir(), "spring")
	must(t, "new", batch, "--planter", filepath.Join(day, "card.toml"), "--field", filepath.Join(day, "fields", "home-place.geojson"),
		"--zone", "America/Chicago", "--price", "4.50/bu", "--yield", "190bu/ac")
	must(t, "replay", live, filepath.Join(day, "boxes"))
	must(t, "read", batch, filepath.Join(day, "boxes"))
	a, b := data(t, live), data(t, batch)
	for name, sum := range b {
		if a[name] != sum {
			t.Errorf("%s differs", name)
		}
	}
	if len(a) != len(b) {
		t.Errorf("%d files after replay, %d after read", len(a), len(b))
	}
}

// Stopped while it plays, replay says so within a moment, leaves the logbook
// sound, and the same command goes on from there.
func TestReplayStopped(t *testing.T) {
	day, book := simulated(t)
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	go func() {
		time.Sleep(2 * time.Second)
		cancel()
	}()
	begun := time.Now()
	code, _, stderr := run(ctx, "replay", book, filepath.Join(day, "boxes"), "--pace", "1")
	if code != 130 || !strings.Contains(stderr, "stopped. The logbook is sound") {
		t.Errorf("exit code %d, %q", code, stderr)
	}
	if d := time.Since(begun); d > 4*time.Second {
		t.Errorf("it took %v to stop", d)
	}
	must(t, "check", book)
	if out := must(t, "replay", book, filepath.Join(day, "boxes")); !strings.Contains(out, "of 2 settled findings that could be seen live, 2 stood") {
		t.Errorf("the second time it wrote\n%s", out)
	}
}

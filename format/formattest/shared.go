package formattest

import (
	"os"
	"path/filepath"
	"testing"

	"evenstand"
)

// Shared finds a file or folder of the reference data beside the repository,
// or in the folder that EVENSTAND_SHARED names, and skips without it.
func Shared(t testing.TB, name string) string {
	t.Helper()
	root := os.Getenv("EVENSTAND_SHARED")
	if root == "" {
		dir, err := os.Getwd()
		if err != nil {
			t.Fatal(err)
		}
		for {
			if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
				break
			}
			up := filepath.Dir(dir)
			if up == dir {
				t.Skip("no go.mod above the test: run it inside the repository")
			}
			dir = up
		}
		root = filepath.Join(dir, "..", "shared")
	}
	p := filepath.Join(root, name)
	if _, err := os.Stat(p); err != nil {
		t.Skipf("the sample %s is not here: set EVENSTAND_SHARED to the folder that holds samples", name)
	}
	return p
}

// Tally is a sink that counts and keeps nothing, for benchmarks.
type Tally struct{ Counts }

// Fixes counts.
func (c *Tally) Fixes(x []evenstand.Fix) error { c.Counts.Fixes += len(x); return nil }

// Seeds counts.
func (c *Tally) Seeds(x []evenstand.Seed) error { c.Counts.Seeds += len(x); return nil }

// Readings counts.
func (c *Tally) Readings(x []evenstand.Reading) error { c.Counts.Readings += len(x); return nil }

// Entries counts.
func (c *Tally) Entries(x []evenstand.Entry) error { c.Counts.Entries += len(x); return nil }

// Unused does nothing.
func (*Tally) Unused(evenstand.Unused) {}

// Progress does nothing.
func (*Tally) Progress(int64) {}

package bus_test

import (
	"os"
	"path/filepath"
	"testing"
)

// shared finds the folder of reference data beside the repository, or skips.
func shared(t testing.TB, sub string) string {
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
	p := filepath.Join(root, sub)
	if _, err := os.Stat(p); err != nil {
		t.Skipf("the sample %s is not here: set EVENSTAND_SHARED to the folder that holds samples", sub)
	}
	return p
}

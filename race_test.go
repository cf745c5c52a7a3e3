package evenstand_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// shares tells whether a source file starts goroutines or keeps what goroutines
// share: the race detector has something to see there.
func shares(file string, src any) (bool, error) {
	f, err := parser.ParseFile(token.NewFileSet(), file, src, parser.SkipObjectResolution)
	if err != nil {
		return false, err
	}
	found := slices.ContainsFunc(f.Imports, func(im *ast.ImportSpec) bool {
		return im.Path.Value == `"sync"` || im.Path.Value == `"sync/atomic"` || im.Path.Value == `"unsafe"` || strings.HasSuffix(im.Path.Value, `/errgroup"`)
	})
	ast.Inspect(f, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.GoStmt:
			found = true
		case *ast.CallExpr:
			if s, ok := n.Fun.(*ast.SelectorExpr); ok && (s.Sel.Name == "Parallel" || s.Sel.Name == "RunParallel") {
				found = true
			}
		}
		return !found
	})
	return found, nil
}

// TestRaced holds the packages that make test looks at with the race detector
// against the source: all that share something among goroutines are there.
func TestRaced(t *testing.T) {
	text, err := os.ReadFile("Makefile")
	if err != nil {
		t.Fatal(err)
	}
	var raced []string
	for _, m := range regexp.MustCompile(`(?m)^(?:RACED|GLANCED) *:= (.*)$`).FindAllStringSubmatch(string(text), -1) {
		for _, p := range strings.Fields(m[1]) {
			folder := strings.TrimPrefix(strings.TrimPrefix(p, module), "/")
			if s, err := os.Stat(folder); err != nil || !s.IsDir() {
				t.Errorf("%s of the Makefile is no package", p)
			}
			raced = append(raced, folder)
		}
	}
	err = filepath.WalkDir(".", func(p string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() {
			if p != "." && (strings.HasPrefix(d.Name(), ".") || d.Name() == "testdata" || d.Name() == "node_modules" || p == "bin" || p == "demo" || p == "book/duckcheck") {
				return filepath.SkipDir
			}
			return nil
		}
		folder := path.Dir(filepath.ToSlash(p))
		if !strings.HasSuffix(p, ".go") || folder == "." || slices.Contains(raced, folder) {
			return nil
		}
		if yes, err := shares(p, nil); err != nil || yes {
			t.Errorf("%s shares something among goroutines, and its package is in neither list of the Makefile: give it to RACED (%v)", p, err)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	for src, want := range map[string]bool{
		`package x; func f() { go f() }`:                                          true,
		`package x; import "sync"; var m sync.Mutex`:                              true,
		`package x; import "testing"; func TestX(t *testing.T) { t.Parallel() }`:  true,
		`package x; import "testing"; func TestX(t *testing.T) { t.Log("a go") }`: false,
	} {
		if got, err := shares("x.go", src); err != nil || got != want {
			t.Errorf("%s: %v %v", src, got, err)
		}
	}
}

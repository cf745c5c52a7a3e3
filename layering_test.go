package evenstand_test

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// The layers: root <- core/* <- pipeline <- book, web, cli, hub. Formats and
// feeds hand over the root's types and know nothing else. The test reads the
// source files itself: a test that asks the go command is served from the test
// cache and misses the change.

// module is the path that our imports begin with.
const module = "evenstand"

// layer says what the packages under a folder may import of ours and of
// others. The first layer whose folder holds the package is the one that
// counts.
type layer struct {
	under string   // "core" holds core and all below it; "." is the root alone
	ours  []string // folders of ours that it may import, each with what lies below; a path ending in "!" alone
	other []string // modules of others; nil: none, "*": any
	quiet bool     // no input or output: see loud
	fixed bool     // same input, same bytes: no clock, no global chance
}

// stages are the folders of core in the order of the sentence. A stage may
// import those before it, and the shelf.
var (
	stages = []string{"core/align", "core/measure", "core/find", "core/price", "core/stand", "core/advise", "core/replant", "core/makeup", "core/record", "core/try", "core/verify", "core/walk", "core/paper"}
	shelf  = []string{"core/stat", "core/ground", "core/relation"}
)

func layers() []layer {
	numbers := []string{"gonum.org/v1/gonum"}
	ls := []layer{{under: ".", quiet: true, fixed: true}}
	// Polygons are joined by a library: an exact union is years of work.
	ls = append(ls, layer{under: "core/measure/cover", ours: []string{".!", "core/ground"}, other: []string{"github.com/peterstace/simplefeatures/geom"}, quiet: true, fixed: true})
	for i, s := range stages {
		ours := slices.Concat([]string{".!"}, shelf, stages[:i], []string{s})
		ls = append(ls, layer{under: s, ours: ours, other: numbers, quiet: true, fixed: true})
	}
	for _, s := range shelf {
		ls = append(ls, layer{under: s, ours: append([]string{".!"}, shelf...), other: numbers, quiet: true, fixed: true})
	}
	return append(ls,
		layer{under: "core/bench", ours: append([]string{".!"}, shelf...), other: numbers, quiet: true, fixed: true},
		layer{under: "core", ours: []string{".!"}, quiet: true, fixed: true}, // a new folder of core finds its place above
		layer{under: "pipeline", ours: []string{".!", "core"}, quiet: true, fixed: true},
		// The suite for readers is called by their tests and times them.
		layer{under: "format/formattest", ours: []string{".!"}, other: []string{"*"}},
		// Tables stand in many containers, one of which is Parquet; a bus carries
		// the messages of which task data are the log.
		layer{under: "format/table", ours: []string{".!", "core/ground", "format/archive!", "format/column!", "format/files!", "format/lines!", "format/unused!"}, other: []string{"*"}, fixed: true},
		layer{under: "format/recipe", ours: []string{".!", "format/table!", "format/plain!", "format/unused!"}, other: []string{"*"}, fixed: true},
		layer{under: "format/iso11783", ours: []string{".!", "format/files!"}, other: []string{"*"}, fixed: true},
		layer{under: "format/bus", ours: []string{".!", "format/files!", "format/iso11783!"}, other: []string{"*"}, fixed: true},
		layer{under: "format/nmea0183", ours: []string{".!", "format/files!", "format/plain!"}, other: []string{"*"}, fixed: true},
		layer{under: "format/plain", ours: []string{".!", "format/files!", "format/lines!", "format/unused!"}, other: []string{"*"}, fixed: true},
		layer{under: "format/column", ours: []string{".!"}, other: []string{"*"}},
		layer{under: "format", ours: []string{".!"}, other: []string{"*"}, fixed: true},
		layer{under: "live", ours: []string{".!"}, other: []string{"*"}},
		// A simulator that knew how faults are found or priced could not test it.
		layer{under: "sim/score", ours: []string{".!", "sim!"}, fixed: true},
		layer{under: "sim", ours: []string{".!", "core/ground", "core/relation", "format"}, other: []string{"*"}, fixed: true},
		// The book's own cards and fields are in open formats; readers of logs
		// are handed to it. What files are left over it must see as they do.
		layer{under: "book", ours: []string{".!", "core", "pipeline", "book", "format/plain!", "format/geo!", "format/column!", "format/files!", "format/archive!"}, other: []string{"*"}},
		// Papers as pages.
		layer{under: "give/pdf", ours: []string{".!", "core/paper!"}, other: []string{"*"}, fixed: true},
		// Tables of what a book holds, for other programs.
		layer{under: "give", ours: []string{".!", "core/ground", "core/makeup", "core/record", "book!", "format/iso11783!", "format/table!"}, other: []string{"*"}},
		layer{under: "hub", ours: []string{".!", "core", "pipeline", "book", "hub"}, other: []string{"*"}},
		// The page asks how a table is to be read, and for the text of a card.
		layer{under: "web", ours: []string{".!", "core", "pipeline", "book", "give", "web", "format/recipe!", "format/table!", "format/plain!", "format/archive!"}, other: []string{"*"}},
		layer{under: "cli", ours: []string{".!", "core", "pipeline", "book", "format", "give", "live", "sim", "hub", "web", "cli"}, other: []string{"*"}},
		layer{under: "cmd", ours: []string{"cli!", "internal/heap!"}},
		layer{under: "internal/heap"},
		// It reads what the program it measures has stored.
		layer{under: "internal/measure", ours: []string{".!", "pipeline", "book", "sim", "format/plain", "format/column!", "internal/heap"}},
	)
}

// loud are the standard packages through which a program reaches out.
var loud = []string{"os", "net", "database", "log", "syscall", "unsafe", "C", "testing", "path/filepath", "plugin"}

// clock are the names of package time that ask the computer.
var clock = []string{"Now", "Since", "Until", "Sleep", "After", "AfterFunc", "Tick", "NewTimer", "NewTicker", "Local"}

// seeded are the names of math/rand/v2 that do not draw from the global source.
var seeded = []string{"New", "NewPCG", "NewChaCha8", "NewZipf", "Rand", "PCG", "ChaCha8", "Zipf", "Source"}

func below(p, folder string) bool { return p == folder || strings.HasPrefix(p, folder+"/") }

// layerOf gives the layer of a folder, or nil when it has none.
func layerOf(folder string) *layer {
	ls := layers()
	for i := range ls {
		if ls[i].under == folder || ls[i].under != "." && below(folder, ls[i].under) {
			return &ls[i]
		}
	}
	return nil
}

func (l *layer) mayImport(folder string) bool {
	for _, o := range l.ours {
		if alone, ok := strings.CutSuffix(o, "!"); ok {
			if folder == alone {
				return true
			}
		} else if below(folder, o) {
			return true
		}
	}
	return false
}

// faults says what in a source file breaks its layer. src is nil to read the
// file, or its text.
func faults(file string, src any) ([]string, error) {
	folder := path.Dir(filepath.ToSlash(file))
	l := layerOf(folder)
	if l == nil {
		return []string{fmt.Sprintf("%s: the folder has no layer; give it one in layering_test.go", file)}, nil
	}
	set := token.NewFileSet()
	f, err := parser.ParseFile(set, file, src, parser.SkipObjectResolution)
	if err != nil {
		return nil, err
	}
	var out []string
	fault := func(at token.Pos, format string, a ...any) {
		p := set.Position(at)
		out = append(out, fmt.Sprintf("%s:%d: %s", file, p.Line, fmt.Sprintf(format, a...)))
	}
	names := map[string]string{} // local name to import path, for time and rand
	for _, im := range f.Imports {
		p, err := strconv.Unquote(im.Path.Value)
		if err != nil {
			return nil, err
		}
		name := path.Base(p)
		if p == "math/rand/v2" {
			name = "rand"
		}
		if im.Name != nil {
			name = im.Name.Name
		}
		first, _, _ := strings.Cut(p, "/")
		switch {
		case p == module || first == module:
			to := strings.TrimPrefix(strings.TrimPrefix(p, module), "/")
			if to == "" {
				to = "."
			}
			if !l.mayImport(to) {
				fault(im.Pos(), "%s may not import %s: take a value, or let the caller do it", folder, to)
			}
		case strings.Contains(first, "."):
			if !slices.ContainsFunc(l.other, func(o string) bool { return o == "*" || below(p, o) }) {
				fault(im.Pos(), "%s may not import %s: the layer does without other modules", folder, p)
			}
		case l.quiet && slices.ContainsFunc(loud, func(o string) bool { return below(p, o) }):
			fault(im.Pos(), "%s may not import %s: take a value, or let the caller do it", folder, p)
		}
		if l.fixed && p == "math/rand" {
			fault(im.Pos(), "%s may not import math/rand: its source is global. Take a *rand.Rand of math/rand/v2 with a seed", folder)
		}
		if l.fixed && (p == "time" || p == "math/rand/v2") {
			if name == "." {
				fault(im.Pos(), "%s may not import %s by a dot: nobody sees what is called", folder, p)
			}
			names[name] = p
		}
	}
	ast.Inspect(f, func(n ast.Node) bool {
		s, ok := n.(*ast.SelectorExpr)
		if !ok {
			return true
		}
		x, ok := s.X.(*ast.Ident)
		if !ok {
			return true
		}
		switch names[x.Name] {
		case "time":
			if slices.Contains(clock, s.Sel.Name) {
				fault(s.Pos(), "%s may not call time.%s: no wall clock enters. Take the time as a value", folder, s.Sel.Name)
			}
		case "math/rand/v2":
			if !slices.Contains(seeded, s.Sel.Name) {
				fault(s.Pos(), "%s may not call rand.%s: its source is global. Take a *rand.Rand with a seed", folder, s.Sel.Name)
			}
		}
		return true
	})
	return out, nil
}

// sources gives the Go files of this module that are no tests, by folder.
func sources(t *testing.T) map[string][]string {
	t.Helper()
	found := map[string][]string{}
	err := filepath.WalkDir(".", func(p string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		name := d.Name()
		if d.IsDir() {
			if p == "." {
				return nil
			}
			if strings.HasPrefix(name, ".") || strings.HasPrefix(name, "_") || name == "testdata" || name == "node_modules" || p == "bin" || p == "demo" {
				return filepath.SkipDir
			}
			if _, err := os.Stat(filepath.Join(p, "go.mod")); err == nil {
				return filepath.SkipDir // a module of its own
			}
			return nil
		}
		if strings.HasSuffix(name, ".go") && !strings.HasSuffix(name, "_test.go") {
			folder := filepath.ToSlash(filepath.Dir(p))
			found[folder] = append(found[folder], p)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return found
}

func TestLayers(t *testing.T) {
	found := sources(t)
	for _, must := range []string{".", "core/align", "core/find", "core/price", "pipeline", "format/plain", "format/iso11783", "sim", "book"} {
		if len(found[must]) == 0 {
			t.Errorf("no source in %s: the walk misses it, so nothing is proved", must)
		}
	}
	for _, files := range found {
		for _, file := range files {
			bad, err := faults(file, nil)
			if err != nil {
				t.Error(err)
			}
			for _, b := range bad {
				t.Error(b)
			}
		}
	}
}

// TestEachPackageSaysWhatItIs holds every package to one package comment.
func TestEachPackageSaysWhatItIs(t *testing.T) {
	for folder, files := range sources(t) {
		var said []string
		for _, file := range files {
			f, err := parser.ParseFile(token.NewFileSet(), file, nil, parser.PackageClauseOnly|parser.ParseComments)
			if err != nil {
				t.Error(err)
				continue
			}
			if f.Doc != nil {
				said = append(said, file)
			}
		}
		if len(said) != 1 {
			t.Errorf("%s: %d package comments in %v, want one, in doc.go", folder, len(said), said)
		}
	}
}

// TestLayersCanFail shows the check bad sources, one rule each, and good ones.
func TestLayersCanFail(t *testing.T) {
	for _, tt := range []struct {
		name, file, src string
		want            string // in the complaint; empty: none
	}{
		{"core reads a file", "core/find/x.go", `package find; import "os"; var _ = os.Args`, "may not import os"},
		{"core below os", "core/find/x.go", `package find; import _ "os/exec"`, "may not import os/exec"},
		{"core opens a socket", "core/price/x.go", `package price; import _ "net/http"`, "may not import net/http"},
		{"core asks a database", "core/record/x.go", `package record; import _ "database/sql"`, "may not import database/sql"},
		{"core logs", "core/stat/x.go", `package stat; import _ "log/slog"`, "may not import log/slog"},
		{"core asks the clock", "core/find/x.go", `package find; import "time"; var t = time.Now()`, "time.Now"},
		{"core asks the clock under another name", "core/find/x.go", `package find; import clock "time"; var now = clock.Now`, "time.Now"},
		{"core hides the clock", "core/find/x.go", `package find; import . "time"; var t = Now()`, "by a dot"},
		{"core draws from the global source", "core/price/x.go", `package price; import "math/rand/v2"; var x = rand.Float64()`, "rand.Float64"},
		{"core draws from the old global source", "core/price/x.go", `package price; import "math/rand"; var x = rand.Float64()`, "may not import math/rand"},
		{"core stores", "core/record/x.go", `package record; import _ "evenstand/book"`, "may not import book"},
		{"core reads a format", "core/align/x.go", `package align; import _ "evenstand/format/plain"`, "may not import format/plain"},
		{"a stage reaches forward", "core/find/x.go", `package find; import _ "evenstand/core/price"`, "may not import core/price"},
		{"the shelf reaches into a stage", "core/stat/x.go", `package stat; import _ "evenstand/core/find"`, "may not import core/find"},
		{"core takes another module", "core/find/x.go", `package find; import _ "github.com/google/go-cmp/cmp"`, "other modules"},
		{"the root takes another module", "x.go", `package evenstand; import _ "gonum.org/v1/gonum/mathext"`, "other modules"},
		{"the root imports core", "x.go", `package evenstand; import _ "evenstand/core/stat"`, "may not import core/stat"},
		{"the pipeline stores", "pipeline/x.go", `package pipeline; import _ "evenstand/book"`, "may not import book"},
		{"a format finds", "format/plain/x.go", `package plain; import _ "evenstand/core/find"`, "may not import core/find"},
		{"a format stores", "format/plain/x.go", `package plain; import _ "evenstand/book"`, "may not import book"},
		{"a format shows", "format/geo/x.go", `package geo; import _ "evenstand/web"`, "may not import web"},
		{"the simulator finds", "sim/x.go", `package sim; import _ "evenstand/core/find"`, "may not import core/find"},
		{"the simulator prices", "sim/x.go", `package sim; import _ "evenstand/core/price"`, "may not import core/price"},
		{"the score prices", "sim/score/x.go", `package score; import _ "evenstand/core/price"`, "may not import core/price"},
		{"the page calls the command line", "web/x.go", `package web; import _ "evenstand/cli"`, "may not import cli"},
		{"the book calls the page", "book/x.go", `package book; import _ "evenstand/web"`, "may not import web"},
		{"the book reads logs by itself", "book/x.go", `package book; import _ "evenstand/format/iso11783"`, "may not import format/iso11783"},
		{"main does more than call", "cmd/evenstand/x.go", `package main; import _ "evenstand/book"`, "may not import book"},
		{"a folder without a layer", "util/x.go", `package util`, "no layer"},
		{"a new folder of core", "core/new/x.go", `package new; import _ "evenstand/core/stat"`, "may not import core/stat"},

		{"core with a seed", "core/price/x.go", `package price; import "math/rand/v2"; var r = rand.New(rand.NewPCG(1, 2))`, ""},
		{"core with times as values", "core/find/x.go", `package find; import ("time"; "evenstand"; "evenstand/core/stat"); var _ = time.Second`, ""},
		{"a format with a library", "format/plain/x.go", `package plain; import ("io/fs"; "evenstand"; "github.com/pelletier/go-toml/v2")`, ""},
		{"the book with its pipeline", "book/x.go", `package book; import ("os"; "time"; "evenstand/pipeline"); var _ = time.Now`, ""},
	} {
		t.Run(tt.name, func(t *testing.T) {
			bad, err := faults(tt.file, tt.src)
			if err != nil {
				t.Fatal(err)
			}
			got := strings.Join(bad, "\n")
			if tt.want == "" && got != "" {
				t.Errorf("complains of good source: %s", got)
			}
			if tt.want != "" && !strings.Contains(got, tt.want) {
				t.Errorf("says %q, want %q in it", got, tt.want)
			}
		})
	}
}

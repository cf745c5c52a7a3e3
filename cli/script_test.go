package cli_test

import (
	"archive/zip"
	"context"
	"encoding/json"
	"errors"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"

	"evenstand/book"
	"evenstand/cli"
)

// The scripts of testdata/script are the manual of the command line, run.
// Besides the commands of testscript they use:
//
//	exits CODE program args…   run it and want that exit code
//	keys FILE PATH name…       the JSON at PATH has exactly these keys
//	has FILE PATH name…        the JSON at PATH has at least these keys
//	json FILE PATH regexp      the JSON at PATH, as text, matches
//	id VAR FILE kind           set VAR to the id of the first finding of a kind
//	short VAR                  cut VAR to its first six characters
//	part FILE from to OUT      copy bytes of a file, to of -1: to its end
//	damage PATTERN             turn a byte of the first such file, or turn it back
//	zip OUT folder             pack a folder
//	narrow FILE                no line is wider than 80 columns
//	hold BOOK, release         have a logbook open meanwhile, as another program
//
// PATH is keys parted by points; a number picks from a list, * stands for each.
func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"evenstand": func() {
		ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
		code := cli.Run(ctx, cli.Env{Args: os.Args[1:], Stdin: os.Stdin, Stdout: os.Stdout, Stderr: os.Stderr, Getenv: os.Getenv})
		stop()
		os.Exit(code)
	}})
}

func TestScripts(t *testing.T) {
	tiny, err := os.ReadFile("testdata/tiny.toml")
	if err != nil {
		t.Fatal(err)
	}
	testscript.Run(t, testscript.Params{
		Dir: "testdata/script",
		Setup: func(e *testscript.Env) error {
			e.Setenv("TZ", "UTC")
			e.Values["held"] = &heldBook{}
			return os.WriteFile(filepath.Join(e.WorkDir, "tiny.toml"), tiny, 0o644)
		},
		Cmds: map[string]func(ts *testscript.TestScript, neg bool, args []string){
			"exits": exits, "keys": keys, "has": has, "json": jsonText, "id": findingID, "short": short,
			"part": part, "damage": damage, "zip": pack, "narrow": narrow, "hold": hold, "release": release,
		},
	})
}

func want(ts *testscript.TestScript, neg bool, args []string, least int, usage string) {
	if neg || len(args) < least {
		ts.Fatalf("usage: %s", usage)
	}
}

func exits(ts *testscript.TestScript, neg bool, args []string) {
	want(ts, neg, args, 2, "exits CODE program args…")
	code := 0
	if err := ts.Exec(args[1], args[2:]...); err != nil {
		var e *exec.ExitError
		if !errors.As(err, &e) {
			ts.Fatalf("%v", err)
		}
		code = e.ExitCode()
	}
	if strconv.Itoa(code) != args[0] {
		ts.Fatalf("exit code %d, want %s\n%s%s", code, args[0], ts.ReadFile("stdout"), ts.ReadFile("stderr"))
	}
}

// at gives every value at a path of a JSON file.
func at(ts *testscript.TestScript, file, path string) []any {
	var v any
	if err := json.Unmarshal([]byte(ts.ReadFile(file)), &v); err != nil {
		ts.Fatalf("%s: %v", file, err)
	}
	vs := []any{v}
	for step := range strings.SplitSeq(path, ".") {
		if step == "" {
			continue
		}
		var next []any
		for _, v := range vs {
			switch v := v.(type) {
			case map[string]any:
				x, ok := v[step]
				if !ok {
					ts.Fatalf("%s: there is no %s in %s", file, step, path)
				}
				next = append(next, x)
			case []any:
				if step == "*" {
					next = append(next, v...)
					continue
				}
				i, err := strconv.Atoi(step)
				if err != nil || i >= len(v) {
					ts.Fatalf("%s: no %s in a list of %d, in %s", file, step, len(v), path)
				}
				next = append(next, v[i])
			default:
				ts.Fatalf("%s: %s of %v in %s", file, step, v, path)
			}
		}
		vs = next
	}
	if len(vs) == 0 {
		ts.Fatalf("%s: nothing at %s", file, path)
	}
	return vs
}

func objects(ts *testscript.TestScript, args []string, extra bool) {
	for _, v := range at(ts, args[0], args[1]) {
		m, ok := v.(map[string]any)
		if !ok {
			ts.Fatalf("%s: %s is %v, not an object", args[0], args[1], v)
		}
		for _, k := range args[2:] {
			if _, ok := m[k]; !ok {
				ts.Fatalf("%s: no %q at %s: %v", args[0], k, args[1], m)
			}
		}
		for k := range m {
			if !extra && !slices.Contains(args[2:], k) {
				ts.Fatalf("%s: %q at %s is not in the list", args[0], k, args[1])
			}
		}
	}
}

func keys(ts *testscript.TestScript, neg bool, args []string) {
	want(ts, neg, args, 3, "keys FILE PATH name…")
	objects(ts, args, false)
}

func has(ts *testscript.TestScript, neg bool, args []string) {
	want(ts, neg, args, 3, "has FILE PATH name…")
	objects(ts, args, true)
}

func jsonText(ts *testscript.TestScript, neg bool, args []string) {
	want(ts, neg, args, 3, "json FILE PATH regexp")
	re, err := regexp.Compile("^(?:" + args[2] + ")$")
	ts.Check(err)
	for _, v := range at(ts, args[0], args[1]) {
		text, ok := v.(string)
		if !ok {
			b, err := json.Marshal(v)
			ts.Check(err)
			text = string(b)
		}
		if !re.MatchString(text) {
			ts.Fatalf("%s: %s is %s, want %s", args[0], args[1], text, args[2])
		}
	}
}

func findingID(ts *testscript.TestScript, neg bool, args []string) {
	want(ts, neg, args, 3, "id VAR FILE kind")
	for _, v := range at(ts, args[1], "findings.*") {
		if f := v.(map[string]any); f["kind"] == args[2] {
			ts.Setenv(args[0], f["id"].(string))
			return
		}
	}
	ts.Fatalf("%s: no finding of kind %s", args[1], args[2])
}

func short(ts *testscript.TestScript, neg bool, args []string) {
	want(ts, neg, args, 1, "short VAR")
	ts.Setenv(args[0], ts.Getenv(args[0])[:6])
}

func part(ts *testscript.TestScript, neg bool, args []string) {
	want(ts, neg, args, 4, "part FILE from to OUT")
	data := ts.ReadFile(args[0])
	from, err := strconv.Atoi(args[1])
	ts.Check(err)
	to, err := strconv.Atoi(args[2])
	ts.Check(err)
	if to < 0 || to > len(data) {
		to = len(data)
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[3]), []byte(data[from:to]), 0o644))
}

func damage(ts *testscript.TestScript, neg bool, args []string) {
	want(ts, neg, args, 1, "damage PATTERN")
	names, err := filepath.Glob(ts.MkAbs(args[0]))
	ts.Check(err)
	if len(names) == 0 {
		ts.Fatalf("no file is like %s", args[0])
	}
	ts.Check(os.Chmod(names[0], 0o644))
	data, err := os.ReadFile(names[0])
	ts.Check(err)
	data[len(data)/2] ^= 0xff
	ts.Check(os.WriteFile(names[0], data, 0o644))
}

func pack(ts *testscript.TestScript, neg bool, args []string) {
	want(ts, neg, args, 2, "zip OUT folder")
	f, err := os.Create(ts.MkAbs(args[0]))
	ts.Check(err)
	z := zip.NewWriter(f)
	ts.Check(z.AddFS(os.DirFS(ts.MkAbs(args[1]))))
	ts.Check(errors.Join(z.Close(), f.Close()))
}

func narrow(ts *testscript.TestScript, neg bool, args []string) {
	want(ts, neg, args, 1, "narrow FILE")
	for i, l := range strings.Split(ts.ReadFile(args[0]), "\n") {
		if n := len([]rune(l)); n > 80 {
			ts.Fatalf("%s, line %d has %d columns: %s", args[0], i+1, n, l)
		}
	}
}

// heldBook is the logbook that a script has open.
type heldBook struct{ b *book.Book }

func hold(ts *testscript.TestScript, neg bool, args []string) {
	want(ts, neg, args, 1, "hold BOOK")
	b, err := book.Open(ts.MkAbs(args[0]), book.Options{})
	ts.Check(err)
	ts.Value("held").(*heldBook).b = b
	ts.Defer(func() { b.Close() }) // twice does no harm
}

func release(ts *testscript.TestScript, neg bool, args []string) {
	ts.Check(ts.Value("held").(*heldBook).b.Close())
}

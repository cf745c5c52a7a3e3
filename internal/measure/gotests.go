package main

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"time"
)

// goCommand runs the go command and gives what it printed.
func goCommand(ctx context.Context, dir string, env []string, args ...string) (string, error) {
	return command(ctx, dir, env, "go", args...)
}

// command runs a command in a folder and gives what it printed.
func command(ctx context.Context, dir string, env []string, name string, args ...string) (string, error) {
	cmd := exec.CommandContext(ctx, name, args...)
	cmd.Dir = dir
	cmd.Env = append(os.Environ(), env...)
	var out bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &out
	err := cmd.Run()
	return out.String(), err
}

var (
	speedLine  = regexp.MustCompile(`(\d+) seeds, (\d+) groups, .*ours ([\d.]+) s, DuckDB ([\d.]+) s in one query, ([\d.]+) s file by file.*: ([\d.]+) times as fast; peak memory (.*)`)
	memoryLine = regexp.MustCompile(`read (\d+) and (\d+) KiB, rebuild (\d+) and (\d+) KiB`)
)

// compiler tells whether there is a C compiler, which DuckDB needs.
func compiler(ctx context.Context) bool {
	out, err := goCommand(ctx, ".", nil, "env", "CC")
	if err != nil {
		return false
	}
	_, err = exec.LookPath(strings.TrimSpace(out))
	return err == nil
}

// season times the group-by over a stored season against DuckDB.
func season(ctx context.Context, root string, seeds int) (Figure, error) {
	f := Figure{
		What: fmt.Sprintf("group by row and stretch over %d million stored seeds, against DuckDB over the same files (wall, two threads each, same run)", seeds/1_000_000), Target: "≥ 2.5 times as fast",
		Command: fmt.Sprintf("cd book/duckcheck && EVENSTAND_SEEDS=%d go test -count=1 -run TestSpeed -v -timeout 60m .", seeds),
	}
	if !compiler(ctx) {
		f.Value, f.Verdict = "no C compiler here, which DuckDB needs", Untried
		return f, nil
	}
	out, err := goCommand(ctx, filepath.Join(root, "book", "duckcheck"), []string{"CGO_ENABLED=1", fmt.Sprintf("EVENSTAND_SEEDS=%d", seeds)}, "test", "-count=1", "-run", "TestSpeed", "-v", "-timeout", "60m", ".")
	m := speedLine.FindStringSubmatch(out)
	if m == nil {
		return f, fmt.Errorf("the timing of the season gave no figure: %v\n%s", err, out)
	}
	f.Value = fmt.Sprintf("%s times as fast: %s s, DuckDB %s s in one query, %s s file by file; %s seeds, %s groups; peak memory of both %s", m[6], m[3], m[4], m[5], m[1], m[2], m[7])
	f.Verdict = judge(err == nil && len(m[6]) > 0 && atof(m[6]) >= 2.5)
	return f, nil
}

// memory compares the memory of a season with that of one four times as long.
func memory(ctx context.Context, root string) (Figure, error) {
	f := Figure{What: "memory of read and rebuild, a season of 16 days against one of 4", Target: "flat: at most a quarter more", Command: "go test -count=1 -run TestMemoryIsFlat -v ./book/"}
	out, err := goCommand(ctx, root, nil, "test", "-count=1", "-run", "TestMemoryIsFlat", "-v", "./book/")
	m := memoryLine.FindStringSubmatch(out)
	if m == nil {
		return f, fmt.Errorf("the memory test gave no figure: %v\n%s", err, out)
	}
	mib := func(s string) float64 { return atof(s) / 1024 }
	f.Value = fmt.Sprintf("read %.1f and %.1f MiB, rebuild %.1f and %.1f MiB", mib(m[1]), mib(m[2]), mib(m[3]), mib(m[4]))
	f.Verdict = judge(err == nil)
	return f, nil
}

func atof(s string) (v float64) {
	fmt.Sscan(s, &v)
	return v
}

// outOfTime tells whether a fuzz test only ran out of its time: the go command
// says so as a failure when an input is at work at that moment
// (golang/go issue 48157, from memory). A real failure names its input.
func outOfTime(out string) bool {
	return strings.Contains(out, "context deadline exceeded") && !strings.Contains(out, "Failing input written to")
}

var fuzzTest = regexp.MustCompile(`(?m)^func Fuzz\w+\(\w+ \*testing\.F\)`)

// fuzzed gives the folders of the packages of this module that have fuzz tests.
func fuzzed(root string) (folders []string, err error) {
	err = filepath.WalkDir(root, func(p string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() {
			_, mod := os.Stat(filepath.Join(p, "go.mod"))
			if p != root && (mod == nil || strings.HasPrefix(d.Name(), ".") || d.Name() == "node_modules" || d.Name() == "testdata") {
				return filepath.SkipDir
			}
			return nil
		}
		if !strings.HasSuffix(p, "_test.go") {
			return nil
		}
		text, err := os.ReadFile(p)
		if err != nil || !fuzzTest.Match(text) {
			return err
		}
		folder, err := filepath.Rel(root, filepath.Dir(p))
		if folder = filepath.ToSlash(folder); err == nil && !slices.Contains(folders, folder) {
			folders = append(folders, folder)
		}
		return err
	})
	return folders, err
}

// fuzz fuzzes every fuzz test of the module for a while each. New inputs that
// break a reader are left in its testdata by the go command.
func fuzz(ctx context.Context, root string, each time.Duration) (Figure, error) {
	f := Figure{What: fmt.Sprintf("fuzz tests, %v each", each), Target: "no failure", Command: fmt.Sprintf("go run ./internal/measure -fuzztime %v fuzz", each)}
	folders, err := fuzzed(root)
	if err != nil {
		return f, err
	}
	cache, err := goCommand(ctx, root, nil, "env", "GOCACHE")
	if err != nil {
		return f, fmt.Errorf("%w\n%s", err, cache)
	}
	dir, err := os.MkdirTemp("", "evenstand-fuzz-")
	if err != nil {
		return f, err
	}
	defer os.RemoveAll(dir)
	// Each package is built once, not for each of its tests: linking takes as long as
	// a short run.
	type target struct{ bin, folder, name string }
	var all []target
	for i, folder := range folders {
		bin := filepath.Join(dir, fmt.Sprintf("%d.test", i))
		if out, err := goCommand(ctx, root, nil, "test", "-c", "-fuzz", ".", "-o", bin, "./"+folder); err != nil {
			return f, fmt.Errorf("building the fuzz tests of %s: %w\n%s", folder, err, out)
		}
		out, err := command(ctx, filepath.Join(root, folder), nil, bin, "-test.list", "^Fuzz")
		if err != nil {
			return f, fmt.Errorf("listing the fuzz tests of %s: %w\n%s", folder, err, out)
		}
		for _, name := range strings.Fields(out) {
			all = append(all, target{bin, folder, name})
		}
	}
	if len(all) < len(folders) {
		return f, fmt.Errorf("%d fuzz tests in %d packages that have some", len(all), len(folders))
	}
	// Two at a time with a worker each.
	var (
		mu     sync.Mutex
		wg     sync.WaitGroup
		failed []string
		runs   int64
		place  = make(chan struct{}, 2)
	)
	for i, t := range all {
		place <- struct{}{}
		if ctx.Err() != nil {
			break
		}
		wg.Go(func() {
			defer func() { <-place }()
			fmt.Fprintf(os.Stderr, "fuzz %d of %d: %s %s\n", i+1, len(all), t.folder, t.name)
			known := filepath.Join(strings.TrimSpace(cache), "fuzz", "evenstand", filepath.FromSlash(t.folder)) // where the go command keeps inputs
			out, err := command(ctx, filepath.Join(root, t.folder), nil, t.bin, "-test.run", "^$", "-test.fuzz", "^"+t.name+"$", "-test.fuzztime", each.String(), "-test.fuzzminimizetime", "100x", "-test.parallel", "1", "-test.fuzzcachedir", known)
			mu.Lock()
			defer mu.Unlock()
			if err != nil && ctx.Err() == nil && !outOfTime(out) {
				failed = append(failed, t.folder+" "+t.name)
				fmt.Fprintln(os.Stderr, out)
			}
			runs += execs(out)
		})
	}
	wg.Wait()
	if ctx.Err() != nil {
		return f, ctx.Err()
	}
	f.Value = fmt.Sprintf("%d tests, %d million inputs, %d failed", len(all), runs/1_000_000, len(failed))
	if len(failed) > 0 {
		f.Value += ": " + strings.Join(failed, ", ")
	}
	f.Verdict = judge(len(failed) == 0)
	return f, nil
}

var execLine = regexp.MustCompile(`execs: (\d+)`)

// execs gives the last count of inputs that a fuzz run printed.
func execs(out string) (n int64) {
	s := bufio.NewScanner(strings.NewReader(out))
	for s.Scan() {
		if m := execLine.FindStringSubmatch(s.Text()); m != nil {
			fmt.Sscan(m[1], &n)
		}
	}
	return n
}

// demo times make demo, the program having been built.
func demo(ctx context.Context, root string) (Figure, error) {
	f := Figure{What: "make demo after the build", Target: "a worklist in under 60 s on 2 cores", Command: "make demo"}
	if _, err := exec.LookPath("make"); err != nil {
		f.Value, f.Verdict = "no make here", Untried
		return f, nil
	}
	start := time.Now()
	cmd := exec.CommandContext(ctx, "make", "-s", "demo")
	cmd.Dir = root
	out, err := cmd.Output()
	took := time.Since(start)
	if err != nil {
		return f, fmt.Errorf("make demo: %w\n%s", err, out)
	}
	printed := bytes.Contains(out, []byte("still to save")) || bytes.Contains(out, []byte("Row "))
	f.Value = fmt.Sprintf("%.0f s; %s", took.Seconds(), yes(printed, "a worklist with findings", "no finding in what it printed"))
	f.Verdict = judge(printed && took < time.Minute)
	return f, nil
}

package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"runtime"
	"runtime/pprof"
	"slices"
	"strings"
	"time"

	"evenstand/internal/heap"
)

type options struct {
	bin      string
	write    bool
	dev      bool
	only     string
	jobs     int
	most     int
	kills    int
	seeds    int
	fuzztime time.Duration
	profile  string
}

// parts are what can be asked for, in the order of the page.
var parts = []string{"days", "real", "live", "settings", "effects", "trials", "check-back", "balance", "counts", "kills", "rebuild", "season", "speed", "fuzz", "demo"}

func main() {
	heap.Set()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	code, err := run(ctx, os.Args[1:])
	stop()
	if err != nil {
		fmt.Fprintln(os.Stderr, "measure:", err)
		code = 1
	}
	os.Exit(code)
}

func run(ctx context.Context, args []string) (int, error) {
	var o options
	fs := flag.NewFlagSet("measure", flag.ContinueOnError)
	fs.StringVar(&o.bin, "bin", "bin/evenstand", "the built program")
	fs.BoolVar(&o.write, "write", false, "write the figures into docs/measured.md")
	fs.BoolVar(&o.dev, "dev", false, "take days from 7001 on, not those kept for measuring")
	fs.StringVar(&o.only, "only", "", "of the days, only this suite")
	fs.IntVar(&o.jobs, "jobs", runtime.NumCPU(), "days at a time")
	fs.IntVar(&o.most, "most", 0, "at most so many days of a suite; 0: all")
	fs.IntVar(&o.kills, "kills", 200, "kills during read")
	fs.IntVar(&o.seeds, "seeds", 64_000_000, "seeds of the stored season")
	fs.DurationVar(&o.fuzztime, "fuzztime", 2*time.Minute, "how long each reader is fuzzed")
	fs.StringVar(&o.profile, "cpuprofile", "", "write the profile of this program's own work (speed, season) into this file")
	fs.Usage = func() {
		fmt.Fprintf(fs.Output(), "go run ./internal/measure [flags] PART…\nparts: all, small, %s\n", strings.Join(parts, ", "))
		fs.PrintDefaults()
	}
	if err := fs.Parse(args); err != nil {
		return 2, nil
	}
	if o.write && (o.dev || o.only != "" || o.most > 0) {
		return 2, errors.New("-write wants the whole of the days that are kept for measuring: leave out -dev, -only and -most")
	}
	asked := fs.Args()
	if len(asked) == 0 {
		fs.Usage()
		return 2, nil
	}
	root, err := moduleRoot()
	if err != nil {
		return 1, err
	}
	p, err := newProgram(root, o.bin, filepath.Join(root, "bin", "measure"))
	if err != nil {
		return 1, err
	}
	defer p.close()
	if o.profile != "" {
		f, err := os.Create(o.profile)
		if err != nil {
			return 1, err
		}
		defer f.Close()
		if err := pprof.StartCPUProfile(f); err != nil {
			return 1, err
		}
		defer pprof.StopCPUProfile()
	}
	if len(asked) == 1 && asked[0] == "all" {
		asked = parts
	}
	figures := map[string][]Figure{}
	for _, part := range timedFirst(asked) {
		fs, err := p.part(ctx, part, o)
		if err != nil {
			return 1, fmt.Errorf("%s: %w", part, err)
		}
		figures[part] = fs
	}
	var got []Figure
	for _, part := range asked {
		got = append(got, figures[part]...)
	}
	missed := 0
	for _, f := range got {
		if f.Verdict == Missed {
			missed++
		}
		fmt.Println(strings.TrimSpace(fmt.Sprintf("%-12s %s: %s   %s", f.Verdict, f.What, f.Value, yes(f.Target != "", "(want "+f.Target+")", ""))))
	}
	text := where(ctx, root) + "\n\n" + table(got)
	if p.mistaken != "" {
		text += "\nWhat was there, and what it was taken for: of the faults at or above \"Detectable\" and the distractors of all these days, how often each kind was raised on their rows in their time. A finding that is true beside a fault counts here as well.\n\n```\n" + p.mistaken + "```\n"
		fmt.Print("\nwhat was there, and what it was taken for\n", p.mistaken)
	}
	if o.write {
		if err := write(filepath.Join(root, "docs", "measured.md"), text); err != nil {
			return 1, err
		}
	}
	if missed > 0 {
		return 1, fmt.Errorf("%d of %d figures miss their target", missed, len(got))
	}
	return 0, nil
}

// timedFirst puts what is timed before the rest: half an hour of other work
// leaves a machine with disks to write out.
func timedFirst(asked []string) []string {
	timed := func(part string) bool { return part == "speed" || part == "season" }
	out := slices.Clone(asked)
	slices.SortStableFunc(out, func(a, b string) int {
		switch {
		case timed(a) == timed(b):
			return 0
		case timed(a):
			return -1
		}
		return 1
	})
	return out
}

func (p *program) part(ctx context.Context, part string, o options) ([]Figure, error) {
	one := func(f Figure, err error) ([]Figure, error) { return []Figure{f}, err }
	switch part {
	case "days":
		return p.dayFigures(ctx, suites(), o)
	case "small":
		return p.dayFigures(ctx, small(), o)
	case "real":
		return p.real(ctx)
	case "live":
		return p.live(ctx, o)
	case "settings":
		return p.settings(ctx, o)
	case "kills":
		return one(p.kills(ctx, o.kills))
	case "rebuild":
		return one(p.rebuild(ctx))
	case "season":
		speed, err := season(ctx, p.root, o.seeds)
		if err != nil {
			return nil, err
		}
		flat, err := memory(ctx, p.root)
		return []Figure{speed, flat}, err
	case "speed":
		return p.speed(ctx, o.seeds)
	case "trials":
		return one(trials(ctx, p.root))
	case "check-back":
		return checkBack(ctx, p.root)
	case "counts":
		return counts(ctx, p.root)
	case "balance":
		return balance(ctx, p.root)
	case "effects":
		return p.effects(ctx, o)
	case "fuzz":
		return one(fuzz(ctx, p.root, o.fuzztime))
	case "demo":
		return one(demo(ctx, p.root))
	}
	return nil, fmt.Errorf("there is no such part: want all, small, %s", strings.Join(parts, ", "))
}

// moduleRoot looks for go.mod from here up.
func moduleRoot() (string, error) {
	dir, err := os.Getwd()
	for err == nil {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return dir, nil
		}
		if filepath.Dir(dir) == dir {
			return "", errors.New("no go.mod from here up: run it inside the source tree")
		}
		dir = filepath.Dir(dir)
	}
	return "", err
}

// where says which commit and machine the figures are of.
func where(ctx context.Context, root string) string {
	git := func(args ...string) string {
		cmd := exec.CommandContext(ctx, "git", args...)
		cmd.Dir = root
		out, err := cmd.Output()
		if err != nil {
			return ""
		}
		return strings.TrimSpace(string(out))
	}
	commit := git("rev-parse", "--short=12", "HEAD")
	if commit == "" {
		commit = "unknown"
	}
	if git("status", "--porcelain", "--untracked-files=no") != "" {
		commit += " with changes"
	}
	return fmt.Sprintf("Commit %s. Machine: %s/%s, %s, %d cores%s; %s.", commit, runtime.GOOS, runtime.GOARCH, processor(), runtime.NumCPU(), ram(), runtime.Version())
}

// processor gives the processor's name as Linux says it.
func processor() string { return afterColon("/proc/cpuinfo", "model name", "processor not told") }

func ram() string {
	var kb float64
	fmt.Sscan(afterColon("/proc/meminfo", "MemTotal", "0"), &kb)
	if kb == 0 {
		return ""
	}
	return fmt.Sprintf(", %.0f GiB", kb/(1<<20))
}

func afterColon(file, key, none string) string {
	data, err := os.ReadFile(file)
	if err != nil {
		return none
	}
	for line := range strings.Lines(string(data)) {
		if k, v, ok := strings.Cut(line, ":"); ok && strings.TrimSpace(k) == key {
			return strings.TrimSpace(v)
		}
	}
	return none
}

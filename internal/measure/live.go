package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"time"
)

// The days that are replayed. Like those of suites.go they have not been used
// for tuning; -dev takes others.
func liveSuites() []suite {
	return []suite{
		{name: "live, seed times", scenario: "random-detectable.toml", seeds: days(9861, 10), from: 7801},
		{name: "live, a row a second", scenario: "random-grade-b.toml", seeds: days(9881, 10), from: 7801},
	}
}

// replayed is what evenstand replay --json says of a day at its end.
type replayed struct {
	Event   string            `json:"event"`
	Late    *float64          `json:"late_s"`
	Settled int               `json:"settled"`
	CanSee  int               `json:"live_sees"`
	Stood   []json.RawMessage `json:"stood"`
	Missing []json.RawMessage `json:"did_not_stand"`
	Only    []int             `json:"not_settled"`
}

// stands is the sum over days.
type stands struct {
	days, settled, sees, stood, only, equal int
}

// live replays days and says how many of the settled findings stood before
// settling, whether the settled bytes are those of a read, and how soon a
// finding is raised.
func (p *program) live(ctx context.Context, o options) (out []Figure, err error) {
	var all stands
	for _, s := range liveSuites() {
		if o.only != "" && o.only != s.name {
			continue
		}
		x, err := p.replayDays(ctx, s, o.pick(s), o.jobs)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", s.name, err)
		}
		out = append(out, standFigures(s, x)...)
		all.days, all.equal = all.days+x.days, all.equal+x.equal
	}
	if all.days > 0 {
		out = append(out, equalFigure(all))
	}
	if o.only != "" {
		return out, nil
	}
	late, err := p.late(ctx)
	return append(out, late), err
}

const liveCommand = "go run ./internal/measure live"

// standFigures draws the figures of a suite.
func standFigures(s suite, x stands) []Figure {
	f := Figure{
		What:   fmt.Sprintf("settled findings that live can see and that stood before settling (family, rows, beginning within 2 min), %d days, %s", x.days, s.name),
		Target: "≥ 0.95", Value: fmt.Sprintf("%d of %d", x.stood, x.sees), Command: liveCommand, Verdict: Untried,
	}
	if x.sees > 0 {
		f.Value += fmt.Sprintf(" (%.3f); %d more of the %d settled ones cannot be seen live", float64(x.stood)/float64(x.sees), x.settled-x.sees, x.settled)
		f.Verdict = judge(float64(x.stood) >= 0.95*float64(x.sees))
	}
	only := Figure{
		What:  fmt.Sprintf("findings raised live that settling does not support, the same days, %s", s.name),
		Value: fmt.Sprintf("%d beside %d that it does", x.only, x.stood), Command: liveCommand,
	}
	return []Figure{f, only}
}

func equalFigure(x stands) Figure {
	return Figure{
		What: "equal bytes under data after replay and after read, the same days", Target: "all",
		Value: fmt.Sprintf("%d of %d", x.equal, x.days), Verdict: judge(x.equal == x.days), Command: liveCommand,
	}
}

// replayDays replays the days of a suite, as many at a time as there are jobs.
func (p *program) replayDays(ctx context.Context, s suite, seeds []uint64, jobs int) (sum stands, failed error) {
	var mu sync.Mutex
	var wg sync.WaitGroup
	next := 0
	for range jobs {
		wg.Go(func() {
			for {
				mu.Lock()
				i := next
				next++
				stop := i >= len(seeds) || failed != nil
				mu.Unlock()
				if stop {
					return
				}
				r, equal, err := p.replayDay(ctx, s.scenario, seeds[i])
				mu.Lock()
				switch {
				case err != nil:
					if failed == nil {
						failed = fmt.Errorf("seed %d: %w", seeds[i], err)
					}
				default:
					sum.days++
					sum.settled, sum.sees = sum.settled+r.Settled, sum.sees+r.CanSee
					sum.stood, sum.only = sum.stood+len(r.Stood), sum.only+len(r.Only)
					if equal {
						sum.equal++
					}
					for _, m := range r.Missing {
						fmt.Fprintf(os.Stderr, "  %s, seed %d: did not stand: %s\n", s.name, seeds[i], m)
					}
				}
				mu.Unlock()
			}
		})
	}
	wg.Wait()
	return sum, failed
}

// replayDay simulates a day, replays it into one book and reads it into
// another, and tells whether both hold the same bytes.
func (p *program) replayDay(ctx context.Context, scenario string, seed uint64) (r replayed, equal bool, err error) {
	dir, err := os.MkdirTemp(p.work, "live-")
	if err != nil {
		return r, false, err
	}
	defer os.RemoveAll(dir)
	day := filepath.Join(dir, "day")
	if err := p.simulate(ctx, filepath.Join(p.root, "scenarios", scenario), seed, day); err != nil {
		return r, false, err
	}
	var sums [2]map[string]string
	for i, command := range []string{"replay", "read"} {
		book := filepath.Join(dir, command)
		if err := p.newBook(ctx, book, day); err != nil {
			return r, false, err
		}
		out, err := p.run(ctx, command, book, filepath.Join(day, "boxes"), "--json")
		if err != nil {
			return r, false, err
		}
		if command == "replay" {
			if r, err = settledLine(out); err != nil {
				return r, false, err
			}
		}
		if sums[i], err = hashes(filepath.Join(book, "data")); err != nil {
			return r, false, err
		}
	}
	return r, len(sums[0]) > 3 && maps.Equal(sums[0], sums[1]), nil
}

// settledLine finds what replay says of the settled day.
func settledLine(out []byte) (r replayed, err error) {
	for line := range bytes.Lines(out) {
		var l replayed
		if err := json.Unmarshal(line, &l); err != nil {
			return r, fmt.Errorf("replay --json: %w in %.60s", err, line)
		}
		if l.Event == "settled" {
			return l, nil
		}
	}
	return r, fmt.Errorf("replay --json says nothing of a settled day")
}

// late plays the beginning of a day with 36 rows at the pace at which it was
// and tells how long after the moment by the logs the first finding is printed.
func (p *program) late(ctx context.Context) (Figure, error) {
	f := Figure{What: "a finding printed after the moment that it is raised for, 36 rows at pace 1", Target: "≤ 1 s", Command: liveCommand, Verdict: Untried}
	day, book := filepath.Join(p.work, "live-rows"), filepath.Join(p.work, "live-rows-book")
	if err := p.simulate(ctx, filepath.Join(p.root, "scenarios", "live-rows.toml"), 7001, day); err != nil {
		return f, err
	}
	if err := p.newBook(ctx, book, day); err != nil {
		return f, err
	}
	ctx, cancel := context.WithTimeout(ctx, 5*time.Minute)
	defer cancel()
	cmd := exec.CommandContext(ctx, p.bin, "replay", book, filepath.Join(day, "boxes"), "--pace", "1", "--json")
	pipe, err := cmd.StdoutPipe()
	if err != nil {
		return f, err
	}
	if err := cmd.Start(); err != nil {
		return f, err
	}
	defer func() {
		cancel() // the rest of the day is not waited for
		_ = cmd.Wait()
	}()
	lines := bufio.NewReader(pipe)
	for {
		line, err := lines.ReadBytes('\n')
		if err != nil {
			return f, fmt.Errorf("replay at pace 1 raised nothing: %w", err)
		}
		var l replayed
		if err := json.Unmarshal(line, &l); err != nil {
			return f, err
		}
		if l.Event == "raised" && l.Late != nil {
			f.Value, f.Verdict = fmt.Sprintf("%.3f s", *l.Late), judge(*l.Late <= 1)
			return f, nil
		}
	}
}

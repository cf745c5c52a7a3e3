package main

import (
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"sync"

	"evenstand"
	"evenstand/sim"
)

// setDays are the days on which settings are changed that boxes log, and days on
// which nothing is.
func setDays() []suite {
	return []suite{
		{name: "settings", scenario: "settings.toml", seeds: days(12301, 10), from: 7801},
		{name: "settings, calm", scenario: "calm.toml", also: []string{"calm-boxes.toml", "calm-furrow.toml", "calm-tanks.toml", "calm-ground.toml"}, seeds: days(12321, 15), from: 7840},
	}
}

// steps is how settings that boxes log were entered.
type steps struct {
	truly, told int
	wrong       []string
	off         []float64 // s
	days        int
}

// stepsOf simulates and reads a day and holds what the boxes' lines say against the
// truth.
func (p *program) stepsOf(ctx context.Context, scenario string, seed uint64) (x steps, err error) {
	dir, err := os.MkdirTemp(p.work, "set-")
	if err != nil {
		return x, err
	}
	defer os.RemoveAll(dir)
	day, book := filepath.Join(dir, "day"), filepath.Join(dir, "book")
	if err := p.simulate(ctx, filepath.Join(p.root, "scenarios", scenario), seed, day); err != nil {
		return x, err
	}
	if err := p.newBook(ctx, book, day); err != nil {
		return x, err
	}
	if _, err := p.run(ctx, "read", book, filepath.Join(day, "boxes")); err != nil {
		return x, err
	}
	type boxLine struct {
		T, Early       *evenstand.Micros
		What, Quantity string
		Rows, Note     string
		Value, Was     float64
		Times          int
	}
	var j struct {
		Lines []struct{ Logged []boxLine }
	}
	if err := p.into(ctx, &j, "note", book, "--day", "last"); err != nil {
		return x, err
	}
	truth, _, err := sim.ReadSettings(day)
	if err != nil {
		return x, err
	}
	x.days = 1
	var lines []boxLine
	for _, l := range j.Lines {
		for _, b := range l.Logged {
			if b.What == "level" || b.What == "target" {
				lines = append(lines, b)
			}
		}
	}
	used := make([]bool, len(lines))
	for _, s := range truth.Settings {
		if s.Logged == "" || s.To == nil {
			continue
		}
		x.truly++
		hit := false
		for i, l := range lines {
			early := *l.T
			if l.Early != nil {
				early = min(early, *l.Early)
			}
			if l.Quantity != s.Lever || s.T < early-10*evenstand.Second || s.T > *l.T+15*evenstand.Second || math.Abs(l.Value-*s.To) > 0.25*math.Abs(*s.To-*s.From) {
				continue
			}
			used[i] = true
			if !hit {
				x.off = append(x.off, math.Abs((*l.T - s.T).Seconds()))
			}
			hit = true
		}
		if hit {
			x.told++
		}
	}
	for i, l := range lines {
		if !used[i] {
			x.wrong = append(x.wrong, fmt.Sprintf("%s, seed %d: %s %s, %.4g to %.4g", scenario, seed, l.Quantity, l.T, l.Was, l.Value))
		}
	}
	return x, nil
}

// settings measures whether settings that boxes log come into the journal, and
// nothing else does.
func (p *program) settings(ctx context.Context, o options) (out []Figure, err error) {
	for _, s := range setDays() {
		if o.only != "" && o.only != s.name {
			continue
		}
		seeds := o.pick(s)
		var sum steps
		var mu sync.Mutex
		var wg sync.WaitGroup
		next, failed := 0, error(nil)
		for range o.jobs {
			wg.Go(func() {
				for {
					mu.Lock()
					i := next
					if i >= len(seeds) || failed != nil {
						mu.Unlock()
						return
					}
					next++
					mu.Unlock()
					x, err := p.stepsOf(ctx, s.of(seeds[i]), seeds[i])
					mu.Lock()
					if err != nil && failed == nil {
						failed = fmt.Errorf("%s, seed %d: %w", s.name, seeds[i], err)
					}
					sum.truly, sum.told, sum.days = sum.truly+x.truly, sum.told+x.told, sum.days+x.days
					sum.wrong, sum.off = append(sum.wrong, x.wrong...), append(sum.off, x.off...)
					mu.Unlock()
				}
			})
		}
		wg.Wait()
		if failed != nil {
			return nil, failed
		}
		for _, w := range sum.wrong {
			fmt.Fprintln(os.Stderr, "no change:", w)
		}
		from := "go run ./internal/measure settings"
		if sum.truly > 0 {
			slices.Sort(sum.off)
			out = append(out, Figure{Verdict: Told, What: "settings that boxes log and that came into the journal by themselves, " + s.name, Value: fmt.Sprintf("%d of %d on %d days; half of them within %.0f s", sum.told, sum.truly, sum.days, median(sum.off)), Command: from})
		}
		out = append(out, Figure{Verdict: Told, What: "lines of boxes of changes that nobody made, " + s.name, Value: fmt.Sprintf("%d on %d days", len(sum.wrong), sum.days), Command: from})
	}
	return out, nil
}

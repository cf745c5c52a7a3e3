package main

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"evenstand"
	"evenstand/sim"
	"evenstand/sim/score"
)

// result is a scored suite.
type result struct {
	suite
	report  score.Report
	sum     score.Summary
	alsoAtA int // faults found at grade B that grade A finds too
	onlyAtB int // and those that it does not
}

// pick gives the days of a suite that are asked for.
func (o options) pick(s suite) []uint64 {
	seeds := s.seeds
	if o.dev && s.from > 0 {
		seeds = days(s.from, len(s.seeds))
	}
	if o.most > 0 {
		seeds = seeds[:min(o.most, len(seeds))]
	}
	return seeds
}

// runSuite simulates, reads and scores the days of a suite, as many at a time
// as there are jobs.
func (p *program) runSuite(ctx context.Context, s suite, seeds []uint64, jobs, have int) (result, error) {
	r := result{suite: s}
	type scored struct{ b, a score.Report }
	days := make([]scored, len(seeds))
	next, compared, failed := 0, have, error(nil)
	var mu sync.Mutex
	var wg sync.WaitGroup
	for range jobs {
		wg.Go(func() {
			for {
				mu.Lock()
				i := next
				if i >= len(seeds) || failed != nil || s.money && compared >= moneyWanted {
					mu.Unlock()
					return
				}
				next++
				mu.Unlock()
				var d scored
				var err error
				d.b, err = p.day(ctx, s.of(seeds[i]), seeds[i], false)
				if err == nil && s.gradeA {
					d.a, err = p.day(ctx, s.of(seeds[i]), seeds[i], true)
				}
				mu.Lock()
				days[i] = d
				if err != nil && failed == nil {
					failed = fmt.Errorf("%s, seed %d: %w", s.name, seeds[i], err)
				}
				compared += withMoney(d.b)
				fmt.Fprintf(os.Stderr, "%s: day %d of %d scored\n", s.name, i+1, len(seeds))
				mu.Unlock()
			}
		})
	}
	wg.Wait()
	if failed != nil {
		return r, failed
	}
	for _, d := range days[:next] {
		r.report.Merge(d.b)
		if s.gradeA {
			found := map[string]bool{}
			for _, m := range d.a.Matches {
				found[m.Fault] = true
			}
			for _, m := range d.b.Matches {
				if found[m.Fault] {
					r.alsoAtA++
				} else {
					r.onlyAtB++
				}
			}
		}
	}
	r.sum = r.report.Summary()
	return r, nil
}

func withMoney(r score.Report) (n int) {
	for _, m := range r.Matches {
		if m.Money != nil {
			n++
		}
	}
	return n
}

// day simulates, reads and scores one day, or takes what was scored before.
func (p *program) day(ctx context.Context, scenario string, seed uint64, gradeA bool) (score.Report, error) {
	var rep score.Report
	text := halfCell
	if strings.HasSuffix(scenario, ".toml") {
		data, err := os.ReadFile(filepath.Join(p.root, "scenarios", filepath.FromSlash(scenario)))
		if err != nil {
			return rep, err
		}
		text = string(data)
	}
	if gradeA {
		was := text
		if text = strings.Replace(text, `grade = "B"`, `grade = "A"`, 1); text == was {
			return rep, fmt.Errorf("scenarios/%s: no line grade = \"B\" to change", scenario)
		}
	}
	name := fmt.Sprintf("%x", sha256.Sum256(fmt.Appendf(nil, "%s %d %s", p.hash, seed, text)))[:24]
	kept := filepath.Join(p.keep, name+".json")
	if data, err := os.ReadFile(kept); err == nil && json.Unmarshal(data, &rep) == nil {
		return rep, nil
	}
	dir, err := os.MkdirTemp(p.work, "day-")
	if err != nil {
		return rep, err
	}
	defer os.RemoveAll(dir)
	file, day, book := filepath.Join(dir, "scenario.toml"), filepath.Join(dir, "day"), filepath.Join(dir, "book")
	if err := os.WriteFile(file, []byte(text), 0o666); err != nil {
		return rep, err
	}
	if err := p.simulate(ctx, file, seed, day); err != nil {
		return rep, err
	}
	if err := p.newBook(ctx, book, day); err != nil {
		return rep, err
	}
	if _, err := p.run(ctx, "read", book, filepath.Join(day, "boxes")); err != nil {
		return rep, err
	}
	out, err := p.run(ctx, "score", book, day, "--json")
	if err != nil {
		return rep, err
	}
	if err := json.Unmarshal(out, &rep); err != nil {
		return rep, fmt.Errorf("score --json: %w", err)
	}
	if len(rep.Days) != 1 {
		return rep, fmt.Errorf("score --json tells of %d days, want 1", len(rep.Days))
	}
	if got := rep.Days[0].Seed; got != seed {
		return rep, fmt.Errorf("the day's seed is %d, want %d", got, seed)
	}
	return rep, errors.Join(os.MkdirAll(p.keep, 0o777), os.WriteFile(kept, out, 0o666))
}

// dayFigures runs suites and draws the figures of the issue from them.
func (p *program) dayFigures(ctx context.Context, ss []suite, o options) ([]Figure, error) {
	by := map[string]*result{}
	var all []*result
	money := 0
	for _, s := range ss {
		if o.only != "" && s.name != o.only {
			continue
		}
		r, err := p.runSuite(ctx, s, o.pick(s), o.jobs, money)
		if err != nil {
			return nil, err
		}
		by[s.name] = &r
		all = append(all, &r)
		money += withMoney(r.report)
		for _, line := range mistakes(&r) {
			fmt.Fprintln(os.Stderr, line)
		}
	}
	if len(all) == 0 {
		return nil, fmt.Errorf("there is no suite %q", o.only)
	}
	var whole score.Report
	for _, r := range all {
		whole.Merge(r.report)
	}
	p.mistaken = whole.Mistaken().Text()
	return figures(by, all), nil
}

// mistakes lists what was missed and what was false, for whoever works on it.
func mistakes(r *result) (out []string) {
	for _, m := range r.report.Missed {
		out = append(out, fmt.Sprintf("  missed: %s: %s %s, rows %s (%s): %s", m.Day, m.Fault, m.Kind, m.Rows, m.Params, m.Why))
	}
	for _, f := range r.report.False {
		out = append(out, fmt.Sprintf("  false: %s: %s, rows %s, since %s: %s", f.Day, f.Kind, f.Rows, f.Since, f.Why))
	}
	return out
}

// figures draws the figures from scored suites, in the order of the page.
func figures(by map[string]*result, all []*result) (out []Figure) {
	add := func(r *result, v Verdict, what, target, value string, a ...any) {
		out = append(out, Figure{What: what, Value: fmt.Sprintf(value, a...), Target: target, Verdict: v, Command: "go run ./internal/measure -only '" + r.name + "' days"})
	}
	atLeast := func(s score.Share, least float64) Verdict {
		if s.Of == 0 {
			return Untried
		}
		return judge(float64(s.Share) >= least)
	}
	for _, of := range [][2]string{{"detectable", "faults"}, {"all kinds", "faults of all kinds"}, {"fields", "trouble of the ground"}, {"swing", "what swings and what falls short"}, {"furrow", "trouble of the furrow"}, {"granules", "granules, lots and limits"}, {"tanks", "tanks and fills"}, {"catalogue", "the whole catalogue"}} {
		r := by[of[0]]
		if r == nil {
			continue
		}
		s := r.sum
		add(r, atLeast(s.All.Recall, 0.95), fmt.Sprintf("recall, %d days of %s at or above \"Detectable\"", s.Days, of[1]), "≥ 0.95", "%s", s.All.Recall)
		add(r, atLeast(s.All.Precision, 0.90), "precision, the same days", "≥ 0.90", "%s (%d excused, true beside a fault or distractor)", s.All.Precision, s.Excused)
		add(r, atLeast(s.CauseRight, 0.90), "first cause right, the same days", "≥ 0.90", "%s; Brier score of the odds %.3f", s.CauseRight, float64(s.Brier))
		var kinds []string
		for k := range s.Kinds {
			kinds = append(kinds, k)
		}
		slices.Sort(kinds)
		for _, k := range kinds {
			x := s.Kinds[k]
			add(r, Told, k+", the same days", "", "recall %s, precision %s, delay %s s of planting (median and 90%%)", x.Recall, x.Precision, x.Planting)
		}
	}
	if r := by["calm ground"]; r != nil {
		add(r, judge(float64(r.sum.FalsePer10h) <= 1), "false findings in 10 h, calm days with liquid and wheel loads", "≤ 1", "%.2f (%d in %.1f machine-hours)", float64(r.sum.FalsePer10h), len(r.report.False), r.sum.Hours)
	}
	if r := by["calm furrow"]; r != nil {
		add(r, judge(float64(r.sum.FalsePer10h) <= 1), "false findings in 10 h, calm days with sensors in the furrow", "≤ 1", "%.2f (%d in %.1f machine-hours)", float64(r.sum.FalsePer10h), len(r.report.False), r.sum.Hours)
	}
	if r := by["calm, all boxes"]; r != nil {
		v := judge(float64(r.sum.FalsePer10h) <= 1)
		if r.sum.Hours < calmHours {
			v = Untried
		}
		add(r, v, "false findings in 10 h, calm days with every box", fmt.Sprintf("≤ 1 over ≥ %d machine-hours", calmHours), "%.2f (%d in %.1f machine-hours)", float64(r.sum.FalsePer10h), len(r.report.False), r.sum.Hours)
	}
	if r := by["calm"]; r != nil {
		v := judge(float64(r.sum.FalsePer10h) <= 0.5)
		if r.sum.Hours < calmHours {
			v = Untried
		}
		add(r, v, "false findings in 10 h, calm days", fmt.Sprintf("≤ 0.5 over ≥ %d machine-hours", calmHours), "%.2f (%d in %.1f machine-hours)", float64(r.sum.FalsePer10h), len(r.report.False), r.sum.Hours)
	}
	if r := by["single"]; r != nil {
		add(r, atLeast(within(r, evenstand.KindBlockedCell, turns, 8), 0.9), "a fully blocked cell raised within 8 turns, discs of 40 cells, scatter about 0.12 place", "≥ 0.90", "%s", within(r, evenstand.KindBlockedCell, turns, 8))
		add(r, atLeast(within(r, evenstand.KindRowStopped, seconds, 3), 0.9), "a stopped row raised within 3 s of log time", "≥ 0.90", "%s; of planting %s", within(r, evenstand.KindRowStopped, seconds, 3), within(r, evenstand.KindRowStopped, planting, 3))
	}
	if r := by["half"]; r != nil {
		add(r, atLeast(within(r, evenstand.KindWeakCell, turns, 30), 0.9), "a cell that misses half of its turns raised within 30 turns", "≥ 0.90", "%s", within(r, evenstand.KindWeakCell, turns, 30))
	}
	for _, name := range []string{"row a second", "task data"} {
		if r := by[name]; r != nil {
			add(r, judge(len(r.report.False) == 0), fmt.Sprintf("false findings, %d days of grade B (%s)", r.sum.Days, name), "0", "%d; recall of what grade B can tell %s", len(r.report.False), r.sum.All.Recall)
			if r.gradeA {
				add(r, judge(r.onlyAtB == 0 && r.alsoAtA > 0), "faults found at grade B that grade A misses on the same days", "0", "%d of %d", r.onlyAtB, r.onlyAtB+r.alsoAtA)
			}
		}
	}
	var inside score.Share
	var off, width []float64
	for _, r := range all {
		for _, m := range r.report.Matches {
			if m.Money != nil {
				inside.Of++
				if m.Money.Inside() {
					inside.N++
				}
				inside.Share = evenstand.Number(float64(inside.N) / float64(inside.Of))
				if m.Money.True > 0 {
					off = append(off, max(m.Money.Mid/m.Money.True, m.Money.True/m.Money.Mid)-1)
				}
				if m.Money.Mid > 0 {
					width = append(width, (m.Money.High-m.Money.Low)/m.Money.Mid)
				}
			}
		}
	}
	if r := by["money"]; r != nil {
		v := judge(inside.Share >= 0.75 && inside.Share <= 0.90)
		if inside.Of < moneyWanted {
			v = Untried
		}
		add(r, v, "true loss inside low to high, all simulated faults found that have a price", fmt.Sprintf("0.75 to 0.90 of ≥ %d", moneyWanted), "%s; median error factor %.2f, median width %.2f of the middle", inside, 1+median(off), median(width))
		out[len(out)-1].Command = "go run ./internal/measure days"
	}
	if r := by["places"]; r != nil {
		var sq, n [2]float64
		for _, x := range r.report.Places {
			k := 0
			if x.Of == "curves" {
				k = 1
			}
			n[k] += float64(x.N)
			sq[k] += float64(x.N) * float64(x.RMS) * float64(x.RMS)
		}
		for k, what := range []string{"straights", "planted curves of 60 m"} {
			limit := [2]float64{0.05, 0.08}[k]
			rms := math.Sqrt(sq[k] / n[k])
			v := judge(rms <= limit)
			if n[k] == 0 {
				v = Untried
			}
			add(r, v, "where seeds lie, rms, "+what+", true card and clocks", fmt.Sprintf("≤ %.0f cm", 100*limit), "%.1f cm (%.0f seeds)", 100*rms, n[k])
		}
	}
	for _, c := range pairs() {
		if r := by[c.suite]; r != nil {
			s := r.report.Apart(c.a, c.b)
			add(r, atLeast(s, 0.85), "told apart: "+c.what+fmt.Sprintf(", %d days", r.sum.Days), "≥ 0.85", "%s", s)
		}
	}
	if r := by["look-alikes"]; r != nil {
		const odds = 10 // within which nothing is taken as told (methods e)
		s, lo, hi := r.report.Undecided(sim.KindSensorMisses, odds)
		add(r, atLeast(s, 1), "5 % of a row's seeds overlooked, which no log tells from skips: the sensor named and no cause asserted, both at 10 to 1, and how to tell", "all", "%s; chance given to the sensor %.2f to %.2f", s, lo, hi)
	}
	if r := by["clocks"]; r != nil {
		add(r, judge(len(r.report.False) == 0), "false findings, boxes with clocks of their own", "0", "%d in %.1f machine-hours; recall %s", len(r.report.False), r.sum.Hours, r.sum.All.Recall)
	}
	if r := by["clocks told"]; r != nil {
		clockFigures(r, add)
	}
	if r := by["tanks"]; r != nil {
		tankFigures(r, add)
	}
	if r := by["small"]; r != nil {
		add(r, judge(len(r.report.False) == 0), "false findings, the demonstration's day", "0", "%d", len(r.report.False))
		add(r, atLeast(r.sum.All.Recall, 0.85), "recall, the demonstration's day", "≥ 0.85", "%s", r.sum.All.Recall)
	}
	if r := by["small, calm"]; r != nil {
		add(r, judge(len(r.report.False) == 0), "false findings, a short calm day", "0", "%d", len(r.report.False))
	}
	return out
}

// measures of delay.
func turns(m score.Match) float64    { return m.DelayTurns }
func seconds(m score.Match) float64  { return m.DelayS }
func planting(m score.Match) float64 { return m.PlantingS }

// within gives the share of the demanded faults of a kind that were raised
// within a limit; a missed one was not.
func within(r *result, kind string, of func(score.Match) float64, limit float64) (s score.Share) {
	for _, m := range r.report.Matches {
		if m.Kind == kind && m.Detectable {
			s.Of++
			if of(m) <= limit {
				s.N++
			}
		}
	}
	for _, m := range r.report.Missed {
		if m.Kind == kind {
			s.Of++
		}
	}
	s.Share = evenstand.Number(float64(s.N) / float64(s.Of))
	return s
}

func median(xs []float64) float64 {
	slices.Sort(xs)
	if len(xs) == 0 {
		return math.NaN()
	}
	return (xs[(len(xs)-1)/2] + xs[len(xs)/2]) / 2
}

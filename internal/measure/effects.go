package main

import (
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"

	"evenstand"
	"evenstand/book"
	"evenstand/sim"
)

// effectDays is how many days of changed settings are made.
const effectDays = 10

// trueMeasure gives the measure of an effect by the name that the simulator has for
// it.
var trueMeasure = map[string]string{
	"gauge_wheel_load": "load", "wheel_off_share": "wheel-off", "seed_zone_moisture": "moisture", "slot_trash": "trash",
	"seed_zone_temperature": "temperature", "skip_fraction": "skips", "double_fraction": "doubles", "spacing_cv": "spacing",
}

// heldTally is how often intervals held the truth, and what was called less or more
// where there was nothing, by design.
type heldTally struct{ n, held, null, less, more int }

// effects makes days on which settings are changed and holds what each is said to
// have done against what it truly did.
func (p *program) effects(ctx context.Context, o options) ([]Figure, error) {
	first, command := uint64(12401), "go run ./internal/measure effects"
	if o.dev {
		first, command = 7801, "go run ./internal/measure -dev effects"
	}
	days := effectDays
	if o.most > 0 {
		days = min(days, o.most)
	}
	by := map[string]*heldTally{}
	noted, told := 0, 0
	for seed := first; seed < first+uint64(days); seed++ {
		day, dir := filepath.Join(p.work, fmt.Sprintf("effects-%d", seed)), filepath.Join(p.work, fmt.Sprintf("effects-book-%d", seed))
		if err := p.simulate(ctx, filepath.Join(p.root, "scenarios", "settings.toml"), seed, day); err != nil {
			return nil, err
		}
		if err := p.newBook(ctx, dir, day); err != nil {
			return nil, err
		}
		if _, err := p.run(ctx, "read", dir, filepath.Join(day, "boxes")); err != nil {
			return nil, err
		}
		var got struct {
			Effects book.EffectsTold `json:"effects"`
		}
		if err := p.into(ctx, &got, "effects", dir); err != nil {
			return nil, err
		}
		truth, _, err := sim.ReadSettings(day)
		if err != nil {
			return nil, err
		}
		for i := range truth.Settings {
			t := &truth.Settings[i]
			if t.Noted == nil || t.Noted.Wrong {
				continue
			}
			noted++
			if c := changeNear(got.Effects.Changes, t); c != nil {
				told++
				holdAgainst(c, t, by)
			}
		}
		for _, d := range []string{day, dir} {
			if err := os.RemoveAll(d); err != nil {
				return nil, err
			}
		}
	}
	out := []Figure{{What: fmt.Sprintf("changes of settings told, of those noted on %d days", days), Command: command, Value: fmt.Sprintf("%d of %d", told, noted), Verdict: Told}}
	for _, design := range []string{"half rows", "back and forth", "all rows"} {
		if c := by[design]; c != nil {
			out = append(out, Figure{
				What: "what a change did, told by " + design + ": 90 % intervals that hold the truth", Command: command,
				Value:   fmt.Sprintf("%d of %d (%.2f); of %d that did nothing %d called less, %d more", c.held, c.n, float64(c.held)/float64(c.n), c.null, c.less, c.more),
				Verdict: Told,
			})
		}
	}
	return out, nil
}

// changeNear finds what was told of a true change.
func changeNear(all []book.ChangeLine, t *sim.SettingTruth) *book.ChangeLine {
	for i := range all {
		if c := &all[i]; c.Lever == t.Lever && math.Abs(float64(c.T-t.T)) < 200*float64(evenstand.Second) {
			return c
		}
	}
	return nil
}

func holdAgainst(c *book.ChangeLine, t *sim.SettingTruth, by map[string]*heldTally) {
	truth := map[string]float64{}
	for name, s := range t.Effect {
		truth[trueMeasure[name]] = s.By
	}
	for i := range c.Effects {
		e := &c.Effects[i]
		if math.IsNaN(float64(e.Value)) || e.Measure == "population" || e.Measure == "liquid" || e.Measure == "granular" {
			continue
		}
		h := by[e.Design]
		if h == nil {
			h = &heldTally{}
			by[e.Design] = h
		}
		want, does := truth[e.Measure]
		h.n++
		if want >= float64(e.Low) && want <= float64(e.High) {
			h.held++
		}
		if !does {
			h.null++
			switch e.Verdict {
			case "less":
				h.less++
			case "more":
				h.more++
			}
		}
	}
}

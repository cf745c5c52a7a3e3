package book

import (
	"context"
	"math"
	"slices"

	"evenstand"
	measure "evenstand/core/measure/group"
	"evenstand/core/try/trial"
)

// TrialWish is what somebody wants to try.
type TrialWish struct {
	Planter string // empty: the one that planted last
	Part    string // kind or label of the part, as the person says it
	Rows    int    // rows of parts at hand; 0: two
	Passes  int    // of each time; 0: as many as help
	Measure string // id; empty: what the part is for, else skips, or what is told
	Seed    uint64 // of the draw of the rows; 0: 1
	Start   evenstand.Day
}

// PlanTrial proposes how to try a part: from the planter card, and from how its
// rows differed on the last days that they planted.
func (b *Book) PlanTrial(ctx context.Context, w TrialWish) (trial.Plans, error) {
	none := trial.Plans{Plans: []trial.Plan{}, Out: evenstand.Rows{}}
	days, err := b.Days(ctx)
	if err != nil {
		return none, err
	}
	if w.Planter == "" {
		if len(days) > 0 {
			w.Planter = days[len(days)-1].Planter
		} else if names, err := b.Planters(ctx); err == nil && len(names) > 0 {
			w.Planter = names[0]
		}
	}
	day := evenstand.DayOf(evenstand.Micros(b.now()), b.Zone())
	var mine []evenstand.Day
	for _, d := range days {
		if d.Planter == w.Planter {
			day = d.Day
			mine = append(mine, d.Day)
		}
	}
	card, err := b.Card(w.Planter, day)
	if err != nil {
		return none, err
	}
	if w.Seed == 0 {
		w.Seed = 1
	}
	in := trial.PlanInput{Label: w.Part, Rows: w.Rows, Passes: w.Passes, Start: w.Start, Seed: w.Seed, PassArea: math.NaN(), PassesADay: math.NaN(), Spread: trial.Spread{Row: math.NaN(), Drift: math.NaN(), Pass: math.NaN(), Level: math.NaN()}}
	for _, a := range card.Attachments {
		if a.Label == w.Part && a.Since <= string(day) {
			in.Carry = append(in.Carry, a.Rows...)
		}
		if a.Kind == w.Part {
			in.Kind = a.Kind
			in.Label = ""
		}
	}
	if w.Measure == "" {
		set := b.Settings()
		part, _ := set.Part(w.Part)
		w.Measure = part.Aim
	}
	rows := card.Rows
	s := &season{planter: w.Planter, spacing: card.RowSpacing, rows: rows, asOf: evenstand.NoTime}
	if len(mine) > 0 && rows > 0 {
		if err := b.readLast(ctx, s, mine); err != nil {
			return none, err
		}
	}
	if rows == 0 {
		none.Says = "How many rows the planter has is not known: write a planter card, or read a log that says it."
		return none, nil
	}
	in.Class = make([]trial.Class, rows)
	for r := range in.Class {
		switch {
		case track(&card, r+1):
			in.Class[r] = trial.Track
		case r == 0 || r == rows-1:
			in.Class[r] = trial.Wing
		}
	}
	s.spread(&in, w.Measure)
	if in.Measure == "" {
		m, ok := measure.ByID(w.Measure)
		if !ok {
			m, _ = measure.ByID("skips")
		}
		in.Measure, in.Name, in.Unit = m.ID, m.Label, m.Unit
	}
	seasons := []*season{s}
	return trial.Propose(in, b.voice(seasons)), nil
}

// lastDays is how many days a plan looks at: what rows did weeks ago was before
// they were mended (judgement).
const lastDays = 4

// readLast reads the last days of a planter.
func (b *Book) readLast(ctx context.Context, s *season, days []evenstand.Day) error {
	told, err := b.toldShares(ctx)
	if err != nil {
		return err
	}
	for _, id := range trialMeasures {
		m, _ := measure.ByID(id)
		s.measures = append(s.measures, m)
	}
	for _, d := range days[max(0, len(days)-lastDays):] {
		var out dayOf
		if err := b.readDay(ctx, s, d, told(s.planter, d), &out); err != nil {
			return err
		}
		s.days = append(s.days, d)
		s.passes = append(s.passes, out.passes...)
		s.planted += out.planted
	}
	return nil
}

// spread puts how rows differ into a plan: of the measure that is asked for, or
// the first that is told.
func (s *season) spread(in *trial.PlanInput, id string) {
	if len(s.passes) == 0 {
		return
	}
	area := 0.0
	for i := range s.passes {
		area += s.passes[i].area
	}
	in.PassArea = area / float64(len(s.passes))
	in.PassesADay = float64(len(s.passes)) / float64(len(s.days))
	var plain []int
	for r, c := range in.Class {
		if c == trial.Plain && !in.Carry.Has(r+1) {
			plain = append(plain, r+1)
		}
	}
	for m := range s.measures {
		me := &s.measures[m]
		if id != "" && me.ID != id {
			continue
		}
		var blocks []trial.Block
		for i := range s.passes {
			b := trial.Block{Y: make([]float64, s.rows), W: make([]float64, s.rows)}
			if 2*i >= len(s.passes) {
				b.Period = 1
			}
			n := 0
			for r := range s.rows {
				var sum measure.Part
				for k := range s.passes[i].cells {
					sum.Add(s.passes[i].cells[k].parts[m*s.rows+r])
				}
				if v, ok := me.Value(sum); ok {
					b.Y[r], b.W[r] = v, sum.N
					n++
				} else {
					b.Y[r] = math.NaN()
				}
			}
			if n > 1 && !ofAll(b.Y) {
				blocks = append(blocks, b)
			}
		}
		if len(blocks) < 4 {
			continue
		}
		in.Measure, in.Name, in.Unit = me.ID, me.Label, me.Unit
		in.Spread = trial.SpreadOf(blocks, plain, s.rows)
		return
	}
}

// SetPart writes down what is said of a part.
func (b *Book) SetPart(ctx context.Context, p evenstand.SaidPart) error {
	return b.ChangeSettings(ctx, func(s *evenstand.Settings) error {
		s.Parts = slices.Clone(s.Parts)
		s.SetPart(p)
		return nil
	})
}

package book

import (
	"context"
	"math"

	"evenstand"
	"evenstand/core/advise"
	"evenstand/core/ground"
	"evenstand/core/price"
	"evenstand/core/record"
)

// priceSeed is the seed of the draws that money is made from; it is one for
// every report, so that the same book always says the same.
const priceSeed = 20260401

// Worklist gives the findings with money, words and advice, ordered by what
// can still be saved: what is raised and has not ended, or with all everything.
func (b *Book) Worklist(ctx context.Context, all bool) (evenstand.Worklist, error) {
	fs, err := b.Findings(ctx)
	if err != nil {
		return evenstand.Worklist{}, err
	}
	days, err := b.Days(ctx)
	if err != nil {
		return evenstand.Worklist{}, err
	}
	set := b.Settings()
	asOf := evenstand.NoTime
	rows := map[DayRef]int{}
	planted := map[string]float64{}
	for _, d := range days {
		asOf = max(asOf, d.AsOf)
		card, err := b.Card(d.Planter, d.Day)
		if err != nil {
			return evenstand.Worklist{}, err
		}
		rows[DayRef{d.Planter, d.Day}] = card.Rows
		for _, p := range d.Planted {
			if a := float64(p.Area); !math.IsNaN(a) {
				planted[p.Field] += a
			}
		}
	}
	left := map[string]float64{}
	for _, f := range b.Fields() {
		left[f.Name] = math.Max(0, ground.FieldArea(f)-planted[f.Name])
	}
	ptrs := make([]*evenstand.Finding, len(fs))
	for i := range fs {
		ptrs[i] = &fs[i]
	}
	price.PriceAll(ptrs, func(f *evenstand.Finding) price.Context {
		c := price.Context{Settings: set, Rows: rows[DayRef{f.Planter, f.Day}], FieldLeft: math.NaN(), AsOf: asOf, Seed: priceSeed}
		if a, ok := left[f.Field]; ok {
			c.FieldLeft = a
		}
		return c
	})
	voice := advise.Voice{Zone: b.Zone(), Units: set.Units}
	for i := range fs {
		advise.Fill(&fs[i], voice)
	}
	return record.Assemble(set.Name, asOf, set.Currency, fs, all), nil
}

package price

import (
	"math"
	"slices"

	"evenstand"
)

// PerUnit gives what one unit more of a measure of core/measure/group costs on
// a m2, by draw, as Worth prices it: a skip for every place (a share of 1), a
// double, a spacing scatter of 1. target is seeds per m2; scatter is the spacing
// scatter that there is, about which its price is taken, for its square counts.
// No draws where there is no relation for the measure or no price; needs then
// says what is missing.
func PerUnit(measure, crop string, target, scatter float64, ctx Context) (draws []float64, unit string, needs []evenstand.Need) {
	kind, ok := HarmOf(measure)
	b := &bill{ctx: ctx}
	by, per := 1.0, 1.0
	if kind == evenstand.Uneven {
		if !(target > 0) || !(scatter > 0) || !(ctx.Spacing > 0) {
			b.need(evenstand.TopicPlanter, "the target rate and the spacing of the rows", "seed_rate_target in the logs, row_spacing_m "+b.card())
			ok = false
		}
		apart := 1 / (target * ctx.Spacing)
		per = 0.04 // two points either way
		by = 2 * scatter * per * apart * apart
	} else if !ok {
		b.need(evenstand.TopicNone, "a published relation, of which there is none here", "")
	}
	if !ok {
		w := Worth(ctx, crop, target, nil)
		return nil, w.Unit, append(w.Needs, b.needs...)
	}
	w := Worth(ctx, crop, target, []Shift{{kind, slices.Repeat([]float64{by}, N)}})
	for i := range w.Gain {
		w.Gain[i] /= -per
	}
	return w.Gain, w.Unit, w.Needs
}

// HarmOf gives the harm that a measure of core/measure/group is priced by, false
// where there is no relation for it.
func HarmOf(measure string) (evenstand.HarmKind, bool) {
	kind, ok := kinds[measure]
	return kind, ok
}

var kinds = map[string]evenstand.HarmKind{"skips": evenstand.MissingSeeds, "doubles": evenstand.ExtraSeeds, "spacing": evenstand.Uneven}

// Hour gives what an hour of planting costs on a day: labour, machine and the
// lost time of the season (R21), each where it is known, in the unit of the
// report. False where none is.
func Hour(day evenstand.Day, ctx Context) (float64, bool) {
	r := drawRanks(ctx.Seed)
	b := &bill{f: &evenstand.Finding{Day: day}, ctx: ctx, yields: r.yields(ctx.Settings.Yield)}
	x := b.lostHour()
	if !math.IsNaN(ctx.Settings.Price) { // labour and machine are in the currency
		x += orZero(ctx.Settings.Labour) + orZero(ctx.Settings.Machine)
	}
	return x, x > 0
}

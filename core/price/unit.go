package price

import (
	"math"

	"evenstand"
	"evenstand/core/relation"
)

// PerUnit gives what one unit more of a measure of core/measure/group costs on
// a m2, by draw, on the table that serves the whole report: a skip for every
// place (a share of 1), a double, a spacing scatter of 1. target is seeds per
// m2; scatter is the spacing scatter that there is, about which its price is
// taken, for it costs nothing up to a point. False where there is no relation
// for the measure or no price; needs then says what is missing.
func PerUnit(measure, crop string, target, scatter float64, ctx Context) (draws []float64, unit string, needs []evenstand.Need) {
	if crop == "" {
		if crop = ctx.Settings.Crop; crop == "" {
			crop = "corn"
		}
	}
	r := drawRanks(ctx.Seed)
	b := &bill{f: &evenstand.Finding{}, ctx: ctx, unit: "bu", yields: r.yields(ctx.Settings.Yield)}
	if !math.IsNaN(ctx.Settings.Price) {
		b.unit = ctx.Settings.Currency
	}
	if !b.agree(crop) {
		return nil, b.unit, b.needs
	}
	out := make([]float64, N)
	switch measure {
	case "skips":
		if !b.corn(crop, "skip") {
			return nil, b.unit, b.needs
		}
		worth, ok := b.worth(crop)
		if !ok {
			return nil, b.unit, b.needs
		}
		skip := r.skips(target)
		for i := range out {
			out[i] = skip[i] * b.yields[i] * worth
		}
	case "doubles":
		if !b.seedPrice() {
			return nil, b.unit, b.needs
		}
		if !(target > 0) {
			b.need(evenstand.TopicLogs, "the target rate", "seed_rate_target in the logs")
			return nil, b.unit, b.needs
		}
		lost := r.doubles()
		for i := range out {
			out[i] = target * ctx.Settings.Seed
			if relation.For(crop) {
				out[i] += b.yields[i] * lost[i] * ctx.Settings.Price
			}
		}
	case "spacing":
		if !b.corn(crop, "spacing") {
			return nil, b.unit, b.needs
		}
		worth, ok := b.worth(crop)
		if !ok {
			return nil, b.unit, b.needs
		}
		if !(target > 0) || !(scatter > 0) || !(ctx.Spacing > 0) {
			b.need(evenstand.TopicPlanter, "the target rate and the spacing of the rows", "seed_rate_target in the logs, row_spacing_m "+b.card())
			return nil, b.unit, b.needs
		}
		const d = 0.02
		apart := 1 / (target * ctx.Spacing)
		lost := r.spaced(math.Max(0, scatter-d)*apart, (scatter+d)*apart, b.yields)
		for i := range out {
			out[i] = lost[i] * b.yields[i] * worth / (2 * d)
		}
	default:
		b.need(evenstand.TopicNone, "a published relation, of which there is none here", "")
		return nil, b.unit, b.needs
	}
	return out, b.unit, nil
}

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

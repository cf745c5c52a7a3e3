package price

import (
	"math"
	"strings"

	"evenstand"
)

// Shift is a change of how rows plant: what another part or setting does to
// them.
type Shift struct {
	Kind evenstand.HarmKind // MissingSeeds, ExtraSeeds or Uneven
	// By is the change by draw: of the share of places due that are empty or
	// double, or of the variance of plant spacing in m2.
	By []float64
}

// Shifted is what shifts are worth.
type Shifted struct {
	Unit    string
	Gain    []float64   // per m2 by draw, what is saved less what is lost; nil: none is priced
	Each    [][]float64 // by shift; nil where it is not priced
	Needs   []evenstand.Need
	Assumed string
	Sources []string
}

// Worth prices changes of how rows plant at so many seeds per m2, on the common
// draws of the report: the relations of the findings, with their sign. There are
// N draws of each shift.
func Worth(ctx Context, crop string, target float64, shifts []Shift) Shifted {
	r := drawRanks(ctx.Seed)
	s := ctx.Settings
	b := &bill{f: &evenstand.Finding{}, ctx: ctx, unit: "bu", yields: r.yields(s.Yield)}
	if !math.IsNaN(s.Price) {
		b.unit = s.Currency
	}
	if crop == "" {
		if crop = s.Crop; crop == "" {
			crop = "corn"
		}
		b.assume("The card names no crop of the rows: taken as " + crop + ", which the book's price and yield goal are of.")
	}
	out := Shifted{Unit: b.unit, Each: make([][]float64, len(shifts)), Needs: []evenstand.Need{}, Sources: []string{}}
	agree := b.agree(crop)
	for i, x := range shifts {
		if agree {
			out.Each[i] = b.shift(r, crop, target, x)
		}
		if out.Each[i] == nil {
			continue
		}
		out.Sources = append(out.Sources, map[evenstand.HarmKind]string{evenstand.MissingSeeds: "R2-skip", evenstand.ExtraSeeds: "R3-double", evenstand.Uneven: "R4-spacing-sd"}[x.Kind])
		if out.Gain == nil {
			out.Gain = make([]float64, N)
		}
		for k, g := range out.Each[i] {
			out.Gain[k] += g
		}
	}
	out.Needs = append(out.Needs, b.needs...)
	out.Assumed = strings.Join(b.assumed, " ")
	return out
}

// shift gives what one change saves per m2 by draw, nil where it cannot be said.
func (b *bill) shift(r *ranks, crop string, target float64, x Shift) []float64 {
	out := make([]float64, N)
	switch x.Kind {
	case evenstand.MissingSeeds:
		worth, ok := b.worth(crop)
		if !b.corn(crop, "skip") || !ok {
			return nil
		}
		skip := r.skips(target, nil)
		for i := range out {
			out[i] = -x.By[i] * skip[i] * b.yields[i] * worth
		}
	case evenstand.ExtraSeeds:
		if math.IsNaN(target) {
			b.need(evenstand.TopicLogs, "the target rate", "seed_rate_target in the logs")
			return nil
		}
		if !b.seedPrice() {
			return nil
		}
		plant := 0.0
		if worth, ok := b.worth(crop); ok && b.corn(crop, "double") && target > 0 {
			plant = worth / target
		}
		lost := r.doubles()
		for i := range out {
			out[i] = -x.By[i] * target * (b.ctx.Settings.Seed + plant*b.yields[i]*lost[i])
		}
	case evenstand.Uneven:
		worth, ok := b.worth(crop)
		if !b.corn(crop, "spacing") || !ok {
			return nil
		}
		// A planter that spaces well is the better of the two: R4 begins there, as
		// for findings.
		for i := range out {
			lost := r.spacedBy(i, usualSD, math.Sqrt(usualSD*usualSD+math.Abs(x.By[i])), b.yields[i])
			out[i] = -math.Copysign(lost, x.By[i]) * b.yields[i] * worth
		}
	default:
		b.need(evenstand.TopicNone, "a relation for "+string(x.Kind), "")
		return nil
	}
	return out
}

// usualSD is the SD of plant spacing in m of a planter that spaces well: 2 in, at
// which R4's older line begins (core/find says the same of a row that bounces).
const usualSD = 2 * 0.0254

// Quantiles gives the 10th, 50th and 90th percentile of draws.
func Quantiles(xs []float64) evenstand.Range { return quantiles(xs) }

package price

import (
	"math"
	"slices"

	"evenstand"
	"evenstand/core/relation"
)

// haltMinutes is what a stop takes beside the work itself: to stop, lift and
// lock, and to go on (judgement).
const haltMinutes = 3

// haltLeast is the share of the price of a stop from which on a loss is worth a
// word where going on pays.
const haltLeast = 0.25

// Halt weighs a stop now for what is open against going on to the next fill,
// until which the whole planter plants so much ground, m2: what is lost by then
// (the loss per area of each, times the chance that acting cures it), against
// what the stop costs beyond a stop for the same work during the fill. Findings
// are those of one planter that were priced. It names those for which the stop
// pays, or, where it pays for none, those that come next; false where there is
// nothing to weigh, or neither labour nor machine has a price.
func Halt(fs []*evenstand.Finding, of func(*evenstand.Finding) Context, until float64) (f evenstand.Finding, ok bool) {
	type item struct {
		f              *evenstand.Finding
		low, mid, high float64 // saved by the fill
		minutes        float64
	}
	var items []item
	perHour, unit := math.NaN(), ""
	var draws *ranks
	for _, x := range fs {
		ctx := of(x)
		if x.Stage != evenstand.Raised || !x.Waits() || x.Until != nil || len(x.Causes) == 0 || !(x.Money.PerArea.Mid > 0) || len(x.Rows) > 0 && ctx.Rows == 0 {
			continue
		}
		if w := Usual(x.Kind); w != evenstand.Now && w != evenstand.NextStop {
			continue
		}
		r, known := relation.RemedyFor(x.Kind, x.Causes[0].Cause)
		if !known || r.Minutes == 0 || r.Who != "operator" {
			continue
		}
		if draws == nil {
			draws = drawRanks(ctx.Seed)
		}
		b := &bill{f: x, ctx: ctx, unit: x.Money.Unit, yields: draws.yields(ctx.Settings.Yield)}
		if b.unit == "bu" || unit != "" && unit != b.unit {
			continue
		}
		area := until
		if left := ctx.FieldLeft; left > 0 {
			area = math.Min(area, left)
		} else if left == 0 {
			continue
		}
		if len(x.Rows) > 0 {
			area *= math.Min(1, float64(len(x.Rows))/float64(ctx.Rows))
		}
		s := saves(x) * area
		items = append(items, item{x, s * float64(x.Money.PerArea.Low), s * float64(x.Money.PerArea.Mid), s * float64(x.Money.PerArea.High), float64(r.Minutes)})
		if ctx.Settings.Labour > 0 || ctx.Settings.Machine > 0 {
			perHour, unit = orZero(ctx.Settings.Labour)+orZero(ctx.Settings.Machine)+b.lostHour(), b.unit
		}
	}
	if len(items) == 0 || math.IsNaN(perHour) {
		return f, false
	}
	slices.SortStableFunc(items, func(a, b item) int { // most per minute first
		switch x, y := a.mid/a.minutes, b.mid/b.minutes; {
		case x > y:
			return -1
		case x < y:
			return 1
		}
		return 0
	})
	costs := func(minutes float64) float64 { // of the stop, beyond the same work during the fill
		return (haltMinutes + minutes - math.Max(0, minutes-fillMinutes)) / 60 * perHour
	}
	best, n := math.Inf(-1), 0
	var sum, kept item
	for i, x := range items {
		sum.low, sum.mid, sum.high, sum.minutes = sum.low+x.low, sum.mid+x.mid, sum.high+x.high, sum.minutes+x.minutes
		if gain := sum.mid - costs(sum.minutes); gain > best {
			best, n, kept = gain, i+1, sum
		}
	}
	cost := costs(kept.minutes)
	f = evenstand.Finding{
		Kind: evenstand.KindStopPays, Family: evenstand.KindStopPays, Stage: evenstand.Raised, Status: evenstand.Open, Grade: evenstand.GradeA,
		When: evenstand.Now,
	}
	if kept.mid <= cost {
		if kept.mid < haltLeast*cost {
			return evenstand.Finding{}, false
		}
		f.Kind, f.When = evenstand.KindGoOnPays, evenstand.Never
	}
	num := func(x float64) evenstand.Number { return evenstand.Number(x) }
	minutes := 0.0
	for _, x := range items[:n] {
		f.Rows = append(f.Rows, x.f.Rows...)
		f.Grade = max(f.Grade, x.f.Grade)
		minutes += x.minutes
		f.Planter, f.Day, f.Field = x.f.Planter, x.f.Day, x.f.Field
	}
	slices.Sort(f.Rows)
	f.Rows = slices.Compact(f.Rows)
	f.Evidence = []evenstand.Evidence{
		{Name: "lost by the next fill", Value: num(kept.mid), Low: num(kept.low), High: num(kept.high), N: num(float64(n)), Unit: unit},
		{Name: "the stop, beyond the same work during the fill", Value: num(cost), Low: evenstand.Unknown, High: evenstand.Unknown, N: evenstand.Unknown, Unit: unit},
		{Name: "planted by the next fill", Value: num(until), Low: evenstand.Unknown, High: evenstand.Unknown, N: evenstand.Unknown, Unit: "m2"},
		{Name: "minutes", Value: num(minutes), Low: evenstand.Unknown, High: evenstand.Unknown, N: evenstand.Unknown, Unit: "min"},
	}
	// What the better way saves over the other; no sum counts it, for the findings
	// themselves tell what there is to save.
	low, mid, high := kept.low-cost, kept.mid-cost, kept.high-cost
	if mid <= 0 {
		low, mid, high = -high, -mid, -low
	}
	f.Money = evenstand.Money{
		Unit: unit, Word: "likely", Needs: []evenstand.Need{},
		StillToSave: evenstand.ToSave{Low: num(max(0, low)), Mid: num(mid), High: num(high), Expected: num(mid), Basis: string(Field)},
	}
	f.Advice = evenstand.Advice{Minutes: int(math.Round(minutes)), Who: "operator", Cautions: []string{}}
	return f, true
}

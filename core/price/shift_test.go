package price

import (
	"math"
	"testing"

	"evenstand"
)

// By hand: a point of skips fewer at 4.50 a bushel and 200 bu/ac. R2 gives 0.5 to
// 1.0 plants for each that is missing, 0.8 the likely one: 9 dollars an acre of
// yield, 4.50 to 9 of it, and the same with the other sign. Doubles want a price
// of seed.
func TestWorth(t *testing.T) {
	ctx := Context{Settings: evenstand.NewSettings(), Seed: 1}
	kg := 56 * evenstand.Pound
	ctx.Settings.Price, ctx.Settings.Yield = 4.5/kg, 200*kg/evenstand.Acre
	by := make([]float64, N)
	for i := range by {
		by[i] = -0.01
	}
	w := Worth(ctx, "corn", 32000/evenstand.Acre, []Shift{{evenstand.MissingSeeds, by}, {evenstand.ExtraSeeds, by}})
	q := Quantiles(w.Gain)
	ac := func(n evenstand.Number) float64 { return float64(n) * evenstand.Acre }
	if ac(q.Low) < 4.5 || ac(q.High) > 9 || ac(q.Mid) < 6 || ac(q.Mid) > 7.6 {
		t.Errorf("%g to %g an acre, about %g", ac(q.Low), ac(q.High), ac(q.Mid))
	}
	if w.Each[1] != nil || len(w.Needs) != 1 || w.Unit != "USD" {
		t.Errorf("%+v", w.Needs)
	}
	for i := range by {
		by[i] = 0.01
	}
	worse := Worth(ctx, "corn", 32000/evenstand.Acre, []Shift{{evenstand.MissingSeeds, by}})
	for i := range by {
		if math.Abs(worse.Gain[i]+w.Gain[i]) > 1e-15 {
			t.Fatal("a loss is not a gain with the other sign")
		}
	}
	// Spacing: an SD that rises from 2 in to 3 costs the older line's 2.5 bu/ac at
	// most, and nothing at least.
	for i := range by {
		by[i] = (9 - 4) * 0.0254 * 0.0254
	}
	u := Worth(ctx, "corn", 32000/evenstand.Acre, []Shift{{evenstand.Uneven, by}})
	for _, g := range u.Gain {
		if ac(evenstand.Number(g)) > 0 || ac(evenstand.Number(g)) < -2.5*4.5-1e-9 {
			t.Fatalf("%g an acre", ac(evenstand.Number(g)))
		}
	}
	if got := Worth(ctx, "sunflower", 5, []Shift{{evenstand.MissingSeeds, by}}); got.Gain != nil || len(got.Needs) == 0 {
		t.Errorf("another crop is priced: %+v", got)
	}
}

package price

import (
	"math"
	"testing"

	"evenstand"
)

// By hand, as in TestWorth: a hundredth of all places empty costs 4.50 to 9
// dollars an acre at 4.50 a bushel and 200 bu/ac, so a unit costs a hundred times
// that. A scatter costs more where there is more of it, and what is missing is
// said.
func TestPerUnit(t *testing.T) {
	ctx := Context{Settings: evenstand.NewSettings(), Seed: 1, Spacing: 0.762}
	kg := 56 * evenstand.Pound
	ctx.Settings.Price, ctx.Settings.Yield = 4.5/kg, 200*kg/evenstand.Acre
	target := 32000 / evenstand.Acre
	mid := func(measure string, scatter float64) float64 {
		draws, unit, needs := PerUnit(measure, "corn", target, scatter, ctx)
		if draws == nil || unit != "USD" || len(needs) > 0 {
			t.Fatalf("%s: %s, %v", measure, unit, needs)
		}
		return float64(Quantiles(draws).Mid) * evenstand.Acre
	}
	if x := mid("skips", math.NaN()); x < 600 || x > 760 {
		t.Errorf("skips: %g an acre", x)
	}
	if a, b := mid("spacing", 0.2), mid("spacing", 0.3); !(a > 0) || !(b > a) {
		t.Errorf("spacing: %g at 20 %%, %g at 30 %%", a, b)
	}
	for _, measure := range []string{"doubles", "moisture"} { // no price of seed; no relation
		if draws, _, needs := PerUnit(measure, "corn", target, 0.2, ctx); draws != nil || len(needs) == 0 {
			t.Errorf("%s is priced without: %v", measure, needs)
		}
	}
	ctx.Spacing = math.NaN()
	if draws, _, needs := PerUnit("spacing", "corn", target, 0.2, ctx); draws != nil || len(needs) != 1 {
		t.Errorf("scatter without a spacing of rows: %v", needs)
	}
}

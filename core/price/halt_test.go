package price_test

import (
	"slices"
	"testing"

	"evenstand"
	"evenstand/core/price"
)

// By hand: a blocked cell of 30 loses $1.39 an acre of the planter on one row of
// 16 (56.25/30 x 0.7739 mid, times what acting saves of it). Ten acres on that is
// some $13 at most, fifty some $65; a stop of 13 minutes, at $25 of labour and
// $150 of machine, is $37.92, of which the 2 minutes beyond a fill's 8 would be
// paid at the fill as well: $32.08.
func TestHalt(t *testing.T) {
	ctx := farm()
	ctx.Settings.Labour, ctx.Settings.Machine = 25, 150
	of := func(*evenstand.Finding) price.Context { return ctx }
	open := func() *evenstand.Finding {
		f := finding(evenstand.KindBlockedCell, evenstand.CauseCell, missing(1.0/30, 1.0/16))
		f.Stage, f.Status = evenstand.Raised, evenstand.Open
		f.Money = price.Price(f, ctx)
		return f
	}
	for _, tt := range []struct {
		acres float64
		kind  string
	}{{2, ""}, {12, evenstand.KindGoOnPays}, {39, evenstand.KindStopPays}} {
		fs := []*evenstand.Finding{open()}
		f, ok := price.Halt(fs, of, tt.acres*evenstand.Acre)
		if ok != (tt.kind != "") || ok && f.Kind != tt.kind {
			t.Errorf("%g acres before the fill: %q, %v", tt.acres, f.Kind, ok)
			continue
		}
		if !ok {
			continue
		}
		i := slices.IndexFunc(f.Evidence, func(e evenstand.Evidence) bool {
			return e.Name == "the stop, beyond the same work during the fill"
		})
		within(t, "the stop", f.Evidence[i].Value, 11.0/60*175, 1e-9)
		i = slices.IndexFunc(f.Evidence, func(e evenstand.Evidence) bool { return e.Name == "lost by the next fill" })
		if per := float64(f.Evidence[i].Value) / tt.acres; per < 1.0 || per > 900.0/16/30*skip50*1.001 {
			t.Errorf("%g acres lose $%.2f each", tt.acres, per)
		}
	}
	// Where the field ends before the fill, no more is lost than it has left.
	ctx.FieldLeft = 2 * evenstand.Acre
	if f, ok := price.Halt([]*evenstand.Finding{open()}, of, 40*evenstand.Acre); ok {
		t.Errorf("2 acres are left: %s", f.Kind)
	}
	// An hour of the season lost (R21) makes the stop dearer.
	cost := func(season float64) float64 {
		c := ctx
		c.FieldLeft, c.Settings.Season = 200*evenstand.Acre, season
		f, ok := price.Halt([]*evenstand.Finding{open()}, func(*evenstand.Finding) price.Context { return c }, 100*evenstand.Acre)
		if !ok {
			t.Fatalf("nothing is weighed with a season of %g m2", season)
		}
		for _, e := range f.Evidence {
			if e.Name == "the stop, beyond the same work during the fill" {
				return float64(e.Value)
			}
		}
		return 0
	}
	if none, much := cost(0), cost(2500*evenstand.Acre); !(much > none && none > 30) {
		t.Errorf("the stop costs $%.2f with no season and $%.2f with 2,500 acres", none, much)
	}
	// A second row with the same trouble costs its minutes alone.
	ctx.FieldLeft = 100 * evenstand.Acre
	two := []*evenstand.Finding{open(), open()}
	two[1].Rows = evenstand.Rows{9}
	f, ok := price.Halt(two, of, 39*evenstand.Acre)
	if !ok || f.Kind != evenstand.KindStopPays || !slices.Equal(f.Rows, evenstand.Rows{7, 9}) || f.Advice.Minutes != 20 {
		t.Errorf("two rows: %+v", f)
	}
	// Without a price of labour or machine nothing is weighed.
	ctx = farm()
	if f, ok := price.Halt([]*evenstand.Finding{open()}, of, 39*evenstand.Acre); ok {
		t.Errorf("no price of a stop: %s", f.Kind)
	}
}

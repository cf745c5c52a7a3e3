package cover_test

import (
	"math"
	"testing"

	"evenstand/core/measure/cover"
)

// By hand: two passes north, 6 m wide and 100 m long, side by side with 2 m of
// overlap, at 1 and 2 kg/ha; the second pass again over its first half.
func TestDoses(t *testing.T) {
	pass := func(n int, e, to, rate float64) cover.Dosed {
		return cover.Dosed{Swath: cover.Swath{Pass: n, Left: -3, Right: 3, At: []cover.Pose{{E: e, N: 0}, {E: e, N: to}}}, Rate: rate}
	}
	ps := cover.Doses([]cover.Dosed{pass(0, 0, 100, 1e-4), pass(1, 4, 100, 2e-4), pass(2, 4, 50, 2e-4)}, 0.5, 10)
	worked, amount, most := 0.0, 0.0, 0.0
	by := map[int]float64{}
	for i := range ps {
		worked += ps[i].Worked
		amount += ps[i].Amount()
		for k, d := range ps[i].Passes {
			by[d.Pass] += d.Amount
			if k > 0 && d.Pass <= ps[i].Passes[k-1].Pass {
				t.Errorf("passes %+v are out of order", ps[i].Passes)
			}
		}
		if ps[i].Worked > 100.001 {
			t.Errorf("a square of %g m2", ps[i].Worked)
		}
		most = max(most, ps[i].Amount()/ps[i].Worked)
	}
	if math.Abs(worked-1000) > 1e-6 {
		t.Errorf("%g m2 worked, want 1,000", worked)
	}
	if want := 600 * (1e-4 + 2e-4 + 1e-4); math.Abs(amount-want) > 1e-9 {
		t.Errorf("%g kg, want %g", amount, want)
	}
	if math.Abs(by[2]-0.06) > 1e-9 {
		t.Errorf("the third pass put on %g kg, want 0.06", by[2])
	}
	if most > 5e-4+1e-12 || most < 3e-4 {
		t.Errorf("at most %g kg/m2", most)
	}
}

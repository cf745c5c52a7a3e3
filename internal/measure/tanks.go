package main

import (
	"fmt"
	"math"

	"evenstand"
	"evenstand/sim/score"
)

// tankFigures say how far off the ground is that tanks and seed boxes were said
// to do when they were filled, and whether leaks and meters were told apart.
func tankFigures(r *result, add func(r *result, v Verdict, what, target, value string, a ...any)) {
	for _, of := range []string{"seed", "starter"} {
		n, in, square, bias := 0, 0, 0.0, 0.0
		for _, m := range r.report.Matches {
			l := m.Lasts
			if l == nil || l.Of != of {
				continue
			}
			n++
			if l.Inside() {
				in++
			}
			d := (l.Mid - l.True) / evenstand.Acre
			square, bias = square+d*d, bias+d
		}
		if n == 0 {
			continue
		}
		share := float64(in) / float64(n)
		v := judge(share >= 0.85 && share <= 0.95)
		if n < 40 {
			v = Told
		}
		add(r, v, fmt.Sprintf("acres left of %s when it was filled, %d days: inside the 90 %% interval", of, r.sum.Days), "0.85 to 0.95", "%d/%d = %.2f; error %.2f acres rms, bias %.2f", in, n, share, math.Sqrt(square/float64(n)), bias/float64(n))
	}
	var told score.Share
	for _, m := range r.report.Matches {
		if m.Kind == evenstand.KindTankDisagrees && m.Detectable {
			if told.Of++; m.CauseRight {
				told.N++
			}
		}
	}
	if told.Of > 0 {
		told.Share = evenstand.Number(float64(told.N) / float64(told.Of))
		add(r, judge(told.Share >= 0.85), fmt.Sprintf("a leak and a meter that is off told apart, %d days", r.sum.Days), "≥ 0.85", "%s", told)
	}
}

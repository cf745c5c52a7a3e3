package effect_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"evenstand"
	"evenstand/core/stat"
	"evenstand/core/try"
	"evenstand/core/try/effect"
)

// Seasons with a known curve: the 90 % intervals of differences along it.
func TestCurve(t *testing.T) {
	truth := func(s, bend float64) float64 { // s from 0 to 1
		return 2*s + bend*(s-0.5)*(s-0.5)
	}
	for _, tt := range []struct {
		name    string
		changes int
		bend    float64
		tau     float64
		mixed   bool
		chained bool
	}{
		{"2, line", 2, 0, 0, false, false},
		{"2, line, spread", 2, 0, 0.3, false, false},
		{"2, line, mixed designs", 2, 0, 0.1, true, false},
		{"3, line", 3, 0, 0, false, false},
		{"3, line, spread", 3, 0, 0.3, false, false},
		{"3, line, mixed designs", 3, 0, 0.1, true, false},
		{"3, slight bend", 3, 1, 0.3, false, false},
		{"6", 6, 4, 0, false, false},
		{"6, spread", 6, 4, 0.3, false, false},
		{"6, mixed designs", 6, 4, 0, true, false},
		{"6, mixed designs, spread", 6, 4, 0.3, true, false},
		{"6, one after the other", 6, 4, 0.1, false, true},
		{"12", 12, 4, 0, false, false},
		{"12, spread", 12, 4, 0.3, false, false},
		{"12, mixed designs", 12, 4, 0, true, false},
		{"12, mixed designs, spread", 12, 4, 0.3, true, false},
		{"12, one after the other", 12, 4, 0.1, false, true},
	} {
		t.Run(tt.name, func(t *testing.T) {
			var c tally
			for i := range runs(t) {
				rnd := rand.New(rand.NewPCG(uint64(i), stream(5)))
				var es []try.Effect
				at, wrong := 0.5, rnd.NormFloat64()
				for k := range tt.changes {
					to := at
					for math.Abs(to-at) < 0.1 {
						to = min(1, max(0, at+0.7*(rnd.Float64()-0.5)))
					}
					sd, df, design := 0.1, 20.0, try.HalfRows
					if tt.mixed && rnd.IntN(2) == 0 {
						sd, df, design = 0.6, 40, try.AllRows
					}
					se := sd * math.Sqrt(chi(rnd, df)/df)
					e := try.Effect{Change: try.Change{Lever: "x", From: 10 + 20*at, To: 10 + 20*to, T: evenstand.Micros(k) * 7200 * second}, Measure: "trash", Design: design, SE: se, DF: df, Before: math.NaN()}
					if tt.chained { // each middle is shared
						e.Change.T = evenstand.Micros(k) * 300 * second
						next := rnd.NormFloat64()
						e.Value = sd * (next - wrong) / math.Sqrt2
						wrong = next
					} else {
						e.Value = sd * rnd.NormFloat64()
					}
					e.Change.Early, e.Change.Late = e.Change.T, e.Change.T
					e.Value += truth(to, tt.bend) - truth(at, tt.bend) + tt.tau*rnd.NormFloat64()
					es = append(es, e)
					at = to
				}
				curve, ok := effect.Join(es, "x", "trash")
				if !ok {
					c.unknown++
					continue
				}
				// Somewhere within what was tried.
				from := curve.Low + rnd.Float64()*(curve.High-curve.Low)
				to := curve.Low + rnd.Float64()*(curve.High-curve.Low)
				m, se := curve.Diff(from, to)
				h := stat.StudentQuantile(0.95, curve.DF) * se
				c.add(m, m-h, m+h, truth((to-10)/20, tt.bend)-truth((from-10)/20, tt.bend))
			}
			c.tell(t, tt.name)
			check(t, c)
		})
	}
}

func chi(rnd *rand.Rand, df float64) float64 {
	s := 0.0
	for range int(df) {
		x := rnd.NormFloat64()
		s += x * x
	}
	return s
}

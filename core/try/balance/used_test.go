package balance

import (
	"fmt"
	"math"
	"os"
	"testing"

	"evenstand"
	"evenstand/core/stat"
	"evenstand/core/try"
	"evenstand/core/try/effect"
)

// TestSeasonsAsUsed goes the whole way of the program, from effects by curves to
// advice, through seasons as in TestSeasons: half of the rows try, and what was
// tried is kept or set back. EVENSTAND_SEASONS is how many seasons, a tenth of
// those of TestSeasons.
func TestSeasonsAsUsed(t *testing.T) {
	runs := 30
	if s := os.Getenv("EVENSTAND_SEASONS"); s != "" {
		fmt.Sscan(s, &runs)
		runs /= 10
	}
	const noise = 0.25 // a quarter of the spread, to which a try lasts
	var totals, lasts, stays evenstand.Moments
	over, tries, verdicts := 0, 0, map[Verdict]int{}
	for run := range runs {
		r := stat.NewRand(stream(12), fmt.Sprint("as used ", run))
		tr := drawTruth(r)
		now := 0.5
		var es []try.Effect
		total := 0.0
		measure := func(at evenstand.Micros, from, to float64) {
			for _, m := range []struct {
				id    string
				value float64
			}{{"skips", tr.regret(to) - tr.regret(from)}, {"trash", tr.second(to) - tr.second(from)}} {
				es = append(es, try.Effect{
					Change: try.Change{Lever: "x", T: at, Early: at, Late: at, From: from, To: to}, Measure: m.id, Design: try.HalfRows,
					Value: m.value + noise*r.NormFloat64(), SE: noise, DF: 14, Steps: 40, Changed: 8, Control: 8,
				})
			}
		}
		for k := range 10 {
			p := &Problem{
				Lever: "x", Low: 0, High: 1, Now: now, Tried: math.NaN(), ByRows: true, Rows: 16, Width: 12.2, Speed: 2, PassLength: 600,
				Left: float64(10-k) * 40 * stretchLen * 12.2, Worth: 0.02, Seed: uint64(run), Effects: es,
				Aims: []Aim{
					{Measure: "skips", Price: 1, Least: math.NaN(), Most: math.NaN(), Now: 1, NowSE: 0.05, Spread: 1, RowSD: 1.6},
					{Measure: "trash", Least: math.NaN(), Most: tr.most, Now: tr.second(now), NowSE: 0.1, Spread: 1, RowSD: 1.6},
				},
			}
			for i := range p.Aims {
				c, ok := effect.Join(es, "x", p.Aims[i].Measure)
				for e := range es {
					if !ok && es[e].Measure == p.Aims[i].Measure {
						c, ok = One(&es[e])
					}
				}
				if ok {
					p.Aims[i].Curve = c
				}
			}
			a := Next(p)
			verdicts[a.Verdict]++
			total += tr.regret(now)
			if a.Verdict != Try && a.Verdict != Back {
				continue
			}
			tries++
			if tr.second(a.Next) > tr.most {
				over++
			}
			total += (tr.regret(a.Next) - tr.regret(now)) / 2 // half of the rows
			measure(evenstand.Micros(k)*3600*evenstand.Second, now, a.Next)
			p.Tried, p.TriedRows, p.TriedSteps, p.TriedSince, p.Effects = a.Next, a.TriedRows(), 1000, evenstand.Micros(k)*3600*evenstand.Second, es
			for i := range p.Aims {
				if c, ok := effect.Join(es, "x", p.Aims[i].Measure); ok {
					p.Aims[i].Curve = c
				} else {
					for e := range es {
						if es[e].Measure == p.Aims[i].Measure {
							p.Aims[i].Curve, _ = One(&es[e])
						}
					}
				}
			}
			b := Next(p)
			verdicts[b.Verdict]++
			if b.Verdict == Keep {
				now = a.Next
			}
		}
		totals.Add(total)
		lasts.Add(tr.regret(now))
		stays.Add(10 * tr.regret(0.5))
	}
	se := func(m evenstand.Moments) float64 { return m.SD() / math.Sqrt(m.N) }
	t.Logf("%d seasons with a limit: total %.2f ± %.2f (left alone %.2f), at the end %.3f ± %.3f; %d of %d tries over the limit; %v",
		runs, totals.Mean(), se(totals), stays.Mean(), lasts.Mean(), se(lasts), over, tries, verdicts)
	if totals.Mean() >= stays.Mean() || lasts.Mean() >= stays.Mean()/10 {
		t.Error("no better than leaving it alone")
	}
	if float64(over) > 0.1*float64(tries)+2*math.Sqrt(0.09*float64(tries)) {
		t.Errorf("%d of %d tries over the limit, said is at most a tenth", over, tries)
	}
}

package main

import (
	"fmt"
	"math"

	"evenstand"
	"evenstand/sim/score"
)

// clockFigures draws the figures of clocks that nobody declared: how far what
// was told lies from the truth, and whether the stated errors hold it.
func clockFigures(r *result, add func(r *result, v Verdict, what, target, value string, a ...any)) {
	const goodHours, goodStops = 1, 4 // what a log must hold to be demanded
	share := func(n, of int) score.Share {
		s := score.Share{N: n, Of: of, Share: evenstand.Unknown}
		if of > 0 {
			s.Share = evenstand.Number(float64(n) / float64(of))
		}
		return s
	}
	between := func(s score.Share) Verdict {
		if s.Of < 20 {
			return Untried
		}
		return judge(s.Share >= 0.85 && s.Share <= 0.95)
	}
	for _, x := range []struct {
		box, what string
		most      float64 // s; 0 no target
	}{
		{"planter controller", "by its speed, a value a second, against a receiver of five places a second", 0.040},
		{"seed monitor", "by its seeds, whose fall to the sensor is not known", 0},
	} {
		n, told, near, inside := 0, 0, 0, 0
		sq, worst := 0.0, 0.0
		kinds := map[string]int{}
		for _, c := range r.report.Clocks {
			if c.Box != x.box || c.Hours < goodHours || c.Stops < goodStops {
				continue
			}
			n++
			e := math.Abs(float64(c.Wrong))
			if math.IsNaN(e) {
				continue
			}
			told++
			kinds[c.Kind]++
			sq += e * e
			worst = math.Max(worst, e)
			if e <= x.most {
				near++
			}
			if e <= float64(c.Said) {
				inside++
			}
		}
		all := fmt.Sprintf("rms %.3f s, worst %.3f; %d told of %d (%d far, %d adrift, %d in local time, %d parts of days on which it was set, %d silent for a while)",
			math.Sqrt(sq/float64(told)), worst, told, n, kinds["far"], kinds["adrift"], kinds["local time"], kinds["set"], kinds["silent"])
		if x.most > 0 {
			s := share(near, told)
			v := judge(s.Share >= 0.95)
			if told < 20 {
				v = Untried
			}
			add(r, v, "clocks told "+x.what, fmt.Sprintf("≥ 0.95 within %.0f ms", 1000*x.most), "%s; %s", s, all)
		} else {
			add(r, Told, "clocks told "+x.what, "", "%s", all)
		}
		s := share(inside, told)
		add(r, between(s), "the stated error of these clocks holds the truth", "0.85 to 0.95", "%s", s)
	}
	in, of := 0, 0
	sq, seeds := 0.0, 0.0
	for _, p := range r.report.Places {
		in, of = in+p.In.N, of+p.In.Of
		sq += float64(p.N) * float64(p.RMS) * float64(p.RMS)
		seeds += float64(p.N)
	}
	s := share(in, of)
	add(r, between(s), "places of seeds within the stated error, clocks told by the logs", "0.85 to 0.95", "%s; rms %.2f m", s, math.Sqrt(sq/seeds))
	add(r, judge(len(r.report.False) == 0), "false findings, clocks told by the logs", "0", "%d in %.1f machine-hours; clock-off found %s", len(r.report.False), r.sum.Hours, r.sum.All.Recall)
}

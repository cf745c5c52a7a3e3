package find

import (
	"cmp"
	"math"
	"slices"

	"evenstand"
	"evenstand/core/measure/cover"
)

// What counts as near a limit, and on how much ground.
const (
	capNear   = 0.9   // of the limit
	capSide   = 10.0  // m: the squares that amounts are summed up on (judgement)
	capLine   = 1.0   // m between the lines that sum them up
	capLeast  = 40.0  // m2 of a square worked: less is a few readings of a few rows
	capGround = 500.0 // m2, an eighth of an acre: less ground than that is a corner (judgement)
	capAgain  = 0.5   // of a pass on ground worked before: it is a second pass, no overlap

	// Standard errors of amounts: a flow meter 2 to 3 %, granules 3 to 5 %
	// (agronomy, calibration C15, of memory and judgement).
	liquidError  = 0.025
	granuleError = 0.04
)

// Cap is a limit of a product with what went on of it in a season.
type Cap struct {
	Limit evenstand.ProductLimit
	Doses []cover.Dosed // numbers of the passes are those of the field
	Mixed bool          // other products went onto the same rows
}

// capDose is what went onto some ground.
type capDose struct {
	dose, ground float64
	pass         int // that brought it near the limit; -1 none did
	cause        string
}

// LabelCap says of a product whether what went on nears or passes the limit that
// was entered; nil where it does not.
func (f *Field) LabelCap(c Cap) *evenstand.Finding {
	places := cover.Doses(c.Doses, capLine, capSide)
	one, all := f.capPasses(places, c.Limit.Pass), f.capSeason(places, c.Limit.Season)
	ones, alls := capLevel(one)/c.Limit.Pass, capLevel(all)/c.Limit.Season
	if !(ones >= capNear) && !(alls >= capNear) {
		return nil
	}
	ds, limit := all, c.Limit.Season
	byPass := ones > alls || math.IsNaN(alls)
	if byPass {
		ds, limit = one, c.Limit.Pass
	}
	// It is there from the pass on with which enough ground was near the limit.
	near := slices.DeleteFunc(slices.Clone(ds), func(d capDose) bool { return d.pass < 0 })
	slices.SortStableFunc(near, func(a, b capDose) int { return cmp.Compare(a.pass, b.pass) })
	since, sum, over, causes := len(f.Passes)-1, 0.0, 0.0, map[string]float64{}
	var passes []int
	for _, d := range near {
		if sum += d.ground; sum >= capGround {
			since = min(since, d.pass)
		}
		if d.dose > limit {
			over += d.ground
		}
		causes[d.cause] += d.ground
		passes = append(passes, d.pass)
	}
	x := f.finding(evenstand.KindLabelCap, passes, nil)
	p := f.Passes[since]
	x.Since, x.SinceLow, x.SinceHigh, x.Alarm, x.Day, x.Planter = p.Start, p.Start, p.End, p.End, p.Day, p.Planter
	rel, unit := liquidError, "m3/m2"
	if c.Limit.Applied == evenstand.AppliedGranular {
		rel, unit = granuleError, "kg/m2"
	}
	if e := f.edge(); !math.IsNaN(e) { // two edges of a pass across a square
		rel = math.Hypot(rel, math.Sqrt2*e/1.645/capSide)
	}
	say := func(what string, level, limit float64) {
		if !math.IsNaN(level) && !math.IsNaN(limit) {
			x.Evidence = append(x.Evidence, ev("most of "+c.Limit.Name+" "+what, level, level*(1-1.645*rel), level*(1+1.645*rel), nan, unit),
				ev("limit of "+c.Limit.Name+" "+what, limit, nan, nan, nan, unit))
		}
	}
	first, second := func() { say("in the season", capLevel(all), c.Limit.Season) }, func() { say("in one pass", capLevel(one), c.Limit.Pass) }
	if byPass {
		first, second = second, first
	}
	first()
	second()
	x.Evidence = append(x.Evidence, ev("ground over the limit", over, nan, nan, nan, "m2"), ev("ground near the limit or over it", sum, nan, nan, nan, "m2"))
	x.Causes = normalise(
		evenstand.Cause{Cause: evenstand.CauseProductOverlap, Probability: causes[evenstand.CauseProductOverlap] + 0.03*sum},
		evenstand.Cause{Cause: evenstand.CauseTwoPasses, Probability: causes[evenstand.CauseTwoPasses] + 0.03*sum},
		evenstand.Cause{Cause: evenstand.CauseProductRate, Probability: causes[evenstand.CauseProductRate] + 0.03*sum},
	)
	if c.Mixed {
		x.Say = append(x.Say, "How much of it was "+c.Limit.Name+": cannot say, other products went onto the same rows and the log holds their sum; to find out: weigh what its own tank lost.")
	}
	return x
}

// edge is the middle error of the places of edges.
func (f *Field) edge() float64 {
	var errs []float64
	for i := range f.Swaths {
		if e := f.Swaths[i].Error; !math.IsNaN(e) {
			errs = append(errs, e)
		}
	}
	if len(errs) == 0 {
		return nan
	}
	slices.Sort(errs)
	return errs[len(errs)/2]
}

// capPasses gives what single passes put on each place, against a limit.
func (f *Field) capPasses(places []cover.Place, limit float64) (out []capDose) {
	for i := range places {
		for _, d := range places[i].Passes {
			if d.Worked < capLeast {
				continue
			}
			x := capDose{d.Amount / d.Worked, d.Worked, -1, evenstand.CauseProductRate}
			if x.dose >= capNear*limit {
				x.pass = d.Pass
			}
			out = append(out, x)
		}
	}
	return out
}

// capSeason gives what went onto each place in all, against a limit, and why.
func (f *Field) capSeason(places []cover.Place, limit float64) (out []capDose) {
	work, again := make([]float64, len(f.Passes)), make([]float64, len(f.Passes))
	for i := range places {
		p := &places[i]
		sum := 0.0
		for _, d := range p.Passes {
			sum += d.Worked
		}
		twice := sum > 1.1*p.Worked // else passes that lie beside one another share the square
		before := 0.0
		for _, d := range p.Passes {
			work[d.Pass] += d.Worked
			if twice {
				again[d.Pass] += min(d.Worked, before)
			}
			before += d.Worked
		}
	}
	for i := range places {
		p := &places[i]
		if p.Worked < capLeast {
			continue
		}
		x := capDose{p.Amount() / p.Worked, p.Worked, -1, evenstand.CauseProductOverlap}
		sum := 0.0
		for _, d := range p.Passes {
			if sum += d.Amount; sum/p.Worked < capNear*limit || x.pass >= 0 {
				continue
			}
			x.pass = d.Pass
			switch {
			case d.Amount/d.Worked >= capNear*limit:
				x.cause = evenstand.CauseProductRate
			case again[d.Pass] >= capAgain*work[d.Pass]:
				x.cause = evenstand.CauseTwoPasses
			}
		}
		out = append(out, x)
	}
	return out
}

// capLevel is the amount that is reached on so much ground that it is no corner;
// NaN where there is less.
func capLevel(ds []capDose) float64 {
	slices.SortStableFunc(ds, func(a, b capDose) int { return cmp.Compare(b.dose, a.dose) })
	sum := 0.0
	for _, d := range ds {
		if sum += d.ground; sum >= capGround {
			return d.dose
		}
	}
	return nan
}

package verify

import (
	"fmt"
	"math"
	"strings"

	"evenstand"
	"evenstand/core/advise"
)

// CheckBack gives the answer with its sentence; by is what armed it: done, fix,
// setting.
func (t *Test) CheckBack(by string, v advise.Voice) evenstand.CheckBack {
	kept := *t // several may ask one test
	t = &kept
	c := t.Answer()
	c.By = by
	c.Says = t.say(&c, v)
	if c.Course == nil {
		c.Course = []evenstand.CheckPoint{}
	}
	return c
}

// Silent is the answer where planting does not tell.
func Silent(p Plan, by string, at evenstand.Micros) evenstand.CheckBack {
	t := New(Spec{Plan: p, At: at})
	c := t.Answer()
	c.By, c.Course = by, []evenstand.CheckPoint{}
	c.Says = "Planting cannot tell whether it worked. " + p.Why
	return c
}

// say puts the answer into one sentence.
func (t *Test) say(c *evenstand.CheckBack, v advise.Voice) string {
	val := func(x evenstand.Number) string { return value(t, float64(x), v) }
	name := t.spec.Plan.Measure
	if t.spec.Plan.How == None {
		return "Planting cannot tell whether it worked. " + t.spec.Plan.Why
	}
	if t.spec.Few && t.spec.Change {
		return "It cannot be told: too few of the other rows were left as they were."
	}
	if c.Since == evenstand.NoTime {
		return "Not yet known: it counts from the next lowering on" + t.willTell(c, v) + "."
	}
	if !(c.Seen > 0) {
		return "Not yet known: the first two turns of the disc do not count."
	}
	peers := ""
	if !math.IsNaN(float64(c.Peers)) && !ratios(name) {
		peers = "; the other rows have " + val(c.Peers)
	}
	if t.rows == nil {
		peers = t.against(v)
	}
	went := name + " went from " + val(c.Before) + " to " + val(c.After) + peers
	are := name + " " + be(name) + " " + val(c.After) + ", " + val(c.Before) + " before" + peers
	took := ""
	if c.Decided != nil {
		took = ", known since " + v.Clock(*c.Decided) + v.On(*c.Decided)
	}
	switch {
	case c.Verdict == evenstand.VerdictWorked && t.spec.Change:
		return "Better: " + went + took + "."
	case c.Verdict == evenstand.VerdictWorked:
		return "Worked: " + went + took + "."
	case c.CameBack:
		return "It had worked and came back" + took + ": " + are + "."
	case c.Verdict == evenstand.VerdictFailed && t.spec.Change:
		return "Worse: " + went + took + "."
	case c.Verdict == evenstand.VerdictFailed:
		return "Did not work: " + are + took + "."
	}
	so := "So far " + are + "."
	switch {
	case t.spec.Change:
		return "No difference in skips, doubles or spacing that could be told yet. " + so
	case !t.clear():
		return "It cannot be told: " + t.unclear() + " " + so
	case c.NeedSeen > 0 && !(c.NeedSeconds > dayOfPlanting):
		return "Not yet known, " + t.needs(c, v) + ". " + so
	}
	return "Not yet known, and not in a day of planting: it lies near the line between worked and not, " + val(c.Line) + ". " + so
}

// against says what all rows are held against, which have no others beside them.
func (t *Test) against(v advise.Voice) string {
	switch p := &t.spec.Plan; {
	case !math.IsNaN(p.Limit):
		return "; the limit is " + value(t, p.Limit, v)
	case p.Ratio > 0:
		return "; held against the target"
	case t.spec.Change || t.level[past].N >= fewMeans || t.own[past].n >= pastLeast:
		return "; it is of all rows, held against the time before"
	}
	return "; it is of all rows, held against what is usual"
}

// willTell says, before anything is counted, how much will tell: ; about 900 seeds
// of row 7 (35 s) will tell if it is gone.
func (t *Test) willTell(c *evenstand.CheckBack, v advise.Voice) string {
	if !t.clear() || !(c.NeedSeen > 0) || c.NeedSeconds > dayOfPlanting {
		return ""
	}
	needs := strings.Replace(strings.Replace(t.needs(c, v), " more seed", " seed", 1), " more ", " ", 1)
	if n := len(t.spec.Rows); n > 0 && n <= 3 && c.Of == "seeds" {
		of := " of " + advise.Lower(advise.Rows(t.spec.Rows))
		if at := strings.Index(needs, " ("); at >= 0 {
			needs = needs[:at] + of + needs[at:]
		} else {
			needs += of
		}
	}
	return "; " + needs + " will tell if it is gone"
}

// dayOfPlanting is beyond how many seconds of planting nobody waits for a verdict
// (judgement).
const dayOfPlanting = 10 * 3600

// needs says what is still needed: about 400 more seeds (16 s).
func (t *Test) needs(c *evenstand.CheckBack, v advise.Voice) string {
	var in []string
	if s := float64(c.NeedSeconds); s > 0 {
		in = append(in, span(s))
	}
	if a := float64(c.NeedArea); a > 0.2*evenstand.Acre {
		in = append(in, v.Area(round(a)))
	}
	n := int64(math.Max(1, round(float64(c.NeedSeen))))
	s := "about " + advise.Plural(n, "more seed", "more seeds")
	if c.Of == "stretches" {
		if len(in) > 0 {
			return "about " + in[0] + " more of planting" + strings.Join(append([]string{""}, in[1:]...), ", ")
		}
		s = "about " + advise.Plural(n, "more stretch", "more stretches")
	}
	if len(in) > 0 {
		s += " (" + strings.Join(in, ", ") + ")"
	}
	return s
}

// round keeps two digits.
func round(x float64) float64 {
	if !(x > 0) {
		return 0
	}
	p := math.Pow(10, math.Floor(math.Log10(x))-1)
	if p < 1 && x >= 1 {
		p = 1
	}
	return math.Round(x/p) * p
}

func span(s float64) string {
	switch {
	case s < 90:
		return fmt.Sprintf("%.0f s", math.Max(1, math.Round(s)))
	case s < 5400:
		return fmt.Sprintf("%.0f min", math.Round(s/60))
	}
	return fmt.Sprintf("%.1f h", s/3600)
}

// clear tells whether the past allows a verdict at all.
func (t *Test) clear() bool {
	switch t.spec.Plan.How {
	case ByMean:
		g, _ := t.means()
		return g.known
	case ByGone:
		g := t.shares()
		if _, ok := t.gone(&g, counts{}); ok {
			return true
		}
	}
	g := t.shares()
	return g.known
}

// unclear says why not.
func (t *Test) unclear() string {
	if t.spec.Plan.How == ByMean {
		if _, _, df := t.spread.Of(); df < fewMeans {
			return "too little of the time before is in the logs."
		}
		return "it did not stand out from what is usual by more than chance allows."
	}
	if n := t.own[trouble].n; n < 100 {
		return "too little of the time before is in the logs."
	}
	return "it did not stand out from what is usual by more than chance allows."
}

func be(name string) string {
	switch name {
	case Skips, Doubles, NoSeed, Seeding, WheelsOff:
		return "are"
	}
	return "is"
}

// value writes a value of the measure.
func value(t *Test, x float64, v advise.Voice) string {
	switch p := t.spec.Plan; p.Measure {
	case Liquid, DryProduct:
		of := " of what was asked for"
		if t.beside() {
			of = " of the other rows'"
		}
		return v.Percent(x) + of
	case Seeding:
		return v.Percent(x) + " of the target"
	case ForceSwing, Load:
		return v.Load(x)
	}
	return v.Value(x, units[t.spec.Plan.Measure])
}

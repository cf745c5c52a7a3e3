package advise

import (
	"math"
	"strings"

	"evenstand"
)

// The words of evidence about what is on board; the name of what it is of stands
// behind them.
const (
	leftOf   = "left: "
	fillUpOf = "to fill up: "
	usedOf   = "used since the last fill: "
)

// of gives the first figure whose name begins like this, with the rest of its
// name.
func of(f *evenstand.Finding, begins string) (e evenstand.Evidence, name string, ok bool) {
	for _, e := range f.Evidence {
		if name, ok := strings.CutPrefix(e.Name, begins); ok {
			return e, name, true
		}
	}
	return e, "", false
}

// tanks says what runs out, or what is off with what is in the tanks.
func (v Voice) tanks(f *evenstand.Finding, since string) string {
	switch f.Kind {
	case evenstand.KindRefillSoon:
		return v.runsOut(f)
	case evenstand.KindFillImbalance:
		for _, e := range f.Evidence {
			if strings.HasSuffix(e.Name, ", a row") {
				what := strings.TrimSuffix(strings.Replace(strings.Replace(e.Name, " from tank ", " out of tank ", 1), " over tank ", " than out of tank ", 1), ", a row")
				name, rest, _ := strings.Cut(what, " out of ")
				from, than, _ := strings.Cut(rest, " than out of ")
				return Rows(f.Rows) + " got " + v.Percent(float64(e.Value)-1) + " more " + name + " a row out of " + from + " than the others out of " + than + since
			}
		}
		return "Tanks empty unevenly" + since
	}
	k, name, ok := of(f, "went out by the tank over what the meter shows: ")
	if lost, name, leaks := of(f, "lost beside the meter: "); leaks && first(f) == evenstand.CauseLeak {
		return v.Volume(float64(lost.Value)) + " of " + name + " went out of the tank that the meter did not see" + since
	}
	if !ok {
		return "Tank and meter disagree" + since
	}
	x := float64(k.Value)
	more, by := "more", x-1
	if x < 1 {
		more, by = "less", 1-x
	}
	s := "The ground got " + v.Percent(by) + " " + more + " " + name + " than the meter shows"
	if shown, ok := Figure(f, "went out by the meter"); ok {
		s += ": " + v.Volume(x*shown) + " by the tank, " + v.Volume(shown) + " by the meter"
	}
	return s
}

// first is the likeliest cause.
func first(f *evenstand.Finding) string {
	if len(f.Causes) == 0 {
		return ""
	}
	return f.Causes[0].Cause
}

// runsOut says what runs out first, how far it goes and until when.
func (v Voice) runsOut(f *evenstand.Finding) string {
	left, name, ok := of(f, leftOf)
	if !ok {
		return "Seed or product runs out soon"
	}
	name = Capital(name)
	if f.Until != nil && v.dayEnd(*f.Until) {
		return name + " ran low at " + v.Clock(f.Since) + v.On(f.Since)
	}
	if f.Until != nil {
		return name + " ran low at " + v.Clock(f.Since) + v.On(f.Since) + " and was filled at " + v.Clock(*f.Until)
	}
	about := ", about " + v.Value(float64(left.Value), left.Unit) + " left"
	far := ""
	for _, e := range f.Evidence {
		switch {
		case e.Name == "lasts":
			far = v.span(e, func(x float64) string { return v.Area(x) })
		case e.Name == "passes" && float64(e.High) >= 1:
			far = numbers(math.Floor(float64(e.Low)), math.Ceil(float64(e.High))) + " passes, " + far
		}
	}
	if from, to, ok := v.lastsUntil(f); ok {
		return name + " runs out between " + from + " and " + to + ": " + far + about
	}
	return name + " runs out first: " + far + about
}

// lastsUntil gives the times between which it runs out when the work goes on as
// it did.
func (v Voice) lastsUntil(f *evenstand.Finding) (from, to string, ok bool) {
	for _, e := range f.Evidence {
		if e.Name == "lasts for" && v.AsOf > 0 && evenstand.DayOf(v.AsOf, v.zone()) == evenstand.DayOf(f.Since, v.zone()) {
			at := func(n evenstand.Number) string { return v.Clock(v.AsOf + evenstand.FromSeconds(60*float64(n))) }
			return at(e.Low), at(e.High), true
		}
	}
	return "", "", false
}

// span writes an interval with its unit once: 14 to 18 ac.
func (v Voice) span(e evenstand.Evidence, write func(float64) string) string {
	low, high := write(float64(e.Low)), write(float64(e.High))
	n, unit, ok := strings.Cut(low, " ")
	if ok && strings.HasSuffix(high, " "+unit) {
		low = n
	}
	return low + " to " + high
}

func numbers(low, high float64) string {
	if low == high {
		return Digits(low)
	}
	return Digits(low) + " to " + Digits(high)
}

// leastFill is what is worth a tender's way: 10 gal (judgement).
const leastFill = 10 * evenstand.Gallon

// ask says what to have brought, and by when.
func (v Voice) ask(f *evenstand.Finding) string {
	var want, names []string
	sums := map[string]evenstand.Evidence{}
	for _, e := range f.Evidence {
		name, ok := strings.CutPrefix(e.Name, fillUpOf)
		if !ok {
			if name, ok = strings.CutPrefix(e.Name, usedOf); !ok {
				continue
			}
		}
		if _, have := sums[name]; !have {
			names = append(names, name)
		}
		e.Value += sums[name].Value
		sums[name] = e
	}
	for _, name := range names {
		e := sums[name]
		switch x := float64(e.Value); {
		case e.Unit == "m3" && x > leastFill:
			step := 5 * evenstand.Gallon
			if v.metric() {
				step = 0.02
			}
			want = append(want, v.Volume(math.Ceil(x/step-1e-9)*step)+" of "+name)
		case e.Unit == "units" && x >= 1:
			want = append(want, v.Value(math.Ceil(x), e.Unit)+" of "+name)
		}
	}
	if len(want) == 0 {
		return ""
	}
	s := "Have " + and(want, "and") + " at the field"
	if f.Field != "" && f.Field != evenstand.Unassigned {
		s = "Have " + and(want, "and") + " at " + f.Field
	}
	if from, _, ok := v.lastsUntil(f); ok {
		s += " by " + from
	}
	return s + "."
}

// Aboard says what is on board of one thing and how far it goes; several says
// that there is more than one tank.
func (v Voice) Aboard(o *evenstand.OnBoard, crop string, several bool) string {
	name := Capital(o.Of)
	if o.Tank > 0 && several {
		name += ", tank " + Digits(float64(o.Tank))
	}
	left, unit := float64(o.Left), o.Unit
	if n, ok := evenstand.SeedsPerUnit(crop); ok && unit == "seeds" {
		left, unit = left/n, "units"
	}
	const z = 1.6448536269514722 // normal quantile of 0.95
	a, sd := float64(o.Area), float64(o.AreaSD)
	s := name + ": about " + v.Value(left, unit) + " left"
	if !math.IsNaN(a) && !math.IsNaN(sd) {
		s += ", for " + v.span(evenstand.Evidence{Low: evenstand.Number(math.Max(0, a-z*sd)), High: evenstand.Number(a + z*sd)}, v.Area)
	}
	return s + "."
}

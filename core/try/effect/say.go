package effect

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"evenstand"
	"evenstand/core/advise"
	"evenstand/core/measure/group"
	"evenstand/core/record"
	"evenstand/core/stat"
	"evenstand/core/try"
)

// Verdict is what may be said of an effect.
type Verdict string

// The verdicts.
const (
	Less   Verdict = "less"
	More   Verdict = "more"
	Same   Verdict = "no difference that could be seen"
	Cannot Verdict = "cannot tell"
)

// matters is the difference of each measure, in its unit, that an interval must be
// able to rule out for "no difference" to be said; of rates as a share of what was
// before. Judgement, no source.
func matters(measure string, before float64) float64 {
	switch measure {
	case "skips", "doubles", "moisture":
		return 0.01
	case "spacing", "wheel-off", "trash":
		return 0.02
	case "load":
		return 30 * evenstand.PoundForce
	case "temperature":
		return 1
	}
	return 0.05 * math.Abs(before)
}

// aside is the chance on one side at which an effect is called less or more. In
// worlds that the errors were not made for intervals miss a little more often than
// they say, so it is under the 5 % that a null effect may be called
// (docs/measured.md).
const aside = 0.035

// beyond tells whether an effect is called more than x, 1, less than it, -1, or
// neither, 0.
func (f *Found) beyond(x float64) int {
	h := stat.StudentQuantile(1-aside, f.DF) * f.SE
	switch {
	case f.Value-h > x:
		return 1
	case f.Value+h < x:
		return -1
	}
	return 0
}

// Verdict judges: too little to be named; beyond chance on one side; within what
// would matter; or neither.
func (f *Found) Verdict() Verdict {
	switch {
	case f.Why != None || !f.Known():
		return Cannot
	case math.Max(-f.Low, f.High) <= matters(f.Measure, f.Before)/4:
		return Same // whatever side of nothing it lies
	case f.beyond(0) < 0:
		return Less
	case f.beyond(0) > 0:
		return More
	case f.Low <= 0 && f.High >= 0 && math.Max(-f.Low, f.High) <= matters(f.Measure, f.Before):
		return Same
	}
	return Cannot
}

// Difference writes a difference of a measure: 3.1 points, 20 lb.
func Difference(x float64, unit string, v advise.Voice) string {
	x = math.Abs(x)
	switch unit {
	case "fraction":
		d := advise.Digits(100 * x)
		if d == "1" {
			return "1 point"
		}
		return d + " points"
	case "degC":
		unit = "K"
	}
	s := v.Scale(unit)
	return strings.TrimSpace(advise.Digits(x/s.Scale) + " " + s.Unit)
}

// Setting writes what a lever stood at, in the units that people set it in.
func Setting(lever string, x float64, state string, v advise.Voice) string {
	n, u := setting(lever, x, state, v)
	return strings.TrimSpace(n + " " + u)
}

func setting(lever string, x float64, state string, v advise.Voice) (number, unit string) {
	if state != "" {
		return state, ""
	}
	if math.IsNaN(x) {
		return "", ""
	}
	name, shown := "", ""
	metric := v.Units == evenstand.Metric
	if q, ok := evenstand.ParseQuantity(lever); ok {
		if name = q.Info().US; metric {
			name = q.Info().Metric
		}
		switch shown = name; name {
		case "lbf":
			shown = "lb"
		case "kgf":
			shown = "kg"
		case "inH2O":
			shown = "in of water"
		case "1/ac":
			shown = "seeds/ac"
		case "1/ha":
			shown = "seeds/ha"
		case "1/min":
			shown = "rpm"
		}
	} else if lever == try.Depth {
		if name, shown = "in", "in"; metric {
			name, shown = "cm", "cm"
		}
	}
	if u, err := evenstand.ParseUnit(name); err == nil {
		x = u.FromSI(x)
	}
	three, err := strconv.ParseFloat(strconv.FormatFloat(x, 'g', 3, 64), 64)
	if err != nil {
		three = x
	}
	number = strconv.FormatFloat(three, 'f', -1, 64)
	if three == math.Trunc(three) {
		number = advise.Thousands(int64(three))
	}
	return number, shown
}

// SaySetting writes where a lever stands: 22 psi, or automatic; empty: nobody
// knows.
func SaySetting(lever string, x float64, state string, v advise.Voice) string {
	number, unit := setting(lever, x, state, v)
	return strings.TrimSpace(number + " " + unit)
}

// SayChange writes a change: Row-cleaner pressure 30 to 22 psi at 2:05 pm, rows 1
// to 8.
func SayChange(c *try.Change, v advise.Voice) string {
	s := SayLever(c)
	from, unit := setting(c.Lever, c.From, c.FromState, v)
	to, _ := setting(c.Lever, c.To, c.ToState, v)
	switch {
	case from != "" && to != "":
		s += " " + from + " to " + to
	case to != "":
		s += " set to " + to
	default:
		s += " changed"
		unit = ""
	}
	if _, u := setting(c.Lever, c.To, c.ToState, v); unit == "" && to != "" {
		unit = u
	}
	if unit != "" {
		s += " " + unit
	}
	s += " at " + v.Clock(c.T) + v.On(c.T)
	if len(c.Rows) > 0 {
		return s + ", " + advise.Lower(advise.Rows(c.Rows))
	}
	return s + ", all rows"
}

// SayLever names a lever, and its side where it has several: Vacuum of the left
// side.
func SayLever(c *try.Change) string {
	s := advise.Capital(record.LeverSay(c.Lever))
	if c.Side != "" && len(c.Rows) > 0 {
		s += " of the " + c.Side + " side"
	}
	return s
}

// label names a measure in a sentence.
func label(id string) string {
	switch id {
	case "population":
		return "seeds planted"
	case "wheel-off":
		return "gauge wheels off the ground"
	}
	if m, ok := group.ByID(id); ok {
		return m.Label
	}
	return id
}

// Say writes one effect as a part of a sentence: trash in the slot 3.1 points less
// (2.2 to 4.0). It is empty where nothing told the measure.
func (f *Found) Say(v advise.Voice) string {
	m, _ := group.ByID(f.Measure)
	name := label(f.Measure)
	if f.Why == Silent {
		return ""
	}
	if f.Why != None {
		return name + " " + string(Cannot) + ": " + f.Why.say()
	}
	switch f.Verdict() {
	case Less:
		return name + " " + Difference(f.Value, m.Unit, v) + " less (" + span(f.High, f.Low, m.Unit, v) + ")"
	case More:
		return name + " " + Difference(f.Value, m.Unit, v) + " more (" + span(f.Low, f.High, m.Unit, v) + ")"
	case Same:
		return name + " no difference that " + advise.Plural(int64(f.Steps), "stretch", "stretches") + " could show (within " + Difference(math.Max(-f.Low, f.High), m.Unit, v) + ")"
	}
	return name + " " + string(Cannot) + " (" + f.either(m.Unit, v) + ")"
}

// either writes an interval of which nothing is called.
func (f *Found) either(unit string, v advise.Voice) string {
	switch {
	case f.Low >= 0:
		return span(f.Low, f.High, unit, v) + " " + string(More)
	case f.High <= 0:
		return span(f.High, f.Low, unit, v) + " " + string(Less)
	}
	return "between " + Difference(f.Low, unit, v) + " less and " + Difference(f.High, unit, v) + " more"
}

// span writes the ends of an interval, the unit being said already.
func span(a, b float64, unit string, v advise.Voice) string {
	bare := func(x float64) string {
		n, _, _ := strings.Cut(Difference(x, unit, v), " ")
		return n
	}
	return bare(a) + " to " + bare(b)
}

func (w Why) say() string {
	switch w {
	case Short:
		return "too little was planted on one side of it, in one field and without another change"
	case Mixed:
		return "another setting was changed on the same rows at the same time"
	case Lonely:
		return "fewer than three rows were left as they were"
	case Again:
		return "it goes back and forth, and is told under the first of those changes"
	case Drives:
		return "it goes with another setting that was changed at that time, and is told under that"
	case Unmoved:
		return "the speed did not vary enough; four passes, half a mile an hour faster and slower by turns, would tell"
	case Silent:
		return "no box told it"
	}
	return ""
}

// Head writes what was changed, with what came with it.
func Head(fs []Found, v advise.Voice) string {
	if len(fs) == 0 {
		return ""
	}
	head := SayChange(&fs[0].Change, v)
	if fs[0].Design == BySpeed {
		c := &fs[0].Change
		from, unit := setting(c.Lever, c.From, "", v)
		to, _ := setting(c.Lever, c.To, "", v)
		head = "Speed from " + from + " to " + to + " " + unit + v.On(c.T)
	}
	if with := fs[0].with(); with != "" && fs[0].Why != Drives {
		head += ", and " + with + " with it"
	}
	return head
}

// with names what was changed with a change.
func (f *Found) with() string {
	var with []string
	for i := range f.With {
		with = append(with, record.LeverSay(f.With[i].Lever))
	}
	return strings.Join(with, ", ")
}

// Say writes what followed a change, measure by measure.
func Say(fs []Found, v advise.Voice) string {
	if len(fs) == 0 {
		return ""
	}
	head := Head(fs, v)
	if with := fs[0].with(); with != "" && fs[0].Why == Drives {
		return head + ": goes with " + with + " and is told under that."
	}
	if why := oneWhy(fs); why != None {
		if why == Again {
			return head + ": " + why.say() + "."
		}
		return head + ": " + string(Cannot) + ", " + why.ofAll() + "."
	}
	var parts, same, cannot []string
	var not whys
	steps := 0
	for i := range fs {
		f := &fs[i]
		m, _ := group.ByID(f.Measure)
		switch say := f.Say(v); {
		case say == "":
		case f.Why != None:
			not.add(f)
		case f.Verdict() == Same:
			steps = max(steps, f.Steps)
			within := ""
			if len(same) == 0 {
				within = "within "
			}
			same = append(same, label(f.Measure)+" ("+within+Difference(math.Max(-f.Low, f.High), m.Unit, v)+")")
		case f.Verdict() == Cannot:
			cannot = append(cannot, strings.Replace(say, " "+string(Cannot), "", 1))
		default:
			parts = append(parts, say)
		}
	}
	var said []string
	if len(parts) > 0 {
		said = append(said, strings.Join(parts, ", "))
	}
	if len(same) > 0 {
		said = append(said, "no difference that "+advise.Plural(int64(steps), "stretch", "stretches")+" could show: "+strings.Join(same, ", "))
	}
	if cannot = append(cannot, not.say()...); len(cannot) > 0 {
		said = append(said, string(Cannot)+": "+strings.Join(cannot, ", "))
	}
	for i := range said[min(1, len(said)):] {
		said[i+1] = advise.Capital(said[i+1])
	}
	s := head + ": " + strings.Join(said, ". ") + "."
	if aside := Aside(fs, v); aside != "" {
		s += " " + aside
	}
	return s
}

// Aside says which rows were left out, and what would tell more where all rows were
// changed at once; empty: neither.
func Aside(fs []Found, v advise.Voice) string {
	s := sayOut(fs)
	for i := range fs {
		if f := &fs[i]; f.Design == try.AllRows && f.Verdict() == Cannot && f.Why == None {
			way := 2000 * evenstand.Foot
			if v.Units == evenstand.Metric {
				way = 600
			}
			s += " All rows were changed at once; half of them, changed for " + v.Length(way) + ", would tell far more."
			break
		}
	}
	return strings.TrimSpace(s)
}

// sayOut says which rows were left out, and of what where not of all.
func sayOut(fs []Found) string {
	var out evenstand.Rows
	var of []string
	told := 0
	for i := range fs {
		f := &fs[i]
		if f.Why != None {
			continue
		}
		if told++; len(f.Out) > 0 {
			out, of = append(out, f.Out...), append(of, label(f.Measure))
		}
	}
	if len(out) == 0 {
		return ""
	}
	slices.Sort(out)
	out = slices.Compact(out)
	s := " " + advise.Capital(advise.Rows(out)) + " left out"
	if len(of) < told {
		s += " of " + strings.Join(of, ", ")
	}
	if len(out) > 1 {
		return s + ": something else was wrong with them."
	}
	return s + ": something else was wrong with it."
}

// SayCurve writes a curve from end to end of what was tried: Row-cleaner pressure
// from 10 to 40 psi, 6 changes: trash in the slot 9 points less (7 to 11).
func SayCurve(c *try.Curve, v advise.Voice) string {
	return CurveOf(c, "", v) + ": " + CurveDid(c, v) + "."
}

// CurveOf says what a curve is of: Row-cleaner pressure from 10 to 40 psi, 6
// changes; with the side where all were made on one.
func CurveOf(c *try.Curve, side string, v advise.Voice) string {
	from, unit := setting(c.Lever, c.Low, "", v)
	to, _ := setting(c.Lever, c.High, "", v)
	if c.Lever == evenstand.GroundSpeed.String() {
		return "Speed from " + from + " to " + to + " " + unit + ", " + advise.Plural(int64(c.Changes), "day", "days")
	}
	s := advise.Capital(record.LeverSay(c.Lever))
	if side != "" {
		s += " of the " + side + " side"
	}
	return s + " from " + from + " to " + to + " " + unit + ", " + advise.Plural(int64(c.Changes), "change", "changes")
}

// CurveDid says what a curve does to its measure from end to end: trash in the slot
// 9 points less (7 to 11).
func CurveDid(c *try.Curve, v advise.Voice) string {
	m, _ := group.ByID(c.Measure)
	d, se := c.Diff(c.Low, c.High)
	h := quantile(c.DF) * se
	f := Found{Effect: try.Effect{Measure: c.Measure, Before: c.Level, Value: d, SE: se, DF: c.DF, Low: d - h, High: d + h}}
	s := label(c.Measure) + " "
	switch f.Verdict() {
	case Less:
		return s + Difference(d, m.Unit, v) + " less (" + span(f.High, f.Low, m.Unit, v) + ")"
	case More:
		return s + Difference(d, m.Unit, v) + " more (" + span(f.Low, f.High, m.Unit, v) + ")"
	case Same:
		return s + string(Same) + " (within " + Difference(math.Max(-f.Low, f.High), m.Unit, v) + ")"
	}
	return s + string(Cannot) + " (" + f.either(m.Unit, v) + ")"
}

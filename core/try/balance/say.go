package balance

import (
	"fmt"
	"math"
	"strings"

	"evenstand"
	"evenstand/core/advise"
	"evenstand/core/measure/group"
	"evenstand/core/try"
)

// Said is advice in words.
type Said struct {
	Sentence string   // what to do
	Do       string   // how, as an advice; empty where there is nothing to do
	Expect   string   // what it is expected to bring; empty where that is not known
	Rests    string   // on what it rests
	Why      []string // why this one
	Note     string   // the line of the journal that says that it is tried; empty: none
	Rows     evenstand.Rows
}

// TriedRows are the rows that a try is made on; nil: all.
func (a *Advice) TriedRows() (out evenstand.Rows) {
	for r := range a.Rows {
		out = append(out, r+1)
	}
	return out
}

// Say puts advice into words. unit is what money is in; empty where J is
// weighed and has none.
func Say(p *Problem, a *Advice, unit string, v advise.Voice) Said {
	l, ok := LeverOf(p.Lever)
	if !ok {
		l = Lever{Name: p.Lever, Words: p.Lever, US: 1, Metric: 1}
	}
	s := Said{Rows: nil}
	s.Rests = rests(a)
	now, next := l.Say(a.Now, v), l.Say(a.Next, v)
	switch a.Verdict {
	case Try:
		s.Rows = a.TriedRows()
		s.Sentence = fmt.Sprintf("Try %s at %s %s", l.Words, next, howLong(a, v))
		if what := expected(p, a, unit, v); what != "" {
			s.Sentence += ": " + what
		}
		s.Sentence += "."
		s.Do = do(p, a, &l, v)
		s.Note = l.NoteOf(a.Now, a.Next, v)
	case Trying:
		s.Rows = p.TriedRows
		s.Sentence = fmt.Sprintf("Leave %s of %s at %s: %s of %s are planted, and then it can be told whether that is better.", l.Words, rowsSay(p.TriedRows), next,
			v.Length(float64(p.TriedSteps)*stretchLen), v.Length(float64(a.Stretches)*stretchLen))
	case Keep:
		s.Sentence = fmt.Sprintf("Set %s of all rows to %s, as %s have it: ", l.Words, next, rowsSay(p.TriedRows))
		if what := expected(p, a, unit, v); what != "" {
			s.Sentence += what + ", "
		}
		s.Sentence += "better than " + now + " with a chance of " + odds(a.Better, v) + "."
		s.Do = "Set " + l.Words + " of the other rows to " + next + " too."
		s.Note = l.NoteOf(a.Now, a.Next, v)
	case Undo:
		s.Rows = p.TriedRows
		s.Sentence = fmt.Sprintf("Set %s of %s back to %s: ", l.Words, rowsSay(p.TriedRows), now)
		switch tried := l.Say(p.Tried, v); {
		case !(p.Tried >= p.Low && p.Tried <= p.High):
			s.Sentence += fmt.Sprintf("%s is outside your limits of %s to %s.", tried, l.Say(p.Low, v), l.Say(p.High, v))
		case a.Over:
			s.Sentence += tried + " is too likely past your limits."
		default:
			s.Sentence += tried + " is no better."
		}
		s.Do = "Set them back, and write it down."
		s.Note = l.NoteOf(p.Tried, a.Now, v)
	case NotTold:
		s.Rows = p.TriedRows
		why := p.Untold
		if why == "" {
			why = "no effect of that change is known"
		}
		s.Sentence = fmt.Sprintf("What %s at %s on %s did could not be told: %s.", l.Words, next, rowsSay(p.TriedRows), why)
		if p.Wants != "" {
			s.Do = "What would tell: " + advise.Lower(p.Wants)
		}
	case Back:
		s.Sentence = fmt.Sprintf("Set %s to %s: at %s %s.", l.Words, next, now, past(a, v))
		s.Do = "Set " + l.Words + " to " + next + " on all rows, and look again after a pass or two."
		s.Note = l.NoteOf(a.Now, a.Next, v)
	case Settled:
		s.Sentence = fmt.Sprintf("Leave %s at %s: that another setting is better by a worthwhile amount is unlikely (%s).", l.Words, now, odds(a.Anything, v))
	case Stay:
		s.Sentence = fmt.Sprintf("Leave %s at %s for now: no setting within a step of it is expected to be better.", l.Words, now)
	case Costs:
		s.Sentence = fmt.Sprintf("Leave %s at %s for now: to try %s costs more than it is expected to bring.", l.Words, now, next)
	case Short:
		s.Sentence = fmt.Sprintf("Leave %s at %s: the %s still to plant are too few to tell whether %s is better.", l.Words, now, v.Area(p.Left), next)
	case NoRoom:
		if pastLimit(a) {
			s.Sentence = fmt.Sprintf("%s at %s: %s, and no setting within a step of it is known to be better.", advise.Capital(l.Words), now, past(a, v))
		} else {
			s.Sentence = fmt.Sprintf("Leave %s at %s: your limit of %s leaves no room that is safe enough.", l.Words, now, tightest(a))
		}
	default:
		s.Sentence = fmt.Sprintf("Cannot say what to try with %s.", l.Words)
	}
	s.Expect = bringSay(p, a, unit, v)
	s.Why = why(p, a, &l, unit, v)
	return s
}

// rowsSay writes rows within a sentence.
func rowsSay(r evenstand.Rows) string { return advise.Lower(advise.Rows(r)) }

// label is a measure in plain words.
func label(id string) string {
	if m, ok := group.ByID(id); ok {
		return m.Label
	}
	return id
}

func howLong(a *Advice, v advise.Voice) string {
	if a.Design == try.Switchback {
		return fmt.Sprintf("back and forth for %.0f passes", a.Passes)
	}
	where := ""
	if a.Rows > 0 {
		where = "on " + rowsSay(a.TriedRows()) + " "
	}
	if a.Minutes > 0 {
		return where + "for the next " + minutes(a.Minutes)
	}
	return where + "for the next " + v.Length(float64(a.Stretches)*stretchLen)
}

// minutes writes a time to the minute, from 20 on to five of them.
func minutes(x float64) string {
	n := math.Max(1, math.Round(x))
	if n > 20 {
		n = 5 * math.Ceil(x/5)
	}
	if n >= 120 {
		return advise.Digits(math.Round(n/30)/2) + " hours"
	}
	return advise.Plural(int64(n), "minute", "minutes")
}

func do(p *Problem, a *Advice, l *Lever, v advise.Voice) string {
	to := l.Say(a.Next, v)
	if a.Design == try.Switchback {
		return fmt.Sprintf("Drive a pass at %[1]s, two at %[2]s, one at %[1]s, and so on, %.0[3]f in all, and write each change down.", l.Say(a.Now, v), to, a.Passes)
	}
	long := v.Length(float64(a.Stretches) * stretchLen)
	if a.Minutes > 0 {
		long += ", about " + minutes(a.Minutes)
	}
	if a.Passes >= 1.5 {
		long += fmt.Sprintf(" or %.0f passes", math.Ceil(a.Passes))
	}
	return fmt.Sprintf("Set %s of %s only to %s and leave the others at %s: %s. Half of the rows tell in that time what all at once would not.",
		l.Words, rowsSay(a.TriedRows()), to, l.Say(a.Now, v), long)
}

// expected says what the try does to each response.
func expected(p *Problem, a *Advice, unit string, v advise.Voice) string {
	if a.First {
		return "nothing is known yet of what it does here, and this tells"
	}
	var parts []string
	if p.Lever == evenstand.GroundSpeed.String() && p.Fixed != nil {
		more := a.Next/a.Now - 1
		word := "more"
		if more < 0 {
			word = "less"
		}
		parts = append(parts, v.Percent(math.Round(100*math.Abs(more))/100)+" "+word+" ground an hour")
	}
	for i := range a.Moves {
		m := &a.Moves[i]
		if m.Price == 0 {
			continue
		}
		less := "less "
		if m.Mean > 0 {
			less = "more "
		}
		switch sure := within(-math.Abs(m.Mean), m.SE, math.NaN(), 0); {
		case sure >= 0.8:
			parts = append(parts, "likely "+fewer(less, m.Measure)+label(m.Measure))
		case sure >= 0.6:
			parts = append(parts, "perhaps "+fewer(less, m.Measure)+label(m.Measure))
		default:
			parts = append(parts, label(m.Measure)+" about as before")
		}
	}
	for _, c := range a.Limits {
		parts = append(parts, label(c.Measure)+" stays within your limit ("+odds(c.Next, v)+")")
	}
	if len(parts) > 1 {
		parts[len(parts)-1] = "and " + parts[len(parts)-1]
		if len(parts) == 2 {
			return parts[0] + " " + parts[1]
		}
	}
	return strings.Join(parts, ", ")
}

// fewer picks the word for what is counted.
func fewer(word, measure string) string {
	if word == "less " && (measure == "skips" || measure == "doubles") {
		return "fewer "
	}
	return word
}

// odds writes a chance in percent, never as certain.
func odds(p float64, v advise.Voice) string {
	switch {
	case p > 0.99:
		return "over 99%"
	case p < 0.01:
		return "under 1%"
	}
	return v.Percent(math.Round(100*p) / 100)
}

func pastLimit(a *Advice) bool {
	for _, c := range a.Limits {
		if c.Now < sure {
			return true
		}
	}
	return false
}

// past says which limits the present setting is likely past.
func past(a *Advice, v advise.Voice) string {
	var parts []string
	for _, c := range a.Limits {
		if c.Now < sure {
			parts = append(parts, label(c.Measure)+" is within your limit with "+odds(c.Now, v)+" only")
		}
	}
	if len(parts) == 0 {
		return "your limits together are kept with too little certainty"
	}
	return strings.Join(parts, ", ")
}

// tightest is the limit that leaves the least room.
func tightest(a *Advice) string {
	best := -1
	for i := range a.Limits {
		if best < 0 || a.Limits[i].Now < a.Limits[best].Now {
			best = i
		}
	}
	if best < 0 {
		return "the lever"
	}
	return label(a.Limits[best].Measure)
}

func rests(a *Advice) string {
	switch {
	case a.Changes == 0:
		return "Nothing was tried yet; the bands are what may be before that."
	case a.Lever == evenstand.GroundSpeed.String(): // it varies by itself
		return fmt.Sprintf("From the speeds of %s, by the same ground. Bands: 90%%.", advise.Plural(int64(a.Changes), "day", "days"))
	case a.Changes == 1:
		return "From 1 change, against rows and passes that did not change. Bands: 90%."
	}
	return fmt.Sprintf("From %d changes, against rows and passes that did not change. Bands: 90%%.", a.Changes)
}

// bringSay says what the try is expected to bring on what is left to plant.
func bringSay(p *Problem, a *Advice, unit string, v advise.Voice) string {
	if unit == "" || a.First || math.IsNaN(float64(a.Bring.Mid)) || a.Verdict != Try && a.Verdict != Costs && a.Verdict != Keep {
		return ""
	}
	r := a.Bring
	if lose := -float64(r.Low); lose > 0.5 {
		gain := evenstand.Range{Low: 0, Mid: r.Mid, High: evenstand.Number(math.Max(0, float64(r.High)))}
		loss := evenstand.Range{Low: evenstand.Number(lose), Mid: evenstand.Number(lose), High: evenstand.Number(lose)}
		return "Expected of it: " + v.Money(gain, unit) + " on the " + v.Area(p.Left) + " still to plant; it may cost " + v.Money(loss, unit) + "."
	}
	r.Low = evenstand.Number(math.Max(0, float64(r.Low)))
	r.High = evenstand.Number(math.Max(0, float64(r.High)))
	return "Expected of it: " + v.Money(r, unit) + " on the " + v.Area(p.Left) + " still to plant."
}

// why says why this setting and no other.
func why(p *Problem, a *Advice, l *Lever, unit string, v advise.Voice) (out []string) {
	add := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	if a.Verdict == Cannot {
		return nil
	}
	if !math.IsNaN(a.Next) && (a.Verdict == Try || a.Verdict == Costs || a.Verdict == Short || a.Verdict == Keep || a.Verdict == Trying) {
		if !a.First {
			add("%s is better than %s with a chance of %s.", l.Say(a.Next, v), l.Say(a.Now, v), odds(a.Better, v))
			if unit != "" {
				add("It is expected to save %s.", perArea(a, unit, v))
			}
		}
		switch {
		case a.Verdict == Keep || a.Verdict == Trying:
		case a.AtEnd:
			add("It is the end of the range that you set, %s to %s; nothing is tried beyond it.", l.Say(p.Low, v), l.Say(p.High, v))
		case a.FarAsAllowed:
			add("One try goes no further than a fifth of the range that you set, %s to %s.", l.Say(p.Low, v), l.Say(p.High, v))
		default:
			add("A smaller step tells less, a larger one may cost more while it is tried.")
		}
	}
	if a.AllowedHigh > a.AllowedLow && len(a.Limits) > 0 && (a.AllowedLow > p.Low || a.AllowedHigh < p.High) {
		add("Between %s and %s your limits are kept with a chance of 90%% or more, as far as is known.", l.Say(a.AllowedLow, v), l.Say(a.AllowedHigh, v))
	}
	for _, c := range a.Limits {
		if math.IsNaN(a.Next) {
			add("%s lies within your limit with a chance of %s.", advise.Capital(label(c.Measure)), odds(c.Now, v))
		} else {
			add("%s lies within your limit with a chance of %s now and %s there.", advise.Capital(label(c.Measure)), odds(c.Now, v), odds(c.Next, v))
		}
	}
	if !a.First {
		add("As things are known, %s would be best; a setting better than the present one by a worthwhile amount exists with a chance of %s.", l.Say(a.Best, v), odds(a.Anything, v))
	}
	if a.Verdict == Try {
		switch a.Design {
		case try.HalfRows:
			add("Half of the rows tell about %.0f times as much as all of them at once, for the others show what the ground did meanwhile.", math.Round(a.Tells))
			if alt := p.alternative(a); alt > 0 {
				add("If the rows cannot be set apart, set all of them back and forth by pass: %d passes tell as much.", alt)
			}
		case try.Switchback:
			add("It is set for all rows at once, so passes with and without it must be set against each other.")
		}
		if l.Name == evenstand.GroundSpeed.String() && p.Fixed != nil {
			add("What an hour costs is counted: a slower pass takes longer.")
		}
	}
	if a.Smooth {
		add("What it does is no simple curve with one best setting; it is followed point by point.")
	}
	return out
}

// alternative is how many passes back and forth tell as much.
func (p *Problem) alternative(a *Advice) int {
	if !(a.SE > 0) || a.Stretches == 0 {
		return 0
	}
	eight := a.SE * math.Sqrt(float64(a.Stretches)/halfSteps) * switchSE / halfSE
	n := 4 * math.Ceil(switchPasses*math.Pow(eight/a.SE, 2)/4)
	if n > mostPasses {
		return 0
	}
	return int(math.Max(4, n))
}

// perArea writes what a setting saves on an acre or a hectare.
func perArea(a *Advice, unit string, v advise.Voice) string {
	area, name := evenstand.Acre, "an acre"
	if v.Units == evenstand.Metric {
		area, name = evenstand.Hectare, "a hectare"
	}
	low, mid, high := float64(a.Gain.Low)*area, float64(a.Gain.Mid)*area, float64(a.Gain.High)*area
	sum := func(x float64) string {
		if x < 0 {
			return "-" + advise.Price(-x, unit)
		}
		return advise.Price(x, unit)
	}
	return fmt.Sprintf("%s %s, between %s and %s", sum(mid), name, sum(low), sum(high))
}

package record

import (
	"math"
	"strings"

	"evenstand"
	"evenstand/core/advise"
)

// checkBack writes a check-back: its sentence, and how the rate went as more was
// seen.
func (p *page) checkBack(c *evenstand.CheckBack) {
	p.text("  ", c.Says)
	if c.Measure == "" || len(c.Course) == 0 {
		return
	}
	p.line("")
	p.lines(CheckLines(c, p.o.Voice), 0, p.text)
}

// CheckLines gives the figures of a check-back in words, and the course of what
// came after.
func CheckLines(c *evenstand.CheckBack, v advise.Voice) []Line {
	out := CheckFigures(c, v)
	for _, p := range few(c.Course) {
		low, high := CheckValue(c, p.Low, v), CheckValue(c, p.High, v)
		says := CheckValue(c, p.After, v)
		if low != noTelling {
			says += " (" + low + " to " + high + ")"
		}
		one := "seed"
		if c.Of == "stretches" {
			one = "stretch"
		}
		out = append(out, Line{"after " + advise.Plural(int64(p.Seen), one, c.Of), says})
	}
	return out
}

// CheckFigures gives what it was before, what it is to come to, and what the
// other rows do.
func CheckFigures(c *evenstand.CheckBack, v advise.Voice) []Line {
	out := []Line{}
	if c.Measure == "" {
		return out
	}
	val := func(x evenstand.Number) string { return CheckValue(c, x, v) }
	add := func(what string, x evenstand.Number) {
		if !math.IsNaN(float64(x)) {
			out = append(out, Line{what, val(x)})
		}
	}
	add(c.Measure+" before", c.Before)
	add("usual on the ground since", c.Usual) // a finding has what was usual while it lasted
	add("must get past", c.Line)
	if !math.IsNaN(float64(c.Peers)) {
		says := val(c.Peers)
		if !math.IsNaN(float64(c.PeersLow)) {
			says += ", eight of ten " + val(c.PeersLow) + " to " + val(c.PeersHigh)
		}
		out = append(out, Line{"other rows since", says})
	}
	if c.Since != evenstand.NoTime {
		out = append(out, Line{"counted since", v.Clock(c.Since) + v.On(c.Since)})
	}
	return out
}

// fewPoints is how many points of a course are told in words.
const fewPoints = 5

func few(ps []evenstand.CheckPoint) []evenstand.CheckPoint {
	if len(ps) <= fewPoints {
		return ps
	}
	var out []evenstand.CheckPoint
	for i := range fewPoints {
		out = append(out, ps[i*(len(ps)-1)/(fewPoints-1)])
	}
	return out
}

const noTelling = "no telling yet"

// CheckValue writes a value of a check-back.
func CheckValue(c *evenstand.CheckBack, x evenstand.Number, v advise.Voice) string {
	if math.IsInf(float64(x), 0) || math.IsNaN(float64(x)) {
		return noTelling
	}
	return v.Value(float64(x), c.Unit)
}

// Changed is something that was done, with what came of it.
type Changed struct {
	Planter   string              `json:"planter"`
	T         evenstand.Micros    `json:"time"`
	By        string              `json:"by"`      // done, fix, setting
	Says      string              `json:"says"`    // what was done, or the finding that it was about
	Finding   string              `json:"finding"` // its id; empty: nothing was known to be wrong
	Rows      evenstand.Rows      `json:"rows"`    // empty: all
	CheckBack evenstand.CheckBack `json:"check_back"`
}

// ChangedGroup is what was done that has one verdict.
type ChangedGroup struct {
	Title   string    `json:"title"`
	Changed []Changed `json:"changed"`
}

// ChangedGroups parts what was done by what is known of it: what did not work
// first, for it waits.
func ChangedGroups(all []Changed) []ChangedGroup {
	var out []ChangedGroup
	for _, v := range []string{evenstand.VerdictFailed, evenstand.VerdictOpen, evenstand.VerdictWorked} {
		g := ChangedGroup{Title: advise.Capital(v)}
		for _, c := range all {
			if c.CheckBack.Verdict == v {
				g.Changed = append(g.Changed, c)
			}
		}
		if len(g.Changed) > 0 {
			out = append(out, g)
		}
	}
	return out
}

// RenderChanged writes what was done as text.
func RenderChanged(all []Changed, o Options) string {
	p := &page{o: o}
	if len(all) == 0 {
		p.line("Nothing is recorded as done, fixed or set.")
	}
	for i, g := range ChangedGroups(all) {
		if i > 0 {
			p.line("")
		}
		p.line(o.strong(g.Title))
		for _, c := range g.Changed {
			when := o.Voice.Clock(c.T) + o.Voice.On(c.T) + ": "
			p.text("  - ", when+c.Says)
			p.text("    ", c.CheckBack.Says)
			if c.Finding != "" {
				p.text("    ", "Finding "+c.Finding)
			}
		}
	}
	return p.b.String()
}

// Plain is a finding's sentence without the verdict before it.
func Plain(f *evenstand.Finding) string {
	for _, s := range []string{"Did not work: ", "Came back: "} {
		if rest, ok := strings.CutPrefix(f.Sentence, s); ok {
			return advise.Capital(rest)
		}
	}
	return f.Sentence
}

// Trouble says whose trouble a finding is, and which, without since what and why:
// Row 5 skips 2.9 of 100 seeds since 1:24 pm.
func Trouble(f *evenstand.Finding) string {
	s := strings.TrimSuffix(Plain(f), ".")
	for _, end := range []string{": ", ", where ", " (", ", and "} {
		s, _, _ = strings.Cut(s, end)
	}
	return s
}

// SayDecided answers who recorded something about a finding: what it is about, the
// time that was taken, and when it will be judged. What was done is in ds.
func SayDecided(f *evenstand.Finding, ds []Decision, taken bool, v advise.Voice) string {
	head := Trouble(f) + ": "
	d, ok := last(standing(ds)[f.ID])
	switch {
	case taken && !ok:
		return head + "open again."
	case taken && d.Status == evenstand.Acted:
		head += "taken back; what was done at " + clockDay(d.T, v) + " stands."
	case !ok:
		return head + "open."
	case d.Status == evenstand.SetAside:
		return head + "set aside."
	default:
		head += "recorded as done at " + clockDay(d.T, v) + "."
	}
	if f.CheckBack == nil {
		return head
	}
	return head + " " + f.CheckBack.Says
}

// clockDay writes a time with its day, also where that is the day of the logs: who
// records something may do so days later.
func clockDay(t evenstand.Micros, v advise.Voice) string {
	if on := v.On(t); on != "" {
		return v.Clock(t) + on
	}
	v.AsOf = t + 48*3600*evenstand.Second
	return v.Clock(t) + v.On(t)
}

// Since says what came of what was done, without the verdict where the
// finding's own sentence has it.
func Since(f *evenstand.Finding) string {
	if f.CheckBack == nil {
		return ""
	}
	if rest, ok := strings.CutPrefix(f.CheckBack.Says, "Did not work: "); ok && f.Failed() {
		return advise.Capital(rest)
	}
	return f.CheckBack.Says
}

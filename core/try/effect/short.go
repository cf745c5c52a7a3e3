package effect

import (
	"math"
	"strconv"
	"strings"

	"evenstand/core/advise"
	"evenstand/core/measure/group"
	"evenstand/core/try"
)

// oneWhy gives the one reason for which no measure tells anything, None where there
// are several or some tell. What no box told counts only where it is all there is.
func oneWhy(fs []Found) Why {
	out := Silent
	for i := range fs {
		switch w := fs[i].Why; {
		case w == Silent || w == out:
		case w == None || out != Silent:
			return None
		default:
			out = w
		}
	}
	return out
}

// ofAll says the one reason of all measures.
func (w Why) ofAll() string {
	if w == Silent {
		return "no box told on both sides of it what it may do"
	}
	return w.say()
}

// whys gathers measures by why they tell nothing, so that each reason is said once.
type whys struct {
	order []Why
	of    map[Why][]string
}

func (w *whys) add(f *Found) {
	if w.of == nil {
		w.of = map[Why][]string{}
	}
	if w.of[f.Why] == nil {
		w.order = append(w.order, f.Why)
	}
	w.of[f.Why] = append(w.of[f.Why], label(f.Measure))
}

func (w *whys) say() (out []string) {
	for _, why := range w.order {
		of := w.of[why]
		s := of[0]
		if n := len(of); n > 1 {
			s = strings.Join(of[:n-1], ", ") + " and " + of[n-1]
		}
		out = append(out, s+": "+why.say())
	}
	return out
}

// InShort writes what followed a change in one line: Skips 0.3 to 0.8 points less,
// 14 rows against 10.
func InShort(fs []Found, v advise.Voice) string {
	if len(fs) == 0 {
		return ""
	}
	switch why := oneWhy(fs); why {
	case None:
	case Drives:
		return "Goes with " + fs[0].with() + " and is told under that."
	case Again:
		return advise.Capital(why.say()) + "."
	default:
		return "Cannot be told: " + why.ofAll() + "."
	}
	var parts []string
	var by *Found
	same, all := false, true
	for i := range fs {
		f := &fs[i]
		if f.Why != None || !f.Known() {
			continue
		}
		if by == nil {
			by = f
		}
		all = all && f.Design == try.AllRows
		switch f.Verdict() {
		case Less, More:
			parts = append(parts, label(f.Measure)+" "+f.spanned(v))
		case Same:
			same = true
		}
	}
	switch {
	case len(parts) > 0:
		if s := by.against(); s != "" {
			parts = append(parts, s)
		}
		return advise.Capital(strings.Join(parts, ", ")) + "."
	case same:
		return "No difference seen yet."
	case all:
		return "Cannot be told yet: all rows were changed at once, and the ground changes too."
	}
	return "Cannot be told yet."
}

// spanned writes an effect that was called by the ends of its interval: 0.3 to 0.8
// points less.
func (f *Found) spanned(v advise.Voice) string {
	m, _ := group.ByID(f.Measure)
	_, unit, _ := strings.Cut(Difference(f.Value, m.Unit, v), " ")
	if unit == "point" {
		unit = "points"
	}
	a, b := f.Low, f.High
	if f.Value < 0 {
		a, b = b, a
	}
	if f.Low < 0 && f.High > 0 { // called at another level than that of the interval
		a = 0
	}
	return strings.TrimSpace(span(a, b, m.Unit, v)+" "+unit) + " " + string(f.Verdict())
}

// against says what an effect was held against.
func (f *Found) against() string {
	switch f.Design {
	case try.HalfRows:
		return advise.Plural(int64(f.Changed), "row", "rows") + " against " + advise.Thousands(int64(f.Control))
	case try.Switchback:
		return "set back and forth"
	case try.AllRows:
		return "all rows, after against before"
	}
	return ""
}

// InTable is an effect as a line of a table, in words.
type InTable struct {
	Measure    string `json:"measure"`
	Before     string `json:"before" doc:"Of the changed rows; empty: not known"`
	After      string `json:"after" doc:"Before and the difference: what the others did is off"`
	Difference string `json:"difference" doc:"Signed, with its unit; empty: none can be told"`
	Range      string `json:"range" doc:"Of 90 %"`
	From       string `json:"from" doc:"The rows and stretches that it rests on"`
	Verdict    string `json:"verdict" doc:"In words, with why where it cannot be told"`
}

// Tell writes an effect as a line of a table; false where no box told the measure.
func (f *Found) Tell(v advise.Voice) (InTable, bool) {
	if f.Why == Silent {
		return InTable{}, false
	}
	m, _ := group.ByID(f.Measure)
	t := InTable{Measure: advise.Capital(label(f.Measure))}
	if f.Why != None || !f.Known() {
		if t.Verdict = string(Cannot); f.Why != None {
			t.Verdict += ": " + f.Why.say()
		}
		return t, true
	}
	signed := func(x float64) string {
		s := Difference(x, m.Unit, v)
		switch n, _, _ := strings.Cut(s, " "); {
		case strings.Trim(n, "0.") == "":
			return s
		case x < 0:
			return "−" + s
		}
		return "+" + s
	}
	bare := func(x float64) string {
		n, _, _ := strings.Cut(signed(x), " ")
		return n
	}
	if !math.IsNaN(f.Before) {
		t.Before, t.After = v.Value(f.Before, m.Unit), v.Value(f.Before+f.Value, m.Unit)
		if m.Unit == "fraction" { // a difference of half a point must be seen
			percent := func(x float64) string { return strconv.FormatFloat(100*x, 'f', 1, 64) + "%" }
			t.Before, t.After = percent(f.Before), percent(f.Before+f.Value)
		}
	}
	t.Difference, t.Range = signed(f.Value), bare(f.Low)+" to "+bare(f.High)
	var from []string
	if s := f.against(); s != "" {
		from = append(from, s)
	}
	if f.Steps > 0 {
		from = append(from, advise.Plural(int64(f.Steps), "stretch", "stretches"))
	}
	t.From = strings.Join(from, ", ")
	switch d := f.Verdict(); d {
	case Same:
		t.Verdict = "no difference seen"
	case Cannot:
		t.Verdict = "cannot tell yet"
	default:
		t.Verdict = string(d)
	}
	return t, true
}

// UnmovedDays says once of a season on how many days the speed varied too little to
// tell anything; empty: on none.
func UnmovedDays(days [][]Found) string {
	n, of := 0, 0
	for _, fs := range days {
		if len(fs) == 0 {
			continue
		}
		if of++; oneWhy(fs) == Unmoved {
			n++
		}
	}
	switch {
	case n == 0:
		return ""
	case n == of && n == 1:
		return "Speed: " + Unmoved.say() + "."
	}
	return "On " + advise.Thousands(int64(n)) + " of " + advise.Plural(int64(of), "day", "days") + " " + Unmoved.say() + "."
}

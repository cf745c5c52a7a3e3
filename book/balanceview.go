package book

import (
	"slices"

	"evenstand"
	"evenstand/core/advise"
	measure "evenstand/core/measure/group"
	"evenstand/core/try"
)

// BalanceView is the balance as the command line and the page give it: SI, with
// how it is shown.
type BalanceView struct {
	Schema  int              `json:"schema"`
	Planter string           `json:"planter" doc:"Empty: no day with a pass has been read yet"`
	Day     evenstand.Day    `json:"day"`
	AsOf    evenstand.Micros `json:"as_of"`
	Levers  []LeverView      `json:"levers" doc:"Settings that somebody changed, logs or has set limits for; those with something to try first"`
}

// Shown is how values in SI are shown: (SI − offset) / scale.
type Shown struct {
	SI     string  `json:"si"`
	Unit   string  `json:"unit"`
	Scale  float64 `json:"scale"`
	Offset float64 `json:"offset"`
}

// LeverView is one setting: what to try, and why.
type LeverView struct {
	Name     string           `json:"name" doc:"The quantity's name in plain files"`
	Label    string           `json:"label"`
	Shown    Shown            `json:"shown"`
	Verdict  string           `json:"verdict" enum:"try,trying,keep,undo,not-told,back,stay,settled,costs-more,too-short,no-room,cannot-say"`
	Sentence string           `json:"sentence"`
	Do       string           `json:"do" doc:"Empty: nothing to do"`
	Expect   string           `json:"expect" doc:"What it is expected to bring; empty: not known"`
	Rests    string           `json:"rests" doc:"On what it rests"`
	Why      []string         `json:"why"`
	Trying   string           `json:"trying" doc:"What is being tried at present; empty: nothing"`
	Needs    []string         `json:"needs" doc:"What is missing"`
	Assumed  []string         `json:"assumed"`
	Note     string           `json:"note" doc:"The line of the journal that says that it is tried; empty: none"`
	Rows     evenstand.Rows   `json:"rows" doc:"On which it is tried; empty: all"`
	Now      evenstand.Number `json:"now"`
	Next     evenstand.Number `json:"next"`
	Least    evenstand.Number `json:"least" doc:"The limits that were set for it"`
	Most     evenstand.Number `json:"most"`
	Past     []Span           `json:"past" doc:"Settings that are not likely enough within the limits of the responses"`

	Design    string           `json:"design" enum:"half-rows,back-and-forth,"`
	Stretches int              `json:"stretches" doc:"How long the try lasts, in stretches of 15 m"`
	Minutes   evenstand.Number `json:"minutes"`
	Passes    evenstand.Number `json:"passes"`
	Changes   int              `json:"changes" doc:"That all of it rests on"`

	Better   evenstand.Number `json:"better" doc:"Chance that next is better than now"`
	Any      evenstand.Number `json:"any" doc:"Chance that some allowed setting is better than now by a worthwhile amount"`
	Unit     string           `json:"unit" doc:"Of money; empty: responses are weighed"`
	Gain     evenstand.Range  `json:"gain_m2" doc:"What next saves over now, on a m2"`
	Bring    evenstand.Range  `json:"bring" doc:"What the try and then the better of the two save on what is left to plant"`
	Expected evenstand.Number `json:"bring_expected"`
	Limits   []LimitChance    `json:"limits"`
	Limited  []string         `json:"limited" doc:"Quantities whose limits count here, the setting's own first"`
	Panels   []PanelView      `json:"panels"`
}

// Span is a range of settings.
type Span struct {
	From float64 `json:"from"`
	To   float64 `json:"to"`
}

// LimitChance is how likely a response lies within its limits.
type LimitChance struct {
	Measure string           `json:"measure"`
	Label   string           `json:"label"`
	Now     evenstand.Number `json:"now"`
	Next    evenstand.Number `json:"next"`
}

// PanelView is one response against the setting.
type PanelView struct {
	Measure string             `json:"measure" doc:"Empty: what it costs beside the present setting"`
	Label   string             `json:"label"`
	Shown   Shown              `json:"shown"`
	Level   bool               `json:"level" doc:"Values are the response's; else differences from the present setting"`
	At      []evenstand.Number `json:"at"`
	Mean    []evenstand.Number `json:"mean"`
	Low     []evenstand.Number `json:"low" doc:"90 % band"`
	High    []evenstand.Number `json:"high"`
	Least   evenstand.Number   `json:"least" doc:"Its limits"`
	Most    evenstand.Number   `json:"most"`
}

// ViewBalance gives the balance as it is shown.
func ViewBalance(ls []Lever, v advise.Voice) BalanceView {
	out := BalanceView{Schema: 1, AsOf: evenstand.NoTime, Levers: []LeverView{}}
	for i := range ls {
		l := &ls[i]
		out.Planter, out.Day, out.AsOf = l.Planter, l.Day, l.AsOf
		out.Levers = append(out.Levers, viewLever(l, v))
	}
	return out
}

func viewLever(l *Lever, v advise.Voice) LeverView {
	num := func(x float64) evenstand.Number { return evenstand.Number(x) }
	a := &l.Advice
	u := l.Lever.Unit(v.Units)
	out := LeverView{
		Name: l.Name, Label: l.Label(), Shown: Shown{l.Quantity().Info().SI, l.UnitSay(v.Units), u.Scale, u.Offset}, Verdict: string(a.Verdict),
		Sentence: l.Said.Sentence, Do: l.Said.Do, Expect: l.Said.Expect, Rests: l.Said.Rests, Why: l.Said.Why, Trying: l.Trying,
		Needs: l.Needs, Assumed: l.Assumed, Note: l.Said.Note, Rows: l.Said.Rows,
		Now: num(l.Now), Next: num(a.Next), Least: num(l.Low), Most: num(l.High), Past: []Span{},
		Stretches: a.Stretches, Minutes: num(a.Minutes), Passes: num(a.Passes), Changes: a.Changes,
		Better: num(a.Better), Any: num(a.Anything), Unit: l.Unit, Gain: a.Gain, Bring: a.Bring, Expected: num(a.BringMean),
		Limits: []LimitChance{}, Limited: []string{l.Name}, Panels: []PanelView{},
	}
	if out.Why == nil {
		out.Why = []string{}
	}
	if out.Rows == nil {
		out.Rows = evenstand.Rows{}
	}
	switch a.Design {
	case try.HalfRows:
		out.Design = "half-rows"
	case try.Switchback:
		out.Design = "back-and-forth"
	}
	for _, id := range l.Measures {
		if m, ok := measure.ByID(id); ok && slices.Contains(evenstand.Limited, m.Quantity) {
			out.Limited = append(out.Limited, m.Quantity.String())
		}
	}
	for _, x := range a.Past(&l.Problem) {
		out.Past = append(out.Past, Span{x[0], x[1]})
	}
	for _, c := range a.Limits {
		m, _ := measure.ByID(c.Measure)
		out.Limits = append(out.Limits, LimitChance{c.Measure, m.Label, num(c.Now), num(c.Next)})
	}
	all := func(x []float64) []evenstand.Number {
		n := make([]evenstand.Number, len(x))
		for i := range x {
			n[i] = num(x[i])
		}
		return n
	}
	for i := range l.Panels {
		p := &l.Panels[i]
		x := PanelView{Measure: p.Measure, Level: p.Level, At: all(p.At), Mean: all(p.Mean), Low: all(p.Low), High: all(p.High), Least: num(p.Least), Most: num(p.Most)}
		if p.Measure != "" {
			m, _ := measure.ByID(p.Measure)
			s := v.Scale(m.Unit)
			x.Label, x.Shown = m.Label, Shown{m.Unit, s.Unit, s.Scale, s.Offset}
		} else {
			if l.Unit == "" {
				continue // a sum of weights means nothing to anybody
			}
			area, name := evenstand.Acre, "ac"
			if v.Units == evenstand.Metric {
				area, name = evenstand.Hectare, "ha"
			}
			x.Label, x.Shown = "what it costs beside now", Shown{l.Unit + "/m2", l.Unit + "/" + name, 1 / area, 0}
		}
		out.Panels = append(out.Panels, x)
	}
	return out
}

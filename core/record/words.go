package record

import (
	"fmt"
	"math"
	"strings"

	"evenstand"
	"evenstand/core/advise"
	"evenstand/core/relation"
)

// Line is a figure in words: what it is, and how much.
type Line struct {
	What string `json:"what"`
	Says string `json:"says"`
}

// Cite is a relation behind a sum of money, with the publications behind it.
type Cite struct {
	ID    string   `json:"id"`
	Title string   `json:"title"` // in plain words
	Texts []string `json:"texts"`
}

// Words are all that is said of a finding beside its sentence, as the people of
// the logbook read numbers. Every screen and report takes them from here.
type Words struct {
	Money     string   `json:"money"`      // in one line, what can still be saved first
	Sum       string   `json:"sum"`        // the range that it is listed with: $140 to $410
	SumOf     string   `json:"sum_of"`     // what the range is: "still to save, likely"
	Where     string   `json:"where"`      // field and grade
	Passes    string   `json:"passes"`     // "passes 3 to 7"
	Due       string   `json:"due"`        // "at the next stop"; empty when there is no hurry
	Step      string   `json:"step"`       // the first thing that the advice asks for
	Work      string   `json:"work"`       // who works how long: "10 minutes, operator"
	Decisions []string `json:"decisions"`  // what people said of it
	Check     string   `json:"check"`      // what came of what was done; empty: nothing was
	Evidence  []Line   `json:"evidence"`   // figures with their intervals
	Causes    []Line   `json:"causes"`     // with their chance in 100
	MoneyRows []Line   `json:"money_rows"` // so far, per acre hit, still to save, cannot say
	MoneySays []string `json:"money_says"` // how the sums are to be read
	Cites     []Cite   `json:"cites"`
}

// SayFinding puts a finding into words.
func SayFinding(f *evenstand.Finding, o Options) Words {
	w := Words{
		Money: moneyLine(f, o.Voice, !o.Page), Where: strings.Join(nonempty(field(f), grade(f)), ", "), Passes: advise.Passes(f),
		Work: who(f), Step: advise.FirstStep(f.Advice.Do), Decisions: []string{}, Evidence: []Line{}, Causes: []Line{},
	}
	w.Sum, w.SumOf = sum(f, o.Voice)
	w.Check = Since(f)
	if todo(f) {
		w.Due = strings.ToLower(advise.Due(f))
	}
	for _, d := range standing(o.Decisions)[f.ID] {
		w.Decisions = append(w.Decisions, decided(d, o.Voice))
	}
	for _, e := range f.Evidence {
		w.Evidence = append(w.Evidence, Line{advise.EvidenceName(e), o.Voice.Evidence(e)})
	}
	rest := 1.0
	for _, c := range f.Causes {
		rest -= c.Probability
		w.Causes = append(w.Causes, Line{c.Cause, inHundred(c.Probability)})
	}
	if len(f.Causes) > 0 && rest >= 0.005 {
		w.Causes = append(w.Causes, Line{"other", inHundred(rest)})
	}
	w.MoneyRows, w.MoneySays, w.Cites = moneyWords(f, o)
	return w
}

// sum is the range that a finding is listed with, and what it is.
func sum(f *evenstand.Finding, v advise.Voice) (money, what string) {
	m := f.Money
	s := m.StillToSave
	tail := ""
	if m.Word != "" {
		tail = ", " + m.Word
	}
	save := v.Money(evenstand.Range{Low: s.Low, Mid: s.Mid, High: s.High}, m.Unit)
	lost := v.Money(m.SoFar, m.Unit)
	// Of nothing the word stands before: nobody reads "nothing lost, likely".
	of := func(money, what string) (string, string) {
		if money != v.Money(evenstand.Range{}, m.Unit) || m.Word == "" {
			return money, what + tail
		}
		if m.Word == "likely" {
			return "probably " + money, what
		}
		return "perhaps " + money, what
	}
	switch {
	case save != "" && s.Basis != "none" && (f.Status != evenstand.Acted || f.Until != nil):
		return of(save, "still to save")
	case lost != "":
		return of(lost, "lost")
	case len(m.Needs) > 0:
		return "", "cost: cannot say"
	}
	return "", ""
}

// moneyLine is the money of a finding in one line: what can still be saved
// first, with the word that carries the chance of its cause.
func moneyLine(f *evenstand.Finding, v advise.Voice, files bool) string {
	money, of := sum(f, v)
	switch {
	case money == "" && len(f.Money.Needs) > 0:
		return "Cost: cannot say, needs " + needs(f.Money.Needs, files)
	case money == "":
		return ""
	}
	if lost := v.Money(f.Money.SoFar, f.Money.Unit); lost != "" && f.Money.SoFar.High > 0 && strings.HasPrefix(of, "still") {
		of += "; " + lost + " lost so far"
	}
	return money + " " + of
}

// needs lists what is missing to price a finding. Where files are named, it says
// where that is to be written and, in the logbook's folders, what to say then.
func needs(all []evenstand.Need, files bool) string {
	var parts []string
	for _, n := range all {
		s := n.Text
		if files && n.Where != "" {
			s += " (" + n.Where + ")"
		}
		parts = append(parts, s)
	}
	s := strings.Join(parts, "; ")
	if strings.Contains(s, "BOOK/planter") || strings.Contains(s, "BOOK/fields") {
		s += "; then evenstand rebuild BOOK"
	}
	return s
}

func field(f *evenstand.Finding) string {
	if f.Field == evenstand.Unassigned {
		return ""
	}
	return f.Field
}

func grade(f *evenstand.Finding) string {
	if f.Grade == evenstand.NoGrade {
		return ""
	}
	return "grade " + f.Grade.String()
}

// who says who works how long.
func who(f *evenstand.Finding) string {
	s := ""
	switch f.Advice.Minutes {
	case 0:
	case 1:
		s = "1 minute"
	default:
		s = fmt.Sprintf("%d minutes", f.Advice.Minutes)
	}
	return strings.Join(nonempty(s, f.Advice.Who), ", ")
}

func nonempty(parts ...string) []string {
	var out []string
	for _, s := range parts {
		if s != "" {
			out = append(out, s)
		}
	}
	return out
}

func decided(d Decision, v advise.Voice) string {
	s := "Done"
	if d.Status == evenstand.SetAside {
		s = "Set aside"
	}
	if d.T != evenstand.NoTime && d.T != 0 {
		s += " at " + v.Clock(d.T) + ", " + v.Date(d.T)
	}
	if d.Cause != "" {
		s += ", it was " + d.Cause
	}
	if d.Note != "" {
		s += ": " + strings.TrimRight(d.Note, ".")
	}
	return s + "."
}

func inHundred(x float64) string {
	switch {
	case x > 0 && x < 0.01:
		return "under 1 in 100"
	case x < 1 && x > 0.99:
		return "over 99 in 100"
	}
	return fmt.Sprintf("%.0f in 100", 100*x)
}

// moneyWords gives a finding's sums line by line, how they are to be read, and
// the publications that they rest on.
func moneyWords(f *evenstand.Finding, o Options) (rows []Line, says []string, behind []Cite) {
	v := o.Voice
	rows, says, behind = []Line{}, []string{}, []Cite{}
	m := f.Money
	acre, name := evenstand.Acre, "per acre hit"
	if v.Units == evenstand.Metric {
		acre, name = evenstand.Hectare, "per hectare hit"
	}
	row := func(what, sum string) {
		if sum != "" {
			rows = append(rows, Line{what, sum})
		}
	}
	nothing := m.SoFar.Mid == 0 && m.SoFar.High == 0 && f.Kind == evenstand.KindUnplantedLeft // all of it can be saved
	if !nothing {
		row("so far", v.Money(m.SoFar, m.Unit))
		row(name, v.Money(evenstand.Range{Low: m.PerArea.Low * evenstand.Number(acre), Mid: m.PerArea.Mid * evenstand.Number(acre), High: m.PerArea.High * evenstand.Number(acre)}, m.Unit))
	}
	s := m.StillToSave
	switch {
	case f.Status == evenstand.Acted && f.Until == nil:
		row(toSave, "not known yet: it was acted on, and what comes after will tell whether that worked")
	case s.Basis == "none":
		why := "no ground is left to save it on"
		if f.Until != nil || f.Status == evenstand.Ended {
			why = v.Ended(f)
		}
		row(toSave, "nothing: "+why)
	default:
		if save := v.Money(evenstand.Range{Low: s.Low, Mid: s.Mid, High: s.High}, m.Unit); save != "" {
			row(toSave, save+map[string]string{"field": " in this field", "season": " this season"}[s.Basis])
		}
	}
	if len(m.Needs) > 0 && !o.Page { // the page lists it by itself, with links
		row("cannot say", "needs "+needs(m.Needs, true))
	}
	if math.IsNaN(float64(m.SoFar.Mid)) {
		return rows, says, behind
	}
	says = append(says, "Low and high hold it 8 times in 10 if the named cause is right, which is "+m.Word+".",
		"Yield goal and prices, where they are set, are taken as they stand in the logbook. Assumed without a source: how often the advice works.")
	if f.Counted != nil {
		says = append(says, f.Counted.Says)
	}
	if m.Assumed != "" {
		says = append(says, m.Assumed)
	}
	return rows, says, cites(f.Sources)
}

// cites gives relations with their publications; one that has none is left out.
func cites(ids []string) []Cite {
	out := []Cite{}
	for _, id := range ids {
		c := Cite{ID: id, Title: id, Texts: relation.Citations(id)}
		if said, ok := relation.Say(id); ok {
			c.Title = said.Title
		}
		if len(c.Texts) > 0 {
			out = append(out, c)
		}
	}
	return out
}

const toSave = "still to save"

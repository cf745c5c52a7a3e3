package record

import (
	"fmt"
	"math"
	"strings"
	"unicode/utf8"

	"evenstand"
	"evenstand/core/advise"
	"evenstand/core/relation"
)

// Options say how to render.
type Options struct {
	Voice     advise.Voice
	Colour    bool // emphasis by ANSI codes, for a terminal
	Width     int  // columns; 0: 80
	Decisions []Decision
	NotJudged []string // sentences: what was not looked for, and why
}

func (o Options) width() int {
	if o.Width < 40 {
		return 80
	}
	return o.Width
}

func (o Options) strong(s string) string {
	if !o.Colour || s == "" {
		return s
	}
	return "\x1b[1m" + s + "\x1b[0m"
}

func (o Options) faint(s string) string {
	if !o.Colour || s == "" {
		return s
	}
	return "\x1b[2m" + s + "\x1b[0m"
}

// Wrap breaks text into lines of width columns, the first begun by first and
// the others by an indent as wide.
func Wrap(first, text string, width int) []string {
	indent := strings.Repeat(" ", utf8.RuneCountInString(first))
	var lines []string
	line, bare := first, true
	for word := range strings.FieldsSeq(text) {
		if !bare && utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) > width {
			lines = append(lines, line)
			line, bare = indent, true
		}
		if !bare {
			line += " "
		}
		line += word
		bare = false
	}
	return append(lines, line)
}

type page struct {
	b      strings.Builder
	o      Options
	grades [evenstand.GradeD + 1]bool // explained already
}

func (p *page) line(s string) { p.b.WriteString(strings.TrimRight(s, " ") + "\n") }

func (p *page) text(first, text string) {
	for _, l := range Wrap(first, text, p.o.width()) {
		p.line(l)
	}
}

func (p *page) head(s string) {
	p.line("")
	p.line(p.o.strong(s))
}

// RenderWorklist writes the worklist as text: the sentence that sums up, then
// the findings by when to act.
func RenderWorklist(w evenstand.Worklist, o Options) string {
	p := &page{o: o}
	title := w.Book
	if w.AsOf != evenstand.NoTime {
		title += ", as of " + o.Voice.Clock(w.AsOf) + ", " + o.Voice.Date(w.AsOf)
	}
	for _, l := range Wrap("", title, o.width()) {
		p.line(o.faint(l))
	}
	sum := Summary(w, o.Voice)
	bare := sum == nothingOpen && len(o.NotJudged) > 0
	if bare && len(w.Findings) == 0 {
		sum = "Nothing was found in what could be looked at."
	}
	for _, l := range Wrap("", sum, o.width()) {
		p.line(o.strong(l))
	}
	if bare {
		p.notJudged()
	}
	for _, g := range Groups(w) {
		p.head(g.Title)
		for _, f := range g.Findings {
			p.item(&f)
		}
	}
	if !bare && len(o.NotJudged) > 0 {
		p.line("")
		p.notJudged()
	}
	return p.b.String()
}

// notJudged says what was not looked for, and why.
func (p *page) notJudged() {
	p.line("Not looked for:")
	for _, s := range p.o.NotJudged {
		p.text("  - ", s)
	}
}

func (p *page) item(f *evenstand.Finding) {
	id := "  " + f.ID + "  "
	indent := strings.Repeat(" ", utf8.RuneCountInString(id))
	p.text(id, f.Sentence)
	money := p.moneyLine(f)
	p.text(indent, strings.Join(nonempty(advise.Capital(money), p.where(f)), "; ")+".")
	if todo(f) && f.Advice.Do != "" {
		p.text(indent, work(f)+f.Advice.Do)
	}
	for _, d := range standing(p.o.Decisions)[f.ID] {
		p.text(indent, p.decision(d))
	}
}

// work says who works how long, before the steps.
func work(f *evenstand.Finding) string {
	s := ""
	switch f.Advice.Minutes {
	case 0:
	case 1:
		s = "1 minute"
	default:
		s = fmt.Sprintf("%d minutes", f.Advice.Minutes)
	}
	if s = strings.Join(nonempty(s, f.Advice.Who), ", "); s != "" {
		s = advise.Capital(s) + ": "
	}
	return s
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

// moneyLine is the money of a finding in one line: what can still be saved
// first, with the word that carries the chance of its cause.
func (p *page) moneyLine(f *evenstand.Finding) string {
	v, m := p.o.Voice, f.Money
	s := m.StillToSave
	save := v.Money(evenstand.Range{Low: s.Low, Mid: s.Mid, High: s.High}, m.Unit)
	lost := v.Money(m.SoFar, m.Unit)
	word := m.Word
	if word != "" {
		word = ", " + word
	}
	switch {
	case save != "" && s.Basis != "none" && (f.Status != evenstand.Acted || f.Until != nil):
		if lost == "" {
			return save + " still to save" + word
		}
		return save + " still to save" + word + "; " + lost + " lost so far"
	case lost != "":
		return lost + " lost" + word
	case len(m.Needs) > 0:
		return "Cost: cannot say, needs " + needs(m.Needs)
	}
	return ""
}

// needs lists what is missing to price a finding and, where that is to be
// written into the logbook's folders, what to say then.
func needs(all []string) string {
	s := strings.Join(all, "; ")
	if strings.Contains(s, "BOOK/planter") || strings.Contains(s, "BOOK/fields") {
		s += "; then evenstand rebuild BOOK"
	}
	return s
}

// where names the field and the grade of the data; each grade is explained the
// first time that a page names it.
func (p *page) where(f *evenstand.Finding) string {
	field := f.Field
	if field == evenstand.Unassigned {
		field = ""
	}
	grade := ""
	if f.Grade != evenstand.NoGrade {
		grade = "grade " + f.Grade.String()
		if g := int(f.Grade); g < len(p.grades) && !p.grades[g] {
			p.grades[g] = true
			grade += " (" + advise.GradeWords(f.Grade) + ")"
		}
	}
	return strings.Join(nonempty(field, grade), ", ")
}

func (p *page) decision(d Decision) string {
	s := "Done"
	if d.Status == evenstand.SetAside {
		s = "Set aside"
	}
	if d.T != evenstand.NoTime && d.T != 0 {
		s += " at " + p.o.Voice.Clock(d.T) + ", " + p.o.Voice.Date(d.T)
	}
	if d.Cause != "" {
		s += ", it was " + d.Cause
	}
	if d.Note != "" {
		s += ": " + strings.TrimRight(d.Note, ".")
	}
	return s + "."
}

// RenderFinding writes one finding as text: the sentence, the evidence drawn,
// causes with odds, money with its sources, advice, cautions, and what the data
// cannot tell.
func RenderFinding(f *evenstand.Finding, o Options) string {
	p := &page{o: o}
	for _, l := range Wrap("", f.Sentence, o.width()) {
		p.line(o.strong(l))
	}
	about := nonempty(f.ID, f.Kind, string(f.Stage), string(f.Status), p.where(f), advise.Passes(f))
	for _, l := range Wrap("", strings.Join(about, "; "), o.width()) {
		p.line(o.faint(l))
	}
	for _, d := range standing(o.Decisions)[f.ID] {
		p.text("", p.decision(d))
	}
	if f.CheckBack != nil {
		p.text("", "Check-back: "+f.CheckBack.Verdict+".")
	}
	if len(f.Evidence) > 0 || f.Chart != nil {
		p.head("Evidence")
		p.evidence(f)
		if f.Chart != nil {
			if len(f.Evidence) > 0 {
				p.line("")
			}
			p.chart(f.Chart)
		}
	}
	if len(f.Causes) > 0 {
		p.head("Causes")
		p.causes(f)
	}
	p.head("Money")
	p.money(f)
	if f.Advice.Do != "" {
		p.head("What to do" + when(f))
		p.text("  ", work(f)+f.Advice.Do)
		for _, c := range f.Advice.Cautions {
			p.text("  ! ", c)
		}
	}
	if len(f.Say) > 0 {
		p.head("What the data cannot tell")
		for _, s := range f.Say {
			p.text("  - ", advise.Capital(s))
		}
	}
	return p.b.String()
}

func when(f *evenstand.Finding) string {
	if f.Until != nil || f.Status == evenstand.Ended {
		return ", now that it is over"
	}
	if due := advise.Due(f); due != "" {
		return ", " + strings.ToLower(due)
	}
	return ""
}

func (p *page) evidence(f *evenstand.Finding) {
	v := p.o.Voice
	wide := 0
	for _, e := range f.Evidence {
		wide = max(wide, utf8.RuneCountInString(advise.EvidenceName(e)))
	}
	for _, e := range f.Evidence {
		p.text("  "+pad(advise.EvidenceName(e), wide)+"  ", v.Evidence(e))
	}
}

func pad(s string, wide int) string {
	return s + strings.Repeat(" ", max(0, wide-utf8.RuneCountInString(s)))
}

func (p *page) causes(f *evenstand.Finding) {
	wide := len("other")
	for _, c := range f.Causes {
		wide = max(wide, utf8.RuneCountInString(c.Cause))
	}
	rest := 1.0
	for _, c := range f.Causes {
		rest -= c.Probability
		p.line("  " + pad(c.Cause, wide) + "  " + inHundred(c.Probability))
	}
	if rest >= 0.005 {
		p.line("  " + pad("other", wide) + "  " + inHundred(rest))
	}
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

func (p *page) money(f *evenstand.Finding) {
	v, m := p.o.Voice, f.Money
	acre, name := evenstand.Acre, "an acre of it"
	if v.Units == evenstand.Metric {
		acre, name = evenstand.Hectare, "a hectare of it"
	}
	row := func(what, sum string) {
		if sum != "" {
			p.text("  "+pad(what, max(len("still to save"), len(name)))+"  ", sum)
		}
	}
	row("so far", v.Money(m.SoFar, m.Unit))
	row(name, v.Money(evenstand.Range{Low: m.PerArea.Low * evenstand.Number(acre), Mid: m.PerArea.Mid * evenstand.Number(acre), High: m.PerArea.High * evenstand.Number(acre)}, m.Unit))
	s := m.StillToSave
	switch {
	case f.Status == evenstand.Acted && f.Until == nil:
		row("still to save", "not known yet: it was acted on, and what comes after will tell whether that worked")
	case s.Basis == "none":
		why := "no ground is left to save it on"
		if f.Until != nil || f.Status == evenstand.Ended {
			why = v.Ended(f)
		}
		row("still to save", "nothing: "+why)
	default:
		if save := v.Money(evenstand.Range{Low: s.Low, Mid: s.Mid, High: s.High}, m.Unit); save != "" {
			row("still to save", save+map[string]string{"field": " in this field", "season": " this season"}[s.Basis])
		}
	}
	if len(m.Needs) > 0 {
		row("cannot say", "needs "+needs(m.Needs))
	}
	if math.IsNaN(float64(m.SoFar.Mid)) {
		return
	}
	p.text("  ", "Low and high hold it 8 times in 10 if the named cause is right, which is "+m.Word+".")
	p.text("  ", "Assumed as the book says: yield goal and prices. Assumed without a source: how often the advice works.")
	for _, id := range f.Sources {
		for i, c := range relation.Citations(id) {
			first := "  " + pad("", utf8.RuneCountInString(id)) + "  "
			if i == 0 {
				first = "  " + id + "  "
			}
			p.text(first, c)
		}
	}
}

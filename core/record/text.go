package record

import (
	"strings"
	"unicode/utf8"

	"evenstand"
	"evenstand/core/advise"
)

// Options say how to render.
type Options struct {
	Voice     advise.Voice
	Colour    bool // emphasis by ANSI codes, for a terminal
	Width     int  // columns; 0: 80
	Decisions []Decision
	NotJudged []string // sentences: what was not looked for, and why
	NoRow     string   // why no row could be judged; empty: rows were
	Page      bool     // for the page, where links lead: no file and no command is named
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
	sum := Summary(w, o)
	bare := !Waiting(w) && len(o.NotJudged) > 0
	if bare && len(w.Findings) == 0 && o.NoRow == "" {
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
	money := moneyLine(f, p.o.Voice, !p.o.Page)
	p.text(indent, strings.Join(nonempty(advise.Capital(money), p.where(f)), "; ")+".")
	if todo(f) && f.Advice.Do != "" {
		p.text(indent, work(f)+f.Advice.Do)
	}
	for _, d := range standing(p.o.Decisions)[f.ID] {
		p.text(indent, decided(d, p.o.Voice))
	}
	if s := Since(f); s != "" {
		p.text(indent, s)
	}
}

// work says who works how long, before the steps.
func work(f *evenstand.Finding) string {
	s := who(f)
	if s != "" {
		s = advise.Capital(s) + ": "
	}
	return s
}

// where names the field and the grade of the data; each grade is explained the
// first time that a page names it.
func (p *page) where(f *evenstand.Finding) string {
	g := grade(f)
	if i := int(f.Grade); g != "" && i < len(p.grades) && !p.grades[i] {
		p.grades[i] = true
		g += " (" + advise.GradeWords(f.Grade) + ")"
	}
	return strings.Join(nonempty(field(f), g), ", ")
}

// RenderFinding writes one finding as text: the sentence, the evidence drawn,
// causes with odds, money with its sources, advice, cautions, and what the data
// cannot tell.
func RenderFinding(f *evenstand.Finding, o Options) string {
	p, w := &page{o: o}, SayFinding(f, o)
	for _, l := range Wrap("", f.Sentence, o.width()) {
		p.line(o.strong(l))
	}
	about := nonempty(f.ID, f.Kind, string(f.Stage), string(f.Status), p.where(f), w.Passes)
	for _, l := range Wrap("", strings.Join(about, "; "), o.width()) {
		p.line(o.faint(l))
	}
	for _, d := range w.Decisions {
		p.text("", d)
	}
	if f.CheckBack != nil {
		p.head("Check-back")
		p.checkBack(f.CheckBack)
	}
	if len(f.Evidence) > 0 || f.Chart != nil {
		p.head("Evidence")
		p.lines(w.Evidence, 0, p.text)
		if f.Chart != nil {
			if len(f.Evidence) > 0 {
				p.line("")
			}
			p.chart(f.Chart)
		}
	}
	if len(f.Causes) > 0 {
		p.head("Causes")
		p.lines(w.Causes, 0, func(first, text string) { p.line(first + text) })
	}
	p.head("Money")
	p.money(&w)
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

// lines writes figures one under the other, what they are set as wide as the
// widest, and at least least.
func (p *page) lines(all []Line, least int, write func(first, text string)) {
	wide := least
	for _, l := range all {
		wide = max(wide, utf8.RuneCountInString(l.What))
	}
	for _, l := range all {
		write("  "+pad(l.What, wide)+"  ", l.Says)
	}
}

func pad(s string, wide int) string {
	return s + strings.Repeat(" ", max(0, wide-utf8.RuneCountInString(s)))
}

func (p *page) money(w *Words) {
	p.lines(w.MoneyRows, len(toSave), p.text)
	for _, t := range w.MoneySays {
		p.text("  ", t)
	}
	for _, c := range w.Cites {
		p.text("  ", c.Title+" ("+c.ID+")")
		for _, t := range c.Texts {
			p.text("    - ", t)
		}
	}
}

package record

import (
	"fmt"
	"slices"
	"strings"

	"evenstand"
	"evenstand/core/advise"
)

// handOverMost is how many lines a part of the hand-over has: it is read in a
// minute.
const (
	handOverMost = 7
	handOverOver = 4
)

// HandOver is what the next one at the wheel is told in a minute: where the
// planter stands, what is off, what was changed, what runs out next.
type HandOver struct {
	Planter string        `json:"planter"`
	Day     evenstand.Day `json:"day"`
	Title   string        `json:"title"` // planter and when
	Where   string        `json:"where"` // empty: not known
	Off     []HandLine    `json:"off"`   // in order of when to act
	Over    []HandLine    `json:"over"`  // what is over and left ground to look at
	Done    []HandLine    `json:"done"`  // what was done about findings, or set aside
	Changed []HandLine    `json:"changed"`
	Next    []HandLine    `json:"next"` // what is on board, the first to run out first
	// More counts what a part has beyond its lines; the worklist and the journal
	// have all.
	More struct {
		Off     int `json:"off"`
		Over    int `json:"over"`
		Done    int `json:"done"`
		Changed int `json:"changed"`
	} `json:"more"`
	Cautions []string `json:"cautions"`
}

// HandLine is a line of it.
type HandLine struct {
	When    string `json:"when"`    // when to act, or when it was
	Says    string `json:"says"`    // a sentence
	Do      string `json:"do"`      // the first step; empty: none
	Finding string `json:"finding"` // its id; empty: none
}

// Told is a line of the day's journal in words.
type Told struct {
	T    evenstand.Micros
	What string // setting, refill, …, target
	Says string
}

// MakeHandOver makes it of a planter's last day: its whole worklist, the journal
// of people and boxes in order of time, and what is on board.
func MakeHandOver(planter string, day evenstand.Day, where string, w evenstand.Worklist, journal []Told, aboard []string, o Options) HandOver {
	v := o.Voice
	h := HandOver{Planter: planter, Day: day, Where: where, Title: "To hand over, " + v.Clock(w.AsOf) + ", " + v.Day(day), Off: []HandLine{}, Over: []HandLine{}, Done: []HandLine{}, Changed: []HandLine{}, Next: []HandLine{}, Cautions: []string{}}
	for _, g := range Groups(w) {
		for i := range g.Findings {
			f := &g.Findings[i]
			switch {
			case f.Planter != planter && f.Planter != "":
			case todo(f):
				says := f.Sentence
				if s := Since(f); s != "" { // not yet known, or why it is here again
					says += " " + s
				}
				h.Off = append(h.Off, HandLine{g.Title, says, advise.FirstStep(f.Advice.Do), f.ID})
				for _, c := range advise.Brief(f) {
					if len(h.Off) <= handOverMost && !slices.Contains(h.Cautions, c) {
						h.Cautions = append(h.Cautions, c)
					}
				}
			case g.Title == "Ended" && f.Stage == evenstand.Raised && f.Day == day && leavesGround[f.Kind]:
				h.Over = append(h.Over, HandLine{"", f.Sentence, "", f.ID})
			case f.Day != day:
			case f.Status == evenstand.Acted || f.Status == evenstand.Checked || f.Status == evenstand.SetAside:
				words := SayFinding(f, o)
				if f.CheckBack != nil {
					words.Decisions = append(words.Decisions, f.CheckBack.Says)
				}
				h.Done = append(h.Done, HandLine{"", f.Sentence, strings.Join(words.Decisions, " "), f.ID})
			}
		}
	}
	// What was changed goes before fills, of which the last one is enough.
	var fills []HandLine
	for _, t := range journal {
		l := HandLine{When: v.Clock(t.T), Says: strings.TrimSuffix(t.Says, ", the whole planter")}
		if t.What != "refill" {
			h.Changed = append(h.Changed, l)
		} else if n := len(fills); n > 0 && fills[n-1].When == l.When {
			fills[n-1].Says += "; " + advise.Lower(l.Says)
		} else {
			fills = append(fills, l)
		}
	}
	for _, s := range aboard {
		h.Next = append(h.Next, HandLine{Says: s})
	}
	h.Off, h.More.Off = most(h.Off, handOverMost)
	h.Over, h.More.Over = most(h.Over, handOverOver)
	h.Done, h.More.Done = most(h.Done, handOverMost)
	if n := len(h.Changed) - handOverMost; n > 0 { // the newest
		h.Changed, h.More.Changed = h.Changed[n:], n
	}
	if n := len(fills); n > 0 {
		h.Changed = append(h.Changed, fills[n-1])
	}
	return h
}

func most(lines []HandLine, n int) ([]HandLine, int) {
	if more := len(lines) - n; more > 0 {
		return lines[:n], more
	}
	return lines, 0
}

// leavesGround are the kinds that leave ground to look at when they are over.
var leavesGround = map[string]bool{
	evenstand.KindRowStopped: true, evenstand.KindRowLeftOff: true, evenstand.KindSeedWithoutLiquid: true, evenstand.KindLiquidRowLow: true, evenstand.KindPumpLimit: true,
	evenstand.KindGranularRowOff: true, evenstand.KindGranularRateOff: true, evenstand.KindLotMismatch: true, evenstand.KindSlotOpen: true,
	evenstand.KindDryFurrow: true, evenstand.KindDirtyFurrow: true, evenstand.KindCleanerUpset: true,
}

// Parts gives its parts with their titles, those without a line left out.
func (h *HandOver) Parts() []HandPart {
	var out []HandPart
	for _, p := range []HandPart{{"What is off", h.Off, h.More.Off}, {"What runs out next", h.Next, 0}, {"Over, but look at it", h.Over, h.More.Over}, {"What was done", h.Done, h.More.Done}, {"What was changed and noted", h.Changed, h.More.Changed}} {
		if len(p.Lines) > 0 {
			out = append(out, p)
		}
	}
	return out
}

// HandPart is a part of the hand-over.
type HandPart struct {
	Title string     `json:"title"`
	Lines []HandLine `json:"lines"`
	More  int        `json:"more"`
}

// RenderHandOver writes it as text.
func RenderHandOver(h HandOver, o Options) string {
	p := &page{o: o}
	p.line(o.strong(h.Title))
	for _, s := range nonempty(h.Planter, h.Where) {
		p.text("", s)
	}
	if len(h.Off) == 0 {
		p.line(nothingOpen)
	}
	for _, part := range h.Parts() {
		p.head(part.Title)
		for _, l := range part.Lines {
			s := l.Says
			if l.When != "" {
				s = l.When + ": " + s
			}
			p.text("  - ", s)
			if l.Do != "" {
				p.text("    ", l.Do)
			}
		}
		if part.More > 0 {
			p.text("  - ", fmt.Sprintf("and %d more", part.More))
		}
	}
	if len(h.Cautions) > 0 {
		p.line("")
	}
	for _, c := range h.Cautions {
		p.text("! ", c)
	}
	return p.b.String()
}

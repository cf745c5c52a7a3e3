package find

import (
	"regexp"
	"strings"

	"evenstand"
)

// A slot that is left open, or holds air, is seen by nobody but who digs: the
// journal's digs say so in words. A dig that finds it closed on the same rows
// ends it.
var (
	slotOpen   = regexp.MustCompile(`\b(?:slots?|furrows?|trench(?:es)?)\b[^.;,]{0,20}\b(?:open|gaping|cracked|not clos(?:ed|ing))\b|\bopen (?:seed )?(?:slots?|furrows?|trench(?:es)?)\b|\bnot clos(?:ed|ing)\b|\bair (?:pockets?|gaps?)\b`)
	slotWall   = regexp.MustCompile(`\bside ?walls?\b`)
	wallFine   = regexp.MustCompile(`\bside ?walls?\b[^.;]{0,20}\b(?:fine|good|ok|crumbly|crumbles?|loose|right)\b|\b(?:fine|good|crumbly|loose) side ?walls?\b`)
	slotFine   = regexp.MustCompile(`\b(?:slots?|furrows?|trench(?:es)?)\b[^.;]{0,20}\b(?:closed|shut|firm|fine|good|ok)\b|\b(?:well|all|nicely) closed\b|\bclosed well\b`)
	slotDenied = regexp.MustCompile(`\b(?:no|without|never|none|nor|any more|anymore)\b(?: \w+){0,3}? ?$`)
	slotStraw  = regexp.MustCompile(`\b(?:straw|residue|trash|hairpin\w*|stalks?)\b`)
	slotWet    = regexp.MustCompile(`\b(?:wet|smear\w*|shiny|slick|mud\w*|compact\w*)\b`)
)

// slotCase is what a finding about open slots rests on.
type slotCase struct {
	digs         int // that found it
	wall         int // that name the sidewall, or wet
	straw        int // that name residue
	moist, trash float64
}

// SlotOpen tells whether the words of a dig say that the slot was open or held
// air, or that it was closed; neither where they speak of something else.
func SlotOpen(note string) (open, closed bool) {
	s := strings.ToLower(strings.Join(strings.Fields(note), " "))
	denied := false
	hit := func(re *regexp.Regexp) bool {
		at := re.FindStringIndex(s)
		if at == nil {
			return false
		}
		if slotDenied.MatchString(s[:at[0]]) {
			denied = true
			return false
		}
		return true
	}
	wall := hit(slotWall) && !wallFine.MatchString(s)
	open = hit(slotOpen) || wall
	return open, !open && (denied || slotFine.MatchString(s))
}

// Noted takes a line of the journal, in order of time.
func (e *Engine) Noted(x *evenstand.Entry) {
	if x.What != "dig" {
		return
	}
	open, closed := SlotOpen(x.Note)
	if !open && !closed {
		return
	}
	rows := append([]int(nil), x.Rows...)
	if len(rows) == 0 {
		rows = e.allRows()
	}
	keep := e.slots[:0]
	var of *caseFile
	for _, c := range e.slots {
		switch {
		case !c.open():
		case closed && within(c.rows, rows):
			c.until = x.T
		default:
			if open && within(rows, c.rows) {
				of = c
			}
			keep = append(keep, c)
		}
	}
	e.slots = keep
	if !open {
		return
	}
	if of == nil {
		of = e.add(&caseFile{
			kind: evenstand.KindSlotOpen, rows: rows, raised: true, onset: x.T, onsetLow: x.T, onsetHigh: x.T, alarm: x.T,
			grade: evenstand.GradeD, slot: &slotCase{},
		})
		e.slots = append(e.slots, of)
	}
	words := strings.ToLower(x.Note)
	d := of.slot
	d.digs++
	if slotWall.MatchString(words) || slotWet.MatchString(words) {
		d.wall++
	}
	if slotStraw.MatchString(words) {
		d.straw++
	}
	d.moist, d.trash = e.furrowOf(rows, furrowDry), e.furrowOf(rows, furrowDirty)
}

// within tells whether all of a are in b.
func within(a, b []int) bool {
	for _, n := range a {
		if !inList(b, n) {
			return false
		}
	}
	return true
}

// furrowOf is what is logged of the furrow of rows: all rows' late means, and
// how these rows differ from their neighbours; NaN where nothing is.
func (e *Engine) furrowOf(rows []int, of int) float64 {
	w := &e.furrow
	var all, own stat2
	for j := 1; j <= min(w.k, 2*furrowBeside); j++ {
		if v := w.late[(w.k-j)%len(w.late)].x[of]; v == v {
			all.add(v)
		}
	}
	for _, n := range rows {
		if n <= len(w.rows) {
			q := &w.rows[n-1].shift[of]
			for j := 1; j <= min(q.k, 24); j++ {
				own.add(q.late[(q.k-j)%len(q.late)].m)
			}
		}
	}
	if all.n > 0 && own.n > 0 && len(rows) < len(w.rows) {
		return all.mean() + own.mean()
	}
	return all.mean()
}

// trashMuch is the trash in the slot beside which residue may hold it open
// (judgement).
const trashMuch = 0.2

// reportSlot says what a finding about open slots rests on.
func (e *Engine) reportSlot(c *caseFile, f *evenstand.Finding) {
	x := c.slot
	f.Evidence = []evenstand.Evidence{ev("digs that found it", float64(x.digs), nan, nan, nan, "")}
	if x.moist == x.moist {
		f.Evidence = append(f.Evidence, ev("seed-zone moisture", x.moist, nan, nan, nan, "fraction"))
	}
	if x.trash == x.trash {
		f.Evidence = append(f.Evidence, ev("trash in the slot", x.trash, nan, nan, nan, "fraction"))
	}
	// Prior odds of the trade (agronomy F33, F36, F40), weighed by the words and
	// by what is logged beside them. Judgement, no published odds.
	closing, wall, straw := 0.60, 0.15, 0.10
	switch {
	case x.wall > 0:
		wall = 1.5
	case x.moist >= moistFrom:
		wall = 0.9
	case x.moist == x.moist:
		wall = 0.05
	}
	switch {
	case x.straw > 0:
		straw = 1.5
	case x.trash >= trashMuch:
		straw = 0.9
	case x.trash == x.trash:
		straw = 0.05
	}
	f.Causes = normalise(
		evenstand.Cause{Cause: evenstand.CauseClosing, Probability: closing},
		evenstand.Cause{Cause: evenstand.CauseWetWall, Probability: wall},
		evenstand.Cause{Cause: evenstand.CauseHairpin, Probability: straw},
	)
}

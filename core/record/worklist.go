package record

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"evenstand"
	"evenstand/core/price"
)

// Assemble makes the worklist from findings that Apply went over: the raised
// ones that have not ended; with all the suspected and ended ones and passing
// trouble too. It is ordered by the money still to be saved.
func Assemble(book string, asOf evenstand.Micros, currency string, fs []evenstand.Finding, all bool) evenstand.Worklist {
	w := evenstand.Worklist{Schema: 1, Book: book, AsOf: asOf, Currency: currency, Findings: []evenstand.Finding{}}
	for _, f := range fs {
		if all || IsListed(&f) {
			w.Findings = append(w.Findings, whole(f))
		}
	}
	price.Rank(w.Findings)
	return w
}

// whole gives the finding with empty lists where it has none, so that JSON
// says [] and not null.
func whole(f evenstand.Finding) evenstand.Finding {
	f.Rows, f.Passes, f.Evidence, f.Causes = some(f.Rows), some(f.Passes), some(f.Evidence), some(f.Causes)
	f.Money.Needs, f.Advice.Cautions, f.Sources, f.Harm, f.Say = some(f.Money.Needs), some(f.Advice.Cautions), some(f.Sources), some(f.Harm), some(f.Say)
	return f
}

func some[S ~[]E, E any](s S) S {
	if s == nil {
		return S{}
	}
	return s
}

// Group is findings of one heading.
type Group struct {
	Title    string
	Findings []evenstand.Finding
}

// Groups parts a worklist by when to act: open ones under now, next stop,
// before leaving, tonight, side-dress and winter, with them what was done and did
// not work; then what was done, what of it worked, what was set aside, is only suspected, has ended, and passing trouble. Empty groups are
// left out; the order within a group is the worklist's.
func Groups(w evenstand.Worklist) []Group {
	titles := []string{"Now", "Next stop", "Before leaving", "Tonight", "Side-dress", "Winter", "No hurry", "Done", "Worked", "Set aside", "Suspected", "Ended", "Passing trouble"}
	by := map[string][]evenstand.Finding{}
	for _, f := range w.Findings {
		t := titleOf(&f)
		by[t] = append(by[t], f)
	}
	var out []Group
	for _, t := range titles {
		if len(by[t]) > 0 {
			out = append(out, Group{t, by[t]})
		}
	}
	return out
}

func titleOf(f *evenstand.Finding) string {
	switch {
	case f.Kind == evenstand.KindUpset:
		return "Passing trouble"
	case f.Healed():
		return "Worked"
	case f.Failed():
	case f.Status == evenstand.Acted || f.Status == evenstand.Checked:
		return "Done"
	case f.Status == evenstand.SetAside:
		return "Set aside"
	case f.Status == evenstand.Ended:
		return "Ended"
	case f.Stage == evenstand.Suspected && !f.Failed():
		return "Suspected"
	}
	switch f.When {
	case evenstand.Now:
		return "Now"
	case evenstand.NextStop:
		return "Next stop"
	case evenstand.BeforeLeaving:
		return "Before leaving"
	case evenstand.Tonight:
		return "Tonight"
	case evenstand.SideDress:
		return "Side-dress"
	case evenstand.Winter:
		return "Winter"
	}
	return "No hurry"
}

// todo tells whether a finding waits for someone to act.
func todo(f *evenstand.Finding) bool {
	return f.Stage == evenstand.Raised && f.Waits() && f.Kind != evenstand.KindUpset && f.Kind != evenstand.KindGoOnPays
}

// Waiting tells whether any finding waits for someone to act.
func Waiting(w evenstand.Worklist) bool {
	return slices.ContainsFunc(w.Findings, func(f evenstand.Finding) bool { return todo(&f) })
}

const nothingOpen = "Nothing is open."

// Summary is the one sentence at the top of the worklist: "3 findings, $150 to
// $420 still to save; the first is due now." The range adds up the lows and the
// highs, which is somewhat wide: the findings' common factors move together,
// their own errors do not. Where nothing is open since no row could be judged, it
// says so.
func Summary(w evenstand.Worklist, o Options) string {
	v := o.Voice
	n, unpriced := 0, 0
	var total evenstand.Range
	unit, due := "", ""
	for _, g := range Groups(w) {
		for _, f := range g.Findings {
			if !todo(&f) {
				continue
			}
			if due == "" {
				due = g.Title
			}
			if f.Kind == evenstand.KindStopPays { // it speaks of the others
				continue
			}
			n++
			s := f.Money.StillToSave
			if math.IsNaN(float64(s.Low)) || math.IsNaN(float64(s.High)) || unit != "" && unit != f.Money.Unit {
				unpriced++
				continue
			}
			unit = f.Money.Unit
			total.Low += s.Low
			total.High += s.High
		}
	}
	if n == 0 && o.NoRow != "" {
		return "No row could be judged: " + o.NoRow + "."
	}
	if n == 0 {
		return nothingOpen
	}
	s := fmt.Sprintf("%d findings", n)
	if n == 1 {
		s = "1 finding"
	}
	switch money := v.Money(total, unit); {
	case unit == "":
		s += ", not priced"
	case unpriced > 0:
		s += fmt.Sprintf(", %s still to save, %d not priced", money, unpriced)
	default:
		s += ", " + money + " still to save"
	}
	first := "; the first is due "
	if n == 1 {
		first = "; it is due "
	}
	switch due {
	case "Now", "Tonight", "Before leaving":
		s += first + strings.ToLower(due)
	case "Next stop":
		s += first + "at the next stop"
	case "Side-dress":
		s += first + "at side-dress"
	case "Winter":
		s += first + "in winter"
	}
	return s + "."
}

// Find finds a finding by its id or by the beginning of it, at least three
// characters, when only one begins so.
func Find(fs []evenstand.Finding, id string) (evenstand.Finding, error) {
	id = strings.ToLower(strings.TrimSpace(id))
	if i := slices.IndexFunc(fs, func(f evenstand.Finding) bool { return f.ID == id }); i >= 0 {
		return fs[i], nil
	}
	var hits []evenstand.Finding
	for _, f := range fs {
		if len(id) >= 3 && strings.HasPrefix(f.ID, id) {
			hits = append(hits, f)
		}
	}
	switch len(hits) {
	case 1:
		return hits[0], nil
	case 0:
		if len(id) < 3 {
			return evenstand.Finding{}, fmt.Errorf("finding %q: write at least three characters of the id", id)
		}
		return evenstand.Finding{}, fmt.Errorf("no finding %q; the worklist shows the ids, with --all those that have ended too", id)
	}
	return evenstand.Finding{}, fmt.Errorf("%d findings begin with %q; write more of the id", len(hits), id)
}

// Listed gives the worklist without what it lists only when all is asked for:
// suspected and ended findings, what worked, and passing trouble.
func Listed(w evenstand.Worklist) evenstand.Worklist {
	all := w.Findings
	w.Findings = []evenstand.Finding{}
	for _, f := range all {
		if IsListed(&f) {
			w.Findings = append(w.Findings, f)
		}
	}
	return w
}

// IsListed tells whether the worklist lists a finding when not all is asked for.
func IsListed(f *evenstand.Finding) bool {
	return f.Stage == evenstand.Raised && f.Status != evenstand.Ended && !f.Healed() && f.Kind != evenstand.KindUpset
}

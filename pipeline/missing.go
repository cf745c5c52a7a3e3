package pipeline

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"

	"evenstand"
	"evenstand/core/align"
)

// noteMissing says what the logs or the card lack, and what to do about it.
// basis is the evidence that the passes rest on.
func (s *settler) noteMissing(basis string) {
	v := &s.survey_
	seeds := slices.ContainsFunc(v.seeds, func(x seedsSeen) bool { return x.used() })
	planted := seeds || v.counts
	switch {
	case v.track < 0 && planted:
		what := "Seeds were"
		if !seeds {
			what = "Seed counts were"
		}
		s.note("%s logged but no position: nothing can be put on the ground, and no row can be judged. Read the receiver's log too.", what)
	case v.track >= 0 && !planted:
		s.note("Positions were logged but no seeds and no seed counts: nothing can be said of the rows. Read the log of the seed sensors too.")
	case v.track >= 0 && basis == "":
		s.note("Nothing in the logs tells when the planter was in the ground: no pass can be said. Log whether the planter is lifted.")
	case v.track >= 0 && basis == align.BySeeds:
		s.note("No log tells when the planter was lifted: passes are taken from where seeds fell, so all rows stopping at once looks like a lift. Log whether the planter is lifted.")
	}
	s.noteParts()
	s.noteGround(planted)
}

// noteParts names sides and sections that are logged but that the card does
// not describe: their readings belong to no row.
func (s *settler) noteParts() {
	parts := slices.SortedFunc(maps.Keys(s.survey_.parts), func(a, b evenstand.Element) int {
		return cmp.Or(cmp.Compare(a.Scope, b.Scope), cmp.Compare(a.N, b.N))
	})
	var sections []string
	var ofSections uint64
	for _, e := range parts {
		if len(s.card.RowsOf(e)) > 0 {
			continue
		}
		if e.Scope == evenstand.ScopeSection {
			sections = append(sections, fmt.Sprint(e.N))
			ofSections |= s.survey_.parts[e]
			continue
		}
		s.note("The %s of the %s side is logged, but the planter card has no vacuum group named %[2]s: it is used for no row. Give the card a group of kind vacuum with that name and its rows.", quantities(s.survey_.parts[e]), e)
	}
	if len(sections) > 0 {
		s.note("The %s of section %s is logged, but the planter card does not say which rows that is: it is used for no row. Give the card its sections.", quantities(ofSections), strings.Join(sections, ", "))
	}
}

// quantities names those of a set.
func quantities(set uint64) string {
	var names []string
	for _, q := range evenstand.Quantities() {
		if set&(1<<q) != 0 {
			names = append(names, q.Info().Label)
		}
	}
	if n := len(names); n > 1 {
		return strings.Join(names[:n-1], ", ") + " and " + names[n-1]
	}
	return strings.Join(names, "")
}

// noteUntold says of which rows the logs stop telling while they go on telling
// of others, as where one of several files is missing or cut.
func (s *settler) noteUntold() {
	last := evenstand.NoTime
	for _, r := range s.rows {
		if r.countT != evenstand.NoTime {
			last = max(last, r.countT)
		}
	}
	if last == evenstand.NoTime {
		return
	}
	const long = 60 * evenstand.Second
	var never evenstand.Rows
	cut := map[string]evenstand.Rows{}
	for _, r := range s.rows {
		switch {
		case r.seedAt != evenstand.NoTime:
		case r.countT == evenstand.NoTime:
			never = append(never, r.n)
		case last-r.countT > long:
			at := r.countT.Time().In(s.day.Zone).Format("15:04")
			cut[at] = append(cut[at], r.n)
		}
	}
	if len(never) > 0 && len(never) < len(s.rows) {
		s.note("The logs count the seeds of other rows only: nothing can be said of the rows %s. A file may be missing: bring all files of the log.", never)
	}
	for _, at := range slices.Sorted(maps.Keys(cut)) {
		s.note("The logs stop counting some rows while they go on with others: nothing can be said of the rows %s after %s. A file may be cut: copy it again.", cut[at], at)
	}
}

package record

import (
	"evenstand"
	"evenstand/core/advise"
)

// Decision is what a person said about a finding.
type Decision struct {
	Finding string           // id
	Status  evenstand.Status // Acted or SetAside
	Cause   string           // what it was, when it was something else; empty: as named
	Note    string
	T       evenstand.Micros
}

// Apply gives the findings with Status set from the decisions, the last of a
// finding counting; open findings whose trouble is over are Ended.
func Apply(fs []evenstand.Finding, ds []Decision) []evenstand.Finding { return fs }

// ID is a finding's id: 12 characters of Crockford's base 32, lower case, of
// the SHA-256 of planter, machine-day, family, lead row and first-alarm time.
func ID(planter string, day evenstand.Day, family string, lead int, alarm evenstand.Micros) string {
	return ""
}

// Keep gives the ids of fresh findings: the old id where family and planter
// match, rows overlap by half and times overlap, else the finding's own.
func Keep(old, fresh []evenstand.Finding) []string { return nil }

// Options say how to render.
type Options struct {
	Voice     advise.Voice
	Colour    bool // emphasis by ANSI codes
	All       bool // suspected, ended and upsets too
	Width     int  // columns; 0: 80
	Decisions []Decision
}

// Assemble makes the worklist from applied findings: raised and open ones, all
// with All, ordered by group and by money still to save.
func Assemble(book string, asOf evenstand.Micros, currency string, fs []evenstand.Finding, all bool) evenstand.Worklist {
	return evenstand.Worklist{Schema: 1, Book: book, AsOf: asOf, Currency: currency}
}

// Summary is the one sentence at the top of the worklist.
func Summary(w evenstand.Worklist, v advise.Voice) string { return "" }

// RenderWorklist writes the worklist as text.
func RenderWorklist(w evenstand.Worklist, o Options) string { return "" }

// RenderFinding writes one finding as text with evidence, causes and money.
func RenderFinding(f *evenstand.Finding, o Options) string { return "" }

package book

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"
	"time"

	"evenstand"
	"evenstand/core/advise"
	"evenstand/pipeline"
)

// blinding are the words by which the notes of a day say that something cannot
// be judged, and what helps against it.
var blinding = []blindness{
	{words: "cells cannot be said", topic: evenstand.TopicLogs, where: "clock_offset_s or one_clock in the source.toml beside its files"},
	{words: "no row can be judged", none: "no position was logged", topic: evenstand.TopicLogs},
	{words: "nothing can be said of the rows.", none: "no seeds and no seed counts were logged", topic: evenstand.TopicLogs},
	{words: "nothing can be said of the rows ", topic: evenstand.TopicLogs},
	{words: "no pass can be said", none: "nothing tells when the planter was in the ground", topic: evenstand.TopicLogs, where: "implement_lifted in the logs"},
	{words: "get less cannot be said", partly: true, topic: evenstand.TopicLogs, where: "liquid_flow in the logs"},
	{words: "too much or too little cannot be said", partly: true, topic: evenstand.TopicLogs, where: "liquid_rate_target in the logs"},
	{words: "without the spacing of the rows", partly: true, topic: evenstand.TopicPlanter, where: "row_spacing_m in BOOK/planter/NAME.toml, then evenstand rebuild BOOK"},
	{words: "on all rows cannot be seen", partly: true, topic: evenstand.TopicLogs, where: "seed_rate_target in the logs"},
	{words: "looks like a lift", partly: true, topic: evenstand.TopicLogs, where: "implement_lifted in the logs"},
}

type blindness struct {
	words  string          // of the note
	partly bool            // one thing beside seeds, or less than is asked for: single rows may be judged all the same
	none   string          // why no row of the day could be judged; empty: some could
	topic  evenstand.Topic // what helps
	where  string          // and where that is written
}

// blind gives what a note of a day says cannot be judged, nil when it says
// nothing of the kind.
func blind(note string) *blindness {
	if i := slices.IndexFunc(blinding, func(b blindness) bool { return strings.Contains(note, b.words) }); i >= 0 {
		return &blinding[i]
	}
	return nil
}

// NoRow says why no row could be judged on any day, as the end of a sentence;
// empty: rows were, or there is no day yet.
func NoRow(days []DaySummary, src []SourceReport) string {
	why := ""
	for _, d := range days {
		none := ""
		for _, n := range d.Notes {
			if b := blind(n); b != nil && none == "" {
				none = b.none
			}
		}
		if none == "" { // of its rows something could be said, by what was logged
			why, _ = ungraded(src)
			return why
		}
		if why == "" {
			why = none
		}
	}
	return why
}

// ungraded says why the logs tell nothing of single rows, if so.
func ungraded(src []SourceReport) (why string, so bool) {
	best := evenstand.NoGrade
	for _, s := range src {
		if s.Grade != evenstand.NoGrade && (best == evenstand.NoGrade || s.Grade < best) {
			best = s.Grade
		}
	}
	switch {
	case best == evenstand.GradeC:
		return "the best logs are of grade C (" + advise.GradeWords(best) + ")", true
	case best == evenstand.NoGrade || best > evenstand.GradeB:
		return "no log says what each row did", true
	}
	return "", false
}

// NotJudged says what was not looked for and why: what the days' notes say of
// it, with their days, and what needs logs of a better grade than there are.
func NotJudged(days []DaySummary, src []SourceReport, v advise.Voice) []evenstand.Need {
	out := []evenstand.Need{}
	seen := false
	when := map[string][]string{}
	for _, d := range days {
		for _, n := range d.Notes {
			b := blind(n)
			if b == nil {
				continue
			}
			seen = seen || !b.partly
			if when[n] == nil {
				out = append(out, evenstand.Need{Topic: b.topic, Text: n, Where: b.where})
			}
			date := string(d.Day)
			if t, err := d.Day.Start(v.Zone); err == nil {
				date = v.Date(t)
			}
			if !slices.Contains(when[n], date) {
				when[n] = append(when[n], date)
			}
		}
	}
	for i := range out {
		n := &out[i].Text
		switch ds := when[*n]; {
		case len(ds) > 2:
			*n = fmt.Sprintf("%s to %s, %d days: %s", ds[0], ds[len(ds)-1], len(ds), *n)
		default:
			*n = strings.Join(ds, "; ") + ": " + *n
		}
	}
	if why, so := ungraded(src); len(days) > 0 && !seen && so {
		out = append(out, evenstand.Need{Topic: evenstand.TopicLogs, Text: "Skips, doubles and cells of a single row: " + why + ". Read the row log, at the shortest interval that the box offers."})
	}
	return out
}

// Written gives needs as the command line says them: with where each is to be
// written.
func Written(needs []evenstand.Need) []string {
	out := []string{}
	for _, n := range needs {
		if n.Where != "" {
			n.Text = strings.TrimSuffix(n.Text, ".") + " (" + n.Where + ")."
		}
		out = append(out, n.Text)
	}
	return out
}

// Gave says what and how much a source gave: "1,200 seeds, 40 readings".
func (s *SourceReport) Gave() string {
	n := s.Counts
	var gave []string
	for _, k := range []struct {
		n         int64
		one, many string
	}{{n.Seeds, "seed", "seeds"}, {n.Fixes, "position", "positions"}, {n.Readings, "reading", "readings"}, {n.Entries, "entry", "entries"}} {
		if k.n > 0 {
			gave = append(gave, advise.Plural(k.n, k.one, k.many))
		}
	}
	if len(gave) == 0 {
		return "nothing that can be used"
	}
	return strings.Join(gave, ", ")
}

// Says are the sentences about a source's time: from when to when it logged,
// how far its clock is off and who says so, what lies behind a receiver, and
// when it was silent.
func (s *SourceReport) Says(v advise.Voice) []string {
	var out []string
	if s.First != evenstand.NoTime {
		own := ""
		if math.Abs(float64(s.ClockOffset)) >= 1 {
			own = " by its own clock"
		}
		out = append(out, fromTo(v, s.First, s.Last)+own)
	}
	out = append(out, clockLine(s))
	if s.ClockFrom == pipeline.ClockReceiver {
		out = append(out, "Latency: how late its places are is not known. Boxes whose clocks they tell are as late, so that seeds lie right; for the others clock_offset_s in its source.toml can say it.")
	}
	if s.Behind != nil {
		out = append(out, behindLine(s.Behind, v))
	}
	for _, p := range s.ClockSet {
		out = append(out, "Its clock was set: from "+v.Clock(p.From)+" to "+v.Clock(p.To)+" by its own clock, it was "+advise.Offset(float64(p.Offset), 2)+", to within "+seconds(float64(p.Error))+".")
	}
	for i, g := range s.Gaps {
		if i == mostGaps {
			out = append(out, fmt.Sprintf("Silent %d times more.", len(s.Gaps)-mostGaps))
			break
		}
		out = append(out, "Silent from "+v.Clock(g.From)+" for "+advise.Span((g.To-g.From).Seconds())+planted(g)+".")
	}
	return out
}

// mostGaps is how many silences of a source are listed one by one.
const mostGaps = 5

// planted says how much of a silence matters: the planter stands, turns and is
// filled meanwhile.
func planted(g Gap) string {
	all := time.Duration(g.To-g.From) * time.Microsecond
	if s := time.Duration(float64(g.Planted) * float64(time.Second)); s > 0 && s < all-time.Second {
		return ", " + advise.Span(s.Seconds()) + " of it planting"
	}
	return " while the planter planted"
}

// fromTo writes from when to when a source logged.
func fromTo(v advise.Voice, first, last evenstand.Micros) string {
	from := v.Date(first) + ", " + v.Clock(first)
	if v.Date(first) == v.Date(last) {
		return from + " to " + v.Clock(last)
	}
	return from + ", to " + v.Date(last) + ", " + v.Clock(last)
}

// clockLine says how far a box's clock is off, logged minus true, how well
// that is known, and who says so.
func clockLine(s *SourceReport) string {
	off, e := float64(s.ClockOffset), float64(s.ClockError)
	switch {
	case s.ClockFrom == pipeline.ClockReceiver:
		return "Clock: the receiver's own, by which the others are told."
	case math.IsNaN(off):
		return "Clock: nobody has said how far it is off, and the logs do not show it."
	}
	line := "Clock: " + advise.Offset(off, 2)
	switch {
	case s.ClockFrom != pipeline.ClockEstimated && math.IsNaN(e) && s.ClockAgainst == 0:
		return "Clock: taken as " + advise.Offset(off, 2) + ", as was said of it; not checked."
	case s.ClockFrom == pipeline.ClockEstimated:
		line += " by the receiver, to within " + seconds(e)
		if d, de := float64(s.Drift), float64(s.DriftError); math.Abs(d) > de {
			way := "gaining"
			if d < 0 {
				way = "losing"
			}
			line += fmt.Sprintf(", %s %.0f ms an hour", way, math.Abs(d)*3.6)
		}
		if x := s.ClockAgainst; x != 0 {
			line += ". It was said to be " + advise.Offset(off-x, 2) + ", which is not used: correct or take out what was said, in the logbook or as clock_offset_s in its source.toml, or say how sure it is"
		}
		return line + "."
	case math.IsNaN(e):
		line += ", as was said of it"
	default:
		line += ", as was said of it, to within " + seconds(e)
	}
	if x := s.ClockAgainst; x != 0 {
		line += ". Beside the receiver it looks " + advise.Offset(off+x, 2) + ", and findings by this box may be wrong: correct or take out what was said, in the logbook or as clock_offset_s in its source.toml and read again"
	}
	return line + "."
}

// behindLine says how far the seed line lies behind a receiver, by the card and
// by the ends of passes.
func behindLine(b *Behind, v advise.Voice) string {
	card, told, e := float64(b.Card), float64(b.Distance), float64(b.Error)
	ends := fmt.Sprintf("by %d pass ends, lifted one way and lowered the other, %s, to within %s", b.Ends, v.Length(told), v.Length(e))
	switch {
	case math.IsNaN(told) && math.IsNaN(card):
		return "Seed line: the planter card does not say how far behind it, and the ends of passes do not show it."
	case math.IsNaN(told):
		return "Seed line: " + v.Length(card) + " behind it, as the planter card says; the ends of passes do not show it."
	case math.IsNaN(card) && b.Used:
		return "Seed line: the planter card does not say how far behind it; " + ends + ". That is used."
	case math.IsNaN(card):
		return "Seed line: the planter card does not say how far behind it; " + ends + ", which is not used. Measure how far the receiver is ahead of the hitch, write antenna_to_hitch_m in metres and hitch (trailed or mounted) on the card, and read again."
	case math.Abs(card-told) > 2*e:
		return "Seed line: " + v.Length(card) + " behind it, as the planter card says, but " + ends + ". What the card says is used: measure antenna_to_hitch_m and hitch_to_row_line_m again."
	}
	return "Seed line: " + v.Length(card) + " behind it, as the planter card says; " + ends + "."
}

// seconds writes a length of time in seconds.
func seconds(s float64) string { return fmt.Sprintf("%.2f s", s) }

// instant is how readers, who know no zone, write an instant in a sentence.
var instant = regexp.MustCompile(`\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?Z`)

// local writes the instants in a sentence as the logbook's people read them.
func local(text string, v advise.Voice) string {
	return instant.ReplaceAllStringFunc(text, func(s string) string {
		var t evenstand.Micros
		if t.UnmarshalText([]byte(s)) != nil {
			return s
		}
		return v.Second(t) + ", " + v.Date(t)
	})
}

// DayNames names the local days of machine-days: each of a few, else the first
// and the last.
func DayNames(refs []DayRef, v advise.Voice) string {
	var ds []evenstand.Day
	for _, r := range refs {
		ds = append(ds, r.Day)
	}
	slices.Sort(ds)
	ds = slices.Compact(ds)
	names := make([]string, len(ds))
	for i, d := range ds {
		names[i] = string(d)
		if t, err := d.Start(v.Zone); err == nil {
			names[i] = v.Date(t)
		}
	}
	if len(names) > 4 {
		return fmt.Sprintf("%s to %s", names[0], names[len(names)-1])
	}
	return strings.Join(names, "; ")
}

// SayUnused says what was not used, where, why and what to do.
func SayUnused(u evenstand.Unused, v advise.Voice) string {
	line := u.File
	switch {
	case u.Line > 0:
		line += fmt.Sprintf(", line %d", u.Line)
	case u.Offset > 0:
		line += fmt.Sprintf(", byte %d", u.Offset)
	}
	if line != "" {
		line += ": "
	}
	if u.Count > 0 && u.Of != "" && u.Of != "files" {
		line += advise.Plural(u.Count, strings.TrimSuffix(u.Of, "s"), u.Of) + ": "
	}
	line += local(strings.TrimSuffix(u.Why, "."), v) + "."
	if u.Do != "" {
		line += " " + u.Do
	}
	return line
}

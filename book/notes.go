package book

import (
	"slices"
	"strings"

	"evenstand"
)

// dayNotes collects what a person should know of the days of a run.
type dayNotes struct {
	days  []DayRef // in the order they were settled
	notes map[DayRef][]string
}

// set notes what a day says; a day that is settled again says it anew.
func (n *dayNotes) set(d DayRef, notes []string) {
	if n.notes == nil {
		n.notes = map[DayRef][]string{}
	}
	n.days = append(slices.DeleteFunc(n.days, func(x DayRef) bool { return x == d }), d)
	n.notes[d] = notes
}

// sentences gives each sentence once for each planter with the days that say
// it in front, in order of the first of them. With several planters the
// planter stands before the days.
func (n *dayNotes) sentences(several bool) []string {
	type said struct{ planter, note string }
	var order []said
	days := map[said][]evenstand.Day{}
	for _, d := range n.days {
		for _, note := range n.notes[d] {
			k := said{d.Planter, note}
			if days[k] == nil {
				order = append(order, k)
			}
			days[k] = append(days[k], d.Day)
		}
	}
	out := make([]string, 0, len(order))
	for _, k := range order {
		s := spanDays(days[k]) + ": " + k.note
		if several {
			s = k.planter + ", " + s
		}
		out = append(out, s)
	}
	return out
}

// spanDays writes days with runs of three and more as their first and last.
func spanDays(days []evenstand.Day) string {
	days = slices.Clone(days)
	slices.Sort(days)
	days = slices.Compact(days)
	var parts []string
	for i := 0; i < len(days); {
		j := i
		for j+1 < len(days) && nextDay(days[j]) == days[j+1] {
			j++
		}
		if j-i >= 2 {
			parts = append(parts, string(days[i])+" to "+string(days[j]))
		} else {
			j = i
			parts = append(parts, string(days[i]))
		}
		i = j + 1
	}
	return strings.Join(parts, ", ")
}

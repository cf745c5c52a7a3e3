package pipeline

import (
	"cmp"
	"slices"

	"evenstand"
)

// StoodWithin is how far the beginnings of a live and a settled finding may
// lie apart for the two to be the same.
const StoodWithin = 120 * evenstand.Second

// Stood says which of a day's settled findings stood before settling. Indexes
// are those of the two lists that were compared.
type Stood struct {
	Pairs   [][2]int // settled and live: same family, same rows, beginnings within StoodWithin
	Missing []int    // settled findings that did not stand
	Unseen  []int    // settled findings that no live pass can see: the day had to end first
	Only    []int    // live findings that settling does not support
}

// CompareStood compares the raised findings of a settled day with those that
// the live pass had raised by the end of the feed. Suspected ones are left
// out. What was raised only when the day had ended, out of what was still
// being counted, is no live pass's to see.
func CompareStood(res Result, live []evenstand.Finding) Stood {
	var s Stood
	type pair struct {
		a, b int
		d    evenstand.Micros
	}
	var near []pair
	for i := range res.Findings {
		a := &res.Findings[i]
		if a.Stage != evenstand.Raised {
			continue
		}
		for j := range live {
			b := &live[j]
			d := max(a.Since-b.Since, b.Since-a.Since)
			if evenstand.Family(a.Kind) == evenstand.Family(b.Kind) && slices.Equal(a.Rows, b.Rows) && d <= StoodWithin {
				near = append(near, pair{i, j, d})
			}
		}
	}
	slices.SortStableFunc(near, func(a, b pair) int { return cmp.Compare(a.d, b.d) })
	settled, stood := make([]bool, len(res.Findings)), make([]bool, len(live))
	for _, p := range near {
		if !settled[p.a] && !stood[p.b] {
			settled[p.a], stood[p.b] = true, true
			s.Pairs = append(s.Pairs, [2]int{p.a, p.b})
		}
	}
	slices.SortFunc(s.Pairs, func(a, b [2]int) int { return cmp.Compare(a[0], b[0]) })
	for i := range res.Findings {
		switch f := &res.Findings[i]; {
		case f.Stage != evenstand.Raised || settled[i]:
		case f.Alarm >= res.AsOf, f.Kind == evenstand.KindClockOff: // clocks are compared over the whole day
			s.Unseen = append(s.Unseen, i)
		default:
			s.Missing = append(s.Missing, i)
		}
	}
	for j := range live {
		if !stood[j] {
			s.Only = append(s.Only, j)
		}
	}
	return s
}

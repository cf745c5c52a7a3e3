package verify

import (
	"cmp"
	"slices"

	"evenstand"
)

// Touch is something that was done to rows: a fix, a finding that was said to be
// done, or a setting that not all rows got.
type Touch struct {
	T    evenstand.Micros
	Rows evenstand.Rows
}

// PeersLeft is how many rows must be left as they were to tell what the ground did
// (judged).
const PeersLeft = 4

// LeaveOut takes rows to which something was done as well out of the peers, of a
// planter of so many rows. Where too few are left the test ends there, or tells
// nothing of a change if that was before.
func (s *Spec) LeaveOut(touched []Touch, rows int) {
	if len(s.Rows) == 0 || rows == 0 {
		return
	}
	touched = slices.Clone(touched)
	slices.SortFunc(touched, func(x, y Touch) int {
		return cmp.Or(cmp.Compare(x.T, y.T), slices.Compare(x.Rows, y.Rows))
	})
	for _, x := range touched {
		out := slices.Clone(s.Sick)
		for _, r := range x.Rows {
			if !s.Rows.Has(r) && !out.Has(r) {
				out = append(out, r)
			}
		}
		if len(out) == len(s.Sick) {
			continue
		}
		if rows-len(s.Rows)-len(out) >= PeersLeft {
			s.Sick = out
			continue
		}
		if s.Few = x.T <= s.At; !s.Few {
			s.End = x.T
		}
		return
	}
}

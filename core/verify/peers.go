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

// LeaveOut is Spec.LeaveOut of a test that runs: what the rows gave as peers so far
// is taken back. Of means that is exact where no row was silent; the scatter that
// was learnt stays.
func (t *Test) LeaveOut(x Touch, rows int) {
	if t.spec.Few || t.spec.End > 0 {
		return
	}
	was := t.spec.Sick
	t.spec.LeaveOut([]Touch{x}, rows)
	out := t.spec.Sick[len(was):]
	if len(out) == 0 {
		return
	}
	t.sick = flags(t.spec.Sick)
	if t.spec.Plan.How == ByMean {
		t.spread.Next()
	}
	for ph := range t.each {
		var all, left counts
		for r, c := range t.each[ph] {
			all.add(c.y, c.n)
			if !has(t.sick, r) {
				left.add(c.y, c.n)
			}
		}
		for _, r := range out {
			if r < len(t.each[ph]) {
				t.each[ph][r] = counts{}
			}
		}
		if t.spec.Plan.How != ByMean {
			t.peers[ph] = left
			continue
		}
		if !(left.n > 0) || !t.beside() {
			continue
		}
		by := all.y/all.n - left.y/left.n
		t.level[ph].Sum += t.level[ph].N * by
		t.mates[ph].Sum -= t.mates[ph].N * by
		if ph == after && t.verdict != 0 {
			t.mark.y += t.sign() * t.mark.n * by
		}
	}
	for _, r := range out {
		if r < len(t.phi.rows) {
			t.phi.rows[r], t.phi.block[r] = evenstand.Moments{}, counts{}
		}
	}
}

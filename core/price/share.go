package price

import (
	"cmp"
	"math"
	"slices"

	"evenstand"
)

// share takes out what several findings claim of the same loss.
func share(bills []*bill) {
	// the order of the sums, and with it the last digit, is the findings' own
	bills = slices.Clone(bills)
	slices.SortStableFunc(bills, func(a, b *bill) int {
		return cmp.Or(cmp.Compare(a.f.Alarm, b.f.Alarm), cmp.Compare(a.f.Kind, b.f.Kind), slices.Compare(a.f.Rows, b.f.Rows))
	})
	end := evenstand.NoTime
	for _, b := range bills {
		for _, t := range []evenstand.Micros{b.ctx.AsOf, b.f.Since, b.f.Alarm} {
			end = max(end, t)
		}
		if b.f.Until != nil {
			end = max(end, *b.f.Until)
		}
	}
	for c := range classes {
		sharePast(bills, c, end)
		shareFuture(bills, c)
	}
}

// span gives when a finding's loss happened; an open one's runs to the end of
// the log. A finding whose start is not known overlaps with nothing.
func span(f *evenstand.Finding, end evenstand.Micros) (from, to evenstand.Micros, ok bool) {
	to = end
	if f.Until != nil {
		to = *f.Until
	}
	return f.Since, to, f.Since != evenstand.NoTime && to > f.Since
}

// claims are the findings that lost something of a class on one row.
func claims(bills []*bill, c class, row int, of func(*bill) []float64, also func(*bill) bool) []*bill {
	var out []*bill
	for _, b := range bills {
		if of(b) != nil && b.f.Rows.Has(row) && also(b) {
			out = append(out, b)
		}
	}
	return out
}

func allRows(bills []*bill) []int {
	var rows []int
	for _, b := range bills {
		rows = append(rows, b.f.Rows...)
	}
	slices.Sort(rows)
	return slices.Compact(rows)
}

func sharePast(bills []*bill, c class, end evenstand.Micros) {
	less := map[*bill][]float64{}
	for _, row := range allRows(bills) {
		on := claims(bills, c, row, func(b *bill) []float64 { return b.past[c] }, func(b *bill) bool {
			_, _, ok := span(b.f, end)
			return ok
		})
		if len(on) < 2 {
			continue
		}
		var edges []evenstand.Micros
		for _, b := range on {
			from, to, _ := span(b.f, end)
			edges = append(edges, from, to)
		}
		slices.Sort(edges)
		edges = slices.Compact(edges)
		for k := 0; k+1 < len(edges); k++ {
			var here []*bill
			var part []float64 // of a finding's loss that lies on this row and span
			for _, b := range on {
				from, to, _ := span(b.f, end)
				if from <= edges[k] && to >= edges[k+1] {
					here = append(here, b)
					part = append(part, float64(edges[k+1]-edges[k])/float64(to-from)/float64(len(b.f.Rows)))
				}
			}
			excess(here, part, func(b *bill) []float64 { return b.past[c] }, less)
		}
	}
	for b, xs := range less {
		for i, x := range xs {
			b.past[c][i] = max(0, b.past[c][i]-x)
		}
	}
}

func shareFuture(bills []*bill, c class) {
	less := map[*bill][]float64{}
	for _, row := range allRows(bills) {
		on := claims(bills, c, row, func(b *bill) []float64 { return b.future[c] }, func(b *bill) bool {
			return b.f.Until == nil && b.left > 0 && b.f.Kind != evenstand.KindUnplantedLeft // of ground that lies behind
		})
		for len(on) > 0 {
			// only findings that count on the same ground lose the same seeds
			first := on[0]
			var here, other []*bill
			for _, b := range on {
				if b.basis == first.basis && b.f.Field == first.f.Field {
					here = append(here, b)
				} else {
					other = append(other, b)
				}
			}
			part := make([]float64, len(here))
			for j, b := range here {
				part[j] = 1 / float64(len(b.f.Rows))
			}
			excess(here, part, func(b *bill) []float64 { return b.future[c] }, less)
			on = other
		}
	}
	for b, xs := range less {
		for i, x := range xs {
			b.future[c][i] = max(0, b.future[c][i]-x)
		}
	}
}

// excess adds, for findings that share a piece of ground, what each claims
// beyond its part of the largest claim.
func excess(here []*bill, part []float64, of func(*bill) []float64, less map[*bill][]float64) {
	if len(here) < 2 {
		return
	}
	for i := range N {
		most, all := 0.0, 0.0
		for j, b := range here {
			x := of(b)[i] * part[j]
			most, all = max(most, x), all+x
		}
		if all <= 0 || math.IsNaN(all) {
			continue
		}
		for j, b := range here {
			if less[b] == nil {
				less[b] = make([]float64, N)
			}
			less[b][i] += of(b)[i] * part[j] * (1 - most/all)
		}
	}
}

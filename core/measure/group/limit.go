package group

import "evenstand"

// Kept sums up how stretches keep a limit, by their means over 15 m. The zero
// value is not ready; see NewKept.
type Kept struct {
	Measure          Measure
	Limit            evenstand.Limit
	Way, Under, Over float64 // m of rows: in all, below the limit, above it
	rows             []beyond
}

type beyond struct{ way, beyond float64 }

// NewKept begins a sum.
func NewKept(m Measure, l evenstand.Limit) *Kept { return &Kept{Measure: m, Limit: l} }

// Add takes in a stretch; one that does not tell the measure counts for
// nothing.
func (k *Kept) Add(s *evenstand.Stretch, spacing float64) {
	x, ok := k.Measure.One(s, spacing)
	if !ok {
		return
	}
	way := float64(s.Way)
	k.Way += way
	under, over := k.Limit.Below(x), k.Limit.Above(x)
	if under {
		k.Under += way
	}
	if over {
		k.Over += way
	}
	if s.Row < 1 {
		return
	}
	for int(s.Row) > len(k.rows) {
		k.rows = append(k.rows, beyond{})
	}
	r := &k.rows[s.Row-1]
	r.way += way
	if under || over {
		r.beyond += way
	}
}

// Beyond gives the share of the way that lay outside the limit, NaN of none.
func (k *Kept) Beyond() float64 { return (k.Under + k.Over) / k.Way }

// Worst gives the row with the greatest share beyond, and that share; row 0
// when no row told it.
func (k *Kept) Worst() (row int, share float64) {
	for i, r := range k.rows {
		if r.way > 0 && r.beyond/r.way > share {
			row, share = i+1, r.beyond/r.way
		}
	}
	return row, share
}

package cover

import (
	"cmp"
	"math"
	"slices"
)

// Dosed is ground that got so much of a product all over, by m2.
type Dosed struct {
	Swath
	Rate float64
}

// Place is a square of ground with what was put on it.
type Place struct {
	Worked float64 // m2 of it, at least once
	Passes []Dose  // by the number of the pass
}

// Dose is what one pass put on a place.
type Dose struct {
	Pass   int
	Worked float64 // m2 of the place that it went over
	Amount float64
}

// Amount is what all passes put on it.
func (p *Place) Amount() float64 {
	sum := 0.0
	for _, d := range p.Passes {
		sum += d.Amount
	}
	return sum
}

// Doses sums up what was put on squares of about side metres, by lines every d
// metres across the passes. Squares that nothing was put on are left out.
func Doses(ds []Dosed, d, side float64) []Place {
	type key struct{ u, v int }
	lines := max(1, int(math.Round(side/d)))
	side = float64(lines) * d
	at := map[key]*Place{}
	var order []key
	place := func(k, v int) *Place {
		x := key{int(math.Floor(float64(k) / float64(lines))), v}
		p := at[x]
		if p == nil {
			p = new(Place)
			at[x], order = p, append(order, x)
		}
		return p
	}
	// each gives the parts of a piece of line by square.
	each := func(lo, hi float64, take func(v int, length float64)) {
		for v := int(math.Floor(lo / side)); ; v++ {
			from, to := max(lo, float64(v)*side), min(hi, float64(v+1)*side)
			if to > from {
				take(v, to-from)
			}
			if float64(v+1)*side >= hi {
				return
			}
		}
	}
	swaths := make([]Swath, len(ds))
	for i := range ds {
		swaths[i] = ds[i].Swath
	}
	sweep(swaths, d, func(k int, hits []hit) {
		for _, h := range hits {
			each(h.lo, h.hi, func(v int, l float64) {
				p, pass := place(k, v), swaths[h.swath].Pass
				i, ok := slices.BinarySearchFunc(p.Passes, pass, func(x Dose, n int) int { return cmp.Compare(x.Pass, n) })
				if !ok {
					p.Passes = slices.Insert(p.Passes, i, Dose{Pass: pass})
				}
				p.Passes[i].Amount += ds[h.swath].Rate * l * d
				p.Passes[i].Worked += l * d
			})
		}
		slices.SortFunc(hits, func(a, b hit) int { return cmp.Compare(a.lo, b.lo) })
		end := math.Inf(-1)
		for _, h := range hits {
			if h.hi > end {
				each(max(h.lo, end), h.hi, func(v int, l float64) { place(k, v).Worked += l * d })
				end = h.hi
			}
		}
	})
	out := make([]Place, len(order))
	for i, k := range order {
		out[i] = *at[k]
	}
	return out
}

package pipeline

import (
	"math"

	"evenstand"
)

// heldFor is over how many stretches without a reading of its own the last rate
// of a product stands: 30 m, so that a box that logs by ten seconds leaves no
// holes at 3 m/s. Common practice, no source.
const heldFor = 2

// applied is what was read of one product on a row's stretch: the row's own
// flow, its own rate, and the rate of what it belongs to.
type applied struct{ flow, own, shared sum }

type sum struct{ n, x float32 }

func (s *sum) add(x float64) { s.n, s.x = s.n+1, s.x+float32(x) }

func (s sum) mean() float64 { return float64(s.x) / float64(s.n) }

// products are the liquid and the dry product of a row's stretches, which stand
// as the stretches do.
type products struct{ liquid, granular []applied }

func (p *products) reset() { p.liquid, p.granular = p.liquid[:0], p.granular[:0] }

// product notes a reading of liquid or dry product, for the stretches.
func (s *settler) product(x evenstand.Reading, k int32) {
	if s.out == nil || math.IsNaN(x.Value) || x.Value < 0 {
		return
	}
	rows := s.rowsOf(x.Element)
	for _, n := range rows {
		r := s.rows[n-1]
		to := &r.products.liquid
		if x.Quantity == evenstand.GranularRate {
			to = &r.products.granular
		}
		for i := max(0, k-r.strBase); int(i) >= len(*to); {
			*to = append(*to, applied{})
		}
		a := &(*to)[max(0, k-r.strBase)]
		switch {
		case x.Quantity == evenstand.LiquidFlow:
			a.flow.add(x.Value / float64(len(rows)))
		case x.Element.Scope == evenstand.ScopeRow:
			a.own.add(x.Value)
		default:
			a.shared.add(x.Value)
		}
	}
}

// holding goes over a row's stretches in their order and holds what was read
// last.
type holding struct {
	of   []applied
	last applied
	age  int
}

// amount gives what went onto stretch k, in m3 or kg: by the flow and the time
// spent there, or by a rate and the ground that was planted. NaN: nobody logged
// it.
func (h *holding) amount(k int, st *evenstand.Stretch, spacing, seconds float64) float32 {
	h.age++
	if k < len(h.of) && h.of[k] != (applied{}) {
		h.last, h.age = h.of[k], 0
	}
	if h.age > heldFor {
		return float32(math.NaN())
	}
	way := float64(st.Way) - float64(st.Off)
	switch a := &h.last; {
	case a.flow.n > 0:
		return float32(a.flow.mean() * seconds)
	case a.own.n > 0:
		return float32(a.own.mean() * max(0, way) * spacing)
	case a.shared.n > 0:
		return float32(a.shared.mean() * max(0, way) * spacing)
	}
	return float32(math.NaN())
}

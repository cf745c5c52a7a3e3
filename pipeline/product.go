package pipeline

import (
	"math"
	"slices"

	"evenstand"
)

// heldFor is over how many stretches without a reading of its own the last rate
// of a product stands: 30 m, so that a box that logs by ten seconds leaves no
// holes at 3 m/s. Common practice, no source.
const heldFor = 2

// applied is what was read of one product on a row's stretch: the row's own
// flow, its own rate, and what tanks, sections, sides or the machine say of all
// their rows together.
type applied struct {
	flow, own sum
	wider     []wider
}

func (a *applied) empty() bool { return a.flow.n == 0 && a.own.n == 0 && len(a.wider) == 0 }

// wider is the row's part of what an element of several rows said.
type wider struct {
	of         evenstand.Element
	flow, rate sum
}

type sum struct{ n, x float32 }

func (s *sum) add(x float64) { s.n, s.x = s.n+1, s.x+float32(x) }

func (s sum) mean() float64 { return float64(s.x) / float64(s.n) }

// products are the liquid and the dry product of a row's stretches, which stand
// as the stretches do.
type products struct{ liquid, granular []applied }

func (p *products) reset() { p.liquid, p.granular = p.liquid[:0], p.granular[:0] }

// product notes a reading of liquid or dry product, for the stretches. A flow of
// several rows is shared by those that are on.
func (s *settler) product(x evenstand.Reading, k int32) {
	if s.out == nil || math.IsNaN(x.Value) || x.Value < 0 {
		return
	}
	rows, on := s.rowsOf(x.Element), 0
	for _, n := range rows {
		if s.rows[n-1].enabled {
			on++
		}
	}
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
		flow := x.Quantity == evenstand.LiquidFlow
		if x.Element.Scope == evenstand.ScopeRow {
			if flow {
				a.flow.add(x.Value)
			} else {
				a.own.add(x.Value)
			}
			continue
		}
		i := slices.IndexFunc(a.wider, func(w wider) bool { return w.of == x.Element })
		if i < 0 {
			i = len(a.wider)
			a.wider = append(a.wider, wider{of: x.Element})
		}
		switch w := &a.wider[i]; {
		case !flow:
			w.rate.add(x.Value)
		case r.enabled:
			w.flow.add(x.Value / float64(on))
		default:
			w.flow.add(0)
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
	if k < len(h.of) && !h.of[k].empty() {
		h.last, h.age = h.of[k], 0
	}
	if h.age > heldFor {
		return float32(math.NaN())
	}
	ground := max(0, float64(st.Way)-float64(st.Off)) * spacing
	a := &h.last
	switch {
	case a.flow.n > 0:
		return float32(a.flow.mean() * seconds)
	case a.own.n > 0:
		return float32(a.own.mean() * ground)
	case len(a.wider) == 0:
		return float32(math.NaN())
	}
	// What the machine says holds what its tanks say: the narrower goes before.
	// Tanks hold different products, and add up.
	narrow := slices.ContainsFunc(a.wider, func(w wider) bool { return w.of.Scope != evenstand.ScopeMachine })
	total := 0.0
	for _, w := range a.wider {
		switch {
		case narrow && w.of.Scope == evenstand.ScopeMachine:
		case w.flow.n > 0:
			total += w.flow.mean() * seconds
		default:
			total += w.rate.mean() * ground
		}
	}
	return float32(total)
}

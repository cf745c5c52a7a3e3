package balance

import (
	"math"

	"evenstand/core/stat"
)

// sure is how likely a response must lie within its limit for a setting to be
// tried (methods document, section h).
const sure = 0.9

// chances gives, for each place of the grid, how likely a response that n
// holds a belief of lies within its limits; NaN is no limit.
func chances(n stat.Normal, least, most float64) (p [steps]float64) {
	for i := range p {
		m, v := n.At(quadratic(at(i)))
		p[i] = within(m, math.Sqrt(v), least, most)
	}
	return p
}

// within gives how likely a normal lies between two ends; an end that is no
// number is none.
func within(m, sd, least, most float64) float64 {
	if !(sd > 0) {
		sd = 1e-12
	}
	p := 1.0
	if !math.IsNaN(most) {
		p = stat.NormalCDF((most - m) / sd)
	}
	if !math.IsNaN(least) {
		p -= stat.NormalCDF((least - m) / sd)
	}
	return math.Max(0, p)
}

// allowed gives the places that the lever can be set to and that are likely
// enough within the limits. Where neither the present one nor any in reach is,
// it is the one in reach that is the most likely. stops are the places that the
// lever can be set to; nil: all.
func allowed(p [steps]float64, now int, stops []bool) []bool {
	ok := make([]bool, steps)
	best, found := now, false
	for i := range p {
		can := stops == nil || stops[i] || i == now
		ok[i] = can && p[i] >= sure
		if i >= now-far && i <= now+far {
			found = found || ok[i]
			if can && p[i] > p[best] {
				best = i
			}
		}
	}
	if !found {
		ok[best] = true
	}
	return ok
}

// stops gives the places that the lever's steps lie at, nil where they do not
// matter. One that is hardly another setting than the present one is none.
func (p *Problem) stops() []bool {
	if !(p.Step > 0) || p.Step > reach*(p.High-p.Low) {
		return nil
	}
	out := make([]bool, steps)
	for x := math.Ceil(p.Low/p.Step) * p.Step; x <= p.High; x += p.Step {
		if math.Abs(x-p.Now) >= 0.75*p.Step {
			out[place(p.scaled(x))] = true
		}
	}
	return out
}

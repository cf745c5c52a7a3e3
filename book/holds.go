package book

import (
	"math"
	"slices"

	"evenstand"
	"evenstand/core/stat"
)

// Holding is one quantity of one kind of part in a source's log.
type Holding struct {
	Quantity string           `json:"quantity"`
	Of       string           `json:"of"`        // machine, left, right, section, row, tank
	Parts    int              `json:"parts"`     // how many rows, sections, tanks
	N        int64            `json:"n"`         // readings
	Step     evenstand.Number `json:"step_s"`    // between two of one part, null unknown
	Average  evenstand.Number `json:"average_s"` // over which the box averages, by the values; 0 it does not, null not told
}

// scopes are the words for Of.
var scopes = [...]string{
	evenstand.ScopeMachine: "machine", evenstand.ScopeLeft: "left", evenstand.ScopeRight: "right",
	evenstand.ScopeSection: "section", evenstand.ScopeRow: "row", evenstand.ScopeTank: "tank",
}

func (h *Holding) value() evenstand.Holding {
	q, _ := evenstand.ParseQuantity(h.Quantity)
	return evenstand.Holding{
		Quantity: q, Scope: evenstand.Scope(max(0, slices.Index(scopes[:], h.Of))), Parts: h.Parts, N: h.N,
		Step: float64(h.Step), Average: float64(h.Average),
	}
}

// pacer follows one part of a holding.
type pacer struct {
	seen   bool
	pace   evenstand.Pace
	last   evenstand.Micros
	series *stat.Series
}

// holder gathers a holding while its source is read.
type holder struct {
	q      evenstand.Quantity
	scope  evenstand.Scope
	n      int64
	parts  []pacer // by number, from 0
	window *stat.Window
}

// holds gathers what a source holds. Its memory is that of its parts.
type holds struct {
	all  []*holder
	at   map[evenstand.Quantity]*[len(scopes)]*holder
	last *holder
}

// take notes a reading.
func (h *holds) take(r *evenstand.Reading) {
	if r.Quantity == evenstand.Raw || int(r.Element.Scope) >= len(scopes) || r.Element.N < 0 || r.Element.N > evenstand.MaxRows {
		return
	}
	x := h.last
	if x == nil || x.q != r.Quantity || x.scope != r.Element.Scope {
		of := h.at[r.Quantity]
		if of == nil {
			if h.at == nil {
				h.at = map[evenstand.Quantity]*[len(scopes)]*holder{}
			}
			of = &[len(scopes)]*holder{}
			h.at[r.Quantity] = of
		}
		if x = of[r.Element.Scope]; x == nil {
			x = &holder{q: r.Quantity, scope: r.Element.Scope}
			switch r.Quantity {
			case evenstand.SkipFraction, evenstand.DoubleFraction, evenstand.SpacingCV:
				x.window = &stat.Window{}
			}
			of[r.Element.Scope] = x
			h.all = append(h.all, x)
		}
		h.last = x
	}
	x.n++
	for len(x.parts) <= int(r.Element.N) {
		x.parts = append(x.parts, pacer{})
	}
	p := &x.parts[r.Element.N]
	if x.window != nil {
		if p.series == nil {
			p.series = &stat.Series{}
		}
		// A step of another length than the usual one breaks the series.
		if step := (r.T - p.last).Seconds(); p.seen {
			if usual := p.pace.Step(); !math.IsNaN(usual) && (step <= 0 || step > 1.5*usual || step < usual/2) {
				p.series.Break()
			}
		}
		x.window.Add(p.series, r.Value)
	}
	p.seen, p.last = true, r.T
	p.pace.Take(r.T)
}

// list gives what was gathered, in the order of the registry.
func (h *holds) list() []Holding {
	out := make([]Holding, 0, len(h.all))
	for _, x := range h.all {
		y := Holding{Quantity: x.q.String(), Of: scopes[x.scope], N: x.n, Step: evenstand.Unknown, Average: evenstand.Unknown}
		var steps []float64
		for i := range x.parts {
			if p := &x.parts[i]; p.seen {
				y.Parts++
				if s := p.pace.Step(); !math.IsNaN(s) {
					steps = append(steps, s)
				}
			}
		}
		if len(steps) > 0 {
			slices.Sort(steps)
			y.Step = evenstand.Number(steps[len(steps)/2])
		}
		if x.window != nil {
			switch w := x.window.Steps(); {
			case w == 1:
				y.Average = 0
			default:
				y.Average = evenstand.Number(w * float64(y.Step))
			}
		}
		out = append(out, y)
	}
	slices.SortStableFunc(out, func(a, b Holding) int {
		p, q := a.value(), b.value()
		if p.Quantity != q.Quantity {
			return int(p.Quantity) - int(q.Quantity)
		}
		return int(p.Scope) - int(q.Scope)
	})
	return out
}

// mergeHolds joins what two inputs of one source hold: the longer one tells
// pace and average.
func mergeHolds(a, b []Holding) []Holding {
	out := slices.Clone(a)
	for _, y := range b {
		i := slices.IndexFunc(out, func(x Holding) bool { return x.Quantity == y.Quantity && x.Of == y.Of })
		if i < 0 {
			out = append(out, y)
			continue
		}
		n, parts := out[i].N+y.N, max(out[i].Parts, y.Parts)
		if y.N > out[i].N {
			out[i] = y
		}
		out[i].N, out[i].Parts = n, parts
	}
	return out
}

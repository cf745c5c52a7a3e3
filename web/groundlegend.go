package web

import (
	"math"
	"slices"
	"strconv"

	"evenstand"
	"evenstand/core/advise"
	"evenstand/core/measure/group"
)

// legendScale is how far a measure goes over the whole logbook, so that a
// colour means the same in every field and on every day: the middle 96 % of
// cells of the bar by 30 m and more, in SI.
type legendScale struct{ low, high float64 }

func (g *season) scale(k int, m *group.Measure) legendScale {
	var vs []float64
	for _, d := range g.days {
		c := &d.columns[k]
		if c.n == nil {
			continue
		}
		for i := range d.passes {
			p := &d.passes[i]
			for from := 0; from+2 < p.stretchN; from += 4 { // ends of passes are not like the rest
				sum, told, _, all := d.sum(p, c, span{0, d.rows - 1}, from, min(from+4, p.stretchN-1))
				if v, ok := m.Value(sum); ok && 2*told >= all {
					vs = append(vs, v)
				}
			}
		}
	}
	if len(vs) == 0 {
		return legendScale{math.NaN(), math.NaN()}
	}
	slices.Sort(vs)
	l := legendScale{vs[len(vs)/50], vs[len(vs)-1-len(vs)/50]}
	l.widen(m.Unit)
	return l
}

// widen keeps a scale from making much of little: a share goes over 4 % at
// least, a temperature over 4 degrees, else over a fifth of the value.
// Judgement, no source.
func (l *legendScale) widen(unit string) {
	least := 0.2 * max(math.Abs(l.low), math.Abs(l.high))
	switch unit {
	case "fraction":
		least = 0.04
		if l.low < 0.6*l.high { // from 0
			l.low = 0
		}
	case "degC":
		least = 4
	}
	if d := least - (l.high - l.low); d > 0 {
		l.low, l.high = l.low-d/2, l.high+d/2
		if unit == "fraction" && l.low < 0 {
			l.low, l.high = 0, l.high-l.low
		}
	}
}

// few tells whether a cell has too little to say: by chance alone its value
// could lie anywhere over three quarters of the legend, or two thirds of its
// stretches say nothing. Judgement, no source.
func (l *legendScale) few(m *group.Measure, sum group.Part, told, all int) bool {
	if 3*told < all {
		return true
	}
	low, high, ok := m.Chance(sum)
	if !ok {
		return false
	}
	clip := func(x float64) float64 { return max(l.low, min(l.high, x)) }
	return clip(high)-clip(low) > 0.75*(l.high-l.low)
}

// Legend is the classes of a measure's values with round ends; the page gives
// them their colours.
type Legend struct {
	Unit    string        `json:"unit" doc:"As shown"`
	Of      string        `json:"of" doc:"What the measure is a share or a mean of"`
	Signed  bool          `json:"signed" doc:"Zero is in the middle"`
	Classes []LegendClass `json:"classes" doc:"From low to high, without holes; the first and the last are open"`
	Few     string        `json:"few" doc:"What hatching says, behind its sample"`
}

// LegendClass is one of them.
type LegendClass struct {
	From evenstand.Number `json:"from" doc:"SI; of the first class null"`
	Says string           `json:"says"`
}

// mostClasses is how many colours a legend has at most.
const mostClasses = 8

func (s *Server) legend(m *group.Measure, l legendScale) Legend {
	v := s.voice()
	a := axis(v, m.Unit)
	out := Legend{Unit: a.Unit, Of: m.Of, Classes: []LegendClass{}, Few: "too few to say, or planted in part: a pass ends, a row is off"}
	if math.IsNaN(l.low) {
		return out
	}
	out.Signed = m.ID == "force" && l.low < 0
	ends := classEnds((l.low-a.Offset)/a.Scale, (l.high-a.Offset)/a.Scale, out.Signed)
	write := func(x float64) string {
		if a.Unit == "%" {
			return roundNumber(x) + "%"
		}
		return roundNumber(x)
	}
	n := len(ends) - 1
	for i := range n {
		c := LegendClass{From: evenstand.Number(ends[i]*a.Scale + a.Offset)}
		switch {
		case n == 1:
			c.Says = "about " + write((ends[0]+ends[1])/2)
		case i == 0 && ends[0] != 0:
			c.Says = "under " + write(ends[1])
		case i == n-1:
			c.Says = write(ends[i]) + " and more"
		default:
			c.Says = roundNumber(ends[i]) + " to " + write(ends[i+1])
		}
		if i == 0 {
			c.From = evenstand.Unknown
		}
		out.Classes = append(out.Classes, c)
	}
	return out
}

// roundNumber writes the end of a class, all of its digits.
func roundNumber(x float64) string {
	if x == math.Trunc(x) && math.Abs(x) < 1e15 {
		return advise.Thousands(int64(x))
	}
	return strconv.FormatFloat(x, 'f', -1, 64)
}

// classEnds gives the ends of at most mostClasses classes with round numbers
// that hold low to high; signed ones lie evenly about zero.
func classEnds(low, high float64, signed bool) []float64 {
	if low > high {
		low, high = high, low
	}
	if signed {
		high = max(math.Abs(low), math.Abs(high))
		low = -high
	}
	if high == low { // nothing but zeros
		high = low + 1
	}
	raw := (high - low) / mostClasses
	p := math.Pow(10, math.Floor(math.Log10(raw)))
	for _, f := range []float64{1, 2, 2.5, 5, 10, 20, 25} {
		step := f * p
		from, to := math.Floor(low/step+1e-9), math.Ceil(high/step-1e-9)
		if to-from > mostClasses || step < raw*(1-1e-9) {
			continue
		}
		var out []float64
		for k := from; k <= to; k++ {
			x, _ := strconv.ParseFloat(strconv.FormatFloat(k*step, 'g', 9, 64), 64)
			out = append(out, x)
		}
		return out
	}
	return []float64{low, high}
}

package stat

import "math"

// CellAlternatives are the miss shares of a faulty cell that CellOdds weighs.
var CellAlternatives = []float64{0.97, 0.5, 0.2}

// Locked is what CellOdds says.
type Locked struct {
	LogBayes  float64   // ln of the odds of the data: one faulty cell against none
	Posterior []float64 // by cell, given that there is one
	Cell      int       // the likeliest cell, from 0; -1 when there are no cells
}

// CellOdds weighs "one cell of the disc misses a share q of its turns" against
// "all cells miss at rate p0", from each cell's misses and turns. Every cell
// and every q is as likely as the next beforehand (methods document, section
// b). q nil stands for CellAlternatives.
func CellOdds(misses, turns []float64, p0 float64, q []float64) Locked {
	if q == nil {
		q = CellAlternatives
	}
	out := Locked{LogBayes: math.Inf(-1), Cell: -1}
	n := min(len(misses), len(turns))
	if n == 0 || len(q) == 0 {
		return out
	}
	out.Posterior = make([]float64, n)
	parts := make([]float64, len(q))
	for c := range n {
		for i, v := range q {
			parts[i] = BatchLLR(misses[c], turns[c], p0, v, 1)
		}
		out.Posterior[c] = LogSumExp(parts...)
	}
	all := LogSumExp(out.Posterior...)
	out.LogBayes = all - math.Log(float64(n*len(q)))
	out.Cell = 0
	for c, l := range out.Posterior {
		out.Posterior[c] = math.Exp(l - all)
		if out.Posterior[c] > out.Posterior[out.Cell] {
			out.Cell = c
		}
	}
	return out
}

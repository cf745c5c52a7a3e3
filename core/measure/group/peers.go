package group

import (
	"math"

	"evenstand/core/stat"
)

// Apart says how a row stands to the others.
type Apart uint8

// With its peers, perhaps apart, or apart.
const (
	With Apart = iota
	Perhaps
	Out
)

// Band is what the other rows do: the middle 90 % of rows without anything of
// their own, by median and MAD, so that the odd row does not widen it.
type Band struct{ Low, Mid, High float64 }

// Peers gives the band of the rows and how each stands to it. A row is apart
// when its difference from the middle is beyond what the spread of rows and its
// own error give once in a hundred, over all rows asked about (Bonferroni), and
// perhaps apart beyond one in ten for itself. Fewer than four rows have no band.
func Peers(rows []Figure) (Band, []Apart) {
	nan := math.NaN()
	out := make([]Apart, len(rows))
	var vs, ses []float64
	for _, r := range rows {
		if !math.IsNaN(r.Value) && !r.Few {
			vs = append(vs, r.Value)
			if !math.IsNaN(r.SE) {
				ses = append(ses, r.SE)
			}
		}
	}
	if len(vs) < 4 {
		return Band{nan, nan, nan}, out
	}
	mid := stat.Median(vs)
	sd := stat.MAD(vs)
	if len(ses) > 0 { // rows that happen to agree are no better known than each is
		sd = max(sd, stat.Median(ses))
	}
	z := stat.NormalQuantile(1 - (1-level)/2)
	band := Band{mid - z*sd, mid, mid + z*sd}
	sure := stat.NormalQuantile(1 - 0.005/float64(len(vs)))
	for i, r := range rows {
		if math.IsNaN(r.Value) || math.IsNaN(r.SE) || r.Few {
			continue
		}
		switch d := math.Abs(r.Value-mid) / math.Hypot(sd, r.SE); {
		case d > sure:
			out[i] = Out
		case d > z:
			out[i] = Perhaps
		}
	}
	return band, out
}

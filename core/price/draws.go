package price

import (
	"math"
	"math/rand/v2"
	"slices"
	"strconv"

	"evenstand"
	"evenstand/core/relation"
)

// N is the number of draws of a report. At 1,000 the Monte Carlo error of the
// 10th, 50th and 90th percentile is about 1.1, 0.8 and 1.0 % (methods, p).
const N = 1000

// ranks are the common draws: one row of ranks for all findings of a report,
// a column a factor. Columns are only ever added at the end.
type ranks struct{ skip, curve, best, emerge, double, space, starter, goal, residue, late [N]float64 }

func drawRanks(seed uint64) *ranks {
	rng := rand.New(rand.NewPCG(seed, 0x65766e7374616e64))
	r := new(ranks)
	for i := range N {
		r.skip[i] = rng.Float64()
		r.curve[i] = rng.Float64()
		r.best[i] = rng.Float64()
		r.emerge[i] = rng.Float64()
	}
	for i := range N {
		r.double[i] = rng.Float64()
	}
	for i := range N {
		r.space[i] = rng.Float64()
	}
	for i := range N {
		r.starter[i] = rng.Float64()
	}
	for i := range N {
		r.goal[i] = rng.Float64()
	}
	for i := range N {
		r.residue[i] = rng.Float64()
	}
	for i := range N {
		r.late[i] = rng.Float64()
	}
	return r
}

// amounts draws how much harm there was, from the finding's own generator, so
// that neither the order of findings nor other findings change it.
func amounts(seed uint64, f *evenstand.Finding, harm int) []float64 {
	rng := own(seed, f, strconv.Itoa(harm))
	a := f.Harm[harm].Amount
	low, mid, high := float64(a.Low), float64(a.Mid), float64(a.High)
	if math.IsNaN(low) || low > mid {
		low = mid
	}
	if math.IsNaN(high) || high < mid {
		high = mid
	}
	out := make([]float64, N)
	for i := range out {
		z := rng.NormFloat64() / 1.2815515655446004 // the normal's 90th percentile
		if z < 0 {
			out[i] = max(0, mid+z*(mid-low))
		} else {
			out[i] = mid + z*(high-mid)
		}
	}
	return out
}

// skips gives the plants that one missing plant costs, by draw.
// emerge is the share of seeds that became plants where that was counted, else nil.
func (r *ranks) skips(target float64, emerge []float64) []float64 {
	low, likely, high := relation.SkipLoss(stand(target))
	out := make([]float64, N)
	for i := range out {
		if emerge != nil {
			low, likely, high = relation.SkipLoss(relation.Thousand(target) * emerge[i])
		}
		out[i] = relation.Triangular(low, likely, high, r.skip[i])
	}
	return out
}

// doubles gives the plants that a double costs beside its seed, by draw: R3's
// default of none, up to a tenth.
func (r *ranks) doubles() []float64 {
	low, likely, high := relation.Must("R3-double", "default price of a double").Range()
	out := make([]float64, N)
	for i := range out {
		out[i] = relation.Triangular(low, likely, high, r.double[i])
	}
	return out
}

// Corn's yield where nobody has set a goal, bu/ac: from memory, about the mean
// of the United States in the early 2020s, and what is common around it in the
// Corn Belt without irrigation.
const goalLow, goalLikely, goalHigh = 130, 180, 230

// yields gives the yield by draw, kg/m2: the goal where one is set, else the
// assumed one.
func (r *ranks) yields(goal float64) []float64 {
	out := make([]float64, N)
	for i := range out {
		if out[i] = goal; math.IsNaN(goal) {
			out[i] = relation.Triangular(goalLow, goalLikely, goalHigh, r.goal[i]) * relation.CornBushel / evenstand.Acre
		}
	}
	return out
}

// spaced gives the share of the yields, in kg/m2, that plant spacing with an
// SD of sd m costs beside one of usual m, by draw: R4, from nothing over the
// likely line to the older field line.
func (r *ranks) spaced(usual, sd float64, yields []float64) []float64 {
	out := make([]float64, N)
	for i := range out {
		out[i] = r.spacedBy(i, usual, sd, yields[i])
	}
	return out
}

// spacedBy is spaced in one draw.
func (r *ranks) spacedBy(i int, usual, sd, yield float64) float64 {
	bu := yield * evenstand.Acre / relation.CornBushel
	low0, likely0, high0 := relation.SpacingSD(usual/0.0254, bu)
	low1, likely1, high1 := relation.SpacingSD(sd/0.0254, bu)
	return max(0, relation.Triangular(low1, likely1, high1, r.space[i])-relation.Triangular(low0, likely0, high0, r.space[i])) / 100
}

// starters gives the share of yield that a missed starter costs, by draw (R17).
func (r *ranks) starters() []float64 {
	low, likely, high := relation.Must("R17-fertilizer", "missed starter").Range()
	out := make([]float64, N)
	for i := range out {
		out[i] = relation.Triangular(low, likely, high, r.starter[i]) / 100
	}
	return out
}

// LateDays is how far behind a plant is that people call late: two leaves, about
// eight days (judgement; R6 gives 0.27 of a plant there, and Liu 2004 has 0.24 for
// two leaves).
const LateDays = 8

// lates gives the share of a plant that a late one loses, by draw (R6).
func (r *ranks) lates() []float64 {
	low, likely, high := relation.LateShare(LateDays)
	out := make([]float64, N)
	for i, u := range r.late {
		out[i] = relation.Triangular(low, likely, high, u)
	}
	return out
}

// spared is the share of draws in which residue costs nothing: the relation is a
// guess, and where nobody has counted a stand the low end is 0 (judgement).
const spared = 0.15

// residues gives the share of yield that heavy residue in the slot costs, by draw
// (R13, the fallback).
func (r *ranks) residues() []float64 {
	low, likely, high := relation.Must("R13-residue", "uncleared heavy residue").Range()
	out := make([]float64, N)
	for i, u := range r.residue {
		if u >= spared {
			out[i] = relation.Triangular(low, likely, high, u) / 100
		}
	}
	return out
}

// stand gives thousand plants an acre from seeds per m2 at the likely
// emergence; NaN stays NaN.
func stand(target float64) float64 {
	_, likely, _ := relation.Emergence()
	return relation.Thousand(target) * likely
}

// rates gives the share of yield lost by draw when target seeds per m2 were
// asked for and ratio times as many came: R1's curve near the best stand. The
// best stand is drawn between the least and the largest that R1 gives for
// Indiana and Iowa (severe drought to good years), the curvature from its own
// range, and nothing is charged on the plateau. A rate that happens to be
// better than the target is no gain. emerge as in skips.
func (r *ranks) rates(target, ratio float64, emerge []float64) []float64 {
	indiana := relation.Must("R1-population", "best stand, Indiana")
	iowa := relation.Must("R1-population", "best stand, Iowa")
	kLow, kLikely, kHigh := relation.Must("R1-population", "curvature below p*").Range()
	eLow, eLikely, eHigh := relation.Emergence()
	out := make([]float64, N)
	for i := range out {
		best := relation.Triangular(indiana.Low, indiana.Likely, iowa.Low, r.best[i])
		k := relation.Triangular(kLow, kLikely, kHigh, r.curve[i])
		e := relation.Triangular(eLow, eLikely, eHigh, r.emerge[i])
		if emerge != nil {
			e = emerge[i]
		}
		p := relation.Thousand(target) * e
		out[i] = max(0, relation.NearOptimum(p, best, k)-relation.NearOptimum(p*ratio, best, k)) / 100
	}
	return out
}

// quantiles gives the 10th, 50th and 90th percentile (linear between ranks).
func quantiles(xs []float64) evenstand.Range {
	s := slices.Clone(xs)
	slices.Sort(s)
	at := func(p float64) evenstand.Number {
		x := p * float64(len(s)-1)
		i := int(x)
		if i+1 >= len(s) {
			return evenstand.Number(s[len(s)-1])
		}
		return evenstand.Number(s[i] + (x-float64(i))*(s[i+1]-s[i]))
	}
	return evenstand.Range{Low: at(0.1), Mid: at(0.5), High: at(0.9)}
}

func mean(xs []float64) float64 {
	sum := 0.0
	for _, x := range xs {
		sum += x
	}
	return sum / float64(len(xs))
}

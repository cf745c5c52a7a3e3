package trial

import "math"

// PassMean is what all rows together did on one pass.
type PassMean struct {
	Pass  int     // by which it is known
	With  float64 // 1, 0, NaN neither
	Value float64 // NaN not told
	// Next tells that the pass before it in the list was its neighbour: of the same
	// field and day, and planted just before it.
	Next bool
}

// Pair is two neighbouring passes, one with and one without.
type Pair struct {
	With, Without int // Pass
	Diff          float64
	Later         bool // the one with it came later
}

// ByPasses compares passes: neighbours of which one has the setting and one has
// not are a pair, each pass in one pair at most, and the pair is the unit
// (methods, h: back and forth by pass).
func ByPasses(ps []PassMean) (Result, []Pair) {
	out := Result{Estimate: noEstimate, How: Nothing, Drift: math.NaN(), Pass: math.NaN()}
	var pairs []Pair
	for i := 1; i < len(ps); i++ {
		a, b := &ps[i-1], &ps[i]
		if !b.Next || math.IsNaN(a.Value) || math.IsNaN(b.Value) || math.IsNaN(a.With) || math.IsNaN(b.With) || a.With == b.With {
			continue
		}
		later := b.With > a.With
		if !later {
			a, b = b, a
		}
		pairs = append(pairs, Pair{b.Pass, a.Pass, b.Value - a.Value, later})
		i++
	}
	n := float64(len(pairs))
	if n < 2 {
		return out, pairs
	}
	out.How, out.Passes = Passes, n
	m, s := 0.0, 0.0
	for _, p := range pairs {
		m += p.Diff / n
	}
	for _, p := range pairs {
		s += (p.Diff - m) * (p.Diff - m) / (n - 1)
	}
	out.Estimate = estimate(m, math.Sqrt(s/n*alike(pairs)), n-1)
	out.Pass = s
	return out, pairs
}

// alike gives how much more than its pairs say the variance of their mean is.
// Where the ground wanders from pass to pass and the order turns with each pair,
// neighbouring pairs are alike: by 0.08 where passes are by 0.8 (derived:
// a(1−a)²/2(1−a)), less with what a pass adds by itself. Where the order stays
// they are the opposite, which is left as it is.
func alike(pairs []Pair) float64 {
	turns := 0.0
	for i := 1; i < len(pairs); i++ {
		if pairs[i].Later != pairs[i-1].Later {
			turns++
		} else {
			turns--
		}
	}
	return 1 + 2*0.05*math.Max(0, turns/float64(max(1, len(pairs)-1)))
}

package relation

import "math"

// Triangular gives the value at rank u (0 to 1) of the triangular distribution
// on low to high with its peak at likely. All factors of a relation are drawn
// so: low and high are taken as the ends of what is possible and likely as the
// mode. That is a choice (the sources give three figures and no distribution);
// whoever draws true coefficients for a test draws them the same way. Missing
// ends are points.
func Triangular(low, likely, high, u float64) float64 {
	if math.IsNaN(low) {
		low = likely
	}
	if math.IsNaN(high) {
		high = likely
	}
	if !(high > low) {
		return likely
	}
	at := (likely - low) / (high - low)
	if u < at {
		return low + math.Sqrt(u*(high-low)*(likely-low))
	}
	return high - math.Sqrt((1-u)*(high-low)*(high-likely))
}

package evenstand

// Kinds of finding about what is in tanks and seed boxes.
const (
	KindRefillSoon    = "refill-soon"
	KindTankDisagrees = "tank-disagrees"
	KindFillImbalance = "fill-imbalance"
)

// Causes of these.
const (
	CauseLeak   = "leak"
	CauseGauge  = "tank gauge or density"
	CauseUneven = "uneven delivery"
	CauseUsedUp = "planting uses it up"
)

// SeedsPerUnit gives the seeds in a unit or bag of a crop, as seed is sold and
// fills are written down; false where nobody has said. Corn is sold by 80,000
// kernels (relation R19), soybeans by 140,000 (common practice, no source).
func SeedsPerUnit(crop string) (float64, bool) {
	switch crop {
	case "", "corn":
		return 80000, true
	case "soybeans":
		return 140000, true
	}
	return 0, false
}

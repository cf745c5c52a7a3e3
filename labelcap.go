package evenstand

// KindLabelCap is the kind of finding about a limit of a product, as the people
// entered it, that is neared or passed.
const KindLabelCap = "label-cap"

// Causes of it.
const (
	CauseProductOverlap = "overlap of passes"
	CauseTwoPasses      = "two passes over the same ground"
	CauseProductRate    = "rate or calibration of the product"
)

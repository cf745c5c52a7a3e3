package relation

// LateShare is R6: the share of a plant that is lost when it comes up days
// after the first flush: low, likely, high. The range is the wider one of two
// readings and is kept around the likely value.
func LateShare(days float64) (low, likely, high float64) {
	name := "share lost, >=14 d"
	switch {
	case days <= 3:
		name = "share lost, <=3 d"
	case days < 8:
		name = "share lost, 4-7 d"
	case days < 14:
		name = "share lost, 8-13 d"
	}
	low, likely, high = Must("R6-late-plants", name).At(days)
	return min(low, likely), likely, max(min(high, lateHighCap), likely)
}

// lateHighCap caps the high share at 0.80, as the line for 14 days and more
// says and as the checks use for fewer days too.
const lateHighCap = 0.80

// LateLoss is R6's likely loss of yield in percent when a share of the plants
// is late by days, at most 23 (the largest measured in 1991). Half and three
// quarters late count for less than their share; between the fractions the
// factor is linear (judgement).
func LateLoss(share, days float64) float64 {
	_, likely, _ := LateShare(days)
	half, most := 0.7, 0.4 // R6, fraction factor, delays under 14 days
	if days >= 14 {
		half, most = 1.0, 0.7
	}
	g := 1.0
	switch {
	case share > 0.75:
		g = most
	case share > 0.5:
		g = half + (most-half)*(share-0.5)/0.25
	case share > 0.25:
		g = 1 + (half-1)*(share-0.25)/0.25
	}
	return min(100*share*likely*g, Must("R6-late-plants", "cap on the likely field loss").Likely)
}

// LateShareFrom gives the share of a plant lost from a measured loss of a
// field in percent when a share of its plants was late.
func LateShareFrom(lossPercent, share float64) float64 { return lossPercent / 100 / share }

// DepthLoss is R7: the loss in percent of those plants' yield against 2 inches
// at a seed depth in inches. The bands from 0.5 to 1, 1.5 to 3 and over 3 in
// are judgement and carry no citation.
func DepthLoss(in float64) (low, likely, high float64, l Line) {
	name := "loss, >3.0 in"
	switch {
	case in <= 0.5:
		name = "loss, seed <=0.5 in"
	case in <= 1.0:
		name = "loss, 0.5-1.0 in"
	case in < 1.5:
		name = "loss, 1.0-1.5 in"
	case in <= 3.0:
		name = "loss, 1.5-3.0 in"
	}
	l = Must("R7-depth", name)
	return l.Low, l.Likely, l.High, l
}

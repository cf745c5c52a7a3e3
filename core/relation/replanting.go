package relation

// ReplantGain is R15's decision in money an acre: what a replanted stand would
// bring over the present one. The stands are in percent of the best yield;
// gap is what gaps take from the present one in points.
func ReplantGain(yieldBu, existing, gap, replant, price, cost, insurance float64) float64 {
	return yieldBu*(replant-(existing-gap))/100*price - cost + insurance
}

// HurdleBu gives the bushels an acre that pay for replanting.
func HurdleBu(cost, price float64) float64 { return cost / price }

// HurdlePercent gives the loss in percent of yield from which replanting pays:
// its cost and what the later date loses anyway.
func HurdlePercent(cost, price, yieldBu, replant float64) float64 {
	return HurdleBu(cost, price)/yieldBu*100 + 100 - replant
}

// InsuranceCap gives the largest replant payment an acre by the bushel limit
// of the crop (8 corn, 3 soybeans; check the current policy).
func InsuranceCap(crop string, price float64) (float64, bool) {
	switch crop {
	case "corn":
		return Must("R15-replant", "insurance, corn").Likely * price, true
	case "soybean", "soybeans":
		return Must("R15-replant", "insurance, soybean").Likely * price, true
	}
	return 0, false
}

// InsurancePayment gives the payment an acre for a unit with a yield history,
// a level of cover (0.7) and an appraised yield: the least of 20 % of the
// guarantee, the crop's bushels, and what is missing to 90 % of the guarantee
// (ISU 1998; check the current policy).
func InsurancePayment(crop string, history, level, appraised, price float64) (float64, bool) {
	limit, ok := InsuranceCap(crop, price)
	if !ok {
		return 0, false
	}
	guarantee := history * level
	short := max(0, InsuranceThreshold(guarantee)-appraised)
	return min(0.2*guarantee*price, limit, short*price), true
}

// InsuranceThreshold gives the appraised yield below which replanting is paid:
// 90 % of the guarantee.
func InsuranceThreshold(guarantee float64) float64 { return 0.9 * guarantee }

package relation

// GDD gives the growing degree days (deg F) of one day: the mean of highest
// and lowest, each clipped to 50 to 86, less 50 (R11).
func GDD(maxF, minF float64) float64 {
	clip := func(t float64) float64 { return min(max(t, 50), 86) }
	return (clip(maxF)+clip(minF))/2 - 50
}

// Site is what is known of a seed zone for EmergenceGDD.
type Site struct {
	DepthIn float64 // seed depth in inches
	Residue bool    // more than 75 % of the ground covered
	Texture string  // fine, coarse or empty
	Dry     bool    // dry seed zone
}

// EmergenceGDD gives the growing degree days from planting to emergence at a
// known site, likely value: the Wisconsin base of 125 with its adjustments
// (Lauer 2003). The adjustments belong to that base only.
func EmergenceGDD(s Site) float64 {
	add := func(name string) float64 { return Must("R11-emergence-gdd", name).Likely }
	g := add("Wisconsin base for the adjustments") + add("depth")*max(0, s.DepthIn-2)
	if s.Residue {
		g += add("residue >75 %")
	}
	switch s.Texture {
	case "fine":
		g += add("fine texture")
	case "coarse":
		g += add("coarse texture")
	}
	if s.Dry {
		g += add("dry seed zone")
	}
	return g
}

// HybridNeed gives the growing degree days that a hybrid still needs when it
// is planted days after May 1 (R14, Nielsen and Thomison 2002).
func HybridNeed(gdd, days float64) float64 {
	return gdd - Must("R14-planting-date", "hybrid need falls").Likely*max(0, days)
}

// DayLoss is R14: the yield in percent that one day of waiting costs d days
// after April 30. The ranges are judgement around published likely values.
func DayLoss(d int) (low, likely, high float64) {
	name := "May 21-31"
	switch {
	case d < 1:
		name = "before May 1"
	case d <= 10:
		name = "May 1-10"
	case d <= 20:
		name = "May 11-20"
	}
	return Must("R14-planting-date", name).Range()
}

// DateLoss gives the cumulative likely loss in percent up to a day of May when
// april percent were lost before: the per-day bands of R14 summed up.
func DateLoss(april float64, mayDay int) float64 {
	sum := april
	for d := 1; d <= mayDay; d++ {
		_, likely, _ := DayLoss(d)
		sum += likely
	}
	return sum
}

// LostHour is R21: the price of an hour in which nothing is planted, from the
// acres still to plant, yield (bu/ac), price (per bu), percent a day and hours
// a day.
func LostHour(acres, yieldBu, price, percentDay, hoursDay float64) float64 {
	return acres * yieldBu * price * percentDay / 100 / hoursDay
}

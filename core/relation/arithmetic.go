package relation

import "math"

// Spacing gives the distance between seeds in inches for rows of rowIn inches
// and a population an acre (R19: 6,272,640 square inches an acre).
func Spacing(rowIn, perAcre float64) float64 {
	return Must("R19-seed-arithmetic", "spacing").Likely / (rowIn * perAcre)
}

// SeedsPerSecond gives seeds a second and row (R19).
func SeedsPerSecond(perAcre, rowIn, mph float64) float64 {
	return perAcre * rowIn * mph / Must("R19-seed-arithmetic", "seeds per second and row").Likely
}

// MeterRPM gives the turns a minute of a disc with cells.
func MeterRPM(seedsPerSecond float64, cells int) float64 { return seedsPerSecond * 60 / float64(cells) }

// FeetPerTurn gives the travel of one turn of the disc in feet.
func FeetPerTurn(cells int, spacingIn float64) float64 { return float64(cells) * spacingIn / 12 }

// BlockedShare gives the share of places that one blocked cell of a disc misses.
func BlockedShare(cells int) float64 { return 1 / float64(cells) }

// SeedsPerBushel gives how many seeds a bushel of grain buys.
func SeedsPerBushel(perUnit, seedsPerUnit, priceBu float64) float64 {
	return priceBu / perUnit * seedsPerUnit
}

// Acres gives the acres that units of seed plant.
func Acres(units, seedsPerUnit, perAcre float64) float64 { return units * seedsPerUnit / perAcre }

// EconomicStand gives the most profitable stand in thousand plants an acre on
// the April 30 fit of R1: seed costs per1000 for a thousand and a share e of
// it emerges.
func EconomicStand(yieldBu, priceBu, per1000, e float64) float64 {
	c := 100 * per1000 / (e * priceBu * yieldBu)
	return (april30B - c) / (-2 * april30C)
}

// The April 30 row of table NAF alone, least squares (worst cell 0.37; D).
const (
	april30A = 27.466
	april30B = 4.8270
	april30C = -0.080190
)

// April30 gives the yield in percent for p thousand plants an acre on the fit
// to the April 30 row alone.
func April30(p float64) float64 { return april30A + april30B*p + april30C*p*p }

// ThousandthAcre gives the feet of row in 1/1000 acre (R16).
func ThousandthAcre(rowIn float64) float64 {
	return Must("R16-stand-count", "1/1000-ac row length").Likely / rowIn
}

// HoopFactor gives plants an acre for each plant in a hoop of a diameter in
// inches (R16). Published factors use pi = 3.14 and are up to 13 higher.
func HoopFactor(diameterIn float64) float64 {
	return 43560 * 144 / (math.Pi * diameterIn * diameterIn / 4)
}

// RowCount gives plants an acre from plants on a length of row in feet.
func RowCount(plants, ft, rowIn float64) float64 { return plants * 43560 / (ft * rowIn / 12) }

// RowFeet gives the feet of row in an acre.
func RowFeet(rowIn float64) float64 { return 43560 * 12 / rowIn }

// CountsNeeded gives how many counts hold the error (percent) when one has a
// coefficient of variation (percent), with Student's t (R16).
func CountsNeeded(cv, e, t float64) float64 { return math.Pow(t*cv/e, 2) }

// BinomialCV gives the coefficient of variation in percent of a count of n
// seeds of which a share e emerges, if only chance is at work (R16).
func BinomialCV(n, e float64) float64 { return 100 * math.Sqrt((1-e)/(e*n)) }

// PoundsPerAcre gives lb/ac of granules from oz per 1,000 ft of row (R18).
func PoundsPerAcre(oz, rowIn float64) float64 {
	return oz * Must("R18-granule-rate", "lb/ac from oz per 1000 ft").Likely / rowIn
}

// OuncesPer1000 is the reverse of PoundsPerAcre.
func OuncesPer1000(lbAc, rowIn float64) float64 {
	return lbAc * rowIn / Must("R18-granule-rate", "lb/ac from oz per 1000 ft").Likely
}

// Catch653 gives the ounces that one row drops over 653 ft (R18).
func Catch653(lbAc, rowIn float64) float64 {
	return lbAc * rowIn / Must("R18-granule-rate", "653-ft catch").Likely
}

// CurveRatio is R20: population over target of a row at an offset outward of a
// path of a radius, both in the same unit, when all rows share one meter speed.
func CurveRatio(offset, radius float64) float64 { return 1 / (1 + offset/radius) }

// SaltLimit is R17: the largest N+K2O in the furrow in lb/ac without urea or
// UAN on soil medium_fine or sandy (K-State). Sandy is a look-up for rows of 20,
// 30 and 40 inches; elsewhere it says false.
func SaltLimit(soil string, rowIn float64) (float64, bool) {
	switch soil {
	case "medium_fine":
		return Must("R17-fertilizer", "in-furrow N+K2O, medium-fine").Likely / rowIn, rowIn >= 20 && rowIn <= 40
	case "sandy":
		switch rowIn {
		case 20:
			return Must("R17-fertilizer", "in-furrow N+K2O, sandy, 20 in").Likely, true
		case 30:
			return Must("R17-fertilizer", "in-furrow N+K2O, sandy, 30 in").Likely, true
		case 40:
			return Must("R17-fertilizer", "in-furrow N+K2O, sandy, 40 in").Likely, true
		}
	}
	return 0, false
}

// Nitrogen is R17's response: yield at n lb N/ac between y0 without and ymax
// at the optimum, flat above it.
func Nitrogen(ymax, y0, nopt, n float64) float64 {
	r := max(0, 1-n/nopt)
	return ymax - (ymax-y0)*r*r
}

// FieldCapacity gives acres an hour for a width in feet, a speed and the share
// of time spent planting (8.25 = 43,560/5,280; ISU A3-24).
func FieldCapacity(widthFt, mph, efficiency float64) float64 {
	return mph * widthFt * efficiency / 8.25
}

// DeadRow gives the money an acre of the whole planter that one row of rows
// costs when it plants nothing and its neighbours make up a share of it.
func DeadRow(rows int, yieldBu, priceBu, recovered float64) float64 {
	return yieldBu * priceBu / float64(rows) * (1 - recovered)
}

package relation

import "math"

// Class names of R5.
const (
	ClassMultiple = "multiple"
	ClassSingle   = "single"
	ClassOne      = "one_miss"
	ClassTwo      = "two_misses"
	ClassThree    = "three_or_more"
)

// SpacingClass is R5: the class of a spacing of q times the theoretical one; a
// limit belongs to the class below it (after Kachman and Smith 1995).
func SpacingClass(q float64) string {
	switch {
	case q <= 0.5:
		return ClassMultiple
	case q <= 1.5:
		return ClassSingle
	case q <= 2.5:
		return ClassOne
	case q <= 3.5:
		return ClassTwo
	}
	return ClassThree
}

// SpacingSD is R4: what uneven spacing of sd inches costs, in percent of
// yield, skips and doubles taken out before, at a yield in bu/ac. Low is always
// zero. High is the older field line of 2.5 bu/ac per inch above 2, lifted to
// the likely line where that overtakes it.
func SpacingSD(sdIn, yieldBu float64) (low, likely, high float64) {
	likely = Must("R4-spacing-sd", "SD above 12 cm").Likely * max(0, sdIn*2.54-12)
	high = Must("R4-spacing-sd", "high line").High * max(0, sdIn-2) / yieldBu * 100
	return 0, likely, max(high, likely)
}

// SpacingSDOuter is R4's outer bound in bu/ac: 4 per inch above 2, from SD that
// still held skips.
func SpacingSDOuter(sdIn float64) float64 {
	return Must("R4-spacing-sd", "outer bound").High * max(0, sdIn-2)
}

// PlantSDFloor gives the SD of plant spacing that a perfect meter leaves when
// a share e of the seeds emerges: s sqrt(1-e)/e, in the unit of s.
func PlantSDFloor(s, e float64) float64 { return s * math.Sqrt(1-e) / e }

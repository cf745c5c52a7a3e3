package advise

import "evenstand"

// catchGranules is the catch of calibration C5: over 653.4 ft the ounces of a
// row, times 50 over the row width in inches, are pounds an acre; over 200 m the
// grams of a row, times 5 over the row width in centimetres, are kilograms a
// hectare.
const catchGranules = "tie bags to the tubes of three rows, plant {653 ft|200 m} at working speed and weigh them: {the ounces of a row times 50, over the row width in inches, are pounds an acre|the grams of a row times 5, over the row width in centimetres, are kilograms a hectare}"

// CautionGranules go with boxes and tubes that hold granules, CautionBag with a
// catch of them, CautionOver with a rate above what was asked for.
const (
	CautionGranules = "Granules and their dust, treated seed beside them: gloves, eye cover and mask as the labels ask, no compressed air in an open box, nothing spilt."
	CautionBag      = "To catch granules, tie the bags on and take them off with the planter standing, key out and drives isolated; nobody walks beside a planter that moves. What was caught goes back into the box."
	CautionOver     = "Over the label's rate it is a matter of compliance: keep the record, and ask the licensed applicator before going on."
)

// overRate gives the caution about a rate over what was asked for.
func overRate(f *evenstand.Finding) []string {
	if f.Kind == evenstand.KindLabelCap {
		return []string{CautionOver}
	}
	for _, name := range []string{"granules over its peers'", "granules over their target"} {
		if x, ok := Figure(f, name); ok && x > 1 {
			return []string{CautionOver}
		}
	}
	return nil
}

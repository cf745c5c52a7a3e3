package advise

import "evenstand"

// The words of caution that go with advice to look at or touch the machine,
// and those about product and rate.
const (
	CautionStop   = "Stop as you stand; do not lower it standing still (tubes plug), roll forward while lowering."
	CautionUnder  = "To look underneath: lift fully, lock the lift, chock."
	CautionOff    = "Tractor off, key out, drives isolated, fans standing, pressure off."
	CautionGloves = "Gloves and mask as the seed and insecticide labels ask."
	CautionLiquid = "Liquid pump off and the pressure let out before a line is opened; gloves and eye cover as the product's label asks, clean water at hand."
	CautionCatch  = "To catch liquid, pump off and key out first: planter standing, lifted and locked, wheels blocked, PTO and fan off, drives isolated. Set the jugs under, stand clear, run the pump for the minute from the seat; pump off and pressure let out before anyone takes them. A pump that hangs on the PTO or on a wheel: do not catch, weigh what the tank lost."
	CautionGauge  = "A gauge shows nothing while the fan stands: read it from the seat, or from where fan, belt and shaft are out of reach."
	CautionForce  = "Hydraulic and air pressure let out before a hose, a cylinder or an air bag is touched: a fine jet of oil goes through skin, and a row can drop or rise by itself."
	CautionLabel  = "The label is the law: its rate, its limits and what it says about who may apply it; local rules and the licensed applicator govern."
	CautionRate   = "Talk to your agronomist before a replant or a rate change that others pay for."
)

// afterFan is said with what the data cannot tell wherever discs are judged.
const afterFan = "After a fan stop the first two turns of every disc are not judged."

// touch says what following a piece of advice comes near to.
type touch uint16

const (
	machine  touch = 1 << iota // one leaves the seat and looks at or touches the machine
	under                      // one gets underneath, or below a lifted row
	seed                       // one touches seed, or a meter that holds it
	pressure                   // one touches what presses the rows down
	product                    // one touches liquid, or lines that hold it
	catch                      // one catches liquid while its pump runs
	granules                   // one touches boxes or tubes that hold granules
	bag                        // one catches granules
)

// touches says what the advice for a cause touches; an unknown cause touches
// everything.
func touches(kind, cause string) touch {
	switch cause {
	case evenstand.CauseSwitchedOff, evenstand.CauseSetting, evenstand.CauseRock, evenstand.CauseClock, evenstand.CauseClockSaid, evenstand.CauseLogOff, evenstand.CauseSpeed, evenstand.CauseTurnOff, evenstand.CauseRowOrder, evenstand.CauseCard, evenstand.CauseCorrection, evenstand.CauseShade,
		evenstand.CauseRowsOff, evenstand.CauseStripMissed, evenstand.CauseCornerLeft, evenstand.CauseLeftForLater, evenstand.CauseSectionDelay, evenstand.CauseWidthSetting, evenstand.CauseDrift, evenstand.CauseGuidanceOffset, evenstand.CauseNoSections,
		evenstand.CauseProductOverlap, evenstand.CauseTwoPasses:
		return 0
	case evenstand.CauseSectionCtl:
		if kind == evenstand.KindRowLeftOff { // the section's setting in the cab
			return 0
		}
		return machine | under
	case evenstand.CauseLiquidControl, evenstand.CauseForceLight, evenstand.CauseForceGain, evenstand.CauseFlowGain:
		return 0
	case evenstand.CauseForceHeavy: // the furrow is looked at after each step
		return machine
	case evenstand.CauseForceRow, evenstand.CauseForceAir, evenstand.CauseOpenerWorn, evenstand.CauseBarLevel:
		return machine | under | pressure
	case evenstand.CauseOrificePlugged, evenstand.CauseOrificeSize, evenstand.CauseLiquidHose, evenstand.CauseCheckValve:
		return machine | under | product
	case evenstand.CauseGranulesBridged, evenstand.CauseGranuleGate:
		return machine | granules
	case evenstand.CauseGranuleCalibration:
		return machine | under | granules | bag
	case evenstand.CauseLotNote:
		return 0
	case evenstand.CauseWrongFill, evenstand.CauseLot:
		return machine | seed
	case evenstand.CauseProductRate:
		return machine | product | granules
	case evenstand.CauseLiquidOff, evenstand.CauseGranulesOff, evenstand.CauseDrying, evenstand.CauseColdWeather:
		return 0
	case evenstand.CauseLeak, evenstand.CauseGauge, evenstand.CauseUneven:
		return machine | under | product
	case evenstand.CauseUsedUp:
		return machine | seed | product
	case evenstand.CausePump, evenstand.CauseFlowMeter, evenstand.CauseLiquidEmpty, evenstand.CauseValveLate,
		evenstand.CauseLiquidAir, evenstand.CausePumpDrive, evenstand.CausePumpWorn, evenstand.CauseStrainer:
		return machine | product
	case evenstand.CauseDepth, evenstand.CauseSoilThere, evenstand.CauseResidueThere, evenstand.CauseWetWall: // one digs
		return machine | seed
	case evenstand.CauseCleanerDeep, evenstand.CauseCleanerLight, evenstand.CauseCleanerPlugged:
		return machine | under
	case evenstand.CauseCleanerAir:
		return machine | under | pressure
	case evenstand.CauseClosing, evenstand.CauseFirmer, evenstand.CauseHairpin:
		return machine | under | seed
	case evenstand.CauseFan, evenstand.CauseSpeedSource, evenstand.CauseSectionOffset, evenstand.CauseCardOffset:
		return machine
	case evenstand.CauseCell, evenstand.CauseWeakCell, evenstand.CauseSeal, evenstand.CauseSingulator, evenstand.CauseSeedFit, evenstand.CauseCellCount, evenstand.CauseEmpty, evenstand.CauseBridging:
		return machine | seed
	}
	return machine | under | seed
}

// checks says what the hand checks of a kind touch, those that cannotSay names.
func checks(kind string) touch {
	switch kind {
	case evenstand.KindRowSkips, evenstand.KindSensorDoubt, evenstand.KindRecurringUpset: // sensors are swapped in the tubes
		return machine | under | seed
	case evenstand.KindRowStopped, evenstand.KindBlockedCell, evenstand.KindWeakCell, evenstand.KindRowDoubles, evenstand.KindRateOff,
		evenstand.KindRowBounce, evenstand.KindSpeedSpacing, evenstand.KindRowDrive, evenstand.KindStarvedRow,
		evenstand.KindContactLoss, evenstand.KindOverload, evenstand.KindForceHunting,
		evenstand.KindDryFurrow, evenstand.KindColdFurrow, evenstand.KindDirtyFurrow, evenstand.KindCleanerUpset, evenstand.KindSlotOpen: // one digs, weighs seed or opens a box or a meter
		return machine | seed
	case evenstand.KindRefillSoon, evenstand.KindLotMismatch: // one looks into the boxes
		return machine | seed
	case evenstand.KindLowVacuum,
		evenstand.KindUnplantedLeft, evenstand.KindLateSection, evenstand.KindOverlap, evenstand.KindCoverGap, evenstand.KindGuessRow, evenstand.KindOffsetDoubt: // one digs, or tapes, beside the machine
		return machine
	case evenstand.KindLiquidRowLow, evenstand.KindLiquidRowHigh, evenstand.KindLiquidRateOff, evenstand.KindSeedWithoutLiquid, evenstand.KindLiquidWithoutSeed, evenstand.KindPuddle, evenstand.KindTankDisagrees, evenstand.KindFillImbalance:
		return machine | under | product | catch
	case evenstand.KindPumpLimit:
		return machine | product
	case evenstand.KindGranularRowOff, evenstand.KindGranularRateOff:
		return machine | under | granules | bag
	}
	return 0
}

// reach says what the advice of a finding touches; unlike the cautions it leaves
// the hand checks out. Nothing: it is followed from the seat.
func reach(f *evenstand.Finding) touch {
	var t touch
	if dig, ok := unseen(f); ok {
		t = touches(f.Kind, dig.Cause)
	}
	if over(f) {
		if r, ok := toldPart(f); ok {
			return t | touches(f.Kind, r.Cause)
		}
		return t | looks[f.Kind].touch
	}
	for _, s := range stepsOf(f, "") {
		t |= touches(f.Kind, s.Cause)
	}
	return t
}

// Due says when a finding is to be acted on, empty where there is no hurry.
func Due(f *evenstand.Finding) string {
	switch f.When {
	case evenstand.Now:
		return "Now"
	case evenstand.NextStop:
		return "At the next stop"
	case evenstand.BeforeLeaving:
		return "Before leaving"
	case evenstand.Tonight:
		return "Tonight"
	case evenstand.SideDress:
		return "At side-dress"
	case evenstand.Winter:
		return "In winter"
	}
	return ""
}

// CautionShort is the caution where there is room for one line.
const CautionShort = "Before you leave the seat: stop, lift and lock, key out."

// Brief gives the cautions of the advice of a finding, its hand checks left out,
// where there is room for few lines: CautionShort for those about the machine,
// then what is asked besides, such as gloves and a mask for treated seed.
func Brief(f *evenstand.Finding) []string {
	out := []string{}
	t := reach(f)
	if t != 0 {
		out = append(out, CautionShort)
	}
	return append(append(out, besides(f.Kind, t)...), overRate(f)...)
}

// cautions gives the words of caution in the order to read them: those of the
// advice, which touches t, and those of the kind's hand checks.
func cautions(kind string, t touch) []string {
	out := []string{}
	t |= checks(kind)
	if t&machine != 0 {
		out = append(out, CautionStop)
	}
	if t&under != 0 {
		out = append(out, CautionUnder)
	}
	if t&machine != 0 {
		out = append(out, CautionOff)
	}
	return append(out, besides(kind, t)...)
}

// besides gives the words of caution that go with what advice touches, those
// about standing, lifting and switching off left out.
func besides(kind string, t touch) []string {
	var out []string
	if t&seed != 0 {
		out = append(out, CautionGloves)
	}
	if t&pressure != 0 {
		out = append(out, CautionForce)
	}
	if t&product != 0 {
		out = append(out, CautionLiquid)
	}
	if t&catch != 0 {
		out = append(out, CautionCatch)
	}
	if t&granules != 0 {
		out = append(out, CautionGranules)
	}
	if t&bag != 0 {
		out = append(out, CautionBag)
	}
	switch kind {
	case evenstand.KindLiquidRowLow, evenstand.KindLiquidRowHigh, evenstand.KindLiquidRateOff, evenstand.KindSeedWithoutLiquid, evenstand.KindLiquidWithoutSeed, evenstand.KindPuddle, evenstand.KindTankDisagrees, evenstand.KindFillImbalance, evenstand.KindFlowHunting, evenstand.KindPumpLimit, evenstand.KindGranularRowOff, evenstand.KindGranularRateOff, evenstand.KindLabelCap:
		out = append(out, CautionLabel)
	case evenstand.KindLowVacuum:
		out = append(out, CautionGauge)
	case evenstand.KindRowStopped, evenstand.KindRowLeftOff, evenstand.KindRateOff, evenstand.KindLotMismatch:
		out = append(out, CautionRate)
	}
	return out
}

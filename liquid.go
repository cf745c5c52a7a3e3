package evenstand

// Kinds of finding about liquid.
const (
	KindLiquidRowLow  = "liquid-row-low"
	KindLiquidRowHigh = "liquid-row-high"
	KindLiquidRateOff = "liquid-rate-off"
)

// MissedStarter is m2 of row without starter, part doses added up to whole
// ones.
const MissedStarter HarmKind = "missed starter"

// Causes of findings about liquid.
const (
	CauseOrificePlugged = "orifice or strainer plugged"
	CauseOrificeSize    = "wrong orifice"
	CauseLiquidHose     = "liquid hose or fitting"
	CauseCheckValve     = "check valve"
	CausePump           = "pump or suction strainer"
	CauseFlowMeter      = "flow meter calibration"
	CauseLiquidControl  = "liquid rate control"
)

// Kinds of finding about liquid that runs while nothing is planted, or does not
// while something is.
const (
	KindSeedWithoutLiquid = "seed-without-liquid"
	KindLiquidWithoutSeed = "liquid-without-seed"
	KindPuddle            = "puddle"
)

// Causes of these.
const (
	CauseLiquidOff   = "pump or main valve off"
	CauseLiquidEmpty = "tank empty"
	CauseValveLate   = "section valve or its timing"
)

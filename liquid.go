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

package evenstand

// Kinds of finding about what swings without need, and about a pump that cannot
// keep up.
const (
	KindForceHunting = "force-hunting"
	KindFlowHunting  = "flow-hunting"
	KindPumpLimit    = "pump-limit"
)

// Causes of these.
const (
	CauseForceGain = "row force gain"
	CauseForceAir  = "air in the oil of the row force"
	CauseFlowGain  = "liquid valve gain"
	CauseLiquidAir = "air in the liquid line"
	CausePumpDrive = "pump drive"
	CausePumpWorn  = "pump worn or too small"
	CauseStrainer  = "suction strainer"
)

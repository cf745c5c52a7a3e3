package evenstand

// Kinds of finding about the load on gauge wheels.
const (
	KindContactLoss = "contact-loss"
	KindOverload    = "overload"
)

// Causes of findings about the load on gauge wheels.
const (
	CauseForceLight = "row force too light"
	CauseForceHeavy = "row force too heavy"
	CauseForceRow   = "row force actuator"
	CauseOpenerWorn = "worn opener or mud on the wheels"
	CauseBarLevel   = "bar height or level"
)

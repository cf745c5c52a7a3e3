package evenstand

// The causes that findings offer, in plain words. They are stable: the
// simulator's truth, the odds and the advice all use them.
const (
	CauseCell        = "blocked or broken cell"
	CauseWeakCell    = "chipped or worn cell"
	CauseSeal        = "worn seal or disc"
	CauseSingulator  = "singulator set or worn"
	CauseSeedFit     = "seed does not fit the disc"
	CauseFan         = "fan"
	CauseHose        = "hose, seal or screen on that side"
	CauseDrive       = "meter drive"
	CauseTube        = "seed tube blocked"
	CauseSensor      = "seed sensor"
	CauseEmpty       = "out of seed or bridged"
	CauseSwitchedOff = "switched off"
	CauseSectionCtl  = "section control"
	CauseCellCount   = "wrong cell count set"
	CauseSpeedSource = "wheel or radar calibration"
	CauseSetting     = "rate setting"
	CauseBridging    = "seed bridging or sticky"
	CauseDelivery    = "seed delivery"
	CauseRock        = "passing trouble"
	CausePlug        = "plug or power of the box"
	CauseLogOff      = "log switched off or full"
	CauseTubeWorn    = "seed tube worn or loose"
	CauseArms        = "worn arms or bushings"
	CauseRelease     = "seed let go late"
	CauseClock       = "clock not set"
	CauseCoupling    = "bent or loose coupling"
	CauseChain       = "worn chain, link or sprocket"
	CauseSpeed       = "driving too fast"
)

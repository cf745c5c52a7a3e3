package evenstand

// Kinds of finding about the seed furrow.
const (
	KindDryFurrow    = "dry-furrow"
	KindColdFurrow   = "cold-furrow"
	KindDirtyFurrow  = "dirty-furrow"
	KindCleanerUpset = "cleaner-upset"
	KindSlotOpen     = "slot-open"
)

// SlotResidue is m2 planted with more trash in the slot than the limit.
const SlotResidue HarmKind = "residue in the slot"

// Causes of findings about the seed furrow.
const (
	CauseDrying         = "drying weather"
	CauseDepth          = "planting depth"
	CauseSoilThere      = "soil of that zone"
	CauseColdWeather    = "cold hour or weather"
	CauseResidueThere   = "heavy residue there"
	CauseCleanerDeep    = "row cleaner set too deep"
	CauseCleanerLight   = "row cleaner set too light"
	CauseCleanerPlugged = "row cleaner plugged"
	CauseCleanerAir     = "row cleaner's air or float"
	CauseClosing        = "closing wheel"
	CauseFirmer         = "seed firmer"
	CauseHairpin        = "straw tucked in by the opener"
	CauseWetWall        = "wet sidewall"
)

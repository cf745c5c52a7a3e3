package evenstand

// Applied says what a trip of the bar put into or onto the ground.
type Applied uint8

// What can be applied.
const (
	AppliedSeed Applied = iota
	AppliedLiquid
	AppliedGranular
)

// String gives the word: seed, liquid, granular.
func (a Applied) String() string { return [...]string{"seed", "liquid", "granular"}[a] }

// Worked is ground that neighbouring rows worked in one go: from where they
// began to where they ended. Of seed it runs from half a spacing before the
// first seed to half a spacing after the last.
type Worked struct {
	Pass     int32 // index of the pass within the machine-day
	From, To int16 // rows
	S0, S1   int32 // mm along the path of the bar's centre, from the pass's start
	Applied  Applied
	Grade    Grade // A by seed times, B by counts or flow by the second, C by what was switched on
}

// Kinds of finding about the ground that was worked.
const (
	KindUnplantedLeft = "unplanted-left"
	KindLateSection   = "late-section"
	KindGuessRow      = "guess-row"
	KindOverlap       = "overlap"
	KindCoverGap      = "cover-gap"
	KindOffsetDoubt   = "offset-doubt"
)

// Causes of these.
const (
	CauseRowsOff        = "rows off or without seed"
	CauseStripMissed    = "strip missed between passes"
	CauseCornerLeft     = "corner or edge left"
	CauseLeftForLater   = "left for later"
	CauseSectionDelay   = "delay of the sections"
	CauseSectionOffset  = "distance set from receiver to rows"
	CauseWidthSetting   = "working width set"
	CauseDrift          = "planter drifting to the side"
	CauseGuidanceOffset = "sideways offset set in the guidance"
	CauseCardOffset     = "sideways offset on the planter card"
	CauseNoSections     = "rows not switched off over planted ground"
)

// OfField tells whether a kind is about the ground of a field as a whole, over
// all of its days.
func OfField(kind string) bool {
	switch kind {
	case KindUnplantedLeft, KindLateSection, KindGuessRow, KindOverlap, KindCoverGap, KindOffsetDoubt, KindLabelCap:
		return true
	}
	return false
}

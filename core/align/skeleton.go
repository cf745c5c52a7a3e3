package align

import "evenstand"

// Lowering gathers what tells when the planter was in the ground.
type Lowering struct{}

// NewLowering starts for a planter of so many rows, 0 unknown.
func NewLowering(rows int) *Lowering { panic("to come") }

// Reading takes in a reading; quantities that tell nothing are let pass.
func (l *Lowering) Reading(r evenstand.Reading) {}

// Seed takes in a seed.
func (l *Lowering) Seed(s evenstand.Seed) {}

// Intervals gives when the planter was down and which evidence said so
// ("planter lifted", "row at work", "row switched on", "seeds", or "" for
// none). path may be nil; with it a stop in the ground is not taken for a lift.
func (l *Lowering) Intervals(path *Path) (down []Interval, basis string) { panic("to come") }

// Passes cuts the path into passes, in order of time.
func Passes(path *Path, down []Interval, opt PassOptions) []evenstand.Pass { panic("to come") }

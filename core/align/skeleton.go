package align

import (
	"evenstand"
	"evenstand/core/ground"
)

// DefaultSmooth gives the limits of the methods document.
func DefaultSmooth() SmoothOptions {
	return SmoothOptions{Accel: 0.8, RTK: 0.02, Other: 0.15, Gate: 4, MaxGap: 3}
}

// DefaultPath gives the usual limits.
func DefaultPath() PathOptions { return PathOptions{Step: 0.1, Hold: 0.3, Settle: 2, AxleLead: 1} }

// Smooth turns fixes into a smoothed track.
func Smooth(fixes []evenstand.Fix, frame ground.Frame, opt SmoothOptions) *Track { panic("to come") }

// BarPath follows the bar behind the antenna.
func BarPath(track *Track, geometry evenstand.Geometry, opt PathOptions) *Path { panic("to come") }

// Cursor reads a path at one moment after another.
type Cursor struct{}

// Cursor gives a reader of the path.
func (p *Path) Cursor() *Cursor { panic("to come") }

// At gives the bar at a moment; quick when moments come in order.
func (c *Cursor) At(t evenstand.Micros) Pose { panic("to come") }

// AtSeconds gives the bar at a moment some seconds after t, such as when a
// seed that the sensor saw at t reached the furrow.
func (c *Cursor) AtSeconds(t evenstand.Micros, later float64) Pose { panic("to come") }

// RowWay gives the row's own odometer: differences are metres along the row's
// way, S − y·Psi. Right rows go slower in a right turn.
func RowWay(p Pose, y float64) float64 { return p.S - y*p.Psi }

// RowPlace gives the place of the row, metres east and north.
func RowPlace(p Pose, y float64) (e, n float64) { panic("to come") }

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

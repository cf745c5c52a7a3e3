package align

import (
	"evenstand"
	"evenstand/core/ground"
)

// SmoothOptions are the limits of Smooth. DefaultSmooth gives the usual ones.
type SmoothOptions struct {
	Accel   float64 // m/s2 per √s by which the acceleration wanders
	RTK     float64 // m, SD of an RTK fix on each axis
	Other   float64 // m, SD of any other fix whose kind is known
	Gate    float64 // SDs beyond which a fix is skipped
	MaxGap  float64 // s without a fix after which a new piece begins
	Latency float64 // s by which the receiver's places are older than their times say
}

// Track is the smoothed way of the antenna. Slices run in parallel, one entry
// for each moment that has a fix.
type Track struct {
	Frame  ground.Frame
	T      []evenstand.Micros // rising; latency taken off
	E, N   []float64          // m
	VE, VN []float64          // m/s
	AE, AN []float64          // m/s2
	SD     []float64          // m, on each axis
	VSD    []float64          // m/s, on each axis
	Pieces []Piece            // stretches without a gap
	Report TrackReport
}

// Piece is a run of entries [From, To) without a gap.
type Piece struct{ From, To int }

// TrackReport says what became of the fixes.
type TrackReport struct {
	Fixes      int     // handed in
	NoPlace    int     // dropped: place 0/0, not a number or off the globe, or of kind FixNone
	Duplicates int     // dropped: the time of another fix
	Disordered int     // put back into order of time
	Skipped    int     // beyond the gate
	Gaps       int     // pieces less one
	SD         float64 // m, SD taken for fixes of unknown kind; NaN when there were none
}

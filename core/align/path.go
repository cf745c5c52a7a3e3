package align

import (
	"evenstand"
	"evenstand/core/ground"
)

// PathOptions are the limits of BarPath. DefaultPath gives the usual ones.
type PathOptions struct {
	Step     float64 // s between the entries of the path
	Hold     float64 // m/s below which the heading is held
	Settle   float64 // m of travel, in lengths of hitch to row line, before a trailed bar's heading is trusted
	AxleLead float64 // m, tractor's rear axle ahead of the hitch point
}

// Path is where the bar's centre was, at even steps inside each piece. Slices
// run in parallel.
type Path struct {
	Frame   ground.Frame
	T       []evenstand.Micros
	E, N    []float64 // m, of the bar's centre on the ground, at the seed line
	Psi     []float64 // rad, heading of the bar, unwrapped
	S       []float64 // m along the path of the bar's centre since the first entry
	V       []float64 // m/s of the bar's centre along its heading, negative backing up
	SD      []float64 // m, of the place of the bar's centre on each axis
	PsiSD   []float64 // rad
	Settled []bool    // false while a trailed bar's heading is not yet known
	Pieces  []Piece
	// Notes say in whole sentences what the card did not tell and what follows.
	Notes []string
	// Antenna is true when the geometry is unknown and the path is the antenna's.
	Antenna bool
}

// Pose is the bar at one moment.
type Pose struct {
	E, N  float64 // m, of the bar's centre
	Psi   float64 // rad, heading, unwrapped
	S     float64 // m along the path
	V     float64 // m/s along the heading
	Kappa float64 // 1/m, curvature, positive turning right; 0 below Hold
	SD    float64 // m
	PsiSD float64 // rad
	OK    bool    // the moment lies in a piece and the heading has settled
}

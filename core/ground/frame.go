package ground

import "math"

// Frame is a flat frame in metres about an origin on the ground: transverse
// Mercator of scale 1 on the origin's meridian. There and back is exact to
// well under a millimetre anywhere within 1,000 km. Lengths are those of the
// ground times 1 + E²/2R²: 0.01 mm too long per 100 m at 3 km east of the
// origin, 0.12 mm at 10 km.
type Frame struct {
	Lat0, Lon0 float64 // of the origin, degrees
	n0         float64 // northing of the origin before shifting, m
}

// NewFrame makes the frame about a place in degrees.
func NewFrame(lat, lon float64) Frame {
	_, n := forward(lat*deg, 0)
	return Frame{Lat0: lat, Lon0: lon, n0: n}
}

// ToLocal turns degrees into metres east and north of the origin.
func (f Frame) ToLocal(lat, lon float64) (e, n float64) {
	e, n = forward(lat*deg, wrap(lon-f.Lon0)*deg)
	return e, n - f.n0
}

// ToGlobal turns metres east and north of the origin into degrees.
func (f Frame) ToGlobal(e, n float64) (lat, lon float64) {
	phi, lam := inverse(e, n+f.n0)
	return phi / deg, wrap(f.Lon0 + lam/deg)
}

// Convergence gives the angle in radians from true north to the frame's north
// at a place, clockwise positive: add it to a heading in the frame to get the
// heading on the globe.
func (f Frame) Convergence(e, n float64) float64 {
	return f.ConvergenceAt(f.ToGlobal(e, n))
}

// ConvergenceAt is Convergence at a place in degrees.
func (f Frame) ConvergenceAt(lat, lon float64) float64 {
	return math.Atan(math.Tan(wrap(lon-f.Lon0)*deg) * math.Sin(lat*deg))
}

package cover

import (
	"math"

	"evenstand"
	"evenstand/core/ground"
)

// Pose is the bar's centre at one moment: metres east and north, the heading of
// the bar in radians clockwise from north, and its speed in m/s.
type Pose struct {
	E, N, Psi float64
	T         evenstand.Micros
	V         float64
}

// Right gives the place y metres right of the bar's centre.
func (p Pose) Right(y float64) ground.Point {
	s, c := math.Sincos(p.Psi)
	return ground.Point{p.E + y*c, p.N - y*s}
}

// Ahead moves a pose along its heading, m.
func (p Pose) Ahead(d float64) Pose {
	s, c := math.Sincos(p.Psi)
	p.E, p.N = p.E+d*s, p.N+d*c
	return p
}

// Swath is ground that neighbouring rows worked in one go, from where they
// began to where they ended.
type Swath struct {
	Pass        int     // of the machine-day or of the field; swaths of one pass are of one trip of the bar
	Left, Right float64 // m from the bar's centre to the edges; right is positive
	At          []Pose  // in order of time, two at least
	Lead        []Pose  // of the same trip before it, some metres; may be empty
	Error       float64 // m, half-width of the 90 % interval of an edge's place; NaN unknown
}

// Width is how wide the swath is, m.
func (s *Swath) Width() float64 { return s.Right - s.Left }

// thin leaves out poses that the edges do without: within off metres of them.
func (s *Swath) thin(off float64) []Pose {
	if len(s.At) < 3 {
		return s.At
	}
	far := s.Left
	if math.Abs(s.Right) > math.Abs(far) {
		far = s.Right
	}
	// The edge farther from the centre bends most; the other one is kept true by
	// the centre's own line.
	keep := map[ground.Point]bool{}
	for _, y := range []float64{far, 0} {
		line := make([]ground.Point, len(s.At))
		for i, p := range s.At {
			line[i] = p.Right(y)
		}
		for _, q := range ground.Thin(line, off) {
			keep[q] = true
		}
	}
	var out []Pose
	for i, p := range s.At {
		if i == 0 || i == len(s.At)-1 || keep[p.Right(far)] || keep[p.Right(0)] {
			out = append(out, p)
		}
	}
	return out
}

// grown gives the swath with its sides moved out by d metres and its ends by
// ahead; a negative d moves all of them in. Nothing is left of a swath narrower
// or shorter than twice that.
func (s *Swath) grown(d, ahead float64) *Swath {
	if d == 0 {
		return s
	}
	g := &Swath{Pass: s.Pass, Left: s.Left - d, Right: s.Right + d, Error: s.Error}
	if g.Right <= g.Left || len(s.At) < 2 {
		return g
	}
	at := s.At
	if d < 0 { // cut the ends
		at = cut(cut(at, -d, false), -d, true)
		if len(at) < 2 {
			return g
		}
		g.At = at
		return g
	}
	g.At = make([]Pose, 0, len(at)+2)
	g.At = append(g.At, at[0].Ahead(-ahead))
	g.At = append(g.At, at...)
	g.At = append(g.At, at[len(at)-1].Ahead(ahead))
	return g
}

// cut takes d metres off one end of a line of poses.
func cut(at []Pose, d float64, end bool) []Pose {
	out := append([]Pose(nil), at...)
	if end {
		reverse(out)
	}
	for len(out) >= 2 {
		l := math.Hypot(out[1].E-out[0].E, out[1].N-out[0].N)
		if l > d {
			u := d / l
			out[0] = between(out[0], out[1], u)
			break
		}
		d -= l
		out = out[1:]
	}
	if end {
		reverse(out)
	}
	if len(out) < 2 {
		return nil
	}
	return out
}

// between gives the pose at a share u of the way from a to b.
func between(a, b Pose, u float64) Pose {
	return Pose{
		E: a.E + u*(b.E-a.E), N: a.N + u*(b.N-a.N), Psi: a.Psi + u*(b.Psi-a.Psi),
		T: a.T + evenstand.Micros(u*float64(b.T-a.T)), V: a.V + u*(b.V-a.V),
	}
}

func reverse(at []Pose) {
	for i, j := 0, len(at)-1; i < j; i, j = i+1, j-1 {
		at[i], at[j] = at[j], at[i]
	}
}

// Quads gives the swath as four-cornered pieces between one pose and the next,
// each turning one way: where the inner edge of a tight turn goes backwards the
// piece is the hull of its corners.
func (s *Swath) quads(off float64) []ground.Ring {
	at := s.thin(off)
	var out []ground.Ring
	for i := 1; i < len(at); i++ {
		a, b := at[i-1], at[i]
		q := ground.Ring{a.Right(s.Left), b.Right(s.Left), b.Right(s.Right), a.Right(s.Right)}
		if !convex(q) {
			q = hull(q)
		}
		if len(q) >= 3 {
			out = append(out, q)
		}
	}
	return out
}

// ring gives the outline of the swath; it may cross itself.
func (s *Swath) ring(off float64) ground.Ring {
	at := s.thin(off)
	out := make(ground.Ring, 0, 2*len(at))
	for _, p := range at {
		out = append(out, p.Right(s.Left))
	}
	for i := len(at) - 1; i >= 0; i-- {
		out = append(out, at[i].Right(s.Right))
	}
	return out
}

// folds tells whether the swath may lie over itself: it turns by more than a
// right angle in all, or an edge goes backwards.
func (s *Swath) folds() bool {
	if len(s.At) < 2 {
		return false
	}
	lo, hi := s.At[0].Psi, s.At[0].Psi
	for i, p := range s.At {
		lo, hi = math.Min(lo, p.Psi), math.Max(hi, p.Psi)
		if i == 0 {
			continue
		}
		sn, cs := math.Sincos((p.Psi + s.At[i-1].Psi) / 2)
		for _, y := range []float64{s.Left, s.Right} {
			a, b := s.At[i-1].Right(y), p.Right(y)
			if (b[0]-a[0])*sn+(b[1]-a[1])*cs < 0 {
				return true
			}
		}
	}
	return hi-lo > math.Pi/2
}

func cross(o, a, b ground.Point) float64 {
	return (a[0]-o[0])*(b[1]-o[1]) - (a[1]-o[1])*(b[0]-o[0])
}

// convex tells whether a ring turns one way throughout and has an area.
func convex(r ground.Ring) bool {
	sign := 0.0
	for i := range r {
		c := cross(r[i], r[(i+1)%len(r)], r[(i+2)%len(r)])
		switch {
		case c == 0 || sign != 0 && c*sign < 0:
			return false
		case sign == 0:
			sign = c
		}
	}
	return true
}

// hull gives the convex hull of a few points, counter-clockwise; fewer than
// three corners when they lie on a line (Andrew 1979, Inf. Proc. Lett. 9:216).
func hull(r ground.Ring) ground.Ring {
	ps := append(ground.Ring(nil), r...)
	for i := 1; i < len(ps); i++ {
		for j := i; j > 0 && (ps[j][0] < ps[j-1][0] || ps[j][0] == ps[j-1][0] && ps[j][1] < ps[j-1][1]); j-- {
			ps[j], ps[j-1] = ps[j-1], ps[j]
		}
	}
	var out ground.Ring
	half := func(from, to, step int) {
		base := len(out)
		for i := from; i != to; i += step {
			for len(out) >= base+2 && cross(out[len(out)-2], out[len(out)-1], ps[i]) <= 0 {
				out = out[:len(out)-1]
			}
			out = append(out, ps[i])
		}
		out = out[:len(out)-1]
	}
	half(0, len(ps), 1)
	half(len(ps)-1, -1, -1)
	return out
}

package align

import (
	"math"
	"sort"

	"evenstand"
)

// Pose is the bar at one moment.
type Pose struct {
	E, N  float64 // m, of the bar's centre
	Psi   float64 // rad, heading, unwrapped
	S     float64 // m along the path
	V     float64 // m/s along the heading
	Kappa float64 // 1/m, curvature, positive turning right; 0 below Hold
	SD    float64 // m
	PsiSD float64 // rad
	OK    bool    // the moment lies in a piece and the heading is settled
}

// Cursor reads a path at one moment after another. Moments that come in order
// are quick; any others are right too. A cursor is for one goroutine.
type Cursor struct {
	p     *Path
	t0    evenstand.Micros
	span  uint64  // microseconds from t0 that the cubics hold for
	scale float64 // 1/span
	piece int     // the piece of the last look
	e, n  cubic
	psi   cubic
	s     cubic
	v, dv float64
	k, dk float64
	sd    float64
	psiSD float64
	ok    bool
}

// cubic is a + u(b + u(c + u d)).
type cubic struct{ a, b, c, d float64 }

func (q *cubic) at(u float64) float64 { return q.a + u*(q.b+u*(q.c+u*q.d)) }

// hermite gives the cubic with these values and slopes (per unit of u).
func hermite(x0, m0, x1, m1 float64) cubic {
	d := x1 - x0
	return cubic{x0, m0, 3*d - 2*m0 - m1, m0 + m1 - 2*d}
}

// Cursor gives a reader of the path.
func (p *Path) Cursor() *Cursor { return &Cursor{p: p} }

// At gives the bar at a moment. Outside the pieces OK is false, and the pose
// is that of the nearest end, or on the straight line across a gap.
func (c *Cursor) At(t evenstand.Micros) Pose {
	d := uint64(t - c.t0)
	if d >= c.span {
		c.seek(t)
		d = uint64(t - c.t0)
	}
	u := float64(d) * c.scale
	return Pose{
		E: c.e.at(u), N: c.n.at(u), Psi: c.psi.at(u), S: c.s.at(u),
		V: c.v + u*c.dv, Kappa: c.k + u*c.dk, SD: c.sd, PsiSD: c.psiSD, OK: c.ok,
	}
}

// Way gives the odometer and the heading of the bar at a moment, as At does.
func (c *Cursor) Way(t evenstand.Micros) (s, psi float64) {
	d := uint64(t - c.t0)
	if d >= c.span {
		c.seek(t)
		d = uint64(t - c.t0)
	}
	u := float64(d) * c.scale
	return c.s.at(u), c.psi.at(u)
}

// Row gives the odometer at a moment of the row that lies y metres right of
// the bar's centre, as RowWay does.
func (c *Cursor) Row(t evenstand.Micros, y float64) float64 {
	s, psi := c.Way(t)
	return s - y*psi
}

// Gap tells whether the last look fell between the pieces of the path, where
// the receiver was silent: way and speed are guessed there.
func (c *Cursor) Gap() bool { return math.IsNaN(c.sd) }

// AtSeconds gives the bar some seconds after t, such as when a seed that the
// sensor saw at t reached the furrow.
func (c *Cursor) AtSeconds(t evenstand.Micros, later float64) Pose {
	return c.At(t + evenstand.FromSeconds(later))
}

// seek sets the cursor to the span that holds t.
func (c *Cursor) seek(t evenstand.Micros) {
	p := c.p
	if len(p.Pieces) == 0 {
		nan := math.NaN()
		*c = Cursor{p: p, t0: evenstand.NoTime, span: math.MaxUint64, e: cubic{a: nan}, n: cubic{a: nan}, psi: cubic{a: nan}, s: cubic{a: nan}, v: nan, k: nan, sd: nan, psiSD: nan}
		if p.grows {
			c.span = 0
		}
		return
	}
	first := func(k int) evenstand.Micros { return p.T[p.Pieces[k].From] }
	last := func(k int) evenstand.Micros { return p.T[p.Pieces[k].To-1] }
	// The last piece that begins at or before t; usually the one of before, or
	// the next.
	k := min(c.piece, len(p.Pieces)-1)
	if t < first(k) || k+1 < len(p.Pieces) && t >= first(k+1) {
		if k+1 < len(p.Pieces) && t >= first(k+1) && (k+2 == len(p.Pieces) || t < first(k+2)) {
			k++
		} else {
			k = sort.Search(len(p.Pieces), func(i int) bool { return first(i) > t }) - 1
		}
	}
	if k < 0 { // before the first piece
		c.still(p.Pieces[0].From, evenstand.NoTime, uint64(first(0)-evenstand.NoTime))
		c.piece = 0
		return
	}
	c.piece = k
	if t >= last(k) {
		i := p.Pieces[k].To - 1
		if k+1 == len(p.Pieces) {
			c.still(i, p.T[i], math.MaxInt64) // no moment before it is that far
			if p.grows {
				c.span = 0 // the next look may find more
			}
		} else {
			c.across(i, i+1)
		}
		return
	}
	from := p.Pieces[k].From
	c.between(p.Pieces[k], from+int((t-p.T[from])/p.step))
}

// still holds entry i for a span from t0.
func (c *Cursor) still(i int, t0 evenstand.Micros, span uint64) {
	p := c.p
	c.t0, c.span, c.scale, c.ok = t0, span, 0, false
	c.e, c.n, c.psi, c.s = cubic{a: p.E[i]}, cubic{a: p.N[i]}, cubic{a: p.Psi[i]}, cubic{a: p.S[i]}
	c.v, c.dv, c.k, c.dk, c.sd, c.psiSD = 0, 0, 0, 0, math.NaN(), math.NaN()
}

// across goes straight over the gap between entries i and j.
func (c *Cursor) across(i, j int) {
	p := c.p
	span := p.T[j] - p.T[i]
	c.still(i, p.T[i], uint64(span))
	c.scale = 1 / float64(span)
	c.e.b, c.n.b, c.psi.b, c.s.b = p.E[j]-p.E[i], p.N[j]-p.N[i], p.Psi[j]-p.Psi[i], p.S[j]-p.S[i]
	c.v = c.s.b / span.Seconds()
}

// between sets the cubics between entries i and i+1 of a piece.
func (c *Cursor) between(piece Piece, i int) {
	p := c.p
	j := i + 1
	h, o := max(i-1, piece.From), min(j+1, piece.To-1)
	// Slopes by central differences, one-sided at the ends of the piece.
	wi, wj := 1/float64(j-h), 1/float64(o-i)
	c.t0, c.span, c.scale = p.T[i], uint64(p.step), 1/float64(p.step)
	c.e = hermite(p.E[i], (p.E[j]-p.E[h])*wi, p.E[j], (p.E[o]-p.E[i])*wj)
	c.n = hermite(p.N[i], (p.N[j]-p.N[h])*wi, p.N[j], (p.N[o]-p.N[i])*wj)
	m0, m1 := (p.Psi[j]-p.Psi[h])*wi, (p.Psi[o]-p.Psi[i])*wj
	c.psi = hermite(p.Psi[i], m0, p.Psi[j], m1)
	// S must not fall: slopes at most three times that of the span (Fritsch
	// and Carlson 1980).
	d := p.S[j] - p.S[i]
	c.s = hermite(p.S[i], math.Min((p.S[j]-p.S[h])*wi, 3*d), p.S[j], math.Min((p.S[o]-p.S[i])*wj, 3*d))
	c.v, c.dv = p.V[i], p.V[j]-p.V[i]
	c.k, c.dk = 0, 0
	if math.Abs(p.V[i]) > p.hold && math.Abs(p.V[j]) > p.hold {
		per := 1 / p.step.Seconds()
		c.k = m0 * per / p.V[i]
		c.dk = m1*per/p.V[j] - c.k
	}
	c.sd, c.psiSD = p.SD[i], p.PsiSD[i]
	c.ok = p.Settled[i]
}

// RowWay gives the row's own odometer in metres: the way of a row from one
// moment to another is the difference, S − y·Psi. Turning right makes the
// rows on the right slower: v_row = v − ψ′·y.
func RowWay(p Pose, y float64) float64 { return p.S - y*p.Psi }

// RowPlace gives the place of the row that lies y metres right of the bar's
// centre, metres east and north.
func RowPlace(p Pose, y float64) (e, n float64) {
	s, c := math.Sincos(p.Psi)
	return p.E + y*c, p.N - y*s
}

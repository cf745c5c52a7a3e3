package ground

import (
	"math"

	"evenstand"
)

// Point is a place in a Frame: metres east and north.
type Point [2]float64

// Polygon is an outer ring and its holes in metres. Rings need not repeat
// their first point, and may turn either way.
type Polygon []Ring

// Ring is a closed line of at least three points.
type Ring []Point

// signed gives the area of a ring, positive when it turns counter-clockwise,
// and its first moments, about the ring's first point for exactness.
func (r Ring) signed() (area, me, mn float64) {
	if len(r) < 3 {
		return 0, 0, 0
	}
	o := r[0]
	for i := range r {
		j := i + 1
		if j == len(r) {
			j = 0
		}
		ax, ay := r[i][0]-o[0], r[i][1]-o[1]
		bx, by := r[j][0]-o[0], r[j][1]-o[1]
		c := ax*by - bx*ay
		area += c
		me += (ax + bx) * c
		mn += (ay + by) * c
	}
	area /= 2
	return area, me/6 + area*o[0], mn/6 + area*o[1]
}

// Area gives the area inside the outer ring less that of the holes, m2.
func (p Polygon) Area() float64 {
	total := 0.0
	for i, r := range p {
		a, _, _ := r.signed()
		if i == 0 {
			total = math.Abs(a)
		} else {
			total -= math.Abs(a)
		}
	}
	return total
}

// Centroid gives the centre of gravity; NaN for a polygon without area.
func (p Polygon) Centroid() Point {
	var a, e, n float64
	for i, r := range p {
		ra, re, rn := r.signed()
		sign := 1.0
		if (ra < 0) != (i > 0) {
			sign = -1
		}
		a, e, n = a+sign*ra, e+sign*re, n+sign*rn
	}
	if a == 0 {
		return Point{math.NaN(), math.NaN()}
	}
	return Point{e / a, n / a}
}

// Contains tells whether a place lies inside; on the line either answer may
// come.
func (p Polygon) Contains(q Point) bool {
	in := false
	for _, r := range p {
		for i, j := 0, len(r)-1; i < len(r); j, i = i, i+1 {
			if (r[i][1] > q[1]) != (r[j][1] > q[1]) &&
				q[0] < (r[j][0]-r[i][0])*(q[1]-r[i][1])/(r[j][1]-r[i][1])+r[i][0] {
				in = !in
			}
		}
	}
	return in
}

// Within gives a place within a polygon in metres: its centre of gravity, or,
// where that lies outside, a little inside the middle of its longest side.
func (p Polygon) Within() Point {
	const in = 0.1 // m
	c := p.Centroid()
	if len(p) == 0 || p.Contains(c) {
		return c
	}
	best, at := 0.0, c
	r := p[0]
	for i, a := range r {
		b := r[(i+1)%len(r)]
		l := math.Hypot(b[0]-a[0], b[1]-a[1])
		if l <= best {
			continue
		}
		e, n := (b[1]-a[1])/l*in, -(b[0]-a[0])/l*in
		for _, s := range []float64{1, -1} {
			if q := (Point{(a[0]+b[0])/2 + s*e, (a[1]+b[1])/2 + s*n}); p.Contains(q) {
				best, at = l, q
			}
		}
	}
	return at
}

// Distance gives the metres from a place to the nearest line of the polygon,
// holes included; +Inf for a polygon without lines.
func (p Polygon) Distance(q Point) float64 {
	best := math.Inf(1)
	for _, r := range p {
		for i, j := 0, len(r)-1; i < len(r); j, i = i, i+1 {
			best = math.Min(best, distance2(r[j], r[i], q))
		}
	}
	return math.Sqrt(best)
}

// distance2 gives the squared distance from q to the stretch of line a–b.
func distance2(a, b, q Point) float64 {
	dx, dy := b[0]-a[0], b[1]-a[1]
	px, py := q[0]-a[0], q[1]-a[1]
	t := 0.0
	if l := dx*dx + dy*dy; l > 0 {
		t = math.Min(1, math.Max(0, (px*dx+py*dy)/l))
	}
	ex, ey := px-t*dx, py-t*dy
	return ex*ex + ey*ey
}

// Cross gives the place where two stretches of line meet, as shares of the way
// along a–b and c–d; false when they do not meet or run side by side.
func Cross(a, b, c, d Point) (t, u float64, ok bool) {
	rx, ry := b[0]-a[0], b[1]-a[1]
	sx, sy := d[0]-c[0], d[1]-c[1]
	det := rx*sy - ry*sx
	if det == 0 {
		return 0, 0, false
	}
	wx, wy := c[0]-a[0], c[1]-a[1]
	t = (wx*sy - wy*sx) / det
	u = (wx*ry - wy*rx) / det
	return t, u, t >= 0 && t <= 1 && u >= 0 && u <= 1
}

// Region is a field's boundary in a Frame.
type Region struct {
	Name     string
	Frame    Frame
	Polygons []Polygon
	lo, hi   Point
}

// NewRegion puts a field's boundary into a frame. Rings of fewer than three
// corners are left out.
func NewRegion(f Frame, field evenstand.Field) *Region {
	g := &Region{Name: field.Name, Frame: f, lo: Point{math.Inf(1), math.Inf(1)}, hi: Point{math.Inf(-1), math.Inf(-1)}}
	for _, poly := range field.Polygons {
		var p Polygon
		for k, ring := range poly {
			var r Ring
			for _, c := range ring {
				e, n := f.ToLocal(c[1], c[0])
				if q := (Point{e, n}); len(r) == 0 || r[len(r)-1] != q {
					r = append(r, q)
				}
			}
			if len(r) > 1 && r[0] == r[len(r)-1] {
				r = r[:len(r)-1]
			}
			if len(r) < 3 {
				if k == 0 { // no outer line, no polygon
					break
				}
				continue
			}
			p = append(p, r)
			for _, q := range r {
				for i := range q {
					g.lo[i], g.hi[i] = math.Min(g.lo[i], q[i]), math.Max(g.hi[i], q[i])
				}
			}
		}
		if len(p) > 0 {
			g.Polygons = append(g.Polygons, p)
		}
	}
	return g
}

// Area gives the area of the field, m2.
func (g *Region) Area() float64 {
	a := 0.0
	for _, p := range g.Polygons {
		a += p.Area()
	}
	return a
}

// Contains tells whether a place in the frame lies in the field.
func (g *Region) Contains(e, n float64) bool {
	if !(e >= g.lo[0] && e <= g.hi[0] && n >= g.lo[1] && n <= g.hi[1]) {
		return false
	}
	for _, p := range g.Polygons {
		if p.Contains(Point{e, n}) {
			return true
		}
	}
	return false
}

// Distance gives the metres from a place to the nearest boundary line, holes
// included; +Inf when there is none.
func (g *Region) Distance(e, n float64) float64 {
	best := math.Inf(1)
	for _, p := range g.Polygons {
		best = math.Min(best, p.Distance(Point{e, n}))
	}
	return best
}

// FrameOf gives the frame about the middle of a field's box.
func FrameOf(field evenstand.Field) (Frame, bool) {
	lo, hi := [2]float64{math.Inf(1), math.Inf(1)}, [2]float64{math.Inf(-1), math.Inf(-1)}
	for _, poly := range field.Polygons {
		for _, ring := range poly {
			for _, c := range ring {
				for i := range c {
					lo[i], hi[i] = math.Min(lo[i], c[i]), math.Max(hi[i], c[i])
				}
			}
		}
	}
	if !(lo[0] <= hi[0] && lo[1] <= hi[1]) {
		return Frame{}, false
	}
	return NewFrame((lo[1]+hi[1])/2, (lo[0]+hi[0])/2), true
}

// FieldArea gives a field's area on the ellipsoid, m2: the flat area in the
// field's own frame, corrected for the frame's scale at the field. It is
// within 1 part in 10 million for fields up to about 3 km across.
func FieldArea(field evenstand.Field) float64 {
	f, ok := FrameOf(field)
	if !ok {
		return 0
	}
	return NewRegion(f, field).Area()
}

package sim

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
)

// xy is a place in metres east and north of a field's origin.
type xy struct{ x, y float64 }

func (a xy) add(b xy) xy            { return xy{a.x + b.x, a.y + b.y} }
func (a xy) sub(b xy) xy            { return xy{a.x - b.x, a.y - b.y} }
func (a xy) mul(k float64) xy       { return xy{a.x * k, a.y * k} }
func (a xy) dot(b xy) float64       { return a.x*b.x + a.y*b.y }
func (a xy) norm() float64          { return math.Sqrt(a.x*a.x + a.y*a.y) }
func (a xy) left() xy               { return xy{-a.y, a.x} }
func heading(angle float64) xy      { return xy{math.Cos(angle), math.Sin(angle)} }
func (a xy) turned(c, s float64) xy { return xy{a.x*c - a.y*s, a.x*s + a.y*c} }

// line is the way of the bar's centre over one pass: straight, or an arc with
// its curvature (left is positive).
type line struct {
	from     xy
	dir      float64 // angle of travel at the start, counter-clockwise from east
	curve    float64 // 1/m
	length   float64
	headland bool
	// Where each row begins and ends, as distances along the line; nil: all at
	// 0 and length.
	start, stop []float64
}

// along gives the distance of a place along the line, and how far left of it.
func (l *line) along(p xy) (s, left float64) { return l.alongOf(p, heading(l.dir)) }

// alongOf is along for a caller that keeps the direction as a unit vector.
func (l *line) alongOf(p, h xy) (s, left float64) {
	d := p.sub(l.from)
	a, b := d.dot(h), h.x*d.y-h.y*d.x
	if l.curve == 0 {
		return a, b
	}
	r := 1 / l.curve // centre lies r to the left
	ang := math.Atan2(a, (r-b)*math.Copysign(1, r))
	return ang * math.Abs(r), (math.Abs(r) - math.Hypot(a, r-b)) * math.Copysign(1, r)
}

// field is a planned field: its boundary and its passes in planting order.
type field struct {
	plan  FieldPlan
	rings [][]xy
	lines []line
	place tangent

	missed []missed
}

// missed is ground that was left out: before the line of an index, so much.
type missed struct {
	before int
	area   float64
}

func (f *FieldPlan) check(s *Scenario) error {
	if f.Shape == "" {
		f.Shape = "rect"
	}
	if f.At == [2]float64{} {
		f.At = [2]float64{41.6, -93.5}
	}
	switch {
	case f.Name == "" || strings.ContainsAny(f.Name, "/\\,\"\n"):
		return fmt.Errorf("name %q: want a plain name", f.Name)
	case f.Passes < 1 || f.Passes > 2000:
		return fmt.Errorf("passes = %d: want 1 to 2000", f.Passes)
	case f.Headlands < 0 || f.Headlands > 4:
		return fmt.Errorf("headlands = %d: want 0 to 4", f.Headlands)
	case !(f.Length <= 5000) || !(f.Radius >= 0 && f.Radius <= 10000):
		return fmt.Errorf("length_m = %g, radius_m = %g: want at most 5000 and 10000", f.Length, f.Radius)
	case !(math.Abs(f.Heading) <= 360):
		return fmt.Errorf("heading_deg = %g: want degrees", f.Heading)
	case !(math.Abs(f.At[0]) <= 80 && math.Abs(f.At[1]) <= 180):
		return fmt.Errorf("at = %v: want latitude and longitude", f.At)
	}
	w := s.width()
	inner := f.Length - 2*float64(f.Headlands)*w
	if err := f.Ground.check(f); err != nil {
		return err
	}
	switch f.Shape {
	case "rect", "slant":
		if !(inner >= 50) {
			return fmt.Errorf("length_m = %g leaves %g m within the headlands: want 50 or more", f.Length, inner)
		}
	case "l":
		if !(f.Length/2-2*float64(f.Headlands)*w >= 50) || f.Passes < 8 {
			return fmt.Errorf("an l-shaped field wants 8 passes and half its length_m 50 m more than its headlands")
		}
	case "arc":
		if f.Radius < 30 || f.Headlands != 0 || f.Length < 50 || f.Length/f.Radius > 2.5 {
			return fmt.Errorf("a field of arcs wants radius_m of 30 or more, no headlands, and length_m from 50 to 2.5 times the radius")
		}
	default:
		return fmt.Errorf("shape %q: want rect, l, slant or arc", f.Shape)
	}
	return nil
}

// tan17 is the slope of the slanted side (simulator.md section 2).
var tan17, cos17 = math.Tan(17 * math.Pi / 180), math.Cos(17 * math.Pi / 180)

// newField lays out boundary and passes. In its own frame passes run north
// and lie side by side to the east; then it is turned to its heading.
func (s *Scenario) newField(plan FieldPlan) *field {
	f := &field{plan: plan, place: newTangent(plan.At[0], plan.At[1])}
	w := s.width()
	h := float64(plan.Headlands) * w
	n := plan.Passes
	apart := w + plan.Ground.GuessRow
	wide := float64(n)*apart + 2*h
	long := plan.Length
	north := math.Pi / 2

	top := func(float64) float64 { return long - h } // inner edge at x
	var inner []line
	switch plan.Shape {
	case "rect":
		f.rings = [][]xy{{{0, 0}, {wide, 0}, {wide, long}, {0, long}}}
	case "l":
		cut := h + float64(n*3/5)*apart
		edge := cut + h
		f.rings = [][]xy{{{0, 0}, {wide, 0}, {wide, long / 2}, {edge, long / 2}, {edge, long}, {0, long}}}
		top = func(x float64) float64 {
			if x > cut {
				return long/2 - h
			}
			return long - h
		}
	case "slant":
		f.rings = [][]xy{{{0, 0}, {wide, 0}, {wide, long + wide*tan17}, {0, long}}}
		top = func(x float64) float64 { return long + x*tan17 - h/cos17 }
	case "arc":
		// Concentric arcs about (0, 0), the innermost nearest to the centre.
		angle := long / (plan.Radius + w/2)
		outer := plan.Radius + float64(n)*w
		var in, out []xy
		const steps = 96
		for i := 0; i <= steps; i++ {
			a := heading(angle * float64(i) / steps)
			// chords of the outer edge lie inside it, so they are drawn further out
			out = append(out, a.mul(outer/math.Cos(angle/steps/2)))
			in = append(in, a.mul(plan.Radius))
		}
		ring := out
		for i := range in {
			ring = append(ring, in[len(in)-1-i])
		}
		f.rings = [][]xy{ring}
		for j := range n {
			r := plan.Radius + (float64(j)+0.5)*w
			l := line{from: xy{r, 0}, dir: north, curve: 1 / r, length: r * angle}
			if j%2 == 1 {
				l = line{from: heading(angle).mul(r), dir: angle - math.Pi/2, curve: -1 / r, length: r * angle}
			}
			inner = append(inner, l)
		}
	}
	if plan.Shape != "arc" {
		hole := plan.Waterway
		lo, hi := long*0.42, long*0.42+15
		var left, right float64
		for j := range n {
			x := h + (float64(j)+0.5)*apart
			parts := [][2]float64{{h, top(x)}}
			if j+1 == plan.Ground.Pass {
				f.missed = append(f.missed, missed{len(inner), (top(x) - h) * w})
				continue
			}
			if hole && j >= n/3 && j < n/3+(n+3)/4 && top(x) > hi+60 && h < lo-60 {
				parts = [][2]float64{{h, lo}, {hi, top(x)}}
				if left == 0 {
					left = x - w/2
				}
				right = x + w/2
			}
			if a, b, ok := plan.Ground.hole(j, n, h, top(x)); ok && len(parts) == 1 {
				parts = [][2]float64{{h, a}, {b, top(x)}}
				f.missed = append(f.missed, missed{len(inner) + 1, (b - a) * w})
			}
			up := j%2 == 0
			if !up && len(parts) == 2 {
				parts[0], parts[1] = parts[1], parts[0]
			}
			for _, p := range parts {
				y0, y1 := p[0], p[1]
				if on := plan.Ground.RunOn; on > 0 && plan.Shape == "rect" {
					if y0 == h {
						y0 -= on
					}
					if y1 == top(x) {
						y1 += on
					}
				}
				inner = append(inner, s.straight(x, y0, y1, up, plan.Shape == "slant" && p[1] != lo, top))
			}
		}
		if right > 0 {
			f.rings = append(f.rings, []xy{{left, lo}, {left, hi}, {right, hi}, {right, lo}})
		}
	}
	ends := headlands(f.rings[0], w, plan.Headlands)
	if plan.Last {
		f.lines = append(inner, ends...)
	} else {
		f.lines = append(ends, inner...)
		for i := range f.missed {
			f.missed[i].before += len(ends)
		}
	}
	// Turn everything clockwise by the heading.
	t := -plan.Heading * math.Pi / 180
	c, sn := math.Cos(t), math.Sin(t)
	for _, ring := range f.rings {
		for i := range ring {
			ring[i] = ring[i].turned(c, sn)
		}
	}
	for i := range f.lines {
		f.lines[i].from = f.lines[i].from.turned(c, sn)
		f.lines[i].dir += t
	}
	return f
}

// straight is a pass along the field; at a slanted top the rows begin or end
// one after the other.
func (s *Scenario) straight(x, y0, y1 float64, up, slanted bool, top func(float64) float64) line {
	rows := s.Planter.Rows
	card := s.card()
	ends := make([]float64, rows)
	far := y1
	if slanted {
		far = 0
		for r := range rows {
			dx := card.Y(r + 1)
			if !up {
				dx = -dx
			}
			ends[r] = top(x + dx)
			far = max(far, ends[r])
		}
	}
	l := line{from: xy{x, y0}, dir: math.Pi / 2, length: far - y0}
	if !up {
		l = line{from: xy{x, far}, dir: -math.Pi / 2, length: far - y0}
	}
	if slanted {
		l.start, l.stop = make([]float64, rows), make([]float64, rows)
		for r := range rows {
			l.stop[r] = l.length
			if up {
				l.stop[r] = ends[r] - y0
			} else {
				l.start[r] = far - ends[r]
			}
		}
	}
	return l
}

// headlands lays rounds of passes along the edges of a counter-clockwise
// ring, outermost first. At a corner the pass that arrives takes the square.
func headlands(ring []xy, w float64, rounds int) []line {
	var out []line
	n := len(ring)
	edge := func(i int) xy { return ring[(i+1)%n].sub(ring[i%n]) }
	convex := func(i int) bool { // at the start of edge i
		a, b := edge(i+n-1), edge(i)
		return a.x*b.y-a.y*b.x > 0
	}
	for m := range rounds {
		for i := range n {
			e := edge(i)
			length := e.norm()
			d := e.mul(1 / length)
			from, to := float64(m+1)*w, length-float64(m)*w
			if !convex(i) {
				from = -float64(m) * w
			}
			if !convex(i + 1) {
				to = length + float64(m+1)*w
			}
			if to-from < 30 {
				continue
			}
			in := xy{-d.y, d.x}.mul((float64(m) + 0.5) * w)
			out = append(out, line{from: ring[i].add(d.mul(from)).add(in), dir: math.Atan2(d.y, d.x), length: to - from, headland: true})
		}
	}
	return out
}

// write stores the boundary as GeoJSON.
func (f *field) write(dir string) error {
	type geometry struct {
		Type        string         `json:"type"`
		Coordinates [][][2]float64 `json:"coordinates"`
	}
	type feature struct {
		Type       string            `json:"type"`
		Properties map[string]string `json:"properties"`
		Geometry   geometry          `json:"geometry"`
	}
	g := geometry{Type: "Polygon"}
	for _, ring := range f.rings {
		var out [][2]float64
		for i := 0; i <= len(ring); i++ {
			lat, lon := f.place.degrees(ring[i%len(ring)])
			out = append(out, [2]float64{round(lon, 9), round(lat, 9)})
		}
		g.Coordinates = append(g.Coordinates, out)
	}
	b, err := json.MarshalIndent(map[string]any{"type": "FeatureCollection", "features": []feature{{"Feature", map[string]string{"name": f.plan.Name}, g}}}, "", " ")
	if err != nil {
		return err
	}
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return err
	}
	return os.WriteFile(filepath.Join(dir, f.plan.fileName()), append(b, '\n'), 0o666)
}

// tangent is the plane that touches the WGS 84 ellipsoid at a field's origin:
// east and north in metres to degrees and back, on the ellipsoid's surface.
type tangent struct {
	o       [3]float64 // origin, earth-centred
	e, n, u [3]float64 // unit vectors
}

// WGS 84 (NIMA TR8350.2): semi-major axis and flattening.
const (
	wgsA  = 6378137.0
	wgsF  = 1 / 298.257223563
	wgsE2 = wgsF * (2 - wgsF)
)

func newTangent(lat, lon float64) tangent {
	sp, cp := math.Sincos(lat * math.Pi / 180)
	sl, cl := math.Sincos(lon * math.Pi / 180)
	nu := wgsA / math.Sqrt(1-wgsE2*sp*sp)
	return tangent{
		o: [3]float64{nu * cp * cl, nu * cp * sl, nu * (1 - wgsE2) * sp},
		e: [3]float64{-sl, cl, 0},
		n: [3]float64{-sp * cl, -sp * sl, cp},
		u: [3]float64{cp * cl, cp * sl, sp},
	}
}

// degrees gives latitude and longitude of the place on the ellipsoid under a
// place of the plane (Bowring 1976, Survey Review 23:323-327, one step: far
// below a micrometre near the surface).
func (t *tangent) degrees(p xy) (lat, lon float64) {
	var c [3]float64
	drop := -(p.x*p.x + p.y*p.y) / (2 * wgsA) // brings the height near zero
	for i := range c {
		c[i] = t.o[i] + p.x*t.e[i] + p.y*t.n[i] + drop*t.u[i]
	}
	r := math.Hypot(c[0], c[1])
	b := wgsA * (1 - wgsF)
	ep2 := wgsE2 / (1 - wgsE2)
	beta := math.Atan2(c[2]*wgsA, r*b)
	sb, cb := math.Sincos(beta)
	phi := math.Atan2(c[2]+ep2*b*sb*sb*sb, r-wgsE2*wgsA*cb*cb*cb)
	return phi * 180 / math.Pi, math.Atan2(c[1], c[0]) * 180 / math.Pi
}

// fileName is the name of the field's boundary file.
func (p *FieldPlan) fileName() string { return strings.ReplaceAll(p.Name, " ", "-") + ".geojson" }

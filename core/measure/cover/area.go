package cover

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"github.com/peterstace/simplefeatures/geom"

	"evenstand/core/ground"
)

// Bounds of what counts, judged (methods, section m) but for the margin.
const (
	straight  = 0.02 // m that a swath's edge may leave its path when poses are left out
	sliver    = 0.15 // m: what is narrower is not ground
	speck     = 4.0  // m2: what is smaller is not ground
	unknown   = 0.5  // m of error where nobody knows it
	atBorder  = 1.0  // m inside the boundary that planting commonly leaves free: common practice, no source
	perMetre2 = 1e-4 // m2 of doubt a m2 between the exact area and the scan: 1 m2 a hectare
	scanEvery = 0.1  // m between the lines of the scan
)

// Field is the ground of one field and what was worked of it.
type Field struct {
	Area    float64 // m2 inside the boundary, holes taken out; NaN without a boundary
	Worked  float64 // m2 worked at least once, wherever it lies
	Inside  float64 // m2 of that inside the boundary; NaN without one
	Twice   float64 // m2 that more passes than one worked, counted once for each beyond the first
	Error   float64 // m2, half-width of the 90 % interval of Twice and of what is left: the length of the passes' edges times the error of their distance
	See     float64 // m: gaps and overlaps narrower than this are not seen
	Gaps    []Patch // ground inside the boundary that no pass worked, in order of size
	Overlap []Patch // ground that two passes worked, in order of size
	Doubt   bool    // exact areas and the scan across do not agree
}

// Patch is a piece of ground.
type Patch struct {
	Polygon ground.Polygon
	Area    float64 // m2
	Length  float64 // m
	Width   float64 // m, so that Length times Width is Area
	Border  float64 // of its outline, the share that runs along the field's boundary; 0 without one
	Passes  [2]int  // of an overlap, the two passes, the earlier first
}

// Measure measures what the swaths cover of a field. boundary may be nil. The
// ground must be in one frame; the order of the swaths is that of time.
func Measure(boundary *ground.Region, swaths []Swath) (Field, error) {
	// Along the passes boxes about them are narrow, and few meet.
	by := course(swaths)
	f, err := measure(turned(boundary, by), turnedSwaths(swaths, by))
	for _, ps := range [][]Patch{f.Gaps, f.Overlap} {
		for i := range ps {
			turnPolygon(ps[i].Polygon, -by)
		}
	}
	return f, err
}

func measure(boundary *ground.Region, swaths []Swath) (Field, error) {
	f := Field{Area: math.NaN(), Inside: math.NaN()}
	f.See = see(swaths)
	passes, err := outlines(swaths, 0, 0)
	if err != nil {
		return f, err
	}
	worked, err := union(passes)
	if err != nil {
		return f, err
	}
	sum := 0.0
	for _, p := range passes {
		sum += p.g.Area()
	}
	f.Worked = worked.Area()
	f.Twice = math.Max(0, sum-f.Worked)
	f.Error = EdgeError(swaths)
	s := Scan(swaths, scanEvery)
	f.Doubt = math.Abs(s.Worked-f.Worked) > perMetre2*f.Worked+scanError(swaths, scanEvery)
	if f.Overlap, err = overlaps(swaths, f.See/2); err != nil {
		return f, err
	}
	if boundary == nil {
		return f, nil
	}
	field, err := regionOf(boundary)
	if err != nil {
		return f, err
	}
	f.Area = field.Area()
	inside, err := safely(func() (geom.Geometry, error) { return geom.Intersection(field, worked) })
	if err != nil {
		return f, err
	}
	f.Inside = inside.Area()
	if f.Gaps, err = gaps(boundary, field, swaths, f.See/2, 0); err != nil {
		return f, err
	}
	return f, nil
}

// Gaps gives the ground inside the boundary that no pass worked, where it is
// wider than see and lies farther than ahead from the ends of swaths, the largest
// first: Measure's, without what the ends of passes left.
func Gaps(boundary *ground.Region, swaths []Swath, see, ahead float64) ([]Patch, error) {
	by := course(swaths)
	boundary, swaths = turned(boundary, by), turnedSwaths(swaths, by)
	field, err := regionOf(boundary)
	if err != nil {
		return nil, err
	}
	out, err := gaps(boundary, field, swaths, see/2, ahead)
	for i := range out {
		turnPolygon(out[i].Polygon, -by)
	}
	return out, err
}

// see gives the width below which gaps and overlaps are not seen: twice the
// error of an edge, and a sliver at least.
func see(swaths []Swath) float64 {
	errs := make([]float64, len(swaths))
	for i := range swaths {
		errs[i] = swaths[i].err()
	}
	if len(errs) == 0 {
		return 2 * unknown
	}
	slices.Sort(errs)
	return max(sliver, 2*errs[len(errs)*9/10])
}

// err is the error of the swath's edges; where nobody knows it, a poor one.
func (s *Swath) err() float64 {
	if math.IsNaN(s.Error) {
		return unknown
	}
	return s.Error
}

// Worked gives the area that swaths worked at least once, m2.
func Worked(swaths []Swath) (float64, error) {
	passes, err := outlines(swaths, 0, 0)
	if err != nil {
		return 0, err
	}
	g, err := union(passes)
	return g.Area(), err
}

// EdgeError is the error of areas between passes, m2: along each pass the error
// is one, and passes are independent of each other (methods, m).
func EdgeError(swaths []Swath) float64 {
	type sum struct{ area, wide, err float64 }
	byPass := map[int]*sum{}
	var order []*sum // sums to the last digit alike
	for i := range swaths {
		s := &swaths[i]
		p := byPass[s.Pass]
		if p == nil {
			p = new(sum)
			byPass[s.Pass] = p
			order = append(order, p)
		}
		l := 0.0
		for k := 1; k < len(s.At); k++ {
			l += math.Hypot(s.At[k].E-s.At[k-1].E, s.At[k].N-s.At[k-1].N)
		}
		p.area, p.wide, p.err = p.area+l*s.Width(), max(p.wide, s.Width()), max(p.err, s.err())
	}
	v := 0.0
	for _, p := range order {
		// pieces side by side and behind one another: a way as long as all of them
		e := p.area / p.wide * p.err
		v += 2 * e * e // both edges
	}
	return math.Sqrt(v)
}

// outline is the ground of one pass.
type outline struct {
	pass   int
	g      geom.Geometry
	lo, hi ground.Point
}

// outlines gives the ground of each pass with its sides moved out by grow and
// its ends by ahead, in the order of the passes.
func outlines(swaths []Swath, grow, ahead float64) ([]outline, error) {
	order := make([]int, 0, len(swaths))
	for i := range swaths {
		order = append(order, i)
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(swaths[a].Pass, swaths[b].Pass) })
	var out []outline
	for from := 0; from < len(order); {
		to := from
		var parts []geom.Geometry
		for ; to < len(order) && swaths[order[to]].Pass == swaths[order[from]].Pass; to++ {
			s := swaths[order[to]].grown(grow, ahead)
			if s.Right <= s.Left || len(s.At) < 2 {
				continue
			}
			g, err := ground1(s)
			if err != nil {
				return nil, fmt.Errorf("pass %d: %w", s.Pass, err)
			}
			parts = append(parts, g)
		}
		if len(parts) > 0 {
			g, err := unionOf(parts)
			if err != nil {
				return nil, fmt.Errorf("pass %d: %w", swaths[order[from]].Pass, err)
			}
			if !g.IsEmpty() {
				o := outline{pass: swaths[order[from]].Pass, g: g}
				o.lo, o.hi = box(g)
				out = append(out, o)
			}
		}
		from = to
	}
	return out, nil
}

// ground1 gives the ground of one swath: its outline, or, where that may cross
// itself, its pieces joined.
func ground1(s *Swath) (geom.Geometry, error) {
	if !s.folds() {
		if p, err := polygon(ground.Polygon{s.ring(straight)}); err == nil {
			return p.AsGeometry(), nil
		}
	}
	var parts []geom.Geometry
	for _, q := range s.quads(straight) {
		if p, err := polygon(ground.Polygon{q}); err == nil { // a piece without area is none
			parts = append(parts, p.AsGeometry())
		}
	}
	return unionOf(parts)
}

func union(passes []outline) (geom.Geometry, error) {
	parts := make([]geom.Geometry, len(passes))
	for i, p := range passes {
		parts[i] = p.g
	}
	return unionOf(parts)
}

// unionOf joins ground. One that has nothing to join stays as it is.
func unionOf(parts []geom.Geometry) (geom.Geometry, error) {
	switch len(parts) {
	case 0:
		return geom.Geometry{}, nil
	case 1:
		return parts[0], nil
	}
	return safely(func() (geom.Geometry, error) { return geom.UnionMany(parts) })
}

// safely gives an operation's error, also where the library breaks off on
// ground that it cannot node.
func safely(op func() (geom.Geometry, error)) (g geom.Geometry, err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("ground cannot be joined: %v", r)
		}
	}()
	return op()
}

// polygon makes the library's polygon out of ours.
func polygon(p ground.Polygon) (geom.Polygon, error) {
	rings := make([]geom.LineString, len(p))
	for i, r := range p {
		xy := make([]float64, 0, 2*len(r)+2)
		for _, q := range r {
			xy = append(xy, q[0], q[1])
		}
		xy = append(xy, r[0][0], r[0][1])
		rings[i] = geom.NewLineString(geom.NewSequence(xy, geom.DimXY))
	}
	out := geom.NewPolygon(rings)
	return out, out.Validate()
}

// regionOf makes the library's geometry out of a boundary. What the parts of a
// boundary have in common is counted once.
func regionOf(r *ground.Region) (geom.Geometry, error) {
	var parts []geom.Geometry
	for i, p := range r.Polygons {
		g, err := polygon(p)
		if err != nil {
			return geom.Geometry{}, fmt.Errorf("the boundary of %s, part %d: %w", r.Name, i+1, err)
		}
		parts = append(parts, g.AsGeometry())
	}
	return unionOf(parts)
}

// polygonsOf takes the polygons out of the library's geometry.
func polygonsOf(g geom.Geometry) []ground.Polygon {
	var out []ground.Polygon
	for _, part := range g.Dump() {
		p, ok := part.AsPolygon()
		if !ok || p.IsEmpty() {
			continue
		}
		one := ground.Polygon{ringOf(p.ExteriorRing())}
		for i := range p.NumInteriorRings() {
			one = append(one, ringOf(p.InteriorRingN(i)))
		}
		out = append(out, one)
	}
	return out
}

func ringOf(l geom.LineString) ground.Ring {
	seq := l.Coordinates()
	out := make(ground.Ring, 0, seq.Length())
	for i := range seq.Length() - 1 { // the last is the first
		xy := seq.GetXY(i)
		out = append(out, ground.Point{xy.X, xy.Y})
	}
	return out
}

func box(g geom.Geometry) (lo, hi ground.Point) {
	a, b, ok := g.Envelope().MinMaxXYs()
	if !ok {
		return ground.Point{math.Inf(1), math.Inf(1)}, ground.Point{math.Inf(-1), math.Inf(-1)}
	}
	return ground.Point{a.X, a.Y}, ground.Point{b.X, b.Y}
}

// overlaps gives the ground that two passes worked, where it is wider than
// 2 half.
func overlaps(swaths []Swath, half float64) ([]Patch, error) {
	small, err := outlines(swaths, -half, 0)
	if err != nil {
		return nil, err
	}
	var out []Patch
	for j := range small {
		for i := range j {
			a, b := &small[i], &small[j]
			if a.hi[0] <= b.lo[0] || b.hi[0] <= a.lo[0] || a.hi[1] <= b.lo[1] || b.hi[1] <= a.lo[1] {
				continue
			}
			g, err := safely(func() (geom.Geometry, error) { return geom.Intersection(a.g, b.g) })
			if err != nil {
				return nil, err
			}
			for _, p := range polygonsOf(g) {
				if q := patch(p, half); q.Area >= speck {
					q.Passes = [2]int{a.pass, b.pass}
					out = append(out, q)
				}
			}
		}
	}
	sortPatches(out)
	return out, nil
}

// gaps gives the ground inside the boundary that no pass worked, where it is
// wider than 2 half. Along the boundary a strip is free of charge.
func gaps(boundary *ground.Region, field geom.Geometry, swaths []Swath, half, ahead float64) ([]Patch, error) {
	wide, err := outlines(swaths, half, max(half, ahead))
	if err != nil {
		return nil, err
	}
	taken := make([]geom.Geometry, 0, len(wide))
	for _, o := range wide {
		taken = append(taken, o.g)
	}
	for _, p := range boundary.Polygons {
		for _, r := range p {
			taken = append(taken, band(r, atBorder)...)
		}
	}
	all, err := unionOf(taken)
	if err != nil {
		return nil, err
	}
	rest, err := safely(func() (geom.Geometry, error) { return geom.Difference(field, all) })
	if err != nil {
		return nil, err
	}
	var out []Patch
	for _, p := range polygonsOf(rest) {
		q := patch(p, half)
		if q.Area < speck {
			continue
		}
		q.Border = border(boundary, p, 1.5*atBorder)
		out = append(out, q)
	}
	sortPatches(out)
	return out, nil
}

func sortPatches(ps []Patch) {
	slices.SortStableFunc(ps, func(a, b Patch) int {
		return cmp.Or(cmp.Compare(b.Area, a.Area), cmp.Compare(a.Polygon[0][0][0], b.Polygon[0][0][0]), cmp.Compare(a.Polygon[0][0][1], b.Polygon[0][0][1]))
	})
}

// band gives the strip of d metres on both sides of a ring.
func band(r ground.Ring, d float64) []geom.Geometry {
	var out []geom.Geometry
	add := func(q ground.Ring) {
		if p, err := polygon(ground.Polygon{q}); err == nil {
			out = append(out, p.AsGeometry())
		}
	}
	for i, a := range r {
		b := r[(i+1)%len(r)]
		l := math.Hypot(b[0]-a[0], b[1]-a[1])
		if l == 0 {
			continue
		}
		e, n := (b[0]-a[0])/l*d, (b[1]-a[1])/l*d
		add(ground.Ring{{a[0] - n, a[1] + e}, {a[0] + n, a[1] - e}, {b[0] + n, b[1] - e}, {b[0] - n, b[1] + e}})
		add(ground.Ring{{a[0] - d, a[1] - d}, {a[0] + d, a[1] - d}, {a[0] + d, a[1] + d}, {a[0] - d, a[1] + d}})
	}
	return out
}

// patch measures a piece of ground whose edges lie half metres inside the true
// ones.
func patch(p ground.Polygon, half float64) Patch {
	round := 0.0
	for _, r := range p {
		for i, a := range r {
			b := r[(i+1)%len(r)]
			round += math.Hypot(b[0]-a[0], b[1]-a[1])
		}
	}
	area := p.Area()
	// The rectangle with its area and outline; a square where there is none.
	q := round / 4
	l := math.Sqrt(math.Max(0, area))
	if d := q*q - area; d > 0 {
		l = q + math.Sqrt(d)
	}
	w := 0.0
	if l > 0 {
		w = area / l
	}
	out := Patch{Polygon: p, Length: l + 2*half, Width: w + 2*half}
	out.Area = out.Length * out.Width
	return out
}

// border gives the share of an outline that lies within d metres of the
// boundary.
func border(boundary *ground.Region, p ground.Polygon, d float64) float64 {
	near, all := 0.0, 0.0
	for _, r := range p {
		for i, a := range r {
			b := r[(i+1)%len(r)]
			l := math.Hypot(b[0]-a[0], b[1]-a[1])
			all += l
			if boundary.Distance((a[0]+b[0])/2, (a[1]+b[1])/2) <= d {
				near += l
			}
		}
	}
	if all == 0 {
		return 0
	}
	return near / all
}

package cover

import (
	"math"

	"github.com/peterstace/simplefeatures/geom"

	"evenstand/core/ground"
)

// Inside gives the ground under the bar of a pass that its rows did not work, and
// no other pass either, farther than ahead from the ends of its rows, the largest
// first. The places of rows on one bar are known to one another, however poor the
// receiver is, so that this is seen where gaps between passes are not. left and
// right are the outermost rows' places; a third of a row's width at the edges of
// the bar belongs to the seams. boundary may be nil.
func Inside(boundary *ground.Region, swaths []Swath, left, right, spacing, ahead float64) ([]Patch, error) {
	by := course(swaths)
	boundary, swaths = turned(boundary, by), turnedSwaths(swaths, by)
	const seen = 0.1 // m, of one row beside another
	grown, err := outlines(swaths, seen/2, ahead)
	if err != nil {
		return nil, err
	}
	var field geom.Geometry
	if boundary != nil {
		if field, err = regionOf(boundary); err != nil {
			return nil, err
		}
	}
	longest := map[int]*Swath{}
	for i := range swaths {
		s := &swaths[i]
		if l := longest[s.Pass]; l == nil || way(s.At) > way(l.At) {
			longest[s.Pass] = s
		}
	}
	var out []Patch
	for i := range grown {
		o := &grown[i]
		l := longest[o.pass]
		if len(l.At) < 2 || l.Left <= left-spacing/2+0.01 && l.Right >= right+spacing/2-0.01 {
			continue // all rows along the longest of it
		}
		bar := Swath{Pass: o.pass, Left: left - spacing/6, Right: right + spacing/6, At: l.At}
		g, err := ground1(&bar)
		if err != nil {
			return nil, err
		}
		lo, hi := box(g)
		for k := range grown {
			q := &grown[k]
			if q.hi[0] <= lo[0] || hi[0] <= q.lo[0] || q.hi[1] <= lo[1] || hi[1] <= q.lo[1] {
				continue
			}
			if g, err = safely(func() (geom.Geometry, error) { return geom.Difference(g, q.g) }); err != nil {
				return nil, err
			}
		}
		if boundary != nil {
			if g, err = safely(func() (geom.Geometry, error) { return geom.Intersection(g, field) }); err != nil {
				return nil, err
			}
		}
		for _, p := range polygonsOf(g) {
			q := patch(p, seen/2)
			if q.Area < speck {
				continue
			}
			q.Passes = [2]int{o.pass, o.pass}
			if boundary != nil {
				q.Border = border(boundary, p, 1.5*atBorder)
			}
			turnPolygon(q.Polygon, -by)
			out = append(out, q)
		}
	}
	sortPatches(out)
	return out, nil
}

func way(at []Pose) float64 {
	l := 0.0
	for k := 1; k < len(at); k++ {
		l += math.Hypot(at[k].E-at[k-1].E, at[k].N-at[k-1].N)
	}
	return l
}

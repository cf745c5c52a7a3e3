package cover

import (
	"math"

	"evenstand/core/ground"
)

// turnPoint turns a place about the origin so that what ran at by radians
// clockwise from north runs north.
func turnPoint(p ground.Point, by float64) ground.Point {
	s, c := math.Sincos(by)
	return ground.Point{p[0]*c - p[1]*s, p[0]*s + p[1]*c}
}

func turnPolygon(p ground.Polygon, by float64) {
	for _, r := range p {
		for i := range r {
			r[i] = turnPoint(r[i], by)
		}
	}
}

// turned gives a boundary turned; nil stays nil.
func turned(r *ground.Region, by float64) *ground.Region {
	if r == nil {
		return nil
	}
	out := &ground.Region{Name: r.Name, Frame: r.Frame}
	for _, p := range r.Polygons {
		var q ground.Polygon
		for _, ring := range p {
			q = append(q, append(ground.Ring(nil), ring...))
		}
		turnPolygon(q, by)
		out.Polygons = append(out.Polygons, q)
	}
	return out
}

func turnedSwaths(swaths []Swath, by float64) []Swath {
	out := make([]Swath, len(swaths))
	for i, s := range swaths {
		at := make([]Pose, len(s.At))
		for k, p := range s.At {
			q := turnPoint(ground.Point{p.E, p.N}, by)
			p.E, p.N, p.Psi = q[0], q[1], p.Psi-by
			at[k] = p
		}
		s.At = at
		out[i] = s
	}
	return out
}

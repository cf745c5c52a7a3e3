package web

import (
	"context"
	"fmt"
	"math"

	"evenstand/core/measure/group"
	"evenstand/web/mvt"
)

const (
	tileExtent = 4096
	// maxTile is the nearest level of which tiles are made; nearer, a page draws
	// these larger. At 45° of latitude a tile of it is 108 m wide.
	maxTile = 18
)

type tileIn struct {
	Measure string `path:"measure"`
	Z       int    `path:"z"`
	X       int    `path:"x"`
	Y       int    `path:"y"`
	Have    string `header:"If-None-Match"`
	GroundFilter
}

// The detail of a level: as little as shows on a screen. At level z a pixel is
// 78 km / 2^z at the equator, so that at 45° a bar of 12 m is 2 pixels at 13 and
// 14 at 16, and a row of 30 in 3.6 at 18.
const (
	wholeBar = iota
	someRows
	eachRow
)

// detail gives how many stretches of 15 m are one cell at a level, and which
// rows.
func detail(z int) (stretches, rows int) {
	switch {
	case z <= 13:
		return 4, wholeBar
	case z == 14:
		return 2, wholeBar
	case z == 15:
		return 1, wholeBar
	case z <= 17:
		return 1, someRows
	}
	return 1, eachRow
}

// spans gives the rows that are one cell.
func (d *groundDay) spans(rows int) []span {
	switch rows {
	case wholeBar:
		return []span{{0, d.rows - 1}}
	case someRows:
		return d.groups
	}
	out := make([]span, d.rows)
	for i := range out {
		out[i] = span{i, i}
	}
	return out
}

// tileTag tells the tile of now from others, so that a browser keeps it until
// the logs say something else.
func (s *Server) tileTag(in *tileIn) (tag, have string) {
	return fmt.Sprintf("%q", fmt.Sprintf("%s-%d", s.began, s.told.Load())), in.Have
}

// groundTile gives the cells in a tile, layer "cells": polygons along the path
// of the rows with value (SI), n (what it rests on) and few (too few to say,
// or planted in part only).
func (s *Server) groundTile(ctx context.Context, in *tileIn) ([]byte, error) {
	m, k, ok := measureAt(in.Measure)
	if !ok {
		return nil, refuse(fmt.Sprintf("there is no measure %q", in.Measure))
	}
	if in.Z < 0 || in.Z > maxTile || in.X < 0 || in.Y < 0 || in.X >= 1<<in.Z || in.Y >= 1<<in.Z {
		return nil, notFound(fmt.Sprintf("there is no tile %d/%d/%d: levels go from 0 to %d", in.Z, in.X, in.Y, maxTile))
	}
	g, err := s.season(ctx)
	if err != nil {
		return nil, err
	}
	t := tiler{z: in.Z, x: float64(in.X), y: float64(in.Y), out: mvt.NewLayer("cells", tileExtent, "value", "n", "few")}
	n := math.Ldexp(1, in.Z)
	cut := cutter{z: in.Z, box: box{t.x / n, t.y / n, (t.x + 1) / n, (t.y + 1) / n}, m: &m, at: k, scale: &g.scales[k]}
	g.each(&in.GroundFilter, func(d *groundDay, p *groundPass) { cut.cells(d, p, t.add) })
	return t.out.Tile(), nil
}

// cutter cuts passes into the cells of a level and judges them: what tiles and
// the first picture show is the same.
type cutter struct {
	z     int
	box   box // what is wanted
	m     *group.Measure
	at    int // of the measure
	scale *legendScale
}

// groundCell is a piece of a bar's way over some metres: between left and right
// of its nodes, in m.
type groundCell struct {
	nodes       []node
	left, right float64
	value, n    float64 // SI, and what it rests on
	few         bool    // too few to say, or planted in part only
}

// cells calls do for the cells of a pass about the box that have a value, in
// the order in which they lie upon each other.
func (t *cutter) cells(d *groundDay, p *groundPass, do func(*groundCell)) {
	c := &d.columns[t.at]
	if c.n == nil || !p.box.meets(t.box) {
		return
	}
	step, rows := detail(t.z)
	spans := d.spans(rows)
	seam, outerLeft, outerRight := t.seam(p), 0.0, 0.0
	if len(d.y) > 0 {
		outerLeft, outerRight = d.edges(span{0, len(d.y) - 1})
	}
	for from := 0; from < p.stretchN; from += step {
		to := min(from+step, p.stretchN)
		b := noBox()
		for i := from; i <= to; i++ {
			n := &p.nodes[i]
			b.add(n.x, n.y, (p.half+seam)*math.Hypot(n.rx, n.ry))
		}
		if !b.meets(t.box) {
			continue
		}
		for _, rows := range spans {
			sum, told, cut, all := d.sum(p, c, rows, from, to)
			v, ok := t.m.Value(sum)
			if !ok {
				continue
			}
			left, right := d.edges(rows)
			if left == outerLeft {
				left -= seam
			}
			if right == outerRight {
				right += seam
			}
			do(&groundCell{
				p.nodes[from : to+1], left, right,
				digits4(v), digits4(sum.N), 2*cut > all || t.scale.few(t.m, sum, told, all),
			})
		}
	}
}

// mostSeam is how much wider than its rows a bar is drawn to each side at most, m.
// Passes lie some centimetres apart where the tractor steered so, and a trailed
// bar lies askew where a pass begins; a map draws each pixel of which the middle
// lies in such a gap in the colour of paper, as wide as a pixel is. A row that was
// left out is wider than two of these. By judgement.
const mostSeam = 0.25

// seam is how much wider the bar is drawn on a level: half a pixel at most, so
// that from near everything lies as it is.
func (t *cutter) seam(p *groundPass) float64 {
	n := &p.nodes[0]
	return min(mostSeam, 0.5/(math.Ldexp(tilePixels, t.z)*math.Hypot(n.rx, n.ry)))
}

// edges gives the outer edges of rows, m right of the bar's centre, from
// whichever side they count.
func (d *groundDay) edges(rows span) (left, right float64) {
	left, right = math.Inf(1), math.Inf(-1)
	for _, y := range d.y[rows.from : rows.to+1] {
		left, right = min(left, y-d.wide/2), max(right, y+d.wide/2)
	}
	return left, right
}

// tiler collects the cells of one tile.
type tiler struct {
	z    int
	x, y float64
	out  *mvt.Layer
	ring []mvt.Point
}

func (t *tiler) add(c *groundCell) {
	if t.outline(c.nodes, c.left, c.right) {
		t.out.Polygon(t.ring, t.out.Double(c.value), t.out.Double(c.n), t.out.Bool(c.few))
	}
}

// outline takes the outline of a cell in the tile's own units into ring; false
// when it lies beside the tile.
func (t *tiler) outline(nodes []node, left, right float64) bool {
	scale := math.Ldexp(tileExtent, t.z)
	lo, hi := mvt.Point{X: math.MaxInt32, Y: math.MaxInt32}, mvt.Point{X: math.MinInt32, Y: math.MinInt32}
	t.ring = t.ring[:0]
	put := func(x, y float64) {
		p := mvt.Point{X: int32(math.Round(x*scale - t.x*tileExtent)), Y: int32(math.Round(y*scale - t.y*tileExtent))}
		t.ring = append(t.ring, p)
		lo.X, lo.Y, hi.X, hi.Y = min(lo.X, p.X), min(lo.Y, p.Y), max(hi.X, p.X), max(hi.Y, p.Y)
	}
	for i := range nodes {
		put(nodes[i].side(left))
	}
	for i := range nodes {
		put(nodes[len(nodes)-1-i].side(right))
	}
	return hi.X >= 0 && hi.Y >= 0 && lo.X <= tileExtent && lo.Y <= tileExtent
}

// digits4 keeps four digits: more than a colour shows, and equal values are
// written once.
func digits4(x float64) float64 {
	if x == 0 || math.IsNaN(x) || math.IsInf(x, 0) {
		return x
	}
	p := math.Pow(10, 3-math.Floor(math.Log10(math.Abs(x))))
	return math.Round(x*p) / p
}

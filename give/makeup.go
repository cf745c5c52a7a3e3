package give

import (
	"context"
	"io"
	"math"

	"evenstand"
	"evenstand/book"
	"evenstand/core/ground"
	"evenstand/core/makeup"
	"evenstand/format/iso11783"
	"evenstand/format/table"
)

// planColumns are those of the zones of a plan for the next machine.
var planColumns = []Column{
	at(table.ShapeColumn, table.Shape, "the zone, degrees of WGS 84"),
	fieldColumn,
	at("rate", table.Number, "to put on, in the unit beside"),
	wide("unit", 10, "of rate and owed"),
	at("planned", table.Number, "the rate everywhere else"),
	at("owed", table.Number, "what the ground lacks; below 0 it has too much"),
	at("area_m2", table.Number, "of the zone, m2"),
	wide("why", 60, "what keeps it from what it is owed; empty: nothing"),
}

// Plan writes the zones of a plan: each with its rate, the rest of the field keeps
// the planned one.
func Plan(ctx context.Context, b *book.Book, m *book.MakeUp, as As, base string, create func(name string) (io.WriteCloser, error)) (Made, error) {
	t := Table{What: "zones", Title: "What the next machine puts on where something is to be made up in " + m.Sheet.Field, Columns: planColumns, rows: func(r *run, _ context.Context) error {
		for i := range m.Sheet.Zones {
			z := &m.Sheet.Zones[i]
			r.cells[0] = area(evenstand.Field{Polygons: [][][][2]float64{{z.Ring}}})
			copy(r.cells[1:], []table.Cell{words(m.Sheet.Field), num(z.Rate), words(m.Sheet.Unit), num(m.Sheet.Planned), num(z.Owed), num(z.Area), words(z.Why)})
			if err := r.put(); err != nil {
				return err
			}
		}
		return nil
	}}
	return t.write(ctx, b, as, Filter{}, base, create, nil)
}

// Grid bounds: the cells of a prescription.
const (
	leastCell = 0.5       // m
	mostCell  = 3.0       // m
	mostGrid  = 1_500_000 // cells; controllers have little memory (judgement)
	subCells  = 4         // each way, of which a cell's mean is made
)

// mostZones is how many treatment zones there are beside that of rate 0 (ISO
// 11783-10: codes 0 to 254).
const mostZones = 250

// PlanGrid lays a plan over a grid of cells east and north: the rate of a cell is
// the mean over its ground, none outside of the boundary. Values are raw, of kind 2.
func PlanGrid(m *book.MakeUp) iso11783.Grid {
	region := ground.NewRegion(m.Frame, m.Field)
	bounded := len(m.Field.Polygons) > 0
	x0, y0, x1, y1 := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	see := func(x, y float64) { x0, y0, x1, y1 = min(x0, x), min(y0, y), max(x1, x), max(y1, y) }
	for _, p := range m.Field.Polygons {
		for _, ring := range p {
			for _, c := range ring {
				see(m.Frame.ToLocal(c[1], c[0]))
			}
		}
	}
	if !bounded {
		for i := range m.Plan.Zones {
			for _, c := range m.Plan.Zones[i].Ring {
				see(c[0], c[1])
			}
		}
	}
	if !(x1 > x0) {
		x0, y0, x1, y1 = -10, -10, 10, 10
	}
	cell := min(mostCell, max(leastCell, m.Plan.M.Part/2))
	for (x1-x0)/cell*(y1-y0)/cell > mostGrid {
		cell *= 1.1
	}
	south, west := m.Frame.ToGlobal(x0, y0)
	north, _ := m.Frame.ToGlobal(x0, y0+cell)
	_, east := m.Frame.ToGlobal(x0+cell, y0)
	g := iso11783.Grid{South: south, West: west, CellNorth: north - south, CellEast: east - west, Type: 2, Layers: []iso11783.GridLayer{{DDI: 1}}}
	if m.Dry {
		g.Layers[0].DDI = 6
	}
	g.Cols, g.Rows = int(math.Ceil((x1-x0)/cell)), int(math.Ceil((y1-y0)/cell))
	raw := rawRate(m.Dry)
	sum := make([]float32, g.Cols*g.Rows)
	center := func(i, j int) (x, y float64) {
		return m.Frame.ToLocal(south+(float64(j)+0.5)*g.CellNorth, west+(float64(i)+0.5)*g.CellEast)
	}
	for k := range m.Plan.Zones {
		z := &m.Plan.Zones[k]
		more := z.Rate - m.Plan.M.Planned
		if more == 0 {
			continue
		}
		zx0, zy0, zx1, zy1 := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
		for _, c := range z.Ring {
			zx0, zy0, zx1, zy1 = min(zx0, c[0]), min(zy0, c[1]), max(zx1, c[0]), max(zy1, c[1])
		}
		in := inside(z)
		for j := max(0, int((zy0-y0)/cell)-1); j <= min(g.Rows-1, int((zy1-y0)/cell)+1); j++ {
			for i := max(0, int((zx0-x0)/cell)-1); i <= min(g.Cols-1, int((zx1-x0)/cell)+1); i++ {
				cx, cy := center(i, j)
				n := 0
				for a := range subCells {
					for b := range subCells {
						if in(cx+cell*((float64(a)+0.5)/subCells-0.5), cy+cell*((float64(b)+0.5)/subCells-0.5)) {
							n++
						}
					}
				}
				sum[j*g.Cols+i] += float32(more * float64(n) / (subCells * subCells))
			}
		}
	}
	g.Values = make([]int32, len(sum))
	for j := range g.Rows {
		for i := range g.Cols {
			k := j*g.Cols + i
			cx, cy := center(i, j)
			if bounded && !region.Contains(cx, cy) && sum[k] == 0 {
				g.Values[k] = iso11783.Missing
				continue
			}
			g.Values[k] = int32(math.Round(max(0, m.Plan.M.Planned+float64(sum[k])) / raw))
		}
	}
	return g
}

// rawRate is what one raw unit of a rate is in SI: 0.01 mm3/m2, or 1 mg/m2 (ISO
// 11783-11, entries 1 and 6).
func rawRate(dry bool) float64 {
	if dry {
		return 1e-6
	}
	return 0.01 * 1e-9
}

// inside tells whether a place lies in a zone, which is a parallelogram.
func inside(z *makeup.Zone) func(x, y float64) bool {
	o, r, a := z.Ring[0], z.Ring[1], z.Ring[3]
	rx, ry, ax, ay := r[0]-o[0], r[1]-o[1], a[0]-o[0], a[1]-o[1]
	rr, aa := rx*rx+ry*ry, ax*ax+ay*ay
	return func(x, y float64) bool {
		x, y = x-o[0], y-o[1]
		u, v := (x*rx+y*ry)/rr, (x*ax+y*ay)/aa
		return u >= 0 && u < 1 && v >= 0 && v < 1
	}
}

// PlanZones makes of a grid of rates one of treatment zones, of which there can be
// 250: rates are taken together to so many steps.
func PlanZones(g iso11783.Grid) iso11783.Grid {
	g.Type = 1
	low, high := int32(math.MaxInt32), int32(0)
	distinct := map[int32]int{}
	for _, v := range g.Values {
		if v != iso11783.Missing {
			low, high = min(low, v), max(high, v)
			distinct[v]++
		}
	}
	usual := low // most of the field has it, and keeps it to the last digit
	for v, n := range distinct {
		if n > distinct[usual] || n == distinct[usual] && v < usual {
			usual = v
		}
	}
	vs := make([]int32, len(g.Values))
	copy(vs, g.Values)
	if len(distinct) > mostZones {
		step := math.Ceil(float64(high-low) / (mostZones - 2))
		for i, v := range vs {
			if v != iso11783.Missing {
				vs[i] = max(0, usual+int32(step*math.Round(float64(v-usual)/step)))
			}
		}
	}
	g.Values = vs
	return g
}

// Prescribe writes a plan as task data of ISO 11783-10 into a folder: a grid of
// rates, or of treatment zones.
func Prescribe(m *book.MakeUp, farm, dir string, zones bool) (iso11783.Grid, error) {
	g := PlanGrid(m)
	if zones {
		g = PlanZones(g)
	}
	p := iso11783.Prescription{Task: "Make up " + m.Sheet.Field, Farm: farm, Field: m.Sheet.Field, Grid: g, Products: []string{m.Wish.Name}}
	if len(m.Field.Polygons) > 0 && len(m.Field.Polygons[0]) > 0 {
		for _, c := range m.Field.Polygons[0][0] {
			p.Boundary = append(p.Boundary, [2]float64{c[1], c[0]})
		}
	} else {
		p.Field = ""
	}
	return g, iso11783.WritePrescription(dir, p)
}

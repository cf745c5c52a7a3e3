package group

import (
	"math"

	"evenstand"
	"evenstand/core/stat"
)

// Cluster is how many neighbouring stretches count as one witness: 300 m, over
// which soil, speed and a row's own trouble hold on. Judgement, no source; the
// tests hold the coverage of the intervals that it gives.
const Cluster = 20

// Sum is a measure summed over stretches. It wants the stretches of one row
// and pass one after the other, as the book stores them; passes and rows in
// any order. The zero value is ready.
type Sum struct {
	open key
	cur  Part // of the open cluster

	n, s, q             float64 // over all closed clusters
	nn, ns, ss          float64 // products over clusters
	nq, sq, qq          float64
	clusters, stretches float64
}

type key struct {
	pass int32
	row  int16
	k    int32
	day  int32
}

// Add takes in a stretch. Day tells apart days whose passes have the same
// index; spacing is the row spacing in m, NaN unknown.
func (g *Sum) Add(m *Measure, s *evenstand.Stretch, day int32, spacing float64) {
	if p, ok := m.part(s, spacing); ok {
		g.AddPart(p, s.Pass, s.Row, s.K, day)
	}
}

// AddPart is Add of what a stretch adds: pass, row and k say which it is.
func (g *Sum) AddPart(p Part, pass int32, row int16, k, day int32) {
	if k := (key{pass, row, k / Cluster, day}); k != g.open {
		g.close()
		g.open = k
	}
	g.stretches++
	g.cur.Add(p)
}

func (g *Sum) close() {
	c := g.cur
	if c.N > 0 {
		g.clusters++
		g.n, g.s, g.q = g.n+c.N, g.s+c.S, g.q+c.Q
		g.nn, g.ns, g.ss = g.nn+c.N*c.N, g.ns+c.N*c.S, g.ss+c.S*c.S
		g.nq, g.sq, g.qq = g.nq+c.N*c.Q, g.sq+c.S*c.Q, g.qq+c.Q*c.Q
	}
	g.cur = Part{}
	g.open = key{}
}

// Merge takes in another sum of the same measure.
func (g *Sum) Merge(o *Sum) {
	o.close()
	g.close()
	g.n, g.s, g.q = g.n+o.n, g.s+o.s, g.q+o.q
	g.nn, g.ns, g.ss = g.nn+o.nn, g.ns+o.ns, g.ss+o.ss
	g.nq, g.sq, g.qq = g.nq+o.nq, g.sq+o.sq, g.qq+o.qq
	g.clusters, g.stretches = g.clusters+o.clusters, g.stretches+o.stretches
}

// Figure is a measure of a group with its 90 % interval, all in SI and NaN when
// not known. N is what it rests on: places due, single spacings, m2 or m of way.
type Figure struct {
	Value, Low, High float64
	SE               float64 // standard error
	N                float64
	Few              bool // too few to say
}

// Figure gives the measure of all that was added.
func (g *Sum) Figure(m *Measure) Figure {
	g.close()
	nan := math.NaN()
	f := Figure{nan, nan, nan, nan, g.n, true}
	if !(g.n > 0) {
		return f
	}
	r := g.s / g.n
	f.Value = r
	// The influence of a cluster on the figure is a n + b s + c q, and its
	// variance over clusters that of their sum.
	var a, b, c float64
	switch m.kind {
	case share, mean:
		a, b = -r/g.n, 1/g.n
	case spread:
		v := g.q/g.n - r*r
		if !(v > 0) || !(g.n > 1) || !(r > 0) {
			f.Value = nan
			return f
		}
		sd := math.Sqrt(v)
		f.Value = sd * math.Sqrt(g.n/(g.n-1)) / r
		// d(sd/r), with d sd = ((x−r)² − v)/(2 sd) and d r = x − r.
		k := 1 / (g.n * r)
		c = k / (2 * sd)
		b = -k * (r/sd + sd/r)
		a = k * ((r*r-v)/(2*sd) + sd)
	}
	v := a*a*g.nn + b*b*g.ss + c*c*g.qq + 2*(a*b*g.ns+a*c*g.nq+b*c*g.sq)
	df := g.clusters - 1
	if df >= 1 {
		v *= g.clusters / df
	}
	v = max(v, g.chance(m, f.Value))
	f.SE = math.Sqrt(v)
	f.Few = g.n < m.Few || g.stretches < 2
	switch {
	case m.kind == share:
		// Wilson's interval at the number of places that the error is worth.
		eff := g.n
		if p := (g.s + 1) / (g.n + 2); v > 0 {
			eff = min(g.n, max(1, p*(1-p)/v))
		}
		y, n := stat.Effective(g.s, g.n, g.n/eff)
		f.Low, f.High = stat.Wilson(y, n, level)
	case df >= 1:
		t := stat.StudentQuantile(1-(1-level)/2, df)
		f.Low, f.High = f.Value-t*f.SE, f.Value+t*f.SE
		if m.Unit == "fraction" || m.kind == spread {
			f.Low = max(0, f.Low)
		}
	}
	return f
}

// level is that of all intervals.
const level = 0.90

// chance is the least variance that the figure can have.
func (g *Sum) chance(m *Measure, value float64) float64 {
	switch m.kind {
	case share:
		p := (g.s + 1) / (g.n + 2)
		return p * (1 - p) / g.n
	case spread: // of a coefficient of variation of normal values
		return value * value * (0.5 + value*value) / g.n
	}
	return 0
}

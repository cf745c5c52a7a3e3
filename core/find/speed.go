package find

import (
	"math"

	"evenstand"
	"evenstand/core/stat"
)

// Speed and spacing (methods g): the CV of single gaps by stretch against
// speed, with place and pass taken out. Soil that spaces badly is often driven
// slower, so a stretch is only held against the one beside it in the pass
// before, on the same soil; what differs between two passes as a whole is taken
// out too, and passes are what errors are counted by (Liang and Zeger 1986).
const (
	speedNear   = 20.0 // m within which stretches of two passes lie on the same soil
	speedGaps   = 40.0 // gaps of a row for its CV to count
	speedPairs  = 10   // stretches that two passes must have beside one another
	speedPasses = 8
	speedRange  = 0.8  // m/s from the 5th to the 95th percentile of what was driven
	speedSDMin  = 0.07 // m/s within pass and place: 0.15 mph (methods g)
	speedSteady = 0.25 // m/s within a stretch: what changes more is a ramp
	speedUnit   = 0.45 // m/s to which slopes are given: about 1 mph
	speedSlope  = 0.004
	speedSure   = 3.5  // standard errors, since it is looked at after each pass
	speedTurn   = 0.05 // rad: straight stretches only
	speedBin    = 0.05 // m/s
	speedEdges  = 0.10 // of the slope
)

type speedCell struct{ e, n, v, cv float64 }

// speedWatch follows what speed does to spacing. Its state is the stretches of
// one pass and a few sums.
type speedWatch struct {
	prev []speedCell
	hist [200]float64

	passes, pairs float64
	a, b          float64 // Σ of squares of speed, of speed with CV
	aa, ab, bb    float64 // Σ over passes of their squares and products
	v, cv, cells  float64 // sums over the stretches
	first         evenstand.Micros
	cse           *caseFile
}

// speedCase marks a case of speed-spacing; its figures are the watch's.
type speedCase struct{}

func (e *Engine) speedPass(xs []Strip, t evenstand.Micros) {
	w := &e.speed
	var cur []speedCell
	var cvs []float64
	for i := range xs {
		x := &xs[i]
		if x.End || math.Abs(x.Turn) > speedTurn || !(x.SpeedSD < speedSteady) || !(x.Speed > 0.5) {
			continue
		}
		cvs = cvs[:0]
		for _, r := range x.Rows {
			if r.Gaps >= speedGaps && r.CV > 0 {
				cvs = append(cvs, r.CV)
			}
		}
		if 2*len(cvs) < len(x.Rows) || len(cvs) < bouncePeers {
			continue
		}
		cur = append(cur, speedCell{x.E, x.N, x.Speed, stat.Median(cvs)})
	}
	if len(cur) == 0 {
		return
	}
	if w.cells == 0 {
		w.first = xs[0].T
	}
	for _, c := range cur {
		w.v += c.v
		w.cv += c.cv
		w.cells++
		w.hist[min(len(w.hist)-1, int(c.v/speedBin))]++
	}
	var dv, dy []float64
	for _, c := range cur {
		best, at := speedNear*speedNear, -1
		for j, p := range w.prev {
			if d := (p.e-c.e)*(p.e-c.e) + (p.n-c.n)*(p.n-c.n); d < best {
				best, at = d, j
			}
		}
		if at >= 0 {
			dv = append(dv, c.v-w.prev[at].v)
			dy = append(dy, c.cv-w.prev[at].cv)
		}
	}
	w.prev = cur
	if len(dv) < speedPairs {
		return
	}
	a, b, n := fitPairs(dv, dy)
	w.passes++
	w.pairs += n
	w.a, w.b = w.a+a, w.b+b
	w.aa, w.ab, w.bb = w.aa+a*a, w.ab+a*b, w.bb+b*b
	slope, se := w.slope()
	if w.cse == nil && w.refuse() == "" && slope-speedSure*se > speedSlope/speedUnit {
		var rows []int
		for _, r := range e.rows {
			rows = append(rows, r.n)
		}
		w.cse = e.add(&caseFile{
			kind: evenstand.KindSpeedSpacing, rows: rows, onset: w.first, onsetLow: w.first, onsetHigh: t, alarm: t,
			fromStart: true, grade: evenstand.GradeA, speed: &speedCase{},
		})
		e.raise(w.cse)
	}
}

// fitPairs gives the sums of squares and products about the means of pairs of
// one pass, and how many there are. Where the edge of a patch of soil runs
// between two stretches they differ by more than their speed: what lies further
// than three robust SD from the pass's own line is left out, five times over.
func fitPairs(dv, dy []float64) (a, b, n float64) {
	use := make([]bool, len(dv))
	for i := range use {
		use[i] = true
	}
	res := make([]float64, len(dv))
	for range 6 {
		var mv, my float64
		n = 0
		for i := range dv {
			if use[i] {
				n++
				mv += dv[i]
				my += dy[i]
			}
		}
		mv, my = mv/n, my/n
		a, b = 0, 0
		for i := range dv {
			if use[i] {
				a += (dv[i] - mv) * (dv[i] - mv)
				b += (dv[i] - mv) * (dy[i] - my)
			}
		}
		if a <= 0 {
			return a, b, n
		}
		for i := range dv {
			res[i] = math.Abs(dy[i] - my - b/a*(dv[i]-mv))
		}
		far := 3 * 1.4826 * stat.Median(res)
		for i := range dv {
			use[i] = res[i] <= far
		}
	}
	return a, b, n
}

// slope gives the CV's change a m/s and its standard error, by passes.
func (w *speedWatch) slope() (b, se float64) {
	if w.a <= 0 || w.passes < 2 {
		return math.NaN(), math.NaN()
	}
	b = w.b / w.a
	v := (w.bb - 2*b*w.ab + b*b*w.aa) / (w.a * w.a) * w.passes / (w.passes - 1)
	return b, math.Sqrt(math.Max(0, v))
}

// span gives the 5th and 95th percentile of the speeds driven.
func (w *speedWatch) span() (lo, hi float64) {
	lo, hi = math.NaN(), math.NaN()
	sum := 0.0
	for i, n := range w.hist {
		if sum += n; math.IsNaN(lo) && sum >= 0.05*w.cells {
			lo = (float64(i) + 0.5) * speedBin
		}
		if math.IsNaN(hi) && sum >= 0.95*w.cells {
			hi = (float64(i) + 0.5) * speedBin
		}
	}
	return lo, hi
}

// refuse says why nothing can be said yet; empty when something can.
func (w *speedWatch) refuse() string {
	lo, hi := w.span()
	switch {
	case w.cells == 0:
		return "needs seed times"
	case w.passes < speedPasses:
		return "fewer than 8 passes lay beside one another"
	case hi-lo < speedRange || math.Sqrt(w.a/(2*w.pairs)) < speedSDMin:
		return "speed did not vary enough"
	}
	return ""
}

// SpeedRefused says why what speed does to spacing cannot be said; empty when
// it can.
func (e *Engine) SpeedRefused() string { return e.speed.refuse() }

func (e *Engine) reportSpeed(c *caseFile, f *evenstand.Finding) {
	w := &e.speed
	b, se := w.slope()
	// t with so many degrees of freedom, to 0.01 from 6 of them on.
	t := 1.645 + 1.75/math.Max(1, w.passes-1)
	// Edges of patches that run between two passes hide some of the slope: 7 % on
	// made-up fields with hard edges (TestSpeedSpacing).
	half := math.Hypot(t*se, speedEdges*b)
	lo, hi := w.span()
	v, cv := w.v/w.cells, w.cv/w.cells
	slow := math.Max(0, cv-b*speedUnit)
	f.Evidence = []evenstand.Evidence{
		ev("spacing CV for each 0.45 m/s", b*speedUnit, (b-half)*speedUnit, (b+half)*speedUnit, w.pairs, "fraction"),
		ev("slowest speed seen", lo, nan, nan, nan, "m/s"),
		ev("fastest speed seen", hi, nan, nan, nan, "m/s"),
		ev("spacing CV", cv, nan, nan, w.cells, "fraction"),
		ev("passes beside one another", w.passes, nan, nan, nan, ""),
		ev("time that 0.45 m/s less takes more", speedUnit/(v-speedUnit), nan, nan, nan, "fraction"),
	}
	f.Causes = normalise(evenstand.Cause{Cause: evenstand.CauseSpeed, Probability: 0.85}, evenstand.Cause{Cause: evenstand.CauseTubeWorn, Probability: 0.08}, evenstand.Cause{Cause: evenstand.CauseArms, Probability: 0.05})
	places := 0.0
	for _, r := range e.rows {
		places += r.due
	}
	// What 0.45 m/s cost: the gaps' variance at the mean speed less that at the
	// slower one.
	f.Harm = []evenstand.Harm{e.uneven(c.rows, places, cv*cv-slow*slow)}
}

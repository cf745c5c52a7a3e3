package cover

import (
	"cmp"
	"math"
	"slices"

	"evenstand/core/ground"
)

// How far beside and beyond a swath its neighbours are looked for (judged): half
// a planter's width or so, and what a late section leaves at any speed.
const (
	reachBeside = 6.0  // m
	reachBeyond = 15.0 // m
	stationWay  = 15.0 // m between the places where the distance of passes is measured
	parallel    = 0.17 // rad, some 10 degrees, to which passes run side by side
	bendLeast   = 0.05 // rad over a station's way: more is a curve, on which the bar is not square
)

// index finds what was worked near a line.
type index struct {
	pieces []piece1
	cells  map[[2]int][]int32
}

type piece1 struct {
	pass   int
	ring   ground.Ring
	psi    float64
	lo, hi ground.Point
}

const cell = 20.0 // m

func newIndex(swaths []Swath) *index {
	x := &index{cells: map[[2]int][]int32{}}
	for i := range swaths {
		s := &swaths[i]
		at := s.thin(straight)
		for k := 1; k < len(at); k++ {
			q := ground.Ring{at[k-1].Right(s.Left), at[k].Right(s.Left), at[k].Right(s.Right), at[k-1].Right(s.Right)}
			if !convex(q) {
				if q = hull(q); len(q) < 3 {
					continue
				}
			}
			p := piece1{pass: s.Pass, ring: q, psi: at[k-1].Psi, lo: q[0], hi: q[0]}
			for _, c := range q {
				for d := range c {
					p.lo[d], p.hi[d] = min(p.lo[d], c[d]), max(p.hi[d], c[d])
				}
			}
			n := int32(len(x.pieces))
			x.pieces = append(x.pieces, p)
			for a := int(math.Floor(p.lo[0] / cell)); a <= int(math.Floor(p.hi[0]/cell)); a++ {
				for b := int(math.Floor(p.lo[1] / cell)); b <= int(math.Floor(p.hi[1]/cell)); b++ {
					x.cells[[2]int{a, b}] = append(x.cells[[2]int{a, b}], n)
				}
			}
		}
	}
	return x
}

// cut1 is what of a line one pass worked, in metres along it.
type cut1 struct {
	pass   int
	lo, hi float64
	psi    float64 // heading of the pass there
}

// line gives what passes but one worked of a line through p with a direction
// (a unit vector), between lo and hi metres along it; what touches is joined.
func (x *index) line(p, dir ground.Point, lo, hi float64, but int) []cut1 {
	a := ground.Point{p[0] + lo*dir[0], p[1] + lo*dir[1]}
	b := ground.Point{p[0] + hi*dir[0], p[1] + hi*dir[1]}
	from := ground.Point{min(a[0], b[0]), min(a[1], b[1])}
	to := ground.Point{max(a[0], b[0]), max(a[1], b[1])}
	seen := map[int32]bool{}
	var out []cut1
	for i := int(math.Floor(from[0] / cell)); i <= int(math.Floor(to[0]/cell)); i++ {
		for j := int(math.Floor(from[1] / cell)); j <= int(math.Floor(to[1]/cell)); j++ {
			for _, n := range x.cells[[2]int{i, j}] {
				q := &x.pieces[n]
				if q.pass == but || seen[n] || q.hi[0] < from[0] || q.lo[0] > to[0] || q.hi[1] < from[1] || q.lo[1] > to[1] {
					continue
				}
				seen[n] = true
				if l, h, ok := through(q.ring, p, dir); ok && h > lo && l < hi {
					out = append(out, cut1{q.pass, max(l, lo), min(h, hi), q.psi})
				}
			}
		}
	}
	slices.SortFunc(out, func(a, b cut1) int { return cmp.Or(cmp.Compare(a.pass, b.pass), cmp.Compare(a.lo, b.lo)) })
	merged := out[:0]
	for _, c := range out {
		if n := len(merged); n > 0 && merged[n-1].pass == c.pass && c.lo <= merged[n-1].hi+0.02 {
			merged[n-1].hi = max(merged[n-1].hi, c.hi)
			continue
		}
		merged = append(merged, c)
	}
	return merged
}

// through gives what of the line through p lies in a convex ring.
func through(r ground.Ring, p, dir ground.Point) (lo, hi float64, ok bool) {
	lo, hi = math.Inf(1), math.Inf(-1)
	off := func(q ground.Point) float64 { return (q[0]-p[0])*dir[1] - (q[1]-p[1])*dir[0] }
	along := func(q ground.Point) float64 { return (q[0]-p[0])*dir[0] + (q[1]-p[1])*dir[1] }
	for i, a := range r {
		b := r[(i+1)%len(r)]
		da, db := off(a), off(b)
		if (da <= 0) == (db <= 0) {
			continue
		}
		t := da / (da - db)
		u := along(a) + t*(along(b)-along(a))
		lo, hi = min(lo, u), max(hi, u)
	}
	return lo, hi, hi > lo
}

// End is where a swath begins or ends at ground that another pass worked.
type End struct {
	Swath   int  // index
	Pass    int  // of the swath
	Other   int  // pass whose ground it meets
	Entry   bool // it begins here
	Pose    Pose
	Place   ground.Point // the middle of the end
	Gap     float64      // m from the end to the other's ground; negative: it lies so far inside it
	Lag     float64      // s that the bar took for that way, with its sign
	Oblique float64      // rad between the swath's heading and the square of the other's edge; 0 meets it squarely
}

// Ends gives the ends of swaths that meet ground of earlier passes: within 15 m
// ahead of them, or inside it. Ends at the edge of a field meet none, and
// neither do those at ground that was worked later.
func Ends(swaths []Swath) []End {
	x := newIndex(swaths)
	var out []End
	for i := range swaths {
		s := &swaths[i]
		n := len(s.At)
		if n < 2 {
			continue
		}
		mid := (s.Left + s.Right) / 2
		for _, entry := range []bool{true, false} {
			p := s.At[n-1]
			turn := 0.0
			if entry {
				p, turn = s.At[0], math.Pi
			}
			sn, cs := math.Sincos(p.Psi + turn)
			e := End{Swath: i, Pass: s.Pass, Other: -1, Entry: entry, Pose: p, Place: p.Right(mid), Gap: math.Inf(1)}
			for _, c := range x.line(e.Place, ground.Point{sn, cs}, -reachBeyond, reachBeyond, s.Pass) {
				if c.pass > s.Pass {
					continue
				}
				gap := c.lo // ahead of the end
				if c.lo <= 0 && c.hi >= 0 {
					gap = c.lo // the end lies inside: back to where the other's ground begins
				} else if c.hi < 0 {
					continue
				}
				if gap < e.Gap {
					e.Gap, e.Other = gap, c.pass
					e.Oblique = math.Abs(math.Abs(math.Remainder(c.psi-p.Psi, math.Pi)) - math.Pi/2)
				}
			}
			// Ground that reaches back to the end of what is looked at runs beside.
			if e.Other >= 0 && e.Gap > -reachBeyond {
				e.Lag = lag(s, entry, e.Gap)
				out = append(out, e)
			}
		}
	}
	return out
}

// lag gives the time that the bar took from the edge of the other's ground to
// the end of the swath, or back.
func lag(s *Swath, entry bool, gap float64) float64 {
	n := len(s.At)
	// the way runs along the poses before the end for what was left at an entry
	// and done twice at an exit, and along those after it for the rest
	var way []Pose
	end := s.At[n-1]
	switch {
	case entry && gap >= 0:
		end = s.At[0]
		way = slices.Clone(s.Lead)
		reverse(way)
	case entry:
		end, way = s.At[0], s.At[1:]
	case gap < 0:
		way = slices.Clone(s.At[:n-1])
		reverse(way)
	}
	left, at := math.Abs(gap), end
	for _, p := range way {
		l := math.Hypot(p.E-at.E, p.N-at.N)
		if l >= left && l > 0 {
			at = between(at, p, left/l)
			left = 0
			break
		}
		left -= l
		at = p
	}
	t := math.Abs((end.T - at.T).Seconds())
	if left > 0 {
		t += left / max(0.3, at.V)
	}
	return math.Copysign(t, gap)
}

// Beside is how far two passes that run side by side lie apart at one place.
type Beside struct {
	Pass, Other int     // the later pass and the one beside it
	Right       bool    // the other lies to the right of the later pass
	OtherRight  bool    // and the later to the right of the other
	Pose        Pose    // of the later pass
	Off         float64 // m between their facing edges; 0 is as wide as between rows, negative overlaps
}

// Besides measures every 15 m of straight ground how far each pass lies from
// the earlier passes beside it.
func Besides(swaths []Swath) []Beside {
	x := newIndex(swaths)
	// the edges of a pass at a place are those of its outermost swaths
	var out []Beside
	for i := range swaths {
		s := &swaths[i]
		left, right := outermost(swaths, i)
		way, next := 0.0, stationWay/2
		for k := 1; k < len(s.At); k++ {
			a, b := s.At[k-1], s.At[k]
			way += math.Hypot(b.E-a.E, b.N-a.N)
			if way < next {
				continue
			}
			next = way + stationWay
			if bends(s.At, k) {
				continue
			}
			for _, side := range []struct {
				on    bool
				y     float64
				right bool
			}{{left, s.Left, false}, {right, s.Right, true}} {
				if !side.on {
					continue
				}
				sn, cs := math.Sincos(b.Psi)
				dir := ground.Point{cs, -sn}
				if !side.right {
					dir = ground.Point{-cs, sn}
				}
				edge := b.Right(side.y)
				best := Beside{Off: math.Inf(1)}
				for _, c := range x.line(edge, dir, -s.Width()*0.8, reachBeside, s.Pass) {
					turn := math.Remainder(c.psi-b.Psi, 2*math.Pi)
					same := math.Abs(turn) < parallel
					if c.pass > s.Pass || !same && math.Abs(turn) < math.Pi-parallel {
						continue
					}
					if c.lo <= -s.Width()*0.8+0.01 { // it covers this pass: planted twice, not beside
						continue
					}
					if math.Abs(c.lo) < math.Abs(best.Off) {
						best = Beside{Pass: s.Pass, Other: c.pass, Right: side.right, Pose: b, Off: c.lo}
						// seen from the other pass this one lies on the other hand when
						// both drive the same way
						best.OtherRight = side.right != same
					}
				}
				if !math.IsInf(best.Off, 1) {
					out = append(out, best)
				}
			}
		}
	}
	return out
}

// outermost tells whether the edges of a swath are the edges of its pass.
func outermost(swaths []Swath, i int) (left, right bool) {
	left, right = true, true
	for k := range swaths {
		if k != i && swaths[k].Pass == swaths[i].Pass {
			left = left && swaths[k].Left >= swaths[i].Left-0.01
			right = right && swaths[k].Right <= swaths[i].Right+0.01
		}
	}
	return left, right
}

// bends tells whether the way about a pose is a curve.
func bends(at []Pose, k int) bool {
	way := 0.0
	i := k
	for ; i > 0 && way < stationWay/2; i-- {
		way += math.Hypot(at[i].E-at[i-1].E, at[i].N-at[i-1].N)
	}
	j := k
	for way = 0; j+1 < len(at) && way < stationWay/2; j++ {
		way += math.Hypot(at[j+1].E-at[j].E, at[j+1].N-at[j].N)
	}
	return math.Abs(at[j].Psi-at[i].Psi) > bendLeast
}

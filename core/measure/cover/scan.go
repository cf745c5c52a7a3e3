package cover

import (
	"cmp"
	"math"
	"slices"

	"evenstand/core/ground"
)

// Scanned is what a scan across the passes gives, m2.
type Scanned struct {
	Worked float64 // at least once
	Twice  float64 // by more passes than one, once for each beyond the first
}

// Scan lays lines every d metres across the ground and sums up what of them the
// passes cover: exact on each line, and within a few m2 on 20 ha at 0.25 m
// (methods, section m). The lines run east and north by turns of the heading
// that most of the way has, across it.
func Scan(swaths []Swath, d float64) Scanned {
	type stretch struct {
		pass   int
		lo, hi float64
	}
	var out Scanned
	var on []stretch
	sweep(swaths, d, func(_ int, hits []hit) {
		on = on[:0]
		for _, h := range hits {
			on = append(on, stretch{swaths[h.swath].Pass, h.lo, h.hi})
		}
		// by pass first: what a pass covers of the line
		slices.SortFunc(on, func(a, b stretch) int { return cmp.Or(cmp.Compare(a.pass, b.pass), cmp.Compare(a.lo, b.lo)) })
		each := 0.0
		merged := on[:0]
		for _, s := range on {
			if n := len(merged); n > 0 && merged[n-1].pass == s.pass && s.lo <= merged[n-1].hi {
				merged[n-1].hi = max(merged[n-1].hi, s.hi)
				continue
			}
			merged = append(merged, s)
		}
		for _, s := range merged {
			each += s.hi - s.lo
		}
		slices.SortFunc(merged, func(a, b stretch) int { return cmp.Compare(a.lo, b.lo) })
		all, end := 0.0, math.Inf(-1)
		for _, s := range merged {
			if s.hi > end {
				all += s.hi - max(s.lo, end)
				end = s.hi
			}
		}
		out.Worked += all * d
		out.Twice += (each - all) * d
	})
	return out
}

// hit is what of a line a piece of a swath covers.
type hit struct {
	swath  int
	lo, hi float64
}

// sweep lays lines every d metres across the way that most swaths run, and gives
// what each meets; line k lies at (k + 1/2) d. The hits are only lent.
func sweep(swaths []Swath, d float64, line func(k int, hits []hit)) {
	sn, cs := math.Sincos(course(swaths))
	// u runs along the passes, v across them; a line has one u.
	turn := func(p ground.Point) ground.Point { return ground.Point{p[0]*sn + p[1]*cs, p[0]*cs - p[1]*sn} }
	type piece struct {
		swath      int
		ring       ground.Ring
		first, end int // lines that it meets
	}
	var pieces []piece
	for i := range swaths {
		for _, q := range swaths[i].quads(straight) {
			r := make(ground.Ring, len(q))
			lo, hi := math.Inf(1), math.Inf(-1)
			for k, p := range q {
				r[k] = turn(p)
				lo, hi = min(lo, r[k][0]), max(hi, r[k][0])
			}
			first, end := int(math.Ceil(lo/d-0.5)), int(math.Ceil(hi/d-0.5))
			if first < end {
				pieces = append(pieces, piece{i, r, first, end})
			}
		}
	}
	slices.SortStableFunc(pieces, func(a, b piece) int { return cmp.Compare(a.first, b.first) })
	var open []piece
	var hits []hit
	next := 0
	for k := 0; next < len(pieces) || len(open) > 0; k++ {
		if len(open) == 0 {
			k = pieces[next].first
		}
		for ; next < len(pieces) && pieces[next].first <= k; next++ {
			open = append(open, pieces[next])
		}
		u := (float64(k) + 0.5) * d
		hits = hits[:0]
		open = slices.DeleteFunc(open, func(p piece) bool {
			if k >= p.end {
				return true
			}
			if lo, hi, ok := along(p.ring, u); ok {
				hits = append(hits, hit{p.swath, lo, hi})
			}
			return false
		})
		line(k, hits)
	}
}

// scanError is what a scan may be off by, m2, beside its rule: an end of a swath
// that lies along the lines is off by half a line's distance at most, and the
// ends are independent of each other.
func scanError(swaths []Swath, d float64) float64 {
	v := 0.0
	for i := range swaths {
		v += swaths[i].Width() * swaths[i].Width()
	}
	return 2*d*math.Sqrt(v) + d
}

// along gives what of the line at u lies in a convex ring.
func along(r ground.Ring, u float64) (lo, hi float64, ok bool) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for i, a := range r {
		b := r[(i+1)%len(r)]
		if (a[0] <= u) == (b[0] <= u) {
			continue
		}
		v := a[1] + (u-a[0])/(b[0]-a[0])*(b[1]-a[1])
		lo, hi = min(lo, v), max(hi, v)
	}
	return lo, hi, hi > lo
}

// course gives the heading, in radians, along which most of the way runs; a
// heading and its opposite are one.
func course(swaths []Swath) float64 {
	x, y := 0.0, 0.0
	for i := range swaths {
		at := swaths[i].At
		for k := 1; k < len(at); k++ {
			e, n := at[k].E-at[k-1].E, at[k].N-at[k-1].N
			if l := math.Hypot(e, n); l > 0 {
				s, c := e/l, n/l
				x += l * (c*c - s*s)
				y += l * 2 * s * c
			}
		}
	}
	return math.Atan2(y, x) / 2
}

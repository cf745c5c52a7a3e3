package align

import (
	"cmp"
	"math"
	"slices"
	"sort"

	"evenstand"
	"evenstand/core/stat"
)

// Limits of Behind. All are judged.
const (
	endWay    = 20.0 // m of pass beside its end that must be straight
	endBend   = 0.05 // rad by which the course may differ over them
	endLead   = 10.0 // m before the planter is lowered that must be about straight
	endLeadOf = 0.15 // rad by which the course may differ over them
	endAcross = 0.98 // cosine by which two passes are driven against one another
	endApart  = 60.0 // m along the pass beyond which two ends are not of one edge
	endNext   = 2.5  // widths within which a neighbour must be
	endsLeast = 12   // ends that must have neighbours on both sides
	endStray  = 4.0  // standard deviations beyond which one does not count
	endLeast  = 0.25 // m that these are at least
	// habit is the standard deviation in metres of half of what drivers lift
	// later, on the whole, than they lower, seen from the edge. Nothing in the
	// logs tells it.
	habit = 0.3
)

// Behind is how far the seed line lies behind the antenna, as the ends of
// passes tell.
type Behind struct {
	Distance float64 // m, NaN when they do not tell
	SE       float64 // m, standard error of Distance
	Ends     int     // of passes that it rests on
	Speed    float64 // m/s at these ends, mean
	Scatter  float64 // m, standard deviation of where one end lies
}

// BehindOptions say how the moments are known at which the planter was lowered
// and lifted.
type BehindOptions struct {
	Width  float64 // m of the planter
	Late   float64 // s by which these moments are logged late, on average
	LateSD float64 // s, standard error of Late and of the clock against the places
}

// end is where the antenna was when the planter was lowered or lifted.
type end struct {
	e, n, de, dn float64 // m; the way into the pass, of length 1
	lifted       bool
	v            float64 // m/s
}

// FindBehind tells how far the seed line lies behind the antenna by the ends of
// passes driven to and fro: along one edge of a field the planter is lifted on
// one pass and lowered on the next at about one line, and the places of the
// antenna then lie apart by twice the distance (methods document, sections k
// and l: along offset from headland edges). An end counts where the pass is
// straight and the neighbours on both sides end there the other way, between
// which the edge is taken to be straight. Latency of the receiver against the
// clock of the moments, and moments that are logged late, add speed times time;
// ends of unlike speeds are too few to part the two.
func FindBehind(track *Track, down []Interval, opt BehindOptions) Behind {
	none := Behind{Distance: math.NaN(), SE: math.NaN()}
	if !(opt.Width > 0) {
		return none
	}
	var ends []end
	for _, iv := range down {
		if a, ok := track.end(iv.From, 1); ok {
			ends = append(ends, a)
		}
		if a, ok := track.end(iv.To, -1); ok {
			ends = append(ends, a)
		}
	}
	// Nearest neighbours are looked for among those of a like place along the
	// way only: sorted by one axis, since fields are small.
	slices.SortFunc(ends, func(a, b end) int { return cmp.Compare(a.e, b.e) })
	far := math.Hypot(endNext*opt.Width, endApart)
	var twice, speeds []float64
	lo := 0
	for i := range ends {
		for ends[i].e-ends[lo].e > far {
			lo++
		}
		if d, v, ok := ends[i].between(ends[lo:], far, opt); ok {
			twice, speeds = append(twice, d), append(speeds, v)
		}
	}
	if len(twice) < endsLeast {
		return none
	}
	// Strays by the median; then the mean.
	mid := stat.Median(twice)
	off := make([]float64, len(twice))
	for i, d := range twice {
		off[i] = math.Abs(d - mid)
	}
	limit := endStray * math.Max(stat.Median(off)/0.6745, endLeast)
	var n, sum, sq, v float64
	for i, d := range twice {
		if math.Abs(d-mid) <= limit {
			n++
			sum += d
			sq += (d - mid) * (d - mid)
			v += speeds[i]
		}
	}
	if n < endsLeast {
		return none
	}
	mean := sum / n
	// One end against the mean of two neighbours: three halves of the variance
	// of an end, which counts once by itself and by half in each neighbour.
	one := math.Sqrt(math.Max(0, sq/n-(mean-mid)*(mean-mid)) / 1.5)
	v /= n
	b := Behind{Distance: mean/2 - v*opt.Late, Ends: int(n), Speed: v, Scatter: one}
	b.SE = math.Sqrt(one*one/n + habit*habit + v*v*opt.LateSD*opt.LateSD)
	return b
}

// end gives the antenna at a moment at which a pass begins (way 1) or ends (way
// -1); false where the pass beside it is not straight, or the track has a hole.
func (tr *Track) end(t evenstand.Micros, way int) (end, bool) {
	p := sort.Search(len(tr.Pieces), func(i int) bool { return tr.T[tr.Pieces[i].To-1] > t })
	if p == len(tr.Pieces) {
		return end{}, false
	}
	from, to := tr.Pieces[p].From, tr.Pieces[p].To
	i := from + sort.Search(to-from, func(i int) bool { return tr.T[from+i] > t }) - 1
	if i < from || i+1 >= to {
		return end{}, false
	}
	a := tr.at(i, (t - tr.T[i]).Seconds())
	x := end{e: a.e, n: a.n, lifted: way < 0, v: math.Hypot(a.ve, a.vn)}
	// Half of the straight, then all of it.
	var half, whole [2]float64
	for j := i; ; j += way {
		if j < from || j >= to {
			return end{}, false
		}
		d := [2]float64{tr.E[j] - a.e, tr.N[j] - a.n}
		switch r := math.Hypot(d[0], d[1]); {
		case r < endWay/2:
			continue
		case half == [2]float64{}:
			half = d
			continue
		case r < endWay:
			continue
		}
		whole = d
		break
	}
	u, w := math.Atan2(half[0], half[1]), math.Atan2(whole[0], whole[1])
	if math.Abs(turn(u, w)) > endBend {
		return end{}, false
	}
	if !x.lifted { // the bar must have come round
		for j := i; ; j-- {
			if j < from {
				return end{}, false
			}
			if de, dn := a.e-tr.E[j], a.n-tr.N[j]; math.Hypot(de, dn) >= endLead {
				if math.Abs(turn(math.Atan2(de, dn), w)) > endLeadOf {
					return end{}, false
				}
				break
			}
		}
	}
	s, c := math.Sincos(w)
	x.de, x.dn = s, c
	return x, true
}

// between gives how much nearer to the middle of the field an end at which the
// planter was lowered lies than those beside it at which it was lifted, or the
// other way about: twice the distance. The seed line lies behind on both. v is
// the mean speed. false without neighbours on both sides.
func (x *end) between(near []end, far float64, opt BehindOptions) (d, v float64, ok bool) {
	var left, right struct{ across, along, v float64 }
	l, r := math.Inf(-1), math.Inf(1)
	for i := range near {
		y := &near[i]
		if y.e-x.e > far {
			break
		}
		// Both look into the field at one edge.
		if y.lifted == x.lifted || y.de*x.de+y.dn*x.dn < endAcross {
			continue
		}
		de, dn := y.e-x.e, y.n-x.n
		along, across := de*x.de+dn*x.dn, de*x.dn-dn*x.de
		if math.Abs(along) > endApart || math.Abs(across) > endNext*opt.Width || math.Abs(across) < opt.Width/4 {
			continue
		}
		if across < 0 && across > l {
			l = across
			left.across, left.along, left.v = across, along, y.v
		}
		if across > 0 && across < r {
			r = across
			right.across, right.along, right.v = across, along, y.v
		}
	}
	if math.IsInf(l, 0) || math.IsInf(r, 0) {
		return 0, 0, false
	}
	u := -left.across / (right.across - left.across)
	d = left.along + u*(right.along-left.along) // of where the edge is on the others
	if !x.lifted {
		d = -d
	}
	// Lowered, the antenna is ahead of the seed line, that is further in;
	// lifted it is further out: the lowered end lies 2·distance further in.
	return d, (x.v + left.v + u*(right.v-left.v)) / 2, true
}

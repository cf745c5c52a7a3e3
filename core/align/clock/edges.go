package clock

import (
	"math"
	"slices"

	"evenstand"
)

// Edge is a moment at which a box saw the planter lowered or lifted.
type Edge struct {
	T    evenstand.Micros
	Down bool
}

// Limits of the comparison of edges (judged).
const (
	edgesLeast = 6   // that must agree
	edgesShare = 0.6 // of the fewer that must agree
	edgesBeat  = 4   // by which the best shift must beat the second
)

// Edges gives the offset of the clock of box against that of ref by the
// moments at which both saw the planter lowered and lifted. everyRef and every
// are the seconds between the states that each logs, which is how late it may
// see an edge: half of it on average, which is taken off. 0 is a box that
// writes when the state changes. nil when too few agree, or agree at two
// shifts.
func Edges(ref, box []Edge, everyRef, every float64, opt Options) []Fit {
	if len(ref) < edgesLeast || len(box) < edgesLeast {
		return nil
	}
	slot := math.Max(0.25, math.Hypot(everyRef, every)) // s within which two edges are one
	zones := []evenstand.Micros{0}
	if opt.Zones {
		for z := evenstand.Micros(1); z <= zoneMost; z++ {
			zones = append(zones, z*zoneStep, -z*zoneStep)
		}
	}
	sorted := func(es []Edge) []Edge {
		es = slices.Clone(es)
		slices.SortFunc(es, func(a, b Edge) int { return int(a.T - b.T) })
		return es
	}
	ref, box = sorted(ref), sorted(box)
	// Every pair of like edges names a shift; the right one is named most often.
	type name struct {
		d float64 // s
		t evenstand.Micros
	}
	var all []name
	for _, z := range zones {
		for _, b := range box {
			t := b.T - z - evenstand.FromSeconds(around)
			i, _ := slices.BinarySearchFunc(ref, t, func(e Edge, t evenstand.Micros) int { return int(e.T - t) })
			for ; i < len(ref) && (b.T-z-ref[i].T).Seconds() >= -around; i++ {
				if ref[i].Down == b.Down {
					all = append(all, name{(b.T - ref[i].T).Seconds(), b.T})
				}
			}
		}
	}
	slices.SortFunc(all, func(a, b name) int {
		if a.d != b.d {
			if a.d < b.d {
				return -1
			}
			return 1
		}
		return int(a.t - b.t)
	})
	// A drift of 50 ppm spreads the names by a second over six hours.
	long := (box[len(box)-1].T - box[0].T).Seconds()
	wide := 2*slot + 2*driftSD*long
	best, from, to := 0, 0, 0
	for i, j := 0, 0; i < len(all); i++ {
		for j < len(all) && all[j].d-all[i].d <= wide {
			j++
		}
		if j-i > best {
			best, from, to = j-i, i, j
		}
	}
	if best < edgesLeast || float64(best) < edgesShare*float64(min(len(ref), len(box))) {
		return nil
	}
	low, high := all[from].d-apart, all[to-1].d+apart
	for i, j := 0, 0; i < len(all); i++ {
		for j < len(all) && all[j].d-all[i].d <= wide {
			j++
		}
		if (all[i].d > high || all[j-1].d < low) && j-i > best-edgesBeat {
			return nil
		}
	}
	got := all[from:to]
	slices.SortFunc(got, func(a, b name) int { return int(a.t - b.t) })
	// A line through them, with the prior on the drift.
	sd := math.Sqrt((everyRef*everyRef + every*every) / 12)
	sd = math.Max(sd, 0.02)
	var n, st, sd1 float64
	mid := got[len(got)/2].t
	late := (every - everyRef) / 2
	for _, g := range got {
		n++
		st += (g.t - mid).Seconds()
		sd1 += g.d
	}
	mt, md := st/n, sd1/n
	var stt, std float64
	for _, g := range got {
		x := (g.t - mid).Seconds() - mt
		stt += x * x
		std += x * (g.d - md)
	}
	fit := func(sd float64) (drift, driftVar float64) {
		w := stt/(sd*sd) + 1/(driftSD*driftSD)
		return std / (sd * sd) / w, 1 / w
	}
	drift, dv := fit(sd)
	ss := 0.0
	for _, g := range got {
		e := g.d - md - drift*((g.t-mid).Seconds()-mt)
		ss += e * e
	}
	if s := math.Sqrt(ss / math.Max(1, n-2)); s > sd {
		sd = s
		drift, dv = fit(sd)
	}
	f := Fit{
		From: got[0].t, To: got[len(got)-1].t, At: mid + evenstand.FromSeconds(mt), Offset: md - late, Drift: drift,
		SE: sd / math.Sqrt(n), DriftSE: math.Sqrt(dv), Share: n / float64(min(len(ref), len(box))),
	}
	return []Fit{f}
}

package align

import (
	"fmt"
	"math"
	"slices"

	"evenstand"
	"evenstand/core/ground"
)

// SmoothOptions are the limits of Smooth. DefaultSmooth gives the usual ones.
type SmoothOptions struct {
	Accel   float64 // m/s2 per √s by which the acceleration along the way wanders
	Across  float64 // the same across the way; 0 as along
	RTK     float64 // m, SD of an RTK fix on each axis
	Other   float64 // m, SD of any other fix whose kind is known
	Gate    float64 // SDs beyond which a fix is skipped
	MaxGap  float64 // s without a fix after which a new piece begins
	Latency float64 // s by which the receiver's places are older than their times say
}

// DefaultSmooth gives the limits of the methods document, section l, but for
// the unrest across the way, which it takes to be that along. 0.14 is judged:
// the force across grows by 0.08 m/s2 where a 60 m curve begins at 2.2 m/s.
// With it the heading of a mounted bar is known twice as well (TestRowPlaces). MaxGap is
// judged: over 3 s between fixes the place in the middle wanders by another
// 0.09 m (SD), over 4 s by 0.18, which is more than a poor fix. A log with a longer interval of its
// own may have gaps of 2.5 intervals, but of 10 s at most.
func DefaultSmooth() SmoothOptions {
	return SmoothOptions{Accel: 0.8, Across: 0.14, RTK: 0.02, Other: 0.15, Gate: 4, MaxGap: 3}
}

// Track is the smoothed way of the antenna. Slices run in parallel, one entry
// for each moment that has a fix.
type Track struct {
	Frame  ground.Frame
	T      []evenstand.Micros // rising; latency taken off
	E, N   []float64          // m
	VE, VN []float64          // m/s
	AE, AN []float64          // m/s2
	SD     []float64          // m, on each axis
	VSD    []float64          // m/s, across the way
	Pieces []Piece            // stretches without a gap, each of two entries at least
	Report TrackReport
	psd    float64 // (m/s3)2 s, by which the acceleration wanders
}

// slowest is the speed in m/s below which a track says nothing of a heading.
const slowest = 0.3

// Piece is a run of entries [From, To) without a gap.
type Piece struct{ From, To int }

// TrackReport says what became of the fixes.
type TrackReport struct {
	Fixes      int     // handed in
	NoPlace    int     // dropped: place 0/0, not a number or off the globe, or of kind FixNone
	Duplicates int     // dropped: the time of another fix, of which the first is kept
	Held       int     // dropped: the very place of a fix less than a second before
	Disordered int     // put back into order of time
	Skipped    int     // beyond the gate, or alone between gaps
	Gaps       int     // pieces less one
	SD         float64 // m, SD taken for fixes of unknown kind; NaN when there were none
}

// Notes gives what a person should know of the fixes, in whole sentences.
func (r TrackReport) Notes() []string {
	var out []string
	say := func(n int, one, many string) {
		if n == 1 {
			out = append(out, one)
		} else if n > 1 {
			out = append(out, fmt.Sprintf(many, n))
		}
	}
	say(r.NoPlace, "One position had no place and was left out.", "%d positions had no place and were left out.")
	say(r.Duplicates, "One position had the time of another and was left out.", "%d positions had the time of another and were left out.")
	say(r.Disordered, "One position came out of order and was put in its place.", "%d positions came out of order and were put in their place.")
	say(r.Skipped, "One position jumped away from its neighbours and was not used.", "%d positions jumped away from their neighbours and were not used.")
	if !math.IsNaN(r.SD) {
		out = append(out, fmt.Sprintf("The receiver does not say how good its positions are. From one to the next they scatter by %.0f cm; a slow drift is not in that.", 100*r.SD))
	}
	return out
}

// heldFor is the time within which the very same place again is a repeat by
// the logger and not a new fix (judged: receivers give one place a second at
// least).
const heldFor = evenstand.Second

// heldMoving is the receiver's own speed in m/s at which the very same place is
// a repeat however long it lasts: a machine that moves is somewhere else.
const heldMoving = 0.7

// Smooth turns fixes into the smoothed track of the antenna: a Rauch-Tung-
// Striebel smoother on each axis, at constant acceleration. Fixes may come in
// any order. Those without a place, at 0/0, with a time that another has, and
// repeats of a held value are dropped; those that jump away from where the
// track must be are skipped; a gap starts a new piece. Fixes of unknown kind
// get the SD under which the track is likeliest, which at one fix a second or
// slower says little and is then on the large side.
func Smooth(fixes []evenstand.Fix, frame ground.Frame, opt SmoothOptions) *Track {
	tr := &Track{Frame: frame, Report: TrackReport{Fixes: len(fixes), SD: math.NaN()}, psd: opt.Accel * opt.Accel}
	keep := tr.sort(fixes)
	if len(keep) == 0 {
		return tr
	}
	w := wiener{3, opt.Accel * opt.Accel}
	gap := opt.gap(keep)
	z := make([]obs, len(keep))
	var unknown []int
	for i, f := range keep {
		e, n := frame.ToLocal(f.Lat, f.Lon)
		sd := opt.Other
		switch f.Kind {
		case evenstand.FixRTK:
			sd = opt.RTK
		case evenstand.FixUnknown:
			unknown = append(unknown, i)
		}
		z[i] = obs{(f.T - keep[0].T).Seconds(), [2]float64{e, n}, sd * sd}
	}
	if len(unknown) > 0 {
		tr.Report.SD = scatter(w, z, unknown, opt.Gate, gap)
		for _, i := range unknown {
			z[i].r = tr.Report.SD * tr.Report.SD
		}
	}
	lag := evenstand.FromSeconds(opt.Latency)
	tr.grow(len(z))
	var b blockOf
	for from := 0; from < len(z); {
		to := from + 1
		for to < len(z) && z[to].t-z[to-1].t <= gap {
			to++
		}
		for from < to {
			from += tr.piece(&b, opt, w, z[from:to], keep[from:to], gap, lag)
		}
	}
	tr.Report.Gaps = max(0, len(tr.Pieces)-1)
	return tr
}

// A piece is smoothed in blocks, each looking a hundred fixes beyond its end,
// where the future no longer matters (after 2 s already; methods document,
// section l), so that a day takes no more memory than a quarter of an hour.
const (
	block = 4096
	ahead = 128
)

// blockOf holds what is worked out over one block, for the next to write over.
type blockOf struct {
	f             filtered
	s             []estimate
	u             []unrest
	before, after []estimate6
}

// grow makes room for n moments.
func (tr *Track) grow(n int) {
	tr.T = slices.Grow(tr.T, n)
	for _, x := range []*[]float64{&tr.E, &tr.N, &tr.VE, &tr.VN, &tr.AE, &tr.AN, &tr.SD, &tr.VSD} {
		*x = slices.Grow(*x, n)
	}
}

// piece smooths a run of fixes without a gap and gives how many it took in: all
// of them, or those before the track was lost.
func (tr *Track) piece(b *blockOf, opt SmoothOptions, w wiener, z []obs, fixes []evenstand.Fix, lost float64, lag evenstand.Micros) int {
	from := len(tr.T)
	two := opt.Across > 0 && opt.Across < opt.Accel
	prior := start(z[0])
	prior6 := both(prior)
	way := unrest{0, 1, w.psd} // before it ever moved
	done := 0
	for end := len(z); done < end; {
		ask := min(end, done+block+ahead)
		part := z[done:ask]
		b.f = w.filter(b.f, prior, part, opt.Gate, lost)
		f := &b.f
		n := len(f.post)
		take := n
		if n < len(part) {
			end = done + n // lost: what follows is another piece
		} else if ask < end {
			take = block
		}
		b.s = w.smooth(b.s, b.f, part[:n])
		s := b.s
		if two {
			b.u = ways(b.u, s, part[:n], opt.Accel, opt.Across, way)
			b.before, b.after = sized(b.before, n), sized(b.after, n)
			u, before, after := b.u, b.before, b.after
			j := joint{w.psd}
			j.filter(before, after, prior6, part[:n], f.used, u)
			if done+take < end {
				prior6 = j.predict(&after[take-1], part[take].t-part[take-1].t, u[take])
				way = u[take-1]
			}
			j.smooth(before, after, part[:n])
			for i := range s {
				e := &after[i]
				s[i].x[0], s[i].x[1] = vec(e.x[:3]), vec(e.x[3:])
				// The larger axis stands for both.
				s[i].p[0][0] = math.Max(e.p[0][0], e.p[3][3])
				s[i].p[1][1] = u[i].cos*u[i].cos*e.p[1][1] - 2*u[i].sin*u[i].cos*e.p[1][4] + u[i].sin*u[i].sin*e.p[4][4]
			}
		}
		if done+take < end {
			prior, _ = w.predict(f.post[take-1], part[take].t-part[take-1].t)
		}
		for _, used := range f.used[:take] {
			if !used {
				tr.Report.Skipped++
			}
		}
		tr.add(s[:take], fixes[done:done+take], lag)
		done += take
	}
	if done < 2 { // alone it has no speed
		tr.T, tr.E, tr.N = tr.T[:from], tr.E[:from], tr.N[:from]
		tr.VE, tr.VN, tr.AE, tr.AN = tr.VE[:from], tr.VN[:from], tr.AE[:from], tr.AN[:from]
		tr.SD, tr.VSD = tr.SD[:from], tr.VSD[:from]
		tr.Report.Skipped += done
	} else {
		tr.Pieces = append(tr.Pieces, Piece{from, len(tr.T)})
	}
	return done
}

// placed tells whether a fix has a place on the globe.
func placed(f *evenstand.Fix) bool {
	bad := math.IsNaN(f.Lat) || math.IsNaN(f.Lon) || math.Abs(f.Lat) > 90 || math.Abs(f.Lon) > 180
	zero := math.Abs(f.Lat) < 1e-6 && math.Abs(f.Lon) < 1e-6
	return !bad && !zero && f.Kind != evenstand.FixNone && f.T != evenstand.NoTime
}

// again tells whether a fix only repeats the one before.
func again(f, last *evenstand.Fix) bool {
	return f.Lat == last.Lat && f.Lon == last.Lon && (f.T-last.T < heldFor || f.Speed > heldMoving)
}

// inOrder tells whether all fixes are to be kept as they are.
func inOrder(fixes []evenstand.Fix) bool {
	for i := range fixes {
		f := &fixes[i]
		if !placed(f) || i > 0 && (f.T <= fixes[i-1].T || again(f, &fixes[i-1])) {
			return false
		}
	}
	return true
}

// sort drops what is no fix and gives the rest in order of time; what is all
// kept is lent.
func (tr *Track) sort(fixes []evenstand.Fix) []evenstand.Fix {
	r := &tr.Report
	if inOrder(fixes) {
		return fixes
	}
	keep := make([]evenstand.Fix, 0, len(fixes))
	top := evenstand.NoTime
	for _, f := range fixes {
		if !placed(&f) {
			r.NoPlace++
			continue
		}
		if f.T < top {
			r.Disordered++
		}
		top = max(top, f.T)
		keep = append(keep, f)
	}
	if r.Disordered > 0 {
		slices.SortStableFunc(keep, func(a, b evenstand.Fix) int {
			switch {
			case a.T < b.T:
				return -1
			case a.T > b.T:
				return 1
			}
			return 0
		})
	}
	n := 0
	for _, f := range keep {
		if n > 0 {
			l := keep[n-1]
			if f.T == l.T {
				r.Duplicates++
				continue
			}
			if again(&f, &l) {
				r.Held++
				continue
			}
		}
		keep[n] = f
		n++
	}
	return keep[:n]
}

// gap gives the longest time between fixes of one piece.
func (opt SmoothOptions) gap(fixes []evenstand.Fix) float64 {
	if len(fixes) < 3 {
		return opt.MaxGap
	}
	dt := make([]evenstand.Micros, len(fixes)-1)
	for i := range dt {
		dt[i] = fixes[i+1].T - fixes[i].T
	}
	slices.Sort(dt)
	return math.Max(opt.MaxGap, math.Min(10, 2.5*dt[len(dt)/2].Seconds()))
}

// start is what is known before the first fix of a piece: it is somewhere
// there, at a speed of a planter or of a road, with little force.
func start(o obs) estimate {
	var e estimate
	e.x[0][0], e.x[1][0] = o.z[0], o.z[1]
	e.p[0][0], e.p[1][1], e.p[2][2] = 100, 25, 2
	return e
}

// scatter gives the SD of fixes of unknown kind: the one under which what was
// measured is likeliest, over up to eight runs of 400 fixes spread through the
// log, between 1 cm and 5 m.
func scatter(w wiener, z []obs, unknown []int, gate, gap float64) float64 {
	const runs, length = 8, 400
	var parts [][]obs
	for k := range runs {
		from := k * len(unknown) / runs
		to := min((k+1)*len(unknown)/runs, from+length)
		var part []obs
		for _, i := range unknown[from:to] {
			if len(part) > 0 && z[i].t-part[len(part)-1].t > gap {
				parts, part = append(parts, part), nil
			}
			part = append(part, z[i])
		}
		parts = append(parts, part)
	}
	var f filtered
	cost := func(ln float64) float64 {
		c := 0.0
		for _, p := range parts {
			if len(p) < 5 {
				continue
			}
			for i := range p {
				p[i].r = math.Exp(2 * ln)
			}
			f = w.filter(f, start(p[0]), p, gate, math.Inf(1))
			c -= f.loglik
		}
		return c
	}
	// A grid finds the valley, the golden section its floor.
	lo, hi := math.Log(0.01), math.Log(5)
	const steps = 8
	best, at := math.Inf(1), 0
	for i := range steps + 1 {
		if c := cost(lo + (hi-lo)*float64(i)/steps); c < best {
			best, at = c, i
		}
	}
	d := (hi - lo) / steps
	a, b := math.Max(lo, lo+d*float64(at-1)), math.Min(hi, lo+d*float64(at+1))
	const g = 0.6180339887498949
	x1, x2 := b-g*(b-a), a+g*(b-a)
	c1, c2 := cost(x1), cost(x2)
	for b-a > 0.03 {
		if c1 < c2 {
			b, x2, c2 = x2, x1, c1
			x1 = b - g*(b-a)
			c1 = cost(x1)
		} else {
			a, x1, c1 = x1, x2, c2
			x2 = a + g*(b-a)
			c2 = cost(x2)
		}
	}
	return math.Exp((a + b) / 2)
}

// add appends estimates.
func (tr *Track) add(s []estimate, fixes []evenstand.Fix, lag evenstand.Micros) {
	for i, e := range s {
		tr.T = append(tr.T, fixes[i].T-lag)
		tr.E, tr.N = append(tr.E, e.x[0][0]), append(tr.N, e.x[1][0])
		tr.VE, tr.VN = append(tr.VE, e.x[0][1]), append(tr.VN, e.x[1][1])
		tr.AE, tr.AN = append(tr.AE, e.x[0][2]), append(tr.AN, e.x[1][2])
		tr.SD = append(tr.SD, math.Sqrt(math.Max(0, e.p[0][0])))
		tr.VSD = append(tr.VSD, math.Sqrt(math.Max(0, e.p[1][1])))
	}
}

// antenna is the smoothed antenna at one moment.
type antenna struct {
	e, n, ve, vn, ae, an, sd, vsd float64
}

// at gives the antenna dt seconds after entry i, in between i and i+1 by the
// quintic that meets both, which is what the smoother itself would say there.
func (tr *Track) at(i int, dt float64) antenna {
	h := (tr.T[i+1] - tr.T[i]).Seconds()
	var a antenna
	a.e, a.ve, a.ae = quintic(h, dt, tr.E[i], tr.VE[i], tr.AE[i], tr.E[i+1], tr.VE[i+1], tr.AE[i+1])
	a.n, a.vn, a.an = quintic(h, dt, tr.N[i], tr.VN[i], tr.AN[i], tr.N[i+1], tr.VN[i+1], tr.AN[i+1])
	u := math.Min(1, math.Max(0, dt/h))
	// Between two known states the place wanders by psd h⁵ u⁵(1−u)⁵/20 (the
	// bridge of a twice integrated Wiener process).
	b := u * (1 - u) * h
	a.sd = math.Hypot(tr.SD[i]+u*(tr.SD[i+1]-tr.SD[i]), math.Sqrt(tr.psd*b*b*b*b*b/20))
	a.vsd = tr.VSD[i] + u*(tr.VSD[i+1]-tr.VSD[i])
	return a
}

// quintic gives place, speed and acceleration t seconds into h seconds between
// two states.
func quintic(h, t, x0, v0, a0, x1, v1, a1 float64) (x, v, a float64) {
	u := t / h
	c2 := a0 * h * h / 2
	c1 := v0 * h
	d0 := x1 - x0 - c1 - c2
	d1 := v1*h - c1 - 2*c2
	d2 := a1*h*h - 2*c2
	c3 := 10*d0 - 4*d1 + d2/2
	c4 := -15*d0 + 7*d1 - d2
	c5 := 6*d0 - 3*d1 + d2/2
	x = x0 + u*(c1+u*(c2+u*(c3+u*(c4+u*c5))))
	v = (c1 + u*(2*c2+u*(3*c3+u*(4*c4+u*5*c5)))) / h
	a = (2*c2 + u*(6*c3+u*(12*c4+u*20*c5))) / (h * h)
	return x, v, a
}

package align

import (
	"math"
	"slices"

	"evenstand"
	"evenstand/core/ground"
)

// Causal makes the path of the bar while fixes come in, out of what has come
// so far: the filter of Smooth run forward, smoothed back over the last few
// fixes only, and the bar followed as BarPath follows it. An entry of the path
// that was made is never changed. The path is kept for a limited time (see
// Forget), so that memory does not grow with the day.
type Causal struct {
	opt  SmoothOptions
	path *Path
	bar  *bar
	dir  heading

	begun bool // the frame is known
	zero  evenstand.Micros
	fix   evenstand.Fix // the last one taken
	dt    [15]float64   // s between the last fixes
	dtN   int

	aside  int      // fixes on end that say that the place jumped
	late   []moment // fixes from the last one before the path's end on
	tail   Track    // the same, smoothed
	course []courseAt
	used   evenstand.Micros // time of the last fix that passed the gate
	next   evenstand.Micros // of the path; NoTime before a piece
	open   bool             // a piece of the path has begun

	unknown []obs // the last fixes of unknown kind
	unkN    int
	sd      float64 // taken for these, m
}

// moment is one fix with what the filters knew before and after it.
type moment struct {
	obs
	before, after estimate6
	round         estimate // after it
	used          bool
	fix           evenstand.Micros
}

// A driver brakes harder than the filter expects. A fix that fits badly is
// taken for a sudden change of the acceleration where that would explain it.
// Both are judged: of fixes that fit one in fifty is further off than 2.5 SDs on
// either axis, and a loaded planter in the ground stops from 4 m/s within a
// second.
const (
	suddenFrom  = 2.5 // SDs
	suddenAccel = 6.0 // m/s2
	jumpLeast   = 0.5 // m; who brakes is not so far off from one fix to the next but one
	jumpStays   = 2   // fixes that say so after which the track begins anew
	jumpGoesOn  = 1.0 // m/s by which the speed may have changed over a jump (judged)
)

// courseAt is the way's direction at a time, for the unrest across.
type courseAt struct{ t, course, v float64 }

// scatterRun is how many fixes of unknown kind their SD is judged from.
const scatterRun = 400

// NewCausal readies a path for a card's geometry.
func NewCausal(geometry evenstand.Geometry, opt SmoothOptions, way PathOptions) *Causal {
	c := &Causal{opt: opt, next: evenstand.NoTime, sd: opt.Other}
	c.path = &Path{hold: way.Hold, step: max(1, evenstand.FromSeconds(way.Step)), grows: true}
	c.bar = c.path.newBar(geometry, way)
	return c
}

// Path gives the path so far. It grows with Until.
func (c *Causal) Path() *Path { return c.path }

// Fix takes the next fix. Fixes that come out of order, have no place or say
// the last one again are left out, as Smooth leaves them out.
func (c *Causal) Fix(f evenstand.Fix) {
	bad := math.IsNaN(f.Lat) || math.IsNaN(f.Lon) || math.Abs(f.Lat) > 90 || math.Abs(f.Lon) > 180
	zero := math.Abs(f.Lat) < 1e-6 && math.Abs(f.Lon) < 1e-6
	if bad || zero || f.Kind == evenstand.FixNone || f.T == evenstand.NoTime {
		return
	}
	f.T -= evenstand.FromSeconds(c.opt.Latency)
	if !c.begun {
		c.begun = true
		c.path.Frame = ground.NewFrame(f.Lat, f.Lon)
		c.tail.Frame, c.tail.psd = c.path.Frame, c.opt.Accel*c.opt.Accel
		c.zero = f.T
	} else {
		if f.T <= c.fix.T || f.Lat == c.fix.Lat && f.Lon == c.fix.Lon && (f.T-c.fix.T < heldFor || f.Speed > heldMoving) {
			return
		}
		c.dt[c.dtN%len(c.dt)] = (f.T - c.fix.T).Seconds()
		c.dtN++
	}
	before := c.fix.T
	c.fix = f
	e, n := c.path.Frame.ToLocal(f.Lat, f.Lon)
	o := obs{(f.T - c.zero).Seconds(), [2]float64{e, n}, 0}
	sd := c.opt.Other
	switch f.Kind {
	case evenstand.FixRTK:
		sd = c.opt.RTK
	case evenstand.FixUnknown:
		sd = c.scatter(o)
	}
	o.r = sd * sd
	gap := c.gap()
	if len(c.late) == 0 || (f.T-before).Seconds() > gap {
		c.restart(o, f.T)
		return
	}
	if c.take(o, f.T); (f.T-c.used).Seconds() > gap || c.aside > jumpStays {
		c.restart(o, f.T) // lost
		return
	}
	c.smooth()
}

// take runs the filters over the next fix: a round one, at the same unrest on
// each axis, for the gate and the way's direction, and the joint one.
func (c *Causal) take(o obs, t evenstand.Micros) {
	w := wiener{3, c.opt.Accel * c.opt.Accel}
	last := &c.late[len(c.late)-1]
	m := moment{obs: o, fix: t}
	expect := func() (off, s, d0, d1 float64) {
		m.round, _ = w.predict(last.round, o.t-last.t)
		d0, d1 = o.z[0]-m.round.x[0][0], o.z[1]-m.round.x[1][0]
		s = m.round.p[0][0] + o.r
		return math.Sqrt(math.Max(d0*d0, d1*d1) / s), s, d0, d1
	}
	off, s, d0, d1 := expect()
	jumped := off > suddenFrom && c.opt.Gate > 0 && c.jumped(&m, last)
	if c.aside++; !jumped {
		c.aside = 0
	}
	if off > suddenFrom && c.opt.Gate > 0 && !jumped {
		was := *last
		const p = suddenAccel * suddenAccel
		last.round.p[2][2] += p
		last.after.p[2][2] += p
		last.after.p[5][5] += p
		if off, s, d0, d1 = expect(); off > c.opt.Gate && last.used {
			*last = was // no driver does that; two in a row say that more has changed
			off, s, d0, d1 = expect()
		}
	}
	m.used = c.opt.Gate <= 0 || off <= c.opt.Gate && !jumped
	if m.used {
		w.update(&m.round, d0, d1, s)
		c.used = t
	}
	m.before = joint{w.psd}.predict(&last.after, o.t-last.t, c.unrest(&m.round, o.t))
	m.after = m.before
	if m.used {
		m.after.update(0, o.z[0], o.r)
		m.after.update(3, o.z[1], o.r)
	}
	c.late = append(c.late, m)
}

// jumped tells whether a fix and the one before it, which was not used, are
// where they would be had the place jumped aside: the way between them is what
// was expected. No driver does that, and to follow it would take a speed that
// no planter has; if it stays so the track begins anew.
func (c *Causal) jumped(m, last *moment) bool {
	if last.used || math.Hypot(m.z[0]-m.round.x[0][0], m.z[1]-m.round.x[1][0]) < jumpLeast {
		return false
	}
	dt := m.t - last.t
	ve, vn := (m.z[0]-last.z[0])/dt, (m.z[1]-last.z[1])/dt
	noise := math.Sqrt(m.r+last.r) / dt
	return math.Hypot(ve-m.round.x[0][1], vn-m.round.x[1][1]) < jumpGoesOn+3*noise
}

// restart begins a piece at a fix that does not hang together with those
// before.
func (c *Causal) restart(o obs, t evenstand.Micros) {
	c.endPiece()
	w := wiener{3, c.opt.Accel * c.opt.Accel}
	m := moment{obs: o, round: start(o), used: true, fix: t}
	w.update(&m.round, 0, 0, m.round.p[0][0]+o.r)
	m.after = both(m.round)
	m.before = m.after
	c.used, c.aside = t, 0
	c.course = c.course[:0]
	c.late = append(c.late[:0], m)
	c.next = t
	c.smooth()
}

func (c *Causal) endPiece() {
	if c.open {
		c.open = false
		c.bar.last(c.path, c.path.T[len(c.path.T)-1])
	}
	c.next = evenstand.NoTime
}

// gap gives the longest time between fixes of one piece, from those of late.
func (c *Causal) gap() float64 {
	n := min(c.dtN, len(c.dt))
	if n < 2 {
		return c.opt.MaxGap
	}
	d := slices.Clone(c.dt[:n])
	slices.Sort(d)
	return math.Max(c.opt.MaxGap, math.Min(10, 2.5*d[n/2]))
}

// scatter gives the SD of fixes of unknown kind, judged anew as more come.
func (c *Causal) scatter(o obs) float64 {
	if len(c.unknown) == scatterRun {
		c.unknown = append(c.unknown[:0], c.unknown[1:]...)
	}
	c.unknown = append(c.unknown, o)
	c.unkN++
	// After half a minute or so for the first time, and at every doubling.
	if c.unkN >= 100 && c.unkN&(c.unkN-1) == 0 || c.unkN == 150 || c.unkN == scatterRun {
		z := slices.Clone(c.unknown)
		at := make([]int, len(z))
		for i := range at {
			at[i] = i
		}
		c.sd = scatter(wiener{3, c.opt.Accel * c.opt.Accel}, z, at, c.opt.Gate, c.gap())
	}
	return c.sd
}

// unrest gives the way's direction and the unrest across it for the step to
// time t, from the filtered way of the last turnWindow.
func (c *Causal) unrest(e *estimate, t float64) unrest {
	ve, vn := e.x[0][1], e.x[1][1]
	v := math.Hypot(ve, vn)
	across := c.opt.Across
	if !(across > 0 && across < c.opt.Accel) {
		across = c.opt.Accel
	}
	now := courseAt{t, math.Atan2(ve, vn), v}
	c.course = append(c.course, now)
	for len(c.course) > 1 && t-c.course[0].t > turnWindow {
		c.course = append(c.course[:0], c.course[1:]...)
	}
	if v <= slowest {
		return unrest{0, 1, across * across}
	}
	force := 0.0
	if old := c.course[0]; t > old.t && old.v > slowest {
		force = v * math.Abs(turn(old.course, now.course)) / (t - old.t)
	}
	sd := math.Min(c.opt.Accel, math.Max(across, 2*force))
	return unrest{ve / v, vn / v, sd * sd}
}

// smooth fills tail: the fixes from the path's end on, given all that have
// come.
func (c *Causal) smooth() {
	// What lies before the path's end is needed no more, but for one.
	k := 0
	for k+1 < len(c.late) && c.late[k+1].fix <= c.next {
		k++
	}
	c.late = append(c.late[:0], c.late[k:]...)
	tr := &c.tail
	tr.T, tr.E, tr.N = tr.T[:0], tr.E[:0], tr.N[:0]
	tr.VE, tr.VN, tr.AE, tr.AN = tr.VE[:0], tr.VN[:0], tr.AE[:0], tr.AN[:0]
	tr.SD, tr.VSD = tr.SD[:0], tr.VSD[:0]
	n := len(c.late) // those at the end that did not fit say nothing yet
	for n > 1 && !c.late[n-1].used {
		n--
	}
	s := make([]estimate6, n)
	for i := len(s) - 1; i >= 0; i-- {
		s[i] = c.late[i].after
		if i+1 < len(s) {
			back(&s[i], &c.late[i+1].before, &s[i+1], c.late[i+1].t-c.late[i].t)
		}
	}
	for i := range s {
		e := &s[i]
		tr.T = append(tr.T, c.late[i].fix)
		tr.E, tr.N = append(tr.E, e.x[0]), append(tr.N, e.x[3])
		tr.VE, tr.VN = append(tr.VE, e.x[1]), append(tr.VN, e.x[4])
		tr.AE, tr.AN = append(tr.AE, e.x[2]), append(tr.AN, e.x[5])
		tr.SD = append(tr.SD, math.Sqrt(math.Max(0, math.Max(e.p[0][0], e.p[3][3]))))
		sin, cos := 0.0, 1.0
		if v := math.Hypot(e.x[1], e.x[4]); v > slowest {
			sin, cos = e.x[1]/v, e.x[4]/v
		}
		tr.VSD = append(tr.VSD, math.Sqrt(math.Max(0, cos*cos*e.p[1][1]-2*sin*cos*e.p[1][4]+sin*sin*e.p[4][4])))
	}
}

// Until carries the path on to t: its last entry is then the first one
// after t, unless the fixes have ended. Moments after the last fix are carried
// on from it.
func (c *Causal) Until(t evenstand.Micros) {
	n := len(c.tail.T)
	if n == 0 || c.next == evenstand.NoTime || !c.open && n < 2 {
		return // alone it has no speed
	}
	most := c.fix.T + evenstand.FromSeconds(c.gap())
	i := 0
	for {
		if c.next > most {
			c.endPiece()
			c.late, c.tail.T = c.late[:0], c.tail.T[:0]
			return
		}
		if c.open && c.path.T[len(c.path.T)-1] > t {
			return
		}
		for i+1 < n && c.tail.T[i+1] <= c.next {
			i++
		}
		var a antenna
		if i+1 < n {
			a = c.tail.at(i, (c.next - c.tail.T[i]).Seconds())
		} else {
			a = c.tail.beyond(i, (c.next - c.tail.T[i]).Seconds())
		}
		dir, moving := c.dir.take(&a, !c.open, c.bar.opt)
		if !c.open {
			c.open = true
			c.bar.begin(c.path, c.next, dir)
			c.path.Pieces = append(c.path.Pieces, Piece{c.bar.base, c.bar.base})
		}
		c.bar.take(c.path, c.next, &a, dir, moving)
		c.path.Pieces[len(c.path.Pieces)-1].To = len(c.path.T)
		c.next += c.path.step
	}
}

// beyond carries entry i on by dt seconds at constant acceleration, for a
// second at most and until it stands: who brakes does not go on backwards.
func (tr *Track) beyond(i int, dt float64) antenna {
	ve, vn, ae, an := tr.VE[i], tr.VN[i], tr.AE[i], tr.AN[i]
	acc := math.Min(dt, 1)
	stands := false
	if against := -(ve*ae + vn*an); against > 0 {
		if stop := (ve*ve + vn*vn) / against; stop < acc {
			acc, stands = stop, true
		}
	}
	h := acc * acc / 2
	out := antenna{
		e: tr.E[i] + acc*ve + h*ae, n: tr.N[i] + acc*vn + h*an, ve: ve + acc*ae, vn: vn + acc*an, ae: ae, an: an,
		sd: math.Hypot(tr.SD[i], math.Sqrt(tr.psd*dt*dt*dt*dt*dt/20)), vsd: math.Hypot(tr.VSD[i], math.Sqrt(tr.psd*dt*dt*dt/3)),
	}
	switch {
	case stands:
		out.ve, out.vn, out.ae, out.an = 0, 0, 0, 0
	case dt > acc:
		out.e, out.n = out.e+(dt-acc)*out.ve, out.n+(dt-acc)*out.vn
		out.ae, out.an = 0, 0
	}
	return out
}

// Forget drops what lies before t, but for the last entry there, when that is
// most of the path.
func (c *Causal) Forget(t evenstand.Micros) {
	p := c.path
	k := 0
	for k+1 < len(p.T) && p.T[k+1] < t {
		k++
	}
	if 2*k < len(p.T) || k < 1024 {
		return
	}
	cut := func(x []float64) []float64 { return append(x[:0], x[k:]...) }
	p.T = append(p.T[:0], p.T[k:]...)
	p.E, p.N, p.Psi, p.S, p.V = cut(p.E), cut(p.N), cut(p.Psi), cut(p.S), cut(p.V)
	p.SD, p.PsiSD = cut(p.SD), cut(p.PsiSD)
	p.Settled = append(p.Settled[:0], p.Settled[k:]...)
	keep := p.Pieces[:0]
	for _, x := range p.Pieces {
		if x.To > k {
			keep = append(keep, Piece{max(0, x.From-k), x.To - k})
		}
	}
	p.Pieces = keep
	c.bar.base = max(-1, c.bar.base-k)
}

// heading tells causally where the tractor points by its way alone, and
// whether it moves: what directions tells of a whole piece.
type heading struct {
	last  float64 // rad, unwrapped
	known bool
	leg   bool    // under way
	way   float64 // m since the leg began
	back  bool
}

// Limits of headings, all judged. A standing receiver's jitter is no way; no
// tractor turns about while it rolls, nor about a point nearer than tightest.
const (
	legLeast   = 0.5 // m after which a leg is believed
	turnsAbout = 2 * math.Pi / 3
	tightest   = 2.0  // m
	jitter     = 0.02 // rad a step beyond that
)

// take takes the antenna a step later. anew says that a piece begins.
func (h *heading) take(a *antenna, anew bool, opt PathOptions) (dir float64, moving bool) {
	v := math.Hypot(a.ve, a.vn)
	if anew {
		h.leg = false
		h.known = h.known && v < 1 // it may have turned meanwhile; creeping says no more than before
	}
	if v <= opt.Hold {
		h.leg = false
		return h.last, false
	}
	course := math.Atan2(a.ve, a.vn)
	if !h.leg {
		h.leg, h.way = true, 0
		h.back = h.known && math.Abs(turn(h.last, course)) > math.Pi/2
		if !h.known {
			h.way = legLeast
		}
	}
	if h.back {
		course += math.Pi
	}
	if d := turn(h.last, course); h.known && math.Abs(d) > turnsAbout {
		course += math.Pi
		h.back, h.way = !h.back, 0
	}
	h.way += v * opt.Step
	if h.way < legLeast {
		return h.last, false
	}
	if h.back && h.way > longestBackUp {
		course += math.Pi
		h.back, h.known = false, false // it goes forward after all
	}
	if !h.known {
		h.last, h.known = course, true
	}
	most := v*opt.Step/tightest + jitter
	h.last += math.Max(-most, math.Min(most, turn(h.last, course)))
	return h.last, true
}

package find

import (
	"math"
	"slices"

	"evenstand"
)

// Places that are not to be believed: the receiver's place jumps aside, stands
// while the machine moves, or is worse than it usually is here. No published
// method; the limits were measured on simulated days (docs/measured.md).
const (
	placeStep    = 0.30 // m by which a place must jump, at least,
	placeTimes   = 10.0 // or times what the way from one fix to the next usually differs from that of its neighbours,
	placeTurn    = 0.7  // and times what that way has changed from before to after,
	placeUnrest  = 2.0  // and times the unrest of its neighbours
	placeSpike   = 1.0  // s within which a jump that goes back is one bad fix; at a slower pace one and a half fixes
	placeSpikes  = 5    // bad fixes in placeWithin that are said all the same
	placeWithin  = 600 * evenstand.Second
	placeGap     = 2.0                   // s between fixes after which nothing is reckoned on
	placeHeld    = 1.0                   // s of the very same place after which the next one catches up in one step
	placeStands  = 3.0                   // s in which the place does not change
	placeMoves   = 0.7                   // m/s that the receiver's own speed shows meanwhile
	placePoor    = 10.0                  // s of poorer places while the planter plants
	placeHDOP    = 2.5                   // dilution that is poor, if it is also
	placeDilute  = 2.0                   // times the usual one
	placeRTK     = 0.8                   // share of fixed solutions that makes them usual
	placeLearnt  = 300                   // fixes from which the usual is known
	placeLately  = 60 * evenstand.Second // since it planted, within which it is still at work
	placeTrack   = 10 * evenstand.Second // after a jump in which the track is not right again
	placeOver    = 180 * evenstand.Second
	placeAgain   = 15 * 60 * evenstand.Second
	placeLearn   = 1.0 / 300
	placeQuality = 1.0 / 3000

	placeSide  = 4 // fixes on either side of the one that is judged
	placeSteps = 2*placeSide + 1
)

// placeWay is the way from one fix to the next.
type placeWay struct {
	t      evenstand.Micros // of the later fix
	dt     float64          // s
	ve, vn float64          // m/s
}

// positionWatch follows the fixes by themselves: neither the track nor where
// passes are cut has a say, so that the live pass and the settled one say the
// same.
type positionWatch struct {
	last     evenstand.Fix
	at       evenstand.Fix // the last one that was not the place of the one before again
	ways     [placeSteps]placeWay
	have     int     // of ways, since the last gap
	usual    float64 // m by which the way from one fix to the next differs from that of its neighbours
	learnt   int
	rtk      float64 // share of fixed solutions, slow
	hdop     float64
	seen     int
	jumpE    float64 // the last jump, m
	jumpN    float64
	jumpT    evenstand.Micros // 0: none that may still go back
	spikes   int
	spikeT   evenstand.Micros
	stood    float64 // s
	standT   evenstand.Micros
	poor     float64 // s
	poorT    evenstand.Micros
	planted  evenstand.Micros // when it last planted; 0 never
	cse      *caseFile
	lastSign evenstand.Micros
	moved    evenstand.Micros // the last jump, or catching up
}

// positionCase is what was wrong with the places.
type positionCase struct {
	jumps    int
	farthest float64 // m
	spikes   int
	stood    float64 // s
	poor     float64 // s
}

// Fix takes a place of the receiver, source i, in order of time.
func (e *Engine) Fix(i int, f evenstand.Fix) {
	e.Heard(i, f.T)
	w := &e.position
	l := w.last
	dt := (f.T - l.T).Seconds()
	if l.T != 0 && dt <= 0 {
		return
	}
	w.last = f
	if l.T == 0 || dt > placeGap {
		w.at = f
		w.have, w.stood, w.poor, w.jumpT = 0, 0, 0, 0
		return
	}
	e.placeQuality(f, dt)
	stood := w.stood
	if e.placeStands(f, math.Hypot(placeFrom(l, f)), dt) {
		return
	}
	from := w.at
	w.at = f
	if stood >= placeHeld {
		w.have, w.jumpT = 0, 0
		return
	}
	if w.have == placeSteps {
		copy(w.ways[:], w.ways[1:])
		w.have--
	}
	dt = (f.T - from.T).Seconds()
	east, north := placeFrom(from, f)
	w.ways[w.have] = placeWay{f.T, dt, east / dt, north / dt}
	if w.have++; w.have == placeSteps {
		e.placeJumps()
	}
}

// placeFrom gives the m east and north from one fix to the next: a sphere will
// do for that.
func placeFrom(a, b evenstand.Fix) (east, north float64) {
	return (b.Lon - a.Lon) * 111320 * math.Cos(b.Lat*math.Pi/180), (b.Lat - a.Lat) * 111132
}

// works tells whether the planter plants or has planted of late.
func (e *Engine) works(t evenstand.Micros) bool {
	w := &e.position
	return w.planted != 0 && t-w.planted < placeLately
}

// placeJumps holds the way in the middle of those at hand against what came
// before and after it. Who brakes or turns goes on slower or elsewhere, and
// unevenly; after a jump all is as before.
func (e *Engine) placeJumps() {
	w := &e.position
	m := &w.ways[placeSide]
	t := m.t
	be, bn := middleWay(w.ways[:placeSide])
	ae, an := middleWay(w.ways[placeSide+1:])
	if w.jumpT != 0 && (t-w.jumpT).Seconds() > math.Max(placeSpike, 1.5*m.dt) { // it stayed
		e.placeSign(w.jumpT).add(math.Hypot(w.jumpE, w.jumpN))
		e.placeMoved(w.jumpT, t)
		w.jumpT = 0
	}
	if math.Hypot(be, bn) < placeMoves || math.Hypot(ae, an) < placeMoves || !e.works(t) {
		return
	}
	m = m.evened(w.ways[:], (be+ae)/2, (bn+an)/2)
	var unrest [2 * placeSide]float64
	for k := range placeSide {
		b, a := &w.ways[k], &w.ways[placeSide+1+k]
		unrest[2*k], unrest[2*k+1] = math.Hypot(b.ve-be, b.vn-bn), math.Hypot(a.ve-ae, a.vn-an)
	}
	slices.Sort(unrest[:])
	// Off is how far the way leads aside of all that lies between before and
	// after, be these the ways next to it (who swerves does so over a few) or
	// all (of which one may be bad).
	de, dn := m.aside(be, bn, ae, an)
	pe, pn := m.aside(w.ways[placeSide-1].ve, w.ways[placeSide-1].vn, w.ways[placeSide+1].ve, w.ways[placeSide+1].vn)
	off := math.Min(math.Hypot(de, dn), math.Hypot(pe, pn))
	change := math.Hypot(ae-be, an-bn)
	loose := (placeTurn*change + placeUnrest*(unrest[placeSide-1]+unrest[placeSide])/2) * m.dt
	limit := math.Max(placeStep, placeTimes*w.usual) + loose
	if off > limit && w.learnt >= placeLearnt {
		if w.jumpT != 0 && math.Hypot(de+w.jumpE, dn+w.jumpN) < 0.3*off+limit/2 { // and back
			w.jumpT = 0
			if t-w.spikeT > placeWithin {
				w.spikes = 0
			}
			w.spikes++
			w.spikeT = t
			if w.spikes >= placeSpikes {
				e.placeSign(t).spikes += w.spikes
				w.spikes = 0
			}
			return
		}
		w.jumpE, w.jumpN, w.jumpT = de, dn, t
		return
	}
	if loose < placeStep {
		w.usual += (math.Min(off, placeStep) - w.usual) * math.Max(placeLearn, 1/float64(w.learnt+1))
		w.learnt++
	}
}

// evened gives the way with the time in which it fits best with a speed: between
// its own and what is usual. Stamps come late now and then (a real log of ten
// fixes a second has 140 and 60 ms in a row, at places that are even).
func (m *placeWay) evened(ways []placeWay, ve, vn float64) *placeWay {
	var dts [placeSteps]float64
	for i := range ways {
		dts[i] = ways[i].dt
	}
	slices.Sort(dts[:])
	usual := dts[placeSide]
	v2 := ve*ve + vn*vn
	if v2 < placeMoves*placeMoves { // it went about
		return m
	}
	fits := (m.ve*ve + m.vn*vn) * m.dt / v2
	dt := math.Max(math.Min(m.dt, usual), math.Min(math.Max(m.dt, usual), fits))
	return &placeWay{m.t, dt, m.ve * m.dt / dt, m.vn * m.dt / dt}
}

// aside gives by how many m the way leads aside of all ways between two.
func (m *placeWay) aside(be, bn, ae, an float64) (east, north float64) {
	ce, cn := ae-be, an-bn
	u := 0.5
	if c := ce*ce + cn*cn; c > 0 {
		u = math.Max(0, math.Min(1, ((m.ve-be)*ce+(m.vn-bn)*cn)/c))
	}
	return (m.ve - be - u*ce) * m.dt, (m.vn - bn - u*cn) * m.dt
}

// middleWay gives the median of each component of the ways' speeds, m/s.
func middleWay(ways []placeWay) (ve, vn float64) {
	var e, n [placeSide]float64
	for i := range ways {
		e[i], n[i] = ways[i].ve, ways[i].vn
	}
	slices.Sort(e[:])
	slices.Sort(n[:])
	return (e[placeSide/2-1] + e[placeSide/2]) / 2, (n[placeSide/2-1] + n[placeSide/2]) / 2
}

// placeMoved says at now that places jumped at t: what the way says just then is
// nothing that rows did.
func (e *Engine) placeMoved(t, now evenstand.Micros) {
	e.position.moved = t
	e.paceLost(now)
}

// placeOff tells whether the way was not to be trusted at t.
func (e *Engine) placeOff(t evenstand.Micros) bool {
	m := e.position.moved
	return m != 0 && t > m-2*evenstand.Second && t < m+placeTrack
}

func (c *positionCase) add(m float64) {
	c.jumps++
	c.farthest = math.Max(c.farthest, m)
}

// placeStands notices a place that does not change while the receiver says that
// it moves.
func (e *Engine) placeStands(f evenstand.Fix, way, dt float64) bool {
	w := &e.position
	if way > 0.001 || !(f.Speed > placeMoves) {
		if w.stood >= placeStands {
			e.placeSign(f.T).stood += w.stood
			e.placeMoved(f.T, f.T)
		}
		w.stood = 0
		return false
	}
	if w.stood == 0 {
		w.standT = f.T
	}
	w.stood += dt
	if w.stood >= placeStands && w.cse == nil {
		e.placeSign(w.standT)
	}
	if w.cse != nil {
		w.lastSign = f.T
	}
	return true
}

// placeQuality notices places that are poorer than usual.
func (e *Engine) placeQuality(f evenstand.Fix, dt float64) {
	w := &e.position
	rtk := f.Kind == evenstand.FixRTK
	known := f.Kind != evenstand.FixUnknown
	bad := w.seen >= placeLearnt && (known && !rtk && w.rtk >= placeRTK || f.HDOP > placeHDOP && f.HDOP > placeDilute*w.hdop)
	if !bad {
		w.poor = 0
		if w.seen == 0 {
			w.hdop = f.HDOP
		}
		w.seen++
		g := math.Max(placeQuality, 1/float64(w.seen))
		if known {
			w.rtk += g * (b2f(rtk) - w.rtk)
		}
		if !math.IsNaN(f.HDOP) {
			w.hdop += g * (f.HDOP - w.hdop)
		}
		return
	}
	if !e.works(f.T) {
		return
	}
	if w.poor == 0 {
		w.poorT = f.T
	}
	w.poor += dt
	switch {
	case w.poor < placePoor:
		return
	case w.poor-dt < placePoor:
		e.placeSign(w.poorT).poor += w.poor
	default:
		e.placeSign(f.T).poor += dt
	}
	w.lastSign = f.T
}

func b2f(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// placeSign gives the open case, or opens one that began at t.
func (e *Engine) placeSign(t evenstand.Micros) *positionCase {
	w := &e.position
	w.lastSign = max(w.lastSign, t)
	if w.cse != nil {
		return w.cse.position
	}
	for i := len(e.cases) - 1; i >= 0; i-- {
		if c := e.cases[i]; c.position != nil && t-c.until < placeAgain {
			c.until, w.cse = evenstand.NoTime, c
			return c.position
		}
	}
	c := e.add(&caseFile{
		kind: evenstand.KindPositionDoubt, raised: true, onset: t, onsetLow: t - evenstand.Second, onsetHigh: t,
		alarm: max(t, w.last.T), grade: evenstand.GradeD, position: &positionCase{},
	})
	for _, r := range e.rows {
		c.rows = append(c.rows, r.n)
	}
	w.cse = c
	return c.position
}

// tickPosition ends a case in which nothing more was wrong.
func (e *Engine) tickPosition(t evenstand.Micros) {
	w := &e.position
	if e.bar.Planting {
		w.planted = t
	}
	if w.cse != nil && t-w.lastSign > placeOver {
		w.cse.until = w.lastSign
		w.cse = nil
	}
}

// reportPosition fills the finding. Odds by the signs are judgement (agronomy,
// F49: dropout, float, a line set anew).
func (e *Engine) reportPosition(c *caseFile, f *evenstand.Finding) {
	p := c.position
	correction, receiver, shade := 0.55, 0.22, 0.20
	if p.jumps > 0 {
		f.Evidence = append(f.Evidence, ev("jumps of the place", float64(p.jumps), nan, nan, nan, ""), ev("farthest jump", p.farthest, p.farthest-2*e.position.usual, p.farthest+2*e.position.usual, nan, "m"))
	}
	if p.spikes > 0 {
		f.Evidence = append(f.Evidence, ev("single places that jumped", float64(p.spikes), nan, nan, nan, ""))
		shade *= 3
	}
	if c.open() && e.position.stood >= placeStands {
		p.stood = math.Max(p.stood, e.position.stood)
	}
	if p.stood > 0 {
		f.Evidence = append(f.Evidence, ev("seconds without a new place", p.stood, nan, nan, nan, "s"))
		receiver *= 12
	}
	if p.poor > 0 {
		f.Evidence = append(f.Evidence, ev("seconds of poorer places", p.poor, nan, nan, nan, "s"))
		correction *= 6
	}
	f.Causes = normalise(evenstand.Cause{Cause: evenstand.CauseCorrection, Probability: correction}, evenstand.Cause{Cause: evenstand.CauseReceiver, Probability: receiver}, evenstand.Cause{Cause: evenstand.CauseShade, Probability: shade})
}

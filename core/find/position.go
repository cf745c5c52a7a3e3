package find

import (
	"math"

	"evenstand"
)

// Places that are not to be believed: the receiver's place jumps aside, stands
// while the machine moves, or is worse than it usually is here. No published
// method; the limits were measured on simulated days (docs/measured.md).
const (
	placeStep    = 0.30 // m by which a place must jump, at least,
	placeTimes   = 10.0 // and times what it usually differs from dead reckoning,
	placeTurn    = 0.30 // and m more for each second between fixes, in which the speed may change
	placeBrakes  = 0.80 // and m more where the receiver's own speed is not known
	placeSpike   = 1.0  // s within which a jump that goes back is one bad fix
	placeSpikes  = 5    // bad fixes in placeWithin that are said all the same
	placeWithin  = 600 * evenstand.Second
	placeGap     = 2.0  // s between fixes after which nothing is reckoned on
	placeStands  = 3.0  // s in which the place does not change
	placeMoves   = 0.7  // m/s that the receiver's own speed shows meanwhile
	placePoor    = 10.0 // s of planting with poorer places
	placeHDOP    = 2.5  // dilution that is poor, if it is also
	placeDilute  = 2.0  // times the usual one
	placeRTK     = 0.8  // share of fixed solutions that makes them usual
	placeLearnt  = 300  // fixes from which the usual is known
	placeOver    = 180 * evenstand.Second
	placeAgain   = 15 * 60 * evenstand.Second
	placeLearn   = 1.0 / 300
	placeQuality = 1.0 / 3000
)

type positionWatch struct {
	last     evenstand.Fix
	ve, vn   float64 // m/s, smoothed
	odd      int     // fixes on end that were not where they were reckoned
	have     int     // fixes since the last gap
	usual    float64 // m by which dead reckoning errs from one fix to the next
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
	cse      *caseFile
	lastSign evenstand.Micros
}

// positionCase is what was wrong with the places.
type positionCase struct {
	jumps      int
	farthest   float64 // m
	spikes     int
	stood      float64 // s
	poor       float64 // s
	hdop, base float64 // worst while poor, and usual
}

// Fix takes a place of the receiver, source i, in order of time.
func (e *Engine) Fix(i int, f evenstand.Fix) {
	e.Heard(i, f.T)
	w := &e.position
	l := w.last
	w.last = f
	dt := (f.T - l.T).Seconds()
	if dt <= 0 || l.T == 0 {
		return
	}
	if dt > placeGap {
		w.have, w.stood, w.poor, w.jumpT = 0, 0, 0, 0
		return
	}
	north := (f.Lat - l.Lat) * 111132
	east := (f.Lon - l.Lon) * 111320 * math.Cos(f.Lat*math.Pi/180) // a sphere will do from one fix to the next
	e.placeQuality(f, dt)
	if e.placeStands(f, math.Hypot(east, north), dt) {
		w.have = -1 // what follows catches up in one step
		return
	}
	e.placeJumps(f, l.Speed, east, north, dt)
}

// placeJumps reckons on from the last fix with the direction of late and the
// receiver's own speed, before and now.
func (e *Engine) placeJumps(f evenstand.Fix, before, east, north, dt float64) {
	w := &e.position
	w.have++
	if w.have <= 0 {
		return
	}
	if w.have <= 5 {
		w.ve += (east/dt - w.ve) / float64(w.have)
		w.vn += (north/dt - w.vn) / float64(w.have)
		return
	}
	de, dn := east-w.ve*dt, north-w.vn*dt
	limit := math.Max(placeStep, placeTimes*w.usual) + placeTurn*dt
	if v := math.Hypot(w.ve, w.vn); v > 0.1 && !math.IsNaN(before+f.Speed) {
		way := (before + f.Speed) / 2 * dt // a planter can stop within a second
		de, dn = east-w.ve/v*way, north-w.vn/v*way
	} else {
		limit += placeBrakes
	}
	off := math.Hypot(de, dn)
	if w.jumpT != 0 && (f.T-w.jumpT).Seconds() > placeSpike { // it stayed
		e.placeSign(w.jumpT).add(math.Hypot(w.jumpE, w.jumpN))
		w.jumpT = 0
	}
	if off > limit {
		if w.odd++; w.odd > 5 { // the speed itself has changed
			w.have, w.odd, w.jumpT = 0, 0, 0
			return
		}
	} else {
		w.odd = 0
	}
	if w.learnt >= placeLearnt && off > limit && e.bar.Planting {
		if w.jumpT != 0 && math.Hypot(de+w.jumpE, dn+w.jumpN) < 0.3*off+limit/2 { // and back
			w.jumpT = 0
			if f.T-w.spikeT > placeWithin {
				w.spikes = 0
			}
			w.spikes++
			w.spikeT = f.T
			if w.spikes >= placeSpikes {
				e.placeSign(f.T).spikes += w.spikes
				w.spikes = 0
			}
			return
		}
		w.jumpE, w.jumpN, w.jumpT = de, dn, f.T
		return
	}
	if e.bar.Planting {
		w.usual += (off - w.usual) * math.Max(placeLearn, 1/float64(w.learnt+1))
		w.learnt++
	}
	g := math.Min(1, dt/0.6)
	w.ve += g * (east/dt - w.ve)
	w.vn += g * (north/dt - w.vn)
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
	if !e.bar.Planting {
		return
	}
	if w.poor == 0 {
		w.poorT = f.T
	}
	w.poor += dt
	switch {
	case w.poor-dt < placePoor && w.poor >= placePoor:
		c := e.placeSign(w.poorT)
		c.poor += w.poor
		c.base = w.hdop
	case w.poor >= placePoor:
		w.cse.position.poor += dt
	default:
		return
	}
	w.lastSign = f.T
	if f.HDOP > w.cse.position.hdop {
		w.cse.position.hdop = f.HDOP
	}
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

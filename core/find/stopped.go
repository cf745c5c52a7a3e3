package find

import (
	"math"
	"slices"

	"evenstand"
)

// A stopped row drops nothing while its peers do. The limit is three times
// the longest run of misses of any healthy row, about a second; a stop is
// raised when it has lasted half as much again, and a shorter one passes.
const (
	stopRaise   = 1.5  // s
	stopRaiseB  = 10.0 // s at a row a second, and
	stopRaiseT  = 5.0  // s at a row a second within a pass where the row is known to be told to plant, and
	stopWayB    = 20.0 // m: rates come late at the start of a pass
	stopWayOff  = 30.0 // m, where the drive itself says that it is off and nobody logs what it was told
	stopStray   = 0.5  // s of silence, or 12 places, after which one pulse is not believed
	stopPeers   = 0.6  // share of the other rows that must be planting
	stopFresh   = 0.8  // s within which a peer's last seed must lie
	stopFreshB  = 2.2
	resumeSeeds = 8
	stopMerge   = 15 * 60 * evenstand.Second // stops of one row that are one fault
)

type stopWatch struct {
	last    evenstand.Micros // last seed
	lowered evenstand.Micros
	resumed int
	first   evenstand.Micros // first seed after a stop
	cse     *caseFile
	stray   evenstand.Micros // a pulse after a silence, not yet believed; 0 none
	began   evenstand.Micros // first seed since the lowering
	quiet   float64          // s of planting without a seed, whole ticks
	way     float64          // m of it
}

type stopCase struct {
	way        float64 // m of row without seed while the peers planted
	seconds    float64
	missing    float64 // seeds
	area       float64
	atLowering bool
	taper      bool // it faded out rather than stopped dead
	working    int8 // what the drive said while nothing fell
	stops      int
	at         evenstand.Micros // counted up to here
	never      bool             // the row never gave a seed
	commanded  bool             // what the row is told is logged
}

func (s *stopWatch) lower(t evenstand.Micros) { s.lowered, s.quiet, s.way = t, 0, 0 }

func (s *stopWatch) seed(t evenstand.Micros, stray evenstand.Micros) {
	if stray > 0 && s.last > s.lowered && t-s.last > stray {
		// One pulse after a silence may be dust: the next one decides.
		if s.stray == 0 || t-s.stray > stray {
			s.stray = t
			return
		}
	}
	s.stray = 0
	if s.began < s.lowered || s.began == 0 {
		s.began = t
	}
	if s.cse != nil && s.cse.open() {
		if s.resumed == 0 || t-s.last > 3*evenstand.Second/2 {
			s.resumed, s.first = 0, t
		}
		s.resumed++
	}
	s.last = t
	s.quiet, s.way = 0, 0
}

// lastSeen is when the row can last have been known to plant.
func (s *stopWatch) lastSeen() evenstand.Micros {
	if s.last == 0 || s.last < s.lowered {
		return s.lowered + 3*evenstand.Second/10
	}
	return s.last
}

func (e *Engine) tickStops(t evenstand.Micros) {
	way := e.bar.Way - e.stopWay
	e.stopWay = e.bar.Way
	if e.pass.down && e.bar.Planting {
		for _, r := range e.rows {
			// The tick in which the last seed fell counts from that seed on.
			d := math.Min(1, (t - r.stop.lastSeen()).Seconds())
			if d > 0 {
				r.stop.quiet += d
				r.stop.way += d * math.Max(0, math.Min(way, 50))
			}
		}
	}
	if !e.pass.down || !e.bar.Planting || e.bar.Speed < 0.6 || t-e.pass.since < evenstand.Second {
		return
	}
	on, fresh := 0, 0
	for _, r := range e.rows {
		if !r.enabled || e.mute(r, t) {
			continue
		}
		on++
		lim := math.Max(stopFresh, 8*e.placeTime(r))
		if r.grade != evenstand.GradeA {
			lim = stopFreshB
		}
		if r.stop.last > 0 && (t-r.stop.last).Seconds() <= lim {
			fresh++
		}
	}
	// Where next to no row plants, the planter turns or stands and nobody says so:
	// what each row is silent for counts from when most go on.
	if on >= 4 && 5*fresh <= on {
		e.pass.begun = 0
		for _, r := range e.rows {
			r.stop.quiet, r.stop.way = 0, 0
		}
		return
	}
	if e.pass.begun == 0 && float64(fresh) >= stopPeers*float64(on) {
		e.pass.begun = e.begunAt(on, t)
	}
	for _, r := range e.rows {
		s := &r.stop
		if e.mute(r, t) { // its log ends here
			s.quiet, s.way = 0, 0
			if s.cse != nil && s.cse.open() {
				s.cse.until = max(s.cse.onset, r.told)
			}
			continue
		}
		if s.cse != nil && s.cse.open() {
			c := s.cse.stop
			silent := (t - s.last).Seconds()
			if s.last == 0 {
				silent = (t - s.lowered).Seconds()
			}
			if r.enabled && silent > 0.9 && way > 0 && way < 50 {
				e.addStop(r, s.cse, way, 1)
				c.at = t
				if r.working >= 0 {
					c.working = r.working
				}
			}
			if s.resumed >= resumeSeeds && silent < stopFreshB {
				s.cse.until = s.first
				if d := (s.first - c.at).Seconds(); d > 0 && d < 2 { // the part of a tick before the first seed
					e.addStop(r, s.cse, d*e.bar.Speed, d)
				}
				s.resumed = 0
			}
			continue
		}
		if !r.enabled {
			continue
		}
		peers := on - 1
		mine := 0
		// Where seeds are few a second, a healthy row is silent for longer.
		lim, raise := math.Max(stopFresh, 8*e.placeTime(r)), math.Max(stopRaise, 20*e.placeTime(r))
		if r.grade != evenstand.GradeA {
			lim, raise = stopFreshB, stopRaiseB
			if r.commanded && s.last > s.lowered {
				raise = stopRaiseT
			}
		}
		if r.stop.last > 0 && (t-r.stop.last).Seconds() <= lim {
			mine = 1
		}
		if peers < 1 || float64(fresh-mine) < stopPeers*float64(peers) {
			continue
		}
		if e.pass.begun == 0 {
			continue
		}
		// While planting, since a halt in the pass is no stop of a row; and since
		// most rows began, since all may be late, or the lift's clock be early.
		silent := math.Min(s.quiet, (t - e.pass.begun).Seconds())
		if silent < raise || (r.grade != evenstand.GradeA && s.way < stopWayB) {
			continue
		}
		// Sections switch rows off at headlands and point rows. Where only the
		// result is logged and not the command, a short stop may be just that.
		if r.working == 0 && !r.commanded && s.way < stopWayOff {
			continue
		}
		e.openStop(r, t, silent)
	}
}

// begunAt is when most of the rows had given their first seed of the pass.
func (e *Engine) begunAt(on int, t evenstand.Micros) evenstand.Micros {
	var at []evenstand.Micros
	for _, r := range e.rows {
		if r.enabled && r.stop.began >= r.stop.lowered && r.stop.began > 0 {
			at = append(at, r.stop.began)
		}
	}
	slices.Sort(at)
	if n := int(stopPeers * float64(on)); n < len(at) {
		return at[n]
	}
	return t
}

// placeTime is the time between two places of a row in s; 0.04 when its target
// is not known.
func (e *Engine) placeTime(r *row) float64 {
	p := 1 / (r.target * e.cfg.Spacing * e.bar.Speed)
	if math.IsNaN(p) || math.IsInf(p, 0) || p <= 0 {
		return 0.04
	}
	return p
}

func (e *Engine) openStop(r *row, t evenstand.Micros, silent float64) {
	s := &r.stop
	since := s.lastSeen()
	atLow := s.last < s.lowered || (s.last-s.lowered).Seconds() < 1
	if old := s.cse; old != nil && !old.dropped && t-old.until < stopMerge {
		old.until = evenstand.NoTime
		old.stop.stops++
		s.resumed = 0
		e.addStop(r, old, math.Max(s.way, silent*0.5), silent)
		old.stop.at = t
		return
	}
	c := e.add(&caseFile{
		kind: evenstand.KindRowStopped, rows: []int{r.n}, raised: true, onset: since,
		onsetLow: since, onsetHigh: since + evenstand.Second, alarm: t, grade: max(r.grade, evenstand.GradeA),
		stop: &stopCase{atLowering: atLow, working: r.working, commanded: r.commanded, stops: 1, never: s.last == 0},
	})
	if s.last == 0 && r.grade == evenstand.NoGrade {
		c.grade = e.bestGrade()
	}
	// Fading out: many misses among the last places before it fell silent.
	late := float64(r.missAt.since(r.places-200, r.places+1))
	c.stop.taper = !atLow && late > 30
	s.cse = c
	s.resumed = 0
	e.addStop(r, c, math.Max(s.way, silent*0.5), silent)
	c.stop.at = t
	e.explain(c)
}

// addStop adds way without seed.
func (e *Engine) addStop(r *row, c *caseFile, way, seconds float64) {
	c.stop.way += way
	c.stop.seconds += seconds
	if !math.IsNaN(e.cfg.Spacing) {
		c.stop.area += way * e.cfg.Spacing
		if !math.IsNaN(r.target) {
			c.stop.missing += way * e.cfg.Spacing * r.target
		}
	}
}

func (e *Engine) bestGrade() evenstand.Grade {
	g := evenstand.GradeD
	for _, r := range e.rows {
		if r.grade != evenstand.NoGrade && r.grade < g {
			g = r.grade
		}
	}
	return g
}

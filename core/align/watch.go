package align

import (
	"math"
	"slices"

	"evenstand"
)

// DownWatch tells from what has come so far whether the planter is in the
// ground, by the same evidence and in the same order as Lowering. Its state is
// a few numbers a row.
type DownWatch struct {
	states [3]downState // lift switch, work states, row switches
	seeds  dropWatch
	counts dropWatch
}

// downState is one state quantity so far.
type downState struct {
	last    switches
	now     lowered
	off     bool // it was up at some time
	at      evenstand.Micros
	decided bool // what stood before at is in down, since and off
	down    bool
	since   evenstand.Micros
}

// NewDownWatch starts for a planter of so many rows, 0 unknown.
func NewDownWatch(rows int) *DownWatch {
	w := &DownWatch{}
	for i := range w.states {
		w.states[i].now.rows = rows
		w.states[i].since = evenstand.NoTime
	}
	w.seeds.init(false)
	w.counts.init(true)
	return w
}

// Reading takes in a reading, in order of time.
func (w *DownWatch) Reading(r evenstand.Reading) {
	switch r.Quantity {
	case evenstand.ImplementLifted:
		w.states[0].add(r, r.Value < 0.5)
	case evenstand.RowWorking:
		w.states[1].add(r, r.Value >= 0.5)
	case evenstand.RowEnabled:
		w.states[2].add(r, r.Value >= 0.5)
	case evenstand.SeedCount, evenstand.SeedRate:
		if r.Value > 0 {
			n := 0
			if r.Element.Scope == evenstand.ScopeRow {
				n = int(r.Element.N)
			}
			w.counts.add(r.T, n)
		}
	}
}

// Seed takes in a seed, in order of time.
func (w *DownWatch) Seed(s evenstand.Seed) { w.seeds.add(s.T, int(s.Row)) }

// At tells whether the planter is in the ground at t, after everything before
// t has been taken in; since when, or since when it is not; and by which
// evidence. still tells whether it has hardly moved since a moment.
func (w *DownWatch) At(t evenstand.Micros, still func(since evenstand.Micros) bool) (down bool, since evenstand.Micros, basis string) {
	since = evenstand.NoTime
	for i, name := range [...]string{ByLift, ByWorking, ByEnabled} {
		s := &w.states[i]
		s.decide(t)
		if s.since == evenstand.NoTime {
			continue
		}
		if s.off {
			return s.down, s.since, name
		}
		if basis == "" {
			down, since, basis = s.down, s.since, name
		}
	}
	for _, d := range []*dropWatch{&w.seeds, &w.counts} {
		if d.first != evenstand.NoTime {
			down, since = d.at(t, still)
			return down, since, BySeeds
		}
	}
	return down, since, basis
}

func (s *downState) add(r evenstand.Reading, on bool) {
	s.decide(r.T)
	n := len(s.last.log)
	s.last.add(r, on)
	if len(s.last.log) == n {
		return
	}
	c := s.last.log[n]
	s.last.log = s.last.log[:0]
	s.now.tell(c.el)
	s.now.take(c)
	s.at, s.decided = r.T, false
}

// decide takes over the changes of the last moment when time has gone on: all
// that happened at once counts together.
func (s *downState) decide(t evenstand.Micros) {
	if s.decided || s.at == 0 || t <= s.at {
		return
	}
	s.decided = true
	if !s.now.machine && !s.now.useParts() {
		return
	}
	d := s.now.down()
	if d != s.down || s.since == evenstand.NoTime {
		s.down, s.since = d, s.at
	}
	s.off = s.off || !d
}

// dropWatch tells from seeds, or counts of them, whether a quarter of the rows
// that ever dropped seeds do so.
type dropWatch struct {
	counts bool
	ever   bin
	now    bin
	first  evenstand.Micros // of the run of dropping; NoTime none yet
	last   evenstand.Micros // of it
	usual  evenstand.Micros // time from one to the next, of late
	steps  [9]evenstand.Micros
	n      int
}

func (d *dropWatch) init(counts bool) {
	d.counts, d.first, d.usual = counts, evenstand.NoTime, seedBin
}

func (d *dropWatch) add(t evenstand.Micros, row int) {
	if k := int64(t / seedBin); k != d.now.k || d.now.first == 0 {
		d.now = bin{k: k, first: t}
	}
	d.now.last = t
	if row > 0 {
		d.now.row(row)
		d.ever.row(row)
	} else {
		d.now.all = true
	}
	if need := max(1, (d.ever.count()+3)/4); !d.now.all && d.now.count() < need {
		return
	}
	if d.first == evenstand.NoTime || d.now.first-d.early()-d.last > d.hole() {
		d.first = d.now.first
	}
	if d.last > 0 && d.now.first > d.last {
		d.steps[d.n%len(d.steps)] = d.now.first - d.last
		d.n++
		s := slices.Clone(d.steps[:min(d.n, len(d.steps))])
		slices.Sort(s)
		d.usual = max(seedBin, s[len(s)/2])
	}
	d.last = t
}

// hole is how long nothing may drop before the planter counts as lifted.
func (d *dropWatch) hole() evenstand.Micros { return max(liftParts, 3*d.usual/2) }

// early is by how much dropping began before it was told.
func (d *dropWatch) early() evenstand.Micros {
	if d.counts {
		return min(d.usual, 10*evenstand.Second)
	}
	return 0
}

func (d *dropWatch) at(t evenstand.Micros, still func(evenstand.Micros) bool) (bool, evenstand.Micros) {
	if t-d.early()-d.last <= d.hole() || still != nil && still(d.last) {
		return true, d.first - d.early()
	}
	return false, d.last + 1
}

// Rolling gives the moment from which the path rolled without a stop up to t,
// not before from.
func (p *Path) Rolling(from, t evenstand.Micros) evenstand.Micros {
	i := len(p.T) - 1
	for i > 0 && p.T[i] > t {
		i--
	}
	for i > 0 && p.T[i-1] >= from && p.V[i-1] > rolling {
		i--
	}
	if i < 0 {
		return t
	}
	if i > 0 && p.V[i-1] > rolling { // the edge lies between entries
		return max(from, p.T[i-1])
	}
	return min(t, max(from, p.T[i]))
}

// Passing tells whether a pose is at passing speed, and whether it rolls.
func (p Pose) Passing() (passing, rolls bool) { return p.V > passSpeed, p.V > rolling }

// TurnWatch tells where a turn parts a pass, from what has come so far.
type TurnWatch struct {
	ring [64]turnAt
	n    int
}

type turnAt struct{ s, psi float64 }

// Reset forgets the way behind: a pass begins.
func (w *TurnWatch) Reset() { w.n = 0 }

// Turned takes the next pose and tells whether the bar has turned by more than
// turnAngle within turnWay.
func (w *TurnWatch) Turned(p Pose) bool {
	const step = turnWay / 32
	if w.n == 0 || p.S >= w.ring[(w.n-1)%len(w.ring)].s+step {
		w.ring[w.n%len(w.ring)] = turnAt{p.S, p.Psi}
		w.n++
	}
	for j := 1; j <= min(w.n, len(w.ring)); j++ {
		at := w.ring[(w.n-j)%len(w.ring)]
		if p.S-at.s > turnWay {
			break
		}
		if math.Abs(p.Psi-at.psi) > turnAngle {
			return true
		}
	}
	return false
}

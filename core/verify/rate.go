package verify

import (
	"math"

	"evenstand/core/stat"
)

// phiLeast is the over-dispersion up to which counts are taken as they are
// (methods document, section i).
const phiLeast = 1.2

// farthest is how many seeds are looked ahead for a verdict; what would take
// more is not to be told.
const farthest = 2e6

// Rate tests a share of places against the line that it must get below. It may
// be looked at after every seed.
type Rate struct {
	Worked, Failed float64 // below the one it worked, above the other it did not; of a finding they are one line
	Phi            float64 // counts are divided by it when it is over 1.2; 0: 1
	Beside         float64 // so many tests of one thing share the chance of an error; 0: one
	Y, N           float64
}

// sequence is the mixture at the error rate of one test.
func (r *Rate) sequence() stat.Sequence {
	s := stat.CheckBack
	s.Alpha /= math.Max(1, r.Beside)
	return s
}

func (r *Rate) phi() float64 {
	if r.Phi > phiLeast {
		return r.Phi
	}
	return 1
}

// Add takes in y events in n places and gives the verdict.
func (r *Rate) Add(y, n float64) int {
	r.Y += y
	r.N += n
	return r.Verdict()
}

// Verdict is +1 when the whole interval lies below the line, -1 when it lies
// above, 0 when neither is known.
func (r *Rate) Verdict() int { return r.verdict(r.Y, r.N) }

func (r *Rate) verdict(y, n float64) int {
	f := r.phi()
	y, n = y/f, n/f
	switch {
	case !(n > 0):
	case y/n < r.Worked && r.sequence().Excludes(y, n, r.Worked) < 0:
		return 1
	case y/n > r.Failed && r.sequence().Excludes(y, n, r.Failed) > 0:
		return -1
	}
	return 0
}

// Interval gives the rates that are not excluded.
func (r *Rate) Interval() (low, high float64) {
	f := r.phi()
	return r.sequence().Interval(r.Y/f, r.N/f)
}

// Need gives how many places more a verdict takes, as often more as less, if
// they miss at rate p: n is stepped until the interval is past the line. NaN
// when that is far away.
func (r *Rate) Need(p float64) float64 {
	f := r.phi()
	return step(func(more float64) bool {
		y := p * more
		y += lucky(p < (r.Worked+r.Failed)/2, math.Sqrt(f*y*(1-p)))
		return r.verdict(r.Y+math.Max(0, y), r.N+more) != 0
	})
}

// leads is by how many of its standard deviations a path runs ahead of its
// expected course when a verdict falls. One that is looked at all the time has
// passed a bound about twice as often as it stands past it (the reflection
// principle), which would give 0.67; 0.45 fits the seeds of the methods
// document's table (section i), whose counts are few and skew.
const leads = 0.45

// lucky is that lead for a scatter.
func lucky(below bool, sd float64) float64 {
	if below {
		return -leads * sd
	}
	return leads * sd
}

// step gives the least n for which sure holds, to one in a hundred; NaN when
// it is farther than one looks.
func step(sure func(float64) bool) float64 {
	if sure(0) {
		return 0
	}
	lo, hi := 0.0, 16.0
	for !sure(hi) {
		lo, hi = hi, 1.5*hi
		if hi > farthest {
			return math.NaN()
		}
	}
	for hi-lo > 1+0.005*hi {
		if m := (lo + hi) / 2; sure(m) {
			hi = m
		} else {
			lo = m
		}
	}
	return math.Ceil(hi)
}

// Line gives what a rate must get below to have worked: between what it was,
// by its lower 80 % limit so that a lucky "before" cannot fake success, and
// what it should come to, in equal ratio.
func Line(beforeLow, usual float64) float64 { return math.Sqrt(beforeLow * usual) }

// Gone tests a fault that is there or gone, by Wald's sequential test.
type Gone struct {
	Bad, Good float64 // rates with and without it
	Phi       float64
	Y, N      float64
}

// wrong is the chance of either error of a verdict.
const wrong = 0.05

// wrongGone is that of Wald's test, whose errors may come to more than what it is
// given: so many that in the long run, also with rates that wander, no more than
// wrong are called gone that are there (docs/measured.md).
const wrongGone = 0.035

func (g *Gone) test() stat.SPRT {
	f := g.Phi
	if !(f > phiLeast) {
		f = 1
	}
	s := stat.SPRT{Bad: g.Bad, Good: g.Good, Alpha: wrongGone, Beta: wrongGone}
	s.LLR = stat.BatchLLR(g.Y, g.N, g.Bad, g.Good, f)
	return s
}

// Add takes in y events in n places and gives the verdict.
func (g *Gone) Add(y, n float64) int {
	g.Y += y
	g.N += n
	return g.Verdict()
}

// Verdict is +1 for gone, -1 for there, 0 for not known yet.
func (g *Gone) Verdict() int {
	if !(g.N > 0) {
		return 0
	}
	s := g.test()
	return s.Decided()
}

// Need gives how many places more a verdict is expected to take at rate p.
func (g *Gone) Need(p float64) float64 {
	return step(func(more float64) bool {
		h := *g
		h.Y += math.Max(0, p*more+lucky(p < math.Sqrt(g.Bad*g.Good), math.Sqrt(p*more*math.Max(1, g.Phi))))
		h.N += more
		return h.Verdict() != 0
	})
}

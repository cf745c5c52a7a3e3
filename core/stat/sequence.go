package stat

import "math"

// Sequence is an interval for a proportion that stays right however often it
// is looked at: a mixture of likelihood ratios over Beta(A, B) (Robbins 1970;
// Howard and others 2021, Annals of Statistics 49(2); methods document,
// section i). It is wrong at any time with a chance of at most Alpha. Counts
// divided by φ are a working correction, not a theorem.
type Sequence struct{ A, B, Alpha float64 }

// CheckBack is the mixing of the methods document for rates after a fix.
var CheckBack = Sequence{A: 0.6, B: 30, Alpha: 0.05}

// LogRatio gives the log of the mixture against rate p after y in n; p is
// outside the interval once it passes ln(1/Alpha).
func (s Sequence) LogRatio(y, n, p float64) float64 {
	l := LogBeta(y+s.A, n-y+s.B) - LogBeta(s.A, s.B)
	if y > 0 {
		l -= y * math.Log(p)
	}
	if n-y > 0 {
		l -= (n - y) * math.Log1p(-p)
	}
	return l
}

// Excludes tells whether p lies outside the interval, and on which side the
// interval is: -1 below p, +1 above, 0 when p is inside.
func (s Sequence) Excludes(y, n, p float64) int {
	if !(n > 0) || s.LogRatio(y, n, p) <= -math.Log(s.Alpha) {
		return 0
	}
	if y/n < p {
		return -1
	}
	return 1
}

// Interval gives the rates that are not excluded.
func (s Sequence) Interval(y, n float64) (lo, hi float64) {
	if !(n > 0) {
		return 0, 1
	}
	mode, limit := y/n, -math.Log(s.Alpha)
	edge := func(in, out float64) float64 {
		for range 200 {
			m := (in + out) / 2
			if m == in || m == out {
				break
			}
			if s.LogRatio(y, n, m) < limit {
				in = m
			} else {
				out = m
			}
		}
		return in
	}
	lo, hi = 0, 1
	if y > 0 {
		lo = edge(mode, 0)
	}
	if y < n {
		hi = edge(mode, 1)
	}
	return lo, hi
}

// NormalHalfWidth gives the half width of the interval for a mean of n values
// of SD 1 that stays right however often it is looked at (Robbins' normal
// mixture with parameter rho; methods document, section i: rho 0.1).
func NormalHalfWidth(n, rho, alpha float64) float64 {
	a := n*rho*rho + 1
	return math.Sqrt(2 * a / (n * n * rho * rho) * math.Log(math.Sqrt(a)/alpha))
}

// SPRT is Wald's sequential test of a bad rate against a good one (Wald 1945,
// Annals of Mathematical Statistics 16:117-186). Evidence grows towards good.
// Alpha is the chance to call bad good, Beta to call good bad. It is for
// faults that are gone or not; on half-way repairs it decides at random.
type SPRT struct {
	Bad, Good   float64
	Alpha, Beta float64
	LLR         float64
}

// Add takes in y events in n trials and gives the evidence.
func (s *SPRT) Add(y, n float64) float64 {
	s.LLR += BatchLLR(y, n, s.Bad, s.Good, 1)
	return s.LLR
}

// Limits gives the evidence at or over which it is good, and at or under
// which it is bad.
func (s *SPRT) Limits() (good, bad float64) {
	return math.Log((1 - s.Beta) / s.Alpha), math.Log(s.Beta / (1 - s.Alpha))
}

// Decided gives +1 for good, -1 for bad, 0 for not yet.
func (s *SPRT) Decided() int {
	good, bad := s.Limits()
	switch {
	case s.LLR >= good:
		return 1
	case s.LLR <= bad:
		return -1
	}
	return 0
}

// Expected gives Wald's approximate number of trials, without overshoot, when
// the rate is the good one and when it is the bad one.
func (s *SPRT) Expected() (ifGood, ifBad float64) {
	good, bad := s.Limits()
	up, down := math.Log(s.Good/s.Bad), math.Log((1-s.Good)/(1-s.Bad))
	ifGood = ((1-s.Beta)*good + s.Beta*bad) / (s.Good*up + (1-s.Good)*down)
	ifBad = (s.Alpha*good + (1-s.Alpha)*bad) / (s.Bad*up + (1-s.Bad)*down)
	return ifGood, ifBad
}

package stat

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// NormalCDF gives the chance that a standard normal lies at or below x.
func NormalCDF(x float64) float64 { return 0.5 * math.Erfc(-x/math.Sqrt2) }

// NormalQuantile undoes NormalCDF; p outside [0, 1] gives NaN.
func NormalQuantile(p float64) float64 {
	switch {
	case !(p >= 0 && p <= 1):
		return math.NaN()
	case p == 0:
		return math.Inf(-1)
	case p == 1:
		return math.Inf(1)
	}
	return mathext.NormalQuantile(p)
}

// StudentTail gives the two-sided p of a t statistic; NaN for df ≤ 0.
func StudentTail(t, df float64) float64 {
	if !(df > 0) || math.IsNaN(t) {
		return math.NaN()
	}
	if math.IsInf(t, 0) {
		return 0
	}
	return mathext.RegIncBeta(df/2, 0.5, df/(df+t*t))
}

// StudentQuantile gives the t below which a share p lies; NaN for df ≤ 0.
func StudentQuantile(p, df float64) float64 {
	switch {
	case !(p >= 0 && p <= 1) || !(df > 0):
		return math.NaN()
	case p == 0:
		return math.Inf(-1)
	case p == 1:
		return math.Inf(1)
	case p == 0.5:
		return 0
	case p < 0.5:
		return -StudentQuantile(1-p, df)
	}
	tail := 2 * (1 - p)
	// Rough start, then bisection with secant steps on the two-sided tail,
	// which falls with t.
	lo, hi := 0.0, math.Max(1, NormalQuantile(p))
	for StudentTail(hi, df) > tail && hi < 1e300 {
		lo, hi = hi, hi*2
	}
	logc := -0.5*math.Log(df) - LogBeta(df/2, 0.5)
	t := (lo + hi) / 2
	for range 200 {
		f := StudentTail(t, df) - tail
		if f > 0 {
			lo = t
		} else {
			hi = t
		}
		density := 2 * math.Exp(logc-(df+1)/2*math.Log1p(t*t/df))
		next := t + f/density
		if !(next > lo && next < hi) {
			next = (lo + hi) / 2
		}
		if math.Abs(next-t) <= 1e-15*t {
			return next
		}
		t = next
	}
	return t
}

// LogBeta gives ln B(a, b) for positive a and b.
func LogBeta(a, b float64) float64 {
	la, _ := math.Lgamma(a)
	lb, _ := math.Lgamma(b)
	lc, _ := math.Lgamma(a + b)
	return la + lb - lc
}

// BetaCDF gives the chance that a Beta(a, b) lies at or below x.
func BetaCDF(x, a, b float64) float64 {
	switch {
	case math.IsNaN(x) || !(a > 0) || !(b > 0):
		return math.NaN()
	case x <= 0:
		return 0
	case x >= 1:
		return 1
	}
	return mathext.RegIncBeta(a, b, x)
}

// BetaQuantile undoes BetaCDF.
func BetaQuantile(p, a, b float64) float64 {
	switch {
	case !(p >= 0 && p <= 1) || !(a > 0) || !(b > 0):
		return math.NaN()
	case p == 0:
		return 0
	case p == 1:
		return 1
	}
	// The library's inverse is good to about 1e-8 in the tails; polish it
	// inside a bracket.
	x := mathext.InvRegIncBeta(a, b, p)
	lo, hi := 0.0, 1.0
	lb := LogBeta(a, b)
	for range 100 {
		f := BetaCDF(x, a, b) - p
		if f > 0 {
			hi = x
		} else {
			lo = x
		}
		density := math.Exp((a-1)*math.Log(x) + (b-1)*math.Log1p(-x) - lb)
		next := x - f/density
		if !(next > lo && next < hi) {
			next = (lo + hi) / 2
		}
		if math.Abs(next-x) <= 1e-15*math.Min(next, 1-next) {
			return next
		}
		x = next
	}
	return x
}

// LogSumExp gives ln Σ exp(x) without overflow; −Inf for nothing.
func LogSumExp(x ...float64) float64 {
	m := math.Inf(-1)
	for _, v := range x {
		if math.IsNaN(v) {
			return v
		}
		m = math.Max(m, v)
	}
	if math.IsInf(m, 0) {
		return m
	}
	s := 0.0
	for _, v := range x {
		s += math.Exp(v - m)
	}
	return m + math.Log(s)
}

// softplus gives ln(1 + e^x).
func softplus(x float64) float64 {
	if x > 0 {
		return x + math.Log1p(math.Exp(-x))
	}
	return math.Log1p(math.Exp(x))
}

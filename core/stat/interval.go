package stat

import "math"

// Jeffreys gives the equal-tailed interval of a proportion under the prior
// Beta(½, ½), without the usual correction at the ends (Brown, Cai and
// DasGupta 2001, Statistical Science 16:101-133). level is 0.9 for a 90 %
// interval. Nothing counted gives the prior's own interval.
func Jeffreys(y, n, level float64) (lo, hi float64) {
	y, n, ok := counts(y, n)
	if !ok {
		return math.NaN(), math.NaN()
	}
	p := (1 - level) / 2
	return BetaQuantile(p, y+0.5, n-y+0.5), BetaQuantile(1-p, y+0.5, n-y+0.5)
}

// Wilson gives the score interval of a proportion (Wilson 1927, JASA
// 22:209-212); 0 to 1 when nothing was counted.
func Wilson(y, n, level float64) (lo, hi float64) {
	y, n, ok := counts(y, n)
	if !ok {
		return math.NaN(), math.NaN()
	}
	if n == 0 {
		return 0, 1
	}
	z := NormalQuantile((1 + level) / 2)
	p := y / n
	mid := p + z*z/(2*n)
	half := z * math.Sqrt(p*(1-p)/n+z*z/(4*n*n))
	d := 1 + z*z/n
	return math.Max(0, (mid-half)/d), math.Min(1, (mid+half)/d)
}

// ClopperPearson gives the interval of a proportion that never covers less
// than its level (Clopper and Pearson 1934, Biometrika 26:404-413).
func ClopperPearson(y, n, level float64) (lo, hi float64) {
	y, n, ok := counts(y, n)
	if !ok {
		return math.NaN(), math.NaN()
	}
	p := (1 - level) / 2
	lo, hi = 0, 1
	if y > 0 {
		lo = BetaQuantile(p, y, n-y+1)
	}
	if y < n {
		hi = BetaQuantile(1-p, y+1, n-y)
	}
	return lo, hi
}

// Effective gives the counts that are left when their variance is φ times the
// binomial one: both divided by φ, which is never taken below 1.
func Effective(y, n, phi float64) (float64, float64) {
	phi = math.Max(1, phi)
	return y / phi, n / phi
}

// counts checks a count of successes; rounding above n is forgiven.
func counts(y, n float64) (float64, float64, bool) {
	if !(n >= 0) || !(y >= 0) || y > n*(1+1e-9)+1e-9 || math.IsInf(n, 0) {
		return 0, 0, false
	}
	return math.Min(y, n), n, true
}

package stat

import "math"

// BernoulliLLR gives the log likelihood ratio of p1 against p0 for one place:
// x is 1 for a miss and 0 for none.
func BernoulliLLR(x, p0, p1 float64) float64 { return BatchLLR(x, 1, p0, p1, 1) }

// BatchLLR gives the log likelihood ratio of rate p1 against p0 for y misses
// in b places, divided by the over-dispersion phi.
func BatchLLR(y, b, p0, p1, phi float64) float64 {
	return (y*math.Log(p1/p0) + (b-y)*(math.Log1p(-p1)-math.Log1p(-p0))) / phi
}

// Cusum is Page's cumulative sum, held at zero from below (Page 1954,
// Biometrika 41:100-115).
type Cusum struct{ C float64 }

// Add takes in one log likelihood ratio and gives the sum.
func (c *Cusum) Add(llr float64) float64 {
	c.C = math.Max(0, c.C+llr)
	return c.C
}

// ShiryaevRoberts is the log of the Shiryaev-Roberts sum. The zero value has
// seen nothing.
type ShiryaevRoberts struct {
	W   float64 // ln of the sum; means nothing before the first Add
	any bool
}

// Add takes in one log likelihood ratio and gives the log of the sum.
func (s *ShiryaevRoberts) Add(llr float64) float64 {
	if s.any {
		s.W = softplus(s.W) + llr
	} else {
		s.W, s.any = llr, true
	}
	return s.W
}

// GaussianCusum is a one-sided CUSUM on standardised readings: C grows by
// z − K and is held at zero from below. A shift of 2K is what it is tuned to.
type GaussianCusum struct{ K, C float64 }

// Add takes in one z and gives the sum.
func (g *GaussianCusum) Add(z float64) float64 {
	g.C = math.Max(0, g.C+z-g.K)
	return g.C
}

// CusumARL gives the mean number of steps until a one-sided Gaussian CUSUM with
// reference k passes h, started at zero, when the readings have mean mu and
// variance 1. It solves the integral equation of Page (1954) at the points of
// Gauss and Legendre (Nyström's method; Brook and Evans 1972, Biometrika
// 59:539-549, do the same with steps).
func CusumARL(k, h, mu float64) float64 {
	if !(h > 0) {
		return 1 / (1 - NormalCDF(k+h-mu))
	}
	const n = 80
	x, w := legendre(n, h)
	// Unknowns: the run length from x[0..n-1] and from zero, index n.
	a := make([][]float64, n+1)
	start := func(i int) float64 {
		if i == n {
			return 0
		}
		return x[i]
	}
	for i := range a {
		a[i] = make([]float64, n+2)
		z := start(i)
		for j := range n {
			d := x[j] - z + k - mu
			a[i][j] = -w[j] * math.Exp(-d*d/2) / math.Sqrt(2*math.Pi)
		}
		a[i][n] = -NormalCDF(k - z - mu)
		a[i][i]++
		a[i][n+1] = 1
	}
	return solve(a)[n]
}

// CusumLimit gives the h at which the run length in control is arl.
func CusumLimit(k, arl float64) float64 {
	lo, hi := 0.0, 1.0
	for CusumARL(k, hi, 0) < arl && hi < 200 {
		lo, hi = hi, hi*2
	}
	for range 60 {
		m := (lo + hi) / 2
		if CusumARL(k, m, 0) < arl {
			lo = m
		} else {
			hi = m
		}
	}
	return (lo + hi) / 2
}

// legendre gives points and weights of Gauss and Legendre on [0, h].
func legendre(n int, h float64) (x, w []float64) {
	x, w = make([]float64, n), make([]float64, n)
	for i := range n {
		z := math.Cos(math.Pi * (float64(i) + 0.75) / (float64(n) + 0.5))
		var d float64
		for range 50 {
			p0, p1 := 1.0, z
			for j := 2; j <= n; j++ {
				p0, p1 = p1, (float64(2*j-1)*z*p1-float64(j-1)*p0)/float64(j)
			}
			d = float64(n) * (z*p1 - p0) / (z*z - 1)
			step := p1 / d
			z -= step
			if math.Abs(step) < 1e-15 {
				break
			}
		}
		x[i] = h * (1 + z) / 2
		w[i] = h / ((1 - z*z) * d * d)
	}
	return x, w
}

// solve solves the linear system whose last column is the right side, by
// elimination with the largest pivot; a is spoilt.
func solve(a [][]float64) []float64 {
	n := len(a)
	for i := range n {
		p := i
		for r := i + 1; r < n; r++ {
			if math.Abs(a[r][i]) > math.Abs(a[p][i]) {
				p = r
			}
		}
		a[i], a[p] = a[p], a[i]
		for r := i + 1; r < n; r++ {
			f := a[r][i] / a[i][i]
			for c := i; c <= n; c++ {
				a[r][c] -= f * a[i][c]
			}
		}
	}
	x := make([]float64, n)
	for i := n - 1; i >= 0; i-- {
		s := a[i][n]
		for c := i + 1; c < n; c++ {
			s -= a[i][c] * x[c]
		}
		x[i] = s / a[i][i]
	}
	return x
}

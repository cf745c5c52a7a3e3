package stat

import "math"

// A Normal is a normal belief about several numbers: their means and their
// covariance, by rows.
type Normal struct {
	Mean []float64
	Cov  [][]float64
}

// Observe takes in one value y of the combination x of the numbers, seen with
// an error of variance v: Bayesian linear regression, one value at a time
// (Gelman et al. 2013, Bayesian Data Analysis, 14). The belief itself is left
// as it is. An infinite v tells nothing.
func (b Normal) Observe(x []float64, y, v float64) Normal {
	d := len(b.Mean)
	cx := make([]float64, d)
	for i := range cx {
		cx[i] = dot(b.Cov[i], x)
	}
	s := dot(x, cx) + v
	o := Normal{append([]float64(nil), b.Mean...), make([][]float64, d)}
	e := y - dot(x, b.Mean)
	for i := range d {
		o.Cov[i] = append([]float64(nil), b.Cov[i]...)
		if !(s > 0) || math.IsInf(s, 1) {
			continue
		}
		o.Mean[i] += cx[i] / s * e
		for j := range d {
			o.Cov[i][j] -= cx[i] * cx[j] / s
		}
	}
	return o
}

// At gives mean and variance of the combination x of the numbers.
func (b Normal) At(x []float64) (mean, variance float64) {
	for i, r := range b.Cov {
		variance += x[i] * dot(r, x)
	}
	return dot(x, b.Mean), math.Max(0, variance)
}

// Factor gives L with LL' the covariance, for draws: mean + Lz with z standard
// normal. A direction without variance is left at its mean.
func (b Normal) Factor() [][]float64 {
	d := len(b.Mean)
	l := newMatrix(d, d)
	for i := range d {
		for j := range i + 1 {
			s := b.Cov[i][j] - dot(l.row(i)[:j], l.row(j)[:j])
			switch {
			case i == j && s > 1e-14*b.Cov[i][i]:
				l.set(i, i, math.Sqrt(s))
			case i != j && l.at(j, j) > 0:
				l.set(i, j, s/l.at(j, j))
			}
		}
	}
	return l.lists()
}

// GaussianProcess is the belief about a smooth curve with the kernel
// Spread² exp(−d²/(2 Length²)) about a level (Rasmussen and Williams 2006,
// Gaussian Processes for Machine Learning, equations 2.22 to 2.24).
type GaussianProcess struct {
	Level, Spread, Length float64
}

// Posterior gives the belief about the curve at the places at, after values y
// at x with errors of the variances v. Without values it is the prior.
func (g GaussianProcess) Posterior(x, y, v, at []float64) (Normal, error) {
	n, q := len(x), len(at)
	k := newMatrix(n, n)
	for i := range n {
		for j := range n {
			k.set(i, j, g.kernel(x[i], x[j]))
		}
		k.add(i, i, v[i])
	}
	if !k.cholesky() {
		return Normal{}, ErrSingular
	}
	r := make([]float64, n)
	for i := range r {
		r[i] = y[i] - g.Level
	}
	k.forward(r)
	w := newMatrix(q, n) // L⁻¹ k(x, at), by places
	o := Normal{make([]float64, q), nil}
	for a := range q {
		for i := range n {
			w.set(a, i, g.kernel(x[i], at[a]))
		}
		k.forward(w.row(a))
		o.Mean[a] = g.Level + dot(w.row(a), r)
	}
	c := newMatrix(q, q)
	for a := range q {
		for b := range a + 1 {
			s := g.kernel(at[a], at[b]) - dot(w.row(a), w.row(b))
			if a == b {
				s = math.Max(0, s)
			}
			c.set(a, b, s)
			c.set(b, a, s)
		}
	}
	o.Cov = c.lists()
	return o, nil
}

func (g GaussianProcess) kernel(a, b float64) float64 {
	d := (a - b) / g.Length
	return g.Spread * g.Spread * math.Exp(-d*d/2)
}

// FTail gives the chance that an F of d1 and d2 degrees of freedom is over f.
func FTail(f, d1, d2 float64) float64 {
	if !(d1 > 0 && d2 > 0) || math.IsNaN(f) {
		return math.NaN()
	}
	if f <= 0 {
		return 1
	}
	return BetaCDF(d2/(d2+d1*f), d2/2, d1/2)
}

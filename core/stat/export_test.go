package stat

import "math"

// The t tests of a mixed model, by which the fit and the curvature of its criterion
// are held against other programs. Nothing else asks for them.

// curve gives the Cholesky of half of the second derivatives of the criterion by
// theta and τ = ln σ² at the fit, and whether they could be inverted: D = logDet(θ) + k(ln 2π + τ) + pwrss(θ) e^−τ.
func (f *Mixed) curve() (matrix, bool) {
	m, d := f.m, len(f.theta)
	s2 := f.Resid
	c := newMatrix(d+1, d+1)
	D := func(t []float64) float64 {
		s, ok := m.at(t)
		if !ok {
			return math.NaN()
		}
		return s.logDet + s.pwrss/s2
	}
	h := hessian(D, f.theta)
	for i := range d {
		for j := range d {
			c.set(i, j, h.at(i, j))
		}
		g := slope(func(t []float64) float64 {
			s, ok := m.at(t)
			if !ok {
				return math.NaN()
			}
			return s.pwrss
		}, f.theta, i)
		c.set(i, d, -g/s2)
		c.set(d, i, -g/s2)
	}
	c.set(d, d, f.pwrss/s2)
	return c, c.cholesky()
}

// Contrast gives c'β with its standard error and a t test whose degrees of
// freedom are Satterthwaite's: 2v²/var(v) for the variance v of the contrast,
// with the variance of v from the curvature of the criterion (Giesbrecht and
// Burns 1985, Biometrics 41:477-486; Fai and Cornelius 1996). Where the
// curvature cannot be inverted the degrees of freedom are those of the
// residuals, or one less than the groups of the smallest term if that is fewer.
func (f *Mixed) Contrast(c []float64) TTest {
	m := f.m
	cov := matrix{m.p, m.p, make([]float64, 0, m.p*m.p)}
	for _, r := range f.Cov {
		cov.a = append(cov.a, r...)
	}
	effect, v := dot(c, f.Beta), cov.quadratic(c)
	df := float64(m.n - m.p - m.taken)
	if curve, ok := f.curve(); ok {
		g := make([]float64, len(f.theta)+1)
		of := func(t []float64) float64 {
			s, ok := m.at(t)
			if !ok {
				return math.NaN()
			}
			w := append([]float64(nil), c...)
			s.rx.forward(w)
			return f.Resid * dot(w, w)
		}
		for i := range f.theta {
			g[i] = slope(of, f.theta, i)
		}
		g[len(f.theta)] = v
		curve.forward(g)
		// The covariance of the parameters is twice the inverse.
		if d := v * v / dot(g, g); d > 0 {
			df = math.Min(d, df)
		}
	} else {
		for _, n := range m.groups {
			df = math.Min(df, math.Max(1, float64(n-1)))
		}
	}
	return tTest(effect, math.Sqrt(v), df)
}

package stat

import (
	"errors"
	"math"
)

// ErrSingular says that the columns of a regression cannot be told apart, or
// that there are fewer values than columns.
var ErrSingular = errors.New("the columns of the regression cannot be told apart")

// A Line is a fitted linear regression. Coefficients and errors are in the
// units of y over those of their column.
type Line struct {
	Beta, SE []float64   // coefficients by columns of x
	Cov      [][]float64 // of Beta
	Sigma    float64     // standard deviation of the values about the line
	DF       float64     // of Sigma: values less columns
	Phi      float64     // correlation of neighbours; 0 where none is fitted
	LogLik   float64     // log likelihood, restricted where that was asked for; NaN where there is none

	x matrix
	r []float64 // residuals
	i matrix    // inverse of X'X
}

// LeastSquares fits y on the columns of x by ordinary least squares; x[i] is
// the row of value i and holds its constant, if there is one.
func LeastSquares(x [][]float64, y []float64) (*Line, error) {
	m, err := columns(x, y)
	if err != nil {
		return nil, err
	}
	l := &Line{x: m, DF: float64(m.rows - m.cols), LogLik: math.NaN()}
	if err := l.fit(m, y); err != nil {
		return nil, err
	}
	l.Sigma = math.Sqrt(dot(l.r, l.r) / l.DF)
	l.errors(l.i, l.Sigma*l.Sigma)
	return l, nil
}

// columns puts the rows of a regression into a matrix. There must be a value
// more than there are columns.
func columns(x [][]float64, y []float64) (matrix, error) {
	if len(x) != len(y) || len(x) == 0 || len(x[0]) == 0 || len(x) <= len(x[0]) {
		return matrix{}, ErrSingular
	}
	m := newMatrix(len(x), len(x[0]))
	for i, r := range x {
		if len(r) != m.cols {
			return matrix{}, ErrSingular
		}
		copy(m.row(i), r)
	}
	return m, nil
}

// fit sets coefficients, residuals and the inverse of X'X.
func (l *Line) fit(x matrix, y []float64) error {
	p := x.cols
	xx, xy := newMatrix(p, p), make([]float64, p)
	for i := range x.rows {
		r := x.row(i)
		for j, v := range r {
			xy[j] += v * y[i]
			for k := range j + 1 {
				xx.add(j, k, v*r[k])
			}
		}
	}
	if !xx.cholesky() {
		return ErrSingular
	}
	xx.forward(xy)
	xx.back(xy)
	l.Beta, l.i = xy, xx.inverse()
	l.r = make([]float64, x.rows)
	for i := range l.r {
		l.r[i] = y[i] - dot(x.row(i), xy)
	}
	return nil
}

func (l *Line) errors(cov matrix, scale float64) {
	l.SE = make([]float64, cov.rows)
	c := newMatrix(cov.rows, cov.cols)
	for i, v := range cov.a {
		c.a[i] = v * scale
	}
	for i := range l.SE {
		l.SE[i] = math.Sqrt(c.at(i, i))
	}
	l.Cov = c.lists()
}

// sandwich gives the line with the covariance (X'X)⁻¹ M (X'X)⁻¹.
func (l *Line) sandwich(m matrix, scale float64) *Line {
	o, p := *l, m.rows
	c := newMatrix(p, p)
	for a := range p {
		for b := range p {
			s := 0.0
			for j := range p {
				s += l.i.at(a, j) * dot(m.row(j), l.i.row(b)) // both are symmetric
			}
			c.set(a, b, s)
		}
	}
	o.errors(c, scale)
	return &o
}

// NeweyWest gives a line of LeastSquares with errors that allow for
// correlation of values up to lags apart, which must stand in order of time
// (Newey and West 1987, Econometrica 55:703-708; Bartlett weights, without a
// factor for small samples).
func (l *Line) NeweyWest(lags int) *Line {
	n, p := l.x.rows, l.x.cols
	m := newMatrix(p, p)
	for d := range min(lags, n-1) + 1 {
		w := 1 - float64(d)/float64(lags+1)
		for i := d; i < n; i++ {
			v := w * l.r[i] * l.r[i-d]
			a, b := l.x.row(i), l.x.row(i-d)
			for j := range p {
				for k := range p {
					m.add(j, k, v*a[j]*b[k])
					if d > 0 {
						m.add(j, k, v*b[j]*a[k])
					}
				}
			}
		}
	}
	return l.sandwich(m, 1)
}

// Clustered gives a line of LeastSquares with errors that allow for any
// correlation within groups; group[i] is that of value i. The factor for few
// groups is G/(G−1) · (n−1)/(n−p) (Cameron and Miller 2015, Journal of Human
// Resources 50:317-372). DF becomes G−1. Fewer than two groups give NaN.
func (l *Line) Clustered(group []int) *Line {
	p := l.x.cols
	sums := map[int][]float64{}
	var order []int
	for i := range l.r {
		s := sums[group[i]]
		if s == nil {
			s = make([]float64, p)
			sums[group[i]] = s
			order = append(order, group[i])
		}
		for j, v := range l.x.row(i) {
			s[j] += v * l.r[i]
		}
	}
	m := newMatrix(p, p)
	for _, g := range order {
		s := sums[g]
		for j := range p {
			for k := range p {
				m.add(j, k, s[j]*s[k])
			}
		}
	}
	G, n := float64(len(order)), float64(l.x.rows)
	o := l.sandwich(m, G/(G-1)*(n-1)/(n-float64(p)))
	o.DF = G - 1
	return o
}

// AR1 fits y on the columns of x where the errors of neighbours in time are
// correlated: y = Xβ + e, cor(e_t, e_s) = φ^|t−s|, values evenly spaced and in
// order. A phi that is no number is found by maximum likelihood, restricted or
// not (Pinheiro and Bates 2000, Mixed-Effects Models in S and S-PLUS, 5.3).
// Sigma is the standard deviation of the errors, over n−p where restricted and
// else over n.
func AR1(x [][]float64, y []float64, phi float64, restricted bool) (*Line, error) {
	m, err := columns(x, y)
	if err != nil {
		return nil, err
	}
	if math.IsNaN(phi) {
		lik := func(phi float64) float64 {
			l, err := ar1(m, y, phi, restricted)
			if err != nil {
				return math.Inf(-1)
			}
			return l.LogLik
		}
		best := -1.0
		for _, p := range []float64{-0.9, -0.7, -0.5, -0.3, -0.1, 0.1, 0.3, 0.5, 0.7, 0.9, 0.97} {
			if math.IsNaN(phi) || lik(p) > best {
				phi, best = p, lik(p)
			}
		}
		phi = golden(func(p float64) float64 { return -lik(p) }, math.Max(-0.999, phi-0.2), math.Min(0.9999, phi+0.2))
	}
	return ar1(m, y, phi, restricted)
}

func ar1(x matrix, y []float64, phi float64, restricted bool) (*Line, error) {
	n, p := x.rows, x.cols
	// Rotated so that errors are independent with the variance of a step.
	w, v := newMatrix(n, p), make([]float64, n)
	first := math.Sqrt(1 - phi*phi)
	for i := range n {
		to, r := w.row(i), x.row(i)
		if i == 0 {
			v[0] = first * y[0]
			for j := range to {
				to[j] = first * r[j]
			}
			continue
		}
		before := x.row(i - 1)
		v[i] = y[i] - phi*y[i-1]
		for j := range to {
			to[j] = r[j] - phi*before[j]
		}
	}
	l := &Line{x: w, Phi: phi, DF: float64(n - p)}
	if err := l.fit(w, v); err != nil {
		return nil, err
	}
	s2 := first * first // variance of a step over that of the errors
	rss, k := dot(l.r, l.r)/s2, float64(n)
	if restricted {
		k = float64(n - p)
	}
	l.Sigma = math.Sqrt(rss / k)
	logDetR := float64(n-1) * math.Log(s2)
	l.LogLik = -0.5 * (k*math.Log(2*math.Pi*rss/k) + logDetR + k)
	if restricted {
		// Less half of ln |X'R⁻¹X|.
		inv := newMatrix(p, p)
		copy(inv.a, l.i.a)
		if !inv.cholesky() {
			return nil, ErrSingular
		}
		l.LogLik += 0.5 * (inv.logDet() + float64(p)*math.Log(s2))
	}
	// The covariance is over n−p in either case, as the t tests want it.
	l.errors(l.i, s2*rss/float64(n-p))
	return l, nil
}

// golden gives the place between a and b where a function with one valley is
// lowest.
func golden(f func(float64) float64, a, b float64) float64 {
	g := (math.Sqrt(5) - 1) / 2
	c, d := b-g*(b-a), a+g*(b-a)
	fc, fd := f(c), f(d)
	for range 80 {
		if fc < fd {
			b, d, fd = d, c, fc
			c = b - g*(b-a)
			fc = f(c)
		} else {
			a, c, fc = c, d, fd
			d = a + g*(b-a)
			fd = f(d)
		}
	}
	return (a + b) / 2
}

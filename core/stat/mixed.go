package stat

import (
	"math"
	"slices"
)

// A Random is one random term of a mixed model: what the groups of it add to
// the mean, drawn from a normal about zero. Terms may be nested or crossed.
type Random struct {
	Group []int     // of each value, from 0
	Slope []float64 // nil: one number a group; else a number and its change with this, correlated
}

// A Design is what a mixed model is fitted on, by values.
type Design struct {
	X [][]float64 // the row of fixed effects of each value, with its constant
	// Within gives of each value a group that has a mean of its own: fixed effects
	// of which there are too many for columns of X, which then has no constant and
	// may be nil. The likelihood must be restricted: it does not know of them then.
	Within []int
	Random []Random
	Weight []float64 // over which the variance of a value's e is Resid; nil: 1
}

// RandomVar are the variances of one random term.
type RandomVar struct {
	Intercept  float64 // variance of the numbers of the groups, unit of y squared
	Slope, Cov float64 // of the slopes, and of both; NaN without slopes
}

// A Mixed is a fitted linear mixed model
//
//	y = Xβ + Σ Z u + e,  u ~ N(0, Var of its term), e ~ N(0, Resid)
//
// with the errors of everything about X known to be shared within groups.
type Mixed struct {
	Beta, SE  []float64   // fixed effects by columns of x
	Cov       [][]float64 // of Beta
	Vars      []RandomVar // by terms
	Resid     float64     // variance of e
	Effects   [][]float64 // of each term, the predicted numbers of its groups
	Slopes    [][]float64 // of each term, the predicted slopes; nil without
	Criterion float64     // −2 log likelihood, restricted where that was asked for

	m     *mixed
	theta []float64
	pwrss float64 // Resid times what the sum of squares is divided by
}

// mixed holds the cross products of a model: nothing in it is as long as the
// data, so that a fit costs the same whatever their number.
type mixed struct {
	n, p, q    int
	taken      int     // means that were taken out
	constant   float64 // of the criterion
	restricted bool
	slope      []bool // of each term
	first      []int  // first column of each term in Z
	groups     []int
	zz, zx     matrix // Z'Z, Z'X
	zr         []float64
	xx         matrix    // X'X
	beta0      []float64 // coefficients without random terms; r is about them
	rr         float64   // r'r
}

// FitMixed fits a linear mixed model by restricted maximum likelihood, or by
// maximum likelihood (Bates, Mächler, Bolker and Walker 2015, Journal of
// Statistical Software 67(1), equations 14 to 42; the random terms are scaled
// by a lower triangle per term, and the criterion is made least over its
// entries). The random terms may have some hundred groups together.
func FitMixed(d Design, y []float64, restricted bool) (*Mixed, error) {
	var xm matrix
	if d.X == nil && d.Within != nil {
		xm = newMatrix(len(y), 0)
	} else {
		var err error
		if xm, err = columns(d.X, y); err != nil {
			return nil, err
		}
	}
	m := &mixed{n: xm.rows, p: xm.cols, restricted: restricted}
	for _, t := range d.Random {
		groups, ok := count(t.Group, m.n)
		if !ok || t.Slope != nil && len(t.Slope) != m.n {
			return nil, ErrSingular
		}
		m.first, m.groups, m.slope = append(m.first, m.q), append(m.groups, groups), append(m.slope, t.Slope != nil)
		m.q += groups
		if t.Slope != nil {
			m.q += groups
		}
	}
	// All is put through the roots of the weights.
	root := make([]float64, m.n)
	v := make([]float64, m.n)
	for i := range root {
		root[i] = 1
		if d.Weight != nil {
			if root[i] = math.Sqrt(d.Weight[i]); !(root[i] > 0) {
				return nil, ErrSingular
			}
			m.constant -= 2 * math.Log(root[i])
		}
		v[i] = y[i] * root[i]
		for j := range xm.row(i) {
			xm.row(i)[j] *= root[i]
		}
	}
	var weight []float64
	if d.Within != nil {
		groups, ok := count(d.Within, m.n)
		if !ok || !restricted {
			return nil, ErrSingular
		}
		weight = make([]float64, groups)
		for i, g := range d.Within {
			weight[g] += root[i] * root[i]
		}
		for _, w := range weight {
			if w > 0 {
				m.taken++
				m.constant += math.Log(w)
			}
		}
		m.takeOut(d.Within, root, weight, xm, v)
	}
	if m.n <= m.p+m.taken {
		return nil, ErrSingular
	}
	var ols Line
	if err := ols.fit(xm, v); err != nil {
		return nil, err
	}
	m.beta0, m.rr = ols.Beta, dot(ols.r, ols.r)
	m.zz, m.zx, m.zr, m.xx = newMatrix(m.q, m.q), newMatrix(m.q, m.p), make([]float64, m.q), newMatrix(m.p, m.p)
	sums := newMatrix(len(weight), m.q) // of Z by groups of Within
	type entry struct {
		col int
		v   float64
	}
	var z []entry
	for i := range m.n {
		z = z[:0]
		for k, t := range d.Random {
			if c := m.first[k] + t.Group[i]; t.Slope == nil {
				z = append(z, entry{c, root[i]})
			} else {
				c += t.Group[i] // two columns a group
				z = append(z, entry{c, root[i]}, entry{c + 1, root[i] * t.Slope[i]})
			}
		}
		r := xm.row(i)
		for _, a := range z {
			for _, b := range z {
				m.zz.add(a.col, b.col, a.v*b.v)
			}
			for j, v := range r {
				m.zx.add(a.col, j, a.v*v)
			}
			m.zr[a.col] += a.v * ols.r[i]
			if weight != nil {
				sums.add(d.Within[i], a.col, root[i]*a.v)
			}
		}
		for j, v := range r {
			for k, w := range r {
				m.xx.add(j, k, v*w)
			}
		}
	}
	for g, w := range weight {
		r := sums.row(g)
		for a, va := range r {
			if va == 0 {
				continue
			}
			for b, vb := range r {
				m.zz.add(a, b, -va*vb/w)
			}
		}
	}
	theta := m.start()
	theta = newton(func(t []float64) float64 {
		if f, ok := m.at(t); ok {
			return f.criterion(m)
		}
		return math.Inf(1)
	}, theta)
	return m.finish(theta)
}

// count gives how many groups there are; false where not every value has one.
func count(group []int, n int) (groups int, ok bool) {
	if len(group) != n {
		return 0, false
	}
	for _, g := range group {
		if g < 0 {
			return 0, false
		}
		groups = max(groups, g+1)
	}
	return groups, true
}

// takeOut takes the means of groups out of x and y.
func (m *mixed) takeOut(group []int, root, weight []float64, x matrix, y []float64) {
	mean, means := make([]float64, len(weight)), newMatrix(len(weight), m.p)
	for i, g := range group {
		mean[g] += root[i] * y[i] / weight[g]
		for j, v := range x.row(i) {
			means.add(g, j, root[i]*v/weight[g])
		}
	}
	for i, g := range group {
		y[i] -= root[i] * mean[g]
		for j := range x.row(i) {
			x.add(i, j, -root[i]*means.at(g, j))
		}
	}
}

// start gives the scales to begin with: as much variance in each term as in e.
func (m *mixed) start() (theta []float64) {
	for _, s := range m.slope {
		if s {
			theta = append(theta, 1, 0, 1)
		} else {
			theta = append(theta, 1)
		}
	}
	return theta
}

// scaled is the model at one set of scales.
type scaled struct {
	l      matrix    // Cholesky of Λ'Z'ZΛ + I
	rzx    matrix    // L⁻¹Λ'Z'X
	cu     []float64 // L⁻¹Λ'Z'r
	rx     matrix    // Cholesky of X'V⁻¹X, V in units of σ²
	beta   []float64 // less beta0
	pwrss  float64
	theta  []float64
	logDet float64 // ln |L|² and, restricted, ln |RX|²
}

// lambda puts a vector over the columns of Z through Λ' in place.
func (m *mixed) lambda(theta, v []float64, stride int) {
	k := 0
	for t, slope := range m.slope {
		c := m.first[t]
		for range m.groups[t] {
			if !slope {
				v[c*stride] *= theta[k]
				c++
				continue
			}
			a, b := v[c*stride], v[(c+1)*stride]
			v[c*stride], v[(c+1)*stride] = theta[k]*a+theta[k+1]*b, theta[k+2]*b
			c += 2
		}
		if slope {
			k += 3
		} else {
			k++
		}
	}
}

// scaled puts the lower half of Λ'Z'ZΛ + I into a matrix.
func (m *mixed) scaled(theta []float64, to matrix) {
	if !slices.Contains(m.slope, true) { // Λ is a number for each column
		by := make([]float64, m.q)
		for i := range by {
			by[i] = 1
		}
		m.lambda(theta, by, 1)
		for i := range m.q {
			from, r := m.zz.row(i), to.row(i)
			for j, v := range by[:i+1] {
				r[j] = by[i] * v * from[j]
			}
			r[i]++
		}
		return
	}
	copy(to.a, m.zz.a)
	for j := range m.q {
		m.lambda(theta, to.a[j:], m.q) // by columns
	}
	for i := range m.q {
		m.lambda(theta, to.row(i), 1)
		to.add(i, i, 1)
	}
}

func (m *mixed) at(theta []float64) (*scaled, bool) {
	s := &scaled{theta: theta, l: newMatrix(m.q, m.q), rzx: newMatrix(m.q, m.p), cu: make([]float64, m.q), rx: newMatrix(m.p, m.p), beta: make([]float64, m.p)}
	m.scaled(theta, s.l)
	copy(s.rzx.a, m.zx.a)
	copy(s.cu, m.zr)
	for j := range m.p {
		m.lambda(theta, s.rzx.a[j:], m.p)
	}
	m.lambda(theta, s.cu, 1)
	if !s.l.cholesky() {
		return nil, false
	}
	s.l.forward(s.cu)
	col := make([]float64, m.q)
	for j := range m.p {
		for i := range col {
			col[i] = s.rzx.at(i, j)
		}
		s.l.forward(col)
		for i, v := range col {
			s.rzx.set(i, j, v)
		}
	}
	copy(s.rx.a, m.xx.a)
	for i := range m.q {
		r := s.rzx.row(i)
		for j, v := range r {
			s.beta[j] -= v * s.cu[i] // X'r is 0
			for k, w := range r {
				s.rx.add(j, k, -v*w)
			}
		}
	}
	if !s.rx.cholesky() {
		return nil, false
	}
	s.rx.forward(s.beta)
	s.pwrss = m.rr - dot(s.cu, s.cu) - dot(s.beta, s.beta)
	s.rx.back(s.beta)
	s.logDet = s.l.logDet()
	if m.restricted {
		s.logDet += s.rx.logDet()
	}
	return s, s.pwrss > 0
}

// free is what the sum of squares is divided by.
func (m *mixed) free() float64 {
	if m.restricted {
		return float64(m.n - m.p - m.taken)
	}
	return float64(m.n)
}

// criterion gives −2 log likelihood with σ² at its best.
func (s *scaled) criterion(m *mixed) float64 {
	k := m.free()
	return m.constant + s.logDet + k*(1+math.Log(2*math.Pi*s.pwrss/k))
}

func (m *mixed) finish(theta []float64) (*Mixed, error) {
	s, ok := m.at(theta)
	if !ok {
		return nil, ErrSingular
	}
	f := &Mixed{m: m, theta: theta, pwrss: s.pwrss, Resid: s.pwrss / m.free(), Criterion: s.criterion(m)}
	f.Beta, f.SE = make([]float64, m.p), make([]float64, m.p)
	cov := s.rx.inverse()
	for i := range cov.a {
		cov.a[i] *= f.Resid
	}
	f.Cov = cov.lists()
	for j := range f.Beta {
		f.Beta[j], f.SE[j] = m.beta0[j]+s.beta[j], math.Sqrt(cov.at(j, j))
	}
	// The random effects: u = L'⁻¹(cu − RZX β), b = Λu.
	u := make([]float64, m.q)
	for i := range u {
		u[i] = s.cu[i] - dot(s.rzx.row(i), s.beta)
	}
	s.l.back(u)
	k := 0
	for t, slope := range m.slope {
		c, n := m.first[t], m.groups[t]
		b := make([]float64, n)
		if !slope {
			for g := range b {
				b[g] = theta[k] * u[c+g]
			}
			f.Vars = append(f.Vars, RandomVar{f.Resid * theta[k] * theta[k], math.NaN(), math.NaN()})
			f.Effects, f.Slopes = append(f.Effects, b), append(f.Slopes, nil)
			k++
			continue
		}
		d := make([]float64, n)
		a, ab, bb := theta[k], theta[k+1], theta[k+2]
		for g := range b {
			x, y := u[c+2*g], u[c+2*g+1]
			b[g], d[g] = a*x, ab*x+bb*y
		}
		f.Vars = append(f.Vars, RandomVar{f.Resid * a * a, f.Resid * (ab*ab + bb*bb), f.Resid * a * ab})
		f.Effects, f.Slopes = append(f.Effects, b), append(f.Slopes, d)
		k += 3
	}
	return f, nil
}

// step is how far apart a function is looked at to find its slope at x.
func step(x float64) float64 { return 1e-3 * math.Max(math.Abs(x), 0.1) }

// slope gives the derivative of f by its i-th argument, by five points.
func slope(f func([]float64) float64, x []float64, i int) float64 {
	t := append([]float64(nil), x...)
	h := step(x[i])
	at := func(k float64) float64 { t[i] = x[i] + k*h; return f(t) }
	return (at(-2) - 8*at(-1) + 8*at(1) - at(2)) / (12 * h)
}

// hessian gives the second derivatives of f.
func hessian(f func([]float64) float64, x []float64) matrix {
	d := len(x)
	m := newMatrix(d, d)
	t := append([]float64(nil), x...)
	mid := f(t)
	for i := range d {
		hi := 5 * step(x[i])
		one := func(k float64) float64 { t[i] = x[i] + k*hi; v := f(t); t[i] = x[i]; return v }
		m.set(i, i, (-one(-2)+16*one(-1)-30*mid+16*one(1)-one(2))/(12*hi*hi))
		for j := range i {
			hj := 5 * step(x[j])
			two := func(a, b float64) float64 {
				t[i], t[j] = x[i]+a*hi, x[j]+b*hj
				v := f(t)
				t[i], t[j] = x[i], x[j]
				return v
			}
			v := (two(1, 1) - two(1, -1) - two(-1, 1) + two(-1, -1)) / (4 * hi * hj)
			m.set(i, j, v)
			m.set(j, i, v)
		}
	}
	return m
}

// newton gives the place where a smooth function is lowest, from x downhill:
// Newton's steps, shortened towards the gradient until each goes down
// (Levenberg 1944, Quarterly of Applied Mathematics 2:164-168).
func newton(f func([]float64) float64, x []float64) []float64 {
	d := len(x)
	if d == 0 {
		return x
	}
	x = append([]float64(nil), x...)
	best := f(x)
	damp := 1e-3
	for range 100 {
		h := hessian(f, x)
		g := make([]float64, d)
		for i := range g {
			g[i] = slope(f, x, i)
		}
		moved, size := false, 0.0
		for range 40 {
			a := newMatrix(d, d)
			copy(a.a, h.a)
			for i := range d {
				a.add(i, i, damp*(1+math.Abs(h.at(i, i))))
			}
			if !a.cholesky() {
				damp = math.Max(10*damp, 1e-3)
				continue
			}
			s := append([]float64(nil), g...)
			a.forward(s)
			a.back(s)
			to := make([]float64, d)
			size = 0
			for i := range to {
				to[i] = x[i] - s[i]
				size = math.Max(size, math.Abs(s[i])/math.Max(math.Abs(x[i]), 0.1))
			}
			// At the bottom rounding hides what a step gains.
			if v := f(to); v < best+1e-12*math.Abs(best) {
				x, best, moved = to, v, true
				damp /= 30
				break
			}
			damp = math.Max(10*damp, 1e-8)
		}
		if !moved || size < 1e-10 {
			break
		}
	}
	return x
}

package stat

import "math"

// A matrix is a dense matrix by rows; small ones only, for the work grows with
// the third power.
type matrix struct {
	rows, cols int
	a          []float64
}

func newMatrix(rows, cols int) matrix { return matrix{rows, cols, make([]float64, rows*cols)} }

func (m matrix) at(i, j int) float64     { return m.a[i*m.cols+j] }
func (m matrix) set(i, j int, v float64) { m.a[i*m.cols+j] = v }
func (m matrix) add(i, j int, v float64) { m.a[i*m.cols+j] += v }
func (m matrix) row(i int) []float64     { return m.a[i*m.cols : (i+1)*m.cols] }

// cholesky turns the lower half of a symmetric matrix into L with LL' equal to
// it, and tells whether that could be done: it cannot when the matrix is not
// positive definite.
func (m matrix) cholesky() bool {
	n := m.rows
	for i := range n {
		ri := m.row(i)
		for j := range i {
			rj := m.row(j)
			ri[j] = (ri[j] - dot(ri[:j], rj[:j])) / rj[j]
		}
		s, whole := ri[i], ri[i]
		for _, v := range ri[:i] {
			s -= v * v
		}
		if !(s > 1e-14*whole) { // NaN too
			return false
		}
		ri[i] = math.Sqrt(s)
	}
	return true
}

// logDet gives ln |LL'| of a lower triangular L.
func (m matrix) logDet() float64 {
	s := 0.0
	for i := range m.rows {
		s += math.Log(m.at(i, i))
	}
	return 2 * s
}

// forward solves Lx = b in place.
func (m matrix) forward(b []float64) {
	for i := range b {
		r := m.row(i)
		s := b[i]
		for k := range i {
			s -= r[k] * b[k]
		}
		b[i] = s / r[i]
	}
}

// back solves L'x = b in place.
func (m matrix) back(b []float64) {
	for i := len(b) - 1; i >= 0; i-- {
		r := m.row(i)
		b[i] /= r[i]
		for k := range i {
			b[k] -= r[k] * b[i]
		}
	}
}

// inverse gives the inverse of LL'.
func (m matrix) inverse() matrix {
	inv := newMatrix(m.rows, m.rows)
	for j := range m.rows {
		e := make([]float64, m.rows)
		e[j] = 1
		m.forward(e)
		m.back(e)
		for i, v := range e {
			inv.set(i, j, v)
		}
	}
	return inv
}

// lists gives the matrix as a slice of its rows.
func (m matrix) lists() [][]float64 {
	out := make([][]float64, m.rows)
	for i := range out {
		out[i] = m.row(i)
	}
	return out
}

// dot gives a'b, in four sums that do not wait for one another.
func dot(a, b []float64) float64 {
	var s, t, u, w float64
	for len(a) >= 4 && len(b) >= 4 {
		s += a[0] * b[0]
		t += a[1] * b[1]
		u += a[2] * b[2]
		w += a[3] * b[3]
		a, b = a[4:], b[4:]
	}
	for i, v := range a {
		s += v * b[i]
	}
	return s + t + u + w
}

// quadratic gives c'Mc.
func (m matrix) quadratic(c []float64) float64 {
	s := 0.0
	for i, v := range c {
		s += v * dot(m.row(i), c)
	}
	return s
}

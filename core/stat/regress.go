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
	Beta, SE []float64 // coefficients by columns of x
	Sigma    float64   // standard deviation of the values about the line
	DF       float64   // of Sigma: values less columns

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
	l := &Line{DF: float64(m.rows - m.cols)}
	if err := l.fit(m, y); err != nil {
		return nil, err
	}
	l.Sigma = math.Sqrt(dot(l.r, l.r) / l.DF)
	l.SE = make([]float64, m.cols)
	for i := range l.SE {
		l.SE[i] = l.Sigma * math.Sqrt(l.i.at(i, i))
	}
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

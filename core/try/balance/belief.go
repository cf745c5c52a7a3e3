package balance

import (
	"math"

	"evenstand/core/stat"
)

// Settings are scaled to the operator's limits: 0 is the lower, 1 the upper.
// What is to be made small is called J; here it is in units of its typical
// spread. The figures are those of the methods document, section h.
const (
	steps  = 41  // of the grid between the limits
	reach  = 0.2 // of the range: how far from the present setting a try may go
	enough = 6   // tries from which the quadratic is put to the test
	reject = 0.05

	processLength = 0.35 // of the range
	processSpread = 1.5
)

var (
	priorMean = [3]float64{0, 0, 4} // the first is the mean of what was seen
	priorVar  = [3]float64{9, 9, 36}
)

// at gives the setting of a place of the grid.
func at(i int) float64 { return float64(i) / (steps - 1) }

// place gives the place of the grid nearest to a setting.
func place(s float64) int {
	return max(0, min(steps-1, int(math.Round(s*(steps-1)))))
}

// quadratic gives what the three numbers of the quadratic are multiplied with.
func quadratic(s float64) []float64 { return []float64{1, s - 0.5, (s - 0.5) * (s - 0.5)} }

// between gives the weights of the grid's places for a setting between them.
func between(s float64) []float64 {
	w := make([]float64, steps)
	x := math.Max(0, math.Min(steps-1, s*(steps-1)))
	i := min(steps-2, int(x))
	w[i], w[i+1] = 1-(x-float64(i)), x-float64(i)
	return w
}

// Seen is what a try told: J at a setting, or, where From is a number, what
// going there from another did to it. Settings are scaled to the limits.
type Seen struct {
	From, To float64
	Y, Var   float64
}

func (o *Seen) basis(of func(float64) []float64) []float64 {
	x := of(o.To)
	if !math.IsNaN(o.From) {
		for i, v := range of(o.From) {
			x[i] -= v
		}
	}
	return x
}

// A belief is what is held of J on the grid.
type belief struct {
	mean []float64
	cov  [][]float64
	// process tells that the quadratic was rejected.
	process bool
}

// prior gives the quadratic before anything was seen, with J about level and a
// typical spread of it.
func prior(level, spread float64) stat.Normal {
	n := stat.Normal{Mean: make([]float64, 3), Cov: make([][]float64, 3)}
	for i := range n.Mean {
		n.Mean[i] = spread * priorMean[i]
		n.Cov[i] = make([]float64, 3)
		n.Cov[i][i] = spread * spread * priorVar[i]
	}
	n.Mean[0] = level
	return n
}

// level is the mean of what was seen of J itself.
func level(seen []Seen) float64 {
	m, n := 0.0, 0.0
	for i := range seen {
		if math.IsNaN(seen[i].From) {
			m += seen[i].Y
			n++
		}
	}
	return m / math.Max(1, n)
}

// believe gives the belief after tries, by a quadratic that bends upwards; by a
// Gaussian process where enough tries reject that.
func believe(seen []Seen, spread float64) belief {
	n := prior(level(seen), spread)
	for i := range seen {
		n = n.Observe(seen[i].basis(quadratic), seen[i].Y, seen[i].Var)
	}
	if bent(seen) {
		if b, ok := smooth(seen, spread); ok {
			return b
		}
	}
	return onGrid(n, true)
}

// onGrid puts the quadratic's numbers onto the grid, given that it bends
// upwards if that is asked for. The mean and covariance of a normal cut off at
// zero in one of its numbers are exact (Rosenbaum 1961, JRSS B 23:405-408), so
// that no draws have to be weighted.
func onGrid(n stat.Normal, upwards bool) belief {
	if upwards {
		n = cut(n)
	}
	b := belief{mean: make([]float64, steps), cov: make([][]float64, steps)}
	half := make([][]float64, steps)
	for i := range steps {
		x := quadratic(at(i))
		b.mean[i], _ = n.At(x)
		half[i] = make([]float64, len(x))
		for j, r := range n.Cov {
			for k, v := range r {
				half[i][j] += v * x[k]
			}
		}
	}
	for i := range steps {
		b.cov[i] = make([]float64, steps)
		x := quadratic(at(i))
		for j := range steps {
			for k, v := range x {
				b.cov[i][j] += v * half[j][k]
			}
		}
	}
	return b
}

// cut gives a normal belief given that its third number is over zero.
func cut(n stat.Normal) stat.Normal {
	m, v := n.Mean[2], n.Cov[2][2]
	if !(v > 0) {
		return n
	}
	sd := math.Sqrt(v)
	a := -m / sd
	// The hazard of the standard normal at a, and its variance beyond a.
	h := math.Exp(-a*a/2) / math.Sqrt(2*math.Pi) / math.Max(1e-300, stat.NormalCDF(-a))
	if a > 30 {
		h = a + 1/a
	}
	shift, shrink := sd*h, math.Max(0, 1+a*h-h*h)
	o := stat.Normal{Mean: append([]float64(nil), n.Mean...), Cov: make([][]float64, 3)}
	for i := range o.Mean {
		k := n.Cov[i][2] / v
		o.Mean[i] += k * shift
		o.Cov[i] = append([]float64(nil), n.Cov[i]...)
		for j := range o.Cov[i] {
			o.Cov[i][j] += k * n.Cov[j][2] * (shrink - 1)
		}
	}
	return o
}

// bent tells whether what was seen rejects the quadratic: an F test of what it
// leaves against the errors that the tries have by themselves.
func bent(seen []Seen) bool {
	if len(seen) < enough {
		return false
	}
	absolute := false
	var x [][]float64
	var y []float64
	for i := range seen {
		o := &seen[i]
		w := 1 / math.Sqrt(o.Var)
		r := o.basis(quadratic)
		for j := range r {
			r[j] *= w
		}
		absolute = absolute || math.IsNaN(o.From)
		x, y = append(x, r), append(y, w*o.Y)
	}
	if !absolute { // differences tell nothing of the level
		for i := range x {
			x[i] = x[i][1:]
		}
	}
	l, err := stat.LeastSquares(x, y)
	if err != nil {
		return false // too few settings to tell
	}
	return stat.FTail(l.Sigma*l.Sigma, l.DF, 1e6) < reject // the errors are as good as known
}

// smooth gives the belief by a Gaussian process on the grid.
func smooth(seen []Seen, spread float64) (belief, bool) {
	places := make([]float64, steps)
	for i := range places {
		places[i] = at(i)
	}
	n, err := stat.GaussianProcess{Level: level(seen), Spread: spread * processSpread, Length: processLength}.Posterior(nil, nil, nil, places)
	if err != nil {
		return belief{}, false
	}
	for i := range seen {
		n = n.Observe(seen[i].basis(between), seen[i].Y, seen[i].Var)
	}
	return belief{n.Mean, n.Cov, true}, true
}

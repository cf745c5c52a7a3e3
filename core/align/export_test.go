package align

import "math"

// RTS runs the smoother's machinery on one axis for the check values: order,
// variance a second, the prior at the first moment, measurements and their
// variance. It gives mean and SD of every state and the log likelihood.
func RTS(order int, psd float64, m0 []float64, p0 [][]float64, t, z []float64, r float64) (mean, sd [][]float64, loglik float64) {
	w := wiener{order, psd}
	var e estimate
	for i := range order {
		e.x[0][i], e.x[1][i] = m0[i], m0[i]
		for j := range order {
			e.p[i][j] = p0[i][j]
		}
	}
	o := make([]obs, len(z))
	for i := range z {
		o[i] = obs{t[i], [2]float64{z[i], z[i]}, r}
	}
	f := w.filter(filtered{}, e, o, 0, math.Inf(1))
	for _, s := range w.smooth(nil, f, o) {
		var m, d []float64
		for i := range order {
			m = append(m, s.x[0][i])
			d = append(d, s.p[i][i])
		}
		mean, sd = append(mean, m), append(sd, d)
	}
	return mean, sd, f.loglik / 2
}

// Tractrix is the step of a trailed point.
func Tractrix(psi, theta, ds, l float64) float64 { return tractrix(psi, theta, ds, l) }

// JointRTS runs the smoother of both axes on z for both, with unrest along and
// across a way in direction dir, from the prior of Smooth, and gives mean and
// variance of the east states.
func JointRTS(along, across, dir float64, t, z []float64, r float64) (mean, v [][]float64) {
	o := make([]obs, len(z))
	used := make([]bool, len(z))
	u := make([]unrest, len(z))
	for i := range z {
		o[i], used[i] = obs{t[i], [2]float64{z[i], z[i]}, r}, true
		u[i] = unrest{math.Sin(dir), math.Cos(dir), across}
	}
	j := joint{along}
	before, after := make([]estimate6, len(o)), make([]estimate6, len(o))
	j.filter(before, after, both(start(o[0])), o, used, u)
	j.smooth(before, after, o)
	for _, e := range after {
		mean = append(mean, e.x[:3])
		v = append(v, []float64{e.p[0][0], e.p[1][1], e.p[2][2]})
	}
	return mean, v
}

// Block is the number of fixes smoothed at once.
const Block = block

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
	f := w.filter(e, o, 0, math.Inf(1))
	for _, s := range w.smooth(f, o) {
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

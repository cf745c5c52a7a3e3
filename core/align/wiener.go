package align

import (
	"math"
	"slices"
)

// wiener is the smoother's machinery: a state of up to three numbers, of which
// each is the rate of change of the one before and the last one wanders at
// random. Order 1 is a level, 2 a position at constant velocity, 3 a position
// at constant acceleration. Two axes share one covariance, because both are
// measured alike.
type wiener struct {
	order int     // 1 to 3
	psd   float64 // variance a second of what wanders
}

type (
	vec [3]float64
	mat [3][3]float64
)

// obs is one moment of two measured axes.
type obs struct {
	t float64 // s
	z [2]float64
	r float64 // variance on each axis
}

// estimate is what is known of a moment.
type estimate struct {
	x [2]vec
	p mat
}

// advance gives transition and noise over dt seconds (the integrated Wiener
// process; Bar-Shalom, Li and Kirubarajan 2001, section 6.2, from memory).
func (w wiener) advance(dt float64) (f, q mat) {
	fact := [...]float64{1, 1, 2}
	var pow [6]float64
	pow[0] = 1
	for i := 1; i < len(pow); i++ {
		pow[i] = pow[i-1] * dt
	}
	for i := range w.order {
		for j := i; j < w.order; j++ {
			f[i][j] = pow[j-i] / fact[j-i]
		}
	}
	for i := range w.order {
		for j := range w.order {
			a, b := w.order-1-i, w.order-1-j
			q[i][j] = w.psd * pow[a+b+1] / (float64(a+b+1) * fact[a] * fact[b])
		}
	}
	return f, q
}

// predict carries an estimate on by dt seconds.
func (w wiener) predict(e estimate, dt float64) (estimate, mat) {
	f, q := w.advance(dt)
	n := w.order
	var out estimate
	for a := range e.x {
		for i := range n {
			for j := i; j < n; j++ {
				out.x[a][i] += f[i][j] * e.x[a][j]
			}
		}
	}
	var fp mat
	for i := range n {
		for j := range n {
			for k := i; k < n; k++ {
				fp[i][j] += f[i][k] * e.p[k][j]
			}
		}
	}
	for i := range n {
		for j := range n {
			s := q[i][j]
			for k := j; k < n; k++ {
				s += fp[i][k] * f[j][k]
			}
			out.p[i][j] = s
		}
	}
	return out, f
}

// filtered is the forward pass over one piece.
type filtered struct {
	prior, post []estimate // before and after each moment
	used        []bool     // the measurement passed the gate
	loglik      float64    // summed over both axes; a skipped moment counts as one at the gate
	skipped     int
}

// sized gives s with n entries of whatever was in them.
func sized[T any](s []T, n int) []T { return slices.Grow(s[:0], n)[:n] }

// filter runs forward. prior holds at the time of the first moment, which is
// then an update. gate is in SDs; 0 lets everything pass. When nothing has
// passed for longer than lost seconds it gives up and returns what stands
// before the first of those that did not pass.
// What dst held is written over.
func (w wiener) filter(dst filtered, prior estimate, z []obs, gate, lost float64) filtered {
	out := filtered{prior: sized(dst.prior, len(z)), post: sized(dst.post, len(z)), used: sized(dst.used, len(z))}
	e := prior
	run, last := 0, 0.0 // skipped in a row; time of the last one used
	for i, o := range z {
		if i > 0 {
			e, _ = w.predict(e, o.t-z[i-1].t)
		}
		out.prior[i] = e
		s := e.p[0][0] + o.r
		d0, d1 := o.z[0]-e.x[0][0], o.z[1]-e.x[1][0]
		out.used[i] = false
		if gate > 0 && !(max(d0*d0, d1*d1) <= gate*gate*s) {
			out.skipped++
			out.loglik -= math.Log(2*math.Pi*s) + gate*gate
			if run++; i > run-1 && run > 1 && o.t-last > lost {
				k := i + 1 - run
				out.skipped -= run
				out.prior, out.post, out.used = out.prior[:k], out.post[:k], out.used[:k]
				return out
			}
		} else {
			run, last = 0, o.t
			out.used[i] = true
			out.loglik -= math.Log(2*math.Pi*s) + (d0*d0+d1*d1)/(2*s)
			w.update(&e, d0, d1, s)
		}
		out.post[i] = e
	}
	return out
}

// update takes in a measurement that lies d0 and d1 off what was expected, s
// being the variance of that.
func (w wiener) update(e *estimate, d0, d1, s float64) {
	n := w.order
	var k vec
	for a := range n {
		k[a] = e.p[a][0] / s
		e.x[0][a] += k[a] * d0
		e.x[1][a] += k[a] * d1
	}
	// P − K s Kᵀ is symmetric and, in this order of magnitude, safe.
	for a := range n {
		for b := a; b < n; b++ {
			e.p[a][b] -= k[a] * s * k[b]
			e.p[b][a] = e.p[a][b]
		}
	}
}

// smooth runs back over what filter gave (Rauch, Tung and Striebel 1965) and
// gives the estimates given all moments, in dst.
func (w wiener) smooth(dst []estimate, f filtered, z []obs) []estimate {
	n := w.order
	out := sized(dst, len(z))
	for i := len(z) - 1; i >= 0; i-- {
		out[i] = f.post[i]
		if i == len(z)-1 {
			continue
		}
		fm, _ := w.advance(z[i+1].t - z[i].t)
		// gain = P Fᵀ P⁻¹(next, predicted)
		var pf, g mat
		for a := range n {
			for b := range n {
				for k := b; k < n; k++ {
					pf[a][b] += f.post[i].p[a][k] * fm[b][k]
				}
			}
		}
		inv := invert(f.prior[i+1].p, n)
		for a := range n {
			for b := range n {
				for k := range n {
					g[a][b] += pf[a][k] * inv[k][b]
				}
			}
		}
		var dp, gd mat
		for a := range n {
			for b := range n {
				dp[a][b] = out[i+1].p[a][b] - f.prior[i+1].p[a][b]
			}
		}
		for a := range n {
			for axis := range 2 {
				for b := range n {
					out[i].x[axis][a] += g[a][b] * (out[i+1].x[axis][b] - f.prior[i+1].x[axis][b])
				}
			}
			for b := range n {
				for k := range n {
					gd[a][b] += g[a][k] * dp[k][b]
				}
			}
		}
		for a := range n {
			for b := a; b < n; b++ {
				s := 0.0
				for k := range n {
					s += gd[a][k] * g[b][k]
				}
				out[i].p[a][b] += s
				out[i].p[b][a] = out[i].p[a][b]
			}
		}
	}
	return out
}

// invert gives the inverse of a symmetric positive matrix of n rows.
func invert(m mat, n int) (out mat) {
	switch n {
	case 1:
		out[0][0] = 1 / m[0][0]
	case 2:
		d := m[0][0]*m[1][1] - m[0][1]*m[1][0]
		out[0][0], out[1][1] = m[1][1]/d, m[0][0]/d
		out[0][1], out[1][0] = -m[0][1]/d, -m[1][0]/d
	default:
		c00 := m[1][1]*m[2][2] - m[1][2]*m[2][1]
		c01 := m[1][2]*m[2][0] - m[1][0]*m[2][2]
		c02 := m[1][0]*m[2][1] - m[1][1]*m[2][0]
		d := m[0][0]*c00 + m[0][1]*c01 + m[0][2]*c02
		out[0][0], out[1][0], out[2][0] = c00/d, c01/d, c02/d
		out[0][1] = (m[0][2]*m[2][1] - m[0][1]*m[2][2]) / d
		out[1][1] = (m[0][0]*m[2][2] - m[0][2]*m[2][0]) / d
		out[2][1] = (m[0][1]*m[2][0] - m[0][0]*m[2][1]) / d
		out[0][2] = (m[0][1]*m[1][2] - m[0][2]*m[1][1]) / d
		out[1][2] = (m[0][2]*m[1][0] - m[0][0]*m[1][2]) / d
		out[2][2] = (m[0][0]*m[1][1] - m[0][1]*m[1][0]) / d
	}
	return out
}

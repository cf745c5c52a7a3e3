package align

import "math"

// joint smooths both axes together at constant acceleration, with another
// unrest along the way than across it: a tractor brakes far harder than it
// swerves, and what tells its heading is the unrest across. The order of the
// state is place, speed, acceleration east, then the same north.
type joint struct {
	along float64 // variance a second of the acceleration along the way
}

type (
	vec6 [6]float64
	mat6 [6][6]float64
)

// unrest is the way's direction and the variance a second across it, for the
// step that leads to a moment.
type unrest struct{ sin, cos, across float64 }

type estimate6 struct {
	x vec6
	p mat6
}

// predict carries an estimate on by dt seconds.
func (j joint) predict(e *estimate6, dt float64, u unrest) (out estimate6) {
	h := dt * dt / 2
	out.x = vec6{
		e.x[0] + dt*e.x[1] + h*e.x[2], e.x[1] + dt*e.x[2], e.x[2],
		e.x[3] + dt*e.x[4] + h*e.x[5], e.x[4] + dt*e.x[5], e.x[5],
	}
	fp := e.p
	for c := range 6 {
		fp[0][c] += dt*fp[1][c] + h*fp[2][c]
		fp[1][c] += dt * fp[2][c]
		fp[3][c] += dt*fp[4][c] + h*fp[5][c]
		fp[4][c] += dt * fp[5][c]
	}
	for r := range 6 {
		row := &fp[r]
		row[0] += dt*row[1] + h*row[2]
		row[1] += dt * row[2]
		row[3] += dt*row[4] + h*row[5]
		row[4] += dt * row[5]
	}
	ee := j.along*u.sin*u.sin + u.across*u.cos*u.cos
	nn := j.along*u.cos*u.cos + u.across*u.sin*u.sin
	en := (j.along - u.across) * u.sin * u.cos
	d2 := dt * dt
	d3 := d2 * dt
	g := [3][3]float64{
		{d3 * d2 / 20, d2 * d2 / 8, d3 / 6},
		{d2 * d2 / 8, d3 / 3, d2 / 2},
		{d3 / 6, d2 / 2, dt},
	}
	for a := range 3 {
		for b := range 3 {
			fp[a][b] += ee * g[a][b]
			fp[a+3][b+3] += nn * g[a][b]
			fp[a][b+3] += en * g[a][b]
			fp[a+3][b] += en * g[a][b]
		}
	}
	out.p = fp
	return out
}

// update takes in one axis (0 east, 3 north) of a measurement.
func (e *estimate6) update(axis int, z, r float64) {
	s := e.p[axis][axis] + r
	d := z - e.x[axis]
	var k vec6
	for i := range 6 {
		k[i] = e.p[i][axis] / s
		e.x[i] += k[i] * d
	}
	for i := range 6 {
		for l := i; l < 6; l++ {
			e.p[i][l] -= k[i] * s * k[l]
			e.p[l][i] = e.p[i][l]
		}
	}
}

// both puts two axes of one covariance together.
func both(e estimate) (out estimate6) {
	for a := range 2 {
		for i := range 3 {
			out.x[3*a+i] = e.x[a][i]
			for k := range 3 {
				out.p[3*a+i][3*a+k] = e.p[i][k]
			}
		}
	}
	return out
}

// filter runs forward from what is known at the first moment before it was
// measured. used says which measurements count, u the unrest of the step to
// each moment. It gives the estimates before and after each measurement, in
// slices that stand for z one to one.
func (j joint) filter(before, after []estimate6, e estimate6, z []obs, used []bool, u []unrest) {
	for i, o := range z {
		if i > 0 {
			e = j.predict(&e, o.t-z[i-1].t, u[i])
		}
		before[i] = e
		if used[i] {
			e.update(0, o.z[0], o.r)
			e.update(3, o.z[1], o.r)
		}
		after[i] = e
	}
}

// smooth runs back over what filter gave and leaves the smoothed estimates in
// after.
func (j joint) smooth(before, after []estimate6, z []obs) {
	for i := len(z) - 2; i >= 0; i-- {
		back(&after[i], &before[i+1], &after[i+1], z[i+1].t-z[i].t)
	}
}

// back corrects the estimate e of a moment by the smoothed one of the next,
// which was predicted as pred (Rauch, Tung and Striebel 1965).
func back(e, pred, next *estimate6, dt float64) {
	// The gain solves G pred.p = e.p Fᵀ.
	h := dt * dt / 2
	g := e.p
	for r := range 6 {
		row := &g[r]
		row[0] += dt*row[1] + h*row[2]
		row[1] += dt * row[2]
		row[3] += dt*row[4] + h*row[5]
		row[4] += dt * row[5]
	}
	l, ok := cholesky(&pred.p)
	if !ok {
		return // not to be told from nothing: the filtered estimate stands
	}
	for r := range 6 {
		row := &g[r]
		for i := range 6 {
			s := row[i]
			for k := range i {
				s -= l[i][k] * row[k]
			}
			row[i] = s * l[i][i]
		}
		for i := 5; i >= 0; i-- {
			s := row[i]
			for k := i + 1; k < 6; k++ {
				s -= l[k][i] * row[k]
			}
			row[i] = s * l[i][i]
		}
	}
	var d vec6
	var dp, gd mat6
	for i := range 6 {
		d[i] = next.x[i] - pred.x[i]
		for k := range 6 {
			dp[i][k] = next.p[i][k] - pred.p[i][k]
		}
	}
	for i := range 6 {
		for k := range 6 {
			e.x[i] += g[i][k] * d[k]
			s := 0.0
			for m := range 6 {
				s += g[i][m] * dp[m][k]
			}
			gd[i][k] = s
		}
	}
	for i := range 6 {
		for k := i; k < 6; k++ {
			s := 0.0
			for m := range 6 {
				s += gd[i][m] * g[k][m]
			}
			e.p[i][k] += s
			e.p[k][i] = e.p[i][k]
		}
	}
}

// cholesky gives the lower factor with its diagonal inverted, false when the
// matrix is not positive.
func cholesky(m *mat6) (l mat6, ok bool) {
	for i := range 6 {
		for k := range i + 1 {
			s := m[i][k]
			for j := range k {
				s -= l[i][j] * l[k][j]
			}
			if i == k {
				if !(s > 0) {
					return l, false
				}
				l[i][i] = 1 / math.Sqrt(s)
			} else {
				l[i][k] = s * l[k][k]
			}
		}
	}
	return l, true
}

// turnWindow is the time in seconds over which a turn is measured before it
// lets the unrest across grow.
const turnWindow = 2.0

// ways gives the unrest of each step from a first, round smoothing. In tight
// turns, where the force across is not small, the unrest across grows to twice
// that force, and to that along at most. A standing tractor keeps its way,
// which was last before the first moment. It is written into dst.
func ways(dst []unrest, s []estimate, z []obs, along, across float64, last unrest) []unrest {
	out := sized(dst, len(s))
	clear(out)
	course := func(i int) float64 { return math.Atan2(s[i].x[0][1], s[i].x[1][1]) }
	speed := func(i int) float64 { return math.Hypot(s[i].x[0][1], s[i].x[1][1]) }
	lo, hi := 0, 0
	for i := range s {
		for z[i].t-z[lo].t > turnWindow/2 {
			lo++
		}
		for hi+1 < len(s) && z[hi+1].t-z[i].t <= turnWindow/2 {
			hi++
		}
		if v := speed(i); v > slowest {
			out[i].sin, out[i].cos = s[i].x[0][1]/v, s[i].x[1][1]/v
			force := 0.0
			if hi > lo && speed(lo) > slowest && speed(hi) > slowest {
				force = v * math.Abs(turn(course(lo), course(hi))) / (z[hi].t - z[lo].t)
			}
			sd := math.Min(along, math.Max(across, 2*force))
			out[i].across = sd * sd
		} else {
			out[i] = last
		}
		last = out[i]
	}
	return out
}

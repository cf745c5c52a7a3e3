package balance

import "math"

// The nine nodes and weights of Gauss and Hermite for the standard normal
// (Abramowitz and Stegun 1964, table 25.10, nodes times √2, weights over √π).
var (
	nodes   = [9]float64{-4.512745863399783, -3.205429002856470, -2.076847978677830, -1.023255663789133, 0, 1.023255663789133, 2.076847978677830, 3.205429002856470, 4.512745863399783}
	weights = [9]float64{2.234584400774664e-05, 2.789141321231769e-03, 4.991640676521788e-02, 2.440975028949394e-01, 4.063492063492063e-01, 2.440975028949394e-01, 4.991640676521788e-02, 2.789141321231769e-03, 2.234584400774664e-05}
)

// hope gives what the lowest mean on the grid is expected to be after a try
// that moves the mean of place j by move[j] standard normals. Places that are
// not allowed do not count.
func hope(mean, move []float64, allowed []bool) float64 {
	sum := 0.0
	for q, z := range nodes {
		low := math.Inf(1)
		for j, m := range mean {
			if v := m + move[j]*z; v < low && (allowed == nil || allowed[j]) {
				low = v
			}
		}
		sum += weights[q] * low
	}
	return sum
}

// worth gives what a try at place i costs now and what comes after: its own
// mean, and for each try left the lowest mean expected after it (the knowledge
// gradient, Frazier, Powell and Dayanik 2009, INFORMS Journal on Computing
// 21:599-613, with the running cost). v is the variance of what the try will
// tell: of J at i, or, with a now of 0 or more, of what going there from now
// does to it. share is that of the rows which are set to i; the others stay.
func (b *belief) worth(i, now int, share, v, left float64, allowed []bool) float64 {
	move := make([]float64, steps)
	s := b.cov[i][i] + v
	if now >= 0 {
		s += b.cov[now][now] - 2*b.cov[i][now]
	}
	sd := math.Sqrt(s)
	for j := range move {
		move[j] = b.cov[j][i]
		if now >= 0 {
			move[j] -= b.cov[j][now]
		}
		move[j] /= sd
	}
	cost := b.mean[i]
	if now >= 0 {
		cost = share*cost + (1-share)*b.mean[now]
	}
	return cost + left*hope(b.mean, move, allowed)
}

// far is how many places a try may lie from the present one.
var far = int(math.Round(reach * (steps - 1)))

// next gives the place to try from now with a number of tries left after it;
// step asks for one that is not the present one, where any is allowed. A try
// that tells a difference tells what going there does to J, on a share of the
// rows.
func (b *belief) next(now int, difference, step bool, share, v, left float64, allowed []bool) (best int) {
	from := -1
	if difference {
		from = now
	}
	best = now
	low := math.Inf(1)
	for d := range 2*far + 1 {
		i := now + far - d
		if i < 0 || i >= steps || allowed != nil && !allowed[i] || step && i == now {
			continue
		}
		if w := b.worth(i, from, share, v, left, allowed); w < low {
			best, low = i, w
		}
	}
	return best
}

package effect

import (
	"cmp"
	"math"
	"slices"

	"evenstand"
	"evenstand/core/try"
)

// Join puts the effects of the changes of one lever on one measure together. It is
// false when fewer than two of them can be used: one has no error of its own
// beside that of the ground it was made on.
func Join(effects []try.Effect, lever, measure string) (try.Curve, bool) {
	var es []try.Effect
	c := try.Curve{Lever: lever, Measure: measure, Level: math.NaN(), DF: math.NaN()}
	for i := range effects {
		e := &effects[i]
		if e.Change.Lever == lever && e.Measure == measure && e.Known() && e.Change.Number() && e.Change.From != e.Change.To {
			es = append(es, *e)
		}
	}
	if len(es) < 2 {
		return c, false
	}
	slices.SortStableFunc(es, func(a, b try.Effect) int { return cmp.Compare(a.Change.T, b.Change.T) })
	c.Low, c.High = math.Inf(1), math.Inf(-1)
	var settings []float64
	for i := range es {
		for _, v := range [2]float64{es[i].Change.From, es[i].Change.To} {
			c.Low, c.High = min(c.Low, v), max(c.High, v)
		}
	}
	c.Ref, c.Scale, c.Changes = (c.Low+c.High)/2, (c.High-c.Low)/2, len(es)
	for i := range es {
		for _, v := range [2]float64{es[i].Change.From, es[i].Change.To} {
			if !slices.ContainsFunc(settings, func(s float64) bool { return math.Abs(s-v) <= 0.05*c.Scale }) {
				settings = append(settings, v)
			}
		}
	}
	c.Linear = len(settings) < 3 || len(es) < 4
	if !c.Linear && !fit(&c, es, 2) {
		c.Linear = true
	}
	if c.Linear && !fit(&c, es, 1) {
		return c, false
	}
	// The level at Ref, by what each was before.
	sum, n := 0.0, 0.0
	for i := range es {
		e := &es[i]
		if math.IsNaN(e.Before) {
			continue
		}
		m, _ := c.Diff(e.Change.From, c.Ref)
		sum, n = sum+e.Before+m, n+1
	}
	if n > 0 {
		c.Level = sum / n
	}
	return c, true
}

// fit is the random-effects meta-regression: the spread between changes by REML,
// the error by its residuals. Terms is 1 for a line.
func fit(c *try.Curve, es []try.Effect, terms int) bool {
	n := len(es)
	x := make([][2]float64, n)
	y := make([]float64, n)
	own := covariance(es)
	mean := 0.0
	for i := range es {
		a, b := (es[i].Change.From-c.Ref)/c.Scale, (es[i].Change.To-c.Ref)/c.Scale
		x[i] = [2]float64{b - a, b*b - a*a}
		y[i] = es[i].Value
		mean += 1 / (own[i][i] * float64(n))
	}
	mean = 1 / mean
	// The spread is a multiple of the harmonic mean of the changes' own variances: what
	// the sure ones among them say must not drown in what the unsure ones do. Few changes
	// often show none where there is some, and the surest of them would then count
	// for all: a weak prior keeps it off nothing (Chung and others 2013,
	// Psychometrika 78:685-709, whose own is stronger; from memory).
	best, tau2 := math.Inf(-1), 0.0
	try1 := func(t2 float64) {
		if g, ok := gls(x, y, own, t2*mean, terms); ok && g.reml+0.03*math.Log(t2) > best {
			best, tau2 = g.reml+0.03*math.Log(t2), t2
		}
	}
	for k := -12; k <= 40; k++ {
		try1(math.Exp(0.25 * float64(k)))
	}
	for mid, h := tau2, 0.12; h > 0.01; h /= 2 {
		try1(mid * math.Exp(h))
		try1(mid * math.Exp(-h))
		mid = tau2
	}
	g, ok := gls(x, y, own, tau2*mean, terms)
	if !ok {
		return false
	}
	c.Theta, c.Tau = g.theta, math.Sqrt(tau2*mean)
	if n <= terms {
		return false
	}
	c.Cov, c.DF = g.robust(terms)
	return c.Cov[0][0] > 0
}

// robust gives the covariance of the fit by its own residuals and Satterthwaite's
// degrees of freedom (Bell and McCaffrey 2002, Survey Methodology 28:169-181; for
// meta-regression Tipton 2015, Psychological Methods 20:375-393; from memory). A
// change that alone tells a bend has no residual; its own error stands in.
func (g *fitted) robust(terms int) (cov [2][2]float64, df float64) {
	n := len(g.w)
	part := make([][2]float64, n) // each change's part in θ
	left := make([]float64, n)    // what the fit leaves of it
	hat := func(i, j int) (h float64) {
		for a := range terms {
			h += g.w[i][a] * part[j][a]
		}
		return h
	}
	for i := range g.w {
		e := g.w[i][2]
		for a := range terms {
			for b := range terms {
				part[i][a] += g.cov[a][b] * g.w[i][b]
			}
			e -= g.w[i][a] * g.theta[a]
		}
		v := 1.0
		if left[i] = 1 - hat(i, i); left[i] > alone {
			v = e * e / left[i]
		}
		for a := range terms {
			for b := range terms {
				cov[a][b] += part[i][a] * part[i][b] * v
			}
		}
	}
	sum, count := 0.0, 0.0
	for _, x := range [][2]float64{{1, -1}, {1, 1}, {2, 0}} {
		if terms == 1 {
			x[1] = 0
		}
		mean, square := 0.0, 0.0
		at := func(i int) float64 { return x[0]*part[i][0] + x[1]*part[i][1] }
		for i := range n {
			mean += at(i) * at(i)
			for j := range n {
				if left[i] <= alone || left[j] <= alone {
					continue
				}
				m := -hat(i, j)
				if i == j {
					m++
				}
				o := at(i) * at(j) * m / math.Sqrt(left[i]*left[j])
				square += o * o
			}
		}
		sum, count = sum+square/(mean*mean), count+1
	}
	// The harmonic mean of the three falls short, by more the more changes there are
	// (measured: docs/measured.md).
	return cov, (1 + float64(n)/50) * min(float64(10*n), max(1, count/max(1e-9, sum)))
}

// covariance gives the errors of effects. Two that follow one another on the same
// rows share the time between them: what it was too high after one it was too
// high before the next.
func covariance(es []try.Effect) [][]float64 {
	v := make([][]float64, len(es))
	for i := range es {
		v[i] = make([]float64, len(es))
		v[i][i] = es[i].SE * es[i].SE
		if i == 0 {
			continue
		}
		a, b := &es[i-1], &es[i]
		if a.Design != b.Design || a.Design == try.Switchback || !slices.Equal(a.Change.Rows, b.Change.Rows) {
			continue
		}
		// Steps that both looked at, of those between: each took as many as there
		// were up to its side's most.
		between := float64(b.Change.Early-a.Change.Late) / float64(pace15)
		most := float64(side)
		if a.Design == try.AllRows {
			most = near
		}
		if between <= 0 || between >= 2*most {
			continue
		}
		taken := min(most, between)
		share := min(1, (2*taken-between)/taken)
		v[i][i-1] = -0.5 * share * a.SE * b.SE
		v[i-1][i] = v[i][i-1]
	}
	return v
}

const (
	// pace15 is how long a step takes: 15 m at 2.2 m/s (5 mph). Judgement; it only
	// tells how much two changes share.
	pace15 = 6800 * evenstand.Micros(1000)
	// near is how many steps beside a break of all rows tell most of it. Judgement.
	near = 12
)

// alone is the share of itself that a fit must leave of a change for its residual to
// tell. Judgement, measured.
const alone = 0.03

type fitted struct {
	theta     [2]float64
	cov       [2][2]float64
	rss, reml float64
	w         [][3]float64 // whitened u, u² and effect
}

// gls fits y = xθ with the covariance own + t2·I.
func gls(x [][2]float64, y []float64, own [][]float64, t2 float64, terms int) (g fitted, ok bool) {
	n := len(y)
	l := make([][]float64, n)
	logdet := 0.0
	w := make([][3]float64, n) // whitened x and y
	for i := range l {
		l[i] = make([]float64, i+1)
		for j := 0; j <= i; j++ {
			s := own[i][j]
			if i == j {
				s += t2
			}
			for k := range j {
				s -= l[i][k] * l[j][k]
			}
			if i == j {
				if !(s > 0) {
					return g, false
				}
				l[i][i] = math.Sqrt(s)
				logdet += math.Log(s)
			} else {
				l[i][j] = s / l[j][j]
			}
		}
		w[i] = [3]float64{x[i][0], x[i][1], y[i]}
		for c := range w[i] {
			for k := range i {
				w[i][c] -= l[i][k] * w[k][c]
			}
			w[i][c] /= l[i][i]
		}
	}
	var a [2][2]float64
	var b [2]float64
	yy := 0.0
	for i := range w {
		for j := range terms {
			b[j] += w[i][j] * w[i][2]
			for k := range terms {
				a[j][k] += w[i][j] * w[i][k]
			}
		}
		yy += w[i][2] * w[i][2]
	}
	det := a[0][0]
	if terms == 1 {
		if !(det > 0) {
			return g, false
		}
		g.cov[0][0] = 1 / det
	} else {
		det = a[0][0]*a[1][1] - a[0][1]*a[0][1]
		if !(det > 1e-6*a[0][0]*a[1][1]) {
			return g, false
		}
		g.cov = [2][2]float64{{a[1][1] / det, -a[0][1] / det}, {-a[0][1] / det, a[0][0] / det}}
	}
	g.rss = yy
	for j := range terms {
		for k := range terms {
			g.theta[j] += g.cov[j][k] * b[k]
		}
		g.rss -= b[j] * g.theta[j]
	}
	g.rss = max(0, g.rss)
	g.w = w
	g.reml = -0.5 * (logdet + math.Log(det) + g.rss)
	return g, true
}

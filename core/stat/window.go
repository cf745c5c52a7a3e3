package stat

import "math"

// maxLag is the longest window that Window tells, in steps.
const maxLag = 30

// A Window tells over how many values a box averages what it logs, from the
// values themselves. A moving mean of w values changes by the value that comes
// in less the one that leaves, so the steps of the mean are alike, with the
// other sign, w values apart and nowhere else: their autocorrelation is -1/2
// at lag w (Box and Jenkins, Time Series Analysis, on differences of a moving
// sum; w = 1 is no averaging). Slow changes of what is measured hardly matter,
// since they are small from one value to the next.
//
// Exponential smoothing leaves -a/2 at lag 1 and that times (1-a) for each lag
// more, and so does anything that changes slowly by itself (both are
// autoregressions), so steps alone do not tell it. But a smoothed share falls by
// a of itself whenever nothing is missed, and never by more; what changes by
// itself has no such edge. Where a share is hardly ever nothing, smoothing is
// not told.
//
// The zero value is ready; series are pooled.
type Window struct {
	sum   [maxLag + 1]float64
	n     [maxLag + 1]int64
	falls [fallBins]int64 // steps down, by what part of the value before they are
	still int64           // values like the one before, but for nothing
	four  float64         // sum of the fourth powers of steps
}

// fallBins part the falls; the last is of those to nothing and below.
const fallBins = 51

// Series is one part's values on their way into a Window.
type Series struct {
	last  float64
	has   bool
	scale float64             // of steps that are not zero
	steps [maxLag + 1]float64 // ring of the last differences
	at, n int
}

// Break says that the next value does not follow the one before.
func (s *Series) Break() { *s = Series{scale: s.scale} }

// clip keeps a step to twice the usual size: a row that stops makes as many
// large steps of one sign as its window is long, and would hide the rest.
func (s *Series) clip(d float64) float64 {
	a := math.Abs(d)
	switch {
	case a == 0:
		return 0
	case s.scale == 0:
		s.scale = a
	default:
		s.scale += 0.05 * (math.Min(a, 3*s.scale) - s.scale)
	}
	return math.Max(-2*s.scale, math.Min(2*s.scale, d))
}

// Add takes the next value of a series.
func (w *Window) Add(s *Series, v float64) {
	if !s.has {
		s.last, s.has = v, true
		return
	}
	d := v - s.last
	switch {
	case d < 0:
		k := fallBins - 1
		if -d < s.last {
			k = int(-d / s.last * (fallBins - 1))
		}
		w.falls[k]++
	case d == 0 && v != 0:
		w.still++
	}
	d = s.clip(d)
	w.four += d * d * d * d
	s.last = v
	s.steps[s.at] = d
	s.n = min(s.n+1, len(s.steps))
	for k, i := 0, s.at; k < s.n; k++ {
		w.sum[k] += d * s.steps[i]
		w.n[k]++
		if i--; i < 0 {
			i = len(s.steps) - 1
		}
	}
	s.at = (s.at + 1) % len(s.steps)
}

// Limits of telling a window; judgement. The standard error of an
// autocorrelation is 1/sqrt(weight), 0.063 at the most: what is deep enough lies at
// 4.7 of them, at the best of 30 lags.
const (
	leastSteps  = 500 // at a lag, half as many at least
	leastWeight = 250
	deepEnough  = -0.3
	noWindow    = 0.15
	leastSmooth = 1000 // weight to tell smoothing
	astray      = 4.0  // standard errors that smoothing may lie off what it should be
	bent        = 0.06 // and slow changes beside
	atEdge      = 0.5  // of the falls at the edge
	beyondEdge  = 0.03 // and beyond it
	stillMost   = 0.1  // of values like the one before, beyond which all falls are of a few kinds
)

// Steps gives the window in values: 1 when the box does not average, NaN when
// the values do not tell. For exponential smoothing it is the moving mean of
// the same variance, (2-a)/a, to a factor of two.
func (w *Window) Steps() float64 {
	n := w.weight()
	if !(n >= leastWeight) {
		return math.NaN()
	}
	r := func(k int) float64 {
		if w.n[k] == 0 {
			return 0
		}
		return w.sum[k] / float64(w.n[k]) / (w.sum[0] / float64(w.n[0]))
	}
	best, at := 0.0, 0
	others := 0.0
	for k := 1; k <= maxLag && w.n[k] >= leastSteps/2; k++ {
		if v := r(k); v < best {
			best, at = v, k
		}
	}
	for k := 1; k <= maxLag && w.n[k] >= leastSteps/2; k++ {
		if k != at {
			others = math.Max(others, math.Abs(r(k)))
		}
	}
	if best <= deepEnough && others <= noWindow {
		return float64(at)
	}
	if a := w.edge(); a > 0.08 && a < 0.9 && n >= leastSmooth {
		within := bent + astray/math.Sqrt(n)
		if math.Abs(r(1)+a/2) < within && math.Abs(r(2)+a/2*(1-a)) < within {
			return (2 - a) / a
		}
	}
	return math.NaN()
}

// weight is how many steps of one size tell as much as those that are there,
// of which some may be far larger than most. NaN when there are none.
func (w *Window) weight() float64 { return w.sum[0] * w.sum[0] / w.four }

// edge gives the part of itself by which a series falls most and beyond which
// it hardly falls; NaN when there is none.
func (w *Window) edge() float64 {
	all, at := int64(0), 0
	for k, f := range w.falls {
		if all += f; f > w.falls[at] {
			at = k
		}
	}
	a := (float64(at) + 0.5) / (fallBins - 1)
	near, beyond := int64(0), int64(0)
	for k, f := range w.falls {
		switch {
		case k > at+max(1, at/5):
			beyond += f
		case k >= at-max(1, at/5):
			near += f
		}
	}
	if n := float64(all); float64(near) >= atEdge*n && float64(beyond) <= beyondEdge*n && float64(w.still) <= stillMost*float64(w.n[0]) {
		return a
	}
	return math.NaN()
}

package stat

import "math"

// maxLag is the longest window that Window tells, in steps.
const maxLag = 30

// A Window tells over how many values a box averages what it logs, from the
// values themselves. A moving mean of w values changes by the value that comes
// in less the one that leaves, so the steps of the mean are alike, with the
// other sign, w values apart and nowhere else: their autocorrelation is -1/2
// at lag w (Box and Jenkins, Time Series Analysis, on differences of a moving
// sum; w = 1 is no averaging). Exponential smoothing leaves -a/2 at lag 1 and
// that times (1-a) for each lag more. Slow changes of what is measured hardly
// matter, since they are small from one value to the next. The zero value is
// ready; series are pooled.
type Window struct {
	sum [maxLag + 1]float64
	n   [maxLag + 1]int64
}

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
	d := s.clip(v - s.last)
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

// Limits of telling a window, in autocorrelation; judgement, set so that 500
// differences of noise never pass by chance (their standard error is 0.045).
const (
	leastSteps = 500
	deepEnough = -0.3
	noWindow   = 0.15
)

// Steps gives the window in values: 1 when the box does not average, NaN when
// the values do not tell. For exponential smoothing it is the moving mean of
// the same variance, (2-a)/a, to a factor of two.
func (w *Window) Steps() float64 {
	if w.n[0] < leastSteps || !(w.sum[0] > 0) {
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
	if a := -2 * r(1); a > 0.08 && a < 0.9 {
		// exponential smoothing, when the second lag is as it should be
		if want := r(1) * (1 - a); math.Abs(r(2)-want) < 0.06 && r(2) < 0 {
			return (2 - a) / a
		}
	}
	return math.NaN()
}

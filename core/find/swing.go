package find

import (
	"math"

	"evenstand"
	"evenstand/core/stat"
)

// What swings by itself: row force, and the flow of liquid. Windows of an even
// row of values are held against noise (stat.Swings); a swing is one that stands
// in three windows of four (methods, f). One that is over ends with the last
// window that had it.
const (
	swingSure  = 1e-5 // chance of noise in one window
	swingHits  = 3    // of the last
	swingOf    = 4
	swingOver  = 3 // windows without it after which it is over
	swingAgain = 15 * 60 * evenstand.Second
	swingAlike = 0.25 // by which paces of one row may differ, relative,
	swingOne   = 0.08 // and those of rows that are moved by one thing
	swingJoins = 6 * 60 * evenstand.Second
)

// swingWindow is what a window said.
type swingWindow struct {
	from, to evenstand.Micros
	hit      bool
	hz, size float64
	gain     float64 // of what answers to it; NaN not known
}

// swingRun is the windows of late of one series.
type swingRun struct {
	late   [swingOf]swingWindow
	k      int
	missed int // windows since the last hit
	cse    *caseFile
	ended  *caseFile
}

func (r *swingRun) add(w swingWindow) {
	r.late[r.k%swingOf] = w
	r.k++
	r.missed++
	if w.hit {
		r.missed = 0
	}
}

// hits are the windows of late that have it, oldest first, of one pace.
func (r *swingRun) hits() (out []swingWindow) {
	var pace []float64
	for j := max(0, r.k-swingOf); j < r.k; j++ {
		if w := r.late[j%swingOf]; w.hit {
			pace = append(pace, w.hz)
		}
	}
	mid := stat.Median(pace)
	for j := max(0, r.k-swingOf); j < r.k; j++ {
		if w := r.late[j%swingOf]; w.hit && math.Abs(w.hz-mid) <= swingAlike*mid {
			out = append(out, w)
		}
	}
	return out
}

// last is the end of the last window that had it.
func (r *swingRun) last() evenstand.Micros {
	for j := r.k - 1; j >= max(0, r.k-swingOf); j-- {
		if w := r.late[j%swingOf]; w.hit {
			return w.to
		}
	}
	return evenstand.NoTime
}

// swingCase is what a finding about a swing rests on.
type swingCase struct {
	hz, size, gain, step stat2
	windows              float64
	rows, measured       float64
	pace                 regression // log of the pace on that of the speed
	speed                stat2
	mean                 stat2 // of the rate over its target
	told                 bool  // what answers to it is logged
}

func (c *swingCase) add(w swingWindow, step float64) {
	c.hz.add(w.hz)
	c.size.add(w.size)
	c.step.add(step)
	c.windows++
	if !math.IsNaN(w.gain) {
		c.gain.add(w.gain)
	}
}

// join takes in another that is the same trouble.
func (c *swingCase) join(o *swingCase) {
	for _, x := range []struct{ to, from *stat2 }{{&c.hz, &o.hz}, {&c.size, &o.size}, {&c.gain, &o.gain}, {&c.step, &o.step}} {
		x.to.sum += x.from.sum
		x.to.n += x.from.n
	}
	c.windows += o.windows
	c.told = c.told || o.told
}

// regression is the sums of a straight line.
type regression struct{ n, x, y, xx, xy, yy float64 }

func (r *regression) add(x, y float64) {
	r.n++
	r.x += x
	r.y += y
	r.xx += x * x
	r.xy += x * y
	r.yy += y * y
}

// at gives the line's height.
func (r *regression) at(x float64) float64 {
	if r.n == 0 {
		return nan
	}
	if xx := r.xx - r.x*r.x/r.n; xx > 1e-9 {
		return r.y/r.n + (r.xy-r.x*r.y/r.n)/xx*(x-r.x/r.n)
	}
	return r.y / r.n
}

// slope gives the slope and its standard error, with least the smallest error
// of a value, wider where they are few; NaN for fewer than six.
func (r *regression) slope(least float64) (slope, se float64) {
	if r.n < 6 {
		return nan, nan
	}
	xx, xy, yy := r.xx-r.x*r.x/r.n, r.xy-r.x*r.y/r.n, r.yy-r.y*r.y/r.n
	if !(xx > 1e-9) {
		return nan, nan
	}
	slope = xy / xx
	left := math.Max(0, yy-slope*xy) / (r.n - 2)
	return slope, math.Sqrt(math.Max(left, least*least) / xx * (r.n - 2) / (r.n - 4))
}

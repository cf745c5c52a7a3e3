package clock

import (
	"cmp"
	"math"
	"slices"

	"evenstand"
)

// The smoother of the methods document, section k.
const (
	kernel = 1.5                   // s, standard deviation of the Gaussian kernel
	step   = evenstand.Second / 4  // of the grid
	dt     = 0.25                  // the same in s
	near   = 4.5                   // kernels beyond which a value weighs nothing (4e-5)
	spread = 3.5 * kernel / dt     // values of the smoothed series that count as one
	edge   = int(2 * kernel / dt)  // values next to a hole that are not compared
	hole   = 3.0                   // s without a value that the smoother does not reach over
	seldom = 2.5                   // s between values, beyond which a series is too slow to tell a clock
	held   = 10 * evenstand.Second // the same value for longer is a logger that repeats itself (judged)
)

// Series is what one box logged of something that follows the ground speed, by
// the box's own clock.
type Series struct {
	T []evenstand.Micros
	V []float64
}

// NewSeries is a series with room for n values.
func NewSeries(n int) Series {
	return Series{make([]evenstand.Micros, 0, n), make([]float64, 0, n)}
}

// Add takes in a value. Values may come in any order.
func (s *Series) Add(t evenstand.Micros, v float64) {
	s.T, s.V = append(s.T, t), append(s.V, v)
}

// Clean gives the series in order of time, each time once, without what is not
// a number and without repeats of a held value: a logger that writes its last
// value more often than the sensor gives one, or on and on when the sensor is
// silent, tells nothing of the time in between. Zero is a machine that stands,
// and stays.
func (s Series) Clean() Series {
	order := make([]int, 0, len(s.T))
	for i, v := range s.V {
		if !math.IsNaN(v) && !math.IsInf(v, 0) {
			order = append(order, i)
		}
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(s.T[a], s.T[b]) })
	out := NewSeries(len(order))
	for _, i := range order {
		if n := len(out.T); n > 0 && out.T[n-1] == s.T[i] {
			continue
		}
		out.Add(s.T[i], s.V[i])
	}
	return out.unheld()
}

// unheld drops the repeats of held values.
func (s Series) unheld() Series {
	var runs []int
	for i := 0; i < len(s.V); {
		j := i + 1
		for j < len(s.V) && s.V[j] == s.V[i] {
			j++
		}
		if s.V[i] != 0 {
			runs = append(runs, j-i)
		}
		i = j
	}
	if len(runs) == 0 {
		return s
	}
	slices.Sort(runs)
	// Three in a row and more nearly always, at more than one a second, is a
	// sensor that is slower than its logger. A speed written in coarse steps
	// stays the same for a while too, but not always.
	turn := 1
	if r := runs[len(runs)/10]; r >= 3 && s.Every() < 0.6 {
		turn = r
	}
	out := NewSeries(len(s.T))
	for i := 0; i < len(s.V); {
		j := i + 1
		for j < len(s.V) && s.V[j] == s.V[i] {
			j++
		}
		switch {
		case s.V[i] == 0:
			out.T, out.V = append(out.T, s.T[i:j]...), append(out.V, s.V[i:j]...)
		case s.T[j-1]-s.T[i] > held:
			out.Add(s.T[i], s.V[i])
		default:
			for k := i; k < j; k += turn {
				out.Add(s.T[k], s.V[k])
			}
		}
		i = j
	}
	return out
}

// Every gives the median time between values in s, infinite for fewer than
// three. The series must be in order.
func (s Series) Every() float64 {
	if len(s.T) < 3 {
		return math.Inf(1)
	}
	d := make([]evenstand.Micros, 0, 2001)
	for i := 1; i < len(s.T); i += 1 + len(s.T)/2000 {
		d = append(d, s.T[i]-s.T[i-1])
	}
	slices.Sort(d)
	return d[len(d)/2].Seconds()
}

// grid is a smoothed series at even steps: entry i is that of (first+i)·step.
type grid struct {
	first int64
	v     []float64 // NaN in holes and next to them
	every float64   // s between the values that it was made of
}

// smooth puts a clean series on the grid. nil when it is too short or slow.
func smooth(s Series) *grid {
	every := s.Every()
	if len(s.T) < 60 || every > seldom {
		return nil
	}
	g := &grid{first: ceil(s.T[0]), every: every}
	n := floor(s.T[len(s.T)-1]) - g.first + 1
	if n < 1 || n > 4*3600*40 {
		return nil
	}
	g.v = make([]float64, n)
	t := make([]float64, len(s.T))
	origin := evenstand.Micros(g.first) * step
	for i, x := range s.T {
		t[i] = (x - origin).Seconds()
	}
	far := math.Max(hole, 2.5*every)
	g.fit(t, s.V)
	next := 0
	for i := range g.v {
		x := float64(i) * dt
		for next < len(t) && t[next] < x {
			next++
		}
		if next == len(t) || t[next] != x && (next == 0 || t[next]-t[next-1] > far) {
			g.v[i] = math.NaN()
		}
	}
	g.erode(edge)
	return g
}

// fit gives each place of the grid the value there of the line through what is
// near, weighted by a Gaussian: a smoother that neither shifts a series nor bends
// it at its ends. NaN where fewer than two values are near. Each value is given
// to the places around it in turn: from one to the next its weight changes by a
// factor that itself changes by a constant one, so that a value costs two
// exponentials in all. t must rise.
func (g *grid) fit(t, v []float64) {
	const (
		most = int(2*near*kernel/dt) + 2 // places that a value reaches
		size = 64                        // of a ring of sums, a power of two
		mask = size - 1
	)
	var _ [size - most]struct{}
	var ring [size]lineSums
	c := -0.5 / (kernel * kernel)
	again := math.Exp(2 * c * dt * dt)
	done := 0
	for k, x := range t {
		from, to := int(math.Ceil((x-near*kernel)/dt)), int(math.Floor((x+near*kernel)/dt))
		from, to = max(from, 0), min(to, len(g.v)-1)
		for ; done < min(from, len(g.v)); done++ { // no value to come reaches it
			g.v[done] = ring[done&mask].value()
			ring[done&mask] = lineSums{}
		}
		d := x - float64(from)*dt
		w, f := math.Exp(c*d*d), math.Exp(c*dt*(dt-2*d))
		for i := from; i <= to; i++ {
			s := &ring[i&mask]
			wd := w * d
			s.w += w
			s.wx += wd
			s.wxx += wd * d
			s.wy += w * v[k]
			s.wxy += wd * v[k]
			w *= f
			f *= again
			d -= dt
		}
	}
	for ; done < len(g.v); done++ {
		g.v[done] = ring[done&mask].value()
		ring[done&mask] = lineSums{}
	}
}

// lineSums are the sums that a line through weighted values is made of, x
// counted from where its value is wanted.
type lineSums struct{ w, wx, wxx, wy, wxy float64 }

func (s *lineSums) value() float64 {
	value, _ := s.line()
	return value
}

// line gives value and slope, NaN where fewer than two values weigh.
func (s *lineSums) line() (value, slope float64) {
	det := s.w*s.wxx - s.wx*s.wx
	if !(det > 1e-12*s.w*s.w) {
		return math.NaN(), math.NaN()
	}
	return (s.wxx*s.wy - s.wx*s.wxy) / det, (s.w*s.wxy - s.wx*s.wy) / det
}

// erode takes out the values next to a hole and at the ends.
func (g *grid) erode(n int) {
	bad := -1
	out := make([]bool, len(g.v))
	for i := range g.v {
		if math.IsNaN(g.v[i]) {
			bad = i
		}
		out[i] = i-bad <= n
	}
	bad = len(g.v)
	for i := len(g.v) - 1; i >= 0; i-- {
		if math.IsNaN(g.v[i]) {
			bad = i
		}
		if bad-i <= n || out[i] {
			out[i] = true
		}
	}
	for i := range out {
		if out[i] {
			g.v[i] = math.NaN()
		}
	}
}

func ceil(t evenstand.Micros) int64  { return -floor(-t) }
func floor(t evenstand.Micros) int64 { return int64(math.Floor(float64(t) / float64(step))) }

// highPassed is the grid less its mean over a minute, every few steps, with
// zeros and a mask in place of what is not known.
type highPassed struct {
	first int64 // in units of the stride
	v, m  []float64
}

// highPass thins the grid to every so many steps after taking the mean of the
// minute around it away, so that hours and hills do not match.
func (g *grid) highPass(every int) highPassed { return g.sums().highPass(0, every) }

// sums are those of a grid up to each entry, and how many there are.
type sums struct {
	*grid
	sum []float64
	num []int32
}

func (g *grid) sums() sums {
	s := sums{g, make([]float64, len(g.v)+1), make([]int32, len(g.v)+1)}
	for i, v := range g.v {
		s.sum[i+1], s.num[i+1] = s.sum[i], s.num[i]
		if !math.IsNaN(v) {
			s.sum[i+1] += v
			s.num[i+1]++
		}
	}
	return s
}

// highPass is that of the grid when it is taken to be late by so many steps.
func (s sums) highPass(late int64, every int) highPassed {
	const half = 120
	first := s.first + late
	h := highPassed{first: -floorDiv(-first, int64(every))}
	n := len(s.v)/every + 1
	h.v, h.m = make([]float64, 0, n), make([]float64, 0, n)
	for k := h.first*int64(every) - first; k < int64(len(s.v)); k += int64(every) {
		i := int(k)
		v, m := s.v[i], 1.0
		if math.IsNaN(v) {
			v, m = 0, 0
		} else {
			a, b := max(0, i-half), min(len(s.v), i+half+1)
			v -= (s.sum[b] - s.sum[a]) / float64(s.num[b]-s.num[a])
		}
		h.v, h.m = append(h.v, v), append(h.m, m)
	}
	return h
}

func floorDiv(a, b int64) int64 {
	q := a / b
	if a%b != 0 && (a < 0) != (b < 0) {
		q--
	}
	return q
}

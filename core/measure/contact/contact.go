package contact

import (
	"math"

	"evenstand/core/stat"
)

// Least is the load in N at and below which a wheel is taken to be off the
// ground: 20 lb (R8, judgement).
const Least = 90.0

// Share is the share of n readings of which y were off the ground, with its
// interval of a level such as 0.9: Wilson's, with as many readings as there
// would be without the correlation rho of neighbouring ones.
func Share(y, n, rho, level float64) (share, low, high float64) {
	if !(n > 0) {
		return math.NaN(), 0, 1
	}
	e := Effective(n, rho)
	low, high = stat.Wilson(y/n*e, e, level)
	return y / n, low, high
}

// Effective is the number of independent readings that n of correlation rho
// are worth; a negative correlation adds none.
func Effective(n, rho float64) float64 {
	rho = math.Max(0, math.Min(0.99, rho))
	return n * (1 - rho) / (1 + rho)
}

// Bins of a histogram of loads: 25 N wide, from no load on. The last holds all
// above it.
const (
	binWidth = 25.0
	bins     = 160
)

// Loads is a histogram of loads in N.
type Loads struct {
	n     [bins]float32
	N     float64
	under float64 // N by which the first bin lies under nothing
}

// Add takes in one load.
func (h *Loads) Add(load float64) {
	i := int(math.Max(0, load) / binWidth)
	h.n[min(i, bins-1)]++
	h.N++
}

// Merge adds another histogram.
func (h *Loads) Merge(o *Loads) {
	for i := range h.n {
		h.n[i] += o.n[i]
	}
	h.N += o.N
}

// Quantile gives the load below which a share p of the readings lie, evenly
// spread within a bin; NaN without any.
func (h *Loads) Quantile(p float64) float64 {
	if h.N == 0 {
		return math.NaN()
	}
	left := p * h.N
	for i, c := range h.n {
		if left <= float64(c) && c > 0 {
			return (float64(i)+left/float64(c))*binWidth - h.under
		}
		left -= float64(c)
	}
	return bins*binWidth - h.under
}

// Mean is the mean load; NaN without any.
func (h *Loads) Mean() float64 {
	s := 0.0
	for i, c := range h.n {
		s += float64(c) * (float64(i) + 0.5) * binWidth
	}
	return s/h.N - h.under
}

// SD is the scatter of the loads.
func (h *Loads) SD() float64 {
	m, s := h.Mean(), 0.0
	for i, c := range h.n {
		d := (float64(i)+0.5)*binWidth - h.under - m
		s += float64(c) * d * d
	}
	return math.Sqrt(s / math.Max(1, h.N-1))
}

// Whole gives loads with their lower tail: a cell that shows no less than
// nothing does not tell how far a wheel hangs above the ground. Where more than
// one reading in two hundred stands at nothing the loads are those of the shape
// (loads of sound ground, from any zero on) moved to the same upper part, which
// was measured. The result may hold loads under nothing.
func (h *Loads) Whole(shape *Loads) *Loads {
	if float64(h.n[0]) <= 0.005*h.N || shape.N == 0 {
		return h
	}
	const upper = 0.7 // a share of readings that is not cut off unless most are
	shift := h.Quantile(upper) - shape.Quantile(upper) - h.under
	w := &Loads{under: 2000}
	for i, c := range shape.n {
		if c == 0 {
			continue
		}
		at := (float64(i)+0.5)*binWidth + shift + w.under
		w.n[min(max(int(at/binWidth), 0), bins-1)] += c / float32(shape.N) * float32(h.N)
	}
	w.N = h.N
	return w
}

// below gives the share of readings under a load and over gives the mean excess
// over one, by the estimator that suits their effective number: normal below
// 100, the readings themselves above 400, and the mean of both between
// (methods, f, by measured regret).
func (h *Loads) below(load, rho float64) float64 {
	return h.blend(rho, func() float64 {
		return stat.NormalCDF((load - h.Mean()) / h.SD())
	}, func() float64 {
		s := 0.0
		for i, c := range h.n {
			part := math.Max(0, math.Min(1, (load+h.under)/binWidth-float64(i)))
			s += part * float64(c)
		}
		return s / h.N
	})
}

func (h *Loads) over(load, rho float64) float64 {
	return h.blend(rho, func() float64 {
		sd := h.SD()
		z := (h.Mean() - load) / sd
		return sd * (math.Exp(-z*z/2)/math.Sqrt(2*math.Pi) + z*stat.NormalCDF(z))
	}, func() float64 {
		s := 0.0
		for i, c := range h.n {
			s += float64(c) * math.Max(0, (float64(i)+0.5)*binWidth-h.under-load)
		}
		return s / h.N
	})
}

func (h *Loads) blend(rho float64, normal, own func() float64) float64 {
	switch n := Effective(h.N, rho); {
	case h.N == 0:
		return math.NaN()
	case n < 100:
		return normal()
	case n <= 400:
		return (normal() + own()) / 2
	}
	return own()
}

// Cost is one draw of what the relations say: what is lost where wheels are off
// the ground and where they press too hard.
type Cost struct {
	Off   float64 // % of yield lost where a wheel is off the ground
	Heavy float64 // % of yield for each N beyond Most
	Least float64 // N below which a wheel is off
	Most  float64 // N beyond which it presses too hard
}

// At is what is lost in % of yield when the force is changed by delta N, load
// moving with it one to one.
func (c Cost) At(h *Loads, delta, rho float64) float64 {
	return c.Off*h.below(c.Least-delta, rho) + c.Heavy*h.over(c.Most-delta, rho)
}

// Flat is how much more than the least a change of force may cost in % of yield
// and still be as good: $0.25 an acre at 190 bu and $4.50 (methods, f).
const Flat = 100 * 0.25 / (190 * 4.50)

// Change gives the change of force in N that costs least on the mean of the
// draws, and the range of changes that are as good. It looks as far as 900 N
// either way, in steps of 15 N. NaN without loads or draws.
func Change(h *Loads, costs []Cost, rho float64) (best, low, high float64) {
	const step, far = 15.0, 900.0
	if h.N == 0 || len(costs) == 0 {
		return math.NaN(), math.NaN(), math.NaN()
	}
	n := int(2*far/step) + 1
	j := make([]float64, n)
	least := 0
	for i := range j {
		d := -far + float64(i)*step
		for _, c := range costs {
			j[i] += c.At(h, d, rho) / float64(len(costs))
		}
		if j[i] < j[least] {
			least = i
		}
	}
	at := func(i int) float64 { return -far + float64(i)*step }
	a, b := least, least
	for a > 0 && j[a-1] <= j[least]+Flat {
		a--
	}
	for b < n-1 && j[b+1] <= j[least]+Flat {
		b++
	}
	return at(least), at(a), at(b)
}

package stat

import "math"

// Upward and Downward are the ratios to the base rate that the mixture
// e-detector looks for (methods document, section d).
var (
	Upward   = []float64{1.5, 2, 4, 8}
	Downward = []float64{1 / 1.5, 1.0 / 2, 1.0 / 4}
)

// onsetMemory is the number of batches kept for the onset.
const onsetMemory = 400

// EDetector is the mixture e-detector in Shiryaev-Roberts form on batches of
// places: it watches a rate that has a known base, which may change from batch
// to batch, for a lasting shift by any of several ratios (Shin, Ramdas and
// Rinaldo 2022, E-detectors; methods document, section d). One detector costs
// 0.6 µs a batch and 13 kB.
type EDetector struct {
	Phi float64 // over-dispersion by which evidence is divided; below 1 counts as 1

	r    []float64
	w    []ShiryaevRoberts
	ring []float64 // the ratios' llr by batch, len(r) a batch
	n    int       // batches added since the last Reset
}

// NewEDetector makes a detector for ratios r, such as Upward.
func NewEDetector(r []float64, phi float64) *EDetector {
	return &EDetector{Phi: phi, r: r, w: make([]ShiryaevRoberts, len(r)), ring: make([]float64, onsetMemory*len(r))}
}

// Add takes in y misses in b places where the healthy rate is p, and gives S,
// the log of the mixture; alarm at S ≥ h. A batch without places or without a
// base changes nothing.
func (d *EDetector) Add(y, b, p float64) float64 {
	if !(b > 0) || !(p > 0 && p < 1) || !(y >= 0) {
		return d.S()
	}
	y = math.Min(y, b)
	phi := math.Max(1, d.Phi)
	at := d.n % onsetMemory * len(d.r)
	for i, r := range d.r {
		q := r * p
		// A rate of one or more is no rate; such a ratio says no more than 0.95.
		if q > 0.95 {
			q = math.Max(p, 0.95)
		}
		ll := BatchLLR(y, b, p, q, phi)
		d.ring[at+i] = ll
		d.w[i].Add(ll)
	}
	d.n++
	return d.S()
}

// S gives the log of the mixture, −Inf before the first batch.
func (d *EDetector) S() float64 {
	if d.n == 0 {
		return math.Inf(-1)
	}
	m := math.Inf(-1)
	for i := range d.w {
		m = math.Max(m, d.w[i].W)
	}
	s := 0.0
	for i := range d.w {
		s += math.Exp(d.w[i].W - m)
	}
	return m + math.Log(s) - math.Log(float64(len(d.w)))
}

// Batches gives the number of batches taken in since the last Reset.
func (d *EDetector) Batches() int { return d.n }

// Reset forgets everything but the ratios.
func (d *EDetector) Reset() {
	clear(d.w)
	d.n = 0
}

// OnsetWeights gives the posterior of the batch with which the shift began,
// oldest first, over the batches remembered (at most 400); nil for none.
func (d *EDetector) OnsetWeights() []float64 {
	k := min(d.n, onsetMemory)
	if k == 0 {
		return nil
	}
	out := make([]float64, k)
	sums := make([]float64, len(d.r))
	for back := range k {
		at := (d.n - 1 - back) % onsetMemory * len(d.r)
		for i := range sums {
			sums[i] += d.ring[at+i]
		}
		out[k-1-back] = LogSumExp(sums...)
	}
	all := LogSumExp(out...)
	for i := range out {
		out[i] = math.Exp(out[i] - all)
	}
	return out
}

// Onset gives the batch with which the shift began, counted back from the last
// one taken in (0 is the last): the median, and the 5 and 95 % points of its
// posterior, early being the further back. All are -1 before the first batch.
func (d *EDetector) Onset() (median, early, late int) {
	w := d.OnsetWeights()
	if w == nil {
		return -1, -1, -1
	}
	at := func(p float64) int {
		c := 0.0
		for i, v := range w {
			if c += v; c >= p {
				return len(w) - 1 - i
			}
		}
		return 0
	}
	return at(0.5), at(0.05), at(0.95)
}

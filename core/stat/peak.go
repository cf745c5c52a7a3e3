package stat

import (
	"math"
	"math/bits"
	"slices"
)

// Swing is the strongest swing of a series within a band.
type Swing struct {
	Hz   float64
	Size float64 // half of what it swings from end to end
	P    float64 // chance that noise has such a peak anywhere in the band

	bin  int
	spec []complex128
}

// Sides of a peak: so many frequencies next to it are its own, and so many
// beyond tell what the noise is like there.
const (
	peakOwn  = 3
	peakSide = 24
	sideMin  = 8
	// A side counts where it lies so many times above the autoregression: the
	// middle of two dozen frequencies is off by a third either way by chance.
	sideDoubt = 1.5
)

// Swings looks for a swing in values that come every step seconds, between two
// frequencies. The number of values is a power of two. The spectrum (detrended,
// Hann) is held against that of an autoregression of the same correlation
// (methods f; Vaughan 2005, A&A 431), and against what lies beside the peak on
// either hand, since what follows the ground falls off faster than an
// autoregression does. P counts the frequencies of the band as two thirds of
// their number. Too few values, or none that change, give P 1.
func Swings(x []float64, step, low, high float64) Swing {
	n := len(x)
	s := Swing{P: 1}
	if n < 32 || n&(n-1) != 0 || !(step > 0) {
		return s
	}
	y := detrended(x)
	var all, lag float64
	for i, v := range y {
		all += v * v
		if i > 0 {
			lag += v * y[i-1]
		}
	}
	if all <= 0 || math.IsNaN(all) {
		return s
	}
	rho := math.Max(0, math.Min(0.999, lag/all))
	s.spec = transform(y)
	first := max(1, int(math.Ceil(low*step*float64(n))))
	last := min(n/2-1, int(high*step*float64(n)))
	if last-first < sideMin {
		return s
	}
	power := make([]float64, n/2)
	for k := 1; k < n/2; k++ {
		power[k] = real(s.spec[k])*real(s.spec[k]) + imag(s.spec[k])*imag(s.spec[k])
	}
	shape := func(k int) float64 {
		return 1 / (1 - 2*rho*math.Cos(2*math.Pi*float64(k)/float64(n)) + rho*rho)
	}
	ratio := make([]float64, 0, last-first+1)
	for k := first; k <= last; k++ {
		ratio = append(ratio, power[k]/shape(k))
	}
	scale := Median(ratio) / math.Ln2
	best := 0.0
	for k := first; k <= last; k++ {
		if k > 1 && power[k] < power[k-1] || k < n/2-1 && power[k] < power[k+1] {
			continue
		}
		noise := scale * shape(k)
		if m, ok := side(power, k-peakOwn-peakSide, k-peakOwn); ok {
			noise = math.Max(noise, m)
		}
		if m, ok := side(power, k+peakOwn+1, k+peakOwn+1+peakSide); ok {
			noise = math.Max(noise, m)
		}
		if g := power[k] / noise; g > best {
			best, s.bin = g, k
		}
	}
	if best == 0 {
		return s
	}
	m := float64(last-first+1) / 1.5
	s.P = -math.Expm1(m * math.Log1p(-math.Exp(-best)))
	var sum, mean float64
	for k := max(1, s.bin-peakOwn); k <= min(n/2-1, s.bin+peakOwn); k++ {
		sum += power[k]
		mean += power[k] * float64(k)
	}
	s.Hz = mean / sum / (step * float64(n))
	s.Size = math.Sqrt(4 * sum / (float64(n) * 3 * float64(n) / 8)) // the squares of a Hann window sum to 3n/8
	return s
}

// Gain tells what part of the swing another series makes beside it, at the same
// times: 1 swings alike and as much, -1 the other way, the imaginary part of it
// late or early by a quarter.
func (s Swing) Gain(y []float64) complex128 {
	if len(y) != len(s.spec) || s.bin == 0 {
		return complex(math.NaN(), 0)
	}
	spec := transform(detrended(y))
	var cross complex128
	own := 0.0
	for k := max(1, s.bin-peakOwn); k <= min(len(y)/2-1, s.bin+peakOwn); k++ {
		x := s.spec[k]
		cross += spec[k] * complex(real(x), -imag(x))
		own += real(x)*real(x) + imag(x)*imag(x)
	}
	return cross / complex(own, 0)
}

// side is the power of noise, at the least, by the median of some frequencies.
func side(power []float64, from, to int) (float64, bool) {
	from, to = max(1, from), min(len(power), to)
	if to-from < sideMin {
		return 0, false
	}
	return Median(slices.Clone(power[from:to])) / math.Ln2 / sideDoubt, true
}

func detrended(x []float64) []float64 {
	n := float64(len(x))
	var mean, slope, square float64
	for i, v := range x {
		at := float64(i) - (n-1)/2
		mean += v / n
		slope += at * v
		square += at * at
	}
	slope /= square
	out := make([]float64, len(x))
	for i, v := range x {
		out[i] = v - mean - slope*(float64(i)-(n-1)/2)
	}
	return out
}

// transform gives the Fourier transform of values under a Hann window; their
// number is a power of two (Cooley and Tukey 1965).
func transform(x []float64) []complex128 {
	n := len(x)
	out := make([]complex128, n)
	shift := 64 - bits.TrailingZeros(uint(n))
	for i, v := range x {
		w := 0.5 - 0.5*math.Cos(2*math.Pi*(float64(i)+0.5)/float64(n))
		out[bits.Reverse64(uint64(i))>>shift] = complex(v*w, 0)
	}
	for size := 2; size <= n; size *= 2 {
		sin, cos := math.Sincos(-2 * math.Pi / float64(size))
		turn := complex(cos, sin)
		for from := 0; from < n; from += size {
			w := complex(1, 0)
			for k := range size / 2 {
				a, b := out[from+k], out[from+k+size/2]*w
				out[from+k], out[from+k+size/2] = a+b, a-b
				w *= turn
			}
		}
	}
	return out
}

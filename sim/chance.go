package sim

import (
	"hash/fnv"
	"math"
	"math/rand/v2"
	"strconv"
)

// stream opens the generator of one stream of chance: PCG(master,
// fnv64("name|row|pass")). Rows and passes that do not apply are -1.
func stream(master uint64, name string, row, pass int) *rand.PCG {
	h := fnv.New64a()
	b := append([]byte(name), '|')
	b = strconv.AppendInt(b, int64(row), 10)
	b = append(b, '|')
	b = strconv.AppendInt(b, int64(pass), 10)
	h.Write(b)
	return rand.NewPCG(master, h.Sum64())
}

// mix turns one word of chance into another, for the rare draw that only some
// places need (the finaliser of splitmix64; Steele, Lea and Flood 2014).
func mix(x uint64) uint64 {
	x += 0x9e3779b97f4a7c15
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	return x ^ x>>31
}

// unit turns a word into a number over 0 and under 1.
func unit(w uint64) float64 { return (float64(w>>11) + 0.5) * (1.0 / (1 << 53)) }

// uniform draws over 0 and under 1.
func uniform(g *rand.PCG) float64 { return unit(g.Uint64()) }

// between draws evenly between two numbers.
func between(g *rand.PCG, lo, hi float64) float64 { return lo + (hi-lo)*uniform(g) }

// normal draws from the standard normal by the inverse distribution, one word
// a draw.
func normal(g *rand.PCG) float64 { return quantile32(uint32(g.Uint64() >> 32)) }

// Table of the standard normal's quantiles at the middles of 4,096 equal
// shares, for the hot loop; the outermost shares are computed exactly.
const quantileBits = 12

var quantiles = func() (t [1<<quantileBits + 1]float64) {
	for i := 1; i < len(t)-1; i++ {
		t[i] = quantile(float64(i) / (1 << quantileBits))
	}
	return t
}()

// quantile32 gives the standard normal's quantile of 32 bits of chance: linear
// between table points, exact in the outermost 16 shares on either side, where
// the curve bends (error below 2e-5 elsewhere).
func quantile32(u uint32) float64 {
	i := u >> (32 - quantileBits)
	if i-16 >= 1<<quantileBits-32 {
		return quantile((float64(u) + 0.5) * (1.0 / (1 << 32)))
	}
	f := float64(u&(1<<(32-quantileBits)-1)) * (1.0 / (1 << (32 - quantileBits)))
	return quantiles[i] + f*(quantiles[i+1]-quantiles[i])
}

// quantile is the standard normal's inverse distribution.
func quantile(p float64) float64 { return -math.Sqrt2 * math.Erfcinv(2*p) }

// wander is an Ornstein-Uhlenbeck process of unit standard deviation, stepped
// in equal steps: keep = exp(-dt/tau).
type wander struct {
	x, keep, push float64
}

func newWander(tau, dt float64, first float64) wander {
	k := math.Exp(-dt / tau)
	return wander{x: first, keep: k, push: math.Sqrt(1 - k*k)}
}

func (w *wander) step(z float64) float64 {
	w.x = w.keep*w.x + w.push*z
	return w.x
}

func logit(p float64) float64 { return math.Log(p / (1 - p)) }

// threshold turns the probability of a logit into 32 bits, so that a draw
// below it happens with that probability.
func threshold(x float64) uint32 {
	e := math.Exp(x)
	return uint32(e / (1 + e) * (1<<32 - 1))
}

func share32(p float64) uint32 {
	if p <= 0 {
		return 0
	}
	if p >= 1 {
		return 1<<32 - 1
	}
	return uint32(p * (1 << 32))
}

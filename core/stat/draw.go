package stat

import (
	"hash/fnv"
	"math"
	"math/rand/v2"
)

// NewRand gives the generator of one named stream of draws: PCG (O'Neill 2014)
// started from a master seed and the 64-bit FNV-1a hash of the name, so that
// one stream never moves another.
func NewRand(master uint64, name string) *rand.Rand {
	h := fnv.New64a()
	h.Write([]byte(name))
	return rand.New(rand.NewPCG(master, h.Sum64()))
}

// Triangular gives the value of a triangular distribution below which a share
// u lies. low ≤ mode ≤ high; equal ends give that value.
func Triangular(u, low, mode, high float64) float64 {
	w := high - low
	if !(w > 0) {
		return mode
	}
	if c := (mode - low) / w; u < c {
		return low + math.Sqrt(u*w*(mode-low))
	}
	return high - math.Sqrt((1-u)*w*(high-mode))
}

// LogNormal is the distribution of exp(N(Mu, Sigma²)).
type LogNormal struct{ Mu, Sigma float64 }

// LogNormalOf gives the log-normal of a mean and a coefficient of variation.
func LogNormalOf(mean, cv float64) LogNormal {
	v := math.Log1p(cv * cv)
	return LogNormal{math.Log(mean) - v/2, math.Sqrt(v)}
}

// Times gives the distribution of the product of independent factors.
func (l LogNormal) Times(o LogNormal) LogNormal {
	return LogNormal{l.Mu + o.Mu, math.Hypot(l.Sigma, o.Sigma)}
}

// Mean gives the mean.
func (l LogNormal) Mean() float64 { return math.Exp(l.Mu + l.Sigma*l.Sigma/2) }

// Quantile gives the value below which a share u lies.
func (l LogNormal) Quantile(u float64) float64 { return math.Exp(l.Mu + l.Sigma*NormalQuantile(u)) }

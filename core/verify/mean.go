package verify

import (
	"math"

	"evenstand"
	"evenstand/core/stat"
)

// mixing is the parameter of the normal mixture: narrowest at about 1/mixing²
// means (methods document, section i).
const mixing = 0.1

// fewMeans is how many means the spread is to rest on.
const fewMeans = 30

// batch is how many means in a row one block has, from which the spread over a
// longer time is told.
const batch = 10

// inLong is how many such blocks, with breaks between them or not, make a long
// one.
const inLong = 4

// Spread learns how means scatter about their level and how those of
// neighbours resemble each other. Levels may differ between parts.
type Spread struct {
	m2, df     float64 // within parts
	cross, lag float64 // of neighbours about the part's mean
	blockM2    float64
	blockDF    float64
	blockCross float64
	blockLag   float64
	longM2     float64 // of blocks of longer blocks
	longDF     float64
	open       part
}

// part is a run of means of one level.
type part struct {
	all        evenstand.Moments
	blocks     evenstand.Moments
	block      float64
	in         int
	longs      evenstand.Moments
	long       float64
	blocksIn   int
	first      float64
	near, far  pairs
	everything bool
}

// pairs are sums over neighbours.
type pairs struct {
	prev     float64
	has      bool
	xy, x, y float64
	n        float64
}

func (p *pairs) add(v float64) {
	if p.has {
		p.xy += v * p.prev
		p.x += p.prev
		p.y += v
		p.n++
	}
	p.prev, p.has = v, true
}

// about gives the sum of products about a mean.
func (p *pairs) about(mean float64) float64 {
	return p.xy - mean*p.x - mean*p.y + p.n*mean*mean
}

func (p *part) add(v float64) {
	if !p.everything {
		p.first, p.everything = v, true
	}
	v -= p.first
	p.all.Add(v)
	p.near.add(v)
	p.block += v
	if p.in++; p.in == batch {
		p.blocks.Add(p.block / batch)
		p.far.add(p.block / batch)
		p.long += p.block / batch
		if p.blocksIn++; p.blocksIn == inLong {
			p.longs.Add(p.long / inLong)
			p.long, p.blocksIn = 0, 0
		}
		p.block, p.in = 0, 0
	}
}

// pause says that the next mean is no neighbour of the last.
func (p *part) pause() { p.near.has, p.block, p.in = false, 0, 0 }

// Add takes in a mean of the part at hand.
func (s *Spread) Add(v float64) { s.open.add(v) }

// Pause says that the next mean is no neighbour of the last.
func (s *Spread) Pause() { s.open.pause() }

// Next begins a part with a level of its own.
func (s *Spread) Next() {
	*s = s.closed()
	s.open = part{}
}

// closed gives the sums with the open part in them.
func (s *Spread) closed() Spread {
	c, p := *s, &s.open
	if p.all.N > 1 {
		mean := p.all.Mean()
		c.m2 += p.all.M2
		c.df += p.all.N - 1
		c.cross += p.near.about(mean)
		c.lag += p.near.n
	}
	if p.blocks.N > 1 {
		c.blockM2 += p.blocks.M2
		c.blockDF += p.blocks.N - 1
		c.blockCross += p.far.about(p.blocks.Mean())
		c.blockLag += p.far.n
		if p.longs.N > 1 {
			c.longM2 += p.longs.M2
			c.longDF += p.longs.N - 1
		}
	}
	return c
}

// Of gives the variance of a mean, by how much more means in a row scatter
// than if they were independent, and how many the variance rests on. Beside
// neighbours, whose resemblance looks smaller than it is where the level itself
// is estimated (Kendall 1954, Biometrika 41:403-404), blocks of ten and their
// neighbours are looked at, and the larger figure is taken: taken as independent,
// means went wrong many times too often (docs/measured.md).
func (s *Spread) Of() (variance, times, df float64) {
	c := s.closed()
	if !(c.df > 1) || !(c.m2 > 0) {
		return math.NaN(), 1, c.df
	}
	variance = c.m2 / c.df
	times = 1.0
	if c.lag > 4 {
		times = longer(c.cross/c.lag/variance, c.lag)
	}
	if c.blockDF >= 8 {
		v := c.blockM2 / c.blockDF
		b := batch * v / variance
		if c.blockLag > 4 && v > 0 {
			b *= longer(c.blockCross/c.blockLag/v, c.blockLag)
		}
		times = math.Max(times, b)
	}
	if c.longDF >= 5 {
		times = math.Max(times, batch*inLong*c.longM2/c.longDF/variance)
	}
	return variance, times, c.df
}

// longer gives by how much more a mean scatters when neighbours resemble each
// other by rho, as n pairs told it.
func longer(rho, n float64) float64 {
	rho += (1 + 3*rho) / n
	rho = math.Min(0.95, math.Max(0, rho))
	return (1 + rho) / (1 - rho)
}

// Mean tests a mean against the line that it must get below. It may be looked
// at after every mean.
type Mean struct {
	Worked, Failed float64
	Var, Times, DF float64 // of Spread.Of
	Beside         float64 // as of Rate
	Sum, N         float64
}

// half gives the half width of the interval at n means.
func (m *Mean) half(n float64) float64 {
	if !(m.DF >= fewMeans) || !(m.Var >= 0) {
		return math.Inf(1)
	}
	t := math.Max(1, m.Times)
	// The spread is itself known only from so many means that are worth as one
	// each: its upper 97.5 % limit, by the cube root rule of Wilson and Hilferty
	// (1931, Proceedings of the National Academy of Sciences 17:684-688).
	df := math.Max(2, m.DF/t)
	chi := df * math.Pow(math.Max(0.05, 1-2/(9*df)-stat.NormalQuantile(0.975)*math.Sqrt(2/(9*df))), 3)
	return math.Sqrt(m.Var*df/chi) * stat.NormalHalfWidth(n/t, mixing, wrong/math.Max(1, m.Beside))
}

// Verdict is +1 when the whole interval lies below the line, -1 when above.
func (m *Mean) Verdict() int { return m.verdict(m.Sum, m.N) }

func (m *Mean) verdict(sum, n float64) int {
	if !(n > 0) {
		return 0
	}
	switch h := m.half(n); {
	case sum/n+h < m.Worked:
		return 1
	case sum/n-h > m.Failed:
		return -1
	}
	return 0
}

// Interval gives the means that are not excluded.
func (m *Mean) Interval() (low, high float64) {
	h := m.half(m.N)
	return m.Sum/m.N - h, m.Sum/m.N + h
}

// Need gives how many means more a verdict is expected to take at a level.
func (m *Mean) Need(level float64) float64 {
	if m.DF < fewMeans { // the spread is not known: what would be usual is not either
		return math.NaN()
	}
	return step(func(more float64) bool {
		sum := level*more + lucky(level < (m.Worked+m.Failed)/2, math.Sqrt(m.Var*math.Max(1, m.Times)*more))
		return m.verdict(m.Sum+sum, m.N+more) != 0
	})
}

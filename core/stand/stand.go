package stand

import (
	"math"
	"math/rand/v2"
	"slices"

	"evenstand/core/relation"
)

// Kind says what a finding claims of its ground.
type Kind int

// The kinds.
const (
	Unseen  Kind = iota // places without a seed, as logged: are they empty?
	Doubted             // ground that may have lost plants: how many?
)

// Claim is what a finding says that counts can try.
type Claim struct {
	Kind Kind
	Fall float64 // Unseen: chance before the counts that the seeds lie there all the same
	// Of Doubted: which share of the plants such ground loses on average, and has
	// late beyond others; 0: nobody has said.
	Mean, Late float64
}

// Count is a count of plants with what the logs have of its ground.
type Count struct {
	Field  string
	Plants float64 // counted
	Late   float64 // of them behind the others; NaN not looked at
	Area   float64 // m2
	Seeds  float64 // per m2 on that ground: logged, with what findings of Claims say is missing
	Claims []Part  // that reach there
}

// Part is how much of the ground of a count a claim is about.
type Part struct {
	Claim int     // index
	Share float64 // Unseen: of the places there that it says are empty; Doubted: of the ground that lies in it
}

// Fit is what counts say. All draws belong together by their index.
type Fit struct {
	Emerge map[string][]float64 // by field that was counted: share of the seeds that became plants
	Usual  []float64            // of a field of this farm that nobody has counted
	Farm   []float64            // mean of the farm's fields
	CV     []float64            // scatter of single counts beside chance
	Claims []Effect
}

// Effect is what counts say of a claim.
type Effect struct {
	In, Out int       // counts on its ground, and beside it in the same fields
	Real    []float64 // by draw: Unseen: which share of what it misses is missing; Doubted: share of the plants lost
	Fall    float64   // Unseen: chance, with the counts, that the seeds lie there all the same
	Late    []float64 // Doubted: share of the plants that is late beyond that beside; nil nobody has looked
}

// Told tells whether counts say something of a claim: there are two at least on
// its ground and two beside it (judgement; of one nobody knows its scatter).
func (e *Effect) Told() bool { return e.In >= 2 && e.Out >= 2 }

// Grids and priors.
const (
	least, most = 0.30, 1.06 // emergence; over 1 for seeds that were not logged
	steps       = 153        // of 0.005
	burn        = 300        // sweeps thrown away
	// Fields of a farm differ by about 0.03 in the share that comes up
	// (judgement): the half normal's scale.
	apart = 0.03
	// Doubted is what ground that a finding doubts has lost of its plants on average
	// where nobody has said (judgement: from none to the quarter that OSU found for
	// seed a half inch deep, R7).
	doubtMean = 0.06
	// And 8 % of its plants are late beyond others (judgement).
	doubtLate = 0.08
	// A part of what is not seen is missing, rather than all or nothing, in 12 of
	// 100 (judgement).
	partly = 0.12
	// Plants of one count share their soil: late ones count as half as many
	// (judgement).
	together = 2
)

var (
	tauGrid  = []float64{0.005, 0.01, 0.015, 0.02, 0.03, 0.04, 0.05, 0.065, 0.08, 0.1}
	cvGrid   = []float64{0.03, 0.04, 0.05, 0.06, 0.07, 0.08, 0.09, 0.1, 0.115, 0.13, 0.15, 0.18}
	realGrid = []float64{0, 0.25, 0.5, 0.75, 1}
	lateGrid = func() (g []float64) {
		for p := 0.0025; p < 0.5; p *= 1.12 {
			g = append(g, p)
		}
		return g
	}()
	doubtGrid = func() (g []float64) {
		for i := range 51 {
			g = append(g, float64(i)/100)
		}
		return g
	}()
)

// claim holds one while drawing.
type claim struct {
	grid, prior []float64 // values and their log priors
	late        []float64 // log priors of late plants, on doubtGrid
	at          float64
	counts      []int
}

type sampler struct {
	cs     []Count
	n      []float64 // seeds of each count
	rng    *rand.Rand
	fields []string
	of     [][]int // counts of each field
	e      []float64
	mu     float64
	tau    float64
	cv     float64
	claims []claim
	weigh  []float64
}

// Do fits counts; draws is how many are wanted of each.
func Do(cs []Count, claims []Claim, draws int, seed uint64) Fit {
	s := newSampler(cs, claims, seed)
	f := Fit{Emerge: map[string][]float64{}, Claims: make([]Effect, len(claims))}
	for range burn {
		s.sweep()
	}
	for range draws {
		s.sweep()
		for i, name := range s.fields {
			f.Emerge[name] = append(f.Emerge[name], s.e[i])
		}
		f.Farm = append(f.Farm, s.mu)
		f.Usual = append(f.Usual, min(most, max(least, s.mu+s.tau*s.rng.NormFloat64())))
		f.CV = append(f.CV, s.cv)
		for j := range s.claims {
			f.Claims[j].Real = append(f.Claims[j].Real, s.claims[j].at)
		}
	}
	for j := range claims {
		e := &f.Claims[j]
		if claims[j].Kind == Unseen {
			for _, x := range e.Real {
				if x == 0 {
					e.Fall++
				}
			}
			e.Fall /= float64(draws)
		}
		s.beside(j, e)
		if claims[j].Kind == Doubted {
			e.Late = s.late(j, draws)
		}
	}
	return f
}

func newSampler(cs []Count, claims []Claim, seed uint64) *sampler {
	s := &sampler{rng: rand.New(rand.NewPCG(seed, 0x7374616e64)), mu: centre(), tau: apart, cv: 0.09}
	for _, c := range cs {
		if n := c.Seeds * c.Area; n > 0 && c.Plants >= 0 && !math.IsInf(n, 0) && !math.IsInf(c.Plants, 0) {
			s.cs = append(s.cs, c)
			s.n = append(s.n, n)
		}
	}
	at := map[string]int{}
	for i, c := range s.cs {
		k, ok := at[c.Field]
		if !ok {
			k = len(s.fields)
			at[c.Field] = k
			s.fields, s.of, s.e = append(s.fields, c.Field), append(s.of, nil), append(s.e, s.mu)
		}
		s.of[k] = append(s.of[k], i)
	}
	s.claims = make([]claim, len(claims))
	for j, c := range claims {
		k := &s.claims[j]
		if c.Kind == Unseen {
			k.grid, k.at = realGrid, 1
			fall := min(0.99, max(0.01, c.Fall))
			real := 1 - fall
			k.prior = []float64{math.Log(fall), math.Log(real * partly / 3), math.Log(real * partly / 3), math.Log(real * partly / 3), math.Log(real * (1 - partly))}
		} else {
			mean, late := c.Mean, c.Late
			if mean <= 0 {
				mean = doubtMean
			}
			if late <= 0 {
				late = doubtLate
			}
			k.grid, k.at = doubtGrid, mean
			for _, x := range doubtGrid {
				k.prior = append(k.prior, -x/mean)
				k.late = append(k.late, -x/late)
			}
		}
	}
	for i, c := range s.cs {
		for _, p := range c.Claims {
			if p.Share > 0 && p.Claim >= 0 && p.Claim < len(claims) {
				s.claims[p.Claim].counts = append(s.claims[p.Claim].counts, i)
			}
		}
	}
	return s
}

// centre and spread are the farm's mean before there are counts: R1's low and
// high emergence as its 10th and 90th percentile.
func centre() float64 { low, _, high := relation.Emergence(); return (low + high) / 2 }

func spread() float64 {
	low, _, high := relation.Emergence()
	return (high - low) / 2 / 1.2815515655446004
}

// log gives the log likelihood of a count.
func (s *sampler) log(i int, e, cv float64) float64 {
	stays := e
	for _, p := range s.cs[i].Claims {
		if p.Claim >= 0 && p.Claim < len(s.claims) {
			stays *= 1 - min(1, s.claims[p.Claim].at*p.Share)
		}
	}
	want := s.n[i] * stays
	v := max(0.5, want*max(0, 1-stays)) + cv*cv*want*want
	d := s.cs[i].Plants - want
	return -0.5*math.Log(v) - d*d/(2*v)
}

// pick draws an index by log weights.
func (s *sampler) pick(log []float64) int {
	top := slices.Max(log)
	sum := 0.0
	for i, x := range log {
		log[i] = math.Exp(x - top)
		sum += log[i]
	}
	u := s.rng.Float64() * sum
	for i, x := range log {
		if u -= x; u < 0 {
			return i
		}
	}
	return len(log) - 1
}

func (s *sampler) on(grid []float64, log func(x float64, k int) float64) int {
	s.weigh = s.weigh[:0]
	for k, x := range grid {
		s.weigh = append(s.weigh, log(x, k))
	}
	return s.pick(s.weigh)
}

var emergeGrid = func() (g []float64) {
	for k := range steps {
		g = append(g, least+(most-least)*float64(k)/(steps-1))
	}
	return g
}()

// sweep draws everything once, each given the others.
func (s *sampler) sweep() {
	for f, of := range s.of {
		s.e[f] = emergeGrid[s.on(emergeGrid, func(e float64, _ int) float64 {
			z := (e - s.mu) / s.tau
			if math.Abs(z) > 6 {
				return math.Inf(-1)
			}
			l := -z * z / 2
			for _, i := range of {
				l += s.log(i, e, s.cv)
			}
			return l
		})]
		s.e[f] += (s.rng.Float64() - 0.5) * (most - least) / (steps - 1)
	}
	// The farm's mean is normal given its fields.
	w, m := 1/(spread()*spread()), centre()/(spread()*spread())
	for _, e := range s.e {
		w, m = w+1/(s.tau*s.tau), m+e/(s.tau*s.tau)
	}
	s.mu = m/w + s.rng.NormFloat64()/math.Sqrt(w)
	s.tau = tauGrid[s.on(tauGrid, func(t float64, k int) float64 {
		l := -t*t/(2*apart*apart) + math.Log(width(tauGrid, k))
		for _, e := range s.e {
			l += -math.Log(t) - (e-s.mu)*(e-s.mu)/(2*t*t)
		}
		return l
	})]
	s.cv = cvGrid[s.on(cvGrid, func(cv float64, k int) float64 {
		// R16's 8 to 15 % hold chance too, which is 5.9 % at 32 seeds: about 9 % beside.
		l := -(cv-0.09)*(cv-0.09)/(2*0.03*0.03) + math.Log(width(cvGrid, k))
		for f, of := range s.of {
			for _, i := range of {
				l += s.log(i, s.e[f], cv)
			}
		}
		return l
	})]
	for j := range s.claims {
		c := &s.claims[j]
		c.at = c.grid[s.on(c.grid, func(x float64, k int) float64 {
			c.at = x
			l := c.prior[k]
			for _, i := range c.counts {
				l += s.log(i, s.e[s.field(i)], s.cv)
			}
			return l
		})]
	}
}

func width(grid []float64, k int) float64 {
	lo, hi := max(0, k-1), min(len(grid)-1, k+1)
	return (grid[hi] - grid[lo]) / float64(hi-lo)
}

func (s *sampler) field(i int) int { return slices.Index(s.fields, s.cs[i].Field) }

// inside tells whether a count lies on a claim's ground.
func (s *sampler) inside(j, i int) bool {
	return slices.ContainsFunc(s.cs[i].Claims, func(p Part) bool { return p.Claim == j && p.Share > 0 })
}

// beside counts the counts.
func (s *sampler) beside(j int, e *Effect) {
	fields := map[string]bool{}
	for i := range s.cs {
		if s.inside(j, i) {
			e.In++
			fields[s.cs[i].Field] = true
		}
	}
	for i := range s.cs {
		if fields[s.cs[i].Field] && !s.inside(j, i) {
			e.Out++
		}
	}
}

// late gives, by draw, which share of the plants on a claim's ground is late
// beyond that beside it: on a grid of both shares, with the prior of the harm that
// is doubted.
func (s *sampler) late(j, draws int) []float64 {
	var late, all [2]float64
	fields := map[string]bool{}
	for i := range s.cs {
		if s.inside(j, i) {
			fields[s.cs[i].Field] = true
		}
	}
	for i := range s.cs {
		c := &s.cs[i]
		if math.IsNaN(c.Late) || !fields[c.Field] {
			continue
		}
		k := 0
		if s.inside(j, i) {
			k = 1
		}
		late[k] += min(c.Late, c.Plants) / together
		all[k] += c.Plants / together
	}
	if all[0] == 0 || all[1] == 0 {
		return nil
	}
	log := make([]float64, 0, len(lateGrid)*len(doubtGrid))
	for _, p := range lateGrid {
		for k, x := range doubtGrid {
			q := min(0.999, p+x)
			log = append(log, late[0]*math.Log(p)+(all[0]-late[0])*math.Log1p(-p)+late[1]*math.Log(q)+(all[1]-late[1])*math.Log1p(-q)+s.claims[j].late[k])
		}
	}
	top, sum := slices.Max(log), 0.0
	for i, x := range log {
		sum += math.Exp(x - top)
		log[i] = sum
	}
	out := make([]float64, draws)
	for i := range out {
		k, _ := slices.BinarySearch(log, s.rng.Float64()*sum)
		out[i] = doubtGrid[min(k, len(log)-1)%len(doubtGrid)]
	}
	return out
}

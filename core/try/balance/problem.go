package balance

import (
	"math"

	"evenstand"
	"evenstand/core/stat"
	"evenstand/core/try"
)

// An Aim is one response of the lever: something to be made small or large, or
// to be kept within limits.
type Aim struct {
	Measure string    // of core/measure/group
	Curve   try.Curve // with Changes 0 where nothing is known of it
	// Price is what one unit more of the response costs on a m2, in the unit of
	// the problem; negative where more is better, 0 where it only has limits.
	// Prices are the same by draw, where its uncertainty is known; as many as
	// Draws, or none.
	Price  float64
	Prices []float64
	// Least and Most are the limits of the response; NaN none.
	Least, Most float64
	// Now is the response at the present setting with its SE; NaN unknown.
	Now, NowSE float64
	// Spread is by how much the response commonly differs along the ground: what
	// is believed of it before the first try. NaN unknown.
	Spread float64
	// RowSD is the SD of one row's response on a stretch about those of its
	// neighbours; NaN unknown. It tells how long a first try must last.
	RowSD float64
}

// limited tells whether the response has a limit.
func (a *Aim) limited() bool { return !math.IsNaN(a.Least) || !math.IsNaN(a.Most) }

// A Problem is one lever and what it is for. What is not known is NaN: the zero
// value is none of Tried.
type Problem struct {
	Lever     string
	Low, High float64 // the operator's limits of the lever, in its unit
	Now       float64
	Step      float64 // the lever is set in steps of this; 0: any
	Aims      []Aim
	// Tried is what some rows are set to at present, NaN none; TriedSteps is for
	// how many stretches, TriedSince when the change was made that tells of it.
	Tried      float64
	TriedRows  evenstand.Rows
	TriedSteps int
	TriedSince evenstand.Micros
	// Untold says why that change tells nothing, as a clause, and Wants what would,
	// as a whole sentence; empty: nobody knows.
	Untold, Wants string
	// Effects are the single changes that the curves rest on, of any measures;
	// they put the quadratic to the test. None are needed.
	Effects []try.Effect
	// Fixed is what a setting costs by itself on a m2, beside what is shared by
	// all; nil: nothing.
	Fixed func(setting float64) float64
	// ByRows tells that some rows can be set by themselves.
	ByRows bool
	Rows   int
	// Width is that of the planter, m; Speed in m/s; PassLength the usual length of
	// a pass, m; NaN unknown.
	Width, Speed, PassLength float64
	Left                     float64 // m2 to plant; NaN unknown
	Worth                    float64 // the least that a better setting must save on a m2 to be worth the bother
	Cost                     float64 // of setting the lever once, in the unit of the problem
	Seed                     uint64  // of the draws
}

// Draws is how many draws the ranges rest on, as those of core/price.
const Draws = 1000

// scaled gives a setting on the scale of the limits.
func (p *Problem) scaled(x float64) float64 { return (x - p.Low) / (p.High - p.Low) }

// setting undoes scaled, to a step of the lever within the limits.
func (p *Problem) setting(s float64) float64 {
	x := p.Low + s*(p.High-p.Low)
	if p.Step > 0 && p.Step <= reach*(p.High-p.Low) {
		x = math.Round(x/p.Step) * p.Step
		for x > p.High {
			x -= p.Step
		}
		for x < p.Low {
			x += p.Step
		}
	}
	return math.Max(p.Low, math.Min(p.High, x))
}

// told is what is said of the quadratic's slope and bend about the middle of the
// limits: combinations of them with independent errors of variance 1. It is the
// curve that tells, or, where a curve takes a direction for known exactly, which
// one change alone makes it do, the single changes.
func (p *Problem) told(c *try.Curve) (x [][]float64, y []float64) {
	if c.Changes == 0 || !(c.Scale != 0) {
		return nil, nil
	}
	if x, y = p.toldByCurve(c); x == nil {
		x, y = p.toldByChanges(c.Measure)
	}
	return x, y
}

// widened gives how many times as wide the t of so few degrees of freedom is as
// the normal.
func widened(df float64) float64 {
	if !(df > 0) || math.IsInf(df, 1) {
		return 1
	}
	return stat.StudentQuantile(0.95, df) / stat.NormalQuantile(0.95)
}

func (p *Problem) toldByChanges(measure string) (x [][]float64, y []float64) {
	for i := range p.Effects {
		e := &p.Effects[i]
		if e.Change.Lever != p.Lever || e.Measure != measure || !e.Known() || !e.Change.Number() || e.Change.From == e.Change.To {
			continue
		}
		se := e.SE * widened(e.DF)
		r := less(quadratic(p.scaled(e.Change.To)), quadratic(p.scaled(e.Change.From)))
		for k := range r {
			r[k] /= se
		}
		x, y = append(x, r), append(y, e.Value/se)
	}
	return x, y
}

func (p *Problem) toldByCurve(c *try.Curve) (x [][]float64, y []float64) {
	wide := widened(c.DF)
	if c.Linear {
		low, high := c.Low, c.High
		if !(high > low) {
			return nil, nil
		}
		m, se := c.Diff(low, high)
		se *= wide
		if !(se > 0) {
			return nil, nil
		}
		a, b := quadratic(p.scaled(low)), quadratic(p.scaled(high))
		return [][]float64{{0, (b[1] - a[1]) / se, (b[2] - a[2]) / se}}, []float64{m / se}
	}
	// u = a + bt for t = s − ½: the slope is b θ1 + 2ab θ2, the bend b² θ2.
	b := (p.High - p.Low) / c.Scale
	a := ((p.Low+p.High)/2 - c.Ref) / c.Scale
	m := [2][2]float64{{b, 2 * a * b}, {0, b * b}}
	var mean [2]float64
	var cov [2][2]float64
	for i := range 2 {
		for j := range 2 {
			mean[i] += m[i][j] * c.Theta[j]
			for k := range 2 {
				for l := range 2 {
					cov[i][j] += m[i][k] * c.Cov[k][l] * m[j][l] * wide * wide
				}
			}
		}
	}
	// L⁻¹ of the covariance makes the errors independent.
	l11 := math.Sqrt(cov[0][0])
	l21 := cov[1][0] / l11
	l22 := math.Sqrt(cov[1][1] - l21*l21)
	// A correlation over 0.999 is no knowledge of the one by the other.
	if !(l11 > 0 && l22*l22 > 0.002*cov[1][1]) {
		return nil, nil
	}
	return [][]float64{{0, 1 / l11, 0}, {0, -l21 / (l11 * l22), 1 / l22}},
		[]float64{mean[0] / l11, (mean[1] - l21/l11*mean[0]) / l22}
}

// spreadOf gives the typical spread of what a curve tells, in the unit of its
// measure: as large a one as makes what it found usual under the prior, which
// bends by bend. Without changes it is the given one.
func (p *Problem) spreadOf(c *try.Curve, bend, given float64) float64 {
	if c.Changes == 0 || !(c.High > c.Low) {
		return given
	}
	d, se := c.Diff(c.Low, c.High)
	a, b := quadratic(p.scaled(c.Low)), quadratic(p.scaled(c.High))
	usual := math.Pow((b[2]-a[2])*bend, 2)
	for i := 1; i < 3; i++ {
		usual += (b[i] - a[i]) * (b[i] - a[i]) * priorVar[i]
	}
	if !(usual > 0) {
		return given
	}
	// A difference that cannot be told from none may be as large as its error.
	return math.Sqrt(math.Max(d*d, se*se) / usual)
}

// held is what is believed of one response: its quadratic, without level.
type held struct {
	n stat.Normal
}

// response gives the belief of an aim, with a prior of a spread that bends by
// bend of it; share is the part of the prior's variance that falls to it.
func (p *Problem) response(a *Aim, spread, bend, share float64) held {
	n := prior(0, spread)
	for i := range n.Mean {
		n.Mean[i] = 0
		n.Cov[i][i] *= share
	}
	n.Mean[2] = spread * bend
	n.Cov[0][0] = 0 // differences have no level
	x, y := p.told(&a.Curve)
	for i := range y {
		n = n.Observe(x[i], y[i], 1)
	}
	return held{n}
}

// One makes a curve of a single effect, which tells one difference.
func One(e *try.Effect) (try.Curve, bool) {
	c := try.Curve{Lever: e.Change.Lever, Measure: e.Measure, Level: math.NaN()}
	if !e.Known() || !e.Change.Number() || e.Change.From == e.Change.To {
		return c, false
	}
	c.Low, c.High = math.Min(e.Change.From, e.Change.To), math.Max(e.Change.From, e.Change.To)
	c.Ref, c.Scale = (c.Low+c.High)/2, (c.High-c.Low)/2
	u := (e.Change.To - e.Change.From) / c.Scale
	c.Theta[0], c.Cov[0][0] = e.Value/u, e.SE*e.SE/(u*u)
	c.DF, c.Changes, c.Linear = e.DF, 1, true
	if !(c.DF > 0) {
		c.DF = math.Inf(1)
	}
	return c, true
}

// priced are the aims that cost something.
func (p *Problem) priced() (out []*Aim) {
	for i := range p.Aims {
		if p.Aims[i].Price != 0 {
			out = append(out, &p.Aims[i])
		}
	}
	return out
}

// cost is what is believed of J: the priced responses' beliefs, and their sum
// on the grid.
type cost struct {
	spread float64 // of J
	aims   []*Aim
	of     []held // in the responses' units
	belief        // of J, what a setting costs by itself with it
	fixed  []float64
	parts  [][][3]float64 // the responses' quadratics by draw; nil where J is no quadratic
}

// believe gives the belief of J, false where nothing tells its spread.
func (p *Problem) believe() (*cost, bool) {
	c := &cost{aims: p.priced(), fixed: make([]float64, steps)}
	if len(c.aims) == 0 {
		return nil, false
	}
	square := 0.0
	for _, a := range c.aims {
		if s := a.Price * p.spreadOf(&a.Curve, 0, a.Spread); !math.IsNaN(s) {
			square += s * s
		}
	}
	c.spread = math.Sqrt(square)
	if !(c.spread > 0) {
		return nil, false
	}
	k := float64(len(c.aims))
	sum := prior(0, 0)
	for _, a := range c.aims {
		// The parts add up to the prior of J.
		h := p.response(a, c.spread/math.Abs(a.Price), math.Copysign(priorMean[2]/k, a.Price), 1/k)
		c.of = append(c.of, h)
		for i := range sum.Mean {
			sum.Mean[i] += a.Price * h.n.Mean[i]
			for j := range sum.Cov[i] {
				sum.Cov[i][j] += a.Price * a.Price * h.n.Cov[i][j]
			}
		}
	}
	c.belief = onGrid(sum, true)
	if seen := p.seen(c.aims); bent(seen) {
		if b, ok := smooth(seen, c.spread); ok {
			c.belief = b
		}
	}
	if p.Fixed != nil {
		for i := range c.fixed {
			c.fixed[i] = p.Fixed(p.Low + at(i)*(p.High-p.Low))
			c.mean[i] += c.fixed[i]
		}
	}
	return c, true
}

// seen gives what each change did to J, where all priced responses were told.
func (p *Problem) seen(aims []*Aim) (out []Seen) {
	type key struct {
		t    int64
		rows int
	}
	told := map[key]map[string]*try.Effect{}
	var order []key
	for i := range p.Effects {
		e := &p.Effects[i]
		if e.Change.Lever != p.Lever || !e.Known() || !e.Change.Number() {
			continue
		}
		k := key{int64(e.Change.T), e.Changed}
		if told[k] == nil {
			told[k] = map[string]*try.Effect{}
			order = append(order, k)
		}
		told[k][e.Measure] = e
	}
next:
	for _, k := range order {
		var s Seen
		for _, a := range aims {
			e := told[k][a.Measure]
			if e == nil {
				continue next
			}
			s.From, s.To = p.scaled(e.Change.From), p.scaled(e.Change.To)
			s.Y += a.Price * e.Value
			s.Var += a.Price * a.Price * e.SE * e.SE
		}
		if s.From >= 0 && s.From <= 1 && s.To >= 0 && s.To <= 1 && s.From != s.To {
			out = append(out, s)
		}
	}
	return out
}

// Chance is how likely a response lies within its limits.
type Chance struct {
	Measure   string
	Now, Next float64
}

// chances gives, for each place of the grid, how likely all limited responses
// lie within their limits, taken to be independent, and that of each.
func (p *Problem) chances() (all [steps]float64, each map[string][steps]float64) {
	each = map[string][steps]float64{}
	for i := range all {
		all[i] = 1
	}
	now := quadratic(p.scaled(p.Now))
	for k := range p.Aims {
		a := &p.Aims[k]
		if !a.limited() || math.IsNaN(a.Now) {
			continue
		}
		h := p.response(a, p.spreadOf(&a.Curve, 0, a.Spread), 0, 1)
		var one [steps]float64
		for i := range one {
			m, v := h.n.At(less(quadratic(at(i)), now))
			se := 0.0
			if a.NowSE > 0 {
				se = a.NowSE
			}
			one[i] = within(a.Now+m, math.Sqrt(v+se*se), a.Least, a.Most)
			if math.IsNaN(one[i]) { // nothing tells how it goes: only where it is now
				one[i] = 0
				if place(p.scaled(p.Now)) == i {
					one[i] = within(a.Now, se, a.Least, a.Most)
				}
			}
			all[i] *= one[i]
		}
		each[a.Measure] = one
	}
	return all, each
}

func less(a, b []float64) []float64 {
	for i := range a {
		a[i] -= b[i]
	}
	return a
}

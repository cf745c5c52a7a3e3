package balance

import (
	"math"
	"slices"

	"evenstand"
	"evenstand/core/measure/group"
	"evenstand/core/stat"
	"evenstand/core/try"
)

// Verdict is what to do with a lever; the words are stable.
type Verdict string

// The verdicts.
const (
	Try     Verdict = "try"        // set it to Next and look
	Trying  Verdict = "trying"     // some rows are set to Next; leave them until it can be told
	Keep    Verdict = "keep"       // it was tried, and all rows are better set to Next
	Undo    Verdict = "undo"       // it was tried, and the rows that did are better set back to Next
	NotTold Verdict = "not-told"   // it was tried, and what it did could not be told
	Back    Verdict = "back"       // it is likely past a limit: set it to Next
	Stay    Verdict = "stay"       // no setting in reach is expected to be better
	Settled Verdict = "settled"    // nothing left to learn that would be worth it
	Costs   Verdict = "costs-more" // a try costs more than it is expected to bring
	Short   Verdict = "too-short"  // what is left to plant is too short to tell
	NoRoom  Verdict = "no-room"    // no setting but this one is likely enough within the limits
	Cannot  Verdict = "cannot-say" // no price, or no limits of the lever, or no setting is known
)

// Figures that are judgement, without a source.
const (
	most       = 10   // tries at most that a season is planned for, as the methods document measured
	hopeless   = 0.1  // nothing is left to learn below this chance of a setting worth more
	quarter    = 0.25 // of the spread of J: the error that a try must come down to (methods document, section h)
	stretchLen = 15.0 // m
	fewest     = 20   // stretches of a try, some of which settle and do not count
	longest    = 400  // stretches of a try: 6 km of row
)

// Measured in the methods document, section h, table of designs: the error of
// an effect for 24 rows of which half are changed, 40 stretches on either side;
// for all rows near the change; for eight passes back and forth.
const (
	halfSE, halfSteps      = 0.091, 40.0
	allSE                  = 0.69
	switchSE, switchPasses = 0.47, 8.0
	rowMemory              = 0.5
	mostPasses             = 64
)

// Advice is what to do with a lever, and why.
type Advice struct {
	Verdict Verdict
	Lever   string
	Now     float64
	Next    float64 // NaN unless there is something to set
	Design  try.Design
	Rows    int // that are set, of those of the planter; 0: all

	Stretches int     // that the try must last, on either side of the change
	Minutes   float64 // the same in time; NaN unknown
	Passes    float64 // the same in passes; NaN unknown
	Tries     int     // that what is left allows
	SE        float64 // of what the try will tell of J, per m2
	Tells     float64 // how many times as much half of the rows tell as all of them at once

	// Gain is what Next saves on a m2 over Now, Bring what the try and then the
	// better of the two save on what is left to plant: 10th, 50th and 90th
	// percentile, and the mean.
	Gain, Bring         evenstand.Range
	GainMean, BringMean float64
	// Value is what is expected of the try and all that follow it, on what is left
	// to plant.
	Value    float64
	Better   float64 // chance that Next is better than Now
	Anything float64 // chance that any setting that is allowed is better than Now by Worth
	Worth    float64
	Best     float64 // setting, as things are known

	Spread       float64 // of J
	Changes      int     // that all of it rests on
	First        bool    // nothing was tried yet
	Smooth       bool    // the quadratic was rejected
	Limits       []Chance
	Moves        []Move  // what Next does to each response
	AllowedLow   float64 // the settings that are likely enough within all limits, around Now
	AllowedHigh  float64
	AtEnd        bool // Next lies at an end of the operator's limits
	Over         bool // what was tried is too likely past a limit
	FarAsAllowed bool // Next lies as far as one try may go

	jMean, jLow, jHigh []float64
	allowed            []bool
	believed           []string // the responses of J, and what is believed of them
	of                 []held
}

// A Move is what going to the next setting does to a response, as far as is
// known.
type Move struct {
	Measure  string
	Price    float64 // of the aim
	Mean, SE float64 // in the measure's unit
}

// known tells whether enough is known to begin.
func (p *Problem) known() bool {
	return p.High > p.Low && p.Now >= p.Low && p.Now <= p.High
}

// Next says what to do with the lever next.
func Next(p *Problem) Advice {
	nan := math.NaN()
	a := Advice{Verdict: Cannot, Lever: p.Lever, Now: p.Now, Next: nan, Minutes: nan, Passes: nan, SE: nan, Worth: p.Worth, AllowedLow: nan, AllowedHigh: nan, Best: nan, Tells: allSE / halfSE, GainMean: nan, BringMean: nan}
	unknown := evenstand.Range{Low: evenstand.Unknown, Mid: evenstand.Unknown, High: evenstand.Unknown}
	a.Gain, a.Bring = unknown, unknown
	for i := range p.Aims {
		a.Changes = max(a.Changes, p.Aims[i].Curve.Changes)
	}
	a.First = a.Changes == 0
	if !p.known() {
		return a
	}
	c, ok := p.believe()
	if !ok {
		return a
	}
	a.Spread, a.Smooth = c.spread, c.process
	for k, m := range c.aims {
		a.believed, a.of = append(a.believed, m.Measure), append(a.of, c.of[k])
	}
	now := place(p.scaled(p.Now))
	all, each := p.chances()
	open := allowed(all, now, p.stops())
	a.allowed = make([]bool, steps)
	for i := range all {
		a.allowed[i] = all[i] >= sure
	}
	a.AllowedLow, a.AllowedHigh = p.room(a.allowed, now)

	p.last(&a, c)
	v := a.SE * a.SE
	share := 0.5 // of the passes
	if a.Rows > 0 {
		share = float64(a.Rows) / float64(p.Rows)
	}
	left := float64(max(0, a.Tries-1))
	if len(p.TriedRows) > 0 {
		p.tried(&a, c, now, all, each)
		return a
	}
	i := c.next(now, true, a.First, share, v, left, open)
	if p.setting(at(i)) == p.Now {
		i = now
	}
	a.Best = p.setting(at(lowest(c.mean, open)))
	draws := c.draws(p)
	a.Anything = anything(draws, now, open, p.Worth)
	for k := range p.Aims {
		if one, ok := each[p.Aims[k].Measure]; ok {
			a.Limits = append(a.Limits, Chance{p.Aims[k].Measure, one[now], one[i]})
		}
	}
	a.jMean, a.jLow, a.jHigh = about(draws, c, now)

	past := all[now] < sure
	room := slices.ContainsFunc(places(now), func(k int) bool { return k != now && open[k] })
	switch {
	case past && (i == now || all[i] <= all[now]+0.01):
		a.Verdict = NoRoom // and past the limit, as Limits tells
		return a
	case past:
		a.Verdict = Back
	case !room:
		a.Verdict = NoRoom
		return a
	case a.Anything < hopeless && !a.First:
		a.Verdict = Settled
		return a
	case i == now:
		a.Verdict = Stay
		return a
	default:
		a.Verdict = Try
	}
	a.Next = p.setting(at(i))
	a.AtEnd, a.FarAsAllowed = i == 0 || i == steps-1, i == now-far || i == now+far
	a.Moves = p.moves(c, now, i)
	p.bring(&a, draws, now, i, share)
	// What trying and then going where it is best saves over staying.
	a.Value = (c.mean[now] - c.worth(i, now, share, v, left, open)/(left+1)) * p.Left
	if a.Verdict == Try {
		switch {
		case p.Left <= a.ground(p):
			a.Verdict = Short
		case a.Value <= p.Cost*a.settings():
			a.Verdict = Costs
		}
	}
	return a
}

// tried says what to do with a try that some rows are at. What was believed
// before it keeps nothing and undoes nothing: only what this change did to a
// response that costs something, or, for a limit, what any change did to the
// response that has it.
func (p *Problem) tried(a *Advice, c *cost, now int, all [steps]float64, each map[string][steps]float64) {
	if !(p.Tried >= p.Low && p.Tried <= p.High) {
		a.Verdict, a.Next, a.Over = Undo, p.Now, true
		return
	}
	i := place(p.scaled(p.Tried))
	draws := c.draws(p)
	a.jMean, a.jLow, a.jHigh = about(draws, c, now)
	a.Best = p.setting(at(lowest(c.mean, a.allowed)))
	a.Anything = anything(draws, now, a.allowed, p.Worth)
	a.Moves = p.moves(c, now, i)
	within, seen := all[i] >= sure, false
	for k := range p.Aims {
		m := &p.Aims[k]
		if one, ok := each[m.Measure]; ok {
			a.Limits = append(a.Limits, Chance{m.Measure, one[now], one[i]})
			seen = seen || one[i] < sure && m.Curve.Changes > 0
		}
	}
	told := p.toldOfTry()
	a.Over = !within && (told || seen)
	p.bring(a, draws, now, i, 1)
	switch {
	case a.Over:
		a.Verdict, a.Next = Undo, p.Now
	case p.TriedSteps < a.Stretches && within:
		a.Verdict, a.Next = Trying, p.Tried
	case !told:
		a.Verdict, a.Next = NotTold, p.Tried
	case a.GainMean > 0:
		a.Verdict, a.Next = Keep, p.Tried
	default:
		a.Verdict, a.Next = Undo, p.Now
	}
}

// toldOfTry tells whether the change that made the try told what it did to a
// response that costs something.
func (p *Problem) toldOfTry() bool {
	near := func(x float64) bool {
		return math.Abs(x-p.Tried) <= math.Max(0.75*p.Step, 1e-9*(p.High-p.Low))
	}
	for i := range p.Effects {
		e := &p.Effects[i]
		if e.Change.Lever != p.Lever || e.Change.T != p.TriedSince || !e.Known() || !near(e.Change.To) && !near(e.Change.From) {
			continue
		}
		if slices.ContainsFunc(p.Aims, func(a Aim) bool { return a.Measure == e.Measure && a.Price != 0 }) {
			return true
		}
	}
	return false
}

// Past gives the settings that are not likely enough within all limits, as
// spans between the operator's limits.
func (a *Advice) Past(p *Problem) (out [][2]float64) {
	for i := range a.allowed {
		if a.allowed[i] {
			continue
		}
		x := p.Low + at(i)*(p.High-p.Low)
		half := (p.High - p.Low) / (steps - 1) / 2
		low, high := math.Max(p.Low, x-half), math.Min(p.High, x+half)
		if n := len(out); n > 0 && !a.allowed[i-1] {
			out[n-1][1] = high
		} else {
			out = append(out, [2]float64{low, high})
		}
	}
	return out
}

// places are those in reach of a try.
func places(now int) (out []int) {
	for i := max(0, now-far); i <= min(steps-1, now+far); i++ {
		out = append(out, i)
	}
	return out
}

// room gives the settings around the present one that are allowed.
func (p *Problem) room(ok []bool, now int) (low, high float64) {
	if !ok[now] {
		return math.NaN(), math.NaN()
	}
	i, j := now, now
	for i > 0 && ok[i-1] {
		i--
	}
	for j < steps-1 && ok[j+1] {
		j++
	}
	return p.Low + at(i)*(p.High-p.Low), p.Low + at(j)*(p.High-p.Low)
}

func lowest(mean []float64, ok []bool) int {
	best := -1
	for i, m := range mean {
		if ok[i] && (best < 0 || m < mean[best]) {
			best = i
		}
	}
	return max(0, best)
}

// last sets how a try is to be made and how long it must last: until the error
// of what it tells is a quarter of the spread of J.
func (p *Problem) last(a *Advice, c *cost) {
	target := quarter * c.spread
	half, known := p.halfError(c) // with halfSteps stretches on either side
	if !known {
		half = target
	}
	long := func(n float64) {
		if p.Speed > 0 {
			a.Minutes = n * stretchLen / p.Speed / 60
		}
		if p.PassLength > 0 {
			a.Passes = n * stretchLen / p.PassLength
		}
	}
	if p.ByRows && p.Rows >= 4 {
		a.Design, a.Rows = try.HalfRows, p.Rows/2
		n := math.Ceil(halfSteps * math.Pow(half/target, 2))
		n = math.Max(fewest, math.Min(longest, n))
		a.Stretches = int(n)
		a.SE = half * math.Sqrt(halfSteps/n)
		long(n)
	} else {
		a.Design = try.Switchback
		eight := half * switchSE / halfSE
		passes := 4 * math.Ceil(switchPasses*math.Pow(eight/target, 2)/4) // as ABBA
		if x := p.Left / 2 / (p.PassLength * p.Width); x < passes {       // half of what is left at most
			passes = 4 * math.Floor(x/4)
		}
		passes = math.Max(4, math.Min(mostPasses, passes))
		a.SE = eight * math.Sqrt(switchPasses/passes)
		a.Passes = passes
		if p.PassLength > 0 {
			a.Stretches = int(math.Round(passes * p.PassLength / stretchLen))
			if p.Speed > 0 {
				a.Minutes = passes * p.PassLength / p.Speed / 60
			}
		}
	}
	a.Tries = most
	if g := a.ground(p); p.Left > 0 && g > 0 {
		a.Tries = int(math.Max(1, math.Min(most, p.Left/g)))
	}
}

// ground is what a try plants, m2, NaN unknown.
func (a *Advice) ground(p *Problem) float64 {
	return float64(a.Stretches) * stretchLen * p.Width
}

// settings is how often the lever is set for a try: once and back, or at every
// other pass.
func (a *Advice) settings() float64 {
	if a.Design == try.Switchback {
		return math.Max(2, a.Passes/2)
	}
	return 2
}

// halfError gives the error of J that changing half of the rows has with 40
// stretches on either side: from the changes so far, else from how rows scatter.
func (p *Problem) halfError(c *cost) (float64, bool) {
	var found []float64
	price := map[string]float64{}
	for _, a := range c.aims {
		price[a.Measure] = a.Price
	}
	sums := map[evenstand.Micros]float64{}
	var order []evenstand.Micros
	for i := range p.Effects {
		e := &p.Effects[i]
		w := price[e.Measure]
		if w == 0 || e.Change.Lever != p.Lever || e.Design != try.HalfRows || !e.Known() || e.Steps == 0 {
			continue
		}
		if _, ok := sums[e.Change.T]; !ok {
			order = append(order, e.Change.T)
		}
		sums[e.Change.T] += w * w * e.SE * e.SE * math.Min(1, float64(e.Steps)/halfSteps)
	}
	for _, t := range order {
		found = append(found, math.Sqrt(sums[t]))
	}
	if len(found) > 0 {
		return stat.Median(found), true
	}
	// Rows of an AR(1) with the document's memory, half of them changed.
	v := 0.0
	m := math.Max(2, float64(p.Rows)/2)
	for _, a := range c.aims {
		if !(a.RowSD > 0) {
			return math.NaN(), false
		}
		sd := a.Price * a.RowSD
		v += sd * sd * 2 / halfSteps * (1 + rowMemory) / (1 - rowMemory) * 2 / m
	}
	return math.Sqrt(v), v > 0
}

// draws gives J at every place by draw, given that it bends upwards. What a
// response's price is not known by is in them.
func (c *cost) draws(p *Problem) [][]float64 {
	c.parts = nil
	rng := stat.NewRand(p.Seed, "balance "+p.Lever)
	out := make([][]float64, 0, Draws)
	if c.process {
		l := stat.Normal{Mean: c.mean, Cov: c.cov}.Factor()
		for range Draws {
			z := make([]float64, steps)
			for k := range z {
				z[k] = rng.NormFloat64()
			}
			j := make([]float64, steps)
			for i := range j {
				j[i] = c.mean[i]
				for k := range i + 1 {
					j[i] += l[i][k] * z[k]
				}
			}
			out = append(out, j)
		}
		return out
	}
	factors := make([][][]float64, len(c.of))
	for k := range c.of {
		factors[k] = c.of[k].n.Factor()
	}
	// Draws that bend the other way are drawn again; where nearly all do, they
	// stand.
	for tries := 0; len(out) < Draws; tries++ {
		var sum [3]float64
		d := len(out)
		part := make([][3]float64, len(c.aims))
		for k, a := range c.aims {
			var z [3]float64
			for i := range z {
				z[i] = rng.NormFloat64()
			}
			price := a.Price
			if len(a.Prices) > 0 {
				price = a.Prices[d%len(a.Prices)]
			}
			for i := range sum {
				x := c.of[k].n.Mean[i]
				for q := range i + 1 {
					x += factors[k][i][q] * z[q]
				}
				part[k][i] = x
				sum[i] += price * x
			}
		}
		if !(sum[2] > 0) && tries < 20*Draws {
			continue
		}
		j := make([]float64, steps)
		for i := range j {
			x := quadratic(at(i))
			j[i] = sum[1]*x[1] + sum[2]*x[2] + c.fixed[i]
		}
		out = append(out, j)
		c.parts = append(c.parts, part)
	}
	return out
}

// moves gives what going from one place to another does to each response: to
// those that cost something as the draws of J have it, so that both say the same.
func (p *Problem) moves(c *cost, now, i int) (out []Move) {
	x := less(quadratic(at(i)), quadratic(at(now)))
	for k := range p.Aims {
		m := &p.Aims[k]
		h := p.response(m, p.spreadOf(&m.Curve, 0, m.Spread), 0, 1)
		d, v := h.n.At(x)
		move := Move{m.Measure, m.Price, d, math.Sqrt(v)}
		for q, a := range c.aims {
			if a != m || len(c.parts) == 0 {
				continue
			}
			var sum evenstand.Moments
			for _, part := range c.parts {
				sum.Add(x[1]*part[q][1] + x[2]*part[q][2])
			}
			move.Mean, move.SE = sum.Mean(), sum.SD()
		}
		out = append(out, move)
	}
	return out
}

// anything gives the chance that some allowed setting saves more than worth.
func anything(draws [][]float64, now int, ok []bool, worth float64) float64 {
	n := 0
	for _, j := range draws {
		for i, v := range j {
			if ok[i] && j[now]-v > worth {
				n++
				break
			}
		}
	}
	return float64(n) / float64(len(draws))
}

// bring sets what the try is expected to bring.
func (p *Problem) bring(a *Advice, draws [][]float64, now, i int, share float64) {
	gain, bring := make([]float64, len(draws)), make([]float64, len(draws))
	tried := a.ground(p)
	if !(tried > 0) {
		tried = 0
	}
	better := 0
	for d, j := range draws {
		g := j[now] - j[i]
		gain[d] = g
		if g > 0 {
			better++
		}
	}
	// After it the setting is kept that then is expected to be the better one, by
	// what the try will have told with its error.
	m, v := mean(gain), 0.0
	for _, g := range gain {
		v += (g - m) * (g - m) / float64(len(gain))
	}
	heed := 1.0
	if se := a.SE * a.SE; v+se > 0 {
		heed = v / (v + se)
	}
	rng := stat.NewRand(p.Seed, "told "+p.Lever)
	for d, g := range gain {
		bring[d] = g * share * tried
		if m+heed*(g+a.SE*rng.NormFloat64()-m) > 0 {
			bring[d] += g * math.Max(0, p.Left-tried)
		}
	}
	a.Better = float64(better) / float64(len(draws))
	a.GainMean, a.Gain = m, middle(gain)
	if p.Left > 0 {
		a.BringMean, a.Bring = mean(bring), middle(bring)
	}
}

// about gives J less its value at the present setting: mean and 90 % band.
func about(draws [][]float64, c *cost, now int) (m, low, high []float64) {
	x := make([]float64, len(draws))
	for i := range steps {
		for d, j := range draws {
			x[d] = j[i] - j[now]
		}
		slices.Sort(x)
		m, low, high = append(m, mean(x)), append(low, stat.QuantileSorted(x, 0.05)), append(high, stat.QuantileSorted(x, 0.95))
	}
	return m, low, high
}

func mean(x []float64) float64 {
	s := 0.0
	for _, v := range x {
		s += v
	}
	return s / float64(len(x))
}

func middle(x []float64) evenstand.Range {
	s := slices.Clone(x)
	slices.Sort(s)
	q := func(p float64) evenstand.Number { return evenstand.Number(stat.QuantileSorted(s, p)) }
	return evenstand.Range{Low: q(0.1), Mid: q(0.5), High: q(0.9)}
}

// A Panel is one response, or what all of them cost, against the setting, for
// drawing: 41 places between the operator's limits.
type Panel struct {
	Measure         string // empty: J less its value at the present setting
	At              []float64
	Mean, Low, High []float64 // 90 % band
	Least, Most     float64   // limits; NaN none
	Level           bool      // values are those of the response; else differences from the present setting
	Chance          []float64 // of being within the limits; nil without
}

// Panels gives the responses and J against the setting.
func Panels(p *Problem, a *Advice) (out []Panel) {
	if !p.known() {
		return nil
	}
	places := make([]float64, steps)
	for i := range places {
		places[i] = p.Low + at(i)*(p.High-p.Low)
	}
	_, each := p.chances()
	z := stat.NormalQuantile(0.95)
	for k := range p.Aims {
		m := &p.Aims[k]
		spread := p.spreadOf(&m.Curve, 0, m.Spread)
		if math.IsNaN(spread) {
			continue
		}
		h := p.response(m, spread, 0, 1)
		for q := range a.believed {
			if a.believed[q] == m.Measure {
				h = a.of[q] // as J has it
			}
		}
		pn := Panel{Measure: m.Measure, At: places, Least: m.Least, Most: m.Most, Level: !math.IsNaN(m.Now)}
		for i := range places {
			d, v := h.n.At(less(quadratic(at(i)), quadratic(p.scaled(p.Now))))
			sd := math.Sqrt(v)
			if pn.Level {
				if d += m.Now; m.NowSE > 0 {
					sd = math.Hypot(sd, m.NowSE)
				}
			}
			low, high := d-z*sd, d+z*sd
			if g, ok := group.ByID(m.Measure); ok && g.Unit == "fraction" && pn.Level { // a share, or a scatter
				d, low, high = math.Max(0, d), math.Max(0, low), math.Max(0, high)
			}
			pn.Mean, pn.Low, pn.High = append(pn.Mean, d), append(pn.Low, low), append(pn.High, high)
		}
		if one, ok := each[m.Measure]; ok {
			pn.Chance = one[:]
		}
		out = append(out, pn)
	}
	if len(a.jMean) > 0 {
		out = append(out, Panel{At: places, Mean: a.jMean, Low: a.jLow, High: a.jHigh, Least: math.NaN(), Most: math.NaN()})
	}
	return out
}

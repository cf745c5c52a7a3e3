package sim

import (
	"math"
	"math/rand/v2"

	"evenstand"
	"evenstand/core/relation"
)

// The liquid of simulator.md section 6: a loop that holds the asked rate, a
// meter for the whole machine and one a row.
const (
	liquidTau    = 1.2   // s, the loop's answer to the speed
	liquidNoise  = 0.015 // of the machine's meter, five times a second
	flowNoise    = 0.05  // of a row's meter, a second, with
	flowAR       = 0.5   // the correlation of neighbouring seconds
	flowRowSD    = 0.015 // between healthy rows: orifice and meter
	liquidScale  = 0.005 // of the machine's meter, that nobody calibrated away (judgement)
	liquidEvery  = 60.0  // s between readings of the target
	litreHectare = 1e-3 / evenstand.Hectare
)

// liquid is the truth of one moment: m3/s by row, and over target by what the
// machine's meter reads.
type liquid struct {
	rows []float64
	read float64 // of the whole machine, as its meter shows it
}

// liquidBox writes what the liquid monitor logs: a row a second, the machine's
// rate and what is asked for.
type liquidBox struct {
	out      output
	clock    clock
	s        *Scenario
	g        *rand.PCG
	row      []float64 // lasting factor of a row
	noise    []float64
	scale    float64
	speed    float64 // as the loop follows it
	target   float64 // s of the day at which it was last written
	readings []evenstand.Reading
	now      liquid
	still    float64 // s that it has stood
	tanks    *tanks  // nil: no level is logged
}

func newLiquidBox(s *Scenario, dir string) (*liquidBox, error) {
	out, err := folder(s, dir, "liquid", "liquid monitor")
	b := &liquidBox{
		out: out, clock: s.boxClock(s.box("liquid")), s: s, g: stream(s.Seed, "liquid box", -1, 0), target: math.Inf(-1),
		noise: make([]float64, s.Planter.Rows), now: liquid{rows: make([]float64, s.Planter.Rows)},
	}
	b.scale = 1 + liquidScale*math.Max(-2, math.Min(2, normal(b.g)))
	for r := range s.Planter.Rows {
		g := stream(s.Seed, "liquid row", r+1, 0)
		b.row = append(b.row, 1+flowRowSD*normal(g))
		b.noise[r] = normal(g)
	}
	return b, err
}

func (b *liquidBox) see(m *moment) error {
	lg := m.leg
	b.readings = b.readings[:0]
	if b.tanks != nil {
		b.tanks.next = 0
	}
	if !lg.logged || !lg.works() {
		if b.tanks != nil {
			b.tanks.step(b, m, lg.n, nil)
		}
		return b.out.Readings(b.readings)
	}
	s := b.s
	perSecond := int(math.Round(1 / tick))
	cursor := make([]int, len(m.rows))
	keep := math.Exp(-slowTick / liquidTau)
	b.speed = lg.v[lg.down]
	var machine, n float64
	first, last := lg.down-lg.down%slow+slow, lg.up
	// What runs while the planter is lifted or stands is logged as well.
	spill := 0.0
	for _, f := range m.faults {
		if f.Kind == evenstand.KindLiquidWithoutSeed && f.begun && !f.over && f.t0 < lg.start() {
			spill = f.Strength
			if f.turns++; f.ran == 0 {
				f.ran = lg.start()
			}
		}
	}
	if spill > 0 {
		first = slow
	}
	for i := first; i < last; i += slow {
		t := lg.seconds(i)
		if i < lg.down {
			if i%perSecond == 0 {
				b.lifted(lg, i, spill)
			}
			continue
		}
		v := lg.v[i]
		b.speed = v + keep*(b.speed-v)
		b.flows(m, t, cursor)
		b.missed(m, t, v)
		if b.tanks != nil {
			b.tanks.step(b, m, i, nil)
			b.tanks.step(b, m, i+slow, b.tanks.goes(m, b.now.rows, t))
		}
		machine += b.now.read * (1 + liquidNoise*normal(b.g))
		n++
		if i%perSecond != 0 {
			continue
		}
		at := b.clock.logs((lg.first + int64(i)) * int64(tick*1e6))
		say := func(q evenstand.Quantity, e evenstand.Element, v float64) {
			b.readings = append(b.readings, evenstand.Reading{T: at, Quantity: q, Element: e, Value: v})
		}
		if t-b.target >= liquidEvery {
			say(evenstand.LiquidRateTarget, evenstand.Element{}, s.Output.Liquid*litreHectare)
			b.target = t
		}
		rate := 0.0
		if v > 0.3 {
			rate = machine / n / (v * s.width())
		}
		say(evenstand.LiquidRate, evenstand.Element{}, math.Min(rate, 0.009))
		machine, n = 0, 0
		for r, f := range b.now.rows {
			b.noise[r] = flowAR*b.noise[r] + math.Sqrt(1-flowAR*flowAR)*normal(b.g)
			say(evenstand.LiquidFlow, evenstand.RowElement(r+1), math.Max(0, f*(1+flowNoise*b.noise[r])))
		}
	}
	if b.tanks != nil {
		b.tanks.step(b, m, lg.n, nil)
	}
	return b.out.Readings(b.readings)
}

// lifted writes a second in which the planter is lifted and a share of the usual
// runs.
func (b *liquidBox) lifted(lg *leg, i int, share float64) {
	at := b.clock.logs((lg.first + int64(i)) * int64(tick*1e6))
	flow := share * b.s.Output.Liquid * litreHectare * b.s.Drive.Speed * b.s.Planter.RowSpacing
	for r := range b.row {
		b.readings = append(b.readings, evenstand.Reading{T: at, Quantity: evenstand.LiquidFlow, Element: evenstand.RowElement(r + 1), Value: flow * b.row[r]})
	}
}

// flows settles what every row gets at t: the loop holds the total by its
// meter, so what a blocked row does not take the others get.
func (b *liquidBox) flows(m *moment, t float64, cursor []int) {
	s := b.s
	total := s.Output.Liquid * litreHectare * b.speed * s.Planter.RowSpacing // a row
	meter, held := b.scale, 1.0
	for _, f := range m.faults {
		if f.Kind == evenstand.KindLiquidRateOff && f.at(t) {
			x := 1 + f.Strength*f.grown(t)
			if f.Variant == "meter" {
				meter *= x // the meter reads too little by as much as goes on too much
			} else {
				held *= x
			}
		}
	}
	v := m.leg.v[m.leg.index(int(math.Round(t/tick))-int(m.leg.first))]
	for _, f := range m.faults {
		if f.Kind == evenstand.KindFlowHunting && f.at(t) {
			pace := 1.0
			if f.Variant == "drive" {
				pace = v / s.Drive.Speed
			}
			held *= 1 + f.Strength*f.grown(t)*f.swing(0, pace)
		}
	}
	standing := v < 0.1
	for _, f := range m.faults {
		switch {
		case f.Kind == evenstand.KindSeedWithoutLiquid && f.at(t):
			held *= f.Strength
		case f.Kind == evenstand.KindPuddle && f.at(t) && standing:
			total = max(total, f.Strength*s.Output.Liquid*litreHectare*s.Drive.Speed*s.Planter.RowSpacing)
			b.still += slowTick
			f.stood = max(f.stood, b.still)
			if f.ran == 0 {
				f.ran = t
			}
		}
	}
	if !standing {
		b.still = 0
	}
	weights, sum, on := make([]float64, len(m.rows)), 0.0, 0.0
	for k, r := range m.rows {
		for cursor[k] < len(r.off) && r.off[cursor[k]].to <= t {
			cursor[k]++
		}
		if cursor[k] < len(r.off) && r.off[cursor[k]].from <= t {
			continue
		}
		x := b.row[k]
		for _, f := range m.faults {
			if f.has[r.n] && (f.Kind == evenstand.KindLiquidRowLow || f.Kind == evenstand.KindLiquidRowHigh) && f.at(t) {
				x *= 1 + (f.Strength-1)*f.grown(t)
			}
		}
		weights[k] = x
		sum += x
		on++
	}
	for _, f := range m.faults {
		if f.Kind == evenstand.KindPumpLimit && f.at(t) && on > 0 && total > 0 {
			most := f.limit(s, t) * s.Output.Liquid * litreHectare * s.Planter.RowSpacing * float64(len(m.rows)) / on
			part := min(1, most/total)
			total *= part
			f.pumped(s, t, part, v, on)
		}
	}
	for k := range b.now.rows {
		b.now.rows[k] = 0
		if sum > 0 {
			b.now.rows[k] = total * held * meter * on * weights[k] / sum
		}
	}
	b.now.read = total * held * on
}

// missed adds up what the rows of faults did not get, at v.
func (b *liquidBox) missed(m *moment, t, v float64) {
	asked := b.s.Output.Liquid * litreHectare * v * b.s.Planter.RowSpacing
	for _, f := range m.faults {
		if f.Kind != evenstand.KindLiquidRowLow && f.Kind != evenstand.KindSeedWithoutLiquid || !f.at(t) {
			continue
		}
		for k, r := range m.rows {
			if f.Kind == evenstand.KindSeedWithoutLiquid || f.has[r.n] {
				f.missed += (asked - b.now.rows[k]) * slowTick
			}
		}
	}
}

func (b *liquidBox) close() error { return b.out.Close() }

// at tells whether the fault is at work at a second of the present leg.
func (f *fault) at(t float64) bool { return t >= f.w0-1e-9 && t < f.w1-1e-9 }

// liquidKinds are the kinds whose truth is an amount of product.
func liquidKind(kind string) bool {
	return kind == evenstand.KindLiquidRowLow || kind == evenstand.KindLiquidRowHigh || kind == evenstand.KindLiquidRateOff
}

// starter draws the day's true loss by a starter that is missed, as a share of
// the yield, from a generator of its own; what is short of it costs in
// proportion (judgement: nobody has published the curve).
func (s *Scenario) starter() float64 {
	low, likely, high := relation.Must("R17-fertilizer", "missed starter").Range()
	return round(relation.Triangular(low, likely, high, uniform(stream(s.Seed, "relations of liquid", -1, 0)))/100, 6)
}

// starterLost gives the bushels that a fault of the liquid cost, and the m2 of
// row that got none of it, as an equivalent.
func (w *world) starterLost(f *fault) (bushels, area float64) {
	s := w.s
	short := 1 - f.Strength
	if f.Kind == evenstand.KindLiquidRateOff {
		short = -f.Strength
	}
	if f.Ramp > 0 && f.planting > 0 { // while it grew it did half as much
		grew := math.Min(1, f.Ramp*60/f.planting)
		short *= 1 - grew/2
	}
	area = math.Max(0, short) * f.metres * s.Planter.RowSpacing * float64(len(f.rows))
	return area * s.Money.Yield / evenstand.Acre * w.tot.Coefficients.Starter, area
}

package sim

import (
	"fmt"
	"maps"
	"math"
	"math/rand/v2"

	"evenstand"
)

// Tanks, seed boxes, and what people write down of their fills. What is not in
// the methods document is judged.
const (
	gaugeEvery  = 5.0  // s between readings of a level
	gaugeNoise  = 0.01 // of the tank's size, while it moves (slosh), with
	gaugeAR     = 0.8  // the correlation of readings five seconds apart
	gaugeStill  = 0.004
	gaugeBias   = 0.004 // of its size, for the whole day
	fillWritten = 0.005 // of a fill, the error of the pump's counter
	tankLead    = 1800  // s of work before a tank is empty: by then it must be said
	tankNear    = 4500  // the same, with what is not known of it: said sooner where less is known
	unitSeeds   = 80000 // R19
)

// tanks is the liquid and the seed on board.
type tanks struct {
	s     *Scenario
	g     *rand.PCG
	size  float64 // m3, of each
	level []float64
	used  []float64 // m3 planted out of each
	bias  []float64
	slosh []float64
	next  int // slow tick of the leg up to which they were carried

	boxes float64 // seeds that the boxes hold
	seeds float64 // in them at the last fill
	base  float64 // seeds dropped by then

	fill struct {
		from, to []float64 // levels before and after the fill that is going on
		noted    []float64 // m3 as written down
		units    float64
	}
	low     map[int]*lowTank // by tank from 1, 0 the seed boxes
	periods []lowTank
	worked  float64 // s of the day at work
}

// lowTank is a time in which something was about to run out.
type lowTank struct {
	tank       int
	from, to   float64
	params     map[string]float64
	planted    float64 // s
	areaAtFrom float64
}

func newTanks(s *Scenario) *tanks {
	g := stream(s.Seed, "tanks", -1, 0)
	t := &tanks{s: s, g: g, low: map[int]*lowTank{}}
	n := s.Output.Tanks
	perFill := s.Timetable.RefillHa * evenstand.Hectare // m2 between fills
	if perFill == 0 {
		perFill = 16 * evenstand.Hectare
	}
	t.size = round(perFill*s.Output.Liquid*litreHectare/float64(n)*between(g, 1.12, 1.7), 2)
	for range n {
		t.level = append(t.level, t.size*between(g, 0.9, 1))
		t.used = append(t.used, 0)
		t.bias = append(t.bias, gaugeBias*t.size*normal(g))
		t.slosh = append(t.slosh, normal(g))
	}
	t.boxes = math.Ceil(perFill*s.perM2()*between(g, 1.05, 1.4)/unitSeeds) * unitSeeds
	first := t.boxes * between(g, math.Min(1, math.Max(0.8, 1.03*perFill*s.perM2()/t.boxes)), 1)
	t.fill.units = math.Round(first * between(g, 0.8, 1) / unitSeeds)
	t.seeds = first
	return t
}

// rowsOf gives the rows that a tank feeds, from 1.
func (s *Scenario) rowsOf(tank int) evenstand.Rows {
	n, rows := max(1, s.Output.Tanks), s.Planter.Rows
	return span((tank-1)*rows/n+1, tank*rows/n)
}

// plan settles a fill before it happens: what goes in and what is written.
func (t *tanks) plan(w *world) {
	t.fill.to, t.fill.noted = t.fill.to[:0], t.fill.noted[:0]
	t.fill.from = append(t.fill.from[:0], t.level...)
	for _, l := range t.level {
		to := math.Max(l, t.size*between(t.g, 0.93, 1))
		t.fill.to = append(t.fill.to, to)
		// As the pump's counter has it, to the gallon.
		t.fill.noted = append(t.fill.noted, math.Round((to-l)*(1+fillWritten*normal(t.g))/gallon)*gallon)
	}
	left := t.left(w)
	t.fill.units = math.Max(0, math.Floor((t.boxes-left)/unitSeeds)) // bags that go in whole
	t.close(w, w.seconds())
	t.seeds, t.base = left+t.fill.units*unitSeeds, w.tot.Dropped
}

const gallon = 0.003785411784 // m3, US liquid gallon (exact)

func (t *tanks) left(w *world) float64 { return t.seeds - (w.tot.Dropped - t.base) }

// step carries the tanks to a slow tick of the leg while so much of each goes
// out a second.
func (t *tanks) step(b *liquidBox, m *moment, to int, out []float64) {
	lg := m.leg
	for ; t.next < to; t.next += slow {
		at := lg.seconds(t.next)
		for k := range t.level {
			if m.refill { // in the middle of the stand
				part := (at - lg.start()) / (lg.end() - lg.start())
				if part > 0.2 && part < 0.8 {
					t.level[k] += (t.fill.to[k] - t.fill.from[k]) * slowTick / (0.6 * (lg.end() - lg.start()))
				}
			}
			var q float64
			if out != nil {
				q = out[k]
				t.used[k] += q * slowTick
			}
			for _, f := range m.faults {
				if f.Kind == evenstand.KindTankDisagrees && f.Variant == "leak" && k == 0 && f.begun && at >= f.t0 && at < f.t0+f.Minutes*60 {
					q += f.Strength * 1e-3 / 60
					f.ran += f.Strength * 1e-3 / 60 * slowTick
				}
			}
			t.level[k] = math.Max(0, t.level[k]-q*slowTick)
		}
		if !lg.logged || t.s.Output.NoGauge {
			continue
		}
		if every := int(math.Round(gaugeEvery / tick)); (int(lg.first)+t.next)%every == 0 {
			moves := 0.0
			if !lg.stand {
				moves = math.Min(1, lg.v[lg.index(t.next)])
			}
			for k := range t.level {
				t.slosh[k] = gaugeAR*t.slosh[k] + math.Sqrt(1-gaugeAR*gaugeAR)*normal(t.g)
				sd := t.size * (gaugeStill + (gaugeNoise-gaugeStill)*moves)
				b.readings = append(b.readings, evenstand.Reading{
					T: b.clock.logs((lg.first + int64(t.next)) * int64(tick*1e6)), Quantity: evenstand.TankContent,
					Element: evenstand.Element{Scope: evenstand.ScopeTank, N: int16(k + 1)}, Value: math.Max(0, t.level[k]+t.bias[k]+sd*t.slosh[k]),
				})
			}
		}
	}
}

// goes splits what runs to the rows over the tanks, a second.
func (t *tanks) goes(m *moment, rows []float64, at float64) (out []float64) {
	out = make([]float64, len(t.level))
	total := 0.0
	for k := range out {
		for _, r := range t.s.rowsOf(k + 1) {
			out[k] += rows[r-1]
		}
		total += out[k]
	}
	for _, f := range m.faults {
		switch {
		case f.Kind == evenstand.KindTankDisagrees && f.Variant == "meter" && f.at(at):
			for k := range out {
				out[k] *= 1 + f.Strength
			}
		case f.Kind == evenstand.KindFillImbalance && f.at(at) && len(out) == 2:
			out[0], out[1] = out[0]+total*f.Strength/4, out[1]-total*f.Strength/4
		}
	}
	return out
}

// after looks at the end of a leg whether something runs out soon.
func (t *tanks) after(w *world, lg *leg) {
	if lg.stand {
		return
	}
	t.worked += float64(lg.n) * tick
	if w.tot.Area <= 0 || t.worked < 600 {
		return
	}
	pace := w.tot.Area / t.worked
	for tank := range len(t.level) + 1 {
		area := t.area(w, tank)
		low := t.low[tank]
		if low == nil && area/pace < tankLead {
			t.low[tank] = &lowTank{tank: tank, from: lg.end(), areaAtFrom: w.tot.Area}
		}
	}
}

// area is how much ground the whole planter does with what is left, m2.
func (t *tanks) area(w *world, tank int) float64 {
	if tank == 0 {
		return t.left(w) / (w.tot.Dropped / w.tot.Area)
	}
	return t.level[tank-1] / (t.used[tank-1] / w.tot.Area)
}

// close ends the times in which something was about to run out: it was filled,
// or the day is over.
func (t *tanks) close(w *world, at float64) {
	for tank := range len(t.level) + 1 {
		low := t.low[tank]
		if low == nil {
			continue
		}
		low.to = at
		low.params = map[string]float64{"left_" + tankName(tank): round(t.holds(w, tank), 4), "area_m2": round(t.area(w, tank), 0)}
		low.planted = at - low.from
		t.periods = append(t.periods, *low)
		delete(t.low, tank)
	}
}

func (t *tanks) holds(w *world, tank int) float64 {
	if tank == 0 {
		return t.left(w)
	}
	return t.level[tank-1]
}

func tankName(tank int) string {
	if tank == 0 {
		return "seed"
	}
	return fmt.Sprintf("tank_%d", tank)
}

// tankFaults are the times in which something was about to run out; where two
// ran out together, it is one that goes before.
func (w *world) tankFaults() (out []Fault) {
	t := w.tanks
	if t == nil {
		return nil
	}
	// What would have been said soon when the day ended is true as well.
	for tank := range len(t.level) + 1 {
		if w.tot.Area > 0 && t.low[tank] == nil && t.area(w, tank)*t.worked/w.tot.Area < tankNear {
			end := w.s.t0 + evenstand.FromSeconds(w.seconds())
			out = append(out, Fault{
				ID: "nearly low, " + tankName(tank), Kind: evenstand.KindRefillSoon, Variant: "at the end", Rows: span(1, w.s.Planter.Rows),
				From: end - evenstand.FromSeconds(tankNear-tankLead), To: end, Params: map[string]float64{}, Cause: evenstand.CauseUsedUp, Causes: []string{evenstand.CauseUsedUp},
				Excused: []string{evenstand.KindRefillSoon}, Distract: true, Ratio: 1, Happened: true, Grade: w.s.Output.Grade,
			})
			break
		}
	}
	t.close(w, w.seconds())
	for _, p := range t.periods {
		if k := len(out) - 1; k >= 0 && out[k].To == w.s.t0+evenstand.FromSeconds(p.to) { // filled together
			f := &out[k]
			f.From = min(f.From, w.s.t0+evenstand.FromSeconds(p.from))
			f.Detectable = f.Detectable || p.planted >= 600
			if f.Params["area_m2"] > p.params["area_m2"] {
				f.Variant, f.Params["area_m2"] = tankName(p.tank), p.params["area_m2"]
			}
			maps.Copy(p.params, map[string]float64{"area_m2": f.Params["area_m2"]})
			maps.Copy(f.Params, p.params)
			continue
		}
		out = append(out, Fault{
			ID: fmt.Sprintf("low %d", len(out)+1), Kind: evenstand.KindRefillSoon, Variant: tankName(p.tank), Rows: span(1, w.s.Planter.Rows),
			From: w.s.t0 + evenstand.FromSeconds(p.from), To: w.s.t0 + evenstand.FromSeconds(p.to), Params: p.params,
			Cause: evenstand.CauseUsedUp, Causes: []string{evenstand.CauseUsedUp}, Expected: evenstand.KindRefillSoon,
			Excused: []string{evenstand.KindRefillSoon}, Ratio: 1, Happened: true, Grade: w.s.Output.Grade,
			Detectable: p.planted >= 600,
		})
	}
	return out
}

// tankTold tells whether a fault of a tank is as strong as tests demand, as
// measured on development days (docs/measured.md).
func (s *Scenario) tankTold(f *fault) bool {
	if s.Output.Tanks == 0 || s.Output.NoGauge {
		return false
	}
	size := newTanks(s).size
	if f.Variant == "leak" {
		return f.ran >= 0.08*size && f.Minutes <= 90
	}
	return math.Abs(f.Strength) >= 0.08 && f.metres*s.width() >= 16*evenstand.Hectare
}

// seconds is the time of the day.
func (w *world) seconds() float64 { return float64(w.now) * tick }

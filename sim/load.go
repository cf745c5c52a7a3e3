package sim

import (
	"fmt"
	"math"
	"math/rand/v2"

	"evenstand"
)

// Row load after simulator.md section 5: what the ground needs by soil zone and
// speed, a resonance of the row on its wheels, a heavy lower tail.
const (
	loadEvery   = slowTick // s between readings inside the box
	zoneLight   = 800.0    // N that a row needs at 2.2 m/s and 50 mm
	zoneMiddle  = 1150.0
	zoneHeavy   = 1500.0
	needSpeed   = 60.0 / 0.45 // N for each m/s above 2.2
	zoneLength  = 80.0        // m: the soil is alike over some 180 m
	loadSD      = 120.0       // N at 2.2 m/s
	wheelHz     = 1.8
	wheelDamp   = 0.25
	lowShare    = 0.08 // of readings in the lower tail,
	lowMean     = 1.6  // SDs that it hangs below, mean
	offTheWheel = 90.0 // N at and below which a wheel turns free
	loadTarget  = 800.0
	loadRowSD   = 20.0  // N between rows' sensors (judgement)
	forceTau    = 0.6   // s of the actuator
	forceMost   = 2600. // N of added force at most
)

// Zones of the soil.
const (
	light = iota
	middle
	heavy
)

// soil is a random field of soil over the plane: a sum of waves whose lengths
// are those of a Gaussian covariance.
type soil struct{ kx, ky, phase []float64 }

func newSoil(g *rand.PCG, length float64) *soil {
	const waves = 40
	s := &soil{}
	for range waves {
		s.kx, s.ky = append(s.kx, normal(g)/length), append(s.ky, normal(g)/length)
		s.phase = append(s.phase, 2*math.Pi*uniform(g))
	}
	return s
}

// at is the field at a place, mean 0 and SD 1.
func (s *soil) at(p xy) float64 {
	v := 0.0
	for i := range s.kx {
		v += math.Cos(s.kx[i]*p.x + s.ky[i]*p.y + s.phase[i])
	}
	return v * math.Sqrt(2/float64(len(s.kx)))
}

// zoneOf parts the field at its 30 % and 75 % quantiles.
func zoneOf(v float64) int {
	switch {
	case v < -0.5244:
		return light
	case v > 0.6745:
		return heavy
	}
	return middle
}

var zoneNeed = [...]float64{zoneLight, zoneMiddle, zoneHeavy}

// loadBox writes what the box of row force logs: load and applied force, once a
// second or five times, and the share of the second off the ground.
type loadBox struct {
	out      output
	clock    clock
	s        *Scenario
	soil     map[*field]*soil
	texture  map[*field]*soil
	rows     []loadRow
	readings []evenstand.Reading
	tally    map[*fault]*loadTally
	targets  targetLog
}

type loadRow struct {
	g          *rand.PCG
	own        float64 // its sensor's offset
	x1, x2     float64 // of the resonance
	force      float64
	begun      bool
	zone       int
	off, count float64
	last       float64
}

// loadTally is what a fault of the load truly did.
type loadTally struct {
	first, last float64 // s of the day
	area        float64 // m2 of row on which it was at work
	way         float64 // m of row, the most of any row
	byRow       []float64
	off, off0   float64 // readings off the ground, with and without it
	n           float64
}

func newLoadBox(s *Scenario, dir string) (*loadBox, error) {
	out, err := folder(s, dir, "load", "row force")
	b := &loadBox{out: out, clock: s.boxClock(s.box("load")), s: s, soil: map[*field]*soil{}, texture: map[*field]*soil{}, tally: map[*fault]*loadTally{}}
	for r := range s.Planter.Rows {
		g := stream(s.Seed, "wheel load", r+1, 0)
		row := loadRow{g: g, own: loadRowSD * normal(g), x1: normal(g)}
		if s.SeasonSeed != 0 {
			row.own = loadRowSD * normal(stream(s.SeasonSeed, "wheel load", r+1, 0))
		}
		b.rows = append(b.rows, row)
	}
	return b, err
}

func (b *loadBox) see(m *moment) error {
	lg := m.leg
	if !lg.logged || !lg.works() {
		return nil
	}
	s := b.s
	if b.soil[lg.field] == nil {
		b.soil[lg.field] = newSoil(stream(s.Seed, "soil of "+lg.field.plan.Name, -1, 0), zoneLength)
		b.texture[lg.field] = newSoil(stream(s.Seed, "texture of "+lg.field.plan.Name, -1, 0), 25)
	}
	ground, texture := b.soil[lg.field], b.texture[lg.field]
	// AR(2) of a damped oscillator, of unit variance.
	w := 2 * math.Pi * wheelHz
	e := math.Exp(-wheelDamp * w * loadEvery)
	a1, a2 := 2*e*math.Cos(w*math.Sqrt(1-wheelDamp*wheelDamp)*loadEvery), -e*e
	rho := a1 / (1 - a2)
	push := math.Sqrt(1 - a1*rho - a2*(a1*rho+a2))
	keep := math.Exp(-loadEvery / forceTau)
	perSecond := int(math.Round(1 / tick))
	b.readings = b.readings[:0]
	fast := s.Output.ForceHz >= 2.5
	for i := lg.down - lg.down%slow + slow; i < lg.up; i += slow {
		t := lg.seconds(i)
		v := lg.v[i]
		if v < 0.3 {
			continue
		}
		left := heading(lg.psi[i]).left()
		for k := range b.rows {
			r := &b.rows[k]
			y := m.rows[k].y // right of the bar's centre
			p := xy{lg.bx[i], lg.by[i]}.sub(left.mul(y))
			if fast || i%perSecond < slow || r.count == 0 {
				r.zone = zoneOf(ground.at(p)) // once a second: 4 m
				r.last = 60 * texture.at(p)
			}
			was := r.force
			need := zoneNeed[r.zone] + r.last + needSpeed*(v-2.2)
			want := zoneMiddle + needSpeed*(s.Drive.Speed-2.2) + loadTarget - rowWeight // one setting for the field
			if s.Output.WheelLoad == "auto" {
				want = math.Min(forceMost, need+loadTarget-rowWeight)
				if r.force == 0 {
					r.force = want
				}
				want = want + keep*(r.force-want)
			}
			mount := 0.0
			if bd := m.board; bd != nil {
				need, want, _ = bd.pressed(nil, k+1, t, zoneNeed[r.zone]+r.last+needSpeed*(v-2.2), v)
				if r.begun {
					want += keep * (was - want)
				}
				for _, a := range bd.mounted[k+1] {
					mount += a.Load
				}
			}
			r.begun = true
			r.force = want
			z, u, tail := normal(r.g), uniform(r.g), uniform(r.g)
			x := a1*r.x1 + a2*r.x2 + push*z
			r.x2, r.x1 = r.x1, x
			sd := loadSD * math.Sqrt(v/2.2)
			dyn := sd * x
			if u < lowShare {
				dyn += sd * lowMean * math.Log(tail)
			}
			load := rowWeight + r.force - need + dyn + mount
			if m.board != nil {
				b.set(m.board, k+1, t, v, zoneNeed[r.zone]+r.last+needSpeed*(v-2.2), keep, was, load, r.force, dyn, mount)
			}
			extra, pushed := 0.0, 0.0
			for _, f := range m.faults {
				if f.Kind == evenstand.KindForceHunting && f.has[k+1] && f.at(t) {
					x := f.Strength * f.grown(t) * f.swing(k, 1)
					extra += x // the wheels carry what the row is pressed with
					pushed += x
				}
				if f.Kind == evenstand.KindCleanerUpset && f.has[k+1] && f.at(t) && f.inBurst(t) {
					extra -= upsetLoad * f.Strength / upsetTrash // what it rides on lifts the row
				}
				if !loadKind(f.Kind) || !f.has[k+1] || !f.at(t) {
					continue
				}
				dl, df, there := f.presses(r.zone)
				if !there {
					continue
				}
				extra += dl * f.grown(t)
				pushed += df * f.grown(t)
				b.note(f, k, t, v*loadEvery, load, load+extra)
			}
			load = math.Max(0, load+extra)
			r.count++
			if load <= offTheWheel {
				r.off++
			}
			second := i%perSecond >= perSecond-slow
			if bd := m.board; second && k == 0 && bd != nil && bd.used[leverLoad] {
				at := b.clock.logs((lg.first + int64(i)) * int64(tick*1e6))
				b.targets.say(bd, leverLoad, t, i%(10*perSecond) >= 9*perSecond, func(e evenstand.Element, v float64) {
					b.readings = append(b.readings, evenstand.Reading{T: at, Quantity: evenstand.GaugeWheelLoadTarget, Element: e, Value: v})
				})
			}
			if second || fast {
				at := b.clock.logs((lg.first + int64(i)) * int64(tick*1e6))
				el := evenstand.RowElement(k + 1)
				b.readings = append(b.readings,
					evenstand.Reading{T: at, Quantity: evenstand.AppliedForce, Element: el, Value: math.Round(r.force + pushed)},
					evenstand.Reading{T: at, Quantity: evenstand.GaugeWheelLoad, Element: el, Value: math.Round(math.Max(0, load+r.own))})
				if second {
					b.readings = append(b.readings, evenstand.Reading{T: at, Quantity: evenstand.WheelOffShare, Element: el, Value: round(r.off/r.count, 3)})
					r.off, r.count = 0, 0
				}
			}
		}
	}
	return b.out.Readings(b.readings)
}

// set notes what changes of settings did to one reading of a row: the force runs
// on beside as it would have without each.
func (b *loadBox) set(bd *board, row int, t, v, need, keep, was, load, force, dyn, mount float64) {
	for _, l := range [...]int{leverLoad, leverForce, leverMode, leverDepth, leverSpeed} {
		x := bd.last(l, row, t)
		if x == nil {
			continue
		}
		n, want, slow := bd.pressed(x, row, t, need, v)
		if math.IsNaN(x.force[row]) {
			x.force[row] = was
		}
		x.force[row] = want + keep*(x.force[row]-want)
		without := rowWeight + x.force[row] - n + dyn*math.Sqrt(slow/v) + mount
		x.add(row, onLoad, math.Max(0, load), math.Max(0, without))
		x.add(row, onForce, force, x.force[row])
		x.add(row, onOff, off(load), off(without))
	}
}

// off is 1 where a load is off the ground.
func off(load float64) float64 {
	if load <= offTheWheel {
		return 1
	}
	return 0
}

// note keeps what the fault did to one reading of a row.
func (b *loadBox) note(f *fault, row int, t, way, before, after float64) {
	x := b.tally[f]
	if x == nil {
		x = &loadTally{first: t, byRow: make([]float64, len(b.rows))}
		b.tally[f] = x
	}
	x.last = t
	x.area += way * b.s.Planter.RowSpacing
	x.byRow[row] += way
	x.way = max(x.way, x.byRow[row])
	x.n++
	if before <= offTheWheel {
		x.off0++
	}
	if after <= offTheWheel {
		x.off++
	}
}

func (b *loadBox) close() error { return b.out.Close() }

func loadKind(kind string) bool {
	return kind == evenstand.KindContactLoss || kind == evenstand.KindOverload
}

// presses is what the fault adds to load and applied force in a zone, N, and
// whether it is at work there.
func (f *fault) presses(zone int) (load, force float64, there bool) {
	switch {
	case f.Kind == evenstand.KindContactLoss && f.Variant == "zone":
		return -f.Strength, -f.Strength, zone == heavy
	case f.Kind == evenstand.KindContactLoss && f.Variant == "actuator":
		return -f.Strength, -f.Strength, true
	case f.Kind == evenstand.KindContactLoss: // worn parts: the ground needs more, and the row is not given it
		return -f.Strength, 0, true
	case f.Variant == "zone":
		return f.Strength, f.Strength, zone == light
	}
	return f.Strength, f.Strength, true
}

// pressed fits a fault of the load to its variant: worn parts are a row's.
func (s *Scenario) pressed(p *FaultPlan, variant string) error {
	switch {
	case !loadKind(p.Kind):
	case s.Output.WheelLoad == "":
		return fmt.Errorf("%s: say output.wheel_load, so that there is a load", p.Kind)
	case p.Rows == "" && variant != "zone" && p.Kind == evenstand.KindContactLoss:
		return fmt.Errorf("%s by %s: say rows", p.Kind, variant)
	}
	return nil
}

// detected tells whether a fault of the load was as strong and long as tests
// demand a finding for (methods.md, "Detectable").
func (b *loadBox) detected(f *fault) bool {
	x := b.tally[f]
	switch {
	case x == nil:
		return false
	case f.Kind == evenstand.KindOverload:
		return f.Strength >= 250 && x.area >= evenstand.Hectare
	case (x.off-x.off0)/x.n < 0.03:
		return false
	case f.Variant == "zone":
		return x.area >= 0.5*evenstand.Hectare
	}
	return x.way >= 150
}

// settle puts what a fault of the load truly did into its line of truth.
func (b *loadBox) settle(f *fault, t *Fault) {
	x := b.tally[f]
	t.Happened, t.Detectable = x != nil, b.detected(f)
	if x == nil {
		return
	}
	t.From, t.To = b.s.t0+evenstand.FromSeconds(x.first), b.s.t0+evenstand.FromSeconds(x.last)
	t.Way = round(x.way, 1)
	t.Params["area_ha"] = round(x.area/evenstand.Hectare, 3)
	t.Params["off"], t.Params["off_without"] = round(x.off/x.n, 4), round(x.off0/x.n, 4)
}

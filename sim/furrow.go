package sim

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"evenstand"
)

// The furrow after simulator.md section 2: moisture, temperature and trash of
// the seed zone by place and hour; noise and offsets of the sensors are
// judgement.
const (
	moistMean    = 0.24
	moistSD      = 0.04
	moistLength  = 60.0   // m
	moistDries   = 0.0035 // an hour after 10:00
	moistLight   = 0.03   // less on light soil
	moistRow     = 0.005  // offset of a row's sensor, SD
	moistNoise   = 0.01   // of a reading
	warmMean     = 11.0   // °C
	warmSwing    = 2.2    // over the day, coldest at 3:00
	warmSD       = 0.6
	warmLength   = 90.0
	warmTrash    = 1.2 // °C less for all trash
	warmRow      = 0.15
	warmNoise    = 0.15
	trashMean    = 0.09
	trashSD      = 0.05
	trashLength  = 25.0
	trashStripe  = 0.6 // more in last year's combine rows,
	stripeEvery  = 9.1 // m across,
	stripeWide   = 1.5 // m wide (judgement)
	trashRow     = 0.005
	trashNoise   = 0.02
	cleanerPress = 138e3 // Pa, 20 psi (judgement)
	pressNoise   = 1e3
	upsetLoad    = 200.0 // N that a plugged cleaner takes off a row's wheels …
	upsetTrash   = 0.25  // … with so much more trash
	mustDry      = 0.16  // the limits that tests hold the truth against
	mustCold     = 10.0
	mustDirty    = 0.25
)

// Distractors of the furrow.
const (
	KindSandZone     = "sand-zone"     // light soil is dry on all rows: no row's fault
	KindResiduePatch = "residue-patch" // a patch of heavy residue that all rows go through
	KindGoodDig      = "good-dig"      // a dig that finds the slot closed
)

// furrowBox writes what sensors in the furrow log once a second.
type furrowBox struct {
	out      output
	clock    clock
	s        *Scenario
	g        *rand.PCG
	fields   map[*field][4]*soil // moisture, temperature, trash, zones
	rows     []furrowRow
	noon     float64 // s of the day at midnight, less the day's start
	readings []evenstand.Reading
	tally    map[*fault]*furrowTally
	natural  [3][]furrowSpan
}

// furrowSpan is ground on which much lies beyond a limit by itself: a finding
// that says so is true, though nothing is wrong.
type furrowSpan struct {
	from, to  float64
	n, beyond float64
}

// Of naturalEvery s of planting naturalShare lies beyond the limit.
const (
	naturalEvery = 300.0
	naturalShare = 0.3
)

// byItself counts a second of a row without any fault.
func (b *furrowBox) byItself(t float64, v [3]float64, rows int) {
	for i, beyond := range [3]bool{v[0] < mustDry, v[1] < mustCold, v[2] > mustDirty} {
		k := len(b.natural[i]) - 1
		if k < 0 || b.natural[i][k].n >= naturalEvery*float64(rows) {
			b.natural[i] = append(b.natural[i], furrowSpan{from: t})
			k++
		}
		x := &b.natural[i][k]
		x.to = t
		x.n++
		if beyond {
			x.beyond++
		}
	}
}

// naturals gives the ground that is beyond a limit by itself as distractors.
func (b *furrowBox) naturals() (out []Fault) {
	for i, kind := range []string{evenstand.KindDryFurrow, evenstand.KindColdFurrow, evenstand.KindDirtyFurrow} {
		var spans []furrowSpan
		for _, x := range b.natural[i] {
			if x.n < 60 || x.beyond/x.n < naturalShare {
				continue
			}
			if n := len(spans) - 1; n >= 0 && x.from-spans[n].to < naturalEvery {
				spans[n].to, spans[n].n, spans[n].beyond = x.to, spans[n].n+x.n, spans[n].beyond+x.beyond
				continue
			}
			spans = append(spans, x)
		}
		for _, x := range spans {
			out = append(out, Fault{
				ID: fmt.Sprintf("ground %d %.0f", i+1, x.from), Kind: "ground, " + kind, Rows: span(1, len(b.rows)), Excused: []string{kind}, Distract: true, Happened: true,
				From: b.s.t0 + evenstand.FromSeconds(x.from), To: b.s.t0 + evenstand.FromSeconds(x.to), Params: map[string]float64{"beyond": round(x.beyond/x.n, 3)}, Ratio: 1, Grade: b.s.Output.Grade,
			})
		}
	}
	return out
}

type furrowRow struct {
	g                  *rand.PCG
	moist, warm, trash float64 // offsets
}

// furrowTally is what a fault of the furrow truly did, in readings.
type furrowTally struct {
	first, last      float64
	n, there         float64 // seconds of row in its time, and in its zone
	beyond, beyond0  float64 // of these, beyond the limit with and without it
	planting, burstS float64
	bursts           int
	on               bool
}

func newFurrowBox(s *Scenario, dir string) (*furrowBox, error) {
	out, err := folder(s, dir, "furrow", "furrow sensors")
	b := &furrowBox{out: out, clock: s.boxClock(s.box("furrow")), s: s, g: stream(s.Seed, "furrow box", -1, 0), fields: map[*field][4]*soil{}, tally: map[*fault]*furrowTally{}}
	for r := range s.Planter.Rows {
		g := stream(s.Seed, "furrow row", r+1, 0)
		row := furrowRow{g: g, moist: moistRow * normal(g), warm: warmRow * normal(g), trash: trashRow * normal(g)}
		if s.SeasonSeed != 0 {
			same := stream(s.SeasonSeed, "furrow row", r+1, 0)
			row.moist, row.warm, row.trash = moistRow*normal(same), warmRow*normal(same), trashRow*normal(same)
		}
		b.rows = append(b.rows, row)
	}
	day, err2 := evenstand.Day(s.Date).Start(s.zone)
	if err == nil {
		err = err2
	}
	b.noon = (s.t0 - day).Seconds()
	return b, err
}

func (b *furrowBox) see(m *moment) error {
	lg := m.leg
	if !lg.logged || !lg.works() {
		return nil
	}
	s := b.s
	at, ok := b.fields[lg.field]
	if !ok {
		name := lg.field.plan.Name
		at = [4]*soil{
			newSoil(stream(s.Seed, "moisture of "+name, -1, 0), moistLength), newSoil(stream(s.Seed, "temperature of "+name, -1, 0), warmLength),
			newSoil(stream(s.Seed, "trash of "+name, -1, 0), trashLength), newSoil(stream(s.Seed, "soil of "+name, -1, 0), zoneLength),
		}
		b.fields[lg.field] = at
	}
	sig := math.Sqrt(math.Log(1 + trashSD*trashSD/(trashMean*trashMean)))
	turn := lg.field.plan.Heading * math.Pi / 180
	across := xy{math.Cos(turn), -math.Sin(turn)} // right of a heading clockwise from north
	perSecond := int(math.Round(1 / tick))
	b.readings = b.readings[:0]
	for i := lg.down - lg.down%perSecond + perSecond; i < lg.up; i += perSecond {
		t := lg.seconds(i)
		if lg.v[i] < 0.3 || b.clock.quiet(t) {
			continue
		}
		hour := math.Mod((b.noon+t)/3600, 24)
		when := b.clock.logs((lg.first + int64(i)) * int64(tick*1e6))
		left := heading(lg.psi[i]).left()
		say := func(q evenstand.Quantity, e evenstand.Element, v float64) {
			b.readings = append(b.readings, evenstand.Reading{T: when, Quantity: q, Element: e, Value: v})
		}
		press := cleanerPress
		for k := range b.rows {
			r := &b.rows[k]
			p := xy{lg.bx[i], lg.by[i]}.sub(left.mul(m.rows[k].y))
			zone := zoneOf(at[3].at(p))
			moist := moistMean + moistSD*at[0].at(p) - moistDries*math.Max(0, hour-10)
			if zone == light {
				moist -= moistLight
			}
			trash := math.Exp(math.Log(trashMean) - sig*sig/2 + sig*at[2].at(p))
			if u := math.Mod(p.dot(across), stripeEvery); u < 0 && u+stripeEvery < stripeWide || u >= 0 && u < stripeWide {
				trash *= 1 + trashStripe
			}
			warm := warmMean + warmSwing*math.Sin(2*math.Pi*(hour-9)/24) + warmSD*at[1].at(p) - warmTrash*(trash-trashMean)
			if bd := m.board; bd != nil {
				plain := [3]float64{moist, warm, trash}
				bd.furrow(nil, k+1, t, &moist, &warm, &trash)
				for _, l := range [...]int{leverCleaner, leverDepth} {
					if x := bd.last(l, k+1, t); x != nil {
						o := plain
						bd.furrow(x, k+1, t, &o[0], &o[1], &o[2])
						x.add(k+1, onMoist, moist, o[0])
						x.add(k+1, onWarm, warm, o[1])
						x.add(k+1, onTrash, trash, o[2])
					}
				}
			}
			z := [3]float64{normal(r.g), normal(r.g), normal(r.g)}
			was := [3]float64{moist, warm, trash}
			b.byItself(t, was, len(b.rows))
			for _, f := range m.faults {
				if !furrowKind(f.Kind) || !f.has[k+1] || !f.at(t) {
					continue
				}
				there := f.digs(&moist, &warm, &trash, &press, t, zone, k == 0, z[1])
				b.note(f, t, there, was, [3]float64{moist, warm, trash}, k == f.rows[0]-1)
			}
			e := evenstand.RowElement(k + 1)
			say(evenstand.SeedZoneMoisture, e, round(math.Max(0.01, math.Min(0.6, moist+r.moist+moistNoise*z[0])), 4))
			say(evenstand.SeedZoneTemperature, e, round(warm+r.warm+warmNoise*z[1], 2))
			say(evenstand.SlotTrash, e, round(math.Max(0, math.Min(0.95, trash+r.trash+trashNoise*z[2])), 4))
		}
		if bd := m.board; bd != nil && (bd.used[leverCleaner] || bd.used[leverCloser]) {
			noisy := func(q evenstand.Quantity, l int, off float64) {
				bd.levels(l, t, func(e evenstand.Element, v float64) { say(q, e, math.Round(math.Max(0, v+off+pressNoise*normal(b.g)))) })
			}
			noisy(evenstand.CleanerPressure, leverCleaner, press-cleanerPress)
			if bd.used[leverCloser] {
				noisy(evenstand.CloserPressure, leverCloser, 0)
			}
			continue
		}
		say(evenstand.CleanerPressure, evenstand.Element{}, math.Round(press+pressNoise*normal(b.g)))
	}
	return b.out.Readings(b.readings)
}

func (b *furrowBox) close() error { return b.out.Close() }

func furrowKind(kind string) bool {
	switch kind {
	case evenstand.KindDryFurrow, evenstand.KindColdFurrow, evenstand.KindDirtyFurrow, evenstand.KindCleanerUpset, KindSandZone, KindResiduePatch:
		return true
	}
	return false
}

// onRow tells whether a fault of the furrow is of one row.
func (f *fault) onRow() bool {
	return f.Kind == evenstand.KindCleanerUpset || slices.Contains([]string{"closing", "firmer", "trench", "row"}, f.Variant)
}

// digs changes the furrow of one row as the fault does, and tells whether it was
// at work there.
func (f *fault) digs(moist, warm, trash, press *float64, t float64, zone int, first bool, z float64) bool {
	x := f.Strength * f.grown(t)
	switch {
	case f.Kind == KindSandZone || f.Kind == evenstand.KindDryFurrow && f.Variant == "zone":
		if zone != light {
			return false
		}
		*moist -= x
	case f.Kind == evenstand.KindColdFurrow:
		*warm -= x
	case f.Kind == KindResiduePatch:
		*trash += x
	case f.Kind == evenstand.KindDirtyFurrow:
		*trash += x
		if f.Variant == "cleaner" && first {
			*press *= 0.7
		}
	case f.Kind == evenstand.KindCleanerUpset:
		if !f.inBurst(t) {
			return false
		}
		*trash += x
	default: // dry
		*moist -= x
		switch f.Variant {
		case "cleaner":
			*trash *= 0.5
			if first {
				*press *= 1.3
			}
		case "trench":
			*trash *= 0.3
		case "closing": // the air gets at it
			*warm += 0.8 + 0.4*z
		}
	}
	return true
}

// inBurst tells whether a plugged cleaner rides on what it drags: for 2 to 6 s,
// once in every 12 s.
func (f *fault) inBurst(t float64) bool {
	const every = 12.0
	k := math.Floor((t - f.t0) / every)
	w := mix(f.word + uint64(int64(k)))
	lasts := 2 + 4*unit(mix(w))
	in := t - f.t0 - k*every - unit(w)*(every-lasts)
	return in >= 0 && in < lasts
}

// note keeps what the fault did in one second of a row.
func (b *furrowBox) note(f *fault, t float64, there bool, was, after [3]float64, once bool) {
	x := b.tally[f]
	if x == nil {
		x = &furrowTally{first: t}
		b.tally[f] = x
	}
	x.last = t
	x.n++
	if once {
		x.planting++
		if there && f.Kind == evenstand.KindCleanerUpset {
			x.burstS++
			if !x.on {
				x.bursts++
			}
		}
		x.on = there
	}
	if !there {
		return
	}
	x.there++
	beyond := func(v [3]float64) bool {
		switch f.Kind {
		case evenstand.KindColdFurrow:
			return v[1] < mustCold
		case evenstand.KindDirtyFurrow, KindResiduePatch, evenstand.KindCleanerUpset:
			return v[2] > mustDirty
		}
		return v[0] < mustDry
	}
	if beyond(was) {
		x.beyond0++
	}
	if beyond(after) {
		x.beyond++
	}
}

// furrowed fits a fault of the furrow to its variant.
func (s *Scenario) furrowed(f *fault) error {
	switch {
	case !furrowKind(f.Kind):
	case !s.Output.Furrow:
		return fmt.Errorf("%s: say output.furrow = true, so that there are sensors in the furrow", f.Kind)
	case f.FaultPlan.Rows == "" && f.onRow():
		return fmt.Errorf("%s by %s: say rows", f.Kind, f.Variant)
	}
	return nil
}

// detected tells whether a fault of the furrow was as strong and long as tests
// demand a finding for, as measured on development days (docs/measured.md).
func (b *furrowBox) detected(f *fault) bool {
	x := b.tally[f]
	switch {
	case x == nil || f.kind.distractor:
		return false
	case f.Kind == evenstand.KindCleanerUpset:
		return f.Strength >= 0.16 && x.planting >= 240
	case f.onRow() && f.Kind == evenstand.KindDryFurrow:
		return f.Strength >= 0.03 && x.planting >= 180
	case f.onRow():
		return f.Strength >= 0.18 && x.planting >= 300
	case f.Variant == "zone":
		return b.s.Output.WheelLoad != "" && (x.beyond-x.beyond0)/math.Max(1, x.there) >= 0.75 && x.planting >= 3600
	}
	return (x.beyond-x.beyond0)/x.n >= 0.6 && x.planting >= 1200
}

// settle puts what a fault of the furrow truly did into its line of truth.
func (b *furrowBox) settle(f *fault, t *Fault) {
	x := b.tally[f]
	t.Happened, t.Detectable = x != nil, b.detected(f)
	if x == nil {
		return
	}
	t.From, t.To = b.s.t0+evenstand.FromSeconds(x.first), b.s.t0+evenstand.FromSeconds(x.last)
	t.Params["beyond"], t.Params["beyond_without"] = round(x.beyond/math.Max(1, x.there), 3), round(x.beyond0/math.Max(1, x.there), 3)
	t.Params["planting_s"] = x.planting
	if f.Kind == evenstand.KindCleanerUpset {
		t.Params["bursts"] = float64(x.bursts)
	}
}

// digWords are what people write of what they dug: open slots, and closed ones.
var digWords = map[string][]string{
	evenstand.KindSlotOpen + " closing": {"slot open behind the wheels", "open furrow, seed to be seen", "slot not closed", "air pockets around the seed"},
	evenstand.KindSlotOpen + " wall":    {"shiny sidewall, slot open", "sidewalls smeared and wet", "wet, furrow open at the top"},
	evenstand.KindSlotOpen + " straw":   {"straw in the furrow, slot open", "residue holds the slot open"},
	KindGoodDig:                         {"slot closed well", "no air pockets, good depth", "sidewall crumbly, fine", "2 in, moist"},
}

// dug gives the entries of digs that fall into a leg, to the minute as people
// write.
func (b *journalBox) dug(m *moment) (out []evenstand.Entry) {
	for _, f := range m.faults {
		if f.Kind != evenstand.KindSlotOpen && f.Kind != KindGoodDig || !f.begun || f.ran > 0 {
			continue
		}
		f.ran = math.Ceil((f.t0+30)/60) * 60
		key := f.Kind
		if f.Variant != "" {
			key += " " + f.Variant
		}
		words := digWords[key]
		note := words[int(unit(mix(f.word))*float64(len(words)))]
		out = append(out, evenstand.Entry{T: b.clock.logs(int64(f.ran * 1e6)), What: "dig", Rows: f.rows, Value: math.NaN(), Note: note})
	}
	slices.SortStableFunc(out, func(a, c evenstand.Entry) int { return int(a.T - c.T) })
	return out
}

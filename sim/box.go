package sim

import (
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"time"

	"evenstand"
	"evenstand/format/bus"
	"evenstand/format/iso11783"
	"evenstand/format/plain"
)

// moment is what the boxes get to see of one leg.
type moment struct {
	s      *Scenario
	board  *board // nil: nothing is set or mounted
	leg    *leg
	rows   []*row
	air    *air
	faults []*fault
	// gradeB tells whether the rows are logged at grade B at a time of the day.
	gradeB func(t float64) bool
	allA   bool // never
	refill bool // a stand at which the seed boxes were filled
}

// box logs what it sees of the world, leg by leg.
type box interface {
	see(m *moment) error
	close() error
}

// units are those in which the boxes write.
var units = map[evenstand.Quantity]string{
	evenstand.Vacuum: "kPa", evenstand.SeedRateTarget: "1/ac", evenstand.SkipFraction: "%", evenstand.DoubleFraction: "%",
	evenstand.LiquidRate: "L/ha", evenstand.LiquidRateTarget: "L/ha", evenstand.LiquidFlow: "L/min",
	evenstand.GranularRate: "kg/ha", evenstand.GranularRateTarget: "kg/ha",
}

// folder opens a box's folder in the plain layout, with its source.toml.
func folder(s *Scenario, dir, box, name string, notes ...string) (output, error) {
	b := s.box(box)
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return nil, err
	}
	w, err := openOutput(s, dir, box, name)
	if err != nil {
		return nil, err
	}
	src := plain.NewSource()
	src.Name, src.Planter, src.OneClock, src.Notes = name, s.Planter.Name, true, notes
	if b.declared() {
		src.ClockOffset = b.Offset
	}
	return w, os.WriteFile(filepath.Join(dir, plain.SourceToml), plain.WriteSource(src), 0o666)
}

// seedBox writes seeds.csv: a line a pulse.
type seedBox struct {
	out    output
	clock  clock
	count  []int32
	all    []uint64 // ms since the leg began << 8 | row
	sorted []evenstand.Seed
	total  int64
}

func newSeedBox(s *Scenario, dir string) (*seedBox, error) {
	out, err := folder(s, dir, "seed", "seed monitor")
	return &seedBox{out: out, clock: s.boxClock(s.box("seed"))}, err
}

func (b *seedBox) see(m *moment) error {
	// Sort all rows' pulses by counting their logged milliseconds.
	clk := b.clock.held(m.leg.start())
	first := int64(clk.logs(m.leg.first*int64(tick*1e6)))/1000 - 1000
	n := m.leg.n*int(tick*1000) + 4000
	if cap(b.count) < n+1 {
		b.count = make([]int32, n+1)
	}
	b.count = b.count[:n+1]
	clear(b.count)
	b.all = b.all[:0]
	quiet := m.anySilent()
	for _, r := range m.rows {
		for _, x := range r.seen {
			us := int64(x >> pulseShift)
			if !m.allA && m.gradeB(float64(us)*1e-6) || b.clock.quiet(float64(us)*1e-6) || quiet && m.silent("seed", float64(us)*1e-6) {
				continue
			}
			t := min(max((int64(clk.logs(us))+500)/1000-first, 0), int64(n)-1)
			b.count[t+1]++
			b.all = append(b.all, uint64(t)<<8|uint64(r.n))
		}
	}
	for i := 1; i <= n; i++ {
		b.count[i] += b.count[i-1]
	}
	if cap(b.sorted) < len(b.all) {
		b.sorted = make([]evenstand.Seed, 2*len(b.all))
	}
	b.sorted = b.sorted[:len(b.all)]
	for _, x := range b.all {
		at := &b.count[x>>8]
		b.sorted[*at] = evenstand.Seed{T: evenstand.Micros(first+int64(x>>8)) * 1000, Row: int16(x & 0xff)}
		*at++
	}
	b.total += int64(len(b.all))
	return b.out.Seeds(b.sorted)
}

func (b *seedBox) close() error { return b.out.Close() }

// receiver is the GNSS receiver on the tractor's roof.
type receiver struct {
	box         Box
	g           *rand.PCG
	east, north wander // its slow error, for steps of every seconds
}

func (s *Scenario) newReceiver(name string, every float64) *receiver {
	g := stream(s.Seed, name, -1, 0)
	return &receiver{box: s.box("guidance"), g: g, east: newWander(60, every, normal(g)), north: newWander(60, every, normal(g))}
}

// fix gives what the receiver says at tick i of a leg; its time is left open.
func (r *receiver) fix(lg *leg, i int) evenstand.Fix {
	// Half of the error's variance is white, half wanders (real receivers do).
	part := r.box.NoiseM * math.Sqrt(0.5)
	// What is said now is where the antenna was a latency ago.
	a, _, _, _ := lg.pose(lg.seconds(i) - r.box.Latency)
	z, z2 := r.g.Uint64(), r.g.Uint64()
	a.x += part * (quantile32(uint32(z)) + r.east.step(quantile32(uint32(z2))))
	a.y += part * (quantile32(uint32(z>>32)) + r.north.step(quantile32(uint32(z2>>32))))
	lat, lon := lg.field.place.degrees(a)
	j := lg.index(i - int(math.Round(r.box.Latency/tick)))
	k := lg.index(j - 5)
	head := lg.psi[j]
	if d := (xy{lg.ax[j] - lg.ax[k], lg.ay[j] - lg.ay[k]}); d.norm() > 0.02 {
		head = math.Atan2(d.y, d.x)
	}
	f := evenstand.NewFix(0, lat, lon)
	f.Heading = round(math.Mod(810-math.Mod(head*180/math.Pi, 360), 360), 2)
	f.Speed = round(max(lg.va[j]+0.02*quantile32(uint32(mix(z)))*min(lg.va[j], 1), 0), 3)
	f.Alt, f.HDOP, f.Sats, f.Kind = 260, 0.7, 18, evenstand.FixRTK
	return f
}

// guidanceBox writes track.csv: the antenna, five times a second.
type guidanceBox struct {
	out   output
	clock clock
	r     *receiver
	said  evenstand.Fix // the last place
	fixes []evenstand.Fix
}

const fixEvery = 0.2

func newGuidanceBox(s *Scenario, dir string) (*guidanceBox, error) {
	out, err := folder(s, dir, "guidance", "receiver")
	return &guidanceBox{out: out, clock: s.boxClock(s.box("guidance")), r: s.newReceiver("receiver", fixEvery)}, err
}

func (b *guidanceBox) see(m *moment) error {
	lg := m.leg
	if !lg.logged {
		return nil
	}
	b.fixes = b.fixes[:0]
	for i := 0; i < lg.n; i += int(fixEvery / tick) {
		f := b.r.fix(lg, i)
		f.T = b.clock.logs((lg.first + int64(i)) * int64(tick*1e6))
		if m.silent("guidance", lg.seconds(i)) {
			continue
		}
		m.misplace(&f, lg.seconds(i), &b.said)
		b.fixes = append(b.fixes, f)
	}
	return b.out.Fixes(b.fixes)
}

func (b *guidanceBox) close() error { return b.out.Close() }

// machineBox writes readings.csv of the planter's own controller: states,
// target, speed, vacuum.
type machineBox struct {
	out      output
	clock    clock
	s        *Scenario
	g        *rand.PCG
	lifted   float64
	enabled  []float64
	target   float64 // s of the day at which the target was last written
	targets  targetLog
	sides    []evenstand.Scope
	readings []evenstand.Reading
}

func newMachineBox(s *Scenario, dir string) (*machineBox, error) {
	out, err := folder(s, dir, "machine", "planter controller")
	m := &machineBox{
		out: out, clock: s.boxClock(s.box("machine")), s: s, g: stream(s.Seed, "machine box", -1, 0), lifted: -1, target: math.Inf(-1),
		sides: []evenstand.Scope{evenstand.ScopeLeft, evenstand.ScopeRight},
	}
	if s.Planter.OneVacuum || s.Planter.Rows < 2 {
		m.sides = m.sides[:1]
	}
	m.enabled = make([]float64, s.Planter.Rows+1)
	for i := range m.enabled {
		m.enabled[i] = -1
	}
	return m, err
}

func (b *machineBox) see(m *moment) error {
	lg := m.leg
	if !lg.logged {
		return nil
	}
	b.readings = b.readings[:0]
	perSecond := int(math.Round(1 / tick))
	cursor := make([]int, len(m.rows))
	for i := 0; i < lg.n; i += slow {
		t := lg.seconds(i)
		if b.clock.quiet(t) {
			continue
		}
		at := b.clock.logs((lg.first + int64(i)) * int64(tick*1e6))
		silent := m.silent("machine", t)
		say := func(q evenstand.Quantity, e evenstand.Element, v float64) {
			if silent {
				return
			}
			b.readings = append(b.readings, evenstand.Reading{T: at, Quantity: q, Element: e, Value: v})
		}
		lifted := 1.0
		if lg.works() && i >= lg.down && i < lg.up {
			lifted = 0
		}
		if (lifted != b.lifted || i%(10*perSecond) == 0) && !silent {
			say(evenstand.ImplementLifted, evenstand.Element{}, lifted)
			b.lifted = lifted
		}
		for k, r := range m.rows {
			on := 1.0
			for cursor[k] < len(r.off) && r.off[cursor[k]].to <= t {
				cursor[k]++
			}
			if cursor[k] < len(r.off) && r.off[cursor[k]].from <= t {
				on = 0
			}
			if on != b.enabled[r.n] && !silent {
				say(evenstand.RowEnabled, evenstand.RowElement(r.n), on)
				b.enabled[r.n] = on
			}
		}
		if i%perSecond != 0 {
			continue
		}
		if m.board != nil && m.board.used[leverRate] {
			if !silent {
				b.targets.say(m.board, leverRate, t, i%(10*perSecond) == 0, func(e evenstand.Element, v float64) { say(evenstand.SeedRateTarget, e, v) })
			}
		} else if t-b.target >= 60 && !silent {
			say(evenstand.SeedRateTarget, evenstand.Element{}, b.s.perM2())
			b.target = t
		}
		v := lg.speed(i) * m.radar(t)
		if v > 0 {
			v = max(v+0.02*normal(b.g), 0)
		}
		say(evenstand.GroundSpeed, evenstand.Element{}, round(v, 3))
		for side, scope := range b.sides {
			kpa := m.air.kpa[side][i/slow] - m.air.lost[side][i/slow]
			if m.air.off[side][i/slow] {
				kpa = 0
			}
			// In steps of 0.05 kPa (simulator.md section 6).
			say(evenstand.Vacuum, evenstand.Element{Scope: scope}, math.Max(math.Round(kpa*20), 0)*50)
		}
	}
	return b.out.Readings(b.readings)
}

func (b *machineBox) close() error { return b.out.Close() }

// radar is what the speed sensor makes of a metre: 1 unless it is off.
func (m *moment) radar(t float64) float64 {
	k := 1.0
	for _, f := range m.faults {
		if f.Kind == evenstand.KindRateOff && f.Variant == "radar" && f.begun && t >= f.t0 && (t < f.w1 || !f.over) {
			k *= f.mult
		}
	}
	return k
}

// rowSeconds is what a monitor shows of one row in one second.
type rowSeconds struct {
	last      float64 // time of the last pulse, s of the day; -1 none since lowering
	seeds     int
	skips     float64
	doubles   float64
	due       float64
	smoothS   []float64
	smoothD   []float64
	smoothDue []float64
}

// rowsBox is a monitor at grade B: a row a second, seeds counted and
// percentages smoothed, from what the sensor saw by the rule of gaps.
type rowsBox struct {
	s        *Scenario
	rows     []rowSeconds
	readings []rowReading
	out      rowWriter
}

// rowWriter takes one second of all rows. Down tells whether the planter was
// in the ground.
type rowWriter interface {
	second(m *moment, i int, down bool, rows []rowReading) error
	close() error
}

// rowReading is one row in one second; shares are NaN without seeds due.
type rowReading struct {
	seeds         int
	skip, doubled float64
	on            bool
}

func (b *rowsBox) see(m *moment) error {
	lg := m.leg
	if !lg.logged {
		return nil
	}
	perSecond := int(math.Round(1 / tick))
	cursor := make([]int, len(m.rows))
	window := max(int(math.Round(b.s.Output.Smoothing)), 1)
	asked := b.s.spacing()
	begun := false
	first := int((int64(perSecond) - lg.first%int64(perSecond)) % int64(perSecond))
	for i := first; i < lg.n; i += perSecond { // the second that ends at tick i
		t := lg.seconds(i)
		down := lg.works() && i > lg.down && i < lg.up+perSecond
		if down && !begun {
			begun = true
			for k := range b.rows {
				x := &b.rows[k]
				*x = rowSeconds{last: -1, smoothS: x.smoothS[:0], smoothD: x.smoothD[:0], smoothDue: x.smoothDue[:0]}
			}
		}
		v := lg.way[lg.index(i)] - lg.way[lg.index(i-perSecond)] // mean over the second
		for k, r := range m.rows {
			x := &b.rows[k]
			x.seeds, x.skips, x.doubles, x.due = 0, 0, 0, 0
			spacing := asked
			if m.board != nil && m.board.used[leverRate] {
				spacing *= b.s.perM2() / m.board.at(leverRate, r.n, t)
			}
			for ; cursor[k] < len(r.seen); cursor[k]++ {
				at := float64(r.seen[cursor[k]]>>pulseShift) * 1e-6
				if at >= t {
					break
				}
				if !down {
					continue // dust in the air
				}
				x.seeds++
				if x.last >= 0 {
					gap := (at - x.last) * v / spacing
					switch {
					case gap <= 0.5:
						x.doubles++
					case gap > 1.5:
						n := math.Min(math.Ceil(gap-0.5)-1, 50)
						x.skips += n
						x.due += n + 1
					default:
						x.due++
					}
				}
				x.last = at
			}
			switch {
			case v < 0.3: // standing: the next seed has no gap
				x.last = -1
			case x.seeds == 0 && v > 0.5 && down && i < lg.up: // nothing but skips
				x.due = v / spacing
				x.skips = x.due
				x.last = -1
			}
			rd := rowReading{seeds: x.seeds, skip: math.NaN(), doubled: math.NaN(), on: true}
			if down {
				s, d, due := push(&x.smoothS, x.skips, window), push(&x.smoothD, x.doubles, window), push(&x.smoothDue, x.due, window)
				if due > 0 {
					rd.skip, rd.doubled = round(math.Min(s/due, 1), 3), round(math.Min(d/due, 1), 3)
				}
			}
			for _, o := range r.off {
				if o.from <= t-0.5 && t-0.5 < o.to {
					rd.on = false
				}
			}
			b.readings[k] = rd
		}
		if m.gradeB(t) && !m.silent("rows", t) {
			if err := b.out.second(m, i, down, b.readings); err != nil {
				return err
			}
		}
	}
	return nil
}

// push adds a second to a moving sum and gives the sum.
func push(w *[]float64, v float64, window int) float64 {
	*w = append(*w, v)
	if len(*w) > window {
		*w = append((*w)[:0], (*w)[1:]...)
	}
	sum := 0.0
	for _, v := range *w {
		sum += v
	}
	return sum
}

func (b *rowsBox) close() error { return b.out.close() }

func newRowsBox(s *Scenario, dir string) (*rowsBox, error) {
	x := &rowsBox{s: s, rows: make([]rowSeconds, s.Planter.Rows), readings: make([]rowReading, s.Planter.Rows)}
	if s.oneBox() {
		x.out = &taskRows{
			s: s, dir: dir, clock: s.boxClock(s.box("rows")), r: s.newReceiver("receiver of the task", 1),
			rate: make([]float64, s.Planter.Rows), count: make([]float64, s.Planter.Rows), skips: make([]float64, s.Planter.Rows),
			doubles: make([]float64, s.Planter.Rows), working: make([]bool, s.Planter.Rows), enabled: make([]bool, s.Planter.Rows),
		}
		return x, nil
	}
	out, err := folder(s, dir, "rows", "row monitor", fmt.Sprintf("Skips and doubles are shares of the seeds due, averaged over %g s.", s.Output.Smoothing))
	x.out = &plainRows{out: out, clock: s.boxClock(s.box("rows"))}
	return x, err
}

// plainRows writes the seconds as readings.csv.
type plainRows struct {
	out      output
	clock    clock
	readings []evenstand.Reading
}

func (p *plainRows) second(m *moment, i int, down bool, rows []rowReading) error {
	if !down || p.clock.quiet(m.leg.seconds(i)) {
		return nil
	}
	at := p.clock.logs((m.leg.first + int64(i)) * int64(tick*1e6))
	p.readings = p.readings[:0]
	for k, r := range rows {
		e := evenstand.RowElement(k + 1)
		p.readings = append(p.readings,
			evenstand.Reading{T: at, Quantity: evenstand.SeedCount, Element: e, Value: float64(r.seeds)},
			evenstand.Reading{T: at, Quantity: evenstand.SkipFraction, Element: e, Value: r.skip},
			evenstand.Reading{T: at, Quantity: evenstand.DoubleFraction, Element: e, Value: r.doubled})
	}
	return p.out.Readings(p.readings)
}

func (p *plainRows) close() error { return p.out.Close() }

// taskRows writes the seconds as task data of ISO 11783-10: one set a field,
// as a controller does when the task is changed.
type taskRows struct {
	s     *Scenario
	dir   string
	clock clock
	r     *receiver
	w     recorder
	said  evenstand.Fix // the last place
	field *field
	sets  int

	rate, count, skips, doubles []float64
	working, enabled            []bool
}

func (p *taskRows) second(m *moment, i int, down bool, rows []rowReading) error {
	lg := m.leg
	if p.field != lg.field {
		if err := p.close(); err != nil {
			return err
		}
		if err := p.open(lg.field); err != nil {
			return err
		}
	}
	fix := p.r.fix(lg, i)
	us := (lg.first + int64(i)) * int64(tick*1e6)
	fix.T = p.clock.logs(us)
	m.misplace(&fix, lg.seconds(i), &p.said)
	ground := (lg.way[lg.index(i)] - lg.way[lg.index(i-int(1/tick))]) * p.s.Planter.RowSpacing // m2 a row in this second
	state := iso11783.Off
	if lg.works() && i >= lg.down && i < lg.up {
		state = iso11783.On
	}
	for k, r := range rows {
		p.count[k] += float64(r.seeds)
		p.rate[k], p.skips[k], p.doubles[k] = 0, r.skip, r.doubled
		if down && ground > 0.2 {
			p.rate[k] = float64(r.seeds) / ground
		}
		p.working[k] = down && r.seeds > 0
		p.enabled[k] = r.on
	}
	return p.w.Record(iso11783.Record{
		Fix: fix, UTC: p.clock.t0 + evenstand.Micros(us), SeedRate: p.rate, BoomTarget: p.s.perM2(), SeedCount: p.count, Skips: p.skips, Doubles: p.doubles,
		Working: p.working, Enabled: p.enabled, WorkState: state, Speed: round(lg.va[lg.index(i)]*m.radar(lg.seconds(i)), 3), Heading: fix.Heading,
	})
}

func (p *taskRows) open(f *field) error {
	p.sets++
	p.field = f
	clear(p.count)
	var ring [][2]float64
	for _, c := range f.rings[0] {
		lat, lon := f.place.degrees(c)
		ring = append(ring, [2]float64{lat, lon})
	}
	_, offset := p.s.t0.Time().In(p.s.zone).Zone()
	const logs = iso11783.LogSeedRate | iso11783.LogBoomTarget | iso11783.LogSeedCount | iso11783.LogSkips | iso11783.LogDoubles |
		iso11783.LogWorking | iso11783.LogEnabled | iso11783.LogWorkState | iso11783.LogSpeed | iso11783.LogHeading
	if p.s.Output.Layout == "bus" {
		return p.capture(logs)
	}
	w, err := iso11783.NewWriter(fmt.Sprintf("%s-%d", p.dir, p.sets), iso11783.WriterOptions{
		Version: 4, Card: p.s.card(), Task: "plant " + f.plan.Name, Field: f.plan.Name, Boundary: ring, Crop: p.s.Planter.Crop, Product: "hybrid A",
		Log: logs, UTCOffset: time.Duration(offset) * time.Second,
	})
	p.w = w
	return err
}

// recorder takes what a controller logs, or what a bus carries.
type recorder interface {
	Record(iso11783.Record) error
	Close() error
}

// capture begins a capture of the planter's bus.
func (p *taskRows) capture(logs iso11783.LogSet) error {
	dir := fmt.Sprintf("%s-%d", p.dir, p.sets)
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return err
	}
	f, err := os.Create(filepath.Join(dir, "bus.log"))
	if err != nil {
		return err
	}
	w, err := bus.NewWriter(f, bus.WriterOptions{Card: p.s.card(), Log: logs})
	if err != nil {
		return errors.Join(err, f.Close())
	}
	p.w = captured{w, f}
	return nil
}

// captured closes the file behind a capture.
type captured struct {
	*bus.Writer
	f io.Closer
}

func (c captured) Close() error { return errors.Join(c.Writer.Close(), c.f.Close()) }

func (p *taskRows) close() error {
	if p.w == nil {
		return nil
	}
	err := p.w.Close()
	p.w, p.field = nil, nil
	return err
}

// forceBox writes row force and wheel load. Orders of magnitude after
// simulator.md section 5; the ground's need is a wander along the way here.
type forceBox struct {
	out        output
	clock      clock
	s          *Scenario
	every      int
	need, load []wander
	readings   []evenstand.Reading
}

const rowWeight = 670.0 // N on the gauge wheels without added force

func newForceBox(s *Scenario, dir string) (*forceBox, error) {
	out, err := folder(s, dir, "force", "row force")
	x := &forceBox{out: out, clock: s.boxClock(s.box("force")), s: s, every: max(int(math.Round(1/tick/s.Output.ForceHz)), 1)}
	for r := range s.Planter.Rows {
		g := stream(s.Seed, "need", r+1, 0)
		dt := float64(x.every) * tick
		x.need = append(x.need, newWander(20, dt, normal(g)))
		x.load = append(x.load, newWander(0.4, dt, normal(g)))
	}
	return x, err
}

func (b *forceBox) see(m *moment) error {
	lg := m.leg
	if !lg.logged || !lg.works() {
		return nil
	}
	g := stream(b.s.Seed, "force", -1, lg.pass)
	b.readings = b.readings[:0]
	for i := lg.down; i < lg.up; i += b.every {
		if b.clock.quiet(lg.seconds(i)) {
			continue
		}
		at := b.clock.logs((lg.first + int64(i)) * int64(tick*1e6))
		for r := range b.need {
			// Automatic force holds a margin of 600 N over the ground's need.
			need := 1050 + 220*b.need[r].step(normal(g)) + 60*(lg.v[i]-2.2)/0.45
			load := max(600+120*b.load[r].step(normal(g)), 0)
			e := evenstand.RowElement(r + 1)
			b.readings = append(b.readings,
				evenstand.Reading{T: at, Quantity: evenstand.AppliedForce, Element: e, Value: math.Round(need + 600 - rowWeight)},
				evenstand.Reading{T: at, Quantity: evenstand.GaugeWheelLoad, Element: e, Value: math.Round(load)})
		}
	}
	return b.out.Readings(b.readings)
}

func (b *forceBox) close() error { return b.out.Close() }

// journalBox writes what the operator notes: refills and digs. Its folder is made
// with the first line.
type journalBox struct {
	tanks *tanks // nil: amounts are not written down
	s     *Scenario
	dir   string
	out   output
	clock clock

	begun        bool
	changes      map[*step]NotedTruth // what was written down of settings
	filled, back map[string]bool      // faults whose lot was filled, and those after which the planned one was
}

func newJournalBox(s *Scenario, dir string, t *tanks) *journalBox {
	return &journalBox{tanks: t, s: s, dir: dir, clock: s.boxClock(s.box("journal")), changes: map[*step]NotedTruth{}, filled: map[string]bool{}, back: map[string]bool{}}
}

func (b *journalBox) see(m *moment) error {
	lines := append(b.dug(m), b.set(m)...)
	morning := !b.begun
	b.begun = true
	// To the minute, as people write.
	at := b.clock.logs(int64(math.Round(m.leg.end()/60) * 60e6))
	if m.refill {
		if b.tanks == nil {
			lines = append(lines, evenstand.Entry{T: at, What: "refill", Value: math.NaN(), Note: "seed boxes filled"})
		} else {
			lines = append(lines, evenstand.Entry{T: at, What: "refill", Value: b.tanks.fill.units, Note: "units"})
			if len(b.tanks.level) == 1 {
				lines = append(lines, evenstand.Entry{T: at, What: "refill", Value: math.Round(b.tanks.fill.noted[0] / gallon), Unit: "gal", Note: "starter"})
			}
		}
		lines = append(lines, b.lots(m, at)...)
	}
	if morning {
		var first []evenstand.Entry
		if b.tanks != nil && !m.refill {
			first = append(first, evenstand.Entry{T: b.clock.logs(0), What: "refill", Value: b.tanks.fill.units, Note: "units"})
		}
		if b.s.Output.Lot != "" {
			first = append(first, evenstand.Entry{T: b.clock.logs(0), What: "lot", Value: math.NaN(), Note: b.s.Output.Lot})
		}
		lines = append(first, lines...)
	}
	if len(lines) == 0 {
		return nil
	}
	if b.out == nil {
		var err error
		if b.out, err = folder(b.s, b.dir, "journal", "journal"); err != nil {
			return err
		}
	}
	return b.out.Entries(lines)
}

func (b *journalBox) close() error {
	if b.out == nil {
		return nil
	}
	return b.out.Close()
}

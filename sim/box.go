package sim

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"evenstand"
)

// moment is what the boxes get to see of one leg.
type moment struct {
	s      *Scenario
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

// clock turns true seconds of the day into what a box writes.
type clock struct {
	t0     evenstand.Micros
	offset float64
	drift  float64
}

func (s *Scenario) boxClock(b Box) clock { return clock{s.t0, b.Offset, b.Drift * 1e-6} }

// logs gives the logged instant of true microseconds of the day.
func (c *clock) logs(us int64) evenstand.Micros {
	if c.offset == 0 && c.drift == 0 {
		return c.t0 + evenstand.Micros(us)
	}
	return c.t0 + evenstand.Micros(us) + evenstand.Micros(math.Round(c.offset*1e6+c.drift*float64(us)))
}

// sourceFile writes source.toml beside a box's files.
func sourceFile(dir, name string, s *Scenario, b Box, notes string) error {
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return err
	}
	var t strings.Builder
	fmt.Fprintf(&t, "name = %q\nplanter = %q\none_clock = true\n", name, s.Planter.Name)
	if b.declared() {
		fmt.Fprintf(&t, "clock_offset_s = %s\n", decimal(b.Offset))
	}
	if notes != "" {
		fmt.Fprintf(&t, "notes = %q\n", notes)
	}
	return os.WriteFile(filepath.Join(dir, "source.toml"), []byte(t.String()), 0o666)
}

// seedBox writes seeds.csv: a line a pulse.
type seedBox struct {
	out    *lines
	clock  clock
	count  []int32
	all    []uint64 // ms since the leg began << 8 | row
	sorted []uint64
	rows   [][]byte // ",7\n"
	total  int64
}

func newSeedBox(s *Scenario, dir string) (*seedBox, error) {
	b := s.box("seed")
	if err := sourceFile(dir, "seed monitor", s, b, ""); err != nil {
		return nil, err
	}
	out, err := newLines(filepath.Join(dir, "seeds.csv"), "time,row")
	if err != nil {
		return nil, err
	}
	x := &seedBox{out: out, clock: s.boxClock(b)}
	for r := 0; r <= s.Planter.Rows; r++ {
		x.rows = append(x.rows, fmt.Appendf(nil, ",%d\n", r))
	}
	return x, nil
}

func (b *seedBox) see(m *moment) error {
	// Sort all rows' pulses by counting their logged milliseconds.
	first := int64(b.clock.logs(m.leg.first*int64(tick*1e6)))/1000 - 1000
	n := m.leg.n*int(tick*1000) + 4000
	if cap(b.count) < n+1 {
		b.count = make([]int32, n+1)
	}
	b.count = b.count[:n+1]
	clear(b.count)
	b.all, b.sorted = b.all[:0], b.sorted[:0]
	for _, r := range m.rows {
		for _, x := range r.seen {
			us := int64(x >> pulseShift)
			if !m.allA && m.gradeB(float64(us)*1e-6) {
				continue
			}
			t := min(max((int64(b.clock.logs(us))+500)/1000-first, 0), int64(n)-1)
			b.count[t+1]++
			b.all = append(b.all, uint64(t)<<8|uint64(r.n))
		}
	}
	for i := 1; i <= n; i++ {
		b.count[i] += b.count[i-1]
	}
	if cap(b.sorted) < len(b.all) {
		b.sorted = make([]uint64, 2*len(b.all))
	}
	b.sorted = b.sorted[:len(b.all)]
	for _, x := range b.all {
		at := &b.count[x>>8]
		b.sorted[*at] = x
		*at++
	}
	b.total += int64(len(b.all))
	// Write; the second's digits change seldom.
	var text []byte
	var line [32]byte
	second := int64(-1)
	buf := b.out.buf[:0]
	for _, x := range b.sorted {
		t := first + int64(x>>8)
		sec := t / 1000
		if sec != second {
			second = sec
			text = fmt.Appendf(text[:0], "%d.", sec)
			copy(line[:], text)
		}
		f := uint32(t - sec*1000)
		copy(line[len(text):], []byte{byte('0' + f/100), byte('0' + f/10%10), byte('0' + f%10)})
		buf = append(buf, line[:len(text)+3]...)
		buf = append(buf, b.rows[x&0xff]...)
		if len(buf) > 1<<16 {
			b.out.buf = buf
			b.out.flushLine()
			buf = b.out.buf
		}
	}
	b.out.buf = buf
	b.out.flushLine()
	return b.out.err
}

func (b *seedBox) close() error { return b.out.close() }

// guidanceBox writes track.csv: the antenna, five times a second.
type guidanceBox struct {
	out   *lines
	clock clock
	box   Box
	g     *rand.PCG
	drift wander // slow error of the receiver, east
	north wander
}

const fixEvery = 0.2

func newGuidanceBox(s *Scenario, dir string) (*guidanceBox, error) {
	b := s.box("guidance")
	if err := sourceFile(dir, "receiver", s, b, ""); err != nil {
		return nil, err
	}
	out, err := newLines(filepath.Join(dir, "track.csv"), "time,latitude,longitude,altitude_m,speed_m_s,heading_deg,hdop,satellites")
	if err != nil {
		return nil, err
	}
	g := stream(s.Seed, "receiver", -1, 0)
	return &guidanceBox{out: out, clock: s.boxClock(b), box: b, g: g,
		drift: newWander(60, fixEvery, normal(g)), north: newWander(60, fixEvery, normal(g))}, nil
}

func (b *guidanceBox) see(m *moment) error {
	lg := m.leg
	if !lg.logged {
		return nil
	}
	// White noise of half the variance, the rest wanders (real receivers do).
	white, slowly := b.box.NoiseM*math.Sqrt(0.5), b.box.NoiseM*math.Sqrt(0.5)
	for i := 0; i < lg.n; i += int(fixEvery / tick) {
		t := lg.seconds(i)
		// What is written now is where the antenna was a latency ago.
		a, _, _, _ := lg.pose(t - b.box.Latency)
		z := b.g.Uint64()
		z2 := b.g.Uint64()
		a.x += white*quantile32(uint32(z)) + slowly*b.drift.step(quantile32(uint32(z2)))
		a.y += white*quantile32(uint32(z>>32)) + slowly*b.north.step(quantile32(uint32(z2>>32)))
		lat, lon := lg.field.place.degrees(a)
		j := lg.index(i - int(math.Round(b.box.Latency/tick)))
		k := lg.index(j - 5)
		head := lg.psi[j]
		if d := (xy{lg.ax[j] - lg.ax[k], lg.ay[j] - lg.ay[k]}); d.norm() > 0.02 {
			head = math.Atan2(d.y, d.x)
		}
		deg := math.Mod(450-head*180/math.Pi, 360)
		if deg < 0 {
			deg += 360
		}
		v := max(lg.va[j]+0.02*quantile32(uint32(mix(z)))*min(lg.va[j], 1), 0)
		o := b.out
		o.instant(b.clock.logs((lg.first+int64(i))*int64(tick*1e6)), 3).comma()
		o.fixed(lat, 9).comma().fixed(lon, 9).text(",").fixed(260, 1).comma().fixed(v, 3).comma().fixed(deg, 2).text(",0.7,18").end()
	}
	return b.out.err
}

func (b *guidanceBox) close() error { return b.out.close() }

// machineBox writes readings.csv of the planter's own controller: states,
// target, speed, vacuum.
type machineBox struct {
	out     *lines
	clock   clock
	s       *Scenario
	g       *rand.PCG
	lifted  int
	enabled []int
	target  float64 // s of the day at which the target was last written
	sides   []string
}

func newMachineBox(s *Scenario, dir string) (*machineBox, error) {
	b := s.box("machine")
	if err := sourceFile(dir, "planter controller", s, b, ""); err != nil {
		return nil, err
	}
	out, err := newLines(filepath.Join(dir, "readings.csv"), "time,quantity,element,value,unit")
	if err != nil {
		return nil, err
	}
	m := &machineBox{out: out, clock: s.boxClock(b), s: s, g: stream(s.Seed, "machine box", -1, 0), lifted: -1, target: math.Inf(-1), sides: []string{"left", "right"}}
	if s.Planter.OneVacuum || s.Planter.Rows < 2 {
		m.sides = m.sides[:1]
	}
	m.enabled = make([]int, s.Planter.Rows+1)
	for i := range m.enabled {
		m.enabled[i] = -1
	}
	return m, nil
}

func (b *machineBox) line(t float64, quantity, element string, v float64, decimals int, unit string) {
	b.out.instant(b.clock.logs(int64(math.Round(t*1e6))), 3).comma().text(quantity).comma().text(element).comma()
	b.out.fixed(v, decimals).comma().text(unit).end()
}

func (b *machineBox) see(m *moment) error {
	lg := m.leg
	if !lg.logged {
		return nil
	}
	radar := 1.0
	perSecond := int(math.Round(1 / tick))
	cursor := make([]int, len(m.rows))
	for i := 0; i < lg.n; i += slow {
		t := lg.seconds(i)
		lifted := 1
		if lg.works() && i >= lg.down && i < lg.up {
			lifted = 0
		}
		if lifted != b.lifted || i%(10*perSecond) == 0 {
			b.line(t, "implement_lifted", "machine", float64(lifted), 0, "")
			b.lifted = lifted
		}
		for k, r := range m.rows {
			on := 1
			for cursor[k] < len(r.off) && r.off[cursor[k]].to <= t {
				cursor[k]++
			}
			if cursor[k] < len(r.off) && r.off[cursor[k]].from <= t {
				on = 0
			}
			if on != b.enabled[r.n] {
				b.line(t, "row_enabled", evenstand.RowElement(r.n).String(), float64(on), 0, "")
				b.enabled[r.n] = on
			}
		}
		if i%perSecond != 0 {
			continue
		}
		if t-b.target >= 60 {
			b.line(t, "seed_rate_target", "machine", m.s.Meter.Population, 0, "1/ac")
			b.target = t
		}
		radar = 1
		for _, f := range m.faults {
			if f.Kind == evenstand.KindRateOff && f.Variant == "radar" && f.begun && (t < f.w1 || !f.over) {
				radar *= f.mult
			}
		}
		j := lg.index(i)
		v := lg.va[j] * radar
		if v > 0 {
			v = max(v+0.02*normal(b.g), 0)
		}
		b.line(t, "ground_speed", "machine", v, 3, "m/s")
		for side, name := range b.sides {
			kpa := m.air.kpa[side][i/slow] - m.air.lost[side][i/slow]
			if m.air.off[side][i/slow] {
				kpa = 0
			}
			// In steps of 0.05 kPa (simulator.md section 6).
			b.line(t, "vacuum", name, math.Max(math.Round(kpa*20)/20, 0), 2, "kPa")
		}
	}
	return b.out.err
}

func (b *machineBox) close() error { return b.out.close() }

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

// rowsBox writes readings.csv at grade B: a row a second, seeds counted and
// percentages smoothed, from what the sensor saw by the rule of gaps.
type rowsBox struct {
	clock clock
	s     *Scenario
	rows  []rowSeconds
	out   rowWriter
}

// rowWriter takes one second of all rows.
type rowWriter interface {
	second(m *moment, i int, t float64, rows []rowReading) error
	close() error
}

// rowReading is a row's line of one second; fractions are NaN without seeds due.
type rowReading struct {
	seeds         int
	skip, double_ float64
	on            bool
}

func (b *rowsBox) see(m *moment) error {
	lg := m.leg
	if !lg.logged || !lg.works() {
		return nil
	}
	perSecond := int(math.Round(1 / tick))
	firstTick := lg.down - lg.down%perSecond + perSecond
	cursor := make([]int, len(m.rows))
	window := max(int(math.Round(b.s.Output.Smoothing)), 1)
	readings := make([]rowReading, len(m.rows))
	for k := range b.rows {
		x := &b.rows[k]
		x.last = -1
		x.smoothS, x.smoothD, x.smoothDue = x.smoothS[:0], x.smoothD[:0], x.smoothDue[:0]
		seen := m.rows[k].seen
		for cursor[k] < len(seen) && float64(seen[cursor[k]]>>pulseShift)*1e-6 < lg.seconds(firstTick-perSecond) {
			cursor[k]++
		}
	}
	spacing := b.s.spacing()
	for i := firstTick; i < lg.up+perSecond && i < lg.n; i += perSecond {
		t := lg.seconds(i)
		j := lg.index(i - perSecond/2)
		for k, r := range m.rows {
			x := &b.rows[k]
			x.seeds, x.skips, x.doubles, x.due = 0, 0, 0, 0
			v := lg.va[j]
			for ; cursor[k] < len(r.seen); cursor[k]++ {
				at := float64(r.seen[cursor[k]]>>pulseShift) * 1e-6
				if at >= t {
					break
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
			if x.seeds == 0 && v > 0.5 && i < lg.up { // nothing but skips
				x.due = v / spacing
				x.skips = x.due
				x.last = -1
			}
			push := func(w *[]float64, v float64) float64 {
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
			s, d, due := push(&x.smoothS, x.skips), push(&x.smoothD, x.doubles), push(&x.smoothDue, x.due)
			rd := rowReading{seeds: x.seeds, skip: math.NaN(), double_: math.NaN(), on: true}
			if due > 0 {
				rd.skip, rd.double_ = math.Min(s/due, 1), math.Min(d/due, 1)
			}
			for _, o := range r.off {
				if o.from <= t-0.5 && t-0.5 < o.to {
					rd.on = false
				}
			}
			readings[k] = rd
		}
		if m.gradeB(t) {
			if err := b.out.second(m, i, t, readings); err != nil {
				return err
			}
		}
	}
	return nil
}

func (b *rowsBox) close() error { return b.out.close() }

// plainRows writes the seconds as readings.csv.
type plainRows struct {
	out   *lines
	clock clock
	names []string
}

func newRowsBox(s *Scenario, dir string) (*rowsBox, error) {
	b := s.box("rows")
	x := &rowsBox{clock: s.boxClock(b), s: s, rows: make([]rowSeconds, s.Planter.Rows)}
	if err := sourceFile(dir, "row monitor", s, b, fmt.Sprintf("skips and doubles are shares of the seeds due, averaged over %g s", s.Output.Smoothing)); err != nil {
		return nil, err
	}
	out, err := newLines(filepath.Join(dir, "readings.csv"), "time,quantity,element,value,unit")
	if err != nil {
		return nil, err
	}
	p := &plainRows{out: out, clock: x.clock}
	for r := range s.Planter.Rows {
		p.names = append(p.names, evenstand.RowElement(r+1).String())
	}
	x.out = p
	return x, nil
}

func (p *plainRows) second(m *moment, _ int, t float64, rows []rowReading) error {
	at := p.clock.logs(int64(math.Round(t * 1e6)))
	o := p.out
	for k, r := range rows {
		o.instant(at, 3).text(",seed_count,").text(p.names[k]).comma().int(r.seeds).comma().end()
		if !math.IsNaN(r.skip) {
			o.instant(at, 3).text(",skip_fraction,").text(p.names[k]).comma().fixed(r.skip*100, 1).text(",%").end()
			o.instant(at, 3).text(",double_fraction,").text(p.names[k]).comma().fixed(r.double_*100, 1).text(",%").end()
		}
	}
	return o.err
}

func (p *plainRows) close() error { return p.out.close() }

// forceBox writes row force and wheel load. Orders of magnitude after
// simulator.md section 5; the ground's need is a wander along the way here.
type forceBox struct {
	out   *lines
	clock clock
	s     *Scenario
	every int
	need  []wander
	load  []wander
	names []string
}

const rowWeight = 670.0 // N on the gauge wheels without added force

func newForceBox(s *Scenario, dir string) (*forceBox, error) {
	b := s.box("force")
	if err := sourceFile(dir, "row force", s, b, ""); err != nil {
		return nil, err
	}
	out, err := newLines(filepath.Join(dir, "readings.csv"), "time,quantity,element,value,unit")
	if err != nil {
		return nil, err
	}
	x := &forceBox{out: out, clock: s.boxClock(b), s: s, every: max(int(math.Round(1/tick/s.Output.ForceHz)), 1)}
	for r := range s.Planter.Rows {
		g := stream(s.Seed, "need", r+1, 0)
		dt := float64(x.every) * tick
		x.need = append(x.need, newWander(20, dt, normal(g)))
		x.load = append(x.load, newWander(0.4, dt, normal(g)))
		x.names = append(x.names, evenstand.RowElement(r+1).String())
	}
	return x, nil
}

func (b *forceBox) see(m *moment) error {
	lg := m.leg
	if !lg.logged || !lg.works() {
		return nil
	}
	g := stream(b.s.Seed, "force", -1, lg.pass)
	for i := lg.down; i < lg.up; i += b.every {
		at := b.clock.logs((lg.first + int64(i)) * int64(tick*1e6))
		v := lg.v[i]
		for r := range b.need {
			need := 1050 + 220*b.need[r].step(normal(g)) + 60*(v-2.2)/0.45
			force := need - rowWeight + 600 // automatic force holds the margin
			load := max(rowWeight+force-need+120*b.load[r].step(normal(g)), 0)
			b.out.instant(at, 3).text(",applied_force,").text(b.names[r]).comma().fixed(force, 0).text(",N").end()
			b.out.instant(at, 3).text(",gauge_wheel_load,").text(b.names[r]).comma().fixed(load, 0).text(",N").end()
		}
	}
	return b.out.err
}

func (b *forceBox) close() error { return b.out.close() }

// journalBox writes what the operator notes: the refills.
type journalBox struct {
	out   *lines
	clock clock
}

func newJournalBox(s *Scenario, dir string) (*journalBox, error) {
	b := s.box("journal")
	if err := sourceFile(dir, "journal", s, b, ""); err != nil {
		return nil, err
	}
	out, err := newLines(filepath.Join(dir, "journal.csv"), "time,what,rows,value,unit,note")
	if err != nil {
		return nil, err
	}
	return &journalBox{out, s.boxClock(b)}, nil
}

func (b *journalBox) see(m *moment) error {
	if !m.refill {
		return nil
	}
	// To the minute, as people write.
	t := math.Round(m.leg.end()/60) * 60
	b.out.instant(b.clock.logs(int64(t*1e6)), 3).text(",refill,,,,seed boxes filled").end()
	return b.out.err
}

func (b *journalBox) close() error { return b.out.close() }

// decimal writes a number so that TOML takes it for a float.
func decimal(v float64) string {
	t := strconv.FormatFloat(v, 'f', -1, 64)
	if !strings.Contains(t, ".") {
		t += ".0"
	}
	return t
}

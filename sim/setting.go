package sim

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"evenstand"
)

// SettingPlan is a change of a setting, or several where it is switched back and
// forth by pass. What it does follows from the world; what the world does not
// hold follows a stated response.
type SettingPlan struct {
	ID      string   `toml:"id"`
	Lever   string   `toml:"lever"` // a key of levers
	Rows    string   `toml:"rows"`  // "5", "1-8"; left, right, all; empty: all
	At      string   `toml:"at"`    // local time, 10:15
	AtHours float64  `toml:"at_h"`  // or hours from the start
	Field   string   `toml:"field"` // or in the turn before a pass of a field, by its number from 1
	Pass    int      `toml:"pass"`
	From    *float64 `toml:"from"` // in Unit; on the first change of a lever, what it stood at from the morning
	To      *float64 `toml:"to"`
	Unit    string   `toml:"unit"`        // empty: the registry's
	Mode    string   `toml:"mode"`        // of force_mode: automatic, fixed or off
	Each    int      `toml:"each_passes"` // from then on switched to and back in the turn before every so many passes …
	Times   int      `toml:"times"`       // … so often; 6 when not said
	Noted   string   `toml:"noted"`       // by a person: yes (when not said), no, wrong-rows
}

// AttachmentPlan is a part that is mounted on some rows from a day on, in place
// of what was there of its kind, and what it truly does there.
type AttachmentPlan struct {
	Kind  string `toml:"kind"`
	Label string `toml:"label"`
	Rows  string `toml:"rows"`
	Since string `toml:"since"` // local date

	Trash    float64 `toml:"trash"`    // share more in the slot
	Moisture float64 `toml:"moisture"` // share more in the seed zone
	Warmth   float64 `toml:"warmth_k"`
	Load     float64 `toml:"load_n"`  // on the gauge wheels
	Spacing  float64 `toml:"spacing"` // times the scatter of seeds; 0: as it is
	Skips    float64 `toml:"skips"`   // times the odds of a skip; 0: as they are
	Doubles  float64 `toml:"doubles"`
	Stand    float64 `toml:"stand"` // share more of the seeds that become plants
}

// The levers, by index.
const (
	leverLoad = iota
	leverForce
	leverMode
	leverCleaner
	leverCloser
	leverDepth
	leverSpeed
	leverVacuum
	leverRate
	numLevers
)

// Names of levers that are no quantity of the registry.
const (
	LeverMode  = "force_mode"
	LeverDepth = "depth"
)

// Force modes.
const (
	modeAutomatic = iota
	modeFixed
	modeOff
)

var modes = []string{"automatic", "fixed", "off"}

// levers are what can be set: the range that a scenario may ask for, in SI, and
// whether a box logs what stands. Ranges are judgement.
var levers = [numLevers]struct {
	name      string
	low, high float64
	logged    string // target or level; empty: only people say so
	digits    int
}{
	leverLoad:    {evenstand.GaugeWheelLoadTarget.String(), 0, 3000, "target", 0},
	leverForce:   {evenstand.AppliedForce.String(), -500, forceMost, "level", 0},
	leverMode:    {LeverMode, 0, 2, "", 0},
	leverCleaner: {evenstand.CleanerPressure.String(), 0, 5e5, "level", 0},
	leverCloser:  {evenstand.CloserPressure.String(), 0, 4e5, "level", 0},
	leverDepth:   {LeverDepth, 0.02, 0.09, "", 4},
	leverSpeed:   {evenstand.GroundSpeed.String(), 0.8, 8, "level", 3},
	leverVacuum:  {evenstand.Vacuum.String(), 1000, 12000, "level", 0},
	leverRate:    {evenstand.SeedRateTarget.String(), 1, 100, "target", 4},
}

// Responses that the world does not hold by itself: forms and sizes are
// judgement, each day's own within a third by its own chance.
const (
	psi10        = 68947.57 // Pa, ten psi: the step of pressures in the responses
	closerPress  = 103e3    // Pa, 15 psi
	depthBase    = 0.050    // m
	depthNeed    = 10e3     // N that a row needs more for each m
	depthMoist   = 0.6      // share of moisture more for each m
	depthWarm    = -30.0    // K for each m
	modeledStand = 0.90     // share of seeds that become plants at the best of all settings
)

// Response is a stated response of a measure to a lever: what is added to it, or
// what it is multiplied by where Times, as a + b x + c x² with x = (value - centre)/per.
type Response struct {
	Lever   string  `json:"lever"`
	Measure string  `json:"measure"`
	Times   bool    `json:"times"`
	Centre  float64 `json:"centre"` // SI, like per
	Per     float64 `json:"per"`
	A       float64 `json:"a"`
	B       float64 `json:"b"`
	C       float64 `json:"c"`
	Vertex  float64 `json:"vertex"` // where it is least or most, SI; NaN is left out
}

func (r *Response) at(v float64) float64 {
	x := (v - r.Centre) / r.Per
	return r.A + r.B*x + r.C*x*x
}

// Measures of settings.
const (
	onLoad = iota
	onForce
	onOff
	onMoist
	onWarm
	onTrash
	onSkips
	onDoubles
	onSpacing
	onRate
	onStand
	numMeasures
)

var measureNames = [numMeasures]string{
	evenstand.GaugeWheelLoad.String(), evenstand.AppliedForce.String(), evenstand.WheelOffShare.String(), evenstand.SeedZoneMoisture.String(),
	evenstand.SeedZoneTemperature.String(), evenstand.SlotTrash.String(), evenstand.SkipFraction.String(), evenstand.DoubleFraction.String(),
	evenstand.SpacingCV.String(), evenstand.SeedRate.String(), "stand",
}

// step is one change of a lever.
type step struct {
	id       string
	plan     *SettingPlan
	lever    int
	t        float64 // s of the day
	rows     evenstand.Rows
	has      []bool
	from, to float64
	said     bool // in the journal
	by       [][numMeasures]effectSum
	force    []float64 // of each row, had it not been made; NaN not begun
}

// effectSum sums a measure with a change and without.
type effectSum struct{ with, without, n float64 }

func (x *step) add(row, measure int, with, without float64) {
	e := &x.by[row][measure]
	e.with += with
	e.without += without
	e.n++
}

// board is where the levers stand. Its steps grow between legs only, so that rows
// and boxes may look side by side.
type board struct {
	s     *Scenario
	base  [numLevers][]float64 // by row from 1, from the morning
	used  [numLevers]bool      // any change is planned
	whole [numLevers]bool      // and all are of all rows
	steps [numLevers][]*step
	all   []*step // in the order in which they came

	waiting []*waiting
	mounted [][]*AttachmentPlan // by row, what is on it on this day

	cleanTrash, cleanMoist, closerStand, depthStand Response
}

// waiting is a plan whose changes are to come.
type waiting struct {
	plan  *SettingPlan
	rows  evenstand.Rows
	lever int
	t     float64 // NaN: with its pass
	left  int
	legs  int
	index int
}

func (s *Scenario) settingRows(name string) (evenstand.Rows, error) {
	card := s.card()
	rows := span(1, s.Planter.Rows)
	switch name {
	case "", "all":
	case "left", "right":
		rows = card.Side(name)
	default:
		var err error
		if rows, err = evenstand.ParseRows(name); err != nil {
			return nil, err
		}
	}
	if len(rows) == 0 || rows[len(rows)-1] > s.Planter.Rows {
		return nil, fmt.Errorf("rows %q do not fit a planter of %d rows", name, s.Planter.Rows)
	}
	return rows, nil
}

func leverNamed(name string) int {
	for i := range levers {
		if levers[i].name == name {
			return i
		}
	}
	return -1
}

// newBoard sets the levers as in the morning; nil where nothing is ever changed
// and nothing mounted.
func (s *Scenario) newBoard() (*board, error) {
	if len(s.Settings) == 0 && len(s.Attachments) == 0 {
		return nil, nil
	}
	b := &board{s: s, mounted: make([][]*AttachmentPlan, s.Planter.Rows+1)}
	if s.Output.Layout != "plain" {
		return nil, fmt.Errorf("settings and attachments want output.layout = \"plain\"")
	}
	g := stream(s.season(), "responses", -1, 0)
	third := func() float64 { return between(g, 0.7, 1.3) }
	name := func(l int) string { return levers[l].name }
	b.cleanTrash = Response{Lever: name(leverCleaner), Measure: measureNames[onTrash], Times: true, Centre: cleanerPress, Per: psi10, A: 1, B: -0.30 * third()}
	b.cleanTrash.C = -b.cleanTrash.B / 6 // least at 30 psi more
	b.cleanMoist = Response{Lever: name(leverCleaner), Measure: measureNames[onMoist], Centre: cleanerPress, Per: psi10, B: -0.004 * third(), C: -0.002 * third()}
	b.closerStand = Response{Lever: name(leverCloser), Measure: measureNames[onStand], Centre: between(g, 0.7, 1.4) * closerPress, Per: psi10, A: modeledStand, C: -0.015 * third()}
	b.depthStand = Response{Lever: name(leverDepth), Measure: measureNames[onStand], Centre: between(g, 0.045, 0.058), Per: 0.01, C: -0.015 * third()}
	for _, r := range []*Response{&b.cleanTrash, &b.cleanMoist, &b.closerStand, &b.depthStand} {
		r.B, r.C = round(r.B, 5), round(r.C, 5)
		r.Centre = round(r.Centre, 5)
		r.Vertex = round(r.Centre-r.B/(2*r.C)*r.Per, 4)
	}
	fixed := zoneMiddle + needSpeed*(s.Drive.Speed-2.2) + loadTarget - rowWeight
	mode := float64(modeAutomatic)
	if s.Output.WheelLoad == "fixed" {
		mode = modeFixed
	}
	for l, v := range [numLevers]float64{loadTarget, fixed, mode, cleanerPress, closerPress, depthBase, s.Drive.Speed, s.Meter.VacuumKPa * 1000, s.perM2()} {
		b.whole[l] = true
		b.base[l] = make([]float64, s.Planter.Rows+1)
		for r := range b.base[l] {
			b.base[l][r] = v
		}
	}
	var begun [numLevers]map[int]bool
	for i := range s.Settings {
		p := &s.Settings[i]
		w, err := b.plan(i, p)
		if err != nil {
			return nil, fmt.Errorf("setting %d: %w", i+1, err)
		}
		b.waiting = append(b.waiting, w)
	}
	slices.SortStableFunc(b.waiting, func(x, y *waiting) int {
		if x.t < y.t {
			return -1
		}
		if x.t > y.t {
			return 1
		}
		return 0
	})
	for _, w := range b.waiting {
		if begun[w.lever] == nil {
			begun[w.lever] = map[int]bool{}
		}
		b.used[w.lever] = true
		if len(w.rows) < s.Planter.Rows {
			b.whole[w.lever] = false
		}
		for _, r := range w.rows {
			if w.plan.From != nil && !begun[w.lever][r] {
				b.base[w.lever][r] = w.value(w.plan.From)
			}
			begun[w.lever][r] = true
		}
	}
	return b, b.mount()
}

// plan checks a plan.
func (b *board) plan(i int, p *SettingPlan) (*waiting, error) {
	s := b.s
	w := &waiting{plan: p, lever: leverNamed(p.Lever), t: p.AtHours * 3600, left: 1, index: i}
	if w.lever < 0 {
		var names []string
		for _, l := range levers {
			names = append(names, l.name)
		}
		return nil, fmt.Errorf("lever %q is not known: want one of %s", p.Lever, strings.Join(names, ", "))
	}
	var err error
	if w.rows, err = s.settingRows(p.Rows); err != nil {
		return nil, err
	}
	switch w.lever {
	case leverLoad, leverForce, leverMode:
		if s.Output.WheelLoad == "" {
			return nil, fmt.Errorf("%s: say output.wheel_load, so that there is a load", p.Lever)
		}
	case leverCleaner, leverCloser:
		if !s.Output.Furrow {
			return nil, fmt.Errorf("%s: say output.furrow = true, so that there is a box that logs it", p.Lever)
		}
	case leverSpeed:
		if len(w.rows) < s.Planter.Rows {
			return nil, fmt.Errorf("%s: it is of all rows", p.Lever)
		}
	case leverVacuum:
		card := s.card()
		if len(w.rows) < s.Planter.Rows && !slices.Equal(w.rows, card.Side("left")) && !slices.Equal(w.rows, card.Side("right")) {
			return nil, fmt.Errorf("%s: rows want all, left or right", p.Lever)
		}
	}
	in := levers[w.lever]
	if w.lever == leverMode {
		if !slices.Contains(modes, p.Mode) || p.To != nil || p.From != nil || p.Unit != "" {
			return nil, fmt.Errorf("%s: want mode = %s, and no number", p.Lever, strings.Join(modes, ", "))
		}
	} else {
		if p.To == nil || p.Mode != "" {
			return nil, fmt.Errorf("%s: say to, and from where it was not as it stood", p.Lever)
		}
		u, err := p.unit()
		if err != nil {
			return nil, err
		}
		for _, v := range []*float64{p.From, p.To} {
			if v != nil && !(u.ToSI(*v) >= in.low-1e-9 && u.ToSI(*v) <= in.high+1e-9) {
				return nil, fmt.Errorf("%s = %g: want %.4g to %.4g %s", p.Lever, *v, u.FromSI(in.low), u.FromSI(in.high), u.Name)
			}
		}
	}
	if !(p.AtHours >= 0 && p.AtHours <= 24 && p.Each >= 0 && p.Times >= 0 && p.Pass >= 0) {
		return nil, fmt.Errorf("%s: times and passes want numbers of 0 and more", p.Lever)
	}
	if p.Noted != "" && p.Noted != "yes" && p.Noted != "no" && p.Noted != "wrong-rows" {
		return nil, fmt.Errorf("noted = %q: want yes, no or wrong-rows", p.Noted)
	}
	switch {
	case p.At != "":
		m, err := s.clock(p.At)
		if err != nil {
			return nil, err
		}
		w.t = (m - s.t0).Seconds()
	case p.Pass > 0:
		w.t = math.NaN()
	}
	if p.Each > 0 {
		w.left = p.Times
		if w.left == 0 {
			w.left = 6
		}
	}
	return w, nil
}

func (p *SettingPlan) unit() (evenstand.Unit, error) {
	name := p.Unit
	if name == "" {
		name = "m"
		if q, ok := evenstand.ParseQuantity(p.Lever); ok {
			name = q.Info().SI
		}
	}
	return evenstand.ParseUnit(name)
}

func (w *waiting) value(v *float64) float64 {
	u, err := w.plan.unit()
	if err != nil {
		panic("a unit that plan let through: " + err.Error())
	}
	return round(u.ToSI(*v), 6)
}

// mount puts on the rows what is mounted on the day.
func (b *board) mount() error {
	for i := range b.s.Attachments {
		p := &b.s.Attachments[i]
		if p.Kind == "" || p.Label == "" || p.Rows == "" {
			return fmt.Errorf("attachment %d: say kind, label and rows", i+1)
		}
		if p.Since != "" {
			if _, err := evenstand.Day(p.Since).Start(b.s.zone); err != nil {
				return fmt.Errorf("attachment %d: since = %q: want a date such as 2026-05-02", i+1, p.Since)
			}
		}
		rows, err := b.s.settingRows(p.Rows)
		if err != nil {
			return fmt.Errorf("attachment %d: %w", i+1, err)
		}
		if !(math.Abs(p.Trash) <= 0.5 && math.Abs(p.Moisture) <= 0.2 && math.Abs(p.Warmth) <= 5 && math.Abs(p.Load) <= 1000 && math.Abs(p.Stand) <= 0.3) ||
			!(p.Spacing >= 0 && p.Spacing <= 3 && p.Skips >= 0 && p.Skips <= 20 && p.Doubles >= 0 && p.Doubles <= 20) {
			return fmt.Errorf("attachment %d: its effects are out of all range", i+1)
		}
		if p.Since > b.s.Date {
			continue
		}
		for _, r := range rows {
			m := slices.DeleteFunc(b.mounted[r], func(o *AttachmentPlan) bool { return o.Kind == p.Kind })
			b.mounted[r] = append(m, p)
		}
	}
	return nil
}

// attachments gives what the card says on the scenario's day: all that was
// mounted so far, each from its date on.
func (s *Scenario) attachments() (out []evenstand.Attachment) {
	for _, p := range s.Attachments {
		if p.Since > s.Date {
			continue
		}
		rows, err := s.settingRows(p.Rows)
		if err != nil {
			continue // check says so
		}
		out = append(out, evenstand.Attachment{Kind: p.Kind, Label: p.Label, Rows: rows, Since: p.Since})
	}
	return out
}

// season is the seed of what stays the same from day to day.
func (s *Scenario) season() uint64 {
	if s.SeasonSeed != 0 {
		return s.SeasonSeed
	}
	return s.Seed
}

// ahead is how far changes by the clock are made before a leg begins, s: no leg
// lasts longer but for stands.
const ahead = 3600.0

// due makes the changes of the leg that begins at a second of the day: those by
// the clock, and those in the turn before a pass.
func (b *board) due(from float64, f *field, pass int, works bool) {
	for _, w := range b.waiting {
		for w.left > 0 {
			if math.IsNaN(w.t) {
				if works && f.plan.Name == w.plan.Field && pass == w.plan.Pass {
					w.t = from + 2
				} else {
					break
				}
			}
			t := w.t
			if w.plan.Each > 0 { // in a turn, and then in every so many
				if !works || from < t {
					break
				}
				if w.legs%w.plan.Each != 0 {
					w.legs++
					break
				}
				w.legs++
				t = from + 2
			} else if t >= from+ahead {
				break
			}
			b.change(w, t)
			w.left--
			if w.plan.Each > 0 {
				break // one a leg
			}
		}
	}
}

// change makes one change.
func (b *board) change(w *waiting, t float64) {
	p, l := w.plan, w.lever
	n := 0
	for _, x := range b.all {
		if x.plan == p {
			n++
		}
	}
	x := &step{
		id: p.ID, plan: p, lever: l, t: t, rows: w.rows, has: make([]bool, b.s.Planter.Rows+1),
		from: b.at(l, w.rows[0], t), by: make([][numMeasures]effectSum, b.s.Planter.Rows+1), force: make([]float64, b.s.Planter.Rows+1),
	}
	if x.id == "" {
		x.id = fmt.Sprintf("S%02d", w.index+1)
	}
	if p.Each > 0 {
		x.id += fmt.Sprintf(".%d", n+1)
	}
	switch {
	case l == leverMode:
		x.to = float64(slices.Index(modes, p.Mode))
	default:
		x.to = w.value(p.To)
	}
	if n%2 == 1 { // back
		x.to = b.all[slices.IndexFunc(b.all, func(o *step) bool { return o.plan == p })].from
	}
	for _, r := range w.rows {
		x.has[r] = true
	}
	for i := range x.force {
		x.force[i] = math.NaN()
	}
	// Plans are in order of time but for those by pass.
	b.steps[l] = append(b.steps[l], x)
	slices.SortStableFunc(b.steps[l], func(x, y *step) int {
		switch {
		case x.t < y.t:
			return -1
		case x.t > y.t:
			return 1
		}
		return 0
	})
	b.all = append(b.all, x)
	// One that came in between changes what the next came from.
	for i, y := range b.steps[l] {
		y.from = b.base[l][y.rows[0]]
		for _, o := range b.steps[l][:i] {
			if o.has[y.rows[0]] {
				y.from = o.to
			}
		}
	}
}

// last gives the change that a row of a lever stands by, nil: none yet.
func (b *board) last(l, row int, t float64) *step {
	for i := len(b.steps[l]) - 1; i >= 0; i-- {
		if x := b.steps[l][i]; x.t <= t && x.has[row] {
			return x
		}
	}
	return nil
}

// at gives where a lever of a row stands.
func (b *board) at(l, row int, t float64) float64 {
	if x := b.last(l, row, t); x != nil {
		return x.to
	}
	return b.base[l][row]
}

// without gives where a lever would stand had a change not been made.
func (b *board) without(x *step, l, row int, t float64) float64 {
	if x.lever == l {
		return x.from
	}
	return b.at(l, row, t)
}

// wants is the force that a row is to be pressed with.
func wants(mode, target, fixed, need float64) float64 {
	switch mode {
	case modeFixed:
		return fixed
	case modeOff:
		return 0
	}
	return math.Min(forceMost, need+target-rowWeight)
}

// pressed gives what a row needs and is pressed with, where settings have a say;
// x, when not nil, is a change that is thought away.
func (b *board) pressed(x *step, row int, t, need, v float64) (n, want, speed float64) {
	at := func(l int) float64 { return b.at(l, row, t) }
	if x != nil {
		at = func(l int) float64 { return b.without(x, l, row, t) }
		if x.lever == leverSpeed && x.to > 0 {
			need += needSpeed * v * (x.from/x.to - 1)
			v *= x.from / x.to
		}
	}
	need += depthNeed * (at(leverDepth) - depthBase)
	return need, wants(at(leverMode), at(leverLoad), at(leverForce), need), v
}

// furrow changes moisture, temperature and trash of a row as its settings do.
func (b *board) furrow(x *step, row int, t float64, moist, warm, trash *float64) {
	at := func(l int) float64 { return b.at(l, row, t) }
	if x != nil {
		at = func(l int) float64 { return b.without(x, l, row, t) }
	}
	p, d := at(leverCleaner), at(leverDepth)-depthBase
	was := *trash
	*trash *= b.cleanTrash.at(p)
	*moist += b.cleanMoist.at(p) + depthMoist*d
	for _, a := range b.mounted[row] {
		*trash = math.Max(0, *trash+a.Trash)
		*moist += a.Moisture
		*warm += a.Warmth
	}
	*warm += depthWarm*d - warmTrash*(*trash-was)
}

// seeds changes what a row's meter does as attachments and the seed rate do.
func (b *board) seeds(e *effect, row int, t float64) {
	for _, a := range b.mounted[row] {
		if a.Spacing > 0 {
			e.bounce *= a.Spacing
		}
		if a.Skips > 0 {
			e.skip += math.Log(a.Skips)
		}
		if a.Doubles > 0 {
			e.double += math.Log(a.Doubles)
		}
	}
	if b.used[leverRate] {
		times := b.at(leverRate, row, t) / b.s.perM2()
		e.rate *= times
		e.skip += b.s.Meter.RateTerm * math.Log(times)
	}
}

// metered notes what changes did to the meter of a row in one slow tick: x and xd
// are the logits of a skip and a double.
func (b *board) metered(row int, t, v, x, xd, times float64) {
	s, m := b.s, &b.s.Meter
	sigma := func(x float64) float64 { return 1 / (1 + math.Exp(-x)) }
	for _, l := range [...]int{leverVacuum, leverSpeed, leverRate} {
		c := b.last(l, row, t)
		if c == nil {
			continue
		}
		ds, dd := 0.0, 0.0
		rate := b.at(leverRate, row, t)
		v0, rate0 := v, rate
		switch l {
		case leverVacuum:
			kpa := (c.to - c.from) / 1000
			ds, dd = -m.VacuumTerm*kpa, m.VacuumDbl*kpa
		case leverSpeed:
			ds = m.RateTerm * math.Log(c.to/c.from)
			v0 = v * c.from / c.to
		case leverRate:
			ds = m.RateTerm * math.Log(c.to/c.from)
			rate0 = c.from
		}
		c.add(row, onSkips, sigma(x), sigma(x-ds))
		if dd != 0 {
			c.add(row, onDoubles, sigma(xd), sigma(xd-dd))
		}
		if l != leverVacuum {
			cv := func(v, rate float64) float64 { return math.Sqrt2 * times * s.scatter(v) * rate * s.Planter.RowSpacing }
			c.add(row, onSpacing, cv(v, rate), cv(v0, rate0))
		}
		if l == leverRate {
			c.add(row, onRate, rate, rate0)
		}
	}
}

// levels gives the readings of a lever that a box logs: of the machine where all
// rows are set alike, else of each row.
func (b *board) levels(l int, t float64, say func(evenstand.Element, float64)) {
	if b.whole[l] {
		say(evenstand.Element{}, b.at(l, 1, t))
		return
	}
	for r := 1; r <= b.s.Planter.Rows; r++ {
		say(evenstand.RowElement(r), b.at(l, r, t))
	}
}

// targets logs a target at its changes and once in ten seconds.
type targetLog struct{ last []float64 }

func (x *targetLog) say(b *board, l int, t float64, often bool, put func(evenstand.Element, float64)) {
	if x.last == nil {
		x.last = make([]float64, b.s.Planter.Rows+1)
	}
	b.levels(l, t, func(e evenstand.Element, v float64) {
		if v != x.last[e.N] || often {
			put(e, round(v, max(1, levers[l].digits)))
		}
		x.last[e.N] = v
	})
}

// stand is the share of a row's seeds that become plants, from its settings and
// attachments; x is a change that is thought away.
func (b *board) stand(x *step, row int, t float64) float64 {
	at := func(l int) float64 { return b.at(l, row, t) }
	if x != nil {
		at = func(l int) float64 { return b.without(x, l, row, t) }
	}
	p := b.closerStand.at(at(leverCloser)) + b.depthStand.at(at(leverDepth))
	for _, a := range b.mounted[row] {
		p += a.Stand
	}
	return math.Max(0.2, math.Min(1, p))
}

// SettingTruth is one change in truth/settings.json. Times are true ones, values
// in SI.
type SettingTruth struct {
	ID     string              `json:"id"`
	Lever  string              `json:"lever"`
	Rows   evenstand.Rows      `json:"rows"`
	T      evenstand.Micros    `json:"t"`
	Until  *evenstand.Micros   `json:"until,omitempty"` // the next change of the lever on one of its rows
	From   *float64            `json:"from,omitempty"`
	To     *float64            `json:"to,omitempty"`
	Was    string              `json:"was,omitempty"` // of force_mode
	Is     string              `json:"is,omitempty"`
	Logged string              `json:"logged,omitempty"` // target or level: a box shows it
	Noted  *NotedTruth         `json:"noted,omitempty"`  // nil: nobody wrote it down
	Effect map[string]TrueStep `json:"effects"`
}

// NotedTruth is what a person wrote down of a change.
type NotedTruth struct {
	T     evenstand.Micros `json:"t"`
	Rows  evenstand.Rows   `json:"rows"` // empty: all
	Wrong bool             `json:"wrong_rows,omitempty"`
}

// TrueStep is what a change truly did to a measure, over the ground that was
// worked between it and the next change: the mean with it less the mean had it
// not been made.
type TrueStep struct {
	By      float64 `json:"by"`
	With    float64 `json:"with"`
	Without float64 `json:"without"`
	N       float64 `json:"n"` // readings or ticks of rows
}

// SettingsTruth is truth/settings.json.
type SettingsTruth struct {
	Schema    int            `json:"schema"`
	Responses []Response     `json:"responses"`
	Settings  []SettingTruth `json:"settings"`
}

// AttachmentTruth is one line of truth/attachments.json: what was planned to be
// mounted from a day on, and whether it is on this day.
type AttachmentTruth struct {
	Kind  string             `json:"kind"`
	Label string             `json:"label"`
	Rows  evenstand.Rows     `json:"rows"`
	Since string             `json:"since,omitempty"`
	On    evenstand.Rows     `json:"on"`      // its rows that carry it on this day
	By    map[string]float64 `json:"effects"` // added to the measure; spacing_cv for this day's speed, skips and doubles at this day's rates
	Times map[string]float64 `json:"times,omitempty"`
}

// AttachmentsTruth is truth/attachments.json.
type AttachmentsTruth struct {
	Schema      int               `json:"schema"`
	Attachments []AttachmentTruth `json:"attachments"`
}

// ReadSettings reads truth/settings.json and truth/attachments.json of a
// simulated day; a day without them has none.
func ReadSettings(dir string) (s SettingsTruth, a AttachmentsTruth, err error) {
	for _, x := range []struct {
		name string
		into any
	}{{settingsTruth, &s}, {attachmentsTruth, &a}} {
		b, err := os.ReadFile(filepath.Join(dir, "truth", x.name))
		if os.IsNotExist(err) {
			continue
		}
		if err == nil {
			err = json.Unmarshal(b, x.into)
		}
		if err != nil {
			return s, a, err
		}
	}
	return s, a, nil
}

const (
	settingsTruth    = "settings.json"
	attachmentsTruth = "attachments.json"
)

// writeTruth writes what settings and attachments truly did.
func (b *board) writeTruth(dir string, noted map[*step]NotedTruth, end float64) error {
	if len(b.s.Settings) > 0 {
		out := SettingsTruth{Schema: 1, Responses: []Response{b.cleanTrash, b.cleanMoist, b.closerStand, b.depthStand}, Settings: []SettingTruth{}}
		for _, x := range b.all {
			if x.t >= end {
				continue // the day ended before
			}
			out.Settings = append(out.Settings, b.truth(x, noted))
		}
		slices.SortStableFunc(out.Settings, func(x, y SettingTruth) int { return int(x.T - y.T) })
		if err := writeJSON(filepath.Join(dir, settingsTruth), out); err != nil {
			return err
		}
	}
	if len(b.s.Attachments) == 0 {
		return nil
	}
	out := AttachmentsTruth{Schema: 1}
	s := b.s
	for i := range s.Attachments {
		p := &s.Attachments[i]
		rows, err := s.settingRows(p.Rows)
		if err != nil {
			return err
		}
		a := AttachmentTruth{Kind: p.Kind, Label: p.Label, Rows: rows, Since: p.Since, On: evenstand.Rows{}, By: map[string]float64{}, Times: map[string]float64{}}
		for r := range b.mounted {
			if slices.Contains(b.mounted[r], p) && slices.Contains(rows, r) {
				a.On = append(a.On, r)
			}
		}
		for m, v := range map[int]float64{onTrash: p.Trash, onMoist: p.Moisture, onWarm: p.Warmth - warmTrash*p.Trash, onLoad: p.Load, onStand: p.Stand} {
			a.By[measureNames[m]] = round(v, 6)
		}
		times := func(m int, v, base float64) {
			if v > 0 && v != 1 {
				a.Times[measureNames[m]] = v
				a.By[measureNames[m]] = round(base*(v-1), 6)
			} else {
				a.By[measureNames[m]] = 0
			}
		}
		times(onSpacing, p.Spacing, math.Sqrt2*s.scatter(s.Drive.Speed)/s.spacing())
		times(onSkips, p.Skips, s.Meter.Skips/100)
		times(onDoubles, p.Doubles, s.Meter.Doubles/100)
		out.Attachments = append(out.Attachments, a)
	}
	return writeJSON(filepath.Join(dir, attachmentsTruth), out)
}

// writeJSON writes a value to a file.
func writeJSON(name string, v any) error {
	text, err := json.MarshalIndent(v, "", " ")
	if err != nil {
		return err
	}
	return os.WriteFile(name, append(text, '\n'), 0o666)
}

func (b *board) truth(x *step, noted map[*step]NotedTruth) SettingTruth {
	s := b.s
	at := func(t float64) evenstand.Micros { return s.t0 + evenstand.FromSeconds(t) }
	out := SettingTruth{ID: x.id, Lever: levers[x.lever].name, Rows: x.rows, T: at(x.t), Logged: levers[x.lever].logged, Effect: map[string]TrueStep{}}
	if x.lever == leverMode {
		out.Was, out.Is = modes[int(x.from)], modes[int(x.to)]
	} else {
		from, to := round(x.from, 6), round(x.to, 6)
		out.From, out.To = &from, &to
	}
	if x.lever == leverForce && b.at(leverMode, x.rows[0], x.t) != modeFixed {
		out.Logged = "" // it is not at work
	}
	for _, y := range b.steps[x.lever] {
		if y.t > x.t && slices.ContainsFunc(x.rows, func(r int) bool { return y.has[r] }) {
			t := at(y.t)
			out.Until = &t
			break
		}
	}
	if n, ok := noted[x]; ok {
		out.Noted = &n
	}
	for m, name := range measureNames {
		var e effectSum
		for r := range x.by {
			y := &x.by[r][m]
			e.with, e.without, e.n = e.with+y.with, e.without+y.without, e.n+y.n
		}
		if m == onStand && (x.lever == leverCloser || x.lever == leverDepth) {
			for _, r := range x.rows {
				e.with, e.without, e.n = e.with+b.stand(nil, r, x.t), e.without+b.stand(x, r, x.t), e.n+1
			}
		}
		if e.n > 0 && e.with != e.without {
			out.Effect[name] = TrueStep{By: round((e.with-e.without)/e.n, 6), With: round(e.with/e.n, 6), Without: round(e.without/e.n, 6), N: e.n}
		}
	}
	return out
}

// The names of settings' units as people write them down.
var said = map[int]string{
	leverLoad: "lbf", leverForce: "lbf", leverCleaner: "psi", leverCloser: "psi", leverDepth: "in", leverSpeed: "mph", leverVacuum: "inH2O", leverRate: "1/ac",
}

// saidDigits is how finely people write them.
var saidDigits = map[int]int{leverDepth: 2, leverSpeed: 1, leverVacuum: 1, leverRate: -2}

// set gives what the operator writes down of changes that fall into a leg: to the
// minute, and up to a minute early or late.
func (b *journalBox) set(m *moment) (out []evenstand.Entry) {
	if m.board == nil {
		return nil
	}
	for _, x := range m.board.all {
		if x.said || x.t >= m.leg.end() {
			continue
		}
		x.said = true
		g := stream(b.s.Seed, "noted "+x.id, -1, 0)
		us := int64(math.Round((x.t+between(g, -60, 60))/60) * 60e6)
		if x.plan.Noted == "no" {
			continue
		}
		rows := x.rows
		if len(rows) == b.s.Planter.Rows {
			rows = nil
		}
		wrong := x.plan.Noted == "wrong-rows"
		if wrong {
			rows = span(1, max(1, b.s.Planter.Rows/4))
			if slices.Equal(rows, x.rows) {
				rows = span(rows[len(rows)-1]+1, b.s.Planter.Rows)
			}
		}
		b.changes[x] = NotedTruth{T: b.s.t0 + evenstand.Micros(us), Rows: rows, Wrong: wrong}
		e := evenstand.Entry{T: b.clock.logs(us), What: "setting", Rows: rows, Value: math.NaN()}
		name := levers[x.lever].name
		if x.lever == leverMode {
			e.Note = name + " " + modes[int(x.to)] + ", was " + modes[int(x.from)]
		} else {
			u, err := evenstand.ParseUnit(said[x.lever])
			if err != nil {
				panic("a unit of ours: " + err.Error())
			}
			d := saidDigits[x.lever]
			e.Value, e.Unit = round(u.FromSI(x.to), d), u.Name
			e.Note = fmt.Sprintf("%s, was %s %s", name, strconv.FormatFloat(round(u.FromSI(x.from), d), 'f', max(0, d), 64), u.Name)
		}
		out = append(out, e)
	}
	slices.SortStableFunc(out, func(a, c evenstand.Entry) int { return int(a.T - c.T) })
	return out
}

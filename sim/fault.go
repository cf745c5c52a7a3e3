package sim

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"evenstand"
)

// Kinds of distractors: they look like faults and are none, or are faults
// whose kind a later version finds.
const (
	KindRock         = "rock"          // a stone: one row skips for a moment
	KindFanRestart   = "fan-restart"   // the fan was stopped: every row skips for two turns
	KindSensorMisses = "sensor-misses" // the sensor overlooks seeds that are there
	KindDust         = "dust"          // pulses that are no seeds
	KindRoughGround  = "rough-ground"  // rough patches space worse, and are driven slower or faster
)

// faultKind is what there is to know of one kind.
type faultKind struct {
	distractor bool
	expected   string   // kind of the finding
	excused    []string // kinds that the evidence may honestly raise
	variants   []string // the first is the default
	named      []string // variants that chance draws only where a scenario names them
	unit       string   // name of strength in params
	strength   float64  // default
	low, high  float64  // range that a scenario may set
	grades     string   // of the rows' data at which it can be found
	machine    bool     // all rows or a side; never a single row
	as         string   // the kind that it is where it is as strong as tests demand
}

var faultKinds = map[string]faultKind{
	evenstand.KindBlockedCell: {expected: evenstand.KindBlockedCell, unit: "q", strength: 1, low: 0.9, high: 1, grades: "A"},
	evenstand.KindWeakCell:    {expected: evenstand.KindWeakCell, unit: "q", strength: 0.5, low: 0.02, high: 0.9, grades: "A"},
	evenstand.KindRowSkips:    {expected: evenstand.KindRowSkips, unit: "times", strength: 2, low: 1, high: 40, grades: "AB", variants: []string{"seal", "fit"}, named: []string{"lot"}},
	evenstand.KindRowDoubles:  {expected: evenstand.KindRowDoubles, unit: "times", strength: 3, low: 1, high: 40, grades: "AB"},
	evenstand.KindLowVacuum:   {expected: evenstand.KindLowVacuum, unit: "kpa", strength: 1.2, low: 0.1, high: 4, grades: "AB", machine: true, variants: []string{"hose", "fan"}},
	// Ground under a row that gave no seed is ground that was left.
	evenstand.KindRowStopped: {expected: evenstand.KindRowStopped, excused: []string{evenstand.KindUnplantedLeft}, unit: "", strength: 1, low: 1, high: 1, grades: "AB", variants: []string{"drive", "tube", "sensor", "empty"}},
	evenstand.KindRowLeftOff: {expected: evenstand.KindRowLeftOff, excused: []string{evenstand.KindUnplantedLeft}, unit: "", strength: 1, low: 1, high: 1, grades: "AB"},
	// Strength of cells is how many are fitted, of the others the relative error.
	evenstand.KindRateOff: {expected: evenstand.KindRateOff, unit: "strength", strength: 0, low: -0.4, high: 120, grades: "AB", machine: true, variants: []string{"cells", "radar", "setting"}},
	// Strength is pulses a second for dust, else the share of seeds not seen. What
	// is weaker than tests demand may be taken for what it looks like.
	evenstand.KindSensorDoubt:  {expected: evenstand.KindSensorDoubt, unit: "strength", low: 0, high: 50, grades: "A", variants: []string{"dust", "misses", "drop-out"}},
	evenstand.KindSourceSilent: {expected: evenstand.KindSourceSilent, strength: 1, low: 1, high: 1, grades: "AB", machine: true, variants: []string{"seed", "machine", "guidance"}},
	// Strength is m of a jump, or of scatter; a place that stands has none.
	evenstand.KindPositionDoubt: {expected: evenstand.KindPositionDoubt, unit: "m", strength: 1, low: 0.05, high: 50, grades: "AB", machine: true, variants: []string{"jump", "standing", "quality"}},
	// A row that skips in runs does skip more, each run looks like trouble in
	// passing, and the longest put nothing down for a second or two: all may be
	// said beside it.
	evenstand.KindStarvedRow: {expected: evenstand.KindStarvedRow, excused: []string{evenstand.KindRowSkips, evenstand.KindRowStopped, evenstand.KindUpset}, unit: "enter", strength: 0.002, low: 1e-5, high: 0.2, grades: "A", variants: []string{"bridging", "delivery"}},

	evenstand.KindRowBounce:   {expected: evenstand.KindRowBounce, unit: "times", strength: 1.8, low: 1, high: 5, grades: "A", variants: []string{"tube", "release"}},
	evenstand.KindContactLoss: {expected: evenstand.KindContactLoss, unit: "n", strength: 450, low: 20, high: 1500, grades: "AB", variants: []string{"wear", "actuator", "zone"}},
	evenstand.KindOverload:    {expected: evenstand.KindOverload, unit: "n", strength: 400, low: 20, high: 2000, grades: "AB", machine: true, variants: []string{"zone", "all"}},

	evenstand.KindLiquidRowLow:  {expected: evenstand.KindLiquidRowLow, unit: "times", strength: 0.6, low: 0, high: 0.99, grades: "AB"},
	evenstand.KindLiquidRowHigh: {expected: evenstand.KindLiquidRowHigh, unit: "times", strength: 1.2, low: 1.01, high: 3, grades: "AB"},
	evenstand.KindLiquidRateOff: {expected: evenstand.KindLiquidRateOff, unit: "strength", strength: -0.06, low: -0.6, high: 0.6, grades: "AB", machine: true, variants: []string{"strainer", "meter", "control"}},
	// Strength is the share of the usual flow that runs.
	evenstand.KindSeedWithoutLiquid: {expected: evenstand.KindSeedWithoutLiquid, unit: "share", strength: 0, low: 0, high: 0.04, grades: "AB", machine: true, variants: []string{"valve", "empty"}},
	evenstand.KindLiquidWithoutSeed: {expected: evenstand.KindLiquidWithoutSeed, unit: "share", strength: 0.8, low: 0.05, high: 1.2, grades: "AB", machine: true},
	evenstand.KindPuddle:            {expected: evenstand.KindPuddle, unit: "share", strength: 0.2, low: 0.01, high: 1.2, grades: "AB", machine: true},
	// Strength is L a minute of a leak, else by how much more goes out than the
	// meter shows, or out of the left tank than out of the right.
	evenstand.KindTankDisagrees: {expected: evenstand.KindTankDisagrees, unit: "strength", strength: 2, low: -0.3, high: 20, grades: "AB", machine: true, variants: []string{"leak", "meter"}},
	evenstand.KindFillImbalance: {expected: evenstand.KindFillImbalance, unit: "share", strength: 0.2, low: -0.8, high: 0.8, grades: "AB", machine: true},
	evenstand.KindTurnRate:      {expected: evenstand.KindTurnRate, unit: "", strength: 1, low: 1, high: 1, grades: "AB", machine: true, variants: []string{"off", "reversed"}},
	evenstand.KindSpeedSpacing:  {expected: evenstand.KindSpeedSpacing, unit: "cv_points", strength: 1.5, low: 0.05, high: 10, grades: "A", machine: true},
	evenstand.KindRowDrive:      {expected: evenstand.KindRowDrive, unit: "places", strength: 0.05, low: 0.005, high: 0.4, grades: "A", variants: []string{"coupling", "joint", "tooth"}},
	// Strength is N either way, the part of the rate either way, and the part of the
	// day's speed up to which the pump keeps up.
	evenstand.KindForceHunting: {expected: evenstand.KindForceHunting, excused: []string{evenstand.KindContactLoss}, unit: "n", strength: 150, low: 10, high: 800, grades: "AB", variants: []string{"gain", "actuator"}},
	evenstand.KindFlowHunting:  {expected: evenstand.KindFlowHunting, unit: "share", strength: 0.12, low: 0.005, high: 0.6, grades: "AB", machine: true, variants: []string{"gain", "drive"}},
	evenstand.KindPumpLimit:    {expected: evenstand.KindPumpLimit, unit: "share", strength: 0.85, low: 0.4, high: 1.05, grades: "AB", machine: true, variants: []string{"strainer", "pump"}},

	// Strength is what moisture (share), temperature (K) or trash (share) changes
	// by. A row that is dry or dirty beside a field that is, is true as well.
	evenstand.KindDryFurrow:    {expected: evenstand.KindDryFurrow, unit: "by", strength: 0.12, low: 0.005, high: 0.3, grades: "AB", variants: []string{"weather", "cleaner", "zone", "closing", "firmer", "trench"}},
	evenstand.KindColdFurrow:   {expected: evenstand.KindColdFurrow, unit: "k", strength: 4, low: 0.1, high: 15, grades: "AB", machine: true},
	evenstand.KindDirtyFurrow:  {expected: evenstand.KindDirtyFurrow, unit: "by", strength: 0.25, low: 0.01, high: 0.7, grades: "AB", variants: []string{"residue", "cleaner", "row"}},
	evenstand.KindCleanerUpset: {expected: evenstand.KindCleanerUpset, unit: "by", strength: 0.25, low: 0.02, high: 0.7, grades: "AB"},
	evenstand.KindSlotOpen:     {expected: evenstand.KindSlotOpen, strength: 1, low: 1, high: 1, grades: "AB", variants: []string{"closing", "wall", "straw"}},
	KindSandZone:               {distractor: true, excused: []string{evenstand.KindDryFurrow}, unit: "by", strength: 0.08, low: 0.01, high: 0.2, grades: "AB", machine: true},
	KindResiduePatch:           {distractor: true, excused: []string{evenstand.KindDirtyFurrow}, unit: "by", strength: 0.2, low: 0.02, high: 0.6, grades: "AB", machine: true},
	KindGoodDig:                {distractor: true, strength: 1, low: 1, high: 1, grades: "AB"},
	// Strength is times what is asked for: of a row, or of all.
	evenstand.KindGranularRowOff:  {expected: evenstand.KindGranularRowOff, unit: "times", strength: 0, low: 0, high: 3, grades: "AB", variants: []string{"bridge", "gate", "wide"}},
	evenstand.KindGranularRateOff: {expected: evenstand.KindGranularRateOff, unit: "times", strength: 0.9, low: 0, high: 3, grades: "AB", machine: true, variants: []string{"calibration", "off"}},
	// Strength is times the odds of a skip with the other lot, which the next fill
	// puts into some boxes and the one after it takes out again.
	evenstand.KindLotMismatch: {expected: evenstand.KindLotMismatch, excused: []string{evenstand.KindRowSkips, evenstand.KindLowVacuum}, unit: "times", strength: 1, low: 1, high: 10, grades: "AB"},

	evenstand.KindRecurringUpset: {expected: evenstand.KindRecurringUpset, excused: []string{evenstand.KindUpset}, unit: "share", strength: 0.4, low: 0.05, high: 0.9, grades: "AB"},

	KindRock: {distractor: true, expected: evenstand.KindUpset, excused: []string{evenstand.KindUpset}, unit: "share", strength: 0.3, low: 0.01, high: 1, grades: "AB"},
	// Strength is times the scatter of seeds, and the odds of a skip, on patches.
	// It is the ground: speed goes along with it and is no cause.
	KindRoughGround: {distractor: true, unit: "times", strength: 1.4, low: 1, high: 3, grades: "A", machine: true, variants: []string{"slower", "faster"}},
	KindFanRestart:  {distractor: true, excused: []string{evenstand.KindUpset, evenstand.KindUnplantedLeft}, unit: "turns", strength: 2, low: 0.5, high: 10, grades: "AB", machine: true},
	// No method on one row tells a few seeds overlooked from skips, or a few
	// pulses of dust from doubles: the finding may be raised, with the sensor as
	// a cause. What is strong enough is sensor-doubt (methods, "Detectable").
	KindSensorMisses: {distractor: true, expected: evenstand.KindSensorDoubt, as: evenstand.KindSensorDoubt, excused: []string{evenstand.KindRowSkips, evenstand.KindSensorDoubt}, unit: "share", strength: 0.05, low: 0, high: 1, grades: "A"},
	KindDust:         {distractor: true, expected: evenstand.KindSensorDoubt, as: evenstand.KindSensorDoubt, excused: []string{evenstand.KindRowDoubles, evenstand.KindSensorDoubt}, unit: "per_s", strength: 4, low: 0, high: 50, grades: "A"},
}

// FaultKinds lists the kinds that a scenario may name.
func FaultKinds() []string {
	var out []string
	for k := range faultKinds {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}

// fault is one fault at work.
type fault struct {
	FaultPlan
	kind  faultKind
	index int
	rows  evenstand.Rows
	has   []bool // by row, from 1
	mult  float64
	cells int // fitted, for rate-off by cells

	start    float64 // s of the day; NaN until its pass comes, infinite until a fill does
	filling  float64 // s of the day from which on the next fill brings it; NaN no fill does
	begun    bool
	over     bool
	t0       float64 // first planting second
	left     float64 // places, or planting seconds, still to go
	w0, w1   float64 // window within the present leg; empty when w0 >= w1
	starving []bool  // by row: in a run of empty places

	curved            [2]float64 // m of curves, by hand, on which outer rows go 2 % further than the middle
	word              uint64     // chance of its bursts, or of its swing
	bursts            int        // those that began while planting
	bursting          bool
	passes            int     // in which it was at work
	turns             int     // between passes, while it was at work
	stood             float64 // s in the longest stop while it was at work
	ran               float64 // s of the day at which liquid first ran by itself; 0 never
	missed            float64 // m3 of liquid that its rows did not get of what was asked for
	planting, metres  float64 // s and m planted while it was at work
	longest, farthest float64 // the most of either within one pass, at half of planting speed or more
	rowTally          []tally // by row, so that rows may run side by side
	swinging
}

// tally is what became of a fault on one row.
type tally struct {
	first, last    float64 // s of the day
	places         float64
	lost, extra    float64
	skips, doubles float64 // with it
	skips0, dbl0   float64 // without
}

// total adds the rows up.
func (f *fault) total() tally {
	var t tally
	for _, r := range f.rowTally {
		if r.places == 0 {
			continue
		}
		if t.places == 0 || r.first < t.first {
			t.first = r.first
		}
		t.last = max(t.last, r.last)
		t.places += r.places
		t.lost += r.lost
		t.extra += r.extra
		t.skips += r.skips
		t.doubles += r.doubles
		t.skips0 += r.skips0
		t.dbl0 += r.dbl0
	}
	return t
}

// newFault turns a plan into a fault, or says what does not fit.
func (s *Scenario) newFault(i int, p FaultPlan) (*fault, error) {
	k, ok := faultKinds[p.Kind]
	if !ok {
		return nil, fmt.Errorf("kind %q is not known: want one of %s", p.Kind, strings.Join(FaultKinds(), ", "))
	}
	f := &fault{FaultPlan: p, kind: k, index: i, mult: 1, has: make([]bool, s.Planter.Rows+1), starving: make([]bool, s.Planter.Rows+1)}
	f.rowTally = make([]tally, s.Planter.Rows+1)
	if f.ID == "" {
		f.ID = fmt.Sprintf("F%02d", i+1)
	}
	if granularKind(p.Kind) && s.Output.Granular <= 0 {
		return nil, fmt.Errorf("%s: say output.granular_kg_ha, so that there are granules", p.Kind)
	}
	if (p.Kind == evenstand.KindLotMismatch || f.Variant == "lot") && s.Output.Lot == "" {
		return nil, fmt.Errorf("%s: say output.lot, so that there are lots", p.Kind)
	}
	if liquidKind(p.Kind) && s.Output.Liquid <= 0 {
		return nil, fmt.Errorf("%s: say output.liquid_l_ha, so that there is a liquid", p.Kind)
	}
	if f.Variant == "" && len(k.variants) > 0 {
		f.Variant = k.variants[0]
	}
	if all := append(slices.Clone(k.variants), k.named...); len(all) > 0 && !slices.Contains(all, f.Variant) {
		return nil, fmt.Errorf("variant %q of %s: want one of %s", p.Variant, p.Kind, strings.Join(all, ", "))
	}
	if f.Strength == 0 {
		f.Strength = k.strength
	}
	if p.Kind == evenstand.KindGranularRateOff && f.Variant == "off" {
		f.Strength = 0
	}
	if p.Kind == evenstand.KindSensorDoubt && f.Strength == 0 {
		f.Strength = doubtStrength[f.Variant]
	}
	card := s.card()
	var err error
	if err := s.pressed(&p, f.Variant); err != nil {
		return nil, err
	}
	if err := s.swung(f); err != nil {
		return nil, err
	}
	if err := s.furrowed(f); err != nil {
		return nil, err
	}
	switch p.Kind {
	case evenstand.KindCleanerUpset, evenstand.KindSlotOpen, KindGoodDig:
		f.word = stream(s.Seed, "furrow "+f.ID, -1, 0).Uint64()
	}
	switch p.Rows {
	case "left", "right":
		f.rows = card.Side(p.Rows)
	case "all":
		f.rows = span(1, s.Planter.Rows)
	case "":
		if !wide(p.Kind, f.Variant) && (!furrowKind(p.Kind) || f.onRow()) {
			return nil, fmt.Errorf("%s: say rows", p.Kind)
		}
		f.rows = span(1, s.Planter.Rows)
	default:
		if f.rows, err = evenstand.ParseRows(p.Rows); err != nil {
			return nil, err
		}
	}
	if len(f.rows) == 0 || f.rows[len(f.rows)-1] > s.Planter.Rows {
		return nil, fmt.Errorf("%s: rows %q do not fit a planter of %d rows", p.Kind, p.Rows, s.Planter.Rows)
	}
	for _, r := range f.rows {
		f.has[r] = true
	}
	switch {
	case p.Kind == evenstand.KindRateOff && f.Variant == "cells":
		if f.Strength == 0 {
			f.Strength = float64(s.Planter.Cells + 2)
		}
		f.cells = int(f.Strength)
		if f.cells < 8 || float64(f.cells) != f.Strength {
			return nil, fmt.Errorf("rate-off by cells: strength %g: want the cells that are fitted", f.Strength)
		}
		f.mult = f.Strength / float64(s.Planter.Cells)
	case p.Kind == evenstand.KindRateOff:
		if f.Strength == 0 {
			f.Strength = 0.04
		}
		if math.Abs(f.Strength) > 0.4 {
			return nil, fmt.Errorf("rate-off: strength %g: want the relative error, such as 0.04", f.Strength)
		}
		f.mult = 1 + f.Strength
	case p.Kind == evenstand.KindSensorDoubt && f.Variant != "dust" && !(f.Strength > 0 && f.Strength <= 1):
		return nil, fmt.Errorf("sensor-doubt by %s: strength %g: want the share of seeds not seen, 0 to 1", f.Variant, f.Strength)
	case !(f.Strength >= k.low && f.Strength <= k.high):
		return nil, fmt.Errorf("%s: strength %g: want %g to %g", p.Kind, f.Strength, k.low, k.high)
	}
	if p.Kind == evenstand.KindStarvedRow && f.Ramp == 0 {
		f.Ramp = 15
	}
	if f.Cell > s.Planter.Cells {
		return nil, fmt.Errorf("%s: cell %d of a disc with %d", p.Kind, f.Cell, s.Planter.Cells)
	}
	if p.Kind == evenstand.KindRecurringUpset {
		if f.Every == 0 {
			f.Every = 4
		}
		f.word = stream(s.Seed, "again "+f.ID, -1, 0).Uint64()
	}
	if f.Every != 0 && !(f.Every >= 0.5 && f.Every <= 120) {
		return nil, fmt.Errorf("%s: every_min %g: want 0.5 to 120", p.Kind, f.Every)
	}
	for _, v := range []float64{p.AtHours, p.Along, p.Minutes, p.Places, p.Seconds, p.Ramp} {
		if !(v >= 0 && v <= 1e7) {
			return nil, fmt.Errorf("%s: times, places and lengths want numbers of 0 and more", p.Kind)
		}
	}
	switch {
	case p.At != "":
		m, err := s.clock(p.At)
		if err != nil {
			return nil, err
		}
		f.start = (m - s.t0).Seconds()
	case p.Pass > 0:
		f.start = math.NaN()
	default:
		f.start = p.AtHours * 3600
	}
	f.filling = math.NaN()
	if f.byFill() {
		f.filling, f.start = f.start, math.Inf(1)
	}
	switch {
	case p.Kind == KindFanRestart:
		f.left = f.Strength * float64(s.Planter.Cells)
		f.Places = f.left
	case p.Places > 0:
		f.left = p.Places
	case p.Seconds > 0:
		f.left = p.Seconds
	case p.Kind == KindRock:
		f.left, f.Places = 100, 100
	}
	return f, nil
}

// window finds when the fault is at work within a leg.
func (f *fault) window(s *Scenario, lg *leg, passInField int) {
	f.w0, f.w1 = 0, 0
	if f.over || !lg.works() {
		return
	}
	from := f.start
	if math.IsNaN(from) {
		if f.Pass != passInField || f.Field != "" && f.Field != lg.field.plan.Name {
			return
		}
		i := lg.down
		for i < lg.up && lg.way[i]-lg.way[lg.down] < f.Along {
			i++
		}
		from = lg.seconds(i)
	}
	if f.Kind == KindFanRestart && !f.begun && from > lg.start() {
		return // the fan stops between passes: the next one
	}
	if from >= lg.seconds(lg.up) {
		return
	}
	moving := func(i int) bool { return lg.v[i] > 0.3 }
	var run, ran float64
	defer func() {
		if f.w1 > f.w0 {
			f.passes++
		}
	}()
	defer func() { f.longest, f.farthest = max(f.longest, run), max(f.farthest, ran) }()
	for i := lg.down; i < lg.up; i += slow - i%slow {
		t := lg.seconds(i)
		if t+1e-9 < from || !moving(i) && !f.begun {
			continue
		}
		if !f.begun {
			f.begun, f.t0 = true, t
		}
		if f.w1 == 0 {
			f.w0 = t
		}
		span := lg.seconds(min(i+slow-i%slow, lg.up)) - t
		switch {
		case f.Places > 0:
			f.left -= lg.cv[i] / s.spacing() * f.mult * span
		case f.Seconds > 0:
			if moving(i) {
				f.left -= span
			}
		case f.Minutes > 0:
			if t-f.t0 >= f.Minutes*60 {
				f.over = true
				return
			}
		}
		f.w1 = t + span
		if moving(i) {
			f.planting += span
		}
		if f.Kind == evenstand.KindRecurringUpset {
			on := f.again(t)
			if on && !f.bursting && lg.v[i] > s.Drive.Speed/2 {
				f.bursts++
			}
			f.bursting = on
		}
		f.metres += lg.v[i] * span
		if k := lg.line.curve; math.Abs(k)*s.width()/2 >= 0.02 {
			f.curved[ordinal(k < 0)] += lg.v[i] * span
		}
		if lg.v[i] > s.Drive.Speed/2 {
			run += span
			ran += lg.v[i] * span
		}
		if (f.Places > 0 || f.Seconds > 0) && f.left <= 0 {
			f.over = true
			break
		}
	}
}

// byFill tells whether a fill of the boxes brings the fault.
func (f *fault) byFill() bool { return byFill(f.Kind, f.Variant) }

func byFill(kind, variant string) bool {
	return kind == evenstand.KindGranularRowOff && variant != "bridge" || byLot(kind, variant)
}

// refilled tells the fault that the boxes were filled at a second of the day:
// bridging is gone, and the strainer is clean.
func (f *fault) refilled(t float64) {
	if f.Kind == evenstand.KindPumpLimit && f.begun && !f.over {
		f.filled = f.bound > 0
		if f.Variant == "strainer" {
			f.over, f.cured = true, f.bound > 0
		}
	}
	switch {
	case f.filling <= t:
		f.start, f.filling = t, math.NaN()
	case f.lot() != "" && f.begun: // and the right lot again
		f.over = true
	}
	if f.Kind == evenstand.KindStarvedRow && f.begun && f.Places == 0 && f.Minutes == 0 && f.Seconds == 0 {
		f.over = true
	}
}

// again tells whether what comes back is there at a time of the day: once in
// every so many minutes, at any time of them, for 4 to 8 s.
func (f *fault) again(t float64) bool {
	every := f.Every * 60
	k := math.Floor((t - f.t0) / every)
	w := mix(f.word + uint64(k))
	lasts := 4 + 4*unit(mix(w))
	in := t - f.t0 - k*every - unit(w)*(every-lasts)
	return in >= 0 && in < lasts
}

func (f *fault) grown(t float64) float64 {
	if f.Ramp <= 0 {
		return 1
	}
	return min(1, (t-f.t0)/(f.Ramp*60))
}

// effect is what the faults do to one row for one slow tick.
type effect struct {
	skip, double float64 // added to the logits
	by, byDouble *fault
	cells        []cellFault
	starving     *fault
	stay         float64
	burst        float64
	burstBy      *fault
	still        *fault // the disc stands
	tube         *fault // seeds fall from the disc and go nowhere
	dead         *fault // the sensor sees nothing
	rate         float64
	cellsFitted  int
	bounce       float64 // times the scatter of the seeds
	turns        float64 // 1: the drives do not know of curves; 2: they turn the wrong way
	slope        float64 // points of CV for each 0.45 m/s of speed
	rough        float64 // times the scatter and the odds of a skip on rough patches; 0 as the scenario says
	ripple       float64 // places that the drive runs ahead and behind
	waves        int     // a turn of the disc
	late         float64 // times the scatter, by delaying seeds
	miss         float64
	loose        *fault  // the sensor's plug is loose: it sees nothing for moments
	kpa          float64 // of the side's vacuum, lost
}

type cellFault struct {
	cell int
	q    float64
	by   *fault
}

// apply adds the fault's doings to a row's effect at a time.
func (f *fault) apply(e *effect, m *Meter, t float64) {
	switch f.Kind {
	case evenstand.KindBlockedCell, evenstand.KindWeakCell:
		e.cells = append(e.cells, cellFault{f.Cell, f.Strength * f.grown(t), f})
	case evenstand.KindRowSkips:
		e.skip += math.Log(f.Strength) * f.grown(t)
		e.by = f
	case evenstand.KindRowDoubles:
		e.double += math.Log(f.Strength) * f.grown(t)
		e.byDouble = f
	case evenstand.KindLotMismatch:
		e.skip += math.Log(f.Strength)
		e.by = f
	case evenstand.KindLowVacuum:
		kpa := f.Strength * f.grown(t)
		e.kpa += kpa
		e.skip += m.VacuumTerm * kpa
		e.double -= m.VacuumDbl * kpa
		e.by = f
	case evenstand.KindRowStopped:
		switch f.Variant {
		case "drive":
			e.still = f
		case "tube", "empty":
			e.tube = f
		case "sensor":
			e.dead = f
		}
	case evenstand.KindRowLeftOff:
		e.still = f
	case evenstand.KindRateOff:
		e.rate *= f.mult
		if f.cells > 0 {
			e.cellsFitted = f.cells
		}
	case evenstand.KindStarvedRow:
		e.starving = f
		e.stay = 0.6 + 0.25*f.grown(t) // simulator.md section 8
	case KindRock:
		e.burst, e.burstBy = f.Strength, f
	case evenstand.KindRecurringUpset:
		if f.again(t) {
			e.burst, e.burstBy = f.Strength, f
		}
	case KindFanRestart:
		e.burst, e.burstBy = 1, f
	case KindRoughGround:
		e.rough = f.Strength
	case evenstand.KindTurnRate:
		e.turns = 1
		if f.Variant == "reversed" {
			e.turns = 2
		}
	case evenstand.KindSpeedSpacing:
		e.slope += f.Strength
	case evenstand.KindRowDrive:
		e.ripple, e.waves = f.Strength*f.grown(t), f.waves()
	case evenstand.KindRowBounce:
		if f.Variant == "release" {
			e.late *= f.Strength
		} else {
			e.bounce *= f.Strength
		}
	case KindSensorMisses:
		e.miss = 1 - (1-e.miss)*(1-f.Strength)
	case evenstand.KindSensorDoubt:
		switch f.Variant {
		case "misses":
			e.miss = 1 - (1-e.miss)*(1-f.Strength)
		case "drop-out":
			e.loose = f
		}
	}
}

// causes gives the true cause and those that count as right beside it,
// because the logs cannot tell them apart.
func (f *fault) causes() (string, []string) {
	one := func(c string, also ...string) (string, []string) { return c, append([]string{c}, also...) }
	switch f.Kind {
	case evenstand.KindBlockedCell:
		return one(evenstand.CauseCell)
	case evenstand.KindWeakCell:
		return one(evenstand.CauseWeakCell, evenstand.CauseCell)
	case evenstand.KindRowSkips:
		if f.Variant == "lot" {
			return one(evenstand.CauseLot)
		}
		if f.Variant == "fit" {
			return one(evenstand.CauseSeedFit, evenstand.CauseSeal)
		}
		return one(evenstand.CauseSeal, evenstand.CauseSeedFit)
	case evenstand.KindRowDoubles:
		return one(evenstand.CauseSingulator, evenstand.CauseSeedFit)
	case evenstand.KindLowVacuum:
		if f.Variant == "fan" {
			return one(evenstand.CauseFan, evenstand.CauseHose)
		}
		return one(evenstand.CauseHose)
	case evenstand.KindRowStopped:
		all := []string{evenstand.CauseDrive, evenstand.CauseTube, evenstand.CauseSensor, evenstand.CauseEmpty}
		i := slices.Index([]string{"drive", "tube", "sensor", "empty"}, f.Variant)
		return all[i], all
	case evenstand.KindRowLeftOff:
		return one(evenstand.CauseSwitchedOff, evenstand.CauseSectionCtl)
	case evenstand.KindRateOff:
		switch f.Variant {
		case "radar":
			return one(evenstand.CauseSpeedSource)
		case "setting":
			return one(evenstand.CauseSetting, evenstand.CauseSpeedSource, evenstand.CauseCellCount)
		}
		return one(evenstand.CauseCellCount)
	case evenstand.KindStarvedRow:
		if f.Variant == "delivery" {
			return one(evenstand.CauseDelivery, evenstand.CauseBridging)
		}
		return one(evenstand.CauseBridging, evenstand.CauseDelivery)
	case evenstand.KindTurnRate:
		if f.Variant == "reversed" {
			return one(evenstand.CauseRowOrder, evenstand.CauseCard) // the seeds tell no difference
		}
		return one(evenstand.CauseTurnOff)
	case evenstand.KindSpeedSpacing:
		return one(evenstand.CauseSpeed)
	case evenstand.KindRowDrive:
		if f.Variant == "tooth" {
			return one(evenstand.CauseChain)
		}
		return one(evenstand.CauseCoupling)
	case evenstand.KindRowBounce:
		if f.Variant == "release" {
			return one(evenstand.CauseRelease)
		}
		// A worn tube and worn arms scatter the seeds alike.
		return one(evenstand.CauseTubeWorn, evenstand.CauseArms)
	case evenstand.KindContactLoss:
		switch f.Variant {
		case "zone":
			return one(evenstand.CauseForceLight)
		case "actuator":
			return one(evenstand.CauseForceRow)
		}
		return one(evenstand.CauseOpenerWorn)
	case evenstand.KindOverload:
		return one(evenstand.CauseForceHeavy)
	case evenstand.KindLiquidRowLow:
		return one(evenstand.CauseOrificePlugged)
	case evenstand.KindLiquidRowHigh:
		return one(evenstand.CauseLiquidHose)
	case evenstand.KindLiquidRateOff:
		switch f.Variant {
		case "meter":
			return one(evenstand.CauseFlowMeter)
		case "control":
			if f.Strength < 0 { // too little by the box's own meter: a pump at its limit looks the same
				return one(evenstand.CauseLiquidControl, evenstand.CausePump)
			}
			return one(evenstand.CauseLiquidControl)
		}
		return one(evenstand.CausePump)
	case evenstand.KindLotMismatch:
		return one(evenstand.CauseWrongFill)
	case evenstand.KindGranularRowOff:
		if f.Variant == "bridge" {
			return one(evenstand.CauseGranulesBridged)
		}
		return one(evenstand.CauseGranuleGate)
	case evenstand.KindGranularRateOff:
		if f.Variant == "off" {
			return one(evenstand.CauseGranulesOff)
		}
		return one(evenstand.CauseGranuleCalibration)
	case evenstand.KindSeedWithoutLiquid:
		if f.Variant == "empty" {
			return one(evenstand.CauseLiquidEmpty, evenstand.CauseLiquidOff)
		}
		return one(evenstand.CauseLiquidOff)
	case evenstand.KindLiquidWithoutSeed:
		return one(evenstand.CauseValveLate)
	case evenstand.KindPuddle:
		return one(evenstand.CauseCheckValve, evenstand.CauseValveLate)
	case evenstand.KindTankDisagrees:
		if f.Variant == "leak" {
			return one(evenstand.CauseLeak)
		}
		return one(evenstand.CauseFlowMeter)
	case evenstand.KindFillImbalance:
		return one(evenstand.CauseUneven)
	case evenstand.KindForceHunting, evenstand.KindFlowHunting, evenstand.KindPumpLimit:
		return f.swingCauses()
	case evenstand.KindDryFurrow:
		switch f.Variant {
		case "cleaner", "trench":
			return one(evenstand.CauseCleanerDeep)
		case "zone":
			return one(evenstand.CauseSoilThere)
		case "closing":
			return one(evenstand.CauseClosing)
		case "firmer":
			return one(evenstand.CauseFirmer, evenstand.CauseClosing)
		}
		return one(evenstand.CauseDrying)
	case evenstand.KindColdFurrow:
		return one(evenstand.CauseColdWeather)
	case evenstand.KindDirtyFurrow:
		switch f.Variant {
		case "cleaner":
			return one(evenstand.CauseCleanerLight)
		case "row": // nothing in the log tells a cleaner from straw that is tucked in
			return one(evenstand.CauseCleanerLight, evenstand.CauseHairpin)
		}
		return one(evenstand.CauseResidueThere)
	case evenstand.KindCleanerUpset:
		return one(evenstand.CauseCleanerPlugged)
	case evenstand.KindSlotOpen:
		switch f.Variant {
		case "wall":
			return one(evenstand.CauseWetWall)
		case "straw":
			return one(evenstand.CauseHairpin)
		}
		return one(evenstand.CauseClosing)
	case KindSandZone:
		return one(evenstand.CauseSoilThere)
	case KindResiduePatch:
		return one(evenstand.CauseResidueThere)
	case KindGoodDig: // no finding's cause
		return "a closed slot", nil
	case evenstand.KindRecurringUpset:
		return one(evenstand.CauseLoose)
	case KindRock:
		return one(evenstand.CauseRock)
	case KindFanRestart:
		return one(evenstand.CauseFan)
	case KindRoughGround: // no finding's cause
		return "rough ground", nil
	case evenstand.KindPositionDoubt:
		if f.Variant == "standing" {
			return one(evenstand.CauseReceiver)
		}
		return one(evenstand.CauseCorrection, evenstand.CauseShade)
	case evenstand.KindSourceSilent:
		return one(evenstand.CausePlug, evenstand.CauseLogOff)
	case KindSensorMisses, KindDust, evenstand.KindSensorDoubt:
		return one(evenstand.CauseSensor)
	}
	return "", nil
}

// detectable tells whether the fault was as strong and long as tests demand a
// finding for (methods.md, "Detectable"), at the grade of its rows' data.
func (f *fault) detectable(s *Scenario, turns float64, grade string) bool {
	m := &s.Meter
	if f.kind.distractor && f.kind.as == "" || !strings.Contains(f.kind.grades, grade) {
		return false
	}
	places := turns * float64(s.Planter.Cells)
	switch f.Kind {
	case evenstand.KindBlockedCell, evenstand.KindWeakCell:
		q := f.Strength
		return q >= 0.95 && turns >= 16 || q >= 0.5 && turns >= 60 || q >= 0.2 && turns >= 200
	case evenstand.KindRowSkips, evenstand.KindRowDoubles:
		return f.Strength >= 4 && places >= 3000 || f.Strength >= 2 && places >= 20000
	case evenstand.KindLowVacuum:
		// With a step of the vacuum that a box logs: task data here has none.
		return s.Output.Layout == "plain" && m.VacuumTerm*f.Strength >= math.Ln2 && f.planting-f.Ramp*60 >= 600
	case evenstand.KindSensorDoubt, KindDust, KindSensorMisses:
		return f.doubtful()
	case evenstand.KindPositionDoubt:
		// That it stands is told by the receiver's own speed, which task data lack.
		return (s.Output.Layout == "plain" || f.Variant != "standing") && f.misplaced()
	case evenstand.KindSourceSilent:
		return s.Output.Layout == "plain" && f.longest >= 5
	case evenstand.KindRowStopped:
		return f.longest >= 3
	case evenstand.KindRowLeftOff:
		return f.farthest >= 30
	case evenstand.KindStarvedRow:
		return f.Strength >= 0.002 && places >= 20000
	case evenstand.KindTurnRate:
		// On curves of either hand that move an outer row by 2 % and more, as
		// measured on development days (docs/measured.md).
		return f.curved[0]+f.curved[1] >= 900 && min(f.curved[0], f.curved[1]) >= 200
	case evenstand.KindRecurringUpset:
		// As measured on development days (docs/measured.md).
		return f.Strength >= 0.3 && f.Every <= 6 && f.bursts >= 10
	case evenstand.KindSpeedSpacing:
		// 90 % of a wandering speed lie within 1.645 SD either way.
		return f.Strength >= 1 && 2*1.645*s.Drive.SpeedSD*s.Drive.Speed >= 0.8 && f.passes >= 9
	case evenstand.KindRowDrive:
		return f.Strength >= 0.05 && places >= 1500
	case evenstand.KindRowBounce:
		return f.Strength >= 1.6 && places >= 5000
	case evenstand.KindLiquidRowLow, evenstand.KindLiquidRowHigh:
		return s.Output.Liquid > 0 && math.Abs(f.Strength-1) >= 0.1 && f.planting >= 120
	case evenstand.KindLiquidRateOff:
		return s.Output.Liquid > 0 && math.Abs(f.Strength) >= 0.04 && f.planting >= 300
	case evenstand.KindForceHunting, evenstand.KindFlowHunting, evenstand.KindPumpLimit:
		return f.swingDetected(s)
	case evenstand.KindLotMismatch:
		return f.planting >= 60
	case evenstand.KindGranularRowOff:
		return math.Abs(f.Strength-1) >= 0.1 && f.planting >= 120
	case evenstand.KindGranularRateOff:
		return math.Abs(f.Strength-1) >= 0.04 && f.planting >= 300
	case evenstand.KindSeedWithoutLiquid:
		return s.Output.Liquid > 0 && f.longest >= 30
	case evenstand.KindLiquidWithoutSeed:
		return s.Output.Liquid > 0 && f.Strength >= 0.3 && f.turns >= 3
	case evenstand.KindPuddle:
		return s.Output.Liquid > 0 && f.Strength >= 0.05 && f.stood >= 10
	case evenstand.KindTankDisagrees:
		return s.tankTold(f)
	case evenstand.KindFillImbalance:
		return s.Output.Tanks == 2 && !s.Output.NoGauge && math.Abs(f.Strength) >= 0.2 && f.metres*s.width() >= 8*evenstand.Hectare
	case evenstand.KindSlotOpen: // a word is enough
		return f.ran > 0
	case evenstand.KindRateOff:
		return math.Abs(f.mult-1) >= 0.03 && f.planting >= 600
	}
	return false
}

package verify

import (
	"math"
	"slices"
	"strings"

	"evenstand"
	"evenstand/core/advise"
	"evenstand/core/record"
)

// How says by what test planting tells.
type How uint8

// The tests.
const (
	None    How = iota // planting does not tell
	ByShare            // a share of places: the mixture sequence
	ByGone             // there or gone: Wald's test
	ByMean             // a mean of stretches: the normal mixture
)

// Plan says what tells whether a finding was cured.
type Plan struct {
	How     How
	Measure string  // of measures.go; empty with None
	More    bool    // more of it is worse
	Adds    float64 // to the share, by a fault that is there or gone; NaN: as it was
	Usual   float64 // what it should come to where neither the past nor peers tell; NaN
	Ratio   float64 // what was put out over what was asked for; NaN
	Limit   float64 // that a person set; NaN
	Why     string  // where planting does not tell: why, and what would
}

// The measures.
const (
	Skips       = "skips"
	Doubles     = "doubles"
	NoSeed      = "places without seed"
	Spacing     = "spacing scatter"
	Seeding     = "seeds"
	SwitchedOff = "way switched off"
	WheelsOff   = "gauge wheels off the ground"
	Load        = "gauge-wheel load"
	ForceSwing  = "swing of the force"
	Moisture    = "seed-zone moisture"
	Temperature = "seed-zone temperature"
	Trash       = "trash in the slot"
	Liquid      = "liquid"
	DryProduct  = "dry product"
	NoLiquid    = "planted without liquid"
)

// units are those of measures; what is told as a ratio has that of a share.
var units = map[string]string{
	Skips: "fraction", Doubles: "fraction", NoSeed: "fraction", Spacing: "fraction", Seeding: "fraction", SwitchedOff: "fraction", WheelsOff: "fraction",
	Load: "N", ForceSwing: "N", Moisture: "fraction", Temperature: "degC", Trash: "fraction", Liquid: "fraction", DryProduct: "fraction", NoLiquid: "fraction",
}

// tells are the kinds that stretches tell, and how.
var tells = map[string]Plan{
	evenstand.KindRowSkips:          {How: ByShare, Measure: Skips, More: true},
	evenstand.KindRowDoubles:        {How: ByShare, Measure: Doubles, More: true},
	evenstand.KindLowVacuum:         {How: ByShare, Measure: Skips, More: true},
	evenstand.KindStarvedRow:        {How: ByShare, Measure: Skips, More: true},
	evenstand.KindSensorDoubt:       {How: ByShare, Measure: Skips, More: true},
	evenstand.KindBlockedCell:       {How: ByGone, Measure: Skips, More: true},
	evenstand.KindWeakCell:          {How: ByGone, Measure: Skips, More: true},
	evenstand.KindRowStopped:        {How: ByGone, Measure: NoSeed, More: true},
	evenstand.KindRowLeftOff:        {How: ByGone, Measure: SwitchedOff, More: true},
	evenstand.KindSeedWithoutLiquid: {How: ByGone, Measure: NoLiquid, More: true},
	evenstand.KindRowBounce:         {How: ByMean, Measure: Spacing, More: true},
	evenstand.KindRateOff:           {How: ByMean, Measure: Seeding},
	// What the advice for light force aims at: one reading in a hundred
	// (core/relation/causes.csv).
	evenstand.KindContactLoss:     {How: ByMean, Measure: WheelsOff, More: true, Usual: 0.01},
	evenstand.KindOverload:        {How: ByMean, Measure: Load, More: true},
	evenstand.KindForceHunting:    {How: ByMean, Measure: ForceSwing, More: true},
	evenstand.KindDryFurrow:       {How: ByMean, Measure: Moisture},
	evenstand.KindColdFurrow:      {How: ByMean, Measure: Temperature},
	evenstand.KindDirtyFurrow:     {How: ByMean, Measure: Trash, More: true},
	evenstand.KindCleanerUpset:    {How: ByMean, Measure: Trash, More: true},
	evenstand.KindLiquidRowLow:    {How: ByMean, Measure: Liquid},
	evenstand.KindLiquidRowHigh:   {How: ByMean, Measure: Liquid, More: true},
	evenstand.KindLiquidRateOff:   {How: ByMean, Measure: Liquid},
	evenstand.KindGranularRowOff:  {How: ByMean, Measure: DryProduct},
	evenstand.KindGranularRateOff: {How: ByMean, Measure: DryProduct},
}

// silent are the kinds of which stretches tell nothing, with what would.
var silent = map[string]string{
	// Neighbours in a slow wave are off by nearly the same, so gaps hardly show it.
	evenstand.KindRowDrive:          "Gaps hardly show a wave that is as long as a turn of the disc. It is looked for all the time: if it is still there, it is found again.",
	evenstand.KindSpeedSpacing:      "A change of speed is told from passes at two speeds side by side, not by planting on: drive a few passes each way.",
	evenstand.KindTurnRate:          "Only curves show it, and few stretches lie in them: count the same length of an inner and an outer row in a curve.",
	evenstand.KindRecurringUpset:    "It comes too seldom for a verdict in a day: look whether it comes again at the same place or row.",
	evenstand.KindFlowHunting:       "The swing is shorter than a stretch, which evens it out: watch the flow on the box for a minute.",
	evenstand.KindPumpLimit:         "Only fast planting shows it: drive a pass as fast as before and look whether the rate holds.",
	evenstand.KindLiquidWithoutSeed: "It is at turns, which are no planted ground: look at the headland whether the rows run dry with the lift.",
	evenstand.KindPuddle:            "It is while the planter stands: look at the next stop whether rows drip.",
	evenstand.KindTankDisagrees:     "Only tank and meter together show it: read or weigh the tank at the next fill.",
	evenstand.KindFillImbalance:     "Only levels show it: read them at the next fill.",
	evenstand.KindRefillSoon:        "A fill is seen by the tank's level, not by the rows.",
	evenstand.KindSlotOpen:          "Only a dig shows it: dig three places behind the planter and note what you find.",
	evenstand.KindLotMismatch:       "Seed times do not show which seed it is: read the tag at the box.",
	evenstand.KindLabelCap:          "What is on the ground stays; amounts by place are told anew when the field is settled.",
	evenstand.KindSourceSilent:      "It is about the log: look whether the box writes, and read its next log.",
	evenstand.KindClockOff:          "It is about the log: the next day's log shows whether the clock is right.",
	evenstand.KindPositionDoubt:     "It is about the receiver: drive a pass beside a known line and look whether they lie together.",
	evenstand.KindOffsetDoubt:       "It is about the planter card: measure the offset with a tape; crossing passes show it anew.",
	evenstand.KindUnplantedLeft:     "Ground that is planted after all is told when the field is settled anew.",
	evenstand.KindLateSection:       "Ends of passes show it, once the field is settled anew: dig where rows begin behind the headland.",
	evenstand.KindGuessRow:          "Measure three guess rows with a tape; the field shows it when it is settled anew.",
	evenstand.KindOverlap:           "The field shows it when it is settled anew.",
	evenstand.KindCoverGap:          "The field shows it when it is settled anew.",
}

// For gives the plan for a finding.
func For(f *evenstand.Finding) Plan {
	p, ok := tells[f.Kind]
	if !ok {
		why := silent[f.Kind]
		if why == "" {
			why = "Planting does not show it."
		}
		return Plan{Why: why}
	}
	p.Adds, p.Ratio, p.Limit = math.NaN(), math.NaN(), math.NaN()
	if p.Usual == 0 {
		p.Usual = math.NaN()
	}
	switch f.Kind {
	case evenstand.KindBlockedCell, evenstand.KindWeakCell:
		q, ok := advise.Figure(f, "share of turns missed")
		n, known := advise.Figure(f, "cells on the disc")
		if ok && known && n > 1 {
			p.Adds = q / n
		}
	case evenstand.KindSensorDoubt:
		if _, dust := advise.Figure(f, "extra pulses"); dust {
			p.Measure = Doubles
		}
	case evenstand.KindRowSkips, evenstand.KindRowDoubles:
		if x, ok := advise.Figure(f, p.Measure+" usual for it"); ok {
			p.Usual = x
		}
	case evenstand.KindRateOff:
		if x, ok := advise.Figure(f, "actual over target"); ok && x > 0 {
			p.Ratio, p.Usual, p.More = x, 0, x > 1
		}
	case evenstand.KindLiquidRateOff, evenstand.KindGranularRateOff, evenstand.KindGranularRowOff:
		for i := range f.Evidence { // the first figure says how far it is off
			if x := float64(f.Evidence[i].Value); x > 0 && strings.Contains(f.Evidence[i].Name, " over ") {
				p.More = x > 1
				if f.Kind != evenstand.KindGranularRowOff {
					p.Ratio = x
				}
				break
			}
		}
	}
	return p
}

// ForRows are the plans for rows that were worked on while nothing was known to
// be wrong with them: each is held against its own past.
func ForRows() []Plan {
	nan := math.NaN()
	return []Plan{
		{How: ByShare, Measure: Skips, More: true, Adds: nan, Usual: nan, Ratio: nan, Limit: nan},
		{How: ByShare, Measure: Doubles, More: true, Adds: nan, Usual: nan, Ratio: nan, Limit: nan},
		{How: ByMean, Measure: Spacing, More: true, Adds: nan, Usual: nan, Ratio: nan, Limit: nan},
	}
}

// actsOn are the kinds that a setting can act on, by the quantity's name in the
// journal, and which way helps: up 1, down -1, 0 either.
var actsOn = map[string]map[string]int{
	evenstand.Vacuum.String():               {evenstand.KindRowSkips: 1, evenstand.KindRowDoubles: -1, evenstand.KindLowVacuum: 1, evenstand.KindWeakCell: 1},
	evenstand.FanSpeed.String():             {evenstand.KindRowSkips: 1, evenstand.KindRowDoubles: -1, evenstand.KindLowVacuum: 1, evenstand.KindWeakCell: 1},
	evenstand.AppliedForce.String():         {evenstand.KindContactLoss: 1, evenstand.KindOverload: -1, evenstand.KindForceHunting: 0, evenstand.KindRowBounce: 1},
	evenstand.GaugeWheelLoadTarget.String(): {evenstand.KindContactLoss: 1, evenstand.KindOverload: -1, evenstand.KindForceHunting: 0, evenstand.KindRowBounce: 1},
	record.ForceMode:                        {evenstand.KindContactLoss: 0, evenstand.KindOverload: 0, evenstand.KindForceHunting: 0, evenstand.KindRowBounce: 0},
	evenstand.HydraulicPressure.String():    {evenstand.KindContactLoss: 1, evenstand.KindOverload: -1, evenstand.KindForceHunting: 0},
	evenstand.GroundSpeed.String():          {evenstand.KindRowBounce: -1, evenstand.KindSpeedSpacing: -1, evenstand.KindContactLoss: -1, evenstand.KindPumpLimit: -1, evenstand.KindStarvedRow: -1},
	evenstand.SeedRateTarget.String():       {evenstand.KindRateOff: 0},
	evenstand.LiquidRateTarget.String():     {evenstand.KindLiquidRateOff: 0, evenstand.KindPumpLimit: -1},
	evenstand.CleanerPressure.String():      {evenstand.KindDirtyFurrow: 1, evenstand.KindCleanerUpset: 0},
	evenstand.CloserPressure.String():       {evenstand.KindSlotOpen: 1, evenstand.KindDryFurrow: 0},
	"depth":                                 {evenstand.KindDryFurrow: 0, evenstand.KindColdFurrow: 0, evenstand.KindContactLoss: 0},
}

// Set is a setting that was changed, of some rows or, with none, of all.
type Set struct {
	Lever    string
	T        evenstand.Micros
	Rows     evenstand.Rows
	From, To float64
	// Level says that only what a box measures tells of it. The trouble itself may
	// have moved that: a hose that comes off lowers the vacuum.
	Level bool
}

// ActsOn tells whether a setting can act on a kind of finding.
func (s *Set) ActsOn(kind string) bool {
	_, ok := actsOn[s.Lever][kind]
	return ok
}

// Trouble tells whether a level went the way that the trouble itself moves it, so
// that nobody need have set it.
func (s *Set) Trouble(kind string) bool {
	return s.Level && s.ActsOn(kind) && !(float64(actsOn[s.Lever][kind])*(s.To-s.From) > 0)
}

// WrittenLate is how long before a line of the journal trouble may have ended and
// still be what was done: it was written down afterwards. Judgement.
const WrittenLate = 30 * 60 * evenstand.Second

// sharedParts are the kinds that no part of one row brings about: a side, the fan or
// the machine. Each has the words by which a fix says that it was about them.
var sharedParts = map[string][]string{
	evenstand.KindLowVacuum:         {"vacuum", "hose", "fan", "screen", "seal", "impeller", "manifold", "plenum"},
	evenstand.KindRateOff:           {"radar", "calibrat", "drive", "rate", "sprocket"},
	evenstand.KindLiquidRateOff:     {"pump", "meter", "hose", "calibrat", "screen", "strainer", "valve"},
	evenstand.KindGranularRateOff:   {"calibrat", "meter", "drive", "gate"},
	evenstand.KindPumpLimit:         {"pump", "hose", "screen", "strainer", "orifice", "valve"},
	evenstand.KindFlowHunting:       {"pump", "valve", "hose", "air", "controller"},
	evenstand.KindForceHunting:      {"force", "valve", "cylinder", "hydraulic", "hose", "bag", "controller", "sensor"},
	evenstand.KindSourceSilent:      {"cable", "plug", "box", "wire", "power"},
	evenstand.KindClockOff:          {"clock", "time"},
	evenstand.KindPositionDoubt:     {"receiver", "antenna", "position", "cable"},
	evenstand.KindOffsetDoubt:       {"offset", "receiver", "antenna"},
	evenstand.KindSpeedSpacing:      {"speed"},
	evenstand.KindTankDisagrees:     {"tank", "meter", "calibrat", "leak"},
	evenstand.KindFillImbalance:     {"tank", "fill", "hose"},
	evenstand.KindSeedWithoutLiquid: {"pump", "valve", "section", "hose"},
	evenstand.KindLiquidWithoutSeed: {"pump", "valve", "section", "check"},
	evenstand.KindTurnRate:          {"drive", "turn"},
}

// Mends tells whether a fix can have mended a finding: most of the finding's rows
// are among those that were worked on, and it is of a kind that a part of a row
// brings about, or the fix names the part that all of them hang on.
func Mends(f *evenstand.Finding, e *evenstand.Entry) bool {
	if evenstand.OfField(f.Kind) { // what lies on the ground is mended by no part
		return false
	}
	note := strings.ToLower(e.Note)
	names := slices.ContainsFunc(sharedParts[f.Kind], func(w string) bool { return strings.Contains(note, w) })
	if _, ok := sharedParts[f.Kind]; (ok || len(f.Rows) == 0) && !names {
		return false
	}
	if len(f.Rows) == 0 || len(e.Rows) == 0 {
		return names // of the machine, by its name
	}
	in := 0
	for _, r := range f.Rows {
		if e.Rows.Has(r) {
			in++
		}
	}
	return 2*in > len(f.Rows)
}

// StoodOpen tells whether a line of the journal says that something was done
// about a finding that stood open then: a fix on its rows, or a setting that can
// act on it.
func StoodOpen(f *evenstand.Finding, e *evenstand.Entry) bool {
	switch e.What {
	case "fix":
		return stands(f, e.T) && Mends(f, e)
	case "setting":
		s, ok := record.SettingOf(e)
		return ok && (&Set{Lever: s.Lever, T: s.T, Rows: s.Rows}).StoodOpen(f)
	}
	return false
}

// StoodOpen tells whether a setting was changed that can act on a finding that
// stood open then.
func (s *Set) StoodOpen(f *evenstand.Finding) bool {
	shared := len(s.Rows) == 0 || len(f.Rows) == 0 || slices.ContainsFunc(f.Rows, s.Rows.Has)
	return stands(f, s.T) && s.ActsOn(f.Kind) && !s.Trouble(f.Kind) && shared
}

// stands tells whether a finding stood open at a time.
func stands(f *evenstand.Finding, at evenstand.Micros) bool {
	return f.Stage == evenstand.Raised && f.Kind != evenstand.KindUpset && f.Since <= at && (f.Until == nil || *f.Until >= at-WrittenLate)
}

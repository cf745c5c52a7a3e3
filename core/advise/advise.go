package advise

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"evenstand"
	"evenstand/core/price"
	"evenstand/core/relation"
)

// Fill sets Sentence, Advice, When, Say and Sources of a finding from its
// kind, grade, evidence, causes and money, which must have been priced before
// (what can still be saved decides when to act). A kind that the catalogue does not
// know gets a plain sentence and no advice.
func Fill(f *evenstand.Finding, v Voice) {
	if f.Kind == evenstand.KindStopPays || f.Kind == evenstand.KindGoOnPays {
		v.halt(f)
		return
	}
	if f.Kind == evenstand.KindSettingBetter { // it comes with its words
		return
	}
	f.Sentence = Sentence(f, v)
	f.Advice = adviceOf(f, v)
	if f.Failed() {
		again(f)
	}
	f.When = WhenToAct(f)
	cannot := cannotSay(f, v)
	for _, s := range f.Say { // what became of it stays
		if !slices.Contains(cannot, s) {
			cannot = append(cannot, s)
		}
	}
	f.Say = cannot
	f.Sources = price.Relations(f)
	if f.Sources == nil {
		f.Sources = []string{}
	}
}

// Left says of a finding that was to be acted on before leaving its field that the
// planter has left it: whether the way back pays is settled in the evening.
func Left(f *evenstand.Finding) {
	if f.When != evenstand.BeforeLeaving {
		return
	}
	f.When = evenstand.Tonight
	f.Advice.Do = "The planter has left this field: weigh the way back against what can still be saved. " + f.Advice.Do
}

// again says of a finding that it is here although something was done about it,
// and that the advice is for what is likeliest now.
func again(f *evenstand.Finding) {
	said := "Did not work: "
	if f.CheckBack.CameBack {
		said = "Came back: "
	}
	f.Sentence = said + lower(f.Sentence)
	if f.Advice.Do != "" {
		f.Advice.Do = notCured + f.Advice.Do
	}
}

// WhenToAct gives the moment: the catalogue's; where that names two, the
// second once nothing can be saved any more by the first. A finding that is
// over, or has no ground left to save on, is for the winter.
func WhenToAct(f *evenstand.Finding) evenstand.When {
	usual := price.Usual(f.Kind)
	if usual == evenstand.Never {
		return usual
	}
	if f.Kind == evenstand.KindClockOff && f.Until == nil { // it costs no ground, but tomorrow's log
		if slices.ContainsFunc(boxClocks(f), func(c boxClock) bool { return !math.IsNaN(c.said) && !c.overruled }) {
			return evenstand.Now // what else the day says rests on it
		}
		return usual
	}
	if f.Kind == evenstand.KindLabelCap && f.Until == nil { // no money waits on it, but the law does
		return usual
	}
	if f.Until != nil || f.Money.StillToSave.Basis == string(price.None) {
		return evenstand.Winter
	}
	if f.Kind == evenstand.KindRowSkips && f.Money.StillToSave.Expected == 0 && f.Money.Unit != "" {
		return evenstand.Tonight
	}
	for _, e := range f.Evidence {
		if f.Kind == evenstand.KindRefillSoon && e.Name == "lasts for" && float64(e.Low) < soonMinutes {
			return evenstand.Now
		}
	}
	if f.Kind == evenstand.KindGranularRateOff && first(f) == evenstand.CauseGranulesOff { // it is settled from the seat
		return evenstand.Now
	}
	// Where as much is not seen as a dig of 10 ft shows, the dig does not wait: the
	// ground may be as empty as the log says.
	if x, ok := Figure(f, "share of seeds not seen"); ok && x >= shareDug {
		return evenstand.NextStop
	}
	return usual
}

// soonMinutes is how many minutes before something may run out it is to be acted
// on now (judgement).
const soonMinutes = 10

// shareDug is the share of missing seeds from which on digging 10 ft of a row
// shows it: some twenty places, of which a quarter stands out (judgement).
const shareDug = 0.25

// Figure finds a figure of the evidence by its name.
func Figure(f *evenstand.Finding, name string) (float64, bool) {
	for _, e := range f.Evidence {
		if e.Name == name && !math.IsNaN(float64(e.Value)) {
			return float64(e.Value), true
		}
	}
	return 0, false
}

// rhythm gives the number of places in which the misses repeat: from the
// evidence "odds for a rhythm of N", else the cells on the disc.
func rhythm(f *evenstand.Finding) (int, bool) {
	for _, e := range f.Evidence {
		if n, ok := strings.CutPrefix(e.Name, "odds for a rhythm of "); ok {
			if i, err := strconv.Atoi(n); err == nil && i > 1 {
				return i, true
			}
		}
	}
	n, ok := Figure(f, "cells on the disc")
	return int(n), ok && n > 1
}

// Sentence says what a person would say of the finding.
func Sentence(f *evenstand.Finding, v Voice) string {
	what := v.what(f)
	if where := place(f); where != "" {
		what += " (" + where + ")"
	}
	if why := Why(f); why != "" {
		what += ": " + why
	}
	return what + "."
}

// place names field and pass where the finding is tied to one place: it is
// over, or the ground has to be gone back to.
func place(f *evenstand.Finding) string {
	if f.Until == nil && f.Kind != evenstand.KindRowLeftOff && f.Kind != evenstand.KindUpset {
		return ""
	}
	var parts []string
	if f.Field != "" && f.Field != evenstand.Unassigned && !elsewhere(f) {
		parts = append(parts, f.Field)
	}
	if s := Passes(f); s != "" {
		parts = append(parts, s)
	}
	return strings.Join(parts, ", ")
}

// elsewhere tells whether the last pass of a finding lies in another field than
// the first.
func elsewhere(f *evenstand.Finding) bool {
	n := len(f.Passes)
	return n > 0 && f.Passes[n-1].Field != ""
}

// Passes names the passes of a finding, empty without any: from the first to the
// last, each with its field where these are two. Numbers begin anew in each
// field, so where others lie between, or numbers do not rise, the passes are
// counted.
func Passes(f *evenstand.Finding) string {
	n := len(f.Passes)
	if n == 0 {
		return ""
	}
	first, last := f.Passes[0], f.Passes[n-1]
	rising := true
	for i, p := range f.Passes[1:] {
		rising = rising && p.Field == "" && p.Number > f.Passes[i].Number
	}
	switch {
	case n == 1:
		return fmt.Sprintf("pass %d", first.Number)
	case elsewhere(f):
		return fmt.Sprintf("pass %d %s to pass %d %s", first.Number, in(f.Field), last.Number, in(last.Field))
	case !rising:
		return fmt.Sprintf("%d passes from pass %d on", n, first.Number)
	}
	return fmt.Sprintf("passes %d to %d", first.Number, last.Number)
}

// in says of which field a pass is.
func in(field string) string {
	if field == "" || field == evenstand.Unassigned {
		return "outside the fields"
	}
	return "of " + field
}

// since writes " since 2:12 pm", or the whole span of a finding that is over;
// "about" when the start is not known within 3 minutes.
func (v Voice) since(f *evenstand.Finding) string {
	if f.Since == evenstand.NoTime || f.Since == 0 {
		return ""
	}
	about := ""
	if f.SinceLow > 0 && f.SinceHigh > f.SinceLow && f.SinceHigh-f.SinceLow > 180*evenstand.Second {
		about = "about "
	}
	if f.Until != nil {
		from, to := v.Clock(f.Since), v.Clock(*f.Until)+v.On(*f.Until)
		if v.dayEnd(*f.Until) {
			return " from " + about + from + v.On(f.Since) + " to the end of the day"
		}
		switch {
		case evenstand.DayOf(f.Since, v.zone()) != evenstand.DayOf(*f.Until, v.zone()):
			from += v.On(f.Since)
		case from == v.Clock(*f.Until):
			return " at " + about + to
		}
		return " from " + about + from + " to " + to
	}
	return " since " + about + v.Clock(f.Since) + v.On(f.Since)
}

// verb picks the form that goes with the subject and the time.
func verb(f *evenstand.Finding, one, many, past string) string {
	switch {
	case f.Until != nil:
		return past
	case len(f.Rows) > 1:
		return many
	}
	return one
}

func its(f *evenstand.Finding) string {
	if len(f.Rows) > 1 {
		return "their"
	}
	return "its"
}

// hundred writes a fraction as seeds of 100.
func hundred(x float64) string { return Digits(100*x) + " of 100" }

func (v Voice) what(f *evenstand.Finding) string {
	who, since := Rows(f.Rows), v.since(f)
	switch f.Kind {
	case evenstand.KindRowStopped:
		s := who + " " + verb(f, "drops", "drop", "dropped") + " nothing" + since + " while " + its(f) + " peers " + verb(f, "do", "do", "did")
		if m, ok := Figure(f, "metres without seed"); ok {
			s += ", " + v.Length(m) + " without seed"
		}
		return s
	case evenstand.KindRowLeftOff:
		s := who + " " + verb(f, "is", "are", be(f)) + " switched off" + since + " while " + its(f) + " peers " + verb(f, "plant", "plant", "planted")
		if m, ok := Figure(f, "metres without seed"); ok {
			s += ", " + v.Length(m) + " of row"
		}
		return s + ", and nobody said so"
	case evenstand.KindBlockedCell:
		n, ok := rhythm(f)
		if f.Grade != evenstand.GradeA && f.Grade != evenstand.NoGrade {
			s := who + " " + verb(f, "misses", "miss", "missed") + " a steady share of " + its(f) + " seeds"
			if ok {
				s = who + " " + verb(f, "misses", "miss", "missed") + " close to one seed in " + strconv.Itoa(n)
			}
			return s + since
		}
		if !ok {
			return who + " " + verb(f, "skips", "skip", "skipped") + " once every turn of the disc" + since
		}
		return who + " " + verb(f, "skips", "skip", "skipped") + " every " + Ordinal(n) + " seed" + since
	case evenstand.KindWeakCell:
		s := who + " " + verb(f, "skips", "skip", "skipped") + " at one cell of the disc"
		if n, ok := rhythm(f); ok {
			s = who + " " + verb(f, "skips", "skip", "skipped") + " the same one seed of " + strconv.Itoa(n)
		}
		if q, ok := Figure(f, "share of turns missed"); ok {
			s += fmt.Sprintf(" in about %.0f of 10 turns", min(9, max(1, 10*q)))
		} else {
			s += " part of the time"
		}
		return s + since
	case evenstand.KindRowSkips:
		return v.moreUsual(f, "skips", verb(f, "skips", "skip", "skipped"))
	case evenstand.KindRowDoubles:
		return v.moreUsual(f, "doubles", verb(f, "doubles", "double", "doubled"))
	case evenstand.KindLowVacuum:
		s := who + " " + verb(f, "skips", "skip", "skipped")
		if x, ok := Figure(f, "times its peers"); ok {
			s += " " + Digits(x) + " times as much as " + its(f) + " peers"
		} else if x, ok := Figure(f, "times the usual"); ok { // all rows: there are no peers
			s += " " + Digits(x) + " times as much as usual"
		} else {
			s += " more"
		}
		s += since
		before, ok1 := Figure(f, "vacuum before")
		after, ok2 := Figure(f, "vacuum after")
		if ok1 && ok2 {
			s += ", and " + its(f) + " vacuum went from " + v.Vacuum(before) + " to " + v.Vacuum(after)
		}
		return s
	case evenstand.KindRateOff:
		s := who + " " + verb(f, "drops", "drop", "dropped")
		x, ok := Figure(f, "actual over target")
		switch {
		case !ok:
			s += " another rate than the target"
		case x < 1:
			s += " " + v.Percent(1-x) + " fewer seeds than the target"
		default:
			s += " " + v.Percent(x-1) + " more seeds than the target"
		}
		return s + since
	case evenstand.KindStarvedRow:
		s := who + " " + verb(f, "misses", "miss", "missed") + " three and more seeds in a row again and again" + since
		if n, ok := Figure(f, "runs of three and more"); ok {
			s += ", " + Digits(n) + " times so far"
			if f.Until != nil {
				s = strings.TrimSuffix(s, " so far")
			}
		}
		return s
	case evenstand.KindRowBounce:
		s := who + " " + verb(f, "spaces", "space", "spaced") + " " + its(f) + " seeds unevenly" + since
		if x, ok := Figure(f, "times its peers"); ok {
			s += ", " + Digits(x) + " times the scatter of " + its(f) + " peers"
		}
		return s + ", while " + its(f) + " metering " + verb(f, "is", "is", "was") + " right"
	case evenstand.KindLiquidRowLow, evenstand.KindLiquidRowHigh, evenstand.KindLiquidRateOff:
		return v.liquid(f)
	case evenstand.KindGranularRowOff, evenstand.KindGranularRateOff:
		return v.granules(f)
	case evenstand.KindSeedWithoutLiquid, evenstand.KindLiquidWithoutSeed, evenstand.KindPuddle:
		return v.alone(f, since)
	case evenstand.KindRefillSoon, evenstand.KindTankDisagrees, evenstand.KindFillImbalance:
		return v.tanks(f, since)
	case evenstand.KindForceHunting, evenstand.KindFlowHunting:
		return v.swings(f, since)
	case evenstand.KindPumpLimit:
		return v.pumpLimit(f, since)
	case evenstand.KindDryFurrow, evenstand.KindColdFurrow, evenstand.KindDirtyFurrow:
		return v.furrow(f, who, since)
	case evenstand.KindCleanerUpset:
		return v.dragged(f, who, since)
	case evenstand.KindSlotOpen:
		return v.dug(f, who, since)
	case evenstand.KindSensorDoubt:
		return v.doubted(f, who, since)
	case evenstand.KindClockOff:
		return v.clocks(f)
	case evenstand.KindSpeedSpacing:
		return v.speedSpacing(f)
	case evenstand.KindTurnRate:
		return v.turnRate(f)
	case evenstand.KindRowDrive:
		s := who + " " + verb(f, "lays", "lay", "laid") + " " + its(f) + " seeds in waves" + since
		switch n, ok := Figure(f, "waves a turn of the disc"); {
		case ok && n == 1:
			s += ", one each turn of the disc"
		case ok:
			s += ", " + Digits(n) + " each turn of the disc"
		}
		if x, ok := Figure(f, "size of the wave"); ok {
			s += ", up to " + Digits(100*x) + "% of a spacing early and late"
		}
		return s
	case evenstand.KindContactLoss, evenstand.KindOverload:
		return v.pressed(f)
	case evenstand.KindSourceSilent:
		return v.silent(f, since)
	case evenstand.KindPositionDoubt:
		return v.misplaced(f, since)
	case evenstand.KindRecurringUpset:
		return v.recurring(f, who, since)
	case evenstand.KindUnplantedLeft, evenstand.KindLateSection, evenstand.KindGuessRow, evenstand.KindOffsetDoubt, evenstand.KindOverlap, evenstand.KindCoverGap:
		return v.field(f)
	case evenstand.KindLabelCap:
		return v.labelCap(f, since)
	case evenstand.KindLotMismatch:
		return v.wrongLot(f, who, since)
	case evenstand.KindUpset:
		return who + " had passing trouble" + strings.Replace(since, " since ", " at ", 1)
	}
	return who + ": " + f.Kind + since
}

// be is the past of is: a single row was, several were.
func be(f *evenstand.Finding) string {
	if len(f.Rows) > 1 {
		return "were"
	}
	return "was"
}

// moreUsual says how much a row skips or doubles, beside what is usual for it
// when its peers do what they do.
func (v Voice) moreUsual(f *evenstand.Finding, what, does string) string {
	s := Rows(f.Rows) + " " + does
	own, ok := Figure(f, what)
	usual, ok2 := Figure(f, what+" usual for it")
	times, ok3 := Figure(f, "times the usual")
	switch {
	case ok:
		s += " " + hundred(own) + " seeds"
	case ok3:
		s += " " + Digits(times) + " times as much as usual"
	default:
		s += " more than " + its(f) + " peers"
	}
	s += v.since(f)
	if ok && ok2 {
		s += ", where " + Digits(100*usual) + " is usual"
	} else if ok && ok3 {
		s += ", " + Digits(times) + " times the usual"
	}
	return s
}

// Words before the odds: from 9 to 1 on almost certainly, from 2 to 1 on
// likely, below that the causes by name.
const (
	almostCertain = 0.9
	likely        = 2.0 / 3
	worthNaming   = 0.1
)

// Why gives the causes in words with the odds behind them, empty without any.
func Why(f *evenstand.Finding) string {
	if f.Kind == evenstand.KindUpset || f.Kind == evenstand.KindRefillSoon || len(f.Causes) == 0 {
		return ""
	}
	if f.Kind == evenstand.KindBlockedCell && f.Grade != evenstand.GradeA && f.Grade != evenstand.NoGrade {
		return "suspected, one cell or a seal" // no seed times: which of the two cannot be told
	}
	if f.Stage == evenstand.Suspected {
		return "suspected, " + Cause(f.Causes[0].Cause)
	}
	first := f.Causes[0]
	switch p := first.Probability; {
	case p >= almostCertain:
		return "almost certainly " + Cause(first.Cause) + " (" + Odds(p) + ")"
	case p >= likely:
		return "likely " + Cause(first.Cause) + " (" + Odds(p) + ")"
	}
	var names []string
	for _, c := range f.Causes {
		if c.Probability >= worthNaming {
			names = append(names, Cause(c.Cause))
		}
	}
	switch n := len(names); {
	case n == 0:
		return ""
	case n == 1:
		return "perhaps " + names[0]
	case n > 3: // more than a sentence bears
		return "one of " + numeral(n) + " (" + and(append(names[:3:3], "another"), "or") + ")"
	default:
		return "one of " + numeral(n) + " (" + and(names, "or") + ")"
	}
}

// Odds writes a chance as odds: 30 to 1, 3 to 2, over 100 to 1.
func Odds(p float64) string {
	switch o := p / (1 - p); {
	case p >= 1 || o >= 100:
		return "over 100 to 1"
	case o >= 20:
		return fmt.Sprintf("%.0f to 1", math.Round(o/10)*10)
	case o >= 1.75:
		return fmt.Sprintf("%.0f to 1", o)
	case o >= 1.25:
		return "3 to 2"
	case o >= 0.8:
		return "even"
	default:
		return fmt.Sprintf("1 to %.0f", max(2, 1/o))
	}
}

// Cause writes a cause as it stands in a sentence.
func Cause(name string) string {
	if s, ok := phrases[name]; ok {
		return s
	}
	if name == "" {
		return "another cause"
	}
	return name
}

var phrases = map[string]string{
	evenstand.CauseCell:        "one blocked or broken cell",
	evenstand.CauseWeakCell:    "one chipped or worn cell",
	evenstand.CauseSeal:        "a worn seal or disc",
	evenstand.CauseSingulator:  "a singulator that is set wrong or worn",
	evenstand.CauseSeedFit:     "seed that does not fit the disc",
	evenstand.CauseFan:         "the fan",
	evenstand.CauseHose:        "a hose, seal or screen on that side",
	evenstand.CauseDrive:       "the meter's drive",
	evenstand.CauseTube:        "a blocked seed tube",
	evenstand.CauseSensor:      "the seed sensor",
	evenstand.CauseEmpty:       "a box that is empty or bridged",
	evenstand.CauseSwitchedOff: "switched off and forgotten",
	evenstand.CauseSectionCtl:  "section control",
	evenstand.CauseCellCount:   "the wrong number of cells in the box",
	evenstand.CauseSpeedSource: "the wheel's or radar's calibration",
	evenstand.CauseSetting:     "the rate setting",
	evenstand.CauseBridging:    "seed that bridges or sticks",
	evenstand.CauseDelivery:    "the seed delivery",
	evenstand.CauseRock:        "passing trouble",
	evenstand.CauseCorrection:  "the correction signal",
	evenstand.CauseReceiver:    "the receiver or its antenna",
	evenstand.CauseShade:       "trees or few satellites",
	evenstand.CausePlug:        "its plug or power",
	evenstand.CauseLogOff:      "its log, switched off or full",
	evenstand.CauseTubeWorn:    "a worn or loose seed tube",
	evenstand.CauseArms:        "worn arms or bushings",
	evenstand.CauseRelease:     "seed that the disc lets go late",
	evenstand.CauseClock:       "clocks that nobody has set",
	evenstand.CauseClockSaid:   "a wrong word about a clock",

	evenstand.CauseForceLight: "force that is too light for this ground",
	evenstand.CauseForceHeavy: "force that is set heavier than the ground needs",
	evenstand.CauseForceRow:   "the row's cylinder, air bag or valve",
	evenstand.CauseOpenerWorn: "worn discs or arms, or mud on the wheels",
	evenstand.CauseBarLevel:   "the bar's height or level",

	evenstand.CauseOrificePlugged: "a plugged orifice or strainer",
	evenstand.CauseOrificeSize:    "an orifice of the wrong size",
	evenstand.CauseLiquidHose:     "a hose or fitting that is off or leaks",
	evenstand.CauseCheckValve:     "the row's check valve",
	evenstand.CausePump:           "the pump or its suction strainer",
	evenstand.CauseFlowMeter:      "the flow meter's calibration",
	evenstand.CauseLiquidControl:  "the rate controller or its valve",
	evenstand.CauseCoupling:       "a bent or loose coupling",
	evenstand.CauseChain:          "a worn chain, link or sprocket",
	evenstand.CauseSpeed:          "driving too fast for the tubes",
	evenstand.CauseTurnOff:        "no turn compensation",
	evenstand.CauseRowOrder:       "the row order or offsets in the box, reversed",
	evenstand.CauseLoose:          "a loose part of the row",
	evenstand.CauseCard:           "the row order on the planter card, reversed",

	evenstand.CauseRowsOff:     "rows that were off or without seed",
	evenstand.CauseStripMissed: "a strip missed between passes",
	evenstand.CauseCornerLeft:  "a corner or an edge that was left",
	evenstand.CauseLiquidOff:   "a pump or main valve that is off",
	evenstand.CauseLiquidEmpty: "an empty tank",
	evenstand.CauseValveLate:   "a section valve or its timing",

	evenstand.CauseLeak:      "a leak",
	evenstand.CauseGauge:     "the tank's gauge or the density that was set",
	evenstand.CauseUneven:    "a line between the tanks that is half shut or plugged",
	evenstand.CauseUsedUp:    "planting, which uses it up",
	evenstand.CauseForceGain: "the gain of the automatic force",
	evenstand.CauseForceAir:  "air in the oil of the row force",
	evenstand.CauseFlowGain:  "the gain of the liquid's valve",
	evenstand.CauseLiquidAir: "air in the line",
	evenstand.CausePumpDrive: "the pump's drive",
	evenstand.CausePumpWorn:  "a pump that is worn or too small",
	evenstand.CauseStrainer:  "the suction strainer",

	evenstand.CauseDrying:             "weather that dries the ground",
	evenstand.CauseDepth:              "planting too shallow",
	evenstand.CauseSoilThere:          "the soil of that zone",
	evenstand.CauseColdWeather:        "a cold hour or cold weather",
	evenstand.CauseResidueThere:       "heavy residue on that ground",
	evenstand.CauseCleanerDeep:        "a row cleaner that is set too deep",
	evenstand.CauseCleanerLight:       "a row cleaner that is set too light",
	evenstand.CauseCleanerPlugged:     "a row cleaner that is plugged or rides",
	evenstand.CauseCleanerAir:         "the row cleaner's air or float",
	evenstand.CauseClosing:            "a closing wheel",
	evenstand.CauseFirmer:             "a seed firmer that is lost or plugged",
	evenstand.CauseHairpin:            "straw that the opener tucks in",
	evenstand.CauseWetWall:            "a wet sidewall",
	evenstand.CauseGranulesBridged:    "granules that bridge or cake in the box",
	evenstand.CauseGranuleGate:        "a gate, coupling or clutch of the box that is not seated",
	evenstand.CauseGranuleCalibration: "the granules' calibration",
	evenstand.CauseGranulesOff:        "the drive or switch of the granule boxes",

	evenstand.CauseProductOverlap: "passes that overlap",
	evenstand.CauseTwoPasses:      "two passes over the same ground",
	evenstand.CauseProductRate:    "the product's rate or calibration",
	evenstand.CauseWrongFill:      "another lot, filled by mistake",
	evenstand.CauseLotNote:        "a note or a plan that is wrong",
	evenstand.CauseLot:            "the new seed lot, which does not fit the disc",

	evenstand.CauseLeftForLater:   "ground that was left for later",
	evenstand.CauseSectionDelay:   "the delay of the sections",
	evenstand.CauseSectionOffset:  "the distance set from receiver to rows",
	evenstand.CauseWidthSetting:   "the working width set in the guidance",
	evenstand.CauseDrift:          "a planter that drifts to the side",
	evenstand.CauseGuidanceOffset: "the sideways offset in the guidance",
	evenstand.CauseCardOffset:     "the sideways offset on the planter card",
	evenstand.CauseNoSections:     "rows that are not switched off over planted ground",
}

// adviceOf gives the steps for the first cause and, when that one is not
// likely, for the next one too.
func adviceOf(f *evenstand.Finding, v Voice) evenstand.Advice {
	if over(f) && f.Kind != evenstand.KindUpset {
		return afterwards(f, v)
	}
	a := evenstand.Advice{Cautions: []string{}}
	steps := stepsOf(f, "")
	if len(steps) == 0 {
		return a
	}
	dig, doubted := unseen(f)
	// What did not work asks for what is likeliest now, in the order of the causes.
	if f.Failed() && (len(f.Causes) == 0 || f.Causes[0].Cause != dig.Cause) {
		doubted = false
	}
	if doubted = doubted && (len(steps) > 1 || steps[0].Cause != dig.Cause); doubted {
		steps = stepsOf(f, dig.Cause) // the dig goes before the rest
	}
	a.Do, a.Minutes, a.Who = steps[0].Do, steps[0].Minutes, steps[0].Who
	touch := touches(f.Kind, steps[0].Cause)
	if doubted {
		a.Do = unseenFirst + lower(dig.Do) + " Then " + lower(a.Do)
		a.Minutes += dig.Minutes
		touch |= touches(f.Kind, dig.Cause)
	}
	if len(steps) > 1 {
		a.Do += " If that is not it: " + lower(steps[1].Do)
		touch |= touches(f.Kind, steps[1].Cause)
	}
	a.Do = v.pick(a.Do)
	if s := v.force(f); s != "" {
		a.Do += " " + s
	}
	switch f.Kind {
	case evenstand.KindClockOff:
		a.Do += " " + offsets(f)
	case evenstand.KindRefillSoon:
		if s := v.ask(f); s != "" {
			a.Do = s + " " + a.Do
		}
	}
	a.Cautions = append(cautions(f.Kind, touch), overRate(f)...)
	return a
}

// asLikely is by how much one cause may be likelier than another for the two to
// count as about equally likely where it is asked what to look at first
// (judgement).
const asLikely = 1.5

// stepsOf gives the one or two remedies that the advice is made of, without
// that of the cause but. The likeliest cause comes first; among causes about as
// likely, one that is settled from the seat, and sooner, goes before one for
// which somebody has to leave it.
func stepsOf(f *evenstand.Finding, but string) []relation.Remedy {
	var steps []relation.Remedy
	first, seat := 0.0, 0 // chance of the first step; which is settled from the seat
	for _, c := range f.Causes {
		r, ok := relation.RemedyFor(f.Kind, c.Cause)
		if !ok || c.Cause == but {
			continue
		}
		if len(steps) == 0 {
			first = c.Probability
		} else if seat == 0 && !f.Failed() && asLikely*c.Probability >= first && touches(f.Kind, steps[0].Cause) != 0 && touches(f.Kind, r.Cause) == 0 && r.Minutes < steps[0].Minutes {
			seat = len(steps)
		}
		steps = append(steps, r)
	}
	if seat > 0 {
		r := steps[seat]
		steps = slices.Insert(slices.Delete(steps, seat, seat+1), 0, r)
	}
	if len(steps) == 0 {
		steps = relation.Remedies(f.Kind)
	}
	most := 2
	if len(f.Causes) > 0 && f.Causes[0].Probability >= likely {
		most = 1
	}
	return steps[:min(most, len(steps))]
}

// settled are the odds, either way, at which it is taken as told whether skips
// are real or the sensor's (methods e).
const settled = 10.0

// unseen gives what settles whether a row skips or its sensor overlooks seeds,
// where the odds cannot tell.
func unseen(f *evenstand.Finding) (dig relation.Remedy, doubted bool) {
	if f.Kind != evenstand.KindRowSkips {
		return dig, false
	}
	for _, c := range f.Causes {
		if odds := c.Probability / (1 - c.Probability); c.Cause == evenstand.CauseSensor && odds >= 1/settled && odds <= settled {
			return relation.RemedyFor(f.Kind, c.Cause)
		}
	}
	return dig, false
}

// over tells whether the trouble has ended, or is no longer seen.
func over(f *evenstand.Finding) bool { return f.Until != nil || f.Status == evenstand.Ended }

// lookMinutes is what a look at the next stop takes: judgement, no source.
const lookMinutes = 5

// looks are what to look at, at the next stop, after trouble that ended, with
// what that touches: trade knowledge, no published source.
var looks = map[string]struct {
	do    string
	touch touch
}{
	evenstand.KindRowStopped:     {"At the next stop check the row's box, the meter's drive, the tube and the sensor's plug, so that it does not come back.", machine | under | seed},
	evenstand.KindRowLeftOff:     {"At the next stop check that the row is switched on, and ask who drove.", 0},
	evenstand.KindBlockedCell:    {"At the next stop hold the disc against the light: a seed may be stuck again, or a cell be chipped.", machine | seed},
	evenstand.KindWeakCell:       {"At the next stop hold the disc against the light: a seed may be stuck again, or a cell be chipped.", machine | seed},
	evenstand.KindRowSkips:       {"At the next stop check the row's seal, disc and singulator, so that it does not come back.", machine | seed},
	evenstand.KindRowDoubles:     {"At the next stop check the row's singulator and how the seed fits the disc, so that it does not come back.", machine | seed},
	evenstand.KindLowVacuum:      {"At the next stop check screens, hoses, caps and lids of that side, so that it does not come back.", machine | under},
	evenstand.KindRateOff:        {"At the next stop compare the rate in the box with the plan for the field.", 0},
	evenstand.KindSensorDoubt:    {"At the next stop brush the sensor's eye clean and reseat its plug, and note the time.", machine | under | seed},
	evenstand.KindStarvedRow:     {"At the next stop look into the row's box: seed may bridge again.", machine | seed},
	evenstand.KindClockOff:       {"At breakfast look whether the box's clock is right.", 0},
	evenstand.KindTurnRate:       {"Look what was changed in the box at that time: turn compensation, row order or offsets.", 0},
	evenstand.KindSpeedSpacing:   {"At the next field try a slower pass or two and compare the spacing.", 0},
	evenstand.KindRowDrive:       {"At the next stop turn the row's meter by hand, drive isolated, and feel where it goes stiff, so that it does not come back.", machine},
	evenstand.KindRowBounce:      {"At the next stop look at the row's tube and shake its arms, so that it does not come back.", machine | under},
	evenstand.KindSourceSilent:   {"At the next stop reseat the box's plugs and look along its cable, so that it does not come back.", machine | under},
	evenstand.KindPositionDoubt:  {"Before the next pass look at the receiver's fix status and where its line runs.", 0},
	evenstand.KindRecurringUpset: {"At the next stop shake the row's parts and plugs by hand, so that it does not come back.", machine | under},

	evenstand.KindContactLoss:   {"At the next stop dig ten seeds there and ten beside it, and turn the gauge wheels by hand: do they carry?", machine | under | pressure},
	evenstand.KindOverload:      {"At the next stop look at the furrow's walls there: shiny and hard, or crumbling?", machine},
	evenstand.KindLiquidRowLow:  {"At the next stop check the row's orifice, strainer and check valve, so that it does not come back.", machine | under | product},
	evenstand.KindLiquidRowHigh: {"At the next stop check the row's hose, fittings and orifice, so that it does not come back.", machine | under | product},
	evenstand.KindLiquidRateOff: {"At the next stop compare what the tank lost with what the box counted.", 0},

	evenstand.KindDryFurrow:       {"At the next stop dig ten seeds there: do they lie in moist ground, and is the slot shut?", machine | seed},
	evenstand.KindColdFurrow:      {"At the next stop put a thermometer at seed depth.", machine},
	evenstand.KindDirtyFurrow:     {"At the next stop open a furrow there: is straw tucked in under the seed?", machine | seed},
	evenstand.KindCleanerUpset:    {"At the next stop see whether the row's cleaner turns and floats freely, so that it does not come back.", machine | under},
	evenstand.KindSlotOpen:        {"At the next stop dig behind the row again: is the slot shut?", machine | seed},
	evenstand.KindGranularRowOff:  {"At the next stop look into the row's granule box and at its gate and tube, so that it does not come back.", machine | granules},
	evenstand.KindGranularRateOff: {"At the next stop compare what the granule boxes lost with what the log says.", machine | granules},

	evenstand.KindLotMismatch: {"Write down where that seed lies: what is sprayed there later must suit it.", 0},

	evenstand.KindSeedWithoutLiquid: {"At the next stop look at the tank and at the pump's switch, so that it does not come back.", machine},
	evenstand.KindLiquidWithoutSeed: {"At the next stop look whether the liquid goes off with the lift.", machine},
	evenstand.KindTankDisagrees:     {"At the next stop look along hoses and fittings for wet spots, and compare the tank with what the box counted.", machine},
	evenstand.KindFillImbalance:     {"At the next stop look whether the valves between the tanks stand open.", machine},
	evenstand.KindPuddle:            {"At the next stop look from the side whether rows drip while the planter stands.", machine},

	evenstand.KindForceHunting: {"At the next stop dig ten seeds along a few steps of the row, and look what was changed in the force's settings at that time.", machine | seed},
	evenstand.KindFlowHunting:  {"Look what was changed in the liquid's settings at that time, and at the tank's level.", 0},
	evenstand.KindPumpLimit:    {"At the next stop, with the pump off and valves closed, look at the suction strainer, so that it does not come back.", machine | product},
}

// parted are the kinds whose causes are mended at quite different places, so
// that after trouble of them it matters which it was.
var parted = []string{evenstand.KindRateOff, evenstand.KindRowBounce, evenstand.KindRowDrive, evenstand.KindLiquidRateOff, evenstand.KindGranularRateOff}

// toldPart gives the remedy of the first cause where the kind is one of those, or
// the cause the seed, and it is likely.
func toldPart(f *evenstand.Finding) (r relation.Remedy, ok bool) {
	if len(f.Causes) == 0 || f.Causes[0].Probability < likely || !slices.Contains(parted, f.Kind) && f.Causes[0].Cause != evenstand.CauseLot {
		return r, false
	}
	return relation.RemedyFor(f.Kind, f.Causes[0].Cause)
}

// afterwards gives the advice about trouble that is over: how it ended, what
// to check at the next stop, and the bare ground to look at.
func afterwards(f *evenstand.Finding, v Voice) evenstand.Advice {
	a := evenstand.Advice{Cautions: []string{}}
	if f.Until == nil {
		a.Do = "Nothing to do: the logs that are in the logbook now no longer show it."
		a.Cautions = cautions(f.Kind, 0)
		return a
	}
	if f.Kind == evenstand.KindRefillSoon {
		if a.Do = "Nothing to do: it was filled at " + v.Clock(*f.Until) + v.On(*f.Until) + "."; v.dayEnd(*f.Until) {
			a.Do = "Nothing to do: it is of that day."
		}
		return a
	}
	how := "It ended by itself"
	if f.Kind == evenstand.KindUnplantedLeft {
		how = "It was planted"
	}
	if f.Status == evenstand.Acted || f.Status == evenstand.Checked {
		how = "It has ended since it was acted on,"
	}
	a.Do = how + " at " + v.Clock(*f.Until) + v.On(*f.Until) + "."
	if v.dayEnd(*f.Until) {
		a.Do = "It is counted up to the end of its day only."
	}
	look := looks[f.Kind]
	r, told := toldPart(f)
	switch {
	case told:
		a.Do += " So that it does not come back: " + v.pick(lower(r.Do))
		a.Minutes, a.Who = r.Minutes, r.Who
		look.touch = touches(f.Kind, r.Cause)
	case look.do != "":
		a.Do += " " + look.do
		a.Minutes, a.Who = lookMinutes, "operator"
	}
	over := overRate(f)
	if dig, ok := unseen(f); ok {
		a.Do += v.pick(" Or swap its sensor with a neighbour's: if the other row skips the next time, it was the sensor, which the log cannot tell.")
		a.Minutes += dig.Minutes
		look.touch |= touches(f.Kind, dig.Cause)
	}
	if f.Kind == evenstand.KindRowStopped || f.Kind == evenstand.KindRowLeftOff {
		a.Do += " Then look at the bare ground"
		if m, ok := Figure(f, "metres without seed"); ok && m > 0 {
			a.Do += ", " + v.Length(m) + " of row"
		}
		if where := place(f); where != "" {
			a.Do += " (" + where + ")"
		}
		a.Do += ": does it hold seed, and does going back over it still pay?"
	}
	a.Cautions = append(cautions(f.Kind, look.touch), over...)
	return a
}

// cannotSay lists what the data cannot tell, each with the hand check that
// would, and what to switch on for better data.
func cannotSay(f *evenstand.Finding, v Voice) []string {
	dig := v.pick("{10 ft|3 m}")
	var out []string
	say := func(what, why, check string) {
		if !strings.HasSuffix(check, "?") {
			check += "."
		}
		out = append(out, what+": cannot say, "+why+"; to find out: "+check)
	}
	coarse := f.Grade > evenstand.GradeA
	switch f.Kind {
	case evenstand.KindRowStopped:
		say("whether the row drops nothing or only its sensor sees nothing", "the log knows the sensor alone", "dig "+dig+" of the row, or look at its box and at the tank's content")
	case evenstand.KindRowLeftOff:
		say("why it was off", "the log knows the switch alone", "ask who drove")
	case evenstand.KindBlockedCell, evenstand.KindWeakCell:
		if card, ok := Figure(f, "cells on the card"); ok {
			n, _ := Figure(f, "cells on the disc")
			out = append(out, fmt.Sprintf("The planter card says discs of %.0f cells, and the skips come back every %.0f places: count the cells of the disc, and put their number on the card.", card, n))
		}
		if coarse {
			say("whether it is one cell or a seal", "needs seed times", "hold the disc to the light, or swap two discs and see whether the skips move along")
		} else {
			say("whether the cell is blocked or broken", "both miss the same way", "hold the disc to the light")
		}
	case evenstand.KindRowSkips:
		if coarse {
			say("whether the skips keep a rhythm", "needs seed times", "hold the disc to the light, or swap two discs and see whether the skips move along")
		}
		say("whether the seeds are missing or only not seen", "the log knows the sensor alone", "dig "+dig+" of the row, or swap its sensor with a neighbour's")
	case evenstand.KindRowDoubles:
		say("whether two seeds lie there or dust is counted", "the log knows the sensor alone", "dig ten seeds, or weigh a fill")
	case evenstand.KindLowVacuum:
		if _, ok := Figure(f, "vacuum after"); !ok {
			say("whether the vacuum fell", "no vacuum was logged", "read the gauges near the fan and far from it, from the seat or out of reach of what turns")
		}
	case evenstand.KindRateOff:
		say("whether the box or the ground is right", "both counts come from the box", v.pick("count {1/1000 acre|5 m} of row, or weigh a fill"))
	case evenstand.KindClockOff:
		say("whether the box's clock or the receiver is late by the last tenths of a second", "they are told against one another", "hold both clocks beside a phone's")
	case evenstand.KindRowBounce:
		say("how far the seeds roll below the sensor", "the log ends at the sensor", "dig ten seeds of the row and ten of a neighbour, and compare their gaps")
	case evenstand.KindLiquidRowLow, evenstand.KindLiquidRowHigh:
		say("whether the row's flow or its meter is off", "the log knows the row's meter alone", "catch a minute from this row and from two of its peers, or swap its meter with a neighbour's")
	case evenstand.KindContactLoss:
		say("how deep the seed lies where the wheels are off the ground", "no depth is logged", "dig ten seeds there and ten where they carry")
	case evenstand.KindOverload:
		say("whether the furrow's walls are pressed shut", "no box looks at them", "open the furrow behind the row: shiny walls, or roots along the row only, are too much")
		if _, ok := Figure(f, "seed-zone moisture"); !ok {
			say("whether the ground is moist enough for the load to do harm", "no seed-zone moisture is logged", "press a handful from the furrow's side: does it hold a thumb's print?")
		}
	case evenstand.KindLiquidRateOff:
		say("what really went on the ground", "the log knows the meters alone", "weigh what the tank lost against what the box counted, or catch a minute from three rows")
	case evenstand.KindSeedWithoutLiquid:
		say("whether nothing ran or the meters saw nothing", "the log knows the meters alone", "look at the tank's level, or behind the rows while they plant")
	case evenstand.KindGranularRowOff:
		say("whether the row's granules or the measure of them is off", "the log knows the box's own measure alone, and often none", v.pick("look into the box and at its tube, or tie a bag to this row's tube and to two of its peers', plant {653 ft|200 m} and weigh the bags"))
	case evenstand.KindGranularRateOff:
		say("what really went on the ground", "the log knows the boxes' own measure alone", v.pick(catchGranules))
	case evenstand.KindPuddle, evenstand.KindLiquidWithoutSeed:
		say("where it ran out", "the log knows the meters alone", "look at the ground where the planter stood or turned, and keep off it with seed")
	case evenstand.KindTankDisagrees:
		say("what really went out", "gauge and meter are boxes both", v.pick("weigh a fill of {50 gal|200 L} or more, or a tenth of the tank, against what the box counts"))
	case evenstand.KindFillImbalance:
		say("which tank is off", "the gauges are held against one another alone", "look at the levels from the side, and weigh what goes into each")
	case evenstand.KindRefillSoon:
		if over(f) {
			break
		}
		say("what stands in the boxes", "it is counted from fills and use", "look into them, fan off and key out")
	case evenstand.KindForceHunting, evenstand.KindFlowHunting, evenstand.KindPumpLimit:
		swingSay(f, say)
	case evenstand.KindDryFurrow:
		say("whether the seed lies in moist ground", "the sensor tells of its own place in the furrow", "dig ten seeds there and press a handful of the soil beside them: does it hold together?")
		if len(f.Rows) == 1 {
			say("which part it is, or whether only its sensor is off", "the log knows the sensor alone", "look behind the row: is the slot shut, is the seed pressed in, and is there a trench? If all is well, swap its sensor with a neighbour's")
		}
	case evenstand.KindColdFurrow:
		say("how cold it is at the seed", "the sensor tells of its own place in the furrow", "put a thermometer at seed depth at three places, and look at the days ahead")
	case evenstand.KindDirtyFurrow:
		say("whether straw lies under the seed", "the sensor tells straw in the slot, not where it lies", "open a furrow: is straw tucked in, or only on top?")
	case evenstand.KindCleanerUpset:
		say("whether the cleaner is plugged or rides on what it drags, and how deep the seed lies there", "the log knows trash and load alone", "at the next stop see whether its wheel turns, and dig ten seeds where it dragged and ten beside it")
	case evenstand.KindSlotOpen:
		say("how far it goes", "only digs tell", "dig three times behind this row and behind two of its peers")
	case evenstand.KindPositionDoubt:
		say("where the rows truly lie there", "the log knows the receiver alone", "tape three guess rows each way")
	case evenstand.KindUnplantedLeft:
		if len(f.Rows) > 0 {
			say("whether no seed lies there or only the sensors saw none", "the log knows the sensors alone", "dig "+dig+" of the strip")
		}
		say("whether the ground was left on purpose", "the logs know the planter alone", "look at it: a wet hole, a waterway and a landing stay bare")
	case evenstand.KindLotMismatch:
		say("which seed is in the boxes", "the log knows the notes and the plan alone", "look at the tags of the bags, or weigh a hundred seeds of these boxes and of the planned lot")
	case evenstand.KindLabelCap:
		say("what the label allows", "the limit is the one that you entered", "read the label, and correct the limit in the logbook's settings if it says another")
		say("what else went onto this ground", "the logs know the planter alone", "look up what was put on before and beside it")
	case evenstand.KindLateSection, evenstand.KindOverlap, evenstand.KindCoverGap:
		say("where the first and the last seeds lie", "the places come from the receiver and the card", "dig three to five ends of passes")
	case evenstand.KindGuessRow:
		say("how far apart the rows lie on the ground", "the places come from the receiver and the card", "tape three guess rows each way")
	case evenstand.KindSourceSilent:
		say("what went wrong meanwhile", "the box logged nothing", "look at the ground that was planted meanwhile")
	case evenstand.KindSensorDoubt:
		if _, ok := Figure(f, "share of seeds not seen"); ok {
			say("whether the seeds are missing or only not seen", "the log knows the sensor alone", "dig "+dig+" of the row, or swap its sensor with a neighbour's")
		} else {
			say("how many seeds lie there", "the log knows the sensor alone", "dig "+dig+" of the row, or weigh a fill")
		}
	case evenstand.KindTurnRate:
		say("what the ground holds on the curves", "the counts come from the box", v.pick("count {1/1000 acre|5 m} of the innermost and of the outermost row on a curve"))
		if x, ok := Figure(f, "share of the curve's error that is left"); ok && x > 1.5 {
			say("whether the box or the planter card has the rows reversed", "both give the same counts; with the card alone wrong the ground is right", "at the next stop compare row 1 of the box with the leftmost row of the planter")
		}
	case evenstand.KindSpeedSpacing:
		say("what speed does to how the seeds lie in the furrow", "the log ends at the sensor", "dig ten seeds of a slow stretch and ten of a fast one, and compare their gaps")
	case evenstand.KindRowDrive:
		say("which part of the drive it is", "the log knows the wave alone", "turn the meter by hand, drive isolated, and feel where it goes stiff")
	case evenstand.KindRecurringUpset:
		say("which part it is, or whether the sensor loses seeds that fall", "the log knows the sensor alone", "dig "+dig+" of the row where the trouble was, or swap its sensor with a neighbour's and see whether the trouble moves along")
	case evenstand.KindStarvedRow:
		say("whether seed bridges in the box or is not delivered", "the log knows the sensor alone", "at the next stop, key out, look into the box: does seed hang in a bridge, or lie level?")
	}
	if coarse && slices.Contains([]string{evenstand.KindBlockedCell, evenstand.KindWeakCell, evenstand.KindRowSkips, evenstand.KindRowDoubles, evenstand.KindRowStopped}, f.Kind) {
		out = append(out, "For better data: switch on the raw row log rather than the map export, at the shortest interval.")
	}
	switch f.Kind {
	case evenstand.KindBlockedCell, evenstand.KindWeakCell, evenstand.KindRowSkips, evenstand.KindRowDoubles, evenstand.KindLowVacuum, evenstand.KindRowStopped, evenstand.KindStarvedRow, evenstand.KindSensorDoubt, evenstand.KindRecurringUpset:
		out = append(out, afterFan)
	}
	if out == nil {
		out = []string{}
	}
	return out
}

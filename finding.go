package evenstand

import (
	"encoding/json"
	"math"
)

// Number is a float64 that JSON shows as null when it is not known (NaN).
type Number float64

// MarshalJSON writes null for NaN and infinities.
func (n Number) MarshalJSON() ([]byte, error) {
	if math.IsNaN(float64(n)) || math.IsInf(float64(n), 0) {
		return []byte("null"), nil
	}
	return json.Marshal(float64(n))
}

// UnmarshalJSON reads null as NaN.
func (n *Number) UnmarshalJSON(b []byte) error {
	if string(b) == "null" {
		*n = Number(math.NaN())
		return nil
	}
	return json.Unmarshal(b, (*float64)(n))
}

// Unknown is a number that nobody has.
var Unknown = Number(math.NaN())

// Evidence is one figure that a finding rests on, with its 90 % interval.
type Evidence struct {
	Name  string `json:"name"`
	Value Number `json:"value"`
	Low   Number `json:"low"`
	High  Number `json:"high"`
	N     Number `json:"n"`
	Unit  string `json:"unit"`
}

// Cause is one possible cause with its probability.
type Cause struct {
	Cause       string  `json:"cause"`
	Probability float64 `json:"probability"`
}

// Range is a sum of money: 10th, 50th and 90th percentile if the named cause
// is right.
type Range struct {
	Low  Number `json:"low"`
	Mid  Number `json:"mid"`
	High Number `json:"high"`
}

// ToSave is what acting can still save.
type ToSave struct {
	Low      Number `json:"low"`
	Mid      Number `json:"mid"`
	High     Number `json:"high"`
	Expected Number `json:"expected"` // mean over the causes
	Basis    string `json:"basis"`    // field, season or none
}

// Money is what a finding costs. Unit is a currency code, or bu without a price.
type Money struct {
	Unit        string `json:"unit"`
	Word        string `json:"word"` // likely, possible, unsure: the chance of the cause
	SoFar       Range  `json:"so_far"`
	PerArea     Range  `json:"per_area"` // per m2
	StillToSave ToSave `json:"still_to_save"`
	Needs       []Need `json:"needs"`             // what is missing to price it
	Assumed     string `json:"assumed,omitempty"` // what nobody has said and was taken, a sentence
}

// Need is something that nobody has said yet. Text says what, in words for any
// screen; Where says where it is written in the logbook's files, for the command
// line; Topic says who can be asked for it.
type Need struct {
	Topic Topic  `json:"topic"`
	Text  string `json:"text"`
	Where string `json:"where,omitempty"`
}

// Topic tells where something that is missing is to be entered or found.
type Topic string

// Topics of needs.
const (
	TopicNone    Topic = ""        // it is in no logbook
	TopicPrices  Topic = "prices"  // prices, yield goal, crop, ground still to plant
	TopicPlanter Topic = "planter" // the planter card
	TopicLogs    Topic = "logs"    // what a box logs
)

// Advice is what to do, by whom, how long it takes, and what to be careful of.
type Advice struct {
	Do       string   `json:"do"`
	Minutes  int      `json:"minutes"`
	Who      string   `json:"who"`
	Cautions []string `json:"cautions"`
}

// PassRef names a pass in a finding. Numbers begin anew in each field.
type PassRef struct {
	Key    string `json:"key"`
	Number int    `json:"number"`
	Field  string `json:"field,omitempty"` // where it is another than the finding's
}

// Stage says how sure a finding is: suspected or raised.
type Stage string

// Status says where a finding stands between people and machine.
type Status string

// When says when to act.
type When string

// The values of Stage, Status and When.
const (
	Suspected Stage = "suspected"
	Raised    Stage = "raised"

	Open     Status = "open"
	Acted    Status = "acted"
	Checked  Status = "checked"
	SetAside Status = "set-aside"
	Ended    Status = "ended"

	Now           When = "now"
	NextStop      When = "next-stop"
	Tonight       When = "tonight"
	BeforeLeaving When = "before-leaving"
	SideDress     When = "side-dress"
	Winter        When = "winter"
	Never         When = "none"
)

// Kinds of finding that this version raises; the words are stable.
const (
	KindRowStopped  = "row-stopped"
	KindRowLeftOff  = "row-left-off"
	KindBlockedCell = "blocked-cell"
	KindWeakCell    = "weak-cell"
	KindRowSkips    = "row-skips"
	KindRowDoubles  = "row-doubles"
	KindLowVacuum   = "low-vacuum"
	KindRateOff     = "rate-off"
	KindStarvedRow  = "starved-row"
	KindRowBounce   = "row-bounce"
	KindSensorDoubt = "sensor-doubt"
	KindClockOff    = "clock-off"
	KindRowDrive    = "row-drive"

	KindSpeedSpacing = "speed-spacing"
	KindTurnRate     = "turn-rate"
	KindUpset        = "upset"

	KindRecurringUpset = "recurring-upset"

	KindSourceSilent  = "source-silent"
	KindPositionDoubt = "position-doubt"
)

// Family gives the family that a kind belongs to: cell for blocked and weak
// cells, else the kind itself.
func Family(kind string) string {
	if kind == KindBlockedCell || kind == KindWeakCell {
		return "cell"
	}
	return kind
}

// Finding is what went wrong or can be better, as it stands in JSON, in the
// local interface and under data/.
type Finding struct {
	ID        string     `json:"id"`
	Kind      string     `json:"kind"`
	Family    string     `json:"family"`
	Stage     Stage      `json:"stage"`
	Status    Status     `json:"status"`
	Grade     Grade      `json:"grade"`
	Sentence  string     `json:"sentence"`
	Rows      Rows       `json:"rows"`
	Field     string     `json:"field"`
	Passes    []PassRef  `json:"passes"`
	Since     Micros     `json:"since"`
	SinceLow  Micros     `json:"since_low"`
	SinceHigh Micros     `json:"since_high"`
	Until     *Micros    `json:"until"`
	When      When       `json:"when"`
	Evidence  []Evidence `json:"evidence"`
	Causes    []Cause    `json:"causes"`
	Money     Money      `json:"money"`
	Advice    Advice     `json:"advice"`
	Sources   []string   `json:"sources"` // ids of relations
	CheckBack *CheckBack `json:"check_back"`

	// Beside the design's keys, for the later stages and the curious.
	Planter string   `json:"planter"`
	Day     Day      `json:"day"`
	Harm    []Harm   `json:"harm"`              // what was lost, in the ground's own units
	Alarm   Micros   `json:"alarm"`             // when the evidence first sufficed
	Chart   *Chart   `json:"chart,omitempty"`   // the evidence as a small drawing
	Say     []string `json:"cannot_say"`        // what the data cannot tell, and the hand check that would
	Counted *Counted `json:"counted,omitempty"` // what plants counted on foot say of it
}

// Counted is what plants counted on a finding's ground and beside it say.
type Counted struct {
	In   int    `json:"in"`   // counts on its ground
	Out  int    `json:"out"`  // counts beside it in the same field
	Lost Range  `json:"lost"` // share of the plants that its ground has lost, or of the places logged without a seed that are empty
	Late Range  `json:"late"` // share of plants that is late there beyond that beside; unknown nobody has looked
	Says string `json:"says"`
	Fall Number `json:"fall"` // chance that seeds which no sensor saw lie there all the same; unknown where that is not the question
}

// HarmKind names what was lost, each priced by its own relation.
type HarmKind string

// The kinds of harm.
const (
	MissingSeeds HarmKind = "missing seeds"  // places due that hold no seed, beyond what a healthy row misses
	ExtraSeeds   HarmKind = "extra seeds"    // seeds beyond the places due
	EmptyGround  HarmKind = "empty ground"   // m2 of row on which nothing was planted
	RateError    HarmKind = "rate error"     // m2 planted at another rate than asked; Ratio says which
	Uneven       HarmKind = "uneven spacing" // m2 planted with seeds further off their places; SD and Usual say how far
)

// Harm is an amount of something lost with its uncertainty, and how fast it
// goes on while planting, so that money can be put on the past and on what is
// still to come.
type Harm struct {
	Kind   HarmKind `json:"kind"`
	Amount Range    `json:"amount"` // 10th, 50th, 90th percentile: seeds, or m2
	Area   Number   `json:"area"`   // m2 planted by the rows while it lasted
	Target Number   `json:"target"` // seeds per m2 asked for; NaN unknown
	Ratio  Number   `json:"ratio"`  // actual over target, for RateError
	Share  Number   `json:"share"`  // amount per place due while it lasts, for what is to come
	Crop   string   `json:"crop"`
	// SD and Usual are the SD of plant spacing in m with and without it, for
	// Uneven; 0 otherwise.
	SD    Number `json:"sd_m,omitempty"`
	Usual Number `json:"usual_sd_m,omitempty"`
}

// Chart is a small drawing: values at places along x. Kind says how to read it.
type Chart struct {
	Title string   `json:"title"`
	X     string   `json:"x"` // what x is: "cell", "row", "time"
	Y     string   `json:"y"`
	Unit  string   `json:"unit"`
	At    []Number `json:"at"`
	Value []Number `json:"value"`
	Low   []Number `json:"low,omitempty"`
	High  []Number `json:"high,omitempty"`
	Mark  []int    `json:"mark,omitempty"` // indexes that the finding is about
	Band  *Range   `json:"band,omitempty"` // the peers' band
}

// Worklist is the answer of `evenstand worklist BOOK --json`.
type Worklist struct {
	Schema   int       `json:"schema"`
	Book     string    `json:"book"`
	AsOf     Micros    `json:"as_of"`
	Currency string    `json:"currency"`
	Findings []Finding `json:"findings"`
}

// Kinds of finding that weigh a stop now against going on to the next fill. They
// rest on the other findings and their prices and are made with the worklist.
const (
	KindStopPays = "stop-pays"
	KindGoOnPays = "go-on-pays"
)

// OnBoard is what a tank or the seed boxes hold at the end of the log, and how
// much ground that does at the pace of the day.
type OnBoard struct {
	Of     string `json:"of"`
	Tank   int    `json:"tank,omitempty"` // of the card; 0 the seed boxes
	Unit   string `json:"unit"`           // m3, seeds
	Left   Number `json:"left"`
	SD     Number `json:"left_sd"`
	Area   Number `json:"area_m2"`
	AreaSD Number `json:"area_sd_m2"`
	ToFill Number `json:"to_fill"` // null where the size is not known
}

// KindSettingBetter is a setting that is expected to do better, to be tried. It
// rests on what was changed before and is made with the worklist.
const KindSettingBetter = "setting-better"

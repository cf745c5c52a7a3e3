// Package pipeline calls the stages in their order over a stream of events:
// align, measure, find. A log that is read after the day and a live feed run
// the same code: the settled pass knows the whole track before the first seed
// is placed, the live pass knows what has come so far.
package pipeline

import (
	"time"

	"evenstand"
	"evenstand/core/advise"
	"evenstand/core/verify"
)

// Day is one planter on one local day: the unit of derivation.
type Day struct {
	Date    evenstand.Day
	Zone    *time.Location
	Planter string
	Card    evenstand.Card
	Fields  []evenstand.Field
	// Streams hold the day's data and, after midnight, the next day's up to
	// where the pass that runs over midnight ends.
	Streams []evenstand.Stream
	// From is the instant before which everything belongs to the day before,
	// because a pass ran over midnight; NoTime when none did.
	From evenstand.Micros
	// Limits are what somebody does not want quantities to fall below or to go
	// beyond.
	Limits []evenstand.Limit
	// Lots are what was written down of the seed in the boxes before the day, in
	// order of time; what is of the day stands in its streams.
	Lots  []evenstand.Entry
	Plans []evenstand.Plan // which seed the fields' rows are to get
	// Voice is how a feed says whether what was done worked.
	Voice advise.Voice
	// Settings makes what watches the boxes for settings that somebody changes while
	// a feed comes in; nil: nobody does.
	Settings func() SettingsWatch
}

// SettingsWatch finds the settings that are changed on boxes.
type SettingsWatch interface {
	// Reading takes what a stream read, on the one clock.
	Reading(stream int, r *evenstand.Reading)
	// Changed gives all that was changed so far, by the passes that are over.
	Changed(passes []evenstand.Pass) []verify.Set
}

// Output takes what a day gives, pass by pass in time order. Slices are only
// lent.
type Output interface {
	// Pass hands over a finished pass: its seeds sorted by row and time, in as
	// many parts as it likes, its stretches sorted by row and place, and the
	// ground that it worked. All are only lent.
	Pass(p evenstand.Pass, seeds [][]evenstand.PlacedSeed, stretches []evenstand.Stretch, worked []evenstand.Worked) error
	// Track hands over the bar's path, in time order.
	Track([]evenstand.TrackPoint) error
	// Readings hands over the readings on the one clock, in time order.
	Readings([]evenstand.Reading) error
}

// Result is what a day gives beside its passes.
type Result struct {
	Findings []evenstand.Finding // without id and money, in order of their alarm
	Clocks   []Clock
	Notes    []string         // what a person should know of the day, whole sentences
	AsOf     evenstand.Micros // last log time
	Until    evenstand.Micros // the day's passes end here: From of the next day
	Planted  []Planted
	OnBoard  []evenstand.OnBoard // at the end of the day
	Behind   Behind
	Card     evenstand.Card // that the day was settled with: the planter's, completed by what the logs say
}

// Behind is how far the seed line lies behind the receiver's antenna where the
// tractor drives straight on.
type Behind struct {
	Source   string           `json:"source"`     // the receiver's
	Card     evenstand.Number `json:"card_m"`     // as the planter card says, null when it does not
	Distance evenstand.Number `json:"distance_m"` // as the ends of passes tell, null when they do not
	Error    evenstand.Number `json:"error_m"`    // half-width of the 90 % interval
	Ends     int              `json:"ends"`       // of passes that it rests on
	Used     bool             `json:"used"`       // it stands in for what the card lacks
}

// Clock is what is known of one source's clock on this day.
type Clock struct {
	Source     string           `json:"source"`
	Offset     evenstand.Number `json:"offset_s"`        // logged minus true, at At
	Error      evenstand.Number `json:"error_s"`         // half-width of the 90 % interval
	From       ClockFrom        `json:"from"`            // where it comes from
	At         evenstand.Micros `json:"at"`              // when Offset held, by the box's clock; NoTime all day
	Drift      evenstand.Number `json:"drift_ppm"`       // by which the offset grows
	DriftError evenstand.Number `json:"drift_error_ppm"` // half-width of the 90 % interval
	Set        []ClockSet       `json:"set,omitempty"`   // the parts of a day on which the clock was set
	// Against is how far in s the logs show the clock to be from what was said
	// of it, 0 when they do not.
	Against float64 `json:"against_s,omitempty"`
	Gaps    []Gap   `json:"gaps"`
}

// ClockFrom says where what is known of a clock comes from.
type ClockFrom string

// Where clocks come from.
const (
	ClockUnknown   ClockFrom = "unknown"
	ClockDeclared  ClockFrom = "declared"  // by source.toml or by the log itself
	ClockReceiver  ClockFrom = "receiver"  // it is the receiver's, by which all others are told
	ClockEstimated ClockFrom = "estimated" // by speed, seeds and lifting against the receiver
)

// ClockSet is a part of a day, by the box's clock, with one offset.
type ClockSet struct {
	From   evenstand.Micros `json:"from"`
	To     evenstand.Micros `json:"to"`
	At     evenstand.Micros `json:"at"`
	Offset evenstand.Number `json:"offset_s"` // at At
	Error  evenstand.Number `json:"error_s"`
	Drift  evenstand.Number `json:"drift_ppm"`
}

// Gap is a hole in a source's log while the others went on.
type Gap struct {
	From    evenstand.Micros `json:"from"`
	To      evenstand.Micros `json:"to"`
	Planted evenstand.Number `json:"planted_s"` // of that time the planter planted
}

// Planted is the ground planted in one field on this day.
type Planted struct {
	Field string  `json:"field"`
	Area  float64 `json:"area_m2"`
	Seeds float64 `json:"seeds"`
}

package evenstand

import (
	"math"
	"slices"
	"strings"
)

// Units is the system that people read.
type Units string

// The unit systems.
const (
	US     Units = "us"
	Metric Units = "metric"
)

// Bushels of the crops by mass in kg: corn and sorghum 56 lb, soybeans 60 lb,
// sunflower 24 lb (US standard weights, USDA AMS; as in agronomy tables).
var bushel = map[string]float64{
	"corn": 56 * Pound, "sorghum": 56 * Pound, "soybeans": 60 * Pound, "sunflower": 24 * Pound,
}

// Bushel gives the mass of a bushel of the crop in kg, false when the crop is
// not sold by the bushel.
func Bushel(crop string) (float64, bool) {
	kg, ok := bushel[crop]
	return kg, ok
}

// Settings are what the people said about the book: how to read numbers, and
// what things cost. Unknown numbers are NaN.
type Settings struct {
	Name     string
	Zone     string // IANA name
	Units    Units
	Currency string  // ISO 4217, "USD"
	Crop     string  // crop that a bushel is of; empty: corn
	Price    float64 // currency per kg of grain
	Yield    float64 // yield goal, kg/m2
	Seed     float64 // currency per seed
	Labour   float64 // currency per hour of the operator
	Machine  float64 // currency per hour of tractor and planter standing
	Season   float64 // m2 still to plant this season, beyond the present field
	Limits   []Limit // what the people want not to be left, in the order of Limited
	Clocks   []SaidClock
	Products []ProductLimit // how much of a product may go on
	Plans    []Plan         // which seed the fields' rows are to get
	Parts    []SaidPart     // what parts on trial cost and are for
}

// SaidPart is what the people say of a part that some rows carry.
type SaidPart struct {
	Label   string  // as on the planter card
	Price   float64 // currency on one row; NaN: nobody knows
	Seasons float64 // that it lasts; NaN: nobody knows
	Aim     string  // id of the measure that it is mounted for; empty: any
}

// Part gives what was said of a part, false when nothing was.
func (s *Settings) Part(label string) (SaidPart, bool) {
	for _, p := range s.Parts {
		if strings.EqualFold(p.Label, label) {
			return p, true
		}
	}
	return SaidPart{Label: label, Price: math.NaN(), Seasons: math.NaN()}, false
}

// SetPart writes down what is said of a part, in place of what was; nothing at
// all takes it back.
func (s *Settings) SetPart(p SaidPart) {
	s.Parts = slices.DeleteFunc(slices.Clone(s.Parts), func(o SaidPart) bool { return strings.EqualFold(o.Label, p.Label) })
	if !math.IsNaN(p.Price) || !math.IsNaN(p.Seasons) || p.Aim != "" {
		s.Parts = append(s.Parts, p)
	}
}

// ProductLimit is how much of a product may go on the ground, as the people
// entered it. What its label says is not known here.
type ProductLimit struct {
	Name    string  // as on the planter card, where a tank has it
	Applied Applied // liquid or granular
	Pass    float64 // most in one pass, m3/m2 or kg/m2; NaN: none
	Season  float64 // most in a season; NaN: none
}

// Plan is which lot or hybrid rows are to get in a field. Several of one field and
// the same rows leave the choice.
type Plan struct {
	Field string // empty: any
	Rows  Rows   // empty: all
	Lot   string
}

// SaidClock is what the people say of a box's clock. It goes before what lies
// beside the box's logs.
type SaidClock struct {
	Box     string  // name of the source
	Planter string  // whose; empty: of any
	Offset  float64 // s, logged minus true
	Error   float64 // s, half-width of the 90 % interval; NaN: nobody knows
}

// Clock gives what was said of a box's clock, false when nothing was.
func (s *Settings) Clock(planter, box string) (SaidClock, bool) {
	for _, c := range s.Clocks {
		if c.Box == box && (c.Planter == "" || c.Planter == planter) {
			return c, true
		}
	}
	return SaidClock{}, false
}

// SetClock writes down what is said of a box's clock, in place of what was.
func (s *Settings) SetClock(c SaidClock) {
	s.UnsetClock(c.Planter, c.Box)
	s.Clocks = append(s.Clocks, c)
}

// UnsetClock takes back what was said of a box's clock.
func (s *Settings) UnsetClock(planter, box string) {
	s.Clocks = slices.DeleteFunc(slices.Clone(s.Clocks), func(c SaidClock) bool { return c.Box == box && (c.Planter == "" || c.Planter == planter) })
}

// Limit is what somebody does not want a quantity to fall below, or to go
// beyond: seed-zone moisture of at least 18 %, at most 6.5 mph.
type Limit struct {
	Of    Quantity
	Least float64 // SI; NaN: none
	Most  float64 // SI; NaN: none
}

// Limited are the quantities that limits can be given for, in their order. Of
// what is set, they are how far one may go with it.
var Limited = []Quantity{WheelOffShare, GaugeWheelLoad, AppliedForce, SeedZoneMoisture, SeedZoneTemperature, SlotTrash, GroundSpeed, Vacuum, CleanerPressure, CloserPressure, GaugeWheelLoadTarget}

// Limit gives the limit of a quantity, both ends NaN when there is none.
func (s *Settings) Limit(q Quantity) Limit {
	for _, l := range s.Limits {
		if l.Of == q {
			return l
		}
	}
	return Limit{q, math.NaN(), math.NaN()}
}

// Set tells whether either end is given.
func (l Limit) Set() bool { return !math.IsNaN(l.Least) || !math.IsNaN(l.Most) }

// Below tells whether a value lies under the limit; an unknown one does not.
func (l Limit) Below(x float64) bool { return x < l.Least }

// Above tells whether a value lies over the limit; an unknown one does not.
func (l Limit) Above(x float64) bool { return x > l.Most }

// NewSettings are settings in which nothing but the currency is set.
func NewSettings() Settings {
	nan := math.NaN()
	return Settings{Units: US, Currency: "USD", Price: nan, Yield: nan, Seed: nan, Labour: nan, Machine: nan, Season: nan}
}

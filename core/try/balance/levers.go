package balance

import (
	"fmt"
	"math"
	"strconv"

	"evenstand"
	"evenstand/core/advise"
)

// A Lever is something that is set, with what it is usually set for.
type Lever struct {
	Name  string // of its quantity in the registry
	Words string // as it stands in a sentence
	Note  string // as a note of the journal begins
	// Measures are the responses that are looked at; which of them cost money,
	// have limits or are weighed is another matter.
	Measures []string
	// Rows tells that it can usually be set for some rows by themselves.
	Rows bool
	// US and Metric are the steps that it is set in, in the unit that people set
	// it in.
	US, Metric float64
}

// levers in the order in which they are offered. Responses, rows and steps are
// judgement, no source. Depth is not among them: it has no quantity, so that no
// limits can be given for it, and without limits nothing is tried.
var levers = []Lever{
	{evenstand.CleanerPressure.String(), "the row cleaners", "cleaners", []string{"trash", "moisture", "temperature"}, true, 1, 0.1},
	{evenstand.CloserPressure.String(), "the closing wheels", "closers", []string{"moisture", "spacing"}, true, 1, 0.1},
	{evenstand.AppliedForce.String(), "the down force", "down force", []string{"wheel-off", "load", "spacing", "moisture"}, true, 10, 5},
	{evenstand.GaugeWheelLoadTarget.String(), "the gauge-wheel load", "gauge wheel load", []string{"wheel-off", "load", "spacing", "moisture"}, true, 10, 5},
	{evenstand.Vacuum.String(), "the vacuum", "vacuum", []string{"skips", "doubles"}, false, 0.5, 1},
	{evenstand.GroundSpeed.String(), "the speed", "speed", []string{"spacing", "skips", "doubles", "wheel-off"}, false, 0.25, 0.5},
}

// Levers gives all; the slice is the caller's.
func Levers() []Lever { return append([]Lever(nil), levers...) }

// LeverOf finds one by its name.
func LeverOf(name string) (Lever, bool) {
	for _, l := range levers {
		if l.Name == name {
			return l, true
		}
	}
	return Lever{}, false
}

// Quantity is what the lever is logged and limited as.
func (l *Lever) Quantity() evenstand.Quantity {
	q, _ := evenstand.ParseQuantity(l.Name)
	return q
}

// Unit is what people of those units set the lever in.
func (l *Lever) Unit(units evenstand.Units) evenstand.Unit {
	q := l.Quantity().Info()
	name := q.US
	if units == evenstand.Metric {
		name = q.Metric
	}
	u, err := evenstand.ParseUnit(name)
	if err != nil {
		panic(err) // the registry's units are of the list
	}
	return u
}

// Step is what the lever is set in steps of, in its own unit.
func (l *Lever) Step(units evenstand.Units) float64 {
	s := l.US
	if units == evenstand.Metric {
		s = l.Metric
	}
	return s * l.Unit(units).Scale
}

// shown are units as they stand behind a number on screen.
var shown = map[string]string{"lbf": "lb", "kgf": "kg", "inH2O": "in of water", "degF": "°F", "degC": "°C"}

// UnitSay is the lever's unit as people read it.
func (l *Lever) UnitSay(units evenstand.Units) string {
	u := l.Unit(units).Name
	if s, ok := shown[u]; ok {
		return s
	}
	return u
}

// number writes a setting's number in the people's unit, no finer than a fifth
// of a step.
func (l *Lever) number(x float64, units evenstand.Units) string {
	u := l.Unit(units)
	fine := l.Step(units) / u.Scale / 5
	v := math.Round(u.FromSI(x)/fine) * fine
	return strconv.FormatFloat(math.Round(v*1e6)/1e6, 'f', -1, 64)
}

// Say writes a setting: 26 psi.
func (l *Lever) Say(x float64, v advise.Voice) string {
	if math.IsNaN(x) {
		return advise.Unknown
	}
	return l.number(x, v.Units) + " " + l.UnitSay(v.Units)
}

// NoteOf writes the line of the journal that sets the lever: cleaners 22 to 26
// psi.
func (l *Lever) NoteOf(from, to float64, v advise.Voice) string {
	return fmt.Sprintf("%s %s to %s %s", l.Note, l.number(from, v.Units), l.number(to, v.Units), l.Unit(v.Units).Name)
}

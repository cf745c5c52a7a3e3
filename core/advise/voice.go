package advise

import (
	"math"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"evenstand"
)

// Voice is how people of one logbook read numbers: its time zone and units.
type Voice struct {
	Zone  *time.Location // nil: UTC
	Units evenstand.Units
	// AsOf is when it is said: what lies on another day gets its date. Zero or
	// NoTime: no time gets one.
	AsOf evenstand.Micros
}

func (v Voice) zone() *time.Location {
	if v.Zone == nil {
		return time.UTC
	}
	return v.Zone
}

func (v Voice) metric() bool { return v.Units == evenstand.Metric }

// Unknown is what is written for a number that nobody has.
const Unknown = "not known"

// Clock writes the time of day: 2:12 pm, or 14:12 metric.
func (v Voice) Clock(t evenstand.Micros) string {
	if t == evenstand.NoTime {
		return Unknown
	}
	if v.metric() {
		return t.Time().In(v.zone()).Format("15:04")
	}
	return t.Time().In(v.zone()).Format("3:04 pm")
}

// Hour writes an hour of the day: 2 pm, 14:00 metric.
func (v Voice) Hour(h int) string {
	t := time.Date(2000, 1, 1, h%24, 0, 0, 0, time.UTC)
	if v.metric() {
		return t.Format("15:04")
	}
	return t.Format("3 pm")
}

// On writes " on May 2", or " on 2 May" metric, for what is of another day than
// that on which it is said, with the year where that is another too.
func (v Voice) On(t evenstand.Micros) string {
	if t == evenstand.NoTime || v.AsOf == 0 || v.AsOf == evenstand.NoTime || evenstand.DayOf(t, v.zone()) == evenstand.DayOf(v.AsOf, v.zone()) {
		return ""
	}
	x := t.Time().In(v.zone())
	switch {
	case x.Year() != v.AsOf.Time().In(v.zone()).Year():
		return " on " + v.Date(t)
	case v.metric():
		return " on " + x.Format("2 January")
	}
	return " on " + x.Format("January 2")
}

// Second writes the time of day to the second.
func (v Voice) Second(t evenstand.Micros) string {
	layout := "3:04:05 pm"
	if v.metric() {
		layout = "15:04:05"
	}
	return t.Time().In(v.zone()).Format(layout)
}

// dayEnd tells whether an instant is the end of a local day, as the trouble of
// a day is given that another day clears or carries on.
func (v Voice) dayEnd(t evenstand.Micros) bool {
	if t == evenstand.NoTime {
		return false
	}
	x := t.Time().In(v.zone())
	return x.Hour() == 0 && x.Minute() == 0 && x.Second() == 0 && x.Nanosecond() == 0
}

// Ended says when trouble that is over ended, as in "it ended at 1:52 pm".
func (v Voice) Ended(f *evenstand.Finding) string {
	switch {
	case f.Until == nil:
		return "it is no longer seen"
	case v.dayEnd(*f.Until):
		return "it is counted up to the end of its day only"
	}
	return "it ended at " + v.Clock(*f.Until) + v.On(*f.Until)
}

// Date writes the day: May 2, 2026, or 2 May 2026 metric.
func (v Voice) Date(t evenstand.Micros) string {
	if t == evenstand.NoTime {
		return Unknown
	}
	if v.metric() {
		return t.Time().In(v.zone()).Format("2 January 2006")
	}
	return t.Time().In(v.zone()).Format("January 2, 2006")
}

// Day writes a local day: May 2, 2026.
func (v Voice) Day(d evenstand.Day) string {
	t, err := d.Start(v.zone())
	if err != nil {
		return string(d)
	}
	return v.Date(t)
}

// Length writes metres: in, ft, mi or cm, m, km, two or three digits.
func (v Voice) Length(m float64) string {
	if v.metric() {
		switch a := math.Abs(m); {
		case a < 1:
			return amount(m*100, "cm")
		case a < 2000:
			return amount(m, "m")
		}
		return amount(m/1000, "km")
	}
	switch a := math.Abs(m); {
	case a < evenstand.Foot:
		return amount(m/evenstand.Inch, "in")
	case a < evenstand.Mile:
		return amount(m/evenstand.Foot, "ft")
	}
	return amount(m/evenstand.Mile, "mi")
}

// Area writes m2 as ac or ha.
func (v Voice) Area(m2 float64) string {
	if v.metric() {
		return amount(m2/evenstand.Hectare, "ha")
	}
	return amount(m2/evenstand.Acre, "ac")
}

// Volume writes m3 as US gallons or litres, under ten with a decimal.
func (v Voice) Volume(m3 float64) string {
	if v.metric() {
		return amount(m3*1000, "L")
	}
	return amount(m3/evenstand.Gallon, "gal")
}

// Mass writes kg as pounds or kg.
func (v Voice) Mass(kg float64) string {
	if v.metric() {
		return amount(kg, "kg")
	}
	return amount(kg/evenstand.Pound, "lb")
}

// Rate writes seeds per m2 as seeds an acre or a hectare.
func (v Voice) Rate(perM2 float64) string {
	if v.metric() {
		return amount(perM2*evenstand.Hectare, "seeds/ha")
	}
	return amount(perM2*evenstand.Acre, "seeds/ac")
}

// Speed writes m/s as mph or km/h.
func (v Voice) Speed(ms float64) string {
	if v.metric() {
		return amount(ms*3.6, "km/h")
	}
	return amount(ms*3600/evenstand.Mile, "mph")
}

// Vacuum writes Pa as inches of water or mbar.
func (v Voice) Vacuum(pa float64) string {
	if v.metric() {
		return amount(pa/100, "mbar")
	}
	return amount(pa/evenstand.InchWater, "in of water")
}

// Load writes N as pounds or, as people say loads, kilograms, to whole tens
// from 30 on.
func (v Voice) Load(n float64) string {
	x, unit := n/evenstand.PoundForce, "lb"
	if v.metric() {
		x, unit = n/evenstand.Gravity, "kg"
	}
	if math.Abs(x) >= 30 {
		x = 10 * math.Round(x/10)
	}
	return amount(math.Round(x), unit)
}

// Percent writes a fraction as percent: 2.4%.
func (v Voice) Percent(fraction float64) string {
	if math.IsNaN(fraction) || math.IsInf(fraction, 0) {
		return Unknown
	}
	return Digits(100*fraction) + "%"
}

// Value writes an SI value in the unit that its name in SI stands for, and a
// value of an unknown unit with the unit as it is.
func (v Voice) Value(x float64, unit string) string {
	switch unit {
	case "m":
		return v.Length(x)
	case "m2":
		return v.Area(x)
	case "m3":
		return v.Volume(x)
	case "m/s":
		return v.Speed(x)
	case "N":
		return v.Load(x)
	case "Pa":
		return v.Vacuum(x)
	case "1/m2":
		return v.Rate(x)
	case "m3/m2", "kg/m2":
		s := v.Scale(unit)
		return amount(x/s.Scale, s.Unit)
	case "fraction":
		return v.Percent(x)
	case "%":
		return Digits(x) + "%"
	case "degC":
		if v.metric() {
			return amount(x, "°C")
		}
		return amount(1.8*x+32, "°F")
	case "K": // a difference
		if v.metric() {
			return amount(x, "°C")
		}
		return amount(1.8*x, "°F")
	case "kPa":
		if v.metric() {
			return amount(x/100, "bar")
		}
		return amount(x*1000/evenstand.PSI, "psi")
	}
	return amount(x, unit)
}

// Scale is how an axis of values in an SI unit is written for people: shown =
// (SI − Offset) / Scale, with the unit behind it.
type Scale struct {
	Unit   string
	Scale  float64
	Offset float64
}

// Scale gives the axis of a unit that Value knows. Lengths and areas come in
// feet and acres, or metres and hectares, whatever their size.
func (v Voice) Scale(unit string) Scale {
	us, metric := Scale{unit, 1, 0}, Scale{unit, 1, 0}
	switch unit {
	case "m":
		us, metric = Scale{"ft", evenstand.Foot, 0}, Scale{"m", 1, 0}
	case "m2":
		us, metric = Scale{"ac", evenstand.Acre, 0}, Scale{"ha", evenstand.Hectare, 0}
	case "m/s":
		us, metric = Scale{"mph", evenstand.Mile / 3600, 0}, Scale{"km/h", 1 / 3.6, 0}
	case "N":
		us, metric = Scale{"lb", evenstand.PoundForce, 0}, Scale{"kg", evenstand.Gravity, 0}
	case "Pa":
		us, metric = Scale{"in of water", evenstand.InchWater, 0}, Scale{"mbar", 100, 0}
	case "1/m2":
		us, metric = Scale{"seeds/ac", 1 / evenstand.Acre, 0}, Scale{"seeds/ha", 1 / evenstand.Hectare, 0}
	case "degC":
		us, metric = Scale{"°F", 1 / 1.8, -32 / 1.8}, Scale{"°C", 1, 0}
	case "K":
		us, metric = Scale{"°F", 1 / 1.8, 0}, Scale{"°C", 1, 0}
	case "fraction":
		us, metric = Scale{"%", 0.01, 0}, Scale{"%", 0.01, 0}
	case "m3/m2":
		us, metric = Scale{"gal/ac", evenstand.Gallon / evenstand.Acre, 0}, Scale{"L/ha", 0.001 / evenstand.Hectare, 0}
	case "kg/m2":
		us, metric = Scale{"lb/ac", evenstand.Pound / evenstand.Acre, 0}, Scale{"kg/ha", 1 / evenstand.Hectare, 0}
	}
	if v.metric() {
		return metric
	}
	return us
}

// UnitOf gives the unit of a figure of the evidence for Value: a share of
// places comes without a unit and is written in percent.
func UnitOf(e evenstand.Evidence) string {
	switch e.Name {
	case "share of turns missed", "skips", "skips of its peers", "skips usual for it", "doubles", "doubles of its peers", "doubles usual for it", "off the ground", "off the ground, its peers", "off the ground elsewhere", "flow over its peers'", "flow over its peers' before", "liquid over its target", "granules over its peers'", "granules over its peers' before", "granules over their target", "by the machine's own meter", "by the rows' meters", "actual over target", "logged speed over the receiver's":
		if e.Unit == "" || e.Unit == "1" {
			return "fraction"
		}
	}
	return e.Unit
}

// Money writes a range in its unit with two digits and no cents: $140 to $410,
// 3.1 to 8.2 bu. An empty string says that there is nothing to write.
func (v Voice) Money(r evenstand.Range, unit string) string {
	low, high := float64(r.Low), float64(r.High)
	if math.IsNaN(low) || math.IsNaN(high) {
		return ""
	}
	write := func(x float64) string {
		if sign, ok := sign[unit]; ok {
			return sign + Digits(math.Round(round2(x)))
		}
		return Digits(x)
	}
	tail := ""
	if _, ok := sign[unit]; !ok {
		tail = " " + unit
	}
	a, b := write(low), write(high)
	zero := write(0)
	switch {
	case b == zero && high > 0 && tail == "":
		return "under " + write(1)
	case b == zero:
		return "nothing"
	case a == zero:
		return "up to " + b + tail
	case a == b:
		return "about " + a + tail
	}
	return a + " to " + b + tail
}

// Price writes what one of something costs, with its cents: $4.50, 180.00 CHF.
func Price(x float64, unit string) string {
	n := strconv.FormatFloat(x, 'f', 2, 64)
	if s, ok := sign[unit]; ok {
		return s + n
	}
	return n + " " + unit
}

// Whole writes a whole sum of money: $1,240, 1,240 CHF.
func Whole(n int64, unit string) string {
	if s, ok := sign[unit]; ok {
		return s + Thousands(n)
	}
	return Thousands(n) + " " + unit
}

// Signs that stand before a sum of money; every other unit stands behind it.
var sign = map[string]string{"USD": "$", "CAD": "C$", "AUD": "A$", "EUR": "€", "GBP": "£"}

// Digits writes a number with the digits that a person uses: two of them below
// 100, whole above, thousands parted by commas. Numbers of 10,000 and more are
// rounded to three digits.
func Digits(x float64) string {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return Unknown
	}
	a := math.Abs(x)
	switch {
	case a == 0:
		return "0"
	case a < 10:
		places := 1
		for s := a; s < 1 && places < 6; s *= 10 {
			places++
		}
		s := strconv.FormatFloat(x, 'f', places, 64)
		return strings.TrimSuffix(strings.TrimRight(s, "0"), ".")
	case a < 10_000:
		return commas(math.Round(x))
	}
	p := math.Pow(10, math.Floor(math.Log10(a))-2)
	return commas(math.Round(x/p) * p)
}

// round2 rounds to two digits.
func round2(x float64) float64 {
	if x == 0 {
		return 0
	}
	p := math.Pow(10, math.Floor(math.Log10(math.Abs(x)))-1)
	return math.Round(x/p) * p
}

func commas(x float64) string { return Thousands(int64(x)) }

// Thousands writes a whole number with its thousands parted by commas.
func Thousands(n int64) string {
	s := strconv.FormatInt(n, 10)
	least := 0
	if n < 0 {
		least = 1
	}
	for i := len(s) - 3; i > least; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}

// Plural writes a count with its word: 1 row, 1,200 rows.
func Plural(n int64, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return Thousands(n) + " " + many
}

func amount(x float64, unit string) string {
	d := Digits(x)
	if d == Unknown || unit == "" {
		return d
	}
	return d + " " + unit
}

// Rows writes a set of rows as a subject: Row 7, Rows 3 and 4, Rows 1 to 8.
func Rows(r evenstand.Rows) string {
	if len(r) == 0 {
		return "The planter"
	}
	if len(r) == 1 {
		return "Row " + strconv.Itoa(r[0])
	}
	var parts []string
	for i := 0; i < len(r); {
		j := i
		for j+1 < len(r) && r[j+1] == r[j]+1 {
			j++
		}
		switch {
		case j-i >= 2:
			parts = append(parts, strconv.Itoa(r[i])+" to "+strconv.Itoa(r[j]))
		default:
			for k := i; k <= j; k++ {
				parts = append(parts, strconv.Itoa(r[k]))
			}
		}
		i = j + 1
	}
	return "Rows " + and(parts, "and")
}

// and joins parts: a, b and c.
func and(parts []string, word string) string {
	if len(parts) < 2 {
		return strings.Join(parts, "")
	}
	return strings.Join(parts[:len(parts)-1], ", ") + " " + word + " " + parts[len(parts)-1]
}

// Ordinal writes 40th, 41st, 42nd, 43rd.
func Ordinal(n int) string {
	s := "th"
	if n%100 < 11 || n%100 > 13 {
		switch n % 10 {
		case 1:
			s = "st"
		case 2:
			s = "nd"
		case 3:
			s = "rd"
		}
	}
	return strconv.Itoa(n) + s
}

// Capital begins a sentence in capitals; a sign such as € stays as it is.
func Capital(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	if n == 0 || r == utf8.RuneError {
		return s
	}
	return string(unicode.ToUpper(r)) + s[n:]
}

// lower begins a sentence in small letters; none of the steps begins with a
// name.
// Lower gives a sentence as it stands within another.
func Lower(s string) string { return lower(s) }

func lower(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	if n == 0 || r == utf8.RuneError {
		return s
	}
	return string(unicode.ToLower(r)) + s[n:]
}

// pick writes "{10 ft|3 m}" as its first part in US units, its second in metric.
func (v Voice) pick(text string) string {
	for {
		a, rest, ok := strings.Cut(text, "{")
		both, b, closed := strings.Cut(rest, "}")
		us, si, two := strings.Cut(both, "|")
		if !ok || !closed || !two {
			return text
		}
		if v.metric() {
			us = si
		}
		text = a + us + b
	}
}

// numeral writes a small number as a word.
func numeral(n int) string {
	if words := []string{"two", "three", "four", "five", "six", "seven", "eight", "nine"}; n >= 2 && n-2 < len(words) {
		return words[n-2]
	}
	return strconv.Itoa(n)
}

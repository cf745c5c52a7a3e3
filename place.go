package evenstand

import "math"

// Pass is one trip of the bar through the ground: from lowering to lifting.
type Pass struct {
	Index    int32  `json:"-"`      // within the machine-day, from 0
	Key      string `json:"key"`    // planter and UTC start of the row line, to the second
	Number   int    `json:"number"` // as shown, per field, from 1; may change
	Planter  string `json:"planter"`
	Field    string `json:"field"`
	Start    Micros `json:"start"`
	End      Micros `json:"end"`
	S0, S1   float64
	Heading  float64 `json:"heading"` // degrees clockwise from north, NaN when it turns too much to say
	Headland bool    `json:"headland"`
	PosError float64 `json:"position_error_m"` // half-width of the 90 % interval of a row's place, NaN unknown
}

// Class is the spacing class of ISO 7256-1 of the gap behind a seed.
type Class uint8

// The classes. NoClass is a seed without a gap, or without a target spacing.
const (
	NoClass  Class = iota
	Multiple       // gap of half the target spacing or less
	Single         // over 0.5 to 1.5 times
	Skip           // over 1.5 times
)

// PlacedSeed is one seed on the ground.
type PlacedSeed struct {
	T       Micros // when the sensor saw it, on the one clock
	Row     int16
	S       int32 // mm along the path of the bar's centre, from the pass's start
	Gap     int32 // mm to the seed before, along the row's own path; -1 none
	Class   Class
	Missing uint8 // places before it that should have held a seed and did not
	Double  bool  // it shared its place on the disc with the seed before
	Cell    int16 // place on the disc, 0 to cells-1; -1 rhythm not read
	Off     int16 // thousandths of a place that it lay off its place; NoOff unknown
}

// NoOff marks an offset that is not known.
const NoOff int16 = math.MinInt16

// StretchLength is the base length of all measures in metres ("about 50 ft").
const StretchLength = 15.0

// Moments are count, sum and sum of squared deviations, so that groups merge.
type Moments struct {
	N, Sum, M2 float64
}

// Add takes in one value (Youngs and Cramer 1971, Technometrics 13:657-665: one
// division).
func (m *Moments) Add(x float64) {
	if m.N > 0 {
		d := m.N*x - m.Sum
		m.M2 += d * d / (m.N * (m.N + 1))
	}
	m.N++
	m.Sum += x
}

// Merge joins two groups (Chan, Golub and LeVeque 1983, Am. Stat. 37:242-247).
func (m *Moments) Merge(o Moments) {
	if o.N == 0 {
		return
	}
	if m.N == 0 {
		*m = o
		return
	}
	d := o.Sum/o.N - m.Sum/m.N
	m.M2 += o.M2 + d*d*m.N*o.N/(m.N+o.N)
	m.N += o.N
	m.Sum += o.Sum
}

// Mean gives the mean, NaN when empty.
func (m Moments) Mean() float64 {
	if m.N == 0 {
		return math.NaN()
	}
	return m.Sum / m.N
}

// SD gives the sample standard deviation; one value has none, which is NaN
// and never 0.
func (m Moments) SD() float64 {
	if m.N <= 1 {
		return math.NaN()
	}
	return math.Sqrt(math.Max(0, m.M2) / (m.N - 1))
}

// Stretch is one row over 15 m of a pass: the base cell of all measures.
type Stretch struct {
	Pass   int32 // index of the pass within the machine-day
	Row    int16
	K      int32   // covers [15K, 15(K+1)) m of the pass, the last one shorter
	Length float32 // m along the path of the bar's centre
	Way    float32 // m along the row's own path
	T      Micros  // middle of the time spent on it
	Grade  Grade   // of the seed measures

	Due     float32 // places where a seed was due (by the rhythm, or by the target)
	Seeds   float32
	Skips   float32    // places due without a seed
	Doubles float32    // seeds that shared a place
	Classes [5]float32 // gaps by class of ISO 7256-1: multiple, single, 1, 2, 3 and more missing
	Singles Moments    // gaps of the single class, m
	Target  float32    // target spacing, m; NaN unknown
	Metered bool       // Due, Skips and Doubles rest on the disc's rhythm

	Load, Force, Moisture, Temperature, Trash Moments // N, N, fraction, degC, fraction
	LoadP5                                    float32
	OffShare                                  Moments // share of the way off the ground
	Speed                                     Moments // m/s of the row
	Vacuum                                    Moments // Pa of the row's side
	Liquid, Granular                          float32 // m3 and kg applied; NaN not measured
	Off                                       float32 // m of way on which the row was switched off
	PosError                                  float32 // m, half-width of the 90 % interval
}

// TrackPoint is the bar's centre at one moment, as kept in the book.
type TrackPoint struct {
	T        Micros
	Pass     int32   // index within the machine-day, -1 between passes
	Lat, Lon float64 // of the bar's centre, degrees
	S        float64 // m along the path of the bar's centre since the day's first fix
	Heading  float64 // of the bar, degrees clockwise from north
	Speed    float64 // m/s of the bar's centre
	SD       float64 // m, one standard deviation of the place across and along
}

// Field is a field's boundary: polygons of rings of longitude and latitude in
// degrees, the outer ring first, as in GeoJSON's MultiPolygon.
type Field struct {
	Name     string
	Polygons [][][][2]float64
}

// Unassigned is the field of a pass that lies in no boundary.
const Unassigned = "unassigned"

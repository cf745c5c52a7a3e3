package evenstand

import "fmt"

// Dimension says what a unit measures, so that pounds of force are never
// taken for pounds of mass.
type Dimension uint8

// The dimensions in use.
const (
	Plain       Dimension = iota // a fraction, a count or a state
	Length                       // m
	Speed                        // m/s
	Force                        // N
	Pressure                     // Pa
	PerArea                      // 1/m2
	VolumeRate                   // m3/m2
	MassRate                     // kg/m2
	Flow                         // m3/s
	Volume                       // m3
	Mass                         // kg
	Frequency                    // 1/s
	Duration                     // s
	Angle                        // deg
	Voltages                     // V
	Temperature                  // degC
)

// Unit is a unit of a plain file or a screen. SI = value*Scale + Offset.
type Unit struct {
	Name          string
	Dim           Dimension
	Scale, Offset float64
}

// Sizes of the customary units, exact by definition: the inch is 0.0254 m and
// the pound 0.45359237 kg (international yard and pound agreement, 1959); the
// US liquid gallon is 231 cubic inches (NIST Handbook 44, appendix C);
// standard gravity is 9.80665 m/s2 (3rd CGPM, 1901). The inch of water is the
// conventional one at 4 degC, 249.08891 Pa (NIST SP 811, appendix B).
const (
	Inch       = 0.0254
	Foot       = 0.3048
	Mile       = 1609.344
	Pound      = 0.45359237
	Gravity    = 9.80665
	PoundForce = Pound * Gravity
	Gallon     = 231 * Inch * Inch * Inch
	Acre       = 43560 * Foot * Foot
	Hectare    = 10000.0
	InchWater  = 249.08891
	PSI        = PoundForce / (Inch * Inch)
)

var units = []Unit{
	{"", Plain, 1, 0},
	{"%", Plain, 0.01, 0},
	{"m", Length, 1, 0},
	{"cm", Length, 0.01, 0},
	{"mm", Length, 0.001, 0},
	{"in", Length, Inch, 0},
	{"ft", Length, Foot, 0},
	{"m/s", Speed, 1, 0},
	{"km/h", Speed, 1 / 3.6, 0},
	{"mph", Speed, Mile / 3600, 0},
	{"N", Force, 1, 0},
	{"kN", Force, 1000, 0},
	{"lbf", Force, PoundForce, 0},
	{"kgf", Force, Gravity, 0},
	{"Pa", Pressure, 1, 0},
	{"kPa", Pressure, 1000, 0},
	{"mbar", Pressure, 100, 0},
	{"bar", Pressure, 1e5, 0},
	{"psi", Pressure, PSI, 0},
	{"inH2O", Pressure, InchWater, 0},
	{"1/m2", PerArea, 1, 0},
	{"1/ha", PerArea, 1 / Hectare, 0},
	{"1/ac", PerArea, 1 / Acre, 0},
	{"m3/m2", VolumeRate, 1, 0},
	{"L/ha", VolumeRate, 1e-3 / Hectare, 0},
	{"gal/ac", VolumeRate, Gallon / Acre, 0},
	{"kg/m2", MassRate, 1, 0},
	{"kg/ha", MassRate, 1 / Hectare, 0},
	{"lb/ac", MassRate, Pound / Acre, 0},
	{"m3/s", Flow, 1, 0},
	{"L/s", Flow, 1e-3, 0},
	{"L/min", Flow, 1e-3 / 60, 0},
	{"gal/min", Flow, Gallon / 60, 0},
	{"m3", Volume, 1, 0},
	{"L", Volume, 1e-3, 0},
	{"gal", Volume, Gallon, 0},
	{"kg", Mass, 1, 0},
	{"lb", Mass, Pound, 0},
	{"1/s", Frequency, 1, 0},
	{"1/min", Frequency, 1.0 / 60, 0},
	{"s", Duration, 1, 0},
	{"deg", Angle, 1, 0},
	{"V", Voltages, 1, 0},
	{"degC", Temperature, 1, 0},
	{"degF", Temperature, 5.0 / 9, -160.0 / 9},
}

var unitByName = func() map[string]Unit {
	m := make(map[string]Unit, len(units))
	for _, u := range units {
		m[u.Name] = u
	}
	return m
}()

// ParseUnit finds a unit by its spelling in plain files.
func ParseUnit(name string) (Unit, error) {
	u, ok := unitByName[name]
	if !ok {
		return Unit{}, fmt.Errorf("unit %q is not known", name)
	}
	return u, nil
}

// ToSI turns a value in the unit into SI.
func (u Unit) ToSI(v float64) float64 { return v*u.Scale + u.Offset }

// FromSI turns an SI value into the unit.
func (u Unit) FromSI(v float64) float64 { return (v - u.Offset) / u.Scale }

// Accepts tells whether readings of the quantity may come in the unit.
func (q Quantity) Accepts(u Unit) bool {
	si, err := ParseUnit(q.Info().SI)
	return err == nil && si.Dim == u.Dim
}

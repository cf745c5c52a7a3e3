package evenstand

import "math"

// Quantity is an index into the registry of what can be measured. The zero
// value is Raw: a number whose meaning no open dictionary tells.
type Quantity uint16

// The quantities of the registry, in the names of the plain layout.
const (
	Raw Quantity = iota // kept as it came; Reading.Code says which number it was
	GaugeWheelLoad
	AppliedForce
	WheelOffShare
	SeedZoneMoisture
	SeedZoneTemperature
	SlotTrash
	SoilDarkness
	GroundSpeed
	Vacuum
	FanSpeed
	LiquidRate
	LiquidFlow
	GranularRate
	TankContent
	CleanerPressure
	CloserPressure
	ImplementLifted
	RowEnabled
	RowWorking
	SeedRate
	SeedRateTarget
	LiquidRateTarget
	GranularRateTarget
	GaugeWheelLoadTarget
	SeedCount
	SkipFraction
	DoubleFraction
	SpacingCV
	HydraulicPressure
	Voltage
	Heading
	HitchAngle
	numQuantities
)

// Aggregate says how readings of a quantity combine over a stretch.
type Aggregate uint8

// The ways to combine.
const (
	Mean  Aggregate = iota // average over the time or ground covered
	Total                  // amounts add up
	State                  // holds until the next reading says otherwise
	Last                   // the latest value stands
)

// QuantityInfo is one line of the registry.
type QuantityInfo struct {
	Name      string // as the plain layout writes it
	Label     string // plain words on screen
	SI        string // unit inside
	Aggregate Aggregate
	US        string  // unit shown in US customary
	Metric    string  // unit shown in metric
	Min, Max  float64 // plausible range in SI; outside it a reading is not used
}

var registry = [numQuantities]QuantityInfo{
	Raw:                  {"raw", "unknown number", "", Last, "", "", math.Inf(-1), math.Inf(1)},
	GaugeWheelLoad:       {"gauge_wheel_load", "gauge-wheel load", "N", Mean, "lbf", "kgf", -2000, 10000},
	AppliedForce:         {"applied_force", "down force", "N", Mean, "lbf", "kgf", -5000, 10000},
	WheelOffShare:        {"wheel_off_share", "share of the way off the ground", "", Mean, "%", "%", 0, 1},
	SeedZoneMoisture:     {"seed_zone_moisture", "seed-zone moisture", "", Mean, "%", "%", 0, 1},
	SeedZoneTemperature:  {"seed_zone_temperature", "seed-zone temperature", "degC", Mean, "degF", "degC", -20, 60},
	SlotTrash:            {"slot_trash", "trash in the slot", "", Mean, "%", "%", 0, 1},
	SoilDarkness:         {"soil_darkness", "soil darkness", "", Mean, "%", "%", 0, 1},
	GroundSpeed:          {"ground_speed", "ground speed", "m/s", Mean, "mph", "km/h", -20, 20},
	Vacuum:               {"vacuum", "vacuum", "Pa", Mean, "inH2O", "mbar", 0, 30000},
	FanSpeed:             {"fan_speed", "fan speed", "1/s", Mean, "1/min", "1/min", 0, 200},
	LiquidRate:           {"liquid_rate", "liquid rate", "m3/m2", Mean, "gal/ac", "L/ha", 0, 0.01},
	LiquidFlow:           {"liquid_flow", "liquid flow", "m3/s", Mean, "gal/min", "L/min", 0, 0.1},
	GranularRate:         {"granular_rate", "granular rate", "kg/m2", Mean, "lb/ac", "kg/ha", 0, 1},
	TankContent:          {"tank_content", "tank content", "m3", Last, "gal", "L", 0, 100},
	CleanerPressure:      {"cleaner_pressure", "row-cleaner pressure", "Pa", Mean, "psi", "bar", -1e6, 2e6},
	CloserPressure:       {"closer_pressure", "closing-wheel pressure", "Pa", Mean, "psi", "bar", -1e6, 2e6},
	ImplementLifted:      {"implement_lifted", "planter lifted", "", State, "", "", 0, 1},
	RowEnabled:           {"row_enabled", "row switched on", "", State, "", "", 0, 1},
	RowWorking:           {"row_working", "row at work", "", State, "", "", 0, 1},
	SeedRate:             {"seed_rate", "seed rate", "1/m2", Mean, "1/ac", "1/ha", 0, 2000},
	SeedRateTarget:       {"seed_rate_target", "target seed rate", "1/m2", State, "1/ac", "1/ha", 0, 2000},
	LiquidRateTarget:     {"liquid_rate_target", "target liquid rate", "m3/m2", State, "gal/ac", "L/ha", 0, 0.01},
	GranularRateTarget:   {"granular_rate_target", "target granular rate", "kg/m2", State, "lb/ac", "kg/ha", 0, 1},
	GaugeWheelLoadTarget: {"gauge_wheel_load_target", "target gauge-wheel load", "N", State, "lbf", "kgf", -2000, 10000},
	SeedCount:            {"seed_count", "seeds counted", "", Total, "", "", 0, 1e6},
	SkipFraction:         {"skip_fraction", "skips", "", Mean, "%", "%", 0, 1},
	DoubleFraction:       {"double_fraction", "doubles", "", Mean, "%", "%", 0, 1},
	SpacingCV:            {"spacing_cv", "spacing variation", "", Mean, "%", "%", 0, 5},
	HydraulicPressure:    {"hydraulic_pressure", "hydraulic pressure", "Pa", Mean, "psi", "bar", 0, 5e7},
	Voltage:              {"voltage", "voltage", "V", Mean, "V", "V", 0, 1000},
	Heading:              {"heading", "heading", "deg", Mean, "deg", "deg", -360, 720},
	HitchAngle:           {"hitch_angle", "hitch angle", "deg", Mean, "deg", "deg", -180, 180},
}

// Info gives the registry's line of a quantity.
func (q Quantity) Info() QuantityInfo {
	if q >= numQuantities {
		return registry[Raw]
	}
	return registry[q]
}

// String gives the registry's name.
func (q Quantity) String() string { return q.Info().Name }

// Plausible tells whether a value in SI lies in the quantity's range; NaN and
// infinities do not.
func (q Quantity) Plausible(v float64) bool {
	in := q.Info()
	return v >= in.Min && v <= in.Max && !math.IsInf(v, 0)
}

// Quantities lists the whole registry in its order, Raw first.
func Quantities() []Quantity {
	qs := make([]Quantity, numQuantities)
	for i := range qs {
		qs[i] = Quantity(i)
	}
	return qs
}

// ParseQuantity finds a quantity by its registry name.
func ParseQuantity(name string) (Quantity, bool) {
	q, ok := quantityByName[name]
	return q, ok
}

var quantityByName = func() map[string]Quantity {
	m := make(map[string]Quantity, numQuantities)
	for q := Raw + 1; q < numQuantities; q++ {
		m[registry[q].Name] = q
	}
	return m
}()

package align

import "evenstand"

// Interval is a span of time [From, To).
type Interval struct{ From, To evenstand.Micros }

// PassOptions say what Passes needs beside the path.
type PassOptions struct {
	Planter    string
	Fields     []evenstand.Field
	Width      float64 // m, of the planter; NaN unknown
	ClockError float64 // s, half-width of the 90 % interval between seed and receiver clocks; NaN unknown
	FallSD     float64 // s, SD of the time of fall
}

package try

import "math"

// Design is what an effect was told by, the better first (methods document,
// section h).
type Design uint8

// The designs.
const (
	HalfRows   Design = iota + 1 // changed rows against unchanged ones, the row as unit
	Switchback                   // all rows, back and forth by pass
	AllRows                      // all rows, one change: before against after
)

// Effect is what one change did to one measure on the rows that it was made on.
type Effect struct {
	Change  Change
	Measure string // of core/measure/group
	Design  Design
	Before  float64 // of the changed rows before it, in the measure's unit
	Value   float64 // after less before, beyond what the others did; the measure's unit
	SE      float64 // of Value
	DF      float64 // degrees of freedom of SE, +Inf: known
	Low     float64 // 90 % interval of Value
	High    float64
	Changed int // rows that were changed
	Control int // rows that were not
	Steps   int // stretches along the pass on the shorter side
}

// Known tells whether the data allowed an estimate.
func (e *Effect) Known() bool { return e.SE > 0 && !math.IsNaN(e.Value) }

// Curve is what a lever does to a measure over its range, with what is not known
// of it: m(s) − m(s0) = θ1 u + θ2 u², u = (s − Ref)/Scale. Effects of changes
// tell differences only, hence there is no level; Level is that of the measure
// at Ref over what was planted there, for drawing.
type Curve struct {
	Lever, Measure string
	Ref, Scale     float64 // of the lever, in its unit
	Level          float64 // of the measure at Ref, NaN unknown
	Theta          [2]float64
	Cov            [2][2]float64
	DF             float64 // of Cov, +Inf: known
	Tau            float64 // SD between changes beyond their own errors
	Changes        int     // that it rests on
	Low, High      float64 // of the lever: as far as it was tried
	// Linear: only θ1 was asked for, the changes do not tell a bend.
	Linear bool
}

// basis gives u and u² between two settings.
func (c *Curve) basis(from, to float64) [2]float64 {
	a, b := (from-c.Ref)/c.Scale, (to-c.Ref)/c.Scale
	return [2]float64{b - a, b*b - a*a}
}

// Diff gives what going from one setting to another does to the measure, and the
// SE of that.
func (c *Curve) Diff(from, to float64) (mean, se float64) {
	x := c.basis(from, to)
	v := 0.0
	for i := range x {
		mean += x[i] * c.Theta[i]
		for j := range x {
			v += x[i] * x[j] * c.Cov[i][j]
		}
	}
	return mean, math.Sqrt(math.Max(0, v))
}

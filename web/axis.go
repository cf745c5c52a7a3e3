package web

import (
	"math"
	"strconv"

	"evenstand"
	"evenstand/core/advise"
)

// Axis says how values in SI are shown: shown = (SI − offset) / scale.
type Axis struct {
	SI     string  `json:"si"`
	Unit   string  `json:"unit" doc:"As shown"`
	Scale  float64 `json:"scale"`
	Offset float64 `json:"offset"`
}

func axis(v advise.Voice, unit string) Axis {
	s := v.Scale(unit)
	return Axis{unit, s.Unit, s.Scale, s.Offset}
}

// cell writes a figure in SI for a table in the units shown, empty where it is
// unknown.
func (a Axis) cell(x evenstand.Number) string {
	if math.IsNaN(float64(x)) {
		return ""
	}
	return strconv.FormatFloat((float64(x)-a.Offset)/a.Scale, 'g', 6, 64)
}

func itoa(n int) string { return strconv.Itoa(n) }

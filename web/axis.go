package web

import (
	"strconv"

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

func itoa(n int) string { return strconv.Itoa(n) }

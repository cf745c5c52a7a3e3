package advise

import (
	"math"

	"evenstand"
)

// speedSpacing says what each mph (or 2 km/h) costs in evenness and saves in
// time, over the speeds that were seen.
func (v Voice) speedSpacing(f *evenstand.Finding) string {
	s := "Spacing worsens with speed" + v.since(f)
	slope, ok := Figure(f, "spacing CV for each 0.45 m/s")
	if !ok {
		return s
	}
	unit, per := 0.44704, "mph" // m/s
	if v.Units == evenstand.Metric {
		unit, per = 2/3.6, "2 km/h"
	}
	s += ": each " + per + " more costs " + Digits(100*slope/0.45*unit) + " points of its CV"
	if x, ok := Figure(f, "time that 0.45 m/s less takes more"); ok && x > 0 && !math.IsInf(x, 0) {
		mean := 0.45 * (1 + 1/x)
		s += " and saves " + v.Percent(unit/(mean+unit)) + " of the time"
	}
	lo, ok1 := Figure(f, "slowest speed seen")
	hi, ok2 := Figure(f, "fastest speed seen")
	if ok1 && ok2 {
		s += ", seen from " + v.Value(lo, "m/s") + " to " + v.Value(hi, "m/s")
	}
	return s
}

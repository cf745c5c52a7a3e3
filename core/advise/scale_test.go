package advise_test

import (
	"math"
	"testing"

	"evenstand"
	"evenstand/core/advise"
)

// Factors of NIST SP 811 (2008), appendix B.8: 1 mph = 0.44704 m/s, 1 lbf =
// 4.448222 N, 1 gal = 3.785412 L, 1 ac = 4046.873 m2 (survey) or 4046.856
// (international), 1 inH2O (conventional) = 249.0889 Pa; °F = 1.8 °C + 32.
func TestScale(t *testing.T) {
	us := advise.Voice{Units: evenstand.US}
	for _, tt := range []struct {
		unit  string
		si    float64
		shown float64
	}{
		{"m/s", 0.44704, 1},
		{"N", 4.448222, 1},
		{"degC", 20, 68},
		{"degC", -40, -40},
		{"fraction", 0.05, 5},
		{"1/m2", 8, 8 * 4046.856},
		{"m3/m2", 3.785412e-3 / 4046.856, 1},
		{"Pa", 249.0889, 1},
		{"m", 0.3048, 1},
	} {
		s := us.Scale(tt.unit)
		if got := (tt.si - s.Offset) / s.Scale; math.Abs(got-tt.shown) > 1e-4*math.Abs(tt.shown) {
			t.Errorf("%g %s is shown as %g %s, want %g", tt.si, tt.unit, got, s.Unit, tt.shown)
		}
	}
}

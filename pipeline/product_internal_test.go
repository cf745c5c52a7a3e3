package pipeline

import (
	"math"
	"testing"

	"evenstand"
)

// By hand: a stretch of 15 m at 0.762 m rows is 11.43 m2, 3 m of which the row
// was off.
func TestProductOfAStretch(t *testing.T) {
	read := func(xs ...float64) (s sum) {
		for _, x := range xs {
			s.add(x)
		}
		return s
	}
	const rate = 47e-7 // 47 L/ha
	for name, tt := range map[string]struct {
		of   []applied
		want []float64
	}{
		"flow by time":              {[]applied{{flow: read(1e-5, 3e-5)}}, []float64{2e-5 * 7.5}},
		"a rate of its own":         {[]applied{{own: read(rate), shared: read(2 * rate)}}, []float64{rate * 12 * 0.762}},
		"flow goes before rates":    {[]applied{{flow: read(1e-5), own: read(rate)}}, []float64{7.5e-5}},
		"the machine's rate":        {[]applied{{shared: read(rate)}}, []float64{rate * 12 * 0.762}},
		"held over two, no further": {[]applied{{shared: read(rate)}, {}, {}, {}}, []float64{rate * 12 * 0.762, rate * 12 * 0.762, rate * 12 * 0.762, math.NaN()}},
		"none yet":                  {[]applied{{}, {shared: read(rate)}}, []float64{math.NaN(), rate * 12 * 0.762}},
		"none at all":               {nil, []float64{math.NaN()}},
		"a flow of nothing":         {[]applied{{flow: read(0)}}, []float64{0}},
	} {
		h := holding{of: tt.of, age: heldFor}
		for k, want := range tt.want {
			got := float64(h.amount(k, &evenstand.Stretch{Way: 15, Off: 3}, 0.762, 7.5))
			if !(math.Abs(got-want) <= 1e-6*want) && !(math.IsNaN(got) && math.IsNaN(want)) {
				t.Errorf("%s, stretch %d: %g, want %g", name, k, got, want)
			}
		}
	}
}

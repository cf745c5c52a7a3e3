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
	machine, tank1, tank2 := evenstand.Element{}, evenstand.Element{Scope: evenstand.ScopeTank, N: 1}, evenstand.Element{Scope: evenstand.ScopeTank, N: 2}
	rates := func(of evenstand.Element, xs ...float64) wider { return wider{of: of, rate: read(xs...)} }
	for name, tt := range map[string]struct {
		of   []applied
		want []float64
	}{
		"flow by time":              {[]applied{{flow: read(1e-5, 3e-5)}}, []float64{2e-5 * 7.5}},
		"a rate of its own":         {[]applied{{own: read(rate), wider: []wider{rates(machine, 2*rate)}}}, []float64{rate * 12 * 0.762}},
		"flow goes before rates":    {[]applied{{flow: read(1e-5), own: read(rate)}}, []float64{7.5e-5}},
		"the machine's rate":        {[]applied{{wider: []wider{rates(machine, rate)}}}, []float64{rate * 12 * 0.762}},
		"held over two, no further": {[]applied{{wider: []wider{rates(machine, rate)}}, {}, {}, {}}, []float64{rate * 12 * 0.762, rate * 12 * 0.762, rate * 12 * 0.762, math.NaN()}},
		"two tanks add up":          {[]applied{{wider: []wider{rates(tank1, rate, 3*rate), rates(tank2, rate)}}}, []float64{3 * rate * 12 * 0.762}},
		"the machine holds them":    {[]applied{{wider: []wider{rates(machine, 9*rate), rates(tank1, rate)}}}, []float64{rate * 12 * 0.762}},
		"the machine's flow":        {[]applied{{wider: []wider{{of: machine, flow: read(2e-5)}}}}, []float64{2e-5 * 7.5}},
		"none yet":                  {[]applied{{}, {wider: []wider{rates(machine, rate)}}}, []float64{math.NaN(), rate * 12 * 0.762}},
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

package clock_test

import (
	"math"
	"testing"

	"evenstand"
	"evenstand/core/align/clock"
)

// A box that writes its states once a second sees an edge half a second late on
// average, one that writes them five times a second a tenth, one that writes
// changes not at all: clocks that are right look right (the mean of a uniform
// lateness is half its width).
func TestEdgesLate(t *testing.T) {
	for _, tt := range [][2]float64{{0.2, 1}, {1, 0.2}, {0, 1}, {1, 1}} {
		for n := range uint64(4) {
			g := chance(90 + n)
			pa, pb := g.Float64(), g.Float64()
			see := func(x, every, phase float64) evenstand.Micros {
				if every > 0 {
					x = math.Ceil((x-phase)/every)*every + phase
				}
				return morning + evenstand.FromSeconds(x)
			}
			var ref, box []clock.Edge
			x := 0.0
			for i := range 40 {
				x += 20 + 150*g.Float64()
				ref = append(ref, clock.Edge{T: see(x, tt[0], pa), Down: i%2 == 0})
				box = append(box, clock.Edge{T: see(x, tt[1], pb), Down: i%2 == 0})
			}
			fits := clock.Edges(ref, box, tt[0], tt[1], clock.Options{Zones: true})
			if len(fits) != 1 || math.Abs(fits[0].Offset) > 3*math.Max(fits[0].SE, 0.03) {
				t.Errorf("states every %g and %g s: a right clock is told as %+v", tt[0], tt[1], fits)
			}
		}
	}
}

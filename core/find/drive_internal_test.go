package find

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Half a turn walked gives what the whole turn gives, for even and odd discs.
func TestWaveTable(t *testing.T) {
	rnd := rand.New(rand.NewPCG(3, 9))
	for cells := 8; cells < 90; cells++ {
		turn := make([]float64, cells)
		for i := range turn {
			turn[i] = rnd.NormFloat64()
		}
		waves := min(driveMost, cells/3)
		want := make([]wave, waves)
		for h := range want {
			for c, e := range turn {
				s, co := math.Sincos(2 * math.Pi * float64((h+1)*c) / float64(cells))
				want[h].re += e * co
				want[h].im -= e * s
			}
		}
		got := make([]wave, waves)
		newWaveTable(cells).sum(turn, got)
		for h := range want {
			if math.Hypot(got[h].re-want[h].re, got[h].im-want[h].im) > 1e-11 {
				t.Errorf("%d cells, %d waves: %v, want %v", cells, h+1, got[h], want[h])
			}
		}
	}
}

package find_test

import (
	"math/rand/v2"
	"testing"

	"evenstand"
	"evenstand/core/find"
)

// Runs of three misses are starving of the row that has them by itself. Runs
// that the rows beside have within a second are read into them where the place
// is not known, as live at the end of a wide bar that swings.
func TestRunsTogether(t *testing.T) {
	const rows, every, end = 16, 0.04, 5400.0
	for _, tt := range []struct {
		name string
		last int // row from 1 on up to which runs come together
		want int
	}{
		{"one row", 1, 1},
		{"four rows at once", 4, 0},
	} {
		t.Run(tt.name, func(t *testing.T) {
			e := find.New(config(rows))
			rnd := rand.New(rand.NewPCG(3, 10))
			e.Lower(at(0))
			var skip, missing [rows + 1]int
			for i := range int(end / every) {
				s := float64(i) * every
				if s > 600 && rnd.Float64() < 1.0/2000 {
					for r := 1; r <= tt.last; r++ {
						skip[r] = 3
					}
				}
				for r := 1; r <= rows; r++ {
					if skip[r] == 0 && rnd.Float64() < 0.012 {
						skip[r] = 1
					}
					if skip[r] > 0 {
						skip[r]--
						missing[r]++
						continue
					}
					p := find.Place{T: at(s), K: int64(i), Missing: missing[r], Off: float32(0.1 * rnd.NormFloat64()), Sigma: 0.13, Readable: true}
					missing[r] = 0
					e.Seed(r, p.T)
					e.Place(r, &p)
				}
				if i%25 == 0 {
					e.Tick(at(s), find.Bar{Planting: true, Speed: 4, Way: float64(i) * 0.165})
				}
			}
			n := 0
			for _, f := range raised(e.Finish(at(end))) {
				if f.Kind == evenstand.KindStarvedRow {
					n++
				}
			}
			if n != tt.want {
				t.Errorf("%d rows starved, want %d", n, tt.want)
			}
		})
	}
}

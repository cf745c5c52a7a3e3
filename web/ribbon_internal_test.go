package web

import (
	"math/rand/v2"
	"testing"

	"evenstand"
)

// The tiles of a row hold together what the whole row holds: every seed, every
// place without one, every double, and the ground without seed in full, at
// every level that has single seeds; from afar no mark is lost, since each says
// how many it stands for.
func TestTilesHoldAll(t *testing.T) {
	rnd := rand.New(rand.NewPCG(5, 8))
	var seeds []evenstand.PlacedSeed
	s, skips, doubles, bareMM := int32(400), 0, 0, int32(0)
	for i := range 4000 {
		p := evenstand.PlacedSeed{Row: 3, S: s, Gap: -1, T: evenstand.Micros(i) * 50_000}
		if i > 0 {
			p.Gap = s - seeds[i-1].S + int32(rnd.IntN(9)) - 4 // along the row's own path
			switch d := s - seeds[i-1].S; {
			case d >= bare:
				p.Gap = -1
				bareMM += d
			case d > 240:
				p.Missing = uint8(d/160 - 1)
				skips += int(p.Missing)
			case d < 20:
				p.Double = true
				doubles++
			}
		}
		seeds = append(seeds, p)
		switch r := rnd.Float64(); {
		case r < 0.002:
			s += bare + rnd.Int32N(40_000)
		case r < 0.03:
			s += 160 * (2 + rnd.Int32N(3))
		case r < 0.05:
			s += 5 + rnd.Int32N(10)
		default:
			s += 150 + rnd.Int32N(20)
		}
	}
	for level := 0; level <= maxLevel; level++ {
		size := int32(tileWidth * metresPerPixel(level) * 1000)
		all := level <= seedLevel
		count := map[uint8]int{}
		for from := int32(0); from <= s; from += size {
			var m marks
			m.row(seeds, from, from+size, all, int32(markWidth*metresPerPixel(level)*1000), 0)
			for i := range m.s {
				if at := m.s[i]; at < from || at > from+size {
					t.Fatalf("level %d: a mark at %d lies outside its tile from %d", level, at, from)
				}
				if m.kind[i] == markBare {
					count[markBare] += int(m.gap[i])
				} else {
					count[m.kind[i]] += int(m.n[i])
				}
			}
		}
		want := map[uint8]int{markSkip: skips, markDouble: doubles, markBare: int(bareMM)}
		if all {
			want[markSeed] = len(seeds)
		}
		for kind, n := range want {
			if count[kind] != n {
				t.Errorf("level %d, kind %d: %d in the tiles, %d in the row", level, kind, count[kind], n)
			}
		}
	}
}

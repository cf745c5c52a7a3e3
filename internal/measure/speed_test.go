package main

import (
	"math/rand/v2"
	"slices"
	"testing"

	"evenstand"
)

// What the merge gives is the rows' seeds in order of time, each once.
func TestTimeMerge(t *testing.T) {
	rnd := rand.New(rand.NewPCG(1, 5))
	var m timeMerge
	for _, n := range []int{0, 1, 1000} {
		m.t = m.t[:0]
		var rows []int32
		var want []evenstand.Seed
		for row := range int32(5) {
			at := int64(1_777_000_000_000_000)
			for range n {
				at += 1000 + rnd.Int64N(90_000)
				m.t, rows = append(m.t, at), append(rows, row+1)
				want = append(want, evenstand.Seed{T: evenstand.Micros(at), Row: int16(row + 1)})
			}
		}
		slices.SortStableFunc(want, func(a, b evenstand.Seed) int { return int(a.T - b.T) })
		var got []evenstand.Seed
		if !m.merge(rows, func(x []evenstand.Seed) bool { got = append(got, x...); return true }) {
			t.Error("stopped without being told")
		}
		if !slices.Equal(got, want) {
			t.Errorf("%d seeds a row: not in order", n)
		}
	}
}

package pipeline

import (
	"testing"

	"evenstand"
	"evenstand/core/align/clock"
)

// A clock that is 2 s fast is set to 22 s fast at 100 s by the receiver: its
// times leave out those from 102 to 122 s. Fits begin and end some seconds from
// the hole. Each time comes out as it was, none twice, and none goes back.
func TestTimingAt(t *testing.T) {
	s := func(x float64) evenstand.Micros { return evenstand.FromSeconds(x) }
	for _, trim := range []float64{0, 3, 9} {
		m := timing{last: evenstand.NoTime, fits: []clock.Fit{
			{From: s(2), To: s(102 - trim), At: s(50), Offset: 2},
			{From: s(122 + trim), To: s(300), At: s(200), Offset: 22},
		}}
		for k := range 2000 {
			x := float64(k) / 10
			box := x + 2
			if x >= 100 {
				box = x + 22
			}
			if got := m.at(s(box)); got != s(x) {
				t.Fatalf("fits %g s from the hole: %.1f s comes out as %.1f", trim, x, got.Seconds())
			}
		}
	}
	// Set back by 20 s, it says the times from 82 to 102 s twice.
	m := timing{last: evenstand.NoTime, fits: []clock.Fit{{To: s(102), Offset: 2}, {From: s(82), To: s(300), Offset: -18}}}
	last := evenstand.NoTime
	for k := range 300 {
		if got := m.at(s(float64(k))); got < last {
			t.Fatalf("%d s goes back to %.1f", k, got.Seconds())
		} else {
			last = got
		}
	}
}

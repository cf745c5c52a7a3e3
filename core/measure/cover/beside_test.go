package cover_test

import (
	"math"
	"testing"

	"evenstand"
	"evenstand/core/measure/cover"
)

// upDown makes passes up and down, apart metres from one another, whose rows lie
// aside metres to the right of where the bar is taken to be.
func upDown(n int, w, apart, aside float64) []cover.Swath {
	var out []cover.Swath
	for i := range n {
		s := cover.Swath{Pass: i, Left: -w / 2, Right: w / 2, Error: 0.03}
		for k := range 101 {
			p := cover.Pose{E: float64(i)*apart + aside, N: float64(k) * 4, V: 2}
			if i%2 == 1 {
				p = cover.Pose{E: float64(i)*apart - aside, N: 400 - float64(k)*4, Psi: math.Pi, V: 2}
			}
			p.T = evenstand.Micros(i*1000+2*k) * evenstand.Second
			s.At = append(s.At, p)
		}
		out = append(out, s)
	}
	return out
}

// By hand: passes 12.442 m apart of a planter 12.192 m wide lie 0.25 m too far
// apart; rows 0.12 m to the right close the pairs that face each other with
// their right hands by 0.24 m and open the others by as much.
func TestBesides(t *testing.T) {
	const w = 12.192
	for _, tt := range []struct {
		name         string
		apart, aside float64
		right, left  float64 // m, of the pairs by their hands
	}{
		{"as wide as it is", w, 0, 0, 0},
		{"too far apart", w + 0.25, 0, 0.25, 0.25},
		{"too close", w - 0.3, 0, -0.3, -0.3},
		{"to one side", w, 0.12, -0.24, 0.24},
	} {
		t.Run(tt.name, func(t *testing.T) {
			var right, left evenstand.Moments
			for _, b := range cover.Besides(upDown(8, w, tt.apart, tt.aside)) {
				if b.Other != b.Pass-1 {
					t.Fatalf("pass %d lies beside %d", b.Pass, b.Other)
				}
				switch {
				case b.Right && b.OtherRight:
					right.Add(b.Off)
				case !b.Right && !b.OtherRight:
					left.Add(b.Off)
				default:
					t.Fatalf("passes %d and %d face each other with unlike hands", b.Pass, b.Other)
				}
			}
			if right.N < 40 || left.N < 40 {
				t.Fatalf("%g and %g places", right.N, left.N)
			}
			if math.Abs(right.Mean()-tt.right) > 1e-6 || math.Abs(left.Mean()-tt.left) > 1e-6 {
				t.Errorf("right hands %.3f m, left %.3f; want %.3f and %.3f", right.Mean(), left.Mean(), tt.right, tt.left)
			}
		})
	}
}

// Across an earlier pass of 12.192 m, its middle at N 0, a pass begins 3 m
// behind its far edge and ends 2 m inside the next one: a gap and an overlap,
// and the times that they took at 2 m/s.
func TestEnds(t *testing.T) {
	const w = 12.192
	across := func(pass int, n float64) cover.Swath {
		s := cover.Swath{Pass: pass, Left: -w / 2, Right: w / 2}
		for k := range 51 {
			s.At = append(s.At, cover.Pose{E: float64(k) * 4, N: n, Psi: math.Pi / 2})
		}
		return s
	}
	up := cover.Swath{Pass: 2, Left: -w / 2, Right: w / 2}
	pose := func(n float64) cover.Pose {
		return cover.Pose{E: 100, N: n, V: 2, T: evenstand.FromSeconds(100 + n/2)}
	}
	first := w/2 + 3
	for n := 0.0; n < first; n += 0.5 {
		up.Lead = append(up.Lead, pose(n))
	}
	last := 300 - w/2 + 2
	for n := first; n < last; n++ {
		up.At = append(up.At, pose(n))
	}
	up.At = append(up.At, pose(last))
	ends := cover.Ends([]cover.Swath{across(0, 0), across(1, 300), up})
	if len(ends) != 2 {
		t.Fatalf("%d ends, want the two of pass 2: %+v", len(ends), ends)
	}
	for _, e := range ends {
		want, lag, other := 3.0, 1.5, 0
		if !e.Entry {
			want, lag, other = -2, -1, 1
		}
		if e.Pass != 2 || e.Other != other || math.Abs(e.Gap-want) > 1e-6 || math.Abs(e.Lag-lag) > 0.01 || e.Oblique > 1e-6 {
			t.Errorf("%+v, want %g m and %g s from pass %d", e, want, lag, other)
		}
	}
}

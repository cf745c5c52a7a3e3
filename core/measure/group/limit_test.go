package group_test

import (
	"math"
	"testing"

	"evenstand"
	"evenstand/core/measure/group"
)

// By hand: two rows of 40 m, loads of 100, 100, 300 and 10 N on one and 100 N
// all the way on the other, limit 50 to 200 N: 10 m over and 10 m under of 80.
func TestKeptByHand(t *testing.T) {
	k := group.NewKept(measure(t, "load"), evenstand.Limit{Of: evenstand.GaugeWheelLoad, Least: 50, Most: 200})
	for row, loads := range [][]float64{{100, 100, 100, 100}, {100, 100, 300, 10}} {
		for i, x := range loads {
			s := evenstand.Stretch{Row: int16(row + 1), K: int32(i), Way: 10}
			s.Load.Add(x)
			k.Add(&s, 0.762)
		}
	}
	silent := evenstand.Stretch{Row: 1, Way: 10} // tells no load
	k.Add(&silent, 0.762)
	row, share := k.Worst()
	if k.Way != 80 || k.Under != 10 || k.Over != 10 || k.Beyond() != 0.25 || row != 2 || share != 0.5 {
		t.Errorf("%+v, beyond %g, row %d %g", k, k.Beyond(), row, share)
	}
}

// An end that nobody gave is never passed.
func TestKeptOneEnd(t *testing.T) {
	k := group.NewKept(measure(t, "speed"), evenstand.Limit{Of: evenstand.GroundSpeed, Least: math.NaN(), Most: 3})
	for _, x := range []float64{0.1, 3, 3.5} {
		s := evenstand.Stretch{Row: 1, Way: 10}
		s.Speed.Add(x)
		k.Add(&s, 0.762)
	}
	if k.Under != 0 || k.Over != 10 {
		t.Errorf("%+v", k)
	}
}

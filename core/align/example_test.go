package align_test

import (
	"fmt"

	"evenstand"
	"evenstand/core/align"
	"evenstand/core/ground"
)

// Where the rows are, and how far each went: a planter of four rows goes north
// at 2 m/s, its receiver 2 m ahead of the hitch and the seed line 6 m behind.
func ExampleCursor() {
	frame := ground.NewFrame(42, -93)
	var fixes []evenstand.Fix
	for i := range 200 {
		lat, lon := frame.ToGlobal(0, 0.4*float64(i))
		f := evenstand.NewFix(evenstand.Micros(i)*evenstand.Second/5, lat, lon)
		f.Kind = evenstand.FixRTK
		fixes = append(fixes, f)
	}
	track := align.Smooth(fixes, frame, align.DefaultSmooth())
	path := align.BarPath(track, evenstand.Geometry{Hitch: evenstand.Trailed, AntennaToHitch: 2, HitchToRowLine: 6}, align.DefaultPath())

	const row4 = 1.5 * 0.762 // m right of the bar's centre
	at := path.Cursor()
	seed, fall := 30*evenstand.Second, 0.375 // the sensor saw it; s to the furrow
	here := at.AtSeconds(seed, fall)
	e, n := align.RowPlace(here, row4)
	next := at.AtSeconds(seed+80_000, fall)
	fmt.Printf("%.2f m east, %.2f m north, %.3f m to the next\n", e, n, align.RowWay(next, row4)-align.RowWay(here, row4))
	// Output: 1.14 m east, 52.75 m north, 0.160 m to the next
}

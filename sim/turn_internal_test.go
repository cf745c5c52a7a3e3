package sim

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// A turn must arrive where it was sent, whatever the two poses are.
func TestTurnArrives(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		num := rapid.Float64Range(-60, 60)
		ang := rapid.Float64Range(-7, 7)
		a, b := xy{num.Draw(t, "ax"), num.Draw(t, "ay")}, xy{num.Draw(t, "bx"), num.Draw(t, "by")}
		da, db := ang.Draw(t, "da"), ang.Draw(t, "db")
		at, dir := a, da
		for _, p := range turn(a, da, b, db, 9) {
			if p.curve != 0 && math.Abs(math.Abs(1/p.curve)-9) > 1e-9 {
				t.Fatalf("radius %g", 1/p.curve)
			}
			at, dir = p.at(p.length)
		}
		if at.sub(b).norm() > 1e-6 || math.Abs(math.Sin((dir-db)/2)) > 1e-6 {
			t.Fatalf("arrived at %v heading %g, want %v heading %g", at, dir, b, db)
		}
	})
}

// Two lines 12.19 m apart with a radius of 9 m want the omega turn. By hand:
// centres of the outer circles lie 18+12.19 m apart … the middle circle
// touches both at 18 m, so the bend past the quarter circle is
// acos((9+6.095)/18) = 33.0°, and the way is 9·(π + 4·0.5762) = 49.0 m.
func TestOmegaTurn(t *testing.T) {
	var way float64
	for _, p := range turn(xy{0, 0}, math.Pi/2, xy{12.19, 0}, -math.Pi/2, 9) {
		way += p.length
	}
	if want := 9 * (math.Pi + 4*math.Acos((9+6.095)/18)); math.Abs(way-want) > 0.01 {
		t.Errorf("way of %.3f m, want %.3f", way, want)
	}
}

// On an arc, along must give back distance and side.
func TestAlong(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := line{from: xy{3, -2}, dir: rapid.Float64Range(-3, 3).Draw(t, "dir"), curve: rapid.SampledFrom([]float64{0, 1.0 / 60, -1.0 / 60}).Draw(t, "curve"), length: 120}
		s, left := rapid.Float64Range(-20, 120).Draw(t, "s"), rapid.Float64Range(-20, 20).Draw(t, "left")
		p := piece{from: l.from, dir: l.dir, curve: l.curve, length: l.length}
		at, dir := p.at(s)
		at = at.add(heading(dir + math.Pi/2).mul(left))
		if gs, gl := l.along(at); math.Abs(gs-s) > 1e-6 || math.Abs(gl-left) > 1e-6 {
			t.Fatalf("along gave %g and %g, want %g and %g", gs, gl, s, left)
		}
	})
}

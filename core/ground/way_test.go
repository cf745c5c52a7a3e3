package ground_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"evenstand"
	"evenstand/core/ground"
)

// Places beside a straight way are those of the geodesic: GeographicLib's direct
// problem (Karney 2013), which this package holds against its test data.
func TestWayIsOnTheGeodesic(t *testing.T) {
	const lat, lon, heading = 41.6, -93.5, 37.0
	var track []evenstand.TrackPoint
	for s := 0.0; s <= 800; s += 2.5 {
		la, lo, az := ground.Direct(lat, lon, heading, s)
		track = append(track, evenstand.TrackPoint{S: 1000 + s, Lat: la, Lon: lo, Heading: az})
	}
	w := ground.NewWay(track)
	rng := rand.New(rand.NewPCG(1, 1))
	for range 500 {
		s, y := rng.Float64()*800, rng.Float64()*24-12
		gotLat, gotLon, az, ok := w.At(1000+s, y)
		if !ok {
			t.Fatal("no place on the way")
		}
		la, lo, a := ground.Direct(lat, lon, heading, s)
		la, lo, _ = ground.Direct(la, lo, a+90, y)
		if d, _, _ := ground.Inverse(la, lo, gotLat, gotLon); d > 0.003 || math.Abs(az-a) > 0.01 {
			t.Fatalf("at %.1f m, %.1f m right: %.4f m off, heading %.3f, want %.3f", s, y, d, az, a)
		}
	}
	for _, s := range []float64{999.9, 1800.1, math.NaN()} {
		if _, _, _, ok := w.At(s, 0); ok {
			t.Errorf("a place at %g m", s)
		}
	}
	if _, _, _, ok := w.At(1100, math.NaN()); ok {
		t.Error("a place at no offset")
	}
	if _, _, _, ok := ground.NewWay(nil).At(0, 0); ok {
		t.Error("a place on no way")
	}
	if la, lo, _, ok := ground.NewWay(track[:1]).At(1000, 0); !ok || math.Abs(la-lat) > 1e-9 || math.Abs(lo-lon) > 1e-9 {
		t.Error("a way of one point has that")
	}
}

func BenchmarkWay(b *testing.B) {
	var track []evenstand.TrackPoint
	for s := 0.0; s <= 800; s += 2.5 {
		la, lo, az := ground.Direct(41.6, -93.5, 37, s)
		track = append(track, evenstand.TrackPoint{S: s, Lat: la, Lon: lo, Heading: az})
	}
	w := ground.NewWay(track)
	for i := range b.N {
		w.At(float64(i%8000)/10, 3)
	}
}

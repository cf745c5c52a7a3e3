package ground_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"evenstand"
	"evenstand/core/ground"
)

// GeographicLib 2.1.2, GeodSolve -i -p 9 and GeodSolve -p 9.
func TestGeodesic(t *testing.T) {
	for _, c := range [][7]float64{
		{42.0308, -93.6319, 42.0312, -93.6301, 73.4018168759269, 73.40302203458617, 155.539579631},
		{40.1, -88.25, 40.1, -88.24, 89.9967793818464, 90.0032206181536, 852.69159256},
		{46.8772, -96.7898, 33.5779, -101.8552, -162.03452093216913, -165.3293387357608, 1537520.611142042},
	} {
		s, a1, a2 := ground.Inverse(c[0], c[1], c[2], c[3])
		if math.Abs(s-c[6]) > 1e-6 || math.Abs(a1-c[4]) > 1e-7 || math.Abs(a2-c[5]) > 1e-7 {
			t.Errorf("Inverse(%v) = %.9f %.12f %.12f", c[:4], s, a1, a2)
		}
	}
	for _, c := range [][7]float64{
		{42.0308, -93.6319, 0, 9.144, 42.03088232358314, -93.6319, 0},
		{42.0308, -93.6319, 90, 804.672, 42.0307995887023, -93.62218300621038, 90.00650581879232},
		{40.1, -88.25, 225, 1609.344, 40.08975054282683, -88.26334371488146, -135.00859408914778},
	} {
		lat, lon, a2 := ground.Direct(c[0], c[1], c[2], c[3])
		if math.Abs(lat-c[4]) > 1e-12 || math.Abs(lon-c[5]) > 1e-12 || math.Abs(a2-c[6]) > 1e-10 {
			t.Errorf("Direct(%v) = %.14f %.14f %.11f", c[:4], lat, lon, a2)
		}
	}
	if s, _, _ := ground.Inverse(42, -93, 42, -93); s != 0 {
		t.Errorf("no way is %g m", s)
	}
}

// PROJ 9.1.1, cs2cs -f %.6f EPSG:4326 EPSG:326zz or 327zz.
func TestUTM(t *testing.T) {
	for _, c := range []struct {
		lat, lon float64
		zone     string
		e, n     float64
	}{
		{42.0308, -93.6319, "15N", 447692.677004, 4653389.047332},
		{40.1, -88.25, "16N", 393454.727876, 4439605.020527},
		{46.8772, -96.7898, "14N", 668413.647569, 5193889.413729},
		{33.5779, -101.8552, "14N", 234988.558512, 3719009.778508},
		{-31.5, -61.0, "20S", 689946.287319, 6513250.736624},
	} {
		z := ground.ZoneOf(c.lat, c.lon)
		if z.String() != c.zone {
			t.Errorf("zone %v, want %s", z, c.zone)
		}
		e, n := z.ToUTM(c.lat, c.lon)
		if math.Abs(e-c.e) > 2e-6 || math.Abs(n-c.n) > 2e-6 {
			t.Errorf("%v: %.6f %.6f, want %.6f %.6f", z, e, n, c.e, c.n)
		}
		lat, lon := z.FromUTM(e, n)
		if math.Abs(lat-c.lat) > 1e-11 || math.Abs(lon-c.lon) > 1e-11 {
			t.Errorf("back: %.13f %.13f", lat, lon)
		}
	}
}

// GeographicLib 2.1.2, Planimeter -p 9: six corners, 1605.617803717 m around,
// 126472.15 m2.
func TestFieldArea(t *testing.T) {
	ring := [][2]float64{{-93.634, 42.03}, {-93.629, 42.03}, {-93.629, 42.0335}, {-93.6315, 42.0335}, {-93.6315, 42.032}, {-93.634, 42.032}}
	field := evenstand.Field{Name: "L", Polygons: [][][][2]float64{{ring}}}
	if got := ground.FieldArea(field); math.Abs(got-126472.15) > 0.02 {
		t.Errorf("area %.4f m2, want 126472.15", got)
	}
	around := 0.0
	for i, p := range ring {
		q := ring[(i+1)%len(ring)]
		s, _, _ := ground.Inverse(p[1], p[0], q[1], q[0])
		around += s
	}
	if math.Abs(around-1605.617803717) > 1e-6 {
		t.Errorf("around %.9f m", around)
	}
}

// shapely 1.8.5 (GEOS): the areas and the centroid of two polygons.
func TestPolygon(t *testing.T) {
	a := ground.Polygon{{{0, 0}, {10, 0}, {12, 7}, {4, 9}}, {{4, 3}, {6, 3}, {6, 5}, {4, 5}}}
	b := ground.Polygon{{{5, -2}, {15, 1}, {11, 6}, {5, 8}}}
	if a.Area() != 71 || b.Area() != 61 {
		t.Errorf("areas %g and %g, want 71 and 61", a.Area(), b.Area())
	}
	// The same with the rings turned about.
	rev := ground.Polygon{{{4, 9}, {12, 7}, {10, 0}, {0, 0}, {0, 0}}, a[1]}
	for _, p := range []ground.Polygon{a, rev} {
		c := p.Centroid()
		if math.Abs(c[0]-6.338028169014085) > 1e-12 || math.Abs(c[1]-3.9295774647887325) > 1e-12 {
			t.Errorf("centroid %v", c)
		}
	}
	for _, c := range []struct {
		p    ground.Point
		in   bool
		dist float64 // by hand, from the nearest side
	}{
		{ground.Point{5, 4}, false, 1},                       // in the hole, 1 m from each side
		{ground.Point{5, 1}, true, 1},                        // 1 m above the base
		{ground.Point{-3, -4}, false, 5},                     // 3-4-5 from the corner 0/0
		{ground.Point{8, 4}, true, 2},                        // 2 m right of the hole
		{ground.Point{12, 0}, false, 2 * 7 / math.Sqrt(53)},  // off the side (10,0)-(12,7): |(2,0)×(2,7)|/√53
		{ground.Point{math.NaN(), 4}, false, math.NaN()},     // nowhere
		{ground.Point{10.2, 8}, false, math.Abs(ext(10.2))},  // above the side (12,7)-(4,9)
		{ground.Point{9, 7.5}, true, math.Abs(side(9, 7.5))}, // below it
	} {
		if got := a.Contains(c.p); got != c.in {
			t.Errorf("Contains(%v) = %v", c.p, got)
		}
		if got := a.Distance(c.p); math.Abs(got-c.dist) > 1e-12 || math.IsNaN(got) != math.IsNaN(c.dist) {
			t.Errorf("Distance(%v) = %g, want %g", c.p, got, c.dist)
		}
	}
}

// side is the distance of a place from the line through (12,7) and (4,9),
// whose normal is (1, 4)/√17: x + 4y = 40.
func side(x, y float64) float64 { return (x + 4*y - 40) / math.Sqrt(17) }
func ext(x float64) float64     { return side(x, 8) }

func TestCross(t *testing.T) {
	// (0,0)-(4,4) and (0,4)-(4,0) meet half-way along both.
	tt, u, ok := ground.Cross(ground.Point{0, 0}, ground.Point{4, 4}, ground.Point{0, 4}, ground.Point{4, 0})
	if !ok || tt != 0.5 || u != 0.5 {
		t.Errorf("Cross = %g %g %v", tt, u, ok)
	}
	if _, _, ok := ground.Cross(ground.Point{0, 0}, ground.Point{1, 0}, ground.Point{0, 1}, ground.Point{1, 1}); ok {
		t.Error("side by side lines meet")
	}
	if _, _, ok := ground.Cross(ground.Point{0, 0}, ground.Point{1, 0}, ground.Point{2, -1}, ground.Point{2, 1}); ok {
		t.Error("a line beyond the end meets")
	}
}

// There and back anywhere within 20 km is exact to a micrometre; distance and
// direction from the origin agree with the geodesic but for the known scale
// 1 + E²/6R² (mean along the line), and close to the origin's meridian fully.
func TestFrame(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lat0 := rapid.Float64Range(-60, 60).Draw(t, "lat0")
		lon0 := rapid.Float64Range(-180, 180).Draw(t, "lon0")
		azi := rapid.Float64Range(-180, 180).Draw(t, "azimuth")
		s := rapid.Float64Range(0.01, 20000).Draw(t, "metres")
		f := ground.NewFrame(lat0, lon0)
		lat, lon, _ := ground.Direct(lat0, lon0, azi, s)
		e, n := f.ToLocal(lat, lon)
		back, backLon := f.ToGlobal(e, n)
		if d, _, _ := ground.Inverse(lat, lon, back, backLon); d > 1e-6 {
			t.Fatalf("there and back moves %g m", d)
		}
		const r = 6.37e6
		want := s * (1 + e*e/(6*r*r))
		if got := math.Hypot(e, n); math.Abs(got-want) > 1e-3 {
			t.Fatalf("%.4f m away became %.4f m, want %.4f", s, got, want)
		}
		turn := math.Remainder(math.Atan2(e, n)*180/math.Pi-azi, 360)
		if math.Abs(turn)*math.Pi/180*s > 0.03 { // arc-to-chord, at 20 km below 33 mm
			t.Fatalf("direction off by %g degrees over %g m", turn, s)
		}
	})
}

// The way back of the geodesic: Direct undoes Inverse.
func TestDirectUndoesInverse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lat := rapid.Float64Range(-85, 85).Draw(t, "lat")
		lon := rapid.Float64Range(-180, 180).Draw(t, "lon")
		azi := rapid.Float64Range(-180, 180).Draw(t, "azimuth")
		s := rapid.Float64Range(0, 5e6).Draw(t, "metres")
		lat2, lon2, a2 := ground.Direct(lat, lon, azi, s)
		s2, b1, b2 := ground.Inverse(lat, lon, lat2, lon2)
		if math.Abs(s2-s) > 1e-6 {
			t.Fatalf("%.9f m came back as %.9f m", s, s2)
		}
		if s > 1000 && (math.Abs(math.Remainder(b1-azi, 360)) > 1e-8 || math.Abs(math.Remainder(b2-a2, 360)) > 1e-8) {
			t.Fatalf("azimuths %.10f %.10f came back as %.10f %.10f", azi, a2, b1, b2)
		}
	})
}

// A grid-north heading needs the convergence: on the origin's meridian none,
// and east of it sin(lat) times the longitude.
func TestConvergence(t *testing.T) {
	f := ground.NewFrame(42, -93)
	if c := f.Convergence(0, 5000); c != 0 {
		t.Errorf("on the meridian: %g", c)
	}
	e, n := f.ToLocal(42, -92.9)
	// Going true north from there must turn left of the frame's north by c.
	e2, n2 := f.ToLocal(42.001, -92.9)
	got, want := f.Convergence(e, n), -math.Atan2(e2-e, n2-n)
	if math.Abs(got-want) > 1e-6 || math.Abs(want) < 1e-4 {
		t.Errorf("convergence %g, want %g", got, want)
	}
}

func TestRegion(t *testing.T) {
	f := ground.NewFrame(42, -93)
	at := func(e, n float64) [2]float64 {
		lat, lon := f.ToGlobal(e, n)
		return [2]float64{lon, lat}
	}
	field := evenstand.Field{Name: "home", Polygons: [][][][2]float64{
		{{at(0, 0), at(400, 0), at(400, 300), at(0, 300), at(0, 0)}, {at(100, 100), at(200, 100), at(200, 200), at(100, 200)}},
		{{at(500, 0), at(600, 0)}}, // not a ring
	}}
	g := ground.NewRegion(f, field)
	if a := g.Area(); math.Abs(a-(400*300-100*100)) > 0.01 {
		t.Errorf("area %g", a)
	}
	for _, c := range []struct {
		e, n, d float64
		in      bool
	}{{50, 50, 50, true}, {150, 150, 50, false}, {150, 90, 10, true}, {410, 10, 10, false}} {
		if got := g.Contains(c.e, c.n); got != c.in {
			t.Errorf("Contains(%g, %g) = %v", c.e, c.n, got)
		}
		if got := g.Distance(c.e, c.n); math.Abs(got-c.d) > 1e-6 {
			t.Errorf("Distance(%g, %g) = %g, want %g", c.e, c.n, got, c.d)
		}
	}
	empty := ground.NewRegion(f, evenstand.Field{})
	if empty.Contains(0, 0) || !math.IsInf(empty.Distance(0, 0), 1) {
		t.Error("an empty field has ground")
	}
}

func BenchmarkToLocal(b *testing.B) {
	f := ground.NewFrame(42, -93)
	for b.Loop() {
		f.ToLocal(42.01, -93.01)
	}
}

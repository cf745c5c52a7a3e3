package geo_test

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"evenstand"
	"evenstand/format/geo"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// The polygon with a hole and the multipolygon of RFC 7946, appendix A.3 and
// A.6.
const (
	polygonA3 = `{"type": "Polygon", "coordinates": [
  [[100.0, 0.0], [101.0, 0.0], [101.0, 1.0], [100.0, 1.0], [100.0, 0.0]],
  [[100.8, 0.8], [100.8, 0.2], [100.2, 0.2], [100.2, 0.8], [100.8, 0.8]]]}`
	multiA6 = `{"type": "MultiPolygon", "coordinates": [
  [[[102.0, 2.0], [103.0, 2.0], [103.0, 3.0], [102.0, 3.0], [102.0, 2.0]]],
  [[[100.0, 0.0], [101.0, 0.0], [101.0, 1.0], [100.0, 1.0], [100.0, 0.0]],
   [[100.2, 0.2], [100.2, 0.8], [100.8, 0.8], [100.8, 0.2], [100.2, 0.2]]]]}`
)

var (
	square = [][2]float64{{100, 0}, {101, 0}, {101, 1}, {100, 1}, {100, 0}}
	hole   = [][2]float64{{100.8, 0.8}, {100.8, 0.2}, {100.2, 0.2}, {100.2, 0.8}, {100.8, 0.8}}
	other  = [][2]float64{{102, 2}, {103, 2}, {103, 3}, {102, 3}, {102, 2}}
	left   = [][2]float64{{100.2, 0.2}, {100.2, 0.8}, {100.8, 0.8}, {100.8, 0.2}, {100.2, 0.2}}
)

func feature(properties, geometry string) string {
	return `{"type": "Feature", "properties": ` + properties + `, "geometry": ` + geometry + `}`
}

func collection(features ...string) string {
	return `{"type": "FeatureCollection", "features": [` + strings.Join(features, ",\n") + `]}`
}

func TestRead(t *testing.T) {
	one := func(name string, rings ...[][2]float64) evenstand.Field {
		return evenstand.Field{Name: name, Polygons: [][][][2]float64{rings}}
	}
	for _, tt := range []struct {
		name, data string
		want       []evenstand.Field
		notes      int
	}{
		{"polygon", polygonA3, []evenstand.Field{one("north place", square, hole)}, 0},
		{"mark of byte order", "\xef\xbb\xbf" + polygonA3, []evenstand.Field{one("north place", square, hole)}, 0},
		{"multipolygon", multiA6, []evenstand.Field{{Name: "north place", Polygons: [][][][2]float64{{other}, {square, left}}}}, 0},
		{"feature", feature(`{"name": " south  eighty "}`, polygonA3), []evenstand.Field{one("south eighty", square, hole)}, 0},
		{"feature, field", feature(`{"Field": "7b", "name": ""}`, polygonA3), []evenstand.Field{one("7b", square, hole)}, 0},
		{"feature, number", feature(`{"name": 12}`, polygonA3), []evenstand.Field{one("12", square, hole)}, 0},
		{"feature without properties", feature(`null`, polygonA3), []evenstand.Field{one("north place", square, hole)}, 0},
		{
			"collection", collection(feature(`{"name": "a"}`, polygonA3), feature(`{"name": "b"}`, `{"type": "Polygon", "coordinates": [[[102, 2], [103, 2], [103, 3], [102, 3], [102, 2]]]}`)),
			[]evenstand.Field{one("a", square, hole), one("b", other)},
			0,
		},
		{
			"parts of one field", collection(feature(`{"name": "a"}`, polygonA3), feature(`{"name": "a"}`, `{"type": "Polygon", "coordinates": [[[102, 2], [103, 2], [103, 3], [102, 3], [102, 2]]]}`)),
			[]evenstand.Field{{Name: "a", Polygons: [][][][2]float64{{square, hole}, {other}}}},
			1,
		},
		{"clockwise", `{"type": "Polygon", "coordinates": [[[100, 0], [100, 1], [101, 1], [101, 0], [100, 0]]]}`, []evenstand.Field{one("north place", square)}, 0},
		{"not closed", `{"type": "Polygon", "coordinates": [[[100, 0], [101, 0], [101, 1], [100, 1]]]}`, []evenstand.Field{one("north place", square)}, 1},
		{
			"hole first", `{"type": "Polygon", "coordinates": [[[100.8, 0.8], [100.8, 0.2], [100.2, 0.2], [100.2, 0.8], [100.8, 0.8]], [[100, 0], [101, 0], [101, 1], [100, 1], [100, 0]]]}`,
			[]evenstand.Field{one("north place", square, hole)},
			1,
		},
		{"with heights", `{"type": "Polygon", "coordinates": [[[100, 0, 310], [101, 0, 311], [101, 1, 312], [100, 1, 310], [100, 0, 310]]]}`, []evenstand.Field{one("north place", square)}, 0},
		{"WGS 84 named", `{"type": "FeatureCollection", "crs": {"type": "name", "properties": {"name": "urn:ogc:def:crs:OGC:1.3:CRS84"}}, "features": [` + feature(`{"name": "a"}`, polygonA3) + `]}`, []evenstand.Field{one("a", square, hole)}, 0},
		{"collection of geometries", feature(`{"name": "a"}`, `{"type": "GeometryCollection", "geometries": [`+polygonA3+`]}`), []evenstand.Field{one("a", square, hole)}, 0},
	} {
		t.Run(tt.name, func(t *testing.T) {
			got, err := geo.Read("fields/north place.geojson", []byte(tt.data))
			if err != nil || len(got.Unused) > 0 || len(got.Notes) != tt.notes {
				t.Errorf("notes %q, unused %+v, error %v", got.Notes, got.Unused, err)
			}
			if d := cmp.Diff(tt.want, got.Fields); d != "" {
				t.Errorf("(-want +got):\n%s", d)
			}
		})
	}
}

// A feature that cannot be used is told, and the good one beside it is read.
func TestUnused(t *testing.T) {
	ring := func(s string) string { return `{"type": "Polygon", "coordinates": [[` + s + `]]}` }
	for _, tt := range []struct{ name, geometry, say string }{
		{"swapped", ring("[42, -93.5], [42, -93.6], [42.1, -93.6], [42, -93.5]"), "wrong order"},
		{"metres", ring("[450000, 4650000], [451000, 4650000], [451000, 4651000], [450000, 4650000]"), "metres"},
		{"out of range", ring("[200, 42], [201, 42], [201, 43], [200, 42]"), "not on the earth"},
		{"two corners", ring("[100, 0], [101, 0], [100, 0]"), "no area"},
		{"on one line", ring("[100, 0], [101, 0], [102, 0], [100, 0]"), "no area"},
		{"no ring", `{"type": "Polygon", "coordinates": []}`, "without a ring"},
		{"no polygon", `{"type": "MultiPolygon", "coordinates": []}`, "empty geometry"},
		{"point", `{"type": "Point", "coordinates": [100, 0]}`, `"Point" is no boundary`},
		{"line", `{"type": "LineString", "coordinates": [[100, 0], [101, 0]]}`, `"LineString" is no boundary`},
		{"null", `null`, "no geometry"},
		{"text for numbers", ring(`["a", "b"]`), "no list of rings"},
		{"one number", ring("[100], [101], [102], [100]"), "fewer than two"},
		{"deep", strings.Repeat(`{"type": "GeometryCollection", "geometries": [`, 9) + strings.Repeat(`]}`, 9), "cannot be read"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			got, err := geo.Read("f.geojson", []byte(collection(feature(`{"name": "bad one"}`, tt.geometry), feature(`{"name": "good"}`, polygonA3))))
			if err != nil || len(got.Fields) != 1 || got.Fields[0].Name != "good" {
				t.Errorf("%+v, error %v, want the good field", got.Fields, err)
			}
			if len(got.Unused) != 1 || !strings.Contains(got.Unused[0].Why, tt.say) || !strings.Contains(got.Unused[0].Why, `feature 1 ("bad one")`) || got.Unused[0].Do == "" {
				t.Errorf("unused %+v, want %q", got.Unused, tt.say)
			}
		})
	}
	got, err := geo.Read("f.geojson", []byte(feature(`{"name": "unassigned"}`, polygonA3)))
	if err != nil || len(got.Fields) != 0 || len(got.Unused) != 1 {
		t.Errorf("a field named unassigned: %+v, %v", got, err)
	}
}

func TestNoGeoJSON(t *testing.T) {
	for _, tt := range []struct{ name, data, say string }{
		{"empty", " \n", "empty"},
		{"cut", "{\n\"type\": \"Poly", "line 2"},
		{"other JSON", `{"a": 1}`, "no type"},
		{"a list", `[1, 2]`, "no GeoJSON"},
		{"no features", `{"type": "FeatureCollection"}`, "without a list"},
		{"other reference", `{"type": "FeatureCollection", "crs": {"properties": {"name": "EPSG:26915"}}, "features": []}`, "EPSG:26915"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, err := geo.Read("f.geojson", []byte(tt.data))
			if err == nil || !strings.Contains(err.Error(), tt.say) || !strings.HasPrefix(err.Error(), "f.geojson") {
				t.Errorf("%v, want %q", err, tt.say)
			}
		})
	}
}

// A file cut anywhere is told and gives no field, as JSON has no whole parts
// before its end.
func TestCut(t *testing.T) {
	data := strings.TrimSpace(string(geo.Write([]evenstand.Field{{Name: "a", Polygons: [][][][2]float64{{square, hole}, {other}}}})))
	for n := range len(data) {
		if got, err := geo.Read("f.geojson", []byte(data[:n])); err == nil || len(got.Fields) > 0 {
			t.Fatalf("cut at byte %d: %+v, error %v", n, got, err)
		}
	}
}

// What is written is read back the same, whatever the fields.
func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var fields []evenstand.Field
		for i := range rapid.IntRange(1, 4).Draw(t, "fields") {
			f := evenstand.Field{Name: rapid.StringMatching(`[a-zé"<&]( ?[a-z]){0,5}`).Draw(t, "name") + string(rune('0'+i))}
			for range rapid.IntRange(1, 3).Draw(t, "polygons") {
				lon, lat := rapid.Float64Range(-179, 178).Draw(t, "lon"), rapid.Float64Range(-89, 88).Draw(t, "lat")
				size := rapid.Float64Range(1e-3, 1).Draw(t, "size")
				box := func(at, to float64) [][2]float64 {
					return [][2]float64{{lon + at, lat + at}, {lon + to, lat + at}, {lon + to, lat + to}, {lon + at, lat + to}, {lon + at, lat + at}}
				}
				p := [][][2]float64{box(0, size)}
				if rapid.Bool().Draw(t, "hole") {
					in := box(size/4, size/2)
					in[1], in[3] = in[3], in[1]
					p = append(p, in)
				}
				f.Polygons = append(f.Polygons, p)
			}
			fields = append(fields, f)
		}
		data := geo.Write(fields)
		if !json.Valid(data) {
			t.Fatalf("no JSON: %s", data)
		}
		got, err := geo.Read("f.geojson", data)
		if err != nil || len(got.Notes)+len(got.Unused) > 0 {
			t.Fatalf("%+v %v", got, err)
		}
		if d := cmp.Diff(fields, got.Fields); d != "" {
			t.Errorf("(-written +read):\n%s", d)
		}
	})
}

func FuzzRead(f *testing.F) {
	f.Add([]byte(polygonA3))
	f.Add([]byte(multiA6))
	f.Add([]byte(collection(feature(`{"name": "a", "field": 3}`, polygonA3), feature(`null`, multiA6))))
	f.Fuzz(func(t *testing.T, data []byte) {
		got, err := geo.Read("f.geojson", data)
		if err != nil {
			return
		}
		for _, u := range got.Unused {
			if u.File == "" || u.Why == "" || u.Do == "" {
				t.Fatalf("%+v", u)
			}
		}
		for _, fl := range got.Fields {
			if fl.Name == "" || len(fl.Polygons) == 0 {
				t.Fatalf("%+v", fl)
			}
			for _, p := range fl.Polygons {
				for _, ring := range p {
					if len(ring) < 4 || ring[0] != ring[len(ring)-1] {
						t.Fatalf("ring %v", ring)
					}
					for _, x := range ring {
						if !(math.Abs(x[0]) <= 180 && math.Abs(x[1]) <= 90) {
							t.Fatalf("position %v", x)
						}
					}
				}
			}
		}
		again, err := geo.Read("f.geojson", geo.Write(got.Fields))
		if err != nil || len(again.Notes)+len(again.Unused) > 0 {
			t.Fatalf("written and read back: %+v %v", again, err)
		}
		if d := cmp.Diff(got.Fields, again.Fields); d != "" {
			t.Fatalf("(-want +got):\n%s", d)
		}
	})
}

func BenchmarkRead(b *testing.B) {
	var ring [][2]float64
	for i := range 20000 {
		a := 2 * math.Pi * float64(i) / 20000
		ring = append(ring, [2]float64{-93.5 + 0.01*math.Cos(a), 42.25 + 0.01*math.Sin(a)})
	}
	data := geo.Write([]evenstand.Field{{Name: "round", Polygons: [][][][2]float64{{ring}}}})
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		if _, err := geo.Read("f", data); err != nil {
			b.Fatal(err)
		}
	}
}

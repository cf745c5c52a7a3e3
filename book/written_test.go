package book_test

import (
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"

	"evenstand"
	"evenstand/book"
)

func TestParseFields(t *testing.T) {
	square := [][][2]float64{{{-93, 41}, {-92, 41}, {-92, 42}, {-93, 41}}}
	for _, tt := range []struct {
		name, text string
		want       []evenstand.Field
	}{
		{
			"feature", `{"type":"Feature","properties":{"name":"north place","acres":80},"geometry":{"type":"Polygon","coordinates":[[[-93,41],[-92,41],[-92,42],[-93,41]]]}}`,
			[]evenstand.Field{{Name: "north place", Polygons: [][][][2]float64{square}}},
		},
		{
			"with heights, named after the file", `{"type":"Polygon","coordinates":[[[-93,41,290],[-92,41,291],[-92,42,290],[-93,41,290]]]}`,
			[]evenstand.Field{{Name: "home", Polygons: [][][][2]float64{square}}},
		},
		{
			"collection", `{"type":"FeatureCollection","features":[{"type":"Feature","properties":null,"geometry":{"type":"MultiPolygon","coordinates":[[[[-93,41],[-92,41],[-92,42],[-93,41]]]]}},
			{"type":"Feature","properties":{"name":" b "},"geometry":{"type":"Polygon","coordinates":[[[-93,41],[-92,41],[-92,42],[-93,41]]]}}]}`,
			[]evenstand.Field{{Name: "home", Polygons: [][][][2]float64{square}}, {Name: "b", Polygons: [][][][2]float64{square}}},
		},
	} {
		got, err := book.ParseFields("home.geojson", []byte(tt.text))
		if err != nil {
			t.Errorf("%s: %v", tt.name, err)
		}
		if diff := cmp.Diff(tt.want, got); diff != "" {
			t.Errorf("%s (-want +got):\n%s", tt.name, diff)
		}
	}
	for _, bad := range []string{
		``, `[]`, `{"type":"Point","coordinates":[1,2]}`, `{"type":"FeatureCollection","features":[]}`, `{"type":"Polygon","coordinates":[]}`,
		`{"type":"Polygon","coordinates":[[[1,2],[3,4]]]}`, `{"type":"Polygon","coordinates":[[[1,2],[3,4],[500,6],[1,2]]]}`, `{"type":"Polygon","coordinates":[[[1],[3],[5],[1]]]}`,
	} {
		if got, err := book.ParseFields("x.geojson", []byte(bad)); err == nil {
			t.Errorf("%s: taken as %v", bad, got)
		}
	}
}

func FuzzParseFields(f *testing.F) {
	f.Add([]byte(field))
	f.Add([]byte(`{"type":"FeatureCollection","features":[{"geometry":{"type":"MultiPolygon","coordinates":[[[[1,2],[3,4],[5,6],[1,2]]]]}}]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		fs, err := book.ParseFields("x.geojson", data)
		for _, x := range fs {
			for _, p := range x.Polygons {
				for _, r := range p {
					if err == nil && len(r) < 4 {
						t.Errorf("a ring of %d corners", len(r))
					}
				}
			}
		}
	})
}

func FuzzParseSettings(f *testing.F) {
	f.Add(book.FormatSettings(settings()))
	f.Add([]byte("book = 1\nname = \"x\"\nzone = \"UTC\"\nunits = \"us\"\n[prices]\ngrain_per_kg = nan\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		s, err := book.ParseSettings(data)
		if err != nil {
			return
		}
		again, err := book.ParseSettings(book.FormatSettings(s))
		if err != nil {
			t.Fatalf("what was read cannot be written and read: %v", err)
		}
		same := func(a, b float64) bool { return a == b || math.IsNaN(a) && math.IsNaN(b) }
		if again.Name != s.Name || again.Zone != s.Zone || !same(again.Price, s.Price) || !same(again.Yield, s.Yield) || !same(again.Season, s.Season) {
			t.Errorf("%+v became %+v", s, again)
		}
	})
}

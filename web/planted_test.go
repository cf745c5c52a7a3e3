package web_test

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"math"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"evenstand"
	"evenstand/book"
	"evenstand/core/ground"
	"evenstand/format/plain"
	"evenstand/web"
)

// runOn is a small field whose rows are not switched off over its headlands; the
// seed is one of those for development.
const runOn = `
name = "run on"
seed = 7102
hours = 2

[timetable]
lunch = ""

[planter]
rows = 12
cells = 40
hitch = "mounted"

[[field]]
name = "hill place"
shape = "rect"
passes = 16
length_m = 300
headlands = 2
[field.ground]
run_on_m = 10
`

func runOnBook(t *testing.T) *book.Book {
	t.Helper()
	dir, err := plant(t.TempDir(), runOn)
	if err != nil {
		t.Fatal(err)
	}
	return openBook(t, dir)
}

func told[T any](t *testing.T, s *served, path string) (out T) {
	t.Helper()
	if err := json.Unmarshal(s.get(t, path, http.StatusOK), &out); err != nil {
		t.Fatal(err)
	}
	return out
}

// The figures of a field are those that the book has, with interval, origin and
// words; by planter and day only the acres are fewer.
func TestFieldsPlanted(t *testing.T) {
	b := runOnBook(t)
	all, err := b.Ground(t.Context())
	if err != nil || len(all) != 1 {
		t.Fatalf("%v, %d fields", err, len(all))
	}
	g := &all[0]
	s := serve(t, b)
	got := told[web.FieldsPlanted](t, s, "/api/v1/ground/fields")
	if len(got.Fields) != 1 || got.All != nil || got.Part || got.Lots {
		t.Fatalf("%+v", got)
	}
	f := &got.Fields[0]
	left := float64(g.Area - g.Inside)
	for _, x := range []struct {
		name string
		is   web.Amount
		want float64
	}{{"of", f.Of, float64(g.Area)}, {"planted", f.Planted, float64(g.Inside)}, {"left", f.Left, left}, {"twice", f.Twice, float64(g.Twice)}} {
		if math.Abs(float64(x.is.Value)-x.want) > 1e-6 || x.is.Unit != "m2" || x.is.Origin != evenstand.Computed || x.is.From == "" || !strings.HasSuffix(x.is.Says, " ac") {
			t.Errorf("%s: %+v, want %g m2", x.name, x.is, x.want)
		}
	}
	if high := float64(f.Twice.High - f.Twice.Value); math.Abs(high-float64(g.Error)) > 1e-6 || f.Left.Low < 0 || !strings.HasPrefix(f.Twice.Give, "give or take ") {
		t.Errorf("twice %+v, left %+v", f.Twice, f.Left)
	}
	if f.Planted.High > f.Of.Value {
		t.Errorf("more may be planted than there is: %+v of %+v", f.Planted, f.Of)
	}
	if f.Gaps != len(g.Gaps) || f.Overlaps != len(g.Overlaps) || len(f.Acres) != len(g.Acres) || !(f.Sees.Value > 0) {
		t.Errorf("%+v", f)
	}
	// A day on which nothing was planted, and names that nobody knows.
	for _, q := range []string{"?to=2001-01-01", "?planter=no+such", "?field=no+such", "?field=" + evenstand.Unassigned} {
		if none := told[web.FieldsPlanted](t, s, "/api/v1/ground/fields"+q); len(none.Fields) != 0 {
			t.Errorf("%s: %+v", q, none)
		}
	}
	day := string(g.Acres[0].Day)
	if part := told[web.FieldsPlanted](t, s, "/api/v1/ground/fields?from="+day+"&planter="+url.QueryEscape(g.Acres[0].Planter)); len(part.Fields) != 1 || !part.Part || part.Fields[0].Twice != f.Twice {
		t.Errorf("%+v", part)
	}
	lines, err := csv.NewReader(strings.NewReader(string(s.get(t, "/api/v1/ground/fields.csv", http.StatusOK)))).ReadAll()
	if err != nil || len(lines) != 1+4+len(g.Acres) || lines[0][5] != "area (ac)" || lines[4][1] != "planted twice" {
		t.Errorf("%v: %q", err, lines)
	}
}

// What is left to plant is the ground that no row went over, not the area less
// rows by their way: what was planted twice is not taken off twice.
func TestLeftToPlant(t *testing.T) {
	b := runOnBook(t)
	all, err := b.Ground(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	days, err := b.Days(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	left, err := b.LeftToPlant(t.Context(), days)
	want := float64(all[0].Area - all[0].Inside)
	if err != nil || math.Abs(left["hill place"]-want) > 1e-6 || want <= 0 {
		t.Errorf("%v: %v, want %g", err, left, want)
	}
	way := float64(all[0].Area)
	for _, d := range days {
		for _, p := range d.Planted {
			way -= float64(p.Area)
		}
	}
	if way > want-float64(all[0].Twice)/2 { // else the test tells nothing
		t.Errorf("by their way the rows leave %g m2, by their ground %g, %g twice", way, want, all[0].Twice)
	}
	s := serve(t, b)
	says := told[web.FieldsPlanted](t, s, "/api/v1/ground/fields").Fields[0].Left.Says
	if at := told[web.BookInfo](t, s, "/api/v1/book").Place; at != "hill place · "+says+" left" {
		t.Errorf("%q, want %q", at, says)
	}
}

// Lots that were written down part the acres, and are said.
func TestAcresByLot(t *testing.T) {
	b := plantedBook(t)
	s := serve(t, b)
	day := string(told[web.BookInfo](t, s, "/api/v1/book").Days[0].Day)
	for _, note := range []string{"lot A123 rows 1-4", "lot B77 rows 5-8"} {
		body, _ := json.Marshal(map[string]any{"text": note, "at": day + " 6:00 am"})
		if r := s.ask("POST", "/api/v1/journal", body); r.Code != http.StatusOK {
			t.Fatalf("%d %s", r.Code, r.Body)
		}
	}
	if _, err := b.Read(context.Background(), nil, []evenstand.Format{plain.Format{}}, book.ReadOptions{}); err != nil {
		t.Fatal(err)
	}
	s = serve(t, b)
	got := told[web.FieldsPlanted](t, s, "/api/v1/ground/fields")
	if !got.Lots || len(got.Fields) != 1 || len(got.Fields[0].Acres) != 2 {
		t.Fatalf("%+v", got)
	}
	f := got.Fields[0]
	if f.Acres[0].Lot != "A123" || f.Acres[1].Lot != "B77" || math.Abs(float64(f.Acres[0].Area.Value+f.Acres[1].Area.Value-f.Planted.Value)) > 0.02*float64(f.Planted.Value) {
		t.Errorf("%+v", f)
	}
}

// Polygons are as RFC 7946 wants them, of the size that they are said to have,
// the largest first, and overlaps name the passes that planted them.
func TestPatches(t *testing.T) {
	b := runOnBook(t)
	s := serve(t, b)
	all := told[web.Patches](t, s, "/api/v1/ground/patches")
	if len(all.Features) < 20 || all.More != 0 || len(all.Sums) != 2 {
		t.Fatalf("%d pieces, %d more, %+v", len(all.Features), all.More, all.Sums)
	}
	fields, err := b.Ground(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	half := float64(fields[0].See) / 2 // by which outlines lie inside what they stand for
	frame := ground.NewFrame(all.Features[0].Properties.Bounds[1], all.Features[0].Properties.Bounds[0])
	seen, last := map[string]bool{}, math.Inf(1)
	for i := range all.Features {
		p := &all.Features[i].Properties
		rings := ringsOf(t, all.Features[i].Geometry)
		area := 0.0
		for k, r := range rings {
			if r[0] != r[len(r)-1] {
				t.Fatalf("%s: ring %d is not closed", p.ID, k)
			}
			a, round := 0.0, 0.0
			for j := 1; j < len(r); j++ {
				e0, n0 := frame.ToLocal(r[j-1][1], r[j-1][0])
				e1, n1 := frame.ToLocal(r[j][1], r[j][0])
				a += (e0*n1 - e1*n0) / 2
				round += math.Hypot(e1-e0, n1-n0)
			}
			if (a > 0) != (k == 0) {
				t.Errorf("%s: ring %d runs the wrong way round", p.ID, k)
			}
			area += a + half*round
		}
		// A ring is kept to a centimetre; corners are rounded off.
		if want := float64(p.Area); math.Abs(area-want) > 0.03*want+0.02*float64(p.Length) || want > last {
			t.Errorf("%s: %g m2, want %g; after one of %g", p.ID, area, want, last)
		}
		last = float64(p.Area)
		if seen[p.ID] || p.Field != "hill place" || !strings.Contains(p.Says, p.Size) || !strings.Contains(p.Says, "long") {
			t.Errorf("%+v", p)
		}
		seen[p.ID] = true
		if (p.Kind == "twice") != (len(p.Passes) == 2) {
			t.Errorf("%s: passes %v", p.ID, p.Passes)
		}
		for _, x := range p.Passes {
			if !strings.HasPrefix(x.Label, "pass ") {
				t.Errorf("%s: %+v", p.ID, x)
			}
		}
	}
	left := told[web.Patches](t, s, "/api/v1/ground/patches?kind=left&field=hill+place")
	twice := told[web.Patches](t, s, "/api/v1/ground/patches?kind=twice")
	if len(left.Features)+len(twice.Features) != len(all.Features) || len(left.Sums) != 1 || left.Sums[0] != all.Sums[0] || twice.Sums[0] != all.Sums[1] || !strings.Contains(all.Sums[1].Says, " pieces") {
		t.Errorf("%d and %d of %d; %+v", len(left.Features), len(twice.Features), len(all.Features), all.Sums)
	}
	if none := told[web.Patches](t, s, "/api/v1/ground/patches?field=no+such"); len(none.Features) != 0 {
		t.Errorf("%+v", none)
	}
}

func ringsOf(t *testing.T, g web.Geometry) [][][2]float64 {
	t.Helper()
	text, err := json.Marshal(g.Coordinates)
	if err != nil {
		t.Fatal(err)
	}
	var polygons [][][][2]float64
	if err := json.Unmarshal(text, &polygons); err != nil || g.Type != "MultiPolygon" || len(polygons) != 1 {
		t.Fatalf("%v: %s", err, text)
	}
	return polygons[0]
}

// What cannot be meant is refused, and says what is wanted.
func TestPatchesRefuses(t *testing.T) {
	s := serve(t, emptyBook(t))
	long := strings.Repeat("x", 201)
	for _, path := range []string{
		"/ground/patches?kind=both", "/ground/patches?kind=" + long, "/ground/patches?field=" + long,
		"/ground/fields?from=yesterday", "/ground/fields?to=2026-02-31", "/ground/fields?planter=" + long, "/ground/fields?field=" + long,
		"/ground/fields.csv?from=1%27%20or%201", "/ground/fields.csv?field=" + long,
	} {
		if body := s.get(t, "/api/v1"+path, http.StatusUnprocessableEntity); !strings.Contains(string(body), `"detail"`) {
			t.Errorf("%s: %s", path, body)
		}
	}
	s.get(t, "/api/v1/findings/none/ground", http.StatusNotFound)
	if got := told[web.FieldsPlanted](t, s, "/api/v1/ground/fields"); len(got.Fields) != 0 || got.All != nil {
		t.Errorf("%+v", got)
	}
}

// A finding about the ground of its field stands on the piece that it is about,
// brings along what shows it, and its page draws the field.
func TestFindingsOfFields(t *testing.T) {
	kinds := map[string]bool{}
	for _, b := range []*book.Book{plantedBook(t), runOnBook(t)} {
		s := serve(t, b)
		view := told[web.GroundView](t, s, "/api/v1/ground")
		patches := told[web.Patches](t, s, "/api/v1/ground/patches")
		for _, f := range view.Findings {
			about := evenstand.OfField(f.Kind)
			sp := told[web.Spoken](t, s, "/api/v1/findings/"+f.ID)
			drawn := told[web.FindingGround](t, s, "/api/v1/findings/"+f.ID+"/ground")
			if sp.Links.Ground != about || (f.Left || f.Twice) != about || (len(drawn.Bounds) == 4) != about || drawn.Head != f.Patch {
				t.Errorf("%s: %+v, %+v, draws %v", f.Kind, sp.Links, f, drawn.Bounds)
			}
			if !about {
				continue
			}
			kinds[f.Kind] = true
			if len(sp.Links.Courses) != 0 || sp.Links.Measure != "" || len(drawn.Boundary.Features) != 1 || len(drawn.Passes.Features) == 0 || drawn.Says == "" || f.Field != sp.Field {
				t.Errorf("%s: %+v, %+v", f.Kind, sp.Links, drawn)
			}
			switch f.Kind {
			case evenstand.KindUnplantedLeft, evenstand.KindOverlap:
				text, _ := json.Marshal(f.Way.Coordinates)
				if string(text) != "[]" || f.Twice != (f.Kind == evenstand.KindOverlap) {
					t.Errorf("%s has a way: %s", f.Kind, text)
				}
				found := false
				for i := range patches.Features {
					if p := &patches.Features[i].Properties; p.ID == f.Patch {
						found = true
						if b := p.Bounds; f.Lon < b[0]-1e-7 || f.Lon > b[2]+1e-7 || f.Lat < b[1]-1e-7 || f.Lat > b[3]+1e-7 {
							t.Errorf("%s stands at %g %g, not on %v", f.Kind, f.Lat, f.Lon, b)
						}
						if f.Kind == evenstand.KindUnplantedLeft && !strings.Contains(f.Sentence, strings.Split(p.Shape, " long")[0]+" long") {
							t.Errorf("%q is not about %q", f.Sentence, p.Says)
						}
					}
				}
				if !found {
					t.Errorf("%s: no piece %q", f.Kind, f.Patch)
				}
			}
		}
	}
	if !kinds[evenstand.KindUnplantedLeft] || !kinds[evenstand.KindOverlap] {
		t.Errorf("only %v were seen", kinds)
	}
}

package book_test

import (
	"bytes"
	"context"
	"encoding/json"
	"math"
	"strings"
	"testing"

	"evenstand/book"

	"github.com/google/go-cmp/cmp"
)

func plants(n int) *int { return &n }

func aCount(id string) book.PlantCount {
	lat, lon := 41.6, -93.5
	return book.PlantCount{ID: id, At: "2026-05-20T09:30:00-05:00", Field: "north place", Latitude: &lat, Longitude: &lon, Method: "row", Rows: "1,2", Length: 5.3, Counted: 2, Plants: plants(61)}
}

// What cannot be is refused by itself and says what to do; what is sound beside it
// is kept.
func TestAddCounts(t *testing.T) {
	b := newBook(t)
	ctx := context.Background()
	for why, spoil := range map[string]func(c *book.PlantCount){
		"no number of its own": func(c *book.PlantCount) { c.ID = " " },
		"is no time":           func(c *book.PlantCount) { c.At = "yesterday" },
		"after today":          func(c *book.PlantCount) { c.At = "2199-01-01T00:00:00Z" },
		"20 years":             func(c *book.PlantCount) { c.At = "1999-01-01T00:00:00Z" },
		"names no field":       func(c *book.PlantCount) { c.Field = "" },
		"neither plants nor":   func(c *book.PlantCount) { c.Plants = nil },
		"give both":            func(c *book.PlantCount) { c.Longitude = nil },
		"on the earth":         func(c *book.PlantCount) { *c.Latitude = 91 },
		"no way to count":      func(c *book.PlantCount) { c.Method = "eye" },
		"more late plants":     func(c *book.PlantCount) { c.Late = plants(62) },
		"cannot be meant":      func(c *book.PlantCount) { c.Plants = plants(-1) },
		"over what length":     func(c *book.PlantCount) { c.Length = 0 },
		"over what":            func(c *book.PlantCount) { c.Length = math.NaN() },
		"how wide the hoop":    func(c *book.PlantCount) { c.Method = "hoop" },
		"in metres":            func(c *book.PlantCount) { c.Depths = []float64{1.75} },
		"Rows":                 func(c *book.PlantCount) { c.Rows = "left ones" },
		"make them agree":      func(c *book.PlantCount) { c.Counted = 3 },
		"no planter":           func(c *book.PlantCount) { c.Planter = "another" },
		"no field":             func(c *book.PlantCount) { c.Field = "another" },
		"not here":             func(c *book.PlantCount) { c.Replaces = "nothing" },
	} {
		bad := aCount("bad")
		spoil(&bad)
		good := aCount("good " + why)
		r, err := b.AddCounts(ctx, []book.PlantCount{bad, good})
		if err != nil {
			t.Fatal(err)
		}
		if len(r.Stored) != 1 || len(r.Refused) != 1 || !strings.Contains(r.Refused[0].Why, why) {
			t.Errorf("want a word of %q: %+v", why, r)
		}
	}
}

// A count stands once, however often and in whatever words it is sent; another one
// under its number is refused; a correction takes its place and both stay.
func TestCountsStandOnce(t *testing.T) {
	b := newBook(t)
	ctx := context.Background()
	send := func(cs ...book.PlantCount) book.CountsReply {
		t.Helper()
		r, err := b.AddCounts(ctx, cs)
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	first := aCount("a")
	if r := send(first, first); len(r.Stored) != 1 || len(r.Known) != 1 {
		t.Errorf("%+v", r)
	}
	again := aCount("a")
	again.At, again.Rows, again.Note = "2026-05-20T14:30:00Z", " 1-2 ", " "
	if r := send(again); len(r.Known) != 1 {
		t.Errorf("the same in other words: %+v", r)
	}
	other := aCount("a")
	other.Plants = plants(16)
	if r := send(other); len(r.Refused) != 1 || !strings.Contains(r.Refused[0].Why, "replaces") {
		t.Errorf("%+v", r)
	}
	other.ID, other.Replaces = "b", "a"
	if r := send(other); len(r.Stored) != 1 {
		t.Errorf("%+v", r)
	}
	late := aCount("c")
	late.Replaces = "a"
	if r := send(late); len(r.Refused) != 1 || !strings.Contains(r.Refused[0].Why, "(b)") {
		t.Errorf("%+v", r)
	}
	for all, want := range map[bool][]string{false: {"b"}, true: {"a", "b"}} {
		cs, err := b.PlantCounts(ctx, all)
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		for _, c := range cs {
			got = append(got, c.ID)
		}
		if d := cmp.Diff(want, got); d != "" {
			t.Error(d)
		}
	}
}

// Ground is the length of the rows times their distance, or the hoop's (R16: 28.25
// in and one plant are 10,007 plants an acre).
func TestCountGround(t *testing.T) {
	c := aCount("a")
	if got := c.Area(0.762); math.Abs(got-5.3*2*0.762) > 1e-12 {
		t.Errorf("%g m2 of row", got)
	}
	c = book.PlantCount{Method: "hoop", Diameter: 28.25 * 0.0254, Hoops: 1, Plants: plants(1)}
	if got := 4046.8564224 / c.Area(math.NaN()); math.Abs(got-10007) > 1 {
		t.Errorf("%.0f plants an acre", got)
	}
	c.Plants = nil
	if got := c.Area(1); !math.IsNaN(got) {
		t.Errorf("nothing was counted on %g m2", got)
	}
}

func TestReadCounts(t *testing.T) {
	good, err := json.Marshal(map[string]any{"counts": []any{aCount("a"), map[string]any{"id": "x", "plants": "many"}, 7}})
	if err != nil {
		t.Fatal(err)
	}
	cs, refused, err := book.ReadCounts("f.json", bytes.NewReader(good))
	if err != nil || len(cs) != 1 || len(refused) != 2 || refused[0].ID != "x" || !strings.Contains(refused[1].ID, "count 3 of f.json") {
		t.Errorf("%v, %v, %v", cs, refused, err)
	}
	for text, want := range map[string]string{"": "f.json", `{"counts":[}`: "byte 12", `{}`: "no list", `[]`: "f.json", `{"counts":7}`: "f.json"} {
		if _, _, err := book.ReadCounts("f.json", strings.NewReader(text)); err == nil || !strings.Contains(err.Error(), want) || !strings.Contains(err.Error(), "page saves") {
			t.Errorf("%q: %v", text, err)
		}
	}
}

func FuzzReadCounts(f *testing.F) {
	f.Add([]byte(`{"counts":[{"id":"a","at":"2026-05-20T09:30:00Z","field":"north place","method":"hoop","diameter_m":0.7,"hoops":3,"plants":9,"late":1,"depths_m":[0.05]}]}`))
	f.Add([]byte(`{"counts":[{"id":"a","latitude":1e308,"rows":"1-9999999"}]}`))
	b := newBook(f)
	f.Fuzz(func(t *testing.T, data []byte) {
		cs, refused, err := book.ReadCounts("f.json", bytes.NewReader(data))
		if err != nil || len(cs) > 20 {
			return
		}
		for _, r := range refused {
			if r.ID == "" || r.Why == "" {
				t.Errorf("%+v", r)
			}
		}
		r, err := b.AddCounts(context.Background(), cs)
		if err != nil {
			t.Fatal(err)
		}
		if n := len(r.Stored) + len(r.Known) + len(r.Refused); n != len(cs) {
			t.Errorf("of %d counts %d are told of", len(cs), n)
		}
		again, err := b.AddCounts(context.Background(), cs)
		if err != nil || len(again.Stored) != 0 {
			t.Errorf("sent again: %+v, %v", again, err)
		}
	})
}

// The file that goes out comes in again.
func TestCountsThereAndBack(t *testing.T) {
	want := aCount("a")
	want.Late, want.Depths, want.Who = plants(0), []float64{0.05, 0.0445}, "Sam"
	data, err := json.Marshal(map[string]any{"counts": []book.PlantCount{want}})
	if err != nil {
		t.Fatal(err)
	}
	got, _, err := book.ReadCounts("f", bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff([]book.PlantCount{want}, got); d != "" {
		t.Error(d)
	}
	b := newBook(t)
	if _, err := b.AddCounts(context.Background(), got); err != nil {
		t.Fatal(err)
	}
	kept, err := b.PlantCounts(context.Background(), false)
	if err != nil || len(kept) != 1 {
		t.Fatal(kept, err)
	}
	want.At = "2026-05-20T14:30:00Z"
	want.Rows = "1-2"
	if d := cmp.Diff(want, kept[0]); d != "" {
		t.Error(d)
	}
}

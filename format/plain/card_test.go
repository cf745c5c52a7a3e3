package plain_test

import (
	"errors"
	"math"
	"strings"
	"testing"

	"evenstand"
	"evenstand/format/plain"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"
)

// minimal is the card of the layout's first version, which every later one
// must read.
const minimal = `card = 1                        # version of this layout
name = "16-row, trailed"
rows = 16
row_spacing_m = 0.762

[geometry]                      # x forward, y right, looking ahead
hitch = "trailed"               # or "mounted"
antenna_to_hitch_m = 2.6        # antenna ahead of the hitch point
hitch_to_row_line_m = 7.1       # hitch point ahead of the seed line
antenna_right_m = 0.0
seed_fall_s = 0.15              # from the sensor to the furrow (the whole tube takes longer)

[[meter]]
rows = "1-16"
crop = "corn"
cells = 40                      # per disc

[[group]]                       # rows that share a cause
kind = "vacuum"                 # vacuum, section, frame, wheel_track, seed_delivery
name = "left"
rows = "1-8"

[[attachment]]
kind = "closing_wheel"
label = "spoked pair"
rows = "3,4"
since = "2026-04-20"

[[section]]
number = 1
rows = "1-4"

[[tank]]
number = 1
name = "left liquid"
product = "starter"
capacity_l = 1500
feeds = "1-8"
`

var nanEqual = cmp.Options{cmpopts.EquateNaNs(), cmpopts.EquateEmpty()}

func TestMinimalCard(t *testing.T) {
	got, err := plain.ReadCard("card.toml", []byte(minimal))
	if err != nil {
		t.Fatal(err)
	}
	all, _ := evenstand.ParseRows("1-16")
	left, _ := evenstand.ParseRows("1-8")
	want := evenstand.Card{
		Name: "16-row, trailed", Rows: 16, RowSpacing: 0.762,
		Geometry:    evenstand.Geometry{Hitch: evenstand.Trailed, AntennaToHitch: 2.6, HitchToRowLine: 7.1, AntennaRight: 0, SeedFall: 0.15},
		Meters:      []evenstand.Meter{{Rows: all, Crop: "corn", Cells: 40}},
		Groups:      []evenstand.Group{{Kind: "vacuum", Name: "left", Rows: left}},
		Attachments: []evenstand.Attachment{{Kind: "closing_wheel", Label: "spoked pair", Rows: evenstand.Rows{3, 4}, Since: "2026-04-20"}},
		Sections:    []evenstand.Section{{Number: 1, Rows: evenstand.Rows{1, 2, 3, 4}}},
		Tanks:       []evenstand.Tank{{Number: 1, Name: "left liquid", Product: "starter", Capacity: 1.5, Feeds: left}},
	}
	if d := cmp.Diff(want, got, nanEqual); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
	again, err := plain.ReadCard("card.toml", plain.WriteCard(got))
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(got, again, nanEqual); d != "" {
		t.Errorf("written and read back (-want +got):\n%s", d)
	}
}

// The inch is 0.0254 m and the foot 0.3048 m (international agreement, 1959);
// the US gallon is 3.785411784 L (231 cubic inches).
func TestCardUnits(t *testing.T) {
	got, err := plain.ReadCard("c", []byte(`card = 1
rows = 3
row_spacing_in = 30
[geometry]
antenna_to_hitch_ft = 10
hitch_to_row_line_cm = 710
antenna_right_mm = -25
row_y_in = [-30, 0.0, 30]
[[tank]]
number = 1
capacity_gal = 100
`))
	if err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct {
		name      string
		got, want float64
	}{
		{"row spacing", got.RowSpacing, 0.762},
		{"antenna to hitch", got.Geometry.AntennaToHitch, 3.048},
		{"hitch to row line", got.Geometry.HitchToRowLine, 7.1},
		{"antenna right", got.Geometry.AntennaRight, -0.025},
		{"row 1", got.Geometry.RowY[0], -0.762},
		{"tank", got.Tanks[0].Capacity, 0.3785411784},
	} {
		if math.Abs(tt.got-tt.want) > 1e-12 {
			t.Errorf("%s: %v, want %v", tt.name, tt.got, tt.want)
		}
	}
	if !math.IsNaN(got.Geometry.SeedFall) {
		t.Errorf("seed fall %v, want unknown", got.Geometry.SeedFall)
	}
}

func TestCardErrors(t *testing.T) {
	for _, tt := range []struct {
		name, card string
		line       int
		say        string
	}{
		{"no version", "rows = 16\n", 0, "card = 1"},
		{"newer", "# hello\ncard = 2\n", 2, "newer version"},
		{"no TOML", "card = 1\nrows == 3\n", 2, ""},
		{"unknown key", "card = 1\nrows = 16\ncolour = \"red\"\n", 3, "colour"},
		{"unknown key in a table", "card = 1\n\n[geometry]\nhitch = \"mounted\"\nantenna_hight_m = 2.0\n", 5, "geometry.antenna_hight_m"},
		{"unknown key in the second part", "card = 1\n[[tank]]\nnumber = 1\n[[tank]]\nnumber = 2\nsize = 4\n", 6, "tank[1].size"},
		{"row beyond", "card = 1\nrows = 8\n[[meter]]\nrows = \"1-16\"\ncrop = \"corn\"\n", 4, "row 16 is beyond the 8 rows"},
		{"rows wrong", "card = 1\nrows = 8\n[[meter]]\nrows = \"1-x\"\n", 4, "row list"},
		{"too wide", "card = 1\nrows = 129\n", 2, "1 to 128"},
		{"length without unit", "card = 1\nrow_spacing = 30\n", 2, "row_spacing_m"},
		{"length twice", "card = 1\nrow_spacing_m = 0.762\nrow_spacing_in = 30\n", 3, "same thing"},
		{"not a number", "card = 1\nrow_spacing_m = nan\n", 2, "wants a number"},
		{"inches for metres", "card = 1\nrows = 8\nrow_spacing_m = 30\n", 3, "row_spacing must lie between 0.1 and 2.5 m, not at 30 m. Inches are row_spacing_in"},
		{"metres for inches", "card = 1\nrow_spacing_in = 0.762\n", 2, "not at 0.01935 m"},
		{"no spacing", "card = 1\nrow_spacing_m = 0\n", 2, "not at 0 m"},
		{"spacing below 0", "card = 1\nrow_spacing_m = -0.762\n", 2, "not at -0.762 m"},
		{"hitch", "card = 1\n[geometry]\nhitch = \"towed\"\n", 3, "trailed or mounted"},
		{"seed line ahead", "card = 1\n[geometry]\nhitch_to_row_line_m = -3\n", 3, "between 0 and 30 m, not at -3 m"},
		{"feet for metres", "card = 1\n[geometry]\nhitch = \"mounted\"\nantenna_to_hitch_ft = 120\n", 4, "not at 36.58 m"},
		{"receiver behind", "card = 1\n[geometry]\nhitch = \"trailed\"\nantenna_to_hitch_in = -30\n", 4, "ahead of the hitch"},
		{"date", "card = 1\n[[attachment]]\nkind = \"a\"\nsince = \"20.4.2026\"\n", 4, "2026-04-20"},
		{"group", "card = 1\n[[group]]\nkind = \"air\"\n", 3, "vacuum, section"},
		{"row places", "card = 1\nrows = 3\n[geometry]\nrow_y_m = [1, 2]\n", 4, "2 places for 3 rows"},
		{"row places to and fro", "card = 1\nrows = 3\n[geometry]\nrow_y_m = [1, -1, 0]\n", 4, "neither rise nor fall"},
		{"tank twice", "card = 1\n[[tank]]\nnumber = 1\n[[tank]]\nnumber = 1\n", 5, "twice"},
		{"two meters", "card = 1\n[[meter]]\nrows = \"1-4\"\ncrop = \"corn\"\n[[meter]]\nrows = \"4\"\ncrop = \"corn\"\n", 6, "row 4 has two"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, err := plain.ReadCard("card.toml", []byte(tt.card))
			if err == nil {
				t.Fatal("no error")
			}
			var e *plain.Error
			if !errors.As(err, &e) || e.Line != tt.line || !strings.Contains(err.Error(), tt.say) {
				t.Errorf("%v\nwant line %d and %q", err, tt.line, tt.say)
			}
		})
	}
}

func someRows(t *rapid.T, of int) evenstand.Rows {
	lo := rapid.IntRange(1, of).Draw(t, "first")
	hi := rapid.IntRange(lo, of).Draw(t, "last")
	var r evenstand.Rows
	for n := lo; n <= hi; n++ {
		if rapid.Bool().Draw(t, "in") {
			r = append(r, n)
		}
	}
	return r
}

func TestCardRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		word := rapid.StringMatching(`([a-z"\\é#=\[\]',]{1,8})?`)
		length := func(name string, least, most float64) float64 {
			if rapid.Bool().Draw(t, "known") {
				return rapid.Float64Range(least, most).Draw(t, name)
			}
			return math.NaN()
		}
		c := evenstand.NewCard()
		c.Name = word.Draw(t, "name")
		c.Rows = rapid.IntRange(1, evenstand.MaxRows).Draw(t, "rows")
		c.RowSpacing = rapid.Float64Range(0.1, 2.5).Draw(t, "spacing")
		c.Geometry.Hitch = rapid.SampledFrom([]evenstand.Hitch{"", evenstand.Trailed, evenstand.Mounted}).Draw(t, "hitch")
		ahead := -10.0
		if c.Geometry.Hitch == evenstand.Trailed {
			ahead = 0
		}
		c.Geometry.AntennaToHitch = length("a", ahead, 30)
		c.Geometry.HitchToRowLine = length("b", 0, 30)
		c.Geometry.AntennaRight = length("c", -10, 10)
		if rapid.Bool().Draw(t, "places") {
			for i := range c.Rows {
				c.Geometry.RowY = append(c.Geometry.RowY, float64(i)*c.RowSpacing-1.1)
			}
		}
		for i := range rapid.IntRange(0, 3).Draw(t, "n") {
			c.Meters = append(c.Meters, evenstand.Meter{Rows: someRows(t, c.Rows), Crop: "crop" + string(rune('a'+i)), Cells: rapid.IntRange(0, 100).Draw(t, "cells")})
			c.Groups = append(c.Groups, evenstand.Group{Kind: "frame", Name: word.Draw(t, "group"), Rows: someRows(t, c.Rows)})
			c.Attachments = append(c.Attachments, evenstand.Attachment{Kind: "k" + word.Draw(t, "kind"), Label: word.Draw(t, "label"), Rows: someRows(t, c.Rows), Since: rapid.SampledFrom([]string{"", "2026-04-20"}).Draw(t, "since")})
			c.Sections = append(c.Sections, evenstand.Section{Number: i + 1, Rows: someRows(t, c.Rows)})
			c.Tanks = append(c.Tanks, evenstand.Tank{Number: i + 1, Name: word.Draw(t, "tank"), Capacity: rapid.Float64Range(1e-6, 50).Draw(t, "capacity"), Feeds: someRows(t, c.Rows)})
		}
		got, err := plain.ReadCard("card.toml", plain.WriteCard(c))
		if err != nil {
			t.Fatalf("%v\n%s", err, plain.WriteCard(c))
		}
		if d := cmp.Diff(c, got, nanEqual); d != "" {
			t.Errorf("(-want +got):\n%s", d)
		}
	})
}

func FuzzReadCard(f *testing.F) {
	f.Add([]byte(minimal))
	f.Add([]byte("card = 1\n[[a]]\n[[a.b]]\nc.d = {e = 1}\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		c, err := plain.ReadCard("card.toml", data)
		if err != nil {
			return
		}
		again, err := plain.ReadCard("card.toml", plain.WriteCard(c))
		if err != nil {
			t.Fatalf("written and read back: %v\n%s", err, plain.WriteCard(c))
		}
		if d := cmp.Diff(c, again, nanEqual); d != "" {
			t.Errorf("(-want +got):\n%s", d)
		}
	})
}

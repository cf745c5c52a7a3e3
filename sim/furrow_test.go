package sim_test

import (
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"evenstand/sim"
)

const inFurrow = small + `
[output]
grade = "B"
furrow = true
`

// Sensors in the furrow have generators of their own: seeds, receiver and states
// of a day are the same bytes with them and without.
func TestFurrowLeavesSeedsAlone(t *testing.T) {
	with, _ := run(t, inFurrow)
	bare, _ := run(t, small+"[output]\ngrade = \"B\"\n")
	for _, box := range []string{"guidance", "machine", "rows"} {
		if digest(t, filepath.Join(with, "boxes", box)) != digest(t, filepath.Join(bare, "boxes", box)) {
			t.Errorf("the box %s logs something else with sensors in the furrow", box)
		}
	}
	again, _ := run(t, inFurrow)
	if digest(t, with) != digest(t, again) {
		t.Error("two runs of one scenario differ")
	}
}

// A fault changes what it is of by its strength, on its rows alone.
func TestFurrowFaults(t *testing.T) {
	sound, _ := run(t, inFurrow)
	for _, tt := range []struct {
		fault    string
		quantity string
		row      string // empty: all rows
		by, tol  float64
	}{
		{"kind = \"dry-furrow\"\nstrength = 0.1", "seed_zone_moisture", "", -0.1, 0.002},
		{"kind = \"dry-furrow\"\nvariant = \"firmer\"\nrows = \"3\"\nstrength = 0.05", "seed_zone_moisture", "row 3", -0.05, 0.001},
		{"kind = \"dry-furrow\"\nvariant = \"closing\"\nrows = \"3\"\nstrength = 0.05", "seed_zone_temperature", "row 3", 0.8, 0.05},
		{"kind = \"cold-furrow\"\nstrength = 4", "seed_zone_temperature", "", -4, 0.01},
		{"kind = \"dirty-furrow\"\nstrength = 0.2", "slot_trash", "", 0.2, 0.005},
		{"kind = \"dirty-furrow\"\nvariant = \"row\"\nrows = \"2\"\nstrength = 0.2", "slot_trash", "row 2", 0.2, 0.005},
		{"kind = \"cleaner-upset\"\nrows = \"2\"\nstrength = 0.3", "slot_trash", "row 2", 0.1, 0.03}, // 4 s of 12
	} {
		fault, sum := run(t, inFurrow+"[[fault]]\n"+tt.fault+"\n")
		a, b := logged(t, sound, "furrow", tt.quantity), logged(t, fault, "furrow", tt.quantity)
		for row := range a {
			want := 0.0
			if tt.row == "" || row == tt.row {
				want = tt.by
			}
			if d := mean(b[row]) - mean(a[row]); math.Abs(d-want) > tt.tol {
				t.Errorf("%s: %s changes by %.4f, want %.4f", tt.fault, row, d, want)
			}
		}
		if f := sum.Faults[0]; !f.Happened || len(f.Causes) == 0 {
			t.Errorf("truth %+v", f)
		}
	}
}

// A dig that finds an open slot stands in the journal, to the minute, and so does
// one that finds it closed.
func TestDigs(t *testing.T) {
	out, sum := run(t, small+"[[fault]]\nkind = \"slot-open\"\nrows = \"2\"\n[[fault]]\nkind = \"good-dig\"\nrows = \"3\"\nat_h = 0.02\n")
	text, err := os.ReadFile(filepath.Join(out, "boxes", "journal", "journal.csv"))
	if err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(string(text), ",dig,"); n != 2 {
		t.Errorf("%d digs in\n%s", n, text)
	}
	if f := sum.Faults[0]; !f.Detectable || f.Kind != "slot-open" {
		t.Errorf("truth %+v", f)
	}
	if f := sum.Faults[1]; f.Detectable || !f.Distract {
		t.Errorf("truth %+v", f)
	}
}

// A fault of what nobody logs is refused with what to say.
func TestFurrowRefused(t *testing.T) {
	for _, tt := range []struct{ text, want string }{
		{small + "[[fault]]\nkind = \"dry-furrow\"\n", "output.furrow"},
		{inFurrow + "[[fault]]\nkind = \"dry-furrow\"\nvariant = \"closing\"\n", "rows"},
		{inFurrow + "[[fault]]\nkind = \"cleaner-upset\"\n", "rows"},
		{inFurrow + "[[fault]]\nkind = \"cold-furrow\"\nstrength = 40\n", "strength"},
	} {
		if _, err := sim.Parse(tt.text); err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%v, want %q in it", err, tt.want)
		}
	}
}

package sim_test

import (
	"bytes"
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"evenstand/sim"
)

const ground = small + `
[output]
grade = "B"
liquid_l_ha = 47
wheel_load = "auto"
`

// logged gives the values of one quantity that a box wrote, by element and time.
func logged(t *testing.T, out, box, quantity string) map[string]map[string]float64 {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(out, "boxes", box, "readings.csv"))
	if err != nil {
		t.Fatal(err)
	}
	recs, err := csv.NewReader(bytes.NewReader(b)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	got := map[string]map[string]float64{}
	for _, r := range recs[1:] {
		if r[1] != quantity {
			continue
		}
		if got[r[2]] == nil {
			got[r[2]] = map[string]float64{}
		}
		if got[r[2]][r[0]], err = strconv.ParseFloat(r[3], 64); err != nil {
			t.Fatal(err)
		}
	}
	return got
}

func mean(m map[string]float64) float64 {
	s := 0.0
	for _, v := range m {
		s += v
	}
	return s / float64(len(m))
}

// Liquid and loads have generators of their own: seeds, receiver and states of
// a day are the same bytes with them and without.
func TestGroundLeavesSeedsAlone(t *testing.T) {
	with, _ := run(t, ground)
	bare, _ := run(t, small+"[output]\ngrade = \"B\"\n")
	for _, box := range []string{"guidance", "machine", "rows"} {
		if digest(t, filepath.Join(with, "boxes", box)) != digest(t, filepath.Join(bare, "boxes", box)) {
			t.Errorf("the box %s logs something else with liquid and loads", box)
		}
	}
	again, _ := run(t, ground)
	if digest(t, with) != digest(t, again) {
		t.Error("two runs of one scenario differ")
	}
}

// simulator.md, section 6: 5 % a second by row, the loop holds the total, so
// that what one row of six does not take the other five get: by hand 0.5/6
// spread, each 6/5.5 = 1.091 of its share.
func TestLiquidIsHeld(t *testing.T) {
	sound, _ := run(t, ground)
	fault, sum := run(t, ground+"[[fault]]\nkind = \"liquid-row-low\"\nrows = \"2\"\nstrength = 0.5\n")
	if f := sum.Faults[0]; !f.Detectable || f.Kind != "liquid-row-low" || f.Bushels <= 0 {
		t.Errorf("truth %+v", f)
	}
	a, b := logged(t, sound, "liquid", "liquid_flow"), logged(t, fault, "liquid", "liquid_flow")
	total := 0.0
	for row, was := range a {
		want := 6 / 5.5
		if row == "row 2" {
			want = 0.5 * 6 / 5.5
		}
		if got := mean(b[row]) / mean(was); math.Abs(got-want) > 0.01 {
			t.Errorf("%s gets %.3f of what it got, want %.3f", row, got, want)
		}
		total += mean(b[row]) / mean(was)
	}
	if math.Abs(total-6) > 0.05 {
		t.Errorf("the total is %.3f of six rows'", total)
	}
}

// A meter that reads too little shows the target while 10 % more goes on.
func TestMeterLies(t *testing.T) {
	sound, _ := run(t, ground)
	fault, _ := run(t, ground+"[[fault]]\nkind = \"liquid-rate-off\"\nvariant = \"meter\"\nstrength = 0.1\n")
	if a, b := mean(logged(t, sound, "liquid", "liquid_rate")["machine"]), mean(logged(t, fault, "liquid", "liquid_rate")["machine"]); math.Abs(b/a-1) > 0.005 {
		t.Errorf("the machine's meter shows %.3f of before", b/a)
	}
	a, b := logged(t, sound, "liquid", "liquid_flow"), logged(t, fault, "liquid", "liquid_flow")
	for row := range a {
		if x := mean(b[row]) / mean(a[row]); math.Abs(x-1.1) > 0.01 {
			t.Errorf("%s gets %.3f of before, want 1.1", row, x)
		}
	}
}

// simulator.md, section 5: automatic force holds the load, under one reading in
// fifty off the ground; a fault takes the load down by its strength, on its row
// alone, and its truth says how much is off.
func TestWheelLoad(t *testing.T) {
	sound, _ := run(t, ground)
	fault, sum := run(t, ground+"[[fault]]\nkind = \"contact-loss\"\nvariant = \"actuator\"\nrows = \"4\"\nstrength = 500\n")
	a, b := logged(t, sound, "load", "gauge_wheel_load"), logged(t, fault, "load", "gauge_wheel_load")
	fa, fb := logged(t, sound, "load", "applied_force"), logged(t, fault, "load", "applied_force")
	off := logged(t, fault, "load", "wheel_off_share")
	for row := range a {
		if m := mean(a[row]); m < 700 || m > 850 {
			t.Errorf("%s carries %.0f N, want about 780 with the lower tail", row, m)
		}
		want := 0.0
		if row == "row 4" {
			want = 500
		} else if x := mean(off[row]); x > 0.02 {
			t.Errorf("%s is off the ground %.3f of the way", row, x)
		}
		// Loads are cut off at nothing, forces are not.
		if d := mean(fa[row]) - mean(fb[row]); math.Abs(d-want) > 1 {
			t.Errorf("%s is pressed with %.0f N less, want %.0f", row, d, want)
		}
		if d := mean(a[row]) - mean(b[row]); d < want-60 || d > want+1 {
			t.Errorf("%s carries %.0f N less, want %.0f", row, d, want)
		}
	}
	f := sum.Faults[0]
	if x := mean(off["row 4"]); math.Abs(x-f.Params["off"]) > 0.01 || f.Params["off_without"] > 0.02 || !f.Detectable {
		t.Errorf("truth %v, the box shows %.3f off", f.Params, x)
	}
}

// A fault of what nobody logs is refused with what to say.
func TestGroundRefused(t *testing.T) {
	for _, tt := range []struct{ fault, want string }{
		{"kind = \"liquid-row-low\"\nrows = \"2\"", "output.liquid_l_ha"},
		{"kind = \"overload\"", "output.wheel_load"},
		{"kind = \"contact-loss\"\nvariant = \"wear\"", "rows"},
	} {
		text := small
		if tt.want == "rows" {
			text = ground
		}
		if _, err := sim.Parse(text + "[[fault]]\n" + tt.fault + "\n"); err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%q: %v, want %q in it", tt.fault, err, tt.want)
		}
	}
}

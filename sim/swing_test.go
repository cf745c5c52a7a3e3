package sim_test

import (
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"evenstand/sim"
)

const swings = small + `
[output]
grade = "B"
liquid_l_ha = 47
wheel_load = "auto"
force_hz = 5
`

func values(m map[string]float64) (times []string, out []float64) {
	for t := range m {
		times = append(times, t)
	}
	slices.Sort(times)
	for _, t := range times {
		out = append(out, m[t])
	}
	return times, out
}

// Force and load swing by the same, on the rows that are named, and the mean
// stays; five readings a second are five times those of one.
func TestForceSwings(t *testing.T) {
	sound, _ := run(t, swings)
	slow, _ := run(t, ground)
	fault, sum := run(t, swings+"[[fault]]\nkind = \"force-hunting\"\nvariant = \"actuator\"\nrows = \"4\"\nstrength = 200\nhz = 0.5\n")
	a, b := logged(t, sound, "load", "applied_force"), logged(t, fault, "load", "applied_force")
	la, lb := logged(t, sound, "load", "gauge_wheel_load"), logged(t, fault, "load", "gauge_wheel_load")
	if n, want := len(a["row 1"]), 5*len(logged(t, slow, "load", "applied_force")["row 1"]); math.Abs(float64(n-want)) > 10 {
		t.Errorf("%d readings of a row, want about %d", n, want)
	}
	for row := range a {
		sd := 0.0
		for at, v := range a[row] {
			d := b[row][at] - v
			sd += d * d / float64(len(a[row]))
			if e := lb[row][at] - la[row][at]; math.Abs(d-e) > 2 && lb[row][at] > 0 && la[row][at] > 0 {
				t.Fatalf("%s at %s: force %.0f N, load %.0f N", row, at, d, e)
			}
		}
		want := 0.0
		if row == "row 4" {
			want = 200 / math.Sqrt2
		}
		if math.Abs(math.Sqrt(sd)-want) > 5 {
			t.Errorf("%s swings by an SD of %.0f N, want %.0f", row, math.Sqrt(sd), want)
		}
		if d := mean(b[row]) - mean(a[row]); math.Abs(d) > 5 {
			t.Errorf("%s is pressed with %.1f N more on average", row, d)
		}
	}
	if f := sum.Faults[0]; f.Params["hz"] != 0.5 || !f.Happened || f.Cause != "row force actuator" || f.Bushels != 0 {
		t.Errorf("truth %+v", f)
	}
	if digest(t, filepath.Join(sound, "boxes", "liquid")) != digest(t, filepath.Join(fault, "boxes", "liquid")) {
		t.Error("force that swings changes the liquid")
	}
}

// The rate swings about what is asked for; a fixed distance is one whatever the
// speed.
func TestFlowSwings(t *testing.T) {
	for _, variant := range []string{"gain", "drive"} {
		out, sum := run(t, swings+"[[fault]]\nkind = \"flow-hunting\"\nvariant = \""+variant+"\"\nstrength = 0.2\nhz = 0.125\n")
		_, vs := values(logged(t, out, "liquid", "liquid_rate")["machine"])
		m, sd := 0.0, 0.0
		for _, v := range vs {
			m += v / float64(len(vs))
		}
		for _, v := range vs {
			sd += (v/m - 1) * (v/m - 1) / float64(len(vs))
		}
		if math.Abs(m-47) > 1 || math.Sqrt(sd) < 0.11 || math.Sqrt(sd) > 0.19 {
			t.Errorf("%s: mean %.1f L/ha, SD %.3f, want 47 and about 0.14", variant, m, math.Sqrt(sd))
		}
		if f := sum.Faults[0]; f.Bushels != 0 || !f.Happened {
			t.Errorf("truth %+v", f)
		}
	}
}

// The flow is flat above the limit: at 4 m/s and a limit of 0.8 of it a fifth is
// missing, and the truth counts it.
func TestPumpLimits(t *testing.T) {
	out, sum := run(t, swings+"[[fault]]\nkind = \"pump-limit\"\nvariant = \"pump\"\nstrength = 0.8\n")
	_, vs := values(logged(t, out, "liquid", "liquid_rate")["machine"])
	slices.Sort(vs)
	if m := vs[len(vs)/2]; math.Abs(m/47-0.8) > 0.03 {
		t.Errorf("the middle rate is %.2f of what is asked for", m/47)
	}
	f := sum.Faults[0]
	lost := sum.Day.Area / 4046.8564224 * 190 * sum.Day.Coefficients.Starter
	if !f.Happened || f.Bushels < 0.15*lost || f.Bushels > 0.21*lost || f.Params["lacking_s"] < 0.8*f.Planting {
		t.Errorf("truth %.3f bu of %.3f, %+v", f.Bushels, lost, f)
	}
	if !slices.Contains(f.Causes, "pump worn or too small") {
		t.Errorf("causes %v", f.Causes)
	}
}

func TestSwingsRefused(t *testing.T) {
	for _, tt := range []struct{ base, fault, want string }{
		{small, "kind = \"force-hunting\"", "output.wheel_load"},
		{small, "kind = \"flow-hunting\"", "output.liquid_l_ha"},
		{small, "kind = \"pump-limit\"", "output.liquid_l_ha"},
		{swings, "kind = \"force-hunting\"\nvariant = \"actuator\"", "say rows"},
		{swings, "kind = \"flow-hunting\"\nhz = 7", "hz 7"},
	} {
		if _, err := sim.Parse(tt.base + "[[fault]]\n" + tt.fault + "\n"); err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%q: %v, want %q in it", tt.fault, err, tt.want)
		}
	}
}

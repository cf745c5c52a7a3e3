package sim_test

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"evenstand"
	"evenstand/sim"
)

// What a scenario says is wrong with the ground stands in the truth, with its
// size: by hand, two strips of 20 and 40 m of 6 rows of 30 in are 274 m2.
func TestGroundPlan(t *testing.T) {
	dir := t.TempDir()
	text := `
name = "ground"
seed = 7001
hours = 3
[planter]
rows = 6
card_right_m = 0.2
[[field]]
name = "home place"
shape = "rect"
passes = 16
length_m = 250
headlands = 1
ground = { missed_m = [20, 40], late_in_s = 2 }
`
	path := filepath.Join(dir, "g.toml")
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	s, err := sim.Load(path)
	if err != nil {
		t.Fatal(err)
	}
	out := filepath.Join(dir, "out")
	if _, err := sim.Run(context.Background(), s, out, nil); err != nil {
		t.Fatal(err)
	}
	truth, err := sim.ReadTruth(out)
	if err != nil {
		t.Fatal(err)
	}
	got := map[string]sim.Fault{}
	for _, f := range truth.Faults {
		got[f.Kind] = f
	}
	if f := got[evenstand.KindUnplantedLeft]; f.Params["m2"] < 274 || f.Params["m2"] > 275 || !f.Detectable {
		t.Errorf("left %+v", f)
	}
	if f := got[evenstand.KindLateSection]; f.Params["s"] != 2 || f.Cause != evenstand.CauseSectionDelay {
		t.Errorf("late %+v", f)
	}
	if f := got[evenstand.KindOffsetDoubt]; f.Params["m"] != 0.2 || !f.Detectable {
		t.Errorf("aside %+v", f)
	}
	card, err := os.ReadFile(filepath.Join(out, "card.toml"))
	if err != nil || !strings.Contains(string(card), "antenna_right_m = 0.2") {
		t.Errorf("the card does not say 0.2: %v", err)
	}
}

func TestGroundPlanRefused(t *testing.T) {
	for _, g := range []string{"missed_m = [400]", "missed_m = [10, 10, 10, 10, 10, 10]", "late_in_s = 50", "missed_pass = 99", "guess_row_m = 3"} {
		path := filepath.Join(t.TempDir(), "g.toml")
		text := "name = \"x\"\nhours = 1\n[[field]]\nname = \"f\"\npasses = 12\nlength_m = 250\nground = { " + g + " }\n"
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := sim.Load(path); err == nil {
			t.Errorf("%s was taken", g)
		}
	}
}

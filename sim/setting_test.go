package sim_test

import (
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"evenstand"
	"evenstand/format/plain"
	"evenstand/sim"
)

const levers = small + `
[output]
grade = "B"
wheel_load = "auto"
furrow = true
`

// untouched tells whether two runs logged the same of an element.
func sameOf(a, b map[string]map[string]float64, element string) bool {
	if len(a[element]) != len(b[element]) {
		return false
	}
	for t, v := range a[element] {
		if b[element][t] != v {
			return false
		}
	}
	return true
}

// What a change truly did is what the logs differ by from the same day without
// it, on its rows and on no others.
func TestSettingsDoWhatTheTruthSays(t *testing.T) {
	for _, x := range []struct {
		name, plan string
		truth      []string // of the measures that it moves
		box        string
		slack      float64 // of the difference of means, in the measure's unit
	}{
		{"cleaners", "lever = \"cleaner_pressure\"\nrows = \"4-6\"\nat_h = 0.1\nto = 40\nunit = \"psi\"\n", []string{"slot_trash", "seed_zone_moisture"}, "furrow", 0.004},
		{"load", "lever = \"gauge_wheel_load_target\"\nrows = \"4-6\"\nat_h = 0.1\nto = 500\n", []string{"gauge_wheel_load", "applied_force", "wheel_off_share"}, "load", 6},
		{"mode", "lever = \"force_mode\"\nrows = \"4-6\"\nat_h = 0.1\nmode = \"fixed\"\n", []string{"applied_force"}, "load", 6},
		{"off", "lever = \"force_mode\"\nrows = \"4-6\"\nat_h = 0.1\nmode = \"off\"\n", []string{"gauge_wheel_load", "wheel_off_share"}, "load", 6},
		{"depth", "lever = \"depth\"\nrows = \"4-6\"\nat_h = 0.1\nto = 60\nunit = \"mm\"\n", []string{"seed_zone_moisture", "seed_zone_temperature"}, "furrow", 0.02},
	} {
		t.Run(x.name, func(t *testing.T) {
			// A change of nothing, so that the same boxes log.
			without, _ := run(t, levers)
			with, _ := run(t, levers+"[[setting]]\n"+x.plan)
			truth, _, err := sim.ReadSettings(with)
			if err != nil || len(truth.Settings) != 1 {
				t.Fatalf("%v, %+v", err, truth)
			}
			s := truth.Settings[0]
			if !slices.Equal(s.Rows, evenstand.Rows{4, 5, 6}) || s.Noted == nil || math.Abs((s.Noted.T-s.T).Seconds()) > 90 {
				t.Errorf("%+v", s)
			}
			for _, m := range x.truth {
				e, ok := s.Effect[m]
				if !ok {
					t.Fatalf("no effect on %s: %v", m, s.Effect)
				}
				a, b := logged(t, without, x.box, m), logged(t, with, x.box, m)
				sum, n := 0.0, 0.0
				for row, of := range b {
					if row < "row 4" {
						if !sameOf(a, b, row) {
							t.Errorf("%s of %s is another day's", m, row)
						}
						continue
					}
					for at, v := range of {
						if d := v - a[row][at]; d != 0 || n > 0 {
							sum += d
							n++
						}
					}
				}
				// Seconds before the change differ by nothing and are not counted there.
				total := e.By * e.N
				if m == "gauge_wheel_load" || m == "applied_force" || m == "wheel_off_share" {
					total /= 5 // true five times a second, logged once
				}
				if d := math.Abs(sum-total) / math.Max(1, e.N/5); d > x.slack || total == 0 || sum*total < 0 {
					t.Errorf("%s: the logs differ by %.4g, the truth says %.4g (%+v)", m, sum, total, e)
				}
			}
		})
	}
}

// Switched by pass, the changes come in turns, back and forth.
func TestSettingByPass(t *testing.T) {
	out, _ := run(t, levers+"[[setting]]\nlever = \"cleaner_pressure\"\nrows = \"right\"\nat_h = 0.02\nfrom = 20\nto = 30\nunit = \"psi\"\neach_passes = 1\ntimes = 4\n")
	truth, _, err := sim.ReadSettings(out)
	if err != nil || len(truth.Settings) != 4 {
		t.Fatalf("%v, %+v", err, truth)
	}
	for i, s := range truth.Settings {
		up := *s.To > *s.From
		if up != (i%2 == 0) || i < 3 && (s.Until == nil || *s.Until != truth.Settings[i+1].T) {
			t.Errorf("%d: %+v", i, s)
		}
		if e := s.Effect["slot_trash"]; (e.By < 0) != up {
			t.Errorf("%d: trash %+v", i, e)
		}
	}
}

// Speed, vacuum and rate do to the meters what the truth says, as far as counts
// of a short day can tell.
func TestSettingsOfTheMeters(t *testing.T) {
	out, sum := run(t, small+"[output]\ngrade = \"A\"\n"+
		"[[setting]]\nlever = \"ground_speed\"\nat_h = 0.05\nto = 3.2\n[[setting]]\nlever = \"vacuum\"\nrows = \"left\"\nat_h = 0.1\nto = 4000\n[[setting]]\nlever = \"seed_rate_target\"\nrows = \"5,6\"\nat_h = 0.15\nto = 30000\nunit = \"1/ac\"\n")
	if sum.Day.Places == 0 {
		t.Fatal("nothing was planted")
	}
	truth, _, err := sim.ReadSettings(out)
	if err != nil || len(truth.Settings) != 3 {
		t.Fatalf("%v, %+v", err, truth)
	}
	speed, vacuum, rate := truth.Settings[0].Effect, truth.Settings[1].Effect, truth.Settings[2].Effect
	if speed["spacing_cv"].By >= 0 || speed["skip_fraction"].By >= 0 {
		t.Errorf("slower: %+v", speed)
	}
	if vacuum["skip_fraction"].By <= 0 || vacuum["double_fraction"].By >= 0 {
		t.Errorf("less vacuum: %+v", vacuum)
	}
	if r := rate["seed_rate"]; math.Abs(r.With/r.Without-30000.0/34000) > 1e-6 {
		t.Errorf("rate: %+v", rate)
	}
	got := logged(t, out, "machine", "seed_rate_target")
	if len(got["row 5"]) == 0 || len(got["machine"]) != 0 {
		t.Errorf("targets of %d elements, %d of row 5", len(got), len(got["row 5"]))
	}
}

// What is mounted does what it is said to from its date on, in place of what was
// there; the card keeps what was mounted before.
func TestAttachments(t *testing.T) {
	const plan = levers + "counts = 3\n" + `
[[attachment]]
kind = "closing_wheel"
label = "plain"
rows = "all"
[[attachment]]
kind = "closing_wheel"
label = "spoked"
rows = "2,3"
since = "2026-05-01"
moisture = 0.03
[[attachment]]
kind = "closing_wheel"
label = "plain"
rows = "2"
since = "2026-05-02"
[[attachment]]
kind = "row_cleaner"
label = "later"
rows = "1"
since = "2026-06-01"
trash = 0.2
`
	without, _ := run(t, levers)
	with, _ := run(t, plan)
	_, truth, err := sim.ReadSettings(with)
	if err != nil || len(truth.Attachments) != 4 {
		t.Fatalf("%v, %+v", err, truth)
	}
	if got := truth.Attachments; !slices.Equal(got[1].On, evenstand.Rows{3}) || len(got[3].On) != 0 || got[1].By["seed_zone_moisture"] != 0.03 {
		t.Errorf("%+v", got)
	}
	a, b := logged(t, without, "furrow", "seed_zone_moisture"), logged(t, with, "furrow", "seed_zone_moisture")
	if !sameOf(a, b, "row 2") || !sameOf(a, b, "row 1") {
		t.Error("rows without it are another day's")
	}
	if d := mean(b["row 3"]) - mean(a["row 3"]); math.Abs(d-0.03) > 1e-3 {
		t.Errorf("row 3 is %.4f moister", d)
	}
	text, err := os.ReadFile(filepath.Join(with, "card.toml"))
	if err != nil {
		t.Fatal(err)
	}
	card, err := plain.ReadCard("card.toml", text)
	if err != nil || len(card.Attachments) != 3 {
		t.Errorf("%v, %+v", err, card.Attachments)
	}
	counts, err := os.ReadFile(filepath.Join(with, "counts", "journal.csv"))
	if err != nil || strings.Count(string(counts), ",count,") < 6 {
		t.Errorf("%v, %s", err, counts)
	}
}

// Days of one season share what the rows are, and nothing else.
func TestSeasonSeed(t *testing.T) {
	season := strings.Replace(small, "seed = 5", "seed = 5\nseason_seed = 99", 1) + "[meter]\nrow_sd = 1.2\n[output]\ngrade = \"A\"\n"
	a, _ := run(t, season)
	b, _ := run(t, strings.Replace(season, "seed = 5", "seed = 6", 1))
	skips := func(out string) map[int]float64 {
		st, err := sim.ReadStretches(out)
		if err != nil {
			t.Fatal(err)
		}
		by := map[int]float64{}
		for _, s := range st {
			by[s.Row] += float64(s.Skips)
		}
		return by
	}
	x, y := skips(a), skips(b)
	for r := range x {
		if ratio := x[r] / y[r]; ratio < 0.6 || ratio > 1.7 {
			t.Errorf("row %d skips %g and %g times", r, x[r], y[r])
		}
	}
	if digest(t, a) == digest(t, b) {
		t.Error("two days are one")
	}
}

func TestSettingsRefused(t *testing.T) {
	for _, x := range []struct{ plan, want string }{
		{"[[setting]]\nlever = \"wind\"\nto = 1\n", "not known"},
		{"[[setting]]\nlever = \"vacuum\"\n", "say to"},
		{"[[setting]]\nlever = \"vacuum\"\nto = 1\n", "want 1000"},
		{"[[setting]]\nlever = \"vacuum\"\nrows = \"2\"\nto = 4000\n", "left or right"},
		{"[[setting]]\nlever = \"ground_speed\"\nrows = \"2\"\nto = 3\n", "all rows"},
		{"[[setting]]\nlever = \"force_mode\"\nmode = \"soft\"\n", "want mode"},
		{"[[setting]]\nlever = \"cleaner_pressure\"\nto = 20\nunit = \"psi\"\nnoted = \"maybe\"\n", "noted"},
		{"[[attachment]]\nkind = \"closing_wheel\"\nrows = \"2\"\n", "label"},
		{"[[attachment]]\nkind = \"closing_wheel\"\nlabel = \"x\"\nrows = \"2\"\nsince = \"May\"\n", "date"},
		{"[[attachment]]\nkind = \"closing_wheel\"\nlabel = \"x\"\nrows = \"2\"\ntrash = 3\n", "range"},
	} {
		if _, err := sim.Parse(levers + x.plan); err == nil || !strings.Contains(err.Error(), x.want) {
			t.Errorf("%s: %v, want %q", x.plan, err, x.want)
		}
	}
	for plan, want := range map[string]string{
		"[[setting]]\nlever = \"depth\"\nto = 0.05\n":             "",
		"[[setting]]\nlever = \"cleaner_pressure\"\nto = 20000\n": "furrow",
		"[[setting]]\nlever = \"applied_force\"\nto = 500\n":      "wheel_load",
	} {
		_, err := sim.Parse(small + plan)
		if (err == nil) != (want == "") || err != nil && !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v", plan, err)
		}
	}
}

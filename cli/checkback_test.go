package cli_test

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"evenstand"
	"evenstand/core/stat"
)

// checkedFault is a fault of a day for check-backs: it begins at 1.2 h and is
// mended at 2.2 h, or lasts.
type checkedFault struct {
	kind, rows, variant, strength string
	found                         []string // kinds that it is found as
}

// checkDay is a day of four hours with what it takes to check back.
const checkDay = `name = "mended and not"
hours = 4
[timetable]
lunch = ""
[planter]
rows = 24
[output]
%s
[[field]]
name = "north place"
passes = 90
length_m = 700
headlands = 0
`

// checkSets are faults that go together on one day.
var checkSets = []struct {
	output string
	long   int // days
	faults []checkedFault
}{
	{"liquid_l_ha = 60\nwheel_load = \"auto\"", 24, []checkedFault{
		{"blocked-cell", "2", "", "0.97", []string{"blocked-cell", "weak-cell"}},
		{"weak-cell", "4", "", "0.5", []string{"blocked-cell", "weak-cell"}},
		{"row-skips", "6", "seal", "3", []string{"row-skips"}},
		{"row-doubles", "9", "", "4", []string{"row-doubles"}},
		{"row-bounce", "12", "tube", "1.9", []string{"row-bounce"}},
		{"liquid-row-low", "15", "", "0.8", []string{"liquid-row-low"}},
		{"contact-loss", "21", "wear", "700", []string{"contact-loss"}},
		{"row-skips", "23", "fit", "2.2", []string{"row-skips"}},
	}},
	{"liquid_l_ha = 60", 12, []checkedFault{
		{"low-vacuum", "1-12", "hose", "1.6", []string{"low-vacuum"}},
		{"liquid-rate-off", "", "control", "0.09", []string{"liquid-rate-off"}},
		{"starved-row", "18", "bridging", "", []string{"starved-row"}},
		{"row-left-off", "21", "", "", []string{"row-left-off"}},
		{"row-stopped", "23", "tube", "", []string{"row-stopped"}},
	}},
	{"granular_kg_ha = 6\nwheel_load = \"auto\"\nfurrow = true", 12, []checkedFault{
		{"rate-off", "", "setting", "0.05", []string{"rate-off"}},
		{"overload", "", "all", "900", []string{"overload"}},
		{"granular-row-off", "6", "bridge", "0.7", []string{"granular-row-off"}},
		{"dirty-furrow", "", "residue", "0.2", []string{"dirty-furrow"}},
	}},
	{"grade = \"B\"\nsmoothing_s = 3", 12, []checkedFault{
		{"row-skips", "6", "seal", "4", []string{"row-skips"}},
		{"row-doubles", "9", "", "4", []string{"row-doubles"}},
		{"row-skips", "14", "fit", "2.5", []string{"row-skips"}},
		{"row-stopped", "20", "tube", "", []string{"row-stopped"}},
	}},
}

// Whole days on the simulator: of each pair of faults one is mended at a known
// time and said to be done a minute later, the other is said to be done and is
// not. How often the verdict is right, and how long it takes, stands in
// docs/measured.md.
func TestCheckBackOnSimulatedDays(t *testing.T) {
	long := os.Getenv("EVENSTAND_VERIFY") == "long"
	if testing.Short() {
		t.Skip("a whole day")
	}
	type tally struct {
		right, wrong, open int
		minutes            []float64
	}
	all := map[string]*tally{}
	wrong, judged := 0, 0
	type job struct{ set, d int }
	var jobs []job
	for k, set := range checkSets {
		days := 1
		if long {
			days = set.long
		} else if k > 0 {
			continue
		}
		for d := range days {
			jobs = append(jobs, job{k, d})
		}
	}
	one := func(t *testing.T, j job) {
		d, set := j.d, &checkSets[j.set]
		dir := t.TempDir() // gone with the day: a day takes some 400 MB
		day := fmt.Sprintf("seed = %d\n", 7401+50*j.set+d) + fmt.Sprintf(checkDay, set.output)
		mended := map[string]bool{}
		for i, f := range set.faults {
			day += fmt.Sprintf("[[fault]]\nkind = %q\nat_h = 1.2\n", f.kind)
			if f.rows != "" {
				day += fmt.Sprintf("rows = %q\n", f.rows)
			}
			if f.variant != "" {
				day += fmt.Sprintf("variant = %q\n", f.variant)
			}
			if f.strength != "" {
				day += "strength = " + f.strength + "\n"
			}
			if (i+d)%2 == 0 {
				day += "minutes = 60\n"
				mended[f.kind+f.rows] = true
			}
		}
		scenario := filepath.Join(dir, "day.toml")
		if err := os.WriteFile(scenario, []byte(day), 0o644); err != nil {
			t.Fatal(err)
		}
		sim, book := filepath.Join(dir, "sim"), filepath.Join(dir, "book")
		must(t, "simulate", scenario, sim)
		must(t, "new", book, "--zone", "America/Chicago", "--planter", filepath.Join(sim, "card.toml"))
		run(context.Background(), "read", book, filepath.Join(sim, "boxes")) // a value that cannot be is left out
		list := func() []evenstand.Finding {
			var w evenstand.Worklist
			if err := json.Unmarshal([]byte(must(t, "worklist", book, "--all", "--json")), &w); err != nil {
				t.Fatal(err)
			}
			return w.Findings
		}
		zone, _ := time.LoadLocation("America/Chicago")
		of := map[string]checkedFault{}
		for _, f := range list() {
			for _, x := range set.faults {
				if f.Stage == evenstand.Raised && (x.rows == "" || f.Rows.String() == x.rows) && slices.Contains(x.found, f.Kind) {
					at := begin(t, sim, x.kind) + evenstand.FromSeconds(2.2*3600+60)
					if f.Since < at && (f.Until == nil || *f.Until > at-1800*evenstand.Second) {
						of[f.ID] = x
						must(t, "done", book, f.ID, "--at", at.Time().In(zone).Format("2006-01-02 15:04"))
					}
				}
			}
		}
		for _, f := range list() {
			x, ok := of[f.ID]
			if !ok {
				continue
			}
			name := x.kind + " " + x.strength
			if mended[x.kind+x.rows] {
				name += ", mended"
			} else {
				name += ", not mended"
			}
			if all[name] == nil {
				all[name] = &tally{}
			}
			a := all[name]
			if f.CheckBack == nil {
				t.Errorf("%s: no check-back", f.ID)
				continue
			}
			want := evenstand.VerdictFailed
			if mended[x.kind+x.rows] {
				want = evenstand.VerdictWorked
			}
			judged++
			switch f.CheckBack.Verdict {
			case want:
				a.right++
				a.minutes = append(a.minutes, (*f.CheckBack.Decided-f.CheckBack.Since).Seconds()/60)
			case evenstand.VerdictOpen:
				a.open++
				t.Logf("day %d, %s: %s", 7401+50*j.set+d, name, f.CheckBack.Says)
			default:
				a.wrong++
				wrong++
				t.Logf("day %d, %s: %s", 7401+50*j.set+d, name, f.CheckBack.Says)
			}
		}
	}
	for _, j := range jobs {
		t.Run(fmt.Sprint(7401+50*j.set+j.d), func(t *testing.T) { one(t, j) })
	}
	var names []string
	for n := range all {
		names = append(names, n)
	}
	slices.Sort(names)
	for _, n := range names {
		a := all[n]
		slices.Sort(a.minutes)
		most := 0.0
		if len(a.minutes) > 0 {
			most = a.minutes[len(a.minutes)-1]
		}
		t.Logf("%-38s right %2d, wrong %d, not yet known %d; median %.1f min, most %.1f", n, a.right, a.wrong, a.open, stat.Median(a.minutes), most)
	}
	if judged == 0 || float64(wrong) > 0.1*float64(judged)+1 {
		t.Errorf("%d wrong of %d", wrong, judged)
	}
}

// begin is when the day began, by the begin of a fault at 1.2 h.
func begin(t testing.TB, sim, kind string) evenstand.Micros {
	data, err := os.ReadFile(filepath.Join(sim, "truth.jsonl"))
	if err != nil {
		t.Fatal(err)
	}
	first := evenstand.Micros(1 << 62)
	for _, line := range strings.Split(strings.TrimSpace(string(data)), "\n") {
		var f struct {
			Kind string           `json:"kind"`
			From evenstand.Micros `json:"from"`
		}
		if json.Unmarshal([]byte(line), &f) == nil && f.Kind == kind {
			first = min(first, f.From)
		}
	}
	return first - evenstand.FromSeconds(1.2*3600)
}

// touchedDay is a day on which rows are worked on, some of them for nothing, and the
// row force is set otherwise of which only the box tells.
const touchedDay = `seed = 7991
name = "touched"
hours = 3
[timetable]
lunch = ""
[planter]
rows = 16
[output]
liquid_l_ha = 60
wheel_load = "auto"
[[field]]
name = "north place"
passes = 90
length_m = 700
headlands = 0
[[fault]]
kind = "row-skips"
at_h = 0.7
rows = "6"
variant = "seal"
strength = 3.0
minutes = 48
[[fault]]
kind = "row-skips"
at_h = 0.7
rows = "11"
variant = "fit"
strength = 3.0
[[fault]]
kind = "low-vacuum"
at_h = 0.7
rows = "1-8"
variant = "hose"
strength = 1.6
[[fault]]
kind = "contact-loss"
at_h = 0.7
rows = "14"
variant = "wear"
strength = 700
[[setting]]
lever = "gauge_wheel_load_target"
at = "08:50"
from = 180
to = 200
unit = "lbf"
noted = "no"
`

// A replay and the logbook say the same of what was done: by the journal, and by
// what only a box tells. The level that a trouble itself moves was set by nobody.
func TestReplayAgrees(t *testing.T) {
	if testing.Short() {
		t.Skip("a day, read twice")
	}
	dir := t.TempDir()
	scenario, sim, book := filepath.Join(dir, "day.toml"), filepath.Join(dir, "sim"), filepath.Join(dir, "book")
	if err := os.WriteFile(scenario, []byte(touchedDay), 0o644); err != nil {
		t.Fatal(err)
	}
	must(t, "simulate", scenario, sim)
	must(t, "new", book, "--zone", "America/Chicago", "--planter", filepath.Join(sim, "card.toml"))
	run(context.Background(), "read", book, filepath.Join(sim, "boxes"))
	must(t, "note", book, "new seal", "--rows", "11", "--what", "fix", "--at", "2026-05-02 09:12")
	must(t, "note", book, "cleaned", "--rows", "3,4", "--what", "fix", "--at", "2026-05-02 09:20")
	_, out, _ := run(context.Background(), "replay", book, filepath.Join(sim, "boxes"), "--json")
	live, id := map[int]*evenstand.Finding{}, map[string]int{}
	for _, line := range strings.Split(strings.TrimSpace(out), "\n") {
		var l struct {
			Event   string             `json:"event"`
			Number  int                `json:"number"`
			Finding *evenstand.Finding `json:"finding"`
			Stood   []struct {
				Number  int    `json:"number"`
				Finding string `json:"finding"`
			} `json:"stood"`
		}
		if err := json.Unmarshal([]byte(line), &l); err != nil {
			continue // the report at the end
		}
		if l.Event == "check-back" {
			live[l.Number] = l.Finding
		}
		for _, s := range l.Stood {
			id[s.Finding] = s.Number
		}
	}
	var w evenstand.Worklist
	if err := json.Unmarshal([]byte(must(t, "worklist", book, "--all", "--json")), &w); err != nil {
		t.Fatal(err)
	}
	by := map[string]int{}
	for i := range w.Findings {
		f := &w.Findings[i]
		if f.Kind == evenstand.KindLowVacuum && f.CheckBack != nil {
			t.Errorf("its own vacuum armed it: %s", f.CheckBack.Says)
		}
		n, ok := id[f.ID]
		if !ok || f.Stage != evenstand.Raised {
			continue
		}
		g := live[n]
		switch {
		case f.CheckBack == nil && g == nil:
		case f.CheckBack == nil || g == nil:
			t.Errorf("%s: one of them has no check-back: %v, %v", f.Sentence, f.CheckBack, g)
		case f.CheckBack.Verdict != g.CheckBack.Verdict || f.CheckBack.By != g.CheckBack.By:
			t.Errorf("%s\nthe logbook, by %s: %s\nthe replay, by %s: %s", f.Sentence, f.CheckBack.By, f.CheckBack.Says, g.CheckBack.By, g.CheckBack.Says)
		default:
			by[g.CheckBack.By]++
			t.Logf("%s: %s / %s", f.Sentence, f.CheckBack.Says, g.CheckBack.Says)
		}
	}
	if by["fix"] == 0 || by["setting"] == 0 {
		t.Errorf("too little was checked: %v", by)
	}
}

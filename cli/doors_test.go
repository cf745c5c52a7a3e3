package cli_test

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

// throughDoor simulates the day of testdata/doors.toml, reads it as the boxes
// wrote it, and gives what was raised and the score against the truth.
func throughDoor(t *testing.T, grade, layout, door, more string) ([]raised, daysScore) {
	t.Helper()
	return readDay(t, dayOf(t, grade, layout, door, more))
}

// dayOf simulates the day and gives its folder.
func dayOf(t *testing.T, grade, layout, door, more string) string {
	t.Helper()
	text, err := os.ReadFile("testdata/doors.toml")
	if err != nil {
		t.Fatal(err)
	}
	scenario := strings.NewReplacer("GRADE", grade, "LAYOUT", layout, "DOOR", door).Replace(string(text)) + more
	dir := t.TempDir()
	day := filepath.Join(dir, "day")
	if err := os.WriteFile(filepath.Join(dir, "day.toml"), []byte(scenario), 0o644); err != nil {
		t.Fatal(err)
	}
	must(t, "simulate", filepath.Join(dir, "day.toml"), day)
	return day
}

// readDay reads a simulated day into a new logbook.
func readDay(t *testing.T, day string) (found []raised, score daysScore) {
	t.Helper()
	book := filepath.Join(t.TempDir(), "spring")
	must(t, "new", book, "--planter", filepath.Join(day, "card.toml"), "--field", filepath.Join(day, "fields", "home-place.geojson"),
		"--zone", "America/Chicago", "--price", "4.50/bu", "--yield", "190bu/ac")
	recipes, err := filepath.Glob(filepath.Join(day, "recipes", "*.toml"))
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range recipes {
		must(t, "recipe", book, "--from", r)
	}
	must(t, "read", book, filepath.Join(day, "boxes"))
	var list struct {
		Findings []raised `json:"findings"`
	}
	if err := json.Unmarshal([]byte(must(t, "worklist", book, "--all", "--json")), &list); err != nil {
		t.Fatal(err)
	}
	for _, f := range list.Findings {
		if f.Stage == "raised" {
			found = append(found, f)
		}
	}
	slices.SortFunc(found, func(a, b raised) int { return strings.Compare(a.what(), b.what()) })
	if err := json.Unmarshal([]byte(must(t, "score", book, day, "--json")), &score); err != nil {
		t.Fatal(err)
	}
	return found, score
}

// raised is a finding as the worklist tells it.
type raised struct {
	Kind  string    `json:"kind"`
	Rows  []int     `json:"rows"`
	Stage string    `json:"stage"`
	Grade string    `json:"grade"`
	Since time.Time `json:"since"`
}

func (r raised) what() string { return fmt.Sprintf("%s of rows %v, grade %s", r.Kind, r.Rows, r.Grade) }

type daysScore struct {
	Summary struct {
		All struct {
			Recall    ratio `json:"recall"`
			Precision ratio `json:"precision"`
		} `json:"all"`
	} `json:"summary"`
}

type ratio struct{ N, Of int }

// same tells what of two lists differs: kinds, rows, grades, and starts more
// than within apart.
func same(a, b []raised, within time.Duration) string {
	if len(a) != len(b) {
		return fmt.Sprintf("%d findings, want %d:\n%v\nwant\n%v", len(b), len(a), b, a)
	}
	for i := range a {
		if a[i].what() != b[i].what() {
			return fmt.Sprintf("%s, want %s", b[i].what(), a[i].what())
		}
		if d := math.Abs(b[i].Since.Sub(a[i].Since).Seconds()); d > within.Seconds() {
			return fmt.Sprintf("%s begins %.1f s away from where it did", b[i].what(), d)
		}
	}
	return ""
}

// One day through every door: the same findings at the same grade, and at the
// lower grade fewer, none of them false.
func TestDoors(t *testing.T) {
	if testing.Short() {
		t.Skip("a dozen simulated days")
	}
	a, score := throughDoor(t, "A", "plain", "", "")
	if all := score.Summary.All; all.Recall.N != all.Recall.Of || all.Recall.Of < 3 || all.Precision.N != all.Precision.Of || len(a) < 4 {
		t.Fatalf("the day itself: recall %v, precision %v, %v", all.Recall, all.Precision, a)
	}
	for _, door := range []string{"csv", "tsv", "csv-comma", "csv-utf16", "parquet", "geojson", "shapefile", "nmea"} {
		t.Run(door, func(t *testing.T) {
			// A tenth of a millionth of a minute, or a millisecond, moves the start
			// of a shift by the seeds that it weighs.
			got, _ := throughDoor(t, "A", "plain", door, "")
			if d := same(a, got, 2*time.Second); d != "" {
				t.Error(d)
			}
		})
	}
	b, score := throughDoor(t, "B", "plain", "", "")
	if all := score.Summary.All; all.Precision.N != all.Precision.Of || len(b) == 0 || len(b) > len(a) {
		t.Errorf("grade B: precision %v, %d findings where seed times gave %d", all.Precision, len(b), len(a))
	}
	for _, f := range b { // each of them stands at grade A too, a cell as what it is
		if !slices.ContainsFunc(a, func(g raised) bool {
			return slices.Equal(f.Rows, g.Rows) && (f.Kind == g.Kind || f.Kind == "row-skips" && g.Kind == "blocked-cell")
		}) {
			t.Errorf("grade B finds %s, which seed times do not", f.what())
		}
	}
	for _, door := range []string{"csv-comma", "xlsx", "parquet", "nmea"} {
		t.Run("B "+door, func(t *testing.T) {
			got, _ := throughDoor(t, "B", "plain", door, "")
			if d := same(b, got, 2*time.Second); d != "" {
				t.Error(d)
			}
		})
	}
	for _, layout := range []string{"task-data", "bus"} {
		t.Run(layout, func(t *testing.T) {
			got, score := throughDoor(t, "B", layout, "", "")
			if all := score.Summary.All; all.Precision.N != all.Precision.Of {
				t.Errorf("precision %v: %v", all.Precision, got)
			}
			// Neither has the vacuum, so a loss too small for the rows is not found.
			low := func(f raised) bool { return f.Kind == "low-vacuum" }
			if d := same(slices.DeleteFunc(slices.Clone(b), low), slices.DeleteFunc(got, low), 5*time.Second); d != "" {
				t.Error(d)
			}
		})
	}
	// Seeds and counts of the same rows at the same time: seeds beat counts.
	t.Run("both at once", func(t *testing.T) {
		day, counts := dayOf(t, "A", "plain", "", ""), dayOf(t, "B", "plain", "", "")
		if err := os.Rename(filepath.Join(counts, "boxes", "rows"), filepath.Join(day, "boxes", "rows")); err != nil {
			t.Fatal(err)
		}
		got, _ := readDay(t, day)
		if d := same(a, got, 0); d != "" {
			t.Error(d)
		}
	})
	// The same day in four boxes of which each has a clock of its own.
	t.Run("four clocks", func(t *testing.T) {
		for _, door := range []string{"", "csv-comma"} {
			got, _ := throughDoor(t, "A", "plain", door, `
[box.seed]
offset_s = 7.3
drift_ppm = 40.0
declare = false

[box.machine]
offset_s = -31.4
drift_ppm = -25.0
declare = false

[box.journal]
offset_s = 95.0
declare = false
`)
			got = slices.DeleteFunc(got, func(f raised) bool { return f.Kind == "clock-off" }) // as it should
			if d := same(a, got, 5*time.Second); d != "" {
				t.Errorf("%q: %s", door, d)
			}
		}
	})
}

package book_test

import (
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"evenstand"
	"evenstand/book"
	"evenstand/book/booktest"
	"evenstand/core/stat"
	"evenstand/core/try/trial"
	"evenstand/pipeline"
)

// stretchesOnly is a deriver that takes the passes of the made-up season and puts
// stretches of so many steps on them: skips, loads and trash of which rows with
// the part have less.
type stretchesOnly struct {
	pipeline.Output
	rows, steps int
	with        func(day evenstand.Day, row int) bool
	day         evenstand.Day
}

func (s *stretchesOnly) Pass(p evenstand.Pass, seeds [][]evenstand.PlacedSeed, _ []evenstand.Stretch, w []evenstand.Worked) error {
	p.Field = "north"
	rng := stat.NewRand(uint64(p.Start), string(s.day))
	pass := 0.003 * rng.NormFloat64()
	ss := make([]evenstand.Stretch, 0, s.rows*s.steps)
	nan := float32(math.NaN())
	for row := 1; row <= s.rows; row++ {
		own := 0.001 * stat.NewRand(7, fmt.Sprint(row)).NormFloat64()
		for k := range s.steps {
			st := evenstand.Stretch{Pass: p.Index, Row: int16(row), K: int32(k), Length: 15, Way: 15, T: p.Start + evenstand.Micros(k)*evenstand.Second/100, Grade: evenstand.GradeA, Due: 92, Seeds: 90, Target: 0.162, Liquid: nan, Granular: nan}
			st.Skips = float32(math.Round(92 * (0.02 + own + pass + 0.004*rng.NormFloat64())))
			for range 3 {
				st.Singles.Add(0.16 + 0.02*rng.NormFloat64())
			}
			trash := 0.10 + 10*own + 3*pass + 0.01*rng.NormFloat64()
			if s.with(s.day, row) {
				trash -= 0.01
			}
			for _, m := range []struct {
				to *evenstand.Moments
				v  float64
			}{{&st.Load, 700 + 50*rng.NormFloat64()}, {&st.Force, 900 + 200*float64(k%3) + 20*rng.NormFloat64()}, {&st.Moisture, 0.2 + own}, {&st.Temperature, 12 + 100*own + rng.NormFloat64()}, {&st.Trash, trash}, {&st.OffShare, 0.02 + math.Abs(own)}, {&st.Speed, 2.2}, {&st.Vacuum, 5000}} {
				m.to.Add(m.v)
			}
			ss = append(ss, st)
		}
	}
	return s.Output.Pass(p, seeds, ss, w)
}

// trialBook makes a book of so many days, passes and steps with a swap of a part
// half way, rows 3 and 6 first, then 11 and 14.
func trialBook(t testing.TB, days, passes, steps int) *book.Book {
	const rows = 16
	half := evenstand.Day(time.Date(2026, 5, 1, 0, 0, 0, 0, time.UTC).AddDate(0, 0, days/2).Format("2006-01-02"))
	card := `card = 1
name = "season"
rows = 16
row_spacing_m = 0.762

[[group]]
kind = "wheel_track"
name = "wheels"
rows = "5,12"

[[attachment]]
kind = "row_cleaner"
label = "fixed"
rows = "1-16"

[[attachment]]
kind = "row_cleaner"
label = "floating"
rows = "3,6"

[[attachment]]
kind = "row_cleaner"
label = "fixed"
rows = "3,6"
since = "` + string(half) + `"

[[attachment]]
kind = "row_cleaner"
label = "floating"
rows = "11,14"
since = "` + string(half) + `"

[[attachment]]
kind = "seed_firmer"
label = "long"
rows = "8"
`
	dir := filepath.Join(t.TempDir(), "season")
	if err := book.Create(dir, settings(), []book.File{{Name: "season.toml", Data: []byte(card)}}, nil); err != nil {
		t.Fatal(err)
	}
	b, err := book.Open(dir, book.Options{Derive: func(ctx context.Context, day pipeline.Day, out pipeline.Output) (pipeline.Result, error) {
		res, err := booktest.Settle(ctx, day, &stretchesOnly{Output: out, rows: rows, steps: steps, day: day.Date, with: func(d evenstand.Day, row int) bool {
			if d < half {
				return row == 3 || row == 6
			}
			return row == 11 || row == 14
		}})
		res.Card = day.Card
		return res, err
	}})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.Close() })
	in := filepath.Join(t.TempDir(), "season.gen")
	if err := os.WriteFile(in, fmt.Appendf(nil, "%d %d %d 2 1", days, passes, rows), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := b.Read(t.Context(), []string{in}, []evenstand.Format{booktest.Season{}}, book.ReadOptions{}); err != nil {
		t.Fatal(err)
	}
	return b
}

func TestTrials(t *testing.T) {
	b := trialBook(t, 4, 12, 12)
	all, err := b.Trials(t.Context())
	if err != nil || len(all) != 2 {
		t.Fatalf("%d trials, %v", len(all), err)
	}
	got, err := book.PickTrial(all, "floating")
	if err != nil {
		t.Fatal(err)
	}
	if got.How != trial.Swap || got.Verdict != trial.Better || got.Lead != "trash" || len(got.Periods) != 2 || got.Periods[0].Passes != 24 {
		t.Errorf("%s, %s by %s, %d times: %s", got.How, got.Verdict, got.Lead, len(got.Periods), got.Sentence)
	}
	if got.Rows[4].Class != "wheel track" || got.Rows[0].Class != "end of the bar" || got.Rows[2].Role != "part" || got.Rows[3].Role != "other" {
		t.Errorf("%+v", got.Rows)
	}
	for _, f := range got.Figures {
		if f.Measure == "trash" && (f.Low > -0.01 || f.High < -0.01) {
			t.Errorf("trash %g to %g, in truth −0.01", float64(f.Low), float64(f.High))
		}
	}
	lone, err := b.Trial(t.Context(), "seed_firmer")
	if err != nil || lone.Verdict != trial.Cannot || lone.How != trial.Beside {
		t.Errorf("one row alone: %s %s, %v", lone.Verdict, lone.How, err)
	}
	// Plants counted by row are a measure where no row changed parts.
	for i, line := range []evenstand.Entry{{Value: 31, Note: "in 17.5 ft"}, {Value: 30500, Unit: "1/ac"}, {Value: 29, Note: "in 17.5 ft: wet"}} {
		line.What, line.T, line.Rows = "count", evenstand.FromTime(time.Date(2026, 5, 20, 15, i, 0, 0, time.UTC)), evenstand.Rows{7 + i}
		if err := addEntry(t.Context(), b, "season", line); err != nil {
			t.Fatal(err)
		}
	}
	if lone, err = b.Trial(t.Context(), "seed_firmer"); err != nil {
		t.Fatal(err)
	}
	// Row 8 carries it: 30,500 an acre; the others 31 and 29 on 17.5 ft of 30 in, the
	// thousandth of an acre but for 0.4 % (R in core/relation: 17 ft 5 in).
	if f := lone.Figures[len(lone.Figures)-1]; f.Measure != "stand" || math.Abs(float64(f.With)*evenstand.Acre-30500) > 1 || math.Abs(float64(f.Without)*evenstand.Acre/29870-1) > 0.003 {
		t.Errorf("%s: %g and %g an acre", f.Measure, float64(f.With)*evenstand.Acre, float64(f.Without)*evenstand.Acre)
	}
	if got, err = b.Trial(t.Context(), "floating"); err != nil || !strings.Contains(strings.Join(got.Notes, " "), "Stand counts are not used") {
		t.Errorf("%q, %v", got.Notes, err)
	}
	// A setting that somebody left apart between rows, and said so the evening before.
	line := evenstand.Entry{What: "setting", T: evenstand.FromTime(time.Date(2026, 4, 30, 22, 0, 0, 0, time.UTC)), Rows: evenstand.Rows{2, 4, 6}, Value: 40, Unit: "psi", Note: "closer_pressure, was 30 psi"}
	if err := addEntry(t.Context(), b, "season", line); err != nil {
		t.Fatal(err)
	}
	set40, err := b.Trial(t.Context(), "closer-pressure-40-psi")
	if err != nil || set40.Against != "closing-wheel pressure 30 psi" || set40.How != trial.Beside {
		t.Errorf("%+v, %v", set40, err)
	}
	// What is said of a part is kept in the settings, and taken back by nothing.
	p := evenstand.SaidPart{Label: "floating", Price: 120, Seasons: 4, Aim: "trash"}
	if err := b.SetPart(t.Context(), p); err != nil {
		t.Fatal(err)
	}
	set := b.Settings()
	if said, ok := set.Part("Floating"); !ok || said != p {
		t.Errorf("%+v", said)
	}
	if got, err = b.Trial(t.Context(), "floating"); err != nil || got.Aim != "trash" {
		t.Errorf("%+v, %v", got.Aim, err)
	}
	if err := b.SetPart(t.Context(), evenstand.SaidPart{Label: "floating", Price: math.NaN(), Seasons: math.NaN()}); err != nil {
		t.Fatal(err)
	}
	if set = b.Settings(); len(set.Parts) != 0 {
		t.Errorf("%+v", set.Parts)
	}
	if _, err := b.Trial(t.Context(), "nothing"); err == nil || !strings.Contains(err.Error(), "nothing") {
		t.Error(err)
	}
	plan, err := b.PlanTrial(t.Context(), book.TrialWish{Part: "floating", Rows: 2, Measure: "trash"})
	if err != nil || len(plan.Plans) < 3 || plan.Assumed != "" {
		t.Errorf("%+v, %v", plan, err)
	}
}

// BenchmarkTrials reckons all trials of a season of 2,000 acres: 16 rows of 30 in,
// 400 passes of 1.65 km.
func BenchmarkTrials(b *testing.B) {
	bk := trialBook(b, 10, 40, 110)
	for b.Loop() {
		if _, err := bk.Trials(context.Background()); err != nil {
			b.Fatal(err)
		}
	}
}

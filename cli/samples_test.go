package cli_test

import (
	"context"
	"encoding/json"
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"evenstand"
	"evenstand/book"
	"evenstand/format/formattest"
)

// newBook makes a logbook without a card.
func newBook(t *testing.T, flags ...string) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "spring")
	must(t, append([]string{"new", dir, "--zone", "Europe/Berlin", "--units", "metric"}, flags...)...)
	return dir
}

// decode runs a command that reports as JSON and wants its exit code.
func decode(t *testing.T, v any, want int, args ...string) {
	t.Helper()
	code, out, text := run(context.Background(), append(args, "--json")...)
	if code != want {
		t.Fatalf("evenstand %q: exit code %d, want %d\n%s", args, code, want, text)
	}
	if err := json.Unmarshal([]byte(out), v); err != nil {
		t.Fatalf("evenstand %q: %v\n%s", args, err, out)
	}
}

// What a correct reader and a correct diagnosis say of the 32-row sample
// stands in the README of the samples: three logs of one task joined to 745
// columns and 3,633 records (the first two of the same instant and place), 32
// rows, row 2 out nearly all the time on 174.8 m of planting (of which it
// worked 1.5 m), row 13 the worst of the others with 1.538 % skips.
func TestPlanter32FromLogToWorklist(t *testing.T) {
	in := formattest.Shared(t, "samples/planter-32row")
	dir := newBook(t)
	var rep book.Report
	decode(t, &rep, 0, "read", dir, in)
	if len(rep.Files) != 21 || len(rep.Sources) != 1 || len(rep.Unused) != 0 || len(rep.Days) != 1 {
		t.Fatalf("%d files, %d sources, %d days, unused %v", len(rep.Files), len(rep.Sources), len(rep.Days), rep.Unused)
	}
	src := rep.Sources[0]
	if src.Notes[0] != "3 logs joined into 745 columns and 3633 records." {
		t.Errorf("notes %q", src.Notes)
	}
	// The log runs from 07:30:52.200 to 07:36:52.650; its readings are put back
	// by a latency of up to 0.66 s.
	first, last := src.First.Time().Sub(time.Date(2022, 10, 19, 7, 30, 52, 200e6, time.UTC)), src.Last.String()
	if src.Grade != evenstand.GradeB || src.Counts.Fixes != 3632 || first > 0 || first < -660*time.Millisecond || last != "2022-10-19T07:36:52.65Z" {
		t.Errorf("grade %v, %d fixes, %v to %v", src.Grade, src.Counts.Fixes, src.First, src.Last)
	}

	var w evenstand.Worklist
	decode(t, &w, 0, "worklist", dir)
	if len(w.Findings) != 1 {
		t.Fatalf("%d findings on the worklist, want row 2 alone: %+v", len(w.Findings), w.Findings)
	}
	f := w.Findings[0]
	if f.Kind != evenstand.KindRowStopped || f.Rows.String() != "2" || f.Stage != evenstand.Raised || f.Status != evenstand.Open || f.When != evenstand.Now {
		t.Errorf("%s of rows %s, %s, %s, %s", f.Kind, f.Rows, f.Stage, f.Status, f.When)
	}
	if len(f.Causes) < 2 {
		t.Errorf("causes %v, want two to choose from at least", f.Causes)
	}
	for _, c := range f.Causes {
		if c.Probability >= 0.5 {
			t.Errorf("%s is asserted with %.2f, and the log does not say why", c.Cause, c.Probability)
		}
	}
	metres := 0.0
	for _, e := range f.Evidence {
		if e.Name == "metres without seed" {
			metres = float64(e.Value)
		}
		if strings.Contains(e.Name, "rhythm") {
			t.Errorf("a rhythm is claimed without seed times: %+v", e)
		}
	}
	if metres < 0.9*(174.8-1.5) || metres > 1.02*174.8 {
		t.Errorf("%.1f m without seed, want nearly all of 174.8 m", metres)
	}

	var all evenstand.Worklist
	decode(t, &all, 0, "worklist", dir, "--all")
	for _, f := range all.Findings {
		if f.Kind == evenstand.KindBlockedCell || f.Kind == evenstand.KindWeakCell {
			t.Errorf("%s of rows %s: there are no seed times to tell it from", f.Kind, f.Rows)
		}
		if f.Kind == evenstand.KindRowStopped && f.Stage == evenstand.Raised && f.Rows.String() != "2" {
			t.Errorf("rows %s are said to have stopped", f.Rows)
		}
	}
	if text := must(t, "show", dir, f.ID[:6]); !strings.Contains(text, "m without seed") || !strings.Contains(text, "switched off") {
		t.Errorf("shown as:\n%s", text)
	}

	b, err := book.Open(dir, book.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	day := rep.Days[0]
	card, err := b.Card(day.Planter, day.Day)
	if err != nil || card.Rows != 32 {
		t.Fatalf("a card of %d rows, %v; want 32", card.Rows, err)
	}
	for r := 2; r <= 32; r++ {
		if d := card.Y(r) - card.Y(r-1); d < 0.380 || d > 0.382 { // 381 mm
			t.Errorf("row %d stands %.3f m right of row %d, want 0.381", r, d, r-1)
		}
	}
	var seeds, due, skips, doubles [33]float64
	if err := b.Stretches(context.Background(), day.Planter, day.Day, func(ss []evenstand.Stretch) error {
		for _, s := range ss {
			if s.Grade != evenstand.GradeB {
				return fmt.Errorf("a stretch of grade %v", s.Grade)
			}
			seeds[s.Row] += float64(s.Seeds)
			due[s.Row] += float64(s.Due)
			skips[s.Row] += float64(s.Skips)
			doubles[s.Row] += float64(s.Doubles)
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	worst := 1
	for r := 1; r <= 32; r++ {
		if r == 2 {
			continue
		}
		if skips[r]*due[worst] > skips[worst]*due[r] {
			worst = r
		}
		if doubles[r] != 0 {
			t.Errorf("row %d: %g doubles, and the log has none", r, doubles[r])
		}
	}
	// The README's shares rest on the antenna's way and on values carried
	// forward; the book's on the row's own way, so they agree roughly.
	if share := 100 * skips[13] / due[13]; worst != 13 || share < 1.2 || share > 1.9 {
		t.Errorf("row %d skips most; row 13 skips %.2f %%, want it worst with about 1.54 %%", worst, share)
	}
	if share := 100 * skips[1] / due[1]; share < 0.6 || share > 1.0 {
		t.Errorf("row 1 skips %.2f %%, want about 0.80 %%", share)
	}
	// The README's 120,227 seeds rest on the antenna's way too.
	sum := 0.0
	for _, n := range seeds {
		sum += n
	}
	if sum < 0.9*120_227 || sum > 1.1*120_227 || seeds[2] > 0.01*seeds[1] {
		t.Errorf("%.0f seeds in all and %.0f on row 2", sum, seeds[2])
	}
	b.Close()
	sound(t, dir)
}

// sound wants check to pass and to say that nothing is left to do.
func sound(t *testing.T, dir string) {
	t.Helper()
	var c struct {
		Sound, Unfinished bool
		Faults            []string
	}
	decode(t, &c, 0, "check", dir)
	if !c.Sound || c.Unfinished {
		t.Errorf("check: %+v", c)
	}
}

// A bench run: one log of 373 records whose receiver never gives a time, so it
// is read in the logbook's zone, and the source says so. One jump of the
// position. Nothing is claimed.
func TestSeederBench(t *testing.T) {
	in := formattest.Shared(t, "samples/seeder-bench")
	dir := newBook(t)
	var rep book.Report
	decode(t, &rep, 3, "read", dir, in)
	if len(rep.Sources) != 1 {
		t.Fatalf("%d sources", len(rep.Sources))
	}
	src := rep.Sources[0]
	if src.Notes[0] != "1 log with 38 columns and 373 records." || !strings.Contains(strings.Join(src.Notes, " "), "Its clock has no zone; read as the logbook's, Europe/Berlin.") {
		t.Errorf("notes %q", src.Notes)
	}
	// 16:03:17.000 to 16:05:28.400 on the log's clock; Berlin is two hours ahead.
	if src.First.String() != "2022-10-19T14:03:17Z" || src.Last.String() != "2022-10-19T14:05:28.4Z" {
		t.Errorf("%v to %v", src.First, src.Last)
	}
	jump := 0
	for _, u := range rep.Unused {
		if strings.Contains(u.Why, "jumps") {
			jump += int(u.Count)
		}
		if u.File == "" || u.Why == "" {
			t.Errorf("no place or reason: %+v", u)
		}
	}
	if jump != 1 {
		t.Errorf("%d jumps said, want one: %+v", jump, rep.Unused)
	}
	if out := must(t, "worklist", dir); !strings.Contains(out, "No row could be judged") {
		t.Errorf("on a bench something is off:\n%s", out)
	}
	sound(t, dir)
}

// Six logs of one record each without columns, at 0/0.
func TestEmptyLogs(t *testing.T) {
	in := formattest.Shared(t, "samples/empty-logs")
	dir := newBook(t)
	code, out, _ := run(context.Background(), "read", dir, in)
	if code != 3 || !strings.Contains(out, "6 empty logs") || !strings.Contains(out, "None of the 13 files can be used") {
		t.Errorf("exit code %d:\n%s", code, out)
	}
	if out := must(t, "worklist", dir); !strings.Contains(out, "holds no logs yet") {
		t.Error(out)
	}
	if out := must(t, "sources", dir); !strings.Contains(out, "No logs have been read yet.") {
		t.Error(out)
	}
	sound(t, dir)
}

// Prescriptions without logs: the two of a wrong size are refused with their
// sizes, and nothing is made up from the others.
func TestGridsAlone(t *testing.T) {
	in := formattest.Shared(t, "samples/grids")
	dir := newBook(t)
	code, out, _ := run(context.Background(), "read", dir, in)
	text := strings.Join(strings.Fields(out), " ")
	for _, want := range []string{
		"Type1_Invalid/GRD00001.bin: the prescription is refused:", "want 22896 bytes, and the file has 32",
		"Type2_Invalid/GRD00001.bin: the prescription is refused:", "want 2400 bytes, and the file has 1200",
		"no time logs, only plans",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("not said: %s\n%s", want, out)
		}
	}
	if code != 3 || strings.Contains(text, "Type2/GRD00001.bin: the prescription") {
		t.Errorf("exit code %d:\n%s", code, out)
	}
	sound(t, dir)
}

// Captures of a bus. Of the four from a boat, what can be placed in time is; the
// planter's gives its card and rows (samples/README.md, "can-planter4": 4 rows
// at 2 m/s over 59.8 m, row 2 drops nothing from half time on).
func TestBusCaptures(t *testing.T) {
	boat := newBook(t)
	var rep book.Report
	decode(t, &rep, 3, "read", boat, formattest.Shared(t, "samples/can-boat"))
	if len(rep.Sources) != 4 {
		t.Errorf("%d captures of a boat", len(rep.Sources))
	}
	for _, s := range rep.Sources {
		if s.Grade < evenstand.GradeC || !strings.Contains(strings.Join(s.Notes, " "), "No planter spoke on this bus.") {
			t.Errorf("%s: grade %v, notes %q", s.Name, s.Grade, s.Notes)
		}
	}
	sound(t, boat)

	dir := newBook(t)
	rep = book.Report{}
	decode(t, &rep, 3, "read", dir, formattest.Shared(t, "samples/can-planter4"))
	if len(rep.Sources) != 1 || len(rep.Days) != 1 {
		t.Fatalf("%d sources, %d days", len(rep.Sources), len(rep.Days))
	}
	src := rep.Sources[0]
	if src.Grade != evenstand.GradeB || src.Counts.Fixes != 300 || src.Planter != "Test planter" || len(src.Unused) != 0 {
		t.Errorf("%+v", src)
	}
	b, err := book.Open(dir, book.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	var due, skips [5]float64
	if err := b.Stretches(context.Background(), rep.Days[0].Planter, rep.Days[0].Day, func(ss []evenstand.Stretch) error {
		for _, s := range ss {
			if s.Row < 1 || s.Row > 4 {
				return fmt.Errorf("a stretch of row %d", s.Row)
			}
			due[s.Row] += float64(s.Due)
			skips[s.Row] += float64(s.Skips)
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	for r, want := range []float64{1: 0.4, 3: 1.2, 4: 0.4} {
		if share := 100 * skips[r] / due[r]; want > 0 && (due[r] == 0 || share < 0.8*want || share > 1.2*want) {
			t.Errorf("row %d: %g of %g due are skips, want %g %%", r, skips[r], due[r], want)
		}
	}
	b.Close()
	sound(t, dir)
}

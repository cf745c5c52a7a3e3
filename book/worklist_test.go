package book_test

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"testing"

	"evenstand"
	"evenstand/book"
	"evenstand/pipeline"

	"github.com/google/go-cmp/cmp"
)

// planned is a deriver that gives what a test lays down for each day: one pass
// of three hours and 15 km, on it for each row a stretch as long as the row
// planted, and the findings.
type planned map[evenstand.Day]plannedDay

type plannedDay struct {
	rows     map[int16]plannedRow
	findings []evenstand.Finding
	field    string // empty: north place
}

type plannedRow struct {
	minutes float64
	grade   evenstand.Grade
}

func (p planned) derive(ctx context.Context, day pipeline.Day, out pipeline.Output) (pipeline.Result, error) {
	d := p[day.Date]
	at, err := day.Date.Start(day.Zone)
	if err != nil {
		return pipeline.Result{}, err
	}
	start := at + 9*3600*evenstand.Second
	res := pipeline.Result{AsOf: start + 3*3600*evenstand.Second, Until: evenstand.NoTime}
	field := "north place"
	if d.field != "" {
		field = d.field
	}
	pass := evenstand.Pass{Key: "pass " + string(day.Date), Number: 1, Planter: day.Planter, Field: field, Start: start, End: res.AsOf, S1: 15000}
	nan := float32(math.NaN())
	var ss []evenstand.Stretch
	for r := int16(1); r <= 4; r++ {
		if x, ok := d.rows[r]; ok {
			long := float32(x.minutes / 180 * 15000)
			ss = append(ss, evenstand.Stretch{Row: r, Length: long, Way: long, T: start, Grade: x.grade, Due: 100, Seeds: 99, Target: 0.16, LoadP5: nan, Liquid: nan, Granular: nan, PosError: nan})
		}
	}
	for i, f := range d.findings {
		f.Field, f.Since, f.SinceLow, f.SinceHigh, f.Alarm = pass.Field, start, start, start, start+evenstand.Micros(i+1)*evenstand.Second
		f.Sentence = fmt.Sprintf("%s on row %s.", f.Kind, f.Rows)
		f.Harm = []evenstand.Harm{{Kind: evenstand.MissingSeeds, Amount: evenstand.Range{Low: 900, Mid: 1000, High: 1100}, Area: 10000, Target: 8, Ratio: evenstand.Unknown, Share: 0.1, Crop: "corn"}}
		f.Causes = []evenstand.Cause{{Cause: "jam", Probability: 1}}
		f.Passes = []evenstand.PassRef{{Key: pass.Key, Number: 1}}
		res.Findings = append(res.Findings, f)
	}
	return res, out.Pass(pass, nil, ss, nil)
}

func finding(kind string, row int) evenstand.Finding {
	return evenstand.Finding{Kind: kind, Stage: evenstand.Raised, Grade: evenstand.GradeA, Rows: evenstand.Rows{row}}
}

// plannedBook makes a book of the planned days.
func plannedBook(t *testing.T, p planned, days ...int) *book.Book {
	t.Helper()
	b := newBook(t)
	s := b.Settings()
	s.Season, s.Yield, s.Seed = 1e6, 1.2, 0.0034
	if err := b.SetSettings(context.Background(), s); err != nil {
		t.Fatal(err)
	}
	b.Close()
	opts := options()
	opts.Derive = p.derive
	b, err := book.Open(b.Dir(), opts)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.Close() })
	var log bytes.Buffer
	for _, d := range days {
		fmt.Fprintf(&log, "s %d 1\n", at(d, 9, 0))
	}
	read(t, b, folder(t, map[string][]byte{"box.log": log.Bytes()}))
	return b
}

func TestWorklistCountsWhatGoesOnOnce(t *testing.T) {
	ctx := context.Background()
	hours := plannedRow{120, evenstand.GradeA}
	over := func(f evenstand.Finding) evenstand.Finding {
		u := at(2, 10, 0)
		f.Until = &u
		return f
	}
	suspected := func(f evenstand.Finding) evenstand.Finding { f.Stage = evenstand.Suspected; return f }
	p := planned{
		"2026-05-01": {findings: []evenstand.Finding{
			finding(evenstand.KindRowSkips, 3),   // goes on on the 2nd and the 4th
			finding(evenstand.KindWeakCell, 1),   // not there on the 2nd, on which the row planted two hours
			finding(evenstand.KindRowSkips, 2),   // not there either, but the row planted 59 minutes
			finding(evenstand.KindRateOff, 4),    // not there, but the row's seeds were only counted by section
			finding(evenstand.KindRowStopped, 3), // acted on; again on the 2nd
			finding(evenstand.KindRowSkips, 1),   // set aside; not again
			finding(evenstand.KindRowDoubles, 1), // again on the 2nd, where it ended
			finding(evenstand.KindStarvedRow, 1), // only suspected on the 2nd
		}},
		"2026-05-02": {rows: map[int16]plannedRow{1: hours, 2: {59, evenstand.GradeA}, 3: hours, 4: {170, evenstand.GradeC}}, findings: []evenstand.Finding{
			finding(evenstand.KindRowSkips, 3),
			finding(evenstand.KindRowStopped, 3),
			over(finding(evenstand.KindRowDoubles, 1)),
			suspected(finding(evenstand.KindStarvedRow, 1)),
		}},
		"2026-05-04": {rows: map[int16]plannedRow{3: {30, evenstand.GradeA}}, findings: []evenstand.Finding{
			finding(evenstand.KindRowSkips, 3),
		}},
	}
	first := plannedBook(t, p, 1)
	alone, err := first.Worklist(ctx, true)
	if err != nil {
		t.Fatal(err)
	}
	b := plannedBook(t, p, 1, 2, 4)
	sound(t, b)
	fs, err := b.Findings(ctx)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range fs {
		var d book.Decision
		switch {
		case f.Day == "2026-05-01" && f.Kind == evenstand.KindRowStopped:
			d.Status = evenstand.Acted
		case f.Day == "2026-05-01" && f.Kind == evenstand.KindRowSkips && f.Rows[0] == 1:
			d.Status = evenstand.SetAside
		default:
			continue
		}
		if _, err := b.Decide(ctx, f.ID, d); err != nil {
			t.Fatal(err)
		}
	}
	all, err := b.Worklist(ctx, true)
	if err != nil {
		t.Fatal(err)
	}
	got := map[string]string{}
	for _, f := range all.Findings {
		end := "open"
		if f.Until != nil {
			end = f.Until.Time().In(chicago).Format("02 15:04")
		}
		got[fmt.Sprintf("%s %s %s", f.Day[8:], f.Kind, f.Rows)] = fmt.Sprintf("%s, %s", f.Status, end)
	}
	want := map[string]string{
		"01 row-skips 3":   "ended, 02 00:00",
		"02 row-skips 3":   "ended, 03 00:00",
		"04 row-skips 3":   "open, open",
		"01 weak-cell 1":   "ended, 02 00:00",
		"01 row-skips 2":   "open, open",
		"01 rate-off 4":    "open, open",
		"01 row-stopped 3": "acted, open",
		"02 row-stopped 3": "open, open",
		"01 row-skips 1":   "set-aside, open",
		"01 row-doubles 1": "ended, 02 00:00",
		"02 row-doubles 1": "ended, 02 10:00",
		"01 starved-row 1": "open, open",
		"02 starved-row 1": "open, open",
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("worklist (-want +got):\n%s", diff)
	}
	// What was lost stays; what is still to save is counted once.
	find := func(w evenstand.Worklist, day evenstand.Day, kind string, row int) evenstand.Finding {
		t.Helper()
		for _, f := range w.Findings {
			if f.Day == day && f.Kind == kind && f.Rows[0] == row {
				return f
			}
		}
		t.Fatalf("no %s on row %d on %s", kind, row, day)
		return evenstand.Finding{}
	}
	kind := evenstand.KindRowSkips
	was, now, newest := find(alone, "2026-05-01", kind, 3), find(all, "2026-05-01", kind, 3), find(all, "2026-05-04", kind, 3)
	if !(was.Money.SoFar.Mid > 0) || !(newest.Money.StillToSave.Mid > 0) {
		t.Fatalf("so far %v, still to save %v: the test prices nothing", was.Money.SoFar, newest.Money.StillToSave)
	}
	if now.Money.SoFar != was.Money.SoFar {
		t.Errorf("so far %v, was %v", now.Money.SoFar, was.Money.SoFar)
	}
	if s := now.Money.StillToSave; s.Mid != 0 || s.Basis != "none" {
		t.Errorf("still to save %+v of what goes on in another", s)
	}
	short, err := b.Worklist(ctx, false)
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, f := range short.Findings {
		if f.Kind == evenstand.KindRowSkips && f.Rows[0] == 3 {
			n++
		}
	}
	if n != 1 {
		t.Errorf("row 3 skips %d times on the worklist", n)
	}
}

// What was acted on keeps its status and claims nothing of what the finding of
// the day after counts.
func TestWorklistDecidedFindingClaimsNothingOfTheNext(t *testing.T) {
	ctx := context.Background()
	p := planned{
		"2026-05-01": {findings: []evenstand.Finding{finding(evenstand.KindRowSkips, 3)}},
		"2026-05-02": {findings: []evenstand.Finding{finding(evenstand.KindRowSkips, 3)}},
	}
	b := plannedBook(t, p, 1, 2)
	before, err := b.Worklist(ctx, false)
	if err != nil || len(before.Findings) != 1 || !(before.Findings[0].Money.StillToSave.Mid > 0) {
		t.Fatalf("%+v, %v", before.Findings, err)
	}
	fs, err := b.Findings(ctx)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := b.Decide(ctx, fs[0].ID, book.Decision{Status: evenstand.Acted}); err != nil {
		t.Fatal(err)
	}
	after, err := b.Worklist(ctx, false)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range after.Findings {
		switch {
		case f.Day == "2026-05-01" && (f.Status != evenstand.Acted || f.Until != nil):
			t.Errorf("acted on: %s until %v", f.Status, f.Until)
		case f.Day == "2026-05-02" && f.Money.StillToSave != before.Findings[0].Money.StillToSave:
			t.Errorf("still to save %+v, was %+v", f.Money.StillToSave, before.Findings[0].Money.StillToSave)
		}
	}
}

// What was to be done before leaving a field waits for the evening once the planter
// plants another.
func TestWorklistOfAFieldThatWasLeft(t *testing.T) {
	for _, tt := range []struct {
		second string
		want   evenstand.When
	}{{"", evenstand.BeforeLeaving}, {"south place", evenstand.Tonight}} {
		p := planned{"2026-05-01": {findings: []evenstand.Finding{finding(evenstand.KindUnplantedLeft, 3)}}, "2026-05-02": {field: tt.second}}
		w, err := plannedBook(t, p, 1, 2).Worklist(context.Background(), true)
		if err != nil {
			t.Fatal(err)
		}
		if len(w.Findings) != 1 || w.Findings[0].When != tt.want {
			t.Errorf("then in %q: %+v, want one to act on %s", tt.second, w.Findings, tt.want)
		}
	}
}

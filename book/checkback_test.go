package book_test

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"evenstand"
	"evenstand/book"
	"evenstand/book/booktest"
	"evenstand/pipeline"
)

// What was done is asked for while a card is laid in; make race tells.
func TestCheckBackWhileCardsChange(t *testing.T) {
	b := newBook(t)
	ctx := context.Background()
	if _, err := b.AddNote(ctx, "", []evenstand.Entry{{T: 1, What: "fix", Rows: evenstand.Rows{1}}}, ""); err != nil {
		t.Fatal(err)
	}
	var wg sync.WaitGroup
	wg.Go(func() {
		for i := range 10 {
			if err := b.SetCard(ctx, book.File{Name: "four.toml", Data: fmt.Appendf(nil, "%s\n# %d\n", card, i)}, ""); err != nil {
				t.Error(err)
				return
			}
		}
	})
	wg.Go(func() {
		for range 100 {
			if _, err := b.Worklist(ctx, true); err != nil {
				t.Error(err)
				return
			}
		}
	})
	wg.Wait()
}

// Rows that nobody touched are no better for a fix of nothing, when others are set
// otherwise later that day and skip more.
func TestOthersGotWorse(t *testing.T) {
	b := wideSeason(t, 3, 49, 40)
	days, err := b.Days(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for i, d := range days {
		start, err := d.Day.Start(b.Zone())
		if err != nil {
			t.Fatal(err)
		}
		for k := range 2 { // before rows 1 to 8 are set otherwise
			at := start + evenstand.Micros(9*3600+1200+k)*evenstand.Second
			if err := addEntry(t.Context(), b, d.Planter, evenstand.Entry{T: at, What: "fix", Rows: evenstand.Rows{9 + (2*i+k)%16}, Value: math.NaN(), Note: "seal"}); err != nil {
				t.Fatal(err)
			}
		}
	}
	all, err := b.Changed(t.Context())
	if err != nil || len(all) != 6 {
		t.Fatalf("%d, %v", len(all), err)
	}
	for _, c := range all {
		if c.CheckBack.Verdict == evenstand.VerdictWorked {
			t.Errorf("%s: %s", c.Says, c.CheckBack.Says)
		}
	}
}

// passOutput changes the stretches of a pass on their way.
type passOutput struct {
	pipeline.Output
	change func(pass int32, ss []evenstand.Stretch)
}

func (o passOutput) Pass(p evenstand.Pass, seeds [][]evenstand.PlacedSeed, ss []evenstand.Stretch, worked []evenstand.Worked) error {
	o.change(p.Index, ss)
	return o.Output.Pass(p, seeds, ss, worked)
}

// A level that only the box logged arms a check-back of the finding that it can act
// on, as a setting that somebody wrote down does, and what else was set is said.
func TestBoxArms(t *testing.T) {
	const passes, stretches = 49, 40
	long := evenstand.Micros(stretches)*6800*1000 + 25*second
	for _, mended := range []bool{true, false} {
		dir := filepath.Join(t.TempDir(), "season")
		if err := book.Create(dir, settings(), []book.File{{Name: "wide.toml", Data: []byte(wideCard)}}, nil); err != nil {
			t.Fatal(err)
		}
		eight, _ := evenstand.ParseRows("1-8")
		derive := func(ctx context.Context, day pipeline.Day, out pipeline.Output) (pipeline.Result, error) {
			for _, s := range day.Streams {
				if s.Readings != nil {
					if err := s.Readings(func([]evenstand.Reading) bool { return true }); err != nil {
						return pipeline.Result{}, err
					}
				}
			}
			res, err := settleWide(passes, stretches)(ctx, day, passOutput{out, func(pass int32, ss []evenstand.Stretch) {
				for i := range ss {
					if s := &ss[i]; mended && pass >= 30 && s.Row <= 8 {
						s.Skips--
						s.Seeds++
					}
				}
			}})
			start, _ := day.Date.Start(day.Zone)
			since := start + 8*3600*second + 20*long
			res.Findings = append(res.Findings, evenstand.Finding{Kind: evenstand.KindRowSkips, Stage: evenstand.Raised, Grade: evenstand.GradeA, Rows: eight, Since: since, SinceLow: since, SinceHigh: since, Alarm: since + 60*second, Sentence: "Rows 1 to 8 skip."})
			return res, err
		}
		b, err := book.Open(dir, book.Options{Derive: derive})
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { b.Close() })
		begin := at(1, 8, 0)
		var log bytes.Buffer
		fmt.Fprint(&log, "c 24 24-row\n")
		for i := range int(passes * long / second) {
			vacuum := 5000
			if i >= int(30*long/second)-12 {
				vacuum = 5600
			}
			now := begin + evenstand.Micros(i)*second
			fmt.Fprintf(&log, "s %d 1\nr %d vacuum machine %d\n", now, now, vacuum+i%7*5)
		}
		read(t, b, folder(t, map[string][]byte{"air.log": log.Bytes()}))
		days, err := b.Days(t.Context())
		if err != nil || len(days) != 1 {
			t.Fatalf("%d days, %v", len(days), err)
		}
		if err := addEntry(t.Context(), b, days[0].Planter, evenstand.Entry{T: begin + 25*long, What: "setting", Note: "fan_speed, was 4000 rpm", Value: 4200, Unit: "rpm"}); err != nil {
			t.Fatal(err)
		}
		all, err := b.Changed(t.Context())
		if err != nil || len(all) != 1 {
			t.Fatalf("%d, %v", len(all), err)
		}
		want := evenstand.VerdictFailed
		if mended {
			want = evenstand.VerdictWorked
		}
		c := all[0]
		if c.By != "setting" || c.CheckBack.Verdict != want || !strings.Contains(c.Says, "Vacuum went from 20.1 in of water to 22.5 in of water") {
			t.Errorf("%s %s: %s", c.By, c.Says, c.CheckBack.Says)
		}
		if !strings.HasSuffix(c.CheckBack.Says, "Also changed on these rows in that time, which may be the reason: fan speed.") {
			t.Errorf("%s", c.CheckBack.Says)
		}
	}
}

// A day that comes later leaves the tests alone whose days are over, and what is
// kept says what a book that is opened anew says.
func TestLaterDayKeepsTests(t *testing.T) {
	b := wideSeason(t, 7, 6, 10)
	days, err := b.Days(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for _, d := range days {
		start, err := d.Day.Start(b.Zone())
		if err != nil {
			t.Fatal(err)
		}
		if err := addEntry(t.Context(), b, d.Planter, evenstand.Entry{T: start + (8*3600+300)*second, What: "fix", Rows: evenstand.Rows{9}, Value: math.NaN(), Note: "seal"}); err != nil {
			t.Fatal(err)
		}
	}
	changed := func(b *book.Book) string {
		all, err := b.Changed(t.Context())
		if err != nil || len(all) != 7 {
			t.Fatalf("%d, %v", len(all), err)
		}
		return fmt.Sprint(all)
	}
	changed(b)
	was := b.CheckTests()
	in := folder(t, map[string][]byte{"box.log": fmt.Appendf(nil, "c 24 24-row\ns %d 1\n", at(8, 9, 0))})
	if _, err := b.Read(t.Context(), []string{in}, []evenstand.Format{booktest.Season{}, fake{}}, book.ReadOptions{}); err != nil {
		t.Fatal(err)
	}
	says := changed(b)
	same := 0
	for k, v := range b.CheckTests() {
		if was[k] == v {
			same++
		}
	}
	// The day of the fix and five more: the days of the first two fixes are over.
	if len(was) != 3*7 || same != 3*2 {
		t.Errorf("%d tests, of which %d were kept; want 21 and 6", len(was), same)
	}
	b.Close()
	again, err := book.Open(b.Dir(), book.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer again.Close()
	if got := changed(again); got != says {
		t.Errorf("kept:\n%s\nanew:\n%s", says, got)
	}
}

// asked is a context that does something when derived data that is being read asks
// it for the n-th time.
type asked struct {
	context.Context
	n  int
	do func()
}

func (a *asked) Err() error {
	if _, file, _, _ := runtime.Caller(1); slices.Contains([]string{"answers.go", "boxjournal.go", "changes.go"}, filepath.Base(file)) {
		if a.n--; a.n == 0 {
			a.do()
		}
	}
	return a.Context.Err()
}

// A day that comes while what was done is asked for is in the next answer.
func TestDayComesWhileAsked(t *testing.T) {
	for n := 1; ; n++ {
		b := wideSeason(t, 1, 3, 10)
		days, err := b.Days(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if err := addEntry(t.Context(), b, days[0].Planter, evenstand.Entry{T: at(1, 12, 0), What: "fix", Rows: evenstand.Rows{9}, Value: math.NaN(), Note: "seal"}); err != nil {
			t.Fatal(err)
		}
		in := folder(t, map[string][]byte{"box.log": fmt.Appendf(nil, "c 24 24-row\ns %d 1\n", at(2, 9, 0))})
		ctx := &asked{t.Context(), n, func() {
			if _, err := b.Read(t.Context(), []string{in}, []evenstand.Format{booktest.Season{}, fake{}}, book.ReadOptions{}); err != nil {
				t.Fatal(err)
			}
		}}
		if _, err := b.Changed(ctx); err != nil {
			t.Fatal(err)
		}
		if ctx.n > 0 { // it was asked less often
			if n < 4 {
				t.Errorf("asked %d times", n-1)
			}
			return
		}
		all, err := b.Changed(t.Context())
		if err != nil || len(all) != 1 || !(all[0].CheckBack.Seen > 0) {
			t.Fatalf("%d: %v, %+v", n, err, all)
		}
		b.Close()
	}
}

// BenchmarkCheckBack asks for what came of 60 fixes on 15 days of 24 rows: at first,
// again, and when a day more has come.
func BenchmarkCheckBack(b *testing.B) {
	s := wideSeason(b, 15, 49, 40)
	days, err := s.Days(b.Context())
	if err != nil {
		b.Fatal(err)
	}
	for i, d := range days {
		start, err := d.Day.Start(s.Zone())
		if err != nil {
			b.Fatal(err)
		}
		for k := range 4 {
			e := evenstand.Entry{T: start + evenstand.Micros(9*3600+1200*k)*second, What: "fix", Rows: evenstand.Rows{9 + (4*i+k)%16}, Value: math.NaN(), Note: "seal"}
			if err := addEntry(b.Context(), s, d.Planter, e); err != nil {
				b.Fatal(err)
			}
		}
	}
	ask := func() float64 {
		begun := time.Now()
		all, err := s.Changed(b.Context())
		if err != nil || len(all) != 60 {
			b.Fatalf("%d, %v", len(all), err)
		}
		return time.Since(begun).Seconds()
	}
	for b.Loop() {
		b.ReportMetric(ask(), "first-s")
		b.ReportMetric(ask(), "again-s")
		in := folder(b, map[string][]byte{"box.log": fmt.Appendf(nil, "c 24 24-row\ns %d 1\n", at(16, 9, 0))})
		if _, err := s.Read(b.Context(), []string{in}, []evenstand.Format{booktest.Season{}, fake{}}, book.ReadOptions{}); err != nil {
			b.Fatal(err)
		}
		if days, err := s.Days(b.Context()); err != nil || len(days) != 16 {
			b.Fatalf("%d days, %v", len(days), err)
		}
		b.ReportMetric(ask(), "a-day-more-s")
	}
}

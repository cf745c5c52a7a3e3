package book_test

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"evenstand"
	"evenstand/book"
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
			if err := b.AddEntry(t.Context(), d.Planter, evenstand.Entry{T: at, What: "fix", Rows: evenstand.Rows{9 + (2*i+k)%16}, Value: math.NaN(), Note: "seal"}); err != nil {
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
		if err := b.AddEntry(t.Context(), days[0].Planter, evenstand.Entry{T: begin + 25*long, What: "setting", Note: "cleaner_pressure, was 30 psi", Value: 22, Unit: "psi", Rows: evenstand.Rows{2, 3}}); err != nil {
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
		if c.By != "setting" || c.CheckBack.Verdict != want || !strings.Contains(c.Says, "Vacuum set from 20.1 in of water to 22.5 in of water") {
			t.Errorf("%s %s: %s", c.By, c.Says, c.CheckBack.Says)
		}
		if !strings.HasSuffix(c.CheckBack.Says, "Also set otherwise on these rows in that time, which may be the reason: row-cleaner pressure.") {
			t.Errorf("%s", c.CheckBack.Says)
		}
	}
}

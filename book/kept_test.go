package book_test

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"evenstand"
	"evenstand/book"
)

// advised gives a stored season in which a setting can be set for the better.
func advised(t testing.TB) *book.Book {
	t.Helper()
	b := wideSeason(t, 3, 44, 30)
	set := b.Settings()
	set.Limits = append(set.Limits, evenstand.Limit{Of: evenstand.CleanerPressure, Least: 15 * evenstand.PSI, Most: 50 * evenstand.PSI})
	if err := b.SetSettings(context.Background(), set); err != nil {
		t.Fatal(err)
	}
	return b
}

func better(t testing.TB, b *book.Book) *evenstand.Finding {
	t.Helper()
	w, err := b.Worklist(context.Background(), true)
	if err != nil {
		t.Fatal(err)
	}
	for i := range w.Findings {
		if f := &w.Findings[i]; f.Kind == evenstand.KindSettingBetter {
			return f
		}
	}
	return nil
}

// What is made with the worklist can be decided about: set aside it stays so as
// long as it is the same advice, and done it is written down.
func TestDecideAdvice(t *testing.T) {
	ctx := context.Background()
	b := advised(t)
	f := better(t, b)
	if f == nil {
		t.Fatal("no setting to set for the better")
	}
	t.Log(f.ID, f.Sentence, f.Say)
	decide := func(to evenstand.Status, want evenstand.Status) {
		t.Helper()
		got, err := b.Decide(ctx, f.ID[:8], book.Decision{Status: to})
		if err != nil || got.ID != f.ID || got.Status != want {
			t.Fatalf("%s: %s, %v", to, got.Status, err)
		}
		if g := better(t, b); g == nil || g.ID != f.ID || g.Status != want {
			t.Errorf("%s: on the worklist %+v", to, g)
		}
	}
	held := func() (n int) {
		lines, err := b.Journal(ctx)
		if err != nil {
			t.Fatal(err)
		}
		for _, l := range lines {
			if !l.TakenBack {
				n++
			}
		}
		return n
	}
	decide(evenstand.SetAside, evenstand.SetAside)
	decide(evenstand.Open, evenstand.Open)
	n := held()
	decide(evenstand.Acted, evenstand.Acted)
	if held() != n+1 {
		t.Errorf("%d lines in the journal, want %d", held(), n+1)
	}
	lines, _ := b.Journal(ctx)
	if l := lines[len(lines)-1]; !strings.Contains(f.Say[len(f.Say)-1], l.Words) || l.Entry.What != "setting" {
		t.Errorf("%+v of %q", l, f.Say)
	}
	decide(evenstand.Open, evenstand.Open)
	if held() != n {
		t.Errorf("%d lines in the journal, want %d", held(), n)
	}
	fs, err := b.Findings(ctx)
	if err != nil || slices.ContainsFunc(fs, func(x evenstand.Finding) bool { return x.Kind == evenstand.KindSettingBetter }) {
		t.Errorf("among what the days found: %v", err)
	}
	// Its limits leave it no longer: what was decided comes back ended.
	decide(evenstand.SetAside, evenstand.SetAside)
	set := b.Settings()
	set.Limits = nil
	if err := b.SetSettings(ctx, set); err != nil {
		t.Fatal(err)
	}
	if g := better(t, b); g == nil || g.Status != evenstand.Ended {
		t.Errorf("not advised any more: %+v", g)
	}
}

// Answers that are kept follow what is written, whoever asks meanwhile.
func TestKeptAnswers(t *testing.T) {
	ctx := context.Background()
	b := advised(t)
	f := better(t, b)
	began := time.Now()
	better(t, b)
	t.Log("a worklist when nothing changed:", time.Since(began))
	var wg sync.WaitGroup
	for range 2 {
		wg.Go(func() {
			for range 5 {
				if _, err := b.Worklist(ctx, true); err != nil {
					t.Error(err)
				}
				if _, err := b.Effects(ctx); err != nil {
					t.Error(err)
				}
			}
		})
	}
	wg.Go(func() {
		for i := range 5 {
			if _, err := b.AddNote(ctx, "", []evenstand.Entry{{T: evenstand.Micros(i), What: "remark", Note: fmt.Sprint(i)}}, "remark"); err != nil {
				t.Error(err)
			}
		}
	})
	wg.Wait()
	if g := better(t, b); g == nil || f == nil || g.ID != f.ID {
		t.Errorf("%+v, then %+v", f, g)
	}
	lines, _ := b.Journal(ctx)
	if len(lines) == 0 || lines[len(lines)-1].Words != "remark" {
		t.Error("the journal is not what was written")
	}
	set := b.Settings()
	set.Limits = nil
	if err := b.SetSettings(ctx, set); err != nil {
		t.Fatal(err)
	}
	if g := better(t, b); g != nil {
		t.Errorf("without limits: %s", g.Sentence)
	}
}

// BenchmarkWorklist makes a worklist with a setting to set for the better: the first
// one, and one when nothing has changed since.
func BenchmarkWorklist(b *testing.B) {
	k := advised(b)
	b.Run("changed", func(b *testing.B) {
		for i := range b.N {
			if _, err := k.AddNote(context.Background(), "", []evenstand.Entry{{T: evenstand.Micros(i), What: "remark", Note: "x"}}, ""); err != nil {
				b.Fatal(err)
			}
			better(b, k)
		}
	})
	b.Run("kept", func(b *testing.B) {
		better(b, k)
		for b.Loop() {
			better(b, k)
		}
	})
}

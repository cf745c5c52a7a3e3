package book_test

import (
	"context"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"

	"evenstand"
	"evenstand/book"
)

// A line by hand makes its day again, taking it back gives what was there
// before, and a rebuild agrees each time.
func TestJournalByHand(t *testing.T) {
	b := newBook(t)
	ctx := context.Background()
	read(t, b, folder(t, map[string][]byte{"box.log": seasonLog(1, 3)}))
	before := dataOf(t, b.Dir())
	entry := evenstand.Entry{T: at(2, 9, 1), What: "dig", Rows: evenstand.Rows{2}, Value: 2.1, Unit: "in"}
	id, err := b.AddNote(ctx, "four rows", []evenstand.Entry{entry}, "dug row 2: 2.1 in")
	if err != nil {
		t.Fatal(err)
	}
	if rep := read(t, b); daysOf(rep) != "2026-05-02" {
		t.Errorf("a dig made %q again", daysOf(rep))
	}
	agree := func(want map[string]string) {
		t.Helper()
		if _, err := b.Rebuild(ctx, formats, book.ReadOptions{}); err != nil {
			t.Fatal(err)
		}
		sameData(t, want, dataOf(t, b.Dir()))
		sound(t, b)
	}
	agree(dataOf(t, b.Dir()))
	if l, err := b.TakeBack(ctx, 0); err != nil || len(l) != 1 || l[0].ID != id || !l[0].TakenBack {
		t.Fatalf("took back %+v, %v", l, err)
	}
	if rep := read(t, b); daysOf(rep) != "2026-05-02" {
		t.Errorf("taking it back made %q again", daysOf(rep))
	}
	agree(before)
	for _, n := range []int64{0, id, 99} {
		if _, err := b.TakeBack(ctx, n); err == nil {
			t.Errorf("took back %d", n)
		}
	}
	lines, err := b.Journal(ctx)
	if err != nil || len(lines) != 1 || lines[0].Words != "dug row 2: 2.1 in" || lines[0].Entry.Value != 2.1 || !lines[0].TakenBack {
		t.Errorf("%+v, %v", lines, err)
	}
}

// The lines of one note have one number and are taken back together.
func TestJournalOfSeveralLines(t *testing.T) {
	b := newBook(t)
	ctx := context.Background()
	dig := func(v float64) evenstand.Entry {
		return evenstand.Entry{T: at(2, 9, 1), What: "dig", Rows: evenstand.Rows{2}, Value: v, Unit: "in"}
	}
	first, err := b.AddNote(ctx, "four rows", []evenstand.Entry{dig(2.1), dig(2), dig(1.75)}, "dug row 2 2.1, 2, 1.75 in")
	if err != nil {
		t.Fatal(err)
	}
	second, err := b.AddNote(ctx, "four rows", []evenstand.Entry{dig(1)}, "dug row 2 1 in")
	if err != nil {
		t.Fatal(err)
	}
	if got := book.CountsOf(t, b); len(got) != 4 || first == second {
		t.Errorf("counts %q, notes %d and %d", got, first, second)
	}
	if l, err := b.TakeBack(ctx, first+1); err == nil {
		t.Errorf("took back a part of a note: %+v", l)
	}
	if l, err := b.TakeBack(ctx, first); err != nil || len(l) != 3 || l[2].Entry.Value != 1.75 {
		t.Errorf("took back %+v, %v", l, err)
	}
	lines, err := b.Journal(ctx)
	if err != nil || len(lines) != 4 {
		t.Fatalf("%+v, %v", lines, err)
	}
	for i, l := range lines {
		if want := i < 3; l.TakenBack != want || l.ID != map[bool]int64{true: first, false: second}[want] {
			t.Errorf("line %d: %+v", i, l)
		}
	}
}

// A note that was written before any planter was known is of the one that comes.
func TestJournalBeforeThePlanter(t *testing.T) {
	b := newBook(t)
	ctx := context.Background()
	if err := os.Remove(filepath.Join(b.Dir(), "planter", "four.toml")); err != nil {
		t.Fatal(err)
	}
	dir := b.Dir()
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
	b = open(t, dir)
	if _, err := b.AddNote(ctx, "", []evenstand.Entry{{T: at(2, 9, 1), What: "fix", Value: math.NaN(), Note: "new seals"}}, "fixed new seals"); err != nil {
		t.Fatal(err)
	}
	box := func(planter string) string {
		return folder(t, map[string][]byte{planter + ".log": slices.Concat([]byte("c 4 "+planter+"\n"), seasonLog(1, 2))})
	}
	read(t, b, box("six"))
	days, err := b.Days(ctx)
	if err != nil || len(days) != 2 || !slices.Contains(days[1].Notes, "fix: new seals") {
		t.Errorf("%+v, %v", days, err)
	}
	if rep := read(t, b, box("eight")); !slices.ContainsFunc(rep.Notes, func(s string) bool { return strings.Contains(s, "none of the planters: 1.") }) {
		t.Errorf("with two planters nothing is said of the note: %q", rep.Notes)
	}
	sound(t, b)
}

// A planter that gets another name keeps what was written by hand of it, as it
// keeps its logs.
func TestJournalOfRenamedPlanter(t *testing.T) {
	b := newBook(t)
	ctx := context.Background()
	read(t, b, folder(t, map[string][]byte{"box.log": seasonLog(1, 2)}))
	if _, err := b.AddNote(ctx, "four rows", []evenstand.Entry{{T: at(2, 9, 1), What: "fix", Value: math.NaN(), Note: "new seals"}}, ""); err != nil {
		t.Fatal(err)
	}
	renamed := strings.Replace(card, `name = "four rows"`, `name = "the old one"`, 1)
	if err := b.SetCard(ctx, book.File{Name: "four.toml", Data: []byte(renamed)}, ""); err != nil {
		t.Fatal(err)
	}
	read(t, b)
	days, err := b.Days(ctx)
	if err != nil || len(days) != 2 || days[1].Planter != "the old one" || !slices.Contains(days[1].Notes, "fix: new seals") {
		t.Errorf("%+v, %v", days, err)
	}
	sound(t, b)
}

// Counts stand in their own table beside the journal's line; what has no number
// does not.
func TestCountsByHand(t *testing.T) {
	b := newBook(t)
	ctx := context.Background()
	for _, e := range []evenstand.Entry{
		{T: at(2, 9, 1), What: "count", Rows: evenstand.Rows{3}, Value: 31, Note: "in 17.5 ft"},
		{T: at(2, 9, 2), What: "dig", Value: math.NaN(), Note: "dry on top"},
		{T: at(2, 9, 3), What: "fix", Value: 1},
	} {
		if _, err := b.AddNote(ctx, "four rows", []evenstand.Entry{e}, "x"); err != nil {
			t.Fatal(err)
		}
	}
	if got := book.CountsOf(t, b); len(got) != 1 || got[0] != "1 count 31" {
		t.Errorf("%q", got)
	}
}

// A ledger of the first version is brought up to date with what it holds.
func TestFirstLedger(t *testing.T) {
	b := newBook(t)
	dir := b.Dir()
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
	book.FirstLedger(t, dir, "four rows")
	b = open(t, dir)
	ctx := context.Background()
	lines, err := b.Journal(ctx)
	if err != nil || len(lines) != 1 || lines[0].Entry.Note != "old" || lines[0].Words != "" || lines[0].TakenBack {
		t.Fatalf("%+v, %v", lines, err)
	}
	if _, err := b.TakeBack(ctx, lines[0].ID); err != nil {
		t.Error(err)
	}
}

// A corrected note keeps its number; what it said before stays in the ledger and
// counts no more.
func TestEditNote(t *testing.T) {
	b := newBook(t)
	ctx := context.Background()
	read(t, b, folder(t, map[string][]byte{"box.log": seasonLog(1, 3)}))
	dig := func(day, row int, v float64) evenstand.Entry {
		return evenstand.Entry{T: at(day, 9, 1), What: "dig", Rows: evenstand.Rows{row}, Value: v, Unit: "in"}
	}
	id, err := b.AddNote(ctx, "four rows", []evenstand.Entry{dig(2, 2, 2.1), dig(2, 2, 2)}, "dug row 2: 2.1, 2 in")
	if err != nil {
		t.Fatal(err)
	}
	other, err := b.AddNote(ctx, "four rows", []evenstand.Entry{dig(2, 1, 1)}, "dug row 1: 1 in")
	if err != nil {
		t.Fatal(err)
	}
	read(t, b)
	if err := b.EditNote(ctx, id, []evenstand.Entry{dig(3, 3, 1.5)}, "dug row 3: 1.5 in"); err != nil {
		t.Fatal(err)
	}
	if rep := read(t, b); daysOf(rep) != "2026-05-02 2026-05-03" && daysOf(rep) != "2026-05-02,2026-05-03" {
		t.Errorf("an edit over two days made %q again", daysOf(rep))
	}
	sound(t, b)
	if err := b.EditNote(ctx, id, []evenstand.Entry{dig(3, 3, 1.5)}, "dug row 3: 1.5 in"); err == nil {
		t.Error("an edit that changes nothing was written")
	}
	if err := b.EditNote(ctx, id+1, []evenstand.Entry{dig(3, 3, 1)}, "x"); err == nil {
		t.Error("a part of a note was edited")
	}
	if err := b.EditNote(ctx, id, []evenstand.Entry{dig(3, 3, 1), dig(3, 3, 1.25)}, "dug row 3: 1, 1.25 in"); err != nil {
		t.Fatal(err)
	}
	lines, err := b.Journal(ctx)
	if err != nil || len(lines) != 3 || lines[0].ID != id || lines[1].ID != id || lines[2].ID != other || lines[0].Entry.Value != 1 || lines[1].Entry.Value != 1.25 || lines[0].Edits != 2 || lines[2].Edits != 0 {
		t.Fatalf("%+v, %v", lines, err)
	}
	h, err := b.NoteHistory(ctx, id)
	if err != nil || len(h) != 3 || len(h[0].Lines) != 2 || h[0].Lines[0].Entry.Value != 2.1 || len(h[1].Lines) != 1 || h[2].Lines[1].Words != "dug row 3: 1, 1.25 in" {
		t.Errorf("%+v, %v", h, err)
	}
	if _, err := b.NoteHistory(ctx, 99); err == nil {
		t.Error("a note that is not there has a history")
	}
	if got := book.CountsOf(t, b); len(got) != 6 {
		t.Errorf("counts %q", got)
	}
	if l, err := b.TakeBack(ctx, 0); err != nil || l[0].ID != other {
		t.Errorf("the last note is %+v, %v", l, err)
	}
	if l, err := b.TakeBack(ctx, id); err != nil || len(l) != 2 || l[0].Entry.Value != 1 {
		t.Errorf("took back %+v, %v", l, err)
	}
	if err := b.EditNote(ctx, id, []evenstand.Entry{dig(3, 3, 3)}, "dug"); err == nil {
		t.Error("a note that was taken back was edited")
	}
	read(t, b)
	sound(t, b)
	if _, err := b.Rebuild(ctx, formats, book.ReadOptions{}); err != nil {
		t.Fatal(err)
	}
	sound(t, b)
}

// A ledger of the version before notes could be corrected keeps its notes, and they
// can be.
func TestThirdLedger(t *testing.T) {
	b := newBook(t)
	dir := b.Dir()
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
	book.ThirdLedger(t, dir, "four rows")
	b = open(t, dir)
	ctx := context.Background()
	lines, err := b.Journal(ctx)
	if err != nil || len(lines) != 3 || lines[0].ID != 1 || lines[1].ID != 1 || lines[1].Entry.Value != 2 || lines[0].Edits != 0 || lines[0].TakenBack || !lines[2].TakenBack {
		t.Fatalf("%+v, %v", lines, err)
	}
	e := lines[0].Entry
	e.Value = 2.25
	if err := b.EditNote(ctx, 1, []evenstand.Entry{e}, "dug row 7: 2.25 in"); err != nil {
		t.Fatal(err)
	}
	if err := b.EditNote(ctx, 3, []evenstand.Entry{e}, "x"); err == nil {
		t.Error("what was taken back was corrected")
	}
	h, err := b.NoteHistory(ctx, 1)
	if err != nil || len(h) != 2 || len(h[0].Lines) != 2 || h[1].Lines[0].Entry.Value != 2.25 {
		t.Errorf("%+v, %v", h, err)
	}
	if lines, err = b.Journal(ctx); err != nil || len(lines) != 2 || lines[0].Entry.Value != 2.25 || lines[0].Edits != 1 {
		t.Errorf("%+v, %v", lines, err)
	}
}

// A note that is taken back while others correct it is taken back once, and no
// correction comes after it.
func TestTakenBackWhileCorrected(t *testing.T) {
	b := newBook(t)
	ctx := context.Background()
	entry := evenstand.Entry{T: at(2, 9, 1), What: "remark", Note: "a"}
	id, err := b.AddNote(ctx, "four rows", []evenstand.Entry{entry}, "a")
	if err != nil {
		t.Fatal(err)
	}
	var wg sync.WaitGroup
	var took, last atomic.Int64
	for i := range 8 {
		wg.Go(func() {
			e := entry
			e.Note = strings.Repeat("b", i+1)
			if b.EditNote(ctx, id, []evenstand.Entry{e}, e.Note) == nil {
				last.Add(1)
			}
			if i%2 == 0 {
				return
			}
			if _, err := b.TakeBack(ctx, id); err == nil {
				took.Add(1)
			}
		})
	}
	wg.Wait()
	lines, err := b.Journal(ctx)
	if err != nil || len(lines) != 1 || !lines[0].TakenBack || took.Load() != 1 || int64(lines[0].Edits) != last.Load() {
		t.Errorf("taken back %d times, %d corrections: %+v, %v", took.Load(), last.Load(), lines, err)
	}
}

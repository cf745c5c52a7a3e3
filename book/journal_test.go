package book_test

import (
	"context"
	"math"
	"slices"
	"strings"
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
	id, err := b.AddNote(ctx, "four rows", entry, "dug row 2: 2.1 in")
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
	if l, err := b.TakeBack(ctx, 0); err != nil || l.ID != id || !l.TakenBack {
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

// A planter that gets another name keeps what was written by hand of it, as it
// keeps its logs.
func TestJournalOfRenamedPlanter(t *testing.T) {
	b := newBook(t)
	ctx := context.Background()
	read(t, b, folder(t, map[string][]byte{"box.log": seasonLog(1, 2)}))
	if _, err := b.AddNote(ctx, "four rows", evenstand.Entry{T: at(2, 9, 1), What: "fix", Value: math.NaN(), Note: "new seals"}, ""); err != nil {
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
		if _, err := b.AddNote(ctx, "four rows", e, "x"); err != nil {
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

package book_test

import (
	"context"
	"fmt"
	"math"
	"sync"
	"testing"

	"evenstand"
	"evenstand/book"
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

package book_test

import (
	"context"
	"fmt"
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

package book_test

import (
	"context"
	"path/filepath"
	"testing"

	"evenstand"
	"evenstand/book"
)

// Planters whose names differ only in signs that no file name takes have cards
// of their own: the second does not overwrite the first.
func TestChangeCardKeepsOthers(t *testing.T) {
	ctx := context.Background()
	dir := filepath.Join(t.TempDir(), "b")
	set := evenstand.NewSettings()
	set.Zone = "America/Chicago"
	if err := book.Create(dir, set, nil, nil); err != nil {
		t.Fatal(err)
	}
	b, err := book.Open(dir, book.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	names := []string{"16/30", "16:30", "Säer", "Söer", "Сеялка", "***", "???"}
	for i, n := range names {
		if b.HasCard(n) {
			t.Errorf("%s has a card before one was written", n)
		}
		if err := b.ChangeCard(ctx, n, "", func(c *evenstand.Card) error { c.Rows = i + 2; return nil }); err != nil {
			t.Fatalf("%s: %v", n, err)
		}
	}
	for i, n := range names {
		if c, err := b.Card(n, ""); err != nil || c.Rows != i+2 || !b.HasCard(n) {
			t.Errorf("%s: %d rows, want %d, %v", n, c.Rows, i+2, err)
		}
	}
	// A change keeps what it does not touch, and the file.
	if err := b.ChangeCard(ctx, "Säer", "", func(c *evenstand.Card) error { c.RowSpacing = 0.75; return nil }); err != nil {
		t.Fatal(err)
	}
	if c, _ := b.Card("Säer", ""); c.Rows != 4 || c.RowSpacing != 0.75 {
		t.Errorf("%d rows at %g", c.Rows, c.RowSpacing)
	}
}

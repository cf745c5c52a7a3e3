package book

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"unicode"

	"evenstand"
	"evenstand/format/plain"
)

// Import is what was handed to one reading.
type Import struct {
	ID       int64            `json:"id"`
	At       evenstand.Micros `json:"at"`
	Name     string           `json:"name"` // last part of its path
	Kind     string           `json:"kind"` // folder, zip, file
	Files    int              `json:"files"`
	Bytes    int64            `json:"bytes"`
	Replaced bool             `json:"replaced"` // a later one holds everything of it
}

// Imports lists what was read into the book, newest first.
func (b *Book) Imports(ctx context.Context) ([]Import, error) {
	rows, err := b.db.QueryContext(ctx, `SELECT i.id, i.at, i.name, i.kind, count(f.path), coalesce(sum(f.size), 0), EXISTS (SELECT 1 FROM retired r WHERE r.input = i.id)
		FROM inputs i LEFT JOIN files f ON f.input = i.id GROUP BY i.id ORDER BY i.id DESC`)
	if err != nil {
		return nil, ledgerError(b.path(ledgerName), err)
	}
	defer rows.Close()
	out := []Import{}
	for rows.Next() {
		var x Import
		if err := rows.Scan(&x.ID, &x.At, &x.Name, &x.Kind, &x.Files, &x.Bytes, &x.Replaced); err != nil {
			return nil, ledgerError(b.path(ledgerName), err)
		}
		out = append(out, x)
	}
	return out, ledgerError(b.path(ledgerName), rows.Err())
}

// HasCard tells whether a person has written a card of the planter; else what is
// known of it comes from logs alone.
func (b *Book) HasCard(planter string) bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	return slices.Contains(b.cardNames(), planter)
}

// ChangeCard changes the card of a planter as it stands on a day, for the whole
// season, and keeps the one before in the history. Without a card yet it makes
// one of what the logs say.
func (b *Book) ChangeCard(ctx context.Context, planter string, day evenstand.Day, change func(*evenstand.Card) error) error {
	b.hand.Lock()
	defer b.hand.Unlock()
	card, err := b.Card(planter, day)
	if err != nil {
		return err
	}
	name := b.cardFile(planter, day)
	if name == "" {
		name = b.freeCard(planter)
	}
	card.Name = planter
	if err := change(&card); err != nil {
		return err
	}
	return b.SetCard(ctx, File{Name: name, Data: plain.WriteCard(card)}, "")
}

// freeCard makes a name for the file of a planter's first card, one that no
// other card has or had.
func (b *Book) freeCard(planter string) string {
	b.mu.Lock()
	defer b.mu.Unlock()
	stem := fileName(planter)
	for n := 1; ; n++ {
		name := stem + ".toml"
		if n > 1 {
			name = fmt.Sprintf("%s-%d.toml", stem, n)
		}
		if !slices.ContainsFunc(b.cards, func(v cardVersion) bool { return strings.EqualFold(v.file, name) }) {
			return name
		}
	}
}

// fileName makes a name for a file out of a planter's.
func fileName(planter string) string {
	s := strings.Map(func(r rune) rune {
		switch {
		case unicode.IsLetter(r), unicode.IsDigit(r), r == '-', r == ' ':
			return r
		}
		return '-'
	}, planter)
	if s = strings.Trim(s, " -"); s == "" {
		s = unnamed
	}
	return s
}

package book

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"evenstand"
	"evenstand/core/try/trial"
)

// Part is what is mounted on some rows of a planter.
type Part struct {
	Planter string         `json:"planter"`
	Kind    string         `json:"kind"`
	Label   string         `json:"label"`
	Rows    evenstand.Rows `json:"rows"`
	Since   evenstand.Day  `json:"since"` // empty: always
}

// Mounted lists what the cards of all planters carry, the newest last.
func (b *Book) Mounted(ctx context.Context) ([]Part, error) {
	out := []Part{}
	names, err := b.Planters(ctx)
	if err != nil {
		return nil, err
	}
	for _, p := range names {
		card, err := b.cardNow(ctx, p)
		if err != nil {
			return nil, err
		}
		for _, a := range card.Attachments {
			out = append(out, Part{p, a.Kind, a.Label, a.Rows, evenstand.Day(a.Since)})
		}
	}
	slices.SortStableFunc(out, func(a, c Part) int {
		if a.Planter != c.Planter {
			return strings.Compare(a.Planter, c.Planter)
		}
		return strings.Compare(string(a.Since), string(c.Since))
	})
	return out, nil
}

// Mount writes on a planter's card that a part is on some rows since a day. What
// the rows carried before stays in the card's history up to then.
func (b *Book) Mount(ctx context.Context, p Part) error {
	p.Kind, p.Label = kindOf(p.Kind), strings.TrimSpace(p.Label)
	if p.Kind == "" || p.Label == "" || len(p.Rows) == 0 {
		return &Error{"", fmt.Errorf("a part wants a kind, a name and its rows"), "Say for example closing wheel, spoked pair, rows 3,4"}
	}
	if p.Since != "" {
		if _, err := time.Parse(time.DateOnly, string(p.Since)); err != nil {
			return &Error{"", fmt.Errorf("the day is written as 2026-04-20, not %q", p.Since), ""}
		}
	}
	return b.changeParts(ctx, p.Planter, func(c *evenstand.Card) error {
		for _, r := range p.Rows {
			if r < 1 || c.Rows > 0 && r > c.Rows {
				return &Error{"", fmt.Errorf("%s has no row %d: it has %d rows", p.Planter, r, c.Rows), ""}
			}
		}
		if slices.ContainsFunc(c.Attachments, p.is) {
			return &Error{"", fmt.Errorf("the card says that already"), ""}
		}
		c.Attachments = append(slices.Clone(c.Attachments), evenstand.Attachment{Kind: p.Kind, Label: p.Label, Rows: p.Rows, Since: string(p.Since)})
		return nil
	})
}

// Unmount takes off the card what was written by mistake. A part that is taken off
// the planter stays on the card, and what follows it is mounted with its day.
func (b *Book) Unmount(ctx context.Context, p Part) error {
	p.Kind, p.Label = kindOf(p.Kind), strings.TrimSpace(p.Label)
	return b.changeParts(ctx, p.Planter, func(c *evenstand.Card) error {
		n := len(c.Attachments)
		c.Attachments = slices.DeleteFunc(slices.Clone(c.Attachments), p.is)
		if len(c.Attachments) == n {
			return &Error{"", fmt.Errorf("the card of %s has no %s %q on rows %s%s: %w", p.Planter, trial.KindSays(p.Kind), p.Label, p.Rows, since(p.Since), ErrUnknown), ""}
		}
		return nil
	})
}

func since(d evenstand.Day) string {
	if d == "" {
		return ""
	}
	return " since " + string(d)
}

// kindOf writes a kind as cards do: Closing wheel is closing_wheel.
func kindOf(says string) string {
	return strings.Join(strings.Fields(strings.ToLower(strings.ReplaceAll(says, "_", " "))), "_")
}

func (p Part) is(a evenstand.Attachment) bool {
	return a.Kind == p.Kind && a.Label == p.Label && slices.Equal(a.Rows, p.Rows) && a.Since == string(p.Since)
}

func (b *Book) changeParts(ctx context.Context, planter string, change func(*evenstand.Card) error) error {
	day, err := b.LastDay(ctx, planter)
	if err != nil {
		return err
	}
	return b.ChangeCard(ctx, planter, day, change)
}

func (b *Book) cardNow(ctx context.Context, planter string) (evenstand.Card, error) {
	day, err := b.LastDay(ctx, planter)
	if err != nil {
		return evenstand.Card{}, err
	}
	return b.Card(planter, day)
}

// LastDay is the last on which a planter logged anything, empty where it did not.
func (b *Book) LastDay(ctx context.Context, planter string) (evenstand.Day, error) {
	days, err := b.Days(ctx)
	last := evenstand.Day("")
	for _, d := range days {
		if d.Planter == planter {
			last = max(last, d.Day)
		}
	}
	return last, err
}

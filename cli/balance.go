package cli

import (
	"context"

	"evenstand/book"
	"evenstand/core/advise"
)

func balanceCommand() command {
	return command{
		name: "balance", args: "BOOK", what: "say which setting to try next, for how long and why",
		least: 1, most: 1, reports: true,
		run: func(ctx context.Context, c *call, _ any) error {
			b, err := c.open(c.args[0])
			if err != nil {
				return err
			}
			defer b.Close()
			days, err := b.Days(ctx)
			if err != nil {
				return err
			}
			o, err := c.render(ctx, b)
			if err != nil {
				return err
			}
			for _, d := range days {
				o.Voice.AsOf = max(o.Voice.AsOf, d.AsOf)
			}
			ls, err := b.Balance(ctx, days, o.Voice)
			if err != nil {
				return err
			}
			w := book.ViewBalance(ls, o.Voice)
			if c.json {
				return c.printJSON(w)
			}
			if len(w.Levers) == 0 {
				c.printf("No setting to weigh: write down what you set, or log it, and set limits for how far you may go with it.\n")
				return nil
			}
			for i := range w.Levers {
				c.lever(&w.Levers[i], o.Voice, i == 0)
			}
			return nil
		},
	}
}

// lever prints what is said of one setting.
func (c *call) lever(l *book.LeverView, v advise.Voice, top bool) {
	if !top {
		c.printf("\n")
	}
	c.printf("%s\n", l.Label)
	say := func(s string) {
		if s != "" {
			c.text("  ", "  ", s)
		}
	}
	if l.Verdict != "cannot-say" {
		say(l.Sentence)
	}
	say(l.Trying)
	say(l.Do)
	say(l.Expect)
	for _, s := range l.Needs {
		say(s)
	}
	if len(l.Needs) == 0 {
		say(l.Rests)
	}
	for _, s := range l.Assumed {
		say(s)
	}
	for _, s := range l.Why {
		c.text("  - ", "    ", s)
	}
	if l.Note != "" {
		rows := ""
		if len(l.Rows) > 0 {
			rows = ", " + advise.Lower(advise.Rows(l.Rows))
		}
		say("To write down that you try it: evenstand note BOOK '" + l.Note + rows + "'")
	}
}

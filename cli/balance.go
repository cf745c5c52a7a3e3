package cli

import (
	"context"
	"flag"
	"fmt"
	"math"

	"evenstand/book"
	"evenstand/core/advise"
)

type balanceOptions struct{ limits list }

func balanceCommand() command {
	return command{
		name: "balance", args: "BOOK [--limit LIMIT]…", what: "say which setting to try next, for how long and why",
		help: `Nothing is tried beyond the limits that you set. --limit sets one, as book.toml
has it; "none" takes it off:

  evenstand balance spring --limit "cleaner_pressure = 15psi to 40psi"
  evenstand balance spring --limit "seed_zone_moisture = at least 18%"
`,
		least: 1, most: 1, reports: true,
		setup: func(f *flag.FlagSet) any {
			o := &balanceOptions{}
			f.Var(&o.limits, "limit", "how far you may go with a setting, or what must be kept: a `limit` such as \"cleaner_pressure = 15psi to 40psi\"")
			return o
		},
		run: func(ctx context.Context, c *call, opts any) error {
			b, err := c.open(c.args[0])
			if err != nil {
				return err
			}
			defer b.Close()
			if err := b.SayLimits(ctx, opts.(*balanceOptions).limits); err != nil {
				return err
			}
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
				c.printf("No setting to weigh: write down what you set (evenstand note BOOK), or log it, and say how far you may go with it (--limit, or Change my limits on the page Balance).\n")
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
	if least, most := float64(l.Least), float64(l.Most); math.IsNaN(least) || math.IsNaN(most) {
		say(fmt.Sprintf("That is said by evenstand balance BOOK --limit '%s = LEAST to MOST', in %s, or on the page Balance under Change my limits.", l.Name, l.Shown.Unit))
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

package cli

import (
	"context"

	"evenstand/core/record"
)

func handOverCommand() command {
	return command{
		name: "handover", args: "BOOK", what: "say in a minute what the next one at the wheel must know",
		least: 1, most: 1, reports: true,
		run: func(ctx context.Context, c *call, _ any) error {
			b, err := c.open(c.args[0])
			if err != nil {
				return err
			}
			defer b.Close()
			o, err := c.render(ctx, b)
			if err != nil {
				return err
			}
			days, err := b.Days(ctx)
			if err != nil {
				return err
			}
			where := ""
			if len(days) > 0 {
				left, err := b.LeftToPlant(ctx, days)
				if err != nil {
					return err
				}
				if where, err = b.Place(ctx, days, left, o.Voice); err != nil {
					return err
				}
			}
			w, err := b.Worklist(ctx, true)
			if err != nil {
				return err
			}
			h, ok, err := b.HandOver(ctx, w, days, where, o)
			if err != nil {
				return err
			}
			if !ok {
				if lost, err := c.lost(ctx, b); lost || err != nil {
					return err
				}
				c.printf("Nothing to hand over: no day with a pass has been read yet.\n")
				return nil
			}
			if c.json {
				return c.printJSON(map[string]any{"schema": 1, "hand_over": h})
			}
			c.printf("%s", record.RenderHandOver(h, o))
			return nil
		},
	}
}

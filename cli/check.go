package cli

import (
	"context"
)

func checkCommand() command {
	return command{
		name: "check", args: "BOOK", what: "look whether the logbook is sound: hashes, counts, references",
		least: 1, most: 1, reports: true,
		run: func(ctx context.Context, c *call, _ any) error {
			b, err := c.open(c.args[0])
			if err != nil {
				return err
			}
			defer b.Close()
			faults, err := b.Check(ctx)
			if err != nil {
				return err
			}
			stale, err := stale(ctx, b)
			if err != nil {
				return err
			}
			if len(faults) > 0 {
				c.code = exitFailed
			}
			if c.json {
				if faults == nil {
					faults = []string{}
				}
				return c.printJSON(map[string]any{"schema": 1, "sound": len(faults) == 0, "faults": faults, "unfinished": stale})
			}
			for _, f := range faults {
				c.text("", "    ", f)
			}
			if len(faults) == 0 {
				c.printf("The logbook is sound.\n")
			} else {
				c.hint(c.Stderr, "What is derived can be made again:", "evenstand rebuild "+c.args[0])
			}
			if stale {
				c.hint(c.Stderr, "Days wait to be made again: a note was written or taken back, a card or field was changed, or a read was cut off. To complete it:", "evenstand read "+c.args[0])
			}
			return nil
		},
	}
}

package cli

import (
	"context"

	"evenstand/core/record"
)

func changedCommand() command {
	return command{
		name: "changed", args: "BOOK", what: "list what was done, and whether it worked",
		least: 1, most: 1, reports: true,
		help: `
What was recorded as done about findings, and fixes and settings of the journal,
the newest first. From the next lowering on the logs tell whether it worked; the
verdict may be looked at as often as one likes.

Example:
  evenstand changed spring`,
		run: func(ctx context.Context, c *call, _ any) error {
			b, err := c.open(c.args[0])
			if err != nil {
				return err
			}
			defer b.Close()
			all, err := b.Changed(ctx)
			if err != nil {
				return err
			}
			if c.json {
				return c.printJSON(map[string]any{"schema": 1, "changed": all})
			}
			o, err := c.render(ctx, b)
			if err != nil {
				return err
			}
			c.printf("%s", record.RenderChanged(all, o))
			return nil
		},
	}
}

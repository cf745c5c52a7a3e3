package cli

import (
	"context"

	"evenstand/core/record"
)

func showCommand() command {
	return command{
		name: "show", args: "BOOK FINDING", what: "show one finding: evidence, causes, money with sources, what to do",
		least: 2, most: 2, reports: true,
		help: `
FINDING is the id that the worklist prints; its first letters suffice.

Example:
  evenstand show spring 7q2k`,
		run: func(ctx context.Context, c *call, _ any) error {
			b, err := c.open(c.args[0])
			if err != nil {
				return err
			}
			defer b.Close()
			w, err := b.Worklist(ctx, true)
			if err != nil {
				return err
			}
			f, err := record.Find(w.Findings, c.args[1])
			if err != nil {
				return err
			}
			if c.json {
				return c.printJSON(f)
			}
			o, err := c.render(ctx, b)
			if err != nil {
				return err
			}
			c.printf("%s", record.RenderFinding(&f, o))
			return nil
		},
	}
}

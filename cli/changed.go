package cli

import (
	"context"

	"evenstand/book"
	"evenstand/core/record"
)

func changedCommand() command {
	return command{
		name: "changed", args: "BOOK", what: "list what was done, and whether it worked",
		least: 1, most: 1, reports: true,
		help: `
What was recorded as done about findings, and fixes and settings of the journal,
the newest first. From the next lowering on the logs tell whether it worked; the
verdict may be looked at as often as one likes. Then the settings that were only
set, by hand or as a box logged them, each with what followed.

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
			o, err := c.render(ctx, b)
			if err != nil {
				return err
			}
			set, err := b.SettingsChanged(ctx, o.Voice)
			if err != nil {
				return err
			}
			set = book.OnlySet(set, all)
			if c.json {
				return c.printJSON(map[string]any{"schema": 1, "changed": all, "settings": set})
			}
			if len(all)+len(set) == 0 || len(all) > 0 {
				c.printf("%s", record.RenderChanged(all, o))
			}
			if len(set) == 0 {
				return nil
			}
			if len(all) > 0 {
				c.printf("\n")
			}
			c.printf("Set or moved, about no finding\n")
			for i := range set {
				c.setLine(&set[i], set[i].Planter != set[0].Planter)
			}
			c.printf("All measures: evenstand effects %s --table\n", c.args[0])
			return nil
		},
	}
}

// setLine prints a setting that was changed, and what followed in one line.
func (c *call) setLine(l *book.ChangeLine, planter bool) {
	head := l.Head
	if planter && l.Planter != "" {
		head += " (" + l.Planter + ")"
	}
	c.text("  - ", "    ", head+".")
	c.text("    ", "    ", l.Short)
}

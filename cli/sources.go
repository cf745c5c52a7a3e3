package cli

import (
	"context"

	"evenstand/book"
)

func sourcesCommand() command {
	return command{
		name: "sources", args: "BOOK", what: "list each box's logs with grade, clock, gaps and what was not used",
		least: 1, most: 1, reports: true,
		run: func(ctx context.Context, c *call, _ any) error {
			b, err := c.open(c.args[0])
			if err != nil {
				return err
			}
			defer b.Close()
			src, err := b.Sources(ctx)
			if err != nil {
				return err
			}
			if c.json {
				if src == nil {
					src = []book.SourceReport{}
				}
				return c.printJSON(map[string]any{"schema": 1, "sources": src})
			}
			v := voice(b)
			if len(src) == 0 {
				if lost, err := c.lost(ctx, b); lost || err != nil {
					return err
				}
				c.printf("No logs have been read yet.\n")
			}
			for _, s := range src {
				c.source(s)
				for _, line := range s.Says(v) {
					c.text("    ", "    ", line)
				}
				for _, u := range s.Unused {
					c.text("    ", "      ", c.card("Not used: "+book.SayUnused(u, v)))
				}
				c.notes(s.Notes)
			}
			return nil
		},
	}
}

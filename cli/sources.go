package cli

import (
	"context"
	"math"

	"evenstand"
	"evenstand/book"
	"evenstand/core/advise"
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
			v := advise.Voice{Zone: b.Zone(), Units: b.Settings().Units}
			if len(src) == 0 {
				c.printf("No logs have been read yet.\n")
			}
			for _, s := range src {
				c.printf("%s\n", sourceLine(s))
				if s.First != evenstand.NoTime {
					c.printf("    %s %s to %s %s\n", v.Date(s.First), v.Clock(s.First), v.Date(s.Last), v.Clock(s.Last))
				}
				if off := float64(s.ClockOffset); math.IsNaN(off) {
					c.printf("    clock: nobody has said how far it is off\n")
				} else if e := float64(s.ClockError); math.IsNaN(e) {
					c.printf("    clock: %+.2f s off\n", off)
				} else {
					c.printf("    clock: %+.2f s off, known to %.2f s\n", off, e)
				}
				for _, g := range s.Gaps {
					c.printf("    silent from %s for %.0f s while the planter planted\n", v.Clock(g.From), (g.To - g.From).Seconds())
				}
				for _, u := range s.Unused {
					c.printf("    not used: %s\n", unusedLine(u))
				}
				for _, n := range s.Notes {
					c.printf("    %s\n", n)
				}
			}
			return nil
		},
	}
}

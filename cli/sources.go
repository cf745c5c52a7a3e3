package cli

import (
	"context"
	"fmt"
	"math"
	"time"

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
			v := voice(b)
			if len(src) == 0 {
				c.printf("No logs have been read yet.\n")
			}
			for _, s := range src {
				c.source(s)
				if s.First != evenstand.NoTime {
					c.text("    ", "    ", spell(v, s.First, s.Last))
				}
				c.text("    ", "    ", clockLine(float64(s.ClockOffset), float64(s.ClockError)))
				for i, g := range s.Gaps {
					if i == most {
						c.text("    ", "    ", fmt.Sprintf("Silent %d times more.", len(s.Gaps)-most))
						break
					}
					c.text("    ", "    ", "Silent from "+v.Clock(g.From)+" for "+span(time.Duration(g.To-g.From)*time.Microsecond)+" while the planter planted.")
				}
				for _, u := range s.Unused {
					c.text("    ", "      ", c.card("Not used: "+unusedLine(u, v)))
				}
				c.notes(s.Notes)
			}
			return nil
		},
	}
}

// most is how many silences of a source are listed one by one.
const most = 5

// spell writes from when to when a source logged.
func spell(v advise.Voice, first, last evenstand.Micros) string {
	from := v.Date(first) + ", " + v.Clock(first)
	if v.Date(first) == v.Date(last) {
		return from + " to " + v.Clock(last)
	}
	return from + ", to " + v.Date(last) + ", " + v.Clock(last)
}

// clockLine says how far a box's clock is off: logged minus true, and the
// half-width of its 90 % interval, both in seconds, NaN unknown.
func clockLine(off, e float64) string {
	if math.IsNaN(off) {
		return "Clock: nobody has said how far it is off."
	}
	s := "Clock: right"
	if math.Abs(off) >= 0.005 {
		word := "fast"
		if off < 0 {
			word = "slow"
		}
		s = fmt.Sprintf("Clock: %.2f s %s", math.Abs(off), word)
	}
	if math.IsNaN(e) {
		return s + ", as was said of it; how well is not known."
	}
	return s + fmt.Sprintf(" to within %.2f s.", e)
}

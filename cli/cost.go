package cli

import (
	"context"
	"flag"
	"slices"
	"strings"

	"evenstand/core/price"
	"evenstand/core/record"
)

type costOptions struct{ season, field, by string }

func costCommand() command {
	return command{
		name: "cost", args: "BOOK [BOOK ...]", what: "say what unevenness cost, by cause, part, row, field and day, and what to mend or buy in winter",
		least: 1, most: -1, reports: true,
		setup: func(fs *flag.FlagSet) any {
			o := &costOptions{}
			fs.StringVar(&o.season, "season", "", "the year; without it the last one planted")
			fs.StringVar(&o.field, "field", "", "one field only")
			fs.StringVar(&o.by, "by", "", "cause, part, row, field or day, or hour, which is shown only when asked for; commas between several")
			return o
		},
		help: `
Further logbooks, of other seasons, are set beside the first as sums.

Examples:
  evenstand cost spring
  evenstand cost spring --by row,part
  evenstand cost spring-26 spring-25 --json`,
		run: func(ctx context.Context, c *call, opts any) error {
			q := opts.(*costOptions)
			var ways []string
			for by := range strings.SplitSeq(q.by, ",") {
				if by = strings.TrimSpace(by); by == "" {
					continue
				}
				if !slices.ContainsFunc(record.CostWays(true), func(w price.By) bool { return string(w) == by }) {
					return usagef("--by %s: want cause, part, row, field, day or hour", by)
				}
				ways = append(ways, by)
			}
			var sheet record.CostSheet
			var o record.Options
			for i, dir := range c.args {
				s, so, err := c.costSheet(ctx, dir, q, i == 0)
				if err != nil {
					return err
				}
				if i == 0 {
					sheet, o = s, so
				}
				for _, x := range s.Seasons {
					if len(c.args) > 1 {
						x.Book = dir
					}
					if i > 0 {
						sheet.Seasons = append(sheet.Seasons, x)
					} else if j := slices.IndexFunc(sheet.Seasons, func(y record.CostSeason) bool { return y.Season == x.Season && y.Book == "" }); j >= 0 {
						sheet.Seasons[j] = x
					}
				}
			}
			if c.json {
				return c.printJSON(sheet)
			}
			if sheet.Season == "" {
				c.printf("Nothing to reckon: no day with a pass has been read yet.\n")
				return nil
			}
			c.printf("%s", record.RenderCostSheet(sheet, o, ways...))
			return nil
		},
	}
}

// costSheet makes the sheet of one logbook; of those beside the first only the
// seasons count.
func (c *call) costSheet(ctx context.Context, dir string, q *costOptions, first bool) (s record.CostSheet, o record.Options, err error) {
	b, err := c.open(dir)
	if err != nil {
		return s, o, err
	}
	defer b.Close()
	if o, err = c.render(ctx, b); err != nil {
		return s, o, err
	}
	season, field := q.season, q.field
	if !first {
		season, field = "", ""
	}
	s, err = b.CostSheet(ctx, season, field, slices.Contains(strings.Split(strings.ReplaceAll(q.by, " ", ""), ","), string(price.ByHour)), o)
	return s, o, err
}

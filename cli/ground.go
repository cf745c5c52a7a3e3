package cli

import (
	"context"
	"fmt"
	"math"
	"slices"

	"evenstand"
	"evenstand/book"
	"evenstand/core/advise"
)

func groundCommand() command {
	return command{
		name: "ground", args: "BOOK [FIELD]", what: "list what was planted of each field: acres by day and lot, twice, and left",
		least: 1, most: 2, reports: true,
		run: func(ctx context.Context, c *call, _ any) error {
			b, err := c.open(c.args[0])
			if err != nil {
				return err
			}
			defer b.Close()
			all, err := b.Ground(ctx)
			if err != nil {
				return err
			}
			if len(c.args) == 2 {
				all = slices.DeleteFunc(all, func(g book.FieldGround) bool { return g.Field != c.args[1] })
				if len(all) == 0 {
					return usagef("no ground of a field %q was planted; without a name all fields are listed", c.args[1])
				}
			}
			if c.json {
				return c.printJSON(map[string]any{"schema": 1, "fields": all})
			}
			if len(all) == 0 {
				if lost, err := c.lost(ctx, b); lost || err != nil {
					return err
				}
				c.printf("No ground of a field has been planted yet. Fields are known by their boundaries:\nevenstand new BOOK --field FILE, or a file in BOOK/fields.\n")
				return nil
			}
			v := voice(b)
			for i := range all {
				c.ground(&all[i], v)
			}
			return nil
		},
	}
}

// ground prints one field.
func (c *call) ground(g *book.FieldGround, v advise.Voice) {
	f := func(n evenstand.Number) float64 { return float64(n) }
	c.printf("%s\n", g.Field)
	what := "planted " + v.Area(f(g.Worked))
	if !math.IsNaN(f(g.Area)) {
		what = fmt.Sprintf("planted %s of %s, %s left", v.Area(f(g.Inside)), v.Area(f(g.Area)), v.Area(f(g.Area)-f(g.Inside)))
	}
	c.text("  ", "  ", what)
	c.text("  ", "  ", fmt.Sprintf("twice %s, give or take %s; gaps and overlaps narrower than %s are not seen", v.Area(f(g.Twice)), v.Area(f(g.Error)), v.Length(f(g.See))))
	if g.Doubt {
		c.text("  ", "  ", "These areas are in doubt: two ways of measuring do not agree.")
	}
	for _, a := range g.Acres {
		lot := ""
		if again := f(a.Area) - f(a.First); again > 0.02*f(a.Area) {
			lot = ", " + v.Area(again) + " of it again"
		}
		if a.Lot != "" {
			lot += ", lot " + a.Lot
		}
		c.printf("    %s  %-8s  %9s  %s%s\n", v.Day(a.Day), a.Applied, v.Area(f(a.Area)), a.Planter, lot)
	}
	for _, p := range g.Gaps[:min(5, len(g.Gaps))] {
		c.printf("    not planted  %9s  %s long, %s wide\n", v.Area(f(p.Area)), v.Length(f(p.Length)), v.Length(f(p.Width)))
	}
	if n := len(g.Gaps) + g.More; n > 5 {
		c.printf("    and %s more\n", advise.Plural(int64(n-5), "piece", "pieces"))
	}
}

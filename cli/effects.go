package cli

import (
	"context"
	"flag"
	"math"
	"slices"
	"strings"

	"evenstand"
	"evenstand/book"
	"evenstand/core/advise"
	"evenstand/core/measure/group"
	"evenstand/core/try/effect"
)

type effectsOptions struct {
	lever, measure string
	table          bool
}

func effectsCommand() command {
	return command{
		name: "effects", args: "BOOK", what: "say what each change of a setting did, and what settings do over the season",
		least: 1, most: 1, reports: true,
		help: `
Changes are those that were noted and those that boxes logged. Each is held
against rows that were not changed where there are some, else against the same
rows before and after. Intervals are 90 %.

Examples:
  evenstand effects spring
  evenstand effects spring --lever cleaner_pressure --measure trash`,
		setup: func(fs *flag.FlagSet) any {
			o := &effectsOptions{}
			fs.BoolVar(&o.table, "table", false, "print all measures of each change; so also with --lever or --measure")
			fs.StringVar(&o.lever, "lever", "", "only this setting: cleaner_pressure, depth, ...")
			fs.StringVar(&o.measure, "measure", "", "only this measure: "+strings.Join(effect.Names, ", "))
			return o
		},
		run: func(ctx context.Context, c *call, opts any) error {
			o := opts.(*effectsOptions)
			if err := book.AskedEffects(o.lever, o.measure); err != nil {
				return usagef("--%v", err)
			}
			b, err := c.open(c.args[0])
			if err != nil {
				return err
			}
			defer b.Close()
			days, err := b.Effects(ctx)
			if err != nil {
				return err
			}
			v := voice(b)
			told := book.TellEffects(days, o.lever, o.measure, v)
			if c.json {
				return c.printJSON(map[string]any{"schema": 1, "effects": told})
			}
			if len(told.Changes)+len(told.Speeds) == 0 {
				if lost, err := c.lost(ctx, b); lost || err != nil {
					return err
				}
				c.printf("No change of a setting has been noted or logged on a day that was read. Write one down with\nevenstand note BOOK \"2:05 pm cleaners 30 to 22 psi rows 1-8\".\n")
				return nil
			}
			for i := range told.Changes {
				c.effects(&told.Changes[i], v, o.table || o.lever+o.measure != "")
			}
			for i := range told.Speeds {
				if slices.ContainsFunc(told.Speeds[i].Effects, func(e book.EffectLine) bool { return e.Verdict == effect.Less || e.Verdict == effect.More }) {
					c.effects(&told.Speeds[i], v, o.table || o.lever+o.measure != "")
				}
			}
			if len(told.Curves) > 0 {
				c.printf("Over the season\n")
				for i := range told.Curves {
					c.text("  ", "    ", told.Curves[i].Says)
				}
			}
			return nil
		},
	}
}

// effects prints a change in short, or in full with its table.
func (c *call) effects(l *book.ChangeLine, v advise.Voice, table bool) {
	if !table {
		head, _, _ := strings.Cut(l.Says, ": ")
		c.text("", "    ", v.Day(l.Day)+": "+head+". "+l.Short)
		return
	}
	c.text("", "    ", v.Day(l.Day)+": "+l.Says)
	shown := false
	for i := range l.Effects {
		e := &l.Effects[i]
		if math.IsNaN(float64(e.Value)) {
			continue
		}
		m, ok := group.ByID(e.Measure)
		if !ok {
			continue
		}
		if !shown {
			c.printf("    %-28s %16s %9s %18s %-9s %s\n", "", "before", "by", "90 %", "", "told by")
			shown = true
		}
		_, unit, _ := strings.Cut(effect.Difference(float64(e.Value), m.Unit, v), " ")
		signed := func(x evenstand.Number) string {
			s, _, _ := strings.Cut(effect.Difference(float64(x), m.Unit, v), " ")
			switch {
			case x < 0:
				return "-" + s
			case x > 0:
				return "+" + s
			}
			return s
		}
		c.printf("    %-28s %16s %9s %18s %-9s %s\n", m.Label, v.Value(float64(e.Before), m.Unit), signed(e.Value), signed(e.Low)+" to "+signed(e.High), unit, e.Design)
	}
}

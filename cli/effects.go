package cli

import (
	"context"
	"flag"
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"evenstand/book"
	"evenstand/core/advise"
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
			if told.Unmoved != "" {
				c.text("", "    ", told.Unmoved)
			}
			if len(told.Blocks) > 0 {
				c.printf("Over the season\n")
				for _, k := range told.Blocks {
					c.text("  ", "    ", k.Title+":")
					for _, s := range k.Says {
						c.text("    ", "      ", s)
					}
				}
			}
			return nil
		},
	}
}

// effects prints a change in short, or with its table.
func (c *call) effects(l *book.ChangeLine, v advise.Voice, table bool) {
	c.text("", "    ", v.Day(l.Day)+": "+l.Head+". "+l.Short)
	if table {
		c.measures(l)
	}
}

// measures prints what followed a change, a line a measure. Reasons for which several
// tell nothing are said once.
func (c *call) measures(l *book.ChangeLine) {
	var rows [][]string
	var why []string
	of := map[string][]string{}
	for i := range l.Effects {
		t := l.Effects[i].Told
		switch {
		case t == nil:
		case t.Difference == "":
			if of[t.Verdict] == nil {
				why = append(why, t.Verdict)
			}
			of[t.Verdict] = append(of[t.Verdict], t.Measure)
		default:
			rows = append(rows, []string{t.Measure, t.Before, t.After, t.Difference, t.Range, t.Verdict, t.From})
		}
	}
	from := ""
	if len(rows) > 0 {
		from = rows[0][6]
		for _, r := range rows {
			if r[6] != from {
				from = ""
			}
		}
		for _, r := range rows {
			if from != "" {
				r[6] = ""
			}
		}
		rest := "told by"
		if from != "" {
			rest = ""
		}
		rows = append([][]string{{"", "before", "after", "difference", "90 % range", "verdict", rest}}, rows...)
	}
	wide := make([]int, 7)
	for _, r := range rows {
		for k, s := range r {
			wide[k] = max(wide[k], utf8.RuneCountInString(s))
		}
	}
	for _, r := range rows {
		line := fmt.Sprintf("    %-*s  %*s  %*s  %*s  %*s  %-*s  %s", wide[0], r[0], wide[1], r[1], wide[2], r[2], wide[3], r[3], wide[4], r[4], wide[5], r[5], r[6])
		c.printf("%s\n", strings.TrimRight(line, " "))
	}
	if from != "" {
		c.text("    ", "      ", "Told by "+from+".")
	}
	if l.Aside != "" {
		c.text("    ", "      ", l.Aside)
	}
	if len(of) == 1 && len(rows) == 0 && len(l.Effects) > 0 && strings.HasPrefix(l.Short, "Cannot be told: ") {
		return // said above
	}
	for _, w := range why {
		c.text("    ", "      ", strings.Join(of[w], ", ")+": "+w+".")
	}
}

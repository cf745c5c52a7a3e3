package cli

import (
	"context"
	"encoding/csv"
	"flag"
	"fmt"
	"math"
	"strings"

	"evenstand"
	"evenstand/book"
	"evenstand/core/advise"
	"evenstand/core/measure/group"
	"evenstand/core/try/trial"
)

type trialOptions struct {
	plan, planter, measure, aim string
	rows, passes                int
	seed                        uint64
	start                       string
	price, seasons              float64
	mount, unmount, kind, on    string
	csv                         bool
}

func trialCommand() command {
	return command{
		name: "trial", args: "BOOK [TRIAL]", what: "say whether a part, or a setting, on some rows or passes did better than the rest",
		help: `Rows that carry another part than the others are a trial: say which part is on
which rows since when (--mount; it is written on the planter card). A setting that stood apart between
rows, or went back and forth by pass, is one too. Without TRIAL all are listed.

  evenstand trial spring
  evenstand trial spring --mount "spoked pair" --kind "closing wheel" --on 3,4 --start 2026-04-20
  evenstand trial spring "spoked pair"
  evenstand trial spring "spoked pair" --price 180 --seasons 5 --aim moisture
  evenstand trial spring --plan "spoked pair" --rows 2
`,
		least: 1, most: 2, reports: true,
		setup: func(f *flag.FlagSet) any {
			o := &trialOptions{}
			f.StringVar(&o.plan, "plan", "", "propose rows, swap and passes for this `part`, and what it will see")
			f.StringVar(&o.planter, "planter", "", "of a plan: which `planter`; else the one that planted last")
			f.IntVar(&o.rows, "rows", 2, "of a plan: rows of parts at hand, one and more")
			f.IntVar(&o.passes, "passes", 0, "of a plan: passes of each time; as many as help when left out")
			f.StringVar(&o.measure, "measure", "", "of a plan: what to look at, such as skips, spacing, moisture or trash")
			f.Uint64Var(&o.seed, "seed", 1, "of a plan: of the draw of the rows")
			f.StringVar(&o.start, "start", "", "of a plan: the first `day`, 2026-05-02, to name the day of the swap; of --mount: the day that it was mounted")
			f.StringVar(&o.mount, "mount", "", "write down that this `part` is on the rows of --on")
			f.StringVar(&o.unmount, "unmount", "", "take a `part` off the card that was written by mistake; --kind, --on and --start as it stands there")
			f.StringVar(&o.kind, "kind", "", "of --mount: what it is, such as \"closing wheel\" or \"row cleaner\"")
			f.StringVar(&o.on, "on", "", "of --mount: its `rows`, 3,4")
			f.Float64Var(&o.price, "price", math.NaN(), "write down what the part costs on one row")
			f.Float64Var(&o.seasons, "seasons", math.NaN(), "write down how many seasons it lasts")
			f.StringVar(&o.aim, "aim", "", "write down what it is mounted for, such as skips, moisture or stand")
			f.BoolVar(&o.csv, "csv", false, "the rows of one trial as a table")
			return o
		},
		run: func(ctx context.Context, c *call, opts any) error { return c.trial(ctx, opts.(*trialOptions)) },
	}
}

func (c *call) trial(ctx context.Context, o *trialOptions) error {
	b, err := c.open(c.args[0])
	if err != nil {
		return err
	}
	defer b.Close()
	if o.plan != "" {
		return c.trialPlan(ctx, b, o)
	}
	if o.mount != "" || o.unmount != "" {
		return c.mount(ctx, b, o)
	}
	says := !math.IsNaN(o.price) || !math.IsNaN(o.seasons) || o.aim != ""
	if (says || o.csv) && len(c.args) < 2 {
		return usagef("of which trial? Give its id or the part's label after BOOK")
	}
	all, err := b.Trials(ctx)
	if err != nil {
		return err
	}
	if len(c.args) == 2 {
		t, err := book.PickTrial(all, c.args[1])
		if err != nil {
			return err
		}
		if says {
			p, _ := settings(b).Part(t.Label)
			p.Label = t.Label
			if !math.IsNaN(o.price) {
				p.Price = o.price
			}
			if !math.IsNaN(o.seasons) {
				p.Seasons = o.seasons
			}
			if o.aim != "" {
				if _, ok := group.ByID(o.aim); !ok && o.aim != "stand" {
					return usagef("--aim %s: no such measure; skips, spacing, trash, moisture or stand, for example", o.aim)
				}
				p.Aim = o.aim
			}
			if err := b.SetPart(ctx, p); err != nil {
				return err
			}
			if t, err = b.Trial(ctx, t.ID); err != nil {
				return err
			}
		}
		switch {
		case c.json:
			return c.printJSON(map[string]any{"schema": 1, "trial": t})
		case o.csv:
			w := csv.NewWriter(c.Stdout)
			if err := w.WriteAll(t.Table()); err != nil {
				return err
			}
			return w.Error()
		}
		c.trialText(&t, voice(b))
		return nil
	}
	if c.json {
		return c.printJSON(map[string]any{"schema": 1, "trials": all})
	}
	if len(all) == 0 {
		if lost, err := c.lost(ctx, b); lost || err != nil {
			return err
		}
		c.text("", "", trial.Empty)
		return nil
	}
	for i := range all {
		c.printf("%s\n", all[i].ID)
		c.text("  ", "  ", trial.Heading(&all[i])+".")
		c.text("  ", "  ", all[i].Sentence)
		if all[i].Money.Says != "" {
			c.text("  ", "  ", advise.Capital(all[i].Money.Says)+".")
		}
	}
	return nil
}

// mount writes a part on the planter's card, or takes a mistake off it, and lists
// what is on the planters then.
func (c *call) mount(ctx context.Context, b *book.Book, o *trialOptions) error {
	if o.mount != "" && o.unmount != "" || o.kind == "" || o.on == "" {
		return usagef("say one part with its kind and rows: --mount \"spoked pair\" --kind \"closing wheel\" --on 3,4 --start 2026-04-20")
	}
	planter, err := planterNamed(ctx, b, o.planter)
	if err != nil {
		return err
	}
	rows, err := evenstand.ParseRows(o.on)
	if err != nil {
		return usagef("--on: %v", err)
	}
	p := book.Part{Planter: planter, Kind: o.kind, Label: o.mount + o.unmount, Rows: rows, Since: evenstand.Day(o.start)}
	if o.mount != "" {
		err = b.Mount(ctx, p)
	} else {
		err = b.Unmount(ctx, p)
	}
	if err != nil {
		return err
	}
	on, err := b.Mounted(ctx)
	if err != nil {
		return err
	}
	if c.json {
		return c.printJSON(map[string]any{"schema": 1, "mounted": on})
	}
	for _, p := range on {
		since := "always"
		if p.Since != "" {
			since = "since " + string(p.Since)
		}
		c.printf("%s: %s, %s, %s, %s\n", p.Planter, p.Label, trial.KindSays(p.Kind), strings.ToLower(advise.Rows(p.Rows)), since)
	}
	return nil
}

func settings(b *book.Book) *evenstand.Settings {
	s := b.Settings()
	return &s
}

func (c *call) trialText(t *trial.Report, v advise.Voice) {
	c.text("", "", trial.Heading(t)+".")
	c.text("", "", t.Sentence)
	c.text("", "", t.HowSays)
	for _, p := range t.Periods {
		c.text("  ", "  ", p.Says)
	}
	for _, o := range t.Out {
		c.text("  ", "  ", fmt.Sprintf("%s do not count: %s.", advise.Rows(o.Rows), o.Why))
	}
	c.printf("\n")
	for i := range t.Figures {
		f := &t.Figures[i]
		c.text(fmt.Sprintf("  %-20s ", f.Label), "  ", f.Says)
		for _, z := range f.Zones {
			if !math.IsNaN(float64(z.Diff)) {
				c.printf("    %-20s %s\n", z.Zone, trial.Signed(v, z.Diff, z.Low, z.High, f.Unit))
			}
		}
	}
	c.printf("\n")
	if t.Money.Says != "" {
		c.text("", "", fmt.Sprintf("%s, where it can be priced; it saves something in %.0f of 100 cases.", advise.Capital(t.Money.Says), 100*float64(t.Money.Chance)))
	}
	if t.Money.PayBack != nil {
		c.text("", "", t.Money.PayBack.Says)
	}
	for _, n := range t.Money.Not {
		c.text("  ", "  ", n)
	}
	for _, n := range t.Money.Needs {
		c.text("  ", "  ", "Needs "+n.Text+".")
	}
	if t.Money.Assumed != "" {
		c.text("  ", "  ", t.Money.Assumed)
	}
	if len(t.Settle) > 0 {
		c.printf("What would settle it:\n")
		for _, s := range t.Settle {
			c.text("  ", "  ", s.Do)
		}
	}
	for _, n := range t.Notes {
		c.text("", "", n)
	}
}

func (c *call) trialPlan(ctx context.Context, b *book.Book, o *trialOptions) error {
	if o.rows < 1 {
		return usagef("--rows: at least one row of parts, or leave it out for two")
	}
	p, err := b.PlanTrial(ctx, book.TrialWish{Planter: o.planter, Part: o.plan, Rows: o.rows, Passes: o.passes, Measure: o.measure, Seed: o.seed, Start: evenstand.Day(o.start)})
	if err != nil {
		return err
	}
	if c.json {
		return c.printJSON(map[string]any{"schema": 1, "plan": p})
	}
	if len(p.Plans) == 0 {
		c.text("", "", p.Says)
		return nil
	}
	for i, x := range p.Plans {
		c.text(fmt.Sprintf("%d. ", i+1), "   ", x.Says)
		if x.Enough > 0 && x.Passes > x.Enough && i == 0 && o.passes > 0 {
			c.text("   ", "   ", fmt.Sprintf("More than %s before and after add little.", advise.Plural(int64(x.Enough), "pass", "passes")))
		}
	}
	if len(p.Out) > 0 {
		c.text("", "", fmt.Sprintf("%s get no part: rows in wheel tracks and at the ends of the bar run differently from the rest. Which rows get it is drawn at random (--seed %d).", advise.Rows(p.Out), p.Seed))
	}
	if p.Assumed != "" {
		c.text("", "", p.Assumed)
	}
	return nil
}

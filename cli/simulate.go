package cli

import (
	"context"
	"flag"

	"evenstand/sim"
)

type simulateOptions struct {
	seed uint64
	date string
}

func simulateCommand() command {
	return command{
		name: "simulate", args: "SCENARIO.toml OUT [--seed N] [--date DAY]", what: "make a planting day with known truth, as the boxes would have logged it",
		least: 2, most: 2, reports: true,
		setup: func(fs *flag.FlagSet) any {
			o := &simulateOptions{}
			fs.Uint64Var(&o.seed, "seed", 0, "another day of the same scenario, by its `number`")
			fs.StringVar(&o.date, "date", "", "`day` it is, such as 2026-05-02, where the scenario is of several")
			return o
		},
		help: `
The logs stand in OUT/boxes, the planter card and the fields beside them, the
truth in OUT/truth.jsonl and OUT/truth. Everything in it is invented.

Example:
  evenstand simulate scenarios/busy.toml /tmp/day`,
		run: func(ctx context.Context, c *call, opts any) error {
			s, err := sim.Load(c.args[0])
			if err != nil {
				return missing(c.args[0], err)
			}
			o := opts.(*simulateOptions)
			if o.seed > 0 {
				s.Seed = o.seed
			}
			if o.date != "" {
				s.Date = o.date
			}
			m := c.meter()
			sum, err := sim.Run(ctx, s, c.args[1], m.share("simulating"))
			m.done()
			if err != nil {
				return err
			}
			if c.json {
				return c.printJSON(map[string]any{"schema": 1, "day": sum.Day, "faults": len(sum.Faults), "boxes": sum.Boxes, "seeds": sum.Written})
			}
			what := plural(int(sum.Written), "seed", "seeds")
			if sum.Written == 0 {
				what = "a row a second, no seed times,"
			}
			c.printf("Simulated %s: %s in %s.\n", s.Name, what, c.args[1])
			return nil
		},
	}
}

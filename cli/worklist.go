package cli

import (
	"context"
	"flag"

	"evenstand/book"
	"evenstand/core/advise"
	"evenstand/core/record"
)

type worklistOptions struct{ all bool }

func worklistCommand() command {
	return command{
		name: "worklist", args: "BOOK [--all]", what: "print what to do, grouped by when, ordered by money still to save",
		least: 1, most: 1, reports: true,
		setup: func(fs *flag.FlagSet) any {
			o := &worklistOptions{}
			fs.BoolVar(&o.all, "all", false, "also what is only suspected, what ended by itself, and passing trouble")
			return o
		},
		help: `
Examples:
  evenstand worklist spring
  evenstand worklist spring --all --json`,
		run: func(ctx context.Context, c *call, opts any) error {
			b, err := c.open(c.args[0])
			if err != nil {
				return err
			}
			defer b.Close()
			w, err := b.Worklist(ctx, opts.(*worklistOptions).all)
			if err != nil {
				return err
			}
			if c.json {
				return c.printJSON(w)
			}
			o, err := c.render(ctx, b)
			if err != nil {
				return err
			}
			days, err := b.Days(ctx)
			if err != nil {
				return err
			}
			if len(days) == 0 {
				c.printf("The logbook holds no logs yet. Bring some: evenstand read %s PATH\n", c.args[0])
				return nil
			}
			c.printf("%s", record.RenderWorklist(w, o))
			return nil
		},
	}
}

// render gives how this book's people read.
func (c *call) render(ctx context.Context, b *book.Book) (record.Options, error) {
	ds, err := b.Decisions(ctx)
	if err != nil {
		return record.Options{}, err
	}
	return record.Options{Voice: advise.Voice{Zone: b.Zone(), Units: b.Settings().Units}, Colour: c.colour(), Decisions: ds}, nil
}

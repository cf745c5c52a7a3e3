package cli

import (
	"context"
	"flag"

	"evenstand"
	"evenstand/book"
	"evenstand/core/record"
)

type decideOptions struct{ note, cause string }

func doneCommand() command {
	return command{
		name: "done", args: "BOOK FINDING [--note TEXT] [--cause TEXT]", what: "record that a finding was acted on",
		least: 2, most: 2, reports: true,
		setup: func(fs *flag.FlagSet) any {
			o := &decideOptions{}
			fs.StringVar(&o.note, "note", "", "`text` to keep with it")
			fs.StringVar(&o.cause, "cause", "", "what it really was, as `text`")
			return o
		},
		help: `
Example:
  evenstand done spring 7q2k --cause "seed stuck in the disc" \
      --note "cleaned at the second fill"`,
		run: func(ctx context.Context, c *call, opts any) error {
			o := opts.(*decideOptions)
			return c.decide(ctx, book.Decision{Status: evenstand.Acted, Note: o.note, Cause: o.cause}, "acted on")
		},
	}
}

func asideCommand() command {
	return command{
		name: "set-aside", args: "BOOK FINDING [--note TEXT]", what: "record that a finding is not for now",
		least: 2, most: 2, reports: true,
		setup: func(fs *flag.FlagSet) any {
			o := &decideOptions{}
			fs.StringVar(&o.note, "note", "", "`text` to keep with it")
			return o
		},
		help: `
Example:
  evenstand set-aside spring 7q2k --note "rented ground, leave it"`,
		run: func(ctx context.Context, c *call, opts any) error {
			return c.decide(ctx, book.Decision{Status: evenstand.SetAside, Note: opts.(*decideOptions).note}, "set aside")
		},
	}
}

func (c *call) decide(ctx context.Context, d book.Decision, word string) error {
	b, err := c.open(c.args[0])
	if err != nil {
		return err
	}
	defer b.Close()
	w, err := b.Worklist(ctx, true)
	if err != nil {
		return err
	}
	f, err := record.Find(w.Findings, c.args[1])
	if err != nil {
		return err
	}
	if f, err = b.Decide(ctx, f.ID, d); err != nil {
		return err
	}
	if c.json {
		return c.printJSON(map[string]any{"schema": 1, "id": f.ID, "status": f.Status})
	}
	c.printf("%s is recorded as %s.\n", f.ID, word)
	return nil
}

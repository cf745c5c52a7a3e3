package cli

import (
	"context"
	"flag"
	"fmt"
	"time"

	"evenstand"
	"evenstand/book"
	"evenstand/core/record"
)

type decideOptions struct {
	note, cause, at string
	undo            bool
}

func (o *decideOptions) flags(fs *flag.FlagSet) {
	fs.StringVar(&o.note, "note", "", "`text` to keep with it")
	fs.BoolVar(&o.undo, "undo", false, "take back what was recorded: the finding is open again")
}

// decision is the one asked for, or the one that takes it back.
func (o *decideOptions) decision(s evenstand.Status) book.Decision {
	if o.undo {
		s = evenstand.Open
	}
	return book.Decision{Status: s, Note: o.note, Cause: o.cause}
}

func doneCommand() command {
	return command{
		name: "done", args: "BOOK FINDING [--at TIME] [--note TEXT] [--cause TEXT] [--undo]", what: "record that a finding was acted on",
		least: 2, most: 2, reports: true,
		setup: func(fs *flag.FlagSet) any {
			o := &decideOptions{}
			o.flags(fs)
			fs.StringVar(&o.cause, "cause", "", "what it really was, as `text`")
			fs.StringVar(&o.at, "at", "", "`time` it was done, as in a note; a time of day alone is of the finding's day; now when not said")
			return o
		},
		help: `
From the next lowering on the logs tell whether it worked: show prints how that
stands, and the finding comes back to the worklist when it did not work.

Example:
  evenstand done spring 7q2k --cause "seed stuck in the disc" \
      --note "cleaned at the second fill"
  evenstand done spring 7q2k --undo`,
		run: func(ctx context.Context, c *call, opts any) error {
			o := opts.(*decideOptions)
			return c.decide(ctx, o.decision(evenstand.Acted), o.at)
		},
	}
}

func asideCommand() command {
	return command{
		name: "set-aside", args: "BOOK FINDING [--note TEXT] [--undo]", what: "record that a finding is not for now",
		least: 2, most: 2, reports: true,
		setup: func(fs *flag.FlagSet) any {
			o := &decideOptions{}
			o.flags(fs)
			return o
		},
		help: `
Example:
  evenstand set-aside spring 7q2k --note "rented ground, leave it"
  evenstand set-aside spring 7q2k --undo`,
		run: func(ctx context.Context, c *call, opts any) error {
			return c.decide(ctx, opts.(*decideOptions).decision(evenstand.SetAside), "")
		},
	}
}

// takesBack refuses to take back what the command did not record: whoever sets
// aside the wrong finding must not lose what was done about another.
func (c *call) takesBack(f evenstand.Finding) error {
	by := ""
	switch f.Status {
	case evenstand.Acted, evenstand.Checked:
		by = "done"
	case evenstand.SetAside:
		by = "set-aside"
	}
	switch by {
	case c.cmd.name:
		return nil
	case "":
		return fmt.Errorf("nothing is recorded about %s that could be taken back", f.ID)
	}
	word := map[string]string{"done": "acted on", "set-aside": "set aside"}[by]
	return fmt.Errorf("%s is recorded as %s. To take that back say %s instead of %s", f.ID, word, by, c.cmd.name)
}

func (c *call) decide(ctx context.Context, d book.Decision, at string) error {
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
	if d.Status == evenstand.Open {
		if err := c.takesBack(f); err != nil {
			return err
		}
		ds, err := b.Decisions(ctx)
		if err != nil {
			return err
		}
		if len(record.Standing(ds, f.ID)) == 0 {
			return fmt.Errorf("nothing is recorded about %s itself: what was done stands in the journal, or with the finding of the day before. evenstand changed %s lists it", f.ID, c.args[0])
		}
	}
	if at != "" {
		if d.At, err = b.ReadDone(ctx, &f, at, evenstand.FromTime(time.Now().Truncate(time.Second))); err != nil {
			return usageError{"--at: " + err.Error()}
		}
	}
	if _, err = b.Decide(ctx, f.ID, d); err != nil {
		return err
	}
	if w, err = b.Worklist(ctx, true); err != nil {
		return err
	}
	if f, err = record.Find(w.Findings, f.ID); err != nil {
		return err
	}
	ds, err := b.Decisions(ctx)
	if err != nil {
		return err
	}
	o, err := c.render(ctx, b)
	if err != nil {
		return err
	}
	says := record.SayDecided(&f, ds, d.Status == evenstand.Open, o.Voice)
	if c.json {
		return c.printJSON(map[string]any{"schema": 1, "id": f.ID, "status": f.Status, "says": says})
	}
	c.printf("%s\n", says)
	if f.Kind == evenstand.KindSettingBetter && d.Status == evenstand.Acted {
		c.printf("Its line is in the journal: evenstand note %s lists it.\n", c.args[0])
	}
	return nil
}

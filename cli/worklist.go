package cli

import (
	"context"
	"flag"
	"fmt"
	"strings"

	"evenstand"
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
			days, err := b.Days(ctx)
			if err != nil {
				return err
			}
			src, err := b.Sources(ctx)
			if err != nil {
				return err
			}
			blind := book.Written(book.NotJudged(days, src, voice(b)))
			if c.json {
				return c.printJSON(struct {
					evenstand.Worklist
					NotJudged []string `json:"not_judged"`
				}{w, blind})
			}
			o, err := c.render(ctx, b)
			if err != nil {
				return err
			}
			o.NotJudged, o.NoRow = blind, book.NoRow(days, src)
			if len(days) == 0 {
				if len(src) > 0 {
					c.hint(c.Stdout, "What was read so far makes no day of planting. To see what it was:", "evenstand sources "+c.args[0])
					return nil
				}
				if lost, err := c.lost(ctx, b); lost || err != nil {
					return err
				}
				c.hint(c.Stdout, "The logbook holds no logs yet. Bring some:", "evenstand read "+c.args[0]+" PATH")
				return nil
			}
			c.printf("%s", record.RenderWorklist(w, o))
			if record.Waiting(w) {
				c.printf("\n")
				c.hint(c.Stdout, "Before you touch the machine: stop, lift and lock, key out. All of it:", "evenstand show "+c.args[0]+" FINDING")
			}
			if opts.(*worklistOptions).all {
				return nil
			}
			return c.hidden(ctx, b, w)
		},
	}
}

// lost tells whether a book that has nothing to show holds logs all the same, of
// which what was derived is gone or was never finished, and says what to do then.
func (c *call) lost(ctx context.Context, b *book.Book) (bool, error) {
	stale, err := stale(ctx, b)
	if stale {
		c.hint(c.Stdout, "The logbook holds logs, but what was made of them is not there. Make it again:", "evenstand rebuild "+c.args[0])
	}
	return stale, err
}

// hidden says what the short list leaves out.
func (c *call) hidden(ctx context.Context, b *book.Book, short evenstand.Worklist) error {
	w, err := b.Worklist(ctx, true)
	if err != nil {
		return err
	}
	listed := map[string]bool{}
	for _, f := range short.Findings {
		listed[f.ID] = true
	}
	suspected, ended, upsets := 0, 0, 0
	bare, places := 0.0, 0 // ground that ended findings left without seed, m of row
	itself := func(n int) string {
		if n == 1 {
			return "ended by itself"
		}
		return "ended by themselves"
	}
	for _, f := range w.Findings {
		switch {
		case listed[f.ID]:
		case f.Kind == evenstand.KindUpset:
			upsets++
		case f.Status == evenstand.Ended:
			ended++
			if m, ok := advise.Figure(&f, "metres without seed"); ok && m > 0 {
				bare += m
				places++
			}
		default:
			suspected++
		}
	}
	var parts []string
	for _, k := range []struct {
		n    int
		what string
	}{{suspected, "only suspected"}, {ended, itself(ended)}, {upsets, "passing trouble"}} {
		if k.n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", k.n, k.what))
		}
	}
	if places > 0 {
		where := "in one place"
		if places > 1 {
			where = fmt.Sprintf("in %d places", places)
		}
		c.printf("\n")
		c.hint(c.Stdout, fmt.Sprintf("No seed was seen on %s of row %s, and that is over: dig there before you go back over it. Where it is:", voice(b).Length(bare), where), "evenstand worklist "+c.args[0]+" --all")
	}
	if len(parts) > 0 {
		c.hint(c.Stderr, "Not listed: "+strings.Join(parts, ", ")+". To see them:", "evenstand worklist "+c.args[0]+" --all")
	}
	return nil
}

// voice gives how this book's people read numbers.
func voice(b *book.Book) advise.Voice { return advise.Voice{Zone: b.Zone(), Units: b.Settings().Units} }

// render gives how this book's people read.
func (c *call) render(ctx context.Context, b *book.Book) (record.Options, error) {
	ds, err := b.Decisions(ctx)
	if err != nil {
		return record.Options{}, err
	}
	days, err := b.Days(ctx)
	if err != nil {
		return record.Options{}, err
	}
	v := voice(b)
	for _, d := range days {
		v.AsOf = max(v.AsOf, d.AsOf)
	}
	return record.Options{Voice: v, Colour: c.colour(), Decisions: ds}, nil
}

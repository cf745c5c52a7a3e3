package cli

import (
	"context"
	"fmt"

	"evenstand"
	"evenstand/book"
)

func readCommand() command {
	return command{
		name: "read", args: "BOOK PATH…", what: "take logs into the logbook and find what is off",
		least: 2, most: -1, reports: true,
		help: `
PATH is a folder, a zip or a single file: ISO 11783-10 task data, or the plain layout
(seeds.csv, track.csv, readings.csv, journal.csv). The same file read twice counts once;
of a file that grew only what is new is added. Every file is kept as it came.

Examples:
  evenstand read spring /media/stick
  evenstand read spring today/TASKDATA.zip today/seeds.csv

For every file it says what was used, what was not, and why. Exit code 3 says that
something was not used.`,
		run: func(ctx context.Context, c *call, _ any) error {
			b, err := c.open(c.args[0])
			if err != nil {
				return err
			}
			defer b.Close()
			m := c.meter()
			rep, err := b.Read(ctx, c.args[1:], formats(), book.ReadOptions{Progress: m.book})
			m.done()
			if err != nil {
				return err
			}
			return c.report(rep)
		},
	}
}

func rebuildCommand() command {
	return command{
		name: "rebuild", args: "BOOK", what: "make everything derived again from the originals and the ledger",
		least: 1, most: 1, reports: true,
		help: `
Nothing that people wrote or decided is touched. Two rebuilds give the same bytes.`,
		run: func(ctx context.Context, c *call, _ any) error {
			b, err := c.open(c.args[0])
			if err != nil {
				return err
			}
			defer b.Close()
			m := c.meter()
			rep, err := b.Rebuild(ctx, formats(), book.ReadOptions{Progress: m.book})
			m.done()
			if err != nil {
				return err
			}
			return c.report(rep)
		},
	}
}

// report prints what became of an input.
func (c *call) report(rep book.Report) error {
	if len(rep.Unused) > 0 {
		c.code = exitUnused
	}
	for _, f := range rep.Files {
		if f.State == "unused" {
			c.code = exitUnused
		}
	}
	if c.json {
		return c.printJSON(struct {
			Schema int `json:"schema"`
			book.Report
		}{1, rep})
	}
	for _, f := range rep.Files {
		line := f.Path + ": "
		switch f.State {
		case "new":
			line += "read"
		case "known":
			line += "already in the logbook"
		case "grown":
			line += "grown since, the new part read"
		case "unused":
			line += "not used"
		default:
			line += f.State
		}
		if f.Why != "" {
			line += ", " + f.Why
		}
		c.printf("%s\n", line)
	}
	for _, s := range rep.Sources {
		c.printf("%s\n", sourceLine(s))
		for _, n := range s.Notes {
			c.printf("    %s\n", n)
		}
	}
	if len(rep.Unused) > 0 {
		c.printf("Not used:\n")
		for _, u := range rep.Unused {
			c.printf("  %s\n", unusedLine(u))
		}
	}
	for _, n := range rep.Notes {
		c.printf("%s\n", n)
	}
	c.printf("%s settled.\n", plural(len(rep.Days), "machine-day", "machine-days"))
	return nil
}

// sourceLine says in one line what a source gave.
func sourceLine(s book.SourceReport) string {
	line := s.Name
	if s.Grade != evenstand.NoGrade {
		line += fmt.Sprintf(", grade %s", s.Grade)
	}
	n := s.Counts
	for _, k := range []struct {
		n         int64
		one, many string
	}{{n.Seeds, "seed", "seeds"}, {n.Fixes, "position", "positions"}, {n.Readings, "reading", "readings"}, {n.Entries, "entry", "entries"}} {
		if k.n > 0 {
			line += ", " + plural(int(k.n), k.one, k.many)
		}
	}
	return line
}

// unusedLine says what was not used, where, why and what to do.
func unusedLine(u evenstand.Unused) string {
	line := u.File
	switch {
	case u.Line > 0:
		line += fmt.Sprintf(", line %d", u.Line)
	case u.Offset > 0:
		line += fmt.Sprintf(", byte %d", u.Offset)
	}
	if u.Count > 0 && u.Of != "" {
		line += fmt.Sprintf(": %s %s", thousands(u.Count), u.Of)
	}
	line += ": " + u.Why + "."
	if u.Do != "" {
		line += " " + u.Do
	}
	return line
}

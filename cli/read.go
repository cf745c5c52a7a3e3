package cli

import (
	"context"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"

	"evenstand"
	"evenstand/book"
	"evenstand/core/advise"
	"evenstand/core/ground"
	"evenstand/format/plain"
)

func readCommand() command {
	return command{
		name: "read", args: "BOOK [PATH…]", what: "take logs into the logbook and find what is off",
		least: 1, most: -1, reports: true,
		help: `
PATH is a folder, a zip or a single file: ISO 11783-10 task data, captures of
the planter's bus (candump), NMEA 0183 of a receiver, the plain layout
(seeds.csv, track.csv, readings.csv, journal.csv), or a table for which the
logbook has a recipe (evenstand help recipe). The same file read twice counts
once; of a file that grew only what is new is added. Every file is kept as it
came.

Examples:
  evenstand read spring /media/stick
  evenstand read spring today/TASKDATA.zip today/seeds.csv
  evenstand read spring

Without a path it makes the days again that wait for it: after a note, a changed
card or field, or a read that was cut off.

It says what was used, what was not, and why; with --json for every file. Exit
code 3 says that something was not used.`,
		run: func(ctx context.Context, c *call, _ any) error {
			b, err := c.open(c.args[0])
			if err != nil {
				return err
			}
			defer b.Close()
			m := c.meter()
			fs, err := formats(b)
			if err != nil {
				return err
			}
			rep, err := b.Read(ctx, c.args[1:], fs, book.ReadOptions{Progress: m.book})
			m.done()
			if err != nil {
				return err
			}
			return c.report(ctx, b, rep)
		},
	}
}

func rebuildCommand() command {
	return command{
		name: "rebuild", args: "BOOK", what: "make everything derived again from the originals and the ledger",
		least: 1, most: 1, reports: true,
		help: `
Nothing that people wrote or decided is touched. Two rebuilds give the same
bytes.`,
		run: func(ctx context.Context, c *call, _ any) error {
			b, err := c.open(c.args[0])
			if err != nil {
				return err
			}
			defer b.Close()
			m := c.meter()
			fs, err := formats(b)
			if err != nil {
				return err
			}
			rep, err := b.Rebuild(ctx, fs, book.ReadOptions{Progress: m.book})
			m.done()
			if err != nil {
				return err
			}
			return c.report(ctx, b, rep)
		},
	}
}

// report prints what became of an input.
func (c *call) report(ctx context.Context, b *book.Book, rep book.Report) error {
	if len(rep.Unused) > 0 {
		c.code = exitUnused
	}
	for _, f := range rep.Files {
		if f.State == "unused" {
			c.code = exitUnused
		}
	}
	if c.json {
		out := struct {
			Schema int    `json:"schema"`
			Event  string `json:"event,omitempty"`
			book.Report
		}{1, "", rep}
		if c.cmd.name == "replay" {
			out.Event = "read"
			return c.line(out)
		}
		return c.printJSON(out)
	}
	nothing := c.nothing(rep.Files)
	if !nothing {
		c.files(rep.Files)
	}
	if nothing && len(rep.Days) == 0 {
		rep.Sources = nil
	}
	for _, s := range rep.Sources {
		c.source(s)
		c.notes(s.Notes)
	}
	c.unused(rep, voice(b))
	for _, n := range append(append(rep.Notes, cropNotes(b, rep.Days)...), farNotes(ctx, b, rep.Days)...) {
		c.text("", "", c.card(n))
	}
	switch {
	case len(rep.Days) > 0:
	case nothing:
		return nil
	case c.cmd.name == "read" && len(c.args) < 2:
		c.printf("Nothing was left to do: all days are settled.\n")
		return nil
	default:
		c.printf("No machine-day had to be made again.\n")
		return nil
	}
	c.text("", "", fmt.Sprintf("%s settled: %s.", plural(len(rep.Days), "machine-day", "machine-days"), book.DayNames(rep.Days, voice(b))))
	c.hint(c.Stderr, "Next:", "evenstand worklist "+c.args[0])
	return nil
}

// cropNotes says which crops on the cards of some days are not known.
func cropNotes(b *book.Book, days []book.DayRef) []string {
	var out []string
	for _, d := range days {
		card, err := b.Card(d.Planter, d.Day)
		if err != nil {
			continue // the day was settled without one
		}
		for _, n := range plain.CropNotes(&card) {
			if n += " Correct the planter card."; !slices.Contains(out, n) {
				out = append(out, n)
			}
		}
	}
	return out
}

// far is how far from every field, in metres, planting is taken for a slip: the
// wrong boundary, or a receiver that lies. Judgement, no source.
const far = 50_000

// farNotes says on which days the first position lies far from every field.
func farNotes(ctx context.Context, b *book.Book, days []book.DayRef) []string {
	fields := b.Fields()
	if len(fields) == 0 {
		return nil
	}
	var out []string
	for _, d := range days {
		var at *evenstand.TrackPoint
		err := b.Track(ctx, d.Planter, d.Day, func(ps []evenstand.TrackPoint) error {
			for i := range ps {
				if at == nil && !math.IsNaN(ps[i].Lat) && !math.IsNaN(ps[i].Lon) {
					p := ps[i]
					at = &p
				}
			}
			return nil
		})
		if err != nil || at == nil {
			continue
		}
		frame := ground.NewFrame(at.Lat, at.Lon)
		nearest, name := math.Inf(1), ""
		for _, f := range fields {
			for _, polygon := range f.Polygons {
				for _, ring := range polygon {
					for _, corner := range ring {
						if m := math.Hypot(frame.ToLocal(corner[1], corner[0])); m < nearest {
							nearest, name = m, f.Name
						}
					}
				}
			}
		}
		if nearest > far {
			out = append(out, fmt.Sprintf("%s: the positions are %s from the nearest field, %s. Check that the boundaries are of this farm, and the receiver.", d.Day, voice(b).Length(nearest), name))
		}
	}
	return out
}

// card names the file of the planter card behind a sentence that speaks of
// it, where the logbook has one card only.
func (c *call) card(text string) string {
	if !strings.Contains(text, " card") {
		return text
	}
	found, err := filepath.Glob(filepath.Join(glob.Replace(c.args[0]), "planter", "*.toml"))
	if err != nil || len(found) != 1 {
		return text
	}
	return text + " The card is " + found[0] + "."
}

// glob writes a path so that its own signs are not taken for patterns.
var glob = strings.NewReplacer("*", "?", "[", "?")

// nothing says in one sentence why an input gave nothing: it holds no files,
// none of them is new, or none can be used; false when it gave something.
func (c *call) nothing(fs []book.FileReport) bool {
	if c.cmd.name != "read" && c.cmd.name != "replay" || len(c.args) < 2 {
		return false
	}
	var known, unused int
	for _, f := range fs {
		switch f.State {
		case "known":
			known++
		case "unused":
			unused++
		case "ignored":
		default:
			return false
		}
	}
	if c.cmd.name == "replay" && known > 0 {
		return false // played again
	}
	switch {
	case known == 0 && unused == 0:
		s := "There is nothing to read in " + strings.Join(c.args[1:], ", ") + ": it holds no files."
		if len(fs) > 0 {
			s = "There is nothing to read in " + strings.Join(c.args[1:], ", ") + ": it holds only what operating systems leave."
		}
		c.text("", "    ", s)
	case unused == 0 && known == 1:
		c.text("", "    ", "Nothing new: the file is already in the logbook.")
	case unused == 0:
		c.text("", "    ", "Nothing new: all "+advise.Thousands(int64(known))+" files are already in the logbook.")
	case known == 0 && unused == 1:
		c.text("", "    ", "The file cannot be used, so nothing was added.")
	case known == 0:
		c.text("", "    ", "None of the "+advise.Thousands(int64(unused))+" files can be used, so nothing was added.")
	default:
		c.text("", "    ", "Nothing new: "+plural(known, "file is", "files are")+" already in the logbook, "+plural(unused, "other", "others")+" cannot be used.")
	}
	return true
}

// files counts what became of the files, and names those that grew.
func (c *call) files(fs []book.FileReport) {
	if len(fs) == 0 {
		return
	}
	n := map[string]int{}
	for _, f := range fs {
		n[f.State]++
	}
	var parts []string
	for _, k := range []struct{ state, words string }{{"new", "new"}, {"grown", "grown"}, {"known", "already in the logbook"}, {"unused", "not used"}, {"ignored", "left there by an operating system"}} {
		switch n[k.state] {
		case 0:
		case len(fs):
			switch {
			case len(fs) > 1 && k.state == "unused":
				k.words = "none used"
			case len(fs) > 1:
				k.words = "all " + k.words
			}
			parts = append(parts, k.words)
		default:
			parts = append(parts, advise.Thousands(int64(n[k.state]))+" "+k.words)
		}
	}
	c.text("", "    ", plural(len(fs), "file", "files")+": "+strings.Join(parts, ", ")+".")
	for _, f := range fs {
		if f.State == "grown" {
			c.text("  ", "    ", f.Path+" has grown since; only its new part is added.")
		}
	}
}

// source prints in one line what a source gave.
func (c *call) source(s book.SourceReport) {
	line := s.Name
	if s.Grade != evenstand.NoGrade {
		line += fmt.Sprintf(", grade %s", s.Grade)
	}
	line += ": " + s.Gave()
	if len(s.Files) > 1 {
		line += fmt.Sprintf(", from %d files", len(s.Files))
	}
	c.text("", "    ", line)
	if n := s.Counts; n.Seeds+n.Fixes+n.Readings+n.Entries > 0 {
		c.text("    ", "    ", s.Tells.Line())
	}
}

func (c *call) notes(notes []string) {
	for _, n := range notes {
		c.text("    ", "    ", c.card(n))
	}
}

// unused lists what was not used and why: what readers said of parts and
// files, then the files that nobody spoke of; whole files of one reason stand
// together.
func (c *call) unused(rep book.Report, v advise.Voice) {
	said := map[string]bool{}
	for _, u := range rep.Unused {
		said[u.File] = true
	}
	all := slices.Clone(rep.Unused)
	for _, f := range rep.Files {
		if f.State == "unused" && !said[f.Path] {
			all = append(all, evenstand.Unused{File: f.Path, Offset: -1, Count: 1, Of: "files", Why: f.Why})
		}
	}
	if len(all) == 0 {
		return
	}
	type reason struct{ why, do string }
	by := map[reason][]string{}
	for _, u := range all {
		if whole(u) {
			r := reason{u.Why, u.Do}
			by[r] = append(by[r], u.File)
		}
	}
	c.printf("Not used:\n")
	for _, u := range all {
		if whole(u) {
			names := by[reason{u.Why, u.Do}]
			if names == nil {
				continue // stood with the first
			}
			by[reason{u.Why, u.Do}] = nil
			const few = 3
			u.File = strings.Join(names[:min(few, len(names))], ", ")
			if more := len(names) - few; more > 0 {
				u.File += fmt.Sprintf(" and %d more", more)
			}
		}
		c.text("  ", "    ", c.card(book.SayUnused(u, v)))
	}
}

// whole tells whether a whole file was not used.
func whole(u evenstand.Unused) bool {
	return u.Of == "files" && u.Count == 1 && u.Line == 0 && u.Offset <= 0
}

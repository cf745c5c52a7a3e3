package cli

import (
	"cmp"
	"context"
	"errors"
	"flag"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"evenstand"
	"evenstand/book"
	"evenstand/core/advise"
	"evenstand/core/record"
)

type noteOptions struct {
	at, rows, what, planter string
	undo                    bool
}

func noteCommand() command {
	return command{
		name: "note", args: "BOOK [TEXT…] [--at TIME] [--rows LIST] [--what KIND] [--planter NAME] [--undo [N]]", what: "write down by hand what was set, filled, fixed, dug, counted or seen",
		least: 1, most: -1, reports: true,
		setup: func(fs *flag.FlagSet) any {
			o := &noteOptions{}
			fs.StringVar(&o.at, "at", "", "`time` it was done, where the text does not say it")
			fs.StringVar(&o.rows, "rows", "", "`list` of rows, such as 1-8, left or 3,4")
			fs.StringVar(&o.what, "what", "", "`kind` it is: "+strings.Join(record.NoteKinds, ", "))
			fs.StringVar(&o.planter, "planter", "", "`name` of the planter, where there are several")
			fs.BoolVar(&o.undo, "undo", false, "take back the last note, or the one of that number")
			return o
		},
		help: `
The time stands first, last or not at all, which is now. What was understood is
shown; --undo takes it back. Several digs, fills or settings in one note are
several lines under one number. A number that cannot be is asked back. It counts
from the next read of its day on: evenstand read BOOK. Without a text the last notes are listed with
their numbers.

Examples:
  evenstand note spring "2:05 pm cleaners 30 to 22 psi"
  evenstand note spring "down force to 180"
  evenstand note spring "closers 40 psi rows 3,4"
  evenstand note spring "depth 2 1/4 in, yesterday 5 pm"
  evenstand note spring "fill 12 units 10 min ago"
  evenstand note spring "filled 12 units, 400 gal starter"
  evenstand note spring "fixed row 7: new singulator"
  evenstand note spring "dug row 7: 2.1, 2.0, 1.75 in"
  evenstand note spring "counted 31 in 17.5 ft row 3"
  evenstand note spring "stand 30500"
  evenstand note spring "lot A123 rows 1-8"
  evenstand note spring "may 2 2:05 pm rain on the north end"
  evenstand note spring --undo
  evenstand note spring --undo 12

Anything else is kept as a remark. Settings are cleaners, closers, down force,
gauge wheel load, vacuum, fan speed, speed, seed rate, liquid rate, hydraulic
pressure and depth.`,
		run: func(ctx context.Context, c *call, opts any) error {
			o := opts.(*noteOptions)
			b, err := c.open(c.args[0])
			if err != nil {
				return err
			}
			defer b.Close()
			text := strings.Join(c.args[1:], " ")
			switch {
			case o.undo:
				return c.undoNote(ctx, b, o, text)
			case text != "":
				return c.writeNote(ctx, b, o, text)
			case o.at+o.rows+o.what != "":
				return usagef("what was done? Say it as a text, such as \"cleaners 30 to 22 psi\"")
			}
			return c.listNotes(ctx, b, o)
		},
	}
}

// noteJSON is a line of the journal as --json gives it; the lines of one note
// have one id.
type noteJSON struct {
	ID        int64            `json:"id"`
	Planter   string           `json:"planter"`
	Time      evenstand.Micros `json:"time"`
	What      string           `json:"what"`
	Rows      string           `json:"rows"` // empty: the whole planter
	Value     evenstand.Number `json:"value"`
	Unit      string           `json:"unit"`
	Note      string           `json:"note"`
	Words     string           `json:"words"`
	Say       string           `json:"say"`
	Supposed  []string         `json:"supposed"`
	TakenBack bool             `json:"taken_back"`
	More      []noteJSON       `json:"more,omitempty"` // the other lines of the same note
}

func toNoteJSON(l *book.JournalLine, supposed []string) noteJSON {
	e := &l.Entry
	if supposed == nil {
		supposed = []string{}
	}
	return noteJSON{l.ID, l.Planter, e.T, e.What, e.Rows.String(), evenstand.Number(e.Value), e.Unit, e.Note, l.Words, record.SayEntry(e), supposed, l.TakenBack, nil}
}

// printNote prints the lines of one note as one JSON object.
func (c *call) printNote(lines []book.JournalLine, supposed []string) error {
	out := struct {
		Schema int `json:"schema"`
		noteJSON
	}{1, toNoteJSON(&lines[0], supposed)}
	for i := range lines[1:] {
		out.More = append(out.More, toNoteJSON(&lines[1+i], nil))
	}
	return c.printJSON(out)
}

// planterNamed gives the planter that a note is of.
func planterNamed(ctx context.Context, b *book.Book, name string) (string, error) {
	planter, err := b.PlanterNamed(ctx, name)
	var which *book.WhichPlanter
	switch {
	case !errors.As(err, &which):
		return planter, err
	case which.Named == "":
		return "", usagef("which planter? Say --planter with one of: %s", strings.Join(which.Have, ", "))
	}
	return "", usageError{which.Error()}
}

func (c *call) writeNote(ctx context.Context, b *book.Book, o *noteOptions, text string) error {
	planter, err := planterNamed(ctx, b, o.planter)
	if err != nil {
		return err
	}
	now := evenstand.FromTime(time.Now().Truncate(time.Second))
	n, err := b.ReadNote(planter, text, o.at, o.rows, o.what, now)
	if err != nil {
		return usageError{err.Error()}
	}
	id, err := b.AddNote(ctx, planter, n.Entries, text)
	if err != nil {
		return err
	}
	var lines []book.JournalLine
	for _, e := range n.Entries {
		lines = append(lines, book.JournalLine{ID: id, At: now, Planter: planter, Entry: e, Words: text})
	}
	if c.json {
		return c.printNote(lines, n.Supposed)
	}
	c.noteLines(lines, voice(b), false)
	for _, s := range n.Supposed {
		c.text("    ", "    ", s)
	}
	c.hint(c.Stderr, "Not so?", "evenstand note "+c.args[0]+" --undo "+strconv.FormatInt(id, 10))
	c.toSettle(ctx, b, lines)
	return nil
}

// toSettle says how a note comes to count where there are logs of its day: the
// day is made again.
func (c *call) toSettle(ctx context.Context, b *book.Book, lines []book.JournalLine) {
	days, err := b.Days(ctx)
	if err != nil {
		return // the note is kept; a damaged book is said by check
	}
	on := evenstand.DayOf(lines[0].Entry.T, b.Zone())
	if slices.ContainsFunc(days, func(d book.DaySummary) bool { return d.Day == on }) {
		c.hint(c.Stderr, "It counts when its day is made again, by the next read or at once:", "evenstand read "+c.args[0])
	}
}

func (c *call) undoNote(ctx context.Context, b *book.Book, o *noteOptions, number string) error {
	if o.at+o.rows+o.what+o.planter != "" {
		return usagef("--undo takes a note back as it is: say its number only")
	}
	id := int64(0)
	if number != "" {
		var err error
		if id, err = strconv.ParseInt(strings.TrimPrefix(number, "#"), 10, 64); err != nil || id < 1 {
			return usagef("--undo wants the number of a note, not %q", number)
		}
	}
	lines, err := b.TakeBack(ctx, id)
	if err != nil {
		return err
	}
	if c.json {
		return c.printNote(lines, nil)
	}
	c.noteLines(lines, voice(b), false)
	c.toSettle(ctx, b, lines)
	return nil
}

// lastNotes is how many notes are listed.
const lastNotes = 20

func (c *call) listNotes(ctx context.Context, b *book.Book, o *noteOptions) error {
	lines, err := b.Journal(ctx)
	if err != nil {
		return err
	}
	if o.planter != "" {
		if _, err := planterNamed(ctx, b, o.planter); err != nil {
			return err
		}
		lines = slices.DeleteFunc(lines, func(l book.JournalLine) bool { return l.Planter != o.planter })
	}
	several := slices.ContainsFunc(lines, func(l book.JournalLine) bool { return l.Planter != lines[0].Planter })
	older := max(0, len(lines)-lastNotes)
	for older > 0 && lines[older-1].ID == lines[older].ID { // a note is not cut in two
		older--
	}
	if c.json {
		out := struct {
			Schema int        `json:"schema"`
			Notes  []noteJSON `json:"notes"`
		}{1, []noteJSON{}}
		for i := range lines {
			out.Notes = append(out.Notes, toNoteJSON(&lines[i], nil))
		}
		return c.printJSON(out)
	}
	if len(lines) == 0 {
		c.printf("Nothing is written by hand yet.\n")
		return nil
	}
	if older > 0 {
		c.printf("%s before these; --json lists all.\n", plural(older, "older line", "older lines"))
	}
	c.noteLines(lines[older:], voice(b), several)
	return nil
}

// noteLines prints lines of the journal in plain words, the number of a note
// before its first.
func (c *call) noteLines(lines []book.JournalLine, v advise.Voice, planter bool) {
	for i := range lines {
		l := &lines[i]
		s := v.Clock(l.Entry.T) + ", " + v.Date(l.Entry.T) + ": "
		if planter {
			s += cmp.Or(l.Planter, "no planter named") + ": "
		}
		s += record.SayEntry(&l.Entry)
		if !strings.HasSuffix(s, ".") {
			s += "."
		}
		if l.TakenBack {
			s += " Taken back."
		}
		number := "    "
		if i == 0 || lines[i-1].ID != l.ID {
			number = fmt.Sprintf("%3d ", l.ID)
		}
		c.text(number, "    ", s)
	}
}

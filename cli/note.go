package cli

import (
	"cmp"
	"context"
	"errors"
	"flag"
	"fmt"
	"math"
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
	at, rows, what, planter, day string
	undo                         bool
	edit, history                int64
}

func noteCommand() command {
	return command{
		name: "note", args: "BOOK [TEXT…] [--at TIME] [--rows LIST] [--what KIND] [--planter NAME] [--undo [N]] [--edit N] [--history N] [--day DAY]", what: "write down by hand what was set, filled, fixed, dug, counted or seen",
		least: 1, most: -1, reports: true,
		setup: func(fs *flag.FlagSet) any {
			o := &noteOptions{}
			fs.StringVar(&o.at, "at", "", "`time` it was done, where the text does not say it")
			fs.StringVar(&o.rows, "rows", "", "`list` of rows, such as 1-8, left or 3,4")
			fs.StringVar(&o.what, "what", "", "`kind` it is: "+strings.Join(record.NoteKinds, ", "))
			fs.StringVar(&o.planter, "planter", "", "`name` of the planter, where there are several")
			fs.BoolVar(&o.undo, "undo", false, "take back the last note, or the one of that number")
			fs.Int64Var(&o.edit, "edit", 0, "put the text, the time or the rows in the place of those of the note of that `number`")
			fs.Int64Var(&o.history, "history", 0, "show the note of that `number` as it was before it was corrected")
			fs.StringVar(&o.day, "day", "", "list a `day`, such as 2026-05-02, with what the boxes logged; last: the newest")
			return o
		},
		help: `
The time stands first, last or not at all, which is now. What was understood is
shown; --undo takes it back. Several digs, fills or settings in one note are
several lines under one number. --edit 12 corrects note 12: what the new text
leaves out of time and rows stays, and what it said before is kept (--history
12). A number that cannot be is asked back. It counts
from the next read of its day on: evenstand read BOOK. Without a text the last
notes are listed with their numbers; --day 2026-05-02 lists a day with what the
boxes logged beside their measurements.

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
  evenstand note spring --edit 12 "cleaners 30 to 24 psi"
  evenstand note spring --edit 12 --at "2:10 pm" --rows 1-8
  evenstand note spring --day last

Anything else is kept as a remark. Settings are cleaners, closers, down force,
force mode (automatic, fixed, off), gauge wheel load, vacuum, fan speed, speed, seed rate, liquid rate, hydraulic
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
			case o.history > 0:
				return c.noteHistory(ctx, b, o, text)
			case o.day != "":
				return c.journalDay(ctx, b, o, text)
			case o.edit > 0:
				return c.editNote(ctx, b, o, text)
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
	Edits     int              `json:"edits"`          // times that it was corrected
	More      []noteJSON       `json:"more,omitempty"` // the other lines of the same note
}

func toNoteJSON(l *book.JournalLine, supposed []string) noteJSON {
	e := &l.Entry
	if supposed == nil {
		supposed = []string{}
	}
	return noteJSON{l.ID, l.Planter, e.T, e.What, e.Rows.String(), evenstand.Number(e.Value), e.Unit, e.Note, l.Words, record.SayEntry(e), supposed, l.TakenBack, l.Edits, nil}
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
	c.noteFollowed(ctx, b, lines[0].ID, lines)
	c.toSettle(ctx, b, lines)
	return nil
}

// noteFollowed says what followed the settings of a note, where planting of its day
// is read.
func (c *call) noteFollowed(ctx context.Context, b *book.Book, id int64, lines []book.JournalLine) {
	if !slices.ContainsFunc(lines, func(l book.JournalLine) bool { return l.Entry.What == "setting" }) {
		return
	}
	set, err := b.SettingsChangedOn(ctx, evenstand.DayOf(lines[0].Entry.T, b.Zone()), voice(b))
	if err != nil {
		return // the note is kept; a damaged book is said by check
	}
	for i := range set {
		if l := &set[i]; l.Note == id && len(l.Effects) > 0 {
			c.text("    ", "    ", advise.Capital(record.LeverSay(l.Lever))+": "+advise.Lower(l.Short))
		}
	}
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
		} else if l.Edits > 0 {
			s += " Corrected."
		}
		number := "    "
		if i == 0 || lines[i-1].ID != l.ID {
			number = fmt.Sprintf("%3d ", l.ID)
		}
		c.text(number, "    ", s)
	}
}

// editNote puts something else in the place of a note.
func (c *call) editNote(ctx context.Context, b *book.Book, o *noteOptions, text string) error {
	if o.undo || o.planter != "" {
		return usagef("--edit corrects a note of its planter: say the text, --at or --rows")
	}
	now := evenstand.FromTime(time.Now().Truncate(time.Second))
	n, words, err := b.ReadEdit(ctx, o.edit, text, o.at, o.rows, o.what, math.NaN(), now)
	var known *book.Error
	switch {
	case errors.As(err, &known):
		return err
	case err != nil:
		return usageError{err.Error()}
	}
	h, err := b.NoteHistory(ctx, o.edit)
	if err != nil {
		return err
	}
	if err := b.EditNote(ctx, o.edit, n.Entries, words); err != nil {
		return err
	}
	was := h[len(h)-1].Lines
	var lines []book.JournalLine
	for _, e := range n.Entries {
		lines = append(lines, book.JournalLine{ID: o.edit, At: now, Planter: was[0].Planter, Entry: e, Words: words, Edits: len(h)})
	}
	if c.json {
		return c.printNote(lines, n.Supposed)
	}
	c.noteLines(lines, voice(b), false)
	for _, s := range n.Supposed {
		c.text("    ", "    ", s)
	}
	c.noteFollowed(ctx, b, o.edit, lines)
	c.hint(c.Stderr, "As it was:", "evenstand note "+c.args[0]+" --history "+strconv.FormatInt(o.edit, 10))
	c.toSettle(ctx, b, append(lines, was...))
	return nil
}

// noteHistory shows a note as it was.
func (c *call) noteHistory(ctx context.Context, b *book.Book, o *noteOptions, text string) error {
	if text != "" || o.at+o.rows+o.what+o.planter != "" || o.undo || o.edit > 0 {
		return usagef("--history shows a note as it was: say its number only")
	}
	h, err := b.NoteHistory(ctx, o.history)
	if err != nil {
		return err
	}
	type version struct {
		Written evenstand.Micros `json:"written"`
		Lines   []noteJSON       `json:"lines"`
	}
	out := struct {
		Schema   int       `json:"schema"`
		ID       int64     `json:"id"`
		Versions []version `json:"versions"` // the first writing first
	}{1, o.history, []version{}}
	v := voice(b)
	for i := range h {
		x := version{h[i].At, []noteJSON{}}
		for k := range h[i].Lines {
			x.Lines = append(x.Lines, toNoteJSON(&h[i].Lines[k], nil))
		}
		out.Versions = append(out.Versions, x)
		if c.json {
			continue
		}
		word := "Written"
		if i > 0 {
			word = "Corrected"
		}
		c.printf("%s %s, %s:\n", word, v.Clock(h[i].At), v.Date(h[i].At))
		c.noteLines(h[i].Lines, v, false)
	}
	if c.json {
		return c.printJSON(out)
	}
	return nil
}

// dayLineJSON is a line of a day's journal as --json gives it.
type dayLineJSON struct {
	Time   evenstand.Micros `json:"time"`
	What   string           `json:"what"`
	Say    string           `json:"say"`
	Note   *noteJSON        `json:"note,omitempty"` // of a person
	Logged []book.BoxLine   `json:"logged"`         // of boxes; beside a note: of the same change
	// Followed is what followed a change of a setting, a line a change.
	Followed []followedJSON `json:"followed"`
}

type followedJSON struct {
	Lever string `json:"lever"`
	Side  string `json:"side"`
	Short string `json:"short"`
}

// followedOf gives what followed those changes of a day that are asked for.
func followedOf(set []book.ChangeLine, of func(*book.ChangeLine) bool) []followedJSON {
	out := []followedJSON{}
	for i := range set {
		if l := &set[i]; of(l) {
			if f := (followedJSON{l.Lever, l.Side, l.Short}); !slices.Contains(out, f) {
				out = append(out, f)
			}
		}
	}
	return out
}

// journalDay lists a day as the page Journal shows it: what boxes logged of a change
// that a person wrote down stands with it.
func (c *call) journalDay(ctx context.Context, b *book.Book, o *noteOptions, text string) error {
	if text != "" || o.at+o.rows+o.what+o.planter != "" || o.undo || o.edit > 0 {
		return usagef("--day lists a day: say the day only")
	}
	day := evenstand.Day(o.day)
	if o.day == "last" {
		days, err := b.Days(ctx)
		if err != nil {
			return err
		}
		lines, err := b.Journal(ctx)
		if err != nil {
			return err
		}
		day = ""
		for _, d := range days {
			day = max(day, d.Day)
		}
		for i := range lines {
			day = max(day, evenstand.DayOf(lines[i].Entry.T, b.Zone()))
		}
		if day == "" {
			c.printf("Nothing is written by hand yet, and no logs are read.\n")
			return nil
		}
	}
	if _, err := day.Start(b.Zone()); err != nil {
		return usagef("the day is written as 2026-05-02, or as last")
	}
	notes, boxes, more, err := b.DayJournal(ctx, day)
	if err != nil {
		return err
	}
	j := book.Join(notes, boxes)
	v := voice(b)
	out := struct {
		Schema int           `json:"schema"`
		Day    evenstand.Day `json:"day"`
		Lines  []dayLineJSON `json:"lines"` // newest first
		More   int64         `json:"more"`
	}{1, day, []dayLineJSON{}, more}
	set, err := b.SettingsChangedOn(ctx, day, v)
	if err != nil {
		return err
	}
	part := 0
	for i := range notes {
		l := &notes[i]
		if part++; i == 0 || notes[i-1].ID != l.ID {
			part = 0
		}
		n := toNoteJSON(l, nil)
		x := dayLineJSON{Time: l.Entry.T, What: l.Entry.What, Say: n.Say, Note: &n, Logged: []book.BoxLine{}, Followed: []followedJSON{}}
		if s, ok := record.SettingOf(&l.Entry); ok && !l.TakenBack {
			x.Followed = followedOf(set, func(c *book.ChangeLine) bool { return c.Note == l.ID && c.Lever == s.Lever })
		}
		for k, s := range j.Of {
			if s >= 0 && j.Said[s].Note == l.ID && j.Said[s].Line == part {
				x.Logged = append(x.Logged, boxes[k])
				x.Time, x.Say = j.When(k), j.Say(k, v)
			}
		}
		out.Lines = append(out.Lines, x)
	}
	for i := range boxes {
		if j.Of[i] >= 0 {
			continue
		}
		x := dayLineJSON{Time: boxes[i].T, What: boxes[i].What, Say: boxes[i].Say(v), Logged: []book.BoxLine{boxes[i]}}
		for k, s := range j.Of {
			if s >= 0 && j.Said[s].Box == i {
				x.Logged = append(x.Logged, boxes[k])
				x.Time, x.Say = j.When(k), j.Say(k, v)
			}
		}
		x.Followed = followedOf(set, func(c *book.ChangeLine) bool {
			return slices.ContainsFunc(x.Logged, func(l book.BoxLine) bool { return book.OfLine(c, &l) })
		})
		out.Lines = append(out.Lines, x)
	}
	slices.SortStableFunc(out.Lines, func(x, y dayLineJSON) int { return cmp.Compare(y.Time, x.Time) })
	if c.json {
		return c.printJSON(out)
	}
	c.printf("%s\n", v.Day(day))
	if len(out.Lines) == 0 {
		c.printf("Nothing was written down that day, and no box logged anything but measurements.\n")
	}
	for i := range out.Lines {
		l := &out.Lines[i]
		s := v.Clock(l.Time) + ": " + l.Say
		if !strings.HasSuffix(s, ".") {
			s += "."
		}
		number := "    "
		var by []string
		if l.Note != nil {
			number = fmt.Sprintf("%3d ", l.Note.ID)
			switch {
			case l.Note.TakenBack:
				s += " Taken back."
			case l.Note.Edits > 0:
				s += " Corrected."
			}
			by = append(by, "by hand")
		}
		for k := range l.Logged {
			if from := book.FromSay(l.Logged[k].Source); !slices.Contains(by, from) {
				by = append(by, from)
			}
		}
		c.text(number, "    ", s+" ("+strings.Join(by, "; ")+")")
		for _, f := range l.Followed {
			c.text("      ", "      ", f.Short)
		}
	}
	if more > 0 {
		c.printf("The boxes logged %s more, which are not shown.\n", plural(int(more), "line", "lines"))
	}
	return nil
}

package web

import (
	"cmp"
	"context"
	"errors"
	"maps"
	"math"
	"slices"
	"time"

	"evenstand"
	"evenstand/book"
	"evenstand/core/record"
)

// NoteLine is one line of a note as it was understood.
type NoteLine struct {
	What  string           `json:"what"`
	Rows  string           `json:"rows" doc:"Empty: the whole planter"`
	Value evenstand.Number `json:"value"`
	Unit  string           `json:"unit"`
	Says  string           `json:"says"`
}

// NoteView is a note: what was written, and what it was taken for.
type NoteView struct {
	ID        int64            `json:"id" doc:"0: not written yet"`
	Planter   string           `json:"planter"`
	Time      evenstand.Micros `json:"time"`
	Clock     string           `json:"clock"`
	Day       string           `json:"day"`
	Date      evenstand.Day    `json:"date"`
	Words     string           `json:"words" doc:"As typed"`
	Lines     []NoteLine       `json:"lines"`
	Supposed  []string         `json:"supposed" doc:"What it did not say and was supposed"`
	TakenBack bool             `json:"taken_back"`
	Edits     int              `json:"edits" doc:"Times that it was corrected"`
	Logged    []BoxLineView    `json:"logged" doc:"What boxes logged of the same change: their time, rows and amount stand for it"`
	Followed  []string         `json:"followed" doc:"What followed the change, in whole sentences"`
	Effects   []Followed       `json:"effects" doc:"The same in numbers"`
}

// NoteVersion is a note as it stood once.
type NoteVersion struct {
	Written string     `json:"written" doc:"When it was written, in the logbook's zone"`
	Clock   string     `json:"clock" doc:"When it was done, as it said then"`
	Day     string     `json:"day"`
	Words   string     `json:"words"`
	Lines   []NoteLine `json:"lines"`
	Now     bool       `json:"now" doc:"This is how it stands"`
}

// NoteHistory is a note as it was, the first writing first.
type NoteHistory struct {
	ID       int64         `json:"id"`
	Versions []NoteVersion `json:"versions"`
}

// BoxLineView is what a box logged beside its measurements.
type BoxLineView struct {
	Source  string           `json:"source"`
	From    string           `json:"from" doc:"The source in words"`
	Planter string           `json:"planter"`
	Time    evenstand.Micros `json:"time"`
	Clock   string           `json:"clock"`
	What    string           `json:"what" doc:"setting, refill, fix, remark, …; target: one was changed on the box; level: one that it measures was changed by hand"`
	Says    string           `json:"says"`
	Logged  []BoxLineView    `json:"logged,omitempty" doc:"Of a line that a person wrote: what boxes logged of the same change"`
	// Followed is of lines that tell a change.
	Followed []string   `json:"followed" doc:"What followed the change, in whole sentences"`
	Effects  []Followed `json:"effects" doc:"The same in numbers"`
}

// JournalDay is a day of the journal.
type JournalDay struct {
	Day   evenstand.Day `json:"day"`
	Label string        `json:"label"`
	Mine  int           `json:"mine" doc:"Notes of people that hold"`
	Boxes int           `json:"boxes" doc:"Lines of boxes that are not one with a person's"`
}

// Journal is one day: what people wrote and what the boxes logged, newest first.
type Journal struct {
	Day   evenstand.Day `json:"day" doc:"Empty: there is nothing at all"`
	Label string        `json:"label"`
	Notes []NoteView    `json:"notes"`
	Boxes []BoxLineView `json:"boxes"`
	More  int64         `json:"more" doc:"Lines of boxes beyond those"`
	Days  []JournalDay  `json:"days" doc:"All of them, newest first"`
}

type journalIn struct {
	Day evenstand.Day `query:"day" maxLength:"10" doc:"Empty: the newest"`
}

func (s *Server) noteLine(e *evenstand.Entry) NoteLine {
	return NoteLine{e.What, e.Rows.String(), evenstand.Number(e.Value), e.Unit, record.SayEntry(e)}
}

// boxLines gives what the boxes logged, by day.
func (s *Server) boxLines(ctx context.Context) (map[evenstand.Day]boxDay, error) {
	return s.boxes.of(s.told.Load(), func() (map[evenstand.Day]boxDay, error) {
		ctx := context.WithoutCancel(ctx)
		days, err := s.book.Days(ctx)
		if err != nil {
			return nil, err
		}
		out := map[evenstand.Day]boxDay{}
		for _, d := range days {
			if _, have := out[d.Day]; have {
				continue // of another planter; it was asked for all
			}
			lines, more, err := s.book.BoxJournal(ctx, d.Day)
			if err != nil {
				return nil, err
			}
			out[d.Day] = boxDay{lines, more}
		}
		return out, nil
	})
}

type boxDay struct {
	lines []book.BoxLine
	more  int64
}

func (s *Server) journal(ctx context.Context, in *journalIn) (Journal, error) {
	notes, err := s.notes(ctx)
	if err != nil {
		return Journal{}, err
	}
	boxes, err := s.boxLines(ctx)
	if err != nil {
		return Journal{}, err
	}
	by := map[evenstand.Day]*JournalDay{}
	day := func(d evenstand.Day) *JournalDay {
		if by[d] == nil {
			by[d] = &JournalDay{Day: d, Label: s.voice().Day(d)}
		}
		return by[d]
	}
	lines, err := s.book.Journal(ctx)
	if err != nil {
		return Journal{}, err
	}
	s.book.NotePlanters(lines)
	written := map[evenstand.Day][]book.JournalLine{}
	for i := range lines {
		d := evenstand.DayOf(lines[i].Entry.T, s.book.Zone())
		written[d] = append(written[d], lines[i])
	}
	for d, b := range boxes {
		day(d).Boxes = len(b.lines)
		for _, k := range book.Join(written[d], b.lines).Of {
			if k >= 0 { // it is one line with what a person wrote
				day(d).Boxes--
			}
		}
	}
	for i := range notes {
		if d := day(notes[i].Date); !notes[i].TakenBack {
			d.Mine++
		}
	}
	out := Journal{Day: in.Day, Notes: []NoteView{}, Boxes: []BoxLineView{}, Days: []JournalDay{}}
	for _, d := range slices.Backward(slices.Sorted(maps.Keys(by))) {
		out.Days = append(out.Days, *by[d])
	}
	switch {
	case out.Day == "" && len(out.Days) == 0:
		return out, nil
	case out.Day == "":
		out.Day = out.Days[0].Day
	}
	if _, err := out.Day.Start(s.book.Zone()); err != nil {
		return out, refuse("the day is written as 2026-05-02")
	}
	out.Label = s.voice().Day(out.Day)
	ofDay, logged, more, err := s.book.DayJournal(ctx, out.Day)
	if err != nil {
		return out, err
	}
	out.More = more
	j := book.Join(ofDay, logged)
	v := s.voice()
	followed, err := s.followed(ctx, out.Day)
	if err != nil { // a day that cannot be read has its journal all the same
		followed = nil
	}
	view := func(i int) BoxLineView {
		l := &logged[i]
		says, effects := saysOf(followed, func(c *book.ChangeLine) bool {
			if l.What == "setting" {
				return book.OfLine(c, l)
			}
			return c.Source == l.Source && c.Planter == l.Planter && c.Lever == l.Quantity && near(c.T, j.When(i))
		})
		return BoxLineView{Source: l.Source, From: book.FromSay(l.Source), Planter: l.Planter, Time: j.When(i), Clock: v.Clock(j.When(i)), What: l.What, Says: l.Say(v), Followed: says, Effects: effects}
	}
	of := map[int64][]BoxLineView{} // by note
	also := map[int][]BoxLineView{} // by line of a box's journal
	for i, k := range j.Of {
		switch {
		case k < 0:
		case j.Said[k].Note > 0:
			of[j.Said[k].Note] = append(of[j.Said[k].Note], view(i))
		default:
			also[j.Said[k].Box] = append(also[j.Said[k].Box], view(i))
		}
	}
	for i := range notes {
		if notes[i].Date == out.Day {
			n := notes[i]
			n.Logged = some(of[n.ID])
			n.Followed, n.Effects = saysOf(followed, func(c *book.ChangeLine) bool { return c.Note == n.ID })
			out.Notes = append(out.Notes, n)
		}
	}
	for i := range slices.Backward(logged) {
		if j.Of[i] < 0 {
			b := view(i)
			b.Logged = also[i]
			out.Boxes = append(out.Boxes, b)
		}
	}
	return out, nil
}

// notes gives what people wrote, newest first.
func (s *Server) notes(ctx context.Context) ([]NoteView, error) {
	lines, err := s.book.Journal(ctx)
	if err != nil {
		return nil, err
	}
	var out []NoteView
	v := s.voice()
	for i := range lines {
		l := &lines[i]
		if n := len(out); n > 0 && out[n-1].ID == l.ID {
			out[n-1].Lines = append(out[n-1].Lines, s.noteLine(&l.Entry))
			continue
		}
		t := l.Entry.T
		out = append(out, NoteView{
			ID: l.ID, Planter: l.Planter, Time: t, Clock: v.Clock(t), Day: v.Date(t), Date: evenstand.DayOf(t, s.book.Zone()), Words: l.Words,
			Lines: []NoteLine{s.noteLine(&l.Entry)}, Supposed: []string{}, TakenBack: l.TakenBack, Edits: l.Edits, Logged: []BoxLineView{}, Followed: []string{}, Effects: []Followed{},
		})
	}
	slices.Reverse(out)
	slices.SortStableFunc(out, func(a, b NoteView) int { return cmp.Compare(b.Time, a.Time) })
	return out, nil
}

type noteIn struct {
	Body struct {
		Text    string `json:"text" minLength:"1" maxLength:"1000" doc:"As one types with thumbs: 2:05 pm cleaners 30 to 22 psi"`
		At      string `json:"at,omitempty" maxLength:"40" doc:"When it was done, where the text does not say it"`
		Rows    string `json:"rows,omitempty" maxLength:"200"`
		What    string `json:"what,omitempty" maxLength:"20"`
		Planter string `json:"planter,omitempty" maxLength:"200"`
		Try     bool   `json:"try,omitempty" doc:"Only say how it is understood"`
	}
}

func (s *Server) writeNote(ctx context.Context, in *noteIn) (NoteView, error) {
	planter, err := s.book.PlanterNamed(ctx, in.Body.Planter)
	if err != nil {
		return NoteView{}, refuse(err.Error())
	}
	now := evenstand.FromTime(time.Now().Truncate(time.Second))
	n, err := s.book.ReadNote(planter, in.Body.Text, in.Body.At, in.Body.Rows, in.Body.What, now)
	if err != nil {
		return NoteView{}, refuse(err.Error())
	}
	v := s.voice()
	t := n.Entries[0].T
	out := NoteView{Planter: planter, Time: t, Clock: v.Clock(t), Day: v.Date(t), Date: evenstand.DayOf(t, s.book.Zone()), Words: in.Body.Text, Lines: []NoteLine{}, Supposed: some(n.Supposed), Logged: []BoxLineView{}, Followed: []string{}, Effects: []Followed{}}
	for i := range n.Entries {
		out.Lines = append(out.Lines, s.noteLine(&n.Entries[i]))
	}
	if in.Body.Try {
		return out, nil
	}
	if out.ID, err = s.book.AddNote(ctx, planter, n.Entries, in.Body.Text); err != nil {
		return out, err
	}
	s.changed("journal")
	s.settleSoon()
	return out, nil
}

type editIn struct {
	ID   int64 `path:"id"`
	Body struct {
		Text string `json:"text,omitempty" maxLength:"1000" doc:"The note anew; what it leaves out of time and rows stays. Empty: its words stay"`
		At   string `json:"at,omitempty" maxLength:"40" doc:"Another time: 2:05 pm, of its day, or with the day"`
		Rows string `json:"rows,omitempty" maxLength:"200" doc:"Other rows; all: the whole planter"`
		What string `json:"what,omitempty" maxLength:"20"`
		// Amount is another number of a note of one line, in its unit.
		Amount *float64 `json:"amount,omitempty" doc:"Another amount in the note's unit, where its text stays"`
		Try    bool     `json:"try,omitempty" doc:"Only say how it is understood"`
	}
}

func (s *Server) editNote(ctx context.Context, in *editIn) (NoteView, error) {
	now := evenstand.FromTime(time.Now().Truncate(time.Second))
	amount := math.NaN()
	if in.Body.Amount != nil {
		amount = *in.Body.Amount
	}
	n, words, err := s.book.ReadEdit(ctx, in.ID, in.Body.Text, in.Body.At, in.Body.Rows, in.Body.What, amount, now)
	if err != nil {
		if errors.Is(err, book.ErrUnknown) {
			return NoteView{}, err
		}
		return NoteView{}, refuse(err.Error())
	}
	v := s.voice()
	t := n.Entries[0].T
	out := NoteView{ID: in.ID, Time: t, Clock: v.Clock(t), Day: v.Date(t), Date: evenstand.DayOf(t, s.book.Zone()), Words: words, Lines: []NoteLine{}, Supposed: some(n.Supposed), Logged: []BoxLineView{}, Followed: []string{}, Effects: []Followed{}}
	for i := range n.Entries {
		out.Lines = append(out.Lines, s.noteLine(&n.Entries[i]))
	}
	if in.Body.Try {
		return out, nil
	}
	switch err := s.book.EditNote(ctx, in.ID, n.Entries, words); {
	case errors.Is(err, book.ErrSameNote):
		return out, refuse(err.Error())
	case err != nil:
		return out, err
	}
	s.changed("journal")
	s.settleSoon()
	return out, nil
}

type historyIn struct {
	Note int64 `path:"note"`
}

func (s *Server) noteHistory(ctx context.Context, in *historyIn) (NoteHistory, error) {
	h, err := s.book.NoteHistory(ctx, in.Note)
	if err != nil {
		return NoteHistory{}, err
	}
	v := s.voice()
	out := NoteHistory{ID: in.Note, Versions: []NoteVersion{}}
	for i := range h {
		t := h[i].Lines[0].Entry.T
		x := NoteVersion{Written: v.Clock(h[i].At) + ", " + v.Date(h[i].At), Clock: v.Clock(t), Day: v.Date(t), Words: h[i].Lines[0].Words, Lines: []NoteLine{}, Now: i == len(h)-1}
		for k := range h[i].Lines {
			x.Lines = append(x.Lines, s.noteLine(&h[i].Lines[k].Entry))
		}
		out.Versions = append(out.Versions, x)
	}
	return out, nil
}

type noteID struct {
	ID int64 `path:"id"`
}

func (s *Server) takeBack(ctx context.Context, in *noteID) (NoteView, error) {
	lines, err := s.book.TakeBack(ctx, in.ID)
	if err != nil {
		return NoteView{}, err
	}
	v, l := s.voice(), &lines[0]
	out := NoteView{ID: l.ID, Planter: l.Planter, Time: l.Entry.T, Clock: v.Clock(l.Entry.T), Day: v.Date(l.Entry.T), Date: evenstand.DayOf(l.Entry.T, s.book.Zone()), Words: l.Words, Lines: []NoteLine{}, Supposed: []string{}, TakenBack: true, Edits: l.Edits, Logged: []BoxLineView{}, Followed: []string{}, Effects: []Followed{}}
	for i := range lines {
		out.Lines = append(out.Lines, s.noteLine(&lines[i].Entry))
	}
	s.changed("journal")
	s.settleSoon()
	return out, nil
}

// quiet is how long nothing more is written before days are made again: one
// note is seldom alone.
const quiet = 8 * time.Second

// settleSoon makes the days again that what was written changes, once there is
// quiet.
func (s *Server) settleSoon() {
	s.settling.Lock()
	defer s.settling.Unlock()
	if s.soon != nil {
		s.soon.Stop()
	}
	s.soon = time.AfterFunc(quiet, func() {
		if stale, err := s.stale(context.Background()); err == nil && stale {
			s.jobs.read(nil, nil, nil)
		}
	})
}

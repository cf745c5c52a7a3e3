package web

import (
	"context"
	"slices"
	"time"

	"evenstand"
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
	Words     string           `json:"words" doc:"As typed"`
	Lines     []NoteLine       `json:"lines"`
	Supposed  []string         `json:"supposed" doc:"What it did not say and was supposed"`
	TakenBack bool             `json:"taken_back"`
}

// Journal is what people wrote, newest first.
type Journal struct {
	Notes []NoteView `json:"notes"`
}

func (s *Server) noteLine(e *evenstand.Entry) NoteLine {
	return NoteLine{e.What, e.Rows.String(), evenstand.Number(e.Value), e.Unit, record.SayEntry(e)}
}

func (s *Server) journal(ctx context.Context, _ *nothing) (Journal, error) {
	lines, err := s.book.Journal(ctx)
	if err != nil {
		return Journal{}, err
	}
	out := Journal{Notes: []NoteView{}}
	v := s.voice()
	for i := range lines {
		l := &lines[i]
		if n := len(out.Notes); n > 0 && out.Notes[n-1].ID == l.ID {
			out.Notes[n-1].Lines = append(out.Notes[n-1].Lines, s.noteLine(&l.Entry))
			continue
		}
		out.Notes = append(out.Notes, NoteView{
			ID: l.ID, Planter: l.Planter, Time: l.Entry.T, Clock: v.Clock(l.Entry.T), Day: v.Date(l.Entry.T), Words: l.Words,
			Lines: []NoteLine{s.noteLine(&l.Entry)}, Supposed: []string{}, TakenBack: l.TakenBack,
		})
	}
	slices.Reverse(out.Notes)
	slices.SortStableFunc(out.Notes, func(a, b NoteView) int { return int(min(1, max(-1, b.Time-a.Time))) })
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
	out := NoteView{Planter: planter, Time: t, Clock: v.Clock(t), Day: v.Date(t), Words: in.Body.Text, Lines: []NoteLine{}, Supposed: some(n.Supposed)}
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

type noteID struct {
	ID int64 `path:"id"`
}

func (s *Server) takeBack(ctx context.Context, in *noteID) (NoteView, error) {
	lines, err := s.book.TakeBack(ctx, in.ID)
	if err != nil {
		return NoteView{}, err
	}
	v, l := s.voice(), &lines[0]
	out := NoteView{ID: l.ID, Planter: l.Planter, Time: l.Entry.T, Clock: v.Clock(l.Entry.T), Day: v.Date(l.Entry.T), Words: l.Words, Lines: []NoteLine{}, Supposed: []string{}, TakenBack: true}
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
		if stale, err := s.book.Stale(context.Background()); err == nil && stale {
			s.jobs.read(nil, nil, nil)
		}
	})
}

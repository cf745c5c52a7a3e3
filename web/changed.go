package web

import (
	"context"

	"evenstand"
	"evenstand/book"
	"evenstand/core/advise"
	"evenstand/core/record"
)

// CheckBack is what planting says of something that was done.
type CheckBack evenstand.CheckBack

// CheckDrawn is how a check-back is written out and drawn.
type CheckDrawn struct {
	Axis  Axis          `json:"axis"`
	Title string        `json:"title"`
	Lines []record.Line `json:"lines" doc:"What it was, what it is to come to, what the other rows do"`
	Line  string        `json:"line" doc:"What it must get past, in words"`
	Peers string        `json:"peers" doc:"What the other rows do, in words; empty: there are none"`
	Rows  []CheckRow    `json:"rows" doc:"The course in words"`
}

// CheckRow is a point of the course in words.
type CheckRow struct {
	Seen  string `json:"seen"`
	Clock string `json:"clock"`
	After string `json:"after"`
	Low   string `json:"low"`
	High  string `json:"high"`
}

func (s *Server) checkDrawn(c *evenstand.CheckBack) *CheckDrawn {
	if c == nil || c.Measure == "" {
		return nil
	}
	v := s.voice()
	val := func(x evenstand.Number) string { return record.CheckValue(c, x, v) }
	d := &CheckDrawn{Axis: axis(v, c.Unit), Title: advise.Capital(c.Measure) + " since it was done", Lines: record.CheckFigures(c, v), Line: val(c.Line), Rows: []CheckRow{}}
	if len(c.Course) == 0 {
		d.Line = ""
	}
	if c.Peers == c.Peers { // known
		d.Peers = val(c.Peers)
	}
	for _, p := range c.Course {
		d.Rows = append(d.Rows, CheckRow{advise.Thousands(int64(p.Seen)), v.Second(p.T), val(p.After), val(p.Low), val(p.High)})
	}
	return d
}

// ChangedView is what was done, parted by what is known of it, and what was only
// set.
type ChangedView struct {
	Groups   []ChangedPart `json:"groups"`
	Settings []SettingItem `json:"settings" doc:"The newest first"`
}

// SettingItem is a setting that was only set, with what followed.
type SettingItem struct {
	Planter string           `json:"planter"`
	Time    evenstand.Micros `json:"time"`
	Day     evenstand.Day    `json:"day" doc:"Of the journal"`
	Label   string           `json:"label" doc:"The day in words"`
	Says    string           `json:"says" doc:"What was set, when, on which rows"`
	From    string           `json:"from" doc:"by hand, or the box that logged it"`
	After   Followed         `json:"after" doc:"What followed"`
}

// ChangedPart is what was done that has one verdict.
type ChangedPart struct {
	Title string        `json:"title"`
	Items []ChangedItem `json:"items"`
}

// ChangedItem is something that was done, with what came of it.
type ChangedItem struct {
	Planter   string           `json:"planter"`
	Time      evenstand.Micros `json:"time"`
	When      string           `json:"when"`
	By        string           `json:"by" enum:"done,fix,setting"`
	Says      string           `json:"says"`
	Finding   string           `json:"finding" doc:"Empty: nothing was known to be wrong"`
	Rows      evenstand.Rows   `json:"rows" doc:"Empty: all"`
	CheckBack CheckBack        `json:"check_back"`
	Check     *CheckDrawn      `json:"check,omitempty"`
}

func (s *Server) whatChanged(ctx context.Context) ([]record.Changed, error) {
	return s.changes.of(s.revision.Load(), func() ([]record.Changed, error) { return s.book.Changed(context.WithoutCancel(ctx)) })
}

func (s *Server) changedView(ctx context.Context, _ *struct{}) (ChangedView, error) {
	out := ChangedView{Groups: []ChangedPart{}, Settings: []SettingItem{}}
	all, err := s.whatChanged(ctx)
	if err != nil {
		return out, err
	}
	v := s.voice()
	days, err := s.allDays(ctx)
	if err != nil {
		return out, err
	}
	for _, d := range days {
		v.AsOf = max(v.AsOf, d.AsOf)
	}
	for _, g := range record.ChangedGroups(all) {
		p := ChangedPart{Title: g.Title, Items: []ChangedItem{}}
		for i := range g.Changed {
			c := &g.Changed[i]
			p.Items = append(p.Items, ChangedItem{c.Planter, c.T, v.Clock(c.T) + v.On(c.T), c.By, c.Says, c.Finding, c.Rows, CheckBack(c.CheckBack), s.checkDrawn(&c.CheckBack)})
		}
		out.Groups = append(out.Groups, p)
	}
	set, err := s.onlySet.of(s.revision.Load(), func() ([]book.ChangeLine, error) {
		return s.book.SettingsChanged(context.WithoutCancel(ctx), v)
	})
	if err != nil {
		return out, err
	}
	for _, l := range book.OnlySet(set, all) {
		out.Settings = append(out.Settings, SettingItem{l.Planter, l.T, l.Day, v.Day(l.Day), l.Head, book.FromSay(l.Source), followedBy(&l)})
	}
	return out, nil
}

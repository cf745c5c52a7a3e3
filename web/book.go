package web

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"evenstand"
	"evenstand/book"
	"evenstand/core/advise"
	"evenstand/core/record"
	"evenstand/pipeline"
)

// BookInfo is what the head of every screen says, and what there is to choose
// from.
type BookInfo struct {
	Name     string           `json:"name"`
	ID       string           `json:"id" doc:"Tells this logbook from others, also under another name; a copy has the same"`
	Version  string           `json:"version" doc:"Of the program"`
	Run      string           `json:"run" doc:"Tells this run of the program from another"`
	Revision int64            `json:"revision" doc:"Of this run; grows with every change"`
	Units    evenstand.Units  `json:"units" enum:"us,metric"`
	Zone     string           `json:"zone"`
	Currency string           `json:"currency"`
	Priced   bool             `json:"priced" doc:"A price of the grain and a yield goal are given; without the price losses are in bushels, without the goal a usual yield is assumed"`
	AsOf     evenstand.Micros `json:"as_of"`
	Place    string           `json:"place" doc:"Field of the last pass and what is left of it, in words"`
	State    string           `json:"state" doc:"Last log time, boxes and their clocks, in words"`
	Ended    string           `json:"ended" doc:"When the logs end, where that was not today; else empty"`
	Today    string           `json:"today" doc:"Last day and its passes, in words"`
	Days     []DayInfo        `json:"days"`
	Fields   []string         `json:"fields"`
	Planters []string         `json:"planters"`
	Rows     int              `json:"rows" doc:"Of the planter on the last day, 0 unknown"`
	Ask      []AskCard        `json:"ask" doc:"What the logs leave open about the planters"`
	Stale    bool             `json:"stale" doc:"Something was changed that the next reading takes up"`
	ReadOnly bool             `json:"read_only" doc:"This browser may only look"`
}

// DayInfo is one machine-day.
type DayInfo struct {
	Planter string        `json:"planter"`
	Day     evenstand.Day `json:"day"`
	Label   string        `json:"label"`
	Passes  int           `json:"passes"`
	Fields  []string      `json:"fields"`
	Seeds   int64         `json:"seeds"`
}

func (s *Server) bookInfo(ctx context.Context, _ *nothing) (BookInfo, error) {
	revision := s.revision.Load() // what changes while this is put together comes after it
	set, v := s.book.Settings(), s.voice()
	days, err := s.allDays(ctx)
	if err != nil {
		return BookInfo{}, err
	}
	src, err := s.allSources(ctx)
	if err != nil {
		return BookInfo{}, err
	}
	planters, err := s.book.Planters(ctx)
	if err != nil {
		return BookInfo{}, err
	}
	stale, err := s.stale(ctx)
	if err != nil {
		return BookInfo{}, err
	}
	id, err := s.book.ID(ctx)
	if err != nil {
		return BookInfo{}, err
	}
	out := BookInfo{
		Name: set.Name, ID: id, Version: s.opt.Version, Run: s.began, Revision: revision, Units: set.Units, Zone: s.book.Zone().String(), Currency: set.Currency,
		Priced: !math.IsNaN(set.Price) && !math.IsNaN(set.Yield), AsOf: evenstand.NoTime, Days: []DayInfo{}, Fields: []string{}, Planters: some(planters), Ask: []AskCard{}, Stale: stale, ReadOnly: looksOnly(ctx),
	}
	if out.Ask, err = s.askCards(ctx); err != nil {
		return out, err
	}
	for _, d := range days {
		out.AsOf = max(out.AsOf, d.AsOf)
		info := DayInfo{Planter: d.Planter, Day: d.Day, Label: s.voice().Day(d.Day), Passes: d.Passes, Fields: []string{}, Seeds: d.Seeds}
		for _, p := range d.Planted {
			info.Fields = append(info.Fields, p.Field)
			if !slices.Contains(out.Fields, p.Field) {
				out.Fields = append(out.Fields, p.Field)
			}
		}
		out.Days = append(out.Days, info)
	}
	if n := len(days); n > 0 {
		last := days[n-1]
		card, err := s.book.Card(last.Planter, last.Day)
		if err != nil {
			return out, err
		}
		out.Rows = card.Rows
		if out.Place, err = s.place(ctx, days); err != nil {
			return out, err
		}
		v.AsOf = evenstand.Micros(time.Now().UnixMicro()) // what is not of today has its date
		out.State = state(src, out.AsOf, v)
		if day := v.On(out.AsOf); day != "" {
			out.Ended = v.Clock(out.AsOf) + day
		}
		out.Today = s.voice().Day(last.Day) + " · " + advise.Plural(int64(last.Passes), "pass", "passes")
	}
	return out, nil
}

// stale tells whether the next reading has something to take up. Readers that
// cannot be had, since a recipe is broken, are said where one reads.
func (s *Server) stale(ctx context.Context) (bool, error) {
	formats, err := s.opt.Formats()
	if err != nil {
		formats = nil
	}
	return s.book.Stale(ctx, formats)
}

// place says where the planter is and what is left there: "north place · 61 ac
// left".
func (s *Server) place(ctx context.Context, days []book.DaySummary) (string, error) {
	left, err := s.left.of(s.revision.Load(), func() (map[string]float64, error) {
		return s.book.LeftToPlant(context.WithoutCancel(ctx), days)
	})
	if err != nil {
		return "", err
	}
	return s.book.Place(context.WithoutCancel(ctx), days, left, s.voice())
}

// state says how current the data are, of how many boxes, and whether their
// clocks are known.
func state(src []book.SourceReport, asOf evenstand.Micros, v advise.Voice) string {
	when := v.Clock(asOf) + v.On(asOf)
	if len(src) == 0 {
		return when
	}
	unknown, unchecked := 0, 0
	for i := range src {
		switch r := &src[i]; {
		case r.First == evenstand.NoTime:
		case math.IsNaN(float64(r.ClockOffset)):
			unknown++
		case math.IsNaN(float64(r.ClockError)) && r.ClockFrom == pipeline.ClockDeclared:
			unchecked++
		}
	}
	clocks := "clocks agree"
	switch {
	case unknown == 1:
		clocks = "one clock not known"
	case unknown > 1:
		clocks = fmt.Sprintf("%d clocks not known", unknown)
	case unchecked > 0:
		clocks = "clocks as said"
	}
	return when + " · " + advise.Plural(int64(len(src)), "box", "boxes") + ", " + clocks
}

// some gives an empty list for none, so that JSON says [] and not null.
func some[E any](s []E) []E {
	if s == nil {
		return []E{}
	}
	return s
}

// Spoken is a finding with what is said of it.
type Spoken struct {
	evenstand.Finding
	Words record.Words `json:"words"`
	Needs []NeedView   `json:"needs" doc:"What is missing to price it, and where to say it"`
	Links Links        `json:"links"`
	Drawn *Drawn       `json:"drawn,omitempty" doc:"How chart is written out"`
	Check *CheckDrawn  `json:"check,omitempty" doc:"How check_back is written out and drawn"`
	Said  string       `json:"said,omitempty" doc:"After a decision: what was recorded, and when it will be judged"`
}

// Links say where on the other screens a finding can be seen.
type Links struct {
	Pass    string        `json:"pass" doc:"Key of the pass where it shows best, empty: none"`
	Row     int           `json:"row" doc:"0: all rows"`
	Measure string        `json:"measure" doc:"By which rows and ground show it; empty: none"`
	Courses []string      `json:"courses" doc:"Measures whose course through the day shows it"`
	Strip   bool          `json:"strip" doc:"It is ground without seed that can be drawn"`
	Ground  bool          `json:"ground" doc:"It is about the ground of its field, which can be drawn"`
	Planter string        `json:"planter"`
	Day     evenstand.Day `json:"day"`
}

// WorklistView is the worklist as the page shows it.
type WorklistView struct {
	Schema    int              `json:"schema"`
	Book      string           `json:"book"`
	AsOf      evenstand.Micros `json:"as_of"`
	Currency  string           `json:"currency"`
	Summary   string           `json:"summary" doc:"The one sentence that sums up"`
	Empty     bool             `json:"empty" doc:"No logs have been read yet"`
	Groups    []GroupView      `json:"groups"`
	NotJudged []NeedView       `json:"not_judged" doc:"What was not looked for, and why"`
	Aboard    []string         `json:"aboard" doc:"What tanks and seed boxes hold at the end of the logs, the first to run out first"`
	Hidden    int              `json:"hidden" doc:"Suspected and ended findings and passing trouble that are not listed"`
	Cautions  []string         `json:"cautions" doc:"Before anyone touches the machine"`
}

// NeedView is something that is missing, and the screen where it can be said or
// seen.
type NeedView struct {
	Text string `json:"text"`
	Link string `json:"link" doc:"Path of a screen; empty: none helps"`
	Name string `json:"name" doc:"Of the link, in words"`
}

// needViews says what is missing as the page does, with links and without files.
func needViews(needs []evenstand.Need) []NeedView {
	out := []NeedView{}
	for _, n := range needs {
		v := NeedView{Text: n.Text}
		switch n.Topic {
		case evenstand.TopicPrices:
			v.Link, v.Name = "/logbook/prices", "Enter it"
		case evenstand.TopicPlanter:
			v.Link, v.Name = "/logbook/planter", "Planter card"
		case evenstand.TopicLogs:
			v.Link, v.Name = "/logbook", "Boxes and their logs"
		}
		out = append(out, v)
	}
	return out
}

// GroupView is the findings of one heading.
type GroupView struct {
	Title    string   `json:"title"`
	Note     string   `json:"note"`
	Findings []Spoken `json:"findings"`
}

type worklistIn struct {
	All bool `query:"all" doc:"Also what is only suspected, what ended by itself, and passing trouble"`
}

func (s *Server) worklistView(ctx context.Context, in *worklistIn) (WorklistView, error) {
	s.ahead.begin(func() {
		_ = s.guarded(func() error { // who asks for it is told what is wrong with it
			_, err := s.season(context.WithoutCancel(ctx))
			return err
		})
	})
	all, err := s.allFindings(ctx)
	if err != nil {
		return WorklistView{}, err
	}
	days, err := s.allDays(ctx)
	if err != nil {
		return WorklistView{}, err
	}
	src, err := s.allSources(ctx)
	if err != nil {
		return WorklistView{}, err
	}
	o, err := s.words(ctx)
	if err != nil {
		return WorklistView{}, err
	}
	short := record.Listed(all)
	w := all
	if !in.All {
		w = short
	}
	o.NoRow = book.NoRow(days, src)
	out := WorklistView{
		Schema: 1, Book: all.Book, AsOf: all.AsOf, Currency: all.Currency, Summary: record.Summary(short, o), Empty: len(days) == 0,
		Groups: []GroupView{}, NotJudged: needViews(book.NotJudged(days, src, o.Voice)), Hidden: len(all.Findings) - len(w.Findings), Cautions: []string{},
	}
	if out.Aboard, err = s.book.Aboard(days, o.Voice); err != nil {
		return out, err
	}
	out.Aboard = some(out.Aboard)
	for _, g := range record.Groups(w) {
		gv := GroupView{Title: g.Title, Findings: []Spoken{}}
		for i := range g.Findings {
			f := &g.Findings[i]
			sp, err := s.speak(ctx, f, o)
			if err != nil {
				return out, err
			}
			gv.Findings = append(gv.Findings, sp)
			for _, c := range f.Advice.Cautions {
				if !slices.Contains(out.Cautions, c) && g.Title != "Ended" && g.Title != "Passing trouble" {
					out.Cautions = append(out.Cautions, c)
				}
			}
		}
		out.Groups = append(out.Groups, gv)
	}
	return out, nil
}

type findingIn struct {
	ID string `path:"id" doc:"Or its begin, at least three characters"`
}

// finding gives a finding by its id or the begin of it.
func (s *Server) finding(ctx context.Context, id string) (evenstand.Finding, error) {
	w, err := s.allFindings(ctx)
	if err != nil {
		return evenstand.Finding{}, err
	}
	f, err := record.Find(w.Findings, id)
	if err != nil {
		return f, notFound(err.Error())
	}
	return f, nil
}

func (s *Server) findingView(ctx context.Context, in *findingIn) (Spoken, error) {
	f, err := s.finding(ctx, in.ID)
	if err != nil {
		return Spoken{}, err
	}
	o, err := s.words(ctx)
	if err != nil {
		return Spoken{}, err
	}
	return s.speak(ctx, &f, o)
}

func (s *Server) speak(ctx context.Context, f *evenstand.Finding, o record.Options) (Spoken, error) {
	links, err := s.links(ctx, f)
	out := Spoken{*f, record.SayFinding(f, o), needViews(f.Money.Needs), links, s.drawn(f.Chart), s.checkDrawn(f.CheckBack), ""}
	out.Money.Needs = slices.Clone(f.Money.Needs) // the page names no file
	for i := range out.Money.Needs {
		out.Money.Needs[i].Where = ""
	}
	return out, err
}

type decideIn struct {
	ID   string `path:"id"`
	Body struct {
		Status evenstand.Status `json:"status" enum:"acted,set-aside,open" doc:"open takes back what was recorded last"`
		Cause  string           `json:"cause,omitempty" maxLength:"200" doc:"What it really was"`
		Note   string           `json:"note,omitempty" maxLength:"1000"`
		At     string           `json:"at,omitempty" maxLength:"60" doc:"When it was done, as in a note: 2:05 pm, which alone is of the finding's day; empty: now"`
	}
}

func (s *Server) decide(ctx context.Context, in *decideIn) (Spoken, error) {
	f, err := s.finding(ctx, in.ID)
	if err != nil {
		return Spoken{}, err
	}
	if in.Body.Status == evenstand.Open && f.Status != evenstand.Acted && f.Status != evenstand.Checked && f.Status != evenstand.SetAside {
		return Spoken{}, refuse("nothing is recorded about it that could be taken back")
	}
	if in.Body.Status == evenstand.Open {
		ds, err := s.book.Decisions(ctx)
		if err != nil {
			return Spoken{}, err
		}
		if len(record.Standing(ds, f.ID)) == 0 {
			return Spoken{}, refuse("nothing is recorded about it itself: what was done stands in the journal, or with the finding of the day before")
		}
	}
	d := book.Decision{Status: in.Body.Status, Cause: strings.TrimSpace(in.Body.Cause), Note: strings.TrimSpace(in.Body.Note)}
	if at := strings.TrimSpace(in.Body.At); at != "" {
		if d.At, err = s.book.ReadDone(ctx, &f, at, evenstand.FromTime(time.Now().Truncate(time.Second))); err != nil {
			return Spoken{}, refuse(err.Error())
		}
	}
	if _, err := s.book.Decide(ctx, f.ID, d); err != nil {
		return Spoken{}, err
	}
	s.changed("decisions")
	if f.Kind == evenstand.KindSettingBetter { // its line came into the journal or out of it
		s.changed("journal")
		s.settleSoon()
	}
	out, err := s.findingView(ctx, &findingIn{f.ID})
	if err != nil {
		return out, err
	}
	ds, err := s.book.Decisions(ctx)
	if err != nil {
		return out, err
	}
	o, err := s.words(ctx)
	if err != nil {
		return out, err
	}
	out.Said = record.SayDecided(&out.Finding, ds, d.Status == evenstand.Open, o.Voice)
	return out, nil
}

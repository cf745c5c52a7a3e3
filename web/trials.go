package web

import (
	"bytes"
	"context"
	"encoding/csv"
	"fmt"
	"math"
	"strings"

	"evenstand"
	"evenstand/book"
	"evenstand/core/measure/group"
	"evenstand/core/try/trial"
)

// TrialList is every row trial there is.
type TrialList struct {
	Trials []TrialLine `json:"trials"`
	Empty  string      `json:"empty" doc:"What makes a trial where there is none"`
	Parts  []string    `json:"parts" doc:"Labels and kinds of the planter card, for a plan"`
	// Mounted is what the planter cards say now.
	Mounted  []MountedPart `json:"mounted" doc:"What is on which rows since when, as the planter cards say"`
	Planters []string      `json:"planters"`
	Kinds    []string      `json:"kinds" doc:"Kinds of parts to choose from; any other will do"`
}

// MountedPart is a part on some rows of a planter.
type MountedPart struct {
	Planter string `json:"planter"`
	Kind    string `json:"kind" doc:"In words: closing wheel"`
	Label   string `json:"label"`
	Rows    string `json:"rows"`
	Since   string `json:"since" doc:"Day; empty: always"`
}

// TrialLine is one of them.
type TrialLine struct {
	ID       string        `json:"id"`
	Planter  string        `json:"planter"`
	Kind     string        `json:"kind"`
	Label    string        `json:"label"`
	Heading  string        `json:"heading"`
	Sentence string        `json:"sentence"`
	Verdict  trial.Verdict `json:"verdict"`
	Money    string        `json:"money" doc:"Empty: nothing of it is priced"`
}

// TrialView is one trial with what is needed to draw it.
type TrialView struct {
	Trial trial.Report `json:"trial"`
	Axes  []TrialAxes  `json:"axes" doc:"Of each figure"`
	Part  SaidPartView `json:"part"`
	Aims  []MeasureAim `json:"aims" doc:"What a part can be mounted for"`
	Area  Axis         `json:"area"`
}

// TrialAxes are how a measure and a difference of it are written.
type TrialAxes struct {
	Value Axis         `json:"value"`
	Diff  Axis         `json:"difference"`
	Says  string       `json:"says" doc:"The difference with its interval; empty: not known"`
	Zones []ZoneSpoken `json:"zones"`
}

// ZoneSpoken is a zone's difference in words.
type ZoneSpoken struct {
	Zone string `json:"zone"`
	Says string `json:"says"`
}

// SaidPartView is what was said of the part.
type SaidPartView struct {
	Label    string           `json:"label"`
	Price    evenstand.Number `json:"price_a_row"`
	Seasons  evenstand.Number `json:"lasts_seasons"`
	Aim      string           `json:"aim"`
	Currency string           `json:"currency"`
}

// MeasureAim is a measure by name.
type MeasureAim struct {
	ID    string `json:"id"`
	Label string `json:"label"`
}

// allTrials keeps the trials of a revision: reckoning them reads all stretches of
// the season.
func (s *Server) allTrials(ctx context.Context) ([]trial.Report, error) {
	return s.tried.of(s.revision.Load(), func() ([]trial.Report, error) { return s.book.Trials(context.WithoutCancel(ctx)) })
}

func (s *Server) trialList(ctx context.Context, _ *nothing) (TrialList, error) {
	out := TrialList{Trials: []TrialLine{}, Empty: trial.Empty, Parts: []string{}, Mounted: []MountedPart{}, Kinds: trial.Kinds()}
	all, err := s.allTrials(ctx)
	if err != nil {
		return out, err
	}
	for i := range all {
		t := &all[i]
		out.Trials = append(out.Trials, TrialLine{t.ID, t.Planter, t.Kind, t.Label, trial.Heading(t), t.Sentence, t.Verdict, t.Money.Says})
		if t.Label != "" {
			out.Parts = append(out.Parts, t.Label)
		}
	}
	names, err := s.book.Planters(ctx)
	out.Planters = append([]string{}, names...)
	if err != nil {
		return out, err
	}
	on, err := s.book.Mounted(ctx)
	for _, p := range on {
		out.Mounted = append(out.Mounted, MountedPart{p.Planter, trial.KindSays(p.Kind), p.Label, p.Rows.String(), string(p.Since)})
	}
	return out, err
}

type mountIn struct {
	Body struct {
		Planter string `json:"planter,omitempty" maxLength:"200" doc:"May be left out where there is one"`
		Kind    string `json:"kind" minLength:"1" maxLength:"60" doc:"Such as closing wheel"`
		Label   string `json:"label" minLength:"1" maxLength:"200" doc:"What you call it"`
		Rows    string `json:"rows" minLength:"1" maxLength:"200" doc:"1-4,9"`
		Since   string `json:"since,omitempty" maxLength:"10" doc:"Day; empty: always"`
		Mistake bool   `json:"mistake,omitempty" doc:"It was written by mistake: take it off the card"`
	}
}

// mount writes on a planter's card what is on which rows since when.
func (s *Server) mount(ctx context.Context, in *mountIn) (TrialList, error) {
	b := &in.Body
	planter, err := s.book.PlanterNamed(ctx, b.Planter)
	if err != nil {
		return TrialList{}, refuse(err.Error())
	}
	rows, err := evenstand.ParseRows(b.Rows)
	if err != nil {
		return TrialList{}, refuse("rows: " + err.Error())
	}
	p := book.Part{Planter: planter, Kind: b.Kind, Label: b.Label, Rows: rows, Since: evenstand.Day(b.Since)}
	if b.Mistake {
		err = s.book.Unmount(ctx, p)
	} else {
		err = s.book.Mount(ctx, p)
	}
	if err != nil {
		return TrialList{}, err
	}
	s.changed("card")
	s.settleSoon()
	return s.trialList(ctx, nil)
}

type trialIn struct {
	ID string `path:"trial" maxLength:"200"`
}

func (s *Server) oneTrial(ctx context.Context, id string) (trial.Report, error) {
	all, err := s.allTrials(ctx)
	if err != nil {
		return trial.Report{}, err
	}
	t, err := book.PickTrial(all, id)
	if err != nil {
		return t, notFound("there is no trial " + printable(id))
	}
	return t, nil
}

func (s *Server) trialView(ctx context.Context, in *trialIn) (TrialView, error) {
	t, err := s.oneTrial(ctx, in.ID)
	if err != nil {
		return TrialView{}, err
	}
	v := s.voice()
	set := s.book.Settings()
	p, _ := set.Part(t.Label)
	out := TrialView{
		Trial: t, Axes: []TrialAxes{}, Aims: []MeasureAim{}, Area: axis(v, "m2"),
		Part: SaidPartView{t.Label, evenstand.Number(p.Price), evenstand.Number(p.Seasons), p.Aim, set.Currency},
	}
	for i := range t.Figures {
		f := &t.Figures[i]
		unit := f.Unit
		if unit == "degC" {
			unit = "K"
		}
		a := TrialAxes{Value: axis(v, f.Unit), Diff: axis(v, unit), Zones: []ZoneSpoken{}}
		if !math.IsNaN(float64(f.Diff)) {
			a.Says = trial.Signed(v, f.Diff, f.Low, f.High, f.Unit)
		}
		if f.Unit == "fraction" {
			a.Diff.Unit = "points"
		}
		for _, z := range f.Zones {
			if !math.IsNaN(float64(z.Diff)) {
				a.Zones = append(a.Zones, ZoneSpoken{z.Zone, trial.Signed(v, z.Diff, z.Low, z.High, f.Unit)})
			}
		}
		if f.Measure == "stand" { // the axis of seeds a measure of ground is that of plants too
			a.Value.Unit, a.Diff.Unit = strings.Replace(a.Value.Unit, "seeds", "plants", 1), strings.Replace(a.Diff.Unit, "seeds", "plants", 1)
			a.Says = strings.Replace(a.Says, "seeds", "plants", 1)
		}
		out.Axes = append(out.Axes, a)
		if _, ok := group.ByID(f.Measure); ok || f.Measure == "stand" {
			out.Aims = append(out.Aims, MeasureAim{f.Measure, f.Label})
		}
	}
	return out, nil
}

func (s *Server) trialCSV(ctx context.Context, in *trialIn) ([]byte, error) {
	t, err := s.oneTrial(ctx, in.ID)
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	err = w.WriteAll(t.Table())
	return b.Bytes(), err
}

type planIn struct {
	Part    string `query:"part" maxLength:"200" doc:"Label or kind of the part"`
	Planter string `query:"planter" maxLength:"200"`
	Rows    int    `query:"at_hand" minimum:"1" maximum:"64" default:"2" doc:"Rows of parts at hand"`
	Passes  int    `query:"passes" minimum:"0" maximum:"10000" doc:"Of each time; 0: as many as help"`
	Measure string `query:"measure" doc:"Empty: what the part is for, or what is told"`
	Seed    uint64 `query:"seed" doc:"Of the draw of the rows"`
	Start   string `query:"start" doc:"The first day, 2026-05-02"`
}

// TrialPlan is what is proposed to try a part.
type TrialPlan struct {
	trial.Plans
	Measures []MeasureAim `json:"measures" doc:"That can be asked for"`
}

func (s *Server) trialPlan(ctx context.Context, in *planIn) (TrialPlan, error) {
	if _, ok := group.ByID(in.Measure); in.Measure != "" && !ok {
		return TrialPlan{}, refuse(fmt.Sprintf("there is no measure %q", in.Measure))
	}
	if in.Start != "" {
		if _, err := evenstand.Day(in.Start).Start(s.book.Zone()); err != nil {
			return TrialPlan{}, refuse(err.Error())
		}
	}
	p, err := s.book.PlanTrial(ctx, book.TrialWish{Planter: in.Planter, Part: strings.TrimSpace(in.Part), Rows: in.Rows, Passes: in.Passes, Measure: in.Measure, Seed: in.Seed, Start: evenstand.Day(in.Start)})
	if err != nil {
		return TrialPlan{}, err
	}
	out := TrialPlan{Plans: p, Measures: []MeasureAim{}}
	for _, m := range group.Measures() {
		switch m.ID {
		case "switched-off", "speed", "vacuum":
		default:
			out.Measures = append(out.Measures, MeasureAim{m.ID, m.Label})
		}
	}
	return out, nil
}

type partIn struct {
	Body struct {
		Label   string   `json:"label" minLength:"1" maxLength:"200" doc:"As on the planter card"`
		Price   *float64 `json:"price_a_row,omitempty" minimum:"0" doc:"0: not known"`
		Seasons *float64 `json:"lasts_seasons,omitempty" minimum:"0" doc:"0: not known"`
		Aim     *string  `json:"aim,omitempty" maxLength:"40" doc:"Id of a measure; empty: any"`
	}
}

// setPart writes down what is said of a part.
func (s *Server) setPart(ctx context.Context, in *partIn) (SaidPartView, error) {
	b := &in.Body
	set := s.book.Settings()
	p, _ := set.Part(b.Label)
	p.Label = b.Label
	for _, n := range []struct {
		from *float64
		to   *float64
	}{{b.Price, &p.Price}, {b.Seasons, &p.Seasons}} {
		if n.from != nil {
			if *n.to = *n.from; *n.from == 0 {
				*n.to = math.NaN()
			}
		}
	}
	if b.Aim != nil {
		p.Aim = *b.Aim
	}
	if _, ok := group.ByID(p.Aim); p.Aim != "" && p.Aim != "stand" && !ok {
		return SaidPartView{}, refuse(fmt.Sprintf("there is no measure %q", p.Aim))
	}
	if err := s.book.SetPart(ctx, p); err != nil {
		return SaidPartView{}, err
	}
	s.changed("settings")
	return SaidPartView{p.Label, evenstand.Number(p.Price), evenstand.Number(p.Seasons), p.Aim, set.Currency}, nil
}

package book

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"evenstand"
	"evenstand/core/record"
	"evenstand/core/relation"
	"evenstand/core/replant"
)

// ReplantWish is what is asked about thin ground. Stands are plants and money is
// currency an acre, or a hectare in a metric book.
type ReplantWish struct {
	Field    string        `json:"field,omitempty" maxLength:"200" doc:"Its days of planting give the date"`
	Planted  evenstand.Day `json:"planted,omitempty" maxLength:"10" doc:"Empty: the field's first day"`
	Again    evenstand.Day `json:"again" maxLength:"10" doc:"The day of planting again"`
	NewStand float64       `json:"new_stand" minimum:"1" doc:"Plants that planting again would make"`
	Season   string        `json:"season,omitempty" enum:"full,short" doc:"Of the new hybrid; empty: full"`
	Zones    []ReplantSpot `json:"zones" minItems:"1" maxItems:"50"`
	Costs    []ReplantCost `json:"costs,omitempty" maxItems:"20" doc:"Of starting over: seed less what is allowed for it, killing, tillage, planting, spraying, drying"`
	Fill     []ReplantCost `json:"fill_costs,omitempty" maxItems:"20" doc:"Of filling in; none: seed and planting as above"`
	Pays     float64       `json:"insurance,omitempty" minimum:"0" doc:"What the insurance would pay"`
	Insured  *Insured      `json:"insured,omitempty" doc:"Instead of what it pays: by the rule of 1998"`
}

// Insured is what an insurance of planting again rests on, bushels an acre.
type Insured struct {
	History   float64 `json:"history_bu" minimum:"1"`
	Level     float64 `json:"level" minimum:"0.1" maximum:"1" doc:"0.7"`
	Appraised float64 `json:"appraised_bu" minimum:"0"`
}

// ReplantSpot is a piece of ground with its stand.
type ReplantSpot struct {
	Name  string  `json:"name,omitempty" maxLength:"100"`
	Area  float64 `json:"area,omitempty" minimum:"0" doc:"Acres or hectares; 0: not said"`
	Stand float64 `json:"stand" minimum:"0"`
	Low   float64 `json:"low,omitempty" minimum:"0" doc:"Of what the counts leave open; 0: not said"`
	High  float64 `json:"high,omitempty" minimum:"0"`
	Gaps  string  `json:"gaps,omitempty" enum:"short,long" doc:"Several of 1.5 to 3 ft, or many of 4 to 6 ft"`
	Late  float64 `json:"late,omitempty" minimum:"0" maximum:"1" doc:"Share of the plants that came up late"`
	Days  float64 `json:"late_days,omitempty" minimum:"0" maximum:"60"`
}

// ReplantCost is one thing to pay.
type ReplantCost struct {
	What string  `json:"what" maxLength:"60"`
	Sum  float64 `json:"sum" minimum:"0"`
}

// sound refuses what is no number, or cannot be meant.
func (w *ReplantWish) sound() error {
	bad := func(what string, x, least, most float64) error {
		if x >= least && x <= most { // NaN is neither
			return nil
		}
		return &Error{"", fmt.Errorf("%s of %g cannot be meant", what, x), fmt.Sprintf("Write a number from %g to %g", least, most)}
	}
	const most = 1e7
	errs := []error{bad("a new stand", w.NewStand, 1, most), bad("an insurance", w.Pays, 0, most)}
	for _, c := range slices.Concat(w.Costs, w.Fill) {
		errs = append(errs, bad("a cost for "+c.What, c.Sum, 0, most))
	}
	for _, z := range w.Zones {
		errs = append(errs, bad("a stand", z.Stand, 0, most), bad("a stand", z.Low, 0, most), bad("a stand", z.High, 0, most), bad("an area", z.Area, 0, most), bad("a share of late plants", z.Late, 0, 1), bad("days late", z.Days, 0, 60))
	}
	if in := w.Insured; in != nil {
		errs = append(errs, bad("a yield history", in.History, 1, most), bad("a level of cover", in.Level, 0.1, 1), bad("an appraised yield", in.Appraised, 0, most))
	}
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// Replant weighs keeping, filling in and starting over, by zone.
func (b *Book) Replant(ctx context.Context, w ReplantWish, o record.Options) (record.ReplantSheet, error) {
	var none record.ReplantSheet
	if err := w.sound(); err != nil {
		return none, err
	}
	set := b.Settings()
	if set.Crop != "" && set.Crop != "corn" {
		return none, &Error{"", fmt.Errorf("no stand and date table of %s is published here", set.Crop), "What is known of other crops stands under R15 in the relations"}
	}
	if math.IsNaN(set.Price) || math.IsNaN(set.Yield) {
		return none, &Error{"", fmt.Errorf("planting again is weighed in money, and that needs a yield goal and what grain brings"), "Write yield_goal and grain in book.toml, or enter them under prices"}
	}
	if w.Planted == "" {
		days, err := b.Days(ctx)
		if err != nil {
			return none, err
		}
		for _, d := range days {
			if slices.ContainsFunc(d.Planted, func(p Planted) bool { return w.Field == "" || p.Field == w.Field }) && d.Day.Year() == w.Again.Year() && (w.Planted == "" || d.Day < w.Planted) {
				w.Planted = d.Day
			}
		}
		if w.Planted == "" {
			what := "the day of planting is not known"
			if w.Field != "" {
				what = "nothing was read of planting in " + w.Field
			}
			return none, &Error{"", fmt.Errorf("%w: %s", ErrUnknown, what), "Say the day of planting"}
		}
	}
	per := evenstand.Acre
	if set.Units == evenstand.Metric {
		per = evenstand.Hectare
	}
	costs := func(of []ReplantCost) (out []replant.Cost) {
		for _, c := range of {
			out = append(out, replant.Cost{What: c.What, Sum: c.Sum / per})
		}
		return out
	}
	fill := w.Fill
	if fill == nil { // what is not killed and not tilled
		for _, c := range w.Costs {
			if what := strings.ToLower(c.What); strings.Contains(what, "seed") || strings.Contains(what, "plant") {
				fill = append(fill, c)
			}
		}
	}
	pays, says := w.Pays, ""
	if w.Insured != nil {
		p, s, ok := record.InsuranceSays("corn", w.Insured.History, w.Insured.Level, w.Insured.Appraised, set.Price*relation.CornBushel)
		if ok {
			pays, says = p*per/evenstand.Acre, s
		}
	}
	var zones []record.ReplantAsked
	for i, z := range w.Zones {
		name := strings.TrimSpace(z.Name)
		if name == "" {
			name = "the field"
			if len(w.Zones) > 1 {
				name = fmt.Sprintf("zone %d", i+1)
			}
		}
		open := func(x float64) evenstand.Number {
			if x <= 0 {
				return evenstand.Unknown
			}
			return evenstand.Number(x / per)
		}
		if z.Low > z.Stand && z.Low > 0 || z.High > 0 && z.High < z.Stand {
			return none, &Error{"", fmt.Errorf("%s: a stand of %.0f does not lie between %.0f and %.0f", name, z.Stand, z.Low, z.High), "Say the least first"}
		}
		area := math.NaN()
		if z.Area > 0 {
			area = z.Area * per
		}
		season := w.Season
		if season == "" {
			season = "full"
		}
		zones = append(zones, record.ReplantAsked{Name: name, Area: area, Ask: replant.Ask{
			Stand: evenstand.Range{Low: open(z.Low), Mid: evenstand.Number(z.Stand / per), High: open(z.High)}, Planted: w.Planted, Late: z.Late, Days: z.Days, Gaps: replant.Gaps(z.Gaps),
			Again: w.Again, NewStand: w.NewStand / per, Season: season, Yield: set.Yield, Price: set.Price, Costs: costs(w.Costs), FillCosts: costs(fill), Insurance: pays / per,
		}})
	}
	title := "Keep, fill in or start over"
	if w.Field != "" {
		title += ": " + w.Field
	}
	s, err := record.MakeReplantSheet(title, zones, set.Currency, o.Voice)
	if err != nil {
		return none, &Error{"", err, "Say it again with a stand, and a day of planting again that comes after the first"}
	}
	if says != "" {
		s.Notes = append(s.Notes, says)
	}
	return s, nil
}

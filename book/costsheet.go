package book

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"evenstand"
	"evenstand/core/advise"
	"evenstand/core/price"
	"evenstand/core/record"
)

// CostSheet says what unevenness cost in a season, by cause, part, row, field and
// day, with hour by hour of the day too. season is a year, empty the last one that was planted; field a field, empty
// all of them. Passing trouble and what has ended count too: they cost what they
// cost; what is only suspected does not.
func (b *Book) CostSheet(ctx context.Context, season, field string, hour bool, o record.Options) (record.CostSheet, error) {
	r, err := b.reckon(ctx)
	if err != nil {
		return record.CostSheet{}, err
	}
	seasons := seasonsOf(r.days)
	switch {
	case season == "" && len(seasons) > 0:
		season = seasons[0]
	case season != "" && !slices.Contains(seasons, season):
		have := "nothing was read yet"
		if len(seasons) > 0 {
			have = "there is " + strings.Join(seasons, ", ")
		}
		return record.CostSheet{}, &Error{"", fmt.Errorf("%w: no day of %s was read; %s", ErrUnknown, season, have), "Name one of these, or bring the logs of that season"}
	}
	if field != "" && !slices.ContainsFunc(r.days, func(d DaySummary) bool {
		return slices.ContainsFunc(d.Planted, func(p Planted) bool { return p.Field == field })
	}) {
		return record.CostSheet{}, &Error{"", fmt.Errorf("%w: nothing was planted in %q", ErrUnknown, field), "Say the field's name as the logbook has it"}
	}
	o.Voice.AsOf = r.asOf
	known, err := b.knownCauses(ctx)
	if err != nil {
		return record.CostSheet{}, err
	}
	total := func(season, field string, ways ...price.By) (price.Sheet, []evenstand.Finding) {
		var ptrs []*evenstand.Finding
		var fs []evenstand.Finding
		for i := range r.fs {
			if f := &r.fs[i]; f.Stage == evenstand.Raised && !slices.Contains(f.Say, record.NoLonger) && f.Day.Year() == season && (field == "" || f.Field == field) {
				fs = append(fs, *f)
			}
		}
		for i := range fs {
			ptrs = append(ptrs, &fs[i])
		}
		return price.Total(ptrs, r.of, known, ways...), fs
	}
	if hour {
		byDay := map[DayRef][]evenstand.Pass{}
		plain := r.of
		for i := range r.fs {
			ref := DayRef{r.fs[i].Planter, r.fs[i].Day}
			if _, ok := byDay[ref]; ok || ref.Day.Year() != season {
				continue
			}
			if byDay[ref], err = b.Passes(ctx, ref.Planter, ref.Day); err != nil {
				return record.CostSheet{}, err
			}
		}
		r.of = func(f *evenstand.Finding) price.Context {
			c := plain(f)
			c.Hours = hoursOf(f, byDay[DayRef{f.Planter, f.Day}], b.Zone())
			return c
		}
	}
	s, fs := total(season, field, record.CostWays(hour)...)
	over := map[string]bool{} // for the price only
	for _, i := range r.decided {
		over[r.fs[i].ID] = true
	}
	for i := range fs {
		if over[fs[i].ID] {
			fs[i].Until = nil
		}
		advise.Fill(&fs[i], o.Voice)
	}
	out := record.MakeCostSheet(record.CostQuery{Season: season, Field: field, Several: len(plantersOf(r.days, season)) > 1, Area: plantedIn(r.days, season, field)}, s, fs, o)
	for _, year := range seasons {
		x := s
		if year != season || field != "" {
			x, _ = total(year, "")
		}
		area := evenstand.Number(plantedIn(r.days, year, ""))
		out.Seasons = append(out.Seasons, record.SayCostSeason(record.CostSeason{Season: year, Area: area, Low: x.Total.Low, Mean: x.Total.Mean, High: x.Total.High, Unit: x.Unit}, o.Voice))
	}
	return out, nil
}

// hoursOf gives for each hour of the day the share of the time of passes that a
// finding stood in it; nil where it stood on none.
func hoursOf(f *evenstand.Finding, passes []evenstand.Pass, zone *time.Location) []float64 {
	until := evenstand.Micros(math.MaxInt64)
	if f.Until != nil {
		until = *f.Until
	}
	const hour = 3600 * evenstand.Second
	shares, sum := make([]float64, 24), 0.0
	for _, p := range passes {
		from, to := max(p.Start, f.Since), min(p.End, until)
		for at := from; at < to; {
			clock := at.Time().In(zone)
			next := at + hour - evenstand.Micros(clock.Minute())*60*evenstand.Second - evenstand.Micros(clock.Second())*evenstand.Second - evenstand.Micros(clock.Nanosecond()/1000)
			x := float64(min(next, to) - at)
			shares[clock.Hour()] += x
			sum += x
			at = next
		}
	}
	if sum == 0 {
		return nil
	}
	for h := range shares {
		shares[h] /= sum
	}
	return shares
}

// knownCauses gives what people said the cause of a finding was.
func (b *Book) knownCauses(ctx context.Context) (price.Cause, error) {
	ds, err := b.Decisions(ctx)
	if err != nil {
		return nil, err
	}
	by := map[string]string{}
	for _, d := range ds {
		if st := record.Standing(ds, d.Finding); len(st) > 0 {
			by[d.Finding] = st[len(st)-1].Cause
		}
	}
	return func(f *evenstand.Finding) (string, bool) {
		// What was mended for that cause and did not help was another.
		return by[f.ID], by[f.ID] != "" && (f.CheckBack == nil || f.CheckBack.Verdict != evenstand.VerdictFailed)
	}, nil
}

// seasonsOf gives the years in which something was planted, the newest first.
func seasonsOf(days []DaySummary) (years []string) {
	for _, d := range days {
		if y := d.Day.Year(); d.Passes > 0 && !slices.Contains(years, y) {
			years = append(years, y)
		}
	}
	slices.Sort(years)
	slices.Reverse(years)
	return years
}

func plantersOf(days []DaySummary, season string) (names []string) {
	for _, d := range days {
		if d.Passes > 0 && d.Day.Year() == season && !slices.Contains(names, d.Planter) {
			names = append(names, d.Planter)
		}
	}
	return names
}

// plantedIn gives the ground planted in a season, m2, as far as its area is known;
// an empty field is all of them.
func plantedIn(days []DaySummary, season, field string) (area float64) {
	for _, d := range days {
		for _, p := range d.Planted {
			if a := float64(p.Area); d.Day.Year() == season && (field == "" || p.Field == field) && !math.IsNaN(a) {
				area += a
			}
		}
	}
	return area
}

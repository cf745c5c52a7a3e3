package book

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"evenstand"
	"evenstand/core/advise"
	"evenstand/core/price"
	"evenstand/core/record"
	"evenstand/core/relation"
	"evenstand/core/stand"
	"evenstand/core/stat"
)

// CountSheet says what the counts of a season say; season is a year, empty that of
// the newest count; field one of them, empty all.
func (b *Book) CountSheet(ctx context.Context, season, field string, o record.Options) (record.CountSheet, error) {
	s := record.NewCountSheet("Plants counted")
	r, err := b.reckon(ctx)
	if err != nil {
		return s, err
	}
	plain, err := b.Findings(ctx)
	if err != nil {
		return s, err
	}
	g, err := b.grown(ctx, plain, r.days)
	if err != nil {
		return s, err
	}
	all, err := b.PlantCounts(ctx, true)
	if err != nil {
		return s, err
	}
	names, err := b.fieldNames(ctx)
	if err != nil {
		return s, err
	}
	if field != "" && !slices.Contains(names, field) && !slices.ContainsFunc(all, func(c PlantCount) bool { return c.Field == field }) {
		return s, &Error{"", fmt.Errorf("%w: nothing was planted or counted in %q", ErrUnknown, field), "Say the field's name as the logbook has it"}
	}
	if len(all) == 0 || g == nil {
		s.Notes = append(s.Notes, "Nobody has counted yet. The walk list says where and when; counts come from the phone, from a file, or by hand.")
		return s, nil
	}
	year := func(c *PlantCount) string { return evenstand.DayOf(c.Time(), b.Zone()).Year() }
	if season == "" {
		for i := range all {
			season = max(season, year(&all[i]))
		}
	}
	s.Title += " in " + season
	if field != "" {
		s.Title = "Plants counted in " + field + ", " + season
	}
	v := o.Voice
	used := map[string]*countedAt{}
	for i := range g.counts {
		used[g.counts[i].c.ID] = &g.counts[i]
	}
	for i := range all {
		c := &all[i]
		if year(c) != season || field != "" && c.Field != field {
			continue
		}
		s.Counts = append(s.Counts, b.countLine(c, used[c.ID], v))
	}
	slices.SortStableFunc(s.Counts, func(x, y record.CountLine) int { return cmp.Compare(y.Time, x.Time) })
	fields := map[string]bool{}
	for i := range g.counts {
		if x := &g.counts[i]; x.season == season && (field == "" || x.c.Field == field) {
			fields[x.c.Field] = true
		}
	}
	for _, name := range sortedKeys(fields) {
		f, err := b.countField(ctx, season, name, g, r.days, v)
		if err != nil {
			return s, err
		}
		s.Fields = append(s.Fields, f)
	}
	if len(g.fit.Emerge) > 0 {
		q := spanOf(g.fit.Usual)
		s.Says = append(s.Says, fmt.Sprintf("On this farm a field that nobody has counted is reckoned with %.0f plants of 100 seeds (%.0f to %.0f), as %s of it say.", 100*float64(q.Mid), 100*float64(q.Low), 100*float64(q.High), advise.Plural(int64(len(g.fit.Emerge)), "counted field", "counted fields")),
			fmt.Sprintf("Single counts scatter by %.0f in 100 beside what chance does.", 100*stat.Median(g.fit.CV)))
	}
	s.Notes = append(s.Notes,
		"Ranges hold 8 times in 10. Fields lean on one another as far as they are alike; before there were counts it was what is common (R1). A count is held against the seeds logged on its rows, so it must lie on ground that was logged.",
		"How far fields differ, what doubted ground may have lost, and that one plant in two of a count is its own witness for late ones, is judgement.")
	return s, nil
}

func spanOf(xs []float64) evenstand.Range {
	at := func(p float64) evenstand.Number { return evenstand.Number(stat.Quantile(xs, p)) }
	return evenstand.Range{Low: at(0.1), Mid: at(0.5), High: at(0.9)}
}

// countLine is one count in words.
func (b *Book) countLine(c *PlantCount, x *countedAt, v advise.Voice) record.CountLine {
	f := record.CountFacts{Plants: math.NaN(), Late: math.NaN(), Per: math.NaN(), Seeds: math.NaN(), Depths: c.Depths}
	f.Line = record.CountLine{ID: c.ID, Time: c.Time(), Field: c.Field, Place: c.Place, Rows: c.Rows, Note: c.Note, Who: c.Who, Corrected: x == nil, Replaces: c.Replaces}
	if c.Latitude != nil {
		lat, lon := evenstand.Number(*c.Latitude), evenstand.Number(*c.Longitude)
		f.Line.Lat, f.Line.Lon = &lat, &lon
	}
	if c.Plants != nil {
		f.Plants = float64(*c.Plants)
	}
	if c.Late != nil {
		f.Late = float64(*c.Late)
	}
	if x != nil {
		f.Line.Unused = x.why
		if !math.IsNaN(x.seeds) {
			f.Seeds, f.Pass, f.Along, f.Rows = x.logged, x.pass, x.along, x.rows
		}
		f.Per = f.Plants / x.area
	}
	if math.IsNaN(f.Per) && c.Method == "hoop" { // needs no rows
		f.Per = f.Plants / c.Area(math.NaN())
	}
	return record.SayCount(f, v)
}

// countField is what counts say of a field.
func (b *Book) countField(ctx context.Context, season, name string, g *grown, days []DaySummary, v advise.Voice) (record.CountField, error) {
	unknown := evenstand.Range{Low: evenstand.Unknown, Mid: evenstand.Unknown, High: evenstand.Unknown}
	f := record.FieldFacts{Field: record.CountField{Field: name, Season: season, Emerge: unknown, Stand: unknown, Findings: []record.CountedFinding{}, Zones: []record.CountZone{}}, LateLoss: math.NaN()}
	for i := range g.counts {
		x := &g.counts[i]
		if x.season != season || x.c.Field != name || x.why != "" {
			continue
		}
		f.Field.Counts++
		if x.c.Late != nil {
			f.Late, f.Of = f.Late+float64(*x.c.Late), f.Of+float64(*x.c.Plants)
		}
	}
	if f.Of > 0 {
		f.LateLoss = relation.LateLoss(f.Late/f.Of, price.LateDays)
	}
	emerge := g.fit.Emerge[seasonField(season, name)]
	if emerge != nil {
		f.Field.Emerge = spanOf(emerge)
		var err error
		if f.Field.Stand, f.Field.Zones, err = b.countZones(ctx, season, name, g, emerge, days); err != nil {
			return f.Field, err
		}
	}
	for j := range g.claims {
		c := &g.claims[j]
		if c.Field != name || c.Day.Year() != season {
			continue
		}
		e := &g.fit.Claims[j]
		if e.In == 0 {
			continue
		}
		told := *c
		told.Causes = slices.Clone(c.Causes)
		advise.Fill(&told, v)
		says := fmt.Sprintf("Counted on its ground: %d, beside it: %d. Two of each at least tell something.", e.In, e.Out)
		if e.Told() {
			stand.Tell(&told, e, emerge, g.area[j], g.target[j])
			says = told.Counted.Says
		}
		f.Field.Findings = append(f.Field.Findings, record.CountedFinding{Finding: c.ID, Sentence: told.Sentence, Says: says, Told: e.Told()})
	}
	return record.SayCountField(f, v), nil
}

// thin is how far below the middle of a field its thin ground lies: there a stand
// is another question for planting again (judgement: 20k against 31k is what the
// tables tell apart).
const thin = 0.8

// leastZone is how much of a field a zone is at least.
const leastZone = 0.01

// countZones gives the stand of a field, and of its thin ground and the rest where
// there is thin ground.
func (b *Book) countZones(ctx context.Context, season, name string, g *grown, emerge []float64, days []DaySummary) (evenstand.Range, []record.CountZone, error) {
	of := slices.DeleteFunc(slices.Clone(days), func(d DaySummary) bool { return d.Day.Year() != season })
	cells, pieces, err := b.standing(ctx, of, &record.WalkList{Field: name}, g, nil)
	if err != nil || len(cells) == 0 {
		return evenstand.Range{Low: evenstand.Unknown, Mid: evenstand.Unknown, High: evenstand.Unknown}, []record.CountZone{}, err
	}
	stands, area := make([]float64, len(cells)), 0.0
	for i := range cells {
		stands[i] = cells[i].Stand
		area += cells[i].Area
	}
	bound := thin * stat.Median(stands)
	middle := stat.Median(emerge)
	zone := func(title string, in func(i int) bool) record.CountZone {
		z := record.CountZone{Name: title, Late: evenstand.Unknown}
		sum, a := 0.0, 0.0
		for i := range cells {
			if in(i) {
				sum += cells[i].Stand * cells[i].Area
				a += cells[i].Area
			}
		}
		z.Area = evenstand.Number(a)
		r := spanOf(emerge)
		at := func(e evenstand.Number) evenstand.Number { return evenstand.Number(sum / a * float64(e) / middle) }
		z.Stand = evenstand.Range{Low: at(r.Low), Mid: at(r.Mid), High: at(r.High)}
		late, plants := 0.0, 0.0
		for k := range g.counts {
			x := &g.counts[k]
			if x.why != "" || x.season != season || x.c.Field != name {
				continue
			}
			best, off := -1, math.Inf(1)
			for i := range pieces {
				e, n := pieces[i].frame.ToLocal(*x.c.Latitude, *x.c.Longitude)
				if d := math.Hypot(e-cells[i].X, n-cells[i].Y); d < off {
					best, off = i, d
				}
			}
			if best < 0 || !in(best) {
				continue
			}
			z.Counts++
			if x.c.Late != nil {
				late, plants = late+float64(*x.c.Late), plants+float64(*x.c.Plants)
			}
		}
		if plants > 0 {
			z.Late = evenstand.Number(late / plants)
		}
		return z
	}
	whole := zone("the field", func(int) bool { return true })
	low := zone("the thin ground", func(i int) bool { return cells[i].Stand < bound })
	if float64(low.Area) < leastZone*area {
		return whole.Stand, []record.CountZone{whole}, nil
	}
	return whole.Stand, []record.CountZone{low, zone("the rest", func(i int) bool { return cells[i].Stand >= bound })}, nil
}

// CountedZones gives the zones of a field for planting again, as the counts of its
// last season say, in the units of the logbook; none where nothing was counted.
func (b *Book) CountedZones(ctx context.Context, field string, o record.Options) ([]ReplantSpot, error) {
	if field == "" {
		return []ReplantSpot{}, nil
	}
	s, err := b.CountSheet(ctx, "", field, o)
	if err != nil {
		return nil, err
	}
	per := evenstand.Acre
	if b.Settings().Units == evenstand.Metric {
		per = evenstand.Hectare
	}
	round := func(x evenstand.Number) float64 { return 100 * math.Round(float64(x)*per/100) }
	out := []ReplantSpot{}
	for _, f := range s.Fields {
		if f.Field != field {
			continue
		}
		for _, z := range f.Zones {
			spot := ReplantSpot{Name: z.Name, Area: math.Round(10*float64(z.Area)/per) / 10, Stand: round(z.Stand.Mid), Low: round(z.Stand.Low), High: round(z.Stand.High)}
			if late := float64(z.Late); late > 0 {
				spot.Late, spot.Days = math.Round(100*late)/100, price.LateDays
			}
			out = append(out, spot)
		}
	}
	return out, nil
}

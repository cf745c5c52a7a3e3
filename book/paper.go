package book

import (
	"context"
	"fmt"
	"math"
	"math/cmplx"
	"slices"
	"strings"

	"evenstand"
	"evenstand/core/paper"
	"evenstand/core/record"
)

// PaperWish is which papers are asked for, of what, and who gets them.
type PaperWish struct {
	What  string        `json:"what"`  // all: those of whom it is for
	For   string        `json:"for"`   // empty: the logbook's own people
	Field string        `json:"field"` // empty: all
	From  evenstand.Day `json:"from"`  // empty: the last season
	To    evenstand.Day `json:"to"`
	With  paper.With    `json:"with"`
}

// papers is what papers are made of, each part of it asked once.
type papers struct {
	b       *Book
	w       PaperWish
	c       paper.Context
	o       record.Options
	all     []DaySummary // of the logbook
	days    []DaySummary // that are asked for
	year    string
	records []paper.Record
	acres   []paper.AcresLine
	sums    []paper.FieldSum
	list    *evenstand.Worklist
}

// Papers makes them, the same for command, page and print.
func (b *Book) Papers(ctx context.Context, w PaperWish, o record.Options) ([]paper.Document, error) {
	p, err := b.papers(ctx, w, o)
	if err != nil {
		return nil, err
	}
	var out []paper.Document
	for _, what := range p.what() {
		d, err := p.make(ctx, what)
		if err != nil {
			return nil, err
		}
		out = append(out, d)
	}
	return out, nil
}

// PaperRecords gives the application records that are asked for.
func (b *Book) PaperRecords(ctx context.Context, w PaperWish, o record.Options) ([]paper.Record, paper.Context, error) {
	w.What = "applications"
	p, err := b.papers(ctx, w, o)
	if err != nil {
		return nil, paper.Context{}, err
	}
	return p.records, p.c, nil
}

func (b *Book) papers(ctx context.Context, w PaperWish, o record.Options) (*papers, error) {
	fault := func(do, format string, a ...any) (*papers, error) {
		return nil, &Error{"", fmt.Errorf(format, a...), do}
	}
	p := &papers{b: b, w: w, o: o}
	var err error
	if p.c.For, err = paper.ForNamed(w.For); err != nil {
		return fault("evenstand paper BOOK lists who gets what", "%w", err)
	}
	if len(p.what()) == 0 {
		var names []string
		for _, k := range paper.What() {
			names = append(names, k.ID)
		}
		return fault("Say one of them, or all", "there is no paper %q: there are %s", w.What, strings.Join(names, ", "))
	}
	for _, d := range []evenstand.Day{w.From, w.To} {
		if d == "" {
			continue
		}
		if _, err := d.Start(b.Zone()); err != nil {
			return fault("Write it as 2026-05-02", "%q is no day", d)
		}
	}
	if p.all, err = b.Days(ctx); err != nil {
		return nil, err
	}
	if years := seasonsOf(p.all); len(years) > 0 {
		p.year = years[0]
	}
	if w.From == "" && w.To == "" && p.year != "" {
		w.From, w.To = evenstand.Day(p.year+"-01-01"), evenstand.Day(p.year+"-12-31")
	} else if w.To != "" {
		p.year = w.To.Year()
	} else if w.From != "" && w.From.Year() > p.year {
		p.year = w.From.Year()
	}
	p.w = w
	known := w.Field == "" || slices.ContainsFunc(b.Fields(), func(f evenstand.Field) bool { return f.Name == w.Field })
	asOf := evenstand.NoTime
	for _, d := range p.all {
		if d.Passes == 0 {
			continue
		}
		asOf = max(asOf, d.AsOf)
		known = known || slices.ContainsFunc(d.Planted, func(x Planted) bool { return x.Field == w.Field })
		if (w.From == "" || d.Day >= w.From) && (w.To == "" || d.Day <= w.To) {
			p.days = append(p.days, d)
		}
	}
	if !known {
		return fault("Say the field's name as the logbook has it", "%w: there is no field %q", ErrUnknown, w.Field)
	}
	rules, err := b.PaperRules()
	if err != nil {
		return nil, err
	}
	p.o.Page = true // no file and no command is named, so that all have the same words
	p.o.Voice.AsOf = 0
	p.c.Book, p.c.Voice, p.c.AsOf, p.c.Rules, p.c.With = b.Settings().Name, p.o.Voice, asOf, rules, w.With
	logged, err := b.applied(ctx, p.days, w.From, w.To, "")
	if err != nil {
		return nil, err
	}
	entries, err := b.PaperEntries(ctx)
	if err != nil {
		return nil, err
	}
	for _, e := range entries {
		p.c.AsOf = max(p.c.AsOf, e.At)
	}
	for _, r := range paper.Records(logged, entries, p.c) {
		if d := r.Logged.Day; w.From != "" && d < w.From || w.To != "" && d > w.To || w.Field != "" && r.Value("field") != w.Field && r.Logged.Field != w.Field {
			continue
		}
		p.records = append(p.records, r)
	}
	return p, nil
}

// what lists the papers that are asked for.
func (p *papers) what() []string {
	var out []string
	for _, k := range paper.What() {
		if p.w.What == k.ID || p.w.What == "all" && (p.c.For == nil || slices.Contains(p.c.For.What, k.ID)) {
			out = append(out, k.ID)
		}
	}
	return out
}

func (p *papers) make(ctx context.Context, what string) (paper.Document, error) {
	switch what {
	case "applications":
		return paper.Applications(p.records, p.c), nil
	case "posting":
		return paper.Posting(p.records, p.c), nil
	case "calibration":
		return p.calibration(ctx)
	case "day":
		return p.day(ctx)
	case "parts":
		return p.parts(ctx)
	}
	if err := p.ground(ctx); err != nil {
		return paper.Document{}, err
	}
	if what == "acres" {
		return paper.Acres(p.acres, p.c), nil
	}
	fs, err := p.findings(ctx)
	if err != nil {
		return paper.Document{}, err
	}
	if what == "field" {
		return paper.Fields(p.sums, p.acres, p.records, fs, p.o, p.c), nil
	}
	in := paper.SeasonInput{Year: p.year, Sums: p.sums, Acres: p.acres, Records: p.records, Findings: fs}
	days := map[evenstand.Day]bool{}
	for _, d := range p.days {
		days[d.Day] = true
		in.Seeds += d.Seeds
		if !slices.Contains(in.Planters, d.Planter) {
			in.Planters = append(in.Planters, d.Planter)
		}
	}
	in.Days = len(days)
	if len(p.days) == 0 {
		in.Year = ""
	}
	if p.c.Money() && in.Year != "" {
		if in.Cost, err = p.b.CostSheet(ctx, p.year, p.w.Field, false, p.o); err != nil {
			return paper.Document{}, err
		}
	}
	if p.w.Field == "" { // trials are of the whole season
		if in.Trials, err = p.b.Trials(ctx); err != nil {
			return paper.Document{}, err
		}
	}
	return paper.Season(in, p.o, p.c), nil
}

// ground gathers what was planted where.
func (p *papers) ground(ctx context.Context) error {
	if p.sums != nil {
		return nil
	}
	all, err := p.b.Ground(ctx)
	if err != nil {
		return err
	}
	in := map[string]bool{}
	asked := map[DayRef]bool{}
	for _, d := range p.days {
		asked[DayRef{d.Planter, d.Day}] = true
	}
	type of struct {
		field string
		day   DayRef
	}
	measured := map[of]bool{}
	p.sums = []paper.FieldSum{}
	nan := math.NaN()
	for i := range all {
		g := &all[i]
		if p.w.Field != "" && g.Field != p.w.Field {
			continue
		}
		for _, a := range g.Acres {
			ref := DayRef{a.Planter, a.Day}
			if a.Applied != evenstand.AppliedSeed.String() || !asked[ref] {
				continue
			}
			measured[of{g.Field, ref}] = true
			p.acres = append(p.acres, paper.AcresLine{Field: g.Field, Day: a.Day, Planter: a.Planter, Lot: a.Lot, Area: float64(a.Area), Again: float64(a.Area - a.First)})
			in[g.Field] = true
		}
		if in[g.Field] {
			once, left := float64(g.Inside), nan
			if math.IsNaN(once) {
				once = float64(g.Worked)
			} else {
				left = max(0, float64(g.Area)-once)
			}
			p.sums = append(p.sums, paper.FieldSum{Name: g.Field, Of: float64(g.Area), Planted: once, Left: left, Twice: float64(g.Twice), Heading: nan, Spacing: nan})
		}
	}
	for _, d := range p.days {
		ref := DayRef{d.Planter, d.Day}
		for _, x := range d.Planted {
			if measured[of{x.Field, ref}] || p.w.Field != "" && x.Field != p.w.Field {
				continue
			}
			p.acres = append(p.acres, paper.AcresLine{Field: x.Field, Day: d.Day, Planter: d.Planter, Area: float64(x.Area), Again: nan})
			if !in[x.Field] {
				in[x.Field] = true
				p.sums = append(p.sums, paper.FieldSum{Name: x.Field, Of: nan, Left: nan, Twice: nan, Heading: nan, Spacing: nan})
			}
			for i := range p.sums {
				if s := &p.sums[i]; s.Name == x.Field && math.IsNaN(s.Of) {
					s.Planted += float64(x.Area)
				}
			}
		}
	}
	ways := map[string]complex128{}
	for _, d := range p.days {
		passes, err := p.b.Passes(ctx, d.Planter, d.Day)
		if err != nil {
			return err
		}
		card, err := p.b.settledCard(d.Planter, d.Day)
		if err != nil {
			return err
		}
		for _, x := range passes {
			if !x.Headland && !math.IsNaN(x.Heading) { // there and back are the same
				ways[x.Field] += cmplx.Rect(x.S1-x.S0, 2*x.Heading*math.Pi/180)
			}
			for i := range p.sums {
				if s := &p.sums[i]; s.Name == x.Field {
					s.Rows, s.Spacing, s.Planter = card.Rows, card.RowSpacing, d.Planter
				}
			}
		}
	}
	for i := range p.sums {
		if w := ways[p.sums[i].Name]; w != 0 {
			p.sums[i].Heading = cmplx.Phase(w) * 90 / math.Pi
		}
	}
	return nil
}

func (p *papers) worklist(ctx context.Context) (*evenstand.Worklist, error) {
	if p.list == nil {
		w, err := p.b.Worklist(ctx, true)
		if err != nil {
			return nil, err
		}
		p.list = &w
	}
	return p.list, nil
}

// findings gives what stood out on the days and the field that are asked for, what
// is only suspected and passing trouble left out.
func (p *papers) findings(ctx context.Context) (out []evenstand.Finding, err error) {
	w, err := p.worklist(ctx)
	if err != nil {
		return nil, err
	}
	for _, f := range w.Findings {
		if f.Stage != evenstand.Raised || f.Kind == evenstand.KindUpset || madeWith(f.Kind) || slices.Contains(f.Say, record.NoLonger) ||
			p.w.From != "" && f.Day < p.w.From || p.w.To != "" && f.Day > p.w.To || p.w.Field != "" && f.Field != p.w.Field {
			continue
		}
		out = append(out, f)
	}
	return out, nil
}

func (p *papers) calibration(ctx context.Context) (paper.Document, error) {
	lines, err := p.b.Journal(ctx)
	if err != nil {
		return paper.Document{}, err
	}
	p.b.NotePlanters(lines)
	var notes []paper.NoteLine
	for i := range lines {
		l := &lines[i]
		day := evenstand.DayOf(l.Entry.T, p.b.Zone())
		// What was calibrated before the first field counts for its season.
		if l.TakenBack || p.w.From != "" && day < p.w.From || p.w.To != "" && day > p.w.To {
			continue
		}
		notes = append(notes, paper.NoteLine{T: l.Entry.T, Planter: l.Planter, What: l.Entry.What, Says: record.SayEntry(&l.Entry), Edits: l.Edits})
	}
	counts, err := p.b.PlantCounts(ctx, false)
	if err != nil {
		return paper.Document{}, err
	}
	for i := range counts {
		c := &counts[i]
		if day := evenstand.DayOf(c.Time(), p.b.Zone()); p.w.Field != "" && c.Field != p.w.Field || p.w.From != "" && day < p.w.From || p.w.To != "" && day > p.w.To {
			continue
		}
		what := "count"
		if c.Plants == nil {
			what = "dig"
		}
		l := p.b.countLine(c, &countedAt{c: *c, area: c.Area(math.NaN()), seeds: math.NaN()}, p.o.Voice)
		notes = append(notes, paper.NoteLine{T: c.Time(), Planter: c.Planter, What: what, Says: strings.Join(slices.DeleteFunc([]string{c.Field, c.Place, strings.TrimSuffix(l.Says, ".")}, func(s string) bool { return s == "" }), "; ")})
	}
	var products []string
	for i := range p.records {
		if name := p.records[i].Value("product"); !slices.Contains(products, name) {
			products = append(products, name)
		}
	}
	return paper.Calibration(notes, products, p.c), nil
}

func (p *papers) day(ctx context.Context) (paper.Document, error) {
	w, err := p.worklist(ctx)
	if err != nil {
		return paper.Document{}, err
	}
	where := ""
	if len(p.all) > 0 {
		left, err := p.b.LeftToPlant(ctx, p.all)
		if err != nil {
			return paper.Document{}, err
		}
		if where, err = p.b.Place(ctx, p.all, left, p.o.Voice); err != nil {
			return paper.Document{}, err
		}
	}
	h, ok, err := p.b.HandOver(ctx, *w, p.all, where, p.o)
	if err != nil {
		return paper.Document{}, err
	}
	return paper.Day(h, ok, p.c), nil
}

func (p *papers) parts(ctx context.Context) (paper.Document, error) {
	fs, err := p.findings(ctx)
	if err != nil {
		return paper.Document{}, err
	}
	last := map[string]evenstand.Day{}
	for _, d := range p.days {
		last[d.Planter] = max(last[d.Planter], d.Day)
	}
	var cards []evenstand.Card
	for _, name := range sortedKeys(last) {
		card, err := p.b.settledCard(name, last[name])
		if err != nil {
			return paper.Document{}, err
		}
		card.Name = name
		cards = append(cards, card)
	}
	return paper.Parts(cards, fs, p.o, p.c), nil
}

package book

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"slices"
	"strings"

	"evenstand"
	"evenstand/core/advise"
	"evenstand/core/ground"
	"evenstand/core/measure/cover"
	"evenstand/pipeline"
)

// fieldEntry is a field's ground in the manifest.
type fieldEntry struct {
	Field string    `json:"field"`
	From  string    `json:"made_from"` // a hash over everything that it depends on
	File  fileEntry `json:"file"`
}

// FieldGround is what the ground of a field shows.
type FieldGround struct {
	Field    string           `json:"field"`
	Area     evenstand.Number `json:"area_m2"`   // inside the boundary; null without one
	Worked   evenstand.Number `json:"worked_m2"` // planted at least once
	Inside   evenstand.Number `json:"inside_m2"` // of that inside the boundary; null without one
	Twice    evenstand.Number `json:"twice_m2"`  // planted more than once
	Error    evenstand.Number `json:"error_m2"`  // half-width of the 90 % interval of what is planted twice and left
	See      evenstand.Number `json:"see_m"`     // gaps and overlaps narrower than this are not seen
	Doubt    bool             `json:"doubt,omitempty"`
	Acres    []FieldAcres     `json:"acres"`
	Gaps     []Patch          `json:"gaps"`    // ground inside the boundary that was not planted, the largest first
	Overlaps []Patch          `json:"overlap"` // ground planted twice, the largest first
	More     int              `json:"more,omitempty"`
}

// FieldAcres is ground worked with something on a day.
type FieldAcres struct {
	Planter string           `json:"planter"`
	Day     evenstand.Day    `json:"day"`
	Applied string           `json:"applied"`
	Lot     string           `json:"lot,omitempty"` // of seed, as it was written down
	Area    evenstand.Number `json:"area_m2"`
	First   evenstand.Number `json:"first_m2"` // of it worked for the first time
	Error   evenstand.Number `json:"error_m2"`
}

// Patch is a piece of ground.
type Patch struct {
	Area   evenstand.Number `json:"area_m2"`
	Length evenstand.Number `json:"length_m"`
	Width  evenstand.Number `json:"width_m"`
	Border evenstand.Number `json:"border"`          // share of its outline along the boundary
	Strip  bool             `json:"strip,omitempty"` // of a gap: ground that a row or more should have planted, a piece of that finding
	Passes []string         `json:"passes,omitempty"`
	At     [2]float64       `json:"at"`    // a place within, longitude and latitude
	Rings  [][][2]float64   `json:"rings"` // the same, the outer ring first
}

type fieldJSON struct {
	Schema int `json:"schema"`
	FieldGround
	Findings []evenstand.Finding `json:"findings"`
}

// mostPatches of a kind are kept of a field.
const mostPatches = 2000

// deriveFields measures the ground of the fields whose days, boundary or card
// changed, and drops those that no day planted.
func (b *Book) deriveFields(ctx context.Context, rep *Report, tell func(Progress)) error {
	days, err := b.Days(ctx)
	if err != nil {
		return err
	}
	by := map[string][]fieldPart{}
	for _, d := range days {
		for _, p := range d.Planted {
			by[p.Field] = append(by[p.Field], fieldPart{d, p})
		}
	}
	last := map[string]string{} // by planter, the field of its last day's last pass
	for _, d := range days {
		if d.Passes == 0 {
			continue
		}
		ps, err := b.Passes(ctx, d.Planter, d.Day)
		if err != nil {
			return err
		}
		for _, p := range ps { // the road between fields is none
			if p.Field != evenstand.Unassigned {
				last[d.Planter] = p.Field
			}
		}
	}
	lots, err := b.lots(ctx)
	if err != nil {
		return ledgerError(b.path(ledgerName), err)
	}
	bounds := map[string]evenstand.Field{}
	for _, f := range b.Fields() {
		bounds[f.Name] = f
	}
	names := sortedKeys(by)
	if err := b.dropFields(by); err != nil {
		return writeError(b.dir, "dropping fields of which nothing is left", err)
	}
	for i, name := range names {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if name == evenstand.Unassigned { // it may be many fields, miles apart
			continue
		}
		parts := by[name]
		left := true
		sign := sha256.New()
		shape, err := json.Marshal(bounds[name])
		if err != nil {
			return err
		}
		fmt.Fprintf(sign, "ground 5\nfield %q\n%s\n", name, shape)
		for _, p := range parts {
			left = left && last[p.day.Planter] != name
			e := b.entry(p.day.Planter, p.day.Day)
			_, card := b.cardOn(p.day.Planter, p.day.Day)
			if e != nil {
				fmt.Fprintf(sign, "day %s %s\n", e.Folder, card)
			}
		}
		fmt.Fprintf(sign, "left %v\n", left)
		for _, p := range parts {
			_, _, end := dayBounds(nextDay(p.day.Day), b.Zone()) // a pass over midnight is of it
			for _, e := range lots[p.day.Planter] {
				if e.T >= end {
					continue
				}
				fmt.Fprintf(sign, "lot %d %s %q\n", e.T, e.Rows, e.Note)
			}
		}
		caps := b.Settings().Products
		for _, l := range caps {
			fmt.Fprintf(sign, "limit %q %s %g %g\n", l.Name, l.Applied, l.Pass, l.Season)
		}
		from := hex.EncodeToString(sign.Sum(nil))
		if slices.ContainsFunc(b.man.Fields, func(f fieldEntry) bool { return f.Field == name && f.From == from }) {
			continue
		}
		tell(Progress{Doing: "measuring the ground", Name: name, Done: int64(i), Total: int64(len(names))})
		w := pipeline.FieldWork{Field: evenstand.Field{Name: name}, Left: left, Rate: math.NaN(), Caps: caps}
		if f, ok := bounds[name]; ok {
			w.Field = f
		}
		area, seeds := 0.0, 0.0
		for _, p := range parts {
			d, err := b.fieldDay(ctx, p.day.Planter, p.day.Day, name, lots[p.day.Planter])
			if err != nil {
				return err
			}
			if len(caps) > 0 {
				if d.Doses, err = b.doses(ctx, &d); err != nil {
					return err
				}
			}
			w.Days = append(w.Days, d)
			area, seeds = area+float64(p.field.Area), seeds+float64(p.field.Seeds)
		}
		if area > 0 && seeds > 0 {
			w.Rate = seeds / area
		}
		res, err := settleField(w)
		if err != nil { // one field's ground does not keep the days back
			rep.Notes = append(rep.Notes, fmt.Sprintf("The ground of %s could not be measured: %v. Look at its boundary; what the rows did there stands all the same, and what was measured of it before.", name, err))
			continue
		}
		if res.Ground.Worked == 0 && slices.ContainsFunc(w.Days, func(d pipeline.FieldDay) bool { return len(d.Worked) > 0 }) {
			rep.Notes = append(rep.Notes, fmt.Sprintf("The ground of %s could not be measured: where its rows lie on the bar is not known. Write the spacing of the rows on the planter card.", name))
		}
		e, err := b.keepField(ctx, w, res, from)
		if err != nil {
			return writeError(b.dir, "keeping the ground of "+name, err)
		}
		man := b.man
		man.Fields = append(slices.DeleteFunc(slices.Clone(man.Fields), func(f fieldEntry) bool { return f.Field == name }), e)
		slices.SortFunc(man.Fields, func(x, y fieldEntry) int { return cmp.Compare(x.Field, y.Field) })
		if err := b.commit(man); err != nil { // a field by itself: what was measured stays when the next is stopped
			return writeError(b.dir, "naming the ground of "+name, err)
		}
	}
	return nil
}

// dropFields takes fields out of the manifest that no day planted any more.
func (b *Book) dropFields(planted map[string][]fieldPart) error {
	man := b.man
	man.Fields = slices.DeleteFunc(slices.Clone(man.Fields), func(f fieldEntry) bool { return len(planted[f.Field]) == 0 })
	if len(man.Fields) == len(b.man.Fields) {
		return nil
	}
	return b.commit(man)
}

// fieldPart is what one machine-day planted of a field.
type fieldPart struct {
	day   DaySummary
	field Planted
}

// settleField gives a fault in the measuring as an error.
func settleField(w pipeline.FieldWork) (res pipeline.FieldResult, err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("a fault in the program%s: %v", faultPlace(), r)
		}
	}()
	return pipeline.SettleField(w)
}

// lots gives what people wrote down of the seed in the boxes, by planter, in
// order of time.
func (b *Book) lots(ctx context.Context) (map[string][]evenstand.Entry, error) {
	planters, err := b.planters(ctx)
	if err != nil {
		return nil, err
	}
	out := map[string][]evenstand.Entry{}
	for _, p := range planters {
		for _, e := range p.hand {
			if e.What == "lot" {
				out[p.planter] = append(out[p.planter], e)
			}
		}
	}
	return out, nil
}

// fieldDay gives what a machine-day did in a field.
func (b *Book) fieldDay(ctx context.Context, planter string, day evenstand.Day, field string, lots []evenstand.Entry) (pipeline.FieldDay, error) {
	d := pipeline.FieldDay{Date: day, Planter: planter, Lots: lots}
	var err error
	if d.Card, err = b.settledCard(planter, day); err != nil {
		return d, err
	}
	passes, err := b.Passes(ctx, planter, day)
	if err != nil {
		return d, err
	}
	own := map[int32]bool{}
	for _, p := range passes {
		if p.Field != evenstand.Unassigned {
			d.Left = p.Field != field
		}
		if p.Field == field {
			d.Passes, own[p.Index] = append(d.Passes, p), true
		}
	}
	if d.Doubt, err = b.doubted(planter, day); err != nil {
		return d, err
	}
	worked, err := b.Worked(ctx, planter, day)
	if err != nil {
		return d, err
	}
	for _, w := range worked {
		if own[w.Pass] {
			d.Worked = append(d.Worked, w)
		}
	}
	if len(d.Worked) == 0 {
		return d, nil
	}
	err = b.Track(ctx, planter, day, func(ps []evenstand.TrackPoint) error {
		for _, p := range ps {
			if own[p.Pass] {
				d.Track = append(d.Track, p)
			}
		}
		return nil
	})
	return d, err
}

// doses gives what the passes of a field's day put on.
func (b *Book) doses(ctx context.Context, d *pipeline.FieldDay) (out []pipeline.Dose, err error) {
	own := map[int32]bool{}
	for _, p := range d.Passes {
		own[p.Index] = true
	}
	err = b.Stretches(ctx, d.Planter, d.Date, func(ss []evenstand.Stretch) error {
		out = pipeline.DosesOf(ss, out)
		return nil
	})
	return slices.DeleteFunc(out, func(x pipeline.Dose) bool { return !own[x.Pass] }), err
}

// settledCard gives the card that a machine-day was settled with: the planter's,
// completed by what its logs say.
func (b *Book) settledCard(planter string, day evenstand.Day) (evenstand.Card, error) {
	var sum summaryJSON
	b.mu.Lock()
	e := b.entry(planter, day)
	b.mu.Unlock()
	if e == nil {
		return b.Card(planter, day)
	}
	if err := b.load(e, summaryName, &sum); err != nil {
		return evenstand.Card{}, err
	}
	if sum.Card == nil || sum.Card.Rows == 0 { // a day that was settled before it was kept
		return b.Card(planter, day)
	}
	return *sum.Card.card(), nil
}

// doubted gives the passes of a machine-day on which places were found to be in
// doubt.
func (b *Book) doubted(planter string, day evenstand.Day) ([]evenstand.PassRef, error) {
	e := b.entry(planter, day)
	if e == nil {
		return nil, nil
	}
	var f findingsJSON
	if err := b.load(e, findingsName, &f); err != nil {
		return nil, err
	}
	var out []evenstand.PassRef
	for i := range f.Findings {
		x := &f.Findings[i]
		// While a box was silent nobody knows what was planted, or where.
		if (x.Kind == evenstand.KindPositionDoubt || x.Kind == evenstand.KindSourceSilent) && x.Stage == evenstand.Raised {
			out = append(out, x.Passes...)
		}
	}
	return out, nil
}

// keepField writes a field's ground, with the ids of its findings.
func (b *Book) keepField(ctx context.Context, w pipeline.FieldWork, res pipeline.FieldResult, from string) (fieldEntry, error) {
	byDay := map[DayRef][]int{}
	for i := range res.Findings {
		f := &res.Findings[i]
		ref := DayRef{f.Planter, f.Day}
		byDay[ref] = append(byDay[ref], i)
	}
	for _, d := range w.Days {
		ref := DayRef{d.Planter, d.Date}
		if len(byDay[ref]) == 0 {
			continue
		}
		fs := make([]evenstand.Finding, 0, len(byDay[ref]))
		for _, i := range byDay[ref] {
			f := res.Findings[i]
			f.Family = fieldFamily(&f, w.Field.Name)
			f.Rows = nil // rows come and go with the days; the field stays
			fs = append(fs, f)
		}
		if err := b.assignIDs(ctx, d.Planter, d.Date, fs); err != nil {
			return fieldEntry{}, ledgerError(b.path(ledgerName), err)
		}
		for k, i := range byDay[ref] {
			res.Findings[i].ID, res.Findings[i].Family = fs[k].ID, evenstand.Family(fs[k].Kind)
		}
	}
	for i := range res.Findings {
		if f := &res.Findings[i]; f.ID == "" {
			return fieldEntry{}, fmt.Errorf("a finding (%s) of %s on %s, which is no day of the field", f.Kind, f.Planter, f.Day)
		}
	}
	keys := pipeline.PassKeys(w.Days)
	g := &res.Ground
	out := fieldJSON{Schema: 1, Findings: res.Findings, FieldGround: FieldGround{
		Field: w.Field.Name, Area: number(g.Area), Worked: number(g.Worked), Inside: number(g.Inside), Twice: number(g.Twice), Error: number(g.Error), See: number(g.See), Doubt: g.Doubt,
		Acres: []FieldAcres{}, Gaps: leftOf(res), Overlaps: patches(res.Frame, g.Overlap, keys), More: max(0, len(g.Gaps)-mostPatches) + max(0, len(g.Overlap)-mostPatches),
	}}
	if out.Findings == nil {
		out.Findings = []evenstand.Finding{}
	}
	for _, a := range res.Acres {
		out.Acres = append(out.Acres, FieldAcres{a.Planter, a.Day, a.Applied.String(), a.Lot, number(a.Area), number(a.First), number(a.Error)})
	}
	text, err := toJSON(out)
	if err != nil {
		return fieldEntry{}, err
	}
	sum := hashBytes(text)
	e := fieldEntry{Field: w.Field.Name, From: from, File: fileEntry{Name: "field-" + slug(w.Field.Name) + "-" + sum[:8] + ".json", SHA256: sum, Size: int64(len(text))}}
	return e, b.disk.replace(b.path(dataDir, e.File.Name), b.path(tmpDir, e.File.Name), text)
}

// fieldFamily tells the findings of one field and day apart: those of other
// fields are others, and so is a row that comes out late from one that goes in
// late.
func fieldFamily(f *evenstand.Finding, field string) string {
	family := evenstand.Family(f.Kind)
	for _, e := range f.Evidence {
		if e.Name == "rows come out late by" {
			family += " out"
		}
		if f.Kind == evenstand.KindLabelCap && strings.HasPrefix(e.Name, "limit of ") { // of each product its own
			return family + " " + strings.ToLower(advise.Product(f)) + " of " + field
		}
	}
	return family + " of " + field
}

// leftOf gives the gaps of a field: the pieces of the finding about ground that was
// left, as they are measured for it, and what else there is.
func leftOf(res pipeline.FieldResult) []Patch {
	out := patches(res.Frame, res.Strips, nil)
	for i := range out {
		out[i].Strip = true
	}
	var rest []cover.Patch
	for _, g := range res.Ground.Gaps {
		if !slices.ContainsFunc(res.Strips, func(s cover.Patch) bool { return g.Polygon.Contains(s.Polygon.Within()) }) {
			rest = append(rest, g)
		}
	}
	out = append(out, patches(res.Frame, rest, nil)...)
	slices.SortStableFunc(out, func(a, b Patch) int { return cmp.Compare(b.Area, a.Area) })
	return out
}

func number(x float64) evenstand.Number { return evenstand.Number(x) }

func patches(f ground.Frame, ps []cover.Patch, keys []string) []Patch {
	out := []Patch{}
	for _, p := range ps[:min(len(ps), mostPatches)] {
		q := Patch{Area: number(p.Area), Length: number(p.Length), Width: number(p.Width), Border: number(p.Border)}
		w := p.Polygon.Within()
		lat, lon := f.ToGlobal(w[0], w[1])
		q.At = [2]float64{math.Round(lon*1e7) / 1e7, math.Round(lat*1e7) / 1e7}
		if keys != nil {
			q.Passes = []string{keys[p.Passes[0]], keys[p.Passes[1]]}
		}
		for _, r := range p.Polygon {
			var ring [][2]float64
			for _, c := range r {
				lat, lon := f.ToGlobal(c[0], c[1])
				// 7 digits are a centimetre
				ring = append(ring, [2]float64{math.Round(lon*1e7) / 1e7, math.Round(lat*1e7) / 1e7})
			}
			q.Rings = append(q.Rings, ring)
		}
		out = append(out, q)
	}
	return out
}

// loadField reads a field's ground.
func (b *Book) loadField(e *fieldEntry) (fieldJSON, error) {
	var f fieldJSON
	err := b.loadFieldAs(e, &f)
	return f, err
}

// loadFieldAs reads of it what a type takes.
func (b *Book) loadFieldAs(e *fieldEntry, into any) error {
	path := b.path(dataDir, e.File.Name)
	data, err := os.ReadFile(path)
	if err == nil {
		err = json.Unmarshal(data, into)
	}
	if err != nil {
		return &Error{path, fmt.Errorf("%w: %w", ErrCorrupt, err), "Say evenstand rebuild: everything under data can be made again"}
	}
	return nil
}

// Ground gives what the ground of the fields shows, by name.
func (b *Book) Ground(ctx context.Context) ([]FieldGround, error) {
	var out []FieldGround
	err := b.steady(func(man manifest, _ state) error {
		out = []FieldGround{}
		for i := range man.Fields {
			if ctx.Err() != nil {
				return ctx.Err()
			}
			f, err := b.loadField(&man.Fields[i])
			if err != nil {
				return err
			}
			out = append(out, f.FieldGround)
		}
		return nil
	})
	slices.SortFunc(out, func(x, y FieldGround) int { return cmp.Compare(x.Field, y.Field) })
	return out, err
}

// LeftToPlant gives what of each field with a boundary is still to plant, m2, by
// name. Where the field's ground was measured it is the area that no row went
// over; else the area less what the rows planted by their way, which knows
// neither overlaps nor what lies outside.
func (b *Book) LeftToPlant(ctx context.Context, days []DaySummary) (map[string]float64, error) {
	measured, err := b.fieldAreas(ctx)
	if err != nil {
		return nil, err
	}
	planted := map[string]float64{}
	for _, d := range days {
		for _, p := range d.Planted {
			if a := float64(p.Area); !math.IsNaN(a) {
				planted[p.Field] += a
			}
		}
	}
	left := map[string]float64{}
	for _, f := range b.Fields() {
		area, inside := ground.FieldArea(f), planted[f.Name]
		if m, ok := measured[f.Name]; ok {
			area, inside = float64(m.Area), float64(m.Inside)
		}
		left[f.Name] = max(0, area-inside)
	}
	return left, nil
}

// fieldArea is of a field's ground what needs no shapes.
type fieldArea struct {
	Field  string           `json:"field"`
	Area   evenstand.Number `json:"area_m2"`
	Worked evenstand.Number `json:"worked_m2"`
	Inside evenstand.Number `json:"inside_m2"`
}

// fieldAreas gives the areas of the fields whose ground was measured within a
// boundary.
func (b *Book) fieldAreas(ctx context.Context) (map[string]fieldArea, error) {
	var out map[string]fieldArea
	err := b.steady(func(man manifest, _ state) error {
		out = map[string]fieldArea{}
		for i := range man.Fields {
			if ctx.Err() != nil {
				return ctx.Err()
			}
			var f fieldArea
			if err := b.loadFieldAs(&man.Fields[i], &f); err != nil {
				return err
			}
			if f.Worked > 0 && !math.IsNaN(float64(f.Area)) && !math.IsNaN(float64(f.Inside)) {
				out[f.Field] = f
			}
		}
		return nil
	})
	return out, err
}

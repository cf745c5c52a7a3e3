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

	"evenstand"
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

// FieldAcres is ground worked for the first time with something on a day.
type FieldAcres struct {
	Planter string           `json:"planter"`
	Day     evenstand.Day    `json:"day"`
	Applied string           `json:"applied"`
	Lot     string           `json:"lot,omitempty"` // of seed, as it was written down
	Area    evenstand.Number `json:"area_m2"`
	Error   evenstand.Number `json:"error_m2"`
}

// Patch is a piece of ground.
type Patch struct {
	Area   evenstand.Number `json:"area_m2"`
	Length evenstand.Number `json:"length_m"`
	Width  evenstand.Number `json:"width_m"`
	Border evenstand.Number `json:"border"` // share of its outline along the boundary
	Passes []string         `json:"passes,omitempty"`
	Rings  [][][2]float64   `json:"rings"` // longitude and latitude, the outer ring first
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
	type part struct {
		day   DaySummary
		field Planted
	}
	by := map[string][]part{}
	for _, d := range days {
		for _, p := range d.Planted {
			by[p.Field] = append(by[p.Field], part{d, p})
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
		if len(ps) > 0 {
			last[d.Planter] = ps[len(ps)-1].Field
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
	man := b.man
	man.Fields = nil
	changed := false
	names := sortedKeys(by)
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
		fmt.Fprintf(sign, "ground 1\nfield %q\n%s\n", name, b.fieldSum)
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
			for _, e := range lots[p.day.Planter] {
				fmt.Fprintf(sign, "lot %d %s %q\n", e.T, e.Rows, e.Note)
			}
		}
		from := hex.EncodeToString(sign.Sum(nil))
		if k := slices.IndexFunc(b.man.Fields, func(f fieldEntry) bool { return f.Field == name && f.From == from }); k >= 0 {
			man.Fields = append(man.Fields, b.man.Fields[k])
			continue
		}
		tell(Progress{Doing: "measuring the ground", Name: name, Done: int64(i), Total: int64(len(names))})
		w := pipeline.FieldWork{Field: evenstand.Field{Name: name}, Left: left, Rate: math.NaN()}
		if f, ok := bounds[name]; ok {
			w.Field = f
		}
		area, seeds := 0.0, 0.0
		for _, p := range parts {
			d, err := b.fieldDay(ctx, p.day.Planter, p.day.Day, name, lots[p.day.Planter])
			if err != nil {
				return err
			}
			w.Days = append(w.Days, d)
			area, seeds = area+float64(p.field.Area), seeds+float64(p.field.Seeds)
		}
		if area > 0 && seeds > 0 {
			w.Rate = seeds / area
		}
		res, err := settleField(w)
		if err != nil { // one field's ground does not keep the days back
			rep.Notes = append(rep.Notes, fmt.Sprintf("The ground of %s could not be measured: %v. Look at its boundary; what the rows did there stands all the same.", name, err))
			continue
		}
		e, err := b.keepField(ctx, w, res, from)
		if err != nil {
			return writeError(b.dir, "keeping the ground of "+name, err)
		}
		man.Fields = append(man.Fields, e)
		changed = true
	}
	if !changed && len(man.Fields) == len(b.man.Fields) {
		return nil
	}
	man.Days, man.Sources = b.man.Days, b.man.Sources
	return writeError(b.dir, "naming the ground of fields", b.commit(man))
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
	if d.Card, err = b.Card(planter, day); err != nil {
		return d, err
	}
	passes, err := b.Passes(ctx, planter, day)
	if err != nil {
		return d, err
	}
	own := map[int32]bool{}
	for _, p := range passes {
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
		if x := &f.Findings[i]; x.Kind == evenstand.KindPositionDoubt && x.Stage == evenstand.Raised {
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
			f.Family += " of " + w.Field.Name // those of other fields of the day are others
			fs = append(fs, f)
		}
		if err := b.assignIDs(ctx, d.Planter, d.Date, fs); err != nil {
			return fieldEntry{}, ledgerError(b.path(ledgerName), err)
		}
		for k, i := range byDay[ref] {
			res.Findings[i] = fs[k]
			res.Findings[i].Family = evenstand.Family(fs[k].Kind)
		}
	}
	var keys []string
	for _, d := range w.Days {
		for _, p := range d.Passes {
			keys = append(keys, p.Key)
		}
	}
	g := &res.Ground
	out := fieldJSON{Schema: 1, Findings: res.Findings, FieldGround: FieldGround{
		Field: w.Field.Name, Area: number(g.Area), Worked: number(g.Worked), Inside: number(g.Inside), Twice: number(g.Twice), Error: number(g.Error), See: number(g.See), Doubt: g.Doubt,
		Acres: []FieldAcres{}, Gaps: patches(res.Frame, g.Gaps, nil), Overlaps: patches(res.Frame, g.Overlap, keys), More: max(0, len(g.Gaps)-mostPatches) + max(0, len(g.Overlap)-mostPatches),
	}}
	if out.Findings == nil {
		out.Findings = []evenstand.Finding{}
	}
	for _, a := range res.Acres {
		out.Acres = append(out.Acres, FieldAcres{a.Planter, a.Day, a.Applied.String(), a.Lot, number(a.Area), number(a.Error)})
	}
	text, err := toJSON(out)
	if err != nil {
		return fieldEntry{}, err
	}
	sum := hashBytes(text)
	e := fieldEntry{Field: w.Field.Name, From: from, File: fileEntry{Name: "field-" + slug(w.Field.Name) + "-" + sum[:8] + ".json", SHA256: sum, Size: int64(len(text))}}
	return e, b.disk.replace(b.path(dataDir, e.File.Name), b.path(tmpDir, e.File.Name), text)
}

func number(x float64) evenstand.Number { return evenstand.Number(x) }

func patches(f ground.Frame, ps []cover.Patch, keys []string) []Patch {
	out := []Patch{}
	for _, p := range ps[:min(len(ps), mostPatches)] {
		q := Patch{Area: number(p.Area), Length: number(p.Length), Width: number(p.Width), Border: number(p.Border)}
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
	path := b.path(dataDir, e.File.Name)
	data, err := os.ReadFile(path)
	if err == nil {
		err = json.Unmarshal(data, &f)
	}
	if err != nil {
		return f, &Error{path, fmt.Errorf("%w: %w", ErrCorrupt, err), "Say evenstand rebuild: everything under data can be made again"}
	}
	return f, nil
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

package web

import (
	"bytes"
	"context"
	"encoding/csv"
	"fmt"
	"math"
	"slices"
	"sort"
	"strconv"
	"strings"

	"evenstand"
	"evenstand/core/advise"
	"evenstand/core/ground"
	"evenstand/core/measure/group"
	"evenstand/core/record"
)

type groundIn struct {
	Measure string `query:"measure" doc:"Empty: the one that tells most"`
	Finding string `query:"finding" doc:"One that is shown also where the worklist would not list it"`
	GroundFilter
}

// GroundView is what the ground shows beside the cells of its tiles.
type GroundView struct {
	Measure    MeasureInfo       `json:"measure"`
	Title      string            `json:"title"`
	Says       string            `json:"says" doc:"The measure over all that is shown, in words; empty: nothing was logged of it"`
	Legend     Legend            `json:"legend"`
	Measures   []MeasureInfo     `json:"measures" doc:"Those that the data tell"`
	Tiles      string            `json:"tiles" doc:"Changes when the tiles do"`
	MaxZoom    int               `json:"max_zoom" doc:"Nearest level of the tiles"`
	Bounds     []float64         `json:"bounds" doc:"West, south, east, north; empty: nothing to show"`
	Opens      []float64         `json:"opens" doc:"What to show first: the same, or that of one field where fields lie far apart"`
	OpensOn    string            `json:"opens_on" doc:"That field; empty: all is shown"`
	Boundaries FeatureCollection `json:"boundaries"`
	Passes     FeatureCollection `json:"passes"`
	Findings   []GroundFinding   `json:"findings"`
	ByField    []FieldFigure     `json:"by_field"`
	Fields     []string          `json:"fields"`
	Days       []string          `json:"days"`
	Notes      []string          `json:"notes" doc:"What one should know of how it is drawn"`
}

// FeatureCollection is GeoJSON (RFC 7946) of polygons or lines.
type FeatureCollection struct {
	Type     string    `json:"type" enum:"FeatureCollection"`
	Features []Feature `json:"features"`
}

// Feature is one shape of it.
type Feature struct {
	Type       string            `json:"type" enum:"Feature"`
	Properties map[string]string `json:"properties"`
	Geometry   Geometry          `json:"geometry"`
}

// Geometry is where it lies.
type Geometry struct {
	Type        string `json:"type" enum:"MultiPolygon,LineString,MultiLineString"`
	Coordinates any    `json:"coordinates"`
}

// GroundFinding is a finding where it lies: the place to mark, and the way that
// its rows went meanwhile.
type GroundFinding struct {
	ID       string    `json:"id"`
	Kind     string    `json:"kind"`
	Sentence string    `json:"sentence"`
	Measure  string    `json:"measure" doc:"That shows it; empty: none"`
	Field    string    `json:"field" doc:"Where the place to mark is"`
	Lat      float64   `json:"lat"`
	Lon      float64   `json:"lon"`
	Way      Geometry  `json:"way"`
	Bounds   []float64 `json:"bounds" doc:"What to look at: west, south, east, north; empty: the way"`
	Left     bool      `json:"left" doc:"Ground that was not planted shows it"`
	Twice    bool      `json:"twice" doc:"Ground planted twice shows it"`
	Patch    string    `json:"patch" doc:"Id of the largest piece that it is about; empty: none alone"`
}

// FieldFigure is a field's figure, or that of all together, with an empty name.
type FieldFigure struct {
	Field  string           `json:"field"`
	Area   evenstand.Number `json:"area_m2" doc:"Planted"`
	Acres  string           `json:"area" doc:"In words"`
	Value  evenstand.Number `json:"value"`
	Low    evenstand.Number `json:"low"`
	High   evenstand.Number `json:"high"`
	N      evenstand.Number `json:"n"`
	Few    bool             `json:"few"`
	Says   string           `json:"says"`
	Bounds []float64        `json:"bounds" doc:"West, south, east, north"`
}

func (s *Server) groundView(ctx context.Context, in *groundIn) (GroundView, error) {
	g, err := s.season(ctx)
	if err != nil {
		return GroundView{}, err
	}
	found, err := s.groundFindings(ctx, g, in)
	if err != nil {
		return GroundView{}, err
	}
	out := GroundView{
		Tiles: fmt.Sprintf("%s-%d", s.began, s.told.Load()), MaxZoom: maxTile, Bounds: []float64{}, Opens: []float64{}, Measures: []MeasureInfo{}, Findings: found,
		Boundaries: FeatureCollection{"FeatureCollection", []Feature{}}, Passes: FeatureCollection{"FeatureCollection", []Feature{}},
		Fields: []string{}, Days: []string{}, Notes: []string{},
	}
	told := g.told()
	for _, m := range group.Measures() {
		if told[m.ID] {
			out.Measures = append(out.Measures, s.measureInfo(&m))
		}
	}
	m, k, err := shownMeasure(told, found, in)
	if err != nil {
		return GroundView{}, err
	}
	out.Measure, out.Legend = s.measureInfo(&m), s.legend(&m, g.scales[k])
	e := s.extent(g, &in.GroundFilter)
	s.groundShapes(g, in, &e, &out)
	if out.ByField, err = s.byField(ctx, g, in, &e, &m, k); err != nil {
		return out, err
	}
	out.Title = advise.Capital(m.Label)
	if in.Field != "" {
		out.Title += ", " + in.Field
	}
	if n := len(out.ByField); n > 0 {
		if last := out.ByField[n-1]; !math.IsNaN(float64(last.Value)) {
			link := ", "
			if strings.HasPrefix(m.Of, "of ") || strings.HasPrefix(m.Of, "on ") {
				link = " "
			}
			out.Says = last.Says + link + m.Of
		}
	}
	return out, nil
}

// told gives the measures that the data tell.
func (g *season) told() map[string]bool {
	out := map[string]bool{}
	for k, m := range group.Measures() {
		out[m.ID] = slices.ContainsFunc(g.days, func(d *groundDay) bool { return d.columns[k].n != nil })
	}
	return out
}

// shownMeasure is the measure asked for, or the one to begin with.
func shownMeasure(told map[string]bool, found []GroundFinding, in *groundIn) (group.Measure, int, error) {
	id := in.Measure
	if id == "" {
		id = opening(told, found, in.Finding)
	}
	m, k, ok := measureAt(id)
	if !ok {
		return m, k, refuse(fmt.Sprintf("there is no measure %q", id))
	}
	return m, k, nil
}

// opening is the measure to begin with: that of the finding asked for, else the
// share of the way off the ground where it is known, else that of the first
// finding, else the first.
func opening(told map[string]bool, found []GroundFinding, asked string) string {
	for i := range found {
		if f := &found[i]; f.ID == asked && told[f.Measure] {
			return f.Measure
		}
	}
	if told["wheel-off"] {
		return "wheel-off"
	}
	for i := range found {
		if told[found[i].Measure] {
			return found[i].Measure
		}
	}
	for _, m := range group.Measures() {
		if told[m.ID] {
			return m.ID
		}
	}
	return "skips"
}

// groundShapes fills boundaries, passes, bounds and what there is to choose
// from.
func (s *Server) groundShapes(g *season, in *groundIn, e *extent, out *GroundView) {
	unknown, bare := 0, false
	for _, d := range g.days {
		if !slices.Contains(out.Days, string(d.day)) {
			out.Days = append(out.Days, string(d.day))
		}
		bare = bare || math.IsNaN(d.spacing)
		for i := range d.passes {
			p := &d.passes[i]
			if !slices.Contains(out.Fields, p.pass.Field) {
				out.Fields = append(out.Fields, p.pass.Field)
			}
			if p.nodes == nil && p.stretchN > 0 {
				unknown++
			}
		}
	}
	g.each(&in.GroundFilter, func(_ *groundDay, p *groundPass) {
		out.Passes.Features = append(out.Passes.Features, Feature{
			"Feature",
			map[string]string{"key": p.pass.Key, "number": strconv.Itoa(p.pass.Number)},
			Geometry{"LineString", p.line(0, float64(p.stretchN), 0)},
		})
	})
	for _, f := range e.fields {
		out.Boundaries.Features = append(out.Boundaries.Features, Feature{"Feature", map[string]string{"field": f.Name}, Geometry{"MultiPolygon", f.Polygons}})
	}
	if !e.all.empty() {
		first, on := e.opens(g, &in.GroundFilter, out.Findings)
		out.Bounds, out.Opens, out.OpensOn = e.all.degrees(), first.degrees(), on
	}
	if unknown > 0 {
		out.Notes = append(out.Notes, advise.Plural(int64(unknown), "pass is", "passes are")+" not drawn: no positions were logged for "+map[bool]string{true: "it", false: "them"}[unknown == 1]+".")
	}
	if bare {
		out.Notes = append(out.Notes, "The row spacing is not known: rows are drawn "+s.voice().Length(drawnSpacing)+" apart.")
	}
}

// extent is where all lies that a filter lets through.
type extent struct {
	all    box
	of     map[string]*box   // by field
	fields []evenstand.Field // that it lies on
}

func (s *Server) extent(g *season, f *GroundFilter) extent {
	e := extent{all: noBox(), of: map[string]*box{}}
	of := func(field string) *box {
		b := e.of[field]
		if b == nil {
			n := noBox()
			b = &n
			e.of[field] = b
		}
		return b
	}
	g.each(f, func(_ *groundDay, p *groundPass) { of(p.pass.Field).join(p.box) })
	for _, f := range s.book.Fields() {
		b := e.of[f.Name]
		if b == nil {
			continue
		}
		e.fields = append(e.fields, f)
		for _, poly := range f.Polygons {
			for _, ring := range poly {
				for _, c := range ring {
					x, y := mercator(c[1], c[0])
					b.add(x, y, 0)
				}
			}
		}
	}
	for _, b := range e.of {
		e.all.join(*b)
	}
	return e
}

// scattered is the share of the whole box that the fields' boxes fill under
// which they are specks in it, and one of them is shown first. By judgement.
const scattered = 0.25

// opens gives what is shown first, and the field of it where that is not all:
// the one of the head finding, else of the last pass.
func (e *extent) opens(g *season, f *GroundFilter, found []GroundFinding) (box, string) {
	filled := 0.0
	for _, b := range e.of {
		filled += b.area()
	}
	if len(e.of) < 2 || filled >= scattered*e.all.area() {
		return e.all, ""
	}
	field, last := "", evenstand.NoTime
	if len(found) > 0 {
		field = found[0].Field
	} else {
		g.each(f, func(_ *groundDay, p *groundPass) {
			if p.pass.Start > last {
				field, last = p.pass.Field, p.pass.Start
			}
		})
	}
	return *e.of[field], field
}

// lineError is how far, in metres, a drawn line may lie off the way driven.
const lineError = 0.5

// line gives the way from one place to another (both in stretches) y m right of
// the bar's centre, longitude and latitude, with no more points than it needs.
func (p *groundPass) line(from, to, y float64) [][2]float64 {
	var ls []ground.Point
	add := func(k float64) {
		n := p.place(k)
		x, yy := n.side(y)
		ls = append(ls, ground.Point{x, yy})
	}
	add(from)
	for k := int(from) + 1; float64(k) < to; k++ {
		add(float64(k))
	}
	add(to)
	first := &p.nodes[0]
	ls = ground.Thin(ls, lineError*math.Hypot(first.rx, first.ry))
	out := make([][2]float64, len(ls))
	for i, q := range ls {
		lat, lon := fromMercator(q[0], q[1])
		out[i] = [2]float64{math.Round(lon*1e7) / 1e7, math.Round(lat*1e7) / 1e7}
	}
	return out
}

// place gives the node at a place counted in stretches.
func (p *groundPass) place(k float64) node {
	i := max(0, min(len(p.nodes)-2, int(k)))
	f := max(0, min(1, k-float64(i)))
	a, b := &p.nodes[i], &p.nodes[i+1]
	mid := func(x, y float64) float64 { return x + (y-x)*f }
	return node{mid(a.x, b.x), mid(a.y, b.y), mid(a.rx, b.rx), mid(a.ry, b.ry), a.t + evenstand.Micros(f*float64(b.t-a.t))}
}

// metres turns a place counted in stretches, of which the last may be shorter,
// into metres from the pass's start.
func (p *groundPass) metres(k float64) float64 {
	i := math.Floor(min(k, float64(p.stretchN-1)))
	from := i * evenstand.StretchLength
	return from + (k-i)*min(evenstand.StretchLength, p.pass.S1-p.pass.S0-from)
}

// when gives the place at a time, in stretches, held at the ends.
func (p *groundPass) when(t evenstand.Micros) float64 {
	n := len(p.nodes)
	i := sort.Search(n, func(i int) bool { return p.nodes[i].t >= t })
	switch {
	case i == 0:
		return 0
	case i == n:
		return float64(n - 1)
	}
	a, b := p.nodes[i-1].t, p.nodes[i].t
	return float64(i-1) + float64(t-a)/float64(b-a)
}

// mostWays is on how many passes a finding's way is drawn.
const mostWays = 200

// groundFindings gives the findings of the worklist that lie on passes shown.
func (s *Server) groundFindings(ctx context.Context, g *season, in *groundIn) ([]GroundFinding, error) {
	all, err := s.allFindings(ctx)
	if err != nil {
		return nil, err
	}
	tells, err := s.tellings(ctx)
	if err != nil {
		return nil, err
	}
	type at struct {
		d *groundDay
		p *groundPass
	}
	shown := map[string]at{}
	g.each(&in.GroundFilter, func(d *groundDay, p *groundPass) { shown[p.pass.Key] = at{d, p} })
	short := record.Listed(all).Findings
	if in.Finding != "" && !slices.ContainsFunc(short, func(f evenstand.Finding) bool { return f.ID == in.Finding }) {
		if f, err := record.Find(all.Findings, in.Finding); err == nil {
			short = append(short, f)
		}
	}
	out := []GroundFinding{}
	for i := range short {
		f := &short[i]
		ways := [][][2]float64{}
		mark, longest, field := node{}, -1.0, ""
		for _, r := range f.Passes {
			x, ok := shown[r.Key]
			if !ok || len(ways) == mostWays {
				continue
			}
			p := x.p.pass
			until := p.End
			if f.Until != nil {
				until = min(until, *f.Until)
			}
			from, to := x.p.when(max(f.Since, p.Start)), x.p.when(until)
			y := x.d.middle(f.Rows)
			if to-from < 0.2 { // at least some metres of it
				from, to = max(0, from-0.1), min(float64(x.p.stretchN), to+0.1)
			}
			ways = append(ways, x.p.line(from, to, y))
			if to-from > longest {
				longest, field = to-from, p.Field
				mark = x.p.place((from + to) / 2)
				mark.x, mark.y = mark.side(y)
			}
		}
		if len(ways) == 0 {
			continue
		}
		lat, lon := fromMercator(mark.x, mark.y)
		t := tells(f.Planter, f.Day)
		of := GroundFinding{ID: f.ID, Kind: f.Kind, Sentence: f.Sentence, Measure: t.instead(measureOf[f.Kind]), Field: field, Lat: lat, Lon: lon, Way: Geometry{"MultiLineString", ways}, Bounds: []float64{}}
		if err := s.onPatch(ctx, f, &of); err != nil {
			return nil, err
		}
		out = append(out, of)
	}
	return out, nil
}

// onPatch puts a finding about the ground of its field on the piece that it is
// about: where ground was not planted, the passes beside it did nothing wrong.
func (s *Server) onPatch(ctx context.Context, f *evenstand.Finding, of *GroundFinding) error {
	of.Left, of.Twice = groundShown(f.Kind)
	if f.Kind == evenstand.KindOverlap || f.Kind == evenstand.KindLateSection { // its pieces show it, at the ends of passes
		of.Bounds = of.Way.bounds()
		of.Way.Coordinates = [][][2]float64{}
	}
	p, kind, err := s.headOf(ctx, f)
	if err != nil || p == nil {
		return err
	}
	lat, lon, ok := within(p)
	if !ok {
		return nil
	}
	of.Field, of.Lat, of.Lon = f.Field, lat, lon
	ix, err := s.allPasses(ctx)
	if err != nil {
		return err
	}
	piece := s.patch(s.voice(), f.Field, kind, p, &ix).Properties
	of.Patch = piece.ID
	if kind == kindLeft {
		of.Bounds = piece.Bounds
		of.Way.Coordinates = [][][2]float64{}
	}
	return nil
}

// bounds gives west, south, east and north of lines.
func (g *Geometry) bounds() []float64 {
	lines, _ := g.Coordinates.([][][2]float64)
	var out []float64
	for _, l := range lines {
		for _, c := range l {
			if out == nil {
				out = []float64{c[0], c[1], c[0], c[1]}
			}
			out = []float64{min(out[0], c[0]), min(out[1], c[1]), max(out[2], c[0]), max(out[3], c[1])}
		}
	}
	return some(out)
}

// middle gives the middle of some rows right of the bar's centre, 0 for all.
func (d *groundDay) middle(rows evenstand.Rows) float64 {
	sum, n := 0.0, 0
	for _, r := range rows {
		if r >= 1 && r <= len(d.y) {
			sum += d.y[r-1]
			n++
		}
	}
	if n == 0 {
		return 0
	}
	return sum / float64(n)
}

// byField gives the measure of each field, and behind them of all.
func (s *Server) byField(ctx context.Context, g *season, in *groundIn, e *extent, m *group.Measure, k int) ([]FieldFigure, error) {
	sums := map[string]*group.Sum{}
	names := []string{}
	var total group.Sum
	for _, d := range g.days {
		c := &d.columns[k]
		one := season{days: []*groundDay{d}}
		one.each(&in.GroundFilter, func(d *groundDay, p *groundPass) {
			sum := sums[p.pass.Field]
			if sum == nil {
				sum = new(group.Sum)
				sums[p.pass.Field] = sum
				names = append(names, p.pass.Field)
			}
			if c.n == nil {
				return
			}
			for row := range p.rows {
				for j := range p.stretchN {
					i := p.cells + row*p.stretchN + j
					if c.n[i] > 0 {
						sum.AddPart(c.part(i), p.pass.Index, int16(row+1), int32(j), d.at)
					}
				}
			}
		})
	}
	days, err := s.allDays(ctx)
	if err != nil {
		return nil, err
	}
	area := map[string]float64{}
	for _, d := range days {
		day := string(d.Day)
		if in.Planter != "" && d.Planter != in.Planter || in.From != "" && day < in.From || in.To != "" && day > in.To {
			continue
		}
		for _, p := range d.Planted {
			if a := float64(p.Area); !math.IsNaN(a) {
				area[p.Field] += a
			}
		}
	}
	out := []FieldFigure{}
	whole := 0.0
	for _, name := range names {
		total.Merge(sums[name])
		whole += area[name]
		out = append(out, s.fieldFigure(name, area[name], m, sums[name], e.of[name]))
	}
	return append(out, s.fieldFigure("", whole, m, &total, &e.all)), nil
}

func (s *Server) fieldFigure(name string, area float64, m *group.Measure, sum *group.Sum, lies *box) FieldFigure {
	v, f := s.voice(), sum.Figure(m)
	bounds := []float64{}
	if !lies.empty() {
		bounds = lies.degrees()
	}
	return FieldFigure{
		name, evenstand.Number(area), v.Area(area), evenstand.Number(f.Value), evenstand.Number(f.Low), evenstand.Number(f.High), evenstand.Number(f.N), f.Few, says(v, m.Unit, f), bounds,
	}
}

// groundCSV is the fields as a table, in the units shown.
func (s *Server) groundCSV(ctx context.Context, in *groundIn) ([]byte, error) {
	view, err := s.groundView(ctx, in)
	if err != nil {
		return nil, err
	}
	a, area := view.Measure.Axis, axis(s.voice(), "m2")
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	_ = w.Write([]string{"field", "area (" + area.Unit + ")", view.Measure.ID + " (" + a.Unit + ")", "low", "high", "n"})
	for _, f := range view.ByField {
		name := f.Field
		if name == "" {
			name = "all"
		}
		_ = w.Write([]string{name, area.cell(f.Area), a.cell(f.Value), a.cell(f.Low), a.cell(f.High), strconv.FormatFloat(float64(f.N), 'g', 6, 64)})
	}
	w.Flush()
	return b.Bytes(), w.Error()
}

type groundAtIn struct {
	Lat     float64 `query:"lat" required:"true" minimum:"-85" maximum:"85"`
	Lon     float64 `query:"lon" required:"true" minimum:"-180" maximum:"180"`
	Measure string  `query:"measure" doc:"That is told first"`
	GroundFilter
}

// GroundAt is what is at a place: the row and pass that planted it last, and
// what was measured there.
type GroundAt struct {
	Found  bool             `json:"found"`
	Says   string           `json:"says" doc:"Where and when, in words"`
	Pass   string           `json:"pass" doc:"Its key"`
	Row    int              `json:"row"`
	S      float64          `json:"s_m"`
	Time   evenstand.Micros `json:"time"`
	From   float64          `json:"from_m" doc:"A piece of the pass around it, for the ribbon"`
	To     float64          `json:"to_m"`
	Values []ValueAt        `json:"values"`
}

// ValueAt is one measure of the stretch of the row there.
type ValueAt struct {
	Measure string           `json:"measure"`
	Label   string           `json:"label"`
	Value   evenstand.Number `json:"value"`
	Says    string           `json:"says"`
}

// around is how much of a pass is shown to each side of a place, m.
const around = 30

func (s *Server) groundAt(ctx context.Context, in *groundAtIn) (GroundAt, error) {
	g, err := s.season(ctx)
	if err != nil {
		return GroundAt{}, err
	}
	x, y := mercator(in.Lat, in.Lon)
	out := GroundAt{Says: "Nothing was planted here.", Time: evenstand.NoTime, Values: []ValueAt{}}
	var d *groundDay
	var p *groundPass
	g.each(&in.GroundFilter, func(dd *groundDay, pp *groundPass) {
		if !pp.box.meets(box{x, y, x, y}) {
			return
		}
		if row, k, ok := pp.find(dd, x, y); ok {
			d, p, out.Row = dd, pp, row
			out.S = pp.metres(k)
			out.Time = pp.place(k).t
		}
	})
	if p == nil {
		return out, nil
	}
	v := s.voice()
	info := s.passInfo(p.pass, d.day)
	out.Found, out.Pass = true, p.pass.Key
	out.From, out.To = max(0, out.S-around), min(p.pass.S1-p.pass.S0, out.S+around)
	out.Says = fmt.Sprintf("Row %d, pass %d, %s, %s, %s along", out.Row, info.Number, p.pass.Field, v.Second(out.Time), v.Length(out.S))
	i := p.cells + (out.Row-1)*p.stretchN + min(p.stretchN-1, int(out.S/evenstand.StretchLength))
	for k, m := range group.Measures() {
		c := &d.columns[k]
		if c.n == nil || out.Row > p.rows {
			continue
		}
		part := c.part(i)
		value, ok := m.Value(part)
		if !ok {
			continue
		}
		f := group.Figure{Value: value}
		f.Low, f.High, _ = m.Chance(part)
		at := ValueAt{m.ID, m.Label, evenstand.Number(value), says(v, m.Unit, f)}
		if m.ID == in.Measure {
			out.Values = slices.Insert(out.Values, 0, at)
		} else {
			out.Values = append(out.Values, at)
		}
	}
	return out, nil
}

// find tells which row of a pass lies at a place of Mercator's square, and where
// along, in stretches.
func (p *groundPass) find(d *groundDay, x, y float64) (row int, k float64, ok bool) {
	const slack = 0.02 // of a stretch: outer sides of bends
	best := math.Inf(1)
	for i := range p.stretchN {
		a, b := &p.nodes[i], &p.nodes[i+1]
		dx, dy := b.x-a.x, b.y-a.y
		long := dx*dx + dy*dy
		if long == 0 {
			continue
		}
		f := ((x-a.x)*dx + (y-a.y)*dy) / long
		if f < -slack || f > 1+slack {
			continue
		}
		f = max(0, min(1, f))
		n := p.place(float64(i) + f)
		right := ((x-n.x)*n.rx + (y-n.y)*n.ry) / (n.rx*n.rx + n.ry*n.ry)
		for r, at := range d.y {
			if off := math.Abs(right - at); off <= d.wide/2+0.02 && off < best {
				best, row, k, ok = off, r+1, float64(i)+f, true
			}
		}
	}
	return row, k, ok
}

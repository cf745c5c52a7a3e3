package give

import (
	"context"
	"math"
	"slices"
	"sort"
	"strconv"
	"strings"

	"evenstand"
	"evenstand/book"
	"evenstand/core/ground"
	"evenstand/format/table"

	"github.com/peterstace/simplefeatures/geom"
)

// Columns that most tables have.
var (
	timeColumn    = at("time", table.Instant, "UTC, on the one clock")
	dayColumn     = at("day", table.Words, "local day of the logbook's zone")
	planterColumn = wide("planter", 80, "planter")
	fieldColumn   = wide("field", 80, "field; empty: outside of every boundary")
	passColumn    = at("pass", table.Number, "number of the pass in its field and day, as shown")
	keyColumn     = wide("pass_key", 120, "planter and start of the pass, which stays the same")
	rowColumn     = at("row", table.Number, "row, from 1 at the left, looking ahead")
)

var seedColumns = []Column{
	lon, lat, timeColumn, dayColumn, planterColumn, fieldColumn, passColumn, keyColumn, rowColumn,
	at("s_m", table.Number, "m along the way of the bar's centre, from the start of the pass"),
	at("gap_m", table.Number, "m to the seed before, along the row's own way"),
	at("class", table.Words, "class of that gap (ISO 7256-1): multiple, single, skip"),
	at("missing", table.Number, "places before it that should have held a seed"),
	at("double", table.Flag, "it shared its place on the disc with the seed before"),
	at("cell", table.Number, "place on the disc, from 0; empty: the rhythm could not be read"),
}

var classes = map[evenstand.Class]string{evenstand.Multiple: "multiple", evenstand.Single: "single", evenstand.Skip: "skip"}

// field gives the name of a field as it is handed out.
func field(name string) string {
	if name == evenstand.Unassigned {
		return ""
	}
	return name
}

// place is what the columns of a pass hold.
func (r *run) place(from int, d *book.DaySummary, p *evenstand.Pass) {
	r.cells[from] = words(string(d.Day))
	r.cells[from+1] = words(d.Planter)
	r.cells[from+2] = words(field(p.Field))
	r.cells[from+3] = whole(p.Number)
	r.cells[from+4] = words(p.Key)
}

// ways gives the way of each pass of a day, made when it is asked for.
type ways struct {
	r    *run
	d    *book.DaySummary
	card evenstand.Card
	of   map[int32]*ground.Way
}

func (r *run) waysOf(d *book.DaySummary) (*ways, error) {
	card, err := r.b.Card(d.Planter, d.Day)
	return &ways{r, d, card, map[int32]*ground.Way{}}, err
}

func (w *ways) pass(ctx context.Context, p *evenstand.Pass) (*ground.Way, error) {
	if way := w.of[p.Index]; way != nil {
		return way, nil
	}
	pts, err := w.r.b.PassTrack(ctx, w.d.Planter, w.d.Day, p)
	if err != nil {
		return nil, err
	}
	for i := range pts {
		pts[i].S -= p.S0
	}
	way := ground.NewWay(pts)
	w.of[p.Index] = way
	return way, nil
}

// put enters the place of a row s m from the start of a pass.
func (w *ways) put(way *ground.Way, s float64, row int) {
	la, lo, _, _ := way.At(s, w.card.Y(row))
	w.r.cells[0], w.r.cells[1] = degrees(lo), degrees(la)
}

func (r *run) seeds(ctx context.Context) error {
	var seeds []evenstand.PlacedSeed
	return r.days(ctx, func(d *book.DaySummary) error {
		ways, err := r.waysOf(d)
		if err != nil {
			return err
		}
		passes, err := r.b.Passes(ctx, d.Planter, d.Day)
		if err != nil {
			return err
		}
		for i := range passes {
			p := &passes[i]
			if !r.f.field(p.Field) {
				continue
			}
			way, err := ways.pass(ctx, p)
			if err != nil {
				return err
			}
			clear(ways.of) // each pass is asked for once
			if seeds, err = r.b.Seeds(ctx, seeds[:0], d.Planter, d.Day, p.Index); err != nil {
				return err
			}
			r.place(3, d, p)
			for j := range seeds {
				s := &seeds[j]
				ways.put(way, float64(s.S)/1000, int(s.Row))
				r.cells[2], r.cells[8], r.cells[9] = instant(s.T), whole(s.Row), num(float64(s.S)/1000)
				r.cells[10], r.cells[11] = table.Cell{}, words(classes[s.Class])
				if s.Gap >= 0 {
					r.cells[10] = num(float64(s.Gap) / 1000)
				}
				r.cells[12], r.cells[13], r.cells[14] = whole(s.Missing), flag(s.Double), table.Cell{}
				if s.Cell >= 0 {
					r.cells[14] = whole(s.Cell)
				}
				if err := r.put(); err != nil {
					return err
				}
			}
		}
		return nil
	})
}

var stretchColumns = []Column{
	lon, lat, timeColumn, dayColumn, planterColumn, fieldColumn, passColumn, keyColumn, rowColumn,
	at("stretch", table.Number, "it covers 15 m from 15 times this, from the start of the pass"),
	at("length_m", table.Number, "m along the way of the bar's centre"),
	at("way_m", table.Number, "m along the row's own way"),
	at("grade", table.Words, "of the seed measures: A seed times, B counts or shares of a row, C of a section"),
	at("due", table.Number, "places where a seed was due"),
	at("seeds", table.Number, "seeds"),
	at("skips", table.Number, "places due without a seed"),
	at("doubles", table.Number, "seeds that shared a place"),
	at("metered", table.Flag, "due, skips and doubles rest on the disc's rhythm"),
	at("single_mm", table.Number, "mean gap of the single class, mm"),
	at("single_sd", table.Number, "its standard deviation, mm"),
	at("target_mm", table.Number, "target spacing, mm"),
	at("load_n", table.Number, "gauge wheel load, N, mean"),
	at("force_n", table.Number, "down force as applied, N, mean"),
	at("off_share", table.Number, "share of the way with the wheels off the ground"),
	at("moisture", table.Number, "seed-zone moisture, fraction, mean"),
	at("temp_c", table.Number, "seed-zone temperature, degrees C, mean"),
	at("trash", table.Number, "trash in the slot, fraction, mean"),
	at("speed_m_s", table.Number, "speed of the row, m/s, mean"),
	at("vacuum_pa", table.Number, "vacuum of the row's side, Pa, mean"),
	at("liquid_l", table.Number, "liquid applied, litres"),
	at("granule_kg", table.Number, "dry product applied, kg"),
	at("off_m", table.Number, "m of way with the row switched off"),
	at("error_m", table.Number, "half-width of the 90 % interval of its place, m"),
}

func mean(m *evenstand.Moments) table.Cell {
	if m.N <= 0 {
		return table.Cell{}
	}
	return num(m.Sum / m.N)
}

func (r *run) stretches(ctx context.Context) error {
	return r.days(ctx, func(d *book.DaySummary) error {
		ways, err := r.waysOf(d)
		if err != nil {
			return err
		}
		passes, err := r.b.Passes(ctx, d.Planter, d.Day)
		if err != nil {
			return err
		}
		by := map[int32]*evenstand.Pass{}
		for i := range passes {
			by[passes[i].Index] = &passes[i]
		}
		last := int32(-1)
		var way *ground.Way
		return r.b.Stretches(ctx, d.Planter, d.Day, func(ss []evenstand.Stretch) error {
			for i := range ss {
				s := &ss[i]
				p := by[s.Pass]
				if p == nil || !r.f.field(p.Field) {
					continue
				}
				if s.Pass != last {
					if way, err = ways.pass(ctx, p); err != nil {
						return err
					}
					r.place(3, d, p)
					last = s.Pass
				}
				ways.put(way, float64(s.K)*evenstand.StretchLength+float64(s.Length)/2, int(s.Row))
				r.cells[2], r.cells[8], r.cells[9] = instant(s.T), whole(s.Row), whole(s.K)
				sd := math.NaN()
				if s.Singles.N > 1 {
					sd = 1000 * math.Sqrt(s.Singles.M2/(s.Singles.N-1))
				}
				single := math.NaN()
				if s.Singles.N > 0 {
					single = 1000 * s.Singles.Sum / s.Singles.N
				}
				copy(r.cells[10:], []table.Cell{
					num(float64(s.Length)), num(float64(s.Way)), words(s.Grade.String()), num(float64(s.Due)), num(float64(s.Seeds)), num(float64(s.Skips)), num(float64(s.Doubles)),
					flag(s.Metered), num(single), num(sd), num(1000 * float64(s.Target)), mean(&s.Load), mean(&s.Force), mean(&s.OffShare), mean(&s.Moisture), mean(&s.Temperature), mean(&s.Trash),
					mean(&s.Speed), mean(&s.Vacuum), num(1000 * float64(s.Liquid)), num(float64(s.Granular)), num(float64(s.Off)), num(float64(s.PosError)),
				})
				if err := r.put(); err != nil {
					return err
				}
			}
			return nil
		})
	})
}

var readingColumns = []Column{
	lon, lat, timeColumn, dayColumn, planterColumn, fieldColumn,
	wide("quantity", 40, "what was measured, as the registry names it"),
	at("element", table.Words, "where on the planter: machine, left, right, section 2, row 7, tank 1"),
	at("value", table.Number, "value, in the unit beside it"),
	at("unit", table.Words, "SI unit; empty: a fraction or a state"),
}

// where is where the bar's centre was over a day.
type where struct{ pts []evenstand.TrackPoint }

func (r *run) whereOf(ctx context.Context, d *book.DaySummary) (where, error) {
	var w where
	err := r.b.Track(ctx, d.Planter, d.Day, func(ps []evenstand.TrackPoint) error {
		w.pts = append(w.pts, ps...)
		return nil
	})
	return w, err
}

// near is how far in time the nearest place may be for a value to be put there.
const near = 3 * evenstand.Second

// at gives the place at a time; NaN where none is known.
func (w *where) at(t evenstand.Micros) (lat, lon float64) {
	n := len(w.pts)
	i := sort.Search(n, func(i int) bool { return w.pts[i].T >= t })
	switch {
	case i < n && w.pts[i].T-t <= near && (i == 0 || t-w.pts[i-1].T > near):
		return w.pts[i].Lat, w.pts[i].Lon
	case i == 0 || t-w.pts[i-1].T > near:
		return math.NaN(), math.NaN()
	case i == n || w.pts[i].T-t > near:
		return w.pts[i-1].Lat, w.pts[i-1].Lon
	}
	a, b := &w.pts[i-1], &w.pts[i]
	f := 1.0
	if b.T > a.T {
		f = float64(t-a.T) / float64(b.T-a.T)
	}
	return a.Lat + f*(b.Lat-a.Lat), a.Lon + f*(b.Lon-a.Lon)
}

// fieldAt gives the field of the pass that a time lies in.
func fieldAt(passes []evenstand.Pass, t evenstand.Micros) string {
	i := sort.Search(len(passes), func(i int) bool { return passes[i].Start > t })
	if i == 0 || passes[i-1].End < t {
		return ""
	}
	return passes[i-1].Field
}

func (r *run) readings(ctx context.Context) error {
	return r.days(ctx, func(d *book.DaySummary) error {
		w, err := r.whereOf(ctx, d)
		if err != nil {
			return err
		}
		passes, err := r.b.Passes(ctx, d.Planter, d.Day)
		if err != nil {
			return err
		}
		slices.SortStableFunc(passes, func(a, b evenstand.Pass) int { return int(a.Start - b.Start) })
		elements := map[evenstand.Element]table.Cell{}
		r.cells[3], r.cells[4] = words(string(d.Day)), words(d.Planter)
		return r.b.Readings(ctx, d.Planter, d.Day, func(rs []evenstand.Reading) error {
			for i := range rs {
				x := &rs[i]
				on := fieldAt(passes, x.T)
				if r.f.Field != "" && on != r.f.Field {
					continue
				}
				la, lo := w.at(x.T)
				e, ok := elements[x.Element]
				if !ok {
					e = words(x.Element.String())
					elements[x.Element] = e
				}
				q := x.Quantity.Info()
				copy(r.cells, []table.Cell{degrees(lo), degrees(la), instant(x.T)})
				copy(r.cells[5:], []table.Cell{words(field(on)), words(q.Name), e, num(x.Value), words(q.SI)})
				if err := r.put(); err != nil {
					return err
				}
			}
			return nil
		})
	})
}

var passColumns = []Column{
	at(table.ShapeColumn, table.Shape, "the way of the bar's centre, degrees of WGS 84"),
	dayColumn, planterColumn, fieldColumn, passColumn, keyColumn,
	at("start", table.Instant, "lowered, UTC"),
	at("end", table.Instant, "lifted, UTC"),
	at("length_m", table.Number, "length of the way, m"),
	at("heading", table.Number, "degrees clockwise from north; empty: it turns too much to say"),
	at("headland", table.Flag, "it lies along an edge"),
	at("error_m", table.Number, "half-width of the 90 % interval of a row's place, m"),
}

func (r *run) passes(ctx context.Context) error {
	return r.days(ctx, func(d *book.DaySummary) error {
		passes, err := r.b.Passes(ctx, d.Planter, d.Day)
		if err != nil {
			return err
		}
		for i := range passes {
			p := &passes[i]
			if !r.f.field(p.Field) {
				continue
			}
			pts, err := r.b.PassTrack(ctx, d.Planter, d.Day, p)
			if err != nil {
				return err
			}
			r.cells[0] = line(pts)
			r.place(1, d, p)
			copy(r.cells[6:], []table.Cell{instant(p.Start), instant(p.End), num(p.S1 - p.S0), num(p.Heading), flag(p.Headland), num(p.PosError)})
			if err := r.put(); err != nil {
				return err
			}
		}
		return nil
	})
}

// line gives a track as a line; Empty where it has fewer than two places.
func line(pts []evenstand.TrackPoint) table.Cell {
	var xys []float64
	for i := range pts {
		if p := &pts[i]; !math.IsNaN(p.Lat) && !math.IsNaN(p.Lon) {
			x, y := math.Round(p.Lon*1e8)/1e8, math.Round(p.Lat*1e8)/1e8
			if n := len(xys); n == 0 || xys[n-2] != x || xys[n-1] != y {
				xys = append(xys, x, y)
			}
		}
	}
	if len(xys) < 4 {
		return table.Cell{}
	}
	return shape(geom.NewLineString(geom.NewSequence(xys, geom.DimXY)).AsGeometry())
}

func shape(g geom.Geometry) table.Cell { return table.Cell{Type: table.Shape, Text: g.AsBinary()} }

var findingColumns = []Column{
	lon, lat, wide("finding", 12, "its id"),
	at("kind", table.Words, "kind"),
	wide("says", 254, "what it is, in a sentence"),
	dayColumn, planterColumn, fieldColumn,
	wide("rows", 100, "rows; empty: the whole planter"),
	at("stage", table.Words, "suspected or raised"),
	at("status", table.Words, "open, acted, checked, set-aside or ended"),
	at("since", table.Instant, "UTC"),
	at("until", table.Instant, "UTC; empty: it had not ended"),
	wide("cause", 60, "the likeliest cause"),
	at("chance", table.Number, "its probability"),
	at("lost_low", table.Number, "lost so far, 10th percentile, if the cause is right"),
	at("lost_mid", table.Number, "median"),
	at("lost_high", table.Number, "90th percentile"),
	at("money", table.Words, "unit of the sums: a currency, or bu"),
	wide("advice", 254, "what to do"),
	wide("check", 60, "what came of what was done"),
}

func (r *run) findings(ctx context.Context) error {
	w, err := r.b.Worklist(ctx, true)
	if err != nil {
		return err
	}
	days, err := r.b.Days(ctx)
	if err != nil {
		return err
	}
	places := map[book.DayRef]*where{}
	cards := map[book.DayRef]evenstand.Card{}
	slices.SortStableFunc(w.Findings, func(a, b evenstand.Finding) int { return int(a.Alarm - b.Alarm) })
	for i := range w.Findings {
		f := &w.Findings[i]
		d := book.DaySummary{Planter: f.Planter, Day: f.Day}
		if !r.f.day(&d) || !r.f.field(f.Field) {
			continue
		}
		ref := book.DayRef{Planter: f.Planter, Day: f.Day}
		if _, ok := places[ref]; !ok {
			places[ref] = &where{}
			if slices.ContainsFunc(days, func(d book.DaySummary) bool { return d.Planter == ref.Planter && d.Day == ref.Day }) {
				p, err := r.whereOf(ctx, &d)
				if err != nil {
					return err
				}
				places[ref] = &p
				if cards[ref], err = r.b.Card(f.Planter, f.Day); err != nil {
					return err
				}
			}
		}
		la, lo := places[ref].at(f.Since)
		until, cause, chance, check := evenstand.NoTime, "", math.NaN(), ""
		if f.Until != nil {
			until = *f.Until
		}
		if len(f.Causes) > 0 {
			cause, chance = f.Causes[0].Cause, f.Causes[0].Probability
		}
		if f.CheckBack != nil {
			check = string(f.CheckBack.Verdict)
		}
		m := f.Money.SoFar
		copy(r.cells, []table.Cell{
			degrees(lo), degrees(la), words(f.ID), words(f.Kind), words(f.Sentence), words(string(f.Day)), words(f.Planter), words(field(f.Field)), words(f.Rows.String()),
			words(string(f.Stage)), words(string(f.Status)), instant(f.Since), instant(until), words(cause), num(chance),
			num(float64(m.Low)), num(float64(m.Mid)), num(float64(m.High)), words(f.Money.Unit), words(f.Advice.Do), words(check),
		})
		if err := r.put(); err != nil {
			return err
		}
	}
	return nil
}

var countColumns = []Column{
	lon, lat, timeColumn, dayColumn, planterColumn, fieldColumn,
	at("what", table.Words, "count or dig"),
	wide("rows", 100, "rows; empty: not said"),
	at("value", table.Number, "plants, or as the note has it"),
	at("unit", table.Words, "its unit; empty: plants"),
	at("late", table.Number, "of the plants, those behind the others"),
	at("length_m", table.Number, "counted of each row, m"),
	at("row_count", table.Number, "rows counted"),
	at("hoop_m", table.Number, "width of the hoop, m"),
	at("hoops", table.Number, "how often it was laid down"),
	wide("depths_m", 254, "depths of seeds dug up, m, with semicolons between"),
	wide("note", 254, "the note"),
	wide("words", 254, "as it was typed, or the place in words"),
	wide("who", 100, "who counted"),
	wide("count", 64, "number of the count; empty: a line of the journal"),
	wide("replaces", 64, "number of the count that it corrects"),
}

func (r *run) counts(ctx context.Context) error {
	cs, err := r.b.PlantCounts(ctx, false)
	if err != nil {
		return err
	}
	for i := range cs {
		c := &cs[i]
		t := c.Time()
		d := book.DaySummary{Planter: c.Planter, Day: evenstand.DayOf(t, r.b.Zone())}
		if !r.f.field(c.Field) || !r.f.day(&d) {
			continue
		}
		var depths []string
		for _, x := range c.Depths {
			depths = append(depths, strconv.FormatFloat(x, 'f', -1, 64))
		}
		some := func(x float64) table.Cell {
			if x == 0 {
				return table.Cell{}
			}
			return num(x)
		}
		maybe := func(n *int) table.Cell {
			if n == nil {
				return table.Cell{}
			}
			return num(float64(*n))
		}
		what := "count"
		if c.Plants == nil {
			what = "dig"
		}
		copy(r.cells, []table.Cell{
			{},
			{},
			instant(t), words(string(d.Day)), words(c.Planter), words(c.Field), words(what), words(c.Rows), maybe(c.Plants), words(""), maybe(c.Late),
			some(c.Length), some(float64(c.Counted)), some(c.Diameter), some(float64(c.Hoops)), words(strings.Join(depths, ";")), words(c.Note), words(c.Place), words(c.Who), words(c.ID), words(c.Replaces),
		})
		if c.Latitude != nil {
			r.cells[0], r.cells[1] = num(*c.Longitude), num(*c.Latitude)
		}
		if err := r.put(); err != nil {
			return err
		}
	}
	lines, err := r.b.Journal(ctx)
	if err != nil {
		return err
	}
	r.b.NotePlanters(lines)
	if r.f.Field != "" {
		return nil // a note does not say of which field it is
	}
	for i := range lines {
		l := &lines[i]
		d := book.DaySummary{Planter: l.Planter, Day: evenstand.DayOf(l.Entry.T, r.b.Zone())}
		if l.TakenBack || l.Entry.What != "count" && l.Entry.What != "dig" || !r.f.day(&d) {
			continue
		}
		e := &l.Entry
		copy(r.cells, []table.Cell{
			{},
			{},
			instant(e.T), words(string(d.Day)), words(l.Planter), words(""), words(e.What), words(e.Rows.String()), num(e.Value), words(e.Unit),
			{},
			{},
			{},
			{},
			{},
			words(""), words(e.Note), words(l.Words), words(""), words(""), words(""),
		})
		if err := r.put(); err != nil {
			return err
		}
	}
	return nil
}

var fieldColumns = []Column{
	at(table.ShapeColumn, table.Shape, "the boundary, degrees of WGS 84"),
	fieldColumn,
	at("area_m2", table.Number, "inside the boundary, m2"),
	at("worked_m2", table.Number, "planted at least once, m2"),
	at("twice_m2", table.Number, "planted more than once, m2"),
	at("error_m2", table.Number, "half-width of the 90 % interval of what is planted twice and left, m2"),
	wide("planted", 254, "days on which it was planted"),
}

func (r *run) fields(ctx context.Context) error {
	ground, err := r.b.Ground(ctx)
	if err != nil {
		return err
	}
	days, err := r.b.Days(ctx)
	if err != nil {
		return err
	}
	for _, f := range r.b.Fields() {
		if !r.f.field(f.Name) {
			continue
		}
		r.cells[0], r.cells[1] = area(f), words(f.Name)
		for i := 2; i < len(r.cells); i++ {
			r.cells[i] = table.Cell{}
		}
		for _, g := range ground {
			if g.Field == f.Name {
				copy(r.cells[2:], []table.Cell{num(float64(g.Area)), num(float64(g.Worked)), num(float64(g.Twice)), num(float64(g.Error))})
			}
		}
		var on []string // of the days asked for
		for _, d := range days {
			if r.f.day(&d) && slices.ContainsFunc(d.Planted, func(p book.Planted) bool { return p.Field == f.Name }) {
				on = append(on, string(d.Day))
			}
		}
		if len(on) == 0 && (r.f.Planter != "" || r.f.From != "" || r.f.To != "") {
			continue
		}
		r.cells[6] = words(strings.Join(on, " "))
		if err := r.put(); err != nil {
			return err
		}
	}
	return nil
}

// area gives a boundary as areas, outer rings anticlockwise (RFC 7946).
func area(f evenstand.Field) table.Cell {
	var ps []geom.Polygon
	for _, p := range f.Polygons {
		var rings []geom.LineString
		for _, ring := range p {
			var xys []float64
			for _, at := range ring {
				xys = append(xys, at[0], at[1])
			}
			if n := len(xys); n >= 4 && (xys[0] != xys[n-2] || xys[1] != xys[n-1]) {
				xys = append(xys, xys[0], xys[1])
			}
			rings = append(rings, geom.NewLineString(geom.NewSequence(xys, geom.DimXY)))
		}
		ps = append(ps, geom.NewPolygon(rings).ForceCCW())
	}
	switch len(ps) {
	case 0:
		return table.Cell{}
	case 1:
		return shape(ps[0].AsGeometry())
	}
	return shape(geom.NewMultiPolygon(ps).AsGeometry())
}

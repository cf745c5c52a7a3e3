package book

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"evenstand"
	"evenstand/core/ground"
	"evenstand/core/makeup"
	"evenstand/core/record"
	"evenstand/core/relation"
)

// MakeUpWish is what is asked of a plan for the next machine. Rates are gallons or
// pounds an acre, contents pounds of the nutrient a gallon or a pound, lengths
// inches; in a metric logbook L/ha, kg/ha, kg a litre or a kg, and cm.
type MakeUpWish struct {
	Field   string  `json:"field" maxLength:"200"`
	Product string  `json:"product,omitempty" enum:"liquid,granules" doc:"Which of those that went on beside seed; empty: what was logged"`
	Content float64 `json:"content,omitempty" minimum:"0" doc:"Of the nutrient in it; 0 with Next.Content 0: the same product is put on again"`

	Name    string  `json:"name,omitempty" maxLength:"100" doc:"Of the next product"`
	Dry     bool    `json:"dry,omitempty" doc:"The next product is weighed, not measured"`
	Holds   float64 `json:"holds,omitempty" minimum:"0" doc:"Content of the nutrient of the next product"`
	Planned float64 `json:"planned" minimum:"0" doc:"Its rate everywhere; 0: only what is missing"`
	Least   float64 `json:"least,omitempty" minimum:"0"`
	Most    float64 `json:"most,omitempty" minimum:"0"`
	Step    float64 `json:"step,omitempty" minimum:"0"`
	Season  float64 `json:"season,omitempty" minimum:"0" doc:"Most of it that may go on this season"`
	Furrow  string  `json:"furrow,omitempty" enum:"medium-fine,sandy" doc:"It goes in the furrow beside seed, in this soil: the limit of salt holds"`
	Salt    float64 `json:"salt,omitempty" minimum:"0" doc:"N and K2O of the next product together, for that limit; 0: as Holds"`
	Price   float64 `json:"price,omitempty" minimum:"0" doc:"Of a gallon or pound, litre or kg"`

	Rows    int     `json:"rows" minimum:"1" maximum:"96" doc:"Of the next machine"`
	Spacing float64 `json:"spacing,omitempty" minimum:"0" doc:"Of its rows; 0: as the planter's"`
	Parts   int     `json:"parts,omitempty" minimum:"0" maximum:"96" doc:"That it sets by themselves; 0: all of it at once"`
	Shut    bool    `json:"shut,omitempty" doc:"It can shut a part"`
	Share   float64 `json:"share,omitempty" minimum:"0" maximum:"0.9" doc:"How far off counts, of what was asked for; 0: 0.15"`
}

// MakeUp is a plan with the frame that it lies in.
type MakeUp struct {
	Sheet record.MakeUpSheet
	Plan  makeup.Plan
	Frame ground.Frame
	Field evenstand.Field // boundary; no polygons: there is none
	Dry   bool            // the next product's rates are kg per m2, else m3
	Wish  MakeUpWish
}

// flowAt is a row's flow at a time, m3/s or kg/s.
type flowAt struct {
	t evenstand.Micros
	v float64
}

// Of the mask of ground that had its share.
const (
	maskCell = 0.38 // m: half a row of 30 in
	mostMask = 40_000_000
)

// mask tells which pass put something on a place first.
type mask struct {
	x0, y0 float64
	w, h   int
	by     []uint16
}

// MakeUp plans what the next machine puts on where a product was missed, short or
// doubled in a field in its last season.
func (b *Book) MakeUp(ctx context.Context, w MakeUpWish, o record.Options) (*MakeUp, error) {
	ask := func(do, format string, a ...any) (*MakeUp, error) {
		return nil, &Error{"", fmt.Errorf(format, a...), do}
	}
	names, err := b.fieldNames(ctx)
	if err != nil {
		return nil, err
	}
	if !slices.Contains(names, w.Field) {
		return ask("There is "+strings.Join(names, ", "), "%w: there is no field %q", ErrUnknown, w.Field)
	}
	days, err := b.Days(ctx)
	if err != nil {
		return nil, err
	}
	year := ""
	for _, d := range days {
		if slices.ContainsFunc(d.Planted, func(p Planted) bool { return p.Field == w.Field }) {
			year = max(year, d.Day.Year())
		}
	}
	days = slices.DeleteFunc(slices.Clone(days), func(d DaySummary) bool {
		return d.Day.Year() != year || !slices.ContainsFunc(d.Planted, func(p Planted) bool { return p.Field == w.Field })
	})
	slices.SortStableFunc(days, func(a, c DaySummary) int { return cmp.Compare(a.Day, c.Day) })
	if len(days) == 0 {
		return ask("Bring the logs of its planting", "%w: nothing was planted in %s", ErrUnknown, w.Field)
	}
	m := &maker{b: b, w: &w, o: o}
	for i := range days {
		if err := m.look(ctx, &days[i]); err != nil {
			return nil, err
		}
	}
	if len(m.passes) == 0 {
		return ask("It wants the flow of each row, or of the whole machine, by a box that logs it", "no %s was logged in %s", orWord(w.Product, "liquid and no granules"), w.Field)
	}
	out := &MakeUp{Frame: m.frame, Wish: w, Dry: w.Dry}
	for _, f := range b.Fields() {
		if f.Name == w.Field {
			out.Field = f
		}
	}
	next, err := m.machine()
	if err != nil {
		return nil, err
	}
	g, err := makeup.NewGround(next)
	if err != nil {
		return ask("Look at its rates: the largest is no less than the planned one", "%w", err)
	}
	facts := record.MakeUpFacts{Field: w.Field, Season: year, Dry: m.granules, NextDry: w.Dry, Name: w.Name, Nutrient: m.worth() != 1 || w.Content > 0, Wanted: m.wanted, WantedSaid: m.said, Boundary: b.outline(w.Field, m.frame), Price: w.Price * m.perUnit(w.Dry), Currency: b.Settings().Currency, Rows: w.Rows, Parts: max(1, w.Parts), RowFlows: m.byRow}
	m.lay(g, &facts)
	out.Plan = g.Plan()
	facts.Plan = &out.Plan
	facts.ToGlobal = m.frame.ToGlobal
	set := b.Settings()
	if m.starter && !math.IsNaN(set.Yield) && !math.IsNaN(set.Price) {
		low, likely, high := relation.Must("R17-fertilizer", "missed starter").Range()
		per := set.Yield * set.Price / 100 * facts.MissedArea
		facts.Starter = evenstand.Range{Low: evenstand.Number(low * per), Mid: evenstand.Number(likely * per), High: evenstand.Number(high * per)}
		facts.StarterKnown = true
	}
	out.Sheet = record.SayMakeUp(facts, o.Voice)
	return out, nil
}

func orWord(s, other string) string {
	if s == "" {
		return other
	}
	return s
}

// maker gathers what went on.
type maker struct {
	b        *Book
	w        *MakeUpWish
	o        record.Options
	frame    ground.Frame
	framed   bool
	granules bool
	byRow    bool
	starter  bool
	spacing  float64
	wanted   float64 // product per m2 asked for, mean; by the logs, else what most got
	said     bool
	passes   []madePass
}

// madePass is a pass with the pieces of its rows.
type madePass struct {
	p    evenstand.Pass
	rows [][]makeup.Piece // from row 1
}

// look gathers the pieces of a day.
func (m *maker) look(ctx context.Context, d *DaySummary) error {
	b, w := m.b, m.w
	card, err := b.Card(d.Planter, d.Day)
	if err != nil || !(card.RowSpacing > 0) || card.Rows == 0 {
		return err
	}
	passes, err := b.Passes(ctx, d.Planter, d.Day)
	if err != nil {
		return err
	}
	passes = slices.DeleteFunc(passes, func(p evenstand.Pass) bool { return p.Field != w.Field })
	slices.SortStableFunc(passes, func(x, y evenstand.Pass) int { return cmp.Compare(x.Start, y.Start) })
	if len(passes) == 0 {
		return nil
	}
	in := func(t evenstand.Micros) int {
		i, _ := slices.BinarySearchFunc(passes, t, func(p evenstand.Pass, t evenstand.Micros) int { return cmp.Compare(p.Start, t) })
		if i < len(passes) && passes[i].Start == t {
			return i
		}
		if i--; i >= 0 && t <= passes[i].End+evenstand.Second {
			return i
		}
		return -1
	}
	type got struct {
		liquid, granules []map[int][]flowAt // by pass, by row; 0 the whole machine, product per m2
		target           [2][]flowAt
	}
	g := got{liquid: make([]map[int][]flowAt, len(passes)), granules: make([]map[int][]flowAt, len(passes))}
	put := func(to []map[int][]flowAt, r *evenstand.Reading, row int) {
		if i := in(r.T); i >= 0 && !math.IsNaN(r.Value) {
			if to[i] == nil {
				to[i] = map[int][]flowAt{}
			}
			to[i][row] = append(to[i][row], flowAt{r.T, r.Value})
		}
	}
	err = b.Readings(ctx, d.Planter, d.Day, func(rs []evenstand.Reading) error {
		for i := range rs {
			r := &rs[i]
			row := 0
			if r.Element.Scope == evenstand.ScopeRow {
				row = int(r.Element.N)
			}
			switch r.Quantity {
			case evenstand.LiquidFlow:
				if row > 0 {
					put(g.liquid, r, row)
				}
			case evenstand.LiquidRate:
				if row == 0 {
					put(g.liquid, r, 0)
				}
			case evenstand.GranularRate:
				put(g.granules, r, row)
			case evenstand.LiquidRateTarget:
				g.target[0] = append(g.target[0], flowAt{r.T, r.Value})
			case evenstand.GranularRateTarget:
				g.target[1] = append(g.target[1], flowAt{r.T, r.Value})
			}
		}
		return ctx.Err()
	})
	if err != nil {
		return err
	}
	any := func(of []map[int][]flowAt) bool {
		return slices.ContainsFunc(of, func(m map[int][]flowAt) bool { return len(m) > 0 })
	}
	of, target, granules := g.liquid, g.target[0], false
	if w.Product == "granules" || w.Product == "" && !any(g.liquid) {
		of, target, granules = g.granules, g.target[1], true
	}
	if !any(of) {
		return nil
	}
	if len(m.passes) > 0 && granules != m.granules {
		return nil // another product on another day
	}
	m.granules, m.spacing = granules, card.RowSpacing
	for _, t := range card.Tanks {
		if strings.Contains(strings.ToLower(t.Product), "starter") {
			m.starter = !granules
		}
	}
	slices.SortFunc(target, func(a, b flowAt) int { return cmp.Compare(a.t, b.t) })
	for i := range passes {
		if len(of[i]) == 0 {
			continue
		}
		pts, err := b.PassTrack(ctx, d.Planter, d.Day, &passes[i])
		if err != nil {
			return err
		}
		if len(pts) < 2 {
			continue
		}
		if !m.framed {
			m.frame, m.framed = ground.NewFrame(pts[0].Lat, pts[0].Lon), true
		}
		m.passes = append(m.passes, m.pieces(&passes[i], pts, of[i], target, &card))
	}
	return nil
}

// still is the speed below which what runs is no rate, m/s.
const still = 0.2

// pieces makes the pieces of each row of a pass.
func (m *maker) pieces(p *evenstand.Pass, pts []evenstand.TrackPoint, flows map[int][]flowAt, target []flowAt, card *evenstand.Card) madePass {
	out := madePass{*p, make([][]makeup.Piece, card.Rows)}
	way := ground.NewWay(pts)
	sAt := func(t evenstand.Micros) float64 {
		i, _ := slices.BinarySearchFunc(pts, t, func(p evenstand.TrackPoint, t evenstand.Micros) int { return cmp.Compare(p.T, t) })
		switch {
		case i == 0:
			return pts[0].S
		case i == len(pts):
			return pts[len(pts)-1].S
		}
		a, c := &pts[i-1], &pts[i]
		f := float64(t-a.T) / float64(max(1, c.T-a.T))
		return a.S + f*(c.S-a.S)
	}
	wantAt := func(t evenstand.Micros) float64 {
		i, _ := slices.BinarySearchFunc(target, t+1, func(x flowAt, t evenstand.Micros) int { return cmp.Compare(x.t, t) })
		if i == 0 {
			if len(target) > 0 {
				return target[0].v
			}
			return math.NaN()
		}
		return target[i-1].v
	}
	for row := 1; row <= card.Rows; row++ {
		fs, rate := flows[row], m.granules
		if len(fs) == 0 {
			fs, rate = flows[0], true
		} else {
			m.byRow = true
		}
		slices.SortFunc(fs, func(a, b flowAt) int { return cmp.Compare(a.t, b.t) })
		var steps []float64
		for i := 1; i < len(fs); i++ {
			steps = append(steps, (fs[i].t - fs[i-1].t).Seconds())
		}
		slices.Sort(steps)
		usual := 1.0
		if len(steps) > 0 {
			usual = steps[len(steps)/2]
		}
		reach := evenstand.FromSeconds(0.75 * usual)
		for i, f := range fs {
			from, to := f.t-reach, f.t+reach
			if i > 0 {
				from = max(from, (fs[i-1].t+f.t)/2)
			}
			if i+1 < len(fs) {
				to = min(to, (f.t+fs[i+1].t)/2)
			}
			from, to = max(from, p.Start), min(to, p.End)
			if to <= from {
				continue
			}
			s0, s1 := sAt(from), sAt(to)
			y := card.Y(row)
			lat0, lon0, _, ok0 := way.At(s0, y)
			lat1, lon1, _, ok1 := way.At(s1, y)
			if !ok0 || !ok1 {
				continue
			}
			e0, n0 := m.frame.ToLocal(lat0, lon0)
			e1, n1 := m.frame.ToLocal(lat1, lon1)
			x := makeup.Piece{X: (e0 + e1) / 2, Y: (n0 + n1) / 2, Heading: math.Atan2(e1-e0, n1-n0), Length: math.Hypot(e1-e0, n1-n0), Want: wantAt(f.t)}
			dt := (to - from).Seconds()
			switch {
			case x.Length < still*dt || x.Length == 0:
				x.Got = math.NaN()
			case rate:
				x.Got = f.v
			default:
				x.Got = f.v * dt / (x.Length * card.RowSpacing)
			}
			out.rows[row-1] = append(out.rows[row-1], x)
		}
	}
	return out
}

// direction is the main one of the passes, radians, and where their rows' edges lie
// across it.
func (m *maker) direction(part float64) (heading, across float64) {
	c, s := 0.0, 0.0
	each := func(see func(ps []makeup.Piece)) {
		for i := range m.passes {
			if rows := m.passes[i].rows; len(rows) > 0 {
				see(rows[0])
			}
		}
	}
	each(func(ps []makeup.Piece) {
		for _, p := range ps {
			c += p.Length * math.Cos(2*p.Heading)
			s += p.Length * math.Sin(2*p.Heading)
		}
	})
	heading = math.Atan2(s, c) / 2
	sin, cos := math.Sincos(heading)
	c, s = 0, 0
	for i := range m.passes {
		for _, row := range m.passes[i].rows {
			for _, p := range row {
				if math.Abs(math.Sin(p.Heading-heading)) > 0.1 {
					continue
				}
				// The left edge of a row, as an angle within the width of a part; rows
				// are told within one row's width.
				w := min(part, m.spacing)
				a := 2 * math.Pi * (p.X*cos - p.Y*sin - m.spacing/2) / w
				c += p.Length * math.Cos(a)
				s += p.Length * math.Sin(a)
			}
		}
	}
	return heading, math.Atan2(s, c) / (2 * math.Pi) * min(part, m.spacing)
}

// perUnit gives how many units of people, gallons or pounds, litres or kg, are one
// of m3 or kg.
func (m *maker) perUnit(dry bool) float64 {
	metric := m.b.Settings().Units == evenstand.Metric
	switch {
	case dry && metric:
		return 1
	case dry:
		return 1 / evenstand.Pound
	case metric:
		return 1000
	}
	return 1 / evenstand.Gallon
}

// worth is how much of the next product does for one of the first.
func (m *maker) worth() float64 {
	w := m.w
	if w.Content == 0 && w.Holds == 0 {
		return 1
	}
	// Contents are mass a unit: gallons or pounds.
	return w.Content * m.perUnit(m.granules) / (w.Holds * m.perUnit(w.Dry))
}

// machine is the next one.
func (m *maker) machine() (makeup.Machine, error) {
	w := m.w
	bad := func(do, format string, a ...any) (makeup.Machine, error) {
		return makeup.Machine{}, &Error{"", fmt.Errorf(format, a...), do}
	}
	if (w.Content > 0) != (w.Holds > 0) {
		return bad("Say both, or neither where the same product is put on again", "only one of the two products has a content of the nutrient")
	}
	if w.Content == 0 && w.Dry != m.granules {
		return bad("Say what both hold of the nutrient", "what went on and what comes next are not measured alike")
	}
	if w.Rows < 1 || w.Rows > 96 {
		return bad("Say how many rows it has", "a machine of %d rows cannot be meant", w.Rows)
	}
	metric := m.b.Settings().Units == evenstand.Metric
	spacing := w.Spacing * evenstand.Inch
	area := evenstand.Acre
	if metric {
		spacing, area = w.Spacing/100, evenstand.Hectare
	}
	if spacing == 0 {
		spacing = m.spacing
	}
	parts := max(1, w.Parts)
	if parts > w.Rows {
		return bad("It sets its rows by themselves at the most", "%d parts of %d rows", parts, w.Rows)
	}
	per := 1 / m.perUnit(w.Dry) / area // a rate of people in SI
	out := makeup.Machine{
		Parts: parts, Part: spacing * float64(w.Rows) / float64(parts), Planned: w.Planned * per, Least: w.Least * per, Most: w.Most * per, Step: w.Step * per, Season: w.Season * per, Off: w.Shut, Worth: m.worth(),
	}
	if w.Furrow != "" {
		salt := cmp.Or(w.Salt, w.Holds)
		limit, ok := relation.SaltLimit(strings.ReplaceAll(w.Furrow, "-", "_"), spacing/evenstand.Inch)
		if !ok || salt <= 0 {
			return bad("Say what the product holds of N and K2O together; the limit is known for rows of 20, 30 and 40 in and medium to fine soil of any", "the limit of salt in the furrow cannot be reckoned")
		}
		// lb an acre of N+K2O, in the product's own units.
		out.Beside = limit * evenstand.Pound / evenstand.Acre / (salt * m.perUnit(w.Dry))
		if !metric {
			out.Beside = limit * evenstand.Pound / evenstand.Acre / (salt * evenstand.Pound * m.perUnit(w.Dry))
		}
	}
	out.Heading, out.Across = m.direction(out.Part)
	return out, nil
}

// lay cuts strips out of all passes and lays them, with the sums for the words.
func (m *maker) lay(g *makeup.Ground, f *record.MakeUpFacts) {
	m.settleWanted(f)
	mk := m.newMask()
	f.Sums = map[makeup.Kind]record.MakeUpSum{}
	for i := range m.passes {
		mp := &m.passes[i]
		for r := range mp.rows {
			for k := range mp.rows[r] {
				p := &mp.rows[r][k]
				if math.IsNaN(p.Want) {
					p.Want = m.wanted
				}
				if mk.before(p, uint16(i+1)) {
					p.Double, p.Want = true, 0
				}
			}
		}
		for r, ps := range mp.rows {
			for _, s := range makeup.Cut(r+1, ps, m.w.Share) {
				g.Lay(ps, s, m.spacing)
				sum := f.Sums[s.Kind]
				sum.Area += s.Length * m.spacing
				sum.Lacks += s.Lacks * m.spacing
				f.Sums[s.Kind] = sum
				if s.Kind == makeup.Missed || s.Kind == makeup.Short {
					f.MissedArea += s.Lacks * m.spacing / s.Want
				}
				a := &ps[s.From]
				lat, lon := m.frame.ToGlobal(a.X, a.Y)
				z := &ps[s.To-1]
				lat1, lon1 := m.frame.ToGlobal(z.X, z.Y)
				f.Strips = append(f.Strips, record.MakeUpStrip{Kind: string(s.Kind), Rows: evenstand.Rows{s.Row}, Pass: mp.p.Number, Key: mp.p.Key, Length: s.Length, Lacks: s.Lacks * m.spacing, Got: s.Got, Want: s.Want, From: [2]float64{lat, lon}, To: [2]float64{lat1, lon1}})
			}
		}
		for r := range mp.rows {
			for k := range mp.rows[r] {
				if p := &mp.rows[r][k]; !p.Double && p.Got > makeup.Nothing*p.Want {
					mk.mark(p, m.spacing, uint16(i+1))
				}
			}
		}
	}
}

// settleWanted takes what most rows got for what was asked for, where nobody said.
func (m *maker) settleWanted(f *record.MakeUpFacts) {
	var wants, gots []float64
	for i := range m.passes {
		for _, row := range m.passes[i].rows {
			for _, p := range row {
				if p.Want > 0 {
					wants = append(wants, p.Want)
				}
				if p.Got > 0 {
					gots = append(gots, p.Got)
				}
			}
		}
	}
	of := wants
	m.said = len(wants) > 0
	if !m.said {
		of = gots
	}
	slices.Sort(of)
	m.wanted = math.NaN()
	if len(of) > 0 {
		m.wanted = of[len(of)/2]
	}
	f.Wanted, f.WantedSaid = m.wanted, m.said
	f.RowFlows = m.byRow
}

func (m *maker) newMask() *mask {
	x0, y0, x1, y1 := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for i := range m.passes {
		for _, row := range m.passes[i].rows {
			for _, p := range row {
				x0, y0, x1, y1 = min(x0, p.X), min(y0, p.Y), max(x1, p.X), max(y1, p.Y)
			}
		}
	}
	k := &mask{x0: x0 - 5, y0: y0 - 5}
	if !(x1 > x0) {
		return k
	}
	k.w, k.h = int((x1-x0+10)/maskCell)+1, int((y1-y0+10)/maskCell)+1
	if k.w*k.h > mostMask { // no field is so large; nothing is told twice then
		k.w, k.h = 0, 0
	}
	k.by = make([]uint16, k.w*k.h)
	return k
}

func (k *mask) at(x, y float64) *uint16 {
	i, j := int((x-k.x0)/maskCell), int((y-k.y0)/maskCell)
	if i < 0 || j < 0 || i >= k.w || j >= k.h {
		return nil
	}
	return &k.by[j*k.w+i]
}

// before tells whether another pass put something on the middle of a piece.
func (k *mask) before(p *makeup.Piece, pass uint16) bool {
	by := k.at(p.X, p.Y)
	return by != nil && *by != 0 && *by != pass
}

// mark notes that a pass put something on a piece: on the middle half of its row,
// so that neighbours that lie a little into one another are none.
func (k *mask) mark(p *makeup.Piece, width float64, pass uint16) {
	sin, cos := math.Sincos(p.Heading)
	for a := -p.Length / 2; a <= p.Length/2; a += maskCell / 2 {
		for _, r := range []float64{-width / 4, 0, width / 4} {
			if by := k.at(p.X+a*sin+r*cos, p.Y+a*cos-r*sin); by != nil && *by == 0 {
				*by = pass
			}
		}
	}
}

package book

import (
	"context"
	"fmt"
	"hash/fnv"
	"maps"
	"math"
	"math/rand/v2"
	"slices"

	"evenstand"
	"evenstand/core/ground"
	"evenstand/core/record"
	"evenstand/core/relation"
	"evenstand/core/walk"
)

// WalkWish is what is asked of a walk list.
type WalkWish struct {
	Field  string      // empty: the one planted last
	Places int         // strata; 0: ten
	Start  *[2]float64 // latitude and longitude of where the walk begins; nil: at the place that makes it shortest
	Seed   uint64      // of the draw
	Temps  []walk.Temp // from the day of planting on, in degrees F
}

// walkPlaces is how many places there are if nobody says: with ten the mean of a
// field is told to about 0.5 thousand plants an acre (methods, n).
const walkPlaces = 10

// startsTried is how many of the places are tried as the first of the walk.
const startsTried = 12

// scatter is the coefficient of variation of single counts, in percent, that is
// reckoned with before there are any: 8 to 15 is common (R16, from memory).
const scatter = 12

// WalkList says where to count plants in a field: places drawn by what is expected
// to stand, in the order of walking, and when to go.
func (b *Book) WalkList(ctx context.Context, w WalkWish, o record.Options) (l record.WalkList, err error) {
	days, err := b.Days(ctx)
	if err != nil {
		return l, err
	}
	l.Places, l.Notes, l.Fields, l.Boundary = []record.WalkPlace{}, []string{}, []string{}, [][][2]float64{}
	for _, d := range days {
		for _, p := range d.Planted {
			if p.Field == evenstand.Unassigned {
				continue
			}
			if !slices.Contains(l.Fields, p.Field) {
				l.Fields = append(l.Fields, p.Field)
			}
			if w.Field == "" {
				l.Field = p.Field // the last
			}
		}
	}
	if w.Field != "" {
		l.Field = w.Field
	}
	slices.Sort(l.Fields)
	if l.Field == "" {
		return l, nil // nothing was planted
	}
	if !slices.Contains(l.Fields, l.Field) {
		return l, &Error{"", fmt.Errorf("%w: nothing was planted in %q", ErrUnknown, l.Field), "Say the field's name as the logbook has it"}
	}
	all, newest := days, "" // season; a field stands only once
	for _, d := range days {
		if slices.ContainsFunc(d.Planted, func(p Planted) bool { return p.Field == l.Field }) {
			newest = max(newest, d.Day.Year())
		}
	}
	days = slices.DeleteFunc(slices.Clone(days), func(d DaySummary) bool { return d.Day.Year() != newest })
	plain, err := b.Findings(ctx)
	if err != nil {
		return l, err
	}
	g, err := b.grown(ctx, plain, all)
	if err != nil {
		return l, err
	}
	tries := tryOf(plain, newest, l.Field, g)
	cells, pieces, err := b.standing(ctx, days, &l, g, tries)
	if err != nil {
		return l, err
	}
	if len(cells) == 0 {
		return l, &Error{"", fmt.Errorf("no seeds are known in %s, so nothing is expected of it", l.Field), "Count at places of your own, one for every two or three acres"}
	}
	if w.Places <= 0 {
		w.Places = walkPlaces
	}
	seed := w.Seed
	h := fnv.New64a()
	h.Write([]byte(l.Field))
	seed ^= h.Sum64()
	chosen := walk.Choose(cells, w.Places, true, seed)
	rng := rand.New(rand.NewPCG(seed, 0x726f7773))
	points := make([]walk.Point, len(chosen))
	strata, mean := 0, 0.0
	for i, c := range chosen {
		points[i] = walk.Point{X: cells[c.Cell].X, Y: cells[c.Cell].Y}
		if c.Stratum >= 0 {
			strata++
			mean += cells[c.Cell].Stand
		}
	}
	mean /= float64(max(1, strata))
	spots := tries.spots(rng)
	for _, p := range spots {
		points = append(points, walk.Point{X: p.x, Y: p.y})
	}
	start := points[0]
	frame := pieces[0].frame
	if w.Start != nil {
		start.X, start.Y = frame.ToLocal(w.Start[0], w.Start[1])
	} else { // the place from which the whole way is shortest
		best := math.Inf(1)
		for i, p := range points {
			if i >= startsTried {
				break
			}
			if err := ctx.Err(); err != nil {
				return l, err
			}
			if _, long := walk.Route(p, points, false); long < best {
				best, start = long, p
			}
		}
	}
	order, long := walk.Route(start, points, false)
	for _, i := range order {
		if i < len(chosen) {
			l.Places = append(l.Places, pieces[chosen[i].Cell].place(&chosen[i], cells[chosen[i].Cell].Stand, rng))
		} else {
			l.Places = append(l.Places, spots[i-len(chosen)].places(o.Voice)...)
		}
	}
	// Ten counts of two rows: Student's t at 0.05 either side is near 1.83.
	f := record.WalkFacts{Strata: strata, Length: long, FromStart: w.Start != nil, Half: 1.83 * scatter / 100 * mean / math.Sqrt(float64(max(1, strata)))}
	spacing := pieces[0].spacing
	f.CountOver = relation.ThousandthAcre(spacing/evenstand.Inch) * evenstand.Foot
	f.Thinnest = len(chosen) - strata
	if g != nil && len(g.fit.Emerge) > 0 {
		f.Up = g.up(newest, l.Field)
	}
	l.CountOver, l.Spacing = evenstand.Number(f.CountOver), evenstand.Number(spacing)
	l.Boundary = b.outline(l.Field, frame)
	f.Share = " (a thousandth of an acre)"
	low, likely, high := relation.Must("R11-emergence-gdd", "GDD to emergence").Range()
	if first, mid, last, told := walk.Emergence(w.Temps, low, likely, high); mid >= 0 {
		f.First, f.Likely, f.Last, f.Told = l.Planted.Add(first), l.Planted.Add(mid), l.Planted.Add(last), told
	}
	return record.SayWalk(l, f, o.Voice), nil
}

// outlineOff is how far the drawn boundary may lie from the known one, m: a
// pixel or two of a picture.
const outlineOff = 2

// outline gives the rings of a field to be drawn, as longitude and latitude.
func (b *Book) outline(field string, frame ground.Frame) [][][2]float64 {
	out := [][][2]float64{}
	for _, f := range b.Fields() {
		if f.Name != field {
			continue
		}
		for _, rings := range f.Polygons {
			for _, ring := range rings {
				var line []ground.Point
				for _, p := range ring {
					e, n := frame.ToLocal(p[1], p[0])
					line = append(line, ground.Point{e, n})
				}
				var kept [][2]float64
				for _, p := range ground.Thin(line, outlineOff) {
					lat, lon := frame.ToGlobal(p[0], p[1])
					kept = append(kept, [2]float64{math.Round(lon*1e7) / 1e7, math.Round(lat*1e7) / 1e7})
				}
				out = append(out, kept)
			}
		}
	}
	return out
}

// piece is a stretch of a pass, of all rows, as a place to count.
type piece struct {
	frame    ground.Frame
	spacing  float64
	pass     *evenstand.Pass
	along    float64 // m from the start of the pass
	lat, lon float64
	rows     []float64 // seeds of each row, from row 1; NaN nothing known
}

// place makes a place of it: two rows beside one another, drawn, or in the worst
// ground the two with the fewest seeds.
func (p *piece) place(c *walk.Place, stand float64, rng *rand.Rand) record.WalkPlace {
	row := 1
	if n := len(p.rows) - 1; n > 0 {
		row = 1 + rng.IntN(n)
		if c.Stratum < 0 {
			for r := range n {
				if p.rows[r]+p.rows[r+1] < p.rows[row-1]+p.rows[row] {
					row = r + 1
				}
			}
		}
	}
	out := record.WalkPlace{Planter: p.pass.Planter, Lat: math.Round(p.lat*1e7) / 1e7, Lon: math.Round(p.lon*1e7) / 1e7, Pass: p.pass.Number, Key: p.pass.Key, Along: p.along, Rows: evenstand.Rows{row}, Expected: evenstand.Number(stand), Stratum: c.Stratum + 1, Worst: c.Worst}
	if len(p.rows) > 1 {
		out.Rows = append(out.Rows, row+1)
	}
	return out
}

// standing gives what is expected to stand in a field, stretch by stretch: seeds
// that were logged, less those that usually do not come up.
func (b *Book) standing(ctx context.Context, days []DaySummary, l *record.WalkList, g *grown, tries *tries) (cells []walk.Cell, pieces []piece, err error) {
	var frame *ground.Frame
	for i := range days {
		d := &days[i]
		if !slices.ContainsFunc(d.Planted, func(p Planted) bool { return p.Field == l.Field }) {
			continue
		}
		if l.Planted == "" || d.Day < l.Planted {
			l.Planted = d.Day
		}
		card, err := b.Card(d.Planter, d.Day)
		if err != nil {
			return nil, nil, err
		}
		if !(card.RowSpacing > 0) || card.Rows == 0 {
			continue
		}
		passes, err := b.Passes(ctx, d.Planter, d.Day)
		if err != nil {
			return nil, nil, err
		}
		by := map[int32]*evenstand.Pass{}
		for k := range passes {
			if passes[k].Field == l.Field {
				by[passes[k].Index] = &passes[k]
			}
		}
		err = b.StretchSums(ctx, d.Planter, d.Day, func(ss []evenstand.Stretch) error {
			if len(ss) == 0 || by[ss[0].Pass] == nil {
				return ctx.Err()
			}
			p := by[ss[0].Pass]
			pts, err := b.PassTrack(ctx, d.Planter, d.Day, p)
			if err != nil {
				return err
			}
			way := ground.NewWay(pts)
			reach := func(*evenstand.Stretch) []int { return nil }
			if g != nil {
				reach = g.claims.reach(d.Planter, d.Day, l.Field)
			}
			tried := tries.reach(d.Planter, d.Day, l.Field)
			up := g.up(d.Day.Year(), l.Field)
			type sum struct {
				seeds, area float64
				rows        []float64
				on          []rowOn
			}
			at := map[int32]*sum{}
			for k := range ss {
				s := &ss[k]
				if s.Grade == evenstand.NoGrade || math.IsNaN(float64(s.Seeds)) || int(s.Row) > card.Rows {
					continue
				}
				x := at[s.K]
				if x == nil {
					x = &sum{rows: make([]float64, card.Rows)}
					at[s.K] = x
				}
				x.seeds += g.stands(s, reach(s))
				for _, j := range tried(s) {
					x.on = append(x.on, rowOn{int(s.Row), j})
				}
				x.area += float64(s.Way) * card.RowSpacing
				x.rows[s.Row-1] += float64(s.Seeds)
			}
			for _, k := range slices.Sorted(maps.Keys(at)) {
				x := at[k]
				along := (float64(k) + 0.5) * evenstand.StretchLength
				lat, lon, _, ok := way.At(p.S0+along, 0)
				if !ok || x.area < 0.5*evenstand.StretchLength*card.RowSpacing*float64(card.Rows) {
					continue // a last piece, or most rows are not known
				}
				if frame == nil {
					f := ground.NewFrame(lat, lon)
					frame = &f
				}
				e, n := frame.ToLocal(lat, lon)
				cells = append(cells, walk.Cell{X: e, Y: n, Area: x.area, Stand: x.seeds / x.area * up})
				pieces = append(pieces, piece{*frame, card.RowSpacing, p, along, lat, lon, x.rows})
				tries.see(&pieces[len(pieces)-1], e, n, x.on, x.seeds/x.area*up)
			}
			return nil
		})
		if err != nil {
			return nil, nil, err
		}
	}
	return cells, pieces, nil
}

package book

import (
	"context"
	"maps"
	"math"
	"slices"

	"evenstand"
	"evenstand/core/ground"
	"evenstand/core/price"
	"evenstand/core/record"
	"evenstand/core/relation"
	"evenstand/core/stand"
	"evenstand/core/stat"
)

// countedAt is a count with what the logs have of its ground.
type countedAt struct {
	c      PlantCount
	season string
	area   float64 // m2; NaN not told
	seeds  float64 // per m2, with places that findings say are empty; NaN the logs have nothing of it
	logged float64 // per m2
	pass   int
	along  float64
	rows   evenstand.Rows // of the planter
	parts  []stand.Part
	off    float64 // m that its place lies outside of what was planted
	why    string  // it is not used
}

// claimSet are findings that counts can try.
type claimSet []evenstand.Finding

// claimsOf picks them out of findings as the logs alone have them.
func claimsOf(fs []evenstand.Finding, want func(f *evenstand.Finding) bool) (set claimSet, claims []stand.Claim) {
	for i := range fs {
		f := &fs[i]
		if !want(f) || f.Stage != evenstand.Raised || slices.Contains(f.Say, record.NoLonger) {
			continue
		}
		if c, ok := stand.Claimed(f); ok {
			set, claims = append(set, *f), append(claims, c)
		}
	}
	return set, claims
}

// reach gives a function that tells on which of them a stretch of a day lies.
func (set claimSet) reach(planter string, day evenstand.Day, field string) func(s *evenstand.Stretch) []int {
	var of []int
	for j := range set {
		if f := &set[j]; f.Planter == planter && f.Day == day && f.Field == field {
			of = append(of, j)
		}
	}
	return func(s *evenstand.Stretch) (out []int) {
		for _, j := range of {
			f := &set[j]
			if s.T >= f.Since && (f.Until == nil || s.T <= *f.Until) && (len(f.Rows) == 0 || f.Rows.Has(int(s.Row))) {
				out = append(out, j)
			}
		}
		return out
	}
}

// grown is what all counts of a logbook say.
type grown struct {
	fit    stand.Fit
	claims claimSet  // in the order of fit.Claims
	area   []float64 // of each claim's ground, m2
	target []float64 // seeds per m2 asked for on it
	gone   []float64 // mean of the draws of each claim
	counts []countedAt
}

// grownKey is what that rests on.
type grownKey struct {
	standKey
	counts int64
}

// besides is how far outside of a pass a count may lie, m: a telephone's place is
// true to 3 to 10 m (common knowledge, no source).
const besides = 10

// countSeed is the seed of the draws of all counts.
const countSeed = 20260402

// seasonField names a field of a year in a fit: fields stand once a season.
func seasonField(year, field string) string { return year + "/" + field }

// grown gives what the counts say, nil where nobody has counted. fs are the
// findings as the logs alone have them.
func (b *Book) grown(ctx context.Context, fs []evenstand.Finding, days []DaySummary) (*grown, error) {
	key := grownKey{}
	var err error
	if key.standKey, err = b.standKey(ctx); err == nil {
		err = b.db.QueryRowContext(ctx, "SELECT coalesce(max(rowid), 0) FROM stand_counts").Scan(&key.counts)
	}
	if err != nil {
		return nil, ledgerError(b.path(ledgerName), err)
	}
	if key.counts == 0 {
		return nil, nil
	}
	if g, ok := b.kept.grown.get(key); ok && len(g) == 1 {
		return g[0], nil
	}
	cs, err := b.PlantCounts(ctx, false)
	if err != nil {
		return nil, err
	}
	g := &grown{}
	wanted := map[string]bool{}
	for _, c := range cs {
		x := countedAt{c: c, season: evenstand.DayOf(c.Time(), b.Zone()).Year(), area: math.NaN(), seeds: math.NaN(), logged: math.NaN(), off: math.Inf(1)}
		if c.Plants == nil {
			x.why = "Only dug."
		} else if c.Latitude == nil {
			x.why = "It has no place."
		}
		wanted[seasonField(x.season, c.Field)] = true
		g.counts = append(g.counts, x)
	}
	var claims []stand.Claim
	g.claims, claims = claimsOf(fs, func(f *evenstand.Finding) bool { return wanted[seasonField(f.Day.Year(), f.Field)] })
	for range claims {
		g.area, g.target = append(g.area, 0), append(g.target, math.NaN())
	}
	for i := range days {
		d := &days[i]
		for _, p := range d.Planted {
			if wanted[seasonField(d.Day.Year(), p.Field)] {
				if err := b.placeCounts(ctx, d, p.Field, g); err != nil {
					return nil, err
				}
			}
		}
	}
	var use []stand.Count
	for i := range g.counts {
		x := &g.counts[i]
		switch {
		case x.why != "":
		case math.IsNaN(x.seeds):
			x.why = "No seeds were logged where it was taken."
		case math.IsNaN(x.area):
			x.why = "The spacing of the rows is not known."
		default:
			late := math.NaN()
			if x.c.Late != nil {
				late = float64(*x.c.Late)
			}
			use = append(use, stand.Count{Field: seasonField(x.season, x.c.Field), Plants: float64(*x.c.Plants), Late: late, Area: x.area, Seeds: x.seeds, Claims: x.parts})
		}
	}
	g.fit = stand.Do(use, claims, price.N, countSeed)
	for _, e := range g.fit.Claims {
		sum := 0.0
		for _, x := range e.Real {
			sum += x
		}
		g.gone = append(g.gone, sum/float64(len(e.Real)))
	}
	b.kept.grown.put(key, []*grown{g})
	return g, nil
}

// placeCounts finds the ground of counts on a day's passes of a field, and sums the
// ground of findings.
func (b *Book) placeCounts(ctx context.Context, d *DaySummary, field string, g *grown) error {
	card, err := b.Card(d.Planter, d.Day)
	if err != nil || !(card.RowSpacing > 0) || card.Rows == 0 {
		return err
	}
	passes, err := b.Passes(ctx, d.Planter, d.Day)
	if err != nil {
		return err
	}
	by := map[int32]*evenstand.Pass{}
	for k := range passes {
		if passes[k].Field == field {
			by[passes[k].Index] = &passes[k]
		}
	}
	targets := map[int][2]float64{}
	here := g.claims.reach(d.Planter, d.Day, field)
	var near []int // counts that may lie here
	for i := range g.counts {
		c := &g.counts[i]
		if c.why == "" && c.c.Field == field && c.season == d.Day.Year() && (c.c.Planter == "" || c.c.Planter == d.Planter) {
			near = append(near, i)
		}
	}
	half := math.Max(math.Abs(card.Y(1)), math.Abs(card.Y(card.Rows))) + card.RowSpacing/2
	return b.StretchSums(ctx, d.Planter, d.Day, func(ss []evenstand.Stretch) error {
		if len(ss) == 0 || by[ss[0].Pass] == nil {
			return ctx.Err()
		}
		p := by[ss[0].Pass]
		pts, err := b.PassTrack(ctx, d.Planter, d.Day, p)
		if err != nil {
			return err
		}
		way := ground.NewWay(pts)
		at := map[int32][]*evenstand.Stretch{}
		for k := range ss {
			s := &ss[k]
			if int(s.Row) > card.Rows {
				continue
			}
			at[s.K] = append(at[s.K], s)
			for _, j := range here(s) {
				area := float64(s.Way) * card.RowSpacing
				g.area[j] += area
				if t := float64(s.Target); t > 0 {
					x := targets[j]
					targets[j] = [2]float64{x[0] + area/(t*card.RowSpacing), x[1] + area}
					g.target[j] = targets[j][0] / targets[j][1]
				}
			}
		}
		for k, row := range at {
			lat, lon, heading, ok := way.At(p.S0+(float64(k)+0.5)*evenstand.StretchLength, 0)
			if !ok {
				continue
			}
			frame := ground.NewFrame(lat, lon)
			sin, cos := math.Sincos(heading * math.Pi / 180)
			for _, i := range near {
				c := &g.counts[i]
				e, n := frame.ToLocal(*c.c.Latitude, *c.c.Longitude)
				along, right := e*sin+n*cos, e*cos-n*sin
				// Of stretches that it lies on, the one whose middle is nearest.
				off := math.Hypot(max(0, math.Abs(along)-evenstand.StretchLength/2), max(0, math.Abs(right)-half)) + math.Abs(along)*1e-3
				if off > besides || off >= c.off {
					continue
				}
				if c.take(row, &card, right, here, g) {
					c.off, c.pass, c.along = off, p.Number, (float64(k)+0.5)*evenstand.StretchLength+along
				}
			}
		}
		return ctx.Err()
	})
}

// take fills in what the logs have of the rows of a stretch that a count is on: of
// those that it names, else of those nearest to its place. It tells whether they
// have anything.
func (c *countedAt) take(ss []*evenstand.Stretch, card *evenstand.Card, right float64, here func(*evenstand.Stretch) []int, g *grown) bool {
	rows, err := evenstand.ParseRows(c.c.Rows)
	if err != nil || len(rows) == 0 {
		rows = nearest(card, right, max(1, c.c.Counted))
	}
	seeds, empty, way, parts := 0.0, 0.0, 0.0, map[int]float64{}
	n := 0
	for _, s := range ss {
		if !rows.Has(int(s.Row)) || s.Grade == evenstand.NoGrade || math.IsNaN(float64(s.Seeds)) || !(s.Way > 0) {
			continue
		}
		n++
		seeds += float64(s.Seeds)
		way += float64(s.Way)
		worst, most := -1, 0.0 // empty places belong to the finding that misses the most
		for _, j := range here(s) {
			f := &g.claims[j]
			if price.Doubts(f) {
				parts[j]++
				continue
			}
			for _, h := range f.Harm {
				if share := float64(h.Share); empties(h.Kind) && (worst < 0 || share > most) {
					worst, most = j, share
				}
			}
		}
		if skips := float64(s.Skips); worst >= 0 && skips > 0 {
			empty += skips
			parts[worst] += skips
		}
	}
	if n == 0 || n < len(rows) {
		return false
	}
	ground := way * card.RowSpacing
	c.seeds, c.logged, c.rows, c.parts = (seeds+empty)/ground, seeds/ground, rows, nil
	for _, j := range slices.Sorted(maps.Keys(parts)) {
		part := stand.Part{Claim: j, Share: parts[j] / float64(n)}
		if !price.Doubts(&g.claims[j]) {
			part.Share = parts[j] / (seeds + empty)
		}
		c.parts = append(c.parts, part)
	}
	c.area = c.c.Area(card.RowSpacing)
	return true
}

// nearest gives the n rows beside one another nearest to a place right of the
// bar's middle.
func nearest(card *evenstand.Card, right float64, n int) evenstand.Rows {
	best, off := 1, math.Inf(1)
	for first := 1; first+n-1 <= card.Rows; first++ {
		if d := math.Abs((card.Y(first)+card.Y(first+n-1))/2 - right); d < off {
			best, off = first, d
		}
	}
	var rows evenstand.Rows
	for r := best; r < best+n && r <= card.Rows; r++ {
		rows = append(rows, r)
	}
	return rows
}

// tell puts what counts say into findings, and gives what prices each.
func (g *grown) tell(fs []evenstand.Finding) map[string]*price.Counted {
	if g == nil || len(g.fit.Usual) == 0 || len(g.fit.Emerge) == 0 {
		return nil
	}
	at := map[string]int{}
	for j := range g.claims {
		at[g.claims[j].ID] = j
	}
	out := map[string]*price.Counted{}
	for i := range fs {
		f := &fs[i]
		emerge := g.fit.Emerge[seasonField(f.Day.Year(), f.Field)]
		if emerge == nil {
			emerge = g.fit.Usual
		}
		j, ok := at[f.ID]
		if !ok {
			j, ok = g.same(f)
		}
		if !ok {
			out[f.ID] = &price.Counted{Emerge: emerge, Target: math.NaN()}
			continue
		}
		f.Causes = slices.Clone(f.Causes)
		out[f.ID] = stand.Tell(f, &g.fit.Claims[j], emerge, g.area[j], g.target[j])
	}
	return out
}

// up gives which share of the seeds of a field became plants: as counted there,
// as counted on the farm, or as is common.
func (g *grown) up(season, field string) float64 {
	_, up, _ := relation.Emergence()
	if g == nil || len(g.fit.Emerge) == 0 {
		return up
	}
	if e := g.fit.Emerge[seasonField(season, field)]; e != nil {
		return stat.Median(e)
	}
	return stat.Median(g.fit.Usual)
}

// stands gives the seeds of a stretch that can have become plants, by what counts
// say of findings: those that only were not seen too, and fewer where ground lost
// some.
func (g *grown) stands(s *evenstand.Stretch, here []int) float64 {
	seeds := float64(s.Seeds)
	if g == nil {
		return seeds
	}
	unseen := 0.0
	for _, j := range here {
		if e := &g.fit.Claims[j]; !e.Told() {
			continue
		} else if price.Doubts(&g.claims[j]) {
			seeds *= 1 - g.gone[j]
		} else {
			unseen = max(unseen, float64(s.Skips)*(1-g.gone[j]))
		}
	}
	return seeds + unseen
}

// same finds the claim whose counts tell of a finding about the ground of a field:
// one of its rows there that has been told.
func (g *grown) same(f *evenstand.Finding) (int, bool) {
	if !evenstand.OfField(f.Kind) || len(f.Rows) == 0 {
		return 0, false
	}
	for j := range g.claims {
		c := &g.claims[j]
		if c.Field == f.Field && c.Day.Year() == f.Day.Year() && !price.Doubts(c) && g.fit.Claims[j].Told() &&
			!slices.ContainsFunc(f.Rows, func(r int) bool { return !c.Rows.Has(r) }) {
			return j, true
		}
	}
	return 0, false
}

// empties tells whether a harm is places without a seed.
func empties(k evenstand.HarmKind) bool {
	return k == evenstand.MissingSeeds || k == evenstand.EmptyGround
}

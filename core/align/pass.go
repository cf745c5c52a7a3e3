package align

import (
	"iter"
	"math"
	"slices"
	"sort"

	"evenstand"
	"evenstand/core/ground"
)

// PassOptions say what Passes needs beside the path.
type PassOptions struct {
	Planter    string
	Fields     []evenstand.Field
	Width      float64 // m, of the planter; NaN unknown
	ClockError float64 // s, half-width of the 90 % interval between seed and receiver clocks; NaN unknown
	FallSD     float64 // s, SD of the time of fall
}

// Limits of passes: methods document, section l, but for those said to be
// judged.
const (
	passSpeed   = 0.5                   // m/s that a pass must reach
	rolling     = 0.05                  // m/s below which the planter stands (judged)
	turnAngle   = math.Pi / 3           // a turn by more within turnWay parts a pass
	turnWay     = 20.0                  // m
	shortPass   = 15.0                  // m, shorter pieces join a neighbour
	noPass      = 1.0                   // m, shorter ones that stand alone are none (judged)
	nearEdge    = 2.0                   // widths from the boundary that are headland
	edgeShare   = 0.6                   // share of the way near the edge that makes a headland pass
	crossing    = math.Pi / 4           // from the main heading
	sampleWay   = 5.0                   // m between the places asked for field and edge (judged)
	straightish = 0.9                   // mean resultant length below which a pass has no heading: an arc of 90 degrees (judged)
	rejoinTime  = 10 * evenstand.Second // a short piece joins one lifted less long ago (judged)
	rejoinWay   = 5.0                   // m of path in between at most (judged)
)

// span is a pass in the making: entries [from, to] of the path.
type span struct {
	from, to   int
	start, end evenstand.Micros
	follows    bool // it was cut off the one before, without a lift
}

// Passes cuts the path into passes, in order of time: where the planter is
// down and moves, parted by lifts of more than 2 s and by turns. A pass takes
// in all the way it rolled before reaching passing speed.
func Passes(path *Path, down []Interval, opt PassOptions) []evenstand.Pass {
	iv := slices.Clone(down)
	iv = slices.DeleteFunc(iv, func(v Interval) bool { return v.To <= v.From })
	slices.SortFunc(iv, func(a, b Interval) int {
		switch {
		case a.From < b.From:
			return -1
		case a.From > b.From:
			return 1
		}
		return 0
	})
	iv = bridge(iv, liftParts+1)
	var spans []span
	for _, v := range iv {
		if s, ok := path.moving(v); ok {
			spans = append(spans, path.turns(s)...)
		}
	}
	spans = path.join(spans)

	regions := make([]*ground.Region, len(opt.Fields))
	for i, f := range opt.Fields {
		regions[i] = ground.NewRegion(path.Frame, f)
	}
	c := path.Cursor()
	passes := make([]evenstand.Pass, len(spans))
	notes := make([]survey, len(spans))
	for i, s := range spans {
		notes[i] = path.survey(s, regions, opt)
		p := &passes[i]
		*p = evenstand.Pass{
			Index: int32(i), Planter: opt.Planter,
			Key:   opt.Planter + "/" + s.start.Time().Format("20060102T150405Z"),
			Start: s.start, End: s.end, S0: c.At(s.start).S, S1: c.At(s.end).S,
			Heading: notes[i].heading, PosError: notes[i].posError,
			Field: evenstand.Unassigned,
		}
		if r := notes[i].region; r >= 0 {
			p.Field = regions[r].Name
		}
	}
	number(passes)
	headlands(passes, notes)
	return passes
}

// number counts the passes of each field from 1, in order of time.
func number(passes []evenstand.Pass) {
	n := map[string]int{}
	for i := range passes {
		n[passes[i].Field]++
		passes[i].Number = n[passes[i].Field]
	}
}

// moving gives the entries of a span of time from where the bar rolls for
// passing speed to where it stands again; false when it never reached it.
func (p *Path) moving(v Interval) (span, bool) {
	i0 := sort.Search(len(p.T), func(i int) bool { return p.T[i] >= v.From })
	i1 := sort.Search(len(p.T), func(i int) bool { return p.T[i] >= v.To }) - 1
	a, b := i0, i1
	for a <= i1 && !(p.V[a] > passSpeed) {
		a++
	}
	for b >= i0 && !(p.V[b] > passSpeed) {
		b--
	}
	if a >= b {
		return span{}, false
	}
	for a > i0 && p.V[a-1] > rolling {
		a--
	}
	for b < i1 && p.V[b+1] > rolling {
		b++
	}
	s := span{from: a, to: b, start: p.T[a], end: p.T[b] + 1}
	// The edges lie between entries.
	if a == i0 && a > 0 && v.From > p.T[a-1] {
		s.start = v.From
	}
	if b == i1 && b+1 < len(p.T) {
		s.end = min(v.To, p.T[b+1])
	}
	return s, true
}

// turns parts a span in the middle of each turn of more than turnAngle within
// turnWay.
func (p *Path) turns(s span) []span {
	var out []span
	cut := func(m int) {
		out = append(out, span{from: s.from, to: m, start: s.start, end: p.T[m], follows: s.follows})
		s.from, s.start, s.follows = m, p.T[m], true
	}
	j := s.from
	worst, at := 0.0, -1
	for i := s.from; i <= s.to; i++ {
		j = max(j, i)
		for j < s.to && p.S[j] < p.S[i]+turnWay {
			j++
		}
		d := math.Abs(p.Psi[j] - p.Psi[i])
		if d > turnAngle && d > worst {
			worst, at = d, i
		}
		if at >= 0 && (d <= turnAngle || p.S[i] > p.S[at]+turnWay) {
			m := at
			for m < s.to && p.S[m] < p.S[at]+turnWay/2 {
				m++
			}
			cut(m)
			i, j, worst, at = max(i, m), m, 0, -1
		}
	}
	if at >= 0 {
		m := at
		for m < s.to && p.S[m] < p.S[at]+turnWay/2 {
			m++
		}
		if m > s.from && m < s.to {
			cut(m)
		}
	}
	return append(out, s)
}

// join merges pieces shorter than shortPass with a neighbour that they were
// cut off from, or that a short lift parts them from on the same heading.
func (p *Path) join(spans []span) []span {
	length := func(s span) float64 { return p.S[s.to] - p.S[s.from] }
	joins := func(a, b span) bool {
		if b.follows {
			return true
		}
		return b.start-a.end <= rejoinTime && p.S[b.from]-p.S[a.to] <= rejoinWay &&
			math.Abs(p.Psi[b.from]-p.Psi[a.to]) < math.Pi/6
	}
	bend := func(a, b span) float64 { // between the middles
		return math.Abs(p.Psi[(a.from+a.to)/2] - p.Psi[(b.from+b.to)/2])
	}
	for i := 0; i < len(spans); {
		s := spans[i]
		if length(s) >= shortPass {
			i++
			continue
		}
		before := i > 0 && joins(spans[i-1], s)
		after := i+1 < len(spans) && joins(s, spans[i+1])
		if before && after {
			if bend(spans[i-1], s) <= bend(s, spans[i+1]) {
				after = false
			} else {
				before = false
			}
		}
		switch {
		case before:
			spans[i-1].to, spans[i-1].end = s.to, s.end
			spans = slices.Delete(spans, i, i+1)
			i--
		case after:
			spans[i+1].from, spans[i+1].start, spans[i+1].follows = s.from, s.start, s.follows
			spans = slices.Delete(spans, i, i+1)
		case length(s) < noPass:
			spans = slices.Delete(spans, i, i+1)
		default:
			i++
		}
	}
	return spans
}

// survey is what the ground says of a pass.
type survey struct {
	region   int     // -1 none
	heading  float64 // degrees from true north, NaN
	length   float64
	edge     float64 // share of the way near the boundary
	posError float64
}

func (p *Path) survey(s span, regions []*ground.Region, opt PassOptions) survey {
	out := survey{region: -1, length: p.S[s.to] - p.S[s.from]}
	// Heading by the way.
	var sx, cx, way float64
	var n, err2 float64
	clock := opt.ClockError / 1.6448536269514722 // half-width of 90 % to SD
	half := opt.Width * opt.Width / 12           // mean of y² over the rows
	if math.IsNaN(half) {
		half = 0
	}
	var places []ground.Point
	next := p.S[s.from]
	for i := s.from; i <= s.to; i++ {
		if i > s.from {
			ds := p.S[i] - p.S[i-1]
			sn, cs := math.Sincos(p.Psi[i])
			sx, cx, way = sx+ds*sn, cx+ds*cs, way+ds
		}
		if p.S[i] >= next {
			places = append(places, ground.Point{p.E[i], p.N[i]})
			next = p.S[i] + sampleWay
		}
		if v := p.V[i]; v > passSpeed {
			n++
			err2 += p.SD[i]*p.SD[i] + half*p.PsiSD[i]*p.PsiSD[i] + v*v*(clock*clock+opt.FallSD*opt.FallSD)
		}
	}
	out.heading = math.NaN()
	if r := math.Hypot(sx, cx); way > 0 && r >= straightish*way {
		mid := (s.from + s.to) / 2
		h := (math.Atan2(sx, cx) + p.Frame.Convergence(p.E[mid], p.N[mid])) * 180 / math.Pi
		out.heading = math.Mod(h+720, 360)
	}
	out.posError = math.NaN()
	if !p.Antenna && n > 0 {
		out.posError = 1.6448536269514722 * math.Sqrt(err2/n)
	}
	most := 0
	for r, g := range regions {
		in := 0
		for _, q := range places {
			if g.Contains(q[0], q[1]) {
				in++
			}
		}
		if in > most && 2*in >= len(places) {
			most, out.region = in, r
		}
	}
	if out.region >= 0 && opt.Width > 0 {
		near := 0
		for _, q := range places {
			if regions[out.region].Distance(q[0], q[1]) <= nearEdge*opt.Width {
				near++
			}
		}
		out.edge = float64(near) / float64(len(places))
	}
	return out
}

// headlands marks the passes along the edge of their field, and those across
// its main heading: the length-weighted mean of doubled angles of the passes
// away from the edge, or of all when there are none.
func headlands(passes []evenstand.Pass, notes []survey) {
	type sum struct{ s, c, s2, c2 float64 }
	by := map[string]*sum{}
	for i, p := range passes {
		m := by[p.Field]
		if m == nil {
			m = &sum{}
			by[p.Field] = m
		}
		if h := p.Heading; !math.IsNaN(h) {
			sn, cs := math.Sincos(2 * h * math.Pi / 180)
			m.s, m.c = m.s+notes[i].length*sn, m.c+notes[i].length*cs
			if notes[i].edge <= edgeShare {
				m.s2, m.c2 = m.s2+notes[i].length*sn, m.c2+notes[i].length*cs
			}
		}
	}
	for i := range passes {
		p := &passes[i]
		m := by[p.Field]
		sn, cs := m.s2, m.c2
		if sn == 0 && cs == 0 {
			sn, cs = m.s, m.c
		}
		p.Headland = notes[i].edge > edgeShare
		if !math.IsNaN(p.Heading) && (sn != 0 || cs != 0) {
			d := math.Abs(math.Remainder(2*p.Heading*math.Pi/180-math.Atan2(sn, cs), 2*math.Pi)) / 2
			p.Headland = p.Headland || d > crossing
		}
	}
}

// Points gives the bar's path for keeping, one point every so many seconds of
// each piece, with the index of the pass that it belongs to.
func (p *Path) Points(every float64, passes []evenstand.Pass) iter.Seq[evenstand.TrackPoint] {
	stride := max(1, int(math.Round(every/p.step.Seconds())))
	return func(yield func(evenstand.TrackPoint) bool) {
		k := 0
		for _, piece := range p.Pieces {
			for i := piece.From; i < piece.To; i += stride {
				for k < len(passes) && passes[k].End <= p.T[i] {
					k++
				}
				pass := int32(-1)
				if k < len(passes) && p.T[i] >= passes[k].Start {
					pass = passes[k].Index
				}
				lat, lon := p.Frame.ToGlobal(p.E[i], p.N[i])
				h := (p.Psi[i] + p.Frame.ConvergenceAt(lat, lon)) * 180 / math.Pi
				h = math.Mod(h, 360)
				if h < 0 {
					h += 360
				}
				if !yield(evenstand.TrackPoint{T: p.T[i], Pass: pass, Lat: lat, Lon: lon, S: p.S[i], Heading: h, Speed: p.V[i], SD: p.SD[i]}) {
					return
				}
			}
		}
	}
}

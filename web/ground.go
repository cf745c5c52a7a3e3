package web

import (
	"context"
	"math"
	"runtime"
	"slices"
	"sync"
	"time"

	"evenstand"
	"evenstand/book"
	"evenstand/core/measure/group"
)

// season is the ground of the whole logbook in a form to be drawn from: where
// the bar stood at every stretch's end, and what each stretch adds to each
// measure. A season of 2,000 acres, 0.7 million stretches of a row, takes some
// 6 MB a measure.
type season struct {
	days   []*groundDay
	scales []legendScale // by measure, in the order of group.Measures
}

// groundDay is a machine-day of it.
type groundDay struct {
	planter string
	day     evenstand.Day
	at      int32 // place among the days
	rows    int
	spacing float64 // m, as the card says; NaN unknown
	wide    float64 // m, as it is drawn
	y       []float64
	groups  []span // rows that are drawn as one from halfway
	passes  []groundPass
	columns []partColumn // by measure; empty: nothing of it is known
	cut     []bool       // by cell: the row planted only a part of it
}

// span is from the first to the last, both included.
type span struct{ from, to int }

// groundPass is a pass of it; its cells stand by row, then by place.
type groundPass struct {
	pass     *evenstand.Pass
	nodes    []node  // at 15 k m, the last one at the pass's end; nil: nobody knows where
	cells    int     // first cell
	box      box     // of the bar's centre
	half     float64 // m from the middle to the outer side of the outermost row
	rows     int
	stretchN int // stretches of a row
}

// node is the bar's centre at the end of a stretch, in Mercator's square (0 to
// 1 eastward and southward), with the step of one metre to the right there.
type node struct {
	x, y   float64
	rx, ry float64
	t      evenstand.Micros
}

// partColumn is what the cells add to one measure; n is 0 where one does not
// tell.
type partColumn struct{ n, s, q []float32 }

type box struct{ x0, y0, x1, y1 float64 }

func noBox() box { return box{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)} }

func (b *box) add(x, y, d float64) {
	b.x0, b.y0, b.x1, b.y1 = min(b.x0, x-d), min(b.y0, y-d), max(b.x1, x+d), max(b.y1, y+d)
}

func (b *box) join(o box) {
	b.x0, b.y0, b.x1, b.y1 = min(b.x0, o.x0), min(b.y0, o.y0), max(b.x1, o.x1), max(b.y1, o.y1)
}

func (b *box) area() float64 { return (b.x1 - b.x0) * (b.y1 - b.y0) }

func (b *box) empty() bool { return b.x0 > b.x1 }

// degrees gives west, south, east and north.
func (b *box) degrees() []float64 {
	north, west := fromMercator(b.x0, b.y0)
	south, east := fromMercator(b.x1, b.y1)
	return []float64{west, south, east, north}
}

func (b *box) meets(o box) bool { return b.x0 <= o.x1 && b.x1 >= o.x0 && b.y0 <= o.y1 && b.y1 >= o.y0 }

// drawnSpacing is the row spacing that is drawn where no card says one: 30 in.
const drawnSpacing = 0.762

// mostGroup is how many rows are drawn as one where the card has no sections.
const mostGroup = 4

// season gives the ground, made once for what the logs say.
func (s *Server) season(ctx context.Context) (*season, error) {
	now := s.told.Load() // before the days: what changes meanwhile is asked for again
	days, err := s.allDays(ctx)
	if err != nil {
		return nil, err
	}
	return s.ground.of(now, func() (*season, error) {
		ctx := context.WithoutCancel(ctx)
		tells, err := s.tellings(ctx)
		if err != nil {
			return nil, err
		}
		out := &season{days: make([]*groundDay, len(days))}
		errs := make([]error, len(days))
		var wg sync.WaitGroup
		next := make(chan int)
		for range min(runtime.GOMAXPROCS(0), max(1, len(days))) {
			wg.Go(func() {
				for i := range next {
					errs[i] = s.guarded(func() (err error) {
						out.days[i], err = s.groundDay(ctx, &days[i], int32(i), tells(days[i].Planter, days[i].Day))
						return err
					})
				}
			})
		}
		for i := range days {
			next <- i
		}
		close(next)
		wg.Wait()
		for _, err := range errs {
			if err != nil {
				return nil, err
			}
		}
		for k, m := range group.Measures() {
			out.scales = append(out.scales, out.scale(k, &m))
		}
		return out, nil
	})
}

// aheadBy is how long after the first worklist the ground is put together
// before anybody asks for it: a second's work on a season, once the page has
// come.
const aheadBy = 2 * time.Second

// ahead does a thing once, a while after it was asked for.
type ahead struct {
	once  sync.Once
	timer *time.Timer
	wait  sync.WaitGroup
}

func (a *ahead) begin(do func()) {
	a.once.Do(func() {
		a.wait.Add(1)
		a.timer = time.AfterFunc(aheadBy, func() {
			defer a.wait.Done()
			do()
		})
	})
}

// stop waits for what runs; what has not begun does not begin any more.
func (a *ahead) stop() {
	a.once.Do(func() {})
	if a.timer != nil && a.timer.Stop() {
		a.wait.Done()
	}
	a.wait.Wait()
}

func (s *Server) groundDay(ctx context.Context, d *book.DaySummary, at int32, tells telling) (*groundDay, error) {
	g := &groundDay{planter: d.Planter, day: d.Day, at: at}
	card, err := s.book.Card(d.Planter, d.Day)
	if err != nil {
		return nil, err
	}
	passes, err := s.book.Passes(ctx, d.Planter, d.Day)
	if err != nil {
		return nil, err
	}
	g.rows, g.spacing, g.wide = card.Rows, card.RowSpacing, card.RowSpacing
	g.passes = make([]groundPass, len(passes))
	for i := range passes {
		g.passes[i].pass = &passes[i]
	}
	if err := g.stretches(ctx, s.book, tells); err != nil {
		return nil, err
	}
	if math.IsNaN(g.wide) {
		g.wide = drawnSpacing
	}
	for row := range g.rows {
		y := card.Y(row + 1)
		if math.IsNaN(y) {
			y = (float64(row) - float64(g.rows-1)/2) * g.wide
		}
		g.y = append(g.y, y)
	}
	g.groups = groupsOf(&card, g.rows)
	return g, g.ways(ctx, s.book)
}

// groupsOf gives the rows that are drawn as one from halfway: the sections of
// the card where each is a run of few rows, else four at a time.
func groupsOf(card *evenstand.Card, rows int) []span {
	var out []span
	for _, x := range card.Sections {
		n := len(x.Rows)
		if n == 0 || n > 2*mostGroup || x.Rows[n-1]-x.Rows[0] != n-1 || x.Rows[0] < 1 || x.Rows[n-1] > rows {
			out = nil
			break
		}
		out = append(out, span{x.Rows[0] - 1, x.Rows[n-1] - 1})
	}
	slices.SortFunc(out, func(a, b span) int { return a.from - b.from })
	next := 0
	for _, g := range out {
		if g.from != next {
			break
		}
		next = g.to + 1
	}
	if len(out) > 1 && next == rows {
		return out
	}
	out = nil
	for from := 0; from < rows; from += mostGroup {
		out = append(out, span{from, min(rows, from+mostGroup) - 1})
	}
	return out
}

// stretches takes up what every stretch adds to every measure. The book gives
// the stretches of a pass together.
func (g *groundDay) stretches(ctx context.Context, b *book.Book, tells telling) error {
	all := group.Measures()
	g.columns = make([]partColumn, len(all))
	told := make([]bool, len(all))
	cells, room := 0, 0
	for i := range g.passes {
		p := g.passes[i].pass
		room += g.rows * (int((p.S1-p.S0)/evenstand.StretchLength) + 1)
	}
	pass := func(ss []evenstand.Stretch) {
		p := &g.passes[ss[0].Pass]
		p.rows = g.rows
		for i := range ss {
			p.stretchN = max(p.stretchN, int(ss[i].K)+1)
			p.rows = max(p.rows, int(ss[i].Row))
		}
		g.rows = p.rows // a card may know fewer rows than were logged
		p.cells = cells
		cells += p.rows * p.stretchN
		g.cut = append(g.cut, make([]bool, cells-len(g.cut))...)
		for i := range ss {
			if ss[i].Row >= 1 && ss[i].K >= 0 {
				g.cut[p.cells+(int(ss[i].Row)-1)*p.stretchN+int(ss[i].K)] = cut(&ss[i])
			}
		}
		for m := range all {
			c := &g.columns[m]
			if told[m] {
				c.grow(cells, room, all[m].Squares())
			}
			for i := range ss {
				part, ok := all[m].Part(&ss[i], g.spacing)
				if !ok || !tells.tells(&all[m], &ss[i]) || ss[i].Row < 1 || ss[i].K < 0 {
					continue
				}
				if !told[m] {
					told[m] = true
					c.grow(cells, room, all[m].Squares())
				}
				k := p.cells + (int(ss[i].Row)-1)*p.stretchN + int(ss[i].K)
				c.n[k], c.s[k] = float32(part.N), float32(part.S)
				if c.q != nil {
					c.q[k] = float32(part.Q)
				}
			}
		}
	}
	return b.StretchSums(ctx, g.planter, g.day, func(ss []evenstand.Stretch) error {
		for from := 0; from < len(ss); {
			to := from + 1
			for to < len(ss) && ss[to].Pass == ss[from].Pass {
				to++
			}
			if p := ss[from].Pass; p >= 0 && int(p) < len(g.passes) {
				pass(ss[from:to])
			}
			from = to
		}
		return nil
	})
}

// cut tells whether a row planted less than nine tenths of a stretch: a pass ended
// on it, or the row was switched off on a part, so that its figure says little of
// the ground that the cell covers.
func cut(s *evenstand.Stretch) bool {
	return float64(s.Way-max(0, s.Off)) < 0.9*evenstand.StretchLength
}

// grow makes room for n cells, and for as many as are expected at once.
func (c *partColumn) grow(n, room int, squares bool) {
	more := func(v []float32) []float32 {
		if cap(v) < n {
			v = slices.Grow(v, max(n, room)-len(v))
		}
		return v[:n]
	}
	c.n, c.s = more(c.n), more(c.s)
	if squares {
		c.q = more(c.q)
	}
}

func (c *partColumn) part(i int) group.Part {
	p := group.Part{N: float64(c.n[i]), S: float64(c.s[i])}
	if c.q != nil {
		p.Q = float64(c.q[i])
	}
	return p
}

// ways finds where the bar stood at each stretch's end, from the day's track,
// whose metres only grow.
func (g *groundDay) ways(ctx context.Context, b *book.Book) error {
	order := make([]*groundPass, 0, len(g.passes))
	for i := range g.passes {
		if p := &g.passes[i]; p.stretchN > 0 {
			order = append(order, p)
		}
	}
	slices.SortStableFunc(order, func(a, b *groundPass) int {
		switch {
		case a.pass.S0 < b.pass.S0:
			return -1
		case a.pass.S0 > b.pass.S0:
			return 1
		}
		return 0
	})
	at, k := 0, 0 // the node looked for
	var before evenstand.TrackPoint
	have := false
	put := func(a, b *evenstand.TrackPoint, s float64) {
		p := order[at]
		p.nodes = append(p.nodes, between(a, b, s))
		if k++; k > p.stretchN {
			at, k = at+1, 0
		}
	}
	target := func() float64 {
		p := order[at].pass
		if k == order[at].stretchN {
			return max(p.S1, p.S0+float64(k-1)*evenstand.StretchLength)
		}
		return p.S0 + float64(k)*evenstand.StretchLength
	}
	err := b.Places(ctx, g.planter, g.day, func(ps []evenstand.TrackPoint) error {
		for i := range ps {
			if math.IsNaN(ps[i].Lat) || math.IsNaN(ps[i].Lon) {
				continue
			}
			for at < len(order) && ps[i].S >= target() {
				if !have {
					before, have = ps[i], true
				}
				put(&before, &ps[i], target())
			}
			before, have = ps[i], true
		}
		return nil
	})
	for have && at < len(order) && k > 0 { // the track ends with the pass
		put(&before, &before, target())
	}
	half := 0.0
	for _, y := range g.y {
		half = max(half, math.Abs(y)+g.wide/2)
	}
	for _, p := range order {
		if len(p.nodes) != p.stretchN+1 {
			p.nodes = nil
			continue
		}
		p.box = noBox()
		p.half = half
		for i := range p.nodes {
			n := &p.nodes[i]
			p.box.add(n.x, n.y, p.half*math.Hypot(n.rx, n.ry))
		}
	}
	return err
}

// between gives the node at s between two points of a track.
func between(a, b *evenstand.TrackPoint, s float64) node {
	f := 1.0
	if b.S > a.S {
		f = max(0, min(1, (s-a.S)/(b.S-a.S)))
	}
	mid := func(x, y float64) float64 { return x + (y-x)*f }
	lat := mid(a.Lat, b.Lat)
	ax, ay := mercator(a.Lat, a.Lon)
	bx, by := mercator(b.Lat, b.Lon)
	n := node{x: mid(ax, bx), y: mid(ay, by), t: a.T + evenstand.Micros(f*float64(b.T-a.T))}
	as, ac := math.Sincos(a.Heading * math.Pi / 180)
	bs, bc := math.Sincos(b.Heading * math.Pi / 180)
	sin, cos := mid(as, bs), mid(ac, bc)
	ex, ny := metre(lat)
	if h := math.Hypot(sin, cos); h > 0 {
		sin, cos = sin/h, cos/h
	} else { // no heading: the way itself
		e, n := (bx-ax)/ex, (ay-by)/ny
		if h := math.Hypot(e, n); h > 0 {
			sin, cos = e/h, n/h
		}
	}
	n.rx, n.ry = cos*ex, sin*ny
	return n
}

// mercator puts a place into the square of web maps: 0 to 1 from west to east
// and from north to south.
func mercator(lat, lon float64) (x, y float64) {
	return (lon + 180) / 360, 0.5 - math.Asinh(math.Tan(lat*math.Pi/180))/(2*math.Pi)
}

func fromMercator(x, y float64) (lat, lon float64) {
	return math.Atan(math.Sinh((0.5-y)*2*math.Pi)) * 180 / math.Pi, x*360 - 180
}

// metre gives what one metre to the east and one to the north are in that
// square at a latitude (radii of curvature of WGS 84).
func metre(lat float64) (east, north float64) {
	const a, f = 6378137.0, 1 / 298.257223563
	const e2 = f * (2 - f)
	sin, cos := math.Sincos(lat * math.Pi / 180)
	w := math.Sqrt(1 - e2*sin*sin)
	primeVertical, meridian := a/w, a*(1-e2)/(w*w*w)
	return 1 / (2 * math.Pi * primeVertical * cos), 1 / (2 * math.Pi * meridian * cos)
}

// side gives the place y m to the right of a node.
func (n *node) side(y float64) (float64, float64) { return n.x + y*n.rx, n.y + y*n.ry }

// GroundFilter says which passes are looked at.
type GroundFilter struct {
	Planter string `query:"planter"`
	Field   string `query:"field"`
	From    string `query:"from" doc:"First day, 2026-05-02"`
	To      string `query:"to" doc:"Last day"`
}

// each calls f for every pass that the filter lets through and whose place is
// known.
func (g *season) each(f *GroundFilter, do func(*groundDay, *groundPass)) {
	for _, d := range g.days {
		day := string(d.day)
		if f.Planter != "" && d.planter != f.Planter || f.From != "" && day < f.From || f.To != "" && day > f.To {
			continue
		}
		for i := range d.passes {
			p := &d.passes[i]
			if p.nodes != nil && (f.Field == "" || p.pass.Field == f.Field) {
				do(d, p)
			}
		}
	}
}

// sum adds up the cells of some rows (both included) over some stretches of a
// pass; told is how many of all cells tell, and cut how many were planted in part.
func (d *groundDay) sum(p *groundPass, c *partColumn, rows span, from, to int) (sum group.Part, told, cut, all int) {
	for row := rows.from; row <= min(rows.to, p.rows-1); row++ {
		i := p.cells + row*p.stretchN
		for k := i + from; k < i+to; k++ {
			all++
			if d.cut[k] {
				cut++
			}
			if c.n[k] > 0 {
				told++
				sum.Add(c.part(k))
			}
		}
	}
	return sum, told, cut, all
}

// measureAt gives a measure and its place among all.
func measureAt(id string) (group.Measure, int, bool) {
	all := group.Measures()
	k := slices.IndexFunc(all, func(m group.Measure) bool { return m.ID == id })
	if k < 0 {
		return group.Measure{}, -1, false
	}
	return all[k], k, true
}

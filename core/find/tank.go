package find

import (
	"cmp"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"evenstand"
	"evenstand/core/measure/tank"
	"evenstand/core/stat"
)

// What is in tanks and seed boxes, by levels where a box logs them, by fills
// that people wrote down, and by what the meters and seed sensors say went out
// (methods, sections m and o).
const (
	tankStill    = 5         // s of standing after which a level is still (judgement)
	tankWindow   = 10        // s of levels that are averaged
	tankLevelSD  = 0.02      // of the tank's size: a level read at a stop (methods, o)
	gaugeSD      = 0.005     // of the size: what a gauge is off by, all day (judgement)
	tankRise     = 0.03      // of the size, in a window: it is being filled
	tankJump     = 0.05      // of the size above what must be in it: it was filled meanwhile
	tankNote     = 20 * 60   // s that a fill may be written down before or after it is seen
	tankPiece    = 60        // s of planting of a piece of ground over which use is measured
	tankPieces   = 5         // before a forecast is made
	tankLead     = 30 * 60.0 // s before the tank may be empty at which it is said: a tender must come (judgement)
	tankChance   = 0.05      // that it is empty by then (methods, o)
	tankPoints   = 4         // readings before tank and meter are compared
	tankShown    = 0.15      // of the size, used by then
	tankSure     = 0.95      // chance that something is wrong
	tankFewest   = 0.02      // of the size, that a leak loses
	tankKept     = 240       // readings kept: a long day's stops
	unknownLeft  = 0.1       // of a first fill, that was in the boxes before: nothing to twice that, one as likely as the other (judgement)
	imbalance    = 0.08      // of what a row got, between tanks of one product
	imbalanceSDs = 3.0       // errors that it must exceed
	workMemory   = 1800.0    // s over which the pace of the work is remembered
	paceStands   = 5 * 60    // s without planting after which time does not count as work
	seedFillSD   = 0.015     // of seeds counted, against a scale (methods, o)
	emptyOfUse   = 0.25      // of the size: less than that is worth nothing to compare
	levelDriving = 10 * 60   // s between levels that are taken while driving
	drivingSD    = 1.5 * tankLevelSD
)

// Tank is a tank of the card.
type Tank struct {
	N        int
	Name     string  // what is in it, or what people call it
	Capacity float64 // m3; NaN unknown
	Rows     []int
}

// Fill is a line of the journal: how much of what was filled. What is not said
// is NaN.
type Fill struct {
	T             evenstand.Micros
	Seeds, Volume float64
	Words         string // what people wrote beside it
}

// stock is a tank, or the seed boxes.
type stock struct {
	name     string
	n        int // of the tank; 0 the seed boxes
	rows     []int
	size     float64 // m3 or seeds; NaN unknown
	most     float64 // highest content seen
	known    bool
	shared   bool // another tank feeds rows of it too
	guessed  bool // what was in it before its first fill is guessed
	gauged   bool // a level was read
	belief   tank.Belief
	use      tank.Use
	shown    float64 // since it is known
	from     evenstand.Micros
	at       float64 // content when it became known, and its error
	atSD     float64
	points   []tank.Point
	piece    struct{ shown, area, s float64 }
	window   stat2
	sec      int
	stop     []float64 // windows of this stop, or of it since it was filled
	filling  bool
	jumped   bool
	note     Fill
	noted    bool
	lastFill evenstand.Micros
	driven   evenstand.Micros // when a level was last taken while driving
	fell     float64          // seeds fallen up to the last tick
	dis      *caseFile
}

type tankWatch struct {
	stocks []*stock
	seed   *stock
	still  int
	work   float64 // m2 a second, turns and short stops included
	worked float64 // s of that
	idle   int
	pass   float64 // m2 of this pass
	passes float64 // m2 of a pass, as they are of late
	was    bool    // in a pass at the last tick
	soon   *caseFile
	uneven *caseFile
	pairs  map[[2]int]*tankPair
}

// tankCase is what such a finding rests on.
type tankCase struct {
	of      *stock
	with    *stock // the other tank, of an imbalance
	verdict tank.Verdict
	shown   float64     // by the meter, that the verdict rests on
	room    float64     // of the tank, or of all of its product
	out     []stockLeft // the first to run out first
	work    float64
	pass    float64
	ratio   [2]float64 // log of one tank's use a row over the other's, and its error
}

// stockLeft is how far a stock goes.
type stockLeft struct {
	of             *stock
	left, leftSD   float64
	area, areaSD   float64
	toFill, chance float64
	used           float64 // since the last fill
}

// initTanks takes the tanks of the card.
func (e *Engine) initTanks() {
	w := &e.tanks
	for _, t := range e.cfg.Tanks {
		w.stocks = append(w.stocks, &stock{name: t.Name, n: t.N, rows: t.Rows, size: t.Capacity, lastFill: evenstand.NoTime, driven: evenstand.NoTime})
	}
	for i, s := range w.stocks {
		for _, o := range w.stocks[:i] {
			if len(s.rows) == 0 || len(o.rows) == 0 || slices.ContainsFunc(s.rows, func(n int) bool { return slices.Contains(o.rows, n) }) {
				s.shared, o.shared = true, true
			}
		}
	}
	w.seed = &stock{name: "seed", size: nan, lastFill: evenstand.NoTime, driven: evenstand.NoTime}
}

// stockOf gives a tank by its number; one that the card does not have feeds all.
func (e *Engine) stockOf(n int) *stock {
	w := &e.tanks
	for _, s := range w.stocks {
		if s.n == n {
			return s
		}
	}
	s := &stock{name: "liquid", n: n, size: nan, shared: len(w.stocks) > 0, lastFill: evenstand.NoTime, driven: evenstand.NoTime}
	for _, o := range w.stocks { // it feeds all rows, theirs too
		o.shared = true
	}
	w.stocks = append(w.stocks, s)
	return s
}

// TankLevel takes what is in a tank, m3, whatever the planter does.
func (e *Engine) TankLevel(n int, level float64) {
	if level > 0 { // a gauge that is off shows nothing
		s := e.stockOf(max(1, n))
		s.window.add(level)
		s.gauged = true
	}
}

// Filled takes a fill that people wrote down.
func (e *Engine) Filled(f Fill) {
	w := &e.tanks
	switch {
	case f.Volume > 0 && len(w.stocks) == 0:
		e.stockOf(1).filled(f.T, f.Volume)
	case f.Volume > 0:
		w.share(f)
	case f.Seeds > 0:
		w.seed.filled(f.T, f.Seeds)
	}
	if c := w.soon; c != nil && c.open() && c.tank.out[0].of.lastFill == f.T {
		c.until, w.soon = f.T, nil
	}
}

// tankNamed finds a tank by its number in the words of a fill.
var tankNamed = regexp.MustCompile(`(?i)\btank\s*#?(\d{1,2})\b`)

// share puts a fill into the tank that its words name; a fill of tanks of one
// product is shared by what each lacks. Where that could be several products,
// nobody knows.
func (w *tankWatch) share(f Fill) {
	of := w.stocks
	if m := tankNamed.FindStringSubmatch(f.Words); m != nil {
		of = slices.DeleteFunc(slices.Clone(of), func(s *stock) bool { return strconv.Itoa(s.n) != strings.TrimLeft(m[1], "0") })
	} else if named := slices.DeleteFunc(slices.Clone(of), func(s *stock) bool {
		return s.name == "" || !strings.Contains(strings.ToLower(f.Words), strings.ToLower(s.name))
	}); len(named) > 0 {
		of = named
	}
	if len(of) == 0 || slices.ContainsFunc(of, func(s *stock) bool { return s.name != of[0].name }) {
		return
	}
	lacks, all := make([]float64, len(of)), 0.0
	for i, s := range of {
		lacks[i] = math.Max(0, s.size)
		if s.known {
			b := s.belief
			b.Use(s.shown - s.shownAtFill())
			left, _ := b.Left()
			lacks[i] = math.Max(0, s.size-left)
		}
		all += lacks[i]
	}
	for i, s := range of {
		part := 1 / float64(len(of))
		if all > 0 && !math.IsNaN(all) {
			part = lacks[i] / all
		}
		s.filled(f.T, f.Volume*part)
	}
}

// filled takes an amount that was put in.
func (s *stock) filled(t evenstand.Micros, amount float64) {
	s.lastFill = t
	if s.gauged { // the level tells when
		s.note, s.noted = Fill{T: t, Volume: amount}, true
		if k := len(s.points) - 1; k >= 0 && s.points[k].Filled == 0 && s.points[k].FilledSD > 0 && (t-s.from).Seconds()-s.points[k].Hours*3600 < tankNote {
			s.points[k].Filled, s.points[k].FilledSD, s.noted = amount, tank.FillError*amount, false
		}
		return
	}
	if !s.known {
		s.begin(t, amount*(1+unknownLeft), amount*unknownLeft/math.Sqrt(3))
		s.guessed = true
		s.holds()
		return
	}
	s.belief.Use(s.shown)
	s.belief.NotEmpty()
	s.belief.Fill(amount, math.Max(tank.FillError*amount, tank.FillError*s.room()))
	s.shown = 0
	s.holds()
}

// holds keeps what is believed to be in the tank within its size.
func (s *stock) holds() {
	if left, sd := s.belief.Left(); s.size > 0 && left > s.size {
		s.belief.FillTo(s.size, math.Min(sd, left-s.size)+tank.FillError*s.size)
	}
}

// begin is when a content becomes known.
func (s *stock) begin(t evenstand.Micros, content, sd float64) {
	s.known, s.from, s.at, s.atSD = true, t, content, sd
	s.belief = tank.Begin(content, sd)
	if s.n == 0 {
		s.belief = s.belief.Scaled(1, seedFillSD)
	}
	s.shown, s.points = 0, nil
	s.most = math.Max(s.most, content)
}

// room is the size of the tank, or the most that was ever in it.
func (s *stock) room() float64 {
	if s.size > 0 {
		return s.size
	}
	return s.most
}

// flowOf is what runs to the rows of a stock, m3 a second.
func (e *Engine) flowOf(s *stock, t evenstand.Micros) (flow float64, ok bool) {
	w := &e.alone
	if s.shared { // what runs is not told apart
		return 0, false
	}
	if len(s.rows) == 0 || len(s.rows) >= len(e.rows) {
		if sum, ok := w.flow(t); ok {
			return sum, true
		}
		if r := &e.liquid.said; r.fresh(t) && e.bar.Planting {
			return r.v * e.bar.Speed * e.cfg.Spacing * float64(len(e.rows)), true
		}
		return 0, false
	}
	for _, n := range s.rows {
		if n <= len(w.rows) && w.rows[n-1].fresh(t) {
			flow, ok = flow+w.rows[n-1].v, true
		}
	}
	return flow, ok
}

// fallen is how many seeds the rows of a stock have dropped since the morning.
func (e *Engine) fallen(s *stock) (sum float64) {
	for _, r := range e.rows {
		if len(s.rows) == 0 || slices.Contains(s.rows, r.n) {
			sum += r.fell
		}
	}
	return sum
}

func (e *Engine) tickTanks(t evenstand.Micros, b Bar) {
	w := &e.tanks
	if b.Rolling < puddleV {
		w.still++
	} else {
		w.still = 0
	}
	on := 0.0
	for _, r := range e.rows {
		if r.enabled {
			on++
		}
	}
	all := 0.0
	if b.Planting && e.pass.down {
		all = b.Speed * e.cfg.Spacing * on
		w.idle = 0
	} else {
		w.idle++
	}
	if math.IsNaN(all) {
		all = 0
	}
	w.pass += all
	if w.was && !e.pass.down {
		switch {
		case w.passes == 0:
			w.passes = w.pass
		case w.pass > w.passes/4:
			w.passes += 0.3 * (w.pass - w.passes)
		}
		w.pass = 0
	}
	w.was = e.pass.down
	if w.idle < paceStands && w.passes+w.pass > 0 {
		w.worked++
		w.work += (all - w.work) / math.Min(workMemory, w.worked)
	}
	for _, s := range append(w.stocks[:len(w.stocks):len(w.stocks)], w.seed) {
		var went float64
		var told bool
		if s.n == 0 {
			sum := e.fallen(s)
			went, told, s.fell = sum-s.fell, true, sum
		} else {
			went, told = e.flowOf(s, t)
			if all <= 0 && !e.alone.spoke(t) { // the last word of a pass does not run on while the bar is up
				went = 0
			}
		}
		s.shown += went
		share := 1.0
		if k := len(s.rows); k > 0 && len(e.rows) > 0 {
			share = float64(k) / float64(len(e.rows))
		}
		if all > 0 && told {
			s.piece.shown, s.piece.area, s.piece.s = s.piece.shown+went, s.piece.area+all*share, s.piece.s+1
			if s.piece.s >= tankPiece {
				s.use.Add(s.piece.shown, s.piece.area)
				s.piece.shown, s.piece.area, s.piece.s = 0, 0, 0
			}
		}
		if s.sec++; s.sec >= tankWindow {
			e.levels(s, t, w.still >= tankStill+tankWindow)
			s.sec, s.window = 0, stat2{}
		}
	}
	if int64(t/evenstand.Second)%tankWindow == 0 {
		e.forecast(t)
	}
}

// levels takes the window of levels that has ended.
func (e *Engine) levels(s *stock, t evenstand.Micros, still bool) {
	m := s.window.mean()
	if s.window.n > 0 {
		s.most = math.Max(s.most, m)
	}
	switch n := len(s.stop); {
	case !still:
		if s.filling {
			s.filling, s.jumped, s.stop = false, true, nil
		}
		if n > 0 && s.stop != nil {
			e.tankLevel(s, t, stat.Median(s.stop), tankLevelSD)
			s.driven = t
		} else if s.window.n > 0 && (s.driven == evenstand.NoTime || t-s.driven >= levelDriving*evenstand.Second) && e.bar.Planting {
			e.tankLevel(s, t, m, drivingSD)
			s.driven = t
		}
		s.stop = nil
	case s.window.n == 0 || n >= tankKept:
	case s.filling && n >= 3 && m-s.stop[n-3] < tankRise/3*s.room():
		s.filling, s.jumped, s.stop = false, true, []float64{m}
	case !s.filling && n > 1 && m-stat.Median(s.stop[:(n+1)/2]) > tankRise*s.room():
		e.tankLevel(s, t, stat.Median(s.stop[:(n+1)/2]), tankLevelSD)
		s.filling, s.stop = true, append(s.stop, m)
	default:
		s.stop = append(s.stop, m)
	}
}

// tankLevel takes a level with its error as a share of the tank's size.
func (e *Engine) tankLevel(s *stock, t evenstand.Micros, level, share float64) {
	sd := share * s.room()
	if !s.known || s.guessed {
		s.begin(t, level, sd)
		s.guessed, s.jumped = false, false
		return
	}
	s.belief.Use(s.shown - s.shownAtFill())
	left, leftSD := s.belief.Left()
	p := tank.Point{Hours: (t - s.from).Seconds() / 3600, Shown: s.shown, Level: level, SD: sd}
	if s.jumped || level-left > math.Max(tankJump*s.room(), 4*math.Hypot(sd, leftSD)) {
		s.jumped = false
		p.FilledSD = s.room()
		if s.noted && math.Abs((t-s.note.T).Seconds()) < tankNote {
			p.Filled, p.FilledSD, s.noted = s.note.Volume, tank.FillError*s.note.Volume, false
		}
		s.belief.FillTo(level, sd)
		s.lastFill = t
		if c := e.tanks.soon; c != nil && c.open() && c.tank.out[0].of == s {
			c.until, e.tanks.soon = t, nil
		}
	} else {
		s.belief.See(level, sd)
	}
	// A fill that is read in several steps is one.
	if k := len(s.points) - 1; k > 0 && p.FilledSD > 0 && s.points[k].FilledSD > 0 && p.Shown-s.points[k].Shown < tankRise*s.room() && p.Hours-s.points[k].Hours < 1 {
		if q := &s.points[k]; q.Filled > 0 && p.Filled == 0 {
			p.Filled, p.FilledSD = q.Filled, q.FilledSD
		}
		s.points = s.points[:k]
	}
	if len(s.points) == tankKept { // its fill goes with the next reading
		s.points[2].Filled, s.points[2].FilledSD = s.points[2].Filled+s.points[1].Filled, math.Hypot(s.points[2].FilledSD, s.points[1].FilledSD)
		s.points = slices.Delete(s.points, 1, 2)
	}
	s.points = append(s.points, p)
	e.compareTank(s, t)
	e.compareTanks(s, t)
}

// shownAtFill is what the meter had shown at the last fill.
func (s *stock) shownAtFill() float64 {
	for i := len(s.points) - 1; i >= 0; i-- {
		if s.points[i].FilledSD > 0 {
			return s.points[i].Shown
		}
	}
	return 0
}

// together gives what tanks of one product held and lost together, of readings
// that were made at one time: tanks that are joined empty as they like.
func (w *tankWatch) together(s *stock) (at, atSD, room float64, points []tank.Point, last bool) {
	at, atSD, room, points = s.at, s.atSD, s.room(), s.points
	for _, o := range w.stocks {
		if o == s || o.name != s.name {
			continue
		}
		if o.n > s.n && o.gauged { // the last of them speaks for all
			return 0, 0, 0, nil, false
		}
		if !o.known || o.from != s.from {
			return 0, 0, 0, nil, false
		}
		at, atSD, room = at+o.at, math.Hypot(atSD, o.atSD), room+o.room()
		var sum []tank.Point
		for _, p := range points {
			i, ok := slices.BinarySearchFunc(o.points, p.Hours, func(q tank.Point, h float64) int { return cmp.Compare(q.Hours, h) })
			if !ok {
				if p.FilledSD > 0 {
					return 0, 0, 0, nil, false
				}
				continue
			}
			q := o.points[i]
			p.Shown, p.Level, p.SD = p.Shown+q.Shown, p.Level+q.Level, math.Hypot(p.SD, q.SD)
			p.Filled, p.FilledSD = p.Filled+q.Filled, math.Hypot(p.FilledSD, q.FilledSD)
			sum = append(sum, p)
		}
		points = sum
	}
	return at, atSD, room, points, true
}

// compareTank holds what the tank lost against what the meter showed.
func (e *Engine) compareTank(s *stock, t evenstand.Micros) {
	at, atSD, room, points, ok := e.tanks.together(s)
	if n := len(points); !ok || n < tankPoints || points[n-1].Shown < tankShown*room {
		return
	}
	v := tank.Tell(at, atSD, points)
	wrong := v.OffScale + v.Leaks
	is := wrong > tankSure
	if v.OffScale >= v.Leaks {
		is = is && tank.Disagrees(v.Scale, v.ScaleSD)
	} else {
		is = is && v.Lost > tankFewest*room && v.Lost > 2.5*v.LostSD
	}
	c := s.dis
	switch {
	case c == nil && is:
		s.dis = e.add(&caseFile{
			kind: evenstand.KindTankDisagrees, rows: e.rowsFed(s), raised: true,
			alarm: t, grade: evenstand.GradeC, tank: &tankCase{of: s},
		})
		s.dis.disagree(s, v, points[len(points)-1].Shown, room)
		if s.dis.fromStart && len(points) == len(s.points) { // the meter is taken to be off by as much
			s.belief = s.belief.Scaled(v.Scale, v.ScaleSD)
			s.belief.Cov = 0
		}
	case c != nil && v.Right > 0.5:
		c.until, s.dis = t, nil
	case c != nil:
		c.disagree(s, v, points[len(points)-1].Shown, room)
	}
}

// disagree takes what the levels say now: of a meter all along, of a leak since
// it began.
func (c *caseFile) disagree(s *stock, v tank.Verdict, shown, room float64) {
	c.tank.verdict, c.tank.shown, c.tank.room = v, shown, room
	c.fromStart = v.OffScale >= v.Leaks
	c.onset, c.onsetLow, c.onsetHigh = s.from, s.from, s.from
	if !c.fromStart {
		at := func(h float64) evenstand.Micros { return s.from + evenstand.FromSeconds(math.Max(0, h)*3600) }
		const z = 1.6448536269514722 // normal quantile of 0.95
		c.onset, c.onsetLow, c.onsetHigh = at(v.From), at(v.From-z*v.FromSD), at(v.From+z*v.FromSD)
	}
}

// compareTanks holds tanks of one product against one another: what a row got
// out of each.
func (e *Engine) compareTanks(s *stock, t evenstand.Micros) {
	w := &e.tanks
	for _, o := range w.stocks {
		if o == s || o.name != s.name || len(o.points) < 2 || len(s.points) < 2 || len(s.rows) == 0 || len(o.rows) == 0 {
			continue
		}
		k := [2]int{min(s.n, o.n), max(s.n, o.n)}
		y := w.pairs[k]
		if y == nil {
			y = &tankPair{}
			if w.pairs == nil {
				w.pairs = map[[2]int]*tankPair{}
			}
			w.pairs[k] = y
		}
		first, second := s, o
		if s.n > o.n {
			first, second = o, s
		}
		x, sd := y.add(first, second)
		if math.IsNaN(x) {
			continue
		}
		if first != s {
			x = -x
		}
		more, less := s, o
		if x < 0 {
			more, less, x = o, s, -x
		}
		switch c := w.uneven; {
		case x < imbalance/2:
			if c != nil && (c.tank.of == s || c.tank.with == s) {
				c.until, w.uneven = t, nil
			}
		case c != nil:
			if c.tank.of == more && c.tank.with == less {
				c.tank.ratio = [2]float64{x, sd}
			}
		case x > imbalance && x > imbalanceSDs*sd:
			w.uneven = e.add(&caseFile{
				kind: evenstand.KindFillImbalance, rows: e.rowsFed(more), raised: true, onset: s.from, onsetLow: s.from, onsetHigh: t,
				alarm: t, grade: evenstand.GradeC, fromStart: true, tank: &tankCase{of: more, with: less, ratio: [2]float64{x, sd}},
			})
		}
	}
}

// tankPair is what two tanks of one product gave a row, one over the other, over
// the times between their fills.
type tankPair struct {
	since [2]int  // fills before this time
	x, w  float64 // of this time: log and its weight, 1 over its variance
	sum   float64 // of the times before, weighted
	all   float64 // their weights
}

// add takes the newest levels and gives the logarithm and its error.
func (y *tankPair) add(a, b *stock) (x, sd float64) {
	la, sa, na := a.lost()
	lb, sb, nb := b.lost()
	if since := [2]int{na, nb}; since != y.since {
		y.sum, y.all = y.sum+y.x*y.w, y.all+y.w
		y.since, y.x, y.w = since, 0, 0
	}
	if la > emptyOfUse*a.room() && lb > emptyOfUse*b.room() {
		v := sa*sa/(la*la) + sb*sb/(lb*lb)
		y.x, y.w = math.Log(la/float64(len(a.rows)))-math.Log(lb/float64(len(b.rows))), 1/v
	}
	if all := y.all + y.w; all > 0 {
		return (y.sum + y.x*y.w) / all, 1 / math.Sqrt(all)
	}
	return nan, nan
}

// lost is what a tank lost since its last fill, by its levels, with the number
// of fills.
func (s *stock) lost() (amount, sd float64, fills int) {
	from, fromSD := s.at, s.atSD
	for _, p := range s.points {
		if p.FilledSD > 0 {
			from, fromSD = p.Level, p.SD
			fills++
		}
	}
	last := s.points[len(s.points)-1]
	return from - last.Level, math.Hypot(fromSD, last.SD), fills
}

func (e *Engine) rowsFed(s *stock) []int {
	if len(s.rows) > 0 {
		return s.rows
	}
	return e.allRows()
}

// goes tells how far a stock goes.
func (s *stock) goes(lead float64) (l stockLeft, ok bool) {
	if !s.known || s.use.Pieces() < tankPieces {
		return l, false
	}
	s.belief.Use(s.shown - s.shownAtFill())
	p, b := s.use.Pace(), s.belief
	b.NotEmpty()
	l = stockLeft{of: s, toFill: nan, used: b.Used}
	l.left, l.leftSD = b.Left()
	if s.gauged { // what its gauge is off by all day
		off := gaugeSD * s.room()
		l.leftSD = math.Hypot(l.leftSD, off)
		b.VarLevel += off * off
	}
	l.area, l.areaSD = b.Lasts(p)
	l.chance = b.EmptyBefore(lead, p)
	if s.size > 0 {
		l.toFill = math.Max(0, s.size-l.left)
	}
	return l, !math.IsInf(l.area, 0)
}

// out tells how far each tank and the seed boxes go, in ground of the whole
// planter, and whether they go so far as lead, m2; the first to run out first.
func (e *Engine) out(lead float64) (out []stockLeft) {
	for _, s := range append(e.tanks.stocks[:len(e.tanks.stocks):len(e.tanks.stocks)], e.tanks.seed) {
		share := 1.0
		if k := len(s.rows); k > 0 && len(e.rows) > 0 {
			share = float64(k) / float64(len(e.rows))
		}
		if l, ok := s.goes(lead * share); ok {
			l.area, l.areaSD = l.area/share, l.areaSD/share
			out = append(out, l)
		}
	}
	slices.SortStableFunc(out, func(a, b stockLeft) int { return cmp.Compare(a.area, b.area) })
	if len(out) == 0 {
		return out
	}
	// What is to be filled up is what will be gone when the first may run out.
	early := math.Max(0, out[0].area-1.645*out[0].areaSD)
	for i := range out {
		l := &out[i]
		if l.area > 0 {
			goes := math.Min(l.left, l.left*early/l.area)
			l.used += goes
			l.toFill = math.Min(l.of.size, l.toFill+goes)
		}
	}
	return out
}

// forecast says in time what runs out.
func (e *Engine) forecast(t evenstand.Micros) {
	w := &e.tanks
	if w.soon == nil && !e.bar.Planting || w.work <= 0 {
		return
	}
	out := e.out(w.work * tankLead)
	if len(out) == 0 {
		return
	}
	if c := w.soon; c != nil {
		if out[0].of != c.tank.out[0].of && out[0].chance <= tankChance {
			return
		}
		c.tank.out, c.tank.work, c.tank.pass = out, w.work, w.passes
		return
	}
	if out[0].chance <= tankChance {
		return
	}
	w.soon = e.add(&caseFile{
		kind: evenstand.KindRefillSoon, rows: e.rowsFed(out[0].of), raised: true, onset: t, onsetLow: t, onsetHigh: t,
		alarm: t, grade: evenstand.GradeC, tank: &tankCase{out: out, work: w.work, pass: w.passes},
	})
}

// reportTank says what such a finding rests on.
func (e *Engine) reportTank(c *caseFile, f *evenstand.Finding) {
	x := c.tank
	unit := func(s *stock) (string, float64) { // as seed is sold, where it is known how
		if s.n != 0 {
			return "m3", 1
		}
		if n, ok := evenstand.SeedsPerUnit(e.cropOf(c.rows)); ok {
			return "units", n
		}
		return "seeds", 1
	}
	const z = 1.6448536269514722 // normal quantile of 0.95
	switch c.kind {
	case evenstand.KindRefillSoon:
		for i, l := range x.out {
			if i == 0 {
				lo, hi := math.Max(0, l.area-z*l.areaSD), l.area+z*l.areaSD
				f.Evidence = append(f.Evidence, ev("lasts", l.area, lo, hi, nan, "m2"))
				if x.work > 0 {
					f.Evidence = append(f.Evidence, ev("lasts for", l.area/x.work/60, lo/x.work/60, hi/x.work/60, nan, "min"))
				}
				if x.pass > 0 {
					f.Evidence = append(f.Evidence, ev("passes", l.area/x.pass, lo/x.pass, hi/x.pass, nan, ""))
				}
				f.Evidence = append(f.Evidence, ev("chance that it is empty within half an hour", l.chance, nan, nan, nan, ""))
			}
			name, per := unit(l.of)
			f.Evidence = append(f.Evidence, ev("left: "+l.of.name, l.left/per, math.Max(0, l.left-z*l.leftSD)/per, (l.left+z*l.leftSD)/per, nan, name))
			switch {
			case l.toFill > 0:
				f.Evidence = append(f.Evidence, ev("to fill up: "+l.of.name, l.toFill/per, nan, nan, nan, name))
			case l.of.n == 0 && l.used > 0:
				f.Evidence = append(f.Evidence, ev("used since the last fill: "+l.of.name, l.used/per, nan, nan, nan, name))
			}
		}
		f.Causes = normalise(evenstand.Cause{Cause: evenstand.CauseUsedUp, Probability: 1})
		if x.out[0].of.guessed {
			f.Say = append(f.Say, "What was left before the first fill of the day was not written down: a tenth of it is assumed. Write each fill down, with what was left.")
		}
	case evenstand.KindFillImbalance:
		r, sd := x.ratio[0], x.ratio[1]
		f.Evidence = []evenstand.Evidence{ev(x.of.name+" from tank "+strconv.Itoa(x.of.n)+" over tank "+strconv.Itoa(x.with.n)+", a row", math.Exp(r), math.Exp(r-z*sd), math.Exp(r+z*sd), nan, "")}
		f.Causes = normalise(
			evenstand.Cause{Cause: evenstand.CauseUneven, Probability: 0.5},
			evenstand.Cause{Cause: evenstand.CauseLeak, Probability: 0.25},
			evenstand.Cause{Cause: evenstand.CauseGauge, Probability: 0.25},
		)
	default:
		v := x.verdict
		f.Evidence = []evenstand.Evidence{ev("went out by the tank over what the meter shows: "+x.of.name, v.Scale, v.Scale-z*v.ScaleSD, v.Scale+z*v.ScaleSD, float64(len(x.of.points)), "")}
		if v.Leaks > v.OffScale/4 {
			f.Evidence = append(f.Evidence, ev("lost beside the meter: "+x.of.name, v.Lost, math.Max(0, v.Lost-z*v.LostSD), v.Lost+z*v.LostSD, nan, "m3"))
		}
		f.Evidence = append(f.Evidence,
			ev("went out by the meter", x.shown, nan, nan, nan, "m3"),
			ev("error of a level", tankLevelSD*x.room, nan, nan, nan, "m3"))
		f.Causes = normalise(
			evenstand.Cause{Cause: evenstand.CauseFlowMeter, Probability: 0.75 * v.OffScale},
			evenstand.Cause{Cause: evenstand.CauseGauge, Probability: 0.25 * v.OffScale},
			evenstand.Cause{Cause: evenstand.CauseLeak, Probability: v.Leaks},
		)
	}
}

// OnBoard gives what is left in tanks and seed boxes, the first to run out first.
func (e *Engine) OnBoard() []evenstand.OnBoard {
	out := []evenstand.OnBoard{}
	for _, l := range e.out(0) {
		unit := "m3"
		if l.of.n == 0 {
			unit = "seeds"
		}
		out = append(out, evenstand.OnBoard{
			Of: l.of.name, Tank: l.of.n, Unit: unit, Left: num(l.left), SD: num(l.leftSD), Area: num(l.area), AreaSD: num(l.areaSD), ToFill: num(l.toFill),
		})
	}
	return out
}

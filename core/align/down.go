package align

import (
	"cmp"
	"math"
	"math/bits"
	"slices"
	"sort"

	"evenstand"
)

// Interval is a span of time [From, To).
type Interval struct{ From, To evenstand.Micros }

// Limits of lowering and lifting. The first two are the methods document's
// (section l); the others are judged.
const (
	liftHolds  = 600_000 * evenstand.Micros(1) // shorter lifts are chatter of the switch
	liftParts  = 2 * evenstand.Second          // a longer lift ends the pass
	seedBin    = evenstand.Second / 4
	countAlone = 10 * evenstand.Second // that counts tell of planting where seeds are logged and none falls
	stopWay    = 3.0                   // m moved in a hole between seeds, below which the planter stood in the ground
)

// The evidence that Intervals rests on, best first.
const (
	ByLift    = "planter lifted"
	ByWorking = "row at work"
	ByEnabled = "row switched on"
	BySeeds   = "seeds"
)

// Lowering gathers what tells when the planter was in the ground. It keeps
// changes and quarter seconds, not readings and seeds.
type Lowering struct {
	rows   int
	lifted switches
	work   switches
	on     switches
	seeds  []bin
	counts []bin
}

// switches are the changes of one state quantity by element.
type switches struct {
	last map[evenstand.Element]state
	log  []change
}

type state struct {
	t  evenstand.Micros
	on bool
}

type change struct {
	t  evenstand.Micros
	el evenstand.Element
	on bool
}

// bin is what happened in a quarter of a second.
type bin struct {
	k           int64 // index of the bin since 1970
	first, last evenstand.Micros
	rows        [2]uint64 // rows that dropped seeds
	all         bool      // the whole machine did
}

// NewLowering starts for a planter of so many rows, 0 unknown.
func NewLowering(rows int) *Lowering { return &Lowering{rows: rows} }

// Reading takes in a reading; quantities that tell nothing are let pass.
// Readings of one element must come in order of time, those of different
// elements need not.
func (l *Lowering) Reading(r evenstand.Reading) {
	switch r.Quantity {
	case evenstand.ImplementLifted:
		l.lifted.add(r, r.Value < 0.5)
	case evenstand.RowWorking:
		l.work.add(r, r.Value >= 0.5)
	case evenstand.RowEnabled:
		l.on.add(r, r.Value >= 0.5)
	case evenstand.SeedCount, evenstand.SeedRate:
		if r.Value > 0 {
			b := at(&l.counts, r.T)
			if r.Element.Scope == evenstand.ScopeRow {
				b.row(int(r.Element.N))
			} else {
				b.all = true
			}
		}
	}
}

// Seed takes in a seed.
func (l *Lowering) Seed(s evenstand.Seed) { at(&l.seeds, s.T).row(int(s.Row)) }

func (s *switches) add(r evenstand.Reading, on bool) {
	if r.Value != r.Value { // not a number: says nothing
		return
	}
	was, seen := s.last[r.Element]
	if seen && was.on == on && r.T >= was.t {
		s.last[r.Element] = state{r.T, on}
		return
	}
	if s.last == nil {
		s.last = map[evenstand.Element]state{}
	}
	s.last[r.Element] = state{r.T, on}
	s.log = append(s.log, change{r.T, r.Element, on})
}

// at finds or makes the bin of a moment; moments mostly come in order.
func at(bins *[]bin, t evenstand.Micros) *bin {
	k := int64(t / seedBin)
	n := len(*bins)
	i := n
	if n > 0 && (*bins)[n-1].k >= k {
		if i = n - 1; (*bins)[i].k > k {
			i = sort.Search(n, func(j int) bool { return (*bins)[j].k >= k })
		}
	}
	switch b := (bin{k: k, first: t, last: t}); {
	case i == n:
		*bins = append(*bins, b)
	case (*bins)[i].k != k:
		*bins = slices.Insert(*bins, i, b)
	}
	b := &(*bins)[i]
	b.first, b.last = min(b.first, t), max(b.last, t)
	return b
}

func (b *bin) row(n int) {
	if n >= 1 && n <= 128 {
		b.rows[(n-1)/64] |= 1 << ((n - 1) % 64)
	}
}

func (b *bin) count() int { return bits.OnesCount64(b.rows[0]) + bits.OnesCount64(b.rows[1]) }

// Intervals gives when the planter was down, in order of time, and which
// evidence said so: the lift switch, else work states, else row switches, else
// the seeds themselves or their counts; "" when nothing tells. A state that
// was never off says nothing of lifts, and seeds go before it. path may be
// nil; with it a stop in the ground is not taken for a lift when seeds are the
// evidence.
func (l *Lowering) Intervals(path *Path) (down []Interval, basis string) {
	for _, c := range []struct {
		s     *switches
		basis string
	}{{&l.lifted, ByLift}, {&l.work, ByWorking}, {&l.on, ByEnabled}} {
		iv, off := c.s.intervals(l.rows, path)
		if len(iv) == 0 {
			continue
		}
		if off {
			return bridge(iv, liftHolds), c.basis
		}
		if basis == "" {
			down, basis = iv, c.basis
		}
	}
	seeds, counts := dropping(l.seeds, false, path), dropping(l.counts, true, path)
	if iv := beside(seeds, counts); len(iv) > 0 {
		return iv, BySeeds
	}
	return down, basis
}

// beside adds to the spans that seeds tell those in which only counts go on: a
// seed log may end at noon. Short ones are what a count says late.
func beside(seeds, counts []Interval) []Interval {
	out := slices.Clone(seeds)
	i := 0
	for _, c := range counts {
		for i < len(seeds) && seeds[i].To <= c.From {
			i++
		}
		meets := i < len(seeds) && seeds[i].From < c.To
		if !meets && (len(seeds) == 0 || c.To-c.From >= countAlone) {
			out = append(out, c)
		}
	}
	slices.SortFunc(out, func(a, b Interval) int { return cmp.Compare(a.From, b.From) })
	return out
}

// intervals replays the changes. The planter counts as down while the machine
// is not off and any row, section or side is on, if those are told at all. off
// says whether it ever went up. A state holds until the next; the last holds
// to the end of the path.
func (s *switches) intervals(rows int, path *Path) (out []Interval, off bool) {
	if len(s.log) == 0 {
		return nil, false
	}
	slices.SortStableFunc(s.log, func(a, b change) int {
		switch {
		case a.t < b.t:
			return -1
		case a.t > b.t:
			return 1
		}
		return 0
	})
	d := lowered{rows: rows}
	for _, c := range s.log {
		d.tell(c.el)
	}
	if !d.machine && !d.useParts() {
		return nil, false
	}
	var from evenstand.Micros
	isDown := false
	for i, c := range s.log {
		d.take(c)
		if i+1 < len(s.log) && s.log[i+1].t == c.t {
			continue // all that happened at once
		}
		down := d.down()
		if down && !isDown {
			from = c.t
		}
		if !down {
			off = true
			if isDown {
				out = append(out, Interval{from, c.t})
			}
		}
		isDown = down
	}
	if isDown {
		end := s.log[len(s.log)-1].t
		for _, st := range s.last {
			end = max(end, st.t)
		}
		if path != nil && len(path.T) > 0 {
			end = max(end, path.T[len(path.T)-1])
		}
		out = append(out, Interval{from, end + 1})
	}
	return out, off
}

// lowered is the planter by the changes of one state quantity so far.
type lowered struct {
	rows    int
	machine bool // the whole machine's state is told
	parts   int  // rows whose state is told, a section or side standing for all
	told    map[evenstand.Element]bool

	main, mainTold bool
	active         int
	now            map[evenstand.Element]bool
}

// tell notes that an element's state is told.
func (d *lowered) tell(el evenstand.Element) {
	switch {
	case el.Scope == evenstand.ScopeMachine:
		d.machine = true
	case !d.told[el]:
		if d.told == nil {
			d.told = map[evenstand.Element]bool{}
		}
		d.told[el] = true
		d.parts++
		if el.Scope != evenstand.ScopeRow {
			d.parts += d.rows // a section or side stands for many
		}
	}
}

// useParts tells whether rows and sections count. Two or three rows' states
// say nothing of the planter as a whole.
func (d *lowered) useParts() bool { return d.parts > 0 && 2*d.parts >= d.rows }

// take takes a change.
func (d *lowered) take(c change) {
	if c.el.Scope == evenstand.ScopeMachine {
		d.main, d.mainTold = c.on, true
	} else if d.now[c.el] != c.on {
		if d.now == nil {
			d.now = map[evenstand.Element]bool{}
		}
		d.now[c.el] = c.on
		if c.on {
			d.active++
		} else {
			d.active--
		}
	}
}

// down tells whether the planter is in the ground.
func (d *lowered) down() bool {
	use := d.useParts()
	return (!d.mainTold || d.main) && (!use || len(d.now) == 0 || d.active > 0) && (d.mainTold || use && d.active > 0)
}

// dropping gives the spans in which at least a quarter of the rows that ever
// dropped seeds did so. For counts, which tell of the time before them, the
// spans begin one interval earlier.
func dropping(bins []bin, counts bool, path *Path) []Interval {
	var ever [2]uint64
	for i := range bins {
		ever[0] |= bins[i].rows[0]
		ever[1] |= bins[i].rows[1]
	}
	all := bin{rows: ever}
	need := max(1, (all.count()+3)/4)
	var act []bin
	for _, b := range bins {
		if b.all || b.count() >= need {
			act = append(act, b)
		}
	}
	if len(act) == 0 {
		return nil
	}
	// The usual time from one to the next.
	usual := seedBin
	if len(act) > 2 {
		d := make([]evenstand.Micros, 0, len(act)-1)
		for i := 1; i < len(act); i++ {
			d = append(d, act[i].first-act[i-1].first)
		}
		slices.Sort(d)
		usual = d[len(d)/2]
	}
	hole := max(liftParts, 3*usual/2)
	early := evenstand.Micros(0)
	if counts {
		early = min(usual, 10*evenstand.Second)
	}
	var out []Interval
	var c *Cursor
	if path != nil {
		c = path.Cursor()
	}
	for _, b := range act {
		if n := len(out); n > 0 {
			l := &out[n-1]
			if b.first-early-l.To <= hole || c != nil && stood(c, l.To, b.first-early) {
				l.To = b.last + 1
				continue
			}
		}
		out = append(out, Interval{b.first - early, b.last + 1})
	}
	return out
}

// stood tells whether the planter hardly moved between two moments.
func stood(c *Cursor, from, to evenstand.Micros) bool {
	return Stood(c.At(from), c.At(to))
}

// Stood tells whether the planter hardly moved from one pose to a later one.
func Stood(a, b Pose) bool {
	return b.S-a.S < stopWay && math.Hypot(b.E-a.E, b.N-a.N) < stopWay
}

// bridge joins spans with holes shorter than hole.
func bridge(iv []Interval, hole evenstand.Micros) []Interval {
	var out []Interval
	for _, v := range iv {
		if n := len(out); n > 0 && v.From-out[n-1].To < hole {
			out[n-1].To = max(out[n-1].To, v.To)
			continue
		}
		out = append(out, v)
	}
	return out
}

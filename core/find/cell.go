package find

import (
	"math"
	"math/bits"

	"evenstand"
)

// A blocked or weak cell misses at one position of the disc. Every cell has a
// cumulative sum (Page 1954, Biometrika 41:100-115, from memory) of the odds
// that it misses with chance q against the row's rate without that cell.
//
// The threshold of 21 nats was counted on healthy places: three excursions in
// 1.5e9 places with a constant rate, none in 1.5e9 with a wandering one, so
// 0.02 a day of 21.6 million places.
const (
	cellAlarm     = 21.0 // nats
	cellSlip      = 10.0 // nats that suffice to follow a named cell after a slip
	slipQuiet     = 6.0  // nats against a named cell at which another one is taken for it
	cellQuiet     = 12.0 // nats against the named cell at which it counts as quiet
	cellSuspected = 4.6  // log odds of 100 to 1 for some cell of the row
)

var cellQ = [3]float64{0.97, 0.5, 0.2}

// cellHole is the longest stretch without a miss, in turns, inside one chain
// of misses: 5/q turns, 30 at most. A chain also ends when the sum of its share
// falls back to nothing.
var cellHole = [3]int{5, 10, 25}

// cellBack is how many turns of a named cell are looked at for a slip.
var cellBack = [3]int{8, 16, 40}

// logRate is the base rate of a row of logTable, in steps of 2 %.
var logRate = func() (p [260]float64) {
	for i := range p {
		p[i] = 0.002 * math.Exp(0.02*float64(i))
	}
	return
}()

// logTable holds the steps of the sums over the base rates of logRate.
var logTable = func() (t [260][3][2]float32) {
	for i, p := range logRate {
		for j, q := range cellQ {
			t[i][j][0] = float32(math.Log((1 - q) / (1 - p)))
			t[i][j][1] = float32(math.Log(q / p))
		}
	}
	return
}()

func logIndex(p float64) int {
	if p <= 0.002 {
		return 0
	}
	if p > 0.3 {
		p = 0.3
	}
	return int(math.Log(p/0.002)/0.02 + 0.5)
}

// CellOf gives the position of place k on a disc of n cells, 0 to n-1.
func CellOf(k int64, n int) int {
	i := int(k % int64(n))
	if i < 0 {
		i += n
	}
	return i
}

type chain struct {
	t      evenstand.Micros // first miss
	k      int64
	turn   int32 // turn of the first miss
	misses int32
}

type cell struct {
	c     [3]float32
	turn  int32
	hist  uint64 // last 64 turns, latest in bit 0; 1 is a miss
	m, n  float64
	named *caseFile
	last  int32    // turn of the last miss
	chain [3]chain // last: only misses touch it
}

type cellWatch struct {
	n       int // cells on the disc; 0 unknown
	learnt  bool
	shift   int64
	cell    []cell
	m, p    float64 // misses and places of late, all cells
	late    float64 // misses of the last few turns, all cells
	logBase int     // table index of the row's base
	slips   int
	carried []carried
	only    *caseFile // the cell named last
	peak    float64   // largest sum of late, nats
	card    int       // cells that the card says where the log says otherwise; 0 it does not
	other   int       // distance, in places, at which misses came back against the card
	skips   *caseFile // the skips by which the card was seen to be wrong
}

// cellCase is what is known of one named cell.
type cellCase struct {
	cell    int
	n       int // cells on the disc
	learnt  bool
	card    int // cells that the card says, when it is wrong; else 0
	misses  float64
	turns   float64
	p0      float64
	quiet   float64 // nats against it going on
	waiting int     // turns waited since it fell quiet
	lastT   evenstand.Micros
	seen    float64 // misses and turns that count for the money
	odds    float64
	slips   int
	second  bool // another cell of the row has a case too
	disc    disc
}

func (w *cellWatch) init(n int) {
	w.n = n
	if n <= 1 || n > 512 {
		w.n = 0
		return
	}
	w.cell = make([]cell, n)
	for i := range w.cell {
		w.cell[i].last = -1000
	}
}

// place takes the next place of the row and says whether it belongs to a named
// cell. inRun marks the second and later misses of a run: a starved row's runs
// would look like rhythm.
func (w *cellWatch) place(e *Engine, r *row, k int64, missed, inRun bool, t evenstand.Micros) bool {
	i := CellOf(k+w.shift, w.n)
	c := &w.cell[i]
	c.turn++
	c.hist <<= 1
	x := 0.0
	if missed {
		c.hist |= 1
		x = 1
	}
	if o := w.only; o != nil && o.open() && o.cell.quiet < 4 {
		o.cell.disc.place(o.cell.cell, i, w.n, missed)
	}
	if cc := c.named; cc != nil {
		w.follow(e, r, cc, missed, t)
		if missed {
			c.last = c.turn
		}
		return true
	}
	const fade = 1.0 / 4000
	w.late += x - w.late/(burstTurns*float64(w.n))
	w.m += x - w.m*fade
	w.p += 1 - w.p*fade
	turnFade := float64(w.n) * fade
	c.m += x - c.m*turnFade
	c.n += 1 - c.n*turnFade

	if missed {
		for q := range c.chain {
			ch := &c.chain[q]
			if ch.misses == 0 || c.c[q] == 0 || int(c.turn-c.last) > cellHole[q] {
				*ch = chain{t: t, k: k, turn: c.turn}
			}
			ch.misses++
		}
		c.last = c.turn
	} else if c.c == [3]float32{} {
		return false
	}
	if inRun {
		return false
	}
	var idx int
	if missed {
		p0 := w.base(c)
		idx = logIndex(p0)
		w.logBase = idx
	} else {
		idx = w.logBase
	}
	tab := &logTable[idx]
	b := 0
	if missed {
		b = 1
	}
	p0 := logRate[idx]
	top, topQ := float32(0), 0
	for q := range cellQ {
		if cellQ[q] < 2.5*p0 {
			c.c[q] = 0
			continue
		}
		v := c.c[q] + tab[q][b]
		if v < 0 {
			v = 0
		}
		c.c[q] = v
		if v > top {
			top, topQ = v, q
		}
	}
	if float64(top) > w.peak {
		w.peak = float64(top)
	}
	if missed && float64(top) >= cellSlip && c.chain[topQ].misses >= 3 {
		w.alarm(e, r, i, topQ, float64(top), t)
	}
	return false
}

// carried is what a cell had gathered when a segment ended: the place number
// may slip at the stop, and the fault goes on under another number.
type carried struct {
	cell   int
	t      evenstand.Micros // first miss
	end    evenstand.Micros
	misses float64
	turns  float64
}

// carryLeast is the sum in nats at which a cell's beginning is remembered over
// a stop, slipMost the places that the number may slip there.
const (
	carryLeast = 12.0
	slipMost   = 3
)

// segment is called when a segment begins.
func (w *cellWatch) segment(t evenstand.Micros) {
	keep := w.carried[:0]
	for _, c := range w.carried {
		if t-c.end < 30*60*evenstand.Second {
			keep = append(keep, c)
		}
	}
	w.carried = keep
	for i := range w.cell {
		c := &w.cell[i]
		top, q := float32(0), 0
		for j, v := range c.c {
			if v > top {
				top, q = v, j
			}
		}
		if top >= carryLeast && c.chain[q].misses >= 4 {
			w.carried = append(w.carried, carried{cell: i, t: c.chain[q].t, end: t, misses: float64(c.chain[q].misses), turns: float64(c.turn - c.chain[q].turn + 1)})
		}
	}
}

// before finds the beginning of a cell's misses under a number next to it.
func (w *cellWatch) before(i int, since evenstand.Micros, share float64) (carried, bool) {
	best := carried{t: since}
	for _, c := range w.carried {
		d := (c.cell - i + w.n) % w.n
		if d = min(d, w.n-d); d == 0 || d > slipMost || c.t >= best.t || c.end > since+60*evenstand.Second || c.misses < share/2*c.turns {
			continue
		}
		best = c
	}
	return best, best.turns > 0
}

// base is the row's rate of misses without cell c.
func (w *cellWatch) base(c *cell) float64 {
	p := (w.m - c.m + 0.5) / (w.p - c.n + 50)
	// In a burst of misses a cell that misses is nothing odd: the rate of the
	// last turns counts, without this cell's own, by its lower limit.
	own := float64(bits.OnesCount64(c.hist & (1<<burstTurns - 1)))
	if n := w.late - own; n > 2 {
		p = math.Max(p, (n-1.3*math.Sqrt(n))/(burstTurns*float64(w.n)))
	}
	return math.Min(0.3, math.Max(0.002, p))
}

// burstTurns is how many turns back a burst of misses is looked for.
const burstTurns = 5

// alarm is called when a cell's sum is high: either a named cell slipped, or
// the cell is to be named.
func (w *cellWatch) alarm(e *Engine, r *row, i, q int, nats float64, t evenstand.Micros) {
	c := &w.cell[i]
	// The place number slips at stops; a named cell then turns up under
	// another number. It is the same one if the old number fell silent.
	for j := range w.cell {
		cc := w.cell[j].named
		if cc == nil {
			continue
		}
		back := min(cellBack[q], int(w.cell[j].turn), 64)
		got := 0
		for b := range back {
			got += int(w.cell[j].hist >> b & 1)
		}
		if cc.cell.quiet < slipQuiet && got >= 1 && float64(got) > 0.7*cellQ[q]*float64(back) {
			continue
		}
		w.move(i, j)
		cc.cell.slips++
		cc.cell.quiet, cc.cell.waiting = 0, 0
		w.slips++
		return
	}
	if nats < cellAlarm {
		return
	}
	// Of the chains take the one whose share is nearest to what was seen: a
	// stray miss long before is no beginning.
	seen := float64(c.chain[q].misses) / float64(c.turn-c.chain[q].turn+1)
	for i := range cellQ {
		if c.chain[i].misses >= 3 && c.c[i] > cellSlip/2 && math.Abs(math.Log(cellQ[i]/seen)) < math.Abs(math.Log(cellQ[q]/seen)) {
			q = i
		}
	}
	ch := c.chain[q]
	turns := float64(c.turn - ch.turn + 1)
	cc := &cellCase{
		cell: i, n: w.n, learnt: w.learnt, card: w.card, misses: float64(ch.misses), turns: turns,
		p0: w.base(c), lastT: t, odds: nats - math.Log(float64(3*w.n)),
	}
	begin, at := ch.t, i
	for range 3 { // it may have slipped at several stops
		b, ok := w.before(at, begin, float64(ch.misses)/turns)
		if !ok {
			break
		}
		begin = b.t
		cc.misses += b.misses
		cc.turns += b.turns
		at = b.cell
	}
	// Two misses of the cell lie 1/q turns apart; a turn takes what the last ones took.
	turn := (t - ch.t) / evenstand.Micros(math.Max(1, turns))
	doubt := evenstand.Micros(2*math.Max(1, turns)/math.Max(1, float64(ch.misses))) * min(turn, 5*evenstand.Second)
	begin = e.afterHalt(begin, max(doubt, 8*evenstand.Second))
	// Where the card was wrong the cell was there before it could be counted:
	// as long as the skips that gave it away.
	if o := w.skips; o != nil && !o.dropped && o.onset < begin {
		if more := o.sum.places/float64(w.n) - cc.turns; more > 0 {
			cc.misses += more * cc.misses / cc.turns
			cc.turns += more
		}
		begin = o.onset
	}
	w.skips = nil
	cc.seen = cc.misses - cc.p0*cc.turns
	// A cell that fell silent a while ago and turns up again is one fault.
	for n := len(e.cases) - 1; n >= 0; n-- {
		old := e.cases[n]
		if old.cell == nil || old.rows[0] != r.n || old.dropped {
			continue
		}
		if old.until != evenstand.NoTime && t-old.until < 60*60*evenstand.Second {
			old.until = evenstand.NoTime
			old.cell.quiet, old.cell.waiting = 0, 0
			old.cell.misses += cc.misses
			old.cell.turns += cc.turns
			w.name(i, old)
			return
		}
		if old.open() {
			cc.second = true
		}
		break
	}
	low := begin
	spread := evenstand.FromSeconds(2 * turns / math.Max(1, float64(ch.misses)) * float64(w.n) / 25)
	f := e.add(&caseFile{
		kind: evenstand.KindBlockedCell, rows: []int{r.n}, raised: true,
		onset: begin, onsetLow: low - spread, onsetHigh: low, alarm: t, grade: evenstand.GradeA, cell: cc,
	})
	w.name(i, f)
	e.explain(f)
}

// name hands a cell over to a case; its past leaves the row's base.
func (w *cellWatch) name(i int, f *caseFile) {
	c := &w.cell[i]
	c.named, w.only = f, f
	if len(f.cell.disc.turns) == 0 {
		f.cell.disc.begin(w, i, f.cell.turns)
	}
	c.c = [3]float32{}
	w.m = math.Max(0, w.m-c.m)
	w.p = math.Max(0, w.p-c.n)
	c.m, c.n = 0, 0
	f.cell.cell = i
}

// move shifts the place number so that what is seen at cell from is cell to.
func (w *cellWatch) move(from, to int) {
	w.shift += int64(to - from)
	n := w.n
	rot := make([]cell, n)
	d := ((to-from)%n + n) % n
	for i := range w.cell {
		rot[(i+d)%n] = w.cell[i]
	}
	// Names stay with their numbers, the rest moves with the shift.
	for i := range rot {
		rot[i].named = w.cell[i].named
		if rot[i].named != nil {
			c := &rot[i]
			w.m = math.Max(0, w.m-c.m)
			w.p = math.Max(0, w.p-c.n)
			c.m, c.n, c.c = 0, 0, [3]float32{}
		}
	}
	copy(w.cell, rot)
}

// follow keeps a named cell's share and notices when it ends.
func (w *cellWatch) follow(e *Engine, r *row, f *caseFile, missed bool, t evenstand.Micros) {
	cc := f.cell
	q := (cc.misses + 0.5) / (cc.turns + 1)
	q = math.Min(0.97, math.Max(0.15, q))
	p := math.Max(0.002, cc.p0)
	step := math.Log((1 - p) / (1 - q))
	if missed {
		step = math.Log(p / q)
	}
	cc.quiet = math.Max(0, cc.quiet+step)
	if cc.quiet < 4 { // turns of a slip are not the cell's own
		cc.turns++
		if missed {
			cc.misses++
		}
	}
	if missed {
		cc.seen++
		cc.lastT = t
	}
	cc.seen -= p
	if cc.quiet >= cellQuiet {
		cc.waiting++
		if float64(cc.waiting) > math.Max(20, 12/q) {
			w.cell[cc.cell].named = nil
			if next := w.goesOn(f); next != nil {
				// What was named beside it meanwhile is the same cell after a slip.
				next.dropped = true
				w.cell[next.cell.cell].named = f
				cc.cell = next.cell.cell
				cc.misses += next.cell.misses
				cc.turns += next.cell.turns
				cc.seen += next.cell.seen
				cc.quiet, cc.waiting = 0, 0
				return
			}
			f.until = cc.lastT
		}
	} else if cc.waiting > 0 && missed {
		cc.waiting = 0
	}
}

// goesOn gives the open case of another cell of the row that began when f fell
// silent.
func (w *cellWatch) goesOn(f *caseFile) *caseFile {
	for i := range w.cell {
		if n := w.cell[i].named; n != nil && n != f && n.open() && absT(n.onset-f.cell.lastT) < 2*60*evenstand.Second {
			return n
		}
	}
	return nil
}

// tick keeps the suspicion of the row up to date.
func (w *cellWatch) tick(e *Engine, r *row, t evenstand.Micros) {
	n := r.scan.found
	switch {
	case n == 0:
		return
	case w.n == 0:
		w.init(n)
		w.learnt = true
		return
	case w.learnt:
		return
	}
	// Of a disc whose cells the card tells, misses that come back at another
	// distance say that the card is wrong: when they do so twice over, and the
	// row skips more than its peers. Once alone is also a multiple, or chance.
	r.scan = lagScan{}
	if n%w.n == 0 || w.n%n == 0 {
		w.other = 0
		return
	}
	if w.other != n {
		w.other = n
		return
	}
	o := e.anyOpen(r.n, evenstand.KindRowSkips)
	if o == nil || e.anyOpen(r.n, evenstand.KindBlockedCell, evenstand.KindStarvedRow) != nil {
		return
	}
	card := w.n
	*w = cellWatch{learnt: true, card: card, skips: o}
	w.init(n)
}

// suspectCells opens a case, not to be raised, for each row on which the odds
// for some locked cell are 100 to 1 or more when the day ends.
func (e *Engine) suspectCells(t evenstand.Micros) {
	for _, r := range e.rows {
		w := &r.cells
		odds, i := w.suspicion()
		if odds < cellSuspected || e.anyOpen(r.n, evenstand.KindBlockedCell) != nil {
			continue
		}
		c := &w.cell[i]
		q := 0
		for j := range c.c {
			if c.c[j] > c.c[q] {
				q = j
			}
		}
		ch := c.chain[q]
		if ch.misses < 3 {
			continue
		}
		turns := float64(c.turn - ch.turn + 1)
		cc := &cellCase{cell: i, n: w.n, learnt: w.learnt, card: w.card, misses: float64(ch.misses), turns: turns, p0: w.base(c), lastT: t, odds: odds}
		cc.seen = cc.misses - cc.p0*turns
		e.add(&caseFile{kind: evenstand.KindBlockedCell, rows: []int{r.n}, onset: ch.t, onsetLow: ch.t, onsetHigh: ch.t, alarm: t, grade: evenstand.GradeA, cell: cc})
	}
}

// suspicion is the log odds that some cell of the row misses more than the
// rest, each cell and share of misses given the same chance beforehand.
func (w *cellWatch) suspicion() (odds float64, cellNo int) {
	if w.n == 0 {
		return math.Inf(-1), -1
	}
	top, at := 0.0, -1
	sum := 0.0
	for i := range w.cell {
		for _, v := range w.cell[i].c {
			sum += math.Exp(float64(v))
			if float64(v) > top {
				top, at = float64(v), i
			}
		}
	}
	return math.Log(sum / float64(3*w.n)), at
}

// disc counts, for drawing, what each place of the disc missed while a cell was
// named, counted from that cell, so that a slip of the place number moves
// nothing.
type disc struct {
	misses, turns []float64
}

// begin takes in the late turns that the named cell i was found by.
func (d *disc) begin(w *cellWatch, i int, turns float64) {
	d.misses, d.turns = make([]float64, w.n), make([]float64, w.n)
	n := int(math.Min(64, math.Max(1, turns)))
	for j := range w.cell {
		c := &w.cell[(i+j)%w.n]
		k := min(n, int(c.turn))
		got := 0
		for b := range k {
			got += int(c.hist >> b & 1)
		}
		d.misses[j], d.turns[j] = float64(got), float64(k)
	}
}

// place takes a place at cell i while cell named is the one that is followed.
func (d *disc) place(named, i, n int, missed bool) {
	if len(d.turns) != n {
		return
	}
	j := (i - named + n) % n
	d.turns[j]++
	if missed {
		d.misses[j]++
	}
}

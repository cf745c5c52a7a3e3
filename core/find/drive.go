package find

import (
	"math"
	"slices"

	"evenstand"
	"evenstand/core/stat"
)

// A drive that runs unevenly lays seeds in waves that repeat with the turn of
// the disc or a whole part of it: a bent coupling once, a joint twice, a tooth
// or a stiff link more often (methods b, drive rhythm). The sum of
// e·exp(-2πi h c/N) over the places c of the disc has a power of |z|²/(nσ²),
// exponential on a healthy row; its mean is 1 for fast waves and more for slow
// ones, since the clocks and the speed wander, and is learnt from the rows.
const (
	driveBlock  = 200  // seeds a block
	driveKeep   = 40   // blocks that are remembered
	driveMost   = 12   // waves a turn, at most
	driveSeen   = 18.0 // nats: 0.03 false a day of 16 rows
	driveRaise  = 23.0 // nats: 16 rows, 12 waves and 3 windows in 10 h give 0.0003
	driveLeast  = 0.03 // places: what a disc's own drilling gives stays below 0.01 (judgement)
	driveHeal   = 8.0
	driveMean   = 0.06                   // places: a block that is off by more on average belongs to no steady rhythm
	drivePeers  = 4.0                    // times the power that the other rows show at the time
	driveWithin = 120 * evenstand.Second // rows that begin together share a shaft
)

// driveFloor is the mean power of healthy rows by window and number of waves.
type driveFloor [len(driveWindows)][driveMost]float64

func (f *driveFloor) init() {
	for i := range f {
		for h := range f[i] {
			f[i][h] = floorStart
		}
	}
}

// learn takes a row's power in; waves of a fault are cut short.
func (f *driveFloor) learn(window, h int, p float64) {
	x := &f[window][h]
	*x += floorGain * (math.Min(p, 6**x) - *x)
}

const (
	floorStart = 2.0 // before anything is known: cautious
	floorGain  = 1.0 / 1000
)

// driveWindows are the blocks that are summed: a strong wave shows in 800
// seeds, a weak one in 3,000.
var driveWindows = [...]int{4, 8, 15}

// wave is a sum over a block.
type wave struct{ re, im float64 }

type driveBlockSum struct {
	z        [driveMost]wave
	n, s1    float64
	s2       float64
	t0, t1   evenstand.Micros
	endPlace int64
}

// add takes another block in.
func (b *driveBlockSum) add(o *driveBlockSum, waves int) {
	b.n += o.n
	b.s1 += o.s1
	b.s2 += o.s2
	for h := range b.z[:waves] {
		b.z[h].re += o.z[h].re
		b.z[h].im += o.z[h].im
	}
}

// variance is that of the offsets about their mean.
func (b *driveBlockSum) variance() float64 { return b.s2/b.n - b.s1/b.n*b.s1/b.n }

// driveWatch follows the waves of one row.
type driveWatch struct {
	cells   int
	waves   int // that are tried
	tab     *waveTable
	held    float64
	heldC   int
	holds   bool
	at      evenstand.Micros
	block   driveBlockSum
	turn    []float64 // offsets of the block's seeds, summed by cell: its waves wait for its end
	ring    [driveKeep]driveBlockSum
	count   int
	judged  int
	twice   bool // the block before spoke as well
	floor   int  // blocks that belong to what is over
	heal    float64
	healT   evenstand.Micros
	cse     *caseFile
	prev    *caseFile
	ended   evenstand.Micros                      // when the row left prev
	size, n float64                               // amplitude of the row's own wave in places, and the seeds it rests on
	counted int64                                 // the row's place counter up to which a case holds its places
	powers  [len(driveWindows)][driveMost]float64 // of late, over the floor
	ripples float64                               // variance that the waves of an open case bring, places²
}

// driveCase is the evidence of a case of row-drive.
type driveCase struct {
	waves     int     // a turn
	nats      float64 // the most seen
	size, err float64 // amplitude in places, and its standard error
	n         float64 // seeds that size rests on
	places    float64 // of each row while it ran unevenly, summed
	end       evenstand.Micros
}

// waveTable holds, for each number of waves from one on, the cosines and sines
// of the cells of half a turn, from the first to before the middle.
type waveTable struct{ cos, sin [driveMost][]float64 }

func newWaveTable(cells int) *waveTable {
	t := new(waveTable)
	half := (cells - 1) / 2
	for h := range t.cos {
		for c := 1; c <= half; c++ {
			s, co := math.Sincos(2 * math.Pi * float64((h+1)*c%cells) / float64(cells))
			t.cos[h], t.sin[h] = append(t.cos[h], co), append(t.sin[h], s)
		}
	}
	return t
}

// waveTable gives the table for a disc, one for all rows.
func (e *Engine) waveTable(cells int) *waveTable {
	t := e.waves[cells]
	if t == nil {
		if e.waves == nil {
			e.waves = map[int]*waveTable{}
		}
		t = newWaveTable(cells)
		e.waves[cells] = t
	}
	return t
}

// sum gives the waves of what was summed by cell. Cells that lie as far before
// the first as others behind it share their cosines, and their sines but for
// the sign, so half the turn is walked. It leaves turn written over.
func (t *waveTable) sum(turn []float64, z []wave) {
	n := len(turn)
	half := (n - 1) / 2
	even, odd := turn[1:half+1], turn[n-half:]
	for i, a := range even { // the even part in front, the odd one behind it, backwards
		b := odd[half-1-i]
		even[i], odd[half-1-i] = a+b, a-b
	}
	for h := range z {
		re, im := turn[0], 0.0
		cos, sin := t.cos[h][:half], t.sin[h][:half]
		for i, a := range even {
			re += a * cos[i]
			im -= odd[half-1-i] * sin[i]
		}
		if n%2 == 0 { // the cell half a turn away
			if mid := turn[n/2]; h%2 == 0 {
				re -= mid
			} else {
				re += mid
			}
		}
		z[h] = wave{re, im}
	}
}

func (w *driveWatch) init(e *Engine, cells int) {
	if cells < 8 || cells == w.cells {
		return
	}
	*w = driveWatch{cells: cells, waves: min(driveMost, cells/3), turn: make([]float64, cells), tab: e.waveTable(cells)}
}

// seed takes the offset of a seed whose rhythm can be read.
func (w *driveWatch) seed(p *Place, places int64) {
	if w.cells == 0 {
		return
	}
	if p.First || p.Double || p.Sigma <= 0 || !p.Readable {
		w.holds = false
		return
	}
	if w.holds {
		w.add(w.held, w.heldC, places)
	}
	w.holds = p.Missing == 0
	w.held, w.at = float64(p.Off), p.T
	w.heldC = CellOf(p.K, w.cells)
}

func (w *driveWatch) add(e float64, c int, places int64) {
	if e > offClip || e < -offClip {
		return
	}
	b := &w.block
	if b.n == 0 {
		b.t0 = w.at
	}
	w.turn[c] += e
	b.n++
	b.s1 += e
	b.s2 += e * e
	if b.n >= driveBlock {
		if math.Abs(b.s1) > driveMean*b.n { // the decoder is finding its way again
			*b = driveBlockSum{}
			clear(w.turn)
			return
		}
		w.tab.sum(w.turn, b.z[:w.waves])
		clear(w.turn)
		b.t1, b.endPlace = w.at, places
		w.ring[w.count%driveKeep] = *b
		w.count++
		*b = driveBlockSum{}
	}
}

func (w *driveWatch) back(i int) *driveBlockSum { return &w.ring[(w.count-1-i)%driveKeep] }

// sum adds the last blocks up for one number of waves; they must follow one
// another without a longer halt.
func (w *driveWatch) sum(h, blocks int) (z wave, n, v float64) {
	var all driveBlockSum
	for i := range min(blocks, w.count-w.floor, driveKeep) {
		all.add(w.back(i), h+1)
	}
	return all.z[h], all.n, all.variance()
}

// tickDrive judges the blocks that were finished since the last tick.
func (e *Engine) tickDrive(t evenstand.Micros) {
	for _, r := range e.rows {
		w := &r.drive
		if w.cells == 0 && r.cells.n > 0 {
			w.init(e, r.cells.n) // learnt from the logs
		}
		if w.judged == w.count {
			continue
		}
		w.judged = w.count
		if c := w.cse; c != nil && c.raised {
			w.healing(e, r)
			continue
		}
		best, at, window := 0.0, -1, 0
		shown := 0
		var all driveBlockSum // of the windows so far: each holds the one before
		blocks := 0
		for i, k := range driveWindows {
			if k > w.count-w.floor {
				break
			}
			for ; blocks < k; blocks++ {
				all.add(w.back(blocks), w.waves)
			}
			n, v := all.n, all.variance()
			norm, err := 1/(n*math.Max(v, 1e-6)), math.Sqrt(2*v/n)
			for h, z := range all.z[:w.waves] {
				p := (z.re*z.re + z.im*z.im) * norm
				e.floor.learn(i, h, p)
				p /= math.Max(1, e.floor[i][h])
				w.powers[i][h] = p
				if p > best && 2*math.Hypot(z.re, z.im)/n-1.645*err > driveLeast {
					best, at, window, shown = p, h, k, i
				}
			}
		}
		// What most rows show at once is the clocks or a rate that changed.
		if best >= driveSeen && (best < drivePeers*e.othersPower(r, shown, at) || !w.steady(at, window)) {
			w.twice = false
			continue
		}
		first := best >= driveRaise && !w.twice
		w.twice = best >= driveRaise
		if first { // the other rows may not have finished their blocks
			continue
		}
		switch {
		case best >= driveRaise:
			e.driveFound(r, t, at, window, best, true)
		case best >= driveSeen && w.cse == nil:
			e.driveFound(r, t, at, window, best, false)
		case best < driveSeen/2 && w.cse != nil: // suspected only, and passed
			w.cse.dropped, e.littered = true, true
			w.cse = nil
		}
	}
}

// steady tells whether most blocks of a window show the same wave: a drive
// goes on as it does, while a rate that steps leaves one large block.
func (w *driveWatch) steady(h, blocks int) bool {
	z, n, _ := w.sum(h, blocks)
	norm := math.Hypot(z.re, z.im)
	with := 0
	for i := range blocks {
		b := w.back(i)
		if x := (b.z[h].re*z.re + b.z[h].im*z.im) / norm; x/b.n > 0.5*norm/n {
			with++
		}
	}
	return float64(with) >= 0.7*float64(blocks)
}

// othersPower is the middle power of the other rows for a window and a number of
// waves; 0 with fewer than four.
func (e *Engine) othersPower(r *row, window, h int) float64 {
	var ps []float64
	for _, o := range e.rows {
		if o != r && o.drive.count > 0 {
			ps = append(ps, o.drive.powers[window][h])
		}
	}
	if len(ps) < bouncePeers {
		return 0
	}
	return stat.Median(ps)
}

// driveFound opens a case, raises a suspected one, or joins one of the rows
// that began to run unevenly in the same way at the same time.
func (e *Engine) driveFound(r *row, t evenstand.Micros, h, window int, nats float64, raise bool) {
	w := &r.drive
	z, n, v := w.sum(h, window)
	size := 2 * math.Hypot(z.re, z.im) / n
	// Onset: the largest backward sum of what each block shows of the wave, less
	// half of it.
	on, from := w.back(window-1).t0, w.back(window-1).endPlace-driveBlock
	sum, best := 0.0, math.Inf(-1)
	norm := math.Hypot(z.re, z.im)
	for i := range min(w.count-w.floor, driveKeep) {
		b := w.back(i)
		x := (b.z[h].re*z.re + b.z[h].im*z.im) / norm
		if sum += x - b.n*size/4; sum > best {
			best, on, from = sum, b.t0, b.endPlace-driveBlock
		}
	}
	on = e.afterHalt(on, rateDoubt)
	d := driveCase{
		waves: h + 1, nats: nats, size: size, err: math.Sqrt(2 * v / n), n: n,
		places: float64(r.places - max(from, w.counted)), end: evenstand.NoTime,
	}
	again := raise && w.again(on, d.waves)
	switch c := w.cse; {
	case again:
		if c != nil && c != w.prev { // suspected so far
			c.dropped, e.littered = true, true
		}
		w.cse = w.prev
		w.cse.until = evenstand.NoTime
		w.cse.drive.places += d.places
	case c == nil:
		w.cse = e.add(&caseFile{
			kind: evenstand.KindRowDrive, rows: []int{r.n}, onset: on, onsetLow: on - rateDoubt, onsetHigh: on + rateDoubt,
			alarm: t, grade: evenstand.GradeA, drive: &d,
		})
	case raise:
		c.drive = &d
		c.onset, c.onsetLow, c.onsetHigh = on, on-rateDoubt, on+rateDoubt
	}
	if !raise {
		return
	}
	w.heal, w.size, w.n, w.counted = 0, size, n, r.places
	e.raise(w.cse)
	w.ripples = size * size / 2
	// What the waves scatter is not bounce.
	if b := r.bounce.cse; b != nil && (!b.raised || b.onset > on-rateDoubt && b.spread.own-b.spread.n*w.ripples < b.spread.peers*math.Exp(2*healthyRows)) {
		b.dropped, e.littered = true, true
		r.bounce.cse = nil
		if r.bounce.prev == b {
			r.bounce.prev = nil
		}
	}
	r.bounce.c = 0
	if !again {
		e.joinDrives(w.cse)
	}
}

// again tells whether a wave that begins at a time is what the row showed a
// while ago. A finding of several rows that is over stays so: the others did
// not come back.
func (w *driveWatch) again(on evenstand.Micros, waves int) bool {
	p := w.prev
	return p != nil && !p.dropped && p.drive.waves == waves && on-w.ended < rateReopen && (len(p.rows) == 1 || p.open())
}

// joinDrives puts a row's case to that of other rows whose drives began to run
// unevenly in the same way at the same time: they share a shaft.
func (e *Engine) joinDrives(c *caseFile) {
	for _, o := range e.cases {
		if o == c || o.dropped || o.drive == nil || !o.raised || !o.open() || o.drive.waves != c.drive.waves {
			continue
		}
		if d := o.onset - c.onset; d > driveWithin || d < -driveWithin {
			continue
		}
		for _, n := range c.rows {
			if !o.hasRow(n) {
				o.rows = append(o.rows, n)
			}
			e.row(n).drive.cse = o
		}
		o.drive.places += c.drive.places
		c.dropped, e.littered = true, true
		e.drivesAgain(o)
		return
	}
}

// drivesAgain takes up the finding of several rows that had ended when all of
// them are back.
func (e *Engine) drivesAgain(c *caseFile) {
	p := e.row(c.rows[0]).drive.prev
	if p == nil || p == c || p.open() || p.dropped || p.drive.waves != c.drive.waves || c.onset-p.until >= rateReopen || len(p.rows) != len(c.rows) {
		return
	}
	for _, n := range c.rows {
		if e.row(n).drive.prev != p {
			return
		}
	}
	for _, n := range c.rows {
		e.row(n).drive.cse = p
	}
	p.until = evenstand.NoTime
	p.drive.places += c.drive.places
	c.dropped, e.littered = true, true
}

// leads tells whether a row is the first of those that still are in a case.
func (e *Engine) leads(c *caseFile, n int) bool {
	for _, x := range c.rows {
		if e.row(x).drive.cse == c {
			return x == n
		}
	}
	return false
}

// healing follows a row in an open case: how large its wave is now, and whether
// it has ended. The case ends with the last of its rows.
func (w *driveWatch) healing(e *Engine, r *row) {
	c := w.cse
	d := c.drive
	if !c.open() {
		w.prev, w.cse, w.ended, w.ripples = c, nil, c.until, 0
		return
	}
	const blocks = 4
	z, n, v := w.sum(d.waves-1, blocks)
	size := 2 * math.Hypot(z.re, z.im) / n
	se := math.Sqrt(2 * math.Max(v, 1e-6) / n)
	if w.heal == 0 { // half of the blocks are without it when the sum falls to half
		w.healT = w.back(min(blocks/2, w.count-w.floor) - 1).t0
	}
	w.heal = math.Max(0, w.heal+math.Max(-3, math.Min(3, (w.size/2-size)/(1.5*se))))
	if w.heal > 0 {
		if w.heal >= driveHeal {
			w.prev, w.cse, w.ended, w.heal, w.ripples = c, nil, w.healT, 0, 0
			w.floor = w.count
			if d.end == evenstand.NoTime || d.end < w.healT {
				d.end = w.healT
			}
			for _, n := range c.rows {
				if e.row(n).drive.cse == c {
					return // goes on
				}
			}
			c.over(d.end)
		}
		return
	}
	// Noise lifts the size that a sum shows: E|z|² holds n σ².
	own, more := math.Sqrt(math.Max(0, size*size-4*v/n)), w.back(0).n
	w.n += more
	w.size += (own - w.size) * more / w.n
	w.ripples = w.size * w.size / 2
	d.places += float64(r.places - w.counted)
	w.counted = r.places
	if e.leads(c, r.n) {
		d.n += more
		d.size += (own - d.size) * more / d.n
		d.err = math.Sqrt(2 * v / d.n)
	}
}

func (e *Engine) reportDrive(c *caseFile, f *evenstand.Finding) {
	d := c.drive
	slices.Sort(f.Rows)
	f.Evidence = []evenstand.Evidence{
		ev("waves a turn of the disc", float64(d.waves), nan, nan, nan, ""),
		ev("size of the wave", d.size, math.Max(0, d.size-1.645*d.err), d.size+1.645*d.err, d.n, "places"),
		ev("odds that it is a wave", math.Exp(math.Min(d.nats, 690)), nan, nan, d.n, ""),
	}
	// A bent or loose coupling comes round once a turn, a joint twice, a tooth or
	// a stiff link more often (agronomy: F18; the odds are judgement).
	coupling, chain, motor := 0.80, 0.12, 0.05
	if d.waves > 2 {
		coupling, chain, motor = 0.10, 0.80, 0.07
	}
	f.Causes = normalise(evenstand.Cause{Cause: evenstand.CauseCoupling, Probability: coupling}, evenstand.Cause{Cause: evenstand.CauseChain, Probability: chain}, evenstand.Cause{Cause: evenstand.CauseDrive, Probability: motor})
	// The gap between neighbours of a wave of size A is 2A sin(πh/N) large.
	gap := 2 * d.size * math.Sin(math.Pi*float64(d.waves)/float64(max(1, e.row(c.rows[0]).drive.cells)))
	f.Harm = []evenstand.Harm{e.uneven(c.rows, math.Max(0, d.places), gap*gap/2)}
	f.Chart = e.chart(c)
}

// driveChart draws how large a wave each number of waves a turn shows, over the
// blocks that are remembered.
func (e *Engine) driveChart(c *caseFile) *evenstand.Chart {
	w := &e.row(c.rows[0]).drive
	ch := &evenstand.Chart{Title: "waves in the spacing by how often they come a turn, of late", X: "waves a turn", Y: "size of the wave", Unit: "places"}
	for h := range w.waves {
		var z wave
		n := 0.0
		for i := range min(w.count, driveKeep) {
			b := w.back(i)
			if b.t0 >= c.onset && (c.open() || b.t1 <= c.until) {
				z.re, z.im, n = z.re+b.z[h].re, z.im+b.z[h].im, n+b.n
			}
		}
		ch.At = append(ch.At, num(float64(h+1)))
		ch.Value = append(ch.Value, num(2*math.Hypot(z.re, z.im)/n))
		if h+1 == c.drive.waves {
			ch.Mark = []int{h}
		}
	}
	return ch
}

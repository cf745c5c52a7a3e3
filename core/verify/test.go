package verify

import (
	"math"
	"slices"

	"evenstand"
	"evenstand/core/stat"
)

// Spec says what is tested.
type Spec struct {
	Plan    Plan
	Rows    evenstand.Rows // what it was done to; empty: all rows
	Sick    evenstand.Rows // rows that are no peers: something else is wrong with them
	Since   evenstand.Micros
	Sure    evenstand.Micros // from when on it was surely there
	Until   evenstand.Micros // when it was over; NoTime it was not
	At      evenstand.Micros // when it was done
	Change  bool             // nothing was known to be wrong: held against the past
	Before  float64          // the rate while it lasted where no stretch tells; NaN
	Beside  float64          // so many tests of one change share the chance of an error
	Cells   int              // on the disc; 0: usual
	Spacing float64          // of rows, m; NaN
	Start   evenstand.Micros // from when on the past counts; NoTime: all
	End     evenstand.Micros // from when on nothing counts: too few peers are left as they were; 0: never
	Few     bool             // too few other rows were left as they were to be peers
}

// Slice is what all rows did on one stretch of a pass.
type Slice struct {
	Lowered evenstand.Micros // when the pass began
	Rows    []evenstand.Stretch
}

// Judged figures. Peers is how many other rows make peers. The others say how
// many events weigh as much as what is taken beforehand: that the others'
// rate did not change, that the row is like its peers.
const (
	peersLeast  = 3
	priorPeers  = 10
	priorRow    = 20
	priorNeed   = 400  // seeds, for how many are still needed
	pastLeast   = 2000 // places before one's own past counts without peers
	usualCells  = 40
	phiUsual    = 1.8 // methods document, section 0
	phiMost     = 5
	phiAlone    = 50 // at most where all rows wander together (judged)
	phiStretch  = 10 // stretches in a block, as there
	phiBlocks   = 60
	watchTimes  = 10 // a verdict is watched so much longer
	courseMost  = 48
	courseStep  = 1.12
	changeLeast = 500 // places or 30 means of the past before a change is judged
)

// the phases of a test
const (
	past    = iota // before the trouble
	trouble        // while it lasted
	after          // since the lowering that followed
	between        // counts for nothing
	numKept = between
)

type counts struct{ y, n float64 }

func (c *counts) add(y, n float64) { c.y += y; c.n += n }

// Test is one check-back. Its state does not grow with what it is handed.
type Test struct {
	spec  Spec
	rows  []bool // tested, by row; nil: all
	sick  []bool
	own   [numKept]counts
	peers [numKept]counts
	phi   phiSums

	spread Spread
	alone  Spread                     // of the means as they are
	level  [numKept]evenstand.Moments // of the means, less their peers'
	mates  [numKept]evenstand.Moments // of the peers' means
	raw    [numKept]evenstand.Moments // of the means as they are
	phase  int
	pass   evenstand.Micros

	turned  float64 // places since the lowering, of a row
	since   evenstand.Micros
	pace    float64 // s of planting
	paced   float64 // seeds or means in them
	area    float64 // m2 by the whole machine in them
	last    evenstand.Micros
	verdict int
	decided evenstand.Micros
	at      float64 // seen at the verdict
	mark    counts  // of own[after] at the verdict; of means sum and n
	turnsUp int     // verdicts that were turned
	course  []evenstand.CheckPoint
	kept    float64
	each    [numKept][]counts // of the peers, by row: of means sum and n
	held    [2]float64        // low and high that no look so far excluded
	any     bool
	limits  limits
}

// limits are the 80 % limits of what was, kept until it or φ is another.
type limits struct{ y, n, low, high float64 }

func (l *limits) of(y, n float64) (low, high float64) {
	if l.y != y || l.n != n || l.low == 0 && l.high == 0 {
		l.y, l.n = y, n
		l.low, l.high = stat.Jeffreys(y, n, 0.80)
	}
	return l.low, l.high
}

// New arms a test.
func New(s Spec) *Test {
	t := &Test{spec: s, since: evenstand.NoTime, last: evenstand.NoTime, decided: evenstand.NoTime, pass: evenstand.NoTime, phase: between}
	if len(s.Rows) > 0 {
		t.rows = flags(s.Rows)
	}
	t.sick = flags(s.Sick)
	if t.spec.Cells <= 0 {
		t.spec.Cells = usualCells
	}
	return t
}

func flags(rows evenstand.Rows) []bool {
	var out []bool
	for _, r := range rows {
		for len(out) <= r {
			out = append(out, false)
		}
		out[r] = true
	}
	return out
}

func has(f []bool, row int) bool { return row >= 0 && row < len(f) && f[row] }

// Arm says when it was done; what came of what was done before counts no more.
func (t *Test) Arm(at evenstand.Micros) {
	s := t.spec
	s.At = at
	if s.End > 0 && s.End <= at {
		s.End, s.Few = 0, true
	}
	*t = Test{
		spec: s, rows: t.rows, sick: t.sick, phi: t.phi, spread: t.spread, alone: t.alone, phase: t.phase, pass: t.pass, turned: t.turned, pace: t.pace, paced: t.paced, area: t.area,
		own: t.own, peers: t.peers, each: t.each, level: t.level, mates: t.mates, raw: t.raw, since: evenstand.NoTime, last: t.last, decided: evenstand.NoTime,
	}
	t.own[after], t.peers[after] = counts{}, counts{}
	t.each = [numKept][]counts{past: t.each[past], trouble: t.each[trouble]}
	t.level[after], t.mates[after], t.raw[after] = evenstand.Moments{}, evenstand.Moments{}, evenstand.Moments{}
}

// Knows takes what is known of the finding by now.
func (t *Test) Knows(p Plan, until evenstand.Micros) {
	t.spec.Plan, t.spec.Until = p, until
}

// Verdict is the verdict as it stands.
func (t *Test) Verdict() string {
	switch t.verdict {
	case 1:
		return evenstand.VerdictWorked
	case -1:
		return evenstand.VerdictFailed
	}
	return evenstand.VerdictOpen
}

// Counts tells whether anything was counted since it was done.
func (t *Test) Counts() bool { return t.seen() > 0 }

// Over tells that nothing that comes can change the answer.
func (t *Test) Over() bool {
	return t.spec.Plan.How == None || t.verdict != 0 && t.seen() >= watchTimes*t.at
}

// phaseOf tells what a stretch counts for.
func (t *Test) phaseOf(s *Slice, at evenstand.Micros) int {
	sp := &t.spec
	sure := sp.Sure
	if sure == evenstand.NoTime || sure >= sp.At {
		sure = sp.Since
	}
	switch {
	case sp.End > 0 && at >= sp.End:
		return between
	case s.Lowered >= sp.At:
		return after
	case at >= sp.At || sp.Start != evenstand.NoTime && at < sp.Start:
		return between
	case sp.Change || at < sp.Since:
		return past
	case at < sure || sp.Until != evenstand.NoTime && at >= sp.Until:
		return between
	}
	return trouble
}

// Add takes in the next stretch.
func (t *Test) Add(s *Slice) {
	if len(s.Rows) == 0 || t.Over() {
		return
	}
	at := s.Rows[0].T
	ph := t.phaseOf(s, at)
	if ph != t.phase {
		t.spread.Next()
		t.alone.Next()
		t.phase = ph
	} else if s.Lowered != t.pass {
		t.spread.Pause()
		t.alone.Pause()
	}
	if s.Lowered != t.pass {
		t.phi.pause()
		t.turned = 0
	}
	t.pass = s.Lowered
	if ph == after && t.since == evenstand.NoTime {
		t.since = s.Lowered
	}
	if ph == between || !t.turnedTwice(s) {
		return
	}
	t.last = max(t.last, at)
	if t.spec.Plan.How == ByMean {
		t.addMean(s, ph)
	} else {
		t.addShare(s, ph)
	}
	if ph == after {
		t.look(at)
	}
}

// turnedTwice tells whether the discs of the rows have turned twice since the
// lowering; of rows that stand still it goes by the way.
func (t *Test) turnedTwice(s *Slice) bool {
	was := t.turned
	most := 0.0
	for i := range s.Rows {
		if r := &s.Rows[i]; t.rows == nil || has(t.rows, int(r.Row)) {
			most = max(most, float64(r.Due))
		}
	}
	if most == 0 {
		most = 2 * float64(t.spec.Cells)
	}
	t.turned += most
	return was >= 2*float64(t.spec.Cells)
}

func (t *Test) mine(row int) bool { return t.rows == nil || has(t.rows, row) }

func (t *Test) peer(row int) bool { return t.rows != nil && !has(t.rows, row) && !has(t.sick, row) }

func (t *Test) addShare(s *Slice, ph int) {
	var own, peers counts
	for i := range s.Rows {
		r := &s.Rows[i]
		y, n, ok := share(t.spec.Plan.Measure, r, t.spec.Spacing)
		if !ok {
			continue
		}
		switch {
		case t.mine(int(r.Row)):
			own.add(y, n)
		case t.peer(int(r.Row)):
			peers.add(y, n)
			t.row(ph, int(r.Row)).add(y, n)
		}
		if ph != after && t.peer(int(r.Row)) {
			t.phi.add(int(r.Row), y, n)
		}
	}
	if t.rows == nil && ph == past { // no peers take out what all rows have in common
		t.phi.add(0, own.y, own.n)
		t.phi.alone = true
	}
	if ph != after {
		t.phi.next()
	}
	if own.n == 0 {
		return
	}
	t.own[ph].add(own.y, own.n)
	t.peers[ph].add(peers.y, peers.n)
	if ph != past {
		t.time(s, own.n)
	}
}

func (t *Test) addMean(s *Slice, ph int) {
	var own, peers, raw evenstand.Moments
	for i := range s.Rows {
		r := &s.Rows[i]
		x, ok := mean(t.spec.Plan.Measure, r, t.spec.Spacing)
		if !ok {
			continue
		}
		switch {
		case t.mine(int(r.Row)):
			own.Add(x)
		case t.peer(int(r.Row)):
			peers.Add(x)
			t.row(ph, int(r.Row)).add(x, 1)
		}
	}
	if own.N == 0 {
		return
	}
	raw.Add(own.Mean())
	x := own.Mean()
	if t.beside() {
		if peers.N < peersLeast {
			return
		}
		x -= peers.Mean()
		t.mates[ph].Add(peers.Mean())
	}
	t.spread.Add(x)
	t.alone.Add(own.Mean())
	t.level[ph].Add(x)
	t.raw[ph].Merge(raw)
	if ph != past {
		t.time(s, 1)
	}
}

// row gives the sums of a peer.
func (t *Test) row(ph, n int) *counts {
	for len(t.each[ph]) <= n {
		t.each[ph] = append(t.each[ph], counts{})
	}
	return &t.each[ph][n]
}

// band gives what eight of ten peers lie in; NaN for few.
func (t *Test) band() (low, high float64) {
	least := 500.0 // places
	if t.spec.Plan.How == ByMean {
		least = 5
	}
	var vs []float64
	for _, c := range t.each[after] {
		if c.n >= least {
			vs = append(vs, c.y/c.n)
		}
	}
	if len(vs) < peersLeast {
		return math.NaN(), math.NaN()
	}
	return stat.Quantile(vs, 0.1), stat.Quantile(vs, 0.9)
}

// beside tells whether means are held against those of the peers: not where a
// limit or a target is what counts, nor where all rows are in it.
func (t *Test) beside() bool {
	p := &t.spec.Plan
	return t.rows != nil && math.IsNaN(p.Limit) && math.IsNaN(p.Ratio)
}

// time adds up how fast it goes.
func (t *Test) time(s *Slice, n float64) {
	var v, way, all float64
	for i := range s.Rows {
		r := &s.Rows[i]
		if x := r.Speed.Mean(); x > 0 && v == 0 {
			v, way = x, float64(r.Way)
		}
		if !math.IsNaN(t.spec.Spacing) {
			all += float64(r.Way) * t.spec.Spacing
		}
	}
	if v > 0.2 && way > 0 {
		t.pace += way / v
		t.paced += n
		t.area += all
	}
}

func (t *Test) seen() float64 {
	if t.spec.Plan.How == ByMean {
		return t.level[after].N
	}
	return t.own[after].n
}

// phiSums learn how much more the counts of healthy rows scatter than chance
// lets them: by blocks of ten stretches, each row about its own level.
type phiSums struct {
	block []counts // of the block at hand, by row
	rows  []evenstand.Moments
	in    int
	e     float64
	n     int
	alone bool // all rows together, without peers
}

func (p *phiSums) add(row int, y, n float64) {
	for len(p.block) <= row {
		p.block = append(p.block, counts{})
		p.rows = append(p.rows, evenstand.Moments{})
	}
	p.block[row].add(y, n)
}

func (p *phiSums) pause() {
	p.in = 0
	for i := range p.block {
		p.block[i] = counts{}
	}
}

func (p *phiSums) next() {
	if p.in++; p.in < phiStretch {
		return
	}
	var all counts
	rows := 0.0
	for _, b := range p.block {
		all.add(b.y, b.n)
		rows += one(b.n > 0)
	}
	rate := all.y / all.n
	for i, b := range p.block {
		if p.alone && b.n > 0 {
			p.rows[i].Add(b.y)
			p.e += b.y
			p.n++
		}
		if !p.alone && b.n > 0 && rate > 0 && rows >= peersLeast {
			p.rows[i].Add(b.y - rate*b.n)
			p.e += rate * b.n * (1 - 1/rows)
			p.n++
		}
	}
	p.pause()
}

// phi gives the over-dispersion: from the blocks where there are enough.
func (t *Test) factor() float64 {
	if t.spec.Plan.Measure == SwitchedOff || t.spec.Plan.Measure == NoLiquid {
		return 1
	}
	var m2, df float64
	for _, r := range t.phi.rows {
		if r.N > 1 {
			m2 += r.M2
			df += r.N - 1
		}
	}
	switch {
	case t.rows == nil && t.phi.n < phiBlocks/3:
		return phiMost
	case t.rows == nil:
		return math.Min(phiAlone, math.Max(1, m2/df*float64(t.phi.n)/t.phi.e))
	case t.phi.n < phiBlocks || !(df > 0):
		return phiUsual
	}
	return math.Min(phiMost, math.Max(1, m2/df*float64(t.phi.n)/t.phi.e))
}

// standing is what is known of a share or a mean.
type standing struct {
	before, low, high float64 // while it lasted, with its 80 % limits as they would be now
	usual             float64
	peers             float64 // now; NaN none
	worked, failed    float64
	after             float64
	known             bool // enough is known of before for a verdict
}

// shares gives where a share stands.
func (t *Test) shares() (g standing) {
	p, phi := &t.spec.Plan, t.factor()
	b := t.own[trouble]
	pb := t.peers[trouble]
	if t.spec.Change {
		b, pb = t.own[past], t.peers[past]
	}
	pp, pa, op := t.peers[past], t.peers[after], t.own[past]
	times := 1.0 // by which the ground is harder now than before
	g.peers, g.after = math.NaN(), t.own[after].y/t.own[after].n
	if pb.n > 0 || pp.n > 0 {
		if pb.n == 0 {
			pb = pp
		}
		rate := (pb.y + 0.5) / (pb.n + 1)
		times = (pa.y + priorPeers) / (pa.n*rate + priorPeers)
		g.peers = times * rate
	}
	lo, hi := t.limits.of(b.y/phi, b.n/phi)
	g.before = b.y / b.n
	if b.n < 100 && t.spec.Before > 0 {
		g.before = t.spec.Before
		lo, hi = g.before*0.9, g.before*1.1
		b.n = 100
	}
	g.low, g.high = lo*times, hi*times
	g.known = b.n >= 100
	if t.spec.Change {
		// It is better only where it is so against its own past as well: others that
		// got worse make it no better.
		g.usual, g.worked, g.failed = g.before*times, lo*math.Min(1, times), hi*math.Max(1, times)
		g.known = b.n >= changeLeast && !t.spec.Few
		return g
	}
	switch own := (op.y + priorRow) / (op.n*(pp.y+0.5)/(pp.n+1) + priorRow); {
	case !math.IsNaN(g.peers) && op.n >= pastLeast && pp.n > 0:
		g.usual = g.peers * math.Min(2, math.Max(0.5, own))
	case p.Usual > 0:
		g.usual = p.Usual * times
	case !math.IsNaN(g.peers):
		g.usual = g.peers
	case op.n >= pastLeast:
		g.usual = op.y / op.n
	default:
		g.usual = g.before / 4 // nobody knows; a cure takes most of it away (judged)
	}
	g.usual = math.Max(g.usual, 5e-4)
	// Others that got worse make no cure: the ground may be harder, or something was
	// done to them.
	g.worked, g.failed = Line(lo*math.Min(1, times), g.usual), Line(g.low, g.usual)
	if g.low < 1.1*g.usual { // it hardly stood out: nothing to get below
		g.known = false
	}
	return g
}

// goneRates gives the rates with and without the fault.
func (t *Test) goneRates(g *standing) (bad, good float64) {
	p := &t.spec.Plan
	switch p.Measure {
	case SwitchedOff, NoLiquid:
		return 0.8, 0.05 // of stretches; judged: a few are at borders
	case NoSeed:
		good = math.Max(g.usual, 0.005)
		if math.IsNaN(g.peers) {
			good = 0.02
		}
		return math.Max(0.5, math.Min(0.95, g.low)), math.Min(good, 0.2)
	}
	good = g.usual
	if bad = good + p.Adds; math.IsNaN(p.Adds) {
		bad = g.low
	}
	return math.Min(bad, 0.98), good
}

// means gives where a mean stands; less of the measure is always better here,
// and it is turned back where it is told.
func (t *Test) means() (g standing, m Mean) {
	p, sign := &t.spec.Plan, t.sign()
	v, times, df := t.spread.Of()
	b, h, a := t.level[trouble], t.level[past], t.level[after]
	if t.spec.Change {
		b = h
	}
	m = Mean{Beside: t.spec.Beside, Var: v, Times: times, DF: df, Sum: sign * a.Sum, N: a.N}
	g.peers = math.NaN()
	if t.beside() && t.mates[after].N > 0 {
		g.peers = t.mates[after].Mean()
	}
	g.before = sign * b.Mean()
	z := stat.NormalQuantile(0.90) * math.Sqrt(v*math.Max(1, times)/math.Max(1, b.N))
	g.low, g.high = g.before-z, g.before+z
	g.known = b.N >= 3 && df >= fewMeans
	g.after = m.Sum / m.N
	switch {
	case t.spec.Change:
		g.usual, g.worked, g.failed = g.before, g.low, g.high
		g.known = b.N >= fewMeans && !t.spec.Few
		m.Worked, m.Failed = g.worked, g.failed
		return g, m
	case !math.IsNaN(p.Limit):
		g.usual = sign * p.Limit
		g.worked, g.failed = g.usual, g.usual
		m.Worked, m.Failed = g.worked, g.failed
		g.known = df >= fewMeans
		return g, m
	case p.Ratio > 0:
		g.usual = g.before - sign*math.Log(p.Ratio)
	case h.N >= fewMeans:
		g.usual = sign * h.Mean()
	case t.beside():
		g.usual = 0
	case !math.IsNaN(p.Usual):
		g.usual = sign * p.Usual
	default:
		g.usual, g.known = g.before, false
	}
	g.worked = (g.low + g.usual) / 2
	g.failed = g.worked
	if !(g.low > g.usual) {
		g.known = false
	}
	m.Worked, m.Failed = g.worked, g.failed
	return g, m
}

// byItself gives the verdict on a change of means without the peers: against its
// own past alone.
func (t *Test) byItself() int {
	v, times, df := t.alone.Of()
	b, a, sign := t.raw[past], t.raw[after], t.sign()
	z := stat.NormalQuantile(0.90) * math.Sqrt(v*math.Max(1, times)/math.Max(1, b.N))
	m := Mean{Worked: sign*b.Mean() - z, Failed: sign*b.Mean() + z, Beside: t.spec.Beside, Var: v, Times: times, DF: df, Sum: sign * a.Sum, N: a.N}
	return m.Verdict()
}

func (t *Test) sign() float64 {
	if t.spec.Plan.More {
		return 1
	}
	return -1
}

// rate gives the test of a share as it stands, over what came since the mark.
func (t *Test) rate(g *standing, from counts) Rate {
	return Rate{Worked: g.worked, Failed: g.failed, Phi: t.factor(), Beside: t.spec.Beside, Y: t.own[after].y - from.y, N: t.own[after].n - from.n}
}

func (t *Test) gone(g *standing, from counts) (Gone, bool) {
	bad, good := t.goneRates(g)
	return Gone{Bad: bad, Good: good, Phi: t.factor(), Y: t.own[after].y - from.y, N: t.own[after].n - from.n}, bad >= 2*good
}

// now gives the verdict on what came since a mark.
func (t *Test) now(from counts) int {
	switch t.spec.Plan.How {
	case ByMean:
		g, m := t.means()
		if !g.known {
			return 0
		}
		m.Sum -= from.y
		m.N -= from.n
		v := m.Verdict()
		if v != 0 && t.spec.Change && t.beside() && t.byItself() != v {
			return 0 // only the others changed
		}
		return v
	default:
		g := t.shares()
		if t.spec.Plan.How == ByGone {
			fixed := t.spec.Plan.Measure == NoSeed || t.spec.Plan.Measure == SwitchedOff || t.spec.Plan.Measure == NoLiquid
			if x, clear := t.gone(&g, from); clear && (fixed || g.known || !math.IsNaN(t.spec.Plan.Adds)) {
				return x.Verdict()
			}
		}
		if !g.known {
			return 0
		}
		r := t.rate(&g, from)
		return r.Verdict()
	}
}

// mostTurns is how often a verdict may be turned: it was gone and came back, or
// it took until it was gone.
const mostTurns = 1

// look decides, and keeps the course.
func (t *Test) look(at evenstand.Micros) {
	if t.verdict == 0 {
		t.turn(t.now(counts{}), at)
	} else if t.turnsUp < mostTurns {
		if v := t.now(t.mark); v == -t.verdict {
			t.turnsUp++
			t.turn(v, at)
		}
	}
	if n := t.seen(); n >= courseStep*t.kept || t.decided == at {
		t.kept = n
		t.narrow()
		if len(t.course) >= courseMost {
			keep := t.course[:0]
			for i := range t.course {
				if i%2 == 1 {
					keep = append(keep, t.course[i])
				}
			}
			t.course = keep
		}
		t.course = append(t.course, t.point(at))
	}
}

// narrow keeps what no look so far has excluded: an interval that holds at all
// times at once may be taken together over them. Where the rate itself changed
// nothing is left, and it begins anew.
func (t *Test) narrow() {
	var low, high float64
	if t.spec.Plan.How == ByMean {
		_, m := t.means()
		low, high = m.Interval()
	} else {
		r := Rate{Phi: t.factor(), Beside: t.spec.Beside, Y: t.own[after].y, N: t.own[after].n}
		low, high = r.Interval()
	}
	switch {
	case math.IsNaN(low) || math.IsInf(low, 0):
		return
	case t.any && math.Max(low, t.held[0]) < math.Min(high, t.held[1]):
		low, high = math.Max(low, t.held[0]), math.Min(high, t.held[1])
	}
	t.held, t.any = [2]float64{low, high}, true
}

func (t *Test) turn(v int, at evenstand.Micros) {
	if v == 0 {
		return
	}
	t.verdict, t.decided, t.at = v, at, t.seen()
	t.mark = t.own[after]
	if t.spec.Plan.How == ByMean {
		t.mark = counts{t.sign() * t.level[after].Sum, t.level[after].N}
	}
}

// point gives how it stands now.
func (t *Test) point(at evenstand.Micros) evenstand.CheckPoint {
	a := t.Answer()
	return evenstand.CheckPoint{Seen: a.Seen, T: at, After: a.After, Low: a.Low, High: a.High, Line: a.Line, Peers: a.Peers}
}

// Answer gives the figures as they stand, without words.
func (t *Test) Answer() evenstand.CheckBack {
	num := func(x float64) evenstand.Number { return evenstand.Number(x) }
	none := evenstand.Unknown
	c := evenstand.CheckBack{
		Verdict: evenstand.VerdictOpen, Done: t.spec.At, Since: t.since, Measure: t.spec.Plan.Measure, Unit: units[t.spec.Plan.Measure], Of: "seeds",
		Seen: num(t.seen()), Before: none, Usual: none, Line: none, Peers: none, PeersLow: none, PeersHigh: none, After: none, Low: none, High: none, NeedSeen: none, NeedSeconds: none, NeedArea: none,
		CameBack: t.verdict < 0 && t.turnsUp > 0, Course: slices.Clone(t.course),
	}
	c.Verdict = t.Verdict()
	if t.verdict != 0 {
		d := t.decided
		c.Decided = &d
	}
	need := math.NaN()
	switch t.spec.Plan.How {
	case None:
		c.Of, c.Seen = "", none
		return c
	case ByMean:
		c.Of = "stretches"
		g, m := t.means()
		// Where peers are, the level is told as it would be with the peers of now.
		sign, add := t.sign(), 0.0
		switch {
		case t.beside() && !math.IsNaN(g.peers):
			add = g.peers
		case t.beside() && t.mates[trouble].N > 0:
			add = t.mates[trouble].Mean()
		}
		tell := func(x float64) evenstand.Number {
			x = sign*x + add
			if t.spec.Plan.Measure == Liquid || t.spec.Plan.Measure == DryProduct { // as ratios: to the peers, or to what it was to be
				if x -= add; !t.beside() {
					x -= sign * g.usual
				}
			}
			if ratios(t.spec.Plan.Measure) {
				return num(math.Exp(x))
			}
			return num(x)
		}
		c.Before, c.Usual, c.Line = tell(g.before), tell(g.usual), tell((g.worked+g.failed)/2)
		if t.beside() && (t.spec.Plan.Measure == Liquid || t.spec.Plan.Measure == DryProduct) {
			c.Peers = 1
		} else if !math.IsNaN(g.peers) {
			c.Peers = num(g.peers)
		}
		if m.N > 0 {
			lo, hi := m.Interval()
			if t.any {
				lo, hi = t.held[0], t.held[1]
			}
			if sign < 0 {
				lo, hi = hi, lo
			}
			c.After, c.Low, c.High = tell(g.after), tell(lo), tell(hi)
		}
		if g.known && t.verdict == 0 {
			need = m.Need((m.Sum + 10*g.usual) / (m.N + 10))
		}
	default:
		g := t.shares()
		r := t.rate(&g, counts{})
		c.Before, c.Usual, c.Peers = num(g.before), num(g.usual), num(g.peers)
		c.Line = num((g.worked + g.failed) / 2)
		if r.N > 0 {
			lo, hi := r.Interval()
			if t.any {
				lo, hi = t.held[0], t.held[1]
			}
			c.After, c.Low, c.High = num(g.after), num(lo), num(hi)
		}
		p := (r.Y + priorNeed*t.likelier(&g)) / (r.N + priorNeed)
		if t.spec.Plan.How == ByGone {
			x, clear := t.gone(&g, counts{})
			if bad, good := t.goneRates(&g); clear {
				c.Line = num(math.Sqrt(bad * good))
				if math.IsNaN(float64(c.Before)) || t.spec.Plan.Measure != Skips {
					c.Before, c.Usual = num(math.Max(bad, nanTo(g.before, bad))), num(good)
				}
				if t.verdict == 0 {
					need = x.Need((x.Y + 20*good) / (x.N + 20))
				}
				break
			}
		}
		if g.known && t.verdict == 0 {
			need = r.Need(p)
		}
	}
	if t.spec.Plan.Measure == SwitchedOff || t.spec.Plan.Measure == NoLiquid {
		c.Of = "stretches"
	}
	if p := &t.spec.Plan; t.spec.Change || !math.IsNaN(p.Limit) || p.Ratio > 0 { // nothing is usual there
		c.Usual = none
	}
	if low, high := t.band(); !math.IsNaN(float64(c.Peers)) && !ratios(t.spec.Plan.Measure) {
		c.PeersLow, c.PeersHigh = num(low), num(high)
	}
	if need >= 0 {
		c.NeedSeen = num(need)
		if t.paced > 0 {
			c.NeedSeconds = num(need * t.pace / t.paced)
			if t.area > 0 {
				c.NeedArea = num(need * t.area / t.paced)
			}
		}
	}
	return c
}

// likelier gives what the rate is taken for while few seeds have told: as it
// should be, or as it was, whichever fits them better.
func (t *Test) likelier(g *standing) float64 {
	a := t.own[after]
	if was := math.Max(g.low, 1e-4); stat.BatchLLR(a.y, a.n, g.usual, was, 1) > 0 {
		return was
	}
	return g.usual
}

func nanTo(x, other float64) float64 {
	if math.IsNaN(x) {
		return other
	}
	return x
}

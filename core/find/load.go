package find

import (
	"math"
	"slices"

	"evenstand"
	"evenstand/core/measure/contact"
	"evenstand/core/relation"
	"evenstand/core/stat"
)

// The load on the gauge wheels. A row that loses the ground is told from its
// neighbours by its load and proved by its share of readings off the ground; a
// zone or the whole field that is too light or too heavy is told by all rows
// together, in blocks of ten seconds, by what force the ground needs (methods,
// f). What the limits rest on: R8, and judgement where it says so.
const (
	loadWindow  = 5 // s of planting
	loadSettle  = 6
	loadWarm    = 24
	loadMemory  = 360 // windows: half an hour
	loadFloor   = 20.0
	loadStart   = 80.0 // N, scatter of a window before any is known
	loadSlack   = 0.75
	loadAlarm   = 14.0
	loadClip    = 8.0
	loadHealed  = 0.45
	loadBackFor = 6
	loadStuck   = 12 // like readings in a row: a load cell that stands still (F32)
	loadAgain   = 15 * 60 * evenstand.Second
	offRow      = 0.02 // share off beyond the peers' that matters on a row
	offSure     = 0.01 // of it that must be sure at 90 %
	offBlock    = 0.02 // beyond the level, of all rows together,
	offLeast    = 0.03 // and in all: R8 asks for 98 to 99 % of contact
	offArea     = 0.35 * evenstand.Hectare
	overArea    = 0.75 * evenstand.Hectare
	strayArea   = 0.4 * evenstand.Hectare // of sound ground after which a stray block is forgotten
	strayTime   = 30 * 60 * evenstand.Second
	healArea    = 0.5 * evenstand.Hectare
	zoneSlack   = 75.0 // N by which needs of one zone differ (judgement)
	zoneMost    = 3
	pressAgain  = 30 * 60 * evenstand.Second
	residualUp  = 2000.0 // N, so that a histogram of loads can hold differences
	residualMin = 2000   // of them before the spare load is told
	onePercent  = 0.01
)

type loadWatch struct {
	sec, settled int
	blocks       int
	way          float64
	rows         []loadRow
	dev          float64
	n            float64
	off          autocorr
	residual     contact.Loads
	level        float64 // share off the ground on sound ground
	needs        contact.Needs
	light, heavy zoneRun
	moist        stat2 // seed-zone moisture since the morning
}

// loadRow is one row's load; its ring holds windows.
type loadRow struct {
	flowRow
	load, force, share stat2 // this window
	blockForce         stat2
	blockShare         stat2
	loads              []float64 // this block's readings
	like               int
	was                float64
	offs               [128]offWindow // beside late
	before             float64        // share of the reading before; NaN none
	need               float64        // of the ground of late, N
	known              bool
	logged             bool // its load, not only its share off the ground
}

// offWindow is what a row and its peers did in a window.
type offWindow struct{ y, n, peerY, peerN, force, dev float32 }

// autocorr is the correlation of neighbouring readings, of late.
type autocorr struct{ mean, square, same, n float64 }

func (a *autocorr) add(x, before float64) {
	a.n++
	g := 1 / math.Min(20000, a.n)
	a.mean += g * (x - a.mean)
	if !math.IsNaN(before) {
		a.square += g * ((x-a.mean)*(x-a.mean) - a.square)
		a.same += g * ((x-a.mean)*(before-a.mean) - a.same)
	}
}

func (a *autocorr) rho() float64 {
	if a.square <= 0 {
		return 0
	}
	return math.Max(0, math.Min(0.95, a.same/a.square))
}

// contactCase is what a finding about one row off the ground rests on.
type contactCase struct {
	own, peers stat2 // shares off the ground
	dev        stat2 // of its load from its neighbours', N
	force      stat2 // of its applied force from the middle row's; empty: not logged
	base       float64
	way        float64
}

// pressCase is what a finding about all rows in a zone rests on.
type pressCase struct {
	sums     []*zoneSum // by step of need
	area     float64
	forced   bool // the applied force is logged
	residual float64
	middle   float64 // need of the middle of the ground that is bad
}

// zoneSum is what the rows did on ground of one need.
type zoneSum struct {
	y, n  float64
	loads contact.Loads
}

// zoneRun follows ground on which all rows are too light, or too heavy.
type zoneRun struct {
	on        bool
	since     evenstand.Micros
	bad, good float64       // m2
	needs     contact.Needs // of what is bad
	ended     *caseFile     // the finding before
	lastBad   evenstand.Micros
	sound     float64 // m2 of its ground since then
	sums      []*zoneSum
	cse       *caseFile
}

func (w *loadWatch) init() { w.level = 0.01 }

func (w *loadWatch) row(n int) *loadRow {
	for len(w.rows) < n {
		w.rows = append(w.rows, loadRow{flowRow: flowRow{down: stat.GaussianCusum{K: loadSlack}}, before: math.NaN()})
	}
	return &w.rows[n-1]
}

// Load takes the load on a row's gauge wheels in N while planting.
func (e *Engine) Load(n int, t evenstand.Micros, load float64) {
	w := &e.load
	r := w.row(n)
	if load == r.was {
		r.like++
	} else {
		r.like = 0
	}
	r.was = load
	if w.settled < loadSettle || (r.like >= loadStuck && load > 0) {
		return
	}
	r.logged = true
	r.load.add(load)
	e.force.load(n, t, load)
	if len(r.loads) < 64 {
		r.loads = append(r.loads, load)
	}
}

// Force takes the force applied to a row in N.
func (e *Engine) Force(n int, t evenstand.Micros, force float64) {
	if w := &e.load; w.settled >= loadSettle {
		r := w.row(n)
		r.force.add(force)
		r.blockForce.add(force)
		e.force.force(n, t, force)
	}
}

// WheelOff takes the share of the way that a row's wheels were off the ground.
func (e *Engine) WheelOff(n int, t evenstand.Micros, share float64) {
	if w := &e.load; w.settled >= loadSettle {
		r := w.row(n)
		r.share.add(share)
		r.blockShare.add(share)
		w.off.add(share, r.before)
		r.before = share
	}
}

// Moisture takes the moisture of the seed zone as a share.
func (e *Engine) Moisture(x float64) { e.load.moist.add(x) }

func (e *Engine) tickLoad(t evenstand.Micros) {
	w := &e.load
	if !e.bar.Planting || !e.pass.down {
		w.settled = 0
		w.clear(true)
		return
	}
	w.settled++
	if len(w.rows) == 0 {
		return
	}
	if w.settled <= loadSettle || e.bar.Speed < 1 {
		w.clear(true)
		return
	}
	w.way += e.bar.Speed
	w.sec++
	if w.sec < loadWindow {
		return
	}
	w.sec = 0
	for i := range w.rows { // a box that logs no share: readings at or under the limit
		r := &w.rows[i]
		if r.share.n == 0 && r.load.n > 0 {
			for _, x := range r.loads[len(r.loads)-min(len(r.loads), int(r.load.n)):] {
				off := 0.0
				if x <= contact.Least {
					off = 1
				}
				r.share.add(off)
				r.blockShare.add(off)
				w.off.add(off, r.before)
				r.before = off
			}
		}
	}
	e.judgeLoads(t)
	w.blocks++
	if w.blocks == 2 {
		e.judgeBlock(t, w.way)
		w.clear(true)
		return
	}
	w.clear(false)
}

// clear begins a window, and a block.
func (w *loadWatch) clear(block bool) {
	w.sec = 0
	if block {
		w.blocks, w.way = 0, 0
	}
	for i := range w.rows {
		r := &w.rows[i]
		r.load, r.force, r.share = stat2{}, stat2{}, stat2{}
		if block {
			r.loads, r.blockForce, r.blockShare = r.loads[:0], stat2{}, stat2{}
		}
	}
}

// carried is a row's load in this window. Where no load is logged the share off
// the ground stands in for it: 10 N a point, as near the limit.
func (r *loadRow) carried() float64 {
	if r.load.n > 0 {
		return r.load.mean()
	}
	return -1000 * r.share.mean()
}

func (e *Engine) carries(i int) bool {
	r := &e.load.rows[i]
	return i < len(e.rows) && e.rows[i].enabled && r.share.n > 0 && (r.load.n == 0 || r.like < loadStuck)
}

// judgeLoads holds each row's load of the window against its neighbours': the
// side that it is more like, so that the edge of a zone is no row's fault.
func (e *Engine) judgeLoads(t evenstand.Micros) {
	w := &e.load
	all := stat2{}
	var forces []float64
	for i := range w.rows {
		if e.carries(i) {
			all.sum += w.rows[i].share.sum
			all.n += w.rows[i].share.n
			if w.rows[i].force.n > 0 {
				forces = append(forces, w.rows[i].force.mean())
			}
		}
	}
	force := stat.Median(forces)
	side := func(i, step int) (float64, bool) {
		var s stat2
		for j := i + step; j >= 0 && j < len(w.rows) && s.n < 2 && absInt(j-i) <= 3; j += step {
			if e.carries(j) {
				s.add(w.rows[j].carried())
			}
		}
		return s.mean(), s.n > 0
	}
	for i := range w.rows {
		if !e.carries(i) {
			continue
		}
		r := &w.rows[i]
		x := math.Inf(1)
		for _, step := range []int{-1, 1} {
			if m, ok := side(i, step); ok && math.Abs(r.carried()-m) < math.Abs(x) {
				x = r.carried() - m
			}
		}
		if math.IsInf(x, 0) {
			continue
		}
		f := math.NaN()
		if r.force.n > 0 {
			f = r.force.mean() - force
		}
		o := offWindow{
			y: float32(r.share.sum), n: float32(r.share.n), peerY: float32(all.sum - r.share.sum), peerN: float32(all.n - r.share.n),
			force: float32(f), dev: float32(x),
		}
		e.judgeLoad(i+1, t-loadWindow*evenstand.Second, t, x, o)
	}
}

func absInt(i int) int {
	if i < 0 {
		return -i
	}
	return i
}

func (e *Engine) judgeLoad(n int, from, t evenstand.Micros, x float64, o offWindow) {
	w := &e.load
	r := &w.rows[n-1]
	if r.seen == 0 {
		r.ref, r.first = x, from
	}
	r.late[r.k%len(r.late)], r.offs[r.k%len(r.offs)] = vacMeanAt{from, x}, o
	r.k++
	if c := r.cse; c != nil && c.open() {
		f := c.contact
		dev := f.dev.mean() - f.base
		if math.Abs(x-f.base) < loadHealed*math.Abs(dev) || (x-f.base)*dev < 0 {
			if r.back == 0 {
				r.backAt = from
			}
			if r.back++; r.back >= loadBackFor {
				c.until, r.ended, r.cse, r.back = r.backAt, c, nil, 0
			}
			return
		}
		r.back = 0
		f.add(o, loadWindow*e.bar.Speed)
		return
	}
	if w.n == 0 {
		w.dev = loadStart / 1.2533
	}
	s := math.Max(loadFloor, 1.2533*w.dev) * math.Sqrt(1+1/math.Max(1, float64(r.seen)))
	if r.seen >= loadWarm {
		z := math.Max(-loadClip, math.Min(loadClip, (r.ref-x)/s))
		if c := r.down.Add(z); c >= loadAlarm {
			r.down.C = math.Min(c, 3*loadAlarm)
			if e.openContact(n, r.onset(s), t) {
				return
			}
		}
	}
	g := 1 / math.Min(loadMemory, float64(r.seen+1))
	if r.down.C >= loadAlarm/2 {
		g /= 8
	}
	d := x - r.ref
	r.ref += g * d
	if r.seen >= 3 && math.Abs(d) < 6*math.Max(loadFloor, w.dev) {
		w.n++
		w.dev += 1 / math.Min(4000, w.n+20) * (math.Abs(d) - w.dev)
	}
	r.seen++
}

func (f *contactCase) add(o offWindow, way float64) {
	f.own.sum += float64(o.y)
	f.own.n += float64(o.n)
	f.peers.sum += float64(o.peerY)
	f.peers.n += float64(o.peerN)
	f.dev.add(float64(o.dev))
	if o.force == o.force {
		f.force.add(float64(o.force))
	}
	f.way += way
}

// openContact raises a row whose load fell, once its wheels are surely more off
// the ground than its peers'.
func (e *Engine) openContact(n int, since, t evenstand.Micros) bool {
	w := &e.load
	r := &w.rows[n-1]
	f := &contactCase{base: r.ref}
	for j := 1; j <= min(r.k, len(r.late)); j++ {
		if at := (r.k - j) % len(r.late); r.late[at].t >= since {
			f.add(r.offs[at], loadWindow*e.bar.Speed)
		}
	}
	share, low, _ := contact.Share(f.own.sum, f.own.n, w.off.rho(), 0.90)
	peers := math.Max(f.peers.mean(), 0)
	if !(share >= peers+offRow && low >= peers+offSure) {
		return false
	}
	r.down.C, r.back = 0, 0
	if old := r.ended; old != nil && since-old.until < loadAgain {
		old.until = evenstand.NoTime
		old.contact.own.sum += f.own.sum
		old.contact.own.n += f.own.n
		old.contact.way += f.way
		r.cse = old
		return true
	}
	onset := e.afterHalt(since, flowSame)
	r.cse = e.add(&caseFile{
		kind: evenstand.KindContactLoss, rows: []int{n}, raised: true, onset: onset, onsetLow: onset - loadWindow*evenstand.Second, onsetHigh: onset + loadWindow*evenstand.Second,
		alarm: t, grade: evenstand.GradeB, contact: f,
	})
	return true
}

// judgeBlock holds ten seconds of all rows together against the limits.
func (e *Engine) judgeBlock(t evenstand.Micros, way float64) {
	w := &e.load
	var share stat2
	forced := true
	use := make([]bool, len(w.rows))
	for i := range w.rows {
		r := &w.rows[i]
		if !(i < len(e.rows) && e.rows[i].enabled) || r.blockShare.n == 0 || r.like >= loadStuck || r.cse != nil || r.down.C >= loadAlarm/2 {
			continue
		}
		use[i] = true
		share.sum += r.blockShare.sum
		share.n += r.blockShare.n
		forced = forced && r.blockForce.n > 0
	}
	if share.n == 0 {
		return
	}
	area := way * e.cfg.Spacing
	need, mean, use1 := make([]float64, len(w.rows)), make([]float64, len(w.rows)), 0
	for i := range w.rows {
		need[i], mean[i] = math.NaN(), math.NaN() // where no load is logged all ground is alike
		r := &w.rows[i]
		if use[i] {
			use1++
		}
		if !use[i] || len(r.loads) == 0 {
			continue
		}
		var m stat2
		for _, x := range r.loads {
			m.add(x)
		}
		for _, x := range r.loads {
			w.residual.Add(residualUp + x - m.mean())
		}
		need[i], mean[i] = -m.mean(), m.mean()
		if forced {
			need[i] += r.blockForce.mean()
		}
		w.needs.Add(need[i], area)
		r.need, r.known = need[i], true
	}
	off := share.mean()
	light := off > math.Max(offLeast, w.level+offBlock)
	if !light {
		w.level += (math.Min(0.03, off) - w.level) / 200
	}
	most := margin()
	var tooLight, tooHeavy []ground
	heavy := 0
	for i := range w.rows {
		if !use[i] {
			continue
		}
		g := ground{need: need[i], area: area}
		g.bad = light && w.rows[i].blockShare.mean() > offBlock
		tooLight = append(tooLight, g)
		if math.IsNaN(mean[i]) || w.residual.N < residualMin {
			continue
		}
		g.bad = mean[i]-w.spread()-contact.Least > most
		if g.bad {
			heavy++
		}
		tooHeavy = append(tooHeavy, g)
	}
	note := func(run *zoneRun) {
		if run.sums == nil {
			return
		}
		for i := range w.rows {
			if !use[i] {
				continue
			}
			r := &w.rows[i]
			b := contact.Bin(0)
			if len(r.loads) > 0 {
				b = contact.Bin(need[i])
			}
			if run.sums[b] == nil {
				run.sums[b] = &zoneSum{}
			}
			s := run.sums[b]
			s.y += r.blockShare.sum
			s.n += r.blockShare.n
			for _, x := range r.loads {
				s.loads.Add(x)
			}
		}
	}
	e.followRun(&w.light, evenstand.KindContactLoss, 1, light, tooLight, offArea, t, forced, note)
	e.followRun(&w.heavy, evenstand.KindOverload, -1, heavy >= max(3, 2*use1/5), tooHeavy, overArea, t, forced, note)
}

// ground is what one row did in a block.
type ground struct {
	need, area float64 // N, NaN unknown; m2
	bad        bool
}

// spread is how far the lightest of a hundred readings of a row hang below its
// mean load, N.
func (w *loadWatch) spread() float64 {
	return residualUp - w.residual.Quantile(onePercent)
}

// margin is what R8 likely asks for in moist ground above loss of contact, in
// N: what the lightest of a hundred readings carries beyond it is not needed.
func margin() float64 {
	return relation.Must("R8-gauge-load", "margin, moist").Likely * evenstand.PoundForce
}

// followRun takes a block to the run of ground that is too light (sign 1: what
// needs about as much as most of it, or more) or too heavy (sign -1: as little,
// or less).
func (e *Engine) followRun(run *zoneRun, kind string, sign float64, bad bool, rows []ground, enough float64, t evenstand.Micros, forced bool, note func(*zoneRun)) {
	from := t - 2*loadWindow*evenstand.Second
	if run.cse != nil && !run.cse.open() {
		*run = zoneRun{ended: run.cse}
	}
	if !run.on {
		if !bad {
			return
		}
		*run = zoneRun{on: true, since: from, sums: make([]*zoneSum, contact.Steps), ended: run.ended}
	}
	if bad {
		for _, g := range rows {
			if g.bad {
				run.bad += g.area
				run.needs.Add(known(g.need), g.area)
			}
		}
		run.lastBad, run.sound = t, 0
	}
	limit := run.needs.Middle() - sign*zoneSlack
	for _, g := range rows {
		if !g.bad && sign*(known(g.need)-limit) >= 0 {
			run.good += g.area
			if !bad {
				run.sound += g.area
			}
		}
	}
	note(run)
	if c := run.cse; c != nil {
		c.press.area, c.press.middle = run.bad, run.needs.Middle()
		if run.sound >= healArea {
			c.until = run.lastBad
			*run = zoneRun{ended: c}
		}
		return
	}
	if run.good > strayArea && run.good > run.bad || run.sound >= healArea || t-run.lastBad > strayTime {
		*run = zoneRun{ended: run.ended}
		return
	}
	// The same ground again is the same finding, and needs no more than a look.
	old := run.ended
	if old != nil && run.since-old.until < pressAgain && math.Abs(old.press.middle-run.needs.Middle()) <= 2*zoneSlack && run.bad >= enough/2 && run.bad >= 1.5*run.good {
		old.until = evenstand.NoTime
		for b, s := range run.sums {
			switch {
			case s == nil:
			case old.press.sums[b] == nil:
				old.press.sums[b] = s
			default:
				o := old.press.sums[b]
				o.y, o.n = o.y+s.y, o.n+s.n
				o.loads.Merge(&s.loads)
			}
		}
		run.bad += old.press.area
		run.sums, run.cse, run.ended = old.press.sums, old, nil
		return
	}
	if run.bad < enough || run.bad < 1.5*run.good {
		return
	}
	onset := e.afterHalt(run.since, 2*loadWindow*evenstand.Second)
	run.cse = e.add(&caseFile{
		kind: kind, rows: e.allRows(), raised: true, onset: onset, onsetLow: onset - 60*evenstand.Second, onsetHigh: onset + 30*evenstand.Second,
		alarm: t, grade: evenstand.GradeB, press: &pressCase{sums: run.sums, area: run.bad, forced: forced, residual: e.load.spread(), middle: run.needs.Middle()},
	})
}

// known puts ground of an unknown need among the rest.
func known(need float64) float64 {
	if math.IsNaN(need) {
		return 0
	}
	return need
}

// reportContact says what the finding about a row off the ground rests on.
func (e *Engine) reportContact(c *caseFile, f *evenstand.Finding) {
	x := c.contact
	share, low, high := contact.Share(x.own.sum, x.own.n, e.load.off.rho(), 0.90)
	f.Evidence = []evenstand.Evidence{
		ev("off the ground", share, low, high, x.own.n, ""),
		ev("off the ground, its peers", x.peers.mean(), nan, nan, x.peers.n, ""),
		ev("load below its neighbours'", -x.dev.mean(), nan, nan, nan, "N"),
		ev("way of the row", x.way, nan, nan, nan, "m"),
	}
	// Prior odds of the trade (agronomy F32, F34, F37, F38), weighed by what the
	// row is given. Judgement, no published odds.
	worn, actuator, bar := 0.55, 0.35, 0.07
	if x.force.n > 0 {
		f.Evidence = append(f.Evidence, ev("force below its peers'", -x.force.mean(), nan, nan, nan, "N"))
		if x.force.mean() < 0.4*x.dev.mean() {
			worn, actuator = 0.08, 0.86
		} else {
			worn, actuator = 0.82, 0.10
		}
	}
	f.Causes = normalise(evenstand.Cause{Cause: evenstand.CauseOpenerWorn, Probability: worn}, evenstand.Cause{Cause: evenstand.CauseForceRow, Probability: actuator}, evenstand.Cause{Cause: evenstand.CauseBarLevel, Probability: bar})
	f.Chart = e.chart(c)
}

// parts splits what a finding about a zone saw into the zone and elsewhere.
func (e *Engine) parts(c *caseFile) (zone, rest zoneSum, more float64) {
	limits := e.load.needs.Zones(zoneMost)
	sums := make([]zoneSum, len(limits))
	weight := make([]float64, len(limits))
	for b, s := range c.press.sums {
		if s == nil {
			continue
		}
		z := contact.Zone(limits, contact.Need(b))
		sums[z].y += s.y
		sums[z].n += s.n
		sums[z].loads.Merge(&s.loads)
		weight[z] += s.n * contact.Need(b)
	}
	bad := func(z int) bool {
		s := &sums[z]
		if c.kind == evenstand.KindContactLoss {
			return s.y/s.n > math.Max(offLeast, e.load.level+offBlock/2)
		}
		most := margin()
		return s.loads.Mean()-c.press.residual-contact.Least > most
	}
	var in, out stat2
	for z := range sums {
		if sums[z].n == 0 {
			continue
		}
		to, at := &rest, &out
		if bad(z) {
			to, at = &zone, &in
		}
		to.y += sums[z].y
		to.n += sums[z].n
		to.loads.Merge(&sums[z].loads)
		at.sum += weight[z]
		at.n += sums[z].n
	}
	if zone.n == 0 { // no zone stands out: it is of all ground
		return rest, zoneSum{}, math.NaN()
	}
	return zone, rest, in.mean() - out.mean()
}

// reportPress says what the finding about a zone, or all ground, rests on.
func (e *Engine) reportPress(c *caseFile, f *evenstand.Finding) {
	x := c.press
	rho := e.load.off.rho()
	zone, rest, more := e.parts(c)
	share, low, high := contact.Share(zone.y, zone.n, rho, 0.90)
	add := func(name string, v, lo, hi, n float64, unit string) {
		f.Evidence = append(f.Evidence, ev(name, v, lo, hi, n, unit))
	}
	spare := func(s *zoneSum) float64 { return s.loads.Mean() - x.residual - contact.Least }
	se := 1.645 * zone.loads.SD() / math.Sqrt(math.Max(1, contact.Effective(zone.loads.N/16, 0.5)))
	if c.kind == evenstand.KindContactLoss {
		add("off the ground", share, low, high, zone.n, "")
		if rest.n > 0 {
			s, lo, hi := contact.Share(rest.y, rest.n, rho, 0.90)
			add("off the ground elsewhere", s, lo, hi, rest.n, "")
		}
	} else {
		add("spare load", spare(&zone), spare(&zone)-se, spare(&zone)+se, zone.loads.N, "N")
		if rest.n > 0 {
			add("spare load elsewhere", spare(&rest), nan, nan, rest.loads.N, "N")
		}
		add("off the ground", share, low, high, zone.n, "")
	}
	if rest.n > 0 && !math.IsNaN(more) {
		add("needs more force than elsewhere", more, nan, nan, nan, "N")
	}
	if zone.loads.N > 0 {
		costs := e.costs()
		shape := e.load.residual
		best, lo, hi := contact.Change(zone.loads.Whole(&shape), costs, rho)
		add("change of force that suits", best, lo, hi, zone.loads.N, "N")
		if rest.loads.N > 0 {
			best, lo, hi = contact.Change(rest.loads.Whole(&shape), costs, rho)
			add("change of force that suits elsewhere", best, lo, hi, rest.loads.N, "N")
		}
	}
	if m := e.load.moist; m.n > 0 {
		add("seed-zone moisture", m.mean(), nan, nan, m.n, "fraction")
	}
	add("ground", x.area, nan, nan, nan, "m2")
	if c.kind == evenstand.KindContactLoss {
		f.Causes = normalise(evenstand.Cause{Cause: evenstand.CauseForceLight, Probability: 0.85}, evenstand.Cause{Cause: evenstand.CauseBarLevel, Probability: 0.10}, evenstand.Cause{Cause: evenstand.CauseOpenerWorn, Probability: 0.03})
	} else {
		f.Causes = normalise(evenstand.Cause{Cause: evenstand.CauseForceHeavy, Probability: 0.93}, evenstand.Cause{Cause: evenstand.CauseBarLevel, Probability: 0.05})
	}
}

// moistFrom is the moisture of the seed zone from which ground counts as moist
// (simulator.md section 5 and judgement).
const moistFrom = 0.27

// costs draws what the relations say of wheels off the ground (R7, of depth an
// inch to an inch and a half) and of walls pressed shut (R8, reached 200 lb
// beyond the margin; in ground that is not moist a fifth of it: judgement).
func (e *Engine) costs() []contact.Cost {
	margin, part := relation.Must("R8-gauge-load", "margin, dry/firm"), 0.2
	if m := e.load.moist; m.n > 0 && m.mean() >= moistFrom {
		margin, part = relation.Must("R8-gauge-load", "margin, moist"), 1
	}
	risk := relation.Must("R8-gauge-load", "sidewall risk, margin >200 lb moist/wet fine soil")
	depth := relation.Must("R7-depth", "loss, 1.0-1.5 in")
	rng := stat.NewRand(1, "costs of force")
	out := make([]contact.Cost, 0, 200)
	for range 200 {
		least := relation.Triangular(contact.Least/2, contact.Least, contact.Least*1.5, rng.Float64()) // R8 gives about 20 lb; the range is judged
		out = append(out, contact.Cost{
			Off:   relation.Triangular(depth.Low, depth.Likely, depth.High, rng.Float64()),
			Heavy: part * relation.Triangular(risk.Low, risk.Likely, risk.High, rng.Float64()) / (200 * evenstand.PoundForce),
			Least: least, Most: least + evenstand.PoundForce*relation.Triangular(margin.Low, margin.Likely, margin.High, rng.Float64()),
		})
	}
	return out
}

// loadChart draws each row's late share off the ground.
func (e *Engine) loadChart(c *caseFile) *evenstand.Chart {
	ch := &evenstand.Chart{Title: "share off the ground by row, last ten minutes of planting", X: "row", Y: "share off the ground", Unit: "fraction"}
	var vals []float64
	for i := range e.load.rows {
		r := &e.load.rows[i]
		var s stat2
		for j := 1; j <= min(r.k, 120); j++ {
			o := r.offs[(r.k-j)%len(r.offs)]
			s.sum += float64(o.y)
			s.n += float64(o.n)
		}
		v, lo, hi := contact.Share(s.sum, s.n, e.load.off.rho(), 0.90)
		ch.At, ch.Value = append(ch.At, num(float64(i+1))), append(ch.Value, num(v))
		ch.Low, ch.High = append(ch.Low, num(lo)), append(ch.High, num(hi))
		if slices.Contains(c.rows, i+1) {
			ch.Mark = append(ch.Mark, i)
		} else if s.n > 0 {
			vals = append(vals, v)
		}
	}
	ch.Band = band(vals)
	return ch
}

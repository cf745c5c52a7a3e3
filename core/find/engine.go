package find

import (
	"math"
	"slices"

	"evenstand"
)

// Config is what the engine must know of the planter.
type Config struct {
	Planter string
	Rows    int
	Cells   []int            // on the disc, by row from 0; 0 unknown
	Crop    []string         // by row; empty unknown
	Sides   []evenstand.Rows // vacuum groups; may be empty
	Names   []string         // of the sides
	Spacing float64          // m between rows; NaN unknown
	Starter []bool           // by row: its liquid is a starter
	Sources []string         // names of the boxes
	Tanks   []Tank
	// Averaged is the longest time in s over which a box averages the shares
	// that it logs; 0 none does, or nobody knows.
	Averaged float64
	Limits   []evenstand.Limit // that somebody has set
}

// Bar is how the planter moves at a tick.
type Bar struct {
	Planting bool // the bar is down, moving and in a pass
	// Speed in m/s, and Way in m along the bar's centre since the day began.
	Speed, Way float64
	// Rolling is the speed in m/s whether it plants or not.
	Rolling float64
}

// Engine finds faults in one planter's day.
type Engine struct {
	seedA, countT evenstand.Micros // last seed time of any row, last count of any row
	cfg           Config
	rows          []*row
	now           evenstand.Micros
	bar           Bar
	pass          passState

	sides           []*side
	gauges          []*side // the sides and the whole machine
	machine         *side   // the vacuum of the whole machine
	peers           [numKinds]peers
	common          commonTrouble
	pulses          pulseKeep
	floor           driveFloor
	waves           map[int]*waveTable // by cells of the disc
	speed           speedWatch
	sources         []sourceWatch
	clockDoubt      float64 // s by which a box's times may be off
	position        positionWatch
	strays          int // seeds of this second outside of any pass
	turn            turnWatch
	recur           recurWatch
	hour            hourly
	rate            rateWatch
	liquid          flowWatch
	granular        flowWatch
	lots            lotWatch
	alone           aloneWatch
	tanks           tankWatch
	load            loadWatch
	force           forceWatch
	flowSwing       flowSwing
	pump            pumpWatch
	furrow          furrowWatch
	slots           []*caseFile      // open slots that digs told of
	halts           []halt           // longer halts of late
	stood           evenstand.Micros // since when the planter has not planted; 0 it plants
	sideSec         int
	stopWay, offWay float64

	few      []float64   // one value a row, written over by whoever needs it for a moment
	cases    []*caseFile // all that were opened and not dropped, in order of opening
	littered bool        // some of them were dropped since
	upsets   []upset
}

// kind of rate that batches count.
const (
	kindSkips = iota
	kindDoubles
	numKinds
)

// row is all that is kept of one row.
type row struct {
	n            int // number, from 1
	cells        cellWatch
	scan         lagScan
	starved      starvedWatch
	bounce       bounceWatch
	drive        driveWatch
	stop         stopWatch
	off          offWatch
	rates        [numKinds]rateWatchRow
	batch        batchCount
	pending      []batch // finished, not yet judged
	places       int64   // counted since the day began
	fell         float64 // seeds since the day began, doubles too
	due          float64
	target       float64 // seeds per m2 asked for; NaN unknown
	enabled      bool
	commanded    bool    // somebody logs what the row is told
	working      int8    // what the drive says: 1 works, 0 does not, -1 unknown
	ownMiss      float64 // slow share of places missed, for the runs
	missAt       ring    // place numbers of late misses
	dblAt        ring
	grade        evenstand.Grade
	sensor       sensorWatch
	lastOff      float32
	sigma        float32 // scatter of late, places
	usual        float64 // scatter over the last hour
	rateWay      float64 // ratio of places to target, slow
	seenSeed     bool
	told         evenstand.Micros // last count of the row, also one of nothing; 0 none
	sideGap      span             // time of the last group effect, left out of the group test
	sideY, sideN float64          // skips and places since the sides were last right
	pastLevel    float64          // share missed before the whole machine's vacuum fell
}

// ring keeps the last 512 place counters of an event.
type ring struct {
	at [512]int64
	n  int
}

func (r *ring) add(v int64) { r.at[r.n&511] = v; r.n++ }

// since counts events in [from, to).
func (r *ring) since(from, to int64) int {
	c := 0
	for i := r.n - 1; i >= 0 && i >= r.n-512; i-- {
		v := r.at[i&511]
		if v < from {
			break
		}
		if v < to {
			c++
		}
	}
	return c
}

// onEnd gives how many events in [from, to) follow on one another, on average;
// 0 without any.
func (r *ring) onEnd(from, to int64) float64 {
	n, runs, next := 0, 0, int64(-1)
	for i := r.n - 1; i >= 0 && i >= r.n-512; i-- {
		v := r.at[i&511]
		if v < from {
			break
		}
		if v >= to {
			continue
		}
		n++
		if v+1 != next {
			runs++
		}
		next = v
	}
	if runs == 0 {
		return 0
	}
	return float64(n) / float64(runs)
}

// New is an engine for a planter of which only cfg is known.
func New(cfg Config) *Engine {
	e := &Engine{cfg: cfg}
	e.grow(cfg.Rows)
	for i, rows := range cfg.Sides {
		name := ""
		if i < len(cfg.Names) {
			name = cfg.Names[i]
		}
		e.sides = append(e.sides, newSide(name, rows))
	}
	e.machine = newSide("machine", nil)
	e.gauges = append(append(e.gauges, e.sides...), e.machine)
	e.hour.init()
	e.rate.init()
	e.liquid.init(liquid)
	e.granular.init(granules)
	e.floor.init()
	e.load.init()
	e.initTanks()
	e.furrow.init(cfg.Limits)
	return e
}

// grow makes room for rows up to n.
func (e *Engine) grow(n int) {
	for len(e.rows) < n {
		i := len(e.rows)
		r := &row{n: i + 1, enabled: true, working: -1, target: math.NaN(), ownMiss: 0.01}
		if i < len(e.cfg.Cells) {
			r.cells.init(e.cfg.Cells[i])
			r.drive.init(e, e.cfg.Cells[i])
		}
		r.starved.init()
		for k := range r.rates {
			r.rates[k].init(k)
		}
		e.rows = append(e.rows, r)
	}
	if n > e.cfg.Rows {
		e.cfg.Rows = n
	}
}

func (e *Engine) row(n int) *row {
	e.grow(n)
	return e.rows[n-1]
}

func (e *Engine) crop(r *row) string {
	if r.n-1 < len(e.cfg.Crop) {
		return e.cfg.Crop[r.n-1]
	}
	return ""
}

// Place is one seed with what the decoder settled about it.
type Place struct {
	T       evenstand.Micros
	K       int64
	Missing int  // places without seed before it
	Double  bool // it shares its place with the seed before
	First   bool // the rhythm begins with it: Missing is then about what a hole spans
	Off     float32
	Sigma   float32 // the row's present scatter, in places; 0 unknown
	// Readable says that single seeds may be classed; without it only rates
	// and cells are spoken of.
	Readable bool
	// Own says that no target is known and the row's own most frequent spacing
	// stands for it, which follows a change of rate late: Off then says nothing of
	// how evenly the row spaces.
	Own   bool
	byGap bool // only the gap is known: Off says nothing
}

// Target says the seeds per m2 asked of a row; NaN unknown.
func (e *Engine) Target(n int, perM2 float64, t evenstand.Micros) {
	r := e.row(n)
	if r.target != perM2 {
		if !(math.Abs(r.target-perM2) <= 0.001*perM2) {
			e.rate.targetChanged(t)
		}
		r.target = perM2
	}
}

// Seed says that the row's sensor saw a seed at t while planting.
func (e *Engine) Seed(n int, t evenstand.Micros) {
	r := e.row(n)
	r.seenSeed = true
	stray := evenstand.Micros(0)
	if r.grade == evenstand.GradeA {
		e.seedA = t
		if t-r.stop.last > evenstand.Micros(stopStray*1e6) { // else it is no matter
			stray = evenstand.FromSeconds(math.Max(stopStray, 12*e.placeTime(r)))
		}
	}
	r.stop.seed(t, stray)
}

// Counted says that a row's seeds were counted at t, also when there were none.
// Where rows are counted, one that nobody counts is not one that stands still.
func (e *Engine) Counted(n int, t evenstand.Micros) {
	e.row(n).told = t
	e.countT = t
}

// mute tells whether nothing is known of a row: the others are counted, and it
// is not.
func (e *Engine) mute(r *row, t evenstand.Micros) bool {
	return e.countT > 0 && t-e.countT < countMute && t-e.seedA > countMute && t-r.told > countMute
}

// heard tells whether a seed of the row was logged since the morning: a card may say
// more rows than the planter has, or than its boxes log.
func (r *row) heard() bool { return r.seenSeed || r.rateWay > 0 }

// countMute is how long a row may go without a count where others have one.
const countMute = 10 * evenstand.Second

// Place takes one settled seed of a row (grade A), in order of time by row. It
// keeps nothing of p.
func (e *Engine) Place(n int, p *Place) {
	r := e.row(n)
	r.grade = evenstand.GradeA
	r.fell++
	if !p.Own {
		r.bounce.seed(p)
		r.drive.seed(p, r.places)
	}
	if p.First {
		if r.cells.n > 0 {
			r.cells.segment(p.T)
		}
		r.starved.hole(r, p.Missing, p.T, e)
		return
	}
	if p.Sigma > 0 {
		r.sigma = p.Sigma
	}
	if p.Double {
		r.dblAt.add(r.places)
		r.batch.doubles++
		r.batch.seeds++
		if !p.byGap {
			r.sensor.extra(e, r, p.T, r.lastOff, p.Off)
		}
		return
	}
	r.lastOff = p.Off
	e.rowPlaces(r, p)
}

// PlaceByGap takes a seed of which only the gap to the one before is known, or
// whose rhythm cannot be read: it counts for the rates, not for cells.
func (e *Engine) PlaceByGap(n int, p *Place) {
	r := e.row(n)
	r.grade = evenstand.GradeA
	keep := r.cells.n
	scan := r.scan.off
	r.cells.n, r.scan.off = 0, true
	q := *p
	q.byGap = true
	e.Place(n, &q)
	r.cells.n, r.scan.off = keep, scan
}

// rowPlaces walks over the places up to the seed: those missed, then its own.
func (e *Engine) rowPlaces(r *row, p *Place) {
	miss := p.Missing
	if miss > 0 {
		e.common.miss(r.n, miss, p.T)
		r.starved.run(r, miss, p.T, e)
		if r.scan.want() {
			r.scan.runStart(r.places)
		}
	}
	for i := 0; i <= miss; i++ {
		k := p.K - int64(miss) + int64(i)
		missed := i < miss
		named := false
		if r.cells.n > 0 {
			named = r.cells.place(e, r, k, missed, i > 0 && missed, p.T)
		}
		r.starved.place()
		// So many gaps that the rhythm is lost go on to tell that seeds are lost.
		if !named && (!p.byGap || r.sensor.blind()) {
			r.sensor.place(e, r, missed, p.T)
		}
		r.places++
		r.due++
		const slow = 1.0 / 4000
		if missed {
			r.ownMiss += slow * (1 - r.ownMiss)
			if !named {
				r.missAt.add(r.places - 1)
			}
		} else {
			r.ownMiss -= slow * r.ownMiss
		}
		if named { // a named cell is left out of the row's rates
			continue
		}
		r.batch.n++
		if missed {
			r.batch.skips++
		} else {
			r.batch.seeds++
		}
		if r.batch.n >= batchA {
			e.closeBatch(r, p.T)
		}
	}
}

// Counts takes a reading of a row (grade B): over the time from t0 to t1 so
// many places were due, so many of them were missed or doubled. Shares that a
// box has smoothed are welcome: what counts is their sum over many readings.
// Seeds beat counts: the caller hands over one or the other.
func (e *Engine) Counts(n int, t0, t1 evenstand.Micros, due, skips, doubles float64) {
	r := e.row(n)
	r.grade = evenstand.GradeB
	if due <= 0 {
		return
	}
	if math.IsNaN(skips) {
		r.fell += due
		return
	}
	r.fell += due - skips + doubles
	r.seenSeed = true
	r.places += int64(due + 0.5)
	r.due += due
	r.batch.n += due
	r.batch.skips += skips
	r.batch.doubles += doubles
	r.batch.seeds += due - skips + doubles
	r.ownMiss += math.Min(1, due/4000) * (skips/due - r.ownMiss)
	// A batch spans three windows of a box that averages, so that two batches
	// share little.
	if r.batch.n >= batchB && (t1-r.batch.t0).Seconds() >= 3*e.cfg.Averaged {
		e.closeBatch(r, t1)
	}
}

// Enabled says whether a row is switched on (a command, not a result).
func (e *Engine) Enabled(n int, on bool, t evenstand.Micros) {
	r := e.row(n)
	if on && !r.enabled {
		r.stop.lower(t) // it has to give seeds from now on, not from its last one
	}
	r.enabled, r.commanded = on, true
}

// Working says whether a row's drive says that it works.
func (e *Engine) Working(n int, on bool, t evenstand.Micros) {
	r := e.row(n)
	if on {
		r.working = 1
	} else {
		r.working = 0
	}
}

// Vacuum takes a reading in Pa of a side by its name; "machine" is the whole.
func (e *Engine) Vacuum(name string, t evenstand.Micros, pa float64) {
	if s := e.sideByName(name); s != nil {
		s.vacuum.reading(t, pa)
	}
}

func (e *Engine) sideByName(name string) *side {
	if name == "machine" {
		return e.machine
	}
	for _, s := range e.sides {
		if s.name == name {
			return s
		}
	}
	return nil
}

// Lower says that a pass begins at t; Lift that it ends.
func (e *Engine) Lower(t evenstand.Micros) {
	e.pass = passState{down: true, since: t, way: e.bar.Way}
	e.recur.lower(t)
	for _, r := range e.rows {
		r.stop.lower(t)
		if r.batch.n < batchA/2 { // a batch that hardly began belongs to this pass
			r.batch.t0 = t
		}
	}
}

// Lift says that the bar left the ground at t.
func (e *Engine) Lift(t evenstand.Micros) {
	e.pass.down = false
	e.pass.lifted = t
}

type passState struct {
	down   bool
	since  evenstand.Micros
	begun  evenstand.Micros // when most rows gave seed; 0 not yet
	lifted evenstand.Micros
	way    float64
}

// Tick decides. It is called once a second of log time, after everything up
// to t has been handed in.
func (e *Engine) Tick(t evenstand.Micros, b Bar) {
	e.now, e.bar = t, b
	e.noteHalt(t)
	e.common.tick(e, t)
	e.tickVacuum(t)
	e.judgeBatches(t)
	e.tickStops(t)
	e.tickOff(t)
	e.tickDrive(t)
	e.tickBounce(t)
	e.tickRate(t)
	e.tickAlone(t)
	e.tickTanks(t, b)
	e.tickPump(t)
	e.tickFlowSwing(t)
	e.tickFlow(&e.liquid, t, !e.alone.noneRuns()) // that none runs is a finding of its own
	e.tickFlow(&e.granular, t, true)
	e.tickLots(t)
	e.tickSensor(t)
	e.tickForce(t)
	e.tickLoad(t)
	e.tickFurrow(t)
	e.tickSilent(t)
	e.tickPosition(t)
	e.tickRecur()
	if b.Planting {
		e.hour.planting(e, t)
	}
	for _, r := range e.rows {
		r.cells.tick(e, r, t)
		r.starved.tick(e, r, t)
	}
	e.settleHeld(t)
	e.keepCharts()
	e.sweep()
}

// Raised gives the findings that stand on the worklist at present, in order of
// their alarm: what a live screen shows.
func (e *Engine) Raised() []evenstand.Finding {
	var out []evenstand.Finding
	for _, c := range e.cases {
		if c.raised && c.lead == nil && c.together().open() {
			if f, ok := e.report(c, e.now); ok {
				out = append(out, f)
			}
		}
	}
	return out
}

// halt is a time without planting: a refill, a break, a move to another field.
type halt struct{ from, to evenstand.Micros }

const (
	haltLeast = 60 * evenstand.Second
	haltKeep  = 40
)

func (e *Engine) noteHalt(t evenstand.Micros) {
	if !e.bar.Planting {
		if e.stood == 0 {
			e.stood = t
		}
		return
	}
	if e.stood != 0 && t-e.stood >= haltLeast {
		if len(e.halts) == haltKeep {
			e.halts = append(e.halts[:0], e.halts[1:]...)
		}
		e.halts = append(e.halts, halt{e.stood, t - evenstand.Second})
	}
	e.stood = 0
}

// afterHalt moves a beginning that lies less than doubt before a longer halt
// to the end of it. A beginning is never known to the second, and what changes
// on a planter changes while it stands more often than in the last seconds
// before it does.
func (e *Engine) afterHalt(onset, doubt evenstand.Micros) evenstand.Micros {
	for _, h := range e.halts {
		if onset < h.to && onset > h.from-doubt && h.to-h.from > doubt {
			onset = h.to
		}
	}
	return onset
}

// Finish ends the day at t and returns what was found, in order of the alarm.
func (e *Engine) Finish(t evenstand.Micros) []evenstand.Finding {
	e.now = t
	for _, r := range e.rows {
		if r.batch.n >= 0.3*batchA {
			e.closeBatch(r, t)
		}
	}
	e.judgeAll(t)
	e.hour.finish(e, t)
	e.settleHeld(t)
	e.joinLots()
	e.suspectCells(t)
	var out []evenstand.Finding
	for _, c := range e.cases {
		if c.dropped || c.lead != nil {
			continue
		}
		if f, ok := e.report(c, t); ok {
			out = append(out, f)
		}
	}
	for _, u := range e.upsets {
		if u.of != nil && !u.of.dropped { // it is part of that
			continue
		}
		out = append(out, e.reportUpset(u))
	}
	slices.SortStableFunc(out, func(a, b evenstand.Finding) int {
		switch {
		case a.Alarm < b.Alarm:
			return -1
		case a.Alarm > b.Alarm:
			return 1
		}
		return 0
	})
	return out
}

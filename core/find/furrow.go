package find

import (
	"math"

	"evenstand"
	"evenstand/core/measure/contact"
)

// The seed zone of all rows: too dry, too cold, or with too much trash in it.
// Every ten seconds of planting the rows' means are held against the limit; a
// cumulative sum of the share of rows beyond it, over the share that is borne,
// tells since when there is too much of it, and the same downwards when it is
// right again. So it is said once, and goes on while it lasts. Where force and
// load tell zones of the soil, each zone has a sum of its own, so that ground
// which is dry in one zone only is found there.
//
// Limits that nobody has set are defaults:
//   - moisture 16 %: what silt loam about needs for corn to take up water (R12,
//     memory and judgement: sand wants 6, clay 24 %);
//   - temperature 50 °F: cold water in the first two days chills the seed below
//     about that (R11, Purdue 2020);
//   - trash 25 % of the slot: judgement, R13 gives none for what lies in it.
const (
	furrowWindow = 5 // s of planting
	furrowSettle = 6
	furrowBlock  = 2    // windows: ten seconds
	furrowBorne  = 0.35 // share of the ground beyond the limit: more is said
	furrowZone   = 0.6  // the same of one zone
	furrowAlarm  = 20.0
	zoneAlarm    = 12.0
	furrowRight  = 10.0
	furrowAgain  = 60 * 60 * evenstand.Second // the same again is no other finding
	furrowRecent = 90                         // blocks that tell how it is elsewhere: some passes
	furrowMemory = 360                        // blocks: an hour of planting
	furrowBeside = 12                         // blocks before and after that tell what else changed
	noSoil       = 0.005                      // moisture that no soil has: the sensor hangs in the air or is dead (judgement)
	furrowZoned  = 30                         // blocks after which zones are told anew
)

// What is logged of the furrow.
const (
	furrowDry   = iota // moisture
	furrowCold         // temperature
	furrowDirty        // trash in the slot
	furrowPress        // of the row cleaners
	furrowAll
	furrowKinds = furrowPress
)

var furrowSays = [furrowKinds]struct {
	kind    string
	of      evenstand.Quantity
	limit   float64
	sign    float64 // 1: more is bad
	lasting float64 // error of a box that lasts, SI (judgement, no source)
	unit    string
	name    string
}{
	{evenstand.KindDryFurrow, evenstand.SeedZoneMoisture, 0.16, -1, 0.01, "fraction", "drier than"},
	{evenstand.KindColdFurrow, evenstand.SeedZoneTemperature, 10, -1, 0.3, "degC", "colder than"},
	{evenstand.KindDirtyFurrow, evenstand.SlotTrash, 0.25, 1, 0.02, "fraction", "more trash than"},
}

// furrowWatch follows the seed zone of all rows.
type furrowWatch struct {
	sec, settled, windows int
	way                   float64
	rows                  []furrowRow
	ground                [furrowKinds]furrowGround
	late                  [furrowMemory]furrowMeans
	k                     int
	told                  bool
	limits                []float64 // between zones of the soil, by need
	dev, devN             [furrowAll]float64
}

// furrowMeans are the means over all rows in a block.
type furrowMeans struct {
	t evenstand.Micros
	x [furrowAll]float64
}

// furrowGround is one trouble on all ground, and by zone.
type furrowGround struct {
	limit float64
	own   bool // the limit is somebody's own
	all   furrowTrack
	zones [zoneMost]furrowTrack
	rho   autocorr
	was   float64
	cse   *caseFile
	ended *caseFile
}

// furrowTrack is the cumulative sum of one trouble on some ground.
type furrowTrack struct {
	c     float64
	since evenstand.Micros
	sum   furrowSum
	late  [furrowMemory]furrowShare
	k     int
	base  float64 // share of late, while all is right
}

// furrowShare is a block's share beyond the limit, weighed by how much of the
// planter was on the ground in question.
type furrowShare struct {
	t       evenstand.Micros
	x, part float32
}

// furrowSum counts blocks, as the share of rows that were beyond the limit, and
// beyond it by more, or less, than the box's lasting error.
type furrowSum struct{ y, sure, may, n, area float64 }

func (s *furrowSum) add(o furrowSum) {
	s.y, s.sure, s.may, s.n, s.area = s.y+o.y, s.sure+o.sure, s.may+o.may, s.n+o.n, s.area+o.area
}

// furrowCase is what a finding about the furrow of all rows rests on.
type furrowCase struct {
	of      int
	limit   float64
	own     bool
	sum     furrowSum
	byNeed  []*furrowSum
	value   stat2
	right   float64 // cumulative sum of being right again
	rightAt evenstand.Micros
	zone    int                // -1: all ground
	before  [furrowAll]float64 // NaN unknown
	after   [furrowAll]float64
}

func (w *furrowWatch) init(limits []evenstand.Limit) {
	for i := range w.ground {
		g := &w.ground[i]
		g.limit, g.was = furrowSays[i].limit, math.NaN()
		for _, l := range limits {
			v := l.Least
			if furrowSays[i].sign > 0 {
				v = l.Most
			}
			if l.Of == furrowSays[i].of && !math.IsNaN(v) {
				g.limit, g.own = v, true
			}
		}
	}
}

func (w *furrowWatch) row(n int) *furrowRow {
	for len(w.rows) < n {
		w.rows = append(w.rows, newFurrowRow())
	}
	return &w.rows[n-1]
}

// Furrow takes what is logged of a row's furrow while planting: seed-zone
// moisture, temperature, trash in the slot, or the pressure of its row cleaner,
// SI. own says that the reading is the row's own and not one for many rows.
func (e *Engine) Furrow(n int, q evenstand.Quantity, v float64, own bool) {
	w := &e.furrow
	of := furrowPress
	switch q {
	case evenstand.SeedZoneMoisture:
		of = furrowDry
	case evenstand.SeedZoneTemperature:
		of = furrowCold
	case evenstand.SlotTrash:
		of = furrowDirty
	case evenstand.CleanerPressure:
	default:
		return
	}
	w.told = true
	if w.settled < furrowSettle || of == furrowDry && v < noSoil {
		return
	}
	r := w.row(n)
	r.window[of].add(v)
	r.block[of].add(v)
	r.own[of] = r.own[of] || own
	if of == furrowDirty {
		r.second = v
	}
}

func (e *Engine) tickFurrow(t evenstand.Micros) {
	w := &e.furrow
	if !w.told {
		return
	}
	if !e.bar.Planting || !e.pass.down {
		w.settled = 0
		w.clear(true)
		return
	}
	w.settled++
	if w.settled <= furrowSettle || e.bar.Speed < 1 {
		w.clear(true)
		return
	}
	w.way += e.bar.Speed
	e.furrowSecond()
	w.sec++
	if w.sec < furrowWindow {
		return
	}
	w.sec = 0
	e.judgeFurrows(t)
	w.windows++
	if w.windows == furrowBlock {
		e.judgeGround(t, w.way)
		w.clear(true)
		return
	}
	w.clear(false)
}

// clear begins a window, and a block.
func (w *furrowWatch) clear(block bool) {
	w.sec = 0
	if block {
		w.windows, w.way = 0, 0
	}
	for i := range w.rows {
		r := &w.rows[i]
		r.window, r.drag = [furrowAll]stat2{}, drag{}
		if block {
			r.block = [furrowAll]stat2{}
		}
	}
}

// judgeGround holds a block of all rows against the limits.
func (e *Engine) judgeGround(t evenstand.Micros, way float64) {
	w := &e.furrow
	from := t - furrowBlock*furrowWindow*evenstand.Second
	m := furrowMeans{t: from}
	for of := range m.x {
		var s stat2
		for i := range w.rows {
			if i < len(e.rows) && e.rows[i].enabled && w.rows[i].block[of].n > 0 {
				s.add(w.rows[i].block[of].mean())
			}
		}
		m.x[of] = s.mean()
	}
	w.late[w.k%len(w.late)] = m
	w.k++
	if len(e.load.rows) > 0 && w.k%furrowZoned == 1 {
		w.limits = e.load.needs.Zones(zoneMost)
	}
	for of := range w.ground {
		if !math.IsNaN(m.x[of]) {
			e.judgeTrouble(of, from, t, way*e.cfg.Spacing, w.limits)
		}
	}
}

// judgeTrouble takes a block to one trouble: area is m2 of one row.
func (e *Engine) judgeTrouble(of int, from, t evenstand.Micros, area float64, limits []float64) {
	w := &e.furrow
	g := &w.ground[of]
	say := &furrowSays[of]
	var all furrowSum
	var zones [zoneMost]furrowSum
	byNeed := map[int]furrowSum{}
	for i := range w.rows {
		r := &w.rows[i]
		if !(i < len(e.rows) && e.rows[i].enabled) || r.block[of].n == 0 || r.shift[of].cse != nil && r.shift[of].cse.open() {
			continue
		}
		over := say.sign * (r.block[of].mean() - g.limit)
		one := furrowSum{n: 1, area: area}
		if over > 0 {
			one.y = 1
		}
		if over > say.lasting {
			one.sure = 1
		}
		if over > -say.lasting {
			one.may = 1
		}
		all.add(one)
		if need, ok := e.needOf(i); ok && len(limits) > 1 {
			zones[contact.Zone(limits, need)].add(one)
			s := byNeed[contact.Bin(need)]
			s.add(one)
			byNeed[contact.Bin(need)] = s
		}
	}
	if all.n == 0 {
		return
	}
	share := all.y / all.n
	g.rho.add(share, g.was)
	g.was = share
	alarm, zone := g.all.add(all, all.n, from, furrowBorne, furrowAlarm), -1
	for z := range zones {
		if zones[z].n >= 2 && g.zones[z].add(zones[z], all.n, from, furrowZone, zoneAlarm) && !alarm && zone < 0 {
			zone = z
		}
	}
	if c := g.cse; c != nil && c.open() {
		x := c.furrow
		x.add(all, byNeed, w.rows, of)
		if x.zone < 0 || !alarm || g.elsewhere(x.zone) < furrowBorne {
			e.endGround(g, all, zones, from)
			return
		}
		// It was of one zone and is of all ground now: that is said anew.
		c.until, g.ended = g.all.began(furrowBorne), nil
		c.until = max(c.until, c.onset)
	}
	g.cse = nil
	track := &g.all
	switch {
	case alarm:
	case zone >= 0:
		track = &g.zones[zone]
	default:
		return
	}
	if _, low, _ := g.interval(track.sum, say.lasting); low < furrowBorne/3 {
		return
	}
	x := &furrowCase{of: of, limit: g.limit, own: g.own, zone: zone, sum: track.sum, byNeed: make([]*furrowSum, contact.Steps)}
	x.add(furrowSum{}, byNeed, w.rows, of)
	borne := furrowBorne
	if zone >= 0 {
		borne = furrowZone
	}
	since := track.began(borne)
	x.before, x.after = w.around(since)
	if old := g.ended; old != nil && since-old.until < furrowAgain && x.like(old.furrow) {
		old.until = evenstand.NoTime
		old.furrow.sum.add(x.sum)
		old.furrow.right = 0
		g.cse = old
	} else {
		onset := e.afterHalt(since, flowSame)
		g.cse = e.add(&caseFile{
			kind: say.kind, rows: e.allRows(), raised: true, onset: onset, onsetLow: onset - 60*evenstand.Second, onsetHigh: onset + 60*evenstand.Second,
			alarm: t, grade: e.furrowGrade(of), furrow: x,
		})
	}
	track.c = 0
}

// like tells whether the trouble is the same again: of a zone or of all ground,
// with the row cleaners set as they were.
func (x *furrowCase) like(o *furrowCase) bool {
	a, b := x.after[furrowPress], o.after[furrowPress]
	return (x.zone < 0) == (o.zone < 0) && !(math.Abs(a-b) > 0.1*math.Abs(b))
}

// elsewhere is the share beyond the limit of late outside of a zone.
func (g *furrowGround) elsewhere(zone int) float64 {
	var s stat2
	for z := range g.zones {
		k := &g.zones[z]
		for j := 1; z != zone && j <= min(k.k, furrowRecent); j++ {
			b := &k.late[(k.k-j)%len(k.late)]
			s.sum, s.n = s.sum+float64(b.x*b.part), s.n+float64(b.part)
		}
	}
	return s.mean()
}

// furrowGrade is the grade of what is logged: by row, or for the machine.
func (e *Engine) furrowGrade(of int) evenstand.Grade {
	for i := range e.furrow.rows {
		if e.furrow.rows[i].own[of] {
			return evenstand.GradeB
		}
	}
	return evenstand.GradeC
}

// needOf is the force that the ground under a row needed last, N.
func (e *Engine) needOf(i int) (float64, bool) {
	if i >= len(e.load.rows) || !e.load.rows[i].known {
		return 0, false
	}
	return e.load.rows[i].need, true
}

// add takes a block to the sum; true at the alarm. rows are those of the planter.
func (k *furrowTrack) add(s furrowSum, rows float64, from evenstand.Micros, borne, alarm float64) bool {
	x, part := s.y/s.n, s.n/rows
	k.late[k.k%len(k.late)] = furrowShare{from, float32(x), float32(part)}
	k.k++
	if k.c <= 0 {
		k.since, k.sum = from, furrowSum{}
		k.base += (math.Min(borne, x) - k.base) / math.Min(furrowMemory, float64(k.k))
	}
	k.c = math.Min(3*furrowAlarm, math.Max(0, k.c+part*(x-borne)))
	k.sum.add(blocks(s))
	return k.c >= alarm
}

// began is since when it is likeliest: the largest sum backwards of what lies
// over the middle between the level of late and that before.
func (k *furrowTrack) began(borne float64) evenstand.Micros {
	n := min(k.k, len(k.late))
	at := func(j int) *furrowShare { return &k.late[(k.k-j)%len(k.late)] }
	var late stat2
	for j := 1; j <= min(n, furrowBeside); j++ {
		late.sum, late.n = late.sum+float64(at(j).part*at(j).x), late.n+float64(at(j).part)
	}
	middle := math.Max(borne, (late.mean()+k.base)/2)
	sum, best, since := 0.0, math.Inf(-1), k.since
	for j := 1; j <= n && at(j).t >= k.since; j++ {
		if sum += float64(at(j).part) * (float64(at(j).x) - middle); sum > best {
			best, since = sum, at(j).t
		}
	}
	return since
}

// blocks turns a sum over rows into one over blocks: rows beside one another
// say the same.
func blocks(s furrowSum) furrowSum {
	return furrowSum{y: s.y / s.n, sure: s.sure / s.n, may: s.may / s.n, n: 1, area: s.area}
}

// add takes a block to a finding.
func (x *furrowCase) add(all furrowSum, byNeed map[int]furrowSum, rows []furrowRow, of int) {
	if all.n > 0 {
		x.sum.add(blocks(all))
	}
	for b, s := range byNeed {
		if x.byNeed[b] == nil {
			x.byNeed[b] = &furrowSum{}
		}
		x.byNeed[b].add(s)
	}
	for i := range rows {
		if rows[i].block[of].n > 0 {
			x.value.add(rows[i].block[of].mean())
		}
	}
}

// endGround ends a finding once the ground has been right for long enough: less
// than half of what is borne.
func (e *Engine) endGround(g *furrowGround, all furrowSum, zones [zoneMost]furrowSum, from evenstand.Micros) {
	x := g.cse.furrow
	s, borne := all, furrowBorne
	if x.zone >= 0 {
		s, borne = zones[x.zone], furrowZone
	}
	if s.n == 0 {
		return
	}
	if x.right <= 0 {
		x.rightAt = from
	}
	x.right = math.Max(0, x.right+borne/2+0.1-s.y/s.n)
	if x.right < furrowRight*borne {
		return
	}
	g.cse.until, g.ended, g.cse = x.rightAt, g.cse, nil
	g.all.c = 0
	for z := range g.zones {
		g.zones[z].c = 0
	}
}

// interval is the share of the ground beyond the limit at 90 %: from as many
// blocks as are independent, and over the box's lasting error.
func (g *furrowGround) interval(s furrowSum, lasting float64) (share, low, high float64) {
	share = s.y / s.n
	_, low, _ = contact.Share(s.sure, s.n, g.rho.rho(), 0.90)
	_, _, high = contact.Share(s.may, s.n, g.rho.rho(), 0.90)
	return share, low, high
}

// around gives the means before and since an instant, NaN where not known.
func (w *furrowWatch) around(t evenstand.Micros) (before, after [furrowAll]float64) {
	var b, a [furrowAll]stat2
	for j := 1; j <= min(w.k, len(w.late)); j++ {
		m := &w.late[(w.k-j)%len(w.late)]
		for of, v := range m.x {
			switch {
			case math.IsNaN(v):
			case m.t >= t+30*evenstand.Second && a[of].n < 10*furrowBeside:
				a[of].add(v)
			case m.t < t-30*evenstand.Second && b[of].n < furrowBeside:
				b[of].add(v)
			}
		}
	}
	for of := range b {
		before[of], after[of] = b[of].mean(), a[of].mean()
	}
	return before, after
}

// reportFurrow says what a finding about the furrow of all rows rests on.
func (e *Engine) reportFurrow(c *caseFile, f *evenstand.Finding) {
	x := c.furrow
	say := &furrowSays[x.of]
	g := &e.furrow.ground[x.of]
	add := func(name string, v, lo, hi, n float64, unit string) {
		f.Evidence = append(f.Evidence, ev(name, v, lo, hi, n, unit))
	}
	in, out, more := e.furrowZones(x)
	sum := x.sum
	if in.n > 0 {
		sum = in
	}
	share, low, high := g.interval(sum, say.lasting)
	add("ground "+say.name+" the limit", share, low, high, sum.n, "fraction")
	if in.n > 0 {
		add("ground "+say.name+" the limit elsewhere", out.y/out.n, nan, nan, out.n, "fraction")
		add("needs more force than elsewhere", more, nan, nan, nan, "N")
	}
	name := "limit, by default"
	if x.own {
		name = "limit that was set"
	}
	add(name, x.limit, nan, nan, nan, say.unit)
	add([...]string{"seed-zone moisture", "seed-zone temperature", "trash in the slot"}[x.of], x.value.mean(), nan, nan, x.value.n, say.unit)
	add("ground", x.sum.area, nan, nan, nan, "m2")
	pressed := x.after[furrowPress] - x.before[furrowPress]
	if !math.IsNaN(pressed) {
		add("row-cleaner pressure before", x.before[furrowPress]/1000, nan, nan, nan, "kPa")
		add("row-cleaner pressure after", x.after[furrowPress]/1000, nan, nan, nan, "kPa")
	}
	deeper := pressed > 0.1*math.Abs(x.before[furrowPress])
	lighter := pressed < -0.1*math.Abs(x.before[furrowPress])
	if math.IsNaN(pressed) { // no pressure is logged: what the cleaners leave tells
		cleaner := x.after[furrowDirty] / x.before[furrowDirty]
		deeper, lighter = cleaner < 0.55, x.of != furrowDirty && cleaner > 1.8
	}
	// Prior odds of the trade (agronomy F36, F41, F45), weighed by what changed
	// with it. Judgement, no published odds.
	switch x.of {
	case furrowDry:
		drying, depth, soil, deep := 0.50, 0.25, 0.05, 0.08
		if in.n > 0 {
			soil, drying, depth = 0.80, 0.08, 0.08
		} else if deeper {
			deep, drying, depth = 0.85, 0.08, 0.05
		}
		f.Causes = normalise(evenstand.Cause{Cause: evenstand.CauseDrying, Probability: drying}, evenstand.Cause{Cause: evenstand.CauseDepth, Probability: depth}, evenstand.Cause{Cause: evenstand.CauseSoilThere, Probability: soil}, evenstand.Cause{Cause: evenstand.CauseCleanerDeep, Probability: deep})
	case furrowCold:
		cold, light, soil := 0.90, 0.05, 0.02
		if in.n > 0 {
			cold, soil = 0.4, 0.55
		} else if lighter {
			cold, light = 0.45, 0.5
		}
		f.Causes = normalise(evenstand.Cause{Cause: evenstand.CauseColdWeather, Probability: cold}, evenstand.Cause{Cause: evenstand.CauseCleanerLight, Probability: light}, evenstand.Cause{Cause: evenstand.CauseSoilThere, Probability: soil})
	default:
		residue, light, pin := 0.70, 0.15, 0.10
		if lighter {
			residue, light, pin = 0.10, 0.85, 0.03
		}
		e.residue(f, x.sum.area, share, (high-low)/(2*1.645))
		f.Causes = normalise(evenstand.Cause{Cause: evenstand.CauseResidueThere, Probability: residue}, evenstand.Cause{Cause: evenstand.CauseCleanerLight, Probability: light}, evenstand.Cause{Cause: evenstand.CauseHairpin, Probability: pin})
	}
}

// residue is the harm of trash in the slot on a share of an area, m2.
func (e *Engine) residue(f *evenstand.Finding, area, share, sd float64) {
	if area > 0 {
		f.Harm = []evenstand.Harm{{
			Kind: evenstand.SlotResidue, Amount: amount(share*area, sd*area), Area: num(area), Target: evenstand.Unknown, Ratio: evenstand.Unknown,
			Share: num(share), Crop: e.cropOf(f.Rows),
		}}
	}
}

// furrowZones parts what a finding saw into the zone that it is of and elsewhere,
// with the force by which the zone needs more; none where all ground is alike.
func (e *Engine) furrowZones(x *furrowCase) (in, out furrowSum, more float64) {
	if len(e.load.rows) == 0 {
		return in, out, nan
	}
	limits := e.load.needs.Zones(zoneMost)
	sums := make([]furrowSum, len(limits))
	weight := make([]float64, len(limits))
	for b, s := range x.byNeed {
		if s != nil {
			z := contact.Zone(limits, contact.Need(b))
			sums[z].add(*s)
			weight[z] += s.n * contact.Need(b)
		}
	}
	var ni, no stat2
	for z, s := range sums {
		switch {
		case s.n == 0:
		case s.y/s.n > furrowZone:
			in.add(s)
			ni.sum, ni.n = ni.sum+weight[z], ni.n+s.n
		default:
			out.add(s)
			no.sum, no.n = no.sum+weight[z], no.n+s.n
		}
	}
	// One zone stands out where elsewhere is less than a third as bad.
	if in.n == 0 || out.n == 0 || out.y/out.n > in.y/in.n/3 {
		return furrowSum{}, furrowSum{}, nan
	}
	rows := float64(max(1, len(e.rows)))
	for _, s := range []*furrowSum{&in, &out} {
		s.y, s.sure, s.may, s.n = s.y/rows, s.sure/rows, s.may/rows, s.n/rows
	}
	return in, out, ni.mean() - no.mean()
}

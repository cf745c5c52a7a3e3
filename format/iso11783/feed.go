package iso11783

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"evenstand"
)

// Limits of carry-forward; judgement, as the reference says "a few seconds".
const (
	silence  = 5 * evenstand.Second  // of a device, after which what it measured is stale
	pause    = 10 * evenstand.Second // of the log, after which nothing measured lives on
	tickStep = evenstand.Second - evenstand.Second/20
	minWait  = evenstand.Second / 2
)

// meaning says what a column becomes.
type meaning uint8

const (
	asRaw        meaning = iota // a Raw reading in the dictionary's unit
	asNothing                   // geometry, which is in the card
	asValue                     // a reading of a quantity
	asSpacing                   // seed spacing, read as a seed rate
	asTotal                     // running count of seeds
	asFlow                      // seeds per second, summed to counts
	asState                     // work state of rows
	asBoom                      // work state of the whole seed boom
	asStateSet                  // commanded state of rows
	asBoomSet                   // commanded state of the whole boom
	asPacked                    // condensed work states
	asPackedSet                 // condensed commanded states
	asOverride                  // condensed "operator has taken over"
	asLatency                   // DDI 143
	asLatencySet                // DDI 142
)

// plan is what one joined column becomes.
type plan struct {
	kind    meaning
	q       evenstand.Quantity
	el      evenstand.Element
	scale   float64
	low     float64 // of the quantity's plausible range
	high    float64
	spacing float64 // m, row spacing for asSpacing
	code    uint16
	bits    uint8 // of a parameter group: first bit and how many
	width   uint8
	group   int              // of the latencies
	device  int              // whose life keeps the value valid
	over    evenstand.Micros // when the last log that gives it ended; 0 not yet
	set     bool
	slot    int              // held value, -1 none
	rows    []evenstand.Rows // by bit pair, or one set
	first   int              // row of the first bit pair in its DDI series
	lastT   evenstand.Micros // of its last reading
}

// stateKey names a state of a part.
type stateKey struct {
	q  evenstand.Quantity
	el evenstand.Element
}

// slot is a value that is carried forward.
type slot struct {
	plan  *plan
	value float64
	known bool
	last  evenstand.Micros // when it was given
	since evenstand.Micros // for counts: up to when they are summed
	sum   float64
	total float64 // last running count
}

// quantityOf names the registry's word for an identifier and the factor from
// raw to SI. The dictionary's resolutions are in ddi.csv; the factors here
// turn its units into SI.
func quantityOf(d DDI) (evenstand.Quantity, float64, bool) {
	switch d {
	case ddiCountPerArea:
		return evenstand.SeedRate, 1e-3, true // 0.001 /m2
	case ddiCountPerAreaSet:
		return evenstand.SeedRateTarget, 1e-3, true
	case ddiSkips:
		return evenstand.SkipFraction, 1e-6, true // ppm
	case ddiMultiples:
		return evenstand.DoubleFraction, 1e-6, true
	case ddiSpacingCV:
		return evenstand.SpacingCV, 1e-6, true
	case ddiVolumePerArea:
		return evenstand.LiquidRate, 1e-11, true // 0.01 mm3/m2
	case ddiVolumePerAreaSet:
		return evenstand.LiquidRateTarget, 1e-11, true
	case ddiVolumePerAreaML:
		return evenstand.LiquidRate, 1e-7, true // 0.1 ml/m2
	case ddiVolumePerAreaMLSet:
		return evenstand.LiquidRateTarget, 1e-7, true
	case ddiVolumePerTime:
		return evenstand.LiquidFlow, 1e-9, true // mm3/s
	case ddiMassPerArea:
		return evenstand.GranularRate, 1e-6, true // mg/m2
	case ddiMassPerAreaSet:
		return evenstand.GranularRateTarget, 1e-6, true
	case ddiVolumeContent:
		return evenstand.TankContent, 1e-6, true // ml
	case ddiSpeed:
		return evenstand.GroundSpeed, 1e-3, true // mm/s
	case ddiYaw:
		return evenstand.Heading, 1e-3, true
	case ddiHitchAngle:
		return evenstand.HitchAngle, 1e-3, true
	case ddiVoltage:
		return evenstand.Voltage, 1e-3, true
	case ddiForce:
		// The dictionary says "Actual Downforce as Force": the force that pushes
		// the row down, which is what the machine applies.
		return evenstand.AppliedForce, 1, true
	}
	return evenstand.Raw, 1, false
}

func geometryDDI(d DDI) bool {
	switch d {
	case ddiOffsetX, ddiOffsetY, ddiOffsetZ, ddiWorkingWidth, ddiMaxWidth, ddiConnectorType, ddiUnitsInSection, ddiPivotX, ddiRotationX, ddiRotationX + 1:
		return true
	}
	return false
}

// Feed turns raw values, by column and instant, into readings: quantities in
// SI, states of rows, counts, what is still valid given again once a second,
// all shifted by the latencies that the device tells. Task data and the bus
// share it. It hands readings over in time order.
type Feed struct {
	sink    evenstand.Sink
	layout  *Layout
	plans   []plan
	slots   []slot
	shift   []evenstand.Micros // by latency group: of measured values
	shiftIn []evenstand.Micros // by latency group: of setpoints
	groups  map[*DeviceElement]int
	alive   []evenstand.Micros // by device
	devices map[*Device]int

	working   []int8 // by row: -1 unknown, 0, 1
	setpoint  []int8
	override  []int8
	enabled   []int8 // as given, -1 never
	workGiven []int8 // as given; the last one is the machine's
	boom      int8
	boomSet   int8
	lifted    int8
	rowStates bool // some column tells about single rows

	stateT map[stateKey]evenstand.Micros // of the last reading

	pending []evenstand.Reading
	mixed   bool // pending is not in time order
	now     evenstand.Micros
	tick    evenstand.Micros
	step    evenstand.Micros // from tick to tick
	patient evenstand.Micros // how long a value is waited for before the last is given again
	settle  evenstand.Micros // how long states that change together may take to come
	open    evenstand.Micros // when the first of them changed, NoTime none
	started bool

	rawCodes  map[uint16]int64 // values of numbers without a public meaning
	plain     map[uint16]bool  // numbers that the dictionary knows and the registry does not
	missing   int64            // raw values that are no reading
	wild      map[evenstand.Quantity]int64
	rowGrade  bool
	anyGrade  bool
	pauses    int
	spacings  bool
	gauge     bool
	unknown   map[string]bool        // element ids that no device defines
	boomState map[DDI]*DeviceElement // whose work state, actual and commanded, is the boom's
	twice     int                    // columns that stand for the same as others
	yawTrue   bool                   // the yaw angle is the heading over ground
	heading   float64
	headingAt evenstand.Micros
}

// NewFeed begins a feed for the columns of a layout; yawTrue says that the yaw
// angle (144) is the heading over ground.
func (s *Set) NewFeed(l *Layout, columns []Column, sink evenstand.Sink, yawTrue bool) *Feed {
	e := &Feed{
		sink: sink, layout: l, groups: map[*DeviceElement]int{}, stateT: map[stateKey]evenstand.Micros{}, devices: map[*Device]int{nil: 0},
		rawCodes: map[uint16]int64{}, plain: map[uint16]bool{}, wild: map[evenstand.Quantity]int64{}, unknown: map[string]bool{},
		boom: -1, boomSet: -1, lifted: -1, yawTrue: yawTrue, heading: math.NaN(),
	}
	n := len(l.Rows)
	for _, p := range []*[]int8{&e.working, &e.setpoint, &e.override, &e.enabled, &e.workGiven} {
		*p = make([]int8, n)
		for i := range *p {
			(*p)[i] = -1
		}
	}
	e.workGiven = append(e.workGiven, -1)
	e.alive = append(e.alive, evenstand.NoTime)
	e.shift, e.shiftIn = append(e.shift, 0), append(e.shiftIn, 0)
	e.plans = make([]plan, len(columns))
	totals := map[evenstand.Element]bool{}
	for _, c := range columns {
		if c.DDI == ddiTotalCount {
			totals[l.Place(s.Element(c.Element))] = true
		}
	}
	e.step, e.open = tickStep, evenstand.NoTime
	e.boomState = map[DDI]*DeviceElement{}
	for _, c := range columns {
		el := s.Element(c.Element)
		if (c.DDI != ddiWorkState && c.DDI != ddiWorkStateSet) || !l.seeds(el) || l.Place(el).Scope != evenstand.ScopeMachine {
			continue
		}
		// the boom's own, then the device's, then that of a part that covers all rows
		rank := func(o *DeviceElement) int {
			switch {
			case o == l.Boom:
				return 0
			case l.Boom.under(o):
				return 1
			}
			return 2
		}
		if have := e.boomState[c.DDI]; have == nil || rank(el) < rank(have) {
			e.boomState[c.DDI] = el
		}
	}
	order := make([]int, len(columns))
	for i := range order {
		order[i] = i
	}
	// finer elements first, the planter before others, so that of two columns
	// for the same part the nearest to it stays
	weight := func(c Column) int {
		el := s.Element(c.Element)
		switch {
		case el == nil:
			return 9
		case el.Device != l.Planter:
			return 8
		case !l.seeds(el) && (c.DDI == ddiCountPerArea || c.DDI == ddiCountPerAreaSet):
			return 7
		case el.Type == TypeUnit:
			return 0
		case el.Type == TypeSection:
			return 1
		case el.Type == TypeDevice:
			return 3
		}
		return 2
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(weight(columns[a]), weight(columns[b])) })
	type part struct {
		q    evenstand.Quantity
		code uint16
		el   evenstand.Element
		bits uint8
	}
	taken := map[part]bool{}
	for _, i := range order {
		p := e.plan(s, columns[i], totals)
		if p.kind == asRaw || p.kind == asValue || p.kind == asSpacing || p.kind == asTotal || p.kind == asFlow {
			k := part{p.q, p.code, p.el, p.bits}
			if p.q != evenstand.Raw {
				k.code, k.bits = 0, 0
			}
			if taken[k] {
				p.kind, p.slot = asNothing, -1
				e.twice++
			}
			taken[k] = true
		}
		in := p.q.Info()
		p.low, p.high = in.Min, in.Max
		e.plans[i] = p
	}
	for i := range e.plans { // slots last: plans must not move any more
		p := &e.plans[i]
		if p.slot == -2 {
			p.slot = len(e.slots)
			e.slots = append(e.slots, slot{plan: p, last: evenstand.NoTime, since: evenstand.NoTime, total: math.NaN()})
		}
	}
	return e
}

// latencyGroup finds the element that tells the latency for e: itself or one
// above it.
func (e *Feed) latencyGroup(el *DeviceElement, columns func(*DeviceElement) bool) int {
	for ; el != nil; el = el.Parent {
		if columns(el) {
			g, ok := e.groups[el]
			if !ok {
				g = len(e.shift)
				e.groups[el] = g
				e.shift, e.shiftIn = append(e.shift, 0), append(e.shiftIn, 0)
				if v, ok := e.layout.value(ddiLatency, el.ID); ok {
					e.shift[g] = latency(v)
				}
				if v, ok := e.layout.value(ddiLatencySet, el.ID); ok {
					e.shiftIn[g] = latency(v)
				}
			}
			return g
		}
	}
	return 0
}

// latency turns milliseconds into a shift; more than a minute is no latency.
func latency(ms int32) evenstand.Micros {
	if ms > 60_000 || ms < -60_000 {
		return 0
	}
	return evenstand.Micros(ms) * 1000
}

func (e *Feed) plan(s *Set, c Column, totals map[evenstand.Element]bool) plan {
	l := e.layout
	el := s.Element(c.Element)
	if el == nil && c.Element != "" {
		e.unknown[c.Element] = true
	}
	p := plan{el: l.Place(el), code: uint16(c.DDI), slot: -1, scale: 1}
	if el != nil {
		d, ok := e.devices[el.Device]
		if !ok {
			d = len(e.alive)
			e.devices[el.Device] = d
			e.alive = append(e.alive, evenstand.NoTime)
		}
		p.device = d
	}
	p.group = e.latencyGroup(el, func(o *DeviceElement) bool {
		_, a := l.value(ddiLatency, o.ID)
		_, b := l.value(ddiLatencySet, o.ID)
		return a || b
	})
	seeds := l.seeds(el)
	switch d := c.DDI; {
	case geometryDDI(d):
		p.kind = asNothing
	case d == ddiLatency:
		p.kind = asLatency
	case d == ddiLatencySet:
		p.kind = asLatencySet
	case d == ddiPGN:
		e.busColumn(c, &p)
	case (d == ddiWorkState || d == ddiWorkStateSet) && seeds:
		rows := l.rowsOf(el)
		switch {
		case p.el.Scope != evenstand.ScopeMachine && len(rows) > 0:
			p.kind, p.rows = asState, []evenstand.Rows{rows}
			if d == ddiWorkStateSet {
				p.kind = asStateSet
			} else {
				e.rowStates = true
			}
		case el == e.boomState[d]:
			p.kind = asBoom
			if d == ddiWorkStateSet {
				p.kind = asBoomSet
			}
		default: // the same of the same boom, from another of its parts
			e.resolution(d, &p)
		}
	case d >= ddiCondensed && d <= ddiCondensedLast && seeds:
		p.kind, p.rows, p.first = asPacked, l.packed(el), 16*int(d-ddiCondensed)
		e.rowStates = e.rowStates || len(l.Rows) > 0
	case d >= ddiCondensedSet && d <= ddiCondensedSetLast && seeds:
		p.kind, p.rows, p.first = asPackedSet, l.packed(el), 16*int(d-ddiCondensedSet)
	case d >= ddiOverride && d <= ddiOverrideLast && seeds:
		p.kind, p.rows, p.first = asOverride, l.packed(el), 16*int(d-ddiOverride)
	case (d == ddiSpacing || d == ddiSpacingSet) && seeds && known(l.spacing()):
		p.kind, p.q, p.spacing, p.slot = asSpacing, evenstand.SeedRate, l.spacing(), -2
		if d == ddiSpacingSet {
			p.q, p.set = evenstand.SeedRateTarget, true
		}
	case d == ddiTotalCount && seeds:
		p.kind, p.q, p.slot = asTotal, evenstand.SeedCount, -2
	case d == ddiCountPerTime && seeds && !totals[p.el]:
		p.kind, p.q, p.scale, p.slot = asFlow, evenstand.SeedCount, 1e-3, -2
	case (d == ddiMassPerArea || d == ddiMassPerAreaSet) && seeds,
		(d == ddiCountPerArea || d == ddiCountPerAreaSet) && !seeds,
		d == ddiVolumeContent && p.el.Scope != evenstand.ScopeTank,
		d == ddiYaw && !e.yawTrue:
		p.kind = asRaw // the number is known, but not as the planter's word for it
		e.resolution(c.DDI, &p)
	default:
		q, scale, ok := quantityOf(d)
		if d == ddiForceSet || d == ddiForce {
			// the device's own words may say that it is the load on the gauge wheels
			if w := word(el, d); strings.Contains(w, "gauge") {
				e.gauge = true
				q, scale, ok = evenstand.GaugeWheelLoad, 1, true
				if d == ddiForceSet {
					q = evenstand.GaugeWheelLoadTarget
				}
			}
		}
		if !ok {
			e.resolution(d, &p)
			break
		}
		p.kind, p.q, p.scale = asValue, q, scale
		switch q {
		case evenstand.SeedRateTarget, evenstand.LiquidRateTarget, evenstand.GranularRateTarget, evenstand.GaugeWheelLoadTarget:
			p.set = true
		}
		if q.Info().Aggregate == evenstand.Mean {
			p.slot = -2
		}
	}
	return p
}

// word gives the maker's word for a process data of an element, lower case.
func word(el *DeviceElement, d DDI) string {
	if el == nil {
		return ""
	}
	return strings.ToLower(el.Process[d])
}

// resolution makes a Raw plan in the dictionary's unit. States that are packed
// into bits, and numbers without a public meaning, stay integers.
func (e *Feed) resolution(d DDI, p *plan) {
	p.kind, p.q, p.scale = asRaw, evenstand.Raw, 1
	if entry, ok := Dictionary(d); ok {
		p.scale = entry.Resolution
		e.plain[uint16(d)] = true
	}
}

// busColumns are the columns of bus parameter groups that say speed and course:
// 129026 (course and speed over ground, 1e-4 rad and 0.01 m/s; NMEA 2000),
// 127250 (heading, 1e-4 rad; NMEA 2000) and the three speeds of ISO 11783-7
// (61474 selected by the machine, 65096 of the wheels, 65097 over ground; 0.001
// m/s). Bits count from 0.
var busColumns = []struct {
	pgn, start, end int
	q               evenstand.Quantity
	scale           float64
}{
	{129026, 16, 31, evenstand.Heading, 1e-4 * 180 / math.Pi},
	{129026, 32, 47, evenstand.GroundSpeed, 0.01},
	{127250, 8, 23, evenstand.Heading, 1e-4 * 180 / math.Pi},
	{61474, 0, 15, evenstand.GroundSpeed, 1e-3},
	{65096, 0, 15, evenstand.GroundSpeed, 1e-3},
	{65097, 0, 15, evenstand.GroundSpeed, 1e-3},
}

// busColumn reads the columns of bus parameter groups; those that are not
// listed stay raw.
func (e *Feed) busColumn(c Column, p *plan) {
	p.kind, p.bits = asRaw, uint8(c.Start)
	if c.End >= c.Start && c.End-c.Start < 32 {
		p.width = uint8(c.End - c.Start + 1)
	}
	for _, b := range busColumns {
		if c.PGN == b.pgn && c.Start == b.start && c.End == b.end {
			p.kind, p.q, p.scale, p.slot = asValue, b.q, b.scale, -2
		}
	}
}

// Singly tells the feed that the values of a second come one after another, as
// on a bus, and not all at one instant: a value that comes once a second is
// then not given again right before the next one. States that change within a
// tenth of a second are taken together, for a boom and its rows that are
// switched at once say so in two messages. Judgement.
func (e *Feed) Singly() {
	e.step, e.patient, e.settle = evenstand.Second/10, evenstand.Second+evenstand.Second/20, evenstand.Second/10
}

// At takes the values of one instant, and the columns that no log gives from
// here on: what they gave last is soon stale, even if their device goes on in
// other logs.
func (e *Feed) At(now evenstand.Micros, values []Value32, ended []int) error {
	if e.open != evenstand.NoTime && (now-e.open >= e.settle || now < e.open) {
		e.states()
	}
	if e.started {
		if gap := now - e.now; gap > pause || gap < -evenstand.Second {
			e.forget()
			e.pauses++
			if gap < 0 {
				if err := e.flush(true); err != nil {
					return err
				}
				e.tick = now
			}
		}
	} else {
		e.tick, e.started = now, true
	}
	e.now = now
	for _, k := range ended {
		e.plans[k].over = now
	}
	for _, v := range values {
		p := &e.plans[v.Column]
		e.alive[p.device] = now
		if v.Raw == Missing && p.kind != asPacked && p.kind != asPackedSet && p.kind != asOverride {
			e.missing++
			if p.slot >= 0 {
				e.slots[p.slot].known = false
			}
			continue
		}
		if e.take(p, v.Raw, now) && e.open == evenstand.NoTime {
			e.open = now
		}
	}
	if e.open != evenstand.NoTime && e.settle == 0 {
		e.states()
	}
	if now-e.tick >= e.step {
		e.repeat(now)
		e.tick = now
	}
	if len(e.pending) >= 8192 {
		return e.flush(false)
	}
	return nil
}

// forget ends the life of all measured values.
func (e *Feed) forget() {
	for i := range e.slots {
		s := &e.slots[i]
		s.known, s.sum, s.since, s.total = false, 0, evenstand.NoTime, math.NaN()
	}
	e.heading = math.NaN()
}

func (e *Feed) give(p *plan, now evenstand.Micros, v float64) {
	if !(v >= p.low && v <= p.high) { // also NaN; values come from integers and are finite
		e.wild[p.q]++
		return
	}
	t := now
	switch {
	case p.q == evenstand.Raw:
	case p.set:
		t += e.shiftIn[p.group]
	default:
		t += e.shift[p.group]
	}
	// two values at one instant: the later one must stay the later one
	if t == p.lastT {
		t++
	}
	p.lastT = t
	r := evenstand.Reading{T: t, Value: v, Quantity: p.q, Element: p.el}
	if p.q == evenstand.Raw {
		r.Code = p.code
	}
	if k := len(e.pending); k > 0 && e.pending[k-1].T > t {
		e.mixed = true
	}
	e.pending = append(e.pending, r)
	switch p.el.Scope {
	case evenstand.ScopeRow:
		switch p.q {
		case evenstand.SeedRate, evenstand.SeedCount, evenstand.SkipFraction, evenstand.DoubleFraction:
			e.rowGrade = true
		}
	}
	e.anyGrade = e.anyGrade || p.q != evenstand.Raw
}

// take handles one value; true when a state of rows or boom changed.
func (e *Feed) take(p *plan, raw int32, now evenstand.Micros) bool {
	switch p.kind {
	case asRaw:
		if p.bits > 0 || p.width > 0 {
			e.rawCodes[p.code]++
		} else if DDI(p.code).MakerOwn() || !e.plain[p.code] {
			e.rawCodes[p.code]++
		}
		e.give(p, now, float64(raw)*p.scale)
	case asValue:
		v := float64(raw)
		if p.q == evenstand.Heading || p.q == evenstand.GroundSpeed {
			if p.code == uint16(ddiPGN) && uint32(raw)&0xffff >= 0xfffe {
				break // the parameter group's "not available" and "error"
			}
		}
		v *= p.scale
		if p.q == evenstand.Heading && v < 0 { // the dictionary counts from -180
			v += 360
		}
		if p.slot >= 0 {
			s := &e.slots[p.slot]
			s.value, s.known, s.last = v, true, now
		}
		if p.q == evenstand.Heading {
			e.heading, e.headingAt = v, now
		}
		e.give(p, now, v)
	case asSpacing:
		if raw <= 0 {
			break
		}
		v := 1 / (float64(raw) / 1000 * p.spacing)
		s := &e.slots[p.slot]
		s.value, s.known, s.last = v, true, now
		e.spacings = true
		e.give(p, now, v)
	case asTotal:
		e.count(&e.slots[p.slot], float64(raw), now)
	case asFlow:
		s := &e.slots[p.slot]
		s.advance(now)
		s.value, s.known = float64(raw)*p.scale, raw >= 0
		if s.since == evenstand.NoTime {
			s.since = now
			s.last = now
			e.give(p, now, 0) // from here on seeds are counted
		}
	case asState:
		return setRows(e.working, p.rows[0], pair(uint32(raw)))
	case asStateSet:
		return setRows(e.setpoint, p.rows[0], pair(uint32(raw)))
	case asBoom:
		old := e.boom
		e.boom = pair(uint32(raw))
		return e.boom != old
	case asBoomSet:
		old := e.boomSet
		e.boomSet = pair(uint32(raw))
		return e.boomSet != old
	case asPacked:
		return e.unpack(e.working, p, raw)
	case asPackedSet:
		return e.unpack(e.setpoint, p, raw)
	case asOverride:
		return e.unpack(e.override, p, raw)
	case asLatency:
		e.shift[p.group] = latency(raw)
	case asLatencySet:
		e.shiftIn[p.group] = latency(raw)
	}
	return false
}

// count turns a running total into seeds since the last reading. A total that
// went down was set back: what it shows since then is kept only as the new
// start, for nobody knows what was lost.
func (e *Feed) count(s *slot, total float64, now evenstand.Micros) {
	if math.IsNaN(s.total) {
		s.total, s.known, s.last, s.sum = total, true, now, 0
		e.give(s.plan, now, 0)
		return
	}
	if d := total - s.total; d > 0 {
		s.sum += d
	}
	s.total, s.known = total, true
	if s.sum > 0 && now-s.last >= minWait {
		e.give(s.plan, now, s.sum)
		s.sum, s.last = 0, now
	}
}

// advance sums a flow up to now.
func (s *slot) advance(now evenstand.Micros) {
	if s.since != evenstand.NoTime && s.known {
		s.sum += s.value * (now - s.since).Seconds()
		s.since = now
	}
}

// pair reads two bits: 0 off, 1 on, else error or not installed (DDI 141).
func pair(bits uint32) int8 {
	switch bits & 3 {
	case 0:
		return 0
	case 1:
		return 1
	}
	return -1
}

func setRows(state []int8, rows evenstand.Rows, v int8) bool {
	changed := false
	for _, r := range rows {
		if state[r-1] != v {
			state[r-1], changed = v, true
		}
	}
	return changed
}

func (e *Feed) unpack(state []int8, p *plan, raw int32) bool {
	changed := false
	bits := uint32(raw)
	for i := range 16 {
		if p.first+i < len(p.rows) && setRows(state, p.rows[p.first+i], pair(bits>>(2*i))) {
			changed = true
		}
	}
	return changed
}

// states gives the states that changed.
func (e *Feed) states() {
	now := e.open
	e.open = evenstand.NoTime
	reading := func(q evenstand.Quantity, el evenstand.Element, v float64, shift evenstand.Micros) {
		k := stateKey{q, el}
		t := now + shift
		if last, ok := e.stateT[k]; ok && t == last {
			t++
		}
		e.stateT[k] = t
		e.mixed = true
		e.pending = append(e.pending, evenstand.Reading{T: t, Value: v, Quantity: q, Element: el})
		e.anyGrade = true
	}
	g := 0
	if e.layout.Boom != nil {
		g = e.boomGroup()
	}
	on := false
	for i, w := range e.working {
		on = on || w == 1
		if w >= 0 && e.changed(i, w) {
			reading(evenstand.RowWorking, evenstand.RowElement(i+1), float64(w), e.shift[g])
		}
		want := e.setpoint[i]
		if want < 0 {
			want = e.boomSet
		}
		switch {
		case e.override[i] == 1 && w >= 0: // the operator has taken over: what the row does is what was asked
			want = w
		case want < 0 && e.override[i] == 0 && e.enabled[i] == 0:
			want = 1 // the operator gave it back
		}
		if want >= 0 && e.enabled[i] != want {
			e.enabled[i] = want
			reading(evenstand.RowEnabled, evenstand.RowElement(i+1), float64(want), e.shiftIn[g])
		}
	}
	if e.boom < 0 {
		return
	}
	if !e.rowStates && e.changed(len(e.working), e.boom) {
		reading(evenstand.RowWorking, evenstand.Element{}, float64(e.boom), e.shift[g])
	}
	// A boom at work is in the ground, and so is one with a row at work. A boom
	// that is off puts nothing down: it is lifted, or section control holds all of
	// it, and then there is nothing to place either. Leaving the second case out
	// would hide the lifts behind it, for section control switches off first.
	lifted := int8(1)
	if e.boom == 1 || on {
		lifted = 0
	}
	if lifted != e.lifted {
		e.lifted = lifted
		reading(evenstand.ImplementLifted, evenstand.Element{}, float64(lifted), e.shift[g])
	}
}

// changed notes the working state of row index i and tells whether it is new.
func (e *Feed) changed(i int, v int8) bool {
	if e.workGiven[i] == v {
		return false
	}
	e.workGiven[i] = v
	return true
}

func (e *Feed) boomGroup() int {
	for el := e.layout.Boom; el != nil; el = el.Parent {
		if g, ok := e.groups[el]; ok {
			return g
		}
	}
	return 0
}

// repeat gives again what is still valid, so that the stages behind have a
// row a second.
func (e *Feed) repeat(now evenstand.Micros) {
	for i := range e.slots {
		s := &e.slots[i]
		p := s.plan
		if at := e.alive[p.device]; at == evenstand.NoTime || now-at > silence || p.over != 0 && now-p.over > silence {
			if p.kind == asFlow { // what flowed while the device was silent is not known
				s.since = now
			}
			continue
		}
		switch p.kind {
		case asTotal:
			if s.known && now-s.last > e.patient {
				e.give(p, now, s.sum)
				s.sum, s.last = 0, now
			}
		case asFlow:
			s.advance(now)
			if s.known && now-s.last > e.patient {
				e.give(p, now, s.sum)
				s.sum, s.last = 0, now
			}
		default:
			if s.known && now-s.last > e.patient {
				e.give(p, now, s.value)
				s.last = now
			}
		}
	}
}

// Flush hands over all that is left.
func (e *Feed) Flush() error {
	if e.open != evenstand.NoTime {
		e.states()
	}
	return e.flush(true)
}

// flush hands over readings in time order. Latencies shift readings against
// each other, so those that a later record could still come before are kept.
func (e *Feed) flush(all bool) error {
	if e.mixed {
		slices.SortStableFunc(e.pending, func(a, b evenstand.Reading) int { return cmp.Compare(a.T, b.T) })
		e.mixed = false
	}
	n := len(e.pending)
	if !all {
		now := e.now
		if e.open != evenstand.NoTime {
			now = e.open
		}
		safe := now
		for _, d := range e.shift {
			safe = min(safe, now+d)
		}
		for _, d := range e.shiftIn {
			safe = min(safe, now+d)
		}
		n, _ = slices.BinarySearchFunc(e.pending, safe, func(r evenstand.Reading, t evenstand.Micros) int { return cmp.Compare(r.T, t) })
	}
	if n == 0 {
		return nil
	}
	err := e.sink.Readings(e.pending[:n])
	e.pending = append(e.pending[:0], e.pending[n:]...)
	return err
}

// Grade says how fine the readings so far are.
func (e *Feed) Grade() evenstand.Grade {
	switch {
	case e.rowGrade:
		return evenstand.GradeB
	case e.anyGrade:
		return evenstand.GradeC
	}
	return evenstand.GradeD
}

// Report hands over what of a file's values was not used.
func (e *Feed) Report(file string, sink evenstand.Sink) {
	put := func(n int64, why, do string) {
		if n > 0 {
			sink.Unused(evenstand.Unused{File: file, Offset: -1, Count: n, Of: "records", Why: why, Do: do})
		}
	}
	put(e.missing, "values marked as missing", "")
	quantities := make([]evenstand.Quantity, 0, len(e.wild))
	for q := range e.wild {
		quantities = append(quantities, q)
	}
	slices.Sort(quantities)
	for _, q := range quantities {
		put(e.wild[q], fmt.Sprintf("values of %s outside the range that can be", q.Info().Label), "Look at the sensor or the calibration of the box.")
	}
}

// Notes are the sentences about what the readings are.
func (e *Feed) Notes() []string {
	var out []string
	if len(e.rawCodes) > 0 {
		codes := make([]int, 0, len(e.rawCodes))
		total := int64(0)
		for c, n := range e.rawCodes {
			codes = append(codes, int(c))
			total += n
		}
		slices.Sort(codes)
		words := make([]string, len(codes))
		for i, c := range codes {
			words[i] = itoa(c)
		}
		out = append(out, fmt.Sprintf("%d values have numbers whose meaning no public dictionary tells (%s); they are kept as they came.", total, strings.Join(words, ", ")))
	}
	if e.spacings {
		out = append(out, "Seed rates are worked out from the logged seed spacing and the row spacing.")
	}
	if e.gauge {
		out = append(out, "The device calls its down force (427) the load on the gauge wheels, so it is read as that.")
	}
	if e.twice > 0 {
		out = append(out, fmt.Sprintf("%d columns say the same of the same part as others, from a wider part of the machine; the nearer ones are used.", e.twice))
	}
	if len(e.unknown) > 0 {
		ids := make([]string, 0, len(e.unknown))
		for id := range e.unknown {
			ids = append(ids, id)
		}
		slices.Sort(ids)
		if len(ids) > 5 {
			ids = append(ids[:5], "…")
		}
		out = append(out, fmt.Sprintf("No device describes %s; what they logged is kept for the whole machine.", strings.Join(ids, ", ")))
	}
	return out
}

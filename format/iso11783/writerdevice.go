package iso11783

import (
	"fmt"
	"math"
)

// planterDevice is the description that a Writer puts into TASKDATA.XML and
// the columns that follow from it.
type planterDevice struct {
	rows                 int
	devices              []*node
	connection           *node
	seedBoom, liquidBoom string
	columns              []Column
	constants            []Value32 // of the first record
	at                   struct {
		workState, working, enabled, boomTarget       int
		speed, heading, hitchAngle, liquid, tanks     int
		rate, target, count, flow                     int
		skips, doubles, singulation, force, latencies int
	}
}

// pool builds one device description: elements and the objects they list.
type pool struct {
	dvc     *node
	object  int
	element int // next element number
	tail    []*node
	data    map[DDI]int // object of each process data, shared by elements
}

func newPool(id, name, client, label string) *pool {
	return &pool{
		dvc: el("DVC", "A", id, "B", designator(name), "C", "1", "D", client, "E", "1", "F", label, "G", "FF000000006E65"),
		// the last two bytes of the localisation label are the language, "en" backwards
		data: map[DDI]int{},
	}
}

func (p *pool) next() int { p.object++; return p.object }

// child adds a device element; its object id is found again as attribute B.
func (p *pool) child(id string, kind int, name string, parent *node) *node {
	up := 0
	if parent != nil {
		up = parent.integer("B", 0)
	}
	n := el("DET", "A", id, "B", itoa(p.next()), "C", itoa(kind), "D", designator(name), "E", itoa(p.element), "F", itoa(up))
	p.element++
	p.dvc.add(n)
	return n
}

// property gives an element a constant in millimetres or as it is.
func (p *pool) property(n *node, d DDI, value int) {
	id := p.next()
	p.tail = append(p.tail, el("DPT", "A", itoa(id), "B", d.hex(), "C", itoa(value), "D", shortName(d)))
	n.add(el("DOR", "A", itoa(id)))
}

// process gives an element a value that comes in the log.
func (p *pool) process(n *node, d DDI, name string) {
	id, ok := p.data[d]
	if !ok {
		id = p.next()
		p.data[d] = id
		if name == "" {
			name = shortName(d)
		}
		// member of the default set; triggers: time interval and on change
		p.tail = append(p.tail, el("DPD", "A", itoa(id), "B", d.hex(), "C", "1", "D", "9", "E", designator(name)))
	}
	n.add(el("DOR", "A", itoa(id)))
}

func shortName(d DDI) string {
	e, _ := Dictionary(d)
	return designator(e.Name)
}

func (p *pool) finish() *node {
	// the schema wants DET, then DPT, DPD
	for _, kind := range []string{"DPT", "DPD"} {
		for _, t := range p.tail {
			if t.Name == kind {
				p.dvc.add(t)
			}
		}
	}
	return p.dvc
}

// mm rounds metres to millimetres.
func mm(v float64) int { return int(math.Round(v * 1000)) }

func known(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// describe lays out a tractor with antenna and hitch and a planter with a seed
// boom, a section and a unit a row, tanks and a liquid boom.
func describe(o *WriterOptions) *planterDevice {
	d := &planterDevice{rows: o.Card.Rows}
	a := &d.at
	for _, p := range []*int{
		&a.workState, &a.working, &a.enabled, &a.boomTarget, &a.speed, &a.heading, &a.hitchAngle, &a.liquid, &a.tanks,
		&a.rate, &a.target, &a.count, &a.flow, &a.skips, &a.doubles, &a.singulation, &a.force, &a.latencies,
	} {
		*p = -1
	}
	card := &o.Card
	g := &card.Geometry
	det := 0
	id := func() string { det++; return fmt.Sprintf("DET%d", det) }
	has := func(l LogSet) bool { return o.Log&l != 0 }
	col := func(c DDI, element *node) int {
		d.columns = append(d.columns, Column{DDI: c, Element: element.text("A"), PGN: -1})
		return len(d.columns) - 1
	}
	var planter, tractor *pool
	place := func(p *pool, n *node, c DDI, v float64) {
		if !known(v) {
			return
		}
		if o.OffsetsInLog && p == planter {
			p.process(n, c, "")
			d.constants = append(d.constants, Value32{col(c, n), int32(mm(v))})
			return
		}
		p.property(n, c, mm(v))
	}

	// names of control functions: industry group 2 (agriculture), device classes
	// 1 (tractor) and 4 (planters), from the NAME layout of ISO 11783-5
	tractor = newPool("DVC1", "Tractor", "A00284000000A001", "54524143303031")
	body := tractor.child(id(), 1, "Tractor", nil)
	var rear *node
	if known(g.AntennaToHitch) {
		nav := tractor.child(id(), 7, "Antenna", body)
		place(tractor, nav, ddiOffsetX, g.AntennaToHitch)
		place(tractor, nav, ddiOffsetY, g.AntennaRight)
	}
	rear = tractor.child(id(), 6, "Rear connector", body)
	place(tractor, rear, ddiOffsetX, 0)
	place(tractor, rear, ddiOffsetY, 0)
	if has(LogSpeed) {
		tractor.process(body, ddiSpeed, "")
		a.speed = col(ddiSpeed, body)
	}
	if has(LogHeading) {
		tractor.process(body, ddiYaw, "")
		a.heading = col(ddiYaw, body)
	}
	if has(LogHitchAngle) {
		tractor.process(rear, ddiHitchAngle, "")
		a.hitchAngle = col(ddiHitchAngle, rear)
	}

	name := card.Name
	if name == "" {
		name = "Planter"
	}
	planter = newPool("DVC2", name, "A00884000000A002", "504C414E543031")
	root := planter.child(id(), 1, name, nil)
	hitch := planter.child(id(), 6, "Connector", root)
	place(planter, hitch, ddiOffsetX, g.HitchToRowLine)
	place(planter, hitch, ddiOffsetY, 0)
	switch g.Hitch {
	case "mounted":
		planter.property(hitch, ddiConnectorType, 2)
	case "trailed":
		planter.property(hitch, ddiConnectorType, 1)
	}
	boom := planter.child(id(), 2, "Seed boom", root)
	d.seedBoom = boom.text("A")
	place(planter, boom, ddiOffsetX, 0)
	if known(card.RowSpacing) {
		place(planter, boom, ddiWorkingWidth, card.RowSpacing*float64(card.Rows))
	}
	planter.property(boom, ddiPractice, 2) // sowing and planting
	if known(o.Latency) && o.Latency != 0 {
		planter.process(boom, ddiLatency, "")
		d.constants = append(d.constants, Value32{col(ddiLatency, boom), int32(-mm(o.Latency))})
	}
	if has(LogWorkState) {
		planter.process(boom, ddiWorkState, "")
		a.workState = col(ddiWorkState, boom)
	}
	if has(LogBoomTarget) {
		planter.process(boom, ddiCountPerAreaSet, "")
		a.boomTarget = col(ddiCountPerAreaSet, boom)
	}
	pack := func(first DDI) int {
		at := -1
		for k := 0; k*16 < card.Rows; k++ {
			planter.process(boom, first+DDI(k), "")
			if c := col(first+DDI(k), boom); at < 0 {
				at = c
			}
		}
		return at
	}
	if has(LogWorking) {
		a.working = pack(ddiCondensed)
	}
	if has(LogEnabled) {
		a.enabled = pack(ddiCondensedSet)
	}
	// sub-booms for the card's sections, one section and one unit a row
	sub := map[int]*node{}
	for _, s := range card.Sections {
		n := planter.child(id(), 2, fmt.Sprintf("Seed sub-boom %d", s.Number), boom)
		for _, r := range s.Rows {
			sub[r] = n
		}
	}
	sections := make([]*node, card.Rows)
	for r := range sections {
		up := boom
		if s := sub[r+1]; s != nil {
			up = s
		}
		sections[r] = planter.child(id(), 4, fmt.Sprintf("Seed section %d", r+1), up)
		place(planter, sections[r], ddiOffsetY, card.Y(r+1))
	}
	units := make([]*node, card.Rows)
	for r := range units {
		units[r] = planter.child(id(), 5, fmt.Sprintf("Seed unit %d", r+1), sections[r])
		place(planter, units[r], ddiOffsetY, card.Y(r+1))
		place(planter, units[r], ddiWorkingWidth, card.RowSpacing)
	}
	byRow := func(l LogSet, c DDI, name string) int {
		if !has(l) {
			return -1
		}
		at := len(d.columns)
		for _, u := range units {
			planter.process(u, c, name)
			col(c, u)
		}
		return at
	}
	a.rate = byRow(LogSeedRate, ddiCountPerArea, "")
	a.target = byRow(LogSeedRateTarget, ddiCountPerAreaSet, "")
	a.count = byRow(LogSeedCount, ddiTotalCount, "")
	a.flow = byRow(LogSeedFlow, ddiCountPerTime, "")
	a.skips = byRow(LogSkips, ddiSkips, "")
	a.doubles = byRow(LogDoubles, ddiMultiples, "")
	a.singulation = byRow(LogSingulation, ddiSingulation, "")
	a.force = byRow(LogForce, ddiForce, "Gauge wheel load")

	if has(LogTanks) {
		a.tanks = len(d.columns)
		for _, t := range card.Tanks {
			bin := planter.child(id(), 3, fmt.Sprintf("Tank %d", t.Number), root)
			if known(t.Capacity) {
				if v, ok := rawOf(t.Capacity, 1e-6); ok {
					planter.property(bin, ddiMaxVolumeContent, int(v))
				}
			}
			planter.process(bin, ddiVolumeContent, "")
			col(ddiVolumeContent, bin)
		}
	}
	if has(LogLiquidRate) {
		liquid := planter.child(id(), 2, "Liquid boom", root)
		d.liquidBoom = liquid.text("A")
		place(planter, liquid, ddiOffsetX, 0)
		planter.property(liquid, ddiPractice, 1) // fertilizing
		planter.process(liquid, ddiVolumePerArea, "")
		a.liquid = col(ddiVolumePerArea, liquid)
	}
	d.devices = []*node{tractor.finish(), planter.finish()}
	d.connection = el("CNN", "A", "DVC1", "B", rear.text("A"), "C", "DVC2", "D", hitch.text("A"))
	return d
}

package bus

import (
	"maps"
	"slices"

	"evenstand"
	"evenstand/format/iso11783"
)

// era is a part of the capture in which all devices describe themselves the
// same way.
type era struct {
	columns []iso11783.Column
	index   map[iso11783.ColumnKey]int
	told    iso11783.Told
	pools   map[uint64]*pool
	set     *iso11783.Set
	layout  *iso11783.Layout
	values  int64
	speed   int // column of the chosen speed, -1 none
	heading int
}

// part is an epoch of which every value has its column.
type part struct {
	frame   int64
	era     *era
	targets map[valueKey]int
}

// resolved is a capture as it is to be read.
type resolved struct {
	parts    []part
	eras     []*era
	nameless int64 // values that no description names
	from     map[node]int64
	orders   int64 // values that the controller sent and that are no setpoints
	speeds   int64 // ground speeds as process data, where the tractor says it itself
}

// lend gives descriptions of another capture to devices that do not describe
// themselves in this one.
func (s *survey) lend(from *survey) {
	for n, name := range from.initial {
		have, named := s.initial[n]
		p := from.earliest[name]
		if p == nil || named && have != name && have>>16 != unnamed(0)>>16 {
			continue
		}
		if !named {
			s.initial[n], have = name, name
		}
		if s.earliest[have] == nil {
			s.earliest[have] = p
		}
	}
}

// resolve gives every value its column.
func (s *survey) resolve(c *choice) *resolved {
	r := &resolved{from: map[node]int64{}}
	gives := counter{}
	for _, e := range s.epochs {
		for k, v := range e.seen {
			gives[k.from()] += v.n
		}
	}
	names, pools := maps.Clone(s.initial), maps.Clone(s.earliest)
	var now *era
	for i := range s.epochs {
		e := &s.epochs[i]
		for _, ch := range e.changes {
			if ch.pool == nil {
				names[ch.node] = ch.name
			} else {
				pools[ch.name] = ch.pool
				now = nil
			}
		}
		if now == nil {
			now = newEra(pools)
			r.eras = append(r.eras, now)
		}
		r.parts = append(r.parts, part{e.frame, now, map[valueKey]int{}})
		s.columns(&r.parts[i], e, r, names, gives, c)
	}
	for _, e := range r.eras {
		e.finish(c)
	}
	return r
}

func newEra(pools map[uint64]*pool) *era {
	return &era{index: map[iso11783.ColumnKey]int{}, told: iso11783.Told{}, pools: maps.Clone(pools), speed: -1, heading: -1}
}

// column gives the index of a column, a new one when it is new.
func (e *era) column(c iso11783.Column) int {
	k, ok := e.index[c.Key()]
	if !ok {
		k = len(e.columns)
		e.index[c.Key()] = k
		e.columns = append(e.columns, c)
	}
	return k
}

// finish builds devices and layout.
func (e *era) finish(c *choice) {
	e.set = iso11783.NewSet()
	for _, name := range slices.Sorted(maps.Keys(e.pools)) {
		e.set.Add(e.pools[name].description(name))
	}
	e.layout = e.set.NewLayout(&iso11783.Task{}, e.columns, e.told.Value)
	group := func(pgn uint32, start, end int) int {
		return e.column(iso11783.Column{DDI: iso11783.ParameterGroup, PGN: int(pgn), Start: start, End: end})
	}
	if c.speedGroup != 0 {
		e.speed = group(c.speedGroup, 0, 15)
	}
	if c.hasHeading {
		e.heading = group(pgnHeading, 8, 23)
	}
}

// columns gives the values of one epoch their columns.
func (s *survey) columns(p *part, e *epoch, r *resolved, names map[node]uint64, gives counter, c *choice) {
	type lone struct {
		key  valueKey
		many bool
	}
	loners := map[iso11783.DDI]*lone{} // values of devices without a description
	alone := func(d iso11783.DDI, k valueKey) {
		if l := loners[d]; l == nil {
			loners[d] = &lone{k, false}
		} else {
			l.many = l.many || l.key.element() != k.element()
		}
	}
	type open struct {
		key valueKey
		ddi iso11783.DDI
	}
	var opens []open
	for _, k := range slices.SortedFunc(maps.Keys(e.seen), func(a, b valueKey) int { return a.less(b) }) {
		v := e.seen[k]
		ddi, of := k.ddi(), k.from()
		if s.controls(of, gives) {
			set, ok := ddi.Setpoint()
			if !ok || k.broadcast() {
				r.orders += v.n
				continue
			}
			ddi, of = set, k.to()
		} else if ddi == ddiSpeed && c.speedGroup != 0 {
			r.speeds += v.n
			continue
		}
		name, named := names[of]
		if !named {
			name = unnamed(of)
		}
		pool := p.era.pools[name]
		if pool == nil {
			alone(ddi, k)
			opens = append(opens, open{k, ddi})
			continue
		}
		col := iso11783.Column{DDI: ddi, Element: elementID(name, k.element()), PGN: -1}
		p.era.values += v.n
		p.targets[k] = p.era.column(col)
		if col.Told() {
			for _, x := range []int32{v.first, v.max, v.last} {
				p.era.told.Take(col, x)
			}
		}
	}
	for _, o := range opens {
		if loners[o.ddi].many {
			r.nameless += e.seen[o.key].n
			r.from[o.key.from()] += e.seen[o.key].n
			continue
		}
		// one element alone: it can only be the machine's
		p.era.values += e.seen[o.key].n
		p.targets[o.key] = p.era.column(iso11783.Column{DDI: o.ddi, PGN: -1})
	}
}

const ddiSpeed = 397

// choice is which of several senders is listened to.
type choice struct {
	receiver   *receiver // nil: no places
	others     []node    // other receivers
	rapid      bool      // places come from 129025
	delay      evenstand.Micros
	course     node
	hasCourse  bool
	speedGroup uint32 // 0 none
	speed      node
	speeds     int // senders of that group
	heading    node
	hasHeading bool
	beats      []beat
	gnss       bool // they are a receiver's
}

// choose picks receiver, speed, heading and time.
func (s *survey) choose() *choice {
	c := &choice{}
	for _, n := range slices.Sorted(maps.Keys(s.receivers)) {
		r := s.receivers[n]
		if r.places == 0 {
			continue
		}
		switch {
		case c.receiver == nil:
			c.receiver = r
		case r.score() > c.receiver.score():
			c.others = append(c.others, c.receiver.node)
			c.receiver = r
		default:
			c.others = append(c.others, n)
		}
	}
	if r := c.receiver; r != nil {
		c.rapid = r.places-r.fixed > r.fixed
		c.delay = receiverDelay
		if len(r.late) >= steadyBeats {
			c.delay = min(max(receiverDelay+median(r.late), 0), evenstand.Second)
		}
		c.course, c.hasCourse = r.node, s.courses[r.node] > 0
		if !c.hasCourse {
			n, most := s.courses.best()
			c.course, c.hasCourse = n, most > 0
		}
	}
	most := int64(0)
	for _, g := range s.speeds {
		_, n := g.best()
		most = max(most, n)
	}
	// the machine's own choice, then over ground, then of the wheels; one that is
	// hardly there is passed over
	for _, g := range []uint32{pgnMachine, pgnGround, pgnWheel} {
		if n, k := s.speeds[g].best(); k > 0 && k*10 >= most {
			c.speedGroup, c.speed, c.speeds = g, n, len(s.speeds[g])
			break
		}
	}
	if n, k := s.headings.best(); k > 0 {
		c.heading, c.hasHeading = n, true
	}
	c.beats, c.gnss = s.time(c.receiver)
	return c
}

// time picks the time messages: of the receiver whose places are used, else of
// another, else the system time, else the tractor's.
func (s *survey) time(r *receiver) (bs []beat, gnss bool) {
	if r != nil && len(r.beats.all) > 0 {
		return r.beats.all, true
	}
	var best *beats
	for _, n := range slices.Sorted(maps.Keys(s.receivers)) {
		if b := &s.receivers[n].beats; len(b.all) > 0 && (best == nil || b.n > best.n) {
			best = b
		}
	}
	if best != nil {
		return best.all, true
	}
	for i, of := range []map[node]*beats{s.system, s.dates} {
		for _, n := range slices.Sorted(maps.Keys(of)) {
			if b := of[n]; best == nil || b.n > best.n {
				best = b
			}
		}
		if best != nil {
			return best.all, i == 0
		}
	}
	return nil, false
}

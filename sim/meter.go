package sim

import (
	"math"
	"math/rand/v2"

	"evenstand"
)

// row is one row unit: its disc, its tube, its sensor, and what they did on
// the present leg.
type row struct {
	n       int     // from 1
	y       float64 // right of the bar's centre, m
	side    int
	skip    float64 // its own part of the logits
	double  float64
	drill   []float64 // drilling error of each cell, places
	fitted  int       // cells when drill was made
	cell    int       // that comes next
	phase   float64   // of the next place; it drops when phase reaches its drilling error
	stretch wander
	drive   wander
	board   *board

	seen    []uint64 // pulses in time order: µs of the day, bits of chance, flags
	seeds   []uint64 // before dust and merging
	off     []interval
	counts  []counts // by stretch
	truth   []SeedTruth
	due     float64 // places on this leg
	dropped float64
	placeNo int
}

// interval is a time in which the row was switched off, s of the day.
type interval struct{ from, to float64 }

type counts struct {
	places, skips, doubles, seen, unseen, doubleSeen, dust int32
}

// Layout of a pulse: µs of the day << 16 | 8 bits of chance << 8 | flags.
const (
	pulseShift = 16
	flagSecond = 1 // the second seed of a double
	flagDust   = 2
	doubleMean = 0.15 // places behind the first, mean (methods e)
	doubleMost = 0.6
	vacuumTau  = 30.0
	vacuumSD   = 0.08
	stretchTau = 20.0
	driveTau   = 5.0
	minuteTau  = 60.0
	hourTau    = 3600.0
	fanRise    = 4.0 // s before lowering at which a stopped fan starts again
)

func (s *Scenario) newRows(b *board) []*row {
	card := s.card()
	right := card.Side("right")
	rows := make([]*row, s.Planter.Rows)
	for i := range rows {
		r := &row{n: i + 1, y: card.Y(i + 1), board: b}
		g := stream(s.Seed, "disc", r.n, 0)
		r.skip, r.double = normal(g)*s.Meter.RowSD, normal(g)*s.Meter.RowSD
		if s.SeasonSeed != 0 {
			same := stream(s.SeasonSeed, "disc", r.n, 0)
			r.skip, r.double = normal(same)*s.Meter.RowSD, normal(same)*s.Meter.RowSD
		}
		r.stretch = newWander(stretchTau, slowTick, normal(g))
		r.drive = newWander(driveTau, slowTick, normal(g))
		r.cell = int(uniform(g) * float64(s.Planter.Cells))
		r.phase = uniform(g) - 1
		if right.Has(r.n) {
			r.side = 1
		}
		r.fit(s, s.Planter.Cells)
		rows[i] = r
	}
	return rows
}

// fit puts a disc of so many cells on the row.
func (r *row) fit(s *Scenario, cells int) {
	if r.fitted == cells {
		return
	}
	g := stream(s.Seed, "drilling", r.n, cells)
	r.drill = make([]float64, cells)
	for i := range r.drill {
		r.drill[i] = normal(g) * s.Meter.CellSD
	}
	r.fitted = cells
	r.cell %= cells
}

// air is what all rows share on a leg, by slow tick.
type air struct {
	common []float64    // logit of skips that all rows share, the rate's part included
	kpa    [2][]float64 // vacuum of each side, without faults
	lost   [2][]float64 // taken off by faults
	off    [2][]bool    // the fan stands
}

// plant runs one row over one leg: its disc from lowering to lifting, its
// sensor all the time.
func (r *row) plant(s *Scenario, lg *leg, a *air, faults []*fault) {
	r.seeds, r.seen, r.off, r.truth = r.seeds[:0], r.seen[:0], r.off[:0], r.truth[:0]
	r.due, r.dropped = 0, 0
	var mine []*fault
	for _, f := range faults {
		if f.w1 > f.w0 && f.has[r.n] {
			mine = append(mine, f)
		}
	}
	if lg.works() {
		r.turn(s, lg, a, mine)
	} else {
		r.counts = r.counts[:0]
	}
	r.sense(s, lg, mine)
}

// bounds gives the ticks between which the row is over ground of its own.
func (r *row) bounds(lg *leg) (from, to int) {
	from, to = lg.down, lg.up
	l := lg.line
	g := &lg.field.plan.Ground
	late, early := g.LateM, g.EarlyM
	if l.headland {
		late, early = 0, 0
	}
	if l.start == nil && late == 0 && early == 0 && (g.LateS == 0 || l.headland) {
		return from, to
	}
	at := func(i int) float64 {
		h := heading(lg.psi[i])
		s, _ := l.along(xy{lg.bx[i] + r.y*h.y, lg.by[i] - r.y*h.x})
		return s
	}
	start, stop := 0.0, l.length
	if l.start != nil {
		start, stop = l.start[r.n-1], l.stop[r.n-1]
	}
	for from < lg.up && at(from) < start+late && (late > 0 || l.start != nil) {
		from++
	}
	if !l.headland {
		from = min(lg.up, from+int(math.Round(g.LateS/tick)))
	}
	for to > from && at(to-1) > stop-early && (early > 0 || l.start != nil) {
		to--
	}
	return from, to
}

func (r *row) turn(s *Scenario, lg *leg, a *air, mine []*fault) {
	m, tube := &s.Meter, &s.Tube
	perMetre := 1 / s.spacing()
	slowly := stream(s.Seed, "stretch", r.n, lg.pass)
	place := stream(s.Seed, "place", r.n, lg.pass)
	var chance []*rand.PCG // one generator a fault
	for _, f := range mine {
		chance = append(chance, stream(s.Seed, "fault "+f.ID, r.n, lg.pass))
	}
	baseSkip, baseDouble := logit(m.Skips/100)+r.skip, logit(m.Doubles/100)+r.double
	comp := 0.0
	from, to := r.bounds(lg)
	length := lg.way[lg.up-1] - lg.way[lg.down]
	n := int(length/evenstand.StretchLength) + 1
	if cap(r.counts) < n {
		r.counts = make([]counts, n)
	}
	r.counts = r.counts[:n]
	clear(r.counts)
	if from > lg.down && from < to {
		r.off = append(r.off, interval{lg.seconds(lg.down), lg.seconds(from)})
	}

	var (
		e                          effect
		pSkip, pSkip0, pDbl, pDbl0 uint32
		missBits                   = uint16(min(s.Sensor.Miss/100, 1) * 65535)
		jumpBits                   uint16
		bounce, late, vRow         float64
		perTick                    float64
		offSince                   = -1.0
		drill                      = r.drill
		phase                      = r.phase
		fallUS                     = tube.FallMS * 1000
		fallSD, noiseSD            = tube.FallSD * 1000, s.Sensor.NoiseMS * 1000
		fallAll                    = tube.FallMS/1000 + s.Planter.SeedFall
		each                       = s.Output.TruthEach
	)
	// The disc moves in strides of two ticks, evenly within each.
	for i := from &^ 1; i < to; i += stride {
		if i == from&^1 || i%slow == 0 {
			// What changes slowly.
			j := i / slow
			w := slowly.Uint64()
			st := r.stretch.step(quantile32(uint32(w >> 32)))
			dr := r.drive.step(quantile32(uint32(w)))
			t := lg.seconds(i)
			e = effect{rate: 1, bounce: 1, late: 1, miss: s.Sensor.Miss / 100, cells: e.cells[:0]}
			for _, f := range mine {
				if t >= f.w0-1e-9 && t < f.w1-1e-9 {
					f.apply(&e, m, t)
				}
			}
			if r.board != nil {
				r.board.seeds(&e, r.n, t)
			}
			fitted := s.Planter.Cells
			if e.cellsFitted > 0 {
				fitted = e.cellsFitted
			}
			if fitted != r.fitted {
				r.fit(s, fitted)
				drill = r.drill
			}
			vRow = max(lg.v[i]+lg.w[i]*r.y, 0.5)
			dv := a.kpa[r.side][j] - m.VacuumKPa
			times, shaken := s.rougher(&e, lg, i)
			x := baseSkip - m.VacuumTerm*dv + m.StretchSD*st + a.common[j] + shaken
			xd := baseDouble + m.VacuumDbl*dv
			pSkip0, pDbl0 = threshold(x), threshold(xd)
			pSkip, pDbl = pSkip0, pDbl0
			if e.skip != 0 {
				pSkip = threshold(x + e.skip)
			}
			if e.double != 0 {
				pDbl = threshold(xd + e.double)
			}
			if r.board != nil && lg.v[i] > s.Drive.Speed/3 {
				r.board.metered(r.n, t, lg.v[i], x+e.skip, xd+e.double, e.bounce*times)
			}
			missBits = uint16(min(e.miss, 1) * 65535)
			jumpBits = uint16(min(tube.Jumps*(vRow/2.2)*(vRow/2.2), 0.5) * 65535)
			comp = s.compensation(&e, r.y)
			e.bounce *= times * s.faster(&e, lg.v[i])
			bounce, late = s.bounce(&e, vRow)
			perTick = tick * perMetre * e.rate * (1 + m.DriveSD*dr)
			off := e.still != nil && e.still.Kind == evenstand.KindRowLeftOff
			if off && offSince < 0 {
				offSince = t
			} else if !off && offSince >= 0 {
				r.off = append(r.off, interval{offSince, t})
				offSince = -1
			}
		}
		inc := (lg.sv[i/stride] + lg.sw[i/stride]*comp) * perTick
		if inc <= 0 {
			continue
		}
		before := phase
		phase += inc
		for phase >= drill[r.cell]+e.wave(r.cell, len(drill)) {
			// A place comes to the drop point.
			w1, w2, w3 := place.Uint64(), place.Uint64(), place.Uint64()
			frac := (drill[r.cell] + e.wave(r.cell, len(drill)) - before) / inc
			cell := r.cell
			phase--
			before--
			if e.still == nil {
				if r.cell++; r.cell == len(drill) {
					r.cell = 0
				}
			}
			r.due++
			r.placeNo++
			us := (float64(lg.first+int64(i)) + frac*stride) * (tick * 1e6)
			k := min(int(max(lg.way[i]-lg.way[lg.down]+lg.v[i]*fallAll, 0)*(1/evenstand.StretchLength)), n-1)
			c := &r.counts[k]
			c.places++

			u, ud := uint32(w1>>32), uint32(w1)
			skip0 := u < pSkip0
			skip := u < pSkip
			double0 := !skip0 && ud < pDbl0
			var by *fault
			if skip && !skip0 {
				by = e.by
			}
			if len(mine) > 0 {
				skip, by = r.harm(&e, mine, chance, skip, by, cell)
			}
			double := !skip && ud < pDbl
			if len(mine) > 0 {
				if skip && !skip0 && by != nil {
					by.rowTally[r.n].lost++
				}
				if double && !double0 && e.byDouble != nil {
					e.byDouble.rowTally[r.n].extra++
				}
				for _, f := range mine {
					f.note(r.n, us*1e-6, skip0, skip, double0, double)
				}
			}
			if skip {
				c.skips++
				c.unseen++
				continue
			}
			r.dropped++
			// The way down, in µs.
			d := bounce * quantile32(uint32(w2))
			if uint16(w3>>48) < jumpBits {
				d += laplace(mix(w2)) * tube.Jump
			}
			if late > 0 {
				d += delay(mix(w3), late)
			}
			at := us + fallUS + fallSD*quantile32(uint32(w2>>32)) + d/vRow*1e6
			seen := int32(0)
			blind := e.dead != nil || e.loose != nil && e.loose.starving[r.n]
			if uint16(w3>>32) >= missBits && !blind {
				logged := uint64(int64(at + noiseSD*quantile32(uint32(w3<<8))))
				r.seeds = append(r.seeds, logged<<pulseShift|(w3>>24&0xff)<<8)
				seen++
				if r.placeNo%each == 0 {
					r.lies(s, lg, at, logged, w3)
				}
			}
			if double {
				c.doubles++
				r.dropped++
				x1 := mix(w1)
				x2 := mix(x1)
				behind := min(-doubleMean*math.Log(unit(x1)), doubleMost) / inc * (stride * tick * 1e6)
				if uint16(x2) >= missBits && !blind {
					at2 := us + behind + fallUS + fallSD*quantile32(uint32(x2>>32)) + d/vRow*1e6
					r.seeds = append(r.seeds, uint64(int64(at2))<<pulseShift|(x2>>16&0xff)<<8|flagSecond)
					seen++
				}
			}
			c.seen += seen
			switch seen {
			case 0:
				c.unseen++
			case 2:
				c.doubleSeen++
			}
		}
	}
	if offSince >= 0 {
		r.off = append(r.off, interval{offSince, lg.seconds(to)})
	}
	if to < lg.up && from < to {
		r.off = append(r.off, interval{lg.seconds(to), lg.seconds(lg.up)})
	}
	r.phase = phase
}

// harm lets the faults that act on single places have their way: each draws
// from its own generator once a place, whatever the others did.
func (r *row) harm(e *effect, mine []*fault, chance []*rand.PCG, skip bool, by *fault, cell int) (bool, *fault) {
	take := func(f *fault) {
		if !skip {
			skip, by = true, f
		}
	}
	for i, f := range mine {
		u := uniform(chance[i])
		switch {
		case f == e.still || f == e.tube:
			take(f)
		case f == e.burstBy:
			if u < e.burst {
				take(f)
			}
		case f == e.loose:
			f.loosen(r.n, u)
		case f == e.starving:
			p := f.Strength
			if f.starving[r.n] {
				p = e.stay
			}
			f.starving[r.n] = u < p
			if u < p {
				take(f)
			}
		default:
			for _, c := range e.cells {
				if c.by == f && c.cell == cell && u < c.q {
					take(f)
				}
			}
		}
	}
	return skip, by
}

// note counts a place due on a row while the fault was at work: what it became
// with the faults of the day, and would have become without.
func (f *fault) note(row int, t float64, skip0, skip, double0, double bool) {
	if t < f.w0 || t >= f.w1 || f.Kind == evenstand.KindRecurringUpset && !f.again(t) {
		return
	}
	x := &f.rowTally[row]
	if x.places == 0 {
		x.first = t
	}
	x.last = max(x.last, t)
	x.places++
	add := func(v *float64, b bool) {
		if b {
			*v++
		}
	}
	add(&x.skips0, skip0)
	add(&x.skips, skip)
	add(&x.dbl0, double0)
	add(&x.doubles, double)
}

// laplace draws from the double-exponential distribution of scale 1.
func laplace(w uint64) float64 {
	x := -math.Log(unit(w | 1))
	if w&1<<12 != 0 {
		return -x
	}
	return x
}

// lies keeps the true place of a seed: it falls on from the sensor with the
// row, bounces, and lies still.
func (r *row) lies(s *Scenario, lg *leg, at float64, logged uint64, w uint64) {
	t := at*1e-6 + s.Planter.SeedFall
	_, bar, psi, _ := lg.pose(t)
	v := lg.v[lg.index(int(t/tick)-int(lg.first))]
	x := mix(w)
	// simulator.md section 4, point 5.
	roll := s.Tube.FurrowSD * (1 + 0.10*(v-2.0)/0.45) * quantile32(uint32(x))
	if unit(x) < s.Tube.FurrowJump*(v/2.2)*(v/2.2) {
		roll += laplace(mix(x)) * s.Tube.Jump
	}
	h := heading(psi)
	lat, lon := lg.field.place.degrees(bar.add(xy{h.y, -h.x}.mul(r.y)).add(h.mul(roll)))
	r.truth = append(r.truth, SeedTruth{Pass: lg.pass, Row: r.n, T: s.t0 + evenstand.Micros(logged), Lat: lat, Lon: lon})
}

// sense turns what fell, and dust, into the pulses that the row's sensor gave:
// in time order, close ones read as one.
func (r *row) sense(s *Scenario, lg *leg, mine []*fault) {
	// Bounces let few seeds overtake one another: sort by insertion.
	b := r.seeds
	for i := 1; i < len(b); i++ {
		x := b[i]
		j := i
		for ; j > 0 && b[j-1] > x; j-- {
			b[j] = b[j-1]
		}
		b[j] = x
	}
	// Dust comes at any time, standing or not.
	g := stream(s.Seed, "dust", r.n, int(lg.first))
	next := func(t float64) float64 { return t + -math.Log(uniform(g))/max(s.Sensor.Dust, 1e-9) }
	dustAt := next(lg.start())
	extra := newDust(s, lg, r.n, mine)
	pulse := func() (uint64, bool) { // the next dust pulse of either kind
		d := min(dustAt, extra.at)
		if d >= lg.end() {
			return 0, false
		}
		return uint64(d*1e6)<<pulseShift | flagDust, true
	}
	skipDust := func() {
		if extra.at < dustAt {
			extra.step()
		} else {
			dustAt = next(dustAt)
		}
	}
	merge := uint64(share32(s.Sensor.Merge/100) >> 24)
	near := uint64(s.Sensor.MergeMS * 1000)
	var prev uint64
	have := false
	// Stretches by time, to count what dust and merging did there.
	k := 0
	end := math.Inf(1)
	tick0 := lg.down
	advance := func(t float64) int {
		for t >= end && k < len(r.counts)-1 {
			k++
			end = math.Inf(1)
			for ; tick0 < lg.up; tick0++ {
				if lg.way[tick0]-lg.way[lg.down] >= float64(k+1)*evenstand.StretchLength {
					end = lg.seconds(tick0)
					break
				}
			}
		}
		return k
	}
	if len(r.counts) > 0 {
		k = -1
		end = math.Inf(-1)
		advance(0)
		if k < 0 {
			k = 0
		}
	}
	put := func(x uint64) {
		if have && x>>pulseShift-prev>>pulseShift < near && x>>8&0xff < merge {
			if len(r.counts) > 0 && x&flagDust == 0 {
				c := &r.counts[advance(float64(x>>pulseShift)*1e-6)]
				c.seen--
				if (x|prev)&flagSecond != 0 {
					c.doubleSeen--
				}
			}
			return
		}
		if x&flagDust != 0 && len(r.counts) > 0 {
			if t := float64(x>>pulseShift) * 1e-6; t >= lg.seconds(lg.down) && t < lg.seconds(lg.up) {
				r.counts[advance(t)].dust++
			}
		}
		r.seen = append(r.seen, x)
		prev, have = x, true
	}
	d, more := pulse()
	for _, x := range b {
		for more && d < x {
			put(d)
			skipDust()
			d, more = pulse()
		}
		put(x)
	}
	for more {
		put(d)
		skipDust()
		d, more = pulse()
	}
}

// dust is the extra dust of faults on one row over one leg.
type dust struct {
	g    *rand.PCG
	f    *fault
	at   float64
	stop float64
}

func newDust(s *Scenario, lg *leg, n int, mine []*fault) dust {
	for _, f := range mine {
		if f.dusty() {
			d := dust{g: stream(s.Seed, "dust "+f.ID, n, lg.pass), f: f, at: f.w0, stop: f.w1}
			d.step()
			return d
		}
	}
	return dust{at: math.Inf(1)}
}

func (d *dust) step() {
	if d.at += -math.Log(uniform(d.g)) / d.f.Strength; d.at >= d.stop {
		d.at = math.Inf(1)
	}
}

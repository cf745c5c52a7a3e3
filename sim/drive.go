package sim

import "math"

// The world moves in ticks of 20 ms; slower things (rates, vacuum, faults)
// change every ten ticks.
const (
	tick     = 0.02
	slow     = 10
	slowTick = tick * slow
	stride   = 2 // ticks in which discs move; divides slow
)

// leg is a piece of the day: either one way from pass to pass (turn, lead in,
// pass, run out), or a stand.
type leg struct {
	pass   int // of the day, from 1; 0 for a stand
	field  *field
	line   *line
	first  int64 // tick of the day at which it begins
	n      int   // ticks, a multiple of slow
	stand  bool  // the pose does not change; the arrays hold one element
	logged bool  // boxes are on

	ax, ay []float64 // antenna
	bx, by []float64 // bar's centre
	psi    []float64 // heading of the bar, counter-clockwise from east
	way    []float64 // of the bar's centre since the leg began, m
	v      []float64 // bar's centre, m/s along psi
	w      []float64 // bar's turning, rad/s, left positive
	va     []float64 // antenna's speed
	cv, cw []float64 // v and w as the row drives follow them
	sv, sw []float64 // the same, summed over strides
	down   int       // first tick with the planter lowered
	up     int       // first tick with it lifted again
}

func (l *leg) seconds(i int) float64 { return float64(l.first+int64(i)) * tick }
func (l *leg) start() float64        { return l.seconds(0) }
func (l *leg) end() float64          { return l.seconds(l.n) }
func (l *leg) works() bool           { return l.up > l.down }

// index gives the element of the arrays that holds tick i.
func (l *leg) index(i int) int {
	if l.stand {
		return 0
	}
	return min(max(i, 0), l.n-1)
}

// speed gives the antenna's speed at tick i. The arrays hold that of the tick
// which ends there: by itself it would be 10 ms old.
func (l *leg) speed(i int) float64 { return (l.va[l.index(i)] + l.va[l.index(i+1)]) / 2 }

// pose gives antenna and bar between ticks, at a time in seconds of the day.
func (l *leg) pose(t float64) (antenna, bar xy, psi, way float64) {
	f := t/tick - float64(l.first)
	i := int(math.Floor(f))
	f -= float64(i)
	a, b := l.index(i), l.index(i+1)
	mid := func(v []float64) float64 { return v[a] + f*(v[b]-v[a]) }
	return xy{mid(l.ax), mid(l.ay)}, xy{mid(l.bx), mid(l.by)}, mid(l.psi), mid(l.way)
}

// tractor carries its state from leg to leg.
type tractor struct {
	s      *Scenario
	board  *board
	steer  wander  // guidance error
	offset float64 // the error after the tractor's own inertia, m left of the line
	haste  wander  // speed
	v      float64
	at     xy      // where the plan has it
	dir    float64 // where the plan heads
	course float64 // where it really heads
	psi    float64 // of the bar
	pin    xy
	placed bool
}

func (s *Scenario) newTractor() *tractor {
	g := stream(s.Seed, "tractor", -1, 0)
	return &tractor{s: s, steer: newWander(8, tick, normal(g)), haste: newWander(12, slowTick, normal(g))}
}

// Inertia of the steering in seconds, and limits of comfort in m/s² and of
// the engine's answer in seconds (simulator.md section 3; the first judged).
const (
	steerTau = 1.0
	ease     = 0.6
	speedTau = 1.5
	leadIn   = 10.0 // m that the tractor runs straight before the bar is lowered
	dropTo   = 0.6  // m past the edge at which the bar is down, and before the far edge at which it is up
)

// stop is a stand of the planter with its units in the ground.
type stop struct {
	at      float64 // m along the pass
	seconds float64
}

// drivePass makes the leg from where the tractor stands to behind the pass.
func (tr *tractor) drivePass(pass int, f *field, l *line, first int64) *leg {
	s := tr.s
	p := &s.Planter
	back := p.AntennaToHitch + p.HitchToRowLine
	g := stream(s.Seed, "drive", -1, pass)
	lg := &leg{pass: pass, field: f, line: l, first: first, logged: true, down: -1, up: -1}

	// The plan: turn, lead in, pass, run out.
	enter := piece{from: l.from.sub(heading(l.dir).mul(leadIn)), dir: l.dir, length: leadIn}
	work := piece{from: l.from, dir: l.dir, curve: l.curve, length: l.length}
	endAt, endDir := work.at(l.length)
	leave := piece{from: endAt, dir: endDir, length: back + 2}
	if l.curve != 0 {
		// The bar follows inside the arc, so the tractor keeps to it to the end.
		leave = piece{from: endAt, dir: endDir, curve: l.curve, length: back + 2}
	}
	var path []piece
	if tr.placed {
		path = turn(tr.at, tr.dir, enter.from, enter.dir, s.Drive.TurnRadius)
	} else {
		tr.at, tr.dir, tr.course, tr.psi = enter.from, enter.dir, enter.dir, enter.dir
		tr.pin = tr.at.sub(heading(tr.course).mul(p.AntennaToHitch))
		tr.v, tr.placed = 0, true
	}
	path = append(path, enter, work, leave)

	downAt, upAt := dropTo, l.length-dropTo
	if s.Drive.EdgeSD > 0 || s.Drive.EdgeDay > 0 {
		day, e := stream(s.Seed, "edge", -1, 0), stream(s.Seed, "edge", -1, pass)
		downAt = max(0, downAt+s.Drive.EdgeDay*normal(day)+s.Drive.EdgeSD*normal(e))
		upAt += s.Drive.EdgeDay*normal(day) + s.Drive.EdgeSD*normal(e)
	}

	// Stops: at random places, and on some passes at the end.
	var halts []stop
	if per := s.Drive.HaltsPerHour; per > 0 {
		need := l.length / s.Drive.Speed / 3600 * per
		if u, at := uniform(g), between(g, 0.15, 0.85); u < need && l.length > 100 {
			halts = append(halts, stop{at * l.length, between(g, 15, 40)})
		}
	}
	if u, secs := uniform(g), between(g, 5, 25); u < s.Drive.StopShare {
		halts = append(halts, stop{upAt, secs})
	}
	atEnd := len(halts) > 0 && halts[len(halts)-1].at == upAt

	var (
		k        int     // piece
		sp       float64 // along it
		standing float64 // seconds still to stand
		waiting  = -1.0  // seconds until a stop at the end lifts the bar
		bar      = tr.pin.sub(heading(tr.psi).mul(p.HitchToRowLine))
		lastA    xy
		way      float64
		haste    = tr.haste.x
		slower   = s.slower()
		vset     float64
	)
	// Some passes are driven slower than others, and turned into slower.
	setSpeed, turnSpeed, passes := s.Drive.Speed, s.Drive.TurnSpeed, 1.0
	if sd := s.Drive.PassSD; sd > 0 {
		f := math.Exp(sd * normal(stream(s.Seed, "pass speed", -1, pass)))
		setSpeed, turnSpeed, passes = setSpeed*f, turnSpeed*f, f
	}
	starts := make([]xy, len(path))
	for i := range path {
		starts[i] = heading(path[i].dir)
	}
	lineDir := heading(l.dir)
	course := heading(tr.course) // the tractor's
	barDir := heading(tr.psi)
	shrink, shrinkFor := 1.0, 0.0
	planA, planDir := path[0].on(0, starts[0])
	lastA = planA.add(planDir.left().mul(tr.offset))
	if p.Hitch == "mounted" {
		bar = lastA.sub(course.mul(back))
	}
	lg.reserve(int((float64(len(path))*40 + l.length) / s.Drive.TurnSpeed / tick))
	for i := 0; ; i++ {
		if i%slow == 0 {
			if k >= len(path) {
				break
			}
			haste = tr.haste.step(normal(g))
			if b := tr.board; b != nil && b.used[leverSpeed] {
				setSpeed = b.at(leverSpeed, 1, float64(first+int64(i))*tick) * passes
			}
		}
		along, _ := l.alongOf(bar, lineDir)
		if l.curve != 0 && lg.down < 0 && along > l.length {
			along -= 2 * math.Pi / math.Abs(l.curve) // still on its way to the arc
		}
		// The bar goes down once on line, behind the turn.
		if lg.down < 0 && k >= len(path)-2 && along >= downAt {
			lg.down = i
		}
		if lg.down >= 0 && lg.up < 0 && (along >= upAt || k >= len(path)) {
			if !atEnd || waiting == 0 || k >= len(path) {
				lg.up = i
			}
		}
		// Speed.
		vset = turnSpeed
		hard := false
		if lg.down >= 0 && lg.up < 0 {
			vset = setSpeed * (1 + s.Drive.SpeedSD*haste)
			if slower != 0 && rough(bar) {
				vset *= 1 - slower
			}
			if rem := upAt - along; !atEnd {
				vset = min(vset, math.Sqrt(turnSpeed*turnSpeed+2*ease*max(rem, 0)))
			}
			if len(halts) > 0 {
				rem := halts[0].at - along
				if b := math.Sqrt(2 * s.Drive.Braking * max(rem, 0)); b < tr.v || rem <= 0.01 {
					vset, hard = b, true
				}
				if rem <= 0.01 && standing <= 0 {
					standing = halts[0].seconds
					if len(halts) == 1 && atEnd {
						waiting = 2 // stands, then lifts
					}
				}
			}
		}
		if standing > 0 {
			vset, hard = 0, true
			standing -= tick
			if waiting > 0 {
				waiting = max(0, waiting-tick)
			}
			if standing <= 0 && len(halts) > 0 {
				halts = halts[1:]
			}
		}
		if hard {
			tr.v = max(min(tr.v, vset), 0)
		} else {
			dv := (vset - tr.v) / speedTau
			tr.v = max(tr.v+min(max(dv, -ease*1.5), ease)*tick, 0)
		}
		// Steering: the error wanders with the way, not while standing.
		if tr.v > 0.05 {
			e := tr.steer.step(normal(g)) * s.Drive.GuidanceSD
			tr.offset += (e - tr.offset) * tick / steerTau
		}
		sp += tr.v * tick
		for k < len(path) && sp >= path[k].length {
			if k == len(path)-1 {
				k++ // past the end the last piece goes on
				break
			}
			sp -= path[k].length
			k++
		}
		j := min(k, len(path)-1)
		planA, planDir = path[j].on(sp, starts[j])
		a := planA.add(planDir.left().mul(tr.offset))
		if d := a.sub(lastA); d.norm() > 1e-4 {
			course = d.mul(1 / d.norm())
		}
		lastA = a
		pin := a.sub(course.mul(p.AntennaToHitch))
		was := barDir
		if p.Hitch == "mounted" {
			barDir = course
			pin = a.sub(course.mul(back))
		} else if d := pin.sub(tr.pin); d.norm() > 1e-9 {
			// Exact tractrix for a straight step of the pin: the tangent of half
			// the angle between bar and step shrinks by exp(-ds/L).
			ds := d.norm()
			u := d.mul(1 / ds)
			if math.Abs(ds-shrinkFor) > 1e-6*ds {
				shrink, shrinkFor = math.Exp(-ds/p.HitchToRowLine), ds
			}
			half := (barDir.x*u.y - barDir.y*u.x) / (1 + barDir.dot(u)) * shrink
			// The bar lies that much behind the step.
			k := 1 / (1 + half*half)
			barDir = u.turned((1-half*half)*k, -2*half*k)
		}
		tr.pin = pin
		nb := pin
		if p.Hitch != "mounted" {
			nb = pin.sub(barDir.mul(p.HitchToRowLine))
		}
		// psi runs on without jumps, so that it may be interpolated.
		sn := was.x*barDir.y - was.y*barDir.x
		dpsi := sn * (1 + sn*sn/6) // the angle, to 1e-9 for steps below 0.03
		if math.Abs(sn) > 0.03 {
			dpsi = math.Atan2(sn, was.dot(barDir))
		}
		tr.psi += dpsi
		step := nb.sub(bar)
		bar = nb
		way += step.norm()
		lg.ax, lg.ay = append(lg.ax, a.x), append(lg.ay, a.y)
		lg.bx, lg.by = append(lg.bx, nb.x), append(lg.by, nb.y)
		lg.psi, lg.way = append(lg.psi, tr.psi), append(lg.way, way)
		lg.v, lg.w, lg.va = append(lg.v, step.dot(barDir)/tick), append(lg.w, dpsi/tick), append(lg.va, tr.v)
	}
	lg.n = len(lg.v)
	if lg.down < 0 {
		lg.down, lg.up = 0, 0
	}
	if lg.up < 0 {
		lg.up = lg.n
	}
	// Directions go over to the next leg as angles, near the ones before.
	tr.at, tr.dir = planA, math.Atan2(planDir.y, planDir.x)
	tr.course = math.Atan2(course.y, course.x)
	tr.psi += math.Remainder(math.Atan2(barDir.y, barDir.x)-tr.psi, 2*math.Pi)
	lg.follow(&s.Meter)
	return lg
}

// reserve makes room for so many ticks.
func (l *leg) reserve(n int) {
	for _, v := range []*[]float64{&l.ax, &l.ay, &l.bx, &l.by, &l.psi, &l.way, &l.v, &l.w, &l.va} {
		*v = make([]float64, 0, n)
	}
}

// follow gives the speeds as the row drives see them: late by a dead time and
// a first-order answer. The drives stand while the planter is lifted; when it
// comes down they are told the present speed at once.
func (l *leg) follow(m *Meter) {
	l.cv, l.cw = make([]float64, l.n), make([]float64, l.n)
	dead := int(math.Round(m.DriveLag / tick))
	gain := 1.0
	if m.DriveTau > 0 {
		gain = 1 - math.Exp(-tick/m.DriveTau)
	}
	for i := l.down; i < l.up; i++ {
		j := max(i-dead, l.down)
		if i == l.down {
			l.cv[i], l.cw[i] = l.v[i], l.w[i]
			continue
		}
		l.cv[i] = l.cv[i-1] + gain*(l.v[j]-l.cv[i-1])
		l.cw[i] = l.cw[i-1] + gain*(l.w[j]-l.cw[i-1])
	}
	l.sv, l.sw = make([]float64, l.n/stride), make([]float64, l.n/stride)
	for i := l.down; i < l.up; i++ {
		l.sv[i/stride] += l.cv[i]
		l.sw[i/stride] += l.cw[i]
	}
}

// standing makes a leg in which nothing moves.
func (tr *tractor) standing(f *field, first int64, seconds float64, logged bool) *leg {
	p := &tr.s.Planter
	n := max(int(math.Round(seconds/slowTick)), 1) * slow
	a := tr.at.add(heading(tr.dir + math.Pi/2).mul(tr.offset))
	bar := tr.pin
	if p.Hitch != "mounted" {
		bar = tr.pin.sub(heading(tr.psi).mul(p.HitchToRowLine))
	}
	one := func(v float64) []float64 { return []float64{v} }
	tr.v = 0
	return &leg{
		field: f, first: first, n: n, stand: true, logged: logged,
		ax: one(a.x), ay: one(a.y), bx: one(bar.x), by: one(bar.y), psi: one(tr.psi), way: one(0),
		v: one(0), w: one(0), va: one(0), cv: one(0), cw: one(0),
	}
}

// move sets the tractor to another field, engine running, nothing remembered
// of the place.
func (tr *tractor) move() { tr.placed, tr.v = false, 0 }

package align

import (
	"math"
	"slices"

	"evenstand"
	"evenstand/core/ground"
)

// PathOptions are the limits of BarPath. DefaultPath gives the usual ones.
type PathOptions struct {
	Step   float64 // s between the entries of the path
	Hold   float64 // m/s below which headings are held
	Settle float64 // lengths of hitch to row line that a trailed bar must travel before its heading is trusted
	// AntennaToAxle is how far the antenna is ahead of the point of the tractor
	// that goes where the tractor points, the rear axle, in metres. 0 takes the
	// antenna itself for that point.
	AntennaToAxle float64
}

// DefaultPath gives the limits of the methods document, section l, where the
// tractor points along the way of its antenna. A card does not tell where the
// axle is; every metre that it really lies behind the antenna moves a hitch
// 2.6 m behind the antenna outward by 4 cm in a 60 m curve.
func DefaultPath() PathOptions { return PathOptions{Step: 0.1, Hold: slowest, Settle: 2} }

// longestBackUp is the way in metres beyond which a planter is not taken to
// back up: longer legs are forward (judged).
const longestBackUp = 15.0

// Path is where the bar's centre was, at even steps inside each piece. Slices
// run in parallel.
type Path struct {
	Frame   ground.Frame
	T       []evenstand.Micros
	E, N    []float64 // m, of the bar's centre at the seed line
	Psi     []float64 // rad, heading of the bar, unwrapped
	S       []float64 // m along the path of the bar's centre since the first entry
	V       []float64 // m/s of the bar's centre along its heading, negative backing up
	SD      []float64 // m, of the place of the bar's centre on each axis
	PsiSD   []float64 // rad
	Settled []bool    // the bar's heading is known
	Pieces  []Piece
	// Notes say in whole sentences what the card did not tell and what follows.
	Notes []string
	// Antenna is true when the geometry is unknown and the path is the antenna's.
	Antenna bool

	step  evenstand.Micros
	hold  float64
	grows bool     // entries are still added at its end
	last  follower // at the end of the last piece
}

// follower is the state of tractor and bar while they are followed.
type follower struct {
	t                 evenstand.Micros
	theta, psi        float64
	pe, pn            float64 // hitch point
	travelled, backed float64 // m forward since the heading was unknown, m back since
}

// A bar is followed over a gap in the track that is short and straight: what
// its heading does over 45 m is soon forgotten, but not that it had settled
// (judged).
const (
	shortGap    = 30 * evenstand.Second
	straightGap = 0.2 // rad
)

// BarPath follows the bar behind the antenna. The tractor is a rigid body that
// points along the way of its antenna, or of its axle when that is told; a
// mounted bar is part of that body; a trailed one follows the hitch point as a
// tractrix. Below Hold
// the headings are held. A trailed bar starts in line with the tractor and is
// not Settled before it has travelled Settle lengths, nor after backing up
// half a length; a short gap in the track does not unsettle it on a straight. Without geometry the path is the antenna's and Notes say so.
func BarPath(track *Track, geometry evenstand.Geometry, opt PathOptions) *Path {
	p := &Path{Frame: track.Frame, hold: opt.Hold, step: max(1, evenstand.FromSeconds(opt.Step))}
	f := p.newBar(geometry, opt)
	n := 0
	for _, piece := range track.Pieces {
		n += p.steps(track, piece)
	}
	p.grow(n)
	for _, piece := range track.Pieces {
		p.follow(track, piece, f)
	}
	return p
}

// geometry gives the three lengths to go by, and notes what is not known.
func (p *Path) geometry(g evenstand.Geometry) (a, l, r float64) {
	a, l, r = g.AntennaToHitch, g.HitchToRowLine, g.AntennaRight
	known := !math.IsNaN(a) && !math.IsNaN(l) && (g.Hitch != evenstand.HitchUnknown || l == 0)
	if !known {
		p.Antenna = true
		var what string
		switch {
		case g.Hitch == evenstand.HitchUnknown && (math.IsNaN(a) || math.IsNaN(l)):
			what = "how the planter is coupled and how far the seed line lies behind the receiver"
		case g.Hitch == evenstand.HitchUnknown:
			what = "whether the planter is trailed or mounted"
		case math.IsNaN(a):
			what = "how far the receiver is ahead of the hitch point"
		default:
			what = "how far the seed line lies behind the hitch point"
		}
		p.Notes = append(p.Notes, "The planter card does not say "+what+". Every place given is that of the receiver, not of the seed line: it lies ahead by the whole distance between them, and to one side of the rows on curves. Distances between seeds on straight rows do not suffer.")
		a, l = 0, 0
	}
	if math.IsNaN(r) {
		r = 0
		if !p.Antenna {
			p.Notes = append(p.Notes, "The planter card does not say how far the receiver sits to the right of the tractor's middle; it is taken to sit in the middle, and the rows lie to one side by whatever that is wrong.")
		}
	}
	return a, l, r
}

// Widen adds to the error of every place on the path one of so many metres, as
// of a length that was not measured.
func (p *Path) Widen(sd float64) {
	for i := range p.SD {
		p.SD[i] = math.Hypot(p.SD[i], sd)
	}
}

// leg is a run of entries in one direction of travel.
type leg struct {
	from, to int     // entries while faster than Hold
	way      float64 // m
	back     bool
}

// steps gives how many entries a piece of the track makes: one beyond its end,
// so that every moment of it lies between two.
func (p *Path) steps(track *Track, piece Piece) int {
	return int((track.T[piece.To-1]-track.T[piece.From])/p.step) + 2
}

// grow makes room for n entries.
func (p *Path) grow(n int) {
	p.T, p.Settled = slices.Grow(p.T, n), slices.Grow(p.Settled, n)
	for _, x := range []*[]float64{&p.E, &p.N, &p.Psi, &p.S, &p.V, &p.SD, &p.PsiSD} {
		*x = slices.Grow(*x, n)
	}
}

// follow adds one piece of the track.
func (p *Path) follow(track *Track, piece Piece, f *bar) {
	// The antenna at even steps.
	t0, end := track.T[piece.From], track.T[piece.To-1]
	n := p.steps(track, piece)
	ant := make([]antenna, n)
	for k, i := 0, piece.From; k < n; k++ {
		t := t0 + evenstand.Micros(k)*p.step
		for i+2 < piece.To && track.T[i+1] <= t {
			i++
		}
		ant[k] = track.at(i, (t - track.T[i]).Seconds())
	}
	dir, moving := directions(ant, f.opt.Hold, f.opt.Step)
	f.begin(p, t0, dir[0])
	for k := range n {
		f.take(p, t0+evenstand.Micros(k)*p.step, &ant[k], dir[k], moving[k])
	}
	f.last(p, end)
	p.Pieces = append(p.Pieces, Piece{f.base, len(p.T)})
}

// bar follows tractor and bar behind the antenna, step by step.
type bar struct {
	hitch   evenstand.Hitch
	a, l, r float64
	behind  float64 // the axle behind the antenna, m
	need    float64 // m to travel before the bar's heading is trusted
	opt     PathOptions

	base              int     // the piece's first entry
	theta, psi        float64 // rad
	ce, cn, pe, pn    float64 // centre line under the antenna, and hitch point, at the last step taken
	travelled, backed float64
	over              bool // the bar was followed over the gap before the piece
	was               bool // was moving
	odo               odometer
}

// newBar readies the geometry.
func (p *Path) newBar(g evenstand.Geometry, opt PathOptions) *bar {
	f := &bar{hitch: g.Hitch, opt: opt, behind: opt.AntennaToAxle}
	f.a, f.l, f.r = p.geometry(g)
	if p.Antenna {
		f.behind = 0
	}
	f.need = opt.Settle * f.l
	if f.hitch == evenstand.Mounted || f.l == 0 {
		f.need = opt.Settle * f.behind
	}
	return f
}

// begin starts a piece at t0, with the tractor pointing along dir.
func (f *bar) begin(p *Path, t0 evenstand.Micros, dir float64) {
	f.base = len(p.T)
	f.theta, f.psi = dir, dir
	if f.base > 0 {
		f.theta += 2 * math.Pi * math.Round((p.Psi[f.base-1]-f.theta)/(2*math.Pi))
		f.psi = f.theta
	}
	f.ce, f.cn, f.pe, f.pn = 0, 0, 0, 0
	f.travelled, f.backed = 0, 0
	f.over = f.base > 0 && t0-p.last.t <= shortGap && p.last.travelled > 0 &&
		math.Abs(turn(p.last.theta, dir)) < straightGap
	if f.over {
		f.travelled, f.backed = p.last.travelled, p.last.backed
	}
	f.was = false
}

// last keeps the bar as it was at t, the end of a piece.
func (f *bar) last(p *Path, t evenstand.Micros) {
	p.last = follower{t, f.theta, f.psi, f.pe, f.pn, f.travelled, f.backed}
}

// take adds an entry: the antenna at t, where the tractor points by its way
// alone, and whether it moves.
func (f *bar) take(p *Path, t evenstand.Micros, ant *antenna, dir float64, moving bool) {
	a, l, r := f.a, f.l, f.r
	s, c := math.Sincos(f.theta)
	e, m := ant.e-r*c, ant.n+r*s // centre line, by the heading of a step ago
	if len(p.T) == f.base {
		f.ce, f.cn = e, m
		f.pe, f.pn = e-a*s, m-a*c
		if de, dn := f.pe-p.last.pe, f.pn-p.last.pn; f.over && l > 0 && f.hitch != evenstand.Mounted {
			f.psi = p.last.psi
			if math.Hypot(de, dn) > 1 {
				f.psi = tractrix(f.psi, math.Atan2(de, dn), math.Hypot(de, dn), l)
			}
		}
	}
	if moving {
		if !f.was && f.travelled == 0 {
			f.psi += turn(f.psi, dir)
			f.theta = f.psi
			s, c = math.Sincos(f.theta)
			e, m = ant.e-r*c, ant.n+r*s
			f.ce, f.cn = e, m
			f.pe, f.pn = e-a*s, m-a*c
		}
		de, dn := e-f.ce, m-f.cn
		ds := math.Hypot(de, dn)
		back := math.Cos(math.Atan2(ant.ve, ant.vn)-dir) < 0
		switch {
		case f.behind < 0.05 || back:
			// Backing up, the axle leads and the antenna follows it.
			f.theta += turn(f.theta, dir)
		case ds > 0:
			f.theta = tractrix(f.theta, math.Atan2(de, dn), ds, f.behind)
		}
		f.ce, f.cn = e, m
		if r != 0 {
			s, c = math.Sincos(f.theta)
			f.ce, f.cn = ant.e-r*c, ant.n+r*s
		}
		s, c = math.Sincos(f.theta)
		he, hn := f.ce-a*s, f.cn-a*c
		if f.hitch == evenstand.Mounted || l == 0 {
			f.psi = f.theta
		} else if ds := math.Hypot(he-f.pe, hn-f.pn); ds > 0 {
			f.psi = tractrix(f.psi, math.Atan2(he-f.pe, hn-f.pn), ds, l)
			if d := turn(f.theta, f.psi); math.Abs(d) > math.Pi/2 { // a jack-knife goes no further
				f.psi = f.theta + math.Copysign(math.Pi/2, d)
			}
		}
		step := math.Hypot(he-f.pe, hn-f.pn)
		if back {
			if f.backed += step; f.backed > l/2 && f.hitch != evenstand.Mounted {
				f.travelled = 1e-9
			}
		} else {
			f.travelled += step
			f.backed = math.Max(0, f.backed-step)
		}
		f.pe, f.pn = he, hn
	}
	f.was = moving
	// Where the bar is now, moving or not.
	s, c = math.Sincos(f.theta)
	ce2, cn2 := ant.e-r*c, ant.n+r*s
	sp, cp := math.Sincos(f.psi)
	be, bn := ce2-a*s-l*sp, cn2-a*c-l*cp

	v := math.Hypot(ant.ve, ant.vn)
	thetaSD := ant.vsd / math.Max(v, math.Max(f.opt.Hold, 0.1))
	if f.behind > 0 { // a heading that follows the axle is steadier
		far := correlated * math.Max(v, f.opt.Hold)
		thetaSD *= math.Sqrt(far / (far + f.behind))
	}
	place := ant.sd
	psiSD := thetaSD
	if f.hitch == evenstand.Mounted {
		place = math.Hypot(place, (a+l)*thetaSD)
	} else if l > 0 {
		pin := math.Hypot(ant.sd, a*thetaSD)
		psiSD = pin / math.Sqrt(l*(l+correlated*math.Max(v, f.opt.Hold)))
	}
	p.T = append(p.T, t)
	p.E, p.N = append(p.E, be), append(p.N, bn)
	p.Psi = append(p.Psi, f.psi)
	p.SD, p.PsiSD = append(p.SD, place), append(p.PsiSD, psiSD)
	p.Settled = append(p.Settled, f.travelled > 0 && f.travelled >= f.need)
	f.odo.take(p, f.base)
}

// correlated is the time in seconds over which the errors of the smoothed
// place hang together; tests hold the interval that rests on it.
const correlated = 1.0

// directions gives, at even steps, where the tractor points by its way alone
// (unwrapped rad; the way's direction, or its opposite while backing up, held
// while slow), and whether it moves.
func directions(ant []antenna, hold, step float64) (dir []float64, moving []bool) {
	n := len(ant)
	dir, moving = make([]float64, n), make([]bool, n)
	var legs []leg
	for k := range n {
		v := math.Hypot(ant[k].ve, ant[k].vn)
		if v <= hold {
			continue
		}
		moving[k] = true
		if len(legs) == 0 || legs[len(legs)-1].to != k {
			legs = append(legs, leg{from: k, to: k})
		}
		g := &legs[len(legs)-1]
		g.to = k + 1
		g.way += v * step
	}
	course := func(k int) float64 { return math.Atan2(ant[k].ve, ant[k].vn) }
	// A turn-about without a halt, too quick for any wheel, parts a leg as well.
	legs = split(legs, course, ant, step)
	// Long legs are forward. A short one points on from the long leg before it,
	// or else on into the next, whichever way it moves.
	first := 0
	for first < len(legs) && legs[first].way <= longestBackUp {
		first++
	}
	if first == len(legs) { // none is long: the longest is forward
		first = 0
		for i := range legs {
			if legs[i].way > legs[first].way {
				first = i
			}
		}
	}
	opposed := func(a, b float64) bool { return math.Abs(turn(a, b)) > math.Pi/2 }
	for i := first + 1; i < len(legs); i++ {
		if legs[i].way <= longestBackUp {
			legs[i].back = opposed(course(legs[i-1].to-1), course(legs[i].from)) != legs[i-1].back
		}
	}
	for i := first - 1; i >= 0; i-- {
		legs[i].back = opposed(course(legs[i].to-1), course(legs[i+1].from)) != legs[i+1].back
	}
	at, last := 0, 0.0
	for i, g := range legs {
		for k := g.from; k < g.to; k++ {
			c := course(k)
			if g.back {
				c += math.Pi
			}
			if i == 0 && k == g.from {
				last = c
			}
			last += turn(last, c)
			if i == 0 && k == g.from {
				for ; at < k; at++ { // before it ever moved
					dir[at] = last
				}
			}
			for ; at < k; at++ {
				dir[at] = dir[at-1]
			}
			dir[k] = last
			at = k + 1
		}
	}
	for ; at < n; at++ {
		if at > 0 {
			dir[at] = dir[at-1]
		}
	}
	return dir, moving
}

// split parts legs where the course turns by more than 120 degrees within half
// a second.
func split(legs []leg, course func(int) float64, ant []antenna, step float64) []leg {
	w := max(1, int(0.5/step))
	var out []leg
	for _, g := range legs {
		from := g.from
		for k := g.from; k+w < g.to; k++ {
			if math.Abs(turn(course(k), course(k+w))) < 2*math.Pi/3 {
				continue
			}
			// The slowest moment in between is the turn-about.
			m := k + 1
			for j := k + 1; j <= k+w; j++ {
				if math.Hypot(ant[j].ve, ant[j].vn) < math.Hypot(ant[m].ve, ant[m].vn) {
					m = j
				}
			}
			out = append(out, leg{from: from, to: m})
			from, k = m, m+w
		}
		out = append(out, leg{from: from, to: g.to})
	}
	for i := range out {
		out[i].way = 0
		for k := out[i].from; k < out[i].to; k++ {
			out[i].way += math.Hypot(ant[k].ve, ant[k].vn) * step
		}
	}
	return out
}

// turn gives the shortest turn from heading a to heading b, in [-π, π].
func turn(a, b float64) float64 { return math.Remainder(b-a, 2*math.Pi) }

// tractrix gives the heading of a trailed point after its pin has moved ds
// metres in direction theta, exactly: tan((ψ−θ)/2) falls by e^(−ds/L). psi
// stays unwrapped.
func tractrix(psi, theta, ds, l float64) float64 {
	d := turn(psi, theta) // θ − ψ
	return psi + d - 2*math.Atan(math.Tan(d/2)*math.Exp(-ds/l))
}

// odometer gives V and S. The way is that along the bar's heading. S follows it
// forward only; a play of four SDs of place (0.1 m at least) keeps a standing
// bar's jitter and a short roll back from adding up.
type odometer struct {
	way, before float64 // of the last entry and of the one before it, since the piece began
	s, offset   float64
}

// take fills V and S of the newest entry, and V of the one before it, which is
// the mean over both sides. base is the piece's first entry.
func (o *odometer) take(p *Path, base int) {
	i := len(p.T) - 1
	h := p.step.Seconds()
	if i == base {
		s0 := 0.0
		if base > 0 {
			s0 = p.S[base-1] + math.Hypot(p.E[base]-p.E[base-1], p.N[base]-p.N[base-1])
		}
		*o = odometer{s: s0, offset: s0}
		p.S, p.V = append(p.S, s0), append(p.V, 0)
		return
	}
	s, c := math.Sincos((p.Psi[i] + p.Psi[i-1]) / 2)
	way := o.way + (p.E[i]-p.E[i-1])*s + (p.N[i]-p.N[i-1])*c
	p.V = append(p.V, (way-o.way)/h)
	if i-1 > base {
		p.V[i-1] = (way - o.before) / (2 * h)
	} else {
		p.V[i-1] = p.V[i]
	}
	o.before, o.way = o.way, way
	at := way + o.offset
	play := math.Max(0.1, 4*p.SD[i])
	if at < o.s-play {
		o.offset += o.s - play - at
	}
	o.s = math.Max(o.s, at)
	p.S = append(p.S, o.s)
}

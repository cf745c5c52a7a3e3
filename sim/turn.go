package sim

import "math"

// piece is a stretch of a planned path: straight or a circular arc.
type piece struct {
	from   xy
	dir    float64
	curve  float64 // 1/m, left positive
	length float64
}

// at gives place and direction at a distance along the piece.
func (p *piece) at(s float64) (xy, float64) {
	at, _ := p.on(s, heading(p.dir))
	return at, p.dir + p.curve*s
}

// on gives place and direction of travel as a unit vector; h is the direction
// at the piece's start.
func (p *piece) on(s float64, h xy) (at, dir xy) {
	if p.curve == 0 {
		return p.from.add(h.mul(s)), h
	}
	sn, c := math.Sincos(p.curve * s)
	d := h.turned(c, sn)
	return xy{p.from.x + (d.y-h.y)/p.curve, p.from.y - (d.x-h.x)/p.curve}, d
}

func mod2pi(a float64) float64 {
	a = math.Mod(a, 2*math.Pi)
	if a < 0 {
		a += 2 * math.Pi
	}
	return a
}

// turn gives the shortest path of bounded curvature from one pose to another:
// at a headland the omega turn, the half circle, or whatever lies between
// (Dubins 1957, American Journal of Mathematics 79:497-516; formulas after
// Shkel and Lumelsky 2001, Robotics and Autonomous Systems 34:179-202).
func turn(a xy, dirA float64, b xy, dirB, radius float64) []piece {
	d := b.sub(a)
	dist := d.norm() / radius
	th := math.Atan2(d.y, d.x)
	al, be := mod2pi(dirA-th), mod2pi(dirB-th)
	sa, ca := math.Sincos(al)
	sb, cb := math.Sincos(be)
	cab := math.Cos(al - be)
	type word struct {
		turn    [3]float64 // +1 left, 0 straight, -1 right
		t, p, q float64
	}
	var best word
	shortest := math.Inf(1)
	try := func(turn [3]float64, t, p, q float64) {
		if l := t + p + q; l < shortest {
			shortest, best = l, word{turn, t, p, q}
		}
	}
	if p2 := 2 + dist*dist - 2*cab + 2*dist*(sa-sb); p2 >= 0 {
		x := math.Atan2(cb-ca, dist+sa-sb)
		try([3]float64{1, 0, 1}, mod2pi(x-al), math.Sqrt(p2), mod2pi(be-x))
	}
	if p2 := 2 + dist*dist - 2*cab + 2*dist*(sb-sa); p2 >= 0 {
		x := math.Atan2(ca-cb, dist-sa+sb)
		try([3]float64{-1, 0, -1}, mod2pi(al-x), math.Sqrt(p2), mod2pi(x-be))
	}
	if p2 := -2 + dist*dist + 2*cab + 2*dist*(sa+sb); p2 >= 0 {
		p := math.Sqrt(p2)
		x := math.Atan2(-ca-cb, dist+sa+sb) - math.Atan2(-2, p)
		try([3]float64{1, 0, -1}, mod2pi(x-al), p, mod2pi(x-be))
	}
	if p2 := -2 + dist*dist + 2*cab - 2*dist*(sa+sb); p2 >= 0 {
		p := math.Sqrt(p2)
		x := math.Atan2(ca+cb, dist-sa-sb) - math.Atan2(2, p)
		try([3]float64{-1, 0, 1}, mod2pi(al-x), p, mod2pi(be-x))
	}
	if c := (6 - dist*dist + 2*cab + 2*dist*(sa-sb)) / 8; math.Abs(c) <= 1 {
		p := mod2pi(2*math.Pi - math.Acos(c))
		t := mod2pi(al - math.Atan2(ca-cb, dist-sa+sb) + p/2)
		try([3]float64{-1, 1, -1}, t, p, mod2pi(al-be-t+p))
	}
	if c := (6 - dist*dist + 2*cab + 2*dist*(sb-sa)) / 8; math.Abs(c) <= 1 {
		p := mod2pi(2*math.Pi - math.Acos(c))
		t := mod2pi(-al - math.Atan2(ca-cb, dist+sa-sb) + p/2)
		try([3]float64{1, -1, 1}, t, p, mod2pi(be-al-t+p))
	}
	var out []piece
	at, dir := a, dirA
	for i, l := range []float64{best.t, best.p, best.q} {
		if l < 1e-9 {
			continue
		}
		p := piece{from: at, dir: dir, curve: best.turn[i] / radius, length: l * radius}
		out = append(out, p)
		at, dir = p.at(p.length)
	}
	return out
}

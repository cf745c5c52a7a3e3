package align_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"evenstand"
	"evenstand/core/align"
	"evenstand/core/ground"
)

// drive is a tractor, planter and receiver with known truth: the antenna
// follows a plan with steering errors, the bar follows the antenna by small
// exact steps. All in metres in a frame, headings clockwise from north.
type drive struct {
	frame  ground.Frame
	geo    evenstand.Geometry
	axle   float64 // the antenna's distance ahead of the point that goes where the tractor points
	dt     float64
	t      []float64
	ae, an []float64 // antenna
	be, bn []float64 // bar's centre
	psi    []float64
	leg    []int // of the plan, by tick
	way    []float64
}

// part of a plan: metres of way at a curvature (right positive) and a speed;
// a negative speed backs up, length 0 stands for so many seconds.
type part struct {
	way, kappa, v float64
	stand         float64
}

const firstTime = 1_777_725_000 * evenstand.Second // 2026-05-02

func newDrive(seed uint64, geo evenstand.Geometry, axle, heading float64, steer float64, parts []part) *drive {
	d := &drive{frame: ground.NewFrame(42, -93), geo: geo, axle: axle, dt: 0.02}
	rng := rand.New(rand.NewPCG(seed, 1))
	// The reference point goes along the plan; the antenna is axle ahead of it.
	e, n, th := 0.0, 0.0, heading
	psi := th
	var pe, pn float64
	off, ou := 0.0, 0.0
	v := 0.0
	t := 0.0
	way := 0.0
	first := true
	step := func(leg int, kappa, vset, remaining float64) float64 {
		dv := vset - v
		lim := 0.6 * d.dt
		v += math.Max(-lim, math.Min(lim, dv))
		if vset == 0 && math.Abs(v) < lim {
			v = 0
		}
		ds := v * d.dt
		if v > 0.05 {
			ou += -ou*d.dt/8 + steer*math.Sqrt(2*d.dt/8)*rng.NormFloat64()
		}
		doff := (ou - off) * d.dt / 1
		if v <= 0.05 {
			doff = 0
		}
		off += doff
		th += kappa * ds
		// Lateral wander turns the real course a little.
		course := th
		if ds > 1e-9 {
			course += math.Atan2(doff, ds)
		}
		s, c := math.Sincos(th)
		e += ds*s + doff*c
		n += ds*c - doff*s
		sc, cc := math.Sincos(course)
		ae, an := e+d.axle*sc, n+d.axle*cc
		// The antenna may sit to the right of the middle.
		r := d.geo.AntennaRight
		if math.IsNaN(r) {
			r = 0
		}
		a := d.geo.AntennaToHitch
		he, hn := ae-a*sc, an-a*cc
		if first {
			psi, pe, pn, first = course, he, hn, false
		}
		var be, bn float64
		if d.geo.Hitch == evenstand.Mounted {
			psi += math.Remainder(course-psi, 2*math.Pi)
			be, bn = he-d.geo.HitchToRowLine*sc, hn-d.geo.HitchToRowLine*cc
		} else {
			// ψ' = (v/L) sin(χ−ψ) in small Euler steps, the kinematics as
			// physics gives them, not the closed form.
			de, dn := he-pe, hn-pn
			if m := math.Hypot(de, dn); m > 0 {
				chi := math.Atan2(de, dn)
				for range 4 {
					psi += m / 4 / d.geo.HitchToRowLine * math.Sin(chi-psi)
				}
			}
			sp, cp := math.Sincos(psi)
			be, bn = he-d.geo.HitchToRowLine*sp, hn-d.geo.HitchToRowLine*cp
		}
		pe, pn = he, hn
		if k := len(d.be); k > 0 {
			sp, cp := math.Sincos(psi)
			way += (be-d.be[k-1])*sp + (bn-d.bn[k-1])*cp
		}
		d.t = append(d.t, t)
		d.ae, d.an = append(d.ae, ae+r*cc), append(d.an, an-r*sc)
		d.be, d.bn, d.psi = append(d.be, be), append(d.bn, bn), append(d.psi, psi)
		d.leg = append(d.leg, leg)
		d.way = append(d.way, way)
		t += d.dt
		return math.Abs(ds)
	}
	for i, p := range parts {
		if p.way == 0 {
			for v != 0 {
				step(i, 0, 0, 0)
			}
			for s := 0.0; s < p.stand; s += d.dt {
				step(i, 0, 0, 0)
			}
			continue
		}
		for left := p.way; left > 0; {
			left -= math.Max(step(i, p.kappa, p.v, left), 1e-6)
		}
	}
	return d
}

func (d *drive) fixes(seed uint64, hz, noise float64, kind evenstand.FixKind) []evenstand.Fix {
	rng := rand.New(rand.NewPCG(seed, 2))
	var out []evenstand.Fix
	every := int(1 / hz / d.dt)
	for i := 0; i < len(d.t); i += every {
		lat, lon := d.frame.ToGlobal(d.ae[i]+noise*rng.NormFloat64(), d.an[i]+noise*rng.NormFloat64())
		f := evenstand.NewFix(firstTime+evenstand.FromSeconds(d.t[i]), lat, lon)
		f.Kind = kind
		out = append(out, f)
	}
	return out
}

// rms gives the root mean square error of the place of the row at y over the
// ticks that pick takes, and the share within 1.645 stated SDs (of the place
// and of the lever) on each axis, which should be near 0.9.
func (d *drive) rms(p *align.Path, y float64, pick func(i int) bool) (rms, cover float64, n int) {
	c := p.Cursor()
	within, sum := 0, 0.0
	for i := range d.t {
		if !pick(i) {
			continue
		}
		pose := c.At(firstTime + evenstand.FromSeconds(d.t[i]))
		if !pose.OK {
			continue
		}
		e, m := align.RowPlace(pose, y)
		s, cc := math.Sincos(d.psi[i])
		de, dn := e-(d.be[i]+y*cc), m-(d.bn[i]-y*s)
		sum += de*de + dn*dn
		n++
		// Across is the place alone, along has the lever too.
		along, across := de*s+dn*cc, de*cc-dn*s
		if math.Abs(along) < 1.645*math.Hypot(pose.SD, y*pose.PsiSD) {
			within++
		}
		if math.Abs(across) < 1.645*pose.SD {
			within++
		}
	}
	return math.Sqrt(sum / float64(n)), float64(within) / float64(2*n), n
}

// gaps sums the squared errors of the row's own way over 40 ms, about one seed,
// on straights and planted curves.
func (d *drive) gaps(p *align.Path, y float64) (sum, n float64) {
	c := p.Cursor()
	for i := 2; i < len(d.t); i += 2 {
		if l := d.leg[i]; d.leg[i-2] != l || !straight(l) && !curve(l) {
			continue
		}
		a := c.At(firstTime + evenstand.FromSeconds(d.t[i-2]))
		b := c.At(firstTime + evenstand.FromSeconds(d.t[i]))
		if a.OK && b.OK {
			got := align.RowWay(b, y) - align.RowWay(a, y)
			want := d.way[i] - d.way[i-2] - y*(d.psi[i]-d.psi[i-2])
			sum, n = sum+(got-want)*(got-want), n+1
		}
	}
	return sum, n
}

var trailed = evenstand.Geometry{Hitch: evenstand.Trailed, AntennaToHitch: 2, HitchToRowLine: 6.5, AntennaRight: 0, SeedFall: 0.375}

const outermost = 7.5 * 0.762 // of 16 rows

// Straights and planted curves of 60 m, one direction and the other, with
// turns in between.
func day() []part {
	q := func(r float64, right bool, v float64) part {
		k := 1 / r
		if !right {
			k = -k
		}
		return part{way: math.Pi / 2 * r, kappa: k, v: v}
	}
	return []part{
		{way: 40, v: 2.2},
		{way: 400, v: 2.2}, // 1: straight
		q(60, true, 2.2),
		{way: 60, v: 2.2},
		{way: 300, v: 2.2}, // 4
		q(60, false, 2.2),
		{way: 60, v: 2.2},
		{stand: 20},
		{way: 30, v: 2.2},
		{way: 300, v: 2.2}, // 9
		q(60, true, 2.2), q(60, true, 2.2),
		{way: 60, v: 2.2},
		q(9, true, 1.3), q(9, true, 1.3),
		{way: 60, v: 2.2},
		{way: 400, v: 2.2}, // 16
	}
}

func straight(leg int) bool { return leg == 1 || leg == 4 || leg == 9 || leg == 16 }
func curve(leg int) bool    { return leg == 2 || leg == 5 || leg == 10 || leg == 11 }

// The limits are those of issue 2: with true card and clocks 5 cm rms on
// straights and 8 cm on planted curves of 60 m, here for the outermost of 16
// rows of 0.762 m; 5 Hz, 2 cm of noise, steering that wanders by 3 cm.
func TestRowPlaces(t *testing.T) {
	for _, c := range []struct {
		name string
		geo  evenstand.Geometry
		axle float64
		hz   float64
	}{
		{"trailed", trailed, 0, 5},
		{"trailed, 10 Hz", trailed, 0, 10},
		{"trailed, axle told", trailed, 1, 5},
		{"trailed, antenna 0.4 m right", with(trailed, func(g *evenstand.Geometry) { g.AntennaRight = 0.4 }), 0, 5},
		{"mounted", evenstand.Geometry{Hitch: evenstand.Mounted, AntennaToHitch: 2, HitchToRowLine: 1.5}, 0, 5},
		{"mounted, antenna over the seed line", evenstand.Geometry{Hitch: evenstand.Mounted}, 0, 5},
	} {
		t.Run(c.name, func(t *testing.T) {
			var st, cu, cov, n2, gaps, n3 float64
			const days = 4
			for seed := range uint64(days) {
				d := newDrive(seed+1, c.geo, c.axle, 0.3+float64(seed), 0.03, day())
				tr := align.Smooth(d.fixes(seed, c.hz, 0.02, evenstand.FixRTK), d.frame, align.DefaultSmooth())
				opt := align.DefaultPath()
				opt.AntennaToAxle = c.axle
				p := align.BarPath(tr, c.geo, opt)
				if len(p.Notes) > 0 {
					t.Errorf("notes on a whole card: %v", p.Notes)
				}
				for _, y := range []float64{-outermost, outermost} {
					s, cs, _ := d.rms(p, y, func(i int) bool { return straight(d.leg[i]) })
					k, ck, _ := d.rms(p, y, func(i int) bool { return curve(d.leg[i]) })
					st, cu, cov, n2 = st+s*s, cu+k*k, cov+(cs+ck)/2, n2+1
					g, n := d.gaps(p, y)
					gaps, n3 = gaps+g, n3+n
				}
			}
			st, cu, cov = math.Sqrt(st/n2), math.Sqrt(cu/n2), cov/n2
			gap := math.Sqrt(gaps / n3)
			t.Logf("straight %.1f cm, curve of 60 m %.1f cm, stated 90 %% holds %.0f %%; gap of 40 ms %.1f mm", 100*st, 100*cu, 100*cov, 1000*gap)
			limit := 0.004 // 2.5 % of a spacing of 165 mm, a tenth of what seeds scatter
			if c.geo.Hitch == evenstand.Mounted {
				// The simulated heading turns by 0.001 rad at random every tick,
				// which at 5.7 m is 8 mm in 40 ms and no receiver sees.
				limit = 0.010
			}
			if gap > limit {
				t.Errorf("gaps are wrong by %.1f mm", 1000*gap)
			}
			if st > 0.05 || cu > 0.08 {
				t.Errorf("straight %.3f m (limit 0.05), curve %.3f m (limit 0.08)", st, cu)
			}
			if cov < 0.85 || cov > 0.995 {
				t.Errorf("the stated 90 %% interval holds %.3f", cov)
			}
		})
	}
}

func with(g evenstand.Geometry, f func(*evenstand.Geometry)) evenstand.Geometry {
	f(&g)
	return g
}

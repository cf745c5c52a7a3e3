package align_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"evenstand"
	"evenstand/core/align"
)

// Without noise and at 20 fixes a second what the cursor reads between the
// entries is the truth to a centimetre: place, heading × lever, and the way of
// the outermost rows between any two seeds.
func TestCursorReadsBetween(t *testing.T) {
	d := newDrive(3, trailed, 0, 2, 0, []part{{way: 100, v: 2.2}, {way: 94, kappa: 1.0 / 60, v: 2.2}, {way: 60, v: 1.4}, {way: 50, kappa: -1.0 / 30, v: 2.8}, {way: 60, v: 2.8}})
	p := align.BarPath(align.Smooth(d.fixes(3, 10, 0.0005, evenstand.FixRTK), d.frame, align.SmoothOptions{Accel: 0.8, RTK: 0.001, Other: 0.15, Gate: 0, MaxGap: 3}), trailed, align.DefaultPath())
	c := p.Cursor()
	var worst, worstWay float64
	n := 0
	var before [2]float64
	for i := 0; i < len(d.t); i += 2 { // every 40 ms: a seed of 25 a second
		pose := c.At(firstTime + evenstand.FromSeconds(d.t[i]))
		if !pose.OK || d.t[i] > d.t[len(d.t)-1]-0.5 {
			before = [2]float64{}
			continue
		}
		n++
		for side, y := range []float64{-outermost, outermost} {
			e, m := align.RowPlace(pose, y)
			s, cc := math.Sincos(d.psi[i])
			worst = math.Max(worst, math.Hypot(e-d.be[i]-y*cc, m-d.bn[i]+y*s))
			way := align.RowWay(pose, y)
			true_ := d.way[i] - y*d.psi[i]
			if before[side] != 0 {
				worstWay = math.Max(worstWay, math.Abs(way-true_-before[side]))
			}
			before[side] = way - true_
		}
	}
	t.Logf("%d moments: place within %.2f cm, gap within %.2f mm", n, 100*worst, 1000*worstWay)
	if n < 2000 || worst > 0.02 || worstWay > 0.006 { // a gap of 165 mm in a curve that begins at once
		t.Errorf("%d moments, worst place %.4f m, worst gap %.4f m", n, worst, worstWay)
	}
}

// Row speeds in a curve of 60 m: with the outer rows 5.715 m out the inner one
// goes (1 − y/R) of the bar's way and the outer one (1 + y/R); the bar itself
// runs on √(60² − 6.5²) = 59.647 m (check value tractrix). Kappa is 1/59.647
// to the right.
func TestRowWayOnCurve(t *testing.T) {
	d := newDrive(4, with(trailed, func(g *evenstand.Geometry) { g.AntennaToHitch = 0 }), 0, 0, 0, []part{{way: 60, v: 2.2}, {way: 200, kappa: 1.0 / 60, v: 2.2}})
	g := with(trailed, func(g *evenstand.Geometry) { g.AntennaToHitch = 0 })
	p := align.BarPath(align.Smooth(d.fixes(4, 5, 0.001, evenstand.FixRTK), d.frame, align.DefaultSmooth()), g, align.DefaultPath())
	c := p.Cursor()
	end := firstTime + evenstand.FromSeconds(d.t[len(d.t)-1])
	a, b := c.At(end-30*evenstand.Second), c.At(end-10*evenstand.Second)
	const r = 59.646877537721956
	way := b.S - a.S
	for _, y := range []float64{-outermost, 0, outermost} {
		got := (align.RowWay(b, y) - align.RowWay(a, y)) / way
		if want := 1 - y/r; math.Abs(got-want) > 0.002 {
			t.Errorf("row at %+.3f m goes %.4f of the bar's way, want %.4f", y, got, want)
		}
	}
	if math.Abs(b.Kappa-1/r) > 0.0015 {
		t.Errorf("curvature %.5f, want %.5f", b.Kappa, 1/r)
	}
	if math.Abs(way-20*2.2*r/60) > 0.05 {
		t.Errorf("bar's way %.3f m in 20 s", way)
	}
}

// S stands while the planter stands, however long the receiver jitters, and
// does not run back or on when it backs up; V is negative then.
func TestOdometer(t *testing.T) {
	d := newDrive(11, trailed, 0, 0, 0, []part{{way: 80, v: 2.2}, {stand: 600}, {way: 80, v: 2.2}, {stand: 10}, {way: 8, v: -1}, {stand: 10}, {way: 60, v: 2.2}})
	for _, noise := range []float64{0.02, 0.15} {
		kind := evenstand.FixRTK
		if noise > 0.1 {
			kind = evenstand.FixDGNSS
		}
		p := align.BarPath(align.Smooth(d.fixes(11, 5, noise, kind), d.frame, align.DefaultSmooth()), trailed, align.DefaultPath())
		c := p.Cursor()
		at := func(leg int) (first, last align.Pose, lowest float64) {
			lowest = math.Inf(1)
			seen := false
			for i := range d.t {
				if d.leg[i] != leg {
					continue
				}
				q := c.At(firstTime + evenstand.FromSeconds(d.t[i]))
				if !seen {
					first, seen = q, true
				}
				last, lowest = q, math.Min(lowest, q.V)
			}
			return
		}
		// The stand's first seconds are braking, which is way.
		from, to, _ := at(1)
		if got := to.S - from.S; got > 4.1+5*noise {
			t.Errorf("noise %.2f: stood still over %.2f m (braking takes 4.0)", noise, got)
		}
		from, to, low := at(4)
		if got := to.S - from.S; got > 5*noise+0.1 || low > -0.8 {
			t.Errorf("noise %.2f: backing up moved S by %.2f m, V down to %.2f", noise, got, low)
		}
		if to.OK {
			t.Error("a trailed bar is trusted after backing up 8 m")
		}
		// 60 m on from there, less the play.
		from, to, _ = at(6)
		if got := to.S - from.S; got < 60-4*noise-1.5 || got > 60.5 {
			t.Errorf("noise %.2f: %.2f m after backing up, want 60", noise, got)
		}
		for i := 1; i < len(p.S); i++ {
			if p.S[i] < p.S[i-1] {
				t.Fatal("S falls")
			}
		}
	}
}

// Backing up does not turn the tractor about: after an omega with a reverse
// leg the heading goes on from where it was.
func TestBackingUp(t *testing.T) {
	g := evenstand.Geometry{Hitch: evenstand.Mounted, AntennaToHitch: 2, HitchToRowLine: 1.5}
	d := newDrive(12, g, 0, 0.5, 0, []part{{way: 60, v: 2.2}, {way: 10, kappa: 0.1, v: 1.3}, {stand: 2}, {way: 8, kappa: 0.1, v: -1}, {stand: 2}, {way: 60, v: 2.2}})
	p := align.BarPath(align.Smooth(d.fixes(12, 10, 0.01, evenstand.FixRTK), d.frame, align.DefaultSmooth()), g, align.DefaultPath())
	c := p.Cursor()
	// Heading at the end: 0.5 + 10·0.1 − 8·0.1 (backing up undoes the turn),
	// but for what braking adds.
	last := len(d.t) - 50
	got := c.At(firstTime + evenstand.FromSeconds(d.t[last]))
	th := math.Atan2(d.ae[last]-d.ae[last-50], d.an[last]-d.an[last-50])
	if math.Abs(math.Remainder(got.Psi-th, 2*math.Pi)) > 0.02 || math.Abs(got.Psi-th) > 1 {
		t.Errorf("heading %.3f, want %.3f, without a turn in between", got.Psi, th)
	}
}

// What the card does not say is said, and the path is the receiver's.
func TestUnknownGeometry(t *testing.T) {
	d := newDrive(13, trailed, 0, 0, 0, []part{{way: 100, v: 2.2}})
	tr := align.Smooth(d.fixes(13, 5, 0.02, evenstand.FixRTK), d.frame, align.DefaultSmooth())
	nan := math.NaN()
	for _, c := range []struct {
		name    string
		g       evenstand.Geometry
		antenna bool
		notes   int
	}{
		{"nothing known", evenstand.NewCard().Geometry, true, 1},
		{"hitch unknown", evenstand.Geometry{AntennaToHitch: 2, HitchToRowLine: 6.5}, true, 1},
		{"no tongue", evenstand.Geometry{Hitch: evenstand.Trailed, AntennaToHitch: 2, HitchToRowLine: nan}, true, 1},
		{"no antenna", evenstand.Geometry{Hitch: evenstand.Mounted, AntennaToHitch: nan, HitchToRowLine: 1}, true, 1},
		{"side unknown", with(trailed, func(g *evenstand.Geometry) { g.AntennaRight = nan }), false, 1},
		{"whole", trailed, false, 0},
	} {
		p := align.BarPath(tr, c.g, align.DefaultPath())
		if p.Antenna != c.antenna || len(p.Notes) != c.notes {
			t.Errorf("%s: antenna %v, notes %q", c.name, p.Antenna, p.Notes)
		}
		at := p.Cursor().At(firstTime + evenstand.FromSeconds(40))
		i := 40 * 50
		want := [2]float64{d.be[i], d.bn[i]}
		if c.antenna {
			want = [2]float64{d.ae[i], d.an[i]}
		}
		if !at.OK || math.Hypot(at.E-want[0], at.N-want[1]) > 0.08 {
			t.Errorf("%s: %.2f m off", c.name, math.Hypot(at.E-want[0], at.N-want[1]))
		}
	}
}

// The first 2 × 6.5 m of a trailed planter are not to be trusted, whatever its
// heading was; those of a mounted one are.
func TestSettling(t *testing.T) {
	d := newDrive(14, trailed, 0, 1, 0, []part{{way: 60, v: 2.2}})
	tr := align.Smooth(d.fixes(14, 5, 0.02, evenstand.FixRTK), d.frame, align.DefaultSmooth())
	for _, c := range []struct {
		hitch evenstand.Hitch
		want  float64
	}{{evenstand.Trailed, 13}, {evenstand.Mounted, 0}} {
		p := align.BarPath(tr, with(trailed, func(g *evenstand.Geometry) { g.Hitch = c.hitch }), align.DefaultPath())
		i := 0
		for !p.Settled[i] {
			i++
		}
		if got := p.S[i]; math.Abs(got-c.want) > 0.5 {
			t.Errorf("%s: settled after %.2f m, want %g", c.hitch, got, c.want)
		}
	}
}

// Any moments in any order read the same as in order, and rows never go back
// on a straight.
func TestCursorAnyOrder(t *testing.T) {
	d := newDrive(15, trailed, 0, 0, 0.03, []part{{way: 60, v: 2.2}, {stand: 5}, {way: 60, v: 2.2}})
	fixes := d.fixes(15, 5, 0.02, evenstand.FixRTK)
	fixes = append(fixes[:80:80], fixes[120:]...) // a gap of 8 s
	p := align.BarPath(align.Smooth(fixes, d.frame, align.DefaultSmooth()), trailed, align.DefaultPath())
	if len(p.Pieces) != 2 {
		t.Fatalf("%d pieces", len(p.Pieces))
	}
	span := p.T[len(p.T)-1] - p.T[0]
	rapid.Check(t, func(t *rapid.T) {
		at := rapid.SliceOfN(rapid.Int64Range(-3_000_000, int64(span)+3_000_000), 1, 30).Draw(t, "moments")
		c := p.Cursor()
		for _, m := range at {
			tm := p.T[0] + evenstand.Micros(m)
			got, want := c.At(tm), p.Cursor().At(tm)
			if math.IsNaN(got.SD) && math.IsNaN(want.SD) {
				got.SD, want.SD, got.PsiSD, want.PsiSD = 0, 0, 0, 0
			}
			if got != want {
				t.Fatalf("at %d: %+v, fresh %+v", m, got, want)
			}
			if math.IsNaN(got.S + got.E + got.N + got.Psi) {
				t.Fatalf("at %d: %+v", m, got)
			}
			later := c.At(tm + 40_000)
			if later.S < got.S-1e-9 {
				t.Fatalf("S falls from %g to %g", got.S, later.S)
			}
		}
	})
	empty := align.BarPath(align.Smooth(nil, d.frame, align.DefaultSmooth()), trailed, align.DefaultPath())
	if q := empty.Cursor().At(firstTime); q.OK || !math.IsNaN(q.E) {
		t.Errorf("no path, but %+v", q)
	}
}

func BenchmarkCursor(b *testing.B) {
	d := newDrive(1, trailed, 0, 0, 0.03, day())
	p := align.BarPath(align.Smooth(d.fixes(1, 5, 0.02, evenstand.FixRTK), d.frame, align.DefaultSmooth()), trailed, align.DefaultPath())
	span := p.T[len(p.T)-1] - p.T[0]
	for _, bench := range []struct {
		name string
		step evenstand.Micros
	}{{"16 rows together", 2_500}, {"row by row", 40_000}} {
		b.Run(bench.name, func(b *testing.B) {
			c := p.Cursor()
			t, y := evenstand.Micros(0), -outermost
			sum := 0.0
			b.ReportAllocs()
			for b.Loop() {
				if t += bench.step; t > span {
					t = 0
				}
				q := c.At(p.T[0] + t)
				sum += align.RowWay(q, y) + q.S
			}
			b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "seeds/s")
			_ = sum
		})
	}
}

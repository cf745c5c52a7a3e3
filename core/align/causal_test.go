package align_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"evenstand"
	"evenstand/core/align"
)

var mounted = evenstand.Geometry{Hitch: evenstand.Mounted}

// live hands fixes to a causal path as they would arrive, kept half a second
// ahead of the path, and gives the path.
func live(fixes []evenstand.Fix, geo evenstand.Geometry, until evenstand.Micros, at func(t evenstand.Micros, p *align.Path)) *align.Path {
	const hold = evenstand.Second / 2
	c := align.NewCausal(geo, align.DefaultSmooth(), align.DefaultPath())
	i := 0
	for t := firstTime; t < until; t += evenstand.Second / 10 {
		for ; i < len(fixes) && fixes[i].T <= t; i++ {
			c.Fix(fixes[i])
		}
		c.Until(t - hold)
		if at != nil {
			at(t-hold, c.Path())
		}
	}
	return c.Path()
}

// The causal path lies where the drive was: on straights nearly as well as the
// smoothed one, whose limit in the tests of rows is 5 cm with the same
// receiver; and the way between two moments, which is what seeds are spaced by,
// is as long as it was to half a per cent.
func TestCausalPath(t *testing.T) {
	d := newDrive(11, trailed, 0, 0.7, 0.03, []part{{way: 300, v: 2.2}, {way: 60, kappa: 1.0 / 60, v: 2.2}, {way: 300, v: 4}})
	p := live(d.fixes(11, 5, 0.02, evenstand.FixRTK), trailed, firstTime+evenstand.FromSeconds(d.t[len(d.t)-1]), nil)
	c := p.Cursor()
	var sum, heading, n float64
	last := -1
	for i := 0; i < len(d.t); i += 10 {
		if d.t[i] < 30 || d.t[i] > d.t[len(d.t)-1]-2 || d.leg[i] == 1 {
			continue
		}
		x := c.At(firstTime + evenstand.FromSeconds(d.t[i]))
		if !x.OK {
			t.Fatalf("at %.1f s the path is not known", d.t[i])
		}
		lat, lon := p.Frame.ToGlobal(x.E, x.N)
		e, nn := d.frame.ToLocal(lat, lon)
		sum += math.Pow(e-d.be[i], 2) + math.Pow(nn-d.bn[i], 2)
		heading += math.Pow(math.Remainder(x.Psi-d.psi[i], 2*math.Pi), 2)
		n++
		if last >= 0 && d.t[i]-d.t[last] > 10 && d.leg[i] == d.leg[last] {
			a := c.At(firstTime + evenstand.FromSeconds(d.t[last]))
			way, want := x.S-a.S, d.way[i]-d.way[last]
			if math.Abs(way-want) > 0.005*want+0.06 {
				t.Errorf("from %.1f to %.1f s: %.3f m, want %.3f", d.t[last], d.t[i], way, want)
			}
			last = -1
		}
		if last < 0 {
			last = i
		}
	}
	if rms := math.Sqrt(sum / n); rms > 0.06 {
		t.Errorf("places are off by %.3f m rms, want at most 0.06", rms)
	}
	if rms := math.Sqrt(heading / n); rms > 0.01 {
		t.Errorf("headings are off by %.4f rad rms, want at most 0.01", rms)
	}
}

// A place that jumps aside by metres and stays there, or comes back, is no
// drive: the path's speed stays that of the planter, and the way is too long or
// too short by no more than the jumps. (At one fix a second who brakes hard and
// who jumps are not to be told apart until the next fixes come.)
func TestCausalJump(t *testing.T) {
	for _, tt := range []struct{ east, north, hz, back float64 }{
		{2.5, 0, 5, 60}, {0, 2.5, 5, 1e9}, {0, -2.5, 5, 60}, {-1, 1, 10, 60}, {5, 5, 5, 1e9}, {0.8, 0, 5, 2},
	} {
		d := newDrive(13, mounted, 0, 0.3, 0.03, []part{{way: 600, v: 4}})
		fixes := d.fixes(13, tt.hz, 0.02, evenstand.FixRTK)
		until := firstTime + evenstand.FromSeconds(d.t[len(d.t)-1])
		clean := live(fixes, mounted, until, nil).Cursor()
		from := firstTime + 40*evenstand.Second
		for i := range fixes {
			if f := &fixes[i]; f.T >= from && f.T < from+evenstand.FromSeconds(tt.back) {
				f.Lat += tt.north / 111132
				f.Lon += tt.east / (111320 * math.Cos(f.Lat*math.Pi/180))
			}
		}
		p := live(fixes, mounted, until, nil)
		for i, v := range p.V {
			if want := clean.At(p.T[i]); want.OK && p.T[i] > from-evenstand.Second && math.Abs(v-want.V) > 1.5 {
				t.Errorf("%+v: %.1f m/s %.1f s after the jump, want %.1f", tt, v, (p.T[i] - from).Seconds(), want.V)
				break
			}
		}
		c := p.Cursor()
		before, after := from-evenstand.Second, firstTime+130*evenstand.Second
		want := clean.At(after).S
		want -= clean.At(before).S
		way := c.At(after).S
		way -= c.At(before).S
		if math.Abs(way-want) > 2*math.Hypot(tt.east, tt.north)+1 {
			t.Errorf("%+v: a way of %.1f m, want %.1f", tt, way, want)
		}
	}
}

// What was said is not taken back: an entry depends only on what had come by
// then, so cutting the log off later changes nothing before.
func TestCausalKnowsNoFuture(t *testing.T) {
	d := newDrive(12, mounted, 0, 0.2, 0.03, []part{{way: 60, v: 3}, {stand: 5}, {way: 60, v: 3}})
	fixes := d.fixes(12, 5, 0.02, evenstand.FixUnknown)
	end := firstTime + evenstand.FromSeconds(d.t[len(d.t)-1])
	whole := live(fixes, mounted, end, nil)
	half := live(fixes[:len(fixes)/2], mounted, fixes[len(fixes)/2].T, nil)
	if len(half.T) < 100 {
		t.Fatalf("%d entries of half the log", len(half.T))
	}
	for i := range len(half.T) - 1 { // the last one's speed is one-sided
		if half.E[i] != whole.E[i] || half.S[i] != whole.S[i] || half.Psi[i] != whole.Psi[i] || half.V[i] != whole.V[i] {
			t.Fatalf("entry %d differs once more has come", i)
		}
	}
	if !slices.IsSorted(whole.S) {
		t.Error("S falls")
	}
}

// A planter that stops from 4 m/s within a second does not roll on in the
// path, and one fix that jumps does not move it.
func TestCausalSuddenStop(t *testing.T) {
	var fixes []evenstand.Fix
	frame := newDrive(1, mounted, 0, 0, 0, []part{{way: 1, v: 1}}).frame
	s := 0.0
	for i := range 400 {
		v := 4.0
		switch t := float64(i) / 5; {
		case t >= 41:
			v = 0
		case t >= 40:
			v = 4 * (41 - t)
		}
		jump := 0.0
		if i == 100 {
			jump = 3
		}
		lat, lon := frame.ToGlobal(jump, s)
		f := evenstand.NewFix(firstTime+evenstand.Micros(i)*evenstand.Second/5, lat, lon)
		f.Kind = evenstand.FixRTK
		fixes = append(fixes, f)
		s += v / 5
	}
	p := live(fixes, mounted, fixes[len(fixes)-1].T, nil)
	got := p.S[len(p.S)-1]
	if math.Abs(got-s) > 0.5 {
		t.Errorf("the way is %.2f m, want %.2f", got, s)
	}
	if len(p.Pieces) != 1 {
		t.Errorf("%d pieces, want one", len(p.Pieces))
	}
	for i, e := range p.E {
		if math.Abs(e) > 0.1 {
			t.Fatalf("entry %d lies %.2f m to the side", i, e)
		}
	}
}

// The path is kept for as long as is asked for, however long the day.
func TestCausalForgets(t *testing.T) {
	d := newDrive(13, mounted, 0, 0.2, 0.03, []part{{way: 2000, v: 4}})
	most := 0
	c := align.NewCausal(mounted, align.DefaultSmooth(), align.DefaultPath())
	cursor := c.Path().Cursor()
	if x := cursor.At(firstTime); x.OK || !math.IsNaN(x.S) { // asked before there is a path
		t.Errorf("without a fix the bar is at %v", x)
	}
	for _, f := range d.fixes(13, 5, 0.02, evenstand.FixRTK) {
		c.Fix(f)
		c.Until(f.T - evenstand.Second/2)
		before := cursor.At(f.T - 20*evenstand.Second)
		if f.T-firstTime > 30*evenstand.Second && !before.OK {
			t.Fatalf("at %v the bar is not known", f.T)
		}
		c.Forget(f.T - 60*evenstand.Second)
		if after := c.Path().Cursor().At(f.T - 20*evenstand.Second); before.OK && after.S != before.S {
			t.Fatalf("forgetting moved the bar from %v to %v", before, after)
		}
		most = max(most, len(c.Path().T))
	}
	if most > 2100 {
		t.Errorf("%d entries were kept, want at most twice 1,024 and a few", most)
	}
}

// By hand: lifted, lowered at 10 s, lifted at 30 s; the seeds go on to say
// nothing then. Before the switch was ever off the seeds decide.
func TestDownWatch(t *testing.T) {
	at := func(s float64) evenstand.Micros { return firstTime + evenstand.FromSeconds(s) }
	machine := evenstand.Element{Scope: evenstand.ScopeMachine}
	w := align.NewDownWatch(2)
	w.Reading(evenstand.Reading{T: at(0), Quantity: evenstand.ImplementLifted, Element: machine, Value: 0})
	if down, _, basis := w.At(at(1), nil); !down || basis != align.ByLift {
		t.Errorf("down %v by %q, want down by the only word there is", down, basis)
	}
	w.Seed(evenstand.Seed{T: at(2), Row: 1})
	if down, since, basis := w.At(at(3), nil); !down || since != at(2) || basis != align.BySeeds {
		t.Errorf("down %v since %v by %q, want since the seed", down, since, basis)
	}
	if down, since, _ := w.At(at(5), nil); down || since != at(2)+1 {
		t.Errorf("down %v since %v three seconds after the last seed", down, since)
	}
	w.Reading(evenstand.Reading{T: at(6), Quantity: evenstand.ImplementLifted, Element: machine, Value: 1})
	w.Reading(evenstand.Reading{T: at(10), Quantity: evenstand.ImplementLifted, Element: machine, Value: 0})
	if down, _, _ := w.At(at(10), nil); down {
		t.Error("down at the very moment, before all of it has come")
	}
	if down, since, basis := w.At(at(10.1), nil); !down || since != at(10) || basis != align.ByLift {
		t.Errorf("down %v since %v by %q, want since 10 s by the switch", down, since, basis)
	}
	w.Reading(evenstand.Reading{T: at(30), Quantity: evenstand.ImplementLifted, Element: machine, Value: 1})
	w.Seed(evenstand.Seed{T: at(30.5), Row: 1})
	if down, since, _ := w.At(at(31), nil); down || since != at(30) {
		t.Errorf("down %v since %v after the lift", down, since)
	}
}

// A planter brakes hard, stands, creeps on and goes: whatever the receiver and
// wherever its fixes fall, the way is as long as it was and the bar does not
// turn about. By hand: from 4.2 m/s braking takes v²/2b; the limits of the way
// are judged, a seed or two at grade A and less than a reading's way at 1 Hz.
func TestCausalBraking(t *testing.T) {
	const v = 4.2
	for _, tt := range []struct{ hz, noise, brake, limit float64 }{
		{1, 0.02, 1.5, 1},
		{5, 0.02, 1.5, 0.3},
		{5, 0.02, 6, 0.4},
		{5, 0.15, 3, 0.8},
		{10, 0.01, 3, 0.3},
		{10, 0.02, 6, 0.5},
	} {
		b := v / tt.brake
		at := func(t float64) float64 {
			switch {
			case t < 40:
				return v * t
			case t < 40+b:
				return v*t - tt.brake*(t-40)*(t-40)/2
			}
			stop := v*40 + v*b/2
			if t < 60 {
				return stop
			}
			u := math.Min(8, t-60)
			return stop + 0.25*u*u + math.Max(0, t-68)*4
		}
		for seed := range uint64(20) {
			rng := rand.New(rand.NewPCG(seed, 2))
			frame := newDrive(1, mounted, 0, 0, 0, []part{{way: 1, v: 1}}).frame
			off := rng.Float64() / tt.hz
			var fixes []evenstand.Fix
			for i := range int(80 * tt.hz) {
				s := off + float64(i)/tt.hz
				lat, lon := frame.ToGlobal(tt.noise*rng.NormFloat64(), at(s)+tt.noise*rng.NormFloat64())
				f := evenstand.NewFix(firstTime+evenstand.FromSeconds(s), lat, lon)
				f.Kind = evenstand.FixRTK
				if tt.noise > 0.1 {
					f.Kind = evenstand.FixGNSS
				}
				fixes = append(fixes, f)
			}
			p := live(fixes, mounted, fixes[len(fixes)-1].T, nil)
			c := p.Cursor()
			pose := func(s float64) align.Pose { return c.At(firstTime + evenstand.FromSeconds(s)) }
			a, z := pose(30), pose(77)
			if off := z.S - a.S - (at(77) - at(30)); math.Abs(off) > tt.limit {
				t.Errorf("%g Hz, %g m, %g m/s2, seed %d: the way is off by %.2f m", tt.hz, tt.noise, tt.brake, seed, off)
			}
			if math.Abs(z.Psi-a.Psi) > 0.5 {
				t.Errorf("%g Hz, %g m, %g m/s2, seed %d: it turned from %.2f to %.2f rad", tt.hz, tt.noise, tt.brake, seed, a.Psi, z.Psi)
			}
		}
	}
}

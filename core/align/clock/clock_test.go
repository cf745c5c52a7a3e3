package clock_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"evenstand"
	"evenstand/core/align/clock"
)

func chance(n uint64) *rand.Rand { return rand.New(rand.NewPCG(7602, n)) }

// check holds a fit against the true offset at the middle of its span.
func check(t *testing.T, f clock.Fit, off, drift, most float64) {
	t.Helper()
	at := (f.At - morning).Seconds()
	if e := f.Offset - off - drift*(at-off); math.Abs(e) > most {
		t.Errorf("offset %.3f s, %.3f off the truth (stated %.3f)", f.Offset, e, f.SE)
	}
}

// Boxes half a minute off, 100 ppm adrift, in local time, and with a hole of
// twenty minutes: the cases that the design asks for.
func TestPairFar(t *testing.T) {
	for _, tt := range []struct {
		name       string
		off, drift float64
		hours      float64
		hole       bool
	}{
		{"30 s fast", 30, 0, 1.2, false},
		{"100 ppm adrift", -2, 100e-6, 4, false},
		{"local time, UTC-5", -5*3600 + 0.7, 20e-6, 2, false},
		{"a zone of three quarters", 5.75*3600 - 31, 0, 2, false},
		{"a hole", 4, 30e-6, 2, true},
	} {
		t.Run(tt.name, func(t *testing.T) {
			g := chance(1)
			v := drive(g, tt.hours*3600, true)
			b := box(g, v, morning, 1, tt.off, tt.drift)
			if tt.hole {
				a, z := len(b.T)/3, len(b.T)/3+1200
				b.T, b.V = append(b.T[:a:a], b.T[z:]...), append(b.V[:a:a], b.V[z:]...)
			}
			fits := clock.Pair(box(g, v, morning, 5, 0, 0), b, clock.Options{Zones: true})
			if len(fits) != 1 {
				t.Fatalf("%d fits, want one: %+v", len(fits), fits)
			}
			check(t, fits[0], tt.off, tt.drift, 0.06)
		})
	}
}

// A clock that is set while planting gives two fits that part where it was.
func TestPairSet(t *testing.T) {
	for _, jump := range []float64{1.0, 42, -18} {
		g := chance(2)
		v := drive(g, 3*3600, true)
		b := box(g, v, morning, 1, 3, 10e-6)
		at := 2 * len(b.T) / 5
		when := b.T[at]
		for i := at; i < len(b.T); i++ {
			b.T[i] += evenstand.FromSeconds(jump)
		}
		fits := clock.Pair(box(g, v, morning, 5, 0, 0), b, clock.Options{Zones: true})
		if len(fits) != 2 {
			t.Fatalf("set by %g s: %d fits, want two: %+v", jump, len(fits), fits)
		}
		check(t, fits[0], 3, 10e-6, 0.06)
		check(t, fits[1], 3+jump, 10e-6, 0.06)
		if d := (fits[1].From - when).Seconds(); math.Abs(d) > 120 {
			t.Errorf("set by %g s: parted %.0f s from where it was set", jump, d)
		}
		if jump > 10 && (fits[0].To > when || fits[1].From < when+evenstand.FromSeconds(jump)-evenstand.Second) {
			t.Errorf("set by %g s at %s: parted from %s to %s, beside the hole", jump, when, fits[0].To, fits[1].From)
		}
	}
}

// What does not tell the time gives no offset: a constant speed, a field that
// repeats itself exactly, another day, a log of a few seconds.
func TestPairUnknown(t *testing.T) {
	g := chance(3)
	v := drive(g, 3600, true)
	ref := box(g, v, morning, 5, 0, 0)
	flat := make([]float64, len(v))
	for i := range flat {
		flat[i] = 2.2
	}
	same := make([]float64, len(v)) // a turn every 40 s to the tick
	for i := range same {
		same[i] = 2.2
		if i%2000 < 400 {
			same[i] = 1.4
		}
	}
	other := drive(chance(4), 3600, true)
	for _, tt := range []struct {
		name     string
		ref, box clock.Series
	}{
		{"constant speed", box(g, flat, morning, 5, 0, 0), box(g, flat, morning, 1, 2, 0)},
		{"identical turns", box(g, same, morning, 5, 0, 0), box(g, same, morning, 1, 2, 0)},
		{"another day", ref, box(g, other, morning, 1, 2, 0)},
		{"a minute", ref, box(g, v[:3000], morning, 1, 2, 0)},
		{"nothing", ref, clock.Series{}},
	} {
		if fits := clock.Pair(tt.ref, tt.box, clock.Options{Zones: true}); len(fits) > 0 {
			t.Errorf("%s: %+v, want nothing", tt.name, fits)
		}
	}
}

// A logger that writes ten lines a second of a sensor that gives one, and one
// that goes on with its last value while the sensor is silent.
func TestHeld(t *testing.T) {
	g := chance(5)
	v := drive(g, 2*3600, true)
	slow := box(g, v, morning, 1, -6, 0)
	var fast clock.Series
	for i := range slow.T {
		for k := range evenstand.Micros(10) {
			fast.Add(slow.T[i]+k*evenstand.Second/10, slow.V[i])
		}
	}
	moving := func(s clock.Series) (n int) { // a standing machine is zero and stays as it is written
		for _, v := range s.V {
			if v != 0 {
				n++
			}
		}
		return n
	}
	if kept, given := moving(fast.Clean()), moving(slow); kept > given || kept < given*9/10 {
		t.Errorf("%d values kept of %d that the sensor gave", kept, given)
	}
	for i := len(slow.V) / 2; i < len(slow.V)/2+900; i++ {
		slow.V[i] = 1.9
	}
	for _, s := range []clock.Series{fast, slow} {
		fits := clock.Pair(box(g, v, morning, 5, 0, 0), s, clock.Options{})
		if len(fits) != 1 {
			t.Fatalf("%d fits: %+v", len(fits), fits)
		}
		check(t, fits[0], -6, 0, 0.08)
	}
}

// flow drops seeds by a speed with a lag, none while lifted, and counts them
// by quarter seconds. The planter is lifted when the tractor slows down for a
// turn, and stands before it is lifted where it stops; early lifts it there
// too while it rolls.
func flow(g *rand.Rand, v []float64, start evenstand.Micros, lag, offset float64, early bool) (s clock.Series) {
	const tick = 0.02
	down := make([]bool, len(v))
	on := true
	for i := range v {
		stops := false
		for k := i; k < min(i+100, len(v)); k += 10 {
			stops = stops || v[k] < 0.01
		}
		slow := v[i] < 1.5
		if slow && (early || !stops || v[i] < 0.005) {
			on = false
		}
		if v[i] > 1.6 {
			on = true
		}
		down[i] = on
	}
	due, n := 0.0, 0
	bin := 0
	for i := range v {
		if b := int(float64(i) * tick / 0.25); b > bin {
			s.Add(start+evenstand.FromSeconds((float64(bin)+0.5)*0.25+offset), float64(n)*4)
			bin, n = b, 0
		}
		j := i - int(math.Round(lag/tick))
		if j >= 0 && down[j] {
			due += v[j] * tick * 16 / 0.16
		}
		for due >= 1 {
			due -= 0.6 + 0.8*g.Float64()
			n++
		}
	}
	return s
}

// receiver gives the speed of smoothed places, five values a second. Its noise
// is 0.02 m/s; the 0.08 of the table would move the seeds by 0.06 s, because
// they are compared where the planter comes to a stand and not where it starts.
func receiver(g *rand.Rand, v []float64, start evenstand.Micros) (s clock.Series) {
	for i := 0; i < len(v); i += 10 {
		x := v[i]
		if x > 0 {
			x += 0.02 * g.NormFloat64()
		}
		s.Add(start+evenstand.FromSeconds(float64(i)*0.02), x)
	}
	return s
}

// Seeds of 16 rows against the speed: 0.024 s in half an hour at 5 values a
// second (methods document, section k). A planter that is lifted before it
// stands has fewer ramps to go by.
func TestFollow(t *testing.T) {
	for _, early := range []bool{false, true} {
		var sq, se float64
		inside, n := 0, 0
		const runs = 20
		for k := range uint64(runs) {
			g := chance(100 + k)
			v := drive(g, 3600, true)
			off := 60 * (g.Float64() - 0.5)
			s := flow(g, v, morning, 0.3, off, early)
			fits := clock.Follow(receiver(g, v, morning), s, clock.Options{Zones: true})
			if len(fits) != 1 {
				continue
			}
			e := fits[0].Offset - off - 0.3
			sq, se = sq+e*e, se+fits[0].SE
			n++
			if math.Abs(e) <= 1.645*fits[0].SE {
				inside++
			}
		}
		rms := math.Sqrt(sq / float64(n))
		t.Logf("lifted early %v: %d told, rms %.3f s, stated %.3f, %d inside", early, n, rms, se/float64(n), inside)
		most := 0.036
		if early {
			most = 0.15
		}
		if n < runs*3/4 || rms > most || inside < n*3/4 {
			t.Errorf("lifted early %v: rms %.3f s, %d of %d inside the stated error, %d runs", early, rms, inside, n, runs)
		}
	}
}

// The planter's edges at one state a second: √(2/12)/√E, 0.065 s for forty
// (methods document, section k, derived there).
func TestEdges(t *testing.T) {
	var sq, se float64
	const runs = 40
	n, inside := 0, 0
	for k := range uint64(runs) {
		g := chance(200 + k)
		var ref, box []clock.Edge
		off, drift := 50*(g.Float64()-0.5), 30e-6
		at := 0.0
		for i := range 40 {
			at += 20 + 200*g.Float64()
			up := func(t float64, phase float64) float64 { return math.Ceil(t-phase) + phase - 0.5 }
			ref = append(ref, clock.Edge{T: morning + evenstand.FromSeconds(up(at, 0.3)), Down: i%2 == 0})
			if i%9 != 4 { // some are not seen
				box = append(box, clock.Edge{T: morning + evenstand.FromSeconds(up(at, 0.8)+off+drift*at), Down: i%2 == 0})
			}
		}
		fits := clock.Edges(ref, box, 1, 1, clock.Options{})
		if len(fits) != 1 {
			continue
		}
		n++
		f := fits[0]
		e := f.Offset - off - drift*((f.At-morning).Seconds()-off)
		sq, se = sq+e*e, se+f.SE
		if math.Abs(e) <= 1.645*f.SE {
			inside++
		}
	}
	rms := math.Sqrt(sq / float64(n))
	t.Logf("%d of %d told, rms %.3f s, stated %.3f, %d inside", n, runs, rms, se/float64(n), inside)
	if n < runs*9/10 || rms > 0.1 || inside < n*3/4 {
		t.Errorf("%d of %d told, rms %.3f s, %d inside", n, runs, rms, inside)
	}
	// Edges that repeat every minute fit at every minute.
	var ref, box []clock.Edge
	for i := range 40 {
		at := morning + evenstand.Micros(i)*30*evenstand.Second
		ref = append(ref, clock.Edge{T: at, Down: i%2 == 0})
		box = append(box, clock.Edge{T: at + 3*evenstand.Second, Down: i%2 == 0})
	}
	if fits := clock.Edges(ref, box, 0.2, 0.2, clock.Options{}); len(fits) > 0 {
		t.Errorf("identical passes: %+v", fits)
	}
}

// Three links about a triangle: by hand, the two ways to clock 2 are 3.0 with
// a variance of 0.04 and 3.2 with 0.04, so 3.1 with 0.02. A fourth that says
// something else by ten standard errors is dropped.
func TestGraph(t *testing.T) {
	link := func(a, b int, off, se float64) clock.Link {
		return clock.Link{A: a, B: b, Fit: clock.Fit{At: morning, Offset: off, SE: se, DriftSE: 1e-5}}
	}
	links := []clock.Link{
		link(0, 1, 1, math.Sqrt(0.02)), link(1, 2, 2, math.Sqrt(0.02)), link(0, 2, 3.2, math.Sqrt(0.04)),
		link(4, 3, 1, 0.1),
	}
	fits := clock.Graph(5, links, morning)
	if f := fits[2]; math.Abs(f.Offset-3.1) > 1e-6 || math.Abs(f.SE-math.Sqrt(0.02)) > 1e-6 {
		t.Errorf("clock 2 is %.6f off with an error of %.6f, want 3.1 and %.6f", f.Offset, f.SE, math.Sqrt(0.02))
	}
	if !math.IsNaN(fits[3].Offset) || !math.IsNaN(fits[4].Offset) {
		t.Errorf("clocks 3 and 4 have to do with nobody, but are %v", fits[3:])
	}
	with := clock.Graph(3, []clock.Link{link(0, 1, 1, 0.02), link(1, 2, 2, 0.02), link(0, 2, 3, 0.02), link(0, 2, 4, 0.08)}, morning)
	if f := with[2]; math.Abs(f.Offset-3) > 1e-6 {
		t.Errorf("with a stray link clock 2 is %.6f off, want 3", f.Offset)
	}
}

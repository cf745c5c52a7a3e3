package align_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"evenstand"
	"evenstand/core/align"
)

// field is a small field worked up and down, and then along its south edge.
// Half turns of 9 m in between; the planter is down on the legs of down.
func field() (parts []part, down []int) {
	half := func(right bool) part {
		k := 1.0 / 9
		if !right {
			k = -k
		}
		return part{way: math.Pi * 9, kappa: k, v: 1.3}
	}
	return []part{
		{way: 20, v: 1.5},
		{way: 300, v: 2.2},
		{way: 15, v: 1.5},
		half(true),
		{way: 15, v: 1.5},
		{way: 300, v: 2.2},
		{way: 15, v: 1.5},
		half(false),
		{way: 15, v: 1.5},
		{way: 300, v: 2.2},
		{way: 15, v: 1.5},
		half(true),
		{way: 15, v: 1.5},
		{way: 150, v: 2.2},
		{stand: 40},
		{way: 150, v: 2.2},
		{way: 15, v: 1.5},
		{way: math.Pi / 2 * 9, kappa: 1.0 / 9, v: 1.3},
		{way: 15, v: 1.5},
		{way: 100, v: 2.2},
		{way: 15, v: 1.5},
	}, []int{1, 5, 9, 13, 14, 15, 19}
}

// spans gives the times in which the drive was on the legs.
func (d *drive) spans(legs []int) []align.Interval {
	is := map[int]bool{}
	for _, l := range legs {
		is[l] = true
	}
	var out []align.Interval
	on := false
	for i, l := range d.leg {
		t := firstTime + evenstand.FromSeconds(d.t[i])
		if is[l] && !on {
			out = append(out, align.Interval{From: t})
		}
		if !is[l] && on {
			out[len(out)-1].To = t
		}
		on = is[l]
	}
	if on {
		out[len(out)-1].To = firstTime + evenstand.FromSeconds(d.t[len(d.t)-1])
	}
	return out
}

func (d *drive) box(name string, e0, n0, e1, n1 float64) evenstand.Field {
	var ring [][2]float64
	for _, c := range [][2]float64{{e0, n0}, {e1, n0}, {e1, n1}, {e0, n1}} {
		lat, lon := d.frame.ToGlobal(c[0], c[1])
		ring = append(ring, [2]float64{lon, lat})
	}
	return evenstand.Field{Name: name, Polygons: [][][][2]float64{{ring}}}
}

func TestPasses(t *testing.T) {
	parts, legs := field()
	d := newDrive(20, trailed, 0, 0, 0.02, parts)
	p := align.BarPath(align.Smooth(d.fixes(20, 5, 0.02, evenstand.FixRTK), d.frame, align.DefaultSmooth()), trailed, align.DefaultPath())
	down := d.spans(legs)
	if len(down) != 5 {
		t.Fatalf("%d spans", len(down))
	}
	// Chatter of the lift switch: 0.4 s up, and 1.5 s up, part nothing.
	first := down[0]
	down = append([]align.Interval{
		{From: first.From, To: first.From + 30*evenstand.Second},
		{From: first.From + 30*evenstand.Second + 400_000, To: first.From + 60*evenstand.Second},
		{From: first.From + 60*evenstand.Second + 1_500_000, To: first.To},
	}, down[1:]...)
	// A touch while standing is no pass.
	stand := down[len(down)-1].To
	down = append(down, align.Interval{From: stand + 60*evenstand.Second, To: stand + 61*evenstand.Second})

	opt := align.PassOptions{
		Planter: "p", Width: 12.192, ClockError: 0.02, FallSD: 0.004,
		Fields: []evenstand.Field{d.box("far", 5000, 0, 5100, 100), d.box("home", -100, -100, 300, 420)},
	}
	got := align.Passes(p, down, opt)
	if len(got) != 5 {
		t.Fatalf("%d passes, want 5: %+v", len(got), got)
	}
	for i, g := range got {
		wantHeading := []float64{0, 180, 0, 180, 270}[i]
		if math.Abs(math.Remainder(g.Heading-wantHeading, 360)) > 3 {
			t.Errorf("pass %d heads %.1f, want %.0f", i+1, g.Heading, wantHeading)
		}
		length := 300.0
		switch i {
		case 3:
			length = 304 // with the way that braking for the stop takes, v²/2a
		case 4:
			length = 100
		}
		if got := g.S1 - g.S0; math.Abs(got-length) > 3 {
			t.Errorf("pass %d is %.1f m, want %g", i+1, got, length)
		}
		if g.Field != "home" || g.Number != i+1 || int(g.Index) != i {
			t.Errorf("pass %d: field %q number %d index %d", i+1, g.Field, g.Number, g.Index)
		}
		if want := "p/" + g.Start.Time().Format("20060102T150405Z"); g.Key != want {
			t.Errorf("key %q, want %q", g.Key, want)
		}
		if g.Headland != (i == 4) {
			t.Errorf("pass %d: headland %v", i+1, g.Headland)
		}
		// 90 %: √(2 cm² + clocks 2.2 m/s × 12 ms + rows) × 1.645, so 4 to 15 cm.
		if !(g.PosError > 0.04 && g.PosError < 0.15) {
			t.Errorf("pass %d: position error %.3f m", i+1, g.PosError)
		}
	}
	if math.Abs((got[0].Start - first.From).Seconds()) > 0.01 {
		t.Errorf("pass 1 starts %.2f s after lowering", (got[0].Start - first.From).Seconds())
	}

	// No boundary: unassigned, and the headland by heading alone.
	opt.Fields = nil
	for i, g := range align.Passes(p, down, opt) {
		if g.Field != evenstand.Unassigned || g.Headland != (i == 4) {
			t.Errorf("without a boundary pass %d: %q headland %v", i+1, g.Field, g.Headland)
		}
	}
	// A boundary just west of pass 1: its way is near the edge.
	opt.Fields = []evenstand.Field{d.box("tight", -10, -100, 300, 420)}
	if g := align.Passes(p, down, opt)[0]; !g.Headland {
		t.Error("a pass 10 m from the boundary is no headland pass")
	}
	// Clocks of unknown error: so is the place.
	opt.ClockError = math.NaN()
	if g := align.Passes(p, down, opt)[0]; !math.IsNaN(g.PosError) {
		t.Errorf("position error %.3f m with unknown clocks", g.PosError)
	}
	if got := align.Passes(p, nil, opt); len(got) != 0 {
		t.Errorf("never down, but %d passes", len(got))
	}

	// Points of the path carry the pass.
	in, all := 0, 0
	for q := range p.Points(1, got) {
		all++
		if q.Pass >= 0 {
			in++
			if g := got[q.Pass]; q.T < g.Start || q.T >= g.End {
				t.Fatal("a point in the wrong pass")
			}
		}
		if q.Heading < 0 || q.Heading >= 360 {
			t.Fatalf("heading %g", q.Heading)
		}
	}
	if in < 600 || in > 760 { // 1300 m at 2.2 m/s and 40 s of standing
		t.Errorf("%d of %d points lie in passes", in, all)
	}
}

// A corner of 90 degrees driven with the planter down parts the pass in the
// corner; a curve of 60 m does not; short pieces join.
func TestPassesTurn(t *testing.T) {
	corner := func(r float64) part { return part{way: math.Pi / 2 * r, kappa: 1 / r, v: 1.5} }
	for _, c := range []struct {
		name    string
		parts   []part
		lengths []float64
	}{
		{"corner of 9 m", []part{{way: 150, v: 2.2}, corner(9), {way: 100, v: 2.2}}, []float64{157, 107}},
		{"curve of 60 m", []part{{way: 150, v: 2.2}, corner(60), {way: 100, v: 2.2}}, []float64{344}},
		{"straight", []part{{way: 150, v: 2.2}}, []float64{150}},
		{"two corners 8 m apart", []part{{way: 150, v: 2.2}, corner(9), {way: 8, v: 1.5}, corner(9), {way: 100, v: 2.2}}, []float64{157, 22, 107}},
	} {
		g := evenstand.Geometry{Hitch: evenstand.Mounted}
		d := newDrive(21, g, 0, 0, 0, c.parts)
		p := align.BarPath(align.Smooth(d.fixes(21, 10, 0.01, evenstand.FixRTK), d.frame, align.DefaultSmooth()), g, align.DefaultPath())
		got := align.Passes(p, []align.Interval{{From: firstTime, To: firstTime + 3600*evenstand.Second}}, align.PassOptions{Width: math.NaN()})
		if len(got) != len(c.lengths) {
			var l []float64
			for _, g := range got {
				l = append(l, g.S1-g.S0)
			}
			t.Errorf("%s: lengths %.0f, want %.0f", c.name, l, c.lengths)
			continue
		}
		for i, g := range got {
			if math.Abs(g.S1-g.S0-c.lengths[i]) > 8 {
				t.Errorf("%s: pass %d is %.1f m, want %.0f", c.name, i+1, g.S1-g.S0, c.lengths[i])
			}
			if i > 0 && g.S0 != got[i-1].S1 {
				t.Errorf("%s: a hole between passes", c.name)
			}
		}
	}
}

func reading(s float64, q evenstand.Quantity, e evenstand.Element, v float64) evenstand.Reading {
	return evenstand.Reading{T: firstTime + evenstand.FromSeconds(s), Quantity: q, Element: e, Value: v}
}

func TestLowering(t *testing.T) {
	machine := evenstand.Element{}
	at := func(from, to float64) align.Interval {
		return align.Interval{From: firstTime + evenstand.FromSeconds(from), To: firstTime + evenstand.FromSeconds(to)}
	}
	seeds := func(l *align.Lowering, rows int, from, to float64) {
		for s := from; s < to; s += 0.04 {
			for r := 1; r <= rows; r++ {
				l.Seed(evenstand.Seed{T: firstTime + evenstand.FromSeconds(s), Row: int16(r)})
			}
		}
	}
	lift := func(l *align.Lowering) {
		for _, c := range [][2]float64{{0, 1}, {10, 0}, {50, 1}, {50.3, 0}, {90, 1}, {120, 0}, {160, 1}, {170, math.NaN()}} {
			l.Reading(reading(c[0], evenstand.ImplementLifted, machine, c[1]))
		}
	}
	for _, c := range []struct {
		name  string
		fill  func(l *align.Lowering)
		basis string
		want  []align.Interval
	}{
		{"nothing", func(l *align.Lowering) {}, "", nil},
		{"lift, with chatter", lift, align.ByLift, []align.Interval{at(10, 90), at(120, 160)}},
		{"lift goes before rows", func(l *align.Lowering) {
			lift(l)
			l.Reading(reading(0, evenstand.RowWorking, machine, 1))
			l.Reading(reading(5, evenstand.RowWorking, machine, 0))
			seeds(l, 8, 0, 20)
		}, align.ByLift, []align.Interval{at(10, 90), at(120, 160)}},
		{"rows at work, any one", func(l *align.Lowering) {
			for r := 1; r <= 8; r++ {
				e := evenstand.RowElement(r)
				l.Reading(reading(0, evenstand.RowWorking, e, 0))
				l.Reading(reading(10+float64(r), evenstand.RowWorking, e, 1))
				l.Reading(reading(40-float64(r), evenstand.RowWorking, e, 0))
			}
		}, align.ByWorking, []align.Interval{at(11, 39)}},
		{"one row switched off tells nothing of the planter", func(l *align.Lowering) {
			l.Reading(reading(15, evenstand.RowEnabled, evenstand.RowElement(5), 0))
			l.Reading(reading(20, evenstand.RowEnabled, evenstand.RowElement(5), 1))
			seeds(l, 8, 10, 30)
		}, align.BySeeds, []align.Interval{at(10, 29.96)}},
		{"a switch that is always on gives way to seeds", func(l *align.Lowering) {
			l.Reading(reading(0, evenstand.RowEnabled, machine, 1))
			seeds(l, 8, 10, 30)
			seeds(l, 8, 50, 70)
		}, align.BySeeds, []align.Interval{at(10, 29.96), at(50, 69.96)}},
		{"but stands when there is nothing else", func(l *align.Lowering) {
			l.Reading(reading(0, evenstand.RowEnabled, machine, 1))
			l.Reading(reading(30, evenstand.RowEnabled, machine, 1))
		}, align.ByEnabled, []align.Interval{at(0, 30)}},
		{"dust on one of eight rows is no planting", func(l *align.Lowering) {
			seeds(l, 8, 10, 30)
			seeds(l, 1, 30, 60)
			seeds(l, 8, 60, 80)
		}, align.BySeeds, []align.Interval{at(10, 29.96), at(60, 79.96)}},
		{"counts a second", func(l *align.Lowering) {
			for s := 0.0; s < 60; s++ {
				for r := 1; r <= 8; r++ {
					n := 0.0
					if s > 10 && s <= 30 || s > 45 {
						n = 25
					}
					l.Reading(reading(s, evenstand.SeedCount, evenstand.RowElement(r), n))
				}
			}
		}, align.BySeeds, []align.Interval{at(10, 30), at(45, 59)}},
		{"counts go on where the seed log has ended", func(l *align.Lowering) {
			seeds(l, 8, 10, 30)
			for s := 0.0; s < 100; s++ {
				for r := 1; r <= 8; r++ {
					n := 0.0
					if s > 10 && s <= 32 || s > 45 && s <= 50 || s > 60 && s <= 80 { // 5 s are too few
						n = 25
					}
					l.Reading(reading(s, evenstand.SeedCount, evenstand.RowElement(r), n))
				}
			}
		}, align.BySeeds, []align.Interval{at(10, 29.96), at(60, 80)}},
	} {
		t.Run(c.name, func(t *testing.T) {
			l := align.NewLowering(8)
			c.fill(l)
			got, basis := l.Intervals(nil)
			if basis != c.basis || len(got) != len(c.want) {
				t.Fatalf("%q %v, want %q %v", basis, got, c.basis, c.want)
			}
			slack := 0.05
			if basis == align.BySeeds {
				slack = 0.3 // seeds are taken by quarters of a second
			}
			for i := range got {
				if math.Abs((got[i].From-c.want[i].From).Seconds()) > slack || math.Abs((got[i].To-c.want[i].To).Seconds()) > slack {
					t.Errorf("span %d: %.2f to %.2f s", i+1, (got[i].From - firstTime).Seconds(), (got[i].To - firstTime).Seconds())
				}
			}
		})
	}
}

// Seeds as evidence: a stop of a minute in the ground is no lift, the same
// time spent turning is one.
func TestLoweringKnowsStops(t *testing.T) {
	d := newDrive(22, trailed, 0, 0, 0, []part{{way: 100, v: 2.2}, {stand: 60}, {way: 100, v: 2.2}, {way: 40, v: 1.5}, {way: 100, v: 2.2}})
	p := align.BarPath(align.Smooth(d.fixes(22, 5, 0.02, evenstand.FixRTK), d.frame, align.DefaultSmooth()), trailed, align.DefaultPath())
	l := align.NewLowering(6)
	for i := range d.t {
		moved := i > 0 && d.way[i] > d.way[i-1]+0.001
		if d.leg[i] != 3 && moved {
			for r := range 6 {
				l.Seed(evenstand.Seed{T: firstTime + evenstand.FromSeconds(d.t[i]), Row: int16(r + 1)})
			}
		}
	}
	with, _ := l.Intervals(p)
	without, _ := l.Intervals(nil)
	if len(with) != 2 || len(without) != 3 {
		t.Errorf("%d spans with the path, want 2; %d without, want 3", len(with), len(without))
	}
}

// Whatever the spans: passes lie in order, do not overlap, and are numbered
// without a hole; their way is positive.
func TestPassesAnything(t *testing.T) {
	parts, _ := field()
	d := newDrive(23, trailed, 0, 0, 0.02, parts)
	p := align.BarPath(align.Smooth(d.fixes(23, 5, 0.02, evenstand.FixRTK), d.frame, align.DefaultSmooth()), trailed, align.DefaultPath())
	end := int64(d.t[len(d.t)-1] * 1e6)
	home := d.box("home", -100, -100, 30, 420)
	rapid.Check(t, func(t *rapid.T) {
		var down []align.Interval
		for range rapid.IntRange(0, 8).Draw(t, "n") {
			a := rapid.Int64Range(-10e6, end+10e6).Draw(t, "from")
			b := a + rapid.Int64Range(-1e6, 200e6).Draw(t, "long")
			down = append(down, align.Interval{From: firstTime + evenstand.Micros(a), To: firstTime + evenstand.Micros(b)})
		}
		got := align.Passes(p, down, align.PassOptions{Planter: "p", Fields: []evenstand.Field{home}, Width: 12})
		n := map[string]int{}
		for i, g := range got {
			n[g.Field]++
			if g.Number != n[g.Field] || g.End <= g.Start || g.S1 <= g.S0 {
				t.Fatalf("pass %+v", g)
			}
			if i > 0 && (g.Start < got[i-1].End || g.S0 < got[i-1].S1-1e-6) {
				t.Fatalf("pass %d overlaps", i)
			}
		}
	})
}

func BenchmarkLoweringSeed(b *testing.B) {
	l := align.NewLowering(16)
	n := 0
	b.ReportAllocs()
	for b.Loop() {
		l.Seed(evenstand.Seed{T: firstTime + evenstand.Micros(n)*2500, Row: int16(n%16 + 1)})
		n++
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "seeds/s")
}

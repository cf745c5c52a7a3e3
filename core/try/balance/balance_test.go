package balance

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"evenstand"
	"evenstand/core/advise"
	"evenstand/core/stat"
	"evenstand/core/try"
)

var nan = math.NaN()

// cleaners is a lever of 10 to 50 that stands at 22, with trash that costs and
// moisture that has a limit.
func cleaners() *Problem {
	trash := try.Curve{Lever: "cleaner_pressure", Measure: "trash", Ref: 22, Scale: 8, Level: 0.08, Theta: [2]float64{-0.012, 0.001}, Cov: [2][2]float64{{4e-6, 0}, {0, 1e-6}}, DF: math.Inf(1), Changes: 6, Low: 18, High: 30}
	moist := try.Curve{Lever: "cleaner_pressure", Measure: "moisture", Ref: 22, Scale: 8, Level: 0.22, Theta: [2]float64{-0.004, 0}, Cov: [2][2]float64{{1e-6, 0}, {0, 2.5e-7}}, DF: math.Inf(1), Changes: 6, Low: 18, High: 30}
	return &Problem{
		Lever: "cleaner_pressure", Low: 10, High: 50, Now: 22, Step: 1,
		Aims: []Aim{
			{Measure: "trash", Curve: trash, Price: 0.05, Least: nan, Most: nan, Now: 0.08, NowSE: 0.002, Spread: 0.03, RowSD: 0.03},
			{Measure: "moisture", Curve: moist, Least: 0.2, Most: nan, Now: 0.22, NowSE: 0.002, Spread: 0.02, RowSD: 0.02},
		},
		ByRows: true, Rows: 16, Width: 12.2, Speed: 2, PassLength: 600, Left: 400000, Worth: 0.0001, Seed: 1,
	}
}

func TestAdvice(t *testing.T) {
	p := cleaners()
	a := Next(p)
	if a.Verdict != Try || !(a.Next > 22 && a.Next <= 30) || a.Design != try.HalfRows || a.Rows != 8 {
		t.Fatalf("%+v", a)
	}
	if a.Better < 0.8 || !(float64(a.Gain.Mid) > 0) || a.Limits[0].Next < sure {
		t.Errorf("better %g, gain %v, limits %v", a.Better, a.Gain, a.Limits)
	}
	// Machine-wide: back and forth by pass, and much longer.
	q := cleaners()
	q.ByRows = false
	b := Next(q)
	if b.Design != try.Switchback || b.Rows != 0 || !(b.Minutes > 5*a.Minutes) || int(b.Passes)%4 != 0 {
		t.Errorf("machine-wide: %+v", b)
	}

	for _, c := range []struct {
		name string
		want Verdict
		to   func(*Problem)
	}{
		{"worth more than any could bring", Settled, func(p *Problem) { p.Worth = 1 }},
		{"dear to set", Costs, func(p *Problem) { p.Cost = 1e6 }},
		{"no ground left", Short, func(p *Problem) { p.Left = 1000 }},
		{"no room", NoRoom, func(p *Problem) {
			p.Aims[1].Least = 0.2199
			p.Aims[1].Now = 0.223
			p.Aims[1].Curve.Theta[0] = 0.02
			p.Now = 50
		}},
		{"past a limit", Back, func(p *Problem) { p.Aims[1].Least = 0.225 }},
		{"no price", Cannot, func(p *Problem) { p.Aims[0].Price = 0 }},
		{"no limits of the lever", Cannot, func(p *Problem) { p.Low, p.High = nan, nan }},
		{"outside its limits", Cannot, func(p *Problem) { p.Now = 8 }},
		{"where it is best", Settled, func(p *Problem) {
			p.Aims[0].Curve.Theta, p.Aims[0].Curve.Cov = [2]float64{0, 0.01}, [2][2]float64{{1e-8, 0}, {0, 1e-8}}
		}},
	} {
		p := cleaners()
		c.to(p)
		if a := Next(p); a.Verdict != c.want {
			t.Errorf("%s: %s, want %s: %+v", c.name, a.Verdict, c.want, a)
		}
	}

	// Nothing was tried: the first try is a step, and says so.
	p = cleaners()
	for i := range p.Aims {
		p.Aims[i].Curve = try.Curve{}
	}
	p.Aims[1].Least = 0.15
	if a := Next(p); !a.First || a.Verdict != Try || a.Next == p.Now {
		t.Errorf("the first try: %+v", a)
	}
	// A limit that a step may well break leaves no first try.
	p.Aims[1].Least = 0.2199
	if a := Next(p); a.Verdict != NoRoom && math.Abs(a.Next-p.Now) > 2 {
		t.Errorf("the first try at a limit: %+v", a)
	}
}

// What is proposed lies within the operator's limits, within reach, and within
// the limits of the responses with the chance that is said, whatever comes in.
func TestNeverOutsideLimits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := func(name string, low, high float64) float64 { return rapid.Float64Range(low, high).Draw(t, name) }
		p := cleaners()
		p.Low = f("low", -20, 20)
		p.High = p.Low + f("range", 1, 60)
		p.Now = p.Low + (p.High-p.Low)*f("now", 0, 1)
		p.Step = rapid.SampledFrom([]float64{0, 0.5, 1, 5}).Draw(t, "step")
		p.ByRows = rapid.Bool().Draw(t, "by rows")
		for i := range p.Aims {
			c := &p.Aims[i].Curve
			c.Theta = [2]float64{f("slope", -0.05, 0.05), f("bend", -0.02, 0.02)}
			s, b := f("slope se", 1e-5, 0.03), f("bend se", 1e-5, 0.03)
			r := f("cor", -0.95, 0.95)
			c.Cov = [2][2]float64{{s * s, r * s * b}, {r * s * b, b * b}}
			c.DF = f("df", 1, 50)
			c.Changes = rapid.IntRange(0, 9).Draw(t, "changes")
			c.Linear = rapid.Bool().Draw(t, "linear")
		}
		p.Aims[1].Least = f("least", 0.1, 0.25)
		if rapid.Bool().Draw(t, "a most too") {
			p.Aims[0].Most = f("most", 0.05, 0.2)
		}
		p.Left = f("left", 0, 1e6)
		a := Next(p)
		if math.IsNaN(a.Next) {
			return
		}
		if a.Next < p.Low || a.Next > p.High {
			t.Fatalf("%g is outside %g to %g", a.Next, p.Low, p.High)
		}
		grid := (p.High - p.Low) / (steps - 1)
		if math.Abs(a.Next-p.Now) > reach*(p.High-p.Low)+2*grid {
			t.Fatalf("from %g to %g is too far for %g to %g", p.Now, a.Next, p.Low, p.High)
		}
		if a.Verdict == Try {
			for _, l := range a.Limits {
				if l.Next < sure {
					t.Fatalf("%s is within its limit with %g only", l.Measure, l.Next)
				}
			}
		}
		if !(a.Gain.Low <= a.Gain.Mid && a.Gain.Mid <= a.Gain.High) {
			t.Fatalf("gain %v", a.Gain)
		}
		again := Next(p)
		if again.Next != a.Next || again.BringMean != a.BringMean && !math.IsNaN(a.BringMean) {
			t.Fatalf("a second time it says %g, %g", again.Next, again.BringMean)
		}
	})
}

// What a curve tells well is what is believed, whatever the limits.
func TestCurveIsBelieved(t *testing.T) {
	p := cleaners()
	p.Aims[0].Curve.Cov = [2][2]float64{{1e-12, 2e-13}, {2e-13, 1e-12}}
	c := p.Aims[0].Curve
	h := p.response(&p.Aims[0], 0.03, 0, 1)
	for _, to := range []float64{10, 30, 47} {
		want, _ := c.Diff(22, to)
		got, _ := h.n.At(less(quadratic(p.scaled(to)), quadratic(p.scaled(22))))
		if math.Abs(got-want) > 1e-6 {
			t.Errorf("to %g: %g, want %g", to, got, want)
		}
	}
	// And of one that only tells a difference, that difference.
	c.Linear, c.Theta[1], c.Cov = true, 0, [2][2]float64{{1e-12, 0}, {0, 0}}
	p.Aims[0].Curve = c
	h = p.response(&p.Aims[0], 0.03, 0, 1)
	want, _ := c.Diff(18, 30)
	got, _ := h.n.At(less(quadratic(p.scaled(30)), quadratic(p.scaled(18))))
	if math.Abs(got-want) > 1e-6 {
		t.Errorf("%g, want %g", got, want)
	}
}

// The cut normal agrees with draws.
func TestCut(t *testing.T) {
	n := stat.Normal{Mean: []float64{1, -2, 0.5}, Cov: [][]float64{{1, 0.3, 0.8}, {0.3, 2, -0.9}, {0.8, -0.9, 4}}}
	c := cut(n)
	l := n.Factor()
	r := stat.NewRand(1, "cut")
	var sum [3]float64
	var sq [3][3]float64
	k := 0.0
	for range 400000 {
		var z, x [3]float64
		for i := range z {
			z[i] = r.NormFloat64()
		}
		for i := range x {
			x[i] = n.Mean[i]
			for j := range i + 1 {
				x[i] += l[i][j] * z[j]
			}
		}
		if x[2] <= 0 {
			continue
		}
		k++
		for i := range x {
			sum[i] += x[i]
			for j := range x {
				sq[i][j] += x[i] * x[j]
			}
		}
	}
	for i := range 3 {
		m := sum[i] / k
		if math.Abs(m-c.Mean[i]) > 0.02 {
			t.Errorf("mean %d: %g, draws %g", i, c.Mean[i], m)
		}
		for j := range 3 {
			if v := sq[i][j]/k - m*sum[j]/k; math.Abs(v-c.Cov[i][j]) > 0.03 {
				t.Errorf("covariance %d %d: %g, draws %g", i, j, c.Cov[i][j], v)
			}
		}
	}
}

// Enough tries along a kink reject the quadratic, tries along a quadratic do not.
func TestBent(t *testing.T) {
	var kink, quad []Seen
	r := stat.NewRand(2, "bent")
	for i := range 12 {
		s := float64(i) / 11
		kink = append(kink, Seen{nan, s, 5*math.Abs(s-0.3) + 0.05*r.NormFloat64(), 0.0025})
		quad = append(quad, Seen{nan, s, 4*(s-0.4)*(s-0.4) + 0.05*r.NormFloat64(), 0.0025})
	}
	if !bent(kink) || bent(quad) || bent(kink[:5]) {
		t.Errorf("kink %v, quadratic %v, five tries %v", bent(kink), bent(quad), bent(kink[:5]))
	}
	if b := believe(kink, 1); !b.process || math.Abs(at(lowest(b.mean, everywhere()))-0.3) > 0.08 {
		t.Errorf("the process has its lowest at %g", at(lowest(b.mean, everywhere())))
	}
}

func everywhere() []bool {
	ok := make([]bool, steps)
	for i := range ok {
		ok[i] = true
	}
	return ok
}

// A curve that takes a direction for known exactly is not believed; the changes
// are.
func TestChangesAreBelieved(t *testing.T) {
	p := cleaners()
	a := &p.Aims[0]
	a.Curve.Cov = [2][2]float64{{4e-6, 4e-6}, {4e-6, 4e-6}}
	for i := range 3 {
		e := try.Effect{Change: try.Change{Lever: p.Lever, T: 1, From: 22, To: 30}, Measure: "trash", Value: -0.011, SE: 0.002, DF: math.Inf(1)}
		e.Change.T += evenstand.Micros(i)
		p.Effects = append(p.Effects, e)
	}
	h := p.response(a, 0.05, 0, 1)
	m, v := h.n.At(less(quadratic(p.scaled(30)), quadratic(p.scaled(22))))
	// Three of 0.002 are one of 0.00115; the prior of the difference is wide.
	if math.Abs(m+0.011) > 2e-4 || math.Abs(math.Sqrt(v)-0.002/math.Sqrt(3)) > 5e-5 {
		t.Errorf("%g ± %g", m, math.Sqrt(v))
	}
	if _, v := h.n.At(less(quadratic(p.scaled(10)), quadratic(p.scaled(22)))); math.Sqrt(v) < 0.005 {
		t.Errorf("where nothing was tried it is known to %g", math.Sqrt(v))
	}
}

// What is believed before a try neither keeps nor undoes it: only what the
// change did to a response that costs something.
func TestNotTold(t *testing.T) {
	for _, c := range [][2]float64{{14, 22}, {22, 14}, {14, 18}, {46, 38}} {
		p := cleaners()
		for i := range p.Aims {
			p.Aims[i].Curve = try.Curve{}
		}
		p.Aims = p.Aims[:1]
		p.Now, p.Tried, p.TriedRows, p.TriedSteps, p.TriedSince = c[0], c[1], evenstand.Rows{1, 2, 3, 4, 5, 6, 7, 8}, 1000, 5
		p.Untold, p.Wants = "no box told it", "Log the trash."
		a := Next(p)
		if s := Say(p, &a, "", advise.Voice{}); a.Verdict != NotTold || s.Note != "" || !strings.Contains(s.Sentence, "could not be told: no box told it.") || s.Do != "What would tell: log the trash." {
			t.Errorf("%v with nothing told: %s, %+v", c, a.Verdict, s)
		}
		e := try.Effect{Change: try.Change{Lever: p.Lever, T: 5, From: c[0], To: c[1]}, Measure: "trash", Design: try.HalfRows, Value: -0.02, SE: 0.002, DF: 14, Steps: 40, Changed: 8, Control: 8}
		tell := func(e try.Effect) Verdict {
			p.Effects = []try.Effect{e}
			p.Aims[0].Curve, _ = One(&e)
			return Next(p).Verdict
		}
		if v := tell(e); v != Keep {
			t.Errorf("%v, much less trash: %s", c, v)
		}
		other := e
		other.Change.T = 4
		if v := tell(other); v != NotTold {
			t.Errorf("%v, told by another change: %s", c, v)
		}
		e.Value = 0.02
		if v := tell(e); v != Undo {
			t.Errorf("%v, much more trash: %s", c, v)
		}
		e.Measure = "moisture" // costs nothing
		p.Aims[0].Curve, p.Effects = try.Curve{}, []try.Effect{e}
		if v := Next(p).Verdict; v != NotTold {
			t.Errorf("%v, told of what costs nothing: %s", c, v)
		}
	}
	p := cleaners()
	p.Tried, p.TriedRows, p.TriedSteps = 52, evenstand.Rows{1}, 1000
	if a := Next(p); a.Verdict != Undo || !strings.Contains(Say(p, &a, "", advise.Voice{}).Sentence, "outside your limits") {
		t.Errorf("tried beyond the limits: %s", a.Verdict)
	}
}

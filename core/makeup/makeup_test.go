package makeup_test

import (
	"math"
	"testing"

	"evenstand/core/makeup"

	"pgregory.net/rapid"
)

// row makes a row's way of pieces of 2 m, north from the origin.
func row(x float64, n int, got func(i int) float64) (ps []makeup.Piece) {
	for i := range n {
		ps = append(ps, makeup.Piece{X: x, Y: 2*float64(i) + 1, Length: 2, Got: got(i), Want: 10})
	}
	return ps
}

func TestCut(t *testing.T) {
	got := func(i int) float64 {
		switch {
		case i >= 10 && i < 20 && i != 15: // missed, one second in between
			return 0
		case i >= 26 && i < 44:
			return 6
		case i == 50: // too short
			return 0
		case i >= 60 && i < 78:
			return 15
		case i == 80:
			return math.NaN()
		}
		return 10.8
	}
	ps := row(0, 100, got)
	for i := 90; i < 96; i++ {
		ps[i].Double, ps[i].Want = true, 0
	}
	ss := makeup.Cut(3, ps, 0)
	if len(ss) != 4 {
		t.Fatalf("%+v", ss)
	}
	for i, want := range []struct {
		kind     makeup.Kind
		from, to int
		lacks    float64
	}{{makeup.Missed, 10, 20, 2 * (9*10 - 0.8)}, {makeup.Short, 26, 44, 2 * 18 * 4}, {makeup.Over, 60, 78, -2 * 18 * 5}, {makeup.Doubled, 90, 96, -2 * 6 * 10.8}} {
		if s := ss[i]; s.Kind != want.kind || s.From != want.from || s.To != want.to || math.Abs(s.Lacks-want.lacks) > 1e-9 || s.Row != 3 {
			t.Errorf("%+v, want %+v", s, want)
		}
	}
}

func machine() makeup.Machine {
	return makeup.Machine{Parts: 8, Part: 0.762, Across: -0.381, Planned: 100, Worth: 2, Off: true}
}

// A row that got nothing over 20 m is made up on its part, there and nowhere else.
func TestPlanMissed(t *testing.T) {
	ps := row(0, 40, func(i int) float64 {
		if i >= 10 && i < 20 {
			return 0
		}
		return 10
	})
	g, err := makeup.NewGround(machine())
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range makeup.Cut(1, ps, 0) {
		g.Lay(ps, s, 0.762)
	}
	p := g.Plan()
	if want := 20 * 0.762 * 10 * 2; math.Abs(p.Owed-want) > 1e-6*want || math.Abs(p.Made-want) > 1e-6*want {
		t.Errorf("owed %.3f, made %.3f, want %.3f", p.Owed, p.Made, want)
	}
	if len(p.Zones) != 1 || p.Zones[0].K0 != 20 || p.Zones[0].K1 != 40 || math.Abs(p.Zones[0].Rate-120) > 1e-6 {
		t.Errorf("%+v", p.Zones)
	}
	for at, want := range map[[2]float64]float64{{0, 25}: 120, {0, 19.5}: 100, {0.5, 25}: 100, {-0.5, 25}: 100, {0, 40.5}: 100} {
		if got := p.RateAt(at[0], at[1]); math.Abs(got-want) > 1e-6 {
			t.Errorf("at %v: %g, want %g", at, got, want)
		}
	}
}

// A machine that cannot set its rows by themselves spreads it over its part.
func TestPlanWide(t *testing.T) {
	m := machine()
	m.Parts, m.Part, m.Across = 1, 8*0.762, -4*0.762
	g, _ := makeup.NewGround(m)
	ps := row(0.381, 40, func(i int) float64 { return 0 })
	g.Lay(ps, makeup.Cut(1, ps, 0)[0], 0.762)
	p := g.Plan()
	if want := 80 * 0.762 * 20; math.Abs(p.Made-want) > 1e-6*want || math.Abs(p.Zones[0].Rate-(100+20.0/8)) > 1e-6 {
		t.Errorf("%+v", p)
	}
}

// Limits hold, and what they cut off is said.
func TestPlanLimits(t *testing.T) {
	for name, tt := range map[string]struct {
		change func(m *makeup.Machine)
		got    float64 // of 10 asked for
		rate   float64
		why    makeup.Why
	}{
		"the most":      {func(m *makeup.Machine) { m.Most = 110 }, 0, 110, makeup.MachineMost},
		"salt":          {func(m *makeup.Machine) { m.Beside, m.Most = 105, 110 }, 0, 105, makeup.SaltMost},
		"season":        {func(m *makeup.Machine) { m.Season = 112 }, 0, 112, makeup.SeasonMost},
		"step":          {func(m *makeup.Machine) { m.Step = 7 }, 0, 119, ""},
		"step, limit":   {func(m *makeup.Machine) { m.Step, m.Most = 7, 118 }, 0, 112, makeup.MachineMost},
		"too much":      {func(m *makeup.Machine) { m.Planned = 10 }, 30, 0, makeup.NoLess},
		"shut":          {func(m *makeup.Machine) { m.Planned, m.Least = 50, 30 }, 30, 0, makeup.MachineLeast},
		"the least":     {func(m *makeup.Machine) { m.Planned, m.Least = 60, 30 }, 30, 30, makeup.MachineLeast},
		"nothing to do": {func(m *makeup.Machine) {}, 5, 110, ""},
	} {
		m := machine()
		tt.change(&m)
		g, err := makeup.NewGround(m)
		if err != nil {
			t.Fatal(name, err)
		}
		ps := row(0, 20, func(int) float64 { return tt.got })
		g.Lay(ps, makeup.Cut(1, ps, 0)[0], 0.762)
		p := g.Plan()
		if z := p.Zones[0]; math.Abs(z.Rate-tt.rate) > 1e-6 || z.Why != tt.why {
			t.Errorf("%s: %+v", name, z)
		}
	}
	for _, m := range []makeup.Machine{{}, {Parts: 1, Part: 1, Worth: 1, Planned: -1}, {Parts: 1, Part: 1, Worth: 1, Planned: 5, Most: 4}, {Parts: 1, Part: 1}} {
		if _, err := makeup.NewGround(m); err == nil {
			t.Errorf("%+v is taken", m)
		}
	}
}

// Whatever the way and the machine: no mass is lost in laying, no rate is below
// nothing or over a limit, and what is owed is made up or said to be unmet.
func TestMassIsKept(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := makeup.Machine{
			Parts: 1, Part: rapid.Float64Range(0.3, 12).Draw(t, "part"), Heading: rapid.Float64Range(0, 7).Draw(t, "heading"), Across: rapid.Float64Range(-2, 2).Draw(t, "across"),
			Planned: rapid.Float64Range(0, 50).Draw(t, "planned"), Worth: rapid.Float64Range(0.1, 5).Draw(t, "worth"), Off: rapid.Bool().Draw(t, "off"),
			Most: rapid.SampledFrom([]float64{0, 60}).Draw(t, "most"), Step: rapid.SampledFrom([]float64{0, 0.5}).Draw(t, "step"),
		}
		g, err := makeup.NewGround(m)
		if err != nil {
			t.Fatal(err)
		}
		want := 0.0
		for k := range rapid.IntRange(1, 4).Draw(t, "rows") {
			x, y, h := 3*float64(k), 0.0, rapid.Float64Range(0, 7).Draw(t, "way")
			var ps []makeup.Piece
			for range rapid.IntRange(4, 30).Draw(t, "pieces") {
				l := rapid.Float64Range(0.5, 4).Draw(t, "length")
				x, y = x+l*math.Sin(h), y+l*math.Cos(h)
				ps = append(ps, makeup.Piece{X: x, Y: y, Heading: h, Length: l, Got: rapid.Float64Range(0, 30).Draw(t, "got"), Want: 10})
			}
			for _, s := range makeup.Cut(k+1, ps, 0) {
				g.Lay(ps, s, 0.762)
				want += s.Lacks * 0.762 * m.Worth
			}
		}
		p := g.Plan()
		if d := p.Owed - p.Excess - want; math.Abs(d) > 1e-6*(1+math.Abs(want)) {
			t.Errorf("laid %g, found %g", want, p.Owed-p.Excess)
		}
		for _, z := range p.Zones {
			if z.Rate < 0 || m.Most > 0 && z.Rate > m.Most+1e-9 {
				t.Errorf("a rate of %g", z.Rate)
			}
			if d := z.Owed - z.Unmet - (z.Rate - m.Planned); math.Abs(d) > 1e-9 {
				t.Errorf("unmet %g of %g at %g", z.Unmet, z.Owed, z.Rate)
			}
			if z.Why == "" && math.Abs(z.Unmet) > m.Step/2+1e-9 {
				t.Errorf("%g is unmet and nothing says why", z.Unmet)
			}
			x, y := (z.Ring[0][0]+z.Ring[2][0])/2, (z.Ring[0][1]+z.Ring[2][1])/2
			if got := p.RateAt(x, y); got != z.Rate {
				t.Errorf("in the middle of a zone of %g stands %g", z.Rate, got)
			}
		}
	})
}

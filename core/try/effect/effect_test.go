package effect_test

import (
	"math"
	"testing"

	"evenstand"
	"evenstand/core/advise"
	"evenstand/core/measure/group"
	"evenstand/core/try"
	"evenstand/core/try/effect"
)

// steps makes a panel of one pass from a table of values by step and row.
func steps(values [][]float64) *try.Panel {
	m, _ := group.ByID("load")
	p := try.NewPanel("p", "2026-05-02", len(values[0]), 0.762, []group.Measure{m})
	var ss []evenstand.Stretch
	for k, row := range values {
		for r, v := range row {
			s := evenstand.Stretch{Row: int16(r + 1), K: int32(k), T: evenstand.Micros(k) * 10 * second, Way: 15}
			s.Load.Add(v)
			ss = append(ss, s)
		}
	}
	p.Add(&evenstand.Pass{Field: "north"}, ss)
	return p
}

// The row as the unit is Welch's test on the differences of the rows: rows that
// come to differ by what the case did-welch of the check values says give its
// effect, error and degrees of freedom.
func TestWelch(t *testing.T) {
	changed := []float64{-0.52, -0.31, -0.44, -0.39, -0.28, -0.47}
	unchanged := []float64{0.03, -0.08, 0.11, -0.02, 0.05, -0.04, 0.07}
	want := struct{ Effect, SE, DF, Low, High float64 }{-0.4188095238, 0.04567471005, 8.922903561, -0.5026188637, -0.3350001839}
	var rows [][]float64
	for k := range 40 {
		var row []float64
		for i, q := range append(append([]float64{}, changed...), unchanged...) {
			v := math.Sin(float64(k)) + 3*float64(i)
			if k >= 20 {
				v += q
			}
			row = append(row, v)
		}
		rows = append(rows, row)
	}
	p := steps(rows)
	c := try.Change{Lever: "vacuum", T: 195 * second, Early: 195 * second, Late: 195 * second, Rows: evenstand.Rows{1, 2, 3, 4, 5, 6}}
	f := effect.Of(p, &c, []try.Change{c})[0]
	for _, x := range []struct {
		name      string
		got, want float64
	}{{"effect", f.Value, want.Effect}, {"SE", f.SE, want.SE}, {"df", f.DF, want.DF}, {"low", f.Low, want.Low}, {"high", f.High, want.High}} {
		if math.Abs(x.got-x.want) > 1e-8*math.Abs(x.want) {
			t.Errorf("%s %.10g, want %.10g", x.name, x.got, x.want)
		}
	}
	if f.Design != try.HalfRows || f.Changed != 6 || f.Control != 7 || f.Steps != 15 {
		t.Errorf("%+v", f)
	}
}

// Another setting changed on the same rows at once leaves nothing to be told; on
// other rows it takes those out.
func TestAtOnce(t *testing.T) {
	var rows [][]float64
	for k := range 60 {
		row := make([]float64, 12)
		for r := range row {
			row[r] = math.Sin(float64(7*k*(r+3))) + float64(r)
			if k >= 30 && r < 4 {
				row[r] += 5
			}
			if k >= 30 && r >= 8 {
				row[r] += 50
			}
		}
		rows = append(rows, row)
	}
	p := steps(rows)
	at := 295 * second
	c := try.Change{Lever: "vacuum", T: at, Early: at, Late: at, Rows: evenstand.Rows{1, 2, 3, 4}}
	o := try.Change{Lever: "depth", T: at, Early: at, Late: at, Rows: evenstand.Rows{9, 10, 11, 12}}
	f := effect.Of(p, &c, []try.Change{c, o})[0]
	if f.Why != effect.None || f.Control != 4 || math.Abs(f.Value-5) > 1 {
		t.Errorf("%+v", f)
	}
	o.Rows = evenstand.Rows{4, 5}
	if f = effect.Of(p, &c, []try.Change{c, o})[0]; f.Why != effect.Mixed {
		t.Errorf("two settings at once: %+v", f)
	}
	// Nothing between Early and Late counts: 5 and 25 s either way.
	c.Early, c.Late = at-200*second, at+200*second
	if f = effect.Of(p, &c, []try.Change{c})[0]; f.Why != effect.Short && f.Steps > 10 {
		t.Errorf("an uncertain time: %+v", f)
	}
}

// A change that alone tells a bend brings its own error into the curve.
func TestCurveOfOneBend(t *testing.T) {
	var es []try.Effect
	for k := range 6 {
		e := try.Effect{Change: try.Change{Lever: "x", From: 30, To: 40, T: evenstand.Micros(k) * 7200 * second}, Measure: "trash", Design: try.HalfRows, Value: -1.4 + 0.1*float64(k%3-1), SE: 0.2, DF: 20}
		if k%2 == 1 {
			e.Change.From, e.Change.To, e.Value = 40, 30, -e.Value
		}
		es = append(es, e)
	}
	es = append(es, try.Effect{Change: try.Change{Lever: "x", From: 20, To: 30, T: 99 * 3600 * second}, Measure: "trash", Design: try.AllRows, Value: 1.3, SE: 3.9, DF: 30})
	c, ok := effect.Join(es, "x", "trash")
	if !ok || c.Linear {
		t.Fatalf("%+v", c)
	}
	if _, se := c.Diff(20, 40); se < 3 || se > 5 {
		t.Errorf("SE from end to end %g", se)
	}
	if m, se := c.Diff(30, 40); math.Abs(m+1.4) > 0.1 || se > 0.3 {
		t.Errorf("where it was tried %g ± %g", m, se)
	}
}

func TestSay(t *testing.T) {
	nan := math.NaN()
	f := func(id string, v, low, high, before float64) effect.Found {
		return effect.Found{Effect: try.Effect{
			Change:  try.Change{Lever: "cleaner_pressure", T: 14*3600*second + 5*60*second, Rows: evenstand.Rows{1, 2, 3, 4, 5, 6, 7, 8}, From: 30 * evenstand.PSI, To: 22 * evenstand.PSI},
			Measure: id, Design: try.HalfRows, Before: before, Value: v, SE: (high - low) / 3.4, DF: 20, Low: low, High: high, Steps: 40,
		}}
	}
	fs := []effect.Found{
		f("trash", -0.031, -0.040, -0.022, 0.12), f("moisture", 0.001, -0.004, 0.004, 0.2), f("load", -20, -400, 300, 500),
		{Effect: try.Effect{Measure: "liquid", Value: nan}, Why: effect.Silent},
	}
	got := effect.Say(fs, advise.Voice{})
	want := "Row-cleaner pressure 30 to 22 psi at 2:05 pm, rows 1 to 8: trash in the slot 3.1 points less (2.2 to 4). No difference that 40 stretches could show: seed-zone moisture (within 0.4 points). Cannot tell: gauge-wheel load (between 90 lb less and 67 lb more)."
	if got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
	if v := fs[1].Verdict(); v != effect.Same {
		t.Errorf("moisture %s", v)
	}
	fs[0].Why = effect.Short
	if got = effect.Say(fs[:1], advise.Voice{Units: evenstand.Metric}); got != "Row-cleaner pressure 2.07 to 1.52 bar at 14:05, rows 1 to 8: cannot tell, too little was planted on one side of it, in one field and without another change." {
		t.Errorf("%s", got)
	}
}

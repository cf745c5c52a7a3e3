package try_test

import (
	"math"
	"testing"

	"evenstand"
	"evenstand/core/measure/group"
	"evenstand/core/try"
)

const second = evenstand.Second

// By hand: two passes of two stretches, rows 1 and 3 tell, row 2 does not.
func TestPanel(t *testing.T) {
	skips, _ := group.ByID("skips")
	speed, _ := group.ByID("speed")
	p := try.NewPanel("p", "2026-05-02", 3, 0.762, []group.Measure{skips, speed})
	for pass := range int32(2) {
		start := evenstand.Micros(pass) * 100 * second
		var ss []evenstand.Stretch
		for _, row := range []int16{1, 3} {
			for k := range int32(2) {
				s := evenstand.Stretch{Pass: pass, Row: row, K: k, Way: 15, T: start + evenstand.Micros(5+6*k)*second, Due: 100, Skips: float32(row) + float32(pass)}
				s.Speed.Add(float64(row))
				ss = append(ss, s)
			}
		}
		p.Add(&evenstand.Pass{Index: pass, Start: start, Field: "north"}, ss)
	}
	if len(p.Steps) != 4 {
		t.Fatalf("%d steps", len(p.Steps))
	}
	if from, to := p.Pass(1); from != 2 || to != 4 {
		t.Errorf("pass 1: %d to %d", from, to)
	}
	if st := p.Steps[3]; st.Pass != 1 || st.K != 1 || st.T != 111*second || st.Speed != 2 || st.Field != "north" {
		t.Errorf("%+v", st)
	}
	if v, w := p.Value(0, 2, 3); v != 0.04 || w != 100 {
		t.Errorf("skips %g of %g", v, w)
	}
	if v, w := p.Value(0, 2, 2); !math.IsNaN(v) || w != 0 {
		t.Errorf("a row that does not tell: %g of %g", v, w)
	}
	if i := p.At(100 * second); i != 2 {
		t.Errorf("at 100 s: step %d", i)
	}
	p.Locate([]evenstand.TrackPoint{{T: 5 * second, Lat: 41.6, Lon: -93.5}, {T: 11 * second, Lat: 41.6001, Lon: -93.5}})
	p.Locate([]evenstand.TrackPoint{{T: 200 * second, Lat: 41.7, Lon: -93.5}})
	// A degree of latitude on WGS 84 is 111132.954 − 559.822 cos 2φ + 1.175 cos 4φ m
	// (the usual series, from memory): 111,065.5 m at 41.6, 0.0001 of it 11.107 m.
	if n := p.Steps[1].North; math.Abs(n-11.107) > 0.01 {
		t.Errorf("11 s: %g m north", n)
	}
	if !math.IsNaN(p.Steps[2].North) {
		t.Error("a place 95 s later tells where a stretch was")
	}
}

func TestSettings(t *testing.T) {
	nan := math.NaN()
	all := []try.Change{
		{Lever: "vacuum", T: 0, From: 1, To: 2},
		{Lever: "cleaner_pressure", T: 300 * second, Early: 240 * second, Late: 360 * second, Rows: evenstand.Rows{1, 2}, From: 30, To: 22},
		{Lever: "cleaner_pressure", T: 900 * second, Early: 900 * second, Late: 900 * second, From: nan, To: 26},
	}
	s := try.Follow("cleaner_pressure", all)
	for _, tt := range []struct {
		row  int
		at   evenstand.Micros
		want float64
	}{
		{1, 0, 30},
		{1, 300 * second, nan},
		{1, 360 * second, 22},
		{1, 900 * second, 26},
		{3, 0, nan},
		{3, 900 * second, 26},
	} {
		if got := s.Value(tt.row, tt.at); got != tt.want && !(math.IsNaN(got) && math.IsNaN(tt.want)) {
			t.Errorf("row %d at %d s: %g, want %g", tt.row, tt.at/second, got, tt.want)
		}
	}
}

// By hand: θ = (2, 1), Cov = diag(1, 4), from u = 0.5 to 1: 2·0.5 + 1·0.75,
// variance 0.25 + 4·0.5625.
func TestCurve(t *testing.T) {
	c := try.Curve{Ref: 10, Scale: 20, Theta: [2]float64{2, 1}, Cov: [2][2]float64{{1, 0}, {0, 4}}}
	m, se := c.Diff(20, 30)
	if math.Abs(m-1.75) > 1e-12 || math.Abs(se-math.Sqrt(2.5)) > 1e-12 {
		t.Errorf("%g ± %g", m, se)
	}
}

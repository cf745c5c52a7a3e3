package clock

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"os"
	"testing"
)

// localLinear gives value and slope at x of the line through the values no
// further than reach, weighted by a Gaussian of standard deviation h.
func localLinear(t, v []float64, h, x, reach float64) (value, slope float64) {
	var s lineSums
	for i := range t {
		if d := t[i] - x; math.Abs(d) <= reach {
			w := math.Exp(-0.5 * d * d / (h * h))
			s.w += w
			s.wx += w * d
			s.wxx += w * d * d
			s.wy += w * v[i]
			s.wxy += w * d * v[i]
		}
	}
	return s.line()
}

// Values by statsmodels 0.13.5, KernelReg with a local-linear fit.
func TestLocalLinear(t *testing.T) {
	b, err := os.ReadFile("../testdata/check.json")
	if err != nil {
		t.Fatal(err)
	}
	var all struct {
		Cases []struct {
			ID    string
			Input struct {
				T, Y, At []float64
				H        float64
			}
			Expect struct{ Value, Slope []float64 }
		}
	}
	_ = json.Unmarshal(b, &all) // other cases have other shapes
	done := false
	for _, c := range all.Cases {
		if c.ID != "local-linear" {
			continue
		}
		done = true
		for i, x := range c.Input.At {
			v, s := localLinear(c.Input.T, c.Input.Y, c.Input.H, x, math.Inf(1))
			if math.Abs(v-c.Expect.Value[i]) > 1e-8 || math.Abs(s-c.Expect.Slope[i]) > 1e-7 {
				t.Errorf("at %g: %.10f, slope %.10f, want %.10f, %.10f", x, v, s, c.Expect.Value[i], c.Expect.Slope[i])
			}
		}
	}
	if !done {
		t.Error("no case local-linear")
	}
}

// The grid holds at each place what the smoother gives there, whatever the
// times of the values, over holes and at the ends.
func TestGridFit(t *testing.T) {
	rnd := rand.New(rand.NewPCG(7, 7))
	for range 40 {
		var ts, vs []float64
		x := -3 + 6*rnd.Float64()
		for len(ts) < 300 {
			switch rnd.IntN(60) {
			case 0:
				x += 40 * rnd.Float64()
			case 1:
			default:
				x += 0.9 * rnd.Float64()
			}
			ts, vs = append(ts, x), append(vs, 2+math.Sin(x/3)+0.2*rnd.NormFloat64())
		}
		g := grid{v: make([]float64, int(x/dt)+20-rnd.IntN(40))}
		g.fit(ts, vs)
		for i, got := range g.v {
			want, _ := localLinear(ts, vs, kernel, float64(i)*dt, near*kernel)
			if math.IsNaN(got) != math.IsNaN(want) || math.Abs(got-want) > 1e-7*(1+math.Abs(want)) {
				t.Fatalf("at %g: %g, want %g", float64(i)*dt, got, want)
			}
		}
	}
}

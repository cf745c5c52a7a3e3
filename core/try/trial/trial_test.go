package trial_test

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"testing"

	"evenstand/core/try/trial"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol*math.Max(1e-300, math.Abs(want))) {
		t.Errorf("%s: %.12g, want %.12g", what, got, want)
	}
}

// The check values of side-by-side: R 4.2.2, t.test on row means, and lme4, which
// gives the same where nothing is missing.
func TestSideBySide(t *testing.T) {
	y := []float64{10.597, 10.534, 10.636, 11.636, 10.954, 10.888, 11.072, 11.143, 9.472, 9.052, 10.186, 10.531, 9.858, 9.357, 9.808, 10.292, 11.44, 11.26, 11.547, 11.986, 10.823, 11.233, 11.295, 11.555, 10.439, 10.709, 10.428, 11.008, 10.755, 10.724, 10.28, 10.398, 9.336, 9.902, 9.64, 10.653, 9.827, 9.448, 9.883, 9.42, 8.488, 9.112, 8.264, 8.608, 8.621, 8.364, 9.433, 8.582}
	const rows = 8
	in := trial.Rows{Class: make([]trial.Class, rows)}
	for r := range rows {
		x := 0.0
		if r+1 == 3 || r+1 == 6 {
			x = 1
		}
		in.Arms = append(in.Arms, []float64{x})
	}
	for p := range 6 {
		in.Blocks = append(in.Blocks, trial.Block{Y: y[rows*p : rows*p+rows], W: ones(rows)})
	}
	got := in.Judge()
	near(t, "effect", got.Value, -0.183805555556, 1e-10)
	near(t, "SE, exact", got.SE, 0.20139297186154828, 1e-10)
	near(t, "SE of the mixed model", got.SE, 0.201382846401, 3e-4)
	near(t, "df", got.DF, 6, 1e-10)
	near(t, "p", got.P, 0.396605040802, 1e-8)
	// R gives the 95 % interval: its half-width over the SE is the t of 6 degrees
	// of freedom (2.446912, NIST/SEMATECH e-Handbook 1.3.6.7.2: 2.447); of 90 % it
	// is 1.943180.
	near(t, "low", got.Low, -0.183805555556-1.943180*0.201392971862, 1e-6)
	if got.How != trial.Beside || got.Lone {
		t.Errorf("%s, lone %v", got.How, got.Lone)
	}
	// Residual variance of the exact case: what a row's pass adds.
	near(t, "residual", got.Pass, 0.10682040892857145, 1e-10)
	// var_row is the rows' own, short of what six passes leave.
	near(t, "rows", got.Drift, 0.043035292184744334, 1e-9)
	if dir := os.Getenv("EVENSTAND_CHECK"); dir != "" { // the file itself, where it is there
		data, err := os.ReadFile(filepath.Join(dir, "check-values.json"))
		var f struct {
			Cases []struct {
				ID    string `json:"id"`
				Input struct {
					Y []float64 `json:"y"`
				} `json:"input"`
			} `json:"cases"`
		}
		if err != nil || json.Unmarshal(data, &f) != nil {
			t.Fatal(err)
		}
		for _, c := range f.Cases {
			for i := range c.Input.Y {
				if c.ID == "side-by-side" && c.Input.Y[i] != y[i] {
					t.Errorf("y %d is %g in the file", i, c.Input.Y[i])
				}
			}
		}
	}
}

func ones(n int) []float64 {
	w := make([]float64, n)
	for i := range w {
		w[i] = 1
	}
	return w
}

// Before and after of one row is the difference in differences with one variance
// for both: by hand for rows 1 to 4, row 2 fitted, changes 0.1, 0.9, 0.3, −0.1:
// the others change by 0.1 with variance 0.04, so that the effect is 0.8 and its
// SE √(0.04 (1 + 1/3)).
func TestFittedByHand(t *testing.T) {
	in := trial.Rows{Class: make([]trial.Class, 4), Arms: trial.Arms{{0, 0}, {0, 1}, {0, 0}, {0, 0}}}
	before := []float64{1, 2, 3, 4}
	change := []float64{0.1, 0.9, 0.3, -0.1}
	for k := range 2 {
		for p := range 3 {
			b := trial.Block{Period: k, Y: make([]float64, 4), W: ones(4)}
			for r := range b.Y {
				b.Y[r] = before[r] + float64(p) + 5*float64(k) + float64(k)*change[r]
			}
			in.Blocks = append(in.Blocks, b)
		}
	}
	got := in.Judge()
	near(t, "effect", got.Value, 0.8, 1e-9)
	near(t, "SE", got.SE, math.Sqrt(0.04*4/3), 1e-9)
	near(t, "df", got.DF, 2, 1e-9)
	if got.How != trial.Fitted || len(got.With) != 1 || len(got.Without) != 3 {
		t.Errorf("%+v", got)
	}
}

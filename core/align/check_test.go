package align_test

import (
	"encoding/json"
	"math"
	"os"
	"testing"

	"evenstand/core/align"
)

// check reads one case of testdata/check.json, computed with R 4.2.2, NumPy
// and SciPy; the file says how.
func check(t *testing.T, id string, in, want any) {
	t.Helper()
	b, err := os.ReadFile("testdata/check.json")
	if err != nil {
		t.Fatal(err)
	}
	var all struct {
		Cases []struct {
			ID            string
			Input, Expect json.RawMessage
		}
	}
	if err := json.Unmarshal(b, &all); err != nil {
		t.Fatal(err)
	}
	for _, c := range all.Cases {
		if c.ID == id {
			if err := json.Unmarshal(c.Input, in); err != nil {
				t.Fatal(err)
			}
			if err := json.Unmarshal(c.Expect, want); err != nil {
				t.Fatal(err)
			}
			return
		}
	}
	t.Fatalf("no case %q", id)
}

func near(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if !(math.Abs(got-want) <= rel*math.Abs(want)) {
		t.Errorf("%s = %.15g, want %.15g", what, got, want)
	}
}

func TestLocalLevel(t *testing.T) {
	var in struct {
		Y   []float64
		Obs float64 `json:"var_obs"`
		Lev float64 `json:"var_level"`
		A0  float64
		P0  float64
	}
	var want struct {
		Smooth []float64
		Var    []float64 `json:"smooth_var"`
	}
	check(t, "rts-local-level", &in, &want)
	var tt []float64
	for i := range in.Y {
		tt = append(tt, float64(i))
	}
	// The case's prior holds one step before the first value.
	m, v, _ := align.RTS(1, in.Lev, []float64{in.A0}, [][]float64{{in.P0 + in.Lev}}, tt, in.Y, in.Obs)
	for i := range in.Y {
		near(t, "level", m[i][0], want.Smooth[i], 1e-8)
		near(t, "variance", v[i][0], want.Var[i], 1e-8)
	}
}

func TestConstantVelocity(t *testing.T) {
	var in struct {
		Z  []float64
		DT float64
		SD float64 `json:"meas_sd"`
		Q  float64 `json:"accel_psd"`
		M0 []float64
		P0 []float64 `json:"P0_diag"`
	}
	var want struct {
		Pos, Vel []float64
		PosSD    []float64 `json:"pos_sd"`
		VelSD    []float64 `json:"vel_sd"`
		LogLik   float64
	}
	check(t, "rts-constant-velocity", &in, &want)
	var tt []float64
	for i := range in.Z {
		tt = append(tt, float64(i)*in.DT)
	}
	m, v, ll := align.RTS(2, in.Q, in.M0, [][]float64{{in.P0[0], 0}, {0, in.P0[1]}}, tt, in.Z, in.SD*in.SD)
	near(t, "log likelihood", ll, want.LogLik, 1e-8)
	for i := range in.Z {
		near(t, "place", m[i][0], want.Pos[i], 1e-8)
		near(t, "speed", m[i][1], want.Vel[i], 1e-8)
		near(t, "SD of place", math.Sqrt(v[i][0]), want.PosSD[i], 1e-8)
		near(t, "SD of speed", math.Sqrt(v[i][1]), want.VelSD[i], 1e-8)
	}
}

// The two axes smoothed together, unrest alike along and across, must say what
// each says alone (the machinery that the two cases above hold).
func TestJointIsTwoAxes(t *testing.T) {
	var tt, z []float64
	for i := range 40 {
		tt = append(tt, 0.2*float64(i)+0.01*float64(i%3))
		z = append(z, math.Sin(0.1*float64(i))+0.05*math.Cos(7*float64(i)))
	}
	m, v, _ := align.RTS(3, 0.64, []float64{z[0], 0, 0}, [][]float64{{100, 0, 0}, {0, 25, 0}, {0, 0, 2}}, tt, z, 0.0025)
	jm, jv := align.JointRTS(0.64, 0.64, 0.7, tt, z, 0.0025)
	for i := range z {
		for k := range 3 {
			if math.Abs(m[i][k]-jm[i][k]) > 1e-7 || math.Abs(v[i][k]-jv[i][k]) > 1e-7 {
				t.Fatalf("moment %d state %d: %g ± %g alone, %g ± %g together", i, k, m[i][k], v[i][k], jm[i][k], jv[i][k])
			}
		}
	}
}

// Closed form of the tractrix: a pin that moves straight, in one step and in a
// thousand; the bar's place follows from the pin's.
func TestTractrix(t *testing.T) {
	var in struct {
		L, Psi0 float64
		S       []float64
	}
	var want struct {
		Psi    []float64
		BarX   []float64 `json:"bar_x"`
		BarY   []float64 `json:"bar_y"`
		Circle struct {
			R     float64 `json:"pin_radius"`
			Bar   float64 `json:"bar_radius"`
			Angle float64 `json:"hitch_angle"`
		} `json:"steady_state_circle"`
	}
	check(t, "tractrix", &in, &want)
	for i, s := range in.S {
		one := align.Tractrix(in.Psi0, 0, s, in.L)
		many := in.Psi0
		for range 1000 {
			many = align.Tractrix(many, 0, s/1000, in.L)
		}
		near(t, "psi", one, want.Psi[i], 1e-12)
		near(t, "psi in steps", many, want.Psi[i], 1e-10)
		near(t, "bar x", s-in.L*math.Cos(one), want.BarX[i], 1e-11)
		near(t, "bar y", -in.L*math.Sin(one), want.BarY[i], 1e-11)
	}
	// Round and round in chords of 0.2 m the hitch angle and the bar's radius
	// settle at those of the circle.
	psi, ds := 0.0, 0.2
	th := 0.0
	for range 3000 {
		th += ds / want.Circle.R
		psi = align.Tractrix(psi, th, 2*want.Circle.R*math.Sin(ds/want.Circle.R/2), in.L)
	}
	tangent := th + ds/want.Circle.R/2 // at the end of the last chord
	near(t, "hitch angle", math.Remainder(tangent-psi, 2*math.Pi), want.Circle.Angle, 2e-4)
	x := want.Circle.R - in.L*math.Sin(tangent-psi)
	y := in.L * math.Cos(tangent-psi)
	near(t, "bar radius", math.Hypot(x, y), want.Circle.Bar, 1e-5)
}

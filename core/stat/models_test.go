package stat_test

import (
	"math"
	"testing"
	"time"

	"evenstand/core/stat"
)

// groups numbers names in the order in which they come.
func groups(names ...[]string) (out []int) {
	seen := map[string]int{}
	for i := range names[0] {
		key := ""
		for _, n := range names {
			key += n[i] + "/"
		}
		if _, ok := seen[key]; !ok {
			seen[key] = len(seen)
		}
		out = append(out, seen[key])
	}
	return out
}

func withConstant(cols ...[]float64) (x [][]float64) {
	for i := range cols[0] {
		r := []float64{1}
		for _, c := range cols {
			r = append(r, c[i])
		}
		x = append(x, r)
	}
	return x
}

func mixed(t *testing.T, x [][]float64, y []float64, terms []stat.Random, restricted bool) *stat.Mixed {
	t.Helper()
	f, err := stat.FitMixed(stat.Design{X: x, Random: terms}, y, restricted)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func TestMixedSleepStudy(t *testing.T) {
	var in struct {
		Reaction, Days []float64
		Subject        []string
	}
	type fit struct {
		Fixef, SE  []float64
		VarSubject float64 `json:"var_subject"`
		VarInt     float64 `json:"var_int"`
		VarSlope   float64 `json:"var_slope"`
		Cov        float64
		VarResid   float64 `json:"var_resid"`
		Criterion  float64 `json:"reml_criterion"`
		Ranef      []float64
		RanefInt   []float64 `json:"ranef_int"`
		RanefSlope []float64 `json:"ranef_slope"`
		MLSubject  float64   `json:"ml_var_subject"`
		MLResid    float64   `json:"ml_var_resid"`
		MLLogLik   float64   `json:"ml_logLik"`
	}
	var want struct {
		Intercept fit `json:"random_intercept"`
		Slope     fit `json:"random_slope"`
	}
	tol := check(t, "lmer-sleepstudy", &in, &want)
	x, g := withConstant(in.Days), groups(in.Subject)
	one := []stat.Random{{Group: g}}

	f, w := mixed(t, x, in.Reaction, one, true), want.Intercept
	nearAll(t, "fixed", f.Beta, w.Fixef, tol)
	nearAll(t, "se", f.SE, w.SE, tol)
	near(t, "subject", f.Vars[0].Intercept, w.VarSubject, tol)
	near(t, "rest", f.Resid, w.VarResid, tol)
	near(t, "criterion", f.Criterion, w.Criterion, 1e-10)
	nearAll(t, "subjects", f.Effects[0], w.Ranef, tol)

	f = mixed(t, x, in.Reaction, one, false)
	near(t, "ml subject", f.Vars[0].Intercept, w.MLSubject, tol)
	near(t, "ml rest", f.Resid, w.MLResid, tol)
	near(t, "ml log likelihood", -f.Criterion/2, w.MLLogLik, 1e-10)

	two := []stat.Random{{Group: g, Slope: in.Days}}
	f, w = mixed(t, x, in.Reaction, two, true), want.Slope
	nearAll(t, "fixed, slopes", f.Beta, w.Fixef, tol)
	nearAll(t, "se, slopes", f.SE, w.SE, tol)
	near(t, "intercepts", f.Vars[0].Intercept, w.VarInt, tol)
	near(t, "slopes", f.Vars[0].Slope, w.VarSlope, tol)
	near(t, "covariance", f.Vars[0].Cov, w.Cov, 3e-4) // the iterative fit itself is within 2e-4 of the optimum there
	near(t, "rest, slopes", f.Resid, w.VarResid, tol)
	near(t, "criterion, slopes", f.Criterion, w.Criterion, 1e-10)
	nearAll(t, "intercepts of subjects", f.Effects[0], w.RanefInt, 3e-4)
	nearAll(t, "slopes of subjects", f.Slopes[0], w.RanefSlope, 3e-4)

	// The days are crossed with the subjects in balance, so the slope is tested
	// as the mean of 18 slopes is: 17 degrees of freedom.
	near(t, "df of the slope", f.Contrast([]float64{0, 1}).DF, 17, 1e-4)
	near(t, "df of the intercept", f.Contrast([]float64{1, 0}).DF, 17, 1e-4)
	// By maximum likelihood the criterion has its own optimum, no better than
	// the simpler model's by more than two parameters may be.
	ml := mixed(t, x, in.Reaction, two, false)
	if ml.Criterion > f.Criterion+20 || ml.Resid >= f.Resid*1.01 {
		t.Errorf("maximum likelihood: criterion %g, rest %g", ml.Criterion, ml.Resid)
	}
}

func TestMixedBlocks(t *testing.T) {
	var in struct {
		Block, N, P, K []string
		Yield          []float64 `json:"yield_"`
	}
	var want struct {
		Fixef     []float64 `json:"fixef_int_N_P_K"`
		SE        []float64
		VarBlock  float64   `json:"var_block"`
		VarResid  float64   `json:"var_resid"`
		Criterion float64   `json:"reml_criterion"`
		Ranef     []float64 `json:"ranef_block"`
	}
	tol := check(t, "lmer-npk", &in, &want)
	var x [][]float64
	for i := range in.N {
		r := []float64{1, 0, 0, 0}
		for j, l := range []string{in.N[i], in.P[i], in.K[i]} {
			if l == "1" {
				r[j+1] = 1
			}
		}
		x = append(x, r)
	}
	f := mixed(t, x, in.Yield, []stat.Random{{Group: groups(in.Block)}}, true)
	nearAll(t, "fixed", f.Beta, want.Fixef, tol)
	nearAll(t, "se", f.SE, want.SE, tol)
	near(t, "block", f.Vars[0].Intercept, want.VarBlock, tol)
	near(t, "rest", f.Resid, want.VarResid, tol)
	near(t, "criterion", f.Criterion, want.Criterion, tol)
	nearAll(t, "blocks", f.Effects[0], want.Ranef, tol)
	// N is compared within blocks: 24 values less 6 blocks and 3 treatments.
	near(t, "df of N", f.Contrast([]float64{0, 1, 0, 0}).DF, 15, 1e-5)
}

func TestMixedNested(t *testing.T) {
	var in struct {
		Block, Variety []string
		Nitro          []float64
		Yield          []float64 `json:"yield_"`
	}
	var want struct {
		Fixef, SE []float64
		SD        []float64 `json:"sd_block_variety_resid"`
		LogLik    float64   `json:"logLik_REML"`
		Criterion float64   `json:"lme4_reml_criterion"`
	}
	tol := check(t, "lme-oats", &in, &want)
	terms := []stat.Random{{Group: groups(in.Block)}, {Group: groups(in.Block, in.Variety)}}
	f := mixed(t, withConstant(in.Nitro), in.Yield, terms, true)
	nearAll(t, "fixed", f.Beta, want.Fixef, tol)
	nearAll(t, "se", f.SE, want.SE, tol)
	nearAll(t, "sd", []float64{math.Sqrt(f.Vars[0].Intercept), math.Sqrt(f.Vars[1].Intercept), math.Sqrt(f.Resid)}, want.SD, tol)
	near(t, "criterion", f.Criterion, want.Criterion, 1e-9)
	near(t, "log likelihood", -f.Criterion/2, want.LogLik, 1e-9)
}

func TestMixedCrossed(t *testing.T) {
	var in struct {
		Rows, Passes int
		Arm          []int `json:"arm_rows"`
		Y            []float64
	}
	var want struct {
		Fixef     []float64 `json:"lmer_fixef"`
		SE        []float64 `json:"lmer_se"`
		Var       []float64 `json:"lmer_var"`
		Criterion float64   `json:"lmer_reml_criterion"`
		Means     []float64 `json:"row_means_effect_se_df_p_lo_hi"`
	}
	tol := check(t, "side-by-side", &in, &want)
	var x [][]float64
	var row, pass []int
	for p := range in.Passes {
		for r := range in.Rows {
			arm := 0.0
			for _, a := range in.Arm {
				if a == r+1 {
					arm = 1
				}
			}
			x, row, pass = append(x, []float64{1, arm}), append(row, r), append(pass, p)
		}
	}
	f := mixed(t, x, in.Y, []stat.Random{{Group: row}, {Group: pass}}, true)
	nearAll(t, "fixed", f.Beta, want.Fixef, tol)
	nearAll(t, "se", f.SE, want.SE, tol)
	got := []float64{f.Vars[0].Intercept, f.Vars[1].Intercept, f.Resid}
	nearAll(t, "variances", got, want.Var, tol)
	near(t, "criterion", f.Criterion, want.Criterion, tol)

	var exact struct {
		Resid float64 `json:"var_resid"`
		Row   float64 `json:"var_row"`
		Pass  float64 `json:"var_pass"`
		SE    float64 `json:"se_arm"`
	}
	check(t, "side-by-side-exact", &struct{}{}, &exact)
	// The case is closed form to 1e-10; a search downhill ends a little before.
	nearAll(t, "variances against the closed form", got, []float64{exact.Row, exact.Pass, exact.Resid}, 1e-8)
	near(t, "se against the closed form", f.SE[1], exact.SE, 1e-9)

	c := f.Contrast([]float64{0, 1})
	near(t, "effect", c.Effect, want.Means[0], 1e-9)
	near(t, "df", c.DF, want.Means[2], 1e-5)
	near(t, "p", c.P, want.Means[3], 1e-5)
	lo, hi := c.Interval(0.95)
	nearAll(t, "interval", []float64{lo, hi}, want.Means[4:], 1e-5)
}

// A term that adds nothing gets no variance, and the rest is as without it.
func TestMixedNothingThere(t *testing.T) {
	y := []float64{1, 2, 3, 4, 1.1, 2.1, 2.9, 4, 0.9, 1.9, 3.1, 4}
	var x [][]float64
	var g []int
	for i := range y {
		x, g = append(x, []float64{1, float64(i % 4)}), append(g, i/4)
	}
	f := mixed(t, x, y, []stat.Random{{Group: g}}, true)
	l, err := stat.LeastSquares(x, y)
	if err != nil {
		t.Fatal(err)
	}
	if f.Vars[0].Intercept > 1e-6*f.Resid {
		t.Errorf("variance of groups that are alike: %g, rest %g", f.Vars[0].Intercept, f.Resid)
	}
	nearAll(t, "se", f.SE, l.SE, 1e-5)
	if c := f.Contrast([]float64{0, 1}); math.Abs(c.DF-10) > 0.1 {
		t.Errorf("df %g, want 10", c.DF)
	}
	if _, err := stat.FitMixed(stat.Design{X: [][]float64{{1, 1}, {1, 1}, {1, 1}}}, []float64{1, 2, 3}, true); err == nil {
		t.Error("two equal columns were told apart")
	}
}

// Fixed effects whose means are taken out give what they give as columns, with
// weights too; a weight of 2 is two values that are alike.
func TestMixedWithin(t *testing.T) {
	r := stat.NewRand(2, "within")
	var x, dummies [][]float64
	var y, w []float64
	var row, cell, pass []int
	const rows, passes = 8, 10
	own := make([]float64, 2*rows)
	for i := range own {
		own[i] = 0.5*r.NormFloat64() + own[i%rows]
	}
	for p := range passes {
		for i := range rows {
			if r.IntN(4) == 0 {
				continue
			}
			at := p % 2
			c := r.NormFloat64()
			d := make([]float64, 1+passes)
			d[0], d[1+p] = c, 1
			x, dummies = append(x, []float64{c}), append(dummies, d)
			row, cell, pass = append(row, i), append(cell, i+rows*at), append(pass, p)
			w = append(w, float64(1+r.IntN(2)))
			y = append(y, float64(p)+0.3*c+own[i+rows*at]+0.4*r.NormFloat64())
		}
	}
	terms := []stat.Random{{Group: row}, {Group: cell}}
	for _, weight := range [][]float64{nil, w} {
		a, err := stat.FitMixed(stat.Design{X: dummies, Random: terms, Weight: weight}, y, true)
		if err != nil {
			t.Fatal(err)
		}
		b, err := stat.FitMixed(stat.Design{X: x, Within: pass, Random: terms, Weight: weight}, y, true)
		if err != nil {
			t.Fatal(err)
		}
		nearAll(t, "coefficient and se", []float64{b.Beta[0], b.SE[0]}, []float64{a.Beta[0], a.SE[0]}, 1e-8)
		nearAll(t, "variances", []float64{b.Vars[0].Intercept, b.Vars[1].Intercept, b.Resid}, []float64{a.Vars[0].Intercept, a.Vars[1].Intercept, a.Resid}, 1e-6)
		nearAll(t, "effects", b.Effects[0], a.Effects[0], 1e-6)
		near(t, "criterion", b.Criterion, a.Criterion, 1e-8)
		c := make([]float64, 1+passes)
		c[0] = 1
		near(t, "df", b.Contrast([]float64{1}).DF, a.Contrast(c).DF, 1e-4)
	}
	if _, err := stat.FitMixed(stat.Design{Within: pass, Random: terms}, y, false); err == nil {
		t.Error("means taken out without the restricted likelihood")
	}
	if _, err := stat.FitMixed(stat.Design{Random: terms}, y, true); err == nil {
		t.Error("nothing fixed at all")
	}
}

// A row trial of a season is fitted while one waits for a page.
func TestMixedIsQuick(t *testing.T) {
	r := stat.NewRand(1, "mixed")
	const rows, passes, blocks = 24, 40, 5
	rowOf, passOf := make([]float64, rows), make([]float64, passes)
	for i := range rowOf {
		rowOf[i] = r.NormFloat64() * 0.5
	}
	for i := range passOf {
		passOf[i] = r.NormFloat64() * 0.8
	}
	var x [][]float64
	var y []float64
	var row, pass []int
	for p := range passes {
		for i := range rows {
			for range blocks {
				arm := float64(i % 2)
				x, row, pass = append(x, []float64{1, arm}), append(row, i), append(pass, p)
				y = append(y, 10-0.2*arm+rowOf[i]+passOf[p]+0.4*r.NormFloat64())
			}
		}
	}
	from := time.Now()
	f := mixed(t, x, y, []stat.Random{{Group: row}, {Group: pass}}, true)
	c := f.Contrast([]float64{0, 1})
	took := time.Since(from)
	t.Logf("%d values, %d random effects: %v; effect %.3f ± %.3f, df %.1f", len(y), rows+passes, took, c.Effect, c.SE, c.DF)
	if took > 2*time.Second {
		t.Errorf("took %v", took)
	}
	near(t, "df", c.DF, rows-2, 1e-3) // balanced: rows less arms
}

// lake gives the regressors of the lake's level: a constant and years since 1920.
func lake(years []float64) [][]float64 {
	c := make([]float64, len(years))
	for i, y := range years {
		c[i] = y - 1920
	}
	return withConstant(c)
}

func TestLeastSquares(t *testing.T) {
	var want struct {
		Coef []float64
		OLS  []float64 `json:"se_ols"`
	}
	tol := check(t, "hac", &struct{}{}, &want)
	var data struct{ Year, Y []float64 }
	check(t, "gls-ar1", &data, &struct{}{})
	l, err := stat.LeastSquares(lake(data.Year), data.Y)
	if err != nil {
		t.Fatal(err)
	}
	nearAll(t, "coefficients", l.Beta, want.Coef, tol)
	nearAll(t, "se", l.SE, want.OLS, tol)
}

func TestQuadraticAndProcess(t *testing.T) {
	var in struct {
		S, Y []float64
		BLR  struct {
			Mean  []float64 `json:"prior_mean"`
			Var   []float64 `json:"prior_var"`
			Noise float64   `json:"noise_sd"`
		}
		GP struct {
			Ell, SF float64
			Noise   float64 `json:"noise_sd"`
			Query   []float64
		}
		Best float64 `json:"ei_best"`
	}
	var want struct {
		Mean   []float64   `json:"blr_mean"`
		Cov    [][]float64 `json:"blr_cov"`
		Vertex float64     `json:"blr_vertex"`
		GPMean []float64   `json:"gp_mean"`
		GPVar  []float64   `json:"gp_var"`
		EI     []float64
	}
	tol := check(t, "blr-gp-ei", &in, &want)
	b := stat.Normal{Mean: in.BLR.Mean, Cov: [][]float64{{in.BLR.Var[0], 0, 0}, {0, in.BLR.Var[1], 0}, {0, 0, in.BLR.Var[2]}}}
	for i, s := range in.S {
		b = b.Observe([]float64{1, s - 0.5, (s - 0.5) * (s - 0.5)}, in.Y[i], in.BLR.Noise*in.BLR.Noise)
	}
	nearAll(t, "mean", b.Mean, want.Mean, tol)
	for i := range b.Cov {
		nearAll(t, "cov", b.Cov[i], want.Cov[i], tol)
	}
	near(t, "vertex", 0.5-b.Mean[1]/(2*b.Mean[2]), want.Vertex, tol)
	l := b.Factor()
	for i := range l {
		for j := range l {
			s := 0.0
			for k := range l {
				s += l[i][k] * l[j][k]
			}
			near(t, "factor", s, b.Cov[i][j], 1e-12)
		}
	}

	level := 0.0
	v := make([]float64, len(in.Y))
	for i, y := range in.Y {
		level += y / float64(len(in.Y))
		v[i] = in.GP.Noise * in.GP.Noise
	}
	g, err := stat.GaussianProcess{Level: level, Spread: in.GP.SF, Length: in.GP.Ell}.Posterior(in.S, in.Y, v, in.GP.Query)
	if err != nil {
		t.Fatal(err)
	}
	nearAll(t, "process", g.Mean, want.GPMean, tol)
	for i := range g.Mean {
		near(t, "variance", g.Cov[i][i], want.GPVar[i], tol)
		// Expected improvement (Jones, Schonlau and Welch 1998) by its formula:
		// the program uses the knowledge gradient instead.
		sd := math.Sqrt(g.Cov[i][i])
		z := (in.Best - g.Mean[i]) / sd
		ei := (in.Best-g.Mean[i])*stat.NormalCDF(z) + sd*math.Exp(-z*z/2)/math.Sqrt(2*math.Pi)
		near(t, "expected improvement", ei, want.EI[i], tol)
	}
}

func TestFTail(t *testing.T) {
	// The square of a t of d degrees of freedom is an F of 1 and d.
	for _, c := range []struct{ t, df float64 }{{0.5, 3}, {2, 7}, {4, 30}} {
		near(t, "F tail", stat.FTail(c.t*c.t, 1, c.df), stat.StudentTail(c.t, c.df), 1e-10)
	}
}

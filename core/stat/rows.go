package stat

import "math"

// Beta is a Beta distribution, as prior or posterior of a rate.
type Beta struct{ A, B float64 }

// Mean gives the mean.
func (b Beta) Mean() float64 { return b.A / (b.A + b.B) }

// Quantile gives the rate below which a share p lies.
func (b Beta) Quantile(p float64) float64 { return BetaQuantile(p, b.A, b.B) }

// Posterior takes in y in n whose variance is φ times the binomial one: the
// rate of a row, shrunken towards its peers.
func (b Beta) Posterior(y, n, phi float64) Beta {
	y, n = Effective(y, n, phi)
	return Beta{b.A + y, b.B + n - y}
}

// LogPMF gives the log chance of y in n when the rate is drawn from b (the
// beta-binomial).
func (b Beta) LogPMF(y, n float64) float64 {
	return -math.Log(n+1) - LogBeta(y+1, n-y+1) + LogBeta(y+b.A, n-y+b.B) - LogBeta(b.A, b.B)
}

// Spread is what rows have in common, by moments.
type Spread struct {
	Mean float64 // pooled rate
	S    float64 // Σ n (p − mean)²
	Rho  float64 // correlation within rows, before clipping
	Beta         // prior of a row's rate, with Rho clipped to [1e-6, 0.5]
}

// BetaBinomialMoments fits the prior of the rows' rates by moments (Skellam
// 1948; formula of the methods document, section c). Rows without places are
// left out; fewer than two rows, or no or only misses, give NaN.
func BetaBinomialMoments(y, n []float64) Spread {
	var k, sy, sn, snn float64
	for i := range y {
		if n[i] > 0 {
			k++
			sy += y[i]
			sn += n[i]
			snn += n[i] * n[i]
		}
	}
	nan := math.NaN()
	s := Spread{nan, nan, nan, Beta{nan, nan}}
	if k < 2 || sy <= 0 || sy >= sn {
		return s
	}
	s.Mean, s.S = sy/sn, 0
	for i := range y {
		if n[i] > 0 {
			d := y[i]/n[i] - s.Mean
			s.S += n[i] * d * d
		}
	}
	s.Rho = (s.S/(s.Mean*(1-s.Mean)) - (k - 1)) / (sn - snn/sn)
	m := 1/math.Min(0.5, math.Max(1e-6, s.Rho)) - 1
	s.Beta = Beta{s.Mean * m, (1 - s.Mean) * m}
	return s
}

// RowTest is one row's line of RowLevel.
type RowTest struct {
	D    float64 // ln of the row's rate over that of its group's middle row
	S2   float64 // variance of ln rate by counting
	Z, P float64
	BH   float64 // P adjusted for the number of rows
}

// RowCount is one row's count for RowLevel.
type RowCount struct {
	Y, N  float64
	Phi   float64 // over-dispersion, 1 at least
	Group int     // rows of the same vacuum side or section have the same number
}

// RowLevel asks of each row whether it misses more or less than healthy rows
// differ among themselves (methods document, section c, "level"). It gives a
// line for every row, NaN for rows without places, and τ², the variance of
// ln rate between healthy rows. It needs four rows with places; below that
// every P is NaN.
func RowLevel(rows []RowCount) (tests []RowTest, tau2 float64) {
	nan := math.NaN()
	tests = make([]RowTest, len(rows))
	logs := make([]float64, len(rows))
	groups := map[int][]float64{}
	var all []float64
	for i, r := range rows {
		tests[i] = RowTest{nan, nan, nan, nan, nan}
		logs[i] = nan
		if r.N > 0 {
			logs[i] = math.Log((r.Y + 0.5) / r.N)
			groups[r.Group] = append(groups[r.Group], logs[i])
			all = append(all, logs[i])
		}
	}
	R := float64(len(all))
	var d []float64
	meanS2 := 0.0
	for i, r := range rows {
		if math.IsNaN(logs[i]) {
			continue
		}
		peers := groups[r.Group]
		if len(peers) < 5 {
			peers = all
		}
		tests[i].D = logs[i] - Median(peers)
		tests[i].S2 = math.Max(1, r.Phi) / (r.Y + 0.5)
		d = append(d, tests[i].D)
		meanS2 += tests[i].S2 / R
	}
	if len(d) == 0 {
		return tests, nan
	}
	mad := MAD(d)
	tau2 = math.Max(mad*mad-meanS2, 0.05*0.05)
	p := make([]float64, len(rows))
	for i := range tests {
		t := &tests[i]
		t.Z = t.D / math.Sqrt(tau2+t.S2*(1+1/R))
		t.P = StudentTail(t.Z, R-3)
		p[i] = t.P
	}
	for i, v := range BenjaminiHochberg(p) {
		tests[i].BH = v
	}
	return tests, tau2
}

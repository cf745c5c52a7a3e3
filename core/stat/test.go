package stat

import (
	"math"
	"slices"
)

// TTest is the outcome of a t test.
type TTest struct {
	Effect float64 // difference of the means
	SE     float64
	DF     float64
	T      float64
	P      float64 // two-sided
}

// Interval gives the interval of the effect; level is 0.9 for 90 %.
func (t TTest) Interval(level float64) (lo, hi float64) {
	h := StudentQuantile((1+level)/2, t.DF) * t.SE
	return t.Effect - h, t.Effect + h
}

func tTest(effect, se, df float64) TTest {
	t := effect / se
	return TTest{effect, se, df, t, StudentTail(t, df)}
}

// WelchT compares the means of a and b, a less b, without taking their
// variances to be equal (Welch 1947, Biometrika 34:28-35). Fewer than two
// values on a side give NaN.
func WelchT(a, b []float64) TTest {
	if len(a) < 2 || len(b) < 2 {
		return noTest
	}
	ma, va := meanVar(a)
	mb, vb := meanVar(b)
	na, nb := float64(len(a)), float64(len(b))
	va, vb = va/na, vb/nb
	df := (va + vb) * (va + vb) / (va*va/(na-1) + vb*vb/(nb-1))
	return tTest(ma-mb, math.Sqrt(va+vb), df)
}

// PooledT compares the means of a and b, a less b, with one variance for both.
func PooledT(a, b []float64) TTest {
	if len(a) == 0 || len(b) == 0 || len(a)+len(b) < 3 {
		return noTest
	}
	ss := func(x []float64) (m, s float64) {
		if len(x) == 1 {
			return x[0], 0
		}
		m, v := meanVar(x)
		return m, v * float64(len(x)-1)
	}
	ma, sa := ss(a)
	mb, sb := ss(b)
	na, nb := float64(len(a)), float64(len(b))
	df := na + nb - 2
	return tTest(ma-mb, math.Sqrt((sa+sb)/df*(1/na+1/nb)), df)
}

// PairedT compares a and b pair by pair, a less b. Lengths must be equal.
func PairedT(a, b []float64) TTest {
	if len(a) != len(b) || len(a) < 2 {
		return noTest
	}
	d := make([]float64, len(a))
	for i := range a {
		d[i] = a[i] - b[i]
	}
	m, v := meanVar(d)
	n := float64(len(d))
	return tTest(m, math.Sqrt(v/n), n-1)
}

var noTest = TTest{math.NaN(), math.NaN(), math.NaN(), math.NaN(), math.NaN()}

// BenjaminiHochberg gives the p values adjusted so that those at or under q
// hold a share of false ones of at most q (Benjamini and Hochberg 1995, JRSS B
// 57:289-300). A NaN is no test: it stays NaN and is not counted.
func BenjaminiHochberg(p []float64) []float64 {
	idx := make([]int, 0, len(p))
	out := make([]float64, len(p))
	for i, v := range p {
		if math.IsNaN(v) {
			out[i] = v
			continue
		}
		idx = append(idx, i)
	}
	slices.SortStableFunc(idx, func(a, b int) int {
		switch {
		case p[a] < p[b]:
			return -1
		case p[a] > p[b]:
			return 1
		}
		return 0
	})
	low := 1.0
	for k := len(idx) - 1; k >= 0; k-- {
		low = math.Min(low, p[idx[k]]*(float64(len(idx))/float64(k+1))) // in this order never below p
		out[idx[k]] = low
	}
	return out
}

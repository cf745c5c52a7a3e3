package stat

import (
	"math"
	"slices"
)

// Quantile gives the sample quantile of type 7 (Hyndman and Fan 1996, The
// American Statistician 50:361-365), the default of R. x need not be sorted
// and is left as it is; nothing gives NaN.
func Quantile(x []float64, p float64) float64 {
	var few [48]float64 // rows of a planter, without an allocation
	s := append(few[:0], x...)
	sortFew(s)
	return QuantileSorted(s, p)
}

// QuantileSorted is Quantile for values in rising order.
func QuantileSorted(s []float64, p float64) float64 {
	if len(s) == 0 || !(p >= 0 && p <= 1) || math.IsNaN(s[0]) { // NaN sorts first
		return math.NaN()
	}
	h := p * float64(len(s)-1)
	i := int(h)
	if i+1 >= len(s) {
		return s[len(s)-1]
	}
	return s[i] + (h-float64(i))*(s[i+1]-s[i])
}

// Median gives the middle of the sample, NaN for nothing.
func Median(x []float64) float64 { return Quantile(x, 0.5) }

// MAD gives the median distance from the median times 1.4826, which estimates
// the standard deviation of normal values.
func MAD(x []float64) float64 {
	m := Median(x)
	d := make([]float64, len(x))
	for i, v := range x {
		d[i] = math.Abs(v - m)
	}
	return 1.4826 * Median(d)
}

// TrimmedMean gives the mean after leaving out the k lowest and the k highest
// values; fewer are left out when too few would remain (at least one stays).
func TrimmedMean(x []float64, k int) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	k = max(0, min(k, (len(x)-1)/2))
	var few [48]float64 // rows of a planter, without an allocation
	s := x
	if k > 0 {
		s = append(few[:0], x...)
		sortFew(s)
	}
	sum := 0.0
	for _, v := range s[k : len(s)-k] {
		sum += v
	}
	return sum / float64(len(s)-2*k)
}

// sortFew is slices.Sort, quicker for as many values as a planter has rows.
func sortFew(s []float64) {
	if len(s) > 48 || slices.ContainsFunc(s, math.IsNaN) {
		slices.Sort(s)
		return
	}
	for i := 1; i < len(s); i++ {
		v, j := s[i], i
		for ; j > 0 && s[j-1] > v; j-- {
			s[j] = s[j-1]
		}
		s[j] = v
	}
}

// meanVar gives mean and sample variance.
func meanVar(x []float64) (m, v float64) {
	n := float64(len(x))
	for _, a := range x {
		m += a
	}
	m /= n
	for _, a := range x {
		v += (a - m) * (a - m)
	}
	return m, v / (n - 1)
}

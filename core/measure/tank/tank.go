package tank

import (
	"math"

	"evenstand/core/stat"
)

// Priors (methods, sections m and o).
const (
	FillError  = 0.01 // of a fill as people write it down, one standard deviation
	ScaleError = 0.03 // of a meter's scale
)

// Belief is what is known of a tank since its last fill: the content right
// behind the fill and the scale of the meter, true over shown, with their
// covariance. Content is Level less Scale times what the meter has shown since.
type Belief struct {
	Level, Scale  float64
	VarLevel, Cov float64
	VarScale      float64
	Used          float64 // shown by the meter since the fill
}

// Begin is what is known of a tank that was filled to an amount with an error of
// one standard deviation, and of a meter of which nothing is known but that it
// is one.
func Begin(amount, sd float64) Belief {
	return Belief{Level: amount, Scale: 1, VarLevel: sd * sd, VarScale: ScaleError * ScaleError}
}

// Scaled is Begin with a meter whose scale is known to an error.
func (b Belief) Scaled(scale, sd float64) Belief {
	b.Scale, b.VarScale = scale, sd*sd
	return b
}

// Use takes in what the meter has shown since the fill.
func (b *Belief) Use(shown float64) { b.Used = math.Max(b.Used, shown) }

// See takes in a reading of the level with its error, taken while the meter
// showed what Use was told last. Readings are for stops, or freed from slosh.
func (b *Belief) See(level, sd float64) {
	// The reading is h·(Level, Scale) with h = (1, -Used).
	u := b.Used
	pl, ps := b.VarLevel-u*b.Cov, b.Cov-u*b.VarScale // P h
	v := pl - u*ps + sd*sd
	d := level - (b.Level - u*b.Scale)
	b.Level += pl / v * d
	b.Scale += ps / v * d
	b.VarLevel -= pl * pl / v
	b.Cov -= pl * ps / v
	b.VarScale -= ps * ps / v
}

// NotEmpty takes in that the tank still gives: its content is above nothing. The
// normal belief is given the mean and variance that it has above nothing.
func (b *Belief) NotEmpty() {
	m, sd := b.Left()
	if !(sd > 0) || m > 4*sd {
		return
	}
	z := -m / sd
	tail := stat.NormalCDF(-z)
	if tail < 1e-12 { // as good as empty
		b.Level -= m
		return
	}
	l := math.Exp(-z*z/2) / math.Sqrt(2*math.Pi) / tail
	v, d := sd*sd, sd*l
	v2 := v * math.Max(0, 1+z*l-l*l)
	u := b.Used
	pl, ps := (b.VarLevel-u*b.Cov)/v, (b.Cov-u*b.VarScale)/v
	b.Level += pl * d
	b.Scale += ps * d
	b.VarLevel -= pl * pl * (v - v2)
	b.Cov -= pl * ps * (v - v2)
	b.VarScale -= ps * ps * (v - v2)
}

// Left gives what is in the tank, and one standard deviation of it.
func (b *Belief) Left() (amount, sd float64) {
	u := b.Used
	return b.Level - u*b.Scale, math.Sqrt(math.Max(0, b.VarLevel-2*u*b.Cov+u*u*b.VarScale))
}

// Fill adds to what is in the tank; what is known of the meter stays.
func (b *Belief) Fill(amount, sd float64) {
	left, l := b.Left()
	b.Cov -= b.Used * b.VarScale
	b.Level, b.VarLevel, b.Used = left+amount, l*l+sd*sd, 0
}

// FillTo says that the tank was filled up to an amount, with an error.
func (b *Belief) FillTo(amount, sd float64) {
	b.Level, b.VarLevel, b.Cov, b.Used = amount, sd*sd, 0, 0
}

// Pace is how much goes out on an area, in amount per m2 as the meter shows it,
// and how it wanders: the coefficient of variation from one stretch of Each m2
// to the next and the correlation between neighbours.
type Pace struct {
	Mean, CV, Rho float64
	Each          float64 // m2
	Past          float64 // m2 that the mean was taken over
}

// meanVar is the variance of the mean over a stretches, of a unit variance with
// a correlation of rho between neighbours: (1 + 2 Σ (1-j/a) ρ^j) / a.
func meanVar(a, rho float64) float64 {
	if a <= 1 {
		return 1
	}
	if rho <= 0 {
		return 1 / a
	}
	rho = min(rho, 0.9999)
	// Σ_{j=1}^{n} (1-j/a) ρ^j in closed form, n = a
	r := rho
	s := r/(1-r) - r*(1-math.Pow(r, a))/(a*(1-r)*(1-r))
	return (1 + 2*s) / a
}

// Lasts gives the area that the tank still does, m2, with one standard deviation:
// what is left over the use to come, whose mean is that of the past. The error
// holds that of what is left, and of the use on the way (its own, and 0.6 of as
// much for the past mean, as measured in the methods document).
func (b *Belief) Lasts(p Pace) (area, sd float64) {
	left, _ := b.Left()
	use := p.Mean * b.Scale
	if !(use > 0) {
		return math.Inf(1), math.NaN()
	}
	area = math.Max(0, left/use)
	rel := p.CV * math.Sqrt(meanVar(area/p.Each, p.Rho)+0.6*meanVar(max(1, p.Past/p.Each), p.Rho))
	// The scale is in both: what is left falls with it and the use grows.
	dLevel, dScale := 1/use, -(b.Used*use+left*p.Mean)/(use*use)
	v := dLevel*dLevel*b.VarLevel + dScale*dScale*b.VarScale + 2*dLevel*dScale*b.Cov
	return area, math.Sqrt(math.Max(0, v) + area*area*rel*rel)
}

// EmptyBefore gives the chance that the tank runs out before an area is done.
func (b *Belief) EmptyBefore(area float64, p Pace) float64 {
	a, sd := b.Lasts(p)
	if math.IsInf(a, 1) {
		return 0
	}
	if !(sd > 0) {
		if a < area {
			return 1
		}
		return 0
	}
	return stat.NormalCDF((area - a) / sd)
}

// Use is what went out on pieces of ground one after another: the pace of a
// tank and how it wanders.
type Use struct {
	n, area        float64
	sum, square    float64 // of the rates
	before, joined float64 // last rate, and sum of products of neighbours
	first          float64
}

// Add takes what the meter showed on an area, m2; pieces are of about one size.
func (u *Use) Add(shown, area float64) {
	if !(area > 0) || !(shown >= 0) {
		return
	}
	r := shown / area
	if u.n == 0 {
		u.first = r
	} else {
		u.joined += u.before * r
	}
	u.n, u.area, u.before = u.n+1, u.area+area, r
	u.sum, u.square = u.sum+r, u.square+r*r
}

// Pieces gives how many there were.
func (u *Use) Pieces() int { return int(u.n) }

// Pace gives the mean use and how it wanders; the correlation of neighbours is
// kept within 0 and 0.95, since few pieces tell little of it.
func (u *Use) Pace() Pace {
	if u.n == 0 {
		return Pace{}
	}
	m := u.sum / u.n
	v := math.Max(0, u.square/u.n-m*m)
	p := Pace{Mean: m, Each: u.area / u.n, Past: u.area}
	if u.n < 3 || !(v > 0) || !(m > 0) {
		return p
	}
	// Σ (a-m)(b-m) over neighbours, from the sums.
	n := u.n - 1
	c := (u.joined - m*(u.sum-u.before) - m*(u.sum-u.first) + n*m*m) / n
	rho := math.Max(0, c/v)
	// A short record that wanders shows too little of it: its correlation is low
	// by (1+3ρ)/n (Kendall 1954, Note on bias in the estimation of
	// autocorrelation, Biometrika 41, from memory), its variance by that of its
	// own mean.
	p.Rho = math.Min(0.95, rho+(1+3*rho)/u.n)
	p.CV = math.Sqrt(v/math.Max(0.25, 1-meanVar(u.n, p.Rho))) / m
	return p
}

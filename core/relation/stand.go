package relation

// Surface is R1's closed form: yield in percent of the best, for p thousand
// plants an acre planted d days after April 30. Arguments are clamped to the
// fitted domain, 10 to 36 and -20 to +40.
// Least squares on the 182 NAF cells; worst cell 0.53 point (D).
func Surface(p, d float64) float64 {
	p, d = min(max(p, 10), 36), min(max(d, -20), 40)
	return b0() + b1()*p + b2()*p*p + c1()*d + c2()*d*d
}

func coefficient(name string) func() float64 {
	return func() float64 { return Must("R1-population", name).Likely }
}

var (
	b0 = coefficient("surface constant")
	b1 = coefficient("surface linear in stand")
	b2 = coefficient("surface quadratic in stand")
	c1 = coefficient("surface linear in date")
	c2 = coefficient("surface quadratic in date")
)

// SurfaceOptimum gives the stand (thousand plants an acre) and the date (days
// after April 30) at which the surface is highest.
func SurfaceOptimum() (p, d float64) { return -b1() / (2 * b2()), -c1() / (2 * c2()) }

// NearOptimum is R1's curve near the best stand: the yield in percent of the
// best at p thousand plants an acre when the best is pstar and k is the fall
// below it in percent per thousand squared; above it the fall is half.
// Between 31 and 36 nothing is charged: the plateau of the newer trials.
func NearOptimum(p, pstar, k float64) float64 {
	lo, hi := min(pstar, PlateauLow), max(pstar, PlateauHigh)
	switch {
	case p < lo:
		return 100 - k*(lo-p)*(lo-p)
	case p > hi:
		return 100 - k/2*(p-hi)*(p-hi)
	}
	return 100
}

// The plateau of R1 in thousand plants an acre: "charge nothing for 31-36k"
// (Illinois, 20 dry trials, flat from about 32k; Iowa best 34.5 to 37k).
const (
	PlateauLow  = 31.0
	PlateauHigh = 36.0
)

// Compensation is R2's C: the share of a missing plant that its neighbours in
// the row make up, at p thousand plants an acre; 0.19 is held above 30k and
// 0.47 below 18k, beyond which nothing was measured (Nafziger 1996).
func Compensation(p float64) float64 {
	at18 := Must("R2-skip", "neighbour make-up at 18k").Likely
	at30 := Must("R2-skip", "neighbour make-up at 30k").Likely
	p = min(max(p, 18), 30)
	return at18 + (at30-at18)*(p-18)/12
}

// SkipLoss gives low, likely and high of the plants that one missing plant
// costs at p thousand plants an acre: 0.5, 0.8 and 1.0 from 28k up, and below
// that in proportion to 1-C (derived; the range was given for 28 to 34k).
// A stand that is not known (NaN) is taken for one of 28k or more.
func SkipLoss(p float64) (low, likely, high float64) {
	low, likely, high = Must("R2-skip", "net loss per skip").Range()
	if p < 28 {
		f := (1 - Compensation(p)) / (1 - Compensation(28))
		low, likely, high = low*f, likely*f, high*f
	}
	return low, likely, high
}

// DoubleNet gives R3's net gain in plants of a second plant in one place: the
// gain of the pair less the loss of the neighbours.
func DoubleNet(pairGain, neighbourLoss float64, neighbours int) float64 {
	return pairGain - neighbourLoss*float64(neighbours)
}

// Emergence gives the share of seeds that become plants: low, likely, high.
func Emergence() (low, likely, high float64) {
	l, m, h := Must("R1-population", "seeds that do not become plants").Range()
	return 1 - h/100, 1 - m/100, 1 - l/100
}

// For tells whether the relations hold for a crop.
func For(crop string) bool { return crop == "corn" }

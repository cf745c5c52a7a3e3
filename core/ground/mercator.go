package ground

import (
	"fmt"
	"math"
)

// WGS 84: semi-major axis in metres and flattening (NIMA TR8350.2).
const (
	semiMajor  = 6378137.0
	flattening = 1 / 298.257223563
	ecc2       = flattening * (2 - flattening)
	third      = flattening / (2 - flattening) // n, the third flattening
	deg        = math.Pi / 180
)

// Krüger's series to the fourth power of n (Karney 2011, equations 12, 35 and
// 36; Krüger 1912). alpha goes from the sphere to the plane, beta back.
const (
	n1, n2, n3, n4 = third, third * third, third * third * third, third * third * third * third
	rectifying     = semiMajor / (1 + third) * (1 + n2/4 + n4/64)
)

var (
	alpha = [4]float64{
		n1/2 - 2*n2/3 + 5*n3/16 + 41*n4/180,
		13*n2/48 - 3*n3/5 + 557*n4/1440,
		61*n3/240 - 103*n4/140,
		49561 * n4 / 161280,
	}
	beta = [4]float64{
		n1/2 - 2*n2/3 + 37*n3/96 - n4/360,
		n2/48 + n3/15 - 437*n4/1440,
		17*n3/480 - 37*n4/840,
		4397 * n4 / 161280,
	}
	eccentricity = math.Sqrt(ecc2)
)

// forward projects radians of latitude and of longitude from the central
// meridian into metres at scale 1.
func forward(phi, lam float64) (x, y float64) {
	tau := math.Tan(phi)
	taup := conformal(tau)
	sinL, cosL := math.Sincos(lam)
	xi := math.Atan2(taup, cosL)
	eta := math.Asinh(sinL / math.Hypot(taup, cosL))
	x, y = eta, xi
	for j, a := range alpha {
		k := 2 * float64(j+1)
		s, c := math.Sincos(k * xi)
		sh, ch := math.Sinh(k*eta), math.Cosh(k*eta)
		y += a * s * ch
		x += a * c * sh
	}
	return rectifying * x, rectifying * y
}

// inverse undoes forward.
func inverse(x, y float64) (phi, lam float64) {
	eta, xi := x/rectifying, y/rectifying
	e, n := eta, xi
	for j, b := range beta {
		k := 2 * float64(j+1)
		s, c := math.Sincos(k * xi)
		sh, ch := math.Sinh(k*eta), math.Cosh(k*eta)
		n -= b * s * ch
		e -= b * c * sh
	}
	sh := math.Sinh(e)
	s, c := math.Sincos(n)
	return math.Atan(geographic(s / math.Hypot(sh, c))), math.Atan2(sh, c)
}

// conformal gives the tangent of the conformal latitude (Karney 2011, eq. 7).
func conformal(tau float64) float64 {
	t1 := math.Hypot(1, tau)
	sig := math.Sinh(eccentricity * math.Atanh(eccentricity*tau/t1))
	return tau*math.Hypot(1, sig) - sig*t1
}

// geographic undoes conformal by Newton's method (Karney 2011, eq. 19 to 21).
func geographic(taup float64) float64 {
	tau := taup / (1 - ecc2)
	for range 5 {
		t := conformal(tau)
		d := (taup - t) / math.Hypot(1, t) * (1 + (1-ecc2)*tau*tau) / ((1 - ecc2) * math.Hypot(1, tau))
		tau += d
		if math.Abs(d) <= 1e-15*math.Max(1, math.Abs(tau)) {
			break
		}
	}
	return tau
}

// Zone is a UTM zone: 1 to 60, north or south of the equator.
type Zone struct {
	Number int
	South  bool
}

// ZoneOf gives the zone of a place by the plain rule of six degrees (without
// the exceptions of Norway and Svalbard).
func ZoneOf(lat, lon float64) Zone {
	n := int(math.Floor((wrap(lon)+180)/6)) + 1
	return Zone{Number: min(max(n, 1), 60), South: lat < 0}
}

// String writes the zone as "15N".
func (z Zone) String() string {
	if z.South {
		return fmt.Sprintf("%dS", z.Number)
	}
	return fmt.Sprintf("%dN", z.Number)
}

const (
	utmScale   = 0.9996
	utmEasting = 500_000.0
	utmSouth   = 10_000_000.0
)

func (z Zone) meridian() float64 { return float64(z.Number)*6 - 183 }

// ToUTM projects degrees into metres of the zone.
func (z Zone) ToUTM(lat, lon float64) (easting, northing float64) {
	x, y := forward(lat*deg, wrap(lon-z.meridian())*deg)
	easting, northing = utmEasting+utmScale*x, utmScale*y
	if z.South {
		northing += utmSouth
	}
	return easting, northing
}

// FromUTM turns metres of the zone back into degrees.
func (z Zone) FromUTM(easting, northing float64) (lat, lon float64) {
	if z.South {
		northing -= utmSouth
	}
	phi, lam := inverse((easting-utmEasting)/utmScale, northing/utmScale)
	return phi / deg, wrap(z.meridian() + lam/deg)
}

// wrap brings degrees of longitude into [-180, 180).
func wrap(d float64) float64 {
	if d >= -180 && d < 180 {
		return d
	}
	d = math.Mod(d+180, 360)
	if d < 0 {
		d += 360
	}
	return d - 180
}

package ground

import "math"

// Series of the geodesic integrals to order 6 (Karney 2013, equations 15 to
// 18, 20, 21, 24 and 25).

// distanceSeries gives A1 and the coefficients C1 of the distance integral.
func distanceSeries(eps float64) (a1 float64, c [6]float64) {
	e2 := eps * eps
	a1 = (1 + e2*(1.0/4+e2*(1.0/64+e2/256))) / (1 - eps)
	p := eps
	c[0] = p * (-1.0/2 + e2*(3.0/16-e2/32))
	p *= eps
	c[1] = p * (-1.0/16 + e2*(1.0/32-e2*9/2048))
	p *= eps
	c[2] = p * (-1.0/48 + e2*3/256)
	p *= eps
	c[3] = p * (-5.0/512 + e2*3/512)
	p *= eps
	c[4] = p * (-7.0 / 1280)
	p *= eps
	c[5] = p * (-7.0 / 2048)
	return a1, c
}

// revertedSeries gives the coefficients C1' that turn distance into arc.
func revertedSeries(eps float64) (c [6]float64) {
	e2 := eps * eps
	p := eps
	c[0] = p * (1.0/2 + e2*(-9.0/32+e2*205/1536))
	p *= eps
	c[1] = p * (5.0/16 + e2*(-37.0/96+e2*1335/4096))
	p *= eps
	c[2] = p * (29.0/96 - e2*75/128)
	p *= eps
	c[3] = p * (539.0/1536 - e2*2391/2560)
	p *= eps
	c[4] = p * (3467.0 / 7680)
	p *= eps
	c[5] = p * (38081.0 / 61440)
	return c
}

// longitudeSeries gives A3 and the coefficients C3 of the longitude integral.
func longitudeSeries(eps float64) (a3 float64, c [5]float64) {
	const n = third
	a3 = 1 - eps*((1-n)/2+eps*((1.0/4+n/8-3*n*n/8)+eps*((1.0/16+3*n/16+n*n/16)+eps*((3.0/64+n/32)+eps*3/128))))
	c[0] = eps * ((1-n)/4 + eps*((1-n*n)/8+eps*((3.0/64+3*n/64-n*n/64)+eps*((5.0/128+n/64)+eps*3/128))))
	c[1] = eps * eps * ((1.0/16 - 3*n/32 + n*n/32) + eps*((3.0/64-n/32-3*n*n/64)+eps*((3.0/128+n/128)+eps*5/256)))
	c[2] = eps * eps * eps * ((5.0/192 - 3*n/64 + 5*n*n/192) + eps*((3.0/128-5*n/192)+eps*7/512))
	c[3] = eps * eps * eps * eps * ((7.0/512 - 7*n/256) + eps*7/512)
	c[4] = eps * eps * eps * eps * eps * 21 / 2560
	return a3, c
}

// sines sums c[0] sin 2x + c[1] sin 4x + ….
func sines(c []float64, x float64) float64 {
	s := 0.0
	for i, v := range c {
		s += v * math.Sin(2*float64(i+1)*x)
	}
	return s
}

func epsilon(cosAlpha0 float64) float64 {
	k2 := ecc2 / (1 - ecc2) * cosAlpha0 * cosAlpha0
	r := math.Sqrt(1 + k2)
	return k2 / ((r + 1) * (r + 1))
}

// Inverse gives the shortest way on WGS 84 from one place to another: metres,
// and the azimuth in degrees at both ends, clockwise from north. Places nearly
// opposite each other on the globe, which no field is, give NaN. Equal places
// give 0, 0, 0.
func Inverse(lat1, lon1, lat2, lon2 float64) (s, azi1, azi2 float64) {
	lam := wrap(lon2-lon1) * deg
	if lat1 == lat2 && lam == 0 {
		return 0, 0, 0
	}
	b1 := math.Atan((1 - flattening) * math.Tan(lat1*deg))
	b2 := math.Atan((1 - flattening) * math.Tan(lat2*deg))
	s1, c1 := math.Sincos(b1)
	s2, c2 := math.Sincos(b2)
	s21 := math.Sin(b2 - b1)
	omega := lam
	var a1, a2, sig1, sig2, eps float64
	for i := 0; ; i++ {
		so, co := math.Sincos(omega)
		// 2 sin²(ω/2) keeps short lines exact where 1 − cos ω would not be.
		h := math.Sin(omega / 2)
		h = 2 * h * h
		a1 = math.Atan2(c2*so, s21+s1*c2*h)
		a2 = math.Atan2(c1*so, s21-c1*s2*h)
		sa1, ca1 := math.Sincos(a1)
		sinA0 := sa1 * c1
		cosA0 := math.Hypot(ca1, sa1*s1)
		eps = epsilon(cosA0)
		sig1 = math.Atan2(s1, ca1*c1)
		arc := math.Atan2(math.Hypot(s21-c1*s2*h, c1*so), s1*s2+c1*c2*co)
		sig2 = sig1 + arc
		a3, c3 := longitudeSeries(eps)
		next := lam + flattening*sinA0*a3*(arc+sines(c3[:], sig2)-sines(c3[:], sig1))
		d := next - omega
		omega = next
		if math.Abs(d) < 1e-15 || (i > 20 && math.Abs(d) < 1e-13) {
			break
		}
		if i == 60 || math.IsNaN(d) {
			nan := math.NaN()
			return nan, nan, nan
		}
	}
	A1, C1 := distanceSeries(eps)
	b := semiMajor * (1 - flattening)
	s = b * A1 * (sig2 - sig1 + sines(C1[:], sig2) - sines(C1[:], sig1))
	return s, a1 / deg, a2 / deg
}

// Direct gives the place and the azimuth after going s metres along the
// shortest way that leaves a place at an azimuth; degrees throughout.
func Direct(lat1, lon1, azi1, s float64) (lat2, lon2, azi2 float64) {
	b1 := math.Atan((1 - flattening) * math.Tan(lat1*deg))
	s1, c1 := math.Sincos(b1)
	sa1, ca1 := math.Sincos(azi1 * deg)
	sinA0 := sa1 * c1
	cosA0 := math.Hypot(ca1, sa1*s1)
	eps := epsilon(cosA0)
	sig1 := math.Atan2(s1, ca1*c1)
	om1 := math.Atan2(sinA0*s1, ca1*c1)
	A1, C1 := distanceSeries(eps)
	b := semiMajor * (1 - flattening)
	tau1 := sig1 + sines(C1[:], sig1)
	tau2 := tau1 + s/(b*A1)
	rev := revertedSeries(eps)
	sig2 := tau2 + sines(rev[:], tau2)
	ss, cs := math.Sincos(sig2)
	a2 := math.Atan2(sinA0, cosA0*cs)
	b2 := math.Atan2(cosA0*ss, math.Hypot(cosA0*cs, sinA0))
	om2 := math.Atan2(sinA0*ss, cs)
	a3, c3 := longitudeSeries(eps)
	dom := om2 - om1
	// ω and σ turn together; keep them on the same turn.
	dsig := sig2 - sig1
	want := dsig
	if sinA0 < 0 {
		want = -dsig
	}
	dom += 2 * math.Pi * math.Round((want-dom)/(2*math.Pi))
	lam := dom - flattening*sinA0*a3*(dsig+sines(c3[:], sig2)-sines(c3[:], sig1))
	lat2 = math.Atan(math.Tan(b2)/(1-flattening)) / deg
	return lat2, wrap(lon1 + lam/deg), a2 / deg
}

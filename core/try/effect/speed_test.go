package effect_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"evenstand"
	"evenstand/core/measure/group"
	"evenstand/core/try"
	"evenstand/core/try/effect"
)

// The world of the methods document, section g: slow in bad ground, truth +1.6
// points a mile an hour, 30 passes of 40 stretches.
func TestSpeed(t *testing.T) {
	m, _ := group.ByID("load")
	var c tally
	const mph = evenstand.Mile / 3600
	for i := range runs(t) {
		rnd := rand.New(rand.NewPCG(uint64(i), stream(3)))
		p := try.NewPanel("p", "2026-05-02", 4, 0.762, []group.Measure{m})
		zone := map[[2]int]float64{}
		var points []evenstand.TrackPoint
		now := evenstand.Micros(0)
		path := rnd.NormFloat64()
		for pass := range int32(30) {
			own, mood := rnd.NormFloat64(), rnd.NormFloat64()
			start := now
			var ss []evenstand.Stretch
			for k := range int32(40) {
				north := 15 * (float64(k) + 0.5)
				if pass%2 == 1 {
					north = 600 - north
				}
				east := 9 * float64(pass)
				at := [2]int{int(east / 80), int(north / 110)}
				z, ok := zone[at]
				if !ok {
					z = rnd.NormFloat64()
					zone[at] = z
				}
				path = 0.95*path + math.Sqrt(1-0.95*0.95)*rnd.NormFloat64()
				speed := 5 - 0.3*z + 0.2*mood + 0.25*rnd.NormFloat64()
				y := 1.6*speed + 1.5*z + 0.7*own + 0.5*path
				points = append(points, evenstand.TrackPoint{T: now, Lat: 41.6 + north/111065.5, Lon: -93.5 + east/83300})
				for row := range int16(4) {
					s := evenstand.Stretch{Pass: pass, Row: row + 1, K: k, T: now, Way: 15}
					s.Speed.Add(speed * mph)
					s.Load.Add(y + rnd.NormFloat64())
					ss = append(ss, s)
				}
				now += stepTime
			}
			p.Add(&evenstand.Pass{Index: pass, Start: start, Field: "north"}, ss)
		}
		p.Locate(points)
		f := effect.NewDay(p, nil).Speed()[0]
		if f.Why != effect.None {
			c.unknown++
			continue
		}
		by := (f.Change.To - f.Change.From) / mph
		c.add(f.Value/by, f.Low/by, f.High/by, 1.6)
		c.call(f.Beyond(1.6 * by))
	}
	c.tell(t, "speed, points a mile an hour")
	check(t, c)
}

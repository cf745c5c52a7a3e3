package sim

import (
	"math"

	"evenstand/core/relation"
)

// lateShare is the share of seeds that a disc which lets go late holds back:
// judgement.
const lateShare = 0.25

// scatter is the SD of a healthy seed's place at the sensor along the row, in
// m, at a speed: fall, bounce, jumps and the sensor's own noise.
func (s *Scenario) scatter(v float64) float64 {
	t := &s.Tube
	fall, noise := v*t.FallSD/1000, v*s.Sensor.NoiseMS/1000
	jumps := min(t.Jumps*(v/2.2)*(v/2.2), 0.5) * 2 * t.Jump * t.Jump
	return math.Sqrt(t.Bounce*t.Bounce + fall*fall + noise*noise + jumps)
}

// bounce gives the SD of a seed's bounce in m, so that all scatter together is
// as many times the healthy as the faults say. What only delays seeds is given
// as the mean delay of those that are late.
func (s *Scenario) bounce(e *effect, v float64) (sd, late float64) {
	own := s.Tube.Bounce
	if e.bounce == 1 {
		return own, 0
	}
	all := s.scatter(v)
	more := max(e.bounce*e.bounce-1, 0) * all * all
	if e.late {
		// A share p late by an exponential time of mean m has the variance
		// (2p - p²)m².
		return own, math.Sqrt(more / (2*lateShare - lateShare*lateShare))
	}
	return math.Sqrt(own*own + more), 0
}

// delay draws how far a seed lies behind its place because it was let go late.
func delay(w uint64, mean float64) float64 {
	if unit(w) >= lateShare {
		return 0
	}
	return -mean * math.Log(unit(mix(w)))
}

// evenSD is the SD of plant spacing in inches where planters space well, at
// which R4's older line begins.
const evenSD = 2.0

// spaced gives the share of yield lost when gaps vary by more m2 than they do
// on a planter that spaces well: R4, as a triangle.
func (c *Coefficients) spaced(more, yieldBu float64) float64 {
	sd := math.Sqrt(evenSD*evenSD + more/(0.0254*0.0254))
	low0, likely0, high0 := relation.SpacingSD(evenSD, yieldBu)
	low1, likely1, high1 := relation.SpacingSD(sd, yieldBu)
	return max(0, relation.Triangular(low1, likely1, high1, c.Spacing)-relation.Triangular(low0, likely0, high0, c.Spacing)) / 100
}

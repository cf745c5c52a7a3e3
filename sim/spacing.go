package sim

import (
	"math"
	"slices"

	"evenstand"
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
	if e.bounce == 1 && e.late == 1 {
		return own, 0
	}
	all := s.scatter(v)
	sd = math.Sqrt(own*own + max(e.bounce*e.bounce-1, 0)*all*all)
	// A share p late by an exponential time of mean m has the variance
	// (2p - p²)m².
	more := max(e.late*e.late-1, 0) * e.bounce * e.bounce * all * all
	return sd, math.Sqrt(more / (2*lateShare - lateShare*lateShare))
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

// waves is how often the drive's error comes round in a turn of the disc: a
// coupling once, a joint twice, a tooth four times (simulator.md section 8).
func (f *fault) waves() int {
	switch f.Variant {
	case "joint":
		return 2
	case "tooth":
		return 4
	}
	return 1
}

// wave is how many places later a cell comes to the drop point because the
// drive runs unevenly.
func (e *effect) wave(cell, cells int) float64 {
	if e.ripple == 0 {
		return 0
	}
	return e.ripple * math.Sin(2*math.Pi*float64(e.waves*cell)/float64(cells))
}

// uneven gives the m2 by which the fault makes gaps vary more.
func (f *fault) uneven(s *Scenario) float64 {
	switch f.Kind {
	case evenstand.KindRowBounce: // two seeds make a gap
		return 2 * (f.Strength*f.Strength - 1) * math.Pow(s.scatter(s.Drive.Speed), 2)
	case evenstand.KindSpeedSpacing: // what 0.45 m/s cost
		e := effect{slope: f.Strength}
		cv := math.Sqrt2 * s.scatter(s.Drive.Speed) / s.spacing() * s.faster(&e, s.Drive.Speed)
		slow := max(cv-f.Strength/100, 0)
		return (cv*cv - slow*slow) * s.spacing() * s.spacing()
	case evenstand.KindRowDrive: // neighbours on a wave of size A differ by 2A sin(pi h/N) at most
		gap := 2 * f.Strength * math.Sin(math.Pi*float64(f.waves())/float64(s.Planter.Cells)) * s.spacing()
		return gap * gap / 2
	}
	return 0
}

// rough tells whether a place of a field lies in a rough patch: about a third
// of the ground, in patches of 60 to 150 m.
func rough(at xy) bool { return math.Sin(at.x/41)+math.Sin(at.y/33+1) > 0.5 }

// rougher is the factor on the scatter of the seeds at a tick, and the term of
// the logit of a skip.
func (s *Scenario) rougher(e *effect, lg *leg, i int) (times, skip float64) {
	if s.Tube.Rough == 0 && e.rough == 0 || !rough(xy{lg.bx[i], lg.by[i]}) {
		return 1, 0
	}
	if e.rough > 0 {
		return e.rough, math.Log(e.rough)
	}
	return s.Tube.Rough, 0
}

// slower is the share by which rough patches are driven slower; below 0 faster.
func (s *Scenario) slower() float64 {
	if slices.ContainsFunc(s.Faults, func(p FaultPlan) bool { return p.Kind == KindRoughGround && p.Variant == "faster" }) {
		return -s.Drive.RoughSlow
	}
	return s.Drive.RoughSlow
}

// faster is the factor by which seeds scatter more for the speed, so that the
// CV of their gaps, √2 times their scatter in places, grows by the faults'
// points for each 0.45 m/s. Below four fifths of the day's speed nothing grows.
func (s *Scenario) faster(e *effect, v float64) float64 {
	if e.slope == 0 {
		return 1
	}
	own := s.scatter(v) / s.spacing()
	more := e.slope / 100 / math.Sqrt2 * (v - 0.8*s.Drive.Speed) / 0.45
	return max(1, 1+more/own)
}

// compensation gives the offset from the middle, in m, at which the drive of a
// row at y takes its own speed on a curve.
func (s *Scenario) compensation(e *effect, y float64) float64 {
	switch {
	case !s.Planter.TurnCompensation || e.turns == 1:
		return 0
	case e.turns == 2:
		return -y
	}
	return y
}

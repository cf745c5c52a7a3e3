package find

import (
	"math"

	"evenstand"
)

// granules are what is followed of them: rows log what they put on the ground.
var granules = product{low: evenstand.KindGranularRowOff, high: evenstand.KindGranularRowOff, off: evenstand.KindGranularRateOff, byArea: true, every: true}

const (
	granulesNone = 0.05                      // of what is asked for: less is none
	fillLeast    = 3 * 60 * evenstand.Second // standing so long, boxes may have been filled (judgement)
	fillAfter    = 60 * evenstand.Second     // how soon after it a gate that was not seated shows (judgement)
)

// Granules takes what a row puts on the ground in kg/m2 while planting. Where
// a section speaks for its rows, section is its first row, else 0.
func (e *Engine) Granules(n, section int, t evenstand.Micros, rate float64) {
	e.granular.row(n).group = section
	e.granular.take(n, rate)
}

// GranularRate takes what the machine says goes on, in kg/m2.
func (e *Engine) GranularRate(t evenstand.Micros, rate float64) { e.granular.takeRate(rate) }

// GranularTarget takes what is asked for, in kg/m2.
func (e *Engine) GranularTarget(t evenstand.Micros, rate float64) { e.granular.takeTarget(t, rate) }

// sinceFill tells whether something began when the planter had stood long enough
// to be filled.
func (e *Engine) sinceFill(onset evenstand.Micros) bool {
	for _, h := range e.halts {
		if h.to-h.from >= fillLeast && onset >= h.from-flowSame && onset <= h.to+fillAfter {
			return true
		}
	}
	return false
}

// reportGranules says why a row's granules are off: the log of them over its
// peers' is m. Prior odds of the trade (agronomy F60, F61, F62), weighed by when
// it began: what bridges does so later, a gate that is not seated shows from a
// fill on. Judgement, no published odds.
func (e *Engine) reportGranules(c *caseFile, f *evenstand.Finding, m float64) {
	bridge, gate, set := 0.86, 0.09, 0.04
	switch {
	case c.flow.high:
		bridge, gate, set = 0, 0.75, 0.20
	case c.flow.fromStart || e.sinceFill(c.onset):
		bridge, gate, set = 0.20, 0.70, 0.08
	}
	f.Causes = normalise(evenstand.Cause{Cause: evenstand.CauseGranulesBridged, Probability: bridge},
		evenstand.Cause{Cause: evenstand.CauseGranuleGate, Probability: gate}, evenstand.Cause{Cause: evenstand.CauseGranuleCalibration, Probability: set})
	e.addGround(f, c.flow.area)
}

// reportGranulesWhole says why all boxes are off: by one share it is their
// calibration (agronomy F61), at nothing their drive. Judgement, no published
// odds.
func (e *Engine) reportGranulesWhole(c *caseFile, f *evenstand.Finding, m float64) {
	set, off, speed := 0.84, 0.02, 0.08
	if m < granulesNone {
		set, off, speed = 0.02, 0.90, 0
	}
	f.Causes = normalise(evenstand.Cause{Cause: evenstand.CauseGranuleCalibration, Probability: set},
		evenstand.Cause{Cause: evenstand.CauseGranulesOff, Probability: off}, evenstand.Cause{Cause: evenstand.CauseSpeedSource, Probability: speed})
	e.addGround(f, c.whole.area)
}

// addGround adds how much ground was planted meanwhile, where that is known.
func (e *Engine) addGround(f *evenstand.Finding, area float64) {
	if area > 0 && !math.IsNaN(area) {
		f.Evidence = append(f.Evidence, ev("ground planted meanwhile", area, nan, nan, nan, "m2"))
	}
}

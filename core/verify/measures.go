package verify

import (
	"math"

	"evenstand"
)

// fewGaps is how many single gaps a stretch needs for its scatter to count;
// bareLiquid is m3 per m2 under which a row got none: a tenth of the least rates
// that are used. Both judgement.
const (
	fewGaps    = 20
	bareLiquid = 5e-7
)

// share gives what a stretch adds to a share: events and places.
func share(measure string, s *evenstand.Stretch, spacing float64) (y, n float64, ok bool) {
	switch measure {
	case Skips, NoSeed:
		return clip(s.Skips, s.Due)
	case Doubles:
		return clip(s.Doubles, s.Due)
	case SwitchedOff: // a stretch is one case: what is off is off for many
		if !(s.Way > 0) || !(s.Off >= 0) {
			return 0, 0, false
		}
		return one(s.Off > s.Way/2), 1, true
	case NoLiquid:
		area := float64(s.Way-s.Off) * spacing
		if !(area > 0) || !(s.Seeds > 0) || math.IsNaN(float64(s.Liquid)) {
			return 0, 0, false
		}
		return one(float64(s.Liquid)/area < bareLiquid), 1, true
	}
	return 0, 0, false
}

func clip(y, n float32) (float64, float64, bool) {
	if !(n > 0) || !(y >= 0) {
		return 0, 0, false
	}
	return float64(min(y, n)), float64(n), true
}

func one(yes bool) float64 {
	if yes {
		return 1
	}
	return 0
}

// mean gives the mean of a stretch; of what was put out its logarithm, for it
// is told in ratios.
func mean(measure string, s *evenstand.Stretch, spacing float64) (x float64, ok bool) {
	switch measure {
	case Spacing:
		m := s.Singles
		if !(m.N >= fewGaps) || !(m.Mean() > 0) {
			return 0, false
		}
		x = m.SD() / m.Mean()
	case Seeding:
		way := float64(s.Way - s.Off)
		if way < 0.8*float64(s.Way) || !(s.Target > 0) || !(s.Seeds > 0) {
			return 0, false
		}
		x = math.Log(float64(s.Seeds) * float64(s.Target) / way)
	case WheelsOff:
		x = s.OffShare.Mean()
	case Load:
		x = s.Load.Mean()
	case ForceSwing:
		if !(s.Force.N >= 3) {
			return 0, false
		}
		x = s.Force.SD()
	case Moisture:
		x = s.Moisture.Mean()
	case Temperature:
		x = s.Temperature.Mean()
	case Trash:
		x = s.Trash.Mean()
	case Liquid, DryProduct:
		v := float64(s.Liquid)
		if measure == DryProduct {
			v = float64(s.Granular)
		}
		area := float64(s.Way-s.Off) * spacing
		if !(area > 0) || !(v > 0) {
			return 0, false
		}
		x = math.Log(v / area)
	}
	return x, !math.IsNaN(x) && !math.IsInf(x, 0)
}

// ratios are the measures that are kept as logarithms.
func ratios(measure string) bool {
	return measure == Liquid || measure == DryProduct || measure == Seeding
}

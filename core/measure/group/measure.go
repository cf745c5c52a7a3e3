package group

import (
	"math"

	"evenstand"
)

// Measure is one figure that stretches can be summed up to.
type Measure struct {
	ID    string // stable; in links and the interface
	Label string // plain words: "skips"
	Of    string // what it is a share or a mean of
	Unit  string // SI, as advise.Voice.Value reads it
	Worse int    // 1: more is worse, -1: less is worse, 0: neither by itself
	Few   float64

	// part gives the two sums of a stretch, its count and, for measures of
	// spread, its sum of squares; false when the stretch does not tell.
	part func(s *evenstand.Stretch, spacing float64) (part, bool)
	kind kind
}

// part is what one stretch adds: how much there is to judge by, the sum over
// it, and the sum of squares.
type part struct{ n, s, q float64 }

type kind uint8

const (
	share  kind = iota // s of n cases, 0 to n
	mean               // s over n
	spread             // sqrt(q/n − (s/n)²) over s/n
)

// few is how many places due are needed before a share is shown without
// hatching: with 100 of them two skips more or less are one in a hundred.
// Judgement, no source.
const few = 100

// measures in the order in which they are offered.
var measures = []Measure{
	{
		ID: "skips", Label: "skips", Of: "of the places where a seed was due", Unit: "fraction", Worse: 1, Few: few, kind: share,
		part: func(s *evenstand.Stretch, _ float64) (part, bool) { return ratio(s.Skips, s.Due) },
	},
	{
		ID: "doubles", Label: "doubles", Of: "of the places where a seed was due", Unit: "fraction", Worse: 1, Few: few, kind: share,
		part: func(s *evenstand.Stretch, _ float64) (part, bool) { return ratio(s.Doubles, s.Due) },
	},
	{
		ID: "spacing", Label: "spacing scatter", Of: "variation of single seed spacings (ISO 7256-1 precision)", Unit: "fraction", Worse: 1, Few: few, kind: spread,
		part: func(s *evenstand.Stretch, _ float64) (part, bool) {
			m := s.Singles
			if !(m.N > 0) {
				return part{}, false
			}
			return part{m.N, m.Sum, m.M2 + m.Sum*m.Sum/m.N}, true
		},
	},
	{
		ID: "population", Label: "seeds planted", Of: "on the ground planted", Unit: "1/m2", Few: few, kind: mean,
		part: func(s *evenstand.Stretch, spacing float64) (part, bool) {
			area := float64(s.Way) * spacing
			if !(area > 0) || !(s.Seeds >= 0) || s.Grade == evenstand.NoGrade {
				return part{}, false
			}
			return part{n: area, s: float64(s.Seeds)}, true
		},
	},
	means("wheel-off", "gauge wheels off the ground", "share of the way", "fraction", 1, func(s *evenstand.Stretch) evenstand.Moments { return s.OffShare }),
	means("load", "gauge-wheel load", "mean over the way", "N", 0, func(s *evenstand.Stretch) evenstand.Moments { return s.Load }),
	means("force", "applied force", "mean over the way", "N", 0, func(s *evenstand.Stretch) evenstand.Moments { return s.Force }),
	means("moisture", "seed-zone moisture", "mean over the way", "fraction", 0, func(s *evenstand.Stretch) evenstand.Moments { return s.Moisture }),
	means("temperature", "seed-zone temperature", "mean over the way", "degC", 0, func(s *evenstand.Stretch) evenstand.Moments { return s.Temperature }),
	means("trash", "trash in the slot", "mean over the way", "fraction", 1, func(s *evenstand.Stretch) evenstand.Moments { return s.Trash }),
	means("speed", "speed", "mean over the way", "m/s", 0, func(s *evenstand.Stretch) evenstand.Moments { return s.Speed }),
	means("vacuum", "vacuum", "mean over the way", "Pa", 0, func(s *evenstand.Stretch) evenstand.Moments { return s.Vacuum }),
	{
		ID: "liquid", Label: "liquid", Of: "on the ground planted", Unit: "m3/m2", kind: mean,
		part: func(s *evenstand.Stretch, spacing float64) (part, bool) { return applied(s.Liquid, s.Way, spacing) },
	},
	{
		ID: "granular", Label: "dry product", Of: "on the ground planted", Unit: "kg/m2", kind: mean,
		part: func(s *evenstand.Stretch, spacing float64) (part, bool) { return applied(s.Granular, s.Way, spacing) },
	},
}

// Measures gives all measures; the slice is the caller's.
func Measures() []Measure { return append([]Measure(nil), measures...) }

// ByID gives a measure, false for an id that there is not.
func ByID(id string) (Measure, bool) {
	for _, m := range measures {
		if m.ID == id {
			return m, true
		}
	}
	return Measure{}, false
}

func means(id, label, of, unit string, worse int, take func(*evenstand.Stretch) evenstand.Moments) Measure {
	return Measure{
		ID: id, Label: label, Of: of, Unit: unit, Worse: worse, kind: mean,
		part: func(s *evenstand.Stretch, _ float64) (part, bool) {
			m, way := take(s), float64(s.Way)
			if !(m.N > 0) || !(way > 0) {
				return part{}, false
			}
			return part{n: way, s: way * m.Mean()}, true
		},
	}
}

func ratio(some, of float32) (part, bool) {
	if !(of > 0) || !(some >= 0) {
		return part{}, false
	}
	return part{n: float64(of), s: float64(some)}, true
}

func applied(amount, way float32, spacing float64) (part, bool) {
	area := float64(way) * spacing
	if !(area > 0) || math.IsNaN(float64(amount)) {
		return part{}, false
	}
	return part{n: area, s: float64(amount)}, true
}

// One gives the measure of a single stretch, false when it does not tell.
func (m *Measure) One(s *evenstand.Stretch, spacing float64) (float64, bool) {
	p, ok := m.part(s, spacing)
	if !ok || !(p.n > 0) {
		return math.NaN(), false
	}
	r := p.s / p.n
	if m.kind == spread {
		v := p.q/p.n - r*r
		if !(p.n > 1) || !(v >= 0) || !(r > 0) {
			return math.NaN(), false
		}
		return math.Sqrt(v*p.n/(p.n-1)) / r, true
	}
	return r, !math.IsNaN(r)
}

package group

import (
	"math"

	"evenstand"
	"evenstand/core/stat"
)

// Measure is one figure that stretches can be summed up to.
type Measure struct {
	ID    string // stable; in links and the interface
	Label string // plain words: "skips"
	Of    string // what it is a share or a mean of
	Unit  string // SI, as advise.Voice.Value reads it
	Worse int    // 1: more is worse, -1: less is worse, 0: neither by itself
	Few   float64
	// Quantity is what logs say it as, Raw for what is counted from seeds.
	Quantity evenstand.Quantity

	// part gives the two sums of a stretch, its count and, for measures of
	// spread, its sum of squares; false when the stretch does not tell.
	part func(s *evenstand.Stretch, spacing float64) (Part, bool)
	kind kind
}

// Part is what a stretch adds to a measure: how much there is to judge by
// (places due, single spacings, m2 or m of way), the sum over it, and for
// measures of spread the sum of squares. Parts of several stretches add up.
type Part struct{ N, S, Q float64 }

// Add takes in another.
func (p *Part) Add(o Part) { p.N, p.S, p.Q = p.N+o.N, p.S+o.S, p.Q+o.Q }

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
		part: func(s *evenstand.Stretch, _ float64) (Part, bool) { return ratio(s.Skips, s.Due) },
	},
	{
		ID: "doubles", Label: "doubles", Of: "of the places where a seed was due", Unit: "fraction", Worse: 1, Few: few, kind: share,
		part: func(s *evenstand.Stretch, _ float64) (Part, bool) { return ratio(s.Doubles, s.Due) },
	},
	{
		ID: "spacing", Label: "spacing scatter", Of: "variation of single seed spacings (ISO 7256-1 precision)", Unit: "fraction", Worse: 1, Few: few, kind: spread,
		part: func(s *evenstand.Stretch, _ float64) (Part, bool) {
			m := s.Singles
			if !(m.N > 0) {
				return Part{}, false
			}
			return Part{m.N, m.Sum, m.M2 + m.Sum*m.Sum/m.N}, true
		},
	},
	{
		ID: "population", Label: "seeds planted", Of: "on the ground planted", Unit: "1/m2", Few: few, kind: mean,
		part: func(s *evenstand.Stretch, spacing float64) (Part, bool) {
			area := on(s) * spacing
			if !(area > 0) || !(s.Seeds >= 0) || s.Grade == evenstand.NoGrade {
				return Part{}, false
			}
			return Part{N: area, S: float64(s.Seeds)}, true
		},
	},
	{
		ID: "switched-off", Label: "switched off", Of: "of the way", Unit: "fraction", Quantity: evenstand.RowEnabled, kind: mean,
		part: func(s *evenstand.Stretch, _ float64) (Part, bool) {
			way := float64(s.Way)
			if !(way > 0) || !(s.Off >= 0) {
				return Part{}, false
			}
			return Part{N: way, S: min(way, float64(s.Off))}, true
		},
	},
	means(evenstand.WheelOffShare, "wheel-off", "gauge wheels off the ground", "share of the way", "fraction", 1, func(s *evenstand.Stretch) evenstand.Moments { return s.OffShare }),
	means(evenstand.GaugeWheelLoad, "load", "gauge-wheel load", "mean over the way", "N", 0, func(s *evenstand.Stretch) evenstand.Moments { return s.Load }),
	means(evenstand.AppliedForce, "force", "down force", "mean over the way", "N", 0, func(s *evenstand.Stretch) evenstand.Moments { return s.Force }),
	means(evenstand.SeedZoneMoisture, "moisture", "seed-zone moisture", "mean over the way", "fraction", 0, func(s *evenstand.Stretch) evenstand.Moments { return s.Moisture }),
	means(evenstand.SeedZoneTemperature, "temperature", "seed-zone temperature", "mean over the way", "degC", 0, func(s *evenstand.Stretch) evenstand.Moments { return s.Temperature }),
	means(evenstand.SlotTrash, "trash", "trash in the slot", "mean over the way", "fraction", 1, func(s *evenstand.Stretch) evenstand.Moments { return s.Trash }),
	means(evenstand.GroundSpeed, "speed", "speed", "mean over the way", "m/s", 0, func(s *evenstand.Stretch) evenstand.Moments { return s.Speed }),
	means(evenstand.Vacuum, "vacuum", "vacuum", "mean over the way", "Pa", 0, func(s *evenstand.Stretch) evenstand.Moments { return s.Vacuum }),
	{
		ID: "liquid", Label: "liquid", Of: "on the ground planted", Unit: "m3/m2", kind: mean,
		part: func(s *evenstand.Stretch, spacing float64) (Part, bool) { return applied(s.Liquid, on(s), spacing) },
	},
	{
		ID: "granular", Label: "dry product", Of: "on the ground planted", Unit: "kg/m2", kind: mean,
		part: func(s *evenstand.Stretch, spacing float64) (Part, bool) { return applied(s.Granular, on(s), spacing) },
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

func means(q evenstand.Quantity, id, label, of, unit string, worse int, take func(*evenstand.Stretch) evenstand.Moments) Measure {
	return Measure{
		ID: id, Label: label, Of: of, Unit: unit, Worse: worse, Quantity: q, kind: mean,
		part: func(s *evenstand.Stretch, _ float64) (Part, bool) {
			m, way := take(s), float64(s.Way)
			if !(m.N > 0) || !(way > 0) {
				return Part{}, false
			}
			return Part{N: way, S: way * m.Mean()}, true
		},
	}
}

// on gives the way on which the row was switched on: what sections leave out at
// points and overlaps is not planted thinly.
func on(s *evenstand.Stretch) float64 {
	way := float64(s.Way) - float64(s.Off)
	if way < 0.05*float64(s.Way) {
		return 0
	}
	return way
}

func ratio(some, of float32) (Part, bool) {
	if !(of > 0) || !(some >= 0) {
		return Part{}, false
	}
	return Part{N: float64(of), S: float64(some)}, true
}

func applied(amount float32, way, spacing float64) (Part, bool) {
	area := way * spacing
	if !(area > 0) || math.IsNaN(float64(amount)) {
		return Part{}, false
	}
	return Part{N: area, S: float64(amount)}, true
}

// Part gives what a stretch adds, false when it does not tell. Spacing is the
// row spacing in m, NaN unknown.
func (m *Measure) Part(s *evenstand.Stretch, spacing float64) (Part, bool) {
	p, ok := m.part(s, spacing)
	return p, ok && p.N > 0
}

// One gives the measure of a single stretch, false when it does not tell.
func (m *Measure) One(s *evenstand.Stretch, spacing float64) (float64, bool) {
	p, ok := m.Part(s, spacing)
	if !ok {
		return math.NaN(), false
	}
	return m.Value(p)
}

// Value gives the measure of a part or of several together, false when they do
// not tell.
func (m *Measure) Value(p Part) (float64, bool) {
	if !(p.N > 0) {
		return math.NaN(), false
	}
	r := p.S / p.N
	if m.kind == spread {
		v := p.Q/p.N - r*r
		if !(p.N > 1) || !(v >= 0) || !(r > 0) {
			return math.NaN(), false
		}
		return math.Sqrt(v*p.N/(p.N-1)) / r, true
	}
	return r, !math.IsNaN(r)
}

// Squares tells whether the measure needs the sums of squares of its parts.
func (m *Measure) Squares() bool { return m.kind == spread }

// Chance gives the 90 % interval that a part has by chance alone: Wilson's for
// a share, the normal one for a scatter. A mean has none; false.
func (m *Measure) Chance(p Part) (low, high float64, ok bool) {
	v, ok := m.Value(p)
	if !ok {
		return math.NaN(), math.NaN(), false
	}
	switch m.kind {
	case share:
		low, high = stat.Wilson(p.S, p.N, level)
		return low, high, true
	case spread:
		d := stat.NormalQuantile(1-(1-level)/2) * math.Sqrt(v*v*(0.5+v*v)/p.N)
		return max(0, v-d), v + d, true
	}
	return math.NaN(), math.NaN(), false
}

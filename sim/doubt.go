package sim

import (
	"math"
	"slices"

	"evenstand"
)

// Trouble of the sensors and boxes: what they say is not what happened.

// doubtStrength is the default by variant of sensor-doubt: pulses of dust a
// second (simulator.md section 8), share of the seeds not seen.
var doubtStrength = map[string]float64{"dust": 4, "misses": 0.4, "drop-out": 0.4}

// looseMean is how many places on end a loose plug swallows, on average: at 25
// seeds a second 0.12 s, the middle of 40 to 200 ms (methods e).
const looseMean = 3.0

// dusty tells whether the fault makes pulses that are no seeds.
func (f *fault) dusty() bool {
	return f.Kind == KindDust || f.Kind == evenstand.KindSensorDoubt && f.Variant == "dust"
}

// loosen walks a loose plug one place on: whether the row's sensor is blind to
// it. The share of places that it swallows is the fault's strength.
func (f *fault) loosen(row int, u float64) {
	p := f.Strength / max(1-f.Strength, 1e-9) / looseMean // begin
	if f.starving[row] {
		p = 1 - 1/looseMean // go on
	}
	f.starving[row] = u < p
}

// doubtful tells whether sensor-doubt is as strong and long as tests demand:
// a third of the seeds lost for a minute with sharp ends, or 20 pulses of dust
// (methods, "Detectable"), these at a second or less from one another, since a
// healthy sensor gives one in 20 s.
func (f *fault) doubtful() bool {
	if f.dusty() {
		return f.Strength >= 1 && f.Strength*f.planting >= 20
	}
	return f.Strength >= 0.3 && f.planting >= 60 && f.Ramp == 0
}

// settleDoubt says what trouble of a sensor is: a fault where tests demand a
// finding, a look-alike of skips or doubles below that.
func (f *fault) settleDoubt(t *Fault) {
	switch {
	case f.kind.as != "" && t.Detectable:
		t.Kind, t.Variant, t.Distract, t.Excused = f.kind.as, "misses", false, nil
		if f.dusty() {
			t.Variant = "dust"
		}
	case f.kind.as != "":
		t.Expected = ""
	case f.Kind == evenstand.KindSensorDoubt && !t.Detectable:
		alike := evenstand.KindRowSkips
		if f.dusty() {
			alike = evenstand.KindRowDoubles
		}
		t.Excused = append(slices.Clone(t.Excused), alike)
	}
}

// silent tells whether a box logs nothing at a time of the day. The seed
// monitor and the row monitor are one box in the cab.
func (m *moment) silent(box string, t float64) bool {
	if box == "rows" {
		box = "seed"
	}
	for _, f := range m.faults {
		if f.Kind == evenstand.KindSourceSilent && f.Variant == box && f.begun && t >= f.t0 && (!f.over || t < f.w1) {
			return true
		}
	}
	return false
}

// anySilent tells whether any box is silent at some time of the day.
func (m *moment) anySilent() bool {
	return slices.ContainsFunc(m.faults, func(f *fault) bool { return f.Kind == evenstand.KindSourceSilent && f.begun })
}

// misplaced tells whether the places are as wrong for as long as tests demand:
// the limits are measured, not the methods' (docs/measured.md).
func (f *fault) misplaced() bool {
	switch f.Variant {
	case "standing":
		return f.longest >= 5
	case "quality":
		return f.planting >= 15
	}
	return f.Strength >= 0.6 && f.planting >= 5
}

// misplace makes of a fix what a receiver in trouble says at a time of the day;
// before is the last one, and becomes this one.
func (m *moment) misplace(f *evenstand.Fix, t float64, before *evenstand.Fix) {
	defer func() { *before = *f }()
	for _, x := range m.faults {
		if x.Kind != evenstand.KindPositionDoubt || !x.begun || t < x.t0 || x.over && t >= x.w1 {
			continue
		}
		g := stream(m.s.Seed, "place "+x.ID, -1, 0)
		way := 2 * math.Pi * uniform(g)
		east, north := x.Strength*math.Cos(way), x.Strength*math.Sin(way)
		switch x.Variant {
		case "standing":
			if before.T != 0 {
				f.Lat, f.Lon = before.Lat, before.Lon
			}
			continue
		case "quality":
			// Without its fixed solution a place drifts over minutes (judgement).
			drift := func() float64 {
				a, b := 2*math.Pi*uniform(g), 2*math.Pi*uniform(g)
				return x.Strength * (math.Sin(2*math.Pi*t/120+a) + 0.4*math.Sin(2*math.Pi*t/40+b))
			}
			east, north = drift(), drift()
			f.Kind, f.HDOP, f.Sats = evenstand.FixRTKFloat, 2.8, 9
		}
		f.Lat += north / 111132
		f.Lon += east / (111320 * math.Cos(f.Lat*math.Pi/180))
	}
}

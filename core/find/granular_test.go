package find_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"evenstand"
	"evenstand/core/find"
)

// boxes feeds an engine with what rows put on in granules: a row a second, noise
// 6 % with a correlation of 0.5 from second to second, healthy rows 2 % apart.
// The planter stands ten minutes from second 3280 on, as at a fill.
type boxes struct {
	hours   float64
	seed    uint64
	row     func(row int, t float64) float64
	section int // rows that one section speaks for; 0 rows speak for themselves
	only    bool
	off     func(row int, t float64) bool
}

const perM2Dry = 5.6e-4 // 5.6 kg/ha in kg/m2

func (w boxes) run() []evenstand.Finding {
	const rows = 16
	e := find.New(config(rows))
	rnd := rand.New(rand.NewPCG(w.seed, 11))
	var factor, noise [rows]float64
	for r := range factor {
		factor[r] = 1 + 0.02*rnd.NormFloat64()
	}
	e.GranularTarget(t0, perM2Dry)
	down, way := false, 0.0
	for s := range int(w.hours * 3600) {
		t := float64(s)
		planting := math.Mod(t, 410) < 385 && (t < 3280 || t >= 3880)
		if planting != down {
			if down = planting; down {
				e.Lower(at(t))
			} else {
				e.Lift(at(t))
			}
		}
		if planting {
			way += fast
			var x [rows]float64
			mean := 0.0
			for r := range x {
				noise[r] = 0.5*noise[r] + math.Sqrt(0.75)*rnd.NormFloat64()
				x[r] = perM2Dry * factor[r] * (1 + 0.06*noise[r])
				if w.row != nil {
					x[r] *= w.row(r+1, t)
				}
				if w.off != nil {
					e.Enabled(r+1, !w.off(r+1, t), at(t))
					if w.off(r+1, t) {
						x[r] = 0
					}
				}
				mean += x[r] / rows
			}
			e.GranularRate(at(t), mean)
			for r := range x {
				switch {
				case w.only:
				case w.section == 0:
					e.Granules(r+1, 0, at(t), x[r])
				default:
					first, of := r-r%w.section, 0.0
					for _, v := range x[first : first+w.section] {
						of += v / float64(w.section)
					}
					e.Granules(r+1, first+1, at(t), of)
				}
			}
		}
		e.Tick(at(t+1), find.Bar{Planting: planting, Speed: fast, Way: way})
	}
	return e.Finish(at(w.hours * 3600))
}

// times is a factor on some rows from a time on.
func times(x float64, from float64, rows ...int) func(row int, t float64) float64 {
	return func(row int, t float64) float64 {
		for _, r := range rows {
			if r == row && t >= from {
				return x
			}
		}
		return 1
	}
}

// "Detectable": a row 10 % off for 2 min. What comes later is a bridge, what is
// there from a fill or from the start on is a gate (F60, F62).
func TestGranularRow(t *testing.T) {
	for _, tt := range []struct {
		name  string
		x     float64
		from  float64
		cause string
	}{
		{"a bridge", 0, 5000, evenstand.CauseGranulesBridged},
		{"a box that caves in", 0.5, 5000, evenstand.CauseGranulesBridged},
		{"a tenth less", 0.89, 5000, evenstand.CauseGranulesBridged},
		{"a gate shut at the fill", 0, 3880, evenstand.CauseGranuleGate},
		{"a gate too wide", 1.3, 3880, evenstand.CauseGranuleGate},
		{"a gate shut from the start", 0, 0, evenstand.CauseGranuleGate},
	} {
		t.Run(tt.name, func(t *testing.T) {
			f := one(t, boxes{hours: 2, seed: 3, row: times(tt.x, tt.from, 5)}.run(), evenstand.KindGranularRowOff, evenstand.Rows{5}, tt.cause)
			if d := (f.Alarm - at(tt.from)).Seconds(); d < 0 || d > 160 {
				t.Errorf("alarm after %.0f s", d)
			}
			if d := math.Abs((f.Since - at(tt.from)).Seconds()); d > 30 {
				t.Errorf("start is %.0f s off", d)
			}
			if f.Grade != evenstand.GradeB || len(f.Harm) != 0 {
				t.Errorf("grade %v, harm %+v", f.Grade, f.Harm)
			}
		})
	}
}

// Sections of four rows: one that gives nothing is told as its rows, at grade C.
func TestGranularSection(t *testing.T) {
	f := one(t, boxes{hours: 2, seed: 3, section: 4, row: times(0, 5000, 5, 6, 7, 8)}.run(), evenstand.KindGranularRowOff, evenstand.Rows{5, 6, 7, 8}, evenstand.CauseGranulesBridged)
	if f.Grade != evenstand.GradeC {
		t.Errorf("grade %v, want C", f.Grade)
	}
}

// All boxes by one share is their calibration (F61), nothing at all is their
// drive; a row that is switched off is none, and a row that is low does not make
// the machine low.
func TestGranularRate(t *testing.T) {
	all := make(evenstand.Rows, 16)
	for i := range all {
		all[i] = i + 1
	}
	every := func(x float64) func(int, float64) float64 {
		return func(_ int, t float64) float64 {
			if t >= 5000 {
				return x
			}
			return 1
		}
	}
	for _, tt := range []struct {
		x     float64
		cause string
	}{{0.95, evenstand.CauseGranuleCalibration}, {1.05, evenstand.CauseGranuleCalibration}, {0, evenstand.CauseGranulesOff}} {
		for _, only := range []bool{false, true} {
			f := one(t, boxes{hours: 2, seed: 4, only: only, row: every(tt.x)}.run(), evenstand.KindGranularRateOff, all, tt.cause)
			if d := (f.Alarm - at(5000)).Seconds(); d < 0 || d > 330 {
				t.Errorf("times %g: alarm after %.0f s", tt.x, d)
			}
		}
	}
	one(t, boxes{hours: 2, seed: 4, row: times(0, 5000, 1, 2)}.run(), evenstand.KindGranularRowOff, evenstand.Rows{1, 2}, evenstand.CauseGranulesBridged)
	for _, f := range raised(boxes{hours: 1, off: func(row int, t float64) bool { return row > 12 && math.Mod(t, 410) > 300 }}.run()) {
		if f.Kind != evenstand.KindRowLeftOff {
			t.Errorf("rows that were switched off: %s rows %v", f.Kind, f.Rows)
		}
	}
}

func TestGranularCalm(t *testing.T) {
	days := uint64(2)
	if *long {
		days = 40
	}
	for seed := range days {
		for _, f := range raised(boxes{hours: 10, seed: 100 + seed}.run()) {
			t.Errorf("day %d: %s rows %v since %v", seed, f.Kind, f.Rows, f.Since-t0)
		}
	}
}

package find_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"evenstand"
	"evenstand/core/find"
)

// A receiver that gives five places a second with 2 cm of noise while the
// planter goes up and down at 4 m/s. Jumps that stay, places that stand and
// poorer places are said with their ends; noise, turns, one bad fix and a
// receiver that was never better are not (agronomy, F49: 4 to 40 in in a step;
// what is found of it is measured, docs/measured.md).
func TestPositionDoubt(t *testing.T) {
	type wrong struct {
		from, to float64
		east     float64 // m aside
		stands   bool
		kind     evenstand.FixKind
		hdop     float64
	}
	for _, tt := range []struct {
		name string
		w    wrong
		want bool
	}{
		{"nothing wrong", wrong{}, false},
		{"jump of 0.6 m for a minute", wrong{from: 1900, to: 1960, east: 0.6}, true},
		{"jump of 5 m that stays", wrong{from: 1900, to: 1e9, east: 5}, true},
		{"one bad fix of 5 m", wrong{from: 1900, to: 1900.2, east: 5}, false},
		{"stands for 6 s", wrong{from: 1900, to: 1906, stands: true}, true},
		{"float for a minute", wrong{from: 1900, to: 1960, kind: evenstand.FixRTKFloat}, true},
		{"dilution for a minute", wrong{from: 1900, to: 1960, hdop: 3.5}, true},
		{"dilution of 2 is fair", wrong{from: 1900, to: 1960, hdop: 2}, false},
		{"float for five seconds", wrong{from: 1900, to: 1905, kind: evenstand.FixRTKFloat}, false},
		{"float all day", wrong{from: -1, to: 1e9, kind: evenstand.FixRTKFloat}, false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			e := find.New(config(8))
			rnd := rand.New(rand.NewPCG(5, 6))
			down := false
			var held evenstand.Fix
			for s := 0; s < 3000; s++ {
				planting := s%410 >= 2 && s%410 < 383
				if planting != down {
					if down = planting; down {
						e.Lower(at(float64(s)))
					} else {
						e.Lift(at(float64(s)))
					}
				}
				for k := range 5 {
					x := float64(s) + float64(k)/5
					in := x >= tt.w.from-1e-9 && x < tt.w.to-1e-9
					c, pass := math.Mod(x, 410), math.Floor(x/410)
					north := 4 * math.Min(c, 385)
					if math.Mod(pass, 2) == 1 {
						north = 4*385 - north
					}
					east := 12 * (pass + math.Max(0, (c-385)/25))
					if in {
						east += tt.w.east
					}
					f := evenstand.NewFix(at(x), 42+(north+0.02*rnd.NormFloat64())/111132, -93+(east+0.02*rnd.NormFloat64())/(111320*math.Cos(42*math.Pi/180)))
					f.Speed, f.HDOP, f.Kind = 4, 0.8, evenstand.FixRTK
					if in {
						if tt.w.kind != 0 {
							f.Kind = tt.w.kind
						}
						if tt.w.hdop > 0 {
							f.HDOP = tt.w.hdop
						}
						if tt.w.stands {
							f.Lat, f.Lon = held.Lat, held.Lon
						}
					}
					held = f
					e.Fix(0, f)
				}
				e.Tick(at(float64(s+1)), find.Bar{Planting: planting, Speed: 4, Way: float64(4 * s)})
			}
			var fs []evenstand.Finding
			for _, f := range e.Finish(at(3000)) {
				if f.Kind == evenstand.KindPositionDoubt {
					fs = append(fs, f)
				}
			}
			if len(fs) != map[bool]int{true: 1}[tt.want] {
				show(t, fs)
				t.Fatalf("%d findings, want %v", len(fs), tt.want)
			}
			if !tt.want {
				return
			}
			f := fs[0]
			if d := math.Abs((f.Since - at(tt.w.from)).Seconds()); d > 1 {
				t.Errorf("since is %.1f s off", d)
			}
			end := math.Min(tt.w.to, tt.w.from)
			if tt.w.to < 1e9 {
				end = tt.w.to
			}
			if f.Until == nil || math.Abs((*f.Until-at(end)).Seconds()) > 1 {
				t.Errorf("until %v, want %g", f.Until, end)
			}
			if len(f.Harm) != 0 || len(f.Rows) != 8 {
				t.Errorf("harm %v, rows %v", f.Harm, f.Rows)
			}
		})
	}
}

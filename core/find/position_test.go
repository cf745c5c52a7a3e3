package find_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"evenstand"
	"evenstand/core/find"
)

// A receiver with 2 cm of noise while the planter goes up and down at 4 m/s,
// swerves by 3 m now and then, stops dead and goes on. Jumps that stay, places
// that stand and poorer places are said with their ends; noise, turns, stops,
// one bad fix and a receiver that was never better are not, be it at five fixes
// a second with the receiver's own speed or at one without (agronomy, F49: 4 to
// 40 in in a step; what is found of it is measured, docs/measured.md). It makes
// no odds when exactly the planter is said to plant: the live pass and the
// settled one differ in that.
func TestPositionDoubt(t *testing.T) {
	type wrong struct {
		from, to float64
		east     float64 // m aside
		stands   bool
		kind     evenstand.FixKind
		hdop     float64
		stamp    float64 // s by which a stamp every ten seconds is late
	}
	for _, tt := range []struct {
		name string
		w    wrong
		want bool
		fast bool // what needs five fixes a second, or the receiver's own speed
	}{
		{"nothing wrong", wrong{}, false, false},
		{"jump of 0.6 m for a minute", wrong{from: 1900, to: 1960, east: 0.6}, true, true},
		{"jump of 1 m for a minute", wrong{from: 1900, to: 1960, east: 1}, true, false},
		{"jump of 5 m that stays", wrong{from: 1900, to: 1e9, east: 5}, true, false},
		{"stamps that are 120 ms late", wrong{from: 100, to: 1e9, stamp: 0.12}, false, true},
		{"one bad fix of 5 m", wrong{from: 1900, to: 1900.2, east: 5}, false, false},
		{"stands for 6 s", wrong{from: 1900, to: 1906, stands: true}, true, true},
		{"float for a minute", wrong{from: 1900, to: 1960, kind: evenstand.FixRTKFloat}, true, false},
		{"dilution for a minute", wrong{from: 1900, to: 1960, hdop: 3.5}, true, false},
		{"dilution of 2 is fair", wrong{from: 1900, to: 1960, hdop: 2}, false, false},
		{"float for five seconds", wrong{from: 1900, to: 1905, kind: evenstand.FixRTKFloat}, false, false},
		{"float all day", wrong{from: -1, to: 1e9, kind: evenstand.FixRTKFloat}, false, false},
	} {
		for _, per := range []int{5, 1} {
			if per == 1 && tt.fast {
				continue
			}
			first := ""
			for _, late := range []int{0, 3} {
				t.Run(fmt.Sprintf("%s, %d a second, told %d s late", tt.name, per, late), func(t *testing.T) {
					e := find.New(config(8))
					rnd := rand.New(rand.NewPCG(5, 6))
					down := false
					var held evenstand.Fix
					for s := range 3000 {
						m := (s - late + 410) % 410
						planting := m >= 2 && m < 383
						if planting != down {
							if down = planting; down {
								e.Lower(at(float64(s)))
							} else {
								e.Lift(at(float64(s)))
							}
						}
						for k := range per {
							x := float64(s) + float64(k)/float64(per)
							in := x >= tt.w.from-1e-9 && x < tt.w.to-1e-9
							east, north, v := upAndDown(x)
							if in {
								east += tt.w.east
							}
							f := evenstand.NewFix(at(x), 42+(north+0.02*rnd.NormFloat64())/111132, -93+(east+0.02*rnd.NormFloat64())/(111320*math.Cos(42*math.Pi/180)))
							f.HDOP, f.Kind = 0.8, evenstand.FixRTK
							if per > 1 {
								f.Speed = v
							}
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
							if in && k == 2 && s%10 == 0 {
								f.T += evenstand.FromSeconds(tt.w.stamp)
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
					if said := fmt.Sprintf("%+v", fs); late == 0 {
						first = said
					} else if said != first {
						t.Errorf("what was found depends on when it was said to plant:\n%s\n%s", said, first)
					}
					if !tt.want {
						return
					}
					f := fs[0]
					if d := math.Abs((f.Since - at(tt.w.from)).Seconds()); d > 1 {
						t.Errorf("since is %.1f s off", d)
					}
					end := tt.w.from
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
	}
}

// upAndDown gives the place in m and the speed in m/s of a planter that plants
// passes of 385 s, with 25 s of turning between them. In each it swerves by 3 m
// over 5 s (the sharpest on simulated headlands) and stops within a second.
func upAndDown(x float64) (east, north, v float64) {
	c, pass := math.Mod(x, 410), math.Floor(x/410)
	v = 4
	way := math.Min(c, 385)
	if in := c - 200; in > 0 {
		way -= math.Min(in, 1)/2 + math.Max(0, math.Min(in, 10)-1) // stands
		if in < 10 {
			v = 4 * math.Max(0, 1-in)
		}
	}
	if north = 4 * way; math.Mod(pass, 2) == 1 {
		north = 4*375.5 - north
	}
	east = 12 * (pass + math.Max(0, (c-385)/25))
	for _, from := range []float64{100, 300} {
		u := math.Max(0, math.Min(1, (c-from)/5))
		east += 1.5 * (1 - math.Cos(math.Pi*u))
	}
	east -= 6 * math.Max(0, (c-385)/25)
	return east, north, v
}

package find_test

import (
	"math"
	"testing"

	"evenstand"
	"evenstand/core/find"
)

// Boxes on a planter that plants for 385 s of every 410: one that logs five
// times a second all day, one ten times while planting, one a minute, one a second. A silence
// of five seconds of planting is said with its ends; pauses at the headland,
// slow boxes and a power cut of all boxes are not (methods, "Detectable").
func TestSourceSilent(t *testing.T) {
	type hole struct{ from, to float64 }
	for _, tt := range []struct {
		name  string
		holes [3]hole
		set   hole    // clock of the second box, set back
		lag   float64 // of the second box behind the lowering and the lift
		want  int
		from  float64
		to    float64 // 0: to the end
		boxes int
	}{
		{name: "nothing wrong"},
		{name: "late at every start", lag: 9},
		{name: "three seconds", holes: [3]hole{{2000, 2003}}},
		{name: "six seconds", holes: [3]hole{{2000.1, 2006.1}}, want: 1, from: 2000, to: 2006, boxes: 1},
		{name: "three minutes over a headland", holes: [3]hole{1: {1950, 2130}}, want: 1, from: 1950, to: 2130, boxes: 1},
		{name: "to the end", holes: [3]hole{1: {2200, 1e9}}, want: 1, from: 2200, boxes: 1},
		{name: "two at once", holes: [3]hole{{1900, 1930}, {1900, 1930}}, want: 1, from: 1900, to: 1930, boxes: 2},
		{name: "its clock was set back", holes: [3]hole{1: {1900, 1943}}, set: hole{1900, 1943}},
		{name: "six seconds, its clock set back", holes: [3]hole{1: {1900, 1906}}, set: hole{1900, 1906}},
		{name: "silent after it was set back", holes: [3]hole{1: {1900, 1990}}, set: hole{1900, 1930}, want: 1, from: 1900, to: 1990, boxes: 1},
		{name: "the slow box", holes: [3]hole{2: {1500, 2100}}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			cfg := config(8)
			cfg.Sources = []string{"receiver", "row monitor", "slow", "controller"}
			e := find.New(cfg)
			if tt.set.to > 0 {
				e.ClockSet(1, at(tt.set.from), at(tt.set.to))
			}
			down := false
			for s := 0; s < 3600; s++ {
				planting := s%410 < 385
				if planting != down {
					if down = planting; down {
						e.Lower(at(float64(s)))
					} else {
						e.Lift(at(float64(s)))
					}
				}
				say := func(i int, x float64) {
					if h := tt.holes[i]; !(x >= h.from && x < h.to) {
						e.Heard(i, at(x))
					}
				}
				for k := range 10 {
					x := float64(s) + float64(k)/10
					if k%2 == 0 {
						say(0, x)
					}
					if c := math.Mod(x-tt.lag+410, 410); c < 385 {
						say(1, x)
					}
				}
				e.Heard(3, at(float64(s)))
				if s%60 == 0 {
					say(2, float64(s))
				}
				e.Tick(at(float64(s+1)), find.Bar{Planting: planting, Speed: 4, Way: float64(4 * s)})
			}
			var fs []evenstand.Finding
			for _, f := range e.Finish(at(3600)) {
				if f.Kind == evenstand.KindSourceSilent {
					fs = append(fs, f)
				}
			}
			if len(fs) != tt.want {
				show(t, fs)
				t.Fatalf("%d silences, want %d", len(fs), tt.want)
			}
			if tt.want == 0 {
				return
			}
			f := fs[0]
			if d := math.Abs((f.Since - at(tt.from)).Seconds()); d > 1 {
				t.Errorf("since is %.1f s off", d)
			}
			if (f.Until == nil) != (tt.to == 0) || f.Until != nil && math.Abs((*f.Until-at(tt.to)).Seconds()) > 1 {
				t.Errorf("until %v, want %g", f.Until, tt.to)
			}
			if len(f.Evidence) != tt.boxes || len(f.Harm) != 0 {
				t.Errorf("evidence %v, want %d boxes and no harm", f.Evidence, tt.boxes)
			}
		})
	}
}

// A log that is alone has no others that went on: nothing is said.
func TestSilentAlone(t *testing.T) {
	e := find.New(config(8))
	e.Lower(at(0))
	for s := range 600 {
		if s < 300 || s > 340 {
			e.Heard(0, at(float64(s)))
		}
		e.Tick(at(float64(s+1)), find.Bar{Planting: true, Speed: 4, Way: float64(4 * s)})
	}
	if fs := e.Finish(at(600)); len(fs) != 0 {
		t.Errorf("%d findings", len(fs))
	}
}

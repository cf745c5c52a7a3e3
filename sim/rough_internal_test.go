package sim

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"evenstand"
)

// Rough patches are driven slower or faster by the share that is said, and
// scatter seeds and skip by as much as is said; elsewhere nothing changes.
func TestRoughGround(t *testing.T) {
	const text = `
[planter]
rows = 4
[drive]
speed_sd = 0.0
rough_slower = 0.1
guidance_sd_m = 0.0
stop_share = 0.0
halts_per_hour = 0.0
[[field]]
name = "a"
passes = 1
length_m = 900
headlands = 0
[[fault]]
kind = "rough-ground"
strength = 1.5
variant = "%s"
`
	for variant, want := range map[string]float64{"slower": 3.6, "faster": 4.4} {
		s, err := Parse(fmt.Sprintf(text, variant))
		if err != nil {
			t.Fatal(err)
		}
		field := s.newField(s.Fields[0])
		lg := s.newTractor().drivePass(1, field, &field.lines[0], 0)
		if !lg.works() {
			t.Fatal("the planter never came down")
		}
		e := effect{rough: 1.5}
		var fast, slow []float64
		for i := lg.down + 2000; i < lg.up-2000; i++ {
			times, skip := s.rougher(&e, lg, i)
			if rough(xy{lg.bx[i], lg.by[i]}) {
				slow = append(slow, lg.v[i])
				if times != 1.5 || math.Abs(math.Exp(skip)-1.5) > 1e-9 {
					t.Fatalf("%s: %g times the scatter, %g the odds, want 1.5", variant, times, math.Exp(skip))
				}
			} else {
				fast = append(fast, lg.v[i])
				if times != 1 || skip != 0 {
					t.Fatalf("%s: %g times the scatter, %g in the logit off the patches", variant, times, skip)
				}
			}
		}
		slices.Sort(slow)
		slices.Sort(fast)
		if len(slow) == 0 || len(fast) == 0 || math.Abs(slow[len(slow)/2]-want) > 0.02 || math.Abs(fast[len(fast)/2]-4) > 0.02 {
			t.Errorf("%s: the middle speed is %.2f m/s on %d ticks of patches, %.2f on %d beside them; want %.1f and 4", variant, slow[len(slow)/2], len(slow), fast[len(fast)/2], len(fast), want)
		}
	}
}

// Rough ground is drawn on days without a true effect of speed only.
func TestRoughGroundOrSpeed(t *testing.T) {
	both := map[string]int{}
	for seed := range uint64(40) {
		s, err := Load("../scenarios/random-zone-speed.toml")
		if err != nil {
			t.Fatal(err)
		}
		s.Seed = 7300 + seed
		if err := s.draw(); err != nil {
			t.Fatal(err)
		}
		day := ""
		for _, p := range s.Faults {
			if p.Kind == evenstand.KindSpeedSpacing || p.Kind == KindRoughGround {
				day += p.Kind
			}
		}
		both[day]++
	}
	if len(both) != 2 || both[evenstand.KindSpeedSpacing] < 10 || both[KindRoughGround] < 10 {
		t.Errorf("days by what is drawn: %v, want some of either and none of both", both)
	}
}

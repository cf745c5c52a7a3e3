package find_test

import (
	"math"
	"slices"
	"testing"

	"evenstand"
	"evenstand/core/find"
)

// alone feeds an engine with passes of 200 s, halts of 20 s amid every second
// one and turns of 25 s; flow gives the share of the usual flow that runs.
func alone(flow func(t float64, planting, standing bool) float64) []evenstand.Finding {
	const rows, usual = 16, perM2 * fast * 0.762 // m3/s a row
	cfg := config(rows)
	for range rows {
		cfg.Starter = append(cfg.Starter, true)
	}
	e := find.New(cfg)
	e.LiquidTarget(t0, perM2)
	down, way := false, 0.0
	for s := range 2 * 3600 {
		t := float64(s)
		k := math.Mod(t, 225)
		lowered := k < 200
		standing := lowered && math.Mod(t, 450) >= 100 && math.Mod(t, 450) < 120
		v := fast
		switch {
		case standing:
			v = 0
		case !lowered:
			v = 1.8
		}
		if lowered != down {
			if down = lowered; down {
				e.Lower(at(t))
			} else {
				e.Lift(at(t))
			}
		}
		way += v
		x := flow(t, lowered && !standing, standing)
		for r := 1; r <= rows; r++ {
			e.FlowEver(r, at(t), usual*x, v)
			if lowered && !standing {
				e.Flow(r, at(t), usual*x)
			}
		}
		bar := find.Bar{Way: way}
		if lowered {
			bar = find.Bar{Planting: !standing, Speed: v, Way: way}
		}
		e.Tick(at(t+1), bar)
	}
	return e.Finish(at(2 * 3600))
}

func TestAlone(t *testing.T) {
	usual := func(planting bool) float64 {
		if planting {
			return 1
		}
		return 0
	}
	for _, tt := range []struct {
		name string
		flow func(t float64, planting, standing bool) float64
		want string
		from float64 // s; the start lies within five of it
		over bool
	}{
		{"all is well", func(_ float64, p, _ bool) float64 { return usual(p) }, "", 0, false},
		{"valves that take two seconds to close", func(t float64, p, s bool) float64 {
			if !p && !s && math.Mod(t, 225) < 202 || s && math.Mod(t, 450) < 102 {
				return 0.5
			}
			return usual(p)
		}, "", 0, false},
		{"no liquid for five minutes", func(t float64, p, _ bool) float64 {
			if t >= 1360 && t < 1660 {
				return 0
			}
			return usual(p)
		}, evenstand.KindSeedWithoutLiquid, 1360, true},
		{"no liquid to the end", func(t float64, p, _ bool) float64 {
			if t >= 1360 {
				return 0
			}
			return usual(p)
		}, evenstand.KindSeedWithoutLiquid, 1360, false},
		{"runs on while lifted", func(t float64, p, s bool) float64 {
			if t >= 2000 && !p && !s {
				return 0.8
			}
			return usual(p)
		}, evenstand.KindLiquidWithoutSeed, 2003, false}, // the turn that it begins in ends at 2025; valves have 3 s
		{"drips while it stands", func(t float64, p, s bool) float64 {
			if s && t >= 1000 {
				return 0.1
			}
			return usual(p)
		}, evenstand.KindPuddle, 1003, false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			var got []evenstand.Finding
			for _, f := range alone(tt.flow) {
				if f.Stage == evenstand.Raised {
					got = append(got, f)
				}
			}
			if tt.want == "" {
				if len(got) > 0 {
					t.Fatalf("%s: %+v", got[0].Kind, got[0].Evidence)
				}
				return
			}
			if len(got) != 1 || got[0].Kind != tt.want {
				t.Fatalf("%d findings: %+v", len(got), got)
			}
			f := got[0]
			since := (f.Since - at(0)).Seconds()
			if math.Abs(since-tt.from) > 5 {
				t.Errorf("since %g s, want %g", since, tt.from)
			}
			if (f.Until != nil) != tt.over {
				t.Errorf("until %v", f.Until)
			}
			if tt.want == evenstand.KindSeedWithoutLiquid && !slices.ContainsFunc(f.Harm, func(h evenstand.Harm) bool {
				return h.Kind == evenstand.MissedStarter && h.Share == 1 && h.Amount.Mid > 0
			}) {
				t.Errorf("harm %+v", f.Harm)
			}
		})
	}
}

package pipeline_test

import (
	"slices"
	"strings"
	"testing"

	"evenstand"
)

// What the logs of liquid and loads lack is said in sentences, with what to log.
func TestMissingGroundIsSaid(t *testing.T) {
	fixes, seeds, reads := drill{start: at("2026-05-02 12:00"), passes: 2, length: 60, pause: 20}.streams()
	row, machine, tank := evenstand.RowElement(2), evenstand.Element{}, evenstand.Element{Scope: evenstand.ScopeTank, N: 1}
	type logged struct {
		q evenstand.Quantity
		e evenstand.Element
		v float64
	}
	rate, target, flow := logged{evenstand.LiquidRate, machine, 47e-7}, logged{evenstand.LiquidRateTarget, machine, 47e-7}, logged{evenstand.LiquidFlow, row, 1e-5}
	load, force := logged{evenstand.GaugeWheelLoad, row, 700}, logged{evenstand.AppliedForce, row, 900}
	for _, tt := range []struct {
		name string
		logs []logged
		want []string
	}{
		{"nothing", nil, nil},
		{"all of liquid", []logged{rate, target, flow}, nil},
		{"no flow by row", []logged{rate, target}, []string{"whether single rows get less cannot be said"}},
		{"a rate by row, no flow", []logged{rate, target, {evenstand.LiquidRate, row, 47e-7}}, []string{"Rows log a rate of liquid, but no flow: whether single rows get less cannot be said"}},
		{"by tank, no target", []logged{{evenstand.LiquidRate, tank, 47e-7}}, []string{"whether single rows get less cannot be said", "Log the rate that is asked for"}},
		{"no target", []logged{rate, flow}, []string{"Log the rate that is asked for"}},
		{"load and force", []logged{load, force}, nil},
		{"load alone", []logged{load}, []string{"Log the down force"}},
	} {
		var box []evenstand.Reading
		for i := range 100 {
			for _, l := range tt.logs {
				box = append(box, evenstand.Reading{T: at("2026-05-02 12:00") + evenstand.Micros(i)*evenstand.Second, Quantity: l.q, Element: l.e, Value: l.v})
			}
		}
		in := append(slices.Clone(streams(fixes, seeds, reads)), evenstand.Stream{Source: source("other box", "one", 0), Readings: once(box)})
		_, res := run(t, card(), in)
		if len(res.Notes) != len(tt.want) {
			t.Errorf("%s: notes %q, want %d", tt.name, res.Notes, len(tt.want))
			continue
		}
		for i, w := range tt.want {
			if !strings.Contains(res.Notes[i], w) {
				t.Errorf("%s: note %q, want %q in it", tt.name, res.Notes[i], w)
			}
		}
	}
}

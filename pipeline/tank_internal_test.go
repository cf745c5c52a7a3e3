package pipeline

import (
	"math"
	"testing"

	"evenstand"
)

// Fills as people and boxes write them down. 80,000 kernels are a unit (R19), a
// US gallon is 3.785411784 L exactly.
func TestFill(t *testing.T) {
	corn := evenstand.NewCard()
	corn.Rows = 2
	corn.Meters = []evenstand.Meter{{Rows: evenstand.Rows{1, 2}, Crop: "corn"}}
	beans, wheat := corn, corn
	beans.Meters = []evenstand.Meter{{Rows: evenstand.Rows{1, 2}, Crop: "soybeans"}}
	wheat.Meters = []evenstand.Meter{{Rows: evenstand.Rows{1, 2}, Crop: "wheat"}}
	for _, tt := range []struct {
		name          string
		card          evenstand.Card
		e             evenstand.Entry
		seeds, volume float64
	}{
		{"units", corn, evenstand.Entry{What: "refill", Value: 12, Note: "units"}, 960000, 0},
		{"units of a lot", corn, evenstand.Entry{What: "refill", Value: 12, Note: "units A123"}, 960000, 0},
		{"bags of soybeans", beans, evenstand.Entry{What: "refill", Value: 10, Note: "bags"}, 1.4e6, 0},
		{"units of what nobody knows", wheat, evenstand.Entry{What: "refill", Value: 10, Note: "units"}, 0, 0},
		{"boxes hold what they hold", corn, evenstand.Entry{What: "refill", Value: 2, Note: "boxes"}, 0, 0},
		{"gallons", corn, evenstand.Entry{What: "refill", Value: 400, Unit: "gal", Note: "starter"}, 0, 1.5141647136},
		{"pounds", corn, evenstand.Entry{What: "refill", Value: 900, Unit: "lb"}, 0, 0},
		{"no amount", corn, evenstand.Entry{What: "refill", Value: math.NaN(), Note: "seed boxes filled"}, 0, 0},
		{"another line", corn, evenstand.Entry{What: "setting", Value: 12, Unit: "gal"}, 0, 0},
	} {
		s := &settler{card: tt.card}
		f, ok := s.fill(&tt.e)
		if ok != (tt.seeds > 0 || tt.volume > 0) {
			t.Errorf("%s: %v, %+v", tt.name, ok, f)
			continue
		}
		if ok && tt.seeds > 0 && f.Seeds != tt.seeds || ok && tt.volume > 0 && math.Abs(f.Volume-tt.volume) > 1e-12 {
			t.Errorf("%s: %+v", tt.name, f)
		}
	}
}

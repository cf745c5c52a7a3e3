package record_test

import (
	"testing"

	"evenstand"
	"evenstand/core/advise"
	"evenstand/core/record"
)

// An acre is 4046.8564224 m2 and a US gallon 3.785411784 L, both exact by
// definition; a pound-force is 4.4482216152605 N.
func TestSayTarget(t *testing.T) {
	us, metric := advise.Voice{Units: evenstand.US}, advise.Voice{Units: evenstand.Metric}
	for _, tt := range []struct {
		q       evenstand.Quantity
		was, to float64
		rows    evenstand.Rows
		times   int
		v       advise.Voice
		want    string
	}{
		{evenstand.SeedRateTarget, 32000 / 4046.8564224, 34000 / 4046.8564224, nil, 0, us, "Target seed rate set to 34,000 seeds/ac (was 32,000 seeds/ac), the whole planter"},
		{evenstand.SeedRateTarget, 7.9, 8.4, evenstand.Rows{1, 2, 3}, 0, metric, "Target seed rate set to 84,000 seeds/ha (was 79,000 seeds/ha), rows 1-3"},
		{evenstand.LiquidRateTarget, 5 * 3.785411784e-3 / 4046.8564224, 7.5 * 3.785411784e-3 / 4046.8564224, nil, 0, us, "Target liquid rate set to 7.5 gal/ac (was 5 gal/ac), the whole planter"},
		{evenstand.GaugeWheelLoadTarget, 100 * 4.4482216152605, 150 * 4.4482216152605, evenstand.Rows{4}, 0, us, "Target gauge-wheel load set to 150 lb (was 100 lb), row 4"},
		{evenstand.SeedRateTarget, 0, 0, nil, 312, us, "Target seed rate changed 312 times: it follows a map, the whole planter"},
	} {
		if got := record.SayTarget(tt.q, tt.was, tt.to, tt.rows, tt.times, tt.v); got != tt.want {
			t.Errorf("%s, want %s", got, tt.want)
		}
	}
}

package find

import (
	"math"
	"testing"

	"evenstand"
	"evenstand/core/measure/cover"
)

// dosed gives what a field's passes put on, by their number.
func dosed(f *Field, rate func(pass int) float64) (out []cover.Dosed) {
	for _, s := range f.Swaths {
		out = append(out, cover.Dosed{Swath: s, Rate: rate(s.Pass)})
	}
	return out
}

// By hand: 300 m passes of 12.2 m, 5 kg/ha asked for, limits of 6 kg/ha. The
// limit is the one that was entered, of a pass or of the season, whichever is
// nearer.
func TestLabelCap(t *testing.T) {
	nan := math.NaN()
	limit := func(pass, season float64) evenstand.ProductLimit {
		return evenstand.ProductLimit{Name: "insecticide", Applied: evenstand.AppliedGranular, Pass: pass * 1e-4, Season: season * 1e-4}
	}
	calm := groundWorld{passes: 8, apart: bar16}
	again := func(f *Field) { // pass 5 is driven twice, the second time on the next day
		s := f.Swaths[5]
		s.Pass = len(f.Passes)
		p := f.Passes[len(f.Passes)-1]
		p.Day, p.Start, p.End = "2026-05-03", p.Start+86400*evenstand.Second, p.End+86400*evenstand.Second
		f.Swaths, f.Passes = append(f.Swaths, s), append(f.Passes, p)
	}
	for _, tt := range []struct {
		name  string
		world groundWorld
		also  func(*Field)
		rate  float64
		limit evenstand.ProductLimit
		cause string  // empty: nothing is found
		most  float64 // kg/ha, of the first figure
		first string
		pass  int // that brought it there
	}{
		{"well below", calm, nil, 5, limit(6, 6), "", 0, "", 0},
		{"near it by the rate", calm, nil, 5.6, limit(6, nan), evenstand.CauseProductRate, 5.6, "most of insecticide in one pass", 0},
		{"over it by the rate", calm, nil, 7, limit(nan, 6), evenstand.CauseProductRate, 7, "most of insecticide in the season", 0},
		{"passes run on into planted ground", groundWorld{passes: 8, apart: bar16, onward: 10}, nil, 5, limit(6, 6), evenstand.CauseProductOverlap, 10, "most of insecticide in the season", 3},
		{"the same, of one pass alone", groundWorld{passes: 8, apart: bar16, onward: 10}, nil, 5, limit(6, nan), "", 0, "", 0},
		{"a pass twice", calm, again, 5, limit(6, 6), evenstand.CauseTwoPasses, 10, "most of insecticide in the season", 10},
		{"a pass twice at a part of the limit", calm, again, 2, limit(6, 6), "", 0, "", 0},
	} {
		t.Run(tt.name, func(t *testing.T) {
			f := tt.world.field(t, 1)
			if tt.also != nil {
				tt.also(f)
			}
			x := f.LabelCap(Cap{Limit: tt.limit, Doses: dosed(f, func(int) float64 { return tt.rate * 1e-4 })})
			if tt.cause == "" {
				if x != nil {
					t.Fatalf("found %+v", x.Evidence)
				}
				return
			}
			if x == nil {
				t.Fatal("not found")
			}
			if x.Causes[0].Cause != tt.cause {
				t.Errorf("causes %+v, want %s first", x.Causes, tt.cause)
			}
			e := x.Evidence[0]
			if e.Name != tt.first || math.Abs(float64(e.Value)*1e4-tt.most) > 0.1*tt.most || !(e.Low < e.Value && e.Value < e.High) {
				t.Errorf("%s %g (%g to %g), want %s %g", e.Name, e.Value*1e4, e.Low*1e4, e.High*1e4, tt.first, tt.most)
			}
			if p := f.Passes[tt.pass]; x.Since != p.Start || x.Day != p.Day {
				t.Errorf("since %v on %s, want %v", x.Since, x.Day, p.Start)
			}
		})
	}
}

package pipeline_test

import (
	"context"
	"math"
	"strings"
	"testing"
	"time"

	"evenstand"
	"evenstand/pipeline"
)

// toAndFro is 20 passes of 120 m beside one another at 2 m/s, 3 m apart, with
// half circles between them. The planter is mounted, its seed line 4 m behind
// the antenna, and in the ground while that is between 40 m and 80 m.
func toAndFro(start evenstand.Micros) (fixes []evenstand.Fix, reads []evenstand.Reading, seeds []evenstand.Seed) {
	const v, long, apart, behind = 2.0, 120.0, 3.0, 4.0
	turn := math.Pi * apart / 2
	for i := range 20 * int((long+turn)/v*5) {
		way := float64(i) * v / 5
		pass := math.Floor(way / (long + turn))
		along := way - pass*(long+turn)
		e, n := pass*apart, along
		if along > long {
			a := (along - long) / (apart / 2)
			e, n = e+apart/2*(1-math.Cos(a)), long+apart/2*math.Sin(a)
		}
		if int(pass)%2 == 1 {
			n = long - n
		}
		lat, lon := frame.ToGlobal(e, n)
		f := evenstand.NewFix(start+evenstand.Micros(i)*evenstand.Second/5, lat, lon)
		f.Kind = evenstand.FixRTK
		fixes = append(fixes, f)
		lift := 1.0
		if b := along - behind; along <= long && b > 40 && b < 80 {
			lift = 0
			for k := range 2 * rows { // 0.2 m apart
				seeds = append(seeds, evenstand.Seed{T: f.T + evenstand.Micros(k/rows)*evenstand.Second/10, Row: int16(k%rows + 1)})
			}
		}
		reads = append(reads, evenstand.Reading{T: f.T, Quantity: evenstand.ImplementLifted, Value: lift})
	}
	return
}

// What the card lacks is told by the ends of passes where the logs show it, and
// is in the error of places; what the card says goes before; where it matters
// which length is which, or how the planter is coupled is not said, nothing is
// made up and no error of place is stated. States come five times a second, so
// that they are a tenth late: 0.2 m at 2 m/s, which is taken off.
func TestBehind(t *testing.T) {
	fixes, reads, seeds := toAndFro(at("2026-05-02 12:00"))
	nan := math.NaN()
	for _, tt := range []struct {
		name string
		g    evenstand.Geometry
		used bool
		most float64 // m, of the stated error of a pass; 0 none is stated
	}{
		{"mounted, no length", evenstand.Geometry{Hitch: evenstand.Mounted, AntennaToHitch: nan, HitchToRowLine: nan}, true, 0.7},
		{"trailed, one length", evenstand.Geometry{Hitch: evenstand.Trailed, AntennaToHitch: 1, HitchToRowLine: nan}, true, 0.7},
		{"trailed, the other", evenstand.Geometry{Hitch: evenstand.Trailed, AntennaToHitch: nan, HitchToRowLine: 2.5}, true, 0.7},
		{"trailed, no length", evenstand.Geometry{Hitch: evenstand.Trailed, AntennaToHitch: nan, HitchToRowLine: nan}, false, 0},
		{"trailed, one length that cannot be", evenstand.Geometry{Hitch: evenstand.Trailed, AntennaToHitch: 6, HitchToRowLine: nan}, false, 0},
		{"coupled somehow", evenstand.Geometry{AntennaToHitch: nan, HitchToRowLine: nan}, false, 0},
		{"all said", evenstand.Geometry{Hitch: evenstand.Trailed, AntennaToHitch: 2, HitchToRowLine: 2.1}, false, 0.3},
	} {
		t.Run(tt.name, func(t *testing.T) {
			c := card()
			tt.g.AntennaRight = 0
			c.Geometry = tt.g
			k := &kept{}
			res, err := pipeline.Settle(context.Background(), pipeline.Day{
				Date: "2026-05-02", Zone: time.UTC, Planter: "p", Card: c, From: evenstand.NoTime,
				Streams: []evenstand.Stream{
					{Source: source("track", "one", nan), Fixes: once(fixes)},
					{Source: source("states", "one", nan), Readings: once(reads)},
					{Source: source("seeds", "one", nan), Seeds: once(seeds)},
				},
			}, k)
			if err != nil {
				t.Fatal(err)
			}
			b := res.Behind
			if b.Used != tt.used || !(math.Abs(float64(b.Distance)-4) < 0.1) || b.Source != "track" {
				t.Errorf("%+v, want 4 m, used %v", b, tt.used)
			}
			if got := strings.Contains(strings.Join(res.Notes, "\n"), "that is used"); got != (tt.used || tt.g.Hitch == evenstand.HitchUnknown) {
				t.Errorf("notes %q", res.Notes)
			}
			if got := strings.Contains(strings.Join(res.Notes, "\n"), "write antenna_to_hitch_m"); got != (tt.name == "trailed, no length") {
				t.Errorf("notes %q", res.Notes)
			}
			if len(k.passes) != 20 {
				t.Fatalf("%d passes", len(k.passes))
			}
			for i, p := range k.passes {
				e := p.PosError
				if tt.most == 0 != math.IsNaN(e) || e > tt.most || tt.used && e < float64(b.Error) {
					t.Fatalf("pass %d: a place is good to %.2f m", i, e)
				}
				for _, s := range k.stretches[i] {
					if e := float64(s.PosError); tt.most == 0 != math.IsNaN(e) || e > tt.most || tt.used && e < float64(b.Error)-1e-6 {
						t.Fatalf("pass %d: a stretch is good to %.2f m", i, e)
					}
				}
			}
		})
	}
}

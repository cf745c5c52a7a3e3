package pipeline_test

import (
	"context"
	"math/rand/v2"
	"testing"
	"time"

	"evenstand"
	"evenstand/pipeline"
)

// nowhere takes what is settled and keeps nothing.
type nowhere struct{ seeds int }

func (n *nowhere) Pass(_ evenstand.Pass, s [][]evenstand.PlacedSeed, _ []evenstand.Stretch, _ []evenstand.Worked) error {
	for _, row := range s {
		n.seeds += len(row)
	}
	return nil
}
func (*nowhere) Track([]evenstand.TrackPoint) error { return nil }
func (*nowhere) Readings([]evenstand.Reading) error { return nil }

// The whole settled pass, placing, decoding, measures and all detectors, of 24
// rows at 25 seeds a second that skip 1.2 of 100 and scatter by 0.1 place.
func BenchmarkSettle(b *testing.B) {
	const wide = 24
	rnd := rand.New(rand.NewPCG(1, 2))
	d := drill{start: at("2026-05-02 14:00"), passes: 6, length: 300, pause: 30}
	fixes, _, reads := d.streams()
	var seeds []evenstand.Seed
	for p := range d.passes {
		for k := range int(d.length * 25) {
			for r := range wide {
				if rnd.Float64() < 0.012 {
					continue
				}
				sec := float64(p)*(d.length+d.pause) + (float64(k)+0.5+0.1*rnd.NormFloat64())/25
				seeds = append(seeds, evenstand.Seed{T: d.start + evenstand.FromSeconds(sec) + evenstand.Micros(r), Row: int16(r + 1)})
			}
		}
	}
	c := card()
	c.Rows = wide
	c.Meters[0].Rows = nil
	for r := range wide {
		c.Meters[0].Rows = append(c.Meters[0].Rows, r+1)
	}
	reads[0].Value = 25 / (speed * rowGap) // seeds a m2, as the places are due
	sink := &nowhere{}
	b.ReportAllocs()
	n := 0
	for b.Loop() {
		sink.seeds = 0
		if _, err := pipeline.Settle(context.Background(), pipeline.Day{
			Date: "2026-05-02", Zone: time.UTC, Planter: "p", Card: c, From: evenstand.NoTime,
			Streams: streams(fixes, seeds, reads),
		}, sink); err != nil {
			b.Fatal(err)
		}
		n += sink.seeds
	}
	if sink.seeds < len(seeds)*99/100 {
		b.Fatalf("%d of %d seeds settled", sink.seeds, len(seeds))
	}
	b.ReportMetric(float64(n)/b.Elapsed().Seconds(), "seeds/s")
}

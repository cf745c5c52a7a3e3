package sim

import (
	"math"
	"math/rand/v2"

	"evenstand"
)

// The granules of simulator.md section 6: augers that hold the asked rate, a
// weight or motor a row that tells what they put on.
const (
	granuleRowSD = 0.02  // between healthy boxes: gate and calibration (judgement)
	granuleNoise = 0.06  // of a row's measure, a second, with (judgement)
	granuleAR    = 0.5   // the correlation of neighbouring seconds
	granuleDrift = 0.002 // an hour, of a row's measure (simulator.md section 6), either way
	granuleNone  = 0.3   // m/s: slower, and nobody says a rate
	granuleEvery = 60.0  // s between readings of the target
	kgHectare    = 1 / evenstand.Hectare
)

// granuleBox writes what the granule monitor logs: a row a second, the mean of
// them for the machine and what is asked for.
type granuleBox struct {
	out      output
	clock    clock
	s        *Scenario
	g        *rand.PCG
	row      []float64 // lasting factor of a row
	drift    []float64 // an hour
	noise    []float64
	target   float64 // s of the day at which it was last written
	readings []evenstand.Reading
}

func newGranuleBox(s *Scenario, dir string) (*granuleBox, error) {
	out, err := folder(s, dir, "granules", "granule monitor")
	b := &granuleBox{out: out, clock: s.boxClock(s.box("granules")), s: s, g: stream(s.Seed, "granule box", -1, 0), target: math.Inf(-1)}
	for r := range s.Planter.Rows {
		g := stream(s.Seed, "granule row", r+1, 0)
		b.row = append(b.row, 1+granuleRowSD*normal(g))
		b.noise = append(b.noise, normal(g))
		b.drift = append(b.drift, granuleDrift*normal(g))
	}
	return b, err
}

func (b *granuleBox) see(m *moment) error {
	lg := m.leg
	if !lg.logged || !lg.works() {
		return nil
	}
	s := b.s
	b.readings = b.readings[:0]
	perSecond := int(math.Round(1 / tick))
	cursor := make([]int, len(m.rows))
	asked := s.granular(&lg.field.plan) * kgHectare
	for i := lg.down - lg.down%perSecond + perSecond; i < lg.up; i += perSecond {
		t := lg.seconds(i)
		if lg.v[i] < granuleNone || b.clock.quiet(t) {
			continue
		}
		at := b.clock.logs((lg.first + int64(i)) * int64(tick*1e6))
		say := func(q evenstand.Quantity, e evenstand.Element, v float64) {
			b.readings = append(b.readings, evenstand.Reading{T: at, Quantity: q, Element: e, Value: v})
		}
		if t-b.target >= granuleEvery {
			say(evenstand.GranularRateTarget, evenstand.Element{}, asked)
			b.target = t
		}
		sum := 0.0
		for k, r := range m.rows {
			b.noise[k] = granuleAR*b.noise[k] + math.Sqrt(1-granuleAR*granuleAR)*normal(b.g)
			for cursor[k] < len(r.off) && r.off[cursor[k]].to <= t {
				cursor[k]++
			}
			x := b.row[k] + b.drift[k]*t/3600
			if cursor[k] < len(r.off) && r.off[cursor[k]].from <= t {
				x = 0
			}
			for _, f := range m.faults {
				if f.has[r.n] && granularKind(f.Kind) && f.at(t) {
					x *= 1 + (f.Strength-1)*f.grown(t)
				}
			}
			x = asked * math.Max(0, x*(1+granuleNoise*b.noise[k]))
			sum += x
			say(evenstand.GranularRate, evenstand.RowElement(k+1), x)
		}
		say(evenstand.GranularRate, evenstand.Element{}, sum/float64(len(m.rows)))
	}
	return b.out.Readings(b.readings)
}

func (b *granuleBox) close() error { return b.out.Close() }

// granularKind are the kinds about granules.
func granularKind(kind string) bool {
	return kind == evenstand.KindGranularRowOff || kind == evenstand.KindGranularRateOff
}

package find_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"evenstand"
)

// bursts are upsets of rows: skips with a chance while they last.
type bursts []burst

type burst struct {
	row         int
	from, to, q float64
}

func (bs bursts) skip(row int, t float64, _ int) (float64, float64) {
	for _, b := range bs {
		if b.row == row && t >= b.from && t < b.to {
			return 1, b.q
		}
	}
	return 1, -1
}

// every gives bursts on a row, one at any time of each period.
func every(rnd *rand.Rand, row int, from, to, period, q float64) (bs bursts) {
	for t := from; t+period <= to; t += period {
		at := t + rnd.Float64()*(period-8)
		bs = append(bs, burst{row, at, at + 4 + 4*rnd.Float64(), q})
	}
	return bs
}

// stones gives bursts on any row, so many an hour and row (0.5 is stony ground:
// 0.4 stones a hectare, simulator.md).
func stones(rnd *rand.Rand, rows int, from, to, perHour float64) (bs bursts) {
	for t := from; t < to; {
		t += rnd.ExpFloat64() * 3600 / perHour / float64(rows)
		bs = append(bs, burst{1 + rnd.IntN(rows), t, t + 2 + 6*rnd.Float64(), 0.1 + 0.5*rnd.Float64()})
	}
	return bs
}

// A row that is upset for some seconds every four minutes has one finding, with
// what it lost, and its upsets are told with it alone.
func TestRecurringUpset(t *testing.T) {
	if testing.Short() {
		t.Skip("days of seeds: left to the long run")
	}
	for seed := range uint64(3) {
		rnd := rand.New(rand.NewPCG(700+seed, 1))
		bs := append(every(rnd, 4, 3600, 3600+14*240, 240, 0.4), stones(rnd, 12, 600, 10000, 0.3)...)
		fs := world{rows: 12, hours: 3.2, rate: 25, seed: 700 + seed, slip: 0.2, skip: bs.skip}.run(config(12))
		got := raised(fs)
		if len(got) != 1 || got[0].Kind != evenstand.KindRecurringUpset || got[0].Rows.String() != "4" {
			show(t, fs)
			t.Fatalf("seed %d: %d findings, want recurring-upset of row 4 alone", seed, len(got))
		}
		f := got[0]
		lost := 0.0
		for _, b := range bs {
			if b.row == 4 && b.from >= 3600 && b.from < 3600+14*240 {
				for x := b.from; x < b.to; x += 0.04 { // the world turns round for 25 s of 410
					if math.Mod(x, 410) < 385 {
						lost += b.q
					}
				}
			}
		}
		if h := f.Harm[0]; h.Kind != evenstand.MissingSeeds || math.Abs(float64(h.Amount.Mid)-lost) > 0.3*lost {
			t.Errorf("seed %d: %g seeds missed, want %.0f", seed, float64(h.Amount.Mid), lost)
		}
		if d := (f.Since - at(3600)).Seconds(); d < -30 || d > 2*240 {
			t.Errorf("seed %d: since %.0f s after the first could come", seed, d)
		}
		if f.Until == nil || (*f.Until-at(3600+14*240)).Seconds() > 600 {
			t.Errorf("seed %d: it goes on, though nothing came for an hour", seed)
		}
		for _, u := range fs {
			if u.Kind == evenstand.KindUpset && u.Rows.Has(4) && u.Since > f.Since && u.Since < *f.Until {
				t.Errorf("seed %d: an upset of row 4 stands beside it", seed)
			}
		}
	}
}

// Stones on any row, a stony patch that upsets them all, two or three stones on
// one row, what upsets several rows at one moment, and a row that starves are
// nothing that comes back.
func TestRecurringUpsetLookAlikes(t *testing.T) {
	if testing.Short() {
		t.Skip("days of seeds: left to the long run")
	}
	for i, tt := range []struct {
		name string
		bs   func(rnd *rand.Rand) bursts
		runs func(row int, t float64) bool
	}{
		{"stony ground", func(rnd *rand.Rand) bursts { return stones(rnd, 12, 600, 21000, 0.5) }, nil},
		{"a stony patch", func(rnd *rand.Rand) bursts { return stones(rnd, 12, 7000, 9000, 6) }, nil},
		{"three on a row", func(*rand.Rand) bursts {
			return bursts{{5, 5000, 5005, 0.5}, {5, 5200, 5204, 0.5}, {5, 9000, 9006, 0.4}}
		}, nil},
		{"many rows at once", func(rnd *rand.Rand) (bs bursts) {
			for t := 4000.0; t < 12000; t += 600 {
				for r := range 4 {
					bs = append(bs, burst{2 + r, t, t + 5, 0.5})
				}
			}
			return bs
		}, nil},
		{"a row that starves", func(*rand.Rand) bursts { return nil }, func(row int, t float64) bool { return row == 7 && t > 3600 && t < 9000 }},
	} {
		for seed := range uint64(2) {
			rnd := rand.New(rand.NewPCG(800+seed, uint64(i)))
			w := world{rows: 12, hours: 6, rate: 25, seed: 800 + 10*uint64(i) + seed, slip: 0.2, skip: tt.bs(rnd).skip, runs: tt.runs}
			if w.runs == nil {
				w.runs = func(int, float64) bool { return false }
			}
			fs := w.run(config(12))
			if got := only(fs, evenstand.KindRecurringUpset); len(got) > 0 {
				show(t, fs)
				t.Errorf("%s, seed %d: %d findings", tt.name, seed, len(got))
			}
		}
	}
}

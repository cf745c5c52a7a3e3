package find_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"evenstand"
	"evenstand/core/find"
)

func kinds(fs []evenstand.Finding, row int) map[string]int {
	m := map[string]int{}
	for _, f := range raised(fs) {
		if f.Rows.Has(row) {
			m[f.Family]++
		}
	}
	return m
}

// A row with a blocked cell that is switched off for a while keeps both
// findings: the switch explains no rhythm.
func TestCellAndSwitch(t *testing.T) {
	w := world{
		rows: 16, hours: 1.4, rate: 25, seed: 3, slip: 0.2,
		skip: func(r int, t float64, cell int) (float64, float64) {
			if r == 7 && t > 3000 && cell == 9 {
				return 1, 1
			}
			return 1, -1
		},
		enabled: func(r int, t float64) bool { return !(r == 7 && t > 3300 && t < 3340) },
	}
	fs := w.run(config(16))
	if k := kinds(fs, 7); k["cell"] != 1 || k[evenstand.KindRowLeftOff] != 1 {
		show(t, fs)
		t.Errorf("row 7 has %v, want a cell and a switch", k)
	}
}

// One of four rows that is switched on again does not end the finding of the
// others.
func TestLeftOffSplits(t *testing.T) {
	w := world{
		rows: 16, hours: 1, rate: 25, seed: 4, slip: 0.2,
		enabled: func(r int, t float64) bool { return r < 5 || r > 8 || t < 2000 || (r == 5 && t > 2100) },
	}
	var open, ended evenstand.Rows
	for _, f := range raised(w.run(config(16))) {
		if f.Kind != evenstand.KindRowLeftOff {
			t.Errorf("found %s", f.Kind)
		}
		if f.Until == nil {
			open = append(open, f.Rows...)
		} else {
			ended = append(ended, f.Rows...)
		}
	}
	if open.String() != "6-8" || ended.String() != "5" {
		t.Errorf("rows %v still off, %v on again; want 6-8 and 5", open, ended)
	}
}

// Both side gauges fall together: one finding for the whole machine.
func TestAllSidesFall(t *testing.T) {
	w := world{
		rows: 16, hours: 2.2, rate: 25, seed: 5, slip: 0.2,
		skip: func(r int, t float64, _ int) (float64, float64) {
			if t > 4500 {
				return 3, -1
			}
			return 1, -1
		},
		vacuum: func(_ string, t float64) float64 {
			if t > 4500 {
				return -1500
			}
			return 0
		},
	}
	fs := raised(w.run(config(16)))
	if len(fs) == 1 && !math.IsNaN(float64(evidence(fs[0], "times its peers"))) {
		t.Error("all rows have no peers")
	}
	if len(fs) != 1 || fs[0].Kind != evenstand.KindLowVacuum || len(fs[0].Rows) != 16 {
		show(t, fs)
		t.Errorf("%d findings, want one low-vacuum of all rows", len(fs))
	}
}

// A row that is far worse than its poor side has a finding of its own, and no
// more than that is opened.
func TestRowWorseThanItsSide(t *testing.T) {
	w := world{
		rows: 16, hours: 3, rate: 25, seed: 6, slip: 0.2,
		skip: func(r int, t float64, _ int) (float64, float64) {
			f := 1.0
			if r <= 8 && t > 4000 {
				f = 2.5
			}
			if r == 3 && t > 6500 {
				f = 10
			}
			return f, -1
		},
		vacuum: func(side string, t float64) float64 {
			if side == "left" && t > 4000 {
				return -1500
			}
			return 0
		},
	}
	fs := w.run(config(16))
	k := kinds(fs, 3)
	if k[evenstand.KindLowVacuum] != 1 || k[evenstand.KindRowSkips] != 1 {
		show(t, fs)
		t.Errorf("row 3 has %v, want low-vacuum and row-skips", k)
	}
	if len(fs) > 12 {
		t.Errorf("%d findings and upsets in three hours", len(fs))
	}
}

// A planter of which no row is known, and calls in any order: nothing breaks,
// and what is said stays within what the types promise.
func FuzzEngine(f *testing.F) {
	f.Add(uint64(1), 0)
	f.Add(uint64(2), 3)
	f.Add(uint64(3), 16)
	f.Fuzz(func(t *testing.T, seed uint64, rows int) {
		if rows < 0 || rows > 40 {
			return
		}
		rnd := rand.New(rand.NewPCG(seed, 5))
		cfg := config(rows)
		if rnd.IntN(2) == 0 {
			cfg.Cells, cfg.Sides, cfg.Names = nil, nil, nil
		}
		e := find.New(cfg)
		now, way, k := 0.0, 0.0, int64(0)
		for range 4000 {
			row := 1 + rnd.IntN(rows+2)
			at := at(now)
			switch rnd.IntN(14) {
			case 0:
				e.Lower(at)
			case 1:
				e.Lift(at)
			case 2:
				e.Enabled(row, rnd.IntN(3) > 0, at)
			case 3:
				e.Vacuum([]string{"left", "right", "machine", "none"}[rnd.IntN(4)], at, 6000*rnd.Float64())
			case 4:
				e.Counts(row, at, at+evenstand.Second, 20*rnd.Float64(), rnd.Float64(), rnd.Float64())
			case 5:
				e.Target(row, 10*rnd.Float64(), at)
			case 6:
				e.Ratio(row, 0.9+0.2*rnd.Float64())
			case 7:
				e.Working(row, rnd.IntN(2) > 0, at)
			case 8:
				now += 60 * rnd.Float64()
			default:
				for range 60 {
					k += int64(1 + rnd.IntN(3))
					e.Seed(row, at)
					e.Place(row, &find.Place{T: at, K: k, Missing: rnd.IntN(4) * rnd.IntN(2), Double: rnd.IntN(30) == 0, First: rnd.IntN(50) == 0, Off: rnd.Float32() - 0.5, Sigma: 0.3 * rnd.Float32(), Readable: rnd.IntN(5) > 0})
				}
			}
			now++
			way += 3
			e.Tick(at, find.Bar{Planting: rnd.IntN(4) > 0, Speed: 3, Way: way})
		}
		for _, f := range e.Finish(at(now)) {
			sum := 0.0
			for _, c := range f.Causes {
				sum += c.Probability
			}
			if sum > 1+1e-9 || f.Since > f.SinceHigh || f.SinceLow > f.Since || f.Kind == "" || f.Family == "" {
				t.Errorf("finding %+v", f)
			}
		}
	})
}

// Four rows are off for 40 s, then one of them alone for 20 s, three seconds
// later: what had ended stays ended, and nobody is off for ever.
func TestLeftOffAgainEnds(t *testing.T) {
	w := world{rows: 12, hours: 0.6, rate: 25, seed: 3, enabled: func(r int, x float64) bool {
		return !(r >= 3 && r <= 6 && x >= 1000 && x < 1040 || r == 3 && x >= 1043 && x < 1063)
	}}
	n := 0
	for _, f := range w.run(config(12)) {
		if f.Kind != evenstand.KindRowLeftOff {
			continue
		}
		n++
		if f.Until == nil {
			t.Errorf("rows %v are still said to be off", f.Rows)
		}
	}
	if n == 0 {
		t.Error("rows that were off for 40 s were not said to be")
	}
}

// A row that is off before a fill and after it was never on in between: one
// finding, however long the fill takes and whatever the switch says meanwhile.
func TestLeftOffOverAFill(t *testing.T) {
	const fill = 30 * 60 // s; longer than the pause after which a stop counts as a new one
	e := find.New(config(12))
	way := 0.0
	for x := range 1000 + fill + 1000 {
		now := at(float64(x))
		planting := x < 1000 || x >= 1000+fill
		switch x {
		case 0, 1000 + fill:
			e.Lower(now)
		case 1000:
			e.Lift(now)
		}
		for r := 1; r <= 12; r++ {
			off := r == 5 && (x >= 960 && x < 1000 || x >= 1000+fill && x < 1040+fill)
			e.Enabled(r, !off, now)
			if planting && !off {
				e.Seed(r, now+evenstand.Second/2)
			}
		}
		if planting {
			way += 4
		}
		e.Tick(at(float64(x+1)), find.Bar{Planting: planting, Speed: 4, Way: way})
	}
	var found []evenstand.Finding
	for _, f := range e.Finish(at(2000 + fill)) {
		if f.Kind == evenstand.KindRowLeftOff {
			found = append(found, f)
		}
	}
	if len(found) != 1 || found[0].Since != at(960) || found[0].Until == nil {
		t.Errorf("want one finding since %s that has ended, got %+v", at(960), found)
	}
}

// Counted rows of which the log says no more are not rows that stand still, and
// a row that is counted as nothing is.
func TestRowsThatNobodyCounts(t *testing.T) {
	e := find.New(config(12))
	way := 0.0
	e.Lower(at(0))
	for x := range 600 {
		now := at(float64(x) + 0.9)
		for r := 1; r <= 12; r++ {
			if r <= 6 && x >= 300 { // their log is cut
				continue
			}
			n := 25.0
			if r == 9 && x >= 400 {
				n = 0
			}
			e.Counted(r, now)
			if n > 0 {
				e.Seed(r, now)
			}
			e.Counts(r, now-evenstand.Second, now, n, 0.01*n, 0)
		}
		way += 4
		e.Tick(at(float64(x+1)), find.Bar{Planting: true, Speed: 4, Way: way})
	}
	var rows []int
	for _, f := range e.Finish(at(600)) {
		if f.Kind == evenstand.KindRowStopped {
			rows = append(rows, f.Rows...)
		}
	}
	if len(rows) != 1 || rows[0] != 9 {
		t.Errorf("rows %v are said to stand still, want 9 alone", rows)
	}
}

package find_test

import (
	"math/rand/v2"
	"slices"
	"testing"

	"evenstand"
	"evenstand/core/find"
)

// oneRow feeds the places of one row to an engine until a finding of the
// family is raised, and gives how many places after the fault that was; a
// negative number when it came before, the limit when it never came.
func oneRow(seed uint64, cells int, cardCells int, q, base float64, limit int) (delay, since int, f evenstand.Finding) {
	rnd := rand.New(rand.NewPCG(seed, 2))
	e := find.New(find.Config{Rows: 1, Cells: []int{cardCells}, Crop: []string{"corn"}, Spacing: 0.762})
	const healthy = 20_000
	bad := rnd.IntN(cells)
	miss := 0
	place := func(i int) evenstand.Micros { return t0 + evenstand.Micros(i)*40_000 } // 25 places a second
	e.Lower(t0)
	for i := range healthy + limit {
		p := base
		if i >= healthy && i%cells == bad {
			p = q
		}
		if rnd.Float64() < p {
			miss++
		} else {
			e.Place(1, &find.Place{T: place(i), K: int64(i), Missing: miss, Readable: true})
			miss = 0
		}
		if i%25 == 24 {
			e.Tick(place(i+1), find.Bar{Planting: true, Speed: 4.1, Way: float64(i) * 0.165})
			if i%500 == 499 || i > healthy {
				for _, f := range e.Raised() {
					return i - healthy, int((f.Since - place(healthy)) / 40_000), f
				}
			}
		}
	}
	return limit, 0, evenstand.Finding{}
}

func quantile(x []int, p float64) int {
	slices.Sort(x)
	return x[int(p*float64(len(x)-1)+0.5)]
}

// Delays of a locked cell against the figures measured by an independent
// version of the method on rows with a decoder and stops (median and 90 % of
// places, N = 40, 1.2 % of skips): 211 and 284 at q = 1, 586 and 970 at 0.5,
// 1,936 and 3,369 at 0.2. What tests demand is 8 turns (320 places) and 30
// turns (1,200) in nine of ten cases for the first two.
func TestCellDelays(t *testing.T) {
	for _, tt := range []struct {
		q           float64
		median, p90 int
		limit       int
	}{{1, 250, 320, 2000}, {0.5, 700, 1200, 6000}, {0.2, 2400, 4500, 20000}} {
		var d, s []int
		for i := range 60 {
			delay, since, f := oneRow(uint64(100+i), 40, 40, tt.q, 0.012, tt.limit)
			if delay < 0 {
				t.Errorf("q %g, run %d: alarm %d places before the fault", tt.q, i, -delay)
			}
			if f.Family != "" && f.Family != "cell" {
				t.Errorf("q %g: found as %s", tt.q, f.Kind)
			}
			d, s = append(d, delay), append(s, since)
		}
		t.Logf("q %g: places to the alarm median %d, 90 %% %d; start off by median %d, 90 %% %d", tt.q, quantile(d, 0.5), quantile(d, 0.9), quantile(s, 0.5), quantile(s, 0.9))
		if m := quantile(d, 0.5); m > tt.median {
			t.Errorf("q %g: median delay %d places, want %d at most", tt.q, m, tt.median)
		}
		if m := quantile(d, 0.9); m > tt.p90 {
			t.Errorf("q %g: 90 %% delay %d places, want %d at most", tt.q, m, tt.p90)
		}
	}
}

// Without a card the lag scan finds the number of cells first; published
// figures for N = 41 and share 1: about 300 places, N exact in 88 to 100 %.
func TestCellsLearnt(t *testing.T) {
	exact, found := 0, 0
	for i := range 40 {
		delay, _, f := oneRow(uint64(300+i), 41, 0, 1, 0.012, 8000)
		if delay >= 8000 {
			continue
		}
		found++
		for _, ev := range f.Evidence {
			if ev.Name == "cells on the disc" && ev.Value == 41 {
				exact++
			}
		}
	}
	if found < 38 || exact < 34 {
		t.Errorf("found %d of 40, the number of cells exact in %d", found, exact)
	}
}

// Healthy places give no alarm: none in 1.5 million here (0.02 in 21.6 million
// are expected).
func TestNoCellOnHealthyRow(t *testing.T) {
	for i := range 6 {
		if delay, _, f := oneRow(uint64(700+i), 40, 40, 0.012, 0.012, 230_000); f.Kind != "" {
			t.Errorf("run %d: %s after %d places of a healthy row", i, f.Kind, delay)
		}
	}
}

// Delays of a lasting shift of one row's skips among healthy peers, against
// what an independent version of the method measured (places, median / 90 %):
// x2 5,850 / 11,350, x4 1,150 / 2,410 with a threshold of 16 quasi-nats; here
// it is 20, and the alarm counts from the verdict "no rock", so half as much
// again is allowed for; a shift under 1.8 also waits for 6,000 more places. What
// tests demand is 20,000 places at x2 and 3,000 at x4.
func TestRateDelays(t *testing.T) {
	if testing.Short() {
		t.Skip("days of seeds: left to the long run")
	}
	runs := 4
	if *long {
		runs = 16
	}
	for _, tt := range []struct {
		times       float64
		median, p90 float64
	}{{4, 1900, 3000}, {2, 12_000, 20_000}} {
		var d []int
		for i := range runs {
			row := 1 + i%16
			const start = 3600.0
			w := world{rows: 16, hours: 1.7, rate: 25, seed: uint64(40 + i), slip: 0.2, skip: func(r int, tt2 float64, _ int) (float64, float64) {
				if r == row && tt2 >= start {
					return tt.times, -1
				}
				return 1, -1
			}}
			delay := 90_000
			for _, f := range raised(w.run(config(16))) {
				if f.Kind == evenstand.KindRowSkips && f.Rows[0] == row && f.Alarm >= at(start) {
					delay = int((f.Alarm - at(start)).Seconds() * 25 * 385 / 410)
					break
				}
			}
			d = append(d, delay)
		}
		m, p := quantile(d, 0.5), quantile(d, 0.9)
		t.Logf("x%g: places to the alarm median %d, 90 %% %d", tt.times, m, p)
		if float64(m) > tt.median || float64(p) > tt.p90 {
			t.Errorf("x%g: median %d, 90 %% %d places, want %g and %g at most", tt.times, m, p, tt.median, tt.p90)
		}
	}
}

// A rock is not a part: bursts of 25 to 200 places at 15 to 60 % of misses on
// one row are kept aside (147 of 147 in the figures measured elsewhere).
func TestRocksAreKeptAside(t *testing.T) {
	rnd := rand.New(rand.NewPCG(9, 9))
	type rock struct {
		row      int
		from, to float64
		share    float64
	}
	var rocks []rock
	for i := range 24 {
		from := 1500 + float64(i)*200 + 60*rnd.Float64()
		rocks = append(rocks, rock{1 + rnd.IntN(16), from, from + 1 + 7*rnd.Float64(), 0.15 + 0.45*rnd.Float64()})
	}
	w := world{rows: 16, hours: 2, rate: 25, seed: 5, slip: 0.2, skip: func(r int, t float64, _ int) (float64, float64) {
		for _, k := range rocks {
			if k.row == r && t >= k.from && t < k.to {
				return 1, k.share
			}
		}
		return 1, -1
	}}
	fs := w.run(config(16))
	upsets := 0
	for _, f := range fs {
		if f.Kind == evenstand.KindUpset {
			upsets++
		}
	}
	if n := len(raised(fs)); n > 0 {
		show(t, raised(fs))
		t.Errorf("%d findings raised by rocks", n)
	}
	if upsets < 8 {
		t.Errorf("%d of 24 rocks kept aside as passing trouble", upsets)
	}
}

func BenchmarkEngine(b *testing.B) {
	rnd := rand.New(rand.NewPCG(1, 1))
	const rows, n = 16, 20_000
	var places [rows][n]find.Place
	for r := range rows {
		miss, k := 0, 0
		for i := 0; i < n; {
			k++
			if rnd.Float64() < 0.012 {
				miss++
				continue
			}
			places[r][i] = find.Place{T: t0 + evenstand.Micros(k)*40_000, K: int64(k), Missing: miss, Off: float32(0.1 * rnd.NormFloat64()), Readable: true}
			miss = 0
			i++
		}
	}
	b.ReportAllocs()
	for b.Loop() {
		e := find.New(config(rows))
		e.Lower(t0)
		for i := range n {
			for r := range rows {
				e.Place(r+1, &places[r][i])
			}
			if i%25 == 24 {
				e.Tick(places[0][i].T, find.Bar{Planting: true, Speed: 4, Way: float64(i) * 0.165})
			}
		}
	}
	b.ReportMetric(float64(rows*n)*float64(b.N)/b.Elapsed().Seconds(), "seeds/s")
}

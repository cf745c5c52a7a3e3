package trial_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"sync"
	"testing"

	"evenstand/core/stat"
	"evenstand/core/try/trial"
)

// world is how rows and ground behave, by the methods document, section j: SD of
// rows 0.5, of passes 0.8, of a row's pass 0.4, drift of a row between periods
// 0.15, wheel tracks 0.3 more; the ends of the bar 0.2 less. A row's pass is made
// of stretches that resemble each other, and ground of two soils lies across.
type world struct {
	rows, passes, stretches int
	row, pass, cell, drift  float64
	tracks                  []int
	soil                    float64 // the second soil above the first
	more                    float64 // what the part does more on the second
	shares                  bool    // counts of skips instead
	places                  float64 // due on a stretch
	gaps                    float64 // share of passes that a row lacks
}

func usual() world {
	return world{rows: 16, passes: 30, stretches: 12, row: 0.5, pass: 0.8, cell: 0.4, drift: 0.15, tracks: []int{5, 12}, soil: 1}
}

func (w *world) classes() []trial.Class {
	c := make([]trial.Class, w.rows)
	for _, r := range w.tracks {
		c[r-1] = trial.Track
	}
	if len(w.tracks) > 0 {
		c[0], c[w.rows-1] = trial.Wing, trial.Wing
	}
	return c
}

const ar = 0.6 // of neighbouring stretches of a row

// run makes one trial with the part's effect and judges it.
func (w *world) run(rng *rand.Rand, arms trial.Arms, effect float64, zones int) trial.Result {
	in := trial.Rows{Class: w.classes(), Arms: arms, Zones: zones}
	periods := len(arms[0])
	// The SD of stretches whose mean over a pass has the SD of a cell.
	n := float64(w.stretches)
	infl := 0.0
	for k := -w.stretches + 1; k < w.stretches; k++ {
		infl += (1 - math.Abs(float64(k))/n) * math.Pow(ar, math.Abs(float64(k)))
	}
	sd := w.cell / math.Sqrt(infl/n)
	row := make([]float64, w.rows)
	for r := range row {
		row[r] = w.row * rng.NormFloat64()
		switch in.Class[r] {
		case trial.Track:
			row[r] += 0.3
		case trial.Wing:
			row[r] -= 0.2
		}
	}
	share := math.Sqrt(1 - ar*ar)
	for k := range periods {
		if k > 0 {
			for r := range row {
				row[r] += w.drift * rng.NormFloat64()
			}
		}
		for range w.passes {
			pass := w.pass * rng.NormFloat64()
			cut := rng.IntN(w.stretches + 1) // where the soil changes
			blocks := []trial.Block{blank(k, 0, w.rows)}
			if zones > 1 {
				blocks = append(blocks, blank(k, 1, w.rows))
			}
			for r := range w.rows {
				if w.gaps > 0 && rng.Float64() < w.gaps {
					continue
				}
				e := sd * rng.NormFloat64()
				for s := range w.stretches {
					z, soil := 0, 0.0
					if s >= cut {
						z, soil = 1, w.soil
					}
					// The effect is the mean over both soils.
					y := 5 + row[r] + pass + soil + arms[r][k]*(effect+w.more*(float64(z)-0.5)) + e
					b := &blocks[min(z, len(blocks)-1)]
					if w.shares {
						p := 0.01 * (1 + 0.2*(y-5.5))
						if p < 0 {
							p = 0
						}
						b.Y[r] += poisson(rng, w.places*p)
						b.W[r] += w.places
					} else {
						b.Y[r] += y
						b.W[r]++
					}
					e = ar*e + sd*share*rng.NormFloat64()
				}
			}
			for i := range blocks {
				b := &blocks[i]
				for r := range b.Y {
					b.Y[r] /= b.W[r] // NaN where there is nothing
				}
				in.Blocks = append(in.Blocks, *b)
			}
		}
	}
	return in.Judge()
}

func blank(period, zone, rows int) trial.Block {
	return trial.Block{Period: period, Zone: zone, Y: make([]float64, rows), W: make([]float64, rows)}
}

func poisson(rng *rand.Rand, mean float64) float64 {
	l, p, k := math.Exp(-mean), 1.0, 0.0
	for {
		if p *= rng.Float64(); p <= l {
			return k
		}
		k++
	}
}

// arms gives rows in the order in which they get the part.
var order = []int{7, 10, 4, 13, 9, 3, 14, 8}

func rowsWith(m int, rows int) []int {
	if m == 8 { // matched: one of the tracks, one of the ends
		return []int{7, 10, 4, 13, 9, 3, 5, 16}
	}
	return order[:m]
}

// design gives the arms of a design with the part on m rows at a time.
func design(how trial.How, m, rows int) trial.Arms {
	a := make(trial.Arms, rows)
	periods := 2
	if how == trial.Beside {
		periods = 1
	}
	for r := range a {
		a[r] = make([]float64, periods)
	}
	with := rowsWith(m, rows)
	for _, r := range with {
		a[r-1][periods-1] = 1
	}
	if how == trial.Swap {
		n := 0
		for r := range a { // rows that have it first
			if m == 8 {
				a[r][0] = 1 - a[r][1]
			}
		}
		for _, r := range []int{6, 11, 2, 15} {
			if m < 8 && n < m {
				a[r-1][0] = 1
				n++
			}
		}
	}
	return a
}

type tally struct {
	runs, covered, better, worse, cannot, found  int
	value, square, se, se2, df, smallest, method float64
}

func (s *tally) add(r trial.Result, truth float64) {
	s.runs++
	if !r.Known() {
		s.cannot++
		return
	}
	if r.Low <= truth && truth <= r.High {
		s.covered++
	}
	if r.Called() && !r.Lone && r.Value < 0 {
		s.better++
	}
	if r.Called() && !r.Lone && r.Value > 0 {
		s.worse++
	}
	if r.Called() && r.Value > 0 {
		s.found++ // a lone row too: what it could show is stated
	}
	s.se2 += r.SE * r.SE
	s.df += r.DF
	s.method += (stat.StudentQuantile(0.95, r.DF) + 0.85) * r.SE
	s.value += r.Value - truth
	s.square += (r.Value - truth) * (r.Value - truth)
	s.se += r.SE
	s.smallest += r.Smallest
}

func (s *tally) merge(o tally) {
	s.runs += o.runs
	s.covered += o.covered
	s.better += o.better
	s.worse += o.worse
	s.cannot += o.cannot
	s.value += o.value
	s.square += o.square
	s.se += o.se
	s.smallest += o.smallest
	s.method += o.method
	s.found += o.found
	s.se2 += o.se2
	s.df += o.df
}

// runs is how many trials a figure rests on: EVENSTAND_TRIALS, or few.
func runs() (n int, full bool) {
	if n, err := strconv.Atoi(os.Getenv("EVENSTAND_TRIALS")); err == nil {
		return n, true
	}
	if testing.Short() {
		return 48, false
	}
	return 96, false
}

// stream gives the first seed: other trials than those that the methods were chosen
// on where EVENSTAND_STREAM says so.
func stream(usual uint64) uint64 {
	if n, err := strconv.ParseUint(os.Getenv("EVENSTAND_STREAM"), 10, 64); err == nil {
		return n
	}
	return usual
}

// many runs a trial many times on all processors; the same seeds give the same.
func many(name string, n int, one func(rng *rand.Rand) (trial.Result, float64)) tally {
	var sum tally
	var mu sync.Mutex
	var wg sync.WaitGroup
	const parts = 8
	for part := range parts {
		wg.Go(func() {
			rng := stat.NewRand(stream(7001)+uint64(part), name)
			var t tally
			for range n / parts {
				r, truth := one(rng)
				t.add(r, truth)
			}
			mu.Lock()
			sum.merge(t)
			mu.Unlock()
		})
	}
	wg.Wait()
	return sum
}

func rate(k, n int) float64 { return float64(k) / float64(n) }

// want holds a share against its bounds: exactly for full runs, with three SE
// more for few.
func want(t *testing.T, what string, got, low, high float64, n int, full bool) {
	t.Helper()
	slack := 0.0
	if !full {
		slack = 3 * math.Sqrt(0.09/float64(n))
	}
	if got < low-slack || got > high+slack {
		t.Errorf("%s: %.3f, want %.2f to %.2f", what, got, low, high)
	}
}

// TestTrials runs trials of known effect: 90 % intervals hold it in 88 to 92 %,
// no effect is called better or worse in 5 % each at most, and a difference of
// the size that the plan gives is found in 78 to 82 %.
//
//	EVENSTAND_TRIALS=2000 go test ./core/try/trial -run Trials -v
func TestTrials(t *testing.T) {
	n, full := runs()
	type kind struct {
		name string
		w    world
	}
	soils := usual()
	soils.more = 0.3
	counts := usual()
	counts.shares, counts.places, counts.passes = true, 30, 10
	counts.row, counts.drift = 1, 0.3
	gaps := usual()
	gaps.gaps = 0.25
	gaps.passes = 12
	for _, k := range []kind{{"methods' world", usual()}, {"effect by soil", soils}, {"shares of small counts", counts}, {"rows that lack passes", gaps}} {
		for _, how := range []trial.How{trial.Swap, trial.Fitted, trial.Beside} {
			for _, m := range []int{1, 2, 4, 8} {
				if !full && m != 1 && m != 4 || testing.Short() && m != 4 { // the short forms
					continue
				}
				arms := design(how, m, k.w.rows)
				name := fmt.Sprintf("%s, %s, %d", k.name, how, m)
				scale := 1.0
				if k.w.shares {
					scale = 0.01 * 0.2
				}
				zones := 0
				if k.w.more > 0 {
					zones = 2
				}
				judge := func(what string, effect, more float64) tally {
					v := k.w
					v.more = more
					return many(name+what, n, func(rng *rand.Rand) (trial.Result, float64) {
						return v.run(rng, arms, effect, zones), effect * scale
					})
				}
				hit := judge("", 0.4, k.w.more)
				null := judge(" null", 0, 0)
				// The plan's smallest difference: from the variance that trials of nothing
				// state, and the degrees of freedom of a trial.
				mean := func(x float64) float64 { return x / float64(hit.runs) / scale }
				smallest := trial.Smallest(math.Sqrt(null.se2/float64(null.runs)), null.df/float64(null.runs)) / scale
				power := judge(" power", smallest, 0)
				t.Logf("%-38s held %.3f | none there: better %.3f worse %.3f | smallest %.3f (methods' formula %.3f), found %.3f | bias %+.4f SD %.4f SE %.4f",
					name, rate(hit.covered, hit.runs), rate(null.better, null.runs), rate(null.worse, null.runs), mean(hit.smallest), mean(hit.method), rate(power.found, power.runs),
					mean(hit.value), math.Sqrt(hit.square/float64(hit.runs))/scale, mean(hit.se))
				want(t, name+": held", rate(hit.covered, hit.runs), 0.88, 0.92, n, full)
				want(t, name+": null better", rate(null.better, null.runs), 0, 0.05, n, full)
				want(t, name+": null worse", rate(null.worse, null.runs), 0, 0.05, n, full)
				least, most := 0.78, 0.82
				if k.w.shares { // more skips scatter more
					least = 0.74
				}
				slack := 2 * math.Sqrt(0.16/float64(n)) // of the count of runs itself
				want(t, name+": found", rate(power.found, power.runs), least-slack, most+slack, n, full)
			}
		}
	}
}

// TestPassTrials does so for trials by passes: back and forth, ABBA ABBA, over
// ground whose mean wanders from pass to pass and drifts.
//
//	EVENSTAND_TRIALS=2000 go test ./core/try/trial -run PassTrials -v
func TestPassTrials(t *testing.T) {
	n, full := runs()
	run := func(rng *rand.Rand, pairs int, effect float64) trial.Result {
		ps := make([]trial.PassMean, 2*pairs)
		path, slope := rng.NormFloat64(), 0.05*rng.NormFloat64()
		for i := range ps {
			with := float64((i + 1) / 2 % 2)
			// The mean of 16 rows whose passes have an SD of 0.4.
			y := path + slope*float64(i) + 0.1*rng.NormFloat64() + effect*with
			ps[i] = trial.PassMean{Pass: i, With: with, Value: y, Next: i > 0}
			path = 0.8*path + 0.6*rng.NormFloat64()
		}
		r, _ := trial.ByPasses(ps)
		return r
	}
	for _, pairs := range []int{4, 8, 16, 32} {
		name := fmt.Sprintf("passes, %d pairs", pairs)
		judge := func(what string, effect float64) tally {
			return many(name+what, n, func(rng *rand.Rand) (trial.Result, float64) { return run(rng, pairs, effect), effect })
		}
		hit, null := judge("", 0.4), judge(" null", 0)
		smallest := trial.Smallest(math.Sqrt(null.se2/float64(null.runs)), float64(pairs-1))
		power := judge(" power", smallest)
		t.Logf("%-38s held %.3f | none there: better %.3f worse %.3f | smallest %.3f, found %.3f | SD %.4f SE %.4f", name,
			rate(hit.covered, hit.runs), rate(null.better, null.runs), rate(null.worse, null.runs), smallest, rate(power.found, power.runs),
			math.Sqrt(hit.square/float64(hit.runs)), hit.se/float64(hit.runs))
		want(t, name+": held", rate(hit.covered, hit.runs), 0.88, 0.92, n, full)
		want(t, name+": null better", rate(null.better, null.runs), 0, 0.05, n, full)
		want(t, name+": null worse", rate(null.worse, null.runs), 0, 0.05, n, full)
		slack := 2 * math.Sqrt(0.16/float64(n))
		want(t, name+": found", rate(power.found, power.runs), 0.78-slack, 0.82+slack, n, full)
	}
}

// One row without history is never judged.
func TestLone(t *testing.T) {
	w := usual()
	rng := stat.NewRand(7001, "lone")
	for range 200 {
		if r := w.run(rng, design(trial.Beside, 1, w.rows), 5, 0); !r.Lone {
			t.Fatal("one row without history has a verdict")
		}
	}
}

package trial_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"evenstand/core/stat"
	"evenstand/core/try/trial"
)

// The truth of worldOf as Spread has it.
const (
	trueRow   = 0.5*0.5 + 0.15*0.15/4
	trueDrift = 0.15 * 0.15
	truePass  = 0.4 * 0.4
)

// worldOf gives passes of two times of rows that differ by 0.5, drift by 0.15 from
// one time to the other and by 0.4 from pass to pass. lacks tells which row does
// not tell on a pass.
func worldOf(rng *rand.Rand, rows, passes int, lacks func(row, pass, time int) bool) (blocks []trial.Block, all []int) {
	own := make([]float64, rows)
	for r := range own {
		own[r] = 0.5 * rng.NormFloat64()
		all = append(all, r+1)
	}
	for k := range 2 {
		at := make([]float64, rows)
		for r := range at {
			at[r] = own[r] + 0.15/math.Sqrt2*rng.NormFloat64()
		}
		for p := range passes {
			b := trial.Block{Period: k, Y: make([]float64, rows), W: ones(rows)}
			soil := 0.8 * rng.NormFloat64()
			for r := range at {
				b.Y[r] = 5 + soil + at[r] + 0.4*rng.NormFloat64()
				if lacks(r, p, k) {
					b.Y[r] = math.NaN()
				}
			}
			blocks = append(blocks, b)
		}
	}
	return blocks, all
}

// moments is Spread by moments: variances of what rows do beside the passes, by
// least squares, less what the passes add to them.
func moments(blocks []trial.Block, rows []int) (row, drift, pass float64) {
	n := len(rows)
	var own, count [2][]float64
	df := 0.0
	for k := range 2 {
		own[k], count[k] = make([]float64, n), make([]float64, n)
		soil := make([]float64, len(blocks))
		for round := range 100 {
			next := make([]float64, n)
			for i, b := range blocks {
				told := 0.0
				if b.Period != k {
					continue
				}
				soil[i] = 0
				for r, v := range b.Y {
					if !math.IsNaN(v) {
						soil[i] += v - own[k][r]
						told++
					}
				}
				soil[i] /= told
				for r, v := range b.Y {
					if !math.IsNaN(v) {
						next[r] += v - soil[i]
						if round == 0 {
							count[k][r]++
						}
					}
				}
			}
			for r := range next {
				own[k][r] = next[r] / count[k][r]
			}
		}
		for i, b := range blocks {
			for r, v := range b.Y {
				if b.Period == k && !math.IsNaN(v) {
					d := v - soil[i] - own[k][r]
					pass += d * d
					df++
				}
			}
		}
	}
	pass /= df - float64(2*n+len(blocks)-2)
	noise := 0.0
	for r := range n {
		noise += pass * (1/count[0][r] + 1/count[1][r]) / float64(n)
	}
	row = variance(n, func(r int) float64 { return (own[0][r] + own[1][r]) / 2 })
	drift = variance(n, func(r int) float64 { return own[1][r] - own[0][r] })
	return math.Max(0, row-noise/4), math.Max(0, drift-noise), pass
}

func variance(n int, of func(r int) float64) float64 {
	m, v := 0.0, 0.0
	for r := range n {
		m += of(r) / float64(n)
	}
	for r := range n {
		v += (of(r) - m) * (of(r) - m) / float64(n-1)
	}
	return v
}

// Where every row tells on every pass the mixed model gives what moments give.
func TestSpreadBalanced(t *testing.T) {
	rng := stat.NewRand(7005, "balanced")
	for range 5 {
		blocks, rows := worldOf(rng, 16, 40, func(int, int, int) bool { return false })
		row, drift, pass := moments(blocks, rows)
		s := trial.SpreadOf(blocks, rows, len(rows))
		if drift == 0 {
			continue // moments cut it off, the model shares it out
		}
		near(t, "row", s.Row, row, 1e-6)
		near(t, "drift", s.Drift, drift, 1e-6)
		near(t, "pass", s.Pass, pass, 1e-6)
	}
}

// Where rows lack passes, some most of them, it is nearer the truth than moments.
func TestSpreadUnbalanced(t *testing.T) {
	const runs = 200
	rng := stat.NewRand(7006, "unbalanced")
	var model, by, mean [3]float64 // mean squares off, and means, over the truth
	for range runs {
		blocks, rows := worldOf(rng, 16, 20, func(row, pass, time int) bool { return row%4 == 2*time && pass > 1 || row%4 == 1 && pass%2 == 0 })
		s := trial.SpreadOf(blocks, rows, len(rows))
		row, drift, pass := moments(blocks, rows)
		for i, x := range [][3]float64{{s.Row, row, trueRow}, {s.Drift, drift, trueDrift}, {s.Pass, pass, truePass}} {
			model[i] += (x[0]/x[2] - 1) * (x[0]/x[2] - 1) / runs
			mean[i] += x[0] / x[2] / runs
			by[i] += (x[1]/x[2] - 1) * (x[1]/x[2] - 1) / runs
		}
	}
	for i, name := range []string{"row", "drift", "pass"} {
		t.Logf("%s: off by %.3f of it, by moments %.3f (rms); mean %.3f of it", name, math.Sqrt(model[i]), math.Sqrt(by[i]), mean[i])
		if model[i] > 1.02*by[i] { // of a pass both are told by the same
			t.Errorf("%s: further off than moments", name)
		}
		if math.Abs(mean[i]-1) > 0.15 {
			t.Errorf("%s: %.3f of the truth", name, mean[i])
		}
	}
}

// What cannot be told is not.
func TestSpreadNotTold(t *testing.T) {
	rng := stat.NewRand(7007, "not told")
	blocks, rows := worldOf(rng, 8, 10, func(int, int, int) bool { return false })
	if s := trial.SpreadOf(blocks[:10], rows, 8); !(s.Row > 0) || !(s.Pass > 0) || !math.IsNaN(s.Drift) {
		t.Errorf("one time: %+v", s)
	}
	if s := trial.SpreadOf(blocks, rows[:2], 8); !math.IsNaN(s.Row) || !math.IsNaN(s.Drift) || !(s.Level > 0) {
		t.Errorf("two rows: %+v", s)
	}
	if s := trial.SpreadOf(blocks[:1], rows, 8); !math.IsNaN(s.Row) {
		t.Errorf("one pass: %+v", s)
	}
	if s := trial.SpreadOf(nil, rows, 8); !math.IsNaN(s.Row) || !math.IsNaN(s.Level) {
		t.Errorf("none: %+v", s)
	}
}

// A plan of 36 rows and 600 passes is made while one waits for a page.
func TestSpreadIsQuick(t *testing.T) {
	blocks, rows := worldOf(stat.NewRand(7008, "quick"), 36, 300, func(row, pass, _ int) bool { return (row+pass)%7 == 0 })
	took := time.Hour
	for range 5 { // the quickest: the computer may be busy
		from := time.Now()
		s := trial.SpreadOf(blocks, rows, len(rows))
		took = min(took, time.Since(from))
		t.Logf("%v: %+v", took, s)
		if took <= time.Second {
			return
		}
	}
	t.Errorf("took %v", took)
}

func BenchmarkSpreadOf(b *testing.B) {
	blocks, rows := worldOf(stat.NewRand(7008, "quick"), 36, 300, func(row, pass, _ int) bool { return (row+pass)%7 == 0 })
	for b.Loop() {
		trial.SpreadOf(blocks, rows, len(rows))
	}
}

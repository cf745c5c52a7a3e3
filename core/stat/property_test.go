package stat_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"evenstand/core/stat"
)

// Quantile and tail undo each other, wherever they are asked.
func TestQuantilesInvert(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := rapid.Float64Range(1e-6, 1-1e-6).Draw(t, "p")
		a := math.Exp(rapid.Float64Range(math.Log(0.3), math.Log(2e4)).Draw(t, "ln a"))
		b := math.Exp(rapid.Float64Range(math.Log(0.3), math.Log(2e4)).Draw(t, "ln b"))
		if got := stat.BetaCDF(stat.BetaQuantile(p, a, b), a, b); math.Abs(got-p) > 1e-8*math.Max(p, 1e-3) {
			// A quantile crowded against 1 cannot be told finer than its last bit.
			x := stat.BetaQuantile(p, a, b)
			if lo, hi := stat.BetaCDF(math.Nextafter(x, 0), a, b), stat.BetaCDF(math.Nextafter(x, 1), a, b); p < lo || p > hi {
				t.Fatalf("BetaCDF(BetaQuantile(%g, %g, %g)) = %g", p, a, b, got)
			}
		}
		df := rapid.Float64Range(1, 500).Draw(t, "df")
		x := stat.StudentQuantile(p, df)
		two := 2 * math.Min(p, 1-p)
		if got := stat.StudentTail(x, df); math.Abs(got-two) > 1e-8*math.Max(two, 1e-3) {
			t.Fatalf("StudentTail(StudentQuantile(%g, %g)) = %g, want %g", p, df, got, two)
		}
		if got := stat.NormalCDF(stat.NormalQuantile(p)); math.Abs(got-p) > 1e-12 {
			t.Fatalf("NormalCDF(NormalQuantile(%g)) = %g", p, got)
		}
	})
}

// More counted at the same rate narrows every interval, and the intervals lie
// in order and hold the rate.
func TestIntervalsNarrow(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.Float64Range(5, 1e5).Draw(t, "n")
		y := n * rapid.Float64Range(0, 1).Draw(t, "rate")
		for name, f := range map[string]func(y, n, level float64) (float64, float64){"Jeffreys": stat.Jeffreys, "Wilson": stat.Wilson, "Clopper-Pearson": stat.ClopperPearson} {
			lo, hi := f(y, n, 0.9)
			lo2, hi2 := f(2*y, 2*n, 0.9)
			if !(0 <= lo && lo <= hi && hi <= 1) {
				t.Fatalf("%s(%g of %g) = %g to %g", name, y, n, lo, hi)
			}
			if hi2-lo2 > (hi-lo)*(1+1e-9) {
				t.Fatalf("%s: twice as many widened %g to %g", name, hi-lo, hi2-lo2)
			}
		}
		s := stat.CheckBack
		lo, hi := s.Interval(y, n)
		if p := y / n; p < lo || p > hi {
			t.Fatalf("sequence %g to %g leaves out %g", lo, hi, p)
		}
	})
}

// Adjusted p values keep their order, are never smaller than the plain ones,
// and do not depend on the order in which they come.
func TestBHOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := rapid.SliceOfN(rapid.Float64Range(0, 1), 1, 40).Draw(t, "p")
		got := stat.BenjaminiHochberg(p)
		rev := make([]float64, len(p))
		for i := range p {
			rev[len(p)-1-i] = p[i]
			if got[i] < p[i] || got[i] > 1 {
				t.Fatalf("%g became %g", p[i], got[i])
			}
			for j := range p {
				if p[i] < p[j] && got[i] > got[j] {
					t.Fatal("order lost")
				}
			}
		}
		back := stat.BenjaminiHochberg(rev)
		for i := range got {
			if back[len(p)-1-i] != got[i] {
				t.Fatal("depends on the order")
			}
		}
	})
}

// The ring of the detector forgets: after 400 batches of one past the onset
// is the same as after any other past of equal evidence since.
func TestOnsetForgets(t *testing.T) {
	onset := func(past int) (int, int, int) {
		d := stat.NewEDetector(stat.Upward, 1.8)
		for range past {
			d.Add(1, 100, 0.012)
		}
		for range 420 {
			d.Add(1, 100, 0.012)
		}
		for range 12 {
			d.Add(6, 100, 0.012)
		}
		return d.Onset()
	}
	m, e, l := onset(0)
	m2, e2, l2 := onset(777)
	if m != m2 || e != e2 || l != l2 {
		t.Errorf("onset %d %d %d or %d %d %d", m, e, l, m2, e2, l2)
	}
	// The shift began 12 batches ago: index 11 counted back.
	if m < 9 || m > 13 || !(e >= 11 && l <= 11) {
		t.Errorf("onset %d (%d to %d) back, want 11", m, e, l)
	}
}

// A rate so high that r times it is no rate must neither alarm nor break.
func TestEDetectorHighRate(t *testing.T) {
	d := stat.NewEDetector(stat.Upward, 1)
	for range 50 {
		if s := d.Add(60, 100, 0.6); math.IsNaN(s) || s > 6 {
			t.Fatalf("S = %g", s)
		}
	}
	if s := d.Add(math.NaN(), 100, 0.6); math.IsNaN(s) {
		t.Fatal("an unknown count broke the sum")
	}
}

// Healthy rows are not called, twice the rate is; a row without places is left
// out and small groups fall back to all rows.
func TestRowLevelGroups(t *testing.T) {
	var rows []stat.RowCount
	for i, y := range []float64{700, 720, 690, 735, 710, 705, 1400, 1420, 1390, 1410, 1430, 2900} {
		rows = append(rows, stat.RowCount{Y: y, N: 60000, Phi: 1.8, Group: i / 6})
	}
	rows = append(rows, stat.RowCount{Group: 1})
	got, _ := stat.RowLevel(rows)
	for i, g := range got[:11] {
		if g.BH < 0.05 {
			t.Errorf("healthy row %d is called: %+v", i+1, g)
		}
	}
	if got[11].BH > 0.05 {
		t.Errorf("row 12 at twice its side is not called: %+v", got[11])
	}
	if !math.IsNaN(got[12].P) {
		t.Error("a row without places has a p")
	}
}

// The triangular draw has the mean of its corners and its mode's share below
// the mode: low 0, mode 1, high 4: share (1−0)/(4−0) = 0.25, mean 5/3.
func TestTriangular(t *testing.T) {
	if got := stat.Triangular(0.25, 0, 1, 4); math.Abs(got-1) > 1e-12 {
		t.Errorf("at the mode's share: %g", got)
	}
	sum, below := 0.0, 0
	const n = 100000
	for i := range n {
		v := stat.Triangular((float64(i)+0.5)/n, 0, 1, 4)
		sum += v
		if v < 1 {
			below++
		}
	}
	if math.Abs(sum/n-5.0/3) > 1e-4 || below != n/4 {
		t.Errorf("mean %g, %d below the mode", sum/n, below)
	}
	if got := stat.Triangular(0.3, 2, 2, 2); got != 2 {
		t.Errorf("no width: %g", got)
	}
}

// A stream depends on the seed and its own name alone.
func TestNewRand(t *testing.T) {
	a, b := stat.NewRand(7, "price"), stat.NewRand(7, "price")
	other := stat.NewRand(7, "row 3")
	same := true
	for range 10 {
		x := a.Uint64()
		if x != b.Uint64() {
			t.Fatal("same name, other draws")
		}
		same = same && x == other.Uint64()
	}
	if same {
		t.Error("other name, same draws")
	}
}

func BenchmarkEDetector(b *testing.B) {
	d := stat.NewEDetector(stat.Upward, 1.8)
	b.ReportAllocs()
	for b.Loop() {
		d.Add(1, 100, 0.012)
	}
	b.ReportMetric(100*float64(b.N)/b.Elapsed().Seconds(), "seeds/s")
}

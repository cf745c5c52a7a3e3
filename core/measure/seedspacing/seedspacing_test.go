package seedspacing_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"evenstand"
	"evenstand/core/measure/seedspacing"

	"pgregory.net/rapid"
)

// Class limits: ISO 7256-1:1984 as restated in the literature; a limit belongs
// to the class below it. The lines in mm are the border tests of the reference
// page on seed spacing, section 5; those in metres are the same borders where
// binary fractions are not exact.
func TestClassify(t *testing.T) {
	for _, tt := range []struct {
		x, target float64
		want      evenstand.Class
		missing   int
	}{
		{80, 160, evenstand.Multiple, 0},
		{80.1, 160, evenstand.Single, 0},
		{240, 160, evenstand.Single, 0},
		{240.1, 160, evenstand.Skip, 1},
		{400, 160, evenstand.Skip, 1},
		{400.1, 160, evenstand.Skip, 2},
		{560, 160, evenstand.Skip, 2},
		{560.1, 160, evenstand.Skip, 3},
		{325, 160, evenstand.Skip, 1},
		{480, 160, evenstand.Skip, 2},
		{0.08, 0.16, evenstand.Multiple, 0},
		{0.24, 0.16, evenstand.Single, 0},
		{0.4, 0.16, evenstand.Skip, 1},
		{0.56, 0.16, evenstand.Skip, 2},
		{1.6, 0.16, evenstand.Skip, 9},
		{0.45, 0.3, evenstand.Single, 0},
		{0.15, 0.1, evenstand.Single, 0},
		{0.25, 0.1, evenstand.Skip, 1},
		{0.35, 0.1, evenstand.Skip, 2},
		{0, 160, evenstand.Multiple, 0},
		{-1, 160, evenstand.NoClass, 0},
		{math.NaN(), 160, evenstand.NoClass, 0},
		{math.Inf(1), 160, evenstand.NoClass, 0},
		{160, 0, evenstand.NoClass, 0},
		{160, -160, evenstand.NoClass, 0},
		{160, math.NaN(), evenstand.NoClass, 0},
		{0, 0, evenstand.NoClass, 0},
	} {
		if got := seedspacing.Classify(tt.x, tt.target); got != tt.want {
			t.Errorf("Classify(%g, %g) = %v, want %v", tt.x, tt.target, got, tt.want)
		}
		if got := seedspacing.Missing(tt.x, tt.target); got != tt.missing {
			t.Errorf("Missing(%g, %g) = %d, want %d", tt.x, tt.target, got, tt.missing)
		}
	}
}

// worked is the example of the reference page on seed spacing, section 5: 30
// spacings in mm at a target of 160 mm, with its figures by hand.
var worked = []float64{158, 165, 150, 172, 161, 40, 290, 155, 168, 149, 325, 160, 152, 171, 163, 157, 70, 250, 166, 154, 480, 159, 162, 148, 170, 156, 164, 151, 167, 153}

func TestWorkedExample(t *testing.T) {
	got, err := seedspacing.Measure(worked, 160)
	if err != nil {
		t.Fatal(err)
	}
	if want := [5]int64{2, 24, 3, 1, 0}; got.Counter.N != want {
		t.Errorf("classes %v, want %v", got.Counter.N, want)
	}
	if got.Counter.All.Sum != 5286 || got.Counter.Missing != 5 || got.BySpacing.Of != 30 || got.ByPlace.Of != 33 {
		t.Errorf("sum %g, missing %d, of %d spacings and %d places; want 5286, 5, 30, 33",
			got.Counter.All.Sum, got.Counter.Missing, got.BySpacing.Of, got.ByPlace.Of)
	}
	for _, tt := range []struct {
		name      string
		got, want float64 // per cent or mm, to the last digit printed
		half      float64
	}{
		{"(a) multiples", 100 * got.BySpacing.Multiples, 6.667, 5e-4},
		{"(a) misses", 100 * got.BySpacing.Misses, 13.333, 5e-4},
		{"(a) quality", 100 * got.BySpacing.Quality, 80.000, 5e-4},
		{"(b) multiples", 100 * got.ByPlace.Multiples, 6.061, 5e-4},
		{"(b) misses", 100 * got.ByPlace.Misses, 15.152, 5e-4},
		{"(b) quality", 100 * got.ByPlace.Quality, 78.788, 5e-4},
		{"mean", got.Mean, 176.2, 5e-2},
		{"mean of the singles", got.Counter.Singles.Mean(), 159.625, 5e-4},
		{"SD of the singles", got.Counter.Singles.SD(), 7.2700, 5e-5},
		{"precision over the target", 100 * got.Precision, 4.544, 5e-4},
		{"precision over the mean", 100 * got.SinglesCV, 4.554, 5e-4},
		{"CV of all", 100 * got.AllCV, 43.513, 5e-4},
	} {
		if !(math.Abs(tt.got-tt.want) <= tt.half*1.0001) {
			t.Errorf("%s: %.5f, want %g", tt.name, tt.got, tt.want)
		}
	}
}

// Published figures. A vacuum planter in maize, field, 4.0 km/h: miss 5.1 %,
// multiple 2.9 %, quality of feed 92 % (Journal of Agricultural Sciences,
// September 2021, abstract): they add up as shares of the spacings do. A plate
// of 18 cells in popcorn maize on the bench, theoretical spacing 20.993 cm:
// quality of feed 97.19 %, precision 13.108 % (J. Central European
// Agriculture 23(3), 2022, 642-654, abstract). Rows made to those shares must
// give them back.
func TestPublished(t *testing.T) {
	for _, tt := range []struct {
		name                            string
		target                          float64 // m
		multiples, misses, singles      int     // of 1000 spacings
		precision                       float64 // standard deviation of the singles made, over the target
		wantMultiples, wantMiss, wantOK float64
	}{
		{"maize in the field", 0.2, 29, 51, 920, 0.153, 2.9, 5.1, 92.0},
		{"popcorn maize on the bench", 0.20993, 10, 18, 972, 0.13108, 1.0, 1.8, 97.2},
	} {
		var xs []float64
		for range tt.multiples {
			xs = append(xs, 0.3*tt.target)
		}
		for range tt.misses {
			xs = append(xs, 2.1*tt.target)
		}
		for i := range tt.singles { // half a deviation below, half above: SD (n) is the deviation
			d := tt.precision
			if i%2 == 0 {
				d = -d
			}
			xs = append(xs, tt.target*(1+d))
		}
		got, err := seedspacing.Measure(xs, tt.target)
		if err != nil {
			t.Fatal(err)
		}
		a := got.BySpacing
		if math.Abs(100*a.Multiples-tt.wantMultiples) > 0.05 || math.Abs(100*a.Misses-tt.wantMiss) > 0.05 || math.Abs(100*a.Quality-tt.wantOK) > 0.05 {
			t.Errorf("%s: %+v", tt.name, a)
		}
		if math.Abs(got.Precision-tt.precision) > 1e-3*tt.precision {
			t.Errorf("%s: precision %g, want %g", tt.name, got.Precision, tt.precision)
		}
		if b := got.ByPlace; !(b.Misses < a.Misses && b.Multiples < a.Multiples) { // one missing each: more places than spacings
			t.Errorf("%s: by place %+v, by spacing %+v", tt.name, b, a)
		}
	}
}

// Singles spread evenly over their class have a precision of 1/sqrt(12), and
// half at each end 50 %: the practical and the theoretical upper limit.
func TestLimitsOfPrecision(t *testing.T) {
	var even, ends seedspacing.Counter
	const n = 100_000
	for i := range n {
		even.Add(0.5+(float64(i)+0.5)/n, 1)
		ends.Add(map[bool]float64{true: 0.5 + 1e-6, false: 1.5}[i%2 == 0], 1)
	}
	if p := even.Precision(); math.Abs(p-1/math.Sqrt(12)) > 1e-4 {
		t.Errorf("evenly spread: %g, want %g", p, 1/math.Sqrt(12))
	}
	if p := ends.Precision(); math.Abs(p-0.5) > 1e-4 {
		t.Errorf("at the ends: %g, want 0.5", p)
	}
}

func TestLongSkip(t *testing.T) {
	var c seedspacing.Counter
	c.Add(160, 160)
	c.Add(1600, 160) // ten places on: nine are empty
	if b := c.ByPlace(); b.Of != 11 || math.Abs(b.Misses-9.0/11) > 1e-12 {
		t.Errorf("in full: %+v, want 9 of 11", b)
	}
	if b := c.ByPlaceUpTo3(); b.Of != 5 || math.Abs(b.Misses-3.0/5) > 1e-12 {
		t.Errorf("up to three: %+v, want 3 of 5", b)
	}
	if a := c.BySpacing(); a.Of != 2 || a.Misses != 0.5 {
		t.Errorf("by spacing: %+v, want 1 of 2", a)
	}
}

func TestNothing(t *testing.T) {
	got, err := seedspacing.Measure([]float64{math.NaN(), -3, math.Inf(1)}, 160)
	if err != nil || got.Counter.Left != 3 || !math.IsNaN(got.BySpacing.Misses) || !math.IsNaN(got.ByPlace.Quality) || !math.IsNaN(got.Precision) {
		t.Errorf("%+v %v", got, err)
	}
	if one, _ := seedspacing.Measure([]float64{160}, 160); !math.IsNaN(one.Precision) || one.BySpacing.Quality != 1 {
		t.Errorf("one spacing has no precision: %+v", one)
	}
	for _, target := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		if _, err := seedspacing.Measure(worked, target); err == nil {
			t.Errorf("target %g: no error", target)
		}
	}
}

var spacing = rapid.Float64Range(0, 1200)

func TestProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		xs := rapid.SliceOfN(spacing, 1, 200).Draw(t, "spacings")
		target := rapid.Float64Range(20, 400).Draw(t, "target")
		got, err := seedspacing.Measure(xs, target)
		if err != nil {
			t.Fatal(err)
		}
		for name, s := range map[string]seedspacing.Shares{"a": got.BySpacing, "b": got.ByPlace, "b up to 3": got.Counter.ByPlaceUpTo3()} {
			if sum := s.Multiples + s.Misses + s.Quality; math.Abs(sum-1) > 1e-9 {
				t.Errorf("%s: shares add up to %g", name, sum)
			}
		}
		// The class and the missing places say the same.
		for _, x := range xs {
			if m, c := seedspacing.Missing(x, target), seedspacing.Classify(x, target); (m > 0) != (c == evenstand.Skip) {
				t.Errorf("%g of %g: class %v and %d missing", x, target, c, m)
			}
			// A unit changes nothing.
			if seedspacing.Missing(x/1000, target/1000) != seedspacing.Missing(x, target) && math.Abs(math.Mod(x/target, 1)-0.5) > 1e-8 {
				t.Errorf("%g of %g: other in metres", x, target)
			}
		}
		// The number of places follows from the length within half a place a spacing.
		if places := got.ByPlace.Of; math.Abs(float64(places)-got.Counter.All.Sum/target) > 0.5*float64(len(xs))+1 {
			t.Errorf("%d places on %g places of length", places, got.Counter.All.Sum/target)
		}
		// Parts merge, and order does not matter.
		cut := rapid.IntRange(0, len(xs)).Draw(t, "cut")
		var a, b seedspacing.Counter
		for _, x := range xs[cut:] {
			a.Add(x, target)
		}
		for _, x := range xs[:cut] {
			b.Add(x, target)
		}
		a.Merge(b)
		if a.N != got.Counter.N || a.Missing != got.Counter.Missing {
			t.Errorf("parts %+v, whole %+v", a, got.Counter)
		}
		if d := a.Precision() - got.Precision; math.Abs(d) > 1e-9 {
			t.Errorf("precision of the parts %g, of the whole %g", a.Precision(), got.Precision)
		}
		if d := a.AllCV() - got.AllCV; math.Abs(d) > 1e-9 {
			t.Errorf("CV of the parts %g, of the whole %g", a.AllCV(), got.AllCV)
		}
	})
}

// With a variable rate each spacing is held against its own target.
func TestVariableTarget(t *testing.T) {
	var c seedspacing.Counter
	for i := range 100 {
		target := 140 + float64(i)
		c.Add(target*1.1, target)
		c.Add(target*0.9, target)
	}
	if c.N != [5]int64{0, 200, 0, 0, 0} || math.Abs(c.Precision()-0.1) > 0.001 {
		t.Errorf("%v, precision %g, want 200 singles and 0.1", c.N, c.Precision())
	}
	if c.SinglesCV() < 0.15 { // holds the rate changes too
		t.Errorf("CV over the mean %g", c.SinglesCV())
	}
}

func ExampleMeasure() {
	got, _ := seedspacing.Measure([]float64{0.16, 0.15, 0.17, 0.02, 0.33}, 0.16)
	a, b := got.BySpacing, got.ByPlace
	fmt.Printf("of %d spacings: singles %.0f%%, skips %.0f%%, doubles %.0f%%\n", a.Of, 100*a.Quality, 100*a.Misses, 100*a.Multiples)
	fmt.Printf("of %d places:   singles %.0f%%, skips %.0f%%, doubles %.0f%%\n", b.Of, 100*b.Quality, 100*b.Misses, 100*b.Multiples)
	// Output:
	// of 5 spacings: singles 60%, skips 20%, doubles 20%
	// of 5 places:   singles 60%, skips 20%, doubles 20%
}

func BenchmarkMeasure(b *testing.B) {
	rng := rand.New(rand.NewPCG(1, 2))
	xs := make([]float64, 1<<20)
	for i := range xs {
		xs[i] = 0.16 * math.Max(0.01, 1+0.2*rng.NormFloat64())
		if rng.IntN(100) == 0 {
			xs[i] += 0.16
		}
	}
	b.SetBytes(int64(8 * len(xs)))
	b.ReportAllocs()
	for b.Loop() {
		if _, err := seedspacing.Measure(xs, 0.16); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(xs))*float64(b.N)/b.Elapsed().Seconds(), "seeds/s")
}

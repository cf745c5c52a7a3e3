package walk_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"evenstand/core/walk"

	"pgregory.net/rapid"
)

// field is a stand that wanders over 64 ha, as the methods' test fields do: an SD
// of 1.8 thousand plants an acre with a range of about 90 m, and an expected map
// that tells 0.65 of it.
type field struct {
	cells []walk.Cell // expected, as the map has it
	true  []float64
	mean  float64
	worst float64 // the stand under which a tenth of the ground lies
}

const (
	side  = 40 // cells of 20 m
	size  = 20.0
	sd    = 1.8
	noise = 1.06 // SD of a count
	tells = 0.65 // correlation of map and stand
)

// wander gives white noise smoothed by a normal kernel, scaled to an SD of 1.
func wander(rng *rand.Rand, reach float64) []float64 {
	w := int(math.Ceil(3 * reach / size))
	n := side + 2*w
	white := make([]float64, n*n)
	for i := range white {
		white[i] = rng.NormFloat64()
	}
	k, squares := make([]float64, 2*w+1), 0.0
	for i := range k {
		k[i] = math.Exp(-0.5 * math.Pow(float64(i-w)*size/reach, 2))
		squares += k[i] * k[i]
	}
	across := make([]float64, side*n)
	for y := range n {
		for x := range side {
			for i := range k {
				across[y*side+x] += k[i] * white[y*n+x+i]
			}
		}
	}
	out := make([]float64, side*side)
	for y := range side {
		for x := range side {
			for i := range k {
				out[y*side+x] += k[i] * across[(y+i)*side+x]
			}
			out[y*side+x] /= squares
		}
	}
	return out
}

func newField(rng *rand.Rand) field {
	stand, other := wander(rng, 45), wander(rng, 45)
	f := field{true: make([]float64, len(stand))}
	for i := range stand {
		f.true[i] = 30 + sd*stand[i]
		f.mean += f.true[i] / float64(len(stand))
		guess := 30 + sd*tells*(tells*stand[i]+math.Sqrt(1-tells*tells)*other[i])
		f.cells = append(f.cells, walk.Cell{X: float64(i%side) * size, Y: float64(i/side) * size, Area: size * size, Stand: guess})
	}
	sorted := append([]float64{}, f.true...)
	for i := range sorted { // a tenth is enough
		if i > len(sorted)/10 {
			break
		}
		for j := i + 1; j < len(sorted); j++ {
			if sorted[j] < sorted[i] {
				sorted[i], sorted[j] = sorted[j], sorted[i]
			}
		}
	}
	f.worst = sorted[len(sorted)/10]
	return f
}

// The mean of a field is told as well as in the methods (n), and its interval
// holds: 120 fields each, RMSE of the mean in thousand plants an acre for 6, 10 and
// 20 places, stratified 0.77, 0.51, 0.37; simple random 0.82, 0.63, 0.46.
func TestChooseTellsTheMean(t *testing.T) {
	fields := 120
	if testing.Short() {
		fields = 40
	}
	for _, tt := range []struct {
		k    int
		want float64
	}{{6, 0.77}, {10, 0.51}, {20, 0.37}} {
		rng := rand.New(rand.NewPCG(7101, uint64(tt.k)))
		squares, simple, held := 0.0, 0.0, 0
		hit, more := 0, 0
		for i := range fields {
			f := newField(rng)
			places := walk.Choose(f.cells, tt.k, true, uint64(i))
			counts := make([]float64, tt.k)
			inWorst, beside := false, false
			for _, p := range places {
				bad := f.true[p.Cell] <= f.worst
				if p.Stratum < 0 {
					beside = beside || bad
					continue
				}
				counts[p.Stratum] = f.true[p.Cell] + noise*rng.NormFloat64()
				inWorst = inWorst || bad
			}
			e := walk.Mean(counts)
			squares += (e.Mean - f.mean) * (e.Mean - f.mean)
			if e.Low <= f.mean && f.mean <= e.High {
				held++
			}
			if inWorst {
				hit++
			}
			if inWorst || beside {
				more++
			}
			any := 0.0
			for range tt.k {
				any += (f.true[rng.IntN(len(f.true))] + noise*rng.NormFloat64()) / float64(tt.k)
			}
			simple += (any - f.mean) * (any - f.mean)
		}
		n := float64(fields)
		rmse, of := math.Sqrt(squares/n), math.Sqrt(simple/n)
		t.Logf("k %d: RMSE %.2f (methods %.2f), simple random %.2f; 90 %% interval holds in %.3f; worst tenth hit in %.2f, with the places beside in %.2f", tt.k, rmse, tt.want, of, float64(held)/n, float64(hit)/n, float64(more)/n)
		// Of an RMSE over 120 fields the standard error is 6.5 %.
		if slack := 3 / math.Sqrt(2*n); rmse > tt.want*(1+slack) || rmse > of*(1+slack) {
			t.Errorf("k %d: RMSE %.2f, the methods have %.2f, simple random %.2f", tt.k, rmse, tt.want, of)
		}
		if h := float64(held) / n; h < 0.9-3*math.Sqrt(0.09/n) {
			t.Errorf("k %d: the interval holds in %.3f", tt.k, h)
		}
		if more < hit {
			t.Error("places beside the strata hit the worst less often")
		}
	}
}

// Heat units of R11's worked examples (V2): 90/65 gives 25.5, 72/46 11, 63/42 6.5.
// At 10 a day (a mean of 60 F, OSU) 115 are there on the twelfth day, 90 on the
// ninth, 130 on the thirteenth.
func TestEmergence(t *testing.T) {
	warm := make([]walk.Temp, 20)
	for i := range warm {
		warm[i] = walk.Temp{High: 70, Low: 50}
	}
	if first, mid, last, told := walk.Emergence(warm, 90, 115, 130); first != 8 || mid != 11 || last != 12 || !told {
		t.Errorf("%d, %d, %d, %v", first, mid, last, told)
	}
	if first, mid, last, told := walk.Emergence(warm[:3], 90, 115, 130); first != 8 || mid != 11 || last != 12 || told {
		t.Errorf("of three days: %d, %d, %d, %v", first, mid, last, told)
	}
	three := []walk.Temp{{90, 65}, {72, 46}, {63, 42}} // 43 together
	if first, _, _, _ := walk.Emergence(three, 43, 115, 130); first != 2 {
		t.Errorf("43 units on day %d", first)
	}
	if _, mid, _, _ := walk.Emergence(nil, 90, 115, 130); mid != -1 {
		t.Error("something comes up without warmth")
	}
	if _, mid, _, _ := walk.Emergence([]walk.Temp{{40, 30}}, 90, 115, 130); mid != -1 {
		t.Error("something comes up in the cold")
	}
}

func TestChooseHolds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		var cells []walk.Cell
		for range rapid.IntRange(0, 200).Draw(t, "cells") {
			c := walk.Cell{X: rng.Float64() * 800, Y: rng.Float64() * 800, Area: rng.Float64() * 500, Stand: 6 + rng.NormFloat64()}
			if rng.IntN(10) == 0 {
				c.Area = 0
			}
			if rng.IntN(10) == 0 {
				c.Stand = math.NaN()
			}
			cells = append(cells, c)
		}
		k := rapid.IntRange(0, 30).Draw(t, "k")
		places := walk.Choose(cells, k, true, 5)
		again := walk.Choose(cells, k, true, 5)
		seen := map[int]bool{}
		for i, p := range places {
			if again[i] != p {
				t.Fatal("the same seed gives other places")
			}
			if c := cells[p.Cell]; !(c.Area > 0) || math.IsNaN(c.Stand) {
				t.Fatalf("place in %+v", c)
			}
			if seen[p.Cell] {
				t.Fatalf("cell %d twice", p.Cell)
			}
			seen[p.Cell] = true
		}
		points := make([]walk.Point, len(places))
		for i, p := range places {
			points[i] = walk.Point{cells[p.Cell].X, cells[p.Cell].Y}
		}
		order, length := walk.Route(walk.Point{}, points, true)
		if len(order) != len(points) {
			t.Fatalf("%d of %d places", len(order), len(points))
		}
		long := func(order []int) float64 {
			sum, at := 0.0, walk.Point{}
			for _, i := range order {
				sum += math.Hypot(points[i].X-at.X, points[i].Y-at.Y)
				at = points[i]
			}
			return sum + math.Hypot(at.X, at.Y)
		}
		if math.Abs(long(order)-length) > 1e-6 {
			t.Fatalf("a route of %.1f m is told as %.1f m", long(order), length)
		}
		for i := range order { // no stretch of it walked the other way round makes it shorter
			for j := i + 1; j < len(order); j++ {
				turned := slices.Clone(order)
				slices.Reverse(turned[i : j+1])
				if long(turned) < length-1e-6 {
					t.Fatalf("%.1f m, and %.1f m with the places %d to %d turned round", length, long(turned), i, j)
				}
			}
		}
	})
}

// Four corners of a square are walked around it.
func TestRouteUntangles(t *testing.T) {
	corners := []walk.Point{{100, 100}, {0, 100}, {100, 0}}
	if _, length := walk.Route(walk.Point{}, corners, true); math.Abs(length-400) > 1e-9 {
		t.Errorf("%.0f m round a square of 400 m", length)
	}
	if order, length := walk.Route(walk.Point{}, nil, true); len(order) != 0 || length != 0 {
		t.Error("a way to nowhere")
	}
}

func TestMeanOfFew(t *testing.T) {
	if e := walk.Mean(nil); !math.IsNaN(e.Mean) {
		t.Error("a mean of nothing")
	}
	if e := walk.Mean([]float64{3, 4}); e.Mean != 3.5 || !math.IsNaN(e.Low) {
		t.Errorf("%+v: two counts tell no error", e)
	}
}

package walk

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"

	"evenstand/core/relation"
	"evenstand/core/stat"
)

// Cell is a piece of a field.
type Cell struct {
	X, Y  float64 // of its middle, m
	Area  float64 // m2
	Stand float64 // expected, plants per m2
}

// Place is somewhere to count.
type Place struct {
	Cell    int  // index of the cells it was drawn from
	Stratum int  // from 0, the thinnest; -1: drawn beside the strata, of the worst ground
	Worst   bool // it lies in the worst tenth
}

// Apart is how near places may lie to one another, m (methods, n).
const Apart = 60

// WorstShare is the share of the ground that is the worst of it (methods, n).
const WorstShare = 0.1

// tries is how often a place is drawn anew where it lies too near another; after
// that the farthest of those drawn is taken (judgement).
const tries = 40

// Choose draws k places, one in each of k strata of equal area by the expected
// stand, and with worst a third more in the worst tenth. Cells without an area or
// an expectation are left out; where there are fewer cells than places, there are
// fewer places. The same seed gives the same places.
func Choose(cells []Cell, k int, worst bool, seed uint64) []Place {
	order := make([]int, 0, len(cells))
	total := 0.0
	for i, c := range cells {
		if c.Area > 0 && !math.IsNaN(c.Stand) {
			order = append(order, i)
			total += c.Area
		}
	}
	k = min(k, len(order))
	if k <= 0 {
		return nil
	}
	slices.SortStableFunc(order, func(a, b int) int {
		return cmp.Or(cmp.Compare(cells[a].Stand, cells[b].Stand), cmp.Compare(cells[a].X, cells[b].X), cmp.Compare(cells[a].Y, cells[b].Y))
	})
	d := drawer{cells: cells, rng: rand.New(rand.NewPCG(seed, 0x77616c6b))}
	// A cell belongs to the stratum that its middle lies in, in order of stands.
	strata := make([][]int, k)
	var bad []int
	bound := math.NaN() // stand at the end of the worst tenth
	sum := 0.0
	for _, i := range order {
		mid := (sum + cells[i].Area/2) / total
		strata[min(k-1, int(mid*float64(k)))] = append(strata[min(k-1, int(mid*float64(k)))], i)
		if mid < WorstShare || len(bad) == 0 {
			bad, bound = append(bad, i), cells[i].Stand
		}
		sum += cells[i].Area
	}
	for s, of := range strata {
		if i, ok := d.draw(of); ok {
			d.places = append(d.places, Place{i, s, cells[i].Stand <= bound})
		}
	}
	if worst {
		for range max(1, k/3) {
			if i, ok := d.draw(bad); ok {
				d.places = append(d.places, Place{i, -1, true})
			}
		}
	}
	return d.places
}

type drawer struct {
	cells  []Cell
	rng    *rand.Rand
	places []Place
}

// draw takes one of the cells by area, not near another place where that can be;
// none that was taken before.
func (d *drawer) draw(of []int) (int, bool) {
	var left []int
	total := 0.0
	for _, i := range of {
		if !slices.ContainsFunc(d.places, func(p Place) bool { return p.Cell == i }) {
			left = append(left, i)
			total += d.cells[i].Area
		}
	}
	best, apart := -1, -1.0
	for range tries {
		u := d.rng.Float64() * total
		for _, i := range left {
			if u -= d.cells[i].Area; u >= 0 {
				continue
			}
			if a := d.nearest(i); a > apart {
				best, apart = i, a
			}
			break
		}
		if apart >= Apart {
			break
		}
	}
	return best, best >= 0
}

// nearest is how far a cell lies from the nearest place, m.
func (d *drawer) nearest(i int) float64 {
	least := math.Inf(1)
	for _, p := range d.places {
		c := d.cells[p.Cell]
		least = min(least, math.Hypot(c.X-d.cells[i].X, c.Y-d.cells[i].Y))
	}
	return least
}

// Point is somewhere on the ground, m.
type Point struct{ X, Y float64 }

// Route gives the order in which to walk the points from a start, and how long
// that is in m: the nearest next, then every two legs that cross are untangled
// (2-opt). One walks from the last point back to the start only with back.
func Route(start Point, points []Point, back bool) (order []int, length float64) {
	left := make([]int, len(points))
	for i := range left {
		left[i] = i
	}
	at := start
	for len(left) > 0 {
		j := 0
		for i := range left {
			if apart(at, points[left[i]]) < apart(at, points[left[j]]) {
				j = i
			}
		}
		order, at = append(order, left[j]), points[left[j]]
		left = slices.Delete(left, j, j+1)
	}
	get := func(i int) (Point, bool) {
		if i < 0 || i == len(order) && back {
			return start, true
		}
		if i == len(order) {
			return Point{}, false
		}
		return points[order[i]], true
	}
	leg := func(a Point, to Point, ok bool) float64 {
		if !ok {
			return 0
		}
		return apart(a, to)
	}
	for better := true; better; {
		better = false
		for i := 0; i < len(order)-1; i++ {
			for j := i + 1; j < len(order); j++ {
				before, _ := get(i - 1)
				after, ok := get(j + 1)
				a, b := points[order[i]], points[order[j]]
				now := apart(before, a) + leg(b, after, ok)
				turned := apart(before, b) + leg(a, after, ok)
				if turned < now-1e-9 {
					slices.Reverse(order[i : j+1])
					better = true
				}
			}
		}
	}
	at = start
	for _, i := range order {
		length += apart(at, points[i])
		at = points[i]
	}
	if back && len(points) > 0 {
		length += apart(at, start)
	}
	return order, length
}

func apart(a, b Point) float64 { return math.Hypot(a.X-b.X, a.Y-b.Y) }

// Estimate is a mean with its 90 % interval; NaN where it cannot be told.
type Estimate struct {
	Mean, Low, High, SE float64
	N                   int
}

// Mean gives the mean of a field from one count in each stratum, in order of the
// strata: SE² = Σ(z_{i+1}−z_i)²/(2(k−1)k), the differences of neighbouring strata
// (methods, n); the interval by Student's t with k-1 degrees of freedom, for with
// six counts the normal's holds less often than it says. With fewer than three
// counts no error can be told.
func Mean(counts []float64) Estimate {
	e := Estimate{Mean: math.NaN(), Low: math.NaN(), High: math.NaN(), SE: math.NaN(), N: len(counts)}
	if len(counts) == 0 {
		return e
	}
	sum, squares := 0.0, 0.0
	for i, x := range counts {
		sum += x
		if i > 0 {
			squares += (x - counts[i-1]) * (x - counts[i-1])
		}
	}
	k := float64(len(counts))
	e.Mean = sum / k
	if k < 3 {
		return e
	}
	e.SE = math.Sqrt(squares / (2 * (k - 1) * k))
	t := stat.StudentQuantile(0.95, k-1)
	e.Low, e.High = e.Mean-t*e.SE, e.Mean+t*e.SE
	return e
}

// Temp is the highest and lowest temperature of a day, in degrees F.
type Temp struct{ High, Low float64 }

// Emergence says after how many days corn planted on the first of them comes up:
// when its heat units reach low, likely and high (R11). What lies beyond the days
// that are known goes on as the last seven of them (judgement); told says whether
// the likely day lies within them. -1 where it never does, or nothing is known.
func Emergence(days []Temp, low, likely, high float64) (first, mid, last int, told bool) {
	at := [3]int{-1, -1, -1}
	sum, usual, n := 0.0, 0.0, 0
	for i := max(0, len(days)-7); i < len(days); i++ {
		usual += relation.GDD(days[i].High, days[i].Low)
		n++
	}
	const far = 120 // no seed waits so long
	for i := 0; i < far && n > 0; i++ {
		if i < len(days) {
			sum += relation.GDD(days[i].High, days[i].Low)
		} else {
			sum += usual / float64(n)
		}
		for k, want := range [3]float64{low, likely, high} {
			if at[k] < 0 && sum >= want {
				at[k] = i
			}
		}
	}
	return at[0], at[1], at[2], at[1] >= 0 && at[1] < len(days)
}

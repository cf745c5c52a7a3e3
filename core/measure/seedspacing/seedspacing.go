package seedspacing

import (
	"fmt"
	"math"

	"evenstand"
)

// slack keeps a spacing that stands on a limit in the class below it although
// metres such as 0.4 and 0.16 have no exact binary form. It is in places: a
// billionth of one is under a nanometre.
const slack = 1e-9

// Classify gives the class of the spacing x for a target spacing, both in the
// same unit. A limit belongs to the class below it: up to 0.5 of the target is
// a multiple, up to 1.5 a single, anything wider a skip. It is NoClass when x
// is no distance (negative, NaN, infinite) or the target is not positive.
func Classify(x, target float64) evenstand.Class {
	switch place(x, target) {
	case none:
		return evenstand.NoClass
	case 0:
		return evenstand.Multiple
	case 1:
		return evenstand.Single
	}
	return evenstand.Skip
}

// Missing gives how many places between two seeds x apart hold no seed:
// ceil(x/target - 0.5) - 1, so that 2.5 times the target is one missing and
// 2.51 times two; 0 where Classify gives NoClass.
func Missing(x, target float64) int { return max(0, place(x, target)-1) }

// none says that a spacing has no place.
const none = -1

// most is the longest skip that is counted, in places: 2.5 km of corn. What
// is longer was not planted.
const most = 15000

// place gives how many places x spans, rounded with halves down; none when it
// cannot be told.
func place(x, target float64) int {
	r := x / target
	if !(x >= 0 && target > 0 && r <= most) {
		return none
	}
	return max(0, int(math.Ceil(r-0.5-slack)))
}

// Counter gathers spacings one by one. The zero value is ready; counters of
// parts merge into that of the whole. Store the counts, never only the shares.
type Counter struct {
	N       [5]int64          // spacings: multiples, singles, one, two, three and more missing
	Missing int64             // places without a seed, long skips counted in full
	Singles evenstand.Moments // spacings of the single class, in the unit of x
	Ratio   evenstand.Moments // the same, over the target of each
	All     evenstand.Moments // all spacings, in the unit of x
	Left    int64             // distances or targets that were none, not counted
}

// Add takes in one spacing with the target at its place, both in the same
// unit; with a variable rate the target may differ each time.
func (c *Counter) Add(x, target float64) {
	p := place(x, target)
	if p == none {
		c.Left++
		return
	}
	c.N[min(p, 4)]++
	c.All.Add(x)
	switch {
	case p == 1:
		c.Singles.Add(x)
		c.Ratio.Add(x / target)
	case p > 1:
		c.Missing += int64(p - 1)
	}
}

// Merge takes in what another counter has gathered.
func (c *Counter) Merge(o Counter) {
	for i, n := range o.N {
		c.N[i] += n
	}
	c.Missing += o.Missing
	c.Left += o.Left
	c.Singles.Merge(o.Singles)
	c.Ratio.Merge(o.Ratio)
	c.All.Merge(o.All)
}

// Spacings gives how many spacings were counted.
func (c *Counter) Spacings() int64 { return c.N[0] + c.N[1] + c.N[2] + c.N[3] + c.N[4] }

// Shares are the three indices of one way of counting. They add up to 1, and
// are NaN when nothing was counted.
type Shares struct {
	Multiples float64 // multiples index
	Misses    float64 // miss index
	Quality   float64 // quality of feed index: the singles
	Of        int64   // what they are shares of: spacings, or places
}

func shares(multiples, misses, quality, of int64) Shares {
	n := float64(of) // 0/0 is NaN, which is what nothing counted means
	return Shares{float64(multiples) / n, float64(misses) / n, float64(quality) / n, of}
}

// BySpacing gives the shares of the spacings that were measured: way (a), that
// of most papers and of tests with published figures. A skip counts once,
// however long.
func (c *Counter) BySpacing() Shares {
	return shares(c.N[0], c.N[2]+c.N[3]+c.N[4], c.N[1], c.Spacings())
}

// ByPlace gives the shares of the places where a seed was due: way (b). A
// multiple is a place with two seeds, a skip counts each place without one,
// long skips in full. It takes multiples for pairs: when they are more than
// half of the spacings, Quality is under 0 and means nothing.
func (c *Counter) ByPlace() Shares { return c.byPlace(c.Missing) }

// ByPlaceUpTo3 is ByPlace with every skip of three and more counted as three,
// as the five classes of the standard do.
func (c *Counter) ByPlaceUpTo3() Shares { return c.byPlace(c.N[2] + 2*c.N[3] + 3*c.N[4]) }

func (c *Counter) byPlace(misses int64) Shares {
	n := c.Spacings()
	return shares(c.N[0], misses, n-2*c.N[0], n-c.N[0]+misses)
}

// Precision gives the standard deviation (n-1) of the single spacings over
// the target spacing, as a fraction. Singles that lie at random give 0.289,
// the practical upper limit. NaN under two singles.
func (c *Counter) Precision() float64 { return c.Ratio.SD() }

// SinglesCV gives the standard deviation (n-1) of the single spacings over
// their own mean, as a fraction; with a variable target it holds the rate
// changes too. NaN under two singles.
func (c *Counter) SinglesCV() float64 { return c.Singles.SD() / c.Singles.Mean() }

// AllCV gives the standard deviation (n-1) of all spacings over their mean, as
// a fraction; skips dominate it. NaN under two spacings.
func (c *Counter) AllCV() float64 { return c.All.SD() / c.All.Mean() }

// Result is the figures of one row over one target spacing, as fractions.
type Result struct {
	BySpacing Shares  // way (a): of the spacings measured
	ByPlace   Shares  // way (b): of the places due, long skips in full
	Precision float64 // of the singles; divisor: the target spacing
	SinglesCV float64 // of the singles; divisor: their own mean
	AllCV     float64 // of all spacings; divisor: their mean
	Mean      float64 // of all spacings, in the unit of x
	Counter   Counter
}

// Result gives all figures of what was gathered.
func (c *Counter) Result() Result {
	return Result{c.BySpacing(), c.ByPlace(), c.Precision(), c.SinglesCV(), c.AllCV(), c.All.Mean(), *c}
}

// Measure gives the figures of the spacings xs for a target spacing, all in
// the same unit. Distances that are none (negative, NaN) are left out and
// counted in Counter.Left. A target that is not positive is an error.
func Measure(xs []float64, target float64) (Result, error) {
	if !(target > 0) || math.IsInf(target, 0) {
		return Result{}, fmt.Errorf("target spacing %g: want a distance above 0", target)
	}
	var c Counter
	for _, x := range xs {
		c.Add(x, target)
	}
	return c.Result(), nil
}

package effect

import (
	"math"
	"slices"

	"evenstand"
	"evenstand/core/stat"
	"evenstand/core/try"
)

// BySpeed is the design of a speed: the speeds of the steps themselves, within
// passes and within places (methods document, section g).
const BySpeed try.Design = try.AllRows + 1

const (
	// varied is the least SD of speed within passes and places that tells: 0.15 mph
	// (methods document, section g).
	varied = 0.15 * evenstand.Mile / 3600
)

// Speed tells what the speed of a day did to each measure, from the slowest tenth
// of its steps to the fastest. Change is no change that somebody made.
func (d *Day) Speed() []Found {
	p := d.p
	var out []Found
	var speeds []float64
	for i := range p.Steps {
		if s := &p.Steps[i]; !s.Headland && s.Speed > 0.5 {
			speeds = append(speeds, s.Speed)
		}
	}
	if len(speeds) < 100 {
		return nil
	}
	slices.Sort(speeds)
	c := try.Change{Lever: evenstand.GroundSpeed.String(), T: p.Steps[0].T, Early: p.Steps[0].T, Late: p.Steps[0].T, From: speeds[len(speeds)/10], To: speeds[len(speeds)*9/10]}
	for m := range p.Measures {
		f := Found{Effect: try.Effect{Change: c, Measure: p.Measures[m].ID, Design: BySpeed, Before: math.NaN(), Value: math.NaN(), Low: math.NaN(), High: math.NaN()}}
		f.From, f.To = p.Steps[0].T, p.Steps[len(p.Steps)-1].T
		d.slope1(m, &f)
		out = append(out, f)
	}
	return out
}

// slope1 regresses how a measure changes along a pass, less how it did beside it on
// the pass before, on the same of speed: what the ground changes along both is in
// neither. The pass is the unit of error.
func (d *Day) slope1(m int, f *Found) {
	s := d.common(m)
	var q *quads
	for _, along := range [...]int{1, 2} {
		if q = d.quads(s, along); q.n < 100 || q.passes < 8 || q.varied() >= 2*varied { // of four speeds
			break
		}
	}
	n := q.n
	if n < 100 || q.passes < 8 {
		f.Why = Short
		if n == 0 && len(told(s, 0, len(s.y))) == 0 {
			f.Why = Silent
		}
		return
	}
	if q.varied() < 2*varied {
		f.Why = Unmoved
		return
	}
	all, of := q.all, q.of
	xx, xy := 0.0, 0.0
	for _, q := range all {
		xx += q.x * q.x
		xy += q.x * q.y
	}
	b := xy / xx
	// A corner of two kinds of ground is in all four: pairs far off count for
	// nothing (Tukey's weights; Beaton and Tukey 1974, from memory).
	weight := make([]float64, len(all))
	left := make([]float64, len(all))
	bread := 0.0
	for range 20 {
		for i, q := range all {
			left[i] = q.y - b*q.x
		}
		wide := 2.5 * stat.MAD(left)
		if !(wide > 0) {
			f.Why = Silent
			return
		}
		xx, xy, bread = 0, 0, 0
		for i, q := range all {
			weight[i] = 0
			if u := left[i] / wide; math.Abs(u) < 1 {
				weight[i] = (1 - u*u) * (1 - u*u)
				bread += (1 - u*u) * (1 - 5*u*u) * q.x * q.x
			}
			xx += weight[i] * q.x * q.x
			xy += weight[i] * q.x * q.y
		}
		if !(xx > 0) || !(bread > 0) {
			f.Why = Silent
			return
		}
		next := xy / xx
		done := math.Abs(next-b) < 1e-4*math.Abs(next)
		if b = next; done {
			break
		}
	}
	// Sums by pass, in their order; neighbours share what the one before told.
	var sums, own []float64
	for i, q := range all {
		if i == 0 || of[i] != of[i-1] {
			sums, own = append(sums, 0), append(own, 0)
		}
		k := len(sums) - 1
		sums[k] += weight[i] * q.x * (q.y - b*q.x)
		own[k] += weight[i] * q.x * q.x
	}
	v, shared, leverage := 0.0, 0.0, 0.0
	for i := range sums {
		h := own[i] / xx
		// As without the pass: what it alone told it hid too (MacKinnon and White 1985,
		// HC3, by groups; from memory).
		v += sums[i] * sums[i] / max(1e-6, (1-h)*(1-h))
		leverage += h * h
		if i > 0 {
			shared += 2 * sums[i] * sums[i-1]
		}
	}
	v = max(v+shared, v/2)
	by := f.Change.To - f.Change.From
	f.Before, f.Changed, f.Steps = q.level/n, d.p.Rows, int(n)
	f.finish(b*by, math.Sqrt(v)/bread*by, max(1, 0.35/leverage-1))
}

// quads are how a speed and a measure changed along a pass, less how they did
// beside it on the pass before.
type quads struct {
	all    []quad
	of     []int32 // pass of each
	passes int
	n      float64
	level  float64 // sum of the measure
}

type quad struct{ x, y float64 }

// varied is the root of the mean square of the speeds' changes, m/s.
func (q *quads) varied() float64 {
	xx := 0.0
	for _, q := range q.all {
		xx += q.x * q.x
	}
	return math.Sqrt(xx / q.n)
}

// quads compares steps that lie some steps apart along a pass. The nearer they lie,
// the fewer borders of the ground run between them.
func (d *Day) quads(s *series, along int) *quads {
	p, out := d.p, new(quads)
	ok := func(i int) bool {
		st := &p.Steps[i]
		// Where a pass begins and ends the speed is not what it is planted at.
		return !math.IsNaN(s.y[i]) && st.Speed > 0.5 && i > 0 && i+1 < len(p.Steps) && p.Steps[i-1].Pass == st.Pass && p.Steps[i+1].Pass == st.Pass
	}
	last := int32(-1)
	for i := along; i < len(p.Steps); i++ {
		k := i - along
		if !ok(i) || !ok(k) || p.Steps[k].Pass != p.Steps[i].Pass {
			continue
		}
		a, b := d.near[i], d.near[k]
		if a < 0 || b < 0 || a == b || p.Steps[a].Pass != p.Steps[b].Pass || !ok(int(a)) || !ok(int(b)) || !d.clear(k, i) || !d.clear(int(min(a, b)), int(max(a, b))) {
			continue
		}
		out.all = append(out.all, quad{p.Steps[i].Speed - p.Steps[k].Speed - p.Steps[a].Speed + p.Steps[b].Speed, s.y[i] - s.y[k] - s.y[a] + s.y[b]})
		out.of = append(out.of, p.Steps[i].Pass)
		if p.Steps[i].Pass != last {
			last = p.Steps[i].Pass
			out.passes++
		}
		out.level, out.n = out.level+s.y[i], out.n+1
	}
	return out
}

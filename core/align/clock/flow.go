package clock

import (
	"math"
	"slices"

	"evenstand"
)

// Limits of what can be compared beside a halt of the seeds (judged; four and
// a half seconds are three kernels).
const (
	noFlow   = evenstand.Second // without a seed is a halt
	clear    = 9 * evenstand.Second / 2
	inside   = evenstand.Second
	standing = 0.25 // m/s
	rolling  = 0.5  // m/s at the last seed and the first, beyond which it was lifted while it rolled
	stands   = 4.0  // s after the last seed, and before the first, at which the planter must stand
)

// Follow gives the offset of the clock that seeds were logged by plus the lag
// by which seeds follow the speed, by the seeds of all rows in even spans of
// time, zeros included, against the ground speed. Where the flow breaks off
// though the planter drives on, because it was lifted, it is not compared;
// where it stands, the halt tells the time best.
func Follow(speed, flow Series, opt Options) []Fit { return NewReference(speed).Follow(flow, opt) }

// Follow is the same against a reference that is a ground speed.
func (r *Reference) Follow(flow Series, opt Options) []Fit {
	if r.grid == nil {
		return nil
	}
	flow = flow.Clean()
	y := smooth(flow)
	if y == nil {
		return nil
	}
	opt.mask = newHalts(flow).mask(r.clean, r.grid)
	return pair(r.grid, y, opt)
}

// halts are the spans without a seed, in order of time.
type halts []struct{ from, to evenstand.Micros }

func newHalts(flow Series) (h halts) {
	for i := 0; i < len(flow.V); {
		if flow.V[i] != 0 {
			i++
			continue
		}
		j := i
		for j < len(flow.V) && flow.V[j] == 0 {
			j++
		}
		if d := flow.T[j-1] - flow.T[i]; d >= noFlow || i == 0 || j == len(flow.V) {
			s := struct{ from, to evenstand.Micros }{flow.T[i], flow.T[j-1]}
			if i > 0 {
				s.from = (flow.T[i-1] + flow.T[i]) / 2
			}
			if j < len(flow.T) {
				s.to = (flow.T[j-1] + flow.T[j]) / 2
			}
			h = append(h, s)
		}
		i = j
	}
	return h
}

// mask tells when seeds may be compared with the speed: not near a halt,
// unless the planter stood there. One that was lifted just before it stood
// looks the same but for its speed at the last seed, once the offset is about
// known.
func (h halts) mask(speed Series, x *grid) mask {
	stood := func(t evenstand.Micros, off, later float64, settled bool) bool {
		v, _, ok := x.at(floor(t), 0, off-later)
		if !ok || math.Abs(v) > standing {
			return false
		}
		if !settled {
			return true
		}
		at := t - evenstand.FromSeconds(off)
		i, _ := slices.BinarySearch(speed.T, at)
		if i == 0 || i == len(speed.T) {
			return false
		}
		d := speed.T[i] - speed.T[i-1]
		u := float64(at-speed.T[i-1]) / float64(d)
		return d < evenstand.Micros(hole*1e6) && math.Abs(speed.V[i-1]+u*(speed.V[i]-speed.V[i-1])) < rolling
	}
	return func(t evenstand.Micros, off float64, settled bool) bool {
		i, _ := slices.BinarySearchFunc(h, t, func(s struct{ from, to evenstand.Micros }, t evenstand.Micros) int {
			if s.to+clear < t {
				return -1
			}
			return 1
		})
		for ; i < len(h) && h[i].from-clear <= t; i++ {
			before := t <= h[i].from+inside && stood(h[i].from, off, stands, settled)
			after := t >= h[i].to-inside && stood(h[i].to, off, -stands, settled)
			if !before && !after {
				return false
			}
		}
		return true
	}
}

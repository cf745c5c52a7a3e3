package effect_test

import (
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"

	"evenstand"
	"evenstand/core/measure/group"
	"evenstand/core/try"
)

const second = evenstand.Second

// runs gives how many made-up days a figure rests on: 2,000 for docs/measured.md,
// a few for every test.
func runs(t testing.TB) int {
	if n, err := strconv.Atoi(os.Getenv("EVENSTAND_RUNS")); err == nil {
		return n
	}
	if testing.Short() {
		return 16
	}
	return 80
}

// stream gives the second number of a generator: other days than those that the
// methods were chosen on where EVENSTAND_STREAM says so.
func stream(usual uint64) uint64 {
	if n, err := strconv.ParseUint(os.Getenv("EVENSTAND_STREAM"), 10, 64); err == nil {
		return n
	}
	return usual
}

// world is a day of the methods document, section h, with more that goes wrong.
type world struct {
	rows, passes, steps int
	share               bool    // skips, 1 %; else a mean
	path, rho           float64 // SD of what all rows share in time, and its memory
	drift               float64 // of it, per 100 stretches
	row, rowRho         float64 // SD and memory of a row's own
	wander              float64 // a row's random walk, per root of 100 stretches
	zones               float64 // SD of ground with sharp borders, 70 by 90 m
	places              bool    // places are logged
	effect              float64
}

const (
	stepTime = 6800 * evenstand.Micros(1000) // 15 m at 2.2 m/s
	turnTime = 25 * second
)

// time gives the middle of a step.
func (w *world) time(step int) evenstand.Micros {
	return evenstand.Micros(step)*stepTime + evenstand.Micros(step/w.steps)*turnTime + stepTime/2
}

// on tells for each step and row whether the other setting was on it.
type on func(step, row int) bool

// panel makes the day.
func (w *world) panel(rnd *rand.Rand, changed on) *try.Panel {
	id := "load"
	if w.share {
		id = "skips"
	}
	m, _ := group.ByID(id)
	p := try.NewPanel("p", "2026-05-02", w.rows, 0.762, []group.Measure{m})
	width := 0.762 * float64(w.rows)
	zone := map[[2]int]float64{}
	slant := rnd.NormFloat64() * 0.3
	own, walk := make([]float64, w.rows), make([]float64, w.rows)
	fixed := make([]float64, w.rows)
	for r := range own {
		own[r], fixed[r] = rnd.NormFloat64(), rnd.NormFloat64()*0.3
	}
	path := rnd.NormFloat64()
	keep, row := math.Sqrt(1-w.rho*w.rho), math.Sqrt(1-w.rowRho*w.rowRho)
	var points []evenstand.TrackPoint
	ss := make([]evenstand.Stretch, 0, w.steps*w.rows)
	for pass := range w.passes {
		ss = ss[:0]
		for k := range w.steps {
			step := pass*w.steps + k
			t := w.time(step)
			path = w.rho*path + keep*rnd.NormFloat64()
			north := 15 * (float64(k) + 0.5)
			if pass%2 == 1 {
				north = 15*float64(w.steps) - north
			}
			east := width * float64(pass)
			if w.places {
				points = append(points, evenstand.TrackPoint{T: t, Lat: 41.6 + north/111065.5, Lon: -93.5 + east/83300})
			}
			all := w.path*path + w.drift*float64(step)/100
			for r := range w.rows {
				own[r] = w.rowRho*own[r] + row*rnd.NormFloat64()
				walk[r] += 0.1 * w.wander * rnd.NormFloat64()
				v := all + fixed[r] + w.row*own[r] + walk[r]
				if w.zones > 0 {
					at := [2]int{int(math.Floor((east + 0.762*float64(r) + slant*north) / 90)), int(math.Floor(north / 70))}
					z, ok := zone[at]
					if !ok {
						z = rnd.NormFloat64()
						zone[at] = z
					}
					v += w.zones * z
				}
				s := evenstand.Stretch{Pass: int32(pass), Row: int16(r + 1), K: int32(k), T: t, Way: 15, Grade: evenstand.GradeA}
				extra := 0.0
				if changed(step, r+1) {
					extra = w.effect
				}
				if w.share {
					chance := 0.01*math.Exp(0.3*v) + extra
					s.Due = 94
					s.Skips = poisson(rnd, 94*chance)
				} else {
					s.Load.Add(v + extra)
				}
				ss = append(ss, s)
			}
		}
		p.Add(&evenstand.Pass{Index: int32(pass), Start: w.time(pass * w.steps), Field: "north"}, ss)
	}
	p.Locate(points)
	return p
}

func poisson(rnd *rand.Rand, mean float64) float32 {
	l, k, p := math.Exp(-mean), 0, 1.0
	for {
		if p *= rnd.Float64(); p <= l {
			return float32(k)
		}
		k++
	}
}

// tally counts how often intervals held the truth, and on which side not.
type tally struct {
	n, unknown, under, over int
	less, more              int // called, had there been nothing
	sum, squares, half      float64
}

// call counts a verdict on what is not there.
func (c *tally) call(side int) {
	switch {
	case side < 0:
		c.less++
	case side > 0:
		c.more++
	}
}

func (c *tally) add(value, low, high, truth float64) {
	c.n++
	c.sum += value - truth
	c.squares += (value - truth) * (value - truth)
	c.half += (high - low) / 2
	switch {
	case high < truth:
		c.under++
	case low > truth:
		c.over++
	}
}

func (c *tally) held() float64 { return 1 - float64(c.under+c.over)/float64(c.n) }

func (c *tally) tell(t *testing.T, name string) {
	n := float64(c.n)
	t.Logf("%-42s held %.3f (below %.3f, above %.3f) called %.3f %.3f bias %+.4f SD %.4f half %.4f unknown %d", name, c.held(), float64(c.under)/n, float64(c.over)/n, float64(c.less)/n, float64(c.more)/n, c.sum/n, math.Sqrt(c.squares/n), c.half/n, c.unknown)
}

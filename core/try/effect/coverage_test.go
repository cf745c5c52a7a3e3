package effect_test

import (
	"math"
	"math/rand/v2"
	"sync"
	"testing"

	"evenstand"
	"evenstand/core/try"
	"evenstand/core/try/effect"
)

// change makes a change at a true time; it is written down up to a slack away.
func change(rnd *rand.Rand, at, slack evenstand.Micros, rows evenstand.Rows, from, to float64) try.Change {
	said := at + evenstand.Micros((2*rnd.Float64()-1)*float64(slack))
	return try.Change{Lever: "cleaner_pressure", T: said, Early: said - slack, Late: said + slack, Rows: rows, From: from, To: to}
}

func upTo(n int) (rows evenstand.Rows) {
	for r := range n {
		rows = append(rows, r+1)
	}
	return rows
}

// simulate runs made-up days on two cores and tells how often the interval held.
func simulate(t *testing.T, name string, w world, design try.Design, make func(rnd *rand.Rand) (cs []try.Change, changed on)) tally {
	t.Helper()
	n := runs(t)
	found := make2(n)
	var wg sync.WaitGroup
	for part := range 2 {
		wg.Go(func() {
			for i := part; i < n; i += 2 {
				rnd := rand.New(rand.NewPCG(uint64(i), stream(77)))
				cs, changed := make(rnd)
				p := w.panel(rnd, changed)
				found[i] = effect.Of(p, &cs[0], cs)[0]
			}
		})
	}
	wg.Wait()
	var c tally
	for i := range found {
		f := &found[i]
		if f.Why != effect.None || f.Design != design {
			c.unknown++
			continue
		}
		c.add(f.Value, f.Low, f.High, w.effect)
		c.call(f.Beyond(w.effect))
	}
	c.tell(t, name)
	return c
}

func make2(n int) []effect.Found { return make([]effect.Found, n) }

// check holds a coverage to 88 to 92 % and what the runs allow beyond, two standard
// errors, three where there are few.
func check(t *testing.T, c tally) {
	t.Helper()
	slack := 0.02 + 2*math.Sqrt(0.09/float64(c.n))
	if c.n < 1500 {
		slack = max(slack, 3*math.Sqrt(0.09/float64(c.n)))
	}
	if h := c.held(); c.n == 0 || h < 0.90-slack || h > 0.90+slack {
		t.Errorf("held %.3f of %d, want 0.90 within %.3f", h, c.n, slack)
	}
	// What is not there is called less or more in at most 5 % each.
	most := 0.05 + 3*math.Sqrt(0.05*0.95/float64(max(1, c.n)))
	if less, more := float64(c.less)/float64(max(1, c.n)), float64(c.more)/float64(max(1, c.n)); less > most || more > most {
		t.Errorf("nothing was called less in %.3f, more in %.3f, want 0.05 at most", less, more)
	}
	if c.unknown > (c.n+c.unknown)/20 {
		t.Errorf("%d of %d unknown", c.unknown, c.n+c.unknown)
	}
}

func TestHalfRows(t *testing.T) {
	base := world{rows: 24, passes: 40, steps: 35, path: 1, rho: 0.95, drift: 0.3, row: 0.6, rowRho: 0.5, effect: -0.4}
	for _, tt := range []struct {
		name    string
		set     func(*world)
		changed int
		slack   evenstand.Micros
	}{
		{"methods", func(*world) {}, 12, 2 * second},
		{"rows AR 0.9", func(w *world) { w.rowRho = 0.9 }, 12, 2 * second},
		{"8 of 24, note by hand", func(*world) {}, 8, 60 * second},
		{"2 of 8, rows AR 0.9", func(w *world) { w.rows, w.rowRho = 8, 0.9 }, 2, 2 * second},
		{"1 of 8", func(w *world) { w.rows = 8 }, 1, 2 * second},
		{"4 of 12, note by hand", func(w *world) { w.rows = 12 }, 4, 60 * second},
		{"rows drift", func(w *world) { w.wander = 0.5 }, 12, 2 * second},
		{"zones", func(w *world) { w.zones = 1 }, 12, 2 * second},
		{"zones, 8 of 24", func(w *world) { w.zones = 1 }, 8, 60 * second},
		{"skips 1 %", func(w *world) { w.share, w.effect = true, 0.003 }, 12, 2 * second},
		{"skips 1 %, no effect", func(w *world) { w.share, w.effect = true, 0 }, 12, 60 * second},
		{"skips 1 %, 2 of 8", func(w *world) { w.share, w.effect, w.rows = true, 0.01, 8 }, 2, 2 * second},
		{"skips 1 %, 2 of 8, no effect", func(w *world) { w.share, w.effect, w.rows = true, 0, 8 }, 2, 2 * second},
	} {
		t.Run(tt.name, func(t *testing.T) {
			w := base
			tt.set(&w)
			check(t, simulate(t, tt.name, w, try.HalfRows, func(rnd *rand.Rand) ([]try.Change, on) {
				step := 100 + rnd.IntN(w.passes*w.steps-200)
				c := change(rnd, w.time(step)-stepTime/2, tt.slack, upTo(tt.changed), 30, 22)
				return []try.Change{c}, func(s, row int) bool { return s >= step && row <= tt.changed }
			}))
		})
	}
}

func TestAllRows(t *testing.T) {
	base := world{rows: 6, passes: 48, steps: 40, path: 1, rho: 0.95, drift: 0.3, row: 0.3, rowRho: 0.5, effect: -0.4}
	for _, tt := range []struct {
		name  string
		set   func(*world)
		slack evenstand.Micros
	}{
		{"methods", func(*world) {}, 2 * second},
		{"rows AR 0.9", func(w *world) { w.rowRho = 0.9 }, 2 * second},
		{"note by hand", func(*world) {}, 60 * second},
		{"long memory, drift", func(w *world) { w.rho, w.drift = 0.98, 1 }, 2 * second},
		{"short memory", func(w *world) { w.rho = 0.7 }, 2 * second},
		{"zones", func(w *world) { w.zones, w.path, w.rows = 1, 0.3, 24 }, 2 * second},
		{"zones, places", func(w *world) { w.zones, w.places, w.path, w.rows = 1, true, 0.3, 24 }, 2 * second},
		{"zones, places, note by hand", func(w *world) { w.zones, w.places, w.path = 1, true, 0.3 }, 60 * second},
		{"skips 1 %", func(w *world) { w.share, w.effect, w.rows = true, 0.003, 12 }, 2 * second},
		{"skips 1 %, zones, no effect", func(w *world) { w.share, w.effect, w.rows, w.zones, w.places = true, 0, 12, 1, true }, 60 * second},
	} {
		t.Run(tt.name, func(t *testing.T) {
			w := base
			tt.set(&w)
			check(t, simulate(t, tt.name, w, try.AllRows, func(rnd *rand.Rand) ([]try.Change, on) {
				step := 100 + rnd.IntN(w.passes*w.steps-200)
				return []try.Change{change(rnd, w.time(step)-stepTime/2, tt.slack, nil, 30, 22)}, func(s, _ int) bool { return s >= step }
			}))
		})
	}
}

func TestSwitchback(t *testing.T) {
	base := world{rows: 6, passes: 90, steps: 20, path: 1, rho: 0.95, drift: 0.3, row: 0.3, rowRho: 0.5, effect: -0.4}
	for _, tt := range []struct {
		name  string
		set   func(*world)
		slack evenstand.Micros
	}{
		{"methods", func(*world) {}, 2 * second},
		{"note by hand", func(w *world) { w.steps, w.passes = 40, 50 }, 60 * second},
		{"long memory", func(w *world) { w.rho, w.drift = 0.98, 1 }, 2 * second},
		{"zones", func(w *world) { w.zones, w.path, w.rows = 1, 0.3, 24 }, 2 * second},
		{"zones, places", func(w *world) { w.zones, w.places, w.path, w.rows = 1, true, 0.3, 24 }, 2 * second},
		{"skips 1 %", func(w *world) { w.share, w.effect, w.rows = true, 0.003, 12 }, 2 * second},
	} {
		t.Run(tt.name, func(t *testing.T) {
			w := base
			tt.set(&w)
			check(t, simulate(t, tt.name, w, try.Switchback, func(rnd *rand.Rand) ([]try.Change, on) {
				first := 5 + rnd.IntN(w.passes-20)
				// A BBAABB A: eight passes.
				at := []int{first, first + 2, first + 4, first + 6}
				var cs []try.Change
				for i, pass := range at {
					from, to := 30.0, 22.0
					if i%2 == 1 {
						from, to = to, from
					}
					cs = append(cs, change(rnd, w.time(pass*w.steps)-turnTime/2, tt.slack, nil, from, to))
				}
				return cs, func(s, _ int) bool {
					n := 0
					for _, pass := range at {
						if s >= pass*w.steps {
							n++
						}
					}
					return n%2 == 1
				}
			}))
		})
	}
}

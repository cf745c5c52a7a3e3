package find_test

import (
	"math"
	"math/rand/v2"
	"slices"

	"evenstand"
	"evenstand/core/find"
)

// world drops places by the rates of a planter whose healthy rows differ and
// wander: rows by 0.15, each over 20 s by 0.25, all together over 1 min and 1 h
// by 0.25 each (logs), skips 1.2 %, doubles 0.6 %. It feeds an engine with
// places as a decoder without errors would hand them over.
type world struct {
	rows    int
	hours   float64
	rate    float64 // seeds a second
	seed    uint64
	skip    func(row int, t float64, cell int) (factor float64, fixed float64) // factor on the odds; fixed >= 0 replaces the chance
	double  func(row int, t float64) float64
	silent  func(row int, t float64) bool
	enabled func(row int, t float64) bool
	runs    func(row int, t float64) bool // a run of misses may begin
	vacuum  func(side string, t float64) float64
	slip    float64 // chance that the place number slips by one at a stop
	ratio   func(t float64) float64
	working func(row int, t float64) int
	dust    func(row int, t float64) float64 // pulses that are no seeds, a place
	blind   func(row int, t float64) float64 // share of the seeds that the sensor does not see
	stands  func(t float64) bool             // the planter stands, as at a fill
	tell    func(e *find.Engine, t float64)  // what else the engine is told each second
}

const sec = float64(evenstand.Second)

var t0 = evenstand.Micros(1_777_000_000) * evenstand.Second

func at(t float64) evenstand.Micros { return t0 + evenstand.Micros(t*sec) }

func ou(x, dt, tau float64, z float64) float64 {
	a := math.Exp(-dt / tau)
	return a*x + math.Sqrt(1-a*a)*z
}

func (w world) run(cfg find.Config) []evenstand.Finding {
	e := find.New(cfg)
	rnd := rand.New(rand.NewPCG(w.seed, 1))
	lnRow := make([]float64, w.rows)
	lnRowD := make([]float64, w.rows)
	k := make([]int64, w.rows)
	shift := make([]int64, w.rows)
	ouRow := make([]float64, w.rows)
	inRun := make([]bool, w.rows)
	pend := make([]int, w.rows)
	for r := range w.rows {
		lnRow[r], lnRowD[r] = 0.15*rnd.NormFloat64(), 0.15*rnd.NormFloat64()
		k[r] = int64(rnd.IntN(400))
		e.Target(r+1, 1/(0.165*0.762), t0)
	}
	var c1, c2 float64
	way, down := 0.0, false
	var ouVac [2]float64
	for s := 0; s < int(w.hours*3600); s++ {
		t := float64(s)
		cycle := math.Mod(t, 410)
		planting := cycle < 385 && (w.stands == nil || !w.stands(t))
		if planting && !down {
			down = true
			e.Lower(at(t))
			for r := range w.rows {
				pend[r] = -1
				if rnd.Float64() < w.slip {
					shift[r] += int64(1 - 2*rnd.IntN(2))
				}
			}
		}
		if !planting && down {
			down = false
			e.Lift(at(t))
		}
		if w.tell != nil {
			w.tell(e, t)
		}
		c1, c2 = ou(c1, 1, 60, rnd.NormFloat64()), ou(c2, 1, 3600, rnd.NormFloat64())
		for i, name := range []string{"left", "right"} {
			ouVac[i] = ou(ouVac[i], 1, 30, rnd.NormFloat64())
			if planting && w.vacuum != nil {
				e.Vacuum(name, at(t), math.Round((5000+80*ouVac[i]+w.vacuum(name, t))/50)*50)
			}
		}
		if planting {
			way += w.rate * 0.165
			for r := range w.rows {
				ouRow[r] = ou(ouRow[r], 1, 20, rnd.NormFloat64())
				if w.enabled != nil {
					e.Enabled(r+1, w.enabled(r+1, t), at(t))
					if !w.enabled(r+1, t) {
						continue
					}
				}
				if w.working != nil {
					e.Working(r+1, w.working(r+1, t) == 1, at(t))
				}
				if w.silent != nil && w.silent(r+1, t) {
					pend[r] = -1
					continue
				}
				base := math.Exp(lnRow[r] + 0.25*ouRow[r] + 0.25*c1 + 0.25*c2)
				p := 0.012 * base
				pd := 0.006 * math.Exp(lnRowD[r]+0.25*c1)
				if w.double != nil {
					pd *= w.double(r+1, t)
				}
				n := int(w.rate)
				for i := range n {
					tt := t + (float64(i)+0.5)/float64(n)
					k[r]++
					q := p
					if w.skip != nil {
						f, fixed := w.skip(r+1, tt, int(k[r]%40))
						q *= f
						if fixed >= 0 {
							q = fixed
						}
					}
					if w.runs != nil && w.runs(r+1, tt) {
						if inRun[r] {
							inRun[r] = rnd.Float64() < 0.7
						} else {
							inRun[r] = rnd.Float64() < 0.002
						}
						if inRun[r] {
							q = 1
						}
					}
					if w.blind != nil && rnd.Float64() < w.blind(r+1, tt) {
						q = 1
					}
					if rnd.Float64() < q {
						if pend[r] >= 0 {
							pend[r]++
						}
						continue
					}
					first := pend[r] < 0
					m := max(0, pend[r])
					pend[r] = 0
					e.Seed(r+1, at(tt))
					if w.dust != nil {
						w.scattered(rnd, pd, r+1, tt, find.Place{T: at(tt), K: k[r] + shift[r], Missing: m, First: first, Readable: true}, e)
						continue
					}
					e.Place(r+1, &find.Place{T: at(tt), K: k[r] + shift[r], Missing: m, First: first, Readable: true})
					if rnd.Float64() < pd {
						e.Place(r+1, &find.Place{T: at(tt) + 3000, K: k[r] + shift[r], Double: true, Off: float32(rnd.ExpFloat64()*0.15 + 0.1*rnd.NormFloat64()), Readable: true})
					}
				}
				if w.ratio != nil {
					e.Ratio(r+1, w.ratio(t)*(1+0.002*rnd.NormFloat64()))
				}
			}
		}
		e.Tick(at(t+1), find.Bar{Planting: planting, Speed: w.rate * 0.165, Way: way})
	}
	return e.Finish(at(w.hours * 3600))
}

// scattered hands over a seed that lies a little off its place, a second seed
// close behind it where there is one, and a
// pulse of dust anywhere in the place (methods e; simulator.md section 4), or
// late in the one before, which the decoder takes for this one.
func (w world) scattered(rnd *rand.Rand, double float64, row int, t float64, p find.Place, e *find.Engine) {
	pulses := []float64{0.12 * rnd.NormFloat64()}
	if rnd.Float64() < double {
		pulses = append(pulses, pulses[0]+0.15*rnd.ExpFloat64()+0.1*rnd.NormFloat64())
	}
	if rnd.Float64() < w.dust(row, t) {
		pulses = append(pulses, rnd.Float64()-0.62)
	}
	slices.Sort(pulses)
	for i, x := range pulses {
		if i > 0 && x-pulses[i-1] < 0.1 && rnd.Float64() < 0.6 {
			continue // within 4 ms: counted as one
		}
		p.Off, p.Double = float32(x), i > 0
		e.Place(row, &p)
	}
}

func config(rows int) find.Config {
	c := find.Config{Planter: "p", Rows: rows, Spacing: 0.762}
	var l, r evenstand.Rows
	for i := 1; i <= rows; i++ {
		c.Cells = append(c.Cells, 40)
		c.Crop = append(c.Crop, "corn")
		if i <= rows/2 {
			l = append(l, i)
		} else {
			r = append(r, i)
		}
	}
	c.Sides, c.Names = []evenstand.Rows{l, r}, []string{"left", "right"}
	return c
}

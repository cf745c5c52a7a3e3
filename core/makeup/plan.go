package makeup

import (
	"cmp"
	"errors"
	"math"
	"slices"
)

// Machine is the next one over the field. Rates are product of it per m2.
type Machine struct {
	Parts   int     // that it sets by themselves: its rows, its sections, 1 the whole machine
	Part    float64 // width of one, m
	Heading float64 // in which it drives, radians clockwise from north
	Across  float64 // m right of the frame's origin where one of its parts has an edge, seen along Heading
	Planned float64 // what it puts on everywhere
	Least   float64 // the smallest rate that it holds beside off; 0 none
	Most    float64 // the largest; 0 none
	Off     bool    // it can shut a part
	Step    float64 // to which its rate is set; 0 any
	Season  float64 // what the season's product may be in all per m2, counted as its own; 0 no limit
	Beside  float64 // what may go on at once beside plants, for salt or burn; 0 no limit
	// Worth is how much of its product does for one of the product that was missed:
	// by what both have of the nutrient.
	Worth float64
}

// CellLength is how long the cells of a swath are, m: place is kept to half of it.
const CellLength = 1

// Why says what kept a cell from what it is owed.
type Why string

// The reasons.
const (
	MachineMost  Why = "the machine's largest rate"
	MachineLeast Why = "the machine's smallest rate"
	SeasonMost   Why = "the season's limit"
	SaltMost     Why = "what may go on at once beside plants"
	NoLess       Why = "nothing can be taken back"
)

// Zone is cells of one rate one behind another.
type Zone struct {
	Part   int
	K0, K1 int // cells, K1 after the last
	Rate   float64
	Owed   float64 // mean, per m2
	Unmet  float64
	Why    Why
	Area   float64 // m2
	Ring   [5][2]float64
}

// Plan is what the next machine is to do.
type Plan struct {
	M     Machine
	Zones []Zone // where its rate is another than planned
	// Sums of product of the next machine.
	Owed   float64 // where it lacks
	Excess float64 // where it has too much
	Made   float64 // of what is owed, made up
	Spared float64 // of what is too much, spared
	Unmet  map[Why]float64
	Area   float64 // m2 with another rate than planned
}

// ErrMachine is the error of a machine that cannot be.
var ErrMachine = errors.New("the next machine wants a width, parts, a planned rate of 0 or more, and rates that do not contradict one another")

// Ground collects what strips lack in the cells of a machine.
type Ground struct {
	m     Machine
	cells map[[2]int]float64 // product of the next machine, by part and k
}

// NewGround begins one.
func NewGround(m Machine) (*Ground, error) {
	if m.Parts < 1 || !(m.Part > 0) || !(m.Planned >= 0) || m.Most > 0 && (m.Most < m.Planned || m.Most < m.Least) || !(m.Worth > 0) || math.IsInf(m.Planned, 0) {
		return nil, ErrMachine
	}
	return &Ground{m, map[[2]int]float64{}}, nil
}

// Steps of laying along a piece, and over how much of a strip its pieces
// share what they lack, so that the noise of single seconds makes no zones.
const (
	layLength = 0.02 // m
	layEven   = 40.0 // m
)

// Lay lays what a strip of a row lacks into the cells; width is the row's, m.
func (g *Ground) Lay(ps []Piece, s Strip, width float64) {
	n := max(1, int(math.Round(s.Length/layEven)))
	at, from := 0.0, s.From
	for k := range n {
		to := from
		for to < s.To && (k == n-1 || at < s.Length*float64(k+1)/float64(n)) {
			at += ps[to].Length
			to++
		}
		g.even(ps[from:to], width)
		from = to
	}
}

// even lays pieces that share what they lack.
func (g *Ground) even(ps []Piece, width float64) {
	sum, long := 0.0, 0.0
	for i := range ps {
		sum += (ps[i].Want - ps[i].Got) * ps[i].Length
		long += ps[i].Length
	}
	for i := range ps {
		p := &ps[i]
		lacks := sum / long * g.m.Worth * p.Length * width
		n := max(1, int(math.Ceil(p.Length/layLength)))
		sin, cos := math.Sincos(p.Heading)
		at, here := [2]int{}, 0.0
		for a := range n { // a row is fed by the part that its middle lies in
			along := p.Length * ((float64(a)+0.5)/float64(n) - 0.5)
			if c := g.cell(p.X+along*sin, p.Y+along*cos); c != at {
				if here != 0 {
					g.cells[at] += here
				}
				at, here = c, 0
			}
			here += lacks / float64(n)
		}
		g.cells[at] += here
	}
}

// cell gives part and k of a place.
func (g *Ground) cell(x, y float64) [2]int {
	sin, cos := math.Sincos(g.m.Heading)
	along, right := x*sin+y*cos, x*cos-y*sin
	return [2]int{int(math.Floor((right - g.m.Across) / g.m.Part)), int(math.Floor(along / CellLength))}
}

// Plan gives every cell that is owed something its rate.
func (g *Ground) Plan() Plan {
	m := g.m
	p := Plan{M: m, Zones: []Zone{}, Unmet: map[Why]float64{}}
	area := m.Part * CellLength
	keys := make([][2]int, 0, len(g.cells))
	for k := range g.cells {
		keys = append(keys, k)
	}
	slices.SortFunc(keys, func(a, b [2]int) int { return cmp.Or(cmp.Compare(a[0], b[0]), cmp.Compare(a[1], b[1])) })
	for from := 0; from < len(keys); {
		// A run of cells one behind another on one part that are owed about the same
		// gets one rate: edges keep their own.
		to := from + 1
		sum := g.cells[keys[from]]
		for to < len(keys) && keys[to][0] == keys[from][0] && keys[to][1] == keys[to-1][1]+1 && g.alike(sum/float64(to-from), g.cells[keys[to]], area) {
			sum += g.cells[keys[to]]
			to++
		}
		n := float64(to - from)
		owed := sum / n / area
		rate, why := m.rate(owed)
		z := Zone{Part: keys[from][0], K0: keys[from][1], K1: keys[to-1][1] + 1, Rate: rate, Owed: owed, Unmet: owed - (rate - m.Planned), Why: why, Area: n * area}
		z.Ring = m.ring(z)
		p.add(z)
		from = to
	}
	return p
}

// alike tells whether a cell may share a rate with a run: within the machine's
// step, 5 % of what is owed, or 0.25 % of what is planned (judgement).
func (g *Ground) alike(mean, x, area float64) bool {
	tol := max(g.m.Step*area/2, 0.05*math.Abs(mean), 0.0025*g.m.Planned*area)
	return math.Abs(mean-x) <= tol
}

// rate gives what a cell gets that is owed so much.
func (m *Machine) rate(owed float64) (float64, Why) {
	want, why := m.Planned+owed, Why("")
	cut := func(most float64, w Why) {
		if most > 0 && want > most {
			want, why = most, w
		}
	}
	cut(m.Season, SeasonMost)
	cut(m.Beside, SaltMost)
	cut(m.Most, MachineMost)
	if want < 0 {
		want, why = 0, NoLess
	}
	if m.Step > 0 {
		want = m.Step * math.Round(want/m.Step)
		for _, most := range []float64{m.Season, m.Beside, m.Most} { // not over a limit by rounding
			if most > 0 && want > most+1e-12 {
				want = m.Step * math.Floor(most/m.Step+1e-9)
			}
		}
	}
	if want < m.Least {
		switch {
		case m.Off && want < m.Least/2:
			if want > 0 && why == "" {
				why = MachineLeast
			}
			want = 0
		default:
			if why == "" || why == NoLess {
				why = MachineLeast
			}
			want = m.Least
			for _, most := range []float64{m.Season, m.Beside, m.Most} {
				if most > 0 && want > most { // it cannot hold so little: the part stays shut
					want = 0
				}
			}
		}
	}
	return want, why
}

func (p *Plan) add(z Zone) {
	if z.Owed >= 0 {
		p.Owed += z.Owed * z.Area
		p.Made += min(z.Owed, max(0, z.Rate-p.M.Planned)) * z.Area
	} else {
		p.Excess -= z.Owed * z.Area
		p.Spared += min(-z.Owed, max(0, p.M.Planned-z.Rate)) * z.Area
	}
	if z.Why != "" {
		p.Unmet[z.Why] += z.Unmet * z.Area
	}
	if math.Abs(z.Rate-p.M.Planned) > 1e-12 {
		p.Area += z.Area
	}
	p.Zones = append(p.Zones, z)
}

// ring gives a zone's corners, closed, counterclockwise where the heading is north.
func (m *Machine) ring(z Zone) (out [5][2]float64) {
	sin, cos := math.Sincos(m.Heading)
	at := func(right, along float64) [2]float64 {
		return [2]float64{along*sin + right*cos, along*cos - right*sin}
	}
	l, r := m.Across+float64(z.Part)*m.Part, m.Across+float64(z.Part+1)*m.Part
	a, b := float64(z.K0)*CellLength, float64(z.K1)*CellLength
	return [5][2]float64{at(l, a), at(r, a), at(r, b), at(l, b), at(l, a)}
}

// RateAt gives the rate at a place.
func (p *Plan) RateAt(x, y float64) float64 {
	g := Ground{m: p.M}
	c := g.cell(x, y)
	i, ok := slices.BinarySearchFunc(p.Zones, c, func(z Zone, c [2]int) int {
		switch {
		case z.Part != c[0]:
			return cmp.Compare(z.Part, c[0])
		case c[1] < z.K0:
			return 1
		case c[1] >= z.K1:
			return -1
		}
		return 0
	})
	if !ok {
		return p.M.Planned
	}
	return p.Zones[i].Rate
}

package trial

import (
	"math"

	"evenstand/core/stat"
)

// How is what an effect was told by, the better first.
type How string

// The ways.
const (
	Swap    How = "swap"     // rows changed from one part to the other both ways
	Fitted  How = "fitted"   // rows were fitted with it: before against after, beside the others
	Beside  How = "beside"   // rows with it beside rows without
	Passes  How = "passes"   // neighbouring passes
	Nothing How = "not told" // the data do not tell
)

// level of all intervals.
const level = 0.9

// Block is a piece of ground that all rows passed at the same time: a pass, or
// the part of it in one zone. Y is what each row did there, NaN where it did not
// tell, W how much there was to judge by.
type Block struct {
	Period int
	Zone   int
	Y, W   []float64
}

// Arms says which rows carried the part in which period: 1 with it, 0 without,
// NaN neither (another part yet). It is by row, from 0, and period.
type Arms [][]float64

// Estimate is a difference with what is known of it.
type Estimate struct {
	Value float64 // with the part less without; NaN: not told
	SE    float64
	DF    float64
	Low   float64 // 90 % interval
	High  float64
	P     float64 // two-sided
	// Smallest is the smallest difference that such a trial shows with 80 % power.
	Smallest float64
}

// Known tells whether there is an estimate.
func (e Estimate) Known() bool { return e.SE > 0 && e.DF > 0 && !math.IsNaN(e.Value) }

func estimate(v, se, df float64) Estimate {
	nan := math.NaN()
	e := Estimate{Value: v, SE: se, DF: df, Low: nan, High: nan, P: nan, Smallest: nan}
	if !e.Known() {
		return e
	}
	h := stat.StudentQuantile((1+level)/2, df) * se
	e.Low, e.High = v-h, v+h
	e.P = stat.StudentTail(v/se, df)
	e.Smallest = Smallest(se, df)
	return e
}

var noEstimate = estimate(math.NaN(), math.NaN(), math.NaN())

// Side is how often a difference that is not there may be called better, and as
// often worse: short of the 5 % that are allowed, so that a count of trials stays
// within them.
const Side = 0.04

// Called tells whether an estimate is far enough from nothing for a verdict.
func (e Estimate) Called() bool { return e.P < 2*Side }

// Smallest is the difference that is called with 80 % power: about (t + 0.84) SE
// (methods, j, with the t of Side), and the spread that few degrees of freedom
// give the SE (Johnson and Welch's approximation of the noncentral t, from
// memory).
func Smallest(se, df float64) float64 {
	t := stat.StudentQuantile(1-Side, df)
	z := stat.NormalQuantile(0.8)
	if math.IsInf(df, 1) {
		return (t + z) * se
	}
	return (t*(1-1/(4*df)) + z*math.Sqrt(1+t*t/(2*df))) * se
}

// means are what rows did by period beside the others.
type means struct {
	u   [][]float64 // row, period; NaN not told
	n   [][]float64 // passes that they rest on, the smaller ones counting less
	mid []float64   // of a period, over all rows
	s2  float64     // variance of a row's pass beyond row and pass; NaN unknown
	df  float64     // of s2
}

// rowMeans parts what rows did into passes and rows, period by period: least
// squares, weighted by what there was to judge by. Without gaps it is the mean
// over passes of a row less the mean of the rows.
func rowMeans(blocks []Block, rows, periods int, zone int) means {
	m := means{s2: math.NaN(), u: table(rows, periods), n: table(rows, periods), mid: make([]float64, periods)}
	ss, df := 0.0, 0.0
	for k := range periods {
		var at []*Block
		for i := range blocks {
			if b := &blocks[i]; b.Period == k && (zone == all || b.Zone == zone) && told(b) > 1 {
				at = append(at, b)
			}
		}
		s, d := m.period(k, at, rows)
		ss, df = ss+s, df+d
	}
	if df > 0 {
		m.s2, m.df = ss/df, df
	}
	return m
}

// all stands for all zones.
const all = -1

// period fills in a period and gives the sum of squares beyond rows and passes,
// with its degrees of freedom.
func (m *means) period(k int, at []*Block, rows int) (ss, df float64) {
	m.mid[k] = math.NaN()
	if len(at) == 0 {
		return 0, 0
	}
	weight, squares := make([]float64, rows), make([]float64, rows)
	sum, total, cells := 0.0, 0.0, 0.0
	for _, b := range at {
		for r, w := range b.W {
			if ok(b, r) {
				weight[r] += w
				squares[r] += w * w
				total += w
				sum += w * b.Y[r]
				cells++
			}
		}
	}
	m.mid[k] = sum / total
	row, pass, s := make([]float64, rows), make([]float64, len(at)), make([]float64, rows)
	for range 200 {
		clear(s)
		for i, b := range at {
			x, w := 0.0, 0.0
			for r := range b.Y {
				if ok(b, r) {
					x += b.W[r] * (b.Y[r] - row[r])
					w += b.W[r]
				}
			}
			pass[i] = x / w
			for r := range b.Y {
				if ok(b, r) {
					s[r] += b.W[r] * (b.Y[r] - pass[i])
				}
			}
		}
		mid, n := 0.0, 0.0
		for r := range row {
			if weight[r] > 0 {
				mid += s[r] / weight[r]
				n++
			}
		}
		moved := 0.0
		for r := range row {
			if weight[r] > 0 {
				next := s[r]/weight[r] - mid/n
				moved = math.Max(moved, math.Abs(next-row[r]))
				row[r] = next
			}
		}
		if moved <= 1e-13*(1+math.Abs(m.mid[k])) {
			break
		}
	}
	told := 0.0
	for r := range row {
		if weight[r] > 0 {
			m.u[r][k], m.n[r][k] = row[r], weight[r]*weight[r]/squares[r]
			told++
		}
	}
	for i, b := range at {
		for r := range b.Y {
			if ok(b, r) {
				e := b.Y[r] - pass[i] - row[r]
				ss += b.W[r] * cells / total * e * e
			}
		}
	}
	return ss, cells - told - float64(len(at)) + 1
}

func table(rows, periods int) [][]float64 {
	t := make([][]float64, rows)
	for r := range t {
		t[r] = make([]float64, periods)
		for k := range t[r] {
			t[r][k] = math.NaN()
		}
	}
	return t
}

func ok(b *Block, r int) bool { return b.W[r] > 0 && !math.IsNaN(b.Y[r]) }

func told(b *Block) (n int) {
	for r := range b.Y {
		if ok(b, r) {
			n++
		}
	}
	return n
}

package price

import (
	"cmp"
	"fmt"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"

	"evenstand"
	"evenstand/core/relation"
)

// Sheet is what a season's findings lost, parted in several ways. Every way
// parts the same money: the means of its lines add up to the mean of the total,
// and so do AtLow and AtHigh to the total's ends.
//
// Other than a finding's own money, which holds if its first cause is right, a
// sheet counts the odds: in each draw one cause of a finding is the true one, by
// its chance, and a cause under which the seed lies in the ground all the same
// has lost nothing.
type Sheet struct {
	Unit  string // of all sums: a currency, or bu without a price
	Total Cost
	Ways  []Way
	// Unpriced are the findings that nothing could be said of, with what is
	// missing; those that lose nothing by their nature are not among them.
	Unpriced []Unpriced
	// Doubted is how much of Total's mean was taken off because the named cause
	// may not be the true one.
	Doubted evenstand.Number
	Assumed []string // what nobody has said and was taken, sentences
}

// Cost is a sum over the draws of a report.
type Cost struct {
	Low, Mean, High evenstand.Number // 10th percentile, mean, 90th percentile of this line by itself
	// AtLow and AtHigh are what this line is worth where the total is at its
	// low and at its high end; lines of one way add up to the total's.
	AtLow, AtHigh evenstand.Number
}

// Way is one way to part the total.
type Way struct {
	By    By
	Lines []Line // the dearest first
}

// By names a way to part a total.
type By string

// The ways.
const (
	ByCause By = "cause"
	ByPart  By = "part"
	ByRow   By = "row"
	ByField By = "field"
	ByDay   By = "day"
	ByHour  By = "hour" // of the day, local
)

// Line is a part of the total.
type Line struct {
	Key string // the cause, part, field, day or hour (two digits), or the planter of a row; empty: a cause or an hour that is not told
	Row int    // where parted by row; 0 the whole planter
	Cost
	Findings  []Piece  // the dearest first
	Rows      []Share  // the dearest first; a finding of the whole planter has none
	Relations []string // behind it
}

// Piece is what a finding adds to a line.
type Piece struct {
	Finding string // id
	Mean    evenstand.Number
}

// Share is what a row adds to a line.
type Share struct {
	Planter string
	Row     int
	Mean    evenstand.Number
}

// Unpriced is a finding without money.
type Unpriced struct {
	Finding string
	Needs   []evenstand.Need
}

// Cause gives what is known of the cause of a finding beside its odds: it is
// that for certain; false where nobody has said.
type Cause func(f *evenstand.Finding) (string, bool)

// Total makes the cost sheet of findings. What several of them claim of the same
// loss counts once, as in PriceAll; a loss of several rows is spread evenly over
// them, for a finding does not say more. ways are those wanted; of and known may
// not be nil.
func Total(fs []*evenstand.Finding, of func(*evenstand.Finding) Context, known Cause, ways ...By) Sheet {
	s := Sheet{Unit: newBill(&evenstand.Finding{}, of(&evenstand.Finding{}), drawRanks(0)).unit}
	bills := make([]*bill, 0, len(fs))
	var r *ranks
	for _, f := range fs {
		c := of(f)
		if r == nil {
			r = drawRanks(c.Seed)
		}
		b := newBill(f, c, r)
		bills = append(bills, b)
	}
	share(bills)
	l := newLedger(ways)
	doubted := 0.0
	for _, b := range bills {
		past := sum(b.past)
		if past == nil {
			if _, none := unpriced[b.f.Kind]; !none && len(b.needs) > 0 {
				s.Unpriced = append(s.Unpriced, Unpriced{b.f.ID, b.needs})
			}
			continue
		}
		for _, a := range b.assumed {
			if !slices.Contains(s.Assumed, a) {
				s.Assumed = append(s.Assumed, a)
			}
		}
		causes := b.causes(known)
		before := mean(past)
		for i := range past {
			if r, ok := relation.RemedyFor(b.f.Kind, causes[i]); ok && r.SeedsFall {
				past[i] = 0
			}
		}
		doubted += before - mean(past)
		if mean(past) > 0 {
			l.add(b.f, past, causes, b.ctx.Hours)
		}
	}
	s.Doubted = evenstand.Number(doubted)
	s.Total, s.Ways = l.close()
	return s
}

// causes gives the true cause by draw: empty where it is none that is named.
func (b *bill) causes(known Cause) []string {
	out := make([]string, N)
	if c, ok := known(b.f); ok {
		for i := range out {
			out[i] = c
		}
		return out
	}
	rng := own(b.ctx.Seed, b.f, "cause")
	for i := range out {
		u := rng.Float64()
		for _, c := range b.f.Causes {
			if u -= c.Probability; u < 0 {
				out[i] = c.Cause
				break
			}
		}
	}
	return out
}

// own gives a generator of a finding's own, so that neither the order of
// findings nor other findings change what it draws.
func own(seed uint64, f *evenstand.Finding, what string) *rand.Rand {
	h := fnv.New64a()
	lead := 0
	if len(f.Rows) > 0 {
		lead = f.Rows[0]
	}
	for _, s := range []string{f.Planter, string(f.Day), f.Family, strconv.Itoa(lead), strconv.FormatInt(int64(f.Alarm), 10), what} {
		h.Write([]byte(s))
		h.Write([]byte{0})
	}
	return rand.New(rand.NewPCG(seed, h.Sum64()))
}

// ledger sums draws by the lines of each way.
type ledger struct {
	ways  []By
	total []float64
	lines []map[place]*entry // by way
}

// place names a line, and a row within one.
type place struct {
	key string
	row int
}

type entry struct {
	draws     []float64
	pieces    []Piece
	rows      map[place]float64 // by planter and row
	relations []string
}

func newLedger(ways []By) *ledger {
	l := &ledger{ways: ways, total: make([]float64, N), lines: make([]map[place]*entry, len(ways))}
	for i := range l.lines {
		l.lines[i] = map[place]*entry{}
	}
	return l
}

// add enters what a finding lost, by draw; spread over the hours as their shares,
// which add up to 1.
func (l *ledger) add(f *evenstand.Finding, lost []float64, causes []string, hours []float64) {
	for i, x := range lost {
		l.total[i] += x
	}
	for w, by := range l.ways {
		switch by {
		case ByRow:
			if len(f.Rows) == 0 {
				l.enter(w, place{f.Planter, 0}, f, lost, nil)
			}
			for _, row := range f.Rows {
				xs := slices.Clone(lost)
				for i := range xs {
					xs[i] /= float64(len(f.Rows))
				}
				l.enter(w, place{f.Planter, row}, f, xs, []int{row})
			}
		case ByCause, ByPart:
			parted := map[string][]float64{}
			for i, x := range lost {
				key := causes[i]
				if p, ok := relation.PartOf(key); ok && by == ByPart {
					key = p.Part
				} else if by == ByPart {
					key = ""
				}
				if parted[key] == nil {
					parted[key] = make([]float64, N)
				}
				parted[key][i] = x
			}
			for key, xs := range parted {
				if mean(xs) > 0 { // a cause under which nothing is lost has no line
					l.enter(w, place{key: key}, f, xs, f.Rows)
				}
			}
		case ByField:
			l.enter(w, place{key: f.Field}, f, lost, f.Rows)
		case ByDay:
			l.enter(w, place{key: string(f.Day)}, f, lost, f.Rows)
		case ByHour:
			if hours == nil {
				l.enter(w, place{}, f, lost, f.Rows)
			}
			for h, share := range hours {
				if share <= 0 {
					continue
				}
				xs := slices.Clone(lost)
				for i := range xs {
					xs[i] *= share
				}
				l.enter(w, place{key: fmt.Sprintf("%02d", h)}, f, xs, f.Rows)
			}
		}
	}
}

func (l *ledger) enter(way int, at place, f *evenstand.Finding, xs []float64, rows []int) {
	e := l.lines[way][at]
	if e == nil {
		e = &entry{draws: make([]float64, N), rows: map[place]float64{}}
		l.lines[way][at] = e
	}
	for i, x := range xs {
		e.draws[i] += x
	}
	m := mean(xs)
	e.pieces = append(e.pieces, Piece{f.ID, evenstand.Number(m)})
	for _, row := range rows {
		e.rows[place{f.Planter, row}] += m / float64(len(rows))
	}
	for _, id := range Relations(f) {
		if !slices.Contains(e.relations, id) {
			e.relations = append(e.relations, id)
		}
	}
}

// end is how far about a percentile of the total draws are taken together to
// tell what a line adds to it: five of a hundred either way, 100 draws (a
// judgement between noise and sharpness).
const end = 0.05

// close gives total and lines.
func (l *ledger) close() (Cost, []Way) {
	order := make([]int, N)
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(l.total[a], l.total[b]) })
	near := func(p float64) []int { return order[int((p-end)*N):int((p+end)*N)] }
	low, high := near(0.1), near(0.9)
	over := func(xs []float64, at []int) float64 {
		s := 0.0
		for _, i := range at {
			s += xs[i]
		}
		return s / float64(len(at))
	}
	q := quantiles(l.total)
	// The ends of the total are its percentiles; what lines add to them is told
	// by the draws about there and scaled to them.
	scale := func(to evenstand.Number, at []int) float64 {
		if x := over(l.total, at); x > 0 {
			return float64(to) / x
		}
		return 0
	}
	toLow, toHigh := scale(q.Low, low), scale(q.High, high)
	cost := func(xs []float64) Cost {
		q := quantiles(xs)
		return Cost{q.Low, evenstand.Number(mean(xs)), q.High, evenstand.Number(toLow * over(xs, low)), evenstand.Number(toHigh * over(xs, high))}
	}
	total := cost(l.total)
	ways := make([]Way, len(l.ways))
	for w, by := range l.ways {
		way := Way{By: by, Lines: make([]Line, 0, len(l.lines[w]))}
		for at, e := range l.lines[w] {
			line := Line{Key: at.key, Row: at.row, Cost: cost(e.draws), Findings: e.pieces, Relations: e.relations}
			slices.SortStableFunc(line.Findings, func(a, b Piece) int { return cmp.Or(cmp.Compare(b.Mean, a.Mean), cmp.Compare(a.Finding, b.Finding)) })
			slices.Sort(line.Relations)
			for row, m := range e.rows {
				line.Rows = append(line.Rows, Share{row.key, row.row, evenstand.Number(m)})
			}
			slices.SortFunc(line.Rows, func(a, b Share) int {
				return cmp.Or(dearer(a.Mean, b.Mean), cmp.Compare(a.Planter, b.Planter), cmp.Compare(a.Row, b.Row))
			})
			way.Lines = append(way.Lines, line)
		}
		slices.SortFunc(way.Lines, func(a, b Line) int {
			return cmp.Or(dearer(a.Mean, b.Mean), cmp.Compare(a.Key, b.Key), cmp.Compare(a.Row, b.Row))
		})
		ways[w] = way
	}
	return total, ways
}

// dearer orders sums, the larger first; what differs in the last digits only is
// the same.
func dearer(a, b evenstand.Number) int {
	return cmp.Compare(math.Round(float64(b)*1e6), math.Round(float64(a)*1e6))
}

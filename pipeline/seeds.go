package pipeline

import (
	"cmp"
	"math"
	"slices"

	"evenstand"
)

// seedsSeen is what the first look tells of the seeds of one stream.
type seedsSeen struct {
	bins []uint16 // seeds of all rows, by quarter second from from
	from evenstand.Micros
	rows []rowSeen // by row
}

// rowSeen is what one stream holds of one row on this day.
type rowSeen struct {
	n           int
	first, last evenstand.Micros
	used        bool // these are the row's seeds
}

const binWidth = evenstand.Second / 4

// add counts a seed to its row and its quarter second. Those far out of order
// are left out of the quarter seconds, which only serve the clocks.
func (v *seedsSeen) add(x evenstand.Seed, until evenstand.Micros) {
	if x.Row < 1 {
		return
	}
	for len(v.rows) <= int(x.Row) {
		v.rows = append(v.rows, rowSeen{})
	}
	if r := &v.rows[x.Row]; x.T < until {
		if r.n == 0 {
			r.first, r.last = x.T, x.T
		}
		r.n++
		r.first, r.last = min(r.first, x.T), max(r.last, x.T)
	}
	if len(v.bins) == 0 {
		v.from = x.T - 60*evenstand.Second
	}
	i := int((x.T - v.from) / binWidth)
	if i < 0 || i > 4*36*3600 {
		return
	}
	for len(v.bins) <= i {
		v.bins = append(v.bins, 0)
	}
	if v.bins[i] < math.MaxUint16 {
		v.bins[i]++
	}
}

// usual is the median of the seeds in the quarter seconds that hold any.
func (v *seedsSeen) usual() int {
	var n []uint16
	for _, x := range v.bins {
		if x > 0 {
			n = append(n, x)
		}
	}
	if len(n) == 0 {
		return 0
	}
	slices.Sort(n)
	return int(n[len(n)/2])
}

// used tells whether the stream's seeds are those of any row.
func (v *seedsSeen) used() bool {
	return slices.ContainsFunc(v.rows, func(r rowSeen) bool { return r.used })
}

// uses tells whether the stream's seeds are those of the row.
func (v *seedsSeen) uses(row int) bool { return row < len(v.rows) && v.rows[row].used }

// uses tells whether a row's seeds are taken from the stream. The live pass
// goes by the first box that gave them until it has been silent for long.
func (s *settler) uses(r *rowState, stream int, t evenstand.Micros) bool {
	if s.live != nil {
		return r.stream < 0 || r.stream == stream || t-r.lastT > seedsBeat
	}
	return s.survey_.seeds[stream].uses(r.n)
}

// pickSeeds takes the seeds of each row from one stream: the one with the most
// on this day. Two boxes on one sensor would count every seed twice. A stream
// that began after the other had ended does not say the same twice and is used
// as well.
func (s *settler) pickSeeds() {
	all := s.survey_.seeds
	type pair struct{ kept, left int }
	rows := map[pair]evenstand.Rows{}
	var pairs []pair
	order := make([]int, len(all))
	for row := 1; row <= s.card.Rows; row++ {
		of := func(i int) *rowSeen {
			if row < len(all[i].rows) {
				return &all[i].rows[row]
			}
			return &rowSeen{}
		}
		for i := range order {
			order[i] = i
		}
		slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(of(b).n, of(a).n) })
		for k, i := range order {
			r := of(i)
			if r.n == 0 {
				break
			}
			r.used = true
			for _, j := range order[:k] {
				if o := of(j); o.used && r.first <= o.last && o.first <= r.last {
					r.used = false
					p := pair{j, i}
					if rows[p] == nil {
						pairs = append(pairs, p)
					}
					rows[p] = append(rows[p], row)
					break
				}
			}
		}
	}
	for _, p := range pairs {
		s.note("Seeds of rows %s in %s are not used: %s holds more of the same rows at the same time.", rows[p], s.day.Streams[p.left].Source.Name, s.day.Streams[p.kept].Source.Name)
	}
	// Seeds of which all came after midnight, in a pass that began before.
	for row := 1; row <= s.card.Rows; row++ {
		any := false
		for i := range all {
			any = any || row < len(all[i].rows) && all[i].rows[row].n > 0
		}
		for i := range all {
			if !any && row < len(all[i].rows) {
				all[i].rows[row].used = true
				break
			}
		}
	}
}

// declared gives the error in s that people's words, or the logs, put on the
// clock of a stream against the receiver's, NaN when it is not known.
func (s *settler) declared(i int) float64 {
	if s.survey_.track < 0 {
		return math.NaN()
	}
	a, b := s.day.Streams[i].Source, s.day.Streams[s.survey_.track].Source
	switch {
	case a.Clock != "" && a.Clock == b.Clock:
		return 0
	case !math.IsNaN(a.ClockOffset) && !math.IsNaN(b.ClockOffset):
		return 0.05
	case s.timings[i].said.From == ClockEstimated:
		return float64(s.timings[i].said.Error)
	}
	return math.NaN()
}

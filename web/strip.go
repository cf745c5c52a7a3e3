package web

import (
	"context"
	"math"
	"slices"

	"evenstand"
)

// Strip is the ground of a row that gave no seed, beside its neighbours: where
// along the pass each of them planted.
type Strip struct {
	Pass  string     `json:"pass" doc:"Key; empty: there is none to show"`
	Label string     `json:"label" doc:"The pass in words"`
	From  float64    `json:"from_m" doc:"Part of the pass that is shown"`
	To    float64    `json:"to_m"`
	Axis  Axis       `json:"axis" doc:"Of places"`
	Exact bool       `json:"exact" doc:"From seeds; else from stretches of 15 m"`
	Rows  []StripRow `json:"rows"`
	More  int        `json:"more" doc:"Rows of the finding for which there was no room"`
}

// StripRow is where one row planted.
type StripRow struct {
	Row  int       `json:"row"`
	Mark bool      `json:"mark" doc:"The finding is about it"`
	Runs []float64 `json:"runs_m" doc:"Ground with seed: from, to, from, to, …"`
	Hole string    `json:"hole" doc:"Its longest part without seed, in words; empty: none over 3 m"`
}

// stripKinds are the findings about ground without seed.
var stripKinds = []string{evenstand.KindRowStopped, evenstand.KindRowLeftOff, evenstand.KindStarvedRow, evenstand.KindUpset}

const (
	stripBeside = 2    // rows shown on either side of those of the finding
	stripRows   = 9    // and in all
	stripAround = 0.25 // of the hole shown on either side
	stripLeast  = 12.0 // m of it at least
	stripMost   = 80.0
)

// strip gives the ground of a finding on the pass where it shows best.
func (s *Server) strip(ctx context.Context, in *findingIn) (Strip, error) {
	out := Strip{Axis: axis(s.voice(), "m"), Rows: []StripRow{}}
	now := s.revision.Load()
	f, err := s.finding(ctx, in.ID)
	if err != nil {
		return out, err
	}
	l, err := s.links(ctx, &f)
	if err != nil || l.Pass == "" || len(f.Rows) == 0 || !slices.Contains(stripKinds, f.Kind) {
		return out, err
	}
	p, day, err := s.pass(ctx, l.Pass)
	if err != nil {
		return out, err
	}
	w, err := s.way(ctx, &p, day)
	if err != nil {
		return out, err
	}
	b, ok := w.bracket(&f, &p)
	if !ok {
		return out, nil
	}
	card, err := s.book.Card(p.Planter, day)
	if err != nil {
		return out, err
	}
	around := min(stripMost, max(stripLeast, stripAround*(b.To-b.From)))
	out.Pass, out.Label = p.Key, s.passInfo(&p, day).Label
	out.From, out.To = max(0, b.From-around), min(b.To+around, w.pts[len(w.pts)-1].S)
	var rows []int
	rows, out.More = besides(f.Rows, card.Rows)
	seeds, err := s.passSeeds(ctx, &p, day, now)
	if err != nil {
		return out, err
	}
	runs := map[int][]float64{}
	for _, list := range seeds {
		if len(list) == 0 || !slices.Contains(rows, int(list[0].Row)) {
			continue
		}
		out.Exact = true
		runs[int(list[0].Row)] = planted(list, out.From, out.To)
	}
	if !out.Exact {
		ss, err := s.book.PassStretches(ctx, p.Planter, day, p.Index)
		if err != nil {
			return out, err
		}
		for i := range ss {
			if st := &ss[i]; slices.Contains(rows, int(st.Row)) {
				runs[int(st.Row)] = alongStretch(runs[int(st.Row)], st, out.From, out.To)
			}
		}
	}
	v := s.voice()
	for _, row := range rows {
		r := StripRow{Row: row, Mark: f.Rows.Has(row), Runs: some(runs[row])}
		if hole := longestHole(r.Runs, out.From, out.To); r.Mark && hole > bare/1000 {
			r.Hole = v.Length(hole) + " without seed"
		}
		out.Rows = append(out.Rows, r)
	}
	return out, nil
}

// besides gives the rows of a finding, the first of many, and neighbours of
// theirs from either side, as many as there is room for; more is how many rows of
// the finding found none.
func besides(of evenstand.Rows, all int) (rows []int, more int) {
	rows = append(rows, of[:min(len(of), stripRows)]...)
	for d := 1; d <= stripBeside; d++ {
		for _, side := range []int{-1, 1} {
			for _, r := range of {
				if n := r + side*d; len(rows) < stripRows && n >= 1 && n <= all && !slices.Contains(rows, n) && !of.Has(n) {
					rows = append(rows, n)
				}
			}
		}
	}
	slices.Sort(rows)
	return rows, len(of) - min(len(of), stripRows)
}

// planted gives the runs of ground with seed between two places, in m.
func planted(seeds []evenstand.PlacedSeed, from, to float64) []float64 {
	var out []float64
	for i := range seeds {
		at := float64(seeds[i].S) / 1000
		if at < from || at > to {
			continue
		}
		if n := len(out); n > 0 && at-out[n-1] <= bare/1000 {
			out[n-1] = at
			continue
		}
		out = append(out, at, at)
	}
	return out
}

// alongStretch adds a stretch to the runs of a row as far as it holds the seeds
// that were due.
func alongStretch(runs []float64, st *evenstand.Stretch, from, to float64) []float64 {
	a := float64(st.K) * evenstand.StretchLength
	b := a + float64(st.Length)
	share := math.NaN()
	if due := float64(st.Due); due > 0 {
		share = min(1, float64(st.Seeds)/due)
	}
	if !(share > 0.05) || b < from || a > to { // a pulse or two is dust
		return runs
	}
	if n := len(runs); n > 0 && a-runs[n-1] < 0.01 {
		runs[n-1] = a + share*(b-a)
		return runs
	}
	if share < 0.95 { // it began on the way
		a = b - share*(b-a)
	}
	return append(runs, max(a, from), min(b, to))
}

func longestHole(runs []float64, from, to float64) float64 {
	long, at := 0.0, from
	for i := 0; i < len(runs); i += 2 {
		long = max(long, runs[i]-at)
		at = runs[i+1]
	}
	return max(long, to-at)
}

package book

import (
	"cmp"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"

	"evenstand"
	"evenstand/core/advise"
	"evenstand/core/price"
	"evenstand/core/record"
	"evenstand/core/stand"
)

// How many findings a walk tries, and at how many places each: on its ground, and
// beside it at the same place (judgement: as many as one counts in an hour beside
// the others).
const (
	mostTries   = 2
	placesOfTry = 3
	// leastTold is how large the square of a share that is missing must be beside
	// that of the error of the counts that are to tell it (judgement).
	leastTold = 0.5
)

// tries are findings that a walk is to try by counts.
type tries struct {
	set  claimSet
	seen [][]spot // by finding; thinned to placesOfTry at the end
}

// rowOn is a row of a piece that lies on the ground of a finding.
type rowOn struct{ row, claim int }

// spot is a place on the ground of a finding.
type spot struct {
	piece
	x, y   float64
	on     []int // its rows there
	stand  float64
	f      *evenstand.Finding
	beside evenstand.Rows
}

// tryOf chooses findings of a field whose counts would tell the most: those that
// have not been told yet, by the ground that they are about and how open they are.
func tryOf(fs []evenstand.Finding, season, field string, g *grown) *tries {
	told := map[string]bool{}
	if g != nil {
		for j := range g.claims {
			told[g.claims[j].ID] = g.fit.Claims[j].Told()
		}
	}
	set, claims := claimsOf(fs, func(f *evenstand.Finding) bool { return f.Day.Year() == season && f.Field == field && !told[f.ID] })
	// Of what it may have lost, m2: of places that may be empty, those; of doubted
	// ground the share that such ground loses on average.
	open := make([]float64, len(set))
	order := make([]int, len(set))
	for i := range set {
		order[i] = i
		for _, h := range set[i].Harm {
			if empties(h.Kind) {
				// Not where so few are missing that the scatter of the counts hides them.
				if x := float64(h.Share); x*x > (scatter/100.0)*(scatter/100.0)*2/placesOfTry*leastTold {
					ground := float64(h.Amount.Mid) // m2
					if h.Kind == evenstand.MissingSeeds {
						ground /= float64(h.Target)
					}
					if ground > 0 {
						open[i] += ground * 4 * claims[i].Fall * (1 - claims[i].Fall)
					}
				}
			} else if area := float64(h.Area); h.Kind == evenstand.SlotResidue && area > 0 {
				open[i] += area * claims[i].Mean
			}
		}
		if claims[i].Kind == stand.Doubted && len(set[i].Harm) == 0 {
			span := 3600.0
			if f := &set[i]; f.Until != nil {
				span = (*f.Until - f.Since).Seconds()
			}
			// Some 5 mph on rows of 30 in, only to compare.
			open[i] = span * 2.2 * 0.76 * float64(max(1, len(set[i].Rows))) * 0.06
		}
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(open[b], open[a]) })
	t := &tries{}
	for _, i := range order {
		if len(t.set) < mostTries && open[i] > 0 {
			t.set = append(t.set, set[i])
		}
	}
	t.seen = make([][]spot, len(t.set))
	return t
}

func (t *tries) reach(planter string, day evenstand.Day, field string) func(*evenstand.Stretch) []int {
	if t == nil {
		return func(*evenstand.Stretch) []int { return nil }
	}
	return t.set.reach(planter, day, field)
}

// see notes a piece on the ground of findings, where rows beside it are not on it.
func (t *tries) see(p *piece, x, y float64, on []rowOn, stand float64) {
	for i, o := range on {
		if slices.ContainsFunc(on[:i], func(e rowOn) bool { return e.claim == o.claim }) {
			continue
		}
		s := spot{piece: *p, x: x, y: y, stand: stand, f: &t.set[o.claim]}
		for _, e := range on {
			if e.claim == o.claim {
				s.on = append(s.on, e.row)
			}
		}
		slices.Sort(s.on)
		// The two rows next to its first ones that are on none of these findings.
		free := func(r int) bool {
			return r >= 1 && r <= len(p.rows) && !slices.ContainsFunc(on, func(e rowOn) bool { return e.row == r })
		}
		for d := 1; d < len(p.rows) && len(s.beside) < 2; d++ {
			for _, r := range []int{s.on[0] - d, s.on[0] + d} {
				if free(r) && len(s.beside) < 2 && (len(s.beside) == 0 || abs(r-s.beside[0]) == 1) {
					s.beside = append(s.beside, r)
				}
			}
		}
		slices.Sort(s.beside)
		t.seen[o.claim] = append(t.seen[o.claim], s)
	}
}

func abs(n int) int {
	if n < 0 {
		return -n
	}
	return n
}

// spots draws places of each finding, spread over its ground: one in each third.
func (t *tries) spots(rng *rand.Rand) (out []spot) {
	for _, of := range t.seen {
		n := min(placesOfTry, len(of))
		for k := range n {
			lo, hi := k*len(of)/n, (k+1)*len(of)/n
			out = append(out, of[lo+rng.IntN(hi-lo)])
		}
	}
	return out
}

// places are the counts at a spot: on the finding's ground, and beside it.
func (s *spot) places(v advise.Voice) (out []record.WalkPlace) {
	on := s.on[:min(2, len(s.on))]
	if len(on) == 2 && on[1] != on[0]+1 {
		on = on[:1]
	}
	f := *s.f
	f.Causes = slices.Clone(f.Causes)
	advise.Fill(&f, v)
	to := "how many plants its ground has lost"
	if !price.Doubts(s.f) {
		to = "whether seeds lie there that were not seen"
	}
	at := func(rows evenstand.Rows, why string) {
		out = append(out, record.WalkPlace{Planter: s.pass.Planter, Lat: math.Round(s.lat*1e7) / 1e7, Lon: math.Round(s.lon*1e7) / 1e7, Pass: s.pass.Number, Key: s.pass.Key, Along: s.along, Rows: rows, Expected: evenstand.Number(s.stand), Stratum: -1, Finding: s.f.ID, Why: why})
	}
	at(evenstand.Rows(on), fmt.Sprintf("To tell %s: %s", to, strings.TrimSuffix(advise.Lower(f.Sentence), ".")))
	if len(s.beside) > 0 {
		at(s.beside, "Beside it, for comparison")
	}
	return out
}

package stand

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"evenstand"
	"evenstand/core/price"
	"evenstand/core/relation"
	"evenstand/core/stat"
)

// Claimed gives what a finding says that counts can try; false where they tell
// nothing of it. A finding of empty places is tried only where it may be that the
// seeds were just not seen: that a stopped row has planted nothing needs no walk.
func Claimed(f *evenstand.Finding) (Claim, bool) {
	if price.Doubts(f) {
		c := Claim{Kind: Doubted}
		if len(f.Harm) > 0 {
			// R13's loss on average, half of it by plants that are missing (R2) and half
			// by late ones (R6; the halves are judgement).
			low, likely, high := relation.Must("R13-residue", "uncleared heavy residue").Range()
			half := (low + likely + high) / 3 / 100 / 2
			_, skip, _ := relation.SkipLoss(math.NaN())
			_, late, _ := relation.LateShare(price.LateDays)
			c.Mean, c.Late = half/skip, half/late
		}
		return c, true
	}
	if evenstand.OfField(f.Kind) { // the ground of other findings, seen from above
		return Claim{}, false
	}
	fall := falls(f)
	for _, h := range f.Harm {
		if (h.Kind == evenstand.MissingSeeds || h.Kind == evenstand.EmptyGround) && fall > 0 && fall < 1 {
			return Claim{Kind: Unseen, Fall: fall}, true
		}
	}
	return Claim{}, false
}

// falls gives the chance that a finding's seeds lie in the ground all the same.
func falls(f *evenstand.Finding) (p float64) {
	for _, c := range f.Causes {
		if r, ok := relation.RemedyFor(f.Kind, c.Cause); ok && r.SeedsFall {
			p += c.Probability
		}
	}
	return p
}

// Tell puts what counts say into a finding and its causes' odds, and gives what
// prices it. area is that of its ground in m2, for a doubted one; target the seeds
// per m2 asked for there. A claim that counts do not tell leaves the finding as it
// is, and only its field's emergence counts.
func Tell(f *evenstand.Finding, e *Effect, emerge []float64, area, target float64) *price.Counted {
	c := &price.Counted{Emerge: emerge, Area: area, Target: target}
	if e == nil || !e.Told() {
		return c
	}
	unknown := evenstand.Range{Low: evenstand.Unknown, Mid: evenstand.Unknown, High: evenstand.Unknown}
	f.Counted = &evenstand.Counted{In: e.In, Out: e.Out, Lost: span(e.Real), Late: unknown, Fall: evenstand.Unknown}
	if price.Doubts(f) {
		c.Lost, c.Late = e.Real, e.Late
		if e.Late != nil {
			f.Counted.Late = span(e.Late)
		}
		f.Counted.Says = says(f)
		return c
	}
	before := falls(f)
	if !(before > 0 && before < 1) { // it says nothing of seeds that were not seen
		f.Counted = nil
		return c
	}
	f.Counted.Fall = evenstand.Number(e.Fall)
	for i := range f.Causes {
		p := &f.Causes[i].Probability
		if r, ok := relation.RemedyFor(f.Kind, f.Causes[i].Cause); ok && r.SeedsFall {
			*p *= e.Fall / before
		} else {
			*p *= (1 - e.Fall) / (1 - before)
		}
	}
	sortCauses(f)
	f.Counted.Says = says(f)
	// Its money holds if they are not there; that they may be is in the causes.
	c.Real = realOnly(e.Real)
	return c
}

// realOnly gives the draws in which something is missing, in their order, again
// and again; all of it where there are none.
func realOnly(xs []float64) []float64 {
	var some []float64
	for _, x := range xs {
		if x > 0 {
			some = append(some, x)
		}
	}
	out := make([]float64, len(xs))
	for i := range out {
		if out[i] = 1; len(some) > 0 {
			out[i] = some[i%len(some)]
		}
	}
	return out
}

func span(xs []float64) evenstand.Range {
	at := func(p float64) evenstand.Number {
		x := stat.Quantile(xs, p)
		if math.IsNaN(x) {
			return evenstand.Unknown
		}
		return evenstand.Number(x)
	}
	return evenstand.Range{Low: at(0.1), Mid: at(0.5), High: at(0.9)}
}

// sortCauses puts the likeliest first.
func sortCauses(f *evenstand.Finding) {
	slices.SortStableFunc(f.Causes, func(a, b evenstand.Cause) int { return cmp.Compare(b.Probability, a.Probability) })
}

// says puts what counts say of a finding into a sentence or two.
func says(f *evenstand.Finding) string {
	c := f.Counted
	s := fmt.Sprintf("Plants were counted at %d places on its ground and %d beside it: ", c.In, c.Out)
	percent := func(n evenstand.Number) int { return int(math.Round(100 * float64(n))) }
	switch {
	case !math.IsNaN(float64(c.Fall)) && c.Fall >= 0.5:
		return s + fmt.Sprintf("where it logged no seed plants stand as elsewhere. The seeds were not seen, by a chance of %d in 100.", min(99, percent(c.Fall)))
	case !math.IsNaN(float64(c.Fall)):
		return s + fmt.Sprintf("where it logged no seed plants are missing too. That the seeds were only not seen has a chance of %d in 100.", max(1, percent(c.Fall)))
	}
	s += fmt.Sprintf("%d %% of the plants are missing on it (%d to %d)", percent(c.Lost.Mid), percent(c.Lost.Low), percent(c.Lost.High))
	if !math.IsNaN(float64(c.Late.Mid)) {
		s += fmt.Sprintf(", and %d %% more are late than beside it (%d to %d)", percent(c.Late.Mid), percent(c.Late.Low), percent(c.Late.High))
	}
	return s + "."
}

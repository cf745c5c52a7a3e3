package pipeline

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"evenstand"
	"evenstand/core/find"
)

// dry are words for what is in a tank that no liquid is.
var dry = []string{"seed", "granul", "insecticide", "dry"}

// tanks gives the card's tanks of liquid as the stages know them: by what is in
// them, else by their name.
func (s *settler) tanks() (ts []find.Tank) {
	for _, t := range s.card.Tanks {
		name := cmp.Or(t.Product, t.Name, "liquid")
		if slices.ContainsFunc(dry, func(w string) bool { return strings.Contains(strings.ToLower(t.Product+" "+t.Name), w) }) {
			continue
		}
		ts = append(ts, find.Tank{N: t.Number, Name: name, Capacity: t.Capacity, Rows: t.Feeds})
	}
	return ts
}

// fill gives what a line of the journal says was filled; false when it says no
// amount that can be used.
func (s *settler) fill(e *evenstand.Entry) (find.Fill, bool) {
	f := find.Fill{T: e.T, Seeds: math.NaN(), Volume: math.NaN(), Words: e.Note}
	if e.What != "refill" || !(e.Value > 0) {
		return f, false
	}
	pack := e.Unit
	if pack == "" {
		pack, _, _ = strings.Cut(strings.ToLower(e.Note), " ")
	}
	if pack == "units" || pack == "bags" { // other packs hold what they hold
		n, ok := evenstand.SeedsPerUnit(s.card.Crop(1))
		f.Seeds = e.Value * n
		return f, ok
	}
	u, err := evenstand.ParseUnit(e.Unit)
	if err != nil || u.Dim != evenstand.Volume {
		return f, false
	}
	f.Volume = u.ToSI(e.Value)
	return f, true
}

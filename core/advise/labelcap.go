package advise

import (
	"strings"

	"evenstand"
)

// mostOf and limitOf begin the names of a product's figures, inSeason and inPass
// end them.
const (
	mostOf   = "most of "
	limitOf  = "limit of "
	inSeason = " in the season"
	inPass   = " in one pass"
)

// Product gives the name of the product whose limit a finding is about, empty
// when it is about none.
func Product(f *evenstand.Finding) string {
	for _, e := range f.Evidence {
		if s, ok := strings.CutPrefix(e.Name, limitOf); ok {
			return strings.TrimSuffix(strings.TrimSuffix(s, inSeason), inPass)
		}
	}
	return ""
}

// labelCap says how much of a product went on against the limit that was
// entered. The first figures are those that it is about.
func (v Voice) labelCap(f *evenstand.Finding, since string) string {
	name := Product(f)
	if name == "" {
		return "More of a product went on than was entered as its limit" + since
	}
	when, x, limit, unit := inSeason, 0.0, 0.0, ""
	for _, e := range f.Evidence {
		if rest, ok := strings.CutPrefix(e.Name, mostOf+name); ok {
			when, x, unit = rest, float64(e.Value), e.Unit
			limit, _ = Figure(f, limitOf+name+rest)
			break
		}
	}
	at := ""
	if f.Field != "" && f.Field != evenstand.Unassigned {
		at = " in " + f.Field
	}
	s := v.Value(x, unit) + " of " + name + " went on" + when + at + since
	over, _ := Figure(f, "ground over the limit")
	near, _ := Figure(f, "ground near the limit or over it")
	if x > limit {
		return s + ", over the " + v.Value(limit, unit) + " that you entered, on " + v.Area(over)
	}
	return s + ", near the " + v.Value(limit, unit) + " that you entered, on " + v.Area(near)
}

package price

import "evenstand"

// Basis names the ground that "still to save" counts on.
type Basis string

// The bases.
const (
	Field  Basis = "field"
	Season Basis = "season"
	None   Basis = "none"
)

// Context is what pricing must know beside the finding.
type Context struct {
	Settings  evenstand.Settings
	Rows      int              // rows of the planter, for the share of the ground that the finding's rows plant; 0 unknown
	FieldLeft float64          // m2 of the finding's field still to plant by the whole planter; NaN unknown
	Basis     Basis            // field, season or none; empty: field when FieldLeft is known, else season, else none
	AsOf      evenstand.Micros // last log time; NoTime unknown
	Seed      uint64           // of the draws; one for the whole report
}

// Price prices one finding by itself.
func Price(f *evenstand.Finding, ctx Context) evenstand.Money {
	return evenstand.Money{}
}

// PriceAll prices all findings of a report on the same draws, shares losses
// that overlap out among their causes, and sets Money of each.
func PriceAll(fs []*evenstand.Finding, ctx func(*evenstand.Finding) Context) {
	for _, f := range fs {
		f.Money = Price(f, ctx(f))
	}
}

// Rank orders findings for the worklist: the most still to save first.
func Rank(fs []*evenstand.Finding) {}

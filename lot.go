package evenstand

import (
	"slices"
	"strings"
	"unicode"
)

// KindLotMismatch is the kind of finding about seed that is not what a field or
// its rows were to get.
const KindLotMismatch = "lot-mismatch"

// Causes that have to do with lots.
const (
	CauseWrongFill = "another lot filled"
	CauseLotNote   = "lot note or plan wrong"
	CauseLot       = "seed lot" // that does not fit the disc
)

// IsLot tells whether what was written down of the seed in a box is a planned
// lot or hybrid: the same words, or all of the plan's among them, in their
// order.
func IsLot(noted, planned string) bool {
	words := func(s string) []string {
		return strings.FieldsFunc(strings.ToLower(s), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) })
	}
	of, want := words(noted), words(planned)
	if len(want) == 0 {
		return false
	}
	for i := range of {
		if len(of)-i >= len(want) && slices.Equal(of[i:i+len(want)], want) {
			return true
		}
	}
	return false
}

// PlannedFor gives the lots or hybrids that a row is to get in a field: those of
// plans that name field and row go before those that name one of them, and these
// before those that name none.
func PlannedFor(plans []Plan, field string, row int) []string {
	var out []string
	best := 0
	for _, p := range plans {
		rank := 1
		if p.Field != "" {
			if !strings.EqualFold(p.Field, field) {
				continue
			}
			rank += 2
		}
		if len(p.Rows) > 0 {
			if !p.Rows.Has(row) {
				continue
			}
			rank++
		}
		if rank > best {
			best, out = rank, nil
		}
		if rank == best {
			out = append(out, p.Lot)
		}
	}
	return out
}

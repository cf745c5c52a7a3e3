package sim

import (
	"math"

	"evenstand"
)

// lot gives the lot that a fault puts into its rows' boxes; empty: none does. A
// lot that was not planned is a fault by itself; one that was planned may not fit
// the disc.
func (f *fault) lot() string {
	switch {
	case !byLot(f.Kind, f.Variant):
		return ""
	case f.Kind == evenstand.KindLotMismatch:
		return "B" + f.ID
	}
	return "C" + f.ID
}

// byLot tells whether a fault is a lot in the boxes.
func byLot(kind, variant string) bool {
	return kind == evenstand.KindLotMismatch || kind == evenstand.KindRowSkips && variant == "lot"
}

// plans gives the lots that were planned, besides the one of the morning.
func (s *Scenario) plans() []string {
	if s.Output.Lot == "" {
		return nil
	}
	out := []string{s.Output.Lot}
	for i, p := range s.Faults {
		if f, err := s.newFault(i, p); err == nil && f.Kind == evenstand.KindRowSkips && f.lot() != "" {
			out = append(out, f.lot())
		}
	}
	return out
}

// lots gives what the operator writes down of the seed at a fill: the rows that
// other lots went into, and those that the planned one went back into.
func (b *journalBox) lots(m *moment, at evenstand.Micros) (out []evenstand.Entry) {
	if b.s.Output.Lot == "" {
		return nil
	}
	note := func(rows evenstand.Rows, lot string) {
		out = append(out, evenstand.Entry{T: at, What: "lot", Rows: rows, Value: math.NaN(), Note: lot})
	}
	for _, f := range m.faults {
		switch lot := f.lot(); {
		case lot == "":
		case b.filled[f.ID]: // at the fill before: the planned lot again
			if !b.back[f.ID] {
				b.back[f.ID] = true
				note(f.rows, b.s.Output.Lot)
			}
		case f.filling <= m.leg.end():
			b.filled[f.ID] = true
			note(f.rows, lot)
		}
	}
	return out
}

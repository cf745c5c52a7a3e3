package advise

import (
	"strings"

	"evenstand"
)

const (
	plantedWith = "planted with lot "
	andPlanned  = ", planned "
	shiftedWith = "rows that shifted with lot "
)

// lots gives the lot that was planted and the one that was planned, and on how
// much ground.
func lots(f *evenstand.Finding) (planted, planned string, area float64) {
	for _, e := range f.Evidence {
		if s, ok := strings.CutPrefix(e.Name, plantedWith); ok {
			planted, planned, _ = strings.Cut(s, andPlanned)
			return planted, planned, float64(e.Value)
		}
	}
	return "another lot", "another", 0
}

// wrongLot says which seed is planted instead of which.
func (v Voice) wrongLot(f *evenstand.Finding, who, since string) string {
	planted, planned, area := lots(f)
	if _, ok := strings.CutPrefix(planted, "another"); !ok {
		planted = "lot " + planted
	}
	s := who + " " + verb(f, "plants", "plant", "planted") + " " + planted + since + ", where " + planned + " was planned"
	if f.Field != "" && f.Field != evenstand.Unassigned {
		s += " in " + f.Field
	}
	if area > 0 {
		s += ", " + v.Area(area)
		if f.Until == nil {
			s += " so far"
		}
	}
	return s
}

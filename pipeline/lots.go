package pipeline

import (
	"slices"
	"strings"

	"evenstand"
)

// plan tells the engine which seed the rows are to get in the field of a pass.
func (s *settler) plan(p *evenstand.Pass) {
	if len(s.day.Plans) == 0 {
		return
	}
	for i := range s.rows {
		lots := evenstand.PlannedFor(s.day.Plans, p.Field, i+1)
		s.planned = s.planned || len(lots) > 0
		s.engine.Planned(i+1, lots)
	}
}

// noteLots says that a plan can be held against nothing.
func (s *settler) noteLots() {
	if !s.planned || s.lotNoted {
		return
	}
	var lots []string
	for _, p := range s.day.Plans {
		if !slices.Contains(lots, p.Lot) {
			lots = append(lots, p.Lot)
		}
	}
	s.note("The logbook's plan names what is to be planted (%s), and nobody wrote down what was filled: whether the right seed is in the boxes cannot be said. Write at each fill which lot went where, such as lot A123 rows 1-8.", strings.Join(lots, ", "))
}

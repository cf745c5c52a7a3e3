package pipeline

import "evenstand"

// leastSections are so many that the middle one is healthy when one is not.
const leastSections = 3

// granules hands what is logged of granules to the engine: by row, by section
// where rows say nothing, and of the whole machine.
func (s *settler) granules(x evenstand.Reading) {
	switch n := int(x.Element.N); x.Element.Scope {
	case evenstand.ScopeRow:
		if n >= 1 && n <= len(s.rows) {
			s.granuleRows = true
			s.engine.Granules(n, 0, x.T, x.Value)
		}
	case evenstand.ScopeSection:
		if s.granuleRows || len(s.card.Sections) < leastSections {
			return
		}
		rows := s.rowsOf(x.Element)
		for _, r := range rows {
			s.engine.Granules(r, rows[0], x.T, x.Value)
		}
	case evenstand.ScopeMachine, evenstand.ScopeTank:
		s.engine.GranularRate(x.T, x.Value)
	}
}

// noteGranules says what the logs of granules lack.
func (s *settler) noteGranules() {
	v := &s.survey_
	has := func(set uint64) bool { return set&(1<<evenstand.GranularRate) != 0 }
	row, whole, section := has(v.byRow), has(v.whole), false
	for e, set := range v.parts {
		section = section || e.Scope == evenstand.ScopeSection && has(set)
	}
	if !row && !whole && !section {
		return
	}
	if !row && !(section && len(s.card.Sections) >= leastSections) {
		s.note("Granules are logged for the whole machine only: whether a single box bridges or its gate is shut cannot be said. Log their rate by row, or look into the boxes and catch them over 653 ft of row.")
	}
	if (v.byRow|v.whole)&(1<<evenstand.GranularRateTarget) == 0 {
		s.note("Granules are logged, but not what is asked for: whether all boxes put on too much or too little cannot be said. Log the rate that is asked for, or catch them over 653 ft of row.")
	}
}

package pipeline

import (
	"cmp"
	"slices"
	"strings"

	"evenstand"
)

// gatherNotes puts what was written down of lots and fills on the one clock, in
// order of time: of earlier days, by hand, and by boxes.
func (s *settler) gatherNotes() error {
	s.notes = append(s.notes[:0], s.day.Lots...)
	for i := range s.day.Streams {
		st := &s.day.Streams[i]
		if st.Entries == nil {
			continue
		}
		tm := &s.timings[i]
		tm.restart()
		if err := st.Entries(func(es []evenstand.Entry) bool {
			for _, e := range es {
				if e.What == "lot" || e.What == "refill" {
					e.T = tm.at(e.T)
					s.notes = append(s.notes, e)
				}
			}
			return s.ctx.Err() == nil
		}); err != nil {
			return err
		}
		tm.restart()
	}
	slices.SortStableFunc(s.notes, func(a, b evenstand.Entry) int { return cmp.Compare(a.T, b.T) })
	return nil
}

// hearNotes tells the engine what was written down up to a time.
func (s *settler) hearNotes(t evenstand.Micros) {
	for len(s.notes) > 0 && s.notes[0].T <= t {
		switch e := &s.notes[0]; e.What {
		case "lot":
			s.engine.Lot(e.Rows, e.T, e.Note)
			s.noted = true
		case "refill":
			s.engine.Filled(e.T)
		}
		s.notes = s.notes[1:]
	}
}

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
	if !s.planned || s.noted {
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

package pipeline

import (
	"cmp"
	"slices"

	"evenstand"
)

// hearEntries takes the lines of the day's journals, on the one clock, that the
// findings rest on (digs, lots, fills), behind the lots of earlier days.
func (s *settler) hearEntries() error {
	s.noted = slices.Clone(s.day.Lots)
	for i := range s.day.Streams {
		st, tm := &s.day.Streams[i], &s.timings[i]
		if st.Entries == nil {
			continue
		}
		tm.restart()
		err := st.Entries(func(es []evenstand.Entry) bool {
			for _, x := range es {
				if x.T = tm.at(x.T); s.heeds(&x) {
					s.noted = append(s.noted, x)
				}
			}
			return s.ctx.Err() == nil
		})
		if err = firstErr(err, s.ctx.Err()); err != nil {
			return err
		}
		tm.restart()
	}
	slices.SortStableFunc(s.noted, func(a, b evenstand.Entry) int { return cmp.Compare(a.T, b.T) })
	return nil
}

// heeds tells whether a line of a journal is of the day and of a kind that
// findings rest on.
func (s *settler) heeds(x *evenstand.Entry) bool {
	switch x.What {
	case "dig", "lot", "refill":
		return x.T >= s.day.From && x.T < max(s.midnight, s.cut)
	}
	return false
}

// hearNotes hands the lines up to t to the engine.
func (s *settler) hearNotes(t evenstand.Micros) {
	for len(s.noted) > 0 && s.noted[0].T <= t {
		x := s.noted[0]
		s.noted = s.noted[1:]
		switch x.What {
		case "lot":
			s.engine.Lot(x.Rows, x.T, x.Note)
			s.lotNoted = true
		case "refill":
			s.engine.Refilled(x.T)
			if f, ok := s.fill(&x); ok {
				s.engine.Filled(f)
			}
		case "dig":
			if x.Rows = s.has(x.Rows); x.Rows == nil {
				continue // rows that the planter has not
			}
			s.engine.Noted(&x)
		}
	}
}

// has gives those of some rows that the planter has, nil where it has none of
// them; no rows at all are the whole planter.
func (s *settler) has(rows evenstand.Rows) evenstand.Rows {
	out := evenstand.Rows{}
	for _, n := range rows {
		if n >= 1 && n <= s.card.Rows {
			out = append(out, n)
		}
	}
	if len(rows) > 0 && len(out) == 0 {
		return nil
	}
	return out
}

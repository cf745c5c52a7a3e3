package pipeline

import (
	"cmp"
	"slices"

	"evenstand"
)

// notes takes the lines of the day's journals, on the one clock, that the
// findings rest on: digs.
func (s *settler) notes() error {
	for i := range s.day.Streams {
		st, tm := &s.day.Streams[i], &s.timings[i]
		if st.Entries == nil {
			continue
		}
		tm.restart()
		err := st.Entries(func(es []evenstand.Entry) bool {
			for _, x := range es {
				if x.T = tm.at(x.T); x.What == "dig" && x.T >= s.day.From && x.T < s.midnight {
					s.noted = append(s.noted, x)
				}
			}
			return s.ctx.Err() == nil
		})
		if err = firstErr(err, s.ctx.Err()); err != nil {
			return err
		}
	}
	slices.SortStableFunc(s.noted, func(a, b evenstand.Entry) int { return cmp.Compare(a.T, b.T) })
	return nil
}

// hearNotes hands the lines up to t to the engine.
func (s *settler) hearNotes(t evenstand.Micros) {
	for len(s.noted) > 0 && s.noted[0].T <= t {
		x := s.noted[0]
		s.noted = s.noted[1:]
		rows := x.Rows[:0:0]
		for _, n := range x.Rows {
			if n >= 1 && n <= s.card.Rows {
				rows = append(rows, n)
			}
		}
		if len(x.Rows) > 0 && len(rows) == 0 {
			continue // rows that the planter has not
		}
		x.Rows = rows
		s.engine.Noted(&x)
	}
}

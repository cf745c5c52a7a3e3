package web

import (
	"context"

	"evenstand"
	"evenstand/core/measure/group"
)

// telling is what the boxes of a machine-day tell of its rows. A stretch alone
// does not say it: where no share of skips is told, and where nobody says which
// rows are on, it has 0.
type telling struct {
	seeds          bool // single ones
	skips, doubles bool // shares
	on             bool // which rows are switched on
}

// tellings gives what is told on each machine-day.
func (s *Server) tellings(ctx context.Context) (func(planter string, day evenstand.Day) telling, error) {
	all, err := s.allSources(ctx)
	if err != nil {
		return nil, err
	}
	zone := s.book.Zone()
	return func(planter string, day evenstand.Day) telling {
		var t telling
		for i := range all {
			src := &all[i]
			if src.Planter != "" && src.Planter != planter || src.First == evenstand.NoTime || evenstand.DayOf(src.First, zone) > day || evenstand.DayOf(src.Last, zone) < day {
				continue
			}
			t.seeds = t.seeds || src.Counts.Seeds > 0
			for _, h := range src.Holds {
				switch q, _ := evenstand.ParseQuantity(h.Quantity); q {
				case evenstand.SkipFraction:
					t.skips = true
				case evenstand.DoubleFraction:
					t.doubles = true
				case evenstand.RowEnabled:
					t.on = true
				}
			}
		}
		return t
	}, nil
}

// tells tells whether a stretch of that day can say a measure.
func (t *telling) tells(m *group.Measure, s *evenstand.Stretch) bool {
	switch m.ID {
	case "skips":
		return s.Grade == evenstand.GradeA || t.skips
	case "doubles":
		return s.Grade == evenstand.GradeA || t.doubles
	case "switched-off":
		return t.on
	}
	return true
}

// instead gives a measure that can be told for one that no box told on a day: of
// seeds that were only counted, how many were planted.
func (t *telling) instead(id string) string {
	switch {
	case id == "skips" && !t.seeds && !t.skips, id == "doubles" && !t.seeds && !t.doubles:
		return "population"
	}
	return id
}

// ofSeeds tells whether a measure is of the seeds that fell: a row that gave none
// has no value of it.
func ofSeeds(m *group.Measure) bool {
	switch m.ID {
	case "skips", "doubles", "spacing", "population":
		return true
	}
	return false
}

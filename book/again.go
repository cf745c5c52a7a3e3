package book

import (
	"slices"

	"evenstand"
)

// anew tells of which machine-days the logs were handed in again and are to be
// derived once more whatever the manifest says (ReadOptions.Again).
func (b *Book) anew(live []*input, rep *Report) func(p *planterDays, day evenstand.Day) bool {
	inputs := map[int64]bool{}
	for _, in := range live {
		for _, o := range in.files {
			if o.data && b.again[o.sum] {
				inputs[in.id] = true
			}
		}
	}
	return func(p *planterDays, day evenstand.Day) bool {
		return !slices.Contains(rep.Days, DayRef{p.planter, day}) && slices.ContainsFunc(p.sources, func(s *sourceState) bool {
			return inputs[s.Input] && s.day(day) != nil
		})
	}
}

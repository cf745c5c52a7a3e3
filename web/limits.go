package web

import (
	"context"
	"math"
	"slices"

	"evenstand"
	"evenstand/book"
	"evenstand/core/advise"
	"evenstand/core/measure/group"
)

// Limit is the ground that a measure is wanted to stay on, in SI.
type Limit struct {
	Least evenstand.Number `json:"least"`
	Most  evenstand.Number `json:"most"`
	Says  string           `json:"says" doc:"At least 18 %; empty without a limit"`
}

func (s *Server) limit(m *group.Measure) Limit {
	set := s.book.Settings()
	l := set.Limit(m.Quantity)
	return Limit{evenstand.Number(l.Least), evenstand.Number(l.Most), sayLimit(s.voice(), m.Unit, l)}
}

func sayLimit(v advise.Voice, unit string, l evenstand.Limit) string {
	switch {
	case !l.Set():
		return ""
	case math.IsNaN(l.Least):
		return "at most " + shown(v, unit, l.Most)
	case math.IsNaN(l.Most):
		return "at least " + shown(v, unit, l.Least)
	}
	return shown(v, unit, l.Least) + " to " + shown(v, unit, l.Most)
}

// LimitDay is how a day kept a limit.
type LimitDay struct {
	Of      string           `json:"of" doc:"The quantity's name in plain files, as in the settings"`
	Measure MeasureInfo      `json:"measure"`
	Known   bool             `json:"known" doc:"The day's logs tell it"`
	Beyond  evenstand.Number `json:"beyond" doc:"Share of the way, over all rows that tell it, by means over stretches of 15 m"`
	Says    string           `json:"says"`
	Planter string           `json:"planter"`
	Day     evenstand.Day    `json:"day"`
}

// LimitList is how the last day kept each limit.
type LimitList struct {
	Label  string     `json:"label" doc:"The day, in words"`
	Limits []LimitDay `json:"limits" doc:"Those that are set"`
}

// limitList sums up how far the stretches of the last day lay beyond each
// limit, planter by planter.
func (s *Server) limitList(ctx context.Context, _ *nothing) (LimitList, error) {
	out := LimitList{Limits: []LimitDay{}}
	days, err := s.allDays(ctx)
	if err != nil || len(days) == 0 {
		return out, err
	}
	last := evenstand.Day("")
	for _, d := range days {
		last = max(last, d.Day)
	}
	days = slices.DeleteFunc(slices.Clone(days), func(d book.DaySummary) bool { return d.Day != last })
	out.Label = s.voice().Day(last)
	set := s.book.Settings()
	for _, d := range days {
		var sums []*group.Kept
		for _, m := range group.Measures() {
			if l := set.Limit(m.Quantity); m.Quantity != evenstand.Raw && l.Set() {
				sums = append(sums, group.NewKept(m, l))
			}
		}
		if len(sums) == 0 {
			return out, nil
		}
		card, err := s.book.Card(d.Planter, last)
		if err != nil {
			return out, err
		}
		err = s.book.Stretches(ctx, d.Planter, last, func(ss []evenstand.Stretch) error {
			for i := range ss {
				for _, k := range sums {
					k.Add(&ss[i], card.RowSpacing)
				}
			}
			return nil
		})
		if err != nil {
			return out, err
		}
		v := s.voice()
		for _, k := range sums {
			x := LimitDay{Of: k.Measure.Quantity.String(), Measure: s.measureInfo(&k.Measure), Planter: d.Planter, Day: last, Beyond: evenstand.Unknown, Says: "no box logged it"}
			if k.Way > 0 {
				x.Known, x.Beyond, x.Says = true, evenstand.Number(k.Beyond()), sayKept(v, k)
			}
			if len(days) > 1 {
				x.Says = d.Planter + ": " + x.Says
			}
			out.Limits = append(out.Limits, x)
		}
	}
	return out, nil
}

// sayKept says how a limit was kept: "beyond it on 3.1 % of the way, too high;
// most on row 7, 12 %".
func sayKept(v advise.Voice, k *group.Kept) string {
	share := k.Beyond()
	if share == 0 {
		return "kept all the way"
	}
	says := "beyond it on " + v.Percent(share) + " of the way"
	switch {
	case k.Under == 0:
		says += ", too high"
	case k.Over == 0:
		says += ", too low"
	case k.Under > k.Over:
		says += ", mostly too low"
	default:
		says += ", mostly too high"
	}
	if row, of := k.Worst(); row > 0 && of > 1.5*share {
		says += "; most on row " + itoa(row) + ", " + v.Percent(of)
	}
	return says
}

package record

import (
	"cmp"
	"slices"

	"evenstand"
)

// Decision is what a person said about a finding.
type Decision struct {
	Finding string           `json:"finding"` // id
	Status  evenstand.Status `json:"status"`  // acted or set-aside; open takes back the one before
	Cause   string           `json:"cause"`   // what it was, when it was something else; empty: as named
	Note    string           `json:"note"`
	T       evenstand.Micros `json:"time"`
}

// Apply gives the findings with Status set: the latest decision of a finding
// counts (of two at the same time the later in the list, which is as they were written); without one a finding
// whose trouble is over is Ended, and any other Open. A finding that was done
// and has its verdict stays Checked. The findings handed in are not changed.
func Apply(fs []evenstand.Finding, ds []Decision) []evenstand.Finding {
	stand := standing(ds)
	out := slices.Clone(fs)
	for i := range out {
		f := &out[i]
		d, decided := last(stand[f.ID])
		switch {
		case decided && d.Status == evenstand.Acted && f.Status == evenstand.Checked:
		case decided:
			f.Status = d.Status
		case f.Until != nil:
			f.Status = evenstand.Ended
		case f.Status == "":
			f.Status = evenstand.Open
		}
	}
	return out
}

// standing gives what was said of each finding and not taken back, in order of
// time; the last of it counts. Decisions come as they were written: what is taken
// back is what was written last, whatever time it tells.
func standing(ds []Decision) map[string][]Decision {
	stand := map[string][]Decision{}
	for _, d := range ds {
		s := stand[d.Finding]
		if d.Status != evenstand.Open {
			s = append(s, d)
		} else if len(s) > 0 {
			s = s[:len(s)-1]
		}
		stand[d.Finding] = s
	}
	for _, s := range stand {
		slices.SortStableFunc(s, func(a, b Decision) int { return cmp.Compare(a.T, b.T) })
	}
	return stand
}

// Standing gives what was said of a finding and not taken back, in order of time.
func Standing(ds []Decision, finding string) []Decision { return standing(ds)[finding] }

func last(ds []Decision) (d Decision, ok bool) {
	if len(ds) == 0 {
		return d, false
	}
	return ds[len(ds)-1], true
}

// NoLonger is the reason that Carry gives.
const NoLonger = "It was acted on; with all of the day's data the log no longer shows it."

// Carry gives the fresh findings of a re-derivation and, behind them, the old
// ones that were acted on and that the data no longer supports: ended, with the
// reason. Ids must have been kept before.
func Carry(old, fresh []evenstand.Finding, ds []Decision) []evenstand.Finding {
	out := slices.Clone(fresh)
	stand := standing(ds)
	for _, f := range old {
		d, _ := last(stand[f.ID])
		acted := d.Status == evenstand.Acted
		stands := slices.ContainsFunc(fresh, func(g evenstand.Finding) bool { return g.ID == f.ID })
		if !acted || stands {
			continue
		}
		f.Status = evenstand.Ended
		if !slices.Contains(f.Say, NoLonger) {
			f.Say = append(slices.Clone(f.Say), NoLonger)
		}
		out = append(out, f)
	}
	return out
}

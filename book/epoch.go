package book

import "evenstand"

// Shifts of whole logs that a box's clock explains: counts from the GPS epoch
// taken for counts from 1970 (315,964,800 s from 1970-01-01 to 1980-01-06,
// less the 18 leap seconds since), and a receiver whose count of 1,024 weeks
// has begun anew.
const (
	gpsCounts = (315_964_800 - 18) * evenstand.Second
	weeks1024 = 1024 * 7 * 86_400 * evenstand.Second
)

// noteEpochs says of a source that lies years before the others of its planter
// what explains it: such a log stands on days of its own, and nothing that it
// holds meets the others.
func noteEpochs(all []SourceReport) {
	meets := func(a, b *SourceReport, shift evenstand.Micros) bool {
		return a.First+shift <= b.Last && b.First <= a.Last+shift
	}
	for i := range all {
		a := &all[i]
		if a.First == evenstand.NoTime {
			continue
		}
		alone, gps, weeks := true, false, false
		for k := range all {
			b := &all[k]
			if k == i || b.Planter != a.Planter || b.First == evenstand.NoTime {
				continue
			}
			alone = alone && !meets(a, b, 0)
			gps = gps || meets(a, b, gpsCounts)
			weeks = weeks || meets(a, b, weeks1024)
		}
		switch {
		case !alone:
		case gps:
			a.Notes = append(a.Notes, `Its times lie before those of the other boxes by just as long as from 1970 to 1980, so its counts are GPS seconds. Write count_from = "gps" in its source.toml and read it again.`)
		case weeks:
			a.Notes = append(a.Notes, "Its times lie 1,024 weeks before those of the other boxes: its receiver's count of weeks has begun anew. Have its firmware renewed; until then its log cannot be put beside the others.")
		}
	}
}

package book

import (
	"context"

	"evenstand"
	"evenstand/core/record"
)

// ReadDone understands when something was done about a finding: a time of day alone is
// of the finding's day, that of its last seeds.
func (b *Book) ReadDone(ctx context.Context, f *evenstand.Finding, at string, now evenstand.Micros) (evenstand.Micros, error) {
	seen := now
	if f.Until != nil {
		seen = *f.Until
	} else {
		days, err := b.Days(ctx)
		if err != nil {
			return 0, err
		}
		for i := range days {
			if d := &days[i]; d.Planter == f.Planter && d.Day == f.Day {
				seen = d.AsOf
			}
		}
	}
	return record.ParseDone(at, f.Since, seen, now, b.Zone())
}

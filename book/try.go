package book

import (
	"context"

	"evenstand"
	measure "evenstand/core/measure/group"
	"evenstand/core/try"
)

// Panel gives what the rows of a planter did on a day, stretch by stretch, by
// the measures asked for (core/measure/group), with the places of the stretches.
func (b *Book) Panel(ctx context.Context, planter string, day evenstand.Day, ms []measure.Measure) (*try.Panel, error) {
	passes, err := b.Passes(ctx, planter, day)
	if err != nil {
		return nil, err
	}
	card, err := b.settledCard(planter, day)
	if err != nil {
		return nil, err
	}
	p := try.NewPanel(planter, day, card.Rows, card.RowSpacing, ms)
	if err := b.StretchSums(ctx, planter, day, func(ss []evenstand.Stretch) error {
		if i := int(ss[0].Pass); i < len(passes) {
			p.Add(&passes[i], ss)
		}
		return nil
	}); err != nil {
		return nil, err
	}
	if err := b.Places(ctx, planter, day, func(ps []evenstand.TrackPoint) error {
		p.Locate(ps)
		return nil
	}); err != nil {
		return nil, err
	}
	return p, nil
}

package book

import (
	"math"

	"evenstand"
	"evenstand/core/advise"
	"evenstand/core/price"
)

// Speak gives a finding of the live pass its money, words and advice, as the
// worklist would at asOf. What is left of the field is not known while it is
// being planted.
func (b *Book) Speak(f *evenstand.Finding, rows int, asOf evenstand.Micros) {
	set := b.Settings()
	price.PriceAll([]*evenstand.Finding{f}, func(*evenstand.Finding) price.Context {
		return price.Context{Settings: set, Rows: rows, Card: b.cardFile(f.Planter, f.Day), FieldLeft: math.NaN(), AsOf: asOf, Seed: priceSeed}
	})
	advise.Fill(f, advise.Voice{Zone: b.Zone(), Units: set.Units, AsOf: asOf})
}

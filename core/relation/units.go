package relation

import "evenstand"

// CornBushel is the mass of a bushel of corn in kg: 56 lb (US standard weight).
const CornBushel = 56 * evenstand.Pound

// BuAcre turns a yield of corn in kg/m2 into bushels an acre.
func BuAcre(kgm2 float64) float64 { return kgm2 * evenstand.Acre / CornBushel }

// FromBuAcre turns bushels of corn an acre into kg/m2.
func FromBuAcre(bu float64) float64 { return bu * CornBushel / evenstand.Acre }

// Thousand turns seeds or plants per m2 into thousands an acre.
func Thousand(perM2 float64) float64 { return perM2 * evenstand.Acre / 1000 }

// FromThousand turns thousands an acre into seeds or plants per m2.
func FromThousand(k float64) float64 { return k * 1000 / evenstand.Acre }

package advise

import (
	"time"

	"evenstand"
)

// Voice is how people of one logbook read numbers: its time zone and units.
type Voice struct {
	Zone  *time.Location // nil: UTC
	Units evenstand.Units
}

// Fill sets Sentence, Advice, When, Say and Sources of a finding from its
// kind, grade, evidence, causes and money.
func Fill(f *evenstand.Finding, v Voice) {}

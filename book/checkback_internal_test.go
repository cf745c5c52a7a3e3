package book

import (
	"math"
	"testing"

	"evenstand"
)

// A cause that was mended without a cure keeps the chance that mending it does
// not cure it: causes.csv has 0.8 for a worn seal, so 0.6 becomes 0.12 of 0.52.
func TestUntried(t *testing.T) {
	f := evenstand.Finding{Kind: evenstand.KindRowSkips, Causes: []evenstand.Cause{{Cause: evenstand.CauseSeal, Probability: 0.6}, {Cause: evenstand.CauseSingulator, Probability: 0.3}}}
	was := f.Causes
	untried(&f, "")
	if f.Causes[0].Cause != evenstand.CauseSingulator || math.Abs(f.Causes[0].Probability-0.3/0.52) > 1e-9 || math.Abs(f.Causes[1].Probability-0.12/0.52) > 1e-9 {
		t.Errorf("%+v", f.Causes)
	}
	if was[0].Probability != 0.6 {
		t.Error("the causes handed in were changed")
	}
	untried(&f, "something that nobody knows")
	if math.Abs(f.Causes[0].Probability-0.3/0.52) > 1e-9 {
		t.Errorf("%+v", f.Causes)
	}
	// A remedy that always cures leaves the others, and no figure that is none.
	f = evenstand.Finding{Kind: evenstand.KindRowLeftOff, Causes: []evenstand.Cause{{Cause: evenstand.CauseSwitchedOff, Probability: 1}}}
	untried(&f, "")
	if len(f.Causes) > 0 && math.IsNaN(f.Causes[0].Probability) {
		t.Errorf("%+v", f.Causes)
	}
}

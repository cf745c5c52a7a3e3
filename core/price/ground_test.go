package price_test

import (
	"strings"
	"testing"

	"evenstand"
	"evenstand/core/price"
)

// R17, missed starter: 0 / 2.4 / 5.2 % of yield. By hand the triangle has its
// 10th, 50th and 90th percentile at sqrt(0.1*5.2*2.4) = 1.117, 5.2 -
// sqrt(0.5*5.2*2.8) = 2.502 and 5.2 - sqrt(0.1*5.2*2.8) = 3.993 %. An acre of
// row that got 60 % of it, at $900 an acre: 0.4 of these.
func TestMissedStarter(t *testing.T) {
	f := finding(evenstand.KindLiquidRowLow, evenstand.CauseOrificePlugged, evenstand.Harm{
		Kind: evenstand.MissedStarter, Amount: point(0.4 * evenstand.Acre), Area: evenstand.Acre, Ratio: 0.6, Share: 0.4, Target: evenstand.Unknown,
	})
	m := price.Price(f, farm())
	// The density at the 10th percentile is thin: one standard error of 1,000
	// draws is sqrt(0.1*0.9/1000)/(2*1.117/(5.2*2.4)) = 0.053 points, 4.7 %.
	within(t, "low", m.SoFar.Low, 900*0.4*0.01117, 3*0.047)
	within(t, "mid", m.SoFar.Mid, 900*0.4*0.02502, 0.03)
	within(t, "high", m.SoFar.High, 900*0.4*0.03993, 0.02)
	// 40 acres of field are left, of which one row of 16 plants 2.5.
	within(t, "still to save", m.StillToSave.Mid, 2.5*900*0.4*0.02502, 0.03)
	if got := price.Relations(f); len(got) != 1 || got[0] != "R17-fertilizer" {
		t.Errorf("it rests on %v, want R17", got)
	}
	f.Harm[0].Crop = "soybeans"
	if m := price.Price(f, farm()); len(m.Needs) == 0 || !strings.Contains(m.Needs[0].Text, "soybeans") {
		t.Errorf("another crop needs %v", m.Needs)
	}
}

// R13, uncleared heavy residue, a guess: 0 / 3 / 8 % of yield, and nothing in 15
// of 100 draws, so that the low end is 0. By hand the triangle has its 50th and
// 90th percentile at 8 - sqrt(0.5*8*5) = 3.528 and 8 - sqrt(0.1*8*5) = 6 %. Half
// of an acre at $900.
func TestSlotResidue(t *testing.T) {
	f := finding(evenstand.KindDirtyFurrow, evenstand.CauseCleanerLight, evenstand.Harm{
		Kind: evenstand.SlotResidue, Amount: point(0.5 * evenstand.Acre), Area: evenstand.Acre, Ratio: evenstand.Unknown, Share: 0.5, Target: evenstand.Unknown,
	})
	m := price.Price(f, farm())
	if m.SoFar.Low != 0 {
		t.Errorf("low %v, want 0", m.SoFar.Low)
	}
	within(t, "mid", m.SoFar.Mid, 900*0.5*0.03528, 0.05)
	within(t, "high", m.SoFar.High, 900*0.5*0.06, 0.03)
	if !strings.Contains(m.Assumed, "a guess") {
		t.Errorf("assumed %q", m.Assumed)
	}
	if got := price.Relations(f); len(got) != 1 || got[0] != "R13-residue" {
		t.Errorf("it rests on %v, want R13", got)
	}
	f.Harm[0].Crop = "soybeans"
	if m := price.Price(f, farm()); len(m.Needs) == 0 || !strings.Contains(m.Needs[0].Text, "soybeans") {
		t.Errorf("another crop needs %v", m.Needs)
	}
}

// What no relation prices says what it needs, and never a sum.
func TestNotPriced(t *testing.T) {
	for _, tt := range []struct {
		kind string
		ev   []evenstand.Evidence
		want string
	}{
		{evenstand.KindContactLoss, nil, "dig ten seeds"},
		{evenstand.KindOverload, nil, "count stands"},
		{evenstand.KindDryFurrow, nil, "count stands"},
		{evenstand.KindColdFurrow, nil, "count stands"},
		{evenstand.KindCleanerUpset, nil, "dig ten seeds"},
		{evenstand.KindSlotOpen, nil, "count stands"},
		{evenstand.KindLiquidRowLow, nil, "what the liquid is"},
		{evenstand.KindLiquidRowHigh, nil, "the price of the product"},
		{evenstand.KindForceHunting, nil, "dig ten seeds"},
		{evenstand.KindFlowHunting, nil, "swings about the right mean"},
		{evenstand.KindPumpLimit, nil, "what the liquid is"},
		{evenstand.KindLiquidRateOff, []evenstand.Evidence{{Name: "liquid over its target", Value: 1.06}}, "the price of the product"},
		{evenstand.KindLiquidRateOff, []evenstand.Evidence{{Name: "liquid over its target", Value: 0.94}}, "what the liquid is"},
		{evenstand.KindGranularRowOff, nil, "the price of the product"},
		{evenstand.KindGranularRateOff, nil, "the price of the product"},
	} {
		f := finding(tt.kind, "", evenstand.Harm{})
		f.Harm, f.Evidence = nil, tt.ev
		m := price.Price(f, farm())
		if len(m.Needs) != 1 || !strings.Contains(m.Needs[0].Text, tt.want) {
			t.Errorf("%s needs %q, want %q in it", tt.kind, m.Needs, tt.want)
		}
		if m.SoFar.Mid == m.SoFar.Mid { // not NaN
			t.Errorf("%s is priced at %v", tt.kind, m.SoFar)
		}
	}
}

package advise_test

import (
	"slices"
	"testing"
	"time"

	"evenstand"
	"evenstand/core/advise"
)

func TestGranuleSentences(t *testing.T) {
	chicago, err := time.LoadLocation("America/Chicago")
	if err != nil {
		t.Fatal(err)
	}
	at, err := evenstand.ParseTime("2026-05-02T14:12:00-05:00", chicago)
	if err != nil {
		t.Fatal(err)
	}
	ev := func(name string, v float64, unit string) evenstand.Evidence {
		return evenstand.Evidence{Name: name, Value: evenstand.Number(v), Low: evenstand.Unknown, High: evenstand.Unknown, N: evenstand.Unknown, Unit: unit}
	}
	const lbAc = evenstand.Pound / evenstand.Acre
	for _, tt := range []struct {
		f    evenstand.Finding
		want string
		over bool
	}{
		{evenstand.Finding{Kind: evenstand.KindGranularRowOff, Rows: evenstand.Rows{6}, Evidence: []evenstand.Evidence{ev("granules over its peers'", 0.05, "")}}, "Row 6 gets hardly any granules since 2:12 pm.", false},
		{evenstand.Finding{Kind: evenstand.KindGranularRowOff, Rows: evenstand.Rows{6, 7}, Evidence: []evenstand.Evidence{ev("granules over its peers'", 1.3, "")}}, "Rows 6 and 7 get 30% more granules than their peers since 2:12 pm.", true},
		{evenstand.Finding{Kind: evenstand.KindGranularRateOff, Rows: evenstand.Rows{6, 7}, Evidence: []evenstand.Evidence{ev("granules over their target", 0.92, "")}}, "The planter puts on 8% fewer granules than asked for since 2:12 pm.", false},
		{evenstand.Finding{Kind: evenstand.KindLabelCap, Field: "north place", Evidence: []evenstand.Evidence{
			ev("most of insecticide in the season", 9.4*lbAc, "kg/m2"), ev("limit of insecticide in the season", 8.7*lbAc, "kg/m2"),
			ev("ground over the limit", 3*evenstand.Acre, "m2"), ev("ground near the limit or over it", 4*evenstand.Acre, "m2"),
		}}, "9.4 lb/ac of insecticide went on in the season in north place since 2:12 pm, over the 8.7 lb/ac that you entered, on 3 ac.", true},
		{evenstand.Finding{Kind: evenstand.KindLabelCap, Field: "north place", Evidence: []evenstand.Evidence{
			ev("most of starter in one pass", 4.8*evenstand.Gallon/evenstand.Acre, "m3/m2"), ev("limit of starter in one pass", 5*evenstand.Gallon/evenstand.Acre, "m3/m2"),
			ev("ground over the limit", 0, "m2"), ev("ground near the limit or over it", 4*evenstand.Acre, "m2"),
		}}, "4.8 gal/ac of starter went on in one pass in north place since 2:12 pm, near the 5 gal/ac that you entered, on 4 ac.", true},
	} {
		tt.f.Since, tt.f.SinceLow, tt.f.SinceHigh = at, at, at
		v := advise.Voice{Zone: chicago, Units: evenstand.US, AsOf: at}
		if got := advise.Sentence(&tt.f, v); got != tt.want {
			t.Errorf("got  %s\nwant %s", got, tt.want)
		}
		advise.Fill(&tt.f, v)
		if got := slices.Contains(tt.f.Advice.Cautions, advise.CautionOver); got != tt.over {
			t.Errorf("%s: the caution about compliance is %v, want %v", tt.want, got, tt.over)
		}
		if !slices.Contains(tt.f.Advice.Cautions, advise.CautionLabel) {
			t.Errorf("%s: the label is not named", tt.want)
		}
	}
}

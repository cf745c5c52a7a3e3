package advise_test

import (
	"testing"
	"time"

	"evenstand"
	"evenstand/core/advise"
)

func TestFieldSentences(t *testing.T) {
	chicago, err := time.LoadLocation("America/Chicago")
	if err != nil {
		t.Fatal(err)
	}
	ev := func(name string, v, n float64, unit string) evenstand.Evidence {
		return evenstand.Evidence{Name: name, Value: evenstand.Number(v), Low: evenstand.Unknown, High: evenstand.Unknown, N: evenstand.Number(n), Unit: unit}
	}
	for _, tt := range []struct {
		f  evenstand.Finding
		us string
		si string
	}{
		{
			evenstand.Finding{Kind: evenstand.KindUnplantedLeft, Rows: evenstand.Rows{7}, Evidence: []evenstand.Evidence{ev("ground not planted", 152, 1, "m2"), ev("longest strip", 200, 0, "m"), ev("its width", 0.762, 0, "m")}, Causes: []evenstand.Cause{{Cause: evenstand.CauseRowsOff, Probability: 0.97}}},
			"0.038 ac in north place is not planted, one piece 656 ft long and 2.5 ft wide, under row 7: almost certainly rows that were off or without seed (30 to 1).",
			"0.015 ha in north place is not planted, one piece 200 m long and 76 cm wide, under row 7: almost certainly rows that were off or without seed (30 to 1).",
		},
		{
			evenstand.Finding{Kind: evenstand.KindLateSection, Evidence: []evenstand.Evidence{ev("rows go in late by", 4, 30, "m"), ev("which took the bar", 2, 0, "s")}, Causes: []evenstand.Cause{{Cause: evenstand.CauseSectionDelay, Probability: 0.7}}},
			"Rows go in 13 ft late in north place (2 s), which leaves ground at the ends of passes: likely the delay of the sections (2 to 1).",
			"Rows go in 4 m late in north place (2 s), which leaves ground at the ends of passes: likely the delay of the sections (2 to 1).",
		},
		{
			evenstand.Finding{Kind: evenstand.KindLateSection, Evidence: []evenstand.Evidence{ev("rows come out late by", -3, 30, "m")}},
			"Rows come out 9.8 ft early in north place, which leaves ground at the ends of passes.",
			"Rows come out 3 m early in north place, which leaves ground at the ends of passes.",
		},
		{
			evenstand.Finding{Kind: evenstand.KindGuessRow, Evidence: []evenstand.Evidence{ev("guess rows too wide by", -0.2, 30, "m"), ev("from pass to pass they scatter by", 0.02, 30, "m")}},
			"Passes lie 7.9 in too close in north place.", "Passes lie 20 cm too close in north place.",
		},
		{
			evenstand.Finding{Kind: evenstand.KindOverlap, Evidence: []evenstand.Evidence{ev("ground planted twice", 8094, 30, "m2"), ev("of what was planted", 0.034, 0, "fraction")}},
			"2 ac in north place, 3.4% of what was planted, is planted twice.", "0.81 ha in north place, 3.4% of what was planted, is planted twice.",
		},
	} {
		tt.f.Field = "north place"
		for _, v := range []struct {
			units evenstand.Units
			want  string
		}{{evenstand.US, tt.us}, {evenstand.Metric, tt.si}} {
			if got := advise.Sentence(&tt.f, advise.Voice{Zone: chicago, Units: v.units}); got != v.want {
				t.Errorf("got  %s\nwant %s", got, v.want)
			}
		}
	}
}

func TestAloneSentences(t *testing.T) {
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
	for _, tt := range []struct {
		f    evenstand.Finding
		want string
	}{
		{evenstand.Finding{Kind: evenstand.KindSeedWithoutLiquid, Evidence: []evenstand.Evidence{ev("planted without liquid", 240, "s")}}, "Seed falls and no liquid runs since 2:12 pm, 4 min of planting."},
		{evenstand.Finding{Kind: evenstand.KindPuddle, Evidence: []evenstand.Evidence{ev("ran while the planter stood", 0.0038, "m3"), ev("at stops", 5, "")}}, "1 gal of liquid ran out while the planter stood, at 5 stops since 2:12 pm."},
		{evenstand.Finding{Kind: evenstand.KindLiquidWithoutSeed, Evidence: []evenstand.Evidence{ev("ran while the planter was lifted", 0.038, "m3"), ev("at turns", 1, "")}}, "10 gal of liquid ran out while the planter was lifted, at one turn since 2:12 pm."},
	} {
		tt.f.Since, tt.f.SinceLow, tt.f.SinceHigh = at, at, at
		if got := advise.Sentence(&tt.f, advise.Voice{Zone: chicago, Units: evenstand.US, AsOf: at}); got != tt.want {
			t.Errorf("got  %s\nwant %s", got, tt.want)
		}
	}
}

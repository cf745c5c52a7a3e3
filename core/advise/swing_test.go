package advise_test

import (
	"slices"
	"strings"
	"testing"

	"evenstand"
	"evenstand/core/advise"
)

// By hand: 111 N are 25 lb, 11 kg; 16 m are 52 ft; 3.58 m/s are 8 mph, 13 km/h.
func TestSwingSentences(t *testing.T) {
	end := at(15, 5)
	rows := ev("rows that swing", 12, "")
	rows.N = 12
	all := evenstand.Rows{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12}
	for _, tt := range []struct {
		name string
		v    advise.Voice
		f    evenstand.Finding
		want string
	}{
		{
			"a row's force", us,
			evenstand.Finding{
				Kind: evenstand.KindForceHunting, Rows: evenstand.Rows{7}, Since: at(9, 40), Causes: causes(evenstand.CauseForceRow, 0.8),
				Evidence: []evenstand.Evidence{ev("force swings either way by", 111, "N"), ev("a swing takes", 2.2, "s")},
			},
			"The force of row 7 swings by 25 lb either way every 2.2 s since 9:40 am: likely the row's cylinder, air bag or valve (4 to 1).",
		},
		{
			"that of all rows", metric,
			evenstand.Finding{
				Kind: evenstand.KindForceHunting, Rows: all, Since: at(14, 40), Until: &end,
				Evidence: []evenstand.Evidence{ev("force swings either way by", 111, "N"), ev("a swing takes", 2.2, "s"), rows},
			},
			"The force of all rows swung by 11 kg either way every 2.2 s from 14:40 to 15:05.",
		},
		{
			"liquid", us,
			evenstand.Finding{
				Kind: evenstand.KindFlowHunting, Rows: all, Since: at(9, 40), Causes: causes(evenstand.CauseFlowGain, 0.86),
				Evidence: []evenstand.Evidence{ev("liquid swings either way by", 0.12, "fraction"), ev("a swing takes", 4, "s"), ev("from thick to thick", 16, "m"), ev("liquid over its target", 1.003, "")},
			},
			"Liquid swings by 12% either way every 4 s since 9:40 am, in strips of 52 ft; its mean is right: likely the gain of the liquid's valve (6 to 1).",
		},
		{
			"liquid, over", us,
			evenstand.Finding{
				Kind: evenstand.KindFlowHunting, Rows: all, Since: at(9, 40), Until: &end,
				Evidence: []evenstand.Evidence{ev("liquid swings either way by", 0.12, "fraction"), ev("liquid over its target", 1.003, "")},
			},
			"Liquid swung by 12% either way from 9:40 am to 3:05 pm; its mean was right.",
		},
		{
			"a pump", us,
			evenstand.Finding{
				Kind: evenstand.KindPumpLimit, Rows: all, Since: at(9, 40), Causes: causes(evenstand.CauseStrainer, 0.79),
				Evidence: []evenstand.Evidence{ev("keeps up with", 3.576, "m/s"), ev("liquid over its target above that", 0.9, ""), ev("kept up at first with", 3.93, "m/s")},
			},
			"The liquid keeps up only to 8 mph since 9:40 am, at first to 8.8 mph, and is 10% short above it: likely the suction strainer (4 to 1).",
		},
		{
			"a pump, over", metric,
			evenstand.Finding{Kind: evenstand.KindPumpLimit, Rows: all, Since: at(9, 40), Until: &end, Evidence: []evenstand.Evidence{ev("keeps up with", 3.576, "m/s")}},
			"The liquid kept up only to 13 km/h from 09:40 to 15:05.",
		},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if got := advise.Sentence(&tt.f, tt.v); got != tt.want {
				t.Errorf("got  %s\nwant %s", got, tt.want)
			}
		})
	}
}

// Each has advice with its cautions, a moment, and what cannot be said.
func TestSwingAdvice(t *testing.T) {
	for _, tt := range []struct {
		kind, cause string
		when        evenstand.When
		outside     bool // the first step leaves the seat
		cautions    []string
		say         string
	}{
		{evenstand.KindForceHunting, evenstand.CauseForceGain, evenstand.Tonight, false, []string{advise.CautionOff}, "how deep the seed lies"},
		{evenstand.KindForceHunting, evenstand.CauseForceRow, evenstand.Tonight, true, []string{advise.CautionForce, advise.CautionUnder}, "no load on the gauge wheels"},
		{evenstand.KindForceHunting, evenstand.CauseForceAir, evenstand.Tonight, true, []string{advise.CautionForce}, "how deep the seed lies"},
		{evenstand.KindFlowHunting, evenstand.CauseFlowGain, evenstand.Now, false, []string{advise.CautionLabel}, "the time or to the distance"},
		{evenstand.KindFlowHunting, evenstand.CauseLiquidAir, evenstand.Now, true, []string{advise.CautionLiquid, advise.CautionLabel}, "what the strips get"},
		{evenstand.KindFlowHunting, evenstand.CausePumpDrive, evenstand.Now, true, []string{advise.CautionOff}, "what the strips get"},
		{evenstand.KindPumpLimit, evenstand.CauseStrainer, evenstand.Now, true, []string{advise.CautionLiquid, advise.CautionLabel}, "the strainer or the pump"},
		{evenstand.KindPumpLimit, evenstand.CausePumpWorn, evenstand.Now, true, []string{advise.CautionLiquid}, "the strainer or the pump"},
	} {
		f := evenstand.Finding{Kind: tt.kind, Grade: evenstand.GradeB, Rows: evenstand.Rows{3}, Causes: causes(tt.cause, 0.9)}
		advise.Fill(&f, us)
		if f.Advice.Do == "" || f.Advice.Minutes == 0 || f.Advice.Who == "" || f.When != tt.when {
			t.Errorf("%s, %s: %+v, %s", tt.kind, tt.cause, f.Advice, f.When)
		}
		for _, c := range tt.cautions {
			if !slices.Contains(f.Advice.Cautions, c) {
				t.Errorf("%s, %s: no %q", tt.kind, tt.cause, c)
			}
		}
		if !strings.Contains(strings.Join(f.Say, " "), tt.say) {
			t.Errorf("%s: no %q in %q", tt.kind, tt.say, f.Say)
		}
		if got := slices.Contains(advise.Brief(&f), advise.CautionShort); got != tt.outside {
			t.Errorf("%s, %s: outside the cab %v", tt.kind, tt.cause, got)
		}
	}
	// A log of one reading a second says so.
	f := evenstand.Finding{Kind: evenstand.KindForceHunting, Rows: evenstand.Rows{3}, Evidence: []evenstand.Evidence{ev("readings a second", 1, "")}}
	advise.Fill(&f, us)
	if !strings.Contains(strings.Join(f.Say, " "), "swings under 0.5 a second only") {
		t.Errorf("%q", f.Say)
	}
	end := at(15, 5)
	for _, kind := range []string{evenstand.KindForceHunting, evenstand.KindFlowHunting, evenstand.KindPumpLimit} {
		f := evenstand.Finding{Kind: kind, Rows: evenstand.Rows{3}, Until: &end}
		advise.Fill(&f, us)
		if !strings.Contains(f.Advice.Do, "It ended by itself") || f.Advice.Minutes == 0 {
			t.Errorf("%s, over: %+v", kind, f.Advice)
		}
	}
}

package advise_test

import (
	"strings"
	"testing"

	"evenstand"
	"evenstand/core/advise"
)

func TestLiquidSentence(t *testing.T) {
	end := at(15, 5)
	for _, tt := range []struct {
		name string
		v    advise.Voice
		f    evenstand.Finding
		want string
	}{
		{
			"a row gets less", us,
			evenstand.Finding{
				Kind: "liquid-row-low", Rows: evenstand.Rows{5}, Since: at(9, 40), Causes: causes(evenstand.CauseOrificePlugged, 0.8),
				Evidence: []evenstand.Evidence{ev("flow over its peers'", 0.62, "")},
			},
			"Row 5 gets 38% less liquid than its peers since 9:40 am: likely a plugged orifice or strainer (4 to 1).",
		},
		{
			"a row gets none", us,
			evenstand.Finding{Kind: "liquid-row-low", Rows: evenstand.Rows{5}, Since: at(9, 40), Evidence: []evenstand.Evidence{ev("flow over its peers'", 0.05, "")}},
			"Row 5 gets hardly any liquid since 9:40 am.",
		},
		{
			"rows got more", metric,
			evenstand.Finding{Kind: "liquid-row-high", Rows: evenstand.Rows{5, 6}, Since: at(14, 40), Until: &end, Evidence: []evenstand.Evidence{ev("flow over its peers'", 1.18, "")}},
			"Rows 5 and 6 got 18% more liquid than their peers from 14:40 to 15:05.",
		},
		{
			"the machine", us,
			evenstand.Finding{Kind: "liquid-rate-off", Rows: evenstand.Rows{1, 2}, Since: at(9, 40), Evidence: []evenstand.Evidence{ev("liquid over its target", 0.94, ""), ev("by the machine's own meter", 0.94, "")}},
			"The planter puts on 6% less liquid than asked for since 9:40 am.",
		},
		{
			"only the rows' meters show it", us,
			evenstand.Finding{Kind: "liquid-rate-off", Rows: evenstand.Rows{1, 2}, Since: at(9, 40), Evidence: []evenstand.Evidence{ev("liquid over its target", 1.06, ""), ev("by the machine's own meter", 1.002, "")}},
			"The planter puts on 6% more liquid than asked for since 9:40 am, by the rows' meters; the machine's own shows the target.",
		},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if got := advise.Sentence(&tt.f, tt.v); got != tt.want {
				t.Errorf("got  %s\nwant %s", got, tt.want)
			}
		})
	}
}

// Where work can hurt: liquid under pressure, and the label that governs the
// product.
func TestLiquidCautions(t *testing.T) {
	for _, tt := range []struct {
		kind, cause string
	}{
		{"liquid-row-low", evenstand.CauseOrificePlugged},
		{"liquid-row-high", evenstand.CauseLiquidHose},
		{"liquid-rate-off", evenstand.CausePump},
		{"liquid-rate-off", evenstand.CauseLiquidControl}, // from the seat, but a minute is caught to find out
	} {
		f := evenstand.Finding{Kind: tt.kind, Causes: causes(tt.cause, 0.9)}
		advise.Fill(&f, us)
		got := strings.Join(f.Advice.Cautions, " ")
		if !strings.Contains(got, "The label is the law") {
			t.Errorf("%s: the label is not named: %s", tt.kind, got)
		}
		for _, c := range []string{advise.CautionOff, advise.CautionLiquid, advise.CautionCatch, "eye cover"} {
			if !strings.Contains(got, c) {
				t.Errorf("%s, %s: no %q in %s", tt.kind, tt.cause, c, got)
			}
		}
		if !strings.Contains(strings.Join(f.Say, " "), "catch a minute") {
			t.Errorf("%s: no hand check in %q", tt.kind, f.Say)
		}
	}
}

// By hand: 1 lbf = 4.44822 N, 1 kgf = 9.80665 N; 445 N are 100 lb, 392 N 40 kg.
func TestLoadSentence(t *testing.T) {
	end := at(15, 5)
	zone := evenstand.Evidence{Name: "change of force that suits", Value: 400, Low: 267, High: 534, Unit: "N"}
	rest := evenstand.Evidence{Name: "change of force that suits elsewhere", Value: 10, Low: -90, High: 100, Unit: "N"}
	for _, tt := range []struct {
		name  string
		v     advise.Voice
		f     evenstand.Finding
		want  string
		force string
	}{
		{
			"a row off the ground", us,
			evenstand.Finding{
				Kind: "contact-loss", Rows: evenstand.Rows{7}, Since: at(9, 40), Causes: causes(evenstand.CauseForceRow, 0.86),
				Evidence: []evenstand.Evidence{ev("off the ground", 0.18, ""), ev("off the ground, its peers", 0.007, "")},
			},
			"Row 7's gauge wheels are off the ground 18% of the way since 9:40 am, its peers' 0.7%: likely the row's cylinder, air bag or valve (6 to 1).",
			"",
		},
		{
			"hard ground", us,
			evenstand.Finding{
				Kind: "contact-loss", Rows: evenstand.Rows{1, 2}, Since: at(14, 40), Until: &end, Causes: causes(evenstand.CauseForceLight, 0.9),
				Evidence: []evenstand.Evidence{ev("off the ground", 0.09, ""), ev("off the ground elsewhere", 0.008, ""), ev("needs more force than elsewhere", 390, "N"), zone, rest},
			},
			"The gauge wheels were off the ground 9% of the way where the ground needs most force from 2:40 pm to 3:05 pm, elsewhere 0.8%: almost certainly force that is too light for this ground (9 to 1).",
			"",
		},
		{
			"heavier than it needs", metric,
			evenstand.Finding{
				Kind: "overload", Rows: evenstand.Rows{1, 2}, Since: at(14, 40), Causes: causes(evenstand.CauseForceHeavy, 0.9),
				Evidence: []evenstand.Evidence{
					ev("spare load", 392, "N"), ev("spare load elsewhere", -20, "N"), ev("needs more force than elsewhere", -390, "N"),
					{Name: "change of force that suits", Value: -392, Low: -490, High: -294, Unit: "N"},
					rest,
				},
			},
			"The rows carry 40 kg more than they need where the ground needs least force since 14:40, elsewhere 0 kg: almost certainly force that is set heavier than the ground needs (9 to 1).",
			"By the loads, where the ground needs least force take off 30 kg to 50 kg; elsewhere leave the force as it is.",
		},
		{
			"everywhere too light", us,
			evenstand.Finding{Kind: "contact-loss", Rows: evenstand.Rows{1, 2}, Since: at(14, 40), Evidence: []evenstand.Evidence{ev("off the ground", 0.09, ""), zone}},
			"The gauge wheels are off the ground 9% of the way since 2:40 pm.",
			"By the loads, add 60 lb to 120 lb.",
		},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if got := advise.Sentence(&tt.f, tt.v); got != tt.want {
				t.Errorf("got  %s\nwant %s", got, tt.want)
			}
			advise.Fill(&tt.f, tt.v)
			if !strings.Contains(tt.f.Advice.Do, tt.force) {
				t.Errorf("advice %q, want %q in it", tt.f.Advice.Do, tt.force)
			}
		})
	}
}

// Rows are pressed down by oil or air: it can hurt someone where a row's own
// parts are touched, not where a number is changed in the cab. Every one asks
// for a look into the furrow.
func TestLoadCautions(t *testing.T) {
	for _, tt := range []struct {
		kind, cause string
		oil         bool
	}{
		{"contact-loss", evenstand.CauseForceRow, true},
		{"contact-loss", evenstand.CauseOpenerWorn, true},
		{"contact-loss", evenstand.CauseForceLight, false},
		{"overload", evenstand.CauseForceHeavy, false},
	} {
		f := evenstand.Finding{Kind: tt.kind, Causes: causes(tt.cause, 0.9)}
		advise.Fill(&f, us)
		got := strings.Join(f.Advice.Cautions, " ")
		if strings.Contains(got, "a fine jet of oil") != tt.oil || !strings.Contains(got, "key out") {
			t.Errorf("%s, %s: %s", tt.kind, tt.cause, got)
		}
		if len(f.Say) == 0 || !strings.Contains(strings.Join(f.Say, " "), "to find out: ") {
			t.Errorf("%s: no hand check in %q", tt.kind, f.Say)
		}
	}
}

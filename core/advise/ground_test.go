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
// product; the box is set from the seat.
func TestLiquidCautions(t *testing.T) {
	for _, tt := range []struct {
		kind, cause string
		pressure    bool
	}{
		{"liquid-row-low", evenstand.CauseOrificePlugged, true},
		{"liquid-row-high", evenstand.CauseLiquidHose, true},
		{"liquid-rate-off", evenstand.CausePump, true},
		{"liquid-rate-off", evenstand.CauseLiquidControl, false},
	} {
		f := evenstand.Finding{Kind: tt.kind, Causes: causes(tt.cause, 0.9)}
		advise.Fill(&f, us)
		got := strings.Join(f.Advice.Cautions, " ")
		if !strings.Contains(got, "The label is the law") {
			t.Errorf("%s: the label is not named: %s", tt.kind, got)
		}
		if strings.Contains(got, "the pressure let out") != tt.pressure || strings.Contains(got, "key out") != tt.pressure {
			t.Errorf("%s, %s: %s", tt.kind, tt.cause, got)
		}
		if !strings.Contains(strings.Join(f.Say, " "), "catch a minute") {
			t.Errorf("%s: no hand check in %q", tt.kind, f.Say)
		}
	}
}

package advise_test

import (
	"strings"
	"testing"

	"evenstand"
	"evenstand/core/advise"
)

func TestFurrowSentences(t *testing.T) {
	all := evenstand.Rows{1, 2, 3, 4}
	end := at(16, 30)
	evs := func(xs ...evenstand.Evidence) []evenstand.Evidence { return xs }
	metric := us
	metric.Units = evenstand.Metric
	for _, tt := range []struct {
		v    advise.Voice
		f    evenstand.Finding
		want string
	}{
		{
			us,
			evenstand.Finding{Kind: "dry-furrow", Rows: all, Causes: causes(evenstand.CauseSoilThere, 0.9), Evidence: evs(ev("ground drier than the limit", 0.83, "fraction"), ev("ground drier than the limit elsewhere", 0.04, "fraction"), ev("needs more force than elsewhere", -350, "N"), ev("limit, by default", 0.16, "fraction"))},
			"The seed zone is drier than 16% on 83% of the ground where the ground needs least force since 2:12 pm, elsewhere on 4%: almost certainly the soil of that zone (9 to 1).",
		},
		{
			us,
			evenstand.Finding{Kind: "cold-furrow", Rows: all, Until: &end, Evidence: evs(ev("ground colder than the limit", 0.6, "fraction"), ev("limit, by default", 10, "degC"))},
			"The seed zone was colder than 50 °F on 60% of the ground from 2:12 pm to 4:30 pm.",
		},
		{
			metric,
			evenstand.Finding{Kind: "cold-furrow", Rows: all, Evidence: evs(ev("ground colder than the limit", 0.6, "fraction"), ev("limit that was set", 8, "degC"))},
			"The seed zone is colder than 8 °C on 60% of the ground since 14:12.",
		},
		{
			us,
			evenstand.Finding{Kind: "dirty-furrow", Rows: all, Evidence: evs(ev("ground more trash than the limit", 0.7, "fraction"), ev("limit, by default", 0.25, "fraction"))},
			"The slot holds more trash than 25% on 70% of the ground since 2:12 pm.",
		},
		{
			us,
			evenstand.Finding{Kind: "dry-furrow", Rows: evenstand.Rows{3}, Evidence: evs(ev("seed-zone moisture below its peers'", 0.04, "fraction"))},
			"Row 3's seed zone is 4 points drier than its peers' since 2:12 pm.",
		},
		{
			us,
			evenstand.Finding{Kind: "cold-furrow", Rows: evenstand.Rows{3}, Evidence: evs(ev("seed-zone temperature over its peers'", -1.5, "K"))},
			"Row 3's seed zone is 2.7 °F colder than its peers' since 2:12 pm.",
		},
		{
			us,
			evenstand.Finding{Kind: "dirty-furrow", Rows: evenstand.Rows{3}, Evidence: evs(ev("trash in the slot over its peers'", 0.2, "fraction"))},
			"Row 3's slot holds 20 points more trash than its peers' since 2:12 pm.",
		},
		{
			us,
			evenstand.Finding{Kind: "cleaner-upset", Rows: evenstand.Rows{3}, Evidence: evs(ev("in bursts", 0.3, "fraction"), ev("trash in a burst over its peers'", 0.25, "fraction"), ev("load below its neighbours'", 90, "N"))},
			"Row 3 drags residue in bursts since 2:12 pm, 25 points more trash in the slot than its peers, and its wheels carry 20 lb less.",
		},
		{
			us,
			evenstand.Finding{Kind: "slot-open", Rows: evenstand.Rows{3}, Evidence: evs(ev("digs that found it", 1, ""))},
			"A dig found the slot open behind row 3 at 2:12 pm.",
		},
		{
			us,
			evenstand.Finding{Kind: "slot-open", Rows: evenstand.Rows{3, 4}, Evidence: evs(ev("digs that found it", 3, ""))},
			"3 digs found the slot open behind rows 3 and 4 since 2:12 pm.",
		},
	} {
		tt.f.Since, tt.f.SinceLow, tt.f.SinceHigh = at(14, 12), at(14, 12), at(14, 12)
		if got := advise.Sentence(&tt.f, tt.v); got != tt.want {
			t.Errorf("got  %s\nwant %s", got, tt.want)
		}
	}
}

// Who looks into a furrow or at a cleaner stands beside the machine, and seed is
// treated; the weather is looked at from the seat.
func TestFurrowCautions(t *testing.T) {
	for _, tt := range []struct {
		kind, cause string
		want        []string
	}{
		{"dry-furrow", evenstand.CauseDrying, []string{}},
		{"dry-furrow", evenstand.CauseClosing, []string{advise.CautionShort, advise.CautionGloves}},
		{"cleaner-upset", evenstand.CauseCleanerPlugged, []string{advise.CautionShort}},
		{"cleaner-upset", evenstand.CauseCleanerAir, []string{advise.CautionShort, advise.CautionForce}},
		{"slot-open", evenstand.CauseWetWall, []string{advise.CautionShort, advise.CautionGloves}},
	} {
		f := evenstand.Finding{Kind: tt.kind, Causes: causes(tt.cause, 0.9), Rows: evenstand.Rows{3}}
		advise.Fill(&f, us)
		if got := strings.Join(advise.Brief(&f), "|"); got != strings.Join(tt.want, "|") {
			t.Errorf("%s, %s: %q", tt.kind, tt.cause, got)
		}
		if len(f.Say) == 0 || !strings.Contains(strings.Join(f.Say, " "), "to find out: ") {
			t.Errorf("%s: no hand check in %q", tt.kind, f.Say)
		}
		if f.Advice.Do == "" || f.Advice.Minutes == 0 || f.When != evenstand.Now {
			t.Errorf("%s, %s: %+v, %s", tt.kind, tt.cause, f.Advice, f.When)
		}
	}
}

package record_test

import (
	"strings"
	"testing"

	"evenstand"
	"evenstand/core/advise"
	"evenstand/core/record"
)

// checked is a finding that something was done about.
func checked(id, verdict string) evenstand.Finding {
	none := evenstand.Unknown
	return evenstand.Finding{
		ID: id, Kind: evenstand.KindRowSkips, Stage: evenstand.Raised, Status: evenstand.Checked, When: evenstand.NextStop, Sentence: "Row 7 skips.",
		CheckBack: &evenstand.CheckBack{
			Verdict: verdict, Says: advise.Capital(verdict) + ": skips are 5%.", By: "done", Measure: "skips", Unit: "fraction", Of: "stretches", Before: 0.05, Usual: 0.01, Line: 0.02, Peers: 0.012, PeersLow: none, PeersHigh: none,
			Course: []evenstand.CheckPoint{{Seen: 1, After: 0.05, Low: none, High: none}, {Seen: 90, After: 0.05, Low: 0.03, High: 0.07}},
		},
	}
}

// What did not work waits with what is open; what worked leaves the list, and is
// found under its own title when all is asked for.
func TestWhatWasCheckedBack(t *testing.T) {
	failed, worked := checked("aaaa", evenstand.VerdictFailed), checked("bbbb", evenstand.VerdictWorked)
	fs := []evenstand.Finding{failed, worked}
	w := record.Assemble("b", 0, "USD", fs, false)
	if len(w.Findings) != 1 || w.Findings[0].ID != "aaaa" || !record.Waiting(w) {
		t.Errorf("%d listed", len(w.Findings))
	}
	var titles []string
	for _, g := range record.Groups(record.Assemble("b", 0, "USD", fs, true)) {
		titles = append(titles, g.Title)
	}
	if got := strings.Join(titles, ", "); got != "Next stop, Worked" {
		t.Errorf("groups: %s", got)
	}
	if got := record.Since(&failed); got != "Skips are 5%." {
		t.Errorf("since: %q", got)
	}
	over := evenstand.Micros(5)
	failed.Until = &over
	if failed.Failed() {
		t.Error("what is over waits for nobody")
	}
}

func TestCheckLines(t *testing.T) {
	f := checked("aaaa", evenstand.VerdictOpen)
	var lines []string
	for _, l := range record.CheckLines(f.CheckBack, advise.Voice{}) {
		lines = append(lines, l.What+": "+l.Says)
	}
	got := strings.Join(lines, "; ")
	for _, want := range []string{"skips before: 5%", "other rows since: 1.2%", "after 1 stretch: 5%;", "after 90 stretches: 5% (3% to 7%)"} {
		if !strings.Contains(got, want) {
			t.Errorf("%q is missing in %s", want, got)
		}
	}
}

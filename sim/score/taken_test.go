package score_test

import (
	"testing"

	"evenstand"
	"evenstand/sim"
	"evenstand/sim/score"
)

// A fault found as asked, one taken for its look-alike, a distractor that
// nobody mistook and one that was: counted by hand.
func TestTakenFor(t *testing.T) {
	const minute = 60 * evenstand.Second
	fault := func(id, kind string, row int, distract bool, cause string) sim.Fault {
		return sim.Fault{ID: id, Kind: kind, Rows: evenstand.Rows{row}, From: 100 * minute, To: 130 * minute, Cause: cause, Causes: []string{cause}, Happened: true, Detectable: !distract, Distract: distract}
	}
	finding := func(kind string, row int, cause string) evenstand.Finding {
		return evenstand.Finding{Kind: kind, Stage: evenstand.Raised, Rows: evenstand.Rows{row}, Since: 101 * minute, Causes: []evenstand.Cause{{Cause: cause, Probability: 0.9}}}
	}
	truth := sim.Truth{Faults: []sim.Fault{
		fault("F01", evenstand.KindRowSkips, 1, false, evenstand.CauseSeal),
		fault("F02", evenstand.KindRowSkips, 2, false, evenstand.CauseSeal),
		fault("F03", evenstand.KindRowSkips, 3, false, evenstand.CauseSeal),
		fault("F04", evenstand.KindRowBounce, 4, true, evenstand.CauseTube),
		fault("F05", evenstand.KindRowBounce, 5, true, evenstand.CauseTube),
	}}
	r := score.Score([]evenstand.Finding{
		finding(evenstand.KindRowSkips, 1, evenstand.CauseSeal),
		finding(evenstand.KindRowDoubles, 2, evenstand.CauseSeal),
		finding(evenstand.KindRowSkips, 5, evenstand.CauseSeal),
	}, truth)
	m := r.Mistaken()
	for _, c := range []struct {
		kind, as string
		want     int
	}{
		{evenstand.KindRowSkips, evenstand.KindRowSkips, 1},
		{evenstand.KindRowSkips, evenstand.KindRowDoubles, 1},
		{evenstand.KindRowSkips, "", 1},
		{evenstand.KindRowBounce, "", 1},
		{evenstand.KindRowBounce, evenstand.KindRowSkips, 1},
	} {
		if got := m[c.kind][c.as]; got != c.want {
			t.Errorf("%s taken for %q %d times, want %d", c.kind, c.as, got, c.want)
		}
	}
	if s := r.Apart(evenstand.KindRowSkips, evenstand.KindRowBounce); s.N != 2 || s.Of != 5 {
		t.Errorf("told apart %d of %d, want 2 of 5: one found as asked, one distractor left alone", s.N, s.Of)
	}
}

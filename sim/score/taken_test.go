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

// What the log cannot tell is left open where the true cause is named at 10 to
// 1 or better, no other is asserted, and the advice says how to settle it.
func TestUndecided(t *testing.T) {
	const minute = 60 * evenstand.Second
	const dig = "First dig 10 ft of the row: if the seed lies there, wipe the sensor's eye."
	truth := sim.Truth{}
	var fs []evenstand.Finding
	for row, c := range []struct {
		sensor, seal float64
		do           string
	}{
		{0.16, 0.67, dig},
		{0.05, 0.80, dig},                       // the sensor hardly named
		{0.09, 0.88, dig},                       // 1 to 10.1
		{0.095, 0.91, dig},                      // asserted: 10.1 to 1
		{0.16, 0.67, "Look at the seal's lip."}, // no way to tell
		{0.16, 0.67, "Wipe the sensor's eye."},
	} {
		truth.Faults = append(truth.Faults, sim.Fault{
			Kind: sim.KindSensorMisses, Rows: evenstand.Rows{row + 1}, From: 100 * minute, To: 130 * minute,
			Causes: []string{evenstand.CauseSensor}, Excused: []string{evenstand.KindRowSkips}, Happened: true, Distract: true,
		})
		fs = append(fs, evenstand.Finding{
			Kind: evenstand.KindRowSkips, Stage: evenstand.Raised, Rows: evenstand.Rows{row + 1}, Since: 101 * minute, Advice: evenstand.Advice{Do: c.do},
			Causes: []evenstand.Cause{{Cause: evenstand.CauseSeal, Probability: c.seal}, {Cause: evenstand.CauseSensor, Probability: c.sensor}},
		})
	}
	quiet := truth.Faults[0] // of which nothing was raised
	quiet.Rows = evenstand.Rows{16}
	truth.Faults = append(truth.Faults, quiet)
	r := score.Score(fs, truth)
	if s, lo, hi := r.Undecided(sim.KindSensorMisses, 10); s.N != 1 || s.Of != 6 || lo != 0.05 || hi != 0.16 {
		t.Errorf("%d of %d left open, sensor by %g to %g; want 1 of 6, 0.05 to 0.16", s.N, s.Of, lo, hi)
	}
	if s, _, _ := r.Undecided(sim.KindDust, 10); s.Of != 0 {
		t.Errorf("%d of dust, want none", s.Of)
	}
}

// A variant, or one of several, picks the faults of a pair.
func TestApartByVariant(t *testing.T) {
	r := score.Report{Taken: []score.Taken{
		{Kind: evenstand.KindSensorDoubt, Variant: "drop-out", Demanded: true, Right: true, For: []string{evenstand.KindSensorDoubt}},
		{Kind: evenstand.KindSensorDoubt, Variant: "misses", Demanded: true, Right: true, For: []string{evenstand.KindRowSkips, evenstand.KindSensorDoubt}},
		{Kind: evenstand.KindSensorDoubt, Variant: "dust", Demanded: true},
		{Kind: evenstand.KindRowSkips, Variant: "seal", Demanded: true, Right: true, For: []string{evenstand.KindRowSkips}},
	}}
	for name, want := range map[string][2]int{"sensor-doubt drop-out": {2, 2}, "sensor-doubt drop-out|misses": {2, 3}, "sensor-doubt": {2, 4}} {
		if s := r.Apart(name, evenstand.KindRowSkips); s.N != want[0] || s.Of != want[1] {
			t.Errorf("%s: %d of %d, want %v", name, s.N, s.Of, want)
		}
	}
}

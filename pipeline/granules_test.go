package pipeline_test

import (
	"context"
	"math"
	"slices"
	"strings"
	"testing"

	"evenstand"
	"evenstand/pipeline"
)

// granuleDay is eight passes of four minutes on which four rows put on 5 kg/ha,
// row 3 nothing from minute 20 on; before minute 16 somebody writes down another
// lot than the planned one for rows 1 and 2. A log a row a second.
func granuleDay(t *testing.T) (d drill, in []evenstand.Stream) {
	t.Helper()
	d = drill{start: at("2026-05-02 12:00"), passes: 8, length: 240, pause: 20}
	fixes, seeds, reads := d.streams()
	var dry []evenstand.Reading
	dry = append(dry, evenstand.Reading{T: d.start, Quantity: evenstand.GranularRateTarget, Value: 5e-4})
	for s := range int(260 * 8) {
		if math.Mod(float64(s), 260) >= 240 {
			continue
		}
		for r := 1; r <= rows; r++ {
			v := 5e-4 * (1 + 0.01*float64((s*7+r*3)%5-2))
			if r == 3 && s >= 1200 {
				v = 0
			}
			dry = append(dry, evenstand.Reading{T: d.start + evenstand.Micros(s)*evenstand.Second, Quantity: evenstand.GranularRate, Element: evenstand.RowElement(r), Value: v})
		}
	}
	notes := []evenstand.Entry{
		{T: d.start - 60*evenstand.Second, What: "lot", Note: "A123"},
		{T: d.start + 1030*evenstand.Second, What: "lot", Rows: evenstand.Rows{1, 2}, Note: "B77"},
	}
	in = streams(fixes, seeds, reads)
	return d, append(in, evenstand.Stream{Source: source("granules", "one", 0), Readings: once(dry)}, evenstand.Stream{Source: source("journal", "one", 0), Entries: once(notes)})
}

// Settled and live the same two things are found; what lies beside them is not.
func TestGranulesAndLots(t *testing.T) {
	d, in := granuleDay(t)
	day := d.day("one")
	day.Streams, day.Plans = in, []evenstand.Plan{{Lot: "A123"}}
	_, res := settleDay(t, day)
	want := map[string]struct {
		rows  evenstand.Rows
		since evenstand.Micros
	}{
		evenstand.KindGranularRowOff: {evenstand.Rows{3}, d.start + 1200*evenstand.Second},
		evenstand.KindLotMismatch:    {evenstand.Rows{1, 2}, d.start + 1040*evenstand.Second},
	}
	check := func(how string, fs []evenstand.Finding) {
		t.Helper()
		n := 0
		for _, f := range fs {
			w, ok := want[f.Kind]
			if !ok {
				continue
			}
			n++
			if !slices.Equal(f.Rows, w.rows) || math.Abs((f.Since-w.since).Seconds()) > 15 {
				t.Errorf("%s: %s rows %v since %v, want rows %v since %v", how, f.Kind, f.Rows, f.Since, w.rows, w.since)
			}
		}
		if n != len(want) {
			t.Errorf("%s: %d of %d found: %+v", how, n, len(want), fs)
		}
	}
	check("settled", res.Findings)
	l, _ := feed(t, day)
	standing, _ := l.Standing()
	check("live", standing)
	day.Plans = nil
	if _, res := settleDay(t, day); slices.ContainsFunc(res.Findings, func(f evenstand.Finding) bool { return f.Kind == evenstand.KindLotMismatch }) {
		t.Error("a lot is wrong without a plan")
	}
	// What cannot be told is said.
	day.Streams, day.Plans = in[:len(in)-1], []evenstand.Plan{{Lot: "A123"}}
	said := func(res []string, what string) bool {
		return slices.ContainsFunc(res, func(n string) bool { return strings.Contains(n, what) })
	}
	if _, res := settleDay(t, day); !said(res.Notes, "nobody wrote down what was filled") {
		t.Errorf("notes %q", res.Notes)
	}
}

func settleDay(t *testing.T, day pipeline.Day) (*kept, pipeline.Result) {
	t.Helper()
	k := &kept{}
	res, err := pipeline.Settle(context.Background(), day, k)
	if err != nil {
		t.Fatal(err)
	}
	return k, res
}

package web

import (
	"slices"
	"testing"

	"evenstand"
)

// Two planters work one day: each has its own passes before and after, in the
// order of time; one steps to findings of the worklist alone, within the day.
func TestNeighbours(t *testing.T) {
	ix := passIndex{at: map[string]int{}}
	add := func(key, planter string, day evenstand.Day, start evenstand.Micros) {
		ix.at[key] = len(ix.all)
		ix.all = append(ix.all, evenstand.Pass{Key: key, Planter: planter, Start: start, End: start + 5})
		ix.day = append(ix.day, day)
	}
	add("a1", "a", "2026-05-01", 10)
	add("a2", "a", "2026-05-01", 30)
	add("b2", "b", "2026-05-01", 40) // not in the order of time
	add("b1", "b", "2026-05-01", 20)
	add("b3", "b", "2026-05-01", 60)
	add("a3", "a", "2026-05-02", 100)
	on := func(id, planter string, rows evenstand.Rows, keys ...string) evenstand.Finding {
		f := evenstand.Finding{ID: id, Planter: planter, Rows: rows, Stage: evenstand.Raised, Kind: evenstand.KindRowSkips}
		for _, k := range keys {
			f.Passes = append(f.Passes, evenstand.PassRef{Key: k})
		}
		return f
	}
	all := []evenstand.Finding{
		on("late", "b", nil, "b3"), on("x", "b", evenstand.Rows{4}, "b1", "b3"), on("y", "b", nil, "b1"), on("of-a", "a", nil, "a1", "a3"),
		on("guess", "b", nil, "b2"), on("aside", "b", nil, "b2"), on("over", "b", nil, "b2"), on("passing", "b", nil, "b2"),
	}
	all[0].Since, all[1].Since, all[2].Since = 62, 21, 21
	all[4].Stage, all[5].Status, all[6].Status, all[7].Kind = evenstand.Suspected, evenstand.SetAside, evenstand.Ended, evenstand.KindUpset
	ofA := []OnPass{{Pass: "a1", Finding: "of-a"}}
	ofB := []OnPass{{"b1", "x", 4, 21}, {"b1", "y", 0, 21}, {"b3", "late", 0, 62}} // of equal times the smaller id first; each once
	for key, want := range map[string]PassView{
		"a1": {Next: "a2", Steps: ofA},
		"a2": {Previous: "a1", Next: "a3", Steps: ofA},
		"a3": {Previous: "a2", Steps: []OnPass{{Pass: "a3", Finding: "of-a"}}}, // another day
		"b1": {Next: "b2", Steps: ofB},
		"b2": {Previous: "b1", Next: "b3", Steps: ofB},
		"b3": {Previous: "b2", Steps: ofB},
	} {
		var got PassView
		ix.neighbours(&got, &ix.all[ix.at[key]], all)
		if got.Previous != want.Previous || got.Next != want.Next || !slices.Equal(got.Steps, want.Steps) {
			t.Errorf("%s: %q %q %+v, want %q %q %+v", key, got.Previous, got.Next, got.Steps, want.Previous, want.Next, want.Steps)
		}
	}
}

func TestPositionGaps(t *testing.T) {
	w := way{pts: []evenstand.TrackPoint{{T: 0, S: 0}, {T: 1 * evenstand.Second, S: 2}, {T: 5 * evenstand.Second, S: 10}, {T: 7 * evenstand.Second, S: 14}}}
	if got := w.gaps(); len(got) != 1 || got[0] != (PositionGap{2, 10, 4}) {
		t.Errorf("%+v, want one from 2 to 10 m over 4 s", got)
	}
}

// The time of a place without a seed lies between those of the seeds around it,
// and that of the end of a hole on the way to the seed behind it.
func TestTimesOfMarks(t *testing.T) {
	seeds := []evenstand.PlacedSeed{
		{Row: 1, S: 1000, T: 1_000_000, Gap: -1},
		{Row: 1, S: 1480, T: 1_300_000, Gap: 480, Missing: 2},
		{Row: 1, S: 11480, T: 6_300_000, Gap: -1},
	}
	var m marks
	m.row(seeds, 0, 6480, false, 1, 500_000)
	want := []struct {
		kind uint8
		s, t int32
	}{{markBare, 6480, 3300}, {markSkip, 1160, 600}, {markSkip, 1320, 700}} // (1.0 + 0.3/3, 2/3) s less 0.5; halfway from 1.3 to 6.3
	if len(m.s) != len(want) {
		t.Fatalf("%d marks, want %d: %+v", len(m.s), len(want), m)
	}
	for i, w := range want {
		if m.kind[i] != w.kind || m.s[i] != w.s || m.t[i] != w.t {
			t.Errorf("mark %d: kind %d at %d mm, %d ms; want %+v", i, m.kind[i], m.s[i], m.t[i], w)
		}
	}
}

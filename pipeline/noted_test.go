package pipeline_test

import (
	"math"
	"slices"
	"testing"

	"evenstand"
	"evenstand/core/find"
)

// A dig that says that the slot is open is a finding, live from when it is
// written down, by the clock of its journal; one on rows that the planter has not
// is none, and one after the last pass counts as well.
func TestDigs(t *testing.T) {
	d := drill{start: at("2026-05-02 12:00"), passes: 4, length: 120, pause: 20}
	dig := func(after float64, rows evenstand.Rows, note string) evenstand.Entry {
		return evenstand.Entry{T: d.start + evenstand.FromSeconds(after), What: "dig", Rows: rows, Value: math.NaN(), Note: note}
	}
	day := d.day("one")
	journal := source("journal", "other", 3600)
	journal.ClockOffset, journal.ClockError = 3600, 0
	day.Streams = append(day.Streams, evenstand.Stream{Source: journal, Entries: once([]evenstand.Entry{
		dig(3600+200, evenstand.Rows{2}, "slot open"), dig(3600+210, evenstand.Rows{90}, "slot open"),
		dig(3600+9000, evenstand.Rows{3}, "air pockets"),
		{T: d.start, What: "remark", Value: math.NaN(), Note: "slot open"},
	})})
	slots := func(fs []evenstand.Finding) (out []evenstand.Finding) {
		for _, f := range fs {
			if f.Kind == evenstand.KindSlotOpen {
				out = append(out, f)
			}
		}
		return out
	}
	_, res := run(t, card(), day.Streams)
	got := slots(res.Findings)
	if len(got) != 2 || !slices.Equal(got[0].Rows, evenstand.Rows{2}) || got[0].Since != d.start+200*evenstand.Second || !slices.Equal(got[1].Rows, evenstand.Rows{3}) {
		t.Fatalf("settled %+v", got)
	}
	live, told := feed(t, day)
	if i := slices.IndexFunc(told, func(c find.Change) bool { return c.Finding.Kind == evenstand.KindSlotOpen }); i < 0 || told[i].Finding.Alarm != got[0].Since {
		t.Errorf("told %+v", told)
	}
	standing, _ := live.Standing()
	if x := slots(standing); len(x) == 0 || !slices.Equal(x[0].Rows, evenstand.Rows{2}) {
		t.Errorf("live %+v", x)
	}
}

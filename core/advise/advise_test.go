package advise_test

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"evenstand"
	"evenstand/core/advise"

	"pgregory.net/rapid"
)

// at gives an instant of May 2, 2026 in the logbook's zone (five hours behind
// UTC, as in the middle of the continent in May).
func at(h, m int) evenstand.Micros {
	return evenstand.FromTime(time.Date(2026, 5, 2, h, m, 8, 0, zone))
}

var (
	zone   = time.FixedZone("CDT", -5*3600)
	us     = advise.Voice{Zone: zone, Units: evenstand.US}
	metric = advise.Voice{Zone: zone, Units: evenstand.Metric}
)

// later is a voice that speaks two days after at, or some years.
func later(v advise.Voice, years int) advise.Voice {
	v.AsOf = evenstand.FromTime(time.Date(2026+years, 5, 4, 8, 10, 0, 0, zone))
	return v
}

func ev(name string, v float64, unit string) evenstand.Evidence {
	return evenstand.Evidence{Name: name, Value: evenstand.Number(v), Low: evenstand.Unknown, High: evenstand.Unknown, N: evenstand.Unknown, Unit: unit}
}

func causes(kv ...any) []evenstand.Cause {
	var out []evenstand.Cause
	for i := 0; i < len(kv); i += 2 {
		out = append(out, evenstand.Cause{Cause: kv[i].(string), Probability: kv[i+1].(float64)})
	}
	return out
}

// The first two sentences are the design's own (2-words-and-look, Look;
// 4-findings, Data grades).
func TestSentence(t *testing.T) {
	end := at(15, 5)
	for _, tt := range []struct {
		name string
		v    advise.Voice
		f    evenstand.Finding
		want string
	}{
		{
			"of another day", later(us, 0),
			evenstand.Finding{Kind: "blocked-cell", Grade: evenstand.GradeA, Stage: evenstand.Raised, Rows: evenstand.Rows{7}, Since: at(14, 12), Evidence: []evenstand.Evidence{ev("odds for a rhythm of 40", 1.2e9, "")}, Causes: causes(evenstand.CauseCell, 30.0/31)},
			"Row 7 skips every 40th seed since 2:12 pm on May 2: almost certainly one blocked or broken cell (30 to 1).",
		},
		{
			"of another year, over", later(metric, 1),
			evenstand.Finding{Kind: "blocked-cell", Grade: evenstand.GradeA, Stage: evenstand.Raised, Rows: evenstand.Rows{7}, Since: at(14, 12), Until: &end, Evidence: []evenstand.Evidence{ev("odds for a rhythm of 40", 1.2e9, "")}, Causes: causes(evenstand.CauseCell, 30.0/31)},
			"Row 7 skipped every 40th seed from 14:12 to 15:05 on 2 May 2026: almost certainly one blocked or broken cell (30 to 1).",
		},
		{
			"blocked cell", us,
			evenstand.Finding{
				Kind: "blocked-cell", Grade: evenstand.GradeA, Stage: evenstand.Raised, Rows: evenstand.Rows{7}, Since: at(14, 12),
				Evidence: []evenstand.Evidence{ev("odds for a rhythm of 40", 1.2e9, "")}, Causes: causes(evenstand.CauseCell, 30.0/31),
			},
			"Row 7 skips every 40th seed since 2:12 pm: almost certainly one blocked or broken cell (30 to 1).",
		},
		{
			"a silent box", us,
			evenstand.Finding{
				Kind: "source-silent", Grade: evenstand.GradeB, Stage: evenstand.Raised, Rows: evenstand.Rows{1, 2}, Since: at(14, 12),
				Evidence: []evenstand.Evidence{ev("silence of row monitor", 40, "s"), ev("silence of receiver", 40, "s")}, Causes: causes(evenstand.CausePlug, 0.8),
			},
			"The log of row monitor and receiver is silent since 2:12 pm while the others went on, 40 s of planting: likely its plug or power (4 to 1).",
		},
		{
			"a long silence", us,
			evenstand.Finding{
				Kind: "source-silent", Grade: evenstand.GradeB, Stage: evenstand.Raised, Rows: evenstand.Rows{1, 2}, Since: at(14, 12),
				Evidence: []evenstand.Evidence{ev("silence of row monitor", 566, "s")},
			},
			"The log of row monitor is silent since 2:12 pm while the others went on, 9 min of planting.",
		},
		{
			"just under two minutes", us,
			evenstand.Finding{Kind: "source-silent", Rows: evenstand.Rows{1}, Since: at(14, 12), Evidence: []evenstand.Evidence{ev("silence of row monitor", 119, "s")}},
			"The log of row monitor is silent since 2:12 pm while the others went on, 119 s of planting.",
		},
		{
			"dust", us,
			evenstand.Finding{
				Kind: "sensor-doubt", Grade: evenstand.GradeA, Stage: evenstand.Raised, Rows: evenstand.Rows{7}, Since: at(14, 12),
				Evidence: []evenstand.Evidence{ev("extra pulses", 340, "")}, Causes: causes(evenstand.CauseSensor, 30.0/31),
			},
			"Row 7's sensor counts pulses that are no seeds since 2:12 pm, 340 so far: almost certainly the seed sensor (30 to 1).",
		},
		{
			"seeds not seen", us,
			evenstand.Finding{
				Kind: "sensor-doubt", Grade: evenstand.GradeA, Stage: evenstand.Raised, Rows: evenstand.Rows{7}, Since: at(14, 12),
				Evidence: []evenstand.Evidence{ev("share of seeds not seen", 0.4, "fraction")}, Causes: causes(evenstand.CauseSensor, 0.65, evenstand.CauseBridging, 0.13, evenstand.CauseDrive, 0.1),
			},
			"Row 7's sensor shows 40% of the seeds missing from one moment to the next since 2:12 pm: one of three (the seed sensor, seed that bridges or sticks or the meter's drive).",
		},
		{
			"blocked cell at grade B", us,
			evenstand.Finding{
				Kind: "blocked-cell", Grade: evenstand.GradeB, Rows: evenstand.Rows{7}, Since: at(14, 12),
				Evidence: []evenstand.Evidence{ev("cells on the disc", 40, "")}, Causes: causes(evenstand.CauseCell, 0.6),
			},
			"Row 7 misses close to one seed in 40 since 2:12 pm: suspected, one cell or a seal.",
		},
		{
			"24 hours", metric,
			evenstand.Finding{Kind: "blocked-cell", Grade: evenstand.GradeA, Rows: evenstand.Rows{7}, Since: at(14, 12), Evidence: []evenstand.Evidence{ev("cells on the disc", 21, "")}},
			"Row 7 skips every 21st seed since 14:12.",
		},
		{
			"blocked cell without any figure", us,
			evenstand.Finding{Kind: "blocked-cell", Grade: evenstand.GradeA, Rows: evenstand.Rows{7}, Since: evenstand.NoTime},
			"Row 7 skips once every turn of the disc.",
		},
		{
			"weak cell", us,
			evenstand.Finding{
				Kind: "weak-cell", Grade: evenstand.GradeA, Rows: evenstand.Rows{2}, Since: at(9, 0), Causes: causes(evenstand.CauseWeakCell, 0.85),
				Evidence: []evenstand.Evidence{ev("cells on the disc", 40, ""), ev("share of turns missed", 0.5, "fraction")},
			},
			"Row 2 skips the same one seed of 40 in about 5 of 10 turns since 9:00 am: likely one chipped or worn cell (6 to 1).",
		},
		{
			"a row stopped, and none of the causes asserted", us,
			evenstand.Finding{
				Kind: "row-stopped", Grade: evenstand.GradeB, Rows: evenstand.Rows{2}, Since: at(10, 2),
				Evidence: []evenstand.Evidence{ev("metres without seed", 128, "m")}, Causes: causes(evenstand.CauseDrive, 0.35, evenstand.CauseTube, 0.3, evenstand.CauseSensor, 0.25, evenstand.CauseEmpty, 0.1),
			},
			"Row 2 drops nothing since 10:02 am while its peers do, 420 ft without seed: one of four (the meter's drive, a blocked seed tube, the seed sensor or another).",
		},
		{
			"a row that had stopped", us,
			evenstand.Finding{Kind: "row-stopped", Rows: evenstand.Rows{2, 3}, Since: at(14, 58), Until: &end, Field: "north place", Passes: []evenstand.PassRef{{Number: 24}}},
			"Rows 2 and 3 dropped nothing from 2:58 pm to 3:05 pm while their peers did (north place, pass 24).",
		},
		{
			"a row left off", us,
			evenstand.Finding{
				Kind: "row-left-off", Rows: evenstand.Rows{16}, Since: at(8, 30), Field: "unassigned", Passes: []evenstand.PassRef{{Number: 3}, {Number: 4}},
				Evidence: []evenstand.Evidence{ev("metres without seed", 300, "m")}, Causes: causes(evenstand.CauseSwitchedOff, 0.95),
			},
			"Row 16 is switched off since 8:30 am while its peers plant, 984 ft of row, and nobody said so (passes 3 to 4): almost certainly switched off and forgotten (19 to 1).",
		},
		{
			"more skips than the peers, start known within minutes", us,
			evenstand.Finding{
				Kind: "row-skips", Grade: evenstand.GradeA, Rows: evenstand.Rows{3}, Since: at(9, 40), SinceLow: at(9, 30), SinceHigh: at(9, 50),
				Evidence: []evenstand.Evidence{ev("skips", 0.024, "fraction"), ev("skips usual for it", 0.011, "fraction")}, Causes: causes(evenstand.CauseSeal, 0.5, evenstand.CauseSingulator, 0.4),
			},
			"Row 3 skips 2.4 of 100 seeds since about 9:40 am, where 1.1 is usual: one of two (a worn seal or disc or a singulator that is set wrong or worn).",
		},
		{
			"more doubles", us,
			evenstand.Finding{Kind: "row-doubles", Rows: evenstand.Rows{3}, Since: at(9, 40), Evidence: []evenstand.Evidence{ev("times the usual", 3.2, "")}},
			"Row 3 doubles 3.2 times as much as usual since 9:40 am.",
		},
		{
			"low vacuum", us,
			evenstand.Finding{
				Kind: "low-vacuum", Rows: evenstand.Rows{1, 2, 3, 4, 5, 6, 7, 8}, Since: at(9, 40), Causes: causes(evenstand.CauseHose, 0.8),
				Evidence: []evenstand.Evidence{ev("times its peers", 2.1, ""), ev("vacuum before", 5000, "Pa"), ev("vacuum after", 3800, "Pa")},
			},
			"Rows 1 to 8 skip 2.1 times as much as their peers since 9:40 am, and their vacuum went from 20 in of water to 15 in of water: likely a hose, seal or screen on that side (4 to 1).",
		},
		{
			"low vacuum, metric, no vacuum logged", metric,
			evenstand.Finding{Kind: "low-vacuum", Rows: evenstand.Rows{1, 2, 3, 4, 5, 6, 7, 8}, Since: at(9, 40)},
			"Rows 1 to 8 skip more since 09:40.",
		},
		{
			"rate", us,
			evenstand.Finding{Kind: "rate-off", Since: at(7, 0), Evidence: []evenstand.Evidence{ev("actual over target", 0.952, "")}},
			"The planter drops 4.8% fewer seeds than the target since 7:00 am.",
		},
		{
			"rate too high", us,
			evenstand.Finding{Kind: "rate-off", Rows: evenstand.Rows{1, 2, 3, 5}, Since: at(7, 0), Evidence: []evenstand.Evidence{ev("actual over target", 1.04, "")}},
			"Rows 1 to 3 and 5 drop 4% more seeds than the target since 7:00 am.",
		},
		{
			"starved", us,
			evenstand.Finding{Kind: "starved-row", Grade: evenstand.GradeA, Stage: evenstand.Suspected, Rows: evenstand.Rows{9}, Since: at(15, 20), Evidence: []evenstand.Evidence{ev("runs of three and more", 28, "")}, Causes: causes(evenstand.CauseBridging, 0.6)},
			"Row 9 misses three and more seeds in a row again and again since 3:20 pm, 28 times so far: suspected, seed that bridges or sticks.",
		},
		{
			"upset", us,
			evenstand.Finding{Kind: "upset", Rows: evenstand.Rows{4}, Since: at(13, 15), Field: "north place", Passes: []evenstand.PassRef{{Number: 9}}, Causes: causes(evenstand.CauseRock, 0.9)},
			"Row 4 had passing trouble at 1:15 pm (north place, pass 9).",
		},
		{"a kind of a later version", us, evenstand.Finding{Kind: "some-later-kind", Rows: evenstand.Rows{4}, Since: at(13, 15)}, "Row 4: some-later-kind since 1:15 pm."},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if got := advise.Sentence(&tt.f, tt.v); got != tt.want {
				t.Errorf("got  %s\nwant %s", got, tt.want)
			}
		})
	}
}

var kinds = []string{"row-stopped", "row-left-off", "blocked-cell", "weak-cell", "row-skips", "row-doubles", "low-vacuum", "rate-off", "starved-row", "upset", "contact-loss", "overload", "liquid-row-low", "liquid-row-high", "liquid-rate-off", "force-hunting", "flow-hunting", "pump-limit", "dry-furrow", "cold-furrow", "dirty-furrow", "cleaner-upset", "slot-open", "granular-row-off", "granular-rate-off", "label-cap", "lot-mismatch"}

// Every kind of this version has advice, in the logbook's units.
func TestAdvice(t *testing.T) {
	for _, kind := range kinds {
		f := evenstand.Finding{Kind: kind, Grade: evenstand.GradeB, Rows: evenstand.Rows{1}}
		advise.Fill(&f, us)
		m := evenstand.Finding{Kind: kind, Grade: evenstand.GradeB, Rows: evenstand.Rows{1}}
		advise.Fill(&m, metric)
		if text := m.Advice.Do + strings.Join(m.Say, " "); strings.Contains(text, " ft") || strings.Contains(text, "acre") || strings.ContainsAny(text+f.Advice.Do, "{|}") {
			t.Errorf("%s: %q is not in the logbook's units", kind, text)
		}
		if f.Advice.Do == "" || f.Advice.Who == "" || f.When == "" || f.Sources == nil || f.Say == nil || f.Advice.Cautions == nil {
			t.Errorf("%s is not filled: %+v", kind, f)
		}
	}
	f := evenstand.Finding{Kind: "low-vacuum"}
	advise.Fill(&f, us)
	if !strings.Contains(f.Advice.Do, "more vacuum makes good rows double") {
		t.Errorf("low vacuum: screens, hoses and seals come before the setting; got %q", f.Advice.Do)
	}
	f = evenstand.Finding{Kind: "row-stopped", Causes: causes(evenstand.CauseTube, 0.4, evenstand.CauseDrive, 0.3)}
	advise.Fill(&f, us)
	if !strings.Contains(f.Advice.Do, "rod the tube out") || !strings.Contains(f.Advice.Do, "If that is not it: with the drive isolated") {
		t.Errorf("two open causes want two steps, got %q", f.Advice.Do)
	}
	f.Causes[0].Probability = 0.9
	advise.Fill(&f, us)
	if strings.Contains(f.Advice.Do, "If that is not it") {
		t.Errorf("one likely cause wants one step, got %q", f.Advice.Do)
	}
}

// Numbers of passes begin anew in each field (core/align): a range from one
// field into another names both.
func TestPasses(t *testing.T) {
	refs := func(field string, numbers ...int) (ps []evenstand.PassRef) {
		for _, n := range numbers {
			ps = append(ps, evenstand.PassRef{Number: n, Field: field})
		}
		return ps
	}
	const here, there = "", "river place" // a finding's own field stands with it alone
	end := at(12, 6)
	for _, tt := range []struct {
		name, field string
		passes      []evenstand.PassRef
		want, place string
	}{
		{"none", "north place", nil, "", "(north place)"},
		{"one", "north place", refs(here, 3), "pass 3", "(north place, pass 3)"},
		{"one field", "north place", refs(here, 3, 4, 5), "passes 3 to 5", "(north place, passes 3 to 5)"},
		{"into another", "north place", slices.Concat(refs(here, 24, 25), refs(there, 1)), "pass 24 of north place to pass 1 of river place", "(pass 24 of north place to pass 1 of river place)"},
		{"into another, rising", "north place", slices.Concat(refs(here, 3), refs(there, 4, 5)), "pass 3 of north place to pass 5 of river place", "(pass 3 of north place to pass 5 of river place)"},
		{"out of the fields", "north place", slices.Concat(refs(here, 24), refs(evenstand.Unassigned, 1)), "pass 24 of north place to pass 1 outside the fields", "(pass 24 of north place to pass 1 outside the fields)"},
		{"into a field", evenstand.Unassigned, slices.Concat(refs(here, 2), refs(there, 1)), "pass 2 outside the fields to pass 1 of river place", "(pass 2 outside the fields to pass 1 of river place)"},
		{"there and back", "north place", slices.Concat(refs(here, 3), refs(there, 1, 2), refs(here, 4)), "4 passes from pass 3 on", "(north place, 4 passes from pass 3 on)"},
		{"fields that nobody knows", "north place", refs(here, 24, 25, 1), "3 passes from pass 24 on", "(north place, 3 passes from pass 24 on)"},
	} {
		f := evenstand.Finding{Kind: evenstand.KindBlockedCell, Rows: evenstand.Rows{7}, Since: at(9, 7), Until: &end, Field: tt.field, Passes: tt.passes}
		if got := advise.Passes(&f); got != tt.want {
			t.Errorf("%s: %q, want %q", tt.name, got, tt.want)
		}
		if got := advise.Sentence(&f, us); !strings.Contains(got, tt.place) {
			t.Errorf("%s: %q, want %s", tt.name, got, tt.place)
		}
	}
}

// Of causes about equally likely, one in one and a half, the one that is settled
// from the seat, and sooner, is looked at first: nobody lies under the planter
// for a switch. Odds stay as they are. The minutes are the catalogue's
// (core/relation/causes.csv).
func TestSeatBeforeGround(t *testing.T) {
	const other = " If that is not it: "
	for _, tt := range []struct {
		name, kind string
		causes     []evenstand.Cause
		first      string // how the advice begins
		then       string // and its second step, "" for none
		minutes    int
	}{
		{"as likely", evenstand.KindRowStopped, causes(evenstand.CauseDrive, 0.34, evenstand.CauseSwitchedOff, 0.34), "Switch the row on", "with the drive isolated", 1},
		{"a little less likely", evenstand.KindRowStopped, causes(evenstand.CauseDrive, 0.45, evenstand.CauseSwitchedOff, 0.31), "Switch the row on", "with the drive isolated", 1},
		{"much less likely", evenstand.KindRowStopped, causes(evenstand.CauseDrive, 0.5, evenstand.CauseSwitchedOff, 0.3), "With the drive isolated", "switch the row on", 20},
		{"third, and as likely", evenstand.KindRowStopped, causes(evenstand.CauseDrive, 0.3, evenstand.CauseTube, 0.28, evenstand.CauseSwitchedOff, 0.25), "Switch the row on", "with the drive isolated", 1},
		{"first already", evenstand.KindRowStopped, causes(evenstand.CauseSwitchedOff, 0.34, evenstand.CauseDrive, 0.33), "Switch the row on", "with the drive isolated", 1},
		{"both outside", evenstand.KindRowStopped, causes(evenstand.CauseDrive, 0.34, evenstand.CauseEmpty, 0.33), "With the drive isolated", "look into the box", 20},
		{"both from the seat", evenstand.KindRowLeftOff, causes(evenstand.CauseSectionCtl, 0.4, evenstand.CauseSwitchedOff, 0.4), "Look at the section's setting", "switch the row on", 10},
	} {
		f := evenstand.Finding{Kind: tt.kind, Causes: tt.causes}
		was := slices.Clone(f.Causes)
		advise.Fill(&f, us)
		_, then, _ := strings.Cut(f.Advice.Do, other)
		if !strings.HasPrefix(f.Advice.Do, tt.first) || !strings.HasPrefix(then, tt.then) || f.Advice.Minutes != tt.minutes {
			t.Errorf("%s: %d minutes: %q", tt.name, f.Advice.Minutes, f.Advice.Do)
		}
		if !slices.Equal(f.Causes, was) {
			t.Errorf("%s: the odds changed to %v", tt.name, f.Causes)
		}
		if tt.kind == evenstand.KindRowStopped && !slices.Contains(f.Advice.Cautions, advise.CautionOff) {
			t.Errorf("%s: the other step's cautions are missing: %q", tt.name, f.Advice.Cautions)
		}
	}
}

// After what did not work the steps come in the order in which the causes are named:
// no switch before a likelier drive, no swap of sensors before a likelier seal.
func TestNextLikeliestFirst(t *testing.T) {
	for _, tt := range []struct {
		kind        string
		causes      []evenstand.Cause
		why         string
		first, then string
	}{
		{evenstand.KindRowStopped, causes(evenstand.CauseDrive, 0.45, evenstand.CauseSwitchedOff, 0.31), "the meter's drive", "With the drive isolated", "switch the row on"},
		{evenstand.KindRowSkips, causes(evenstand.CauseSeal, 0.4, evenstand.CauseSensor, 0.3), "a worn seal or disc or the seed sensor", "Look at the seal's lip", "swap"},
		{evenstand.KindRowSkips, causes(evenstand.CauseSensor, 0.4, evenstand.CauseSeal, 0.3), "the seed sensor or a worn seal or disc", "The log cannot tell seeds that are missing from seeds that are not seen, so first swap", ""},
		{evenstand.KindRowSkips, nil, "", "", ""},
	} {
		f := evenstand.Finding{Kind: tt.kind, Stage: evenstand.Raised, Rows: evenstand.Rows{3}, Status: evenstand.Checked, Causes: tt.causes, CheckBack: &evenstand.CheckBack{Verdict: evenstand.VerdictFailed}}
		advise.Fill(&f, us)
		do := strings.TrimPrefix(f.Advice.Do, "What was done did not cure it. ")
		_, then, _ := strings.Cut(do, " If that is not it: ")
		if !strings.Contains(f.Sentence, tt.why) || !strings.HasPrefix(do, tt.first) || !strings.HasPrefix(then, tt.then) {
			t.Errorf("%s\n%s", f.Sentence, f.Advice.Do)
		}
	}
}

// Whether skips are real the log cannot tell (methods e): while the odds lie
// within 10 to 1 either way, the swap of sensors that settles it comes first.
func TestMissingOrUnseen(t *testing.T) {
	const first, look = "so first swap the row's sensor with its neighbour's, plant on for half an hour and read again: if the skips moved along, wipe its eye. Digging 10 ft tells only where a quarter", "ook at the seal's lip"
	end := at(13, 52)
	for _, tt := range []struct {
		f         evenstand.Finding
		dig, seal bool
	}{
		{evenstand.Finding{Kind: "row-skips", Causes: causes(evenstand.CauseSeal, 0.674, evenstand.CauseSensor, 0.16)}, true, true},
		{evenstand.Finding{Kind: "row-skips", Causes: causes(evenstand.CauseSeal, 0.6, evenstand.CauseSensor, 0.16, evenstand.CauseSingulator, 0.1)}, true, true},
		{evenstand.Finding{Kind: "row-skips", Causes: causes(evenstand.CauseSeal, 0.93, evenstand.CauseSensor, 0.05)}, false, true},
		{evenstand.Finding{Kind: "row-skips", Causes: causes(evenstand.CauseSensor, 0.9)}, false, false},
		{evenstand.Finding{Kind: "row-doubles", Causes: causes(evenstand.CauseSingulator, 0.8, evenstand.CauseSensor, 0.15)}, false, false},
	} {
		advise.Fill(&tt.f, us)
		if got := tt.f.Advice.Do; strings.Contains(got, first) != tt.dig || strings.Contains(got, look) != tt.seal {
			t.Errorf("%s, %v: %q", tt.f.Kind, tt.f.Causes, got)
		}
	}
	f := evenstand.Finding{Kind: "row-skips", Until: &end, Causes: causes(evenstand.CauseSeal, 0.674, evenstand.CauseSensor, 0.16)}
	advise.Fill(&f, us)
	if !strings.Contains(f.Advice.Do, "Or swap its sensor with a neighbour's: if the other row skips the next time, it was the sensor") {
		t.Errorf("over: %q", f.Advice.Do)
	}
}

// 4-findings, Words of caution: every advice to look at or touch the machine
// carries those of its kind; what is done from the seat carries none of them.
func TestCautions(t *testing.T) {
	stop, under, off, gloves := "do not lower it standing still (tubes plug), roll forward while lowering", "lift fully, lock the lift, chock",
		"Tractor off, key out, drives isolated, fans standing, pressure off", "Gloves and mask as the seed and insecticide labels ask"
	end := at(11, 0)
	for _, tt := range []struct {
		f    evenstand.Finding
		want []string
	}{
		{evenstand.Finding{Kind: "blocked-cell", Causes: causes(evenstand.CauseCell, 0.95)}, []string{stop, off, gloves}},
		{evenstand.Finding{Kind: "row-stopped", Causes: causes(evenstand.CauseTube, 0.95)}, []string{stop, under, off, gloves}},
		{evenstand.Finding{Kind: "row-stopped", Causes: causes(evenstand.CauseEmpty, 0.4, evenstand.CauseTube, 0.3)}, []string{stop, under, off, gloves}},
		{evenstand.Finding{Kind: "row-stopped", Causes: causes("gremlin", 0.9)}, []string{stop, under, off, gloves}},
		{evenstand.Finding{Kind: "low-vacuum", Causes: causes(evenstand.CauseFan, 0.9)}, []string{stop, off}},
		{evenstand.Finding{Kind: "row-left-off", Causes: causes(evenstand.CauseSwitchedOff, 0.95)}, nil},
		{evenstand.Finding{Kind: "rate-off", Causes: causes(evenstand.CauseSetting, 0.95)}, []string{stop, off, gloves}}, // a fill of treated seed is weighed, or seeds dug
		{evenstand.Finding{Kind: "starved-row", Causes: causes(evenstand.CauseBridging, 0.95)}, []string{stop, off, gloves}},
		{evenstand.Finding{Kind: "speed-spacing", Causes: causes(evenstand.CauseSpeed, 0.95)}, []string{stop, off, gloves}}, // ten seeds are dug
		{evenstand.Finding{Kind: "row-stopped", Until: &end}, []string{stop, under, off, gloves}},
		{evenstand.Finding{Kind: "row-left-off", Until: &end}, nil},
		{evenstand.Finding{Kind: "upset"}, nil},
	} {
		advise.Fill(&tt.f, us)
		got := strings.Join(tt.f.Advice.Cautions, " ")
		for _, c := range []string{stop, under, off, gloves} {
			if strings.Contains(got, c) != slices.Contains(tt.want, c) {
				t.Errorf("%s, %v: caution %q there: %v", tt.f.Kind, tt.f.Causes, c, strings.Contains(got, c))
			}
		}
		if strings.Contains(got, "fan stop") {
			t.Errorf("%s: what is judged is no caution: %s", tt.f.Kind, got)
		}
	}
}

// What is over says how it ended, what to check at the next stop, and where
// the bare ground is; nothing that was for then.
func TestOver(t *testing.T) {
	end, midnight := at(13, 52), evenstand.FromTime(time.Date(2026, 5, 3, 0, 0, 0, 0, zone))
	for _, tt := range []struct {
		v    advise.Voice
		f    evenstand.Finding
		want string
	}{
		{us, evenstand.Finding{Kind: "row-stopped", Until: &end, Field: "north place", Passes: []evenstand.PassRef{{Number: 9}}, Evidence: []evenstand.Evidence{ev("metres without seed", 128, "m")}}, "It ended by itself at 1:52 pm. At the next stop check the row's box, the meter's drive, the tube and the sensor's plug, so that it does not come back. Then look at the bare ground, 420 ft of row (north place, pass 9)"},
		{metric, evenstand.Finding{Kind: "row-left-off", Until: &end, Evidence: []evenstand.Evidence{ev("metres without seed", 128, "m")}}, "It ended by itself at 13:52. At the next stop check that the row is switched on, and ask who drove. Then look at the bare ground, 128 m of row:"},
		{us, evenstand.Finding{Kind: "blocked-cell", Until: &midnight}, "It is counted up to the end of its day only. At the next stop hold the disc"},
		{us, evenstand.Finding{Kind: "blocked-cell", Until: &end, Status: evenstand.Acted}, "It has ended since it was acted on, at 1:52 pm."},
		{us, evenstand.Finding{Kind: "blocked-cell", Status: evenstand.Ended, Say: []string{"why"}}, "Nothing to do: the logs that are in the logbook now no longer show it."},
	} {
		before := slices.Clone(tt.f.Say)
		advise.Fill(&tt.f, tt.v)
		if !strings.HasPrefix(tt.f.Advice.Do, tt.want) {
			t.Errorf("%s: got %q, want it to begin with %q", tt.f.Kind, tt.f.Advice.Do, tt.want)
		}
		for _, s := range before {
			if !slices.Contains(tt.f.Say, s) {
				t.Errorf("%s: %q was lost", tt.f.Kind, s)
			}
		}
	}
}

// 0.952 of 1000 is 95.2 %; an interval under 3 points shows a decimal.
func TestEvidence(t *testing.T) {
	n := func(x float64) evenstand.Number { return evenstand.Number(x) }
	for _, tt := range []struct {
		e          evenstand.Evidence
		name, want string
	}{
		{evenstand.Evidence{Name: "odds for a rhythm of 40", Value: 1.2e9, Low: evenstand.Unknown, High: evenstand.Unknown, N: 15000}, "odds that it is every 40th seed", "more than a million to 1, from 15,000 places"},
		{evenstand.Evidence{Name: "odds for a rhythm of 40", Value: 30, Low: evenstand.Unknown, High: evenstand.Unknown, N: evenstand.Unknown}, "odds that it is every 40th seed", "30 to 1"},
		{evenstand.Evidence{Name: "actual over target", Value: 0.952, Low: 0.95, High: 0.954, N: evenstand.Unknown}, "dropped, of what was asked for", "95.2% (90% between 95.0% and 95.4%)"},
		{evenstand.Evidence{Name: "share of turns missed", Value: 0.98, Low: 0.93, High: 1, N: n(375)}, "turns of the disc missed", "98% (90% between 93% and 100%), from 375 turns"},
		{evenstand.Evidence{Name: "skips", Value: 0.024, Low: 0.021, High: 0.028, N: n(15000)}, "skips", "2.4% (90% between 2.1% and 2.8%), from 15,000 places"},
		{evenstand.Evidence{Name: "silence of row monitor", Value: 40, Low: 39, High: 41, N: evenstand.Unknown, Unit: "s"}, "silence of row monitor", "40 s (90% between 39 s and 41 s)"},
		{evenstand.Evidence{Name: "silence of row monitor", Value: 566, Low: 565, High: 567, N: evenstand.Unknown, Unit: "s"}, "silence of row monitor", "9 min"},
		{evenstand.Evidence{Name: "metres without seed", Value: 128, Low: evenstand.Unknown, High: evenstand.Unknown, N: evenstand.Unknown, Unit: "m"}, "length without seed", "420 ft"},
	} {
		if name, got := advise.EvidenceName(tt.e), us.Evidence(tt.e); name != tt.name || got != tt.want {
			t.Errorf("got %q %q, want %q %q", name, got, tt.name, tt.want)
		}
	}
}

// 4-findings, Catalogue: when. The second moment once the first saves nothing.
func TestWhen(t *testing.T) {
	over := at(12, 0)
	money := func(expected float64, basis string) evenstand.Money {
		return evenstand.Money{Unit: "USD", StillToSave: evenstand.ToSave{Expected: evenstand.Number(expected), Basis: basis}}
	}
	for _, tt := range []struct {
		f    evenstand.Finding
		want evenstand.When
	}{
		{evenstand.Finding{Kind: "row-stopped", Money: money(5, "field")}, "now"},
		{evenstand.Finding{Kind: "blocked-cell", Money: money(5, "field")}, "next-stop"},
		{evenstand.Finding{Kind: "weak-cell", Money: money(5, "field")}, "tonight"},
		{evenstand.Finding{Kind: "row-skips", Money: money(5, "field")}, "next-stop"},
		{evenstand.Finding{Kind: "row-skips", Money: money(0, "field")}, "tonight"},
		{evenstand.Finding{Kind: "row-skips", Money: money(math.NaN(), "field")}, "next-stop"},
		{evenstand.Finding{Kind: "row-doubles"}, "tonight"},
		{evenstand.Finding{Kind: "low-vacuum"}, "now"},
		{evenstand.Finding{Kind: "rate-off"}, "now"},
		{evenstand.Finding{Kind: "starved-row"}, "now"},
		{evenstand.Finding{Kind: "row-left-off"}, "now"},
		{evenstand.Finding{Kind: "upset"}, "none"},
		{evenstand.Finding{Kind: "sensor-doubt", Evidence: []evenstand.Evidence{ev("share of seeds not seen", 0.12, "fraction")}}, "tonight"},
		{evenstand.Finding{Kind: "sensor-doubt", Evidence: []evenstand.Evidence{ev("share of seeds not seen", 0.40, "fraction")}}, "next-stop"},
		{evenstand.Finding{Kind: "sensor-doubt", Until: &over, Evidence: []evenstand.Evidence{ev("share of seeds not seen", 0.40, "fraction")}}, "winter"},
		{evenstand.Finding{Kind: "row-stopped", Until: &over}, "winter"},
		{evenstand.Finding{Kind: "row-stopped", Money: money(0, "none")}, "winter"},
	} {
		if got := advise.WhenToAct(&tt.f); got != tt.want {
			t.Errorf("%s with %v: %s, want %s", tt.f.Kind, tt.f.Money.StillToSave, got, tt.want)
		}
	}
}

func TestCannotSay(t *testing.T) {
	for _, tt := range []struct {
		kind  string
		grade evenstand.Grade
		want  string
	}{
		{"blocked-cell", evenstand.GradeB, "needs seed times; to find out: hold the disc to the light, or swap two discs"},
		{"row-skips", evenstand.GradeB, "dig 10 ft of the row"},
		{"row-skips", evenstand.GradeB, "switch on the raw row log"},
		{"row-stopped", evenstand.GradeB, "only its sensor sees nothing: cannot say"},
		{"rate-off", evenstand.GradeC, "count 1/1000 acre of row, or weigh a fill"},
		{"low-vacuum", evenstand.GradeB, "no vacuum was logged; to find out: read the gauge"},
		{"row-doubles", evenstand.GradeA, "dig ten seeds, or weigh a fill"},
	} {
		f := evenstand.Finding{Kind: tt.kind, Grade: tt.grade}
		advise.Fill(&f, us)
		if !strings.Contains(strings.Join(f.Say, "\n"), tt.want) {
			t.Errorf("%s at grade %s says %q, want %q in it", tt.kind, tt.grade, f.Say, tt.want)
		}
	}
	f := evenstand.Finding{Kind: "blocked-cell", Grade: evenstand.GradeA}
	advise.Fill(&f, us)
	if slices.ContainsFunc(f.Say, func(s string) bool { return strings.Contains(s, "seed times") }) {
		t.Errorf("with seed times it asks for seed times: %q", f.Say)
	}
}

// By hand: 1 ft = 0.3048 m, 1 ac = 4046.856 m2, 1 in of water = 249.089 Pa, 1
// mph = 0.44704 m/s.
func TestNumbers(t *testing.T) {
	for _, tt := range []struct{ got, want string }{
		{us.Length(15), "49 ft"},
		{metric.Length(15), "15 m"},
		{us.Length(0.1562), "6.1 in"},
		{metric.Length(0.1562), "16 cm"},
		{us.Length(3218.688), "2 mi"},
		{metric.Length(3218.688), "3.2 km"},
		{us.Area(10 * 4046.856), "10 ac"},
		{metric.Area(75_000), "7.5 ha"},
		{us.Area(100), "0.025 ac"},
		{us.Rate(34000 / 4046.8564224), "34,000 seeds/ac"},
		{metric.Rate(8.4), "84,000 seeds/ha"},
		{us.Vacuum(20 * 249.08891), "20 in of water"},
		{metric.Vacuum(5000), "50 mbar"},
		{us.Speed(2.2352), "5 mph"},
		{metric.Speed(2.5), "9 km/h"},
		{us.Percent(0.024), "2.4%"},
		{us.Percent(math.NaN()), "not known"},
		{us.Clock(at(0, 5)), "12:05 am"},
		{metric.Clock(at(0, 5)), "00:05"},
		{us.Clock(evenstand.NoTime), "not known"},
		{us.Date(at(1, 0)), "May 2, 2026"},
		{metric.Date(at(1, 0)), "2 May 2026"},
		{us.Value(2.2352, "m/s"), "5 mph"},
		{us.Value(40, ""), "40"},
		{us.Value(1.2e9, ""), "1,200,000,000"},
		{us.Value(3, "V"), "3 V"},
		{advise.Digits(0.00012), "0.00012"},
		{advise.Digits(-1234), "-1,234"},
		{advise.Digits(0), "0"},
		{advise.Digits(9.96), "10"},
		{advise.Rows(evenstand.Rows{1, 2, 4, 6, 7, 8}), "Rows 1, 2, 4 and 6 to 8"},
		{advise.Rows(nil), "The planter"},
		{advise.Ordinal(21), "21st"},
		{advise.Ordinal(112), "112th"},
		{advise.Ordinal(3), "3rd"},
		{advise.Ordinal(42), "42nd"},
		{advise.Capital("€14 to €22 lost"), "€14 to €22 lost"},
		{advise.Capital("über"), "Über"},
		{advise.Capital(""), ""},
		{advise.Odds(0.97), "30 to 1"},
		{advise.Odds(0.999), "over 100 to 1"},
		{advise.Odds(0.6), "3 to 2"},
		{advise.Odds(0.5), "even"},
		{advise.Odds(0.25), "1 to 3"},
		{advise.Odds(1), "over 100 to 1"},
	} {
		if tt.got != tt.want {
			t.Errorf("got %q, want %q", tt.got, tt.want)
		}
	}
}

// 2-words-and-look: a range, "$140 to $410", never a lone figure with cents.
func TestMoney(t *testing.T) {
	r := func(low, mid, high float64) evenstand.Range {
		return evenstand.Range{Low: evenstand.Number(low), Mid: evenstand.Number(mid), High: evenstand.Number(high)}
	}
	for _, tt := range []struct {
		r    evenstand.Range
		unit string
		want string
	}{
		{r(138.2, 260, 412.7), "USD", "$140 to $410"},
		{r(4.1, 6.5, 10.2), "USD", "$4 to $10"},
		{r(0.2, 1, 3.4), "USD", "up to $3"},
		{r(0.1, 0.2, 0.3), "USD", "under $1"},
		{r(0, 0, 0), "USD", "nothing"},
		{r(6, 6, 6), "USD", "about $6"},
		{r(1234, 2000, 5678), "USD", "$1,200 to $5,700"},
		{r(3.11, 5, 8.24), "bu", "3.1 to 8.2 bu"},
		{r(0, 1, 4), "bu", "up to 4 bu"},
		{r(14, 20, 22), "CHF", "14 to 22 CHF"},
		{r(14, 20, 22), "EUR", "€14 to €22"},
		{r(math.NaN(), 1, 2), "USD", ""},
	} {
		if got := us.Money(tt.r, tt.unit); got != tt.want {
			t.Errorf("Money(%v, %s) = %q, want %q", tt.r, tt.unit, got, tt.want)
		}
	}
}

// Whatever is missing, the sentence is one sentence, no number is NaN, and
// filling twice is the same as once.
func TestFillNeverFails(t *testing.T) {
	names := []string{
		"cells on the disc", "share of turns missed", "odds for a rhythm of 40", "odds for a rhythm of x", "skips", "skips of its peers", "skips usual for it", "doubles", "doubles usual for it",
		"times its peers", "times the usual", "vacuum before", "vacuum after", "seeds due", "seeds counted", "actual over target", "metres without seed", "runs of three and more",
	}
	rapid.Check(t, func(t *rapid.T) {
		f := evenstand.Finding{
			Kind: rapid.SampledFrom(append(kinds, "new")).Draw(t, "kind"), Grade: evenstand.Grade(rapid.IntRange(0, 4).Draw(t, "grade")),
			Rows: rapid.SampledFrom([]evenstand.Rows{nil, {1}, {1, 2, 3}}).Draw(t, "rows"), Since: rapid.SampledFrom([]evenstand.Micros{evenstand.NoTime, 0, at(9, 0)}).Draw(t, "since"),
		}
		if rapid.Bool().Draw(t, "over") {
			u := at(10, 0)
			f.Until = &u
		}
		for range rapid.IntRange(0, 6).Draw(t, "n") {
			f.Evidence = append(f.Evidence, ev(rapid.SampledFrom(names).Draw(t, "name"), rapid.SampledFrom([]float64{math.NaN(), 0, 0.3, 1, 40, -3, 1e12}).Draw(t, "value"), ""))
		}
		for range rapid.IntRange(0, 4).Draw(t, "causes") {
			f.Causes = append(f.Causes, evenstand.Cause{Cause: rapid.SampledFrom([]string{"", evenstand.CauseSeal, "gremlin"}).Draw(t, "cause"), Probability: rapid.Float64Range(0, 1).Draw(t, "p")})
		}
		advise.Fill(&f, us)
		if !strings.HasSuffix(f.Sentence, ".") || strings.Contains(f.Sentence, "NaN") || strings.Contains(f.Sentence, "  ") || strings.Contains(f.Sentence, "Inf") {
			t.Fatalf("%q", f.Sentence)
		}
		before := f.Sentence + f.Advice.Do + strings.Join(f.Say, "")
		advise.Fill(&f, us)
		if after := f.Sentence + f.Advice.Do + strings.Join(f.Say, ""); after != before {
			t.Fatalf("filling again changed %q to %q", before, after)
		}
	})
}

// Advice that is followed from the seat asks for no caution beside it, even
// where a hand check would.
func TestOutside(t *testing.T) {
	for _, tt := range []struct {
		kind, cause string
		want        bool
	}{
		{"row-stopped", evenstand.CauseEmpty, true},
		{"blocked-cell", evenstand.CauseCell, true},
		{"row-drive", evenstand.CauseCoupling, true},
		{"overload", evenstand.CauseForceHeavy, true},
		{"rate-off", evenstand.CauseSetting, false},
		{"row-left-off", evenstand.CauseSwitchedOff, false},
		{"speed-spacing", evenstand.CauseSpeed, false},
		{"liquid-rate-off", evenstand.CauseLiquidControl, false},
	} {
		f := evenstand.Finding{Kind: tt.kind, Causes: causes(tt.cause, 0.95)}
		advise.Fill(&f, us)
		if got := slices.Contains(advise.Brief(&f), advise.CautionShort); got != tt.want {
			t.Errorf("%s, %s: outside the cab %v: %s", tt.kind, tt.cause, got, f.Advice.Do)
		}
	}
	f := evenstand.Finding{Kind: "rate-off", Causes: causes(evenstand.CauseSetting, 0.5, evenstand.CauseCellCount, 0.4)}
	if !slices.Contains(advise.Brief(&f), advise.CautionShort) {
		t.Error("the second step counts cells on the disc")
	}
}

// Where there is room for few lines nothing that the steps touch goes without its
// caution: seed is treated, and its dust is in box, meter and tube.
func TestBrief(t *testing.T) {
	for _, tt := range []struct {
		kind, cause string
		want        []string
	}{
		{evenstand.KindStarvedRow, evenstand.CauseBridging, []string{advise.CautionShort, advise.CautionGloves}},
		{evenstand.KindBlockedCell, evenstand.CauseCell, []string{advise.CautionShort, advise.CautionGloves}},
		{evenstand.KindRowStopped, evenstand.CauseTube, []string{advise.CautionShort, advise.CautionGloves, advise.CautionRate}},
		{evenstand.KindRowStopped, evenstand.CauseSwitchedOff, []string{advise.CautionRate}},
		{evenstand.KindOverload, evenstand.CauseForceHeavy, []string{advise.CautionShort}},
		{evenstand.KindContactLoss, evenstand.CauseForceRow, []string{advise.CautionShort, advise.CautionForce}},
		{evenstand.KindLiquidRowLow, evenstand.CauseOrificePlugged, []string{advise.CautionShort, advise.CautionLiquid, advise.CautionLabel}},
		{evenstand.KindSpeedSpacing, evenstand.CauseSpeed, []string{}},
	} {
		f := evenstand.Finding{Kind: tt.kind, Causes: causes(tt.cause, 0.95)}
		advise.Fill(&f, us)
		if got := advise.Brief(&f); !slices.Equal(got, tt.want) {
			t.Errorf("%s, %s: %q, want %q", tt.kind, tt.cause, got, tt.want)
		}
		for _, s := range advise.Brief(&f) {
			if s != advise.CautionShort && !slices.Contains(f.Advice.Cautions, s) {
				t.Errorf("%s, %s: %q is not among its cautions", tt.kind, tt.cause, s)
			}
		}
	}
	// Skips of which nobody knows whether they are real: a sensor is swapped first.
	f := evenstand.Finding{Kind: evenstand.KindRowSkips, Causes: causes(evenstand.CauseSeal, 0.7, evenstand.CauseSensor, 0.2)}
	if got := advise.Brief(&f); !slices.Equal(got, []string{advise.CautionShort, advise.CautionGloves}) {
		t.Errorf("skips that may not be real: %q", got)
	}
}

// A check that is made beside the running machine is not advised without
// saying how: nobody looks into a meter that turns.
func TestNothingAtTheRunningMachine(t *testing.T) {
	for _, kind := range append(kinds, "row-bounce", "row-drive", "speed-spacing", "sensor-doubt") {
		f := evenstand.Finding{Kind: kind, Grade: evenstand.GradeB, Rows: evenstand.Rows{1}}
		advise.Fill(&f, us)
		text := f.Advice.Do + " " + strings.Join(f.Say, " ")
		all := strings.Join(f.Advice.Cautions, " ")
		for words, caution := range map[string]string{
			"catch a minute": advise.CautionCatch, "weigh a fill": advise.CautionGloves, "dig": advise.CautionOff,
			"gauge near": advise.CautionGauge, "gauges near": advise.CautionGauge, "orifice": advise.CautionLiquid,
		} {
			if strings.Contains(strings.ToLower(text), words) && !strings.Contains(all, caution) {
				t.Errorf("%s advises %q without %q", kind, words, caution)
			}
		}
		if strings.Contains(text, "while the row runs") {
			t.Errorf("%s asks for a look at the running machine: %s", kind, text)
		}
	}
}

// After trouble whose causes are mended at quite different places the advice is
// that of the cause, where it is likely.
func TestAfterwardsByCause(t *testing.T) {
	end := at(13, 52)
	for _, tt := range []struct {
		kind, cause string
		p           float64
		want        string
	}{
		{evenstand.KindRateOff, evenstand.CauseSpeedSource, 0.91, "drive a taped 300 ft"},
		{evenstand.KindRateOff, evenstand.CauseSpeedSource, 0.5, "compare the rate in the box"},
		{evenstand.KindRowBounce, evenstand.CauseRelease, 0.9, "look at the ejector and the seal"},
		{evenstand.KindRowBounce, evenstand.CauseTubeWorn, 0.4, "look at the row's tube and shake its arms"},
	} {
		f := evenstand.Finding{Kind: tt.kind, Until: &end, Causes: causes(tt.cause, tt.p)}
		advise.Fill(&f, us)
		if !strings.Contains(f.Advice.Do, tt.want) {
			t.Errorf("%s, %s by %.2f: %q", tt.kind, tt.cause, tt.p, f.Advice.Do)
		}
	}
}

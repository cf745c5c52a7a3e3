package record_test

import (
	"math"
	"testing"

	"evenstand"
	"evenstand/core/record"
)

// Settings as code reads them: lever, from and to in the registry's units, or
// named states; and in words again.
func TestSettingOf(t *testing.T) {
	nan := math.NaN()
	for _, x := range []struct {
		text, lever, rows string
		was, to           float64
		stateWas, state   string
		words, says       string
	}{
		{"cleaners 30 to 22 psi, much trash", "cleaner_pressure", "", 30 * 6894.757, 22 * 6894.757, "", "", "much trash", "Row-cleaner pressure set to 22 psi (was 30 psi), the whole planter: much trash"},
		{"closers 40 psi rows 3,4", "closer_pressure", "3-4", nan, 40 * 6894.757, "", "", "", "Closing-wheel pressure set to 40 psi, rows 3-4"},
		{"depth 2 to 2 1/4 in", "depth", "", 2 * 0.0254, 2.25 * 0.0254, "", "", "", "Depth set to 2.25 in (was 2 in), the whole planter"},
		{"seed rate 32,000 to 34,000", "seed_rate_target", "", 32000 / evenstand.Acre, 34000 / evenstand.Acre, "", "", "", "Target seed rate set to 34,000 an acre (was 32,000 an acre), the whole planter"},
		{"fan speed 4,200 to 4,500 rpm", "fan_speed", "", 70, 75, "", "", "", "Fan speed set to 4,500 rpm (was 4,200 rpm), the whole planter"},
		{"down force 150 to 180 left", "applied_force", "1-8", 150 * 4.4482216, 180 * 4.4482216, "", "", "", "Down force set to 180 lb (was 150 lb), rows 1-8"},
		{"liquid rate 5 to 6 gal/ac", "liquid_rate_target", "", 5 * 9.35396e-7, 6 * 9.35396e-7, "", "", "", "Target liquid rate set to 6 gal/ac (was 5 gal/ac), the whole planter"},
		{"force mode fixed", "force_mode", "", nan, nan, "", "fixed", "", "Down-force mode set to fixed, the whole planter"},
		{"force mode automatic to fixed rows 1-8", "force_mode", "1-8", nan, nan, "automatic", "fixed", "", "Down-force mode set to fixed (was automatic), rows 1-8"},
		{"down force off", "force_mode", "", nan, nan, "", "off", "", "Down-force mode set to off, the whole planter"},
		{"downforce in auto, hard ground", "force_mode", "", nan, nan, "", "automatic", "hard ground", "Down-force mode set to automatic, the whole planter: hard ground"},
		{"turned down force off row 7", "force_mode", "7", nan, nan, "", "off", "", "Down-force mode set to off, row 7"},
		{"row force manual", "force_mode", "", nan, nan, "", "fixed", "", "Down-force mode set to fixed, the whole planter"},
		{"down pressure from automatic to manual: it swings", "force_mode", "", nan, nan, "automatic", "fixed", "it swings", "Down-force mode set to fixed (was automatic), the whole planter: it swings"},
	} {
		n, err := record.ParseNote(x.text, "", "", "", noteContext(evenstand.US))
		if err != nil || len(n.Entries) != 1 {
			t.Errorf("%q: %v, %+v", x.text, err, n)
			continue
		}
		e := &n.Entries[0]
		s, ok := record.SettingOf(e)
		near := func(a, b float64) bool {
			return math.IsNaN(a) && math.IsNaN(b) || math.Abs(a-b) <= 1e-5*math.Abs(b)
		}
		if !ok || s.Lever != x.lever || s.Rows.String() != x.rows || !near(s.Was, x.was) || !near(s.To, x.to) || s.StateWas != x.stateWas || s.State != x.state || s.Words != x.words || s.T != e.T {
			t.Errorf("%q: %v, %+v", x.text, ok, s)
		}
		if got := record.SayEntry(e); got != x.says {
			t.Errorf("%q says %q, want %q", x.text, got, x.says)
		}
	}
	// Several of them in one note.
	n, err := record.ParseNote("force mode fixed, down force to 180", "", "", "", noteContext(evenstand.US))
	if err != nil || len(n.Entries) != 2 || n.Entries[0].Note != "force_mode fixed" || n.Entries[1].Value != 180 {
		t.Errorf("%v, %+v", err, n.Entries)
	}
	// What only begins like a setting is a remark, and remarks are no settings.
	for _, text := range []string{"down force off and on again all day", "force mode is a mystery", "downforce fixed by the dealer yesterday noon", "down force off-center"} {
		n, err := record.ParseNote(text, "", "", "", noteContext(evenstand.US))
		if err != nil || n.Entries[0].What != "remark" {
			t.Errorf("%q: %v, %+v", text, err, n.Entries)
			continue
		}
		if s, ok := record.SettingOf(&n.Entries[0]); ok {
			t.Errorf("%q: %+v", text, s)
		}
	}
	for _, e := range []evenstand.Entry{
		{What: "setting", Note: "wind, was 3 psi", Value: 4, Unit: "psi"},
		{What: "setting", Note: "vacuum", Value: 4, Unit: "gal"},
		{What: "setting", Note: "vacuum", Value: nan},
		{What: "setting", Note: "force_mode soft", Value: nan},
		{What: "setting", Note: "force_mode", Value: nan},
	} {
		if s, ok := record.SettingOf(&e); ok {
			t.Errorf("%+v: %+v", e, s)
		}
	}
	// Other people's journals: a setting's name in their words, an amount before
	// that cannot be read.
	if s, ok := record.SettingOf(&evenstand.Entry{What: "setting", Note: "cleaners, was a bit", Value: 20, Unit: "psi"}); !ok || s.Lever != "cleaner_pressure" || !math.IsNaN(s.Was) {
		t.Errorf("%v, %+v", ok, s)
	}
}

// A line typed again with another amount is the same line with that amount.
func TestRetype(t *testing.T) {
	c := noteContext(evenstand.US)
	for _, text := range []string{
		"cleaners 30 to 22 psi, much trash", "closers 40 psi", "depth 2 to 2.25 in", "seed rate 32,000 to 34,000", "filled 12 units", "filled 12 gal starter", "dug row 7: 2.1 in", "dug 2 in: dry on top",
		"stand 30500", "counted 31 in 17.5 ft row 3", "fan speed 4,200 to 4,500 rpm", "vacuum 20", "speed 5 mph", "liquid rate 5 gal/ac",
	} {
		n, err := record.ParseNote(text, "", "", "", c)
		if err != nil {
			t.Fatal(text, err)
		}
		was := n.Entries[0]
		rows := was.Rows.String()
		again, err := record.ParseNote(record.Retype(&was, was.Value), "", rows, was.What, c)
		if err != nil || len(again.Entries) != 1 {
			t.Errorf("%q: %q: %v", text, record.Retype(&was, was.Value), err)
			continue
		}
		if e := again.Entries[0]; e.What != was.What || e.Value != was.Value || e.Unit != was.Unit || e.Note != was.Note || e.Rows.String() != rows {
			t.Errorf("%q: %q gives %+v, was %+v", text, record.Retype(&was, was.Value), e, was)
		}
	}
	for _, text := range []string{"hot", "fixed row 7: new seal", "lot A123", "force mode fixed"} {
		n, err := record.ParseNote(text, "", "", "", c)
		if err != nil || record.Retype(&n.Entries[0], 3) != "" {
			t.Errorf("%q: %v, %q", text, err, record.Retype(&n.Entries[0], 3))
		}
	}
}

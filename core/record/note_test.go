package record_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"evenstand"
	"evenstand/core/record"
)

var chicago = func() *time.Location {
	z, err := time.LoadLocation("America/Chicago")
	if err != nil {
		panic(err)
	}
	return z
}()

// noteContext is a 16-row planter on May 2, 2026, at 3:30 pm.
func noteContext(u evenstand.Units) record.NoteContext {
	card := evenstand.NewCard()
	card.Rows, card.RowSpacing = 16, 0.762
	card.Groups = []evenstand.Group{{Kind: "vacuum", Name: "left", Rows: evenstand.Rows{1, 2, 3, 4, 5, 6, 7, 8}}}
	return record.NoteContext{Now: evenstand.FromTime(time.Date(2026, 5, 2, 15, 30, 0, 0, chicago)), Zone: chicago, Units: u, Card: card}
}

func TestParseNote(t *testing.T) {
	nan := math.NaN()
	for _, tt := range []struct {
		text, when, what, rows string
		value                  float64
		unit, note             string
	}{
		// times
		{"2:05 pm cleaners 30 to 22 psi", "05-02 14:05", "setting", "", 22, "psi", "cleaner_pressure, was 30 psi"},
		{"14:05 vacuum 20", "05-02 14:05", "setting", "", 20, "inH2O", "vacuum"},
		{"vacuum 20 2:05p", "05-02 14:05", "setting", "", 20, "inH2O", "vacuum"},
		{"Yesterday 5 PM, speed 5.2", "05-01 17:00", "setting", "", 5.2, "mph", "ground_speed"},
		{"may 2 2:05 pm depth 2 1/4 in", "05-02 14:05", "setting", "", 2.25, "in", "depth"},
		{"fill 12 units 10 min ago", "05-02 15:20", "refill", "", 12, "", "units"},
		{"2 hours ago fill 2 bags row 7", "05-02 13:30", "refill", "7", 2, "", "bags"},
		{"2:05 hot", "05-02 14:05", "remark", "", nan, "", "hot"},
		{"5:05 hot", "05-02 05:05", "remark", "", nan, "", "hot"},
		{"5 pm hot", "05-01 17:00", "remark", "", nan, "", "hot"},
		{"12:10 am hot", "05-02 00:10", "remark", "", nan, "", "hot"},
		{"noon hot", "05-02 12:00", "remark", "", nan, "", "hot"},
		{"30 apr 16:05 hot", "04-30 16:05", "remark", "", nan, "", "hot"},
		{"2026-04-30 16:05 hot", "04-30 16:05", "remark", "", nan, "", "hot"},
		{"hot at 2:05 pm", "05-02 14:05", "remark", "", nan, "", "hot"},
		{"thursday 2:05 pm hot", "04-30 14:05", "remark", "", nan, "", "hot"},
		{"hot, sat 5 pm", "04-25 17:00", "remark", "", nan, "", "hot"},
		{"hot 5 pm yesterday", "05-01 17:00", "remark", "", nan, "", "hot"},
		{"2:05 pm may 1: hot", "05-01 14:05", "remark", "", nan, "", "hot"},
		{"may 1 cleaners 22 2:05 pm", "05-01 14:05", "setting", "", 22, "psi", "cleaner_pressure"},
		{"half an hour ago hot", "05-02 15:00", "remark", "", nan, "", "hot"},
		{"hot 1.5 hours ago", "05-02 14:00", "remark", "", nan, "", "hot"},
		{"hot an hour ago", "05-02 14:30", "remark", "", nan, "", "hot"},
		{"vacuum 20 today", "05-02 15:30", "setting", "", 20, "inH2O", "vacuum"},
		{"stopped until 2:40 pm", "05-02 15:30", "remark", "", nan, "", "stopped until 2:40 pm"},
		{"sun too low", "05-02 15:30", "remark", "", nan, "", "sun too low"},
		// settings
		{"cleaners 30 to 22 psi, much trash", "05-02 15:30", "setting", "", 22, "psi", "cleaner_pressure, was 30 psi: much trash"},
		{"rows 3, 4 and 7 closers 40", "05-02 15:30", "setting", "3-4,7", 40, "psi", "closer_pressure"},
		{"down force row 7 to 180", "05-02 15:30", "setting", "7", 180, "lbf", "applied_force"},
		{"closers rows 1 to 8 40 psi", "05-02 15:30", "setting", "1-8", 40, "psi", "closer_pressure"},
		{"depth 2-1/4", "05-02 15:30", "setting", "", 2.25, "in", "depth"},
		{"depth 2¼ in", "05-02 15:30", "setting", "", 2.25, "in", "depth"},
		{"seed rate 32k", "05-02 15:30", "setting", "", 32000, "1/ac", "seed_rate_target"},
		{"down force to 180", "05-02 15:30", "setting", "", 180, "lbf", "applied_force"},
		{"set down force 150 lb to 180 lb left", "05-02 15:30", "setting", "1-8", 180, "lbf", "applied_force, was 150 lbf"},
		{"closers 40 psi rows 3,4", "05-02 15:30", "setting", "3-4", 40, "psi", "closer_pressure"},
		{"closers 40 psi r7: too loose", "05-02 15:30", "setting", "7", 40, "psi", "closer_pressure: too loose"},
		{"vacuum 20 in", "05-02 15:30", "setting", "", 20, "inH2O", "vacuum"},
		{"seed rate to 32,000", "05-02 15:30", "setting", "", 32000, "1/ac", "seed_rate_target"},
		{"vacuum low on the left", "05-02 15:30", "remark", "1-8", nan, "", "vacuum low on the left"},
		{"vacuum 20 and rising", "05-02 15:30", "remark", "", nan, "", "vacuum 20 and rising"},
		{"closers row 3, row 4 to 45", "05-02 15:30", "setting", "3-4", 45, "psi", "closer_pressure"},
		{"closers 40 psi on row 3, rows 4 to 8", "05-02 15:30", "setting", "3-8", 40, "psi", "closer_pressure"},
		{"set down force 150 lb row 7 to 180", "05-02 15:30", "setting", "7", 180, "lbf", "applied_force, was 150 lbf"},
		// fills
		{"filled 400 gal starter", "05-02 15:30", "refill", "", 400, "gal", "starter"},
		{"refill 2 bags row 7", "05-02 15:30", "refill", "7", 2, "", "bags"},
		{"fill rows 1-8, 12 units", "05-02 15:30", "refill", "1-8", 12, "", "units"},
		{"topped up", "05-02 15:30", "refill", "", nan, "", ""},
		{"fill 900 lbs", "05-02 15:30", "refill", "", 900, "lb", ""},
		{"filled starter 400 gal", "05-02 15:30", "refill", "", 400, "gal", "starter"},
		// fixes
		{"fixed row 7: new singulator", "05-02 15:30", "fix", "7", nan, "", "new singulator"},
		{"cleaned sensor row 12", "05-02 15:30", "fix", "12", nan, "", "cleaned sensor"},
		{"replaced seals rows 3, 4 and 9", "05-02 15:30", "fix", "3-4,9", nan, "", "replaced seals"},
		{"replaced row 3 and 7 meters", "05-02 15:30", "fix", "3,7", nan, "", "replaced meters"},
		{"replaced meters on rows 3, 4 and 7", "05-02 15:30", "fix", "3-4,7", nan, "", "replaced meters"},
		{"replaced row 3, row 7 meters", "05-02 15:30", "fix", "3,7", nan, "", "replaced meters"},
		{"fixed row 3 & 7 units: new belts", "05-02 15:30", "fix", "3,7", nan, "", "units: new belts"},
		{"replaced row 3 and 7 meters of hose", "05-02 15:30", "fix", "3", nan, "", "replaced and 7 meters of hose"},
		{"fixed row 3: 7 meters of hose", "05-02 15:30", "fix", "3", nan, "", "7 meters of hose"},
		{"fixed rows 3 and 7: the meters", "05-02 15:30", "fix", "3,7", nan, "", "the meters"},
		{"skips from row 3 and 20 meters back", "05-02 15:30", "remark", "3", nan, "", "skips from row 3 and 20 meters back"},
		// digs, counts, lots
		{"dug row 7: 2.1 in", "05-02 15:30", "dig", "7", 2.1, "in", ""},
		{"dug row 7, dry on top", "05-02 15:30", "dig", "7", nan, "", "dry on top"},
		{"counted 31 in 17.5 ft row 3", "05-02 15:30", "count", "3", 31, "", "in 17.5 ft"},
		{"stand 30500", "05-02 15:30", "count", "", 30500, "1/ac", ""},
		{"stand 30,500 an acre rows 1-8", "05-02 15:30", "count", "1-8", 30500, "1/ac", ""},
		{"lot A123 rows 1-8", "05-02 15:30", "lot", "1-8", nan, "", "A123"},
		{"dug 2.1 in row 7", "05-02 15:30", "dig", "7", 2.1, "in", ""},
		{"counted 31 in 17 ft 6 in row 3", "05-02 15:30", "count", "3", 31, "", "in 17.5 ft"},
		{"row 7 dug 1.75 in", "05-02 15:30", "dig", "7", 1.75, "in", ""},
		{"r7 dug 2.1 in", "05-02 15:30", "dig", "7", 2.1, "in", ""},
		{"row 7 filled 2 bags", "05-02 15:30", "refill", "7", 2, "", "bags"},
		{"12 units filled", "05-02 15:30", "refill", "", 12, "", "units"},
		{"400 gal starter filled row 7", "05-02 15:30", "refill", "7", 400, "gal", "starter"},
		{"switched to lot B77", "05-02 15:30", "lot", "", nan, "", "B77"},
		{"stand 30500 plants per acre", "05-02 15:30", "count", "", 30500, "1/ac", ""},
		{"dug row 7: 2.1 in, 2 in apart", "05-02 15:30", "dig", "7", 2.1, "in", "2 in apart"},
		{"dug row 7, found 2.1 in deep", "05-02 15:30", "dig", "7", 2.1, "in", ""},
		{"dug row 7 depth 2 in", "05-02 15:30", "dig", "7", 2, "in", ""},
		{"liquid 5 gal/ac", "05-02 15:30", "setting", "", 5, "gal/ac", "liquid_rate_target"},
		{"changed lot to B77", "05-02 15:30", "lot", "", nan, "", "B77"},
		{"fixed 2 seals", "05-02 15:30", "fix", "", nan, "", "2 seals"},
		// other words for the same
		{"205pm cleaners 22 psi", "05-02 14:05", "setting", "", 22, "psi", "cleaner_pressure"},
		{"1405 cleaners 22", "05-02 14:05", "setting", "", 22, "psi", "cleaner_pressure"},
		{"row cleaner 22 psi", "05-02 15:30", "setting", "", 22, "psi", "cleaner_pressure"},
		{"closer 40 psi", "05-02 15:30", "setting", "", 40, "psi", "closer_pressure"},
		{"gauge wheel 120 lb", "05-02 15:30", "setting", "", 120, "lbf", "gauge_wheel_load_target"},
		{"vac 20", "05-02 15:30", "setting", "", 20, "inH2O", "vacuum"},
		{"starter 5 gal/ac", "05-02 15:30", "setting", "", 5, "gal/ac", "liquid_rate_target"},
		{"starter 5 gal an acre", "05-02 15:30", "setting", "", 5, "gal/ac", "liquid_rate_target"},
		{"hyd 2500 psi", "05-02 15:30", "setting", "", 2500, "psi", "hydraulic_pressure"},
		{"set population to 34,000", "05-02 15:30", "setting", "", 34000, "1/ac", "seed_rate_target"},
		{"seed rate 32,000 seeds an acre rows 1-8", "05-02 15:30", "setting", "1-8", 32000, "1/ac", "seed_rate_target"},
		{"cleaners 22 psi, mud on row 7", "05-02 15:30", "setting", "", 22, "psi", "cleaner_pressure: mud on row 7"},
		// remarks
		{"row 7 fill tube bent", "05-02 15:30", "remark", "7", nan, "", "row 7 fill tube bent"},
		{"lot of mud on row 7", "05-02 15:30", "remark", "7", nan, "", "lot of mud on row 7"},
		{"stand looks good", "05-02 15:30", "remark", "", nan, "", "stand looks good"},
		{"row 7 smells of belt", "05-02 15:30", "remark", "7", nan, "", "row 7 smells of belt"},
		{"decreased wind, two hoppers left", "05-02 15:30", "remark", "", nan, "", "decreased wind, two hoppers left"},
	} {
		n, err := record.ParseNote(tt.text, "", "", "", noteContext(evenstand.US))
		if err != nil {
			t.Errorf("%q: %v", tt.text, err)
			continue
		}
		e := n.Entries[0]
		if len(n.Entries) > 1 {
			t.Errorf("%q: %d lines", tt.text, len(n.Entries))
		}
		same := e.Value == tt.value || math.IsNaN(e.Value) && math.IsNaN(tt.value)
		if when := e.T.Time().In(chicago).Format("01-02 15:04"); when != tt.when || e.What != tt.what || e.Rows.String() != tt.rows || !same || e.Unit != tt.unit || e.Note != tt.note {
			t.Errorf("%q: %s %s rows %q %v %q note %q (%s)", tt.text, when, e.What, e.Rows, e.Value, e.Unit, e.Note, record.SayEntry(&e))
		}
	}
}

func TestParseNoteRefuses(t *testing.T) {
	for _, tt := range []struct{ text, why string }{
		{"", "says nothing"},
		{"2:05 pm", "says nothing"},
		{"yesterday cleaned row 7", "without a time of day"},
		{"yesterday 2:05 cleaned row 7", "am or pm"},
		{"may 3 2:05 pm hot", "2026"},
		{"13:00 pm hot", "no time of day"},
		{"feb 30 2:05 pm hot", "no day"},
		{"mar 8 2026 2:30 am hot", "clocks went ahead"},
		{"fixed row 7 pm", "a row"},
		{"cleaners from 30", "to what"},
		{"cleaners 30 to", "to what"},
		{"fixed row 17", "16 rows"},
		{"fixed rows 8-1", "row list"},
		{"vacuum 20 right", "no vacuum group"},
		{"vacuum 900", "cannot be"},
		{"vacuum 20 gal", "no unit of vacuum"},
		{"speed 5,2", "with a point"},
		{"closers 2 bar to 40 psi", "two units"},
		{"fill 12", "12 of what"},
		{"counted 31 row 3", "in what length"},
		{"stand 31", "cannot be"},
		{"lot rows 1-8", "which lot"},
		{"dug row 7: 21 in", "cannot be"},
		{"dug 7 2.1", "is 7 a row"},
		{"dug 3, 2.1 in", "is 3 the row or the depth"},
		{"dug 2", "is 2 the row or the depth"},
		{"dug row 3 4 2.1", "is 4 a row"},
		{"dug row 7, 2, 1.75 in", "rows or depths"},
		{"dug rows 7, 8: 2.1, 2 in", "a note for each row"},
		{"dug row 7: 2.1 in, row 8 2.0 in", "a note for each"},
		{"dug row 7: 5,2 in", "with a point"},
		{"dug row 7: 7 in", "from 0 to 5 in is common practice, no source"},
		{"population 34,000", "what was set or what was counted"},
		{"pop 34000", "what was set or what was counted"},
		{"fixed 5 new seal", "is 5 a row"},
		{"replaced 5: seal", "is 5 a row"},
		{"seed rate 34", "from 1,000 to 250,000 an acre is common practice, no source"},
		{"speed 52", "from 0 to 15 mph"},
		{"filled -12 units", "cannot be"},
		{"filled 99999999 units", "up to 1,000 units is common practice, no source"},
		{"filled 40000 gal", "from 0 to 5,000 gal"},
		{"filled 12 units, 3 left", "3 of what"},
		{"filled 12 units, 3 bags left over", "a note for each fill"},
		{"filled 12 units 1405", "what is 1405"},
		{"stand 305000", "from 1,000 to 250,000 an acre"},
		{"stand 30500 7", "what is 7"},
		{"counted 310 plants in 17.5 ft row 3", "up to 267"},
		{"vacuum 20, 19", "one number"},
		{"vacuum 20 rows 1-8, 19 rows 9-16", "a note for each"},
		{"cleaners 22 psi rows 1-8, closers 40 psi", "which rows"},
		{"starter 400 gal", "filled 400 gal starter"},
		{"closers 40 psi on row 3, row 4 to 45", "a note for each"},
		{"closers 40 psi on row 3 and row 4 up to 45 psi", "a note for each"},
		{"closers row 3 to 40, row 4 to 45", "a note for each"},
		{"closers 40 psi on row 3, 45 on row 4", "a note for each"},
		{"vacuum 14 row 3, 15 on row 4", "a note for each"},
		{"cleaners 22 psi, row 7 to 20", "a note for each value"},
		{"depth 2 in on rows 1-8, rows 9-12 to 2.5", "a note for each"},
		{"cleaned row 3, 7 meters", "is 7 a row? Write it as fixed rows 3 and 7: the meters, or as fixed row 3: 7 meters of hose"},
		{"undo", "--undo"},
		{"undo the fix on row 7", "--undo"},
		{"changed lot", "which lot"},
		{"dug row 7: 2-2.5 in", "a range"},
		{"dug row 7: 2 in to 2.5 in", "a range"},
		{"stand 30,500 rows 1-8 and 29,000 rows 9-16", "a note for each"},
		{"undo 12", "--undo"},
		{"bell \a", "no plain text"},
		{strings.Repeat("a", 2000), "longer"},
	} {
		n, err := record.ParseNote(tt.text, "", "", "", noteContext(evenstand.US))
		if tt.text == "may 3 2:05 pm hot" { // without a year it is last year's
			if err != nil || n.Entries[0].T.Time().Year() != 2025 {
				t.Errorf("%q: %s, %v", tt.text, n.Entries[0].T, err)
			}
			continue
		}
		if err == nil || !strings.Contains(err.Error(), tt.why) {
			t.Errorf("%q: taken as %+v; error %v, want %q", tt.text, n.Entries, err, tt.why)
		}
	}
}

func TestParseNoteSaidOtherwise(t *testing.T) {
	n, err := record.ParseNote("vacuum 20", "2026-05-01 09:15", "9-16", "remark", noteContext(evenstand.US))
	if err != nil || n.Entries[0].What != "remark" || n.Entries[0].Rows.String() != "9-16" || n.Entries[0].T.Time().In(chicago).Format("01-02 15:04") != "05-01 09:15" {
		t.Errorf("%+v, %v", n, err)
	}
	if _, err := record.ParseNote("hot", "", "", "setting", noteContext(evenstand.US)); err == nil {
		t.Error("a remark is taken for a setting")
	}
	if n, err = record.ParseNote("vacuum 50", "", "", "", noteContext(evenstand.Metric)); err != nil || n.Entries[0].Unit != "mbar" || len(n.Supposed) != 1 {
		t.Errorf("%+v, %v", n, err)
	}
	// 31 plants in 17.5 ft of a row of 30 in stand on 1/995.7 of an acre.
	if n, err = record.ParseNote("counted 31 in 17.5 ft row 3", "", "", "", noteContext(evenstand.US)); err != nil || math.Abs(31/n.Area*evenstand.Acre-30864) > 20 {
		t.Errorf("area %v, %v", n.Area, err)
	}
}

// TestParseNoteSeveral: several values of one kind are several lines of one note,
// of the same time and rows.
func TestParseNoteSeveral(t *testing.T) {
	for _, tt := range []struct{ text, want string }{
		{"2:05 pm dug row 7 2.1, 2.0, 1.75 in", "Dug: seed 2.1 in deep, row 7; Dug: seed 2 in deep, row 7; Dug: seed 1.75 in deep, row 7"},
		{"2:05 pm dug row 7 2.1,2.0,1.75 in", "Dug: seed 2.1 in deep, row 7; Dug: seed 2 in deep, row 7; Dug: seed 1.75 in deep, row 7"},
		{"2:05 pm dug row 7: 2 1/4, 2 in and 5 cm: dry", "Dug: seed 2.25 in deep, row 7; Dug: seed 2 in deep, row 7; Dug: seed 5 cm deep, row 7: dry"},
		{"2:05 pm filled 12 units, 400 gal", "Filled 12 units, the whole planter; Filled 400 gal, the whole planter"},
		{"2:05 pm filled 12 units and 400 gal starter", "Filled 12 units, the whole planter; Filled 400 gal starter, the whole planter"},
		{"2:05 pm filled starter 400 gal, 12 units", "Filled 400 gal starter, the whole planter; Filled 12 units, the whole planter"},
		{"2:05 pm cleaners 22 psi and closers 40 psi", "Row-cleaner pressure set to 22 psi, the whole planter; Closing-wheel pressure set to 40 psi, the whole planter"},
		{"2:05 pm cleaners 22 psi rows 1-8, closers 40 psi rows 3,4", "Row-cleaner pressure set to 22 psi, rows 1-8; Closing-wheel pressure set to 40 psi, rows 3-4"},
	} {
		n, err := record.ParseNote(tt.text, "", "", "", noteContext(evenstand.US))
		var said []string
		for _, e := range n.Entries {
			if got := e.T.Time().In(chicago).Format("15:04"); got != "14:05" {
				t.Errorf("%q: a line at %s", tt.text, got)
			}
			said = append(said, record.SayEntry(&e))
		}
		if got := strings.Join(said, "; "); err != nil || got != tt.want || len(n.Supposed) > 0 {
			t.Errorf("%q: %s, %v, supposed %q", tt.text, got, err, n.Supposed)
		}
	}
}

// TestParseNoteSaidTwice: what stands in the text and beside it has to agree.
func TestParseNoteSaidTwice(t *testing.T) {
	for _, tt := range []struct{ text, at, rows, want, why string }{
		{"depth 2 in row 3", "", "4", "", "say the rows once"},
		{"depth 2 in row 4", "", "4", "Depth set to 2 in, row 4", ""},
		{"2pm depth 2 in", "3 pm", "", "", "say it once"},
		{"2pm depth 2 in", "2 pm", "", "Depth set to 2 in, the whole planter", ""},
		{"yesterday rain", "2 pm", "", "", "say it once"},
		{"stopped until 2:40 pm", "2 pm", "", "Remark: stopped until 2:40 pm", ""},
		{"dust from row 3", "2 pm", "4", "Remark, row 4: dust from row 3", ""},
	} {
		n, err := record.ParseNote(tt.text, tt.at, tt.rows, "", noteContext(evenstand.US))
		switch {
		case tt.why != "":
			if err == nil || !strings.Contains(err.Error(), tt.why) {
				t.Errorf("%q at %q rows %q: %v, want %q", tt.text, tt.at, tt.rows, err, tt.why)
			}
		case err != nil || record.SayEntry(&n.Entries[0]) != tt.want:
			t.Errorf("%q at %q rows %q: %+v, %v", tt.text, tt.at, tt.rows, n, err)
		}
	}
}

// TestParseNoteSupposes: what might have been meant otherwise is said.
func TestParseNoteSupposes(t *testing.T) {
	for text, want := range map[string]string{
		"2:05 hot":                 "taken as the last one",
		"5 pm hot":                 "yesterday's",
		"5/1 2:05 pm hot":          "the note is of now",
		"nov 2 2025 1:30 am hot":   "came twice",
		"vacuum 20 and rising":     "not as a setting",
		"vacuum up 2":              "not as a setting",
		"vacuum -2":                "not as a setting",
		"cleaners 22 bananas":      "not as a setting",
		"closers 40":               "No unit was said",
		"speed was 5 in the hole":  "",
		"hot at 2:05 pm":           "",
		"replaced sensor 7":        "A row is written as",
		"fixed 2 seals":            "A row is written as",
		"cleaners +2":              "not as a setting. A setting",
		"dug row 7, some 2.1 in":   "The depth is kept as words",
		"wind 15 mph":              "",
		"filled 12 units, lot B77": "\"lot B77\" is kept as words",
		"clenaers 22 psi":          "Is it about cleaners?",
		"raised down force to 180": "not as a setting",
		"row 7 has 22 psi":         "not as a setting",
		"cleaner 7 stuck":          "not as a setting",
		"brought 12 units":         "not as a fill",
		"seed 3 in deep on row 7":  "not as a dig",
		"1405 wind came up":        "written as 14:05",
		"1405 cleaners 22 psi":     "taken as a time of day",
		"fixed row 7: new singulator, vacuum 20 to 22": "a note of its own",
		"filled 12 units, cleaners 22 psi":             "a note of its own",
		"cleaners 22 psi, mud on row 7":                "kept as words",
		"row 7 smells of belt":                         "",
		"cleaners 22 psi: less trash":                  "",
	} {
		n, err := record.ParseNote(text, "", "", "", noteContext(evenstand.US))
		if said := strings.Join(n.Supposed, " "); err != nil || !strings.Contains(said, want) || (said == "") != (want == "") {
			t.Errorf("%q: %q, %v, want %q", text, said, err, want)
		}
	}
	// In metric units an inch behind the number stays one.
	if n, err := record.ParseNote("dug 2 in row 7", "", "", "", noteContext(evenstand.Metric)); err != nil || n.Entries[0].Unit != "in" {
		t.Errorf("%+v, %v", n, err)
	}
}

func TestSayEntry(t *testing.T) {
	for text, want := range map[string]string{
		"cleaners 30 to 22 psi":       "Row-cleaner pressure set to 22 psi (was 30 psi), the whole planter",
		"depth 2 1/4 in rows 3,5":     "Depth set to 2.25 in, rows 3, 5",
		"fill 12 units":               "Filled 12 units, the whole planter",
		"fixed row 7: new singulator": "Fixed, row 7: new singulator",
		"dug row 7: 2.1 in":           "Dug: seed 2.1 in deep, row 7",
		"counted 31 in 17.5 ft row 3": "Counted 31 in 17.5 ft, row 3",
		"stand 30500":                 "Stand of 30,500 an acre, the whole planter",
		"lot A123 rows 1-8":           "Seed lot A123, rows 1-8",
		"hot":                         "Remark: hot",
	} {
		n, err := record.ParseNote(text, "", "", "", noteContext(evenstand.US))
		if got := record.SayEntry(&n.Entries[0]); err != nil || got != want {
			t.Errorf("%q: %q, %v, want %q", text, got, err, want)
		}
	}
}

func FuzzParseNote(f *testing.F) {
	for _, s := range []string{"2:05 pm cleaners 30 to 22 psi", "yesterday 5 pm fixed row 7: x", "counted 31 in 17.5 ft row 3", "rows 1-8, 12 units fill", "may 2 2:05 pm depth 2 1/4 in", "left 10 min ago", "5 pm yesterday 17 ft 6 in", "sat 5 pm filled seed 2¼ bags", "an hour ago depth 2-1/4, nov 2 1:30 am", "dug row 7 2.1, 2.0, 1.75 in", "filled 12 units, 400 gal starter", "cleaners 22 psi row 3, closers 40 psi row 4", "1405 vac 20 left", "12 units filled row 7", "205pm pop 34000"} {
		f.Add(s, "", "", "")
		f.Add(s, s, s, "setting")
	}
	f.Add("hot", "", "\xb7r1", "")
	c := noteContext(evenstand.US)
	f.Fuzz(func(t *testing.T, text, at, rows, what string) {
		n, err := record.ParseNote(text, at, rows, what, c)
		if err != nil {
			return
		}
		if len(n.Entries) == 0 {
			t.Fatal("no line")
		}
		for _, e := range n.Entries {
			if e.T > c.Now+600*evenstand.Second || e.T != n.Entries[0].T || math.IsInf(e.Value, 0) || len(e.Rows) > 0 && (e.Rows[0] < 1 || e.Rows[len(e.Rows)-1] > 16) {
				t.Fatalf("%q gives %+v", text, e)
			}
			if _, err := evenstand.ParseUnit(e.Unit); err != nil {
				t.Fatal(err)
			}
			if record.SayEntry(&e) == "" {
				t.Fatal("nothing to say")
			}
		}
	})
}

// A note in the place of another keeps its time and rows where it says none, and
// a time of day is of the other's day.
func TestNoteInPlaceOfAnother(t *testing.T) {
	c := noteContext(evenstand.US)
	of := evenstand.Entry{T: evenstand.FromTime(time.Date(2026, 4, 28, 14, 5, 0, 0, chicago)), What: "setting", Rows: evenstand.Rows{1, 2}, Value: 22, Unit: "psi", Note: "cleaner_pressure"}
	c.Of = &of
	for _, x := range []struct{ text, at, rows, when, of string }{
		{"cleaners 24 psi", "", "", "04-28 14:05", "1-2"},
		{"cleaners 24 psi all rows", "", "", "04-28 14:05", ""},
		{"cleaners 24 psi", "", "all", "04-28 14:05", ""},
		{"cleaners 24 psi rows 3-4", "", "", "04-28 14:05", "3-4"},
		{"2:20 pm cleaners 24 psi", "", "", "04-28 14:20", "1-2"},
		{"cleaners 24 psi", "2:20 pm", "left", "04-28 14:20", "1-8"},
		{"cleaners 24 psi", "2026-04-29 08:00", "", "04-29 08:00", "1-2"},
		{"cleaners 24 psi, 10 min ago", "", "", "05-02 15:20", "1-2"},
		{"hot", "", "", "04-28 14:05", "1-2"},
	} {
		n, err := record.ParseNote(x.text, x.at, x.rows, "", c)
		if err != nil {
			t.Errorf("%+v: %v", x, err)
			continue
		}
		e := n.Entries[0]
		if got := e.T.Time().In(chicago).Format("01-02 15:04"); got != x.when || e.Rows.String() != x.of {
			t.Errorf("%+v: %s, rows %q", x, got, e.Rows)
		}
	}
}

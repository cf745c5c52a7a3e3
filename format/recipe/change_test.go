package recipe

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"evenstand"
	"evenstand/format/formattest"
	"evenstand/format/table"
)

// The clock in Chicago is set back from 2:00 to 1:00 on November 1, 2026, and
// forward from 2:00 to 3:00 on March 8, 2026 (tzdata); that on Lord Howe is
// set by half an hour only, on April 5, 2026 back from 2:00 to 1:30.
func TestClockChange(t *testing.T) {
	every := func(zone string, from time.Time, minutes, step int) string {
		z, err := time.LoadLocation(zone)
		if err != nil {
			t.Fatal(err)
		}
		var b strings.Builder
		b.WriteString("time,row 1 skips %\n")
		for i := 0; i < minutes; i += step {
			fmt.Fprintf(&b, "%s,1.5\n", from.Add(time.Duration(i)*time.Minute).In(z).Format("2006-01-02 15:04:05"))
		}
		return b.String()
	}
	autumn := time.Date(2026, 11, 1, 5, 30, 0, 0, time.UTC) // 0:30
	howe := time.Date(2026, 4, 4, 14, 0, 0, 0, time.UTC)    // 1:00
	for _, tt := range []struct {
		name, zone, file string
		from             time.Time // empty: not looked at
		step             int
		want             int // readings
		note             string
	}{
		{"autumn", "America/Chicago", every("America/Chicago", autumn, 150, 1), autumn, 1, 150, "60 lines from 32 to 91 were taken as the first of the two, and 60 lines from 92 to 151 as the second"},
		{"autumn, ten minutes", "America/Chicago", every("America/Chicago", autumn, 200, 10), autumn, 10, 20, "6 lines from 5 to 10 were taken as the first of the two, and 6 lines from 11 to 16 as the second"},
		{"autumn, one hour only", "America/Chicago", every("America/Chicago", autumn, 60, 1), autumn, 1, 60, "30 lines from 32 to 61 lie in the hour that comes twice on November 1, 2026 in America/Chicago, when the clock is set back: they were taken as the first of the two, since nothing tells"},
		{"half an hour", "Australia/Lord_Howe", every("Australia/Lord_Howe", howe, 120, 1), howe, 1, 120, "30 lines from 32 to 61 were taken as the first of the two, and 30 lines from 62 to 91 as the second"},
		{"spring, a clock that is set", "America/Chicago", every("America/Chicago", time.Date(2026, 3, 8, 7, 30, 0, 0, time.UTC), 60, 1), time.Date(2026, 3, 8, 7, 30, 0, 0, time.UTC), 1, 60, ""},
		{"spring, a clock that is not", "America/Chicago", every("Etc/GMT+6", time.Date(2026, 3, 8, 7, 30, 0, 0, time.UTC), 120, 1), time.Time{}, 1, 60, "unused: 60 a time that does not come in America/Chicago"},
		{"spring, told the zone it keeps", "Etc/GMT+6", every("Etc/GMT+6", time.Date(2026, 3, 8, 7, 30, 0, 0, time.UTC), 120, 1), time.Date(2026, 3, 8, 7, 30, 0, 0, time.UTC), 1, 120, ""},
	} {
		r := New()
		r.Box, r.File = "b", File{Kind: table.Text, Columns: []string{"time", "row 1 skips %"}}
		r.Time = Time{Column: "time", Written: YearFirst, Zone: tt.zone}
		r.Values = []Value{{Column: "row {n} skips %", Quantity: evenstand.SkipFraction, Element: "row {n}", Unit: "%", Times: 1}}
		got, err := formattest.ReadAll(context.Background(), Format{Recipes: []Recipe{r}}, fstest.MapFS{"a.csv": {Data: []byte(tt.file)}})
		if err != nil || len(got.Streams) != 1 {
			t.Fatalf("%s: %v %v", tt.name, err, got.Unused)
		}
		s := got.Streams[0]
		if n := len(s.Data.Reading); n != tt.want {
			t.Errorf("%s: %d readings, want %d", tt.name, n, tt.want)
			continue
		}
		if !tt.from.IsZero() {
			for i, r := range s.Data.Reading {
				if want := evenstand.FromTime(tt.from.Add(time.Duration(i*tt.step) * time.Minute)); r.T != want {
					t.Errorf("%s: line %d at %v, want %v", tt.name, i+2, r.T, want)
					break
				}
			}
		}
		said := strings.Join(s.Source.Notes, "\n")
		for _, u := range s.Data.Left {
			said += fmt.Sprintf("\nunused: %d %s. %s", u.Count, u.Why, u.Do)
		}
		if !strings.Contains(said, tt.note) || tt.note == "" && said != "" {
			t.Errorf("%s: said %q, want %q", tt.name, said, tt.note)
		}
		if strings.Contains(tt.note, "unused") && !strings.Contains(said, "Etc/GMT+6") {
			t.Errorf("%s: the zone to give is not said: %s", tt.name, said)
		}
	}
}

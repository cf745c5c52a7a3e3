package recipe

import (
	"context"
	"strings"
	"testing"
	"testing/fstest"

	"evenstand"
	"evenstand/format/table"

	"github.com/google/go-cmp/cmp"
)

// firstTwo shows the first two lines of a table.
func firstTwo(t *testing.T, text string, r Recipe, units evenstand.Units) Head {
	t.Helper()
	h, err := r.First(context.Background(), fstest.MapFS{"a.csv": {Data: []byte(text)}}, table.Ref{Files: []string{"a.csv"}, Kind: table.Text}, 2, units)
	if err != nil {
		t.Fatal(err)
	}
	return h
}

// gives are the texts of a line.
func gives(l Line) string {
	var out []string
	for _, g := range l.Gives {
		out = append(out, g.Text)
	}
	return strings.Join(out, "; ")
}

func TestFirst(t *testing.T) {
	const long = `recipe = 1
box = "b"
[file]
kind = "text"
columns = ["time", "row", "lat", "lon", "skips"]
[time]
column = "time"
written = "seconds"
[long]
row = "row"
[place]
latitude = "lat"
longitude = "lon"
[[value]]
column = "skips"
quantity = "skip_fraction"
element = "row {n}"
unit = "%"
`
	const counts = `recipe = 1
box = "b"
[file]
kind = "text"
columns = ["time", "seeds", "km/h"]
[time]
column = "time"
written = "seconds"
[[value]]
column = "seeds"
quantity = "seed_count"
element = "machine"
unit = ""
running_total = true
[[value]]
column = "km/h"
quantity = "ground_speed"
element = "machine"
unit = "km/h"
`
	for _, tt := range []struct {
		name, recipe, file string
		units              evenstand.Units
		want               []string
	}{
		// 8.2 km/h are 5.095 mph.
		{"columns in their order", monitor, monitorFile, evenstand.US, []string{
			"ground speed 5.095 mph; row 1 skips 0.5 %; row 1 doubles 1 %; row 2 skips 0 %; row 2 doubles 0.4 %; planter lifted 0",
			"ground speed 5.157 mph; row 2 skips 1 %; row 2 doubles 0.4 %; planter lifted 1",
		}},
		{"metric", monitor, monitorFile, evenstand.Metric, []string{
			"ground speed 8.2 km/h; row 1 skips 0.5 %; row 1 doubles 1 %; row 2 skips 0 %; row 2 doubles 0.4 %; planter lifted 0",
			"ground speed 8.3 km/h; row 2 skips 1 %; row 2 doubles 0.4 %; planter lifted 1",
		}},
		{"lines of one time with a line for each row", long, "time,row,lat,lon,skips\n1777749128,1,41.1,-93.2,1\n1777749128,2,41.1,-93.2,2\n1777749129,1,41.2,-93.2,3\n1777749130,1,41.2,-93.2,4\n", evenstand.US, []string{
			"41.100000, -93.200000; row 1 skips 1 %; row 2 skips 2 %",
			"41.200000, -93.200000; row 1 skips 3 %",
		}},
		// The first step of a running total, 11 s, is held back until the second tells
		// that it was no pause.
		{"a value that comes later", counts, "time,seeds,km/h\n1777749128,10,8\n1777749139,13,9\n1777749150,15,7\n", evenstand.Metric, []string{
			"ground speed 8 km/h",
			"seeds counted 3; ground speed 9 km/h",
		}},
		// Times of whole seconds, five lines a second.
		{"two lines of one time", counts, "time,seeds,km/h\n1777749128,,8\n1777749128,,9\n1777749129,,7\n", evenstand.Metric, []string{
			"ground speed 8 km/h",
			"ground speed 9 km/h",
		}},
	} {
		h := firstTwo(t, tt.file, parse(t, tt.recipe), tt.units)
		var got []string
		for _, l := range h.Lines {
			got = append(got, gives(l))
		}
		if d := cmp.Diff(tt.want, got); d != "" || len(h.Unused) > 0 {
			t.Errorf("%s: not used %v (-want +got):\n%s", tt.name, h.Unused, d)
		}
	}
}

// TestDiffers: columns that are new, and those that a table lacks.
func TestDiffers(t *testing.T) {
	for _, tt := range []struct {
		header, unread, lacks string
	}{
		{"Datum;Uhrzeit;km/h;R1 Fehl;R1 Doppel;R2 Fehl;R2 Doppel;oben", "", ""},
		{"Datum;Uhrzeit;km/h;R1 Fehl;R1 Doppel;oben", "", "R2 Fehl,R2 Doppel"},
		{"Datum;Uhrzeit;km/h;R1 Fehl;R1 Doppel;R3 Fehl;R2 Fehl;R2 Doppel;oben;Motor", "Motor", ""},
	} {
		var cs []table.Column
		for _, n := range strings.Split(tt.header, ";") {
			cs = append(cs, table.Column{Name: n})
		}
		r := parse(t, monitor)
		unread, lacks := r.Differs(cs)
		if strings.Join(unread, ",") != tt.unread || strings.Join(lacks, ",") != tt.lacks {
			t.Errorf("%s: %q not read, %q missing; want %q and %q", tt.header, unread, lacks, tt.unread, tt.lacks)
		}
	}
}

package recipe

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"evenstand"
	"evenstand/format/formattest"
)

// Headers that a guess once read wrongly without asking, or could not be told
// about. want is what told gives, with | for several things; a text behind !
// is part of the error.
var sceptical = []struct {
	name    string
	file    string
	answers map[string]string
	want    string
	never   string // nothing of this kind is told or proposed
}{
	{"rows of both sides", `time,L2_skip_pct,L1_skip_pct,R1_skip_pct,R2_skip_pct
2026-05-02T14:12:08Z,1.5,2.5,3.5,4.5
2026-05-02T14:12:09Z,1.5,2.5,3.5,4.5
`, nil, "L2_skip_pct: skip_fraction, row 1, %|L1_skip_pct: skip_fraction, row 2, %|R1_skip_pct: skip_fraction, row 3, %|R2_skip_pct: skip_fraction, row 4, %", "{n}"},
	{"both from the outside", `time,L2_skip_pct,L1_skip_pct,R1_skip_pct,R2_skip_pct
2026-05-02T14:12:08Z,1.5,2.5,3.5,4.5
2026-05-02T14:12:09Z,1.5,2.5,3.5,4.5
`, map[string]string{"sides": "outside"}, "L1_skip_pct: skip_fraction, row 1, %|L2_skip_pct: skip_fraction, row 2, %|R2_skip_pct: skip_fraction, row 3, %|R1_skip_pct: skip_fraction, row 4, %", ""},
	{"an order of columns that proposes none", `time,Left 1 skips %,Left 2 skips %,Right 1 skips %,Right 2 skips %
2026-05-02T14:12:08Z,1.5,2.5,3.5,4.5
2026-05-02T14:12:09Z,1.5,2.5,3.5,4.5
`, nil, "", "skip_fraction"},
	{"one column of a pattern", `time,row 1 skips %,row 2 skips %,row 3 skips %
2026-05-02T14:12:08Z,1.5,2.5,3.5
2026-05-02T14:12:09Z,1.5,2.5,3.5
`, map[string]string{"column row 2 skips %": "none"}, "row 1 skips %: skip_fraction, row 1, %|row 3 skips %: skip_fraction, row 3, %|row 2 skips %-", "{n}"},
	{"one column of a pattern, another row", `time,L1_skip_pct,L2_skip_pct
2026-05-02T14:12:08Z,1.5,2.5
2026-05-02T14:12:09Z,1.5,2.5
`, map[string]string{"column L1_skip_pct": "skip_fraction, row 2, %", "column L2_skip_pct": "skip_fraction, row 1, %"}, "L1_skip_pct: skip_fraction, row 2, %|L2_skip_pct: skip_fraction, row 1, %", ""},
	{"a line for each value, of parts", `time,what,quantity,value
2026-05-02T14:12:08Z,row 1,skips %,1.5
2026-05-02T14:12:08Z,row 2,skips %,2.5
2026-05-02T14:12:09Z,row 1,skips %,1.5
2026-05-02T14:12:09Z,row 2,skips %,2.5
`, nil, "skips %: skip_fraction, machine, %|what? row", ""},
	{"told that they are rows", `time,what,quantity,value
2026-05-02T14:12:08Z,row 1,skips %,1.5
2026-05-02T14:12:08Z,row 2,skips %,2.5
2026-05-02T14:12:09Z,row 1,skips %,1.5
2026-05-02T14:12:09Z,row 2,skips %,2.5
`, map[string]string{"column what": "row"}, "skips %: skip_fraction, row {n}, %", ""},
	{"a line for each value, of rows", `time,row,metric,reading
2026-05-02T14:12:08Z,1,skips %,1.5
2026-05-02T14:12:08Z,1,vacuum inH2O,19.1
2026-05-02T14:12:08Z,2,skips %,1.5
2026-05-02T14:12:08Z,2,vacuum inH2O,19.5
`, nil, "skips %: skip_fraction, row {n}, %|vacuum inH2O? vacuum, row {n}, inH2O", "seeds"},
	{"time, row and what nobody knows", `time,row,offset
2026-05-02T14:12:08.1Z,1,0.1
2026-05-02T14:12:08.2Z,2,0.2
`, nil, "seeds?|offset-", ""},
	{"radians", `time,lat_rad,lon_rad,speed (m/s)
2026-05-02T14:12:08Z,0.7260500,-1.6318800,2.1
2026-05-02T14:12:09Z,0.7260501,-1.6318801,2.1
`, nil, "lat_rad-|lon_rad-|speed (m/s): ground_speed, machine, m/s", "latitude"},
	{"radians in brackets", `time,Latitude (rad),Longitude (rad),speed (m/s)
2026-05-02T14:12:08Z,0.7260500,-1.6318800,2.1
2026-05-02T14:12:09Z,0.7260501,-1.6318801,2.1
`, nil, "Latitude (rad)-|Longitude (rad)-|speed (m/s): ground_speed, machine, m/s", "latitude"},
	{"degrees in other words", `time,GPS Lat (°),lon_deg,speed (m/s)
2026-05-02T14:12:08Z,41.6,-93.5,2.1
2026-05-02T14:12:09Z,41.6,-93.5,2.1
`, nil, "GPS Lat (°): latitude|lon_deg: longitude|speed (m/s): speed", ""},
	{"places by name", `time,GPS_N,GPS_E
2026-05-02T14:12:08Z,41.6,-93.5
2026-05-02T14:12:09Z,41.6,-93.5
`, map[string]string{"column GPS_N": "latitude", "column GPS_E": "longitude"}, "GPS_N: latitude|GPS_E: longitude", ""},
	{"half a place", `time,GPS_N,GPS_E
2026-05-02T14:12:08Z,41.6,-93.5
2026-05-02T14:12:09Z,41.6,-93.5
`, map[string]string{"column GPS_N": "latitude"}, `!--column "NAME = longitude"`, ""},
	{"a force of which nothing more is said", `time,Force
2026-05-02T14:12:08Z,120
2026-05-02T14:12:09Z,121
`, nil, "Force? applied_force, machine, N | applied_force, machine, lbf | applied_force, machine, kgf | gauge_wheel_load, machine, N | gauge_wheel_load, machine, lbf | gauge_wheel_load, machine, kgf", ""},
	{"a factor", `time,row,Population x1000
2026-05-02T14:12:08Z,1,32.0
2026-05-02T14:12:09Z,1,32.1
`, nil, "Population x1000? seed_rate, row {n}, 1000 1/ha | seed_rate, row {n}, 1000 1/ac | seed_rate, row {n}, 1/m2", ""},
	{"thousands that nobody tells", `time,Population
2026-05-02T14:12:08Z,32.0
2026-05-02T14:12:09Z,32.1
`, nil, "Population? seed_rate, machine, 1/m2 | seed_rate, machine, 1000 1/ha | seed_rate, machine, 1000 1/ac", ""},
	{"a unit that nobody plants by", `time,Population (seeds/ha)
2026-05-02T14:12:08Z,80.1
2026-05-02T14:12:09Z,80.2
`, nil, "Population (seeds/ha)? seed_rate, machine, 1/ha | seed_rate, machine, 1000 1/ha", ""},
	{"a state turned round", `time,Clutch Disengaged
2026-05-02T14:12:08Z,0
2026-05-02T14:12:09Z,1
`, nil, "Clutch Disengaged? row_enabled, machine | row_enabled, machine, opposite", ""},
	{"up and down", `time,Planter Up/Down
2026-05-02T14:12:08Z,1
2026-05-02T14:12:09Z,0
`, nil, "Planter Up/Down? implement_lifted, machine | implement_lifted, machine, opposite", ""},
	{"doubles in other words", `Zeit;Reihe 1 Doppel;Reihe 2 Doppel
2026-05-02T14:12:08Z;1,5;2,5
2026-05-02T14:12:09Z;1,5;2,5
`, map[string]string{"column Reihe {n} Doppel": "doubles, %"}, "Reihe {n} Doppel: double_fraction, row {n}, %", ""},
	{"a quantity that is none", `time,x1 (%)
2026-05-02T14:12:08Z,1
2026-05-02T14:12:09Z,2
`, map[string]string{"column x1 (%)": "bogus"}, "!evenstand help recipe", ""},
	{"rows without a word", `time,Row 1 (%),Row 2 (%)
2026-05-02T14:12:08Z,1.5,2.5
2026-05-02T14:12:09Z,1.5,2.5
`, nil, "Row {n} (%)? skip_fraction, row {n}, % | double_fraction, row {n}, % | spacing_cv, row {n}, % | wheel_off_share, row {n}, %", ""},
	{
		"a line of totals", "Datum;Uhrzeit;Reihe 1 Fehlstellen %;Reihe 2 Fehlstellen %\n" + strings.Repeat("03.04.2026;09:15:00;1,5;2,5\n", 20) + "Summe;;1,5;2,5\n",
		nil, "Reihe {n} Fehlstellen %: skip_fraction, row {n}, %", "",
	},
	{"Italian, points in the time of day", `Data;Ora;Velocità [km/h]
13/04/2026;09.15.00;8,1
13/04/2026;09.15.01;8,2
`, nil, "Velocità [km/h]: ground_speed, machine, km/h", ""},
	{"six digits for a time of day", `Date,UTC Time,Speed (mph)
2026-05-02,141500.00,5.1
2026-05-02,141501.00,5.1
`, nil, "Speed (mph): ground_speed, machine, mph", ""},
	{"six digits and no date", `UTC Time,Speed (mph)
141500.00,5.1
141501.00,5.1
`, nil, "!no column tells the date", ""},
	{"knots", `time,Speed knots
2026-05-02T14:12:08Z,4.1
2026-05-02T14:12:09Z,4.2
`, nil, "Speed knots: ground_speed, machine, 1.852 km/h", ""},
	{"knots, short", `time,Speed_kn
2026-05-02T14:12:08Z,4.1
2026-05-02T14:12:09Z,4.2
`, nil, "Speed_kn: ground_speed, machine, 1.852 km/h", ""},
	{"units in the cells", `time,Speed,Row 1 Skips,Row 2 Skips
2026-05-02T14:12:08Z,5.1 mph,1.5%,2.5%
2026-05-02T14:12:09Z,5.2 mph,1.5%,2.5%
`, nil, "Speed: ground_speed, machine, mph|Row {n} Skips: skip_fraction, row {n}, %", ""},
	{"seeds of an area, a length and a time", `time,Körner/m²,semillas/m,Seeds/s
2026-05-02T14:12:08Z,8.1,6.2,12
2026-05-02T14:12:09Z,8.2,6.1,13
`, nil, "Körner/m²: seed_rate, machine, 1/m2|semillas/m-|Seeds/s-", ""},
	{"seeds of an area behind what they are", `time,Population seeds/ac,Target seeds/ac
2026-05-02T14:12:08Z,32000,32000
2026-05-02T14:12:09Z,32100,32000
`, nil, "Population seeds/ac: seed_rate, machine, 1/ac|Target seeds/ac: seed_rate_target, machine, 1/ac", ""},
	{
		"several lines a second", "time,Torque,Speed (mph)\n" + "2026-05-02T14:12:08Z,11,5.1\n2026-05-02T14:12:08Z,12,5.1\n2026-05-02T14:12:09Z,13,5.1\n2026-05-02T14:12:09Z,14,5.1\n2026-05-02T14:12:10Z,15,5.1\n2026-05-02T14:12:10Z,16,5.1\n",
		nil, "Torque-|Speed (mph): ground_speed, machine, mph", "",
	},
	{"short names of pressures", `time,Closing PSI,Fan RPM,Hyd PSI,Row Cleaner PSI,Row Width in
2026-05-02T14:12:08Z,40,4000,2200,22,30
2026-05-02T14:12:09Z,40,4100,2210,22,30
`, nil, "Closing PSI: closer_pressure, machine, psi|Fan RPM: fan_speed, machine, 1/min|Hyd PSI: hydraulic_pressure, machine, psi|Row Cleaner PSI: cleaner_pressure, machine, psi|Row Width in-", ""},
}

func TestGuessSceptical(t *testing.T) {
	for _, tt := range sceptical {
		p := propose(t, tt.file, tt.answers)
		if want, isErr := strings.CutPrefix(tt.want, "!"); isErr {
			if p.Err == nil || !strings.Contains(p.Err.Error(), want) {
				t.Errorf("%s: %v, want %q", tt.name, p.Err, want)
			}
			continue
		}
		got := told(p)
		for _, w := range strings.Split(tt.want, "|") {
			if strings.Contains(tt.want, " | ") {
				w = tt.want
			}
			if w != "" && !slices.Contains(got, w) {
				t.Errorf("%s: want %q among\n%s\n%v", tt.name, w, strings.Join(got, "\n"), p.Err)
			}
		}
		if tt.never != "" {
			for _, g := range got {
				if name, means, _ := strings.Cut(g, ": "); strings.Contains(means, tt.never) || name == tt.never+"?" {
					t.Errorf("%s: %q is told", tt.name, g)
				}
			}
		}
	}
}

// What is proposed for lines that are told apart by nothing that is known is
// not taken without being asked.
func TestSeedsAreNotProposed(t *testing.T) {
	for _, tt := range []struct {
		file     string
		proposed string
	}{
		{"time,row\n2026-05-02T14:12:08.12Z,1\n2026-05-02T14:12:08.19Z,2\n", "yes"},
		{"time,row\n2026-05-02T14:12:08Z,1\n2026-05-02T14:12:09Z,2\n", ""},
		{"time,row,offset\n2026-05-02T14:12:08.12Z,1,2\n2026-05-02T14:12:08.19Z,2,3\n", ""},
	} {
		p := propose(t, tt.file, nil)
		i := slices.IndexFunc(p.Questions, func(q Question) bool { return q.ID == "seeds" })
		if i < 0 || p.Questions[i].Proposed != tt.proposed {
			t.Errorf("%q: %v", tt.file, p.Questions)
		}
	}
}

// Two columns of one quantity of one part are asked about, never both read.
func TestTwice(t *testing.T) {
	const file = "time,Up,Lifted,Raised\n2026-05-02T14:12:08Z,1,1,0\n2026-05-02T14:12:09Z,0,0,1\n"
	p := propose(t, file, nil)
	i := slices.IndexFunc(p.Questions, func(q Question) bool { return q.ID == "one implement_lifted, machine" })
	if i < 0 || p.Questions[i].Proposed != "" || len(p.Questions[i].Options) != 2 {
		t.Fatalf("%+v", p.Questions)
	}
	p = propose(t, file, map[string]string{"one implement_lifted, machine": "Raised"})
	if len(p.Recipe.Values) != 1 || p.Recipe.Values[0].Column != "Raised" {
		t.Errorf("%+v", p.Recipe.Values)
	}
}

// An answer in words of up and down reads them.
func TestUpDownReads(t *testing.T) {
	const file = "time,Planter Up/Down\n2026-05-02T14:12:08Z,Up\n2026-05-02T14:12:09Z,Down\n"
	for answer, want := range map[string][]float64{"implement_lifted, machine": {1, 0}, "implement_lifted, machine, opposite": {0, 1}} {
		r := answered(t, file, map[string]string{"column Planter Up/Down": answer})
		got, err := formattest.ReadAll(context.Background(), Format{Recipes: []Recipe{r}}, fstest.MapFS{"a.csv": {Data: []byte(file)}})
		if err != nil || len(got.Streams) != 1 {
			t.Fatal(err, got.Unused)
		}
		var vs []float64
		for _, r := range got.Streams[0].Data.Reading {
			vs = append(vs, r.Value)
		}
		if !slices.Equal(vs, want) {
			t.Errorf("%s: %v, want %v", answer, vs, want)
		}
	}
}

// Units in the cells are read where they are those of the recipe, and no others.
func TestUnitsInCells(t *testing.T) {
	const head = "time,Speed,Row 1 Skips\n"
	r := answered(t, head+"2026-05-02T14:12:08Z,5.1 mph,1.5%\n2026-05-02T14:12:09Z,5.2 mph,1.5%\n", nil)
	in := fstest.MapFS{"a.csv": {Data: []byte(head + "2026-05-02T14:12:08Z,10 mph,1.5%\n2026-05-02T14:12:09Z,10 km/h,1.5 %\n2026-05-02T14:12:10Z,10,1.5\n")}}
	got, err := formattest.ReadAll(context.Background(), Format{Recipes: []Recipe{r}}, in)
	if err != nil || len(got.Streams) != 1 {
		t.Fatal(err, got.Unused)
	}
	s := got.Streams[0].Data
	n := 0
	for _, r := range s.Reading {
		if r.Quantity == evenstand.GroundSpeed {
			n++
			if r.Value < 4.4 || r.Value > 4.5 { // 10 mph are 4.47 m/s
				t.Errorf("%v", r)
			}
		}
	}
	if n != 2 || len(s.Reading) != 5 || len(s.Left) != 1 || !strings.Contains(s.Left[0].Why, "mph") {
		t.Errorf("%d speeds of %d readings, left %v", n, len(s.Reading), s.Left)
	}
}

// Rows of both sides that were answered are read as our rows, also when other
// columns count from the right.
func TestSidesRead(t *testing.T) {
	const file = "time,L2_skip_pct,L1_skip_pct,R1_skip_pct,R2_skip_pct\n2026-05-02T14:12:08Z,1,2,3,4\n2026-05-02T14:12:09Z,1,2,3,4\n"
	r := answered(t, file, nil)
	got, err := formattest.ReadAll(context.Background(), Format{Recipes: []Recipe{r}}, fstest.MapFS{"a.csv": {Data: []byte(file)}})
	if err != nil || len(got.Streams) != 1 {
		t.Fatal(err, got.Unused)
	}
	for i, r := range got.Streams[0].Data.Reading {
		if want := evenstand.RowElement(i%4 + 1); r.Element != want || fmt.Sprintf("%.2f", r.Value) != fmt.Sprintf("%.2f", float64(i%4+1)/100) {
			t.Errorf("%v, want %v", r, want)
		}
	}
}

// Tables of one header with other units in their cells are those of another
// box; a state or a count with words in its cells is not touched by that.
func TestFitsUnitsInCells(t *testing.T) {
	const head = "time,Speed,Row 1 Skips\n"
	us, metric := head+"2026-05-02T14:12:08Z,5.1 mph,1.5%\n2026-05-02T14:12:09Z,5.2 mph,1.5%\n", head+"2026-05-02T14:12:08Z,8.1 km/h,1.5%\n2026-05-02T14:12:09Z,8.2 km/h,1.5%\n"
	a, b := answered(t, us, nil), answered(t, metric, nil)
	if _, err := match(Format{Recipes: []Recipe{a}}, metric); err == nil || !strings.Contains(err.Error(), "its cells say km/h") {
		t.Errorf("%v", err)
	}
	for file, want := range map[string]Recipe{us: a, metric: b} {
		if got, err := match(Format{Recipes: []Recipe{a, b}}, file); err != nil || got.Sum() != want.Sum() {
			t.Errorf("%v, %v", got, err)
		}
	}
}

// The question for the zone shows a time as it stands in the file, with both its
// columns where it stands in two.
func TestZoneQuestionShowsTime(t *testing.T) {
	for _, tt := range []struct{ file, want string }{
		{"time,Speed (mph)\n2026-05-02 14:12:08,5.1\n2026-05-02 14:12:09,5.2\n", "Times such as 2026-05-02 14:12:08 do not"},
		{"Datum;Uhrzeit;Speed (mph)\n02.05.2026;14:12:08;5.1\n02.05.2026;14:12:09;5.2\n", "Times such as 02.05.2026 14:12:08 do not"},
	} {
		p := propose(t, tt.file, nil)
		i := slices.IndexFunc(p.Questions, func(q Question) bool { return q.ID == "zone" })
		if i < 0 || !strings.HasPrefix(p.Questions[i].Text, tt.want) {
			t.Errorf("%q: want %q, %+v, %v", tt.file, tt.want, p.Questions, p.Err)
		}
	}
}

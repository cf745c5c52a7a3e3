package recipe

import (
	"archive/zip"
	"bytes"
	"context"
	"errors"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"evenstand"
	"evenstand/format/table"
)

// answered proposes a recipe with every answer that is proposed, or else the
// first one, and with those that are given.
func answered(t *testing.T, file string, given map[string]string) Recipe {
	t.Helper()
	answers := map[string]string{}
	for k, v := range given {
		answers[k] = v
	}
	p := propose(t, file, answers)
	for range 5 {
		for _, q := range p.Questions {
			if answers[q.ID] = q.Proposed; q.Proposed == "" {
				answers[q.ID] = q.Options[0].Key
			}
		}
		p = propose(t, file, answers)
	}
	if p.Err != nil || len(p.Questions) > 0 {
		t.Fatalf("%v, open %v", p.Err, p.Questions)
	}
	back, err := Parse("r.toml", p.Recipe.Marshal())
	if err != nil {
		t.Fatal(err)
	}
	return back
}

func match(f Format, file string) (*Recipe, error) {
	in := fstest.MapFS{"a.csv": {Data: []byte(file)}}
	return f.Match(context.Background(), in, table.Ref{Kind: table.Text, Files: []string{"a.csv"}})
}

const (
	unitsUS     = "Date,Time,Speed,Vacuum\n,,mph,inH2O\n2026-04-05,09:15:00,5.1,20\n2026-04-05,09:15:01,5.2,21\n"
	unitsMetric = "Date,Time,Speed,Vacuum\n,,km/h,mbar\n2026-04-05,09:15:00,8.2,50\n2026-04-05,09:15:01,8.3,51\n"
	unitsNone   = "Date,Time,Speed,Vacuum\n2026-04-05,09:15:00,8.2,50\n2026-04-05,09:15:01,8.3,51\n"
)

// What a line of units says is part of what a recipe fits.
func TestFitsUnits(t *testing.T) {
	r := answered(t, unitsUS, nil)
	old := r // as recipes were before they knew the line of units
	old.File.Units = nil
	for _, tt := range []struct {
		name string
		r    Recipe
		file string
		why  string // empty: it fits
	}{
		{"the same", r, unitsUS, ""},
		{"spelled otherwise", r, strings.Replace(unitsUS, "inH2O", "in H2O", 1), ""},
		{"others", r, unitsMetric, "km/h"},
		{"no line of units", r, unitsNone, "line of units under its header is missing"},
		{"the same, a recipe without units", old, unitsUS, ""},
		{"others, a recipe without units", old, unitsMetric, "km/h"},
	} {
		got, err := match(Format{Recipes: []Recipe{tt.r}}, tt.file)
		switch {
		case tt.why == "" && (err != nil || got == nil):
			t.Errorf("%s: %v", tt.name, err)
		case tt.why != "" && (err == nil || !strings.Contains(err.Error(), tt.why)):
			t.Errorf("%s: %v, want %q", tt.name, err, tt.why)
		}
	}
	metric := answered(t, unitsMetric, map[string]string{"box": "other"})
	both := Format{Recipes: []Recipe{r, metric}}
	if got, err := match(both, unitsMetric); err != nil || got.Sum() != metric.Sum() {
		t.Errorf("of two with different units: %v, %v", got, err)
	}
}

const (
	monthFirst = "Date,Time,Row 1 Skips %,Row 2 Skips %\n04/13/2026,09:15:00,1.5,2.5\n04/13/2026,09:15:01,1.5,2.5\n"
	yearFirst  = "Date,Time,Row 1 Skips %,Row 2 Skips %\n2026-04-13,09:15:00,1.5,2.5\n2026-04-13,09:15:01,1.5,2.5\n"
	eitherDay  = "Date,Time,Row 1 Skips %,Row 2 Skips %\n04/05/2026,09:15:00,1.5,2.5\n04/05/2026,09:15:01,1.5,2.5\n"
)

// Two boxes with one header are told apart by how they write times; where
// neither that does, nothing is guessed, and what was read stays read.
func TestMatchTwo(t *testing.T) {
	month, year := answered(t, monthFirst, nil), answered(t, yearFirst, nil)
	day := month
	day.Box, day.Time.Written = "other", DayFirst
	for _, tt := range []struct {
		file string
		rs   []Recipe
		want Written // empty: refused
	}{
		{monthFirst, []Recipe{month, year}, MonthFirst},
		{yearFirst, []Recipe{month, year}, YearFirst},
		{monthFirst, []Recipe{day, month}, MonthFirst},
		{monthFirst, []Recipe{year}, ""},
		{eitherDay, []Recipe{day, month}, ""},
		{eitherDay, []Recipe{month, month}, MonthFirst}, // the same twice
	} {
		got, err := match(Format{Recipes: tt.rs}, tt.file)
		switch {
		case tt.want == "" && err == nil:
			t.Errorf("%.60q is read by %v", tt.file, got.Time)
		case tt.want != "" && (err != nil || got.Time.Written != tt.want):
			t.Errorf("%.60q: %v %v, want %s", tt.file, got, err, tt.want)
		}
	}
	f := Format{Recipes: []Recipe{day, month}}
	var two *Twice
	if _, err := match(f, eitherDay); !errors.As(err, &two) {
		t.Errorf("%v, want two recipes", err)
	}
	was := f.Remember([]evenstand.Source{{Format: "table", Recipe: month.Sum(), Files: []string{"a.csv"}}}).(Format)
	if got, err := match(was, eitherDay); err != nil || got.Sum() != month.Sum() {
		t.Errorf("what was read by one is not read by it again: %v, %v", got, err)
	}
	if !Alike(&month, &Recipe{Box: "x", File: month.File, Time: month.Time, Rows: month.Rows, Values: month.Values}) || Alike(&month, &day) || Alike(&month, &month) {
		t.Error("which recipes are alike")
	}
}

// A recipe that knows only time and speed does not take a table with places.
func TestNarrowRecipe(t *testing.T) {
	r := answered(t, "time,X,Y,Speed (m/s)\n2026-04-05T09:15:00Z,448000.1,4605000.5,2.3\n2026-04-05T09:15:01Z,448001.1,4605000.5,2.3\n", nil)
	for _, file := range []string{
		"time,Lat,Lon,Speed (m/s)\n2026-04-05T09:15:00Z,41.6,-93.5,2.3\n2026-04-05T09:15:01Z,41.6,-93.4,2.3\n",
		"time,X,Y,Lat,Lon,Speed (m/s)\n2026-04-05T09:15:00Z,1,2,41.6,-93.5,2.3\n2026-04-05T09:15:01Z,1,2,41.6,-93.4,2.3\n",
	} {
		if got, err := match(Format{Recipes: []Recipe{r}}, file); err == nil {
			t.Errorf("%s reads %.40q", got.Box, file)
		}
	}
}

// Whatever lies in a folder of which no table is read is told with what to do:
// each table of a zip by its name, and the source.toml beside.
func TestFindTellsAll(t *testing.T) {
	var z bytes.Buffer
	w := zip.NewWriter(&z)
	for _, n := range []string{"a.csv", "b.csv"} {
		f, err := w.Create(n)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := f.Write([]byte(eitherDay)); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	in := fstest.MapFS{
		"x/two.zip": {Data: z.Bytes()}, "x/source.toml": {Data: []byte("name = \"b\"\n")}, "x/head.csv": {Data: []byte("Date;Time;Speed")},
		"x/old.xls": {Data: []byte{0xd0, 0xcf}},
	}
	_, _, unused, err := Format{}.Find(context.Background(), in)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, u := range unused {
		got = append(got, u.File+": "+u.Why+". "+u.Do)
	}
	for _, want := range []string{"x/two.zip: a.csv in it: ", "x/two.zip: b.csv in it: ", "x/source.toml: the tables that it speaks of are not read. Say evenstand recipe", "x/head.csv: it has one line", "x/old.xls: it is a workbook in a form that is not read. Save it as .xlsx"} {
		if !slices.ContainsFunc(got, func(g string) bool { return strings.HasPrefix(g, want) }) {
			t.Errorf("want %q among\n%s", want, strings.Join(got, "\n"))
		}
	}
	if len(got) != 5 {
		t.Errorf("%d things:\n%s", len(got), strings.Join(got, "\n"))
	}
}

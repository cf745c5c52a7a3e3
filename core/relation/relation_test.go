package relation_test

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"slices"
	"strings"
	"testing"

	"evenstand"
	"evenstand/core/relation"

	"pgregory.net/rapid"
)

const header = "id,name,form,coefficient,low,likely,high,unit,domain,source,status\n"

func TestReadLinesRefuses(t *testing.T) {
	for _, tt := range []struct{ name, line, want string }{
		{"no source", "R2-skip,a,,C,,0.19,,share,,,V", "line 2, R2-skip, a: no source"},
		{"source as above", "R2-skip,a,,C,,0.19,,share,,as above,V", "no source"},
		{"unknown status", "R2-skip,a,,C,,0.19,,share,,Nafziger 1996,X", `status "X" is none of`},
		{"no status", "R2-skip,a,,C,,0.19,,share,,Nafziger 1996,", `status ""`},
		{"no number", "R2-skip,a,,C,,many,,share,,Nafziger 1996,V", `"many" is not a number`},
		{"no expression", "R2-skip,a,,C,0.1x,0.2,,share,,Nafziger 1996,V", "neither a number nor an expression"},
		{"twice", "R2-skip,a,,C,,1,,share,,Nafziger 1996,V\nR2-skip,a,,C,,1,,share,,Nafziger 1996,V", "stands on line 2 already"},
		{"no name", "R2-skip,,,C,,1,,share,,Nafziger 1996,V", "id or name is missing"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, err := relation.ReadLines(strings.NewReader(header + tt.line + "\n"))
			if err == nil || !strings.Contains(err.Error(), tt.want) {
				t.Errorf("error %v, want %q in it", err, tt.want)
			}
		})
	}
}

// Every line of the build carries a publication or says that it is judgement,
// and only the former are citations.
func TestLinesCarrySources(t *testing.T) {
	all := relation.All()
	if len(all) != 140 { // lines of the reference's relations.csv
		t.Errorf("%d lines, want 140", len(all))
	}
	for _, l := range all {
		cite, ok := l.Cite()
		if quiet := l.Status == relation.Memory || l.Status == relation.Judged; quiet == ok || ok != (cite != "") || l.Status.Citable() != ok {
			t.Errorf("%s, %s (%s): cite %q, %v", l.ID, l.Name, l.Status, cite, ok)
		}
	}
	for _, c := range relation.Citations("R8-gauge-load") {
		if strings.Contains(c, "trade knowledge") || strings.Contains(c, "judgement") {
			t.Errorf("%q is no citation", c)
		}
	}
	if c := relation.Citations("R2-skip"); len(c) == 0 || !strings.Contains(c[0], "Nafziger 1996") {
		t.Errorf("R2-skip cites %v, want Nafziger 1996 first", c)
	}
}

// The embedded lines are the reference's, "as above" written out.
func TestLinesAreTheReferences(t *testing.T) {
	f, err := os.Open(shared(t, "reference/agronomy/relations.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	recs, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	number := func(v float64, form string) string {
		if form != "" {
			return form
		}
		if math.IsNaN(v) {
			return ""
		}
		return fmt.Sprint(v)
	}
	same := func(a, b string) bool {
		if a == b {
			return true
		}
		var x, y float64
		_, ea := fmt.Sscan(a, &x)
		_, eb := fmt.Sscan(b, &y)
		return ea == nil && eb == nil && x == y
	}
	for _, r := range recs[1:] {
		l, ok := relation.Get(r[0], r[1])
		if !ok {
			t.Errorf("%s, %s is not embedded", r[0], r[1])
			continue
		}
		if !same(number(l.Low, l.LowForm), r[4]) || !same(number(l.Likely, ""), r[5]) || !same(number(l.High, l.HighForm), r[6]) || string(l.Status) != r[10] {
			t.Errorf("%s, %s: %+v, reference %v", r[0], r[1], l, r)
		}
		if r[9] != "as above" && l.Source != r[9] {
			t.Errorf("%s, %s: source %q, reference %q", r[0], r[1], l.Source, r[9])
		}
	}
}

func TestCellsAndRemediesRefuse(t *testing.T) {
	cells := "table,date_from,date_to,stand_lo,stand_hi,season,percent,source,status\nNAF,04-10,04-10,10000,10000,,62,,V\n"
	if _, err := relation.ReadCells(strings.NewReader(cells)); err == nil || !strings.Contains(err.Error(), "line 2: no source") {
		t.Errorf("a cell without source: %v", err)
	}
	causes := "kind,cause,fault,seeds_fall,works,minutes,who,do,source,status\nupset,x,F01,0,0.5,5,nobody,do,s,J\n"
	if _, err := relation.ReadRemedies(strings.NewReader(causes)); err == nil || !strings.Contains(err.Error(), "nobody") {
		t.Errorf("a remedy for nobody: %v", err)
	}
}

// The table matches exactly at its cells, and the closed form within 0.6
// point, its worst cell being 0.53 (relations.md, R1; checks.md, traps).
func TestSurfaceAgainstTable(t *testing.T) {
	worst := 0.0
	for d := -20; d <= 40; d += 5 {
		for p := 10.0; p <= 36; p += 2 {
			c, ok := relation.Lookup("NAF", d, p*1000, "")
			if !ok {
				t.Fatalf("no cell for day %d, stand %g", d, p)
			}
			if got := relation.Stand(p, float64(d)); got != c.Percent {
				t.Errorf("Stand(%g, %d) = %g, the cell says %g", p, d, got, c.Percent)
			}
			worst = max(worst, math.Abs(relation.Surface(p, float64(d))-c.Percent))
		}
	}
	if worst > 0.6 || worst < 0.5 {
		t.Errorf("worst cell of the closed form is off by %.3f point, the reference says 0.53", worst)
	}
}

func TestStandStaysBetweenItsCells(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := rapid.Float64Range(5, 45).Draw(t, "p")
		d := rapid.Float64Range(-40, 60).Draw(t, "d")
		v := relation.Stand(p, d)
		if v < 36 || v > 100 { // the smallest and largest cell of the table
			t.Fatalf("Stand(%g, %g) = %g", p, d, v)
		}
		if v != relation.Stand(min(max(p, 10), 36), min(max(d, -20), 40)) {
			t.Fatalf("Stand(%g, %g) is not clamped", p, d)
		}
	})
}

// By hand: 5 thousand below the plateau at k 0.077 is 0.077 x 25 = 1.925
// points; 4 above it at half k 0.0385 x 16 = 0.616.
func TestNearOptimum(t *testing.T) {
	for _, tt := range []struct{ p, pstar, want float64 }{
		{26, 31.6, 98.075},
		{31, 31.6, 100},
		{33, 31.6, 100},
		{36, 31.6, 100},
		{40, 31.6, 99.384},
		{26, 26, 100},
		{25, 27, 99.692}, // a lower best stand starts the plateau there
	} {
		if got := relation.NearOptimum(tt.p, tt.pstar, 0.077); math.Abs(got-tt.want) > 1e-9 {
			t.Errorf("NearOptimum(%g, %g) = %g, want %g", tt.p, tt.pstar, got, tt.want)
		}
	}
}

// R2: 0.5, 0.8, 1.0 at 28 to 34k; below in proportion to 1-C: at 18k 0.53 over
// 0.7633 at 28k times 0.8 is 0.5555.
func TestSkipLoss(t *testing.T) {
	for _, tt := range []struct{ p, low, likely, high float64 }{
		{34, 0.5, 0.8, 1}, {28, 0.5, 0.8, 1}, {18, 0.34716, 0.55546, 0.69432}, {math.NaN(), 0.5, 0.8, 1},
	} {
		low, likely, high := relation.SkipLoss(tt.p)
		for i, d := range []float64{low - tt.low, likely - tt.likely, high - tt.high} {
			if math.Abs(d) > 1e-4 {
				t.Errorf("SkipLoss(%g)[%d] is off by %g", tt.p, i, d)
			}
		}
	}
}

func TestLateShareIsOrdered(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := rapid.Float64Range(0, 60).Draw(t, "days")
		low, likely, high := relation.LateShare(d)
		if low < 0 || low > likely || likely > high || high > 0.8 {
			t.Fatalf("LateShare(%g) = %g, %g, %g", d, low, likely, high)
		}
	})
}

func TestThereAndBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Float64Range(0, 400).Draw(t, "v")
		if got := relation.BuAcre(relation.FromBuAcre(v)); math.Abs(got-v) > 1e-9 {
			t.Fatalf("%g bu/ac there and back is %g", v, got)
		}
		if got := relation.Thousand(relation.FromThousand(v)); math.Abs(got-v) > 1e-9 {
			t.Fatalf("%g thousand an acre there and back is %g", v, got)
		}
	})
}

// The causes that the root names.
var named = []string{
	evenstand.CauseCell, evenstand.CauseWeakCell, evenstand.CauseSeal, evenstand.CauseSingulator, evenstand.CauseSeedFit, evenstand.CauseFan, evenstand.CauseHose,
	evenstand.CauseDrive, evenstand.CauseTube, evenstand.CauseSensor, evenstand.CauseEmpty, evenstand.CauseSwitchedOff, evenstand.CauseSectionCtl, evenstand.CauseCellCount,
	evenstand.CauseSpeedSource, evenstand.CauseSetting, evenstand.CauseBridging, evenstand.CauseDelivery, evenstand.CauseRock,
	evenstand.CauseForceLight, evenstand.CauseForceHeavy, evenstand.CauseForceRow, evenstand.CauseOpenerWorn, evenstand.CauseBarLevel,
	evenstand.CauseOrificePlugged, evenstand.CauseOrificeSize, evenstand.CauseLiquidHose, evenstand.CauseCheckValve, evenstand.CausePump, evenstand.CauseFlowMeter, evenstand.CauseLiquidControl,
	evenstand.CauseForceGain, evenstand.CauseForceAir, evenstand.CauseFlowGain, evenstand.CauseLiquidAir, evenstand.CausePumpDrive, evenstand.CausePumpWorn, evenstand.CauseStrainer,
	evenstand.CauseDrying, evenstand.CauseDepth, evenstand.CauseSoilThere, evenstand.CauseColdWeather, evenstand.CauseResidueThere, evenstand.CauseCleanerDeep, evenstand.CauseCleanerLight,
	evenstand.CauseCleanerPlugged, evenstand.CauseCleanerAir, evenstand.CauseClosing, evenstand.CauseFirmer, evenstand.CauseHairpin, evenstand.CauseWetWall,
	evenstand.CauseGranulesBridged, evenstand.CauseGranuleGate, evenstand.CauseGranuleCalibration, evenstand.CauseGranulesOff,
	evenstand.CauseProductOverlap, evenstand.CauseTwoPasses, evenstand.CauseProductRate,
	evenstand.CauseWrongFill, evenstand.CauseLotNote, evenstand.CauseLot,
}

// Every kind of this version has remedies, for causes that the root names, and
// every cause has one in some kind.
func TestRemedies(t *testing.T) {
	kinds := []string{"row-stopped", "row-left-off", "blocked-cell", "weak-cell", "row-skips", "row-doubles", "low-vacuum", "rate-off", "starved-row", "upset", "contact-loss", "overload", "liquid-row-low", "liquid-row-high", "liquid-rate-off", "force-hunting", "flow-hunting", "pump-limit", "dry-furrow", "cold-furrow", "dirty-furrow", "cleaner-upset", "slot-open", "granular-row-off", "granular-rate-off", "label-cap", "lot-mismatch"}
	for _, kind := range kinds {
		rs := relation.Remedies(kind)
		if len(rs) == 0 {
			t.Errorf("%s has no remedy", kind)
		}
		for _, r := range rs {
			if !slices.Contains(named, r.Cause) {
				t.Errorf("%s: %q is none of the root's causes", kind, r.Cause)
			}
			got, ok := relation.RemedyFor(kind, r.Cause)
			if !ok || got != r {
				t.Errorf("%s, %s is found as %+v", kind, r.Cause, got)
			}
			if !strings.HasSuffix(r.Do, ".") {
				t.Errorf("%s, %s: %q is no sentence", kind, r.Cause, r.Do)
			}
		}
	}
	for _, cause := range named {
		if !slices.ContainsFunc(kinds, func(kind string) bool { _, ok := relation.RemedyFor(kind, cause); return ok }) {
			t.Errorf("%q has no remedy in any kind", cause)
		}
	}
	if _, ok := relation.RemedyFor("row-skips", "no such cause"); ok {
		t.Error("a remedy for a cause that nobody named")
	}
}

func ExampleStand() {
	// 18,000 plants an acre of April 30 against a replant of 30,000 on May 20.
	fmt.Println(relation.Stand(18, 0), relation.Stand(30, 20))
	// Output: 88 91
}

func FuzzReadLines(f *testing.F) {
	f.Add(header + "R2-skip,a,,C,,0.19,,share,,Nafziger 1996,V\n")
	f.Add(header + "R6,b,,L,0.02(d-3) cap 0.40,0.44,0.07d cap 0.80,plant,,Nafziger,D\n")
	f.Fuzz(func(t *testing.T, text string) {
		ls, err := relation.ReadLines(strings.NewReader(text))
		if err != nil {
			return
		}
		for _, l := range ls {
			if l.Source == "" || l.Status == "" {
				t.Errorf("line %+v came through without a source", l)
			}
		}
	})
}

// Every cause of the catalogue lies in a part, and no part stands for a cause
// that there is not.
func TestParts(t *testing.T) {
	text, err := os.ReadFile("causes.csv")
	if err != nil {
		t.Fatal(err)
	}
	remedies, err := relation.ReadRemedies(strings.NewReader(string(text)))
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range remedies {
		if p, ok := relation.PartOf(r.Cause); !ok || p.Part == "" || p.Source == "" {
			t.Errorf("%s: %s has no part", r.Kind, r.Cause)
		}
	}
	if text, err = os.ReadFile("parts.csv"); err != nil {
		t.Fatal(err)
	}
	parts, err := relation.ReadParts(strings.NewReader(string(text)))
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range parts {
		if !slices.ContainsFunc(remedies, func(r relation.Remedy) bool { return r.Cause == p.Cause }) {
			t.Errorf("%s: no kind of finding has this cause", p.Cause)
		}
	}
	if _, ok := relation.PartOf("no such cause"); ok {
		t.Error("a part of nothing")
	}
	for text, want := range map[string]string{
		"cause,part,class,source,status\na,b,part,trade,J\na,c,part,trade,J\n": "line 3, a: the cause stands twice",
		"cause,part,class,source,status\na,b,thing,trade,J\n":                  "class",
		"cause,part,class,source,status\na,,part,trade,J\n":                    "no part",
		"cause,part,class,source,status\na,b,part,,J\n":                        "no source",
		"cause,part\na,b\n": "header",
	} {
		if _, err := relation.ReadParts(strings.NewReader(text)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %s", text, err, want)
		}
	}
}

// The tables as they are printed, and what is read between their cells.
func TestByTable(t *testing.T) {
	day := func(date string) float64 {
		d, err := relation.AfterApril30(date)
		if err != nil {
			t.Fatal(err)
		}
		return float64(d)
	}
	for _, tt := range []struct {
		table  string
		p      float64
		date   string
		season string
		want   float64 // NaN: the table has nothing
	}{
		{"NAF", 18, "04-30", "", 88},
		{"NAF", 30, "05-20", "", 91},
		{"NAF", 12, "04-30", "", 74}, // checks.md, Replant
		{"NAF", 20, "04-30", "", 92},
		{"ISU10", 20, "04-30", "", 89},
		{"ISU", 20, "04-30", "", 81}, // relations, R15: they disagree
		{"ISU", 16, "05-01", "", 74},
		{"ISU", 30, "05-28", "", 90},   // Iowa, May 2006
		{"ISU", 18, "05-01", "", 77.5}, // halfway from 74 to 81
		{"ISU", 26, "05-01", "", 97},   // halfway from 24 to the band of 28 to 32 thousand
		{"ISU", 30, "05-08", "", 100},
		{"ISU", 30, "05-20", "", 99}, // days between bands: the earlier
		{"ISU10", 30, "05-05", "", 99},
		{"ISU10", 30, "05-15", "", 95}, // a day that two bands share: the earlier
		{"ISU10", 30, "05-16", "", 86},
		{"ISU10", 20, "05-10", "", math.NaN()}, // not read
		{"ISU", 11, "05-01", "", math.NaN()},
		{"ISU", 34, "05-01", "", math.NaN()},
		{"ISU", 30, "04-01", "", math.NaN()},
		{"ISU", 30, "07-04", "", math.NaN()},
		{"WI-S", 33, "05-20", "full", 85.5},
		{"WI-S", 33, "05-20", "short", 87},
		{"WI-S", 20, "05-20", "full", math.NaN()},
		{"WI-S", 34, "05-26", "full", 74}, // halfway from 85 on May 20 to 63 on June 1
		{"NAF", 9, "04-30", "", math.NaN()},
		{"NAF", 30, "06-20", "", math.NaN()},
		{"no such table", 30, "05-01", "", math.NaN()},
	} {
		got, ok := relation.ByTable(tt.table, tt.p, day(tt.date), tt.season)
		if ok == math.IsNaN(tt.want) || ok && math.Abs(got-tt.want) > 1e-9 {
			t.Errorf("%s, %g thousand on %s: %g, %v, want %g", tt.table, tt.p, tt.date, got, ok, tt.want)
		}
	}
	for _, table := range relation.Tables() {
		if relation.TableSource(table) == "" {
			t.Errorf("%s has no source", table)
		}
	}
}

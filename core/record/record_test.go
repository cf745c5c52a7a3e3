package record_test

import (
	"encoding/json"
	"flag"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"evenstand"
	"evenstand/core/advise"
	"evenstand/core/price"
	"evenstand/core/record"
	"evenstand/core/relation"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

var update = flag.Bool("update", false, "rewrite the golden files with what the code returns now")

func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), got); diff != "" {
		t.Errorf("%s (-want +got):\n%s", path, diff)
	}
}

var zone = time.FixedZone("CDT", -5*3600)

func at(h, m int) evenstand.Micros {
	return evenstand.FromTime(time.Date(2026, 5, 2, h, m, 0, 0, zone))
}

// ID by hand: SHA-256 of "big\n2026-05-02\ncell\n7\n1777749128000000" begins
// with the bytes that sha256sum prints; see the comment at the case.
func TestID(t *testing.T) {
	for _, tt := range []struct {
		planter string
		lead    int
		want    string
	}{
		// printf 'big\n2026-05-02\ncell\n7\n1777749128000000' | sha256sum
		// begins 2ba47919bf393ec; 60 bits in groups of five.
		{"big", 7, "5ej7j6dz74zc"},
		{"big", 0, "f3qfwp4vtbqe"},
	} {
		got := record.ID(tt.planter, "2026-05-02", "cell", tt.lead, 1777749128000000)
		if got != tt.want {
			t.Errorf("ID of row %d = %s, want %s", tt.lead, got, tt.want)
		}
	}
}

func TestIDIsItsInputs(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		gen := func(name string) evenstand.Finding {
			return evenstand.Finding{
				Planter: rapid.SampledFrom([]string{"a", "b"}).Draw(t, name), Day: "2026-05-02",
				Kind: rapid.SampledFrom([]string{"blocked-cell", "weak-cell", "row-skips"}).Draw(t, name),
				Rows: evenstand.Rows{rapid.IntRange(1, 3).Draw(t, name)}, Alarm: evenstand.Micros(rapid.IntRange(0, 2).Draw(t, name)),
			}
		}
		a, b := gen("a"), gen("b")
		same := a.Planter == b.Planter && evenstand.Family(a.Kind) == evenstand.Family(b.Kind) && a.Rows[0] == b.Rows[0] && a.Alarm == b.Alarm
		ida, idb := record.IDOf(&a), record.IDOf(&b)
		if (ida == idb) != same {
			t.Fatalf("%s and %s for %+v and %+v", ida, idb, a, b)
		}
		if len(ida) != 12 || strings.Trim(ida, "0123456789abcdefghjkmnpqrstvwxyz") != "" {
			t.Fatalf("%q is no id", ida)
		}
	})
}

// 3-system, Identities: an old id is kept when family matches, rows overlap by
// half and times overlap; a relabelled finding keeps its id.
func TestKeep(t *testing.T) {
	over := at(10, 0)
	f := func(id, kind string, rows evenstand.Rows, since evenstand.Micros, until *evenstand.Micros) evenstand.Finding {
		return evenstand.Finding{ID: id, Planter: "p", Day: "2026-05-02", Kind: kind, Family: evenstand.Family(kind), Rows: rows, Since: since, Alarm: since, Until: until}
	}
	old := []evenstand.Finding{
		f("weak00000000", "weak-cell", evenstand.Rows{7}, at(9, 0), nil),
		f("side00000000", "low-vacuum", evenstand.Rows{1, 2, 3, 4}, at(9, 0), nil),
		f("gone00000000", "row-stopped", evenstand.Rows{5}, at(9, 0), &over),
	}
	fresh := []evenstand.Finding{
		f("", "blocked-cell", evenstand.Rows{7}, at(9, 5), nil),         // relabelled, a little later
		f("", "low-vacuum", evenstand.Rows{1, 2}, at(8, 0), nil),        // two of four rows: half
		f("", "low-vacuum", evenstand.Rows{4, 9, 10}, at(9, 0), nil),    // one of six
		f("", "row-stopped", evenstand.Rows{5}, at(10, 1), nil),         // after the old one ended
		f("", "row-skips", evenstand.Rows{7}, at(9, 0), nil),            // another family
		f("", "blocked-cell", evenstand.Rows{7}, evenstand.NoTime, nil), // the id is taken
	}
	fresh[5].Alarm = at(9, 30)
	got := record.Keep(old, fresh)
	want := []string{"weak00000000", "side00000000", record.IDOf(&fresh[2]), record.IDOf(&fresh[3]), record.IDOf(&fresh[4]), record.IDOf(&fresh[5])}
	// The last overlaps for longer than the first and wins the id.
	want[0], want[5] = record.IDOf(&fresh[0]), "weak00000000"
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	// Derived again from the same data every id stays.
	for i := range fresh {
		fresh[i].ID = got[i]
	}
	if diff := cmp.Diff(got, record.Keep(fresh, fresh)); diff != "" {
		t.Errorf("derived again (-want +got):\n%s", diff)
	}
}

func TestApplyAndCarry(t *testing.T) {
	over := at(10, 0)
	fs := []evenstand.Finding{{ID: "a"}, {ID: "b"}, {ID: "c", Until: &over}, {ID: "d"}, {ID: "e", Until: &over}, {ID: "f", Status: evenstand.Checked}, {ID: "g"}, {ID: "h", Until: &over}}
	ds := []record.Decision{
		{Finding: "a", Status: evenstand.SetAside, T: 1},
		{Finding: "a", Status: evenstand.Acted, T: 2},
		{Finding: "d", Status: evenstand.SetAside, T: 5},
		{Finding: "d", Status: evenstand.Acted, T: 3},
		{Finding: "e", Status: evenstand.Acted, T: 3},
		{Finding: "f", Status: evenstand.Acted, T: 3},
		{Finding: "gone", Status: evenstand.Acted, T: 9},
		{Finding: "g", Status: evenstand.Acted, T: 1},
		{Finding: "g", Status: evenstand.Open, T: 2}, // taken back
		{Finding: "h", Status: evenstand.SetAside, T: 1},
		{Finding: "h", Status: evenstand.Open, T: 2},
		{Finding: "mistaken", Status: evenstand.Acted, T: 1},
		{Finding: "mistaken", Status: evenstand.Open, T: 2},
	}
	got := record.Apply(fs, ds)
	want := []evenstand.Status{evenstand.Acted, evenstand.Open, evenstand.Ended, evenstand.SetAside, evenstand.Acted, evenstand.Checked, evenstand.Open, evenstand.Ended}
	for i, f := range got {
		if f.Status != want[i] {
			t.Errorf("%s is %s, want %s", f.ID, f.Status, want[i])
		}
	}
	if fs[0].Status != "" {
		t.Error("Apply changed what it was handed")
	}
	all := record.Carry([]evenstand.Finding{{ID: "gone"}, {ID: "b"}, {ID: "mistaken"}, {ID: "silent"}}, got, ds)
	if len(all) != len(got)+1 || all[len(got)].ID != "gone" || all[len(got)].Status != evenstand.Ended || all[len(got)].Say[0] != record.NoLonger {
		t.Errorf("carried %+v", all[len(got):])
	}
}

func num(v float64) evenstand.Number { return evenstand.Number(v) }

func ev(name string, v, low, high, n float64, unit string) evenstand.Evidence {
	return evenstand.Evidence{Name: name, Value: num(v), Low: num(low), High: num(high), N: num(n), Unit: unit}
}

// day is a small day of findings, priced and advised by the stages before.
func day(t *testing.T, v advise.Voice, priced bool) []evenstand.Finding {
	t.Helper()
	target := relation.FromThousand(34)
	area := 4 * evenstand.Acre
	harm := func(kind evenstand.HarmKind, share, spread float64) []evenstand.Harm {
		mid := share * target * area
		if kind == evenstand.EmptyGround {
			mid = share * area
		}
		return []evenstand.Harm{{Kind: kind, Amount: evenstand.Range{Low: num(mid * (1 - spread)), Mid: num(mid), High: num(mid * (1 + spread))}, Area: num(area), Target: num(target), Ratio: evenstand.Unknown, Share: num(share), Crop: "corn"}}
	}
	nan := math.NaN()
	over, bump := at(11, 2), at(13, 15)+4*evenstand.Second
	cells := evenstand.Chart{Title: "share of turns missed by place on the disc", X: "cell", Unit: "fraction", Mark: []int{12}, Band: &evenstand.Range{Low: 0.002, Mid: 0.008, High: 0.02}}
	for i := range 40 {
		x := 0.004 + 0.0004*float64((i*7)%20)
		if i == 12 {
			x = 0.98
		}
		cells.At, cells.Value = append(cells.At, num(float64(i))), append(cells.Value, num(x))
		cells.Low, cells.High = append(cells.Low, num(x*0.95)), append(cells.High, num(min(1, x*1.02)))
	}
	rows := evenstand.Chart{Title: "skips by row", X: "row", Unit: "fraction", Mark: []int{2}, Band: &evenstand.Range{Low: 0.007, Mid: 0.011, High: 0.015}}
	for i := range 8 {
		x := 0.009 + 0.0005*float64((i*5)%8)
		if i == 2 {
			x = 0.024
		}
		rows.At, rows.Value = append(rows.At, num(float64(i+1))), append(rows.Value, num(x))
		rows.Low, rows.High = append(rows.Low, num(x-0.002)), append(rows.High, num(x+0.002))
	}
	fs := []evenstand.Finding{
		{
			Kind: "blocked-cell", Stage: evenstand.Raised, Grade: evenstand.GradeA, Rows: evenstand.Rows{7}, Since: at(14, 12), Alarm: at(14, 14),
			Evidence: []evenstand.Evidence{ev("odds for a rhythm of 40", 1.2e9, nan, nan, 15000, ""), ev("share of turns missed", 0.98, 0.93, 1, 375, "")},
			Causes:   []evenstand.Cause{{Cause: evenstand.CauseCell, Probability: 0.97}, {Cause: evenstand.CauseSeal, Probability: 0.02}},
			Harm:     harm(evenstand.MissingSeeds, 1.0/40, 0.1), Chart: &cells,
		},
		{
			Kind: "row-skips", Stage: evenstand.Raised, Grade: evenstand.GradeB, Rows: evenstand.Rows{3}, Since: at(9, 40), SinceLow: at(9, 30), SinceHigh: at(9, 52), Alarm: at(10, 40),
			Evidence: []evenstand.Evidence{ev("skips", 0.024, 0.021, 0.028, 15000, ""), ev("skips usual for it", 0.011, nan, nan, nan, "")},
			Causes:   []evenstand.Cause{{Cause: evenstand.CauseSeal, Probability: 0.45}, {Cause: evenstand.CauseSingulator, Probability: 0.25}, {Cause: evenstand.CauseSensor, Probability: 0.2}},
			Harm:     harm(evenstand.MissingSeeds, 0.013, 0.2), Chart: &rows,
		},
		{
			Kind: "row-stopped", Stage: evenstand.Raised, Grade: evenstand.GradeA, Rows: evenstand.Rows{12}, Since: at(14, 20), Alarm: at(14, 20) + 3*evenstand.Second,
			Evidence: []evenstand.Evidence{ev("metres without seed", 940, nan, nan, nan, "m")},
			Causes:   []evenstand.Cause{{Cause: evenstand.CauseDrive, Probability: 0.4}, {Cause: evenstand.CauseTube, Probability: 0.3}, {Cause: evenstand.CauseSensor, Probability: 0.2}},
			Harm:     harm(evenstand.EmptyGround, 1, 0),
		},
		{Kind: "row-stopped", Stage: evenstand.Raised, Grade: evenstand.GradeA, Rows: evenstand.Rows{1}, Since: at(10, 58), Until: &over, Alarm: at(10, 59), Harm: harm(evenstand.EmptyGround, 1, 0)},
		{Kind: "row-doubles", Stage: evenstand.Suspected, Grade: evenstand.GradeA, Rows: evenstand.Rows{5}, Since: at(13, 0), Alarm: at(13, 30), Harm: harm(evenstand.ExtraSeeds, 0.01, 0.2)},
		{Kind: "upset", Stage: evenstand.Raised, Grade: evenstand.GradeA, Rows: evenstand.Rows{4}, Since: at(13, 15), Until: &bump, Alarm: at(13, 15), Passes: []evenstand.PassRef{{Number: 9}}},
	}
	ctx := price.Context{Settings: evenstand.NewSettings(), Rows: 16, FieldLeft: 60 * evenstand.Acre, AsOf: at(14, 40), Seed: 1}
	if priced {
		ctx.Settings.Yield, ctx.Settings.Price = relation.FromBuAcre(200), 4.5/relation.CornBushel
		ctx.Settings.Seed, ctx.Settings.Labour = 300.0/80000, 25
	}
	ptrs := make([]*evenstand.Finding, len(fs))
	for i := range fs {
		f := &fs[i]
		f.Planter, f.Day, f.Family, f.Field = "big", "2026-05-02", evenstand.Family(f.Kind), "north place"
		f.ID = record.IDOf(f)
		ptrs[i] = f
	}
	price.PriceAll(ptrs, price.Everywhere(ctx))
	for _, f := range ptrs {
		advise.Fill(f, v)
	}
	return fs
}

func TestRenderWorklist(t *testing.T) {
	us := advise.Voice{Zone: zone, Units: evenstand.US}
	metric := advise.Voice{Zone: zone, Units: evenstand.Metric}
	fs := record.Apply(day(t, us, true), nil)
	open := record.Assemble("north", at(14, 40), "USD", fs, false)
	golden(t, "worklist.txt", record.RenderWorklist(open, record.Options{Voice: us}))
	golden(t, "worklist-all.txt", record.RenderWorklist(record.Assemble("north", at(14, 40), "USD", fs, true), record.Options{Voice: us}))

	ds := []record.Decision{
		{Finding: fs[0].ID, Status: evenstand.Acted, Note: "cleared with a point", T: at(15, 5)},
		{Finding: fs[1].ID, Status: evenstand.SetAside, Note: "seal ordered", Cause: "hard seal", T: at(15, 6)},
	}
	decided := record.Assemble("north", at(14, 40), "USD", record.Apply(day(t, metric, false), ds), false)
	golden(t, "worklist-decided.txt", record.RenderWorklist(decided, record.Options{Voice: metric, Decisions: ds}))

	empty := record.RenderWorklist(record.Assemble("north", evenstand.NoTime, "USD", nil, false), record.Options{Voice: us})
	if empty != "north\nNothing is open.\n" {
		t.Errorf("an empty worklist is %q", empty)
	}
	unseen := record.Options{Voice: us, NotJudged: []string{"No position was logged."}}
	blind := record.RenderWorklist(record.Assemble("north", evenstand.NoTime, "USD", nil, false), unseen)
	if want := "north\nNothing was found in what could be looked at.\nNot looked for:\n  - No position was logged.\n"; blind != want {
		t.Errorf("a worklist of what cannot be judged is %q, want %q", blind, want)
	}
	if got := record.RenderWorklist(open, unseen); !strings.HasSuffix(got, "\nNot looked for:\n  - No position was logged.\n") {
		t.Errorf("with something open it ends %q", got)
	}
}

// 4-findings, A finding as data: every key of the example is there, lists are
// never null, and a reader gets back what was written.
func TestJSON(t *testing.T) {
	us := advise.Voice{Zone: zone, Units: evenstand.US}
	w := record.Assemble("north", at(14, 40), "USD", record.Apply(append(day(t, us, true), evenstand.Finding{ID: "bare", Since: at(9, 0)}), nil), true)
	raw, err := json.Marshal(w)
	if err != nil {
		t.Fatal(err)
	}
	var top struct {
		Findings []map[string]any `json:"findings"`
	}
	if err := json.Unmarshal(raw, &top); err != nil {
		t.Fatal(err)
	}
	for _, f := range top.Findings {
		for _, key := range strings.Fields("id kind family stage status grade sentence rows field passes since since_low since_high until when evidence causes money advice sources check_back") {
			if _, ok := f[key]; !ok {
				t.Errorf("%v has no %s", f["id"], key)
			}
		}
		for _, key := range []string{"rows", "passes", "evidence", "causes", "sources"} {
			if f[key] == nil {
				t.Errorf("%v: %s is null", f["id"], key)
			}
		}
		money := f["money"].(map[string]any)
		if money["needs"] == nil || f["advice"].(map[string]any)["cautions"] == nil {
			t.Errorf("%v: needs or cautions is null", f["id"])
		}
	}
	var back evenstand.Worklist
	if err := json.Unmarshal(raw, &back); err != nil {
		t.Fatal(err)
	}
	again, err := json.Marshal(back)
	if err != nil || string(again) != string(raw) {
		t.Errorf("written again it differs: %v", err)
	}
	if strings.Contains(string(raw), "NaN") {
		t.Error("NaN in JSON")
	}
}

func TestRenderFinding(t *testing.T) {
	us := advise.Voice{Zone: zone, Units: evenstand.US}
	fs := record.Apply(day(t, us, true), nil)
	golden(t, "blocked-cell.txt", record.RenderFinding(&fs[0], record.Options{Voice: us}))
	golden(t, "row-skips.txt", record.RenderFinding(&fs[1], record.Options{Voice: us}))
	bare := record.Apply(day(t, us, false), nil)
	golden(t, "no-goal.txt", record.RenderFinding(&bare[2], record.Options{Voice: us}))
	golden(t, "not-priced.txt", record.RenderFinding(&bare[4], record.Options{Voice: us}))
}

// Without colour there is no escape; with it the words are the same; no line
// is wider than asked for.
func TestColourAndWidth(t *testing.T) {
	us := advise.Voice{Zone: zone, Units: evenstand.US}
	fs := record.Apply(day(t, us, true), nil)
	w := record.Assemble("north", at(14, 40), "USD", fs, true)
	strip := strings.NewReplacer("\x1b[1m", "", "\x1b[2m", "", "\x1b[0m", "")
	for _, width := range []int{60, 80, 120} {
		plain := record.RenderWorklist(w, record.Options{Voice: us, Width: width})
		coloured := record.RenderWorklist(w, record.Options{Voice: us, Width: width, Colour: true})
		for i := range fs {
			plain += record.RenderFinding(&fs[i], record.Options{Voice: us, Width: width})
			coloured += record.RenderFinding(&fs[i], record.Options{Voice: us, Width: width, Colour: true})
		}
		if strings.Contains(plain, "\x1b") || strip.Replace(coloured) != plain || coloured == plain {
			t.Errorf("width %d: colour changes more than emphasis", width)
		}
		for l := range strings.SplitSeq(plain, "\n") {
			if utf8.RuneCountInString(l) > width {
				t.Errorf("width %d: %q has %d columns", width, l, utf8.RuneCountInString(l))
			}
		}
	}
}

func TestSummary(t *testing.T) {
	v := advise.Voice{Zone: zone, Units: evenstand.US}
	f := func(when evenstand.When, low, high float64) evenstand.Finding {
		return evenstand.Finding{Stage: evenstand.Raised, Status: evenstand.Open, When: when, Money: evenstand.Money{Unit: "USD", StillToSave: evenstand.ToSave{Low: num(low), High: num(high), Basis: "field"}}}
	}
	nan := math.NaN()
	for _, tt := range []struct {
		fs   []evenstand.Finding
		want string
	}{
		// The design's own sentence.
		{[]evenstand.Finding{f("tonight", 20, 60), f("now", 100, 300), f("next-stop", 30, 60)}, "3 findings, $150 to $420 still to save; the first is due now."},
		{[]evenstand.Finding{f("next-stop", 30, 60)}, "1 finding, $30 to $60 still to save; it is due at the next stop."},
		{[]evenstand.Finding{f("winter", nan, nan)}, "1 finding, not priced; it is due in winter."},
		{[]evenstand.Finding{f("tonight", 30, 60), f("tonight", nan, nan)}, "2 findings, $30 to $60 still to save, 1 not priced; the first is due tonight."},
		{nil, "Nothing is open."},
	} {
		w := record.Assemble("b", 0, "USD", tt.fs, false)
		if got := record.Summary(w, record.Options{Voice: v}); got != tt.want {
			t.Errorf("got %q, want %q", got, tt.want)
		}
	}
	blind := record.Options{Voice: v, NoRow: "no position was logged"}
	for _, tt := range []struct {
		fs   []evenstand.Finding
		want string
	}{
		{nil, "No row could be judged: no position was logged."},
		{[]evenstand.Finding{f("next-stop", 30, 60)}, "1 finding, $30 to $60 still to save; it is due at the next stop."},
	} {
		if got := record.Summary(record.Assemble("b", 0, "USD", tt.fs, false), blind); got != tt.want {
			t.Errorf("got %q, want %q", got, tt.want)
		}
	}
}

func TestFind(t *testing.T) {
	fs := []evenstand.Finding{{ID: "abc123456789"}, {ID: "abd123456789"}}
	for _, tt := range []struct{ id, want, err string }{
		{"abc123456789", "abc123456789", ""}, {" ABC ", "abc123456789", ""}, {"ab", "", "at least three characters"}, {"zzz", "", "the worklist shows the ids"},
	} {
		got, err := record.Find(fs, tt.id)
		if got.ID != tt.want || (err == nil) != (tt.err == "") || err != nil && !strings.Contains(err.Error(), tt.err) {
			t.Errorf("Find(%q) = %s, %v", tt.id, got.ID, err)
		}
	}
	fs = append(fs, evenstand.Finding{ID: "abc999999999"})
	if _, err := record.Find(fs, "abc"); err == nil || !strings.Contains(err.Error(), "2 findings begin with") {
		t.Errorf("a beginning of two: %v", err)
	}
}

// Of nothing the word for the chance stands before.
func TestNothingLost(t *testing.T) {
	zero := evenstand.Range{}
	for _, tt := range []struct{ word, unit, want string }{
		{"likely", "USD", "probably nothing lost"}, {"possible", "bu", "perhaps nothing lost"}, {"unsure", "USD", "perhaps nothing lost"}, {"", "USD", "nothing lost"},
	} {
		f := evenstand.Finding{Stage: evenstand.Raised, Money: evenstand.Money{Unit: tt.unit, Word: tt.word, SoFar: zero, StillToSave: evenstand.ToSave{Basis: "none"}}}
		w := record.SayFinding(&f, record.Options{})
		if w.Money != tt.want || w.Sum+" "+w.SumOf != tt.want {
			t.Errorf("%q, %q %q; want %q", w.Money, w.Sum, w.SumOf, tt.want)
		}
	}
	f := evenstand.Finding{Stage: evenstand.Raised, Money: evenstand.Money{Unit: "USD", Word: "likely", SoFar: evenstand.Range{Low: 10, Mid: 20, High: 30}, StillToSave: evenstand.ToSave{Basis: "none"}}}
	if got := record.SayFinding(&f, record.Options{}).Money; got != "$10 to $30 lost, likely" {
		t.Error(got)
	}
}

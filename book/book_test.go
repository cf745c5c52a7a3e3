package book_test

import (
	"archive/zip"
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"evenstand"
	"evenstand/book"

	"github.com/google/go-cmp/cmp"
)

func TestReadAndAnswer(t *testing.T) {
	b := newBook(t)
	ctx := context.Background()
	in := folder(t, map[string][]byte{"box.log": seasonLog(1, 2), "notes.txt": []byte("a box"), "photo.jpg": []byte("x"), ".DS_Store": []byte("y")})
	var heard []string
	rep, err := b.Read(ctx, []string{in}, formats, book.ReadOptions{Progress: func(p book.Progress) {
		if len(heard) == 0 || heard[len(heard)-1] != p.Doing {
			heard = append(heard, p.Doing)
		}
		if p.Total > 0 && p.Done > p.Total {
			t.Errorf("%s: %d of %d", p.Doing, p.Done, p.Total)
		}
	}})
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff([]string{"copying", "reading", "settling", "measuring the ground"}, heard); diff != "" {
		t.Errorf("progress (-want +got):\n%s", diff)
	}
	if got, want := daysOf(rep), "2026-05-01 2026-05-02"; got != want {
		t.Errorf("days %q, want %q", got, want)
	}
	states := map[string]string{}
	for _, f := range rep.Files {
		states[f.Path] = f.State
	}
	if diff := cmp.Diff(map[string]string{"box.log": "new", "notes.txt": "new", "photo.jpg": "unused", ".DS_Store": "ignored"}, states); diff != "" {
		t.Errorf("files (-want +got):\n%s", diff)
	}
	if len(rep.Unused) != 1 || rep.Unused[0].File != "photo.jpg" {
		t.Errorf("unused: %+v", rep.Unused)
	}
	sound(t, b)

	passes, err := b.Passes(ctx, "four rows", "2026-05-02")
	if err != nil || len(passes) != 2 || passes[1].Index != 1 || passes[1].Field != "north place" || !math.IsNaN(passes[1].Heading) {
		t.Fatalf("passes %+v, %v", passes, err)
	}
	// 20 s at a seed each 80 ms are 250 places a row; one in a hundred is left out.
	seeds, err := b.Seeds(ctx, nil, "four rows", "2026-05-02", 1)
	if err != nil || len(seeds) < 3*235 || len(seeds) > 3*250 {
		t.Fatalf("%d seeds, %v", len(seeds), err)
	}
	if !slices.IsSortedFunc(seeds, func(a, b evenstand.PlacedSeed) int {
		if a.Row != b.Row {
			return int(a.Row) - int(b.Row)
		}
		return int(a.T - b.T)
	}) {
		t.Error("seeds out of order")
	}
	if s := seeds[0]; s.Gap != -1 || s.Off != evenstand.NoOff || s.Cell != -1 {
		t.Errorf("first seed %+v", s)
	}
	n := 0
	if err := b.Stretches(ctx, "four rows", "2026-05-02", func(ss []evenstand.Stretch) error {
		for _, s := range ss {
			if s.Length != 15 || !math.IsNaN(float64(s.Liquid)) {
				t.Errorf("stretch %+v", s)
			}
		}
		n += len(ss)
		return nil
	}); err != nil || n != 4*3+3*3 { // 40 m are 3 stretches
		t.Errorf("%d stretches, %v", n, err)
	}
	fixes := 0
	if err := b.Track(ctx, "four rows", "2026-05-01", func(ps []evenstand.TrackPoint) error { fixes += len(ps); return nil }); err != nil || fixes != 40 {
		t.Errorf("%d points of track, %v", fixes, err)
	}
	if err := b.Readings(ctx, "four rows", "2026-05-01", func(rs []evenstand.Reading) error {
		for _, r := range rs {
			if r.Quantity != evenstand.Vacuum || r.Element.Scope != evenstand.ScopeLeft {
				t.Errorf("reading %+v", r)
			}
		}
		return nil
	}); err != nil {
		t.Error(err)
	}
	fs, err := b.Findings(ctx)
	if err != nil || len(fs) != 2 || fs[0].Rows.String() != "3" || len(fs[0].ID) != 12 || fs[0].Planter != "four rows" {
		t.Fatalf("findings %+v, %v", fs, err)
	}
	src, err := b.Sources(ctx)
	if err != nil || len(src) != 1 || src[0].First.String()[:16] != "2026-05-01T14:00" || src[0].Counts.Fixes != 80 || src[0].ClockOffset != 0 || src[0].Notes[0] != "a box" {
		t.Fatalf("sources %+v, %v", src, err)
	}
	area, err := b.PlantedArea(ctx, "north place")
	if want := 2 * 7 * 40 * 0.762; err != nil || math.Abs(area-want) > 0.02*want {
		t.Errorf("area %g, want about %g, %v", area, want, err)
	}
	if _, err := b.Seeds(ctx, nil, "four rows", "2026-05-09", 0); !errors.Is(err, book.ErrUnknown) {
		t.Errorf("a day that is not there: %v", err)
	}
}

func TestDecisionsLast(t *testing.T) {
	b := newBook(t)
	ctx := context.Background()
	read(t, b, folder(t, map[string][]byte{"box.log": seasonLog(1, 1)}))
	fs, _ := b.Findings(ctx)
	got, err := b.Decide(ctx, fs[0].ID[:6], book.Decision{Status: evenstand.Acted, Note: "cleared the tube", Cause: "jam"})
	if err != nil || got.Status != evenstand.Acted {
		t.Fatalf("%+v, %v", got, err)
	}
	if _, err := b.Decide(ctx, "zzzz", book.Decision{Status: evenstand.Acted}); !errors.Is(err, book.ErrUnknown) {
		t.Errorf("unknown id: %v", err)
	}
	if _, err := b.Decide(ctx, fs[0].ID, book.Decision{Status: "lost"}); err == nil {
		t.Error("a status of no meaning was taken")
	}
	dir := b.Dir()
	b.Close()
	b = open(t, dir)
	if fs, _ := b.Findings(ctx); fs[0].Status != evenstand.Acted {
		t.Errorf("after opening again: %s", fs[0].Status)
	}
	// A boundary of the data that takes the finding away: with a card of two
	// rows nobody misses row 3, and it stays as ended.
	if err := b.SetCard(ctx, book.File{Name: "four.toml", Data: []byte(strings.Replace(card, "rows = 4", "rows = 2", 1))}, ""); err != nil {
		t.Fatal(err)
	}
	if stale, err := b.Stale(ctx, formats); err != nil || !stale {
		t.Errorf("stale %v, %v after a changed card", stale, err)
	}
	rep := read(t, b)
	if len(rep.Days) != 1 {
		t.Errorf("days %v", rep.Days)
	}
	fs, err = b.Findings(ctx)
	if err != nil || len(fs) != 1 || fs[0].Status != evenstand.Ended || len(fs[0].Say) == 0 {
		t.Errorf("findings %+v, %v", fs, err)
	}
	if stale, err := b.Stale(ctx, formats); err != nil || stale {
		t.Errorf("stale %v, %v after reading", stale, err)
	}
	sound(t, b)
}

func TestSameFileTwiceIsOne(t *testing.T) {
	b := newBook(t)
	log := seasonLog(1, 2)
	in := folder(t, map[string][]byte{"stick/box.log": log, "stick/notes.txt": []byte("a box")})
	read(t, b, filepath.Join(in, "stick"))
	want := dataOf(t, b.Dir())
	z := filepath.Join(t.TempDir(), "stick.zip")
	f, err := os.Create(z)
	if err != nil {
		t.Fatal(err)
	}
	zw := zip.NewWriter(f)
	for name, data := range map[string][]byte{"stick/box.log": log, "stick/notes.txt": []byte("a box")} {
		w, _ := zw.Create(name)
		w.Write(data)
	}
	zw.Close()
	f.Close()
	for _, p := range []string{filepath.Join(in, "stick"), in, filepath.Join(in, "stick", "box.log"), z} {
		rep := read(t, b, p)
		if len(rep.Days) != 0 {
			t.Errorf("%s again: made %v again", p, rep.Days)
		}
		for _, f := range rep.Files {
			if f.State != "known" {
				t.Errorf("%s again: %s is %s", p, f.Path, f.State)
			}
		}
		sameData(t, want, dataOf(t, b.Dir()))
	}
	// The same log twice in one folder is one too.
	b2 := newBook(t)
	rep := read(t, b2, folder(t, map[string][]byte{"a/box.log": log, "b/box.log": log}))
	if len(rep.Sources) != 1 || len(rep.Unused) != 1 || !strings.Contains(rep.Unused[0].Why, "same as") {
		t.Errorf("sources %+v, unused %+v", rep.Sources, rep.Unused)
	}
}

// A log too short to be told by itself is told by what stands beside it: handed
// in from a folder inside and from the one around, it is one.
func TestShortLogTwiceIsOne(t *testing.T) {
	line := fmt.Sprintf("j %d fix new seals\n", at(2, 9, 0))
	files := map[string][]byte{"journal/box.log": []byte(line), "journal/notes.txt": []byte("by hand")}
	more := maps.Clone(files)
	more["seeds/seed.log"] = seasonLog(2, 1)
	for _, tt := range []struct {
		name  string
		reads []string
	}{
		{"inside, then around", []string{filepath.Join(folder(t, files), "journal"), folder(t, files)}},
		{"around, then inside", []string{folder(t, files), filepath.Join(folder(t, files), "journal")}},
		{"inside, then around with more", []string{filepath.Join(folder(t, files), "journal"), folder(t, more)}},
	} {
		b := newBook(t)
		for _, dir := range tt.reads {
			read(t, b, dir)
		}
		src, err := b.Sources(context.Background())
		i := slices.IndexFunc(src, func(s book.SourceReport) bool { return s.Name == "box" })
		if err != nil || i < 0 || src[i].Counts.Entries != 1 || len(src[i].Files) != 1 || !slices.Equal(src[i].Notes, []string{"by hand"}) {
			t.Errorf("%s: %+v, %v", tt.name, src, err)
		}
		sound(t, b)
	}
	// Beside other words it is another box's.
	b := newBook(t)
	read(t, b, folder(t, map[string][]byte{"a/box.log": []byte(line), "a/notes.txt": []byte("one")}))
	read(t, b, folder(t, map[string][]byte{"b/box.log": []byte(line), "b/notes.txt": []byte("two")}))
	if src, err := b.Sources(context.Background()); err != nil || len(src) == 1 && len(src[0].Files) == 1 {
		t.Errorf("two boxes are one: %+v, %v", src, err)
	}
}

func TestGrownFileAddsOnlyWhatIsNew(t *testing.T) {
	b := newBook(t)
	all := seasonLog(1, 3)
	// Cut in the middle of the second day.
	cut := len(seasonLog(1, 1)) + 900
	cut += bytes.IndexByte(all[cut:], '\n') + 1
	in := folder(t, map[string][]byte{"box.log": all[:cut], "notes.txt": []byte("a box")})
	read(t, b, in)
	os.WriteFile(filepath.Join(in, "box.log"), all, 0o644)
	// The file alone: what stood beside it before still counts.
	rep := read(t, b, filepath.Join(in, "box.log"))
	if rep.Files[0].State != "grown" {
		t.Errorf("state %q", rep.Files[0].State)
	}
	if got, want := daysOf(rep), "2026-05-02 2026-05-03"; got != want {
		t.Errorf("made %q again, want %q", got, want)
	}
	src, _ := b.Sources(context.Background())
	if len(src) != 1 || len(src[0].Notes) != 1 {
		t.Errorf("sources %+v", src)
	}
	for _, u := range src[0].Unused {
		t.Errorf("unused %+v", u)
	}
	sound(t, b)
	fresh := newBook(t)
	read(t, fresh, in)
	want, got := dataOf(t, fresh.Dir()), dataOf(t, b.Dir())
	for _, m := range []map[string]string{want, got} { // the number of the input differs
		for name := range m {
			if strings.HasPrefix(name, "sources-") || name == "manifest.json" {
				delete(m, name)
			}
		}
	}
	sameData(t, want, got)
}

func TestLateSourceMakesItsDaysAgain(t *testing.T) {
	b := newBook(t)
	read(t, b, folder(t, map[string][]byte{"box.log": seasonLog(1, 4)}))
	before := dataOf(t, b.Dir())
	var late bytes.Buffer
	for i := range 30 {
		fmt.Fprintf(&late, "r %d ground_speed machine 2.%d\n", at(3, 9, 0)+evenstand.Micros(i)*evenstand.Second, i%10)
	}
	rep := read(t, b, folder(t, map[string][]byte{"radar.log": late.Bytes()}))
	if got, want := daysOf(rep), "2026-05-03"; got != want {
		t.Errorf("made %q again, want %q", got, want)
	}
	after := dataOf(t, b.Dir())
	for name, data := range before {
		if strings.HasPrefix(name, "2026-05-04") && after[name] != data {
			t.Errorf("%s changed", name)
		}
	}
	sound(t, b)
}

func TestPassOverMidnightBelongsToItsFirstDay(t *testing.T) {
	b := newBook(t)
	ctx := context.Background()
	var log bytes.Buffer
	r := rand.New(rand.NewPCG(1, 1))
	passLog(&log, at(1, 23, 59)+40*evenstand.Second, 40, 4, 0, r) // to 0:00:20
	passLog(&log, at(2, 9, 0), 20, 4, 0, r)
	read(t, b, folder(t, map[string][]byte{"box.log": log.Bytes()}))
	first, _ := b.Passes(ctx, "four rows", "2026-05-01")
	second, _ := b.Passes(ctx, "four rows", "2026-05-02")
	if len(first) != 1 || len(second) != 1 || first[0].End < at(2, 0, 0) || second[0].Start < at(2, 9, 0) {
		t.Fatalf("first day %+v, second %+v", first, second)
	}
	days, _ := b.Days(ctx)
	if days[0].Until <= at(2, 0, 0) || days[1].Until != evenstand.NoTime {
		t.Errorf("until %s and %s", days[0].Until, days[1].Until)
	}
	// A late reading after midnight concerns the day before as well.
	rep := read(t, b, folder(t, map[string][]byte{"radar.log": fmt.Appendf(nil, "r %d ground_speed machine 2\n", at(2, 0, 0)+5*evenstand.Second)}))
	if got, want := daysOf(rep), "2026-05-01 2026-05-02"; got != want {
		t.Errorf("made %q again, want %q", got, want)
	}
	sound(t, b)
}

func TestRebuildGivesTheSameBytes(t *testing.T) {
	b := newBook(t)
	ctx := context.Background()
	read(t, b, folder(t, map[string][]byte{"box.log": seasonLog(1, 3)}))
	read(t, b, folder(t, map[string][]byte{"box.log": seasonLog(3, 2), "late.log": []byte(fmt.Sprintf("j %d refill seed\n", at(2, 12, 0)))}))
	if err := addEntry(ctx, b, "four rows", evenstand.Entry{T: at(2, 9, 1), What: "setting", Rows: evenstand.Rows{1, 2}, Value: 300, Unit: "lbf"}); err != nil {
		t.Fatal(err)
	}
	if rep := read(t, b); daysOf(rep) != "2026-05-02" {
		t.Errorf("a journal line made %q again", daysOf(rep))
	}
	want := dataOf(t, b.Dir())
	for range 2 {
		if _, err := b.Rebuild(ctx, formats, book.ReadOptions{}); err != nil {
			t.Fatal(err)
		}
		sameData(t, want, dataOf(t, b.Dir()))
		sound(t, b)
	}
	// Also when the manifest is gone or damaged.
	dir := b.Dir()
	b.Close()
	os.WriteFile(filepath.Join(dir, "data", "manifest.json"), []byte("{"), 0o644)
	b = open(t, dir)
	if _, err := b.Findings(ctx); !errors.Is(err, book.ErrCorrupt) {
		t.Errorf("damaged manifest: %v", err)
	}
	if faults, _ := b.Check(ctx); len(faults) != 1 {
		t.Errorf("faults %q", faults)
	}
	if _, err := b.Read(ctx, nil, formats, book.ReadOptions{}); !errors.Is(err, book.ErrCorrupt) {
		t.Errorf("read with a damaged manifest: %v", err)
	}
	if _, err := b.Rebuild(ctx, formats, book.ReadOptions{}); err != nil {
		t.Fatal(err)
	}
	sameData(t, want, dataOf(t, dir))
	b.Close()
	os.RemoveAll(filepath.Join(dir, "data"))
	b = open(t, dir)
	read(t, b)
	sameData(t, want, dataOf(t, dir))
}

func TestSaidTwiceAndImpossible(t *testing.T) {
	b := newBook(t)
	t0 := at(1, 9, 0)
	log := fmt.Sprintf(`s %[1]d 1
s %[1]d 1
s %[2]d 9
r %[1]d vacuum left 5000
r %[1]d vacuum left 5000
r %[1]d vacuum left 6000
r %[2]d vacuum left NaN
r %[2]d vacuum left 999999
f %[1]d 0 0
f %[2]d 41.5 -93.5
f %[2]d 41.6 -93.5
f %[1]d 41.5 -93.4
s -5 1
nonsense
`, t0, t0+evenstand.Second)
	rep := read(t, b, folder(t, map[string][]byte{"box.log": []byte(log)}))
	want := []string{
		"not a line of a test log",
		"a position with the same time was there before with another value",
		"a reading of the same quantity, element and time was there before with another value",
		"row 9, but the planter card has 4 rows",
		"vacuum without a number",
		"vacuum outside what is possible",
		"a position at latitude 0, longitude 0",
		"a time outside 1970 to 2100",
	}
	for _, w := range want {
		if !slices.ContainsFunc(rep.Unused, func(u evenstand.Unused) bool {
			return strings.HasPrefix(u.Why, w) && u.Count == 1 && u.File == "box.log"
		}) {
			t.Errorf("not said: %s", w)
		}
	}
	if len(rep.Unused) != len(want) {
		t.Errorf("%d said, want %d: %+v", len(rep.Unused), len(want), rep.Unused)
	}
	// Said again with the same value, nothing is lost: a note.
	if diff := cmp.Diff([]string{"1 reading stands in the log twice and is stored once."}, rep.Sources[0].Notes); diff != "" {
		t.Errorf("notes (-want +got):\n%s", diff)
	}
	if c := rep.Sources[0].Counts; c != (book.Counts{Fixes: 2, Seeds: 2, Readings: 1}) {
		t.Errorf("counts %+v", c)
	}
	// The same box in another file: what was read first counts.
	read(t, b, folder(t, map[string][]byte{"box.log": []byte(fmt.Sprintf("r %d vacuum left 7000\nr %d vacuum left 7000\n", t0, t0+9*evenstand.Second))}))
	var got []float64
	b.Readings(context.Background(), "four rows", "2026-05-01", func(rs []evenstand.Reading) error {
		for _, r := range rs {
			got = append(got, r.Value)
		}
		return nil
	})
	if diff := cmp.Diff([]float64{5000, 7000}, got); diff != "" {
		t.Errorf("readings (-want +got):\n%s", diff)
	}
	src, _ := b.Sources(context.Background())
	if n := len(src[0].Unused); n != len(want)+1 {
		t.Errorf("%d unused over the book, want %d", n, len(want)+1)
	}
	sound(t, b)
}

// Two seeds may fall within the step of a box's clock and both count. What a
// box wrote twice, or what stands in a second log of the box too, counts once.
func TestSeedsOfOneInstant(t *testing.T) {
	t0 := at(1, 9, 0)
	line := func(s int, row int) string {
		return fmt.Sprintf("s %d %d\n", t0+evenstand.Micros(s)*evenstand.Second, row)
	}
	double := line(0, 1) + line(1, 1) + line(1, 1) + line(1, 2) + line(2, 1)
	for _, tt := range []struct {
		name        string
		logs        []string
		seeds, said int
	}{
		{"a double", []string{double}, 5, 0},
		{"a block written twice", []string{double + double}, 5, 5},
		{"half a block written twice, a seed more the second time", []string{double + line(1, 1) + line(1, 2) + line(1, 2) + line(3, 1)}, 7, 2},
		{"a second log of the box", []string{double, line(1, 1) + line(2, 1) + line(2, 1) + line(4, 1)}, 7, 2},
	} {
		t.Run(tt.name, func(t *testing.T) {
			b := newBook(t)
			for _, log := range tt.logs {
				read(t, b, folder(t, map[string][]byte{"box.log": []byte(log)}))
			}
			seeds, err := b.Seeds(context.Background(), nil, "four rows", "2026-05-01", 0)
			if err != nil || len(seeds) != tt.seeds {
				t.Errorf("%d seeds, want %d, %v", len(seeds), tt.seeds, err)
			}
			src, _ := b.Sources(context.Background())
			if src[0].Counts.Seeds != int64(tt.seeds) {
				t.Errorf("the source counts %d seeds, want the %d that are stored", src[0].Counts.Seeds, tt.seeds)
			}
			said := ""
			if tt.said > 0 {
				said = fmt.Sprintf("%d seeds stand in the log more than once and are stored once.", tt.said)
			}
			if got := strings.Join(src[0].Notes, " "); got != said || len(src[0].Unused) > 0 {
				t.Errorf("said %q, want %q; unused %+v", got, said, src[0].Unused)
			}
			sound(t, b)
		})
	}
}

func TestOutOfOrderIsSorted(t *testing.T) {
	log := strings.SplitAfter(string(seasonLog(1, 2)), "\n")
	b := newBook(t)
	read(t, b, folder(t, map[string][]byte{"box.log": []byte(strings.Join(log, ""))}))
	r := rand.New(rand.NewPCG(3, 3))
	r.Shuffle(len(log), func(i, j int) { log[i], log[j] = log[j], log[i] })
	c := newBook(t)
	read(t, c, folder(t, map[string][]byte{"box.log": []byte(strings.Join(log, ""))}))
	want, got := dataOf(t, b.Dir()), dataOf(t, c.Dir())
	for _, m := range []map[string]string{want, got} {
		for name := range m {
			if !strings.HasSuffix(name, ".parquet") {
				delete(m, name)
			}
		}
	}
	sameData(t, want, got)
}

func TestOpenedTwice(t *testing.T) {
	b := newBook(t)
	if _, err := book.Open(b.Dir(), options()); !errors.Is(err, book.ErrInUse) {
		t.Errorf("opened twice: %v", err)
	}
}

func TestErrorsHaveARemedy(t *testing.T) {
	for _, tt := range []struct {
		name string
		harm func(dir string) error
		want error
	}{
		{"not a book", func(dir string) error {
			os.Remove(filepath.Join(dir, "ledger.db"))
			return os.Remove(filepath.Join(dir, "book.toml"))
		}, book.ErrNotBook},
		{"settings gone", func(dir string) error { return os.Remove(filepath.Join(dir, "book.toml")) }, book.ErrCorrupt},
		{"newer settings", func(dir string) error {
			return os.WriteFile(filepath.Join(dir, "book.toml"), []byte("book = 2\n"), 0o644)
		}, book.ErrNewer},
		{"newer data", func(dir string) error {
			return os.WriteFile(filepath.Join(dir, "data", "manifest.json"), []byte(`{"schema":2}`), 0o644)
		}, book.ErrNewer},
		{"newer ledger", func(dir string) error { return book.SetLedgerVersion(dir, 99) }, book.ErrNewer},
		{"ledger gone", func(dir string) error { return os.Remove(filepath.Join(dir, "ledger.db")) }, book.ErrCorrupt},
		{"ledger is something else", func(dir string) error {
			return os.WriteFile(filepath.Join(dir, "ledger.db"), bytes.Repeat([]byte("no database "), 999), 0o644)
		}, book.ErrCorrupt},
		{"ledger is empty", func(dir string) error { return os.WriteFile(filepath.Join(dir, "ledger.db"), nil, 0o644) }, book.ErrCorrupt},
		{"settings with an unknown key", func(dir string) error {
			data, _ := os.ReadFile(filepath.Join(dir, "book.toml"))
			return os.WriteFile(filepath.Join(dir, "book.toml"), append(data, "nonsense = 1\n"...), 0o644)
		}, nil},
		{"card broken", func(dir string) error {
			return os.WriteFile(filepath.Join(dir, "planter", "four.toml"), []byte("card = 1\nrows = \"x\"\n"), 0o644)
		}, nil},
		{"field broken", func(dir string) error {
			return os.WriteFile(filepath.Join(dir, "fields", "north.geojson"), []byte("{}"), 0o644)
		}, nil},
	} {
		t.Run(tt.name, func(t *testing.T) {
			b := newBook(t)
			read(t, b, folder(t, map[string][]byte{"box.log": seasonLog(1, 1)}))
			b.Close()
			if err := tt.harm(b.Dir()); err != nil {
				t.Fatal(err)
			}
			c, err := book.Open(b.Dir(), options())
			if err == nil {
				c.Close()
				t.Fatal("opened")
			}
			var e *book.Error
			if !errors.As(err, &e) || e.Hint == "" || e.Path == "" {
				t.Errorf("without place or remedy: %v", err)
			}
			if tt.want != nil && !errors.Is(err, tt.want) {
				t.Errorf("%v, want %v", err, tt.want)
			}
		})
	}
}

func TestCreate(t *testing.T) {
	dir := t.TempDir()
	if err := book.Create(filepath.Join(dir, "a"), settings(), nil, nil); err != nil {
		t.Fatal(err)
	}
	if err := book.Create(filepath.Join(dir, "a"), settings(), nil, nil); !errors.Is(err, book.ErrExists) {
		t.Errorf("over a book: %v", err)
	}
	os.Mkdir(filepath.Join(dir, "empty"), 0o755)
	if err := book.Create(filepath.Join(dir, "empty"), settings(), nil, nil); err != nil {
		t.Errorf("in an empty folder: %v", err)
	}
	if err := book.Create(dir, settings(), nil, nil); !errors.Is(err, book.ErrExists) {
		t.Errorf("over other files: %v", err)
	}
	bad := settings()
	bad.Zone = "Mars/North"
	for _, err := range []error{
		book.Create(filepath.Join(dir, "b"), bad, nil, nil),
		book.Create(filepath.Join(dir, "b"), settings(), []book.File{{Name: "x.toml", Data: []byte("card = 9")}}, nil),
		book.Create(filepath.Join(dir, "b"), settings(), nil, []book.File{{Name: "x.geojson", Data: []byte(`{"type":"Point"}`)}}),
	} {
		if err == nil {
			t.Error("taken")
		}
	}
	if _, err := os.Stat(filepath.Join(dir, "b")); err == nil {
		t.Error("half a book was left behind")
	}
}

func TestSettingsKeepEveryNumber(t *testing.T) {
	b := newBook(t)
	s := b.Settings()
	s.Name, s.Yield, s.Seed, s.Units = `a "quoted" \ name`, 1.1928374650912, 0.0034, evenstand.Metric
	if err := b.SetSettings(context.Background(), s); err != nil {
		t.Fatal(err)
	}
	dir := b.Dir()
	b.Close()
	got := open(t, dir).Settings()
	if got.Name != s.Name || got.Yield != s.Yield || got.Seed != s.Seed || got.Units != s.Units || got.Price != s.Price || !math.IsNaN(got.Labour) || got.Zone != s.Zone {
		t.Errorf("%+v, want %+v", got, s)
	}
}

// What is said of clocks stands in book.toml, of one planter's box or of any, and
// can be taken back.
func TestSaidClocks(t *testing.T) {
	set := evenstand.NewSettings()
	set.Name, set.Zone = "x", "UTC"
	set.SetClock(evenstand.SaidClock{Box: `row "one"/readings`, Planter: "front", Offset: -1.5, Error: 0.2})
	set.SetClock(evenstand.SaidClock{Box: "receiver", Offset: 3, Error: math.NaN()})
	set.SetClock(evenstand.SaidClock{Box: "receiver", Planter: "rear", Offset: 4, Error: math.NaN()}) // in place of the one before
	got, err := book.ParseSettings(book.FormatSettings(set))
	if err != nil {
		t.Fatal(err)
	}
	if c, ok := got.Clock("front", `row "one"/readings`); !ok || c.Offset != -1.5 || c.Error != 0.2 {
		t.Errorf("%+v, %v", c, ok)
	}
	if c, ok := got.Clock("rear", "receiver"); !ok || c.Offset != 4 || !math.IsNaN(c.Error) {
		t.Errorf("%+v, %v", c, ok)
	}
	if _, ok := got.Clock("front", "receiver"); ok || len(got.Clocks) != 2 {
		t.Errorf("%+v", got.Clocks)
	}
	got.UnsetClock("rear", "receiver")
	if _, ok := got.Clock("rear", "receiver"); ok {
		t.Error("it is not taken back")
	}
	const head = "book = 1\nname = \"x\"\nzone = \"UTC\"\nunits = \"us\"\n[[clock]]\n"
	for text, want := range map[string]string{
		"offset_s = 1.0\n": "no box", "box = \"a\"\n": "no offset_s", "box = \"a\"\noffset_s = 1e9\n": "a year at most", "box = \"a\"\noffset_s = 1.0\nerror_s = -1.0\n": "0 or more",
	} {
		if _, err := book.ParseSettings([]byte(head + text)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %s", text, err, want)
		}
	}
}

func TestCardHistory(t *testing.T) {
	b := newBook(t)
	ctx := context.Background()
	six := strings.Replace(card, "rows = 4", "rows = 6", 1)
	if err := b.SetCard(ctx, book.File{Name: "four.toml", Data: []byte(six)}, "2026-05-03"); err != nil {
		t.Fatal(err)
	}
	dir := b.Dir()
	b.Close()
	b = open(t, dir)
	for day, want := range map[evenstand.Day]int{"2026-05-02": 4, "2026-05-03": 6, "2026-06-01": 6} {
		if c, _ := b.Card("four rows", day); c.Rows != want {
			t.Errorf("%s: %d rows, want %d", day, c.Rows, want)
		}
	}
	if c, _ := b.Card("another", "2026-05-02"); c.Rows != 0 || c.Name != "another" {
		t.Errorf("unknown planter: %+v", c)
	}
}

func TestCheckFindsEveryDamage(t *testing.T) {
	ctx := context.Background()
	for _, tt := range []struct {
		name string
		harm func(t *testing.T, dir string)
		want string
	}{
		{"an original changed", func(t *testing.T, dir string) {
			p := glob(t, dir, "originals/*/*")
			os.Chmod(p, 0o644)
			data, _ := os.ReadFile(p)
			data[10] ^= 1
			os.WriteFile(p, data, 0o644)
		}, "was changed"},
		{"an original shorter", func(t *testing.T, dir string) {
			p := glob(t, dir, "originals/*/*")
			os.Chmod(p, 0o644)
			os.Truncate(p, 5)
		}, "has 5 bytes"},
		{"an original gone", func(t *testing.T, dir string) { os.Remove(glob(t, dir, "originals/*/*")) }, "is missing"},
		{"a derived file gone", func(t *testing.T, dir string) { os.Remove(glob(t, dir, "data/*/track.parquet")) }, "track.parquet is missing"},
		{"a derived file changed", func(t *testing.T, dir string) {
			p := glob(t, dir, "data/*/seeds.parquet")
			data, _ := os.ReadFile(p)
			data[100] ^= 1
			os.WriteFile(p, data, 0o644)
		}, "seeds.parquet is not what was written"},
		{"sources gone", func(t *testing.T, dir string) { os.Remove(glob(t, dir, "data/sources-*.json")) }, "cannot be used"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			b := newBook(t)
			read(t, b, folder(t, map[string][]byte{"box.log": seasonLog(1, 1)}))
			sound(t, b)
			b.Close()
			tt.harm(t, b.Dir())
			b = open(t, b.Dir())
			faults, err := b.Check(ctx)
			if err != nil || len(faults) != 1 || !strings.Contains(faults[0], tt.want) {
				t.Errorf("faults %q, %v; want one with %q", faults, err, tt.want)
			}
			if strings.Contains(tt.name, "original") {
				return
			}
			if _, err := b.Rebuild(ctx, formats, book.ReadOptions{}); err != nil {
				t.Fatal(err)
			}
			sound(t, b)
		})
	}
}

// A page that is damaged in an otherwise sound file is an error that says where
// it lies and what to do, whichever way the file is asked.
func TestDamagedPageSaysWhatToDo(t *testing.T) {
	ctx := context.Background()
	b := newBook(t)
	read(t, b, folder(t, map[string][]byte{"box.log": seasonLog(1, 1)}))
	days, err := b.Days(ctx)
	if err != nil {
		t.Fatal(err)
	}
	d := days[0]
	for name, ask := range map[string]func() error{
		"seeds.parquet": func() error {
			_, err := b.Seeds(ctx, nil, d.Planter, d.Day, 0)
			if cells := b.GroupByStretch(ctx, 1, func(*book.PassCells) error { return nil }); cells == nil || err == nil || cells.Error() != err.Error() {
				t.Errorf("seeds by stretch: %v; the seeds: %v", cells, err)
			}
			return err
		},
		"track.parquet": func() error {
			return b.Track(ctx, d.Planter, d.Day, func([]evenstand.TrackPoint) error { return nil })
		},
	} {
		p := glob(t, b.Dir(), "data/*/"+name)
		data, err := os.ReadFile(p)
		if err != nil {
			t.Fatal(err)
		}
		data[60] ^= 1 // in the first page
		if err := os.WriteFile(p, data, 0o644); err != nil {
			t.Fatal(err)
		}
		err = ask()
		var e *book.Error
		if !errors.As(err, &e) || !errors.Is(err, book.ErrCorrupt) || !strings.Contains(err.Error(), "row group 0, column ") || !strings.Contains(err.Error(), "page 0 at byte ") || !strings.Contains(e.Hint, "evenstand rebuild") || e.Path != p {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// The footer that is kept from one question to the next may be what is damaged:
// once the file is whole again it reads again.
func TestDamagedFooterIsNotKept(t *testing.T) {
	ctx := context.Background()
	b := newBook(t)
	read(t, b, folder(t, map[string][]byte{"box.log": seasonLog(1, 1)}))
	days, err := b.Days(ctx)
	if err != nil {
		t.Fatal(err)
	}
	seeds := func() error {
		_, err := b.Seeds(ctx, nil, days[0].Planter, days[0].Day, 0)
		return err
	}
	p := glob(t, b.Dir(), "data/*/seeds.parquet")
	whole, err := os.ReadFile(p)
	if err != nil {
		t.Fatal(err)
	}
	put := func(data []byte) {
		if err := os.WriteFile(p, data, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	end := len(whole) - 8 // of the footer
	seen := 0
	for i := end - int(binary.LittleEndian.Uint32(whole[end:])); i < end && seen < 3; i++ {
		if _, err := b.Passes(ctx, days[0].Planter, days[0].Day); err != nil { // another footer is kept
			t.Fatal(err)
		}
		bad := bytes.Clone(whole)
		bad[i] ^= 2
		put(bad)
		err := seeds()
		put(whole)
		if !errors.Is(err, book.ErrCorrupt) || !strings.Contains(err.Error(), ", page ") {
			continue // no such footer, or as good as the right one
		}
		seen++
		if again := seeds(); again != nil {
			t.Fatalf("byte %d was wrong: %v; made good: %v", i, err, again)
		}
	}
	if seen == 0 {
		t.Error("no wrong byte of the footer spoils a page")
	}
}

func glob(t *testing.T, dir, pattern string) string {
	t.Helper()
	m, err := filepath.Glob(filepath.Join(dir, pattern))
	if err != nil || len(m) == 0 {
		t.Fatalf("no %s: %v", pattern, err)
	}
	return m[0]
}

func TestStrayFilesUnderDataAreRemoved(t *testing.T) {
	b := newBook(t)
	read(t, b, folder(t, map[string][]byte{"box.log": seasonLog(1, 1)}))
	want := dataOf(t, b.Dir())
	b.Close()
	os.WriteFile(filepath.Join(b.Dir(), "data", "stray"), []byte("x"), 0o644)
	os.MkdirAll(filepath.Join(b.Dir(), "data", "2026-05-01-half"), 0o755)
	os.WriteFile(filepath.Join(filepath.Dir(glob(t, b.Dir(), "data/*/seeds.parquet")), "stray"), []byte("x"), 0o644)
	open(t, b.Dir())
	sameData(t, want, dataOf(t, b.Dir()))
}

func TestOriginalsAreReadOnly(t *testing.T) {
	b := newBook(t)
	log := seasonLog(1, 1)
	read(t, b, folder(t, map[string][]byte{"box.log": log}))
	p := glob(t, b.Dir(), "originals/*/*")
	info, _ := os.Stat(p)
	if info.Mode().Perm()&0o222 != 0 {
		t.Errorf("mode %s", info.Mode())
	}
	if data, _ := os.ReadFile(p); !bytes.Equal(data, log) {
		t.Error("other bytes")
	}
}

func TestReadSaysWhatIsNotThere(t *testing.T) {
	b := newBook(t)
	_, err := b.Read(context.Background(), []string{filepath.Join(t.TempDir(), "nowhere")}, formats, book.ReadOptions{})
	var e *book.Error
	if !errors.As(err, &e) || e.Hint == "" {
		t.Errorf("%v", err)
	}
	bad := filepath.Join(t.TempDir(), "bad.zip")
	os.WriteFile(bad, []byte("no zip"), 0o644)
	if _, err := b.Read(context.Background(), []string{bad}, formats, book.ReadOptions{}); !errors.As(err, &e) || e.Hint == "" {
		t.Errorf("%v", err)
	}
}

func TestStoppedReadIsFinishedLater(t *testing.T) {
	in := folder(t, map[string][]byte{"box.log": seasonLog(1, 4)})
	whole := newBook(t)
	read(t, whole, in)
	want := dataOf(t, whole.Dir())
	for stop := range 9 {
		b := newBook(t)
		ctx, cancel := context.WithCancel(context.Background())
		n := 0
		_, err := b.Read(ctx, []string{in}, formats, book.ReadOptions{Progress: func(p book.Progress) {
			if p.Doing == "settling" || p.Doing == "copying" {
				if n == stop {
					cancel()
				}
				n++
			}
		}})
		cancel()
		if err != nil && !errors.Is(err, context.Canceled) {
			t.Fatal(err)
		}
		sound(t, b)
		read(t, b, in)
		sameData(t, want, dataOf(t, b.Dir()))
		sound(t, b)
	}
}

// Without a card the rows and the planter's name are learnt from the logs.
func TestLearntFromTheLogs(t *testing.T) {
	ctx := context.Background()
	dir := filepath.Join(t.TempDir(), "season")
	if err := book.Create(dir, settings(), nil, nil); err != nil {
		t.Fatal(err)
	}
	b := open(t, dir)
	if stale, err := b.Stale(ctx, formats); err != nil || stale {
		t.Errorf("a new book is stale: %v, %v", stale, err)
	}
	read(t, b, folder(t, map[string][]byte{"box.log": append([]byte("c 6 the old one\n"), seasonLog(1, 1)...)}))
	learnt, err := b.Card("the old one", "2026-05-01")
	if err != nil || learnt.Rows != 6 || learnt.Name != "the old one" || !math.IsNaN(learnt.RowSpacing) || !math.IsNaN(learnt.Tanks[0].Capacity) || len(learnt.Tanks[0].Feeds) != 2 {
		t.Errorf("card %+v, %v", learnt, err)
	}
	if ps, _ := b.Planters(ctx); !slices.Equal(ps, []string{"the old one"}) {
		t.Errorf("planters %q", ps)
	}
	// Rows 5 and 6 of six had no seed on either pass, row 3 on the second.
	if fs, _ := b.Findings(ctx); len(fs) != 5 {
		t.Errorf("%d findings, want 5", len(fs))
	}
	want := dataOf(t, dir)
	if _, err := b.Rebuild(ctx, formats, book.ReadOptions{}); err != nil {
		t.Fatal(err)
	}
	sameData(t, want, dataOf(t, dir))
	// A card that comes later takes the logs over.
	if err := b.SetCard(ctx, book.File{Name: "four.toml", Data: []byte(card)}, ""); err != nil {
		t.Fatal(err)
	}
	read(t, b)
	if ps, _ := b.Planters(ctx); !slices.Equal(ps, []string{"four rows"}) {
		t.Errorf("planters %q", ps)
	}
	sound(t, b)
}

// Answers may be asked for while a read goes on.
func TestAnswersWhileReading(t *testing.T) {
	b := newBook(t)
	ctx, cancel := context.WithCancel(context.Background())
	read(t, b, folder(t, map[string][]byte{"box.log": seasonLog(1, 2)}))
	var wg sync.WaitGroup
	asked := make(chan int, 2)
	for range 2 {
		wg.Go(func() {
			n := 0
			for ; ctx.Err() == nil; n++ {
				if fs, err := b.Findings(context.Background()); err != nil || len(fs) < 2 {
					t.Errorf("%d findings, %v", len(fs), err)
				}
				if _, err := b.Sources(context.Background()); err != nil {
					t.Error(err)
				}
				if p, err := b.Passes(context.Background(), "four rows", "2026-05-01"); err != nil || len(p) != 2 {
					t.Errorf("%d passes, %v", len(p), err)
				}
			}
			asked <- n
		})
	}
	for d := 1; d <= 2; d++ { // each changes what is there
		read(t, b, folder(t, map[string][]byte{"radar.log": fmt.Appendf(nil, "r %d ground_speed machine 2\n", at(d, 9, 0))}))
		read(t, b, folder(t, map[string][]byte{"more.log": seasonLog(2+d, 1)}))
	}
	cancel()
	wg.Wait()
	if n := <-asked; n == 0 {
		t.Error("nothing was asked meanwhile")
	}
	sound(t, b)
}

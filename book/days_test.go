package book_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"evenstand"
	"evenstand/book"
	"evenstand/pipeline"

	"github.com/google/go-cmp/cmp"
)

// One box, a folder for each of three days: each day is there, whether the
// folders are read in one go, one by one, in another order or made again.
func TestDaysOfOneBoxInSeveralFolders(t *testing.T) {
	ctx := context.Background()
	dirs := []string{
		folder(t, map[string][]byte{"box.log": seasonLog(1, 1)}),
		folder(t, map[string][]byte{"box.log": seasonLog(2, 1)}),
		folder(t, map[string][]byte{"box.log": seasonLog(3, 1)}),
	}
	whole := func(b *book.Book) {
		t.Helper()
		days, err := b.Days(ctx)
		if err != nil || len(days) != 3 {
			t.Fatalf("%d days, %v", len(days), err)
		}
		for _, d := range days {
			// 7 rows' passes of 250 places, one in a hundred left out.
			if d.Passes != 2 || d.Seeds < 7*235 || d.Seeds > 7*250 {
				t.Errorf("%s: %d passes, %d seeds", d.Day, d.Passes, d.Seeds)
			}
		}
		sound(t, b)
	}
	once := newBook(t)
	if rep := read(t, once, dirs...); daysOf(rep) != "2026-05-01 2026-05-02 2026-05-03" {
		t.Errorf("made %q", daysOf(rep))
	}
	whole(once)
	want := dataOf(t, once.Dir())

	single := newBook(t)
	for _, d := range dirs {
		read(t, single, d)
	}
	whole(single)
	sameData(t, want, dataOf(t, single.Dir()))

	for _, b := range []*book.Book{once, single} {
		if _, err := b.Rebuild(ctx, formats, book.ReadOptions{}); err != nil {
			t.Fatal(err)
		}
		whole(b)
		sameData(t, want, dataOf(t, b.Dir()))
	}

	// From the last to the first: the inputs have other numbers, the days' tables do not.
	back := newBook(t)
	for _, d := range []string{dirs[2], dirs[1], dirs[0]} {
		read(t, back, d)
	}
	whole(back)
	got := dataOf(t, back.Dir())
	for _, m := range []map[string]string{want, got} {
		for name := range m {
			if strings.HasPrefix(name, "sources-") || name == "manifest.json" {
				delete(m, name)
			}
		}
	}
	sameData(t, want, got)
}

// A day that did not see its logs is found, whole files or not.
func TestCheckFindsADayThatSawNothing(t *testing.T) {
	b := newBook(t)
	read(t, b, folder(t, map[string][]byte{"box.log": seasonLog(1, 2)}))
	sound(t, b)
	dir := b.Dir()
	b.Close()
	p := glob(t, dir, "data/2026-05-02*/summary.json")
	was, err := os.ReadFile(p)
	if err != nil {
		t.Fatal(err)
	}
	var sum map[string]any
	if err := json.Unmarshal(was, &sum); err != nil {
		t.Fatal(err)
	}
	sum["seen"].(map[string]any)["seeds"] = 0
	now, _ := json.Marshal(sum)
	if err := os.WriteFile(p, now, 0o644); err != nil {
		t.Fatal(err)
	}
	// The manifest agrees: only the sources tell.
	m := filepath.Join(dir, "data", "manifest.json")
	var man struct {
		Schema  int             `json:"schema"`
		Sources json.RawMessage `json:"sources"`
		Days    []map[string]any
	}
	text, _ := os.ReadFile(m)
	if err := json.Unmarshal(text, &man); err != nil {
		t.Fatal(err)
	}
	for _, f := range man.Days[1]["files"].([]any) {
		if f := f.(map[string]any); f["name"] == "summary.json" {
			f["sha256"], f["size"] = book.HashBytes(now), len(now)
		}
	}
	text, _ = json.Marshal(map[string]any{"schema": man.Schema, "sources": man.Sources, "days": man.Days})
	if err := os.WriteFile(m, text, 0o644); err != nil {
		t.Fatal(err)
	}
	b = open(t, dir)
	faults, err := b.Check(context.Background())
	if err != nil || len(faults) != 1 || !strings.Contains(faults[0], "saw 0 seeds of four rows on 2026-05-02, and its logs hold") {
		t.Errorf("faults %q, %v", faults, err)
	}
}

// What the days say of themselves comes with the report: the local day in
// front, the same sentence once.
func TestReportSaysWhatTheDaysSay(t *testing.T) {
	ctx := context.Background()
	var log bytes.Buffer
	log.Write(seasonLog(1, 5))
	for _, d := range []int{1, 2, 3, 5} {
		fmt.Fprintf(&log, "j %d refill the radar was still\n", at(d, 23, 30)) // the next day in UTC
	}
	fmt.Fprintf(&log, "j %d refill the radar was still\n", at(2, 23, 40))
	fmt.Fprintf(&log, "j %d wind strong\n", at(2, 23, 50))
	want := []string{"2026-05-01 to 2026-05-03, 2026-05-05: refill: the radar was still", "2026-05-02: wind: strong"}
	b := newBook(t)
	rep := read(t, b, folder(t, map[string][]byte{"box.log": log.Bytes()}))
	if diff := cmp.Diff(want, rep.Notes); diff != "" {
		t.Errorf("notes (-want +got):\n%s", diff)
	}
	if rep := read(t, b); len(rep.Notes) > 0 {
		t.Errorf("nothing was made again, and it says %q", rep.Notes)
	}
	rep, err := b.Rebuild(ctx, formats, book.ReadOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(want, rep.Notes); diff != "" {
		t.Errorf("notes of a rebuild (-want +got):\n%s", diff)
	}
}

// A day that the deriver gives up on, or stumbles over, does not keep the
// others back; nothing stored is harmed, and the next read tries again.
func TestABadDayLeavesTheOthers(t *testing.T) {
	ctx := context.Background()
	whole := newBook(t)
	in := folder(t, map[string][]byte{"box.log": seasonLog(1, 4)})
	read(t, whole, in)
	want := dataOf(t, whole.Dir())
	for name, bad := range map[string]func(pipeline.Output) (pipeline.Result, error){
		"no passes can be told apart": func(pipeline.Output) (pipeline.Result, error) {
			return pipeline.Result{}, errors.New("no passes can be told apart")
		},
		"a fault in the program at days_test.go:": func(pipeline.Output) (pipeline.Result, error) {
			var none []int
			return pipeline.Result{Notes: []string{fmt.Sprint(none[3])}}, nil
		},
		"pass 7 came where pass 0 was due": func(out pipeline.Output) (pipeline.Result, error) {
			return pipeline.Result{}, out.Pass(evenstand.Pass{Index: 7}, nil, nil, nil)
		},
	} {
		t.Run(name, func(t *testing.T) {
			broken := true
			opts := options()
			opts.Derive = func(ctx context.Context, day pipeline.Day, out pipeline.Output) (pipeline.Result, error) {
				if broken && day.Date == "2026-05-02" {
					return bad(out)
				}
				return settle(ctx, day, out)
			}
			b := newBook(t)
			b.Close()
			b, err := book.Open(b.Dir(), opts)
			if err != nil {
				t.Fatal(err)
			}
			defer b.Close()
			said := func(rep book.Report, stays string) {
				t.Helper()
				if len(rep.Unused) != 1 || rep.Unused[0].File != "four rows, 2026-05-02" || !strings.Contains(rep.Unused[0].Why, name) || !strings.Contains(rep.Unused[0].Do, stays) {
					t.Errorf("unused %+v", rep.Unused)
				}
			}
			rep := read(t, b, in)
			if got := daysOf(rep); got != "2026-05-01 2026-05-03 2026-05-04" {
				t.Errorf("made %q", got)
			}
			said(rep, "its logs are kept")
			sound(t, b)
			if stale, err := b.Stale(ctx, formats); err != nil || !stale {
				t.Errorf("stale %v, %v", stale, err)
			}
			rep = read(t, b)
			if got := daysOf(rep); got != "" {
				t.Errorf("made %q again", got)
			}
			said(rep, "its logs are kept")
			broken = false
			if got := daysOf(read(t, b)); got != "2026-05-02" {
				t.Errorf("made %q when it went again", got)
			}
			sameData(t, want, dataOf(t, b.Dir()))
			// What was there of the day stays when it goes wrong later.
			broken = true
			rep = read(t, b, folder(t, map[string][]byte{"radar.log": fmt.Appendf(nil, "r %d ground_speed machine 2\n", at(2, 9, 0))}))
			said(rep, "stays")
			for file, text := range dataOf(t, b.Dir()) {
				if strings.HasPrefix(file, "2026-") && want[file] != text {
					t.Errorf("data/%s changed", file)
				}
			}
			sound(t, b)
		})
	}
	// An end of the context still stops.
	stop, cancel := context.WithCancel(ctx)
	opts := options()
	opts.Derive = func(ctx context.Context, day pipeline.Day, out pipeline.Output) (pipeline.Result, error) {
		cancel()
		return pipeline.Result{}, errors.New("it was stopped")
	}
	b := newBook(t)
	b.Close()
	b, err := book.Open(b.Dir(), opts)
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	if _, err := b.Read(stop, []string{in}, formats, book.ReadOptions{}); !errors.Is(err, context.Canceled) {
		t.Errorf("stopped: %v", err)
	}
}

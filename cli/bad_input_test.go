package cli_test

import (
	"archive/zip"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"evenstand/book"
)

// logs gives the logs of a simulated day, by their place under boxes, none
// longer than so many bytes.
func logs(t *testing.T, dir string, most int) map[string][]byte {
	t.Helper()
	files := map[string][]byte{}
	err := filepath.WalkDir(dir, func(p string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := os.ReadFile(p)
		if len(data) > most {
			data = data[:bytes.LastIndexByte(data[:most], '\n')+1]
		}
		name, _ := filepath.Rel(dir, p)
		files[filepath.ToSlash(name)] = data
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return files
}

func writeAll(t *testing.T, dir string, files map[string][]byte) string {
	t.Helper()
	for name, data := range files {
		p := filepath.Join(dir, filepath.FromSlash(name))
		if err := errors.Join(os.MkdirAll(filepath.Dir(p), 0o755), os.WriteFile(p, data, 0o644)); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

// A log cut at any byte: what was whole is used, the cut is said unless the
// file ends with a whole line, and the logbook is sound.
func TestCutLogs(t *testing.T) {
	day, _ := simulated(t)
	whole := logs(t, filepath.Join(day, "boxes"), 60_000)
	r := rand.New(rand.NewPCG(5, 8))
	for _, name := range []string{"seed/seeds.csv", "guidance/track.csv", "machine/readings.csv", "seed/source.toml"} {
		for _, cut := range []int{0, 1, bytes.IndexByte(whole[name], '\n'), 1 + r.IntN(len(whole[name])-2), len(whole[name]) - 1} {
			t.Run(fmt.Sprintf("%s at %d", name, cut), func(t *testing.T) {
				files := map[string][]byte{}
				for n, data := range whole {
					files[n] = data
				}
				files[name] = whole[name][:cut]
				dir := newBook(t, "--planter", filepath.Join(day, "card.toml"))
				in := writeAll(t, t.TempDir(), files)
				code, out, text := run(context.Background(), "read", dir, in)
				if code != 0 && code != 3 {
					t.Fatalf("exit code %d: %s", code, text)
				}
				csv := strings.HasSuffix(name, ".csv")
				if csv && files[name] != nil && !bytes.HasSuffix(files[name], []byte("\n")) && !strings.Contains(out, name) {
					t.Errorf("the cut is not said:\n%s", out)
				}
				if !strings.Contains(out, "planter controller/readings") && name != "machine/readings.csv" {
					t.Errorf("the other logs are not used:\n%s", out)
				}
				sound(t, dir)
			})
		}
	}
}

// The same for task data, at the file that lists it, at a log and its header.
func TestCutTaskData(t *testing.T) {
	root := t.TempDir()
	scenario, err := os.ReadFile("testdata/tiny.toml")
	if err != nil {
		t.Fatal(err)
	}
	text := strings.Replace(string(scenario), "[output]\n", "[output]\ngrade = \"B\"\nlayout = \"task-data\"\n", 1)
	writeAll(t, root, map[string][]byte{"b.toml": []byte(text)})
	must(t, "simulate", filepath.Join(root, "b.toml"), filepath.Join(root, "day"))
	sets, err := filepath.Glob(filepath.Join(root, "day", "boxes", "*"))
	if err != nil || len(sets) != 1 {
		t.Fatalf("%v, %v", sets, err)
	}
	whole := logs(t, sets[0], 1<<30)
	for name, data := range whole {
		for _, cut := range []int{0, len(data) / 3, len(data) - 1} {
			t.Run(fmt.Sprintf("%s at %d", name, cut), func(t *testing.T) {
				files := map[string][]byte{}
				for n, d := range whole {
					files[n] = d
				}
				files[name] = data[:cut]
				dir := newBook(t)
				code, out, text := run(context.Background(), "read", dir, writeAll(t, t.TempDir(), files))
				want := 3
				if len(bytes.TrimSpace(data)) <= cut {
					want = 0 // only a line end is gone
				}
				if code != want || strings.Contains(out, "Not used:") != (want == 3) {
					t.Errorf("exit code %d, want %d:\n%s%s", code, want, out, text)
				}
				sound(t, dir)
			})
		}
	}
}

// Two copies of one log in one input count once, and that is said.
func TestSameSourceTwice(t *testing.T) {
	day, dir := simulated(t)
	files := logs(t, filepath.Join(day, "boxes"), 60_000)
	for name, data := range files {
		if rest, ok := strings.CutPrefix(name, "seed/"); ok {
			files["copy of seed/"+rest] = data
		}
	}
	in := writeAll(t, t.TempDir(), files)
	var rep book.Report
	decode(t, &rep, 3, "read", dir, in)
	seeds, said := int64(0), false
	for _, s := range rep.Sources {
		seeds += s.Counts.Seeds
	}
	for _, u := range rep.Unused {
		said = said || strings.Contains(u.Why, "it is the same as")
	}
	if want := int64(bytes.Count(files["seed/seeds.csv"], []byte("\n")) - 1); seeds != want || !said {
		t.Errorf("%d seeds, want %d; said %v: %+v", seeds, want, said, rep.Unused)
	}
	sound(t, dir)
}

// A file that cannot be read to its end is named with a remedy; the rest is
// used. A zip's checksum shows it to every user.
func TestUnreadableFileInZip(t *testing.T) {
	day, dir := simulated(t)
	files := logs(t, filepath.Join(day, "boxes"), 60_000)
	var buf bytes.Buffer
	z := zip.NewWriter(&buf)
	for _, name := range []string{"guidance/source.toml", "guidance/track.csv", "machine/readings.csv", "seed/seeds.csv"} {
		w, err := z.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Store})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write(files[name]); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	data := buf.Bytes()
	at := bytes.Index(data, files["machine/readings.csv"]) + len(files["machine/readings.csv"]) - 5
	data[at] ^= 1
	in := filepath.Join(t.TempDir(), "stick.zip")
	if err := os.WriteFile(in, data, 0o644); err != nil {
		t.Fatal(err)
	}
	code, out, text := run(context.Background(), "read", dir, in)
	flat := strings.Join(strings.Fields(out), " ")
	if code != 3 || !strings.Contains(flat, "machine/readings.csv: it cannot be read: zip: checksum error. Check that it may be read, or copy it from the box again.") {
		t.Errorf("exit code %d:\n%s%s", code, out, text)
	}
	if !strings.Contains(out, "seeds, grade A") || !strings.Contains(out, "1 machine-day settled") {
		t.Errorf("the rest is not used:\n%s", out)
	}
	sound(t, dir)
	if err := os.WriteFile(in, data[:len(data)/2], 0o644); err != nil {
		t.Fatal(err)
	}
	if code, _, text := run(context.Background(), "read", dir, in); code != 1 || !strings.Contains(strings.Join(strings.Fields(text), " "), "the zip cannot be read") || !strings.Contains(strings.Join(strings.Fields(text), " "), "Copy it again") {
		t.Errorf("a zip that is cut: exit code %d: %s", code, text)
	}
	sound(t, dir)
}

// A small zip that unpacks to very much is refused with what to do, before any of
// it is unpacked.
func TestZipBomb(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "spring")
	must(t, "new", dir, "--zone", "America/Chicago")
	var buf bytes.Buffer
	z := zip.NewWriter(&buf)
	w, err := z.Create("seed/seeds.csv")
	if err != nil {
		t.Fatal(err)
	}
	for range 100 {
		if _, err := w.Write(make([]byte, 1<<20)); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	in := filepath.Join(t.TempDir(), "stick.zip")
	if err := os.WriteFile(in, buf.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, args := range [][]string{{"read", dir, in}, {"recipe", dir, in}} {
		code, _, text := run(context.Background(), args...)
		if flat := strings.Join(strings.Fields(text), " "); code != 1 || !strings.Contains(flat, "is said to unpack to more than") || !strings.Contains(flat, "Unpack it yourself") {
			t.Errorf("%q: exit code %d: %s", args, code, text)
		}
	}
	if entries, err := os.ReadDir(filepath.Join(dir, "originals")); err == nil && len(entries) > 0 {
		t.Errorf("%d originals", len(entries))
	}
	sound(t, dir)
}

// A file and a folder that this user may not read.
func TestForbiddenFile(t *testing.T) {
	if os.Geteuid() <= 0 {
		t.Skip("this user may read everything, or permissions are not like Unix's")
	}
	day, dir := simulated(t)
	files := logs(t, filepath.Join(day, "boxes"), 60_000)
	in := writeAll(t, t.TempDir(), files)
	for _, p := range []string{"machine/readings.csv", "guidance"} {
		p = filepath.Join(in, p)
		if err := os.Chmod(p, 0); err != nil {
			t.Fatal(err)
		}
		defer os.Chmod(p, 0o755)
	}
	code, out, _ := run(context.Background(), "read", dir, in)
	flat := strings.Join(strings.Fields(out), " ")
	if code != 3 || !strings.Contains(flat, "guidance: it cannot be read: permission denied") || !strings.Contains(flat, "machine/readings.csv: it cannot be read: permission denied") || !strings.Contains(flat, "seed monitor/seeds, grade A") {
		t.Errorf("exit code %d:\n%s", code, out)
	}
	sound(t, dir)
}

// Stopped at any moment, a read leaves a sound logbook and exit code 130, and
// the same read completes it: the worklist is the one of an undisturbed read.
func TestStoppedRead(t *testing.T) {
	day, quiet := simulated(t)
	boxes := filepath.Join(day, "boxes")
	begun := time.Now()
	must(t, "read", quiet, boxes)
	took := time.Since(begun)
	want := must(t, "worklist", quiet, "--all", "--json")
	r := rand.New(rand.NewPCG(1, 30))
	stopped := 0
	for range 12 {
		dir := filepath.Join(t.TempDir(), "spring")
		must(t, "new", dir, "--planter", filepath.Join(day, "card.toml"), "--field", filepath.Join(day, "fields", "home-place.geojson"),
			"--zone", "America/Chicago", "--price", "4.50/bu", "--yield", "190bu/ac")
		ctx, cancel := context.WithCancel(context.Background())
		timer := time.AfterFunc(time.Duration(r.Float64()*float64(took)), cancel)
		code, out, text := run(ctx, "read", dir, boxes)
		timer.Stop()
		cancel()
		switch code {
		case 0: // it was quicker
		case 130:
			stopped++
			if !strings.Contains(text, "The logbook is sound; the same command goes on from here.") || out != "" {
				t.Errorf("said %q and %q", text, out)
			}
		default:
			t.Fatalf("exit code %d: %s", code, text)
		}
		var c struct {
			Sound  bool
			Faults []string
		}
		decode(t, &c, 0, "check", dir)
		if !c.Sound {
			t.Errorf("after a stop: %q", c.Faults)
		}
		must(t, "read", dir, boxes)
		sound(t, dir)
		if got := must(t, "worklist", dir, "--all", "--json"); got != want {
			t.Errorf("after a stop and another read the worklist is another:\n%s", got)
		}
	}
	if stopped < 6 {
		t.Errorf("only %d of 12 reads were stopped", stopped)
	}
}

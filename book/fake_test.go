package book_test

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"io/fs"
	"math"
	"math/rand/v2"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"evenstand"
	"evenstand/book"
	"evenstand/pipeline"
)

// fake is a format of the tests: files *.log with lines
//
//	s TIME ROW
//	f TIME LAT LON
//	r TIME QUANTITY ELEMENT VALUE
//	j TIME WHAT NOTE
//	c ROWS PLANTER
//
// TIME in microseconds. A file notes.txt beside one explains it.
type fake struct{}

func (fake) Name() string { return "test log" }

func (fake) Find(ctx context.Context, in fs.FS) (sources []evenstand.Source, claimed []string, unused []evenstand.Unused, err error) {
	err = fs.WalkDir(in, ".", func(p string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		switch {
		case strings.HasSuffix(p, ".log"):
			s := evenstand.Source{
				Name: strings.TrimSuffix(path.Base(p), ".log"), Files: []string{p}, Grade: evenstand.GradeA,
				ClockOffset: math.NaN(), ClockError: math.NaN(), Latency: math.NaN(),
			}
			if text, err := fs.ReadFile(in, path.Join(path.Dir(p), "notes.txt")); err == nil {
				s.Notes = []string{string(text)}
			}
			sources = append(sources, s)
			claimed = append(claimed, p)
		case path.Base(p) == "notes.txt":
			claimed = append(claimed, p)
		}
		return nil
	})
	return sources, claimed, unused, err
}

func (fake) Read(ctx context.Context, in fs.FS, src evenstand.Source, sink evenstand.Sink) (evenstand.Source, error) {
	f, err := in.Open(src.Files[0])
	if err != nil {
		return src, err
	}
	defer f.Close()
	sc := bufio.NewScanner(f)
	line := 0
	var seeds []evenstand.Seed
	for sc.Scan() {
		line++
		w := strings.Fields(sc.Text())
		sink.Progress(int64(len(sc.Text()) + 1))
		var n int64
		if len(w) > 1 {
			n, err = strconv.ParseInt(w[1], 10, 64)
		}
		if len(w) < 2 || err != nil {
			sink.Unused(evenstand.Unused{File: src.Files[0], Line: line, Offset: -1, Count: 1, Of: "lines", Why: "not a line of a test log"})
			continue
		}
		t := evenstand.Micros(n)
		num := func(i int) float64 { v, _ := strconv.ParseFloat(w[i], 64); return v }
		err = nil
		switch w[0] {
		case "s":
			seeds = append(seeds, evenstand.Seed{T: t, Row: int16(num(2))})
			if len(seeds) == 500 {
				err = sink.Seeds(seeds)
				seeds = seeds[:0]
			}
		case "f":
			err = sink.Fixes([]evenstand.Fix{evenstand.NewFix(t, num(2), num(3))})
		case "r":
			q, _ := evenstand.ParseQuantity(w[2])
			e, _ := evenstand.ParseElement(strings.ReplaceAll(w[3], "_", " "))
			err = sink.Readings([]evenstand.Reading{{T: t, Quantity: q, Element: e, Value: num(4)}})
		case "c":
			c := evenstand.NewCard()
			c.Rows = int(n)
			c.Tanks = []evenstand.Tank{{Number: 1, Capacity: math.NaN(), Feeds: evenstand.Rows{1, 2}}}
			src.Card, src.Planter = &c, strings.Join(w[2:], " ")
		case "j":
			err = sink.Entries([]evenstand.Entry{{T: t, What: w[2], Note: strings.Join(w[3:], " "), Value: math.NaN()}})
		}
		if err != nil {
			return src, err
		}
		if line%1000 == 0 && ctx.Err() != nil {
			return src, ctx.Err()
		}
	}
	if err := sink.Seeds(seeds); err != nil {
		return src, err
	}
	return src, sc.Err()
}

const (
	fakeSpeed = 2.0                   // m/s
	fakePause = 30 * evenstand.Second // a longer one without a seed ends a pass
)

// settle is a small deriver: passes are parted by pauses, the planter goes at
// 2 m/s, a row without a seed in a pass where others have some has stopped.
func settle(ctx context.Context, day pipeline.Day, out pipeline.Output) (pipeline.Result, error) {
	res := pipeline.Result{AsOf: evenstand.NoTime, Until: evenstand.NoTime}
	end := evenstand.NoTime
	if t, err := time.ParseInLocation("2006-01-02", string(day.Date), day.Zone); err == nil {
		end = evenstand.FromTime(t.AddDate(0, 0, 1))
	}
	var pass []evenstand.Seed
	index := int32(0)
	area := 0.0
	finish := func() error {
		if len(pass) == 0 {
			return nil
		}
		start, last := pass[0].T, pass[len(pass)-1].T
		if start >= end { // belongs to the next day
			pass = nil
			return nil
		}
		slices.SortStableFunc(pass, func(a, b evenstand.Seed) int {
			if a.Row != b.Row {
				return int(a.Row) - int(b.Row)
			}
			return int(a.T - b.T)
		})
		p := evenstand.Pass{
			Index: index, Key: fmt.Sprintf("%s %s", day.Planter, start.Time().Format(time.RFC3339)), Number: int(index) + 1, Planter: day.Planter,
			Field: "north place", Start: start, End: last, S1: (last - start).Seconds() * fakeSpeed, Heading: math.NaN(), PosError: math.NaN(),
		}
		placed := make([]evenstand.PlacedSeed, len(pass))
		cells := map[[2]int32]*evenstand.Stretch{}
		var stretches []evenstand.Stretch
		rows := map[int16]bool{}
		for i, s := range pass {
			at := int32((s.T - start).Seconds() * fakeSpeed * 1000)
			placed[i] = evenstand.PlacedSeed{T: s.T, Row: s.Row, S: at, Gap: -1, Class: evenstand.NoClass, Cell: -1, Off: evenstand.NoOff}
			if i > 0 && pass[i-1].Row == s.Row {
				gap := at - placed[i-1].S
				placed[i].Gap = gap
				placed[i].Class = evenstand.Single
				if gap > 240 {
					placed[i].Class, placed[i].Missing = evenstand.Skip, uint8(min(255, gap/160))
				} else if gap <= 80 {
					placed[i].Class, placed[i].Double = evenstand.Multiple, true
				}
			}
			k := [2]int32{int32(s.Row), at / 15000}
			if cells[k] == nil {
				stretches = append(stretches, evenstand.Stretch{
					Pass: index, Row: s.Row, K: k[1], Length: 15, Way: 15, T: s.T, Grade: evenstand.GradeA, Target: 0.16,
					LoadP5: float32(math.NaN()), Liquid: float32(math.NaN()), Granular: float32(math.NaN()), PosError: float32(math.NaN()),
				})
				cells[k] = &evenstand.Stretch{}
			}
			st := &stretches[len(stretches)-1]
			st.Seeds++
			st.Due += 1 + float32(placed[i].Missing)
			st.Skips += float32(placed[i].Missing)
			if placed[i].Class == evenstand.Single {
				st.Singles.Add(float64(placed[i].Gap) / 1000)
			}
			rows[s.Row] = true
		}
		area += p.S1 * float64(len(rows)) * 0.762
		for r := int16(1); r <= int16(day.Card.Rows); r++ {
			if rows[r] {
				continue
			}
			until := last
			res.Findings = append(res.Findings, evenstand.Finding{
				Kind: evenstand.KindRowStopped, Stage: evenstand.Raised, Rows: evenstand.Rows{int(r)}, Since: start, SinceLow: start,
				SinceHigh: start, Until: &until, Alarm: start + evenstand.Second, Passes: []evenstand.PassRef{{Key: p.Key, Number: p.Number}}, Sentence: fmt.Sprintf("Row %d stopped.", r),
			})
		}
		if last >= end {
			res.Until = last + 1
		}
		index++
		pass = pass[:0]
		return out.Pass(p, [][]evenstand.PlacedSeed{placed}, stretches, nil)
	}
	var track []evenstand.TrackPoint
	var readings []evenstand.Reading
	for _, s := range day.Streams {
		var fail error
		if s.Seeds != nil {
			err := s.Seeds(func(seeds []evenstand.Seed) bool {
				for _, x := range seeds {
					if day.From != evenstand.NoTime && x.T < day.From {
						continue
					}
					if len(pass) > 0 && x.T-pass[len(pass)-1].T > fakePause {
						if fail = finish(); fail != nil {
							return false
						}
					}
					if x.T < end {
						res.AsOf = max(res.AsOf, x.T)
					}
					pass = append(pass, x)
				}
				return ctx.Err() == nil
			})
			if err != nil || fail != nil {
				return res, fmt.Errorf("%w %w", err, fail)
			}
			if err := finish(); err != nil {
				return res, err
			}
		}
		if s.Fixes != nil {
			if err := s.Fixes(func(fs []evenstand.Fix) bool {
				for _, f := range fs {
					if f.T < end {
						track = append(track, evenstand.TrackPoint{T: f.T, Pass: -1, Lat: f.Lat, Lon: f.Lon, Speed: fakeSpeed})
					}
				}
				return true
			}); err != nil {
				return res, err
			}
		}
		if s.Readings != nil {
			if err := s.Readings(func(rs []evenstand.Reading) bool {
				for _, r := range rs {
					if r.T < end {
						readings = append(readings, r)
					}
				}
				return true
			}); err != nil {
				return res, err
			}
		}
		if s.Entries != nil {
			if err := s.Entries(func(es []evenstand.Entry) bool {
				for _, e := range es {
					if e.T < end {
						res.Notes = append(res.Notes, e.What+": "+e.Note)
					}
				}
				return true
			}); err != nil {
				return res, err
			}
		}
		res.Clocks = append(res.Clocks, pipeline.Clock{Source: s.Source.Name, Offset: 0, Error: 0.5})
	}
	slices.SortStableFunc(track, func(a, b evenstand.TrackPoint) int { return int(a.T - b.T) })
	slices.SortStableFunc(readings, func(a, b evenstand.Reading) int { return int(a.T - b.T) })
	res.Planted = []pipeline.Planted{{Field: "north place", Area: area}}
	if err := out.Track(track); err != nil {
		return res, err
	}
	return res, out.Readings(readings)
}

// chicago is the zone of all test books.
var chicago = func() *time.Location {
	z, err := time.LoadLocation("America/Chicago")
	if err != nil {
		panic(err)
	}
	return z
}()

// at gives an instant of May 2026 in Chicago.
func at(day, hour, minute int) evenstand.Micros {
	return evenstand.FromTime(time.Date(2026, 5, day, hour, minute, 0, 0, chicago))
}

// passLog writes the log of a pass: rows rows, a seed every 80 ms (0.16 m) on
// each but for the row stopped, a skip here and there, a fix and a reading a
// second.
func passLog(b *bytes.Buffer, start evenstand.Micros, seconds, rows, stopped int, r *rand.Rand) {
	type ev struct {
		t    evenstand.Micros
		text string
	}
	var evs []ev
	for row := 1; row <= rows; row++ {
		if row == stopped {
			continue
		}
		for i := range int64(seconds) * 1_000_000 / 80_000 {
			t := start + evenstand.Micros(i*80_000+int64(row)*100) + evenstand.Micros(r.IntN(9000))
			if r.IntN(100) == 0 {
				continue
			}
			evs = append(evs, ev{t, fmt.Sprintf("s %d %d\n", t, row)})
		}
	}
	for i := range seconds {
		t := start + evenstand.Micros(i)*evenstand.Second
		evs = append(evs, ev{t, fmt.Sprintf("f %d %.7f %.7f\n", t, 41.5+float64(i)*1e-5, -93.5)})
		evs = append(evs, ev{t, fmt.Sprintf("r %d vacuum left %d\n", t, 5000+i%7)})
	}
	slices.SortStableFunc(evs, func(a, b ev) int { return int(a.t - b.t) })
	for _, e := range evs {
		b.WriteString(e.text)
	}
}

// seasonLog writes a log of some days from the given one: two passes a day,
// row 3 stopped on the second.
func seasonLog(first, days int) []byte {
	var b bytes.Buffer
	r := rand.New(rand.NewPCG(uint64(first), 7))
	for d := first; d < first+days; d++ {
		passLog(&b, at(d, 9, 0), 20, 4, 0, r)
		passLog(&b, at(d, 9, 5), 20, 4, 3, r)
	}
	return b.Bytes()
}

const card = `card = 1
name = "four rows"
rows = 4
row_spacing_m = 0.762
`

const field = `{"type":"Feature","properties":{"name":"north place"},"geometry":{"type":"Polygon","coordinates":[[[-93.6,41.4],[-93.4,41.4],[-93.4,41.6],[-93.6,41.4]]]}}`

func settings() evenstand.Settings {
	s := evenstand.NewSettings()
	s.Name, s.Zone, s.Price = "test season", "America/Chicago", 0.177
	return s
}

var formats = []evenstand.Format{fake{}}

func options() book.Options {
	return book.Options{Derive: settle, Now: func() time.Time { return time.Date(2026, 6, 1, 12, 0, 0, 0, time.UTC) }}
}

// newBook makes a book with the test card and field and opens it.
func newBook(t testing.TB) *book.Book {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "season")
	if err := book.Create(dir, settings(), []book.File{{Name: "four.toml", Data: []byte(card)}}, []book.File{{Name: "north.geojson", Data: []byte(field)}}); err != nil {
		t.Fatal(err)
	}
	return open(t, dir)
}

func open(t testing.TB, dir string) *book.Book {
	t.Helper()
	b, err := book.Open(dir, options())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.Close() })
	return b
}

// folder writes files into a new folder.
func folder(t testing.TB, files map[string][]byte) string {
	t.Helper()
	dir := t.TempDir()
	for name, data := range files {
		p := filepath.Join(dir, name)
		if err := os.MkdirAll(filepath.Dir(p), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(p, data, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

func read(t testing.TB, b *book.Book, paths ...string) book.Report {
	t.Helper()
	rep, err := b.Read(context.Background(), paths, formats, book.ReadOptions{})
	if err != nil {
		t.Fatal(err)
	}
	return rep
}

// sound fails the test when Check finds something.
func sound(t testing.TB, b *book.Book) {
	t.Helper()
	faults, err := b.Check(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range faults {
		t.Errorf("check: %s", f)
	}
}

// dataOf gives all files under data/ with their bytes.
func dataOf(t testing.TB, dir string) map[string]string {
	t.Helper()
	files := map[string]string{}
	root := filepath.Join(dir, "data")
	err := filepath.WalkDir(root, func(p string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := os.ReadFile(p)
		rel, _ := filepath.Rel(root, p)
		files[filepath.ToSlash(rel)] = string(data)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return files
}

// sameData compares data/ of two books.
func sameData(t testing.TB, want, got map[string]string) {
	t.Helper()
	for name := range want {
		if g, ok := got[name]; !ok {
			t.Errorf("data/%s is missing", name)
		} else if g != want[name] {
			t.Errorf("data/%s has other bytes", name)
		}
	}
	for name := range got {
		if _, ok := want[name]; !ok {
			t.Errorf("data/%s is too many", name)
		}
	}
}

func daysOf(rep book.Report) string {
	var ds []string
	for _, d := range rep.Days {
		ds = append(ds, string(d.Day))
	}
	return strings.Join(ds, " ")
}

// addEntry records a journal line of a planter.
func addEntry(ctx context.Context, b *book.Book, planter string, e evenstand.Entry) error {
	_, err := b.AddNote(ctx, planter, []evenstand.Entry{e}, "")
	return err
}

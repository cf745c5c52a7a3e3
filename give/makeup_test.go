package give_test

import (
	"errors"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"evenstand"
	"evenstand/book"
	"evenstand/core/ground"
	"evenstand/core/makeup"
	"evenstand/core/record"
	"evenstand/format/iso11783"
	"evenstand/format/plain"
	"evenstand/give"
	"evenstand/pipeline"
	"evenstand/sim"
)

// short is a made-up day on which liquid was missed: on a row for a while, halved on
// another, and on all of them for a minute.
var short = `name = "short of liquid"
seed = %d
hours = %g
[planter]
name = "12-row, trailed"
rows = 12
[drive]
speed_m_s = 2.24
[output]
liquid_l_ha = 47
truth_each = 4
[[field]]
name = "home place"
shape = "rect"
passes = %d
length_m = 600
headlands = 2
at = [41.6, -93.5]
heading_deg = %g
[[fault]]
kind = "liquid-row-low"
rows = "5"
at_h = 0.50013
seconds = 700
strength = 0.01
[[fault]]
kind = "liquid-row-low"
rows = "9"
at_h = 0.83337
seconds = 600
strength = 0.5
[[fault]]
kind = "seed-without-liquid"
at_h = 1.08219
seconds = 45
strength = 0.01
` + bursts

// bursts are rows that are blocked for a while, at no whole second: the boxes log at
// whole ones.
var bursts = func() (s string) {
	for i := range 12 {
		if row := 1 + (i*5)%12; row != 5 && row != 9 {
			s += fmt.Sprintf("[[fault]]\nkind = \"liquid-row-low\"\nrows = \"%d\"\nat_h = %.6f\nseconds = %.2f\nstrength = 0.01\n", row, 0.2+float64(i)*0.0531234, 30.37+7.13*float64(i))
		}
	}
	return s
}()

// missedDay simulates such a day and reads its logs.
func missedDay(t *testing.T, seed uint64, hours float64, passes int, heading float64) (*book.Book, string) {
	t.Helper()
	dir := t.TempDir()
	s, err := sim.Parse(fmt.Sprintf(short, seed, hours, passes, heading))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := sim.Run(t.Context(), s, filepath.Join(dir, "day"), nil); err != nil {
		t.Fatal(err)
	}
	read := func(name string) []byte {
		data, err := os.ReadFile(filepath.Join(dir, "day", name))
		if err != nil {
			t.Fatal(err)
		}
		return data
	}
	set := evenstand.NewSettings()
	set.Name, set.Zone, set.Price, set.Yield = "spring", "America/Chicago", 4.5/25.4, 1.2
	if err := book.Create(filepath.Join(dir, "spring"), set, []book.File{{Name: "card.toml", Data: read("card.toml")}}, []book.File{{Name: "home-place.geojson", Data: read("fields/home-place.geojson")}}); err != nil {
		t.Fatal(err)
	}
	b, err := book.Open(filepath.Join(dir, "spring"), book.Options{Derive: pipeline.Settle})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.Close() })
	if _, err := b.Read(t.Context(), []string{filepath.Join(dir, "day", "boxes")}, []evenstand.Format{plain.Format{}}, book.ReadOptions{}); err != nil {
		t.Fatal(err)
	}
	return b, dir
}

// next is a side-dresser of as many rows, each set by itself.
func next() book.MakeUpWish {
	return book.MakeUpWish{Field: "home place", Rows: 12, Parts: 12, Planned: 40, Content: 1.14, Holds: 2.99, Name: "UAN 28"}
}

func planOf(t *testing.T, b *book.Book, w book.MakeUpWish) *book.MakeUp {
	t.Helper()
	m, err := b.MakeUp(t.Context(), w, record.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// rowTruth is where a row truly went, by time: from its seeds.
type rowTruth []sim.SeedTruth

// fall is how long a seed falls from the sensor, as the card says: the seed of now
// lies where the row line comes to then.
const fall = 0.15

// between gives the places of a row from one time to another.
func (r rowTruth) between(from, to float64) (xs rowTruth) {
	for _, s := range r {
		if at := s.T.Seconds() + fall; at >= from && at <= to {
			xs = append(xs, s)
		}
	}
	return xs
}

// The plan makes up what truly was missed, within 2 % of product, and where it truly
// was, within 1 m.
func TestPlanMakesUpTheTruth(t *testing.T) {
	seeds, hours, passes := []uint64{7311, 7312}, 1.3, 24
	if n, err := strconv.Atoi(os.Getenv("EVENSTAND_DAYS")); err == nil {
		first := uint64(12501)
		if x, err := strconv.ParseUint(os.Getenv("EVENSTAND_STREAM"), 10, 64); err == nil {
			first = x
		}
		seeds = nil
		for k := range n {
			seeds = append(seeds, first+uint64(k))
		}
	}
	var missed, made, off, offs float64
	var far []float64
	for k, seed := range seeds {
		b, dir := missedDay(t, seed, hours, passes, []float64{0, 37, 90, 141}[k%4])
		m := planOf(t, b, next())
		truth, err := sim.ReadTruth(filepath.Join(dir, "day"))
		if err != nil {
			t.Fatal(err)
		}
		all, err := sim.ReadSeeds(filepath.Join(dir, "day"))
		if err != nil {
			t.Fatal(err)
		}
		rows := map[int]rowTruth{}
		for _, s := range all {
			rows[s.Row] = append(rows[s.Row], s)
		}
		const width = 30 * evenstand.Inch
		for _, f := range truth.Faults {
			if f.Missed == 0 {
				continue
			}
			missed += f.Missed / 1000 * m.Plan.M.Worth
			on := f.Rows
			if len(on) == 0 {
				for r := range 12 {
					on = append(on, r+1)
				}
			}
			for _, r := range on {
				way := rows[r].between(f.From.Seconds(), f.To.Seconds())
				for i := 1; i < len(way); i++ {
					if way[i].Pass != way[i-1].Pass {
						continue
					}
					x0, y0 := m.Frame.ToLocal(way[i-1].Lat, way[i-1].Lon)
					x1, y1 := m.Frame.ToLocal(way[i].Lat, way[i].Lon)
					made += (m.Plan.RateAt((x0+x1)/2, (y0+y1)/2) - m.Plan.M.Planned) * math.Hypot(x1-x0, y1-y0) * width
				}
				// Where it began and where it ended: the plan's rate crosses half of what
				// is owed there.
				for _, edge := range []struct{ at, in float64 }{{f.From.Seconds(), 1}, {f.To.Seconds(), -1}} {
					if d, ok := crossing(m, rows[r], edge.at, edge.in); ok {
						far = append(far, math.Abs(d))
						offs += d
					}
				}
			}
		}
		off += m.Plan.Unmet[makeup.MachineMost]
	}
	slices.Sort(far)
	mean := 0.0
	for _, d := range far {
		mean += d / float64(len(far))
	}
	t.Logf("%d days: %.2f L of the next product missed, %.2f L made up there: %+.2f %%; %d ends of strips, off by %.2f m on average, 9 of 10 by less than %.2f m, all together by %+.2f m", len(seeds), 1000*missed, 1000*made, 100*(made/missed-1), len(far), mean, far[len(far)*9/10], offs/float64(len(far)))
	if math.Abs(made/missed-1) > 0.02 {
		t.Errorf("made up %.3f of what was missed", made/missed)
	}
	if mean > 1 {
		t.Errorf("strips end %.2f m from where they do", mean)
	}
}

// crossing gives how far along a row the plan begins (in 1) or ends (-1) to make up,
// from where it truly does; false where that is not within its pass.
func crossing(m *book.MakeUp, row rowTruth, at, in float64) (float64, bool) {
	const reach = 12.0 // m
	i := slices.IndexFunc(row, func(s sim.SeedTruth) bool { return s.T.Seconds()+fall >= at })
	if i <= 0 || i >= len(row)-1 || row[i].T.Seconds()-row[i-1].T.Seconds() > 1 {
		return 0, false
	}
	xy := func(k int) (float64, float64) { return m.Frame.ToLocal(row[k].Lat, row[k].Lon) }
	x0, y0 := xy(i)
	along := func(dir int) (out [][3]float64) {
		for k := i; k > 0 && k < len(row)-1 && row[k].Pass == row[i].Pass; k += dir {
			x, y := xy(k)
			if d := math.Hypot(x-x0, y-y0); d <= reach {
				out = append(out, [3]float64{x, y, float64(dir) * d})
			} else {
				return out
			}
		}
		return nil // the pass ends before
	}
	back, ahead := along(-1), along(1)
	if back == nil || ahead == nil {
		return 0, false
	}
	slices.Reverse(back)
	way := append(back, ahead...)
	more := func(p [3]float64) float64 { return m.Plan.RateAt(p[0], p[1]) - m.Plan.M.Planned }
	full := more(way[len(way)-1])
	if in < 0 {
		full = more(way[0])
	}
	if full < 0.05*m.Plan.M.Planned*m.Plan.M.Worth {
		return 0, false
	}
	for k := 1; k < len(way); k++ {
		a, b := more(way[k-1]), more(way[k])
		if in > 0 && a < full/2 && b >= full/2 || in < 0 && a >= full/2 && b < full/2 {
			return (way[k-1][2] + way[k][2]) / 2, true
		}
	}
	return reach, true
}

// Task data of a plan come back as they were, and hold what the plan holds.
func TestPlanAsTaskData(t *testing.T) {
	b, _ := missedDay(t, 7313, 1.3, 24, 37)
	m := planOf(t, b, next())
	want := m.Plan.Made - m.Plan.Spared
	for _, zones := range []bool{false, true} {
		dir := filepath.Join(t.TempDir(), "TASKDATA")
		g, err := give.Prescribe(m, "spring", dir, zones)
		if err != nil {
			t.Fatal(err)
		}
		sets, unused, err := iso11783.Open(t.Context(), os.DirFS(dir))
		if err != nil || len(sets) != 1 || len(unused) > 0 {
			t.Fatal(err, unused)
		}
		task := sets[0].Tasks[0]
		got, err := sets[0].ReadGrid(task)
		if err != nil {
			t.Fatal(err)
		}
		more := 0.0
		_, north, _ := distance(got.South, got.West, got.South+got.CellNorth, got.West)
		east, _, _ := distance(got.South, got.West, got.South, got.West+got.CellEast)
		for j := range got.Rows {
			for i := range got.Cols {
				k := j*got.Cols + i
				v := got.Value(i, j, 0)
				if g.Values[k] == iso11783.Missing {
					if v != 0 && !math.IsNaN(v) {
						t.Fatalf("outside of the field stands %g", v)
					}
					continue
				}
				if g.Values[k] != got.Values[k] {
					t.Fatalf("cell %d,%d: %d, want %d", i, j, got.Values[k], g.Values[k])
				}
				more += (v*1e-9 - m.Plan.M.Planned) * north * east
			}
		}
		tol := 0.02
		if zones { // rates taken together to 250 steps
			tol = 0.05
		}
		if len(task.Zones) > 255 || math.Abs(more/want-1) > tol {
			t.Errorf("zones %v: %d of them, %.4f m3 more than planned in the grid, %.4f in the plan", zones, len(task.Zones), more, want)
		}
		t.Logf("zones %v: %d by %d cells of %.2f by %.2f m, %d zones, %+.2f %% of product", zones, got.Cols, got.Rows, north, east, len(task.Zones), 100*(more/want-1))
	}
}

func distance(lat0, lon0, lat1, lon1 float64) (east, north, d float64) {
	f := ground.NewFrame(lat0, lon0)
	east, north = f.ToLocal(lat1, lon1)
	return east, north, math.Hypot(east, north)
}

// Zones come back from GDAL with their rates and their ground: a centimetre, to which
// files round, is 1 % of a row's width either way.
func TestPlanReadByGDAL(t *testing.T) {
	if _, err := exec.LookPath("ogrinfo"); err != nil {
		t.Skip("no ogrinfo here (Debian's gdal-bin): zones are not read by GDAL")
	}
	b, _ := missedDay(t, 7313, 1.3, 24, 37)
	m := planOf(t, b, next())
	out := t.TempDir()
	area := 0.0
	for _, z := range m.Sheet.Zones {
		area += z.Area
	}
	for _, as := range []give.As{give.GeoJSON, give.Shapefile} {
		made, err := give.Plan(t.Context(), b, m, as, "zones", into(out))
		if err != nil {
			t.Fatal(err)
		}
		file := filepath.Join(out, made.Files[0])
		for _, f := range made.Files {
			if strings.HasSuffix(f, ".shp") {
				file = filepath.Join(out, f)
			}
		}
		said, err := exec.Command("ogrinfo", "-q", "-dialect", "SQLite", "-sql", "SELECT count(*) AS n, sum(ST_Area(geometry, 1)) AS ground, sum(area_m2) AS told, max(rate) AS most FROM zones", file).CombinedOutput()
		if err != nil {
			t.Fatalf("%v: %s", err, said)
		}
		get := func(name string) float64 {
			x := regexp.MustCompile(name + ` \(\w+\) = ([\d.eE+-]+)`).FindSubmatch(said)
			if x == nil {
				t.Fatalf("no %s in %s", name, said)
			}
			return number(t, string(x[1]))
		}
		most := 0.0
		for _, z := range m.Sheet.Zones {
			most = max(most, z.Rate)
		}
		if get("n") != float64(len(m.Sheet.Zones)) || math.Abs(get("told")/area-1) > 1e-6 || math.Abs(get("ground")/area-1) > 0.005 || math.Abs(get("most")-most) > 1e-3 {
			t.Errorf("%s: GDAL reads %s; %d zones of %.1f m2, the most %g", as, said, len(m.Sheet.Zones), area, most)
		}
	}
}

// What cannot be planned says what is wanted.
func TestPlanNot(t *testing.T) {
	b, _ := open(t)
	for want, w := range map[string]book.MakeUpWish{
		"no field":          {Field: "nowhere", Rows: 12},
		"no liquid and no":  {Field: "home place", Rows: 12},
		"no liquid was log": {Field: "home place", Product: "liquid", Rows: 12},
	} {
		if _, err := b.MakeUp(t.Context(), w, record.Options{}); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("want %q: %v", want, err)
		}
	}
	b, _ = missedDay(t, 7314, 1.2, 12, 0)
	for want, change := range map[string]func(w *book.MakeUpWish){
		"only one of the two":   func(w *book.MakeUpWish) { w.Holds = 0 },
		"not measured alike":    func(w *book.MakeUpWish) { w.Dry, w.Content, w.Holds = true, 0, 0 },
		"machine of 0 rows":     func(w *book.MakeUpWish) { w.Rows = 0 },
		"parts of 12 rows":      func(w *book.MakeUpWish) { w.Parts = 13 },
		"no less than the plan": func(w *book.MakeUpWish) { w.Most = 30 },
		"limit of salt":         func(w *book.MakeUpWish) { w.Furrow, w.Spacing = "sandy", 22 },
	} {
		w := next()
		change(&w)
		if _, err := b.MakeUp(t.Context(), w, record.Options{}); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("want %q: %v", want, err)
		}
	}
	// K-State's limit for 30-in rows in medium to fine soil is 8 lb/ac of N and K2O:
	// 8 / 1.14 = 7.0 gal/ac of 10-34-0 (R17).
	w := next()
	w.Furrow, w.Planned, w.Holds = "medium-fine", 5, 1.14
	m := planOf(t, b, w)
	if got := m.Plan.M.Beside * evenstand.Acre / evenstand.Gallon; math.Abs(got-7.0) > 0.05 {
		t.Errorf("the limit of salt is %.2f gal/ac, want 7.0", got)
	}
	// Nothing to make up is no error, and no file.
	calm := next()
	calm.Share = 0.9
	calm.Rows, calm.Parts = 12, 1
	if m := planOf(t, b, calm); m.Sheet.Title == "" {
		t.Error("no title")
	}
	none := *planOf(t, b, next())
	none.Sheet.Zones = nil
	if _, err := give.Plan(t.Context(), b, &none, give.CSV, "zones", into(t.TempDir())); !errors.Is(err, give.ErrEmpty) {
		t.Error(err)
	}
}

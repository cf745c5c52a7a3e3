package sim_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"fmt"
	"io/fs"
	"maps"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"testing"

	"evenstand"
	"evenstand/format/bus"
	"evenstand/format/iso11783"
	"evenstand/format/plain"
	"evenstand/sim"
)

// small is a day short enough for a test: two rows of headroom, no breaks.
const small = `
name = "small"
seed = 5
hours = 0.5
[planter]
rows = 6
[timetable]
lunch = ""
[[field]]
name = "north place"
passes = 6
length_m = 300
headlands = 0
`

func parse(t testing.TB, text string) sim.Scenario {
	t.Helper()
	s, err := sim.Parse(text)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func run(t testing.TB, text string) (string, sim.Summary) {
	t.Helper()
	out := filepath.Join(t.TempDir(), "out")
	sum, err := sim.Run(context.Background(), parse(t, text), out, nil)
	if err != nil {
		t.Fatal(err)
	}
	return out, sum
}

// digest hashes a folder: names and contents.
func digest(t *testing.T, dir string) string {
	t.Helper()
	h := sha256.New()
	err := filepath.WalkDir(dir, func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := os.ReadFile(name)
		rel, _ := filepath.Rel(dir, name)
		fmt.Fprintf(h, "%s %d ", rel, len(b))
		h.Write(b)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return fmt.Sprintf("%x", h.Sum(nil))
}

const everything = small + `
[output]
grade = "A"
grade_b_from = "07:46"
grade_b_to = "08:30"
force_hz = 1
[[fault]]
kind = "blocked-cell"
rows = "2"
at_h = 0.02
places = 3000
[[fault]]
kind = "low-vacuum"
rows = "right"
at_h = 0.05
minutes = 5
[[fault]]
kind = "starved-row"
rows = "3"
at_h = 0.03
[[fault]]
kind = "dust"
rows = "1"
at_h = 0.03
minutes = 10
[[fault]]
kind = "fan-restart"
at_h = 0.1
`

func TestSameSeedSameBytes(t *testing.T) {
	a, _ := run(t, everything)
	was := runtime.GOMAXPROCS(1)
	b, _ := run(t, everything)
	runtime.GOMAXPROCS(was)
	if digest(t, a) != digest(t, b) {
		t.Error("two runs of one scenario differ")
	}
	c, _ := run(t, strings.Replace(everything, "seed = 5", "seed = 6", 1))
	if digest(t, a) == digest(t, c) {
		t.Error("another seed gave the same day")
	}
}

// seedLines gives the lines of seeds.csv by row.
func seedLines(t *testing.T, out string) map[string][]byte {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(out, "boxes", "seed", "seeds.csv"))
	if err != nil {
		t.Fatal(err)
	}
	rows := map[string][]byte{}
	for _, line := range bytes.Split(b, []byte("\n")) {
		if at, row, ok := bytes.Cut(line, []byte(",")); ok {
			rows[string(row)] = append(append(rows[string(row)], at...), '\n')
		}
	}
	return rows
}

// Common random numbers: a fault on one row leaves every other row as it was,
// and before it begins its own row too.
func TestFaultLeavesOtherRowsAlone(t *testing.T) {
	healthy, _ := run(t, small)
	before := seedLines(t, healthy)
	for _, fault := range []string{
		"kind = \"blocked-cell\"\nplaces = 3000\n", "kind = \"weak-cell\"\nplaces = 3000\n", "kind = \"row-skips\"\nplaces = 3000\n",
		"kind = \"row-doubles\"\nplaces = 3000\n", "kind = \"row-stopped\"\nseconds = 30\n", "kind = \"row-left-off\"\nseconds = 30\n",
		"kind = \"starved-row\"\nplaces = 3000\n", "kind = \"rock\"\n", "kind = \"recurring-upset\"\nevery_min = 1\n", "kind = \"row-bounce\"\nplaces = 3000\n", "kind = \"row-drive\"\nplaces = 3000\n",
		"kind = \"sensor-misses\"\nplaces = 3000\n", "kind = \"dust\"\nplaces = 3000\n",
		"kind = \"sensor-doubt\"\nvariant = \"drop-out\"\nplaces = 3000\n",
	} {
		out, sum := run(t, small+"[[fault]]\nrows = \"4\"\nat_h = 0.1\n"+fault)
		after := seedLines(t, out)
		for row, lines := range before {
			if same := bytes.Equal(lines, after[row]); same == (row == "4") {
				t.Errorf("%s: row %s changed = %v", sum.Faults[0].Kind, row, !same)
			}
		}
		early := func(lines []byte) (n int, text string) {
			for line := range strings.Lines(string(lines)) {
				if v, err := strconv.ParseFloat(strings.TrimSpace(line), 64); err == nil && v < sum.Faults[0].From.Seconds()-1 {
					n++
					text += line
				}
			}
			return n, text
		}
		n, a := early(before["4"])
		if _, b := early(after["4"]); a != b || n < 500 {
			t.Errorf("%s: row 4 differs before the fault began (%d seeds)", sum.Faults[0].Kind, n)
		}
		// All else stays too: the track and every other box.
		for _, name := range []string{"guidance/track.csv"} {
			x, _ := os.ReadFile(filepath.Join(healthy, "boxes", name))
			y, err := os.ReadFile(filepath.Join(out, "boxes", name))
			if err != nil || !bytes.Equal(x, y) {
				t.Errorf("%s: %s differs", sum.Faults[0].Kind, name)
			}
		}
	}
}

// The difference that a fault makes between two days of the same seed is what
// its truth says.
func TestPlacesLostAreTheDifference(t *testing.T) {
	skips := func(out string, row int) (n int) {
		st, err := sim.ReadStretches(out)
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range st {
			if s.Row == row {
				n += s.Skips
			}
		}
		return n
	}
	healthy, _ := run(t, small)
	for _, fault := range []string{"kind = \"blocked-cell\"\nplaces = 3000\n", "kind = \"row-skips\"\nstrength = 8\nplaces = 3000\n", "kind = \"starved-row\"\nstrength = 0.02\nplaces = 3000\n", "kind = \"row-stopped\"\nvariant = \"tube\"\nseconds = 30\n"} {
		out, sum := run(t, small+"[[fault]]\nrows = \"4\"\nat_h = 0.1\n"+fault)
		f := sum.Faults[0]
		if got := skips(out, 4) - skips(healthy, 4); float64(got) != f.Lost || got <= 10 {
			t.Errorf("%s: %d more places empty, truth says %g", f.Kind, got, f.Lost)
		}
		back, err := sim.ReadTruth(out)
		if err != nil {
			t.Fatal(err)
		}
		if len(back.Faults) != 1 || back.Faults[0].Lost != f.Lost || len(back.Passes) != 6 || back.Day.Rows != 6 {
			t.Errorf("truth came back as %+v", back)
		}
	}
}

// Rates against what the scenario asks, within 4.5 standard errors of the
// binomial. Rows alike, nothing wanders; the rate term is off.
func TestRatesAreAsAsked(t *testing.T) {
	out, sum := run(t, small+`
[meter]
skip_percent = 2.0
double_percent = 1.5
row_sd = 0.0
stretch_sd = 0.0
minute_sd = 0.0
hour_sd = 0.0
rate_term = 0.0
vacuum_term = 0.0
vacuum_dbl_term = 0.0
[sensor]
miss_percent = 1.0
merge_percent = 0.0
dust_per_s = 0.2
`)
	st, err := sim.ReadStretches(out)
	if err != nil {
		t.Fatal(err)
	}
	var places, skips, doubles, seen, unseen, both int
	for _, s := range st {
		places += s.Places
		skips += s.Skips
		doubles += s.Doubles
		seen += s.Seen
		unseen += s.Unseen
		both += s.DoubleSeen
	}
	near := func(what string, got, n int, p float64) {
		t.Helper()
		if want, sd := float64(n)*p, math.Sqrt(float64(n)*p*(1-p)); math.Abs(float64(got)-want) > 4.5*sd {
			t.Errorf("%s: %d of %d, want %.0f ± %.0f", what, got, n, want, sd)
		}
	}
	if places < 60000 || float64(places) != sum.Day.Places {
		t.Fatalf("%d places, the day says %g", places, sum.Day.Places)
	}
	near("skips", skips, places, 0.02)
	near("doubles", doubles, places, 0.98*0.015)
	dropped := places - skips + doubles
	near("pulses missed", dropped-seen, dropped, 0.01)
	near("places without a pulse", unseen, places, 0.02+0.98*0.985*0.01+0.98*0.015*0.0001)
	near("doubles seen", both, doubles, 0.99*0.99)
	// All pulses of the file: seeds seen and dust, 0.2 a second and row.
	var lines int
	for _, l := range seedLines(t, out) {
		lines += bytes.Count(l, []byte("\n"))
	}
	lines-- // the header counts as a row
	dust, want := float64(lines-seen), 0.2*6*sum.Day.Hours*3600
	if math.Abs(dust-want) > 4.5*math.Sqrt(want) {
		t.Errorf("%g pulses of dust, want %.0f", dust, want)
	}
}

// A blocked cell empties one place in N; on odds, ×3 is ×3; 1.5 kPa less
// raises the odds by exp(0.55·1.5) = 2.28.
func TestFaultsAreAsStrongAsAsked(t *testing.T) {
	_, sum := run(t, small+`
[meter]
row_sd = 0.0
stretch_sd = 0.0
minute_sd = 0.0
hour_sd = 0.0
skip_percent = 2.0
rate_term = 0.0
[[fault]]
id = "cell"
kind = "weak-cell"
rows = "1"
strength = 0.6
[[fault]]
id = "skips"
kind = "row-skips"
rows = "2"
strength = 3
[[fault]]
id = "doubles"
kind = "row-doubles"
rows = "3"
strength = 5
[[fault]]
id = "vacuum"
kind = "low-vacuum"
rows = "right"
strength = 1.5
[[fault]]
id = "misses"
kind = "sensor-misses"
rows = "3"
strength = 0.1
`)
	times := func(p, k float64) float64 { o := p / (1 - p) * k; return o / (1 + o) }
	for _, f := range sum.Faults {
		n := f.Places * float64(len(f.Rows))
		var got, want float64
		switch f.ID {
		case "cell":
			got, want = f.Lost, n/40*0.6*0.98
		case "skips":
			got, want = f.Lost, n*(times(0.02, 3)-0.02)
		case "vacuum":
			got, want = f.Lost, n*(times(0.02, math.Exp(0.55*1.5))-0.02)
		case "doubles":
			got, want = f.Extra, n*0.98*(times(0.006, 5)-0.006)
		default:
			continue
		}
		// A tenth of slack beside chance: the vacuum itself wanders.
		if math.Abs(got-want) > 4.5*math.Sqrt(want)+0.05*want {
			t.Errorf("%s: %g lost or extra of %g, want %.0f", f.ID, got, n, want)
		}
	}
}

// Money by hand: 190 bu/ac at $4.50 on the ground of one place (6,272,640 /
// (30 in × 34,000) = 6.1496 in by 30 in, or 1/34,000 ac) is $0.025147 a place;
// times the places lost, times the day's true plants a skip.
func TestLossByHand(t *testing.T) {
	_, sum := run(t, small+"[[fault]]\nkind = \"row-stopped\"\nrows = \"2\"\nat_h = 0.1\nseconds = 40\n[[fault]]\nkind = \"row-doubles\"\nrows = \"5\"\nstrength = 20\n")
	c := sum.Day.Coefficients
	if c.SkipPlants < 0.5 || c.SkipPlants > 1 || c.DoublePlants < 0 || c.DoublePlants > 0.1 {
		t.Errorf("coefficients %+v out of the relations' ranges", c)
	}
	stop, dbl := sum.Faults[0], sum.Faults[1]
	if want := stop.Lost * 190 * 4.5 / 34000 * c.SkipPlants; math.Abs(stop.Loss.Yield-want) > 0.001*want || stop.Lost < 500 {
		t.Errorf("row-stopped: yield lost $%g, want $%.3f", stop.Loss.Yield, want)
	}
	// A bag of 80,000 at $300 is $0.00375 a seed.
	if want := dbl.Extra * 0.00375; math.Abs(dbl.Loss.Seed-want) > 0.001*want || dbl.Extra < 100 {
		t.Errorf("row-doubles: seed lost $%g, want $%.3f", dbl.Loss.Seed, want)
	}
}

// sink gathers a stream.
type sink struct {
	fixes    []evenstand.Fix
	seeds    []evenstand.Seed
	readings []evenstand.Reading
	entries  []evenstand.Entry
	unused   []evenstand.Unused
}

func (s *sink) Fixes(x []evenstand.Fix) error  { s.fixes = append(s.fixes, x...); return nil }
func (s *sink) Seeds(x []evenstand.Seed) error { s.seeds = append(s.seeds, x...); return nil }
func (s *sink) Readings(x []evenstand.Reading) error {
	s.readings = append(s.readings, x...)
	return nil
}

func (s *sink) Entries(x []evenstand.Entry) error { s.entries = append(s.entries, x...); return nil }
func (s *sink) Unused(u evenstand.Unused)         { s.unused = append(s.unused, u) }
func (s *sink) Progress(int64)                    {}

func read(t *testing.T, f evenstand.Format, dir string) (*sink, []evenstand.Source) {
	t.Helper()
	in := os.DirFS(dir)
	sources, _, unused, err := f.Find(context.Background(), in)
	if err != nil {
		t.Fatal(err)
	}
	s := &sink{unused: unused}
	for i, src := range sources {
		if sources[i], err = f.Read(context.Background(), in, src, s); err != nil {
			t.Fatal(err)
		}
	}
	return s, sources
}

// What the boxes write, the reader of the plain layout takes whole, and the
// card comes back as it was meant.
func TestPlainIsRead(t *testing.T) {
	out, sum := run(t, everything)
	got, sources := read(t, plain.Format{}, filepath.Join(out, "boxes"))
	if len(got.unused) > 0 {
		t.Errorf("not used: %+v", got.unused)
	}
	if int64(len(got.seeds)) != sum.Written || len(got.seeds) < 10000 {
		t.Errorf("%d seeds read, %d written", len(got.seeds), sum.Written)
	}
	for i := 1; i < len(got.seeds); i++ {
		if got.seeds[i].T < got.seeds[i-1].T {
			t.Fatalf("seed %d goes back in time", i)
		}
	}
	if len(sources) < 4 {
		t.Errorf("%d sources", len(sources))
	}
	kinds := map[evenstand.Quantity]int{}
	for _, r := range got.readings {
		kinds[r.Quantity]++
		if !r.Quantity.Plausible(r.Value) {
			t.Fatalf("%v %v = %g is not plausible", r.Quantity, r.Element, r.Value)
		}
	}
	for _, q := range []evenstand.Quantity{
		evenstand.ImplementLifted, evenstand.RowEnabled, evenstand.SeedRateTarget, evenstand.GroundSpeed, evenstand.Vacuum,
		evenstand.SeedCount, evenstand.SkipFraction, evenstand.DoubleFraction, evenstand.AppliedForce, evenstand.GaugeWheelLoad,
	} {
		if kinds[q] == 0 {
			t.Errorf("no reading of %v", q)
		}
	}
	b, err := os.ReadFile(filepath.Join(out, "card.toml"))
	if err != nil {
		t.Fatal(err)
	}
	card, err := plain.ReadCard("card.toml", b)
	if err != nil || card.Rows != 6 || card.Cells(6) != 40 || card.Side("right").String() != "4-6" || card.Geometry.HitchToRowLine != 7.1 {
		t.Errorf("card %+v, %v", card, err)
	}
	// The fan stood before the restart, and the weak side lost its vacuum.
	low := math.Inf(1)
	for _, r := range got.readings {
		if r.Quantity == evenstand.Vacuum {
			low = min(low, r.Value)
		}
	}
	if low != 0 {
		t.Errorf("lowest vacuum %g Pa, want 0 while the fan stood", low)
	}
}

// Task data reads back: every row's seeds, the speed, the state.
func TestTaskDataIsRead(t *testing.T) {
	out, sum := run(t, small+"[output]\ngrade = \"B\"\nlayout = \"task-data\"\n")
	got, _ := read(t, iso11783.Format{}, filepath.Join(out, "boxes"))
	if len(got.unused) > 0 {
		t.Errorf("not used: %+v", got.unused)
	}
	if len(got.fixes) < 600 {
		t.Errorf("%d fixes", len(got.fixes))
	}
	counts := map[evenstand.Quantity]int{}
	for _, r := range got.readings {
		counts[r.Quantity]++
	}
	for _, q := range []evenstand.Quantity{evenstand.SeedRate, evenstand.SeedRateTarget, evenstand.SkipFraction, evenstand.DoubleFraction, evenstand.RowWorking, evenstand.RowEnabled} {
		if counts[q] == 0 {
			t.Errorf("no reading of %v in %v", q, counts)
		}
	}
	if sum.Written != 0 {
		t.Error("seed times at grade B")
	}
}

// A capture of the bus reads back as task data of the same day do.
func TestBusIsRead(t *testing.T) {
	out, _ := run(t, small+"[output]\ngrade = \"B\"\nlayout = \"bus\"\n")
	got, _ := read(t, bus.Format{}, filepath.Join(out, "boxes"))
	out, _ = run(t, small+"[output]\ngrade = \"B\"\nlayout = \"task-data\"\n")
	want, _ := read(t, iso11783.Format{}, filepath.Join(out, "boxes"))
	if len(got.unused) > 0 || len(got.fixes) != len(want.fixes) || len(got.fixes) < 600 {
		t.Errorf("%d fixes, want %d; not used: %+v", len(got.fixes), len(want.fixes), got.unused)
	}
	sums := func(s *sink) map[evenstand.Quantity]float64 {
		m := map[evenstand.Quantity]float64{}
		for _, r := range s.readings {
			if r.Quantity == evenstand.SeedCount || r.Quantity == evenstand.RowEnabled || r.Quantity == evenstand.ImplementLifted {
				m[r.Quantity] += r.Value
			}
		}
		return m
	}
	if g, w := sums(got), sums(want); !maps.Equal(g, w) || w[evenstand.SeedCount] == 0 {
		t.Errorf("seeds, and states that were given: %v, want %v", g, w)
	}
}

// A box whose clock is off logs the receiver's time beside its own, as task
// data has it, so its positions stand at the same instants as with a true
// clock; without the receiver's time they would stand 90 s late.
func TestTaskDataCarriesTheReceiversTime(t *testing.T) {
	day := small + "[output]\ngrade = \"B\"\nlayout = \"task-data\"\n"
	right, _ := run(t, day)
	off, _ := run(t, day+"[box.rows]\noffset_s = 90.0\n")
	want, _ := read(t, iso11783.Format{}, filepath.Join(right, "boxes"))
	got, _ := read(t, iso11783.Format{}, filepath.Join(off, "boxes"))
	if len(got.fixes) != len(want.fixes) || len(want.fixes) == 0 {
		t.Fatalf("%d fixes, want %d", len(got.fixes), len(want.fixes))
	}
	for i := range want.fixes {
		if d := got.fixes[i].T - want.fixes[i].T; d < -1000 || d > 1000 { // task data counts milliseconds
			t.Fatalf("fix %d at %v, want %v", i, got.fixes[i].T, want.fixes[i].T)
		}
	}
}

// The track must show stops as they are: from full speed to nothing within a
// second (simulator.md section 10a), and seeds must not come while standing.
func TestStopsAreSharp(t *testing.T) {
	out, _ := run(t, small+"[drive]\nstop_share = 1.0\nspeed_m_s = 4.0\n[box.guidance]\nlatency_s = 0.0\n[sensor]\ndust_per_s = 0.0\n")
	got, _ := read(t, plain.Format{}, filepath.Join(out, "boxes"))
	stops := 0
	for i := 8; i < len(got.fixes); i++ {
		f := got.fixes
		if f[i].Speed == 0 && f[i-1].Speed > 0 {
			stops++
			if f[i-6].Speed < 3.5 {
				t.Errorf("1.2 s before the stop at %v the speed was %g", f[i].T, f[i-6].Speed)
			}
		}
	}
	if stops != 6 {
		t.Errorf("%d stops in 6 passes", stops)
	}
	still := map[int64]bool{}
	for i := 5; i < len(got.fixes); i++ { // standing for a second already
		if got.fixes[i].Speed == 0 && got.fixes[i-5].Speed == 0 {
			still[int64(got.fixes[i].T/(evenstand.Second/5))] = true
		}
	}
	for _, s := range got.seeds {
		if still[int64(s.T/(evenstand.Second/5))] {
			t.Fatalf("a seed at %v, standing", s.T)
		}
	}
}

// Seeds lie where the row went: along the pass they are one target spacing
// apart (the way of the bar over the places), across it the row's offset from
// its neighbours, by a projection of another package.
func TestSeedsLieOnTheirRows(t *testing.T) {
	out, sum := run(t, small+"[output]\ntruth_each = 1\n[drive]\nguidance_sd_m = 0.0\n")
	seeds, err := sim.ReadSeeds(out)
	if err != nil {
		t.Fatal(err)
	}
	truth, err := sim.ReadTruth(out)
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range truth.Passes {
		// 34,000 seeds an acre on 0.762 m: 4046.8564224/34000/0.762 = 0.156201 m.
		if want := p.Way / 0.156201; math.Abs(p.Places-want) > 0.004*want {
			t.Errorf("pass %d: %g places on %g m, want %.1f", p.Pass, p.Places, p.Way, want)
		}
	}
	const r = 6371000.0
	at := func(s sim.SeedTruth) (x, y float64) { // north-south passes at 41.6 degrees
		return (s.Lon + 93.5) * math.Pi / 180 * r * math.Cos(41.6*math.Pi/180), (s.Lat - 41.6) * math.Pi / 180 * r
	}
	mean := map[int]float64{}
	n := map[int]float64{}
	for _, s := range seeds {
		if _, y := at(s); s.Pass != 1 || y < 100 || y > 250 {
			continue
		}
		x, _ := at(s)
		mean[s.Row] += x
		n[s.Row]++
	}
	for row := 2; row <= 6; row++ {
		// A sphere of mean radius is 0.3 % off the ellipsoid at most.
		if d := mean[row]/n[row] - mean[row-1]/n[row-1]; math.Abs(d-0.762) > 0.005 || n[row] < 500 {
			t.Errorf("rows %d and %d lie %.3f m apart, want 0.762 (%g seeds)", row-1, row, d, n[row])
		}
	}
	if sum.Day.Area < 6*6*0.762*290 {
		t.Errorf("area %g", sum.Day.Area)
	}
}

// A box's clock runs ahead by its offset, and by its drift since the start;
// whether source.toml says the offset is the scenario's choice.
func TestClocks(t *testing.T) {
	plainRun, _ := run(t, small)
	a, _ := read(t, plain.Format{}, filepath.Join(plainRun, "boxes"))
	for _, declare := range []bool{true, false} {
		out, sum := run(t, small+fmt.Sprintf("[box.seed]\noffset_s = 7.3\ndrift_ppm = 40.0\ndeclare = %v\n", declare))
		b, sources := read(t, plain.Format{}, filepath.Join(out, "boxes"))
		if len(a.seeds) != len(b.seeds) {
			t.Fatalf("%d seeds, and %d with another clock", len(a.seeds), len(b.seeds))
		}
		for _, i := range []int{0, len(a.seeds) - 1} {
			since := (a.seeds[i].T - sum.Day.Start).Seconds()
			if got, want := (b.seeds[i].T - a.seeds[i].T).Seconds(), 7.3+40e-6*since; math.Abs(got-want) > 0.0011 {
				t.Errorf("seed %d is logged %.4f s late, want %.4f", i, got, want)
			}
		}
		for _, src := range sources {
			if len(src.Files) > 0 && strings.HasSuffix(src.Files[0], "seeds.csv") {
				if says := !math.IsNaN(src.ClockOffset); says != declare || declare && src.ClockOffset != 7.3 {
					t.Errorf("source.toml says an offset of %g; declared = %v", src.ClockOffset, declare)
				}
			}
		}
	}
}

func TestEveryScenarioRuns(t *testing.T) {
	var files []string
	for _, pattern := range []string{"../scenarios/*.toml", "../scenarios/one/*.toml"} {
		f, err := filepath.Glob(pattern)
		if err != nil {
			t.Fatal(err)
		}
		files = append(files, f...)
	}
	if len(files) < 20 {
		t.Fatalf("%d scenarios", len(files))
	}
	for _, name := range files {
		t.Run(filepath.Base(name), func(t *testing.T) {
			s, err := sim.Load(name)
			if err != nil {
				t.Fatal(err)
			}
			if strings.Contains(filepath.ToSlash(name), "/one/") && !strings.Contains(name, "stopped") {
				t.Skip("loaded only")
			}
			// The first half hour, which shows boxes, field and breaks; in the short form
			// the boxes.
			s.Hours = 0.5
			if testing.Short() {
				s.Hours = 0.1
			}
			if s.Random != nil {
				s.Random.FirstHours = s.Hours / 5
			}
			sum, err := sim.Run(context.Background(), s, filepath.Join(t.TempDir(), "out"), nil)
			if err != nil {
				t.Fatal(err)
			}
			if sum.Day.Places < 100000*s.Hours {
				t.Errorf("%g places in %g h", sum.Day.Places, s.Hours)
			}
		})
	}
}

// Drawn days hold what was asked: kinds, strengths that tests demand, rows of
// their own.
func TestRandomDaysAreDetectable(t *testing.T) {
	if testing.Short() {
		t.Skip("a whole day")
	}
	s, err := sim.Load("../scenarios/random-detectable.toml")
	if err != nil {
		t.Fatal(err)
	}
	s.Planter.Rows = 16
	s.Seed = 77
	sum, err := sim.Run(context.Background(), s, filepath.Join(t.TempDir(), "out"), nil)
	if err != nil {
		t.Fatal(err)
	}
	demanded := 0
	for _, f := range sum.Faults {
		if !f.Happened {
			t.Errorf("%s %s did not happen", f.ID, f.Kind)
		}
		if f.Detectable {
			demanded++
		} else if !f.Distract {
			t.Errorf("%s %s is too weak: %+v", f.ID, f.Kind, f)
		}
		for _, o := range sum.Faults {
			if o.ID != f.ID && o.Kind != sim.KindFanRestart && f.Kind != sim.KindFanRestart && f.Rows.Jaccard(o.Rows) > 0 && f.From < o.To && o.From < f.To {
				t.Errorf("%s and %s at once on rows %v and %v", f.ID, o.ID, f.Rows, o.Rows)
			}
		}
	}
	if demanded < 5 {
		t.Errorf("%d faults that tests demand", demanded)
	}
}

// A kind that is named with a variant is drawn with that one only.
func TestRandomVariant(t *testing.T) {
	_, sum := run(t, small+"[random]\nfaults = 2\nkinds = [\"sensor-doubt drop-out\", \"sensor-doubt misses\"]\nfirst_h = 0.01\n")
	got := map[string]bool{}
	for _, f := range sum.Faults {
		got[f.Kind+" "+f.Variant] = true
	}
	if len(got) != 2 || !got["sensor-doubt drop-out"] || !got["sensor-doubt misses"] {
		t.Errorf("drew %v", got)
	}
}

func TestBadScenarios(t *testing.T) {
	for _, tt := range []struct{ text, want string }{
		{"", "no field"},
		{"seeed = 3", "seeed"},
		{"seed = ", "line 1"},
		{small + "[[fault]]\nkind = \"row-skipz\"\nrows = \"3\"", "row-skipz"},
		{small + "[[fault]]\nkind = \"row-skips\"\nrows = \"3-9\"", "do not fit"},
		{small + "[[fault]]\nkind = \"row-skips\"", "say rows"},
		{small + "[[fault]]\nkind = \"weak-cell\"\nrows = \"3\"\nstrength = 3.0", "strength"},
		{small + "[[fault]]\nkind = \"row-stopped\"\nvariant = \"gremlin\"\nrows = \"3\"", "gremlin"},
		{small + "[[fault]]\nkind = \"row-stopped\"\nrows = \"3\"\nat = \"late\"", "late"},
		{small + "[output]\ngrade = \"C\"", "A or B"},
		{small + "[output]\nlayout = \"task-data\"", "grade"},
		{small + "[box.toaster]\noffset_s = 1.0", "toaster"},
		{small + "[drive]\nspeed_m_s = 40.0", "speed"},
		{strings.Replace(small, "length_m = 300", "length_m = 20", 1), "50 or more"},
		{small + "zone = 3", ""},
		{small + "[random]\nfaults = 3\nkinds = [\"gremlin\"]", "gremlin"},
		{small + "[random]\nfaults = 3\nkinds = [\"sensor-doubt gremlin\"]", "gremlin"},
		{small + "[random]\nfaults = 3", "kinds"},
	} {
		_, err := sim.Parse(tt.text)
		if err == nil {
			t.Errorf("no error for %q", tt.text)
		} else if !strings.Contains(err.Error(), tt.want) {
			t.Errorf("error %q lacks %q", err, tt.want)
		}
	}
}

func TestRunRefusesAFullFolderAndStops(t *testing.T) {
	out, _ := run(t, small)
	if _, err := sim.Run(context.Background(), parse(t, small), out, nil); err == nil || !strings.Contains(err.Error(), "not empty") {
		t.Errorf("second run into the same folder: %v", err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := sim.Run(ctx, parse(t, small), filepath.Join(t.TempDir(), "x"), nil); err == nil {
		t.Error("a stopped run reports success")
	}
}

func FuzzParse(f *testing.F) {
	f.Add(small)
	f.Add(everything)
	f.Add("seed = 1\n[[field]]\nname = \"a\"\npasses = 3\nlength_m = nan")
	f.Fuzz(func(t *testing.T, text string) {
		if s, err := sim.Parse(text); err == nil && (len(s.Fields) == 0 || s.Planter.Rows < 1) {
			t.Errorf("accepted %+v", s)
		}
	})
}

// BenchmarkRun makes forty minutes of sixteen rows, about 0.7 million seeds,
// and writes every file.
func BenchmarkRun(b *testing.B) {
	s, err := sim.Load("../scenarios/calm-short.toml")
	if err != nil {
		b.Fatal(err)
	}
	dir := b.TempDir()
	var seeds float64
	i := 0
	for b.Loop() {
		i++
		out := filepath.Join(dir, strconv.Itoa(i))
		sum, err := sim.Run(context.Background(), s, out, nil)
		if err != nil {
			b.Fatal(err)
		}
		seeds += sum.Day.Seen
		b.StopTimer()
		os.RemoveAll(out)
		b.StartTimer()
	}
	b.ReportMetric(seeds/b.Elapsed().Seconds(), "seeds/s")
	b.ReportMetric(b.Elapsed().Seconds()*1e9/seeds, "ns/seed")
}

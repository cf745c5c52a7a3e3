package pipeline_test

import (
	"cmp"
	"context"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	gocmp "github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"evenstand"
	"evenstand/core/ground"
	"evenstand/pipeline"
)

// drill is a planter on straight lines: 2 m/s, a seed every 0.16 m on each of
// four rows, lifted between passes, from a start time on.
type drill struct {
	start  evenstand.Micros
	passes int
	length float64 // s of a pass
	pause  float64 // s between passes
	miss   func(row, k int) bool
	offset float64 // of the seeds' clock, logged minus true
}

const (
	speed   = 2.0
	spacing = 0.16
	rows    = 4
	rowGap  = 0.75
)

var frame = ground.NewFrame(41.5, -93.2)

func (d drill) streams() (fixes []evenstand.Fix, seeds []evenstand.Seed, reads []evenstand.Reading) {
	period := d.length + d.pause
	n := evenstand.FromSeconds(period * float64(d.passes))
	for t := -10 * evenstand.Second; t < n; t += evenstand.Second / 5 {
		sec := t.Seconds()
		lat, lon := frame.ToGlobal(0, sec*speed)
		f := evenstand.NewFix(d.start+t, lat, lon)
		f.Kind = evenstand.FixRTK
		fixes = append(fixes, f)
		lift := 1.0
		if sec >= 0 && math.Mod(sec, period) < d.length {
			lift = 0
		}
		reads = append(reads, evenstand.Reading{T: d.start + t, Quantity: evenstand.ImplementLifted, Value: lift})
	}
	reads = append([]evenstand.Reading{{T: d.start - 10*evenstand.Second, Quantity: evenstand.SeedRateTarget, Value: 1 / (spacing * rowGap)}}, reads...)
	perPass := int(d.length * speed / spacing)
	for p := range d.passes {
		for k := range perPass {
			for r := 1; r <= rows; r++ {
				if d.miss != nil && d.miss(r, k) {
					continue
				}
				t := float64(p)*period + (float64(k)+0.5)*spacing/speed
				seeds = append(seeds, evenstand.Seed{T: d.start + evenstand.FromSeconds(t+d.offset) + evenstand.Micros(r), Row: int16(r)})
			}
		}
	}
	return
}

type kept struct {
	passes    []evenstand.Pass
	seeds     [][]evenstand.PlacedSeed
	stretches [][]evenstand.Stretch
	track     int
	readings  int
	all       []evenstand.Reading
	worked    []evenstand.Worked
}

func (k *kept) Pass(p evenstand.Pass, s [][]evenstand.PlacedSeed, st []evenstand.Stretch, w []evenstand.Worked) error {
	k.passes = append(k.passes, p)
	k.seeds = append(k.seeds, slices.Concat(s...))
	k.stretches = append(k.stretches, append([]evenstand.Stretch(nil), st...))
	k.worked = append(k.worked, w...)
	return nil
}
func (k *kept) Track(p []evenstand.TrackPoint) error { k.track += len(p); return nil }
func (k *kept) Readings(r []evenstand.Reading) error {
	k.readings += len(r)
	k.all = append(k.all, r...)
	return nil
}

func once[T any](x []T) func(func([]T) bool) error {
	return func(y func([]T) bool) error { y(x); return nil }
}

func source(name, clock string, off float64) evenstand.Source {
	return evenstand.Source{Name: name, Clock: clock, ClockOffset: off, ClockError: math.NaN()}
}

func card() evenstand.Card {
	c := evenstand.NewCard()
	c.Rows, c.RowSpacing = rows, rowGap
	c.Geometry = evenstand.Geometry{Hitch: evenstand.Mounted, SeedFall: 0}
	c.Meters = []evenstand.Meter{{Rows: evenstand.Rows{1, 2, 3, 4}, Crop: "corn", Cells: 40}}
	return c
}

func settle(t *testing.T, d drill, day evenstand.Day, from evenstand.Micros, clock string, declared float64) (*kept, pipeline.Result) {
	t.Helper()
	fixes, seeds, reads := d.streams()
	k := &kept{}
	res, err := pipeline.Settle(context.Background(), pipeline.Day{
		Date: day, Zone: time.UTC, Planter: "p", Card: card(), From: from,
		Streams: []evenstand.Stream{
			{Source: source("track", clock, 0), Fixes: once(fixes)},
			{Source: source("states", clock, 0), Readings: once(reads)},
			{Source: source("seeds", clock, declared), Seeds: once(seeds)},
		},
	}, k)
	if err != nil {
		t.Fatal(err)
	}
	return k, res
}

func at(s string) evenstand.Micros {
	t, err := time.Parse("2006-01-02 15:04", s)
	if err != nil {
		panic(err)
	}
	return evenstand.FromTime(t)
}

// By hand: 2 m/s for 60 s is 120 m, 750 places of 0.16 m on each row.
func TestStraightPasses(t *testing.T) {
	miss := func(row, k int) bool { return row == 2 && (k == 100 || k == 200 || k == 201) }
	k, res := settle(t, drill{start: at("2026-05-02 12:00"), passes: 3, length: 60, pause: 20, miss: miss}, "2026-05-02", evenstand.NoTime, "one", 0)
	if len(k.passes) != 3 {
		t.Fatalf("%d passes, want 3; notes %q", len(k.passes), res.Notes)
	}
	for i, p := range k.passes {
		if n := len(k.seeds[i]); n < 4*740 || n > 4*750 {
			t.Errorf("pass %d: %d seeds, want about 3,000", i, n)
		}
		if l := p.S1 - p.S0; math.Abs(l-120) > 1.5 {
			t.Errorf("pass %d is %.1f m long, want 120", i, l)
		}
		missing := map[int16]int{}
		for _, s := range k.seeds[i] {
			missing[s.Row] += int(s.Missing)
			if s.Gap >= 0 && s.Missing == 0 && (s.Gap < 155 || s.Gap > 165) {
				t.Errorf("gap of %d mm, want 160", s.Gap)
			}
			if s.Missing == 2 && s.Class != evenstand.Skip {
				t.Errorf("two places missed are class %d", s.Class)
			}
		}
		if missing[2] != 3 || missing[1] != 0 {
			t.Errorf("pass %d: missing by row %v, want three on row 2", i, missing)
		}
		// Eight stretches of 15 m on each of four rows.
		if n := len(k.stretches[i]); n < 32 || n > 36 {
			t.Errorf("pass %d: %d stretches, want 32", i, n)
		}
		due := 0.0
		for _, st := range k.stretches[i] {
			if st.Row == 2 {
				due += float64(st.Due)
			}
			if st.K > 0 && st.K < 6 && math.Abs(float64(st.Way)-15) > 0.05 {
				t.Errorf("stretch %d of row %d is %.2f m long", st.K, st.Row, st.Way)
			}
		}
		if math.Abs(due-746) > 6 {
			t.Errorf("pass %d, row 2: %.0f places due, want about 746", i, due)
		}
	}
	if len(res.Planted) != 1 || math.Abs(res.Planted[0].Area-3*120*3) > 30 {
		t.Errorf("planted %v, want 1,080 m2 in no field", res.Planted)
	}
}

// A pass that runs over midnight belongs to the day it began; the next day
// begins where it ends, and no seed is in both.
func TestMidnight(t *testing.T) {
	d := drill{start: at("2026-05-02 23:51"), passes: 9, length: 130, pause: 20}
	first, res := settle(t, d, "2026-05-02", evenstand.NoTime, "one", 0)
	if res.Until == evenstand.NoTime {
		t.Fatalf("no pass over midnight found, %d passes", len(first.passes))
	}
	second, _ := settle(t, d, "2026-05-03", res.Until, "one", 0)
	if n := len(first.passes) + len(second.passes); n != 9 {
		t.Errorf("%d and %d passes, want nine in all", len(first.passes), len(second.passes))
	}
	last, next := first.passes[len(first.passes)-1], second.passes[0]
	if last.Start >= at("2026-05-03 00:00") || last.End < at("2026-05-03 00:00") || next.Start < last.End {
		t.Errorf("last pass %v to %v, next from %v", last.Start, last.End, next.Start)
	}
	n := 0
	for _, s := range append(first.seeds, second.seeds...) {
		n += len(s)
	}
	if want := 9 * 4 * int(130*speed/spacing); math.Abs(float64(n-want)) > 0.01*float64(want) {
		t.Errorf("%d seeds in both days, want %d", n, want)
	}
}

// A clock that is declared 7.3 s fast is put right before anything else.
func TestDeclaredOffset(t *testing.T) {
	k, _ := settle(t, drill{start: at("2026-05-02 12:00"), passes: 3, length: 60, pause: 20, offset: 7.3}, "2026-05-02", evenstand.NoTime, "", 7.3)
	if len(k.passes) != 3 || len(k.seeds[0]) < 4*740 {
		t.Fatalf("%d passes, %d seeds in the first", len(k.passes), len(k.seeds[0]))
	}
}

// Nobody has said that two clocks agree, and at a constant speed the logs
// cannot show it: no cell is read and no place on the disc is given.
func TestUnknownClockRefuses(t *testing.T) {
	k, res := settle(t, drill{start: at("2026-05-02 12:00"), passes: 3, length: 60, pause: 20}, "2026-05-02", evenstand.NoTime, "", math.NaN())
	for _, s := range k.seeds[0] {
		if s.Cell >= 0 || s.Missing > 0 {
			t.Fatalf("seed %+v has a place on the disc although the clocks are unknown", s)
		}
	}
	if !strings.Contains(strings.Join(res.Notes, " "), "how far its clock is off") {
		t.Errorf("notes %q do not say what is missing", res.Notes)
	}
	for _, st := range k.stretches[0] {
		if st.Metered {
			t.Fatal("a stretch claims to be counted by the rhythm")
		}
	}
}

// Seeds of a stopped context stop the run.
func TestStopped(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	fixes, _, _ := drill{start: at("2026-05-02 12:00"), passes: 1, length: 60}.streams()
	_, err := pipeline.Settle(ctx, pipeline.Day{
		Date: "2026-05-02", Zone: time.UTC, Card: card(), From: evenstand.NoTime,
		Streams: []evenstand.Stream{{Source: source("track", "", 0), Fixes: once(fixes)}},
	}, &kept{})
	if err == nil {
		t.Error("no error from a stopped run")
	}
}

// leg is a straight of so many metres and the turn after it.
type leg struct {
	straight float64 // m
	turn     float64 // degrees, right positive
	radius   float64 // m
}

// curvy plants without a lift along the legs, 2 m/s and a seed every 0.16 m of
// the bar's centre on each row, and gives the seeds that it dropped.
func curvy(start evenstand.Micros, legs []leg) (fixes []evenstand.Fix, seeds []evenstand.Seed, reads []evenstand.Reading) {
	length := 0.0
	for _, l := range legs {
		length += l.straight + math.Abs(l.turn)*math.Pi/180*l.radius
	}
	e, n, psi := 0.0, 0.0, 0.0
	const step = 0.05 // m
	const lead = 20   // m of straight before lowering and after lifting
	k, done := 0, 0.0
	for i := 0; ; i++ {
		s := float64(i)*step - lead
		if s > length+lead {
			break
		}
		t := start + evenstand.FromSeconds(s/speed)
		if i%8 == 0 { // every 0.2 s
			lat, lon := frame.ToGlobal(e, n)
			f := evenstand.NewFix(t, lat, lon)
			f.Kind = evenstand.FixRTK
			fixes = append(fixes, f)
			lift := 1.0
			if s >= 0 && s < length {
				lift = 0
			}
			reads = append(reads, evenstand.Reading{T: t, Quantity: evenstand.ImplementLifted, Value: lift})
		}
		if s >= 0 && s < length && k < len(legs) {
			l := legs[k]
			arc := math.Abs(l.turn) * math.Pi / 180 * l.radius
			if s-done >= l.straight {
				psi += math.Copysign(step/l.radius, l.turn)
			}
			if s-done >= l.straight+arc {
				done += l.straight + arc
				k++
			}
		}
		e, n = e+step*math.Sin(psi), n+step*math.Cos(psi)
	}
	reads = append([]evenstand.Reading{{T: reads[0].T, Quantity: evenstand.SeedRateTarget, Value: 1 / (spacing * rowGap)}}, reads...)
	for s := 1.0; s < length-1; s += spacing {
		for r := 1; r <= rows; r++ {
			seeds = append(seeds, evenstand.Seed{T: start + evenstand.FromSeconds(s/speed) + evenstand.Micros(r), Row: int16(r)})
		}
	}
	return
}

// streams gives them one clock.
func streams(fixes []evenstand.Fix, seeds []evenstand.Seed, reads []evenstand.Reading) []evenstand.Stream {
	out := []evenstand.Stream{{Source: source("track", "one", 0), Fixes: once(fixes)}, {Source: source("states", "one", 0), Readings: once(reads)}}
	if seeds != nil {
		out = append(out, evenstand.Stream{Source: source("seeds", "one", 0), Seeds: once(seeds)})
	}
	return out
}

// run settles 2 May 2026 of a card.
func run(t interface {
	Helper()
	Fatal(...any)
}, c evenstand.Card, in []evenstand.Stream,
) (*kept, pipeline.Result) {
	t.Helper()
	k := &kept{}
	res, err := pipeline.Settle(context.Background(), pipeline.Day{Date: "2026-05-02", Zone: time.UTC, Planter: "p", Card: c, From: evenstand.NoTime, Streams: in}, k)
	if err != nil {
		t.Fatal(err)
	}
	return k, res
}

func (k *kept) count() (n int) {
	for _, s := range k.seeds {
		n += len(s)
	}
	return
}

// Turns part passes without a lift; not one seed may be lost between them.
func TestTurnsLoseNoSeed(t *testing.T) {
	four := []leg{{200, 90, 12}, {100, 90, 12}, {200, 90, 12}, {100, 90, 12}, {60, 0, 12}}
	fixes, seeds, reads := curvy(at("2026-05-02 12:00"), four)
	k, _ := run(t, card(), streams(fixes, seeds, reads))
	if len(k.passes) < 4 {
		t.Fatalf("%d passes, want one for each side", len(k.passes))
	}
	if k.count() != len(seeds) {
		t.Errorf("four turns: %d seeds in, %d kept", len(seeds), k.count())
	}
	for i, p := range k.passes {
		for _, s := range k.seeds[i] {
			if i+1 < len(k.passes) && s.T >= k.passes[i+1].Start || s.T < p.Start {
				t.Fatalf("a seed of %v in pass %d, %v to %v", s.T, i, p.Start, p.End)
			}
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		var legs []leg
		for range rapid.IntRange(1, 4).Draw(t, "legs") {
			legs = append(legs, leg{rapid.Float64Range(10, 120).Draw(t, "straight"), rapid.Float64Range(-180, 180).Draw(t, "turn"), rapid.Float64Range(8, 40).Draw(t, "radius")})
		}
		fixes, seeds, reads := curvy(at("2026-05-02 12:00"), legs)
		k, _ := run(t, card(), streams(fixes, seeds, reads))
		if k.count() != len(seeds) {
			t.Fatalf("%d seeds in, %d kept, %d passes", len(seeds), k.count(), len(k.passes))
		}
	})
}

// A log that describes forty rows goes with a card of two: what lies beyond is
// left out, said, and breaks nothing.
func TestRowsBeyondTheCard(t *testing.T) {
	fixes, seeds, reads := drill{start: at("2026-05-02 12:00"), passes: 2, length: 60, pause: 20}.streams()
	for _, e := range []evenstand.Element{{Scope: evenstand.ScopeSection, N: 1}, {Scope: evenstand.ScopeLeft}, {Scope: evenstand.ScopeTank, N: 1}, {Scope: evenstand.ScopeRow, N: 40}, {Scope: evenstand.ScopeRow, N: -1}} {
		for _, q := range []evenstand.Quantity{evenstand.RowEnabled, evenstand.RowWorking, evenstand.SeedRateTarget, evenstand.Vacuum, evenstand.SeedCount, evenstand.GaugeWheelLoad} {
			reads = append(reads, evenstand.Reading{T: at("2026-05-02 12:02"), Quantity: q, Element: e, Value: 1})
		}
	}
	in := streams(fixes, seeds, reads)
	log := evenstand.NewCard()
	wide := evenstand.Rows{1, 2, 3, 4}
	log.Rows = 40
	log.Sections = []evenstand.Section{{Number: 1, Rows: wide}}
	log.Groups = []evenstand.Group{{Kind: "vacuum", Name: "left", Rows: wide}}
	log.Tanks = []evenstand.Tank{{Number: 1, Feeds: wide}}
	log.Meters = []evenstand.Meter{{Rows: wide, Cells: 40}}
	in[1].Source.Card = &log
	c := card()
	c.Rows, c.Meters = 2, nil
	_, res := run(t, c, in)
	if !strings.Contains(strings.Join(res.Notes, " "), "left out of meter 1, vacuum group left, section 1, tank 1") {
		t.Errorf("notes %q", res.Notes)
	}
	log.Rows = 2
	for _, e := range []evenstand.Element{{Scope: evenstand.ScopeSection, N: 1}, {Scope: evenstand.ScopeLeft}, {Scope: evenstand.ScopeTank, N: 1}} {
		if got := log.RowsOf(e).String(); got != "1-2" {
			t.Errorf("rows of %v: %s, want 1-2", e, got)
		}
	}
	if wide.String() != "1-4" {
		t.Error("the log's own list was changed")
	}
}

// Clocks that change at midnight: 24 April 2026 begins at 1:00 in Cairo, which
// is 22:00 UTC on the 23rd, and the 25th at 0:00, 21:00 UTC on the 24th
// (IANA time zone data). What is planted from then on is the next day's.
func TestDayWithoutMidnight(t *testing.T) {
	zone, err := time.LoadLocation("Africa/Cairo")
	if err != nil {
		t.Skip("no time zone data on this machine: ", err)
	}
	for _, c := range []struct {
		day   evenstand.Day
		start string
		want  int
	}{
		{"2026-04-24", "2026-04-24 20:50", 1}, // 23:50 in Cairo
		{"2026-04-24", "2026-04-24 21:10", 0}, // 0:10 on the 25th
		{"2026-04-23", "2026-04-23 21:50", 1}, // 23:50, before the change
		{"2026-04-23", "2026-04-23 22:10", 0}, // 1:10 on the 24th
	} {
		fixes, seeds, reads := drill{start: at(c.start), passes: 1, length: 60}.streams()
		k := &kept{}
		if _, err := pipeline.Settle(context.Background(), pipeline.Day{Date: c.day, Zone: zone, Planter: "p", Card: card(), From: evenstand.NoTime, Streams: streams(fixes, seeds, reads)}, k); err != nil {
			t.Fatal(err)
		}
		if len(k.passes) != c.want {
			t.Errorf("%s from %s UTC: %d passes, want %d", c.day, c.start, len(k.passes), c.want)
		}
	}
}

func placed(k *kept) (seeds, doubles int) {
	for _, p := range k.seeds {
		for _, x := range p {
			seeds++
			if x.Double || x.Class == evenstand.Multiple {
				doubles++
			}
		}
	}
	return
}

// Two boxes that log the same sensors do not plant twice: the one with the
// most seeds is used, row by row, and the other is named. Boxes that took
// turns are both used.
func TestOneSeedSourceARow(t *testing.T) {
	fixes, seeds, reads := drill{start: at("2026-05-02 12:00"), passes: 2, length: 60, pause: 20}.streams()
	base, _ := run(t, card(), streams(fixes, seeds, reads))
	var second, early, late []evenstand.Seed
	for i, x := range seeds {
		if i%51 != 0 {
			y := x
			y.T += 3000
			second = append(second, y)
		}
		if x.T < at("2026-05-02 12:01")+10*evenstand.Second {
			early = append(early, x)
		} else {
			late = append(late, x)
		}
	}
	in := append(streams(fixes, second, reads), evenstand.Stream{Source: source("other box", "one", 0), Seeds: once(seeds)})
	k, res := run(t, card(), in)
	n, doubles := placed(k)
	if want := base.count(); n != want || doubles > 0 {
		t.Errorf("%d seeds and %d doubles, want %d and none", n, doubles, want)
	}
	if !strings.Contains(strings.Join(res.Notes, " "), "Seeds of rows 1-4 in seeds are not used: other box holds more") {
		t.Errorf("notes %q", res.Notes)
	}
	in = append(streams(fixes, early, reads), evenstand.Stream{Source: source("other box", "one", 0), Seeds: once(late)})
	if k, _ := run(t, card(), in); k.count() != base.count() {
		t.Errorf("boxes that took turns: %d seeds, want %d", k.count(), base.count())
	}
}

// Each box has its own clock: one of which nothing is known does not take the
// cells from the rows of the other.
func TestClocksBySource(t *testing.T) {
	fixes, seeds, reads := drill{start: at("2026-05-02 12:00"), passes: 2, length: 60, pause: 20}.streams()
	var a, b []evenstand.Seed
	for _, x := range seeds {
		if x.Row <= 2 {
			a = append(a, x)
		} else {
			b = append(b, x)
		}
	}
	for _, first := range []bool{true, false} {
		known := evenstand.Stream{Source: source("known", "one", 0), Seeds: once(a)}
		unknown := evenstand.Stream{Source: source("unknown", "", math.NaN()), Seeds: once(b)}
		in := append(streams(fixes, nil, reads), known, unknown)
		if !first {
			in[2], in[3] = in[3], in[2]
		}
		k, res := run(t, card(), in)
		cells := map[bool]int{}
		for _, p := range k.seeds {
			for _, x := range p {
				if x.Cell >= 0 {
					cells[x.Row <= 2]++
				}
			}
		}
		if cells[true] < 2500 || cells[false] != 0 {
			t.Errorf("cells told: %d on the rows of a known clock, %d on the others; notes %q", cells[true], cells[false], res.Notes)
		}
	}
}

// What is missing is said in sentences, with what to do; code words are not.
func TestMissingIsSaid(t *testing.T) {
	fixes, seeds, reads := drill{start: at("2026-05-02 12:00"), passes: 2, length: 60, pause: 20}.streams()
	all := streams(fixes, seeds, reads)
	var vac []evenstand.Reading
	for i := range 100 {
		for _, e := range []evenstand.Element{{Scope: evenstand.ScopeLeft}, {Scope: evenstand.ScopeRight}, {Scope: evenstand.ScopeSection, N: 3}} {
			vac = append(vac, evenstand.Reading{T: at("2026-05-02 12:00") + evenstand.Micros(i)*evenstand.Second, Quantity: evenstand.Vacuum, Element: e, Value: 5000})
		}
	}
	right := card()
	right.Groups = []evenstand.Group{{Kind: "vacuum", Name: "right", Rows: evenstand.Rows{3, 4}}}
	for _, c := range []struct {
		name string
		in   []evenstand.Stream
		want []string
	}{
		{"all there", all, nil},
		{"no positions", all[1:], []string{"Seeds were logged but no position: nothing can be put on the ground"}},
		{"no seeds", all[:2], []string{"Positions were logged but no seeds and no seed counts"}},
		{"no lift", []evenstand.Stream{all[0], all[2]}, []string{"No log tells when the planter was lifted: passes are taken from where seeds fell", "No target rate is logged"}},
		{"no left group", append(slices.Clone(all), evenstand.Stream{Source: source("fan", "one", 0), Readings: once(vac)}), []string{
			"The vacuum of the left side is logged, but the planter card has no vacuum group named left: it is used for no row.",
			"The vacuum of section 3 is logged, but the planter card does not say which rows that is",
		}},
	} {
		_, res := run(t, right, c.in)
		if len(res.Notes) != len(c.want) {
			t.Errorf("%s: notes %q, want %d", c.name, res.Notes, len(c.want))
			continue
		}
		for i, w := range c.want {
			if !strings.HasPrefix(res.Notes[i], w) {
				t.Errorf("%s: note %q, want %q", c.name, res.Notes[i], w)
			}
		}
	}
}

// A box that counts by ten seconds is slow, not silent: its counts lie on the
// stretches that they were made on. By hand: 125 seeds in 10 s at 2 m/s.
func TestSlowCounts(t *testing.T) {
	d := drill{start: at("2026-05-02 12:00"), passes: 2, length: 120, pause: 20}
	fixes, _, reads := d.streams()
	var counts []evenstand.Reading
	for p := range 2 {
		for s := 0; s <= 120; s += 10 {
			for r := 1; r <= rows; r++ {
				n := 125.0
				if s == 0 {
					n = 0
				}
				counts = append(counts, evenstand.Reading{T: d.start + evenstand.FromSeconds(float64(p)*140+float64(s)) - 1, Quantity: evenstand.SeedCount, Element: evenstand.RowElement(r), Value: n})
			}
		}
	}
	k := &kept{}
	_, err := pipeline.Settle(context.Background(), pipeline.Day{
		Date: "2026-05-02", Zone: time.UTC, Planter: "p", Card: card(), From: evenstand.NoTime,
		Streams: []evenstand.Stream{{Source: source("track", "one", 0), Fixes: once(fixes)}, {Source: source("states", "one", 0), Readings: once(reads)}, {Source: source("counts", "one", 0), Readings: once(counts)}},
	}, k)
	if err != nil {
		t.Fatal(err)
	}
	seeds := 0.0
	for _, pass := range k.stretches {
		for _, st := range pass {
			seeds += float64(st.Seeds)
			if st.K > 2 && st.K < 12 && math.Abs(float64(st.Seeds)-15/spacing) > 3 {
				t.Errorf("stretch %d of row %d holds %.1f seeds, want %.1f", st.K, st.Row, st.Seeds, 15/spacing)
			}
		}
	}
	if want := 2 * 4 * 1375.0; math.Abs(seeds-want) > 0.02*want && math.Abs(seeds-2*4*1500) > 0.02*want {
		t.Errorf("%.0f seeds on the ground, want %.0f", seeds, want)
	}
}

// A row that gave seed before and none in a whole pass, while the others
// planted, missed every place of it; and the ground counts as driven.
func TestSilentPass(t *testing.T) {
	d := drill{start: at("2026-05-02 12:00"), passes: 3, length: 60, pause: 20}
	fixes, seeds, reads := d.streams()
	keep := seeds[:0]
	for _, s := range seeds {
		if s.Row == 3 && s.T > d.start+70*evenstand.Second && s.T < d.start+150*evenstand.Second {
			continue
		}
		keep = append(keep, s)
	}
	k := &kept{}
	res, err := pipeline.Settle(context.Background(), pipeline.Day{
		Date: "2026-05-02", Zone: time.UTC, Planter: "p", Card: card(), From: evenstand.NoTime,
		Streams: []evenstand.Stream{{Source: source("track", "one", 0), Fixes: once(fixes)}, {Source: source("states", "one", 0), Readings: once(reads)}, {Source: source("seeds", "one", 0), Seeds: once(keep)}},
	}, k)
	if err != nil {
		t.Fatal(err)
	}
	due, skips := 0.0, 0.0
	for _, st := range k.stretches[1] {
		if st.Row == 3 {
			due += float64(st.Due)
			skips += float64(st.Skips)
		}
	}
	if math.Abs(due-750) > 15 || skips != due {
		t.Errorf("row 3 missed %.0f of %.0f places in a pass without seed, want all of 750", skips, due)
	}
	if a := res.Planted[0].Area; math.Abs(a-3*120*3) > 30 {
		t.Errorf("%.0f m2 driven, want 1,080", a)
	}
}

// Ground of which nobody knows that it was planted is no ground without seed:
// the receiver jumps, or is silent, or the box of the seeds is. A row that stops
// beside the others still misses its places.
func TestUnknownGroundIsNotMissed(t *testing.T) {
	for name, tt := range map[string]struct {
		fix    func(*evenstand.Fix, float64) bool // false: left out
		seed   func(evenstand.Seed, float64) bool
		missed float64
	}{
		"the receiver jumps": {fix: func(f *evenstand.Fix, sec float64) bool {
			if sec >= 110 && sec < 140 {
				f.Lat += 40.0 / 111_000
			}
			return true
		}},
		"the receiver is silent": {fix: func(_ *evenstand.Fix, sec float64) bool { return sec < 100 || sec >= 120 }},
		"the seed box is silent": {seed: func(_ evenstand.Seed, sec float64) bool { return sec < 100 || sec >= 120 }},
		"a row stops":            {seed: func(s evenstand.Seed, sec float64) bool { return s.Row != 3 || sec < 100 || sec >= 120 }, missed: 20 * speed / spacing},
	} {
		d := drill{start: at("2026-05-02 12:00"), passes: 3, length: 60, pause: 20}
		fixes, seeds, reads := d.streams()
		if tt.fix != nil {
			fixes = slices.DeleteFunc(fixes, func(f evenstand.Fix) bool { return !tt.fix(&f, (f.T - d.start).Seconds()) })
			for i := range fixes {
				tt.fix(&fixes[i], (fixes[i].T - d.start).Seconds())
			}
		}
		if tt.seed != nil {
			seeds = slices.DeleteFunc(seeds, func(s evenstand.Seed) bool { return !tt.seed(s, (s.T - d.start).Seconds()) })
		}
		k := &kept{}
		_, err := pipeline.Settle(context.Background(), pipeline.Day{
			Date: "2026-05-02", Zone: time.UTC, Planter: "p", Card: card(), From: evenstand.NoTime,
			Streams: []evenstand.Stream{{Source: source("track", "one", 0), Fixes: once(fixes)}, {Source: source("states", "one", 0), Readings: once(reads)}, {Source: source("seeds", "one", 0), Seeds: once(seeds)}},
		}, k)
		if err != nil {
			t.Fatal(err)
		}
		skips := 0.0
		for _, pass := range k.stretches {
			for _, st := range pass {
				skips += float64(st.Skips)
				if float64(st.Skips) > float64(st.Due)+0.5 {
					t.Errorf("%s: stretch %d of row %d missed %g of %g", name, st.K, st.Row, st.Skips, st.Due)
				}
			}
		}
		if math.Abs(skips-tt.missed) > 20+0.25*tt.missed { // stretches that hold half their seeds count what falls between two seeds only
			t.Errorf("%s: %.0f places missed, want %.0f", name, skips, tt.missed)
		}
	}
}

// A receiver and a box that fall silent while the planter goes on have a hole.
func TestGaps(t *testing.T) {
	d := drill{start: at("2026-05-02 12:00"), passes: 3, length: 60, pause: 20}
	fixes, seeds, reads := d.streams()
	keep := seeds[:0]
	for _, s := range seeds {
		if s.T < d.start+100*evenstand.Second {
			keep = append(keep, s)
		}
	}
	res, err := pipeline.Settle(context.Background(), pipeline.Day{
		Date: "2026-05-02", Zone: time.UTC, Planter: "p", Card: card(), From: evenstand.NoTime,
		Streams: []evenstand.Stream{{Source: source("track", "one", 0), Fixes: once(fixes)}, {Source: source("states", "one", 0), Readings: once(reads)}, {Source: source("seeds", "one", 0), Seeds: once(keep)}},
	}, &kept{})
	if err != nil {
		t.Fatal(err)
	}
	if g := res.Clocks[2].Gaps; len(g) != 1 || g[0].From > d.start+100*evenstand.Second || g[0].To < d.start+200*evenstand.Second {
		t.Errorf("gaps of the seeds that ended at 100 s: %v", g)
	}
	if g := res.Clocks[1].Gaps; len(g) != 0 {
		t.Errorf("gaps of states that are all there: %v", g)
	}
}

// How a stream cuts its seeds into batches changes nothing: one at a time, and
// as many as there are, with the rows in two boxes that say things at the same
// microsecond, and a reading that comes with a seed.
func TestBatchesDoNotMatter(t *testing.T) {
	if testing.Short() {
		t.Skip("a whole day")
	}
	d := drill{start: at("2026-05-02 14:00"), passes: 4, length: 200, pause: 20, miss: func(row, k int) bool {
		return row == 3 && k%40 == 7 || row == 2 && k > 1500 && k < 1800
	}}
	fixes, seeds, reads := d.streams()
	slices.SortStableFunc(seeds, func(a, b evenstand.Seed) int { return cmp.Compare(a.T, b.T) })
	var left, right []evenstand.Seed
	for i, x := range seeds {
		if i%97 == 5 { // several things at one moment
			reads = append(reads, evenstand.Reading{T: x.T, Quantity: evenstand.GroundSpeed, Value: speed})
		}
		if x.Row > 2 {
			if i%31 == 0 && len(left) > 0 {
				x.T = left[len(left)-1].T
			}
			if n := len(right); n == 0 || x.T > right[n-1].T {
				right = append(right, x)
			}
			continue
		}
		left = append(left, x)
	}
	slices.SortStableFunc(reads, func(a, b evenstand.Reading) int { return cmp.Compare(a.T, b.T) })
	run := func(size int) (*kept, pipeline.Result) {
		in := func(x []evenstand.Seed) func(func([]evenstand.Seed) bool) error {
			return func(yield func([]evenstand.Seed) bool) error {
				for part := range slices.Chunk(x, size) {
					if !yield(part) {
						break
					}
				}
				return nil
			}
		}
		k := &kept{}
		res, err := pipeline.Settle(context.Background(), pipeline.Day{
			Date: "2026-05-02", Zone: time.UTC, Planter: "p", Card: card(), From: evenstand.NoTime,
			Streams: []evenstand.Stream{
				{Source: source("track", "one", 0), Fixes: once(fixes)},
				{Source: source("states", "one", 0), Readings: once(reads)},
				{Source: source("left", "one", 0), Seeds: in(left)},
				{Source: source("right", "one", 0), Seeds: in(right)},
			},
		}, k)
		if err != nil {
			t.Fatal(err)
		}
		return k, res
	}
	numbers := gocmp.Comparer(func(a, b evenstand.Number) bool { return a == b || a != a && b != b })
	one, first := run(1)
	if len(first.Findings) == 0 || len(one.seeds) != d.passes {
		t.Fatalf("%d findings in %d passes: nothing to compare", len(first.Findings), len(one.seeds))
	}
	for _, size := range []int{7, 4096, 1 << 20} {
		k, res := run(size)
		if diff := gocmp.Diff(first, res, numbers, cmpopts.EquateNaNs()); diff != "" {
			t.Errorf("batches of %d (-one +%d):\n%s", size, size, diff)
		}
		if diff := gocmp.Diff(one, k, gocmp.AllowUnexported(kept{}), cmpopts.EquateNaNs()); diff != "" {
			t.Errorf("batches of %d: other seeds, stretches or readings (-one +%d):\n%s", size, size, diff)
		}
	}
}

// A box that is silent while the planter stands in the ground misses nothing;
// stray pulses over a hole of the receiver are no planting.
func TestGapsWhileItStands(t *testing.T) {
	d := drill{start: at("2026-05-02 14:00"), passes: 3, length: 200, pause: 20}
	fixes, seeds, reads := d.streams()
	const stands = 30 * evenstand.Second
	halt := d.start + 100*evenstand.Second // it stops here, in the first pass
	later := func(t evenstand.Micros) evenstand.Micros {
		if t > halt {
			t += stands
		}
		return t
	}
	var still []evenstand.Fix
	for i := range fixes {
		if fixes[i].T <= halt && fixes[i].T+evenstand.Second/5 > halt {
			for t := evenstand.Second / 5; t < stands; t += evenstand.Second / 5 {
				f := fixes[i]
				f.T += t
				f.Lat += 1e-9 * float64(t%7) // a receiver that stands still trembles
				still = append(still, f)
			}
		}
		fixes[i].T = later(fixes[i].T)
	}
	fixes = append(fixes, still...)
	slices.SortFunc(fixes, func(a, b evenstand.Fix) int { return cmp.Compare(a.T, b.T) })
	for i := range reads {
		reads[i].T = later(reads[i].T)
	}
	for i := range seeds {
		seeds[i].T = later(seeds[i].T)
	}
	// The receiver is silent over the second turn, with four pulses a second.
	turn, end := d.start+stands+420*evenstand.Second, d.start+stands+440*evenstand.Second
	fixes = slices.DeleteFunc(fixes, func(f evenstand.Fix) bool { return f.T > turn && f.T < end })
	for t := turn; t < end; t += evenstand.Second / 4 {
		seeds = append(seeds, evenstand.Seed{T: t, Row: 1})
	}
	slices.SortFunc(seeds, func(a, b evenstand.Seed) int { return cmp.Compare(a.T, b.T) })
	res, err := pipeline.Settle(context.Background(), pipeline.Day{
		Date: "2026-05-02", Zone: time.UTC, Planter: "p", Card: card(), From: evenstand.NoTime,
		Streams: []evenstand.Stream{
			{Source: source("track", "one", 0), Fixes: once(fixes)},
			{Source: source("states", "one", 0), Readings: once(reads)},
			{Source: source("seeds", "one", 0), Seeds: once(seeds)},
		},
	}, &kept{})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range res.Clocks {
		if len(c.Gaps) > 0 {
			t.Errorf("%s: %+v, want no hole that matters", c.Source, c.Gaps)
		}
	}
}

// The ground of a pass runs from half a spacing before the first seed to half
// one after the last, all rows together; a row that drops nothing for 8 m
// leaves that much of it, and one that skips a few places does not.
func TestWorked(t *testing.T) {
	d := drill{start: at("2026-05-02 10:00"), passes: 2, length: 60, pause: 30, miss: func(r, k int) bool {
		return r == 2 && k >= 200 && k < 250 || r == 3 && k >= 300 && k < 305
	}}
	k, _ := settle(t, d, "2026-05-02", evenstand.NoTime, "one", 0)
	type piece struct {
		from, to int16
		s0, s1   float64
	}
	for pass := range int32(2) {
		var got []piece
		for _, w := range k.worked {
			if w.Pass != pass {
				continue
			}
			if w.Applied != evenstand.AppliedSeed || w.Grade != evenstand.GradeA {
				t.Fatalf("%+v", w)
			}
			got = append(got, piece{w.From, w.To, float64(w.S0) / 1000, float64(w.S1) / 1000})
		}
		base := got[0].s0
		want := []piece{{1, 1, 0, 120}, {2, 2, 0, 32}, {2, 2, 40, 120}, {3, 4, 0, 120}}
		if len(got) != len(want) {
			t.Fatalf("pass %d: %+v, want %+v", pass, got, want)
		}
		for i, w := range want {
			g := got[i]
			if g.from != w.from || g.to != w.to || math.Abs(g.s0-base-w.s0) > 0.2 || math.Abs(g.s1-base-w.s1) > 0.2 {
				t.Errorf("pass %d: piece %d is %+v, want %+v from %.2f on", pass, i, g, w, base)
			}
		}
	}
}

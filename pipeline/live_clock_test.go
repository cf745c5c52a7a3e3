package pipeline_test

import (
	"context"
	"math"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"evenstand"
	"evenstand/core/find"
	"evenstand/pipeline"
)

// Nobody has said that the clocks agree, and at a constant speed the logs
// cannot show it: as little as in the settled pass is a cell told in the live
// one, in its first pass too.
func TestLiveUnknownClockRefuses(t *testing.T) {
	d := drill{start: at("2026-05-02 12:00"), passes: 2, length: 300, pause: 20}
	n := 0
	d.miss = func(row, _ int) bool {
		if row == 3 {
			n++
		}
		return row == 3 && n%40 == 7
	}
	day := d.day("")
	for i := range day.Streams {
		day.Streams[i].Source.ClockOffset = math.NaN()
	}
	_, told := feed(t, day)
	for _, c := range told {
		if c.Finding.Family == "cell" {
			t.Errorf("%s %s of rows %v although the clocks are unknown", c.What, c.Finding.Kind, c.Finding.Rows)
		}
	}
}

// liveDay is a live pass over sources of which nothing has come yet.
func liveDay(t *testing.T, sources ...evenstand.Source) *pipeline.Live {
	t.Helper()
	day := pipeline.Day{Date: "2026-05-02", Zone: time.UTC, Planter: "p", Card: card(), From: evenstand.NoTime}
	for _, s := range sources {
		day.Streams = append(day.Streams, evenstand.Stream{Source: s})
	}
	l, err := pipeline.NewLive(context.Background(), day)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

// A box on the receiver's own clock first hands over what it kept back, and
// only then comes the first fix: its clock is the receiver's all the same, and
// a row that stops is told when it stops.
func TestLiveKeptBack(t *testing.T) {
	for _, old := range []int{1, 5, 100} { // words kept back
		d := drill{start: at("2026-05-02 12:00"), passes: 2, length: 120, pause: 20}
		seen, stop := 0, int(60*speed/spacing)
		d.miss = func(row, _ int) bool {
			if row == 2 {
				seen++
			}
			return row == 2 && seen > stop
		}
		fixes, seeds, reads := d.streams()
		unknown := func(name string) evenstand.Source { return source(name, "one", math.NaN()) }
		l := liveDay(t, unknown("track"), unknown("box"))
		now := d.start - 10*evenstand.Second
		if _, err := l.Now(now); err != nil {
			t.Fatal(err)
		}
		for i := range old {
			l.Reading(1, evenstand.Reading{T: now - 12*evenstand.Second + evenstand.Micros(i), Quantity: evenstand.ImplementLifted, Value: 1})
		}
		var told []find.Change
		for end := fixes[len(fixes)-1].T; now < end; {
			now += evenstand.Second / 10
			for ; len(fixes) > 0 && fixes[0].T < now; fixes = fixes[1:] {
				l.Fix(0, fixes[0])
			}
			for ; len(reads) > 0 && reads[0].T < now; reads = reads[1:] {
				l.Reading(1, reads[0])
			}
			for ; len(seeds) > 0 && seeds[0].T < now; seeds = seeds[1:] {
				l.Seed(1, seeds[0])
			}
			cs, err := l.Now(now)
			if err != nil {
				t.Fatal(err)
			}
			told = append(told, slices.Clone(cs)...)
		}
		want := d.start + 60*evenstand.Second
		if len(told) == 0 || told[0].Finding.Kind != evenstand.KindRowStopped {
			t.Fatalf("%d words kept back: told %+v, want row 2 stopped", old, told)
		}
		if f := told[0].Finding; math.Abs((f.Since - want).Seconds()) > 1 {
			t.Errorf("%d words kept back: row 2 stopped %.1f s after it did", old, (f.Since - want).Seconds())
		}
	}
}

// A box that is an hour ahead of what was said of its clock does not make the
// live pass keep back an hour of seeds, and that is said.
func TestLiveAhead(t *testing.T) {
	held := func(seconds int) float64 {
		l := liveDay(t, source("a", "", 0), source("b", "", 0))
		start := at("2026-05-02 08:00")
		var before, after runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&before)
		for s := range seconds {
			if _, err := l.Now(start + evenstand.FromSeconds(float64(s))); err != nil {
				t.Fatal(err)
			}
			for i := range 25 {
				sec := float64(s) + float64(i)/25
				l.Reading(0, evenstand.Reading{T: start + evenstand.FromSeconds(sec), Quantity: evenstand.GroundSpeed, Value: 2})
				for r := 1; r <= rows; r++ {
					l.Seed(1, evenstand.Seed{T: start + evenstand.FromSeconds(3600+sec) + evenstand.Micros(r), Row: int16(r)})
				}
			}
		}
		runtime.GC()
		runtime.ReadMemStats(&after)
		runtime.KeepAlive(l)
		if n := strings.Join(l.Notes(), " "); !strings.Contains(n, "words of b bear times") || strings.Contains(n, "of a ") {
			t.Errorf("notes %q, want that b is ahead", n)
		}
		return float64(after.HeapAlloc) - float64(before.HeapAlloc)
	}
	few, many := held(30), held(300)
	t.Logf("%.0f kB held after 30 s, %.0f kB after 300", few/1e3, many/1e3)
	if many > few+300e3 {
		t.Errorf("%.0f kB held after 30 s, %.0f kB after 300", few/1e3, many/1e3)
	}
}

// Seeds follow the speed by a quarter of a second, and the clock of a box that
// nobody has spoken of drifts besides. The live pass learns both as it goes and
// reads the rhythm by them, through stops in the ground too.
func TestLiveLag(t *testing.T) {
	if testing.Short() {
		t.Skip("a whole day")
	}
	for _, tt := range []struct {
		name  string
		said  float64 // of the clock, s
		drift float64
		hours float64
	}{
		{"declared", 0, 0, 1},
		{"not declared", math.NaN(), 0, 1},
		{"fast by 90 ppm", math.NaN(), 90e-6, 2},
		{"slow by 90 ppm", math.NaN(), -90e-6, 2},
	} {
		t.Run(tt.name, func(t *testing.T) {
			w := wander{start: at("2026-05-02 12:00"), hours: tt.hours, quartz: tt.drift, receiver: evenstand.Second / 5}
			fixes, seeds, reads, _ := w.streams()
			l, told := feed(t, pipeline.Day{
				Date: "2026-05-02", Zone: time.UTC, Planter: "p", Card: card(), From: evenstand.NoTime,
				Streams: []evenstand.Stream{
					{Source: source("track", "", 0), Fixes: once(fixes)},
					{Source: source("states", "", 0), Readings: once(reads)},
					{Source: source("seeds", "", tt.said), Seeds: once(seeds)},
				},
			})
			for _, c := range told {
				t.Errorf("%s %s of rows %v: nothing was wrong", c.What, c.Finding.Kind, c.Finding.Rows)
			}
			sigma, lag := l.Scatter()
			for i := range sigma {
				if sigma[i] > 0.09 || math.Abs(lag[i]-fall) > 0.08 {
					t.Errorf("row %d: scatter %.3f places, lag %.3f s, want 0.09 at most and %.3f", i+1, sigma[i], lag[i], fall)
				}
			}
		})
	}
}

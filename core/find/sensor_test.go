package find_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"evenstand"
	"evenstand/core/find"
)

// Dust of 20 pulses and more is named as a doubt of the sensor, not as doubles,
// with its beginning and end; real doubles, up to seven times the usual, are
// not (methods, e and "Detectable").
func TestDustAndDoubles(t *testing.T) {
	if testing.Short() {
		t.Skip("days of seeds: left to the long run")
	}
	for _, tt := range []struct {
		name     string
		perPlace float64 // of dust; 4 a second at 25 places are 0.16
		times    float64 // of real doubles
		from, to float64
		want     string
	}{
		{"dust, 25 min", 0.16, 1, 4000, 5500, evenstand.KindSensorDoubt},
		{"dust, ten seconds", 0.16, 1, 4300, 4310, evenstand.KindSensorDoubt},
		{"thin dust, ten minutes", 0.03, 1, 4000, 4600, evenstand.KindSensorDoubt},
		{"real doubles, threefold", 0, 3, 4000, 7000, evenstand.KindRowDoubles},
		{"real doubles, sevenfold", 0, 7, 4000, 7000, evenstand.KindRowDoubles},
	} {
		t.Run(tt.name, func(t *testing.T) {
			on := func(r int, s float64) bool { return r == 5 && s >= tt.from && s < tt.to }
			w := world{rows: 16, hours: 2.2, rate: 25, seed: 41, slip: 0.05}
			w.dust = func(r int, s float64) float64 {
				if on(r, s) {
					return tt.perPlace
				}
				return 0.002 // of any sensor: 0.05 a second
			}
			w.double = func(r int, s float64) float64 {
				if on(r, s) {
					return tt.times
				}
				return 1
			}
			fs := raised(w.run(config(16)))
			if len(fs) != 1 || fs[0].Kind != tt.want || fs[0].Rows.String() != "5" {
				show(t, fs)
				t.Fatalf("want one %s of row 5", tt.want)
			}
			f := fs[0]
			if tt.want != evenstand.KindSensorDoubt {
				return
			}
			if d := math.Abs((f.Since - at(tt.from)).Seconds()); d > 10 {
				t.Errorf("begins %.1f s from the truth", d)
			}
			if f.Until == nil || math.Abs((*f.Until-at(tt.to)).Seconds()) > 25 {
				t.Errorf("ends at %v, want %v", f.Until, at(tt.to))
			}
			if f.Causes[0].Cause != evenstand.CauseSensor || len(f.Harm) != 0 {
				t.Errorf("causes %v, harm %v: want the sensor, and nothing lost", f.Causes, f.Harm)
			}
		})
	}
}

// Around a stop the speed changes fast: where the clock of the seeds is a
// little off, as in the live pass, the decoders of all rows read doubles into
// their seeds. The row that happens to have the most of them has no dust; one
// that has dust besides is found all the same.
func TestPulsesOfAllRows(t *testing.T) {
	if testing.Short() {
		t.Skip("days of seeds: left to the long run")
	}
	for _, tt := range []struct {
		name string
		dust float64 // of row 5, a place
		want int
	}{
		{"no dust", 0, 0},
		{"dust on one row", 0.16, 1},
	} {
		t.Run(tt.name, func(t *testing.T) {
			w := world{rows: 16, hours: 3, rate: 25, seed: 43, slip: 0.05}
			w.dust = func(r int, s float64) float64 {
				p := 0.002
				if in := math.Mod(s, 410); s > 3600 && (in > 380 || in < 3) { // the planter lifts at 385
					p = 0.08
				}
				if r == 5 && s >= 6600 && s < 7200 {
					p += tt.dust
				}
				return p
			}
			fs := raised(w.run(config(16)))
			if len(fs) != tt.want {
				show(t, fs)
				t.Fatalf("%d findings, want %d", len(fs), tt.want)
			}
			for _, f := range fs {
				if f.Kind != evenstand.KindSensorDoubt || f.Rows.String() != "5" || math.Abs((f.Since-at(6600)).Seconds()) > 10 {
					show(t, fs)
					t.Error("want a sensor-doubt of row 5 from 6600 s")
				}
			}
		})
	}
}

// Dust goes on while the planter stands in the ground. All that falls then lies
// in the last place, by chance as a second seed would or not, and tells nothing.
func TestDustWhileStanding(t *testing.T) {
	for _, second := range []float64{0.01, 0.6} {
		const rows, every = 16, 0.04
		e := find.New(config(rows))
		rnd := rand.New(rand.NewPCG(3, 11))
		e.Lower(at(0))
		s, k := 0.0, int64(0)
		plant := func(seconds, dust float64) {
			for range int(seconds / every) {
				s, k = s+every, k+1
				for r := 1; r <= rows; r++ {
					pulses := []float64{0.12 * rnd.NormFloat64()}
					if rnd.Float64() < 0.006 {
						pulses = append(pulses, pulses[0]+0.15*rnd.ExpFloat64())
					}
					if r == 5 && rnd.Float64() < dust {
						pulses = append(pulses, rnd.Float64()-0.62)
					}
					slices.Sort(pulses)
					e.Seed(r, at(s))
					for i, x := range pulses {
						e.Place(r, &find.Place{T: at(s) + evenstand.Micros(i), K: k, Off: float32(x), Double: i > 0, Readable: true})
					}
				}
				if k%25 == 0 {
					e.Tick(at(s), find.Bar{Planting: true, Speed: 4, Way: float64(k) * 0.165})
				}
			}
		}
		plant(1800, 0)
		plant(6, 0.15)
		for range 60 { // the planter stands for 20 s
			s += 1.0 / 3
			e.Place(5, &find.Place{T: at(s), K: k, Off: float32(second), Double: true, Readable: true})
			if math.Mod(s, 1) < 0.3 {
				e.Tick(at(s), find.Bar{})
			}
		}
		plant(60, 0.15)
		plant(120, 0)
		fs := raised(e.Finish(at(s)))
		if len(fs) != 1 || fs[0].Kind != evenstand.KindSensorDoubt || fs[0].Rows.String() != "5" {
			show(t, fs)
			t.Errorf("want one sensor-doubt of row 5")
		}
	}
}

// A third of the seeds gone from one moment to the next is a doubt of the
// sensor; the odds say that it may be real while it lasts (methods e: prior 5
// to 1 for real skips). Skips that come on over a quarter of an hour, or a
// stone of six seconds, are not. Of a few in a hundred the odds stay at 5 to 1.
func TestDropOutAndSkips(t *testing.T) {
	if testing.Short() {
		t.Skip("days of seeds: left to the long run")
	}
	for _, tt := range []struct {
		name     string
		share    func(s float64) float64
		from, to float64
		want     string
		sure     float64 // least and
		most     float64 // greatest chance of the sensor
	}{
		{"forty in a hundred, five minutes", func(float64) float64 { return 0.4 }, 4000, 4300, evenstand.KindSensorDoubt, 0.9, 1},
		{"the same to the end", func(float64) float64 { return 0.4 }, 4000, 1e9, evenstand.KindSensorDoubt, 0.5, 0.9},
		{"by degrees", func(s float64) float64 { return 0.4 * math.Min(1, (s-4000)/900) }, 4000, 7000, evenstand.KindRowSkips, 0, 0.5},
		{"six seconds", func(float64) float64 { return 0.4 }, 4000, 4006, "", 0, 0},
		{"seven in a hundred", func(float64) float64 { return 0.07 }, 4000, 6000, evenstand.KindRowSkips, 0.15, 0.18},
	} {
		t.Run(tt.name, func(t *testing.T) {
			w := world{rows: 16, hours: 2.2, rate: 25, seed: 42, slip: 0.05}
			w.blind = func(r int, s float64) float64 {
				if r == 5 && s >= tt.from && s < tt.to {
					return tt.share(s)
				}
				return 0
			}
			fs := raised(w.run(config(16)))
			if tt.want == "" {
				if len(fs) != 0 {
					show(t, fs)
					t.Error("want nothing")
				}
				return
			}
			if len(fs) != 1 || fs[0].Kind != tt.want {
				show(t, fs)
				t.Fatalf("want one %s", tt.want)
			}
			sensor := 0.0
			for _, c := range fs[0].Causes {
				if c.Cause == evenstand.CauseSensor {
					sensor = c.Probability
				}
			}
			if sensor < tt.sure || sensor > tt.most {
				t.Errorf("the sensor by %.2f, want %.2f to %.2f", sensor, tt.sure, tt.most)
			}
		})
	}
}

// Where so many seeds are lost that the rhythm is lost with them, the trouble
// goes on to be followed by the gaps, and ends when the seeds are back, not when
// the rhythm was read for the last time.
func TestLossWithoutRhythm(t *testing.T) {
	const rows, every = 8, 0.04
	const from, unread, to, read, end = 600.0, 900.0, 1500.0, 1530.0, 1700.0
	e := find.New(config(rows))
	rnd := rand.New(rand.NewPCG(3, 9))
	e.Lower(at(0))
	missing := 0
	for i := range int(end / every) {
		s := float64(i) * every
		for r := 1; r <= rows; r++ {
			p := find.Place{T: at(s), K: int64(i), Off: float32(0.1 * rnd.NormFloat64()), Sigma: 0.1, Readable: true}
			if r == 5 {
				if s >= from && s < to && rnd.Float64() < 0.55 {
					missing++
					continue
				}
				p.Missing, missing = missing, 0
			}
			e.Seed(r, p.T)
			if r == 5 && s >= unread && s < read {
				e.PlaceByGap(r, &p)
			} else {
				e.Place(r, &p)
			}
		}
		if i%25 == 0 {
			e.Tick(at(s), find.Bar{Planting: true, Speed: 4, Way: float64(i) * 0.165})
		}
	}
	fs := raised(e.Finish(at(end)))
	if len(fs) != 1 || fs[0].Kind != evenstand.KindSensorDoubt || fs[0].Rows.String() != "5" {
		show(t, fs)
		t.Fatal("want one sensor-doubt of row 5")
	}
	if u := fs[0].Until; u == nil || math.Abs((*u-at(to)).Seconds()) > 10 {
		t.Errorf("ends at %v, want %v", u, at(to))
	}
}

// Without the rhythm nothing is known of where in its place a pulse lies: no
// dust is named.
func TestNoDustByGaps(t *testing.T) {
	e := find.New(config(4))
	for i := range 20000 {
		for r := 1; r <= 4; r++ {
			e.PlaceByGap(r, &find.Place{T: at(float64(i) * 0.04), Double: r == 2 && i > 10000 && i%5 == 0})
		}
		if i%25 == 0 {
			e.Tick(at(float64(i)*0.04), find.Bar{Planting: true, Speed: 4, Way: float64(i) * 0.165})
		}
	}
	for _, f := range e.Finish(at(900)) {
		if f.Kind == evenstand.KindSensorDoubt {
			t.Errorf("named %s", f.Kind)
		}
	}
}

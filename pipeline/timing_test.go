package pipeline_test

import (
	"context"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"evenstand"
	"evenstand/pipeline"
)

// wander is a day of passes at a speed that wanders, with a stop of 12 s in the
// ground on every second pass, a seed every 0.16 m on each row 0.25 s after
// its place is due, and boxes with clocks of their own.
type wander struct {
	fan      float64 // s, logged minus true; 0: 11 s slow
	start    evenstand.Micros
	hours    float64
	seeds    float64          // s, logged minus true
	quartz   float64          // s/s, drift of the seeds' clock
	machine  float64          // s
	drift    float64          // s/s, of the machine
	setAt    float64          // h; 0 never
	setBy    float64          // s
	receiver evenstand.Micros // time between fixes
	sure     bool             // whoever declared the machine's clock says how sure it is
}

const fall = 0.25

func (w wander) streams() (fixes []evenstand.Fix, seeds []evenstand.Seed, reads, vacuum []evenstand.Reading) {
	g := rand.New(rand.NewPCG(7603, 1))
	const tick = 0.01
	v, way, haste, due := 0.0, 0.0, 0.0, 0.0
	length := 120 + 60*g.Float64() // s of this pass
	begun := 0.0
	n := int(w.hours * 3600 / tick)
	if w.fan == 0 {
		w.fan = -11
	}
	every := int(w.receiver.Seconds() / tick)
	pass := 0
	box := func(t float64) evenstand.Micros {
		o := w.machine + w.drift*t
		if w.setAt > 0 && t >= w.setAt*3600 {
			o += w.setBy
		}
		return w.start + evenstand.FromSeconds(t+o)
	}
	reads = append(reads, evenstand.Reading{T: box(0), Quantity: evenstand.SeedRateTarget, Value: 1 / (spacing * rowGap)})
	for i := range n {
		t := float64(i) * tick
		haste += -haste*tick/12 + g.NormFloat64()*math.Sqrt(2*tick/12)
		in := t - begun
		lifted := in > length
		want := 2.2 * (1 + 0.03*haste)
		switch {
		case in > length+18:
			begun, length = t, 120+60*g.Float64()
			pass++
		case lifted:
			want = 1.3
		case pass%2 == 0 && in > 60 && in < 72:
			want = 0
		}
		if v > want {
			v = math.Max(want, v-2*tick)
		} else {
			v = math.Min(want, v+0.8*tick)
		}
		way += v * tick
		if i%every == 0 {
			lat, lon := frame.ToGlobal(0.01*g.NormFloat64(), way+0.01*g.NormFloat64())
			f := evenstand.NewFix(w.start+evenstand.FromSeconds(t), lat, lon)
			f.Kind = evenstand.FixRTK
			fixes = append(fixes, f)
		}
		if i%100 == 0 {
			lift, shown := 0.0, v
			if lifted {
				lift = 1
			}
			if v > 0 {
				shown = math.Max(0, v+0.03*g.NormFloat64())
			}
			reads = append(reads, evenstand.Reading{T: box(t), Quantity: evenstand.GroundSpeed, Value: shown},
				evenstand.Reading{T: box(t), Quantity: evenstand.ImplementLifted, Value: lift})
			// A box that knows only when the planter is lifted.
			vacuum = append(vacuum, evenstand.Reading{T: w.start + evenstand.FromSeconds(t+w.fan), Quantity: evenstand.ImplementLifted, Value: lift})
		}
		if !lifted {
			due += v * tick / spacing
			for ; due >= 1; due-- {
				for r := 1; r <= rows; r++ {
					at := t + fall + 0.004*g.NormFloat64() + w.seeds + w.quartz*t
					seeds = append(seeds, evenstand.Seed{T: w.start + evenstand.FromSeconds(at) + evenstand.Micros(r), Row: int16(r)})
				}
			}
		}
	}
	return
}

func (w wander) settle(t *testing.T, seedsSaid, machineSaid float64) (*kept, pipeline.Result) {
	t.Helper()
	fixes, seeds, reads, vacuum := w.streams()
	k := &kept{}
	states := source("states", "", machineSaid)
	if w.sure {
		states.ClockError = 0.1
	}
	res, err := pipeline.Settle(context.Background(), pipeline.Day{
		Date: "2026-05-02", Zone: time.UTC, Planter: "p", Card: card(), From: evenstand.NoTime,
		Streams: []evenstand.Stream{
			{Source: source("track", "", 0), Fixes: once(fixes)},
			{Source: states, Readings: once(reads)},
			{Source: source("seeds", "", seedsSaid), Seeds: once(seeds)},
			{Source: source("fan", "", math.NaN()), Readings: once(vacuum)},
		},
	}, k)
	if err != nil {
		t.Fatal(err)
	}
	return k, res
}

func told(t *testing.T, c pipeline.Clock, off, most float64) {
	t.Helper()
	if c.From != pipeline.ClockEstimated {
		t.Errorf("the clock of %s is %s, want it estimated", c.Source, c.From)
		return
	}
	if e := math.Abs(float64(c.Offset) - off); !(e <= most) || !(float64(c.Error) > 0) || !(e <= 2.5*float64(c.Error)) {
		t.Errorf("the clock of %s is %.3f s off to within %.3f, want %.3f", c.Source, float64(c.Offset), float64(c.Error), off)
	}
}

// Nobody has said anything: a box half a minute fast and adrift tells its clock
// by its speed, the seeds by their rate, the fan by the lifting of the planter;
// all are put right, so that places on the disc can be told.
func TestClocksEstimated(t *testing.T) {
	const drift = 60e-6
	k, res := wander{start: at("2026-05-02 12:00"), hours: 1.5, seeds: -8.4, machine: 30, drift: drift, receiver: evenstand.Second / 5}.settle(t, math.NaN(), math.NaN())
	told(t, res.Clocks[1], 30+drift*2700, 0.05)
	told(t, res.Clocks[2], -8.4, 0.1)
	told(t, res.Clocks[3], -11, 0.15)
	if d := float64(res.Clocks[1].Drift); math.Abs(d-60) > 15 {
		t.Errorf("drift %.0f ppm, want 60", d)
	}
	if c := res.Clocks[0]; c.From != pipeline.ClockDeclared {
		t.Errorf("the receiver's clock is %s", c.From)
	}
	cells := 0
	for _, p := range k.seeds {
		for _, s := range p {
			if s.Cell >= 0 {
				cells++
			}
		}
	}
	if cells < 10000 {
		t.Errorf("%d places on the disc told; notes %q", cells, res.Notes)
	}
	if n := strings.Join(res.Notes, " "); !strings.Contains(n, "The clock of states is 30.1") || !strings.Contains(n, "put right") {
		t.Errorf("notes %q do not say that the clock was put right", res.Notes)
	}
}

// A box that writes local time for UTC, and one that was set at noon.
func TestClocksFar(t *testing.T) {
	_, res := wander{start: at("2026-05-02 12:00"), hours: 1.5, machine: -5 * 3600, receiver: evenstand.Second / 5}.settle(t, 0, math.NaN())
	told(t, res.Clocks[1], -5*3600, 0.05)
	if n := strings.Join(res.Notes, " "); !strings.Contains(n, "5 h 00 min 00 s slow") || !strings.Contains(n, "local time") {
		t.Errorf("notes %q do not speak of local time", res.Notes)
	}
	_, res = wander{start: at("2026-05-02 12:00"), hours: 2.2, machine: 2, setAt: 1.2, setBy: 20, receiver: evenstand.Second}.settle(t, 0, math.NaN())
	set := res.Clocks[1].Set
	if len(set) != 2 || math.Abs(float64(set[0].Offset)-2) > 0.1 || math.Abs(float64(set[1].Offset)-22) > 0.1 {
		t.Errorf("a clock that was set from 2 to 22 s is told as %+v", set)
	}
}

// Where a clock was set forward no two times become one, and each comes out as
// it was.
func TestClockSetForward(t *testing.T) {
	for _, by := range []float64{20, 42, 100} {
		w := wander{start: at("2026-05-02 12:00"), hours: 2.2, machine: 2, setAt: 1.2, setBy: by, receiver: evenstand.Second}
		k, _ := w.settle(t, 0, math.NaN())
		n, wrong := 0, 0
		last := evenstand.NoTime
		for _, r := range k.all {
			if r.Quantity != evenstand.GroundSpeed {
				continue
			}
			if math.Abs((r.T-w.start).Seconds()-float64(n)) > 0.5 || r.T == last {
				wrong++
			}
			last = r.T
			n++
		}
		if n < 7900 || wrong > 0 {
			t.Errorf("set forward by %g s: of %d times %d are wrong", by, n, wrong)
		}
	}
}

// A clock that is set back leaves a hole, since two times become one; the box
// was not silent.
func TestClockSetBack(t *testing.T) {
	if testing.Short() {
		t.Skip("a whole day")
	}
	for _, by := range []float64{-9, -20, -42} {
		w := wander{start: at("2026-05-02 12:00"), hours: 2.2, machine: 2, setAt: 1.2, setBy: by, receiver: evenstand.Second / 5}
		_, res := w.settle(t, 0, math.NaN())
		if len(res.Clocks[1].Set) != 2 {
			t.Errorf("set back by %g s is told as %+v", -by, res.Clocks[1])
		}
		for _, f := range res.Findings {
			if d := (f.Since - w.start).Seconds() - 1.2*3600; f.Kind == evenstand.KindSourceSilent && math.Abs(d) < 300 {
				t.Errorf("set back by %g s: silent since %s", -by, f.Since)
			}
		}
	}
}

// What was said of a clock is held against the logs wherever it was said to be,
// not only near the receiver's time.
func TestClockSaidFar(t *testing.T) {
	if testing.Short() {
		t.Skip("a whole day")
	}
	for _, tt := range []struct {
		said, is float64
		sure     bool
		note     bool
	}{
		{3600, 3608, false, true},
		{-300, -292, true, true},
		{0, -15, true, true},
		{0, -15, false, true},
		{0, 3600, false, true},
		{3600, 0, true, true},
		{0, 300, false, true},
		{0, 3, false, true},
		{300, 300, false, false},
		{3600, 3600, true, false},
	} {
		_, res := wander{start: at("2026-05-02 12:00"), hours: 1.2, machine: tt.is, receiver: evenstand.Second / 5, sure: tt.sure}.settle(t, 0, tt.said)
		// A slip of seconds is put right, unless somebody is sure of it.
		c := res.Clocks[1]
		if slip := math.Abs(tt.said-tt.is) >= 5 && !tt.sure; slip != (c.From == pipeline.ClockEstimated) || slip && math.Abs(float64(c.Offset)-tt.is) > 0.1 {
			t.Errorf("said %g s, is %g, sure %v: taken as %+v", tt.said, tt.is, tt.sure, c)
		}
		if tt.note != (c.Against != 0) {
			t.Errorf("said %g s, is %g: %g s against what was said", tt.said, tt.is, c.Against)
		}
		n := strings.Join(res.Notes, " ")
		if strings.Contains(n, "The clock of states is said to be") != tt.note || tt.note && !strings.Contains(n, "beside the receiver it looks "+word(tt.is)) {
			t.Errorf("said %g s, is %g: notes %q", tt.said, tt.is, res.Notes)
		}
		wrong := false
		for _, f := range res.Findings {
			switch {
			case f.Kind == evenstand.KindClockOff && f.Causes[0].Cause == evenstand.CauseClockSaid:
				wrong = true
			case f.Kind == evenstand.KindSourceSilent && f.Stage == evenstand.Raised:
				t.Errorf("said %g s, is %g: a silence is read out of clocks that disagree: %+v", tt.said, tt.is, f)
			}
		}
		if wrong != tt.note {
			t.Errorf("said %g s, is %g: raised %v, want %v", tt.said, tt.is, wrong, tt.note)
		}
	}
}

// word begins the words for the offsets of TestClockSaidFar.
func word(off float64) string {
	switch off {
	case 3608:
		return "1 h 00 min 08 s fast"
	case 3600:
		return "1 h 00 min 00 s fast"
	case -15:
		return "1" // 14.99 s or 15.01 s slow
	case -292:
		return "29" // 291.99 s or 292.01 s slow
	}
	return ""
}

// A clock that is told by the lifting of the planter is off from the day's
// first place on by the receiver's clock, not by its own.
func TestClockByEdgesSince(t *testing.T) {
	w := wander{start: at("2026-05-02 12:00"), hours: 1.5, machine: 0.1, fan: 3600, receiver: evenstand.Second / 5}
	_, res := w.settle(t, 0, math.NaN())
	told(t, res.Clocks[3], 3600, 0.2)
	n := 0
	for _, f := range res.Findings {
		if f.Kind == evenstand.KindClockOff {
			n++
			if d := (f.Since - w.start).Seconds(); math.Abs(d) > 60 {
				t.Errorf("%s since %.0f s after the day began", f.Kind, d)
			}
		}
	}
	if n != 1 {
		t.Errorf("%d findings of a clock that is off, want one: %v", n, res.Findings)
	}
}

// Hours between two boxes are no time over which their clocks drift apart.
func TestClockByEdgesFar(t *testing.T) {
	for _, fan := range []float64{3600, -2 * 3600, -5 * 3600} {
		w := wander{start: at("2026-05-02 12:00"), hours: 1.5, machine: 2, drift: 40e-6, fan: fan, receiver: evenstand.Second / 5}
		_, res := w.settle(t, 0, math.NaN())
		told(t, res.Clocks[3], fan, 0.1)
		if e := float64(res.Clocks[3].Error); e > 0.15 {
			t.Errorf("fan %g s off: told to within %.2f s", fan, e)
		}
	}
}

// What was declared is used though the logs contradict it by less than a slip, and
// that is said.
func TestClocksContradicted(t *testing.T) {
	k, res := wander{start: at("2026-05-02 12:00"), hours: 1.2, seeds: 3, receiver: evenstand.Second / 5}.settle(t, 0, 0)
	c := res.Clocks[2]
	if c.From != pipeline.ClockDeclared || c.Offset != 0 {
		t.Errorf("clock %+v, want what was declared", c)
	}
	n := strings.Join(res.Notes, " ")
	if !strings.Contains(n, "The clock of seeds is said to be right; beside the receiver it looks ") || !strings.Contains(n, "s fast") {
		t.Errorf("notes %q do not say that logs and words disagree", res.Notes)
	}
	if strings.Contains(n, "The clock of states") {
		t.Errorf("notes %q blame a clock that is right", res.Notes)
	}
	for _, p := range k.seeds {
		for _, s := range p {
			if s.Cell >= 0 {
				t.Fatal("a place on the disc is told though the clocks contradict one another")
			}
		}
	}
}

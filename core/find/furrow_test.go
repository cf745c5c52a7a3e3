package find_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"evenstand"
	"evenstand/core/find"
)

// furrow is what sensors in the furrow of a row tell in a second.
type furrow struct{ moist, warm, trash, press float64 }

// furrows feeds an engine with passes of 250 s and turns of 25 s, a row a second:
// 24 % of moisture, 12 °C, 9 % of trash, with the noise of sensors and what each
// is off by. at changes what a row meets.
type furrows struct {
	rows    int
	hours   float64
	whole   bool // for the whole machine only
	limits  []evenstand.Limit
	lifting float64 // N that are taken off row 5's wheels where its trash is over 0.2; 0: no load is logged
	at      func(row int, t float64, x *furrow)
	digs    []evenstand.Entry
}

func (w furrows) run() []evenstand.Finding {
	cfg := config(w.rows)
	cfg.Limits = w.limits
	e := find.New(cfg)
	rnd := rand.New(rand.NewPCG(7, 3))
	off := make([]float64, w.rows)
	for i := range off {
		off[i] = rnd.NormFloat64()
	}
	down, way := false, 0.0
	for s := range int(w.hours * 3600) {
		t := float64(s)
		planting := math.Mod(t, 275) < 250
		if planting != down {
			if down = planting; down {
				e.Lower(at(t))
			} else {
				e.Lift(at(t))
			}
		}
		if planting {
			way += fast
			var sum furrow
			for r := range w.rows {
				x := furrow{0.24, 12, 0.09, 138e3}
				if w.at != nil {
					w.at(r+1, t, &x)
				}
				if w.lifting > 0 {
					load := 450 + 100*rnd.NormFloat64()
					if r == 4 && x.trash > 0.2 {
						load -= w.lifting
					}
					e.Load(r+1, at(t), load)
					e.WheelOff(r+1, at(t), 0)
				}
				sum.moist, sum.warm, sum.trash = sum.moist+x.moist, sum.warm+x.warm, sum.trash+x.trash
				if w.whole {
					continue
				}
				e.Furrow(r+1, evenstand.SeedZoneMoisture, x.moist+0.005*off[r]+0.01*rnd.NormFloat64(), true)
				e.Furrow(r+1, evenstand.SeedZoneTemperature, x.warm+0.15*off[r]+0.15*rnd.NormFloat64(), true)
				e.Furrow(r+1, evenstand.SlotTrash, math.Max(0, x.trash+0.02*rnd.NormFloat64()), true)
				e.Furrow(r+1, evenstand.CleanerPressure, x.press+1e3*rnd.NormFloat64(), true)
			}
			for r := range w.rows {
				if n := float64(w.rows); w.whole {
					e.Furrow(r+1, evenstand.SeedZoneMoisture, sum.moist/n, false)
					e.Furrow(r+1, evenstand.SeedZoneTemperature, sum.warm/n, false)
					e.Furrow(r+1, evenstand.SlotTrash, sum.trash/n, false)
				}
			}
		}
		for len(w.digs) > 0 && w.digs[0].T <= at(t) {
			e.Noted(&w.digs[0])
			w.digs = w.digs[1:]
		}
		e.Tick(at(t+1), find.Bar{Planting: planting, Speed: fast, Way: way})
	}
	return e.Finish(at(w.hours * 3600))
}

// in tells whether t lies in a span.
func in(t, from, to float64) bool { return t >= from && t < to }

func TestFurrow(t *testing.T) {
	bursts := func(t float64) bool { return math.Mod(t, 12) < 4 }
	for _, tt := range []struct {
		name     string
		w        furrows
		kind     string
		rows     evenstand.Rows // none: all
		from, to float64        // to 0: it lasts; the beginning lies within 60 s
		cause    string
	}{
		{name: "all is well", w: furrows{}},
		{name: "a patch of residue that all go through", w: furrows{at: func(_ int, t float64, x *furrow) {
			if in(t, 3600, 3690) {
				x.trash += 0.4
			}
		}}},
		{name: "last year's combine rows", w: furrows{at: func(r int, t float64, x *furrow) {
			if pass := int(t / 275); (r+5*pass)%12 < 2 {
				x.trash *= 1.6
			}
		}}},
		{name: "a dead sensor", w: furrows{at: func(r int, t float64, x *furrow) {
			if r == 5 && t >= 3600 {
				x.moist = -1
			}
		}}},
		{name: "some dry spots", w: furrows{at: func(_ int, t float64, x *furrow) {
			if math.Mod(t, 250) < 50 {
				x.moist -= 0.12
			}
		}}},
		{name: "dry from an hour on", kind: evenstand.KindDryFurrow, from: 3600, cause: evenstand.CauseDrying, w: furrows{at: func(_ int, t float64, x *furrow) {
			if t >= 3600 {
				x.moist -= 0.12
			}
		}}},
		{name: "dry, and moist again, twice: one finding", kind: evenstand.KindDryFurrow, from: 3600, to: 6600, cause: evenstand.CauseDrying, w: furrows{hours: 2.5, at: func(_ int, t float64, x *furrow) {
			if in(t, 3600, 4500) || in(t, 5700, 6600) {
				x.moist -= 0.12
			}
		}}},
		{name: "dry since the cleaners were set", kind: evenstand.KindDryFurrow, from: 3600, cause: evenstand.CauseCleanerDeep, w: furrows{at: func(_ int, t float64, x *furrow) {
			if t >= 3600 {
				x.moist, x.trash, x.press = x.moist-0.12, x.trash/2, x.press*1.3
			}
		}}},
		{name: "dry by the machine's own sensor", kind: evenstand.KindDryFurrow, from: 3600, cause: evenstand.CauseDrying, w: furrows{whole: true, at: func(_ int, t float64, x *furrow) {
			if t >= 3600 {
				x.moist -= 0.12
			}
		}}},
		{name: "by somebody's own limit", kind: evenstand.KindDryFurrow, from: 0, cause: evenstand.CauseDrying, w: furrows{limits: []evenstand.Limit{{Of: evenstand.SeedZoneMoisture, Least: 0.28, Most: math.NaN()}}}},
		{name: "cold in the morning", kind: evenstand.KindColdFurrow, from: 0, to: 3600, cause: evenstand.CauseColdWeather, w: furrows{at: func(_ int, t float64, x *furrow) {
			if t < 3600 {
				x.warm -= 4
			}
		}}},
		{name: "cleaners too light", kind: evenstand.KindDirtyFurrow, from: 3600, cause: evenstand.CauseCleanerLight, w: furrows{at: func(_ int, t float64, x *furrow) {
			if t >= 3600 {
				x.trash, x.press = x.trash+0.25, x.press*0.7
			}
		}}},
		{name: "a closing wheel", kind: evenstand.KindDryFurrow, rows: evenstand.Rows{5}, from: 3600, to: 5400, cause: evenstand.CauseClosing, w: furrows{at: func(r int, t float64, x *furrow) {
			if r == 5 && in(t, 3600, 5400) {
				x.moist, x.warm = x.moist-0.04, x.warm+0.8
			}
		}}},
		{name: "a firmer, on the outermost row", kind: evenstand.KindDryFurrow, rows: evenstand.Rows{16}, from: 3600, cause: evenstand.CauseFirmer, w: furrows{at: func(r int, t float64, x *furrow) {
			if r == 16 && t >= 3600 {
				x.moist -= 0.04
			}
		}}},
		{name: "a trench", kind: evenstand.KindDryFurrow, rows: evenstand.Rows{5}, from: 3600, cause: evenstand.CauseCleanerDeep, w: furrows{at: func(r int, t float64, x *furrow) {
			if r == 5 && t >= 3600 {
				x.moist, x.trash = x.moist-0.04, x.trash*0.3
			}
		}}},
		{name: "one row cold", kind: evenstand.KindColdFurrow, rows: evenstand.Rows{5}, from: 3600, cause: evenstand.CauseCleanerLight, w: furrows{at: func(r int, t float64, x *furrow) {
			if r == 5 && t >= 3600 {
				x.warm -= 1.5
			}
		}}},
		{name: "one row full of trash", kind: evenstand.KindDirtyFurrow, rows: evenstand.Rows{5}, from: 3600, cause: evenstand.CauseCleanerLight, w: furrows{at: func(r int, t float64, x *furrow) {
			if r == 5 && t >= 3600 {
				x.trash += 0.2
			}
		}}},
		{name: "one row without air", kind: evenstand.KindDirtyFurrow, rows: evenstand.Rows{5}, from: 3600, cause: evenstand.CauseCleanerAir, w: furrows{at: func(r int, t float64, x *furrow) {
			if r == 5 && t >= 3600 {
				x.trash, x.press = x.trash+0.2, 40e3
			}
		}}},
		{name: "a plugged cleaner", kind: evenstand.KindCleanerUpset, rows: evenstand.Rows{5}, from: 3600, to: 5400, cause: evenstand.CauseCleanerPlugged, w: furrows{at: func(r int, t float64, x *furrow) {
			if r == 5 && in(t, 3600, 5400) && bursts(t) {
				x.trash += 0.25
			}
		}}},
		{name: "one that lifts its row", kind: evenstand.KindCleanerUpset, rows: evenstand.Rows{5}, from: 3600, cause: evenstand.CauseCleanerPlugged, w: furrows{lifting: 200, at: func(r int, t float64, x *furrow) {
			if r == 5 && t >= 3600 {
				x.trash += 0.25
			}
		}}},
		{name: "one that leaves its row dry as well", kind: evenstand.KindCleanerUpset, rows: evenstand.Rows{5}, from: 3600, cause: evenstand.CauseCleanerPlugged, w: furrows{at: func(r int, t float64, x *furrow) {
			if r == 5 && t >= 3600 {
				x.trash, x.moist = x.trash+0.25, x.moist-0.05
			}
		}}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			w := tt.w
			w.rows = 16
			if w.hours == 0 {
				w.hours = 2
			}
			var got []evenstand.Finding
			for _, f := range w.run() {
				if f.Stage == evenstand.Raised {
					got = append(got, f)
				}
			}
			if tt.kind == "" {
				if len(got) > 0 {
					t.Fatalf("%s on rows %s: %+v", got[0].Kind, got[0].Rows, got[0].Evidence)
				}
				return
			}
			rows := tt.rows
			if rows == nil {
				rows = sixteen()
			}
			if len(got) != 1 || got[0].Kind != tt.kind || !slices.Equal(got[0].Rows, rows) {
				for _, f := range got {
					t.Logf("%s on rows %s since %g: %+v", f.Kind, f.Rows, (f.Since - at(0)).Seconds(), f.Evidence)
				}
				t.Fatalf("%d findings", len(got))
			}
			f := got[0]
			if since := (f.Since - at(0)).Seconds(); math.Abs(since-tt.from) > 60 {
				t.Errorf("since %g s, want %g", since, tt.from)
			}
			if (f.Until != nil) != (tt.to > 0) {
				t.Errorf("until %v", f.Until)
			} else if f.Until != nil && math.Abs((*f.Until-at(0)).Seconds()-tt.to) > 120 {
				t.Errorf("until %g s, want %g", (*f.Until - at(0)).Seconds(), tt.to)
			}
			if len(f.Causes) == 0 || f.Causes[0].Cause != tt.cause {
				t.Errorf("causes %+v, want %s first", f.Causes, tt.cause)
			}
			if want := evenstand.GradeB; !w.whole && f.Grade != want {
				t.Errorf("grade %s", f.Grade)
			}
		})
	}
}

// Load that is low on a row without trash is the row's wheels, and no cleaner.
func TestNoCleaner(t *testing.T) {
	w := wheels{rows: 16, hours: 1.5, seed: 3, press: func(r int, t float64, _ int) (float64, float64) {
		if r == 5 && t > 2400 {
			return -500, 0
		}
		return 0, 0
	}}
	for _, f := range w.run() {
		if f.Stage == evenstand.Raised && f.Kind != evenstand.KindContactLoss {
			t.Errorf("%s", f.Kind)
		}
	}
}

func TestSlotOpen(t *testing.T) {
	for _, tt := range []struct {
		note         string
		open, closed bool
	}{
		{"slot open", true, false},
		{"Slots wide open behind the wheels", true, false},
		{"open furrow, seed to be seen", true, false},
		{"furrow not closed", true, false},
		{"seed trench not closing", true, false},
		{"2.1 in, air pockets", true, false},
		{"air gap round the seed", true, false},
		{"shiny sidewall", true, false},
		{"side walls smeared", true, false},
		{"no open slot", false, true},
		{"no air pockets, good depth", false, true},
		{"slot closed well", false, true},
		{"sidewall crumbly", false, false},
		{"slot shut, firm", false, true},
		{"opened the furrow: 2 in, moist", false, false},
		{"2 in", false, false},
		{"", false, false},
	} {
		if open, closed := find.SlotOpen(tt.note); open != tt.open || closed != tt.closed {
			t.Errorf("%q: open %v, closed %v", tt.note, open, closed)
		}
	}
}

func FuzzSlotOpen(f *testing.F) {
	f.Add("no open slot")
	f.Fuzz(func(t *testing.T, note string) {
		if open, closed := find.SlotOpen(note); open && closed {
			t.Errorf("%q is both", note)
		}
	})
}

// A dig opens the finding, another one adds to it, and one that finds the slot
// closed ends it; what is logged beside it tells the cause.
func TestSlots(t *testing.T) {
	dig := func(t float64, rows evenstand.Rows, note string) evenstand.Entry {
		return evenstand.Entry{T: at(t), What: "dig", Rows: rows, Value: math.NaN(), Note: note}
	}
	for _, tt := range []struct {
		name  string
		moist float64
		trash float64
		digs  []evenstand.Entry
		want  int
		rows  evenstand.Rows
		over  bool
		n     float64
		cause string
	}{
		{"a word", 0.22, 0.09, []evenstand.Entry{dig(1200, evenstand.Rows{4}, "slot open")}, 1, evenstand.Rows{4}, false, 1, evenstand.CauseClosing},
		{"twice", 0.22, 0.09, []evenstand.Entry{dig(1200, evenstand.Rows{4}, "slot open"), dig(1500, evenstand.Rows{4}, "slot still open")}, 1, evenstand.Rows{4}, false, 2, evenstand.CauseClosing},
		{"and closed", 0.22, 0.09, []evenstand.Entry{dig(1200, evenstand.Rows{4}, "slot open"), dig(2400, evenstand.Rows{4}, "slot closed well")}, 1, evenstand.Rows{4}, true, 1, evenstand.CauseClosing},
		{"another row is closed", 0.22, 0.09, []evenstand.Entry{dig(1200, evenstand.Rows{4}, "slot open"), dig(2400, evenstand.Rows{5}, "slot closed well")}, 1, evenstand.Rows{4}, false, 1, evenstand.CauseClosing},
		{"in wet ground", 0.32, 0.09, []evenstand.Entry{dig(1200, nil, "air pockets")}, 1, sixteen(), false, 1, evenstand.CauseWetWall},
		{"the words say it", 0.22, 0.09, []evenstand.Entry{dig(1200, nil, "smeared sidewall, slot open")}, 1, sixteen(), false, 1, evenstand.CauseWetWall},
		{"straw", 0.22, 0.24, []evenstand.Entry{dig(1200, evenstand.Rows{4}, "straw in it, slot open")}, 1, evenstand.Rows{4}, false, 1, evenstand.CauseHairpin},
		{"no dig", 0.22, 0.09, []evenstand.Entry{{T: at(1200), What: "remark", Value: math.NaN(), Note: "slot open"}}, 0, nil, false, 0, ""},
	} {
		t.Run(tt.name, func(t *testing.T) {
			w := furrows{rows: 16, hours: 1, digs: tt.digs, at: func(_ int, _ float64, x *furrow) { x.moist, x.trash = tt.moist, tt.trash }}
			var got []evenstand.Finding
			for _, f := range w.run() {
				if f.Kind == evenstand.KindSlotOpen {
					got = append(got, f)
				}
			}
			if len(got) != tt.want {
				t.Fatalf("%d findings", len(got))
			}
			if tt.want == 0 {
				return
			}
			f := got[0]
			if !slices.Equal(f.Rows, tt.rows) || (f.Until != nil) != tt.over || f.Grade != evenstand.GradeD || f.Since != at(1200) {
				t.Errorf("rows %s, until %v, grade %s", f.Rows, f.Until, f.Grade)
			}
			if n := figure(t, f, "digs that found it"); float64(n.Value) != tt.n {
				t.Errorf("%v digs", n.Value)
			}
			if f.Causes[0].Cause != tt.cause {
				t.Errorf("causes %+v", f.Causes)
			}
		})
	}
}

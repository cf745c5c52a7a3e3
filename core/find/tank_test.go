package find_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"evenstand"
	"evenstand/core/find"
)

// day feeds an engine with eight hours of work: passes of 200 s and turns of
// 25 s, a stop of 30 s amid every fourth pass, a fill of ten minutes every two
// hours. A tank of 1.5 m3 gives 0.19 L a second while planting. scale is by how
// much more goes out than the meter shows, leak gives what is lost besides, m3 a
// second.
func tankDay(seed uint64, scale float64, leak func(t float64) float64, noted bool, hours float64) []evenstand.Finding {
	return tankDayEvery(1, seed, scale, leak, noted, hours)
}

// tankDayEvery is one whose flow is logged every so many seconds.
func tankDayEvery(every int, seed uint64, scale float64, leak func(t float64) float64, noted bool, hours float64) []evenstand.Finding {
	const rows, use, size = 16, 1.9e-4, 1.5
	cfg := config(rows)
	cfg.Tanks = []find.Tank{{N: 1, Name: "starter", Capacity: size}}
	e := find.New(cfg)
	r := rand.New(rand.NewPCG(seed, 9))
	off := 0.004 * size * r.NormFloat64()
	level, down, way, gone := 0.95*size, false, 0.0, 0.0
	for s := range int(hours * 3600) {
		t := float64(s)
		k := math.Mod(t, 225)
		in := math.Mod(t, 7200)
		fill := in >= 6600
		standing := fill || math.Mod(t, 900) >= 100 && math.Mod(t, 900) < 130
		lowered := k < 200 && !fill
		v := fast
		switch {
		case standing:
			v = 0
		case !lowered:
			v = 1.8
		}
		if lowered != down {
			if down = lowered; down {
				e.Lower(at(t))
			} else {
				e.Lift(at(t))
			}
		}
		way += v
		flow := 0.0
		if lowered && !standing {
			flow = use * (1 + 0.1*r.NormFloat64())
			gone += flow * scale
		}
		level -= flow*scale + leak(t)
		if fill && in >= 6700 && in < 7000 {
			level += gone / 300
		}
		if fill && in >= 7000 && gone > 0 {
			if noted {
				e.Filled(find.Fill{T: at(t), Volume: gone, Seeds: math.NaN(), Words: "starter"})
			}
			gone = 0
		}
		if s%5 == 0 {
			e.TankLevel(1, math.Max(0, level+off+0.006*size*r.NormFloat64()))
		}
		if s%every == 0 {
			e.FlowEver(0, at(t), flow, v)
		}
		bar := find.Bar{Way: way, Rolling: v}
		if lowered {
			bar = find.Bar{Planting: !standing, Speed: v, Way: way, Rolling: v}
		}
		e.Tick(at(t+1), bar)
	}
	return e.Finish(at(hours * 3600))
}

func none(float64) float64 { return 0 }

func TestTanks(t *testing.T) {
	leak := func(t float64) float64 {
		if t >= 10000 && t < 13000 {
			return 2e-3 / 60 // 2 L a minute
		}
		return 0
	}
	for _, tt := range []struct {
		name  string
		scale float64
		leak  func(float64) float64
		noted bool
		cause string
	}{
		{"all is well", 1, none, true, ""},
		{"all is well, fills not written down", 1, none, false, ""},
		{"a meter that shows too little", 1.1, none, true, evenstand.CauseFlowMeter},
		{"a meter that shows too much, fills not written down", 0.9, none, false, evenstand.CauseFlowMeter},
		{"a leak of 100 L", 1, leak, true, evenstand.CauseLeak},
	} {
		t.Run(tt.name, func(t *testing.T) {
			days := uint64(5)
			if testing.Short() {
				days = 1
			}
			for seed := range days {
				cause := ""
				for _, f := range tankDay(seed+1, tt.scale, tt.leak, tt.noted, 8) {
					if f.Kind != evenstand.KindTankDisagrees || f.Stage != evenstand.Raised {
						continue
					}
					cause = f.Causes[0].Cause
					if cause == evenstand.CauseLeak {
						if d := math.Abs((f.Since - at(10000)).Seconds()); d > 1200 {
							t.Errorf("day %d: the leak began %.0f s off", seed, d)
						}
						continue
					}
					k := f.Evidence[0]
					if float64(k.Low) > tt.scale || float64(k.High) < tt.scale {
						t.Logf("day %d: scale %.3f (%.3f to %.3f), true %.2f", seed, float64(k.Value), float64(k.Low), float64(k.High), tt.scale)
					}
					if math.Abs(float64(k.Value)-tt.scale) > 0.03 {
						t.Errorf("day %d: scale %.3f, true %.2f", seed, float64(k.Value), tt.scale)
					}
				}
				if cause != tt.cause {
					t.Errorf("day %d: %q, want %q", seed, cause, tt.cause)
				}
			}
		})
	}
}

// Before a tank runs empty it is said, how far it goes, and the fill ends it.
func TestRunsOut(t *testing.T) {
	dry := func(hours float64) *evenstand.Finding {
		for _, f := range tankDay(3, 1.35, none, true, hours) {
			if f.Kind == evenstand.KindRefillSoon {
				return &f
			}
		}
		return nil
	}
	if f := dry(0.8); f != nil {
		t.Errorf("said after 48 minutes: %v", f.Evidence)
	}
	f := dry(1.8)
	if f == nil || f.Until != nil {
		t.Fatalf("not said, or over: %v", f)
	}
	if f = dry(2.1); f == nil || f.Until == nil {
		t.Errorf("the fill does not end it: %v", f)
	}
}

// A log of a word in five or ten seconds tells of the same use.
func TestTanksSlowLog(t *testing.T) {
	for _, every := range []int{5, 10} {
		for _, f := range tankDayEvery(every, 4, 1, none, true, 6) {
			if f.Kind == evenstand.KindTankDisagrees {
				t.Errorf("a word every %d s: %v", every, f.Evidence)
			}
		}
	}
}

// Fills go into the tank that is named, or by what each lacks, and no tank holds
// more than its size.
func TestFillsOfTwoTanks(t *testing.T) {
	board := func(fills ...find.Fill) map[int]float64 {
		cfg := config(16)
		left, right := []int{1, 2, 3, 4, 5, 6, 7, 8}, []int{9, 10, 11, 12, 13, 14, 15, 16}
		cfg.Tanks = []find.Tank{{N: 1, Name: "starter", Capacity: 0.8, Rows: left}, {N: 2, Name: "starter", Capacity: 0.8, Rows: right}}
		e := find.New(cfg)
		for _, f := range fills {
			f.T, f.Seeds = at(0), math.NaN()
			e.Filled(f)
		}
		e.Lower(at(0))
		way := 0.0
		for s := range 900 {
			way += fast
			for r := 1; r <= 16; r++ {
				e.FlowEver(r, at(float64(s)), 1e-5, fast)
			}
			e.Tick(at(float64(s+1)), find.Bar{Planting: true, Speed: fast, Way: way, Rolling: fast})
		}
		out := map[int]float64{}
		for _, o := range e.OnBoard() {
			if o.Tank > 0 {
				out[o.Tank] = float64(o.Left)
			}
		}
		return out
	}
	const used = 900 * 8e-5
	near := func(what string, got map[int]float64, one, two float64) {
		t.Helper()
		if math.Abs(got[1]-one) > 0.02 || math.Abs(got[2]-two) > 0.02 {
			t.Errorf("%s: %v, want %.2f and %.2f", what, got, one, two)
		}
	}
	near("both together", board(find.Fill{Volume: 1.2, Words: "starter"}), 0.66-used, 0.66-used) // a tenth was there
	near("each by its number", board(find.Fill{Volume: 0.3, Words: "tank 1 starter"}, find.Fill{Volume: 0.6, Words: "starter tank 2"}), 0.33-used, 0.66-used)
	near("more than there is room for", board(find.Fill{Volume: 4, Words: "starter"}), 0.8-used, 0.8-used)
}

// Over many days with a meter within 3 %, a gauge within half a hundredth and a
// use that wanders, what is said of how far the tank goes holds the truth nine
// times in ten (methods, o: 0.90; the issue asks for 0.85 to 0.95).
func TestForecastCovers(t *testing.T) {
	if testing.Short() {
		t.Skip("many days")
	}
	const size, rows, days = 1.5, 16, 300
	inside, square := 0, 0.0
	for day := range uint64(days) {
		r := rand.New(rand.NewPCG(day, 31))
		cfg := config(rows)
		cfg.Tanks = []find.Tank{{N: 1, Name: "starter", Capacity: size}}
		e := find.New(cfg)
		scale, off := 1+0.03*r.NormFloat64(), 0.005*size*r.NormFloat64()
		level, x, slosh := 0.95*size, r.NormFloat64(), 0.0
		const wander = 0.9 // of the use, from minute to minute
		way, down := 0.0, false
		use := func() float64 { return 1.9e-4 * (1 + 0.12*x) }
		step := func(s int, log bool) float64 {
			k := s % 225
			standing, lowered := s%900 >= 100 && s%900 < 130, k < 200
			v := fast
			if standing {
				v = 0
			} else if !lowered {
				v = 1.8
			}
			if s%60 == 0 {
				x = wander*x + math.Sqrt(1-wander*wander)*r.NormFloat64()
			}
			flow := 0.0
			if lowered && !standing {
				flow = use()
			}
			level -= flow * scale
			if !log {
				return flow * scale
			}
			if lowered != down {
				if down = lowered; down {
					e.Lower(at(float64(s)))
				} else {
					e.Lift(at(float64(s)))
				}
			}
			way += v
			if s%5 == 0 {
				slosh = 0.8*slosh + 0.6*r.NormFloat64()
				e.TankLevel(1, math.Max(1e-6, level+off+0.01*size*slosh))
			}
			e.FlowEver(0, at(float64(s)), flow, v)
			bar := find.Bar{Way: way, Rolling: v}
			if lowered {
				bar = find.Bar{Planting: !standing, Speed: v, Way: way, Rolling: v}
			}
			e.Tick(at(float64(s+1)), bar)
			return flow * scale
		}
		const until = 5400
		for s := range until {
			step(s, true)
		}
		b := e.OnBoard()
		i := 0
		for i < len(b) && b[i].Tank != 1 {
			i++
		}
		if i == len(b) {
			t.Fatal("nothing is said of the tank")
		}
		// What it really does from here on.
		lasts := 0.0
		for s := until; level > 0 && s < until+40000; s++ {
			if step(s, false) > 0 {
				lasts += fast * 0.762 * rows
			}
		}
		d := float64(b[i].Area) - lasts
		square += d * d
		if math.Abs(d) <= 1.645*float64(b[i].AreaSD) {
			inside++
		}
	}
	cover := float64(inside) / days
	t.Logf("inside %.3f, error %.2f acres", cover, math.Sqrt(square/days)/evenstand.Acre)
	if cover < 0.85 || cover > 0.95 {
		t.Errorf("the 90 %% interval holds %.3f", cover)
	}
}

// Two tanks that nobody put on the card feed the same rows as far as anyone
// knows: what runs is not told apart, and nothing is said of them.
func TestTanksNotOnTheCard(t *testing.T) {
	e := find.New(config(16))
	level, way := 1.4, 0.0
	for s := range 3 * 3600 {
		v, planting := fast, s%900 >= 60
		if !planting {
			v = 0
		}
		if s == 0 {
			e.Lower(at(0))
		}
		flow := 0.0
		if planting {
			flow = 1e-4
		}
		level -= flow / 2
		way += v
		if s%5 == 0 {
			e.TankLevel(1, level)
			e.TankLevel(2, level)
		}
		e.FlowEver(0, at(float64(s)), flow, v)
		e.Tick(at(float64(s+1)), find.Bar{Planting: planting, Speed: v, Way: way, Rolling: v})
	}
	for _, f := range e.Finish(at(3 * 3600)) {
		if f.Kind == evenstand.KindTankDisagrees {
			t.Errorf("two tanks that share the flow: %v", f.Evidence)
		}
	}
}

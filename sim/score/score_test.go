package score_test

import (
	"bytes"
	"encoding/json"
	"math"
	"strings"
	"testing"

	"evenstand"
	"evenstand/sim"
	"evenstand/sim/score"
)

const (
	sec = evenstand.Second
	t0  = evenstand.Micros(1_777_725_600) * sec
)

func at(s float64) evenstand.Micros { return t0 + evenstand.FromSeconds(s) }

func fault(id, kind string, from, to float64, rows ...int) sim.Fault {
	return sim.Fault{
		ID: id, Kind: kind, Rows: rows, From: at(from), To: at(to), Happened: true, Detectable: true,
		Cause: evenstand.CauseCell, Causes: []string{evenstand.CauseCell}, Expected: kind, Loss: sim.Loss{Seed: 1, Yield: 9}, Bushels: 2,
	}
}

func finding(id, kind string, since float64, rows ...int) evenstand.Finding {
	return evenstand.Finding{
		ID: id, Kind: kind, Stage: evenstand.Raised, Rows: rows, Since: at(since), Alarm: at(since + 10),
		Causes: []evenstand.Cause{{Cause: evenstand.CauseCell, Probability: 0.7}, {Cause: evenstand.CauseSeal, Probability: 0.2}},
		Money:  evenstand.Money{Unit: "USD", SoFar: evenstand.Range{Low: 8, Mid: 11, High: 14}},
	}
}

func truth(fs ...sim.Fault) sim.Truth {
	return sim.Truth{
		Day: sim.DayTruth{Scenario: "test", Hours: 10, Cells: 40}, Faults: fs,
		Passes: []sim.PassTruth{{Pass: 1, Start: at(0), End: at(1000), Places: 25000}, {Pass: 2, Start: at(1100), End: at(2100), Places: 25000}},
	}
}

// Rules of the simulator's specification, section 9: same kind or family, rows
// overlap of half or more, start within max(2 min, a quarter of the length),
// one truth one finding.
func TestMatching(t *testing.T) {
	weak := fault("F1", evenstand.KindBlockedCell, 0, 100, 5)
	weak.Detectable = false
	for _, tt := range []struct {
		name                              string
		truth                             sim.Fault
		findings                          []evenstand.Finding
		matches, missed, strays, excused_ int
	}{
		{"same kind", fault("F1", "row-skips", 0, 400, 5), []evenstand.Finding{finding("a", "row-skips", 30, 5)}, 1, 0, 0, 0},
		{"the cell family", fault("F1", "blocked-cell", 0, 400, 5), []evenstand.Finding{finding("a", "weak-cell", 30, 5)}, 1, 0, 0, 0},
		{"another kind", fault("F1", "row-skips", 0, 400, 5), []evenstand.Finding{finding("a", "row-doubles", 30, 5)}, 0, 1, 1, 0},
		{"another row", fault("F1", "row-skips", 0, 400, 5), []evenstand.Finding{finding("a", "row-skips", 30, 6)}, 0, 1, 1, 0},
		{"half the rows", fault("F1", "low-vacuum", 0, 400, 1, 2, 3, 4), []evenstand.Finding{finding("a", "low-vacuum", 30, 3, 4)}, 1, 0, 0, 0},
		{"fewer than half", fault("F1", "low-vacuum", 0, 400, 1, 2, 3, 4, 5), []evenstand.Finding{finding("a", "low-vacuum", 30, 4, 5)}, 0, 1, 1, 0},
		{"two minutes late", fault("F1", "row-skips", 0, 400, 5), []evenstand.Finding{finding("a", "row-skips", 120, 5)}, 1, 0, 0, 0},
		{"later than that", fault("F1", "row-skips", 0, 400, 5), []evenstand.Finding{finding("a", "row-skips", 121, 5)}, 0, 1, 1, 0},
		{"a quarter of its length early", fault("F1", "row-skips", 1000, 3000, 5), []evenstand.Finding{finding("a", "row-skips", 500, 5)}, 1, 0, 0, 0},
		{"earlier than that", fault("F1", "row-skips", 1000, 3000, 5), []evenstand.Finding{finding("a", "row-skips", 499, 5)}, 0, 1, 1, 0},
		{"said twice", fault("F1", "row-skips", 0, 400, 5), []evenstand.Finding{finding("a", "row-skips", 30, 5), finding("b", "row-skips", 60, 5)}, 1, 0, 1, 0},
		{"weaker than demanded, found", weak, []evenstand.Finding{finding("a", "weak-cell", 30, 5)}, 1, 0, 0, 0},
		{"weaker than demanded, not found", weak, nil, 0, 0, 0, 0},
	} {
		t.Run(tt.name, func(t *testing.T) {
			r := score.Score(tt.findings, truth(tt.truth))
			if len(r.Matches) != tt.matches || len(r.Missed) != tt.missed || len(r.False) != tt.strays || len(r.Excused) != tt.excused_ {
				t.Errorf("%d matches, %d missed, %d false, %d excused; want %d, %d, %d, %d\n%+v", len(r.Matches), len(r.Missed), len(r.False), len(r.Excused),
					tt.matches, tt.missed, tt.strays, tt.excused_, r)
			}
		})
	}
}

// A halt between two passes tells nobody on which side of it a fault began:
// only time at work counts, in the distance and in the length it is held to.
func TestAHaltIsNoErrorOfAStart(t *testing.T) {
	for _, tt := range []struct {
		name           string
		from, to       float64
		since          float64
		matches, false int
	}{
		{"10 s before the halt, found 5 s behind it", 990, 4000, 3005, 1, 0},
		{"found before the halt, began behind it", 3100, 4000, 700, 0, 1},
		{"150 s of work apart, halt between", 900, 3400, 3050, 0, 1},
		{"a quarter of the time at work", 100, 4000, 575, 1, 0},
		{"more than a quarter of the time at work", 100, 4000, 576, 0, 1},
	} {
		day := truth(fault("F1", "row-skips", tt.from, tt.to, 5))
		day.Passes = []sim.PassTruth{{Pass: 1, Start: at(0), End: at(1000), Places: 25000}, {Pass: 2, Start: at(3000), End: at(4000), Places: 25000}}
		r := score.Score([]evenstand.Finding{finding("a", "row-skips", tt.since, 5)}, day)
		if len(r.Matches) != tt.matches || len(r.False) != tt.false {
			t.Errorf("%s: %d matches, %d false; want %d, %d", tt.name, len(r.Matches), len(r.False), tt.matches, tt.false)
		}
	}
}

// Two findings could both be the first fault, but only one of them the second:
// both faults must be matched, whatever the order.
func TestMatchingIsOneToOneAndComplete(t *testing.T) {
	day := truth(fault("F1", "row-skips", 0, 400, 5), fault("F2", "row-skips", 200, 600, 5))
	a, b := finding("a", "row-skips", 90, 5), finding("b", "row-skips", 10, 5)
	for _, fs := range [][]evenstand.Finding{{a, b}, {b, a}} {
		r := score.Score(fs, day)
		if len(r.Matches) != 2 || len(r.Missed) != 0 || len(r.False) != 0 {
			t.Errorf("%d matches, %d missed, %d false; want 2, 0, 0", len(r.Matches), len(r.Missed), len(r.False))
		}
	}
}

func TestApart(t *testing.T) {
	rock := fault("R1", sim.KindRock, 0, 10, 3)
	rock.Distract, rock.Excused, rock.Detectable = true, []string{evenstand.KindUpset}, false
	misses := fault("R2", sim.KindSensorMisses, 0, 900, 4)
	misses.Distract, misses.Excused, misses.Detectable = true, []string{"row-skips"}, false
	never := fault("F9", "row-skips", 0, 0, 7)
	never.Happened = false
	upset := finding("u", evenstand.KindUpset, 1, 3)
	hint := finding("h", "row-skips", 1, 9)
	hint.Stage = evenstand.Suspected
	r := score.Score([]evenstand.Finding{upset, hint, finding("s", "row-skips", 100, 4), finding("x", "row-skips", 1, 3)}, truth(rock, misses, never))
	if r.Upsets != 1 || r.Hinted != 1 || len(r.Excused) != 1 || len(r.False) != 1 || len(r.Missed) != 0 {
		t.Errorf("upsets %d, suspected %d, excused %d, false %d, missed %d; want 1, 1, 1, 1, 0", r.Upsets, r.Hinted, len(r.Excused), len(r.False), len(r.Missed))
	}
}

// By hand: the fault begins at 990 s, the alarm comes at 1,110 s: 10 s of pass
// 1 and 10 s of pass 2 at 25 places a second are 500 places, 12.5 turns of 40.
// The true loss of 10 lies within 8 to 14, its middle 11 is 10 % off, the
// range 6/11 of it. Brier: (1-0.7)² = 0.09.
func TestFigures(t *testing.T) {
	f := finding("a", "blocked-cell", 1000, 5)
	f.Alarm = at(1110)
	day := truth(fault("F1", "blocked-cell", 990, 2000, 5), fault("F2", "row-skips", 100, 900, 8))
	r := score.Score([]evenstand.Finding{f, finding("b", "row-doubles", 5, 2)}, day)
	r.Merge(score.Score(nil, truth()))
	s := r.Summary()
	k := s.Kinds["cell"]
	got := map[string]float64{
		"days": float64(s.Days), "hours": s.Hours, "delay": float64(k.DelayS.Median), "turns": float64(k.Turns.Median), "planting": float64(k.Planting.Median), "start": float64(k.StartS.P90),
		"recall": float64(s.All.Recall.Share), "precision": float64(s.All.Precision.Share), "false": float64(s.FalsePer10h), "cause": float64(s.CauseRight.Share),
		"brier": float64(s.Brier), "inside": float64(s.Money.Inside.Share), "off": float64(s.Money.Off), "width": float64(s.Money.Width),
	}
	want := map[string]float64{
		"days": 2, "hours": 20, "delay": 120, "turns": 12.5, "planting": 20, "start": 10, "recall": 0.5, "precision": 0.5, "false": 0.5, "cause": 1,
		"brier": 0.09, "inside": 1, "off": 0.1, "width": 6.0 / 11,
	}
	for name, w := range want {
		if math.Abs(got[name]-w) > 1e-9 {
			t.Errorf("%s = %g, want %g", name, got[name], w)
		}
	}
	var text, js bytes.Buffer
	if err := r.WriteText(&text); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"2 days, 20.0 machine-hours", "1/2 0.50", "F2 row-skips on rows 8"} {
		if !strings.Contains(text.String(), want) {
			t.Errorf("the text lacks %q:\n%s", want, text.String())
		}
	}
	if err := r.WriteJSON(&js); err != nil {
		t.Fatal(err)
	}
	var back struct {
		Summary score.Summary `json:"summary"`
	}
	if err := json.Unmarshal(js.Bytes(), &back); err != nil {
		t.Fatal(err)
	}
	if back.Summary.All.Recall.Of != 2 {
		t.Errorf("JSON came back with %+v", back.Summary.All.Recall)
	}
}

// In bushels the truth is held in bushels; a finding that names another cause
// than a dead sensor is not held to the loss of a dead sensor.
func TestMoney(t *testing.T) {
	f := finding("a", "blocked-cell", 0, 5)
	f.Money.Unit, f.Money.SoFar = "bu", evenstand.Range{Low: 1, Mid: 2, High: 3}
	if r := score.Score([]evenstand.Finding{f}, truth(fault("F1", "blocked-cell", 0, 900, 5))); !r.Matches[0].Money.Inside() || r.Matches[0].Money.True != 2 {
		t.Errorf("money %+v, want 2 bushels inside", r.Matches[0].Money)
	}
	dead := fault("F1", "row-stopped", 0, 900, 5)
	dead.Cause, dead.Causes = evenstand.CauseSensor, []string{evenstand.CauseSensor, evenstand.CauseDrive}
	g := finding("a", "row-stopped", 0, 5)
	g.Causes = []evenstand.Cause{{Cause: evenstand.CauseDrive, Probability: 0.6}}
	if r := score.Score([]evenstand.Finding{g}, truth(dead)); r.Matches[0].Money != nil || !r.Matches[0].CauseRight {
		t.Errorf("match %+v: want no money and a right cause", r.Matches[0])
	}
}

// A thousandth of a minute of arc north is 1.8518 m at 45 degrees latitude
// (the nautical mile's definition of old, 1,852 m a minute, within 1 m).
func TestPlaces(t *testing.T) {
	seeds := []sim.SeedTruth{{Pass: 1, Row: 1, T: at(1), Lat: 45, Lon: 9}, {Pass: 2, Row: 1, T: at(2), Lat: 45, Lon: 9}, {Pass: 1, Row: 2, T: at(3), Lat: 45, Lon: 9}}
	passes := []sim.PassTruth{{Pass: 1}, {Pass: 2, Curve: 1.0 / 60}}
	got := score.Places(seeds, passes, []score.Point{
		{T: at(2) + 400, Row: 1, Lat: 45, Lon: 9}, {T: at(1) - 600, Row: 1, Lat: 45 + 0.001/60, Lon: 9}, {T: at(3) + 3000, Row: 2, Lat: 45, Lon: 9},
	})
	if len(got) != 2 || got[0].Of != "straights" || got[0].N != 1 || math.Abs(float64(got[0].RMS)-1.852) > 0.002 || got[1].N != 1 || got[1].RMS != 0 {
		t.Errorf("places %+v", got)
	}
}

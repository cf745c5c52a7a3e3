package main

import (
	"strings"
	"testing"

	"evenstand"
	"evenstand/sim/score"
)

func TestReplace(t *testing.T) {
	page := "# Measured\n\nA note.\n\n" + begin + "\nold\n" + end + "\n\nAnother note.\n"
	got, err := replace([]byte(page), "new")
	if err != nil {
		t.Fatal(err)
	}
	if want := "# Measured\n\nA note.\n\n" + begin + "\n\nnew\n" + end + "\n\nAnother note.\n"; string(got) != want {
		t.Errorf("got %q, want %q", got, want)
	}
	again, err := replace(got, "new")
	if err != nil || string(again) != string(got) {
		t.Errorf("a second time: %q, %v", again, err)
	}
	if _, err := replace([]byte("no markers"), "new"); err == nil {
		t.Error("a page without markers is taken")
	}
}

// figure gives the figure whose text begins so.
func figure(t *testing.T, fs []Figure, what string) Figure {
	t.Helper()
	for _, f := range fs {
		if strings.HasPrefix(f.What, what) {
			return f
		}
	}
	t.Fatalf("no figure %q in %v", what, fs)
	return Figure{}
}

func results(name string, rep score.Report) (map[string]*result, []*result) {
	r := &result{suite: suite{name: name}, report: rep, sum: rep.Summary()}
	return map[string]*result{name: r}, []*result{r}
}

func TestFiguresCanMiss(t *testing.T) {
	match := func(kind string, turns, seconds float64) score.Match {
		return score.Match{Kind: kind, Found: kind, Detectable: true, CauseRight: true, DelayTurns: turns, DelayS: seconds, PlantingS: seconds}
	}
	many := func(n int, m score.Match) (ms []score.Match) {
		for range n {
			ms = append(ms, m)
		}
		return ms
	}
	// 19 of 20 found is 0.95; 18 of 20 is 0.90.
	for _, tt := range []struct {
		found, missed, false int
		recall, precision    Verdict
	}{{19, 1, 0, Reached, Reached}, {18, 2, 2, Missed, Reached}, {19, 1, 3, Reached, Missed}} {
		rep := score.Report{Days: []score.Day{{Hours: 10}}, Matches: many(tt.found, match(evenstand.KindRowSkips, 3, 9)), Missed: make([]score.Miss, tt.missed), False: make([]score.Stray, tt.false)}
		fs := figures(results("detectable", rep))
		if got := figure(t, fs, "recall").Verdict; got != tt.recall {
			t.Errorf("%+v: recall is %v", tt, got)
		}
		if got := figure(t, fs, "precision").Verdict; got != tt.precision {
			t.Errorf("%+v: precision is %v", tt, got)
		}
	}
	// Of ten blocked cells nine within 8 turns is 0.9; a missed one counts.
	rep := score.Report{Matches: append(many(9, match(evenstand.KindBlockedCell, 8, 16)), match(evenstand.KindRowStopped, 1, 3.5))}
	rep.Missed = []score.Miss{{Kind: evenstand.KindBlockedCell}}
	fs := figures(results("single", rep))
	if f := figure(t, fs, "a fully blocked cell"); f.Verdict != Reached || !strings.HasPrefix(f.Value, "9/10") {
		t.Errorf("%+v", f)
	}
	if f := figure(t, fs, "a stopped row"); f.Verdict != Missed {
		t.Errorf("%+v", f)
	}
	// A calm day that is too short proves nothing.
	if f := figure(t, figures(results("calm", score.Report{Days: []score.Day{{Hours: 99}}})), "false findings"); f.Verdict != Untried {
		t.Errorf("%+v", f)
	}
	if f := figure(t, figures(results("calm", score.Report{Days: []score.Day{{Hours: 100}}, False: make([]score.Stray, 6)})), "false findings"); f.Verdict != Missed {
		t.Errorf("%+v", f)
	}
	// Ranges that always hold the truth are too wide.
	for _, tt := range []struct {
		in, out int
		want    Verdict
	}{{320, 80, Reached}, {400, 0, Missed}, {280, 120, Missed}, {300, 60, Untried}} {
		good, bad := match(evenstand.KindRowSkips, 1, 1), match(evenstand.KindRowSkips, 1, 1)
		good.Money, bad.Money = &score.Money{True: 5, Low: 4, Mid: 5, High: 7}, &score.Money{True: 9, Low: 4, Mid: 5, High: 7}
		rep := score.Report{Matches: append(many(tt.in, good), many(tt.out, bad)...)}
		if f := figure(t, figures(results("money", rep)), "true loss"); f.Verdict != tt.want {
			t.Errorf("%+v: %+v", tt, f)
		}
	}
}

// The days kept for measuring must be none that development looks at.
func TestSeedsApart(t *testing.T) {
	seen := map[uint64]string{}
	for _, s := range append(suites(), setDays()...) {
		if s.from < 7000 || s.from+uint64(len(s.seeds)) > 8000 {
			t.Errorf("%s: development takes days %d on, want 7001 to 7999", s.name, s.from)
		}
		for _, seed := range s.seeds {
			if seed < 9001 {
				t.Errorf("%s: day %d is not kept for measuring", s.name, seed)
			}
			if seen[seed] != "" {
				t.Errorf("%s: day %d is also one of %s", s.name, seed, seen[seed])
			}
			seen[seed] = s.name
		}
	}
}

func TestExecs(t *testing.T) {
	out := "fuzz: elapsed: 0s, gathering baseline coverage: 0/3 completed\nfuzz: elapsed: 3s, execs: 1200 (400/sec), new interesting: 0\nfuzz: elapsed: 6s, execs: 325017 (102662/sec), new interesting: 11 (total: 202)\nPASS\n"
	if got := execs(out); got != 325017 {
		t.Errorf("%d inputs", got)
	}
}

// A live figure can miss: 19 of 20 stood is 0.95, 18 is not; one day of two
// with other bytes is not all.
func TestLiveFiguresCanMiss(t *testing.T) {
	for _, tt := range []struct {
		stood, sees int
		want        Verdict
	}{{19, 20, Reached}, {18, 20, Missed}, {0, 0, Untried}} {
		if got := standFigures(suite{name: "x"}, stands{days: 3, settled: tt.sees, sees: tt.sees, stood: tt.stood})[0].Verdict; got != tt.want {
			t.Errorf("%d of %d: %v, want %v", tt.stood, tt.sees, got, tt.want)
		}
	}
	if got := equalFigure(stands{days: 2, equal: 1}).Verdict; got != Missed {
		t.Errorf("one of two days: %v", got)
	}
	r, err := settledLine([]byte("{\"event\":\"raised\"}\n{\"event\":\"settled\",\"settled\":3,\"live_sees\":2,\"stood\":[{}],\"did_not_stand\":[{}],\"not_settled\":[4]}\n"))
	if err != nil || r.Settled != 3 || r.CanSee != 2 || len(r.Stood) != 1 || len(r.Missing) != 1 || len(r.Only) != 1 {
		t.Errorf("%+v, %v", r, err)
	}
	if _, err := settledLine([]byte("{\"event\":\"raised\"}\n")); err == nil {
		t.Error("a replay that settles nothing is taken")
	}
}

// What the long runs print is read; a run that ends early is not taken.
func TestLongRunsAreRead(t *testing.T) {
	out := `=== RUN   TestErrorRateOfShares
    rate_test.go:166: by chance: wrong 0.039
    rate_test.go:166: wandering, as if by chance: wrong 0.274
    rate_test.go:166: wandering, φ 1.8: wrong 0.051
    rate_test.go:197: rate 3.7%, CV 0.00, φ 1.0: wrong 0.0347, 165 seeds
    rate_test.go:197: rate 1.2%, CV 0.00, φ 1.0: wrong 0.0243, 220 seeds
    rate_test.go:272: rho 0.0 slow 0.0 before 60: wrong 0.006, plain 0.018; means until a cure by 1.5 spreads is known 20
    rate_test.go:272: rho 0.5 slow 0.5 before 200: wrong 0.045, plain 0.939; means until a cure by 1.5 spreads is known 90
    test_test.go:124: cured: right 200, wrong 0 of 200
    test_test.go:124: not cured, better soil: right 199, wrong 1 of 200
    test_test.go:182: wrong 39 of 1000
`
	if got, want := checkBackSays(out), "rates 0.051 and means 0.045 at most; untouched rows 39 of 1000; the cell 0.0347; cured or not right 399 of 400"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	if got := checkBackSays(strings.ReplaceAll(out, "wrong 39 of 1000", "")); got != "" {
		t.Errorf("a run that ended early: %q", got)
	}
	out = ""
	for _, noise := range []string{"0.15", "0.50"} {
		out += "    season_test.go:190: noise " + noise + ", 4000 seasons: total 1.46 ± 0.02, at the tenth 0.0179 ± 0.0006, 90 % quantile 0.047 (0.044 to 0.050); stay: total 3.24 ± 0.05, at the tenth 0.3244 ± 0.0053, 90 % quantile 0.847 (0.8 to 0.9); hill climbing: total 1.61 ± 0.02, at the tenth 0.0835 ± 0.0018, 90 % quantile 0.236 (0.2 to 0.3)\n" +
			"    season_test.go:202: noise " + noise + ", told by differences: total 0.92 ± 0.01, at the tenth 0.0152 ± 0.0004, 90 % quantile 0.039 (0.037 to 0.042)\n" +
			"    season_test.go:210: noise " + noise + ", a limit, differences false: 80 of 10000 moves over it, 0.008; of all tries 0.010; total 1.46\n" +
			"    season_test.go:210: noise " + noise + ", a limit, differences true: 30 of 10000 moves over it, 0.003; of all tries 0.004; total 1.46\n"
	}
	if decides, used := balanceSays(out); used != "" || !strings.HasPrefix(decides, "noise 0.15: 1.46 and 0.0179 (left alone 3.24, hill climbing 1.61); noise 0.50: ") || !strings.HasSuffix(decides, "; over a limit, noise 0.50: 30 of 10000 moves") {
		t.Errorf("%q, %q", decides, used)
	}
	out = "    used_test.go:99: 400 seasons with a limit: total 1.66 ± 0.09 (left alone 3.08), at the end 0.116 ± 0.009; 10 of 1561 tries over the limit; map[keep:3]\n"
	if decides, used := balanceSays(out); decides != "" || used != "1.66 and 0.116 (left alone 3.08 in all); 10 of 1561 tries over the limit" {
		t.Errorf("%q, %q", decides, used)
	}
}

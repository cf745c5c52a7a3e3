package web

import (
	"math"
	"slices"
	"testing"

	"evenstand"
	"evenstand/core/measure/group"
)

// By hand: seeds each 150 mm from 0 to 6 m and from 16 to 20 m.
func TestRunsOfSeeds(t *testing.T) {
	var seeds []evenstand.PlacedSeed
	for s := int32(0); s <= 20_000; s += 150 {
		if s <= 6000 || s >= 16_000 {
			seeds = append(seeds, evenstand.PlacedSeed{Row: 3, S: s})
		}
	}
	for _, tt := range []struct {
		from, to float64
		want     []float64
		hole     float64
	}{
		{0, 20, []float64{0, 6, 16.05, 19.95}, 10.05},
		{3, 10, []float64{3, 6}, 4},
		{7, 15, nil, 8},
	} {
		got := planted(seeds, tt.from, tt.to)
		if !slices.EqualFunc(got, tt.want, func(a, b float64) bool { return math.Abs(a-b) < 1e-9 }) {
			t.Errorf("%g to %g: %v, want %v", tt.from, tt.to, got, tt.want)
		}
		if hole := longestHole(got, tt.from, tt.to); math.Abs(hole-tt.hole) > 1e-9 {
			t.Errorf("%g to %g: hole %g, want %g", tt.from, tt.to, hole, tt.hole)
		}
	}
}

// By hand: a row that stops half way through its second stretch and begins again
// at the last third of its fourth.
func TestRunsOfStretches(t *testing.T) {
	var runs []float64
	for k, seeds := range []float32{100, 50, 2, 33, 100} {
		runs = alongStretch(runs, &evenstand.Stretch{K: int32(k), Length: 15, Due: 100, Seeds: seeds}, 0, 75)
	}
	want := []float64{0, 22.5, 55.05, 75}
	if !slices.EqualFunc(runs, want, func(a, b float64) bool { return math.Abs(a-b) < 1e-3 }) {
		t.Errorf("%v, want %v", runs, want)
	}
}

func TestBesides(t *testing.T) {
	for _, tt := range []struct {
		of   evenstand.Rows
		all  int
		want []int
		more int
	}{
		{evenstand.Rows{1}, 12, []int{1, 2, 3}, 0},
		{evenstand.Rows{6}, 12, []int{4, 5, 6, 7, 8}, 0},
		{evenstand.Rows{11, 12}, 12, []int{9, 10, 11, 12}, 0},
		{evenstand.Rows{5, 6, 7, 8, 9, 10, 11, 12}, 24, []int{4, 5, 6, 7, 8, 9, 10, 11, 12}, 0},
		{evenstand.Rows{1, 2, 3, 4, 5, 6, 7, 8, 9, 10}, 24, []int{1, 2, 3, 4, 5, 6, 7, 8, 9}, 1},
	} {
		if got, more := besides(tt.of, tt.all); !slices.Equal(got, tt.want) || more != tt.more {
			t.Errorf("%v: %v and %d more, want %v and %d", tt.of, got, more, tt.want, tt.more)
		}
	}
}

func TestParties(t *testing.T) {
	card := &evenstand.Card{Rows: 8, Groups: []evenstand.Group{{Kind: "vacuum", Name: "left", Rows: evenstand.Rows{1, 2, 3, 4}}, {Kind: "vacuum", Name: "right", Rows: evenstand.Rows{5, 6, 7, 8}}, {Kind: "wheel_track", Rows: evenstand.Rows{3}}}}
	for _, tt := range []struct {
		rows       evenstand.Rows
		of, others string
		beside     bool
	}{
		{evenstand.Rows{5, 6, 7, 8}, "the right side", "the left side", true},
		{evenstand.Rows{7}, "row 7", "the other rows", false},
		{evenstand.Rows{1, 2, 3, 4, 5, 6, 7, 8}, "all rows", "", false},
		{nil, "all rows", "", false},
	} {
		of, others, beside := parties(&evenstand.Finding{Rows: tt.rows}, card)
		if of != tt.of || others != tt.others || beside != tt.beside {
			t.Errorf("%v: %q against %q, %v", tt.rows, of, others, beside)
		}
	}
}

// The heading says which way rows stand apart.
func TestRowsTitle(t *testing.T) {
	m, _ := group.ByID("skips")
	load, _ := group.ByID("load")
	fs := []group.Figure{{Value: 0.01}, {Value: 0.05}, {Value: 0.002}, {Value: 0.03}}
	for _, tt := range []struct {
		m     *group.Measure
		apart []group.Apart
		none  evenstand.Rows
		want  string
	}{
		{&m, []group.Apart{group.With, group.Out, group.Out, group.Perhaps}, nil, "Skips by row: row 2 more than the others, row 3 fewer, row 4 perhaps more."},
		{&load, []group.Apart{group.With, group.With, group.Perhaps, group.With}, nil, "Gauge-wheel load by row: row 3 perhaps lower than the others."},
		{&m, []group.Apart{group.With, group.With, group.With, group.With}, nil, "Skips by row: no row stands apart."},
		{&m, []group.Apart{group.With, group.With, group.With, group.With}, evenstand.Rows{9}, "Skips by row: row 9 gave no seed."},
		{&m, []group.Apart{group.With, group.Out, group.With, group.With}, evenstand.Rows{9}, "Skips by row: row 9 gave no seed, row 2 more than the others."},
	} {
		if got := title(tt.m, fs, 0.01, tt.apart, tt.none); got != tt.want {
			t.Errorf("got  %s\nwant %s", got, tt.want)
		}
	}
}

// A row without a seed on its way gave none, unless it was off, went a few metres,
// or most others gave none either.
func TestRowsWithoutSeed(t *testing.T) {
	st := func(row int16, seeds, way, off float32) evenstand.Stretch {
		return evenstand.Stretch{Row: row, Seeds: seeds, Way: way, Off: off}
	}
	for _, tt := range []struct {
		ss   []evenstand.Stretch
		want string
	}{
		{[]evenstand.Stretch{st(1, 900, 150, 0), st(2, 0, 150, 0), st(3, 0, 150, 120), st(4, 20, 150, 0), st(5, 900, 150, 0)}, "2"},
		{[]evenstand.Stretch{st(1, 900, 150, 0), st(2, 0, 80, 0), st(3, 900, 150, 0)}, ""},
		{[]evenstand.Stretch{st(1, 900, 150, 0), st(2, 0, 150, 0)}, ""},
	} {
		var w sownRows
		for i := range tt.ss {
			w.add(&tt.ss[i])
		}
		if got := w.none().String(); got != tt.want {
			t.Errorf("no seed of rows %q, want %q", got, tt.want)
		}
	}
}

// A stretch of counted seeds says no share of skips where no box tells one.
func TestTellingsOfStretches(t *testing.T) {
	skips, _ := group.ByID("skips")
	doubles, _ := group.ByID("doubles")
	off, _ := group.ByID("switched-off")
	load, _ := group.ByID("load")
	counted, single := evenstand.Stretch{Grade: evenstand.GradeB}, evenstand.Stretch{Grade: evenstand.GradeA}
	none, some := telling{}, telling{skips: true, on: true}
	for i, tt := range []struct {
		of   telling
		m    *group.Measure
		s    *evenstand.Stretch
		want bool
	}{
		{none, &skips, &counted, false},
		{none, &skips, &single, true},
		{some, &skips, &counted, true},
		{some, &doubles, &counted, false},
		{none, &off, &single, false},
		{some, &off, &counted, true},
		{none, &load, &counted, true},
	} {
		if got := tt.of.tells(tt.m, tt.s); got != tt.want {
			t.Errorf("case %d, %s: %v", i, tt.m.ID, got)
		}
	}
	if a, b, c := none.instead("skips"), some.instead("skips"), none.instead("load"); a != "population" || b != "skips" || c != "load" {
		t.Errorf("instead of skips %s and %s, of load %s", a, b, c)
	}
}

// Rows of 0.76 m that count from the left, from the right, and one alone: the
// edges are the same ground.
func TestEdgesFromEitherSide(t *testing.T) {
	left := &groundDay{y: []float64{-1.14, -0.38, 0.38, 1.14}, wide: 0.76}
	right := &groundDay{y: []float64{1.14, 0.38, -0.38, -1.14}, wide: 0.76}
	for _, tt := range []struct {
		d    *groundDay
		of   span
		a, b float64
	}{{left, span{0, 3}, -1.52, 1.52}, {right, span{0, 3}, -1.52, 1.52}, {left, span{0, 1}, -1.52, 0}, {right, span{2, 3}, -1.52, 0}, {right, span{0, 0}, 0.76, 1.52}} {
		if a, b := tt.d.edges(tt.of); math.Abs(a-tt.a) > 1e-9 || math.Abs(b-tt.b) > 1e-9 {
			t.Errorf("%v: %g to %g, want %g to %g", tt.of, a, b, tt.a, tt.b)
		}
	}
}

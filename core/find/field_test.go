package find

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"evenstand"
	geo "evenstand/core/ground"
	"evenstand/core/measure/cover"
)

// ground makes a field of n passes up and down between two that were planted
// across first, of a planter of 16 rows of 30 in; late gives by how many metres
// and seconds a pass comes in late.
type groundWorld struct {
	passes       int
	apart, aside float64
	lateM, lateS float64
	speed        func(pass int) float64
	hole         func(pass int) (row int, from, to float64)
	skip         int
	sd           float64
	onward       float64 // m that passes run on into the ground across
}

const (
	row30  = 0.762
	bar16  = 16 * row30
	across = 300.0
)

func (w groundWorld) field(t *testing.T, seed uint64) *Field {
	t.Helper()
	r := rand.New(rand.NewPCG(seed, 3))
	f := &Field{Name: "f", Spacing: row30, Target: 8, Crop: "corn", Grade: evenstand.GradeA, Left: true}
	for i := range 16 {
		f.RowY = append(f.RowY, (float64(i)-7.5)*row30)
	}
	add := func(s cover.Swath, headland bool) {
		f.Swaths = append(f.Swaths, s)
		for len(f.Passes) <= s.Pass {
			t0 := evenstand.Micros(len(f.Passes)*300) * evenstand.Second
			f.Passes = append(f.Passes, FieldPass{Planter: "p", Day: "2026-05-02", Start: t0, End: t0 + 200*evenstand.Second, Headland: headland})
		}
	}
	wide := float64(w.passes)*w.apart + 10
	for i, n := range []float64{-bar16 / 2, across + bar16/2} {
		s := cover.Swath{Pass: i, Left: -bar16 / 2, Right: bar16 / 2, Error: 0.04}
		for k := range int(wide/4) + 1 {
			s.At = append(s.At, cover.Pose{E: float64(k)*4 - bar16/2 - 5, N: n, Psi: math.Pi / 2, V: 2})
		}
		add(s, true)
	}
	for i := range w.passes {
		if i == w.skip && w.skip > 0 {
			continue
		}
		v := 2.0
		if w.speed != nil {
			v = w.speed(i)
		}
		off := w.sd * r.NormFloat64()
		late := w.lateM + w.lateS*v + 0.05*r.NormFloat64() - w.onward
		at := func(way float64) cover.Pose { // way from the edge
			p := cover.Pose{E: float64(i)*w.apart + off + w.aside, N: way, V: v, T: evenstand.FromSeconds(float64(i)*300 + way/v)}
			if i%2 == 1 {
				p.E, p.N, p.Psi = float64(i)*w.apart+off-w.aside, across-way, math.Pi
			}
			return p
		}
		piece := func(left, right, from, to float64) {
			s := cover.Swath{Pass: len(f.Passes), Left: left, Right: right, Error: 0.04}
			for n := from - 12; n < from; n += 0.5 {
				s.Lead = append(s.Lead, at(n))
			}
			for n := from; n < to; n += 2 {
				s.At = append(s.At, at(n))
			}
			s.At = append(s.At, at(to))
			f.Swaths = append(f.Swaths, s)
		}
		end := across + w.onward
		if w.hole == nil {
			piece(-bar16/2, bar16/2, late, end)
		} else if row, a, b := w.hole(i); row > 0 {
			l := -bar16/2 + float64(row-1)*row30
			piece(-bar16/2, l, late, end)
			piece(l, l+row30, late, a)
			piece(l, l+row30, b, end)
			piece(l+row30, bar16/2, late, end)
		} else {
			piece(-bar16/2, bar16/2, late, end)
		}
		t0 := evenstand.Micros(len(f.Passes)*300) * evenstand.Second
		f.Passes = append(f.Passes, FieldPass{Planter: "p", Day: "2026-05-02", Start: t0, End: t0 + 200*evenstand.Second})
	}
	e1 := float64(w.passes-1)*w.apart + bar16/2
	f.Boundary = &geo.Region{Name: "f", Polygons: []geo.Polygon{{geo.Ring{{-bar16 / 2, -bar16}, {e1, -bar16}, {e1, across + bar16}, {-bar16 / 2, across + bar16}}}}}
	var err error
	if f.Ground, err = cover.Measure(f.Boundary, f.Swaths); err != nil {
		t.Fatal(err)
	}
	return f
}

func kinds(fs []evenstand.Finding) []string {
	var out []string
	for _, f := range fs {
		out = append(out, f.Kind)
	}
	slices.Sort(out)
	return out
}

// Each trouble of the ground gives its finding with the right cause first, and
// nothing else; a clean field gives none.
func TestFieldFindings(t *testing.T) {
	vary := func(i int) float64 { return []float64{1.4, 2.6, 2, 3.1, 1.8}[i%5] }
	for _, tt := range []struct {
		name  string
		w     groundWorld
		want  []string
		cause string
	}{
		{"clean", groundWorld{passes: 20, apart: bar16, sd: 0.03}, nil, ""},
		{"clean, a poor signal", groundWorld{passes: 20, apart: bar16, sd: 0.08}, nil, ""},
		{"in by the fall of the first seed", groundWorld{passes: 20, apart: bar16, sd: 0.03, lateS: 0.5, speed: vary}, nil, ""},
		{"late by a time", groundWorld{passes: 20, apart: bar16, sd: 0.03, lateS: 2, speed: vary}, []string{evenstand.KindLateSection}, evenstand.CauseSectionDelay},
		{"late by a length", groundWorld{passes: 20, apart: bar16, sd: 0.03, lateM: 4, speed: vary}, []string{evenstand.KindLateSection}, evenstand.CauseSectionOffset},
		{"too far apart", groundWorld{passes: 20, apart: bar16 + 0.25, sd: 0.03}, []string{evenstand.KindGuessRow}, evenstand.CauseWidthSetting},
		{"to one side", groundWorld{passes: 20, apart: bar16, aside: 0.12, sd: 0.03}, []string{evenstand.KindOffsetDoubt}, evenstand.CauseCardOffset},
		{"no two alike", groundWorld{passes: 20, apart: bar16, sd: 0.25}, []string{evenstand.KindGuessRow}, evenstand.CauseCorrection},
		{"a row off for 20 m", groundWorld{passes: 20, apart: bar16, sd: 0.03, hole: func(p int) (int, float64, float64) {
			if p == 7 {
				return 5, 100, 120
			}
			return 0, 0, 0
		}}, []string{evenstand.KindUnplantedLeft}, evenstand.CauseRowsOff},
		{"a pass left out", groundWorld{passes: 20, apart: bar16, sd: 0.03, skip: 6}, []string{evenstand.KindUnplantedLeft}, evenstand.CauseStripMissed},
		{"rows run on at both ends", groundWorld{passes: 20, apart: bar16, sd: 0.03, onward: 8}, []string{evenstand.KindOverlap}, evenstand.CauseNoSections},
	} {
		t.Run(tt.name, func(t *testing.T) {
			for seed := range uint64(5) {
				fs, _ := FieldFindings(tt.w.field(t, seed))
				if tt.w.sd > 0.2 { // a gap that is by chance as wide as a row is one
					fs = slices.DeleteFunc(fs, func(f evenstand.Finding) bool { return f.Kind == evenstand.KindUnplantedLeft })
				}
				if got := kinds(fs); !slices.Equal(got, tt.want) {
					t.Fatalf("seed %d: %q, want %q", seed, got, tt.want)
				}
				for i := range fs {
					if fs[i].Causes[0].Cause != tt.cause {
						t.Errorf("seed %d: %v first, want %s", seed, fs[i].Causes, tt.cause)
					}
				}
			}
		})
	}
}

// The row that did not plant is named, with the ground's size.
func TestUnplantedRow(t *testing.T) {
	w := groundWorld{passes: 20, apart: bar16, sd: 0.03, hole: func(p int) (int, float64, float64) {
		if p == 7 {
			return 5, 100, 180
		}
		return 0, 0, 0
	}}
	fs, strips := FieldFindings(w.field(t, 1))
	if len(strips) != 1 || math.Abs(strips[0].Length-80) > 1 {
		t.Errorf("pieces %+v", strips)
	}
	if len(fs) != 1 || !slices.Equal(fs[0].Rows, evenstand.Rows{5}) {
		t.Fatalf("%+v", fs)
	}
	if a := float64(fs[0].Evidence[0].Value); math.Abs(a-80*row30) > 0.1*80*row30 {
		t.Errorf("%.1f m2, want %.1f", a, 80*row30)
	}
}

package pipeline_test

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"evenstand"
	"evenstand/core/ground"
	"evenstand/pipeline"
)

// planted makes a day of a planter that drives n passes of 300 m up and down
// over a field, from the pass first on, each hole a row and the metres that it
// does not plant on a pass.
type planted struct {
	day     evenstand.Day
	planter string
	card    evenstand.Card
	first   int
	n       int
	start   evenstand.Micros
	hole    map[int][3]int // pass: row, from and to in m
	late    int            // m by which all rows come in late
}

func wideCard(rows int) evenstand.Card {
	c := evenstand.NewCard()
	c.Name, c.Rows, c.RowSpacing = "wide", rows, 0.762
	return c
}

func (d planted) make(f ground.Frame) pipeline.FieldDay {
	out := pipeline.FieldDay{Date: d.day, Planter: d.planter, Card: d.card}
	w := float64(d.card.Rows) * d.card.RowSpacing
	s := 0.0
	for i := range d.n {
		j := d.first + i
		t0 := d.start + evenstand.Micros(i)*200*evenstand.Second
		p := evenstand.Pass{
			Index: int32(i), Key: fmt.Sprintf("%s %d", d.planter, t0), Number: j + 1, Planter: d.planter, Field: "f", Start: t0, End: t0 + 150*evenstand.Second, S0: s, S1: s + 300, PosError: 0.04,
		}
		for k := range 301 {
			e, n, h := (float64(j)+0.5)*w, float64(k), 0.0
			if j%2 == 1 {
				n, h = 300-float64(k), math.Pi
			}
			lat, lon := f.ToGlobal(e, n)
			out.Track = append(out.Track, evenstand.TrackPoint{T: t0 + evenstand.Micros(k)*evenstand.Second/2, Pass: int32(i), Lat: lat, Lon: lon, S: s + float64(k), Heading: (h + f.ConvergenceAt(lat, lon)) * 180 / math.Pi, Speed: 2, SD: 0.02})
		}
		add := func(from, to, s0, s1 int) {
			out.Worked = append(out.Worked, evenstand.Worked{Pass: int32(i), From: int16(from), To: int16(to), S0: int32(s0 * 1000), S1: int32(s1 * 1000), Grade: evenstand.GradeA})
		}
		if h, ok := d.hole[j]; ok {
			if h[0] > 1 {
				add(1, h[0]-1, d.late, 300)
			}
			add(h[0], h[0], d.late, h[1])
			add(h[0], h[0], h[2], 300)
			if h[0] < d.card.Rows {
				add(h[0]+1, d.card.Rows, d.late, 300)
			}
		} else {
			add(1, d.card.Rows, d.late, 300)
		}
		out.Passes = append(out.Passes, p)
		s += 330
	}
	return out
}

func fieldOf(f ground.Frame, wide float64) evenstand.Field {
	corner := func(e, n float64) [2]float64 {
		lat, lon := f.ToGlobal(e, n)
		return [2]float64{lon, lat}
	}
	return evenstand.Field{Name: "f", Polygons: [][][][2]float64{{{corner(0, 0), corner(wide, 0), corner(wide, 300), corner(0, 300), corner(0, 0)}}}}
}

func found(res pipeline.FieldResult) []string {
	var out []string
	for _, f := range res.Findings {
		out = append(out, f.Kind)
	}
	return out
}

// The ground is the same whether the rows are numbered from the left or from the
// right, and the row that left a strip is the one that did.
func TestFieldRowsFromTheRight(t *testing.T) {
	f := ground.NewFrame(41.5, -93.2)
	right := wideCard(16)
	for r := range 16 {
		right.Geometry.RowY = append(right.Geometry.RowY, (7.5-float64(r))*0.762)
	}
	for name, card := range map[string]evenstand.Card{"left": wideCard(16), "right": right} {
		t.Run(name, func(t *testing.T) {
			d := planted{day: "2026-05-02", planter: "p", card: card, n: 12, start: 1e15, hole: map[int][3]int{5: {3, 100, 180}}}.make(f)
			res, err := pipeline.SettleField(pipeline.FieldWork{Field: fieldOf(f, 12*16*0.762), Days: []pipeline.FieldDay{d}, Rate: 8, Left: true})
			if err != nil {
				t.Fatal(err)
			}
			whole := 12 * 16 * 0.762 * 300.0
			if math.Abs(res.Ground.Area-whole) > 1 || math.Abs(res.Ground.Worked-(whole-80*0.762)) > 2 {
				t.Errorf("%.1f m2 worked of %.1f, want 61 m2 less than %.1f", res.Ground.Worked, res.Ground.Area, whole)
			}
			if !slices.Equal(found(res), []string{evenstand.KindUnplantedLeft}) || !slices.Equal(res.Findings[0].Rows, evenstand.Rows{3}) {
				t.Fatalf("%+v", res.Findings)
			}
			if x := res.Findings[0]; x.Day != "2026-05-02" || x.Planter != "p" || len(x.Passes) != 1 || x.Passes[0].Number != 6 || x.Since <= d.Passes[5].Start || x.Since >= d.Passes[5].End {
				t.Errorf("%s %s since %d, passes %+v", x.Planter, x.Day, x.Since, x.Passes)
			}
		})
	}
}

// A field that is planted again on another day is planted again: no rows ran on,
// and both days have their ground.
func TestFieldPlantedAgain(t *testing.T) {
	f := ground.NewFrame(41.5, -93.2)
	one := planted{day: "2026-05-02", planter: "p", card: wideCard(16), n: 12, start: 1e15}
	two := one
	two.day, two.start, two.n = "2026-05-20", one.start+18*86400*evenstand.Second, 8
	res, err := pipeline.SettleField(pipeline.FieldWork{Field: fieldOf(f, 12*16*0.762), Days: []pipeline.FieldDay{one.make(f), two.make(f)}, Rate: 8, Left: true})
	if err != nil {
		t.Fatal(err)
	}
	if len(res.Findings) > 0 {
		t.Errorf("%q", found(res))
	}
	if len(res.Acres) != 2 || math.Abs(res.Acres[1].Area-8*16*0.762*300) > 20 || res.Acres[1].First > 20 {
		t.Errorf("%+v", res.Acres)
	}
}

// A strip that was left and is planted on another day is over, and does not go
// without a word.
func TestFieldStripPlantedLater(t *testing.T) {
	f := ground.NewFrame(41.5, -93.2)
	one := planted{day: "2026-05-02", planter: "p", card: wideCard(16), n: 12, start: 1e15, hole: map[int][3]int{5: {3, 100, 180}}}
	two := one
	two.day, two.start, two.first, two.n, two.hole = "2026-05-03", one.start+86400*evenstand.Second, 5, 1, nil
	res, err := pipeline.SettleField(pipeline.FieldWork{Field: fieldOf(f, 12*16*0.762), Days: []pipeline.FieldDay{one.make(f), two.make(f)}, Rate: 8, Left: true})
	if err != nil {
		t.Fatal(err)
	}
	i := slices.IndexFunc(res.Findings, func(x evenstand.Finding) bool { return x.Kind == evenstand.KindUnplantedLeft })
	if i < 0 {
		t.Fatalf("%q", found(res))
	}
	x := res.Findings[i]
	if x.Status != evenstand.Ended || x.Until == nil || *x.Until < two.start || x.Day != "2026-05-02" || !slices.Contains(x.Say, "It was planted on 2026-05-03.") {
		t.Errorf("%+v", x)
	}
}

// Two planters in one field on one day: passes stand in order of time, and what
// is found belongs to a day and planter that worked there.
func TestFieldTwoPlanters(t *testing.T) {
	f := ground.NewFrame(41.5, -93.2)
	a := planted{day: "2026-05-02", planter: "a", card: wideCard(16), n: 8, start: 1e15}
	b := planted{day: "2026-05-04", planter: "b", card: wideCard(16), first: 8, n: 6, start: 1e15 + 2*86400*evenstand.Second, hole: map[int][3]int{10: {9, 50, 150}}}
	res, err := pipeline.SettleField(pipeline.FieldWork{Field: fieldOf(f, 14*16*0.762), Days: []pipeline.FieldDay{a.make(f), b.make(f)}, Rate: 8, Left: true})
	if err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(found(res), []string{evenstand.KindUnplantedLeft}) {
		t.Fatalf("%q", found(res))
	}
	if x := res.Findings[0]; x.Planter != "b" || x.Day != "2026-05-04" || !slices.Equal(x.Rows, evenstand.Rows{9}) {
		t.Errorf("%s %s rows %s", x.Planter, x.Day, x.Rows)
	}
	if keys := pipeline.PassKeys([]pipeline.FieldDay{b.make(f), a.make(f)}); len(keys) != 14 || keys[0] != "a 1000000000000000" {
		t.Errorf("passes in the order %q", keys)
	}
}

// Most of a field that was left for later is said with its day, and not priced;
// while the planter is still there it is what is left to plant.
func TestFieldLeftForLater(t *testing.T) {
	f := ground.NewFrame(41.5, -93.2)
	d := planted{day: "2026-05-02", planter: "p", card: wideCard(16), n: 20, start: 1e15}.make(f)
	w := pipeline.FieldWork{Field: fieldOf(f, 36*16*0.762), Days: []pipeline.FieldDay{d}, Rate: 8}
	res, err := pipeline.SettleField(w)
	if err != nil || len(res.Findings) > 0 {
		t.Fatalf("%v %q", err, found(res))
	}
	w.Left = true
	if res, err = pipeline.SettleField(w); err != nil || !slices.Equal(found(res), []string{evenstand.KindUnplantedLeft}) {
		t.Fatalf("%v %q", err, found(res))
	}
	if x := res.Findings[0]; x.Day != "2026-05-02" || x.Since == 0 || x.Causes[0].Cause != evenstand.CauseLeftForLater || len(x.Harm) > 0 {
		t.Errorf("%+v", x)
	}
}

// By hand: 5 kg/ha on ten passes, and the next day on the first two again, are 10
// on 0.73 ha of them; in another year they are another season's.
func TestFieldLabelCap(t *testing.T) {
	f := ground.NewFrame(41.5, -93.2)
	card := wideCard(16)
	dosed := func(d planted) pipeline.FieldDay {
		out := d.make(f)
		for _, p := range out.Passes {
			for r := 1; r <= d.card.Rows; r++ {
				for k := range 20 {
					out.Doses = append(out.Doses, pipeline.Dose{Pass: p.Index, Row: int16(r), Applied: evenstand.AppliedGranular, K: int32(k), Length: 15, On: 15, Amount: 5e-4 * 15 * 0.762})
				}
			}
		}
		return out
	}
	first := planted{day: "2026-05-02", planter: "p", card: card, n: 10, start: at("2026-05-02 12:00")}
	caps := func(again evenstand.Day, limit float64) (out []evenstand.Finding) {
		t.Helper()
		days := []pipeline.FieldDay{dosed(first)}
		if again != "" {
			days = append(days, dosed(planted{day: again, planter: "p", card: card, n: 2, start: at(string(again) + " 12:00")}))
		}
		res, err := pipeline.SettleField(pipeline.FieldWork{Field: evenstand.Field{Name: "f"}, Days: days, Rate: 8, Caps: []evenstand.ProductLimit{{Name: "insecticide", Applied: evenstand.AppliedGranular, Pass: math.NaN(), Season: limit}}})
		if err != nil {
			t.Fatal(err)
		}
		for _, x := range res.Findings {
			if x.Kind == evenstand.KindLabelCap {
				out = append(out, x)
			}
		}
		return out
	}
	for _, tt := range []struct {
		again evenstand.Day
		limit float64
		n     int
		day   evenstand.Day
		cause string
	}{
		{"", 8e-4, 0, "", ""},
		{"", 5.2e-4, 1, "2026-05-02", evenstand.CauseProductRate},
		{"2026-05-03", 8e-4, 1, "2026-05-03", evenstand.CauseTwoPasses},
		{"2027-05-03", 8e-4, 0, "", ""},
	} {
		got := caps(tt.again, tt.limit)
		if len(got) != tt.n {
			t.Fatalf("again on %q, limit %g: %d found, want %d", tt.again, tt.limit, len(got), tt.n)
		}
		if tt.n == 0 {
			continue
		}
		if x := got[0]; x.Day != tt.day || x.Causes[0].Cause != tt.cause {
			t.Errorf("again on %q, limit %g: %s, %+v", tt.again, tt.limit, x.Day, x.Causes)
		} else if over := x.Evidence[len(x.Evidence)-2]; tt.again != "" && math.Abs(float64(over.Value)-7315) > 900 { // squares of 10 m
			t.Errorf("%g m2 over the limit, want 7,315 and what squares add", over.Value)
		}
	}
}

package stand_test

import (
	"math"
	"testing"

	"evenstand"
	"evenstand/core/price"
	"evenstand/core/relation"
	"evenstand/core/stand"
	"evenstand/core/stat"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// thousandth is a count over a thousandth of an acre of two rows, of the plants
// that a share of 33,000 seeds an acre make.
func thousandth(field string, share float64, parts ...stand.Part) stand.Count {
	area := 2 * relation.ThousandthAcre(30) * evenstand.Foot * 30 * evenstand.Inch
	return stand.Count{Field: field, Plants: math.Round(share * 66), Late: math.NaN(), Area: area, Seeds: 66 / area, Claims: parts}
}

func fewOf(n int, field string, share float64, parts ...stand.Part) (cs []stand.Count) {
	for i := range n {
		cs = append(cs, thousandth(field, share+0.03*float64(i%3-1), parts...))
	}
	return cs
}

// Two rows over 17 ft 5 in of 30-in rows are two thousandths of an acre (R16).
func TestThousandth(t *testing.T) {
	if got := thousandth("x", 1).Area / evenstand.Acre; math.Abs(got-0.002) > 1e-6 {
		t.Errorf("%g ac", got)
	}
}

// Without a count it is R1's range: its 10th and 90th percentile, give or take what
// fields differ by.
func TestNobodyCounted(t *testing.T) {
	f := stand.Do(nil, nil, 4000, 1)
	low, _, high := relation.Emergence()
	for p, want := range map[float64]float64{0.1: low, 0.9: high} {
		if got := stat.Quantile(f.Farm, p); math.Abs(got-want) > 0.005 {
			t.Errorf("the %g quantile of the farm is %.3f, want %.3f", p, got, want)
		}
	}
	if a, b := stat.Quantile(f.Usual, 0.9)-stat.Quantile(f.Usual, 0.1), stat.Quantile(f.Farm, 0.9)-stat.Quantile(f.Farm, 0.1); a <= b {
		t.Errorf("a field is told as well (%.3f) as the farm's mean (%.3f)", a, b)
	}
}

// A field of many counts is what they say; one of two leans on the farm.
func TestPooling(t *testing.T) {
	var cs []stand.Count
	for _, name := range []string{"a", "b", "c"} {
		cs = append(cs, fewOf(24, name, 0.93)...)
	}
	cs = append(cs, fewOf(24, "poor", 0.80)...)
	cs = append(cs, fewOf(2, "two", 0.80)...)
	f := stand.Do(cs, nil, 2000, 1)
	mean := func(name string) float64 { return stat.Quantile(f.Emerge[name], 0.5) }
	if got := mean("poor"); math.Abs(got-0.80) > 0.02 {
		t.Errorf("24 counts of 0.80 say %.3f", got)
	}
	if got := mean("two"); got < 0.80 || got > 0.90 {
		t.Errorf("two counts beside a farm of 0.9 say %.3f", got)
	}
	if mean("two") <= mean("poor") {
		t.Errorf("two counts are held as surely as 24")
	}
}

// Where the plants stand that no sensor saw, the seeds lay there.
func TestUnseen(t *testing.T) {
	claims := []stand.Claim{{Kind: stand.Unseen, Fall: 0.3}}
	for _, tt := range []struct {
		share     float64 // of the seeds due that stand on its row
		low, high float64 // of Fall
	}{{0.93, 0.9, 1}, {0.93 * 0.6, 0, 0.02}} {
		cs := append(fewOf(8, "a", 0.93), fewOf(3, "a", tt.share, stand.Part{Claim: 0, Share: 0.4})...)
		e := stand.Do(cs, claims, 1000, 1).Claims[0]
		if !e.Told() || e.In != 3 || e.Out != 8 {
			t.Errorf("%d counts on it, %d beside", e.In, e.Out)
		}
		if e.Fall < tt.low || e.Fall > tt.high {
			t.Errorf("where %.2f stand, the seeds lie there by a chance of %.3f", tt.share, e.Fall)
		}
		// A finding takes it over, and its causes still have the same chances in all.
		f := &evenstand.Finding{
			Kind: evenstand.KindRowSkips, Harm: []evenstand.Harm{{Kind: evenstand.MissingSeeds}},
			Causes: []evenstand.Cause{{Cause: evenstand.CauseSeal, Probability: 0.6}, {Cause: evenstand.CauseSensor, Probability: 0.3}, {Cause: evenstand.CauseSeedFit, Probability: 0.1}},
		}
		c := stand.Tell(f, &e, nil, math.NaN(), math.NaN())
		sum := 0.0
		for _, x := range f.Causes {
			sum += x.Probability
		}
		if math.Abs(sum-1) > 1e-9 || f.Counted == nil || len(c.Real) != 1000 {
			t.Errorf("causes add up to %g, %d draws", sum, len(c.Real))
		}
		if first := f.Causes[0].Cause; (first == evenstand.CauseSensor) != (tt.share > 0.9) {
			t.Errorf("where %.2f stand, the first cause is %q", tt.share, first)
		}
	}
}

// Ground that has lost a quarter of its plants is told so, and is priced by it:
// 10 ac at 200 bu/ac and $4.50, 0.8 of a plant for each (R2).
func TestDoubted(t *testing.T) {
	cs := append(fewOf(10, "a", 0.92), fewOf(10, "a", 0.69, stand.Part{Claim: 0, Share: 1})...)
	for i := range cs {
		if cs[i].Late = 1; len(cs[i].Claims) > 0 {
			cs[i].Late = 14
		}
	}
	fit := stand.Do(cs, []stand.Claim{{Kind: stand.Doubted}}, price.N, 1)
	e := &fit.Claims[0]
	if got := stat.Quantile(e.Real, 0.5); math.Abs(got-0.25) > 0.04 {
		t.Errorf("lost %.3f, want 0.25", got)
	}
	if got := stat.Quantile(e.Late, 0.5); math.Abs(got-(14/45.5-1/60.7)) > 0.05 {
		t.Errorf("late %.3f", got)
	}
	f := &evenstand.Finding{Kind: evenstand.KindContactLoss, Rows: evenstand.Rows{3}, Causes: []evenstand.Cause{}}
	set := evenstand.NewSettings()
	set.Yield, set.Price = relation.FromBuAcre(200), 4.5/relation.CornBushel
	ctx := price.Context{Settings: set, Rows: 16, FieldLeft: math.NaN(), Basis: price.None}
	if m := price.Price(f, ctx); !math.IsNaN(float64(m.SoFar.Mid)) {
		t.Errorf("nobody counted, and it is %g", float64(m.SoFar.Mid))
	}
	ctx.Counted = stand.Tell(f, e, fit.Emerge["a"], 10*evenstand.Acre, relation.FromThousand(33))
	m := price.Price(f, ctx)
	want := 9000 * (0.25*0.8 + 0.75*0.29*0.27)
	if math.Abs(float64(m.SoFar.Mid)-want) > 0.2*want || m.SoFar.Low >= m.SoFar.Mid || m.SoFar.Mid >= m.SoFar.High {
		t.Errorf("%+v, want about %.0f", m.SoFar, want)
	}
}

// One count tells nothing of a claim.
func TestTooFew(t *testing.T) {
	cs := append(fewOf(5, "a", 0.93), thousandth("a", 0.5, stand.Part{Claim: 0, Share: 1}))
	e := stand.Do(cs, []stand.Claim{{Kind: stand.Doubted}}, 100, 1).Claims[0]
	f := &evenstand.Finding{Kind: evenstand.KindContactLoss}
	if c := stand.Tell(f, &e, nil, 1, 1); e.Told() || c.Lost != nil || f.Counted != nil {
		t.Errorf("%+v", e)
	}
}

// Whatever is counted, every share lies where shares lie, and the same counts say
// the same.
func TestAnyCounts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var cs []stand.Count
		for range rapid.IntRange(0, 12).Draw(t, "counts") {
			c := stand.Count{
				Field: rapid.SampledFrom([]string{"a", "b"}).Draw(t, "field"), Plants: float64(rapid.IntRange(0, 400).Draw(t, "plants")),
				Late: rapid.SampledFrom([]float64{math.NaN(), 0, 7, 1000}).Draw(t, "late"), Area: rapid.SampledFrom([]float64{-1, 0, 4, 8, math.NaN()}).Draw(t, "area"), Seeds: rapid.SampledFrom([]float64{0, 8, math.NaN(), math.Inf(1)}).Draw(t, "seeds"),
			}
			if rapid.Bool().Draw(t, "claimed") {
				c.Claims = []stand.Part{{Claim: rapid.IntRange(-1, 3).Draw(t, "claim"), Share: rapid.Float64Range(-1, 2).Draw(t, "share")}}
			}
			cs = append(cs, c)
		}
		claims := []stand.Claim{{Kind: stand.Unseen, Fall: rapid.Float64Range(0, 1).Draw(t, "fall")}, {Kind: stand.Doubted}}
		f := stand.Do(cs, claims, 20, 1)
		if !cmp.Equal(f, stand.Do(cs, claims, 20, 1)) {
			t.Error("the same counts say another thing")
		}
		all := [][]float64{f.Usual, f.Farm, f.CV}
		for _, xs := range f.Emerge {
			all = append(all, xs)
		}
		for _, e := range f.Claims {
			all = append(all, e.Real, e.Late)
		}
		for _, xs := range all {
			for _, x := range xs {
				if !(x >= 0 && x <= 1.2) {
					t.Errorf("a share of %g", x)
				}
			}
		}
	})
}

func BenchmarkDo(b *testing.B) {
	cs := append(fewOf(40, "a", 0.93), fewOf(40, "b", 0.9)...)
	for b.Loop() {
		stand.Do(cs, nil, price.N, 1)
	}
}

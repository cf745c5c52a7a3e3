package replant_test

import (
	"errors"
	"math"
	"testing"

	"evenstand"
	"evenstand/core/relation"
	"evenstand/core/replant"

	"pgregory.net/rapid"
)

// ask is a stand of some thousand plants an acre at 200 bu/ac and $4.50, planted
// April 30, that would be planted again on May 20 to 30,000 at no cost: the case
// of the worked examples (checks.md, Replant).
func ask(thousand float64) replant.Ask {
	return replant.Ask{
		Stand:   evenstand.Range{Low: evenstand.Unknown, Mid: evenstand.Number(relation.FromThousand(thousand)), High: evenstand.Unknown},
		Planted: "2026-04-30", Again: "2026-05-20", NewStand: relation.FromThousand(30), Season: "full",
		Yield: relation.FromBuAcre(200), Price: 4.50 / relation.CornBushel,
	}
}

func reading(t *testing.T, a replant.Answer, c replant.Choice, table string) replant.Reading {
	t.Helper()
	for _, w := range a.Weighed {
		for _, r := range w.Readings {
			if w.Choice == c && r.Table == table {
				return r
			}
		}
	}
	t.Fatalf("no reading of %s in table %s: %+v", c, table, a)
	return replant.Reading{}
}

// The published worked examples of R15.
func TestWorkedExamples(t *testing.T) {
	iowa := replant.Ask{ // ISU, 23 May 2006: 16,000 before May 5, again May 26 to June 1
		Stand: evenstand.Range{Low: evenstand.Unknown, Mid: evenstand.Number(relation.FromThousand(16)), High: evenstand.Unknown}, Planted: "2006-05-01", Again: "2006-05-28",
		NewStand: relation.FromThousand(30), Yield: relation.FromBuAcre(180), Price: 2.00 / relation.CornBushel,
		Costs: []replant.Cost{{"planting", 10 / evenstand.Acre}, {"seed", 30 / evenstand.Acre}, {"killing", 10 / evenstand.Acre}},
	}
	short := ask(12)
	short.Gaps = replant.ShortGaps
	for _, tt := range []struct {
		name   string
		ask    replant.Ask
		table  string
		now    float64 // percent
		then   float64
		gain   float64 // $/ac
		source string
	}{
		{"RPL-04", iowa, "ISU", 74, 90, 7.6, "ISU 23-24 May 2006; R15"},
		{"RPL-05", ask(18), "NAF", 88, 91, 27, "R15; NAF"},
		{"RPL-06", ask(12), "NAF", 74, 91, 153, "R15; NAF"},
		{"RPL-07", short, "NAF", 72, 91, 171, "R15; NAF less 2 points for small gaps"},
	} {
		a, err := replant.Weigh(tt.ask)
		if err != nil {
			t.Fatal(err)
		}
		keep, over := reading(t, a, replant.Keep, tt.table), reading(t, a, replant.Over, tt.table)
		for what, c := range map[string][2]float64{
			"keeping": {float64(keep.Percent.Mid), tt.now}, "starting over": {float64(over.Percent.Mid), tt.then}, "gain": {float64(over.Gain.Mid) * evenstand.Acre, tt.gain},
		} {
			if math.Abs(c[0]-c[1]) > 0.01 {
				t.Errorf("%s (%s): %s %.3f, want %.3f", tt.name, tt.source, what, c[0], c[1])
			}
		}
	}
	a, err := replant.Weigh(iowa)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(a.Hurdle-13.9) > 0.05 { // RPL-02: $50 buys 25 bu, 14 % of 180 (exact 13.9)
		t.Errorf("hurdle %.2f %%, want 13.9", a.Hurdle)
	}
	if r := reading(t, a, replant.Over, "NAF"); r.Source == "" || a.Best != replant.Tells {
		t.Errorf("the Iowa case is about break-even, told as %q", a.Best)
	}
}

func TestBest(t *testing.T) {
	good := ask(29)
	good.Costs = []replant.Cost{{"all", 80 / evenstand.Acre}}
	good.FillCosts = []replant.Cost{{"all", 50 / evenstand.Acre}}
	bare := ask(10)
	bare.Stand.Low, bare.Stand.High = evenstand.Number(relation.FromThousand(10)), evenstand.Number(relation.FromThousand(10.5))
	bare.Costs = []replant.Cost{{"all", 50 / evenstand.Acre}}
	bare.FillCosts = []replant.Cost{{"all", 500 / evenstand.Acre}}
	bare.Planted, bare.Again = "2026-04-20", "2026-05-05"
	for _, tt := range []struct {
		name string
		ask  replant.Ask
		want replant.Choice
	}{{"a good stand is kept", good, replant.Keep}, {"a bare one is started over", bare, replant.Over}} {
		a, err := replant.Weigh(tt.ask)
		if err != nil {
			t.Fatal(err)
		}
		if a.Best != tt.want {
			t.Errorf("%s: %s, %+v", tt.name, a.Best, a.Weighed)
		}
	}
}

func TestWeighRefuses(t *testing.T) {
	for want, change := range map[error]func(*replant.Ask){
		replant.ErrStand: func(a *replant.Ask) { a.Stand.Mid = evenstand.Unknown },
		replant.ErrMoney: func(a *replant.Ask) { a.Price = math.NaN() },
		replant.ErrDates: func(a *replant.Ask) { a.Again = "2026-04-30" },
	} {
		a := ask(18)
		change(&a)
		if _, err := replant.Weigh(a); !errors.Is(err, want) {
			t.Errorf("%v, want %v", err, want)
		}
	}
	a := ask(18)
	a.Planted = "soon"
	if _, err := replant.Weigh(a); err == nil {
		t.Error("a date that is none is taken")
	}
}

// Thinner stands never make starting over worth less, a dearer one never worth
// more, and what is in the middle lies between the ends.
func TestWeighHolds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := rapid.Float64Range(11, 29).Draw(t, "thousand")
		a := ask(p)
		a.Stand.Low, a.Stand.High = evenstand.Number(relation.FromThousand(p-1)), evenstand.Number(relation.FromThousand(p+1))
		a.Late, a.Days = rapid.Float64Range(0, 0.9).Draw(t, "late"), rapid.Float64Range(0, 25).Draw(t, "days")
		a.Gaps = rapid.SampledFrom([]replant.Gaps{replant.NoGaps, replant.ShortGaps, replant.LongGaps}).Draw(t, "gaps")
		one, err := replant.Weigh(a)
		if err != nil {
			t.Fatal(err)
		}
		for _, w := range one.Weighed {
			for _, r := range w.Readings {
				if r.Gain.Low > r.Gain.Mid || r.Gain.Mid > r.Gain.High || r.Percent.Low > r.Percent.Mid || r.Percent.Mid > r.Percent.High || r.Percent.High > 100 || r.Percent.Low < 0 {
					t.Fatalf("%s, %s: %+v", w.Choice, r.Table, r)
				}
			}
		}
		dear := a
		dear.Costs = []replant.Cost{{"all", 0.01}}
		two, err := replant.Weigh(dear)
		if err != nil {
			t.Fatal(err)
		}
		if !(two.Weighed[2].Gain.Mid < one.Weighed[2].Gain.Mid) {
			t.Fatal("what costs more gains more")
		}
	})
}

// A count that leaves more open never makes the answer surer, also where it leaves
// the tables.
func TestOpenEndsStayOpen(t *testing.T) {
	with := func(low float64) replant.Answer {
		q := ask(13)
		q.Stand.Low, q.Stand.High = evenstand.Number(relation.FromThousand(low)), evenstand.Number(relation.FromThousand(21))
		q.Costs = []replant.Cost{{"all", 120 / evenstand.Acre}}
		a, err := replant.Weigh(q)
		if err != nil {
			t.Fatal(err)
		}
		return a
	}
	in, out := with(10), with(8) // table NAF begins at 10 thousand
	a, b := reading(t, in, replant.Keep, "NAF"), reading(t, out, replant.Keep, "NAF")
	if b.Percent.Low > a.Percent.Low || b.Percent.Mid != a.Percent.Mid {
		t.Errorf("from 10 thousand %+v, from 8 thousand %+v", a.Percent, b.Percent)
	}
	if o, w := reading(t, in, replant.Over, "NAF").Gain, reading(t, out, replant.Over, "NAF").Gain; w.High < o.High || w.Low > o.Low {
		t.Errorf("from 10 thousand %+v, from 8 thousand %+v", o, w)
	}
	nan := ask(13)
	nan.Costs = []replant.Cost{{"seed", math.NaN()}}
	if a, err := replant.Weigh(nan); err != nil || a.Best != replant.Tells {
		t.Errorf("at a cost that is no number: %s, %v", a.Best, err)
	}
}

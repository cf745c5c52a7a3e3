package price_test

import (
	"fmt"
	"math"
	"testing"

	"evenstand"
	"evenstand/core/price"

	"pgregory.net/rapid"
)

var allWays = []price.By{price.ByCause, price.ByPart, price.ByRow, price.ByField, price.ByDay, price.ByHour}

func nobody(*evenstand.Finding) (string, bool) { return "", false }

// Every way parts the same money: means add up to the total's mean, and what
// lines are worth at the total's ends add up to these.
func TestSheetAddsUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 8).Draw(t, "findings")
		var fs []*evenstand.Finding
		for i := range n {
			f := finding(rapid.SampledFrom([]string{evenstand.KindBlockedCell, evenstand.KindRowSkips, evenstand.KindRowStopped}).Draw(t, "kind"), evenstand.CauseSeal, missing(rapid.Float64Range(0.001, 0.2).Draw(t, "share"), rapid.Float64Range(1, 50).Draw(t, "acres")))
			f.ID = fmt.Sprint(i)
			f.Field = rapid.SampledFrom([]string{"north", "river"}).Draw(t, "field")
			f.Day = rapid.SampledFrom([]evenstand.Day{"2026-05-02", "2026-05-03"}).Draw(t, "day")
			f.Alarm += evenstand.Micros(i)
			f.Rows = evenstand.Rows{i%3 + 1}
			if rapid.Bool().Draw(t, "two rows") {
				f.Rows = append(f.Rows, 9)
			}
			p := rapid.Float64Range(0, 1).Draw(t, "chance")
			f.Causes = []evenstand.Cause{{Cause: evenstand.CauseSeal, Probability: 0.6 * p}, {Cause: evenstand.CauseSensor, Probability: 0.4 * p}}
			fs = append(fs, f)
		}
		share := rapid.Float64Range(0, 1).Draw(t, "of it before ten")
		of := func(f *evenstand.Finding) price.Context {
			c := price.Everywhere(farm())(f)
			if f.ID != "0" { // of one nobody knows
				c.Hours = make([]float64, 24)
				c.Hours[9], c.Hours[10] = share, 1-share
			}
			return c
		}
		s := price.Total(fs, of, nobody, allWays...)
		for _, w := range s.Ways {
			var mean, low, high float64
			for i, l := range w.Lines {
				mean, low, high = mean+float64(l.Mean), low+float64(l.AtLow), high+float64(l.AtHigh)
				if i > 0 && float64(l.Mean) > float64(w.Lines[i-1].Mean)+1e-6 {
					t.Errorf("by %s: line %d is dearer than the one before", w.By, i)
				}
				of := 0.0
				for _, p := range l.Findings {
					of += float64(p.Mean)
				}
				if math.Abs(of-float64(l.Mean)) > 1e-9*(1+of) {
					t.Errorf("by %s: the findings of %q add up to %g of %g", w.By, l.Key, of, float64(l.Mean))
				}
			}
			for _, c := range []struct {
				what      string
				got, want float64
			}{{"mean", mean, float64(s.Total.Mean)}, {"low", low, float64(s.Total.Low)}, {"high", high, float64(s.Total.High)}} {
				if math.Abs(c.got-c.want) > 1e-9*(1+math.Abs(c.want)) {
					t.Errorf("by %s: %s adds up to %g, the total is %g", w.By, c.what, c.got, c.want)
				}
			}
		}
	})
}

// A loss counts with the chance of its cause, and a cause under which the seed
// lies in the ground has lost nothing: 0.7 of the money stays. What a person
// said of the cause goes before the odds.
func TestSheetCountsTheOdds(t *testing.T) {
	f := finding(evenstand.KindRowStopped, evenstand.CauseDrive, missing(0.1, 40))
	f.ID = "a"
	all := price.Total([]*evenstand.Finding{f}, price.Everywhere(farm()), func(*evenstand.Finding) (string, bool) { return evenstand.CauseDrive, true }, price.ByCause)
	// R2: a skip costs 0.5 / 0.8 / 1.0 of a plant's yield as a triangle, whose
	// mean is 0.7667; 0.1 of 40 acres at 200 bu and $4.50.
	within(t, "named for certain", all.Total.Mean, 0.1*40*900*(0.5+0.8+1.0)/3, 0.03)
	if all.Doubted != 0 || len(all.Ways[0].Lines) != 1 || all.Ways[0].Lines[0].Key != evenstand.CauseDrive {
		t.Errorf("named for certain: %+v", all)
	}
	f.Causes = []evenstand.Cause{{Cause: evenstand.CauseDrive, Probability: 0.5}, {Cause: evenstand.CauseSensor, Probability: 0.3}}
	odds := price.Total([]*evenstand.Finding{f}, price.Everywhere(farm()), nobody, price.ByCause, price.ByPart)
	within(t, "with odds", odds.Total.Mean, 0.7*float64(all.Total.Mean), 0.05)
	within(t, "doubted", odds.Doubted+odds.Total.Mean, float64(all.Total.Mean), 1e-9)
	lines := odds.Ways[0].Lines
	if len(lines) != 2 || lines[0].Key != evenstand.CauseDrive || lines[1].Key != "" {
		t.Fatalf("lines %+v: want the drive and what is not told", lines)
	}
	within(t, "drive", lines[0].Mean, 0.5*float64(all.Total.Mean), 0.07)
	if p := odds.Ways[1].Lines[0].Key; p != "meter drives" {
		t.Errorf("part %q", p)
	}
}

// The range of the total is narrower than the sum of the ranges of its lines,
// and of two findings of the same loss the larger counts.
func TestSheetJoint(t *testing.T) {
	var fs []*evenstand.Finding
	for i := range 6 {
		f := finding(evenstand.KindRowSkips, evenstand.CauseSeal, missing(0.05, 40))
		f.ID, f.Rows = fmt.Sprint(i), evenstand.Rows{i + 1}
		f.Causes = []evenstand.Cause{{Cause: evenstand.CauseSeal, Probability: 0.5}, {Cause: evenstand.CauseSensor, Probability: 0.5}}
		fs = append(fs, f)
	}
	s := price.Total(fs, price.Everywhere(farm()), nobody, price.ByRow)
	low, high := 0.0, 0.0
	for _, l := range s.Ways[0].Lines {
		low, high = low+float64(l.Low), high+float64(l.High)
	}
	if !(float64(s.Total.Low) > low && float64(s.Total.High) < high) {
		t.Errorf("total %g to %g, sum of the ends %g to %g", float64(s.Total.Low), float64(s.Total.High), low, high)
	}
	one := price.Total(fs[:1], price.Everywhere(farm()), nobody, price.ByRow)
	twin := *fs[0]
	twin.ID, twin.Kind, twin.Family = "twin", evenstand.KindBlockedCell, "cell"
	two := price.Total([]*evenstand.Finding{fs[0], &twin}, price.Everywhere(farm()), func(*evenstand.Finding) (string, bool) { return evenstand.CauseSeal, true }, price.ByRow)
	alone := price.Total(fs[:1], price.Everywhere(farm()), func(*evenstand.Finding) (string, bool) { return evenstand.CauseSeal, true }, price.ByRow)
	within(t, "the same loss twice", two.Total.Mean, float64(alone.Total.Mean), 0.02)
	if !(one.Total.Mean < alone.Total.Mean) {
		t.Error("odds take nothing off")
	}
}

func TestSheetUnpriced(t *testing.T) {
	f := finding(evenstand.KindRowSkips, evenstand.CauseSeal, missing(0.05, 40))
	f.ID, f.Harm[0].Crop = "sorghum", "sorghum"
	c := farm()
	c.Settings.Crop = "sorghum"
	s := price.Total([]*evenstand.Finding{f}, price.Everywhere(c), nobody, allWays...)
	if len(s.Unpriced) != 1 || s.Unpriced[0].Finding != "sorghum" || len(s.Unpriced[0].Needs) == 0 || s.Total.Mean != 0 {
		t.Errorf("%+v", s)
	}
	empty := price.Total(nil, price.Everywhere(c), nobody, allWays...)
	if empty.Total.High != 0 || len(empty.Ways) != len(allWays) {
		t.Errorf("of nothing: %+v", empty)
	}
}

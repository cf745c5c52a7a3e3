package sim

import (
	"fmt"
	"math"

	"evenstand"
)

// GroundPlan is what is wrong with where a field's passes lie and its rows
// work. Headlands are planted right.
type GroundPlan struct {
	GuessRow float64   `toml:"guess_row_m"` // passes lie so much farther apart than the planter is wide
	LateS    float64   `toml:"late_in_s"`   // rows begin so long after the line
	LateM    float64   `toml:"late_in_m"`   // the same as a distance
	EarlyM   float64   `toml:"early_out_m"` // rows end so far before the line
	RunOn    float64   `toml:"run_on_m"`    // passes begin and end so far inside ground that is planted
	Strips   []float64 `toml:"missed_m"`    // one strip each of so many metres, on one pass, is not planted
	Pass     int       `toml:"missed_pass"` // this pass within the headlands, from 1, is not planted; 0 none
}

func (g *GroundPlan) check(f *FieldPlan) error {
	switch {
	case !(math.Abs(g.GuessRow) <= 1):
		return fmt.Errorf("guess_row_m = %g: want a metre at most", g.GuessRow)
	case !(g.LateS >= 0 && g.LateS <= 10 && g.LateM >= 0 && g.LateM <= 20 && g.EarlyM >= 0 && g.EarlyM <= 20 && g.RunOn >= 0 && g.RunOn <= 20):
		return fmt.Errorf("late_in_s, late_in_m, early_out_m or run_on_m: want 0 to 10 s and to 20 m")
	case g.Pass < 0 || g.Pass > f.Passes || len(g.Strips)*3 > f.Passes:
		return fmt.Errorf("missed_pass = %d, %d strips: want one of %d passes, and a third of them with strips at most", g.Pass, len(g.Strips), f.Passes)
	case f.Shape == "arc" && (g.GuessRow != 0 || g.RunOn != 0 || g.Pass != 0 || len(g.Strips) > 0):
		return fmt.Errorf("a field of arcs takes late rows only")
	}
	for _, l := range g.Strips {
		if !(l >= 5 && l <= f.Length/3) {
			return fmt.Errorf("missed_m = %g: want 5 m to a third of the length", l)
		}
	}
	return nil
}

// hole gives the strip that pass j, from 0, of n leaves out, if any.
func (g *GroundPlan) hole(j, n int, lo, hi float64) (from, to float64, ok bool) {
	if len(g.Strips) == 0 {
		return 0, 0, false
	}
	each := n / len(g.Strips)
	k := j / each
	if k >= len(g.Strips) || j%each != each/2 {
		return 0, 0, false
	}
	from = lo + (hi-lo)*(0.3+0.4*float64(k%3)/2)
	return from, from + g.Strips[k], true
}

// groundFaults gives the truth about the ground of the fields that were planted.
func (w *world) groundFaults() []Fault {
	s, c := w.s, w.tot.Coefficients
	var out []Fault
	add := func(field *field, t span2, kind, cause string, params map[string]float64, area float64) {
		f := Fault{
			ID: fmt.Sprintf("G%02d", len(out)+1), Kind: kind, Rows: nil, From: t.from, To: t.to, Params: params, Cause: cause, Causes: []string{cause},
			Expected: kind, Happened: t.passes > 0, Grade: "A", Planting: t.planting, Way: t.way, Ratio: 1,
		}
		f.Detectable = f.Happened && groundDetectable(kind, params, t)
		if field.plan.Last && kind == evenstand.KindLateSection {
			// Of ground that is planted later nobody knows then: small gaps is all
			// that can be said.
			f.Detectable, f.Excused = false, []string{evenstand.KindCoverGap}
		}
		f.Lost = round(area*s.perM2(), 1)
		f.Bushels = round(area*s.Money.Yield/evenstand.Acre*c.SkipPlants, 4)
		f.Loss.Yield = round(f.Bushels*s.Money.Price, 4)
		out = append(out, f)
	}
	if s.Drive.PassSD > 0 && len(w.fields) > 0 {
		// The fall scatters in time, which is more of a spacing at speed: where
		// passes are driven at unlike speeds that shows, and is so.
		t := w.spans[w.fields[0]]
		out = append(out, Fault{
			ID: "G00", Kind: evenstand.KindSpeedSpacing, Rows: span(1, s.Planter.Rows), From: t.from, To: w.tot.End, Params: map[string]float64{}, Causes: []string{},
			Excused: []string{evenstand.KindSpeedSpacing}, Distract: true, Happened: t.passes > 0, Grade: "A", Planting: t.planting, Way: t.way, Ratio: 1,
		})
	}
	for _, f := range w.fields {
		g, t := &f.plan.Ground, w.spans[f]
		if t.passes == 0 {
			continue
		}
		all := t.inner
		if g.GuessRow != 0 {
			add(f, all, evenstand.KindGuessRow, evenstand.CauseWidthSetting, map[string]float64{"m": g.GuessRow}, 0)
		}
		if g.LateS > 0 {
			add(f, all, evenstand.KindLateSection, evenstand.CauseSectionDelay, map[string]float64{"s": g.LateS}, 0)
		}
		if g.LateM > 0 {
			add(f, all, evenstand.KindLateSection, evenstand.CauseSectionOffset, map[string]float64{"m": g.LateM}, 0)
		}
		if g.EarlyM > 0 {
			add(f, all, evenstand.KindLateSection, evenstand.CauseSectionOffset, map[string]float64{"m": -g.EarlyM}, 0)
		}
		if g.RunOn > 0 {
			add(f, all, evenstand.KindOverlap, evenstand.CauseNoSections, map[string]float64{"m": g.RunOn}, 0)
			out[len(out)-1].Excused = []string{evenstand.KindLateSection}
		}
		if area := w.missed[f]; area > 0 {
			at := all
			at.from = w.missedAt[f]
			add(f, at, evenstand.KindUnplantedLeft, evenstand.CauseStripMissed, map[string]float64{"m2": round(area, 1)}, area)
		}
		for _, c := range s.caps(&f.plan) {
			at := t.span2
			if c.cause == evenstand.CauseProductOverlap {
				at = all
			}
			add(f, at, evenstand.KindLabelCap, c.cause, map[string]float64{"times": round(c.times, 3)}, 0)
			out[len(out)-1].Causes = c.causes
			for _, x := range w.faults { // while nothing goes on, nothing is too much
				if n := x.total(); x.Kind == evenstand.KindGranularRateOff && n.places > 0 && s.t0+evenstand.FromSeconds(n.first) < at.to && s.t0+evenstand.FromSeconds(n.last) > t.from {
					out[len(out)-1].Detectable = false
				}
			}
		}
		if s.Planter.CardRight != 0 {
			add(f, all, evenstand.KindOffsetDoubt, evenstand.CauseCardOffset, map[string]float64{"m": s.Planter.CardRight}, 0)
			out[len(out)-1].Causes = []string{evenstand.CauseCardOffset, evenstand.CauseGuidanceOffset}
		}
	}
	return out
}

// span2 is when a field was planted, and how much of it.
type span2 struct {
	from, to      evenstand.Micros
	passes        int
	planting, way float64
}

// join takes another pass in.
func (s *span2) join(o span2) {
	if s.passes == 0 {
		s.from = o.from
	}
	s.to = o.to
	s.passes++
	s.planting, s.way = s.planting+o.planting, s.way+o.way
}

// fieldSpan is that of all of its passes, and of those within the headlands.
type fieldSpan struct {
	span2
	inner span2
}

// groundDetectable tells whether trouble of the ground is as strong and long as
// tests demand (docs/measured.md, "Detectable" of the ground).
func groundDetectable(kind string, p map[string]float64, t span2) bool {
	switch kind {
	case evenstand.KindGuessRow:
		return math.Abs(p["m"]) >= 0.25 && t.passes >= 10
	case evenstand.KindOffsetDoubt:
		return math.Abs(p["m"]) >= 0.12 && t.passes >= 14
	case evenstand.KindLateSection:
		return (p["s"] >= 1.5 || math.Abs(p["m"]) >= 4) && t.passes >= 14
	case evenstand.KindOverlap:
		return p["m"] >= 8 && t.passes >= 14
	case evenstand.KindLabelCap:
		return p["times"] >= 0.95 && t.passes >= 6
	}
	return true
}

// drawGround draws what is wrong with the ground of each field, at or above
// what tests demand; nothing on three of ten.
func (s *Scenario) drawGround() {
	g := stream(s.Seed, "random ground", -1, 0)
	sign := func() float64 {
		if uniform(g) < 0.5 {
			return -1
		}
		return 1
	}
	some := func(low, high float64) float64 { return round(between(g, low, high), 2) }
	if uniform(g) < 0.25 {
		s.Planter.CardRight = sign() * some(0.12, 0.3)
	}
	for i := range s.Fields {
		f := &s.Fields[i]
		p := &f.Ground
		switch u := uniform(g); {
		case u < 0.3:
		case u < 0.4:
			p.LateS = some(1.5, 3)
		case u < 0.5:
			p.LateM = some(4, 7)
		case u < 0.6:
			p.EarlyM = some(4, 7)
		case u < 0.72:
			p.RunOn = some(8, 14)
		case u < 0.86 && s.Planter.CardRight == 0:
			p.GuessRow = sign() * some(0.25, 0.4)
		default:
			p.Pass = 2 + int(uniform(g)*float64(f.Passes-3))
		}
		if uniform(g) < 0.5 && p.Pass == 0 {
			for range 1 + int(uniform(g)*3) {
				p.Strips = append(p.Strips, some(20, 80))
			}
		}
	}
}

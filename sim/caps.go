package sim

import (
	"fmt"
	"strings"

	"evenstand"
)

// cap1 is a limit of the granules that a field nears or passes.
type cap1 struct {
	times  float64 // of the limit
	cause  string
	causes []string
}

// granular gives what is asked for in a field, kg/ha.
func (s *Scenario) granular(f *FieldPlan) float64 {
	if f.Granular > 0 {
		return f.Granular
	}
	return s.Output.Granular
}

// caps gives the limit that a field nears or passes, if any: by the rate, or
// where passes run on into planted ground, so that it gets twice as much.
func (s *Scenario) caps(f *FieldPlan) []cap1 {
	const near = 0.9
	rate, o := s.granular(f), &s.Output
	if o.Granular <= 0 {
		return nil
	}
	least := o.MostPass
	if least == 0 || o.MostSeason > 0 && o.MostSeason < least {
		least = o.MostSeason
	}
	switch {
	case least <= 0:
	case rate >= near*least:
		return []cap1{{rate / least, evenstand.CauseProductRate, []string{evenstand.CauseProductRate}}}
	case o.MostSeason > 0 && f.Ground.RunOn > 0 && 2*rate >= near*o.MostSeason:
		// A square that a pass ran over in full got a second pass, one that it ran
		// over in part an overlap.
		return []cap1{{2 * rate / o.MostSeason, evenstand.CauseProductOverlap, []string{evenstand.CauseProductOverlap, evenstand.CauseTwoPasses}}}
	}
	return nil
}

// drawCaps lets the granules near or pass their limit in some fields.
func (s *Scenario) drawCaps() {
	g := stream(s.Seed, "random caps", -1, 0)
	for i := range s.Fields {
		f := &s.Fields[i]
		switch u := uniform(g); {
		case u < 0.35:
			f.Granular = round(s.Output.MostPass*between(g, 0.96, 1.3), 2)
		case u < 0.65:
			f.Ground.RunOn = round(between(g, 8, 14), 2)
		}
	}
}

// settingsToml gives what the people entered in the logbook's settings, beyond
// what the command line takes; empty for nothing.
func (s *Scenario) settingsToml() string {
	var b strings.Builder
	if o := &s.Output; o.MostPass > 0 || o.MostSeason > 0 {
		b.WriteString("\n[[product]]\nname = \"insecticide\"\napplied = \"granular\"\n")
		if o.MostPass > 0 {
			fmt.Fprintf(&b, "pass = \"%gkg/ha\"\n", o.MostPass)
		}
		if o.MostSeason > 0 {
			fmt.Fprintf(&b, "season = \"%gkg/ha\"\n", o.MostSeason)
		}
	}
	for _, lot := range s.plans() {
		fmt.Fprintf(&b, "\n[[plan]]\nlot = %q\n", lot)
	}
	return b.String()
}

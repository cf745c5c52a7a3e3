package record

import (
	"fmt"
	"math"
	"strings"

	"evenstand"
	"evenstand/core/advise"
	"evenstand/core/relation"
	"evenstand/core/replant"
)

// ReplantSheet weighs what to do with thin or uneven ground, by zone, in words and
// figures. Money in Figures is an acre's in US units, a hectare's in metric.
type ReplantSheet struct {
	Schema   int           `json:"schema"`
	Title    string        `json:"title"`
	Says     []string      `json:"says"` // of all zones together, as far as it can be said
	Unit     string        `json:"unit"` // of the money
	Per      string        `json:"per"`  // "an acre" or "a hectare"
	Zones    []ReplantZone `json:"zones"`
	Cautions []string      `json:"cautions"`
	Notes    []string      `json:"notes"`  // how it was reckoned
	Tables   []Line        `json:"tables"` // the stand and date tables, with where they were published
	Cites    []Cite        `json:"cites"`
}

// ReplantZone is one piece of ground.
type ReplantZone struct {
	Name    string          `json:"name"`
	Says    string          `json:"says"` // what to do with it
	Best    string          `json:"best" enum:"keep,fill in,start over,cannot say"`
	Choices []ReplantChoice `json:"choices"`
	Steps   []string        `json:"steps"` // the arithmetic by the first table
	Missing []string        `json:"missing"`
}

// ReplantChoice is one thing that can be done.
type ReplantChoice struct {
	Choice   string           `json:"choice"`
	Cost     string           `json:"cost"` // an acre or hectare; empty: none
	Gain     string           `json:"gain"` // over keeping, the range of all tables
	Low      evenstand.Number `json:"low"`
	Mid      evenstand.Number `json:"mid"` // of the first table
	High     evenstand.Number `json:"high"`
	Readings []ReplantReading `json:"readings"`
}

// ReplantReading is what one table says.
type ReplantReading struct {
	Table   string `json:"table"`
	Source  string `json:"source"`
	Percent string `json:"percent"` // of the best yield
	Gain    string `json:"gain"`
}

// ReplantAsked is a zone as it was asked for.
type ReplantAsked struct {
	Name string
	Area float64 // m2; NaN not said
	Ask  replant.Ask
}

// MakeReplantSheet weighs zones. The first error is given back with the zone's name.
func MakeReplantSheet(title string, zones []ReplantAsked, unit string, v advise.Voice) (ReplantSheet, error) {
	s := ReplantSheet{
		Schema: 1, Title: title, Says: []string{}, Unit: unit, Per: strings.TrimSpace(perUnit(v)), Zones: []ReplantZone{},
		Cautions: []string{advise.CautionRate, "Ask the insurer for an inspection before a stand is destroyed. What is paid, and when, the policy says; what stands here is an older rule and may not be yours.", advise.CautionLabel},
		Cites:    cites([]string{"R15-replant", "R1-population", "R2-skip", "R6-late-plants"}),
	}
	s.Tables = []Line{}
	for _, t := range relation.Tables() {
		s.Tables = append(s.Tables, Line{t, relation.TableSource(t)})
	}
	w := replantWords{v: v, unit: unit}
	low, high, known := 0.0, 0.0, true
	for _, z := range zones {
		a, err := replant.Weigh(z.Ask)
		if err != nil {
			return s, fmt.Errorf("%s: %w", z.Name, err)
		}
		zone := ReplantZone{Name: z.Name, Best: string(a.Best), Choices: []ReplantChoice{}, Steps: w.steps(z.Ask, a), Missing: append([]string{}, a.Missing...)}
		for _, c := range a.Weighed {
			zone.Choices = append(zone.Choices, w.choice(c))
			if c.Choice == a.Best && !math.IsNaN(z.Area) {
				low, high = low+float64(c.Gain.Low)*z.Area, high+float64(c.Gain.High)*z.Area
			}
		}
		if a.Best == replant.Tells || math.IsNaN(z.Area) && a.Best != replant.Keep {
			known = false
		}
		zone.Says = w.says(z, a)
		s.Zones = append(s.Zones, zone)
	}
	if len(zones) > 1 && known && high > 0 {
		s.Says = append(s.Says, "Done so, all zones together gain "+v.Money(evenstand.Range{Low: evenstand.Number(low), High: evenstand.Number(high)}, unit)+" over keeping everything.")
	}
	s.Notes = append(s.Notes,
		"The tables were made in different places and years, and they disagree: the range is over all of them that have something of the stand and the date, and over what the counts leave open.",
		"Filling in is reckoned from two relations, the stand that there would be and what plants that come up late lose; there is no published table of it.",
		"Yield goal and price are taken as they stand in the logbook.")
	return s, nil
}

type replantWords struct {
	v    advise.Voice
	unit string
}

func (w replantWords) per() float64 { return areaOf(w.v) }

// sum writes a sum of an acre or hectare that may be below nothing.
func (w replantWords) sum(x evenstand.Number) string {
	n := int64(math.Round(float64(x) * w.per()))
	if n < 0 {
		return "−" + advise.Whole(-n, w.unit)
	}
	return advise.Whole(n, w.unit)
}

func (w replantWords) span(r evenstand.Range) string {
	if math.IsNaN(float64(r.Mid)) {
		return "cannot say"
	}
	low, high := w.sum(r.Low), w.sum(r.High)
	if low == high {
		return low
	}
	return low + " to " + high
}

func percents(r evenstand.Range) string {
	low, high := fmt.Sprintf("%.0f", float64(r.Low)), fmt.Sprintf("%.0f", float64(r.High))
	if low == high {
		return low + "%"
	}
	return low + " to " + high + "%"
}

func (w replantWords) choice(c replant.Weighed) ReplantChoice {
	k := evenstand.Number(w.per())
	out := ReplantChoice{Choice: string(c.Choice), Low: c.Gain.Low * k, Mid: c.Gain.Mid * k, High: c.Gain.High * k, Readings: []ReplantReading{}}
	if c.Choice != replant.Keep {
		out.Cost, out.Gain = w.sum(evenstand.Number(c.Cost)), w.span(c.Gain)
	}
	for _, r := range c.Readings {
		x := ReplantReading{Table: r.Table, Source: r.Source, Percent: percents(r.Percent)}
		if c.Choice != replant.Keep {
			x.Gain = w.span(r.Gain)
		}
		out.Readings = append(out.Readings, x)
	}
	return out
}

// says says what to do with a zone.
func (w replantWords) says(z ReplantAsked, a replant.Answer) string {
	gain := func(c replant.Choice) string {
		for _, x := range a.Weighed {
			if x.Choice == c {
				return w.span(x.Gain) + perUnit(w.v)
			}
		}
		return ""
	}
	where := advise.Capital(z.Name)
	if !math.IsNaN(z.Area) {
		where += ", " + w.v.Area(z.Area)
	}
	switch a.Best {
	case replant.Keep:
		return where + ": keep it. Starting over would bring " + gain(replant.Over) + ", whichever table one takes."
	case replant.Over, replant.Fill:
		return where + ": " + string(a.Best) + ". That gains " + gain(a.Best) + " over keeping it, whichever table one takes."
	}
	if len(a.Weighed[0].Readings) == 0 {
		return where + ": cannot say. No table has anything of this stand and date."
	}
	if f, o := a.Weighed[1].Gain, a.Weighed[2].Gain; f.Low > 0 && o.Low > 0 {
		return where + ": do not leave it so. Filling in gains " + gain(replant.Fill) + " over keeping it, starting over " + gain(replant.Over) + "; which of them is better the tables leave open."
	}
	return where + ": cannot say. Starting over brings " + gain(replant.Over) + " over keeping it: the tables, or the counts, leave it open. Count more, or weigh what else speaks for it."
}

// steps is the arithmetic of starting over by the first table that has both.
func (w replantWords) steps(q replant.Ask, a replant.Answer) (out []string) {
	out = []string{}
	keep, over := a.Weighed[0], a.Weighed[2]
	if len(over.Readings) == 0 {
		return out
	}
	r := over.Readings[0]
	var now replant.Reading
	for _, k := range keep.Readings {
		if k.Table == r.Table {
			now = k
		}
	}
	v := w.v
	worth := evenstand.Number(q.Yield * q.Price)
	out = append(out, fmt.Sprintf("%s planted on %s: %.0f%% of the best yield (table %s%s).", w.plants(float64(q.Stand.Mid)), v.Day(q.Planted), float64(now.Percent.Mid), r.Table, taken(q)))
	out = append(out, fmt.Sprintf("%s planted on %s: %.0f%%.", w.plants(q.NewStand), v.Day(q.Again), float64(r.Percent.Mid)))
	more, than := float64(r.Percent.Mid-now.Percent.Mid), "more"
	if more < 0 {
		than = "less"
	}
	out = append(out, fmt.Sprintf("%.0f points %s of a full crop worth %s%s: %s.", math.Abs(more), than, w.sum(worth), perUnit(v), w.sum(worth*evenstand.Number(more/100))))
	for _, c := range q.Costs {
		out = append(out, fmt.Sprintf("%s costs %s.", advise.Capital(c.What), w.sum(evenstand.Number(c.Sum))))
	}
	if q.Insurance > 0 {
		out = append(out, fmt.Sprintf("The insurance pays %s.", w.sum(evenstand.Number(q.Insurance))))
	}
	out = append(out, fmt.Sprintf("By this table that leaves %s%s. Its cost alone is %.0f%% of a full crop.", w.sum(r.Gain.Mid), perUnit(v), a.Hurdle))
	return out
}

// plants writes a stand as a subject.
func (w replantWords) plants(perM2 float64) string {
	return advise.Thousands(int64(math.Round(perM2*w.per()))) + " plants" + perUnit(w.v)
}

// taken says what was taken off the table's figure.
func taken(q replant.Ask) string {
	var parts []string
	if q.Gaps != replant.NoGaps {
		parts = append(parts, "gaps")
	}
	if q.Late > 0 {
		parts = append(parts, "late plants")
	}
	if len(parts) == 0 {
		return ""
	}
	return ", " + strings.Join(parts, " and ") + " taken off"
}

// InsuranceSays puts what an insurance would pay into words, with its arithmetic
// (ISU 1998; the policy governs).
func InsuranceSays(crop string, history, level, appraised, price float64) (pays float64, says string, ok bool) {
	pays, ok = relation.InsurancePayment(crop, history, level, appraised, price)
	if !ok {
		return 0, "", false
	}
	g := history * level
	return pays, fmt.Sprintf("Insurance by the rule of 1998: guarantee %.1f bu (%.0f%% of %.0f), appraised %.0f; the least of a fifth of it, the crop's bushels and what is missing to %.1f bu. Check the policy.", g, 100*level, history, appraised, relation.InsuranceThreshold(g)), true
}

// RenderReplantSheet writes it as text.
func RenderReplantSheet(s ReplantSheet, o Options) string {
	p := &page{o: o}
	p.line(o.strong(s.Title))
	for _, l := range s.Says {
		p.text("", l)
	}
	for _, z := range s.Zones {
		p.line("")
		p.text("", z.Says)
		for _, c := range z.Choices {
			line := fmt.Sprintf("  %-10s", c.Choice)
			if c.Gain != "" {
				line += fmt.Sprintf("  costs %s, gains %s", c.Cost, c.Gain)
			}
			p.line(line)
			for _, r := range c.Readings {
				gain := ""
				if r.Gain != "" {
					gain = ", gains " + r.Gain
				}
				p.line(fmt.Sprintf("    %-5s  %s%s", r.Table, r.Percent, gain))
			}
		}
		for _, st := range z.Steps {
			p.text("  - ", st)
		}
		for _, m := range z.Missing {
			p.text("  ", m)
		}
	}
	p.line("")
	for _, n := range s.Notes {
		p.text("", n)
	}
	for _, t := range s.Tables {
		p.text("  ", "Table "+t.What+": "+t.Says)
	}
	var titles []string
	for _, c := range s.Cites {
		titles = append(titles, c.ID)
	}
	p.text("  ", "Rests on "+strings.Join(titles, ", ")+".")
	p.line("")
	for _, c := range s.Cautions {
		p.text("! ", c)
	}
	return p.b.String()
}
